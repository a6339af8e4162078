"""Does the statement in a packet carry the packet's own record? Its printed numbers were set from the one attached."""

from __future__ import annotations

import io
import zlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from samestone.custody import packet as packets

_DAMAGED = (
    LookupError, ValueError, TypeError, AttributeError, ArithmeticError, AssertionError, RecursionError, zlib.error,
)  # fmt: skip
"""What the library raises on a damaged file besides its own errors."""
STATEMENT, RECORD = "data/statement.pdf", "data/record.json"


def statement_says(packet: packets.Packet) -> tuple[bool, str]:
    """Whether the statement carries the packet's record, and that in words."""
    from pyhanko.pdf_utils.misc import PdfError

    try:
        attached = _attached(packet.files.get(STATEMENT, b""))
    except (PdfError, *_DAMAGED) as error:
        return False, f"The statement is no PDF that can be read; its record cannot be compared ({error})."
    if "record.json" not in attached:
        return False, "The statement has no record attached; the one that it was printed from is not known."
    if attached["record.json"] != packet.files.get(RECORD):
        return False, "The statement was printed from another record: the one attached to it is not the packet's."
    return True, "The record attached to the statement is the packet's record, byte for byte."


def _attached(pdf: bytes) -> dict[str, bytes]:
    """The files attached to a PDF, by name (ISO 32000-1, 7.11.4 and 7.9.6); a tree of names may have branches."""
    from pyhanko.pdf_utils.reader import PdfFileReader

    root: Any = PdfFileReader(io.BytesIO(pdf), strict=False).root
    if "/Names" not in root or "/EmbeddedFiles" not in root["/Names"]:
        return {}
    found, nodes = {}, [root["/Names"]["/EmbeddedFiles"]]
    for _ in range(1000):  # a tree that leads back into itself ends too
        if not nodes:
            break
        node = nodes.pop()
        nodes += _followed(node, "/Kids")
        names = _followed(node, "/Names")
        for name, described in zip(names[::2], names[1::2], strict=True):
            found[str(name)] = bytes(described["/EF"]["/F"].data)
    return found


def _followed(node: Any, key: str) -> list[Any]:
    """The members of an array; asked for one by one (never by `get`), references are followed."""
    if key not in node:
        return []
    array = node[key]
    return [array[place] for place in range(len(array))]
