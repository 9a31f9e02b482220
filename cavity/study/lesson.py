"""Lessons: one variable of a wall changed at a time, each step a simulated year; its effect on air flow and wetness."""

from __future__ import annotations

import calendar
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
from cavity.study.wetting import WettingEvent, wettable, wetting_events
from cavity.wallfile import parse_wall, starter
from cavity.wallfile.model import Layer, Rail

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
_NO_RAILS = "no rails"
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
    vented, condensed, indoors : float
        What of it left in the year with the cavity air, as water that condensed on the cladding and ran off, and into
        the room. [kg/m2]
    """

    layer: str
    brought: float
    left: tuple[float, ...]
    vented: float = np.nan
    condensed: float = np.nan
    indoors: float = np.nan

    def days(self, fraction: float) -> float:
        """Return the days until a fraction of it has dried for good; NaN where it has not. [d]."""
        wet = np.flatnonzero(np.asarray(self.left) > (1.0 - fraction) * self.brought)
        after = int(wet[-1]) + 2 if wet.size else 1
        return float(after) if after <= len(self.left) else np.nan


@dataclass(frozen=True)
class Step:
    """One value of the variable changed, and what a year with it gives.

    Parameters
    ----------
    label : str
        The value in words.
    flow : float
        Median air flow through the column. [L/(s m)]
    rate, rate_low, rate_high : float
        Air change rate: median, and what 90 % and 10 % of the hours exceed. [1/h]
    upward : float
        Fraction of hours in which the air goes up; NaN where there is no way through. [1]
    dew_hours : float
        Hours of dew on the back of the cladding, anywhere along its height; hours that rain wets do not count. [h]
    humid_hours : float
        Hours above 80 % relative humidity at the exterior surface of the backup wall, most humid segment. [h]
    film : float
        Largest water film on the back of the cladding. [kg/m2]
    warm : float
        Temperature of the cavity air above that outdoors, mean of the sunniest tenth of hours. [K]
    value : float
        Of the variable changed, in its unit of `UNITS`; NaN where it is no number.
    excess : float
        Vapour pressure of the cavity above that outdoors, mean of the sunniest tenth of hours. [Pa]
    inner : float
        Highest 30-day mean of relative humidity outside the vapour retarder; NaN without a retarder. [1]
    shape : Shape
        What is drawn of the wall.
    drying : Drying
        What became of a wetting event, where the lesson is about one.
    base : bool
        Whether this is the base case of the lesson.
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
    value: float = np.nan
    excess: float = np.nan
    inner: float = np.nan
    shape: Shape | None = None
    drying: Drying | None = None
    base: bool = False


@dataclass(frozen=True)
class Lesson:
    """One variable changed.

    Parameters
    ----------
    key, quantity : str
        Which one, and its name on an axis.
    steps : tuple of Step
        What was computed.
    failed : tuple of (str, str)
        Label and reason of each step that was not.
    base : str
        What the lesson starts from, in words.
    """

    key: str
    quantity: str
    steps: tuple[Step, ...]
    failed: tuple[tuple[str, str], ...] = ()
    base: str = ""


@dataclass(frozen=True)
class _Run:
    key: str
    label: str
    wall: Wall
    weather: Any
    depth: float
    value: float = np.nan
    base: bool = False


