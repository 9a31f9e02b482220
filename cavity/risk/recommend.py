"""Which choice to build: the smallest adequate one, not the extreme corner of what was computed.

The rule, in four steps, each our own choice (common practice, no source):

1. Of the choices that were computed whole and fail nothing, those that are *comfortable* are taken: every criterion
   that can fail has the status pass, and none is nearer to its limit than `COMFORT`. Those at or above the common sizes
   of rules (DIN 18516-1, see `rules`) come before those below, and those without an item to review before the others.
   Where none is comfortable, what does not fail is taken, and the sentence says so.
2. Among these, a choice is *enough* if no choice with at least its free vent area and at least its depth is safer by
   `LITTLE` of a limit in any criterion. Below `IDLE` of a limit, nothing counts as a gain any more.
3. The smallest that is enough is recommended: the least product of free vent area and depth.
4. The runner-up is the next by the same steps; what would tip the balance is reported from the difference of the two.

Where variants of the layers were computed, the steps are taken for each variant by itself. Of the variants' recommended
choices the best of all is the one of the best kind (step 1), and among these the safest; but the wall as drawn stays
recommended where no variant of the same kind is safer by `LITTLE` of a limit.

Where every choice fails nothing is recommended; `least_bad` says from which one to start.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from cavity import choice_words
from cavity.risk.finding import CAN_FAIL, Finding
from cavity.risk.ranking import NOISE, Choice, level, ranked, ratios, status, worst_by_criterion

# Fractions of a limit. Up to COMFORT a margin is comfortable: wood is reviewed from 18 of 20 % (0.9), mould from 2 of 3
# already; criteria without a level of review keep the same tenth.
COMFORT = 0.9
# A fall by less is not worth larger vents: 0.3 of mould index, 2 % by mass of wood moisture.
LITTLE = 0.1
# Falls below this are idle: mould index 1 of 3, under which growth is not seen even under the microscope (Hukka &
# Viitanen 1999, from memory).
IDLE = 1.0 / 3.0
CLOGGED = ", clogged"  # ends the name of a set whose meshes are clogged, as `[compare] clogged` makes them


class Effect(NamedTuple):
    """The criterion in which two choices differ most, in either; None where no criterion differs enough."""

    old: Finding | None = None
    new: Finding | None = None


_NO_EFFECT = Effect()


@dataclass(frozen=True)
class Recommendation:
    """The choice to build and why.

    Parameters
    ----------
    choice : Choice
        The smallest adequate.
    comfortable : bool
        Whether its margin is comfortable.
    larger : Effect or None
        What larger vents or a deeper cavity would gain most; None where nothing larger was computed.
    runner_up : Choice or None
        The next choice.
    effect : Effect
        What the runner-up changes most.
    reason : str
        When to take the runner-up: "below rules" (where sizes below the common rules are accepted), "smaller",
        "smaller and safer", "safer" or "alike"; empty where there is none.
    smaller : Choice or None
        A smaller choice that is comfortable too but below the common sizes, hence passed over.
    others : tuple of Recommendation
        Those of the other variants of the layers, safest first; a variant that always fails has none.
    """

    choice: Choice
    comfortable: bool
    larger: Effect | None
    runner_up: Choice | None
    effect: Effect = _NO_EFFECT
    reason: str = ""
    smaller: Choice | None = None
    others: tuple[Recommendation, ...] = ()

    @property
    def more(self) -> str:
        """What larger vents or a deeper cavity would still gain, in words; empty where nothing larger was computed."""
        return choice_words.gain_text(self)

    @property
    def tips(self) -> str:
        """What would tip the balance to the runner-up, as one sentence; empty where there is none."""
        return choice_words.runner_up_text(self)


def comfortable(choice: Choice) -> bool:
    """Return whether all criteria that can fail pass, none nearer to its limit than `COMFORT`."""
    grave = max((level(finding.status) for finding in choice.findings if finding.key in CAN_FAIL), default=0)
    return choice.computed and grave == 0 and choice.severity <= COMFORT


def gain(small: Choice, large: Choice, idle: float = IDLE) -> tuple[float, str]:
    """Return the largest fall of any criterion's ratio from one choice to another, and its key.

    What is below `idle` of a limit is not counted. [1]
    """
    falls = {
        key: max(ratio, idle) - max(large.ratios.get(key, 0.0), idle) for key, ratio in small.ratios.items()
    }  # fmt: skip
    key = max(sorted(falls), key=lambda name: falls[name], default="")
    return (falls[key], key) if key else (0.0, "")


def _larger(choice: Choice, choices: Sequence[Choice]) -> list[Choice]:
    """Choices with at least its area and depth that are safer than it."""
    return [
        other
        for other in choices
        if other is not choice
        and other.computed
        and other.variant == choice.variant
        and other.area >= choice.area
        and other.depth >= choice.depth
        and other.order[:2] < choice.order[:2]
    ]


def is_enough(choice: Choice, choices: Sequence[Choice]) -> bool:
    """Return whether no larger choice gains `LITTLE` of a limit or more."""
    return all(gain(choice, other)[0] < LITTLE for other in _larger(choice, choices))


def bulk(choice: Choice) -> tuple[float, float, float, str]:
    """Return what sorts choices by size: product of free vent area and depth, then depth, area and name."""
    return choice.area * choice.depth, choice.depth, choice.area, choice.opening_set


def _tier(choice: Choice) -> tuple[bool, bool, bool]:
    return not comfortable(choice), bool(choice.below), level(choice.status) > 0


def _sorted(choices: Sequence[Choice], every: Sequence[Choice]) -> list[Choice]:
    return sorted(choices, key=lambda choice: (*_tier(choice), not is_enough(choice, every), *bulk(choice)))


def designs(choices: Sequence[Choice]) -> tuple[Choice, ...]:
    """Return the choices that can be built, safest first: a set with clogged meshes is a state of one, not a design."""
    rows = ranked(choices)
    return tuple(choice for choice in rows if not choice.opening_set.endswith(CLOGGED)) or rows


def clogged(choice: Choice, choices: Sequence[Choice]) -> Choice | None:
    """Return the same choice with its meshes clogged, where it was computed."""
    wanted = (choice.variant, f"{choice.opening_set}{CLOGGED}", choice.depth)
    return next((other for other in choices if (other.variant, other.opening_set, other.depth) == wanted), None)


def recommend(choices: Sequence[Choice]) -> Recommendation | None:
    """Return the choice to build, or None where every choice fails or none was computed whole.

    Parameters
    ----------
    choices : sequence of Choice
        As `ranking.gather` returns them; the order has no influence.

    Returns
    -------
    Recommendation or None
    """
    names = sorted({choice.variant for choice in choices})
    if len(names) > 1:
        return _of_variants([recommend([choice for choice in choices if choice.variant == name]) for name in names])
    whole = [choice for choice in designs(choices) if choice.computed and choice.findings]
    fine = [choice for choice in whole if choice.status != "fail"]
    if not fine:
        return None
    row = _sorted(fine, whole)
    best = row[0]
    second = row[1] if len(row) > 1 else None
    smaller = min(
        (other for other in fine if other.below and not best.below and comfortable(other) and bulk(other) < bulk(best)),
        key=bulk, default=None,
    )  # fmt: skip
    larger = _effect_of_larger(best, whole)
    if second is None:
        return Recommendation(best, comfortable(best), larger, None, smaller=smaller)
    return Recommendation(
        best, comfortable(best), larger, second, _effect(best, second), _reason(best, second), smaller
    )


def _of_variants(recommendations: Sequence[Recommendation | None]) -> Recommendation | None:
    """Return the best of the variants' recommendations, with the others."""
    row = sorted((item for item in recommendations if item), key=lambda item: (*_tier(item.choice), item.choice.order))
    if not row:
        return None
    best = row[0]
    drawn = next((item for item in row if not item.choice.variant), None)
    if drawn and _tier(drawn.choice) == _tier(best.choice) and gain(drawn.choice, best.choice)[0] < LITTLE:
        best = drawn
    return replace(best, others=tuple(item for item in row if item is not best))


