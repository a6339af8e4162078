"""The command line: one module per group of commands, each imported only when its command is asked for.

A group module has `add_commands(subparsers)`, which must import nothing heavy, and functions that do the work and
return the exit status: 0 good, 1 the answer is "no" (a check that fails), 2 the input was wrong.
"""

from __future__ import annotations

import argparse
import importlib
import sys
from collections.abc import Sequence

from samestone import __version__

GROUPS = ("judge", "find", "custody", "counter", "gem", "metrology", "photo")


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
    arguments = build_parser().parse_args(argv)
    try:
        return int(arguments.run(arguments))
    except Refusal as refusal:
        print(f"samestone: {refusal}", file=sys.stderr)
        return 2
    except BrokenPipeError:
        return 0
