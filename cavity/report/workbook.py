"""A comparison as a spreadsheet: schedule, choices, findings, months, hours; numbers as numbers, units in the heads."""

from __future__ import annotations

import datetime as dt
import io
import math
import os
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from cavity.errors import Fault, InputError
from cavity.files import write_whole
from cavity.report import brief, display, office, schedule, tables, verdict

if TYPE_CHECKING:
    from cavity.study.size import Sizing

_TITLES = {
    "choices": "Choices", "cases": "Cases", "findings": "Findings", "months": "Months", "rules": "Rule check",
}  # fmt: skip
_WIDEST, _NARROWEST, _SAMPLE = 60, 9, 200  # characters; rows looked at
_TIME = "yyyy-mm-dd hh:mm"


def write_xlsx(comparison: Any, path: str | os.PathLike[str]) -> Path:
    """Write a comparison as a spreadsheet (XLSX).

    Sheets: summary, vent schedule of the recommended case, choices, cases, findings and months of all cases, rule
    check, and the hours of the case that decides the recommended choice.

    Parameters
    ----------
    comparison : Comparison
        As for `write_report`.
    path : path
        The file, its name ending in ``.xlsx``; an existing one is replaced only by a complete one.

    Returns
    -------
    pathlib.Path
        The file written.

    Raises
    ------
    InputError
        If openpyxl is not installed, the name has another ending, or the file cannot be written.
    """
    return _written(_fill_comparison, comparison, path)


def write_size_xlsx(found: Sizing, path: str | os.PathLike[str]) -> Path:
    """Write a sizing as a spreadsheet (XLSX): its answer, the minimum on each line, and every case tried.

    Parameters
    ----------
    found : Sizing
        From `cavity.study.size.size`.
    path : path
        As for `write_xlsx`.

    Returns
    -------
    pathlib.Path
        The file written.

    Raises
    ------
    InputError
        As `write_xlsx`.
    """
    return _written(_fill_sizing, found, path)


def _written(fill: Callable[[Any, Any], None], what: Any, path: str | os.PathLike[str]) -> Path:
    """Fill a book and write it, whole or not at all."""
    office.needed("--xlsx", path)
    from openpyxl import Workbook

    whole = io.BytesIO()
    try:
        book = Workbook(write_only=True)
        fill(book, what)
        book.save(whole)
    except OSError as error:  # rows wait in temporary files
        raise InputError(
            Fault(os.fspath(path)[:200], f"cannot be written: {error.strerror or error}", fix="free space, then again")
        ) from None
    return write_whole(path, whole.getvalue())


def _fill_comparison(book: Any, comparison: Any) -> None:
    seen = verdict.view(comparison)
    said = brief.brief(comparison, seen)
    case = brief.deciding(seen)
    book.properties.title = office.clean(f"{said.wall}: ventilated cavity")
    book.properties.creator = f"Cavity {said.version}"
    _sheet(book, "Summary", ("What", "Value"), _summary(said, case), wrap=True)
    shown = verdict.drawn_parts(seen)
    rows = schedule.numbers(schedule.rows(shown[0].case.dataset)) if shown else []
    _sheet(book, "Vent schedule", schedule.HEAD, rows)
    held = tables.sheets(comparison)
    for name, title in _TITLES.items():
        _sheet(book, title, *held[name])
    head, columns = tables.hours(case.dataset)
    times = case.dataset["time"].values.astype("datetime64[s]").astype(dt.datetime)
    _sheet(book, "Hours", ("time, start of the hour", *head), _hours(times, columns), freeze="B2")


def _fill_sizing(book: Any, found: Sizing) -> None:
    from cavity.study.study_text import size_parts

    book.properties.title = office.clean(f"{found.wall_name}: vents and depth")
    rows: list[list[Any]] = [
        ["Wall", found.wall_name], ["Climate", found.climate_name], ["Openings", found.opening_set],
        ["Strips that must pass", found.column], ["Margin to every limit [%]", 100.0 * found.margin],
        *([f"{name}, free vent area as drawn [cm2/m]", 1e4 * area] for name, area in found.drawn),
        *(["Answer", line] for line in found.sentences), *(["Caution", line] for line in verdict.CAUTIONS),
    ]  # fmt: skip
    _sheet(book, "Summary", ("What", "Value"), rows, wrap=True)
    minima, tried = [], []
    for title, lines in size_parts(found):
        for line in lines:
            least = math.nan if line.least is None else line.least
            gap = line.variable == "gap"
            minima.append(
                [title, 1e3 * line.depth, math.nan if line.line.gap is None else 1e3 * line.line.gap,
                 math.nan if gap else least, 1e3 * least if gap else math.nan, "yes" if line.at_floor else "",
                 line.note]
            )  # fmt: skip
            tried += [
                [title, 1e3 * each.depth, each.factor, math.nan if each.point.gap is None else 1e3 * each.point.gap,
                 "yes" if each.passes else "no", 100.0 * each.severity,
                 each.decisive.title if each.decisive is not None else "", each.column, each.failure]
                for each in line.outcomes
            ]  # fmt: skip
    held = ("Line", "Cavity depth [mm]")
    head: tuple[str, ...] = (
        *held,
        "Rail gap held [mm]",
        "Minimum vents, factor on the design",
        "Least rail gap [mm]",
        "Smallest tried",
        "Note",
    )
    _sheet(book, "Minima", head, minima)
    head = (*held, "Vents, factor on the design", "Rail gap [mm]", "Passes", "Largest ratio to a limit [%]",
            "Governing criterion",
            "Strip", "Not computed")  # fmt: skip
    _sheet(book, "Cases tried", head, tried)


