"""The commands of this desk: material, weight, gauge-study, repeatability."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from samestone.cli import main

STUDY = Path(__file__).parents[2] / "authorities" / "gauge-study-aiag.csv"


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    status = main(arguments)
    said = capsys.readouterr()
    return status, said.out, said.err


def as_json(capsys: pytest.CaptureFixture[str], *arguments: str) -> Any:
    status, out, err = run(capsys, *arguments, "--json")
    assert status == 0, err
    return json.loads(out)


def test_weight_of_a_round(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    picture = tmp_path / "stone.svg"
    found = as_json(
        capsys, "weight", "--cut", "round", "--diameters", "6.67", "6.71", "--depth", "4.10", "--picture", str(picture)
    )
    assert found["low_ct"] <= 1.149 <= found["high_ct"]
    assert found["solid"]["weight_ct"] == pytest.approx(found["weight_ct"], rel=0.02)
    assert picture.read_text(encoding="utf-8").startswith("<svg")


def test_a_loose_weight_that_disagrees_is_answered_with_1(capsys: pytest.CaptureFixture[str]) -> None:
    size = ("weight", "--cut", "round", "--diameters", "6.71", "6.67", "--depth", "4.10", "--weighed")
    assert run(capsys, *size, "1.149")[0] == 0
    status, out, _ = run(capsys, *size, "1.90")
    assert status == 1
    assert "disagrees" in out


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ("--cut round --diameters 6.71 6.67 --depth -4.1", "depth_mm"),
        ("--cut round --diameters 0.264 0.262 --depth 0.161", "inch"),
        ("--cut round --diameters 6.71 6.67 --depth 4.1 --weighed 1149", "decimal point"),
        ("--cut round --diameters 6.71 6.67 --depth 4.1 --table 104", "wider than the girdle"),
        ("--cut round --diameters 6.71 6.67 --depth nan", "depth_mm"),
        ("--cut oval --length 5 --width 8 --depth 3", "swap"),
        ("--cut oval --length 8 --depth 3", "--width"),
        ("--cut blob --length 8 --width 5 --depth 3", "blob"),
        ("--cut heart --length 6 --width 6 --depth 3.5 --picture /x.svg", "no solid"),
        ("--cut round --diameters 6.71 6.67 --depth 4.1 --sg 35", "--sg"),
    ],
)
def test_weight_refuses(capsys: pytest.CaptureFixture[str], arguments: str, said: str) -> None:
    status, _, err = run(capsys, "weight", *arguments.split())
    assert status == 2
    assert said in err


def write(tmp_path: Path, value: object) -> str:
    path = tmp_path / "reactions.json"
    path.write_text(value if isinstance(value, str) else json.dumps(value), encoding="utf-8")
    return str(path)


def test_material_reads_its_own_format_and_a_record(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    reactions = [{"test": "thermal_probe", "result": "diamond"}]
    for record in (
        {"format": "samestone-reactions/1", "setting": "set", "reactions": reactions},
        {"format": "samestone-examination/1", "stone": {"cut": "oval", "setting": "set"}, "reactions": reactions},
    ):
        found = as_json(capsys, "material", write(tmp_path, record))
        assert [m["material"] for m in found["remaining"]] == ["diamond", "moissanite"]
        assert len(found["excluded"]) == 12
        assert all(entry["because"][0]["source"] for entry in found["excluded"])
        assert [test["test"] for test in found["next"]] == ["doubling"]


def test_material_says_when_nothing_remains(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    record = {
        "reactions": [
            {"test": "thermal_probe", "result": "diamond"},
            {"test": "refractive_index", "value": "1.55"},
        ]
    }
    status, out, _ = run(capsys, "material", write(tmp_path, record))
    assert status == 1
    assert "Nothing on the list" in out


@pytest.mark.parametrize(
    ("record", "said"),
    [
        ("[1, 2]", "expected a JSON object"),
        ("{", "JSON"),
        ("[" * 100_000, "nested"),
        ('{"reactions": [{"test": "refractive_index", "value": NaN}]}', "NaN"),
        ({"reactions": {}}, "expected a list"),
        ({"reactions": [], "seting": "set"}, "seting"),
        ({"reactions": [], "setting": "glued"}, "glued"),
        ({"format": "other/1", "reactions": []}, "other/1"),
        ({"reactions": [7]}, "reactions[0]"),
    ],
)
def test_material_refuses(capsys: pytest.CaptureFixture[str], tmp_path: Path, record: object, said: str) -> None:
    status, _, err = run(capsys, "material", write(tmp_path, record))
    assert status == 2
    assert said in err


def test_gauge_study(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    picture = tmp_path / "study.svg"
    found = as_json(capsys, "gauge-study", str(STUDY), "--plot", str(picture))
    assert found["analysis_of_variance"]["percent_grr"] == pytest.approx(27.86, abs=0.005)  # AIAG
    assert found["instrument"]["dof"] == "78"
    assert found["instrument"]["resolution"] == "0.01"
    assert "<circle" in picture.read_text(encoding="utf-8")
    assert "marginal" in run(capsys, "gauge-study", str(STUDY))[1]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("part,person,value\n1,A,6.4\n", "appraiser"),
        ("part,appraiser,value\n", "no line"),
        ("part,appraiser,value\n1,A,\n", "line 2: value is empty"),
        ('part,appraiser,value\n1,A,"6,41"\n', "6,41"),
        ("part,appraiser,value\n1,A,6.4\n1,A,6.5\n2,A,6.6\n", "part 2, A"),
    ],
)
def test_gauge_study_refuses(capsys: pytest.CaptureFixture[str], tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "study.csv"
    path.write_text(text, encoding="utf-8")
    status, _, err = run(capsys, "gauge-study", str(path))
    assert status == 2
    assert said in err


def repeats_file(tmp_path: Path, step: float = 0.01) -> str:
    """Twelve stones, two sittings, three indications that run -step, 0, +step around the stone's size."""
    lines = ["stone,sitting,property,indication"]
    for stone in range(12):
        for sitting in ("a", "b"):
            for n in (-1, 0, 1):
                lines.append(f"{stone},{sitting},depth_mm,{4 + stone / 10 + n * step:.3f}")
    path = tmp_path / "repeats.csv"
    path.write_text("\n".join(lines), encoding="utf-8")
    return str(path)


