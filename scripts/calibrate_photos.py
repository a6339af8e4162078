"""Learn what photo scores are worth: python -m scripts.calibrate_photos score SET OUT.json [--stones C076-C150]
                                     python -m scripts.calibrate_photos fit SCORES.json...
                                     python -m scripts.calibrate_photos judge SCORES.json...
                                     python -m scripts.calibrate_photos reliability SET

`score` compares the pictures of rendered sets (scripts/render_pictures.py): every stone with itself, with its twin
or clone, and with others drawn at random; `fit` writes the calibration into the package; `judge` applies the shipped
calibration to scores of another set and prints how well it does; `reliability` counts what the peaks of the maps are
worth as probabilities, against the masks, and writes that into the package. The stones to calibrate on must not be
among those that the networks were trained on.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from scripts.photo_packs import open_mask, read_index, wanted

PACKAGE = Path(__file__).parents[1] / "src" / "samestone"
SAME = (("V4", "V5"), ("V6", "V5"), ("V2", "V3"), ("V1", "V3"), ("V6", "V4"), ("V1", "V2"))
APART = (("V4", "V5"), ("V2", "V3"))
LIMITS = {"guided": (-3.0, 0.9), "free": (-3.0, 0.9)}
SHARED = (1.9, 4.0)
FIT_MARGIN = 1.5  # free pairs of two stones that can be laid on each other are few: learn on somewhat less sure ones
LINES = {"inclusions": ("evidence", "likeness", "shared", "lone"), "facets": ("consistent", "edge_gap")}
CLEANING = (("V6", "V4"), ("V1", "V2"))
UNCOPIED = ("other", "twin")
CLEAN = ("V2", "V4")
SEED = 5


def protocol_of(view: str) -> str:
    return "guided" if view in ("V4", "V5", "V6") else "free"


def plan_pairs(
    index: dict[tuple[str, str], dict[str, Any]], ranges: str, others: int
) -> Iterator[tuple[str, list[tuple[str, ...]]]]:
    """Per stone: pairs (stone, view, stone, view, kind); what a twin or clone was made after may be any stone."""
    rng = np.random.default_rng(SEED)
    everything = sorted({stone for stone, _ in index})
    stones = [stone for stone in everything if wanted(stone, ranges)]
    of = {stone: next(line for key, line in index.items() if key[0] == stone) for stone in everything}
    for stone in stones:
        pairs = [(stone, u, stone, v, "same") for u, v in SAME]
        model, role = of[stone]["of"], of[stone]["role"]
        if model:
            pairs += [(stone, u, model, v, role) for u, v in APART] + [(model, u, stone, v, role) for u, v in APART]
        family = (stone, model or stone)
        strangers = [s for s in stones if s not in family and of[s]["of"] not in family and same_lamp(of, s, stone)]
        chosen = rng.choice(strangers, others, replace=False)
        pairs += [(stone, u, str(s), v, "other") for s in chosen for u, v in APART]
        yield stone, [p for p in pairs if (p[0], p[1]) in index and (p[2], p[3]) in index]


def same_lamp(of: dict[str, dict[str, Any]], a: str, b: str) -> bool:
    """Guided pictures of two stones are compared only under one make of dome."""
    return bool(of[a].get("make", 0) == of[b].get("make", 0))


def score_stone(job: tuple[str, list[tuple[str, ...]]]) -> list[dict[str, Any]]:
    folder, pairs = job
    cv2.setNumThreads(1)
    index = read_index(Path(folder))
    studies: dict[tuple[str, str], Any] = {}
    return [row for pair in pairs if (row := score_pair(Path(folder), index, studies, pair)) is not None]


def score_pair(folder: Path, index: Any, studies: Any, pair: tuple[str, ...]) -> dict[str, Any] | None:
    from samestone.imaging.agreement import inclusion_scores
    from samestone.imaging.comparison import facet_scores
    from samestone.imaging.photo import open_photo
    from samestone.imaging.registration import register
    from samestone.imaging.study import Study

    for key in (pair[:2], pair[2:4]):
        if key not in studies:
            studies[key] = Study(open_photo((folder / index[key]["picture"]).read_bytes()))
    a, b = studies[pair[:2]], studies[pair[2:4]]
    row: dict[str, Any] = {"pair": pair, "protocol": protocol_of(pair[1]), "usable": a.usable and b.usable}
    row["lamps"] = [index[key]["lamp"] for key in (pair[:2], pair[2:4])]
    row["leans"] = [study.lean if study.usable else 0.0 for study in (a, b)]
    row["flags"] = [[flag.name for flag in study.flags] for study in (a, b)]
    if not row["usable"]:
        return row
    found = register(a.pattern, b.pattern)
    turn = index[pair[2:4]]["rotation_deg"] - index[pair[:2]]["rotation_deg"]
    row["turn_error_deg"] = (found.rotation_deg - turn + 180) % 360 - 180
    row |= inclusion_scores(a, b, found) | facet_scores(found)
    if pair[4] == "same" and (pair[1], pair[3]) in CLEANING and abs(row["turn_error_deg"]) < 2:
        marks = cleaned_marks(a, b, found, "cleaning")
        row["marks"], row["patches"] = told_and_true(folder, index[pair[:2]], a, marks)
    return row


def cleaned_marks(a: Any, b: Any, found: Any, network: str) -> Any:
    from samestone.imaging.characteristic import list_marks
    from samestone.imaging.cleaning import one_per_place
    from samestone.imaging.pair import see_both

    return one_per_place(list_marks(see_both(a, b, found, one_stone=True).marks, a.stone, network))


def told_and_true(folder: Path, line: dict[str, Any], study: Any, marks: Any) -> tuple[list[list[float]], Any]:
    """Per mark its probability (negative for dirt) and what is there: 1 dirt, 0 natural, -1 a play of the facets.

    Then, per patch of dirt and per natural patch of the mask, its size in view pixels and the surest marks in it.
    """
    from samestone.imaging.characteristic import DIRT
    from samestone.imaging.view import cut_out

    stone = study.stone
    mask = cut_out(open_mask((folder / line["picture"]).with_suffix(".png")), stone)
    zoom, rows, places = 260 / stone.radius_px, [], []
    for mark in marks:
        x, y = (round(279.5 + (p - c) * zoom) for p, c in zip((mark.x_px, mark.y_px), stone.centre_px, strict=True))
        window = mask[max(0, y - 5) : y + 6, max(0, x - 5) : x + 6]
        dirt, natural = bool((window[..., 2] > 120).any()), bool((window[..., 1] > 120).any())
        signed = -mark.probability if mark.kind == DIRT else mark.probability
        told = float(mark.kind == DIRT)
        truth = told if dirt and natural else 1.0 if dirt else 0.0 if natural else -1.0
        rows.append([signed, truth])
        places.append((x, y, signed))
    return rows, [patches(mask[..., k], places) for k in (2, 1)]


def patches(mask: Any, places: list[tuple[int, int, float]]) -> list[list[float]]:
    """Per connected patch of a mask (at least 12 pixels): its size, the surest dirt and the surest mark within 5 px."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats((mask > 120).astype(np.uint8), connectivity=8)
    wide = {
        k: [float(stats[k, cv2.CC_STAT_AREA]), 0.0, 0.0] for k in range(1, count) if stats[k, cv2.CC_STAT_AREA] > 11
    }
    for x, y, signed in places:
        for k in set(labels[max(0, y - 5) : y + 6, max(0, x - 5) : x + 6].ravel()) & set(wide):
            column = 1 if signed < 0 else 2
            wide[k][column] = max(wide[k][column], abs(signed))
    return list(wide.values())


