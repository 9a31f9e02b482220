"""Makes whole hours of whole years from the records of a file with any step and gaps; every repair is counted."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from cavity.climate.humid import table_saturation_pressure, vapour_from_file
from cavity.constants import STANDARD_PRESSURE
from cavity.errors import Fault, InputError

if TYPE_CHECKING:
    from collections.abc import Iterator

SUN = ("global_horizontal", "direct_normal", "diffuse_horizontal")
WEATHER = (  # variables of a complete weather
    "temperature_outdoor",
    "relative_humidity_outdoor",
    "vapour_pressure_outdoor",
    "pressure",
    "wind_speed",
    "wind_direction",
    *SUN,
    "infrared_horizontal",
    "rain",
)
# kept as coordinates where a file has them, for the estimate of rain: unit and long name
EXTRA = {
    "cloud_cover": ("1", "opaque cloud cover"),
    "weather_code_rain": ("kg/(m2 s)", "usual precipitation of the file's weather codes"),
}
LONGEST_GAP = 6  # h, longest gap that is interpolated
HOURS = 8760
NOMINAL_YEAR = 2001  # shown for a typical year, made from months of several years; 2000 for a leap year


@dataclass
class Records:
    """Records of a file: start of each record in local standard time, columns in SI with NaN where missing.

    Columns carry the names of `cavity.variables`, and besides them ``dew_point`` [K], ``relative_humidity_file`` [1]
    ``cloud_cover`` [0-1] and ``weather_code_rain`` [kg/(m2 s)].
    """

    file: str
    time: np.ndarray  # datetime64[m], START of each record
    step: int  # minutes
    columns: dict[str, np.ndarray]
    latitude: float
    longitude: float
    utc_offset: float
    elevation: float
    name: str
    invented: bool
    surface: str = ""  # "water" | "ice" | "" not stated
    typical: bool = False  # the years of the stamps are arbitrary
    policy: str = ""
    rain_source: str = "file"
    warnings: list[str] = field(default_factory=list)
    has: tuple[str, ...] = ()  # columns of the file itself, where others are computed from them


def say_date(moment: np.datetime64) -> str:
    """Return date and hour as text, e.g. ``2001-03-31 04:00``."""
    return str(moment.astype("datetime64[m]")).replace("T", " ")


_SOURCES_OF = dict.fromkeys(SUN, SUN) | {
    "vapour_pressure_outdoor": ("temperature_outdoor", "relative_humidity_outdoor or dew_point"),
    "relative_humidity_outdoor": ("temperature_outdoor", "dew_point or vapour_pressure_outdoor"),
}


def fault_of(
    records: Records, problem: str, given: str = "", expected: str = "", fix: str = "", column: str = ""
) -> Fault:
    """Return a fault with the file and the column; for a computed column with those it is computed from."""
    where = f"{records.file}, column {column}" if column else records.file
    if column and records.has and column not in records.has:
        where = f"{records.file}, {column.replace('_', ' ')} as computed"
        fix = f"check the columns it is computed from: {', '.join(_SOURCES_OF.get(column, records.has))}"
    return Fault(where, problem, given, expected, fix)


def regular(records: Records) -> None:
    """Put the records on a continuous time axis, in place; hours without a record become missing values."""
    time, step = records.time, np.timedelta64(records.step, "m")
    order = np.diff(time)
    if (order <= np.timedelta64(0, "m")).any():
        first = int(np.argmax(order <= np.timedelta64(0, "m")))
        same = time[first + 1] == time[first]
        gap_in_spring = (order == 2 * step).any()
        raise InputError(
            fault_of(
                records,
                "two records have the same time" if same else "time runs backwards",
                f"{say_date(time[first])} followed by {say_date(time[first + 1])}",
                "each record once, in order, local standard time",
                "the file seems to follow daylight saving time; write it in standard time all year"
                if same and gap_in_spring
                else "sort the records and remove duplicates",
            )
        )
    if (order % step != np.timedelta64(0, "m")).any():
        first = int(np.argmax(order % step != np.timedelta64(0, "m")))
        raise InputError(
            fault_of(
                records,
                "the records are not evenly spaced",
                f"{say_date(time[first])} followed by {say_date(time[first + 1])}",
                f"steps of {records.step} minutes",
                "resample the file to even steps",
            )
        )
    start, end = _padded(time[0], time[-1] + step, step)
    axis = np.arange(start, end, step)
    if axis.size > 4 * time.size + 100_000:
        raise InputError(
            fault_of(
                records,
                "most of the time axis is missing",
                f"{time.size} records from {say_date(time[0])} to {say_date(time[-1])}",
                "a continuous series",
                "check the dates",
            )
        )
    days = axis.astype("datetime64[D]")
    leap_day = is_leap_day(axis)
    have_days = time.astype("datetime64[D]")
    if leap_day.any() and not np.isin(days[leap_day], have_days).any():
        axis = axis[~leap_day]  # a calendar without 29 February, not a gap
    position = np.searchsorted(axis, time)
    for name, values in records.columns.items():
        regular_values = np.full(axis.size, np.nan)
        regular_values[position] = values
        records.columns[name] = regular_values
    records.time = axis


def _padded(first: np.datetime64, end: np.datetime64, step: np.timedelta64) -> tuple[np.datetime64, np.datetime64]:
    """Return first and end, extended to the turn of the year where the gap to it is short."""
    most = np.timedelta64(LONGEST_GAP * 60, "m")
    lead = first - first.astype("datetime64[Y]").astype("datetime64[m]")
    if lead <= most:
        first = first - lead // step * step
    trail = (end.astype("datetime64[Y]") + 1).astype("datetime64[m]") - end
    if trail <= most:
        end = end + trail // step * step
    return first, end


def month_of(time: np.ndarray) -> np.ndarray:
    """Return the month 1-12 of each time stamp."""
    return time.astype("datetime64[M]").astype(int) % 12 + 1


def is_leap_day(time: np.ndarray) -> np.ndarray:
    """Return whether each time stamp is on 29 February."""
    days = time.astype("datetime64[D]")
    return (month_of(time) == 2) & ((days - time.astype("datetime64[M]").astype("datetime64[D]")).astype(int) == 28)


def standard_pressure(elevation: float) -> float:
    """Return the pressure of the standard atmosphere, ISO 2533 [Pa], at an elevation [m]."""
    return STANDARD_PRESSURE * (1.0 - 2.25577e-5 * elevation) ** 5.25588


def humidity(records: Records) -> None:
    """Replace the humidity columns of the file by the vapour pressure, in place."""
    columns = records.columns
    dew = columns.pop("dew_point", None)
    file_humidity = columns.pop("relative_humidity_file", None)
    if dew is None and file_humidity is None:
        return
    vapour, notes = vapour_from_file(columns["temperature_outdoor"], dew, file_humidity, surface=records.surface)
    stated = columns.get("vapour_pressure_outdoor")
    columns["vapour_pressure_outdoor"] = vapour if stated is None else np.where(np.isfinite(stated), stated, vapour)
    records.warnings += notes


def runs(missing: np.ndarray) -> Iterator[tuple[int, int]]:
    """Yield (first, end) of each run of missing values."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], missing.astype(np.int8), [0]])))
    yield from zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)


