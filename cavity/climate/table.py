"""Weather as a CSV or NetCDF file in the project's own form.

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

Heads are names of `cavity.variables`, and besides them ``dew_point`` and ``cloud_cover``, each with its unit in square
brackets. Rain may be in mm/h or mm per record, irradiance in W/m2 or Wh/m2 per record. Needed are time,
temperature_outdoor, wind_speed, wind_direction, one of relative_humidity_outdoor, dew_point and
vapour_pressure_outdoor, and global_horizontal or the pair direct_normal, diffuse_horizontal. Time is ISO 8601 in local
standard time, or with an offset from universal time.
An empty field, ``nan``, -999, -9999 and 9999 are missing values. Steps may be any that divide an hour, or an hour.

NetCDF: a dimension ``time``, variables of the same names with the attribute ``units``, and the keys of the head as
attributes of the file (latitude, longitude, utc_offset, elevation, name, time_label, fictitious). What `read_weather`
returns, written by ``to_netcdf``, is such a file.
"""

from __future__ import annotations

import csv
import json
import re
from typing import TYPE_CHECKING, Any

import numpy as np

from cavity.climate.series import EXTRA, SUN, UNITS_OF_PLACE, WEATHER, Records, number_of, plain, slug
from cavity.errors import Fault, InputError
from cavity.units import parse_quantity
from cavity.variables import TABLE

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

# columns that a file may have: SI unit of each
_UNITS = (
    {name: TABLE[name].units for name in WEATHER} | {"dew_point": "K"} | {name: row[0] for name, row in EXTRA.items()}
)
_OURS = {"relative_humidity_outdoor": "relative_humidity_file"}
_CODES = (-999.0, -9999.0, 9999.0, -99999.0, 999999.0)
_KEYS = (
    "name", "latitude", "longitude", "utc_offset", "elevation", "time_label", "humidity_below_freezing", "fictitious",
    "invented",
)  # fmt: skip
_LIMITS = {
    "latitude": (-90.0, 90.0),
    "longitude": (-180.0, 180.0),
    "utc_offset": (-12.0, 14.0),
    "elevation": (-430.0, 6000.0),
}


_ENOUGH = 6  # faults of one file reported at most
_LONGEST_LINE = 20_000  # characters
_PROBE = 60.0  # s in which a sound NetCDF file can be read
_STAMP = re.compile(r"(\d{4}-\d{2}-\d{2})(?:[T ](\d{2}:\d{2})(?::\d{2}(?:\.\d+)?)?)?\s*(Z|[+-]\d{2}:?\d{2})?")


