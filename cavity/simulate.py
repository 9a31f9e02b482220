"""One case: a wall, its openings and depth, and a year of weather in; one Dataset of hourly results out."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np

from cavity import variables
from cavity.errors import CavityError, ConvergenceError, Fault, InputError

if TYPE_CHECKING:
    import xarray as xr
    from numpy.typing import NDArray

    from cavity.airflow.column import ColumnAir
    from cavity.kernels import wall as wall_kernel
    from cavity.kernels import year
    from cavity.wall.grid import Line
    from cavity.wall.uvalue import RailSpot
    from cavity.wallfile.model import Layer, Wall

ROOM_RESISTANCE = 0.13  # m2K/W, ISO 6946, horizontal heat flow: convection and radiation together
ROOM_VAPOUR_LAYER = (
    0.008  # m, still air with the vapour resistance of the room face, EN 15026 draft (CEN/TC 89 WI 29.3)
)
CYCLE = 0.01  # kg/m2: two years that end this close hold the same water
MOULD_CLASSES = ("resistant", "medium resistant", "sensitive", "very sensitive")
FILM_FACES = ("outer face", "back of cladding", "outer face of wall", "room face")
BALANCE_TERMS = (
    "rain on the wall", "vapour from outdoors", "vapour from the room", "room air leaks", "rain behind the cladding",
    "vapour to the cavity air", "run-off", "drained from full layers", "stored",
)  # fmt: skip


def simulate(
    wall: Wall,
    weather: xr.Dataset,
    *,
    opening_set: str | None = None,
    depth: float | None = None,
    column: str | None = None,
    hours: int | None = None,
    refine_cells: float = 1.0,
    refine_steps: int = 1,
) -> xr.Dataset:
    """Return the hourly state of a wall over the last of the simulated years.

    One column of the cavity is cut into segments along its height; each is a one-dimensional line through cladding,
    cavity and backup wall, and the air that flows past joins them. Lateral flow, gusts within the hour and leaks
    through the cladding between the listed openings are left out. Years repeat, from the wall's start month, until
    the water at their ends agrees within 10 g/m2 or `wall.run.max_years` are done.

    Parameters
    ----------
    wall : Wall
        The wall, as `read_wall` returns it.
    weather : xarray.Dataset, (time,)
        Whole hours in a row, as `read_weather` returns them.
    opening_set : str, keyword only
        Name of one of the wall's opening sets; None: the first.
    depth : float, keyword only
        Cavity depth; None: that of the wall. [m]
    column : str, keyword only
        Name of one of the wall's columns; None: the first.
    hours : int, keyword only
        Hours to run from the start month on, once, where they are fewer than the weather has; None: whole years.
    refine_cells : float, keyword only
        2 halves every cell, for convergence studies. [1]
    refine_steps : int, keyword only
        2 halves every time step. [1]

    Returns
    -------
    xarray.Dataset
        Dimensions and variables as in `cavity.variables`; time in the order of the weather file, those run only.

    Raises
    ------
    InputError
        If a name is not known or the depth is not above 0.
    ConvergenceError
        If the solver gives up; says in which hour and what to try.

    Notes
    -----
    Heat and vapour in the layers: EN 15026. Cavity air: exponential approach as in ISO 15099. Air flow: `airflow`.
    """
    from cavity.airflow.column import build_column
    from cavity.climate import on_wall
    from cavity.kernels import year
    from cavity.wall.grid import build_line
    from cavity.wall.indoor import indoor_climate
    from cavity.wall.uvalue import rail_spots

    chosen = _opening_set(wall, opening_set)
    depth = wall.cavity.depth if depth is None else float(depth)
    if not 0.0 < depth <= 1.0:
        raise InputError(
            Fault("simulate, depth", "the cavity depth is not possible", f"{depth} m", "above 0, at most 1 m")
        )
    air = build_column(wall, chosen, depth, column or "")
    line = build_line(wall, depth=depth, refine=refine_cells)
    outside = on_wall(weather, orientation=wall.orientation, tilt=wall.tilt, site=wall.site)
    room_T, room_phi = indoor_climate(wall.indoor, weather)
    short = hours is not None and hours < outside.sizes["time"]
    if short:
        run_only = np.sort(_order(outside["time"].to_numpy(), wall.run.start_month)[:hours])
        outside, room_T, room_phi = outside.isel(time=run_only), room_T[run_only], room_phi[run_only]
    forcing = _forcing(wall, air, line, outside, room_T, room_phi)
    cavity_column = _column(wall, air, depth)
    readings = _readings(line)
    state = _start(wall, line, air, outside, room_T)
    segments, layers = len(air.segment_bottom), len(wall.layers)
    record = _empty_record(outside.sizes["time"], segments, line, layers, air)
    order = _order(outside["time"].to_numpy(), wall.run.start_month)

    ends: list[NDArray[np.float64]] = [_water_by_layer(state, line, layers)]
    steps = iterations = 0
    worst = 0.0
    repeats = False
    for _ in range(1 if short else max(1, wall.run.max_years)):
        _open_books(record, state)
        status, hour, n_steps, n_iterations, residual = year.run(
            line.grid, cavity_column, forcing, readings, state, record, order, refine_steps
        )
        if status:
            raise ConvergenceError(
                f"no convergence in hour {hour} ({outside['time'].to_numpy()[hour]}) of wall {wall.name!r}, openings "
                f"{chosen.name!r}, depth {depth * 1e3:g} mm: residual {residual:.3g} W/m2, limit {year.TOLERANCE:g}, "
                f"step {year.HOUR / year.SMALLEST_SPLIT:.2g} s. Check the weather of that hour and the materials' "
                "sorption data; thinner layers than 0.1 mm are better given as membranes (sd)."
            )
        steps, iterations, worst = steps + n_steps, iterations + n_iterations, max(worst, residual)
        ends.append(_water_by_layer(state, line, layers))
        if float(np.abs(ends[-1] - ends[-2]).sum(axis=1).max()) < CYCLE:
            repeats = True
            break
    dataset = _dataset(wall, weather, outside, room_T, room_phi, air, line, record, ends, state)
    dataset = with_rail_spots(dataset, rail_spots(wall, opening_set=chosen.name, depth=depth, column=air.name))
    dataset.attrs.update(
        opening_set=chosen.name,
        depth=depth,
        years_run=len(ends) - 1,
        cycle_repeats=int(repeats),
        solver_steps=int(steps),
        solver_iterations=int(iterations),
        solver_residual=float(worst),
        monthly="" if short else _monthly(wall, weather, chosen.name, depth, air.name),
    )
    return dataset


def _monthly(wall: Wall, weather: xr.Dataset, opening_set: str, depth: float, column: str) -> str:
    """Return the monthly method's result as JSON; empty where the weather is not a whole year."""
    from cavity.wall.monthly import monthly, summary

    months = weather["time"].to_numpy().astype("datetime64[M]").astype(int) % 12
    if len(np.unique(months)) < 12:
        return ""
    return json.dumps(summary(monthly(wall, weather, opening_set=opening_set, depth=depth, column=column)))


