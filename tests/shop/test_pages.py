"""The pages: every one needs sign-in, the first start, the take-in by its forms, the bench."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse
from tests.shop import walk

from samestone.shop.models import Examination, Instrument, Job, Mark, Member, Reading, Shop

pytestmark = pytest.mark.django_db


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


def test_a_piece_is_taken_in_by_its_forms(browser: Client) -> None:
    opened = browser.post("/take-in/", {"name": "Odile Farrow", "envelope": "77", "once": "one"})
    assert opened["Location"] == "/job/77/take-in/piece/"
    again = browser.post("/take-in/", {"name": "Odile Farrow", "envelope": "77", "once": "one"})
    assert again["Location"] == opened["Location"], "the same form sent twice leads to the same job"
    other = browser.post("/take-in/", {"name": "Someone Else", "envelope": "77", "once": "two"})
    assert other.status_code == 422
    assert "Envelope 77 is in use" in other.content.decode()
    assert "Someone Else" in other.content.decode(), "what was typed is still there"
    piece = {"kind": "ring", "words": "solitaire", "grams": "3.41"}
    assert browser.post("/job/77/take-in/piece/", piece)["Location"] == "/job/77/take-in/stones/"
    stone = {"position": "centre", "count": "1", "cut": "round brilliant", "material": "diamond", "basis": "tested"}
    answer = browser.post("/job/77/take-in/stones/", {**stone, "treatment": "unknown"})
    assert answer["Location"] == "/job/77/take-in/condition/"
    browser.post("/job/77/claws/", {"count": "4", "question": "condition"})
    browser.post("/job/77/marks/", {"category": "damage", "kind": "chip", "r": "0.97", "angle_deg": "30"})
    refused = browser.post("/job/77/take-in/clean/", {"tight": "could not look", "methods": ["ultrasonic"]})
    assert refused.status_code == 422
    assert "Dirt may be all that holds a stone" in refused.content.decode()
    browser.post("/job/77/leave-uncleaned/", {"why": "could not look at the claws", "question": "clean"})
    browser.post("/job/77/marks/", {"category": "agreed", "r": "0.3", "angle_deg": "31", "words": "the black seed"})
    browser.post("/job/77/take-in/work/", {"work": "new tips", "declared_value": "6,500"})
    page = browser.get("/job/77/take-in/receipt/").content.decode()
    assert "the black seed" in page and "4 claws" in page
    assert Job.objects.get().declared_value == "6,500"


def test_a_mark_without_the_clients_words_is_no_agreed_mark(browser: Client, job: Job) -> None:
    browser.post("/job/1042/marks/", {"category": "agreed", "r": "0.3", "angle_deg": "31", "question": "marks"})
    assert not Mark.objects.exists()
    assert "own words" in browser.get("/job/1042/take-in/marks/").content.decode()


def test_grams_that_cannot_be_are_refused_and_kept_on_the_page(browser: Client, job: Job) -> None:
    answer = browser.post("/job/1042/take-in/piece/", {"kind": "ring", "words": "x", "grams": "34,1 g"})
    assert answer.status_code == 422
    assert "34.1 g” is not a number" in answer.content.decode()
    answer = browser.post("/job/1042/take-in/piece/", {"kind": "ring", "words": "x", "grams": "34100"})
    assert "Is the unit right?" in answer.content.decode()


def test_the_bench_by_its_forms(browser: Client, job: Job, owner: Member) -> None:
    stone = job.stones.get()
    refused = browser.post(f"/stone/{stone.pk}/unset/", follow=True)
    assert "the job stands at “taken in”" in refused.content.decode()
    browser.post("/job/1042/finish-take-in/", {})
    wrong = browser.post("/job/1042/hand-over/", {"number_read": "1043", "mark_seen": "yes", "to": "bench"})
    assert "The envelope in the hand says 1043" in wrong.content.decode()
    browser.post("/job/1042/hand-over/", {"number_read": "1042", "mark_seen": "yes", "grams": "3.4", "to": "bench"})
    browser.post(f"/stone/{stone.pk}/unset/")
    scale = Instrument.objects.get(kind="scale")
    weights = {"first": "1.149", "second": "1.148", "instrument": scale.pk, "once": "w"}
    browser.post(f"/stone/{stone.pk}/weigh/", weights)
    browser.post(f"/stone/{stone.pk}/weigh/", weights)
    assert [row.indications for row in Reading.objects.all()] == [["1.149", "1.148"]]
    assert "1.149, 1.148 ct" in browser.get("/job/1042/bench/").content.decode()
    counted = browser.post("/evening-count/", {"loose": [str(stone.pk)]}).content.decode()
    assert "Not seen" in counted
    browser.post(f"/stone/{stone.pk}/reset/")
    browser.post("/job/1042/inspected/", {"against_instruction": "all as agreed"})
    browser.post("/job/1042/ready/")
    assert Job.objects.get().station == "ready"


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        (("11.49",), "Found 11.49 ct; expected 0.459 to 3.03 ct for a stone of this size. The decimal point seems"),
        (("1.149", "1.149", "1.419"), "These differ by 0.270 ct. Read the odd one again."),
        (("0", "1.149"), "0 ct cannot be; expected between 0.005 and 200 ct"),
    ],
)
def test_a_loose_weight_that_cannot_be_is_refused_and_kept_on_the_page(
    browser: Client, job: Job, owner: Member, typed: tuple[str, ...], says: str
) -> None:
    """6.67 to 6.71 by 4.10 mm, read at take-in: ct / (d^2 h) of gem's widest range gives 0.459 to 3.03 ct."""
    stone = job.stones.get()
    walk.examine(browser, stone, "take-in")
    browser.post("/job/1042/finish-take-in/", {})
    browser.post("/job/1042/hand-over/", {"number_read": "1042", "mark_seen": "yes", "to": "bench"})
    browser.post(f"/stone/{stone.pk}/unset/")
    weights = dict(zip(("first", "second", "third"), typed, strict=False))
    answer = browser.post(
        f"/stone/{stone.pk}/weigh/", {**weights, "instrument": Instrument.objects.get(kind="scale").pk}
    )
    page = answer.content.decode()
    assert answer.status_code == 422
    assert says in page
    assert all(f'value="{text}"' in page for text in typed)
    assert not Reading.objects.filter(property="weight_ct").exists()


