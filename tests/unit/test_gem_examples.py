"""The examples in the docstrings of gem and metrology give what they say."""

from __future__ import annotations

import doctest
import importlib
import pkgutil

import pytest

from samestone import gem, metrology

MODULES = [
    f"{room.__name__}.{found.name}" for room in (gem, metrology) for found in pkgutil.iter_modules(room.__path__)
]


@pytest.mark.parametrize("name", MODULES)
def test_examples(name: str) -> None:
    assert doctest.testmod(importlib.import_module(name)).failed == 0


def test_there_are_examples() -> None:
    assert sum(doctest.testmod(importlib.import_module(name)).attempted for name in MODULES) >= 10