def least_bad(choices: Sequence[Choice]) -> Choice:
    """Return the choice to start from where none can be recommended: the least harm on the wall as a whole.

    One strip that fails whatever the vents are would make all choices alike by their worst part. So their parts are
    compared from the worst on: first the statuses, then the ratios in steps of `NOISE`; then the order of `ranking`.
    ValueError if there is no choice.
    """

    def harm(choice: Choice) -> tuple[object, ...]:
        parts = [part for part in choice.parts if part.computed]
        grave = sorted((level(status(part.findings)) for part in parts), reverse=True)
        near = sorted((round(max(ratios(part.findings).values(), default=0.0) / NOISE) for part in parts), reverse=True)
        return not choice.computed, grave, near, choice.order

    return min(designs(choices), key=harm)


def _effect_of_larger(best: Choice, whole: Sequence[Choice]) -> Effect | None:
    """Return the largest gain of a choice with at least its area and depth; None where no such choice was computed."""
    if not any(
        other is not best and other.area >= best.area and other.depth >= best.depth for other in whole
    ):  # fmt: skip
        return None
    falls = [(*gain(best, other, -math.inf), other) for other in _larger(best, whole)]
    falls = [row for row in falls if row[0] > 0.0]
    if not falls:
        return _NO_EFFECT
    _, key, other = max(falls, key=lambda row: (row[0], row[2].size))
    return Effect(worst_by_criterion(best.findings)[key], worst_by_criterion(other.findings)[key])


def _effect(best: Choice, second: Choice) -> Effect:
    """Return the criterion in which two choices differ most, if by more than the noise of the years."""
    old, new = worst_by_criterion(best.findings), worst_by_criterion(second.findings)
    shared = [key for key in old if key in new]
    key = max(
        shared, key=lambda name: (abs(best.ratios[name] - second.ratios[name]), best.ratios[name], name), default=""
    )
    if not key or abs(best.ratios[key] - second.ratios[key]) < NOISE:
        return _NO_EFFECT
    return Effect(old[key], new[key])


def _reason(best: Choice, second: Choice) -> str:
    """Return when the second of two choices is to be taken, see `Recommendation`."""
    if second.below and not best.below:
        return "below rules"
    safer = second.order[:2] < best.order[:2]
    if bulk(second) < bulk(best):
        return "smaller and safer" if safer else "smaller"
    return "safer" if safer else "alike"
