"""A full disk, hostile pictures, the same thing twice: afterwards nothing happened, or `check` says what is wrong."""

from __future__ import annotations

import datetime as dt
import errno
import io
import os
import struct
import zlib
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from django.db import DatabaseError
from PIL import Image

from samestone.shop import audit, vault
from samestone.shop.finding import record_finding
from samestone.shop.models import Entry, Examination, Mark, Member, Payload, Photograph
from samestone.shop.photograph import NotAPhotograph, keep_photograph

pytestmark = pytest.mark.django_db


def test_no_room_between_row_and_entry(
    received: Examination, at: dt.datetime, owner: Member, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = Mark.objects.count(), Entry.objects.count(), Payload.objects.count()

    def refuse(**_: object) -> None:
        raise DatabaseError("database or disk is full")

    monkeypatch.setattr(Payload.objects, "create", refuse)
    with pytest.raises(DatabaseError):
        record_finding(Mark, received, at=at, by=owner, category="damage", angle_deg="0")
    monkeypatch.undo()
    assert (Mark.objects.count(), Entry.objects.count(), Payload.objects.count()) == before
    assert audit.check_shop() == ()


def picture(size: tuple[int, int] = (200, 150), kind: str = "PNG") -> bytes:
    file = io.BytesIO()
    Image.new("RGB", size, (120, 130, 140)).save(file, kind)
    return file.getvalue()


def test_no_room_in_the_vault_writes_no_row(
    received: Examination, at: dt.datetime, owner: Member, monkeypatch: pytest.MonkeyPatch, settings: object
) -> None:
    def refuse(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(vault.os, "fsync", refuse)
    with pytest.raises(OSError, match="No space"):
        keep_photograph(received, picture(), view="face-up", at=at, by=owner)
    assert not Photograph.objects.exists()
    assert [path for path in Path(settings.DATA).rglob("*") if path.is_file() and path.suffix != ".pem"] == []  # type: ignore[attr-defined]


def test_a_crash_between_file_and_row_leaves_an_orphan_that_check_reports(received: Examination) -> None:
    digest = vault.store(picture())
    assert [(p.where, p.breaks) for p in audit.check_shop()] == [(f"vault {digest[:12]}…", False)]


def lying_png(width: int, height: int) -> bytes:
    """A PNG whose header claims far more pixels than its few bytes hold."""
    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    pixels = zlib.compress(bytes(1000))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", pixels) + chunk(b"IEND", b"")


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "no photograph"),
        (b"<svg onload=alert(1)></svg>", "no photograph"),
        (b"\xff\xd8\xff\xe0 a text that says it is a JPEG", "damaged"),
        (lying_png(60_000, 60_000), "megapixels|too large"),
        (lying_png(10_000, 6_000), "cut short|damaged"),
        (picture()[:-40], "cut short|damaged"),
        (picture(kind="TIFF"), "TIFF"),
        (b"\x89PNG" + bytes(41 * 2**20), "MB"),
    ],
    ids=["nothing", "svg", "lying jpeg", "bomb", "60 MP that are not there", "cut short", "tiff", "too many bytes"],
)
def test_a_hostile_picture_is_refused_in_words_and_leaves_nothing(
    received: Examination, at: dt.datetime, owner: Member, content: bytes, says: str
) -> None:
    before = Entry.objects.count()
    with pytest.raises(NotAPhotograph, match=says):
        keep_photograph(received, content, view="face-up", at=at, by=owner)
    assert Entry.objects.count() == before
    assert not Photograph.objects.exists()
    assert not list(vault.digests())


def test_the_original_bytes_are_kept(received: Examination, at: dt.datetime, owner: Member) -> None:
    content = picture(kind="JPEG")
    photo = keep_photograph(received, content, view="as received", at=at, by=owner)
    assert vault.read(photo.digest) == content
    assert (photo.width, photo.height, photo.media_type) == (200, 150, "image/jpeg")
    assert audit.check_shop() == ()


def test_many_writers_keep_the_same_bytes_once(settings: object) -> None:
    content = picture((900, 900))
    with ThreadPoolExecutor(8) as pool:
        digests = set(pool.map(vault.store, [content] * 32))
    assert len(digests) == 1
    assert vault.read(digests.pop()) == content
    assert len([path for path in Path(settings.DATA).rglob("*") if path.is_file()]) == 1  # type: ignore[attr-defined]
