"""Advice: what to change first, said only from differences that were computed.

Each change of the wall is simulated and judged like the wall itself, in every strip; nothing here is a rule of thumb,
but for one order. Where a compartment of the deciding strip has less than two vents, changes that let air through come
before changes of its layers: a tighter membrane before a dead compartment improves the figures of the layers behind it
and leaves the cause (common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

from cavity.constants import INSULATION
from cavity.errors import ConvergenceError
from cavity.finding_words import decimals, lower_title, place_in_words
from cavity.risk.finding import CAN_FAIL, Finding
from cavity.risk.ranking import NOISE, Choice, Part, gravity, level, order, severity
from cavity.risk.recommend import CLOGGED, least_bad, recommend
from cavity.study.changes import (
    INCH,
    blind_ends,
    gap_text,
    rails_of,
    scale_openings,
    stem,
    variants_of,
    vents_of,
    widest_gap,
    with_gap,
    with_variant,
    with_vents,
)
from cavity.study.engine import Engine, Job, Result

if TYPE_CHECKING:
    import xarray as xr

    from cavity.wallfile.model import Layer, Wall

_SAME = 0.05  # times the larger effect: effects that differ by less are reported in one sentence
_AIR = ("openings", "vents", "compartments", "rails", "depth")  # families of changes that let air through
_PALE, _DARK = 0.3, 0.9  # solar absorptance of a white and of a dark finish; common practice, no source
_OPENER, _TIGHTER = 0.2, 5.0  # times the s_d of a membrane, as tried


class Label(NamedTuple):
    """What a change is called: the start of a sentence, of which `short` distinguishes it from others of its kind."""

    lead: str
    short: str
    tail: str = ""

    def __str__(self) -> str:
        return self.lead + self.short + self.tail


_UNNAMED = Label("", "")


@dataclass(frozen=True)
class Change:
    """One change to try: what it is called, of which family, the changed wall, and the case of it."""

    label: Label
    family: str
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
        Fall of the ratio of value to limit of the criterion that decides, in the strip that decides; above 0 is better.
        [1]
    moves : bool
        Whether it changes anything by more than noise.
    status_before, status_after : str
        Status of the whole wall: pass, review or fail.
    sentence : str
        The change and what it lowers or raises, from what to what and where, in plain words.
    effect : str
        The same without the change.
    family : str
        Kind of change: openings, vents, compartments, rails, depth, finish, layers, rain, leakage.
    key : tuple
        Sorts advice, the most helpful first.
    before, after : float
        Value of the criterion that decides, as people write it. [`Finding.shown`]
    start : str
        Where the advice starts from, in words.
    column : str
        The strip that decides.
    failure : str
        Why the change could not be computed; empty where it was. Its gain is not a number then.
    parts : Label
        The label in parts, so that changes of a kind can be named together.
    """

    label: str
    gain: float
    moves: bool
    status_before: str
    status_after: str
    sentence: str
    effect: str = ""
    family: str = ""
    key: tuple[object, ...] = ()
    before: float = math.nan
    after: float = math.nan
    start: str = ""
    column: str = ""
    failure: str = ""
    parts: Label = _UNNAMED


# ---- words -----------------------------------------------------------------------------------------------------------
def _digits(*values: float, limit: float | None = None) -> int:
    """Return the decimals with which values are distinguished, also from the limit: 0 from 100 on, else 1 or 2."""
    finite = [abs(value) for value in values if math.isfinite(value)]
    digits = 0 if max(finite, default=0.0) >= 100.0 else 1
    apart = set(finite) | ({limit} if limit is not None else set())
    return digits + (len(apart) > 1 and len({decimals(value, digits) for value in apart}) < len(apart))


def _listed(items: Sequence[str], word: str = "and") -> str:
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} {word} {items[-1]}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _in(part: Part, like: Choice) -> str:
    """Return which climate, strip and orientation a part is, of those of which the choice has several."""
    words = []
    for name, text in (("climate", "in {}"), ("column", "strip “{}”"), ("orientation", "facing {:g}°")):
        if len({getattr(other, name) for other in like.parts}) > 1:
            words.append(text.format(getattr(part, name)))
    return ", ".join(words)


