"""The monthly method as text for the terminal."""

from __future__ import annotations

import calendar
from typing import TYPE_CHECKING

import numpy as np
from rich.markup import escape
from rich.table import Table

from cavity.constants import ICE_POINT
from cavity.wall.saturation import saturation_pressure

if TYPE_CHECKING:
    from cavity.wall.monthly import Monthly

_SHOWN = 3  # planes with most condensate that get columns of their own


def monthly_table(result: Monthly) -> Table:
    """Return the table of months in calendar order: air on both sides, surface factor, condensate at the worst planes.

    Parameters
    ----------
    result : Monthly
        From `monthly`.

    Returns
    -------
    rich.table.Table
    """
    year = result.year
    most = year.accumulated.max(axis=0)
    planes = [int(plane) for plane in np.argsort(-most, kind="stable")[:_SHOWN] if most[plane] > 0.0]
    table = Table(header_style="bold", box=None, pad_edge=False)
    table.add_column("month")
    for head in (
        "outdoors\n[degC]",
        "outdoors\n[% RH]",
        "room\n[degC]",
        "room\n[% RH]",
        "f_Rsi\nneeded",
    ):
        table.add_column(escape(head), justify="right", no_wrap=True)
    for plane in sorted(planes):
        table.add_column(escape(f"{result.planes[plane]}\n[g/m2]"), justify="right")
    for month in range(12):
        row = int(np.flatnonzero(year.month == month)[0])
        outdoor, room = result.temperature_outdoor[month], result.temperature_indoor[month]
        needed = result.surface_factor_needed[month]
        table.add_row(
            calendar.month_abbr[month + 1],
            f"{outdoor - ICE_POINT:.1f}",
            f"{100 * result.vapour_pressure_outdoor[month] / saturation_pressure(outdoor):.0f}",
            f"{room - ICE_POINT:.1f}",
            f"{100 * result.vapour_pressure_indoor[month] / saturation_pressure(room):.0f}",
            f"{needed:.2f}" if np.isfinite(needed) else "-",
            *(_condensate(year.change[row, plane], year.accumulated[row, plane]) for plane in sorted(planes)),
        )
    return table


def monthly_lines(result: Monthly) -> list[str]:
    """Return the findings of the monthly method, one sentence each: U-value, class of the air layer, condensate."""
    found = result.u_value
    lines = [
        f"U-value {found.u_value:.3f} W/(m2 K), total resistance {found.resistance:.2f} m2 K/W; the cavity is "
        f"{found.ventilation_class} by ISO 6946: {1e6 * found.opening_area:.0f} mm2 of vents per metre."
    ]
    wet = int((result.year.accumulated.max(axis=0) > 0.0).sum())
    if wet > _SHOWN:
        lines.append(f"Condensate occurs at {wet} planes; the table shows the {_SHOWN} wettest.")
    return [*lines, *result.notes]


def _condensate(change: float, held: float) -> str:
    """Change over the month with its sign, then what is held at its end."""
    if held <= 0.0 and abs(change) <= 0.0:
        return "-"
    return f"{1000 * change:+.0f} = {1000 * held:.0f}"
