"""Write docs/reference/commands.md from the command line's own parsers: python -m scripts.list_commands"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

from samestone.cli import build_parser

REFERENCE = Path(__file__).parents[1] / "docs" / "reference" / "commands.md"

HEAD = """# Commands

Everything that `samestone` can do at the command line; `samestone COMMAND --help` says the same. This page is written
by `python -m scripts.list_commands`.

Exit status: 0 the answer is good, 1 the answer is no (a check that fails, figures that disagree, a picture that cannot
be measured), 2 the input was wrong: the message says what was found, what was expected and what to do next. `compare`
gives 0 whatever its verdict: the ladder is the answer. Results go to standard output, messages to standard error.

## Settings

What differs between shops comes from the environment.

| variable | what |
|---|---|
| `SAMESTONE_DATA` | the data folder: database, photographs, keys (default `~/Samestone`); `--data` goes before it |
| `SAMESTONE_DATABASE` | a PostgreSQL address such as `postgresql://user@host/name`, instead of SQLite in that folder |
| `SAMESTONE_HOSTS` | further names under which browsers may reach the counter, with commas between |
| `SAMESTONE_TIME_ZONE` | the hours shown at the counter (default: the machine's); records are kept in UTC |
"""

MORE = {
    "compare": "[the record's format, the result](../format/examination.md) · [the method](../method/evidence.md)",
    "next": "[the method](../method/next-examination.md)",
    "search": "[the method](../method/search.md) · [how to](../howto/stray-stone.md)",
    "verify": "[the packet](../format/packet.md)",
    "replay": "[the packet](../format/packet.md)",
    "check": "[the log](../format/log.md)",
    "backup": "[how to](../howto/backup.md)",
    "serve": "[first start](../howto/first-start.md)",
    "material": "[materials, and the file it reads](materials.md)",
    "weight": "[cuts](cuts.md)",
    "gauge-study": "[the method](../method/metrology.md)",
    "repeatability": "[the method](../method/metrology.md)",
}
"""Where more is said of a command."""


def page() -> str:
    """The whole page."""
    return "\n".join([HEAD, *_sections(build_parser())]) + "\n"


def parsers(parser: argparse.ArgumentParser) -> Iterator[tuple[str, str, argparse.ArgumentParser]]:
    """(name, help, parser) of every command, subcommands after the command that holds them."""
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            help_of = {choice.dest: choice.help or "" for choice in action._choices_actions}
            for name, inner in action.choices.items():
                full = inner.prog.removeprefix("samestone ")
                yield full, help_of.get(name, ""), inner
                yield from parsers(inner)


def _sections(parser: argparse.ArgumentParser) -> Iterator[str]:
    for name, said, inner in parsers(parser):
        yield f"## samestone {name}\n"
        about = inner.description or said
        yield f"{about[:1].upper()}{about[1:]}{'' if about.endswith(('.', '?')) else '.'}\n"
        rows = [row for action in inner._actions if (row := _row(action))]
        if rows:
            yield "| argument | what |\n|---|---|"
            yield from rows
            yield ""
        if name in MORE:
            yield f"More: {MORE[name]}\n"


def _row(action: argparse.Action) -> str:
    if isinstance(action, argparse._HelpAction | argparse._SubParsersAction):
        return ""
    values = _values(action)
    flag = " ".join(part for part in (", ".join(action.option_strings), values) if part)
    said = (action.help or "").replace("|", "\\|")
    if action.required and action.option_strings:
        said += "; required" if said else "required"
    return f"| `{flag}` | {said} |".replace("  |", " |")


def _values(action: argparse.Action) -> str:
    if action.nargs == 0:
        return ""
    one = action.metavar or ("{" + ",".join(map(str, action.choices)) + "}" if action.choices else action.dest.upper())
    if isinstance(one, tuple):
        return " ".join(one)
    if isinstance(action.nargs, int):
        return " ".join([one] * action.nargs)
    return {"?": f"[{one}]", "+": f"{one} [{one} …]", "*": f"[{one} …]"}.get(str(action.nargs), one).replace("|", "\\|")


if __name__ == "__main__":
    REFERENCE.write_text(page(), encoding="utf-8")
