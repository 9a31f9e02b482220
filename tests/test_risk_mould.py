"""The mould model against values of the published equations, its curves at constant climate, and its decline.

Sources: Hukka & Viitanen, Wood Sci. Technol. 33 (1999) 475-485; Ojanen et al., Buildings XI (2010); coefficients from
memory. The expected numbers were computed once from those equations outside this code, to the digits shown.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cavity.kernels.mould import critical_humidity, largest_index, weeks_to_start
from cavity.published.risk_mould import DAYS, INDEX  # worked apart from this program, as its source says
from cavity.risk.mould import CLASSES, mould_index

ICE = 273.15
PRINTED = 0.5  # units of the last printed digit


@pytest.mark.parametrize(
    ("celsius", "expected"), [(0, 100.0), (1, 97.03), (5, 88.02), (10, 82.03), (15, 80.04), (20, 80.04), (25, 80.0)]
)
def test_critical_humidity_follows_the_cubic_of_1999(celsius, expected):
    assert critical_humidity(float(celsius), 80.0) == pytest.approx(expected, abs=PRINTED * 0.01)


@pytest.mark.parametrize(
    ("celsius", "humidity", "weeks", "end"),
    [
        (5, 97, 3.808, 5.124), (10, 90, 6.732, 3.711), (10, 97, 2.377, 5.443), (20, 85, 9.300, 2.616),
        (20, 90, 4.202, 3.995), (20, 97, 1.484, 5.504), (22, 97, 1.390, 5.505),
    ],
)  # fmt: skip
def test_weeks_to_start_and_largest_index_of_pine(celsius, humidity, weeks, end):
    assert weeks_to_start(float(celsius), float(humidity), 0.0) == pytest.approx(weeks, abs=PRINTED * 0.001)
    assert largest_index(float(celsius), float(humidity), 80.0, 1.0, 7.0, 2.0) == pytest.approx(
        end, abs=PRINTED * 0.001
    )


@pytest.mark.parametrize(
    ("sensitivity", "celsius", "humidity", "expected"),
    INDEX,
)
def test_index_in_constant_climate_after_28_56_84_168_364_days(sensitivity, celsius, humidity, expected):
    hours = 364 * 24
    index, _ = mould_index(
        np.full((hours, 1), ICE + celsius), np.full((hours, 1), humidity / 100.0), [sensitivity], decline=1.0
    )
    found = index[np.array(DAYS) * 24 - 1, 0]
    # one unit of the last printed digit: hourly steps on both sides
    assert found == pytest.approx(expected, abs=0.001)


@pytest.mark.parametrize(("dry_hours", "expected"), [(24, -0.00798), (48, -0.02399), (720, -0.4722)])
@pytest.mark.parametrize("decline", [1.0, 0.25, 0.1])
def test_decline_of_pine_is_fast_then_none_then_slow(dry_hours, expected, decline):
    wet = 8 * 7 * 24
    temperature = np.full((wet + dry_hours, 1), ICE + 22.0)
    humidity = np.concatenate([np.full((wet, 1), 0.97), np.full((dry_hours, 1), 0.5)])
    index, _ = mould_index(temperature, humidity, ["very sensitive"], decline=decline)
    assert index[-1, 0] - index[wet - 1, 0] == pytest.approx(decline * expected, abs=5e-5)  # printed to 4 digits


def test_no_growth_in_frost_nor_in_heat_nor_below_critical_humidity():
    for celsius, humidity in ((-5.0, 1.0), (0.0, 1.0), (60.0, 1.0), (20.0, 0.79)):
        index, peak = mould_index(
            np.full((1000, 1), ICE + celsius), np.full((1000, 1), humidity), ["very sensitive"], years=2
        )
        assert not index.any()
        assert not peak.any()


def test_repeating_a_year_is_the_same_as_a_series_twice_as_long():
    rng = np.random.default_rng(3)
    temperature, humidity = ICE + rng.uniform(-5, 30, (500, 4)), rng.uniform(0.6, 1.0, (500, 4))
    names = list(CLASSES)
    twice, peak = mould_index(temperature, humidity, names, years=2)
    long, whole = mould_index(np.concatenate([temperature] * 2), np.concatenate([humidity] * 2), names)
    assert np.array_equal(twice, long[500:])
    assert np.array_equal(peak.max(axis=0), whole[0])


def test_compiled_and_plain_kernel_agree():
    from cavity.kernels import mould as kernel

    rng = np.random.default_rng(4)
    celsius, humid = rng.uniform(-5, 30, (300, 4)), rng.uniform(60, 100, (300, 4))
    classes = np.array(list(CLASSES.values()))
    results = []
    for run in (kernel.mould_index, kernel.mould_index.py_func):
        index, peak = np.zeros((300, 4)), np.zeros((3, 4))
        taken, work = np.zeros(4, np.int64), np.zeros((300, 2))
        run(celsius, humid, classes, 0.5, 3, 0.0, index, peak, taken, work)
        results.append((index, peak))
    assert results[0][0] == pytest.approx(results[1][0], abs=1e-12)  # rounding of exp and log
    assert results[0][0].max() > 0.1


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(list(CLASSES)),
    st.floats(0.5, 45.0),
    st.floats(0.5, 1.0),
    st.floats(0.0, 0.3),
)
def test_a_more_humid_constant_climate_never_gives_less_mould(sensitivity, celsius, humidity, more):
    pair = np.array([[humidity, min(humidity + more, 1.0)]])
    index, _ = mould_index(np.full((2000, 2), ICE + celsius), np.repeat(pair, 2000, axis=0), [sensitivity] * 2)
    assert index[-1, 0] <= index[-1, 1] + 1e-12  # rounding
    assert index.min() >= 0.0
    assert index.max() <= 6.0


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_faster_decline_never_gives_more_mould(seed, one, other):
    rng = np.random.default_rng(seed)
    temperature, humidity = ICE + rng.uniform(0, 30, (400, 1)), np.repeat(rng.uniform(0.6, 1.0, (8, 1)), 50, axis=0)
    slow, _ = mould_index(temperature, humidity, ["very sensitive"], decline=min(one, other))
    fast, _ = mould_index(temperature, humidity, ["very sensitive"], decline=max(one, other))
    # growth steps from different indices may cross by at most one hour's growth, 1/(168 x 1.4 weeks) x k1 2
    assert np.all(fast <= slow + 0.01)
