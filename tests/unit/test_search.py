"""The index of stones, and the search for a stray one."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.spatial import cKDTree
from tests.unit.evidence_record import changed, drop, indicate

from samestone import cli, evidence
from samestone.cli.compiling import SAID
from samestone.evidence.grid import FEW, GATE, STEPS, Grid, Lens
from samestone.evidence.observable import Array

ALL = (0, 1, 2, 3, 4)
S = 2 * np.diag(np.square([0.001, 0.01, 0.01, 0.01, 0.5]))


def stones(n: int, seed: int = 1) -> Array:
    rng = np.random.default_rng(seed)
    known = evidence.load_population().values
    drawn = known[rng.integers(len(known), size=n)] * np.exp(rng.normal(0, 0.003, (n, 5)))
    drawn[:, 1:3].sort(axis=1)
    return np.rint(drawn / STEPS) * STEPS


@pytest.mark.parametrize("columns", [ALL, (0, 1, 2), (1, 2, 3), (3, 4), (1,)])
def test_the_grid_finds_what_a_tree_finds(columns: tuple[int, ...]) -> None:
    """scipy's k-d tree on whitened values."""
    at = list(columns)
    values = stones(FEW + 12_000)[:, at]
    grid = Grid(columns)
    grid.add(values[: FEW + 11_500], np.arange(FEW + 11_500, dtype=np.int32))
    grid.add(values[FEW + 11_500 :], np.arange(FEW + 11_500, len(values), dtype=np.int32))
    assert grid.sorted_ < grid.count  # a tail that is not sorted is read too
    lens = Lens.of(columns, S[np.ix_(at, at)])
    whitener = np.linalg.inv(np.linalg.cholesky(S[np.ix_(at, at)]))
    tree = cKDTree(values @ whitener.T)
    for point in values[:30] + np.random.default_rng(2).normal(0, 1, (30, len(at))) * np.sqrt(np.diag(S)[at]):
        reach = np.sqrt(GATE) + lens.blur
        names, _ = grid.near(point, lens)
        assert set(tree.query_ball_point(whitener @ point, reach - 0.01)) <= set(names.tolist())
        assert set(names.tolist()) <= set(tree.query_ball_point(whitener @ point, reach + 0.01))
        nearest = grid.nearest(point, lens, 10)[1]
        expected = tree.query(whitener @ point, k=10)[0]
        np.testing.assert_allclose(np.sqrt(nearest), expected[expected < reach - 0.01][: len(nearest)], atol=2e-3)


def test_a_stone_needs_less_than_24_bytes() -> None:
    """With ten million stones the cells are finest: 14 bytes each and what the cells take."""
    grid = Grid(ALL)
    grid.add(stones(200_000), np.arange(200_000, dtype=np.int32))
    assert grid.bytes / grid.count < 24


def test_stones_come_and_go() -> None:
    grid = Grid(ALL)
    values = stones(FEW + 5000)
    grid.add(values, np.arange(len(values), dtype=np.int32))
    lens = Lens.of(ALL, S)
    grid.remove(17)
    assert 17 not in grid.near(values[17], lens)[0]
    grid.sort()
    assert 17 not in grid.near(values[17], lens)[0]
    assert 18 in grid.near(values[18], lens)[0]
    with pytest.raises(KeyError):
        grid.remove(17)


# --- records ----------------------------------------------------------------------------------------------------------


def written(values: Array) -> dict[str, Any]:
    w, a, b, z, t = values
    return changed(
        indicate(weight_ct=f"{w:.3f}", diameter_min_mm=f"{a:.2f}", diameter_max_mm=f"{b:.2f}", depth_mm=f"{z:.2f}",
                 table_percent=f"{t:.0f}"),
        lambda record: record.update(reactions=[], observations=[]),
        lambda record: record.pop("characteristics"),
    )  # fmt: skip


def read(values: Array, *dropped: str) -> evidence.Examination:
    record = written(values)
    drop(*dropped)(record)
    return evidence.read_examination(record)


@pytest.fixture(scope="module")
def index() -> Any:
    made = evidence.find.StrayIndex()
    missing: list[tuple[str, ...]] = [(), ("weight_ct",), ("depth_mm", "table_percent")]
    for k, values in enumerate(stones(90, seed=3)):
        made.add(f"envelope {k}", read(values, *missing[k % 3]))
    return made


def test_the_right_record_comes_first(index: Any) -> None:
    for k in (0, 1, 2, 30):
        result = index.search(read(stones(90, seed=3)[k]))
        assert result.candidates[0].id == f"envelope {k}"
        assert result.candidates[0].posterior > 0.8
        total = sum(c.posterior for c in result.candidates) + result.none + result.others
        assert total == pytest.approx(1, abs=1e-9)


