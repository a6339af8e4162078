"""What the marks placed by hand on two plans of a stone say about it."""

from __future__ import annotations

import math
from collections.abc import Iterator

from samestone.evidence.bound import clip
from samestone.evidence.constellation import Comparison, Plan, Turn, compare_plans
from samestone.evidence.examination import Characteristic, Examination
from samestone.evidence.seeing import shipped_seeing
from samestone.evidence.verdict import Block, Finding
from samestone.evidence.wording import Outcome

WHAT = "characteristics"
DOUBTFUL = 0.0
"""log10 LR below which the marks should be looked at again: what speaks for another stone is never said to agree."""
MOST_MARKS = 40
"""Marks of a plan that are compared; of more, the largest."""


def judge_marks(
    before: Examination, after: Examination, *, fast: bool = False
) -> Iterator[tuple[Finding, Block | None]]:
    """A finding and a block if either examination looked for marks; marks by themselves never disagree decisively.

    A plan made in haste says nothing, with a share e of plans: LR' = (1 - e) LR + e.
    """
    was, is_ = _describe(before.characteristics), _describe(after.characteristics)
    if was is None and is_ is None:
        return
    if before.characteristics is None or after.characteristics is None:
        yield Finding(WHAT, was, is_, "not_compared", f"looked for {'before' if was else 'after'} only"), None
    elif "recut" in after.declared_changes:
        yield Finding(WHAT, was, is_, "not_compared", "after a recut they lie elsewhere, as declared"), None
    else:
        yield _compare(before, after, fast)


def _describe(marks: tuple[Characteristic, ...] | None) -> str | None:
    return None if marks is None else "none seen" if not marks else f"{len(marks)} mark{'s' * (len(marks) > 1)}"


def _compare(before: Examination, after: Examination, fast: bool) -> tuple[Finding, Block | None]:
    plans = _plan(before, after), _plan(after, after)
    seeing = shipped_seeing()
    stayed = before.setting == after.setting == "set" and "new_head" not in after.declared_changes
    turn = Turn(seeing.number("turned_share") if stayed else 1.0, seeing.number("turned_sd_deg"))
    found = compare_plans(*plans, turn=turn, fast=fast)
    careless = seeing.number("careless")
    raw = math.log10((1 - careless) * 10 ** clip(found.log10_lr, -300, 300) + careless)
    lower, upper = seeing.number("lower"), seeing.number("upper")
    value = clip(raw, lower, upper)
    why = _why(found, plans)
    was, is_ = _describe(before.characteristics), _describe(after.characteristics)
    outcome: Outcome = "doubtful" if value < DOUBTFUL else "agrees"
    finding = Finding(WHAT, was, is_, outcome, f"{why}: look again" if outcome == "doubtful" else why)
    working = {
        "log10_lr_of_plans": round(found.log10_lr, 3),
        "turn_deg": round(found.turn_deg, 1),
        "found_again": float(len(found.pairs)),
    }
    return finding, Block(WHAT, value, value, lower, upper, raw, 0, True, why, working)


def _plan(examination: Examination, later: Examination) -> Plan:
    marks = examination.characteristics or ()
    if "repolish" in later.declared_changes:
        surface = shipped_seeing().table["naming"]["surface"]
        marks = tuple(mark for mark in marks if mark.kind not in surface)
    if len(marks) > MOST_MARKS:
        marks = tuple(sorted(marks, key=lambda mark: -(mark.size or 0.0))[:MOST_MARKS])
    arcs = [entry for entry in examination.not_examined if entry.what == "girdle_arc"]
    hidden = [(a.from_deg, a.to_deg) for a in arcs if a.from_deg is not None and a.to_deg is not None]
    if any(entry.what == "girdle" for entry in examination.not_examined):
        hidden = [(0.0, 359.999)]
    return Plan(marks, tuple(hidden))


def _why(found: Comparison, plans: tuple[Plan, Plan]) -> str:
    before, after = (len(plan.marks) for plan in plans)
    if not before and not after:
        return "none seen either time"
    turned = (found.turn_deg + 180) % 360 - 180
    parts = [f"{len(found.pairs)} of {before} found again"]
    if len(found.pairs) > 1 and abs(turned) > 15:
        parts[0] += f", the plan turned by {abs(turned):.0f} degrees"
    if found.mirrored and len(found.pairs) > 1:
        parts[0] += ", the plan mirrored"
    if after > len(found.pairs):
        parts.append(f"{after - len(found.pairs)} not seen before")
    return "; ".join(parts)
