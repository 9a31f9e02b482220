"""What is handed to the kernel, field by field against hand values: forcing, column, line, readings, start, record.

Every key of the wall below has a value of its own, so that two of them cannot be exchanged unnoticed.
"""

from __future__ import annotations

import functools
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import cavity
from cavity.airflow.pressure import profile
from cavity.errors import InputError
from cavity.hourly.assembly import Assembly, assemble, hours_in_order
from cavity.kernels import potential, pressure_drop
from cavity.kernels.year_arrays import ENERGY_AT_START, WATER_AT_START
from cavity.risk.mould import CLASSES, by_face
from cavity.wallfile import parse_wall, starter, starters
from cavity.wallfile.model import Layer, OpeningSet, exchange_emissivity

HOURS = 30
SIGMA = 5.670374e-8  # W/(m2 K4)

WALL = """
[wall]
name = "joints"
orientation = "west"

[site]
terrain = "suburban"
building_height = "12 m"
wall_width = "10 m"
side_width = "10 m"

[finish]
solar_absorptance = 0.7
emissivity = 0.8

[[cladding]]
material = "OSB"
thickness = "9 mm"
name = "panel"

[cavity]
depth = "30 mm"
blocked = "10 %"
emissivity_cladding = 0.2
emissivity_wall = 0.9
film_limit = "40 g/m2"
single_vent_exchange = 1.5
gust_exchange = 0.7

[[backup]]
material = "breather membrane"
sd = "0.2 m"
name = "membrane"

[[backup]]
material = "OSB"
thickness = "12 mm"
name = "sheathing"

[[backup]]
material = "mineral wool"
thickness = "100 mm"
name = "insulation"

[[backup]]
material = "gypsum board"
thickness = "12.5 mm"
name = "lining"

[[column]]
name = "short"
bottom = "1 m"
top = "3 m"

[[column]]
name = "tall"
bottom = "0 m"
top = "6 m"

[[rail]]
name = "rail"
heights = ["1 m", "4 m"]
gap = "50 mm"
bay = "3 m"
gaps = 2
columns = ["tall"]

[[barrier]]
name = "fire detail"
height = "2 m"
free_area = "10 cm2/m"
columns = ["tall"]

[[openings]]
name = "closed"

[[openings]]
name = "vents"
[[openings.vent]]
name = "low"
height = "0.5 m"
slot = "10 mm"
columns = ["tall"]
exposure = "table"
cp_table = [["0 deg", 0.6], ["180 deg", 0.6]]
[[openings.vent]]
name = "high"
height = "6 m"
slot = "20 mm"
columns = ["tall"]
exposure = "table"
cp_table = [["0 deg", -0.2], ["180 deg", -0.2]]
[[openings.vent]]
name = "of the short one"
height = "1.5 m"
slot = "5 mm"
columns = ["short"]

[indoor]
model = "constant"
temperature = "20 degC"
relative_humidity = "50 %"

[wetting]
rain_penetration = "2 %"
rain_penetration_layer = "sheathing"
leak_flow = "0.36 m3/(m2 h)"
leak_layer = "insulation"

[run]
segments = 4
start_month = "March"
start_humidity = "70 %"
freezing = false
max_years = 1
construction_water = { sheathing = "100 kg/m3" }
"""


@functools.cache
def climate() -> Any:
    return cavity.read_weather(Path(__file__).parents[1] / "climates" / "temperate_inland.epw")


@functools.cache
def hours() -> Any:
    """Thirty hours of March with wind from the west, rain, and values that differ from hour to hour."""
    first = int(np.flatnonzero(climate()["time"].dt.month.values == 3)[0])
    days = climate().isel(time=slice(first, first + HOURS)).copy(deep=True)
    k = np.arange(HOURS)
    values = {
        "temperature_outdoor": 273.15 + 5.0 + 0.2 * k,
        "vapour_pressure_outdoor": 600.0 + 5.0 * k,
        "pressure": 98000.0 + 10.0 * k,
        "wind_speed": 3.0 + 0.1 * k,
        "wind_direction": np.full(HOURS, 270.0),
        "rain": 1e-4 * (1.0 + k),
        "infrared_horizontal": 260.0 + k,
    }
    for name, column in values.items():
        days[name].values[:] = column
    return days


