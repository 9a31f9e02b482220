"""Weather files for tests: fictitious climates, changed line by line, and measured years of an installed package."""

from __future__ import annotations

import functools
import hashlib
import importlib.util
from pathlib import Path

import numpy as np

CLIMATES = Path(__file__).parent.parent / "climates"
HEADER = 8  # lines before the hours of an EPW file
# position of a field in an EPW line (EPW data dictionary)
TEMPERATURE, DEW_POINT, HUMIDITY, PRESSURE, INFRARED, GLOBAL, DIRECT, DIFFUSE = 6, 7, 8, 9, 12, 13, 14, 15
DIRECTION, SPEED, RAIN, RAIN_HOURS = 20, 21, 33, 34


@functools.cache
def _lines(name: str) -> tuple[str, ...]:
    return tuple((CLIMATES / f"{name}.epw").read_text("ascii").splitlines())


def lines(name: str = "temperate_inland") -> list[str]:
    """Return the lines of a fictitious climate."""
    return list(_lines(name))


def put(rows: list[str], field: int, value: object, hours: slice | range | list[int]) -> list[str]:
    """Return the lines with one field replaced in the given hours; hour 0 is the first of the year."""
    changed = list(rows)
    for hour in range(len(rows) - HEADER)[hours] if isinstance(hours, slice) else hours:
        parts = changed[HEADER + hour].split(",")
        parts[field] = str(value)
        changed[HEADER + hour] = ",".join(parts)
    return changed


def with_year(rows: list[str], year: int) -> list[str]:
    """Return the hours (no header) with the year of their stamps replaced."""
    return [f"{year},{row.split(',', 1)[1]}" for row in rows]


def save(folder: Path, rows: list[str], name: str = "weather.epw") -> Path:
    """Write lines as a file and return its path."""
    path = folder / name
    path.write_text("\n".join(rows) + "\n", "ascii")
    return path


def csv_text(weather: object, *, head: str = "", hours: slice = slice(None), **replaced: np.ndarray) -> str:
    """Return a weather Dataset in the CSV form, in the units that people use; `replaced` gives columns by name."""
    attrs = weather.attrs
    text = [
        "# name = Somewhere",
        f"# latitude = {attrs['latitude']}",
        f"# longitude = {attrs['longitude']}",
        f"# utc offset = {attrs['utc_offset']}",
        f"# elevation = {attrs['elevation']}",
        "# humidity below freezing = ice",
    ]
    if head:
        text.append(head)
    columns = {
        "temperature_outdoor [degC]": weather["temperature_outdoor"].values - 273.15,
        "relative_humidity_outdoor [%]": weather["relative_humidity_outdoor"].values * 100.0,
        "pressure [hPa]": weather["pressure"].values / 100.0,
        "wind_speed [m/s]": weather["wind_speed"].values,
        "wind_direction [degree]": weather["wind_direction"].values,
        "global_horizontal [W/m2]": weather["global_horizontal"].values,
        "direct_normal [W/m2]": weather["direct_normal"].values,
        "diffuse_horizontal [W/m2]": weather["diffuse_horizontal"].values,
        "infrared_horizontal [W/m2]": weather["infrared_horizontal"].values,
        "rain [mm/h]": weather["rain"].values * 3600.0,
    }
    for name, values in replaced.items():
        old = next((key for key in columns if key.split(" ")[0] == name.split(" ")[0]), None)
        if old:
            del columns[old]
        columns[name] = values
    time = np.datetime_as_string(weather["time"].values[hours].astype("datetime64[m]"))
    values = np.stack([column[hours] for column in columns.values()], axis=1)
    text.append("time," + ",".join(columns))
    text += [f"{stamp}," + ",".join(f"{v:.10g}" for v in row) for stamp, row in zip(time, values, strict=True)]
    return "\n".join(text) + "\n"


# WMO table 4677 of present weather (as TMY3 files have it) against places and digits of the nine EPW codes
_WMO = {
    50: (2, "3"), 51: (2, "3"), 52: (2, "4"), 53: (2, "4"), 54: (2, "5"), 55: (2, "5"), 56: (2, "6"), 57: (2, "7"),
    58: (1, "0"), 59: (1, "1"), 60: (1, "0"), 61: (1, "0"), 62: (1, "1"), 63: (1, "1"), 64: (1, "2"), 65: (1, "2"),
    66: (1, "6"), 67: (1, "7"), 68: (1, "0"), 69: (1, "1"), 70: (3, "0"), 71: (3, "0"), 72: (3, "1"), 73: (3, "1"),
    74: (3, "2"), 75: (3, "2"), 79: (5, "0"), 80: (1, "3"), 81: (1, "4"), 82: (1, "5"), 91: (1, "0"), 92: (1, "1"),
    95: (1, "4"), 97: (1, "5"),
}  # fmt: skip


@functools.cache
def inland_lines() -> tuple[str, ...]:
    """Return as EPW lines the measured year of an inland town, with rain and weather codes, that pvlib ships."""
    import pandas as pd
    import pvlib

    path = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
    head = path.read_text("ascii").split("\n", 1)[0].strip().split(",")
    table = pd.read_csv(path, skiprows=1)
    lines = list(_lines("temperate_inland")[:HEADER])
    lines[0] = f"LOCATION,{head[1].strip(chr(34))},-,-,TMY3,{head[0]},{head[4]},{head[5]},{head[3]},{head[6]}"
    for row in table.to_dict("records"):
        month, day, year = (int(part) for part in row["Date (MM/DD/YYYY)"].split("/"))
        code = ["9"] * 9
        place, digit = _WMO.get(int(row["PresWth (METAR code)"]), (8, "9"))
        code[place] = digit
        fields = [""] * 35
        fields[:5] = [str(part) for part in (year, month, day, int(row["Time (HH:MM)"][:2]), 60)]
        for field, name, factor in (
            (TEMPERATURE, "Dry-bulb (C)", 1), (DEW_POINT, "Dew-point (C)", 1), (HUMIDITY, "RHum (%)", 1),
            (PRESSURE, "Pressure (mbar)", 100), (GLOBAL, "GHI (W/m^2)", 1), (DIRECT, "DNI (W/m^2)", 1),
            (DIFFUSE, "DHI (W/m^2)", 1), (DIRECTION, "Wdir (degrees)", 1), (SPEED, "Wspd (m/s)", 1),
            (22, "TotCld (tenths)", 1), (23, "OpqCld (tenths)", 1), (RAIN, "Lprecip depth (mm)", 0.1),
        ):  # fmt: skip
            fields[field] = f"{row[name] * factor:.6g}"
        fields[INFRARED], fields[RAIN_HOURS], fields[26], fields[27] = "9999", "1", "0", "".join(code)
        lines.append(",".join(fields))
    return tuple(lines)


@functools.cache
def measured() -> dict[str, Path]:
    """Return the EPW files of the installed package of measured-type years, each content once; empty without it."""
    found = importlib.util.find_spec("accim")
    files: dict[str, Path] = {}
    if found is None or not found.submodule_search_locations:
        return files
    known = set()
    for path in sorted(Path(next(iter(found.submodule_search_locations))).rglob("*.epw")):
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
        if digest not in known:
            known.add(digest)
            files[f"{path.parent.name}/{path.name}"] = path
    return files


@functools.cache
def read_measured(name: str) -> object:
    """Return the weather of a measured file, read once."""
    from cavity.climate import read_weather

    return read_weather(measured()[name])


def one_measured(part: str) -> Path:
    """Return the first measured file whose name contains `part`."""
    return next(path for name, path in measured().items() if part in name)
