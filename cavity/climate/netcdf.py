"""Weather from a NetCDF file of the form that `cavity.climate.table` documents."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np

from cavity.climate import table
from cavity.climate.series import Records
from cavity.errors import Fault, InputError

TIME_LIMIT = 60.0  # s, after which a file counts as damaged: the library may never return from a damaged one


def read_netcdf(file: str, path: Path) -> Records:
    """Read a NetCDF file of the form described in `cavity.climate.table`.

    A separate process opens the file, because a damaged file can block or end the process that opens it.

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
    series, head, notes = _copied(file, path)
    time = series.get("time")
    if time is None or time.ndim != 1 or not time.size:
        names = ", ".join(series)[:60]
        raise InputError(
            Fault(
                file, "there is no time coordinate", names, "a dimension time with its coordinate", "add the coordinate"
            )
        )
    keys = {str(key).lower(): str(value) for key, value in head.items()}
    location = table.location_of(file, keys, None)
    stamps = _stamps(file, time, notes.get("time", {}))
    start, step = table.starts(file, stamps, keys.get("time_label", "start"))
    columns: dict[str, np.ndarray] = {}
    for name in table.UNITS:
        if name not in series:
            continue
        values = series[name]
        if values.shape != time.shape:
            shape = " x ".join(map(str, values.shape)) or "one number"
            raise InputError(
                Fault(
                    f"{file}, {name}",
                    "is not a series over time",
                    shape,
                    f"{time.size} numbers, as time has",
                    "write one number for each time",
                )
            )
        series_notes = notes.get(name, {})
        values = values.astype(float)
        for key in ("_FillValue", "missing_value"):
            if isinstance(series_notes.get(key), (int, float)):
                values[values == float(series_notes[key])] = np.nan
        factor, offset = series_notes.get("scale_factor", 1.0), series_notes.get("add_offset", 0.0)
        if isinstance(factor, (int, float)) and isinstance(offset, (int, float)):
            values = values * float(factor) + float(offset)
        unit = str(series_notes.get("units", ""))[:60]
        columns[table.RENAMED.get(name, name)] = table.convert(f"{file}, {name}", name, values, unit, step)
    records = table.records_of(file, start, step, columns, location, keys)
    if keys.get("rain_source", "").startswith("estimated"):
        records.rain_source = keys["rain_source"][:80]  # estimated rain stays marked as such
    try:
        earlier = json.loads(keys.get("warnings", "[]"))
    except (ValueError, RecursionError):  # JSON nested too deep
        earlier = []
    if isinstance(earlier, list):
        # a note on missing rain is written again if it still applies
        records.warnings += [str(text)[:400] for text in earlier[:50] if "no rain" not in str(text)]
    return records


def _copied(file: str, path: Path) -> tuple[dict[str, np.ndarray], dict[str, Any], dict[str, dict[str, Any]]]:
    """Return series, attributes of the file and of each series, read by another process."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy.npz"
        child = Path(__file__).with_name("_netcdf_child.py")
        try:
            process = subprocess.run(
                [sys.executable, str(child), str(path), str(copy)],
                capture_output=True, timeout=TIME_LIMIT, check=False, stdin=subprocess.DEVNULL,
            )  # fmt: skip
            output = process.stdout.decode(errors="replace").strip().splitlines()
            problem = "" if process.returncode == 0 else (output[-1][:80] if output else "its library failed")
        except subprocess.TimeoutExpired:
            problem = f"reading does not end within {TIME_LIMIT:.0f} s"
        if problem or not copy.is_file():
            raise InputError(
                Fault(file, "the NetCDF file cannot be opened", problem, "NetCDF 3 or 4", "download or write it again")
            )
        with np.load(copy) as arrays:
            notes = json.loads(arrays["notes"].tobytes().decode())
            series = {name.removeprefix("series "): arrays[name] for name in arrays.files if name != "notes"}
    return series, notes["head"], notes["series"]


def _stamps(file: str, time: np.ndarray, notes: dict[str, Any]) -> np.ndarray:
    """Return the time coordinate as datetime64[m]; CF units and calendars by xarray."""
    import xarray as xr

    time_notes = {key: notes[key] for key in ("units", "calendar") if key in notes}
    try:
        raw = xr.decode_cf(xr.Dataset(coords={"time": ("time", time, time_notes)}))["time"].to_numpy()
        if not np.issubdtype(raw.dtype, np.datetime64):  # a calendar of climate models
            raw = np.array([moment.isoformat() for moment in raw])
        stamps = raw.astype("datetime64[m]")
    except (ValueError, AttributeError, TypeError, OverflowError, ImportError):
        raise InputError(
            Fault(
                file,
                "the time coordinate is not a date",
                str(time_notes.get("units", ""))[:60],
                "dates of the usual calendar",
                "write the units as 'hours since DATE'",
            )
        ) from None
    if np.isnat(stamps).any():
        raise InputError(Fault(file, "a time stamp is missing", "", "a date for every record", "write all dates"))
    return stamps
