"""Contact sheets of what is found in simulated pictures and what is not: `python -m benchmarks plates`.

Writes docs/method/pictures/*.jpg from pictures/final and pictures/extra. Which pictures are shown is a rule, not a
choice: the first of each kind in the set's order, and the worst of those that were looked at.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont
from scripts.photo_packs import open_mask

from samestone import imaging
from samestone.imaging import microscope, silhouette
from samestone.imaging.brilliant import SideView, brilliant_corners
from samestone.imaging.cleaning import NOT_VISIBLE, STILL_THERE
from samestone.imaging.photo import Photo

ROOT = Path(__file__).parent.parent
FINAL, EXTRA = ROOT / "pictures" / "final", ROOT / "pictures" / "extra"
OUT = ROOT / "docs" / "method" / "pictures"
TILE, GAP, CAPTION = 300, 8, 52
LARGEST = 150_000
LOOKED_AT = 32
"""Pictures of the final set among which the worst outline is looked for; PAIRS is the like for free pairs."""
PAIRS = 8
GREEN, RED, AMBER, BLUE, WHITE = (30, 200, 90), (235, 60, 60), (245, 180, 40), (70, 150, 255), (245, 245, 245)
Tile = tuple[Any, str]
"""A picture (h, w, 3) and what is said below it."""


def sheet(name: str, title: str, tiles: list[Tile], *, across: int, width: int = TILE, height: int = TILE) -> None:
    """Write tiles with their captions below a title; the quality falls until the file is small enough."""
    step_x, step_y, top = width + GAP, height + CAPTION + GAP, 34
    rows = -(-len(tiles) // across)
    page = Image.new("RGB", (across * step_x + GAP, top + rows * step_y), (255, 255, 255))
    pen = ImageDraw.Draw(page)
    pen.text((GAP, 8), f"Simulated pictures. {title}", fill=(20, 20, 20), font=ImageFont.load_default(size=17))
    for k, (picture, caption) in enumerate(tiles):
        x, y = GAP + k % across * step_x, top + k // across * step_y
        page.paste(Image.fromarray(fitted(picture, width, height)), (x, y))
        text = wrapped(caption, width, ImageFont.load_default(size=13))
        pen.multiline_text(
            (x, y + height + 2), text, fill=(20, 20, 20), font=ImageFont.load_default(size=13), spacing=1
        )
    OUT.mkdir(parents=True, exist_ok=True)
    path = OUT / f"{name}.jpg"
    for quality in range(88, 30, -6):
        page.save(path, quality=quality, optimize=True)
        if path.stat().st_size <= LARGEST:
            break
    print(f"{path.relative_to(ROOT)}: {path.stat().st_size // 1000} kB, {len(tiles)} pictures", flush=True)


def fitted(picture: Any, width: int, height: int) -> Any:
    """The whole picture in a tile, on grey."""
    scale = min(width / picture.shape[1], height / picture.shape[0])
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    small = cv2.resize(picture, (round(picture.shape[1] * scale), round(picture.shape[0] * scale)), interpolation=how)
    tile = np.full((height, width, 3), 225, np.uint8)
    y, x = (height - small.shape[0]) // 2, (width - small.shape[1]) // 2
    tile[y : y + small.shape[0], x : x + small.shape[1]] = small
    return tile


def wrapped(caption: str, width: int, font: Any) -> str:
    """Lines of words no wider than the tile, three at most."""
    lines = [""]
    for word in caption.split():
        longer = f"{lines[-1]} {word}".strip()
        if font.getlength(longer) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return "\n".join(lines if len(lines) < 4 else [*lines[:2], f"{lines[2]} ..."])


def truth_of(picture: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(picture.with_suffix(".json").read_text(encoding="utf-8"))
    return found


def opened(picture: Path) -> Photo:
    return imaging.open_photo(picture.read_bytes())


def shown(photo: Photo) -> Any:
    """Eight bits, three channels, to draw on."""
    pixels = photo.pixels if photo.pixels.dtype == np.uint8 else (photo.pixels / 257).astype(np.uint8)
    return np.array(pixels if pixels.ndim == 3 else cv2.cvtColor(pixels, cv2.COLOR_GRAY2RGB))


def dot(picture: Any, place: tuple[float, float], radius: float, colour: Any, thickness: int = 2) -> None:
    centre = (round(8 * place[0]), round(8 * place[1]))
    cv2.circle(picture, centre, round(8 * radius), colour, thickness, cv2.LINE_AA, 3)


def line_through(picture: Any, points: Any, colour: Any, *, closed: bool = True, thickness: int = 2) -> None:
    cv2.polylines(
        picture, [np.rint(8 * np.asarray(points)).astype(np.int32)], closed, colour, thickness, cv2.LINE_AA, 3
    )


# -- the final set: outlines, pairs, cleaning


def outlines() -> None:
    """The first picture of each lamp, and the two worst of those looked at."""
    index = json.loads((FINAL / "index.json").read_text(encoding="utf-8"))[:LOOKED_AT]
    read = [outline_tile(FINAL / line["picture"], line) for line in index]
    lamps = {line["lamp"]: k for k, line in reversed(list(enumerate(index)))}
    firsts = sorted(lamps.values())[:6]
    worst = [k for k in sorted(range(len(read)), key=lambda k: -read[k][0]) if k not in firsts][:2]
    tiles = [read[k][1] for k in firsts] + [
        (read[k][1][0], f"Among the worst of {len(read)}: {read[k][1][1]}") for k in worst
    ]
    sheet("outlines", "Girdle outlines found (green), one per lamp, then the two worst.", tiles, across=4)


def outline_tile(path: Path, line: dict[str, Any]) -> tuple[float, Tile]:
    """How far off, and the tile; no outline is further off than any."""
    photo, truth = opened(path), truth_of(path)
    picture, reading = shown(photo), imaging.read_photo(photo)
    where = f"{line['stone']} {line['view']}, {line['lamp']}"
    if reading.outline is None:
        return np.inf, (picture, f"{where}: no outline. {reading.reason}")
    outline = reading.outline
    line_through(picture, outline.ellipse.curve.points, GREEN)
    off = float(np.hypot(*np.subtract(outline.centre_px, truth["centre_px"])))
    longest = 100 * (outline.diameter_max_px / truth["diameter_max_px"] - 1)
    shortest = 100 * (outline.diameter_min_px / truth["diameter_min_px"] - 1)
    text = f"{where}: centre off {off:.2f} px, diameters {longest:+.2f} and {shortest:+.2f} %"
    return max(off / 0.1, abs(longest) / 0.1, abs(shortest) / 0.1), (picture, text)


def pairs() -> None:
    """A guided pair, the first free pair that was refused, and the first that was laid on wrongly, if any was."""
    stones = sorted(path.name for path in FINAL.iterdir() if path.is_dir())
    tiles = pair_tiles(stones[0], "V4", "V5", "guided")[1]
    kinds: dict[str, list[Tile]] = {}
    for stone in stones[:PAIRS]:
        for views in (("V2", "V3"), ("V1", "V2")):
            kind, found = pair_tiles(stone, *views, "free")
            kinds.setdefault(kind, found)
    for kind in ("refused", "wrong", "right"):
        tiles += kinds.get(kind, [])
    sheet(
        "pairs",
        "Two pictures of one stone, laid on each other; rings: marks looked for in the other.",
        tiles[:8],
        across=4,
    )


def pair_tiles(stone: str, first: str, second: str, protocol: str) -> tuple[str, list[Tile]]:
    """What came of a pair ("right", "wrong" or "refused") and its two pictures."""
    paths = [FINAL / stone / f"{view}.jpg" for view in (first, second)]
    truths = [truth_of(path) for path in paths]
    found = imaging.compare_photos(opened(paths[0]), opened(paths[1]), protocol)
    turn = truths[1]["rotation_deg"] - truths[0]["rotation_deg"]
    where = f"{stone} {first} ({truths[0]['lamp']}) and {second} ({truths[1]['lamp']})"
    if not found.usable:
        whole = [shown(opened(path)) for path in paths]
        return "refused", [(whole[0], f"Refused, free: {where}"), (whole[1], found.reason)]
    a, b = (np.array(part) for part in found.aligned())
    off = abs((found.rotation_deg - turn + 180) % 360 - 180)
    kind = "right" if off < 2 else "wrong"
    for feature in found.features:
        colour = {"agrees": GREEN, "absent": RED}.get(feature.found, AMBER)
        picture = a if feature.seen_in.lower() == "a" else b
        dot(picture, ring_place(feature.mark, found, feature.seen_in), 11, colour)
    counted = {name: sum(f.found == name for f in found.features) for name in ("agrees", "absent", "cannot say")}
    said = f"{'FAILURE, ' if kind == 'wrong' else ''}{kind}: {found.rotation_deg % 360:.2f}°, off {off:.2f}°" + (
        "" if found.rotation_known else ", called doubtful"
    )
    marks = (
        f"{counted['agrees']} marks agree (green), {counted['absent']} absent (red), {counted['cannot say']} cannot say"
    )
    return kind, [(a, f"{protocol}, {said}. {where}"), (b, marks)]


def ring_place(mark: Any, found: Any, seen_in: str) -> tuple[float, float]:
    """A mark's place in the standard view of `aligned`, from its clock position."""
    turn = np.radians(mark.angle_deg + (found.rotation_deg if seen_in.lower() == "a" else 0.0))
    return 279.5 + 260 * mark.r * float(np.cos(turn)), 279.5 - 260 * mark.r * float(np.sin(turn))


