"""The command line: one module per group of commands, each imported only when its command is asked for.

A group module has `add_commands(subparsers)`, which must import nothing heavy, and functions that do the work and
return the exit status: 0 good, 1 the answer is "no" (a check that fails), 2 the input was wrong.
"""

from __future__ import annotations

import argparse
import importlib
import io
import os
import sys
from collections.abc import Sequence

from samestone import __version__

# Two pictures are worked on side by side; the linear algebra library's own threads would only wait for each other.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

GROUPS = ("judge", "find", "custody", "replay", "counter", "gem", "metrology", "photo")


class Refusal(Exception):
    """What was found, what was expected and what to do next; ends the program with status 2."""


def build_parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="samestone", description="Is it the same stone? The counter, and its tools.")
    parser.add_argument("--version", action="version", version=f"samestone {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for group in GROUPS:
        importlib.import_module(f"samestone.cli.{group}").add_commands(commands)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; whatever cannot be read or written is said in a line, never in a traceback."""
    _prepare_terminal()
    arguments = build_parser().parse_args(argv)
    try:
        status = int(arguments.run(arguments))
        sys.stdout.flush()
    except Refusal as refusal:
        print(f"samestone: {refusal}", file=sys.stderr)
        return 2
    except BrokenPipeError:  # whoever read has read enough; nothing is left to be written at the end
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except OSError as error:
        print(f"samestone: cannot read or write {error.filename or 'the output'}: {error.strerror}", file=sys.stderr)
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 2
    return status


def _prepare_terminal() -> None:
    """Streams that were closed are empty; characters that a terminal does not have are written as escapes."""
    sys.stdin = sys.stdin or io.TextIOWrapper(io.BytesIO())
    sys.stdout = sys.stdout or io.TextIOWrapper(io.BytesIO())
    sys.stderr = sys.stderr or io.TextIOWrapper(io.BytesIO())
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")
