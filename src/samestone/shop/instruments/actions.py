"""What the instruments' pages write: instruments, checks, new uncertainties."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db import transaction

from samestone import metrology
from samestone.shop import ledger, vault
from samestone.shop.instrument import ENOUGH_DOF, declared_fields, two_figures
from samestone.shop.instruments.trial import Trial
from samestone.shop.models import Instrument, InstrumentCheck, Member


class NameTaken(Exception):
    """Another instrument in use has this name."""


class TooFewRepeats(Exception):
    """An uncertainty with too few degrees of freedom behind it would carry no evidence."""


@transaction.atomic
def add_instrument(*, kind: str, name: str, at: dt.datetime, by: Member) -> Instrument:
    """Something new on the bench, with the wide declared default of its kind."""
    if Instrument.objects.filter(name__iexact=name, retired_at=None).exists():
        raise NameTaken(f"There is a “{name}” in use. Give this one a name of its own.")
    row = Instrument.objects.create(**declared_fields(kind, name), since=at)
    ledger.append("instrument added", about=row, at=at, by=by, rows=[row])
    return row


@transaction.atomic
def record_check(
    instrument: Instrument, kind: str, trial: Trial, *, picture: bytes = b"", at: dt.datetime, by: Member
) -> InstrumentCheck:
    """One line of the diary. A failed one changes no reading: what it puts in doubt is worked out when it is asked.

    The `picture` that was measured is kept.
    """
    outcome = trial.outcome
    row = InstrumentCheck.objects.create(
        instrument=instrument,
        at=at,
        by=by,
        kind=kind,
        nominal=trial.nominal,
        indications=trial.indications,
        passed=outcome.passed,
        note=outcome.sentence[:300],
        detail={
            "deviation": f"{outcome.deviation:.6g}",
            "limit": f"{outcome.limit:.6g}",
            "unit": outcome.unit,
            **trial.detail,
        },
    )
    details = {"picture_kept": vault.store(picture)} if picture else {}
    ledger.append("instrument checked", about=instrument, at=at, by=by, rows=[row], details=details)
    return row


@transaction.atomic
def adopt_study(
    instrument: Instrument, study: metrology.gauge.Study, trials: str, *, at: dt.datetime, by: Member
) -> Instrument:
    """What a gauge study found becomes the instrument's uncertainty; its readings are kept byte for byte."""
    found = study.as_instrument(instrument.name, instrument.kind, instrument.unit, float(instrument.resolution or 0))
    if found.standing != "measured":
        raise TooFewRepeats(
            f"The study has {found.dof:g} degrees of freedom; {ENOUGH_DOF} are needed. Measure more parts or "
            "once more around."
        )
    people, parts, rounds = len(study.appraisers), len(study.parts), study.values.shape[2]
    u = two_figures(found.u)
    fields = {
        "u": u,
        "u_common": min(two_figures(found.u_common), u, key=float),
        "dof": int(found.dof or 0),
        "declared": False,
        "basis": f"gauge study: {people} people, {parts} parts, {rounds} rounds",
    }
    return _renew(instrument, fields, {"trials_kept": vault.store(trials.encode())}, at=at, by=by)


@transaction.atomic
def adopt_repeats(
    instrument: Instrument, repeats: metrology.repeats.Repeatability, *, at: dt.datetime, by: Member
) -> Instrument:
    """The scatter of the shop's own looks replaces the default's own part; the zero error stays as declared.

    It stays a declared figure: nothing in these repeats says by how much whole sittings differ.
    """
    if repeats.dof_independent < ENOUGH_DOF:
        raise TooFewRepeats(f"Only {repeats.dof_independent} degrees of freedom so far; {ENOUGH_DOF} are needed.")
    common, step = float(instrument.u_common or 0), float(instrument.resolution or 0)
    own = max(repeats.u_independent, step / 12**0.5)  # scatter that the display swallows is taken as the step's own
    fields = {
        "u": two_figures((own**2 + common**2) ** 0.5),
        "u_common": instrument.u_common,
        "dof": None,
        "declared": True,
        "basis": f"own looks ({repeats.dof_independent} degrees of freedom), zero error as declared",
    }
    return _renew(instrument, fields, {}, at=at, by=by)


@transaction.atomic
def retire(instrument: Instrument, *, at: dt.datetime, by: Member) -> Instrument:
    """Out of use: no longer offered, its readings and its diary stay."""
    instrument.retired_at = at
    instrument.save()
    ledger.append("instrument retired", about=instrument, at=at, by=by, rows=[instrument])
    return instrument


def _renew(
    old: Instrument, fields: dict[str, Any], details: dict[str, Any], *, at: dt.datetime, by: Member
) -> Instrument:
    """A new row of the same name; readings made before keep the uncertainty they were made with."""
    kept = {name: getattr(old, name) for name in ("name", "kind", "unit", "resolution")}
    old.retired_at = at
    old.save()
    new = Instrument.objects.create(**kept, **fields, since=at)
    ledger.append("uncertainty renewed", about=new, at=at, by=by, rows=[old, new], details=details)
    return new
