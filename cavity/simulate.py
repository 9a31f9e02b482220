"""One case: a wall, its openings and depth, and a year of weather in; one Dataset of hourly results out."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from cavity.climate.humid import saturation_pressure
from cavity.climate.on_wall import on_wall, sky_share
from cavity.climate.outside import outside_coefficient
from cavity.errors import ConvergenceError, Fault, InputError
from cavity.result import BALANCE_TERMS, dataset_of, with_rail_spots, with_studs

if TYPE_CHECKING:
    import xarray as xr
    from numpy.typing import ArrayLike, NDArray

    from cavity.airflow.column import ColumnAir
    from cavity.kernels import year
    from cavity.wall.grid import Line
    from cavity.wallfile.model import Case, Wall

# m, still air with the vapour resistance of the room face by direction of heat flow, EN 15026 draft (CEN/TC 89 WI 29.3)
ROOM_VAPOUR_LAYER = {"up": 0.004, "horizontal": 0.008, "down": 0.03}
NEAR_BOILING = 0.5  # of the air pressure: beyond, diffusion in air at rest no longer describes how vapour moves
CYCLE = 0.01  # kg/m2: two years that end this close hold the same water


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
    cavity and backup wall, and the air that flows past joins them. Lateral flow and leaks through the cladding between
    the listed openings are left out; exchange by gusts is an estimate. Years repeat, from the wall's start month, until
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
    Where `wall.run.stud_line` asks for it a second run takes wood instead of insulation in the layers with a frame, as
    though the whole wall were stud, and its surfaces and interfaces are added as stud_temperature and so on.

    Heat and vapour in the layers: EN 15026. Cavity air: exponential approach as in ISO 15099. Air flow: `airflow`.
    """
    case = wall.case(opening_set=opening_set, depth=depth, column=column)
    return simulate_case(case, weather, hours=hours, refine_cells=refine_cells, refine_steps=refine_steps)


