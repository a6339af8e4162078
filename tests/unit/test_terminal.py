"""Streams that are closed or full, and terminals that lack characters: a line, never a traceback."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

PACKET = Path(__file__).parents[1] / "packets" / "good-1.zip"
RUN = f'"{sys.executable}" -c "import sys; from samestone.cli import main; sys.exit(main())"'


def shell(line: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(["bash", "-c", line], capture_output=True, text=True, check=False, encoding="utf-8")


@pytest.mark.parametrize(
    ("line", "status", "said"),
    [
        (f"{RUN} material - <&-", 2, "cannot be read as JSON"),
        (f"{RUN} verify {PACKET} >/dev/full", 2, "No space left"),
        (f"{RUN} verify {PACKET} >&-", 0, ""),
        (f"{RUN} verify {PACKET} | true; exit ${{PIPESTATUS[0]}}", 0, ""),
        (f"PYTHONIOENCODING=ascii {RUN} verify {PACKET}", 0, ""),
    ],
    ids=["no input", "full disk", "no output", "nobody reads", "ascii"],
)
def test_a_line_and_no_traceback(line: str, status: int, said: str) -> None:
    done = shell(line)
    assert done.returncode == status
    assert said in done.stderr
    assert "Traceback" not in done.stderr
    assert "Error" not in done.stderr
