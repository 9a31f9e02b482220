"""The order of choices: properties, and hand-made findings with a known right answer."""

import math
import random
from types import SimpleNamespace

import pytest
import xarray as xr
from hypothesis import assume, given
from hypothesis import strategies as st
from made_findings import made

from cavity.risk import CAN_FAIL, ranking, worst, worst_first
from cavity.risk.ranking import Choice, Part, gather, order, ranked, status

KEYS = sorted(CAN_FAIL)[:5]
OTHER = "film"


def finding(key, ratio, state=None, where="sheathing"):
    state = state or ("fail" if ratio > 1.0 and key in CAN_FAIL else "review" if ratio > 0.8 else "pass")
    return made(key, ratio, state, layer=where)


def case(opening_set, depth, findings, climate="Coast", column="plain", orientation=180.0, area=0.02):
    ds = xr.Dataset(
        {"opening_area": ("opening", [area / 2, area / 2]), "opening_height": ("opening", [0.0, 3.0])},
        attrs={"column": column, "orientation": orientation, "column_bottom": 0.0, "column_top": 3.0},
    )
    return SimpleNamespace(
        opening_set=opening_set, depth=depth, climate_name=climate, findings=tuple(findings), dataset=ds
    )


ratio = st.floats(0.0, 3.0, allow_nan=False)
every = st.fixed_dictionaries(dict.fromkeys(KEYS, ratio))


def of(ratios, extra=()):
    return [finding(key, value) for key, value in ratios.items()] + list(extra)


@given(every, every, st.sampled_from(["pass", "review"]), st.sampled_from(["pass", "review"]))
def test_better_or_equal_in_every_criterion_that_can_fail_never_ranks_below(one, shift, mine, others):
    """Dominated choices rank below, whatever the criteria that cannot fail say, unless all is equal."""
    worse = {key: one[key] + shift[key] for key in KEYS}
    assume(any(worse[key] > one[key] for key in KEYS))
    good = order(of(one, [finding(OTHER, 0.5, mine)]))
    bad = order(of(worse, [finding(OTHER, 0.5, others)]))
    assert good < bad


@given(every, every, st.randoms(use_true_random=False))
def test_order_of_cases_climates_and_columns_does_not_matter(one, two, rng):
    cases = [
        case(name, depth, of(ratios), climate, column, area=area)
        for name, ratios, area in (("a", one, 0.02), ("b", two, 0.01))
        for depth in (0.02, 0.03)
        for climate in ("Coast", "Hill")
        for column in ("plain", "sill")
    ]
    mixed = list(cases)
    rng.shuffle(mixed)
    first, second = gather(cases), gather(mixed)
    assert [(each.opening_set, each.depth, each.status, each.order) for each in first] == [
        (each.opening_set, each.depth, each.status, each.order) for each in second
    ]
    for left, right in zip(first, second, strict=True):
        assert left.decides[0].name == right.decides[0].name
        assert left.decides[1] == right.decides[1]


@given(st.lists(every, min_size=1, max_size=4))
def test_a_choice_is_as_good_as_its_worst_part(parts):
    """Adding a part never makes a choice safer, and equals judging each criterion at its worst part."""
    whole = order(found for ratios in parts for found in of(ratios))
    worst_of_each = {key: max(ratios[key] for ratios in parts) for key in KEYS}
    assert whole == order(of(worst_of_each))
    for ratios in parts:
        assert order(of(ratios)) <= whole


@given(every, st.permutations(["a", "b", "c"]))
def test_ties_go_to_the_smaller_area_then_the_smaller_depth(ratios, names):
    made = [
        Choice(names[0], 0.03, 0.02, (Part("Coast", "plain", 180.0, tuple(of(ratios))),)),
        Choice(names[1], 0.02, 0.02, (Part("Coast", "plain", 180.0, tuple(of(ratios))),)),
        Choice(names[2], 0.06, 0.01, (Part("Coast", "plain", 180.0, tuple(of(ratios))),)),
    ]
    random.Random(len(ratios)).shuffle(made)
    assert [each.opening_set for each in ranked(made)] == [names[2], names[1], names[0]]


