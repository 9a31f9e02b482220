"""The year to compute: a critical or a mean one of several years; and a warmer climate by a plain shift."""

from __future__ import annotations

import hashlib
import json
from typing import TYPE_CHECKING

import numpy as np

from cavity.climate.humid import table_saturation_pressure
from cavity.climate.on_wall import angle_to_wall
from cavity.climate.rain import free_field_rain, liquid_rain
from cavity.climate.read import SEVERAL
from cavity.climate.series import NOMINAL_YEAR, month_of
from cavity.constants import HOUR, WATER_TO_AIR
from cavity.errors import Fault, InputError

if TYPE_CHECKING:
    from collections.abc import Sequence

    import xarray as xr

SEAM = 8  # h, smoothed on either side where months of different years meet (ISO 15927-4)


def years_of(weather: xr.Dataset) -> list[int]:
    """Return the calendar years of a weather Dataset, in order.

    Parameters
    ----------
    weather : xarray.Dataset, (time,)
        Weather as `read_weather` returns it.

    Returns
    -------
    list of int
        Calendar years.
    """
    return np.unique(weather["time"].dt.year.to_numpy()).tolist()


def join_years(parts: Sequence[xr.Dataset]) -> xr.Dataset:
    """Return the years of several files of one place as one weather Dataset.

    Parameters
    ----------
    parts : sequence of xarray.Dataset, (time,)
        Weather as `read_weather` returns it, each of other years.

    Returns
    -------
    xarray.Dataset, (time,)
        All hours in order of time; it has rain only where every part has.

    Raises
    ------
    InputError
        If the locations differ by more than 0.1 degree, or a year occurs twice.
    """
    import xarray as xr

    first = parts[0]
    if len(parts) == 1:
        return first
    source_of_year: dict[int, str] = {}
    notes: list[str] = []
    for part in parts:
        source = part.attrs["source"]
        for key in ("latitude", "longitude"):
            # 0.1 degree is 11 km at most: stations may move within a town
            if abs(part.attrs[key] - first.attrs[key]) > 0.1 or part.attrs["utc_offset"] != first.attrs["utc_offset"]:
                raise InputError(
                    Fault(
                        source,
                        "another location than in the first file",
                        f"{key} {part.attrs[key]:g}",
                        f"{key} {first.attrs[key]:g}, within 0.1 degree, in the same time zone",
                        "join files of one location only",
                    )
                )
        for year in years_of(part):
            if year in source_of_year:
                fix = "remove one; typical years have no calendar year and cannot be joined"
                raise InputError(
                    Fault(
                        source,
                        "the year occurs twice",
                        f"{year}, also in {source_of_year[year]}",
                        "each year once",
                        fix,
                    )
                )
            source_of_year[year] = source
        notes += [text for text in json.loads(part.attrs["warnings"]) if text not in notes]
    shared = set.intersection(*({*part.coords} for part in parts))
    parts = [part.drop_vars([name for name in part.coords if name not in shared]) for part in parts]
    joined = xr.concat(sorted(parts, key=lambda part: part["time"].to_numpy()[0]), "time")
    rainy = all(part.attrs["has_rain"] for part in parts)
    if not rainy:
        joined["rain"].data[:] = 0.0
    return joined.assign_attrs(
        first.attrs
        | {
            "has_rain": int(rainy),
            "rain_source": first.attrs["rain_source"] if rainy else "none",
            "source": ", ".join(part.attrs["source"] for part in parts),
            "sha256": hashlib.sha256("".join(part.attrs["sha256"] for part in parts).encode()).hexdigest(),
            "invented": int(any(part.attrs["invented"] for part in parts)),
            "warnings": json.dumps(notes, ensure_ascii=False),
        }
    )