def _failing(choice: Choice) -> dict[str, Finding]:
    """Return the worst failing finding of each criterion that fails anywhere, by its key."""
    failing: dict[str, Finding] = {}
    for part in choice.parts:
        for finding in part.findings:
            if finding.status == "fail" and finding.key in CAN_FAIL:
                failing[finding.key] = max(failing.get(finding.key, finding), finding, key=gravity)
    return failing


def starting_point(base: Choice) -> str:
    """Return where advice starts from: the choice, its status and what decides it, at which plane."""
    text = f"“{base.opening_set}” with a {decimals(1e3 * base.depth)} mm cavity"
    if base.decides is None:
        return f"Starting from {text}: no criterion was assessed."
    part, finding = base.decides
    value, limit, units = finding.shown
    digits = _digits(value, limit=limit)
    units = f" {units}" if units else ""
    word = {"fail": "fails", "review": "needs review", "pass": "passes"}.get(base.status, base.status)
    strip = _in(part, base)
    where = f", {strip}" if strip else ""
    return (
        f"Starting from {text}, which {word}{where}: {lower_title(finding)} {place_in_words(finding)} "
        f"{decimals(value, digits)}{units} ({finding.threshold} {decimals(limit, digits)}{units})."
    )


# ---- one change ------------------------------------------------------------------------------------------------------
def compare_choices(
    label: Label | str, before: Choice, after: Choice, *, family: str = "", dead: bool = False
) -> Advice:
    """Return what a change does, from all findings before and after it.

    The sentence gives the criterion and the strip that decide before the change, or, where the status gets worse, after
    it; other criteria that begin or cease to fail, and other strips that still fail, are named.

    Parameters
    ----------
    label : Label or str
        The change, as the start of a sentence, e.g. ``"doubling the base slot"``.
    before, after : Choice
        Of the same climates, strips and orientations, all computed.
    family : str, keyword only
        Kind of change.
    dead : bool, keyword only
        Whether the deciding strip has a compartment through which no air can pass.

    Returns
    -------
    Advice
    """
    named, label = (label, str(label)) if isinstance(label, Label) else (Label("", label), label)
    if before.decides is None:
        raise ValueError("there is no finding to start from")
    part, old = before.decides
    if level_of(after) > level_of(before) and after.decides is not None:  # what gets worse matters more
        part, old = after.decides
        old = _same(before, part.name, old.key) or before.decides[1]
    same = next(candidate for candidate in after.parts if candidate.name == part.name)
    new = _same(after, part.name, old.key) or old
    drop = severity(old.ratio) - severity(new.ratio)
    gain = 0.0 if math.isnan(drop) else drop
    failed, fails = _failing(before), _failing(after)
    fixed = [lower_title(failed[key]) for key in failed if key not in fails]
    caused = [lower_title(fails[key]) for key in fails if key not in failed]
    changed = abs(gain) >= NOISE
    was, (now, bound, units) = old.shown.value, new.shown
    digits = _digits(was, now, limit=bound) if changed else _digits(was)
    units = f" {units}" if units else ""
    strip = _in(part, before)
    if changed:
        verb = "lowers" if gain > 0.0 else "raises"
        start, end = place_in_words(old), place_in_words(new)
        limit = f"{new.threshold} {decimals(bound, digits)}"
        values = decimals(was, digits), f"{decimals(now, digits)}{units}"
        if start == end:
            comma = "," if ", " in start else ""
            effect = f"{verb} the {lower_title(old)} {start}{comma} from {values[0]} to {values[1]} ({limit})"
        else:
            effect = f"{verb} the {lower_title(old)} from {values[0]} ({start}) to {values[1]} ({end}; {limit})"
    else:
        effect = f"hardly changes the {lower_title(old)} ({decimals(was, digits)}{units})"
    effect += f", {strip}" if strip else ""
    if failed and not fails:
        effect += "; nothing fails any more" if after.computed else ""
    else:
        if fixed:
            effect += f"; {_listed(fixed)} no longer {'fails' if len(fixed) == 1 else 'fail'}"
        if caused:
            effect += f"; {_listed(caused)} then {'fails' if len(caused) == 1 else 'fail'}"
        if changed and gain > 0.0 and fails and new.status != "fail" and after.decides is not None:
            other, worst = after.decides
            still = _in(other, after) or place_in_words(worst)
            value = worst.shown.value
            effect += f"; {still} still fails ({lower_title(worst)} {decimals(value, _digits(value))})"
    crosses = level_of(after) - level_of(before)
    if crosses and not fixed and not caused:
        effect += f"; the wall goes from {before.status} to {after.status}"
    moves = bool(changed or fixed or caused or crosses)
    # the families that let air through first where a dead compartment decides and they help at all
    late = 0
    if dead:
        late = 0 if family == "compartments" and gain >= NOISE else 1 if family in _AIR else 2
    key = (late if gain > -NOISE else 3, level_of(after), order(same.findings), label)
    return Advice(
        label, gain, moves, before.status, after.status, f"{_capital(label)} {effect}.", effect, family, key,
        was, now, starting_point(before), part.column, parts=named,
    )  # fmt: skip


