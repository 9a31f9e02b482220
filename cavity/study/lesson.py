"""Lessons: one thing of a wall changed at a time, each step a simulated year; what it does to air flow and wetness."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from cavity.climate.series import SUN
from cavity.errors import ConvergenceError, Fault, InputError
from cavity.risk.dew_point import dew
from cavity.study.changes import scale_openings
from cavity.study.engine import Engine, Job, Result

if TYPE_CHECKING:
    import xarray as xr

    from cavity.wallfile.model import Wall

_DEPTHS = (0.010, 0.020, 0.030, 0.050, 0.080)  # m
_FACTORS = (0.1, 0.3, 1.0, 2.0, 4.0)  # of the openings as drawn
_HEIGHTS = (3.0, 6.0, 12.0, 20.0)  # m
_WIND = (0.0, 0.5, 1.0, 1.5)  # of the wind in the weather file
_SUN = (0.0, 0.5, 1.0)  # of the sun in the weather file
_ABSORPTANCE = (0.2, 0.5, 0.9)  # -
_SHEETS = (("steel", 0.001), ("fibre cement", 0.008), ("concrete", 0.060))  # material, m


@dataclass(frozen=True)
class Step:
    """One value of the thing changed, and what a year with it gives.

    Parameters
    ----------
    label : str
        The value in words.
    flow : float
        Median air flow through the column. [l/(s m)]
    rate, rate_low, rate_high : float
        Air change rate: median, and what 90 % and 10 % of the hours exceed. [1/h]
    upward : float
        Share of hours in which the air goes up. [1]
    dew_hours : float
        Hours of dew on the back of the cladding, anywhere along its height; hours that rain wets do not count. [h]
    humid_hours : float
        Hours above 80 % relative humidity at the outer face of the backup wall, most humid segment. [h]
    film : float
        Largest water film on the back of the cladding. [kg/m2]
    warm : float
        Temperature of the cavity air above that outdoors, mean of the sunniest tenth of hours. [K]
    """

    label: str
    flow: float
    rate: float
    rate_low: float
    rate_high: float
    upward: float
    dew_hours: float
    humid_hours: float
    film: float
    warm: float


@dataclass(frozen=True)
class Lesson:
    """One thing changed: `key`, what it is called on an axis, its steps, and (label, reason) of those not computed."""

    key: str
    quantity: str
    steps: tuple[Step, ...]
    failed: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class _Run:
    key: str
    label: str
    wall: Wall
    weather: Any
    depth: float


def plain_column(wall: Wall, opening_set: str) -> Wall:
    """Return the wall with one column, without rails and barriers, and with one set of openings at base and head.

    Openings part way up are left out, and one year is run: the lessons are about one thing at a time.
    """
    chosen = wall.opening_set(opening_set)
    column = wall.columns[0]
    ends = tuple(
        replace(opening, columns=())
        for opening in chosen.openings
        if min(abs(opening.height - column.bottom), abs(opening.height - column.top)) < 1e-6
    )
    if len({opening.height for opening in ends}) < 2:
        raise InputError(
            Fault("lesson, openings", f"{opening_set!r} does not open both base and head of {column.name!r}",
                  fix="choose a set with a vent at the base and one at the head")
        )  # fmt: skip
    return replace(
        wall,
        columns=(column,),
        opening_sets=(replace(chosen, openings=ends, rails=()),),
        rails=(),
        barriers=(),
        run=replace(wall.run, max_years=1),
    )


def with_height(wall: Wall, height: float) -> Wall:
    """Return a plain wall whose column is `height` [m] tall; the building, and so the wind, stays as it is."""
    column = wall.columns[0]
    top = column.bottom + height
    moved = tuple(
        replace(opening, height=top) if abs(opening.height - column.top) < 1e-6 else opening
        for opening in wall.opening_sets[0].openings
    )
    sets = (replace(wall.opening_sets[0], openings=moved),)
    return replace(wall, columns=(replace(column, top=top),), opening_sets=sets)


def with_cladding(wall: Wall, material: str, thickness: float) -> Wall:
    """Return the wall clad with one sheet of a material of the built-in table, `thickness` in [m]."""
    from cavity.wallfile import material as known
    from cavity.wallfile.model import Layer

    return replace(wall, cladding=(Layer(f"{material} cladding", known(material), thickness),))


def scaled_weather(weather: xr.Dataset, names: Sequence[str], factor: float) -> xr.Dataset:
    """Return the weather with some of its variables times a factor."""
    return weather.assign({name: (weather[name] * factor).assign_attrs(weather[name].attrs) for name in names})


def plan(wall: Wall, weather: xr.Dataset, opening_set: str) -> list[_Run]:
    """Return the runs of all lessons in the order of the page."""
    plain = plain_column(wall, opening_set)
    depth = wall.cavity.depth
    base = plain.columns[0].bottom
    tall = replace(plain, site=replace(plain.site, building_height=plain.site.base_height + base + max(_HEIGHTS) + 1.0))
    runs = [_Run("depth", f"{1e3 * value:.0f} mm", plain, weather, value) for value in _DEPTHS]
    for factor in _FACTORS:
        scaled = scale_openings(plain, opening_set, factor)
        area = min(opening.free_vent_area for opening in scaled.opening_sets[0].openings)
        runs.append(_Run("openings", f"{1e4 * area:.3g} cm²/m", scaled, weather, depth))
    runs += [_Run("height", f"{value:g} m", with_height(tall, value), weather, depth) for value in _HEIGHTS]
    for factor in _WIND:
        runs.append(
            _Run("wind", f"{100 * factor:.0f} %", plain, scaled_weather(weather, ("wind_speed",), factor), depth)
        )
    for factor in _SUN:
        runs.append(_Run("sun", f"{100 * factor:.0f} %", plain, scaled_weather(weather, SUN, factor), depth))
    for value in _ABSORPTANCE:
        runs.append(_Run("colour", f"{value:g}", replace(plain, solar_absorptance=value), weather, depth))
    for material, thickness in _SHEETS:
        clad = with_cladding(plain, material, thickness)
        mass = thickness * clad.cladding[0].material.density
        runs.append(_Run("mass", f"{1e3 * thickness:g} mm {material}, {mass:.0f} kg/m²", clad, weather, depth))
    return runs


QUANTITIES = {
    "depth": "Cavity depth",
    "openings": "Free vent area, base and head each",
    "height": "Height of the cavity",
    "wind": "Wind, share of the wind in the weather file",
    "sun": "Sun, share of the sun in the weather file",
    "colour": "Solar absorptance of the cladding",
    "mass": "Cladding",
}


def readings(label: str, ds: xr.Dataset) -> Step:
    """Return what a simulated year tells of flow and wetness."""
    low, median, high = np.quantile(np.asarray(ds["air_change_rate"].values, float), (0.1, 0.5, 0.9))
    volume = float(ds["compartment_volume"].sum())  # m3 per m of wall
    faces = [str(role) for role in ds["face_role"].values]
    back, wall = faces.index("back of cladding"), faces.index("outer face of wall")
    dewy = dew(ds)[:, :, back].any(axis=1).sum()
    humid = (ds["relative_humidity"].values[:, :, wall] > 0.8).sum(axis=0).max()
    film = [str(name) for name in ds["film_face"].values].index("back of cladding")
    sun = ds["sun_on_wall"].values
    bright = sun >= np.quantile(sun, 0.9)
    warmer = ds["cavity_temperature"].values.mean(axis=1) - ds["temperature_outdoor"].values
    return Step(
        label=label,
        flow=1e3 * float(median) * volume / 3600.0,
        rate=float(median),
        rate_low=float(low),
        rate_high=float(high),
        upward=float((ds["air_speed"].values.mean(axis=1) > 0.0).mean()),
        dew_hours=float(dewy),
        humid_hours=float(humid),
        film=float(ds["film"].values[:, :, film].max()),
        warm=float(warmer[bright].mean()),
    )


def lessons(
    wall: Wall,
    weather: xr.Dataset,
    *,
    opening_set: str | None = None,
    progress: Callable[[int, int, str], None] | None = None,
    workers: int | None = None,
    scheduler: str | None = None,
    fresh: bool = False,
) -> tuple[Lesson, ...]:
    """Simulate the years of all lessons: depth, openings, height, wind, sun, colour and mass of the cladding.

    Parameters
    ----------
    wall : Wall
        Its first column is used, without rails and barriers.
    weather : xarray.Dataset, (time,)
        From `read_weather`.
    opening_set : str, keyword only
        With a vent at the base and one at the head; left out: the set with the largest of the smaller of both.
    progress : callable, keyword only
        Called with runs done, all runs, and the name of the one just done.
    workers : int, keyword only
        Threads; None: one a core. [1]
    scheduler : str, keyword only
        Address of a dask scheduler, ``tcp://host:port``, whose workers compute instead.
    fresh : bool, keyword only
        Compute every year, also those kept from earlier.

    Returns
    -------
    tuple of Lesson

    Raises
    ------
    InputError
        If no set opens both base and head.
    ConvergenceError
        If none of the years can be solved.
    """
    runs = plan(wall, weather, opening_set or _most_open(wall))
    jobs = [Job(run.wall, run.weather, depth=run.depth) for run in runs]
    run_of = {id(job): run for job, run in zip(jobs, runs, strict=True)}
    step_of: dict[int, Step] = {}
    failure_of: dict[int, str] = {}

    def read(done: int, count: int, result: Result) -> None:
        run = run_of[id(result.job)]
        if result.failure:
            failure_of[id(result.job)] = result.failure
        else:
            step_of[id(result.job)] = readings(run.label, result.dataset)
        if progress:
            progress(done, count, f"{QUANTITIES[run.key]}: {run.label}")

    with Engine(workers, scheduler, fresh=fresh, held=1) as engine:  # each is read as soon as it is there
        engine.run(jobs, progress=read)
    if not step_of:
        first = failure_of[id(jobs[0])]
        raise ConvergenceError(f"none of the {len(jobs)} years could be computed; the first: {first}")
    pairs = [(run, id(job)) for run, job in zip(runs, jobs, strict=True)]
    of_key = {key: [pair for pair in pairs if pair[0].key == key] for key in QUANTITIES}
    return tuple(
        Lesson(
            key, name, tuple(step_of[job] for _, job in of_key[key] if job in step_of),
            tuple((run.label, failure_of[job]) for run, job in of_key[key] if job in failure_of),
        )
        for key, name in QUANTITIES.items()
    )  # fmt: skip


def _most_open(wall: Wall) -> str:
    column = wall.columns[0]

    def least(chosen: Any) -> float:
        areas = [
            sum(each.free_vent_area for each in chosen.openings if abs(each.height - end) < 1e-6)
            for end in (column.bottom, column.top)
        ]
        return min(areas)

    found = max(wall.opening_sets, key=least)
    return found.name
