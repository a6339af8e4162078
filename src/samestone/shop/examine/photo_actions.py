"""What looking at pictures writes: what was said of a feature after cleaning, the widths of the claws."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from django.db import transaction
from django.utils.translation import gettext

from samestone.shop import ledger
from samestone.shop.claw_width import MEASURED
from samestone.shop.examine import actions
from samestone.shop.examine.claws import in_unit, what_of
from samestone.shop.examine.cleaning import LOOKED, Changes, Spot
from samestone.shop.examine.scale import Scale
from samestone.shop.finding import begin_examination, record_finding
from samestone.shop.life import NotPossibleNow, Station
from samestone.shop.models import Entry, Examination, Mark, Member, Photograph

IN_THE_STONE, AGREED, GONE, NOT_THERE = "in the stone", "agreed", "gone: it was dirt", "nothing there"


@transaction.atomic
def confirm_spot(
    changes: Changes, spot: Spot, said: str, *, kind: str = "other", words: str = "", at: dt.datetime, by: Member
) -> Entry:
    """The jeweller's own look at one feature; “in the stone” and “agreed” also become marks on the clock face.

    Raises `NotPossibleNow` for an agreed mark without words, or once the take-in is over.
    """
    stone = changes.after.photo.examination.stone
    if stone.job.station not in {Station.TAKEN_IN.value, Station.CLEANED.value}:
        raise NotPossibleNow(f"The take-in of {stone.job.envelope} is finished; what was agreed stays as it was.")
    place = {"r": spot.r, "angle_deg": spot.angle_deg}
    if said == IN_THE_STONE:
        look = begin_examination(stone, Examination.Occasion.TAKE_IN, at=at, by=by)
        actions.place_characteristic(look, kind=kind, **place, at=at, by=by)
    elif said == AGREED:
        if not words.strip():
            raise NotPossibleNow("Write the mark in the client's own words: they must know it again.")
        look = changes.before.photo.examination
        mark: dict[str, Any] = {"category": "agreed", "words": words.strip(), **place}
        record_finding(Mark, look, at=at, by=by, **mark)
    elif said not in (GONE, NOT_THERE):
        raise ValueError(f"{said!r} is no answer; expected one of {IN_THE_STONE}, {AGREED}, {GONE}, {NOT_THERE}")
    details = {
        "stone": stone.pk,
        "before": changes.before.photo.pk,
        "after": changes.after.photo.pk,
        "number": spot.number,
        "seen_by_program": spot.outcome,
        "said": said,
        **place,
    }
    return ledger.append(LOOKED, about=stone.job, at=at, by=by, details=details)


@transaction.atomic
def keep_claws(
    photo: Photograph, claws: Sequence[dict[str, Any]], *, scale: Scale | None, at: dt.datetime, by: Member
) -> Entry:
    """The widths that stand; each with `angle_deg`, `width_px`, `u_px`, `state`, and `how` it was found."""
    if not claws:
        height = what_of(photo) == "height"
        raise NotPossibleNow(
            "Tap foot and tip first." if height else gettext("Tick at least one claw, or tap its two sides.")
        )
    measured = []
    for claw in claws:
        width, u, _ = in_unit(claw["width_px"], claw["u_px"], scale)
        kept = {"angle_deg": f"{claw['angle_deg']:.0f}", "width_px": f"{claw['width_px']:.1f}"}
        measured.append({**kept, "width": width, "u": u, "state": claw["state"], "how": claw["how"]})
    details: dict[str, Any] = {
        "stone": photo.examination.stone_id,
        "examination": photo.examination_id,
        "photograph": photo.pk,
        "what": what_of(photo),
        "unit": "mm" if scale else "px",
        "claws": measured,
    }
    if scale:
        details |= {"um_per_px": f"{scale.um_per_px}", "instrument": scale.instrument.name}
    return ledger.append(MEASURED, about=photo.examination.job, at=at, by=by, details=details)