def _same(choice: Choice, name: tuple[str, str, float], key: str) -> Finding | None:
    """Return the worst finding of a criterion in the part of a choice that has this name; None where it has none."""
    findings = [
        finding for part in choice.parts if part.name == name for finding in part.findings if finding.key == key
    ]
    return max(findings, key=gravity, default=None)


def level_of(choice: Choice) -> int:
    """Return 0, 1 or 2 for pass, review and fail of a choice; one that was not computed whole counts as fail."""
    return 2 if choice.status == "none" else level(choice.status)


def not_computed(label: Label | str, failure: str, family: str = "") -> Advice:
    """Return the entry of a change that could not be computed."""
    label = str(label)
    text = f"Not computed: {label} ({failure.rstrip('.')})."
    return Advice(label, math.nan, False, "", "", text, family=family, key=(9,), failure=failure)


def ranked(advice: Sequence[Advice]) -> tuple[Advice, ...]:
    """Return the advice, most helpful first; what could not be computed last."""
    return tuple(sorted(advice, key=lambda item: (bool(item.failure), item.key)))


def helps(advice: Advice) -> bool:
    """Return whether a change helps by more than noise."""
    better = _level(advice.status_after) < _level(advice.status_before)
    return advice.moves and not advice.failure and (advice.gain >= NOISE or (advice.gain > -NOISE and better))


def _level(status: str) -> int:
    return {"pass": 0, "review": 1}.get(status, 2)


def lines(advice: Sequence[Advice], most: int = 4) -> tuple[str, ...]:
    """Return advice as sentences: the most helpful, the most harmful, and in one line what makes little difference.

    One sentence a family of changes: the best of it, with the other changes of the family that help in brackets.

    Parameters
    ----------
    advice : sequence of Advice
    most : int
        Helpful families at most. [1]

    Returns
    -------
    tuple of str
    """
    rest = [item for item in ranked(advice) if not item.failure]
    helpful = [item for item in rest if helps(item)]
    families: dict[str, list[Advice]] = {}
    for item in helpful:
        families.setdefault(item.family or item.label, []).append(item)
    text = [_family(members) for members in list(families.values())[:most]]
    harmful = [item for item in rest if item.moves and item.gain <= -NOISE]
    worst: dict[str, Advice] = {}
    for item in sorted(harmful, key=lambda item: (item.gain, item.label)):
        worst.setdefault(item.family or item.label, item)
    # a wall that fails needs to know what helps; one that passes, what it does not tolerate
    text += [f"Adverse: {item.label} {item.effect}." for item in list(worst.values())[: _adverse(rest)]]
    idle = [item for item in rest if not helps(item) and item not in harmful]
    if idle:
        kinds: dict[tuple[str, str], list[Advice]] = {}
        for item in sorted(idle, key=lambda item: item.family):
            kinds.setdefault((item.parts.lead or item.label, item.parts.tail), []).append(item)
        labels = [_together(members) for members in kinds.values()]
        verb = "makes" if len(labels) == 1 else "make"
        text.append(f"{_capital(_listed(labels))} {verb} little difference.")
    text += [item.sentence for item in advice if item.failure]
    return tuple(text)