def _opening_set(wall: Wall, name: str | None) -> Any:
    import difflib

    if name is None:
        return wall.opening_sets[0]
    try:
        return wall.opening_set(name)
    except KeyError:
        known = [choice.name for choice in wall.opening_sets]
        near = difflib.get_close_matches(name, known, 1)
        cure = f"did you mean {near[0]!r}?" if near else "choose a listed one"
        raise InputError(Fault("simulate, opening_set", "no such opening set", name, ", ".join(known), cure)) from None


def sky_share(tilt: float) -> float:
    """Return the share of the longwave view of the outer face that is at sky temperature; the rest is at air's.

    The face sees sky by F = (1 + cos tilt)/2, the ground by the rest. Near the horizon the sky is as warm as the air,
    so of F only the part sqrt(F) counts as sky. Ground and obstacles are taken at air temperature.

    Parameters
    ----------
    tilt : float
        Slope from horizontal, 90 is a wall, less leans back like a roof. [degree]

    Returns
    -------
    float
        F sqrt(F): 1 facing the zenith, 0.354 upright, 0 facing the ground. [1]

    References
    ----------
    G. N. Walton, NBSIR 83-2655, 1983, from memory.

    Examples
    --------
    >>> round(sky_share(90.0), 4)
    0.3536
    """
    return float((0.5 * (1.0 + np.cos(np.radians(tilt)))) ** 1.5)


