"""Many walls in one table: wall, facing, strip, verdict, what governs, the recommended case; terminal, page and CSV."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from cavity.files import csv_text
from cavity.report import verdict
from cavity.report.palette import STATUS_PATH
from cavity.risk.ranking import NOT_COMPUTED, status

HEAD = (
    "wall", "facing", "strip", "verdict", "governing criterion", "recommended case", "climate", "decides", "file",
    "reason",
)  # fmt: skip
_SHOWN = 6  # columns of the terminal and of the page


@dataclass(frozen=True)
class Row:
    """One strip of one wall, facing one way, with the recommended case: the worst of all climates.

    Parameters
    ----------
    wall, facing, strip : str
        Which.
    status : str
        pass, review, fail, or none where it was not computed.
    verdict : str
        The same in words.
    criterion : str
        The criterion that decides, with value and limit.
    case : str
        Openings, depth and variant recommended for the whole wall, or of least risk where nothing can be recommended.
    climate : str
        Climate that decides.
    decides : bool
        Whether this strip and facing decide the verdict of the wall; so does one row of each wall.
    file : str
        Wall file.
    report : str
        Report of the wall, beside the page; empty where there is none.
    reason : str
        Why it was not computed; empty where it was.
    """

    wall: str
    facing: str
    strip: str
    status: str
    verdict: str
    criterion: str
    case: str
    climate: str
    decides: bool
    file: str
    report: str
    reason: str = ""

    @property
    def texts(self) -> tuple[str, ...]:
        """The row under `HEAD`."""
        said = "yes" if self.decides else ""
        return (
            self.wall, self.facing, self.strip, self.verdict, self.criterion, self.case, self.climate, said, self.file,
            self.reason,
        )  # fmt: skip


def rows(comparison: Any, *, file: str = "", report: str = "", seen: verdict.View | None = None) -> list[Row]:
    """Return the rows of one wall: each facing and strip of its recommended case.

    Parameters
    ----------
    comparison : Comparison
        Of one wall.
    file, report : str, keyword only
        Its wall file, and its report relative to the page.
    seen : View, keyword only
        The comparison, ranked; ranked here where not given.

    Returns
    -------
    list of Row
        By facing and strip; the wall fails where any of them does.
    """
    seen = seen or verdict.view(comparison)
    best = seen.best
    case = f"{best.opening_set}, {verdict.depth_text(best.depth)}" + f", variant {best.variant}" * bool(best.variant)
    if seen.recommendation is None:
        case = f"none; lowest risk: {case}"
    lead = best.decides[0].name[1:] if best.decides else best.parts[0].name[1:]
    made = []
    for facing in seen.facings:
        for strip in seen.strips:
            parts = [part for part in best.parts if (part.column, part.orientation) == (strip, facing)]
            if not parts:
                continue
            lost = [part for part in parts if not part.computed]
            pairs = [(found, part) for part in parts for found in part.findings]
            state = status(found for found, _ in pairs)
            if lost and state != "fail":
                state = NOT_COMPUTED
            found = verdict.worst(found for found, _ in pairs)
            climate = next((part.climate for each, part in pairs if each is found), parts[0].climate)
            rain = all(verdict.has_rain(part.case) for part in parts if part.computed)
            made.append(
                Row(
                    str(seen.cases[0].wall_name), verdict.facing_text(facing), strip, state, verdict.word(state, rain),
                    verdict.found_text(found) if found is not None else "no criterion was judged", case, climate,
                    (strip, facing) == lead, file, report, lost[0].case.reason if lost else "",
                )
            )  # fmt: skip
    return made


def lost(wall: str, reason: str, *, file: str = "") -> Row:
    """Return the row of a wall of which nothing could be computed."""
    return Row(wall, "", "", NOT_COMPUTED, verdict.word(NOT_COMPUTED), "", "", "", True, file, "", reason)


def table(found: Sequence[Row]) -> Any:
    """Return the rows that decide, one a wall, as a rich table."""
    from rich.table import Table
    from rich.text import Text

    from cavity.report.comparison_text import MARK, STYLE

    made = Table(title="Walls: governing strip and orientation", title_justify="left")
    for head in HEAD[:_SHOWN]:
        made.add_column(head, overflow="fold", min_width=max(map(len, head.split())))
    for row in found:
        if row.decides:
            wall, facing, strip, verdict, *rest = row.texts[:_SHOWN]
            said = Text(f"{MARK.get(row.status, '-')} {verdict}", style=STYLE.get(row.status, ""))
            if row.reason and not row.case:
                rest[0] = row.reason
            made.add_row(Text(wall), facing, Text(strip), said, *map(Text, rest))
    return made


def csv(found: Sequence[Row]) -> str:
    """Return all rows as CSV under `HEAD`: every facing and strip of every wall."""
    return csv_text(HEAD, [row.texts for row in found])


def lines(found: Sequence[Row]) -> list[str]:
    """Return how many walls pass, need review, fail and could not be computed, in one sentence."""
    each = [row.status for row in found if row.decides]
    counts = [(each.count(state), text) for state, text in (
        ("pass", "pass"), ("review", "need review"), ("fail", "fail"), (NOT_COMPUTED, "not computed"))]  # fmt: skip
    said = ", ".join(f"{count} {text}" for count, text in counts if count)
    return [f"{len(each)} walls with the recommended case of each: {said}."]


def heads() -> list[str]:
    """Return the heads of `cells`, as a page shows them."""
    return [f"{head[:1].upper()}{head[1:]}" for head in HEAD[:_SHOWN]]


def cells(row: Row) -> list[Any]:
    """Return the cells of a row of the page."""
    from urllib.parse import quote

    from markupsafe import Markup, escape

    wall = Markup('<a href="{}">{}</a>').format(quote(row.report), row.wall) if row.report else escape(row.wall)
    mark = Markup(
        '<svg viewBox="0 0 16 16" aria-hidden="true" focusable="false"><path fill-rule="evenodd" d="{}"/></svg>'
    )
    drawn = mark.format(STATUS_PATH[row.status]) if row.status in STATUS_PATH else Markup("")
    verdict = Markup('<span class="status s-{}">{}{}</span>').format(row.status, drawn, row.verdict)
    return [wall, row.facing, row.strip, verdict, row.criterion or row.reason, row.case]
