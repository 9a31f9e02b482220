"""Weather from a CSV file, and the common form of CSV and NetCDF weather files.

CSV: first lines ``# key = value``, then one line of column heads, then one line per record::

    # name = Our roof
    # latitude = 52.0          # degrees, north positive
    # longitude = 5.0          # degrees, east positive
    # utc offset = 1           # hours, local standard time minus universal time
    # elevation = 20           # m
    # time label = start       # start | middle | end of the record's interval; default: start
    # humidity below freezing = water      # water (WMO practice) | ice; default: water
    # fictitious = no
    time,temperature_outdoor [degC],relative_humidity_outdoor [%],wind_speed [m/s],wind_direction [degree],...
    2021-01-01T00:00,4.2,91,3.1,230,...

Column heads are names of `cavity.variables`, ``dew_point`` and ``cloud_cover``, each with its unit in square brackets.
Rain may be in mm/h or mm per record, irradiance in W/m2 or Wh/m2 per record. Required are time,
temperature_outdoor, wind_speed, wind_direction, one of relative_humidity_outdoor, dew_point and
vapour_pressure_outdoor, and global_horizontal or the pair direct_normal, diffuse_horizontal. Time is ISO 8601 in local
standard time, or with an offset from universal time.
An empty field, ``nan``, -999, -9999 and 9999 are missing values. The step is an hour or divides an hour.
Columns may be separated by semicolons or tabs instead; numbers may then have a decimal comma. Dates may also be written
31.12.2021 23:00.

NetCDF: a dimension ``time``, variables of the same names with the attribute ``units``, and the keys of the head as
attributes of the file (latitude, longitude, utc_offset, elevation, name, time_label, fictitious). The Dataset that
`read_weather` returns, written by ``to_netcdf``, is such a file.
"""

from __future__ import annotations

import csv
import itertools
import re
from typing import TYPE_CHECKING, Any, TextIO

import numpy as np

from cavity.climate.series import (
    EXTRA,
    LOCATION_LIMITS,
    LOCATION_UNITS,
    SUN,
    WEATHER,
    Records,
    number_of,
    plain,
    slug,
)
from cavity.errors import Fault, InputError
from cavity.units import parse_quantity
from cavity.variables import TABLE

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

# columns that a file may have: SI unit of each
UNITS = (
    {name: TABLE[name].units for name in WEATHER} | {"dew_point": "K"} | {name: row[0] for name, row in EXTRA.items()}
)
RENAMED = {"relative_humidity_outdoor": "relative_humidity_file"}
_CODES = (-999.0, -9999.0, 9999.0, -99999.0, 999999.0)
LONGEST_LINE = 100_000  # characters
CHUNK = 20_000  # lines read at a time
_STAMP = re.compile(
    r"(?:(?P<date>\d{4}-\d{2}-\d{2})|(?P<day>\d{2})\.(?P<month>\d{2})\.(?P<year>\d{4}))"
    r"(?:[T ](?P<clock>\d{2}:\d{2})(?::\d{2}(?:\.\d+)?)?)?\s*(?P<zone>Z|[+-]\d{2}:?\d{2})?"
)
_KEYS = (
    "name", "latitude", "longitude", "utc_offset", "elevation", "time_label", "humidity_below_freezing", "fictitious",
    "invented",
)  # fmt: skip


def read_csv(file: str, path: Path, *, only_rain: bool = False, site: Records | None = None) -> Records:
    """Read a CSV file of the form described at the head of this module, line by line.

    Parameters
    ----------
    file : str
        Name of the file, for messages.
    path : Path
        The file.
    only_rain : bool, keyword only
        Only rain is needed: other columns and the location may be missing.
    site : Records, optional, keyword only
        Location and time zone where the file has none.

    Returns
    -------
    Records
        Records as written, SI.

    Raises
    ------
    InputError
        With the line and column of every fault, at most six.
    """
    try:
        return _read(file, path, "utf-8-sig", only_rain, site)
    except UnicodeDecodeError:
        return _read(file, path, "latin-1", only_rain, site)


