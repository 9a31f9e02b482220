"""Sizing: how large the vents and the gaps at the rail ends must be, and how deep the cavity, to meet every criterion.

Vents and rail gaps are searched alone, each at every depth, and together at one depth. More opening nearly always
dries, but not always: the air also brings vapour to a cladding that the night sky cools, and moves heat. So the search
first probes the whole range, looks whether severity falls all the way, then bisects where the wall begins to pass, and
says where there is no such order. Every strip (column) of the wall must pass. Where nothing passes, vents at the blind
ends of compartments and the variants of the wall file are tried before the search says so.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from cavity.choice_words import below_text, millimetres, per_metre
from cavity.errors import ConvergenceError, Fault, InputError
from cavity.finding_words import decimals
from cavity.risk import CAN_FAIL, Finding
from cavity.risk.ranking import NOISE, Choice, Part, level, severity
from cavity.risk.rules import below_common
from cavity.study.changes import (
    INCH,
    blind_ends,
    gap_text,
    halves,
    rails_of,
    scale_openings,
    variants_of,
    widest_gap,
    with_gap,
    with_variant,
    with_vents,
)
from cavity.study.engine import Engine, Job, Result, counted
from cavity.units import slip

if TYPE_CHECKING:
    import xarray as xr

    from cavity.wallfile.model import Wall

PROBES = (0.25, 0.5, 1.0, 2.0, 4.0)  # times the area as drawn
GAPS = (INCH / 8, INCH / 4, INCH / 2, INCH)  # m, rail gaps in question in practice
FLOOR = 0.25 / 16  # times the area as drawn, how far down the search goes where the smallest probe passes
_AREA_TOLERANCE = 1.05  # bisection ends when the least that passes is known to 5 %: far finer than vents are made
_DEPTH_TOLERANCE = 1e-3  # m, to the millimetre
WIDEST = 1.0  # m, rail gap: beyond, nothing is left of a rail
_SPLITS = (0.5, 0.3, 0.7)  # where a bracket is split; the others where the case before could not be computed
_REFINEMENTS = 2  # rounds of halving around an inner optimum before the search says that nothing passes
_DOWN = 4.0  # by what a range is extended downwards at a time


class Point(NamedTuple):
    """What is searched: depth [m], factor on the vents [1], gap at the rail ends [m] (None: as drawn)."""

    depth: float
    factor: float = 1.0
    gap: float | None = None


@dataclass(frozen=True)
class Outcome:
    """One case of the search, all strips together.

    Parameters
    ----------
    point : Point
        The case.
    severity : float
        Largest ratio of value to limit among the findings that can fail. [1]
    passes : bool
        Whether every finding of every strip is acceptable with the margin asked for.
    decisive : Finding or None
        What decides; None where the case was not computed.
    column : str
        The strip that decides.
    order : tuple
        The key of `cavity.risk.ranking`: smaller is safer.
    failure : str
        Why the case was not computed; empty where it was.
    """

    point: Point
    severity: float
    passes: bool
    decisive: Finding | None
    column: str = ""
    order: tuple[object, ...] = ()
    failure: str = ""

    @property
    def depth(self) -> float:
        """Cavity depth. [m]."""
        return self.point.depth

    @property
    def factor(self) -> float:
        """Scale of the openings, 1 as drawn. [1]."""
        return self.point.factor


@dataclass(frozen=True)
class Row:
    """The frontier along one line: at one depth, vents or rail gaps from small to large.

    Parameters
    ----------
    line : Point
        What is held: depth, and the gap or the factor on the vents.
    variable : str
        What is searched: ``"factor"`` (vents, times as drawn) or ``"gap"`` (rail ends).
    least : float or None
        Least value that passes, to 5 %; None when none does. [1 or m]
    monotone : bool
        Whether severity falls all the way as the openings grow.
    note : str
        What the search saw, one sentence.
    outcomes : tuple of Outcome
        All cases computed on this line, from small to large.
    failed : tuple of (float, str)
        Values of the cases that could not be computed, and why.
    remark : str
        What of the note is out of the ordinary, for a table that shows the rest.
    """

    line: Point
    variable: str
    least: float | None
    monotone: bool
    note: str
    outcomes: tuple[Outcome, ...]
    failed: tuple[tuple[float, str], ...] = ()
    remark: str = ""

    @property
    def depth(self) -> float:
        """Cavity depth. [m]."""
        return self.line.depth

    def value(self, outcome: Outcome) -> float:
        """Return what is searched, of one case. [1 or m]."""
        return float(getattr(outcome.point, self.variable))

    @property
    def at_floor(self) -> bool:
        """Whether the smallest value tried passes already: what passes is no minimum."""
        return bool(self.outcomes) and self.least == self.value(self.outcomes[0])

    @property
    def best(self) -> Outcome | None:
        """The safest case of the line; None where none was computed."""
        return min(self.outcomes, key=lambda outcome: (not outcome.passes, outcome.order), default=None)

    @property
    def shown(self) -> Outcome | None:
        """The case a table shows: that of the least value that passes, else the safest."""
        at = (outcome for outcome in self.outcomes if self.value(outcome) == self.least)
        return next(at, self.best)

    @property
    def held_back_by(self) -> str:
        """What decides in the safest case, or why there is none."""
        best = self.best
        if best is None or best.decisive is None:
            return self.note
        return f"{best.column}: {best.decisive.sentence}" if best.column else best.decisive.sentence


def _listed(items: Sequence[str]) -> str:
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}"


def value_text(variable: str, value: float) -> str:
    """Return a value of a search in words, [1] for the vents and [m] for the gaps."""
    return gap_text(value) if variable == "gap" else f"{decimals(value, 2)} × the design area"


@dataclass(frozen=True)
class Sizing:
    """Outcome of `size` for one wall, climate and opening set.

    Parameters
    ----------
    wall_name, climate_name, opening_set, column : str
        The case; `column` names all strips that must pass.
    margin : float
        Distance from every limit that was asked for, as a fraction of the limit. [1]
    accept : str
        Worst status that counts as passing.
    drawn : tuple of (str, float)
        Scaled openings and their free vent area as drawn. [m2/m]
    rows : tuple of Row
        Vents alone, rail gaps as drawn: shallow to deep.
    least_depth : float or None
        Least depth that passes with some vents, to the millimetre. [m]
    variants : tuple of (str, Row)
        Vents at the drawn depth, with what else was tried: vents at blind ends, variants; only where nothing passed.
    failed : tuple of (str, str)
        Cases that could not be computed, in words, and why: also those of the search for the least depth.
    tried : int
        Cases of the whole search, those included.
    gaps : tuple of Row
        Rail gaps alone, vents as drawn: shallow to deep; empty where there are no rails.
    together : tuple of Row
        Vents at the drawn depth for each rail gap, small to large.
    halves : tuple of (float, float)
        Free vent area in the lower and in the upper half of the strip that has least: of the scaled openings, of
        the others. Each pair (scaled, other). [m2/m]
    least_depth_factor : float
        Scale of the vents with which the least depth passes. [1]
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
    gaps: tuple[Row, ...] = ()
    together: tuple[Row, ...] = ()
    halves: tuple[tuple[float, float], tuple[float, float]] = ((0.0, 0.0), (0.0, 0.0))
    least_depth_factor: float = 1.0

    @property
    def count_text(self) -> str:
        """How many cases were computed, such as "24 of 25 cases computed"; empty where all were."""
        return counted(self.tried - len(self.failed), len(self.failed))

    @property
    def least(self) -> Row | None:
        """The row with the least vent area that passes; the shallower of equals; None when none passes."""
        passing = [row for row in self.rows if row.least is not None]
        return min(passing, key=lambda row: (row.least, row.depth)) if passing else None

    @property
    def least_gap(self) -> Row | None:
        """The row with the least rail gap that passes with the vents as drawn; None when none passes."""
        passing = [row for row in self.gaps if row.least is not None]
        return min(passing, key=lambda row: (row.least, row.depth)) if passing else None

    def areas(self, factor: float) -> str:
        """Return the free vent areas at a factor as text, [cm2/m]."""
        return ", ".join(f"{name} {per_metre(area * factor)}" for name, area in self.drawn)

    def halves_at(self, factor: float) -> tuple[float, float]:
        """Return the free vent area in the lower and the upper half at a factor. [m2/m]."""
        (lower, lower_rest), (upper, upper_rest) = self.halves
        return factor * lower + lower_rest, factor * upper + upper_rest

    def below_rules(self, depth: float, factor: float) -> str:
        """Return which common sizes a depth [m] and a factor on the vents [1] are below, in words; else empty."""
        return below_text(below_common(depth, *self.halves_at(factor)))

    @property
    def sentences(self) -> tuple[str, ...]:
        """What was found, in plain words: vents, depth, rail gaps, both together, rules."""
        asked = f" with {decimals(100 * self.margin)} % margin" if self.margin else ""
        said = [*self._vents(asked), *self._gaps(asked), *self._together()]
        if self.least is None and self.least_gap is None and all(row.least is None for row in self.together):
            said += self._others(asked)
        for rows, what in ((self.rows, "Larger vents are"), (self.gaps, "Wider rail gaps are")):
            if depths := [f"{decimals(1e3 * row.depth)} mm" for row in rows if not row.monotone]:
                said.append(f"{what} not always better at {', '.join(depths)}.")
        return tuple(said)

    @property
    def sentence(self) -> str:
        """`sentences` as one text."""
        return " ".join(self.sentences)

    def _vents(self, asked: str) -> list[str]:
        least = self.least
        if least is None or least.least is None:
            tried = [row.value(outcome) for row in self.rows for outcome in row.outcomes]
            depths = [row.depth for row in self.rows]
            best = min((row.best for row in self.rows if row.best is not None), key=lambda outcome: outcome.order)
            where = f" in {best.column}" if best.column else ""
            return [
                f"No vent area meets every criterion{asked}: tried were {decimals(min(tried), 2)} to "
                f"{decimals(max(tried), 2)} × the design area at {decimals(1e3 * min(depths))} to "
                f"{decimals(1e3 * max(depths))} mm. The safest ({decimals(best.factor, 2)} ×, "
                f"{decimals(1e3 * best.depth)} mm) is limited{where} by: "
                f"{best.decisive.sentence if best.decisive else best.failure}"
            ]
        amount = f"{decimals(least.least, 2)} × the design area ({self.areas(least.least)})"
        at = f"at a depth of {decimals(1e3 * least.depth)} mm"
        if least.at_floor:
            text = f"Even {amount}, the smallest tried, meets every criterion{asked} {at}: no minimum was found."
        else:
            text = f"The minimum free vent area that meets every criterion{asked} is {amount}, {at}."
        if self.least_depth is not None:
            vents = (
                ""
                if self.least_depth_factor == least.least
                else f" with {decimals(self.least_depth_factor, 2)} × the vents"
            )
            if self.least_depth <= min(row.depth for row in self.rows):
                text += f" A depth of {decimals(1e3 * self.least_depth)} mm, the smallest tried, passes{vents}."
            else:
                text += f" The minimum depth is {decimals(1e3 * self.least_depth)} mm{vents}."
        said = [text]
        if below := self.below_rules(least.depth, least.least):
            said.append(f"The smallest vents are below common sizes (DIN 18516-1, read second-hand): {below}.")
        return said

    def _gaps(self, asked: str) -> list[str]:
        if not self.gaps:
            return []
        tried = [row.value(outcome) for row in self.gaps for outcome in row.outcomes]
        if not tried:
            return ["Rail gaps: not computed."]
        least = self.least_gap
        if least is None or least.least is None:
            return [
                f"With the vents as drawn, no gap at the rail ends from {gap_text(min(tried))} to "
                f"{gap_text(max(tried))} meets every criterion{asked}."
            ]
        if all(row.least is None or row.at_floor for row in self.gaps):
            depths = _listed([f"{decimals(1e3 * row.depth)} mm" for row in self.gaps if row.least is not None])
            return [
                f"With the vents as drawn, a gap of {gap_text(least.least)} at the rail ends, the smallest tried, "
                f"meets every criterion{asked} at a depth of {depths}."
            ]
        parts = [
            f"{gap_text(row.least)}{' (the smallest tried)' if row.at_floor else ''} at {decimals(1e3 * row.depth)} mm"
            for row in self.gaps
            if row.least is not None
        ]
        text = f"With the vents as drawn, the gaps at the rail ends must be at least {_listed(parts)} depth{asked}"
        if none := [f"{decimals(1e3 * row.depth)} mm" for row in self.gaps if row.least is None and row.outcomes]:
            text += f"; none up to {gap_text(max(tried))} passes at {_listed(none)}"
        return [text + "."]

    def _together(self) -> list[str]:
        rows = [row for row in self.together if row.outcomes]
        if not rows:
            return []
        parts = []
        for row in rows:
            assert row.line.gap is not None
            gap = gap_text(row.line.gap)
            if row.least is None:
                parts.append(f"{gap}: no vents pass")
            else:
                parts.append(f"{gap}: {decimals(row.least, 2)} ×{' or less' if row.at_floor else ''}")
        depth = decimals(1e3 * rows[0].depth)
        ends = [gap_text(row.line.gap) for row in (rows[0], rows[-1]) if row.line.gap is not None]
        if all(row.least is None for row in rows):
            return [f"At {depth} mm depth no vents pass with any rail gap from {' to '.join(ends)}."]
        if all(row.at_floor for row in rows):
            return [f"At {depth} mm depth the smallest vents tried pass with every rail gap from {' to '.join(ends)}."]
        return [f"Vents needed for each rail gap, at {depth} mm: {'; '.join(parts)}."]

    def _others(self, asked: str) -> list[str]:
        if not self.variants:
            what = (
                "The cavity has no blind ends to vent, and the wall file lists no variant of a layer; cavity advise "
                "tries finish, membranes, rain and air leakage"
            )
            return [
                f"No opening helps{asked}: vents{', rail gaps' if self.gaps else ''} and depths were tried. {what}."
            ]
        said = []
        for name, row in self.variants:
            if row.least is None:
                said.append(f"With {name} it does not pass either: {row.held_back_by}")
            elif row.at_floor:
                said.append(
                    f"With {name} it passes already with {value_text('factor', row.least)}, the smallest tried."
                )
            else:
                said.append(f"With {name} it passes from {value_text('factor', row.least)} on.")
        if all(row.least is None for _, row in self.variants):
            tried = "vents, rail gaps" if self.gaps else "vents"
            said.insert(0, f"No opening helps{asked}: {tried}, depths and what follows were tried.")
        return said


