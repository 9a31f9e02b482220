"""Advice is said from computed differences only: sentences by hand, changes by hand, wired to the model."""

import dataclasses
import re
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_findings import compare_findings, made
from test_study_size import drying_wall, finding, small_wall

from cavity.finding_words import place_in_words
from cavity.risk.ranking import Choice, Part, gather
from cavity.study.advice import (
    Label,
    advise,
    changes_of,
    compare_choices,
    depth_label,
    from_choices,
    helps,
    lines,
    ranked,
)
from cavity.study.changes import INCH
from cavity.study.compare import JudgedCase
from cavity.wallfile.model import Barrier, Column, Layer, Opening, OpeningSet, Rail

MOULD = "mould index in the wall"
FROST = "freeze-thaw cycles above critical saturation"


def film(grams, status):
    return made("film", grams / 100.0, status, limit=0.1, units="kg/m2", face="back of cladding")


def choice(*strips, name="slots", depth=0.03):
    """A choice from the findings of its strips, by name."""
    return Choice(name, depth, 0.01, tuple(Part("Coast", strip, 0.0, tuple(found)) for strip, found in strips))


def test_the_sentence_says_from_what_to_what_lowered_or_raised_where_and_what_no_longer_fails():
    told = compare_findings("doubling the base slot", [finding(1.2)], [finding(0.4)])
    assert told.sentence == (
        f"Doubling the base slot lowers the {MOULD} at sheathing from 3.6 to 1.2 (limit 3.0); nothing fails any more."
    )
    assert told.gain == pytest.approx(0.8)
    assert (told.status_before, told.status_after) == ("fail", "pass")
    assert told.start.endswith("which fails: mould index in the wall at sheathing 3.6 (limit 3.0).")
    told = compare_findings("halving all vents", [finding(0.5)], [finding(1.5)])
    assert (
        told.sentence
        == f"Halving all vents raises the {MOULD} at sheathing from 1.5 to 4.5 (limit 3.0); {MOULD} then fails."
    )
    assert told.gain == pytest.approx(-1.0)
    two = [finding(1.2), finding(1.1, key="frost")]
    told = compare_findings("x", two, [finding(1.1), finding(0.2, key="frost")])
    assert told.sentence == f"X lowers the {MOULD} at sheathing from 3.6 to 3.3 (limit 3.0); {FROST} no longer fails."


def test_a_change_that_does_nothing_says_so_and_moves_nothing():
    told = compare_findings("doubling the head", [finding(0.5)], [finding(0.501)])
    assert told.sentence == "Doubling the head hardly changes the mould index in the wall (1.5)."
    assert not told.moves and not helps(told)


def test_the_verdict_is_told_where_nothing_that_can_fail_moves_across():
    told = compare_findings("deepening", [finding(0.5), film(140.0, "review")], [finding(0.5), film(70.0, "pass")])
    assert told.sentence == (
        "Deepening lowers the film on the back of the cladding at the back of the cladding from 140 to 70 g/m² "
        "(review from 100); the wall goes from review to pass."
    )


def test_where_the_status_gets_worse_the_criterion_that_does_so_is_told():
    before = [finding(0.5, key="residue"), finding(0.3)]
    told = compare_findings("reducing", before, [finding(0.5, key="residue"), finding(1.2)])
    assert told.sentence == f"Reducing raises the {MOULD} at sheathing from 0.9 to 3.6 (limit 3.0); {MOULD} then fails."


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        (
            {"face": "a | b", "between": ("breather membrane", "sheathing"), "segment": "top"},
            "at the top, between breather membrane and sheathing",
        ),
        ({"layer": "sheathing", "segment": "base"}, "at the base, at sheathing"),
        ({"layer": "OSB", "face": "a | b", "between": ("OSB", "wool"), "segment": "top"}, "at the top, at OSB"),
        ({"layer": "sheathing"}, "at sheathing"),
        ({"layer": "sheathing", "segment": "2.40 to 3.00 m"}, "at sheathing, 2.40 to 3.00 m"),
        ({"spot": "rails through wool, room face"}, "at rails through wool, interior surface"),
        ({"face": "room face", "studs": True}, "at the interior surface, at the studs"),
    ],
)
def test_places_are_said_in_words(fields, words):
    assert place_in_words(made("mould", 0.5, "pass", **fields)) == words