@functools.cache
def joints(**choice: Any) -> Assembly:
    options = {"opening_set": "vents", "column": "tall"} | choice
    return assemble(parse_wall(WALL, "joints.toml").case(**options), hours())


def edited(old: str, new: str, **choice: Any) -> Assembly:
    """Return the assembly of the wall with one passage of its file changed."""
    assert old in WALL
    wall = parse_wall(WALL.replace(old, new, 1), "joints.toml")
    return assemble(wall.case(**({"opening_set": "vents", "column": "tall"} | choice)), hours())


def node_of(given: Assembly, label: str) -> int:
    return next(face.node for face in given.line.faces if face.label == label)


# --------------------------------------------------------------------------------------------------------------- case


def test_a_case_is_the_first_of_everything_or_what_was_named():
    wall = parse_wall(WALL, "joints.toml")
    first = wall.case()
    assert (first.opening_set.name, first.column.name, first.depth) == ("closed", "short", 0.03)
    case = wall.case(opening_set="vents", depth=0.05, column="tall")
    assert (case.opening_set.name, case.column.name, case.depth) == ("vents", "tall", 0.05)
    other = case.on(replace(wall, name="other"))
    assert (other.wall.name, other.opening_set, other.column, other.depth) == (
        "other", case.opening_set, case.column, 0.05,
    )  # fmt: skip


def test_wrong_choices_are_reported_together_with_the_known_names():
    with pytest.raises(InputError) as caught:
        parse_wall(WALL, "joints.toml").case(opening_set="vent", depth=0.0, column="tal")
    assert len(caught.value.faults) == 3
    for word in ("did you mean 'vents'", "did you mean 'tall'", "closed, vents", "short, tall", "above 0"):
        assert word in str(caught.value)


def test_a_column_has_the_openings_rails_and_barriers_that_name_it_and_lie_in_its_reach():
    wall = parse_wall(WALL, "joints.toml")
    tall, short = (wall.case(opening_set="vents", column=name) for name in ("tall", "short"))
    assert [each.name for each in tall.openings] == ["low", "high"]
    assert [each.name for each in short.openings] == ["of the short one"]
    assert [each.name for each in tall.barriers] == ["fire detail"] and short.barriers == ()
    assert [tall.column.crossed_by(rail) for rail in tall.rails] == [(1.0, 4.0)]
    assert [short.column.crossed_by(rail) for rail in short.rails] == [()]
    assert tall.opening_area == pytest.approx(0.03) and short.opening_area == pytest.approx(0.005)
    anyone = replace(tall.openings[1], columns=(), height=3.0 + 5e-7)  # half a micrometre above the top: at the top
    assert short.column.holds(anyone) and not short.column.holds(replace(anyone, height=3.01))
    own = replace(tall, opening_set=replace(tall.opening_set, rails=()))
    assert own.rails == () and tall.rails == wall.rails


def test_emissivities_of_the_cavity_are_those_of_the_file_or_else_of_the_layers_beside_it():
    wall = parse_wall(WALL, "joints.toml")
    assert wall.case().emissivities == (0.2, 0.9)
    bare = replace(wall, cavity=replace(wall.cavity, emissivity_cladding=None, emissivity_wall=None))
    shiny, dull = (replace(wall.cladding[0].material, emissivity=value) for value in (0.1, 0.7))
    bare = replace(
        bare,
        cladding=(Layer("out", dull, 0.01), Layer("in", shiny, 0.01)),
        backup=(Layer("out", dull, 0.01), Layer("in", shiny, 0.01)),
    )
    assert bare.case().emissivities == (0.1, 0.7)
    # two black surfaces exchange as one black one; parallel plates by hand: 1 / (1/0.2 + 1/0.9 - 1) = 9/46
    assert exchange_emissivity(1.0, 1.0) == 1.0
    assert wall.case().exchange_emissivity == pytest.approx(9.0 / 46.0, rel=1e-12)