def assess(point: Point, parts: Sequence[Part], *, margin: float, accept: str, several: bool = False) -> Outcome:
    """Return the outcome of one case: passing means no status worse than `accept` and severity <= 1 - margin.

    Parameters
    ----------
    point : Point
        The case.
    parts : sequence of Part
        One a strip, with its findings; all computed.
    margin : float, keyword only
        Distance to keep from every limit, as a fraction of it. [1]
    accept : {"review", "pass"}, keyword only
        Worst status that passes.
    several : bool, keyword only
        Whether the wall has several strips, so that the one that decides is named.

    Returns
    -------
    Outcome
    """
    choice = Choice("", point.depth, point.factor, tuple(parts))
    near = choice.severity > 1.0 - margin
    passes = not near and level(choice.status) <= level(accept)
    pairs = [(part, finding) for part in parts for finding in part.findings]
    if near:
        of_limits = [pair for pair in pairs if pair[1].key in CAN_FAIL]
        part, finding = max(of_limits, key=lambda pair: (level(pair[1].status), severity(pair[1].ratio)))
    else:
        part, finding = choice.decides or pairs[0]
    return Outcome(point, choice.severity, passes, finding, part.column if several else "", choice.order)


def search(
    evaluate: Callable[[list[Point]], list[Outcome]],
    lines: Sequence[Point],
    values: Sequence[float] = PROBES,
    *,
    variable: str = "factor",
    floor: float | None = None,
) -> tuple[Row, ...]:
    """Find the least passing value along each line.

    Parameters
    ----------
    evaluate : callable
        Takes a list of points and returns their outcomes in the same order; called with batches. An outcome with a
        `failure` is excluded from the search, and its neighbours are tried instead.
    lines : sequence of Point
        What is held, such as one point a depth.
    values : sequence of float
        Values to probe first. [1 or m]
    variable : {"factor", "gap"}, keyword only
        What of the point is searched.
    floor : float, keyword only
        How far down to go where the smallest value passes; None: not below the smallest of `values`. [1 or m]

    Returns
    -------
    tuple of Row
        By depth, gap and factor.

    Notes
    -----
    Bisection (geometric) in the lowest bracket that fails below and passes above. It finds the least passing value if
    passing is ordered between the probes; the row says whether severity was ordered at the probes. With no passing
    probe and the optimum between two probes, the neighbourhood of the optimum is halved twice before giving up.
    """
    probes = sorted(set(values))
    lines = list(dict.fromkeys(lines))
    known: dict[Point, dict[float, Outcome]] = {line: {} for line in lines}
    failed: dict[Point, dict[float, str]] = {line: {} for line in lines}

    def run(batch: list[tuple[Point, float]]) -> None:
        points = [line._replace(**{variable: value}) for line, value in batch]
        for outcome, (line, value) in zip(evaluate(points), batch, strict=True):
            if outcome.failure:
                failed[line][value] = outcome.failure
            else:
                known[line][value] = outcome

    run([(line, value) for line in lines for value in probes])
    for _ in range(_REFINEMENTS):
        batch = []
        for line in lines:
            tried = sorted(known[line])
            if not tried or any(known[line][value].passes for value in tried):
                continue
            at = min(range(len(tried)), key=lambda i: known[line][tried[i]].order)
            if 0 < at < len(tried) - 1:
                halved = (tried[at - 1] * tried[at]) ** 0.5, (tried[at] * tried[at + 1]) ** 0.5
                batch += [(line, value) for value in halved if value not in failed[line]]
        if not batch:
            break
        run(batch)
    while floor is not None:
        batch = []
        for line in lines:
            low = min((*known[line], *failed[line]))
            if low in known[line] and known[line][low].passes and low / _DOWN >= floor * (1.0 - 1e-9):
                batch.append((line, low / _DOWN))
        if not batch:
            break
        run(batch)
    while True:
        batch = []
        for line in lines:
            bracket = _bracket(known[line])
            if bracket is not None and bracket[1] / bracket[0] > _AREA_TOLERANCE:
                splits = (bracket[0] * (bracket[1] / bracket[0]) ** part for part in _SPLITS)
                batch += [(line, value) for value in splits if value not in failed[line]][:1]
        if not batch:
            break
        run(batch)
    rows = [_row(line, variable, known[line], failed[line]) for line in lines]
    return tuple(sorted(rows, key=lambda row: (row.depth, row.line.gap or 0.0, row.line.factor)))