def _read(file: str, path: Path, encoding: str, only_rain: bool, site: Records | None) -> Records:
    with path.open(encoding=encoding, newline=None) as stream:
        lines = _lines(file, stream)
        keys, number, line = _keys(file, lines)
        mark = max(";\t,", key=line.count)  # the first where counts are equal
        heads = [head.strip().strip('"').strip() for head in line.split(mark)]
        while heads and not heads[-1]:  # empty columns of a spreadsheet
            heads.pop()
        if not heads or heads[0].lower() != "time":
            raise InputError(
                Fault(
                    f"{file}, line {number}",
                    "this is neither an EPW file nor a weather CSV",
                    (line or "no such line")[:60],
                    "a line of column heads that starts with time",
                    "give an EPW file, or the CSV form that cavity climate --help describes",
                )
            )
        used: dict[int, tuple[str, str]] = {}
        names = {"time"}
        for position, head in enumerate(heads[1:], start=1):
            if only_rain and not head.startswith("rain"):
                continue
            name, unit = _head(file, number, head)
            if name in names:
                raise InputError(
                    Fault(
                        f"{file}, line {number}",
                        f"the column {name} occurs twice",
                        head[:40],
                        "each column once",
                        "remove one of them",
                    )
                )
            names.add(name)
            used[position] = name, unit
        location = location_of(file, keys, site)
        stamps, numbers = _body(file, lines, heads, mark, list(used), location["utc_offset"])
    time, step = starts(file, stamps, keys.get("time_label", "start"))
    columns = {
        RENAMED.get(name, name): convert(f"{file}, {heads[position]}", name, values, unit, step)
        for (position, (name, unit)), values in zip(used.items(), numbers, strict=True)
    }
    return records_of(file, time, step, columns, location, keys)


def _lines(file: str, stream: TextIO) -> Iterator[tuple[int, str]]:
    """Yield number and text of each line; a far too long line is refused before it fills the memory."""
    number = 0
    while line := stream.readline(LONGEST_LINE):
        number += 1
        if len(line) == LONGEST_LINE:
            raise InputError(
                Fault(
                    f"{file}, line {number}",
                    "the line is far too long",
                    f"{line[:40]}...",
                    f"at most {LONGEST_LINE} characters",
                    "give an EPW file, or the CSV form that cavity climate --help describes",
                )
            )
        yield number, line.rstrip("\n")


def _keys(file: str, lines: Iterator[tuple[int, str]]) -> tuple[dict[str, str], int, str]:
    """Return the keys of the head, and number and text of the line of column heads."""
    keys: dict[str, str] = {}
    faults: list[Fault] = []
    number, line = 0, ""
    for number, line in lines:
        if not line.lstrip('"').startswith("#") and line.strip(" ,;\t"):
            break
        line = line.strip('"')
        match = re.match(r"#\s*([A-Za-z_ ]+?)\s*[=:]\s*([^#]*)", line)
        if match:
            key = match[1].strip().lower().replace(" ", "_")
            if key in keys and key in _KEYS:
                title = key.replace("_", " ")
                faults.append(
                    Fault(f"{file}, line {number}", f"{title} is given twice", line[:60], "each key once", "keep one")
                )
            keys[key] = match[2].rstrip('";,\t ').strip()
    else:
        number, line = number + 1, ""
    if faults:
        raise InputError(*faults)
    return keys, number, line