def _adverse(advice: Sequence[Advice]) -> int:
    return 1 if any(item.status_before == "fail" for item in advice) else 3


def _together(members: Sequence[Advice]) -> str:
    """Return changes of a kind as one label: "doubling the base slot or the head slot"."""
    if len(members) == 1:
        return members[0].label
    shorts = [item.parts.short for item in members]
    units = {short.rpartition(" ")[2] for short in shorts}
    if len(units) == 1 and all(short[:1].isdigit() for short in shorts):  # "40 or 60 mm"
        unit = f" {units.pop()}"
        shorts = [*(short.removesuffix(unit) for short in shorts[:-1]), shorts[-1]]
    return members[0].parts.lead + _listed(shorts, "or") + members[0].parts.tail


def _family(members: Sequence[Advice]) -> str:
    """Return one sentence for the helpful changes of a family."""
    best, *others = members
    same = [item for item in others if abs(item.gain - best.gain) <= _SAME * abs(best.gain)]
    less = [item for item in others if item not in same]
    sentence = f"{_capital(best.label)} {best.effect}"
    digits = _digits(*(item.after for item in members))

    def name(item: Advice) -> str:
        like = item.parts.short and (item.parts.lead, item.parts.tail) == (best.parts.lead, best.parts.tail)
        return item.parts.short if like else item.label

    notes = [f"{_listed([name(item) for item in same])} about as much"] if same else []
    notes += [f"{name(item)}: to {decimals(item.after, digits)}" for item in less]
    return sentence + (f". Also {'; '.join(notes)}." if notes else ".")


# ---- a comparison ----------------------------------------------------------------------------------------------------
def from_choices(choices: Sequence[Choice]) -> tuple[Advice, ...]:
    """Return what other opening sets and depths do, from the cases already computed.

    The base is the recommended choice, or, where none can be recommended, the one that harms the wall least; every
    other set at its depth, and every other depth with its set, is compared with it, over all climates, strips and
    orientations.

    Parameters
    ----------
    choices : sequence of Choice
        All of a comparison, as `ranking.gather` returns them.

    Returns
    -------
    tuple of Advice
        Most helpful first.
    """
    choices = [choice for choice in choices if choice.computed and choice.decides]
    if not choices:
        return ()
    best = recommend(choices)
    base = best.choice if best else least_bad(choices)
    advice = []
    for choice in choices:
        if choice.variant != base.variant:
            if (choice.opening_set, choice.depth) == (base.opening_set, base.depth):
                advice.append(_to_variant(base, choice))
            continue
        if choice is base or (choice.depth != base.depth and choice.opening_set != base.opening_set):
            continue
        if choice.depth == base.depth:
            if choice.opening_set.endswith(CLOGGED) and not base.opening_set.endswith(CLOGGED):
                continue
            tail = f" instead of “{base.opening_set}” with a {decimals(1e3 * base.depth)} mm cavity"
            label = Label("using ", f"“{choice.opening_set}”", tail)
            advice.append(compare_choices(label, base, choice, family="openings"))
        else:
            change = depth_label(base.depth, choice.depth)
            label = Label(f"with “{base.opening_set}”, {change.lead}", change.short)
            advice.append(compare_choices(label, base, choice, family="depth"))
    return ranked(advice)


def _to_variant(base: Choice, other: Choice) -> Advice:
    label = Label("the variant ", f"“{other.variant}”") if other.variant else Label("the layers ", "as drawn")
    tail = f" with “{base.opening_set}” and a {decimals(1e3 * base.depth)} mm cavity"
    return compare_choices(label._replace(tail=tail), base, other, family="layers")


def depth_label(old: float, new: float) -> Label:
    """Return a change of the depth [m] in words."""
    verb = "deepening" if new > old else "reducing"
    return Label(f"{verb} the cavity from {decimals(1e3 * old)} to ", f"{decimals(1e3 * new)} mm")