def read_csv(file: str, text: str, *, only_rain: bool = False, site: Records | None = None) -> Records:
    """Read a CSV file of the form described at the head of this module.

    Parameters
    ----------
    file : str
        Name of the file, for messages.
    text : str
        Its content.
    only_rain : bool, keyword only
        The file serves for its rain: other columns and the place are not needed.
    site : Records, optional, keyword only
        Gives place and time zone where the file has none.

    Returns
    -------
    Records
        Records as written, SI.

    Raises
    ------
    InputError
        With the line and column of every fault, at most six.
    """
    if "\n" not in text:
        text = text.replace("\r", "\n")
    faults: list[Fault] = []
    keys: dict[str, str] = {}
    start = at = 0
    for line, end in _lines(text):
        if not line.startswith("#") and line.strip():
            break
        start, at = start + 1, end
        found = re.match(r"#\s*([A-Za-z_ ]+?)\s*[=:]\s*([^#]*)", line[:_LONGEST_LINE])
        if found:
            key = found[1].strip().lower().replace(" ", "_")
            if key in keys and key in _KEYS:
                where, said = f"{file}, line {start}", f"{key.replace('_', ' ')} is given twice"
                faults.append(Fault(where, said, line[:60], "each key once"))
            keys[key] = found[2].strip()
    rows = csv.reader(_short(file, start, text, at))
    try:
        heads = [head.strip() for head in next(rows, [])]
    except csv.Error:
        heads = []
    if not heads or heads[0].lower() != "time":
        raise InputError(
            Fault(
                f"{file}, line {start + 1}",
                "this is neither an EPW file nor a weather CSV",
                next(_lines(text, at), ("",))[0].strip()[:60] or "no such line",
                "a line of column heads that starts with time",
                "give an EPW file, or the CSV form that cavity climate --help describes",
            )
        )
    while len(heads) > 1 and not heads[-1]:
        heads.pop()  # a comma at the end of the line
    columns, units = _heads(file, start + 1, heads)
    wanted = [i for i, name in enumerate(columns) if i and not (only_rain and name != "rain")]
    # filled row by row: lists of the fields of a long file take ten times its size
    most = text.count("\n", at) + 1
    stamps, numbers = np.empty(most, dtype="datetime64[m]"), np.empty((len(wanted), most))
    universal = np.zeros(most, dtype=bool)
    count = 0
    try:
        for row in rows:
            if not row:
                continue
            where = f"{file}, line {start + rows.line_num}"
            if len(row) > len(heads) and not any(field.strip() for field in row[len(heads) :]):
                del row[len(heads) :]  # commas at the end of the line
            if len(row) != len(heads):
                fix = "repair the line"
                if len(row) > len(heads):
                    fix += "; numbers have a decimal point, not a comma"
                faults.append(Fault(where, "wrong number of fields", f"{len(row)} fields", f"{len(heads)}", fix))
            else:
                stamps[count], universal[count] = _stamp(where, row[0])
                for place, i in enumerate(wanted):
                    field = row[i].strip()
                    try:
                        numbers[place, count] = float(plain(field)) if field and field.lower() != "na" else np.nan
                    except ValueError:
                        said = f"{where}, {heads[i]}"
                        faults.append(
                            Fault(said, "is not a number", field[:40], "a number, or empty", "repair the line")
                        )
                count += 1
            if len(faults) >= _ENOUGH:
                break
    except csv.Error as error:
        where = f"{file}, line {start + rows.line_num}"
        raise InputError(Fault(where, "cannot be split into fields", str(error), "", "repair the file")) from None
    if faults:
        raise InputError(*faults[:_ENOUGH])
    place = _place(file, keys, site)
    stamps, numbers = stamps[:count], numbers[:, :count]
    stamps[universal[:count]] += round(place["utc_offset"] * 60)
    time, step = _label(file, stamps, keys.get("time_label", "start"))
    found = {
        _OURS.get(columns[i], columns[i]): _convert(f"{file}, {heads[i]}", columns[i], numbers[row], units[i], step)
        for row, i in enumerate(wanted)
    }
    return _records(file, time, step, found, place, keys)


def _lines(text: str, at: int = 0) -> Iterator[tuple[str, int]]:
    """Yield each line from a place on, and where the next begins; a copy of the whole file is not made."""
    while at < len(text):
        end = text.find("\n", at)
        end = len(text) if end < 0 else end
        yield text[at:end].removesuffix("\r"), end + 1
        at = end + 1


def _short(file: str, before: int, text: str, at: int) -> Iterator[str]:
    for number, (line, _) in enumerate(_lines(text, at), before + 1):
        if len(line) > _LONGEST_LINE:
            raise InputError(
                Fault(f"{file}, line {number}", "the line is far too long", f"{len(line)} characters",
                      f"at most {_LONGEST_LINE}", "check that this is a weather file")
            )  # fmt: skip
        yield line + "\n"


def _heads(file: str, line: int, heads: list[str]) -> tuple[list[str], list[str]]:
    """Return the names of the columns and their units; the first is the time."""
    columns, units = ["time"], [""]
    for head in heads[1:]:
        name, unit = _head(file, line, head)
        if name in columns:
            raise InputError(
                Fault(f"{file}, line {line}", f"the column {name} is there twice", head[:40], "each column once")
            )
        columns.append(name)
        units.append(unit)
    return columns, units


def _stamp(where: str, text: str) -> tuple[np.datetime64, bool]:
    """Return the time, and whether it is universal time: of a stamp that has an offset from it."""
    found = _STAMP.fullmatch(text.strip())
    try:
        if not found:
            raise ValueError
        stamp = np.datetime64(f"{found[1]}T{found[2] or '00:00'}", "m")
    except ValueError:
        raise InputError(
            Fault(f"{where}, time", "is not a date", text.strip()[:40], "ISO 8601, e.g. 2021-01-01T00:00",
                  "repair the line")
        ) from None  # fmt: skip
    if found[3]:
        zone = 0 if found[3] == "Z" else int(found[3][:3] + "1") // 10 * 60 + int(found[3][0] + found[3][-2:])
        return stamp - zone, True
    return stamp, False


