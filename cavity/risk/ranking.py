"""Which choice is safer: the one order used by headline, matrix, advice, sizing and every page.

A *choice* is what is decided on the drawing board: a set of openings, a cavity depth, and the variant of the layers
where the wall file lists any. It is judged by the worst of all the *parts* it was computed for: every climate, strip
(column) of the wall and orientation, for a wall is as dry as its worst strip. Two choices are compared by

1. the worst status among the criteria that can fail,
2. the largest ratio of value to limit among those criteria, each at its worst part; then the next, and so on,
3. the worst status of all other criteria.

So no choice that is better or equal in every criterion that can fail ranks below another one. What still ties is
resolved by the smaller free vent area, the smaller depth and the name. The order in which cases, climates or columns
are listed has no influence. This order is our own choice (common practice, no source).
"""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from cavity.risk.finding import CAN_FAIL, Finding
from cavity.risk.rules import Shortfall, below_common

_LEVEL = {"information": 0, "pass": 0, "review": 1, "fail": 2}
_WORD = ("pass", "review", "fail", "none")
# Severities closer than this are alike: convergence of the years, float32 (own choice)
NOISE = 0.02  # 1
NOT_COMPUTED = "none"  # status of a choice of which a part could not be computed


def level(status: str) -> int:
    """Return 0 for pass and information, 1 for review, 2 for fail; KeyError for anything else."""
    return _LEVEL[status]


def status(findings: Iterable[Finding]) -> str:
    """Return the worst status among findings: pass, review or fail; information never decides."""
    return _WORD[max((level(finding.status) for finding in findings), default=0)]


def severity(ratio: float) -> float:
    """Return a ratio fit for comparison: never below 0, infinite where it is not a number. [1]."""
    return math.inf if math.isnan(ratio) else max(float(ratio), 0.0)


def gravity(finding: Finding) -> tuple[int, bool, float, str, str]:
    """Return what sorts findings from harmless to grave: status, whether it can fail, judged at all, ratio, name."""
    return level(finding.status), finding.key in CAN_FAIL, _judged_ratio(finding), finding.key, finding.where


def _judged_ratio(finding: Finding) -> float:
    return severity(finding.ratio) if finding.status != "information" else -1.0


