"""`samestone compare`: two records, or a stream of pairs."""

from __future__ import annotations

import argparse
import contextlib
import itertools
import json
import os
import queue
import sys
import threading
from collections import deque
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

if TYPE_CHECKING:
    from concurrent.futures import Future

    from samestone.evidence import batch

Block = tuple[int, list[bytes]]
"""The number of the first line, and lines."""

READ = 1 << 18
"""Bytes read at once."""
MOST_LINES = 256
"""Lines given to a process at once."""
GLANCE = 0.05
"""Seconds between two looks for a result while lines are awaited."""
FEW_LINES = 300
"""Up to so many lines, compiling and starting processes costs more than it saves."""


def add_commands(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `compare`."""
    compare = commands.add_parser(
        "compare",
        help="say how strongly two examination records support that they are of one stone",
        description="Compare the record made at take-in with the one made at pick-up. A paper that came with the stone "
        'is a record of kind "paper" and takes the place of the first.',
    )
    compare.add_argument("take_in", nargs="?", metavar="TAKE-IN.json", help="the record made first")
    compare.add_argument("pick_up", nargs="?", metavar="PICK-UP.json", help="the record made later")
    compare.add_argument("--batch", metavar="PAIRS.jsonl", help='one {"a": …, "b": …} a line, "-" for standard input')
    compare.add_argument("--json", action="store_true", help="the whole result as JSON")
    compare.add_argument(
        "--stock", type=int, default=1000, metavar="M",
        help="stones a look-alike could have come from: 2 a pair, 30 a bench, 1000 a shop (default), 100000 the trade",
    )  # fmt: skip
    compare.set_defaults(run=run_compare)


def run_compare(arguments: argparse.Namespace) -> int:
    from samestone.cli import Refusal

    if not 2 <= arguments.stock <= 1_000_000_000:
        raise Refusal(f"--stock: found {arguments.stock}, expected 2 to 1,000,000,000")
    if arguments.batch is not None:
        if arguments.take_in is not None:
            raise Refusal("compare takes either two records or --batch with one file of pairs, not both")
        return _compare_batch(arguments)
    if arguments.pick_up is None:
        raise Refusal("compare needs two records, TAKE-IN.json and PICK-UP.json, or --batch PAIRS.jsonl")
    return _compare_two(arguments)


def _compare_two(arguments: argparse.Namespace) -> int:
    from samestone import evidence
    from samestone.cli.judge_text import describe_verdict
    from samestone.cli.records import read_record

    before, after = (read_record(Path(path)) for path in (arguments.take_in, arguments.pick_up))
    verdict = evidence.compare(before, after, population=evidence.load_population(), stock=arguments.stock)
    if arguments.json:
        print(json.dumps(verdict.as_json(), indent=1, ensure_ascii=False))
    else:
        print(describe_verdict(verdict))
    return 0


def _compare_batch(arguments: argparse.Namespace) -> int:
    from samestone.cli import Refusal

    if arguments.batch == "-":
        return _stream(sys.stdin.buffer, arguments.stock)
    with contextlib.ExitStack() as opened:
        try:
            source = opened.enter_context(Path(arguments.batch).open("rb"))
        except OSError as error:
            raise Refusal(f"{arguments.batch}: {error.strerror or error}") from None
        return _stream(source, arguments.stock)


def _stream(source: BinaryIO, stock: int) -> int:
    """Results in the order of the lines, each written as soon as those before it are."""
    bad = 0
    for chunk in _compared(_blocks(source), stock):
        sys.stdout.write(chunk.text)
        sys.stdout.flush()
        bad += chunk.bad
    if bad:
        print(f"samestone: {bad} of the lines could not be compared; their results say why", file=sys.stderr)
    return 2 if bad else 0


def _blocks(source: BinaryIO) -> Iterator[Block]:
    """(number of the first line, whole lines) as they arrive, so that a slow writer is answered at once."""
    number, rest = 1, b""
    while data := source.read1(READ):  # type: ignore[attr-defined]
        *lines, rest = (rest + data).split(b"\n")
        for start in range(0, len(lines), MOST_LINES):
            yield number + start, lines[start : start + MOST_LINES]
        number += len(lines)
    if rest:
        yield number, [rest]


def _compared(blocks: Iterator[Block], stock: int) -> Iterator[batch.Chunk]:
    """A few lines are compared here; a stream of many goes to one process for each processor."""
    from samestone import evidence

    few, lines = [], 0
    for first, block in blocks:
        few.append((first, block))
        lines += len(block)
        if lines > FEW_LINES:
            yield from _compared_by_many(itertools.chain(few, blocks), stock)
            return
        yield evidence.batch.compare_lines(block, first=first, stock=stock, fast=False)
        few.pop()


def _compared_by_many(blocks: Iterator[Block], stock: int) -> Iterator[batch.Chunk]:
    """Results as soon as they and those before them are there, also while the next lines are awaited."""
    from concurrent.futures import ProcessPoolExecutor

    from samestone import evidence
    from samestone.cli.compiling import announced

    first, block = next(blocks)
    with announced("half a minute"):  # compiled here, inherited by the processes
        chunk = evidence.batch.compare_lines(block, first=first, stock=stock)
    yield chunk
    workers = min(len(os.sched_getaffinity(0)), 16)
    with ProcessPoolExecutor(workers, initializer=_start_worker) as pool:
        pool.submit(_start_worker).result()  # the processes are there before a thread reads
        arriving = _read_ahead(blocks, most=2 * workers)
        waiting: deque[Future[batch.Chunk]] = deque()
        reading = True
        while reading or waiting:
            if waiting and (waiting[0].done() or not reading or len(waiting) > 3 * workers):
                yield waiting.popleft().result()
                continue
            try:
                arrived = arriving.get(timeout=GLANCE if waiting else None)
            except queue.Empty:
                continue
            if isinstance(arrived, OSError):
                raise arrived
            reading = arrived is not None
            if arrived is not None:
                waiting.append(pool.submit(_work, arrived[1], arrived[0], stock))


def _read_ahead(blocks: Iterator[Block], most: int) -> queue.Queue[Block | OSError | None]:
    """The blocks as a thread reads them, then None; or why reading failed."""
    arriving: queue.Queue[Block | OSError | None] = queue.Queue(most)

    def read() -> None:
        try:
            for block in blocks:
                arriving.put(block)
        except OSError as error:
            arriving.put(error)
        else:
            arriving.put(None)

    threading.Thread(target=read, daemon=True).start()
    return arriving


def _start_worker() -> None:
    import gc
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    gc.freeze()
    gc.set_threshold(100_000, 50, 50)  # records have no cycles: looking for them costs a tenth of the time


def _work(block: list[bytes], first: int, stock: int) -> batch.Chunk:
    from samestone import evidence

    return evidence.batch.compare_lines(block, first=first, stock=stock)
