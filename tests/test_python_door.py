"""Numbers given in Python in a wrong unit: refused like those of a file, with what was probably meant."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import xarray as xr

import cavity
from cavity.airflow.heated import heated_cavity
from cavity.airflow.losses import channel_loss, stack_pressure
from cavity.airflow.steady import steady_air
from cavity.errors import InputError
from cavity.risk import limits, mould
from cavity.study.size import size
from cavity.study.wetting import wetting_event
from cavity.units import check_range, slip
from cavity.wall import indoor, monthly, saturation, solve, uvalue
from cavity.wall.grid import build_solid_line
from cavity.wallfile import parse_wall, starter


def layers(wall):
    return (replace(wall.backup[-1], thickness=12.5),)


# call with the wall, what was given, what the message offers
SLIPS = [
    ("depth in millimetres", lambda wall, days: cavity.simulate(wall, days, depth=30), "30 m", "did you mean 0.030 m"),
    ("depth of a case", lambda wall, _: wall.case(depth=55.0), "55 m", "did you mean 0.055 m"),
    ("layer of a wall", lambda wall, days: cavity.simulate(replace(wall, backup=layers(wall)), days), "12.5 m",
     "did you mean 0.0125 m"),
    ("absorptance in percent", lambda wall, days: cavity.simulate(replace(wall, solar_absorptance=60.0), days), "60",
     "did you mean 0.6?"),
    ("room in degC", lambda wall, _: replace(wall, indoor=replace(wall.indoor, temperature=(20.0,))).case(), "20 K",
     "did you mean 293.15 K"),
    ("room humidity in percent",
     lambda wall, _: replace(wall, indoor=replace(wall.indoor, relative_humidity=(50.0,))).case(), "50",
     "did you mean 0.5?"),
    ("outdoor air in degC", lambda wall, _: steady_air(wall.case(), outdoor=10.0), "10 K", "did you mean 283.15 K"),
    ("cavity air in degC", lambda wall, _: steady_air(wall.case(), cavity=(290.0, 25.0)), "25 K",
     "did you mean 298.15 K"),
    ("pressure in hPa", lambda wall, _: steady_air(wall.case(), pressure=1013.25), "1013.25 Pa",
     "did you mean 101325 Pa"),
    ("stack in degC", lambda *_: stack_pressure(6.0, 20.0, 10.0, 101325.0), "20 K", "did you mean 293.15 K"),
    ("stack in kPa", lambda *_: stack_pressure(6.0, 293.15, 283.15, 101.325), "101.325 Pa", "did you mean 101325 Pa"),
    ("channel in millimetres", lambda *_: channel_loss(0.3, 30.0, 3.0), "30 m", "did you mean 0.030 m"),
    ("heated cavity", lambda *_: heated_cavity(
        3.0, 40.0, first=300.0, second=None, inlet=293.15, base=np.ones(6), head=np.ones(6)), "40 m",
     "did you mean 0.040 m"),
    ("air layer", lambda *_: uvalue.air_layer_resistance(25.0, 0.9, 0.9), "25 m", "did you mean 0.025 m"),
    ("emissivity in percent", lambda *_: uvalue.air_layer_resistance(0.025, 0.9, 90.0), "90", "did you mean 0.9?"),
    ("fractions in percent", lambda *_: uvalue.combined_method([85.0, 15.0], [[1.0], [2.0]]), "85",
     "did you mean 0.85?"),
    ("metal web", lambda *_: uvalue.rail_conductance(conductivity=50.0, web=0.6, spacing=0.6, thickness=0.1), "0.6 m",
     "did you mean 0.0006 m"),
    ("saturation in degC", lambda *_: saturation.saturation_pressure([293.15, 20.0]), "20 K", "did you mean 293.15 K"),
    ("EN 15026 in degC", lambda *_: indoor.en_15026([5.0]), "5 K", "did you mean 278.15 K"),
    ("ISO 13788 in degC",
     lambda *_: indoor.iso_13788_room([278.15] * 12, [700.0] * 12, humidity_class=3, temperature=(20.0,)), "20 K",
     "did you mean 293.15 K"),
    ("critical humidity in percent",
     lambda *_: monthly.temperature_factor_needed([273.15], [293.15], [1200.0], humidity=80.0), "80",
     "did you mean 0.8?"),
    ("mould in percent",
     lambda *_: mould.mould_index(np.full((5, 1), 293.15), np.full((5, 1), 85.0), ["sensitive"]), "85",
     "did you mean 0.85?"),
    ("mould in degC", lambda *_: mould.mould_index(np.full((5, 1), 20.0), np.full((5, 1), 0.85), ["sensitive"]),
     "20 K", "did you mean 293.15 K"),
    ("limit in percent", lambda *_: limits.resolve({"wood_moisture": 20.0}), "20", "did you mean 0.2?"),
    ("start of a march in percent",
     lambda wall, _: solve.march(
         build_solid_line(wall.backup[1:2]), solve.surroundings(outdoor=273.15, indoor=293.15), temperature=283.15,
         humidity=70.0, moments=[1.0]), "70", "did you mean 0.7?"),
    ("wetting in grams", lambda wall, days: wetting_event(wall, days, amount=500.0), "500 kg/m2",
     "did you mean 0.5 kg/m2"),
    ("depths of sizing", lambda wall, days: size(wall, days, depths=(20.0,)), "20 m", "did you mean 0.020 m"),
    ("gaps of sizing", lambda wall, days: size(wall, days, gaps=(6.4,)), "6.4", "did you mean 0.0064 m"),
]  # fmt: skip


@pytest.mark.parametrize(("call", "given", "meant"), [one[1:] for one in SLIPS], ids=[one[0] for one in SLIPS])
def test_a_mistake_of_unit_is_refused_with_what_was_probably_meant(call, given, meant, one_year, winter):
    with pytest.raises(InputError) as caught:
        call(one_year, winter)
    assert given in str(caught.value) and meant in str(caught.value)
    assert caught.value.exit_code == 2


def test_where_nothing_is_clear_nothing_is_offered():
    assert slip(-3.0, "m", 0.0, 1.0) == "" and slip(5000.0, "m", 0.0, 1.0) == ""
    assert slip(7.0, "m/s", 0.0, 1.0) == ""
    with pytest.raises(InputError, match="check number and unit"):
        check_range("f, depth", -0.01, "m", 0.0, 1.0)


def test_numbers_in_range_and_gaps_in_series_pass():
    check_range("f, depth", [0.01, 1.0, np.nan], "m", 0.0, 1.0)
    check_range("f, depth", [], "m", 0.0, 1.0)


def test_a_number_that_is_possible_is_not_doubted(one_year):
    assert one_year.case(depth=0.5).depth == 0.5
    assert one_year.case(depth=1.0).depth == 1.0


def test_what_takes_a_case_takes_a_wall_with_the_keywords_of_the_case():
    wall = parse_wall(starter())
    choice = {"opening_set": "20 mm slots", "depth": 0.02, "column": wall.columns[0].name}
    case = wall.case(**choice)
    xr.testing.assert_identical(steady_air(wall, wind=(2.0,), **choice), steady_air(case, wind=(2.0,)))
    assert uvalue.u_value(wall, **choice) == uvalue.u_value(case) != uvalue.u_value(wall, opening_set="nearly closed")
    assert uvalue.rail_spots(wall, **choice) == uvalue.rail_spots(case)
    weather = cavity.read_weather("cool marine")
    assert monthly.monthly(wall, weather, **choice).u_value == monthly.monthly(case, weather).u_value
    with pytest.raises(TypeError, match="has them already"):
        uvalue.u_value(case, depth=0.02)
