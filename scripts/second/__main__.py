"""Render the second set: python -m scripts.second [--out pictures/second] [--stones 64] [--part 0/1]

Roles, views and truth as in the first renderer's sets, so that benchmarks/accuracy_photos.py reads it as it stands.
`--part K/N` renders every N-th stone from the K-th; what is there already is kept.
"""

from __future__ import annotations

import argparse
import json
import time
from pathlib import Path

from scripts.second.picture import index_line, make_picture
from scripts.second.plan import shop_of, specimen, takes


def render_stone(number: int, count: int, out: Path) -> list[dict[str, object]]:
    """Lines of the index of one stone."""
    made = specimen(number, count)
    shop = shop_of(made.shop)
    lines = []
    for take in takes(number, made, shop):
        done = (out / made.name / f"{take.view}.jpg").exists()  # the JPEG is written last
        lines.append(index_line(made, take) if done else make_picture(made, take, shop, number, out))
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", default="pictures/second")
    parser.add_argument("--stones", type=int, default=64, help="how many stones the set has")
    parser.add_argument("--part", default="0/1", help="K/N: every N-th stone from the K-th (from 0)")
    choice = parser.parse_args()
    part, parts = (int(word) for word in choice.part.split("/"))
    out = Path(choice.out)
    out.mkdir(parents=True, exist_ok=True)
    index = out / ("index.json" if parts == 1 else f"index-{part}.json")
    lines: list[dict[str, object]] = []
    for number in range(part, choice.stones, parts):
        start = time.monotonic()
        lines += render_stone(number, choice.stones, out)
        index.write_text(json.dumps(lines, indent=0))
        print(f"stone {number + 1} of {choice.stones}: {time.monotonic() - start:.1f} s", flush=True)


if __name__ == "__main__":
    main()