def plain_column(wall: Wall, opening_set: str) -> Wall:
    """Return the wall with one column, without rails and barriers, and with one set of openings at base and head.

    Openings part way up are omitted, and one year is run: the lessons are about one variable at a time.
    """
    openings = wall.opening_set(opening_set)
    column = wall.columns[0]
    ends = tuple(
        replace(opening, columns=())
        for opening in openings.openings
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
        opening_sets=(replace(openings, openings=ends, rails=()),),
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

    return replace(wall, cladding=(Layer(f"{material} cladding", known(material), thickness),))


def scaled_weather(weather: xr.Dataset, names: Sequence[str], factor: float) -> xr.Dataset:
    """Return the weather with some of its variables times a factor."""
    return weather.assign({name: (weather[name] * factor).assign_attrs(weather[name].attrs) for name in names})


def including(values: Sequence[float], own: float) -> tuple[float, ...]:
    """Return the values [any] in order, with that of the base case, `own` [any], in place of the nearest one."""
    nearest = min(values, key=lambda value: abs(value - own))
    return tuple(sorted(own if value == nearest else value for value in values))


def with_rails(wall: Wall, gap: float) -> Wall:
    """Return a plain wall with rails across the cavity every 0.6 m and a gap of `gap` [m] in each bay of 0.6 m."""
    column = wall.columns[0]
    heights = tuple(np.arange(column.bottom + _RAIL_SPACING, column.top - 0.1, _RAIL_SPACING).tolist())
    rails = (Rail("rail", heights or (0.5 * (column.bottom + column.top),), gap, _BAY),)
    return replace(wall, opening_sets=(replace(wall.opening_sets[0], rails=rails),))


def with_ends(wall: Wall, base: bool, head: bool) -> Wall:
    """Return a plain wall that keeps the vents of its base, of its head, of both or of none."""
    middle = 0.5 * (wall.columns[0].bottom + wall.columns[0].top)
    vents = wall.opening_sets[0].openings
    kept = tuple(vent for vent in vents if (base if vent.height < middle else head))
    return replace(wall, opening_sets=(replace(wall.opening_sets[0], openings=kept),))


def windier(weather: xr.Dataset, factor: float, method: str) -> xr.Dataset:
    """Return the weather with its wind times `factor` > 0 and the rain that reaches a wall as it was.

    Driving rain grows with the wind, in proportion, and with r^(8/9) of the rain (ISO 15927-3) or in proportion to it
    (ASHRAE 160); so the rain of the file is divided by the factor, or by its power of 9/8.
    """
    blown = scaled_weather(weather, ("wind_speed",), factor)
    if "rain" not in weather:
        return blown
    return scaled_weather(blown, ("rain",), factor ** (-9.0 / 8.0 if method == "ISO 15927-3" else -1.0))


def metal_wall() -> Wall:
    """Return the starter wall with a metal cladding, plain, with its most open set."""
    wall = parse_wall(starter("metal-panels"), "metal-panels")
    return plain_column(wall, _most_open(wall))


def brick_wall(latitude: float = 50.0) -> Wall:
    """Return the starter wall with a brick leaf, its most open set, facing the midday sun of a latitude [degree]."""
    wall = parse_wall(starter("brick"), "brick")
    tallest = max(wall.columns, key=lambda column: column.height)
    orientation = 180.0 if latitude >= 0.0 else 0.0
    return plain_column(replace(wall, columns=(tallest,), orientation=orientation), _most_open(wall))


def base_case(wall: Wall, opening_set: str | None = None) -> str:
    """Return in a sentence what every lesson about the wall starts from."""
    return f"Base case: {_in_words(plain_column(wall, opening_set or _most_open(wall)))}."


def _in_words(plain: Wall) -> str:
    column, ends = plain.columns[0], plain.opening_sets[0]
    areas = ", ".join(f"{opening.name} {1e4 * opening.free_area:.3g} cm²/m" for opening in ends.openings)
    return (
        f"openings “{ends.name}” ({areas} of free vent area), cavity {1e3 * plain.cavity.depth:.3g} mm "
        f"deep and {column.height:.3g} m high, solar absorptance of the cladding {plain.solar_absorptance:g}"
    )


def _bases(wall: Wall, opening_set: str, latitude: float) -> dict[str, str]:
    """Return what each lesson starts from, by its key."""
    plain = _in_words(plain_column(wall, opening_set))
    start = calendar.month_name[wall.run.start_month]
    sheet = f"{1e3 * _SHEETS[0][1]:g} mm {_SHEETS[0][0]}"
    return dict.fromkeys(QUANTITIES, f"Base case: {plain}.") | {
        "height": f"Base case: {plain}; on a building tall enough for the tallest cavity.",
        "drying": f"Base case of this lesson: {plain}; clad with {sheet}; wetted at the start of {start}.",
        "night": f"Base case of this lesson: starter wall with metal panels, {_in_words(metal_wall())}.",
        "brick": f"Base case of this lesson: starter wall with a brick outer leaf, {_in_words(brick_wall(latitude))}.",
    }


def plan(wall: Wall, weather: xr.Dataset, opening_set: str) -> list[_Run]:
    """Return the runs of all lessons in the order of the page."""
    plain = plain_column(wall, opening_set)
    depth = wall.cavity.depth
    own_height, own_colour = plain.columns[0].height, plain.solar_absorptance
    runs = [
        _Run("depth", f"{1e3 * value:.3g} mm", plain, weather, value, 1e3 * value, value == depth)
        for value in including(_DEPTHS, depth)
    ]
    runs += _scaled("openings", plain, weather, depth, _FACTORS)
    heights = including(_HEIGHTS, own_height)
    top = plain.columns[0].bottom + max(heights)
    tall = replace(plain, site=replace(plain.site, building_height=plain.site.base_height + top + 1.0))
    runs += [
        _Run("height", f"{value:g} m", with_height(tall, value), weather, depth, value, value == own_height)
        for value in heights
    ]
    for factor in _WIND:
        blown = windier(weather, factor, wall.site.rain_method)
        runs.append(_Run("wind", f"{100 * factor:.0f} %", plain, blown, depth, 100 * factor, factor == 1.0))
    for factor in _SUN:
        sunlit = scaled_weather(weather, SUN, factor)
        runs.append(_Run("sun", f"{100 * factor:.0f} %", plain, sunlit, depth, 100 * factor, factor == 1.0))
    runs += [
        _Run("colour", f"{value:g}", replace(plain, solar_absorptance=value), weather, depth, value,
             value == own_colour)
        for value in including(_ABSORPTANCE, own_colour)
    ]  # fmt: skip
    for material, thickness in _SHEETS:
        clad = with_cladding(plain, material, thickness)
        mass = thickness * clad.cladding[0].material.density
        own = [(layer.material.name, layer.thickness) for layer in plain.cladding] == [(material, thickness)]
        runs.append(
            _Run("mass", f"{1e3 * thickness:g} mm {material}, {mass:.0f} kg/m²", clad, weather, depth, base=own)
        )
    for value in _GAPS:
        runs.append(_Run("rails", f"{1e3 * value:.0f} mm", with_rails(plain, value), weather, depth, 1e3 * value))
    runs.append(_Run("rails", _NO_RAILS, plain, weather, depth, 1e3 * _BAY, base=True))
    for label, ends in _BLIND:
        runs.append(_Run("blind", label, with_ends(plain, *ends), weather, depth, base=all(ends)))
    metal = metal_wall()
    dry = scaled_weather(weather, ("rain",), 0.0) if "rain" in weather else weather
    brick = brick_wall(_latitude(weather))
    return (
        runs
        + _scaled("night", metal, dry, metal.cavity.depth, _NIGHT)
        + _opened("drying", with_cladding(plain, *_SHEETS[0]), weather, depth, _DRYING)
        + _opened("brick", brick, weather, brick.cavity.depth, _BRICK)
    )


def _latitude(weather: xr.Dataset) -> float:
    return float(weather.attrs.get("latitude", 0.0))


def _scaled(key: str, plain: Wall, weather: Any, depth: float, factors: Sequence[float]) -> list[_Run]:
    """Return runs with the vents of a wall times each factor."""
    runs = []
    for factor in factors:
        scaled = scale_openings(plain, plain.opening_sets[0].name, factor)
        area = 1e4 * min(opening.free_area for opening in scaled.opening_sets[0].openings)
        runs.append(_Run(key, f"{area:.3g} cm²/m", scaled, weather, depth, area, factor == 1.0))
    return runs


def _opened(key: str, plain: Wall, weather: Any, depth: float, factors: Sequence[float]) -> list[_Run]:
    """Return runs with the vents closed, then ever more open."""
    closed = _Run(key, "closed", with_ends(plain, False, False), weather, depth, 0.0)
    return [closed, *_scaled(key, plain, weather, depth, factors)]


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
    roles = [str(role) for role in ds["face_role"].values]
    back, wall = roles.index("back of cladding"), roles.index("outer face of wall")
    dewy = dew(ds)[:, :, back].any(axis=1).sum()
    humid = (ds["relative_humidity"].values[:, :, wall] > 0.8).sum(axis=0).max()
    film = [str(name) for name in ds["film_face"].values].index("back of cladding")
    sun = ds["sun_on_wall"].values
    bright = sun >= np.quantile(sun, 0.9)
    warmer = ds["cavity_temperature"].values.mean(axis=1) - ds["temperature_outdoor"].values
    damper = ds["cavity_vapour_pressure"].values.mean(axis=1) - ds["vapour_pressure_outdoor"].values
    shape = _shape(ds)
    through = min(shape.base, shape.head) > 0.0
    return Step(
        label=label,
        flow=1e3 * float(median) * volume / HOUR,
        rate=float(median),
        rate_low=float(low),
        rate_high=float(high),
        upward=float((ds["air_speed"].values.mean(axis=1) > 0.0).mean()) if through else np.nan,
        dew_hours=float(dewy),
        humid_hours=float(humid),
        film=float(ds["film"].values[:, :, film].max()),
        warm=float(warmer[bright].mean()),
        value=value,
        excess=float(damper[bright].mean()),
        inner=_inner(ds),
        shape=shape,
    )


def _inner(ds: xr.Dataset) -> float:
    """Return the highest 30-day mean of relative humidity at the exterior surface of the vapour retarder."""
    surfaces = [str(name) for name in ds["face"].values]
    layers = [str(name) for name in ds["layer"].values]
    if "vapour retarder" not in layers or layers.index("vapour retarder") == 0:
        return np.nan
    retarder = next((at for at, name in enumerate(surfaces) if name.endswith("| vapour retarder")), None)
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
            step_of[id(result.job)] = replace(readings(run.label, result.dataset, run.value), base=run.base)
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
            step_of[id(job)] = replace(step_of[id(job)], drying=Drying(event.layer, event.amount, left, *_ways(event)))
    if not step_of:
        first = failure_of[id(jobs[0])]
        raise ConvergenceError(f"none of the {len(jobs)} years could be computed; the first: {first}")
    pairs = [(run, id(job)) for run, job in zip(runs, jobs, strict=True)]
    of_key = {key: [pair for pair in pairs if pair[0].key == key] for key in QUANTITIES}
    bases = _bases(wall, runs[0].wall.opening_sets[0].name, _latitude(weather))
    return tuple(
        Lesson(
            key, name, tuple(step_of[job] for _, job in of_key[key] if job in step_of),
            tuple((run.label, failure_of[job]) for run, job in of_key[key] if job in failure_of),
            bases[key],
        )
        for key, name in QUANTITIES.items()
    )  # fmt: skip


def _ways(event: WettingEvent) -> tuple[float, float, float]:
    """Return what of an event left with the cavity air, by running off the cladding, and into the room. [kg/m2].

    The event changes also the dew on the exterior surface, which comes from outdoors and runs off: it cancels here.
    """
    into = dict(event.balance)
    return (
        -into["vapour to the cavity air"],
        -(into["run-off"] + into["vapour from outdoors"] + into["drained from full layers"]),
        -(into["vapour from the room"] + into["room air leaks"]),
    )


def _most_open(wall: Wall) -> str:
    column = wall.columns[0]

    def smaller_end(openings: Any) -> float:
        areas = [
            sum(opening.free_area for opening in openings.openings if abs(opening.height - end) < 1e-6)
            for end in (column.bottom, column.top)
        ]
        return min(areas)

    return max(wall.opening_sets, key=smaller_end).name
