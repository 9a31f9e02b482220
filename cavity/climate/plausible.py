"""Plausibility of a weather file for its location, with the probable cause of each fault or warning.

Impossible weather that would make every result wrong is refused: sun at night, more sun than outside the atmosphere,
irradiances that contradict each other, metres of rain. Rare values and small errors give a warning. The limits allow
for the windiest, wettest, cloudiest and highest stations; without a source they are our own assumption.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from cavity.climate.series import fault_of, standard_pressure
from cavity.constants import HOUR, ICE_POINT, STANDARD_PRESSURE, STEFAN_BOLTZMANN
from cavity.errors import Fault, InputError

if TYPE_CHECKING:
    from collections.abc import Callable

    from cavity.climate.series import Records

LOW_SUN = 0.1  # cosine of the zenith; below it sunrise within the hour distorts the balance of the irradiances


@dataclass
class _Sun:
    """Position of the sun in each hour at one location."""

    solar: np.ndarray  # solar time in the middle of the hour [h]
    middle: np.ndarray  # cosine of the zenith there
    highest: np.ndarray  # largest cosine of the hour
    extra: np.ndarray  # beam outside the atmosphere [W/m2]


def check(records: Records, measured_sun: bool) -> None:
    """Refuse impossible weather and add warnings about unusual values, in place.

    Parameters
    ----------
    records : Records
        Complete weather: hours, SI, no gaps.
    measured_sun : bool
        Global, direct and diffuse irradiance all come from the file.

    Raises
    ------
    InputError
        With all impossible values and their probable causes.

    References
    ----------
    Limits of irradiance: C. N. Long and E. G. Dutton, BSRN Global Network recommended QC tests, V2.0, 2010; from
    memory: global at most 1.5 S mu^1.2 + 100 W/m2, rare above 1.2 S mu^1.2 + 50; within 8 % of diffuse + direct mu.
    Lowest temperature measured on Earth: -89.2 degC, from memory.
    """
    faults: list[Fault] = []
    tests: tuple[Callable[[Records, list[Fault]], None], ...] = (_temperature, _wind, _rain, _pressure, _longwave)
    _sun(records, measured_sun, faults)
    for test in tests:
        test(records, faults)
    if faults:
        raise InputError(*faults)


def _sun_of(records: Records, latitude: float, longitude: float, utc_offset: float) -> _Sun:
    """Return the sun in the hours of the records for a location; Spencer 1971, within 0.2 degrees."""
    import pvlib

    time = records.time
    days = (time.astype("datetime64[D]") - time.astype("datetime64[Y]")).astype(int) + 1
    tilt, north = pvlib.solarposition.declination_spencer71(days), np.radians(latitude)
    clock = (time - time.astype("datetime64[D]")).astype("timedelta64[m]").astype(float) / 60.0 + 0.5
    equation = pvlib.solarposition.equation_of_time_spencer71(days) / 60.0
    solar = (clock - utc_offset + longitude / 15.0 + equation) % 24.0
    level, swing = np.sin(north) * np.sin(tilt), np.cos(north) * np.cos(tilt)
    from_noon = np.abs(solar - 12.0)
    nearest = np.maximum(from_noon - 0.5, 0.0)
    middle, highest = (level + swing * np.cos(np.radians(15.0 * hours)) for hours in (from_noon, nearest))
    return _Sun(solar, middle, highest, np.asarray(pvlib.irradiance.get_extra_radiation(days), dtype=float))


def _contradiction(records: Records, sun: _Sun, measured: bool) -> float:
    """Return the disagreement of irradiance and sun position: impossible energy plus the gap of the balance [1]."""
    glob = records.columns["global_horizontal"]
    total = max(float(glob.sum()), 1e-9)
    most = np.where(sun.highest > -0.05, 1.2 * sun.extra * np.maximum(sun.highest, 0.0) ** 1.2 + 50.0, 0.0)
    wrong = float(np.maximum(glob - most, 0.0).sum()) / total
    if not measured:
        return wrong
    beam = records.columns["direct_normal"] * np.maximum(sun.middle, 0.0)
    return wrong + float(np.abs(records.columns["diffuse_horizontal"] + beam - glob).sum()) / total


def _better_location(records: Records, measured: bool) -> str:
    """Return the change of latitude, longitude or clock that fits the sun, as a sentence; empty if none does."""
    location = (records.latitude, records.longitude, records.utc_offset)
    present = _contradiction(records, _sun_of(records, *location), measured)
    offset = _noon_offset(records, _sun_of(records, *location))
    north, east, zone = location
    tried = [
        (f"a latitude of {-north:g}: north is positive", (-north, east, zone)),
        (f"a longitude of {-east:g}: east is positive", (north, -east, zone)),
        (f"latitude {-north:g} and longitude {-east:g}", (-north, -east, zone)),
        (f"latitude {east:g} and longitude {north:g}, exchanged", (east, north, zone)),
        (
            f"a time zone of {zone + round(offset):+g} h, or stamps that mark another hour",
            (north, east, zone + round(offset)),
        ),
    ]
    scored = [
        (_contradiction(records, _sun_of(records, *place_tried), measured), change)
        for change, place_tried in tried
        if abs(place_tried[0]) <= 90.0
    ]
    best, change = min(scored)
    if best > present / 3.0 and abs(offset) < 0.6:
        by_latitude = [
            (_contradiction(records, _sun_of(records, float(y), east, zone), measured), float(y))
            for y in range(-70, 71, 2)
        ]
        best, y = min(by_latitude)
        change = f"a latitude near {y:g}"
    return f"the sun fits {change}" if best < present / 3.0 else ""


def _noon_offset(records: Records, sun: _Sun) -> float:
    """Return the offset of the centre of daily irradiance from solar noon [h]."""
    glob = records.columns["global_horizontal"]
    return float((glob * (sun.solar - 12.0)).sum()) / max(float(glob.sum()), 1e-9)


def _sun(records: Records, measured: bool, faults: list[Fault]) -> None:
    glob = records.columns["global_horizontal"]
    column = "global_horizontal"
    total = float(glob.sum())
    if total <= 0.0:
        faults.append(fault_of(records, "there is no sun all year", "0 W/m2", "irradiance", "check the column", column))
        return
    sun = _sun_of(records, records.latitude, records.longitude, records.utc_offset)
    before = len(faults)
    if measured:
        _parts(records, sun, faults)
    if len(faults) > before:
        return
    outside = float((sun.extra * np.maximum(sun.middle, 0.0)).sum())
    clear = total / outside
    rare = glob > 1.5 * sun.extra * np.maximum(sun.highest, 0.0) ** 1.2 + 100.0
    day = sun.middle > LOW_SUN
    # annual fraction of the sun outside the atmosphere: 0.30 in the cloudiest climates, 0.75 in high deserts
    if clear > 0.85 or clear < 0.16:
        factor = _factor(0.5 / clear)
        faults.append(
            fault_of(
                records,
                f"the yearly sun is {100 * clear:.3g} % of that outside the atmosphere",
                f"{total / 1000.0 * 8760.0 / glob.size:.0f} kWh/m2 a year",
                "25 to 75 %",
                f"check the unit{factor}",
                column,
            )
        )
    elif clear > 0.78 or clear < 0.22:
        records.warnings.append(
            f"the yearly sun is {100 * clear:.0f} % of that outside the atmosphere, 25 to 75 % is usual; check its unit"
        )
    if len(faults) > before:
        return
    dark = float(glob[sun.highest < -0.0523].sum()) / total  # below the horizon all hour, with 3 degrees for twilight
    offset = _noon_offset(records, sun)
    fix = (
        f"check time zone ({records.utc_offset:+g} h), latitude ({records.latitude:g}) and longitude "
        f"({records.longitude:g}) in the header, and whether stamps mark the start or the end of the hour"
    )
    if dark > 0.02 or abs(offset) > 1.5:
        likely = _better_location(records, measured)
        faults.append(
            fault_of(
                records,
                f"the sun shines at night: {100 * dark:.0f} % of it; its centre is {offset:+.1f} h from solar noon",
                "",
                "sun between sunrise and sunset at this place",
                likely or fix,
                column,
            )
        )
        return
    # cloudier mornings or afternoons shift the centre by less than half an hour in the files examined
    if abs(offset) > 0.6:
        records.warnings.append(f"the centre of the daily sun is {offset:+.1f} h from solar noon; {fix}")
        return  # other faults may follow from it
    gap = _contradiction(records, sun, measured)
    likely = _better_location(records, measured) if gap > 0.1 else ""
    if gap > 0.35 or likely:
        faults.append(
            fault_of(
                records,
                f"irradiance and sun position disagree: {100 * gap:.0f} % of the sun",
                "",
                "global = diffuse + direct x cos(zenith), and below that of a clear sky",
                likely or fix,
                column,
            )
        )
    elif measured and gap > 0.1:
        records.warnings.append(
            f"global differs from diffuse + direct x cos(zenith) by {100 * gap:.0f} % of the sun; {fix}"
        )
    elif float((rare & day).mean()) > 0.005:
        records.warnings.append(
            f"global irradiance is above the limit of a clear sky in {int((rare & day).sum())} hours; check its unit"
        )


def _times(factor: float) -> str:
    return f"{factor:.2g} times too large" if factor > 1.0 else f"{1.0 / factor:.2g} times too small"


def _factor(ratio: float) -> str:
    """Return the likely cause of a column that is too small by this ratio, as the end of a sentence."""
    if 2.0 < 1.0 / ratio < 5.5:
        return ": values look like kJ/m2 per hour"
    if 2.0 < ratio < 5.5:
        return ": values look 3.6 times too small"
    if 5.5 <= ratio < 30.0:
        return ": values look ten times too small"
    return ": values look like kW" if ratio >= 30.0 else ""


def _parts(records: Records, sun: _Sun, faults: list[Fault]) -> None:
    """Compare global irradiance with its parts: exchanged columns, a wrong factor, a beam on the horizontal plane."""
    glob, beam, diffuse = (
        records.columns[name] for name in ("global_horizontal", "direct_normal", "diffuse_horizontal")
    )
    day = (sun.middle > LOW_SUN) & (glob + diffuse > 100.0)
    if not day.any():
        return
    glob, beam, diffuse, height = glob[day], beam[day], diffuse[day], sun.middle[day]
    over = float((diffuse > 1.1 * glob + 10.0).mean())
    total = diffuse + beam * height
    ratio = float(total.sum() / max(glob.sum(), 1e-9))
    expected = "global = diffuse + direct x cos(zenith)"

    def difference(sum_of_parts: np.ndarray, whole: np.ndarray) -> float:
        return float(np.abs(sum_of_parts - whole).sum() / max(float(whole.sum()), 1e-9))

    if over <= 0.2 and 0.75 < ratio < 1.33:
        return
    flat = beam * height
    scale = float(((glob - diffuse) * flat).sum() / max(float((flat * flat).sum()), 1e-9))
    cause = ""
    if difference(glob + beam * height, diffuse) < 0.1:
        cause = "global and diffuse look exchanged"
    elif difference(diffuse + beam, glob) < 0.1:
        cause = "direct looks like that on the horizontal plane; it must be normal to the sun"
    elif scale > 0.0 and difference(diffuse + scale * flat, glob) < 0.05:
        cause = f"direct looks {_times(1.0 / scale)}; check its unit"
    elif difference(total / ratio, glob) < 0.05:
        cause = f"global looks {_times(1.0 / ratio)}; check its unit"
    else:
        cause = _better_location(records, True)
    if ratio > 0.95 and over <= 0.2 and not cause:
        return  # the location may be wrong: checked next
    faults.append(
        fault_of(
            records,
            "the irradiances contradict each other"
            + (f": diffuse exceeds global in {100 * over:.0f} % of the sunny hours" if over > 0.2 else ""),
            f"diffuse + direct x cos(zenith) is {ratio:.3g} times global",
            expected,
            cause or "check the units and the order of the three columns",
            "global_horizontal",
        )
    )


def _temperature(records: Records, faults: list[Fault]) -> None:
    celsius = records.columns["temperature_outdoor"] - ICE_POINT
    cold = celsius < -89.2
    if cold.any():
        faults.append(
            fault_of(
                records,
                f"it is colder than ever measured on Earth in {int(cold.sum())} hours",
                f"{celsius.min():.4g} degC",
                "at least -89.2 degC",
                "a missing-value code? Leave the field empty where a value is missing",
                "temperature_outdoor",
            )
        )
        return
    mean = float(celsius.mean())
    if mean > 40.0:
        faults.append(
            fault_of(
                records,
                "the mean temperature is above that of any place",
                f"{mean:.1f} degC",
                "at most 36 degC",
                f"temperatures look like degF (then the mean is {(mean - 32) / 1.8:.1f} degC)",
                "temperature_outdoor",
            )
        )
    elif np.ptp(celsius) < 1e-6:
        records.warnings.append("the temperature never changes; check the column")


def _wind(records: Records, faults: list[Fault]) -> None:
    speed = records.columns["wind_speed"]
    mean, most = float(speed.mean()), float(speed.max())
    cause = f"wind looks like km/h (then the mean is {mean / 3.6:.1f} m/s); check its unit"
    # the windiest coasts have 10 m/s, a few summits and polar coasts up to 20
    if mean > 22.0:
        faults.append(
            fault_of(
                records,
                "the wind is stronger than anywhere",
                f"mean {mean:.1f} m/s",
                "below 10 m/s",
                cause,
                "wind_speed",
            )
        )
    elif mean > 8.5 or most > 45.0:
        records.warnings.append(f"the wind is very strong: mean {mean:.1f} m/s, highest hour {most:.0f} m/s; {cause}")
    elif mean < 0.5:
        records.warnings.append(
            f"there is hardly any wind: mean {mean:.2f} m/s; check the unit, and the column for missing values"
        )
    elif np.ptp(records.columns["wind_direction"]) < 1e-6:
        records.warnings.append("the wind direction never changes; driving rain falls on one side only")


def _rain(records: Records, faults: list[Fault]) -> None:
    rate = records.columns["rain"] * HOUR  # mm/h
    yearly = float(rate.sum()) * 8760.0 / rate.size
    wet = rate > 0.0
    if not wet.any():
        return
    usual = float(rate[wet].mean())
    hours = float(wet.sum()) * 8760.0 / rate.size
    # most ever measured: 26 m in a year (Cherrapunji 1860-61, from memory)
    if yearly > 27_000.0:
        faults.append(
            fault_of(
                records,
                "there is more rain than anywhere on Earth",
                f"{yearly / 1000.0:.3g} m per year",
                "at most 12 m per year",
                "rain looks a thousand times too large; mm per hour is meant"
                if yearly > 100_000.0
                else "check the unit of rain: mm per hour",
                "rain",
            )
        )
    elif yearly > 6000.0 or usual > 8.0:
        records.warnings.append(
            f"rain is very heavy: {yearly:.0f} mm per year, {usual:.1f} mm in a mean wet hour; it looks like tenths "
            "of a millimetre, or daily sums; check its unit"
        )
    elif yearly < 50.0 and hours > 300.0:
        records.warnings.append(
            f"only {yearly:.0f} mm of rain per year in {hours:.0f} wet hours; it looks like inches or centimetres; "
            "check its unit"
        )


def _pressure(records: Records, faults: list[Fault]) -> None:  # noqa: ARG001 (one form for all tests)
    mean = float(records.columns["pressure"].mean())

    # pressure systems and seasons change the annual mean by less than 2 % in the files examined
    if abs(mean / standard_pressure(records.elevation) - 1.0) < 0.03:
        return
    cause = "check both"
    off = {
        "the pressure looks reduced to sea level": mean / STANDARD_PRESSURE,
        "the elevation looks like feet": mean / standard_pressure(0.3048 * records.elevation),
    }
    likely = min(off, key=lambda words: abs(off[words] - 1.0))
    if abs(off[likely] - 1.0) < 0.015 and records.elevation > 0.0:
        cause = likely
    records.warnings.append(
        f"mean pressure {mean / 100.0:.0f} hPa does not fit an elevation of {records.elevation:.0f} m "
        f"({standard_pressure(records.elevation) / 100.0:.0f} hPa); {cause}"
    )


def _longwave(records: Records, faults: list[Fault]) -> None:  # noqa: ARG001
    black = STEFAN_BOLTZMANN * records.columns["temperature_outdoor"] ** 4
    mean = float((records.columns["infrared_horizontal"] / black).mean())
    # a clear dry sky over high desert has 0.6, fog has 1
    if not 0.55 < mean < 1.05:
        records.warnings.append(
            f"the sky's longwave irradiance is {100 * mean:.0f} % of a black body at air temperature, 60 to 100 % is "
            "usual; it looks like net longwave or another unit"
        )
