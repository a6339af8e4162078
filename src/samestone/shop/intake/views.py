"""The take-in's pages: read clock, user and form, make one call, show one page."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext
from django.views.decorators.http import require_POST

from samestone.shop import agreement, blindness, care, ledger, passage, row
from samestone.shop.finding import ExaminationFinished, TakenBackAlready, take_back
from samestone.shop.intake import actions, forms, paperwork, queries, story
from samestone.shop.life import NotPossibleNow
from samestone.shop.models import Job, Mark, Stone
from samestone.shop.sign_in import signed_in

REFUSALS = (NotPossibleNow, ExaminationFinished, TakenBackAlready, paperwork.NotReadyForPaper)
UNPROCESSABLE = 422


def open_job(request: HttpRequest) -> HttpResponse:
    """A client, a piece, an envelope."""
    form = forms.NewJobForm(request.POST or None, initial={"envelope": actions.next_envelope(), "once": uuid.uuid4()})
    if form.is_valid():
        fields = form.cleaned_data
        person = {name: fields[name] for name in ("name", "phone", "email")}
        try:
            job = actions.open_job(
                envelope=fields["envelope"],
                person=person,
                express=fields["express"],
                once=fields["once"] or None,
                at=timezone.now(),
                by=signed_in(request),
            )
        except (actions.EnvelopeTaken, actions.NotAnEnvelope) as error:
            form.add_error("envelope", str(error))
        else:
            return redirect("take-in", envelope=job.envelope, question="piece")
    return render(request, "intake/new_job.html", {"form": form}, status=UNPROCESSABLE if request.POST else 200)


def show_job(request: HttpRequest, envelope: str) -> HttpResponse:
    """One job: where it is, what is recorded, what may happen next."""
    return _show_job(request, _job(envelope))


def _show_job(request: HttpRequest, job: Job, notice: forms.NoticeForm | None = None) -> HttpResponse:
    told = story.story(job)
    page = {
        "job": job,
        "steps": queries.steps(job),
        "story": told[: story.RECENT],
        "earlier": told[story.RECENT :],
        "kept_back": blindness.is_kept_back(job, signed_in(request)),
        "piece": job.pieces.first(),
        "places": row.position_map(job.stones),
        "has_receipt": ledger.last_receipt(job) is not None,
        "notices": queries.notices(job),
        "taking_in": queries.is_open_for_take_in(job),
        "next_question": queries.next_question(job),
        "notice": notice or forms.NoticeForm(),
    }
    return render(request, "intake/job.html", page, status=UNPROCESSABLE if notice else 200)


def continue_take_in(request: HttpRequest, envelope: str) -> HttpResponse:
    """Leads to the first question that has no answer yet."""
    job = _job(envelope)
    return redirect("take-in", envelope=job.envelope, question=queries.next_question(job))


def ask(request: HttpRequest, envelope: str, question: str) -> HttpResponse:
    """One question of the take-in, with everything else still in sight."""
    if question not in _ASK:
        raise Http404(f"no question called {question}")
    job = _job(envelope)
    if blindness.is_kept_back(job, signed_in(request)):
        return redirect("job", envelope=envelope)
    return _ASK[question](request, job)


@require_POST
def show_first_record(request: HttpRequest, envelope: str) -> HttpResponse:
    """Opened on purpose before the second look, and written down."""
    blindness.open_first_record(_job(envelope), at=timezone.now(), by=signed_in(request))
    return redirect("job", envelope=envelope)


def ask_piece(request: HttpRequest, job: Job) -> HttpResponse:
    piece = job.pieces.first()
    initial = {name: getattr(piece, name) for name in forms.PieceForm.base_fields} if piece else {}
    form = forms.PieceForm(request.POST or None, initial=initial)
    if form.is_valid() and _may_change(request, job):
        actions.describe_piece(job, at=timezone.now(), by=signed_in(request), **form.cleaned_data)
        return _onward(job, "piece")
    return _question(request, job, "piece", form=form)


def ask_stones(request: HttpRequest, job: Job) -> HttpResponse:
    piece = job.pieces.first()
    if piece is None:
        return redirect("take-in", envelope=job.envelope, question="piece")
    chosen = _chosen_stone(request, job)
    initial = {name: getattr(chosen, name) for name in forms.StoneForm.base_fields} if chosen else {}
    others = [stone for stone in job.stones if stone != chosen]
    form = forms.StoneForm(request.POST or None, initial=initial, loose=piece.is_loose_stone, others=others)
    if form.is_valid() and _may_change(request, job):
        actions.describe_stone(piece, chosen, at=timezone.now(), by=signed_in(request), **form.cleaned_data)
        return redirect("take-in", envelope=job.envelope, question="stones" if "more" in request.POST else "condition")
    places = row.position_map(job.stones)
    return _question(request, job, "stones", form=form, stones=list(job.stones), chosen=chosen, places=places)


def ask_condition(request: HttpRequest, job: Job) -> HttpResponse:
    return _clock_face_question(request, job, "condition", queries.condition_marks(job))


def ask_pictures(request: HttpRequest, job: Job) -> HttpResponse:
    photographs = queries.photographs(job, "received")
    return _question(request, job, "pictures", photographs=photographs, stones=list(job.stones))


def ask_clean(request: HttpRequest, job: Job) -> HttpResponse:
    answers = care.answers_for(job)
    form = forms.CleanForm(request.POST or None, loose=queries.is_loose_stone(job))
    if form.is_valid():
        refused = care.refusals(answers, **form.cleaned_data)
        for words in refused:
            form.add_error(None, words)
        if not refused:
            asked = [answer.summary for answer in answers]
            try:
                actions.log_clean(
                    job, methods=form.cleaned_data["methods"], asked=asked, at=timezone.now(), by=signed_in(request)
                )
            except NotPossibleNow as error:
                form.add_error(None, str(error))
            else:
                return _onward(job, "clean")
    return _question(
        request, job, "clean", form=form, answers=answers, cautions=care.cautions(), cleaned=queries.cleaning(job)
    )


def ask_look(request: HttpRequest, job: Job) -> HttpResponse:
    return _question(request, job, "look", examination=queries.take_in_examination(job), stones=list(job.stones))


def ask_marks(request: HttpRequest, job: Job) -> HttpResponse:
    return _clock_face_question(request, job, "marks", queries.agreed_marks(job))


def ask_work(request: HttpRequest, job: Job) -> HttpResponse:
    initial = {name: getattr(job, name, None) for name in forms.WorkForm.base_fields}
    form = forms.WorkForm(request.POST or None, initial={**initial, "changes": agreement.agreed_changes(job)})
    if form.is_valid() and _may_change(request, job):
        fields = {**form.cleaned_data}
        now, by = timezone.now(), signed_in(request)
        agreement.agree_change(job, fields.pop("changes"), at=now, by=by)
        actions.agree_work(job, at=now, by=by, **fields)
        return _onward(job, "work")
    return _question(request, job, "work", form=form)


def ask_receipt(request: HttpRequest, job: Job) -> HttpResponse:
    page = {
        "receipts": ledger.receipts_given(job),
        "taking_in": queries.is_open_for_take_in(job),
        "not_looked": not job.express and not queries.has_looked(job),
    }
    return _question(request, job, "receipt", missing=paperwork.missing_for_receipt(job), **page)


_ASK: dict[str, Callable[[HttpRequest, Job], HttpResponse]] = {
    "piece": ask_piece,
    "stones": ask_stones,
    "condition": ask_condition,
    "pictures": ask_pictures,
    "clean": ask_clean,
    "look": ask_look,
    "marks": ask_marks,
    "work": ask_work,
    "receipt": ask_receipt,
}


@require_POST
def place_mark(request: HttpRequest, envelope: str) -> HttpResponse:
    """A tap on the clock face."""
    job = _job(envelope)
    stone = _stone_on_the_face(request, job)
    form = forms.MarkForm(request.POST)
    if stone is None or not form.is_valid():
        for error in _errors(form) or ["Describe the stone first."]:
            messages.error(request, error)
        return _back(request, job)
    fields = form.cleaned_data
    once = fields.pop("once") or None
    now = timezone.now()
    examination = actions.received_examination(stone, at=now, by=signed_in(request))
    try:
        actions.place_mark(examination, at=now, by=signed_in(request), once=once, **fields)
    except ExaminationFinished as error:
        messages.error(request, str(error))
    return _back(request, job)


@require_POST
def no_damage(request: HttpRequest, envelope: str) -> HttpResponse:
    """Looked over, nothing seen."""
    job = _job(envelope)
    stone = _stone_on_the_face(request, job)
    if stone is None:
        messages.error(request, "Describe the stone first.")
        return _back(request, job)
    now, by = timezone.now(), signed_in(request)
    examination = actions.received_examination(stone, at=now, by=by)
    return _try(request, job, lambda: actions.record_no_damage(examination, at=now, by=by), then="take-in-next")


@require_POST
def place_claws(request: HttpRequest, envelope: str) -> HttpResponse:
    """So many claws at even distances."""
    job = _job(envelope)
    stone = _stone_on_the_face(request, job)
    form = forms.ClawsForm(request.POST)
    if stone is None or not form.is_valid():
        messages.error(request, gettext("Describe the stone first, then say how many claws hold it (0 to 24)."))
        return _back(request, job)
    now = timezone.now()
    examination = actions.received_examination(stone, at=now, by=signed_in(request))
    return _try(
        request,
        job,
        lambda: actions.place_claws(examination, form.cleaned_data["count"], at=now, by=signed_in(request)),
    )


@require_POST
def take_back_mark(request: HttpRequest, pk: int) -> HttpResponse:
    """Undo."""
    mark = get_object_or_404(Mark, pk=pk)
    return _try(request, mark.examination.job, lambda: take_back(mark, at=timezone.now(), by=signed_in(request)))


@require_POST
def leave_uncleaned(request: HttpRequest, envelope: str) -> HttpResponse:
    job = _job(envelope)
    why = request.POST.get("why", "")
    return _try(
        request,
        job,
        lambda: actions.leave_uncleaned(job, why, at=timezone.now(), by=signed_in(request)),
        then="take-in-next",
    )


@require_POST
def write_notice(request: HttpRequest, envelope: str) -> HttpResponse:
    job, form = _job(envelope), forms.NoticeForm(request.POST)
    if not form.is_valid():
        return _show_job(request, job, form)
    actions.write_notice(job, at=timezone.now(), by=signed_in(request), **form.cleaned_data)
    return redirect("job", envelope=envelope)


@require_POST
def finish_take_in(request: HttpRequest, envelope: str) -> HttpResponse:
    job = _job(envelope)
    return _try(request, job, lambda: actions.finish_take_in(job, at=timezone.now(), by=signed_in(request)), then="job")


@require_POST
def ready_at_once(request: HttpRequest, envelope: str) -> HttpResponse:
    job = _job(envelope)
    return _try(request, job, lambda: actions.ready_at_once(job, at=timezone.now(), by=signed_in(request)), then="job")


@require_POST
def resume(request: HttpRequest, envelope: str) -> HttpResponse:
    """Lifts a hold; the reason is written down."""
    job, why = _job(envelope), request.POST.get("why", "").strip()
    if not why:
        messages.error(request, "Say in a few words what settled it.")
        return redirect("job", envelope=envelope)
    return _try(
        request, job, lambda: passage.resume_job(job, why, at=timezone.now(), by=signed_in(request)), then="job"
    )


@require_POST
def give_receipt(request: HttpRequest, envelope: str) -> HttpResponse:
    """Issues a receipt for everything recorded up to now."""
    job = _job(envelope)
    return _try(request, job, lambda: paperwork.give_receipt(job, at=timezone.now(), by=signed_in(request)))


def show_receipt(request: HttpRequest, envelope: str) -> HttpResponse:
    """The receipt as it was given, byte for byte."""
    return _pdf(paperwork.kept_receipt(_job(envelope)), f"receipt-{envelope}.pdf")


def show_label(request: HttpRequest, envelope: str) -> HttpResponse:
    """The label for the envelope or the parcel of a loose stone."""
    return _pdf(paperwork.label(_job(envelope), at=timezone.now()), f"label-{envelope}.pdf")


def _pdf(content: bytes | None, name: str) -> HttpResponse:
    if content is None:
        raise Http404("no receipt was given yet")
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{name}"'
    return response


def _question(request: HttpRequest, job: Job, question: str, **extra: Any) -> HttpResponse:
    form = extra.get("form")
    page = {
        "job": job,
        "question": question,
        "title": queries.title_of(job, question),
        "loose_stone": queries.is_loose_stone(job),
        "steps": queries.steps(job),
        "after": queries.question_after(job, question),
        "settled": not queries.is_open_for_take_in(job),
        "once": uuid.uuid4(),
        **extra,
    }
    status = UNPROCESSABLE if request.method == "POST" and form is not None else 200
    return render(request, f"intake/{question}.html", page, status=status)


def _clock_face_question(request: HttpRequest, job: Job, question: str, marks: list[Mark]) -> HttpResponse:
    stone = _stone_on_the_face(request, job)
    if stone is None:
        return redirect("take-in", envelope=job.envelope, question="stones")
    shown = [*queries.condition_marks(job), *queries.agreed_marks(job)]
    page = {
        "stone": stone,
        "stones": list(job.stones),
        "marks": queries.marks_on(stone, marks),
        "shown": queries.marks_on(stone, shown),
        "no_damage": queries.no_damage_said(job),
    }
    return _question(request, job, question, **page)


def _stone_on_the_face(request: HttpRequest, job: Job) -> Stone | None:
    """The stone asked for, else the first."""
    return _chosen_stone(request, job) or queries.first_stone(job)


def _may_change(request: HttpRequest, job: Job) -> bool:
    """What the piece is and what was agreed is settled once the take-in is finished."""
    if queries.is_open_for_take_in(job):
        return True
    messages.error(request, f"The take-in of {job.envelope} is finished; what was agreed stays as it was written.")
    return False


def _chosen_stone(request: HttpRequest, job: Job) -> Stone | None:
    chosen = request.POST.get("stone") or request.GET.get("stone")
    return job.stones.filter(pk=chosen).first() if chosen and chosen.isdecimal() else None


def _onward(job: Job, question: str) -> HttpResponse:
    return redirect("take-in", envelope=job.envelope, question=queries.question_after(job, question))


def _try(request: HttpRequest, job: Job, act: Callable[[], Any], *, then: str = "") -> HttpResponse:
    """Acts; a refusal is shown in words where the user was."""
    try:
        act()
    except REFUSALS as error:
        messages.error(request, str(error))
        return _back(request, job)
    return redirect(then, envelope=job.envelope) if then else _back(request, job)


def _back(request: HttpRequest, job: Job) -> HttpResponse:
    """To the question that the form came from."""
    question, stone = request.POST.get("question", ""), _chosen_stone(request, job)
    if question in queries.QUESTIONS:
        back = redirect("take-in", envelope=job.envelope, question=question)
        if stone is not None and stone != queries.first_stone(job):
            back["Location"] += f"?stone={stone.pk}"
        return back
    return redirect("job", envelope=job.envelope)


def _errors(form: Any) -> list[str]:
    return [str(error) for errors in form.errors.values() for error in errors]


def _job(envelope: str) -> Job:
    return get_object_or_404(Job, envelope=envelope)
