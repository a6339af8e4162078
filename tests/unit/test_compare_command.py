"""`samestone compare` as a stranger runs it."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from tests.unit.evidence_record import RECORD, changed, indicate

from samestone import cli, evidence
from samestone.cli.compiling import SAID
from samestone.cli.judge import FEW_LINES


@pytest.fixture
def files(tmp_path: Path) -> dict[str, Path]:
    """The record, the same stone weighed again, and a record that cannot be."""
    records = {
        "a": RECORD,
        "b": changed(indicate(weight_ct="1.033")),
        "grams": changed(indicate(weight_ct="0.206")),
    }
    for name, record in records.items():
        (tmp_path / f"{name}.json").write_text(json.dumps(record), encoding="utf-8")
    return {name: tmp_path / f"{name}.json" for name in records}


def run(*arguments: object) -> int:
    return cli.main(["compare", *map(str, arguments)])


def test_two_records_give_a_sentence_first_and_the_figures_below(
    files: dict[str, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(files["a"], files["b"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("It agrees with the stone that was left")
    text = "\n".join(lines)
    assert "both records describe the same stone" in text
    assert "reference stones could not be told apart" in text


def test_json_gives_the_whole_result(files: dict[str, Path], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(files["a"], files["b"], "--json", "--stock", 30) == 0
    result = json.loads(capsys.readouterr().out)
    assert result["log10_lr"]["look_alike"]["stock"] == 30
    assert result["ladder"] in {"agrees", "agrees_some_unchecked"}


def test_a_record_that_cannot_be_is_refused_by_name(
    files: dict[str, Path], capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert run(files["a"], files["grams"]) == 2
    error = capsys.readouterr().err
    assert "grams.json" in error
    assert "weight_ct" in error
    assert "1 g is 5 ct" in error
    twice = tmp_path / "twice.json"
    twice.write_text('{"format": "samestone-examination/1", "format": "x"}', encoding="utf-8")
    assert run(files["a"], twice) == 2
    assert "format: found this key twice in one object, expected each key once" in capsys.readouterr().err
    assert run(files["a"], tmp_path / "none.json") == 2
    assert "none.json" in capsys.readouterr().err


@pytest.mark.parametrize("arguments", [[], ["one.json"], ["a", "b", "--batch", "c"], ["--batch", "-", "--stock", "1"]])
def test_arguments_that_make_no_sense_are_refused(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*arguments) == 2
    assert "samestone:" in capsys.readouterr().err


def test_a_stream_answers_every_line_in_order(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    pairs: list[Any] = [{"a": RECORD, "b": RECORD, "id": i} for i in range(3)]
    pairs.insert(1, {"a": RECORD, "b": changed(indicate(table_percent="104"))})
    text = "\n".join(json.dumps(pair) for pair in pairs)
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(text.encode())))
    assert run("--batch", "-") == 2
    results = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [result.get("id") for result in results] == [0, None, 1, 2]
    assert results[1]["error"]["line"] == 2


def test_a_long_stream_is_shared_out_and_keeps_its_order(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "pairs.jsonl"
    file.write_text("".join(json.dumps({"a": RECORD, "b": RECORD, "id": i}) + "\n" for i in range(350)), "utf-8")
    assert run("--batch", file) == 0
    results = [json.loads(line) for line in capfd.readouterr().out.splitlines()]
    assert [result["id"] for result in results] == list(range(350))
    assert len({json.dumps(result["log10_lr"]) for result in results}) == 1
    read = evidence.read_examination(RECORD)
    alone = evidence.compare(read, read, population=evidence.load_population()).as_json()
    assert results[0] == {"id": 0, **alone}


def test_each_line_is_answered_before_the_next_is_written_also_by_many_processes() -> None:
    line = json.dumps({"a": RECORD, "b": RECORD}) + "\n"
    program = "import sys; from samestone import cli; sys.exit(cli.main(sys.argv[1:]))"
    command = [sys.executable, "-c", program, "compare", "--batch", "-"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        for _ in range(FEW_LINES + 3):
            process.stdin.write(line)
            process.stdin.flush()
            assert process.stdout.readline().startswith('{"format":"samestone-verdict/1"')
        process.stdin.close()
        assert process.stdout.read() == ""
    assert process.returncode == 0


COMPILED = """
from numba import njit
from samestone.cli.compiling import announced

@njit(cache=True)
def more(x):
    return x + 1

with announced("a moment"):
    print(more(1), more(1.0))
"""


def test_compiling_is_announced_once_on_stderr_and_not_where_the_cache_serves(tmp_path: Path) -> None:
    (tmp_path / "more.py").write_text(COMPILED, encoding="utf-8")
    place = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path / "cache")}
    runs = [
        subprocess.run([sys.executable, tmp_path / "more.py"], env=place, capture_output=True, text=True, check=True)
        for _ in range(2)
    ]
    assert [run.stdout for run in runs] == ["2 2.0\n"] * 2
    assert [run.stderr for run in runs] == [f"{SAID.format('a moment')}\n", ""]
