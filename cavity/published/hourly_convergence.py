"""The hourly run against itself with finer cells and steps: a fictitious late winter, and whole years.

`python -m cavity.published.hourly_convergence` runs the whole years (a minute): usual cells and steps, and halved ones,
against both 8 times finer.
"""

from __future__ import annotations

import dataclasses
import functools
import math
from typing import TYPE_CHECKING, Any

import numpy as np

from cavity.constants import ICE_POINT, STANDARD_PRESSURE
from cavity.published.case import OWN, Case, band_case, value_case

if TYPE_CHECKING:
    import xarray as xr

    from cavity.wallfile.model import Wall

DAYS = 30
CONDENSATE = 0.05  # relative, our own aim for what gathers where vapour condenses
FINER = 8  # times, of cells and steps
LIMIT = 0.005  # relative humidity, the project's own aim for halved cells and steps


# of the usual run against the finer one; the largest change in any hour is shown without a limit of its own
_FINER_LIMITS = {
    "relative humidity, root mean square": 0.002,
    "relative humidity, 99 of 100 hourly values within": LIMIT,
    "relative humidity, largest change of a day's mean": LIMIT,
    "temperature, root mean square": 0.03,
    "films, root mean square": 0.001,
    "films, largest change": 0.03,
    "water in the layers, largest change": 0.02,
    "mean air change rate, relative": 0.002,
}


