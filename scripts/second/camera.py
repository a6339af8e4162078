"""From light to a JPEG file: exposure, blur, shot noise, tone curve, colour cast."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from PIL import Image

VISIBLE, FAINT = 0.08, 0.03  # log ratio of the picture with and without
PALETTE = (0, 0, 0, 90, 90, 0, 0, 255, 0, 255, 0, 0, 0, 0, 255)


@dataclass(frozen=True)
class Camera:
    """One shop's camera: side in pixels, distance of the lens in stone radii, and how it renders light."""

    side: int
    distance: float
    blur_px: float
    sharpen: float
    full_well: float
    read_noise: float
    contrast: float
    cast: tuple[float, float, float]
    quality: int


def draw_camera(rng: Any) -> Camera:
    warm, green = rng.normal(size=2) * 0.025
    return Camera(
        side=int(rng.choice([640, 672, 704, 720])),
        distance=float(rng.choice([30.0, 45.0, 80.0, 2000.0])),  # the last is a telecentric lens
        blur_px=rng.uniform(0.45, 0.85),
        sharpen=rng.uniform(0, 0.5),
        full_well=float(np.exp(rng.uniform(np.log(6000), np.log(25000)))),
        read_noise=rng.uniform(2, 8),
        contrast=rng.uniform(0, 0.35),
        cast=(float(1 + warm), float(1 + green), float(1 - warm)),
        quality=int(rng.integers(86, 96)),
    )


def white_of(light: Any, within: Any, clipped: float) -> float:
    """The radiance that becomes white: so that about `clipped` per cent of the stone come near it."""
    grey = cv2.GaussianBlur(light[..., :3].mean(axis=2), (0, 0), 0.7)
    return float(max(np.percentile(grey[within], 100 - clipped) / 0.9, grey[within].mean() * 1.3, 1e-6))


def develop(light: Any, white: float, camera: Camera, rng: Any) -> bytes:
    """JPEG of linear light (h, w, 3)."""
    linear = cv2.GaussianBlur(light[..., :3] / white, (0, 0), camera.blur_px) * camera.cast
    electrons = np.clip(linear, 0, 1.2) * camera.full_well
    noisy = electrons + rng.normal(size=linear.shape) * np.sqrt(electrons + camera.read_noise**2)
    tone = srgb(np.clip(noisy / camera.full_well, 0, 1))
    tone = (1 - camera.contrast) * tone + camera.contrast * tone * tone * (3 - 2 * tone)
    if camera.sharpen:
        tone = tone + camera.sharpen * (tone - cv2.GaussianBlur(tone, (0, 0), 1.2))
    out = io.BytesIO()
    picture = np.clip(np.rint(tone * 255), 0, 255).astype(np.uint8)
    halved = 2 if camera.quality < 91 else 0  # colour at half the resolution
    Image.fromarray(picture).save(out, "JPEG", quality=camera.quality, subsampling=halved, comment=b"simulated")
    return out.getvalue()


def srgb(linear: Any) -> Any:
    """IEC 61966-2-1."""
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055)


def log_ratios(light: Any, white: float, camera: Camera) -> tuple[Any, Any]:
    """Log of the picture over the same without features, and over the same without dirt; a floor keeps black calm."""
    planes = np.dstack([light[..., :3].mean(axis=2), light[..., 3], light[..., 4]])
    seen = np.log(cv2.GaussianBlur(planes, (0, 0), camera.blur_px) + 0.01 * white)
    return seen[..., 0] - seen[..., 1], seen[..., 0] - seen[..., 2]


def mask_png(features: Any, dirt: Any, metal: Any) -> bytes:
    """Palette picture: 0 nothing, 1 low contrast, 2 natural, 3 dirt, 4 metal."""
    natural, dirty = np.abs(features), np.abs(dirt)
    classes = np.where((natural > FAINT) & (dirty < VISIBLE), 1, 0)
    classes[natural > VISIBLE] = 2
    classes[(dirty > VISIBLE) & (dirty > natural)] = 3
    classes[metal > 0.5] = 4
    image = Image.fromarray(classes.astype(np.uint8))
    image.putpalette(PALETTE)
    out = io.BytesIO()
    image.save(out, "PNG", optimize=True)
    return out.getvalue()
