"""What the pages must name: every command, flag, setting, property, record key, word and kind of entry."""

from __future__ import annotations

import ast
import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from scripts import list_commands

from samestone import gem
from samestone.evidence import entry, examination, record, sighting
from samestone.shop import life

HOME = Path(__file__).parents[2]
SOURCE, DOCS = HOME / "src" / "samestone", HOME / "docs"
EXAMINATION = (DOCS / "format" / "examination.md").read_text(encoding="utf-8")
SCHEMA = json.loads((DOCS / "format" / "examination-1.schema.json").read_text(encoding="utf-8"))
PAGES = [HOME / "README.md", HOME / "CONTRIBUTING.md", *sorted(DOCS.rglob("*.md"))]


def key_sets() -> Iterator[entry.Keys]:
    for module in (record, sighting):
        yield from (value for value in vars(module).values() if isinstance(value, entry.Keys))


def schema_keys(node: object) -> Iterator[str]:
    if isinstance(node, dict):
        yield from node.get("properties", {})
        for value in node.values():
            yield from schema_keys(value)
    elif isinstance(node, list):
        for value in node:
            yield from schema_keys(value)


def test_the_page_of_commands_is_written_from_the_parsers() -> None:
    assert list_commands.REFERENCE.read_text(encoding="utf-8") == list_commands.page(), (
        "run: python -m scripts.list_commands"
    )


def test_every_argument_says_what_it_is() -> None:
    assert [line for line in list_commands.page().splitlines() if line.endswith("| |")] == []


def test_every_setting_is_named() -> None:
    used = {name for path in SOURCE.rglob("*.py") for name in re.findall(r"SAMESTONE_[A-Z_]+", path.read_text("utf-8"))}
    assert used
    assert used == set(re.findall(r"`(SAMESTONE_[A-Z_]+)`", list_commands.HEAD))


def test_every_key_of_a_record_is_named_and_in_the_schema() -> None:
    keys = {key for keys in key_sets() for key in keys.known}
    assert len(keys) > 30
    assert {key for key in keys if f"`{key}`" not in EXAMINATION} == set()
    assert set(schema_keys(SCHEMA)) == keys


@pytest.mark.parametrize(
    "words",
    [
        tuple(examination.PROPERTY_UNIT),
        examination.UV_TESTS + examination.RESULT_TESTS,
        examination.STRENGTHS + examination.COLOURS,
        tuple(examination.OBSERVATIONS),
        examination.CHANGES,
    ],
    ids=["properties", "tests", "strengths and colours", "observations", "changes"],
)
def test_every_word_of_a_record_is_named_and_in_the_schema(words: tuple[str, ...]) -> None:
    schema = json.dumps(SCHEMA)
    assert [word for word in words if not re.search(rf'[`"]{word}[`"]', EXAMINATION)] == []
    assert [word for word in words if f'"{word}"' not in schema] == []


def test_every_kind_of_characteristic_is_in_the_schema() -> None:
    schema = json.dumps(SCHEMA)
    assert [kind for kind in examination.CHARACTERISTICS if f'"{kind}"' not in schema] == []


def test_the_properties_of_a_record_are_those_that_gem_knows() -> None:
    assert set(examination.PROPERTY_UNIT) == set(gem.PROPERTIES)


def kinds_of_entry() -> Iterator[str]:
    """What the shop's code gives `ledger.append` first: a text, or a name for one in the same module."""
    for path in (SOURCE / "shop").rglob("*.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        named = {
            target.id: node.value.value
            for node in tree.body
            if isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant)
            for target in node.targets
            if isinstance(target, ast.Name)
        }
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and ast.unparse(node.func) == "ledger.append":
                kind = node.args[0]
                if isinstance(kind, ast.Constant):
                    yield str(kind.value)
                elif isinstance(kind, ast.Name) and kind.id in named:
                    yield str(named[kind.id])


def test_every_kind_of_entry_is_named() -> None:
    text = " ".join((DOCS / "reference" / "shop-map.md").read_text(encoding="utf-8").split())
    kinds = {*kinds_of_entry(), *life.MOVES}
    assert len(kinds) > 30
    assert {kind for kind in kinds if f"`{kind}`" not in text} == set()


@pytest.mark.parametrize("path", PAGES, ids=lambda path: str(path.relative_to(HOME)))
def test_links_lead_somewhere(path: Path) -> None:
    links = re.findall(r"\]\(([^)#\s]+)[^)]*\)", path.read_text(encoding="utf-8"))
    inside = [link for link in links if "://" not in link and not link.startswith("mailto:")]
    assert [link for link in inside if not (path.parent / link).exists()] == []
