"""The data folder: where it is, and the secrets made in it on first start. Standard library only."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

DEFAULT = "~/Samestone"


def data_folder() -> Path:
    """The folder named by SAMESTONE_DATA, or ~/Samestone; never inside the program."""
    return Path(os.environ.get("SAMESTONE_DATA") or DEFAULT).expanduser().resolve()


def make_folder(folder: Path) -> Path:
    """Creates the folder (for its owner alone) and the secret that signs sessions; both stay as they are if there."""
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    (folder / "vault").mkdir(exist_ok=True, mode=0o700)
    write_secret(folder / "secret", secrets.token_urlsafe(50).encode())
    return folder


def write_secret(path: Path, content: bytes) -> bytes:
    """Writes `content` to a new file that only its owner may read, flushed; returns what the file holds afterwards.

    A file that is there already is left alone. Two processes that start together end up with one and the same secret.
    """
    if not path.exists():
        draft = path.with_name(f".{path.name}.{os.getpid()}.{secrets.token_hex(4)}")
        handle = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        try:
            os.link(draft, path)
        except FileExistsError:
            pass
        finally:
            draft.unlink()
        flush_folder(path.parent)
    return path.read_bytes()


def flush_folder(folder: Path) -> None:
    """Makes the names in a folder survive a power cut."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def session_secret(folder: Path) -> str:
    """The stored secret; before the first start a fresh one, so that nothing is written by importing the settings."""
    path = folder / "secret"
    return path.read_text() if path.exists() else secrets.token_urlsafe(50)


def local_time_zone() -> str:
    """The machine's time zone by name, for the hours shown at the counter; records are kept in UTC."""
    if name := os.environ.get("SAMESTONE_TIME_ZONE"):
        return name
    link = str(Path("/etc/localtime").resolve())
    return link.split("zoneinfo/", 1)[1] if "zoneinfo/" in link else "UTC"
