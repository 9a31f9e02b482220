"""The wall line: Jacobian against differences, conservation, symmetry, limits, and hand-worked steady states."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from cavity.constants import SUCTION_SCALE
from cavity.kernels import boundaries, moist_air, potential, wall_section
from cavity.kernels import wall as kernel
from cavity.kernels.lanes import LANES
from cavity.kernels.wall_section import work_arrays
from cavity.wall.grid import build_solid_line, cells
from cavity.wall.solve import march, surroundings
from cavity.wallfile.materials import material
from cavity.wallfile.model import Layer

BOARD, WOOL, BRICK = material("OSB"), material("mineral wool"), material("clay brick")


def layers(*pairs):
    return tuple(Layer(f"{row.name} {k}", row, thickness) for k, (row, thickness) in enumerate(pairs))


def edge(**changes):
    base = {
        "T_out": 272.0, "p_out": 400.0, "h_out": 15.0, "beta_out": 1e-7, "absorbed_radiation": 350.0,
        "emissivity": 0.9, "rain": 0.0, "T_in": 293.0, "p_in": 1200.0, "h_in": 7.7, "beta_in": 2.5e-8,
        "T_air": 274.0, "p_air": 500.0, "inlet_weight_heat": 0.4, "inlet_weight_vapour": 0.5, "h_cladding": 2.5,
        "h_wall": 2.5, "emissivity_cavity": 0.82, "leak": 1e-5, "leak_node": 3, "rain_in": 0.0, "rain_node": 0,
        "pressure": 101325.0, "dt": 900.0,
    }  # fmt: skip
    return boundaries.BoundaryConditions(**(base | changes))


@pytest.mark.parametrize("celsius", [12.0, -6.0])
@pytest.mark.parametrize("seed", range(4))
def test_jacobian_is_the_difference_of_the_residual(starter_wall, seed, celsius):
    """Central differences; omitted on purpose: slopes of the enthalpy that vapour carries across the line's faces."""
    from cavity.wall.grid import build_line

    if seed >= 2:  # with a membrane that follows the humidity on both its sides
        smart = material("smart vapour retarder")
        backup = tuple(
            Layer(part.name, smart, 3e-4, sd_table=smart.sd_table) if part.sd and part.sd > 1.0 else part
            for part in starter_wall.backup
        )
        starter_wall = replace(starter_wall, backup=backup)
    line = build_line(starter_wall.case(depth=0.03))
    assert (line.grid.membrane_table >= 0).sum() == (1 if seed >= 2 else 0)
    rng = np.random.default_rng(seed)
    n = line.nodes
    T = 273.15 + celsius + 0.1 * line.position / line.position[-1] + rng.normal(0.0, 1e-3, n)
    u = rng.uniform(-0.5, 6.5, n) if seed % 2 else rng.uniform(0.5, 3.5, n)
    w, flux = work_arrays(line.grid), np.zeros(boundaries.FLUX_COUNT)
    kernel.evaluate(line.grid, T, u, w)
    W, E = wall_section.read(w, wall_section.WATER), wall_section.read(w, wall_section.ENTHALPY)
    given_edge = edge(dt=600.0)

    def residual(T, u):
        w = work_arrays(line.grid)
        kernel.assemble(line.grid, given_edge, T, u, W, E, w, flux)
        return -np.column_stack([wall_section.read(w, wall_section.RIGHT + k * LANES) for k in (0, 1)]), w

    _, here = residual(T, u)
    for i in range(n):
        for unknown in (0, 1):
            up_T, down_T, up_u, down_u = T.copy(), T.copy(), u.copy(), u.copy()
            size = 1e-4 if unknown == 0 else 1e-5
            (up_T if unknown == 0 else up_u)[i] += size
            (down_T if unknown == 0 else down_u)[i] -= size
            slope = (residual(up_T, up_u)[0] - residual(down_T, down_u)[0]) / (2.0 * size)
            for j, block in ((i - 1, wall_section.ABOVE), (i, wall_section.OWN), (i + 1, wall_section.BELOW)):
                if 0 <= j < n:
                    found = here.cell[here.offset[j] + block + LANES * np.array([unknown, 2 + unknown])]
                    scale = np.abs(slope).max() + 1e-3
                    # differences are good to 1e-5 of the largest slope of the column; what is left is said above
                    assert np.abs(found - slope[j]).max() <= 1e-4 * scale + 0.05, (i, j, unknown, found, slope[j])
            far = np.delete(slope, [k for k in (i - 1, i, i + 1) if 0 <= k < n], axis=0)
            assert np.abs(far).max(initial=0.0) <= 1e-3 * (np.abs(slope).max() + 1e-3)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(st.floats(-20.0, 40.0), st.floats(-1.0, 9.0)), min_size=2, max_size=6), st.integers(0, 2**31))
