"""A shop of the United States: its words on every page and paper, and nothing else that changes with them."""

from __future__ import annotations

import ast
import datetime as dt
import json
import re
import subprocess
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import urljoin, urlsplit

import pytest
from django.test import Client
from django.urls import resolve
from django.utils import formats
from scripts.compile_words import LOCALE, BadCatalogue, compile_catalogue, read_catalogue

from samestone import cli
from samestone.shop import ledger, vault, wording
from samestone.shop.audit import check_shop
from samestone.shop.examine.question import questions_for
from samestone.shop.intake import actions as intake
from samestone.shop.intake import paperwork as receipts
from samestone.shop.language import spoken_here
from samestone.shop.models import Examination, Job, Mark, Member, NotExamined, Person, Photograph, Piece, Shop, Stone
from samestone.shop.pickup import paperwork
from samestone.shop.site import demo

PO = LOCALE / "en_US" / "LC_MESSAGES" / "django.po"
SOURCE = Path(wording.__file__).parents[1]
EXCHANGED = {
    "claw": "prong", "claws": "prongs", "jeweller": "jeweler", "jewellery": "jewelry", "colour": "color",
    "coloured": "colored", "colours": "colors", "grey": "gray", "centre": "center", "centred": "centered",
    "neighbour": "neighbor", "millimetres": "millimeters", "micrometres": "micrometers", "aluminium": "aluminum",
    "enrol": "enroll", "per cent": "percent", "recognise": "recognize", "judgement": "judgment",
    "catalogue": "catalog", "labelled": "labeled", "favour": "favor", "mould": "mold", "cheque": "check",
}  # fmt: skip
UK = re.compile(rf"\b({'|'.join(map(re.escape, EXCHANGED))})\b", re.IGNORECASE)


def exchanged(text: str) -> str:
    def other(found: re.Match[str]) -> str:
        word = EXCHANGED[found[0].lower()]
        return word.capitalize() if found[0][0].isupper() else word

    return UK.sub(other, text)


