"""Cavity air between two faces, films, and the block elimination."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cavity.kernels import balance, block, film, lanes

coefficient = st.floats(0.1, 20.0)
kelvin = st.floats(240.0, 340.0)


@given(coefficient, coefficient, kelvin, kelvin, kelvin, st.floats(1e-6, 1e6))
def test_heat_given_by_the_faces_is_the_heat_gained_by_the_air(h1, h2, T1, T2, T_in, C):
    mean, outlet = balance.exchange(h1, h2, T1, T2, T_in, C)
    given_up = h1 * (T1 - mean) + h2 * (T2 - mean)
    # cancellation: 1e6 W/(m2 K) times round-off of 340 K
    assert given_up == pytest.approx(C * (outlet - T_in), rel=1e-6, abs=(h1 + h2 + C) * 340.0 * 1e-12)


@given(coefficient, coefficient, kelvin, kelvin, kelvin)
def test_still_air_is_in_equilibrium_and_fast_air_keeps_its_inlet_state(h1, h2, T1, T2, T_in):
    equilibrium = (h1 * T1 + h2 * T2) / (h1 + h2)
    assert balance.exchange(h1, h2, T1, T2, T_in, 0.0) == pytest.approx((equilibrium, equilibrium))
    mean, outlet = balance.exchange(h1, h2, T1, T2, T_in, 1e9)
    assert mean == pytest.approx(T_in, abs=1e-4)  # 100 K times 40/1e9, doubled
    assert outlet == pytest.approx(T_in, abs=1e-4)


def test_temperature_along_a_ventilated_cavity_is_the_exponential():
    """rho 1.25, v 0.2, d 0.03, U1 0.5, U2 5, 20 and 0 degC: 1.6141 K at 3 m (closed form, digits as computed)."""
    C = 1.25 * 0.2 * 0.03 * 1006.0 / 3.0
    mean, outlet = balance.exchange(0.5, 5.0, 20.0, 0.0, 0.0, C)
    assert outlet == pytest.approx(1.6141, abs=5e-5)
    equilibrium, length = 1.8182, 1.3718
    assert mean == pytest.approx(equilibrium * (1.0 - length / 3.0 * (1.0 - math.exp(-3.0 / length))), abs=2e-4)


@pytest.mark.parametrize(("d", "dT", "H", "h"), [(0.025, 5.0, 3.0, 1.25), (0.040, 10.0, 3.0, 1.80)])
def test_closed_slot_has_the_coefficient_of_iso_15099(d, dT, H, h):
    """Worked from the formulas of ISO 15099:2003 (memory): Ra 9601 gives 1.25, Ra 7.87e4 gives 1.80 W/(m2 K)."""
    found = balance.still_coefficient(283.0 - dT / 2, 283.0 + dT / 2, d, H, 101325.0)
    assert found == pytest.approx(h, rel=0.01)  # air properties of the two calculations


@pytest.mark.parametrize(("d", "v", "h"), [(0.040, 0.2, 2.55), (0.020, 0.1, 4.76), (0.025, 0.2, 3.89)])
def test_duct_coefficient_is_that_of_the_laminar_entry(d, v, h):
    """Stephan's formula, height 3 m (worked values: Nu 8.15, 7.61, 7.77); tolerance: air properties."""
    re = 1.20 * v * 2.0 * d / 1.81e-5
    nusselt = balance.forced_nusselt(re, 3.0 / (2.0 * d))
    assert nusselt * 0.0250 / (2.0 * d) == pytest.approx(h, rel=0.015)


@given(st.floats(0.0, 3.0), st.floats(0.005, 0.2), st.floats(-10.0, 40.0))
def test_moving_air_exchanges_no_less_than_still_air(v, d, dT):
    still = balance.face_coefficient(0.0, 290.0, 290.0 + dT, d, 3.0, 101325.0)
    assert balance.face_coefficient(v, 290.0, 290.0 + dT, d, 3.0, 101325.0) >= still * (1.0 - 1e-12)
    assert balance.face_coefficient(-v, 290.0, 290.0 + dT, d, 3.0, 101325.0) == pytest.approx(
        balance.face_coefficient(v, 290.0, 290.0 + dT, d, 3.0, 101325.0)
    )


