"""Compare: every opening set with every depth in every climate, on all cores, judged."""

from __future__ import annotations

import datetime as dt
import functools
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cavity.errors import ConvergenceError, Fault, InputError
from cavity.result import save
from cavity.risk import Finding, worst
from cavity.risk.finding import WHOLE_YEAR
from cavity.risk.ranking import gather
from cavity.risk.recommend import recommend
from cavity.study import uncertainty
from cavity.study.advice import from_choices, lines
from cavity.study.changes import variants_of, with_variant
from cavity.study.engine import Engine, Job, Result, check_one_year, counted
from cavity.study.wetting import followed, wetting_events
from cavity.wallfile.model import OpeningSet, ventilation_class

__all__ = ["Comparison", "JudgedCase", "NotComputed", "compare", "save_cases"]


if TYPE_CHECKING:
    import xarray as xr

    from cavity.study.uncertainty import Confidence
    from cavity.study.wetting import WettingEvent
    from cavity.wallfile.model import Wall


class _Dataset:
    """Field `JudgedCase.dataset`: what was put in, or, of an engine's result, the Dataset read when it is asked for."""

    def __get__(self, case: Any, owner: Any = None) -> Any:
        if case is None:
            raise AttributeError("dataset")  # shows dataclass that there is no default
        held = case.__dict__["dataset"]
        return held.dataset if isinstance(held, Result) else held

    def __set__(self, case: Any, value: Any) -> None:
        case.__dict__["dataset"] = value


@dataclass(frozen=True)
class JudgedCase:
    """One simulated and judged combination.

    Parameters
    ----------
    wall_name, climate_name, opening_set, column : str
        What was combined.
    depth : float
        Cavity depth. [m]
    dataset : xarray.Dataset
        Result of `cavity.simulate`. In a large comparison it is read from the finished cases on disk when asked for:
        take it once, not in an inner loop.
    findings : tuple of Finding
        Worst first.
    event : WettingEvent or None
        How a wetting event dries, with the vents as drawn and closed; None where no layer can take the water.
    variant : str
        Variant of the layers; empty: the wall as drawn.
    """

    wall_name: str
    climate_name: str
    opening_set: str
    column: str
    depth: float
    dataset: xr.Dataset = _Dataset()  # type: ignore[assignment]
    findings: tuple[Finding, ...]  # type: ignore[misc]  # the field before has no default, whatever it looks like
    event: WettingEvent | None = None
    variant: str = ""

    @functools.cached_property
    def about(self) -> xr.Dataset:
        """The Dataset without its hours: attributes, coordinates, variables without time; read from disk once."""
        return self.dataset.drop_dims("time")

    @property
    def orientation(self) -> float:
        """Where the wall faces, clockwise from north. [degree]."""
        held = self.__dict__["dataset"]  # known without reading the Dataset from disk
        return float(held.job.case.wall.orientation if isinstance(held, Result) else held.attrs["orientation"])

    @property
    def worst(self) -> Finding:
        """The finding that decides."""
        return worst(self.findings)


@dataclass(frozen=True)
class NotComputed:
    """A combination that could not be computed; it is excluded from every ranking and count.

    Parameters
    ----------
    wall_name, climate_name, opening_set, column : str
        What was combined.
    depth : float
        Cavity depth. [m]
    orientation : float
        Where the wall faces, clockwise from north. [degree]
    reason : str
        Why, in one line.
    variant : str
        Variant of the layers; empty: the wall as drawn.
    """

    wall_name: str
    climate_name: str
    opening_set: str
    column: str
    depth: float
    orientation: float
    reason: str
    variant: str = ""


