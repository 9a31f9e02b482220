"""The result of a case: the record of the kernels as one Dataset, with names, units, sources and coordinates."""

from __future__ import annotations

import datetime as dt
import functools
import hashlib
import json
import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from cavity import variables
from cavity.climate.humid import table_dew_point, table_saturation_pressure
from cavity.climate.rain import describe_rain
from cavity.constants import MOULD_CLASSES
from cavity.files import write_whole
from cavity.wallfile.recorded import from_json, to_json

if TYPE_CHECKING:
    import xarray as xr
    from numpy.typing import NDArray

    from cavity.airflow.column import ColumnAir
    from cavity.kernels import year_arrays
    from cavity.wall.grid import Line
    from cavity.wall.uvalue import RailSpot
    from cavity.wallfile.model import Case, Layer, Wall

FILM_FACES = ("outer face", "back of cladding", "outer face of wall", "room face")
# the kernels count vapour into the wall as positive: inwards at outer surfaces, outwards at those on the room side
_INTO_THE_SURFACE = np.array([1.0, -1.0, 1.0, -1.0], np.float32)
_SOLID_WOOD = ("timber", "cladding")  # groups of the materials table; other wood is boards, fibres or unknown
BALANCE_TERMS = (
    "rain on the wall", "vapour from outdoors", "vapour from the room", "room air leaks", "rain penetration",
    "vapour to the cavity air", "run-off", "drained from full layers", "stored",
)  # fmt: skip
STREAM_TERMS = (
    "carried in", "carried out", "exchanged with outdoors", "given by the cladding", "given by the wall",
)  # fmt: skip


