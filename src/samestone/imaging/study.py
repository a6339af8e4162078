"""Everything that is worked out once for one photograph, in the order it is needed."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from samestone.imaging import quality
from samestone.imaging.characteristic import Characteristic, list_marks, mark_maps, network_inputs
from samestone.imaging.contour import blob_hull, fit_convex, fit_hull, fit_oval
from samestone.imaging.focus import measure_blur
from samestone.imaging.outline import Outline, fit_outline
from samestone.imaging.photo import Photo
from samestone.imaging.quality import Flag
from samestone.imaging.registration import Pattern
from samestone.imaging.ring import Ring, edge_map, erase_ring, find_ring
from samestone.imaging.tilt import lean_deg
from samestone.imaging.view import GIRDLE, Plane, View, cut_out, disc, view_of

LEAST_SCORE = 0.35
WELL_COVERED = 0.6
SECOND_STONE = 0.75


@dataclass(frozen=True, eq=False)
class Study:
    """A photograph under study; nothing is computed before it is asked for, nothing twice."""

    photo: Photo

    @cached_property
    def _edges(self) -> tuple[NDArray[np.float32], float]:
        return edge_map(self.photo.grey, self.photo.white)

    @cached_property
    def ring(self) -> Ring:
        return find_ring(*self._edges)

    @cached_property
    def outline(self) -> Outline | None:
        """The girdle, or None where no stone is; a stone that is not round is outlined by its silhouette."""
        grey, white = self.photo.grey, self.photo.white
        round_one = fit_outline(grey, white, self.ring) if self.ring.score > LEAST_SCORE else None
        if round_one is not None and round_one.covered > WELL_COVERED:
            return round_one
        oval = fit_oval(grey, white, *self._edges, self.ring) if self.ring.score > LEAST_SCORE else None
        if oval is not None and oval.is_long and oval.covered > 0.1 + (round_one.covered if round_one else 0.3):
            return oval
        hull = blob_hull(self._edges[0])
        other = fit_hull(grey, white, hull, self._edges[1]) if hull is not None else None
        if round_one is not None:
            return other if other is not None and other.is_long else round_one
        if other is None and hull is not None:
            other = fit_convex(grey, white, hull, self._edges[1])
        return other

    @property
    def stone(self) -> Outline:
        """The girdle of a photograph that has one."""
        if self.outline is None:
            raise ValueError("no outline: ask for `flags` first and compare only usable photographs")
        return self.outline

    @cached_property
    def encoded(self) -> Plane:
        """The cut-out, 0 to 1 as encoded."""
        return cut_out(self.photo.grey, self.stone).astype(np.float32) / np.float32(self.photo.white)

    @cached_property
    def view(self) -> View:
        return view_of(self.photo, self.stone)

    @cached_property
    def planes(self) -> Plane:
        """What the networks see."""
        return network_inputs(self.view)

    @cached_property
    def maps(self) -> Plane:
        """Probability of natural marks and of dirt, half size."""
        return mark_maps(self.planes)

    @cached_property
    def pattern(self) -> Pattern:
        """What is registered: the view and its natural marks."""
        return Pattern(self.view, self.maps[0])

    @cached_property
    def marks(self) -> tuple[Characteristic, ...]:
        return list_marks(self.maps, self.stone)

    @cached_property
    def blur_share(self) -> float:
        """Blur, as a share of the girdle radius."""
        card = disc(1.06) & ~disc(1.035)
        return measure_blur(self.encoded * np.float32(255), disc(0.93), card) / GIRDLE

    @cached_property
    def shade(self) -> float:
        """How dark the dark facets are against the bright ones: the logarithm of the 5th over the 95th percentile."""
        low, high = np.percentile(self._inside(), (5, 95))
        return float(np.log((low + 0.01) / (high + 0.01)))

    @cached_property
    def lean(self) -> float:
        return lean_deg(self.view.detail_half, self.view.fold)

    @cached_property
    def flags(self) -> tuple[Flag, ...]:
        """Every doubt, blocking ones first."""
        if self.outline is None or not quality.has_structure(self.encoded, disc(0.9)):
            return (quality.NO_STONE,)
        flags = [*self._framing(self.outline), *self._sharpness(), *quality.exposure_flags(self._inside(), 1.0)]
        if quality.dazzle(self._inside()) > quality.MOST_DAZZLE and quality.GLARE not in flags:
            flags.append(quality.GLARE)
        if not any(flag.blocking for flag in flags) and self.lean > quality.TILTED_DEG:
            flags.append(quality.fill(quality.TILTED, self.lean))
        hidden = quality.hidden_degrees(self.outline)
        if hidden > 0:
            flags.append(quality.fill(quality.PRONGS, hidden))
        return tuple(sorted((*flags, quality.NO_SCALE), key=lambda flag: not flag.blocking))

    def _inside(self) -> Plane:
        inside: Plane = self.encoded[disc(0.95)]
        return inside

    def _framing(self, outline: Outline) -> list[Flag]:
        flags = []
        if quality.is_cut_off(outline, self.photo.width, self.photo.height):
            flags.append(quality.CUT_OFF)
        if outline.radius_px < quality.SMALLEST_RADIUS_PX:
            flags.append(quality.SMALL)
        second = find_ring(erase_ring(*self._edges, self.ring), self._edges[1])
        if second.score > SECOND_STONE and second.radius_px > 0.4 * self.ring.radius_px:
            flags.append(quality.TWO_STONES)
        return flags

    def _sharpness(self) -> list[Flag]:
        if self.blur_share > quality.BLURRED_SHARE:
            return [quality.BLURRED]
        return [quality.SOFT] if self.blur_share > quality.SOFT_SHARE else []

    @property
    def usable(self) -> bool:
        return not any(flag.blocking for flag in self.flags)
