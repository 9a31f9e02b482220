"""Make the six fictitious climates of this folder: one year of hours each, as EPW, the same bytes every time.

Run ``python climates/make_climates.py``; it writes into its own folder, ``--out FOLDER`` elsewhere. The
places do not exist.
What holds them together, in order:

1. Slow random processes (autoregressive, first order, closed over the year) represent passing weather systems.
2. Cloud cover follows the wetness process; rain falls in the hours when wetness is highest and is scaled to monthly
   totals. The depth column holds all precipitation, melted; what of it is snow the reader tells by wet bulb.
3. The sun is the pvlib clear sky (Ineichen) thinned by cloud (Kasten and Czeplak 1980), split by Erbs 1982.
4. Temperature is a seasonal mean, a synoptic anomaly and a day cycle that answers sun and night sky with a lag of
   some hours, so that clear days swing and overcast days do not.
5. Dew point lies below temperature by a seasonal depression that rain closes; longwave follows from both and cloud.
6. Wind blows from a rain sector when it is wet and from fair-weather sectors else; speeds are Weibull with a day cycle.

All figures in CLIMATES are fictitious (no source); they only span the field.
"""

from __future__ import annotations

import argparse
import calendar
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
from scipy.signal import lfilter
from scipy.special import ndtr, ndtri

from cavity.climate.humid import water_pressure
from cavity.climate.on_wall import sun_position
from cavity.climate.read import sky_irradiance

YEAR = 2001  # not a leap year
HOURS = 8760


@dataclass(frozen=True)
class Climate:
    """One fictitious place; twelve figures are January to December."""

    file: str
    name: str
    seed: int
    latitude: float
    longitude: float
    utc_offset: int
    elevation: float  # m
    temperature: tuple[float, ...]  # degC, monthly mean
    anomaly: tuple[float, float]  # K, standard deviation of the synoptic anomaly in mid-winter and mid-summer
    swing: float  # K per W/m2 of net sun: strength of the day cycle
    depression: tuple[float, ...]  # K, dew point below the mean temperature in fair weather
    cloud: tuple[float, ...]  # 0-1, monthly mean cover
    rain: tuple[float, ...]  # mm, monthly precipitation, snow included
    wet: tuple[float, ...]  # 0-1, fraction of hours with precipitation
    afternoon: float  # strength of afternoon showers
    wind: tuple[float, ...]  # m/s, monthly mean
    breeze: float  # 0-1, strength of the day cycle of wind
    rain_sector: float  # degrees, wind of rain
    fair_sectors: tuple[float, float]  # degrees, winds of fair weather: winter and summer
    turbidity: float  # Linke


