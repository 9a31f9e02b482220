"""Synthetic result Datasets that follow the contract of `cavity.simulate` exactly, for tests of risk, study and report.

Nothing here is computed by the model: fields are made from sines, so that a test knows what it put in. The wall, the
climate and every name are invented.
"""

from __future__ import annotations

import dataclasses
import itertools
import json
from typing import Any

import numpy as np
import xarray as xr

from cavity import variables
from cavity.wallfile import model
from cavity.wallfile.recorded import from_json, to_json

ICE = 273.15
SEGMENTS = ("base", "middle", "top")
FILM_FACES = ("outer face", "back of cladding", "outer face of wall", "room face")

STREAM_TERMS = (
    "carried in", "carried out", "exchanged with outdoors", "given by the cladding", "given by the wall",
)  # fmt: skip
BALANCE_TERMS = (
    "rain on the wall", "vapour from outdoors", "vapour from the room", "room air leaks", "rain penetration",
    "vapour to the cavity air", "run-off", "drained from full layers", "stored",
)  # fmt: skip

# name, part, thickness m, material title, density, conductivity, wood, metal, mould class, max water kg/m2, membrane
_BOARD = ("fibre cement board", "cladding", 0.008, "fibre cement board", 1400.0, 0.25, 0, 0, "medium resistant", 3.2, 0)
_METAL = ("steel sheet", "cladding", 0.0008, "steel", 7800.0, 50.0, 0, 1, "resistant", 0.0, 0)
_BACKUP = (
    ("air barrier", "backup", 0.0005, "spun membrane", 300.0, 0.2, 0, 0, "resistant", 0.0, 1),
    ("OSB", "backup", 0.012, "OSB", 650.0, 0.13, 1, 0, "sensitive", 7.2, 0),
    ("mineral wool", "backup", 0.16, "mineral wool", 40.0, 0.035, 0, 0, "medium resistant", 150.0, 0),
    ("vapour retarder", "backup", 0.0002, "polyethylene film", 920.0, 0.33, 0, 0, "resistant", 0.0, 1),
    ("gypsum board", "backup", 0.0125, "gypsum board, paper faced", 700.0, 0.21, 0, 0, "sensitive", 8.0, 0),
)
_CLASSES = ("resistant", "medium resistant", "sensitive", "very sensitive")


def saturation(temperature: Any) -> Any:
    """Saturation pressure [Pa], ISO 13788:2012 annex E, over ice below 0 degC (from memory)."""
    celsius = np.asarray(temperature, float) - ICE
    over_water = 610.5 * np.exp(17.269 * celsius / (237.3 + celsius))
    over_ice = 610.5 * np.exp(21.875 * celsius / (265.5 + celsius))
    return np.where(celsius >= 0.0, over_water, over_ice)


def dew_point(pressure: Any) -> Any:
    """Dew or frost point [K], the inverse of `saturation`."""
    log = np.log(np.maximum(np.asarray(pressure, float), 1e-3) / 610.5)
    return ICE + np.where(log >= 0.0, 237.3 * log / (17.269 - log), 265.5 * log / (21.875 - log))


def _day_mean(values: np.ndarray) -> np.ndarray:
    return np.convolve(np.concatenate([values[-23:], values]), np.ones(24) / 24.0, "valid")


def make_wall(name: str, opening_set: str, depth: float, column: str, rows: tuple[Any, ...]) -> model.Wall:
    """Return the wall that a Dataset of `make_dataset` carries, of the rows of its layers."""

    def layers(part: str) -> tuple[model.Layer, ...]:
        return tuple(
            model.Layer(
                row[0],
                model.Material(
                    row[0], row[3], row[4], row[5], 1000.0, 50.0, 30.0, "invented for tests", wood=bool(row[6]),
                    metal=bool(row[7]), mould_class=row[8], max_saturation=row[9] / row[2],
                ),
                row[2],
                sd=0.02 if row[10] else None,
            )
            for row in rows
            if row[1] == part
        )  # fmt: skip

    vents = tuple(
        model.Opening(text, height, "slot", 0.01) for text, height in (("base slot", 0.0), ("head slot", 3.0))
    )
    return model.Wall(
        name, layers("cladding"), model.Cavity(depth), layers("backup"), (model.Column(column, 0.0, 3.0),),
        (model.OpeningSet(opening_set, vents),), (depth,), orientation=225.0, invented=True,
    )  # fmt: skip