# ------------------------------------------------------------------------------------------------------------ forcing


def test_weather_goes_to_the_kernel_hour_by_hour():
    forcing, days = joints().forcing, hours()
    for field, name in (
        ("T_out", "temperature_outdoor"),
        ("p_out", "vapour_pressure_outdoor"),
        ("pressure", "pressure"),
    ):
        np.testing.assert_array_equal(getattr(forcing, field), days[name].values, err_msg=field)


def site_wind(height: float) -> np.ndarray:
    """ASHRAE Fundamentals, airflow around buildings: open terrain 270 m, 0.14 at the station; suburban 370 m, 0.22."""
    return hours()["wind_speed"].values * (270.0 / 10.0) ** 0.14 * (height / 370.0) ** 0.22


def test_wind_is_that_of_the_site_at_the_height_of_the_building():
    forcing = joints().forcing
    assert abs(site_wind(12.0) / hours()["wind_speed"].values - 1.0).min() > 0.2  # the two differ
    np.testing.assert_allclose(forcing.speed, site_wind(12.0), rtol=1e-12)
    np.testing.assert_allclose(
        edited('building_height = "12 m"', 'building_height = "7 m"').forcing.speed, site_wind(7.0), rtol=1e-12
    )
    # 4 + 4 v, ISO 6946 Annex C, from memory
    np.testing.assert_allclose(forcing.h_out, 4.0 + 4.0 * site_wind(12.0), rtol=1e-12)


def test_wind_pressure_is_each_openings_own_coefficient_on_the_head_of_the_site_wind():
    forcing, days = joints().forcing, hours()
    T, p, P = (days[name].values for name in ("temperature_outdoor", "vapour_pressure_outdoor", "pressure"))
    rho = (P - p) / (287.055 * T) + p / (461.52 * T)  # gas constants of dry air and water vapour
    head = 0.5 * rho * site_wind(12.0) ** 2
    np.testing.assert_allclose(forcing.wind, np.outer(head, [0.6, -0.2]), rtol=1e-4)
    # gusts on the same head: rms of the two ends, 0.5 and 6 of 12 m, correlated by exp(-distance / height)
    low, high = (profile(height / 12.0, 0.0)[1] for height in (0.5, 6.0))
    rms = np.sqrt(low**2 + high**2 - 2.0 * np.exp(-5.5 / 12.0) * low * high)
    np.testing.assert_allclose(forcing.gust / head, np.full(HOURS, float(np.squeeze(rms))), rtol=1e-4)
    assert 0.02 < float(np.squeeze(rms)) < 1.0


def test_absorbed_radiation_is_sun_sky_and_surroundings_by_their_fractions():
    given, days = joints(), hours()
    forcing, sun = given.forcing, given.outside["sun_on_wall"].values
    assert sun.max() > 50.0 and sun.min() == 0.0
    sky = 0.5**1.5  # of the view: F sqrt(F) with F = 1/2, Walton 1983, from memory
    longwave = sky * days["infrared_horizontal"].values + (1.0 - sky) * SIGMA * days["temperature_outdoor"].values ** 4
    np.testing.assert_allclose(forcing.absorbed_radiation, 0.7 * sun + 0.8 * longwave, rtol=1e-6)
    assert forcing.emissivity == 0.8


def test_the_rain_that_passes_the_cladding_is_taken_from_the_rain_once():
    given = joints()
    rain = given.outside["driving_rain"].values
    assert rain.min() > 0.0
    np.testing.assert_allclose(given.forcing.rain_in, 0.02 * rain, rtol=1e-12)
    np.testing.assert_allclose(given.forcing.rain, 0.98 * rain, rtol=1e-12)


