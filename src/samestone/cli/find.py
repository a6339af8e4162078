"""`samestone next` and `samestone search`: what to examine next, and where a stray stone belongs."""

from __future__ import annotations

import argparse
import contextlib
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from samestone.evidence import find

READING = "samestone: reading {} and looking among its records takes a few seconds"
MANY = 1000  # records; fewer are read before anyone wonders
WORDS = {
    "uv_long_wave": "glow under long-wave ultraviolet",
    "girdle_finish": "girdle finish",
    "characteristics": "marks on the clock face",
}


def add_commands(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `next` and `search`."""
    following = commands.add_parser(
        "next",
        help="say which further examination of a stone is worth its time",
        description="Rank the examinations that a record lacks by what they are expected to add, per minute.",
    )
    following.add_argument("record", metavar="RECORD.json", help="an examination record")
    following.add_argument(
        "--against", choices=("random", "look-alike"), default="random",
        help="rank against a stone drawn at random (default) or one chosen for its size and weight",
    )  # fmt: skip
    following.add_argument("--json", action="store_true", help="the list as JSON")
    following.set_defaults(run=run_next)

    search = commands.add_parser(
        "search",
        help="list the records that a stray stone may belong to",
        description="Rank records by how probably a stray stone belongs to them, with the probability of none of them. "
        "It lists and never assigns.",
    )
    search.add_argument("record", metavar="RECORD.json", help="the stray stone's examination record")
    search.add_argument(
        "--among", required=True, metavar="FILE.jsonl|DIR",
        help='a folder of records, or a file with one a line: a record, or {"id": …, "record": …}',
    )  # fmt: skip
    search.add_argument("--limit", type=int, default=10, metavar="N", help="how many to list (default 10)")
    search.add_argument(
        "--none", type=float, default=0.5, metavar="P",
        help="probability, before looking, that it belongs to none of them (default 0.5)",
    )  # fmt: skip
    search.add_argument("--json", action="store_true", help="the list as JSON")
    search.set_defaults(run=run_search)


def run_next(arguments: argparse.Namespace) -> int:
    from samestone import evidence
    from samestone.cli.records import read_record

    record = read_record(Path(arguments.record))

    against = arguments.against.replace("-", "_")
    found = evidence.find.next_examinations(record, population=evidence.load_population(), against=against)
    if arguments.json:
        document = {"format": "samestone-next/1", "against": against, "next": [item.as_json() for item in found]}
        print(json.dumps(document, indent=1, ensure_ascii=False))
    else:
        print(describe_next(found, against))
    return 0


def describe_next(found: tuple[find.NextExamination, ...], against: str) -> str:
    """A table, the best first."""
    if not found:
        return "Nothing left that is worth its time: no further examination is expected to add 0.1 to log10 LR."
    other = "drawn at random" if against == "random" else "chosen for its size and weight"
    lines = [
        f"{'examine next':34}{'adds*':>7}{'look-alike':>12}{'minutes':>9}{'per minute':>12}",
        *(
            f"{WORDS.get(item.what, item.what):34}{item.random:7.2f}{item.look_alike:12.2f}{item.minutes:9g}"
            f"{item.per_minute('random' if against == 'random' else 'look_alike'):12.2f}"
            f"{'  needs ' + item.needs if item.needs else ''}{'  (assumed)' if item.assumed else ''}"
            for item in found
        ),
        f"* expected log10 LR if both examinations are of one stone; ranked against another stone {other}.",
        "Minutes: common practice, no source.",
    ]
    return "\n".join(lines)


def run_search(arguments: argparse.Namespace) -> int:
    from samestone import evidence
    from samestone.cli import Refusal
    from samestone.cli.compiling import announced
    from samestone.cli.records import read_record, records_among

    if not 0 < arguments.none < 1:
        raise Refusal(f"--none: found {arguments.none:g}, expected more than 0 and less than 1")
    if not 1 <= arguments.limit <= 1000:
        raise Refusal(f"--limit: found {arguments.limit}, expected 1 to 1000")
    stray = read_record(Path(arguments.record))
    index = evidence.find.StrayIndex()
    for name, record in records_among(Path(arguments.among)):
        if name in index:
            raise Refusal(f"{arguments.among}: the id {name!r} stands twice; give each record its own")
        index.add(name, record)
        if len(index) == MANY and not arguments.json:
            print(READING.format(arguments.among), file=sys.stderr, flush=True)
    if not len(index):
        raise Refusal(f"{arguments.among}: found no record, expected at least one")
    with announced("ten seconds") if index.is_large else contextlib.nullcontext():
        result = index.search(stray, arguments.limit, none=arguments.none)
    print(json.dumps(result.as_json(), indent=1, ensure_ascii=False) if arguments.json else describe_search(result))
    return 0


def describe_search(result: find.SearchResult) -> str:
    """The shortlist as a table, then what is left."""
    lines = [f"{'record':30}{'probability':>12}{'log10 LR':>10}  what does not agree"]
    for candidate in result.candidates:
        apart = [f.what for f in candidate.verdict.findings if f.outcome in ("disagrees", "doubtful")]
        chance, ratio = share(candidate.posterior), candidate.log10_lr
        lines.append(f"{candidate.id[:29]:30}{chance:>12}{ratio:10.1f}  {', '.join(apart) or '-'}")
    lines += [
        f"{'all others':30}{share(result.others):>12}",
        f"{'none of them':30}{share(result.none):>12}",
        f"Among {result.of:,} records, each as probable as any other before looking. A shortlist to look at: compare "
        "marks and pictures before anything is put anywhere.",
    ]
    if result.blank:
        lines.append(f"{result.blank:,} records share no measured property with the stone and could not be compared.")
    return "\n".join(lines)


def share(value: float) -> str:
    """A probability that is never printed as 0 or 1."""
    percent = 100 * value
    return f"{percent:.1f} %" if 0.1 <= percent <= 99.9 else "< 0.1 %" if percent < 0.1 else "> 99.9 %"
