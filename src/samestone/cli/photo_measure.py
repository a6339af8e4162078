"""`samestone photo silhouette | scale | prongs | inscription | stack`."""

from __future__ import annotations

import argparse


def add_photo_commands(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Nothing yet."""