def test_the_room_goes_to_the_kernel_with_its_film():
    forcing = joints().forcing
    np.testing.assert_allclose(forcing.T_in, 293.15, rtol=1e-12)
    np.testing.assert_allclose(forcing.p_in, 0.5 * 2339.0, rtol=2e-3)  # IAPWS: 2339 Pa at 20 degC
    assert forcing.h_in == pytest.approx(1.0 / 0.13, rel=1e-12)  # ISO 6946
    # 8 mm of still air (EN 15026 draft); permeability of air at 20 degC about 1.9e-10 kg/(m s Pa)
    assert forcing.beta_in == pytest.approx(1.95e-10 / 0.008, rel=0.05)


@pytest.mark.parametrize("layer", ["membrane", "sheathing", "insulation", "lining"])
def test_leak_and_rain_arrive_at_the_exterior_surface_of_the_layer_that_the_file_names(layer):
    outer = {
        "membrane": "outer face of wall",
        "sheathing": "membrane | sheathing",
        "insulation": "sheathing | insulation",
        "lining": "insulation | lining",
    }
    leak = edited('leak_layer = "insulation"', f'leak_layer = "{layer}"')
    assert leak.forcing.leak_node == node_of(leak, outer[layer])
    assert leak.forcing.rain_node == node_of(leak, outer["sheathing"])
    rain = edited('rain_penetration_layer = "sheathing"', f'rain_penetration_layer = "{layer}"')
    assert rain.forcing.rain_node == node_of(rain, outer[layer])
    assert rain.forcing.leak_node == node_of(rain, outer["insulation"])


def test_the_leak_is_the_flow_of_the_file_or_follows_the_stack_pressure_of_each_hour():
    # 0.36 m3/(m2 h) of air of 1.2 kg/m3
    np.testing.assert_allclose(joints().forcing.leak, 0.36 * 1.2 / 3600.0, rtol=1e-12)
    by_q50 = edited('leak_flow = "0.36 m3/(m2 h)"', 'leak_q50 = "3 m3/(m2 h)"\nleak_height = "8 m"').forcing.leak
    days = hours()
    T, p, P = (days[name].values for name in ("temperature_outdoor", "vapour_pressure_outdoor", "pressure"))

    def rho(T, p):
        return (P - p) / (287.055 * T) + p / (461.52 * T)

    # at q50 = 3: 0.007 m3/(m2 h Pa), Kuenzel 2012, from memory; half of 8 m above the neutral level
    inside = rho(293.15, 0.5 * 2339.0)
    expected = 0.007 / 3600.0 * inside * (rho(T, p) - inside) * 9.80665 * 4.0
    np.testing.assert_allclose(by_q50, expected, rtol=5e-3)


# ------------------------------------------------------------------------------------------------------------- column


def test_depth_reaches_the_air_flow_and_the_convection():
    for depth in (0.03, 0.055):
        column = joints(depth=depth).column
        assert column.depth == depth  # convection and the speed of the air
        np.testing.assert_allclose(column.link_law[:, pressure_drop.CHANNEL_AREA], depth * 0.9, rtol=1e-12)
        np.testing.assert_allclose(column.link_law[:, pressure_drop.DIAMETER], 2.0 * depth, rtol=1e-12)
        rails = column.part_law[[0, 2], pressure_drop.AREA]  # barrier between them
        np.testing.assert_allclose(rails, 2 * 0.05 * depth / 3.0, rtol=1e-12)
        np.testing.assert_allclose(column.volume, depth * 0.9 * np.array([6.0, 2.0, 4.0]), rtol=1e-12)


def test_the_exchange_emissivity_is_that_of_two_parallel_surfaces():
    assert joints().column.emissivity == pytest.approx(1.0 / (1.0 / 0.2 + 1.0 / 0.9 - 1.0), rel=1e-12)


