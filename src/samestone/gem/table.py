"""The room's own tables of numbers, each with its source, read once from the package."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import Any


@cache
def read_table(name: str) -> dict[str, Any]:
    """Read data/<name>.toml; the result is shared, do not change it."""
    return tomllib.loads(files("samestone.gem").joinpath("data", f"{name}.toml").read_text(encoding="utf-8"))
