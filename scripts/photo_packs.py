"""Rendered sets as compact packs of standard views: what the networks learn from.

    python -m scripts.photo_packs PICTURES... OUT.npz [--stones T001-T075] [--workers 8]

A pack holds, per picture, the stone cut out at standard size (JPEG bytes), the mask of every mark with all its
reflections (PNG bytes) and what is known of it.
"""

from __future__ import annotations

import argparse
import json
from concurrent.futures import ProcessPoolExecutor
from multiprocessing.pool import ThreadPool
from pathlib import Path
from typing import Any

import cv2
import numpy as np

Packed = tuple[Any, Any, dict[str, Any]]


def wanted(stone: str, ranges: str) -> bool:
    """Whether a stone's name lies in one of the ranges; no ranges mean all."""
    spans = [span.split("-") for span in ranges.split(",") if span]
    return not spans or any(low <= stone <= high for low, high in spans)


def read_index(folder: Path) -> dict[tuple[str, str], dict[str, Any]]:
    """Lines of a set's index by stone and view."""
    lines = [line for part in sorted(folder.glob("index*.json")) for line in json.loads(part.read_text())]
    return {(line["stone"], line["view"]): line for line in lines}


def open_mask(path: Path) -> Any:
    """Masks (h, w, 3) of faint marks, natural marks and dirt, 0 or 255."""
    from PIL import Image

    classes = np.asarray(Image.open(path))
    layers = np.stack([(classes == k) * np.uint8(255) for k in (1, 2, 3)], axis=-1)
    crowded = cv2.blur(layers, (3, 3)) > 100  # single pixels are the renderer's grain, not marks
    return np.ascontiguousarray(layers * crowded)


def pack_picture(job: tuple[str, dict[str, Any]]) -> Packed | None:
    """View, mask and facts of one picture; None where there is no picture or no outline."""
    from samestone.imaging.photo import BadPhoto, open_photo
    from samestone.imaging.study import Study
    from samestone.imaging.symmetry import mirror_axis_deg
    from samestone.imaging.view import cut_out

    cv2.setNumThreads(1)
    path = Path(job[0]) / job[1]["picture"]
    if not path.exists() or not path.with_suffix(".png").exists():
        return None
    try:
        study = Study(open_photo(path.read_bytes()))
    except BadPhoto as error:
        print(f"{path}: {error}")
        return None
    if study.outline is None:
        return None
    mask = np.ascontiguousarray(cut_out(open_mask(path.with_suffix(".png")), study.stone))
    known = {name: job[1][name] for name in ("stone", "of", "view", "picture", "rotation_deg", "lamp")}
    known |= {"axis": mirror_axis_deg(study.view.edge_rows), "fold": study.view.fold}
    view = cv2.imencode(".jpg", cut_out(study.photo.grey, study.stone), [cv2.IMWRITE_JPEG_QUALITY, 80])[1]
    return view.ravel(), cv2.imencode(".png", mask & 0xE0)[1].ravel(), known


def pack(folders: list[str], out: str, stones: str, workers: int) -> None:
    """One compressed file of all pictures of the sets."""
    jobs = [(f, line) for f in folders for line in read_index(Path(f)).values() if wanted(line["stone"], stones)]
    with ProcessPoolExecutor(workers) as pool:
        found = [item for item in pool.map(pack_picture, jobs, chunksize=4) if item is not None]
    views, masks, facts = zip(*found, strict=True)
    np.savez(out, **joined("views", views), **joined("masks", masks), facts=json.dumps(facts))
    print(f"{len(views)} of {len(jobs)} views packed into {out}")


def joined(name: str, parts: tuple[Any, ...]) -> dict[str, Any]:
    """Byte strings one after the other, and where each ends."""
    return {name: np.concatenate(parts), f"{name}_ends": np.cumsum([0] + [len(part) for part in parts])}


def load_pack(path: str) -> tuple[Any, Any, list[dict[str, Any]]]:
    """Views n x 560 x 560 and masks n x 3 x 560 x 560, bytes."""
    with np.load(path) as stored:
        v, ve, m, me = stored["views"], stored["views_ends"], stored["masks"], stored["masks_ends"]
        facts = json.loads(str(stored["facts"]))
    with ThreadPool() as pool:
        views = np.stack(pool.map(lambda k: cv2.imdecode(v[ve[k] : ve[k + 1]], 0), range(len(facts))))
        masks = pool.map(lambda k: cv2.imdecode(m[me[k] : me[k + 1]], 1).transpose(2, 0, 1), range(len(facts)))
    return views, np.stack(masks), facts


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("paths", nargs="+")
    parser.add_argument("--stones", default="", help="only stones with these names, as T001-T075,C001-C080")
    parser.add_argument("--workers", type=int, default=2)
    choice = parser.parse_args()
    pack(choice.paths[:-1], choice.paths[-1], choice.stones, choice.workers)


if __name__ == "__main__":
    main()
