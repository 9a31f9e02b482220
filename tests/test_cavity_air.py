"""Cavity air between two faces, films, and the block elimination."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cavity.kernels import block, cavity_air, film, lanes

coefficient = st.floats(0.1, 20.0)
kelvin = st.floats(240.0, 340.0)


@given(coefficient, coefficient, kelvin, kelvin, kelvin, st.floats(1e-6, 1e6))
def test_heat_given_by_the_faces_is_the_heat_gained_by_the_air(h1, h2, T1, T2, T_in, C):
    mean, outlet = cavity_air.exchange(h1, h2, T1, T2, T_in, C)
    given_up = h1 * (T1 - mean) + h2 * (T2 - mean)
    # cancellation: 1e6 W/(m2 K) times round-off of 340 K
    assert given_up == pytest.approx(C * (outlet - T_in), rel=1e-6, abs=(h1 + h2 + C) * 340.0 * 1e-12)


@given(coefficient, coefficient, kelvin, kelvin, kelvin)
def test_still_air_is_in_equilibrium_and_fast_air_keeps_its_inlet_state(h1, h2, T1, T2, T_in):
    equilibrium = (h1 * T1 + h2 * T2) / (h1 + h2)
    assert cavity_air.exchange(h1, h2, T1, T2, T_in, 0.0) == pytest.approx((equilibrium, equilibrium))
    mean, outlet = cavity_air.exchange(h1, h2, T1, T2, T_in, 1e9)
    assert mean == pytest.approx(T_in, abs=1e-4)  # 100 K times 40/1e9, doubled
    assert outlet == pytest.approx(T_in, abs=1e-4)


def test_temperature_along_a_ventilated_cavity_is_the_exponential():
    """rho 1.25, v 0.2, d 0.03, U1 0.5, U2 5, 20 and 0 degC: 1.6141 K at 3 m (closed form, digits as computed)."""
    C = 1.25 * 0.2 * 0.03 * 1006.0 / 3.0
    mean, outlet = cavity_air.exchange(0.5, 5.0, 20.0, 0.0, 0.0, C)
    assert outlet == pytest.approx(1.6141, abs=5e-5)
    equilibrium, length = 1.8182, 1.3718
    assert mean == pytest.approx(equilibrium * (1.0 - length / 3.0 * (1.0 - math.exp(-3.0 / length))), abs=2e-4)


@pytest.mark.parametrize(("d", "dT", "H", "h"), [(0.025, 5.0, 3.0, 1.25), (0.040, 10.0, 3.0, 1.80)])
def test_closed_slot_has_the_coefficient_of_iso_15099(d, dT, H, h):
    """Worked from the formulas of ISO 15099:2003 (memory): Ra 9601 gives 1.25, Ra 7.87e4 gives 1.80 W/(m2 K)."""
    found = 0.5 * cavity_air.h_still(283.0 - dT / 2, 283.0 + dT / 2, d, H, 101325.0)  # from face to face
    assert found == pytest.approx(h, rel=0.01)  # air properties of the two calculations


@pytest.mark.parametrize(("d", "v", "h"), [(0.040, 0.2, 2.55), (0.020, 0.1, 4.76), (0.025, 0.2, 3.89)])
def test_duct_coefficient_is_that_of_the_laminar_entry(d, v, h):
    """Stephan's formula, height 3 m (worked values: Nu 8.15, 7.61, 7.77); tolerance: air properties."""
    re = 1.20 * v * 2.0 * d / 1.81e-5
    nusselt = cavity_air.forced_nusselt(re, 3.0 / (2.0 * d), 1.0, 0.0)
    assert nusselt * 0.0250 / (2.0 * d) == pytest.approx(h, rel=0.015)


def test_developed_channel_with_one_insulated_plate_is_between_the_textbook_values():
    """One plate warm, the other insulated, long channel: 4.86 at constant temperature, 5.39 at constant flux (VDI, from
    memory). By superposition: the insulated plate is colder than the air, and the two shares add up."""
    common, opposed = 7.55, 4.0  # Nu of the two cases that are added
    t = -(common - opposed) / (common + opposed)  # excess of the insulated plate for 1 K of the warm one
    assert 4.86 <= common * (1.0 + t) / 2.0 + opposed * (1.0 - t) / 2.0 <= 5.39
    # per plate, with air and insulated plate alike: the mean, 10 % above the range
    assert cavity_air.forced_nusselt(100.0, 1e5, 0.5, 0.0) == pytest.approx(5.775, rel=1e-4)


CAPACITY = st.one_of(st.just(0.0), st.floats(1e-6, 1e4))


