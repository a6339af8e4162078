"""The records' pages about stones: visits, weight, material, stray stones, the shop's own calibration."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_POST

from samestone import evidence
from samestone.shop.kinship import same_stones
from samestone.shop.models import Stone
from samestone.shop.records import actions, calibration, forms, material, stone, stray, weight
from samestone.shop.sign_in import signed_in


def show_visits(request: HttpRequest, pk: int) -> HttpResponse:
    """A stone through the years: its visits side by side."""
    row = _stone(pk)
    if stone.is_being_examined(row):
        return _covered(request, row)
    seen = stone.visits(row)
    page = {
        "stone": row,
        "job": row.job,
        "visits": seen,
        "rows": stone.visit_rows(seen),
        "any_widths": any(visit.widths for visit in seen),
        "same": same_stones(row),
        "candidates": stone.earlier_candidates(row),
        "against": stone.against_first_visit(row, _population()),
    }
    return render(request, "records/visits.html", page)


@require_POST
def recognise(request: HttpRequest, pk: int) -> HttpResponse:
    """The client says it is the stone of an earlier visit."""
    row = _stone(pk)
    earlier = get_object_or_404(Stone, pk=request.POST.get("earlier") or 0)
    try:
        actions.recognise_stone(row, earlier, at=timezone.now(), by=signed_in(request))
    except actions.NotEarlier as error:
        messages.error(request, str(error))
    return redirect("stone", pk=pk)


def show_weight(request: HttpRequest, pk: int) -> HttpResponse:
    """The estimate beside the scale."""
    row = _stone(pk)
    if stone.is_being_examined(row):
        return _covered(request, row)
    known = stone.known_values(row)
    initial = weight.initial_sizes(row, known)
    form = forms.WeightForm(request.GET if "depth" in request.GET else None, initial=initial)
    page: dict[str, Any] = {"stone": row, "job": row.job, "form": form, "known": _in_words(known)}
    page["doubted"] = stone.readings_in_doubt(row)
    typed = form.cleaned_data if form.is_bound and form.is_valid() else _complete(initial)
    if typed and not form.errors:
        try:
            found = weight.estimate(typed, known)
        except ValueError as error:
            page["refused"] = str(error)
        else:
            page["found"] = found
            page["picture"] = mark_safe(found.picture)  # drawn by gem from numbers alone
    return render(request, "records/weight.html", page)


def _in_words(known: dict[str, stone.Known]) -> list[tuple[str, stone.Known]]:
    return [(stone.in_words(name), one) for name, one in known.items()]


def _complete(initial: dict[str, Any]) -> dict[str, Any] | None:
    """The starting values where they suffice for an estimate."""
    needed = ("cut", "length", "width", "depth")
    return {"table": "", **initial} if all(initial.get(name) for name in needed) else None


def show_materials(request: HttpRequest, pk: int) -> HttpResponse:
    """What can it still be?"""
    row = _stone(pk)
    if stone.is_being_examined(row):
        return _covered(request, row)
    known = stone.known_values(row)
    form = forms.MaterialForm(request.GET or None)
    typed = form.cleaned_data if form.is_bound and form.is_valid() else {}
    reactions = [
        *material.recorded_reactions(row),
        *material.weight_against_size(row, known),
        *material.typed_reactions(typed),
    ]
    page: dict[str, Any] = {"stone": row, "job": row.job, "form": form}
    try:
        page["found"] = material.what_remains(reactions, loose=row.setting == "loose")
    except ValueError as error:
        page["refused"] = str(error)
    return render(request, "records/materials.html", page)


def search_stray(request: HttpRequest) -> HttpResponse:
    """A stone without an envelope: a shortlist, never an assignment."""
    form = forms.StrayForm(request.GET if "among" in request.GET else None)
    page: dict[str, Any] = {"form": form}
    if form.is_bound and form.is_valid():
        try:
            page["found"] = stray.search(form.cleaned_data)
        except evidence.BadRecord as error:
            form.add_error(None, str(error))
    return render(request, "records/stray.html", page)


def show_calibration(request: HttpRequest) -> HttpResponse:
    """How the verdicts of this shop have done so far."""
    own = calibration.own_calibration(_population())
    page: dict[str, Any] = {"own": own}
    if own.found is not None:
        page["picture"] = mark_safe(
            calibration.draw_ratios(own.found.same, own.found.other)
        )  # drawn from numbers alone
    return render(request, "records/calibration.html", page)


def _covered(request: HttpRequest, row: Stone) -> HttpResponse:
    """Nobody is shown earlier readings while someone reads."""
    return render(request, "records/covered.html", {"stone": row, "job": row.job})


def _stone(pk: int) -> Stone:
    return get_object_or_404(Stone.objects.select_related("piece__job__person"), pk=pk)


@lru_cache(maxsize=1)
def _population() -> Any:
    return evidence.load_population()
