"""The pages: every one needs sign-in, the first start, the take-in by its forms, the bench."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from samestone.shop.models import Job, Member, Shop

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(owner: Member) -> Client:
    client = Client()
    client.force_login(owner, backend="django.contrib.auth.backends.ModelBackend")
    return client


def test_the_first_start_asks_for_the_shop_and_its_owner() -> None:
    client = Client()
    assert client.get("/")["Location"] == "/first-start/"
    answer = {"shop_name": "Larkfield Goldsmiths", "name": "Ines Marlow", "username": "ines", "password": "short"}
    refused = client.post("/first-start/", answer)
    assert refused.status_code == 422
    assert "too short" in refused.content.decode()
    assert not Shop.objects.exists()
    client.post("/first-start/", {**answer, "password": "long enough to keep"})
    assert client.get("/").status_code == 200
    assert client.get("/first-start/")["Location"] == "/", "a second owner cannot come in by the first start"


@pytest.mark.parametrize("address", ["/", "/take-in/", "/job/1042/", "/job/1042/bench/", "/evening-count/"])
def test_every_page_needs_sign_in(job: Job, address: str) -> None:
    assert Client().get(address)["Location"] == f"{reverse('sign-in')}?next={address}"


@pytest.mark.parametrize(
    "address",
    [
        "/",
        "/?q=nobody",
        "/take-in/",
        "/job/1042/",
        "/job/1042/bench/",
        "/evening-count/",
        *(
            f"/job/1042/take-in/{name}/"
            for name in ("piece", "stones", "condition", "pictures", "clean", "look", "marks", "work", "receipt")
        ),
    ],
)
def test_pages_open_with_a_strict_policy(job: Job, browser: Client, address: str) -> None:
    page = browser.get(address)
    assert page.status_code == 200
    policy = page["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    text = page.content.decode()
    assert "<style" not in text and " style=" not in text and " onclick" not in text
