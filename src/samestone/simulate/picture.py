"""The rendered pictures that come with the program, and what is true of each."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

FOLDER = files("samestone.simulate") / "pictures"


def demo_truth() -> dict[str, Any]:
    """Per picture of the demo: outline, pose, scale, claws and every feature with its place; pixels as in imaging."""
    truth: dict[str, Any] = json.loads((FOLDER / "demo.json").read_text())
    return truth


def demo_picture(name: str) -> bytes:
    """The JPEG bytes of one demo picture; an unknown name is refused with the known ones.

    >>> demo_picture("cleaned")[:2]
    b'\\xff\\xd8'
    """
    known = sorted(demo_truth())
    if name not in known:
        raise ValueError(f"there is no demo picture {name!r}; choose one of {', '.join(known)}")
    return (FOLDER / f"{name}.jpg").read_bytes()