def test_openings_links_and_parts_stand_where_the_file_says():
    given = joints()
    column = given.column
    np.testing.assert_allclose(column.opening_height, [0.5, 6.0])
    np.testing.assert_allclose(column.opening_law[:, pressure_drop.AREA], [0.01, 0.02], rtol=1e-12)
    np.testing.assert_allclose(column.link_rise, [5.5])
    np.testing.assert_allclose(column.link_law[:, pressure_drop.LENGTH], [5.5])
    np.testing.assert_array_equal(column.part_link, [0, 0, 0])
    assert column.part_law[1, pressure_drop.AREA] == pytest.approx(10e-4, rel=1e-12)  # the barrier's free area
    assert column.height == 6.0
    np.testing.assert_allclose([column.segment_bottom[0], column.segment_top[-1]], [0.0, 6.0])
    assert len(column.segment_bottom) == 4
    still = column.segment_top <= 0.5 + 1e-9
    np.testing.assert_array_equal(column.segment_link, np.where(still, -1, 0))
    np.testing.assert_array_equal(column.opening_compartment, [0, 1])
    np.testing.assert_array_equal(column.gate_link, [0])
    tilted = replace(given.case.wall, tilt=75.0)
    leaning = assemble(given.case.on(tilted), hours()).column
    np.testing.assert_allclose(leaning.link_rise, [5.5 * math.sin(math.radians(75.0))], rtol=1e-12)
    np.testing.assert_allclose(leaning.link_law[:, pressure_drop.LENGTH], [5.5])


def test_estimated_exchanges_go_with_their_factors():
    column = joints().column
    assert column.gust_factor == 0.7 and column.gust_curve.shape[1] > 10
    np.testing.assert_array_equal(column.single_area, 0.0)  # two vents
    one = joints(column="short").column
    # the only vent: 5 mm over a stretch of 2 m, times the factor
    np.testing.assert_allclose(one.single_area, 1.5 * 0.005 / 2.0, rtol=1e-12)
    np.testing.assert_allclose(one.single_clear, 0.005, rtol=1e-12)
    off = edited("gust_exchange = 0.7", "gust_exchange = 0").column
    assert off.gust_factor == 0.0 and off.gust_curve.shape == (2, 0)


# --------------------------------------------------------------------------------------------------- line and readings


def test_surfaces_and_interfaces_are_read_outside_to_inside():
    given = joints()
    readings, line = given.readings, given.line
    assert [face.label for face in line.faces] == [
        "outer face", "back of cladding", "outer face of wall", "membrane | sheathing", "sheathing | insulation",
        "insulation | lining", "room face",
    ]  # fmt: skip
    np.testing.assert_array_equal(readings.node, [face.node for face in line.faces])
    # films: weather side, back of the cladding, exterior surface of the backup wall, room side
    assert list(readings.film) == [0, node_of(given, "back of cladding"), node_of(given, "outer face of wall"),
                                   line.nodes - 1]  # fmt: skip
    assert line.grid.cladding_back == node_of(given, "back of cladding")
    # cladding 9 mm, cavity 30 mm, membrane, 12, 100, 12.5 mm, from the outer face
    at = {face.label: face.position for face in line.faces}
    assert at["back of cladding"] == pytest.approx(0.009) and at["outer face of wall"] == pytest.approx(0.039)
    membrane = at["membrane | sheathing"] - 0.039
    assert at["room face"] == pytest.approx(0.039 + membrane + 0.1245) and membrane < 0.002
    for layer, thickness in ((0, 0.009), (2, 0.012), (3, 0.1), (4, 0.0125)):
        cells = (readings.layer == layer) & (line.grid.thickness > 0.0)
        assert line.grid.thickness[cells].sum() == pytest.approx(thickness, rel=1e-12)


