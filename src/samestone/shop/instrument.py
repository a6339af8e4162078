"""Instruments as the shop keeps them: what kinds there are, what each can be checked with, rows → metrology.

A new uncertainty is a new row of the same name and kind, and the old one retires; together they are one instrument,
with one diary.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import ROUND_UP, Decimal
from typing import Any

from django.db.models import Q

from samestone import metrology
from samestone.shop.models import Instrument, InstrumentCheck

# What each kind is in metrology's word for its default uncertainty; empty: nothing is measured with it.
KINDS: Mapping[str, str] = {
    "gauge": "gauge",
    "scale": "scale",
    "microscope": "table gauge",
    "camera": "",
    "probe": "",
    "uv lamp": "",
}
CHECKS: Mapping[str, tuple[str, ...]] = {
    "gauge": ("zero", "gauge blocks"),
    "scale": ("zero", "known weight"),
    "microscope": ("stage micrometer",),
    "camera": ("stage micrometer",),
    "probe": ("known stones",),
    "uv lamp": ("uv box",),
}
# What pictures of stones are taken with.
CAMERAS = ("camera", "microscope")
# With fewer degrees of freedom a measured uncertainty carries no evidence (metrology calls it unsupported).
ENOUGH_DOF = 20
DECLARED = "declared default, common practice"


def declared_fields(kind: str, name: str) -> dict[str, Any]:
    """The fields of an instrument that nobody has studied yet: wide defaults, shown as declared."""
    if kind not in KINDS:
        raise ValueError(f"{kind!r} is no kind of instrument; expected one of {', '.join(KINDS)}")
    fields: dict[str, Any] = {"name": name, "kind": kind, "basis": DECLARED if KINDS[kind] else ""}
    if KINDS[kind]:
        assumed = metrology.Instrument.assume(KINDS[kind], name)
        fields |= {
            "unit": assumed.unit,
            "resolution": f"{assumed.resolution:g}",
            "u": f"{assumed.u:g}",
            "u_common": f"{assumed.u_common:g}",
        }
    return fields


def as_metrology(row: Instrument) -> metrology.Instrument:
    """The row as metrology knows it; a lamp or a probe has no number and cannot be one (`ValueError`)."""
    if not row.u:
        raise ValueError(f"{row.name} has no uncertainty: nothing is measured with it")
    return metrology.Instrument(
        name=row.name,
        kind=row.kind,
        unit=row.unit,
        resolution=float(row.resolution or 0),
        u=float(row.u),
        u_common=float(row.u_common or 0),
        dof=row.dof,
        declared=row.declared,
    )


def same_instrument(row: Instrument) -> Q:
    """Rows of the same instrument, whatever uncertainty they were given."""
    return Q(name=row.name, kind=row.kind)


def checks_of(row: Instrument) -> list[InstrumentCheck]:
    """The whole diary of an instrument, oldest first."""
    rows = Instrument.objects.filter(same_instrument(row))
    return list(InstrumentCheck.objects.filter(instrument__in=rows).select_related("by").order_by("at", "pk"))


def as_check(row: InstrumentCheck) -> metrology.diary.Check:
    """The row as the diary knows it."""
    return metrology.diary.Check(row.at, row.passed, float(row.detail.get("deviation", 0)))


def two_figures(value: float) -> str:
    """An uncertainty as it is stated: two figures, rounded up."""
    exact = Decimal(repr(value))
    return f"{exact.quantize(Decimal(1).scaleb(exact.adjusted() - 1), rounding=ROUND_UP):f}" if value else "0"