def read_netcdf(file: str, path: Path) -> Records:
    """Read a NetCDF file of the form described at the head of this module.

    Parameters
    ----------
    file : str
        Name of the file, for messages.
    path : Path
        The file.

    Returns
    -------
    Records
        Records as written, SI.

    Raises
    ------
    InputError
        If the file is damaged or not of this form.
    """
    import xarray as xr

    try:
        _probe(path)
        with xr.open_dataset(path) as opened:
            dataset = opened.load()
    except Exception as error:  # each engine raises its own kinds
        raise InputError(
            Fault(
                file,
                "the NetCDF file cannot be opened",
                str(error).splitlines()[0][:80] if str(error) else "",
                "NetCDF 3 or 4",
            )
        ) from None
    if "time" not in dataset.dims or "time" not in dataset.coords or not dataset.sizes["time"]:
        given = ", ".join(map(str, dataset.dims))[:60]
        raise InputError(Fault(file, "there is no time coordinate", given, "a dimension time with its coordinate"))
    keys = {str(key).lower(): str(value) for key, value in dataset.attrs.items()}
    place = _place(file, keys, None)
    try:
        raw = dataset["time"].to_numpy()
        if not np.issubdtype(raw.dtype, np.datetime64):  # a calendar of climate models
            raw = np.array([moment.isoformat() for moment in raw])
        time = raw.astype("datetime64[m]")
    except (ValueError, AttributeError, TypeError):
        raise InputError(Fault(file, "the time coordinate is not a date", "", "dates of the usual calendar")) from None
    if np.isnat(time).any():
        raise InputError(Fault(file, "a time stamp is missing", "", "a date for every record"))
    time, step = _label(file, time, keys.get("time_label", "start"))
    columns = {}
    for name in _UNITS:
        if name in dataset:
            values = dataset[name]
            if values.dims != ("time",) or not np.issubdtype(values.dtype, np.number):
                raise InputError(
                    Fault(f"{file}, {name}", "is not a series of numbers over time", str(values.dims)[:60], "(time)")
                )
            unit = str(values.attrs.get("units", ""))
            columns[_OURS.get(name, name)] = _convert(
                f"{file}, {name}", name, values.to_numpy().astype(float), unit, step
            )
    records = _records(file, time, step, columns, place, keys)
    if keys.get("rain_source", "").startswith("estimated"):
        records.rain_source = keys["rain_source"][:80]  # what was estimated once stays marked
    try:
        earlier = json.loads(keys.get("warnings", "[]"))
    except (ValueError, RecursionError):  # brackets without end
        earlier = []
    if isinstance(earlier, list):
        # a note on missing rain is made anew where it still holds
        records.warnings += [str(text)[:400] for text in earlier if "no rain" not in str(text)]
    return records


def _probe(path: Path) -> None:
    """Let another process read an HDF5 file first: the library can hang in a damaged one, or end the process.

    Raises
    ------
    ValueError
        If it cannot be read to the end in time.
    """
    import subprocess
    import sys

    import h5py

    if not h5py.is_hdf5(path) or not sys.executable:
        return
    code = (
        "import h5py, sys\n"
        "def read(_name, item):\n"
        "    list(item.attrs.items())\n"
        "    isinstance(item, h5py.Dataset) and item[()]\n"
        "with h5py.File(sys.argv[1]) as file:\n"
        "    read('', file)\n"
        "    file.visititems(read)"
    )
    try:
        done = subprocess.run(
            [sys.executable, "-c", code, str(path.resolve())], capture_output=True, timeout=_PROBE, check=False
        )
    except subprocess.TimeoutExpired:
        raise ValueError("it is damaged: reading it does not end") from None
    if done.returncode:
        last = done.stderr.decode("utf-8", "replace").strip().split("\n")[-1].split(": ", 1)[-1]
        raise ValueError(f"it is damaged: {last}"[:80])


def _records(
    file: str,
    time: np.ndarray,
    step: int,
    columns: dict[str, np.ndarray],
    place: dict[str, Any],
    keys: Mapping[str, str],
) -> Records:
    surface = keys.get("humidity_below_freezing", "").lower()
    if surface not in ("", "water", "ice"):
        raise InputError(Fault(file, "humidity below freezing is not understood", surface[:40], "water | ice"))
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
        **place,
    )


