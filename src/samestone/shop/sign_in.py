"""Who is signed in, for views: every page is behind sign-in, so there is always someone."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec, TypeAlias, cast

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse

from samestone.shop.models import Member

Rest = ParamSpec("Rest")
View: TypeAlias = Callable[Concatenate[HttpRequest, Rest], HttpResponse]


def signed_in(request: HttpRequest) -> Member:
    """The member whose request this is."""
    if not isinstance(request.user, Member):
        raise PermissionDenied("Sign in first.")
    return request.user


def owner_only(
    view: View[Rest],
) -> View[Rest]:
    """A page for the owner alone; others are told so (403)."""

    @wraps(view)
    def guarded(request: HttpRequest, *args: Rest.args, **kwargs: Rest.kwargs) -> HttpResponse:
        if not signed_in(request).is_owner:
            raise PermissionDenied("Only the owner may do this.")
        return view(request, *args, **kwargs)

    return cast("View[Rest]", guarded)