def _body(
    file: str, lines: Iterator[tuple[int, str]], heads: list[str], mark: str, used: list[int], offset: float
) -> tuple[np.ndarray, list[np.ndarray]]:
    """Return the stamps and the used columns of the lines after the heads, read in chunks."""
    stamps, parts, faults = [], [], []
    count = len(heads)
    while chunk := list(itertools.islice(lines, CHUNK)):
        rows: list[tuple[int, list[str]]] = []
        for number, line in chunk:
            if not line.strip():
                continue
            row = next(csv.reader([line], delimiter=mark), []) if '"' in line else line.split(mark)
            if len(row) > count and not any(field.strip() for field in row[count:]):
                row = row[:count]  # separators at the end
            if len(row) != count:
                fix = "repair the line"
                if mark == "," and len(row) > count:
                    fix += "; numbers have a decimal point, not a comma, unless semicolons separate the columns"
                faults.append(Fault(f"{file}, line {number}", "wrong number of fields", str(len(row)), str(count), fix))
                if len(faults) == 6:
                    raise InputError(*faults)
                continue
            rows.append((number, row))
        if faults or not rows:
            continue
        stamps.append(_stamps(file, rows, offset))
        parts.append([_numbers(file, rows, position, heads[position], mark, faults) for position in used])
    if faults:
        raise InputError(*faults[:6])
    if not stamps:
        return np.empty(0, dtype="datetime64[m]"), [np.empty(0) for _ in used]
    return np.concatenate(stamps), [np.concatenate(columns) for columns in zip(*parts, strict=True)]


def _numbers(
    file: str, rows: list[tuple[int, list[str]]], position: int, head: str, mark: str, faults: list[Fault]
) -> np.ndarray:
    fields = [row[position] for _, row in rows]
    joined = "".join(fields)
    if mark != "," and "," in joined and "." not in joined:
        fields = [field.replace(",", ".") for field in fields]  # a decimal comma
    if joined.isascii() and "_" not in joined:
        try:
            return np.array(fields, dtype=float)
        except ValueError:
            pass  # empty fields or faults: one by one
    numbers = np.full(len(rows), np.nan)
    for i, ((number, _), field) in enumerate(zip(rows, fields, strict=True)):
        text = field.strip()
        if mark != "," and "." not in text:
            text = text.replace(",", ".")
        try:
            numbers[i] = float(plain(text)) if text and text.lower() != "na" else np.nan
        except ValueError:
            if len(faults) < 6:
                fix = "write it without separators of thousands" if "," in text and "." in text else "repair the line"
                where = f"{file}, line {number}, {head}"
                faults.append(Fault(where, "is not a number", field.strip()[:40], "a number, or empty", fix))
    return numbers


def records_of(
    file: str,
    time: np.ndarray,
    step: int,
    columns: dict[str, np.ndarray],
    location: dict[str, Any],
    keys: Mapping[str, str],
) -> Records:
    """Return columns in SI [K, Pa, W/m2, kg/(m2 s)] and the head of the file as records.

    Parameters
    ----------
    file : str
        Name of the file, for messages.
    time : array of datetime64, (time,)
        Start of each record.
    step : int
        Length of a record. [min]
    columns : dict of array, (time,)
        Columns by name, SI.
    location : dict
        Latitude and longitude [degree], utc_offset [h], elevation [m].
    keys : dict of str
        Keys of the head of the file.

    Returns
    -------
    Records
        Records as written.

    Raises
    ------
    InputError
        If a key is not understood.
    """
    surface = keys.get("humidity_below_freezing", "").lower()
    if surface not in ("", "water", "ice"):
        raise InputError(
            Fault(
                f"{file}, head",
                "humidity below freezing is not understood",
                surface[:40],
                "water | ice",
                "write one of them",
            )
        )
    if "wind_direction" in columns:
        columns["wind_direction"] = columns["wind_direction"] % 360.0
    if "cloud_cover" in columns:
        columns["cloud_cover"] = np.clip(columns["cloud_cover"], 0.0, 1.0)
    for name in SUN:
        if name in columns:  # zero offset of a sensor at night
            columns[name] = np.where((columns[name] < 0.0) & (columns[name] > -20.0), 0.0, columns[name])
    return Records(
        file=file,
        time=time,
        step=step,
        columns=columns,
        surface=surface,
        name=slug(keys.get("name", "")) or slug(file.rsplit(".", 1)[0]) or "unnamed place",
        invented=any(keys.get(key, "no").lower() in ("yes", "1", "true") for key in ("fictitious", "invented")),
        policy=f"stamps mark the {keys.get('time_label', 'start').lower()} of an interval; time is its start",
        **location,
    )


