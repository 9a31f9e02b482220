"""Sampling, probabilities and drivers: against counts and correlations worked by hand, and wired to the model."""

import dataclasses
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_study_size import finding, small_wall

from cavity.errors import InputError
from cavity.study import uncertainty as module
from cavity.study.uncertainty import (
    OVERALL,
    Range,
    confidence,
    drivers,
    indices,
    ranges_of,
    rank_correlation,
    sample_inputs,
    sample_pairs,
    sentence,
    summarise,
    uncertainty,
    wilson,
    with_indices,
)
from cavity.wallfile.model import Rail

FLAT = Range("indoor.humidity_shift", -0.05, 0.05, "test")
WIDE = Range("site.cp_difference", 0.05, 0.3, "test")


def test_samples_fill_every_range_evenly():
    values = sample_inputs([FLAT, WIDE], 64, seed=3)
    assert values.shape == (64, 2)
    # a Sobol sequence of 2^6 points has exactly one in each 64th of every axis
    part = np.sort((values[:, 0] - FLAT.low) / (FLAT.high - FLAT.low))
    assert np.array_equal(np.floor(part * 64).astype(int), np.arange(64))
    log_share = np.sort(np.log(values[:, 1] / WIDE.low) / math.log(WIDE.high / WIDE.low))
    assert np.array_equal(np.floor(log_share * 64).astype(int), np.arange(64))


def test_samples_are_raised_to_a_power_of_two_and_repeat_with_the_seed():
    assert len(sample_inputs([FLAT], 9)) == 16
    assert np.array_equal(sample_inputs([FLAT, WIDE], 8, seed=1), sample_inputs([FLAT, WIDE], 8, seed=1))
    assert not np.array_equal(sample_inputs([FLAT, WIDE], 8, seed=1), sample_inputs([FLAT, WIDE], 8, seed=2))


def test_fewer_samples_are_the_first_of_more():
    # a comparison stops at 16, 32 or 64: what it has computed stays valid
    assert np.array_equal(sample_inputs([FLAT, WIDE], 16), sample_inputs([FLAT, WIDE], 64)[:16])


def test_pairs_exchange_one_input_a_page():
    first, second, exchanged = sample_pairs([FLAT, WIDE], 16, seed=2)
    assert first.shape == second.shape == (8, 2) and exchanged.shape == (2, 8, 2)
    assert np.array_equal(exchanged[0], np.column_stack([second[:, 0], first[:, 1]]))
    assert np.array_equal(exchanged[1], np.column_stack([first[:, 0], second[:, 1]]))
    assert not (first == second).any()


def test_indices_of_the_ishigami_function():
    """Ishigami & Homma 1990, a = 7, b = 0.1, worked by hand.

    V = a2/8 + b pi4/5 + b2 pi8/18 + 1/2 = 13.8446; V1 = (1 + b pi4/5)2 / 2, V2 = a2/8, V13 = 8 b2 pi8 / 225.
    """
    span = [Range("indoor.humidity_shift", -math.pi, math.pi, "test")] * 3

    def ishigami(x):
        return np.sin(x[..., 0]) + 7.0 * np.sin(x[..., 1]) ** 2 + 0.1 * x[..., 2] ** 4 * np.sin(x[..., 0])

    both = [np.stack([ishigami(x), np.ones(x.shape[:-1])], axis=-1) for x in sample_pairs(span, 4096, seed=4)]
    alone, total, low, high = indices(*both)
    # 2048 points: the error of the estimates is some 2 %
    assert alone[0] == pytest.approx([0.3139, 0.4424, 0.0], abs=0.03)
    assert total[0] == pytest.approx([0.5576, 0.4424, 0.2437], abs=0.03)
    assert np.all(low[0] < total[0]) and np.all(total[0] < high[0])
    assert not alone[1].any() and not total[1].any()  # what does not vary has no cause


def test_indices_of_a_sum_are_the_parts_of_its_variance_and_those_of_a_lone_input_are_one():
    spans = [Range("indoor.humidity_shift", 0.0, 1.0, "test")] * 2
    first, second, exchanged = sample_pairs(spans, 1024)
    weights = np.array([3.0, 4.0])  # variance 9 : 16
    made = [(each * weights).sum(axis=-1)[..., None] for each in (first, second, exchanged)]
    alone, total, _, _ = indices(*made)
    assert alone[0] == pytest.approx([0.36, 0.64], abs=0.02)
    assert total[0] == pytest.approx([0.36, 0.64], abs=0.02)
    alone, total, _, _ = indices(first[:, :1], second[:, :1], second[None, :, :1])
    # f(AB) = f(B): the estimate of either is its own mean square over the pooled variance
    assert alone[0] == pytest.approx([1.0], abs=0.05) and total[0] == pytest.approx([1.0], abs=0.05)