def cleaning() -> None:
    """Before and after of the first two stones that were dirty, outcomes ringed, wrong ones crossed."""
    tiles: list[Tile] = []
    for stone in sorted(path.name for path in FINAL.iterdir() if path.is_dir())[:2]:
        before, after = FINAL / stone / "V6.jpg", FINAL / stone / "V4.jpg"
        found = imaging.compare_cleaning(opened(before), opened(after))
        picture, mask = shown(opened(before)), open_mask(before.with_suffix(".png"))
        right: dict[str, list[bool]] = {NOT_VISIBLE: [], STILL_THERE: []}
        for feature in found.features:
            colour = {NOT_VISIBLE: BLUE, STILL_THERE: GREEN}.get(feature.outcome, AMBER)
            dot(picture, (feature.x_px, feature.y_px), 12, colour)
            if feature.outcome in right:
                fits = is_there(mask, feature, 2 if feature.outcome == NOT_VISIBLE else 1)
                right[feature.outcome].append(fits)
                if not fits:
                    cross(picture, (feature.x_px, feature.y_px))
        counts = ", ".join(f"{sum(hits)} of {len(hits)} {name} right" for name, hits in right.items())
        unsure = sum(feature.outcome not in right for feature in found.features)
        tiles += [
            (picture, f"{stone} before: went (blue), stays (green), cannot say (amber: {unsure}); wrong ones crossed"),
            (shown(opened(after)), f"{stone} after: {counts}" if found.usable else found.reason),
            (truth_picture(before, mask), f"{stone}, truth before: dirt blue, natural green, with their reflections"),
        ]
    sheet("cleaning", "Before and after cleaning, guided.", tiles, across=3, width=400, height=400)


