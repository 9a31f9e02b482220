"""The search for the least opening and depth: against brute force, on made severities and on the model itself."""

import dataclasses
import itertools
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_findings import made

from cavity.errors import InputError
from cavity.risk.ranking import Part
from cavity.study.changes import (
    blind_ends,
    gap_text,
    halves,
    scale_openings,
    with_gap,
    with_variant,
    with_vents,
)
from cavity.study.size import FLOOR, GAPS, PROBES, Point, Sizing, assess, search, size
from cavity.wallfile.model import Barrier, Cavity, Column, Layer, Material, Opening, OpeningSet, Rail, Run, Wall


def finding(ratio, *, key="mould", status=None):
    chosen = status or ("fail" if ratio >= 1.0 else "pass")
    return made(key, ratio, chosen)


def judged(point, *parts, margin=0.0, accept="review"):
    """One case from the findings of each of its strips."""
    strips = [Part("Coast", f"strip {number}", 0.0, tuple(part)) for number, part in enumerate(parts, 1)]
    return assess(point, strips, margin=margin, accept=accept, several=len(parts) > 1)


def evaluator(severity, *, margin=0.0):
    """Batch evaluation of a severity function of depth and factor; counts its calls."""
    calls = []

    def evaluate(batch):
        calls.extend(batch)
        return [judged(point, [finding(severity(point.depth, point.factor))], margin=margin) for point in batch]

    evaluate.calls = calls
    return evaluate


def at(*depths):
    return [Point(depth) for depth in depths]


def sizing(rows, *, drawn=(("base", 0.01),), **changes):
    """A Sizing of these rows, its vents half below and half above."""
    area = sum(each for _, each in drawn) / 2
    found = Sizing(
        "w", "c", "slots", "plain", 0.0, "review", tuple(drawn), rows, None, halves=((area, 0.0), (area, 0.0))
    )
    return dataclasses.replace(found, **changes)


def brute_force(severity, depth, margin=0.0):
    """Least of 4000 factors over the probed range that passes."""
    for factor in np.geomspace(PROBES[0], PROBES[-1], 4000):
        value = severity(depth, factor)
        if value <= 1.0 - margin and value < 1.0:
            return float(factor)
    return None


@settings(max_examples=60, deadline=None)
@given(st.floats(0.1, 6.0), st.floats(0.2, 3.0), st.floats(0.0, 0.5))
def test_falling_severity_gives_the_least_area_of_brute_force(worst, power, margin):
    def severity(depth, factor):
        return worst * (0.02 / depth) ** 0.5 * factor**-power

    rows = search(evaluator(severity, margin=margin), at(0.015, 0.02, 0.04))
    for row in rows:
        expected = brute_force(severity, row.depth, margin)
        assert row.monotone
        if expected is None:
            assert row.least is None
        elif expected == PROBES[0]:
            assert row.least == PROBES[0]
            assert row.at_floor and "the smallest tried, passes" in row.note
        else:
            # the search is exact to 5 %, the brute force to the step of its grid
            assert expected * 0.998 <= row.least <= expected * 1.05 * 1.002


falling = st.tuples(st.floats(0.1, 6.0), st.floats(0.0, 2.0), st.floats(0.1, 3.0))


def severity_of(shape):
    worst, deeper, wider = shape
    return lambda depth, factor: worst * (0.02 / depth) ** deeper * factor**-wider


@settings(max_examples=60, deadline=None)
@given(falling, st.floats(0.0, 0.4), st.floats(0.0, 0.4), st.floats(1.0, 1.5))
def test_the_least_is_monotone_in_margin_severity_and_depth(shape, margin, more, worse):
    """More margin or a worse wall never needs less; where depth dries, a deeper cavity never needs more."""
    severity = severity_of(shape)
    lines = at(0.015, 0.02, 0.04)

    def least(*arguments, **keywords):
        rows = search(evaluator(*arguments, **keywords), lines, floor=FLOOR)
        return [math.inf if row.least is None else row.least for row in rows]

    base = least(severity, margin=margin)
    assert all(b >= a for a, b in zip(base, least(severity, margin=min(margin + more, 0.9)), strict=True))
    harder = least(lambda depth, factor: worse * severity(depth, factor), margin=margin)
    assert all(b >= a for a, b in zip(base, harder, strict=True))
    # rows of different brackets agree to the tolerance of the bisection
    assert all(b <= a * 1.05 + 1e-9 for a, b in itertools.pairwise(base))