def with_wall(ds: xr.Dataset, **changes: Any) -> xr.Dataset:
    """Return the Dataset with its wall changed: fields of the wall, or of a table of it by ``wetting={...}``."""
    wall = from_json(ds.attrs["wall_json"])
    changed = {
        name: dataclasses.replace(getattr(wall, name), **value) if isinstance(value, dict) else value
        for name, value in changes.items()
    }
    return ds.assign_attrs(wall_json=to_json(dataclasses.replace(wall, **changed)))


def make_dataset(
    *,
    wall_name: str = "invented panel wall",
    climate_name: str = "Invented Coast",
    opening_set: str = "slots 10 mm",
    depth: float = 0.025,
    column: str = "plain",
    metal: bool = False,
    hours: int = 8760,
    years: int = 3,
    damp: float = 0.0,
    rain: bool = True,
    seed: int = 1,
) -> xr.Dataset:
    """Return one case of an invented board- or metal-clad stud wall over one invented year.

    `damp` (0-1) raises the humidity of the faces outside the insulation towards saturation, and lets water build up.
    """
    rng = np.random.default_rng(seed)
    time = np.datetime64("2021-01-01T00:00", "ns") + np.arange(hours) * np.timedelta64(1, "h")
    hour = np.arange(hours)
    year_angle = 2.0 * np.pi * (hour / 8760.0 - 0.05)
    day_angle = 2.0 * np.pi * ((hour % 24) - 15.0) / 24.0
    sun_height = np.clip(np.sin(2.0 * np.pi * ((hour % 24) - 6.0) / 24.0), 0.0, None)
    weather_noise = np.convolve(rng.normal(size=hours + 47), np.ones(48) / 7.0, "valid")[:hours]
    outdoor = ICE + 10.0 - 9.0 * np.cos(year_angle) + 4.0 * np.cos(day_angle) + 1.5 * weather_noise
    humid = np.clip(0.80 + 0.06 * np.cos(year_angle) - 0.12 * np.cos(day_angle) + 0.05 * weather_noise, 0.2, 0.99)
    vapour = humid * saturation(outdoor)
    sun = 350.0 * sun_height * (1.0 - 0.5 * np.cos(year_angle))
    wind = np.abs(3.0 + 1.5 * weather_noise)
    rains = (rng.random(hours) < 0.04) * rain * 1.0 / 3600.0
    indoor = np.full(hours, ICE + 20.0)
    humid_indoor = np.clip(0.45 - 0.10 * np.cos(year_angle), 0.2, 0.8)

    layers = (_METAL if metal else _BOARD, *_BACKUP)
    faces = ["outer face", "back of cladding", "outer face of wall"]
    outer_of = ["outdoors", layers[0][0], "cavity"]
    inner_of = [layers[0][0], "cavity", layers[1][0]]
    kinds, roles = ["surface"] * 3, ["outer face", "back of cladding", "outer face of wall"]
    positions = [0.0, layers[0][2], layers[0][2] + depth]
    for outer, inner in itertools.pairwise(_BACKUP):
        faces.append(f"{outer[0]} | {inner[0]}")
        outer_of.append(outer[0])
        inner_of.append(inner[0])
        kinds.append("interface")
        roles.append("interface")
        positions.append(positions[-1] + outer[2])
    faces.append("room face")
    outer_of.append(_BACKUP[-1][0])
    inner_of.append("room")
    kinds.append("surface")
    roles.append("room face")
    positions.append(positions[-1] + _BACKUP[-1][2])

    by_name = {row[0]: row for row in layers}
    beside = [[by_name[n] for n in pair if n in by_name] for pair in zip(outer_of, inner_of, strict=True)]
    mould = [max((row[8] for row in rows), key=_CLASSES.index) for rows in beside]
    resistance = np.cumsum([0.04, 0.03, 0.15, 0.01, 0.09, 4.57, 0.01, 0.06])
    share = resistance / (resistance[-1] + 0.13)  # temperature fraction from outdoors to the room
    sd = np.array([0.01, 0.5, 0.55, 0.75, 1.3, 1.5, 51.5, 51.6])
    sd = sd / (sd[-1] + 0.01)
    lag = np.array([0.0, 0.0, 0.5, 0.7, 2.0, 4.0, 4.0, 5.0])
    temperature = np.empty((hours, 3, len(faces)))
    pressure = np.empty_like(temperature)
    for s in range(3):
        for f in range(len(faces)):
            shifted = np.roll(outdoor + 0.02 * sun, round(lag[f]))
            temperature[:, s, f] = shifted + 0.3 * s + share[f] * (indoor - shifted)
            if f == 0 or (f == 1 and metal):
                temperature[:, s, f] -= 2.5 * (sun < 1.0)  # undercooling by the night sky
            inside = humid_indoor * saturation(indoor)
            steady = _day_mean(vapour) if f >= 3 else vapour
            pressure[:, s, f] = steady * (1.0 + 0.02 * s) + sd[f] * (inside - steady)
            if f >= 3:
                temperature[:, s, f] = _day_mean(temperature[:, s, f]) + 0.8
            if 2 <= f <= 4:
                saturated = saturation(temperature[:, s, f])
                pressure[:, s, f] += damp * np.maximum(saturated - pressure[:, s, f], 0.0)
    saturated = saturation(temperature)
    relative = np.clip(pressure / saturated, 0.0, 1.0)
    dew = dew_point(pressure)
    pressure = np.minimum(pressure, saturated)

    openings = ("base slot", "head slot")
    parts = ("base slot", "channel 1", "channel 2", "channel 3", "head slot")
    speed = 0.05 + 0.0004 * sun + 0.02 * (wind - 3.0)
    speed3 = np.repeat(speed[:, None], 3, axis=1)
    cavity_t = outdoor[:, None] + 0.01 * sun[:, None] + np.array([0.2, 0.4, 0.6])
    cavity_p = np.minimum(vapour[:, None] * (1.0 + damp * np.array([0.05, 0.1, 0.15])), saturation(cavity_t))

    film = np.zeros((hours, 3, 4))
    condensing = np.zeros((hours, 3, 4))
    vapour_flow = np.zeros((hours, 3, 4))
    vapour_flow[:, :, 2] = 1e-9 * (cavity_p - pressure[:, :, 3])
    for column_index, face in ((0, 0), (1, 1), (2, 2)):
        margin = temperature[:, :, face] - dew[:, :, face]
        condensing[:, :, column_index] = np.where(margin < 0.0, -1e-6 * margin, -2e-6)
    runoff = np.zeros_like(film)
    limit = 0.1
    state = np.zeros((3, 4))
    for h in range(hours):
        before = state
        state = np.maximum(state + condensing[h] * 3600.0, 0.0)
        runoff[h] = np.maximum(state - limit, 0.0) / 3600.0
        state = np.minimum(state, limit)
        condensing[h] = (state - before) / 3600.0 + runoff[h]
        film[h] = state
    frost = np.where(temperature[:, :, [0, 1, 2, -1]] < ICE, 1.0, 0.0) * (film > 0.0)

    water = np.zeros((hours, 3, len(layers)))
    thickness = np.array([row[2] for row in layers])
    density = np.array([row[4] for row in layers])
    for index, row in enumerate(layers):
        if row[9] > 0.0:
            face = {0: 1, 2: 4, 3: 5, 5: 7}.get(index, 4)
            mass = {"OSB": 0.16, "mineral wool": 0.005}.get(row[0], 0.03)
            water[:, :, index] = np.minimum(
                mass * relative[:, :, face] ** 2 * density[index] * thickness[index], row[9]
            )
    growth = 1.0 + 0.08 * damp * np.arange(years)
    end = water[-1][None] * growth[:, None, None]

    def of_faces(surfaces: np.ndarray) -> np.ndarray:
        """The same on every face; none at interfaces."""
        values = np.zeros((hours, 3, len(faces)))
        values[:, :, [0, 1, 2, len(faces) - 1]] = surfaces
        return values

    balance = np.zeros((len(BALANCE_TERMS), 3))
    balance[:, :] = np.array([1.0, 0.2, 0.1, 0.0, 0.05, -1.0, -0.25, 0.0, 0.1])[:, None]  # the last closes the sum

    one = {
        "temperature_outdoor": outdoor, "relative_humidity_outdoor": humid, "vapour_pressure_outdoor": vapour,
        "pressure": np.full(hours, 101325.0), "wind_speed": wind, "wind_direction": (hour * 7.0) % 360.0,
        "global_horizontal": 1.3 * sun, "direct_normal": sun, "diffuse_horizontal": 0.4 * sun,
        "infrared_horizontal": 5.67e-8 * (outdoor - 12.0) ** 4, "rain": rains,
        "sun_on_wall": sun, "sky_temperature": outdoor - 12.0, "wind_speed_site": 0.7 * wind,
        "wind_angle": (hour * 7.0) % 360.0 - 180.0, "driving_rain": 0.1 * rains,
        "temperature_indoor": indoor, "relative_humidity_indoor": humid_indoor,
        "air_change_rate": np.abs(speed) / 3.0 * 3600.0, "air_speed": speed3,
        "compartment_air_change_rate": np.abs(speed[:, None]) / 3.0 * 3600.0,
        "stack_pressure": 0.004 * sun, "wind_pressure": 0.05 * wind,
        "opening_flow": np.stack([1.2 * depth * speed, -1.2 * depth * speed], axis=1),
        "part_pressure": np.abs(speed[:, None]) * np.array([3.0, 0.1, 0.1, 0.1, 2.0]),
        "cavity_temperature": cavity_t, "cavity_vapour_pressure": cavity_p,
        "cavity_relative_humidity": cavity_p / saturation(cavity_t),
        "temperature": temperature, "relative_humidity": relative, "vapour_pressure": pressure,
        "dew_point": dew, "dew_point_margin": temperature - dew,
        "water": water, "film": film, "frost_share": frost, "vapour_flow": vapour_flow, "condensation": condensing,
        "runoff": runoff, "face_film": of_faces(film), "face_frost_share": of_faces(frost),
        "film_by_vapour": of_faces(condensing), "drainage": of_faces(runoff),
        "heat_flux_indoor": 0.2 * (outdoor - indoor)[:, None] * np.ones(3),
        "water_end_of_year": end, "water_at_start": 0.9 * end[0], "water_balance": balance,
        "water_residual": np.full((hours, 3), 1e-9), "energy_residual": np.full((hours, 3), 1e-2),
    }  # fmt: skip
    small = {"temperature", "relative_humidity", "vapour_pressure", "dew_point", "dew_point_margin"}
    data: dict[str, Any] = {}
    sizes = {
        "time": hours, "segment": 3, "face": len(faces), "layer": len(layers), "film_face": 4, "opening": 2, "part": 5,
        "compartment": 1,
        "year": years,
        "balance_term": len(BALANCE_TERMS),
        "stream_term": len(STREAM_TERMS),
    }  # fmt: skip
    for name, row in variables.TABLE.items():
        if "rail_spot" in row.dims or name.startswith("stud_"):  # no metal rails and no line through studs
            continue
        shape = tuple(sizes[dim] for dim in row.dims)
        # a variable new to the table stands at its neutral value until this factory knows better
        values = np.asarray(one.get(name, np.full(shape, max(row.lower, 0.0))))
        kept = values.astype(np.float32) if name in small else values
        data[name] = (row.dims, kept, variables.attributes(name, "tests/dataset_factory.py"))
    coords = {
        "time": time,
        "segment": list(SEGMENTS),
        "segment_bottom": ("segment", [0.0, 1.0, 2.0], {"units": "m"}),
        "segment_top": ("segment", [1.0, 2.0, 3.0], {"units": "m"}),
        "segment_compartment": ("segment", [0, 0, 0]),
        "compartment": ["whole column"],
        "compartment_bottom": ("compartment", [0.0], {"units": "m"}),
        "compartment_top": ("compartment", [3.0], {"units": "m"}),
        "compartment_volume": ("compartment", [3.0 * depth], {"units": "m3/m"}),
        "opening_compartment": ("opening", [0, 0]),
        "face": faces,
        "face_kind": ("face", kinds),
        "face_role": ("face", roles),
        "face_position": ("face", positions, {"units": "m"}),
        "face_outer": ("face", outer_of),
        "face_inner": ("face", inner_of),
        "face_mould_class": ("face", mould),
        "face_metal": ("face", [int(any(row[7] for row in rows)) for rows in beside]),
        "face_wood": ("face", [int(any(row[6] for row in rows)) for rows in beside]),
        "layer": [row[0] for row in layers],
        "layer_part": ("layer", [row[1] for row in layers]),
        "layer_thickness": ("layer", thickness, {"units": "m"}),
        "layer_material": ("layer", [row[3] for row in layers]),
        "layer_density": ("layer", density, {"units": "kg/m3"}),
        "layer_conductivity": ("layer", [row[5] for row in layers], {"units": "W/(m K)"}),
        "layer_wood": ("layer", [row[6] for row in layers]),
        "layer_metal": ("layer", [row[7] for row in layers]),
        "layer_mould_class": ("layer", [row[8] for row in layers]),
        "layer_max_water": ("layer", [row[9] for row in layers], {"units": "kg/m2"}),
        "layer_absorption": ("layer", [0.01 if row[9] and row[0] != "mineral wool" else 0.0 for row in layers]),
        "layer_wood_board": ("layer", [row[6] for row in layers]),
        "layer_membrane": ("layer", [row[10] for row in layers]),
        "layer_source": ("layer", ["invented for tests"] * len(layers)),
        "film_face": list(FILM_FACES),
        "opening": list(openings),
        "opening_height": ("opening", [0.0, 3.0], {"units": "m"}),
        "opening_area": ("opening", [0.01, 0.01], {"units": "m2/m"}),
        "opening_kind": ("opening", ["slot", "slot"]),
        "part": list(parts),
        "part_height": ("part", [0.0, 0.5, 1.5, 2.5, 3.0], {"units": "m"}),
        "part_kind": ("part", ["opening", "channel", "channel", "channel", "opening"]),
        "part_area": ("part", [0.01, depth, depth, depth, 0.004], {"units": "m2/m"}),
        "year": np.arange(1, years + 1),
        "balance_term": list(BALANCE_TERMS),
        "stream_term": list(STREAM_TERMS),
    }
    attrs = {
        "wall_name": wall_name, "climate_name": climate_name, "climate_invented": 1, "wall_invented": 1,
        "opening_set": opening_set, "depth": depth, "column": column, "orientation": 225.0, "tilt": 90.0,
        "has_rain": int(rain), "years_run": years, "cycle_repeats": int(damp == 0.0), "film_limit": limit,
        "water_balance_error": 1e-9, "energy_balance_error": 1e-7,
        "stream_heat_error": 1e-12, "stream_vapour_error": 1e-12, "solver_steps": 2 * hours,
        "warnings": json.dumps([] if rain else ["no rain column: run without rain"]),
        "wall_json": to_json(make_wall(wall_name, opening_set, depth, column, layers)),
        "wall_text": f'name = "{wall_name}"\n', "wall_sha256": "0" * 64,
        "climate_source": "invented.epw", "climate_sha256": "1" * 64, "version": "0.1.0",
        "created": "2026-01-01T00:00:00Z", "column_bottom": 0.0, "column_top": 3.0,
        "iso6946_class": "well ventilated", "latitude": 50.0, "longitude": 0.0,
    }  # fmt: skip
    return xr.Dataset(data, coords=coords, attrs=attrs)