def worst_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return findings worst first: by status, those of criteria that can fail first, by ratio; information last."""
    return tuple(
        sorted(
            findings,
            key=lambda finding: (
                -level(finding.status), finding.status == "information", finding.key not in CAN_FAIL,
                -severity(finding.ratio), finding.key, finding.where,
            ),
        )
    )  # fmt: skip


def worst_by_criterion(findings: Iterable[Finding]) -> dict[str, Finding]:
    """Return the worst finding of each criterion that can fail, by its key."""
    worst: dict[str, Finding] = {}
    for finding in findings:
        if finding.key in CAN_FAIL and (finding.key not in worst or gravity(finding) > gravity(worst[finding.key])):
            worst[finding.key] = finding
    return worst


def ratios(findings: Iterable[Finding]) -> dict[str, float]:
    """Return the largest ratio of value to limit of each criterion that can fail, by its key. [1]."""
    largest: dict[str, float] = {}
    for finding in findings:
        if finding.key in CAN_FAIL:
            largest[finding.key] = max(severity(finding.ratio), largest.get(finding.key, 0.0))
    return largest


def order(findings: Iterable[Finding]) -> tuple[int, tuple[float, ...], int]:
    """Return a key that sorts by safety, the smaller the safer.

    Parameters
    ----------
    findings : iterable of Finding
        All of one choice: of one case, or of every climate, strip and orientation together.

    Returns
    -------
    tuple
        Level of the criteria that can fail, their ratios in falling order, level of the others.
    """
    held = list(findings)
    grave = max((level(finding.status) for finding in held if finding.key in CAN_FAIL), default=0)
    other = max((level(finding.status) for finding in held if finding.key not in CAN_FAIL), default=0)
    return grave, tuple(sorted(ratios(held).values(), reverse=True)), other


@dataclass(frozen=True)
class Part:
    """One case of a choice.

    Parameters
    ----------
    climate, column : str
        Where: the weather, and the strip of the wall.
    orientation : float
        Clockwise from north. [degree]
    findings : tuple of Finding
        Of this case; empty where it could not be computed.
    computed : bool
        Whether the case was computed.
    case : object
        The case itself, for whoever ranked it; it takes no part in the order.
    """

    climate: str
    column: str
    orientation: float
    findings: tuple[Finding, ...]
    computed: bool = True
    case: Any = None

    @property
    def name(self) -> tuple[str, str, float]:
        """Climate, column and orientation."""
        return self.climate, self.column, self.orientation


@dataclass(frozen=True)
class Choice:
    """A set of openings and a depth, with every case computed for it.

    Parameters
    ----------
    opening_set : str
        Name.
    depth : float
        Cavity depth. [m]
    area : float
        Free vent area of its openings, the largest of the strips. [m2/m]
    parts : tuple of Part
        One a climate, strip and orientation.
    below : tuple of Shortfall
        Common sizes of rules that it is below in any strip.
    variant : str
        Variant of the layers; empty: the wall as drawn.
    """

    opening_set: str
    depth: float
    area: float
    parts: tuple[Part, ...]
    below: tuple[Shortfall, ...] = ()
    variant: str = ""

    @functools.cached_property
    def findings(self) -> tuple[Finding, ...]:
        """All findings of all parts, worst first."""
        return worst_first(finding for part in self.parts for finding in part.findings)

    @functools.cached_property
    def ratios(self) -> dict[str, float]:
        """Largest ratio of value to limit of each criterion that can fail, over all parts. [1]."""
        return ratios(self.findings)

    @property
    def severity(self) -> float:
        """Largest ratio of value to limit among the criteria that can fail; 0 where there is none. [1]."""
        return max(self.ratios.values(), default=0.0)

    @property
    def computed(self) -> bool:
        """Whether every part was computed."""
        return all(part.computed for part in self.parts)

    @functools.cached_property
    def status(self) -> str:
        """Worst status of all parts: pass only if every part passes; "none" where one is missing and none fails."""
        worst = status(self.findings)
        return worst if worst == "fail" or self.computed else NOT_COMPUTED

    @functools.cached_property
    def decides(self) -> tuple[Part, Finding] | None:
        """The part and the finding that decide: the worst, or, where all pass, the nearest to its limit."""
        pairs = [(part, finding) for part in self.parts for finding in part.findings if finding.status != "information"]
        if not pairs:
            return None
        top = max(gravity(finding)[:3] for _, finding in pairs)
        tied = [pair for pair in pairs if gravity(pair[1])[:3] == top]
        return min(tied, key=lambda pair: (pair[0].name, pair[1].key, pair[1].where))

    @functools.cached_property
    def size(self) -> tuple[float, float, str, str]:
        """Free vent area, depth and names: what resolves ties."""
        return self.area, self.depth, self.opening_set, self.variant

    @functools.cached_property
    def order(self) -> tuple[Any, ...]:
        """The key that sorts choices from safe to unsafe; choices of which a part is missing come after all others."""
        return not self.computed, order(self.findings), self.size


def ranked(choices: Iterable[Choice]) -> tuple[Choice, ...]:
    """Return choices from the safest to the least safe."""
    return tuple(sorted(choices, key=lambda choice: choice.order))


def gather(cases: Iterable[Any], failed: Iterable[Any] = ()) -> tuple[Choice, ...]:
    """Return the choices of a comparison, from the safest to the least safe.

    Parameters
    ----------
    cases : iterable of JudgedCase
        Each with `opening_set`, `depth` [m], `climate_name`, `dataset`, `findings`, and if it has one `variant`.
    failed : iterable of NotComputed
        Cases that could not be computed: `opening_set`, `depth` [m], `climate_name`, `column`, `orientation`.

    Returns
    -------
    tuple of Choice
        A choice of which no part was computed is among them, last, with the area 0.
    """
    parts: dict[tuple[str, str, float], list[Part]] = {}
    areas: dict[tuple[str, str, float], float] = {}
    halves: dict[tuple[str, str, float], list[tuple[float, float]]] = {}
    for case in cases:
        key = (str(getattr(case, "variant", "")), str(case.opening_set), float(case.depth))
        ds = case.about if hasattr(case, "about") else case.dataset
        lower, upper = _halves(ds)
        facing = float(ds.attrs.get("orientation", 180.0))
        parts.setdefault(key, []).append(
            Part(str(case.climate_name), str(ds.attrs.get("column", "")), facing, tuple(case.findings), case=case)
        )
        areas[key] = max(lower + upper, areas.get(key, 0.0))
        halves.setdefault(key, []).append((lower, upper))
    for lost in failed:
        key = (str(getattr(lost, "variant", "")), str(lost.opening_set), float(lost.depth))
        parts.setdefault(key, []).append(
            Part(str(lost.climate_name), str(lost.column), float(lost.orientation), (), computed=False, case=lost)
        )
    return ranked(
        Choice(
            name, depth, areas.get(key, 0.0), tuple(sorted(members, key=lambda part: part.name)),
            below_common(depth, *map(min, zip(*halves[key], strict=True))) if key in halves else (), variant,
        )
        for key, members in parts.items()
        for variant, name, depth in (key,)
    )  # fmt: skip


def _halves(ds: Any) -> tuple[float, float]:
    """Return the free vent area of a case in the lower and in the upper half of its strip. [m2/m]."""
    middle = 0.5 * (float(ds.attrs["column_bottom"]) + float(ds.attrs["column_top"]))
    sums = [0.0, 0.0]
    for height, area in zip(ds["opening_height"].values, ds["opening_area"].values, strict=True):
        sums[int(height >= middle)] += float(area)
    return sums[0], sums[1]
