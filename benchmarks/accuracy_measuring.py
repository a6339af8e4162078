"""How well the microscope's measuring functions do on rendered pictures whose truth is known.

    .venv/bin/python -m benchmarks.accuracy_measuring [results folder]

Pictures: pictures/extra/{scale,side,claws,inscription,stack}, made by `make pictures`; all are simulated.
"""

from __future__ import annotations

import json
import platform
import sys
import time
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from samestone import imaging
from samestone.imaging import microscope
from samestone.imaging.photo import Photo

PICTURES = Path(__file__).parent.parent / "pictures" / "extra"
Row = tuple[str, str, str]


def pictures(kind: str) -> Iterator[tuple[dict[str, Any], Photo]]:
    """Truth and photograph of every picture of a set."""
    for truth in sorted((PICTURES / kind).glob("*.json")):
        photo = imaging.open_photo(truth.with_suffix(".jpg").read_bytes())
        yield json.loads(truth.read_text(encoding="utf-8")) | {"file": truth.stem}, photo


def scale_rows() -> list[Row]:
    errors, z, refused = [], [], []
    for truth, photo in pictures("scale"):
        try:
            found = microscope.measure_scale(photo.grey, division_um=truth["division_um"])
        except microscope.Unresolved:
            refused.append(truth["division_um"] / truth["um_per_px"] / truth["blur_px"])
            continue
        errors.append(100 * abs(found.um_per_px / truth["um_per_px"] - 1))
        z.append(abs(found.um_per_px - truth["um_per_px"]) / found.u)
    return [
        ("scale: error", f"{np.median(errors):.5f} % median, {max(errors):.5f} % worst of {len(errors)}", "0.01 %"),
        ("scale: error over u", f"{max(z):.1f} worst", "2 in 95 %"),
        (
            "scale: refused",
            f"{len(refused)}; pitch at most {max(refused, default=0):.1f} blur radii",
            "unresolved only",
        ),
    ]


def silhouette_rows() -> list[Row]:
    names = {
        "crown_angle_deg": ("crown_deg", "0.2°"),
        "pavilion_angle_deg": ("pavilion_deg", "0.1°"),
        "table_percent": ("table_percent", "0.4 %"),
        "girdle_percent": ("girdle_percent", ""),
        "depth_percent": ("depth_percent", "0.15 %"),
    }
    stones: dict[str, tuple[dict[str, Any], list[Photo]]] = {}
    for truth, photo in pictures("side"):
        stones.setdefault(truth["file"].split("_")[0], (truth, []))[1].append(photo)
    errors: dict[str, list[tuple[float, float]]] = {name: [] for name in names}
    refused = 0
    for truth, photos in stones.values():
        try:
            found = microscope.measure_silhouette([photo.linear for photo in photos])
        except microscope.NoSilhouette:
            refused += 1
            continue
        for name, (key, _) in names.items():
            value = getattr(found, name)
            errors[name].append((abs(value.value - truth["angles"][key]), value.u))
    rows = [("silhouettes, 8 views: refused", f"{refused} of {len(stones)}", "0")]
    for name, (_, target) in names.items():
        e, u = np.array(errors[name]).T
        rows.append(
            (name, f"{np.median(e):.3f} median, {e.max():.3f} worst; {np.mean(e < 2 * u):.0%} within 2u", target)
        )
    return rows


def prong_rows() -> list[Row]:
    errors: dict[str, list[float]] = {"not flagged": [], "flagged": []}
    missed = silently = all_of_them = refused = 0
    for truth, photo in pictures("claws"):
        all_of_them += len(truth["claws"])
        try:
            found = microscope.measure_prongs(photo)
        except microscope.NoProngs:
            refused += len(truth["claws"])
            continue
        for claw in truth["claws"]:
            turn = [abs((p.angle_deg - claw["angle_deg"] + 180) % 360 - 180) for p in found.prongs]
            if not turn or min(turn) > 8:
                missed += 1
                silently += not found.flags
                continue
            width = found.prongs[int(np.argmin(turn))].width_px * truth["um_per_px"]
            errors["flagged" if found.flags else "not flagged"].append(abs(100 * (width / claw["width_um"] - 1)))
    rows = [
        (
            f"prong width, {light}",
            f"{np.median(e):.2f} % median, {np.quantile(e, 0.9):.1f} % at 90 %, n {len(e)}",
            "3 %",
        )
        for light, e in errors.items()
        if e
    ]
    return [*rows, ("prongs missed", f"{missed} of {all_of_them}, {silently} without a flag; {refused} refused", "0")]


