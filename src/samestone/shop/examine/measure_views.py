"""What is worked out from pictures: what cleaning changed, how wide the claws are."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from samestone.shop.examine import claws, cleaning, photo_actions, scale
from samestone.shop.examine.forms import SpotForm, TappedClawForm
from samestone.shop.examine.question import CHARACTERISTICS
from samestone.shop.finding import ExaminationFinished
from samestone.shop.life import NotPossibleNow
from samestone.shop.models import Photograph, Stone
from samestone.shop.sign_in import signed_in
from samestone.shop.suspicion import doubts

BLIND = "Someone looks at this stone for the pick-up now; until they have finished, nothing from before is shown."


def show_cleaning(request: HttpRequest, pk: int) -> HttpResponse:
    """Before and after cleaning side by side, what went and what stayed; a tap opens one feature."""
    stone = get_object_or_404(Stone, pk=pk)
    page: dict[str, Any] = {"job": stone.job, "stone": stone, "kinds": CHARACTERISTICS}
    if claws.is_blind(stone.pk):
        return render(request, "examine/cleaning.html", {**page, "why_not": BLIND})
    try:
        changes = cleaning.find_changes(stone)
    except cleaning.NothingToCompare as reason:
        return render(request, "examine/cleaning.html", {**page, "why_not": str(reason)})
    if request.method == "POST":
        return _confirm(request, stone, changes)
    chosen = changes.spot(request.GET.get("spot", ""))
    page["in_doubt"] = next(iter(doubts([changes.before.photo, changes.after.photo]).values()), "")
    agreed = sum(spot.said == photo_actions.AGREED for spot in changes.spots)
    return render(request, "examine/cleaning.html", {**page, "changes": changes, "chosen": chosen, "agreed": agreed})


def _confirm(request: HttpRequest, stone: Stone, changes: cleaning.Changes) -> HttpResponse:
    form = SpotForm(request.POST)
    spot = changes.spot(request.POST.get("spot", ""))
    if spot is None or not form.is_valid():
        messages.error(request, "Tap a ring, then say what it is.")
        return redirect("cleaning", pk=stone.pk)
    told = form.cleaned_data
    kind, words = told["kind"] or "other", told["words"]
    try:
        photo_actions.confirm_spot(
            changes, spot, told["said"], kind=kind, words=words, at=timezone.now(), by=signed_in(request)
        )
    except (NotPossibleNow, ExaminationFinished) as error:
        messages.error(request, str(error))
    return redirect(f"{request.path}?spot={spot.number}")


def show_claws(request: HttpRequest, pk: int) -> HttpResponse:
    """The claws of one picture: those found, those tapped, and what they measured before."""
    photo = get_object_or_404(Photograph.objects.select_related("examination__stone__piece__job"), pk=pk)
    stone, look = photo.examination.stone, photo.examination
    if claws.is_blind(stone.pk) and look.finished_at is not None:
        messages.error(request, BLIND)
        return redirect("job", envelope=stone.job.envelope)
    found, doubt = claws.find_claws(photo)
    known = scale.scales_of(photo)
    if request.method == "POST":
        return _keep(request, photo, found, known)
    used = _chosen(request.GET.get("scale"), known)
    visits = claws.earlier_visits(photo)
    rows = [
        {"number": n, "claw": claw, "wide": claws.in_unit(claw.width_px, claw.u_px, used)[:2]}
        | {"earlier": [visit.near(claw.angle_deg) for visit in visits]}
        for n, claw in enumerate(found)
    ]
    unit = "mm" if used else "px"
    page = {"job": stone.job, "stone": stone, "photo": photo, "look": look, "rows": rows, "doubt": doubt}
    page["in_doubt"] = doubts([photo]).get(photo.pk, "")
    return render(
        request,
        "examine/claws.html",
        {**page, "scales": known, "scale": used, "visits": visits, "unit": unit, "what": claws.what_of(photo)},
    )


def _keep(
    request: HttpRequest, photo: Photograph, found: tuple[claws.Claw, ...], known: tuple[scale.Scale, ...]
) -> HttpResponse:
    ticked = {text for text in request.POST.getlist("claw") if text.isdecimal()}
    kept: list[dict[str, Any]] = [
        {"angle_deg": claw.angle_deg, "width_px": claw.width_px, "u_px": claw.u_px, "state": claw.state, "how": "found"}
        for n, claw in enumerate(found)
        if str(n) in ticked
    ]
    if request.POST.get("width_px"):
        form = TappedClawForm(request.POST)
        if form.is_valid():
            kept.append({**form.cleaned_data, "state": "", "how": "two taps"})
    used = _chosen(request.POST.get("scale"), known)
    try:
        photo_actions.keep_claws(photo, kept, scale=used, at=timezone.now(), by=signed_in(request))
    except NotPossibleNow as error:
        messages.error(request, str(error))
    else:
        messages.success(request, f"Kept: {len(kept)} {claws.what_of(photo)}{'s' if len(kept) > 1 else ''}.")
    return redirect(f"{request.path}?scale={used.instrument.pk if used else 'none'}")


def _chosen(text: str | None, known: tuple[scale.Scale, ...]) -> scale.Scale | None:
    """The scale that was asked for; without a word the first."""
    if text is None:
        return known[0] if known else None
    return next((scale for scale in known if str(scale.instrument.pk) == text), None)