@dataclass(frozen=True)
class Comparison:
    """All cases of one wall.

    Parameters
    ----------
    wall : Wall
        The wall compared.
    climates : tuple of str
        Names, in the order given.
    cases : tuple of JudgedCase
        Those computed, by climate, variant, orientation, column, opening set and depth: orientations clockwise from
        north, all else in the order of the wall file, with the wall as drawn before its variants.
    created : str
        UTC time.
    advice : tuple of str
        What other openings and depths do, in sentences from computed differences.
    no_event : str
        Why no wetting event was computed; empty where it was.
    failed : tuple of NotComputed
        Those that could not be computed, in the same order.
    confidence : Confidence or None
        How likely the recommended choice and the runner-up meet every criterion; None where it was not asked for, no
        choice can be recommended, or the weather is shorter than a year.
    closed : tuple of JudgedCase
        For comparison of heat only: the wall without vents, at its first depth, in each climate of a whole year and
        column; empty where a set compared is unventilated (ISO 6946) itself. It is in no ranking and no count.
    """

    wall: Wall
    climates: tuple[str, ...]
    cases: tuple[JudgedCase, ...]
    created: str
    advice: tuple[str, ...] = ()
    no_event: str = ""
    failed: tuple[NotComputed, ...] = ()
    confidence: Confidence | None = None
    closed: tuple[JudgedCase, ...] = ()

    @property
    def count_text(self) -> str:
        """How many cases were computed, such as "24 of 25 cases computed"; empty where all were."""
        return counted(len(self.cases), len(self.failed))


def compare(
    wall: Wall,
    weathers: xr.Dataset | Iterable[xr.Dataset],
    *,
    columns: Sequence[str] | None = None,
    facings: str | float | Sequence[str | float] | None = None,
    variants: str | Sequence[str] | None = None,
    progress: Callable[[int, int, str], None] | None = None,
    workers: int | None = None,
    scheduler: str | None = None,
    fresh: bool = False,
    confidence: bool | None = None,
) -> Comparison:
    """Simulate and judge every opening set and depth of a wall in each climate; let each dry a wetting event.

    Threads, or the workers of a cluster, share the work; the result does not depend on their number. Finished cases are
    kept in the user's cache folder, so that a comparison that was stopped goes on where it was.

    Parameters
    ----------
    wall : Wall
        With the opening sets and depths to compare.
    weathers : xarray.Dataset or iterable of them, (time,)
        Climates, as `read_weather` returns them.
    columns : sequence of str, keyword only
        Columns (strips) of the cavity; None: all of the wall file, as a wall passes only if every strip passes.
    facings : str, float, or sequence of them, keyword only
        Orientations: "all" (eight, from north), compass words, degrees clockwise from north; None: that of the wall.
    variants : str or sequence of str, keyword only
        Variants of the layers, by name, besides the wall as drawn: "all", or some; None: none.
    progress : callable, keyword only
        Called with cases done, all cases, and the name of the one just done.
    workers : int, keyword only
        Threads; None: one a core. [1]
    scheduler : str, keyword only
        Address of a dask scheduler, ``tcp://host:port``, whose workers compute instead.
    fresh : bool, keyword only
        Compute every case, also those kept from earlier.
    confidence : bool, keyword only
        Sample the uncertain inputs for the recommended choice and the runner-up; None: if it takes under half a minute.

    Returns
    -------
    Comparison
        Cases that cannot be solved are in `failed`.

    Raises
    ------
    InputError
        If there is no climate, one has several years, two share a name, a facing or variant is not known, a criterion's
        limit is wrong, or the scheduler does not answer.
    ConvergenceError
        If none of the cases can be solved.
    """
    import xarray as xr

    climates = [weathers] if isinstance(weathers, xr.Dataset) else list(weathers)
    if not climates:
        raise InputError(
            Fault("compare, weathers", "there is no climate", "none", "at least one", "give a weather file")
        )
    for weather in climates:
        check_one_year(weather)
    names = [str(weather.attrs.get("name") or f"climate {k + 1}") for k, weather in enumerate(climates)]
    if len(set(names)) < len(names):
        raise InputError(
            Fault("compare, weathers", "two climates have the same name", ", ".join(names), "different names",
                  "omit the repeated file, or rename the place in one of them")
        )  # fmt: skip
    climate_of = {id(weather): name for weather, name in zip(climates, names, strict=True)}
    walls = axes_of(wall, facings, variants)
    variant_of = {id(variant): name for name, variant in walls}
    jobs = [
        Job(variant.case(opening_set=opening_set.name, depth=depth, column=column), weather)
        for weather in climates
        for _, variant in walls
        for column in (columns or [strip.name for strip in wall.columns])
        for opening_set in wall.opening_sets
        for depth in wall.depths
    ]

    def on_run(done: int, count: int, result: Result) -> None:
        job = result.job
        if progress:
            text = f"{climate_of[id(job.weather)]}, {job.case.opening_set.name}, {1e3 * job.case.depth:g} mm"
            if name := variant_of[id(job.case.wall)]:
                text += f", {name}"
            if len({variant.orientation for _, variant in walls}) > 1:
                text += f", facing {job.case.wall.orientation:g}°"
            progress(done, count, text)

    def on_event(done: int, count: int) -> None:
        if progress:
            progress(done, count, "drying of a wetting event")

    with Engine(workers, scheduler, fresh=fresh) as engine:
        results = engine.run(jobs, progress=on_run)
        closed_results = engine.run(
            [job for _, variant in walls for job in _closed(variant, climates, columns, variant_of)]
        )
    failed = tuple(
        NotComputed(
            wall.name, climate_of[id(result.job.weather)], result.job.case.opening_set.name,
            result.job.case.column.name, result.job.case.depth, result.job.case.wall.orientation, result.failure,
            variant_of[id(result.job.case.wall)],
        )
        for result in results
        if result.failure
    )  # fmt: skip
    closed = [
        JudgedCase(
            wall.name, climate_of[id(result.job.weather)], result.job.case.opening_set.name,
            result.job.case.column.name, result.job.case.depth,
            result, result.findings,  # type: ignore[arg-type]
            variant=variant_of[id(result.job.case.wall)],
        )
        for result in closed_results
        if not result.failure
    ]  # fmt: skip
    results = [result for result in results if not result.failure]
    if not results:
        raise ConvergenceError(f"none of the {len(jobs)} cases could be computed; the first: {failed[0].reason}")
    jobs = [result.job for result in results]
    events: Sequence[WettingEvent | None] = [None] * len(jobs)
    no_event = ""
    try:
        # an engine of their own: their results do not push those of the cases out of memory
        with Engine(workers, scheduler, fresh=fresh) as engine:
            events = wetting_events(engine, jobs, days=followed(wall), progress=on_event)
    except InputError as error:  # the comparison is valid without it
        no_event = error.faults[0].problem
    if not no_event and not any(events):
        no_event = "its runs could not be computed"
    cases = [
        JudgedCase(
            wall.name, climate_of[id(job.weather)], job.case.opening_set.name, job.case.column.name, job.case.depth,
            result, result.findings, event, variant_of[id(job.case.wall)],  # type: ignore[arg-type]
        )
        for job, result, event in zip(jobs, results, events, strict=True)
    ]  # fmt: skip
    created = dt.datetime.now(dt.UTC).strftime("%Y-%m-%d %H:%M UTC")
    comparison = Comparison(
        wall, tuple(names), tuple(cases), created, no_event=no_event, failed=failed, closed=tuple(closed)
    )
    if confidence is not False:
        comparison = replace(
            comparison,
            confidence=_confidence(
                comparison, climates, list(columns or []) or None, None if confidence else uncertainty.BUDGET,
                workers=workers, scheduler=scheduler, fresh=fresh, progress=progress,
            ),
        )  # fmt: skip
    return replace(comparison, advice=lines(from_choices(gather(comparison.cases, comparison.failed))))