def test_the_strip_that_decides_is_compared_with_itself_and_another_that_still_fails_is_named():
    before = choice(("plain", [finding(1.1)]), ("above the window", [finding(1.6)]))
    after = choice(("plain", [finding(1.1)]), ("above the window", [finding(0.5)]))
    told = compare_choices("adding a vent", before, after)
    assert told.column == "above the window"
    assert told.gain == pytest.approx(1.1)  # of that strip, not of the wall
    assert told.sentence == (
        f"Adding a vent lowers the {MOULD} at sheathing from 4.8 to 1.5 (limit 3.0), strip “above the window”; "
        "strip “plain” still fails (mould index in the wall 3.3)."
    )
    assert told.start == (
        "Starting from “slots” with a 30 mm cavity, which fails, strip “above the window”: "
        "mould index in the wall at sheathing 4.8 (limit 3.0)."
    )


@given(st.floats(0.0, 3.0), st.floats(0.0, 3.0))
def test_the_numbers_quoted_are_those_of_the_findings_and_the_direction_is_right(old, new):
    told = compare_findings("a change", [finding(old)], [finding(new)])
    quoted = re.search(
        r"(lowers|raises) the mould index in the wall at sheathing from (\S+) to (\S+) \(limit", told.sentence
    )
    if abs(old - new) < 0.02:
        assert quoted is None
        return
    verb, first, second = quoted.groups()
    assert float(first) == pytest.approx(3.0 * old, abs=0.051)
    assert float(second) == pytest.approx(3.0 * new, abs=0.051)
    assert verb == ("lowers" if new < old else "raises")


statuses = st.floats(0.0, 2.0)


@given(st.lists(statuses, min_size=1, max_size=6), statuses)
def test_the_order_is_that_of_the_ranking_whatever_the_order_of_the_changes(ratios, base):
    made = [compare_findings(f"change {at}", [finding(base)], [finding(ratio)]) for at, ratio in enumerate(ratios)]
    told = ranked(made)
    assert ranked(made[::-1]) == told
    useful = [each.after for each in told if helps(each)]
    assert useful == sorted(useful)  # less is safer, and nothing useless stands between
    assert [helps(each) for each in told] == sorted((helps(each) for each in told), reverse=True)


def test_before_a_dead_compartment_air_comes_first_and_layers_last():
    before = [finding(1.5)]
    vent = compare_choices(
        "adding a vent", choice(("a", before)), choice(("a", [finding(0.9)])), family="compartments", dead=True
    )
    wider = compare_choices("wider", choice(("a", before)), choice(("a", [finding(0.5)])), family="vents", dead=True)
    tight = compare_choices("tight", choice(("a", before)), choice(("a", [finding(0.1)])), family="layers", dead=True)
    idle = compare_choices("idle vent", choice(("a", before)), choice(("a", before)), family="compartments", dead=True)
    assert [each.label for each in ranked([tight, idle, wider, vent])] == [
        "adding a vent",
        "wider",
        "idle vent",
        "tight",
    ]
    # without a dead compartment the figures alone decide
    alive = [dataclasses.replace(each, key=(0, *each.key[1:])) for each in (vent, wider, tight)]
    assert ranked(alive)[0].label == "tight"


def test_lines_tell_one_sentence_a_family_then_harm_then_what_makes_little_difference():
    def made(label, after, family):
        if isinstance(label, str):
            first, _, rest = label.partition(" ")
            label = Label(f"{first} ", rest)
        return compare_findings(label, [finding(1.2)], [finding(after)], family=family)

    advice = [
        made("doubling the head slot", 1.2, "vents"),
        made("halving all vents", 1.6, "vents"),
        made("doubling all vents", 0.4, "vents"),
        made("doubling the base slot", 1.0, "vents"),
        made("deepening the cavity from 20 to 30 mm", 1.1, "depth"),
        made("a paler finish", 1.201, "finish"),
        made(Label("using ", "“b”", " instead of “a”"), 0.700, "openings"),
        made(Label("using ", "“c”", " instead of “a”"), 0.701, "openings"),
    ]
    assert lines(advice) == (
        f"Doubling all vents lowers the {MOULD} at sheathing from 3.6 to 1.2 (limit 3.0); nothing fails any more. "
        "Also the base slot: to 3.0.",
        f"Using “b” instead of “a” lowers the {MOULD} at sheathing from 3.6 to 2.1 (limit 3.0); nothing fails any "
        "more. Also “c” about as much.",
        f"Deepening the cavity from 20 to 30 mm lowers the {MOULD} at sheathing from 3.6 to 3.3 (limit 3.0).",
        "Adverse: halving all vents raises the mould index in the wall at sheathing from 3.6 to 4.8 (limit 3.0).",
        "A paler finish and doubling the head slot make little difference.",
    )
    assert len(lines(advice, most=1)) == 3
    one = [made(f"doubling the {name}", 1.2, "vents") for name in ("base", "head")]
    assert lines(one) == ("Doubling the base or the head makes little difference.",)
    depths = [made(depth_label(0.03, new), 1.2, "depth") for new in (0.04, 0.06)]
    assert lines(depths) == ("Deepening the cavity from 30 to 40 or 60 mm makes little difference.",)


