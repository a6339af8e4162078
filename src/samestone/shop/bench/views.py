"""The bench's pages: read clock, user and form, make one call, show one page."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from samestone.gem import care as processes
from samestone.shop import agreement, blindness, care, row
from samestone.shop.bench import actions, forms, queries
from samestone.shop.finding import ExaminationFinished
from samestone.shop.life import MOVES, NotPossibleNow, Station
from samestone.shop.models import Job, Stone
from samestone.shop.sign_in import signed_in
from samestone.shop.take_in_sizes import sizes_at_take_in


def show_bench(request: HttpRequest, envelope: str) -> HttpResponse:
    """One job at the bench."""
    return _bench(request, get_object_or_404(Job, envelope=envelope))


@require_POST
def take_over(request: HttpRequest, envelope: str) -> HttpResponse:
    """A hand-over; the wrong number in the hand stops both jobs."""
    job, form = get_object_or_404(Job, envelope=envelope), forms.HandOverForm(request.POST)
    if not form.is_valid():
        return _bench(request, job, hand_over=form)
    try:
        fields = form.cleaned_data
        looks = actions.Looks(fields["number_read"], fields["mark_seen"], fields["grams"], fields["stones"])
        after = actions.take_over(
            job, looks, to=fields["to"], holder=fields["holder"], at=timezone.now(), by=signed_in(request)
        )
        if after.held and not job.held:
            messages.error(request, f"Held: {after.held}. Put it down and look again, with someone else.")
    except actions.NotThisJob as error:
        return _bench(request, job, hand_over=form, wrong_number=form.cleaned_data["number_read"], wrong=str(error))
    except NotPossibleNow as error:
        messages.error(request, str(error))
    return redirect("bench", envelope=envelope)


@require_POST
def report_swap(request: HttpRequest, envelope: str) -> HttpResponse:
    job = get_object_or_404(Job, envelope=envelope)
    number = request.POST.get("number_read", "")[:20]
    return _try(
        request, job, lambda: actions.report_swap(job, number_read=number, at=timezone.now(), by=signed_in(request))
    )


@require_POST
def unset_stone(request: HttpRequest, pk: int) -> HttpResponse:
    stone = get_object_or_404(Stone, pk=pk)
    return _try(request, stone.job, lambda: actions.unset_stone(stone, at=timezone.now(), by=signed_in(request)))


@require_POST
def weigh_stone(request: HttpRequest, pk: int) -> HttpResponse:
    stone = get_object_or_404(Stone, pk=pk)
    sizes = sizes_at_take_in(stone, by=signed_in(request))
    form = forms.LooseWeightForm(request.POST, stone=stone, sizes=sizes, auto_id=f"id_{stone.pk}_%s")
    if not form.is_valid():
        return _bench(request, stone.job, weigh=form)
    return _try(
        request,
        stone.job,
        lambda: actions.weigh_loose(
            stone,
            indications=form.indications,
            instrument=form.cleaned_data["instrument"],
            once=form.cleaned_data["once"] or None,
            at=timezone.now(),
            by=signed_in(request),
        ),
    )


@require_POST
def turned_out(request: HttpRequest, pk: int) -> HttpResponse:
    """The stone is another one than was said, or was treated: for the jeweller first, then for the client."""
    stone, form = get_object_or_404(Stone, pk=pk), forms.TurnedOutForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Choose what it is, and its treatment.")
        return redirect("bench", envelope=stone.job.envelope)
    try:
        actions.describe_anew(stone, at=timezone.now(), by=signed_in(request), **form.cleaned_data)
    except NotPossibleNow as error:
        messages.error(request, str(error))
    else:
        messages.warning(
            request, "Written down, for you first. The client hears it before the work goes on: pause and ask."
        )
    return redirect("bench", envelope=stone.job.envelope)


@require_POST
def reset_stone(request: HttpRequest, pk: int) -> HttpResponse:
    stone = get_object_or_404(Stone, pk=pk)
    return _try(request, stone.job, lambda: actions.reset_stone(stone, at=timezone.now(), by=signed_in(request)))


@require_POST
def send_news(request: HttpRequest, envelope: str) -> HttpResponse:
    job, form = get_object_or_404(Job, envelope=envelope), forms.NewsForm(request.POST)
    if not form.is_valid():
        return _bench(request, job, news=form)
    return _try(
        request, job, lambda: actions.send_news(job, at=timezone.now(), by=signed_in(request), **form.cleaned_data)
    )


@require_POST
def note_answer(request: HttpRequest, envelope: str) -> HttpResponse:
    job, form = get_object_or_404(Job, envelope=envelope), forms.AnswerForm(request.POST)
    if not form.is_valid():
        return _bench(request, job, answer=form)
    fields = form.cleaned_data
    agreed, changes = fields["agreed"] == "yes", fields["changes"]
    now, by = timezone.now(), signed_in(request)
    return _try(
        request,
        job,
        lambda: actions.note_answer(job, fields["words"], agreed=agreed, changes=changes, at=now, by=by),
    )


@require_POST
def finish_inspection(request: HttpRequest, envelope: str) -> HttpResponse:
    job, form = get_object_or_404(Job, envelope=envelope), forms.InspectionForm(request.POST)
    if not form.is_valid():
        return _bench(request, job, inspection=form)
    words = form.cleaned_data["against_instruction"]
    return _try(
        request,
        job,
        lambda: actions.finish_inspection(job, against_instruction=words, at=timezone.now(), by=signed_in(request)),
    )


@require_POST
def make_ready(request: HttpRequest, envelope: str) -> HttpResponse:
    job = get_object_or_404(Job, envelope=envelope)
    return _try(request, job, lambda: actions.make_ready(job, at=timezone.now(), by=signed_in(request)), then="job")


def count_evening(request: HttpRequest) -> HttpResponse:
    """Every open job in a known place, loose stones counted apart."""
    missing: tuple[tuple[Job, ...], tuple[Stone, ...]] | None = None
    if request.method == "POST":
        seen = {
            job.envelope: job.place for job in queries.jobs_to_count() if job.envelope in request.POST.getlist("seen")
        }
        loose = {int(pk) for pk in request.POST.getlist("loose") if pk.isdecimal()}
        missing = actions.count_evening(seen, loose_seen=loose, at=timezone.now(), by=signed_in(request))
    page = {
        "jobs": queries.jobs_to_count(),
        "loose": queries.loose_to_count(),
        "missing": missing,
        "last": queries.last_count(),
    }
    return render(request, "bench/evening_count.html", page)


def _bench(
    request: HttpRequest, job: Job, *, weigh: forms.LooseWeightForm | None = None, **filled: Any
) -> HttpResponse:
    warnings, open_news = care.bench_warnings(job), queries.open_news(job)
    hand_over = forms.HandOverForm(initial={"to": "bench" if job.station == Station.EXAMINED.value else "safe"})
    if open_news:  # it stands first, and must be seen first
        hand_over.fields["number_read"].widget.attrs.pop("autofocus")
    page = {
        "job": job,
        "stones": [
            {
                "stone": one.stone,
                "weights": one.weights,
                "damage": one.damage,
                "form": _turned_out_form(one.stone),
                "weigh": weigh if weigh and weigh.stone == one.stone else _weigh_form(one.stone),
            }
            for one in queries.stones_of(job)
        ],
        "places": row.position_map(job.stones),
        "never": [one for one in warnings if one.verdict == "never"],
        "with_care": [one for one in warnings if one.verdict == "caution"],
        "cautions": care.cautions(processes.PROCESSES),
        "hand_overs": queries.hand_overs(job),
        "open_news": open_news,
        "mark": queries.mark_to_look_for(job),
        "possible": {move.name.replace(" ", "_"): move for move in job.state.possible()},
        "not_unset": job.state.obstacle(MOVES["unset"]),
        "changes": agreement.change_words(job),
        "not_inspected": job.state.obstacle(MOVES["inspected"]),
        "gone": job.station == Station.PICKED_UP.value,
        "kept_back": blindness.is_kept_back(job, signed_in(request)),
        "at_bench": job.station == Station.BENCH.value,
        "hand_over": hand_over,
        "news": forms.NewsForm(),
        "answer": forms.AnswerForm(),
        "inspection": forms.InspectionForm(),
        **filled,
    }
    return render(request, "bench/bench.html", page, status=422 if filled or weigh else 200)


def _weigh_form(stone: Stone) -> forms.LooseWeightForm:
    return forms.LooseWeightForm(stone=stone, initial={"once": uuid.uuid4()}, auto_id=f"id_{stone.pk}_%s")


def _turned_out_form(stone: Stone) -> forms.TurnedOutForm:
    initial = {"material": stone.material, "treatment": stone.treatment}
    return forms.TurnedOutForm(initial=initial, auto_id=f"id_{stone.pk}_%s")


def _try(request: HttpRequest, job: Job, act: Callable[[], Any], *, then: str = "bench") -> HttpResponse:
    """Acts; a refusal is shown in words at the bench."""
    try:
        act()
    except (NotPossibleNow, ExaminationFinished) as error:
        messages.error(request, str(error))
        return redirect("bench", envelope=job.envelope)
    return redirect(then, envelope=job.envelope)
