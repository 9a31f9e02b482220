"""Hourly room temperature and relative humidity, by a published indoor climate model or from a file."""

from __future__ import annotations

import csv
import math
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from cavity.constants import HOUR, ICE_POINT
from cavity.errors import Fault, InputError
from cavity.files import read_bytes
from cavity.units import COLDEST, HOTTEST, check_range
from cavity.wall.saturation import saturation_pressure

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray
    from xarray import Dataset

    from cavity.wallfile.model import Indoor

MODELS = ("EN 15026", "ISO 13788", "ASHRAE 160", "ASHRAE 160 intermediate", "constant", "monthly", "file")
FILE_COLUMNS = ("temperature_degC", "relative_humidity_percent")

# Vapour pressure excess at outdoor temperatures of 0 degC and below, upper bound of humidity classes 1 to 5,
# ISO 13788:2012 Annex A, from memory; class 5 is open upwards, 1360 Pa is the top of the chart.
_CLASS_EXCESS = (270.0, 540.0, 810.0, 1080.0, 1360.0)  # Pa
_HIGHEST_HUMIDITY = 0.95  # our own limit for models that could exceed saturation
# Moisture production of 1 to 4 bedrooms, ASHRAE 160 intermediate method, from memory
_PRODUCTION = (0.9e-4, 1.4e-4, 1.6e-4, 1.7e-4)  # kg/s
_PER_FURTHER_BEDROOM = 0.1e-4  # kg/s, about 1 L a day, same
_PRODUCTION_FACTOR = 1.36e5  # Pa m3/kg, R_v T at room temperature, rounded in ASHRAE 160
_LARGEST = 10_000_000  # bytes; a year of hours is below 200 kB
_ASHRAE_HIGHEST = 0.7  # ASHRAE 160: design indoor relative humidity is at most 70 %, from memory