# ---- the changes -----------------------------------------------------------------------------------------------------
def changes_of(
    wall: Wall, opening_set: str, depth: float, columns: Sequence[str], *, rain: bool = True
) -> tuple[Change, ...]:
    """Return the changes to try: openings, vents, blind ends, rails, depth, finish, layers, rain, leakage.

    Parameters
    ----------
    wall : Wall
    opening_set : str
        The set of the case.
    depth : float
        Cavity depth of the case. [m]
    columns : sequence of str
        Strips of the wall that are judged.
    rain : bool, keyword only
        Whether the weather has rain.

    Returns
    -------
    tuple of Change
        The deeper cavity is the next depth of the wall file, else double the depth. A barrier is not opened: it is
        there for fire. Vents above and below it lead outdoors.
    """
    changes: list[Change] = []

    def add(label: Label, family: str, changed: Wall, set_name: str = opening_set, deep: float = depth) -> None:
        changes.append(Change(label, family, changed, set_name, deep))

    for other in wall.opening_sets:
        if other.name != opening_set and not other.name.endswith(CLOGGED):
            label = Label("using ", f"“{other.name}”", f" instead of “{opening_set}”")
            add(label, "openings", wall, other.name)
    ends = blind_ends(wall, opening_set, columns)
    for name in dict.fromkeys(end.vent for end in ends):
        of_name = [end for end in ends if end.vent == name]
        add(Label("adding ", f"a {name}"), "compartments", with_vents(wall, opening_set, of_name))
    if len(names := list(dict.fromkeys(end.vent for end in ends))) > 1:
        every = _listed([f"a {name}" for name in names])
        add(Label("adding ", every), "compartments", with_vents(wall, opening_set, ends))
    rails = rails_of(wall, opening_set)
    gap = min((rail.gap for rail in rails), default=0.0)
    bay = min((widest_gap(rail) for rail in rails if rail.gap == gap), default=0.0)
    if ends and 0.0 < gap < 0.99 * INCH < bay:  # a vent alone does little where the rails let no air on
        vents = _listed([f"a {name}" for name in dict.fromkeys(end.vent for end in ends)])
        wide = with_gap(with_vents(wall, opening_set, ends), opening_set, lambda rail: max(rail.gap, INCH))
        tail = f", with the rail gaps widened from {gap_text(gap)} to {gap_text(INCH)},"
        add(Label("adding ", vents, tail), "compartments", wide)
    drawn_set = wall.opening_set(opening_set)
    served: dict[str, list[str]] = {}  # by the name on the drawing: that of each strip
    for column in wall.columns:
        for vent in vents_of(drawn_set, column) if column.name in columns else ():
            served.setdefault(stem(vent), []).append(vent.name)
    for name, all_of_it in served.items():
        add(Label("doubling ", f"the {name}"), "vents", scale_openings(wall, opening_set, 2.0, all_of_it))
    if len(served) > 1:
        add(Label("doubling ", "all vents"), "vents", scale_openings(wall, opening_set, 2.0))
    if served:
        add(Label("halving ", "all vents"), "vents", scale_openings(wall, opening_set, 0.5))
    if rails:
        wider = [min(2.0 * gap, bay)] + ([INCH] if 2.0 * gap < 0.99 * INCH < bay else [])
        for new in wider:
            if new > gap:
                changed = with_gap(wall, opening_set, lambda rail, new=new: max(rail.gap, new))  # type: ignore[misc]
                label = Label(f"widening the rail gaps from {gap_text(gap)} to ", gap_text(new))
                add(label, "rails", changed)
    deeper = min((listed for listed in wall.depths if listed > depth * 1.001), default=2.0 * depth)
    add(depth_label(depth, deeper), "depth", wall, deep=deeper)
    for absorptance, word in ((_PALE, "paler"), (_DARK, "darker")):
        old = wall.solar_absorptance
        if abs(absorptance - old) >= 0.15 and (absorptance < old) == (word == "paler"):
            label = Label(f"a {word} finish ", f"(solar absorptance {old:.2g} to {absorptance:.2g})")
            add(label, "finish", replace(wall, solar_absorptance=absorptance))
    changes += _membranes(wall, opening_set, depth)
    wetting = wall.wetting
    if rain and wetting.rain_penetration > 0.0:
        half = 0.5 * wetting.rain_penetration
        amount = f"({100 * wetting.rain_penetration:.2g} to {100 * half:.2g} %)"
        add(
            Label("halving the rain that passes the cladding ", amount),
            "rain",
            replace(wall, wetting=replace(wetting, rain_penetration=half)),
        )
    if wetting.leak_layer is not None and wetting.leak_flow > 0.0:
        changed = replace(wall, wetting=replace(wetting, leak_flow=0.5 * wetting.leak_flow))
        add(Label("halving ", "the air leakage from indoors"), "leakage", changed)
    for name in variants_of(wall):
        add(Label("the variant ", f"“{name}”"), "layers", with_variant(wall, name))
    return tuple(changes)