@settings(max_examples=40, deadline=None)
@given(falling, st.permutations([0.015, 0.02, 0.04]), st.permutations(PROBES))
def test_the_order_of_depths_and_probes_has_no_influence(shape, depths, probes):
    evaluate = evaluator(severity_of(shape))
    assert search(evaluate, at(*depths), probes) == search(evaluate, at(0.015, 0.02, 0.04), PROBES)


@given(st.permutations([0.3, 0.9, 1.4]))
def test_the_order_of_strips_has_no_influence_and_the_worst_decides(ratios):
    parts = [Part("Coast", f"strip {ratio}", 0.0, (finding(ratio), finding(0.1, key="residue"))) for ratio in ratios]
    found = assess(Point(0.02), parts, margin=0.0, accept="review", several=True)
    assert not found.passes
    assert (found.severity, found.column) == (1.4, "strip 1.4")
    assert "reaches 4.2 of 6" in found.decisive.sentence


def test_nothing_is_bisected_where_the_smallest_area_passes():
    evaluate = evaluator(lambda depth, factor: 0.5)
    row = search(evaluate, at(0.02))[0]
    assert row.least == PROBES[0]
    assert len(evaluate.calls) == len(PROBES)


def test_the_search_goes_on_below_the_smallest_probe_and_never_calls_its_floor_a_minimum():
    evaluate = evaluator(lambda depth, factor: 0.1 / factor)  # passes above 0.1
    row = search(evaluate, at(0.02), floor=FLOOR)[0]
    assert 0.1 <= row.least <= 0.105 and not row.at_floor
    rows = search(evaluator(lambda depth, factor: 0.5), at(0.02), floor=FLOOR)
    assert rows[0].least == FLOOR and rows[0].at_floor
    text = sizing(rows, least_depth=0.02).sentence
    assert "no minimum was found" in text and "smallest tried" in text
    assert "minimum free vent area" not in text and "minimum depth" not in text and "least" not in text


def test_a_severity_that_rises_with_area_is_said_to():
    # dries at first, then more air brings more dew: passes between 0.5 and 2.6 only
    def severity(_depth, factor):
        return 0.5 + 0.9 * abs(math.log(factor / 1.14)) / math.log(3.0)

    row = search(evaluator(severity), at(0.02))[0]
    expected = brute_force(severity, 0.02)
    assert not row.monotone
    assert expected * 0.998 <= row.least <= expected * 1.05 * 1.002
    assert "larger is not always better" in row.note
    assert "fails again at 4.00 × the design area" in row.note and "fails again" in row.remark.lower()
    assert "Larger vents are not always better at 20 mm." in sizing((row,)).sentence


def test_an_optimum_between_two_probes_is_found():
    # passes only from 1.3 to 1.55: no probe lies there
    def severity(_depth, factor):
        return 0.95 + 2.0 * abs(math.log(factor / 1.42))

    assert all(severity(0.02, factor) > 1.0 for factor in PROBES)
    row = search(evaluator(severity), at(0.02))[0]
    assert row.least is not None
    assert 1.38 <= row.least <= 1.46


def test_rail_gaps_are_searched_in_metres():
    def evaluate(batch):
        return [judged(point, [finding(0.009 / point.gap)]) for point in batch]

    row = search(evaluate, at(0.02), GAPS, variable="gap")[0]
    assert 0.009 < row.least <= 0.009 * 1.05
    assert row.note == f"Passes from {gap_text(row.least)} on."
    passing = search(evaluator(lambda depth, factor: 0.5 / factor), at(0.02))
    text = sizing(passing, gaps=(row,)).sentence
    assert f"the gaps at the rail ends must be at least {gap_text(row.least)} at 20 mm depth" in text
    none = search(lambda batch: [judged(point, [finding(2.0)]) for point in batch], at(0.02), GAPS, variable="gap")
    text = sizing(passing, gaps=none).sentence
    assert "no gap at the rail ends from 3.2 mm (1/8 in) to 25.4 mm (1 in) meets every criterion" in text


def test_vents_are_given_for_each_rail_gap():
    def evaluate(batch):
        return [judged(point, [finding(0.006 / point.gap / point.factor)]) for point in batch]

    rows = search(evaluate, [Point(0.03, gap=gap) for gap in GAPS], floor=FLOOR)
    assert [row.line.gap for row in rows] == list(GAPS)
    text = sizing(search(evaluator(lambda *_: 0.5), at(0.03)), together=rows).sentence
    assert f"Vents needed for each rail gap, at 30 mm: 3.2 mm (1/8 in): {rows[0].least:.2f} ×; " in text


