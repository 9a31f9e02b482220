"""The summary for an authority: two pages that stand for the whole report, on paper and in a document.

Assumptions, rain, verdict of each strip, vent schedule, rule check, cautions and a line to sign; all of the recommended
case, in texts that page and document share.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from cavity.report import display, inputs_and_sources, schedule, summary, verdict
from cavity.report.digest import about
from cavity.result import wall_of
from cavity.risk.ranking import worst_by_criterion

Pair = tuple[str, str]  # a value in SI and in inch-pound units

CRITERIA_HEAD = ("Criterion", "Where", "Value", "Limit", "Result", "Source")
STRIP_HEAD = ("Facing", "Strip", "Result", "Governing criterion", "Climate")
SCHEDULE_HEAD = ("Part", "Strips", "Height above the base", "Geometry", "Free area [cm²/m]", "Wall length [m]",
                 "Pieces", "Must stay free")  # fmt: skip
RULE_HEAD = ("Document", "Requires", "Design", "Result", "How the rule is known")
SIGNED = ("Checked by (name, licence)", "Signature", "Date")
# Labels of `inputs_and_sources.inputs` that belong on the summary: what an authority asks first; the full report
# has the rest.
_LEFT_OUT = ("Roughness of the cavity surfaces", "Ground albedo", "Segments by height", "Years at most")


@dataclass(frozen=True)
class Row:
    """One verdict: texts under `STRIP_HEAD` or `CRITERIA_HEAD`, and its status."""

    status: str
    texts: tuple[str, ...]


@dataclass(frozen=True)
class Brief:
    """The summary in texts.

    Parameters
    ----------
    wall, description, climate, facing, day, version : str
        What it is about; day as the year, month and day of the run.
    invented : bool
        Whether the building is fictitious.
    verdict, status, word, heading, choice : str
        The answer, its status in letters and in words, and what the choice is: recommended or of lowest risk.
    depth : tuple of str
        Cavity depth in SI and inch-pound units.
    reasons : tuple of str
        What is near or beyond a limit.
    layers : str
        The wall from outside to inside.
    assumptions : tuple of (str, tuple of str)
        Label, value in SI and inch-pound units.
    rain : tuple of str
        For each climate where the rain comes from, and how much of it passes the cladding.
    strips : tuple of Row
        Verdict of each strip and facing.
    criteria : tuple of Row
        The worst of every criterion that can fail the wall.
    schedule, rules : tuple of tuple of str
        Rows under `SCHEDULE_HEAD` and `RULE_HEAD`.
    limits, cautions : tuple of str
        What the model omits, and the usual cautions.
    head, case : str
        Choice and climates, for the head of a printed page; the case that decides the choice.
    """

    wall: str
    description: str
    climate: str
    facing: str
    day: str
    version: str
    invented: bool
    verdict: str
    status: str
    word: str
    heading: str
    choice: str
    depth: Pair
    reasons: tuple[str, ...]
    layers: str
    assumptions: tuple[tuple[str, Pair], ...]
    rain: tuple[str, ...]
    strips: tuple[Row, ...]
    criteria: tuple[Row, ...]
    schedule: tuple[tuple[str, ...], ...]
    rules: tuple[tuple[str, ...], ...]
    limits: tuple[str, ...]
    cautions: tuple[str, ...]
    head: str
    case: str

    @property
    def dense(self) -> bool:
        """Whether the tables are so long that two pages hold them in small type only."""
        return len(self.strips) + len(self.criteria) + len(self.rules) + 2 * len(self.schedule) > 32


def brief(comparison: Any, seen: verdict.View | None = None) -> Brief:
    """Return the summary of a comparison.

    Parameters
    ----------
    comparison : Comparison
        As for `write_report`.
    seen : View
        The same, ranked; ranked here where not given.

    Returns
    -------
    Brief
    """
    seen = seen or verdict.view(comparison)
    best = verdict.recommended(seen)
    case = deciding(seen)
    ds = case.dataset
    created = str(getattr(comparison, "created", "") or ds.attrs.get("created", ""))
    climates = ", ".join(seen.climates)
    rows = summary.rows(comparison, seen=seen)
    variant = f", variant “{best['variant']}”" if best["variant"] else ""
    return Brief(
        wall=str(case.wall_name),
        description=wall_of(ds).description,
        climate=climates,
        facing=", ".join(verdict.facing_text(value) for value in seen.facings),
        day=created[:10],
        version=str(ds.attrs.get("version", "")),
        invented=bool(ds.attrs.get("wall_invented")),
        verdict=verdict.headline(seen),
        status=best["status"],
        word=best["word"],
        heading=best["heading"],
        choice=best["name"] + variant,
        depth=best["depth"],
        reasons=(*_reasons(best["lines"]), *verdict.still_pieces(seen)),
        layers=_layers(ds),
        assumptions=tuple(_assumptions(ds)),
        rain=tuple(_rain(seen)),
        strips=tuple(
            Row(row.status, (row.facing, row.strip, row.verdict, row.criterion or row.reason, row.climate))
            for row in rows
        ),
        criteria=tuple(_criteria(seen)),
        schedule=tuple(
            (row.name, row.strips, row.height_text, f"{row.kind}, {row.geometry}", f"{1e4 * row.free_area:.3g}",
             "" if math.isnan(row.length) else f"{row.length:.4g}", row.pieces, row.keep_free)
            for row in schedule.rows(ds)
        ),
        rules=tuple(_rules(ds)),
        limits=inputs_and_sources.ASSUMPTIONS,
        cautions=verdict.CAUTIONS,
        case=case_head(case),
        head=f"{best['name']}{variant}, {best['depth'][0]}; {climates}",
    )  # fmt: skip


def _reasons(lines: Sequence[str]) -> list[str]:
    """Return what is shown with the verdict; how to ask for a probability is of no use on paper."""
    return [line for line in lines if not line.startswith("Probability not computed")]


def _criteria(seen: verdict.View) -> list[Row]:
    made = []
    for found in worst_by_criterion(seen.best.findings).values():
        part = next(part for part in seen.best.parts if any(each is found for each in part.findings))
        several = len(seen.best.parts) > 1
        where = found.where + (f"; {verdict.place_text(part.case, seen.cases)}" if several else "")
        limit = ("" if found.threshold == "limit" else f"{found.threshold} ") + verdict.value_text(found, limit=True)
        result = verdict.word(found.status, verdict.has_rain(part.case))
        made.append(
            Row(
                found.status, (found.title, where, verdict.value_text(found), limit, result, found.source.split(";")[0])
            )
        )
    return made


def deciding(seen: verdict.View) -> Any:
    """Return the case that decides the recommended choice, else its first that was computed."""
    best = seen.best
    return best.decides[0].case if best.decides else next(part.case for part in best.parts if part.computed)


def case_head(case: Any) -> str:
    """Return openings, depth, facing, strip and climate of one case, for the head of a printed page."""
    said = [case.opening_set, verdict.depth_text(case.depth), *filter(None, [verdict.variant(case)])]
    said += [verdict.facing_text(verdict.orientation(case)), verdict.column(case)]
    return f"{', '.join(filter(None, said))}; {case.climate_name}"


def _layers(ds: Any) -> str:
    said: list[str] = []
    for name, part, thickness in zip(
        ds["layer"].values, ds["layer_part"].values, ds["layer_thickness"].values, strict=True
    ):
        if str(part) != "cladding" and said and not any(text.startswith("cavity") for text in said):
            said.append(f"cavity {display.quantity(float(ds.attrs['depth']), 'm')[0]}")
        thick = float(thickness)
        said.append(f"{name} {display.quantity(thick, 'm')[0]}" if thick >= 0.002 else str(name))
    return ", ".join(said)


def _assumptions(ds: Any) -> list[tuple[str, Pair]]:
    made = []
    for table in inputs_and_sources.inputs(ds):
        if table["title"].startswith("Columns"):
            continue
        made += [
            (label, pair) for label, pair in table["rows"] if label not in _LEFT_OUT and pair[0] != "of the material"
        ]
    years = int(ds.attrs.get("years_run", 0))
    settled = "the yearly cycle repeats" if int(ds.attrs.get("cycle_repeats", 0)) else "the yearly cycle has not closed"
    made.append(("Years simulated", (f"{years}; {settled}",) * 2))
    return made


def _rain(seen: verdict.View) -> list[str]:
    """Return where the rain of each climate comes from; the cases of one climate share it."""
    said: dict[str, str] = {}
    for case in seen.cases:
        if case.climate_name in said:
            continue
        attrs = about(case).attrs
        if not int(attrs.get("has_rain", 1)):
            said[case.climate_name] = (
                "no rain in the weather file. The wall was run without driving rain; a verdict for a wall in the rain "
                "needs a file with rain"
            )
        else:
            text = str(attrs.get("climate_rain", "")) or "rain of the weather file"
            said[case.climate_name] = text
    return [f"{name}: {text}." for name, text in said.items()]


def _rules(ds: Any) -> list[tuple[str, ...]]:
    from cavity.risk.rules import OUTSIDE, checks

    made: list[tuple[str, ...]] = []
    for each in checks(ds):
        if each.outcome == OUTSIDE:
            continue
        document = ", ".join(part for part in (each.document, each.clause, each.edition) if part)
        made.append((document, each.asks, each.drawn, each.outcome, each.known))
    return made
