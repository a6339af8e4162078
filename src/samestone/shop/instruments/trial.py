"""What was typed for a check → what metrology says to it. Pure: no database, no clock."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from samestone import imaging
from samestone.metrology import Instrument, diary

# The response of a thermal probe on a known diamond.
DIAMOND = "diamond"
# Standard uncertainty of a scale, as a share of it, from focusing anew; no ruling shows it (assumed, no source).
FOCUS_SHARE = 0.001


@dataclass(frozen=True)
class Trial:
    """One check: what it was made on, what the instrument showed, the outcome; numbers as typed."""

    outcome: diary.Outcome
    nominal: str = ""
    indications: list[str] = field(default_factory=list)
    detail: dict[str, str] = field(default_factory=dict)


def try_zero(typed: Mapping[str, Any], instrument: Instrument) -> Trial:
    """Closed gauge, empty scale."""
    return Trial(diary.check_zero(_numbers(typed["shows"]), instrument), "0", typed["shows"])


def try_blocks(typed: Mapping[str, Any], instrument: Instrument) -> Trial:
    """Two or three gauge blocks across the range in use."""
    blocks = [(typed[f"block_{n}"], typed[f"shows_{n}"]) for n in (1, 2, 3) if typed[f"block_{n}"]]
    u = float(typed["u_block"])
    outcome = diary.check_blocks([(float(block), u, _numbers(shows)) for block, shows in blocks], instrument)
    shown = [text for _, shows in blocks for text in shows]
    detail = {f"block {block}": " ".join(shows) for block, shows in blocks}
    return Trial(outcome, ", ".join(block for block, _ in blocks), shown, {**detail, "u_block": typed["u_block"]})


def try_weight(typed: Mapping[str, Any], instrument: Instrument) -> Trial:
    """A known weight; one too coarse for the scale is refused."""
    outcome = diary.check_weight(float(typed["nominal_g"]), typed["weight_class"], _numbers(typed["shows"]), instrument)
    return Trial(outcome, f"{typed['nominal_g']} g", typed["shows"], {"class": typed["weight_class"]})


def try_stones(typed: Mapping[str, Any]) -> Trial:
    """A probe on a known diamond and on a known imitation, three touches each."""
    known = [typed[f"diamond_{n}"] for n in (1, 2, 3)]
    other = [typed[f"imitation_{n}"] for n in (1, 2, 3)]
    return Trial(diary.check_probe(known, other, DIAMOND), "diamond, imitation", [*known, *other])


def try_lamp(typed: Mapping[str, Any]) -> Trial:
    """The UV box at its agreed distance, on the shop's own glowing stone."""
    distance, agreed = typed["distance_mm"], typed["agreed_mm"]
    outcome = diary.check_lamp(float(distance), float(agreed), typed["seen"], typed["expected"])
    detail = {"agreed_mm": agreed, "expected": typed["expected"], "seen": typed["seen"]}
    return Trial(outcome, f"{agreed} mm", [distance], detail)


def read_micrometer(content: bytes, division_um: str) -> dict[str, str]:
    """Scale and u from a picture of a stage micrometer, as they would be typed; raises `ValueError` in words."""
    try:
        photo = imaging.open_photo(content)
        found = imaging.microscope.measure_scale(photo.grey.astype("float32"), division_um=float(division_um))
    except (imaging.BadPhoto, imaging.microscope.Unresolved) as error:
        raise ValueError(str(error)) from error
    u = math.hypot(found.u, FOCUS_SHARE * found.um_per_px)
    read = {"um_per_px": f"{found.um_per_px:.6g}", "u": f"{u:.2g}", "rulings": str(found.rulings)}
    return {**read, "width_px": str(photo.width)}


def try_micrometer(typed: Mapping[str, Any], on_file: tuple[str, str] | None) -> Trial:
    """A stage micrometer under the camera; the first one at a magnification is what later ones are held against."""
    scale, u = typed["um_per_px"], typed["u"]
    known, u_known = on_file or (scale, u)
    outcome = diary.check_camera(float(scale), float(u), float(known), float(u_known))
    told = {name: typed[name] for name in ("rulings", "width_px", "magnification") if typed.get(name)}
    return Trial(outcome, known, [scale], {"um_per_px": scale, "u": u, "u_on_file": u_known, **told})


def _numbers(texts: Sequence[str]) -> list[float]:
    return [float(text) for text in texts]