def dataset_of(
    wall: Wall,
    weather: xr.Dataset,
    outside: xr.Dataset,
    room_T: NDArray[np.float64],
    room_phi: NDArray[np.float64],
    air: ColumnAir,
    line: Line,
    record: year_arrays.Record,
    ends: list[NDArray[np.float64]],
    state: year_arrays.State,
    gain: NDArray[np.float64],
) -> xr.Dataset:
    """Return the Dataset of one case.

    Parameters
    ----------
    wall : Wall
        The wall.
    weather, outside : xarray.Dataset, (time,)
        The weather as read, and its action on the wall.
    room_T, room_phi : array, (time,)
        Room air: temperature and relative humidity. [K], [1]
    air : ColumnAir
        Column and air path.
    line : Line
        Line through the wall, with its surfaces and interfaces.
    record : Record
        Of the last year. [SI]
    ends : list of array, (segment, layer + face)
        Water of the layers and films at the start and at the end of each year. [kg/m2]
    state : State
        At the end.
    gain : array, (part,)
        From `airflow.gains`. [1]

    Returns
    -------
    xarray.Dataset
        Dimensions and variables as in `cavity.variables`.
    """
    import xarray as xr

    from cavity.kernels.year_arrays import CAPILLARY, DEW, RAIN

    layers = len(wall.layers)
    face_p = record.p.astype(float)
    face_T = record.T.astype(float)
    saturated = table_saturation_pressure(face_T)
    humidity = np.clip(face_p / saturated, 0.0, 1.0)
    p_out, p_room = outside["vapour_pressure_outdoor"].to_numpy(), room_phi * table_saturation_pressure(room_T)
    dew = _dew_points(line, p_out, record.air_p, p_room, face_p, saturated)
    data: dict[str, tuple[tuple[str, ...], NDArray[Any], str]] = {}

    def add(name: str, values: NDArray[Any], source: str = "cavity.simulate", dims: tuple[str, ...] = ()) -> None:
        data[name] = (dims or variables.TABLE[name].dims, values, source)

    add("temperature_indoor", room_T, f"indoor climate: {wall.indoor.model}")
    add("relative_humidity_indoor", room_phi, f"indoor climate: {wall.indoor.model}")
    add("air_change_rate", record.change_rate[:, 0])
    add("compartment_air_change_rate", record.change_rate[:, 1:])
    add("air_speed", record.speed)
    add("stack_pressure", record.stack)
    add("wind_pressure", record.wind)
    add("opening_flow", record.opening_flow)
    add("part_pressure", record.part_pressure)
    add("part_gain", gain, "cavity.airflow.gains")
    add("cavity_temperature", record.air_T)
    add("cavity_vapour_pressure", record.air_p)
    add("cavity_relative_humidity", np.clip(record.air_p / table_saturation_pressure(record.air_T), 0.0, 1.0))
    add("cavity_fog", record.fog)
    add("temperature", record.T)
    add("vapour_pressure", record.p)
    add("relative_humidity", humidity.astype(np.float32))
    add("dew_point", dew.astype(np.float32))
    add("dew_point_margin", (face_T - dew).astype(np.float32))
    add("water", record.water)
    surfaces = [k for k, face in enumerate(line.faces) if face.kind == "surface"]
    add("film", record.film[:, :, surfaces])
    add("frost_share", record.frost[:, :, surfaces])
    add("vapour_flow", record.vapour * _INTO_THE_SURFACE)  # fluxes are positive inwards
    add("condensation", record.wetting[:, :, surfaces, DEW])
    add("runoff", record.drainage[:, :, surfaces])
    add("face_film", record.film)
    add("face_frost_share", record.frost)
    for name, cause in (("film_by_vapour", DEW), ("film_by_rain", RAIN), ("film_by_capillarity", CAPILLARY)):
        add(name, record.wetting[..., cause])
    add("drainage", record.drainage)
    add("heat_flux_indoor", -record.heat_in)
    add("water_residual", record.water_residual)
    add("energy_residual", record.energy_residual)
    for k, kind in enumerate(("heat", "vapour")):
        add(f"stream_{kind}", record.stream[:, :, k].astype(np.float32), "cavity.kernels.stream")
        add(f"stream_{kind}_residual", record.stream[:, :, k].sum(axis=-1), "cavity.kernels.stream")
    add("water_end_of_year", np.maximum(np.array([end[:, :layers] for end in ends[1:]]), 0.0))
    add("film_end_of_year", np.maximum(np.array([end[:, layers:] for end in ends[1:]]), 0.0))
    add("water_at_start", np.maximum(ends[0][:, :layers], 0.0))
    add("water_balance", _balance(record, state))

    # variables without coordinates: xarray would try to align labels
    shared = {name: outside[name].variable for name in outside.data_vars}
    dataset = xr.Dataset(
        {name: (dims, values, variables.attributes(name, source)) for name, (dims, values, source) in data.items()}
        | shared,
        coords=_coordinates(wall, outside, air, line, len(ends) - 1),
    )
    throughput = np.maximum(record.throughput, 1e-9)
    stream = _stream_errors(record.stream)
    dataset.attrs = (
        provenance(wall, weather)
        | column_attributes(wall, air)
        | {
            "latitude": float(weather.attrs.get("latitude", np.nan)),
            "longitude": float(weather.attrs.get("longitude", np.nan)),
            "has_rain": int(weather.attrs.get("has_rain", 0)),
            "water_balance_error": float((np.abs(record.water_residual).max(axis=0) / throughput[:, 0]).max()),
            "energy_balance_error": float((np.abs(record.energy_residual).max(axis=0) / throughput[:, 1]).max()),
            "stream_heat_error": stream[0],
            "stream_vapour_error": stream[1],
            "version": _version(),
            "created": dt.datetime.now(dt.UTC).strftime("%Y-%m-%d %H:%M UTC"),
        }
    )
    return dataset


@functools.cache  # 2 ms, and the same for all cases of a run
def _version() -> str:
    from importlib.metadata import version

    return version("cavity")


def column_attributes(wall: Wall, air: ColumnAir) -> dict[str, str | float]:
    """Return the attributes of a result that depend on wall and column.

    Parameters
    ----------
    wall : Wall
        The wall.
    air : ColumnAir
        Column and air path.

    Returns
    -------
    dict
        Name and ends of the column, orientation, tilt, class of the air layer, film limit.
    """
    return {
        "column": air.name,
        "column_bottom": air.bottom,
        "column_top": air.top,
        "orientation": wall.orientation,
        "tilt": wall.tilt,
        "iso6946_class": air.iso6946_class,
        "film_limit": wall.cavity.film_limit,
    }