CLIMATES = (
    Climate(
        "cool_marine", "Drizzlemere", 101, 55.0, -30.0, -2, 20.0,
        (5.5, 5.3, 6.3, 8.0, 10.4, 12.9, 14.6, 14.8, 13.2, 10.7, 7.8, 6.2), (2.6, 1.8), 0.014,
        (3.0, 3.1, 3.4, 3.8, 4.0, 3.8, 3.6, 3.4, 3.3, 3.0, 2.9, 2.8),
        (0.76, 0.74, 0.71, 0.68, 0.66, 0.67, 0.69, 0.68, 0.69, 0.73, 0.76, 0.78),
        (125, 95, 92, 70, 66, 68, 74, 92, 102, 134, 136, 132),
        (0.16, 0.14, 0.13, 0.10, 0.09, 0.09, 0.09, 0.11, 0.12, 0.15, 0.17, 0.17), 0.0,
        (7.6, 7.3, 7.0, 6.1, 5.6, 5.2, 5.1, 5.3, 6.0, 6.8, 7.2, 7.6), 0.08, 230.0, (290.0, 320.0), 2.6,
    ),
    Climate(
        "cold_dry_continental", "Frostplain", 102, 51.0, 75.0, 5, 580.0,
        (-14.5, -12.2, -5.0, 4.5, 11.8, 16.9, 19.4, 17.8, 11.6, 4.2, -5.2, -11.8), (6.5, 3.4), 0.031,
        (3.4, 3.6, 4.6, 7.4, 9.4, 9.6, 9.0, 8.8, 7.8, 6.2, 4.2, 3.4),
        (0.50, 0.48, 0.50, 0.50, 0.50, 0.48, 0.42, 0.42, 0.44, 0.48, 0.54, 0.52),
        (16, 12, 17, 24, 44, 74, 68, 48, 34, 20, 16, 16),
        (0.08, 0.07, 0.06, 0.05, 0.05, 0.06, 0.05, 0.04, 0.04, 0.05, 0.07, 0.08), 0.3,
        (3.9, 4.0, 4.5, 5.0, 4.8, 4.2, 3.8, 3.7, 4.1, 4.4, 4.2, 3.9), 0.30, 60.0, (270.0, 330.0), 2.4,
    ),
    Climate(
        "cold_humid", "Snowfen", 103, 47.0, -60.0, -4, 60.0,
        (-9.8, -8.6, -3.0, 3.8, 10.6, 15.8, 19.2, 18.4, 13.8, 7.8, 1.8, -5.8), (5.4, 2.8), 0.020,
        (3.4, 3.6, 3.8, 4.6, 5.4, 5.0, 4.6, 4.4, 4.2, 4.0, 3.4, 3.2),
        (0.66, 0.62, 0.62, 0.62, 0.60, 0.57, 0.54, 0.54, 0.56, 0.62, 0.70, 0.70),
        (96, 82, 88, 86, 92, 92, 96, 98, 98, 112, 118, 108),
        (0.15, 0.14, 0.13, 0.11, 0.10, 0.08, 0.08, 0.08, 0.09, 0.11, 0.14, 0.15), 0.15,
        (5.4, 5.3, 5.4, 5.2, 4.6, 4.2, 3.9, 3.8, 4.2, 4.7, 5.1, 5.3), 0.18, 110.0, (300.0, 220.0), 2.8,
    ),
    Climate(
        "hot_humid", "Steamhaven", 104, 10.0, 105.0, 7, 8.0,
        (26.2, 26.8, 27.9, 28.9, 28.6, 28.0, 27.6, 27.5, 27.3, 27.1, 26.7, 26.2), (1.0, 1.0), 0.017,
        (4.8, 5.0, 4.8, 4.2, 3.2, 2.8, 2.7, 2.6, 2.4, 2.5, 3.2, 4.2),
        (0.46, 0.42, 0.42, 0.48, 0.60, 0.66, 0.68, 0.68, 0.70, 0.66, 0.58, 0.50),
        (22, 12, 20, 60, 190, 230, 240, 235, 270, 260, 130, 50),
        (0.015, 0.01, 0.015, 0.03, 0.07, 0.08, 0.085, 0.085, 0.095, 0.09, 0.05, 0.025), 0.8,
        (3.2, 3.4, 3.4, 3.0, 2.7, 3.1, 3.3, 3.4, 2.9, 2.6, 2.9, 3.1), 0.40, 225.0, (60.0, 180.0), 4.2,
    ),
    Climate(
        "hot_dry", "Dustgate", 105, 27.0, 45.0, 3, 420.0,
        (13.2, 15.6, 20.2, 25.6, 31.2, 34.4, 35.8, 35.4, 32.4, 27.2, 20.2, 14.8), (3.2, 1.8), 0.027,
        (10.0, 12.0, 15.5, 19.0, 22.0, 25.5, 26.5, 25.5, 23.5, 19.5, 14.0, 10.5),
        (0.30, 0.28, 0.30, 0.28, 0.20, 0.08, 0.08, 0.08, 0.07, 0.14, 0.24, 0.30),
        (16, 12, 20, 22, 6, 0, 0, 0, 0, 2, 11, 15),
        (0.016, 0.012, 0.016, 0.014, 0.005, 0, 0, 0, 0, 0.002, 0.009, 0.014), 0.3,
        (3.4, 3.7, 4.2, 4.2, 4.2, 4.5, 4.4, 4.0, 3.5, 3.2, 3.1, 3.2), 0.30, 150.0, (320.0, 350.0), 3.8,
    ),
    Climate(
        "temperate_inland", "Evenmead", 106, 49.0, 15.0, 1, 310.0,
        (-0.6, 0.8, 4.8, 9.6, 14.2, 17.6, 19.4, 18.9, 14.4, 9.4, 4.0, 0.6), (4.2, 2.8), 0.023,
        (2.8, 3.4, 5.0, 7.0, 7.2, 7.0, 7.2, 6.8, 5.2, 3.8, 2.8, 2.5),
        (0.74, 0.69, 0.64, 0.58, 0.57, 0.56, 0.52, 0.50, 0.54, 0.62, 0.75, 0.77),
        (36, 32, 42, 40, 66, 74, 80, 72, 52, 42, 44, 42),
        (0.10, 0.09, 0.09, 0.07, 0.07, 0.07, 0.06, 0.06, 0.06, 0.07, 0.10, 0.11), 0.3,
        (3.7, 3.7, 3.8, 3.4, 3.1, 2.9, 2.8, 2.6, 2.8, 3.0, 3.3, 3.6), 0.25, 270.0, (100.0, 300.0), 3.0,
    ),
)  # fmt: skip


