"""Rain where a weather file has none: by its weather codes and a known total, or random by humidity, cloud and wind."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import numpy as np

from cavity.climate.read import NO_RAIN, read_weather
from cavity.climate.series import month_of
from cavity.constants import HOUR, ICE_POINT
from cavity.errors import Fault, InputError
from cavity.units import parse_quantity

if TYPE_CHECKING:
    from collections.abc import Sequence
    from os import PathLike

    import xarray as xr

BY_CODES = "estimated from weather codes"
BY_CHANCE = "estimated WITHOUT weather codes"
SEED = 20_010_101  # the same rain every time
FEWEST = 25  # hours with precipitation by codes in a year; with fewer the codes do not describe the rain
# log of the chance of rain per unit of relative humidity, of cloud cover, per m/s of wind: between logistic fits to 3
# coastal stations and one inland station with measured rain (the tests compare with them); our own assumption
HUMIDITY, CLOUD, WIND = 12.0, 3.0, 0.15
CORRELATION_TIME = 5.0  # h, decay to 1/e of the correlation of rain: three of four wet hours follow a wet hour


def estimate_rain(
    weather: xr.Dataset, total: float | str | Sequence[float], *, replace: bool = False, seed: int = SEED
) -> xr.Dataset:
    """Return a weather with estimated rain, marked as such in name, notes and attributes.

    With weather codes in the file: rain falls in the hours with a code of rain, at the usual rate of the code times an
    exponentially distributed factor, scaled to the total. Without: wet hours are random, in spells, more likely where
    it is humid, cloudy and windy. The amount is then right, and the direction only as far as these three determine it.
    docs/guide.md lists the errors for measured years. Snow is part of the total.

    Parameters
    ----------
    weather : xarray.Dataset, (time,)
        Weather as `read_weather` returns it.
    total : float, str or twelve of them
        Precipitation of a year, or January to December. Plain numbers are millimetres; text has a unit, ``"780 mm"`` or
        ``"60, 55, ... mm"``. [mm]
    replace : bool, keyword only
        Replace measured rain; otherwise a weather with rain is refused.
    seed : int, keyword only
        Seed of the random numbers. [1]

    Returns
    -------
    xarray.Dataset, (time,)
        The weather with rain; attribute rain_source says how it was estimated.

    Raises
    ------
    InputError
        If the total cannot be read or is not possible, or the weather has rain.

    References
    ----------
    Codes: EPW data dictionary, EnergyPlus documentation, Auxiliary Programs, from memory. The recipe: our own
    assumption; the chance of rain given the hour's weather is a logistic model, as in weather generators since
    Richardson 1981, Water Resources Research 17, 182-190, from memory.
    """
    months = read_total(total)
    if weather["rain"].values.any() and not replace:
        yearly = float(weather["rain"].sum()) * HOUR * 8760.0 / weather.sizes["time"]
        raise InputError(
            Fault(
                str(weather.attrs.get("source", "weather")),
                "the weather has measured rain",
                f"{yearly:.0f} mm per year",
                "a file without rain",
                "omit the rain total",
            )
        )
    random = np.random.default_rng(seed)
    size = weather.sizes["time"]
    month = month_of(weather["time"].to_numpy())
    years = size / 8760.0
    amount = months * years  # mm over all hours of a month, or of the weather
    codes = weather["weather_code_rain"].to_numpy() * HOUR if "weather_code_rain" in weather.coords else np.zeros(size)
    by_codes = bool((codes > 0.0).sum() >= FEWEST * years)
    spread = random.exponential(size=size)
    drawn = _drawn(weather, month, months, years, random) if not by_codes or months.size == 12 else np.zeros(size)
    if by_codes:
        rain = codes * spread
        note = "rain is estimated from the file's weather codes, scaled to"
    else:
        rain = drawn
        note = "RAIN IS SYNTHETIC: the file has neither rain nor weather codes; wet hours were drawn at random by "
        note += "humidity, cloud and wind, scaled to"
    raw = float(rain.sum()) / years
    filled = []
    if months.size == 1:
        rain *= amount[0] / rain.sum()
    else:
        for i in range(12):
            in_month = month == i + 1
            if amount[i] > 0.0 and not rain[in_month].any():
                rain[in_month] = drawn[in_month]
                filled.append(i + 1)
            if in_month.any() and rain[in_month].any():
                rain[in_month] *= amount[i] / rain[in_month].sum()
    note += f" {months.sum():.0f} mm per year" + (" by twelve monthly totals" if months.size == 12 else "")
    if by_codes and filled:
        note += f"; in months {', '.join(map(str, filled))} no code reports rain, and its hours were drawn at random"
    if by_codes and not 1.0 / 3.0 < months.sum() / raw < 3.0:
        note += f"; the codes alone would make {raw:.0f} mm, so total and codes do not match"
    off = "half" if by_codes else "two thirds"
    note += f". Driving rain on one orientation may be wrong by {off}; a measured rain series (--rain) is better"
    source = BY_CODES if by_codes else BY_CHANCE
    notes = [text for text in json.loads(weather.attrs.get("warnings", "[]")) if text != NO_RAIN]
    changed = weather.copy(deep=True)
    changed["rain"].data = rain / HOUR
    return changed.assign_attrs(
        has_rain=1,
        rain_source=source,
        name=f"{weather.attrs.get('name', '')} (rain {source})",
        warnings=json.dumps([*notes, note], ensure_ascii=False),
    )


def _drawn(
    weather: xr.Dataset, month: np.ndarray, months: np.ndarray, years: float, random: np.random.Generator
) -> np.ndarray:
    """Return random precipitation by humidity, cloud and wind [mm], with the given or the likely monthly totals."""
    from scipy.signal import lfilter
    from scipy.special import ndtr

    celsius = weather["temperature_outdoor"].to_numpy() - ICE_POINT
    chance = HUMIDITY * weather["relative_humidity_outdoor"].to_numpy()
    if "cloud_cover" in weather.coords:
        chance = chance + CLOUD * weather["cloud_cover"].to_numpy()
    # no further increase above 12 m/s
    chance = np.exp(chance + WIND * np.minimum(weather["wind_speed"].to_numpy(), 12.0) - HUMIDITY - CLOUD)
    # mean rate of a wet hour: 1.1 mm/h at 10 degC and 2 % more per kelvin (our own assumption; 0.8 to 2.3 in the tests)
    rate = 1.1 * np.exp(0.02 * (celsius - 10.0))
    if months.size == 1:
        likely = np.array([float((chance * rate)[month == i].sum()) for i in range(1, 13)])
        amount = months[0] * years * likely / likely.sum()
    else:
        amount = months * years
    keep = float(np.exp(-1.0 / CORRELATION_TIME))
    noise = random.standard_normal(2 * month.size) * np.sqrt(1.0 - keep * keep)
    level = ndtr(lfilter([1.0], [1.0, -keep], noise)[month.size :])  # 0-1, one spell after the other
    burst = random.exponential(size=month.size) ** 1.2  # hours of one spell vary: standard deviation 1.3 times the mean
    rain = np.zeros(month.size)
    for i in range(12):
        hours = np.flatnonzero(month == i + 1)
        if not hours.size or amount[i] <= 0.0:
            continue
        wet_hours = min(amount[i] / float(rate[hours].mean()), 0.6 * hours.size)
        odds = _odds(chance[hours], wet_hours)
        wet = level[hours] < odds
        if not wet.any():
            wet[np.argmax(odds - level[hours])] = True
        falls = np.where(wet, burst[hours], 0.0)
        rain[hours] = falls * amount[i] / falls.sum()
    return rain


def _odds(chance: np.ndarray, wet_hours: float) -> np.ndarray:
    """Return the chances scaled, none above 1, so that their sum is the number of wet hours."""
    low, high = 0.0, 1.0 / max(float(chance.min()), 1e-12)
    for _ in range(60):  # bisection
        factor = 0.5 * (low + high)
        low, high = (factor, high) if np.minimum(factor * chance, 1.0).sum() < wet_hours else (low, factor)
    return np.minimum(high * chance, 1.0)


def read_total(total: float | str | Sequence[float]) -> np.ndarray:
    """Return one yearly or twelve monthly totals from numbers or text.

    Parameters
    ----------
    total : float, str or twelve of them
        Millimetres, or text with a unit at its end, ``"780 mm"``, ``"60, 55, ... mm"``. [mm]

    Returns
    -------
    array, (1,) or (12,)
        Totals. [mm]

    Raises
    ------
    InputError
        If they are not one or twelve possible amounts.
    """
    expected = 'a yearly total such as "780 mm", or twelve such as "60, 55, 48, ... mm"'
    if isinstance(total, str):
        parts = [part.strip() for part in total.replace(";", ",").split(",")]
        number, *unit = parts[-1].split(None, 1) or [""]
        amounts = []
        for part in [*parts[:-1], number] if number else []:
            text = part if part.split()[1:] else f"{part} {unit[0] if unit else ''}"
            try:
                amounts.append(parse_quantity(text.strip(), "m") * 1000.0)
            except ValueError as error:
                raise InputError(Fault("rain total", str(error), total[:80], expected, 'write "780 mm"')) from None
        values = np.array(amounts)
    else:
        try:
            values = np.atleast_1d(np.asarray(total, dtype=float)).ravel()
        except (TypeError, ValueError):
            raise InputError(
                Fault("rain total", "is not a number", str(total)[:80], expected, 'write "780 mm"')
            ) from None
    if values.size not in (1, 12) or not np.isfinite(values).all() or (values < 0.0).any():
        raise InputError(
            Fault("rain total", "is not one or twelve amounts", str(total)[:80], expected, 'write "780 mm"')
        )
    if not 0.0 < values.sum() <= 27_000.0:
        fix = "omit it for a run without rain" if not values.any() else "check the unit"
        raise InputError(
            Fault("rain total", "is not possible", f"{values.sum():g} mm", "above 0, at most 27000 mm per year", fix)
        )
    return values


def read_climates(
    files: Sequence[str | PathLike[str]], rain: Sequence[str] = (), rain_total: Sequence[str] = ()
) -> list[xr.Dataset]:
    """Return the weather of several files, each with its rain.

    Parameters
    ----------
    files : sequence of path
        Weather files.
    rain : sequence of path
        Second files whose rain is used: none, one for all, or one for each in order, "-" for
        the rain of the file itself.
    rain_total : sequence of str
        Totals to estimate rain by: none, one for all files that have no rain, or one for each, "-" for none.

    Returns
    -------
    list of xarray.Dataset, (time,)
        In the order of the files.

    Raises
    ------
    InputError
        If a file cannot be read, or the numbers of options do not match.
    """
    counted = {"--rain": list(rain), "--rain-total": list(rain_total)}
    for option, values in counted.items():
        if len(values) not in (0, 1, len(files)):
            raise InputError(
                Fault(
                    option, "does not match the climates", f"{len(values)} for {len(files)} climates",
                    "one for all, or one for each in the same order", 'write "-" where a climate needs none',
                )
            )  # fmt: skip
    second, totals = (
        values * len(files) if len(values) == 1 else values or ["-"] * len(files) for values in counted.values()
    )
    weathers = []
    for file, other, total in zip(files, second, totals, strict=True):
        if other != "-" and total != "-":
            raise InputError(
                Fault("--rain-total", "together with a rain file", total[:60], "one of the two", "omit one of them")
            )
        weather = read_weather(file, rain_file=None if other == "-" else other)
        if total != "-" and not (len(rain_total) == 1 and len(files) > 1 and weather.attrs["has_rain"]):
            weather = estimate_rain(weather, total)
        weathers.append(weather)
    if len(rain_total) == 1 and not any(
        str(weather.attrs["rain_source"]).startswith("estimated") for weather in weathers
    ):
        raise InputError(
            Fault(
                "--rain-total",
                "every climate has measured rain",
                rain_total[0][:60],
                "climates without rain",
                "omit it",
            )
        )
    return weathers