def geometry_of(case: Case) -> xr.Dataset:
    """Return the geometry of one case as a Dataset, without weather and results: enough for a drawing.

    Parameters
    ----------
    case : Case
        From `Wall.case`.

    Returns
    -------
    xarray.Dataset
        Coordinates and attributes as in a result of `simulate`; no variables.
    """
    import xarray as xr

    from cavity.airflow.column import build_column
    from cavity.wall.grid import build_line
    from cavity.wallfile.recorded import to_json

    wall, air = case.wall, build_column(case)
    dataset = xr.Dataset(coords=coordinates_of(wall, air, build_line(case)))
    own = {"wall_name": wall.name, "wall_json": to_json(wall), "opening_set": case.opening_set.name}
    dataset.attrs = column_attributes(wall, air) | own | {"depth": case.depth}
    return dataset


def provenance(wall: Wall, weather: xr.Dataset) -> dict[str, str | int]:
    """Return the attributes of a result that name the origin of its inputs; no number of it depends on them.

    Parameters
    ----------
    wall : Wall
        The wall.
    weather : xarray.Dataset, (time,)
        From `read_weather`.

    Returns
    -------
    dict
        Names, texts, files and digests of wall and climate, and the warnings of both (JSON list).
    """
    wall_json, attrs = to_json(wall), weather.attrs
    digest = hashlib.sha256(json.dumps(json.loads(wall_json), sort_keys=True).encode()).hexdigest()
    return {
        "wall_name": wall.name,
        "wall_invented": int(wall.invented),
        "wall_description": wall.description,
        "wall_text": wall.text,
        "wall_json": wall_json,
        "wall_sha256": digest,
        "wall_source": wall.source,
        "climate_name": str(attrs.get("name", "")),
        "climate_invented": int(attrs.get("invented", 0)),
        "climate_rain": describe_rain(weather),
        "climate_source": str(attrs.get("source", "")),
        "climate_sha256": str(attrs.get("sha256", "")),
        "time_policy": str(attrs.get("time_policy", "")),
        "warnings": json.dumps([*wall.warnings, *json.loads(attrs.get("warnings", "[]"))]),
    }


def _stream_errors(terms: NDArray[np.float64]) -> tuple[float, float]:
    """Return the balance errors of heat and vapour in the cavity air over their throughput, in the worst segment.

    terms: (time, segment, kind, term).
    """
    error = np.abs(terms.sum(axis=-1)).sum(axis=0)
    throughput = np.abs(terms).sum(axis=(0, 3))
    worst = (error / np.maximum(throughput, 1e-30)).max(axis=0)
    return float(worst[0]), float(worst[1])


def _balance(record: year_arrays.Record, state: year_arrays.State) -> NDArray[np.float64]:
    from cavity.kernels.year_arrays import DRAINED_TERM, STORED_TERM, WATER_AT_START

    terms = record.terms.copy()
    terms[:, DRAINED_TERM] = -record.drained
    terms[:, STORED_TERM] = state.W.sum(axis=1) - record.balance_account[:, WATER_AT_START]
    return terms.T


def _coordinates(wall: Wall, outside: xr.Dataset, air: ColumnAir, line: Line, years: int) -> dict[str, Any]:
    return {
        "time": outside["time"],
        **coordinates_of(wall, air, line),
        "film_face": list(FILM_FACES),
        "year": np.arange(1, years + 1),
        "balance_term": list(BALANCE_TERMS),
        "stream_term": list(STREAM_TERMS),
    }