def location_of(file: str, keys: Mapping[str, str], site: Records | None) -> dict[str, Any]:
    """Return the location in the head of a file.

    Parameters
    ----------
    file : str
        Name of the file, for messages.
    keys : dict of str
        Keys of the head.
    site : Records or None
        Location where the head omits it.

    Returns
    -------
    dict
        Latitude and longitude [degree], utc_offset [h], elevation [m].

    Raises
    ------
    InputError
        If a value is missing, not possible, or other text than a number with its unit.
    """
    values: dict[str, float] = {}
    faults = []
    for key, (low, high) in LOCATION_LIMITS.items():
        text = keys.get(key, "")
        if not text and site is not None:
            values[key] = getattr(site, key)
            continue
        title = key.replace("_", " ")
        values[key], fix = number_of(text, key) if text else (float("nan"), "")
        if not low <= values[key] <= high:
            problem = f"{title} is not possible" if text else f"{title} is missing"
            expected = f"{low:g} to {high:g} {LOCATION_UNITS[key][0]}"
            faults.append(
                Fault(f"{file}, head", problem, text[:40], expected, fix or f"add a line  # {title} = NUMBER")
            )
    if faults:
        raise InputError(*faults)
    return dict(values)


def _stamps(file: str, rows: list[tuple[int, list[str]]], offset: float) -> np.ndarray:
    """Return the stamps in local standard time."""
    texts = [row[0].strip() for _, row in rows]
    if all(len(text) == 16 and text[4] == "-" and text[10] in "T " and text[13] == ":" for text in texts):
        try:
            return np.array(texts, dtype="datetime64[m]")
        except ValueError:
            pass  # one by one
    stamps = np.empty(len(rows), dtype="datetime64[m]")
    for i, ((number, _), text) in enumerate(zip(rows, texts, strict=True)):
        match = _STAMP.fullmatch(text)
        try:
            if not match:
                raise ValueError
            date = match["date"] or f"{match['year']}-{match['month']}-{match['day']}"
            stamps[i] = np.datetime64(f"{date}T{match['clock'] or '00:00'}")
        except ValueError:
            where = f"{file}, line {number}, time"
            raise InputError(
                Fault(where, "is not a date", text[:40], "ISO 8601, e.g. 2021-01-01T00:00", "repair the line")
            ) from None
        if zone := match["zone"]:
            minutes = 0 if zone == "Z" else int(zone[:3] + "1") // 10 * 60 + int(zone[0] + zone[-2:])
            stamps[i] += round(offset * 60) - minutes
    return stamps


def starts(file: str, stamps: np.ndarray, label: str) -> tuple[np.ndarray, int]:
    """Return the start of each record and the step.

    Parameters
    ----------
    file : str
        Name of the file, for messages.
    stamps : array of datetime64, (time,)
        Stamps of the file, local standard time.
    label : {"start", "middle", "end"}
        What a stamp marks.

    Returns
    -------
    array of datetime64, (time,)
        Start of each record.
    int
        Length of a record. [min]

    Raises
    ------
    InputError
        If there are fewer than two records or the step does not divide an hour.
    """
    if stamps.size < 2:
        raise InputError(
            Fault(
                file,
                "there are too few records",
                str(stamps.size),
                "a whole year of hourly values",
                "complete the file",
            )
        )
    steps, counts = np.unique(np.diff(stamps).astype(np.int64), return_counts=True)
    step = int(steps[np.argmax(counts)])
    if step <= 0 or step > 60 or 60 % step:
        raise InputError(
            Fault(
                file,
                "the step between records cannot be used",
                f"{step} minutes",
                "an hour, or minutes that divide an hour",
                "give hourly values",
            )
        )
    word = label.split()[0].lower() if label.split() else "start"
    if word not in ("start", "middle", "end"):
        raise InputError(
            Fault(
                f"{file}, head",
                "the time label is not understood",
                label[:40],
                "start | middle | end",
                "write one of them",
            )
        )
    shift = {"start": 0.0, "middle": step / 2, "end": float(step)}[word]
    if shift != int(shift):
        raise InputError(
            Fault(
                f"{file}, head",
                "the middle of this step is not a whole minute",
                f"{step} minutes",
                "an even step",
                "label the start or the end",
            )
        )
    return stamps - int(shift), step


