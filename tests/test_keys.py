"""Every key of the wall file that can move a result moves it: two values each, a short run, a direction, an amount.

The amounts are about half of what the physics gives; what decides each is in the comment of its group. A key that is
read and reaches nothing fails here, and so does one that reaches the wrong place or has the wrong sign. Two tests hold
the table complete against the schema.
"""

from __future__ import annotations

import copy
import functools
import itertools
import json
import math
import sys
from dataclasses import asdict, dataclass, field, replace
from inspect import signature
from pathlib import Path
from types import SimpleNamespace
from typing import Any, get_args

import numpy as np
import pytest
import tomlkit
from dataset_factory import make_dataset, with_face
from pydantic import BaseModel

import cavity
from cavity.risk import judge
from cavity.risk.drying import drying
from cavity.risk.rules import checks
from cavity.study.changes import with_variant
from cavity.study.engine import Engine, Job
from cavity.study.uncertainty import BUDGET, ranges_of
from cavity.wall.uvalue import u_value
from cavity.wallfile import parse_wall, schema
from cavity.wallfile.inputs import changed
from cavity.wallfile.schema import UNCERTAIN, WallFile

HOURS = 24
CLIMATES = Path(__file__).parents[1] / "climates"
DROP = object()  # takes a key out

BASE: dict[str, Any] = {
    "wall": {"name": "keys", "orientation": "west"},
    "site": {"building_height": "6 m", "wall_width": "10 m", "side_width": "10 m"},
    "finish": {},
    "cladding": [{"material": "fibre cement", "thickness": "8 mm", "name": "panel"}],
    "cavity": {"depth": "30 mm"},
    "backup": [
        {"material": "breather membrane", "sd": "0.2 m", "name": "membrane"},
        {"material": "OSB", "thickness": "12 mm", "name": "sheathing"},
        {"material": "mineral wool", "thickness": "100 mm", "name": "insulation"},
        {"material": "gypsum board", "thickness": "12.5 mm", "name": "lining"},
    ],
    "column": [{"name": "strip", "bottom": "0 m", "top": "6 m"}],
    "openings": [
        {
            "name": "vents",
            "vent": [
                {"name": "low", "height": "base", "slot": "10 mm"},
                {"name": "high", "height": "head", "slot": "10 mm"},
            ],
        }
    ],
    "indoor": {"model": "constant", "temperature": "20 degC", "relative_humidity": "50 %"},
    "wetting": {},
    "run": {"segments": 1, "start_month": "January", "max_years": 1},
}


def edited(changes: dict[str, Any], base: dict[str, Any] = BASE) -> str:
    """Return the text of the base wall with keys set, by their path: names and positions joined by full stops."""
    plain = copy.deepcopy(base)
    for path, value in changes.items():
        *way, last = [int(part) if part.isdigit() else part for part in path.split(".")]
        at: Any = plain
        for part, following in itertools.pairwise([*way, last]):
            empty: Any = [] if isinstance(following, int) else {}
            if isinstance(part, int):
                at.extend({} for _ in range(part + 1 - len(at)))
            elif part not in at:
                at[part] = empty
            at = at[part]
        if value is DROP:
            del at[last]
        elif isinstance(last, int) and last == len(at):
            at.append(copy.deepcopy(value))
        else:
            at[last] = copy.deepcopy(value)
    return tomlkit.dumps(plain)


@functools.cache
def climate() -> Any:
    return cavity.read_weather(CLIMATES / "temperate_inland.epw")


# air degC, relative humidity, wind m/s and direction, rain mm/h, sky colder than the air by K, month, sun of the file
SKIES = {
    "winter": (0.0, 0.8, 4.0, 270.0, 0.0, 15.0, 1, False),
    "frost": (-1.0, 0.8, 2.0, 270.0, 0.0, 5.0, 1, False),  # 8 K up and down
    "calm": (0.0, 0.8, 0.0, 270.0, 0.0, 0.0, 1, False),
    "gale": (5.0, 0.8, 12.0, 270.0, 0.0, 10.0, 1, False),
    "rain": (8.0, 0.95, 8.0, 270.0, 2.0, 2.0, 1, False),
    "sun": (20.0, 0.5, 2.0, 270.0, 0.0, 15.0, 7, True),
    "clear": (5.0, 0.95, 1.0, 270.0, 0.0, 30.0, 1, False),
    "side": (5.0, 0.8, 10.0, 0.0, 0.0, 10.0, 1, False),
    "humid": (20.0, 0.97, 1.0, 270.0, 0.0, 2.0, 7, False),
    "autumn": (8.0, 0.8, 4.0, 270.0, 0.0, 15.0, 10, False),
}


@functools.cache
def sky(name: str, hours: int = HOURS) -> Any:
    """Return hours of the same made weather, with the sun of a July day where it shines."""
    if name == "year":
        return climate()
    T, phi, wind, direction, rain, clear, month, sun = SKIES[name]
    days = climate()
    first = int(np.flatnonzero(days["time"].dt.month.values == month)[0])
    made = days.isel(time=slice(first, first + hours)).copy(deep=True)
    if name == "frost":
        T = T + 8.0 * np.cos(2.0 * np.pi * np.arange(made.sizes["time"]) / 24.0)
    T_abs = T + 273.15
    values = {
        "temperature_outdoor": T_abs,
        "relative_humidity_outdoor": phi,
        "vapour_pressure_outdoor": phi * 610.5 * np.exp(17.269 * T / (237.3 + T)),
        "wind_speed": wind,
        "wind_direction": direction,
        "rain": rain / 3600.0,
        "infrared_horizontal": 5.670374e-8 * (T_abs - clear) ** 4,
    }
    for key, value in values.items():
        made[key] = made[key] * 0.0 + value
    if not sun:
        for key in ("global_horizontal", "direct_normal", "diffuse_horizontal"):
            made[key] = made[key] * 0.0
    made.attrs["name"] = name
    return made


class Case:
    """A wall text in a weather; the run is made when it is asked for."""

    def __init__(self, text: str, weather: str, **options: Any) -> None:
        self.text, self.weather, self.options = text, weather, options

    @functools.cached_property
    def wall(self) -> Any:
        return parse_wall(self.text, "keys.toml")

    @property
    def ds(self) -> Any:
        return run(self.text, self.weather, json.dumps(self.options, sort_keys=True))


@functools.cache
def run(text: str, weather: str, options: str) -> Any:
    return cavity.simulate(parse_wall(text, "keys.toml"), sky(weather), **json.loads(options))


# ------------------------------------------------------------------------------- outputs


def of(name: str, hour: int | None = None, **where: Any) -> Any:
    """Return an output: the mean of a variable over all that is not named, in one hour or all."""

    def read(case: Case) -> float:
        found = case.ds[name] if hour is None else case.ds[name].isel(time=hour)
        return float(found.sel(where).mean())

    return read


def swing(name: str, **where: Any) -> Any:
    """Return an output: highest minus lowest hour."""

    def read(case: Case) -> float:
        found = case.ds[name].sel(where).mean("segment")
        return float(found.max() - found.min())

    return read


def booked(term: str) -> Any:
    """Return an output: a term of the water balance [g/m2]."""
    return lambda case: 1e3 * float(case.ds["water_balance"].sel(balance_term=term).mean())


