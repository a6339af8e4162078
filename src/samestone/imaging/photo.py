"""A photograph as bytes that arrived, opened with suspicion.

Frame used everywhere in this room: pixel (0, 0) is the centre of the top-left pixel, x runs right, y runs down;
angles run counter-clockwise as seen on the picture, 0 at 3 o'clock.
"""

from __future__ import annotations

import hashlib
import io
import struct
import warnings
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps

PIXEL_LIMIT = 80_000_000
SHORTEST_SIDE = 48
MAGIC = (
    (b"\xff\xd8\xff", "JPEG"),
    (b"\x89PNG\r\n\x1a\n", "PNG"),
    (b"II*\x00", "TIFF"),
    (b"MM\x00*", "TIFF"),
    (b"RIFF", "WEBP"),
)
DECODING_ERRORS = (
    OSError,
    ValueError,
    SyntaxError,
    EOFError,
    struct.error,
    IndexError,
    KeyError,
    MemoryError,
    cv2.error,
)


class BadPhoto(ValueError):
    """The bytes are no photograph that can be read: what was found, what was expected, what to do next."""


@dataclass(frozen=True, eq=False)
class Photo:
    """A decoded photograph, upright; `pixels` is height x width (grey) or height x width x 3 (red, green, blue)."""

    pixels: NDArray[Any]
    digest: str
    format: str
    notes: tuple[str, ...] = ()

    @property
    def width(self) -> int:
        return int(self.pixels.shape[1])

    @property
    def height(self) -> int:
        return int(self.pixels.shape[0])

    @cached_property
    def grey(self) -> NDArray[Any]:
        """Brightness as encoded (not linear), 8 or 16 bits as the picture came, height x width."""
        return self.pixels if self.pixels.ndim == 2 else cv2.cvtColor(self.pixels, cv2.COLOR_RGB2GRAY)

    @property
    def linear(self) -> NDArray[np.float32]:
        """Brightness proportional to light, 0 to 1, height x width: the sRGB curve (IEC 61966-2-1) undone."""
        encoded = self.grey.astype(np.float32) / np.float32(self.white)
        curve = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
        return np.asarray(curve, np.float32)

    @property
    def white(self) -> float:
        """The largest value a pixel can have."""
        return float(np.iinfo(self.pixels.dtype).max)


def open_photo(data: bytes) -> Photo:
    """Decode JPEG, PNG, TIFF or WebP bytes: EXIF-turned upright, CMYK, grey and 16-bit handled.

    Refuses (BadPhoto) what is no image, truncated, of another format, or larger than 80 megapixels by its own
    header, before decoding it. `digest` is the SHA-256 of the bytes as they came.
    """
    kind = _kind(data)
    width, height, sixteen = _measure(data, kind)
    if width * height > PIXEL_LIMIT:
        raise BadPhoto(
            f"the picture says it is {width} x {height} = {width * height / 1e6:.0f} megapixels; at most "
            f"{PIXEL_LIMIT // 1_000_000} are read; make a smaller copy"
        )
    if min(width, height) < SHORTEST_SIDE:
        raise BadPhoto(f"the picture is {width} x {height} pixels; at least {SHORTEST_SIDE} are needed each way")
    pixels, notes = _decode_sixteen(data, kind) if sixteen else _decode_eight(data, kind)
    return Photo(np.ascontiguousarray(pixels), hashlib.sha256(data).hexdigest(), kind, tuple(notes))


def _kind(data: bytes) -> str:
    for magic, kind in MAGIC:
        if data.startswith(magic) and (kind != "WEBP" or data[8:12] == b"WEBP"):
            return kind
    found = "no bytes at all" if not data else f"bytes that begin with {data[:8].hex(' ')}"
    raise BadPhoto(f"this is no photograph: found {found}, expected a JPEG, PNG, TIFF or WebP file")


def _measure(data: bytes, kind: str) -> tuple[int, int, bool]:
    """Width, height and whether it holds 16 bits a channel, from the header alone."""
    try:
        if kind == "TIFF":
            return _measure_tiff(data)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(data), formats=[kind]) as image:
                deep = kind == "PNG" and len(data) > 24 and data[24] == 16
                return image.width, image.height, deep
    except Image.DecompressionBombError as error:
        raise BadPhoto(f"the picture is far too large ({error}); make a smaller copy") from None
    except DECODING_ERRORS as error:
        raise BadPhoto(f"the {kind} file is damaged ({error}); send it again from the camera") from None


def _measure_tiff(data: bytes) -> tuple[int, int, bool]:
    order = "<" if data[:2] == b"II" else ">"
    (start,) = struct.unpack_from(order + "I", data, 4)
    (count,) = struct.unpack_from(order + "H", data, start)
    tags: dict[int, int] = {}
    for k in range(count):
        tag, kind, length, raw = struct.unpack_from(order + "HHI4s", data, start + 2 + 12 * k)
        if kind not in (3, 4):
            continue
        size = 2 if kind == 3 else 4
        place = raw if length * size <= 4 else data[struct.unpack(order + "I", raw)[0] :][:size]
        tags[tag] = int(struct.unpack(order + ("H" if kind == 3 else "I"), place[:size])[0])
    return tags[256], tags[257], tags.get(258, 1) == 16


def _decode_eight(data: bytes, kind: str) -> tuple[NDArray[Any], list[str]]:
    notes: list[str] = []
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            image: Image.Image = Image.open(io.BytesIO(data), formats=[kind])
            image.load()
            if image.getexif().get(0x0112, 1) != 1:
                notes.append("turned upright as its EXIF data say")
                image = ImageOps.exif_transpose(image)
            if image.mode == "CMYK":
                notes.append("converted from CMYK")
            if image.mode in ("L", "1", "LA"):
                notes.append("grey picture")
                return np.asarray(_flatten(image).convert("L")), notes
            return np.asarray(_flatten(image).convert("RGB")), notes
    except DECODING_ERRORS as error:
        raise BadPhoto(f"the {kind} file is cut short or damaged ({error}); send it again from the camera") from None


def _flatten(image: Image.Image) -> Image.Image:
    """Lay a transparent picture on white."""
    if image.mode not in ("RGBA", "LA", "PA") and "transparency" not in image.info:
        return image
    ground = Image.new("RGBA", image.size, (255, 255, 255, 255))
    return Image.alpha_composite(ground, image.convert("RGBA"))


def _decode_sixteen(data: bytes, kind: str) -> tuple[NDArray[Any], list[str]]:
    try:
        image = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_ANYDEPTH | cv2.IMREAD_ANYCOLOR)
    except cv2.error as error:
        raise BadPhoto(f"the {kind} file is damaged ({error}); send it again from the camera") from None
    if image is None:
        raise BadPhoto(f"the {kind} file is cut short or damaged; send it again from the camera")
    pixels = image if image.ndim == 2 else cv2.cvtColor(image, cv2.COLOR_BGR2RGB)
    return pixels, ["16 bits a channel"] if pixels.dtype == np.uint16 else []