def fill_gaps(records: Records) -> None:
    """Interpolate gaps of up to six hours, in place, and count them; longer ones are refused with their dates."""
    columns, per_hour = records.columns, 60 // records.step
    faults: list[Fault] = []
    speed = columns["wind_speed"]
    # in calm air the direction does not matter: a missing one is no gap
    calm = np.isnan(columns["wind_direction"]) & (speed < 0.5)
    columns["wind_direction"][calm] = 0.0
    counts: dict[str, int] = {}
    for name, values in columns.items():
        missing = np.isnan(values)
        if not missing.any():
            continue
        if missing.all():
            raise InputError(
                fault_of(records, "has no value at all", "", "hourly values", "omit the column or fill it", name)
            )
        long = [(a, b) for a, b in runs(missing) if b - a > LONGEST_GAP * per_hour]
        if long and name in ("infrared_horizontal", "pressure", *EXTRA):
            continue  # computed by a model, or omitted, later
        if long:
            text = "; ".join(
                f"{say_date(records.time[a])} to {say_date(records.time[b - 1])} ({(b - a) / per_hour:g} h)"
                for a, b in long[:5]
            )
            more = f" and {len(long) - 5} more" if len(long) > 5 else ""
            faults.append(
                fault_of(
                    records,
                    f"values are missing for more than {LONGEST_GAP} hours in a row",
                    text + more,
                    f"gaps of at most {LONGEST_GAP} hours",
                    "fill them from a neighbouring station or choose another year",
                    name,
                )
            )
            continue
        counts[name] = int(missing.sum())
        known, at = np.flatnonzero(~missing), np.flatnonzero(missing)
        if name == "rain":
            values[missing] = 0.0  # rain is not continuous: a gap is counted as dry
        elif name == "wind_direction":
            angle = np.unwrap(np.radians(values[known]))
            values[missing] = np.degrees(np.interp(at, known, angle)) % 360.0
        else:
            values[missing] = np.interp(at, known, values[known])
    if faults:
        raise InputError(*faults)
    if counts:
        text = ", ".join(f"{name.replace('_', ' ')} {count / per_hour:g} h" for name, count in counts.items())
        records.warnings.append(f"short gaps were interpolated (rain: counted as dry): {text}")
    if "vapour_pressure_outdoor" in columns:
        limit = table_saturation_pressure(columns["temperature_outdoor"])
        columns["vapour_pressure_outdoor"] = np.minimum(columns["vapour_pressure_outdoor"], limit)


