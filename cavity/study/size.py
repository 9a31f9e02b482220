"""Sizing: the least free vent area and the least cavity depth with which a wall meets every criterion.

The openings of one set are scaled together. More area nearly always dries, but not always: the air also brings vapour
to a cladding that the night sky cools, and moves heat. So the search first probes the whole range at every depth, looks
whether severity falls all the way, then bisects where the wall begins to pass, and says where there is no such order.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from cavity.errors import ConvergenceError, Fault, InputError
from cavity.risk import CAN_FAIL, Finding, worst_first
from cavity.risk.finding import STATUSES, number
from cavity.study.engine import Engine, Job, Result, counted

if TYPE_CHECKING:
    import xarray as xr

    from cavity.wallfile.model import Layer, Wall

PROBES = (0.25, 0.5, 1.0, 2.0, 4.0)  # times the area as drawn
_AREA_TOLERANCE = 1.05  # bisection ends when the least passing area is known to 5 %: far finer than vents are made
_DEPTH_TOLERANCE = 1e-3  # m, to the millimetre
_NOISE = 0.02  # a rise of severity below 2 % of the limit is no loss of order: convergence of the years, float32
_SPLITS = (0.5, 0.3, 0.7)  # where a bracket is split; the others where the case before could not be computed
_REFINEMENTS = 2  # rounds of halving around an inner optimum before the search says that nothing passes


@dataclass(frozen=True)
class Outcome:
    """One case of the search.

    Parameters
    ----------
    depth : float
        Cavity depth. [m]
    factor : float
        Scale of the openings, 1 as drawn. [1]
    severity : float
        Largest ratio of value to limit among the findings that can fail. [1]
    passes : bool
        Whether every finding is acceptable with the margin asked for.
    decisive : Finding or None
        What decides; None where the case was not computed.
    failure : str
        Why the case was not computed; empty where it was.
    """

    depth: float
    factor: float
    severity: float
    passes: bool
    decisive: Finding | None
    failure: str = ""


@dataclass(frozen=True)
class Row:
    """The frontier at one depth.

    Parameters
    ----------
    depth : float
        Cavity depth. [m]
    least : float or None
        Least factor that passes, to 5 %; None when none does. [1]
    monotone : bool
        Whether severity falls all the way as the openings grow.
    note : str
        What the search saw, one sentence.
    outcomes : tuple of Outcome
        All cases computed at this depth, by factor.
    failed : tuple of (float, str)
        Factors of the cases that could not be computed, and why.
    """

    depth: float
    least: float | None
    monotone: bool
    note: str
    outcomes: tuple[Outcome, ...]
    failed: tuple[tuple[float, str], ...] = ()

    @property
    def best(self) -> Outcome | None:
        """The least severe case at this depth; None where none was computed."""
        return min(self.outcomes, key=lambda outcome: (not outcome.passes, outcome.severity), default=None)

    @property
    def held_back_by(self) -> str:
        """What decides in the best case, or why there is none."""
        best = self.best
        return self.note if best is None or best.decisive is None else best.decisive.sentence


@dataclass(frozen=True)
class Sizing:
    """Outcome of `size` for one wall, climate, opening set and column.

    Parameters
    ----------
    wall_name, climate_name, opening_set, column : str
        The case.
    margin : float
        Distance from every limit that was asked for, as share of the limit. [1]
    accept : str
        Worst status that counts as passing.
    drawn : tuple of (str, float)
        Scaled openings and their free vent area as drawn. [m2/m]
    rows : tuple of Row
        The frontier, shallow to deep.
    least_depth : float or None
        Least depth that passes with some area, to the millimetre. [m]
    variants : tuple of (str, Row)
        Frontier at the drawn depth for each variant of the wall file; only tried when no opening helps.
    failed : tuple of (str, str)
        Cases that could not be computed, in words, and why: also those of the search for the least depth.
    tried : int
        Cases of the whole search, those included.
    """

    wall_name: str
    climate_name: str
    opening_set: str
    column: str
    margin: float
    accept: str
    drawn: tuple[tuple[str, float], ...]
    rows: tuple[Row, ...]
    least_depth: float | None
    variants: tuple[tuple[str, Row], ...] = ()
    failed: tuple[tuple[str, str], ...] = ()
    tried: int = 0

    @property
    def count_text(self) -> str:
        """How many cases were computed, such as "24 of 25 cases computed"; empty where all were."""
        return counted(self.tried - len(self.failed), len(self.failed))

    @property
    def least(self) -> Row | None:
        """The row with the least vent area that passes; the shallower of equals; None when none passes."""
        passing = [row for row in self.rows if row.least is not None]
        return min(passing, key=lambda row: (row.least, row.depth)) if passing else None

    def areas(self, factor: float) -> str:
        """Return the free vent areas at a factor as text, [mm2/m]."""
        return ", ".join(f"{name} {number(1e6 * area * factor)} mm²/m" for name, area in self.drawn)

    @property
    def sentence(self) -> str:
        """What was found, in plain words."""
        asked = f" with {number(100 * self.margin)} % margin" if self.margin else ""
        least = self.least
        if least is not None:
            text = (
                f"The least free vent area that meets every criterion{asked} is {number(least.least, 2)} times that "
                f"drawn ({self.areas(least.least)}), at {number(1e3 * least.depth)} mm depth."
            )
            if self.least_depth is not None:
                text += f" The least depth is {number(1e3 * self.least_depth)} mm"
                at_edge = self.least_depth <= min(row.depth for row in self.rows)
                text += ", the shallowest tried." if at_edge else "."
            return text + _no_order(self.rows)
        best = min((row.best for row in self.rows if row.best is not None), key=lambda outcome: outcome.severity)
        tried = [outcome.factor for row in self.rows for outcome in row.outcomes]
        depths = [row.depth for row in self.rows]
        text = (
            f"No opening helps: between {number(min(tried), 2)} and {number(max(tried), 2)} times the area drawn, "
            f"at {number(1e3 * min(depths))} to {number(1e3 * max(depths))} mm, none meets every criterion{asked}. "
            f"The best ({number(best.factor, 2)} times, {number(1e3 * best.depth)} mm) is held back by: "
            f"{best.decisive.sentence if best.decisive else best.failure}"
        )
        for name, row in self.variants:
            if row.least is not None:
                text += f" With the variant {name!r} it passes from {number(row.least, 2)} times the area drawn on."
            else:
                text += f" The variant {name!r} does not pass either: {row.held_back_by}"
        if not self.variants:
            text += " The wall file lists no variant of a layer to try instead."
        return text + _no_order(self.rows)


def _no_order(rows: Sequence[Row]) -> str:
    depths = [f"{number(1e3 * row.depth)} mm" for row in rows if not row.monotone]
    return f" More area is not always better at {', '.join(depths)}." if depths else ""


def scale_openings(wall: Wall, opening_set: str, factor: float, names: Iterable[str] = ()) -> Wall:
    """Return the wall with the openings of one set scaled.

    Parameters
    ----------
    wall : Wall
    opening_set : str
        Name of the set.
    factor : float
        On the free area and the clear height of each opening; mesh porosity stays. [1]
    names : iterable of str
        Openings to scale; none: all of the set.

    Returns
    -------
    Wall

    Raises
    ------
    InputError
        If the set has no opening of such a name.
    """
    chosen = wall.opening_set(opening_set)
    known = [opening.name for opening in chosen.openings]
    wanted = set(names) or set(known)
    if unknown := sorted(wanted - set(known)):
        raise InputError(
            Fault(
                "openings to scale",
                "the set has no such opening",
                ", ".join(unknown),
                ", ".join(known),
                "use its names",
            )
        )
    openings = tuple(
        replace(each, free_area=each.free_area * factor, clear_height=each.clear_height * factor)
        if each.name in wanted
        else each
        for each in chosen.openings
    )
    sets = tuple(replace(each, openings=openings) if each.name == opening_set else each for each in wall.opening_sets)
    return replace(wall, opening_sets=sets)


def with_variant(wall: Wall, name: str) -> Wall:
    """Return the wall with the layers of one of its variants put in; KeyError if there is no such variant."""
    exchanged: dict[str, Layer] = {old: layer for variant, old, layer in wall.variants if variant == name}
    if not exchanged:
        raise KeyError(name)

    def put(layers: tuple[Layer, ...]) -> tuple[Layer, ...]:
        return tuple(exchanged.get(layer.name, layer) for layer in layers)

    return replace(wall, cladding=put(wall.cladding), backup=put(wall.backup))


def severity_of(findings: Iterable[Finding]) -> tuple[float, Finding]:
    """Return the largest ratio among the findings that can fail, and the finding that has it. [1]."""
    decisive = max((found for found in findings if found.key in CAN_FAIL), key=lambda found: found.ratio)
    return decisive.ratio, decisive


def assess(depth: float, factor: float, findings: Sequence[Finding], *, margin: float, accept: str) -> Outcome:
    """Return the outcome of one case: passing means no status worse than `accept` and severity <= 1 - margin.

    Depth in [m]; factor on the vents and margin to the limits are shares [1].
    """
    severity, decisive = severity_of(findings)
    worst = worst_first(findings)[0]
    bearable = STATUSES.index(worst.status) <= STATUSES.index(accept)
    if not bearable and severity <= 1.0 - margin:
        decisive = worst
    return Outcome(depth, factor, severity, bearable and severity <= 1.0 - margin, decisive)


def search(
    evaluate: Callable[[list[tuple[float, float]]], list[Outcome]],
    depths: Sequence[float],
    factors: Sequence[float] = PROBES,
) -> tuple[Row, ...]:
    """Find the least passing factor at each depth.

    Parameters
    ----------
    evaluate : callable
        Takes a list of (depth, factor) and returns their outcomes in the same order; called with batches. An outcome
        with a `failure` is left out of the search, and its neighbours are tried instead.
    depths : sequence of float
        Depths to search. [m]
    factors : sequence of float
        Factors to probe first, rising. [1]

    Returns
    -------
    tuple of Row
        By depth.

    Notes
    -----
    Bisection (geometric) in the lowest bracket that fails below and passes above. It finds the least passing factor if
    passing is ordered between the probes; the row says whether severity was ordered at the probes. With no passing
    probe and the optimum between two probes, the neighbourhood of the optimum is halved twice before giving up.
    """
    points = [(depth, factor) for depth in depths for factor in factors]
    known: dict[float, dict[float, Outcome]] = {depth: {} for depth in depths}
    failed: dict[float, dict[float, str]] = {depth: {} for depth in depths}

    def run(batch: list[tuple[float, float]]) -> None:
        for outcome, (depth, factor) in zip(evaluate(batch), batch, strict=True):
            if outcome.failure:
                failed[depth][factor] = outcome.failure
            else:
                known[depth][factor] = outcome

    run(points)
    for _ in range(_REFINEMENTS):
        batch = []
        for depth in depths:
            tried = sorted(known[depth])
            if not tried or any(known[depth][factor].passes for factor in tried):
                continue
            at = min(range(len(tried)), key=lambda i: known[depth][tried[i]].severity)
            if 0 < at < len(tried) - 1:
                halved = (tried[at - 1] * tried[at]) ** 0.5, (tried[at] * tried[at + 1]) ** 0.5
                batch += [(depth, factor) for factor in halved if factor not in failed[depth]]
        if not batch:
            break
        run(batch)
    while True:
        batch = []
        for depth in depths:
            bracket = _bracket(known[depth])
            if bracket is not None and bracket[1] / bracket[0] > _AREA_TOLERANCE:
                splits = (bracket[0] * (bracket[1] / bracket[0]) ** share for share in _SPLITS)
                batch += [(depth, factor) for factor in splits if factor not in failed[depth]][:1]
        if not batch:
            break
        run(batch)
    return tuple(_row(depth, known[depth], failed[depth]) for depth in sorted(depths))


def _bracket(tried: dict[float, Outcome]) -> tuple[float, float] | None:
    """Return the lowest neighbours of which the smaller fails and the larger passes; None if there are none."""
    factors = sorted(tried)
    for low, high in itertools.pairwise(factors):
        if not tried[low].passes and tried[high].passes:
            return low, high
        if tried[low].passes:
            return None  # the smallest tried passes already
    return None


def _row(depth: float, tried: dict[float, Outcome], failed: dict[float, str]) -> Row:
    outcomes = tuple(tried[factor] for factor in sorted(tried))
    missing = tuple((factor, failed[factor]) for factor in sorted(failed))
    if not outcomes:
        return Row(depth, None, True, f"Not computed: {missing[0][1]}.", (), missing)
    passing = [outcome.factor for outcome in outcomes if outcome.passes]
    low = outcomes[0]
    monotone, rise = True, ""
    for outcome in outcomes:  # largest rise above the lowest severity at any smaller area
        if outcome.severity < low.severity:
            low = outcome
        elif outcome.severity > low.severity + _NOISE:
            monotone = False
            rise = (
                f"more area is not always better: severity rises from {number(low.severity, 2)} at "
                f"{number(low.factor, 2)} times the area to {number(outcome.severity, 2)} at "
                f"{number(outcome.factor, 2)} times"
            )
    if not passing:
        best = min(outcomes, key=lambda outcome: outcome.severity)
        note = f"nothing passes; best at {number(best.factor, 2)} times the area"
    elif passing[0] == outcomes[0].factor:
        note = "the smallest area tried passes already"
    else:
        note = f"passes from {number(passing[0], 2)} times the area on"
    lost = [outcome.factor for outcome in outcomes if passing and outcome.factor > passing[0] and not outcome.passes]
    if lost:
        note += f", but fails again at {number(lost[0], 2)} times"
    if rise:
        note += f"; {rise}"
    if missing:
        note += f"; {counted(len(outcomes), len(missing))}"
    return Row(depth, passing[0] if passing else None, monotone, note[0].upper() + note[1:] + ".", outcomes, missing)


def _least_depth(evaluate: Callable[[list[tuple[float, float]]], list[Outcome]], rows: Sequence[Row]) -> float | None:
    """Return the least depth that passes, found between listed depths with the factor that is best at the next."""
    passing = [row for row in rows if row.least is not None]
    if not passing:
        return None
    best = passing[0].best
    assert best is not None
    high, factor = passing[0].depth, best.factor
    below = [row.depth for row in rows if row.depth < high]
    if not below:
        return high
    low = below[-1]
    while high - low > _DEPTH_TOLERANCE:
        middle = 0.5 * (low + high)
        if evaluate([(middle, factor)])[0].passes:  # a case not computed counts as one that does not: the safe side
            high = middle
        else:
            low = middle
    return high


def size(
    wall: Wall,
    weather: xr.Dataset,
    *,
    opening_set: str | None = None,
    column: str | None = None,
    openings: Sequence[str] = (),
    depths: Sequence[float] = (),
    factors: Sequence[float] = PROBES,
    margin: float = 0.0,
    accept: str = "review",
    workers: int | None = None,
    scheduler: str | None = None,
    fresh: bool = False,
    progress: Callable[[int, int, str], None] | None = None,
) -> Sizing:
    """Find the least free vent area and the least depth with which a wall meets every criterion.

    Parameters
    ----------
    wall : Wall
    weather : xarray.Dataset, (time,)
        From `read_weather`.
    opening_set, column : str, keyword only
        Which set to scale and which column to judge; None: the first.
    openings : sequence of str, keyword only
        Openings of the set to scale; none: all.
    depths : sequence of float, keyword only
        Depths to search; none: those of the wall file. [m]
    factors : sequence of float, keyword only
        Scales of the openings to probe. [1]
    margin : float, keyword only
        Distance to keep from every limit, as share of the limit. [1]
    accept : {"review", "pass"}, keyword only
        Worst status that counts as passing.
    workers : int, keyword only
        Threads; None: one for each core.
    scheduler : str, keyword only
        Address of a dask scheduler, ``tcp://host:port``, whose workers compute instead.
    fresh : bool, keyword only
        Compute every case, also those kept from earlier.
    progress : callable, keyword only
        Called after each case with cases done, cases asked for so far, and what was found.

    Returns
    -------
    Sizing

    Raises
    ------
    InputError
        If a name is not known, or margin, factors or depths are out of range.
    ConvergenceError
        If no case at the depths asked for can be solved.
    """
    names = [each.name for each in wall.opening_sets]
    chosen = opening_set or names[0]
    column_name = column or wall.columns[0].name
    searched = sorted(set(depths) or set(wall.depths) or {wall.cavity.depth})
    probes = sorted(set(factors))
    faults = []
    if chosen not in names:
        faults.append(Fault("opening set", "there is none of this name", chosen, ", ".join(names), "use a listed name"))
    known = [each.name for each in wall.columns]
    if column_name not in known:
        faults.append(Fault("column", "there is none of this name", column_name, ", ".join(known), "use a listed name"))
    if not 0.0 <= margin < 1.0:
        faults.append(Fault("margin", "out of range", f"{margin:g}", "0 to below 1", "10 % is written 0.1"))
    if accept not in ("review", "pass"):
        faults.append(Fault("accept", "not known", accept, "review, pass", "use one of these"))
    if not probes or probes[0] <= 0.0:
        faults.append(Fault("factors", "each must be above 0", str(list(factors)), "such as 0.25, 0.5, 1, 2", "drop 0"))
    if searched[0] <= 0.0:
        faults.append(Fault("depths", "each must be above 0", str(list(depths)), "such as 20 mm", "drop 0"))
    if faults:
        raise InputError(*faults)
    drawn = tuple(
        (each.name, each.free_vent_area)
        for each in wall.opening_set(chosen).openings
        if (not openings or each.name in openings) and (not each.columns or column_name in each.columns)
    )
    scale_openings(wall, chosen, 1.0, openings)  # unknown openings are reported before any run
    if not drawn:
        raise InputError(
            Fault(f"opening set {chosen!r}", f"has no vent in column {column_name!r} that could be sized",
                  fix="choose a set with vents there: --openings NAME")
        )  # fmt: skip
    counts = [0, 0]  # cases done, cases asked for
    failed: list[tuple[str, str]] = []

    with Engine(workers, scheduler, fresh=fresh) as engine:

        def batch_of(base: Wall) -> Callable[[list[tuple[float, float]]], list[Outcome]]:
            def evaluate(batch: list[tuple[float, float]]) -> list[Outcome]:
                jobs = [
                    Job(scale_openings(base, chosen, factor, openings), weather, chosen, depth, column_name)
                    for depth, factor in batch
                ]
                point_of = {id(job): point for job, point in zip(jobs, batch, strict=True)}

                def outcome(result: Result) -> Outcome:
                    point = point_of[id(result.job)]
                    if result.failure:
                        return Outcome(*point, math.nan, False, None, result.failure)
                    return assess(*point, result.findings, margin=margin, accept=accept)

                def told(_done: int, _count: int, result: Result) -> None:
                    counts[0] += 1
                    found = outcome(result)
                    at = f"{number(1e3 * found.depth)} mm, {number(found.factor, 2)} times the area"
                    if found.failure:
                        failed.append((at, found.failure))
                    if progress:
                        state = "not computed" if found.failure else "passes" if found.passes else "does not pass"
                        progress(*counts, f"{at}: {state}")

                counts[1] += len(batch)
                return [outcome(result) for result in engine.run(jobs, keep="findings", progress=told)]

            return evaluate

        rows = search(batch_of(wall), searched, probes)
        if not any(row.outcomes for row in rows):
            raise ConvergenceError(f"none of the {counts[1]} cases could be computed; the first: {failed[0][1]}")
        least_depth = _least_depth(batch_of(wall), rows)
        variants: list[tuple[str, Row]] = []
        if least_depth is None:
            at = min(searched, key=lambda depth: abs(depth - wall.cavity.depth))
            variants += [
                (name, search(batch_of(with_variant(wall, name)), [at], probes)[0])
                for name in dict.fromkeys(variant for variant, _, _ in wall.variants)
            ]
    return Sizing(
        wall.name, str(weather.attrs.get("name", "")), chosen, column_name, margin, accept, drawn, rows, least_depth,
        tuple(variants), tuple(failed), counts[1],
    )  # fmt: skip
