"""A consistent copy of a shop, also while it serves: first the database at one moment, then every file it names."""

from __future__ import annotations

import shutil
import sqlite3
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.db import connection

from samestone.shop.folder import flush_folder, make_folder

_SECRETS = ("key.pem", "certificate.pem")
_OWN = "photo-calibration.json"


class BackupRefused(Exception):
    """The copy cannot be made there; says why and what to do."""


@dataclass(frozen=True)
class Copied:
    """What was copied."""

    entries: int
    files: int
    with_key: bool


def copy_shop(target: Path, *, with_key: bool) -> Copied:
    """Copies database, vault, the shop's own calibration of pictures and (if wanted) the signing key to a new folder;
    refuses one that holds something.

    Files are put into the vault before rows name them and are never removed, so a copy of the database made first
    finds all its files. SQLite only: on PostgreSQL use its own `pg_dump`, and copy the data folder after it.
    """
    if connection.vendor != "sqlite":
        raise BackupRefused("this shop keeps its tables in PostgreSQL: run pg_dump first, then copy the data folder")
    if target.exists() and any(target.iterdir()):
        raise BackupRefused(f"found something in {target}; expected a new or empty folder: name another one")
    source = Path(settings.DATA)
    if target.resolve().is_relative_to(source):
        raise BackupRefused(f"{target} lies inside the data folder itself; name a folder elsewhere, on another disk")
    target.mkdir(parents=True, exist_ok=True, mode=0o700)
    entries = _copy_database(source / "db.sqlite3", target / "db.sqlite3")
    files = _copy_vault(source / "vault", target / "vault")
    make_folder(target)
    if (source / _OWN).exists():
        shutil.copy2(source / _OWN, target / _OWN)
    copied_key = with_key and _copy_secrets(source, target)
    flush_folder(target)
    return Copied(entries, files, copied_key)


def _copy_database(source: Path, target: Path) -> int:
    with sqlite3.connect(source) as live, sqlite3.connect(target) as copy:
        live.backup(copy)
        (count,) = copy.execute("SELECT count(*) FROM shop_entry").fetchone()
    live.close()
    copy.close()
    target.chmod(0o600)
    return int(count)


def _copy_vault(source: Path, target: Path) -> int:
    """Drafts (names with a dot in front) stay behind: they are files still being written."""
    files = [path for path in source.glob("*/*") if not path.name.startswith(".")]
    for path in files:
        copy = target / path.relative_to(source)
        copy.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        shutil.copy2(path, copy)
    return len(files)


def _copy_secrets(source: Path, target: Path) -> bool:
    for name in _SECRETS:
        if (source / name).exists():
            shutil.copy2(source / name, target / name)
    return (target / "key.pem").exists()
