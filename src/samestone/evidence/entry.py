"""The parts of a record: objects of known keys, lists, texts, words and numbers, each refused where it is wrong."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final, TypeVar

from samestone.evidence.examination import BadRecord

Found = TypeVar("Found")

WORDS: Final = re.compile(r"[a-z][a-z0-9 _-]*")
_NUMBER: Final = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?")
_LONGEST = 200


class Keys:
    """The keys that an object may have, and those of them that it must."""

    def __init__(self, known: str, required: str = "") -> None:
        self.known = frozenset(known.split())
        self.required = tuple(required.split())

    def check(self, item: Mapping[str, Any]) -> None:
        if not isinstance(item, dict) and not isinstance(item, Mapping):  # the second is slow
            raise BadRecord("", show(item), "a JSON object", "write it as { … }")
        if not item.keys() <= self.known:
            wrong = next(key for key in item if key not in self.known)
            raise BadRecord(wrong, "an unknown key", f"one of {', '.join(sorted(self.known))}", "correct or remove it")
        for key in self.required:
            if key not in item:
                raise BadRecord(key, "nothing", "a value: it is required", "add it")


def read_each(
    record: Mapping[str, Any], key: str, keys: Keys, read: Callable[[Mapping[str, Any], Found], None], found: Found
) -> Found:
    """Give every object in the list under a key to `read`, which adds it to `found`; a refusal gains its place."""
    if key not in record:
        return found
    for position, item in items(record, key):
        try:
            keys.check(item)
            read(item, found)
        except BadRecord as bad:
            raise bad.within(f"{key}[{position}]") from None
    return found


def items(record: Mapping[str, Any], key: str) -> enumerate[Any]:
    found = record.get(key, ())
    if not isinstance(found, list | tuple):
        raise BadRecord(key, show(found), "a JSON array", "write it as [ … ]")
    return enumerate(found)


def show(found: object) -> str:
    """What was found, short enough for a message."""
    text = "nothing" if found is None else repr(found) if not isinstance(found, str) else f'"{found}"'
    return text if len(text) <= 60 else text[:57] + "…"


def text(where: str, found: object) -> str:
    if not isinstance(found, str) or not found.strip() or len(found) > _LONGEST or not found.isprintable():
        raise BadRecord(where, show(found), f"a line of text, 1 to {_LONGEST} characters", "write it again")
    return found


def optional_text(where: str, item: Mapping[str, Any]) -> str:
    return text(where, item[where]) if where in item else ""


def word(where: str, found: object, allowed: Sequence[str]) -> str:
    if not isinstance(found, str) or found not in allowed:
        raise BadRecord(where, show(found), f"one of {', '.join(allowed)}", "choose one of these words")
    return found


def number(where: str, found: object) -> float:
    if isinstance(found, str) and len(found) <= 20 and _NUMBER.fullmatch(found):
        return float(found)
    if isinstance(found, int | float) and not isinstance(found, bool):
        remedy = "put it in quotation marks" if abs(found) < 1e15 else "write digits, a point, digits"
        raise BadRecord(where, f"the JSON number {show(found)}", 'a decimal string such as "6.47"', remedy)
    raise BadRecord(where, show(found), 'a decimal string such as "6.47"', "write digits, a point, digits")


def number_from(where: str, found: object, least: float) -> float:
    value = number(where, found)
    if value < least:
        raise BadRecord(where, show(found), f"at least {least:g}", "correct it")
    return value


def angle(where: str, found: object) -> float:
    """Degrees from 0 to below 360."""
    value = number(where, found)
    if not -360 <= value <= 360:
        raise BadRecord(where, show(found), "-360 to 360 degrees", "correct it")
    return value % 360
