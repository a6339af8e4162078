"""One examination through its pages, as a browser sends it."""

from __future__ import annotations

from typing import Any

from django.test import Client

from samestone.shop.models import Examination, Instrument, Stone

READINGS = {"diameter_min_mm": "6.67", "diameter_max_mm": "6.71", "depth_mm": "4.10", "table_percent": "57.5"}
MARKS = (("crystal", "0.33", "31"), ("pinpoint", "0.36", "166"), ("feather", "0.66", "218"))
_TOOLS = {"table_percent": "microscope", "weight_ct": "scale"}


def examine(
    browser: Client,
    stone: Stone,
    occasion: str,
    *,
    turned_deg: int = 0,
    readings: dict[str, str] | None = None,
    rest: str = "no time",
) -> Examination:
    """Begins, answers and finishes a look; every mark that was placed lies turned by `turned_deg`."""
    begun = browser.post(f"/stone/{stone.pk}/examine/{occasion}/")
    assert begun.status_code == 302, begun.content.decode()
    look = Examination.objects.filter(stone=stone, occasion=occasion).latest("pk")
    found = READINGS if readings is None else readings
    for name, whats in (
        ("diameter", ("diameter_min_mm", "diameter_max_mm")),
        ("depth", ("depth_mm",)),
        ("table", ("table_percent",)),
        ("weight", ("weight_ct",)),
    ):
        if whats[0] in found:
            send(browser, look, name, _typed({what: found[what] for what in whats}))
    send(browser, look, "uv-long", {"strength": "medium", "colour": "blue"})
    send(browser, look, "girdle", {"value": "polished"})
    for kind, r, angle in MARKS:
        place = {"kind": kind, "r": r, "angle_deg": str((int(angle) + turned_deg) % 360)}
        browser.post(f"/examination/{look.pk}/mark/", place)
    browser.post(f"/examination/{look.pk}/close/", {"rest": rest})
    look.refresh_from_db()
    assert look.finished_at is not None
    return look


def send(browser: Client, look: Examination, name: str, answer: dict[str, Any]) -> None:
    """One answer; a refusal fails with what the page says."""
    sent = browser.post(f"/examination/{look.pk}/{name}/", answer)
    assert sent.status_code == 302, sent.content.decode()


def _typed(values: dict[str, str]) -> dict[str, Any]:
    tool = Instrument.objects.get(kind=_TOOLS.get(next(iter(values)), "gauge"), retired_at=None)
    return {"instrument": tool.pk, **{f"{what}-{turn}": text for what, text in values.items() for turn in range(3)}}


def to_the_bench(browser: Client, envelope: str) -> None:
    """The take-in is finished and the piece handed to the bench."""
    assert browser.post(f"/job/{envelope}/finish-take-in/").status_code == 302
    looks = {"number_read": envelope, "mark_seen": "could not look", "to": "bench"}
    assert browser.post(f"/job/{envelope}/hand-over/", looks).status_code == 302


def back_from_the_bench(browser: Client, envelope: str) -> None:
    """Inspected against the instruction, and ready."""
    browser.post(f"/job/{envelope}/inspected/", {"against_instruction": "as agreed"})
    browser.post(f"/job/{envelope}/ready/")
