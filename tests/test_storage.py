"""Material functions on the grid: monotone, invertible, right at the given points and in the limits."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.interpolate import CubicHermiteSpline

from cavity.constants import SUCTION_SCALE
from cavity.errors import InputError
from cavity.wall import storage
from cavity.wallfile.model import Layer, Material

GRID = storage.suction_grid()

# Spruce of ASHRAE Fundamentals ch. 26: sorption 4.1, 9.2, 16.7 % by mass of 400 kg/m3, A 0.0020 kg/(m2 s0.5)
SPRUCE = Material(
    name="spruce",
    title="spruce",
    density=400.0,
    conductivity=0.13,
    specific_heat=1600.0,
    mu_dry=50.0,
    mu_wet=20.0,
    source="ASHRAE Fundamentals ch. 26, tables 6 and 7",
    sorption=((0.498, 16.4), (0.70, 36.8), (0.885, 66.8)),
    free_saturation=600.0,
    max_saturation=730.0,
    absorption=0.0020,
)


@st.composite
def materials(draw):
    count = draw(st.integers(1, 5))
    humidity = sorted(draw(st.sets(st.integers(20, 98), min_size=count, max_size=count)))
    full = draw(st.floats(5.0, 900.0))
    shares = sorted(draw(st.sets(st.integers(1, 950), min_size=count, max_size=count)))  # thousandths
    return dataclasses.replace(
        SPRUCE,
        sorption=tuple((h / 100, share / 1000 * full) for h, share in zip(humidity, shares, strict=True)),
        free_saturation=full,
        absorption=draw(st.sampled_from((0.0, 1e-4, 0.02, 0.4))),
    )


def test_grid_is_the_agreed_one():
    # agreed contract of the wall kernels: -2.5 to 18 by 0.05
    assert GRID.size == 411 and GRID[0] == -2.5
    np.testing.assert_allclose(GRID[-1], 18.0, rtol=0, atol=1e-12)


def test_humidity_at_20_degc_follows_kelvin():
    # EN 15026: ln(RH) = -p_suc / (rho_w R_v T); 140 MPa of suction is RH exp(-1.0345) = 0.355 at 20 degC
    suction = SUCTION_SCALE * np.exp(-GRID)
    expected = np.exp(-suction / (1000.0 * 8.314462618 / 0.018015268 * 293.15))
    np.testing.assert_allclose(storage.to_humidity(GRID), expected, rtol=1e-12)  # rounding


@settings(deadline=None)
@given(st.floats(1e-4, 0.99999))
def test_u_is_the_inverse_of_humidity(humidity):
    assert float(storage.to_humidity(storage.from_humidity(humidity))) == pytest.approx(humidity, rel=1e-9)


def test_water_meets_the_measured_points_and_free_saturation():
    tables = storage.material_tables(SPRUCE, GRID)
    spline = CubicHermiteSpline(GRID, tables.water, tables.water_slope)
    for humidity, water in SPRUCE.sorption:
        # interpolation on the grid: 0.05 in u
        assert float(spline(storage.from_humidity(humidity))) == pytest.approx(water, rel=2e-3)
    assert tables.water[0] == pytest.approx(0.0, abs=1e-2)
    assert np.interp(12.0, GRID, tables.water) == pytest.approx(0.999 * 600.0, rel=1e-6)  # documented end of the range
    assert tables.water[-1] <= 600.0


@settings(max_examples=60, deadline=None)
@given(materials())
def test_tables_are_monotone_within_limits_and_invertible(material):
    tables = storage.material_tables(material, GRID)
    full = material.free_saturation
    for values in dataclasses.astuple(tables):
        assert values.dtype == np.float64 and values.shape == GRID.shape and values.flags.c_contiguous
    assert np.all(np.isfinite(tables.water)) and tables.water[0] >= 0.0 and tables.water[-1] <= full
    if material.absorption > 0.0:
        assert np.interp(12.0, GRID, tables.water) >= 0.999 * full * (1 - 1e-9)
    else:  # no capillary range: the line through the last two points, at 100 % relative humidity
        (a, low), (b, high) = ((0.0, 0.0), *material.sorption)[-2:]
        expected = min(high + (high - low) / (b - a) * (1.0 - b), full)
        assert tables.water[-1] == pytest.approx(expected, rel=1e-6)  # RH 1 - 1.5e-8 at the end of the grid
    assert np.all(np.diff(tables.water) >= 0.0) and np.all(tables.water_slope >= 0.0)
    assert np.all(np.diff(tables.potential) >= 0.0) and np.all(tables.potential_slope >= 0.0)
    assert np.all((tables.mu >= material.mu_wet - 1e-9) & (tables.mu <= material.mu_dry + 1e-9))
    # the cubic between the points never falls
    between = np.linspace(GRID[0], GRID[-1], 4321)
    for values, slopes in ((tables.water, tables.water_slope), (tables.potential, tables.potential_slope)):
        curve = CubicHermiteSpline(GRID, values, slopes)(between)
        assert np.all(np.diff(curve) >= -1e-12 * max(values[-1], 1e-300))  # rounding of the largest value
    # where the curve rises, u comes back from the water content
    rising = np.flatnonzero(np.diff(tables.water) > 1e-9 * full)
    middle = 0.5 * (tables.water[rising] + tables.water[rising + 1])
    keep = np.concatenate(([True], np.diff(tables.water) > 0.0))
    found = np.interp(middle, tables.water[keep], GRID[keep])
    assert np.all((found >= GRID[rising] - 0.05) & (found <= GRID[rising + 1] + 0.05))


def test_a_falling_sorption_point_is_raised_to_its_forerunner():
    # clay brick 1980 of ASHRAE Fundamentals ch. 26 table 7: 0.08, 0.12, 0.10 % by mass
    brick = dataclasses.replace(
        SPRUCE, sorption=((0.50, 1.584), (0.691, 2.376), (0.912, 1.98)), free_saturation=196.0, absorption=0.17
    )
    raised = dataclasses.replace(brick, sorption=((0.50, 1.584), (0.691, 2.376), (0.912, 2.376)))
    tables = storage.material_tables(brick, GRID)
    np.testing.assert_array_equal(tables.water, storage.material_tables(raised, GRID).water)
    assert np.interp(storage.from_humidity(0.912), GRID, tables.water) == pytest.approx(2.376, rel=1e-3)


def test_a_material_without_water_has_zero_tables_and_a_foil_lets_nothing_through():
    foil = dataclasses.replace(SPRUCE, free_saturation=0.0, mu_dry=np.inf, mu_wet=np.inf)
    tables = storage.material_tables(foil, GRID)
    assert not tables.water.any() and not tables.water_slope.any() and not tables.potential.any()
    assert np.isinf(tables.mu).all()


def test_a_material_that_holds_water_needs_a_sorption_point():
    with pytest.raises(InputError, match="sorption isotherm"):
        storage.material_tables(dataclasses.replace(SPRUCE, sorption=()), GRID)


def test_cups_give_the_permeability_at_25_and_75_percent():
    # ISO 12572: dry cup 0/50, wet cup 50/93 -> mean 25 and (72) 75 %; half way the permeabilities average
    tables = storage.material_tables(SPRUCE, GRID)
    humidity = storage.to_humidity(GRID)
    at = np.interp([0.05, 0.25, 0.5, 0.75, 0.95], humidity, tables.mu)
    middle = 2.0 / (1 / 50 + 1 / 20)
    np.testing.assert_allclose(at, [50, 50, middle, 20, 20], rtol=0.015)  # reading between grid points at a kink


def test_mu_table_is_logarithmic_between_and_flat_outside():
    # plywood Douglas fir of ASHRAE Fundamentals ch. 26 table 6
    plywood = dataclasses.replace(SPRUCE, mu_table=((0.1, 1016.0), (0.3, 332.0), (0.9, 30.0)))
    tables = storage.material_tables(plywood, GRID)
    humidity = storage.to_humidity(GRID)
    at = np.interp([0.05, 0.2, 0.99], humidity, tables.mu)
    np.testing.assert_allclose(at, [1016, np.sqrt(1016 * 332), 30], rtol=2e-3)  # reading between grid points


def test_diffusivity_at_saturation_is_the_estimate_from_absorption():
    # Kuenzel 1995, from memory: 3.8 (A / w_f)^2 at free saturation
    tables = storage.material_tables(SPRUCE, GRID)
    at = np.flatnonzero((GRID > 6.0) & (GRID < 11.9))  # from u = 12 the pores are full and nothing drives water on
    ratio = tables.potential_slope[at] / tables.water_slope[at]
    expected = 3.8 * (0.0020 / 600.0) ** 2 * 1000.0 ** (tables.water[at] / 600.0 - 1.0)
    np.testing.assert_allclose(ratio, expected, rtol=1e-9)  # the same closed form


def test_potential_is_the_integral_of_the_diffusivity():
    tables = storage.material_tables(SPRUCE, GRID)
    fade = float(np.interp(storage.from_humidity(0.8), GRID, tables.water))

    def diffusivity(w):
        return 3.8 * (0.0020 / 600.0) ** 2 * 1000.0 ** (max(w, fade) / 600.0 - 1.0) * min(1.0, w / fade)

    for index in (80, 150, 250, 400):
        held = min(tables.water[index], np.interp(12.0, GRID, tables.water))  # full from u = 12
        expected = quad(diffusivity, 0.0, held, points=[fade], epsabs=1e-30)[0]
        assert tables.potential[index] == pytest.approx(expected, rel=1e-6)  # trapezoid with 4000 intervals


def test_redistribution_is_a_tenth_and_measured_diffusivity_is_kept():
    whole, tenth = (storage.material_tables(SPRUCE, GRID, redistribution=choice) for choice in (False, True))
    np.testing.assert_allclose(tenth.potential, 0.1 * whole.potential, rtol=1e-12)
    measured = dataclasses.replace(SPRUCE, diffusivity=((20.0, 1e-11), (600.0, 1e-9)))
    first, second = (storage.material_tables(measured, GRID, redistribution=choice) for choice in (False, True))
    np.testing.assert_array_equal(first.potential, second.potential)
    at = int(np.argmin(np.abs(first.water - 310.0)))
    expected = 1e-11 * 100.0 ** ((first.water[at] - 20.0) / 580.0)  # logarithmic between the two given points
    assert first.potential_slope[at] / first.water_slope[at] == pytest.approx(expected, rel=1e-9)


def test_suction_form_of_en_15026_is_met_and_its_potential_is_the_integral_of_k():
    # EN 15026:2007 Annex A material functions, from memory
    def water(suction):
        return 146.0 / (1.0 + (8e-8 * suction) ** 1.6) ** 0.375

    def conductivity(w):
        z = w - 73.0
        return np.exp(-39.2619 + 0.0704 * z - 1.7420e-4 * z**2 - 2.7953e-6 * z**3 - 1.1566e-7 * z**4 + 2.5969e-9 * z**5)

    tables = storage.tables_from_functions(water, conductivity, lambda w: 200.0 + 0.0 * w, GRID)
    # w at 50 % and 95 %: 42.943 and 128.299 kg/m3, worked by hand from the functions of EN 15026:2007 Annex A
    spline = CubicHermiteSpline(GRID, tables.water, tables.water_slope)
    for humidity, kelvin, expected in ((0.5, 293.15, 42.943), (0.95, 303.15, 128.299)):
        u = storage.from_humidity(humidity) - np.log(kelvin / 293.15)  # suction at one humidity goes with temperature
        # M_w 0.018 and R 8.314 of the standard differ from ours: 0.08 % in suction
        assert float(spline(u)) == pytest.approx(expected, rel=5e-4)
    potential = CubicHermiteSpline(GRID, tables.potential, tables.potential_slope)
    for low, high in ((0.5, 3.0), (3.0, 8.0)):
        a, b = SUCTION_SCALE * np.exp(-high), SUCTION_SCALE * np.exp(-low)
        expected = quad(lambda p: float(conductivity(water(p))), a, b, epsrel=1e-12, limit=500)[0]
        assert float(potential(high) - potential(low)) == pytest.approx(expected, rel=1e-6)  # Hermite end points


def test_membrane_thickness_by_humidity():
    # polyamide film of ASHRAE Fundamentals ch. 26 table 6: s_d 3.7 m at 30 %, 0.32 m at 70 %, 0.10 m at 90 %
    film = Layer("film", SPRUCE, 5e-5, sd_table=((0.3, 3.7), (0.7, 0.32), (0.9, 0.10)))
    found = np.interp([0.1, 0.3, 0.5, 0.9, 0.99], storage.to_humidity(GRID), storage.membrane_sd(film, GRID))
    np.testing.assert_allclose(
        found, [3.7, 3.7, np.sqrt(3.7 * 0.32), 0.1, 0.1], rtol=0.025
    )  # between grid points, at a kink
    plain = Layer("foil", SPRUCE, 2e-4, sd=50.0)
    np.testing.assert_array_equal(storage.membrane_sd(plain, GRID), 50.0)
