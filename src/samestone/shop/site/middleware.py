"""The first start, the shop's English, and what every page may know about the shop."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.urls import reverse

from samestone.shop.language import spoken_here
from samestone.shop.models import Shop


class FirstStart:
    """Until the shop has a name and an owner, every page leads to the one that asks for them."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        if request.path != reverse("first-start") and not Shop.objects.exists():
            return redirect("first-start")
        return self.get_response(request)


class OwnWords:
    """Every page speaks the English that the shop chose, whatever the browser prefers: it is read with the client."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        with spoken_here():
            return self.get_response(request)


def shop_for_templates(request: HttpRequest) -> dict[str, Any]:
    """`shop` in every template; its `simulated` flag makes the base page say so."""
    return {"shop": Shop.objects.first()}
