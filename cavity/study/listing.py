"""Sizing, uncertainty and advice as text for the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.markup import escape
from rich.table import Table

from cavity.risk.finding import number
from cavity.study.uncertainty import OVERALL, drivers

if TYPE_CHECKING:
    import xarray as xr

    from cavity.study.size import Sizing

_SHOWN = 5  # drivers listed


def _table(*heads: str) -> Table:
    table = Table(header_style="bold", box=None, pad_edge=False)
    for index, head in enumerate(heads):
        table.add_column(head, overflow="fold", justify="left" if index in (0, len(heads) - 1) else "right")
    return table


def size_table(found: Sizing) -> Table:
    """Return the frontier as a table: by depth the least factor, its free vent areas, severity there, and a note."""
    table = _table("depth", "times\nas drawn", "free vent area", "value over\nlimit", "what the search saw")
    for row in found.rows:
        if row.least is None:
            cells = ["none", "-", number(row.best.severity, 2)] if row.best else ["not computed", "-", "-"]
        else:
            at = next(outcome for outcome in row.outcomes if outcome.factor == row.least)
            cells = [number(row.least, 2), escape(found.areas(row.least)), number(at.severity, 2)]
        table.add_row(f"{number(1e3 * row.depth)} mm", *cells, escape(row.note))
    return table


def uncertainty_table(study: xr.Dataset) -> Table:
    """Return the criteria as a table: probability that each does not fail, band of its value, and what drives it."""
    table = _table("criterion", "does not fail", "5 to 95 % of samples", "limit", "driven most by")
    for key in [str(name) for name in study["criterion"].values]:
        row = study.sel(criterion=key)
        if not int(row["criterion_can_fail"]):
            continue
        band = row["value_band"]
        name, strength = drivers(study, key)[0]
        spread = float(band[0]) < float(band[-1])  # nothing drives what does not vary
        title = str(study["input_title"].sel(input=name).values)
        table.add_row(
            escape(str(row["criterion_title"].values)),
            f"{number(100 * float(row['probability_met']))} %",
            f"{number(band[0], 2)} to {number(band[-1], 2)} {'' if key == OVERALL else row['criterion_units'].values}",
            number(row["criterion_limit"], 2),
            f"{escape(title)} ({number(strength, 2)})" if spread and strength else "-",
        )
    return table


def range_table(study: xr.Dataset) -> Table:
    """Return the inputs varied as a table: range, origin, and rank correlation with the overall severity."""
    table = _table("input", "low", "high", "rank correlation", "range from")
    for name, strength in drivers(study)[:_SHOWN]:
        row = study.sel(input=name)
        ends = (f"{float(row['input_low']):g}", f"{float(row['input_high']):g}")
        title, origin = escape(str(row["input_title"].values)), escape(str(row["input_origin"].values))
        table.add_row(title, *ends, number(strength, 2), origin)
    return table