def process(random: np.random.Generator, hours: float) -> np.ndarray:
    """Return hourly values of a first-order autoregressive process of unit variance that closes over the year.

    `hours` is the time after which the correlation has fallen to 1/e.
    """
    keep = math.exp(-1.0 / hours)
    noise = random.standard_normal(HOURS) * math.sqrt(1.0 - keep * keep)
    # the same noise a second time: the filter has then forgotten its start, and December meets January
    return lfilter([1.0], [1.0, -keep], np.concatenate([noise, noise]))[HOURS:]


def running_mean(values: np.ndarray, hours: int) -> np.ndarray:
    """Return the mean over a window of hours around each hour, closed over the year."""
    return np.convolve(np.tile(values, 3), np.full(hours, 1.0 / hours), "same")[HOURS : 2 * HOURS]


def through_year(monthly: tuple[float, ...]) -> np.ndarray:
    """Return hourly values that run smoothly through monthly ones set at mid-month and close over the year."""
    lengths = np.array([calendar.monthrange(YEAR, month)[1] for month in range(1, 13)])
    middle = np.cumsum(lengths) - lengths / 2.0
    return np.interp(np.arange(HOURS) / 24.0, middle, np.asarray(monthly, dtype=float), period=365.0)


def make(climate: Climate) -> str:
    """Return the text of the EPW file of one climate."""
    random = np.random.default_rng(climate.seed)
    hour = np.arange(HOURS)
    time = np.datetime64(f"{YEAR}-01-01T00:00") + hour * np.timedelta64(60, "m")
    month = time.astype("datetime64[M]").astype(int) % 12
    clock = hour % 24 + 0.5
    day_wave = np.cos(2.0 * np.pi * (clock - 15.5) / 24.0)  # highest in the afternoon

    # weather systems: days long, with showers of a few hours in them
    system = process(random, 40.0)
    wetness = 0.8 * system + 0.6 * process(random, 4.0)
    share = through_year(climate.cloud)
    spread = 1.5  # makes cover U-shaped: mostly clear or mostly overcast
    cloud = ndtr(ndtri(share) * math.sqrt(1.0 + spread**2) + spread * wetness)

    showers = wetness + climate.afternoon * day_wave
    rain, nearness = rainfall(climate, showers, month, random)

    sun = sun_position(time, climate.latitude, climate.longitude, climate.utc_offset)
    ghi, dni, dhi = sunshine(climate, sun, cloud)

    # air temperature: season + synoptic anomaly + lagged answer to sun and night sky
    forcing = climate.swing * (ghi - 70.0 * (1.0 - 0.8 * cloud**2))
    lag = math.exp(-1.0 / 6.0)  # six hours: the afternoon peak comes near 15 to 16 h
    answer = lfilter([1.0 - lag], [1.0, -lag], np.concatenate([forcing, forcing]))[HOURS:]
    winter, summer = climate.anomaly
    season = 0.5 - 0.5 * np.cos(2.0 * np.pi * (hour / 24.0 - 15.0) / 365.0)
    passing = process(random, 70.0)
    passing -= 0.7 * running_mean(passing, 30 * 24)  # a typical year has no month far from its mean
    anomaly = (winter + (summer - winter) * season) * passing
    base = through_year(climate.temperature) + anomaly
    swing = answer - running_mean(answer, 45 * 24)
    temperature = base + swing

    # dew point: nearly level through the day, closer to the air when cloudy, close to it in rain
    depression = through_year(climate.depression) * (1.4 - 0.8 * cloud) + 1.0 * process(random, 20.0)
    dew = base + 0.35 * swing - np.maximum(depression, 0.3)
    dew = np.minimum((1.0 - nearness) * dew + nearness * (temperature - 1.0), temperature - 0.1)

    # wind: fair-weather sectors swing with the season, rain brings its own
    towards_summer = ndtr(3.0 * (season - 0.5) + 0.8 * process(random, 60.0))
    east, north = np.zeros(HOURS), np.zeros(HOURS)
    for sector, weight in (
        (climate.fair_sectors[0], (1.0 - nearness) * (1.0 - towards_summer)),
        (climate.fair_sectors[1], (1.0 - nearness) * towards_summer),
        (climate.rain_sector, 1.5 * nearness),
    ):
        east += weight * math.sin(math.radians(sector))
        north += weight * math.cos(math.radians(sector))
    turn = 32.0 * process(random, 9.0) * (1.0 - 0.4 * nearness) + 10.0 * random.standard_normal(HOURS)
    direction = (np.degrees(np.arctan2(east, north)) + turn) % 360.0
    gusty = (process(random, 15.0) + 0.5 * wetness) / math.sqrt(1.25)
    shape = 2.0  # Weibull shape of open country
    scale = through_year(climate.wind) / math.gamma(1.0 + 1.0 / shape)
    speed = scale * (1.0 + climate.breeze * day_wave * (1.0 - 0.5 * cloud)) * (-np.log1p(-ndtr(gusty))) ** (1.0 / shape)

    level = 101325.0 * (1.0 - 2.25577e-5 * climate.elevation) ** 5.25588
    size = 200.0 + 14.0 * abs(climate.latitude)  # pressure systems fade towards the equator
    lows = 0.8 * process(random, 60.0) - 0.6 * system
    pressure = level + size * running_mean(lows, 13)  # it has no jumps

    temperature, dew = np.round(temperature, 1), np.round(dew, 1)
    dew = np.minimum(dew, temperature)
    tenths = np.round(10.0 * cloud)
    infrared = sky_irradiance(
        temperature + 273.15, dew + 273.15, cloud=tenths / 10.0, hour=clock, pressure=np.full(HOURS, level)
    )
    humidity = 100.0 * water_pressure(dew + 273.15) / water_pressure(temperature + 273.15)
    return epw(
        climate, time, temperature, dew, humidity, pressure, infrared, ghi, dni, dhi, direction, speed, tenths, rain
    )  # fmt: skip


