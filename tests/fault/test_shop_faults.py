"""Killed while writing, several writers at once, copied while writing: nothing acknowledged is lost, `check` passes."""

from __future__ import annotations

import random
import shutil
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

WRITER = Path(__file__).with_name("shop_writer.py")
SAMESTONE = Path(sys.executable).with_name("samestone")


def start_writer(folder: Path, prefix: str, count: int = 100_000, *room: str) -> subprocess.Popen[str]:
    writer = subprocess.Popen(
        [sys.executable, str(WRITER), str(folder), prefix, str(count), *room],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert writer.stdout is not None
    assert writer.stdout.readline() == "ready\n", writer.communicate()[1]
    return writer


def check(folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run([str(SAMESTONE), "check", "--data", str(folder)], capture_output=True, text=True, check=False)


def envelopes(folder: Path) -> set[str]:
    with sqlite3.connect(folder / "db.sqlite3") as database:
        return {row[0] for row in database.execute("SELECT envelope FROM shop_job")}


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A shop that is open already."""
    shop = tmp_path_factory.mktemp("opened") / "shop"
    writer = start_writer(shop, "FIRST", 1)
    assert writer.wait(60) == 0
    return shop


@pytest.fixture
def folder(opened: Path, tmp_path: Path) -> Path:
    """A copy of it, so that the rounds start quickly."""
    return Path(shutil.copytree(opened, tmp_path / "shop"))


def test_killed_while_writing(folder: Path) -> None:
    chance = random.Random(20260302)
    acknowledged: set[str] = set()
    for turn in range(4):
        writer = start_writer(folder, f"T{turn}-")
        time.sleep(chance.uniform(0.05, 0.4))
        writer.kill()
        said = writer.communicate()[0].split("\n")
        acknowledged |= set(said[:-1])  # the last line may be cut
    assert acknowledged, "the writer was killed before it wrote anything"
    assert acknowledged <= envelopes(folder)
    result = check(folder)
    assert result.returncode == 0, result.stdout


def test_a_full_disk_leaves_rows_and_entry_or_neither(folder: Path) -> None:
    for room in ("2", "17"):
        writer = start_writer(folder, f"R{room}-", 100_000, room)
        said, errors = writer.communicate(timeout=60)
        assert writer.returncode != 0
        assert "database or disk is full" in errors
        assert set(said.split()) <= envelopes(folder)
        result = check(folder)
        assert result.returncode == 0, result.stdout


def test_two_writers_and_a_backup_at_once(folder: Path, tmp_path: Path) -> None:
    writers = [start_writer(folder, name, 15) for name in ("A", "B")]
    copy = tmp_path / "copy"
    command = [str(SAMESTONE), "backup", str(copy), "--data", str(folder)]
    backup = subprocess.run(command, capture_output=True, text=True, check=False)
    assert backup.returncode == 0, backup.stderr
    for writer in writers:
        _, errors = writer.communicate(timeout=120)
        assert writer.returncode == 0, errors
    assert len(envelopes(folder)) == 31
    for place in (folder, copy):
        result = check(place)
        assert result.returncode == 0, result.stdout
    assert (copy / "db.sqlite3").stat().st_mode & 0o077 == 0
    again = subprocess.run(command, capture_output=True, text=True, check=False)
    assert again.returncode == 2
    assert "expected a new or empty folder" in again.stderr


def test_a_row_changed_in_the_file_is_noticed(folder: Path) -> None:
    assert check(folder).returncode == 0
    database = sqlite3.connect(folder / "db.sqlite3")
    database.execute("DROP TRIGGER shop_mark_no_update")
    database.execute("UPDATE shop_mark SET angle_deg = '46' WHERE angle_deg = '45'")
    database.commit()
    database.close()
    result = check(folder)
    assert result.returncode == 1
    assert "differs from entry" in result.stdout
    assert "the trigger shop_mark_no_update is missing" in result.stdout


def test_a_folder_without_a_shop_is_refused(tmp_path: Path) -> None:
    result = check(tmp_path)
    assert result.returncode == 2
    assert "found no shop" in result.stderr
