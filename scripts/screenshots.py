"""Makes the pictures of docs/tutorial from the demo shop: everything in them is invented, every stone is simulated.

    .venv/bin/python scripts/screenshots.py

Needs Chromium. Plays the demo in a folder of its own, opens the counter, takes in one more ring, photographs the pages.
"""

from __future__ import annotations

import io
import math
import os
import re
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page, sync_playwright

CHROMIUM = "/usr/bin/chromium"
FOLDER = Path(__file__).parents[1] / "docs" / "tutorial"
SAMESTONE = str(Path(sys.executable).with_name("samestone"))
LARGEST = 400_000


def main() -> int:
    with tempfile.TemporaryDirectory() as data:
        environment = {**os.environ, "SAMESTONE_DATA": data}
        told = subprocess.run([SAMESTONE, "demo"], env=environment, check=True, capture_output=True, text=True).stdout
        password = re.search(r"“(\w+)” with the password “(.+)”", told)
        if password is None:
            raise SystemExit("the demo did not say how to sign in")
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        server = subprocess.Popen([SAMESTONE, "serve", "--port", str(port)], env=environment)
        try:
            photograph(f"http://127.0.0.1:{port}", *password.groups())
        finally:
            server.terminate()
            server.wait(20)
    return 0


def photograph(address: str, username: str, password: str) -> None:
    wait_for(address)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 1280, "height": 800}, base_url=address)
        page.goto("/")
        page.locator("[name=username]").fill(username)
        page.locator("[name=password]").fill(password)
        page.get_by_role("button", name="Sign in").click()
        page.get_by_role("link", name="Take in a piece").wait_for()
        keep(page, "counter")
        take_in(page)
        keep(page, "take-in")
        page.goto("/job/1042/pick-up/")
        page.locator(".plate img").last.wait_for()
        keep(page, "pick-up")
        page.goto("/job/1042/pick-up/expert/")
        keep(page, "expert")
        browser.close()


def take_in(page: Page) -> None:
    """One more ring, up to the agreed marks."""
    page.get_by_role("link", name="Take in a piece").click()
    page.locator("[name=name]").fill("Odile Farrow")
    page.get_by_role("button", name="Open the envelope").click()
    answer(page, "ring")
    page.locator("[name=words]").fill("solitaire in four claws")
    page.get_by_role("button", name="Keep and go on").click()
    answer(page, "round brilliant")
    answer(page, "tested")
    page.get_by_role("button", name="Keep and go on").click()
    page.get_by_role("button", name="4 claws").click()
    answer(page, "nick")
    tap(page, 0.95, 100)
    page.locator(".marks li", has_text="nick").wait_for()
    page.goto(re.sub(r"[^/]+/$", "marks/", page.url))
    for words, r, angle in (("the little black seed", 0.33, 31), ("pepper, across from it", 0.36, 166)):
        tap(page, r, angle)
        page.locator("#mark-words").fill(words)
        page.get_by_role("button", name="Place the mark").click()
        page.locator(".marks li", has_text=words).wait_for()


def answer(page: Page, label: str) -> None:
    page.locator("label.answer", has_text=re.compile(rf"^\s*{label}\s*$")).first.click()


def tap(page: Page, r: float, angle_deg: float) -> None:
    """A tap on the clock face, through the drawing's own transform."""
    x, y = 100 * r * math.cos(math.radians(angle_deg)), -100 * r * math.sin(math.radians(angle_deg))
    at = page.evaluate(
        "([x, y]) => { const svg = document.querySelector('[data-tap] svg');"
        "const p = new DOMPoint(x, y).matrixTransform(svg.getScreenCTM()); return [p.x, p.y]; }",
        [x, y],
    )
    page.mouse.click(*at)


def keep(page: Page, name: str) -> None:
    """A picture of at most 400 kB: 256 colours, fewer where that is not enough."""
    page.mouse.move(0, 0)
    page.wait_for_timeout(600)
    image = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    for colours in (256, 128, 64):
        file = FOLDER / f"{name}.png"
        image.quantize(colours, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.FLOYDSTEINBERG).save(
            file, optimize=True
        )
        if file.stat().st_size <= LARGEST:
            print(f"{file}: {file.stat().st_size // 1000} kB")
            return
    raise SystemExit(f"{name}.png has more than {LARGEST} bytes")


def wait_for(address: str) -> None:
    for _ in range(150):
        try:
            urllib.request.urlopen(address, timeout=5)
            return
        except OSError:
            time.sleep(0.2)
    raise SystemExit("the counter did not open")


if __name__ == "__main__":
    sys.exit(main())