def test_a_stone_of_nobody_belongs_to_none_of_them(index: Any) -> None:
    result = index.search(read(np.array([3.317, 9.41, 9.47, 5.88, 60.0])))
    assert result.none > 0.95
    with pytest.raises(ValueError, match="more than 0"):
        index.search(read(stones(1)[0]), none=1.0)


def test_one_misread_property_does_not_hide_the_record(index: Any) -> None:
    values = stones(90, seed=3)[3].copy()
    values[3] += 0.9
    assert index.search(read(values)).candidates[0].id == "envelope 3"


def test_records_come_are_replaced_and_go() -> None:
    made, values = evidence.find.StrayIndex(), stones(2, seed=9)
    made.add("a", read(values[0]))
    made.add("a", read(values[1]))
    assert len(made) == 1
    assert made.search(read(values[1])).candidates[0].posterior > 0.9
    made.remove("a")
    result = made.search(read(values[1]))
    assert (len(made), result.candidates, result.none) == (0, (), 1.0)


def test_the_prior_of_none_is_the_asker_s(index: Any) -> None:
    stray = read(stones(90, seed=3)[2], "weight_ct", "depth_mm", "table_percent")
    doubtful, sure = (index.search(stray, none=none).none for none in (0.9, 0.1))
    assert doubtful > 3 * sure


def test_search_and_next_at_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    values = stones(5, seed=3)
    lines = [json.dumps({"id": f"E {k}", "record": written(v)}) for k, v in enumerate(values)]
    (tmp_path / "among.jsonl").write_text("\n".join(lines), encoding="utf-8")
    (tmp_path / "jobs").mkdir()
    (tmp_path / "jobs" / "E 2.json").write_text(json.dumps(written(values[2])), encoding="utf-8")
    stray = tmp_path / "stray.json"
    stray.write_text(json.dumps(written(values[2])), encoding="utf-8")
    for among in ("among.jsonl", "jobs"):
        assert cli.main(["search", str(stray), "--among", str(tmp_path / among), "--json"]) == 0
        found = json.loads(capsys.readouterr().out)
        assert found["candidates"][0]["id"] == "E 2"
    assert cli.main(["search", str(stray), "--among", str(tmp_path / "among.jsonl")]) == 0
    assert "none of them" in capsys.readouterr().out
    assert cli.main(["next", str(stray), "--json"]) == 0
    offered = json.loads(capsys.readouterr().out)
    assert {"characteristics", "photographs"} <= {item["what"] for item in offered["next"]}
    assert cli.main(["search", str(stray), "--among", str(tmp_path / "nowhere")]) == 2
    bad = json.dumps({"record": changed(indicate(weight_ct="-1.012"))})
    (tmp_path / "bad.jsonl").write_text(lines[1] + "\n" + bad, encoding="utf-8")
    assert cli.main(["search", str(stray), "--among", str(tmp_path / "bad.jsonl")]) == 2
    assert "line 2" in capsys.readouterr().err


def test_many_records_are_announced_in_one_line_and_not_beside_json(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("samestone.cli.find.MANY", 4)
    lines = [json.dumps({"id": f"E {k}", "record": written(v)}) for k, v in enumerate(stones(5, seed=3))]
    (tmp_path / "stray.json").write_text(json.dumps(written(stones(5, seed=3)[2])), encoding="utf-8")

    def said(records: int, *more: str) -> str:
        among = tmp_path / "among.jsonl"
        among.write_text("\n".join(lines[:records]), encoding="utf-8")
        assert cli.main(["search", str(tmp_path / "stray.json"), "--among", str(among), *more]) == 0
        return capsys.readouterr().err

    assert said(3) == ""
    assert "among.jsonl" in said(5) and said(5).count("\n") == 1
    assert said(5, "--json") == ""


SEARCH = """
import sys
from samestone import cli
from samestone.evidence import grid

grid.FEW = 50  # so that few records need what many do
sys.exit(cli.main(sys.argv[1:]))
"""


def test_compiling_for_many_records_is_announced_on_stderr_alone_and_once_on_a_machine(tmp_path: Path) -> None:
    values = stones(60, seed=3)
    lines = [json.dumps({"id": f"E {k}", "record": written(v)}) for k, v in enumerate(values)]
    (tmp_path / "stray.json").write_text(json.dumps(written(values[2])), encoding="utf-8")
    place = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path / "cache")}

    def said(among: int) -> tuple[int, str]:
        (tmp_path / "among.jsonl").write_text("\n".join(lines[:among]), encoding="utf-8")
        asked = ["search", str(tmp_path / "stray.json"), "--among", str(tmp_path / "among.jsonl"), "--json"]
        command = [sys.executable, "-c", SEARCH, *asked]
        run = subprocess.run(command, env=place, capture_output=True, text=True, check=True)
        return json.loads(run.stdout)["of"], run.stderr

    assert said(50) == (50, "")
    assert said(60) == (60, f"{SAID.format('ten seconds')}\n")
    assert said(60) == (60, "")
