"""`samestone replay` works the picture line out again from a packet's own pictures, and notices what was changed."""

from __future__ import annotations

import copy
import dataclasses
import hashlib
import io
import json
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from tests.packets import worked_example
from tests.packets.test_packet_replay import judged

from samestone import cli, evidence, imaging
from samestone.custody import canonical, packet

LOOK_ALIKE = "lookalike"
Unpacked = dict[str, bytes]


def picture(name: str) -> bytes:
    """One of the simulated pictures that come with the program."""
    return (files("samestone.simulate") / "pictures" / f"{name}.jpg").read_bytes()


def digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def line_of(before: bytes, now: bytes, **how: Any) -> dict[str, Any]:
    compared = imaging.compare_photos(imaging.open_photo(before), imaging.open_photo(now))
    line: dict[str, Any] = canonical.decimal_strings(evidence.photographs.picture_line(compared, **how))
    return line


def record_with(line: dict[str, Any] | None, pictures: dict[str, bytes]) -> dict[str, Any]:
    listed = [{"name": name, "caption": name, "sha256": digest(content)} for name, content in pictures.items()]
    stone = {"name": "centre", **judged(), **({} if line is None else {"pictures": line})}
    return {"format": "samestone-packet/2", "simulated": True, "stones": [stone], "photographs": listed}


def packed(line: dict[str, Any] | None, pictures: dict[str, bytes]) -> Unpacked:
    """The files of a sound packet, its pictures and its verdict in the log."""
    record = record_with(line, pictures)
    log, _, content = worked_example.worked_job()
    stone = record["stones"][0]
    named = {"photographs": [digest(data) for data in pictures.values()]}
    log.append("pictures kept", content.subject, named)
    reached = {"verdict": stone["verdict"], "pictures": {} if line is None else {"line": line}}
    log.append("verdict reached", content.subject, reached)
    log.append("sealed", content.subject, {"record": digest(canonical.canonical_bytes(record))})
    entries = [*content.entries, *log.logged[-3:]]
    logged = dataclasses.replace(
        content,
        record=record,
        statement=worked_example.statement_with(canonical.canonical_bytes(record)),
        photographs=pictures,
        digests=log.digests,
        entries=entries,
        receipts=[],
    )
    return dict(packet.read_packet(packet.build_packet(logged, key=worked_example.shop_key())).files)


@pytest.fixture(scope="module")
def pictures() -> dict[str, bytes]:
    return {"take-in-1-face-up.jpg": picture("cleaned"), "pick-up-1-face-up.jpg": picture("pickup")}


@pytest.fixture(scope="module")
def line(pictures: dict[str, bytes]) -> dict[str, Any]:
    return line_of(*pictures.values())


@pytest.fixture(scope="module")
def sound(line: dict[str, Any], pictures: dict[str, bytes]) -> Unpacked:
    return packed(line, pictures)


def unpacked(place: Path, content: Unpacked) -> str:
    """A folder with these files: what someone has who unpacked the zip, and may have changed something in it."""
    for name, data in content.items():
        (place / name).parent.mkdir(parents=True, exist_ok=True)
        (place / name).write_bytes(data)
    return str(place)


def changed(content: Unpacked, **fields: Any) -> Unpacked:
    """The same packet with fields of the picture line set otherwise, in the record alone."""
    record = json.loads(content["data/record.json"])
    line = record["stones"][0]["pictures"]
    line |= fields
    record["stones"][0]["pictures"] = {key: value for key, value in line.items() if value is not None}
    return {**content, "data/record.json": canonical.canonical_bytes(record)}


def replay(place: str, capsys: pytest.CaptureFixture[str]) -> tuple[int, dict[str, Any]]:
    capsys.readouterr()
    status = cli.main(["replay", place, "--json"])
    return status, json.loads(capsys.readouterr().out)


def test_a_line_holds_all_that_is_needed(line: dict[str, Any], pictures: dict[str, bytes]) -> None:
    before, now = pictures.values()
    assert (line["before"], line["now"]) == (digest(before), digest(now))
    assert line["method"] == imaging.PhotoComparison.method
    table = evidence.photographs.read_calibration(line["calibration"]["table"])
    assert table == evidence.photographs.shipped_calibration(), "exact to the last digit of every weight"
    assert digest(line["calibration"]["table"].encode()) == line["calibration"]["sha256"]
    value, lower, upper = (float(line["log10_lr"][key]) for key in ("value", "lower", "upper"))
    assert lower <= value <= upper
    canonical.canonical_bytes(line)


