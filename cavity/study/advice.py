"""Advice: what to change first, said only from differences that were computed.

Each change of the wall is simulated and judged like the wall itself; nothing here is a rule of thumb.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from cavity.errors import ConvergenceError
from cavity.risk import CAN_FAIL, Finding, worst_first
from cavity.risk.finding import number
from cavity.study.changes import scale_openings, with_variant
from cavity.study.engine import Engine, Job, Result

if TYPE_CHECKING:
    import xarray as xr

    from cavity.study.compare import Comparison
    from cavity.wallfile.model import Wall

_HARDLY = (
    0.02  # severity or status must move by this share of the limit to be called a change: noise of the years, float32
)


def severity_of(findings: Iterable[Finding]) -> tuple[float, Finding]:
    """Return the largest ratio among the findings that can fail, and the finding that has it. [1]."""
    decisive = max((found for found in findings if found.key in CAN_FAIL), key=lambda found: found.ratio)
    return decisive.ratio, decisive


@dataclass(frozen=True)
class Change:
    """One change to try: what it is called, the changed wall, and the case of it."""

    label: str
    wall: Wall
    opening_set: str
    depth: float  # m


@dataclass(frozen=True)
class Advice:
    """What one change does.

    Parameters
    ----------
    label : str
        The change, as the start of a sentence.
    gain : float
        Fall of severity (largest ratio of value to limit among what can fail); above 0 is better. [1]
    status_before, status_after : str
        Worst status among all findings.
    moves : bool
        Whether it moves anything by more than noise.
    sentence : str
        The change and what it moves, in plain words.
    place : str
        Climate and column, such as ``"in Harbour, plain"``; empty where there is one of each.
    failure : str
        Why the change could not be computed; empty where it was. Its gain is not a number then.
    """

    label: str
    gain: float
    moves: bool
    status_before: str
    status_after: str
    sentence: str
    place: str = ""
    failure: str = ""


def compare_findings(label: str, before: Sequence[Finding], after: Sequence[Finding], place: str = "") -> Advice:
    """Return what a change does, from the findings before and after it.

    The sentence gives the criterion that decides before the change and the 30-day relative humidity; other criteria
    that begin or cease to fail are named.

    Parameters
    ----------
    label : str
        The change, as the start of a sentence, e.g. ``"doubling the base slot"``.
    before, after : sequence of Finding
        Of the same criteria.
    place : str
        Climate and column, named first.

    Returns
    -------
    Advice
    """
    severity, decisive = severity_of(before)
    gain = severity - severity_of(after)[0]
    worst_before, worst_after = worst_first(before)[0], worst_first(after)[0]
    moved = []
    for key in dict.fromkeys((decisive.key, "humidity")):
        old, new = _worst_of(before, key), _worst_of(after, key)
        if old is not None and new is not None and abs(old.ratio - new.ratio) >= _HARDLY:
            digits = 0 if max(abs(old.value), abs(new.value)) >= 20.0 else 1
            moved.append(
                f"{old.title[0].lower()}{old.title[1:]} at {new.where} from {number(old.value, digits)} to "
                f"{number(new.value, digits)}{' ' + new.units if new.units else ''}"
            )
    lead = f"{place}: {label}" if place else label
    text = f"{lead[0].upper()}{lead[1:]} "
    text += f"moves {' and '.join(moved)}" if moved else "changes little"
    fixed = [title for title in _failing(before) if title not in _failing(after)]
    caused = [title for title in _failing(after) if title not in _failing(before)]
    if fixed:
        text += f"; {_listed(fixed)} no longer {'fails' if len(fixed) == 1 else 'fail'}"
    if caused:
        text += f"; {_listed(caused)} then {'fails' if len(caused) == 1 else 'fail'}"
    if not fixed and not caused and worst_before.status != worst_after.status:
        text += f"; the verdict goes from {worst_before.status} to {worst_after.status}"
    moves = bool(moved or fixed or caused or worst_before.status != worst_after.status)
    return Advice(label, gain, moves, worst_before.status, worst_after.status, text + ".", place)


def not_computed(label: str, failure: str) -> Advice:
    """Return what stands for a change that could not be computed."""
    text = f"Not computed: {label} ({failure.rstrip('.')})."
    return Advice(label, math.nan, False, "", "", text, failure=failure)


def _worst_of(findings: Sequence[Finding], key: str) -> Finding | None:
    return next((found for found in worst_first(findings) if found.key == key), None)


def _failing(findings: Sequence[Finding]) -> list[str]:
    titles = (found.title for found in findings if found.status == "fail" and found.key in CAN_FAIL)
    return [title[0].lower() + title[1:] for title in dict.fromkeys(titles)]


def _listed(items: Sequence[str]) -> str:
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}"


def ranked(advice: Sequence[Advice]) -> tuple[Advice, ...]:
    """Return the advice, most helpful first; what could not be computed last."""
    return tuple(sorted(advice, key=lambda each: math.inf if each.failure else -each.gain))


def lines(advice: Sequence[Advice], most: int = 4) -> tuple[str, ...]:
    """Return advice as sentences: the most helpful, the most harmful, and in one line what changes little.

    Parameters
    ----------
    advice : sequence of Advice
    most : int
        Helpful changes told at most. [1]

    Returns
    -------
    tuple of str
    """
    told = [each for each in ranked(advice) if each.moves]
    helpful = [each for each in told if each.gain >= 0.0][:most]
    harmful = [each for each in told if each.gain <= -_HARDLY][-1:]
    idle: dict[str, list[str]] = {}
    for each in ranked(advice):
        if not each.moves and not each.failure:
            idle.setdefault(each.place, []).append(each.label)
    text = [each.sentence for each in helpful]
    text += [f"Worse: {each.sentence}" for each in harmful]
    for place, labels in idle.items():
        where = f"{place[0].upper()}{place[1:]}, little" if place else "Little"
        text.append(f"{where} is changed by {_listed(labels)}.")
    text += [each.sentence for each in advice if each.failure]
    return tuple(text)


def from_comparison(comparison: Comparison) -> tuple[Advice, ...]:
    """Return what other opening sets and depths do, from the cases already computed.

    The base in each climate and column is the first opening set at the depth nearest to that of the wall; every other
    set at that depth, and every other depth with that set, is compared with it.

    Parameters
    ----------
    comparison : Comparison
        With all its cases.

    Returns
    -------
    tuple of Advice
        Most helpful first; the climate and column are named where there are several.
    """
    made: list[Advice] = []
    places = dict.fromkeys((case.climate_name, case.column) for case in comparison.cases)
    for climate, column in places:
        cases = [case for case in comparison.cases if (case.climate_name, case.column) == (climate, column)]
        drawn = comparison.wall.cavity.depth
        base = min(
            (case for case in cases if case.opening_set == cases[0].opening_set),
            key=lambda case: abs(case.depth - drawn),
        )
        place = "" if len(places) == 1 else f"in {climate}, {column}" if _several_columns(places) else f"in {climate}"
        for case in cases:
            if case is base or (case.depth != base.depth and case.opening_set != base.opening_set):
                continue
            if case.depth == base.depth:
                label = f"changing the openings from {base.opening_set!r} to {case.opening_set!r}"
            else:
                verb = "deepening" if case.depth > base.depth else "reducing"
                label = f"{verb} the cavity from {number(1e3 * base.depth)} to {number(1e3 * case.depth)} mm"
            made.append(compare_findings(label, base.findings, case.findings, place))
    return ranked(made)


def _several_columns(places: Iterable[tuple[str, str]]) -> bool:
    return len({column for _, column in places}) > 1


def changes_of(wall: Wall, opening_set: str, depth: float, column: str) -> tuple[Change, ...]:
    """Return the changes to try: each opening doubled, all doubled, all halved, a deeper cavity, rail gaps, variants.

    Parameters
    ----------
    wall : Wall
    opening_set, column : str
        The case.
    depth : float
        Cavity depth of the case. [m]

    Returns
    -------
    tuple of Change
        The deeper cavity is the next depth of the wall file, else double the depth. A barrier is not opened: it is
        there for fire.
    """
    chosen = wall.opening_set(opening_set)
    served = [each.name for each in chosen.openings if not each.columns or column in each.columns]
    changes = [
        Change(f"doubling the {name}", scale_openings(wall, opening_set, 2.0, [name]), opening_set, depth)
        for name in served
    ]
    if len(served) > 1:
        changes.append(Change("doubling all openings", scale_openings(wall, opening_set, 2.0), opening_set, depth))
    if served:
        changes.append(Change("halving all openings", scale_openings(wall, opening_set, 0.5), opening_set, depth))
    deeper = min((each for each in wall.depths if each > depth * 1.001), default=2.0 * depth)
    label = f"deepening the cavity from {number(1e3 * depth)} to {number(1e3 * deeper)} mm"
    changes.append(Change(label, wall, opening_set, deeper))
    rails = wall.rails if chosen.rails is None else chosen.rails
    if rails:
        wider = tuple(replace(rail, gap=min(2.0 * rail.gap, rail.bay)) for rail in rails)
        sets = tuple(
            replace(each, rails=wider) if each.name == opening_set and each.rails is not None else each
            for each in wall.opening_sets
        )
        changed = replace(wall, rails=wider if chosen.rails is None else wall.rails, opening_sets=sets)
        changes.append(Change("doubling the gaps of the rails", changed, opening_set, depth))
    changes += [
        Change(f"the variant {name!r}", with_variant(wall, name), opening_set, depth)
        for name in dict.fromkeys(variant for variant, _, _ in wall.variants)
    ]
    return tuple(changes)


def advise(
    wall: Wall,
    weather: xr.Dataset,
    *,
    opening_set: str | None = None,
    depth: float | None = None,
    column: str | None = None,
    workers: int | None = None,
    scheduler: str | None = None,
    fresh: bool = False,
    progress: Callable[[int, int, str], None] | None = None,
) -> tuple[Advice, ...]:
    """Try the changes of `changes_of` on one case and say what each does.

    Parameters
    ----------
    wall : Wall
    weather : xarray.Dataset, (time,)
        From `read_weather`.
    opening_set, depth, column : keyword only
        The case, as for `simulate`. [depth: m]
    workers : int, keyword only
        Threads; None: one for each core.
    scheduler : str, keyword only
        Address of a dask scheduler, ``tcp://host:port``, whose workers compute instead.
    fresh : bool, keyword only
        Compute every case, also those kept from earlier.
    progress : callable, keyword only
        Called after each run with runs done, all runs, and the change tried.

    Returns
    -------
    tuple of Advice
        Most helpful first; changes that could not be computed last, with the reason.

    Raises
    ------
    ConvergenceError
        If the case itself cannot be solved: there is nothing to compare with.
    """
    name = opening_set or wall.opening_sets[0].name
    at = wall.cavity.depth if depth is None else depth
    column_name = column or wall.columns[0].name
    changes = (Change("", wall, name, at), *changes_of(wall, name, at, column_name))
    jobs = [Job(change.wall, weather, change.opening_set, change.depth, column_name) for change in changes]
    label_of = {id(job): change.label for job, change in zip(jobs, changes, strict=True)}

    def told(done: int, count: int, result: Result) -> None:
        if progress:
            progress(done, count, label_of[id(result.job)] or "as described")

    with Engine(workers, scheduler, fresh=fresh) as engine:
        base, *others = engine.run(jobs, keep="findings", progress=told)
    if base.failure:
        raise ConvergenceError(f"the case as described could not be computed: {base.failure}")
    return ranked(
        [
            not_computed(change.label, result.failure)
            if result.failure
            else compare_findings(change.label, base.findings, result.findings)
            for change, result in zip(changes[1:], others, strict=True)
        ]
    )