def with_face(ds: xr.Dataset, face: str, *, temperature: Any = None, relative_humidity: Any = None) -> xr.Dataset:
    """Return a copy with temperature [K] and humidity [-] at one face replaced, dew point and pressure consistent."""
    made = ds.copy(deep=True)
    at = list(ds["face"].values).index(face)
    hours = ds.sizes["time"]

    def shaped(values: Any) -> np.ndarray:
        array = np.asarray(values, float)
        return np.broadcast_to(array[:, None] if array.ndim == 1 else array, (hours, ds.sizes["segment"]))

    if temperature is not None:
        made["temperature"].values[:, :, at] = shaped(temperature)
    if relative_humidity is not None:
        made["relative_humidity"].values[:, :, at] = shaped(relative_humidity)
    warm = made["temperature"].values[:, :, at].astype(float)
    pressure = made["relative_humidity"].values[:, :, at].astype(float) * saturation(warm)
    made["vapour_pressure"].values[:, :, at] = pressure
    made["dew_point"].values[:, :, at] = dew_point(pressure)
    made["dew_point_margin"].values[:, :, at] = warm - dew_point(pressure)
    return made


def steady_dataset(temperature: float = 293.15, relative_humidity: float = 0.5, **options: Any) -> xr.Dataset:
    """Return a case with all faces at one temperature [K] and humidity [-], steady water, no film, frost or run-off."""
    made = make_dataset(**options).copy(deep=True)
    for face in made["face"].values:
        made = with_face(made, str(face), temperature=temperature, relative_humidity=relative_humidity)
    for name in (
        "film", "frost_share", "condensation", "runoff", "face_film", "face_frost_share", "film_by_vapour", "drainage",
    ):  # fmt: skip
        made[name].values[:] = 0.0
    made["water"].values[:] = made["water"].values[-1]
    return made