def test_no_opening_helps_is_said_only_when_all_was_tried_with_what_decides_and_the_variant_that_does():
    rows = search(evaluator(lambda depth, factor: 1.8), at(0.02, 0.04))
    helped = search(evaluator(lambda depth, factor: 1.2 - 0.5 * factor), at(0.02))[0]
    hopeless = search(evaluator(lambda depth, factor: 1.5), at(0.02))[0]
    found = sizing(rows, variants=(("the variant 'tighter'", helped), ("the variant 'other'", hopeless)))
    assert found.least is None
    assert found.sentence.startswith("No vent area meets every criterion: tried were 0.25 to 4.00 × the design area")
    assert "reaches 5.4 of 6" in found.sentence
    assert "With the variant 'tighter' it passes from" in found.sentence
    assert "With the variant 'other' it does not pass either: The mould index at sheathing" in found.sentence
    assert "reaches 4.5 of 6" in found.sentence
    assert "No opening helps" not in found.sentence
    found = sizing(rows, variants=(("vents at the blind ends", hopeless),))
    assert "No opening helps: vents, depths and what follows were tried." in found.sentence
    assert "lists no variant" in sizing(rows).sentence
    # rail gaps that pass are an answer
    gaps = search(
        lambda batch: [judged(point, [finding(0.009 / point.gap)]) for point in batch], at(0.02), GAPS, variable="gap"
    )
    assert "No opening helps" not in sizing(rows, gaps=gaps).sentence


def test_the_sentence_gives_areas_and_depth_and_common_sizes():
    rows = search(evaluator(lambda depth, factor: 0.02 / depth / factor), at(0.01, 0.02, 0.04))
    found = sizing(rows, drawn=(("base", 0.01), ("head", 0.006)), least_depth=0.01, least_depth_factor=4.0)
    # ratio 1 exactly still fails, so the least is the first factor above 0.5, 1 and 2 that bisection keeps
    assert found.least.depth == 0.04
    assert f"base {100.0 * found.least.least:.3g} cm²/m" in found.sentence
    assert "at a depth of 40 mm" in found.sentence
    assert "A depth of 10 mm, the smallest tried, passes with 4.00 × the vents." in found.sentence
    wide = dataclasses.replace(found, halves=((0.01, 0.0), (0.01, 0.0)))  # 52 cm2/m in each half
    assert "common sizes" not in wide.sentence
    small = dataclasses.replace(found, halves=((0.004, 0.0), (0.006, 0.0)))
    assert "below common sizes (DIN 18516-1, read second-hand): vents in the lower half " in small.sentence


def test_margin_and_accepted_status_decide_what_passes():
    review = finding(1.2, key="humidity", status="review")
    assert judged(Point(0.02), [finding(0.8), review]).passes
    strict = judged(Point(0.02), [finding(0.8), review], accept="pass")
    assert not strict.passes
    assert strict.decisive is review
    near = judged(Point(0.02), [finding(0.8), review], margin=0.25)
    assert not near.passes and near.decisive.key == "mould"
    assert judged(Point(0.02), [review, finding(0.3)]).severity == 0.3  # what cannot fail has no say


# --- on the model ----------------------------------------------------------------------------------------------------

_BOARD = Material(
    "board", "invented board", 1200.0, 0.25, 900.0, 60.0, 30.0, "invented", free_saturation=300.0, max_saturation=400.0,
    sorption=((0.5, 40.0), (0.8, 70.0), (0.95, 120.0)), mould_class="medium resistant",
)  # fmt: skip
_SHEET = Material(
    "sheathing", "invented wood board", 600.0, 0.13, 1600.0, 50.0, 20.0, "invented", free_saturation=300.0,
    max_saturation=600.0, sorption=((0.5, 50.0), (0.8, 90.0), (0.95, 140.0)), wood=True, mould_class="sensitive",
)  # fmt: skip
_WOOL = Material("wool", "invented wool", 40.0, 0.035, 1030.0, 1.2, 1.2, "invented", mould_class="resistant")


