"""The zip around a packet: written in one way only, read as if a stranger had made it.

Written: files in order of name, stored, no dates, no comments, so that the same files are the same bytes.
Read: stored or deflated, within limits, no name twice, no name that leaves its folder.
Source: PKWARE APPNOTE 6.3.3, the subset of ISO/IEC 21320-1 without 64-bit sizes.
"""

from __future__ import annotations

import re
import struct
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

MOST_FILES = 2_000
MOST_BYTES = 1 << 30
PLAIN_BYTES, MOST_SWELLING = 1 << 26, 20
"""A zip may unpack to the first in any case, to more only up to so many times its own size: pictures hardly shrink."""
STORED, DEFLATED = 0, 8
_LOCAL = struct.Struct("<4s5H3I2H")
_CENTRAL = struct.Struct("<4s6H3I5H2I")
_END = struct.Struct("<4s4H2IH")
_VERSION, _DATE = 20, 0x21  # 1980-01-01, the first day a zip can hold
_NAME = re.compile(r"[A-Za-z0-9_][A-Za-z0-9._ -]{0,120}(/[A-Za-z0-9_][A-Za-z0-9._ -]{0,120})*")


class BadArchive(ValueError):
    """Not a zip that could hold a packet; says why."""


@dataclass(frozen=True)
class Archive:
    """The files of a zip by name.

    ``damaged`` names those whose checksum is wrong; ``as_written`` is whether the zip is byte for byte what
    ``write_archive`` makes of these files.
    """

    files: Mapping[str, bytes]
    damaged: tuple[str, ...]
    as_written: bool


def write_archive(files: Mapping[str, bytes]) -> bytes:
    """The one zip of these files; refuses names that a reader would refuse."""
    _refuse_names(list(files))
    if len(files) > MOST_FILES or sum(map(len, files.values())) > MOST_BYTES:
        raise BadArchive(f"too large for a packet: at most {MOST_FILES} files and {MOST_BYTES >> 20} MiB")
    body, directory = bytearray(), bytearray()
    for name in sorted(files):
        data, raw = files[name], name.encode("ascii")
        facts = (0, STORED, 0, _DATE, zlib.crc32(data), len(data), len(data), len(raw))
        directory += _CENTRAL.pack(b"PK\x01\x02", _VERSION, _VERSION, *facts, 0, 0, 0, 0, 0, len(body)) + raw
        body += _LOCAL.pack(b"PK\x03\x04", _VERSION, *facts, 0) + raw + data
    end = _END.pack(b"PK\x05\x06", 0, 0, len(files), len(files), len(directory), len(body), 0)
    return bytes(body + directory + end)


def read_archive(data: bytes) -> Archive:
    """Everything in a zip; refuses encryption, unknown compression, doubled or escaping names, and bombs."""
    files: dict[str, bytes] = {}
    damaged = []
    room = MOST_BYTES
    members = list(_members(data))
    _refuse_names([member.name for member in members])
    if sum(member.size for member in members) > max(PLAIN_BYTES, MOST_SWELLING * len(data)):
        raise BadArchive(f"it would unpack to more than {MOST_SWELLING} times its size; a packet hardly shrinks")
    for member in members:
        content = _unpacked(data, member, room)
        room -= len(content)
        files[member.name] = content
        if len(content) != member.size or zlib.crc32(content) != member.checksum:
            damaged.append(member.name)
    return Archive(files, tuple(damaged), as_written=bool(files) and write_archive(files) == data)


@dataclass(frozen=True)
class _Member:
    name: str
    method: int
    checksum: int
    packed: int
    size: int
    start: int


def _members(data: bytes) -> Iterator[_Member]:
    """The files in the central directory; folders carry nothing and are passed over."""
    end = data.rfind(b"PK\x05\x06", max(0, len(data) - _END.size - 0xFFFF))
    if end < 0 or end + _END.size > len(data):
        raise BadArchive("this is not a zip, or its end is missing (an interrupted download?)")
    *_, count, _length, place, _comment = _END.unpack_from(data, end)
    if count > MOST_FILES:
        raise BadArchive(f"{count} files; a packet has at most {MOST_FILES}")
    for _ in range(count):
        if place + _CENTRAL.size > end:
            raise BadArchive("its table of contents is cut off")
        head = _CENTRAL.unpack_from(data, place)
        signature, flags, method, checksum, packed, size = (head[i] for i in (0, 3, 4, 7, 8, 9))
        if signature != b"PK\x01\x02":
            raise BadArchive("its table of contents is damaged")
        if flags & 1 or method not in (STORED, DEFLATED):
            raise BadArchive("a file in it is encrypted or packed in an unknown way")
        raw = data[place + _CENTRAL.size : place + _CENTRAL.size + head[10]]
        place += _CENTRAL.size + head[10] + head[11] + head[12]
        if not raw.endswith(b"/"):
            yield _Member(raw.decode("utf-8", "replace"), method, checksum, packed, size, head[16])


def _unpacked(data: bytes, member: _Member, room: int) -> bytes:
    if member.start + _LOCAL.size > len(data) or data[member.start : member.start + 4] != b"PK\x03\x04":
        raise BadArchive(f"{member.name} is not where the table of contents says")
    local = _LOCAL.unpack_from(data, member.start)
    begin = member.start + _LOCAL.size + local[9] + local[10]
    packed = data[begin : begin + member.packed]
    if member.size > room or len(packed) > room:
        raise BadArchive(f"unpacks to more than {MOST_BYTES >> 20} MiB; a packet is smaller")
    if member.method == STORED:
        return packed
    inflater = zlib.decompressobj(-15)
    try:
        content = inflater.decompress(packed, member.size + 1)
    except zlib.error as error:
        raise BadArchive(f"{member.name} is damaged ({error})") from error
    if len(content) > member.size:
        raise BadArchive(f"{member.name} unpacks to more than it says")
    return content


def _refuse_names(names: list[str]) -> None:
    seen: set[str] = set()
    for name in names:
        if not _NAME.fullmatch(name):
            raise BadArchive(f"the file name {name!r} is not one a packet can have")
        if name.casefold() in seen:
            raise BadArchive(f"the file name {name!r} stands twice in it")
        seen.add(name.casefold())
