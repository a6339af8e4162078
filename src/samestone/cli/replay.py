"""`samestone replay`: a packet's verdicts and picture lines worked out again from what the packet holds."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from samestone.cli.custody import open_packet, refuse

if TYPE_CHECKING:
    from samestone.custody import packet as packets


def add_commands(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """``replay``."""
    replay = commands.add_parser(
        "replay", help="work a packet's verdicts and picture lines out again and compare them digit by digit"
    )
    replay.add_argument("packet", metavar="PACKET", help="the zip, or the folder it was unpacked to")
    replay.add_argument("--json", action="store_true", help="print what was recorded, worked out and different as JSON")
    replay.set_defaults(run=replay_command)


def replay_command(arguments: argparse.Namespace) -> int:
    """0 the same digits · 1 other digits, or not to be worked out · 2 no packet, or its record cannot be read."""
    from samestone import custody, evidence
    from samestone.cli.picture_replay import replay_pictures
    from samestone.cli.statement_replay import statement_says

    packet = open_packet(arguments.packet)
    try:
        stones = custody.packet.replay_input(packet)
        logged = custody.packet.logged_payloads(packet, "verdict reached")
        verdicts = [_recomputed(stone) for stone in stones]
    except (custody.packet.BadPacket, evidence.BadRecord) as error:
        refuse(f"{arguments.packet}: {error}")
    found = [
        difference
        for stone, verdict in zip(stones, verdicts, strict=True)
        for difference in differences(f"{stone.where}verdict", stone.verdict, verdict)
    ]
    pictures = [replay_pictures(stone, packet) for stone in stones]
    apart = [stone.name for stone in stones if logged and not any(_says(payload, stone) for payload in logged)]
    stands, statement = statement_says(packet)
    same = not found and not apart and stands and all(one.holds for one in pictures)
    if arguments.json:
        told = [
            {"name": stone.name, "verdict": verdict, "pictures": one.as_json()}
            for stone, verdict, one in zip(stones, verdicts, pictures, strict=True)
        ]
        every = [*found, *(difference for one in pictures for difference in one.differences)]
        what = {"same": same, "differences": every, "not_in_log": apart, "stones": told}
        what["statement"] = {"holds": stands, "says": statement}
        print(json.dumps(what, indent=2, ensure_ascii=False))
    else:
        lines = [*_verdict_lines(found, len(stones)), *(line for one in pictures for line in one.lines())]
        print("\n".join([*lines, *_log_lines(apart, logged), f"{'✓' if stands else '✗'} {statement}"]))
    return 0 if same else 1


def _says(payload: Any, stone: packets.Judged) -> bool:
    """Whether a log entry says what the record does; earlier versions kept a picture line in the log alone."""
    if not isinstance(payload, dict) or payload.get("verdict") != stone.verdict:
        return False
    laid = payload.get("pictures")
    line = laid.get("line") if isinstance(laid, dict) else None
    alone = isinstance(line, dict) and "method" not in line and stone.pictures is None
    return alone or line == stone.pictures


def _log_lines(apart: Sequence[str], logged: Sequence[Any]) -> Iterator[str]:
    if apart:
        yield f"✗ The log knows no verdict as the record has it on: {', '.join(name or 'the stone' for name in apart)}."
    elif logged:
        yield "✓ The log holds what the record says, verdict and pictures, as it was reached."
    else:
        yield "○ No log entry in this packet says that a verdict was reached: the record alone has it."


def _verdict_lines(found: Sequence[Mapping[str, Any]], stones: int) -> Iterator[str]:
    if found:
        yield f"✗ {len(found)} of the verdict's figures come out otherwise:"
        yield from (f"  {d['where']}: recorded {d['recorded']}, recomputed {d['recomputed']}" for d in found)
    else:
        verdict = "The verdict comes" if stones == 1 else f"The verdicts on {stones} stones come"
        yield f"✓ {verdict} out the same, digit for digit, from the two examinations of the record."


def _recomputed(stone: packets.Judged) -> Any:
    from samestone import custody, evidence

    before, after = evidence.read_examination(stone.take_in), evidence.read_examination(stone.pick_up)
    stock = _stock(stone)
    verdict = evidence.compare(before, after, population=evidence.load_population(), stock=stock)
    return custody.canonical.decimal_strings(verdict.as_json())


def _stock(stone: packets.Judged) -> int:
    """Among how many stones a look-alike could have been chosen, as the shop said when it judged."""
    where = f"data/record.json: {stone.where}verdict.log10_lr.look_alike.stock"
    try:
        stock = int(stone.verdict["log10_lr"]["look_alike"]["stock"])
    except (KeyError, TypeError, ValueError):
        refuse(f"{where} is missing or no whole number")
    return stock if stock >= 2 else refuse(f"{where} is {stock}, expected at least 2")


def differences(where: str, recorded: Any, recomputed: Any) -> Iterator[dict[str, Any]]:
    """Every place where two JSON values differ, by its path."""
    if isinstance(recorded, dict) and isinstance(recomputed, dict):
        for key in sorted({*recorded, *recomputed}):
            yield from differences(f"{where}.{key}", recorded.get(key), recomputed.get(key))
    elif isinstance(recorded, list) and isinstance(recomputed, list) and len(recorded) == len(recomputed):
        for place, pair in enumerate(zip(recorded, recomputed, strict=True)):
            yield from differences(f"{where}[{place}]", *pair)
    elif recorded != recomputed:
        yield {"where": where, "recorded": recorded, "recomputed": recomputed}