def _head(file: str, line: int, head: str) -> tuple[str, str]:
    match = re.fullmatch(r"([a-z_]+)\s*(?:\[(.*)\])?", head)
    if not match or match[1] not in UNITS:
        raise InputError(
            Fault(
                f"{file}, line {line}",
                "the column is not known",
                head[:40],
                ", ".join(UNITS),
                "rename or remove the column",
            )
        )
    return match[1], (match[2] or "").strip()


def convert(where: str, name: str, numbers: np.ndarray, unit: str, step: int) -> np.ndarray:
    """Return a column in SI [K, Pa, W/m2, m/s, kg/(m2 s), 1] with missing codes as NaN.

    Parameters
    ----------
    where : str
        File and column, for messages.
    name : str
        Name of the variable.
    numbers : array, (time,)
        As written. [unit of the file]
    unit : str
        Unit of the file.
    step : int
        Length of a record, for amounts per record. [min]

    Returns
    -------
    array, (time,)
        The column.

    Raises
    ------
    InputError
        If the unit is of another kind, or the values suggest another unit.
    """
    values = np.where(np.isin(numbers, _CODES) | ~np.isfinite(numbers), np.nan, numbers)
    target = UNITS[name]
    scale = 1.0
    if name == "rain":  # 1 m of water is 1000 kg/m2
        target, scale = {"mm": ("m", 1000.0 / (step * 60)), "in": ("m", 1000.0 / (step * 60))}.get(unit, (target, 1.0))
        if unit in ("mm/h", "mm/hr", "in/h", "mm/s", "m/s"):
            target, scale = "m/s", 1000.0
    if unit in ("Wh/m2", "kJ/m2", "J/m2", "MJ/m2") and target == "W/m2":
        target, scale = "J/m2", 1.0 / (step * 60)
    try:
        if target == "1":
            unit, target = unit or "missing", ""
            at_zero, at_one = (0.0, 1.0) if unit == "1" else (parse_quantity(f"{v} {unit}", "") for v in (0, 1))
        else:
            at_zero, at_one = parse_quantity(f"0 {unit}", target), parse_quantity(f"1 {unit}", target)
    except ValueError as error:
        raise InputError(
            Fault(
                where,
                "the unit cannot be used",
                str(error)[:100],
                f"a unit such as {UNITS[name]}",
                "name the unit in brackets",
            )
        ) from None
    converted = (at_zero + values * (at_one - at_zero)) * scale
    if name.startswith("relative") and np.nanmax(converted, initial=0.0) > 1.2:
        raise InputError(
            Fault(
                where,
                "humidity is far above 100 %",
                f"up to {np.nanmax(converted):.3g} as a fraction",
                "0 to 1",
                "the unit may be [%]",
            )
        )
    if name.startswith("relative") and unit == "%" and 0.0 < np.nanmax(converted, initial=0.0) <= 0.015:
        raise InputError(
            Fault(where, "the values look like fractions", "at most 1.5 %", "percent", "the unit may be [1]")
        )
    if name in ("temperature_outdoor", "dew_point"):
        middle = float(np.nanmedian(converted)) if np.isfinite(converted).any() else 280.0
        if middle > 400.0:
            raise InputError(
                Fault(
                    where,
                    "the temperatures look like kelvin",
                    f"median {middle:.0f} K",
                    "150 to 400 K",
                    "the unit may be [K]",
                )
            )
        if middle < 150.0:
            raise InputError(
                Fault(
                    where,
                    "the temperatures look like degC",
                    f"median {middle:.0f} K",
                    "150 to 400 K",
                    "the unit may be [degC]",
                )
            )
    return converted
