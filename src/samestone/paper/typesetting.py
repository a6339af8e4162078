"""From plain values to a PDF: templates of this folder, bundled typeface, nothing from the machine's own fonts.

Values reach a template as JSON, never as source text. The PDF declares PDF/A-3a and PDF/UA-1 and depends on nothing but
the values and the date given.
"""

from __future__ import annotations

import datetime as dt
import io
import json
import re
import tempfile
import tomllib
import unicodedata
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import segno
import typst
from PIL import Image, ImageOps, UnidentifiedImageError

from samestone.paper.sheet import BadSheet

_HERE = Path(__file__).parent
_LONGEST_PX = 1400
_NO_LETTER = {"Cc", "Cf", "Co", "Cn", "Cs"}
_ALLOWED = "\n\u00ad\u200c\u200d"  # line break, soft hyphen, the two joiners that scripts need
_PUNCTUATION = "–—‘’“”•…−×"
_BEYOND_LATIN = "every letter beyond Latin"
_ESCAPED = re.compile(r"\\u\{([0-9a-f]+)\}")
_MISSING = re.compile(r'the text `"(.+?)"` could not be displayed')


def typeset(
    template: str, values: Mapping[str, Any], files: Mapping[str, bytes], *, at: dt.datetime, words: Mapping[str, Any]
) -> bytes:
    """One PDF from a template, its values and the files that it names.

    A letter that no bundled font has is printed as its code point, such as [U+6771].
    """
    given = json.dumps(_visible({"words": {**default_words(), **words}, **values}), ensure_ascii=False)
    while True:
        try:
            return _compiled(template, given, files, at)
        except typst.TypstError as error:
            plainer = _without(given, _missing(str(error)))
            if plainer == given:
                raise
            given = plainer


def _missing(message: str) -> set[str]:
    """The letters without a glyph that the typesetter's message names, some of them as \\u{d7a4}.

    A joining sign can make it name the plain letter before; then every letter beyond Latin is taken for missing.
    """
    texts = [_ESCAPED.sub(lambda found: chr(int(found[1], 16)), text) for text in _MISSING.findall(message)]
    letters = {letter for text in texts for letter in text if ord(letter) > 0x7F}
    return letters or ({_BEYOND_LATIN} if texts else set())


def _without(given: str, letters: set[str]) -> str:
    if letters == {_BEYOND_LATIN}:
        letters = {letter for letter in given if ord(letter) > 0x17F and letter not in _PUNCTUATION}
    for letter in letters:
        given = given.replace(letter, _code_point(letter))
    return given


def _stands_for_nothing(letter: str) -> bool:
    """Control, private and unassigned code points, and signs that would turn the order of letters round."""
    return unicodedata.category(letter) in _NO_LETTER and letter not in _ALLOWED


def _visible(value: Any) -> Any:
    """The same values, with code points that stand for no letter written out."""
    match value:
        case str():
            return "".join(_code_point(letter) if _stands_for_nothing(letter) else letter for letter in value)
        case Mapping():
            return {key: _visible(item) for key, item in value.items()}
        case list() | tuple():
            return [_visible(item) for item in value]
        case _:
            return value


def _code_point(letter: str) -> str:
    return f"[U+{ord(letter):04X}]"


def _compiled(template: str, given: str, files: Mapping[str, bytes], at: dt.datetime) -> bytes:
    """One run of the typesetter in a folder of its own; its virtual files can hold no pictures."""
    sources = {name: (_HERE / name).read_bytes() for name in ("style.typ", template)}
    with tempfile.TemporaryDirectory() as folder:
        for name, data in {**sources, "sheet.json": given.encode(), **files}.items():
            (Path(folder) / name).write_bytes(data)
        pdf = typst.compile(
            str(Path(folder) / template),
            root=folder,
            format="pdf",
            font_paths=[str(_HERE / "fonts")],
            ignore_system_fonts=True,
            timestamp=at.replace(microsecond=0),
            pdf_standards=["a-3a", "ua-1"],
        )
    return bytes(pdf)


def default_words() -> dict[str, Any]:
    """The fixed words on paper."""
    return tomllib.loads((_HERE / "words.toml").read_text(encoding="utf-8"))


def qr_code(text: str) -> bytes:
    """A QR code as SVG with its quiet zone."""
    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(out, kind="svg", border=4, xmldecl=False, light="#fff")
    return out.getvalue()


def printable(data: bytes, turn_deg: float, where: str) -> tuple[bytes, int, int]:
    """A picture small enough for paper, upright and turned counter-clockwise: JPEG bytes, width and height."""
    try:
        with Image.open(io.BytesIO(data), formats=("JPEG", "PNG")) as opened:
            picture = ImageOps.exif_transpose(opened).convert("RGB")
    except (UnidentifiedImageError, OSError, Image.DecompressionBombError) as error:
        raise BadSheet(f"{where} cannot be read as JPEG or PNG ({error}); give the picture's own bytes") from error
    picture.thumbnail((_LONGEST_PX, _LONGEST_PX))
    if turn_deg:
        picture = picture.rotate(turn_deg, resample=Image.Resampling.BICUBIC, fillcolor=(241, 239, 233))
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=88)
    return out.getvalue(), picture.width, picture.height
