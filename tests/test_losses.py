"""Loss laws of the air path against exact solutions, published tables and their own derivatives."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cavity.airflow import losses
from cavity.constants import R_AIR
from cavity.kernels import pressure_drop as kernel
from cavity.wallfile.model import Barrier, Opening, Rail

RHO, MU = 1.2, 1.81e-5


def test_long_laminar_slot_loses_twelve_mu_v_l_over_d2():
    # exact plane Poiseuille flow plus 0.674 heads of entry loss (Shah 1978)
    v, d, length = 0.05, 0.01, 6.0
    exact = 12 * MU * v * length / d**2 + 0.674 * 0.5 * RHO * v**2
    got = float(losses.channel_loss(v, d, length, density=RHO, viscosity=MU))
    assert got == pytest.approx(exact, rel=2e-5)  # x = 4.6: the rest of the entry law is 1e-5 of the loss


@pytest.mark.parametrize(
    ("d", "v", "apparent"),
    # Shah 1978 worked by hand: apparent Fanning f Re for H 3 m; three digits printed
    [(0.040, 0.2, 28.5), (0.020, 0.1, 24.6)],
)
def test_developing_flow_has_the_apparent_friction_of_shah(d, v, apparent):
    dh, height = 2 * d, 3.0
    re = RHO * v * dh / MU
    loss = float(losses.channel_loss(v, d, height, density=RHO, viscosity=MU))
    f_app = loss / (0.5 * RHO * v**2 * 4 * height / dh)
    assert f_app * re == pytest.approx(apparent, abs=0.05)


def test_developing_flow_follows_the_formula_of_shah_as_printed():
    x = np.logspace(-5, 1, 200)
    printed = 3.44 / np.sqrt(x) + (24 + 0.674 / (4 * x) - 3.44 / np.sqrt(x)) / (1 + 2.9e-5 * x**-2.0)
    ours = np.array([kernel.entry_excess_shah_1978(value)[0] for value in x])
    np.testing.assert_allclose(24 + ours / (4 * x), printed, rtol=1e-12, atol=0)  # algebra only: round-off


@pytest.mark.parametrize("reynolds", [1.2e4, 3e4, 1e5, 3e5])
def test_turbulent_slot_agrees_with_dean_within_six_percent(reynolds):
    # two published laws of one thing: Haaland on Jones' Reynolds number, Dean 1978; 6 %: scatter of such laws
    assert float(losses.friction_factor(reynolds)) == pytest.approx(losses.friction_dean_1978(reynolds), rel=0.06)


def test_turbulent_friction_agrees_with_colebrook():
    # Colebrook-White solved by fixed point on the laminar-equivalent Reynolds number; Haaland is within 2 % of it
    for re, rough in [(5e3, 0.0), (2e4, 0.002), (1e5, 0.01)]:
        x = 5.0
        for _ in range(60):
            x = -2 * np.log10(rough / 3.7 + 2.51 * x / (2 / 3 * re))
        assert float(losses.friction_factor(re, rough)) == pytest.approx(x**-2, rel=0.02)


def test_friction_is_continuous_and_smooth_at_both_ends_of_the_blend():
    for edge in (kernel.RE_LAMINAR, kernel.RE_TURBULENT):
        below, above = kernel.friction(edge * (1 - 1e-9), 0.0), kernel.friction(edge * (1 + 1e-9), 0.0)
        assert below[0] == pytest.approx(above[0], rel=1e-8)  # step of 2e-9 in Re
        assert below[1] == pytest.approx(above[1], rel=1e-5)  # the slope is continuous too


_share = st.floats(0.0, 0.95)


@settings(max_examples=60, deadline=None)
@given(
    depth=st.floats(0.002, 0.3),
    length=st.floats(0.01, 30.0),
    rough=st.floats(0.0, 0.005),
    pieces=st.integers(1, 40),
    blocked=_share,
)
def test_channel_loss_rises_strictly_and_its_slope_is_the_derivative(depth, length, rough, pieces, blocked):
    law = losses.channel_row(depth, length, blocked=blocked, roughness=rough, pieces=pieces)[np.newaxis]
    flows = np.logspace(-7, 1, 120)
    _check_law(lambda m: kernel.channel_loss(law, 0, m, RHO, MU), flows)


@settings(max_examples=60, deadline=None)
@given(
    area=st.floats(1e-6, 0.3),
    zeta=st.tuples(st.floats(0.0, 100.0), st.floats(0.0, 100.0)),
    linear=st.floats(1.0, 1e5),
    mesh=st.floats(0.0, 50.0),
    wire=st.floats(1e-5, 5e-3),
)
def test_restriction_loss_rises_strictly_and_its_slope_is_the_derivative(area, zeta, linear, mesh, wire):
    law = np.array([[area, zeta[0], zeta[1], linear, mesh, wire]])
    flows = np.logspace(-7, 0, 120) * area
    _check_law(lambda m: kernel.restriction_loss(law, 0, m, RHO, 1.1, MU), flows)
    _check_law(
        lambda m: tuple(s * a for s, a in zip((-1, 1), kernel.restriction_loss(law, 0, -m, RHO, 1.1, MU), strict=True)),
        flows,
    )


def _check_law(law, flows):
    assert law(0.0)[0] == 0.0
    values = np.array([law(m) for m in flows])
    assert np.all(np.diff(values[:, 0]) > 0)
    assert np.all(values[:, 1] > 0)
    step = 1e-5
    numeric = np.array([(law(m * (1 + step))[0] - law(m * (1 - step))[0]) / (2 * step * m) for m in flows])
    # central difference: error of order step^2 = 1e-10 but where the blend begins (kink of the second derivative)
    np.testing.assert_allclose(values[:, 1], numeric, rtol=2e-4, atol=0)


@pytest.mark.parametrize(
    ("porosity", "plate", "mesh"),
    # Idelchik 8-1 and 8-6 worked by hand, two to three digits
    [(0.2, 51.3, 17.0), (0.3, 18.5, 6.35), (0.4, 8.23, 3.03), (0.5, 4.00, 1.65), (0.6, 1.99, 0.96), (0.7, 0.96, 0.57)],
)
def test_plate_and_mesh_coefficients_match_the_table(porosity, plate, mesh):
    assert losses.plate_loss_idelchik(porosity) == pytest.approx(plate, rel=0.006)  # three printed digits
    assert losses.mesh_loss_idelchik(porosity) == pytest.approx(mesh, rel=0.008)  # two to three printed digits


@pytest.mark.parametrize(
    ("porosity", "reynolds", "expected"),
    # Bailey 2003 worked by hand, two to three digits
    [
        *[(0.5, 2, 31), (0.5, 5, 13.7), (0.5, 10, 7.7), (0.5, 50, 2.7), (0.5, 100, 2.0)],
        *[(0.4, 2, 55), (0.4, 5, 24), (0.4, 10, 13.5), (0.4, 50, 4.7), (0.4, 100, 3.5)],
    ],
)
def test_low_reynolds_mesh_matches_the_table(porosity, reynolds, expected):
    assert losses.mesh_loss_bailey_2003(porosity, reynolds) == pytest.approx(expected, rel=0.03)  # two printed digits


def test_mesh_law_meets_the_measured_screen_of_blevins():
    # Blevins 1984, table, read: round-edge wire screen, porosity 0.5, Re 100: 2.1; two digits, 6 % agreed
    assert losses.mesh_loss_bailey_2003(0.5, 100.0) == pytest.approx(2.1, rel=0.06)


def test_the_two_mesh_laws_agree_within_a_factor_of_two_point_three():
    # Bailey 2003 has 18/Re where Brundrett 1993 has 7/Re: both from memory, so they are held together loosely
    re = np.logspace(0, 3, 40)
    ratio = losses.mesh_loss_bailey_2003(0.5, re) / losses.mesh_loss_brundrett_1993(0.5, re)
    assert np.all(ratio > 0.7)
    assert np.all(ratio < 2.3)


@pytest.mark.parametrize("porosity", [0.3, 0.4, 0.5, 0.6])
def test_mesh_law_agrees_with_a_law_built_from_the_weave(porosity):
    # Armour & Cannon 1968 (memory) knows wire, pitch and thickness instead of the open share;
    # 30 %: measured screens scatter by 20 % and more (J. SASJ 40(3):159)
    re = np.array([1.0, 3.0, 10.0, 30.0, 100.0])
    ratio = losses.mesh_loss_bailey_2003(porosity, re) / losses.mesh_loss_armour_1968(porosity, re)
    assert np.all(np.abs(ratio - 1.0) < 0.3)


def test_law_of_the_weave_is_as_worked_by_hand():
    # porosity 0.5: pitch 3.414 d, wire 7.115 d in 23.31 d3, void 0.760, surface 0.959/d, pore 2.414 d
    assert losses.mesh_loss_armour_1968(0.5, 1e-6) * 1e-6 == pytest.approx(54.8, rel=0.005)  # three digits by hand
    assert losses.mesh_loss_armour_1968(0.5, 1e9) == pytest.approx(1.49, rel=0.005)


@pytest.mark.parametrize(("angle", "discharge"), [(0, 0.80), (15, 0.62), (30, 0.41)])  # Iqbal 2023, read
def test_louvre_discharge_is_the_measured_one_and_falls_beyond(angle, discharge):
    assert losses.louvre_discharge(angle) == pytest.approx(discharge, rel=1e-12)
    assert losses.louvre_discharge(50) < 0.41


def test_orifice_loss_has_the_limits_of_the_textbook():
    assert losses.orifice_loss(0.6) == pytest.approx(1 / 0.36)  # between large spaces
    assert losses.orifice_loss(0.6, 1.0, 0.0) == pytest.approx(1.0)  # plain end of a duct (Idelchik)
    assert losses.orifice_loss(1 / 1.707, 0.0, 1.0) == pytest.approx(0.5, abs=2e-4)  # flush sharp inlet (Idelchik)
    assert losses.orifice_loss(0.6, 1.0, 1.0) == 0.0  # nothing narrows
    # Z_in of ISO 15099: (A_s / (0.6 A) - 1)^2 on the channel speed
    f = 0.35
    assert losses.orifice_loss(0.6, 0.0, f) / f**2 == pytest.approx((1 / (0.6 * f) - 1) ** 2, rel=1e-12)


def test_plate_between_ducts_is_the_published_plate_formula():
    # Idelchik 8-1 is the same orifice with both sections equal and 0.707 = 1/Cd - 1
    for f in (0.2, 0.5, 0.8):
        assert losses.orifice_loss(1 / 1.707, f, f) / f**2 == pytest.approx(losses.plate_loss_idelchik(f), rel=1e-12)


def test_creeping_flow_through_a_slit_is_the_exact_one():
    # Hasimoto 1958: Q = pi w^2 dp / (32 mu) per metre of a slit of width w in a thin wall
    w = 0.002
    law = losses.opening_row(Opening("slit", 0.0, "slot", w), 10.0, at_end=False)[np.newaxis]
    m = 1e-12
    dp, _ = kernel.restriction_loss(law, 0, m, RHO, RHO, MU)
    assert m / RHO == pytest.approx(np.pi * w**2 * dp / (32 * MU), rel=1e-5)  # Re 1e-8: the inertia part is nothing


def test_creeping_flow_through_a_perforated_strip_is_that_of_its_holes_and_its_slit():
    # Sampson 1891: Q = dp d^3 / (24 mu) per round hole of diameter d, plus the slit in series
    d, porosity, w = 0.003, 0.3, 0.02
    law = losses.opening_row(Opening("strip", 0.0, "perforated", w, porosity=porosity, hole=d), 10.0, at_end=False)[
        np.newaxis
    ]
    m = 1e-12
    dp, _ = kernel.restriction_loss(law, 0, m, RHO, RHO, MU)
    holes = porosity * w / (np.pi * d**2 / 4)
    resistance = 24 * MU / (holes * d**3) + 32 * MU / (np.pi * w**2)
    assert dp == pytest.approx(resistance * m / RHO, rel=1e-5)


def test_fast_slot_flows_by_its_discharge_coefficient():
    law = losses.opening_row(Opening("slot", 3.0, "joint", 0.01), 0.04, at_end=False)[np.newaxis]
    v = 30.0
    dp, _ = kernel.restriction_loss(law, 0, v * RHO * 0.01, RHO, RHO, MU)
    assert v == pytest.approx(0.6 * np.sqrt(2 * dp / RHO), rel=2e-3)  # the creeping part is 1e-3 at Re 4e4


@pytest.mark.parametrize(
    "change",
    [
        {"gross_area": 0.012},
        {"porosity": 0.6},
        {"discharge": 0.9},
    ],
)
def test_a_larger_or_smoother_vent_never_loses_more(change):
    base = {"name": "v", "height": 0.0, "kind": "mesh", "gross_area": 0.01, "porosity": 0.5, "wire": 3e-4}
    rows = np.array([losses.opening_row(Opening(**{**base, **more}), 0.04, at_end=True) for more in ({}, change)])
    for m in (1e-4, 1e-3, 1e-2, 1e-1, -1e-3, -1e-1):
        losses_of = [abs(kernel.restriction_loss(rows, i, m, RHO, RHO, MU)[0]) for i in (0, 1)]
        assert losses_of[1] < losses_of[0]


def test_bends_and_mesh_come_on_top():
    plain = losses.opening_row(Opening("v", 0.0, "slot", 0.01), 0.04, at_end=False)
    bent = losses.opening_row(Opening("v", 0.0, "slot", 0.01, bends=2), 0.04, at_end=False)
    assert bent[kernel.ZETA_PLUS] - plain[kernel.ZETA_PLUS] == pytest.approx(2 * losses.BEND_LOSS)


def test_a_rail_as_open_as_the_channel_loses_nothing_and_a_closed_one_has_no_area():
    whole = losses.rail_row(Rail("r", (1.0,), gap=0.6, bay=0.6), 0.03, 0.03)
    assert whole[kernel.ZETA_PLUS] == 0.0
    assert whole[kernel.LINEAR] == 0.0
    assert losses.rail_row(Rail("r", (1.0,), gap=0.0, bay=0.6), 0.03, 0.03)[kernel.AREA] == 0.0
    assert losses.barrier_row(Barrier("b", 1.0, 0.0), 0.03)[kernel.AREA] == 0.0


def test_rail_gap_area_is_gap_times_depth_per_bay():
    row = losses.rail_row(Rail("r", (1.0,), gap=0.003, bay=0.6), 0.03, 0.03)
    assert row[kernel.AREA] == pytest.approx(0.003 * 0.03 / 0.6)


def test_stack_pressure_is_the_textbook_figure():
    # ASHRAE Fundamentals, memory: 0.041 Pa per metre and kelvin near 290 K; two printed digits
    assert losses.stack_pressure(2.4, 295.0, 285.0, 101325.0) / (2.4 * 10.0) == pytest.approx(0.041, abs=5e-4)
    # rho g H dT / T worked by hand: 6 m, 283 K outdoors, 288 K inside, 1.25 kg/m3 at 283 K: 1.300 x 283/288 = 1.277 Pa
    pressure = 1.25 * R_AIR * 283.0
    assert losses.stack_pressure(6.0, 288.0, 283.0, pressure) == pytest.approx(1.277, rel=5e-4)  # four printed digits
    assert losses.stack_pressure(2.4, 275.0, 285.0, 101325.0) < 0.0  # colder than outdoors: downwards


def test_a_long_narrow_rail_gap_adds_the_friction_of_its_length():
    # creeping limit worked by hand: 12-like laminar friction 48 mu v L / Dh^2 on the hydraulic diameter 2 g d / (g + d)
    gap, depth, bay, length = 0.003, 0.03, 0.6, 0.05
    edge = losses.rail_row(Rail("r", (1.0,), gap, bay), depth, depth)
    long = losses.rail_row(Rail("r", (1.0,), gap, bay, gap_length_along_flow=length), depth, depth)
    dh = 2 * gap * depth / (gap + depth)
    extra = 0.5 * MU * (long[kernel.LINEAR] - edge[kernel.LINEAR])  # per m/s
    assert extra == pytest.approx(48 * MU * length / dh**2 * (1 - gap / bay), rel=1e-12)
