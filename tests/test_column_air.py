"""Air that enters a segment, by hand: from its neighbour in the direction of flow, or mixed at an opening."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pytest

from cavity.kernels import cavity_air, column_air

OUT_T, OUT_P = 270.0, 400.0


class Column(NamedTuple):
    segment_link: np.ndarray
    segment_bottom: np.ndarray
    segment_top: np.ndarray


class Outdoors(NamedTuple):
    T: float
    p: float


class Work(NamedTuple):
    inlet_T: np.ndarray
    inlet_p: np.ndarray
    outlet_T: np.ndarray
    outlet_p: np.ndarray


def column(*links):
    heights = np.arange(len(links) + 1.0)
    return Column(np.array(links, dtype=np.int64), heights[:-1], heights[1:])


@pytest.mark.parametrize(
    ("flow", "weights"),
    # four segments in two links, openings at 0, half way and the top; weight of each outlet in each inlet, the rest is
    # outdoor air
    [
        ((0.2, 0.2), {1: {0: 1.0}, 2: {1: 1.0}, 3: {2: 1.0}}),  # past a closed joint
        ((0.1, 0.4), {1: {0: 1.0}, 2: {1: 0.25}, 3: {2: 1.0}}),  # 0.3 of outdoors at the joint
        ((0.4, 0.1), {1: {0: 1.0}, 2: {1: 1.0}, 3: {2: 1.0}}),  # 0.3 leave there
        ((-0.2, -0.2), {0: {1: 1.0}, 1: {2: 1.0}, 2: {3: 1.0}}),
        ((-0.4, -0.1), {0: {1: 1.0}, 1: {2: 0.25}, 2: {3: 1.0}}),
        ((-0.1, 0.3), {0: {1: 1.0}, 3: {2: 1.0}}),  # from the joint both ways
        ((0.1, -0.3), {1: {0: 1.0}, 2: {3: 1.0}}),  # both ways to the joint
    ],
)
def test_the_state_of_the_air_that_enters_a_segment(flow, weights):
    given, flow = column(0, 0, 1, 1), np.array(flow)
    outlet_T, outlet_p = OUT_T + np.array([1.0, 2.0, 3.0, 4.0]), OUT_P + np.array([10.0, 20.0, 30.0, 40.0])
    work = Work(np.zeros(4), np.zeros(4), outlet_T, outlet_p)
    for s in range(4):
        column_air.set_inlet(given, flow, s, Outdoors(OUT_T, OUT_P), work)
        parts = weights.get(s, {})
        assert work.inlet_T[s] - OUT_T == pytest.approx(sum(w * (k + 1.0) for k, w in parts.items()), abs=1e-9)
        assert work.inlet_p[s] - OUT_P == pytest.approx(sum(w * 10.0 * (k + 1.0) for k, w in parts.items()), abs=1e-9)
    places = np.zeros(4, dtype=np.int64)
    assert column_air.order_of_flow(given, flow, places) == 4
    found = places.tolist()
    # a segment comes after those whose air it gets
    assert all(found.index(k) < found.index(s) for s, parts in weights.items() for k in parts)
    assert sorted(found) == [0, 1, 2, 3]


def test_still_segments_take_outdoor_air_and_carry_none():
    given, work = column(-1, 0), Work(np.zeros(2), np.zeros(2), np.full(2, 300.0), np.full(2, 900.0))
    column_air.set_inlet(given, np.array([0.1]), 0, Outdoors(OUT_T, OUT_P), work)
    assert (work.inlet_T[0], work.inlet_p[0]) == (OUT_T, OUT_P)
    assert column_air.flow_per_area(given, np.array([0.1]), 0) == 0.0
    assert column_air.flow_per_area(given, np.array([-0.1]), 1) == pytest.approx(0.1)  # over 1 m of height


@pytest.mark.parametrize("speed", [0.0, 1e-9])
def test_both_surfaces_of_a_closed_slot_have_twice_the_coefficient_between_them(speed):
    """By hand: 10 mm of air at rest conducts k / d = 2.5 W/(m2 K) from surface to surface, 5 from each to the mean."""
    T1, T2, d = 284.15, 282.15, 0.010
    still = cavity_air.h_still(T1, T2, d, 3.0, 101325.0)
    h1, h2 = cavity_air.face_coefficients(speed, T1, T2, 283.15, d, 3.0, 101325.0, 0.0)
    assert h1 == pytest.approx(h2, rel=1e-3) and h1 == pytest.approx(still, rel=1e-3)
    assert h1 == pytest.approx(2.0 * 0.0249 / d, rel=0.02)
