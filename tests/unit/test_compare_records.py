"""Verdicts: which rung of the ladder, and what counts neither way."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from tests.unit.evidence_record import changed, drop, indicate

from samestone import evidence
from samestone.evidence.verdict import Block, Verdict

Change = Callable[[dict[str, Any]], None]


def unmark(record: dict[str, Any]) -> None:
    del record["characteristics"]


def verdict(
    *after: Change, before: tuple[Change, ...] = (), stock: int = 1000, blocks: tuple[Block, ...] = ()
) -> Verdict:
    """Compare the record without its mark with itself, each side changed."""
    read = evidence.read_examination
    population = evidence.load_population()
    first, second = read(changed(unmark, *before)), read(changed(unmark, *after))
    return evidence.compare(first, second, population=population, stock=stock, blocks=blocks)


def put(key: str, value: Any) -> Change:
    return lambda record: record.__setitem__(key, value)


MARKS = Block("characteristics", 2.5, 2.5, -3.0, 3.0, 2.5, 400, True, "five of five found again")


def test_numbers_alone_never_reach_the_top_rung() -> None:
    result = verdict()
    assert result.random.value > 2
    assert result.unchecked == ()
    assert result.ladder == "agrees_some_unchecked"
    assert "same size and weight would not share" in result.sentence


def test_marks_that_a_look_alike_would_not_share_reach_it() -> None:
    assert verdict(blocks=(MARKS,)).ladder == "agrees"


@pytest.mark.parametrize(("what", "least"), [("characteristics", 2.5), ("photographs", 1.5)])
def test_what_goes_beyond_size_must_be_strong_enough(what: str, least: float) -> None:
    """Under five of a thousand stones with copied numbers then reach the top: benchmarks/accuracy_ladder.py."""
    enough, short = (replace(MARKS, what=what, random=v, look_alike=v) for v in (least, least - 0.01))
    assert verdict(blocks=(enough,)).ladder == "agrees"
    below = verdict(blocks=(short,))
    assert below.ladder == "agrees_some_unchecked"
    assert "too little was compared" in below.sentence


def test_rare_categories_and_a_copied_inscription_never_reach_the_top_rung() -> None:
    """They bring 1.5 each, and whoever chooses a stone by its size can choose it by them too."""
    rare = (
        put("reactions", [{"test": "uv_long_wave", "strength": "very strong", "colour": "yellow"}]),
        put("observations", [{"what": "culet", "value": "large"}, {"what": "inscription", "value": "12345678"}]),
    )
    result = verdict(*rare, before=rare)
    assert max(block.look_alike for block in result.blocks if block.beyond_size) == 1.5
    assert result.unchecked == ()
    assert result.ladder == "agrees_some_unchecked"


def test_what_the_first_record_holds_and_the_second_lacks_keeps_it_from_the_top() -> None:
    result = verdict(drop("depth_mm"), blocks=(MARKS,))
    assert result.ladder == "agrees_some_unchecked"
    assert result.unchecked == ("depth_mm",)


def test_one_decisive_disagreement_outweighs_any_number_of_agreements() -> None:
    result = verdict(indicate(weight_ct="0.985"), before=(indicate(weight_ct="1.012"),), blocks=(MARKS,))
    assert result.ladder == "disagrees"
    assert "weight" in result.sentence
    assert {finding.what for finding in result.findings if finding.outcome == "disagrees"} == {"weight_ct"}
    assert "misread" in result.flags["lone_disagreement"]


def test_a_film_of_grease_is_no_disagreement() -> None:
    """1.012 ct before, 1.008 ct after cleaning: a grease film of 10 um can weigh 0.004 ct (common practice)."""
    assert verdict(indicate(weight_ct="1.008"), before=(indicate(weight_ct="1.012"),)).ladder == "agrees_some_unchecked"


@pytest.mark.parametrize("why", ["the lid was open", "the 10 g weight read 10.003 g"])
def test_an_unusable_reading_counts_neither_way(why: str) -> None:
    def spoil(record: dict[str, Any]) -> None:
        record["readings"][3]["unusable"] = why

    far = verdict(indicate(weight_ct="0.985"), spoil)
    without = verdict(drop("weight_ct"))
    assert far.ladder == without.ladder == "agrees_some_unchecked"
    assert far.random == without.random
    assert "weight_ct" in far.unchecked


def test_little_compared_is_not_enough() -> None:
    everything = ("diameter_min_mm", "depth_mm", "weight_ct", "table_percent")
    bare: tuple[Change, ...] = (drop(*everything), put("reactions", []), put("observations", []))
    assert verdict(*bare, before=bare).ladder == "not_enough"


def test_a_look_alike_of_the_same_size_and_weight_stays_below_the_top() -> None:
    """Within 0.02 mm and 0.005 ct, its marks not compared."""
    result = verdict(
        indicate(diameter_min_mm="6.48", diameter_max_mm="6.52", depth_mm="4.01", weight_ct="1.035"), stock=30
    )
    assert result.ladder in ("agrees_some_unchecked", "not_enough")
    assert result.look_alike.value < result.random.value


def test_a_larger_stock_makes_a_look_alike_more_likely() -> None:
    values = [verdict(stock=stock).look_alike.value for stock in (2, 30, 1000, 100_000)]
    assert values == sorted(values, reverse=True)
    assert values[0] > values[-1]


def test_repolished_as_agreed_is_the_same_stone_and_undeclared_is_not() -> None:
    lighter = indicate(weight_ct="1.001")
    assert verdict(lighter).ladder == "disagrees"
    declared = verdict(lighter, put("declared_changes", ["repolish"]))
    assert declared.ladder != "disagrees"
    assert "declared_repolish" in declared.flags
    heavier = verdict(indicate(weight_ct="1.060"), put("declared_changes", ["repolish"]))
    assert heavier.ladder == "disagrees"


def test_after_a_recut_sizes_bring_nothing() -> None:
    result = verdict(
        indicate(diameter_min_mm="6.20", diameter_max_mm="6.24", depth_mm="3.80", weight_ct="0.90"),
        put("declared_changes", ["recut"]),
    )
    assert all(block.what != "size_and_weight" for block in result.blocks)
    assert result.ladder == "not_enough"


def glow(strength: str, colour: str = "") -> Change:
    entry = {"test": "uv_long_wave", "strength": strength, **({"colour": colour} if colour else {})}
    return put("reactions", [entry])


def test_one_step_of_fluorescence_is_what_observers_differ_by() -> None:
    result = verdict(glow("medium", "blue"), before=(glow("strong", "blue"),))
    block = next(block for block in result.blocks if block.what == "uv_long_wave")
    assert 0 < block.random < 1
    assert result.ladder == "agrees_some_unchecked"


@pytest.mark.parametrize("later", [("faint", "blue"), ("strong", "yellow"), ("none", "")])
def test_two_steps_or_another_colour_ask_for_a_second_look(later: tuple[str, str]) -> None:
    result = verdict(glow(*later), before=(glow("strong", "blue"),))
    assert result.ladder == "not_enough"
    assert "ultraviolet" in result.sentence


def test_another_material_stops() -> None:
    other = put("reactions", [{"test": "thermal_probe", "result": "not diamond"}])
    assert verdict(other).ladder == "disagrees"
    touched_metal = put("reactions", [{"test": "thermal_probe", "result": "metal"}])
    assert verdict(touched_metal).ladder != "disagrees"


def inscribed(text: str) -> Change:
    return put("observations", [{"what": "inscription", "value": text}])


def test_an_inscription_is_a_name_tag() -> None:
    same = verdict(inscribed("ASHBY 20417"), before=(inscribed("Ashby 20417"),))
    tag = next(block for block in same.blocks if block.what == "inscription")
    assert tag.look_alike < tag.random
    assert same.ladder == "agrees_some_unchecked"
    assert verdict(inscribed("ASHBY 77310"), before=(inscribed("ASHBY 20417"),)).ladder == "disagrees"
    assert verdict(inscribed("ASHBY 20411"), before=(inscribed("ASHBY 20417"),)).ladder == "not_enough"


def test_a_stone_unlike_the_reference_gets_no_firm_answer() -> None:
    odd = indicate(diameter_min_mm="6.00", diameter_max_mm="6.80", depth_mm="5.50", weight_ct="2.10")
    result = verdict(odd, before=(odd,))
    assert "outside_population" in result.flags
    assert abs(next(b for b in result.blocks if b.what == "size_and_weight").random) <= 1
    assert result.ladder == "not_enough"


def test_another_cut_is_outside_the_reference() -> None:
    oval: Change = put("stone", {"cut": "oval", "setting": "loose"})
    result = verdict(oval, before=(oval,))
    assert "outside_population" in result.flags
    assert result.ladder == "not_enough"


def test_a_paper_is_another_question() -> None:
    def paper(record: dict[str, Any]) -> None:
        record.update(kind="paper", instruments=[])
        record["readings"] = [
            {"property": name, "indications": [value]}
            for name, value in (
                ("diameter_min_mm", "6.46"), ("diameter_max_mm", "6.51"), ("depth_mm", "4.00"), ("weight_ct", "1.03"),
            )
        ]  # fmt: skip

    result = verdict(before=(paper,))
    assert result.question == "same_as_paper"
    assert "its paper" in result.sentence
    assert result.ladder == "agrees_some_unchecked"


def test_the_result_is_plain_json_and_stays_within_its_bounds() -> None:
    document = json.loads(json.dumps(verdict().as_json(), allow_nan=False))
    for side in ("random", "look_alike"):
        value = document["log10_lr"][side]
        assert value["lower"] <= value["value"] <= value["upper"]
    left = [step["left"] for step in document["narrowing"]["left"]]
    assert left == sorted(left, reverse=True)
    assert document["narrowing"]["of"] == document["population"]["stones"] == 43_207


def test_a_stock_of_one_is_refused() -> None:
    with pytest.raises(ValueError, match="at least 2"):
        verdict(stock=1)


def test_many_lines_give_what_single_comparisons_give_and_lose_nothing() -> None:
    bare = changed(unmark)
    good = json.dumps({"a": bare, "b": changed(unmark, indicate(weight_ct="1.033")), "id": 17}).encode()
    bad = json.dumps({"a": bare, "b": changed(indicate(weight_ct="-1"))}).encode()
    chunk = evidence.batch.compare_lines([good, bad, b"{", b"[]", good], first=11, fast=False)
    results = [json.loads(line) for line in chunk.text.splitlines()]
    assert chunk.bad == 3
    alone = verdict(indicate(weight_ct="1.033")).as_json()
    assert results[0] == results[4] == {"id": 17, **alone}
    assert [r["error"]["line"] for r in results[1:4]] == [12, 13, 14]
    assert "weight_ct" in results[1]["error"]["field"]


def stone(**names: str) -> Change:
    return lambda record: record["stone"].update(names)


def outcome(result: Verdict, what: str) -> str:
    return next((finding.outcome for finding in result.findings if finding.what == what), "")


def test_another_cut_or_material_disagrees_whatever_the_numbers_say() -> None:
    for names in ({"cut": "oval"}, {"material": "moissanite"}):
        (what,) = names
        result = verdict(stone(**names), before=(stone(material="diamond"),), blocks=(MARKS,))
        assert (result.ladder, outcome(result, what)) == ("disagrees", "disagrees")
        assert what in result.sentence


def test_two_words_for_a_cut_ask_for_another_look() -> None:
    result = verdict(stone(cut="old brilliant"), blocks=(MARKS,))
    assert (result.ladder, outcome(result, "cut")) == ("not_enough", "doubtful")
    assert outcome(verdict(stone(cut="Round-Brilliant"), blocks=(MARKS,)), "cut") == ""
    assert outcome(verdict(stone(cut="oval"), put("declared_changes", ["recut"])), "cut") == ""


def test_a_material_that_one_record_does_not_name_says_nothing() -> None:
    assert verdict(stone(material="moissanite"), blocks=(MARKS,)).ladder == "agrees"


def test_a_cut_without_reference_stones_is_said_to_be_one() -> None:
    oval = stone(cut="oval")
    result = verdict(oval, before=(oval,), blocks=(MARKS,))
    assert result.ladder == "not_enough"
    assert "no reference stones like this one" in result.sentence


def test_none_seen_is_none_seen_however_it_is_written() -> None:
    def inscribed(text: str) -> Change:
        return put("observations", [{"what": "inscription", "value": text}])

    assert outcome(verdict(inscribed("None seen"), before=(inscribed("none seen"),)), "inscription") == "agrees"