def indoor_climate(indoor: Indoor, weather: Dataset) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return room temperature and relative humidity of every hour of the weather.

    Models by outdoor temperature use its mean over the 24 hours that end with the hour; the year is a cycle. Monthly
    values apply to the middle of the month, with straight lines between. With ISO 13788 classes the room follows the
    monthly outdoor temperature where that is higher, and relative humidity is at most 95 % (our own assumption; the
    standard is for heated buildings).

    Parameters
    ----------
    indoor : Indoor
        Model and its inputs.
    weather : Dataset
        Hourly weather with `temperature_outdoor` [K] and `vapour_pressure_outdoor` [Pa]; dim time.

    Returns
    -------
    temperature : array, (time,)
        Room air temperature. [K]
    relative_humidity : array, (time,)
        Room relative humidity, 0-1. [1]

    Raises
    ------
    InputError
        Unknown model, or an hourly file that cannot be read or does not fit the weather.

    References
    ----------
    EN 15026:2007 Annex C; ISO 13788:2012 Annex A; ASHRAE Standard 160 section 4.3 (simplified and intermediate
    method): all from memory.
    """
    temperature, humidity = _by_model(indoor, weather)
    if indoor.humidity_shift:
        humidity = np.clip(humidity + indoor.humidity_shift, 0.0, _HIGHEST_HUMIDITY)
    return temperature, humidity


def _by_model(indoor: Indoor, weather: Dataset) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    outdoor = np.asarray(weather["temperature_outdoor"].values, dtype=float)
    if indoor.model == "EN 15026":
        return en_15026(_daily_mean(outdoor), load=indoor.load)
    if indoor.model == "ASHRAE 160":
        return ashrae_160_simplified(_daily_mean(outdoor))
    if indoor.model == "ASHRAE 160 intermediate":
        vapour = np.asarray(weather["vapour_pressure_outdoor"].values, dtype=float)
        return ashrae_160_intermediate(
            _daily_mean(outdoor),
            _daily_mean(vapour),
            bedrooms=indoor.bedrooms,
            air_changes=indoor.air_changes,
            volume=indoor.volume,
        )
    if indoor.model in ("constant", "monthly"):
        time = weather["time"].values
        return _through_months(indoor.temperature, time), _through_months(indoor.relative_humidity, time)
    if indoor.model == "ISO 13788":
        time = weather["time"].values
        vapour = np.asarray(weather["vapour_pressure_outdoor"].values, dtype=float)
        outdoor_monthly, vapour_monthly = monthly_means(outdoor, time), monthly_means(vapour, time)
        temperature, humidity = iso_13788_room(
            outdoor_monthly, vapour_monthly, humidity_class=indoor.humidity_class, temperature=indoor.temperature
        )
        return _through_months(temperature, time), _through_months(humidity, time)
    if indoor.model == "file":
        return _read_hourly(Path(indoor.file), outdoor.size)
    raise InputError(
        Fault(
            "indoor climate",
            "the model is not known",
            indoor.model,
            "one of: " + ", ".join(MODELS),
            "choose one of them",
        )
    )


def en_15026(daily_outdoor: ArrayLike, *, load: str = "normal") -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return room climate by EN 15026 Annex C from the daily mean outdoor temperature (E58).

    Parameters
    ----------
    daily_outdoor : array_like
        Daily mean outdoor temperature. [K]
    load : {"normal", "high"}, keyword only
        Moisture load by occupancy.

    Returns
    -------
    temperature : array
        20 degC up to 10 degC outdoors, 25 degC from 20 degC on, linear between. [K]
    relative_humidity : array
        30 % (high: 40 %) down to -10 degC, 60 % (high: 70 %) from 20 degC on, linear between. [1]

    References
    ----------
    EN 15026:2007 Annex C, from memory.
    """
    check_range("en_15026, daily_outdoor", daily_outdoor, "K", COLDEST, HOTTEST)
    celsius = np.asarray(daily_outdoor, dtype=float) - ICE_POINT
    if load not in ("normal", "high"):
        raise InputError(
            Fault("indoor climate", "the moisture load is not known", str(load), "normal or high", "choose one of them")
        )
    base = 0.4 if load == "high" else 0.3
    temperature = np.interp(celsius, (10.0, 20.0), (20.0, 25.0)) + ICE_POINT
    return temperature, np.interp(celsius, (-10.0, 20.0), (base, base + 0.3))