def axes_of(
    wall: Wall, facings: str | float | Sequence[str | float] | None, variants: str | Sequence[str] | None
) -> list[tuple[str, Wall]]:
    """Return the walls to compare with the names of their variants: as drawn first, each clockwise from north.

    Parameters
    ----------
    wall : Wall
    facings, variants
        As for `compare`.

    Raises
    ------
    InputError
        With everything that is not known.
    """
    known = variants_of(wall)
    wanted = [variants] if isinstance(variants, str) else list(variants or ())
    faults = [
        Fault(f"{wall.source or 'wall'}, --variant", "the wall file has no such variant", str(name)[:80],
              ", ".join(known) or "a [[variant]] in the wall file", "use one of its names, or all")
        for name in wanted
        if name not in known and name != "all"
    ]  # fmt: skip
    angles = [wall.orientation]
    try:
        angles = read_facings(facings) or angles
    except InputError as error:
        faults += error.faults
    if faults:
        raise InputError(*faults)
    names = [name for name in known if name in wanted or "all" in wanted]
    drawn = [("", wall), *((name, with_variant(wall, name)) for name in names)]
    return [(name, replace(variant, orientation=angle)) for name, variant in drawn for angle in angles]


def read_facings(facings: str | float | Sequence[str | float] | None) -> list[float]:
    """Return orientations, each once, clockwise from north; none where none is given. [degree].

    Parameters
    ----------
    facings : str, float, or sequence of them
        "all" (eight, from north), compass words or letters, or degrees; several in one text with commas.

    Raises
    ------
    InputError
        With every one that is no direction.
    """
    from pydantic_core import PydanticCustomError

    from cavity.wallfile.values import Orientation

    items = [] if facings is None else [facings] if isinstance(facings, str | int | float) else list(facings)
    parts = [part for item in items for part in (item.split(",") if isinstance(item, str) else [item])]
    angles: set[float] = set()
    faults = []
    for part in parts:
        text = part.strip() if isinstance(part, str) else f"{float(part):g}"
        if text.casefold() == "all":
            angles |= {45.0 * eighth for eighth in range(8)}
            continue
        try:
            number = float(text.removesuffix("°"))
        except ValueError:
            pass
        else:
            text = f"{number!r} deg"
        try:
            angles.add(Orientation().read(text))
        except PydanticCustomError as error:
            said = error.context or {}
            expected = 'all, a compass word such as "south-west" or SW, or degrees clockwise from north such as 225'
            faults.append(Fault("--facing", str(said["problem"]), str(part)[:80], expected, str(said["fix"])))
    if faults:
        raise InputError(*faults)
    return sorted(angles)


