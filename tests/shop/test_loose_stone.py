"""A stone that comes without a piece around it: taken in, looked at and handed back through the pages."""

from __future__ import annotations

import pytest
from django.test import Client
from tests.shop import walk

from samestone.shop.audit import check_shop
from samestone.shop.models import Examination, Job, Stone
from samestone.shop.pickup import queries as pickup_queries

pytestmark = pytest.mark.django_db
SEEN = {**walk.READINGS, "weight_ct": "1.148"}


@pytest.fixture
def loose(browser: Client) -> Stone:
    """Described by its forms; a metal that was typed before the kind was changed does not stay."""
    browser.post("/take-in/", {"name": "Odile Farrow", "envelope": "88"})
    typed = {
        "kind": "loose stone",
        "words": "in a folded paper",
        "metal": "white gold 750",
        "size": "54",
        "grams": "3.41",
    }
    assert browser.post("/job/88/take-in/piece/", typed)["Location"] == "/job/88/take-in/stones/"
    stone = {"position": "loose", "count": "1", "cut": "round brilliant", "material": "diamond", "basis": "client says"}
    browser.post("/job/88/take-in/stones/", {**stone, "treatment": "none"})
    return Stone.objects.get()


def page(browser: Client, address: str) -> str:
    return browser.get(address).content.decode()


def test_it_has_no_metal_and_no_claws_and_is_weighed_first(browser: Client, loose: Stone) -> None:
    piece = loose.piece
    assert (piece.metal, piece.hallmark, piece.size, piece.grams) == ("", "", "", "")
    assert loose.setting == "loose" and not loose.job.state.loose
    damage = page(browser, "/job/88/take-in/condition/")
    assert "<h1>Damage</h1>" in damage and "claw" not in damage.split("<h1>")[1]
    assert "hallmark" not in damage.lower()
    clean = page(browser, "/job/88/take-in/clean/")
    assert "Are all stones tight" not in clean
    browser.post(f"/stone/{loose.pk}/examine/take-in/")
    look = Examination.objects.get()
    assert browser.get(f"/examination/{look.pk}/")["Location"].endswith("/weight/")
    ring = {"kind": "ring", "words": "after all"}
    browser.post("/job/88/take-in/piece/", ring)
    loose.refresh_from_db()
    assert loose.setting == "set", "said to be a ring after all, its stone is set"


def test_damage_must_be_looked_for_before_there_is_a_receipt(browser: Client, loose: Stone) -> None:
    browser.post("/job/88/take-in/work/", {"work": "repolish the culet", "changes": []})
    assert "Damage" in page(browser, "/job/88/take-in/receipt/").split("Still needed")[1].split("</ul>")[0]
    browser.post("/job/88/no-damage/", {"question": "condition"})
    browser.post("/job/88/no-damage/", {"question": "condition"})
    assert "no damage seen" in page(browser, "/job/88/")
    assert "Still needed" not in page(browser, "/job/88/take-in/receipt/")
    browser.post("/job/88/marks/", {"category": "damage", "kind": "nick", "r": "0.98", "angle_deg": "40"})
    assert "1 place damaged" in page(browser, "/job/88/") and "no damage seen" not in page(browser, "/job/88/")


def test_it_goes_to_the_bench_and_home_again(browser: Client, loose: Stone) -> None:
    browser.post("/job/88/no-damage/", {})
    cleaned = browser.post("/job/88/take-in/clean/", {"methods": ["by hand", "ultrasonic"], "careful": "on"})
    assert cleaned.status_code == 302, cleaned.content.decode()
    walk.examine(browser, loose, "take-in", readings=SEEN)
    mark = {"category": "agreed", "r": "0.5", "angle_deg": "166", "words": "the little white needle"}
    browser.post("/job/88/marks/", mark)
    browser.post("/job/88/take-in/work/", {"work": "look at the culet"})
    assert browser.post("/job/88/give-receipt/", {"question": "receipt"}).status_code == 302
    assert browser.get("/job/88/receipt.pdf").content.startswith(b"%PDF")
    walk.to_the_bench(browser, "88")
    bench = page(browser, "/job/88/bench/")
    assert "Set again" not in bench and "Keep the loose weight" in bench
    assert "88</strong> loose" not in page(browser, "/evening-count/"), "it is counted with its envelope"
    walk.back_from_the_bench(browser, "88")
    assert Job.objects.get().station == "ready"
    walk.examine(browser, loose, "pick-up", readings={**SEEN, "weight_ct": "1.149"})
    browser.post(f"/stone/{loose.pk}/judge/")
    [one] = pickup_queries.stones_at_pick_up(Job.objects.get())
    assert one.judgement is not None and one.judgement.verdict["ladder"].startswith("agrees")
    assert "weight" in {finding["name"] for finding in one.judgement.compared}
    [agreed] = pickup_queries.agreed_marks(Job.objects.get())
    browser.post(f"/mark/{agreed.mark.pk}/looked-for/", {"seen": "seen"})
    browser.post("/job/88/pick-up/hand-over/", {"to": "the client"})
    assert Job.objects.get().station == "picked up"
    assert browser.get("/job/88/statement.pdf").content.startswith(b"%PDF")
    assert check_shop() == ()