def ashrae_160_simplified(daily_outdoor: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return room climate by the simplified method of ASHRAE 160, for a heated and cooled building (E59).

    Parameters
    ----------
    daily_outdoor : array_like
        Outdoor temperature, mean of 24 hours. [K]

    Returns
    -------
    temperature : array
        21.1 degC up to 18.3 degC outdoors, 2.8 K above outdoors, 23.9 degC from 21.1 degC on. [K]
    relative_humidity : array
        40 % down to -10 degC, 70 % from 20 degC on, linear between. [1]

    References
    ----------
    ASHRAE Standard 160, section 4.3, from memory.
    """
    celsius = np.asarray(daily_outdoor, dtype=float) - ICE_POINT
    temperature = np.interp(celsius, (18.3, 21.1), (21.1, 23.9)) + ICE_POINT
    return temperature, np.interp(celsius, (-10.0, 20.0), (0.4, 0.7))


def ashrae_160_intermediate(
    daily_outdoor: ArrayLike, daily_vapour: ArrayLike, *, bedrooms: int, air_changes: float, volume: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return room climate by the intermediate method of ASHRAE 160: moisture produced over air exchanged (E59).

    Parameters
    ----------
    daily_outdoor : array_like
        Outdoor temperature, mean of 24 hours. [K]
    daily_vapour : array_like
        Outdoor vapour pressure, mean of 24 hours. [Pa]
    bedrooms : int, keyword only
        Number of bedrooms: 8, 12, 14 and 15 L of water a day for one to four, 1 L more for each further one.
    air_changes : float, keyword only
        Air change rate of the building. [1/h]
    volume : float, keyword only
        Air volume of the building. [m3]

    Returns
    -------
    temperature : array
        As in the simplified method. [K]
    relative_humidity : array
        From p_i = p_o + 1.36e5 m / Q, not above 70 %. [1]

    References
    ----------
    ASHRAE Standard 160, section 4.3, from memory.
    """
    temperature, _ = ashrae_160_simplified(daily_outdoor)
    count = max(int(bedrooms), 1)
    production = _PRODUCTION[min(count, len(_PRODUCTION)) - 1]
    production += max(count - len(_PRODUCTION), 0) * _PER_FURTHER_BEDROOM
    excess = _PRODUCTION_FACTOR * production / (air_changes * volume / HOUR)
    vapour = np.asarray(daily_vapour, dtype=float) + excess
    return temperature, np.minimum(vapour / saturation_pressure(temperature), _ASHRAE_HIGHEST)


def vapour_excess(outdoor: ArrayLike, humidity_class: int) -> NDArray[np.float64]:
    """Return the vapour pressure excess of the room over outdoors by ISO 13788 humidity class (its upper bound) (E60).

    Parameters
    ----------
    outdoor : array_like
        Monthly mean outdoor temperature. [K]
    humidity_class : int
        1 storage, 2 offices and ventilated dwellings, 3 unknown occupancy, 4 sports halls, 5 laundries and pools.

    Returns
    -------
    array
        Full excess at 0 degC and below, none from 20 degC on, linear between. [Pa]

    References
    ----------
    ISO 13788:2012 Annex A, from memory.
    """
    if humidity_class not in range(1, 6):
        raise InputError(
            Fault(
                "indoor climate", "the humidity class is not known", str(humidity_class), "1 to 5", "choose one of them"
            )
        )
    celsius = np.asarray(outdoor, dtype=float) - ICE_POINT
    return np.interp(celsius, (0.0, 20.0), (_CLASS_EXCESS[humidity_class - 1], 0.0))


def iso_13788_room(
    outdoor: ArrayLike,
    vapour: ArrayLike,
    *,
    humidity_class: int,
    temperature: tuple[float, ...] = (293.15,),
    margin: float = 1.0,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the twelve room temperatures and relative humidities by ISO 13788 humidity class.

    Parameters
    ----------
    outdoor : array_like, (12,)
        Monthly mean outdoor temperature. [K]
    vapour : array_like, (12,)
        Monthly mean outdoor vapour pressure. [Pa]
    humidity_class : int, keyword only
        1 to 5, see `vapour_excess`.
    temperature : tuple of float, keyword only
        Room temperature, one value or twelve; the outdoor temperature where that is higher. [K]
    margin : float, keyword only
        Factor on the vapour pressure excess; the 2001 edition used 1.1. [1]

    Returns
    -------
    temperature : array, (12,)
        Room temperature. [K]
    relative_humidity : array, (12,)
        Room relative humidity, at most 0.95. [1]
    """
    check_range("iso_13788_room, outdoor", outdoor, "K", COLDEST, HOTTEST)
    check_range("iso_13788_room, temperature", temperature, "K", COLDEST, HOTTEST)
    room = np.maximum(np.broadcast_to(np.asarray(temperature, dtype=float), (12,)), np.asarray(outdoor, dtype=float))
    inside = np.asarray(vapour, dtype=float) + margin * vapour_excess(outdoor, humidity_class)
    return room, np.minimum(inside / saturation_pressure(room), _HIGHEST_HUMIDITY)


def monthly_means(values: NDArray[np.float64], time: NDArray[np.datetime64]) -> NDArray[np.float64]:
    """Return the mean of each calendar month.

    Parameters
    ----------
    values : array, (time,)
        Hourly values, in any unit. [any]
    time : array of datetime64, (time,)
        Start of each hour; every month must occur.

    Returns
    -------
    array, (12,)
        January to December, unit of `values`.
    """
    month = np.asarray(time).astype("datetime64[M]").astype(int) % 12
    hours = np.bincount(month, minlength=12)
    if not hours.all():
        raise InputError(
            Fault(
                "weather", "a month is missing", f"{np.count_nonzero(hours)} months", "a whole year", "add the months"
            )
        )
    return np.bincount(month, weights=values, minlength=12) / hours


def _daily_mean(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the mean over the 24 hours that end with each hour; the year is a cycle."""
    span = min(24, values.size)
    total = np.cumsum(np.concatenate((values[-span:], values)))
    return (total[span:] - total[:-span]) / span


def _through_months(values: ArrayLike, time: NDArray[np.datetime64]) -> NDArray[np.float64]:
    """Return hourly values from one value or twelve; twelve apply at mid-month, with straight lines between, cyclic."""
    monthly = np.asarray(values, dtype=float)
    if monthly.size == 1:
        return np.full(time.size, float(monthly.reshape(())[()] if monthly.ndim == 0 else monthly[0]))
    if monthly.size != 12:
        raise InputError(
            Fault(
                "indoor climate",
                "neither one value nor twelve monthly values",
                f"{monthly.size} values",
                "1 or 12",
                "give one value, or twelve from January",
            )
        )
    middle = np.asarray(time).astype("datetime64[s]") + np.timedelta64(1800, "s")
    start = middle.astype("datetime64[M]")
    length = ((start + 1).astype("datetime64[s]") - start.astype("datetime64[s]")).astype(float)
    position = start.astype(int) % 12 + (middle - start.astype("datetime64[s]")).astype(float) / length
    return np.interp(position, np.arange(12) + 0.5, monthly, period=12.0)


def _read_hourly(path: Path, hours: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Read the hourly room climate: csv, a header with the two column names, one row for each hour of the weather."""
    try:
        text = read_bytes(path, _LARGEST, "an indoor climate file").decode("utf-8-sig")
        rows = [row for row in csv.reader(text.splitlines()) if row]
    except (UnicodeDecodeError, csv.Error) as error:
        raise InputError(
            Fault(
                path.name, "the indoor climate file cannot be read", str(error)[:100], "UTF-8 csv", "save it as UTF-8"
            )
        ) from None
    header = [name.strip() for name in rows[0]] if rows else []
    missing = [name for name in FILE_COLUMNS if name not in header]
    if missing:
        raise InputError(
            Fault(
                f"{path.name}, line 1",
                "a column is missing: " + ", ".join(missing),
                ", ".join(header)[:100],
                ", ".join(FILE_COLUMNS),
                "name the columns in the first line",
            )
        )
    if len(rows) - 1 != hours:
        raise InputError(
            Fault(
                path.name,
                "the number of hours does not fit the weather file",
                f"{len(rows) - 1} rows below the header",
                f"{hours} rows, one per hour in the order of the weather file",
                "give one row for each hour",
            )
        )
    columns = []
    bounds = ((-20.0, 60.0), (0.0, 100.0))
    hints = ("degrees Celsius, not kelvin or Fahrenheit", "percent")
    faults: list[Fault] = []
    for name, (low, high), hint in zip(FILE_COLUMNS, bounds, hints, strict=True):
        column = header.index(name)
        values = np.empty(hours)
        for number, row in enumerate(rows[1:]):
            try:
                values[number] = float(row[column])
            except (ValueError, IndexError):
                values[number] = math.nan
            if not low <= values[number] <= high:
                cell = row[column] if column < len(row) else "nothing"
                where = f"{path.name}, row {number + 2}, {name}"
                faults.append(Fault(where, "not a possible value", cell, f"{low:g} to {high:g}", f"give {hint}"))
                break
        columns.append(values)
    humidity = columns[1]
    if not faults and humidity.max() <= 1.0:
        faults.append(
            Fault(
                f"{path.name}, {FILE_COLUMNS[1]}",
                "no value is above 1 %: probably a fraction",
                f"highest {humidity.max():g}",
                "percent, 0 to 100",
                "multiply by 100",
            )
        )
    if faults:
        raise InputError(*faults)
    return columns[0] + ICE_POINT, humidity / 100.0