@pytest.mark.parametrize(("cut", "code"), [("oval", 302), ("round brilliant", 422)])
def test_a_long_stone_may_be_long_and_a_round_one_not(
    browser: Client, job: Job, owner: Member, cut: str, code: int
) -> None:
    stone = job.stones.get()
    stone.cut = cut
    stone.save()
    browser.post(f"/stone/{stone.pk}/examine/take-in/")
    look = stone.examinations.get()
    gauge = Instrument.objects.get(kind="gauge")
    sizes = {"diameter_min_mm-0": "6.02", "diameter_max_mm-0": "9.11", "instrument": gauge.pk}
    answer = browser.post(f"/examination/{look.pk}/diameter/", sizes)
    assert answer.status_code == code


def test_only_the_owner_enrols_people(browser: Client, goldsmith: Member) -> None:
    hand = Client()
    hand.force_login(goldsmith, backend="django.contrib.auth.backends.ModelBackend")
    for address in ("/people/", "/shop/"):
        assert browser.get(address).status_code == 200
        assert hand.get(address).status_code == 403
    new = {"name": "Ada Finch", "username": "ada", "role": "goldsmith", "password": "a third long one"}
    assert hand.post("/people/", new).status_code == 403
    browser.post("/people/", new)
    ada = Member.objects.get(username="ada")
    browser.post(f"/people/{ada.pk}/let-go/")
    assert Client().post("/sign-in/", {"username": "ada", "password": "a third long one"}).status_code == 200
    browser.post(f"/people/{Member.objects.get(username='ines').pk}/let-go/")
    assert Member.objects.get(username="ines").is_active, "the owner cannot lock herself out"


def test_five_wrong_passwords_lock_the_name(owner: Member) -> None:
    client = Client()
    for _ in range(5):
        answer = client.post("/sign-in/", {"username": "ines", "password": "wrong"})
    assert answer.status_code == 429
    locked = client.post("/sign-in/", {"username": "ines", "password": "a long enough one"})
    assert locked.status_code == 429
    assert "quarter of an hour" in locked.content.decode()


def test_passwords_are_kept_as_argon2(settings: object, owner: Member) -> None:
    from samestone.shop.site import settings as site

    assert site.PASSWORD_HASHERS == ["django.contrib.auth.hashers.Argon2PasswordHasher"]
    settings.PASSWORD_HASHERS = site.PASSWORD_HASHERS  # type: ignore[attr-defined]
    owner.set_password("a long enough one")
    assert owner.password.startswith("argon2")
    assert owner.check_password("a long enough one")


EMPTY = {
    "/take-in/": ({"name": "Odile Farrow"}, "Odile Farrow"),
    "/job/1042/take-in/piece/": ({"kind": "ring", "condition": "worn thin at the back"}, "worn thin at the back"),
    "/job/1042/take-in/work/": ({"collector": "Jonas Whitlock"}, "Jonas Whitlock"),
    "/job/1042/hand-over/": ({"number_read": "1042", "mark_seen": "yes", "grams": "3.41"}, "3.41"),
    "/job/1042/news/": ({"price": "140 more"}, "140 more"),
    "/job/1042/notice/": ({"to_say": "we look again together"}, "we look again together"),
    "/people/": ({"name": "Tomas Reed", "role": "goldsmith"}, "Tomas Reed"),
}