def test_film_limit_freezing_and_redistribution_reach_the_line():
    given = joints()
    grid = given.line.grid
    for label in ("back of cladding", "outer face of wall"):
        assert grid.max_water[node_of(given, label)] == 0.04
    assert edited("40 g/m2", "70 g/m2").line.grid.max_water[node_of(given, "back of cladding")] == 0.07
    assert grid.freezing == 0
    assert edited("freezing = false", "freezing = true").line.grid.freezing == 1
    # the same board in rain and behind a membrane: nothing feeds liquid water there, and it redistributes with a tenth
    # of the diffusivity (Kuenzel 1995, from memory)
    panel, sheathing = (
        grid.tables[grid.left[np.flatnonzero((given.readings.layer == layer) & (grid.thickness > 0.0))[0]]]
        for layer in (0, 2)
    )
    np.testing.assert_array_equal(panel[:, potential.WATER_CONTENT], sheathing[:, potential.WATER_CONTENT])
    np.testing.assert_allclose(sheathing[:, potential.THETA], 0.1 * panel[:, potential.THETA], rtol=1e-9)
    assert panel[-1, potential.THETA] > 0.0
    bare = parse_wall(WALL, "joints.toml")
    bare = replace(bare, backup=bare.backup[1:])  # without the membrane the sheathing is exposed too
    line = assemble(
        replace(bare, wetting=replace(bare.wetting, leak_layer=1, rain_penetration_layer=0)).case(), hours()
    ).line
    rows = [line.grid.left[np.flatnonzero((line.layer_of_node == k) & (line.grid.thickness > 0.0))[0]] for k in (0, 1)]
    np.testing.assert_array_equal(line.grid.tables[rows[0]], line.grid.tables[rows[1]])


def test_the_decline_of_mould_reaches_its_model():
    """Hukka and Viitanen 1999, from memory: 0.00133 an hour in the first six dry hours, 0 to a day, then 0.000667."""
    import xarray as xr

    wet, dry = 2000, 300
    humid = np.where(np.arange(wet + dry) < wet, 0.97, 0.4)[:, None, None]
    ds = xr.Dataset(
        {
            "temperature": (("time", "segment", "face"), np.full((wet + dry, 1, 1), 295.15)),
            "relative_humidity": (("time", "segment", "face"), humid),
        },
        coords={
            "time": np.datetime64("2001-01-01", "ns") + np.arange(wet + dry) * np.timedelta64(1, "h"),
            "face_mould_class": ("face", [next(iter(CLASSES))]),
        },
    )
    wall = parse_wall(WALL + "\n[limits]\nmould_decline = 0.5\n", "joints.toml")
    assert dict(wall.limits)["mould_decline"] == 0.5
    from cavity.risk.limits import resolve

    for decline in (0.5, 1.0):
        limits = resolve(dict(wall.limits) | {"mould_decline": decline})
        index = by_face(ds, limits).index[:, 0, 0]
        fall = index[wet - 1] - index[-1]
        assert fall == pytest.approx(decline * (6 * 0.00133 + (dry - 24) * 0.000667), rel=0.03)


# -------------------------------------------------------------------------------------------------- start and record


def test_the_start_is_a_straight_line_between_the_first_days_means_at_the_humidity_of_the_file():
    given = joints()
    line, state = given.line, given.state
    assert state.T.shape == (4, line.nodes)
    cold = hours()["temperature_outdoor"].values[:24].mean()
    expected = cold + (293.15 - cold) * line.position / line.position[-1]
    np.testing.assert_allclose(state.T, np.tile(expected, (4, 1)), rtol=1e-12)
    np.testing.assert_allclose(state.air_T, cold)
    np.testing.assert_allclose(state.air_p, hours()["vapour_pressure_outdoor"].values[:24].mean())
    np.testing.assert_array_equal(state.flow, 0.0)
    # suction by Kelvin, rho R T (-ln phi), over 135.3 MPa
    dry = line.layer_of_node != 2
    kelvin = -np.log(-np.log(0.7) * 1000.0 * 461.5 * expected / 135.3e6)
    np.testing.assert_allclose(state.u[0][dry], kelvin[dry], atol=2e-3)


def test_construction_water_is_put_into_its_layer_alone():
    given = joints()
    held = given.water_by_layer
    assert held.shape == (4, 5 + 7)
    np.testing.assert_allclose(held[:, 2], 100.0 * 0.012, rtol=1e-3)  # 100 kg/m3 in 12 mm
    plain = edited('construction_water = { sheathing = "100 kg/m3" }', "").water_by_layer
    others = [0, 1, 3, 4]
    np.testing.assert_allclose(held[:, others], plain[:, others], rtol=1e-12)
    assert plain[:, 2].max() < 1.0 and held[:, 5:].max() < 1e-6  # no films
    wrong = given.case.wall
    wrong = replace(wrong, run=replace(wrong.run, construction_water=(("plaster", 10.0),)))
    with pytest.raises(InputError, match="no such layer"):
        assemble(wrong.case(), hours())