def inflow(case: Case) -> float:
    """Outdoor air that enters [g/(s m)]."""
    return 1e3 * float(case.ds["opening_flow"].clip(min=0.0).sum("opening").mean())


def wall_rain(case: Case) -> float:
    """Driving rain [mm/h]."""
    return 3600.0 * of("driving_rain")(case)


def across(case: Case) -> float:
    """How much warmer the back of the cladding is than the surface across the cavity [K]."""
    return of("temperature", face="back of cladding")(case) - of("temperature", face="outer face of wall")(case)


def u(case: Case) -> float:
    return u_value(case.wall.case()).u_value


def room_vapour(case: Case) -> float:
    """Vapour into the wall from the room in the last hour [g/(m2 h)]."""
    return -3.6e6 * of("vapour_flow", -1, film_face="room face")(case)


def room_loss(case: Case) -> float:
    """Heat out of the room in the last hour [W/m2]."""
    return -of("heat_flux_indoor", -1)(case)


def outer_vapour(case: Case) -> float:
    """Vapour from the cavity air into the backup wall [g/(m2 h)]."""
    return 3.6e6 * of("vapour_flow", film_face="outer face of wall")(case)


def ratio(key: str) -> Any:
    """Return an output: the severity of a criterion, the worst place."""
    return lambda case: max(found.ratio for found in judge(case.ds) if found.key == key)


def criteria(case: Case) -> set[str]:
    return {found.key for found in judge(case.ds)}


def first_column(name: str) -> Any:
    return lambda case: float(getattr(case.wall.columns[0], name))


def january(case: Case) -> Any:
    return cavity.simulate(case.wall, climate(), hours=HOURS)


rate, stack, wind = of("air_change_rate"), of("stack_pressure"), of("wind_pressure")
back_swings = swing("temperature", face="back of cladding")
outer, room_heat, sun = of("temperature", face="outer face"), room_loss, of("sun_on_wall")
site_wind, humidity_indoor = of("wind_speed_site"), of("relative_humidity_indoor")
starts_with = of("water_at_start", layer="sheathing")
sheathing, panel = of("water", -1, layer="sheathing"), of("water", -1, layer="panel")

# ------------------------------------------------------------------------------- the table


@dataclass(frozen=True)
class With:
    """A value, and other keys that must go with it."""

    value: Any
    other: dict[str, Any]


@dataclass(frozen=True)
class Row:
    """A key, two values, an output, and by how much at least the second value moves it; the sign is the direction."""

    path: str
    low: Any
    high: Any
    output: Any
    least: float
    weather: str = "winter"
    context: dict[str, Any] = field(default_factory=dict)

    def case(self, value: Any) -> Case:
        """Return the case with one of the values."""
        other = {}
        if isinstance(value, With):
            value, other = value.value, value.other
        return Case(edited({**self.context, self.path: value, **other}), self.weather)


VENT, HEAD = "openings.0.vent.0", "openings.0.vent.1"
OWN = {  # a material of the file, as far as rows do not change it
    "density": "700 kg/m3", "conductivity": "0.2 W/(m K)", "specific_heat": "1500 J/(kg K)", "mu_dry": 20, "mu_wet": 10,
    "sorption": [["50 %", "20 kg/m3"], ["80 %", "40 kg/m3"]], "free_saturation": "300 kg/m3",
    "max_saturation": "600 kg/m3", "absorption": "0.002 kg/(m2 s0.5)", "mould_class": "sensitive",
}  # fmt: skip


def own(layer: str, **changes: Any) -> dict[str, Any]:
    """Return edits that make a layer of a material of the file."""
    return {f"{layer}.material": "own", "material": {"own": {**OWN, **changes}}}


WIDE = {f"{VENT}.slot": "30 mm", f"{HEAD}.slot": "30 mm"}
CLOSED = {"openings.0.vent": []}
HEAVY = own("cladding.0", density="1800 kg/m3", conductivity="0.8 W/(m K)") | {"cladding.0.thickness": "50 mm"}
RAIL = {"rail": [{"name": "r", "heights": ["3 m"], "gap": "20 mm", "bay": "1 m"}]}
BARRIER = {"barrier": [{"name": "b", "height": "3 m", "free_area": "20 cm2/m"}]}
STRIPS = {"column": [{"name": "a", "bottom": "0 m", "top": "3 m"}, {"name": "b", "bottom": "0 m", "top": "6 m"}]}
BRIDGE = {"backup.2.bridge": {"spacing": "600 mm", "thickness": "1.5 mm"}}
HOUSE = {"column": DROP, "storey": [{"height": "3 m"}, {"height": "3 m"}]}
WINDOW = HOUSE | {"window": [{"left": ["2 m"], "width": "2 m", "sill": "1 m", "head": "2 m", "storeys": [1]}]}
TABLE = {f"{VENT}.exposure": "table"}


def base_vent(**keys: Any) -> dict[str, Any]:
    """Return edits: such a vent at the base, so wide a slot at the head that the base decides."""
    return {"openings.0.vent": [{"height": "base", **keys}, {"height": "head", "slot": "30 mm"}]}


def changed_rail(**keys: Any) -> dict[str, Any]:
    rail = {**RAIL["rail"][0], **keys}
    return {"rail": [{key: value for key, value in rail.items() if value is not DROP}]}