def simulate_case(
    case: Case,
    weather: xr.Dataset,
    *,
    hours: int | None = None,
    refine_cells: float = 1.0,
    refine_steps: int = 1,
) -> xr.Dataset:
    """Return what `simulate` does for the case that `Wall.case` returns.

    Parameters
    ----------
    case : Case
        A wall with one set of openings, one column and its depth.
    weather : xarray.Dataset, (time,)
        As for `simulate`.
    hours, refine_cells, refine_steps : keyword only
        As for `simulate`. [h, 1, 1]

    Returns
    -------
    xarray.Dataset
        As of `simulate`.

    Raises
    ------
    ConvergenceError
        As `simulate`.
    """
    from cavity.airflow.column import build_column
    from cavity.kernels import year
    from cavity.wall.grid import build_line
    from cavity.wall.indoor import indoor_climate
    from cavity.wall.uvalue import at_studs, rail_spots

    wall = case.wall
    air = build_column(case)
    line = build_line(case, refine=refine_cells)
    room_T, room_phi = indoor_climate(wall.indoor, weather)  # of the whole weather: it knows the months and yesterday
    short = hours is not None and hours < weather.sizes["time"]
    if short:
        run_only = np.sort(_order(weather["time"].to_numpy(), wall.run.start_month)[:hours])
        weather, room_T, room_phi = weather.isel(time=run_only), room_T[run_only], room_phi[run_only]
    outside = on_wall(weather, orientation=wall.orientation, tilt=wall.tilt, site=wall.site)
    forcing = _forcing(wall, air, line, outside, room_T, room_phi)
    cavity_column = _column(case, air)
    readings = _readings(line)
    state = _start(wall, line, air, outside, room_T)
    segments, layers = len(air.segment_bottom), len(wall.layers)
    record = _empty_record(outside.sizes["time"], segments, line, layers, air)
    order = _order(outside["time"].to_numpy(), wall.run.start_month)

    stage, work = year.workspace(
        line.grid, segments, len(line.faces), len(air.openings), len(air.path_source), len(air.compartment_edges) - 1
    )
    ends: list[NDArray[np.float64]] = [_water_by_layer(state, line, layers)]
    steps = updates = 0
    worst = 0.0
    repeats = False
    for _ in range(1 if short else max(1, wall.run.max_years)):
        _open_books(record, state)
        status, hour, n_steps, n_updates, residual = year.run(
            line.grid, cavity_column, forcing, readings, state, record, stage, work, order, refine_steps
        )
        if status:
            raise ConvergenceError(_no_convergence(case, line, outside, int(hour), work.trouble))
        steps, updates, worst = steps + n_steps, updates + n_updates, max(worst, residual)
        ends.append(_water_by_layer(state, line, layers))
        if float(np.abs(ends[-1] - ends[-2]).sum(axis=1).max()) < CYCLE:
            repeats = True
            break
    gain = _gains(case, air, forcing, record)
    dataset = dataset_of(wall, weather, outside, room_T, room_phi, air, line, record, ends, state, gain)
    dataset = with_rail_spots(dataset, rail_spots(case))
    if wall.run.stud_line and any(layer.frame for layer in wall.layers):
        studs = simulate_case(
            replace(case, wall=at_studs(replace(wall, run=replace(wall.run, stud_line=False)))),
            weather,
            hours=hours,
            refine_cells=refine_cells,
            refine_steps=refine_steps,
        )
        dataset = with_studs(dataset, studs)
    dataset.attrs.update(
        opening_set=case.opening_set.name,
        depth=case.depth,
        years_run=len(ends) - 1,
        cycle_repeats=int(repeats),
        first_hour=int(order[0]),
        solver_steps=int(steps),
        solver_updates=int(updates),
        solver_residual=float(worst),
        monthly="" if short else _monthly(case, weather),
    )
    if boils := _boiling(dataset):
        dataset.attrs["warnings"] = json.dumps([*json.loads(dataset.attrs["warnings"]), boils])
    return dataset


def _boiling(dataset: xr.Dataset) -> str:
    """Return a warning where vapour comes near the air pressure in the cavity or at a face; empty where it does not."""
    most = dataset["vapour_pressure"].max(("segment", "face")).to_numpy()
    most = np.maximum(most, dataset["cavity_vapour_pressure"].max("segment").to_numpy())
    hours = int((most > NEAR_BOILING * dataset["pressure"].to_numpy()).sum())
    if not hours:
        return ""
    hottest = float(dataset["temperature"].max()) - 273.15
    return (
        f"in {hours} h water in the wall comes near boiling (up to {most.max() / 1e3:.0f} kPa of vapour, hottest "
        f"surface {hottest:.0f} degC): steam that drives itself out is left out, and these hours are outside the "
        "model; check the absorptance and emissivities, and the materials at such temperatures"
    )


def _no_convergence(case: Case, line: Line, outside: xr.Dataset, hour: int, trouble: NDArray[np.float64]) -> str:
    """Return the message of a run that the solver gave up: where, in which state, and what can be tried."""
    from cavity.constants import ICE_POINT
    from cavity.kernels import year

    segment, node, row = (int(value) for value in trouble[:3])
    residual, T, u, held, flow = (float(value) for value in trouble[3:])
    face = next((face.label for face in line.faces if face.node == node), "")
    owner = line.layer_of_node[node]
    where = f"at {face!r}" if face else f"in layer {case.wall.layers[owner].name!r}"
    celsius = T - ICE_POINT
    phase = "liquid" if celsius >= 0.0 else "freezing or melting" if celsius > -0.5 else "ice"
    water = f"{1e3 * held:.3g} g/m2 of water, {phase}" if held > 1e-6 else "no water"
    flowing = (
        "still air"
        if abs(flow) < year.CALM_FLOW
        else f"air flow {'up' if flow > 0.0 else 'down'} {abs(flow):.2g} kg/(s m)"
    )
    weather = outside.isel(time=hour)
    outdoors = f"outdoors {float(weather['temperature_outdoor']) - ICE_POINT:.1f} degC"
    rain = float(weather["driving_rain"]) * 3600.0
    return (
        f"no convergence in hour {hour} ({str(weather['time'].to_numpy())[:16]}) of {case}: the "
        f"{'water' if row else 'heat'} balance {where}, segment {segment + 1}, is {residual:.2g} W/m2 off (limit "
        f"{year.TOLERANCE:g}) however small the step; {celsius:.2f} degC there, relative humidity "
        f"{float(np.exp(-np.exp(-u))):.4f}, {water}; {flowing}; {outdoors}, rain on the wall {rain:.2g} mm. Try: "
        "segments = 1 under [run]; a start humidity nearer to that of the seasons; layers thinner than 0.1 mm as "
        "membranes (sd); sorption data that rise steadily."
    )