def test_cells_used_again_know_what_new_ones_would(starter_wall, states, seed):
    """Cubics are fetched only where a node changes its interval; updates move nodes, too."""
    from cavity.wall.grid import build_line

    line = build_line(starter_wall.case(depth=0.03))
    rng = np.random.default_rng(seed)
    grid, n, flux = line.grid, line.nodes, np.zeros(boundaries.FLUX_COUNT)
    used, W, E = work_arrays(grid), np.zeros(n), np.zeros(n)

    def known(w):
        return np.array(
            [wall_section.read(w, column) for column in range(wall_section.VAPOUR, wall_section.SYSTEM, LANES)]
        )

    for celsius, mean in states:
        T, u = 273.15 + celsius + rng.normal(0.0, 2.0, n), mean + rng.normal(0.0, 0.1, n)
        kernel.assemble(grid, edge(), T, u, W, E, used, flux)
        assert kernel.update(used, 25) == 0
        kernel.eval_state(grid, 101325.0, used)
        T, u = wall_section.read(used, wall_section.TEMPERATURE), wall_section.read(used, wall_section.POTENTIAL)
        fresh = work_arrays(grid)
        wall_section.set_state(fresh, T, u)
        kernel.eval_state(grid, 101325.0, fresh)
        np.testing.assert_array_equal(known(used), known(fresh))


@settings(max_examples=25, deadline=None)
@given(
    st.lists(
        st.sampled_from(["OSB", "mineral wool", "clay brick", "gypsum board", "aluminium", "concrete"]),
        min_size=1, max_size=4,
    ),
    st.floats(0.1, 0.97),
    st.floats(260.0, 320.0),
    st.integers(0, 2**31),
)  # fmt: skip
# frost stops the liquid on one side of the plane where the two touch: what arrives from the other freezes there
@example(["OSB", "concrete"], 0.943, 260.1, 1)
@example(["clay brick", "concrete", "OSB"], 0.936, 263.0, 6)
def test_a_closed_wall_keeps_its_water_and_heat(names, humidity, T0, seed):
    rng = np.random.default_rng(seed)
    line = build_solid_line(layers(*((material(name), rng.uniform(0.002, 0.2)) for name in names)), freezing=True)
    n = line.nodes
    start = np.clip(humidity + rng.uniform(-0.05, 0.02, n), 0.03, 0.99)
    closed = surroundings(outdoor=280.0, indoor=280.0)
    ends = march(
        line, closed, temperature=T0 + rng.normal(0.0, 3.0, n), humidity=start, moments=[3600.0, 864000.0], growth=0.1
    )
    # books are kept by fluxes that cancel pairwise: round-off only
    assert ends.total[1] == pytest.approx(ends.total[0], rel=1e-11, abs=1e-13)
    assert ends.entered[1] == pytest.approx(0.0, abs=1e-15)
    assert np.all(ends.humidity >= 0.0)
    assert np.all(ends.humidity <= 1.0)