def is_there(mask: Any, feature: Any, layer: int) -> bool:
    """Whether the truth has such a mark within five pixels."""
    x, y = round(feature.x_px), round(feature.y_px)
    return bool((mask[max(0, y - 5) : y + 6, max(0, x - 5) : x + 6, layer] > 120).any())


def cross(picture: Any, place: tuple[float, float]) -> None:
    x, y = round(place[0]), round(place[1])
    cv2.line(picture, (x - 8, y - 8), (x + 8, y + 8), RED, 2, cv2.LINE_AA)
    cv2.line(picture, (x - 8, y + 8), (x + 8, y - 8), RED, 2, cv2.LINE_AA)


def truth_picture(path: Path, mask: Any) -> Any:
    picture = shown(opened(path)) // 3 + 90
    picture[mask[..., 1] > 120] = GREEN
    picture[mask[..., 2] > 120] = BLUE
    return picture


# -- the extra set: silhouettes, prongs, micrometers, inscriptions


def silhouettes() -> None:
    """Two views each of the stones whose proportions came out best and worst."""
    stones: dict[str, list[Path]] = {}
    for path in sorted((EXTRA / "side").glob("*.jpg")):
        stones.setdefault(path.stem.split("_")[0], []).append(path)
    rated = sorted((silhouette_tiles(name, paths) for name, paths in stones.items()), key=lambda one: one[0])
    tiles = rated[0][1] + rated[-1][1]
    sheet(
        "silhouettes",
        f"The fitted brilliant (red) on the outlines, 8 views a stone: the best and the worst of {len(stones)}.",
        tiles,
        across=2,
        width=440,
        height=300,
    )


def silhouette_tiles(name: str, paths: list[Path]) -> tuple[float, list[Tile]]:
    """Sum of the errors over what was aimed at, and two views with the fit drawn in."""
    truth = truth_of(paths[0])["angles"]
    try:
        fit = silhouette.fit_silhouette([silhouette.trace_contour(opened(path).linear) for path in paths])
    except microscope.NoSilhouette as error:
        return np.inf, [(shown(opened(path)), f"{name}: {error}") for path in paths[:2]]
    found = silhouette.read_fit(fit)
    keys = (
        ("crown", "crown_angle_deg", "crown_deg", 0.2),
        ("pavilion", "pavilion_angle_deg", "pavilion_deg", 0.1),
        ("table", "table_percent", "table_percent", 0.4),
        ("depth", "depth_percent", "depth_percent", 0.15),
    )
    off = {short: (getattr(found, ours).value - truth[theirs]) / aim for short, ours, theirs, aim in keys}
    said = ", ".join(
        f"{short} {getattr(found, ours).value:.2f} (truth {truth[theirs]:.2f})" for short, ours, theirs, _ in keys
    )
    tiles = []
    for k, caption in ((0, f"{name}: {said}"), (3, f"{name}, another turn; misses by {found.rms_px:.2f} px")):
        picture = shown(opened(paths[k]))
        hull = SideView.of(brilliant_corners(fit.shared[1:]), fit.shared[0], fit.shared[-1], fit.poses[k]).hull
        line_through(picture, hull, RED)
        (left, top), (right, bottom) = hull.min(axis=0) - 40, hull.max(axis=0) + 40
        tiles.append((picture[int(top) : int(bottom), int(left) : int(right)], caption))
    return float(sum(abs(value) for value in off.values())), tiles