def one_year(weather: xr.Dataset, year: int) -> xr.Dataset:
    """Return one calendar year of a weather Dataset.

    Parameters
    ----------
    weather : xarray.Dataset, (time,)
        Weather of one or more years.
    year : int
        Calendar year.

    Returns
    -------
    xarray.Dataset, (time,)
        Its hours, with the year added to the name.

    Raises
    ------
    InputError
        If the weather does not have the year.
    """
    known = years_of(weather)
    if year not in known:
        raise InputError(
            Fault(
                weather.attrs["source"],
                "the year is not in the file",
                str(year),
                ", ".join(map(str, known)),
                "choose one of them",
            )
        )
    of_year = weather.isel(time=np.flatnonzero(weather["time"].dt.year.to_numpy() == year))
    return (
        of_year
        if len(known) == 1
        else _renamed(of_year, f"{weather.attrs['name']} {year}", f"the year {year} of several")
    )


def moisture_index(weather: xr.Dataset, *, orientation: float | None = None) -> dict[int, tuple[float, float, float]]:
    """Return wetting, drying and moisture index of each year.

    Wetting is the driving rain of the free field [L/m2] on the given orientation, or on the wettest of sixteen. Drying
    is the sum of the difference between saturation and actual humidity ratio of the air [kg h/kg]. Both are scaled to
    0-1 over the years, and MI = sqrt(W^2 + (1 - D)^2).

    Parameters
    ----------
    weather : xarray.Dataset, (time,)
        Weather of two or more years.
    orientation : float or None, keyword only
        Direction the wall faces, clockwise from north. [degree]

    Returns
    -------
    dict of int to (float, float, float)
        Year: wetting [L/m2], drying [kg h/kg], moisture index [1].

    References
    ----------
    Cornick, Djebbar and Dalgliesh 2003, Selecting moisture reference years using a moisture index approach, Building
    and Environment 38, 1367-1379; from memory. Its wetting index may be driving rain or rain; here it is driving rain.
    """
    year = weather["time"].dt.year.to_numpy()
    known = years_of(weather)
    facing = [orientation] if orientation is not None else list(np.arange(16) * 22.5)
    rain, speed, direction = (
        liquid_rain(weather),
        *(weather[name].to_numpy() for name in ("wind_speed", "wind_direction")),
    )
    amounts = [free_field_rain(rain, speed, angle_to_wall(direction, orientation)) * HOUR for orientation in facing]
    wettest = max(amounts, key=lambda amount: float(amount.sum()))
    vapour, pressure = weather["vapour_pressure_outdoor"].to_numpy(), weather["pressure"].to_numpy()
    full = table_saturation_pressure(weather["temperature_outdoor"].to_numpy())
    lacking = WATER_TO_AIR * (full / (pressure - full) - vapour / (pressure - vapour))
    wetting = np.array([wettest[year == number].sum() for number in known])
    drying = np.array([lacking[year == number].sum() for number in known])
    index = scaled_index(wetting, drying)
    return {
        number: (float(w), float(d), float(m)) for number, w, d, m in zip(known, wetting, drying, index, strict=True)
    }


def scaled_index(wetting: np.ndarray, drying: np.ndarray) -> np.ndarray:
    """Return sqrt(W^2 + (1 - D)^2) of wetting and drying, each scaled to 0-1 over all items [1]."""

    def scaled(values: np.ndarray) -> np.ndarray:
        width = float(np.ptp(values))
        return (values - values.min()) / width if width > 0.0 else np.zeros(values.shape)

    return np.hypot(scaled(wetting), 1.0 - scaled(drying))


