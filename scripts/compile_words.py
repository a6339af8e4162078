"""The shop's translation files, django.po, as the django.mo that gettext reads: run after every change of one.

GNU gettext's msgfmt does the same; a machine that only sets the program up need not have it, so the outcome is kept
beside its source and a test holds one against the other. Plain entries only: no plurals, no contexts.
"""

from __future__ import annotations

import ast
import struct
from pathlib import Path

LOCALE = Path(__file__).parents[1] / "src" / "samestone" / "shop" / "locale"
_MAGIC, _HEADER_BYTES = 0x950412DE, 28


class BadCatalogue(ValueError):
    """A line that is no plain entry, or an entry said twice or left empty; names the file and the line."""


def read_catalogue(po: Path) -> dict[str, str]:
    """What stands in the source, and what stands for it; the entry for "" is the header."""
    found: dict[str, str] = {}
    source, field = "", ""
    for number, line in enumerate(po.read_text(encoding="utf-8").splitlines(), start=1):
        word, _, quoted = line.partition(" ") if line.startswith("msg") else (field, "", line)
        if not line or line.startswith("#"):
            continue
        if word not in ("msgid", "msgstr") or not quoted.startswith('"'):
            raise BadCatalogue(f"{po.name}, line {number}: found {line!r}; expected msgid, msgstr or words in quotes")
        text = str(ast.literal_eval(quoted))
        if word != field and word == "msgid":
            source = text
            if source in found:
                raise BadCatalogue(f"{po.name}, line {number}: {source!r} stands there twice")
        elif word == "msgid":
            source += text
        else:
            found[source] = found.get(source, "") + text
        field = word
    if empty := [source for source, text in found.items() if not text]:
        raise BadCatalogue(f"{po.name}: nothing stands for {empty[0]!r}")
    return found


def compile_catalogue(catalogue: dict[str, str]) -> bytes:
    """The bytes of the .mo file: two tables of lengths and offsets, sorted by source, then the texts (GNU gettext
    manual, "The Format of GNU MO Files")."""
    pairs = sorted((source.encode(), text.encode()) for source, text in catalogue.items())
    at = _HEADER_BYTES + 16 * len(pairs)
    tables, texts = [], b""
    for side in (0, 1):
        for pair in pairs:
            tables.append(struct.pack("<II", len(pair[side]), at + len(texts)))
            texts += pair[side] + b"\0"
    second = _HEADER_BYTES + 8 * len(pairs)
    return struct.pack("<7I", _MAGIC, 0, len(pairs), _HEADER_BYTES, second, 0, at) + b"".join(tables) + texts


def main() -> None:
    for po in sorted(LOCALE.rglob("*.po")):
        po.with_suffix(".mo").write_bytes(compile_catalogue(read_catalogue(po)))
        print(po.with_suffix(".mo").relative_to(LOCALE))


if __name__ == "__main__":
    main()