def _summary(said: brief.Brief, case: Any) -> list[list[Any]]:
    rows = [
        ["Wall", said.wall], ["Description", said.description], ["Climate", said.climate], ["Facing", said.facing],
        ["Date", said.day], ["Computed with", f"Cavity {said.version}"], ["Verdict", said.verdict],
        [said.heading, f"{said.choice}, {said.depth[0]}: {said.word}"],
        *(["Reason", line] for line in said.reasons), *(["Rain", line] for line in said.rain),
        *(["Strip", "; ".join(text for text in row.texts if text)] for row in said.strips),
        ["Outside to inside", said.layers],
        ["Sheet Hours", brief.case_head(case)],
        ["Hours of other cases", "as NetCDF, by --save"],
        *(["Limit of the model", line] for line in said.limits), *(["Caution", line] for line in said.cautions),
    ]  # fmt: skip
    if said.invented:
        rows.insert(1, ["Note", "fictitious example"])
    return rows


def _hours(times: Sequence[dt.datetime], columns: Sequence[np.ndarray]) -> Iterable[list[Any]]:
    """Return a row an hour, values to six digits as single precision holds them."""
    whole = [[float(f"{value:.6g}") for value in np.asarray(column, float)] for column in columns]
    for row in zip(times, *whole, strict=True):
        yield list(row)


def _sheet(
    book: Any, title: str, head: Sequence[str], rows: Iterable[Sequence[Any]], *, freeze: str = "A2", wrap: bool = False
) -> None:
    """Add a sheet: a frozen head with units, numbers of a column with the same decimals; it prints with its head."""
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter

    sheet = book.create_sheet(title)
    sheet.freeze_panes = freeze
    sheet.print_title_rows = "1:1"
    sheet.page_setup.orientation, sheet.page_setup.paperSize = "landscape", 9  # A4
    if len(head) <= 25:  # more columns would be too small to be read on one sheet
        sheet.sheet_properties.pageSetUpPr.fitToPage, sheet.page_setup.fitToHeight = True, 0
    first: list[Sequence[Any]] = []
    rest = iter(rows)
    for row in rest:
        first.append(row)
        if len(first) == _SAMPLE:
            break
    for at, name in enumerate(head):
        texts = [len(str(row[at])) for row in first if isinstance(row[at], str)]
        longest = max([len(part) for part in name.split()] + texts + [min(len(name), 16)])
        wide = min(max(longest + 2, _NARROWEST), _WIDEST)
        sheet.column_dimensions[get_column_letter(at + 1)].width = max(wide, 18) if name.startswith("time") else wide
    heads = []
    for name in head:
        words, bracket, unit = name.partition("[")
        unit = display.typeset(bracket + unit).replace("[degree]", "[°]")
        cell = WriteOnlyCell(sheet, office.clean(words[:1].upper() + words[1:] + unit))
        cell.font, cell.alignment = Font(bold=True), Alignment(wrap_text=True, vertical="top")
        heads.append(cell)
    sheet.append(heads)
    formats = [_decimals([row[at] for row in first]) for at in range(len(head))]
    count = 1
    for part in (first, rest):
        for row in part:
            sheet.append([_cell(sheet, value, form, wrap) for value, form in zip(row, formats, strict=True)])
            count += 1
    if len(head) > 2:
        sheet.auto_filter.ref = f"A1:{get_column_letter(len(head))}{count}"


def _decimals(values: Sequence[Any]) -> str:
    """Return the number format of a column by its largest number: three digits or more, and no more than whole ones."""
    sizes = [abs(float(value)) for value in values if isinstance(value, (float, np.floating)) and math.isfinite(value)]
    largest = max(sizes, default=0.0)
    if not largest or all(size == round(size) for size in sizes):
        return "General"
    places = min(max(2 - math.floor(math.log10(largest)), 0), 6)
    return "0." + "0" * places if places else "0"


def _cell(sheet: Any, value: Any, form: str, wrap: bool) -> Any:
    """Return a value as a cell takes it: numbers with a format, what is not known empty, text never as a formula."""
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Alignment

    if isinstance(value, (bool, int)) or value is None:
        return value
    if isinstance(value, np.integer):
        return int(value)
    if isinstance(value, (float, np.floating)):
        if not math.isfinite(value):
            return None
        made = WriteOnlyCell(sheet, float(value))
        made.number_format = form
        return made
    if isinstance(value, dt.datetime):
        made = WriteOnlyCell(sheet, value)
        made.number_format = _TIME
        return made
    made = WriteOnlyCell(sheet, office.clean(str(value)))
    made.data_type = "s"  # also where it begins with a sign of equality
    if wrap:
        made.alignment = Alignment(wrap_text=True, vertical="top")
    return made
