"""Read a weather file of any supported form into the one weather Dataset of the project."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from cavity.climate import plausible, series
from cavity.climate.humid import dew_point_over_water, table_saturation_pressure
from cavity.climate.named import weather_file
from cavity.climate.on_wall import sun_position
from cavity.constants import ICE_POINT, STEFAN_BOLTZMANN
from cavity.errors import Fault, InputError
from cavity.files import check_file, unreadable
from cavity.kept import recall

if TYPE_CHECKING:
    from os import PathLike

    import xarray as xr

LARGEST_FILE = 500_000_000  # bytes; thirty years of hours are below 60 MB
LARGEST_EPW = 120_000_000  # bytes; a year of minutes, or sixty years of hours
SEVERAL = "the file has"
NO_RAIN = (
    "the weather file has no rain: the column is missing or zero all year. That is a missing column, not a dry "
    "place; no result includes driving rain. Give a rain series in a second file (--rain), or a yearly or "
    "monthly total to estimate it (--rain-total)"
)


def read_weather(path: str | PathLike[str], rain_file: str | PathLike[str] | None = None) -> xr.Dataset:
    """Read one or more years of hourly weather from an EPW, CSV or NetCDF file.

    Gaps of up to six hours are interpolated and counted in the warnings, longer ones are refused with their dates.
    Sub-hourly records are averaged. Missing pressure, longwave and the split of the sun are computed by published
    models, and the warnings say so. A file whose rain is zero all year counts as a file without rain.

    Parameters
    ----------
    path : path or str
        EPW file, or CSV / NetCDF file in the form that `cavity.climate.table` documents; or the name of one of the
        fictitious climates that come with the package, such as ``"cool marine"`` (`cavity.climate.climate_names`).
    rain_file : path, optional
        Second file, any of these forms, whose rain is used instead. A CSV needs only time and rain.

    Returns
    -------
    xarray.Dataset, (time,)
        Weather variables of `cavity.variables`, SI, time = start of the hour in local standard time; with the
        coordinates cloud_cover and weather_code_rain where the file has them. Attributes: name,
        latitude [degree], longitude [degree], utc_offset [h], elevation [m], has_rain, rain_source, invented, source,
        sha256, warnings (JSON list), time_policy.

    Raises
    ------
    InputError
        If the file is missing, of another kind, short, damaged or not plausible.

    References
    ----------
    EPW data dictionary, EnergyPlus documentation, Auxiliary Programs. ISO 2533 standard atmosphere. Erbs, Klein and
    Duffie 1982 for the split of global irradiance. Berdahl and Martin 1984, Walton 1983 for the sky.
    """
    file = weather_file(path)
    second = None if rain_file is None else Path(rain_file)
    return recall(lambda: _identity(file, second), lambda: _read(file, second))


def _identity(*files: Path | None) -> str:
    """Return what the content of a weather depends on: the bytes of its files, and their names, which it cites."""
    parts: list[Any] = []
    for path, what in zip(files, ("a weather file", "a rain file"), strict=True):
        if path is not None:
            check_file(path, LARGEST_FILE, what)
            try:
                with path.open("rb") as opened:
                    parts += [path.name, hashlib.file_digest(opened, "sha256").hexdigest()]
            except OSError as error:
                raise unreadable(path, what, error) from None
    return json.dumps(parts)


def _read(path: Path, rain_file: Path | None) -> xr.Dataset:
    records, digest = _records(path)
    own = {"relative_humidity_file": "relative_humidity_outdoor"}
    records.has = tuple(own.get(name, name) for name in records.columns)
    source = "none"
    rain, note = records.columns.pop("rain", None), ""
    if rain_file is None and rain is not None and np.nansum(rain) > 0.0:
        records.columns["rain"], source = rain, records.rain_source
    _prepare(records)
    if rain_file is not None:
        records.columns["rain"], note = _second_rain(records, rain_file)
        source = "second file"
    series.whole_years(records)
    if "rain" not in records.columns or not records.columns["rain"].any():
        if source == "second file":
            raise InputError(
                Fault(
                    rain_file.name if rain_file else "",
                    "the rain file has no rain",
                    "zero all year",
                    "hourly rain",
                    "give another rain file",
                )
            )
        records.columns["rain"], source = np.zeros(records.time.size), "none"
        records.warnings.append(NO_RAIN)
    if note:
        records.warnings.append(note)
    count = np.unique(records.time.astype("datetime64[Y]")).size
    if count > 1:
        records.warnings.append(
            f"{SEVERAL} {count} years in a row; choose one: cavity climate FILE --year critical --save year.nc"
        )
    measured_sun = all(name in records.columns for name in series.SUN)
    _derive(records)
    series.check_bounds(records, list(series.WEATHER))
    plausible.check(records, measured_sun)
    return _dataset(records, digest, source)


def _start(path: Path, what: str) -> bytes:
    """Return the first bytes of a file that is regular and not too large."""
    check_file(path, LARGEST_FILE, what)
    with path.open("rb") as opened:
        start = opened.read(4096)
    if _is_epw(path, start):
        check_file(path, LARGEST_EPW, what)
    return start


def _is_epw(path: Path, start: bytes) -> bool:
    return path.suffix.lower() == ".epw" or start.removeprefix(b"\xef\xbb\xbf")[:9].upper() == b"LOCATION,"


def _records(path: Path, only_rain: bool = False, site: series.Records | None = None) -> tuple[series.Records, str]:
    """Read a file of any supported form, unchanged."""
    what = "a rain file" if only_rain else "a weather file"
    try:
        start = _start(path, what)
        with path.open("rb") as opened:
            digest = hashlib.file_digest(opened, "sha256").hexdigest()
        if start[:3] == b"CDF" or start[:8] == b"\x89HDF\r\n\x1a\n" or path.suffix.lower() in (".nc", ".nc4"):
            from cavity.climate import netcdf

            return netcdf.read_netcdf(path.name, path), digest
        if b"\x00" in start:
            raise InputError(
                Fault(
                    path.name,
                    "this is not a weather file",
                    "a binary file",
                    "EPW, CSV or NetCDF",
                    "give a weather file",
                )
            )
        if _is_epw(path, start):
            from cavity.climate import epw

            data = path.read_bytes()
            try:
                text = data.decode("utf-8-sig")
            except UnicodeDecodeError:
                text = data.decode("latin-1")
            del data
            return epw.read_epw(path.name, text), digest
        from cavity.climate import table

        return table.read_csv(path.name, path, only_rain=only_rain, site=site), digest
    except OSError as error:
        raise unreadable(path, what, error) from None


def _prepare(records: series.Records) -> None:
    for name in ("temperature_outdoor", "wind_speed", "wind_direction"):
        if name not in records.columns:
            raise InputError(
                series.fault_of(records, "the column is missing", "", "hourly values", "add the column", name)
            )
    # impossible values must not reach the formulas of humidity
    series.check_bounds(records, [n for n in records.columns if n in series.WEATHER or n == "dew_point"], gaps=True)
    series.regular(records)
    series.humidity(records)
    series.fill_gaps(records)
    series.to_hours(records)


def _second_rain(records: series.Records, path: Path) -> tuple[np.ndarray, str]:
    """Return the rain of another file for the hours of this one, and a note."""
    other, _ = _records(path, only_rain=True, site=records)
    if "rain" not in other.columns:
        raise InputError(
            Fault(path.name, "the rain file has no rain column", "", "a column rain", "add a column rain [mm/h]")
        )
    dummy = np.zeros(other.time.size)
    other.columns = {"rain": other.columns["rain"], "wind_speed": dummy, "wind_direction": dummy.copy()}
    series.regular(other)
    other.columns["wind_speed"], other.columns["wind_direction"] = (np.zeros(other.time.size) for _ in range(2))
    other.warnings = []
    series.fill_gaps(other)
    series.to_hours(other)
    gaps = "".join(f"; {text}" for text in other.warnings)
    position = np.searchsorted(other.time, records.time)
    inside = position < other.time.size
    same = np.zeros(records.time.size, dtype=bool)
    same[inside] = other.time[position[inside]] == records.time[inside]
    if same.all() and not (records.typical or other.typical):
        return other.columns["rain"][position], f"rain is taken from {path.name}{gaps}"

    def key(time: np.ndarray) -> np.ndarray:  # hour of a year with 29 February, whatever the year
        days = (time.astype("datetime64[D]") - time.astype("datetime64[M]").astype("datetime64[D]")).astype(int)
        hour = (time - time.astype("datetime64[D]")).astype("timedelta64[h]").astype(int)
        return (series.month_of(time) * 32 + days) * 24 + hour

    other_keys, first = np.unique(key(other.time), return_index=True)
    own_keys = key(records.time)
    leap_day = own_keys // 24 == 2 * 32 + 28
    position = np.minimum(np.searchsorted(other_keys, own_keys), other_keys.size - 1)
    matched = other_keys[position] == own_keys
    missing = ~(matched | leap_day)
    long = [a for a, b in series.runs(missing) if b - a > series.LONGEST_GAP]
    if long:
        gap = long[0]
        raise InputError(
            Fault(
                path.name,
                "the rain file does not cover the year",
                f"no rain value for {series.say_date(records.time[gap])[5:]}",
                "every hour of the year",
                "give a whole year of rain",
            )
        )
    rain = np.where(matched, other.columns["rain"][first][position], 0.0)
    if missing.any():
        gaps += f"; {int(missing.sum())} hours at its ends are counted as dry"
    return rain, (
        f"rain is taken from {path.name} by month, day and hour: it is of another year than the wind, "
        f"so wind and rain of single events do not belong together{gaps}"
    )


def _derive(records: series.Records) -> None:
    """Add missing variables by published models, in place."""
    columns, notes = records.columns, records.warnings
    temperature = columns["temperature_outdoor"]
    if "vapour_pressure_outdoor" not in columns:
        raise InputError(
            series.fault_of(
                records, "neither humidity nor dew point is given", expected="one of the two", fix="add one of them"
            )
        )
    columns["relative_humidity_outdoor"] = np.clip(
        columns["vapour_pressure_outdoor"] / table_saturation_pressure(temperature), 0.0, 1.0
    )
    standard = series.standard_pressure(records.elevation)
    _fill(columns, "pressure", np.full(temperature.shape, standard), "the standard atmosphere", notes)
    _split_sun(records)
    cloud = columns.get("cloud_cover")
    model = (
        "a clear sky (Berdahl and Martin 1984)"
        if cloud is None
        else "cloud cover (Berdahl and Martin 1984, Walton 1983)"
    )
    if not np.isfinite(columns.get("infrared_horizontal", np.array(np.nan))).all():
        sky = sky_irradiance(
            temperature,
            dew_point_over_water(columns["vapour_pressure_outdoor"]),
            cloud=np.zeros(temperature.shape) if cloud is None else np.nan_to_num(cloud),
            hour=hours_of_day(records.time) + 0.5,
            pressure=columns["pressure"],
        )
        _fill(columns, "infrared_horizontal", sky, model, notes)
    for name in series.EXTRA:
        if name in columns and not np.isfinite(columns[name]).all():
            del columns[name]


def hours_of_day(time: np.ndarray) -> np.ndarray:
    """Return the hour of the day at the start of each interval [h]."""
    return (time - time.astype("datetime64[D]")).astype("timedelta64[m]").astype(float) / 60.0


def _fill(columns: dict[str, np.ndarray], name: str, model: np.ndarray, model_name: str, notes: list[str]) -> None:
    values = columns.get(name, np.full(model.shape, np.nan))
    missing = np.isnan(values)
    if missing.any():
        notes.append(f"{name.replace('_', ' ')} is missing in {missing.sum()} hours; it is computed from {model_name}")
    columns[name] = np.where(missing, model, values)


def sky_irradiance(
    temperature: np.ndarray, dew: np.ndarray, *, cloud: np.ndarray, hour: np.ndarray, pressure: np.ndarray
) -> np.ndarray:
    """Return the longwave irradiance of the sky on a horizontal plane from air state and cloud cover (E8).

    The error for a clear, cold and dry sky is up to 20 W/m2; docs/theory.md has the comparison with measurements.

    Parameters
    ----------
    temperature, dew : array, (time,)
        Air temperature and dew point over water. [K]
    cloud : array, (time,), keyword only
        Opaque cloud cover. [0-1]
    hour : array, (time,), keyword only
        Hour of the day from midnight. [h]
    pressure : array, (time,), keyword only
        Atmospheric pressure. [Pa]

    Returns
    -------
    array, (time,)
        Longwave irradiance. [W/m2]

    References
    ----------
    Berdahl and Martin 1984, Solar Energy 32, 663-664: clear-sky emissivity; the pressure term from memory. Cloud
    factor with N in tenths: Walton 1983 after Clark and Allen 1978, from memory.
    """
    t = (dew - ICE_POINT) / 100.0
    clear = (
        0.711
        + t * (0.56 + 0.73 * t)
        + 0.013 * np.cos(2.0 * np.pi * hour / 24.0)
        + 0.00012 * (pressure / 100.0 - 1000.0)
    )
    n = 10.0 * cloud
    emissivity = np.minimum(clear * (1.0 + n * (0.0224 + n * (-0.0035 + n * 0.00028))), 1.0)
    return emissivity * STEFAN_BOLTZMANN * temperature**4


def _split_sun(records: series.Records) -> None:
    """Complete the three irradiances from any two of them, or from the global alone, in place.

    The derived direct irradiance is at most 0.95 S mu^0.2 + 10 W/m2 (Long and Dutton, BSRN recommended QC tests V2.0,
    2010, limit of rare values, from memory), S being the irradiance outside the atmosphere, mu the cosine of the
    zenith.
    """
    columns = records.columns
    measured = [name for name in series.SUN if name in columns]
    if len(measured) == 3:
        return
    if not measured or measured in (["direct_normal"], ["diffuse_horizontal"]):
        raise InputError(
            series.fault_of(
                records,
                "there is not enough sun in the file",
                ", ".join(measured) or "no irradiance",
                "global, or direct and diffuse irradiance",
                "add the column global_horizontal",
            )
        )
    import pvlib

    zenith = sun_position(records.time, records.latitude, records.longitude, records.utc_offset)["zenith"].to_numpy()
    cosine = np.cos(np.radians(zenith))
    up = np.maximum(cosine, 0.0)
    low = cosine < 0.065  # sun below 3.7 degrees: division by the cosine is not reliable
    if "direct_normal" in columns and "diffuse_horizontal" in columns:
        columns["global_horizontal"] = columns["diffuse_horizontal"] + columns["direct_normal"] * up
        records.warnings.append("global irradiance is computed from direct and diffuse")
        return
    if "direct_normal" in columns:
        columns["diffuse_horizontal"] = np.maximum(columns["global_horizontal"] - columns["direct_normal"] * up, 0.0)
        records.warnings.append("diffuse irradiance is computed from global and direct")
        return
    days = (records.time.astype("datetime64[D]") - records.time.astype("datetime64[Y]")).astype(int) + 1
    alone = "diffuse_horizontal" not in columns
    if alone:
        split = pvlib.irradiance.erbs(columns["global_horizontal"], zenith, days)
        direct = np.where(low, 0.0, np.nan_to_num(np.asarray(split["dni"])))
    else:
        beam = np.maximum(columns["global_horizontal"] - columns["diffuse_horizontal"], 0.0)
        direct = np.where(low, 0.0, beam / np.where(low, 1.0, cosine))
    # at sunrise and sunset the energy of the hour comes while the sun is higher than in its middle
    most = 0.95 * np.asarray(pvlib.irradiance.get_extra_radiation(days)) * up**0.2 + 10.0
    over = direct > most
    columns["direct_normal"] = np.where(over, most, direct)
    if alone:
        columns["diffuse_horizontal"] = columns["global_horizontal"] - columns["direct_normal"] * up
    note = (
        "direct and diffuse irradiance are split from the global by Erbs, Klein and Duffie 1982"
        if alone
        else "direct irradiance is computed from global and diffuse"
    )
    if over.any():
        note += f"; in {int(over.sum())} hours the direct part was limited to that of a very clear sky"
    if over.mean() > 0.005:  # none in files whose place and clock are right
        note += ": latitude, longitude, time zone or time label may be wrong"
    records.warnings.append(note)


def _dataset(records: series.Records, digest: str, rain_source: str) -> xr.Dataset:
    import xarray as xr

    from cavity.variables import attributes

    variables: dict[str, Any] = {
        name: ("time", records.columns[name].astype(float), attributes(name, records.file)) for name in series.WEATHER
    }
    return xr.Dataset(
        variables,
        coords={
            "time": (
                "time",
                records.time.astype("datetime64[ns]"),
                {"long_name": "start of the hour, local standard time"},
            )
        }
        | {
            name: ("time", records.columns[name].astype(float), {"units": unit, "long_name": title})
            for name, (unit, title) in series.EXTRA.items()
            if name in records.columns
        },
        attrs={
            "name": records.name,
            "latitude": records.latitude,
            "longitude": records.longitude,
            "utc_offset": records.utc_offset,
            "elevation": records.elevation,
            "has_rain": int(rain_source != "none"),
            "rain_source": rain_source,
            "invented": int(records.invented),
            "source": records.file,
            "sha256": digest,
            "warnings": json.dumps(list(dict.fromkeys(records.warnings)), ensure_ascii=False),
            "time_policy": records.policy,
        },
    )
