"""The reference pages say what the program knows."""

from __future__ import annotations

import pytest
from scripts.gem_tables import REFERENCE, pages


@pytest.mark.parametrize("name", ["materials.md", "cuts.md", "care.md"])
def test_a_reference_page_is_written_from_the_tables(name: str) -> None:
    assert (REFERENCE / name).read_text(encoding="utf-8") == pages()[name], "run: python -m scripts.gem_tables"
