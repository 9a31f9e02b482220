"""Lessons: one thing of a wall changed at a time, each step a simulated year; what it does to air flow and wetness."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from cavity.climate.series import SUN
from cavity.constants import HOUR
from cavity.errors import ConvergenceError, Fault, InputError
from cavity.risk.dew_point import dew
from cavity.study.changes import scale_openings
from cavity.study.engine import Engine, Job, Result
from cavity.study.wetting import wettable, wetting_events

if TYPE_CHECKING:
    import xarray as xr

    from cavity.wallfile.model import Wall

_DEPTHS = (0.010, 0.020, 0.030, 0.050, 0.080)  # m
_FACTORS = (0.1, 0.3, 1.0, 2.0, 4.0)  # of the openings as drawn
_HEIGHTS = (3.0, 6.0, 12.0, 20.0)  # m
_WIND = (0.1, 0.5, 1.0, 1.5)  # of the wind in the weather file; the rain on the wall is held
_SUN = (0.0, 0.5, 1.0)  # of the sun in the weather file
_ABSORPTANCE = (0.2, 0.5, 0.9)  # -
_GAPS = (0.003, 0.006, 0.012, 0.025, 0.100)  # m, between two rail ends
_BAY, _RAIL_SPACING = 0.6, 0.6  # m, along and up the wall; common practice, no source
_BLIND = (("base and head", (True, True)), ("base only", (True, False)), ("head only", (False, True)),
          ("none", (False, False)))  # fmt: skip
_NIGHT = (0.05, 0.2, 0.5, 1.0, 2.0, 4.0)  # of the openings as drawn
_DRYING = (0.03, 0.1, 0.3, 1.0, 4.0)  # of the openings as drawn, beside closed vents
_BRICK = (0.1, 0.3, 1.0, 3.0)  # of the open perpends as drawn, beside closed ones
_SHEETS = (("steel", 0.001), ("fibre cement", 0.008), ("concrete", 0.060))  # material, m


@dataclass(frozen=True)
class Shape:
    """What a drawing of a step needs to know of its wall.

    Parameters
    ----------
    depth, height, cladding : float
        Of the cavity, of the cavity, and thickness of the cladding. [m]
    base, head : float
        Free vent area at each end. [m2/m]
    """

    depth: float
    height: float
    cladding: float
    base: float
    head: float


@dataclass(frozen=True)
class Drying:
    """What became of the water added to a layer.

    Parameters
    ----------
    layer : str
        Layer wetted.
    brought : float
        Water added. [kg/m2]
    left : tuple of float
        What of it is still in the wall at the end of each day. [kg/m2]
    """

    layer: str
    brought: float
    left: tuple[float, ...]

    def days(self, fraction: float) -> float:
        """Return the days until a fraction of it has dried for good; NaN where it has not. [d]."""
        wet = np.flatnonzero(np.asarray(self.left) > (1.0 - fraction) * self.brought)
        after = int(wet[-1]) + 2 if wet.size else 1
        return float(after) if after <= len(self.left) else np.nan


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
        Fraction of hours in which the air goes up. [1]
    dew_hours : float
        Hours of dew on the back of the cladding, anywhere along its height; hours that rain wets do not count. [h]
    humid_hours : float
        Hours above 80 % relative humidity at the exterior surface of the backup wall, most humid segment. [h]
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
    value: float = np.nan  # of the thing changed, in its unit of `UNITS`; nan where it is no number
    excess: float = np.nan  # vapour pressure of the cavity above that outdoors, sunniest tenth of hours [Pa]
    inner: float = (
        np.nan
    )  # highest 30-day mean of relative humidity outside the vapour retarder; nan: there is none [1]
    shape: Shape | None = None
    drying: Drying | None = None


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
    value: float = np.nan


def plain_column(wall: Wall, opening_set: str) -> Wall:
    """Return the wall with one column, without rails and barriers, and with one set of openings at base and head.

    Openings part way up are omitted, and one year is run: the lessons are about one thing at a time.
    """
    drawn = wall.opening_set(opening_set)
    column = wall.columns[0]
    ends = tuple(
        replace(opening, columns=())
        for opening in drawn.openings
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
        opening_sets=(replace(drawn, openings=ends, rails=()),),
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


def with_rails(wall: Wall, gap: float) -> Wall:
    """Return a plain wall with rails across the cavity every 0.6 m and a gap of `gap` [m] in each bay of 0.6 m."""
    from cavity.wallfile.model import Rail

    column = wall.columns[0]
    heights = tuple(np.arange(column.bottom + _RAIL_SPACING, column.top - 0.1, _RAIL_SPACING).tolist())
    rails = (Rail("rail", heights or (0.5 * (column.bottom + column.top),), gap, _BAY),)
    return replace(wall, opening_sets=(replace(wall.opening_sets[0], rails=rails),))


def with_ends(wall: Wall, base: bool, head: bool) -> Wall:
    """Return a plain wall that keeps the vents of its base, of its head, of both or of none."""
    middle = 0.5 * (wall.columns[0].bottom + wall.columns[0].top)
    kept = tuple(opening for opening in wall.opening_sets[0].openings if (base if opening.height < middle else head))
    return replace(wall, opening_sets=(replace(wall.opening_sets[0], openings=kept),))


def windier(weather: xr.Dataset, factor: float, method: str) -> xr.Dataset:
    """Return the weather with its wind times `factor` > 0 and the rain that reaches a wall as it was.

    Driving rain grows with the wind, in proportion, and with r^(8/9) of the rain (ISO 15927-3) or in proportion to it
    (ASHRAE 160); so the rain of the file is divided by the factor, or by its power of 9/8.
    """
    windy = scaled_weather(weather, ("wind_speed",), factor)
    if "rain" not in weather:
        return windy
    return scaled_weather(windy, ("rain",), factor ** (-9.0 / 8.0 if method == "ISO 15927-3" else -1.0))


def metal_wall() -> Wall:
    """Return the starter wall with a metal cladding, plain, with its most open set."""
    from cavity.wallfile import parse_wall, starter

    wall = parse_wall(starter("metal-panels"), "metal-panels")
    return plain_column(wall, _most_open(wall))


def brick_wall() -> Wall:
    """Return the starter wall with a brick outer leaf, plain and facing south, with its most open set."""
    from cavity.wallfile import parse_wall, starter

    wall = parse_wall(starter("brick"), "brick")
    tallest = max(wall.columns, key=lambda column: column.height)
    return plain_column(replace(wall, columns=(tallest,), orientation=180.0), _most_open(wall))


def base_case(wall: Wall, opening_set: str | None = None) -> str:
    """Return in a sentence what every lesson starts from."""
    plain = plain_column(wall, opening_set or _most_open(wall))
    column, drawn = plain.columns[0], plain.opening_sets[0]
    areas = ", ".join(f"{opening.name} {1e4 * opening.free_area:.3g} cm²/m" for opening in drawn.openings)
    return (
        f"Base case: openings “{drawn.name}” ({areas} of free vent area), cavity {1e3 * wall.cavity.depth:.3g} mm "
        f"deep and {column.height:.3g} m high, solar absorptance of the cladding {wall.solar_absorptance:g}."
    )


def plan(wall: Wall, weather: xr.Dataset, opening_set: str) -> list[_Run]:
    """Return the runs of all lessons in the order of the page."""
    plain = plain_column(wall, opening_set)
    depth = wall.cavity.depth
    base = plain.columns[0].bottom
    tall = replace(plain, site=replace(plain.site, building_height=plain.site.base_height + base + max(_HEIGHTS) + 1.0))
    runs = [_Run("depth", f"{1e3 * value:.0f} mm", plain, weather, value, 1e3 * value) for value in _DEPTHS]
    for factor in _FACTORS:
        scaled = scale_openings(plain, opening_set, factor)
        area = min(opening.free_area for opening in scaled.opening_sets[0].openings)
        runs.append(_Run("openings", f"{1e4 * area:.3g} cm²/m", scaled, weather, depth, 1e4 * area))
    runs += [_Run("height", f"{value:g} m", with_height(tall, value), weather, depth, value) for value in _HEIGHTS]
    for factor in _WIND:
        blown = windier(weather, factor, wall.site.rain_method)
        runs.append(_Run("wind", f"{100 * factor:.0f} %", plain, blown, depth, 100 * factor))
    for factor in _SUN:
        runs.append(
            _Run("sun", f"{100 * factor:.0f} %", plain, scaled_weather(weather, SUN, factor), depth, 100 * factor)
        )
    for value in _ABSORPTANCE:
        runs.append(_Run("colour", f"{value:g}", replace(plain, solar_absorptance=value), weather, depth, value))
    for material, thickness in _SHEETS:
        clad = with_cladding(plain, material, thickness)
        mass = thickness * clad.cladding[0].material.density
        runs.append(_Run("mass", f"{1e3 * thickness:g} mm {material}, {mass:.0f} kg/m²", clad, weather, depth))
    for value in _GAPS:
        runs.append(_Run("rails", f"{1e3 * value:.0f} mm", with_rails(plain, value), weather, depth, 1e3 * value))
    for label, ends in _BLIND:
        runs.append(_Run("blind", label, with_ends(plain, *ends), weather, depth))
    metal = metal_wall()
    dry = scaled_weather(weather, ("rain",), 0.0) if "rain" in weather else weather
    for factor in _NIGHT:
        scaled = scale_openings(metal, metal.opening_sets[0].name, factor)
        area = 1e4 * min(opening.free_area for opening in scaled.opening_sets[0].openings)
        runs.append(_Run("night", f"{area:.3g} cm²/m", scaled, dry, metal.cavity.depth, area))
    brick = brick_wall()
    return (
        runs
        + _opened("drying", with_cladding(plain, *_SHEETS[0]), weather, depth, _DRYING)
        + _opened("brick", brick, weather, brick.cavity.depth, _BRICK)
    )


def _opened(key: str, plain: Wall, weather: Any, depth: float, factors: Sequence[float]) -> list[_Run]:
    """Return runs with the vents closed, then ever more open."""
    runs = [_Run(key, "closed", with_ends(plain, False, False), weather, depth, 0.0)]
    for factor in factors:
        scaled = scale_openings(plain, plain.opening_sets[0].name, factor)
        area = 1e4 * min(opening.free_area for opening in scaled.opening_sets[0].openings)
        runs.append(_Run(key, f"{area:.3g} cm²/m", scaled, weather, depth, area))
    return runs


QUANTITIES = {
    "depth": "Cavity depth",
    "openings": "Free vent area, base and head each",
    "height": "Height of the cavity",
    "wind": "Wind, fraction of the wind in the weather file",
    "sun": "Sun, fraction of the sun in the weather file",
    "colour": "Solar absorptance of the cladding",
    "mass": "Cladding",
    "rails": "Gap between rail ends, one in each 600 mm",
    "blind": "Open vents of the compartment",
    "night": "Vent area behind metal, each end",
    "drying": "Free vent area, base and head each",
    "brick": "Open perpends, base and head each",
}

UNITS = {"depth": "mm", "openings": "cm²/m", "height": "m", "wind": "%", "sun": "%", "colour": "-", "rails": "mm",
         "night": "cm²/m", "drying": "cm²/m", "brick": "cm²/m"}  # fmt: skip


def readings(label: str, ds: xr.Dataset, value: float = np.nan) -> Step:
    """Return what a simulated year tells of flow and wetness.

    Parameters
    ----------
    label : str
        What the step is called.
    ds : xarray.Dataset
        A result of `cavity.simulate`.
    value : float
        Where the step lies on the axis of its lesson; NaN where it has no number. [in the unit of the lesson]
    """
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
    damper = ds["cavity_vapour_pressure"].values.mean(axis=1) - ds["vapour_pressure_outdoor"].values
    return Step(
        label=label,
        flow=1e3 * float(median) * volume / HOUR,
        rate=float(median),
        rate_low=float(low),
        rate_high=float(high),
        upward=float((ds["air_speed"].values.mean(axis=1) > 0.0).mean()),
        dew_hours=float(dewy),
        humid_hours=float(humid),
        film=float(ds["film"].values[:, :, film].max()),
        warm=float(warmer[bright].mean()),
        value=value,
        excess=float(damper[bright].mean()),
        inner=_inner(ds),
        shape=_shape(ds),
    )


def _inner(ds: xr.Dataset) -> float:
    """Return the highest 30-day mean of relative humidity at the exterior surface of the vapour retarder."""
    faces = [str(name) for name in ds["face"].values]
    layers = [str(name) for name in ds["layer"].values]
    if "vapour retarder" not in layers or layers.index("vapour retarder") == 0:
        return np.nan
    retarder = next((at for at, name in enumerate(faces) if name.endswith("| vapour retarder")), None)
    if retarder is None:
        return np.nan
    humid = np.asarray(ds["relative_humidity"].values[:, :, retarder], float)
    hours = min(720, len(humid))
    total = np.cumsum(np.vstack([np.zeros((1, humid.shape[1])), humid]), axis=0)
    return float(((total[hours:] - total[:-hours]) / hours).max())


def _shape(ds: xr.Dataset) -> Shape:
    low, high = float(ds.attrs["column_bottom"]), float(ds.attrs["column_top"])
    below = ds["opening_height"].values < 0.5 * (low + high)
    areas = np.nan_to_num(np.asarray(ds["opening_area"].values, float))
    clad = [str(part) == "cladding" for part in ds["layer_part"].values]
    return Shape(
        depth=float(ds.attrs["depth"]),
        height=high - low,
        cladding=float(np.asarray(ds["layer_thickness"].values, float)[clad].sum()),
        base=float(areas[below].sum()),
        head=float(areas[~below].sum()),
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
    """Simulate the years of all lessons.

    Depth, openings, height, wind, sun, colour and mass of the cladding, rails, a blind compartment, clear nights behind
    metal, drying of a wetted layer, and the sun on wet brick.

    Parameters
    ----------
    wall : Wall
        Its first column is used, without rails and barriers.
    weather : xarray.Dataset, (time,)
        From `read_weather`.
    opening_set : str, keyword only
        With a vent at the base and one at the head; default: the set with the largest of the smaller of both.
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
    jobs = [Job(run.wall.case(depth=run.depth), run.weather) for run in runs]
    run_of = {id(job): run for job, run in zip(jobs, runs, strict=True)}
    step_of: dict[int, Step] = {}
    failure_of: dict[int, str] = {}

    def read(done: int, count: int, result: Result) -> None:
        run = run_of[id(result.job)]
        if result.failure:
            failure_of[id(result.job)] = result.failure
        else:
            step_of[id(result.job)] = readings(run.label, result.dataset, run.value)
        if progress:
            progress(done, count + further, f"{QUANTITIES[run.key]}: {run.label}")

    wetted = [job for run, job in zip(runs, jobs, strict=True) if run.key == "drying"] if wettable(wall) else []
    further = 4 * len(wetted)  # each wetted and not wetted, with its vents and with closed ones
    with Engine(workers, scheduler, fresh=fresh, held=1) as engine:  # each is read as soon as it is there
        engine.run(jobs, progress=read)
    with Engine(workers, scheduler, fresh=fresh) as engine:
        events = wetting_events(
            engine, wetted,
            progress=lambda done, _: progress(len(jobs) + done, len(jobs) + further, "Drying") if progress else None,
        ) if wetted else []  # fmt: skip
    for job, event in zip(wetted, events, strict=True):
        if event is None:
            failure_of.setdefault(id(job), "a run of its wetting event could not be solved")
        elif id(job) in step_of:
            left = tuple(float(value) for value in event.as_drawn[23::24])
            step_of[id(job)] = replace(step_of[id(job)], drying=Drying(event.layer, event.amount, left))
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

    def least(opening_set: Any) -> float:
        areas = [
            sum(opening.free_area for opening in opening_set.openings if abs(opening.height - end) < 1e-6)
            for end in (column.bottom, column.top)
        ]
        return min(areas)

    most_open = max(wall.opening_sets, key=least)
    return most_open.name
