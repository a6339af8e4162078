"""The picture line of a packet, worked out again from the packet's own two pictures and its own calibration."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from samestone.custody import packet as packets

Status = Literal["same", "different", "other method", "not possible", "not recorded"]
LAST_DIGIT = {"log10_lr.value": 0.01, "agree": 1.0, "absent": 1.0, "turn_deg": 1.0}
"""By how much another processor, which adds in another order, may move a figure that lies on the edge."""
_FOLDER = "data/photographs/"
_REASON = "not compared"
_ROWS = (
    ("method", ("method",)),
    ("protocol", ("protocol",)),
    ("calibration", ("calibration", "sha256")),
    ("stones behind it", ("stones",)),
    ("turn, degrees", ("turn_deg",)),
    ("log10 LR", ("log10_lr", "value")),
    ("from", ("log10_lr", "lower")),
    ("to", ("log10_lr", "upper")),
    ("speaks", ("speaks",)),
    ("features in both", ("agree",)),
    ("in one only", ("absent",)),
    (_REASON, ("why_not",)),
)


class NotPossible(ValueError):
    """The line cannot be worked out again; says what is missing."""


@dataclass(frozen=True)
class Pictures:
    """What came of one stone's picture line; `recomputed` is None where nothing could be worked out."""

    name: str
    status: Status
    why: str
    recorded: Any = None
    recomputed: Any = None
    files: tuple[str, ...] = ()
    differences: tuple[dict[str, Any], ...] = ()

    @property
    def holds(self) -> bool:
        """Whether nothing speaks against the line; a record without one holds."""
        return self.status in ("same", "not recorded")

    def as_json(self) -> dict[str, Any]:
        told = {"status": self.status, "why": self.why, "files": list(self.files)}
        return {**told, "recorded": self.recorded, "recomputed": self.recomputed}

    def lines(self) -> Iterator[str]:
        """For people: what came of it, then both sides beside each other."""
        yield f"{ {'same': '✓', 'not recorded': '○'}.get(self.status, '✗') } {self.why}"
        if self.recomputed is None:
            return
        yield from _side_by_side(_told(self.recorded), _told(self.recomputed))
        yield from (f"    {words}" for words in _remarks(self.recorded, self.differences))


def replay_pictures(stone: packets.Judged, packet: packets.Packet) -> Pictures:
    """The picture line of one stone, from the pictures in the packet whose digests it names."""
    from samestone import custody, imaging

    name, line = f" on {stone.name}" if stone.name else "", stone.pictures
    if line is None:
        return Pictures(
            stone.name, "not recorded", f"The record holds no picture line{name}: no pictures to work with."
        )
    try:
        _refuse_unreadable(line)
        contents, files = _pictures(line, packet)
        recomputed = custody.canonical.decimal_strings(_line_from(line, contents))
    except NotPossible as error:
        return Pictures(
            stone.name, "not possible", f"The picture line{name} cannot be worked out again: {error}.", line
        )
    from samestone.cli.replay import differences

    found = tuple(differences(f"{stone.where}pictures", line, recomputed))
    pair, here = f"{files[0]} and {files[1]}", imaging.PhotoComparison.method
    status: Status = "different" if found else "same"
    why = f"The picture line{name} comes out the same, digit for digit, from {pair}:"
    if line["method"] != here:
        status = "other method"
        why = f"The picture line{name} was made by {line['method']}; this program works by {here}, whose digits may "
        why += f"differ. To check them, take a version that works by {line['method']}. From {pair}:"
    elif found:
        why = f"{len(found)} of the picture line's figures{name} come out otherwise, from {pair}:"
    return Pictures(stone.name, status, why, line, recomputed, files, found)


def _refuse_unreadable(line: Any) -> None:
    if not isinstance(line, dict):
        raise NotPossible(f"found {type(line).__name__} in the record, expected an object")
    if "method" not in line:
        raise NotPossible("it was recorded by an earlier version, without what that needs")
    for key in ("method", "before", "now"):
        if not isinstance(line.get(key), str):
            raise NotPossible(f"{key} is missing from it, or no text")
    calibration = line.get("calibration")
    if not isinstance(calibration, dict) or not isinstance(calibration.get("table"), str):
        raise NotPossible("calibration.table is missing from it, or no text")


