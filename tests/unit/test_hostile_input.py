"""Input that no form would send: the command line names it and ends with status 2, never with a traceback."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

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