def fictitious_weather(days: int = DAYS) -> xr.Dataset:
    """Return fictitious hourly weather with clear frosty nights, warm afternoons, wind, and one day of rain in five.

    Parameters
    ----------
    days : int
        Length, from 1 February. [d]

    Returns
    -------
    xarray.Dataset, (time,)
        As `read_weather` returns it.
    """
    import xarray as xr

    from cavity.wall.saturation import saturation_pressure

    hour = np.arange(24 * days)
    day = 2.0 * np.pi * (hour + 0.5 - 15.0) / 24.0  # warmest at 15 h
    front = np.sin(2.0 * np.pi * hour / (24.0 * 4.7))  # a front every 4.7 days
    temperature = ICE_POINT + 2.0 + 5.0 * np.cos(day) + 4.0 * front
    humidity = np.clip(0.80 - 0.15 * np.cos(day) + 0.08 * front, 0.3, 1.0)
    height = np.maximum(0.0, np.cos(2.0 * np.pi * (hour + 0.5 - 12.0) / 24.0) - 0.15)  # sun from about 6:30 to 17:30
    clear = 0.5 - 0.4 * front
    direct, diffuse = 750.0 * clear * np.sqrt(height), 160.0 * height
    sky = temperature - 6.0 - 14.0 * clear
    rain = np.where((hour // 24) % 5 == 2, 1.0, 0.0) / 3600.0
    columns = {
        "temperature_outdoor": temperature,
        "relative_humidity_outdoor": humidity,
        "vapour_pressure_outdoor": humidity * saturation_pressure(temperature),
        "pressure": np.full(hour.size, STANDARD_PRESSURE),
        "wind_speed": 3.0 + 2.0 * front + np.cos(day),
        "wind_direction": (200.0 + 60.0 * front) % 360.0,
        "global_horizontal": direct * 0.5 * height + diffuse,
        "direct_normal": direct,
        "diffuse_horizontal": diffuse,
        "infrared_horizontal": 5.670374419e-8 * sky**4,
        "rain": rain,
    }
    start = np.datetime64("2001-02-01T00", "h")
    return xr.Dataset(
        {name: ("time", values) for name, values in columns.items()},
        coords={"time": (start + hour.astype("timedelta64[h]")).astype("datetime64[ns]")},
        attrs={
            "name": "fictitious late winter",
            "latitude": 50.0,
            "longitude": 0.0,
            "utc_offset": 0.0,
            "elevation": 0.0,
            "has_rain": 1,
            "rain_source": "file",
            "invented": 1,
            "source": "cavity.published.hourly_convergence",
            "sha256": "",
            "warnings": "[]",
            "time_policy": "start of hour",
        },
    )


def _starter_wall(like: str = "") -> Wall:
    from cavity.wallfile import parse_wall, starter

    wall = parse_wall(starter(like) if like else starter(), "starter wall")
    return dataclasses.replace(wall, run=dataclasses.replace(wall.run, max_years=1, start_month=2))


@functools.cache
def changes() -> dict[str, xr.Dataset]:
    """Return four runs of the starter wall: as it is, with halved cells, with halved steps, with both."""
    from cavity.hourly.run import simulate

    wall, weather = _starter_wall(), fictitious_weather()
    return {
        "as it is": simulate(wall, weather),
        "halved cells": simulate(wall, weather, refine_cells=2.0),
        "halved steps": simulate(wall, weather, refine_steps=2),
        "halved cells and steps": simulate(wall, weather, refine_cells=2.0, refine_steps=2),
    }


@functools.cache
def finer() -> xr.Dataset:
    """Return the run of `changes` with cells and steps eight times finer."""
    from cavity.hourly.run import simulate

    return simulate(_starter_wall(), fictitious_weather(), refine_cells=FINER, refine_steps=FINER)


def apart(run: xr.Dataset, reference: xr.Dataset) -> dict[str, tuple[float, str]]:
    """Return how far a run is from a finer one, all surfaces, segments and hours: number and unit, by what is compared.

    Parameters
    ----------
    run, reference : xarray.Dataset
        Of the same case.
    """

    def rms(values: Any) -> float:
        return float(np.sqrt((np.asarray(values, dtype=float) ** 2).mean()))

    humidity: Any = np.abs(run["relative_humidity"] - reference["relative_humidity"])
    rate, fine_rate = (float(ds["air_change_rate"].mean()) for ds in (run, reference))
    return {
        "relative humidity, root mean square": (rms(humidity), "1"),
        "relative humidity, 99 of 100 hourly values within": (float(humidity.quantile(0.99)), "1"),
        "relative humidity, largest change of a day's mean": (change_of_daily_means(run, reference), "1"),
        "relative humidity, largest change in any hour": (float(humidity.max()), "1"),
        "temperature, root mean square": (rms(run["temperature"] - reference["temperature"]), "K"),
        "films, root mean square": (rms(run["film"] - reference["film"]), "kg/m2"),
        "films, largest change": (float(np.abs(run["film"] - reference["film"]).max()), "kg/m2"),
        "water in the layers, largest change": (float(np.abs(run["water"] - reference["water"]).max()), "kg/m2"),
        "mean air change rate, relative": (rate / fine_rate - 1.0 if fine_rate else 0.0, "1"),
    }


def whole_year(climate: str, like: str) -> dict[str, dict[str, tuple[float, str]]]:
    """Return `apart` over a whole year, against cells and steps 8 times finer, by refinement.

    Parameters
    ----------
    climate : str
        A fictitious climate by name.
    like : str
        A starter; its last set of openings is run.
    """
    from cavity.climate import read_weather
    from cavity.hourly.run import simulate

    wall, weather = _starter_wall(like), read_weather(climate)
    runs = {
        name: simulate(wall, weather, opening_set=wall.opening_sets[-1].name, refine_cells=cells, refine_steps=steps)
        for name, cells, steps in (
            ("usual", 1, 1), ("halved cells", 2, 1), ("halved steps", 1, 2), ("halved cells and steps", 2, 2),
            ("8 times finer cells", FINER, 1), ("8 times finer steps", 1, FINER), ("", FINER, FINER),
        )
    }  # fmt: skip
    reference = runs.pop("")
    return {name: apart(run, reference) for name, run in runs.items()}


@functools.cache
def condensing() -> dict[float, dict[str, float]]:
    """Return what gathers in a wall whose wool meets cold steel, by refinement of its cells: amounts in kg/m2.

    Steel sheathing, 160 mm of mineral wool, gypsum board and no vapour control, a room of 21 degC and 60 %.
    """
    from cavity.hourly.run import simulate
    from cavity.wallfile import parse_wall, starter
    from cavity.wallfile.materials import material
    from cavity.wallfile.model import Layer

    wall = parse_wall(starter(), "starter wall")
    wall = dataclasses.replace(
        wall,
        backup=tuple(
            Layer(name, material(name), thickness)
            for name, thickness in (("steel", 0.0008), ("mineral wool", 0.16), ("gypsum board", 0.0125))
        ),
        indoor=dataclasses.replace(
            wall.indoor, model="constant", temperature=(ICE_POINT + 21.0,), relative_humidity=(0.6,)
        ),
        wetting=dataclasses.replace(wall.wetting, rain_penetration_layer=0, leak_layer=None),
        run=dataclasses.replace(wall.run, max_years=1, start_month=2, segments=1),
    )
    results = {}
    for refine in (1.0, 4.0):
        run = simulate(wall, fictitious_weather(), refine_cells=refine)
        plane = run.sel(face="steel | mineral wool").isel(segment=0)
        results[refine] = {
            "condensate at steel | wool, drained water included": 3600.0 * float(plane["film_by_vapour"].sum()),
            "largest film at steel | wool": float(plane["face_film"].max()),
            "largest water in the wool": float(run["water"].sel(layer="mineral wool").max()),
        }
    return results


def cases() -> tuple[Case, ...]:
    """Return the convergence cases and the balances of the run."""
    runs = dict(changes())
    base = runs.pop("as it is")
    common: dict[str, Any] = {
        "source": "own convergence check on fictitious weather",
        "tag": OWN,
        "inputs": f"starter wall, {DAYS} d of a fictitious late winter, all surfaces, segments and hours",
    }
    rows: list[Case] = []
    for name, run in runs.items():
        change: Any = np.abs(run["relative_humidity"] - base["relative_humidity"])
        rows.append(
            value_case(
                f"relative humidity, {name}: largest change of a day's mean",
                units="1",
                expected=0.0,
                computed=float(change_of_daily_means(run, base)),
                atol=LIMIT,
                **common,
            )
        )
        rows.append(
            band_case(
                f"relative humidity, {name}: largest change in any hour",
                units="1",
                band=(0.0, LIMIT),
                computed=float(change.max()),
                note=f"In 99 hours of 100 the change is below {float(change.quantile(0.99)):.4f}.",
                **common,
            )
        )
    for name, (value, units) in apart(base, finer()).items():
        limit = _FINER_LIMITS.get(name)
        title = f"usual cells and steps against {FINER} times finer ones: {name}"
        if limit is None:
            rows.append(band_case(title, units=units, band=(0.0, LIMIT), computed=value, **common))
        else:
            rows.append(value_case(title, units=units, expected=0.0, computed=value, atol=limit, **common))
    halved = apart(runs["halved cells and steps"], finer())
    rows += [
        value_case(
            f"order of the whole run, cells and steps halved together: {name}",
            units="1",
            expected=2.0,
            computed=math.log2(apart(base, finer())[name][0] / halved[name][0]),
            atol=0.5,
            note="Both against a run 8 times finer, whose own error counts a sixteenth of that of the halved one.",
            **common,
        )
        for name in ("relative humidity, root mean square", "temperature, root mean square")
    ]
    for title, name, limit in (
        ("water balance error over throughput", "water_balance_error", 1e-6),
        ("energy balance error over throughput", "energy_balance_error", 1e-4),
        ("air stream, heat balance error over throughput", "stream_heat_error", 1e-6),
        ("air stream, vapour balance error over throughput", "stream_vapour_error", 1e-6),
    ):
        rows.append(value_case(title, units="1", expected=0.0, computed=base.attrs[name], atol=limit, **common))
    by_cells = condensing()
    for title, usual in by_cells[1.0].items():
        rows.append(
            value_case(
                f"vapour condensing in wool, {title}: usual cells against a quarter of them",
                units="kg/m2",
                expected=by_cells[4.0][title],
                computed=usual,
                rtol=CONDENSATE,
                **common
                | {
                    "inputs": f"steel sheathing, mineral wool, gypsum board, room 21 degC and 60 %, {DAYS} d of a "
                    "fictitious late winter"
                },
            )
        )
    return tuple(rows)


def change_of_daily_means(run: xr.Dataset, base: xr.Dataset) -> float:
    """Return the largest change of the daily mean relative humidity at any surface [1]."""
    change = run["relative_humidity"] - base["relative_humidity"]
    return float(np.abs(change.coarsen(time=24).mean()).max())


def _print_years() -> None:
    """Print how far usual and halved cells and steps are from 8 times finer ones over whole years."""
    for climate, like in (("temperate inland", "fibre-cement"), ("temperate inland", "metal-panels")):
        print(f"\n{like} in {climate}, a year, against cells and steps {FINER} times finer")
        for name, changes in whole_year(climate, like).items():
            print(f"  {name}")
            for what, (value, units) in changes.items():
                print(f"    {what:56} {value:9.2e} {units}")


if __name__ == "__main__":
    _print_years()
