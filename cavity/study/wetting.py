"""Drying of a wetting event: one layer wetted at the start of the year, with the vents as drawn and closed.

The column is taken as one segment: the means over its height differ from those of three by a hundredth, and it takes
a third of the time.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from cavity.errors import ConvergenceError, Fault, InputError
from cavity.risk import Finding
from cavity.risk.drying import drying, excess
from cavity.risk.limits import resolve
from cavity.study.engine import Engine, Job
from cavity.units import slip

if TYPE_CHECKING:
    import xarray as xr

    from cavity.wallfile.model import Layer, Wall

AMOUNT = 0.5  # kg/m2 of water added, about a litre on two square metres; common practice, no source
_MOST = 50.0  # kg/m2, more is no event: a soaked masonry leaf holds less
_FULLEST = 0.9  # the event is made smaller where it would fill the layer's pores further than this
_LEAST = 90.0  # d, a comparison follows each event this long, or as long as it may take by the wall's own limit


@dataclass(frozen=True)
class WettingEvent:
    """What became of a wetting event.

    Parameters
    ----------
    layer : str
        Layer wetted.
    amount : float
        Water added. [kg/m2]
    as_drawn, closed : array, (time,)
        Water of the event still in the wall, hour by hour from the event on, vents as drawn and closed. [kg/m2]
    finding : Finding
        The drying criterion; what is not dry when a shorter run than the year ends is to review.
    balance : tuple of (str, float)
        What the event adds to each term of the water balance, vents as drawn, positive into the wall. [kg/m2]
    """

    layer: str
    amount: float
    as_drawn: np.ndarray
    closed: np.ndarray
    finding: Finding
    balance: tuple[tuple[str, float], ...] = ()


def without_vents(wall: Wall) -> Wall:
    """Return the wall with all its openings closed."""
    closed = tuple(
        replace(opening_set, openings=tuple(replace(opening, gross_area=0.0) for opening in opening_set.openings))
        for opening_set in wall.opening_sets
    )
    return replace(wall, opening_sets=closed)


def wettable(wall: Wall) -> Layer | None:
    """Return the outermost layer of the backup wall that holds water; None if there is none."""
    return next((layer for layer in wall.backup if not layer.is_membrane and layer.material.max_saturation > 0.0), None)


def wetting_events(
    engine: Engine,
    jobs: Sequence[Job],
    *,
    amount: float = AMOUNT,
    days: float | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> list[WettingEvent | None]:
    """Wet the outermost layer of the backup wall that holds water in each case, and see how long it takes to dry.

    Each case runs wetted and not wetted; the difference is the event's own water, whatever the weather does to the
    rest. Cases that differ in their openings only share the pair of runs with the vents closed.

    Parameters
    ----------
    engine : Engine
        Runs them.
    jobs : sequence of Job
        The cases.
    amount : float, keyword only
        Water added at the start of the wall's start month; less where the layer cannot hold it. [kg/m2]
    days : float, keyword only
        How long each is followed; None: the whole weather. [d]
    progress : callable, keyword only
        Called with runs done and all runs.

    Returns
    -------
    list of WettingEvent or None
        In the order of the jobs; None where one of a case's runs could not be computed.

    Raises
    ------
    InputError
        If no layer of a backup wall holds water, or is full at the start, or the amount is not above 0.
    """
    drawn, partner = [], []
    closed: list[Any] = []
    places: dict[tuple[int, int, str, float], int] = {}
    for job in jobs:
        case, wall = job.case, job.case.wall
        _check(wall, amount)
        short = replace(case, wall=replace(wall, run=replace(wall.run, max_years=1, segments=1)))
        drawn.append(replace(job, case=short, hours=None if days is None else round(24.0 * days)))
        closed_key = (id(wall), id(job.weather), case.column.name, case.depth)
        if closed_key not in places:
            places[closed_key] = len(closed)
            closed.append(replace(drawn[-1], case=short.on(without_vents(short.wall))))
        partner.append(places[closed_key])
    every = [*drawn, *closed]
    runs = 0

    def on_run(*_: object) -> None:
        nonlocal runs
        runs += 1
        if progress:
            progress(runs, 2 * len(every))

    dry = engine.run(every, keep="water", progress=on_run)
    there = [at for at, result in enumerate(dry) if not result.failure]
    wetted = [_wetted(every[at], dry[at].dataset, amount) for at in there]
    left: dict[int, tuple[np.ndarray, float]] = {}  # water of the event still there, and what was added
    balance: dict[int, tuple[tuple[str, float], ...]] = {}
    for at, wet in zip(there, engine.run(wetted, keep="water", progress=on_run), strict=True):
        if not wet.failure:
            before, after = dry[at].dataset, wet.dataset
            # the water curve is tabulated: what was really added is read off the runs
            brought = float((after["water_at_start"] - before["water_at_start"]).sum("layer").mean())
            left[at] = excess(after, before, start_month=every[at].case.wall.run.start_month), brought
            terms = (after["water_balance"] - before["water_balance"]).mean("segment")
            balance[at] = tuple(zip(terms["balance_term"].values.tolist(), terms.values.tolist(), strict=True))
    events: list[WettingEvent | None] = []
    for number, job in enumerate(drawn):
        layer = wettable(job.case.wall)
        assert layer is not None
        pair = number, len(drawn) + partner[number]
        if not left.keys() >= set(pair):
            events.append(None)
            continue
        curves = left[pair[0]][0], left[pair[1]][0]
        brought = left[number][1]
        finding = drying(*curves, brought, limits=dict(job.case.wall.limits))
        if finding.status == "fail" and len(curves[0]) < job.weather.sizes["time"]:
            finding = replace(finding, status="review")  # it may yet dry within the year
        events.append(WettingEvent(layer.name, brought, *curves, replace(finding, layer=layer.name), balance[number]))
    return events


def followed(wall: Wall) -> float:
    """Return how long a comparison follows a wetting event: at least until the limit of the criterion. [d]."""
    return max(_LEAST, resolve(dict(wall.limits))["drying_days"])


def _check(wall: Wall, amount: float) -> None:
    faults = []
    if wettable(wall) is None:
        faults.append(
            Fault("wetting event", "no layer of the backup wall holds water", "", "a layer with a sorption curve")
        )
    if not 0.0 < amount <= _MOST:
        faults.append(
            Fault(
                "wetting event, amount", "must be above 0 and possible", f"{amount:g} kg/m2",
                f"above 0, at most {_MOST:g} kg/m2",
                slip(amount, "kg/m2", 1e-3, _MOST) or "such as 0.5 kg/m2",
            )
        )  # fmt: skip
    if faults:
        raise InputError(*faults)


def _wetted(job: Job, dry: xr.Dataset, amount: float) -> Job:
    """Return the case with water added to its layer, from the water that layer starts with."""
    layer = wettable(job.case.wall)
    assert layer is not None
    before = float(dry["water_at_start"].sel(layer=layer.name).mean())
    room = _FULLEST * layer.material.max_saturation * layer.thickness - before
    if room <= 0.0:
        raise InputError(
            Fault("wetting event", f"{layer.name} is full of water at the start", f"{before:.3g} kg/m2",
                  "a drier start", "lower run.start_humidity or run.construction_water")
        )  # fmt: skip
    content = (before + min(amount, room)) / layer.thickness
    wall = job.case.wall
    rest = tuple(pair for pair in wall.run.construction_water if pair[0] != layer.name)
    run = replace(wall.run, construction_water=(*rest, (layer.name, content)))
    return replace(job, case=replace(job.case, wall=replace(wall, run=run)))


def wetting_event(
    wall: Wall,
    weather: xr.Dataset,
    *,
    opening_set: str | None = None,
    depth: float | None = None,
    column: str | None = None,
    amount: float = AMOUNT,
    workers: int | None = None,
    scheduler: str | None = None,
    fresh: bool = False,
) -> WettingEvent:
    """Wet one case as `wetting_events` does and follow it over the whole weather.

    Parameters
    ----------
    wall : Wall
    weather : xarray.Dataset, (time,)
        From `read_weather`.
    opening_set, depth, column : keyword only
        The case, as for `simulate`. [depth: m]
    amount : float, keyword only
        Water added at the start of the wall's start month; less where the layer cannot hold it. [kg/m2]
    workers : int, keyword only
        Threads; None: one for each core.
    scheduler : str, keyword only
        Address of a dask scheduler, ``tcp://host:port``, whose workers compute instead.
    fresh : bool, keyword only
        Compute every run, also those kept from earlier.

    Returns
    -------
    WettingEvent

    Raises
    ------
    InputError
        If a name is not known, no layer of the backup wall holds water, or is full at the start, or the amount is not
        above 0.
    ConvergenceError
        If one of its runs cannot be solved.
    """
    case = wall.case(opening_set=opening_set, depth=depth, column=column)
    _check(wall, amount)
    with Engine(workers, scheduler, fresh=fresh) as engine:
        event = wetting_events(engine, [Job(case, weather)], amount=amount)[0]
    if event is None:
        raise ConvergenceError("drying of a wetting event: one of its runs could not be solved")
    return event
