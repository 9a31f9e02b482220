"""One case: a wall, its openings and depth, and a year of weather in; one Dataset of hourly results out."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from cavity.constants import GRAVITY, HOUR, ICE_POINT
from cavity.errors import ConvergenceError, Stopped
from cavity.hourly.assembly import Assembly, assemble
from cavity.hourly.boundary import density_of
from cavity.result import dataset_of, with_rail_spots, with_studs

if TYPE_CHECKING:
    import xarray as xr
    from numpy.typing import NDArray

    from cavity.airflow.column import ColumnAir
    from cavity.kernels import year_arrays
    from cavity.wall.grid import Line
    from cavity.wallfile.model import Case, Wall

NEAR_BOILING = 0.5  # of the air pressure: above it vapour no longer moves by diffusion in still air alone
CYCLE = 0.01  # kg/m2, largest difference between the ends of two years that counts as a repeated year


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

    One column of the cavity is divided into segments along its height. Each segment is a one-dimensional line through
    cladding, cavity and backup wall; the cavity air connects them. Lateral flow and leaks through the cladding between
    the listed openings are omitted; exchange by gusts is an estimate. The year is repeated, from the start month of the
    wall, until the water at its end changes by less than 10 g/m2, at most `wall.run.max_years` times.

    Parameters
    ----------
    wall : Wall
        The wall, as `read_wall` returns it.
    weather : xarray.Dataset, (time,)
        Consecutive whole hours, as `read_weather` returns them.
    opening_set : str, keyword only
        Name of one of the wall's opening sets; None: the first.
    depth : float, keyword only
        Cavity depth; None: that of the wall. [m]
    column : str, keyword only
        Name of one of the wall's columns; None: the first.
    hours : int, keyword only
        Hours to simulate from the start month on, once, if fewer than the weather has; None: whole years.
    refine_cells : float, keyword only
        2 halves every cell, for convergence studies. [1]
    refine_steps : int, keyword only
        2 halves every time step. [1]

    Returns
    -------
    xarray.Dataset
        Dimensions and variables as in `cavity.variables`; the simulated hours in the order of the weather.

    Raises
    ------
    InputError
        If a name is not known or the depth is not above 0.
    ConvergenceError
        If the solver fails; the message has the hour and what to try.

    Notes
    -----
    With `wall.run.stud_line` a second run has wood instead of insulation in the layers with a frame, as if the whole
    wall were stud; its surfaces and interfaces are added as stud_temperature and so on.

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
    stop: NDArray[np.int64] | None = None,
) -> xr.Dataset:
    """Return the result of `simulate` for the case that `Wall.case` returns.

    Parameters
    ----------
    case : Case
        A wall with one set of openings, one column and its depth.
    weather : xarray.Dataset, (time,)
        As for `simulate`.
    hours, refine_cells, refine_steps : keyword only
        As for `simulate`. [h, 1, 1]
    stop : array of int64, (1,), keyword only
        Checked before each simulated hour: another thread that sets it to 1 ends the run.

    Returns
    -------
    xarray.Dataset
        As of `simulate`.

    Raises
    ------
    Stopped
        If `stop` was set.
    ConvergenceError
        As `simulate`.
    """
    from cavity.wall.uvalue import at_studs, rail_spots

    wall = case.wall
    assembly = assemble(case, weather, hours=hours, refine=refine_cells)
    short = assembly.weather.sizes["time"] < weather.sizes["time"]
    years = run_years(assembly, years=1 if short else wall.run.max_years, refine_steps=refine_steps, stop=stop)
    gain = _gains(case, assembly.air, assembly.forcing, assembly.record)
    dataset = dataset_of(
        wall, assembly.weather, assembly.outside, assembly.room_T, assembly.room_phi, assembly.air, assembly.line,
        assembly.record, list(years.water), assembly.state, gain,
    )  # fmt: skip
    dataset = with_rail_spots(dataset, rail_spots(case))
    if wall.run.stud_line and any(layer.frame for layer in wall.layers):
        studs = simulate_case(
            replace(case, wall=at_studs(replace(wall, run=replace(wall.run, stud_line=False)))),
            weather,
            hours=hours,
            refine_cells=refine_cells,
            refine_steps=refine_steps,
            stop=stop,
        )
        dataset = with_studs(dataset, studs)
    dataset.attrs.update(
        opening_set=case.opening_set.name,
        depth=case.depth,
        years_run=len(years.water) - 1,
        cycle_repeats=int(years.repeats),
        first_hour=int(assembly.order[0]),
        solver_steps=years.steps,
        solver_updates=years.updates,
        solver_residual=years.residual,
        monthly="" if short else _monthly(case, assembly.weather),
    )
    if boils := _boiling(dataset):
        dataset.attrs["warnings"] = json.dumps([*json.loads(dataset.attrs["warnings"]), boils])
    return dataset


@dataclass(frozen=True)
class Years:
    """Summary of the simulated years; the hours of the last year are in the record of the assembly.

    Parameters
    ----------
    water : tuple of array, (segment, layer + face)
        Water of the layers and films at the start and at the end of each year. [kg/m2]
    repeats : bool
        Whether the last two ends agree within `CYCLE`.
    steps, updates : int
        Steps and Newton updates of the solver, over all years.
    residual : float
        Largest residual of the solver. [W/m2]
    """

    water: tuple[NDArray[np.float64], ...]
    repeats: bool
    steps: int
    updates: int
    residual: float


def run_years(assembly: Assembly, *, years: int, refine_steps: int = 1, stop: NDArray[np.int64] | None = None) -> Years:
    """Run the year of an assembly until the water at its end repeats.

    Parameters
    ----------
    assembly : Assembly
        From `assemble`; its state and record are changed.
    years : int, keyword only
        Largest number of runs.
    refine_steps : int, keyword only
        2 halves every time step. [1]
    stop : array of int64, (1,), keyword only
        Checked before each simulated hour: another thread that sets it to 1 ends the run.

    Returns
    -------
    Years

    Raises
    ------
    Stopped
        If `stop` was set.
    ConvergenceError
        If the solver fails; the message has the hour and what to try.
    """
    from cavity.kernels import year, year_arrays

    case, line, air = assembly.case, assembly.line, assembly.air
    problem = year_arrays.Problem(line.grid, assembly.column, assembly.forcing, assembly.readings)
    flag = np.zeros(1, dtype=np.int64) if stop is None else stop
    stage, work = year_arrays.workspace(
        line.grid,
        len(air.segment_bottom),
        len(line.faces),
        len(air.openings),
        len(air.path_source),
        len(air.compartment_edges) - 1,
    )
    water = [assembly.water_by_layer]
    steps = updates = 0
    worst = 0.0
    repeats = False
    for _ in range(max(1, years)):
        assembly.open_accounts()
        status, hour, n_steps, n_updates, residual = year.run(
            problem, assembly.state, assembly.record, stage, work, assembly.order, refine_steps, flag
        )
        if status == year.STOPPED:
            raise Stopped(f"{case} was stopped")
        if status == year.GAVE_UP:
            raise ConvergenceError(_no_convergence(case, line, assembly.outside, int(hour), work.trouble))
        steps, updates, worst = steps + int(n_steps), updates + int(n_updates), max(worst, float(residual))
        water.append(assembly.water_by_layer)
        if float(np.abs(water[-1] - water[-2]).sum(axis=1).max()) < CYCLE:
            repeats = True
            break
    return Years(tuple(water), repeats, steps, updates, worst)


def _boiling(dataset: xr.Dataset) -> str:
    """Return a warning where the vapour pressure is near the air pressure; empty where it is not."""
    most = dataset["vapour_pressure"].max(("segment", "face")).to_numpy()
    most = np.maximum(most, dataset["cavity_vapour_pressure"].max("segment").to_numpy())
    hours = int((most > NEAR_BOILING * dataset["pressure"].to_numpy()).sum())
    if not hours:
        return ""
    hottest = float(dataset["temperature"].max()) - ICE_POINT
    return (
        f"in {hours} h water in the wall is near boiling (up to {most.max() / 1e3:.0f} kPa of vapour, hottest "
        f"surface {hottest:.0f} degC): steam flow is not modelled, and these hours are outside the "
        "model. Check absorptance and emissivities, and whether the materials tolerate such temperatures"
    )


def _no_convergence(case: Case, line: Line, outside: xr.Dataset, hour: int, trouble: NDArray[np.float64]) -> str:
    """Return the message of a failed run: where, in which state, and what can be tried."""
    from cavity.kernels import column_air, stage

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
        if abs(flow) < column_air.CALM_FLOW
        else f"air flow {'up' if flow > 0.0 else 'down'} {abs(flow):.2g} kg/(s m)"
    )
    weather = outside.isel(time=hour)
    outdoors = f"outdoors {float(weather['temperature_outdoor']) - ICE_POINT:.1f} degC"
    rain = float(weather["driving_rain"]) * HOUR
    return (
        f"no convergence in hour {hour} ({str(weather['time'].to_numpy())[:16]}) of {case}: the "
        f"{'water' if row else 'heat'} balance {where}, segment {segment + 1}, is {residual:.2g} W/m2 off (limit "
        f"{stage.TOLERANCE:g}) however small the step; {celsius:.2f} degC there, relative humidity "
        f"{float(np.exp(-np.exp(-u))):.4f}, {water}; {flowing}; {outdoors}, rain on the wall {rain:.2g} mm. Try: "
        "segments = 1 under [run]; a start humidity nearer to that of the seasons; layers thinner than 0.1 mm as "
        "membranes (sd); sorption data that rise steadily."
    )


def _gains(case: Case, air: ColumnAir, forcing: year_arrays.Forcing, record: year_arrays.Record) -> NDArray[np.float64]:
    """Return the gain in flow if each part were doubled, mean of evenly distributed hours."""
    from cavity.airflow.gains import HOURS, doubling_gains
    from cavity.kernels import moist_air

    t = np.unique(np.linspace(0, len(forcing.T_out) - 1, HOURS).astype(int))
    P, T_out, p_out = forcing.pressure[t], forcing.T_out[t], forcing.p_out[t]
    rho_out = density_of(T_out, p_out, P)
    rho = density_of(record.air_T[t], record.air_p[t], P[:, None])
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