def _place(file: str, keys: Mapping[str, str], site: Records | None) -> dict[str, Any]:
    found: dict[str, float] = {}
    faults = []
    for key, (low, high) in _LIMITS.items():
        text = keys.get(key, "")
        if not text and site is not None:
            found[key] = getattr(site, key)
            continue
        title = key.replace("_", " ")
        found[key], fix = number_of(text, key) if text else (float("nan"), "")
        if not low <= found[key] <= high:
            problem = f"{title} is not possible" if text else f"{title} is missing"
            expected = f"{low:g} to {high:g} {UNITS_OF_PLACE[key][0]}"
            faults.append(
                Fault(f"{file}, head", problem, text[:40], expected, fix or f"add a line  # {title} = NUMBER")
            )
    if faults:
        raise InputError(*faults)
    return dict(found)


def _label(file: str, stamps: np.ndarray, label: str) -> tuple[np.ndarray, int]:
    """Return the start of each record and the step in minutes."""
    if stamps.size < 2:
        raise InputError(Fault(file, "there are too few records", str(stamps.size), "a whole year of hourly values"))
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
        raise InputError(Fault(f"{file}, head", "the time label is not understood", label[:40], "start | middle | end"))
    back = {"start": 0.0, "middle": step / 2, "end": float(step)}[word]
    if back != int(back):
        raise InputError(Fault(f"{file}, head", "the middle of this step is not a whole minute", f"{step} minutes"))
    return stamps - int(back), step


def _head(file: str, line: int, head: str) -> tuple[str, str]:
    found = re.fullmatch(r"([a-z_]+)\s*(?:\[(.*)\])?", head)
    if not found or found[1] not in _UNITS:
        raise InputError(
            Fault(
                f"{file}, line {line}",
                "the column is not known",
                head[:40],
                ", ".join(_UNITS),
                "rename or remove the column",
            )
        )
    return found[1], (found[2] or "").strip()


def _convert(where: str, name: str, numbers: np.ndarray, unit: str, step: int) -> np.ndarray:
    """Return a column in SI with missing codes as NaN."""
    values = np.where(np.isin(numbers, _CODES) | ~np.isfinite(numbers), np.nan, numbers)
    target = _UNITS[name]
    scale = 1.0
    if name == "rain":  # a depth of water is 1000 kg/m3 of it
        target, scale = {"mm": ("m", 1000.0 / (step * 60)), "in": ("m", 1000.0 / (step * 60))}.get(unit, (target, 1.0))
        if unit in ("mm/h", "mm/hr", "in/h", "mm/s", "m/s"):
            target, scale = "m/s", 1000.0
    if unit in ("Wh/m2", "kJ/m2", "J/m2", "MJ/m2") and target == "W/m2":
        target, scale = "J/m2", 1.0 / (step * 60)
    try:
        if target == "1":
            unit, target = unit or "missing", ""
            zero, one = (0.0, 1.0) if unit == "1" else (parse_quantity(f"{v} {unit}", "") for v in (0, 1))
        else:
            zero, one = parse_quantity(f"0 {unit}", target), parse_quantity(f"1 {unit}", target)
    except ValueError as error:
        raise InputError(
            Fault(
                where,
                "the unit cannot be used",
                str(error)[:100],
                f"a unit such as {_UNITS[name]}",
                "name the unit in brackets",
            )
        ) from None
    found = (zero + values * (one - zero)) * scale
    if name.startswith("relative") and np.nanmax(found, initial=0.0) > 1.2:
        raise InputError(
            Fault(
                where,
                "humidity is far above 100 %",
                f"up to {np.nanmax(found):.3g} as a fraction",
                "0 to 1",
                "the unit may be [%]",
            )
        )
    if name.startswith("relative") and unit == "%" and 0.0 < np.nanmax(found, initial=0.0) <= 0.015:
        raise InputError(
            Fault(where, "the values look like fractions", "at most 1.5 %", "percent", "the unit may be [1]")
        )
    if name in ("temperature_outdoor", "dew_point"):
        middle = float(np.nanmedian(found)) if np.isfinite(found).any() else 280.0
        if middle > 400.0:
            raise InputError(
                Fault(where, "the temperatures look like kelvin", f"median {middle:.0f} K", "", "the unit may be [K]")
            )
        if middle < 150.0:
            raise InputError(
                Fault(where, "the temperatures look like degC", f"median {middle:.0f} K", "", "the unit may be [degC]")
            )
    return found