def coordinates_of(wall: Wall, air: ColumnAir, line: Line) -> dict[str, Any]:
    """Return the coordinates of the air path, the surfaces and the layers of a case.

    Parameters
    ----------
    wall : Wall
        The wall.
    air : ColumnAir
        Column and air path.
    line : Line
        Line through the wall.

    Returns
    -------
    dict
        For an xarray.Dataset.
    """
    by_name = {layer.name: layer for layer in wall.layers}

    def neighbours(face: Any) -> list[Layer]:
        return [by_name[name] for name in (face.outer, face.inner) if name in by_name]

    def of_layers(get: Any) -> tuple[str, list[Any]]:
        return ("layer", [get(layer) for layer in wall.layers])

    faces = line.faces
    return {
        **air.coordinates(),
        "face": [face.label for face in faces],
        "face_kind": ("face", [face.kind for face in faces]),
        "face_role": ("face", [face.role for face in faces]),
        "face_position": ("face", [face.position for face in faces], {"units": "m"}),
        "face_outer": ("face", [face.outer for face in faces]),
        "face_inner": ("face", [face.inner for face in faces]),
        "face_mould_class": (
            "face",
            [min((x.material.mould_class for x in neighbours(face)), key=MOULD_CLASSES.index) for face in faces],
        ),
        "face_metal": ("face", [int(any(x.material.metal for x in neighbours(face))) for face in faces]),
        "face_wood": ("face", [int(any(x.material.wood for x in neighbours(face))) for face in faces]),
        "layer": [layer.name for layer in wall.layers],
        "layer_part": ("layer", ["cladding"] * len(wall.cladding) + ["backup"] * len(wall.backup)),
        "layer_thickness": (*of_layers(lambda x: x.thickness), {"units": "m"}),
        "layer_material": of_layers(lambda x: x.material.title),
        "layer_density": (*of_layers(lambda x: x.material.density), {"units": "kg/m3"}),
        "layer_conductivity": (*of_layers(lambda x: x.material.conductivity), {"units": "W/(m K)"}),
        "layer_wood": of_layers(lambda x: int(x.material.wood)),
        "layer_metal": of_layers(lambda x: int(x.material.metal)),
        "layer_mould_class": of_layers(lambda x: x.material.mould_class),
        "layer_max_water": (*of_layers(lambda x: x.material.max_saturation * x.thickness), {"units": "kg/m2"}),
        "layer_absorption": (*of_layers(lambda x: x.material.absorption), {"units": "kg/(m2 s0.5)"}),
        # boards and fibres may take up less condensate for their mass than solid wood; unknown products count as boards
        "layer_wood_board": of_layers(lambda x: int(x.material.wood and x.material.group not in _SOLID_WOOD)),
        "layer_membrane": of_layers(lambda x: int(x.is_membrane)),
        "layer_source": of_layers(lambda x: x.material.source),
    }


