"""`samestone photo …`: what photographs say; `samestone calibrate-photos`: a shop's own calibration."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from samestone.cli import photo_measure

if TYPE_CHECKING:
    from samestone.imaging import Photo

PROTOCOLS = ("guided", "free")


def add_commands(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `photo` with its subcommands, and `calibrate-photos`."""
    photo = commands.add_parser("photo", help="read, compare and measure photographs of stones")
    inner = photo.add_subparsers(dest="photo_command", required=True, metavar="WHAT")
    _add_read(inner)
    _add_compare(inner)
    _add_cleaning(inner)
    photo_measure.add_photo_commands(inner)
    calibrate = commands.add_parser(
        "calibrate-photos",
        help="calibrate photo comparison on your own repeat photographs",
        description="DIR holds one folder per stone with two or more photographs each, of at least 20 stones.",
    )
    calibrate.add_argument("folder", metavar="DIR", help="a folder of folders, one for each stone")
    calibrate.add_argument(
        "--protocol", choices=PROTOCOLS, default="guided", help="how they were taken: by the guide (default), or free"
    )
    calibrate.add_argument(
        "--out", metavar="FILE", default="photo-calibration.json", help="where to write it (photo-calibration.json)"
    )
    calibrate.set_defaults(run=run_calibrate)


