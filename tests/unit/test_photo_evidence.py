"""What scores of photographs are worth: calibration, caps, the limited voice of the facets, refusals."""

from __future__ import annotations

import json
import math
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from sklearn.linear_model import LogisticRegression
from tests.unit.drawn_stone import draw, rotated

from samestone import evidence, imaging
from samestone.cli import main
from samestone.evidence.photographs import TooFewPairs, combine_scores, fit_line, shipped_calibration

SOFTLY = 0.3  # contrast of a drawing as under a soft dome


def entry(**changes: object) -> dict[str, object]:
    line = {"weights": {"x": 1.0}, "offset": 0.0}
    facets = {"weights": {"y": 1.0}, "offset": 0.0}
    return {
        "stones": 100,
        "inclusions": line,
        "facets": facets,
        "facet_limits": [-3.0, 0.6],
        "shared_needed": [1.0, 2.0],
        **changes,
    }


def test_the_ratio_is_capped_by_the_stones_behind_it() -> None:
    assert combine_scores({"x": 50.0, "y": 50.0, "shared": 9.0}, entry())[0] == pytest.approx(2.0)
    assert combine_scores({"x": -50.0, "y": 0.0, "shared": 0.0}, entry())[0] == pytest.approx(-2.0)


def test_facets_add_little_and_take_away_much() -> None:
    value, marks, facets = combine_scores({"x": -1.0, "y": 99.0, "shared": 9.0}, entry())
    assert (marks, facets) == (pytest.approx(-1 / math.log(10)), 0.6)
    assert value == pytest.approx(marks + 0.6)
    assert combine_scores({"x": 9.0, "y": -99.0, "shared": 9.0}, entry())[2] == -3.0


def test_without_a_shared_mark_the_marks_add_nothing() -> None:
    assert combine_scores({"x": 50.0, "y": 0.0, "shared": 0.9}, entry())[1] == 0.0
    assert combine_scores({"x": 50.0, "y": 0.0, "shared": 1.5}, entry())[1] == pytest.approx(1.0)
    assert combine_scores({"x": -50.0, "y": 0.0, "shared": 0.0}, entry())[1] == pytest.approx(-2.0)


def test_the_logistic_line_agrees_with_scikit_learn() -> None:
    rng = np.random.default_rng(4)
    same, apart = rng.normal(1, 1, (300, 2)), rng.normal(-1, 1.3, (900, 2))
    rows = [{"a": float(a), "b": float(b)} for a, b in np.vstack([same, apart])]
    weights, offset = fit_line(rows, [True] * 300 + [False] * 900, ["a", "b"], ridge=1e-6)
    reference = LogisticRegression(C=1e9, class_weight="balanced").fit(np.vstack([same, apart]), [1] * 300 + [0] * 900)
    assert [weights["a"], weights["b"]] == pytest.approx(reference.coef_[0], rel=1e-3)
    assert offset == pytest.approx(reference.intercept_[0], abs=2e-3)


def test_too_few_pairs_are_refused() -> None:
    with pytest.raises(TooFewPairs, match="expected at least 20"):
        fit_line([{"a": 1.0}] * 30, [True] * 5 + [False] * 25, ["a"])


def test_the_shipped_calibration_says_what_it_rests_on() -> None:
    table = shipped_calibration()
    assert "simulated" in table["source"]
    for protocol in ("guided", "free"):
        assert table[protocol]["stones"] >= 50
        assert table[protocol]["twins"] > 0
        assert table[protocol]["facet_limits"][1] < 1


