"""The live guide in a real browser, with stand-in cameras: a sharp stone is taken by itself, a blurred one is not."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator

import pytest
from PIL import Image, ImageFilter
from playwright.sync_api import Browser, BrowserContext, Page, expect
from tests.browser.conftest import CHROMIUM, picture, write_camera
from tests.browser.test_walk import PASSWORD, check_page, choose, press


def blurred(name: str) -> bytes:
    file = io.BytesIO()
    Image.open(io.BytesIO(picture(name))).filter(ImageFilter.GaussianBlur(14)).save(file, "JPEG")
    return file.getvalue()


@pytest.fixture(scope="module")
def address(context: BrowserContext, page: Page) -> str:
    """The pictures as received of a fresh job, in the shop that the walk opened, or in one opened here."""
    page.goto("/")
    if page.locator("[name=shop_name]").count():
        fields = {"shop_name": "Larkfield Goldsmiths", "name": "Ines Marlow", "username": "ines", "password": PASSWORD}
        for name, value in fields.items():
            page.locator(f"[name={name}]").fill(value)
        press(page, "Open the counter")
    page.get_by_role("link", name="Take in a piece").click()
    page.locator("[name=name]").fill("Odile Farrow")
    page.locator("[name=envelope]").fill("C7")
    press(page, "Open the envelope")
    choose(page, "ring")
    page.locator("[name=words]").fill("solitaire")
    press(page, "Keep and go on")
    choose(page, "round brilliant")
    choose(page, "tested")
    press(page, re.compile("Keep and go on"))
    page.goto("/job/C7/take-in/pictures/")
    press(page, re.compile("Take pictures"))
    expect(page.get_by_role("heading", name="Pictures")).to_be_visible()
    return page.url


@pytest.fixture(scope="module")
def poor_camera(
    address: str, context: BrowserContext, counter: str, chromium: Browser, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Page]:
    """A second browser, signed in as the first one, whose camera is out of focus."""
    film = write_camera(tmp_path_factory.mktemp("camera") / "blurred.y4m", blurred("cleaned"))
    fake = ["--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream"]
    arguments = ["--no-sandbox", *fake, f"--use-file-for-fake-video-capture={film}"]
    browser = chromium.browser_type.launch(executable_path=CHROMIUM, args=arguments)
    other = browser.new_context(
        viewport={"width": 1280, "height": 800}, base_url=counter, storage_state=context.storage_state()
    )
    yield other.new_page()
    browser.close()


def test_the_girdle_is_drawn_over_the_live_picture_where_the_stone_is(page: Page, address: str) -> None:
    page.goto(address)
    ring = page.locator("[data-girdle] ellipse:not(.under)")
    expect(ring).to_have_count(1, timeout=20_000)
    # The stand-in film shows the stone in the middle of 640 by 480; its radius is 0.322 of the picture's side.
    assert abs(float(ring.get_attribute("cx") or 0) - 320) < 3
    assert abs(float(ring.get_attribute("cy") or 0) - 240) < 3
    assert abs(float(ring.get_attribute("rx") or 0) - 0.322 * 480) < 3
    drawn, shown = ring.bounding_box(), page.locator("[data-camera] .stage").bounding_box()
    assert drawn and shown
    assert abs(drawn["y"] + drawn["height"] / 2 - shown["y"] - shown["height"] / 2) < 4, "the ring lies on the video"
    assert page.locator("[data-meter=sharpness] meter").evaluate("meter => meter.value") > 0.65
    expect(page.locator("[data-meter=scale] output")).to_have_text("no scale on record")
    assert page.get_by_role("button", name=re.compile("Take it")).is_visible()
    check_page(page)


def test_a_blurred_picture_is_neither_taken_by_itself_nor_kept_without_a_word(poor_camera: Page, address: str) -> None:
    poor_camera.goto(address)
    poor_camera.locator("[data-by-itself]").check()
    expect(poor_camera.locator("[data-guide-says]")).to_contain_text("blurred", timeout=20_000)
    poor_camera.wait_for_timeout(2500)
    assert poor_camera.locator(".shots img").count() == 0
    poor_camera.locator("[data-by-itself]").uncheck()
    poor_camera.evaluate("() => document.activeElement.blur()")  # on the box itself, space would tick it again
    poor_camera.keyboard.press(" ")
    expect(poor_camera.locator("[data-camera-says]")).to_contain_text("blurred", timeout=20_000)
    assert poor_camera.locator(".shots img").count() == 0
    check_page(poor_camera)
    poor_camera.get_by_role("button", name="Keep it").click()
    expect(poor_camera.locator(".does-not-count")).to_contain_text("Does not count", timeout=20_000)
    poor_camera.get_by_role("button", name=re.compile("undo")).click()
    expect(poor_camera.locator(".shots img")).to_have_count(0)


def test_what_is_no_picture_is_refused_in_words_and_never_offered_to_be_kept(poor_camera: Page, address: str) -> None:
    poor_camera.goto(address)
    keep = poor_camera.locator("[data-keep-anyway]")
    file = poor_camera.locator("[type=file]")
    file.set_input_files({"name": "a.jpg", "mimeType": "image/jpeg", "buffer": blurred("cleaned")})
    expect(keep).to_be_visible(timeout=20_000)
    file.set_input_files({"name": "b.jpg", "mimeType": "image/jpeg", "buffer": b"a letter, not a picture"})
    expect(poor_camera.locator("[data-camera-says]")).to_contain_text("Choose another picture.")
    expect(keep).to_be_hidden()


def test_a_good_frame_releases_by_itself_once(page: Page, address: str) -> None:
    page.goto(address)
    page.locator("[data-by-itself]").check()
    expect(page.locator(".shots img")).to_have_count(1, timeout=30_000)
    expect(page.locator("[name=view]:checked")).to_have_value("side")
    page.locator("[name=view][value='as received']").check()
    page.wait_for_timeout(3500)
    assert page.locator(".shots img").count() == 1, "a view that is taken is not taken again by itself"
    page.locator("[data-by-itself]").uncheck()


def test_the_camera_in_the_hand(page: Page, address: str) -> None:
    """On a phone the picture comes first, the shutter is in sight, nothing goes sideways."""
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(address)
    shutter = page.get_by_role("button", name=re.compile("Take it"))
    expect(shutter).to_be_enabled()
    box, stage = shutter.bounding_box(), page.locator(".stage").bounding_box()
    assert box and stage
    assert stage["y"] < box["y"] and box["y"] + box["height"] < 844
    check_page(page)
    page.set_viewport_size({"width": 1280, "height": 800})
