"""How long a pair of photographs takes, side by side with general-purpose registration, all in one run.

    .venv/bin/python -m benchmarks.speed_photos [pictures/final [results folder]]

Pairs are two pictures of one stone under the guided protocol, at their own size and enlarged to 12 megapixels; the
others are given the same cut-outs, and only have to find the turn. Also: one descriptor against 1,000 stored.
"""

from __future__ import annotations

import json
import platform
import resource
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import astroalign
import cv2
import numpy as np
from scripts.photo_packs import read_index

from samestone.imaging import compare_photos, open_photo
from samestone.imaging.album import describe_photo, rank_photos
from samestone.imaging.study import Study
from samestone.imaging.view import cut_out, disc

HERE = Path(__file__).parent
PAIRS, LARGE = 12, 3464


def sift_turn(a: Any, b: Any) -> float:
    """SIFT features, ratio test, RANSAC similarity; degrees counter-clockwise as seen."""
    finder = cv2.SIFT_create(3000)
    (ka, da), (kb, db) = finder.detectAndCompute(a, None), finder.detectAndCompute(b, None)
    pairs = cv2.BFMatcher().knnMatch(da, db, k=2)
    good = [m for m, n in pairs if m.distance < 0.8 * n.distance]
    if len(good) < 4:
        raise ValueError("too few matches")
    matrix, _ = cv2.estimateAffinePartial2D(
        np.float32([ka[m.queryIdx].pt for m in good]), np.float32([kb[m.trainIdx].pt for m in good])
    )
    if matrix is None:
        raise ValueError("no transform")
    return float(-np.degrees(np.arctan2(matrix[1, 0], matrix[0, 0])))


def ecc_turn(a: Any, b: Any) -> float:
    """Enhanced correlation from 48 starting turns, at half size."""
    a, b = (cv2.resize(p, (280, 280)).astype(np.float32) for p in (a, b))
    best = (-1.0, 0.0)
    for start in range(0, 360, 15):
        for offset in (0.0, 7.5):
            warp = cv2.getRotationMatrix2D((139.5, 139.5), start + offset, 1.0).astype(np.float32)
            try:
                stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 20, 1e-4)
                score, warp = cv2.findTransformECC(b, a, cv2.invertAffineTransform(warp), cv2.MOTION_EUCLIDEAN, stop)
            except cv2.error:
                continue
            if score > best[0]:
                best = (score, float(np.degrees(np.arctan2(warp[1, 0], warp[0, 0]))))
    return best[1]


def star_turn(a: Any, b: Any) -> float:
    """astroalign, which matches triangles of points, given the 60 strongest spots of each picture."""
    found, _ = astroalign.find_transform(brightest(a), brightest(b), max_control_points=60)
    return float(-np.degrees(found.rotation))


def brightest(spots: Any) -> Any:
    """Places of the strongest local maxima, x and y."""
    top = (spots >= cv2.dilate(spots, np.ones((9, 9), np.uint8))) & disc(0.9)
    rows, columns = np.nonzero(top)
    order = np.argsort(-spots[rows, columns])[:60]
    return np.column_stack([columns, rows])[order].astype(float)


def timed(work: Callable[[], Any]) -> tuple[float, float, Any]:
    """Seconds by the clock, seconds of processor, and what came of it."""
    clock, processor = time.perf_counter(), time.process_time()
    found = work()
    return time.perf_counter() - clock, time.process_time() - processor, found


def ours(a: bytes, b: bytes) -> Any:
    return compare_photos(open_photo(a), open_photo(b), "guided")


def enlarged(data: bytes) -> bytes:
    picture = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    wide = cv2.resize(picture, (LARGE, LARGE), interpolation=cv2.INTER_CUBIC)
    return bytes(cv2.imencode(".jpg", wide, [cv2.IMWRITE_JPEG_QUALITY, 90])[1])


def main(arguments: list[str]) -> int:
    folder = Path(arguments[0] if arguments else "pictures/final")
    out = Path(arguments[1]) if len(arguments) > 1 else HERE / "results"
    if not folder.is_dir():
        print(f"{folder}: no such folder; render it with: make pictures", file=sys.stderr)
        return 1
    index = read_index(folder)
    stones = sorted({stone for stone, _ in index})[:PAIRS]
    results: dict[str, list[tuple[float, float, float]]] = {}
    for stone in stones:
        lines = [index[stone, view] for view in ("V4", "V5")]
        a, b = ((folder / line["picture"]).read_bytes() for line in lines)
        turn = lines[1]["rotation_deg"] - lines[0]["rotation_deg"]
        studies = [Study(open_photo(data)) for data in (a, b)]
        flat = [cut_out(study.photo.grey, study.stone) for study in studies]
        spots = [np.abs(study.view.spot) for study in studies]
        large = [enlarged(data) for data in (a, b)]
        for name, work in (
            ("this program, whole comparison", lambda a=a, b=b: ours(a, b).rotation_deg),
            ("this program, whole comparison, 12 megapixels", lambda p=large: ours(*p).rotation_deg),
            ("SIFT and RANSAC, turn only", lambda p=flat: sift_turn(*p)),
            ("ECC from 48 starts, turn only", lambda p=flat: ecc_turn(*p)),
            ("astroalign on spots, turn only", lambda p=spots: star_turn(*p)),
        ):
            results.setdefault(name, []).append(attempt(work, turn))
    report(results, search_seconds(folder, index, stones), out)
    return 0


def attempt(work: Callable[[], float], turn: float) -> tuple[float, float, float]:
    try:
        clock, processor, found = timed(work)
    except (ValueError, IndexError, cv2.error, astroalign.MaxIterError):
        return float("nan"), float("nan"), 180.0
    return clock, processor, abs((found - turn + 180) % 360 - 180)


def search_seconds(folder: Path, index: Any, stones: list[str]) -> float:
    stored = [describe_photo(open_photo((folder / index[s, "V4"]["picture"]).read_bytes())) for s in stones]
    wanted = open_photo((folder / index[stones[0], "V5"]["picture"]).read_bytes())
    many = (stored * (1000 // len(stored) + 1))[:1000]
    return timed(lambda: rank_photos(describe_photo(wanted), many))[0]


def report(results: dict[str, list[tuple[float, float, float]]], search: float, out: Path) -> None:
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    lines = [
        "# Photographs: speed (simulated pictures)", "",
        f"{platform.machine()}, Python {platform.python_version()}; medians over {PAIRS} guided pairs, warm.", "",
        "| method | seconds | processor seconds | turn right within 2° | median error of these |",
        "|---|---|---|---|---|",
    ]  # fmt: skip
    for name, rows in results.items():
        table = np.array(rows)
        right = table[:, 2] < 2
        error = f"{np.median(table[right, 2]):.3f}°" if right.any() else "none"
        clock, processor = np.nanmedian(table[:, 0]), np.nanmedian(table[:, 1])
        lines.append(f"| {name} | {clock:.2f} | {processor:.2f} | {right.sum()} of {len(rows)} | {error} |")
    lines += ["", f"One photograph against 1,000 stored: {search:.2f} s. Peak memory of the run: {memory:.0f} MB.", ""]
    out.mkdir(parents=True, exist_ok=True)
    (out / "speed_photos.md").write_text("\n".join(lines), encoding="utf-8")
    (out / "speed_photos.json").write_text(
        json.dumps({"pairs": results, "search_s": search, "memory_mb": memory}), "utf-8"
    )
    print("\n".join(lines))


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
