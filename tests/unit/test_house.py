"""What imports alone cannot say about the house: sizes, front doors, clocks, words."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

HOUSE = Path(__file__).parents[2] / "src" / "samestone"
ROOMS = {"metrology", "gem", "imaging", "evidence", "custody", "paper", "simulate"}
MODULES = sorted(path for path in HOUSE.rglob("*.py") if "migrations" not in path.parts)
FORBIDDEN_NAMES = {"utils", "helpers", "common", "base", "manager", "service", "core"}


def functions(tree: ast.AST) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


def body_length(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    body = function.body[1:] if ast.get_docstring(function) and len(function.body) > 1 else function.body
    return (function.end_lineno or 0) - body[0].lineno + 1


def room_of(path: Path) -> str:
    return path.relative_to(HOUSE).parts[0].removesuffix(".py")


def imported_modules(tree: ast.AST) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            yield node.module


@pytest.fixture(params=MODULES, ids=lambda path: str(path.relative_to(HOUSE)))
def module(request: pytest.FixtureRequest) -> tuple[Path, str, ast.Module]:
    path: Path = request.param
    text = path.read_text(encoding="utf-8")
    return path, text, ast.parse(text)


def test_sizes(module: tuple[Path, str, ast.Module]) -> None:
    path, text, tree = module
    assert text.count("\n") <= 500, "a file has at most 500 lines"
    assert path.stem not in FORBIDDEN_NAMES, "a module is named after what it holds"
    long = {f.name: body_length(f) for f in functions(tree) if body_length(f) > 60}
    assert not long, "a function body has at most 60 lines"


def test_rooms_are_entered_by_the_front_door(module: tuple[Path, str, ast.Module]) -> None:
    path, _, tree = module
    here = room_of(path)
    side_doors = {
        name
        for name in imported_modules(tree)
        if (parts := name.split("."))[0] == "samestone" and len(parts) > 2 and parts[1] in ROOMS - {here}
    }
    assert not side_doors


@pytest.mark.parametrize("room", sorted(ROOMS))
def test_a_front_door_has_a_docstring_and_few_names(room: str) -> None:
    tree = ast.parse((HOUSE / room / "__init__.py").read_text(encoding="utf-8"))
    assert ast.get_docstring(tree)
    names = [
        ast.literal_eval(node.value)
        for node in tree.body
        if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "__all__"
    ]
    assert names, "a front door lists its names in __all__"
    assert len(names[0]) <= 8


def test_the_clock_is_read_at_the_edges_only(module: tuple[Path, str, ast.Module]) -> None:
    path, text, _ = module
    if room_of(path) == "cli" or path.stem.split("_")[-1] in {"views", "middleware"}:
        return
    assert not re.search(r"datetime\.now\(|timezone\.now\(|utcnow\(|time\.time\(", text)


def test_nothing_is_swallowed(module: tuple[Path, str, ast.Module]) -> None:
    _, _, tree = module
    for node in ast.walk(tree):
        if isinstance(node, ast.ExceptHandler):
            assert node.type is not None
            assert getattr(node.type, "id", "") not in {"Exception", "BaseException"}


def test_words_we_do_not_use() -> None:
    shown = [*HOUSE.rglob("*.html"), *HOUSE.rglob("*.typ"), *HOUSE.rglob("*.py")]
    for path in shown:
        text = path.read_text(encoding="utf-8").lower()
        for word in ("match score", "confidence score", "proven to be"):
            assert word not in text, f"{path.name} says {word!r}"