def rainfall(
    climate: Climate, showers: np.ndarray, month: np.ndarray, random: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Return precipitation [mm/h] scaled to monthly totals, and how near each hour is to rain [0-1]."""
    burst = np.exp(0.5 * random.standard_normal(HOURS))
    rain, nearness = np.zeros(HOURS), np.zeros(HOURS)
    for index in range(12):
        here = month == index
        if not climate.rain[index]:
            continue
        least = np.quantile(showers[here], 1.0 - climate.wet[index])
        excess = np.maximum(showers[here] - least, 0.0)
        amount = excess**1.3 * burst[here]
        amount = np.round(amount * climate.rain[index] / amount.sum(), 1)
        rain[here] = amount
        nearness[here] = ndtr((showers[here] - least + 0.1) / 0.35)
    return rain, nearness


def sunshine(climate: Climate, sun: pd.DataFrame, cloud: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return global, direct normal and diffuse irradiance [W/m2], whole watts."""
    zenith = sun["apparent_zenith"]
    cosine = np.cos(np.radians(sun["zenith"].to_numpy()))
    day = sun.index.day_of_year.to_numpy()
    extra = pvlib.irradiance.get_extra_radiation(day)
    mass = pvlib.atmosphere.get_absolute_airmass(
        pvlib.atmosphere.get_relative_airmass(zenith), pvlib.atmosphere.alt2pres(climate.elevation)
    )
    clear = pvlib.clearsky.ineichen(zenith, mass, climate.turbidity, climate.elevation, extra)
    ghi = clear["ghi"].to_numpy() * (1.0 - 0.75 * cloud**3.4)  # Kasten and Czeplak 1980, Solar Energy 24, 177-189
    split = pvlib.irradiance.erbs(ghi, sun["zenith"].to_numpy(), day)
    low = cosine < 0.065  # the same limit as pvlib: below it the quotient with the cosine means nothing
    dni = np.where(low, 0.0, np.minimum(np.nan_to_num(split["dni"]), clear["dni"].to_numpy()))
    ghi, dni = np.round(np.nan_to_num(ghi)), np.round(np.nan_to_num(dni))
    dhi = np.round(np.maximum(ghi - dni * np.maximum(cosine, 0.0), 0.0))
    return ghi, dni, dhi


def epw(climate: Climate, time: np.ndarray, *columns: np.ndarray) -> str:
    """Return the EPW text: eight lines of header and the hours, fields that are not modelled left empty."""
    title = climate.file.replace("_", " ")
    head = [
        f"LOCATION,{climate.name} (fictitious),-,-,{title},000000,{climate.latitude:g},{climate.longitude:g},"
        f"{climate.utc_offset},{climate.elevation:g}",
        "DESIGN CONDITIONS,0",
        "TYPICAL/EXTREME PERIODS,0",
        "GROUND TEMPERATURES,0",
        "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
        f"COMMENTS 1,FICTITIOUS climate: no such place. Made by climates/make_climates.py with seed {climate.seed}",
        "COMMENTS 2,Humidity over water at all temperatures. Depth: rain and melted snow. Empty: not modelled",
        "DATA PERIODS,1,1,Data,Monday,1/1,12/31",
    ]
    month = time.astype("datetime64[M]").astype(int) % 12 + 1
    day = (time.astype("datetime64[D]") - time.astype("datetime64[M]").astype("datetime64[D]")).astype(int) + 1
    stamp = zip(month.tolist(), day.tolist(), (np.arange(HOURS) % 24 + 1).tolist(), strict=True)
    rows = zip(*(column.tolist() for column in columns), strict=True)
    body = []
    for (m, d, h), (t, dew, rh, p, ir, ghi, dni, dhi, way, v, n, r) in zip(stamp, rows, strict=True):
        # fields 17-20 illuminances, 25-33 visibility to albedo: empty
        body.append(
            f"{YEAR},{m},{d},{h},60,,{t:g},{dew:g},{rh:.0f},{round(p / 10) * 10},,,{ir:.0f},{ghi:.0f},"
            f"{dni:.0f},{dhi:.0f},,,,,{round(way) % 360},{v:.1f},{n:.0f},{n:.0f},,,,,,,,,,{r:g},1"
        )
    return "\n".join(head + body) + "\n"


def main() -> None:
    """Write all files."""
    reader = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    reader.add_argument("--out", type=Path, default=Path(__file__).parent, help="folder to write into")
    folder = reader.parse_args().out
    folder.mkdir(parents=True, exist_ok=True)
    for climate in CLIMATES:
        path = folder / f"{climate.file}.epw"
        path.write_text(make(climate), encoding="ascii", newline="\n")
        print(path)


if __name__ == "__main__":
    main()