def _add_read(inner: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    read = inner.add_parser("read", help="outline, quality and characteristics of one photograph")
    read.add_argument("image", metavar="IMAGE", help="the stone from above, in even light")
    read.add_argument("--json", action="store_true", help="the result as JSON")
    read.set_defaults(run=run_read)


def _add_compare(inner: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    compare = inner.add_parser("compare", help="do two photographs show one stone?")
    compare.add_argument("a", nargs="?", metavar="A", help="the photograph made first")
    compare.add_argument("b", nargs="?", metavar="B", help="the photograph made later")
    compare.add_argument("--protocol", choices=PROTOCOLS, help="default: guided where both pictures keep it")
    compare.add_argument(
        "--batch", metavar="PAIRS.jsonl", help='one {"a": path, "b": path} a line, "-" for standard input'
    )
    compare.add_argument("--calibration", metavar="FILE", help="a shop's own, from calibrate-photos")
    compare.add_argument("--out", metavar="DIR", help="write the two stones cut out and turned alike")
    compare.add_argument("--json", action="store_true", help="the result as JSON")
    compare.set_defaults(run=run_compare)


def _add_cleaning(inner: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    cleaning = inner.add_parser("cleaning", help="what cleaning took away, and what stayed")
    cleaning.add_argument("before", metavar="BEFORE", help="the photograph as received")
    cleaning.add_argument("after", metavar="AFTER", help="the photograph after cleaning, from the same side")
    cleaning.add_argument("--json", action="store_true", help="the result as JSON")
    cleaning.set_defaults(run=run_cleaning)


def read_image(path: str) -> Photo:
    """Open an image file; refuses, with the file's name, what cannot be read."""
    from samestone import imaging
    from samestone.cli import Refusal

    try:
        return imaging.open_photo(Path(path).read_bytes())
    except OSError as error:
        raise Refusal(f"{path}: {error.strerror or error}") from None
    except imaging.BadPhoto as error:
        raise Refusal(f"{path}: {error}") from None


def run_read(arguments: argparse.Namespace) -> int:
    from samestone import imaging
    from samestone.cli.photo_text import reading_as_json, reading_as_text

    photo = read_image(arguments.image)
    found = reading_as_json(imaging.read_photo(photo), photo)
    print(json.dumps(found, ensure_ascii=False) if arguments.json else reading_as_text(found))
    return 0


def run_compare(arguments: argparse.Namespace) -> int:
    from samestone.cli import Refusal
    from samestone.cli.photo_text import comparison_as_text

    if arguments.batch is not None:
        if arguments.a is not None:
            raise Refusal("photo compare takes two pictures or --batch with one file of pairs, not both")
        return _compare_batch(arguments)
    if arguments.b is None:
        raise Refusal("photo compare needs two pictures, A and B, or --batch PAIRS.jsonl")
    found = _compare(arguments.a, arguments.b, arguments.protocol or "", arguments)
    print(json.dumps(found, ensure_ascii=False) if arguments.json else comparison_as_text(found))
    return 0


def _compare(path_a: str, path_b: str, protocol: str, arguments: argparse.Namespace) -> dict[str, Any]:
    from samestone import evidence, imaging
    from samestone.cli.photo_text import comparison_as_json

    calibration = _calibration(arguments.calibration)
    comparison = imaging.compare_photos(read_image(path_a), read_image(path_b), protocol)
    weighed = evidence.photographs.weigh_photographs(comparison, calibration)
    if arguments.out:
        _write_aligned(comparison, Path(arguments.out), path_a, path_b)
    return {"a": path_a, "b": path_b, **comparison_as_json(weighed)}


def _calibration(path: str | None) -> dict[str, Any] | None:
    from samestone import evidence, imaging
    from samestone.cli import Refusal

    if path is None:
        return None
    try:
        table = evidence.photographs.read_calibration(Path(path).read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise Refusal(f"{path}: {error}; expected a file that calibrate-photos wrote") from None
    except evidence.photographs.BadCalibration as error:
        raise Refusal(f"{path}: {error}") from None
    here = imaging.PhotoComparison.method
    if table.get("method", here) != here:
        raise Refusal(f"{path}: made for the method {table['method']}, expected {here}; run calibrate-photos again")
    return table


def _write_aligned(comparison: Any, folder: Path, path_a: str, path_b: str) -> None:
    from PIL import Image

    if not comparison.can_be_aligned:
        return
    folder.mkdir(parents=True, exist_ok=True)
    for letter, path, picture in zip("ab", (path_a, path_b), comparison.aligned(), strict=True):
        Image.fromarray(picture).save(folder / f"{letter}-{Path(path).stem}.png")


def _compare_batch(arguments: argparse.Namespace) -> int:
    """One result per line, as it comes; a line that cannot be done says why and the rest goes on (status 2)."""
    from samestone.cli import Refusal

    worst = 0
    for number, line in enumerate(_lines(arguments.batch), 1):
        try:
            found = _compare_line(line, number, arguments)
        except Refusal as refusal:
            found, worst = {"line": number, "error": str(refusal), "usable": False, "reason": str(refusal)}, 2
        print(json.dumps(found, ensure_ascii=False), flush=True)
    return worst


def _compare_line(line: str, number: int, arguments: argparse.Namespace) -> dict[str, Any]:
    from samestone import evidence
    from samestone.cli import Refusal

    try:
        pair = json.loads(line, object_pairs_hook=evidence.batch.unique_keys)
    except evidence.BadRecord as bad:
        raise Refusal(f"line {number}: {bad}") from None
    except (ValueError, RecursionError) as error:
        raise Refusal(f"line {number} is no JSON ({error}); expected {{'a': path, 'b': path}}") from None
    if not isinstance(pair, dict) or not all(
        isinstance(pair.get(name), str) and "\0" not in pair[name] for name in "ab"
    ):
        raise Refusal(f"line {number}: found {line.strip()[:80]}, expected an object with the paths a and b")
    protocol = pair.get("protocol") or arguments.protocol or ""
    if protocol not in ("", *PROTOCOLS):
        raise Refusal(f"line {number}: found protocol {protocol!r}, expected guided or free")
    rest = {name: value for name, value in pair.items() if name not in ("a", "b", "protocol")}
    return {**rest, **_compare(pair["a"], pair["b"], protocol, arguments)}


def _lines(path: str) -> Iterator[str]:
    from samestone.cli import Refusal

    try:
        with sys.stdin if path == "-" else Path(path).open(encoding="utf-8") as source:
            yield from (line for line in source if line.strip())
    except OSError as error:
        raise Refusal(f"{path}: {error.strerror or error}") from None
    except UnicodeDecodeError:
        raise Refusal(f"{path}: found bytes that are not UTF-8, expected one JSON object a line") from None


def run_cleaning(arguments: argparse.Namespace) -> int:
    from samestone import imaging
    from samestone.cli.photo_text import cleaning_as_json, cleaning_as_text

    found = cleaning_as_json(imaging.compare_cleaning(read_image(arguments.before), read_image(arguments.after)))
    print(json.dumps(found, ensure_ascii=False) if arguments.json else cleaning_as_text(found))
    return 0


def run_calibrate(arguments: argparse.Namespace) -> int:
    """Compare every stone's first two photographs, and each first with the next stone's second; refit two numbers."""
    from samestone import evidence, imaging
    from samestone.cli import Refusal
    from samestone.cli.table import write_text

    stones = [sorted(p for p in folder.iterdir() if p.is_file()) for folder in _folders(arguments.folder)]
    stones = [files for files in stones if len(files) >= 2]
    fewest = evidence.photographs.FEWEST_STONES
    if len(stones) < fewest:
        raise Refusal(f"{arguments.folder}: found {len(stones)} stones with two photographs, expected {fewest} or more")
    pairs, skipped = [], 0
    for k, files in enumerate(stones):
        for step in range(3):
            other = stones[(k + step) % len(stones)][1]
            found = imaging.compare_photos(read_image(str(files[0])), read_image(str(other)), arguments.protocol)
            skipped += not found.usable
            pairs += [(found, step == 0)] if found.usable else []
    table = evidence.photographs.shipped_calibration()
    try:
        own = evidence.photographs.recalibrate(table, arguments.protocol, pairs)
    except evidence.photographs.TooFewPairs as error:
        raise Refusal(f"{error}; {skipped} pairs were unusable") from None
    write_text(arguments.out, json.dumps(own, indent=1))
    print(f"{arguments.out}: {own['source']}, {arguments.protocol} protocol; {skipped} pairs were unusable")
    return 0


def _folders(path: str) -> list[Path]:
    from samestone.cli import Refusal

    folder = Path(path)
    if not folder.is_dir():
        raise Refusal(f"{path}: no such folder; expected one that holds a folder of photographs per stone")
    return sorted(p for p in folder.iterdir() if p.is_dir())
