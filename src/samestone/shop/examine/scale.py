"""How large things are in a picture: the last stage micrometer check of the camera or microscope that took it."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils import timezone

from samestone.shop.instrument import CAMERAS, checks_of
from samestone.shop.models import Instrument, InstrumentCheck, Photograph
from samestone.shop.suspicion import doubts

CHECK = "stage micrometer"
NO_SCALE = "no scale on record"


@dataclass(frozen=True)
class Scale:
    """Micrometres per pixel of a camera or microscope, as its last good stage micrometer check found.

    `magnification` is what was set then, as typed; `width_px` the width of the picture that was measured, if one was.
    """

    instrument: Instrument
    um_per_px: float
    u: float
    on: str
    magnification: str = ""
    width_px: int | None = None

    def holds_for(self, width_px: int) -> bool:
        """Whether a picture of this width has this scale, as far as can be told."""
        return self.width_px is None or self.width_px == width_px

    @property
    def words(self) -> str:
        at = f"at {self.magnification}×, " if self.magnification else ""
        return f"{at}{self.um_per_px:.4g} µm per pixel, checked {self.on}"


def scales() -> tuple[Scale, ...]:
    """The cameras and microscopes in use whose last stage micrometer check was good."""
    rows = Instrument.objects.filter(kind__in=CAMERAS, retired_at=None).order_by("pk")
    newest = ((row, _newest(row)) for row in rows)
    return tuple(_scale(row, check) for row, check in newest if check and check.passed)


def scales_of(photo: Photograph) -> tuple[Scale, ...]:
    """The scales that may hold for a picture: of what it was taken with, where that is known, and of its width."""
    if doubts([photo]):
        return ()
    tool = photo.instrument
    return tuple(
        one
        for one in scales()
        if one.holds_for(photo.width)
        and (tool is None or (one.instrument.name, one.instrument.kind) == (tool.name, tool.kind))
    )


def scale_words(instrument: Instrument | None, width_px: int) -> str:
    """What the diary says of the scale of a picture of this width, in one line; 0 for a width that nobody knows."""
    check = _newest(instrument) if instrument else None
    if instrument is None or check is None:
        return NO_SCALE
    if not check.passed:
        return f"none holds: the {instrument.name} failed its check ({_day(check)})"
    scale = _scale(instrument, check)
    if width_px and not scale.holds_for(width_px):
        return f"none holds: checked {scale.width_px} pixels wide, the picture has {width_px}"
    return scale.words


def _newest(row: Instrument) -> InstrumentCheck | None:
    return next((check for check in reversed(checks_of(row)) if check.kind == CHECK), None)


def _scale(row: Instrument, check: InstrumentCheck) -> Scale:
    told = check.detail
    width = int(told["width_px"]) if told.get("width_px") else None
    return Scale(
        row, float(told["um_per_px"]), float(told["u"]), _day(check), told.get("magnification", ""), width_px=width
    )


def _day(check: InstrumentCheck) -> str:
    return f"{timezone.localtime(check.at):%-d %b %Y}"
