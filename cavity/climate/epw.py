"""EPW files: checked first, so that a fault names its line and column, then read by pvlib."""

from __future__ import annotations

import io
import re
from typing import TYPE_CHECKING, Any

import numpy as np

from cavity.climate.series import (
    LOCATION_LIMITS,
    LOCATION_UNITS,
    NOMINAL_YEAR,
    SUN,
    Records,
    number_of,
    plain,
    slug,
)
from cavity.constants import HOUR, ICE_POINT
from cavity.errors import Fault, InputError

if TYPE_CHECKING:
    import pandas as pd

# (name of ours, pvlib's column, position in the line, missing from this value on, factor, offset, lower, upper),
# limits and codes after the EPW data dictionary (EnergyPlus documentation, Auxiliary Programs), in the file's units
_FIELDS = (
    ("temperature_outdoor", "temp_air", 6, 99.9, 1.0, ICE_POINT, -90.0, 70.0),
    ("dew_point", "temp_dew", 7, 99.9, 1.0, ICE_POINT, -95.0, 70.0),
    ("relative_humidity_file", "relative_humidity", 8, 999.0, 0.01, 0.0, 0.0, 110.0),
    ("pressure", "atmospheric_pressure", 9, 999999.0, 1.0, 0.0, 31000.0, 120000.0),
    ("infrared_horizontal", "ghi_infrared", 12, 9999.0, 1.0, 0.0, 0.0, 700.0),
    ("global_horizontal", "ghi", 13, 9999.0, 1.0, 0.0, 0.0, 1500.0),
    ("direct_normal", "dni", 14, 9999.0, 1.0, 0.0, 0.0, 1500.0),
    ("diffuse_horizontal", "dhi", 15, 9999.0, 1.0, 0.0, 0.0, 1500.0),
    ("wind_direction", "wind_direction", 20, 999.0, 1.0, 0.0, 0.0, 360.0),
    ("wind_speed", "wind_speed", 21, 999.0, 1.0, 0.0, 0.0, 75.0),
    ("cloud_cover", "opaque_sky_cover", 23, 99.0, 0.1, 0.0, 0.0, 10.0),
    ("rain", "liquid_precipitation_depth", 33, 999.0, 1.0, 0.0, 0.0, 360.0),
)
_TITLES = {
    "temperature_outdoor": "dry bulb temperature [degC]",
    "dew_point": "dew point [degC]",
    "relative_humidity_file": "relative humidity [%]",
    "pressure": "atmospheric pressure [Pa]",
    "infrared_horizontal": "horizontal infrared [Wh/m2]",
    "global_horizontal": "global horizontal [Wh/m2]",
    "direct_normal": "direct normal [Wh/m2]",
    "diffuse_horizontal": "diffuse horizontal [Wh/m2]",
    "wind_direction": "wind direction [degrees]",
    "wind_speed": "wind speed [m/s]",
    "cloud_cover": "opaque sky cover [tenths]",
    "rain": "liquid precipitation depth [mm]",
}
_CHUNK = 20_000  # lines passed to pvlib at a time
_MOST_FAULTS = 6  # reported at once


