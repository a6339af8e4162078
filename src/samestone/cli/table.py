"""Small files in and out for the command line: CSV rows and JSON objects that say where they are wrong."""

from __future__ import annotations

import csv
import json
import math
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from samestone.cli import Refusal


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a CSV file, with where it stands."""

    place: str
    cells: Mapping[str, str]

    def text(self, column: str, default: str | None = None) -> str:
        """The cell without surrounding spaces; refuses an empty one unless there is a default."""
        found = (self.cells.get(column) or "").strip()
        if found:
            return found
        if default is None:
            raise Refusal(f"{self.place}: {column} is empty; fill it in or remove the line")
        return default

    def number(self, column: str) -> float:
        """The cell as a number; refuses a decimal comma, a unit, anything not finite."""
        found = self.text(column)
        value = plain_number(found)
        if not math.isfinite(value):
            raise Refusal(f"{self.place}: {column} is {found!r}, expected a number such as 6.47 (point, no unit)")
        return value


def plain_number(text: str) -> float:
    """The number a text is, in the digits 0 to 9; nan where it is none."""
    try:
        return float(text) if text.isascii() and "_" not in text else math.nan
    except ValueError:
        return math.nan


def read_rows(path: str, required: Sequence[str]) -> list[Row]:
    """Read a CSV file with a header line; refuses a missing column, a short line, an empty file."""
    try:
        with Path(path).open(newline="", encoding="utf-8-sig") as file:
            reader = csv.DictReader(file, restval="", skipinitialspace=True)
            header = [name.strip() for name in reader.fieldnames or ()]
            reader.fieldnames = header
            missing = [column for column in required if column not in header]
            if missing:
                raise Refusal(
                    f"{path}: column {', '.join(missing)} is missing; the first line must name {', '.join(required)}"
                )
            rows = [
                Row(f"{path}, line {reader.line_num}", cells)
                for cells in reader
                if any((v or "") for v in cells.values())
            ]
    except (OSError, UnicodeDecodeError, csv.Error) as problem:
        raise Refusal(f"{path}: cannot be read as CSV ({problem})") from None
    if not rows:
        raise Refusal(f"{path}: no line below the header; write one line for each reading")
    return rows


def read_object(path: str) -> dict[str, Any]:
    """Read a JSON object from a file, or from standard input where the path is a dash.

    Refuses NaN, Infinity and a key that stands twice.
    """
    from samestone import evidence

    def refuse(word: str) -> None:
        raise Refusal(f"{path}: {word} is not a number; leave out what was not measured")

    try:
        text = sys.stdin.read() if path == "-" else Path(path).read_text(encoding="utf-8")
        value = json.loads(text, parse_constant=refuse, object_pairs_hook=evidence.batch.unique_keys)
    except evidence.BadRecord as bad:
        raise Refusal(f"{path}: {bad}") from None
    except RecursionError:
        raise Refusal(f"{path}: nested too deeply for a record") from None
    except (OSError, ValueError) as problem:
        raise Refusal(f"{path}: cannot be read as JSON ({problem})") from None
    if not isinstance(value, dict):
        raise Refusal(f"{path}: found a {type(value).__name__}, expected a JSON object {{...}}")
    return value


def print_json(value: object) -> None:
    """Print a value as indented JSON; a number that JSON cannot hold is a defect and raises."""
    print(json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False))


def write_text(path: str, text: str) -> None:
    """Write a file that the person named; refuses a place that cannot be written."""
    try:
        Path(path).write_text(text, encoding="utf-8")
    except OSError as problem:
        raise Refusal(f"{path}: cannot be written ({problem.strerror})") from None
