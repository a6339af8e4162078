"""How wide the claws are: found in a picture by themselves or between two taps, with u and earlier visits."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from samestone import imaging
from samestone.shop import claw_width, vault
from samestone.shop.claw_width import MEASURED, SAME_CLAW_DEG, apart_deg
from samestone.shop.examine.scale import Scale
from samestone.shop.kinship import same_stones
from samestone.shop.models import Entry, Examination, Photograph
from samestone.shop.suspicion import doubts

# Less than this of a width over the crown: a shoulder of the ring rather than a claw, until someone says otherwise.
SHOULDER_REACH = 0.05


@dataclass(frozen=True)
class Claw:
    """One claw in a picture; `likely` unless it looks like a shoulder of the ring."""

    angle_deg: float
    width_px: float
    u_px: float
    state: str
    likely: bool


@dataclass(frozen=True)
class Visit:
    """The widths of one earlier measurement, by day."""

    when: Any
    unit: str
    widths: tuple[tuple[float, str], ...]

    def near(self, angle_deg: float) -> str:
        """The width of the claw nearest to this direction; empty where none is."""
        apart = {apart_deg(angle, angle_deg): text for angle, text in self.widths}
        return apart[min(apart)] if apart and min(apart) < SAME_CLAW_DEG else ""


def what_of(photo: Photograph) -> str:
    """What is measured in it: from the side the height of a claw, else its width."""
    return "height" if photo.view == "side" else "width"


def find_claws(photo: Photograph) -> tuple[tuple[Claw, ...], str]:
    """The claws found in the picture, and a doubt or the reason why there are none."""
    if what_of(photo) == "height":
        return (), ""  # from the side nothing is found by itself: tap foot and tip
    reading = _measure(photo.digest)
    if isinstance(reading, str):
        return (), reading
    found = tuple(
        Claw(
            round(float(one.angle_deg)),
            round(float(one.width_px), 1),
            round(float(one.u_px), 1),
            "" if one.reach < SHOULDER_REACH else " ".join(one.flags),
            bool(one.reach >= SHOULDER_REACH),
        )
        for one in reading.prongs
    )
    return found, reading.doubt


@lru_cache(maxsize=16)
def _measure(digest: str) -> Any:
    try:
        return imaging.microscope.measure_prongs(imaging.open_photo(vault.read(digest)))
    except imaging.microscope.NoProngs as error:
        return str(error)


def in_unit(width_px: float, u_px: float, scale: Scale | None) -> tuple[str, str, str]:
    """Width, its u and the unit: millimetres where the scale is known (relative uncertainties in quadrature)."""
    if scale is None:
        return f"{width_px:.1f}", f"{u_px:.1f}", "px"
    width = width_px * scale.um_per_px / 1000
    u = math.hypot(u_px * scale.um_per_px, width_px * scale.u) / 1000
    return f"{width:.3f}", f"{u:.3f}", "mm"


def earlier_visits(photo: Photograph) -> tuple[Visit, ...]:
    """Widths measured at other times on this stone, oldest first; none but its own while a pick-up look is open."""
    look = photo.examination
    stones = {row.pk for row in same_stones(look.stone)}
    rows = Entry.objects.filter(kind=MEASURED).select_related("payload").order_by("number")
    told = [
        (row, row.payload.data)
        for row in rows
        if row.payload.data["stone"] in stones and row.payload.data.get("what", "width") == what_of(photo)
    ]
    if is_blind(look.stone_id):
        told = [(row, data) for row, data in told if data["examination"] == look.pk]
    pictures = Photograph.objects.filter(pk__in={data["photograph"] for _, data in told})
    suspect = doubts(pictures.select_related("instrument"))
    return tuple(_visit(row, data, suspect.get(data["photograph"], "")) for row, data in told)


def is_blind(stone: int) -> bool:
    """Whether someone looks at this stone for the pick-up now."""
    occasion = Examination.Occasion.PICK_UP
    return Examination.objects.filter(stone=stone, occasion=occasion, finished_at__isnull=True).exists()


def _visit(row: Entry, data: dict[str, Any], doubt: str) -> Visit:
    found = claw_width.widths_in(row, doubt)
    widths = tuple((one.angle_deg, f"{one.width} ± {one.u}{', in doubt' if one.doubt else ''}") for one in found)
    return Visit(row.when, data["unit"], widths)