def test_a_wall_in_equilibrium_stays_as_it_is():
    line = build_solid_line(layers((BRICK, 0.1), (WOOL, 0.08), (BOARD, 0.012)))
    p = 0.6 * moist_air.saturation(290.0)[0]
    around = surroundings(
        outdoor=290.0, indoor=290.0, vapour_outdoor=p, vapour_indoor=p, heat_outside=20.0, heat_inside=8.0,
        vapour_outside=1e-7, vapour_inside=3e-8,
    )  # fmt: skip
    end = march(line, around, temperature=290.0, humidity=0.6, moments=[30 * 86400.0], growth=0.2)
    np.testing.assert_allclose(end.temperature[-1], 290.0, atol=1e-6)
    np.testing.assert_allclose(end.humidity[-1], 0.6, atol=1e-7)


def test_a_mirrored_wall_gives_the_mirrored_answer():
    stack = layers((BRICK, 0.06), (WOOL, 0.05), (BOARD, 0.015))
    cold = {"T": 275.0, "p": 600.0, "h": 12.0, "b": 9e-8}
    warm = {"T": 295.0, "p": 1400.0, "h": 6.0, "b": 3e-8}

    def run(order, left, right):
        around = surroundings(
            outdoor=left["T"], vapour_outdoor=left["p"], heat_outside=left["h"], vapour_outside=left["b"],
            indoor=right["T"], vapour_indoor=right["p"], heat_inside=right["h"], vapour_inside=right["b"],
        )  # fmt: skip
        return march(
            build_solid_line(order), around, temperature=285.0, humidity=0.7, moments=[5 * 86400.0], growth=0.05
        )

    one, other = run(stack, cold, warm), run(stack[::-1], warm, cold)
    # 1e-5 W/m2 tolerance of the solver over 5 W/(m2 K)
    np.testing.assert_allclose(one.temperature[-1], other.temperature[-1][::-1], atol=2e-5)
    np.testing.assert_allclose(one.humidity[-1], other.humidity[-1][::-1], atol=2e-6)


def test_splitting_a_layer_in_two_changes_nothing():
    around = surroundings(
        outdoor=273.0, indoor=293.0, vapour_outdoor=450.0, vapour_indoor=1300.0, heat_outside=20.0, heat_inside=8.0,
        vapour_outside=1e-7, vapour_inside=3e-8, rain=2e-6,
    )  # fmt: skip

    def run(stack, sizes):
        line = build_solid_line(stack, sizes=tuple(np.full(round(x / 0.005), 0.005) for x in sizes))
        return march(line, around, temperature=283.0, humidity=0.8, moments=[3 * 86400.0], growth=0.05)

    whole, halves = run(layers((BRICK, 0.1)), (0.1,)), run(layers((BRICK, 0.05), (BRICK, 0.05)), (0.05, 0.05))
    assert halves.total[-1] == pytest.approx(whole.total[-1], rel=1e-6)
    assert halves.humidity[-1, 0] == pytest.approx(whole.humidity[-1, 0], rel=1e-6)


def test_steady_heat_flow_is_the_sum_of_resistances():
    """1/(0.13 + 0.1/0.5 + 0.04) by hand; the resistances of ISO 6946, dry material."""
    from dataclasses import replace

    dry = replace(BRICK, conductivity=0.5, moisture_conductivity=0.0)
    around = surroundings(outdoor=273.15, indoor=293.15, heat_outside=25.0, heat_inside=1.0 / 0.13)
    end = march(
        build_solid_line(layers((dry, 0.1))),
        around,
        temperature=280.0,
        humidity=0.5,
        moments=[60 * 86400.0],
        growth=0.1,
    )
    assert end.flux[-1, boundaries.ROOM_HEAT] == pytest.approx(
        20.0 / (0.13 + 0.2 + 0.04), rel=1e-3
    )  # vapour carries a little heat