def test_repeatability_becomes_an_instruments_block(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    found = as_json(capsys, "repeatability", repeats_file(tmp_path))
    (block,) = found["instruments"]
    # s = 0.01 within a sitting on 48 degrees of freedom; without the display's 0.01/sqrt(12) that is 0.00957.
    assert block == {
        "name": "gauge", "kind": "gauge", "unit": "mm", "resolution": "0.01", "u": "0.0096", "u_common": "0",
        "dof": "48",
    }  # fmt: skip


def test_the_block_is_accepted_in_a_record(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    from samestone import evidence

    (block,) = as_json(capsys, "repeatability", repeats_file(tmp_path))["instruments"]
    record = {
        "format": "samestone-examination/1",
        "stone": {"cut": "round brilliant", "setting": "loose"},
        "instruments": [block],
        "readings": [{"property": "depth_mm", "indications": ["4.10"], "instrument": "gauge"}],
    }
    assert evidence.read_examination(record).readings["depth_mm"].unusable == ""


def test_a_stated_u_that_is_too_small_is_answered_with_1(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = repeats_file(tmp_path)
    assert run(capsys, "repeatability", path, "--stated", "gauge=0.010")[0] == 0
    status, out, _ = run(capsys, "repeatability", path, "--stated", "depth_mm=0.004")
    assert status == 1
    assert "TOO SMALL" in out


def test_repeatability_refuses(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = repeats_file(tmp_path)
    for stated in ("scale=0.1", "gauge=thin"):
        assert run(capsys, "repeatability", path, "--stated", stated)[0] == 2
    inches = tmp_path / "inches.csv"
    inches.write_text("stone,property,indication\n1,depth_mm,0.161\n1,depth_mm,0.162\n", encoding="utf-8")
    status, _, err = run(capsys, "repeatability", str(inches))
    assert status == 2
    assert "inches" in err and "line 2" in err