# fmt: off
ROWS = [
    # sun: at noon in July an east wall gets twice what a west wall gets by 14 h of the file's hazy day; a wall that
    # leans back sees more sky, so more sun, a colder surface at night, and its stack is sin 60 = 0.87 of the upright
    Row("wall.orientation", "west", "east", sun, 40.0, "sun"),
    Row("wall.orientation", "west", "east", wall_rain, -0.5, "rain"),  # lee
    Row("wall.orientation", "west", "east", wind, -10.0, "gale"),
    Row("wall.tilt", "90 deg", "60 deg", sun, 20.0, "sun"),
    Row("wall.tilt", "90 deg", "60 deg", outer, -1.0, "clear"),
    Row("wall.tilt", "90 deg", "60 deg", stack, -0.03, "calm"),
    # wind by ASHRAE's profile, 12 m/s at 10 m in the open: at 6 m 4.5 m/s in a city, 13.3 by the sea
    Row("site.terrain", "city", "flat", site_wind, 6.0, "gale"),
    Row("site.terrain", "city", "flat", wind, 25.0, "gale"),
    Row("site.terrain", "city", "flat", wall_rain, 0.3, "rain"),
    Row("site.building_height", "6 m", "30 m", site_wind, 2.0, "gale"),
    Row("site.building_height", "6 m", "30 m", wall_rain, 0.2, "rain"),
    Row("site.building_height", "6 m", "30 m", outer, 0.04),  # wind carries off less of what the clear sky cools
    Row("site.base_height", "0 m", "10 m", wind, 15.0, "gale", {"site.building_height": "16 m"}),
    # only the ratio of the widths counts, and only at an angle, against an opening that the face does not share
    Row("site.wall_width", "10 m", "40 m", wind, -0.6, "side", {f"{HEAD}.exposure": "roof edge"}),
    Row("site.side_width", "10 m", "40 m", wind, 2.0, "side", {f"{HEAD}.exposure": "roof edge"}),
    Row("site.cp_difference", 0.05, 0.3, wind, 6.0, "gale"),  # 0.25 of 37 Pa
    Row("site.cp_profile", [["0 %", 0.0], ["100 %", 0.2]], [["0 %", 0.2], ["100 %", 0.0]], wind, 10.0, "gale"),
    Row("site.ground_albedo", 0.1, 0.6, sun, 40.0, "sun"),  # half of the ground's: 0.25 of 243 W/m2
    Row("site.rain_method", "ISO 15927-3", "ASHRAE 160", wall_rain, 0.1, "rain"),
    Row("site.rain_topography", 1.0, 1.5, wall_rain, 0.4, "rain"),
    Row("site.rain_obstruction", 1.0, 0.4, wall_rain, -0.5, "rain"),
    Row("site.rain_wall_factor", 0.4, 0.2, wall_rain, -0.4, "rain"),
    Row("site.rain_exposure", "sheltered", "severe", wall_rain, 0.5, "rain", {"site.rain_method": "ASHRAE 160"}),
    Row("site.rain_deposition", 0.35, 1.0, wall_rain, 1.8, "rain", {"site.rain_method": "ASHRAE 160"}),
    Row("finish.solar_absorptance", 0.3, 0.9, outer, 2.0, "sun"),
    Row("finish.emissivity", 0.2, 0.9, outer, -1.0, "clear"),
    # the channel: deeper lets more through, but changes it less often; blocked, rough and shallow let less through;
    # still air of 5 mm couples the surfaces by conduction, 25 mm less; a bright surface couples them less
    Row("cavity.depth", "12 mm", "40 mm", inflow, 15.0, context=WIDE),
    Row("cavity.depth", "12 mm", "40 mm", rate, -8.0),
    Row("cavity.depth", "5 mm", "25 mm", across, 0.04, "sun", CLOSED),
    Row("cavity.blocked", 0.0, 0.6, inflow, -10.0, context=WIDE),
    Row("cavity.blocked", 0.0, 0.6, rate, 100.0),  # slots decide the flow, so less volume is changed more often
    Row("cavity.roughness", "0 mm", "5 mm", inflow, -20.0, "gale",
        {f"{VENT}.slot": "100 mm", f"{HEAD}.slot": "100 mm", "site.cp_difference": 1.0}),
    Row("cavity.emissivity_cladding", 0.9, 0.05, across, 0.3, "sun"),
    Row("cavity.emissivity_wall", 0.9, 0.05, across, 0.3, "sun"),
    Row("cavity.film_limit", "100 g/m2", "10 g/m2", lambda case: float(case.ds["film"].max()), -0.08, "rain",
        {"cladding.0.material": "steel", "cladding.0.thickness": "1 mm"}),
    Row("cavity.single_vent_exchange", 0.0, 1.0, rate, 15.0, "gale",
        {"openings.0.vent": [{"height": "base", "slot": "10 mm"}]}),
    Row("cavity.gust_exchange", 0.0, 1.0, rate, 100.0, "gale", {"site.cp_difference": 0.0}),
    Row("cavity.gust_exchange", 1.0, 2.0, rate, 200.0, "gale", {"site.cp_difference": 0.0}),
    # layers and materials: heavier, the cladding swings less from night to noon; better conducting, its back more
    Row("cladding.0.density", "500 kg/m3", "3000 kg/m3", back_swings, -1.5, "sun", HEAVY),
    Row("cladding.0.specific_heat", "500 J/(kg K)", "2500 J/(kg K)", back_swings, -1.5,
        "sun", HEAVY),
    Row("cladding.0.conductivity", "0.1 W/(m K)", "2 W/(m K)", back_swings, 2.0, "sun",
        HEAVY),
    Row("cladding.0.moisture_conductivity", "0 W/(m K)/(kg/m3)", "0.05 W/(m K)/(kg/m3)",
        back_swings, 0.5, "sun", {**HEAVY, "run.start_humidity": "95 %"}),
    Row("cladding.0.emissivity", 0.9, 0.05, across, 0.3, "sun", own("cladding.0")),
    Row("cladding.0.absorption", "0 kg/(m2 s0.5)", "0.05 kg/(m2 s0.5)", panel, 0.8, "rain", own("cladding.0")),
    Row("cladding.0.diffusivity", [["0 kg/m3", "1e-13 m2/s"], ["300 kg/m3", "1e-13 m2/s"]],
        [["0 kg/m3", "1e-9 m2/s"], ["300 kg/m3", "1e-8 m2/s"]], panel, 0.8, "rain", own("cladding.0")),
    Row("backup.2.material", "mineral wool", "softwood", u, 0.3),
    Row("backup.2.material", "mineral wool", "softwood", room_heat, 4.0),
    Row("backup.2.thickness", "50 mm", "200 mm", room_heat, -4.0),
    Row("backup.3.mu", 5, 200, room_vapour, -1.0, context={**own("backup.3"), "run.start_humidity": "30 %"}),
    Row("backup.3.mu_dry", 5, 200, room_vapour, -0.2,
        context={**own("backup.3", mu_wet=5), "run.start_humidity": "10 %", "indoor.relative_humidity": "20 %"}),
    Row("backup.3.mu_wet", 5, 200, room_vapour, -3.0,
        context={**own("backup.3", mu_dry=200), "run.start_humidity": "60 %", "indoor.relative_humidity": "95 %"}),
    Row("backup.3.mu_table", [["0 %", 5], ["100 %", 5]], [["0 %", 200], ["100 %", 200]], room_vapour, -1.0,
        context={**own("backup.3"), "run.start_humidity": "30 %"}),
    Row("backup.1.sorption", [["50 %", "20 kg/m3"], ["80 %", "40 kg/m3"]], [["50 %", "40 kg/m3"], ["80 %", "80 kg/m3"]],
        starts_with, 0.4, context=own("backup.1")),  # 40 kg/m3 of 12 mm
    Row("backup.1.free_saturation", "300 kg/m3", "500 kg/m3", starts_with, 0.1,
        context={**own("backup.1"), "run.start_humidity": "98 %"}),
    Row("backup.1.max_saturation", "400 kg/m3", "900 kg/m3", of("layer_max_water", layer="sheathing"), 5.9,
        context=own("backup.1")),
    Row("backup.3.mould_class", "resistant", "very sensitive", ratio("mould_room"), 0.01, "humid",
        {**own("backup.3"), "indoor.relative_humidity": "97 %", "run.start_humidity": "97 %"}),
    # a membrane holds back the vapour that a wet wall gives to the cavity; 9 000 ng are 0.02 m
    Row("backup.0.sd", "0.02 m", "20 m", outer_vapour, 0.8, context={"run.start_humidity": "95 %"}),
    Row("backup.0.permeance", "9000 ng/(Pa s m2)", "10 ng/(Pa s m2)", outer_vapour, 0.8,
        context={"run.start_humidity": "95 %", "backup.0.sd": DROP}),
    Row("backup.0.sd_table", [["0 %", "0.02 m"], ["100 %", "0.02 m"]], [["0 %", "20 m"], ["100 %", "20 m"]],
        outer_vapour, 0.8, context={"run.start_humidity": "95 %", "backup.0.sd": DROP}),
    Row("material.own.sd", "0.02 m", "20 m", outer_vapour, 0.8,
        context={**own("backup.0"), "run.start_humidity": "95 %", "backup.0.sd": DROP}),
    Row("material.own.sd_table", [["0 %", "0.02 m"], ["100 %", "0.02 m"]], [["0 %", "20 m"], ["100 %", "20 m"]],
        outer_vapour, 0.8, context={**own("backup.0"), "run.start_humidity": "95 %", "backup.0.sd": DROP}),
    Row("material.own.wood", False, True, lambda case: float("wood_moisture" in criteria(case)), 1.0,
        context={**own("backup.3"), "backup.1.material": "gypsum sheathing"}),
    Row("material.own.metal", False, True, lambda case: float("wetness_wall" in criteria(case)), 1.0,
        context=own("backup.3")),
    # studs and metal: ISO 6946; the cold spot at rails gets colder with more metal and warmer with a wider flange,
    # which spreads the same loss of the web; the wide flange also bridges more of the wall
    Row("backup.2.frame.fraction", "10 %", "30 %", u, 0.06),
    Row("backup.2.frame.width", "45 mm", "90 mm", u, 0.02, context={"backup.2.frame.spacing": "600 mm"}),
    Row("backup.2.frame.spacing", "600 mm", "300 mm", u, 0.02, context={"backup.2.frame.width": "45 mm"}),
    Row("backup.2.frame.material", "softwood", "hardwood", u, 0.02, context={"backup.2.frame.fraction": "20 %"}),
    Row("backup.2.bridge.spacing", "600 mm", "300 mm", u, 0.1, context=BRIDGE),
    Row("backup.2.bridge.thickness", "1 mm", "3 mm", u, 0.03, context=BRIDGE),
    Row("backup.2.bridge.thickness", "1 mm", "3 mm", of("rail_temperature"), -0.6, context=BRIDGE),
    Row("backup.2.bridge.flange", "20 mm", "80 mm", of("rail_temperature"), 0.3, context=BRIDGE),
    Row("backup.2.bridge.flange", "20 mm", "80 mm", u, 0.08, context=BRIDGE),
    Row("backup.2.bridge.material", "stainless steel", "aluminium", of("rail_temperature"), -1.0, context=BRIDGE),
    Row("backup.2.bridge.conductance", "0.2 W/(m2 K)", "1 W/(m2 K)", of("rail_temperature"), -1.0),
    Row("backup.2.bridge.psi", "0.01 W/(m K)", "0.05 W/(m K)", u, 0.06, context={"backup.2.bridge.spacing": "600 mm"}),
    Row("backup.2.brackets.chi", "0.01 W/K", "0.05 W/K", u, 0.07, context={"backup.2.brackets.per_m2": 2.0}),
    Row("backup.2.brackets.per_m2", 1.0, 4.0, u, 0.05, context={"backup.2.brackets.chi": "0.02 W/K"}),
    # strips of the cavity and the elevation they follow from
    Row("column.0.top", "6 m", "3 m", stack, -0.1, "calm"),
    Row("column.0.bottom", "0 m", "3 m", stack, -0.1, "calm"),
    Row("storey.0.height", "3 m", "5 m", first_column("top"), 2.0, context={**HOUSE, "site.building_height": "20 m"}),
    Row("storey.0.repeat", 1, 3, first_column("top"), 6.0, context={**HOUSE, "site.building_height": "20 m"}),
    Row("window.0.left", ["2 m"], ["2 m", "5 m"], first_column("fraction"), -0.19, context=WINDOW),
    Row("window.0.width", "1 m", "3 m", first_column("fraction"), -0.19, context=WINDOW),
    Row("window.0.fraction", "20 %", "50 %", first_column("fraction"), -0.29,
        context=WINDOW | {"window": [{"sill": "1 m", "head": "2 m", "storeys": [1]}]}),
    Row("window.0.sill", "1 m", "1.5 m", lambda case: case.wall.columns[1].top, 0.5, context=WINDOW),
    Row("window.0.head", "2 m", "2.5 m", lambda case: case.wall.columns[2].bottom, 0.5, context=WINDOW),
    Row("window.0.storeys", [1], [2], lambda case: case.wall.columns[1].top, 3.0, context=WINDOW),
    # rails, barriers: more metal in the way, less air
    Row("rail.0.heights", ["3 m"], ["1 m", "2 m", "3 m", "4 m"], inflow, -0.3, context=RAIL),
    Row("rail.0.spacing", "3 m", "600 mm", inflow, -0.4, context=changed_rail(heights=DROP)),
    Row("rail.0.gap", "20 mm", "200 mm", inflow, 3.0, context=RAIL),
    Row("rail.0.bay", "1 m", "4 m", inflow, -0.4, context=RAIL),
    Row("rail.0.gaps", 1, 2, inflow, 0.6, context=RAIL),
    Row("rail.0.porosity", 0.3, 0.8, inflow, 0.3, context=changed_rail(hole="5 mm")),
    Row("rail.0.wire", "0.2 mm", "2 mm", inflow, 0.1, context=changed_rail(porosity=0.5)),  # finer mesh, more friction
    Row("rail.0.hole", "1 mm", "20 mm", inflow, 0.02, context=changed_rail(porosity=0.5)),
    Row("rail.0.edges", "sharp", "rounded", inflow, 0.1, context=RAIL),
    Row("rail.0.gap_length_along_flow", "0 mm", "400 mm", inflow, -0.2, context=changed_rail(gap="5 mm", bay="300 mm")),
    Row("rail.0.discharge", 0.4, 0.9, inflow, 0.5, context=RAIL),
    Row("rail.0.columns", ["a"], ["b"], inflow, 1.0, context={**STRIPS, **changed_rail(heights=["1.5 m"])}),  # a counts
    Row("barrier.0.height", "3 m", "1 m", lambda case: float(case.ds["part_height"].values[1]), -2.0, context=BARRIER),
    Row("barrier.0.at", "storeys", "window heads", lambda case: case.wall.barriers[0].height, -0.9,
        context=WINDOW | {"barrier": [{"name": "b"}]}),
    Row("barrier.0.above", "50 mm", "500 mm", lambda case: case.wall.barriers[0].height, 0.4,
        context=WINDOW | {"barrier": [{"name": "b", "at": "storeys"}]}),
    Row("barrier.0.free_area", "0 cm2/m", "50 cm2/m", inflow, 3.0, context=BARRIER),
    Row("barrier.0.discharge", 0.3, 0.9, inflow, 2.0, context=BARRIER),
    Row("barrier.0.columns", ["a"], ["b"], inflow, 0.3,
        context={**STRIPS, "barrier": [{"name": "b", "height": "1.5 m", "free_area": "5 cm2/m"}]}),
    # vents
    Row("openings.0.vent", [], [{"height": "base", "slot": "10 mm"}, {"height": "head", "slot": "10 mm"}], inflow, 5.0),
    Row("openings.0.rail", [], [{"name": "x", "heights": ["3 m"], "gap": "5 mm", "bay": "1 m"}], inflow, -5.0),
    Row(f"{VENT}.slot", "5 mm", "20 mm", inflow, 3.0),
    Row(f"{VENT}.height", "base", "3 m", stack, -0.1, "calm"),
    Row(f"{VENT}.heights", ["1 m"], ["1 m", "2 m"], lambda case: float(case.ds.sizes["opening"]), 1.0,
        context={f"{VENT}.height": DROP}),
    Row(f"{VENT}.spacing", "3 m", "1 m", lambda case: float(case.ds.sizes["opening"]), 4.0,
        context={f"{VENT}.height": DROP}),
    Row(f"{VENT}.kind", "slot", With("mesh", {f"{VENT}.porosity": 0.5, f"{VENT}.wire": "0.5 mm"}), inflow, -1.0),
    Row(f"{VENT}.kind", "slot", With("louvre", {f"{VENT}.blade_angle": "60 deg"}), inflow, -1.0),
    Row(f"{VENT}.holes.per_metre", 2, 8, inflow, 2.0, context=base_vent(holes={"width": "20 mm", "height": "20 mm"})),
    Row(f"{VENT}.holes.width", "10 mm", "40 mm", inflow, 2.5,
        context=base_vent(holes={"per_metre": 4, "height": "20 mm"})),
    Row(f"{VENT}.holes.height", "10 mm", "40 mm", inflow, 5.0,
        context=base_vent(holes={"per_metre": 4, "width": "40 mm"})),
    Row(f"{VENT}.free_area", "30 cm2/m", "100 cm2/m", inflow, 5.0, context=base_vent(clear_height="10 mm")),
    # holes of the same area: smaller ones rub more
    Row(f"{VENT}.clear_height", "0.5 mm", "20 mm", inflow, 0.2, "calm", base_vent(free_area="50 cm2/m")),
    Row(f"{VENT}.hole", "0.5 mm", "20 mm", inflow, 0.4, "calm",
        base_vent(kind="perforated", slot="10 mm", porosity=0.4)),
    Row(f"{VENT}.porosity", 0.3, 0.8, inflow, 4.0, context=base_vent(kind="mesh", slot="10 mm", wire="0.5 mm")),
    Row(f"{VENT}.wire", "0.1 mm", "2 mm", inflow, 1.5, context=base_vent(kind="mesh", slot="10 mm", porosity=0.5)),
    Row(f"{VENT}.blade_angle", "10 deg", "60 deg", inflow, -6.0, context=base_vent(kind="louvre", slot="10 mm")),
    Row(f"{VENT}.discharge", 0.3, 0.9, inflow, 2.0, context=base_vent(slot="3 mm")),
    Row(f"{VENT}.bends", 0, 4, inflow, -1.5),
    Row(f"{HEAD}.exposure", "face", "roof edge", wind, 15.0, "gale"),  # the edge sucks
    Row(f"{VENT}.cp_shift", 0.0, 0.5, wind, 15.0, "gale"),  # half of 37 Pa
    Row(f"{VENT}.cp_table", [["0 deg", 0.1], ["180 deg", 0.1]], [["0 deg", 0.9], ["180 deg", 0.9]], wind, 20.0, "gale",
        TABLE),
    Row(f"{VENT}.columns", ["a"], ["b"], lambda case: float(case.ds.sizes["opening"]), -1.0, context=STRIPS),
    # the room
    Row("indoor.model", "EN 15026", "ASHRAE 160", humidity_indoor, 0.05, context={"indoor": {}}),
    Row("indoor.model", "constant", With("monthly", {"indoor.temperature": ["22 degC"] * 12,
        "indoor.relative_humidity": ["60 %"] * 12}), humidity_indoor, 0.09),
    Row("indoor.load", "normal", "high", humidity_indoor, 0.09, context={"indoor": {"model": "EN 15026"}}),
    Row("indoor.humidity_class", 1, 5, lambda case: float(january(case)["relative_humidity_indoor"].mean()), 0.1,
        context={"indoor": {"model": "ISO 13788"}}),
    Row("indoor.bedrooms", 1, 6, humidity_indoor, 0.1, context={"indoor": {"model": "ASHRAE 160 intermediate"}}),
    Row("indoor.air_changes", "0.2 1/h", "1 1/h", humidity_indoor, -0.1,
        context={"indoor": {"model": "ASHRAE 160 intermediate"}}),
    Row("indoor.volume", "200 m3", "1000 m3", humidity_indoor, -0.2,
        context={"indoor": {"model": "ASHRAE 160 intermediate"}}),
    Row("indoor.temperature", "15 degC", "25 degC", room_heat, 1.5),
    Row("indoor.relative_humidity", "30 %", "70 %", room_vapour, 1.0),
    Row("indoor.humidity_shift", -0.1, 0.1, humidity_indoor, 0.19),
    # wetting: of 1 mm/h on the wall in 24 h a tenth is 2.3 kg/m2
    Row("wetting.rain_penetration", "0 %", "10 %", booked("rain penetration"), 2000.0, "rain"),
    Row("wetting.rain_penetration", "0 %", "10 %", booked("rain on the wall"), -2000.0, "rain"),
    Row("wetting.rain_penetration_layer", "membrane", "insulation", sheathing, 0.05, "rain",
        {"wetting.rain_penetration": "10 %"}),
    # 1 m3/(m2 h) at 1.2 kg/m3 for 24 h, of which 20 degC / 50 % leaves 7.3 g/kg less what 0 degC still holds
    Row("wetting.leak_flow", "0 m3/(m2 h)", "1 m3/(m2 h)", booked("room air leaks"), 40.0,
        context={"wetting.leak_layer": "insulation"}),
    Row("wetting.leak_layer", "sheathing", "insulation", of("relative_humidity", -1, face="sheathing | insulation"),
        0.03, context={"wetting.leak_flow": "5 m3/(m2 h)"}),
    Row("wetting.leak_q50", "1 m3/(m2 h)", "20 m3/(m2 h)", booked("room air leaks"), 3.0),
    Row("wetting.leak_height", "3 m", "12 m", booked("room air leaks"), 2.0,
        context={"wetting.leak_q50": "5 m3/(m2 h)"}),
    # the run
    Row("run.segments", 1, 4, lambda case: float(case.ds.sizes["segment"]), 3.0),
    Row("run.start_humidity", "40 %", "90 %", starts_with, 0.6),
    Row("run.start_month", "January", "October", lambda case: float(january(case)["temperature_outdoor"].mean()), 2.0),
    Row("run.construction_water", {"sheathing": "50 kg/m3"}, {"sheathing": "150 kg/m3"}, starts_with, 1.1),
    Row("run.max_years", 1, 3, lambda case: float(case.ds.attrs["years_run"]), 2.0,
        context={"run.start_humidity": "95 %"}),
    Row("run.max_years", 1, 3, sheathing, 0.04, context={"run.start_humidity": "95 %"}),  # the room goes on wetting it
    # a wet panel that freezes at night swings less
    Row("run.freezing", False, True, back_swings, -0.05, "frost",
        {"run.start_humidity": "95 %", "cladding.0.thickness": "20 mm"}),
    Row("run.stud_line", False, True, lambda case: float("stud_temperature" in case.ds), 1.0,
        context={"backup.2.frame.fraction": "15 %"}),
    # what is compared
    Row("compare.depths", ["20 mm"], ["20 mm", "40 mm"], lambda case: float(len(case.wall.depths)), 1.0),
    Row("compare.openings", ["vents"], ["none", "vents"], inflow, -5.0,
        context={"openings.1": {"name": "none", "vent": []}}),
    Row("compare.clogged", {"slot": "20 %"}, {"slot": "80 %"},
        lambda case: 1e4 * case.wall.opening_sets[1].openings[0].free_area, -55.0),  # cm2/m of 100
    Row("compare.clogged", {"mesh": "20 %"}, {"mesh": "80 %"},
        lambda case: 1e4 * case.wall.opening_sets[1].openings[0].free_area, -29.0,  # of 50
        context=base_vent(kind="mesh", slot="10 mm", porosity=0.5, wire="0.5 mm")),
]
# fmt: on


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.path)
def test_a_key_moves_what_it_is_for(row):
    before, after = row.output(row.case(row.low)), row.output(row.case(row.high))
    moved = (after - before) * math.copysign(1.0, row.least)
    assert moved >= abs(row.least) * (1.0 - 1e-9), f"{before:.6g} to {after:.6g}"