def test_hours_run_from_the_start_month_round_to_the_hour_before_it():
    time = climate()["time"].values
    order = hours_in_order(time, 3)
    assert str(time[order[0]])[5:13] == "03-01T00" and str(time[order[-1]])[5:13] == "02-28T23"
    np.testing.assert_array_equal(np.sort(order), np.arange(8760))
    short = assemble(joints().case, climate(), hours=48)
    assert str(short.weather["time"].values[0])[5:13] == "03-01T00" and short.outside.sizes["time"] == 48
    np.testing.assert_array_equal(short.order, np.arange(48))
    assert len(short.forcing.T_out) == len(short.room_T) == len(short.record.T) == 48


def test_accounts_of_a_year_open_with_what_the_wall_holds():
    given = joints()
    given.record.drained[:] = 1.0
    given.record.terms[:] = 1.0
    given.open_accounts()
    assert given.record.drained.sum() == given.record.terms.sum() == given.record.throughput.sum() == 0.0
    np.testing.assert_array_equal(given.record.balance_account[:, WATER_AT_START], given.state.W.sum(axis=1))
    np.testing.assert_array_equal(given.record.balance_account[:, ENERGY_AT_START], given.state.E.sum(axis=1))


# ------------------------------------------------------------------------------------------------- whole cases by hand


def calm(temperature: float, count: int) -> Any:
    """Hours without sun, wind and rain, the sky as warm as the air."""
    days = climate().isel(time=slice(0, count)).copy(deep=True)
    for name in ("global_horizontal", "direct_normal", "diffuse_horizontal", "wind_speed", "rain"):
        days[name].values[:] = 0.0
    days["temperature_outdoor"].values[:] = temperature
    days["vapour_pressure_outdoor"].values[:] = 300.0
    days["infrared_horizontal"].values[:] = SIGMA * temperature**4
    return days


def test_still_air_gives_heat_at_both_surfaces_alike():
    """Two steel sheets 30 mm apart, closed, 1 K: conduction through 30 mm of air, and radiation, by hand.

    The coefficient of each surface is twice that of the layer, so that the air is half way and both in series are the
    layer's.
    """
    wall = parse_wall(WALL, "joints.toml")
    steel = cavity.material("steel")
    wall = replace(
        wall,
        cladding=(Layer("sheet", steel, 0.001),),
        backup=(Layer("wall sheet", steel, 0.001),),
        opening_sets=(OpeningSet("closed", ()),),
        barriers=(),
        rails=(),
        wetting=replace(wall.wetting, leak_layer=None, leak_flow=0.0, rain_penetration_layer=0, rain_penetration=0.0),
        indoor=replace(wall.indoor, temperature=(284.15,), relative_humidity=(0.2,)),
        run=replace(wall.run, construction_water=(), segments=1, start_month=1, start_humidity=0.2),
    )
    ds = cavity.simulate(wall, calm(283.15, 72), hours=72).isel(time=-1, segment=0)
    T = {str(name): float(value) for name, value in zip(ds["face"].values, ds["temperature"].values, strict=True)}
    back, front, room = T["back of cladding"], T["outer face of wall"], T["room face"]
    assert front - back > 0.4
    assert float(ds["cavity_temperature"]) == pytest.approx(0.5 * (front + back), abs=2e-3)
    through = (284.15 - room) / 0.13  # ISO 6946
    conduction = 0.0249 / 0.03  # of air at 10 degC, textbook
    radiation = 4.0 * SIGMA * (0.5 * (front + back)) ** 3 / (1.0 / 0.2 + 1.0 / 0.9 - 1.0)
    assert through / (front - back) == pytest.approx(conduction + radiation, rel=0.02)