@pytest.mark.parametrize("address", EMPTY)
def test_what_is_missing_is_said_beside_the_field_and_the_rest_is_kept(browser: Client, job: Job, address: str) -> None:
    sent, typed = EMPTY[address]
    answer = browser.post(address, sent)
    assert answer.status_code == 422
    page = answer.content.decode()
    beside = [part for part in page.split('<div class="field')[1:] if part.startswith(" wrong")]
    assert beside and all("Found nothing" in part and "; expected " in part for part in beside)
    assert typed in page
    assert "This field is required" not in page


def test_no_page_leaves_a_missing_answer_to_the_browser(browser: Client, job: Job) -> None:
    """The browser's own bubble is asked for by `required`."""
    questions = [f"/job/1042/take-in/{name}/" for name in ("piece", "stones", "marks", "clean", "work")]
    for address in (
        "/take-in/",
        "/job/1042/",
        "/job/1042/bench/",
        "/people/",
        "/shop/",
        "/instruments/new/",
        *questions,
    ):
        page = browser.get(address)
        assert page.status_code == 200, address
        assert " required" not in page.content.decode(), address


def test_a_wrong_password_is_said_in_our_words_and_the_keyboard_goes_there(owner: Member) -> None:
    page = Client().post(reverse("sign-in"), {"username": "ines", "password": "wrong"}).content.decode()
    assert "Found nobody with this name and password" in page
    assert "autofocus" in page.split('type="password"')[1].split(">")[0]


def test_a_finished_look_is_to_be_read_and_asks_nothing_more(browser: Client, job: Job) -> None:
    first = walk.examine(browser, job.stones.get(), "take-in")
    walk.examine(browser, job.stones.get(), "take-in", readings={})
    for name in ("diameter", "uv-long", "characteristics", "finish"):
        page = browser.get(f"/examination/{first.pk}/{name}/").content.decode()
        main = page.split("<main")[1].split("</main>")[0]
        assert "6.67 6.67 6.67 mm" in main and "medium blue" in main and "no time" in main
        assert "<form" not in main and "<input" not in main
    late = browser.post(f"/examination/{first.pk}/girdle/", {"value": "faceted"})
    assert late.status_code == 422 and "was finished" in late.content.decode()
    assert first.observations.get(what="girdle_finish").value == "polished"


def test_a_finished_first_look_is_kept_back_from_whoever_looks_blind(browser: Client, job: Job) -> None:
    first = walk.examine(browser, job.stones.get(), "take-in")
    walk.to_the_bench(browser, "1042")
    walk.back_from_the_bench(browser, "1042")
    answer = browser.get(f"/examination/{first.pk}/diameter/")
    assert (answer.status_code, answer["Location"]) == (302, "/job/1042/")


def test_a_loose_weight_is_held_against_the_sizes_of_the_take_in_on_every_page(browser: Client, job: Job) -> None:
    stone = job.stones.get()
    walk.examine(browser, stone, "take-in")
    walk.to_the_bench(browser, "1042")
    browser.post(f"/stone/{stone.pk}/unset/")
    look, scale = Examination.objects.get(stone=stone, occasion="bench"), Instrument.objects.get(kind="scale")
    at_the_bench = browser.post(f"/stone/{stone.pk}/weigh/", {"first": "11.49", "instrument": scale.pk})
    looked_at = f"/examination/{look.pk}/weight/"
    loose = browser.post(looked_at, {"weight_ct-0": "11.49", "instrument": scale.pk})
    for answer in (at_the_bench, loose):
        assert answer.status_code == 422
        assert "If the scale says so again, stop: it may be another stone." in answer.content.decode()
    assert not look.readings.exists()
    assert browser.post(looked_at, {"weight_ct-0": "1.149", "instrument": scale.pk}).status_code == 302
    assert look.readings.get().indications == ["1.149"]


def test_swapped_diameters_are_said_in_the_trade_s_words(browser: Client, job: Job) -> None:
    browser.post(f"/stone/{job.stones.get().pk}/examine/take-in/")
    look, gauge = Examination.objects.latest("pk"), Instrument.objects.get(kind="gauge")
    typed = {"diameter_min_mm-0": "6.71", "diameter_max_mm-0": "6.67", "instrument": gauge.pk}
    page = browser.post(f"/examination/{look.pk}/diameter/", typed).content.decode()
    assert "Found 6.71 mm, above the largest diameter, 6.67 mm; expected the smaller of the two." in page


def test_short_wave_is_not_put_down_to_the_long_wave_lamp(browser: Client, job: Job) -> None:
    browser.post(f"/stone/{job.stones.get().pk}/examine/take-in/")
    look = Examination.objects.latest("pk")
    chosen = "selected>uv box 365 nm"
    assert chosen in browser.get(f"/examination/{look.pk}/uv-long/").content.decode()
    assert chosen not in browser.get(f"/examination/{look.pk}/uv-short/").content.decode()