def small_wall(**changes):
    wall = Wall(
        name="invented small wall",
        cladding=(Layer("panel", _BOARD, 0.008),),
        cavity=Cavity(0.02),
        backup=(Layer("sheathing", _SHEET, 0.012), Layer("wool", _WOOL, 0.1), Layer("lining", _BOARD, 0.0125)),
        columns=(Column("plain", 0.0, 3.0),),
        opening_sets=(
            OpeningSet("slots", (Opening("base", 0.0, "slot", 0.01, 0.01), Opening("head", 3.0, "slot", 0.01, 0.01))),
        ),
        depths=(0.02, 0.03),
        run=Run(segments=1, max_years=1, start_humidity=0.7, start_month=1),
    )
    return dataclasses.replace(wall, **changes)


def test_gaps_in_inches_are_named():
    assert [gap_text(gap) for gap in GAPS] == [
        "3.2 mm (1/8 in)",
        "6.4 mm (1/4 in)",
        "12.7 mm (1/2 in)",
        "25.4 mm (1 in)",
    ]
    assert gap_text(0.2) == "200 mm"


def test_rail_gaps_are_set_where_the_set_takes_its_rails_from():
    rails = (Rail("rail", (1.0,), 0.2, 0.6), Rail("short", (2.0,), 0.01, 0.012))
    wall = small_wall(rails=rails)
    assert [rail.gap for rail in with_gap(wall, "slots", 0.0254).rails] == [0.0254, 0.012]  # no wider than the bay
    own = dataclasses.replace(wall.opening_sets[0], rails=rails[:1])
    changed = with_gap(dataclasses.replace(wall, opening_sets=(own,)), "slots", lambda rail: 2.0 * rail.gap)
    assert changed.rails == rails and changed.opening_sets[0].rails[0].gap == 0.4


def test_blind_ends_are_those_of_compartments_without_a_vent_and_get_one():
    wall = small_wall()
    assert blind_ends(wall, "slots") == ()
    closed = dataclasses.replace(wall, barriers=(Barrier("closer", 1.4),))
    above, below = (next(end for end in blind_ends(closed, "slots") if end.lower is low) for low in (True, False))
    assert (above.vent, above.bottom, above.top, above.vents, above.dead) == ("vent above closer", 1.4, 3.0, 1, True)
    assert (below.vent, below.bottom, below.top) == ("vent below closer", 0.0, 1.4)
    vented = with_vents(closed, "slots", (above, below)).opening_sets[0].openings[2:]
    assert [(each.name, each.height) for each in vented] == [
        ("vent above closer", pytest.approx(1.42)), ("vent below closer", pytest.approx(1.38)),
    ]  # fmt: skip
    assert blind_ends(with_vents(closed, "slots", (above, below)), "slots") == ()
    # a strip above a window: the base vent does not reach it
    strip = dataclasses.replace(wall, columns=(Column("plain", 0.0, 3.0), Column("above the window", 2.0, 3.0)))
    (end,) = blind_ends(strip, "slots")
    assert (end.vent, end.dead) == ("vent at the bottom of above the window", True)
    assert with_vents(strip, "slots", (end,)).opening_sets[0].openings[-1].columns == ("above the window",)
    assert blind_ends(strip, "slots", ["plain"]) == ()


def test_halves_are_those_of_the_strip_with_least_vents():
    wall = small_wall(columns=(Column("plain", 0.0, 3.0), Column("low", 0.0, 2.0)))
    assert halves(wall, "slots", ["plain"]) == (0.01, 0.01)
    assert halves(wall, "slots", ["plain", "low"]) == (0.01, 0.0)


def test_scaling_touches_only_the_named_openings_of_the_chosen_set():
    wall = small_wall()
    scaled = scale_openings(wall, "slots", 2.0, ["base"])
    assert [each.free_area for each in scaled.opening_sets[0].openings] == [0.02, 0.01]
    assert scaled.opening_sets[0].openings[0].clear_height == 0.02
    assert scale_openings(wall, "slots", 1.0) == wall
    with pytest.raises(InputError, match="cellar") as caught:
        scale_openings(wall, "slots", 2.0, ["cellar"])
    assert "base, head" in str(caught.value)


def test_a_variant_exchanges_its_layers_and_no_others():
    foil = Layer("wool", _BOARD, 0.05)
    wall = small_wall(variants=(("board instead of wool", "wool", foil),))
    changed = with_variant(wall, "board instead of wool")
    assert changed.backup[1] is foil
    assert changed.backup[0] is wall.backup[0]
    with pytest.raises(KeyError):
        with_variant(wall, "none")