def _bracket(tried: dict[float, Outcome]) -> tuple[float, float] | None:
    """Return the lowest neighbours of which the smaller fails and the larger passes; None if there are none."""
    values = sorted(tried)
    for low, high in itertools.pairwise(values):
        if not tried[low].passes and tried[high].passes:
            return low, high
        if tried[low].passes:
            return None  # the smallest tried passes already
    return None


def _row(line: Point, variable: str, tried: dict[float, Outcome], failed: dict[float, str]) -> Row:
    outcomes = tuple(tried[value] for value in sorted(tried))
    missing = tuple((value, failed[value]) for value in sorted(failed))
    if not outcomes:
        note = f"Not computed: {missing[0][1]}."
        return Row(line, variable, None, True, note, (), missing, note)

    def text(value: float) -> str:
        return value_text(variable, value)

    values = sorted(tried)
    passing = [value for value in values if tried[value].passes]
    low = values[0]
    monotone, rise = True, ""
    for value in values:  # largest rise above the lowest severity at anything smaller
        if tried[value].severity < tried[low].severity:
            low = value
        elif tried[value].severity > tried[low].severity + NOISE:
            monotone = False
            ends = " to ".join(f"{decimals(tried[end].severity, 2)} at {text(end)}" for end in (low, value))
            rise = f"larger is not always better: the largest ratio to a limit rises from {ends}"
    if not passing:
        best = min(values, key=lambda value: tried[value].order)
        note = f"nothing passes; safest at {text(best)}"
    elif passing[0] == values[0]:
        note = f"{text(values[0])}, the smallest tried, passes"
    else:
        note = f"passes from {text(passing[0])} on"
    lost = [value for value in values if passing and value > passing[0] and not tried[value].passes]
    odd = [f"fails again at {text(lost[0])}"] if lost else []
    odd += [rise] if rise else []
    odd += [counted(len(outcomes), len(missing))] if missing else []
    remark = "; ".join(odd)
    note = _sentence("; ".join([note, *odd]))
    return Row(line, variable, passing[0] if passing else None, monotone, note, outcomes, missing, _sentence(remark))