@given(coefficient, coefficient, kelvin, kelvin, kelvin, kelvin, CAPACITY, st.floats(0.0, 1e3))
def test_heat_of_the_faces_leaves_with_the_air_and_by_exchange_with_outdoors(h1, h2, T1, T2, T_in, T_out, C, c):
    h, faces = h1 + h2, (h1 * T1 + h2 * T2) / (h1 + h2)
    mean_share, part, outlet_share, beyond = cavity_air.inlet_weight_mixing(h, C, c)
    mean = faces + (T_in + part * (T_out - T_in) - faces) * mean_share
    outlet = faces + (T_in + beyond * (T_out - T_in) - faces) * outlet_share
    given_up = h * (faces - mean)
    assert given_up == pytest.approx(C * (outlet - T_in) + c * (mean - T_out), rel=1e-6, abs=(h + C + c) * 1e-9)
    if C == 0.0:  # still air: between faces and outdoors by their conductances
        assert mean == pytest.approx((h * faces + c * T_out) / (h + c), rel=1e-9)
    assert cavity_air.inlet_weight_mixing(h, C, 0.0)[::2] == cavity_air.inlet_weight(h, C)


def test_exchange_through_one_vent_is_that_of_the_formula():
    """Warren 1977 (from memory), by hand: 0.025 x 0.001 m2/m x 4 m/s, and 0.2 A sqrt(g h dT/T) in calm."""
    assert cavity_air.single_vent(0.001, 0.001, 4.0, 290.0, 285.0) == pytest.approx(1e-4, rel=1e-12)
    calm = 0.6 / 3.0 * 0.04 * math.sqrt(9.80665 * 0.04 * 10.0 / 280.0)
    assert cavity_air.single_vent(0.04, 0.04, 0.0, 290.0, 280.0) == pytest.approx(calm, rel=1e-12)


CURVE = np.log([np.logspace(-3, 3, 31), 0.01 * np.logspace(-3, 3, 31) ** 0.5])


@given(st.floats(-3.0, 3.0), st.floats(0.0, 3.0), st.floats(0.1, 20.0), st.floats(1.0, 5.0))
def test_gusts_add_nothing_without_fluctuation_and_no_less_with_more(drive, sigma, speed, more):
    """Of either sign alike; a more open column (flow times `more` at every drive) exchanges no less."""
    assert cavity_air.gust_exchange(CURVE, drive, 0.0, speed, 0.2) == 0.0
    one = cavity_air.gust_exchange(CURVE, drive, sigma, speed, 0.2)
    assert one >= 0.0
    assert cavity_air.gust_exchange(CURVE, -drive, sigma, speed, 0.2) == pytest.approx(one, rel=1e-9, abs=1e-15)
    assert cavity_air.gust_exchange(CURVE + np.log([[1.0], [more]]), drive, sigma, speed, 0.2) >= one * (1.0 - 1e-9)


def test_gusts_without_mean_drive_exchange_the_mean_of_the_normal_distribution():
    """Flow 0.01 sqrt(dp), deviation 1 Pa: E|x|^(1/2) = 2^(1/4) Gamma(3/4) / sqrt(pi) = 0.822; slow wind, nothing turns.

    Six points are 9 % above: the root is steep at rest.
    """
    found = cavity_air.gust_exchange(CURVE, 0.0, 1.0, 1e-3, 0.2)
    assert found == pytest.approx(0.01 * 2**0.25 * math.gamma(0.75) / math.sqrt(math.pi), rel=0.1)
    # below the first point flow and drive are in proportion: E|x| = sqrt(2 / pi)
    slight = cavity_air.gust_exchange(CURVE, 0.0, 1e-5, 1e-9, 0.2)
    assert slight == pytest.approx(0.01 * 1e-3**0.5 * 1e-5 / 1e-3 * math.sqrt(2.0 / math.pi), rel=0.1)
    # a gust shorter than the time of renewal carries on in proportion only
    short = cavity_air.gust_exchange(CURVE, 0.0, 1.0, 60.0, 10.0)
    assert short == pytest.approx(found * found / 10.0, rel=1e-9)


PRESSURE = 101325.0
depths = st.floats(0.005, 0.2)


def alone(T1, T2, d, H=3.0):
    return cavity_air.h_still(T1, T2, d, H, PRESSURE)


@given(depths, st.floats(-40.0, 40.0), st.floats(-20.0, 20.0), st.sampled_from([-1.0, 1.0]))
def test_without_flow_the_closed_slot_is_left_from_either_side(d, dT, off, sign):
    T1, T2 = 290.0 + dT, 290.0
    h = cavity_air.face_coefficients(0.0, T1, T2, 290.0 + off, d, 3.0, PRESSURE, 0.0)
    assert h == (alone(T1, T2, d), alone(T1, T2, d))
    # the air that stands between two faces has the mean of them; a speed of a tenth of a millimetre a minute
    slow = cavity_air.face_coefficients(sign * 2e-6, T1, T2, 0.5 * (T1 + T2), d, 3.0, PRESSURE, 0.0)
    assert slow == pytest.approx(h, rel=0.02)


