"""The pages of no stage: first start, sign-in, the counter, one photograph."""

from __future__ import annotations

from django.contrib.auth import login
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from samestone.shop import vault
from samestone.shop.models import Photograph, Shop
from samestone.shop.site import actions, queries
from samestone.shop.site.forms import FirstStartForm


class SignIn(LoginView):
    template_name = "sign_in.html"
    redirect_authenticated_user = True


@login_not_required
def start_shop(request: HttpRequest) -> HttpResponse:
    """Asks for the shop's name and the owner's password, once."""
    if Shop.objects.exists():
        return redirect("counter")
    form = FirstStartForm(request.POST or None)
    if form.is_valid():
        owner = actions.open_shop(at=timezone.now(), **form.cleaned_data)
        login(request, owner, backend="django.contrib.auth.backends.ModelBackend")
        return redirect("counter")
    return render(request, "first_start.html", {"form": form}, status=422 if request.POST else 200)


def show_counter(request: HttpRequest) -> HttpResponse:
    """Open jobs by station; a number or a scan leads straight to its job."""
    sought = request.GET.get("q", "").strip()
    found = queries.jobs_matching(sought) if sought else ()
    if len(found) == 1:
        return redirect("job", envelope=found[0].envelope)
    page = {"stations": queries.open_jobs_by_station(), "sought": sought, "found": found}
    return render(request, "counter.html", page)


def show_photograph(request: HttpRequest, pk: int) -> HttpResponse:
    """The original bytes, as kept."""
    row = get_object_or_404(Photograph, pk=pk)
    try:
        content = vault.read(row.digest)
    except vault.NotInVault as error:
        return HttpResponse(str(error), status=410, content_type="text/plain")
    response = HttpResponse(content, content_type=row.media_type)
    response["Cache-Control"] = "private, max-age=31536000, immutable"
    return response