def score(folder: str, out: str, ranges: str, others: int, workers: int) -> None:
    jobs = [(folder, pairs) for _, pairs in plan_pairs(read_index(Path(folder)), ranges, others)]
    with ProcessPoolExecutor(workers) as pool:
        rows = [row for part in pool.map(score_stone, jobs) for row in part]
    Path(out).write_text(json.dumps(rows))
    print(f"{out}: {len(rows)} pairs of {len(jobs)} stones")


def read_scores(paths: list[str]) -> list[dict[str, Any]]:
    return [row for path in paths for row in json.loads(Path(path).read_text())]


def fit(paths: list[str]) -> None:
    """Write evidence/data/photographs-1.json."""
    from samestone.evidence.photographs import fit_line

    rows = [row for row in read_scores(paths) if row["usable"]]
    table: dict[str, Any] = {"format": "samestone-photo-calibration/1", "source": "simulated photographs"}
    for protocol in ("guided", "free"):
        some = [r for r in rows if r["protocol"] == protocol and is_evidence(r, FIT_MARGIN)]
        stones = {r["pair"][0] for r in some if r["pair"][4] == "same"}
        entry: dict[str, Any] = {"stones": len(stones), "twins": sum(r["pair"][4] in ("twin", "clone") for r in some)}
        for line, names in LINES.items():
            # a clone has the same facets by construction: facets say nothing there, and are not asked to
            used = some if line == "inclusions" else facet_pairs(rows, protocol)
            weights, offset = fit_line(used, [r["pair"][4] == "same" for r in used], names)
            entry[line] = {"weights": weights, "offset": offset}
        entry |= {"facet_limits": LIMITS[protocol], "shared_needed": SHARED}
        table[protocol] = entry
    (PACKAGE / "evidence" / "data" / "photographs-1.json").write_text(json.dumps(table, indent=1))
    judge(paths)


