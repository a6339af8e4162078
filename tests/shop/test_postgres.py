"""The same tests once more on a real PostgreSQL, in a cluster of its own."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

HERE = Path(__file__).parent
ON_BOTH = ("test_ledger.py", "test_actions.py", "test_pages.py", "test_records.py")


def find_program(name: str) -> str:
    places = sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    found = shutil.which(name) or next((str(place / name) for place in places if (place / name).exists()), None)
    assert found, f"{name} is needed for this test: apt-get install postgresql"
    return found


@pytest.fixture
def address() -> Iterator[str]:
    """A fresh cluster; PostgreSQL refuses to run as root, so as `postgres` where we are root."""
    as_user = {"user": "postgres"} if os.geteuid() == 0 else {}
    with tempfile.TemporaryDirectory(prefix="pg") as folder:
        if as_user:
            shutil.chown(folder, "postgres")
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        data = f"{folder}/data"
        options = f"-p {port} -k {folder} -c listen_addresses=127.0.0.1 -c fsync=off -c full_page_writes=off"
        start = [find_program("pg_ctl"), "-D", data, "-w", "-l", f"{folder}/log", "-o", options, "start"]
        commands = ([find_program("initdb"), "-D", data, "-U", "samestone", "-A", "trust", "-E", "UTF8"], start)
        for command in commands:
            subprocess.run(command, check=True, cwd=folder, stdout=subprocess.DEVNULL, **as_user)
        try:
            yield f"postgresql://samestone@127.0.0.1:{port}/postgres"
        finally:
            stop = [find_program("pg_ctl"), "-D", data, "-m", "immediate", "stop"]
            subprocess.run(stop, check=True, cwd=folder, stdout=subprocess.DEVNULL, **as_user)


def test_the_shop_on_postgresql(address: str) -> None:
    tests = [str(HERE / name) for name in ON_BOTH]
    run = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *tests],
        env={**os.environ, "SAMESTONE_DATABASE": address},
        cwd=HERE.parents[1],
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, run.stdout[-4000:]
    assert " passed" in run.stdout or "[100%]" in run.stdout