# ------------------------------------------------------------------------------- the same key in another place

IDS = lambda value: value if isinstance(value, str) else ""  # noqa: E731
PLAIN = ("name", "title", "group", "also", "source", "basis")  # of a material: words


def key_of(row: Row) -> str:
    return row.path.rsplit(".", 1)[1]


def of_layers(section: type[BaseModel], *, deep: bool = False) -> list[Row]:
    """Return the rows of a layer whose key is one of a section, or of those below it."""
    rows = [row for row in ROWS if row.path.startswith(("cladding.", "backup."))]
    return [row for row in rows if key_of(row) in section.model_fields or (deep and row.path.count(".") > 2)]


@pytest.mark.parametrize("row", of_layers(schema.MaterialValues), ids=lambda row: row.path)
def test_a_material_of_the_file_takes_the_values_of_a_layer(row):
    part, index, key = row.path.split(".")
    materials = []
    for value in (row.low, row.high):
        over = row.case(value).wall
        changes = {f"material.own.{key}": value}
        if key in ("mu", "mu_table"):  # on a layer these replace both cups
            changes |= {"material.own.mu_dry": DROP, "material.own.mu_wet": DROP}
        kept = Case(edited({**row.context, **changes}), row.weather).wall
        pair = [getattr(wall, part)[int(index)].material for wall in (over, kept)]
        same, other = ({k: v for k, v in asdict(one).items() if k not in PLAIN} for one in pair)
        assert same == other
        materials.append(same)
    assert materials[0] != materials[1]


