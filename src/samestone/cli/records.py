"""Examination records out of files, for the command line."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from samestone.cli import Refusal

if TYPE_CHECKING:
    from samestone.evidence import Examination


def read_record(path: Path) -> Examination:
    """One record from a file; refuses what cannot be read or used, naming file and field."""
    return _check(str(path), _decode(str(path), _text(path)))


def records_among(path: Path) -> Iterator[tuple[str, Examination]]:
    """(id, record) of a folder's *.json files, by name, or of a file's lines."""
    try:
        folder = path.is_dir()
    except OSError as error:
        raise Refusal(f"--among: {error.strerror}; found a name of {len(str(path))} characters") from None
    if folder:
        for file in sorted(path.glob("*.json")):
            yield file.stem, read_record(file)
        return
    for number, line in enumerate(_text(path).splitlines(), start=1):
        if not line.strip():
            continue
        where = f"{path}, line {number}"
        found = _decode(where, line)
        if isinstance(found, dict) and "record" in found:
            name = found.get("id", str(number))
            if set(found) - {"id", "record"} or not isinstance(name, str | int):
                raise Refusal(f'{where}: expected a record, or {{"id": text, "record": …}}; correct the line')
            yield str(name), _check(f"{where}, record", found["record"])
        else:
            yield str(number), _check(where, found)


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except OSError as error:
        raise Refusal(f"{path}: {error.strerror or error}") from None
    except UnicodeDecodeError:
        raise Refusal(f"{path}: found bytes that are not UTF-8, expected JSON text") from None


def _decode(where: str, text: str) -> Any:
    from samestone import evidence

    try:
        return json.loads(text, object_pairs_hook=evidence.batch.unique_keys)
    except evidence.BadRecord as bad:
        raise Refusal(f"{where}: {bad}") from None
    except RecursionError:
        raise Refusal(f"{where}: found brackets nested too deeply, expected an examination record") from None
    except ValueError as error:
        raise Refusal(f"{where}: not JSON: {error}") from None


def _check(where: str, record: Any) -> Examination:
    from samestone import evidence

    try:
        return evidence.read_examination(record)
    except evidence.BadRecord as bad:
        raise Refusal(f"{where}: {bad}") from None