def _sentence(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}." if text else ""


def _least_depth(evaluate: Callable[[list[Point]], list[Outcome]], rows: Sequence[Row]) -> tuple[float | None, float]:
    """Return the least depth that passes, and its factor: that which is safest at the next listed depth."""
    passing = [row for row in rows if row.least is not None]
    if not passing:
        return None, 1.0
    best = passing[0].best
    assert best is not None
    high, factor = passing[0].depth, best.factor
    below = [row.depth for row in rows if row.depth < high]
    if not below:
        return high, passing[0].least or factor
    low = below[-1]
    while high - low > _DEPTH_TOLERANCE:
        middle = 0.5 * (low + high)
        if evaluate([Point(middle, factor)])[
            0
        ].passes:  # a case not computed counts as one that does not: the safe side
            high = middle
        else:
            low = middle
    return high, factor


def size(
    wall: Wall,
    weather: xr.Dataset,
    *,
    opening_set: str | None = None,
    column: str | None = None,
    openings: Sequence[str] = (),
    depths: Sequence[float] = (),
    factors: Sequence[float] = PROBES,
    gaps: Sequence[float] = GAPS,
    margin: float = 0.0,
    accept: str = "review",
    workers: int | None = None,
    scheduler: str | None = None,
    fresh: bool = False,
    progress: Callable[[int, int, str], None] | None = None,
) -> Sizing:
    """Find the least vents, rail gaps and depth with which every strip of a wall meets every criterion.

    Parameters
    ----------
    wall : Wall
    weather : xarray.Dataset, (time,)
        From `read_weather`.
    opening_set : str, keyword only
        Which set to scale; None: the first.
    column : str, keyword only
        Which column to judge; None: all of them must pass.
    openings : sequence of str, keyword only
        Openings of the set to scale; none: all.
    depths : sequence of float, keyword only
        Depths to search; none: those of the wall file. [m]
    factors : sequence of float, keyword only
        Scales of the openings to probe. [1]
    gaps : sequence of float, keyword only
        Gaps at the rail ends to probe, besides those drawn; none: rail gaps are not searched. [m]
    margin : float, keyword only
        Distance to keep from every limit, as a fraction of the limit. [1]
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
        If a name is not known, or margin, factors, gaps or depths are out of range.
    ConvergenceError
        If no case at the depths asked for can be solved.
    """
    faults: list[Fault] = []
    try:
        set_name = wall.case(opening_set=opening_set, column=column).opening_set.name
    except InputError as error:
        set_name = ""
        faults.extend(error.faults)
    columns = [column] if column else [strip.name for strip in wall.columns]
    searched = sorted(set(depths) or set(wall.depths) or {wall.cavity.depth})
    if not 0.0 <= margin < 1.0:
        faults.append(Fault("margin", "out of range", f"{margin:g}", "0 to below 1", "10 % is written 0.1"))
    if accept not in ("review", "pass"):
        faults.append(Fault("accept", "not known", accept, "review, pass", "use one of these"))
    if not factors or min(factors) <= 0.0:
        faults.append(Fault("factors", "each must be above 0", str(list(factors)), "such as 0.25, 0.5, 1, 2", "drop 0"))
    if gaps and not (min(gaps) > 0.0 and max(gaps) <= WIDEST):
        fix = slip(max(gaps), "m", 1e-4, WIDEST) or "drop 0"
        faults.append(Fault("gaps", "each must be above 0, at most 1 m", str(list(gaps)), "such as 0.0064 m", fix))
    for depth in searched:
        try:
            wall.case(depth=depth)
        except InputError as error:
            faults.extend(fault for fault in error.faults if fault not in faults)
    if faults:
        raise InputError(*faults)
    scale_openings(wall, set_name, 1.0, openings)  # unknown openings are reported before any run
    rails = rails_of(wall, set_name) if gaps else ()
    drawn_gaps = {rail.gap for rail in rails}
    widths = sorted({min(gap, max(widest_gap(rail) for rail in rails)) for gap in gaps} | drawn_gaps) if rails else []
    counts = [0, 0]  # cases done, cases asked for
    failed: list[tuple[str, str]] = []

    with Engine(workers, scheduler, fresh=fresh) as engine:

        def batch_of(base: Wall) -> Callable[[list[Point]], list[Outcome]]:
            def built(point: Point) -> Wall:
                changed = scale_openings(base, set_name, point.factor, openings)
                return changed if point.gap is None else with_gap(changed, set_name, point.gap)

            def evaluate(batch: list[Point]) -> list[Outcome]:
                jobs = [
                    Job(changed.case(opening_set=set_name, depth=point.depth, column=name), weather)
                    for point, changed in ((point, built(point)) for point in batch)
                    for name in columns
                ]
                done = [0]

                def on_run(_done: int, _count: int, _result: Result) -> None:
                    done[0] += 1
                    if done[0] % len(columns) == 0:
                        counts[0] += 1
                        if progress:
                            progress(counts[0], counts[1], "search")

                counts[1] += len(batch)
                results = engine.run(jobs, keep="findings", progress=on_run)
                return [
                    outcome(point, results[at * len(columns) : (at + 1) * len(columns)])
                    for at, point in enumerate(batch)
                ]

            return evaluate

        def outcome(point: Point, results: Sequence[Result]) -> Outcome:
            lost = next((result.failure for result in results if result.failure), "")
            if lost:
                failed.append((point_text(point), lost))
                return Outcome(point, math.nan, False, None, failure=lost)
            climate = str(weather.attrs.get("name", ""))
            parts = [
                Part(climate, name, wall.orientation, result.findings)
                for name, result in zip(columns, results, strict=True)
            ]
            return assess(point, parts, margin=margin, accept=accept, several=len(wall.columns) > 1)

        evaluate = batch_of(wall)
        rows = search(evaluate, [Point(depth) for depth in searched], factors, floor=FLOOR)
        if not any(row.outcomes for row in rows):
            raise ConvergenceError(f"none of the {counts[1]} cases could be computed; the first: {failed[0][1]}")
        least_depth, at_factor = _least_depth(evaluate, rows)
        drawn_depth = min(searched, key=lambda depth: (abs(depth - wall.cavity.depth), depth))
        by_gap: tuple[Row, ...] = ()
        together: tuple[Row, ...] = ()
        if widths:
            by_gap = search(evaluate, [Point(depth) for depth in searched], widths, variable="gap")
            together = search(evaluate, [Point(drawn_depth, gap=gap) for gap in widths], factors, floor=FLOOR)
        others: list[tuple[str, Row]] = []
        if all(row.least is None for row in (*rows, *by_gap, *together)):
            ends = blind_ends(wall, set_name, columns)
            line = [Point(drawn_depth, gap=widths[-1] if widths else None)]
            tried: list[tuple[str, Wall]] = []
            if ends:
                vents = ", ".join(dict.fromkeys(end.vent for end in ends))
                tried.append((f"vents at the blind ends ({vents})", with_vents(wall, set_name, ends)))
            tried += [(f"the variant {name!r}", with_variant(wall, name)) for name in variants_of(wall)]
            wide = f" and rail gaps of {gap_text(widths[-1])}" if widths else ""
            others = [
                (f"{name}{wide}", search(batch_of(changed), line, factors, floor=FLOOR)[0]) for name, changed in tried
            ]
    drawn = [
        (opening.name, opening.free_area)
        for opening in wall.opening_set(set_name).openings
        if (not openings or opening.name in openings)
        and any(wall.column(name).serves(opening.columns) for name in columns)
    ]
    return Sizing(
        wall.name, str(weather.attrs.get("name", "")), set_name, ", ".join(columns), margin, accept,
        tuple(dict.fromkeys(drawn)), rows, least_depth, tuple(others), tuple(failed), counts[1], by_gap, together,
        _halves(wall, set_name, columns, openings), at_factor,
    )  # fmt: skip


def _halves(
    wall: Wall, opening_set: str, columns: Iterable[str], openings: Sequence[str]
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return of the lower and the upper half what is scaled and what is not."""
    names = list(columns)
    whole = halves(wall, opening_set, names)
    twice = halves(scale_openings(wall, opening_set, 2.0, openings), opening_set, names)
    scaled = [doubled - once for once, doubled in zip(whole, twice, strict=True)]
    return (scaled[0], whole[0] - scaled[0]), (scaled[1], whole[1] - scaled[1])


def point_text(point: Point) -> str:
    """Return a point in words."""
    text = f"{millimetres(point.depth)}, {value_text('factor', point.factor)}"
    return text if point.gap is None else f"{text}, rail gaps {gap_text(point.gap)}"