def prongs() -> None:
    """The first two pictures of each lamp."""
    tiles: list[Tile] = []
    seen: dict[str, int] = {}
    for path in sorted((EXTRA / "claws").glob("*.jpg")):
        lamp = truth_of(path)["lamp"]
        seen[lamp] = seen.get(lamp, 0) + 1
        if seen[lamp] <= 2:
            tiles.append(prong_tile(path))
    sheet(
        "prongs",
        "Prongs found (green; red: looks worn or broken; amber: light too hard to say). White: where one truly is.",
        tiles,
        across=4,
    )


def prong_tile(path: Path) -> Tile:
    photo, truth = opened(path), truth_of(path)
    picture, (x, y), radius = shown(photo), truth["centre_px"], truth["diameter_max_px"] / 2

    def place(angle_deg: float, share: float) -> tuple[float, float]:
        a = np.radians(angle_deg)
        return x + share * radius * float(np.cos(a)), y - share * radius * float(np.sin(a))

    for claw in truth["claws"]:
        dot(picture, place(claw["angle_deg"], 1.32), 5, WHITE, -1)
    try:
        found = microscope.measure_prongs(photo)
    except microscope.NoProngs as error:
        return picture, f"{path.stem}, {truth['lamp']}: {error}"
    for prong in found.prongs:
        dot(
            picture,
            place(prong.angle_deg, 1.07),
            prong.width_px / 2,
            AMBER if found.flags else RED if prong.flags else GREEN,
            3,
        )
    broken = sum(claw["state"] == "broken" for claw in truth["claws"])
    flagged = sum(bool(prong.flags) for prong in found.prongs)
    text = f"{path.stem}, {truth['lamp']}: {len(found.prongs)} of {len(truth['claws'])} found. "
    return picture, text + (found.doubt or f"{flagged} flagged, {broken} truly broken.")


def flat() -> None:
    """Micrometers and inscriptions: the first two that were measured or read, the first two that were refused."""
    tiles: list[Tile] = []
    for kind, reader in (("scale", scale_tile), ("inscription", inscription_tile)):
        taken = {True: 0, False: 0}
        for path in sorted((EXTRA / kind).glob("*.jpg")):
            if min(taken.values()) == 2:
                break
            good, tile = reader(path)
            taken[good] += 1
            if taken[good] <= 2:
                tiles.append(tile)
    sheet("flat", "Micrometers and inscriptions: two measured or read, two refused.", tiles, across=4, height=200)


def scale_tile(path: Path) -> tuple[bool, Tile]:
    photo, truth = opened(path), truth_of(path)
    picture = shown(photo)[400:800, 500:1100]
    pitch = truth["division_um"] / truth["um_per_px"]
    try:
        found = microscope.measure_scale(photo.grey, division_um=truth["division_um"])
    except microscope.Unresolved as error:
        return False, (picture, f"Refused ({pitch:.1f} px apart, blur {truth['blur_px']:.1f} px): {error}")
    off = 100 * (found.um_per_px / truth["um_per_px"] - 1)
    return True, (picture, f"{found.um_per_px:.6f} micrometres per pixel, off by {off:+.5f} %; {found.rulings} rulings")


def inscription_tile(path: Path) -> tuple[bool, Tile]:
    photo, truth = opened(path), truth_of(path)
    found = microscope.read_inscription(photo)
    if found.readable:
        text = f"Read {found.text}; truth {truth['text']}. Legibility {found.legibility:.2f}"
    else:
        text = f"Refused ({found.doubtful or 'nothing'}; truth {truth['text']}): {found.reason}"
    return found.readable, (shown(photo)[160:320, 440:840], text)


def missing() -> Iterator[str]:
    """What has to be rendered first."""
    for folder in (FINAL / "index.json", *(EXTRA / kind for kind in ("side", "claws", "scale", "inscription"))):
        if not folder.exists():
            yield str(folder.relative_to(ROOT))


PLATES: tuple[Callable[[], None], ...] = (outlines, pairs, cleaning, silhouettes, prongs, flat)


def main(names: list[str]) -> None:
    """Make all sheets, or those named."""
    absent = list(missing())
    if absent:
        print(f"not there: {', '.join(absent)}. `make pictures` renders them; docs/method/pictures stays as it is.")
        return
    cv2.setNumThreads(1)
    for plate in PLATES:
        if not names or plate.__name__ in names:
            plate()


if __name__ == "__main__":
    main(sys.argv[1:])
