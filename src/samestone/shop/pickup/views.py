"""The pick-up's pages: judge, look together, stop or hand over; the expert's page; the client's window."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from samestone.shop import blindness
from samestone.shop.life import NotPossibleNow, Station
from samestone.shop.models import Job, Mark, Stone
from samestone.shop.pickup import actions, paperwork, policy, queries
from samestone.shop.pickup.verdict import CannotCompare
from samestone.shop.sign_in import signed_in


def show_pick_up(request: HttpRequest, envelope: str) -> HttpResponse:
    """Where this pick-up stands: examine again, compare, look together, hand over."""
    job = _job(envelope)
    stones = queries.stones_at_pick_up(job)
    facts = queries.facts(job)
    chosen = _chosen(request, stones)
    judged = chosen.judgement if chosen else None
    page = {
        "job": job,
        "stones": stones,
        "one": chosen,
        "judgement": judged,
        "pairs": queries.picture_pairs(chosen.stone) if chosen and judged else (),
        "face": queries.face_marks(chosen.stone) if chosen and judged else (),
        "rings": queries.rings(chosen.stone) if chosen and judged else (),
        "marks": queries.agreed_marks(job) if judged or job.express else (),
        "named": job.stones.count() > 1,
        "answers": actions.SEEN,
        "demands": policy.demands(facts),
        "may_hand_over": policy.may_hand_over(facts),
        "gone": job.station == Station.PICKED_UP.value,
        "papers": queries.papers(job),
        "facts": facts,
        "mark_missing": "not there" in facts.marks,
        "search": f"{reverse('stray-stone')}?{queries.sought(chosen.after)}" if chosen and chosen.after else "",
        "received": queries.received_pictures(job) if job.express else (),
        "opened_first": bool(chosen and chosen.after and chosen.after.by.username in blindness.opened_by(job)),
        "simulated": any(photo.simulated for pair in _pairs(chosen, judged) for photo in (pair.before, pair.now)),
    }
    return render(request, f"pickup/{_template(page)}.html", page)


def show_expert(request: HttpRequest, envelope: str) -> HttpResponse:
    """The same verdict with every number it rests on."""
    job = _job(envelope)
    chosen = _chosen(request, queries.stones_at_pick_up(job))
    if chosen is None or chosen.judgement is None:
        raise Http404("nothing was compared yet")
    return render(request, "pickup/expert.html", {"job": job, "one": chosen, "judgement": chosen.judgement})


def show_client_view(request: HttpRequest, envelope: str) -> HttpResponse:
    """The client's window: large, without values, without surprises; blank while someone examines blind."""
    job = _job(envelope)
    judged = queries.stones_at_pick_up(job)
    good = {} if job.held else {one.stone: one.judgement for one in judged if one.judgement and _is_good(one.judgement)}
    shown = [_for_client(stone, good.get(stone), queries.agreed_marks(job)) for stone in job.stones]
    page = {
        "job": job,
        "looking": any(one.open for one in judged),
        "stones": [one for one in shown if one["marks"] or one["judgement"]] or shown[:1],
        "judgement": shown[0]["judgement"] if len(shown) == 1 else None,
        "pairs": any(one["pairs"] for one in shown),
    }
    return render(request, "pickup/client.html", page)


def _is_good(judgement: queries.Judgement) -> bool:
    return judgement.verdict["ladder"] in policy.GOOD


def _for_client(
    stone: Stone, judgement: queries.Judgement | None, agreed: tuple[queries.AgreedMark, ...]
) -> dict[str, Any]:
    marks = [one for one in agreed if one.stone == stone]
    return {
        "stone": stone,
        "judgement": judgement,
        "pairs": queries.picture_pairs(stone) if judgement else (),
        "rings": queries.rings(stone) if judgement else (),
        "marks": marks,
        "face": [one.mark for one in marks],
    }


@require_POST
def judge(request: HttpRequest, pk: int) -> HttpResponse:
    stone = get_object_or_404(Stone, pk=pk)
    return _try(request, stone.job, lambda: actions.judge_stone(stone, at=timezone.now(), by=signed_in(request)))


@require_POST
def look_for_mark(request: HttpRequest, pk: int) -> HttpResponse:
    mark = get_object_or_404(Mark, pk=pk, category="agreed")
    seen = request.POST.get("seen", "")
    if seen not in actions.SEEN:
        messages.error(request, "Choose: seen, not there, or could not look.")
        return redirect("pick-up", envelope=mark.examination.job.envelope)
    return _try(
        request,
        mark.examination.job,
        lambda: actions.look_for_mark(mark, seen, at=timezone.now(), by=signed_in(request)),
    )


@require_POST
def accept(request: HttpRequest, envelope: str) -> HttpResponse:
    job, words = _job(envelope), request.POST.get("words", "")
    return _try(request, job, lambda: actions.accept_uncertainty(job, words, at=timezone.now(), by=signed_in(request)))


@require_POST
def stop(request: HttpRequest, envelope: str) -> HttpResponse:
    job, why = _job(envelope), request.POST.get("why", "")
    return _try(request, job, lambda: actions.stop_job(job, why, at=timezone.now(), by=signed_in(request)))


@require_POST
def release(request: HttpRequest, envelope: str) -> HttpResponse:
    job, to = _job(envelope), request.POST.get("to", "")
    return _try(request, job, lambda: actions.release_job(job, to=to, at=timezone.now(), by=signed_in(request)))


def show_statement(request: HttpRequest, envelope: str) -> HttpResponse:
    """The signed statement as it was given."""
    return _kept(envelope, "statement", "pdf", "application/pdf", "inline")


def show_packet(request: HttpRequest, envelope: str) -> HttpResponse:
    """The packet as it was given."""
    return _kept(envelope, "packet", "zip", "application/zip", "attachment")


def _kept(envelope: str, what: str, ending: str, media_type: str, how: str) -> HttpResponse:
    content = paperwork.kept(_job(envelope), what)
    if content is None:
        raise Http404(f"no {what} was given yet")
    response = HttpResponse(content, content_type=media_type)
    response["Content-Disposition"] = f'{how}; filename="{what}-{envelope}.{ending}"'
    return response


def _template(page: dict[str, Any]) -> str:
    if page["judgement"]:
        return "verdict"
    return "express" if page["job"].express else "begin"


def _pairs(chosen: queries.StoneAtPickUp | None, judged: Any) -> tuple[queries.Pair, ...]:
    return queries.picture_pairs(chosen.stone) if chosen and judged else ()


def _chosen(request: HttpRequest, stones: tuple[queries.StoneAtPickUp, ...]) -> queries.StoneAtPickUp | None:
    """The stone asked for, else the first that still needs something, else the first."""
    asked = request.GET.get("stone", "")
    named = (one for one in stones if str(one.stone.pk) == asked)
    waiting = (one for one in stones if one.judgement is None or one.open)
    return next(named, None) or next(waiting, None) or next(iter(stones), None)


def _try(request: HttpRequest, job: Job, act: Callable[[], Any]) -> HttpResponse:
    try:
        act()
    except (NotPossibleNow, CannotCompare) as error:
        messages.error(request, str(error))
    return redirect("pick-up", envelope=job.envelope)


def _job(envelope: str) -> Job:
    return get_object_or_404(Job, envelope=envelope)
