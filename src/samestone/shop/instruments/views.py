"""The instruments' pages: read clock, user and form, make one call, show one page."""

from __future__ import annotations

from typing import Any

from django import forms as django_forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_POST

from samestone import metrology
from samestone.gem import care
from samestone.shop.instrument import CHECKS, as_metrology, checks_of
from samestone.shop.instruments import actions, forms, queries, trial
from samestone.shop.models import Instrument
from samestone.shop.sign_in import owner_only, signed_in
from samestone.shop.wording import said

UNPROCESSABLE = 422


def show_instruments(request: HttpRequest) -> HttpResponse:
    """Every instrument, how it stands, what is due."""
    page = {"cards": queries.cards(timezone.now()), "retired": Instrument.objects.exclude(retired_at=None)}
    return render(request, "instruments/instruments.html", page)


def add_instrument(request: HttpRequest) -> HttpResponse:
    form = forms.NewInstrumentForm(request.POST or None)
    if form.is_valid():
        try:
            row = actions.add_instrument(at=timezone.now(), by=signed_in(request), **form.cleaned_data)
        except actions.NameTaken as error:
            form.add_error("name", str(error))
        else:
            return redirect("instrument", pk=row.pk)
    return render(
        request, "instruments/new.html", {"form": form}, status=UNPROCESSABLE if request.method == "POST" else 200
    )


def show_diary(request: HttpRequest, pk: int) -> HttpResponse:
    return _diary(request, get_object_or_404(Instrument, pk=pk))


@require_POST
def check(request: HttpRequest, pk: int, kind: str) -> HttpResponse:
    """One check; a bad one is written down like a good one, and shows what it puts in doubt."""
    row, name = get_object_or_404(Instrument, pk=pk, retired_at=None), kind.replace("-", " ")
    if name not in CHECKS.get(row.kind, ()):
        raise Http404(f"no check called {kind}")
    form = forms.CHECK_FORMS[name](request.POST, request.FILES)
    if not form.is_valid():
        return _diary(request, row, {name: form})
    typed = dict(form.cleaned_data)
    picture = typed["photograph"].read() if typed.get("photograph") else b""
    try:
        if picture:
            typed |= trial.read_micrometer(picture, typed["division_um"])
        tried = _try(row, name, typed)
    except ValueError as error:
        form.add_error(None, said(str(error)))
        return _diary(request, row, {name: form})
    actions.record_check(row, name, tried, picture=picture, at=timezone.now(), by=signed_in(request))
    if tried.outcome.passed:
        messages.success(request, tried.outcome.sentence)
    else:
        messages.error(request, f"Failed. {tried.outcome.sentence}. Do not measure with it until it passes again.")
    return redirect("instrument", pk=row.pk)


def _try(row: Instrument, kind: str, typed: dict[str, Any]) -> trial.Trial:
    if kind == "known stones":
        return trial.try_stones(typed)
    if kind == "uv box":
        return trial.try_lamp(typed)
    if kind == "stage micrometer":
        return trial.try_micrometer(typed, queries.on_file(row, typed["magnification"]))
    measured = {"zero": trial.try_zero, "gauge blocks": trial.try_blocks, "known weight": trial.try_weight}
    return measured[kind](typed, as_metrology(row))


def study(request: HttpRequest, pk: int) -> HttpResponse:
    """A gauge study: how much of the scatter is the measuring; its result may become the instrument's uncertainty."""
    row = get_object_or_404(Instrument, pk=pk, retired_at=None)
    form = forms.StudyForm(request.POST or None, request.FILES or None)
    page: dict[str, Any] = {"instrument": row, "form": form}
    if request.method == "POST" and form.is_valid():
        try:
            found = metrology.gauge.study_gauge([metrology.gauge.Trial(*one) for one in form.cleaned_data["rows"]])
            page |= _study_page(row, found, form.cleaned_data["text"])
            if "adopt" in request.POST and signed_in(request).is_owner:
                new = actions.adopt_study(
                    row, found, form.cleaned_data["text"], at=timezone.now(), by=signed_in(request)
                )
                messages.success(request, f"{new.name} now measures with u = {new.u} {new.unit}, as studied.")
                return redirect("instrument", pk=new.pk)
        except (ValueError, actions.TooFewRepeats) as error:
            form.add_error(None, str(error))
    status = UNPROCESSABLE if form.errors else 200
    return render(request, "instruments/study.html", page, status=status)


def _study_page(row: Instrument, study: metrology.gauge.Study, text: str) -> dict[str, Any]:
    found = study.as_instrument(row.name, row.kind, row.unit, float(row.resolution or 0))
    return {
        "study": study,
        "found": found,
        "text": text,
        "plot": mark_safe(study.plot(row.unit)),
    }


@require_POST
@owner_only
def use_repeats(request: HttpRequest, pk: int) -> HttpResponse:
    """The shop's own looks replace the default."""
    row = get_object_or_404(Instrument, pk=pk, retired_at=None)
    own = queries.own_repeats(row)
    try:
        if own is None:
            raise actions.TooFewRepeats("Nothing was read twice with it yet.")
        row = actions.adopt_repeats(row, own.found, at=timezone.now(), by=signed_in(request))
    except actions.TooFewRepeats as error:
        messages.error(request, str(error))
    return redirect("instrument", pk=row.pk)


@require_POST
@owner_only
def retire(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(Instrument, pk=pk, retired_at=None)
    actions.retire(row, at=timezone.now(), by=signed_in(request))
    return redirect("instruments")


def _diary(request: HttpRequest, row: Instrument, filled: dict[str, django_forms.Form] | None = None) -> HttpResponse:
    filled = filled or {}
    kinds = queries.kinds_of(row, timezone.now())
    touched = queries.touched_jobs(row)
    page = {
        "instrument": row,
        "checks": list(reversed(checks_of(row))),
        "kinds": [
            {
                "kind": one,
                "form": filled.get(one.kind) or forms.CHECK_FORMS[one.kind](initial=queries.initial_for(row, one.kind)),
                "cautions": care.cautions("uv") if one.kind == "uv box" else (),
            }
            for one in kinds
        ],
        "failed": any(one.last and not one.last.passed for one in kinds),
        "touched": touched,
        "gone": any(one.gone for one in touched),
        "waiting": sum(1 for one in touched if one.open and not one.gone),
        "drift": queries.drift_words(row),
        "own": queries.own_repeats(row),
        "history": queries.history(row),
    }
    return render(request, "instruments/diary.html", page, status=UNPROCESSABLE if filled else 200)