def drawn(case: Case) -> xr.Dataset:
    """Return what a drawing of one case shows, without weather and results.

    Parameters
    ----------
    case : Case
        From `Wall.case`.

    Returns
    -------
    xarray.Dataset
        The coordinates and attributes that a result of `simulate` has for it; no variables.
    """
    import xarray as xr

    from cavity.airflow.column import build_column
    from cavity.result import of_column, places
    from cavity.wall.grid import build_line
    from cavity.wallfile.recorded import to_json

    wall, air = case.wall, build_column(case)
    found = xr.Dataset(coords=places(wall, air, build_line(case)))
    own = {"wall_name": wall.name, "wall_json": to_json(wall), "opening_set": case.opening_set.name}
    found.attrs = of_column(wall, air) | own | {"depth": case.depth}
    return found


def _gains(case: Case, air: ColumnAir, forcing: year.Forcing, record: year.Record) -> NDArray[np.float64]:
    """Return the gain in flow if each part were doubled, over hours spread evenly."""
    from cavity.airflow.gains import HOURS, doubling_gains
    from cavity.constants import GRAVITY, R_AIR, R_VAPOUR
    from cavity.kernels import moist_air

    t = np.unique(np.linspace(0, len(forcing.T_out) - 1, HOURS).astype(int))
    P, T_out, p_out = forcing.pressure[t], forcing.T_out[t], forcing.p_out[t]
    rho_out = (P - p_out) / (R_AIR * T_out) + p_out / (R_VAPOUR * T_out)
    T, p = record.air_T[t], record.air_p[t]
    rho = (P[:, None] - p) / (R_AIR * T) + p / (R_VAPOUR * T)
    rho_link = np.repeat(rho_out[:, None], len(air.link_rise), axis=1)
    size = air.segment_top - air.segment_bottom
    for k in range(len(air.link_rise)):
        inside = air.segment_link == k
        if inside.any():
            rho_link[:, k] = rho[:, inside] @ size[inside] / size[inside].sum()
    drive = forcing.wind[t, :-1] - forcing.wind[t, 1:] + (rho_out[:, None] - rho_link) * GRAVITY * air.link_rise
    mu = np.array([moist_air.viscosity(float(value)) for value in T_out])
    return doubling_gains(case, air, drive, rho_out, rho_link, mu)


def _monthly(case: Case, weather: xr.Dataset) -> str:
    """Return the monthly method's result as JSON; empty where the weather is not a whole year."""
    from cavity.wall.monthly import monthly, summary

    months = weather["time"].to_numpy().astype("datetime64[M]").astype(int) % 12
    if len(np.unique(months)) < 12:
        return ""
    return json.dumps(summary(monthly(case, weather)))


# Permeance of the leaks that wet a wall [m3/(m2 h Pa)] at the envelope's air permeability q50 [m3/(m2 h)]:
# Kuenzel et al. 2012, from memory and doubtful, no text was at hand
_LEAK_BY_Q50 = ((0.0, 0.0), (1.0, 0.004), (3.0, 0.007), (5.0, 0.010))


