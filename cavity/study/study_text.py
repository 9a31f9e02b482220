"""Sizing, uncertainty and advice as text for the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.markup import escape
from rich.table import Table

from cavity.finding_words import decimals
from cavity.study.changes import gap_text
from cavity.study.uncertainty import OVERALL, drivers

if TYPE_CHECKING:
    import xarray as xr

    from cavity.study.size import Row, Sizing


# units of inputs as shown: factor on the SI value, and the unit then
_SHOWN = {"[kg/(m2 s)]": (3.6e6, "[g/(m² h)]"), "[kg/m2]": (1e3, "[g/m²]"), "[m]": (1e3, "[mm]")}


def _table(*heads: str) -> Table:
    table = Table(header_style="bold", box=None, pad_edge=False)
    for index, head in enumerate(heads):
        table.add_column(head, overflow="fold", justify="left" if index in (0, len(heads) - 1) else "right")
    return table


def size_head(rows: Sequence[Row]) -> tuple[str, ...]:
    """Return the heads of `size_rows`."""
    if rows[0].variable == "gap":
        return ("depth", "minimum rail gap", "nearest limit there", "note")
    held = "rail gap" if rows[0].line.gap is not None else "depth"
    return (held, "minimum vents", "free vent area", "nearest limit there", "common sizes", "note")


def size_rows(sizing: Sizing, rows: Sequence[Row]) -> list[tuple[str, ...]]:
    """Return a frontier as rows of text: what is held, the least that passes, what is nearest to its limit there."""
    lines = []
    for row in rows:
        held = f"{decimals(1e3 * row.depth)} mm" if row.line.gap is None else gap_text(row.line.gap)
        least = "not computed" if not row.outcomes else "none passes"
        if row.least is not None:
            least = gap_text(row.least) if row.variable == "gap" else f"{decimals(row.least, 2)} × design"
            least += ", smallest tried" if row.at_floor else ""
        near = "-"
        if (shown := row.shown) is not None and shown.decisive is not None:
            far = f"{decimals(100.0 * shown.severity)} % of the limit"
            near = f"{shown.decisive.title}: {far if shown.decisive.can_fail else shown.decisive.status}"
            near += f", {shown.column}" if shown.column else ""
        cells = [held, least]
        if row.variable == "factor":
            cells.append(sizing.areas(row.least) if row.least is not None else "-")
        cells.append(near)
        if row.variable == "factor":
            below = sizing.below_rules(row.depth, row.least) if row.least is not None else ""
            cells.append("-" if row.least is None else "below" if below else "met")
        lines.append((*cells, row.remark))
    return lines


def size_tables(sizing: Sizing) -> list[Table]:
    """Return the frontiers as tables: vents alone, rail gaps alone, vents for each rail gap."""
    tables = []
    for title, rows in size_parts(sizing):
        table = _table(*size_head(rows))
        table.title, table.title_justify = title, "left"
        for row in size_rows(sizing, rows):
            table.add_row(*(escape(cell) for cell in row))
        tables.append(table)
    return tables


def size_parts(sizing: Sizing) -> list[tuple[str, Sequence[Row]]]:
    """Return the frontiers that were searched, each with its title."""
    parts: list[tuple[str, Sequence[Row]]] = [
        ("Vents alone" + (", rail gaps as drawn" if sizing.gaps else ""), sizing.rows)
    ]
    if sizing.gaps:
        parts.append(("Rail gaps alone, vents as drawn", sizing.gaps))
    if sizing.together:
        parts.append((f"Vents for each rail gap, at {decimals(1e3 * sizing.together[0].depth)} mm", sizing.together))
    return parts


def uncertainty_table(study: xr.Dataset) -> Table:
    """Return the criteria as a table: probability of no failure, band of values, most influential input."""
    table = _table("criterion", "probability\nof no failure", "5 to 95 % of samples", "limit", "most influential input")
    for key in [str(name) for name in study["criterion"].values]:
        row = study.sel(criterion=key)
        if not int(row["criterion_can_fail"]):
            continue
        units = "" if key == OVERALL else row["criterion_shown"].values
        factor = float(row["criterion_factor"])  # to what people write
        band = factor * row["value_band"]
        name, strength = drivers(study, key)[0]
        spread = float(band[0]) < float(band[-1])  # nothing influences what does not vary
        title = str(study["input_title"].sel(input=name).values)
        table.add_row(
            escape(str(row["criterion_title"].values)),
            f"{decimals(100 * float(row['probability_met']))} %",
            f"{decimals(band[0], 2)} to {decimals(band[-1], 2)} {units}",
            decimals(factor * row["criterion_limit"], 2),
            f"{escape(title)} ({decimals(strength, 2)})" if spread and strength else "-",
        )
    return table


def shown_title(title: object) -> str:
    """Return the title of an input with the unit in which it is shown."""
    words, _, unit = str(title).rpartition("[")
    return f"{words}{_SHOWN[f'[{unit}'][1]}" if f"[{unit}" in _SHOWN else str(title)


def input_rows(study: xr.Dataset) -> list[tuple[str, ...]]:
    """Return the inputs as rows, the most influential first: range, influence on all criteria, origin of the range."""
    rows = []
    for name, strength in drivers(study):
        row = study.sel(input=name, criterion=OVERALL)
        title = str(row["input_title"].values)
        scale, _ = _SHOWN.get(f"[{title.rpartition('[')[2]}", (1.0, ""))
        title = shown_title(title)
        ends = f"{scale * float(row['input_low']):.3g} to {scale * float(row['input_high']):.3g}"
        figures = [decimals(strength, 2)]
        if "total_order" in study:
            figures.append(decimals(row["first_order"], 2))
            low, high = (decimals(row[key], 2) for key in ("total_low", "total_high"))
            figures.append(f"{decimals(row['total_order'], 2)} ({low} to {high})")
        rows.append((title, ends, *figures, str(row["input_origin"].values)))
    return rows


def input_head(study: xr.Dataset) -> tuple[str, ...]:
    """Return the heads of `input_rows`."""
    indices = ("first-order index", "total-order index (95 %)") if "total_order" in study else ()
    return ("input", "range", "rank correlation", *indices, "source of the range")


def range_table(study: xr.Dataset) -> Table:
    """Return `input_rows` as a table, without the sources."""
    table = _table(*(head.replace(" index", "\nindex").replace("k cor", "k\ncor") for head in input_head(study)[:-1]))
    for row in input_rows(study):
        table.add_row(*(escape(cell) for cell in row[:-1]))
    return table


def range_lines(study: xr.Dataset) -> list[str]:
    """Return the source of each range, one line an input."""
    lines = [f"Range of the {row[0]}: {row[-1]}." for row in input_rows(study)]
    return (
        [*lines, "† cited from memory, not re-checked against the text."] if any("†" in row for row in lines) else lines
    )