class Page(HTMLParser):
    """What a page says, and all else that it is made of: addresses, names, values that go back to the shop."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.says: list[str] = []
        self.rest: list[str] = []
        self.links: list[str] = []
        self._unread = False
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        self._unread = tag in ("script", "style")
        read = {"aria-label", "alt", "title", "placeholder"} | ({"value"} if given.get("type") == "text" else set())
        self.says += [value for name, value in given.items() if name in read]
        fresh = {"value"} if given.get("name") in ("csrfmiddlewaretoken", "once") else set()
        self.rest.append(f"{tag} {[(name, value) for name, value in given.items() if name not in read | fresh]}")
        if tag == "a" and "href" in given:
            self.links.append(given["href"])

    def handle_data(self, data: str) -> None:
        if data.strip() and not self._unread:
            self.says.append(" ".join(data.split()))


def typed() -> list[str]:
    """What people wrote, where a word that differs occurs in it."""
    rows: Iterable[Any] = [
        *Piece.objects.values_list("words", "condition"),
        *Job.objects.values_list("work", "declared_value"),
        *Mark.objects.values_list("words", "id"),
        *Person.objects.values_list("name", "id"),
    ]
    found = {text for row in rows for text in row if isinstance(text, str) and UK.search(text)}
    return sorted(found, key=len, reverse=True)


def masked(text: str, typed: Sequence[str]) -> str:
    """With what was typed put aside, letter for letter; a page or paper may begin a sentence with it."""
    for number, words in enumerate(typed):
        either = "|".join({re.escape(words), re.escape(words[:1].upper() + words[1:])})
        text = re.sub(rf"(?<!\w)({either})(?!\w)", f"«{number}»", text)
    return text


def speak(language: str) -> None:
    Shop.objects.update(language=language)


def walk(browser: Client) -> dict[str, Page]:
    """Every page that links lead to from the counter."""
    seen: dict[str, Page] = {}
    waiting = ["/", "/shop/", "/people/", "/records/", "/instruments/"]
    waiting += [f"/job/{job.envelope}/{page}/" for job in Job.objects.all() for page in ("bench", "client", "take-in")]
    waiting += [f"/job/{job.envelope}/{page}/" for job in Job.objects.all() for page in ("grams", "export", "pick-up")]
    waiting += [f"/stone/{stone.pk}/{page}/" for stone in Stone.objects.all() for page in ("weight", "materials")]
    waiting += [f"/examination/{look.pk}/" for look in Examination.objects.all()]
    looks = Examination.objects.filter(finished_at=None)
    for look in looks:
        asked = questions_for(look.setting, look.occasion)
        waiting += [f"/examination/{look.pk}/{question.name}/" for question in asked]
    waiting += [f"/photograph/{photo.pk}/claws/" for photo in Photograph.objects.exclude(view="uv")]
    while waiting:
        address = waiting.pop()
        if address in seen or re.search(r"\.(pdf|zip)$|^/photograph/\d+/$|^/sign-out", address):
            continue
        answer = browser.get(address, follow=True)
        assert answer.status_code == 200, (address, answer.status_code)
        if not answer["Content-Type"].startswith("text/html"):
            continue
        page = seen[address] = Page(answer.content.decode())
        links = [urlsplit(urljoin(address, link)) for link in page.links if not link.startswith(("#", "mailto:"))]
        waiting += [link.path + (f"?{link.query}" if link.query else "") for link in links if not link.netloc]
    return seen


@pytest.fixture
def played(db: None) -> Client:
    """The demo's shop with one more job, whose first look is open and whose client speaks of a grey claw."""
    demo.play_demo(now=dt.datetime(2026, 3, 20, 12, tzinfo=dt.UTC), say=lambda line: None)
    owner = Member.objects.get(username=demo.OWNER)
    browser = Client()
    browser.force_login(owner, backend="django.contrib.auth.backends.ModelBackend")
    at = dt.datetime(2026, 3, 20, 13, tzinfo=dt.UTC)
    job = intake.open_job(envelope="1050", person={"name": "Una Grey", "phone": "0"}, at=at, by=owner)
    piece = intake.describe_piece(
        job, kind="ring", words="grey claw, colour of the centre unclear", metal="silver", at=at, by=owner
    )
    stone = intake.describe_stone(piece, basis="client says", treatment="fracture-filled", at=at, by=owner)
    browser.post("/job/1050/claws/", {"count": "4", "question": "condition", "stone": stone.pk})
    worn = {"category": "claw", "kind": "worn", "r": "1", "angle_deg": "12", "stone": stone.pk}
    browser.post("/job/1050/marks/", worn)
    agreed = {"category": "agreed", "r": "0.3", "angle_deg": "31", "words": "by the grey claw", "stone": stone.pk}
    browser.post("/job/1050/marks/", agreed)
    browser.post(f"/stone/{stone.pk}/examine/take-in/")
    look = stone.examinations.get(occasion="take-in")
    browser.post(f"/examination/{look.pk}/could-not-look/", {"why": "girdle_finish|claws in the way"})
    browser.post(f"/examination/{look.pk}/probe/", {"result": "unclear"})
    assert NotExamined.objects.filter(why="claws in the way").exists()
    work = {"work": "mend the grey claw", "risks": ["old or worn claws"], "changes": ["new_head"]}
    assert browser.post("/job/1050/take-in/work/", work).status_code == 302
    browser.post("/job/1050/notice/", {"words": "looks filled"})
    # The word “centre” as a stone's place is what someone kept; put aside, it would hide our own “Radii from centre”.
    Stone.objects.filter(position="centre").update(position="top")
    return browser


def test_every_page_says_the_same_in_the_other_words(played: Client) -> None:
    at_home = walk(played)
    speak("en-us")
    abroad = walk(played)
    names = {resolve(urlsplit(address).path).url_name for address in at_home}
    assert names >= {
        "counter", "new-job", "job", "take-in", "bench", "evening-count", "examination-question", "examination",
        "cleaning", "pick-up", "expert", "client-view", "people", "shop", "instruments", "instrument", "records",
        "claws", "stray-stone", "stone", "stone-weight", "stone-materials", "export-job", "gram-balance", "person",
    }  # fmt: skip
    assert at_home.keys() == abroad.keys()
    left, found, theirs = [], 0, typed()
    for address, page in at_home.items():
        there = abroad[address]
        if address != "/shop/":  # where the choice itself is ticked
            assert page.rest == there.rest, f"{address}: more than words has changed"
        for here, said in zip(page.says, there.says, strict=True):
            found += here != said
            ours = masked(said, theirs)
            if UK.search(ours):
                left.append((address, said))
            assert exchanged(masked(here, theirs)) == ours, address
    assert not left
    assert found > 100, "the pages do have words that differ"