def facet_pairs(rows: list[dict[str, Any]], protocol: str) -> list[dict[str, Any]]:
    """Pairs of a protocol on which facets are calibrated, laid on each other or not."""
    pairs = [r for r in rows if r["protocol"] == protocol and (r["pair"][1], r["pair"][3]) not in CLEANING]
    return [r for r in pairs if r["pair"][4] != "clone" and (protocol == "free" or under_domes(r))]


def under_domes(row: dict[str, Any]) -> bool:
    """Guided means a dome; pictures under tents are in the sets to see what they do."""
    return bool(set(row["lamps"]) == {"dome"})


def is_evidence(row: dict[str, Any], least: float) -> bool:
    """Pairs that bear on the verdict: not dirty against just cleaned, and free ones only once they were laid on."""
    if (row["pair"][1], row["pair"][3]) in CLEANING:
        return False
    return under_domes(row) if row["protocol"] == "guided" else bool(row["margin"] > least)


def reliability(folder: str, workers: int) -> None:
    """Write imaging/data/reliability.json: Platt's logistic per network and kind, from views V1, V4 and V6."""
    stones = sorted({stone for stone, _ in read_index(Path(folder))})
    with ProcessPoolExecutor(workers) as pool:
        found = list(pool.map(raw_peaks, [(folder, stone) for stone in stones]))
    table: dict[str, dict[str, list[float]]] = {}
    for network in ("marks", "cleaning"):
        signed, true = np.array([peak for part in found for peak in part[network]]).T
        for kind, side, truth in (("natural", signed > 0, 0), ("dirt", signed < 0, 1)):
            line = platt(np.abs(signed[side]), true[side] == truth)
            table.setdefault(network, {})[kind] = line
            print(network, kind, side.sum(), "peaks", round(float((true[side] == truth).mean()), 3), "right", line)
    (PACKAGE / "imaging" / "data" / "reliability.json").write_text(json.dumps(table, indent=1) + "\n")


def raw_peaks(job: tuple[str, str]) -> dict[str, list[list[float]]]:
    """Peaks of both networks on one stone, taken at their word, with what the masks say is there."""
    from samestone.imaging.characteristic import list_marks
    from samestone.imaging.photo import open_photo
    from samestone.imaging.registration import register
    from samestone.imaging.study import Study

    cv2.setNumThreads(1)
    folder, index = Path(job[0]), read_index(Path(job[0]))
    lines = {view: index[job[1], view] for view in ("V1", "V4", "V6")}
    studies = {view: Study(open_photo((folder / line["picture"]).read_bytes())) for view, line in lines.items()}
    peaks: dict[str, list[list[float]]] = {"marks": [], "cleaning": []}
    for view, study in studies.items():
        if study.usable:
            listed = list_marks(study.maps, study.stone, "as it says")
            peaks["marks"] += told_and_true(folder, lines[view], study, listed)[0]
    a, b = studies["V6"], studies["V4"]
    if a.usable and b.usable:
        listed = cleaned_marks(a, b, register(a.pattern, b.pattern), "as it says")
        peaks["cleaning"] += told_and_true(folder, lines["V6"], a, listed)[0]
    return peaks


def platt(peaks: Any, right: Any) -> list[float]:
    """Slope and offset from the peaks' log-odds to those of being right, by greatest likelihood."""
    from scipy.optimize import minimize

    odds, sign = np.log(peaks / (1 - peaks)), np.where(right, 1.0, -1.0)
    best = minimize(lambda line: np.logaddexp(0, -sign * (line[0] * odds + line[1])).mean(), np.array([1.0, 0.0]))
    return [round(float(value), 4) for value in best.x]


def judge(paths: list[str]) -> None:
    """Apply the shipped calibration and print the figures."""
    rows = read_scores(paths)
    print(json.dumps({**judge_rows(rows), "cleaning": judge_cleaning(rows)}, indent=1))