def read_epw(file: str, text: str) -> Records:
    """Read an EPW file.

    Parameters
    ----------
    file : str
        Name of the file, for messages.
    text : str
        Its content.

    Returns
    -------
    Records
        Records as written, NaN where the file has a missing code.

    Raises
    ------
    InputError
        With line and column of every fault, at most six.

    References
    ----------
    EPW data dictionary, EnergyPlus documentation, Auxiliary Programs.
    """
    import pandas as pd
    import pvlib

    lines = text.splitlines()
    warnings: list[str] = []
    header, location = _location(file, lines, warnings)
    first = next((i for i, line in enumerate(lines[:60]) if line.upper().startswith("DATA PERIODS")), None)
    if first is None:
        raise InputError(
            Fault(
                file,
                "the header has no DATA PERIODS line",
                "",
                "eight header lines, then the hours",
                "download the file again",
            )
        )
    per_hour = _per_hour(file, first, lines[first])
    rows = [(i + 1, line) for i, line in enumerate(lines) if i > first and line.strip()]
    del text, lines
    stamps = _check_rows(file, rows, per_hour)
    needed = [title for _, title, *_ in _FIELDS] + ["liquid_precipitation_quantity"]
    parts = []
    for begin in range(0, len(rows), _CHUNK):
        body = "\n".join(line for _, line in rows[begin : begin + _CHUNK])
        # pvlib skips exactly eight header lines; it does not use the last seven
        try:
            frame, _ = pvlib.iotools.read_epw(io.StringIO(header + "\n#" * 7 + "\n" + body + "\n"))
        except (ValueError, TypeError) as error:  # errors of pandas are ValueErrors; TypeError: text among dates
            reason = str(error).partition("\n")[0][:80]
            raise InputError(
                Fault(file, "the hours cannot be read", reason, "hourly values", "download again")
            ) from None
        parts.append(frame[needed].apply(pd.to_numeric, errors="coerce"))
    frame = pd.concat(parts)
    columns = _columns(file, rows, frame)
    codes = _code_rain([line for _, line in rows])
    if codes.any():
        columns["weather_code_rain"] = codes
    if "rain" in columns:
        columns["rain"] = _rain(columns["rain"], frame["liquid_precipitation_quantity"].to_numpy(dtype=float), per_hour)
    notes: list[str] = []
    time, typical = _time(file, stamps, 60 // per_hour, notes)
    return Records(
        file=file,
        time=time,
        step=60 // per_hour,
        columns=columns,
        typical=typical,
        warnings=warnings,
        policy="EPW: values belong to the interval that ends at the stamp; time here is its start, local standard time"
        + "".join(notes),
        **location,
    )


def _location(file: str, lines: list[str], warnings: list[str]) -> tuple[str, dict[str, Any]]:
    if not lines or not lines[0].lstrip("\ufeff").upper().startswith("LOCATION,"):
        raise InputError(
            Fault(
                f"{file}, line 1",
                "this is not an EPW file",
                (lines[0] if lines else "an empty file")[:60],
                "a first line that starts with LOCATION,",
                "give an EPW weather file, or a CSV or NetCDF file in the documented form",
            )
        )
    fields = [part.strip() for part in lines[0].lstrip("\ufeff").split(",")]
    if len(fields) == 11 and re.fullmatch(r"[+-]?\d+", fields[8]) and re.fullmatch(r"\d{1,2}", fields[9]):
        # a decimal comma in the time zone splits it in two fields: 5,5 for +5.5
        fields[8:10] = [f"{fields[8]}.{fields[9]}"]
        warnings.append(f"the time zone in the header has a decimal comma; it is read as {fields[8]} h")
    if len(fields) < 10:
        raise InputError(
            Fault(
                f"{file}, line 1",
                "LOCATION has too few fields",
                str(len(fields)),
                "10: name, state, country, source, number, latitude, longitude, time zone, elevation",
                "complete the line",
            )
        )
    location: dict[str, Any] = {}
    faults = []
    for index, (key, (low, high)) in enumerate(LOCATION_LIMITS.items(), start=6):
        location[key], fix = number_of(fields[index], key)
        if not low <= location[key] <= high:
            faults.append(
                Fault(
                    f"{file}, line 1",
                    f"{key.replace('_', ' ')} is not possible",
                    fields[index][:40],
                    f"{low:g} to {high:g} {LOCATION_UNITS[key][0]}",
                    f"correct field {index + 1}" + f": {fix}" * bool(fix),
                )
            )
    if faults:
        raise InputError(*faults)
    name = slug(fields[1]) or "unnamed place"
    location |= {"name": name, "invented": any(word in lines[0].upper() for word in ("FICTITIOUS", "INVENTED"))}
    for index, key in enumerate(LOCATION_LIMITS, start=6):
        fields[index] = repr(location[key])  # pvlib reads bare numbers only
    return ",".join(fields[:10]), location


def _per_hour(file: str, index: int, line: str) -> int:
    fields = line.split(",")
    try:
        count = int(plain(fields[2]))
    except (IndexError, ValueError):
        count = 0
    if count not in (1, 2, 3, 4, 5, 6, 10, 12, 15, 20, 30, 60):
        raise InputError(
            Fault(
                f"{file}, line {index + 1}",
                "the number of records per hour is not possible",
                line[:60],
                "DATA PERIODS,1,1,... for hourly values",
                "correct the third field",
            )
        )
    return count


def _check_rows(file: str, rows: list[tuple[int, str]], per_hour: int) -> np.ndarray:
    """Return year, month, day, start minute of the day for each row; raise with the lines that are not data."""
    faults: list[Fault] = []
    stamps = np.zeros((len(rows), 4), dtype=np.int64)
    days = (0, 31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
    for i, (number, line) in enumerate(rows):
        fields = line.split(",", 35)
        where = f"{file}, line {number}"
        if len(fields) < 24:
            faults.append(
                Fault(where, "the line is too short", f"{len(fields)} fields", "35, at least 24", "repair the line")
            )
        elif '"' in line or "\x00" in line:
            faults.append(
                Fault(
                    where,
                    "the line contains a quotation mark or a zero byte",
                    "",
                    "numbers and commas",
                    "repair the line",
                )
            )
        elif len(line) > 400 and max(map(len, fields)) > 60:
            faults.append(
                Fault(where, "a field is far too long", "more than 60 characters", "a number", "repair the line")
            )
        elif len(fields) > 35:
            fix = "repair the line; a decimal comma in a number splits it in two"
            faults.append(Fault(where, "the line is too long", "more than 35 fields", "35", fix))
        else:
            try:
                year, month, day, hour, minute = (int(plain(part)) for part in fields[:5])
                good = 1 <= month <= 12 and 1 <= day <= days[month] and 1 <= hour <= 24 and 0 <= minute <= 60
                good &= 1700 <= year <= 2262  # the range of the time stamps
                good &= day < 29 or month != 2 or (year % 4 == 0 and (year % 100 != 0 or year % 400 == 0))
            except ValueError:
                good = False
            if good:
                end = (hour - 1) * 60 + (minute if per_hour > 1 else 60)
                stamps[i] = year, month, day, end - 60 // per_hour
                if stamps[i, 3] < 0:
                    good = False
            if not good:
                date_text = ",".join(fields[:5])[:40]
                faults.append(
                    Fault(
                        where,
                        "the date is not possible",
                        date_text,
                        "year, month, day, hour 1-24, minute",
                        "repair the line",
                    )
                )
        if len(faults) >= _MOST_FAULTS:
            break
    if faults:
        raise InputError(*faults)
    if not rows:
        raise InputError(
            Fault(file, "the file has a header but no hours", "", "8760 lines of data", "download the file again")
        )
    return stamps


def _columns(file: str, rows: list[tuple[int, str]], frame: pd.DataFrame) -> dict[str, np.ndarray]:
    columns: dict[str, np.ndarray] = {}
    faults: list[Fault] = []
    for name, title, position, missing, factor, offset, low, high in _FIELDS:
        values = frame[title].to_numpy(dtype=float)
        empty = np.isnan(values)
        for i in np.flatnonzero(empty)[:_MOST_FAULTS]:
            fields = rows[i][1].split(",")
            field_text = fields[position].strip() if position < len(fields) else ""
            if field_text and field_text.lower() not in ("nan", "na"):
                where = f"{file}, line {rows[i][0]}, {_TITLES[name]}"
                faults.append(Fault(where, "is not a number", field_text[:40], "a number", "repair the line"))
        missing_values = empty | (values >= missing) if name != "wind_direction" else empty | (values == missing)
        middle = float(np.nanmedian(values)) if not empty.all() else 0.0
        if name in ("temperature_outdoor", "dew_point") and missing_values.mean() > 0.5 and 150.0 < middle < 350.0:
            where = f"{file}, {_TITLES[name]}"
            faults.append(Fault(where, "the temperatures look like kelvin", f"{middle:.4g}", "degC", "subtract 273.15"))
            continue
        slack = 20.0 if name in SUN else 0.0  # zero offset of a sensor
        bad = ~missing_values & ~((values >= low - slack) & (values <= high))
        if (
            name == "relative_humidity_file"
            and not missing_values.all()
            and np.nanmax(np.where(missing_values, np.nan, values)) <= 1.5
        ):
            where = f"{file}, {_TITLES[name]}"
            faults.append(
                Fault(where, "the values look like fractions", "at most 1", "percent, 0 to 100", "multiply by 100")
            )
        if bad.any():
            i = int(np.argmax(bad))
            fix = "check the unit and the missing code"
            if name == "pressure":
                fix = "pressure is in Pa, not hPa or kPa"
            elif name == "wind_speed" and values[i] > high:
                fix = "wind is in m/s; it looks like km/h"
            elif name in SUN and values[i] > high:
                fix = "irradiance is in Wh/m2 of the hour; it looks like kJ/m2"
            elif name == "rain" and values[i] > high:
                fix = "rain is in mm per hour"
            faults.append(
                Fault(
                    f"{file}, line {rows[i][0]}, {_TITLES[name]}",
                    f"the value is not possible, here and in {int(bad.sum()) - 1} more lines",
                    f"{values[i]:g}",
                    f"{low:g} to {high:g}",
                    fix,
                )
            )
        clean = np.where(missing_values, np.nan, np.clip(values, low, high))
        if not missing_values.all():
            columns[name] = clean * factor + offset
    if faults:
        raise InputError(*faults[:_MOST_FAULTS])
    if "infrared_horizontal" in columns and not columns["infrared_horizontal"].any():
        del columns["infrared_horizontal"]  # zero all year: a missing column
    for name in ("temperature_outdoor", "wind_speed", "wind_direction"):
        if name not in columns:
            where = f"{file}, {_TITLES[name]}"
            faults.append(Fault(where, "the column has missing codes only", "", "hourly values", "choose another file"))
    if not {"dew_point", "relative_humidity_file"} & columns.keys():
        where = f"{file}, {_TITLES['relative_humidity_file']}"
        faults.append(
            Fault(where, "neither humidity nor dew point is given", "", "one of the two", "choose another file")
        )
    if faults:
        raise InputError(*faults)
    if "wind_direction" in columns:
        columns["wind_direction"] = columns["wind_direction"] % 360.0
    return columns


# EPW present weather codes, nine digits: (position of the digit, precipitation of its values in mm/h, melted). Classes
# of intensity as in the US observing rules of the codes: rain light to 2.5, moderate to 7.6 mm/h, heavy above;
# drizzle 0.25 and 0.5 mm/h. EPW data dictionary and TMY2 manual, from memory. The rate of a class is our own choice,
# for snow by the visibility that defines its classes.
_RAIN, _DRIZZLE, _SNOW = (1.0, 4.5, 12.0), (0.15, 0.35, 0.7), (0.4, 1.5, 3.0)
_CODES = (
    (1, {str(i): rate for i, rate in enumerate((*_RAIN, *_RAIN, *_RAIN))}),  # rain, showers, freezing rain
    (2, dict(zip("012345678", (*_RAIN, *_DRIZZLE, *_DRIZZLE), strict=True))),  # squalls, drizzle, freezing drizzle
    (3, dict(zip("012345", (*_SNOW, *_SNOW), strict=True))),  # snow, snow pellets; ice crystals count as 0
    (4, dict(zip("01234567", (*_SNOW, *_SNOW, 0.2, 0.5), strict=True))),  # snow showers, squalls, grains
    (5, dict(zip("012345", (*_SNOW, *_SNOW), strict=True))),  # sleet and ice pellets
)


def _code_rain(lines: list[str]) -> np.ndarray:
    """Return the usual precipitation of the present weather codes [kg/(m2 s)]; 0 where none is observed."""
    rates = np.zeros(len(lines))
    rate_of_code: dict[str, float] = {}
    for i, line in enumerate(lines):
        fields = line.split(",", 28)
        if len(fields) < 28 or fields[26].strip() != "0":
            continue
        code = fields[27].strip().strip("'")
        if code not in rate_of_code:
            digits = code.zfill(9) if code.isdigit() and 7 <= len(code) <= 9 else "9" * 9  # some writers omit zeros
            rate_of_code[code] = max(table.get(digits[position], 0.0) for position, table in _CODES) / HOUR
        rates[i] = rate_of_code[code]
    return rates


def _rain(depth: np.ndarray, period: np.ndarray, per_hour: int) -> np.ndarray:
    """Return rain in kg/(m2 s); a depth over several hours is distributed over those hours if they have none."""
    rate = depth * per_hour / HOUR
    for i in np.flatnonzero((period > 1.0) & (period <= 24.0) & (depth > 0.0)):
        first = max(0, int(i) + 1 - int(period[i]) * per_hour)
        others = depth[first:i]
        if not np.nansum(others):  # else each of these hours has its own depth
            rate[first : i + 1] = depth[i] / (i + 1 - first) * per_hour / HOUR
    return rate


def _time(file: str, stamps: np.ndarray, step: int, notes: list[str]) -> tuple[np.ndarray, bool]:
    """Return the start of each record, and whether it is a typical year: the years of the stamps are then arbitrary."""

    def build(year: np.ndarray) -> np.ndarray:
        month = ((year - 1970) * 12 + stamps[:, 1] - 1).astype("datetime64[M]")
        return month.astype("datetime64[D]").astype("datetime64[m]") + (stamps[:, 2] - 1) * 1440 + stamps[:, 3]

    real = build(stamps[:, 0])
    forward = np.diff(real)
    if (forward > np.timedelta64(0, "m")).all():
        span = int((real[-1] - real[0]).astype(int)) // step + 1
        if span <= 1.2 * real.size:  # as measured, gaps included
            return real, False
    lap = np.concatenate([[0], np.cumsum(np.diff(stamps[:, 1]) < 0)])
    if lap[-1] > 0:
        wrong = int(np.argmax(forward <= np.timedelta64(0, "m")))
        raise InputError(
            Fault(
                file,
                "the dates are out of order",
                f"{real[wrong]} followed by {real[wrong + 1]}",
                "one typical year from January to December, or real years in order",
                "sort the lines",
            )
        )
    leap = bool(((stamps[:, 1] == 2) & (stamps[:, 2] == 29)).any())
    year = NOMINAL_YEAR - 1 if leap else NOMINAL_YEAR
    notes.append(f"; months of {stamps[:, 0].min()} to {stamps[:, 0].max()}, shown as the year {year}")
    return build(np.full(len(stamps), year)), True
