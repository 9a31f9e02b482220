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
from cavity.study.uncertainty import (
    OVERALL,
    Range,
    drivers,
    ranges_of,
    rank_correlation,
    sample_inputs,
    sentence,
    summarise,
    uncertainty,
    wilson,
)
from cavity.wallfile.model import Rail

FLAT = Range("indoor.humidity_shift", -0.05, 0.05, "test")
WIDE = Range("site.pressure_difference", 0.05, 0.3, "test")


def test_samples_fill_every_range_evenly():
    values = sample_inputs([FLAT, WIDE], 64, seed=3)
    assert values.shape == (64, 2)
    # a Sobol sequence of 2^6 points has exactly one in each 64th of every axis
    share = np.sort((values[:, 0] - FLAT.low) / (FLAT.high - FLAT.low))
    assert np.array_equal(np.floor(share * 64).astype(int), np.arange(64))
    log_share = np.sort(np.log(values[:, 1] / WIDE.low) / math.log(WIDE.high / WIDE.low))
    assert np.array_equal(np.floor(log_share * 64).astype(int), np.arange(64))


def test_samples_are_raised_to_a_power_of_two_and_repeat_with_the_seed():
    assert len(sample_inputs([FLAT], 9)) == 16
    assert np.array_equal(sample_inputs([FLAT, WIDE], 8, seed=1), sample_inputs([FLAT, WIDE], 8, seed=1))
    assert not np.array_equal(sample_inputs([FLAT, WIDE], 8, seed=1), sample_inputs([FLAT, WIDE], 8, seed=2))


def test_ranges_of_the_wall_file_win_and_inputs_the_wall_lacks_are_left_out():
    wall = small_wall(uncertain=(("wetting.rain_share", 0.0, 0.05),))
    found = {each.name: each for each in ranges_of(wall)}
    assert (found["wetting.rain_share"].high, found["wetting.rain_share"].origin) == (0.05, "wall file")
    assert "rail.gap_factor" not in found
    assert "wetting.leak_flow" not in found
    railed = small_wall(rails=(Rail("rail", (1.0,), 0.01, 0.6),))
    assert "rail.gap_factor" in {each.name for each in ranges_of(railed)}
    leaky = small_wall(wetting=dataclasses.replace(wall.wetting, leak_flow=1e-5, leak_layer=1))
    leak = next(each for each in ranges_of(leaky) if each.name == "wetting.leak_flow")
    assert (leak.low, leak.high) == (0.5e-5, 2e-5)


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


def test_rank_correlation_by_hand_and_against_scipy():
    from scipy.stats import spearmanr

    x = np.array([1.0, 2.0, 3.0, 4.0])
    inputs = np.column_stack([x, -x, np.ones(4), [2.0, 1.0, 4.0, 3.0]])
    # ranks 2 1 4 3 against 1 2 3 4: 1 - 6 x 4 / (4 x 15) = 0.6
    assert rank_correlation(inputs, x**3) == pytest.approx([1.0, -1.0, 0.0, 0.6])
    rng = np.random.default_rng(5)
    many, result = rng.normal(size=(50, 3)), rng.normal(size=50).round(1)
    for column, found in enumerate(rank_correlation(many, result)):
        assert found == pytest.approx(spearmanr(many[:, column], result).statistic, abs=1e-12)


def made_study(severities):
    count = len(severities)
    inputs = np.column_stack([np.linspace(-0.05, 0.05, count), np.geomspace(0.05, 0.3, count)[::-1]])
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
        ("site.pressure_difference", pytest.approx(-1.0)),
    ]
    text = sentence(study)
    assert text.startswith("In 3 of 4 samples no criterion fails")
    assert "Most often missed: mould (1 of 4)" in text
    assert "shift of the indoor relative humidity (rank correlation 1.00; more of it is worse)" in text
    assert "No single input drives" in sentence(made_study([0.5, 0.5, 0.5, 0.5]))


def test_wrong_requests_are_told_before_any_run():
    with pytest.raises(InputError) as caught:
        uncertainty(small_wall(uncertain=(("run.start_humidity", 0.8, 0.5),)), None, samples=2)
    assert "samples" in str(caught.value)
    assert "run.start_humidity" in str(caught.value)


def test_a_study_on_the_model_moves_with_its_inputs_and_reopens(tmp_path):
    import cavity

    weather = cavity.read_weather(Path(__file__).parents[1] / "climates" / "cool_marine.epw").isel(time=slice(0, 120))
    wall = small_wall(uncertain=(("run.start_humidity", 0.5, 0.9),))
    told = []
    study = uncertainty(wall, weather, samples=8, progress=lambda done, total, _: told.append((done, total)))
    assert sorted(told) == [(n, 8) for n in range(1, 9)]
    assert dict(study.sizes)["sample"] == 8
    # five days in winter: the humidity of the wood is what it started with
    wet = study["influence"].sel(criterion="wood_moisture", input="run.start_humidity")
    assert float(wet) > 0.95
    again = uncertainty(wall, weather, samples=8, workers=1)
    assert np.array_equal(again["criterion_value"], study["criterion_value"])
    study.to_netcdf(tmp_path / "study.nc", engine="h5netcdf")
    assert study.attrs["sentence"].startswith("In 8 of 8 samples")


@settings(max_examples=20, deadline=None)
@given(st.lists(st.floats(0.0, 3.0), min_size=8, max_size=32))
def test_probability_and_band_stay_in_bounds(severities):
    study = made_study(severities)
    assert ((study["probability_met"] >= 0) & (study["probability_met"] <= 1)).all()
    assert (np.abs(study["influence"]) <= 1 + 1e-12).all()  # rounding
    band = study["value_band"].values
    assert (np.diff(band, axis=0) >= -1e-12).all()