def _dew_points(
    line: Line,
    p_out: NDArray[np.float64],
    p_air: NDArray[np.float64],
    p_room: NDArray[np.float64],
    p_face: NDArray[np.float64],
    saturated: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return the dew point for each face: of the air at a surface, of the pores at an interface."""
    outdoors, cavity, room = table_dew_point(p_out)[:, None], table_dew_point(p_air), table_dew_point(p_room)[:, None]
    air = {"outer face": outdoors, "back of cladding": cavity, "outer face of wall": cavity, "room face": room}
    dew = np.empty_like(p_face)
    for k, face in enumerate(line.faces):
        if face.role in air:
            dew[:, :, k] = air[face.role]
        else:  # pores are at most saturated, but the mean over an hour of warming may exceed it
            dew[:, :, k] = table_dew_point(np.minimum(p_face[:, :, k], saturated[:, :, k]))
    return dew


def with_rail_spots(dataset: xr.Dataset, spots: tuple[RailSpot, ...]) -> xr.Dataset:
    """Return the result with the temperature and dew-point margin at the cold spots of metal rails (E57).

    The hourly wall has the mean conductance of insulation and rails. The spot is colder by the ratio of the temperature
    drops from the room air: T_spot = T_room - drop (T_room - T_face). In the steady state this is the temperature of
    the zone method. Sun, night sky and storage of the layers act through T_face; storage of the strip itself is
    omitted. The dew point is that of the undisturbed surface: of the vapour where the rails end (the higher of both
    sides of a membrane there), of the room air at the interior surface.

    Parameters
    ----------
    dataset : xarray.Dataset
        With temperature, dew_point, temperature_indoor and the coordinates of surfaces and layers. [K]
    spots : tuple of RailSpot
        From `wall.uvalue.rail_spots`.

    Returns
    -------
    xarray.Dataset
        With rail_temperature and rail_dew_point_margin [K], (time, segment, rail_spot); unchanged without spots.

    References
    ----------
    ASHRAE Handbook - Fundamentals, ch. 27, zone method, from memory; its use hour by hour is our own estimate.
    """
    if not spots:
        return dataset
    room = dataset["temperature_indoor"].to_numpy()[:, None]
    outer, inner = (list(dataset[name].to_numpy()) for name in ("face_outer", "face_inner"))
    films = set(dataset["layer"].to_numpy()[dataset["layer_membrane"].to_numpy() == 1])
    temperature, margin, faces = [], [], []
    for spot in spots:
        first = last = outer.index(spot.layer) if spot.behind != "room" else len(outer) - 1
        while inner[last] in films:
            last += 1
        face_T = dataset["temperature"].to_numpy()[:, :, last].astype(float)
        dew = dataset["dew_point"].to_numpy()[:, :, first : last + 1].astype(float).max(axis=2)
        temperature.append(room - spot.drop * (room - face_T))
        margin.append(temperature[-1] - dew)
        faces.append(str(dataset["face"].to_numpy()[last]))
    source = "cavity.result.with_rail_spots"
    return dataset.assign(
        {
            name: (variables.TABLE[name].dims, np.stack(values, axis=2).astype(np.float32), attributes)
            for name, values in (("rail_temperature", temperature), ("rail_dew_point_margin", margin))
            for attributes in [variables.attributes(name, source)]
        }
    ).assign_coords(
        rail_spot=[
            f"rails through {spot.layer}, "
            + ("room face" if spot.behind == "room" else f"where they meet {spot.behind}")
            for spot in spots
        ],
        rail_face=("rail_spot", faces),
        rail_factor=("rail_spot", [spot.factor for spot in spots], {"units": "1"}),
    )


def with_studs(dataset: xr.Dataset, studs: xr.Dataset) -> xr.Dataset:
    """Return the result with temperature, humidity and dew-point margin of a second run along the studs.

    Parameters
    ----------
    dataset : xarray.Dataset
        Result between the studs.
    studs : xarray.Dataset
        Result of the same case with `wall.uvalue.at_studs` of its wall.

    Returns
    -------
    xarray.Dataset
        With stud_temperature [K], stud_relative_humidity [1], stud_dew_point_margin [K], (time, segment, face), and the
        mould class of each surface there.
    """
    source = "cavity.result.with_studs"
    return dataset.assign(
        {
            f"stud_{name}": (studs[name].dims, studs[name].to_numpy(), variables.attributes(f"stud_{name}", source))
            for name in ("temperature", "relative_humidity", "dew_point_margin")
        }
    ).assign_coords(stud_mould_class=("face", studs["face_mould_class"].to_numpy()))


def wall_of(dataset: xr.Dataset) -> Wall:
    """Return the wall that a result was computed for, from its attributes.

    Parameters
    ----------
    dataset : xarray.Dataset
        A result of `simulate`, or of `airflow.steady_air`.

    Returns
    -------
    Wall
        The same object for equal walls: do not change it.

    Raises
    ------
    InputError
        If the result has no wall, or one with a missing or unknown key.
    """
    return from_json(str(dataset.attrs.get("wall_json", "")))


def save(dataset: xr.Dataset, path: str | os.PathLike[str]) -> Path:
    """Write a Dataset as NetCDF, whole or not at all.

    Parameters
    ----------
    dataset : xarray.Dataset
        A result of `simulate`, a study or a weather.
    path : path
        Target; an existing file is replaced only by a complete one.

    Returns
    -------
    pathlib.Path
        The file written.

    Raises
    ------
    InputError
        If the file cannot be written.
    """
    packed = {name: {"zlib": True, "complevel": 4} for name, data in dataset.data_vars.items() if data.ndim > 1}
    # in memory first: HDF5 would end the process on a full disk
    return write_whole(path, dataset.to_netcdf(None, engine="h5netcdf", encoding=packed))
