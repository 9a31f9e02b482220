"""The recommended choice: the smallest adequate one, by hand-made findings with a known right answer."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_findings import made

from cavity.risk.ranking import Choice, Part
from cavity.risk.recommend import COMFORT, IDLE, LITTLE, bulk, comfortable, is_enough, least_bad, recommend
from cavity.risk.rules import Shortfall

MOULD_LIMIT = 3.0


def mould(index, state=None):
    state = state or ("fail" if index > 3.0 else "review" if index >= 2.0 else "pass")
    return made("mould", index / 3.0, state)


def choice(name, depth, area, index, below=(), extra=(), **kw):
    part = Part("Coast", "plain", 180.0, (mould(index, **kw), *extra))
    return Choice(name, depth, area, (part,), tuple(below))


def table(rows):
    """Choices by (area, depth) with a mould index each."""
    return [choice(f"{1e4 * area:g}", depth, area, index) for area, depth, index in rows]


def test_smallest_adequate_not_the_extreme_corner():
    """10 mm slots at 30 mm: comfortable, and four times the openings gain 0.2 of mould index."""
    choices = [
        choice("10 mm slots", 0.02, 0.02, 2.6),
        choice("10 mm slots", 0.03, 0.02, 1.3),
        choice("10 mm slots", 0.06, 0.02, 1.2),
        choice("20 mm slots", 0.03, 0.04, 1.2),
        choice("20 mm slots", 0.06, 0.04, 1.1),
    ]
    found = recommend(choices)
    assert (found.choice.opening_set, found.choice.depth) == ("10 mm slots", 0.03)
    assert found.comfortable
    assert found.more == "more vent area or depth lowers the mould index in the wall by 0.2 at most"
    assert (found.runner_up.opening_set, found.runner_up.depth) == ("20 mm slots", 0.03)
    assert "200 cm²/m more free vent area" in found.tips
    assert "lowers the mould index in the wall from 1.3 to 1.2" in found.tips
    assert "more margin is wanted" in found.tips


def test_where_more_gains_much_the_larger_is_recommended():
    choices = [choice("small", 0.02, 0.01, 1.9), choice("large", 0.04, 0.02, 1.05)]
    assert recommend(choices).choice.opening_set == "large"
    assert recommend(choices).more == ""


def test_more_means_at_least_the_area_and_at_least_the_depth():
    """Wider vents in a shallower cavity are another choice, not more of the same."""
    choices = [choice("deep", 0.04, 0.01, 1.9), choice("wide", 0.02, 0.03, 1.05)]
    assert recommend(choices).choice.opening_set == "deep"
    assert recommend(choices).more == ""


def test_a_margin_below_a_tenth_of_the_limit_is_not_comfortable():
    """A criterion without a level of review passes at 0.95 of its limit; the next larger choice is taken."""
    near = made("frost", 0.95, "pass", limit=1.0)
    far = made("frost", 0.88, "pass", limit=1.0)
    small, large = choice("small", 0.02, 0.01, 0.5, extra=[near]), choice("large", 0.04, 0.02, 0.5, extra=[far])
    assert not comfortable(small) and comfortable(large)
    assert recommend([small, large]).choice is large


def test_gains_far_from_the_limit_are_idle():
    """From index 1.0 to 0: a third of the limit, but nothing grows at 1.0 already."""
    choices = [choice("small", 0.02, 0.01, 1.0), choice("large", 0.04, 0.02, 0.0)]
    assert recommend(choices).choice.opening_set == "small"


def test_never_below_the_common_rules_without_saying_so():
    low = choice("nearly closed", 0.015, 0.0006, 0.5, below=(Shortfall("depth", 0.015, 0.020),))
    fine = choice("10 mm slots", 0.02, 0.02, 0.6)
    found = recommend([low, fine])
    assert found.choice is fine
    assert found.smaller is low
    assert "only where a size below the common rules is accepted (depth 15 mm, rule 20 mm)" in found.tips
    alone = recommend([low, choice("10 mm slots", 0.02, 0.02, 2.9)])
    assert alone.choice is low
    assert alone.choice.below == low.below


def test_without_a_comfortable_choice_the_same_steps_are_taken_and_said():
    found = recommend([choice("small", 0.02, 0.01, 2.9), choice("large", 0.04, 0.02, 2.4)])
    assert (found.choice.opening_set, found.comfortable) == ("large", False)
    found = recommend([choice("small", 0.02, 0.01, 2.6), choice("large", 0.04, 0.02, 2.4)])
    assert (found.choice.opening_set, found.more) == (
        "small",
        "more vent area or depth lowers the mould index in the wall by 0.2 at most",
    )
    assert recommend([choice("only", 0.02, 0.01, 3.4)]) is None


def test_more_openings_that_make_it_worse_gain_nothing():
    choices = [choice("small", 0.02, 0.01, 1.2), choice("large", 0.04, 0.02, 1.8)]
    found = recommend(choices)
    assert found.choice.opening_set == "small"
    assert found.more == "more vent area or depth improves no criterion"
    assert "raises the mould index in the wall from 1.2 to 1.8" in found.tips


def test_a_strip_that_fails_whatever_the_vents_are_does_not_hide_the_others():
    """A dead pocket is alike in all choices, and by a hair better with the closed one; the rest of the wall decides."""

    def wall(name, area, pocket, plain):
        parts = (Part("Coast", "pocket", 180.0, (mould(pocket),)), Part("Coast", "plain", 180.0, (mould(plain),)))
        return Choice(name, 0.03, area, parts)

    closed, slots = wall("closed", 0.001, 3.030, 2.97), wall("slots", 0.02, 3.031, 1.6)
    assert recommend([closed, slots]) is None
    assert least_bad([closed, slots]) is slots
    assert least_bad([slots, closed]) is slots
    with pytest.raises(ValueError, match="empty"):
        least_bad([])


sizes = st.lists(
    st.tuples(st.sampled_from([0.005, 0.01, 0.02, 0.04]), st.sampled_from([0.015, 0.02, 0.03, 0.06]),
              st.floats(0.0, 4.0)),
    min_size=1, max_size=12, unique_by=lambda row: row[:2],
)  # fmt: skip


@given(sizes, st.randoms(use_true_random=False))
def test_recommended_is_adequate_small_and_the_same_in_any_order(rows, rng):
    choices = table(rows)
    found = recommend(choices)
    rng.shuffle(choices)
    again = recommend(choices)
    assert (found is None) == (again is None) == all(each.status == "fail" for each in choices)
    if found is None:
        return
    assert found.choice == again.choice
    assert found.runner_up == again.runner_up
    assert found.choice.status != "fail"
    easy = [each for each in choices if comfortable(each)]
    assert found.comfortable == bool(easy)
    if easy:  # nothing larger is worth it, and nothing smaller would do
        assert is_enough(found.choice, choices)
        for other in easy:
            if is_enough(other, choices):
                assert bulk(found.choice) <= bulk(other)
        for other in easy:
            if other.area >= found.choice.area and other.depth >= found.choice.depth:
                fall = max(found.choice.severity, IDLE) - max(other.severity, IDLE)
                assert fall < LITTLE
        assert found.choice.severity <= COMFORT


@pytest.mark.parametrize("name", ["COMFORT", "LITTLE", "IDLE"])
def test_constants_are_shares_of_a_limit(name):
    value = {"COMFORT": COMFORT, "LITTLE": LITTLE, "IDLE": IDLE}[name]
    assert 0.0 < value < 1.0