def test_the_same_digits_come_out(sound: Unpacked, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["replay", unpacked(tmp_path, sound)]) == 0
    said = capsys.readouterr().out
    assert (
        "picture line on centre comes out the same, digit for digit, from take-in-1-face-up.jpg and pick-up-1" in said
    )
    (row,) = [row.split() for row in said.splitlines() if "log10 LR" in row]
    assert row[2] == row[3] and float(row[2]) > 1
    assert "The log holds what the record says" in said
    assert cli.main(["verify", str(tmp_path)]) == 0


def test_a_flipped_digit_is_named(
    sound: Unpacked, line: dict[str, Any], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    flipped = changed(sound, log10_lr={**line["log10_lr"], "value": "1.08"}, agree=line["agree"] + 1)
    status, found = replay(unpacked(tmp_path, flipped), capsys)
    assert status == 1 and not found["same"]
    assert {item["where"]: item["recorded"] for item in found["differences"]} == {
        "stones[0].pictures.agree": line["agree"] + 1,
        "stones[0].pictures.log10_lr.value": "1.08",
    }
    assert found["not_in_log"] == ["centre"]
    assert cli.main(["replay", str(tmp_path)]) == 1
    said = capsys.readouterr().out
    assert "✗ log10 LR" in said and "✗ features in both" in said
    assert "The log knows no verdict as the record has it on: centre" in said


def test_one_in_the_last_digit_is_another_digit_and_explained(
    sound: Unpacked, line: dict[str, Any], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    value = f"{float(line['log10_lr']['value']) - 0.01:.2f}".rstrip("0")
    near = changed(sound, log10_lr={**line["log10_lr"], "value": value}, absent=line["absent"] + 1)
    assert cli.main(["replay", unpacked(tmp_path / "near", near)]) == 1
    assert "Apart by one in the last digit only" in capsys.readouterr().out
    far = changed(sound, absent=line["absent"] + 2)
    assert cli.main(["replay", unpacked(tmp_path / "far", far)]) == 1
    assert "last digit" not in capsys.readouterr().out


def test_a_flipped_digit_that_was_logged_and_signed_is_named(
    line: dict[str, Any], pictures: dict[str, bytes], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    touched_up = {**copy.deepcopy(line), "absent": 0}
    place = unpacked(tmp_path, packed(touched_up, pictures))
    assert cli.main(["verify", place]) == 0, "sealed and signed as it is: only working it out again tells"
    status, found = replay(place, capsys)
    assert (status, found["not_in_log"]) == (1, [])
    assert [item["where"] for item in found["differences"]] == ["stones[0].pictures.absent"]


def test_a_swapped_picture_is_noticed(sound: Unpacked, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    swapped = {**sound, "data/photographs/pick-up-1-face-up.jpg": picture(LOOK_ALIKE)}
    status, found = replay(unpacked(tmp_path, swapped), capsys)
    assert status == 1
    [one] = found["stones"]
    assert one["pictures"]["status"] == "not possible" and one["pictures"]["recomputed"] is None
    assert "pick-up-1-face-up.jpg is another picture than the new one" in one["pictures"]["why"]


def test_a_picture_swapped_in_the_record_too_gives_other_digits(
    line: dict[str, Any], pictures: dict[str, bytes], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = {**pictures, "pick-up-1-face-up.jpg": picture(LOOK_ALIKE)}
    place = unpacked(tmp_path, packed({**line, "now": digest(picture(LOOK_ALIKE))}, other))
    status, found = replay(place, capsys)
    assert status == 1
    assert float(found["stones"][0]["pictures"]["recomputed"]["log10_lr"]["value"]) < -1
    assert "stones[0].pictures.speaks" in {item["where"] for item in found["differences"]}


def test_a_missing_picture_is_named(sound: Unpacked, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    left = {name: data for name, data in sound.items() if not name.endswith("take-in-1-face-up.jpg")}
    status, found = replay(unpacked(tmp_path, left), capsys)
    assert status == 1
    assert "take-in-1-face-up.jpg is not in the packet" in found["stones"][0]["pictures"]["why"]
    _, found = replay(unpacked(tmp_path / "unnamed", changed(sound, now="0" * 64)), capsys)
    assert "the new picture (SHA-256 000000000000…) is not in the packet" in found["stones"][0]["pictures"]["why"]


def test_another_version_of_the_method_is_said_plainly(
    sound: Unpacked, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["replay", unpacked(tmp_path, changed(sound, method="samestone-photo/1"))]) == 1
    said = capsys.readouterr().out
    assert f"made by samestone-photo/1; this program works by {imaging.PhotoComparison.method}" in said
    assert "log10 LR" in said, "both sides are shown all the same"


def test_a_calibration_of_the_shop_s_own_travels_with_the_packet(
    pictures: dict[str, bytes], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = copy.deepcopy(evidence.photographs.shipped_calibration())
    table["source"], table["guided"]["stones"] = "the shop's own 30 repeat pairs", 30
    own = line_of(*pictures.values(), calibration=table)
    assert own["log10_lr"]["upper"] == "1.47"
    content = packed(own, pictures)
    assert cli.main(["replay", unpacked(tmp_path / "own", content)]) == 0
    assert "the packet's own, not the one of this program: the shop's own 30 repeat pairs" in capsys.readouterr().out
    text = own["calibration"]["table"].replace('"stones":30', '"stones":60')
    calibration = {**own["calibration"], "table": text}
    status, found = replay(unpacked(tmp_path / "made up", changed(content, calibration=calibration)), capsys)
    assert status == 1
    assert "stones[0].pictures.calibration.sha256" in {item["where"] for item in found["differences"]}
    broken = {**own["calibration"], "table": "{}"}
    _, found = replay(unpacked(tmp_path / "broken", changed(content, calibration=broken)), capsys)
    assert "its calibration: found format None" in found["stones"][0]["pictures"]["why"]


def test_a_refusal_comes_out_the_same(
    pictures: dict[str, bytes], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = io.BytesIO()
    Image.open(io.BytesIO(picture("cleaned"))).save(out, "JPEG", quality=75)
    pair = {"take-in-1-face-up.jpg": picture("cleaned"), "pick-up-1-face-up.jpg": out.getvalue()}
    refused = line_of(*pair.values())
    assert "saved again" in refused["why_not"] and "log10_lr" not in refused
    content = packed(refused, pair)
    assert cli.main(["replay", unpacked(tmp_path / "same", content)]) == 0
    assert "not compared, again: One picture is the other one saved again" in capsys.readouterr().out
    status, _ = replay(unpacked(tmp_path / "other", changed(content, why_not="The lamp was off.")), capsys)
    assert status == 1


def test_a_picture_in_doubt_gives_no_number_again(
    pictures: dict[str, bytes], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    doubted = line_of(*pictures.values(), doubt="The new picture is in doubt: the microscope failed its check.")
    assert "log10_lr" not in doubted
    assert cli.main(["replay", unpacked(tmp_path, packed(doubted, pictures))]) == 0
    assert "the shop's word: its instruments are not in the packet" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("told", "status", "says"),
    [
        (None, 0, "no picture line"),
        ({"protocol": "guided", "why_not": "dark"}, 1, "recorded by an earlier version"),
        ({"method": "samestone-photo/2", "before": 7, "now": ""}, 1, "before is missing from it, or no text"),
        ([], 1, "found list"),
    ],
    ids=["none", "earlier version", "no digest", "no object"],
)
def test_what_cannot_be_worked_out_is_said(
    told: Any, status: int, says: str, sound: Unpacked, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    record = json.loads(sound["data/record.json"])
    record["stones"][0]["pictures"] = told
    if told is None:
        del record["stones"][0]["pictures"]
    content = {**sound, "data/record.json": canonical.canonical_bytes(record)}
    _, found = replay(unpacked(tmp_path, content), capsys)
    assert says in found["stones"][0]["pictures"]["why"]
    assert found["stones"][0]["pictures"]["status"] == ("not recorded" if status == 0 else "not possible")
    assert found["not_in_log"] == ["centre"], "the log still tells that there was a line, and what it said"


def test_a_packet_of_an_earlier_version_without_pictures_still_replays(
    pictures: dict[str, bytes], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["replay", unpacked(tmp_path, packed(None, pictures))]) == 0
    assert "○ The record holds no picture line on centre" in capsys.readouterr().out


def test_a_statement_printed_from_another_record_is_the_answer_no(
    pictures: dict[str, bytes], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = {**packed(None, pictures), "data/statement.pdf": worked_example.statement_with(b"{}")}
    status, found = replay(unpacked(tmp_path, other), capsys)
    assert status == 1 and not found["same"]
    assert (found["differences"], found["not_in_log"], found["statement"]["holds"]) == ([], [], False)