@pytest.mark.parametrize("row", of_layers(schema.VariantEntry, deep=True), ids=lambda row: row.path)
def test_a_variant_is_read_as_a_layer_is(row):
    part, index = row.path.split(".")[:2]
    layers = []
    for value in (row.low, row.high):
        plain = tomlkit.parse(row.case(value).text).unwrap()
        entry = plain[part][int(index)]
        text = edited({"variant": [{**entry, "name": "v", "replaces": entry["name"]}]}, plain)
        wall = parse_wall(text, "keys.toml")
        drawn = getattr(wall, part)[int(index)]
        (name, replaced, layer), *_ = wall.variants
        assert (name, replaced) == ("v", drawn.name)
        assert replace(layer, name=drawn.name) == drawn
        changed = with_variant(wall, "v")
        assert replace(getattr(changed, part)[int(index)], name=drawn.name) == drawn
        layers.append(layer)
    assert layers[0] != layers[1]


@pytest.mark.parametrize("row", [row for row in ROWS if row.path.startswith("rail.")], ids=lambda row: row.path)
def test_rails_of_a_set_are_read_as_those_of_the_wall(row):
    found = []
    for value in (row.low, row.high):
        plain = tomlkit.parse(row.case(value).text).unwrap()
        wall = parse_wall(edited({"openings.0.rail": plain["rail"]}, plain), "keys.toml")
        assert wall.opening_sets[0].rails == wall.rails != ()
        found.append(wall.rails)
    assert found[0] != found[1]


