"""`samestone replay`: the verdict in a packet is recomputed from its two examinations, to the same printed digits."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from typing import Any

import pytest
from tests.packets import worked_example

from samestone import cli, evidence
from samestone.cli.statement_replay import statement_says
from samestone.custody import canonical, packet


def examination(weight: str, diameters: tuple[str, str], depth: str) -> dict[str, Any]:
    values = {"weight_ct": weight, "diameter_min_mm": diameters[0], "diameter_max_mm": diameters[1], "depth_mm": depth}
    return {
        "format": "samestone-examination/1",
        "stone": {"cut": "round brilliant", "setting": "loose"},
        "instruments": [
            {"name": "gauge", "kind": "gauge", "unit": "mm", "resolution": "0.01", "u": "0.010"},
            {"name": "scale", "kind": "scale", "unit": "ct", "resolution": "0.001", "u": "0.001"},
        ],
        "readings": [
            {"property": name, "indications": [value] * 3, "instrument": "scale" if name == "weight_ct" else "gauge"}
            for name, value in values.items()
        ],
    }


def judged(change: str = "", weight: str = "1.011") -> dict[str, Any]:
    """Two examinations and the verdict computed from them, or computed and then touched up."""
    before, after = (
        examination("1.012", ("6.46", "6.49"), "3.98"),
        examination(weight, ("6.46", "6.48"), "3.99"),
    )
    read = [evidence.read_examination(item) for item in (before, after)]
    verdict = evidence.compare(read[0], read[1], population=evidence.load_population()).as_json()
    frozen = canonical.decimal_strings(verdict)
    if change:
        frozen["log10_lr"]["random"]["value"] = change
    return {"examinations": {"take_in": before, "pick_up": after}, "verdict": frozen}


def packet_with(change: str = "") -> bytes:
    """A packet of format 1 with one stone, logged and signed as it is."""
    return packet_of({**worked_example.RECORD, **judged(change)})


def packet_of(record: dict[str, Any]) -> bytes:
    log, _, content = worked_example.worked_job()
    log.append("sealed", content.subject, {"record": worked_example.digest_of(canonical.canonical_bytes(record))})
    logged = dataclasses.replace(
        content,
        record=record,
        statement=worked_example.statement_with(canonical.canonical_bytes(record)),
        digests=log.digests,
        entries=[*content.entries, log.logged[-1]],
    )
    return packet.build_packet(logged, key=worked_example.shop_key())


def test_the_same_digits_come_out(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = tmp_path / "packet.zip"
    place.write_bytes(packet_with())
    assert cli.main(["replay", str(place)]) == 0
    assert "digit for digit" in capsys.readouterr().out
    assert cli.main(["verify", str(place)]) == 0


def test_a_verdict_that_was_touched_up_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = tmp_path / "packet.zip"
    place.write_bytes(packet_with("9.99"))
    assert cli.main(["verify", str(place)]) == 0, "sealed and signed as it is: only recomputing tells"
    capsys.readouterr()
    assert cli.main(["replay", str(place), "--json"]) == 1
    result = json.loads(capsys.readouterr().out)
    assert [item["where"] for item in result["differences"]] == ["verdict.log10_lr.random.value"]
    assert result["differences"][0]["recorded"] == "9.99"


def test_every_stone_of_a_packet_is_replayed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    left, right = {"name": "left", **judged()}, {"name": "right", **judged("9.99")}
    record = {"format": "samestone-packet/2", "stones": [left, left]}
    place = tmp_path / "packet.zip"
    place.write_bytes(packet_of(record))
    assert cli.main(["replay", str(place)]) == 0
    assert "verdicts on 2 stones come out the same" in capsys.readouterr().out
    place.write_bytes(packet_of({**record, "stones": [left, right]}))
    assert cli.main(["replay", str(place)]) == 1
    assert "stones[1].verdict.log10_lr.random.value: recorded 9.99" in capsys.readouterr().out


def test_a_packet_without_a_stone_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = tmp_path / "packet.zip"
    place.write_bytes(packet_of({"format": "samestone-packet/2", "stones": []}))
    assert cli.main(["replay", str(place)]) == 2
    assert "no stone in stones" in capsys.readouterr().err


def test_a_record_that_cannot_be_read_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = tmp_path / "packet.zip"
    place.write_bytes(packet_of({"format": "samestone-packet/1", "verdict": {}}))
    assert cli.main(["replay", str(place)]) == 2
    assert "examinations.take_in" in capsys.readouterr().err


def test_a_statement_whose_catalog_is_nowhere_is_the_answer_no() -> None:
    files = dict(packet.read_packet(packet_with()).files)
    files["data/statement.pdf"] = files["data/statement.pdf"].replace(b"/Root 1 0 R", b"/Root 9 0 R")
    holds, says = statement_says(packet.Packet(files))
    assert holds is False and "no PDF that can be read" in says
