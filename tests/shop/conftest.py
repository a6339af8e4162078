"""A shop with its people, in a folder and a database of its own."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from django.test import Client

from samestone.shop.intake import actions as intake
from samestone.shop.models import Examination, Job, Member, Stone
from samestone.shop.site.actions import enrol_member, open_shop

AT = dt.datetime(2026, 3, 2, 9, 30, tzinfo=dt.UTC)


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, settings: object) -> None:
    settings.DATA = tmp_path / "data"  # type: ignore[attr-defined]
    settings.DATA.mkdir()  # type: ignore[attr-defined]
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]  # type: ignore[attr-defined]


@pytest.fixture
def at() -> dt.datetime:
    return AT


@pytest.fixture
def owner(db: None) -> Member:
    return open_shop(
        shop_name="Larkfield Goldsmiths",
        street="14 Mill Lane",
        town="Ashby Vale",
        name="Ines Marlow",
        username="ines",
        password="a long enough one",
        at=AT,
        simulated=True,
    )


@pytest.fixture
def browser(owner: Member) -> Client:
    """The owner, signed in."""
    client = Client()
    client.force_login(owner, backend="django.contrib.auth.backends.ModelBackend")
    return client


@pytest.fixture
def goldsmith(owner: Member) -> Member:
    return enrol_member(
        name="Tomas Reed", username="tomas", password="another long one", role="goldsmith", by=owner, at=AT
    )


@pytest.fixture
def job(owner: Member) -> Job:
    job = intake.open_job(envelope="1042", person={"name": "Odile Farrow", "phone": "0"}, at=AT, by=owner)
    piece = intake.describe_piece(job, kind="ring", words="solitaire", metal="white gold 750", at=AT, by=owner)
    intake.describe_stone(piece, basis="tested", claws=4, at=AT, by=owner)
    return job


@pytest.fixture
def stone(job: Job) -> Stone:
    return job.stones.get()


@pytest.fixture
def received(stone: Stone, owner: Member) -> Examination:
    return intake.received_examination(stone, at=AT, by=owner)
