"""What is written by no stage: the shop itself and the people who work in it."""

from __future__ import annotations

import datetime as dt

from django.db import transaction

from samestone.shop import ledger
from samestone.shop.instrument import declared_fields
from samestone.shop.models import Instrument, Member, Shop

# What a bench like this has; the uncertainties are wide defaults until the shop's own repeats replace them.
FIRST_INSTRUMENTS = (
    ("gauge", "gauge"),
    ("scale", "carat scale"),
    ("microscope", "microscope"),
    ("uv lamp", "uv box 365 nm"),
    ("probe", "thermal probe"),
)


class CannotLetGo(Exception):
    """Nobody may be left who can sign in as owner."""


@transaction.atomic
def open_shop(  # noqa: PLR0913 - the first page of the shop asks for just this
    *,
    shop_name: str,
    street: str,
    town: str,
    name: str,
    username: str,
    password: str,
    at: dt.datetime,
    simulated: bool = False,
) -> Member:
    """The shop, its owner and its first instruments."""
    Shop.objects.create(name=shop_name, street=street, town=town, simulated=simulated)
    owner = Member.objects.enrol(username=username, password=password, name=name, role=Member.Role.OWNER)
    instruments = [
        Instrument.objects.create(**declared_fields(kind, title), since=at) for kind, title in FIRST_INSTRUMENTS
    ]
    ledger.append("shop opened", about="shop", at=at, by=owner, rows=instruments, details={"shop": shop_name})
    return owner


@transaction.atomic
def enrol_member(*, name: str, username: str, password: str, role: str, by: Member, at: dt.datetime) -> Member:
    """Someone new who works here."""
    member = Member.objects.enrol(username=username, password=password, name=name, role=role)
    ledger.append("member enrolled", about="shop", at=at, by=by, details={"username": username, "role": role})
    return member


@transaction.atomic
def let_go(member: Member, *, by: Member, at: dt.datetime) -> None:
    """Someone no longer works here: no sign-in any more, their name stays on what they did."""
    if member == by:
        raise CannotLetGo("You cannot let yourself go; someone else has to.")
    member.is_active = False
    member.save()
    ledger.append("member let go", about="shop", at=at, by=by, details={"username": member.username})


@transaction.atomic
def describe_shop(
    *, name: str, street: str, town: str, terms: list[list[str]], language: str, by: Member, at: dt.datetime
) -> Shop:
    """What stands on the papers from now on, and which English the counter speaks."""
    shop = Shop.objects.get()
    shop.name, shop.street, shop.town, shop.terms, shop.language = name, street, town, terms, language
    shop.save()
    details = {"name": name, "street": street, "town": town, "terms": terms, "language": language}
    ledger.append("shop described", about="shop", at=at, by=by, details=details)
    return shop