def _closed(
    wall: Wall, weathers: Sequence[xr.Dataset], columns: Sequence[str] | None, variant_of: dict[int, str]
) -> list[Job]:
    """Return the jobs of the wall without vents, for each column where no set compared is unventilated itself."""
    bare = replace(wall, opening_sets=(OpeningSet("no vents", ()),))
    variant_of[id(bare)] = variant_of[id(wall)]
    return [
        Job(bare.case(depth=wall.depths[0], column=column.name), weather)
        for weather in weathers
        if weather.sizes["time"] >= WHOLE_YEAR
        for column in wall.columns
        if columns is None or column.name in columns
        if all(
            ventilation_class(wall.case(opening_set=opening_set.name, column=column.name).opening_area)
            != "unventilated"
            for opening_set in wall.opening_sets
        )
    ]


def _confidence(
    comparison: Comparison,
    weathers: Sequence[xr.Dataset],
    columns: Sequence[str] | None,
    budget: float | None,
    **how: Any,
) -> Confidence | None:
    """Sample the recommended choice and the runner-up; None where there is none or the weather is no whole year."""
    best = recommend(gather(comparison.cases, comparison.failed))
    if best is None or min(weather.sizes["time"] for weather in weathers) < WHOLE_YEAR:
        return None
    choices = [(choice.opening_set, choice.depth) for choice in (best.choice, best.runner_up) if choice is not None]
    # of several orientations, the one that decides
    facing = best.choice.decides[0].orientation if best.choice.decides else comparison.wall.orientation
    wall = with_variant(comparison.wall, best.choice.variant) if best.choice.variant else comparison.wall
    wall = replace(wall, orientation=facing)
    names = columns or list(dict.fromkeys(case.column for case in comparison.cases))
    return uncertainty.confidence(wall, weathers, choices, columns=names, budget=budget, **how)


def save_cases(comparison: Comparison, folder: Any) -> list[Any]:
    """Write the Dataset of every case as NetCDF into a folder.

    Parameters
    ----------
    comparison : Comparison
        A result of `compare`.
    folder : path
        Made if missing.

    Returns
    -------
    list of pathlib.Path
        Files written, one a case, each whole or not at all.

    Raises
    ------
    InputError
        If a file cannot be written.
    """
    facings = {case.orientation for case in comparison.cases}
    files = []
    for number, case in enumerate(comparison.cases, 1):
        words = f"{case.climate_name} {case.column} {case.opening_set} {case.depth * 1e3:g}mm {case.variant}".lower()
        if len(facings) > 1:
            words += f" {case.orientation:g}deg"
        path = Path(folder) / f"{number:03d}-{re.sub(r'[^a-z0-9.]+', '-', words).strip('-')[:100]}.nc"
        files.append(save(case.dataset, path))
    return files