def test_ranges_of_the_wall_file_win_and_inputs_the_wall_lacks_are_left_out():
    wall = small_wall(uncertain=(("wetting.rain_penetration", 0.0, 0.05),))
    found = {each.name: each for each in ranges_of(wall)}
    assert (found["wetting.rain_penetration"].high, found["wetting.rain_penetration"].origin) == (0.05, "wall file")
    assert "rail.gap_factor" not in found
    assert "wetting.leak_flow" not in found
    assert "wetting.rain_penetration" not in {each.name for each in ranges_of(small_wall(), rain=False)}
    railed = small_wall(rails=(Rail("rail", (1.0,), 0.0064, 0.6), Rail("other", (2.0,), 0.1, 0.6)))
    gap = next(each for each in ranges_of(railed) if each.name == "rail.gap_factor")
    # 2 mm on the smaller gap of 6.4 mm
    assert (gap.low, gap.high) == pytest.approx((1.0 - 2.0 / 6.4, 1.0 + 2.0 / 6.4))
    leaky = small_wall(wetting=dataclasses.replace(wall.wetting, leak_flow=1e-5, leak_layer=1))
    leak = next(each for each in ranges_of(leaky) if each.name == "wetting.leak_flow")
    assert (leak.low, leak.high) == (0.5e-5, 2e-5)


def test_every_default_range_names_its_source():
    wall = small_wall(rails=(Rail("rail", (1.0,), 0.01, 0.6),))
    wall = dataclasses.replace(wall, wetting=dataclasses.replace(wall.wetting, leak_flow=1e-5, leak_layer=1))
    for each in ranges_of(wall):
        assert "no source" in each.origin or "no measured value" in each.origin or "EN 15026" in each.origin
        assert each.low < each.high


@pytest.mark.parametrize(
    ("met", "count", "expected"),
    # by hand, z2 = 3.8415: n / (n + z2) where all are met; 0.5 -+ z / (2 sqrt(n + z2)) where half are
    [(8, 8, (0.6756, 1.0)), (0, 8, (0.0, 0.3244)), (32, 64, (0.3810, 0.6190))],
)
def test_wilson_interval(met, count, expected):
    assert wilson(met, count) == pytest.approx(expected, abs=5e-5)  # printed digits


