"""From light to a JPEG: where a point falls on the picture, and what lens and electronics add.

Pixel (0, 0) is the centre of the top-left pixel; y runs down the picture.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from PIL import Image
from scipy.ndimage import gaussian_filter

from samestone.simulate.cutting import Floats, Solid

DISTANCE_DIAMETERS = 15.0


@dataclass(frozen=True)
class CameraModel:
    """Electronics: noise at full well, blur, tone curve exponent mix, sharpening, colour cast, JPEG quality."""

    full_well: float = 9000.0
    read_noise: float = 5.0
    blur_px: float = 0.55
    contrast: float = 0.0  # 0 is the plain sRGB curve, 1 a strong S
    sharpen: float = 0.0
    saturation: float = 1.0
    cast: tuple[float, float, float] = (1.0, 1.0, 1.0)
    vignette: float = 0.06
    exposure: float = 0.86
    quality: int = 90


@dataclass(frozen=True)
class Frame:
    """The optical set-up: picture size, scale in the girdle plane, how far the stone lies off the middle, lens."""

    size_px: tuple[int, int] = (640, 640)
    um_per_px: float = 10.0
    shift_px: tuple[float, float] = (0.0, 0.0)
    aperture: float = 0.008
    focus_mm: float = 0.0  # focused this far above the girdle plane
    distance_mm: float = 100.0

    def project(self, points: Floats) -> Floats:
        """World points (n, 3) in mm to pixels (n, 2)."""
        depth = self.distance_mm - points[:, 2]
        scale = self.distance_mm / depth / self.um_per_px * 1000
        x = points[:, 0] * scale + (self.size_px[0] - 1) / 2
        y = -points[:, 1] * scale + (self.size_px[1] - 1) / 2
        return np.stack([x, y], axis=1)

    @property
    def shift_mm(self) -> Floats:
        """The stone's centre off the optical axis, in mm."""
        return np.asarray(np.array([self.shift_px[0], -self.shift_px[1], 0.0]) * self.um_per_px / 1000)

    @property
    def eye(self) -> Floats:
        """Where the lens is, in mm."""
        return np.array([0.0, 0.0, self.distance_mm])


def refract(incoming: Floats, normal: Floats, ratio: float) -> Floats | None:
    """A unit direction after a flat surface (ratio n1/n2, normal against the light), or None on total reflection."""
    cos_i = -float(incoming @ normal)
    k = 1 - ratio**2 * (1 - cos_i**2)
    return None if k < 0 else ratio * incoming + (ratio * cos_i - np.sqrt(k)) * normal


def direct_images(point: Floats, solid: Solid, frame: Frame, index: float) -> list[tuple[str, Floats]]:
    """Where an inner point (3,) is seen through table and crown facets: facet name, pixel; solid in world frame."""
    seen = []
    for facet, normal in enumerate(solid.normals):
        if normal[2] < 0.25 or len(solid.polygons[facet]) < 3:
            continue
        hit = point + (solid.offsets[facet] - point @ normal) * normal
        for _ in range(12):
            look = hit - frame.eye
            look /= np.linalg.norm(look)
            inner = refract(look, normal, 1 / index)
            if inner is None:
                break
            hit = point + inner * (solid.offsets[facet] - point @ normal) / (inner @ normal)
        if solid.inside(hit[None], -1e-4)[0]:
            seen.append((solid.names[facet], frame.project(hit[None])[0]))
    return seen


def _tone(x: Floats, contrast: float) -> Floats:
    x = np.clip(x, 0, 1)
    srgb = np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.power(np.maximum(x, 1e-9), 1 / 2.4) - 0.055)
    curved = srgb * srgb * (3 - 2 * srgb)
    return np.asarray((1 - contrast) * srgb + contrast * curved)


def develop(light: Floats, model: CameraModel, rng: np.random.Generator) -> Floats:
    """Linear light (h, w, 3) to display values 0..1: exposure, vignetting, noise, blur, tone, sharpening."""
    h, w = light.shape[:2]
    bright = np.percentile(light[h // 6 : -h // 6, w // 6 : -w // 6].mean(axis=2), 96)
    x = np.nan_to_num(light) * (model.exposure / max(float(bright), 1e-6)) * np.array(model.cast)
    yy, xx = np.mgrid[0:h, 0:w]
    off = np.hypot(yy - h / 2, xx - w / 2) / np.hypot(h / 2, w / 2)
    x = np.clip(x, 0, 4) * (1 - model.vignette * off**2)[..., None]
    x = x + rng.normal(size=x.shape) * np.sqrt(
        np.clip(x, 0, None) / model.full_well + (model.read_noise / model.full_well) ** 2
    )
    if model.blur_px:
        x = gaussian_filter(x, (model.blur_px, model.blur_px, 0))
    y = _tone(x, model.contrast)
    if model.sharpen:
        y = y + model.sharpen * (y - gaussian_filter(y, (1.4, 1.4, 0)))
    grey = y.mean(axis=2, keepdims=True)
    return np.asarray(np.clip(grey + model.saturation * (y - grey), 0, 1))


def jpeg(values: Floats, quality: int, comment: str = "simulated picture") -> bytes:
    """Display values 0..1 as JPEG bytes that say in a comment that they are simulated."""
    out = io.BytesIO()
    image = Image.fromarray((np.clip(values, 0, 1) * 255 + 0.5).astype(np.uint8))
    image.save(out, "JPEG", quality=quality, comment=comment.encode(), subsampling=0 if quality >= 92 else 2)
    return out.getvalue()