def test_a_calibration_survives_being_written_and_read() -> None:
    table = shipped_calibration()
    text = evidence.photographs.calibration_text(table)
    assert evidence.photographs.read_calibration(text) == table
    assert evidence.photographs.calibration_text(json.loads(text)) == text


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda table: [], "JSON list"),
        (lambda table: {**table, "format": "another/1"}, "found format 'another/1'"),
        (lambda table: {key: value for key, value in table.items() if key != "free"}, "free is missing"),
        (lambda table: {**table, "free": 7}, "free cannot be used"),
        (lambda table: {**table, "guided": {**table["guided"], "stones": 0}}, "guided cannot be used"),
        (lambda table: {**table, "guided": {**table["guided"], "facet_limits": [0]}}, "guided cannot be used"),
        (lambda table: {**table, "guided": {**table["guided"], "facets": {"weights": {"looks": 1}}}}, "guided cannot"),
        (lambda table: {**table, "free": {**table["free"], "facet_limits": [math.nan, math.nan]}}, "finite numbers"),
    ],
)
def test_what_is_no_calibration_is_refused(change, says: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(evidence.photographs.BadCalibration, match=says):
        evidence.photographs.read_calibration(json.dumps(change(shipped_calibration())))


def test_a_shop_s_own_calibration_names_its_stones_and_its_method(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rng = np.random.default_rng(6)

    def pair(same: bool) -> SimpleNamespace:
        mark, facet = ((0.7, 0.5) if same else (0.1, 0.1)) + rng.normal(0, 0.15, 2)
        marks = {"likeness": mark, "shared": 4.0, "lone": 2.0, "evidence": 8 * (mark - 0.4)}
        return SimpleNamespace(inclusion_scores=marks, facet_scores={"consistent": facet, "edge_gap": facet})

    pairs = [(pair(same), same) for same in [True] * 30 + [False] * 60]
    own = evidence.photographs.recalibrate(shipped_calibration(), "guided", pairs)  # type: ignore[arg-type]
    assert evidence.photographs.read_calibration(json.dumps(own)) == own
    assert (own["guided"]["stones"], own["method"]) == (30, imaging.PhotoComparison.method)
    assert "30 repeat pairs" in own["source"]
    worth = [combine_scores({**one.inclusion_scores, **one.facet_scores}, own["guided"])[0] for one, _ in pairs]
    assert np.mean(worth[:30]) > 0.5 and np.mean(worth[30:]) < -0.5
    assert max(map(abs, worth)) <= math.log10(30)
    file = tmp_path / "own.json"
    file.write_text(json.dumps({**own, "method": "samestone-photo/1"}))
    assert main(["photo", "compare", str(file), str(file), "--calibration", str(file)]) == 2
    assert "made for the method samestone-photo/1" in capsys.readouterr().err


def test_a_calibration_with_a_key_twice_is_refused() -> None:
    with pytest.raises(evidence.photographs.BadCalibration, match="this key twice"):
        evidence.photographs.read_calibration('{"source": "one", "source": "two"}')


def test_a_picture_line_never_says_more_than_its_calibration() -> None:
    drawing = draw(11, contrast=SOFTLY)
    pair = imaging.compare_photos(drawing.photo, rotated(drawing, 50), "guided")
    line = evidence.photographs.picture_line(pair)
    assert line["turn_deg"] == -50 or line["turn_deg"] == 50
    said, cap = line["log10_lr"], math.log10(line["stones"])
    assert -cap <= said["lower"] <= said["value"] <= said["upper"] <= cap
    few = {**shipped_calibration(), "guided": {**shipped_calibration()["guided"], "stones": 19}}
    refused = evidence.photographs.picture_line(pair, few)
    assert "no calibration" in refused["why_not"] and "log10_lr" not in refused
    doubted = evidence.photographs.picture_line(pair, doubt="The microscope failed.")
    assert doubted["why_not"] == "The microscope failed." and "log10_lr" not in doubted
    blurred = evidence.photographs.picture_line(imaging.compare_photos(drawing.photo, draw(11, blur=8).photo))
    assert blurred["why_not"].startswith("The new picture: ") and "log10_lr" not in blurred


def test_an_unusable_pair_counts_neither_way() -> None:
    drawing = draw(11)
    weighed = evidence.photographs.weigh_photographs(imaging.compare_photos(drawing.photo, draw(11, blur=8).photo))
    assert weighed.log10_lr is None
    assert weighed.as_block() is None


def test_one_drawing_speaks_for_one_stone_and_two_for_two() -> None:
    drawing = draw(11, contrast=SOFTLY)
    same = evidence.photographs.weigh_photographs(imaging.compare_photos(drawing.photo, rotated(drawing, 50), "guided"))
    other = evidence.photographs.weigh_photographs(
        imaging.compare_photos(drawing.photo, draw(12, contrast=SOFTLY).photo, "guided")
    )
    assert same.log10_lr is not None
    assert other.log10_lr is not None
    assert same.log10_lr.value > 1
    assert other.log10_lr.value < 0
    block = same.as_block()
    assert block is not None
    assert block.beyond_size


def test_facets_that_outshine_the_others_break_the_guided_protocol() -> None:
    """Full contrast is what a few hard lamps give; the same stone drawn softly is compared (above)."""
    hard = draw(11)
    found = imaging.compare_photos(draw(11, contrast=SOFTLY).photo, rotated(hard, 50), "guided")
    assert not found.usable
    assert "in B: A lamp is mirrored in the stone." in found.reason
    assert "in A" not in found.reason


def test_the_command_line(tmp_path, capsys: pytest.CaptureFixture[str]) -> None:  # type: ignore[no-untyped-def]
    import cv2

    drawing = draw(13, side=420, radius=170, contrast=SOFTLY)
    paths = [str(tmp_path / name) for name in ("a.png", "b.png", "words.png")]
    cv2.imwrite(paths[0], drawing.grey)
    cv2.imwrite(paths[1], rotated(drawing, 30.0).pixels)
    (tmp_path / "words.png").write_text("no picture")
    assert main(["photo", "read", paths[0], "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert math.dist(found["centre_px"], drawing.centre) < 0.1
    assert found["flags"] == ["no scale"]
    assert main(["photo", "compare", paths[0], paths[1], "--json", "--out", str(tmp_path / "out")]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["rotation_deg"] == pytest.approx(30, abs=0.05)
    assert found["log10_lr"]["lower"] <= found["log10_lr"]["value"] <= found["log10_lr"]["upper"]
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == ["a-a.png", "b-b.png"]
    assert main(["photo", "read", paths[2]]) == 2
    assert "no photograph" in capsys.readouterr().err


def test_a_batch_goes_on_after_a_bad_line(tmp_path, capsys: pytest.CaptureFixture[str]) -> None:  # type: ignore[no-untyped-def]
    import cv2

    cv2.imwrite(str(tmp_path / "a.png"), draw(13, side=420, radius=170, contrast=SOFTLY).grey)
    pair = {"a": str(tmp_path / "a.png"), "b": str(tmp_path / "a.png"), "id": 7}
    lines = ["{", json.dumps({**pair, "b": str(tmp_path / "none.png")}), json.dumps(pair)]
    (tmp_path / "pairs.jsonl").write_text("\n".join(lines))
    assert main(["photo", "compare", "--batch", str(tmp_path / "pairs.jsonl")]) == 2
    first, second, third = (json.loads(line) for line in capsys.readouterr().out.splitlines())
    assert "no JSON" in first["error"]
    assert "none.png" in second["error"]
    assert (third["id"], third["usable"]) == (7, False)
    assert "same file" in third["reason"]