def _pictures(line: Mapping[str, Any], packet: packets.Packet) -> tuple[list[bytes], tuple[str, str]]:
    """The bytes and the file names of the earlier and the new picture."""
    from samestone import custody

    there = {hashlib.sha256(data).hexdigest(): name for name, data in packet.files.items() if name.startswith(_FOLDER)}
    listed = custody.packet.listed_photographs(packet)
    for key, when in (("before", "earlier"), ("now", "new")):
        digest = line[key]
        if digest in there:
            continue
        name = listed.get(digest, "")
        if _FOLDER + name in packet.files:
            raise NotPossible(
                f"{name} is another picture than the {when} one that was compared (SHA-256 {digest[:12]}…)"
            )
        missing = f"{name} is" if name else f"the {when} picture (SHA-256 {digest[:12]}…) is"
        raise NotPossible(f"{missing} not in the packet")
    before, now = there[line["before"]], there[line["now"]]
    return [packet.files[name] for name in (before, now)], (before.removeprefix(_FOLDER), now.removeprefix(_FOLDER))


def _line_from(line: Mapping[str, Any], contents: list[bytes]) -> dict[str, Any]:
    from samestone import evidence, imaging

    try:
        table = evidence.photographs.read_calibration(line["calibration"]["table"])
        before, now = (imaging.open_photo(content) for content in contents)
        compared = imaging.compare_photos(before, now)
    except evidence.photographs.BadCalibration as error:
        raise NotPossible(f"its calibration: {error}") from error
    except imaging.BadPhoto as error:
        raise NotPossible(f"a picture cannot be read: {error}") from error
    doubt = str(line.get("why_not", "")) if line.get("in_doubt") is True else ""
    return evidence.photographs.picture_line(compared, table, doubt=doubt)


def _side_by_side(recorded: Mapping[str, str], recomputed: Mapping[str, str]) -> Iterator[str]:
    short = [label for label, _ in _ROWS if label != _REASON]
    wide = max(len("recorded"), *(len(recorded.get(label, "")) for label in short))
    yield f"    {'':16}  {'recorded':{wide}}  worked out again"
    for label, _ in _ROWS:
        was, now = recorded.get(label, "—"), recomputed.get(label, "—")
        sign = " " if was == now else "✗"
        if label != _REASON and (was, now) != ("—", "—"):
            yield f"  {sign} {label:16}  {was:{wide}}  {now}"
        elif (was, now) != ("—", "—"):  # a sentence: one above the other
            yield from (f"  {sign} {label}, {side}: {said}" for side, said in (("recorded", was), ("again", now)))


def _told(line: Mapping[str, Any]) -> dict[str, str]:
    """What a line says, by the label of its row."""
    found = {}
    for label, path in _ROWS:
        value: Any = line
        for key in path:
            value = value.get(key) if isinstance(value, Mapping) else None
        if value is not None:
            found[label] = f"{value[:12]}…" if label == "calibration" else str(value)
    return found


def _remarks(line: Mapping[str, Any], found: tuple[dict[str, Any], ...]) -> Iterator[str]:
    from samestone import evidence

    shipped = evidence.photographs.calibration_text(evidence.photographs.shipped_calibration())
    ours = line["calibration"]["table"] == shipped
    whose = "the one that comes with this program" if ours else "the packet's own, not the one of this program"
    yield f"The calibration is {whose}: {line.get('source')}."
    if line.get("in_doubt"):
        yield "That a picture is in doubt is the shop's word: its instruments are not in the packet."
    if found and all(map(_is_last_digit, found)):
        yield "Apart by one in the last digit only: another processor, which adds in another order, may print that."


def _is_last_digit(difference: Mapping[str, Any]) -> bool:
    step = LAST_DIGIT.get(difference["where"].partition("pictures.")[2])
    try:
        return step is not None and abs(float(difference["recorded"]) - float(difference["recomputed"])) < 1.5 * step
    except (TypeError, ValueError):
        return False
