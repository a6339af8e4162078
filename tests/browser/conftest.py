"""A counter of its own on a free port, and a browser that fails on any outside request or policy violation."""

from __future__ import annotations

import io
import os
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

CHROMIUM = "/usr/bin/chromium"
CAMERA = (640, 480)


def picture(name: str) -> bytes:
    """One of the simulated pictures that come with the program."""
    return (files("samestone.simulate") / "pictures" / f"{name}.jpg").read_bytes()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def write_camera(path: Path, jpeg: bytes) -> Path:
    """A picture as an endless uncompressed film for the browser's stand-in camera (YUV4MPEG2, 4:2:0, full range)."""
    image = Image.open(io.BytesIO(jpeg)).convert("RGB").resize((CAMERA[1], CAMERA[1]))
    frame = Image.new("RGB", CAMERA, (120, 105, 88))
    frame.paste(image, ((CAMERA[0] - CAMERA[1]) // 2, 0))
    luma, blue, red = (np.asarray(band) for band in frame.convert("YCbCr").split())
    planes = luma.tobytes() + blue[::2, ::2].tobytes() + red[::2, ::2].tobytes()
    head = f"YUV4MPEG2 W{CAMERA[0]} H{CAMERA[1]} F10:1 Ip A1:1 C420jpeg\n".encode()
    path.write_bytes(head + 3 * (b"FRAME\n" + planes))
    return path


@pytest.fixture(scope="module")
def counter(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A real server on an empty data folder."""
    port, data = free_port(), tmp_path_factory.mktemp("counter")
    environment = {**os.environ, "SAMESTONE_DATA": str(data)}
    command = [str(Path(sys.executable).with_name("samestone")), "serve", "--port", str(port)]
    server = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    address = f"http://127.0.0.1:{port}"
    try:
        wait_for(address, server)
        yield address
    finally:
        server.terminate()
        server.wait(20)


def wait_for(address: str, server: subprocess.Popen[bytes]) -> None:
    for _ in range(150):
        if server.poll() is not None:
            raise RuntimeError("the server ended before it answered")
        try:
            urllib.request.urlopen(address, timeout=5)
            return
        except OSError:
            time.sleep(0.2)
    raise RuntimeError("the server did not answer")


@pytest.fixture(scope="session")
def chromium(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    film = write_camera(tmp_path_factory.mktemp("camera") / "stone.y4m", picture("cleaned"))
    arguments = [
        "--no-sandbox",
        "--use-fake-ui-for-media-stream",
        "--use-fake-device-for-media-stream",
        f"--use-file-for-fake-video-capture={film}",
    ]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=arguments)
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def context(chromium: Browser, counter: str) -> Iterator[BrowserContext]:
    context = chromium.new_context(viewport={"width": 1280, "height": 800}, base_url=counter)
    context.set_default_timeout(15_000)
    yield context
    context.close()


@pytest.fixture(scope="module")
def complaints(context: BrowserContext, counter: str) -> list[str]:
    """Whatever a page asked for outside this counter, whatever the policy refused, whatever failed in a script."""
    found: list[str] = []

    def watch(page: Page) -> None:
        page.on(
            "console", lambda message: found.append(f"{page.url}: {message.text}") if message.type == "error" else None
        )
        page.on("pageerror", lambda error: found.append(f"{page.url}: {error}"))

    context.on("page", watch)
    context.on(
        "request",
        lambda request: (
            None
            if request.url.startswith((counter, "blob:", "data:"))
            else found.append(f"outside request {request.url}")
        ),
    )
    return found


@pytest.fixture(scope="module")
def page(context: BrowserContext, complaints: list[str]) -> Page:
    return context.new_page()
