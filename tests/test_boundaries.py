"""What acts on a line of the wall: each boundary by hand from docs/theory.md, its slopes against differences."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from test_wall_kernel import edge

from cavity.kernels import boundaries, moist_air, potential, year, year_arrays
from cavity.kernels.wall_section import Surface

SIGMA, C_A, C_V, C_W, L_V = 5.670374419e-8, 1006.0, 1860.0, 4184.0, 2.501e6
kelvin = st.floats(255.0, 320.0).filter(lambda T: abs(T - 273.15) > 0.01)  # the slope of E1 jumps at 0 degC
humid = st.floats(-1.0, 6.0)  # potential


def surface(T, u):
    """A surface with the slopes of its vapour pressure (E1, E7)."""
    log_saturation, by_T = moist_air.log_saturation(T)
    a = math.exp(-u) * 293.15 / T
    p = math.exp(log_saturation - a)
    return Surface(T, p, p * (by_T + a / T), p * a)


def vapour(T):
    return L_V + C_V * (T - 273.15)


def test_outdoors_e53_by_hand():
    """Convection 15 W/(m2 K) at -10 K, 350 W/m2 gained, grey emission at 282 K, vapour outwards, rain of 8.85 degC."""
    at = surface(282.0, 1.0)
    bc = edge(T_out=282.0, h_out=15.0, p_out=600.0, beta_out=1e-7, rain=1e-4)
    found = boundaries.outdoors(bc._replace(T_out=272.0), at)
    assert found.liquid == 1e-4
    assert found.vapour == pytest.approx(1e-7 * (600.0 - at.p), rel=1e-12)
    assert found.heat == pytest.approx(-150.0 + 350.0 - 0.9 * SIGMA * 282.0**4, rel=1e-12)
    assert found.energy == pytest.approx(found.heat + found.vapour * vapour(282.0), rel=1e-12)  # rain at 0 degC
    mild = boundaries.outdoors(bc, at)
    assert mild.energy - mild.heat - mild.vapour * vapour(282.0) == pytest.approx(1e-4 * C_W * 8.85, rel=1e-9)
    dew = boundaries.outdoors(bc._replace(T_out=290.0, p_out=1800.0), at)
    assert dew.vapour > 0.0
    assert dew.energy - dew.heat == pytest.approx(dew.vapour * vapour(290.0) + 1e-4 * C_W * 16.85, rel=1e-9)


@given(kelvin, st.floats(5.0, 40.0), st.floats(100.0, 1200.0))
def test_no_heat_enters_a_surface_at_the_sol_air_temperature_e53(T_out, h_out, gain):
    """By value and slope of E53 at the outdoor temperature; vapour in equilibrium, no rain."""
    at = surface(T_out, 1.0)
    bc = edge(T_out=T_out, h_out=h_out, p_out=at.p, beta_out=0.0, rain=0.0)._replace(absorbed_radiation=gain)
    inflow = boundaries.outdoors(bc, at)
    there = boundaries.sol_air_temperature(T_out, h_out, gain, bc.emissivity)
    assert inflow.heat + inflow.slopes.E_T * (there - T_out) == pytest.approx(0.0, abs=1e-9 * (abs(inflow.heat) + 1.0))


def test_an_hour_is_taken_in_two_steps_where_the_sol_air_temperature_jumps_or_a_film_may_end():
    """Sun that falls counts the more, the calmer it is."""
    zeros, hours = np.zeros(6), 6
    forcing = year_arrays.Forcing(
        T_out=np.array([280.0, 280.0, 284.0, 284.0, 280.0, 280.0]), p_out=zeros, pressure=zeros,
        absorbed_radiation=np.array([600.0, 600.0, 600.0, 540.0, 600.0, 540.0]),
        h_out=np.array([25.0, 25.0, 25.0, 25.0, 10.0, 10.0]), wind=np.zeros((hours, 2)), speed=zeros, gust=zeros,
        rain=zeros, rain_in=zeros, T_in=zeros, p_in=zeros, leak=zeros, emissivity=0.9, h_in=7.7, beta_in=0.0,
        leak_node=0, rain_node=0,
    )  # fmt: skip
    film = np.arange(4)
    readings = year_arrays.Readings(node=film, layer=film, film=film, plane=film)
    problem = year_arrays.Problem(None, None, forcing, readings)
    dry, wet = (year_arrays.State(film, film, np.full((1, 4), W), film, film, film, film) for W in (0.0, 1e-3))
    pieces = getattr(year._pieces, "py_func", year._pieces)
    assert pieces(problem, dry, 1, 0, 5) == 1
    assert pieces(problem, dry, 2, 1, 5) == 2  # air 4 K warmer, in wind: 4 (25 / 29.6) = 3.4 K
    assert pieces(problem, dry, 3, 2, 5) == 1  # 60 W/m2 less sun in wind: 60 / (25 + 4.7) = 2 K
    assert pieces(problem, dry, 5, 4, 5) == 2  # the same in a calm: 60 / (10 + 4.5) = 4.1 K
    assert pieces(problem, dry, 1, 0, 2) == 2  # the start settles
    assert pieces(problem, wet, 1, 0, 5) == 2


def test_room_e54_by_hand():
    at = surface(290.0, 1.0)
    found = boundaries.room(edge(T_in=293.0, p_in=2000.0, h_in=7.7, beta_in=2.5e-8), at)
    assert found.heat == pytest.approx(7.7 * 3.0, rel=1e-12)
    assert found.vapour == pytest.approx(2.5e-8 * (2000.0 - at.p), rel=1e-12)
    assert found.vapour > 0.0
    assert found.energy == pytest.approx(found.heat + found.vapour * vapour(293.0), rel=1e-12)
    assert found.liquid == 0.0


def test_leak_and_rain_behind_e55_by_hand():
    """1e-5 kg/(m2 s) of room air, 20 degC and 1200 Pa at a plane of 275 K; rain behind is liquid of the outdoor air."""
    at = surface(275.0, 2.0)
    bc = edge(T_in=293.15, p_in=1200.0, leak=1e-5, pressure=95000.0, rain_in=2e-6, T_out=283.15)
    found = boundaries.leak(bc, at)
    assert found.heat == pytest.approx(1e-5 * C_A * 18.15, rel=1e-12)
    assert found.vapour == pytest.approx(1e-5 * 0.62195 / 95000.0 * (1200.0 - at.p), rel=1e-4)
    assert found.energy == pytest.approx(found.heat + found.vapour * vapour(293.15), rel=1e-12)
    rain = boundaries.rain_behind(bc)
    assert (rain.liquid, rain.vapour, rain.heat) == (2e-6, 0.0, 0.0)
    assert rain.energy == pytest.approx(2e-6 * C_W * 10.0, rel=1e-9)
    assert boundaries.rain_behind(bc._replace(T_out=263.15)).energy == 0.0
    assert boundaries.leak(bc._replace(leak=0.0), at).energy == 0.0


def test_cavity_e31_e32_e37_by_hand():
    """Mean of the air from both faces and the inlet; radiation between grey planes; 7e-9 h for vapour."""
    back, front = surface(280.0, 1.5), surface(288.0, 2.5)
    bc = edge(
        h_cladding=2.0, h_wall=3.0, inlet_weight_heat=0.4, inlet_weight_vapour=0.5, T_air=275.0, p_air=700.0,
        emissivity_cavity=0.8,
    )  # fmt: skip
    found = boundaries.cavity(bc, back, front)
    mean = 0.4 * 275.0 + 0.6 * (2.0 * 280.0 + 3.0 * 288.0) / 5.0
    p_mean = 0.5 * 700.0 + 0.5 * (2.0 * back.p + 3.0 * front.p) / 5.0
    assert [found.T, found.p] == pytest.approx([mean, p_mean], rel=1e-12)
    radiation = 0.8 * SIGMA * (280.0**4 - 288.0**4)
    assert found.convection_back == pytest.approx(2.0 * (280.0 - mean), rel=1e-9)
    assert found.convection_front == pytest.approx(3.0 * (288.0 - mean), rel=1e-9)
    assert found.back.heat == pytest.approx(-2.0 * (280.0 - mean) - radiation, rel=1e-9)
    assert found.front.heat == pytest.approx(-3.0 * (288.0 - mean) + radiation, rel=1e-9)
    assert found.back.vapour == pytest.approx(-7e-9 * 2.0 * (back.p - p_mean), rel=1e-9)
    assert found.front.vapour == pytest.approx(-7e-9 * 3.0 * (front.p - p_mean), rel=1e-9)
    for inflow, T in ((found.back, 280.0), (found.front, 288.0)):
        carried = vapour(T if inflow.vapour < 0.0 else mean)
        assert inflow.energy == pytest.approx(inflow.heat + inflow.vapour * carried, rel=1e-12)
    # without flow the air is at equilibrium: it gains and loses nothing
    still = boundaries.cavity(bc._replace(inlet_weight_heat=0.0, inlet_weight_vapour=0.0), back, front)
    assert still.convection_back == pytest.approx(-still.convection_front, rel=1e-9)
    assert still.back.vapour == pytest.approx(-still.front.vapour, rel=1e-9)
    # steam beyond the air pressure drives itself out
    assert boundaries.cavity(bc._replace(pressure=500.0), back, front).p == 500.0


def rows(inflow):
    return np.array([inflow.energy, inflow.vapour + inflow.liquid])


def differences(function, T, u):
    """Central differences of (energy, water) in T and in u, as Slopes orders them."""
    dT, du = 1e-3, 1e-4
    by_T = (rows(function(surface(T + dT, u))) - rows(function(surface(T - dT, u)))) / (2.0 * dT)
    by_u = (rows(function(surface(T, u + du))) - rows(function(surface(T, u - du)))) / (2.0 * du)
    return np.array([by_T[0], by_u[0], by_T[1], by_u[1]])


def assert_slopes(found, expected, vapour_flow):
    """Within what the differences and the slope of the enthalpy that vapour carries, omitted on purpose, amount to."""
    limit = np.abs(expected) * 1e-4 + np.array([1e-4, 1e-4, 1e-12, 1e-12])
    limit[:2] += 1.01 * abs(vapour_flow) * C_V
    assert (np.abs(np.array(found) - expected) <= limit).all(), (found, expected)


@pytest.mark.parametrize("name", ["outdoors", "room", "leak"])
@given(kelvin, humid)
def test_slopes_of_one_surface(name, T, u):
    function = getattr(boundaries, name)
    bc = edge(leak=1e-4)
    here = function(bc, surface(T, u))
    assume(abs(here.vapour) > 1e-9)  # where vapour turns its enthalpy jumps
    assert_slopes(here.slopes, differences(lambda at: function(bc, at), T, u), here.vapour)


@given(kelvin, humid, kelvin, humid, st.sampled_from([101325.0, 300.0]))
def test_slopes_of_the_cavity(T1, u1, T2, u2, pressure):
    bc = edge(pressure=pressure, h_cladding=2.0, h_wall=3.5)
    back, front = surface(T1, u1), surface(T2, u2)
    here = boundaries.cavity(bc, back, front)
    assume(min(abs(here.back.vapour), abs(here.front.vapour)) > 1e-9)
    assume(here.p == pressure or here.p < pressure - 10.0)  # where steam begins to leave the slopes jump
    largest = max(abs(here.back.vapour), abs(here.front.vapour))
    for found, expected in (
        (here.back.slopes, differences(lambda at: boundaries.cavity(bc, at, front).back, T1, u1)),
        (here.back_by_front, differences(lambda at: boundaries.cavity(bc, back, at).back, T2, u2)),
        (here.front.slopes, differences(lambda at: boundaries.cavity(bc, back, at).front, T2, u2)),
        (here.front_by_back, differences(lambda at: boundaries.cavity(bc, at, front).front, T1, u1)),
    ):
        assert_slopes(found, expected, largest)


def test_a_wall_without_a_cavity_exchanges_nothing_there():
    found = boundaries.no_cavity()
    assert found.back == found.front
    assert not any([*found.back[:4], *found.back.slopes, *found.back_by_front, *found.front_by_back, *found[4:]])


def test_vapour_pressure_of_a_potential_is_that_of_its_humidity():
    for T, u in ((263.0, 0.5), (293.0, 3.0), (310.0, 8.0)):
        phi, a = potential.humidity(u, T)
        assert phi == pytest.approx(math.exp(-math.exp(-u) * 293.15 / T), rel=1e-12)
        assert potential.vapour_pressure(u, T) == pytest.approx(phi * moist_air.saturation(T)[0], rel=1e-12)
        assert a == pytest.approx(-math.log(phi), rel=1e-9)
        assert potential.of_humidity(phi, T) == pytest.approx(u, rel=1e-9)
