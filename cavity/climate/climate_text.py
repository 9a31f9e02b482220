"""Climates as text for the terminal, and the weather that its options describe."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from cavity.climate import year as years
from cavity.climate.estimate import estimate_rain
from cavity.climate.named import packaged
from cavity.climate.read import read_weather
from cavity.constants import HOUR, ICE_POINT
from cavity.errors import Fault, InputError

if TYPE_CHECKING:
    from collections.abc import Sequence

    import xarray as xr


def prepare(
    files: Sequence[str],
    *,
    rain: str | None = None,
    rain_total: str | None = None,
    year: str | None = None,
    warmer: float | None = None,
) -> xr.Dataset:
    """Return the weather of the files, with rain, year and shift as the options say.

    Parameters
    ----------
    files : sequence of path
        Files of one place, each of other years.
    rain : path, optional, keyword only
        Second file whose rain is used.
    rain_total : str, optional, keyword only
        Total with which rain is estimated where the files have none, as `estimate_rain` reads it. [mm]
    year : str, optional, keyword only
        ``"critical"``, ``"mean"`` or a calendar year.
    warmer : float, optional, keyword only
        Shift of temperature at constant relative humidity. [K]

    Returns
    -------
    xarray.Dataset, (time,)
        Weather.

    Raises
    ------
    InputError
        If a file cannot be read or does not have the year.
    """
    weather = years.join_years([read_weather(file, rain_file=rain) for file in files])
    if rain_total is not None:
        weather = estimate_rain(weather, rain_total)
    if year == "critical":
        weather = years.critical_year(weather)
    elif year == "mean":
        weather = years.mean_year(weather)
    elif year is not None:
        if not year.isdigit():
            expected = "critical, mean, or a calendar year"
            raise InputError(Fault("--year", "is not understood", year[:40], expected, "write one of these"))
        weather = years.one_year(weather, int(year))
    elif len(years.years_of(weather)) > 1:
        warnings = [*json.loads(weather.attrs["warnings"]), years.rank_years(years.moisture_index(weather))]
        weather = weather.assign_attrs(warnings=json.dumps(warnings, ensure_ascii=False))
    return weather if warmer is None else years.warmer(weather, warmer)


def table(head: Sequence[str], rows: Sequence[Sequence[str]], title: str) -> Any:
    """Return a rich table: text in the first column, numbers in the others."""
    from rich.markup import escape
    from rich.table import Table

    def folded(name: str) -> str:  # the unit on a separate line
        if "\n" in name:
            return name
        return "\n[".join(name.split(" [", 1)) if " [" in name else "\n".join(name.rsplit(" ", 1))

    columns = Table(title=escape(title), title_justify="left", header_style="bold", box=None, pad_edge=False)
    for i, name in enumerate(head):
        columns.add_column(
            escape(name if i == 0 else folded(name)), justify="left" if i == 0 else "right", no_wrap=i == 0,
            overflow="fold",
        )  # fmt: skip
    for row in rows:
        columns.add_row(*(escape(cell) for cell in row))
    return columns


def climates_table() -> Any:
    """Return a rich table of the fictitious climates that come with the package."""
    rows = []
    for stem, file in packaged().items():
        weather = read_weather(file)
        celsius = weather["temperature_outdoor"] - ICE_POINT
        months = celsius.groupby("time.month").mean()
        rows.append([
            stem.replace("_", " "), str(weather.attrs["name"]).removesuffix(" (fictitious)"),
            *(f"{float(value):.1f}" for value in (months.min(), celsius.mean(), months.max())),
            f"{float(weather['relative_humidity_outdoor'].mean()) * 100.0:.0f}",
            f"{float(weather['rain'].sum()) * HOUR:.0f}", f"{float(weather['wind_speed'].mean()):.1f}",
        ])  # fmt: skip
    head = ("Climate", "Place", "Coldest month °C", "Year °C", "Warmest month °C", "RH %", "Rain mm", "Wind m/s")
    return table(head, rows, "Climates that come with the program")


def notes(weather: xr.Dataset) -> list[str]:
    """Return the remarks on a climate, one sentence each."""
    warnings = [text[0].upper() + text[1:] for text in json.loads(weather.attrs["warnings"]) if text]
    return (["This climate is fictitious: no such place exists"] if weather.attrs["invented"] else []) + warnings
