"""Opening bytes that claim to be a photograph."""

from __future__ import annotations

import hashlib
import io
import struct
import zlib

import cv2
import numpy as np
import pytest
from PIL import Image

from samestone.imaging import BadPhoto, open_photo


def picture(width: int = 120, height: int = 80) -> Image.Image:
    rows, columns = np.mgrid[0:height, 0:width]
    return Image.fromarray(np.dstack([rows * 2, columns * 2, rows + columns]).astype(np.uint8))


def encoded(image: Image.Image, kind: str, **options: object) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


@pytest.mark.parametrize("kind", ["PNG", "TIFF"])
def test_lossless_pixels_come_back_exactly(kind: str) -> None:
    data = encoded(picture(), kind)
    photo = open_photo(data)
    assert (photo.width, photo.height, photo.format) == (120, 80, kind)
    assert np.array_equal(photo.pixels, np.asarray(picture()))
    assert photo.digest == hashlib.sha256(data).hexdigest()


@pytest.mark.parametrize("kind", ["JPEG", "WEBP"])
def test_lossy_pixels_come_back_nearly(kind: str) -> None:
    photo = open_photo(encoded(picture(), kind, quality=95))
    assert np.abs(photo.pixels.astype(int) - np.asarray(picture())).mean() < 4


def test_exif_orientation_is_applied() -> None:
    exif = Image.Exif()
    exif[0x0112] = 6  # the camera was turned a quarter: shown upright, the picture is taller than wide
    photo = open_photo(encoded(picture(), "JPEG", exif=exif.tobytes()))
    assert (photo.width, photo.height) == (80, 120)
    assert photo.notes == ("turned upright as its EXIF data say",)


def test_cmyk_grey_palette_and_transparent_pictures_are_read() -> None:
    assert open_photo(encoded(picture().convert("CMYK"), "JPEG")).pixels.shape == (80, 120, 3)
    assert open_photo(encoded(picture().convert("L"), "JPEG")).pixels.shape == (80, 120)
    assert open_photo(encoded(picture().convert("P"), "PNG")).pixels.shape == (80, 120, 3)
    clear = picture().convert("RGBA")
    clear.putalpha(0)
    assert open_photo(encoded(clear, "PNG")).pixels.min() == 255


@pytest.mark.parametrize("suffix", [".png", ".tiff"])
@pytest.mark.parametrize("channels", [1, 3])
def test_sixteen_bits_survive(suffix: str, channels: int) -> None:
    values = np.linspace(0, 65535, 100 * 90 * channels).astype(np.uint16).reshape(100, 90, channels).squeeze()
    photo = open_photo(cv2.imencode(suffix, values)[1].tobytes())
    assert photo.pixels.dtype == np.uint16
    assert photo.white == 65535
    shown = photo.pixels if channels == 1 else photo.pixels[:, :, ::-1]
    assert np.array_equal(shown, values)


def lying_png(width: int, height: int) -> bytes:
    """A PNG whose header claims a size that its few bytes of data cannot fill."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(bytes(1000))) + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "no bytes"),
        (b"%PDF-1.7 and more", "no photograph"),
        (b"GIF89a" + bytes(50), "no photograph"),
        (b"\xff\xd8\xff" + bytes(40), "damaged"),
        (b"II*\x00\xff\xff\xff\xff", "damaged"),
        (lying_png(60_000, 60_000), "far too large|megapixels"),
        (lying_png(10_000, 8_100), "megapixels"),
        (lying_png(400, 400), "cut short"),
        (lying_png(20, 400), "at least 48"),
    ],
)
def test_what_is_no_photograph_is_refused(data: bytes, words: str) -> None:
    with pytest.raises(BadPhoto, match=words):
        open_photo(data)


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "TIFF", "WEBP"])
def test_a_file_cut_in_half_is_refused(kind: str) -> None:
    noise = Image.fromarray(np.random.default_rng(1).integers(0, 255, (200, 200, 3), dtype=np.uint8))
    data = encoded(noise, kind)
    with pytest.raises(BadPhoto, match=r"cut short|damaged"):
        open_photo(data[: len(data) // 2])
