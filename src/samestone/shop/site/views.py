"""The pages of no stage: first start, sign-in, the counter, one photograph."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from samestone.shop import vault
from samestone.shop.models import Member, Photograph, Shop
from samestone.shop.sign_in import owner_only, signed_in
from samestone.shop.site import actions, queries
from samestone.shop.site.forms import FirstStartForm, NewMemberForm, ShopForm, SignInForm


class SignIn(LoginView):
    template_name = "sign_in.html"
    authentication_form = SignInForm
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


@owner_only
def show_people(request: HttpRequest) -> HttpResponse:
    """Who works here; the owner enrols and lets go."""
    form = NewMemberForm(request.POST or None)
    if form.is_valid():
        actions.enrol_member(by=signed_in(request), at=timezone.now(), **form.cleaned_data)
        return redirect("people")
    page = {"form": form, "members": Member.objects.order_by("name")}
    return render(request, "people.html", page, status=422 if request.POST else 200)


@require_POST
@owner_only
def let_go(request: HttpRequest, pk: int) -> HttpResponse:
    try:
        actions.let_go(get_object_or_404(Member, pk=pk), by=signed_in(request), at=timezone.now())
    except actions.CannotLetGo as error:
        messages.error(request, str(error))
    return redirect("people")


@owner_only
def describe_shop(request: HttpRequest) -> HttpResponse:
    """Name, address and terms on the papers, and which English the counter speaks."""
    shop = Shop.objects.get()
    terms = "\n".join(f"{topic}: {words}" for topic, words in shop.terms)
    initial = {"name": shop.name, "street": shop.street, "town": shop.town, "terms": terms, "language": shop.language}
    form = ShopForm(request.POST or None, initial=initial)
    if form.is_valid():
        actions.describe_shop(by=signed_in(request), at=timezone.now(), **form.cleaned_data)
        messages.success(request, "Kept. It stands on every paper from now on.")
        return redirect("shop")
    return render(request, "shop.html", {"form": form}, status=422 if request.POST else 200)
