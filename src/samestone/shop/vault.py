"""Photographs on disk under the SHA-256 of their original bytes; flushed before any row names them."""

from __future__ import annotations

import hashlib
import os
import re
import secrets
from collections.abc import Iterable, Iterator
from pathlib import Path

from django.conf import settings

from samestone.shop.folder import flush_folder

_DIGEST = re.compile(r"[0-9a-f]{64}")


class NotInVault(Exception):
    """No file is kept under this digest."""


def store(content: bytes) -> str:
    """Keeps `content` for good, flushed to disk, and returns its digest. The same bytes are kept once."""
    digest = hashlib.sha256(content).hexdigest()
    path = _path(digest)
    if path.exists():
        return digest
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    draft = path.with_name(f".{digest}.{secrets.token_hex(4)}")
    try:
        with draft.open("xb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        draft.replace(path)
    finally:
        draft.unlink(missing_ok=True)
    flush_folder(path.parent)
    return digest


def read(digest: str) -> bytes:
    """The original bytes; raises `NotInVault`."""
    try:
        return _path(digest).read_bytes()
    except FileNotFoundError as error:
        raise NotInVault(f"no file {digest[:12]}… in the vault; restore it from a backup") from error


def find(digest: str) -> bytes | None:
    """The original bytes, or None where they were let go."""
    return read(digest) if _path(digest).exists() else None


def digests() -> Iterator[str]:
    """The digests under which files are kept, in no order."""
    for path in _folder().glob("*/*"):
        if _DIGEST.fullmatch(path.name):
            yield path.name


def let_go(forgotten: Iterable[str]) -> None:
    """Deletes what may no longer be kept; whoever calls has written in the log that it was."""
    for digest in forgotten:
        _path(digest).unlink(missing_ok=True)


def is_intact(digest: str) -> bool:
    """Whether the kept bytes still have their digest."""
    return hashlib.sha256(read(digest)).hexdigest() == digest


def _folder() -> Path:
    return Path(settings.DATA) / "vault"


def _path(digest: str) -> Path:
    if not _DIGEST.fullmatch(digest):
        raise NotInVault(f"{digest[:80]!r} is not a digest: expected 64 lower-case hexadecimal digits")
    return _folder() / digest[:2] / digest
