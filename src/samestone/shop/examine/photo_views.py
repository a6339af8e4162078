"""Pictures at the counter: the list of views, the live guide, a picture kept or refused on the spot."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_POST

from samestone import imaging
from samestone.gem import care
from samestone.shop.examine import guide, queries
from samestone.shop.examine.forms import FrameForm, PictureForm
from samestone.shop.examine.scale import scale_words
from samestone.shop.finding import ExaminationFinished
from samestone.shop.models import Examination, Instrument
from samestone.shop.photograph import VIEWS, DoesNotCount, NotAPhotograph, keep_photograph
from samestone.shop.sign_in import signed_in
from samestone.shop.suspicion import doubts
from samestone.shop.wording import said

UNPROCESSABLE = 422
_AS_RECEIVED = ("as received", "side", "prongs")
_USUAL = ("face-up", "side")
LARGEST_FRAME = 600_000


def picture_page(request: HttpRequest, examination: Examination) -> dict[str, Any]:
    """What the page of pictures shows: the views as a list to fill, the one to take next, what was taken."""
    taken = queries.pictures(examination)
    in_doubt = doubts(taken)
    received = examination.occasion == Examination.Occasion.RECEIVED
    views = _AS_RECEIVED if received else tuple(view for view in VIEWS if view != "as received")
    # A view is taken by a picture that counts; one that does not leaves it to be taken again.
    done = {row.view: row for row in taken if row.usable and row.pk not in in_doubt}
    following = next((view for view in (views[0], "side") if view not in done), views[2])
    chosen = request.GET.get("view")
    form = PictureForm()
    return {
        "pictures": [{"photo": row, "doubt": in_doubt.get(row.pk, "")} for row in taken],
        "views": [
            {
                "name": view,
                "label": view.replace("uv", "UV"),
                "taken": done.get(view),
                "usual": not received and view in _USUAL,
            }
            for view in views
        ],
        "received": received,
        "view": chosen if chosen in views else following,
        "cautions_uv": () if received else care.cautions("uv"),
        "lamps": Instrument.objects.filter(kind="uv lamp", retired_at=None).order_by("pk"),
        "tool": form["instrument"],
        "scale": scale_words(Instrument.objects.filter(pk=form["instrument"].initial).first(), 0),
    }


@require_POST
def keep_picture(request: HttpRequest, pk: int) -> HttpResponse:
    """A picture from the camera or from a file. A refusal is answered in words, as text for the camera's script."""
    examination = _examination(pk)
    form = PictureForm(request.POST, request.FILES)
    if not form.is_valid():
        return _refuse(request, examination, "Choose a view and a picture.")
    fields = form.cleaned_data
    try:
        keep_photograph(
            examination,
            fields["photograph"].read(),
            view=fields["view"],
            at=timezone.now(),
            by=signed_in(request),
            simulated=fields["simulated"],
            must_count=not fields["anyway"],
            notes=form.notes,
            instrument=fields["instrument"],
            once=fields["once"] or None,
        )
    except DoesNotCount as error:
        return _refuse(request, examination, said(str(error)), may_keep=True)
    except (NotAPhotograph, ExaminationFinished) as error:
        return _refuse(request, examination, str(error))
    return redirect("examination-question", pk=examination.pk, name="pictures")


@require_POST
def read_frame(request: HttpRequest, pk: int) -> HttpResponse:
    """What the live guide says about one small frame; nothing is written."""
    examination, sent = _examination(pk), request.FILES.get("frame")
    if sent is None or (sent.size or 0) > LARGEST_FRAME:
        return JsonResponse({"says": "Send one small frame."}, status=UNPROCESSABLE)
    form = FrameForm(request.POST)
    if not form.is_valid():
        return JsonResponse(
            {"says": "Send the frame with its view and the width of the picture."}, status=UNPROCESSABLE
        )
    asked = form.cleaned_data
    try:
        told = guide.read_live(examination, sent.read(), asked["view"])
        return JsonResponse({**told, "scale": scale_words(asked["instrument"], asked["width_px"] or 0)})
    except imaging.BadPhoto as error:
        return JsonResponse({"says": str(error)}, status=UNPROCESSABLE)


def _refuse(request: HttpRequest, examination: Examination, words: str, *, may_keep: bool = False) -> HttpResponse:
    """`Keep-Anyway` tells the script that the same picture may be sent again, to be kept without counting."""
    if "text/html" not in request.headers.get("Accept", ""):
        answer = HttpResponse(words, status=UNPROCESSABLE, content_type="text/plain; charset=utf-8")
        if may_keep:
            answer["Keep-Anyway"] = "yes"
        return answer
    messages.error(request, words)
    return redirect("examination-question", pk=examination.pk, name="pictures")


def _examination(pk: int) -> Examination:
    return get_object_or_404(Examination.objects.select_related("stone__piece__job"), pk=pk)