def to_hours(records: Records) -> None:
    """Average the records over whole hours of local standard time, in place.

    A record across the full hour is divided between both hours by its length. Wind direction is that of the mean wind
    vector.
    """
    offset = int(records.time[0].astype("datetime64[m]").astype(np.int64) % 60)
    if records.step == 60 and offset == 0:
        return
    piece = int(np.gcd(np.gcd(records.step, 60), offset)) if offset else int(np.gcd(records.step, 60))
    repeat, per_hour = records.step // piece, 60 // piece
    lead = (-offset) % 60 // piece  # pieces before the first full hour
    total = (records.time.size * repeat - lead) // per_hour * per_hour
    wrapped = records.time.size * records.step in (HOURS * 60, (HOURS + 24) * 60)

    def mean(values: np.ndarray) -> np.ndarray:
        fine = np.repeat(values, repeat)
        # a whole year is cyclic: the rest of its first hour comes from the end
        fine = np.roll(fine, -lead) if wrapped else fine[lead : lead + total]
        return fine.reshape(-1, per_hour).mean(axis=1)

    columns = records.columns
    angle, speed = (
        np.radians(columns["wind_direction"]),
        np.maximum(columns["wind_speed"], 1e-3),
    )  # calm keeps direction
    east, north = mean(speed * np.sin(angle)), mean(speed * np.cos(angle))
    columns.update({name: mean(values) for name, values in columns.items() if name != "wind_direction"})
    columns["wind_direction"] = np.degrees(np.arctan2(east, north)) % 360.0
    start = records.time[0] + np.timedelta64((-offset) % 60, "m")
    count = columns["wind_speed"].size
    records.time = start + np.arange(count) * np.timedelta64(60, "m")
    records.warnings.append(
        f"records of {records.step} minutes starting at minute {offset} were averaged to whole hours"
    )
    records.step = 60


def whole_years(records: Records) -> None:
    """Keep whole calendar years, in place; a single year with another start is put into calendar order."""
    time = records.time
    if time.size < HOURS:
        raise InputError(
            fault_of(
                records,
                "the year is short",
                f"{time.size} hours, {say_date(time[0])} to {say_date(time[-1])}",
                f"at least {HOURS} hours: one whole year",
                "give a whole year of hourly values",
            )
        )
    years = time.astype("datetime64[Y]").astype(int) + 1970
    values, counts = np.unique(years, return_counts=True)
    full = [int(v) for v, n in zip(values, counts, strict=True) if n >= HOURS]
    keep = np.isin(years, full)
    if not full:
        _turn(records)
        return
    if not keep.all():
        records.warnings.append(f"{(~keep).sum()} hours outside whole calendar years are not used")
    records.time = time[keep]
    records.columns = {name: column[keep] for name, column in records.columns.items()}


def _turn(records: Records) -> None:
    time = records.time
    take = np.flatnonzero(~is_leap_day(time))[:HOURS]
    if take.size < HOURS:
        raise InputError(
            fault_of(
                records,
                "the year is short",
                f"{take.size} hours without 29 February",
                f"{HOURS} hours",
                "give a whole year of hourly values",
            )
        )
    month = time.astype("datetime64[M]")
    inside = time - month
    nominal = np.datetime64(str(NOMINAL_YEAR)).astype("datetime64[M]") + (month_of(time) - 1)
    stamp = (nominal.astype("datetime64[m]") + inside)[take]
    order = np.argsort(stamp, kind="stable")
    records.warnings.append(
        f"the year runs from {say_date(time[take[0]])} to {say_date(time[take[-1]])}; it was put into calendar order"
    )
    records.time = stamp[order]
    records.columns = {name: column[take][order] for name, column in records.columns.items()}