def first_row(name: str) -> Row:
    section, key = name.split(".")
    return next(row for row in ROWS if row.path == f"{section}.{key}")


@pytest.mark.parametrize("name", sorted(name for name in UNCERTAIN if not name.endswith("factor") or "rain" in name))
def test_a_range_of_an_uncertain_key_ends_at_the_walls_with_its_values(name):
    row = first_row(name)
    low, high = row.low, row.high
    ends = sorted((low, high), key=lambda value: UNCERTAIN[name].read(value))
    plain = tomlkit.parse(row.case(low).text).unwrap()
    section, key = name.split(".")
    wall = parse_wall(edited({"uncertain": {section: {key: ends}}}, plain), "keys.toml")
    (given,) = (each for each in ranges_of(wall) if each.name == name)
    for value, end in zip(ends, (given.low, given.high), strict=True):
        bare = replace(row.case(value).wall, text="")
        varied = replace(changed(wall, name, end), text="", uncertain=())
        assert plainly(varied) == plainly(bare)


def plainly(wall: Any) -> dict[str, Any]:
    """Return a wall as plain values, numbers to 12 digits; leak_layer follows from there being a leak."""
    found = json.loads(json.dumps(asdict(wall)), parse_float=lambda text: float(f"{float(text):.12g}"))
    del found["warnings"]
    return found


FACTORS = [
    # twice the area, half the loss of a mesh, twice the gap: more air; twice the resistance: less vapour
    ("openings.area_factor", 0.5, 2.0, inflow, 4.0, {}),
    ("openings.mesh_factor", 0.5, 2.0, inflow, -1.0, base_vent(kind="mesh", slot="10 mm", porosity=0.4, wire="0.5 mm")),
    ("rail.gap_factor", 0.5, 2.0, inflow, 0.4, RAIL),
    ("backup.vapour_factor", 0.5, 2.0, room_vapour, -0.3, {"run.start_humidity": "30 %"}),
    ("backup.vapour_factor", 0.5, 2.0, outer_vapour, 0.05, {"run.start_humidity": "95 %", "backup.0.sd": "1 m"}),
]


@pytest.mark.parametrize(("name", "low", "high", "output", "least", "context"), FACTORS, ids=IDS)
def test_an_uncertain_factor_moves_what_it_is_for(name, low, high, output, least, context):
    section, key = name.split(".")
    text = edited({**context, "uncertain": {section: {key: [low, high]}}})
    wall = parse_wall(text, "keys.toml")
    (given,) = (each for each in ranges_of(wall) if each.name == name)
    ends = [
        output(SimpleNamespace(ds=cavity.simulate(changed(wall, name, end), sky("winter")), wall=wall))
        for end in (given.low, given.high)
    ]
    assert (ends[1] - ends[0]) * math.copysign(1.0, least) >= abs(least)


# ------------------------------------------------------------------------------- thresholds


