"""`samestone verify`: does what left the shop still hold? Opening a packet, for `replay` too."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

if TYPE_CHECKING:
    from samestone.custody import packet as packets
    from samestone.custody import receipt as receipts

LARGEST_FILE = (1 << 30) + (1 << 20)
MOST_FILES = 2_000


def add_commands(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """``verify``."""
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


def verify_command(arguments: argparse.Namespace) -> int:
    """0 everything holds · 1 something does not · 2 this is no packet or no receipt."""
    from samestone import custody

    given = [_receipt(text) for text in arguments.receipt]
    if arguments.key and not _is_fingerprint(arguments.key):
        refuse("--key is not a fingerprint: expected sixteen groups of four digits 0-9 and letters a-f")
    checks = custody.packet.verify_packet(open_packet(arguments.packet), given, key_fingerprint=arguments.key)
    holds = all(check.holds for check in checks)
    if arguments.json:
        lines = [{"check": check.name, "holds": check.holds, "says": check.says} for check in checks]
        print(json.dumps({"holds": holds, "checks": lines}, indent=2, ensure_ascii=False))
    else:
        print("\n".join(_verify_lines(checks, with_receipt=bool(given), with_key=bool(arguments.key))))
    return 0 if holds else 1


def _verify_lines(checks: Sequence[packets.Check], *, with_receipt: bool, with_key: bool) -> Iterator[str]:
    for check in checks:
        yield f"{'✓' if check.holds else '✗'} {check.says}."
    failed = sum(not check.holds for check in checks)
    yield f"\n{failed} of {len(checks)} checks do not hold." if failed else "\nEverything holds."
    if not with_key:
        yield "No key was given: anyone can sign a packet with a key of their own. Add --key with the one on the paper."
    if not with_receipt:
        yield "No receipt was given: a log rewritten as a whole would pass. Add --receipt with the number on the paper."


def open_packet(place: str) -> packets.Packet:
    """The packet in a zip or in the folder that it was unpacked to; refuses what is none."""
    from samestone import custody

    path = Path(place)
    try:
        if path.is_dir():
            return custody.packet.Packet(_folder(path))
        if path.stat().st_size > LARGEST_FILE:
            refuse(f"{place} is larger than any packet ({LARGEST_FILE >> 20} MiB)")
        return custody.packet.read_packet(path.read_bytes())
    except OSError as error:
        refuse(f"{place} cannot be opened: {error.strerror}")
    except custody.packet.BadPacket as error:
        refuse(f"{place} {error}")


def _folder(path: Path) -> dict[str, bytes]:
    """The files of an unpacked packet; a packet's folder holds one bag, so a single folder inside is stepped into."""
    if not (path / "bagit.txt").exists() and len(inner := list(path.iterdir())) == 1 and inner[0].is_dir():
        path = inner[0]
    if not (path / "tagmanifest-sha256.txt").is_file():
        refuse(f"{path} is not an unpacked packet: expected tagmanifest-sha256.txt in it")
    found = sorted(item for item in path.rglob("*") if item.is_file() or item.is_symlink())
    if len(found) > MOST_FILES or any(item.is_symlink() for item in found):
        refuse(f"{path} is not an unpacked packet: too many files, or links, in it")
    return {item.relative_to(path).as_posix(): item.read_bytes() for item in found}


def _receipt(text: str) -> receipts.Receipt | receipts.ShortReceipt:
    from samestone import custody

    try:
        if len(text) < 200 and Path(text).is_file():
            text = Path(text).read_text(encoding="utf-8")
        return custody.receipt.read_receipt(text)
    except (OSError, UnicodeDecodeError) as error:
        refuse(f"--receipt {text}: the file cannot be read ({error})")
    except custody.receipt.BadReceipt as error:
        refuse(f"--receipt: {error}")


def _is_fingerprint(text: str) -> bool:
    digits = "".join(text.split()).lower()
    return len(digits) == 64 and set(digits) <= set("0123456789abcdef")


def refuse(says: str) -> NoReturn:
    """Ends the command with status 2 and what was wrong."""
    from samestone.cli import Refusal

    raise Refusal(says)