@given(st.floats(0.0, 5.0))
def test_film_mass_and_potential_are_inverse(m):
    assert film.mass(film.potential(m, film.START), film.SCALE, film.START)[0] == pytest.approx(m, rel=1e-12, abs=1e-15)


@given(st.floats(272.0, 274.0))
def test_enthalpy_of_a_freezing_film_has_its_own_slope(T):
    small = 1e-5
    if min(abs(T - 273.15), abs(T - 272.65)) < 2 * small:
        return  # the ends of the freezing range are corners
    slope = (film.enthalpy(T + small)[0] - film.enthalpy(T - small)[0]) / (2 * small)
    assert film.enthalpy(T)[1] == pytest.approx(slope, rel=1e-6)


def test_a_frozen_film_gave_up_the_heat_of_fusion():
    assert film.enthalpy(273.15)[0] - film.enthalpy(272.65)[0] == pytest.approx(3.334e5 + 0.5 * 2060.0, rel=1e-12)


@given(st.integers(1, 30), st.integers(0, 2**31))
def test_block_elimination_agrees_with_a_dense_solution(n, seed):
    rng = np.random.default_rng(seed)
    lower, upper = rng.normal(size=(n, 4)), rng.normal(size=(n, 4))
    diagonal = rng.normal(size=(n, 4))
    diagonal[:, [0, 3]] += np.where(diagonal[:, [0, 3]] < 0, -8.0, 8.0)  # dominant, as a conservation law is
    rhs = rng.normal(size=(n, 2))
    dense = np.zeros((2 * n, 2 * n))
    for i in range(n):
        dense[2 * i : 2 * i + 2, 2 * i : 2 * i + 2] = diagonal[i].reshape(2, 2)
        if i:
            dense[2 * i : 2 * i + 2, 2 * i - 2 : 2 * i] = lower[i].reshape(2, 2)
        if i < n - 1:
            dense[2 * i : 2 * i + 2, 2 * i + 2 : 2 * i + 4] = upper[i].reshape(2, 2)
    expected = np.linalg.solve(dense, rhs.ravel())
    cell, place = in_lanes(np.hstack((lower, diagonal, upper, rhs)))
    assert block.solve(cell, place, 0) == 0
    found = np.column_stack([cell[place + block.RIGHT + k * lanes.LANES] for k in (0, 1)])
    np.testing.assert_allclose(found.ravel(), expected, rtol=1e-9, atol=1e-11)


def in_lanes(system):
    """Return (cells, places) of a system written row by row."""
    span = block.COLUMNS * lanes.LANES
    place = lanes.places(len(system), span)
    cell = np.zeros((lanes.rows_of(len(system)) + 2) * span)
    for column in range(block.COLUMNS):
        cell[place + column * lanes.LANES] = system[:, column]
    return cell, place


@given(st.integers(1, 200))
def test_neighbours_stand_in_the_same_lane_or_at_its_ends(n):
    span = 5 * lanes.LANES
    place, rows = lanes.places(n, span), lanes.rows_of(n)
    assert len(set(place.tolist())) == n
    assert place.min() >= span
    assert place.max() < (rows + 1) * span
    row, lane = np.divmod(place, span)
    last = row[:-1] == rows
    assert (np.diff(row)[~last] == 1).all()
    assert (np.diff(lane)[~last] == 0).all()
    assert (row[1:][last] == 1).all()
    assert (np.diff(lane)[last] == 1).all()


@given(st.floats(-40.0, 30.0))
def test_exponential_from_sums_and_products(x):
    assert lanes.exp(x) == pytest.approx(math.exp(x), rel=1e-13 if x < 13.0 else 3e-10, abs=5e-16)


def test_block_elimination_reports_a_singular_block():
    system = np.zeros((1, 14))
    system[:, 12:] = 1.0
    assert block.solve(*in_lanes(system), 0) == 1
