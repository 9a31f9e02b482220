"""The table of benchmark cases, in the terminal and as a page; areas with curves bring their figures."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from cavity.errors import Fault, InputError
from cavity.published.case import TAGS, Case, areas, run_area

if TYPE_CHECKING:
    import os
    from pathlib import Path

HEAD = ("case", "inputs", "source", "provenance", "expected", "computed", "unit", "deviation", "outcome")
_WIDTHS = (14, 19, 15.5, 9.5, 8, 8.5, 5.5, 8, 12)  # of the columns on paper [%]


def run(names: Sequence[str]) -> dict[str, tuple[Case, ...]]:
    """Run the cases of the chosen areas; all areas where none is chosen.

    Parameters
    ----------
    names : sequence of str
        Names of `areas`.

    Returns
    -------
    dict of str to tuple of Case
        By area.

    Raises
    ------
    InputError
        If an area is not known.
    """
    known = areas()
    for name in names:
        if name not in known:
            raise InputError(
                Fault("verify", "no such area", name, ", ".join(known), "choose a listed one, or none for all")
            )
    return {name: run_area(name) for name in (names or known)}


def failed(outcomes: dict[str, tuple[Case, ...]]) -> list[Case]:
    """Return the strict cases that are outside their range."""
    return [case for cases in outcomes.values() for case in cases if case.strict and case.outcome == "outside"]


def _number(value: float | None) -> str:
    from cavity.report.display import number

    return "" if value is None else number(value, 4)


def row(case: Case) -> tuple[str, ...]:
    """Return one row of the table as text."""
    expected = _number(case.expected)
    if case.expected is None and case.computed is not None:
        expected = f"{_number(case.lower)} to {_number(case.upper)}"
    deviation = "" if case.deviation is None else f"{100 * case.deviation:+.2f} %".replace("-", "−")
    if deviation in ("−0.00 %", "+0.00 %"):
        deviation = "0.00 %"
    if case.expected is None and case.outcome == "pass":
        deviation = "inside"
    outcome = case.outcome
    if outcome == "outside" and not case.strict:
        outcome = "outside range (reported, not counted as failed)"
    inputs = f"{case.inputs}. {case.note}" if case.note and case.inputs else case.note or case.inputs
    return (case.name, inputs, case.source, case.tag, expected, _number(case.computed), case.units, deviation, outcome)


def _cells(case: Case) -> list[Any]:
    """Return the cells of a row of the page: units as on paper, the outcome with its mark."""
    from markupsafe import Markup

    from cavity.report.display import typeset
    from cavity.report.palette import STATUS_PATH

    *cells, outcome = map(typeset, row(case))
    status = {"pass": "pass", "not run": "information"}.get(case.outcome, "fail" if case.strict else "review")
    mark = Markup(
        '<span class="status s-{}" style="white-space:normal"><svg viewBox="0 0 16 16" aria-hidden="true" '
        'focusable="false"><path fill-rule="evenodd" d="{}"/></svg>{}</span>'
    )
    return [*cells, mark.format(status, STATUS_PATH[status], outcome)]


def summary(outcomes: dict[str, tuple[Case, ...]]) -> str:
    """Return in one sentence how many cases pass, are outside or were not run."""
    counts = Counter(case.outcome for cases in outcomes.values() for case in cases)
    total = sum(counts.values())
    bad = len(failed(outcomes))
    return (
        f"{counts['pass']} of {total} cases pass; {counts['outside']} fall outside a range ({bad} counted as failed, "
        f"the others measured or uncertain ranges); {counts['not run']} could not be run."
    )


def provenance(outcomes: dict[str, tuple[Case, ...]]) -> str:
    """Return in one sentence how the expected figures are known, and how many of each kind."""
    counts = Counter(case.tag for cases in outcomes.values() for case in cases)
    parts = [f"{counts[tag]} {tag} ({meaning})" for tag, meaning in TAGS.items() if counts[tag]]
    return f"How the expected value is known: {'; '.join(parts)}."


def terminal_table(area: str, cases: Sequence[Case], *, every: bool) -> Any:
    """Return a rich table of one area.

    Parameters
    ----------
    area : str
        Its name.
    cases : sequence of Case
        Its cases.
    every : bool, keyword only
        False: passed cases are omitted.
    """
    from rich.markup import escape
    from rich.table import Table

    counts = Counter(case.outcome for case in cases)
    title = f"{area}: {len(cases)} cases, " + ", ".join(f"{count} {name}" for name, count in sorted(counts.items()))
    table = Table(title=escape(title), title_justify="left", header_style="bold", box=None, pad_edge=False)
    for name in ("case", "inputs", "expected", "computed", "unit", "deviation", "outcome"):
        right = name in ("expected", "computed", "deviation")
        table.add_column(name, justify="right" if right else "left", overflow="fold", no_wrap=right)
    for case in cases:
        if every or case.outcome != "pass":
            name, inputs, _, _, expected, computed, unit, deviation, outcome = row(case)
            table.add_row(*(escape(text) for text in (name, inputs, expected, computed, unit, deviation, outcome)))
    return table


def fold_title(cases: Sequence[Case]) -> str:
    """Return what the folded table of an area holds: how many cases, and how they came out."""
    counts = Counter(case.outcome for case in cases)
    parts = [f"{counts[name]} {word}" for name, word in (("pass", "pass"), ("outside", "outside a range"),
                                                         ("not run", "not run")) if counts[name]]  # fmt: skip
    return f"{len(cases)} cases: " + ", ".join(parts)


def write_verify_page(outcomes: dict[str, tuple[Case, ...]], path: str | os.PathLike[str]) -> Path:
    """Write all cases as a page; the areas airflow, wall and hourly bring figures.

    Parameters
    ----------
    outcomes : dict of str to sequence of Case
        From `run`.
    path : path
        The HTML file.

    Returns
    -------
    pathlib.Path
        The file written.

    Raises
    ------
    InputError
        If the file cannot be written.
    """
    from cavity.report.page import write_page

    parts: list[dict[str, Any]] = []
    for area, cases in outcomes.items():
        parts.append(
            {
                "nav": area,
                "heading": f"Benchmark and verification cases: {area}",
                "fold": fold_title(cases),
                "table": {"caption": "", "head": HEAD, "rows": [_cells(case) for case in cases], "widths": _WIDTHS},
            }
        )
        if area == "airflow":
            from cavity.published.gallery import loss_figures

            parts.append(
                {
                    "nav": "loss data",
                    "heading": "Loss data of the air path",
                    "text": [
                        "Every law used for the airflow, with other published ones for comparison where available."
                    ],
                    "figures": loss_figures(),
                }
            )
        if area in ("airflow", "hourly", "risk", "wall"):
            from cavity.published import curves

            heading, figures = {
                "airflow": ("Air flow: model and measurement", curves.airflow_figures),
                "hourly": ("Convergence", curves.hourly_figures),
                "risk": ("Criteria: computed and expected", curves.risk_figures),
                "wall": ("Heat and moisture: computed and expected", curves.wall_figures),
            }[area]
            lines = [] if area == "hourly" else ["Lines are computed; points of the same colour are what is expected."]
            parts.append({"nav": f"{area} curves", "heading": heading, "text": lines, "figures": figures()})
    lead = [
        summary(outcomes),
        provenance(outcomes),
        "Air flow: one measured cavity is complete (geometry, drive and flow; a heated chimney without wind). Cladding "
        "cavities in the field are known by ranges only; their vents and drive are our assumptions.",
    ]
    return write_page(path, "Benchmark and verification cases", lead=lead, parts=parts)


def digest(outcomes: dict[str, tuple[Case, ...]]) -> dict[str, Any]:
    """Return the outcomes as plain data, for the file that reports read without running the cases.

    Parameters
    ----------
    outcomes : dict of str to tuple of Case
        From `run`.

    Returns
    -------
    dict
        `version`, `provenance` (the sentence of that name), and `cases`: area, name, inputs, source, tag, outcome; of
        those not met also `note`, and if they ran `computed`, `lower`, `upper` [`units`] to four digits.
    """
    from importlib.metadata import version

    def short(value: float) -> float:
        return float(f"{value:.4g}")

    cases = []
    for area, rows in outcomes.items():
        for case in rows:
            entry: dict[str, Any] = {"area": area, "name": case.name, "inputs": case.inputs, "source": case.source}
            entry |= {"tag": case.tag, "outcome": case.outcome}
            if case.outcome != "pass":
                entry["note"] = case.note
            if case.outcome == "outside" and case.computed is not None:
                entry |= {"computed": short(case.computed), "lower": short(case.lower), "upper": short(case.upper)}
                entry["units"] = case.units
            cases.append(entry)
    return {"version": version("cavity"), "provenance": provenance(outcomes), "cases": cases}