def critical_year(weather: xr.Dataset, *, orientation: float | None = None) -> xr.Dataset:
    """Return the critical year of several, at the 10 % level of the moisture index.

    One year of ten reaches or exceeds its index: the most severe of up to 19 years, the second of 20 to 29, the third
    of 30.

    Parameters
    ----------
    weather : xarray.Dataset, (time,)
        Weather of one or more years; a single year is returned unchanged.
    orientation : float or None, keyword only
        Direction the wall faces, clockwise from north. [degree]

    Returns
    -------
    xarray.Dataset, (time,)
        The critical year.

    References
    ----------
    Ranking: Cornick, Djebbar and Dalgliesh 2003, see `moisture_index`. Level of one year in ten: ANSI/ASHRAE Standard
    160, moisture design reference years; from memory.
    """
    if len(years_of(weather)) == 1:
        return weather
    ranking = moisture_index(weather, orientation=orientation)
    by_severity = sorted(ranking, key=lambda year: ranking[year][2], reverse=True)
    position = max(len(by_severity) // 10, 1) - 1
    critical = one_year(weather, by_severity[position])
    index = ranking[by_severity[position]][2]
    note = (
        f"critical year of {len(by_severity)}: {by_severity[position]}, moisture index {index:.2f}, 10 % level; "
        f"{rank_years(ranking)}"
    )
    return _renamed(critical, critical.attrs["name"], note)


def rank_years(ranking: dict[int, tuple[float, float, float]], most: int = 6) -> str:
    """Return a text that lists the years, most severe first.

    Parameters
    ----------
    ranking : dict of int to (float, float, float)
        What `moisture_index` returns: wetting [L/m2], drying [kg h/kg], index [1].
    most : int
        Largest number of years listed.

    Returns
    -------
    str
        Without a full stop.
    """
    order = sorted(ranking, key=lambda year: ranking[year][2], reverse=True)
    named = ", ".join(f"{year} ({ranking[year][2]:.2f})" for year in order[:most])
    return f"years by moisture index, most severe first: {named}" + (", ..." if len(order) > most else "")


def mean_year(weather: xr.Dataset) -> xr.Dataset:
    """Return a year of the most typical months of several years.

    For each calendar month the years are ranked by the Finkelstein-Schafer statistic of daily means of temperature,
    relative humidity and global irradiance against all years; of the three best by the sum of ranks, the one with the
    mean wind speed nearest to that of all years is used. Eight hours on either side of each seam are smoothed.

    Parameters
    ----------
    weather : xarray.Dataset, (time,)
        Weather of one or more years; a single year is returned unchanged.

    Returns
    -------
    xarray.Dataset, (time,)
        8760 hours from January to December.

    References
    ----------
    ISO 15927-4:2005, hourly data for assessing the annual energy use; from memory. There the seams are smoothed by a
    cubic spline; here the step between the months is spread linearly over the eight hours on either side.
    """
    from scipy.stats import rankdata

    known = years_of(weather)
    if len(known) == 1:
        return weather
    time = weather["time"].to_numpy()
    year, month = weather["time"].dt.year.to_numpy(), month_of(time)
    leap_day = (month == 2) & (weather["time"].dt.day.to_numpy() == 29)
    day = {
        name: _daily(weather[name].to_numpy())
        for name in ("temperature_outdoor", "relative_humidity_outdoor", "global_horizontal")
    }
    day_year, day_month = year[::24], month[::24]
    wind = weather["wind_speed"].to_numpy()
    parts, months_from = [], []
    for number in range(1, 13):
        ranks = np.zeros(len(known))
        for values in day.values():
            all_years = np.sort(values[day_month == number])
            distances = [
                _finkelstein_schafer(values[(day_month == number) & (day_year == candidate)], all_years)
                for candidate in known
            ]
            ranks += rankdata(distances)  # equal years have the same rank
        best = np.argsort(ranks, kind="stable")[:3]
        usual = wind[month == number].mean()
        winner = min(best, key=lambda i: abs(wind[(month == number) & (year == known[i])].mean() - usual))
        months_from.append(known[int(winner)])
        parts.append(np.flatnonzero((month == number) & (year == months_from[-1]) & ~leap_day))
    order = np.concatenate(parts)
    stamps = np.datetime64(str(NOMINAL_YEAR)) + np.arange(order.size) * np.timedelta64(1, "h")
    mean = weather.isel(time=order).assign_coords(time=("time", stamps.astype("datetime64[ns]"), weather["time"].attrs))
    seams = np.cumsum([part.size for part in parts])[:-1]
    joined = mean.copy(deep=True)
    for name in ("temperature_outdoor", "vapour_pressure_outdoor", "pressure", "wind_speed"):
        values = joined[name].to_numpy()
        for seam, before, after in zip(seams, months_from[:-1], months_from[1:], strict=True):
            if before != after:
                _smooth_seam(values, int(seam))
        joined[name].data = np.maximum(values, 0.0)
    full = table_saturation_pressure(joined["temperature_outdoor"].to_numpy())
    vapour = np.minimum(joined["vapour_pressure_outdoor"].to_numpy(), full)
    joined["vapour_pressure_outdoor"].data = vapour
    joined["relative_humidity_outdoor"].data = vapour / full
    return _renamed(
        joined,
        f"{weather.attrs['name']} mean year",
        f"mean year of {len(known)}, months January to December from {', '.join(map(str, months_from))}",
    )


def _daily(values: np.ndarray) -> np.ndarray:
    return values.reshape(-1, 24).mean(axis=1)


def _finkelstein_schafer(sample: np.ndarray, everything: np.ndarray) -> float:
    """Return the mean distance between the cumulative distributions of a month and of all years' months."""
    own = np.arange(1, sample.size + 1) / (sample.size + 1)
    rank = np.searchsorted(everything, np.sort(sample), side="right") / (everything.size + 1)
    return float(np.abs(own - rank).mean())


def _smooth_seam(values: np.ndarray, seam: int) -> None:
    """Spread the step between two months over the hours around it, in place."""
    step = values[seam] - values[seam - 1]
    before = np.arange(1, SEAM + 1) / SEAM * 0.5
    values[seam - SEAM : seam] += step * before
    values[seam : seam + SEAM] -= step * before[::-1]


def warmer(weather: xr.Dataset, degrees: float | Sequence[float]) -> xr.Dataset:
    """Return a warmer climate: temperature and sky shifted, relative humidity unchanged.

    A plain shift: sun, wind, rain and the daily amplitude stay the same. At constant relative humidity the vapour
    pressure increases with saturation, about 6-7 % per kelvin. The emissivity of the sky is constant: longwave
    increases with the fourth power of the air temperature.

    Parameters
    ----------
    weather : xarray.Dataset, (time,)
        Weather as `read_weather` returns it.
    degrees : float or twelve floats
        Shift, the same all year or January to December. [K]

    Returns
    -------
    xarray.Dataset, (time,)
        The shifted weather.

    Raises
    ------
    InputError
        If the shift is not one or twelve numbers within -10 to 10 K.

    References
    ----------
    The shift of Belcher, Hacker and Powell 2005, Building Services Engineering Research and Technology 26, 49-61,
    without its stretch; from memory. Constant relative humidity: our own assumption, common practice.
    """
    shift = np.asarray(degrees, dtype=float).ravel()
    # more than 10 K is outside all projections, and probably a wrong unit
    if shift.size not in (1, 12) or not (np.abs(shift) <= 10.0).all():
        raise InputError(
            Fault(
                "warming",
                "the shift is not possible",
                str(degrees)[:40],
                "one or twelve numbers, -10 to 10 K",
                "give the shift in K",
            )
        )
    hourly = shift[0] if shift.size == 1 else shift[month_of(weather["time"].to_numpy()) - 1]
    before = weather["temperature_outdoor"].to_numpy()
    after = before + hourly
    changed = weather.copy(deep=True)
    changed["temperature_outdoor"].data = after
    full = table_saturation_pressure(after)
    changed["vapour_pressure_outdoor"].data = weather["relative_humidity_outdoor"].to_numpy() * full
    changed["infrared_horizontal"].data = weather["infrared_horizontal"].to_numpy() * (after / before) ** 4
    text = f"{shift.mean():+.1f} K"
    return _renamed(changed, f"{weather.attrs['name']} {text}", f"shifted by {text} at constant relative humidity")


def _renamed(weather: xr.Dataset, name: str, note: str) -> xr.Dataset:
    notes = [text for text in json.loads(weather.attrs["warnings"]) if not text.startswith(SEVERAL)] + [note]
    return weather.assign_attrs(name=name, warnings=json.dumps(notes, ensure_ascii=False))
