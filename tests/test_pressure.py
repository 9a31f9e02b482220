"""Wind pressure coefficients against published tables, and what must hold for any angle and height."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cavity.airflow import pressure
from cavity.wallfile.model import Opening, Site


@pytest.mark.parametrize(
    ("angle", "expected"),
    # Swami & Chandra 1987, FSEC-CR-163-86, square building, published table (read); three digits
    [(0, 0.603), (30, 0.469), (60, 0.119), (90, -0.443), (120, -0.681), (150, -0.39), (180, -0.364)],
)
def test_face_mean_is_the_published_table_for_a_square_building(angle, expected):
    assert float(pressure.face_pressure_coefficient(angle)) == pytest.approx(expected, abs=6e-4)


def test_long_wall_has_the_stronger_leeward_suction():
    # ASCE 7, memory: leeward -0.5 for L/B <= 1 (wide), -0.3 for L/B = 2 (narrow); so the sign in the formula is plus
    wide, narrow = (float(pressure.face_pressure_coefficient(180, ratio)) for ratio in (2.0, 0.5))
    assert wide == pytest.approx(-0.452, abs=6e-4)  # formula worked by hand
    assert narrow == pytest.approx(-0.226, abs=6e-4)
    assert wide < narrow < 0.0


@settings(max_examples=100, deadline=None)
@given(st.floats(-720, 720), st.floats(0.25, 4.0))
def test_left_and_right_are_alike_and_the_circle_closes(angle, ratio):
    values = [float(pressure.face_pressure_coefficient(a, ratio)) for a in (angle, -angle, angle + 360)]
    np.testing.assert_allclose(values, values[0], rtol=0, atol=1e-9)  # rounding of the angle


def test_two_vents_on_one_face_get_the_stated_difference_over_the_whole_wall():
    site = Site(building_height=6.0, pressure_difference=0.1)
    vents = (Opening("base", 0.0, "slot", 0.01), Opening("head", 6.0, "slot", 0.01))
    cp = pressure.pressure_coefficients(site, vents, np.array([0.0, 60.0, 80.0, 100.0, 180.0]))
    # all of it to 60 degrees, a fifth from 100 on (ASHRAE: little variation beyond 100 degrees; the fifth is ours)
    np.testing.assert_allclose(cp[:, 0] - cp[:, 1], [0.1, 0.1, 0.06, 0.02, 0.02], rtol=0, atol=1e-12)
    # the face mean is kept
    np.testing.assert_allclose(cp.mean(axis=1), pressure.face_pressure_coefficient([0, 60, 80, 100, 180]), atol=1e-12)


def test_a_low_part_of_a_tall_wall_gets_its_share():
    site = Site(building_height=12.0, base_height=3.0, pressure_difference=0.3)
    vents = (Opening("base", 0.0, "slot", 0.01), Opening("head", 3.0, "slot", 0.01))
    cp = pressure.pressure_coefficients(site, vents, [0.0])
    assert cp[0, 0] - cp[0, 1] == pytest.approx(0.3 * 3 / 12)


def test_profile_and_explicit_shift_win_over_the_difference():
    site = Site(building_height=6.0, pressure_profile=((0.0, -0.1), (0.7, 0.15), (1.0, -0.2)))
    vents = (
        Opening("base", 0.0, "slot", 0.01),
        Opening("mid", 4.2, "slot", 0.01),
        Opening("own", 3.0, "slot", 0.01, pressure_shift=0.4),
    )
    cp = pressure.pressure_coefficients(site, vents, [0.0])[0]
    np.testing.assert_allclose(cp - float(pressure.face_pressure_coefficient(0.0)), [-0.1, 0.15, 0.4], atol=1e-12)


def test_roof_edge_is_in_suction_at_every_angle_and_soffit_follows_the_wall():
    site = Site(building_height=6.0)
    vents = [Opening(e, 6.0, "slot", 0.01, exposure=e) for e in ("roof edge", "soffit", "face")]
    cp = pressure.pressure_coefficients(site, vents, np.arange(-180.0, 181.0, 15.0))
    assert np.all(cp[:, 0] < -0.3)  # Liddament (AIVC), memory: -0.8 to -0.4
    np.testing.assert_array_equal(cp[:, 1], cp[:, 2])
    assert cp[12, 0] == pytest.approx(-0.8)  # head on


def test_user_table_is_read_by_angle_on_one_or_both_sides():
    half = Opening("t", 1.0, "slot", 0.01, exposure="table", pressure_table=((0.0, 0.5), (90.0, -0.5), (180.0, -0.3)))
    full = Opening(
        "t",
        1.0,
        "slot",
        0.01,
        exposure="table",
        pressure_table=((-90.0, -0.9), (0.0, 0.5), (90.0, -0.5), (180.0, -0.3)),
    )
    cp = pressure.pressure_coefficients(Site(), (half, full), np.array([45.0, -45.0, -90.0, 270.0]))
    np.testing.assert_allclose(cp[:, 0], [0.0, 0.0, -0.5, -0.5], atol=1e-12)
    np.testing.assert_allclose(cp[:, 1], [0.0, -0.2, -0.9, -0.9], atol=1e-12)


def test_wind_pressure_is_the_dynamic_pressure_times_the_coefficient():
    # 0.5 x 1.2 x U^2 x 0.1: 0.06, 0.24, 0.96, 2.16 Pa at 1, 2, 4, 6 m/s, worked by hand
    got = pressure.wind_pressure(np.full((4, 1), 0.1), np.full(4, 1.2), np.array([1.0, 2.0, 4.0, 6.0]))
    np.testing.assert_allclose(got[:, 0], [0.06, 0.24, 0.96, 2.16], rtol=1e-12)