def test_steady_vapour_profile_is_that_of_glaser():
    """Two layers without sorption slope: pressure linear in s_d, g = delta (p1 - p2)/sum(s_d), by hand."""
    wool = Layer("wool", WOOL, 0.1)
    tight = Layer("film", material("breather membrane"), 0.0002, sd=0.4)
    line = build_solid_line((wool, tight, Layer("wool 2", WOOL, 0.05)))
    T = 288.15
    around = surroundings(
        outdoor=T, indoor=T, vapour_outdoor=500.0, vapour_indoor=1200.0, heat_outside=20.0, heat_inside=8.0,
        vapour_outside=1.0, vapour_inside=1.0,
    )  # fmt: skip
    end = march(line, around, temperature=T, humidity=0.5, moments=[400 * 86400.0], growth=0.1)
    mu = 1.0 / np.interp(0.5, (0.25, 0.75), (1.0 / WOOL.mu_dry, 1.0 / WOOL.mu_wet)) if not WOOL.mu_table else None
    assert mu is not None
    delta = 2.306e-5 / (461.5 * 273.15) * (T / 273.15) ** 0.81  # Schirmer, from memory
    flow = delta * 700.0 / (0.15 * mu + 0.4)
    assert end.flux[-1, boundaries.ROOM_VAPOUR] == pytest.approx(
        flow, rel=1e-3
    )  # gas constant to 4 digits, membrane's own heat
    face = next(f for f in line.faces if f.label == "wool | film")
    p = end.humidity[-1, face.node] * moist_air.saturation(T)[0]
    assert p == pytest.approx(500.0 + flow / delta * 0.1 * mu, abs=0.5)


def test_sudden_rain_wets_a_brick_no_faster_than_its_absorption_coefficient():
    """Uptake from a wet face follows A sqrt(t) (definition of A); the estimate of D_w gives it within a third."""
    from dataclasses import replace

    dry = replace(BRICK, moisture_conductivity=0.0)
    line = build_solid_line(layers((dry, 0.2)), film_limit=0.05)
    around = surroundings(
        outdoor=293.15, indoor=293.15, vapour_outdoor=2000.0, heat_outside=20.0, heat_inside=8.0, rain=0.2
    )
    end = march(line, around, temperature=293.15, humidity=0.5, moments=[600.0, 2400.0], first_step=0.5, growth=0.02)
    start = float(build_total(line, 0.5))
    first, second = (end.total - start).tolist()
    assert second / first == pytest.approx(2.0, rel=0.06)  # square root of time
    assert first == pytest.approx(BRICK.absorption * math.sqrt(600.0), rel=0.35)  # estimate of Kuenzel 1995


def build_total(line, humidity):
    w = work_arrays(line.grid)
    T = np.full(line.nodes, 293.15)
    u = np.array([potential.of_humidity(humidity, 293.15) for _ in T])
    kernel.evaluate(line.grid, T, u, w)
    return wall_section.read(w, wall_section.WATER).sum()


def test_freezing_a_wet_brick_releases_the_heat_of_its_ice():
    """Enthalpy between +1 and -10 degC: dry matter, liquid, and 334 kJ for each kilogram that the state says is ice."""
    line = build_solid_line(layers((BRICK, 0.01)), freezing=True)
    n = line.nodes

    def enthalpy(kelvin):
        w = work_arrays(line.grid)
        kernel.evaluate(line.grid, np.full(n, kelvin), np.full(n, 9.0), w)
        return wall_section.read(w, wall_section.ENTHALPY).sum(), wall_section.read(w, wall_section.WATER).sum()

    (warm, water), (cold, _) = enthalpy(274.15), enthalpy(263.15)
    dry = BRICK.density * 0.01 * BRICK.specific_heat * 11.0
    released = warm - cold - dry
    assert 0.8 * water * 3.334e5 < released - water * 4184.0 * 1.0 < water * (3.334e5 + 2060.0 * 10.0) * 1.001


