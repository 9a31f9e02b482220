"""Advice is said from computed differences only: sentences by hand, changes by hand, wired to the model."""

import dataclasses
from pathlib import Path

import pytest
from test_study_size import drying_wall, finding, small_wall

from cavity.risk.finding import Finding
from cavity.study.advice import advise, changes_of, compare_findings, from_comparison, lines, ranked
from cavity.study.compare import Case, Comparison
from cavity.wallfile.model import Barrier, Layer, OpeningSet, Rail


def damp(percent):
    status = "review" if percent > 80 else "pass"
    return Finding(
        "humidity", "Relative humidity, 30-day mean", "sheathing", percent, 80.0, "%", status, "", 0.0, "s", "S.",
        percent / 80.0,
    )  # fmt: skip


def test_the_sentence_gives_the_deciding_criterion_and_the_humidity_before_and_after():
    told = compare_findings("doubling the base slot", [finding(1.2), damp(93.0)], [finding(0.4), damp(86.0)])
    assert told.sentence == (
        "Doubling the base slot moves mould at sheathing from 3.6 to 1.2 and relative humidity, 30-day mean at "
        "sheathing from 93 to 86 %; mould no longer fails."
    )
    assert told.gain == pytest.approx(0.8)
    assert (told.status_before, told.status_after) == ("fail", "review")


def test_a_change_that_harms_says_what_then_fails():
    told = compare_findings("halving all openings", [finding(0.5), damp(70.0)], [finding(1.5), damp(70.5)])
    assert told.sentence == "Halving all openings moves mould at sheathing from 1.5 to 4.5; mould then fails."
    assert told.gain == pytest.approx(-1.0)


def test_a_change_that_does_nothing_is_said_to_change_little():
    told = compare_findings("doubling the head", [finding(0.5), damp(70.0)], [finding(0.501), damp(70.1)])
    assert told.sentence == "Doubling the head changes little."


def test_the_verdict_is_told_where_nothing_that_can_fail_moves_across():
    told = compare_findings("deepening", [finding(0.5), damp(84.0)], [finding(0.5), damp(78.0)])
    assert told.sentence.endswith("from 84 to 78 %; the verdict goes from review to pass.")


def test_advice_is_ranked_by_gain():
    good = compare_findings("a", [finding(1.0)], [finding(0.2)])
    bad = compare_findings("b", [finding(1.0)], [finding(1.2)])
    assert ranked([bad, good]) == (good, bad)


def test_lines_tell_help_then_harm_then_what_changes_little():
    advice = [
        compare_findings("idle one", [finding(1.2)], [finding(1.2)]),
        compare_findings("harm", [finding(1.2)], [finding(1.6)]),
        compare_findings("help", [finding(1.2)], [finding(0.4)]),
        compare_findings("some help", [finding(1.2)], [finding(1.1)]),
        compare_findings("idle two", [finding(1.2)], [finding(1.201)]),
    ]
    told = lines(advice)
    assert [each.split(" moves")[0] for each in told[:3]] == ["Help", "Some help", "Worse: Harm"]
    assert told[3] == "Little is changed by idle one and idle two."
    idle = [compare_findings(name, [finding(1.0)], [finding(1.0)], place) for name, place in
            (("one", "in Hill"), ("two", "in Vale"), ("three", "in Hill"))]  # fmt: skip
    assert lines(idle) == ("In Hill, little is changed by one and three.", "In Vale, little is changed by two.")
    assert [each.split(" moves")[0] for each in lines(advice, most=1)[:2]] == ["Help", "Worse: Harm"]


def test_changes_double_each_opening_then_all_then_deepen_then_rails_then_variants():
    wall = small_wall(
        rails=(Rail("rail", (1.0,), 0.01, 0.015),),
        barriers=(Barrier("fire barrier", 2.0),),
        variants=(("tight", "wool", Layer("wool", small_wall().backup[1].material, 0.2)),),
    )
    changes = changes_of(wall, "slots", 0.02, "plain")
    assert [each.label for each in changes] == [
        "doubling the base", "doubling the head", "doubling all openings", "halving all openings",
        "deepening the cavity from 20 to 30 mm", "doubling the gaps of the rails", "the variant 'tight'",
    ]  # fmt: skip
    area = [[one.free_area for one in each.wall.opening_sets[0].openings] for each in changes[:4]]
    assert area == [[0.02, 0.01], [0.01, 0.02], [0.02, 0.02], [0.005, 0.005]]
    assert changes[4].depth == 0.03
    assert changes[5].wall.rails[0].gap == 0.015  # no wider than the bay
    assert changes[6].wall.backup[1].thickness == 0.2
    assert all(each.wall.barriers == wall.barriers for each in changes)  # fire barriers are never opened
    assert changes_of(wall, "slots", 0.03, "plain")[4].label == "deepening the cavity from 30 to 60 mm"


def test_rails_of_the_set_are_widened_where_the_set_has_its_own():
    wall = small_wall()
    own = OpeningSet("own", wall.opening_sets[0].openings, (Rail("rail", (1.0,), 0.004, 0.6),))
    wall = dataclasses.replace(wall, opening_sets=(*wall.opening_sets, own))
    change = next(each for each in changes_of(wall, "own", 0.02, "plain") if "rails" in each.label)
    assert change.wall.opening_set("own").rails[0].gap == 0.008
    assert change.wall.opening_set("slots").rails is None
    assert not [each for each in changes_of(wall, "slots", 0.02, "plain") if "rails" in each.label]


def test_a_comparison_is_read_along_its_sets_and_its_depths():
    def case(name, depth, ratio, climate="Coast"):
        return Case("w", climate, name, "plain", depth, None, (finding(ratio),))

    cases = (case("a", 0.02, 1.5), case("a", 0.03, 1.2), case("b", 0.02, 0.4), case("b", 0.03, 0.3))
    told = from_comparison(Comparison(small_wall(), ("Coast",), cases, ""))
    assert [each.label for each in told] == [
        "changing the openings from 'a' to 'b'", "deepening the cavity from 20 to 30 mm",
    ]  # fmt: skip
    two = (*cases, case("a", 0.02, 1.0, "Hill"), case("a", 0.01, 1.1, "Hill"))
    told = from_comparison(Comparison(small_wall(), ("Coast", "Hill"), two, ""))
    assert ("in Hill", "reducing the cavity from 20 to 10 mm") in [(each.place, each.label) for each in told]
    assert any(each.sentence.startswith("In Coast: changing the openings from 'a' to 'b' moves") for each in told)


def test_on_the_model_more_air_dries_a_wet_sheathing():
    import cavity

    weather = cavity.read_weather(Path(__file__).parents[1] / "climates" / "cool_marine.epw")
    wall = drying_wall()
    # nearly shut as drawn
    tight = OpeningSet(
        "tight", tuple(dataclasses.replace(each, free_area=5e-4) for each in wall.opening_sets[0].openings)
    )
    wall = dataclasses.replace(wall, opening_sets=(tight,))
    told = []
    advice = advise(
        wall, weather.isel(time=slice(4000, 4240)), progress=lambda done, total, _: told.append((done, total))
    )
    assert sorted(told) == [(n, 6) for n in range(1, 7)]
    assert advice[0].label == "doubling all openings"
    assert advice[-1].label == "halving all openings"
    assert advice[0].gain > 0.0 > advice[-1].gain
    assert "wood moisture content at sheathing" in advice[0].sentence