@given(st.integers(1, 200).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_wilson_interval_holds_the_share(pair):
    met, count = pair
    low, high = wilson(met, count)
    assert 0.0 <= low <= met / count + 1e-12
    assert met / count - 1e-12 <= high <= 1.0


def test_rank_correlation_is_spearmans_where_the_inputs_are_uncorrelated():
    from scipy.stats import spearmanr

    # a full factorial of two inputs, and one that does not vary
    inputs = np.array([[a, b, 1.0] for a in range(5) for b in range(4)], float)
    result = np.exp(inputs[:, 0]) - 2.0 * inputs[:, 1]
    found = rank_correlation(inputs, result)
    for column in (0, 1):
        assert found[column] == pytest.approx(spearmanr(inputs[:, column], result).statistic, abs=1e-12)
    assert found[2] == 0.0
    assert not rank_correlation(inputs, np.ones(20)).any()


def test_rank_correlation_is_not_misled_by_inputs_that_are_correlated_by_chance():
    rng = np.random.default_rng(5)
    cause = rng.normal(size=40)
    bystander = cause + rng.normal(size=40)  # correlated with the cause by 0.7, without effect
    assert rank_correlation(np.column_stack([cause, bystander]), cause**3) == pytest.approx([1.0, 0.0], abs=1e-9)


def made_study(severities):
    count = len(severities)
    # the second input in pairs that are exchanged: ranks 2 1 4 3 ...
    swapped = np.arange(count) ^ 1 if count % 2 == 0 else np.arange(count)
    inputs = np.column_stack([np.linspace(-0.05, 0.05, count), np.geomspace(0.05, 0.3, count)[swapped]])
    samples = [
        [finding(value), finding(0.2, key="residue"), finding(2.0, key="humidity", status="review")]
        for value in severities
    ]
    return summarise([FLAT, WIDE], inputs, samples, np.tile(np.linspace(0.6, 0.9, count)[:, None], 3), "sheathing")


def test_probabilities_count_the_samples_that_do_not_fail():
    study = made_study([0.5, 0.7, 0.9, 1.1])
    assert float(study["probability_met"].sel(criterion="mould")) == 0.75
    assert float(study["probability_met"].sel(criterion="humidity")) == 1.0  # a review item is met
    assert float(study["probability_met"].sel(criterion=OVERALL)) == 0.75
    # what cannot fail has no part in the overall severity
    assert study["criterion_severity"].sel(criterion=OVERALL).values == pytest.approx([0.5, 0.7, 0.9, 1.1])
    assert study["humidity_band"].sel(quantile=0.5).values == pytest.approx([0.75] * 3)


def test_drivers_are_ranked_and_the_sentence_names_the_first():
    study = made_study([0.5, 0.7, 0.9, 1.1])
    assert drivers(study) == [
        ("indoor.humidity_shift", pytest.approx(1.0)),
        ("site.cp_difference", pytest.approx(0.0)),
    ]
    text = sentence(study)
    assert text.startswith("No criterion fails in 3 of 4 samples (95 % interval")
    assert "Fails most often: mould index in the wall (1 of 4)" in text
    assert (
        "Most influential input: shift of the indoor relative humidity (rank correlation 1.00: higher is worse)" in text
    )
    assert "No single input is influential" in sentence(made_study([0.5, 0.5, 0.5, 0.5]))


def with_pairs(study):
    """The study with results that follow the second input alone, and not in one direction."""
    halves = [[0.2, 0.9, 0.4, 0.7], [0.4, 0.8, 0.2, 0.9]]
    pages = [halves[0], halves[1]]  # exchanging the first input changes nothing, the second all
    second = np.array([*halves[0], *halves[1], *halves[0], *halves[1]])
    rows = np.column_stack([np.tile([0, 1, 1, 0], 4), second])  # the first input without effect
    return with_indices(study, rows, tuple([[finding(v)] for v in part] for part in (*halves, *pages)))


def test_with_indices_the_total_order_ranks_and_is_quoted():
    study = with_pairs(made_study([0.5, 0.7, 0.9, 1.1]))
    assert study["total_order"].sel(criterion="mould").values[0] == 0.0
    total = float(study["total_order"].sel(criterion=OVERALL, input="site.cp_difference"))
    values = np.array([[0.2, 0.9, 0.4, 0.7], [0.4, 0.8, 0.2, 0.9]])
    # by hand: half the mean square of the exchanged differences over the variance of both halves
    assert total == pytest.approx(0.5 * np.mean((values[0] - values[1]) ** 2) / values.var())
    assert drivers(study)[0][0] == "site.cp_difference"
    assert f"(total-order index {total:.2f}, rank correlation 1.00: higher is worse)" in sentence(study)
    assert not study["total_order"].sel(criterion="residue").values.any()


def test_wrong_requests_are_told_before_any_run():
    with pytest.raises(InputError) as caught:
        uncertainty(small_wall(uncertain=(("run.start_humidity", 0.8, 0.5),)), None, samples=2)
    assert "samples" in str(caught.value)
    assert "run.start_humidity" in str(caught.value)


@pytest.fixture(scope="module")
def days():
    import cavity

    return cavity.read_weather(Path(__file__).parents[1] / "climates" / "cool_marine.epw").isel(time=slice(0, 120))


def test_a_study_on_the_model_moves_with_its_inputs_and_reopens(tmp_path, days):
    wall = small_wall(uncertain=(("run.start_humidity", 0.5, 0.9),))
    told = []
    study = uncertainty(wall, days, samples=32, progress=lambda done, total, _: told.append((done, total)))
    runs = 32 + 16 * study.sizes["input"]
    assert sorted(told) == [(n, runs) for n in range(1, runs + 1)]
    assert dict(study.sizes)["sample"] == 32
    # five days in winter: the humidity of the wood is what it started with
    wet = study.sel(criterion="wood_moisture", input="run.start_humidity")
    assert float(wet["influence"]) > 0.95
    assert float(wet["total_order"]) > 0.5
    others = study["total_order"].sel(criterion="wood_moisture").drop_sel(input="run.start_humidity")
    assert float(others.max()) < 0.1
    again = uncertainty(wall, days, samples=32, workers=1, influence=False)
    assert np.array_equal(again["criterion_value"], study["criterion_value"])
    assert "total_order" not in again
    study.to_netcdf(tmp_path / "study.nc", engine="h5netcdf")
    failing = int((study["criterion_status"].sel(criterion=OVERALL) == 2).sum())
    assert study.attrs["sentence"].startswith(f"No criterion fails in {32 - failing} of 32 samples")


def test_a_sample_is_judged_in_every_column(days):
    from cavity.wallfile.model import Column

    wall = small_wall(uncertain=(("run.start_humidity", 0.5, 0.9),))
    two = dataclasses.replace(wall, columns=(*wall.columns, Column("low", 0.0, 1.5)))
    study = uncertainty(two, days, samples=8, influence=False)
    alone = [uncertainty(two, days, samples=8, influence=False, column=name) for name in ("plain", "low")]
    for key in ("mould", "wood_moisture", OVERALL):
        worst = np.maximum(*(each["criterion_severity"].sel(criterion=key).values for each in alone))
        assert np.array_equal(study["criterion_severity"].sel(criterion=key).values, worst)
    assert study.attrs["column"] == "plain, low"


def test_confidence_judges_the_choices_on_the_same_samples_in_every_climate_and_column(days):
    wall = small_wall(
        uncertain=(("run.start_humidity", 0.5, 0.95),), limits=(("wood_moisture", 0.15), ("wood_moisture_review", 0.15))
    )
    later = days.assign_attrs(name="Elsewhere")
    told = []
    found = confidence(
        wall, [days, later], [("slots", 0.02), ("slots", 0.03)], budget=None,
        progress=lambda done, count, _: told.append((done, count)),
    )  # fmt: skip
    assert [(each.opening_set, each.depth, each.samples) for each in found.choices] == [
        ("slots", 0.02, 64), ("slots", 0.03, 64),
    ]  # fmt: skip
    assert told[-1] == (256, 256)
    first = found.choices[0]
    # five days: a sample fails where the wood starts above its limit, and evenly sampled starts say in how many
    assert 0 < first.met < 64
    assert dict(first.missed)["Wood moisture content"] == 64 - first.met
    low, high = wilson(first.met, 64)
    assert f"no criterion fails in {first.met} of 64 samples" in first.sentence
    assert f"interval of the probability {100 * low:.0f} to {100 * high:.0f} %" in first.sentence


def test_confidence_keeps_to_its_budget_and_says_what_to_ask_for(days, monkeypatch):
    clock = iter(range(0, 100000, 10))  # ten seconds between looks at the clock
    monkeypatch.setattr(module, "_now", lambda: float(next(clock)))
    found = confidence(small_wall(), days, [("slots", 0.02)], budget=30.0)
    assert found.choices == ()
    assert "ask for it with --confidence" in found.reason
    clock = iter([0.0] * 5 + [14.0, 28.0])  # 16 samples in 14 s: 32 fit in 30 s, 64 do not
    monkeypatch.setattr(module, "_now", lambda: next(clock))
    found = confidence(small_wall(), days, [("slots", 0.02)], budget=30.0)
    assert found.choices[0].samples == 32 and not found.reason


def test_a_comparison_samples_the_recommended_choice_and_the_runner_up(inland, monkeypatch):
    import cavity

    asked = []

    def stand_in(wall, weathers, choices, **how):
        asked.append((choices, how["columns"], how["budget"], len(weathers)))
        return "sampled"

    monkeypatch.setattr(module, "confidence", stand_in)
    wall = small_wall(run=dataclasses.replace(small_wall().run, start_humidity=0.5))
    compared = cavity.compare(wall, inland)
    assert compared.confidence == "sampled"
    ((choices, columns, budget, climates),) = asked
    assert sorted(choices) == [("slots", 0.02), ("slots", 0.03)]
    assert (columns, budget, climates) == (["plain"], module.BUDGET, 1)
    assert cavity.compare(wall, inland, confidence=True).confidence == "sampled" and asked[-1][2] is None
    assert cavity.compare(wall, inland, confidence=False).confidence is None
    assert cavity.compare(wall, inland.isel(time=slice(0, 96))).confidence is None  # no whole year
    assert len(asked) == 2


@settings(max_examples=20, deadline=None)
@given(st.lists(st.floats(0.0, 3.0), min_size=8, max_size=32))
def test_probability_and_band_stay_in_bounds(severities):
    study = made_study(severities)
    assert ((study["probability_met"] >= 0) & (study["probability_met"] <= 1)).all()
    assert (np.abs(study["influence"]) <= 1 + 1e-12).all()  # rounding
    band = study["value_band"].values
    assert (np.diff(band, axis=0) >= -1e-12).all()


def test_meshes_bring_the_doubt_of_their_law(starter_wall):
    ranges = {each.name: each for each in ranges_of(starter_wall, "fine mesh")}
    assert (ranges["openings.mesh_factor"].low, ranges["openings.mesh_factor"].high) == (0.8, 1.2)
    assert "openings.mesh_factor" not in {each.name for each in ranges_of(starter_wall, "10 mm slots")}