@given(st.floats(-25.0, -0.01), st.floats(-3.5, 8.0))
@example(-10.0, -2.9)  # hardly any
def test_ice_in_pores_by_the_page_of_theory(celsius, over):
    """E51 and E52, at potentials from 3.5 below to 8 above that of ice: its heat, and the flow that it stops."""
    T = 273.15 + celsius
    ice = -math.log(1000.0 * 3.334e5 / SUCTION_SCALE * math.log(273.15 / T))
    u = ice + over
    line, dry = (build_solid_line(layers((BRICK, 0.01)), freezing=freezing) for freezing in (True, False))
    found, without = work_arrays(line.grid), work_arrays(line.grid)
    for w, grid in ((found, line.grid), (without, dry.grid)):
        kernel.evaluate(grid, np.full(line.nodes, T), np.full(line.nodes, u), w)
    k = line.nodes // 2
    d, row = line.grid.thickness[k], line.grid.left[k]
    liquid = u - 0.15 * math.log1p(math.exp((u - ice) / 0.15))
    f = min(-celsius / 0.5, 1.0)

    def of(column, at):
        return potential.table_value(line.grid.tables, row, at, column)[0]

    content = wall_section.read(found, wall_section.WATER)[k] - d * (
        of(potential.WATER_CONTENT, liquid) + 1e-6 * (liquid - potential.U_LOW)
    )
    skin = 5e-8 * (u - potential.U_LOW)
    heat = f * max(content - skin, 0.0) * ((2060.0 - 4184.0) * celsius - 3.334e5)
    change = (wall_section.read(found, wall_section.ENTHALPY) - wall_section.read(without, wall_section.ENTHALPY))[k]
    assert change == pytest.approx(heat, rel=1e-5, abs=1e-4)  # the logarithm by its series; round-off of 1e5 J/m2
    theta = of(potential.THETA, u)
    theta += f * (of(potential.THETA, liquid) - theta)
    for side in (wall_section.LIQUID, wall_section.INNER):
        assert wall_section.read(found, side)[k] == pytest.approx(theta, rel=1e-5, abs=1e-18)


@given(st.floats(0.0003, 0.6), st.sampled_from([2e-4, 1e-3, 5e-3]), st.sampled_from([1.0, 2.0, 4.0]))
def test_cells_fill_their_layer(thickness, first, refine):
    sizes = cells(thickness, first, refine)
    assert sizes.sum() == pytest.approx(thickness, rel=1e-12)
    assert sizes.min() > 0.0
    np.testing.assert_allclose(sizes, sizes[::-1])


def test_order_in_space_is_two_and_in_time_one_for_conduction():
    """Semi-infinite step, erfc solution (Carslaw and Jaeger): error falls with the cell squared and with the step."""
    from dataclasses import replace

    solid = replace(material("aluminium"), density=1000.0, specific_heat=1000.0, conductivity=1.0)

    def error(cell, growth, longest):
        line = build_solid_line(layers((solid, 1.2)), sizes=(np.full(round(1.2 / cell), cell),))
        around = surroundings(outdoor=283.15, indoor=273.15, heat_outside=1e5)
        end = march(
            line,
            around,
            temperature=273.15,
            humidity=0.5,
            moments=[14400.0],
            first_step=longest / 50,
            growth=growth,
            longest=longest,
        )
        x = line.position[1:-1]
        exact = 10.0 * np.array([math.erfc(a / (2.0 * math.sqrt(1e-6 * 14400.0))) for a in x])
        return float(np.abs(end.temperature[-1, 1:-1] - 273.15 - exact).max())

    space = [error(cell, 2e-3, 20.0) for cell in (0.08, 0.04, 0.02)]
    assert math.log2(space[0] / space[1]) == pytest.approx(2.0, abs=0.35)
    time = [error(0.005, 1.0, step) for step in (1200.0, 600.0, 300.0)]
    assert math.log2(time[0] / time[1]) == pytest.approx(1.0, abs=0.25)
    assert time[-1] < 0.1
