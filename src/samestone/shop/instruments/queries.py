"""What the instruments' pages show: standing, diary, what a failed check touches, the shop's own repeats."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal

from samestone import metrology
from samestone.gem import PROPERTIES
from samestone.shop.instrument import CHECKS, ENOUGH_DOF, as_check, as_metrology, checks_of, same_instrument
from samestone.shop.life import Station
from samestone.shop.models import (
    Examination,
    Instrument,
    InstrumentCheck,
    Job,
    Photograph,
    Reaction,
    Reading,
    Stone,
)
from samestone.shop.suspicion import doubtful_since, doubts

# How often each check is usual (common practice, no source), in days.
USUAL_DAYS = {"zero": 1, "gauge blocks": 7, "known weight": 7, "known stones": 1, "uv box": 30, "stage micrometer": 30}
Found = Reading | Reaction | Photograph
# The newest looks tell how an instrument is used now.
MOST_LOOKS = 2000


@dataclass(frozen=True)
class KindOfCheck:
    """One kind of check of one instrument: the newest one, and whether it is time for another."""

    kind: str
    last: InstrumentCheck | None
    due: bool

    @property
    def title(self) -> str:
        return "UV box" if self.kind == "uv box" else self.kind.capitalize()

    @property
    def slug(self) -> str:
        return self.kind.replace(" ", "-")


@dataclass(frozen=True)
class Card:
    """An instrument on its shelf."""

    row: Instrument
    kinds: tuple[KindOfCheck, ...]
    jobs: int

    @property
    def failed(self) -> bool:
        return any(kind.last and not kind.last.passed for kind in self.kinds)

    @property
    def due(self) -> bool:
        return any(kind.due for kind in self.kinds)


@dataclass(frozen=True)
class TouchedLook:
    """A look with suspect findings that were not repeated (`waiting`) or were; `again`: it can be repeated now."""

    look: Examination
    at: dt.datetime
    waiting: tuple[str, ...]
    repeated: tuple[str, ...]
    again: bool

    @property
    def over(self) -> bool:
        """Pictures as received cannot be taken again of a piece that has been cleaned."""
        received = self.look.occasion == Examination.Occasion.RECEIVED
        return received and self.look.job.station != Station.TAKEN_IN.value


@dataclass(frozen=True)
class Touched:
    """A job with findings that rest on an instrument that failed, look by look."""

    job: Job
    looks: tuple[TouchedLook, ...]

    @property
    def gone(self) -> bool:
        return self.job.station == Station.PICKED_UP.value

    @property
    def open(self) -> int:
        return sum(len(look.waiting) for look in self.looks if not look.over)


@dataclass(frozen=True)
class OwnRepeats:
    """What the looks of this shop say about an instrument, against what is stated."""

    found: metrology.repeats.Repeatability
    check: metrology.repeats.RepeatCheck
    readings: int

    @property
    def enough(self) -> bool:
        return self.found.dof_independent >= ENOUGH_DOF


def cards(now: dt.datetime) -> tuple[Card, ...]:
    """Every instrument in use, with its checks and how many jobs wait for a repeat."""
    rows = Instrument.objects.filter(retired_at=None).order_by("pk")
    return tuple(Card(row, kinds_of(row, now), sum(1 for one in touched_jobs(row) if one.open)) for row in rows)


def kinds_of(row: Instrument, now: dt.datetime) -> tuple[KindOfCheck, ...]:
    """The checks of an instrument, the newest of each and whether another is due."""
    newest = {check.kind: check for check in checks_of(row)}
    return tuple(
        KindOfCheck(
            kind,
            newest.get(kind),
            kind not in newest or (now - newest[kind].at) > dt.timedelta(days=USUAL_DAYS[kind]),
        )
        for kind in CHECKS.get(row.kind, ())
    )


def drift_words(row: Instrument) -> str:
    """A sentence where the checks of one kind show a drift; empty where they do not, or are too few."""
    by_kind: dict[str, list[InstrumentCheck]] = defaultdict(list)
    for check in checks_of(row):
        by_kind[check.kind].append(check)
    for kind, checks in by_kind.items():
        if len(checks) < 4 or len({check.at for check in checks}) < 2 or kind in ("known stones", "uv box"):
            continue
        line = metrology.diary.drift([as_check(check) for check in checks])
        if line.significant:
            unit = checks[-1].detail.get("unit", row.unit)
            return f"It drifts ({kind}): {line.per_year:+.2g} ± {line.u:.1g} {unit} a year, over {len(checks)} checks."
    return ""


def touched_jobs(row: Instrument) -> tuple[Touched, ...]:
    """The jobs with suspect findings or pictures of this instrument: by pick-up date, those gone home last."""
    since = doubtful_since(row)
    if since is None:
        return ()
    made_with = {"instrument__in": Instrument.objects.filter(same_instrument(row)), "at__gte": since}
    around = ("instrument", "examination__stone__piece__job")
    readings = list(Reading.objects.current().filter(**made_with).select_related(*around))
    reactions = list(Reaction.objects.current().filter(**made_with).select_related(*around))
    pictures = list(Photograph.objects.current().filter(usable=True, **made_with).select_related(*around))
    found: dict[Job, dict[Examination, list[Found]]] = defaultdict(lambda: defaultdict(list))
    for rows in (readings, reactions, pictures):
        suspect = doubts(rows)
        for one in rows:
            if one.pk in suspect:
                found[one.examination.job][one.examination].append(one)
    touched = (Touched(job, tuple(_touched(*look) for look in looks.items())) for job, looks in found.items())
    return tuple(sorted(touched, key=lambda one: (one.gone, one.job.due or dt.date.max, one.job.envelope)))


def _touched(look: Examination, rows: list[Found]) -> TouchedLook:
    named = {_name(row): _is_repeated(row, look) for row in rows}
    as_then = Stone.objects.filter(pk=look.stone.pk, setting=look.setting).exists()
    return TouchedLook(
        look=look,
        at=rows[0].at,
        waiting=tuple(name for name, repeated in named.items() if not repeated),
        repeated=tuple(name for name, repeated in named.items() if repeated),
        again=as_then and look.job.station != Station.PICKED_UP.value,
    )


def _name(row: Found) -> str:
    if isinstance(row, Photograph):
        return f"{row.view} picture"
    return in_words(row.property if isinstance(row, Reading) else row.test)


def in_words(name: str) -> str:
    """`diameter_min_mm` is read as smallest diameter, `uv_long_wave` as uv long wave."""
    return PROPERTIES[name].label if name in PROPERTIES else name.replace("_", " ")


def _is_repeated(row: Found, look: Examination) -> bool:
    """Whether a usable finding of the same thing stands in another look at the stone on the same occasion."""
    same = {
        "examination__stone": look.stone,
        "examination__occasion": look.occasion,
        "examination__setting": look.setting,
    }
    if isinstance(row, Reading):
        rows = Reading.objects.current().filter(property=row.property, **same)
    elif isinstance(row, Reaction):
        rows = Reaction.objects.current().filter(test=row.test, **same)
    else:
        rows = Photograph.objects.current().filter(view=row.view, usable=True, **same)
    others = list(rows.select_related("instrument"))
    suspect = doubts(others)
    return any(other.pk not in suspect for other in others)


def own_repeats(row: Instrument) -> OwnRepeats | None:
    """The scatter within the looks made with an instrument; None where nothing was read twice, or it has no unit.

    Only what one look showed several times counts: two looks at what is taken for the same stone would assume what
    they are to show.
    """
    if not row.u:
        return None
    lineage = Instrument.objects.filter(same_instrument(row))
    newest = Reading.objects.current().filter(instrument__in=lineage).select_related("instrument").order_by("-pk")
    rows = list(newest[:MOST_LOOKS])
    suspect = doubts(rows)
    groups = [[float(text) for text in one.indications] for one in rows if one.pk not in suspect]
    groups = [group for group in groups if len(group) > 1]
    if not groups:
        return None
    step = float(row.resolution or 0)
    repeats = [
        metrology.repeats.Repeat(number, number, value) for number, group in enumerate(groups) for value in group
    ]
    stated = as_metrology(row)
    return OwnRepeats(
        metrology.repeats.find_repeatability(repeats, step),
        metrology.repeats.check_stated_u(groups, stated.u_independent, step),
        len(groups),
    )


def history(row: Instrument) -> tuple[Instrument, ...]:
    """The uncertainties an instrument has had, newest first."""
    return tuple(Instrument.objects.filter(same_instrument(row)).order_by("-since", "-pk"))


def on_file(row: Instrument, magnification: str = "") -> tuple[str, str] | None:
    """The scale of a camera that later checks are held against: the first good one at this magnification."""
    good = (check for check in checks_of(row) if check.kind == "stage micrometer" and check.passed)
    alike = (check for check in good if _number(check.detail.get("magnification")) == _number(magnification))
    first = next(alike, None)
    return (first.detail["um_per_px"], first.detail["u"]) if first else None


def _number(text: str | None) -> Decimal | None:
    return Decimal(text) if text else None


def initial_for(row: Instrument, kind: str) -> dict[str, str]:
    """What was agreed at the last check of this kind, so that it need not be typed again."""
    last = next((check for check in reversed(checks_of(row)) if check.kind == kind), None)
    if last is None:
        return {}
    return {
        name: last.detail[name] for name in ("agreed_mm", "expected", "u_block", "magnification") if name in last.detail
    }
