"""How well the live guide tells lean, low side and turn, on pictures that nothing was tuned on (simulated).

    .venv/bin/python -m benchmarks.accuracy_guide [pictures/final [results folder]]

Every picture is first made as small as a live frame. The turn is asked against the stone's first guided picture and is
known up to the symmetry of the cut. Writes accuracy_guide.json and .md.
"""

from __future__ import annotations

import json
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from samestone.imaging.frame import DIRECTED_LEAN_DEG, read_frame
from samestone.imaging.photo import Photo, open_photo

HERE = Path(__file__).parent
SIDE = 640
FOLD = 8
LEVEL_DEG = 1.0


def live_frame(path: Path) -> Photo:
    """The picture as the browser would send it."""
    picture = cv2.imread(str(path))
    shrink = min(1.0, SIDE / max(picture.shape[:2]))
    small = cv2.resize(picture, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    return open_photo(cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, 90])[1].tobytes())


def read_stone(folder: Path) -> list[dict[str, Any]]:
    """What the guide says of each picture of one stone, and the truth."""
    cv2.setNumThreads(1)
    reference = folder / "V4.jpg"
    then, earlier = json.loads(reference.with_suffix(".json").read_text()), live_frame(reference)
    rows = []
    for path in sorted(folder.glob("V*.jpg")):
        truth, read = json.loads(path.with_suffix(".json").read_text()), read_frame(live_frame(path), earlier)
        about_x, about_y = truth["tilt_deg"]
        row: dict[str, Any] = {"picture": f"{folder.name}/{path.stem}", "lamp": truth["lamp"], "found": False}
        row |= {"truth": [about_y, -about_x]}  # the low side: right, up
        if read.lean_deg is not None:
            row |= {"found": True, "lean": read.lean_deg, "low_side": read.low_side_deg}
        if read.turn_deg is not None and path != reference:
            off = then["rotation_deg"] - truth["rotation_deg"] - read.turn_deg
            row["turn_off"] = abs((off + 180 / FOLD) % (360 / FOLD) - 180 / FOLD)
        rows.append(row)
    return rows


def summary(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """The figures of the table."""
    found = [row for row in rows if row["found"]]
    said = np.array([row["low_side"] is not None for row in found])
    truth = np.array([np.hypot(*row["truth"]) for row in found])
    directed = [row for row in found if row["low_side"] is not None]
    off = np.array([_apart(row["low_side"], np.degrees(np.arctan2(*row["truth"][::-1]))) for row in directed])
    turns = np.array([row["turn_off"] for row in rows if "turn_off" in row])
    return {
        "pictures": len(rows),
        "read": len(found),
        "leaning": int((truth >= LEVEL_DEG).sum()),
        "leaning_said": float(said[truth >= LEVEL_DEG].mean()),
        "level": int((truth < LEVEL_DEG / 2).sum()),
        "level_said_leaning": float(said[truth < LEVEL_DEG / 2].mean()),
        "directed": len(directed),
        "within_45": float((off <= 45).mean()),
        "beyond_90": float((off > 90).mean()),
        "turns": len(turns),
        "turn_within_2": float((turns <= 2).mean()),
    }


def _apart(a: float, b: float) -> float:
    return abs((a - b + 180) % 360 - 180)


def main(arguments: list[str]) -> int:
    pictures = Path(arguments[0]) if arguments else HERE.parent / "pictures" / "final"
    results = Path(arguments[1]) if len(arguments) > 1 else HERE / "results"
    folders = sorted(path.parent for path in pictures.glob("*/V4.jpg"))
    if not folders:
        print(f"no pictures in {pictures}; make them with `make pictures`")
        return 0
    with ProcessPoolExecutor(2) as pool:
        rows = [row for stone in pool.map(read_stone, folders) for row in stone]
    told = summary(rows)
    (results / "accuracy_guide.json").write_text(json.dumps(told, indent=1) + "\n")
    (results / "accuracy_guide.md").write_text(table(told))
    print(table(told))
    return 0


def table(told: dict[str, Any]) -> str:
    """The figures as the method's page quotes them."""
    lines = {
        "live frames (640 pixels), read": f"{told['pictures']}, {told['read']}",
        f"lean of {LEVEL_DEG:g} degree or more: said to lean": f"{told['leaning_said']:.0%} of {told['leaning']}",
        f"lean below {LEVEL_DEG / 2:g}: said to lean": f"{told['level_said_leaning']:.0%} of {told['level']}",
        f"low side told (from {DIRECTED_LEAN_DEG:g} degrees on): within 45 degrees": (
            f"{told['within_45']:.0%} of {told['directed']}"
        ),
        "low side told: on the wrong half": f"{told['beyond_90']:.0%}",
        "turn, up to the cut's symmetry, within 2 degrees": f"{told['turn_within_2']:.0%} of {told['turns']}",
    }
    rows = "".join(f"| {name} | {value} |\n" for name, value in lines.items())
    return f"# The live guide (simulated pictures)\n\n| | |\n|---|---|\n{rows}"


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
