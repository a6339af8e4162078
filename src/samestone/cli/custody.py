"""Commands to come."""

from __future__ import annotations

import argparse


def add_commands(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Nothing yet."""