def check_bounds(records: Records, names: list[str], *, gaps: bool = False) -> None:
    """Refuse values outside the bounds of the table of variables, with their first dates and the likely cause.

    With `gaps` missing values are allowed.
    """
    from cavity.variables import TABLE

    faults = []
    for name in names:
        # the dew point of dry cold air is below any air temperature
        row = TABLE["temperature_outdoor"] if name == "dew_point" else TABLE[name]
        values, lower = records.columns[name], 120.0 if name == "dew_point" else row.lower
        title = "dew point" if name == "dew_point" else row.long_name
        bad = ~((values >= lower) & (values <= row.upper))
        if gaps:
            bad &= ~np.isnan(values)
        if bad.any():
            first = int(np.argmax(bad))
            faults.append(
                fault_of(
                    records,
                    f"{title} is out of range in {int(bad.sum())} hours",
                    f"{values[first]:.4g} {row.units} at {say_date(records.time[first])}",
                    f"{lower:g} to {row.upper:g} {row.units}",
                    likely_cause(name, values),
                    name,
                )
            )
    if faults:
        raise InputError(*faults)


def likely_cause(name: str, values: np.ndarray) -> str:
    """Return the likely cause of values [SI] out of range, mostly a wrong unit."""
    middle = float(np.nanmedian(values))
    if name == "temperature_outdoor" and 440.0 < middle < 620.0:
        return "the temperatures look like kelvin where degC is expected"
    if name == "pressure" and middle < 4e4:
        return "the pressures look like hPa or kPa where Pa is expected"
    if name == "rain":
        return "check the unit of rain: mm per hour"
    if name in SUN and np.nanmax(values) > 1500.0:
        return "irradiance looks like kJ/m2 per hour where W/m2 is expected"
    if name == "wind_speed" and np.nanmax(values) > 75.0:
        return "wind looks like km/h where m/s is expected"
    return "check the unit and the missing-value code of this column"


def plain(text: str) -> str:
    """Return the text of a number unchanged; ValueError for Python notation such as 1_0."""
    if "_" in text or not text.isascii():
        raise ValueError(text)
    return text


# limits of the location of a station, in the first of the units that may follow the number in a file
LOCATION_LIMITS = {
    "latitude": (-90.0, 90.0),
    "longitude": (-180.0, 180.0),
    "utc_offset": (-12.0, 14.0),
    "elevation": (-430.0, 6000.0),
}
LOCATION_UNITS = {
    "latitude": ("degrees", "degree", "deg", "°"),
    "longitude": ("degrees", "degree", "deg", "°"),
    "utc_offset": ("h", "hours", "hour"),
    "elevation": ("m", "metres", "metre", "meters", "meter"),
}


def number_of(text: str, key: str) -> tuple[float, str]:
    """Return a number of the head of a file; NaN where other text than its unit follows, with what to write instead."""
    text = text.strip()
    if text.count(",") == 1 and "." not in text:
        text = text.replace(",", ".")  # a decimal comma
    match = re.fullmatch(r"([+-]?[\d.]+(?:[eE][+-]?\d+)?)\s*(.*)", text)
    if not match:
        return float("nan"), ""
    try:
        value = float(plain(match[1]))
    except ValueError:
        return float("nan"), ""
    rest = match[2].strip()
    if not rest or rest.lower() in LOCATION_UNITS[key]:
        return value, ""
    letter = rest.strip("° ").upper()
    if key == "elevation" and letter.lower() in ("ft", "feet", "foot"):
        return float("nan"), f"the elevation is in metres: write {0.3048 * value:.0f}"
    positive = {"latitude": ("N", "S"), "longitude": ("E", "W")}.get(key)
    if positive and letter in positive:
        direction = "north" if key == "latitude" else "east"
        return float("nan"), f"write {value if letter == positive[0] else -value:g}: {direction} is positive"
    return float("nan"), f"write the number alone: {value:g}"


def slug(text: str) -> str:
    """Return a name in one line without control characters."""
    return re.sub(r"\s+", " ", re.sub(r"[^\w\s.,()'/+-]", " ", text)).strip()[:80]