def the_changes(wall, name="slots", depth=0.02, **keywords):
    return changes_of(wall, name, depth, [each.name for each in wall.columns], **keywords)


def test_every_kind_of_change_is_tried():
    membranes = (Layer("breather", small_wall().backup[1].material, 0.0, sd=0.2), *small_wall().backup)
    membranes += (Layer("retarder", small_wall().backup[1].material, 0.0, sd=2.0),)
    wall = small_wall(
        backup=membranes,
        rails=(Rail("rail", (1.0,), INCH / 8, 0.6),),
        barriers=(Barrier("closer", 2.0),),
        variants=(("tight", "wool", Layer("wool", small_wall().backup[1].material, 0.2)),),
        opening_sets=(*small_wall().opening_sets, OpeningSet("mesh", small_wall().opening_sets[0].openings)),
        solar_absorptance=0.6,
    )
    wall = dataclasses.replace(wall, wetting=dataclasses.replace(wall.wetting, leak_flow=1e-5, leak_layer=1))
    changes = {str(each.label): each for each in the_changes(wall)}
    assert list(changes) == [
        "using “mesh” instead of “slots”",
        "adding a vent below closer",
        "adding a vent above closer",
        "adding a vent below closer and a vent above closer",
        "adding a vent below closer and a vent above closer, with the rail gaps widened from 3.2 mm (1/8 in) to "
        "25.4 mm (1 in),",
        "doubling the base",
        "doubling the head",
        "doubling all vents",
        "halving all vents",
        "widening the rail gaps from 3.2 mm (1/8 in) to 6.4 mm (1/4 in)",
        "widening the rail gaps from 3.2 mm (1/8 in) to 25.4 mm (1 in)",
        "deepening the cavity from 20 to 30 mm",
        "a paler finish (solar absorptance 0.6 to 0.3)",
        "a darker finish (solar absorptance 0.6 to 0.9)",
        "a more vapour-open breather (s_d 0.2 to 0.04 m)",
        "a more vapour-open retarder (s_d 2 to 0.4 m)",
        "a tighter retarder (s_d 2 to 10 m)",
        "halving the rain that passes the cladding (1 to 0.5 %)",
        "halving the air leakage from indoors",
        "the variant “tight”",
    ]
    assert all(each.wall.barriers == wall.barriers for each in changes.values())  # fire barriers are never opened
    area = [one.free_area for one in changes["doubling the base"].wall.opening_sets[0].openings]
    assert area == [0.02, 0.01]
    assert changes["widening the rail gaps from 3.2 mm (1/8 in) to 25.4 mm (1 in)"].wall.rails[0].gap == INCH
    assert changes["deepening the cavity from 20 to 30 mm"].depth == 0.03
    assert changes["a tighter retarder (s_d 2 to 10 m)"].wall.backup[-1].sd == 10.0
    assert changes["halving the air leakage from indoors"].wall.wetting.leak_flow == 0.5e-5
    assert changes["the variant “tight”"].wall.backup[2].thickness == 0.2
    assert "deepening the cavity from 30 to 60 mm" in [str(each.label) for each in the_changes(wall, depth=0.03)]
    assert not any("rain" in str(each.label) for each in the_changes(wall, rain=False))


def test_rails_of_the_set_are_widened_where_the_set_has_its_own():
    wall = small_wall()
    own = OpeningSet("own", wall.opening_sets[0].openings, (Rail("rail", (1.0,), 0.1, 0.6),))
    wall = dataclasses.replace(wall, opening_sets=(*wall.opening_sets, own))
    change = next(each for each in the_changes(wall, "own") if "rail" in str(each.label))
    assert change.wall.opening_set("own").rails[0].gap == 0.2
    assert change.wall.opening_set("slots").rails is None
    assert not [each for each in the_changes(wall) if "rail" in str(each.label)]


class Made(dict):
    """What ranking.gather reads of a Dataset."""

    def __init__(self, column="plain"):
        held = {"opening_area": [0.01, 0.01], "opening_height": [0.0, 3.0]}
        super().__init__({name: SimpleNamespace(values=np.array(values)) for name, values in held.items()})
        self.attrs = {"orientation": 180.0, "column": column, "column_bottom": 0.0, "column_top": 3.0}


