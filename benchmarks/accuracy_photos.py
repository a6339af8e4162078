"""How often and how strongly photographs are right, on pictures that nothing was tuned on.

    .venv/bin/python -m benchmarks.accuracy_photos [pictures/final [results folder]]

The pictures are rendered (scripts/render_pictures.py final) with another lamp and another camera than those that the
network and the calibration were learned on. Writes accuracy_photos.json and .md and the pictures of docs/method.
"""

from __future__ import annotations

import json
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from benchmarks.speed_photos import sift_turn
from scripts import calibrate_photos
from scripts.photo_packs import open_mask, read_index

from samestone.evidence.performance import cllr
from samestone.evidence.photographs import combine_scores, shipped_calibration
from samestone.imaging.outline import WINDOWS
from samestone.imaging.photo import open_photo
from samestone.imaging.protocol import FREE_MARGIN, LEAST_CONSISTENT, SHADE_APART, why_not
from samestone.imaging.rim import find_edges
from samestone.imaging.study import Study
from samestone.imaging.view import GIRDLE, MIDDLE, cut_out

HERE = Path(__file__).parent
METHOD = HERE.parent / "docs" / "method"
NEAR_PX = 5
VIEWS = ("V1", "V2", "V3", "V4", "V5")
PEER_PAIRS = ((1, 2), (0, 2), (3, 4))  # clean and another lamp, dirty and another lamp, guided


def read_one(job: tuple[str, str]) -> dict[str, Any]:
    """Outline errors, quality and marks of one picture."""
    cv2.setNumThreads(1)
    path = Path(job[0]) / job[1]
    truth, study = json.loads(path.with_suffix(".json").read_text()), Study(open_photo(path.read_bytes()))
    row: dict[str, Any] = {"picture": job[1], "flags": [f.name for f in study.flags], "usable": study.usable}
    outline = study.outline
    if outline is None:
        return row
    ours = (outline.centre_px, outline.diameter_max_px, outline.diameter_min_px)
    row |= outline_errors(ours, truth) | {"lamp": truth["lamp"], "claws": len(truth["claws"])}
    row["u"] = 100 * outline.u_px / truth["diameter_max_px"]
    row["peer"] = outline_errors(least_squares_ellipse(study), truth)
    row["broken"], row["shade"] = why_not(study, study), study.shade
    if study.usable and job[1].endswith("V4.jpg"):
        row["marks"] = rate_marks(study, path)
    return row


def outline_errors(found: tuple[tuple[float, float], float, float], truth: dict[str, Any]) -> dict[str, float]:
    """Centre off in pixels, diameters off in per cent."""
    centre, longest, shortest = found
    return {
        "centre": float(np.hypot(*np.subtract(centre, truth["centre_px"]))),
        "longest": 100 * (longest / truth["diameter_max_px"] - 1),
        "shortest": 100 * (shortest / truth["diameter_min_px"] - 1),
    }


def least_squares_ellipse(study: Study) -> tuple[tuple[float, float], float, float]:
    """What OpenCV's fitEllipse makes of the same edges, as placed in linear light and before any of them is doubted."""
    guide = study.stone.ellipse.curve
    edges = find_edges(study.photo.grey, study.photo.white, guide, WINDOWS[-1])
    points = guide.moved_to(edges.exact[0]).points[edges.seen].astype(np.float32)
    centre, axes, _ = cv2.fitEllipse(points)
    return centre, max(axes), min(axes)


def rate_marks(study: Study, path: Path) -> list[tuple[float, bool]]:
    """Every natural mark listed: its probability, and whether a natural feature or its image is there."""
    mask = cut_out(open_mask(path.with_suffix(".png")), study.stone)[..., 1] > 120
    zoom, rated = GIRDLE / study.stone.radius_px, []
    for mark in study.marks:
        x, y = (
            round(MIDDLE + (p - c) * zoom) for p, c in zip((mark.x_px, mark.y_px), study.stone.centre_px, strict=True)
        )
        if mark.kind == "natural":
            window = mask[max(0, y - NEAR_PX) : y + NEAR_PX + 1, max(0, x - NEAR_PX) : x + NEAR_PX + 1]
            rated.append((mark.probability, bool(window.any())))
    return rated