def test_air_changes_are_the_outdoor_air_that_enters_over_the_volume_of_the_column():
    """The vents are half a metre above the bottom of a column of 6 m; a barrier makes two compartments."""
    ds = cavity.simulate(parse_wall(WALL, "joints.toml"), hours(), opening_set="vents", column="tall")
    T, p, P = (ds[name].values for name in ("temperature_outdoor", "vapour_pressure_outdoor", "pressure"))
    rho = (P - p) / (287.055 * T) + p / (461.52 * T)
    enters = np.maximum(ds["opening_flow"].values, 0.0).sum(axis=1)
    assert enters.min() > 0.0
    # within the storage of the mean over the sub-steps of an hour
    np.testing.assert_allclose(ds["air_change_rate"], 3600.0 * enters / (rho * 0.9 * 0.03 * 6.0), rtol=1e-3)
    by_part = ds["compartment_air_change_rate"].values
    np.testing.assert_allclose(
        by_part, 3600.0 * np.outer(enters / rho, 1.0 / (0.027 * np.array([2.0, 4.0]))), rtol=1e-3
    )


@pytest.mark.parametrize("name", list(starters()))
def test_half_a_litre_of_construction_water_goes_into_any_layer_and_runs(name):
    """Wool holds it too, as a film that then goes to its colder surface: 0.5 kg/m2, and the first hours run."""
    wall, weather = parse_wall(starter(name)), cavity.read_weather("cool marine")
    for layer in wall.backup:
        if layer.material.max_saturation <= 0.0:
            continue

        def held(water, layer=layer):
            run = replace(wall.run, construction_water=water, segments=1)
            ds = cavity.simulate(replace(wall, run=run), weather, hours=3)
            return float(ds["water_at_start"].sel(layer=layer.name).mean())

        before = held(())
        after = held(((layer.name, (before + 0.5) / layer.thickness),))
        assert after - before == pytest.approx(0.5, abs=2e-4), layer.name


def test_the_dew_point_beside_a_surface_is_that_of_the_air_it_faces():
    import psychrolib

    psychrolib.SetUnitSystem(psychrolib.SI)
    wall, weather = parse_wall(starter()), cavity.read_weather("temperate inland")
    ds = cavity.simulate(wall, weather, hours=48)
    faces = [str(name) for name in ds["face"].values]
    for hour in (5, 30, 47):
        pressure = float(ds["cavity_vapour_pressure"][hour, 0])
        # tDryBulb only bounds psychrolib's search
        dew = psychrolib.GetTDewPointFromVapPres(60.0, pressure) + 273.15
        for name in ("back of cladding", "outer face of wall"):
            assert float(ds["dew_point"][hour, 0, faces.index(name)]) == pytest.approx(dew, abs=0.05), name
        assert abs(float(ds["dew_point"][hour, 0, faces.index("room face")]) - dew) > 0.2


def test_a_balance_error_is_that_of_the_worst_segment():
    from cavity.hourly.run import _gains, run_years
    from cavity.result import dataset_of

    case, weather = parse_wall(starter()).case(), cavity.read_weather("temperate inland")
    made = assemble(case, weather, hours=24)
    done = run_years(made, years=1)
    record = made.record
    record.water_residual[:] = 0.0
    record.energy_residual[:] = 0.0
    record.water_residual[5, 1], record.energy_residual[7, 0] = -3e-3, 20.0  # one hour of one segment is wrong
    ds = dataset_of(
        case.wall, made.weather, made.outside, made.room_T, made.room_phi, made.air, made.line, record,
        list(done.water), made.state, _gains(case, made.air, made.forcing, record),
    )  # fmt: skip
    assert ds.attrs["water_balance_error"] == pytest.approx(3e-3 / record.throughput[1, 0], rel=1e-12)
    assert ds.attrs["energy_balance_error"] == pytest.approx(20.0 / record.throughput[0, 1], rel=1e-12)
