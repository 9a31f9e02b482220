"""The monthly method as text for the terminal."""

from __future__ import annotations

import calendar
from typing import TYPE_CHECKING, Any

import numpy as np
from rich.markup import escape
from rich.table import Table

from cavity.constants import ICE_POINT
from cavity.wall import uvalue
from cavity.wall.saturation import saturation_pressure

if TYPE_CHECKING:
    from rich.console import RenderableType

    from cavity.wall.monthly import Monthly
    from cavity.wallfile.model import Material

_CURVE = (0.1, 0.3, 0.5, 0.65, 0.8, 0.9, 0.95, 0.98, 0.995)  # relative humidities of a material's printed curves
_BAR = 24  # characters of the longest bar
_SHOWN = 3  # wettest planes that have columns


def monthly_table(result: Monthly) -> Table:
    """Return the table of months in calendar order: air on both sides, temperature factor, condensate.

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
        needed = result.temperature_factor_needed[month]
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


def material_curves(row: Material, width: int = 100) -> RenderableType:
    """Return the curves of a material in the hourly model: water content, vapour resistance, liquid transport.

    Parameters
    ----------
    row : Material
        A row of the materials table.
    width : int
        Width of the terminal in characters; from 100 on water content is drawn as bars.

    Returns
    -------
    rich renderable
    """
    from rich.text import Text

    from cavity.wall import storage

    grid = storage.suction_grid()
    tables = storage.material_tables(row, grid)
    at = storage.from_humidity(np.array(_CURVE))
    membrane = row.sd is not None or bool(row.sd_table)
    if membrane:
        table: Any = row.sd_table or ((0.5, row.sd),)
        resistance = np.exp(np.interp(_CURVE, *np.transpose([(h, np.log(sd)) for h, sd in table])))
    else:
        resistance = np.exp(np.interp(at, grid, np.log(np.minimum(tables.mu, 1e9))))
    water = np.interp(at, grid, tables.water)
    slope = np.interp(at, grid, tables.water_slope)
    liquid = np.interp(at, grid, tables.potential_slope)
    stores = row.free_saturation > 0.0 and not membrane
    conducts = bool(tables.potential_slope.any()) and not membrane
    shown = Table(header_style="bold", box=None, pad_edge=False)
    shown.add_column("RH\n%", justify="right")
    shown.add_column("s_d\nm" if membrane else "mu\n-", justify="right")
    if stores:
        shown.add_column("w\nkg/m3", justify="right")
        shown.add_column("w\n% by mass", justify="right")
        shown.add_column("lambda\nW/(m K)", justify="right")
    if conducts:
        shown.add_column("D_w\nm2/s", justify="right")
    bars = stores and width >= 100
    if bars:
        shown.add_column("w", no_wrap=True)
    for k, humidity in enumerate(_CURVE):
        cells = [f"{100 * humidity:.3g}", "tight" if resistance[k] > 1e8 else f"{resistance[k]:.3g}"]
        if stores:
            cells += [f"{water[k]:.3g}", f"{100 * water[k] / row.density:.3g}"]
            cells += [f"{row.conductivity + row.moisture_conductivity * water[k]:.3g}"]
        if conducts:
            cells += [f"{liquid[k] / slope[k]:.1e}" if slope[k] > 0.0 else "-"]
        if bars:
            cells += ["█" * max(round(_BAR * water[k] / max(water[-1], 1e-9)), 1 if water[k] > 0.0 else 0)]
        shown.add_row(*(Text(cell) for cell in cells))
    return shown


def monthly_lines(result: Monthly) -> list[str]:
    """Return the results of the monthly method as sentences: U-value, class of the air layer, condensate."""
    heat = result.u_value
    lines = [
        f"U-value {heat.u_value:.3f} W/(m2 K), total resistance {heat.resistance:.2f} m2 K/W"
        f"{uvalue.contributions_text(heat)}; the cavity is {heat.ventilation_class} by ISO 6946: "
        f"{1e6 * heat.opening_area:.0f} mm2 of vents per metre."
    ]
    wet = int((result.year.accumulated.max(axis=0) > 0.0).sum())
    if wet > _SHOWN:
        lines.append(f"Condensate occurs at {wet} planes; the table shows the {_SHOWN} wettest.")
    return [*lines, *result.notes]


def _condensate(change: float, amount: float) -> str:
    """Return the change over the month with its sign, and the amount at its end."""
    if amount <= 0.0 and abs(change) <= 0.0:
        return "-"
    return f"{1000 * change:+.0f} = {1000 * amount:.0f}"