def average_precision(rated: list[tuple[float, bool]]) -> float:
    """Mean precision at every right mark, from the most probable down."""
    right = np.array([hit for _, hit in sorted(rated, key=lambda item: -item[0])])
    return float((np.cumsum(right) / np.arange(1, len(right) + 1))[right].mean()) if right.any() else 0.0


def outline_figures(rows: list[dict[str, Any]]) -> dict[str, Any]:
    found = [row for row in rows if "centre" in row]
    off = {name: np.array([row[name] for row in found]) for name in ("centre", "longest", "shortest")}
    peer = {name: np.array([row["peer"][name] for row in found]) for name in off}
    within = np.maximum(np.abs(off["longest"]), np.abs(off["shortest"])) <= 0.1
    share = np.abs(np.concatenate([off["longest"], off["shortest"]])) / np.tile([row["u"] for row in found], 2)
    figures: dict[str, Any] = {"pictures": len(rows), "no outline": len(rows) - len(found)}
    for name, unit in (("centre", "px"), ("longest", "%"), ("shortest", "%")):
        figures[f"{name}, error in {unit}: median, p95 and worst"] = three(off[name])
        figures[f"{name}, OpenCV fitEllipse on the same edges"] = three(peer[name])
        figures[f"{name}, p95: fitEllipse over ours"] = round(three(peer[name])[1] / three(off[name])[1], 1)
    figures["both diameters within 0.1 %, share"] = round(float(within.mean()), 3)
    figures["centre, median and worst by lamp"] = {
        lamp: [three(rows_of(found, lamp))[k] for k in (0, 2)] for lamp in sorted({row["lamp"] for row in found})
    }
    figures["diameters beyond 1, 2 and 3 stated uncertainties, share"] = [
        round(float((share > k).mean()), 3) for k in (1, 2, 3)
    ]
    return figures | other_figures(rows)


def rows_of(found: list[dict[str, Any]], lamp: str) -> Any:
    return np.array([row["centre"] for row in found if row["lamp"] == lamp])


def three(off: Any) -> list[float]:
    """Median, and 95th percentile and largest of the magnitude."""
    return [round(float(v), 3) for v in (np.median(off), np.percentile(np.abs(off), 95), np.abs(off).max())]


def other_figures(rows: list[dict[str, Any]]) -> dict[str, Any]:
    rated = [mark for row in rows for mark in row.get("marks", [])]
    return {
        "unusable": sum(not row["usable"] for row in rows),
        "guided pictures said not to keep the protocol": sum(
            bool(r.get("broken")) for r in rows if r["picture"][-6] in "V" and r["picture"][-5] in "456"
        ),
        "free pictures said not to keep it": sum(bool(r.get("broken")) for r in rows if r["picture"][-5] in "123"),
        "natural marks listed (guided), share right, average precision": [
            len(rated),
            round(float(np.mean([hit for _, hit in rated])), 3),
            round(average_precision(rated), 3),
        ]
        if rated
        else [],
    }


def mismatch_figures(rows: list[dict[str, Any]], read: dict[str, dict[str, Any]]) -> dict[str, Any]:
    """What the guided calibration would say of free pictures if nobody noticed."""
    some = [
        r
        for r in rows
        if r["usable"] and r["protocol"] == "free" and (r["pair"][1], r["pair"][3]) not in calibrate_photos.CLEANING
    ]
    value = np.array([combine_scores(r, shipped_calibration()["guided"])[0] for r in some])
    same = np.array([r["pair"][4] == "same" for r in some])
    kept = np.array([keeps_protocol(r, read) for r in some])
    return {
        "cllr if nothing were refused": round(cllr(value[same], value[~same]), 3),
        "pairs not refused": [int(kept.sum()), len(kept)],
        "of these of one stone": int((same & kept).sum()),
        "cllr of those": calibrate_photos.costs(value[same & kept], value[~same & kept])[:1],
    }