def leak_permeance(q50: float) -> float:
    """Return the permeance of those leaks through which indoor air wets the wall.

    Parameters
    ----------
    q50 : float
        Air permeability of the envelope: flow at 50 Pa per area of the envelope, as measured. [m3/(m2 s)]

    Returns
    -------
    float
        Flow per pressure; a straight line between the published points, through zero below the first and on beyond the
        last. It is 10 to 20 % of q50 / 50 Pa: most of a leak is short and wide, warms up and leaves no water.
        [m3/(m2 s Pa)]

    References
    ----------
    H. M. Kuenzel, D. Zirkelbach, B. Schafaczek, Modelling the effect of air leakage in hygrothermal envelope
    simulation, 2012: 0.004, 0.007 and 0.010 m3/(m2 h Pa) at q50 of 1, 3 and 5 m3/(m2 h), from memory and doubtful:
    the paper was not at hand, and readers remember the points differently by a factor of 1.5 to 1.9.

    Examples
    --------
    >>> round(3600 * leak_permeance(3 / 3600), 4)
    0.007
    """
    given = 3600.0 * q50
    places, values = zip(*_LEAK_BY_Q50, strict=True)
    if given > places[-1]:
        slope = (values[-1] - values[-2]) / (places[-1] - places[-2])
        return (values[-1] + slope * (given - places[-1])) / 3600.0
    return float(np.interp(given, places, values)) / 3600.0


