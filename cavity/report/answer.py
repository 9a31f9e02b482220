"""The first screen in words and cells: verdict, decision matrix, what to change first, cautions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from cavity.report import display, series

CAUTIONS = (
    "These figures advise; they approve nothing. A cavity that is open over several storeys can carry fire: barriers "
    "and closures follow the local building code and a licensed designer, whatever they cost in ventilation.",
    "Structure, fixings, mould and health, and electrical work in a damp wall need their own competent check. One year "
    "of hourly weather is not the worst year, and workmanship decides as much as the drawing.",
)

_WORD = {"pass": "meets all", "review": "review", "fail": "fails"}


def worst(findings: Iterable[Any]) -> Any | None:
    """Return the worst finding, None where there is none."""
    return next(iter(series.ranked(findings)), None)


def status(case: Any) -> str:
    """Return pass, review or fail: the status of the worst finding of a case."""
    found = worst(case.findings)
    return found.status if found is not None else "review"


def value_text(finding: Any, *, limit: bool = False) -> str:
    """Return the value of a finding, or its limit, with its unit."""
    value = float(finding.limit if limit else finding.value)
    if np.isnan(value):
        return "–"
    return f"{display.number(value)} {finding.units}".strip()


def what(case: Any) -> str:
    """Return the worst finding of a case in a few words with its number."""
    found = worst(case.findings)
    if found is None:
        return "no criterion was judged"
    title = found.title[:1].upper() + found.title[1:]
    return f"{title}: {value_text(found)} ({found.threshold} {value_text(found, limit=True)})"


def opening_area(case: Any) -> float:
    """Return the total free vent area of the column [m2 per m of wall]."""
    return float(np.nansum(np.asarray(case.dataset["opening_area"].values, float)))


def severity(case: Any) -> tuple[int, float]:
    """Return a key that sorts cases from good to bad."""
    found = worst(case.findings)
    if found is None:
        return 1, 0.0
    ratio = float(found.ratio)
    return {"pass": 0, "review": 1, "fail": 2}.get(found.status, 3), ratio if np.isfinite(ratio) else 1e9


def _places(cases: Sequence[Any]) -> dict[tuple[str, float, Any, Any], list[Any]]:
    """Group cases by what is chosen on the drawing board: openings, depth, orientation and column."""
    found: dict[tuple[str, float, Any, Any], list[Any]] = {}
    for case in cases:
        found.setdefault(_place(case), []).append(case)
    return found


def _place(case: Any) -> tuple[str, float, Any, Any]:
    return case.opening_set, float(case.depth), orientation(case), column(case)


def orientation(case: Any) -> float:
    """Return the orientation of a case [degrees clockwise from north]."""
    return float(case.dataset.attrs.get("orientation", 180.0))


def column(case: Any) -> str:
    """Return the column of a case."""
    return str(case.dataset.attrs.get("column", ""))


def start(cases: Sequence[Any]) -> int:
    """Return the number of the case to show first: the least depth and area that meets all, else the mildest."""
    good = [index for index, case in enumerate(cases) if status(case) == "pass"]
    if good:
        return min(good, key=lambda index: (float(cases[index].depth), opening_area(cases[index]), index))
    return min(range(len(cases)), key=lambda index: (severity(cases[index]), index))


def wall_side(case: Any) -> str:
    """Return how near the backup wall comes to failing, as a share of the limit; empty where nothing tells."""
    ratios = [float(found.ratio) for found in case.findings if found.key in series.can_fail()]
    ratios = [ratio for ratio in ratios if np.isfinite(ratio)]
    return f"wall at {100 * max(ratios):.0f} % of a limit" if ratios else ""


def depth_text(depth: float) -> str:
    """Return a cavity depth in words."""
    return f"{display.number(1e3 * depth)} mm"


def failed_of(comparison: Any) -> Sequence[Any]:
    """Return the cases that could not be computed."""
    return getattr(comparison, "failed", None) or ()


def compared_depths(comparison: Any) -> list[float]:
    """Return the cavity depths compared, those of cases not computed among them. [m]."""
    return sorted({float(case.depth) for case in (*comparison.cases, *failed_of(comparison))})


def counted(comparison: Any) -> str:
    """Return how many cases were computed, in one sentence; empty where all were."""
    missing = len(failed_of(comparison))
    done = len(comparison.cases)
    return f"{done} of {done + missing} cases computed; the others are left out of every ranking." if missing else ""


def verdict(cases: Sequence[Any], failed: Sequence[Any] = ()) -> str:
    """Return the answer in one sentence; a combination counts only where all its climates were computed."""
    missing = {(case.opening_set, float(case.depth), float(case.orientation), case.column) for case in failed}
    whole = [case for case in cases if _place(case) not in missing]
    cases = whole or cases
    climates = list(dict.fromkeys(case.climate_name for case in cases))
    where = f"in {climates[0]}" if len(climates) == 1 else f"in all {len(climates)} climates"
    where = "in both climates" if len(climates) == 2 else where
    groups = _places(cases)
    total = len(groups)
    good = [rows for rows in groups.values() if all(status(case) == "pass" for case in rows)]
    least = None
    if good:
        least = min((rows[0] for rows in good), key=lambda case: (float(case.depth), opening_area(case)))
    if least is not None and total == 1:
        return f"{least.opening_set} with a {depth_text(least.depth)} cavity meets every criterion {where}."
    if least is not None:
        count = "All" if len(good) == total else f"{len(good)} of {total}"
        text = f"{count} combinations meet every criterion {where}; the shallowest is “{least.opening_set}” with a "
        text += f"{depth_text(least.depth)} cavity"
        bad = [case for rows in groups.values() for case in rows if status(case) != "pass"]
        if not bad:
            return text + "."
        first = max(bad, key=severity)
        return f"{text}, while “{first.opening_set}” with {depth_text(first.depth)} does worst: {_lower(what(first))}."
    mild = min(groups.values(), key=lambda rows: max(severity(case) for case in rows))
    case = max(mild, key=severity)
    name = f"“{case.opening_set}” with a {depth_text(case.depth)} cavity"
    if status(case) == "review":
        kept = sum(all(status(case) != "fail" for case in rows) for rows in groups.values())
        if total == 1:
            return f"The wall passes {where} with items to review: {_lower(what(case))}."
        count = f"All {total}" if kept == total else f"{kept} of {total}"
        return (
            f"{count} combinations pass {where}, but with items to review; the mildest is {name}: {_lower(what(case))}."
        )
    lead = f"No combination is safe {where}" if total > 1 else f"The wall is not safe {where}"
    return f"{lead}; {'the mildest, ' if total > 1 else ''}{name}, fails on {_lower(what(case))}."


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:] if text[1:2].islower() else text


def advice(comparison: Any) -> list[str]:
    """Return what to change first: the sentences of the comparison, else what the worst findings say."""
    given = getattr(comparison, "advice", None) or ()
    lines = [str(getattr(item, "sentence", item)) for item in given]
    if lines:
        return lines
    cases = comparison.cases
    first = cases[start(cases)]
    failing = [found for found in series.ranked(first.findings) if found.status != "pass"][:3]
    if failing:
        lines = [found.sentence for found in failing]
        lines.append(f"{bottleneck(first)} Open up there first if more air is wanted.")
        return lines
    lines = [f"Nothing need change for {first.opening_set} with {depth_text(first.depth)}."]
    near = next(iter(series.ranked(first.findings)), None)
    if near is not None:
        lines.append(f"Closest to its limit: {_lower(what(first))}. {near.sentence}")
    return lines


def bottleneck(case: Any) -> str:
    """Return where most of the driving pressure is lost, in one sentence; rails and openings counted together."""
    lost = np.asarray(case.dataset["part_pressure"].values, float).sum(axis=0)
    kinds = [str(kind) for kind in case.dataset["part_kind"].values]
    names = [str(name) for name in case.dataset["part"].values]
    groups: dict[str, float] = {}
    for kind, name, loss in zip(kinds, names, lost, strict=True):
        word = {"rail": "the rails", "channel": "friction along the cavity"}.get(kind, name)
        groups[word] = groups.get(word, 0.0) + float(loss)
    if not sum(groups.values()) > 0.0:
        return "No air moves."
    word = max(groups, key=lambda name: groups[name])
    share = 100 * groups[word] / sum(groups.values())
    where = f"With {case.opening_set} and {depth_text(case.depth)}"
    return f"{where}, {share:.0f} % of the driving pressure is lost at {word}."


def matrix(cases: Sequence[Any], depths: Sequence[float], failed: Sequence[Any] = ()) -> list[dict[str, Any]]:
    """Return one group a climate, orientation and column, with rows of opening sets and cells of depths.

    The cell of a case that could not be computed has the status "none" and the reason; it has no case to show.
    """
    keys = [(case.climate_name, orientation(case), column(case)) for case in cases]
    keys += [(case.climate_name, float(case.orientation), case.column) for case in failed]
    groups: dict[tuple[str, float, str], dict[str, Any]] = {}

    def row_of(key: tuple[str, float, str], opening_set: str, invented: bool) -> list[Any]:
        title = key[0]
        if len({facing for _, facing, _ in keys}) > 1:
            title += f", facing {facing_text(key[1])}"
        if len({name for _, _, name in keys}) > 1:
            title += f", column {key[2]}"
        invented = invented and "invented" not in title.lower() and "fictitious" not in title.lower()
        group = groups.setdefault(key, {"title": title, "invented": invented, "rows": {}})
        row: list[Any] = group["rows"].setdefault(opening_set, [None] * len(depths))
        return row

    for index, case in enumerate(cases):
        row = row_of(keys[index], case.opening_set, bool(case.dataset.attrs.get("climate_invented")))
        rate = float(np.median(series.air_changes(case.dataset)))
        row[list(depths).index(float(case.depth))] = {
            "case": index,
            "status": status(case),
            "word": _WORD[status(case)],
            "number": value_text(worst(case.findings)) if case.findings else "–",
            "limit": display.number(float(worst(case.findings).limit)) if case.findings else "–",
            "threshold": worst(case.findings).threshold if case.findings else "limit",
            "title": worst(case.findings).title if case.findings else "no criterion was judged",
            "wall": wall_side(case),
            "what": what(case),
            "rate": f"{display.number(rate, 2)} /h",
            "depth": display.quantity(float(case.depth), "m"),
        }
    for key, case in zip(keys[len(cases) :], failed, strict=True):
        row = row_of(key, case.opening_set, False)
        row[list(depths).index(float(case.depth))] = {
            "status": "none",
            "word": "not computed",
            "reason": case.reason,
            "depth": display.quantity(float(case.depth), "m"),
        }
    made = []
    for group in groups.values():
        rows = [{"name": name, "cells": cells} for name, cells in group["rows"].items()]
        made.append({**group, "rows": rows})
    return made


def facing_text(degrees: float) -> str:
    """Return a direction as compass name and degrees."""
    names = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
    return f"{names[round(degrees / 45.0) % 8]} ({degrees:g}°)"