def test_a_comparison_is_read_along_its_sets_and_its_depths_over_all_climates():
    def case(name, depth, ratio, climate="Coast"):
        return JudgedCase("w", climate, name, "plain", depth, Made(), (finding(ratio),))

    # nothing passes: the base is the choice that harms least, b at 30 mm
    cases = (case("a", 0.02, 1.9), case("a", 0.03, 1.6), case("b", 0.02, 1.4), case("b", 0.03, 1.2))
    told = from_choices(gather(cases))
    assert [each.label for each in told] == [
        "with “b”, reducing the cavity from 30 to 20 mm", "using “a” instead of “b” with a 30 mm cavity",
    ]  # fmt: skip
    assert told[0].sentence == (
        f"With “b”, reducing the cavity from 30 to 20 mm raises the {MOULD} at sheathing from 3.6 to 4.2 (limit 3.0)."
    )
    # a recommended choice is the base; what it does not tolerate is reported, a clogged set is no design
    cases = (case("a", 0.03, 1.5), case("a, clogged", 0.03, 1.7), case("b", 0.02, 1.3), case("b", 0.03, 0.3))
    hill = [case(each.opening_set, each.depth, 0.1, "Hill") for each in cases]
    told = from_choices(gather((*cases, *hill)))
    assert len(told) == 2  # each change once, not once a climate
    assert lines(told) == (
        f"Adverse: using “a” instead of “b” with a 30 mm cavity raises the {MOULD} at sheathing from 0.9 to 4.5 "
        "(limit 3.0), in Coast; mould index in the wall then fails.",
        f"Adverse: with “b”, reducing the cavity from 30 to 20 mm raises the {MOULD} at sheathing from 0.9 to 3.9 "
        "(limit 3.0), in Coast; mould index in the wall then fails.",
    )


# --- on the model ----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def summer():
    import cavity

    return cavity.read_weather(Path(__file__).parents[1] / "climates" / "cool_marine.epw").isel(time=slice(4000, 4240))


def test_on_the_model_more_air_dries_a_wet_sheathing(summer):
    wall = drying_wall()
    # nearly closed as drawn
    tight = OpeningSet(
        "tight", tuple(dataclasses.replace(each, gross_area=5e-4) for each in wall.opening_sets[0].openings)
    )
    wall = dataclasses.replace(wall, opening_sets=(tight,))
    told = []
    advice = advise(wall, summer, progress=lambda done, total, _: told.append((done, total)))
    cases = 1 + len(the_changes(wall, "tight"))
    assert sorted(told) == [(n, cases) for n in range(1, cases + 1)]
    gains = {each.label: each.gain for each in advice}
    assert gains["doubling all vents"] > gains["doubling the base"] > 0.0 > gains["halving all vents"]
    assert advice[0].gain > 0.0


def window_wall(**changes):
    """A strip beside a window and one above it, closed at the window head by a barrier: only its head vent is left."""
    wall = drying_wall()
    vents = wall.opening_sets[0].openings
    tight = Layer("lining", wall.backup[2].material, 0.0125, sd=2.0)
    wall = dataclasses.replace(
        wall,
        columns=(Column("beside the window", 0.0, 3.0), Column("above the window", 1.2, 3.0)),
        barriers=(Barrier("closer", 1.2, columns=("above the window",)),),
        opening_sets=(
            OpeningSet("slots", vents), OpeningSet("wide", (Opening("base", 0.0, "slot", 0.02, 0.02), vents[1])),
        ),
        variants=(("membrane of s_d 2 m", "lining", tight),),
    )  # fmt: skip
    return dataclasses.replace(wall, **changes)


def test_a_closed_barrier_above_a_window_gets_a_vent_above_the_closer_as_first_advice(summer):
    advice = advise(window_wall(), summer)
    assert "strip “above the window”" in advice[0].start and "which fails" in advice[0].start
    assert advice[0].label == "adding a vent above closer" and advice[0].family == "compartments"
    first = lines(advice)[0]
    assert first.startswith("Adding a vent above closer lowers the ") and "strip “above the window”" in first
    old, new = (float(text) for text in re.search(r"from (\S+) to (\S+) ", first).groups())
    assert (old, new) == (pytest.approx(advice[0].before, abs=0.06), pytest.approx(advice[0].after, abs=0.06))
    assert old > new
    assert all(each.family != "layers" for each in advice[:4])


def test_a_barrier_part_way_up_gets_vents_on_both_sides(summer):
    wall = window_wall(columns=(Column("plain", 0.0, 3.0),), barriers=(Barrier("closer", 1.5),))
    advice = advise(wall, summer)
    assert advice[0].label == "adding a vent below closer and a vent above closer"
    assert advice[0].gain > 0.0