def outside_coefficient(speed: NDArray[np.float64], angle: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the convective coefficient of the outer face.

    Parameters
    ----------
    speed : array, (time,)
        Wind speed on the site. [m/s]
    angle : array, (time,)
        Angle between wind and wall normal. [degree]

    Returns
    -------
    array, (time,)
        Windward 5 + 4.5 u - 0.14 u2 (held from 10 m/s), leeward 5 + 1.5 u. [W/(m2 K)]

    References
    ----------
    B. Marteinsson, course notes, University of Iceland, table 2.1.
    """
    held = np.minimum(speed, 10.0)
    return np.where(np.abs(angle) < 90.0, 5.0 + 4.5 * held - 0.14 * held**2, 5.0 + 1.5 * speed)


# m3/(m2 h Pa) by airtightness class, q50 up to 1, 3 and 5 m3/(m2 h): Kuenzel et al. 2012, from memory
LEAK_PERMEANCE = {"A": 0.007, "B": 0.010, "C": 0.019}


def leak_flow(
    wall: Wall, outdoor: NDArray[np.float64], indoor: NDArray[np.float64], pressure: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the indoor air that leaks into the wall in each hour.

    By class, the flow is the permeance of the envelope times the stack pressure at the top of the connected indoor air,
    half its height above the neutral level; air that flows inwards in warm hours is left out, as is wind.

    Parameters
    ----------
    wall : Wall
        With `wetting.leak_flow`, or `wetting.leak_class` and `wetting.leak_height`.
    outdoor, indoor : array, (time,)
        Air temperatures. [K]
    pressure : array, (time,)
        Atmospheric pressure. [Pa]

    Returns
    -------
    array, (time,)
        Leaking air. [kg/(m2 s)]

    References
    ----------
    H. M. Kuenzel, D. Zirkelbach, B. Schafaczek, Modelling the effect of air leakage in hygrothermal envelope
    simulation, 2012: method and permeances from memory.
    """
    from cavity.constants import GRAVITY, R_AIR

    wetting = wall.wetting
    if wetting.leak_layer is None:
        return np.zeros(len(outdoor))
    if not wetting.leak_class:
        return np.full(len(outdoor), wetting.leak_flow)
    height = wetting.leak_height or wall.site.building_height
    inside = pressure / (R_AIR * indoor)
    stack = (pressure / (R_AIR * outdoor) - inside) * GRAVITY * 0.5 * height
    return LEAK_PERMEANCE[wetting.leak_class] / 3600.0 * inside * np.maximum(stack, 0.0)


def _forcing(
    wall: Wall,
    air: ColumnAir,
    line: Line,
    outside: xr.Dataset,
    room_T: NDArray[np.float64],
    room_phi: NDArray[np.float64],
) -> year.Forcing:
    from cavity.airflow.pressure import pressure_coefficients, wind_pressure
    from cavity.constants import STEFAN_BOLTZMANN
    from cavity.kernels import moist_air, year

    def column(name: str) -> NDArray[np.float64]:
        return np.ascontiguousarray(outside[name].to_numpy(), dtype=float)

    T_out, p_out, pressure = column("temperature_outdoor"), column("vapour_pressure_outdoor"), column("pressure")
    speed, angle, rain = column("wind_speed_site"), column("wind_angle"), column("driving_rain")
    sky = sky_share(wall.tilt)
    view = sky * column("sky_temperature") ** 4 + (1.0 - sky) * T_out**4
    gain = wall.solar_absorptance * column("sun_on_wall") + wall.emissivity * STEFAN_BOLTZMANN * view
    density = pressure / (287.05 * T_out)
    wind = wind_pressure(pressure_coefficients(wall.site, air.openings, angle), density, speed)
    saturated = np.empty_like(room_T)
    moist_air.saturation_array(np.ascontiguousarray(room_T, dtype=float), saturated)
    seep = wall.wetting.rain_share * rain
    leak = leak_flow(wall, T_out, room_T, pressure)
    return year.Forcing(
        T_out=T_out,
        p_out=p_out,
        pressure=pressure,
        gain=gain,
        h_out=outside_coefficient(speed, angle),
        wind=np.ascontiguousarray(wind, dtype=float).reshape(len(T_out), len(air.openings)),
        rain=rain - seep,
        seep=seep,
        T_in=np.ascontiguousarray(room_T, dtype=float),
        p_in=np.ascontiguousarray(room_phi * saturated, dtype=float),
        leak=leak,
        emissivity=wall.emissivity,
        h_in=1.0 / ROOM_RESISTANCE,
        beta_in=2.0e-10 / ROOM_VAPOUR_LAYER,
        leak_node=_plane_node(wall, line, wall.wetting.leak_layer or 0),
        seep_node=_plane_node(wall, line, wall.wetting.rain_plane),
    )


def _plane_node(wall: Wall, line: Line, layer: int) -> int:
    """Node of the outer face of a backup layer, which takes what arrives there."""
    name = wall.backup[layer].name
    return next(face.node for face in line.faces if face.inner == name)


def _column(wall: Wall, air: ColumnAir, depth: float) -> year.Column:
    from cavity.kernels import year

    back = wall.cavity.emissivity_cladding
    front = wall.cavity.emissivity_wall
    back = wall.cladding[-1].material.emissivity if back is None else back
    front = wall.backup[0].material.emissivity if front is None else front
    return year.Column(
        opening_law=air.opening_law,
        link_law=air.link_law,
        part_law=air.part_law,
        part_link=air.part_link,
        link_open=air.link_open,
        opening_height=air.opening_height,
        path_source=air.path_source,
        path_index=air.path_index,
        segment_bottom=air.segment_bottom,
        segment_top=air.segment_top,
        segment_link=air.segment_link,
        depth=depth,
        height=air.height,
        emissivity=1.0 / (1.0 / back + 1.0 / front - 1.0),
    )


def _readings(line: Line) -> year.Readings:
    from cavity.kernels import year

    back = line.grid.cladding_back
    return year.Readings(
        node=np.array([face.node for face in line.faces], dtype=np.int64),
        layer=line.layer_of_node,
        film=np.array([0, back, back + 1, line.nodes - 1], dtype=np.int64),
    )


def work_arrays(nodes: int) -> wall_kernel.Work:
    """Return the scratch arrays of one line with this number of nodes."""
    from cavity.kernels import wall as wall_kernel

    return wall_kernel.Work(
        *(np.zeros(nodes) for _ in range(len(wall_kernel.Work._fields) - 4)),
        *(np.zeros((nodes, 4)) for _ in range(3)),
        np.zeros((nodes, 2)),
    )


def _start(wall: Wall, line: Line, air: ColumnAir, outside: xr.Dataset, room_T: NDArray[np.float64]) -> year.State:
    """Start at the mean temperature of the first day, straight through the wall, and the wall file's humidity."""
    from cavity.kernels import wall as wall_kernel
    from cavity.kernels import year

    order = _order(outside["time"].to_numpy(), wall.run.start_month)[:24]
    cold = float(outside["temperature_outdoor"].to_numpy()[order].mean())
    warm = float(room_T[order].mean())
    share = line.position / max(line.position[-1], 1e-9)
    T = cold + (warm - cold) * share
    u = np.array([wall_kernel.potential_of_humidity(wall.run.start_humidity, t) for t in T])
    grid = line.grid
    for name, content in wall.run.construction_wet:
        index = next((i for i, layer in enumerate(wall.layers) if layer.name == name), None)
        if index is None:
            known = ", ".join(layer.name for layer in wall.layers)
            raise InputError(Fault(f"{wall.source}, run.construction_wet", "no such layer", name, known))
        nodes = np.flatnonzero(line.layer_of_node == index)
        if nodes.size:
            curve = grid.tables[grid.left[nodes[-1]], :, wall_kernel.WATER]
            axis = wall_kernel.U_LOW + wall_kernel.U_STEP * np.arange(wall_kernel.U_COUNT)
            # the curve is flat where the material is full: take the driest potential that holds the water
            k = min(max(int(np.searchsorted(curve, content)), 1), len(axis) - 1)
            share = (content - curve[k - 1]) / max(curve[k] - curve[k - 1], 1e-12)
            u[nodes] = axis[k - 1] + wall_kernel.U_STEP * min(max(share, 0.0), 1.0)
    segments = len(air.segment_bottom)
    w = work_arrays(line.nodes)
    wall_kernel.evaluate(grid, T, u, w)
    return year.State(
        T=np.tile(T, (segments, 1)),
        u=np.tile(u, (segments, 1)),
        W=np.tile(w.W, (segments, 1)),
        E=np.tile(w.E, (segments, 1)),
        flow=np.zeros(max(len(air.openings) - 1, 0)),
        air_T=np.full(segments, cold),
        air_p=np.full(segments, float(outside["vapour_pressure_outdoor"].to_numpy()[order].mean())),
    )


def _order(time: NDArray[np.datetime64], month: int) -> NDArray[np.int64]:
    """Indices of the hours from the first hour of the start month round to the hour before it."""
    months = time.astype("datetime64[M]").astype(int) % 12 + 1
    found = np.flatnonzero(months == month)
    return np.roll(np.arange(len(time), dtype=np.int64), -int(found[0]) if found.size else 0)


def _empty_record(hours: int, segments: int, line: Line, layers: int, air: ColumnAir) -> year.Record:
    from cavity.kernels import year

    def field(*shape: int) -> NDArray[np.float64]:
        return np.zeros((hours, *shape))

    faces, openings, parts = len(line.faces), len(air.openings), len(air.path_source)
    return year.Record(
        T=np.zeros((hours, segments, faces), dtype=np.float32),
        p=np.zeros((hours, segments, faces), dtype=np.float32),
        air_T=field(segments),
        air_p=field(segments),
        change_rate=field(segments),
        speed=field(segments),
        stack=field(),
        wind=field(),
        opening_flow=field(openings),
        part_pressure=field(parts),
        water=field(segments, layers),
        film=field(segments, 4),
        frost=field(segments, 4),
        vapour=field(segments, 4),
        condensation=field(segments, 4),
        runoff=field(segments, 4),
        heat_in=field(segments),
        water_residual=field(segments),
        energy_residual=field(segments),
        drained=np.zeros(segments),
        through=np.zeros((segments, 2)),
        terms=np.zeros((segments, len(BALANCE_TERMS))),
        books=np.zeros((segments, 4)),
    )


def _open_books(record: year.Record, state: year.State) -> None:
    record.drained[:] = 0.0
    record.through[:] = 0.0
    record.terms[:] = 0.0
    record.books[:, :2] = 0.0
    record.books[:, 2] = state.W.sum(axis=1)
    record.books[:, 3] = state.E.sum(axis=1)


def _water_by_layer(state: year.State, line: Line, layers: int) -> NDArray[np.float64]:
    """Water in each layer, and in the films as a last column [kg/m2], (segment, layer + 1)."""
    found = np.zeros((state.W.shape[0], layers + 1))
    for k in range(layers):
        found[:, k] = state.W[:, line.layer_of_node == k].sum(axis=1)
    found[:, layers] = state.W[:, line.layer_of_node < 0].sum(axis=1)
    return found


def _dataset(
    wall: Wall,
    weather: xr.Dataset,
    outside: xr.Dataset,
    room_T: NDArray[np.float64],
    room_phi: NDArray[np.float64],
    air: ColumnAir,
    line: Line,
    record: year.Record,
    ends: list[NDArray[np.float64]],
    state: year.State,
) -> xr.Dataset:
    from importlib.metadata import version

    import xarray as xr

    layers = len(wall.layers)
    face_p = record.p.astype(float)
    face_T = record.T.astype(float)
    saturated = _saturation(face_T)
    humidity = np.clip(face_p / saturated, 0.0, 1.0)
    p_out, p_room = outside["vapour_pressure_outdoor"].to_numpy(), room_phi * _saturation(room_T)
    dew = _dew_beside(line, p_out, record.air_p, p_room, face_p, saturated)
    data: dict[str, tuple[tuple[str, ...], NDArray[Any], str]] = {}

    def put(name: str, values: NDArray[Any], source: str = "cavity.simulate", dims: tuple[str, ...] = ()) -> None:
        data[name] = (dims or variables.TABLE[name].dims, values, source)

    put("temperature_indoor", room_T, f"indoor climate: {wall.indoor.model}")
    put("relative_humidity_indoor", room_phi, f"indoor climate: {wall.indoor.model}")
    put("air_change_rate", record.change_rate)
    put("air_speed", record.speed)
    put("stack_pressure", record.stack)
    put("wind_pressure", record.wind)
    put("opening_flow", record.opening_flow)
    put("part_pressure", record.part_pressure)
    put("cavity_temperature", record.air_T)
    put("cavity_vapour_pressure", record.air_p)
    put("cavity_relative_humidity", np.clip(record.air_p / _saturation(record.air_T), 0.0, 1.5))
    put("temperature", record.T)
    put("vapour_pressure", record.p)
    put("relative_humidity", humidity.astype(np.float32))
    put("dew_point", dew.astype(np.float32))
    put("dew_point_margin", (face_T - dew).astype(np.float32))
    put("water", record.water)
    put("film", record.film)
    put("frost_share", record.frost)
    put("vapour_flow", record.vapour)
    put("condensation", record.condensation)
    put("runoff", record.runoff)
    put("heat_flux_indoor", record.heat_in)
    put("water_residual", record.water_residual)
    put("energy_residual", record.energy_residual)
    put("water_end_of_year", np.maximum(np.array([end[:, :layers] for end in ends[1:]]), 0.0))
    put("water_at_start", np.maximum(ends[0][:, :layers], 0.0))
    put("water_balance", _balance(record, state))

    shared = {name: outside[name] for name in outside.data_vars}
    dataset = xr.Dataset(
        {name: (dims, values, variables.attributes(name, source)) for name, (dims, values, source) in data.items()}
        | shared,
        coords=_coordinates(wall, outside, air, line, len(ends) - 1),
    )
    throughput = np.maximum(record.through, 1e-9)
    dataset.attrs = provenance(wall, weather) | {
        "latitude": float(weather.attrs.get("latitude", np.nan)),
        "longitude": float(weather.attrs.get("longitude", np.nan)),
        "has_rain": int(weather.attrs.get("has_rain", 0)),
        "column": air.name,
        "column_bottom": air.bottom,
        "column_top": air.top,
        "orientation": wall.orientation,
        "tilt": wall.tilt,
        "iso6946_class": air.iso6946_class,
        "film_limit": wall.cavity.film_limit,
        "water_balance_error": float((np.abs(record.water_residual).max(axis=0) / throughput[:, 0]).max()),
        "energy_balance_error": float((np.abs(record.energy_residual).max(axis=0) / throughput[:, 1]).max()),
        "version": version("cavity"),
        "created": dt.datetime.now(dt.UTC).strftime("%Y-%m-%d %H:%M UTC"),
    }
    return dataset


def provenance(wall: Wall, weather: xr.Dataset) -> dict[str, str | int]:
    """Return the attributes of a result that tell where its inputs come from; no number of it depends on them.

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
    plain, given = asdict(wall), weather.attrs
    digest = hashlib.sha256(json.dumps(plain, sort_keys=True, default=str).encode()).hexdigest()
    return {
        "wall_name": wall.name,
        "wall_invented": int(wall.invented),
        "wall_description": wall.description,
        "wall_text": wall.text,
        "wall_json": json.dumps(plain, allow_nan=True),
        "wall_sha256": digest,
        "wall_source": wall.source,
        "climate_name": str(given.get("name", "")),
        "climate_invented": int(given.get("invented", 0)),
        "climate_source": str(given.get("source", "")),
        "climate_sha256": str(given.get("sha256", "")),
        "time_policy": str(given.get("time_policy", "")),
        "warnings": json.dumps([*wall.warnings, *json.loads(given.get("warnings", "[]"))]),
    }


def _balance(record: year.Record, state: year.State) -> NDArray[np.float64]:
    terms = record.terms.copy()
    terms[:, -2] = -record.drained
    terms[:, -1] = state.W.sum(axis=1) - record.books[:, 2]
    return terms.T


def _coordinates(wall: Wall, outside: xr.Dataset, air: ColumnAir, line: Line, years: int) -> dict[str, Any]:
    by_name = {layer.name: layer for layer in wall.layers}

    def neighbours(face: Any) -> list[Layer]:
        return [by_name[name] for name in (face.outer, face.inner) if name in by_name]

    def of_layers(get: Any) -> tuple[str, list[Any]]:
        return ("layer", [get(layer) for layer in wall.layers])

    faces = line.faces
    return {
        "time": outside["time"],
        "segment": list(air.segment_names),
        "segment_bottom": ("segment", air.segment_bottom, {"units": "m"}),
        "segment_top": ("segment", air.segment_top, {"units": "m"}),
        "face": [face.label for face in faces],
        "face_kind": ("face", [face.kind for face in faces]),
        "face_role": ("face", [face.role for face in faces]),
        "face_position": ("face", [face.position for face in faces], {"units": "m"}),
        "face_outer": ("face", [face.outer for face in faces]),
        "face_inner": ("face", [face.inner for face in faces]),
        "face_mould_class": (
            "face",
            [max((x.material.mould_class for x in neighbours(face)), key=MOULD_CLASSES.index) for face in faces],
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
        "layer_membrane": of_layers(lambda x: int(x.is_membrane)),
        "layer_source": of_layers(lambda x: x.material.source),
        "film_face": list(FILM_FACES),
        "opening": list(air.opening_names),
        "opening_height": ("opening", air.opening_height, {"units": "m"}),
        "opening_area": ("opening", air.opening_area, {"units": "m2/m"}),
        "opening_kind": ("opening", list(air.opening_kind)),
        "part": list(air.path_names),
        "part_height": ("part", air.path_height, {"units": "m"}),
        "part_kind": ("part", list(air.path_kinds)),
        "part_area": ("part", air.path_area, {"units": "m2/m"}),
        "year": np.arange(1, years + 1),
        "balance_term": list(BALANCE_TERMS),
    }


def _saturation(T: NDArray[np.float64]) -> NDArray[np.float64]:
    from cavity.kernels import moist_air

    flat = np.ascontiguousarray(T, dtype=float).ravel()
    out = np.empty_like(flat)
    moist_air.saturation_array(flat, out)
    return out.reshape(np.shape(T))


def _dew_point(p: NDArray[np.float64]) -> NDArray[np.float64]:
    from cavity.kernels import moist_air

    flat = np.ascontiguousarray(p, dtype=float).ravel()
    out = np.empty_like(flat)
    moist_air.dew_point_array(flat, out)
    return out.reshape(np.shape(p))


def _dew_beside(
    line: Line,
    p_out: NDArray[np.float64],
    p_air: NDArray[np.float64],
    p_room: NDArray[np.float64],
    p_face: NDArray[np.float64],
    saturated: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Dew point that decides at each face: of the air beside it, or of the pores at an interface."""
    outdoors, cavity, room = _dew_point(p_out)[:, None], _dew_point(p_air), _dew_point(p_room)[:, None]
    air = {"outer face": outdoors, "back of cladding": cavity, "outer face of wall": cavity, "room face": room}
    dew = np.empty_like(p_face)
    for k, face in enumerate(line.faces):
        if face.role in air:
            dew[:, :, k] = air[face.role]
        else:  # pores cannot be above saturation: the mean over an hour that warms may round past it
            dew[:, :, k] = _dew_point(np.minimum(p_face[:, :, k], saturated[:, :, k]))
    return dew


def with_rail_spots(dataset: xr.Dataset, spots: tuple[RailSpot, ...]) -> xr.Dataset:
    """Return the result with the temperature and dew-point margin at the cold spots of metal rails.

    The hourly wall has the mean conductance of insulation and rails; the spot is colder by the ratio of the drops from
    the room air: T_spot = T_room - drop (T_room - T_face). That is the zone method's temperature in the steady state
    and carries the sun, the night sky and the storage of the layers with it; the strip's own storage is left out. The
    dew point is that of the undisturbed face: of the vapour where the rails end (the higher one of the two sides where
    a membrane lies there), of the room air at the room face.

    Parameters
    ----------
    dataset : xarray.Dataset
        With temperature, dew_point, temperature_indoor and the coordinates of faces and layers. [K]
    spots : tuple of RailSpot
        From `wall.uvalue.rail_spots`.

    Returns
    -------
    xarray.Dataset
        With rail_temperature and rail_dew_point_margin [K], (time, segment, rail_spot); the same where there are none.

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
    source = "cavity.simulate.with_rail_spots"
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


def save(dataset: xr.Dataset, path: Any) -> None:
    """Write a result Dataset as NetCDF, whole or not at all.

    Parameters
    ----------
    dataset : xarray.Dataset
        A result of `simulate`.
    path : path
        Target; an existing file is replaced only by a complete one.

    Raises
    ------
    CavityError
        If the file cannot be written.
    """
    from pathlib import Path

    target = Path(path)
    part = target.with_name(target.name + ".part")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        packed = {name: {"zlib": True, "complevel": 4} for name, data in dataset.data_vars.items() if data.ndim > 1}
        dataset.to_netcdf(part, engine="h5netcdf", encoding=packed)
        part.replace(target)
    except OSError as error:
        raise CavityError(f"{target}: cannot be written ({error.strerror or error})") from error
    finally:
        part.unlink(missing_ok=True)