def inscription_rows() -> list[Row]:
    counts = {"clear": [0, 0, 0], "all": [0, 0, 0]}
    for truth, photo in pictures("inscription"):
        found = microscope.read_inscription(photo)
        outcome = 2 if not found.readable else int(found.text != truth["text"])
        clear = truth["cap_px"] >= 18 and abs(truth["contrast"]) >= 0.08
        for group in ("all", *(["clear"] if clear else [])):
            counts[group][outcome] += 1
    labels = {"clear": "18 px and 0.08 contrast or more", "all": "all"}
    return [
        (f"inscriptions, {labels[group]}", f"{right} read, {wrong} wrong, {unread} said to be unreadable", "0 wrong")
        for group, (right, wrong, unread) in counts.items()
    ]


def stack_rows() -> list[Row]:
    views: dict[str, dict[str, Photo]] = {}
    for truth, photo in pictures("stack"):
        name, part = truth["file"].split("_")
        views.setdefault(name, {})[part] = photo
    rows = []
    for name, parts in views.items():
        sharp = parts.pop("sharp").pixels
        joined = microscope.stack_photos(list(parts.values())).pixels
        best = max(fine_likeness(part.pixels, sharp) for part in parts.values())
        peer = fine_likeness(pyramid_stack([part.pixels for part in parts.values()]), sharp)
        rows.append(
            (
                f"stack {name}",
                f"{fine_likeness(joined, sharp):.3f} (best slice {best:.3f}, Laplacian pyramid {peer:.3f})",
                "above both",
            )
        )
    return rows


def pyramid_stack(slices: list[Any], levels: int = 5) -> Any:
    """What is usually done: slices aligned by ECC (affine, to the middle one), everywhere the strongest Laplacian."""
    middle = cv2.cvtColor(slices[len(slices) // 2], cv2.COLOR_RGB2GRAY)
    pyramids = []
    for pixels in slices:
        grey, move = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), np.eye(2, 3, dtype=np.float32)
        move = np.asarray(cv2.findTransformECC(middle, grey, move, cv2.MOTION_AFFINE)[1], np.float32)
        how = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
        size = (middle.shape[1], middle.shape[0])
        part = cv2.warpAffine(pixels, move, size, flags=how, borderMode=cv2.BORDER_REFLECT)
        pyramid, rest = [], np.asarray(part, np.float32)
        for _ in range(levels):
            small = np.asarray(cv2.pyrDown(rest), np.float32)
            pyramid.append(rest - cv2.pyrUp(small, dstsize=(rest.shape[1], rest.shape[0])))
            rest = small
        pyramids.append([*pyramid, rest])
    *fine, coarse = zip(*pyramids, strict=True)
    joined = np.mean(coarse, axis=0)
    for layers in reversed(fine):
        stacked = np.stack(layers)
        strongest = np.abs(stacked).sum(axis=3, keepdims=True).argmax(axis=0)[None]
        layer = np.take_along_axis(stacked, strongest, axis=0)[0]
        joined = cv2.pyrUp(joined, dstsize=(layer.shape[1], layer.shape[0])) + layer
    return np.clip(joined, 0, 255).astype(np.uint8)


def fine_likeness(a: Any, b: Any) -> float:
    """Correlation of structure finer than 3 px."""
    greys = [cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY).astype(np.float32) for picture in (a, b)]
    fine = [(grey - cv2.GaussianBlur(grey, (0, 0), 3))[30:-30, 30:-30].ravel() for grey in greys]
    return float(np.corrcoef(fine)[0, 1])


def main(folder: Path) -> None:
    rows: list[Row] = []
    for part in (scale_rows, prong_rows, inscription_rows, stack_rows, silhouette_rows):
        start = time.process_time()
        found = part()
        rows += found
        print(*(" | ".join(row) for row in found), f"({time.process_time() - start:.0f} s)", sep="\n", flush=True)
    made = f"{date.today().isoformat()}, {platform.machine()}, simulated pictures"
    table = "\n".join(f"| {' | '.join(row)} |" for row in rows)
    text = f"{made}\n\n| what | found | wanted |\n|---|---|---|\n{table}\n"
    (folder / "accuracy_measuring.md").write_text(text, encoding="utf-8")
    (folder / "accuracy_measuring.json").write_text(
        json.dumps({"made": made, "rows": rows}, indent=1), encoding="utf-8"
    )


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent / "results")
