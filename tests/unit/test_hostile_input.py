"""Input that no form would send: the command line names it and ends with status 2, never with a traceback."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import pytest
from tests.unit.evidence_record import RECORD

from samestone.cli import main

REPEATS = "stone,sitting,property,indication\n" + "".join(
    f"{stone},{sitting},depth_mm,4.0{reading}\n" for stone in (1, 2) for sitting in (1, 2) for reading in (0, 1)
)


def refused(argv: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    assert main(argv) == 2
    return capsys.readouterr().err


@pytest.mark.parametrize("figure", ["nan", "inf", "1e400", "-1", "0", "٦", "0_1", ""])
def test_a_stated_u_is_a_number_above_0(figure: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "repeats.csv"
    file.write_text(REPEATS, encoding="utf-8")
    said = refused(["repeatability", str(file), "--json", "--stated", f"gauge={figure}"], capsys)
    assert repr(figure) in said
    assert "gauge=0.010" in said


@pytest.mark.parametrize("value", ["٣.٥٢", "3_52", "nan", "1e400", 10**400, [], None, True])
def test_a_reaction_is_a_plain_number(value: object, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "reactions.json"
    reaction = {"test": "specific_gravity", "value": value, "u": "0.02"}
    file.write_text(json.dumps({"format": "samestone-reactions/1", "reactions": [reaction]}), encoding="utf-8")
    said = refused(["material", str(file)], capsys)
    assert ("reactions[0].value" in said and "expected a number from 1 to 8" in said) or "4300 digits" in said


def test_a_cell_is_a_plain_number(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for cell in ("٤.٠", "4_0", "4,0", "inf", ""):
        file = tmp_path / "repeats.csv"
        file.write_text(f'stone,property,indication\n1,depth_mm,4.0\n1,depth_mm,"{cell}"\n', encoding="utf-8")
        assert "line 3: indication is" in refused(["repeatability", str(file)], capsys)


PACKET = str(Path(__file__).parents[1] / "packets" / "good-1.zip")


@pytest.mark.parametrize(
    "text",
    [
        "{" * 100_000,
        '{"number": ' + "9" * 5000 + "}",
        '{"format": "samestone-receipt/1", "number": NaN}',
        f"SAMESTONE1/{'9' * 5000}/{'A' * 64}/5/{'A' * 64}/2026-03-02T09:30:00Z/{'A' * 64}",
        f"SAMESTONE1/٤/{'A' * 64}/٥/{'A' * 64}/2026-03-02T09:30:00Z/{'A' * 64}",
    ],
    ids=["nested", "long number", "nan", "long entry number", "other digits"],
)
def test_no_receipt(text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "receipt.json"
    file.write_text(text, encoding="utf-8")
    assert "--receipt" in refused(["verify", PACKET, "--receipt", str(file)], capsys)


def written(text: str, place: Path) -> str:
    file = place / "record.json"
    file.write_text(text, encoding="utf-8")
    return str(file)


GOOD = json.dumps(RECORD)
RECORDS = {
    "nested": ("[" * 100_000, "nested"),
    "no object": ("[]", "the record: found []"),
    "a key twice": (GOOD[:-1] + ', "readings": []}', "readings: found this key twice"),
    "a number": (GOOD.replace('"6.47"', "NaN", 1), "readings[0].indications[0]: found the JSON number nan, expected a"),
    "beyond numbers": (GOOD.replace('"6.47"', "1e400", 1), 'such as "6.47"'),
    "no property": (GOOD.replace('"property": "depth_mm"', '"property": {}'), "readings[2].property: found {}"),
    "no note": (GOOD[:-1] + ', "note": 5}', "note: found 5, expected text"),
    "no material": (
        GOOD.replace('"setting": "loose"', '"setting": "loose", "material": []'),
        "stone.material: found []",
    ),
}


@pytest.mark.parametrize("name", RECORDS)
@pytest.mark.parametrize("command", [["compare", "RECORD", "RECORD"], ["next", "RECORD"]], ids=["compare", "next"])
def test_no_record(command: list[str], name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text, expected = RECORDS[name]
    file = written(text, tmp_path)
    said = refused([file if word == "RECORD" else word for word in command], capsys)
    assert file in said
    assert expected in said or (name == "nested" and "recursion" in said)


def test_a_bad_line_does_not_stop_a_stream(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bad = GOOD.replace('"property": "depth_mm"', '"property": {}')
    twice = GOOD.replace('"setting": "loose"', '"setting": "loose", "setting": "set"')
    lines = [f'{{"a": {GOOD}, "b": {second}}}' for second in (bad, twice, GOOD)]
    lines.insert(2, f'{{"a": {GOOD}, "b": {GOOD}, "b": {GOOD}}}')
    assert main(["compare", "--batch", written("\n".join(lines), tmp_path)]) == 2
    *refusals, last = (json.loads(line) for line in capsys.readouterr().out.splitlines())
    errors = [line["error"] for line in refusals]
    assert [(error["line"], error["field"]) for error in errors] == [
        (1, "b.readings[2].property"), (2, "setting"), (3, "b"),
    ]  # fmt: skip
    assert errors[2]["message"] == (
        "b: found this key twice in one object, expected each key once; keep the one that holds"
    )
    assert last["ladder"] == "agrees_some_unchecked"


@pytest.mark.parametrize(
    "command", [["search", "GOOD", "--among", "BAD"], ["material", "BAD"], ["photo", "compare", "--batch", "BAD"]]
)
def test_a_key_that_stands_twice_is_refused_everywhere(
    command: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    good, bad = tmp_path / "good.json", tmp_path / "bad.jsonl"
    good.write_text(GOOD, encoding="utf-8")
    bad.write_text('{"setting": "loose", "setting": "set"}', encoding="utf-8")
    assert main([str({"GOOD": good, "BAD": bad}.get(word, word)) for word in command]) == 2
    told = capsys.readouterr()
    assert "setting: found this key twice in one object, expected each key once" in told.out + told.err


def test_a_mark_stands_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    mark = {"kind": "crystal", "r": "0.3", "angle_deg": "10"}
    text = json.dumps({**RECORD, "characteristics": [mark, mark]})
    assert "the same mark a second time" in refused(["next", written(text, tmp_path)], capsys)


def test_a_zip_that_swells_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "packet.zip"
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("packet/data/x", bytes(70 << 20))
    assert "20 times its size" in refused(["verify", str(file)], capsys)


def test_verify_says_which_doubts_are_left(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["verify", PACKET]) == 0
    said = capsys.readouterr().out
    assert "No receipt was given" in said
    assert "No key was given" in said


@pytest.mark.parametrize("text", ["null", "[]", "{", "[" * 100_000, '{"format": "samestone-photo-calibration/1"}'])
def test_no_calibration(text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    calibration = written(text, tmp_path)
    assert "calibrate-photos" in refused(["photo", "compare", "a", "b", "--calibration", calibration], capsys)


def test_no_pairs_of_photographs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = ["[" * 100_000, '{"a": "x\\u0000", "b": "y"}', "null", '{"a": "nowhere.jpg", "b": "nowhere.jpg"}']
    assert main(["photo", "compare", "--batch", written("\n".join(lines), tmp_path)]) == 2
    results = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [bool(result["error"]) and not result["usable"] for result in results] == [True] * 4
    file = tmp_path / "binary.jsonl"
    file.write_bytes(b"\xff\xfe\x00")
    assert "not UTF-8" in refused(["photo", "compare", "--batch", str(file)], capsys)