@given(st.floats(1e-6, 3.0), depths, st.floats(-30.0, 40.0), st.floats(-30.0, 40.0), st.floats(-30.0, 40.0))
def test_faces_and_direction_can_be_exchanged(v, d, a, b, air):
    T1, T2, T = 290.0 + a, 290.0 + b, 290.0 + air
    h1, h2 = cavity_air.face_coefficients(v, T1, T2, T, d, 3.0, PRESSURE, 7.0)
    assert cavity_air.face_coefficients(-v, T1, T2, T, d, 3.0, PRESSURE, 7.0) == (h1, h2)
    assert cavity_air.face_coefficients(v, T2, T1, T, d, 3.0, PRESSURE, 7.0) == pytest.approx((h2, h1), rel=1e-12)
    # never below conduction across the gap (2 k/d at either face) nor above the largest law that enters
    k = 0.020  # W/(m K), that of air at 225 K: below all here
    assert min(h1, h2) > 2.0 * k / d * 0.98
    assert (h1 - h2) * (abs(T1 - T) - abs(T2 - T)) >= -1e-9  # the face that is farther from the air gives more


@given(st.floats(-0.5, 0.5), depths, st.floats(-30.0, 30.0), st.floats(-30.0, 30.0))
def test_coefficients_are_continuous_in_the_speed(v, d, a, b):
    """A step of a ten thousandth of a m/s, through reversal too; transition to turbulence is the steepest part."""
    T1, T2, T = 290.0 + a, 290.0 + b, 290.0
    one = cavity_air.face_coefficients(v, T1, T2, T, d, 3.0, PRESSURE, 7.0)
    other = cavity_air.face_coefficients(v + 1e-7, T1, T2, T, d, 3.0, PRESSURE, 7.0)
    assert other == pytest.approx(one, rel=2e-3)


@given(st.floats(0.5, 60.0), st.floats(1.0, 12.0))
def test_a_wide_gap_has_the_law_of_the_free_plate(dT, H):
    """Faces equal, 1 m apart, so much air that it stays cold: 0.59 Ra^(1/4) or Churchill & Chu; 1.31 dT^(1/3) of ASHRAE
    (from memory) within a fifth where turbulent."""
    h, _ = cavity_air.face_coefficients(0.01, 293.15 + dT, 293.15 + dT, 293.15, 1.0, H, PRESSURE, 0.0)
    T = 293.15 + 0.5 * dT
    nu2 = (1.81e-5 / 1.2 * (T / 293.15) ** 1.7) ** 2
    rayleigh = 0.71 * 9.81 / T * dT * H**3 / nu2
    assert h == pytest.approx(0.59 * rayleigh**0.25 * 0.0257 * (T / 293.15) ** 0.8 / H, rel=0.05)
    fast, _ = cavity_air.face_coefficients(0.05, 293.15 + dT, 293.15 + dT, 293.15, 1.0, H, PRESSURE, 0.0)  # Re 6600
    assert fast >= 0.98 * h  # short gaps: the laminar entry may lie just above the turbulent law
    if rayleigh > 1e10:
        assert fast == pytest.approx(1.31 * dT ** (1.0 / 3.0), rel=0.2)


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
    place = lanes.offsets(len(system), span)
    cell = np.zeros((lanes.rows_of(len(system)) + 2) * span)
    for column in range(block.COLUMNS):
        cell[place + column * lanes.LANES] = system[:, column]
    return cell, place


@given(st.integers(1, 200))
def test_neighbours_stand_in_the_same_lane_or_at_its_ends(n):
    span = 5 * lanes.LANES
    place, rows = lanes.offsets(n, span), lanes.rows_of(n)
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


def test_an_exchange_too_small_to_count_is_none():
    assert cavity_air.inlet_weight_mixing(2.0, 0.0, 5e-324) == cavity_air.inlet_weight_mixing(2.0, 0.0, 0.0)
    assert cavity_air.inlet_weight_mixing(2.0, 3.0, 1e-9) == pytest.approx(
        cavity_air.inlet_weight_mixing(2.0, 3.0, 0.0), abs=1e-8
    )


@given(st.floats(0.0, 1.0))
def test_logarithm_from_sums_and_products(x):
    assert lanes.log_one_plus(x) == pytest.approx(math.log1p(x), rel=3e-14, abs=1e-300)


@given(st.floats(1e-9, 50.0), st.just(0.0) | st.floats(1e-9, 50.0))
def test_two_laws_join_by_their_cubes(a, b):
    assert cavity_air.joined_by_cubes(a, b) == pytest.approx((a**3 + b**3) ** (1.0 / 3.0), rel=1e-14)
    assert cavity_air.joined_by_cubes(b, a) == cavity_air.joined_by_cubes(a, b)


def test_exchange_through_one_vent_goes_by_its_area():
    assert cavity_air.single_vent(0.01, 0.001, 4.0, 290.0, 290.0) == pytest.approx(0.025 * 4.0 * 0.01, rel=1e-12)


def test_gusts_too_weak_to_turn_the_flow_exchange_nothing():
    assert cavity_air.gust_exchange(CURVE, 1.0, 0.1, 5.0, 0.2) == pytest.approx(0.0, abs=1e-12)
    assert cavity_air.gust_exchange(CURVE, 0.1, 1.0, 5.0, 0.2) > 1e-6