@pytest.fixture(scope="module")
def soaked():
    """A made year in which every criterion has something to judge."""
    ds = make_dataset(damp=0.8, metal=True)
    t = np.arange(ds.sizes["time"])
    winter = np.cos(2.0 * np.pi * t / 8760.0)
    faces, layers = list(ds["face"].values), list(ds["layer"].values)
    film = np.clip(0.3 * (1.0 - np.abs(t - 3000) / 1440.0), 0.0, None)  # grows for 60 days, dries in 60
    ds = with_face(ds, "room face", temperature=293.15 + 0.0 * t, relative_humidity=0.84 + 0.04 * winter)
    ds = with_face(ds, "mineral wool | vapour retarder", relative_humidity=np.where(winter > 0.3, 0.9, 0.6))
    ds = with_face(ds, "OSB | mineral wool", relative_humidity=np.where(film > 0.0, 1.0, 0.8))
    ds["face_metal"].values[faces.index("mineral wool | vapour retarder")] = 1
    for face in ("outer face of wall", "OSB | mineral wool"):
        at = faces.index(face)
        ds["face_film"].values[:, :, at] = film[:, None]
        ds["film_by_vapour"].values[:, :, at] = np.diff(film, prepend=0.0)[:, None] / 3600.0
    # freezes every other day, and holds the film's water besides its own
    swings = -12.0 + 3.0 * np.sin(2.0 * np.pi * t / 48.0)
    ds["temperature"].values[:, :, faces.index("OSB | mineral wool")] += swings[:, None]
    ds["water"].values[:, :, layers.index("OSB")] = (0.9 + film)[:, None]
    ds["layer_max_water"].values[layers.index("OSB")] = 1.5
    return ds


# key, two values, criterion, its ratio by at least so much (or its status, where 0), other limits
LIMIT_ROWS = [
    ("mould_index", 1.0, 5.0, "mould", -2.0, {}),
    ("mould_index_review", 0.5, 5.9, "mould_room", 0.0, None),
    ("mould_room_review", 0.1, 5.9, "mould_room", 0.0, {}),
    ("mould_decline", 0.1, 1.0, "mould", -0.2, {}),
    ("mould_years", 1.0, 30.0, "mould", 0.3, {}),
    ("humidity_mean", "50 %", "95 %", "humidity", -0.5, {}),
    ("wood_moisture", "5 %", "50 %", "wood_moisture", -2.0, {}),
    ("wood_moisture_review", "5 %", "19 %", "wood_moisture", 0.0, {}),
    ("decay_activation", 0.05, 1.0, "decay", -10.0, {}),
    ("condensate_runoff", "50 g/m2", "600 g/m2", "condensate_face", 0.0, {}),
    ("condensate_smooth", "100 g/m2", "1000 g/m2", "condensate_face", -2.0, {}),
    ("condensate_absorbent", "100 g/m2", "1000 g/m2", "condensate_inside", -4.0, {}),
    ("condensate_wood", "1 %", "20 %", "condensate_wood", -3.0, {}),
    ("condensate_wood_board", "1 %", "20 %", "condensate_wood", -3.0, {}),
    ("dew_hours", "100 h", "5000 h", "dew_point", -20.0, {}),
    ("film", "50 g/m2", "500 g/m2", "film", -1.0, {}),
    ("residue", "10 g/m2", "1 kg/m2", "residue", -5.0, {}),
    ("wetness_cavity", "1000 h", "8000 h", "wetness", -3.0, {}),
    ("wetness_wall", "500 h", "5400 h", "wetness_wall", 0.0, {}),
    ("freeze_saturation", "50 %", "90 %", "frost", -20.0, {}),
    ("freeze_temperature", "-20 degC", "-1 degC", "frost", 2.0, {"freeze_saturation": "61 %"}),
    ("freeze_cycles", 1.0, 100.0, "frost", -10.0, {"freeze_saturation": "61 %"}),
]


@pytest.mark.parametrize(("key", "low", "high", "criterion", "least", "other"), LIMIT_ROWS, ids=IDS)
def test_a_threshold_moves_its_criterion(soaked, key, low, high, criterion, least, other):
    ds = soaked
    if key == "condensate_wood":
        ds = soaked.copy(deep=True)
        ds["layer_wood_board"].values[:] = 0  # solid wood
    if key == "mould_index_review":
        criterion, other = "mould", {"mould_index": 6.0}
    found = []
    for value in (low, high):
        wall = parse_wall(edited({"limits": {**other, key: value}}), "keys.toml")
        judged = [each for each in judge(ds, dict(wall.limits)) if each.key == criterion]
        found.append(max(judged, key=lambda each: each.ratio))
    if least:
        assert (found[1].ratio - found[0].ratio) * math.copysign(1.0, least) >= abs(least)
    else:
        assert (found[0].status, found[1].status) == ("review", "pass")


def test_the_limit_of_days_judges_the_drying_of_a_wetting_event():
    left = 0.5 * 0.1 ** (np.arange(24 * 300) / (24.0 * 60.0))  # a tenth after 60 days
    few, many = (
        drying(left, left, 0.5, limits=dict(parse_wall(edited({"limits.drying_days": days}), "keys.toml").limits))
        for days in ("30 day", "90 day")
    )
    assert (few.status, many.status) == ("review", "pass")


def test_the_thresholds_of_the_file_reach_the_findings_of_a_study():
    found = []
    for limit in ("5 %", "50 %"):
        wall = parse_wall(edited({"limits.wood_moisture": limit}), "keys.toml")
        with Engine(1, fresh=True) as engine:
            (result,) = engine.run([Job(wall.case(), sky("winter"))], keep="findings")
        found.append(next(each for each in result.findings if each.key == "wood_moisture"))
    assert (found[0].status, found[1].status) == ("fail", "pass")


# ------------------------------------------------------------------------------- rules of the user's own


def outcome(**rule: Any) -> tuple[str, Any]:
    case = Case(edited({"rule": [{"document": "d", "quantity": "cavity depth", **rule}]}), "winter")
    return next(each.outcome for each in checks(case.ds) if each.document == "d")


def test_a_rule_of_the_file_is_held_to_its_quantity_and_bounds():
    assert outcome(at_least="25 mm") == outcome(at_most="35 mm") == "met"
    assert outcome(at_least="35 mm") == outcome(at_most="25 mm") == "not met"
    # vents of 100 cm2/m at each end
    assert outcome(quantity="vents in the lower half", at_least="90 cm2/m", at_most="110 cm2/m") == "met"
    assert outcome(quantity="free vent area", at_most="110 cm2/m") == "not met"


# ------------------------------------------------------------------------------- complete

# keys of the file that cannot move a result, and why
WORDS = "a name, or words for the reader"
CANNOT = {
    "WallSection.name": WORDS, "WallSection.description": WORDS, "WallSection.invented": WORDS,
    "MaterialEntry.title": WORDS, "MaterialEntry.group": WORDS, "MaterialEntry.also": WORDS,
    "MaterialEntry.basis": WORDS, "MaterialEntry.source": WORDS,
    "MaterialEntry.thickness": "named in the error of a layer without one",
    "LayerEntry.name": WORDS, "VariantEntry.name": WORDS, "ColumnEntry.name": WORDS, "WindowEntry.name": WORDS,
    "RailEntry.name": WORDS, "BarrierEntry.name": WORDS, "VentEntry.name": WORDS, "OpeningsEntry.name": WORDS,
    "ColumnEntry.fraction": "reports say how much wall is concerned",
    "RuleEntry.document": WORDS, "RuleEntry.clause": WORDS, "RuleEntry.edition": WORDS,
}  # fmt: skip
# held by tests of their own above
ELSEWHERE = {
    "LimitsSection.drying_days", "RuleEntry.quantity", "RuleEntry.at_least", "RuleEntry.at_most",
    "VariantEntry.replaces",
    "IndoorSection.file",  # test_indoor.py, and below
}  # fmt: skip


