"""What a sheet of paper says: plain JSON values, no rows and no objects of other rooms.

Every shape is a `TypedDict`: callers hand over dictionaries, a type checker knows them, and `check` refuses at run time
what is missing, unknown or of the wrong type. Numbers are decimal strings (or numbers); times are text as it shall be
read, except where a docstring says otherwise. Pictures are the bytes of a JPEG or PNG.
"""

# No `from __future__ import annotations` here: it would make every `NotRequired` field look required at run time.
from collections.abc import Mapping
from types import UnionType
from typing import Any, Literal, NotRequired, TypedDict, Union, get_args, get_origin, get_type_hints, is_typeddict

Number = str | int | float


class BadSheet(ValueError):
    """A value that paper cannot print; names the field, what was found and what was expected."""


class Mark(TypedDict):
    """Something on the clock face.

    `category`: characteristic, damage, agreed, claw or hidden. `r` in girdle radii; `angle_deg` counter-clockwise from
    3 o'clock, hallmark at 6. A hidden arc runs counter-clockwise from `angle_deg` to `to_deg`. `kind` is one of
    `symbol.KINDS`, for a claw its condition; `words` of an agreed mark are the client's own.
    """

    category: Literal["characteristic", "damage", "agreed", "claw", "hidden"]
    angle_deg: Number
    r: NotRequired[Number]
    to_deg: NotRequired[Number]
    kind: NotRequired[str]
    words: NotRequired[str]
    id: NotRequired[str]


class Shop(TypedDict):
    """Whose paper this is."""

    name: str
    street: NotRequired[str]
    town: NotRequired[str]
    phone: NotRequired[str]


class Stone(TypedDict):
    """One line of the list of stones: what it is said to be, and on what basis."""

    position: str
    words: str
    basis: Literal["tested", "client says", "report says", "not tested"]
    not_seen: NotRequired[list[str]]


class Ring(TypedDict):
    """A ring around a mark on a picture; `x` and `y` as shares of its width and height from the top left."""

    x: Number
    y: Number
    number: int


class Picture(TypedDict):
    """A photograph to print: the bytes of a JPEG or PNG and one line below it.

    `turn_deg` turns it counter-clockwise about its middle, so that two pictures stand alike; `rings` are placed on the
    picture as it was taken and turn with it.
    """

    data: bytes
    caption: str
    turn_deg: NotRequired[Number]
    rings: NotRequired[list[Ring]]
    simulated: NotRequired[bool]


class Station(TypedDict):
    """A station of the job strip; without `at` it has not been reached."""

    name: str
    at: NotRequired[str]
    by: NotRequired[str]
    now: NotRequired[bool]


class Seal(TypedDict):
    """What lets anyone check the paper later: the log's receipt as printed and as QR text, and the key in groups."""

    receipt: str
    qr: str
    key: str


class Face(TypedDict):
    """One clock face: `name` tells it from the piece's others; a `loose` stone has no hallmark to turn it by."""

    cut: str
    marks: list[Mark]
    ratio: NotRequired[Number]
    name: NotRequired[str]
    loose: NotRequired[bool]


class ReceiptSheet(TypedDict):
    """The A5 receipt. Leave `value` out when the piece is a surprise gift: nothing is printed then.

    `faces` draws the stones on which something was marked. `terms` are pairs (topic, the shop's own words).
    `signatures` are the names under the lines to sign on.
    """

    shop: Shop
    envelope: str
    at: str
    by: str
    client: NotRequired[str]
    collector: NotRequired[str]
    piece: str
    condition: NotRequired[str]
    stones: list[Stone]
    not_seen: list[str]
    faces: NotRequired[list[Face]]
    pictures: list[Picture]
    value: NotRequired[str]
    work: str
    due: NotRequired[str]
    risks: list[str]
    terms: NotRequired[list[list[str]]]
    seal: Seal
    signatures: list[str]
    simulated: NotRequired[bool]


class JudgedStone(TypedDict):
    """One stone on a statement: what was seen of it on both days, and what that says.

    `verdict` is the verdict's own JSON document (numbers may be decimal strings); `checked` and `unchecked` are words
    for everybody; `changes` what was changed as agreed (repolish, new head). `name` tells it from the piece's others;
    `picture_line` is what the packet records of the two pictures that were compared.
    """

    name: NotRequired[str]
    before: NotRequired[Picture]
    now: NotRequired[Picture]
    face: NotRequired[Face]
    checked: list[str]
    unchecked: list[str]
    changes: NotRequired[list[str]]
    verdict: dict[str, Any]
    picture_line: NotRequired[dict[str, Any]]


class StatementSheet(TypedDict):
    """The A4 statement: a page for the client for each stone, the rest for an expert.

    `record` is the canonical JSON that is attached; `not_judged` names the stones that were not compared.
    """

    shop: Shop
    envelope: str
    at: str
    by: str
    client: NotRequired[str]
    piece: str
    stones: list[JudgedStone]
    not_judged: NotRequired[list[str]]
    stations: NotRequired[list[Station]]
    record: bytes
    seal: Seal
    signatures: list[str]
    simulated: NotRequired[bool]


class LabelSheet(TypedDict):
    """The bench label, 62 × 29 mm: one number, one mark to look for, one code to scan; `grams` with its unit."""

    envelope: str
    qr: str
    piece: str
    face: NotRequired[Face]
    look_for: NotRequired[str]
    grams: NotRequired[str]
    due: NotRequired[str]
    simulated: NotRequired[bool]


def check(value: object, shape: type, where: str = "sheet") -> None:
    """Refuses a value that does not have the shape (`BadSheet` names the field)."""
    if is_typeddict(shape):
        _check_fields(value, shape, where)
    elif get_origin(shape) is list:
        if not isinstance(value, list):
            raise BadSheet(f"{where} is {_shown(value)}; expected a list")
        for index, item in enumerate(value):
            check(item, get_args(shape)[0], f"{where}[{index}]")
    elif not _fits(value, shape):
        raise BadSheet(f"{where} is {_shown(value)}; expected {_named(shape)}")


def _check_fields(value: object, shape: type, where: str) -> None:
    if not isinstance(value, Mapping):
        raise BadSheet(f"{where} is {_shown(value)}; expected the fields of {shape.__name__}")
    hints = get_type_hints(shape)
    required: frozenset[str] = getattr(shape, "__required_keys__")  # noqa: B009 - not every type has it
    if missing := sorted(required - set(value)):
        raise BadSheet(f"{where} lacks {', '.join(missing)}; give every required field of {shape.__name__}")
    if unknown := sorted(set(value) - set(hints)):
        raise BadSheet(f"{where} has unknown fields {', '.join(unknown)}; {shape.__name__} knows {', '.join(hints)}")
    for name, item in value.items():
        check(item, hints[name], f"{where}.{name}")


def _fits(value: object, shape: Any) -> bool:
    origin = get_origin(shape)
    if origin is Literal:
        return value in get_args(shape)
    if origin in {Union, UnionType}:
        return any(_fits(value, part) for part in get_args(shape))
    if isinstance(value, bool) and shape is not bool:
        return False
    return isinstance(value, origin or shape)


def _named(shape: Any) -> str:
    if get_origin(shape) is Literal:
        return "one of " + ", ".join(get_args(shape))
    return getattr(shape, "__name__", str(shape)) if not get_args(shape) else str(shape)


def _shown(value: object) -> str:
    return f"{str(value)[:40]!r} ({type(value).__name__})"