def test_the_mildest_is_not_the_worst_passing_case():
    """Two criteria: ranking by the finding that happens to be listed first would put the damp case first."""
    damp = case("fine mesh", 0.015, [finding("mould", 2.79 / 3), finding("wood_moisture", 0.7, "pass")])
    dry = case("20 mm slots", 0.03, [finding("mould", 0.0), finding("wood_moisture", 0.71, "pass")])
    assert [each.opening_set for each in gather([damp, dry])] == ["20 mm slots", "fine mesh"]


def test_one_failing_strip_fails_the_set():
    cases = [
        case("slots", 0.03, [finding("mould", 0.2)], column="plain"),
        case("slots", 0.03, [finding("mould", 1.4)], column="above the window"),
        case("mesh", 0.03, [finding("mould", 0.9, "pass")], column="plain"),
        case("mesh", 0.03, [finding("mould", 0.9, "pass")], column="above the window"),
    ]
    first, second = gather(cases)
    assert (first.opening_set, first.status) == ("mesh", "pass")
    assert (second.opening_set, second.status) == ("slots", "fail")
    assert second.decides[0].column == "above the window"


def test_a_criterion_that_never_happens_decides_only_where_nothing_else_does():
    frost = finding("frost", 0.0, "pass")
    choice = gather([case("slots", 0.03, [frost, finding("mould", 0.4)])])[0]
    assert choice.decides[1].key == "mould"
    assert gather([case("slots", 0.03, [frost])])[0].decides[1].key == "frost"


def test_information_decides_nothing():
    """A grave-looking value that judges nothing changes neither status, order nor what decides."""
    try:
        told = finding("humidity", 5.0, "information")
    except ValueError:
        pytest.skip("findings have no information status yet")
    plain = [finding("mould", 0.4)]
    assert status([*plain, told]) == "pass"
    assert order([*plain, told]) == order(plain)
    assert gather([case("slots", 0.03, [told, *plain])])[0].decides[1].key == "mould"
    assert worst_first([told, *plain])[-1] is told


def test_a_part_that_was_not_computed_keeps_a_choice_from_passing():
    lost = SimpleNamespace(opening_set="slots", depth=0.03, climate_name="Hill", column="plain", orientation=180.0)
    done = [case(name, 0.03, [finding("mould", value)]) for name, value in (("slots", 0.1), ("mesh", 0.5))]
    first, second = gather(done, [lost])
    assert (first.opening_set, first.status) == ("mesh", "pass")
    assert (second.opening_set, second.status) == ("slots", "none")
    gone = gather([], [lost])[0]
    assert (gone.status, gone.decides) == ("none", None)
    assert gather([]) == ()


def test_a_ratio_that_is_not_a_number_counts_as_the_worst():
    assert order([finding("mould", math.nan, "pass")]) > order([finding("mould", 0.9, "pass")])


def test_worst_of_findings_is_the_one_that_decides():
    findings = [finding(OTHER, 2.0, "review"), finding("mould", 0.85, "review"), finding("wood_moisture", 0.99, "pass")]
    assert worst(findings).key == "mould"


def test_the_largest_ratio_is_compared_first():
    """One criterion at 0.7 is safer than two at 0.75 and 0.1, whatever the smaller ones are."""
    safe = [finding("mould", 0.7), finding("wood_moisture", 0.69)]
    near = [finding("mould", 0.75), finding("wood_moisture", 0.1)]
    assert order(safe) < order(near)


def test_information_alone_decides_nothing():
    choice = gather([case("slots", 0.03, [finding("humidity", 5.0, "information")])])[0]
    assert choice.decides is None and choice.status == "pass" and choice.severity == 0.0


def test_the_halves_of_a_strip_are_separated_by_the_height_of_their_vents():
    ds = xr.Dataset(
        {"opening_height": ("opening", [3.0, 4.0, 6.0]), "opening_area": ("opening", [1e-3, 2e-3, 4e-3])},
        attrs={"column_bottom": 3.0, "column_top": 6.0},
    )
    assert ranking._halves(ds) == pytest.approx((3e-3, 4e-3))


def test_a_choice_fails_with_any_of_its_strips():
    held, broken = ((finding("mould", ratio, word),) for ratio, word in ((0.3, "pass"), (1.4, "fail")))
    for parts in ((held, broken), (broken, held)):
        strips = tuple(Part("Coast", name, 180.0, part) for name, part in zip("AB", parts, strict=True))
        choice = Choice("slots", 0.03, 0.02, strips)
        assert choice.status == "fail" and choice.severity == pytest.approx(1.4)
        assert status(choice.findings) == "fail"