def _density(T: NDArray[np.float64], p: ArrayLike, pressure: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the density of moist air [kg/m3] of temperature [K], vapour and air pressure [Pa]."""
    from cavity.constants import R_AIR, R_VAPOUR

    return (pressure - p) / (R_AIR * T) + p / (R_VAPOUR * T)


def leak_flow(
    wall: Wall,
    outdoor: NDArray[np.float64],
    indoor: NDArray[np.float64],
    pressure: NDArray[np.float64],
    *,
    vapour_outdoor: ArrayLike = 0.0,
    vapour_indoor: ArrayLike = 0.0,
) -> NDArray[np.float64]:
    """Return the indoor air that leaks into the wall in each hour (E56).

    By q50, the flow is `leak_permeance` times the stack pressure at the top of the connected indoor air, half its
    height above the neutral level; air that flows inwards in warm hours is left out, as is wind.

    Parameters
    ----------
    wall : Wall
        With `wetting.leak_flow`, or `wetting.leak_q50` and `wetting.leak_height`.
    outdoor, indoor : array, (time,)
        Air temperatures. [K]
    pressure : array, (time,)
        Atmospheric pressure. [Pa]
    vapour_outdoor, vapour_indoor : array_like, (time,), keyword only
        Vapour pressure of the air; moist air is lighter. [Pa]

    Returns
    -------
    array, (time,)
        Leaking air. [kg/(m2 s)]

    References
    ----------
    H. M. Kuenzel, D. Zirkelbach, B. Schafaczek, Modelling the effect of air leakage in hygrothermal envelope
    simulation, 2012: method from memory.
    """
    from cavity.constants import GRAVITY

    wetting = wall.wetting
    if wetting.leak_layer is None:
        return np.zeros(len(outdoor))
    if not wetting.leak_q50:
        return np.full(len(outdoor), wetting.leak_flow)
    height = wetting.leak_height or wall.site.building_height
    inside = _density(indoor, np.asarray(vapour_indoor), pressure)
    stack = (_density(outdoor, np.asarray(vapour_outdoor), pressure) - inside) * GRAVITY * 0.5 * height
    return leak_permeance(wetting.leak_q50) * inside * np.maximum(stack, 0.0)


def _forcing(
    wall: Wall,
    air: ColumnAir,
    line: Line,
    outside: xr.Dataset,
    room_T: NDArray[np.float64],
    room_phi: NDArray[np.float64],
) -> year.Forcing:
    """Return what acts on the wall hour by hour: gain by E10, wind by E18, room by E54."""
    from cavity.airflow.pressure import gust_pressure, pressure_coefficients, wind_pressure
    from cavity.constants import ISO_AIR_PERMEABILITY, STEFAN_BOLTZMANN
    from cavity.kernels import year
    from cavity.wall.uvalue import INNER_SURFACE, heat_flow_direction

    def column(name: str) -> NDArray[np.float64]:
        return np.ascontiguousarray(outside[name].to_numpy(), dtype=float)

    T_out, p_out, pressure = column("temperature_outdoor"), column("vapour_pressure_outdoor"), column("pressure")
    speed, angle, rain = column("wind_speed_site"), column("wind_angle"), column("driving_rain")
    direction = heat_flow_direction(wall.tilt)
    sky = sky_share(wall.tilt)
    view = sky * column("sky_temperature") ** 4 + (1.0 - sky) * T_out**4
    gain = wall.solar_absorptance * column("sun_on_wall") + wall.emissivity * STEFAN_BOLTZMANN * view
    density = _density(T_out, p_out, pressure)
    wind = wind_pressure(pressure_coefficients(wall.site, air.openings, angle), density, speed)
    p_in = room_phi * saturation_pressure(room_T)
    seep = wall.wetting.rain_share * rain
    leak = leak_flow(wall, T_out, room_T, pressure, vapour_outdoor=p_out, vapour_indoor=p_in)
    return year.Forcing(
        T_out=T_out,
        p_out=p_out,
        pressure=pressure,
        gain=gain,
        h_out=outside_coefficient(speed),
        wind=np.ascontiguousarray(wind, dtype=float).reshape(len(T_out), len(air.openings)),
        speed=speed,
        gust=gust_pressure(wall.site, air.openings, angle, density, speed),
        rain=rain - seep,
        seep=seep,
        T_in=np.ascontiguousarray(room_T, dtype=float),
        p_in=np.ascontiguousarray(p_in, dtype=float),
        leak=leak,
        emissivity=wall.emissivity,
        h_in=1.0 / INNER_SURFACE[direction],  # convection and radiation together
        beta_in=ISO_AIR_PERMEABILITY / ROOM_VAPOUR_LAYER[direction],
        leak_node=_plane_node(wall, line, wall.wetting.leak_layer or 0),
        seep_node=_plane_node(wall, line, wall.wetting.rain_plane),
    )


def _plane_node(wall: Wall, line: Line, layer: int) -> int:
    """Node of the outer face of a backup layer, which takes what arrives there."""
    name = wall.backup[layer].name
    return next(face.node for face in line.faces if face.inner == name)


def _column(case: Case, air: ColumnAir) -> year.Column:
    from cavity.airflow.column import gust_curve
    from cavity.kernels import year

    wall = case.wall
    return year.Column(
        opening_law=air.opening_law,
        link_law=air.link_law,
        part_law=air.part_law,
        part_link=air.part_link,
        link_open=air.link_open,
        link_entry=air.link_entry,
        opening_height=air.opening_height,
        link_rise=air.link_rise,
        path_source=air.path_source,
        path_index=air.path_index,
        segment_bottom=air.segment_bottom,
        segment_top=air.segment_top,
        segment_link=air.segment_link,
        opening_compartment=air.opening_compartment,
        gate_link=air.gate_link,
        volume=air.volume,
        segment_compartment=air.segment_compartment,
        single_area=wall.cavity.single_vent_exchange * air.single_area,
        single_clear=air.single_clear,
        gust_curve=gust_curve(air) if wall.cavity.gust_exchange > 0.0 else np.zeros((2, 0)),
        gust_factor=float(wall.cavity.gust_exchange),
        depth=case.depth,
        height=air.height,
        emissivity=case.exchange_emissivity,
    )


def _readings(line: Line) -> year.Readings:
    from cavity.kernels import year

    back = line.grid.cladding_back
    return year.Readings(
        node=np.array([face.node for face in line.faces], dtype=np.int64),
        layer=line.layer_of_node,
        film=np.array([0, back, back + 1, line.nodes - 1], dtype=np.int64),
        plane=_nearest_face(line),
    )


def _nearest_face(line: Line) -> NDArray[np.int64]:
    """Return the nearest face of its own layer for each node, (nodes,): where a full cell is taken to drain."""
    node = np.array([face.node for face in line.faces])
    outside = np.searchsorted(node, np.arange(line.nodes), side="right") - 1  # the face outside each node, or the node
    inside = np.minimum(outside + 1, len(node) - 1)
    nearer = line.position - line.position[node[outside]] <= line.position[node[inside]] - line.position
    return np.where((node[outside] == np.arange(line.nodes)) | nearer, outside, inside)


def _start(wall: Wall, line: Line, air: ColumnAir, outside: xr.Dataset, room_T: NDArray[np.float64]) -> year.State:
    """Start at the mean temperature of the first day, straight through the wall, and the wall file's humidity."""
    from cavity.kernels import film, year
    from cavity.kernels import wall as wall_kernel

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
            raise InputError(Fault(f"{wall.source}, run.construction_water", "no such layer", name, known))
        nodes = np.flatnonzero(line.layer_of_node == index)
        if nodes.size:
            curve = grid.tables[grid.left[nodes[-1]], :, wall_kernel.WATER]
            axis = wall_kernel.U_LOW + wall_kernel.U_STEP * np.arange(wall_kernel.U_COUNT)
            # the curve is flat where the material is full: take the driest potential that holds the water
            k = min(max(int(np.searchsorted(curve, content)), 1), len(axis) - 1)
            share = (content - curve[k - 1]) / max(curve[k] - curve[k - 1], 1e-12)
            u[nodes] = axis[k - 1] + wall_kernel.U_STEP * min(max(share, 0.0), 1.0)
            beyond = content - curve[-1]
            if beyond > 0.0 and grid.sheds_out[nodes[-1]] >= 0:  # what the material cannot hold stands in it as a film
                cells = nodes[grid.thickness[nodes] > 0.0]
                u[cells] = film.START + np.sqrt(beyond * grid.thickness[cells] / film.SCALE)
    segments = len(air.segment_bottom)
    w = wall_kernel.work_arrays(grid)
    wall_kernel.evaluate(grid, T, u, w)
    return year.State(
        T=np.tile(T, (segments, 1)),
        u=np.tile(u, (segments, 1)),
        W=np.tile(wall_kernel.read(w, wall_kernel.HELD), (segments, 1)),
        E=np.tile(wall_kernel.read(w, wall_kernel.HEAT), (segments, 1)),
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
        fog=field(segments),
        change_rate=field(len(air.compartment_edges)),
        speed=field(segments),
        stack=field(),
        wind=field(),
        opening_flow=field(openings),
        part_pressure=field(parts),
        water=field(segments, layers),
        film=np.zeros((hours, segments, faces), dtype=np.float32),
        frost=np.zeros((hours, segments, faces), dtype=np.float32),
        vapour=field(segments, 4),
        wetting=np.zeros((hours, segments, faces, year.CAUSES), dtype=np.float32),
        drainage=np.zeros((hours, segments, faces), dtype=np.float32),
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
    """Water in each layer, then in the film of each face and interface [kg/m2], (segment, layer + face)."""
    cell = line.grid.thickness > 0.0
    inside = [state.W[:, cell & (line.layer_of_node == k)].sum(axis=1) for k in range(layers)]
    return np.stack([*inside, *(state.W[:, face.node] for face in line.faces)], axis=1)
