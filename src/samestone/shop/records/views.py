"""The records' pages about jobs and people: read clock, user and form, make one call, show one page."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from samestone.shop.life import NotPossibleNow
from samestone.shop.models import Job, Person
from samestone.shop.records import actions, export, forms, queries
from samestone.shop.sign_in import owner_only, signed_in

UNPROCESSABLE = 422
USUAL_YEARS = 10  # common practice, no source; the page says to ask a lawyer


def find_records(request: HttpRequest) -> HttpResponse:
    """Jobs of any age; and the ways into the records."""
    sought = request.GET.get("q", "").strip()
    found = queries.jobs_found(sought) if sought else ()
    return render(request, "records/records.html", {"sought": sought, "found": found})


def show_person(request: HttpRequest, pk: int) -> HttpResponse:
    """A returning client: every visit."""
    person = get_object_or_404(Person, pk=pk)
    return render(request, "records/person.html", {"person": person, "jobs": queries.jobs_of(person)})


def show_uncollected(request: HttpRequest) -> HttpResponse:
    """What is ready and waits for its owner."""
    return _uncollected(request)


def _uncollected(request: HttpRequest, typed: forms.AttemptForm | None = None, of: str = "") -> HttpResponse:
    """With what was `typed` for the envelope `of`, where it could not be kept."""
    waiting = [
        {"one": one, "form": typed if typed and one.job.envelope == of else _attempt_form(one.job.envelope)}
        for one in queries.uncollected(timezone.now())
    ]
    return render(request, "records/uncollected.html", {"waiting": waiting}, status=422 if typed else 200)


def _attempt_form(envelope: str, sent: Any = None) -> forms.AttemptForm:
    return forms.AttemptForm(sent, auto_id=f"id_{envelope}_%s")


@require_POST
def note_attempt(request: HttpRequest, envelope: str) -> HttpResponse:
    job, form = get_object_or_404(Job, envelope=envelope), _attempt_form(envelope, request.POST)
    if not form.is_valid():
        return _uncollected(request, form, envelope)
    try:
        actions.note_attempt(job, at=timezone.now(), by=signed_in(request), **form.cleaned_data)
    except NotPossibleNow as error:
        messages.error(request, str(error))
    return redirect("uncollected")


@owner_only
def show_retention(request: HttpRequest) -> HttpResponse:
    """Clients who have not been here for years."""
    asked = request.GET.get("years", "")
    years = min(int(asked), 100) if asked.isdecimal() else USUAL_YEARS
    people = queries.people_kept(timezone.now(), years)
    return render(request, "records/retention.html", {"people": people, "years": years})


@owner_only
def forget_person(request: HttpRequest, pk: int) -> HttpResponse:
    """Shows what goes and what stays; the second step deletes."""
    person = get_object_or_404(Person, pk=pk)
    if request.method == "POST":
        if request.POST.get("sure") != "yes":
            messages.error(request, "Tick that it cannot be undone.")
            return redirect("forget-person", pk=pk)
        try:
            envelopes = actions.forget_person(person, at=timezone.now(), by=signed_in(request))
        except actions.CannotForget as error:
            messages.error(request, str(error))
            return redirect("forget-person", pk=pk)
        messages.success(request, f"Forgotten. The evidence of {len(envelopes)} jobs stays, without the person.")
        return redirect("retention")
    jobs = queries.jobs_of(person)
    papers = sum(len(actions.papers_of(job)) for job in jobs)
    return render(request, "records/forget.html", {"person": person, "jobs": jobs, "papers": papers})


def balance_grams(request: HttpRequest, envelope: str) -> HttpResponse:
    """What came to the bench against what left it."""
    job = get_object_or_404(Job, envelope=envelope)
    piece = job.pieces.first()
    form = forms.GramsForm(request.POST or None, initial={"came": piece.grams if piece else ""})
    if request.method == "POST" and form.is_valid():
        try:
            balance = actions.balance_grams(job, form.items, at=timezone.now(), by=signed_in(request))
        except ValueError as error:
            form.add_error(None, str(error))
        else:
            tell = messages.success if balance.closes else messages.error
            tell(request, f"The balance {balance.sentence}.")
            return redirect("gram-balance", envelope=envelope)
    page = {"job": job, "form": form, "balances": queries.balances(job)}
    return render(request, "records/grams.html", page, status=UNPROCESSABLE if request.method == "POST" else 200)


def export_job(request: HttpRequest, envelope: str) -> HttpResponse:
    """A copy for an insurer or the police."""
    job = get_object_or_404(Job, envelope=envelope)
    form = forms.ExportForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        now, fields = timezone.now(), form.cleaned_data
        content = export.build_export(job, at=now, **fields)
        actions.note_export(job, content, to=fields["to"], reference=fields["reference"], at=now, by=signed_in(request))
        response = HttpResponse(content, content_type="application/zip")
        response["Content-Disposition"] = f'attachment; filename="record-{job.envelope}.zip"'
        return response
    page = {"job": job, "form": form, "exports": queries.exports(job)}
    return render(request, "records/export_form.html", page, status=UNPROCESSABLE if request.method == "POST" else 200)