def test_what_was_typed_stands_as_typed(played: Client) -> None:
    speak("en-us")
    page = Page(played.get("/job/1050/").content.decode())
    assert any("grey claw, colour of the centre unclear" in said for said in page.says)
    assert "by the grey claw" in played.get("/job/1050/take-in/marks/").content.decode()
    assert "mend the grey claw" in played.get("/job/1050/take-in/work/").content.decode()
    assert Job.objects.get(envelope="1050").risks == ["old or worn claws"], "what is kept is the same in both"


def pdf_text(pdf: bytes, place: Path) -> str:
    place.write_bytes(pdf)
    done = subprocess.run(["pdftotext", str(place), "-"], capture_output=True, text=True, check=True)
    return " ".join(done.stdout.split())


def test_papers_are_printed_in_the_shops_words_and_the_record_stays(
    played: Client, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job, owner = Job.objects.get(envelope="1042"), Member.objects.get(username=demo.OWNER)
    at = dt.datetime(2026, 3, 20, 14, tzinfo=dt.UTC)
    printed: dict[str, dict[str, str]] = {}
    stones: dict[str, Any] = {}
    for language in ("en-gb", "en-us"):
        speak(language)
        given = receipts.give_receipt(job, at=at, by=owner).payload.data
        papers = paperwork.give_papers(job, at=at, by=owner)
        assert papers is not None
        statement, packet = (vault.read(papers.payload.data[f"{what}_kept"]) for what in ("statement", "packet"))
        printed[language] = {
            "receipt": pdf_text(vault.read(given["receipt_kept"]), tmp_path / "receipt.pdf"),
            "statement": pdf_text(statement, tmp_path / "statement.pdf"),
            "label": pdf_text(receipts.label(job, at=at), tmp_path / "label.pdf"),
        }
        place = tmp_path / f"{language}.zip"
        place.write_bytes(packet)
        assert cli.main(["verify", str(place)]) == 0
        assert cli.main(["replay", str(place)]) == 0
        with zipfile.ZipFile(place) as archive:
            (name,) = [name for name in archive.namelist() if name.endswith("data/record.json")]
            stones[language] = json.loads(archive.read(name))["stones"]
    capsys.readouterr()
    assert stones["en-gb"] == stones["en-us"]
    for name, text in printed["en-us"].items():
        assert not UK.search(masked(text, typed())), name
    for name in ("receipt", "statement"):
        assert "prong" in printed["en-us"][name] and "prong" not in printed["en-gb"][name]
    assert "Old or worn prongs" in printed["en-us"]["receipt"]
    assert "half way to the claw" in printed["en-us"]["receipt"], "the client's own words"


def test_reasons_of_a_verdict_are_exchanged_and_nothing_that_was_read(db: None, owner: Member) -> None:
    speak("en-us")
    why = "seen once and not the other time: look again, also under the claws"
    finding = {"property": "inscription", "was": {"value": "claw colour"}, "is": {"value": "none seen"}, "why": why}
    verdict = {"findings": [finding], "blocks": [{"what": "inscription", "why": why}], "ladder": "agrees"}
    with spoken_here():
        said = wording.verdict_said(verdict)
    assert said["findings"][0]["why"].endswith("also under the prongs")
    assert said["findings"][0]["was"] == {"value": "claw colour"}
    assert verdict["findings"] == [finding], "the verdict itself is not touched"


def test_the_choice_is_the_owners_lasts_and_is_written_down(browser: Client, job: Job) -> None:
    page = "/job/1042/take-in/condition/"
    assert "4 claws" in browser.get(page).content.decode()
    shop = {"name": "Larkfield", "street": "", "town": "", "terms": "Claws: we mend each claw", "language": "en-us"}
    assert browser.post("/shop/", shop).status_code == 302
    assert "4 prongs" in browser.get(page).content.decode(), "at once, on the next page"
    again = Client(headers={"accept-language": "en-gb"})
    again.force_login(Member.objects.get(), backend="django.contrib.auth.backends.ModelBackend")
    assert "4 prongs" in again.get(page).content.decode(), "it is the shop's, not the browser's"
    assert "we mend each claw" in again.get("/shop/").content.decode()
    entry = ledger.history("shop", "shop described").last()
    assert entry is not None and entry.payload.data["language"] == "en-us"
    assert check_shop() == ()
    refused = browser.post("/shop/", {**shop, "language": "en-au"})
    assert refused.status_code == 422 and Shop.objects.get().language == "en-us"
    browser.post("/shop/", {**shop, "language": "en-gb"})
    assert "4 claws" in browser.get(page).content.decode()


def test_dates_and_numbers_are_written_and_read_alike() -> None:
    for name in ("DATE_FORMAT", "DATETIME_FORMAT", "TIME_FORMAT", "DATE_INPUT_FORMATS", "DECIMAL_SEPARATOR"):
        assert formats.get_format(name, lang="en-us") == formats.get_format(name, lang="en-gb"), name


def test_the_compiled_words_are_those_of_their_source() -> None:
    made = compile_catalogue(read_catalogue(PO))
    assert PO.with_suffix(".mo").read_bytes() == made, "run python -m scripts.compile_words"


@pytest.mark.parametrize("bad", ['msgid "a"\nmsgstr ""', 'msgid "a"\nmsgstr "b"\n\nmsgid "a"\nmsgstr "c"', "msgctxt x"])
def test_a_catalogue_that_says_nothing_or_twice_is_refused(bad: str, tmp_path: Path) -> None:
    (tmp_path / "django.po").write_text(bad, encoding="utf-8")
    with pytest.raises(BadCatalogue, match=r"django\.po"):
        read_catalogue(tmp_path / "django.po")


# Sentences with such a word that no page and no paper shows: they speak of the record's field `colour`, of the kind of
# a log entry, or to whoever calls the rooms from the command line.
NOT_SHOWN = {
    "claws measured", "test strength colour result instrument unusable", "strength and colour for an ultraviolet lamp",
    "no colour where there is no glow", ".colour is ", "grey picture", " is not in the table of coloured stones",
    "the trade's table of coloured stones",
}  # fmt: skip


def strings(module: Path) -> Iterator[str]:
    """The string literals of a module that are no docstrings."""
    tree = ast.parse(module.read_text(encoding="utf-8"))
    alone = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in alone:
            yield node.value


def test_every_sentence_of_ours_has_its_other_words() -> None:
    """Over pages that the walk does not reach: refusals, cautions, what only a failed check says."""
    known, demo_typed = read_catalogue(PO), SOURCE / "shop" / "site" / "story.py"
    left = []
    for room in ("shop", "evidence", "gem", "imaging", "metrology", "paper"):
        said = [text for path in (SOURCE / room).rglob("*.py") if path != demo_typed for text in strings(path)]
        for path in (SOURCE / room).rglob("*.toml"):
            said += re.findall(r'"([^"]*)"', path.read_text(encoding="utf-8"))
        marked = known if room == "shop" else {}
        left += [
            (room, text)
            for text in said
            if UK.search(text)
            and " " in text
            and not (text in marked or text in NOT_SHOWN or any(one in text for one in wording.SAID_ELSEWHERE))
        ]
    assert not left


def test_every_template_marks_what_differs() -> None:
    left = []
    for path in (SOURCE / "shop").rglob("*.html"):
        plain = re.sub(r"\{%.*?%\}|\{\{.*?\}\}|\{#.*?#\}", "", path.read_text(encoding="utf-8"))
        left += [(path.name, said) for said in Page(plain).says if UK.search(said)]
    assert not left


def test_no_script_says_a_word_that_differs() -> None:
    for path in (*(SOURCE / "shop" / "static" / "js").glob("*.js"), *(SOURCE / "custody" / "check").glob("*.js")):
        quoted = re.findall(r'"([^"\n]* [^"\n]*)"|`([^`\n]* [^`\n]*)`', path.read_text(encoding="utf-8"))
        assert not [text for pair in quoted for text in pair if UK.search(text)], path.name


def test_every_entry_is_used_and_exchanges_these_words_only() -> None:
    files = [*(SOURCE / "shop").rglob("*.py"), *(SOURCE / "shop").rglob("*.html")]
    source = "\n".join(path.read_text(encoding="utf-8") for path in files)
    for text, other in read_catalogue(PO).items():
        if text:
            assert f'"{text}"' in source, f"nothing says {text!r}"
            assert other in (exchanged(text), exchanged(text).replace("Tick", "Check")), text


def test_the_page_in_the_packet_says_no_word_that_differs() -> None:
    """It is one and the same in every packet, and its bytes are checked."""
    (path,) = (SOURCE / "custody" / "check").glob("*.html")
    assert not [said for said in Page(path.read_text(encoding="utf-8")).says if UK.search(said)]