def test_wrong_requests_are_told_together_before_any_run():
    with pytest.raises(InputError) as caught:
        size(small_wall(), None, opening_set="x", column="y", margin=1.0, accept="fail", factors=(0.0, 1), gaps=(0.0,))
    text = str(caught.value)
    for word in ("opening set", "column", "margin", "accept", "factors", "gaps"):
        assert word in text


def drying_wall(**changes):
    """A small wall whose sheathing starts wet, in dry weather: the less it is vented, the longer it stays wet."""
    run = Run(segments=1, max_years=1, start_humidity=0.6, start_month=6, construction_water=(("sheathing", 150.0),))
    return small_wall(run=run, limits=(("wood_moisture", 0.195),), **changes)


@pytest.fixture(scope="module")
def summer():
    import cavity

    folder = Path(__file__).parents[1] / "climates"
    return cavity.read_weather(folder / "cool_marine.epw").isel(time=slice(4000, 4240))


def test_size_agrees_with_brute_force_on_the_model(summer):
    from cavity.hourly.run import simulate
    from cavity.risk import judge

    wall = drying_wall()
    told = []
    found = size(wall, summer, depths=(0.02, 0.03), factors=(0.02, 0.1, 0.5), progress=lambda *each: told.append(each))
    cases = sum(len(row.outcomes) for row in found.rows)
    assert [each[0] for each in told] == list(range(1, cases + 1))
    assert told[-1][1] == cases == found.tried
    assert found.gaps == found.together == ()  # no rails
    for row in found.rows:
        grid = np.geomspace(0.5 * row.least, 2.0 * row.least, 5)
        passes = []
        for factor in grid:
            ds = simulate(scale_openings(wall, "slots", factor), summer, depth=row.depth)
            passes.append(all(each.status != "fail" for each in judge(ds, dict(wall.limits))))
        # the grid's middle is the found least factor itself, which passes; the one below is 0.71 of it
        assert passes == [False, False, True, True, True]
    assert found.least_depth == 0.02


def test_rails_are_searched_alone_and_together_on_the_model(summer):
    wall = drying_wall(rails=(Rail("rail", (1.5,), 0.003, 0.6),))
    found = size(wall, summer, depths=(0.02,), factors=(0.1, 0.5), gaps=(0.0005, 0.004))
    assert {row.line.gap for row in found.together} == {0.0005, 0.003, 0.004}
    drawn = next(row for row in found.together if row.line.gap == 0.003)
    assert drawn.outcomes[0].severity == found.rows[0].outcomes[0].severity  # as drawn: the same cases
    # the wider the gap, the fewer vents are needed
    least = [math.inf if row.least is None else row.least for row in found.together]
    assert least == sorted(least, reverse=True)
    severities = [outcome.severity for outcome in found.gaps[0].outcomes]
    assert severities == sorted(severities, reverse=True)


def test_every_strip_must_pass_on_the_model(summer):
    wall = drying_wall()
    strip = Column("blind", 2.0, 3.0)  # reached by the head vent alone
    both = dataclasses.replace(wall, columns=(*wall.columns, strip))
    alone = size(both, summer, column="plain", depths=(0.02,), factors=(0.1, 0.5))
    found = size(both, summer, depths=(0.02,), factors=(0.1, 0.5))
    assert found.column == "plain, blind" and alone.column == "plain"
    for whole, one in zip(found.rows[0].outcomes, alone.rows[0].outcomes, strict=False):
        assert whole.severity >= one.severity
    assert found.rows[0].outcomes[-1].column == "blind"
    assert found.rows[0].least is None and alone.rows[0].least is not None
    assert found.variants[0][0] == "vents at the blind ends (vent at the bottom of blind)"
    assert found.variants[0][1].least is not None


def test_a_wall_that_no_opening_dries_is_told_so_and_its_variant_tried(summer):
    dry_sheet = dataclasses.replace(_SHEET, wood=False)
    wall = drying_wall(variants=(("board that does not rot", "sheathing", Layer("sheathing", dry_sheet, 0.012)),))
    wall = dataclasses.replace(wall, limits=(("wood_moisture", 0.1), ("wood_moisture_review", 0.1)))
    found = size(wall, summer, depths=(0.02,), factors=(0.5, 1.0))
    assert found.least is None
    assert found.sentence.startswith("No vent area meets every criterion")
    name, row = found.variants[0]
    assert name == "the variant 'board that does not rot'"
    assert row.least is not None and row.at_floor
