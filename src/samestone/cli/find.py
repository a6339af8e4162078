"""`samestone next` and `samestone search`: what to examine next, and where a stray stone belongs."""

from __future__ import annotations

import argparse


def add_commands(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Nothing yet."""