def judge_cleaning(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """Precision and recall of "not visible after" for dirt and of "still there" for natural marks."""
    from samestone.imaging.cleaning import SURE, is_reliable

    figures: dict[str, Any] = {}
    for u, v in CLEANING:
        pairs = [r for r in rows if r["usable"] and (r["pair"][1], r["pair"][3]) == (u, v)]
        held = [r for r in pairs if is_reliable(r["margin"], r["shared"])]
        wrong = sum(abs(r["turn_error_deg"]) > 2 for r in held)
        figures[f"{u}-{v}: pairs, turns relied on, of these wrong"] = [len(pairs), len(held), wrong]
        some = [r for r in rows if (r["pair"][1], r["pair"][3]) == (u, v) and r.get("marks")]
        if not some:
            continue
        signed, kind = np.array([mark for r in some for mark in r["marks"]]).T
        for name, chosen, want in (("gone", signed <= -SURE, 1), ("stays", signed >= SURE, 0)):
            column = 1 if want else 2
            seen = np.array([patch[column] for r in some for patch in r["patches"][1 - want]])
            figures[f"{u}-{v} {name}: precision among real marks, among all told, recall of features, of patches"] = [
                round(float(np.mean(kind[chosen & (kind >= 0)] == want)), 3),
                round(float(np.mean(kind[chosen] == want)), 3),
                round(float((chosen & (kind == want)).sum() / (kind == want).sum()), 3),
                round(float(np.mean(seen >= SURE)), 3),
            ]
    return figures


def judge_rows(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """How good the shipped calibration is on these pairs, per protocol."""
    from samestone.evidence.photographs import combine_scores, shipped_calibration
    from samestone.imaging.protocol import FREE_MARGIN

    figures = {}
    for protocol in ("guided", "free"):
        all_of = [r for r in rows if r["protocol"] == protocol and (r["pair"][1], r["pair"][3]) not in CLEANING]
        some = [r for r in all_of if r["usable"] and is_evidence(r, FREE_MARGIN)]
        kind = np.array([r["pair"][4] for r in some])
        value = np.array([combine_scores(r, shipped_calibration()[protocol])[0] for r in some])
        same, apart, uncopied = (value[kinds] for kinds in (kind == "same", kind != "same", np.isin(kind, UNCOPIED)))
        clean = value[(kind == "same") & np.array([r["pair"][1] in CLEAN for r in some])]
        turns = [r for r in rows if r["usable"] and r["protocol"] == protocol and r["pair"][4] == "same"]
        figures[protocol] = {
            "pairs of one stone": [len(same), sum(r["pair"][4] == "same" for r in all_of)],
            "pairs of two stones": [len(apart), sum(r["pair"][4] != "same" for r in all_of)],
            "cllr, eer": costs(same, apart),
            "cllr, eer without clones": costs(same, uncopied),
            "cllr, eer without clones, clean both times": costs(clean, uncopied),
            "same below 1": int((same < 0).sum()),
            "unrelated above 1, above 10": [int((value[kind == "other"] > t).sum()) for t in (0, 1)],
            "worst twin, worst clone": [round(float(value[kind == k].max(initial=-9)), 2) for k in ("twin", "clone")],
            "turns": {f"{u}-{v}": turn_figures(turns, u, v) for u, v in SAME if protocol_of(u) == protocol},
        }
    return figures


def costs(same: Any, apart: Any) -> list[float]:
    """Cost in bits and equal error rate; nothing where one kind of pair is missing."""
    from samestone.evidence.performance import cllr

    return [round(cllr(same, apart), 4), round(equal_error(same, apart), 4)] if len(same) and len(apart) else []


def turn_figures(rows: list[dict[str, Any]], u: str, v: str) -> str:
    from samestone.imaging.protocol import FREE_MARGIN

    some = [r for r in rows if (r["pair"][1], r["pair"][3]) == (u, v)]
    error = np.abs([r["turn_error_deg"] for r in some])
    sure = np.array([r["margin"] for r in some]) > FREE_MARGIN
    right, wrong = (error < 2).sum(), (sure & (error > 2)).sum()
    return f"{right} of {len(some)}, median {np.median(error):.3f} deg; sure {sure.sum()}, of these wrong {wrong}"


def equal_error(same: Any, apart: Any) -> float:
    cuts = np.sort(np.concatenate([same, apart]))
    return float(min(max((same < c).mean(), (apart >= c).mean()) for c in cuts))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=["score", "fit", "judge", "reliability"])
    parser.add_argument("paths", nargs="+")
    parser.add_argument("--stones", default="")
    parser.add_argument("--others", type=int, default=3)
    parser.add_argument("--workers", type=int, default=2)
    choice = parser.parse_args()
    if choice.what == "score":
        score(choice.paths[0], choice.paths[1], choice.stones, choice.others, choice.workers)
    elif choice.what == "reliability":
        reliability(choice.paths[0], choice.workers)
    else:
        {"fit": fit, "judge": judge}[choice.what](choice.paths)


if __name__ == "__main__":
    main()