def _membranes(wall: Wall, opening_set: str, depth: float) -> list[Change]:
    """Return a more vapour-open membrane outside the insulation, and tighter and more open ones inside it."""
    changes = []
    inside = False
    for index, layer in enumerate(wall.backup):
        if not layer.is_membrane:
            inside = inside or layer.material.conductivity < INSULATION
            continue
        if layer.sd is None or not layer.sd > 0.0:
            continue
        for factor in (_OPENER, _TIGHTER) if inside else (_OPENER,):
            changed: Layer = replace(layer, sd=factor * layer.sd, sd_table=())
            word = "more vapour-open" if factor < 1.0 else "tighter"
            label = Label(f"a {word} {layer.name} ", f"(s_d {layer.sd:.3g} to {factor * layer.sd:.3g} m)")
            backup = (*wall.backup[:index], changed, *wall.backup[index + 1 :])
            changes.append(Change(label, "layers", replace(wall, backup=backup), opening_set, depth))
    return changes


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
    opening_set, depth : keyword only
        The case, as for `simulate`. [depth: m]
    column : str, keyword only
        Column to judge; None: all of them, the worst decides.
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
    InputError
        If a name is not known.
    ConvergenceError
        If the case itself cannot be solved: there is nothing to compare with.
    """
    case = wall.case(opening_set=opening_set, depth=depth, column=column)
    name, at = case.opening_set.name, case.depth
    columns = [column] if column else [strip.name for strip in wall.columns]
    rain = bool(weather.attrs.get("has_rain", 1))
    changes = (Change(Label("", ""), "", wall, name, at), *changes_of(wall, name, at, columns, rain=rain))
    jobs = [
        Job(change.wall.case(opening_set=change.opening_set, depth=change.depth, column=strip), weather)
        for change in changes
        for strip in columns
    ]
    label_of = {id(job): str(changes[index // len(columns)].label) for index, job in enumerate(jobs)}

    def on_run(done: int, count: int, result: Result) -> None:
        if progress:
            progress(done, count, label_of[id(result.job)] or "as described")

    with Engine(workers, scheduler, fresh=fresh) as engine:
        results = engine.run(jobs, keep="findings", progress=on_run)
    groups = [results[start : start + len(columns)] for start in range(0, len(results), len(columns))]
    lost = [next((result.failure for result in group if result.failure), "") for group in groups]
    if lost[0]:
        raise ConvergenceError(f"the case as described could not be computed: {lost[0]}")
    climate = str(weather.attrs.get("name", ""))
    base, *others = (
        Choice(
            change.opening_set, change.depth, 0.0,
            tuple(
                Part(climate, strip, wall.orientation, result.findings)
                for strip, result in zip(columns, group, strict=True)
            ),
        )
        for change, group in zip(changes, groups, strict=True)
    )  # fmt: skip
    decides = base.decides[0].column if base.decides else columns[0]
    dead = level_of(base) > 0 and any(end.dead for end in blind_ends(wall, name, [decides]))
    return ranked(
        [
            not_computed(change.label, failure, change.family)
            if failure
            else compare_choices(change.label, base, other, family=change.family, dead=dead)
            for change, other, failure in zip(changes[1:], others, lost[1:], strict=True)
        ]
    )
