"""The receipt, the statement and the label: a sheet of plain values in, a PDF out."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from typing import Any

from samestone.paper import sheet, table
from samestone.paper.chart import likelihood_bars, narrowing
from samestone.paper.clockface import clock_face, clock_hour, describe
from samestone.paper.legend import key_alone
from samestone.paper.strip import job_strip
from samestone.paper.typesetting import default_words, printable, qr_code, typeset

Words = Mapping[str, Any]

_A5, _A4 = 480, 680
"""Widths of the legends in their own units: on paper their letters are 12 points high."""


def receipt(values: sheet.ReceiptSheet, *, at: dt.datetime, words: Words | None = None) -> bytes:
    """The A5 receipt that the client takes home, as a tagged PDF; `at` (aware) is the document's own date.

    `words` replaces words of `words.toml`. Refuses a sheet with missing, unknown or ill-typed fields (`BadSheet`).
    """
    sheet.check(values, sheet.ReceiptSheet)
    claw = {**default_words(), **(words or {})}["claw"]
    files = {"qr.svg": qr_code(values["seal"]["qr"])}
    faces = values.get("faces", [])
    if faces:
        files["key.svg"] = key_alone([mark for face in faces for mark in face["marks"]], width=_A5, claw=claw).encode()
    shown = {
        **values,
        "pictures": _pictures(values["pictures"], "pictures", files),
        "faces": [
            {**_face(face, files, claw, own=f"{n}-"), "file": f"{n}-face.svg", "name": face.get("name", "")}
            for n, face in enumerate(faces)
        ],
    }
    return typeset("receipt.typ", shown, files, at=at, words=words or {})


def statement(values: sheet.StatementSheet, *, at: dt.datetime, words: Words | None = None) -> bytes:
    """The A4 statement with the record attached as record.json, as a PDF that declares PDF/A-3a and PDF/UA-1."""
    sheet.check(values, sheet.StatementSheet)
    if not values["stones"]:
        raise sheet.BadSheet("sheet.stones is empty; a statement needs at least one stone that was compared")
    said = {**default_words(), **(words or {})}
    files = {"qr.svg": qr_code(values["seal"]["qr"]), "record.json": values["record"]}
    if stations := values.get("stations"):
        files["strip.svg"] = job_strip(stations).encode()
    shown = {
        **{key: value for key, value in values.items() if key not in {"record", "stones", "stations"}},
        "stones": [_judged(stone, index, files, said) for index, stone in enumerate(values["stones"])],
        "has_strip": "strip.svg" in files,
        "strip": ", ".join(f"{station['name']} {station.get('at', '–')}" for station in stations or []),
    }
    return typeset("statement.typ", shown, files, at=at, words=words or {})


def _judged(stone: sheet.JudgedStone, index: int, files: dict[str, bytes], said: Words) -> dict[str, Any]:
    """One stone's pages: its drawings go into `files`, under names that begin with its number."""
    verdict, own = stone["verdict"], f"stone-{index}-"
    files[f"{own}bars.svg"] = likelihood_bars(verdict, names=said["properties"]).encode()
    if verdict.get("narrowing"):
        files[f"{own}narrowing.svg"] = narrowing(verdict["narrowing"]).encode()
    two = [(said[name], stone[name]) for name in ("before", "now") if name in stone]
    pictures = [{**picture, "caption": f"{title}: {picture['caption']}"} for title, picture in two]
    return {
        **table.expert_page(verdict, said["properties"]),
        **_face(stone.get("face"), files, said["claw"], key_width=_A4, own=own),
        "files": own,
        "name": stone.get("name", ""),
        "checked": stone["checked"],
        "unchecked": stone["unchecked"],
        "changes": stone.get("changes", []),
        "photographs": table.picture_words(stone.get("picture_line", {})),
        "pictures": _pictures(pictures, f"stones[{index}].pictures", files, own=own),
        "has_narrowing": f"{own}narrowing.svg" in files,
    }


def label(values: sheet.LabelSheet, *, at: dt.datetime, words: Words | None = None) -> bytes:
    """The bench label, 62 × 29 mm, as a PDF; its clock face has no legend, the mark to look for is said in words."""
    sheet.check(values, sheet.LabelSheet)
    claw = {**default_words(), **(words or {})}["claw"]
    files = {"qr.svg": qr_code(values["qr"])}
    shown = {**values, **_face(values.get("face"), files, claw)}
    return typeset("label.typ", shown, files, at=at, words=words or {})


def _face(
    face: sheet.Face | None, files: dict[str, bytes], claw: str, *, key_width: float = 0, own: str = ""
) -> dict[str, Any]:
    """The clock face and its legend as files, what it shows in words, and the agreed marks as a list."""
    if face is None:
        return {"agreed": []}
    marks = face["marks"]
    drawn: dict[str, Any] = {"ratio": face.get("ratio", 0), "loose": face.get("loose", False), "claw": claw}
    files[f"{own}face.svg"] = clock_face(face["cut"], marks, legend=False, **drawn).encode()
    if key_width:
        files[f"{own}key.svg"] = key_alone(marks, width=key_width, claw=claw).encode()
    agreed = [mark for mark in marks if mark["category"] == "agreed"]
    return {
        "face": describe(marks, claw),
        "agreed": [
            {"number": number, "words": mark.get("words", ""), "hour": clock_hour(float(mark["angle_deg"]))}
            for number, mark in enumerate(agreed, 1)
        ],
    }


def _pictures(
    pictures: Sequence[Mapping[str, Any]], where: str, files: dict[str, bytes], *, own: str = ""
) -> list[dict[str, Any]]:
    shown = []
    for index, picture in enumerate(pictures):
        turn = float(picture.get("turn_deg", 0))
        data, width, height = printable(picture["data"], turn, f"{where}[{index}]")
        file = f"{own}picture-{index}.jpg"
        files[file] = data
        rings = [_turned(ring, turn, width / height) for ring in picture.get("rings", ())]
        shown.append(
            {
                "file": file,
                "width": width,
                "height": height,
                "caption": picture["caption"],
                "simulated": picture.get("simulated", False),
                "rings": rings,
            }
        )
    return shown


def _turned(ring: Mapping[str, Any], turn_deg: float, aspect: float) -> dict[str, Any]:
    """The place of a ring after its picture was turned counter-clockwise about its middle."""
    angle = math.radians(turn_deg)
    x, y = (float(ring["x"]) - 0.5) * aspect, 0.5 - float(ring["y"])
    turned_x = x * math.cos(angle) - y * math.sin(angle)
    turned_y = x * math.sin(angle) + y * math.cos(angle)
    return {"x": turned_x / aspect + 0.5, "y": 0.5 - turned_y, "number": ring["number"]}