def sections(model: type[BaseModel] = WallFile) -> dict[str, type[BaseModel]]:
    """Return every section of the schema below one, by the name of its class."""
    found = {} if model is WallFile else {model.__name__: model}
    for info in model.model_fields.values():
        for inner in inside(info.annotation):
            found |= sections(inner)
    return found


def inside(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [each for part in get_args(annotation) for each in inside(part)]


def class_of(path: str) -> str:
    """Return Section.key of a path of the table."""
    at: type[BaseModel] = WallFile
    *way, last = [part for part in path.split(".") if not part.isdigit()]
    for part in way:
        if part in at.model_fields:
            (at,) = inside(at.model_fields[part].annotation) or (at,)
    return f"{at.__name__}.{last}"


def test_the_table_of_keys_is_complete():
    wanted = {
        f"{name}.{key}"
        for name, section in sections().items()
        for key, info in section.model_fields.items()
        if not inside(info.annotation) or key in ("vent", "rail")
    }
    held = {class_of(row.path) for row in ROWS} | {f"LimitsSection.{row[0]}" for row in LIMIT_ROWS} | ELSEWHERE
    # what the tests of the same key in another place take from the rows of a layer
    held |= {f"MaterialEntry.{key_of(row)}" for row in of_layers(schema.MaterialValues)}
    held |= {f"VariantEntry.{key_of(row)}" for row in of_layers(schema.LayerEntry)}
    assert sorted(wanted - held - set(CANNOT)) == []
    assert sorted((held | set(CANNOT)) - wanted) == []  # no row of a key that is gone
    assert not held & set(CANNOT)


def test_every_uncertain_input_is_tried():
    tried = {row[0] for row in FACTORS} | {name for name in UNCERTAIN if any(row.path == name for row in ROWS)}
    assert tried == set(UNCERTAIN)


def test_a_file_of_the_room_is_read_from_beside_the_wall(tmp_path):
    found = []
    for phi in (30, 70):
        rows = "\n".join(f"20,{phi}" for _ in range(HOURS))
        (tmp_path / f"room{phi}.csv").write_text(f"temperature_degC,relative_humidity_percent\n{rows}\n")
        (tmp_path / "wall.toml").write_text(edited({"indoor": {"model": "file", "file": f"room{phi}.csv"}}))
        ds = cavity.simulate(cavity.read_wall(tmp_path / "wall.toml"), sky("winter"))
        found.append(float(ds["relative_humidity_indoor"].mean()))
    assert found == pytest.approx([0.3, 0.7])


# ------------------------------------------------------------------------------- options of simulate and compare

SETS = {"openings.1": {"name": "wide", "vent": [{"height": end, "slot": "40 mm"} for end in ("base", "head")]}}
SUNNY = of("temperature", 15, face="back of cladding")
# option, two values, output, least, context
SIMULATE = [
    ("opening_set", "vents", "wide", inflow, 10.0, SETS),
    ("depth", 0.012, 0.04, inflow, 15.0, WIDE),
    ("depth", 0.04, 0.012, rate, 8.0, {}),  # the volume
    ("depth", 0.005, 0.025, across, 0.04, CLOSED),  # still air in sun
    ("column", "a", "b", stack, 0.1, STRIPS),
    ("hours", 6, 12, lambda case: float(case.ds.sizes["time"]), 6.0, {}),
]


@pytest.mark.parametrize(("option", "low", "high", "output", "least", "context"), SIMULATE, ids=IDS)
def test_an_option_of_simulate_moves_what_it_is_for(option, low, high, output, least, context):
    weather = "calm" if output is stack else "sun" if output is across else "winter"
    before, after = (output(Case(edited(context), weather, **{option: value})) for value in (low, high))
    assert after - before >= least, f"{before:.6g} to {after:.6g}"


def test_the_options_of_simulate_are_all_tried():
    options = [name for name, one in signature(cavity.simulate).parameters.items() if one.kind is one.KEYWORD_ONLY]
    assert sorted(options) == sorted({row[0] for row in SIMULATE} | {"refine_cells", "refine_steps"})  # below


@pytest.mark.parametrize("option", ["refine_cells", "refine_steps"])
def test_smaller_cells_and_steps_are_taken_and_draw_nearer_to_each_other(option):
    def noon(value: int) -> float:
        return SUNNY(Case(edited(HEAVY), "sun", **{option: value}))

    one, two, four = noon(1), noon(2), noon(4)
    assert 0.0 < abs(four - two) < abs(two - one) < 0.2  # K


@pytest.fixture(scope="module")
def compared():
    """A wall with two strips and a variant, compared in two weathers by each option in turn."""
    text = edited({**STRIPS, "variant": [{"name": "thick", "replaces": "insulation", "material": "mineral wool",
                                          "thickness": "200 mm"}]})  # fmt: skip
    wall = parse_wall(text, "keys.toml")
    return lambda **options: cavity.compare(wall, sky("winter"), confidence=False, **options)


def test_the_options_of_compare_choose_what_is_compared(compared):
    plain = compared()
    assert [(one.column, one.orientation, one.variant) for one in plain.cases] == [("a", 270.0, ""), ("b", 270.0, "")]
    assert [case.column for case in compared(columns=["b"]).cases] == ["b"]
    turned = compared(columns=["b"], facings="E")
    lee, windward = (float(one.dataset["wind_pressure"].mean()) for one in (turned.cases[0], plain.cases[1]))
    assert lee < windward - 1.0
    drawn, thick = compared(columns=["b"], variants="thick").cases
    assert (drawn.variant, thick.variant) == ("", "thick")
    lost = [-float(case.dataset["heat_flux_indoor"].isel(time=-1).mean()) for case in (drawn, thick)]
    assert lost[1] < 0.7 * lost[0]  # 100 mm of wool beside 200 mm


def test_confidence_is_sampled_or_not_as_asked(compared, monkeypatch):
    asked = []
    module = sys.modules["cavity.study.compare"]
    monkeypatch.setattr(module, "_confidence", lambda *_args, **_options: asked.append(_args[3]))
    wall = parse_wall(edited({}), "keys.toml")
    for choice in (False, None, True):
        cavity.compare(wall, sky("winter"), confidence=choice)
    assert asked == [BUDGET, None]  # seconds it may take; None: however long


def test_the_options_of_compare_are_all_tried_or_move_nothing():
    options = {name for name, one in signature(cavity.compare).parameters.items() if one.kind is one.KEYWORD_ONLY}
    nothing = {"progress", "workers", "scheduler", "fresh"}  # where and when it is computed; test_engine.py
    assert options == {"columns", "facings", "variants", "confidence"} | nothing