def keeps_protocol(row: dict[str, Any], read: dict[str, dict[str, Any]]) -> bool:
    """Whether the pictures themselves would let the pair pass as guided."""
    pair = row["pair"]
    a, b = (read[f"{pair[k]}/{pair[k + 1]}.jpg"] for k in (0, 2))
    flash = row["margin"] > FREE_MARGIN and row["consistent"] < LEAST_CONSISTENT
    return not flash and not a["broken"] and not b["broken"] and abs(a["shade"] - b["shade"]) <= SHADE_APART


def peer_turns(folder: Path) -> dict[str, str]:
    """How many turns SIFT with RANSAC finds on the same cut-outs: how hard the pictures are for a general method."""
    index = read_index(folder)
    with ProcessPoolExecutor(2) as pool:
        stones = sorted({stone for stone, _ in index})
        errors = list(pool.map(peer_errors, [(folder, [index[stone, v] for v in VIEWS]) for stone in stones]))
    counts = np.array(errors) < 2
    return {f"{VIEWS[a]}-{VIEWS[b]}": f"{counts[:, k].sum()} of {len(counts)}" for k, (a, b) in enumerate(PEER_PAIRS)}


def peer_errors(job: tuple[Path, list[dict[str, Any]]]) -> list[float]:
    """Degrees that the peer's turn is off by, per pair of views of one stone; 180 where it finds none."""
    cv2.setNumThreads(1)
    folder, lines = job
    studies = [Study(open_photo((folder / line["picture"]).read_bytes())) for line in lines]
    flat = [None if s.outline is None else cut_out(s.photo.grey, s.stone) for s in studies]
    errors = []
    for a, b in PEER_PAIRS:
        try:
            found = sift_turn(flat[a], flat[b])
        except (ValueError, IndexError, cv2.error):
            found = float("nan")
        off = (found - lines[b]["rotation_deg"] + lines[a]["rotation_deg"] + 180) % 360 - 180
        errors.append(180.0 if np.isnan(off) else abs(off))
    return errors


def write_report(figures: dict[str, Any], out: Path) -> None:
    (out / "accuracy_photos.json").write_text(json.dumps(figures, indent=1), encoding="utf-8")
    lines = ["# Photographs: accuracy (simulated pictures)", ""]
    for title, part in figures.items():
        lines += [f"## {title}", "", "| | |", "|---|---|"]
        lines += [f"| {name} | {shown(value)} |" for name, value in part.items()]
        lines.append("")
    (out / "accuracy_photos.md").write_text("\n".join(lines), encoding="utf-8")
    print("\n".join(lines))


def shown(value: Any) -> str:
    if isinstance(value, dict):
        return "; ".join(f"{name}: {item}" for name, item in value.items())
    return ", ".join(map(str, value)) if isinstance(value, list) else str(value)


def main(arguments: list[str]) -> int:
    folder = Path(arguments[0] if arguments else "pictures/final")
    out = Path(arguments[1]) if len(arguments) > 1 else HERE / "results"
    if not folder.is_dir():
        print(f"{folder}: no such folder; render it with: make pictures", file=sys.stderr)
        return 1
    out.mkdir(parents=True, exist_ok=True)
    jobs = [(str(folder), line["picture"]) for line in read_index(folder).values()]
    with ProcessPoolExecutor(2) as pool:
        rows = list(pool.map(read_one, jobs, chunksize=6))
    scores = out / "photo-scores.json"
    calibrate_photos.score(str(folder), str(scores), "", 4, 2)
    pairs = json.loads(scores.read_text())
    scores.unlink()
    figures = {"Outline, quality, marks": outline_figures(rows)}
    figures |= {f"Comparison, {name}": part for name, part in calibrate_photos.judge_rows(pairs).items()}
    figures["Guided calibration on free pictures"] = mismatch_figures(pairs, {row["picture"]: row for row in rows})
    figures["Cleaning"] = calibrate_photos.judge_cleaning(pairs)
    figures["Turns right to 2 degrees by SIFT with RANSAC on the same cut-outs"] = peer_turns(folder)
    write_report(figures, out)
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
