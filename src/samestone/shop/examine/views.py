"""The pages of an examination: one question at a time; the same code at take-in, at the bench and at pick-up."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

from django import forms as django_forms
from django.apps import apps
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from samestone.gem import care
from samestone.shop import blindness
from samestone.shop.agreement import agreed_changes
from samestone.shop.examine import actions, forms, photo_views, queries
from samestone.shop.examine import question as asked
from samestone.shop.finding import (
    ExaminationFinished,
    TakenBackAlready,
    begin_examination,
    take_back,
)
from samestone.shop.foresight import next_look
from samestone.shop.life import NotPossibleNow
from samestone.shop.models import NONE_SEEN, Examination, Finding, Stone
from samestone.shop.sign_in import signed_in
from samestone.shop.take_in_sizes import sizes_at_take_in

UNPROCESSABLE = 422
_FINDINGS = ("reading", "reaction", "observation", "notexamined", "photograph", "mark")


@require_POST
def start(request: HttpRequest, pk: int, occasion: str) -> HttpResponse:
    """Begins an examination, or goes on with the open one."""
    if occasion not in Examination.Occasion.values:
        raise Http404(f"no occasion called {occasion}")
    stone = get_object_or_404(Stone, pk=pk)
    changes = agreed_changes(stone.job) if occasion == Examination.Occasion.PICK_UP else ()
    try:
        examination = begin_examination(
            stone, occasion, at=timezone.now(), by=signed_in(request), declared_changes=changes
        )
    except NotPossibleNow as error:
        messages.error(request, str(error))
        return redirect("job", envelope=stone.job.envelope)
    if occasion == Examination.Occasion.RECEIVED:
        return _to(examination, "pictures")
    return redirect("examination", pk=examination.pk)


def go_on(request: HttpRequest, pk: int) -> HttpResponse:
    """Leads to the first question without an answer; pictures as received lead back to the take-in."""
    examination = _examination(pk)
    question = queries.next_question(examination)
    if question == "finish" and examination.occasion == Examination.Occasion.RECEIVED:
        return redirect("take-in-next", envelope=examination.job.envelope)
    return _to(examination, question)


def ask(request: HttpRequest, pk: int, name: str) -> HttpResponse:
    """One question, with everything else of this examination in sight."""
    examination = _examination(pk)
    if examination.finished_at:
        return _summary(request, examination)
    if name == "finish":
        return _page(request, examination, None, unanswered=queries.unanswered(examination))
    if name not in {question.name for question in asked.questions_for(examination.setting, examination.occasion)}:
        raise Http404(f"no question called {name}")
    question = asked.BY_NAME[name]
    return _ASK[question.kind](request, examination, question)


def _summary(request: HttpRequest, examination: Examination) -> HttpResponse:
    """What a finished look found, to be read; nothing can be added."""
    first = examination.occasion != Examination.Occasion.PICK_UP
    if first and blindness.is_kept_back(examination.job, signed_in(request)):
        return redirect("job", envelope=examination.job.envelope)
    page = {
        "job": examination.job,
        "examination": examination,
        "told": queries.summary(examination),
        "photographs": queries.pictures(examination),
        "marks": queries.characteristics(examination),
    }
    return render(request, "examine/summary.html", page, status=UNPROCESSABLE if request.method == "POST" else 200)


def ask_reading(request: HttpRequest, examination: Examination, question: asked.Question) -> HttpResponse:
    loose_at_bench = question.name == asked.LOOSE_ONLY and examination.occasion == Examination.Occasion.BENCH
    earlier = sizes_at_take_in(examination.stone, by=signed_in(request)) if loose_at_bench else {}
    form = forms.ReadingsForm(question, examination, request.POST or None, earlier=earlier)

    def keep() -> None:
        actions.record_readings(
            examination,
            form.indications,
            instrument=form.cleaned_data["instrument"],
            at=timezone.now(),
            by=signed_in(request),
            once=form.cleaned_data["once"] or None,
        )

    return _answer(request, examination, question, form, keep)


def ask_uv(request: HttpRequest, examination: Examination, question: asked.Question) -> HttpResponse:
    before = examination.reactions.current().filter(test=question.single).last()
    initial = {name: getattr(before, name) for name in ("strength", "colour", "distance_mm")} if before else {}
    return _reaction(
        request, examination, question, forms.UvForm(question.single, request.POST or None, initial=initial)
    )


def ask_probe(request: HttpRequest, examination: Examination, question: asked.Question) -> HttpResponse:
    before = examination.reactions.current().filter(test=question.single).last()
    initial = {"result": before.result} if before else {}
    return _reaction(request, examination, question, forms.ProbeForm(request.POST or None, initial=initial))


def _reaction(
    request: HttpRequest, examination: Examination, question: asked.Question, form: django_forms.Form
) -> HttpResponse:
    def keep() -> None:
        fields = {name: value for name, value in form.cleaned_data.items() if name != "once"}
        once = form.cleaned_data["once"] or None
        actions.record_reaction(
            examination, question.single, at=timezone.now(), by=signed_in(request), once=once, **fields
        )

    return _answer(request, examination, question, form, keep)


def ask_observation(request: HttpRequest, examination: Examination, question: asked.Question) -> HttpResponse:
    form = forms.ObservationForm(question.single, request.POST or None, initial=_seen(examination, question))
    return _observation(request, examination, question, form)


def ask_inscription(request: HttpRequest, examination: Examination, question: asked.Question) -> HttpResponse:
    sent = request.POST.copy() if request.POST else None
    if sent is not None and "none" in sent:
        sent["value"] = NONE_SEEN
    form = forms.InscriptionForm(sent, initial=_seen(examination, question))
    return _observation(request, examination, question, form)


def _observation(
    request: HttpRequest, examination: Examination, question: asked.Question, form: django_forms.Form
) -> HttpResponse:
    def keep() -> None:
        value, once = form.cleaned_data["value"], form.cleaned_data["once"] or None
        actions.record_observation(
            examination, question.single, value, at=timezone.now(), by=signed_in(request), once=once
        )

    return _answer(request, examination, question, form, keep)


def ask_pictures(request: HttpRequest, examination: Examination, question: asked.Question) -> HttpResponse:
    return _page(request, examination, question, **photo_views.picture_page(request, examination))


def ask_characteristics(request: HttpRequest, examination: Examination, question: asked.Question) -> HttpResponse:
    if request.method == "POST":  # looked for, and nothing there
        actions.record_observation(examination, "characteristics", NONE_SEEN, at=timezone.now(), by=signed_in(request))
        return _to(examination, queries.question_after(examination, question.name))
    places = [{"category": "characteristic", "kind": kind, "label": kind, "more": ""} for kind in asked.CHARACTERISTICS]
    marks = queries.characteristics(examination)
    return _page(request, examination, question, marks=marks, places=places)


_ASK: dict[str, Callable[[HttpRequest, Examination, asked.Question], HttpResponse]] = {
    "pictures": ask_pictures,
    "reading": ask_reading,
    "uv": ask_uv,
    "probe": ask_probe,
    "observation": ask_observation,
    "inscription": ask_inscription,
    "characteristics": ask_characteristics,
}


@require_POST
def place_characteristic(request: HttpRequest, pk: int) -> HttpResponse:
    """A tap on the clock face."""
    examination = _examination(pk)
    form = forms.CharacteristicForm(request.POST)
    if form.is_valid():
        fields = dict(form.cleaned_data)
        once = fields.pop("once") or None
        now, by = timezone.now(), signed_in(request)
        _try(
            request,
            lambda: actions.place_characteristic(examination, at=now, by=by, once=once, **fields),
        )
    else:
        messages.error(request, "Tap inside the stone, or give radii from 0 to 1.1 and degrees.")
    return _to(examination, "characteristics")


@require_POST
def could_not_look(request: HttpRequest, pk: int) -> HttpResponse:
    """A blind spot, with its reason."""
    examination, form = _examination(pk), forms.NotExaminedForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Say what could not be looked at, and why.")
        return redirect("examination", pk=pk)
    what, why = form.cleaned_data["why"]
    now, by = timezone.now(), signed_in(request)
    _try(request, lambda: actions.record_not_examined(examination, what, why, at=now, by=by))
    question = next(question for question in asked.QUESTIONS if what in question.whats)
    open_here = set(question.whats) - actions.answered_whats(examination)
    return _to(examination, question.name if open_here else queries.question_after(examination, question.name))


@require_POST
def undo(request: HttpRequest, pk: int, table: str, row: int) -> HttpResponse:
    """Takes one finding of this examination back."""
    examination = _examination(pk)
    if table not in _FINDINGS:
        raise Http404(f"no findings called {table}")
    model: Any = apps.get_model("shop", table)
    finding: Finding = get_object_or_404(model, pk=row, examination=examination)
    _try(request, lambda: take_back(finding, at=timezone.now(), by=signed_in(request)))
    asked_for = request.POST.get("question", "")
    return _to(examination, asked_for if asked_for in asked.BY_NAME else queries.next_question(examination))


@require_POST
def finish(request: HttpRequest, pk: int) -> HttpResponse:
    """Closes the examination and leads back to where it was needed."""
    examination = _examination(pk)
    rest = request.POST.get("rest", "").strip()
    if queries.unanswered(examination) and not rest:
        messages.error(request, "Some questions have no answer: answer them, or say why they were not looked at.")
        return _to(examination, "finish")
    actions.finish(examination, rest=rest, at=timezone.now(), by=signed_in(request))
    envelope = examination.job.envelope
    if examination.occasion == Examination.Occasion.PICK_UP:
        return redirect("pick-up", envelope=envelope)
    if examination.occasion == Examination.Occasion.BENCH:
        return redirect("bench", envelope=envelope)
    return redirect("take-in-next", envelope=envelope)


def _answer(
    request: HttpRequest,
    examination: Examination,
    question: asked.Question,
    form: django_forms.Form,
    keep: Callable[[], None],
) -> HttpResponse:
    """A valid answer is kept and leads on; anything else shows the question again with everything that was typed."""
    if request.method == "POST" and form.is_valid():
        try:
            keep()
        except (ExaminationFinished, TakenBackAlready) as error:
            form.add_error(None, str(error))
        else:
            return _to(examination, queries.question_after(examination, question.name))
    return _page(request, examination, question, form=form)


def _page(request: HttpRequest, examination: Examination, asking: asked.Question | None, **extra: Any) -> HttpResponse:
    page = {
        "job": examination.job,
        "examination": examination,
        "asking": asking,
        "title": asking.title if asking else "All looked at?",
        "question": asking.name if asking else "finish",
        "steps": queries.steps(examination),
        "plate": queries.plate(examination),
        "reasons": asked.WHY_NOT,
        "missing": {row.what: row.why for row in examination.not_examined.current()},
        "cautions": care.cautions(asking.caution) if asking and asking.caution else (),
        "next_look": next_look(examination) if request.method == "GET" else None,
        "once": uuid.uuid4(),
        **extra,
    }
    kind = asking.kind if asking else "finish"
    status = UNPROCESSABLE if request.method == "POST" else 200
    return render(request, f"examine/{kind}.html", page, status=status)


def _seen(examination: Examination, question: asked.Question) -> dict[str, str]:
    row = examination.observations.current().filter(what=question.single).last()
    return {"value": row.value} if row else {}


def _try(request: HttpRequest, act: Callable[[], Any]) -> None:
    try:
        act()
    except (ExaminationFinished, TakenBackAlready) as error:
        messages.error(request, str(error))


def _to(examination: Examination, name: str) -> HttpResponse:
    return redirect("examination-question", pk=examination.pk, name=name)


def _examination(pk: int) -> Examination:
    return get_object_or_404(Examination.objects.select_related("stone__piece__job"), pk=pk)
