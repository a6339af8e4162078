"""Commands for what left the shop: check a packet, and recompute its verdict."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

if TYPE_CHECKING:
    from samestone.custody import packet as packets
    from samestone.custody import receipt as receipts

LARGEST_FILE = (1 << 30) + (1 << 20)
MOST_FILES = 2_000


def add_commands(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """``verify`` and ``replay``."""
    verify = commands.add_parser("verify", help="check a packet: what holds and what does not, one line each")
    verify.add_argument("packet", metavar="PACKET", help="the zip, or the folder it was unpacked to")
    verify.add_argument(
        "--receipt",
        action="append",
        default=[],
        metavar="RECEIPT",
        help="the number on the paper, the text of its QR code, or a file with either; may be repeated",
    )
    verify.add_argument("--key", default="", metavar="FINGERPRINT", help="the fingerprint of the key on the paper")
    verify.add_argument("--json", action="store_true", help="print the checks as JSON")
    verify.set_defaults(run=verify_command)
    replay = commands.add_parser("replay", help="recompute a packet's verdicts and compare them digit by digit")
    replay.add_argument("packet", metavar="PACKET", help="the zip, or the folder it was unpacked to")
    replay.add_argument("--json", action="store_true", help="print the differences as JSON")
    replay.set_defaults(run=replay_command)


def verify_command(arguments: argparse.Namespace) -> int:
    """0 everything holds · 1 something does not · 2 this is no packet or no receipt."""
    from samestone import custody

    given = [_receipt(text) for text in arguments.receipt]
    if arguments.key and not _is_fingerprint(arguments.key):
        _refuse("--key is not a fingerprint: expected sixteen groups of four digits 0-9 and letters a-f")
    checks = custody.packet.verify_packet(_packet(arguments.packet), given, key_fingerprint=arguments.key)
    holds = all(check.holds for check in checks)
    if arguments.json:
        lines = [{"check": check.name, "holds": check.holds, "says": check.says} for check in checks]
        print(json.dumps({"holds": holds, "checks": lines}, indent=2, ensure_ascii=False))
    else:
        print("\n".join(_verify_lines(checks, with_receipt=bool(given), with_key=bool(arguments.key))))
    return 0 if holds else 1


def replay_command(arguments: argparse.Namespace) -> int:
    """0 the same digits · 1 other digits · 2 this is no packet, or its record cannot be read."""
    from samestone import custody, evidence

    try:
        stones = custody.packet.replay_input(_packet(arguments.packet))
        verdicts = [_recomputed(stone) for stone in stones]
    except (custody.packet.BadPacket, evidence.BadRecord) as error:
        _refuse(f"{arguments.packet}: {error}")
    differences = [
        difference
        for stone, verdict in zip(stones, verdicts, strict=True)
        for difference in _differences(f"{stone.where}verdict", stone.verdict, verdict)
    ]
    if arguments.json:
        told = [{"name": stone.name, "verdict": verdict} for stone, verdict in zip(stones, verdicts, strict=True)]
        print(json.dumps({"same": not differences, "differences": differences, "stones": told}, indent=2))
    elif differences:
        print(f"✗ {len(differences)} of the verdict's figures come out otherwise:")
        print("\n".join(f"  {d['where']}: recorded {d['recorded']}, recomputed {d['recomputed']}" for d in differences))
    else:
        verdict = "The verdict comes" if len(stones) == 1 else f"The verdicts on {len(stones)} stones come"
        print(f"✓ {verdict} out the same, digit for digit, from the two examinations of the record.")
    return 1 if differences else 0


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
        _refuse(f"{where} is missing or no whole number")
    return stock if stock >= 2 else _refuse(f"{where} is {stock}, expected at least 2")


def _verify_lines(checks: Sequence[packets.Check], *, with_receipt: bool, with_key: bool) -> Iterator[str]:
    for check in checks:
        yield f"{'✓' if check.holds else '✗'} {check.says}."
    failed = sum(not check.holds for check in checks)
    yield f"\n{failed} of {len(checks)} checks do not hold." if failed else "\nEverything holds."
    if not with_key:
        yield "No key was given: anyone can sign a packet with a key of their own. Add --key with the one on the paper."
    if not with_receipt:
        yield "No receipt was given: a log rewritten as a whole would pass. Add --receipt with the number on the paper."


def _packet(place: str) -> packets.Packet:
    from samestone import custody

    path = Path(place)
    try:
        if path.is_dir():
            return custody.packet.Packet(_folder(path))
        if path.stat().st_size > LARGEST_FILE:
            _refuse(f"{place} is larger than any packet ({LARGEST_FILE >> 20} MiB)")
        return custody.packet.read_packet(path.read_bytes())
    except OSError as error:
        _refuse(f"{place} cannot be opened: {error.strerror}")
    except custody.packet.BadPacket as error:
        _refuse(f"{place} {error}")


def _folder(path: Path) -> dict[str, bytes]:
    """The files of an unpacked packet; a packet's folder holds one bag, so a single folder inside is stepped into."""
    if not (path / "bagit.txt").exists() and len(inner := list(path.iterdir())) == 1 and inner[0].is_dir():
        path = inner[0]
    if not (path / "tagmanifest-sha256.txt").is_file():
        _refuse(f"{path} is not an unpacked packet: expected tagmanifest-sha256.txt in it")
    found = sorted(item for item in path.rglob("*") if item.is_file() or item.is_symlink())
    if len(found) > MOST_FILES or any(item.is_symlink() for item in found):
        _refuse(f"{path} is not an unpacked packet: too many files, or links, in it")
    return {item.relative_to(path).as_posix(): item.read_bytes() for item in found}


def _receipt(text: str) -> receipts.Receipt | receipts.ShortReceipt:
    from samestone import custody

    try:
        if len(text) < 200 and Path(text).is_file():
            text = Path(text).read_text(encoding="utf-8")
        return custody.receipt.read_receipt(text)
    except (OSError, UnicodeDecodeError) as error:
        _refuse(f"--receipt {text}: the file cannot be read ({error})")
    except custody.receipt.BadReceipt as error:
        _refuse(f"--receipt: {error}")


def _is_fingerprint(text: str) -> bool:
    digits = "".join(text.split()).lower()
    return len(digits) == 64 and set(digits) <= set("0123456789abcdef")


def _differences(where: str, recorded: Any, recomputed: Any) -> Iterator[dict[str, Any]]:
    if isinstance(recorded, dict) and isinstance(recomputed, dict):
        for key in sorted({*recorded, *recomputed}):
            yield from _differences(f"{where}.{key}", recorded.get(key), recomputed.get(key))
    elif isinstance(recorded, list) and isinstance(recomputed, list) and len(recorded) == len(recomputed):
        for place, pair in enumerate(zip(recorded, recomputed, strict=True)):
            yield from _differences(f"{where}[{place}]", *pair)
    elif recorded != recomputed:
        yield {"where": where, "recorded": recorded, "recomputed": recomputed}


def _refuse(says: str) -> NoReturn:
    from samestone.cli import Refusal

    raise Refusal(says)
