"""Hourly driving rain on a wall by ISO 15927-3 and ASHRAE 160, and the liquid fraction of precipitation."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from cavity.climate.humid import wet_bulb
from cavity.constants import HOUR, ICE_POINT
from cavity.errors import Fault, InputError

if TYPE_CHECKING:
    import xarray as xr

# ISO 15927-3 terrain category: (K_R, z_0 m, z_min m), from memory
ROUGHNESS = {
    "I": (0.17, 0.01, 2.0),
    "II": (0.19, 0.05, 4.0),
    "III": (0.22, 0.3, 8.0),
    "IV": (0.24, 1.0, 16.0),
}
# terrain classes of the wall file and categories of ISO 15927-3 (our own assumption, by their descriptions):
# IV urban, 15 % of the area built over at 15 m and more; III suburban or wooded; II farmland; I open sea and flat
CATEGORY = {"city": "IV", "suburban": "III", "open": "II", "flat": "I"}
# ASHRAE 160 rain exposure factor: (building height up to m, severe, medium, sheltered), from memory
_EXPOSURE = (
    (10.0, 1.3, 1.0, 0.7),
    (15.0, 1.3, 1.1, 0.8),
    (20.0, 1.4, 1.2, 0.9),
    (30.0, 1.5, 1.3, 1.1),
    (40.0, 1.5, 1.4, 1.2),
    (50.0, 1.5, 1.5, 1.3),
    (np.inf, 1.5, 1.5, 1.5),
)
_DEGREES = {"severe": 1, "medium": 2, "sheltered": 3}
METHODS = ("ISO 15927-3", "ASHRAE 160")


def liquid_fraction(temperature: np.ndarray, vapour_pressure: np.ndarray, pressure: np.ndarray) -> np.ndarray:
    """Return the fraction of the precipitation that falls as rain; the rest is snow, which does not wet a wall (E16).

    By wet-bulb temperature: falling flakes melt where their surface is above 0 degC, and in dry air that is colder than
    the air. Half is snow at a wet bulb of 0.8 degC. Fractions below 0.1 % count as 0: all is snow below a wet
    bulb of -2.6 degC, all is rain above 4.3 degC. Freezing rain is counted as snow.

    Parameters
    ----------
    temperature : array, (time,)
        Air temperature. [K]
    vapour_pressure, pressure : array, (time,)
        Vapour pressure and atmospheric pressure. [Pa]

    Returns
    -------
    array, (time,)
        Fraction. [0-1]

    References
    ----------
    Snow fraction 1 / (1 + 6.99e-5 exp(2 (T_w + 3.97))), T_w in degC: Wang, Broxton, Fang, Behrangi, Barlage, Zeng and
    Niu 2019, A wet-bulb temperature-based rain-snow partitioning scheme, Geophysical Research Letters 46, 13825-13835;
    from memory.
    """
    bulb = wet_bulb(temperature, vapour_pressure, pressure) - ICE_POINT
    rain = 1.0 - 1.0 / (1.0 + 6.99e-5 * np.exp(2.0 * (np.minimum(bulb, 20.0) + 3.97)))
    return np.where(rain < 1e-3, 0.0, np.where(rain > 0.999, 1.0, rain))


def liquid_rain(weather: xr.Dataset) -> np.ndarray:
    """Return the rain of a weather: its precipitation without the snow.

    Parameters
    ----------
    weather : xarray.Dataset, (time,)
        Weather as `read_weather` returns it; its variable ``rain`` is precipitation of any kind, melted.

    Returns
    -------
    array, (time,)
        Rain on a horizontal plane. [kg/(m2 s)]

    References
    ----------
    `liquid_fraction`.
    """
    precipitation = weather["rain"].to_numpy().astype(float)
    names = ("temperature_outdoor", "vapour_pressure_outdoor", "pressure")
    wet = precipitation > 0.0
    precipitation[wet] *= liquid_fraction(*(weather[name].to_numpy()[wet] for name in names))
    return precipitation


def describe_rain(weather: xr.Dataset) -> str:
    """Return a text on the annual rain and snow, and on their source.

    Parameters
    ----------
    weather : xarray.Dataset, (time,)
        Weather as `read_weather` returns it.

    Returns
    -------
    str
        Without a full stop.
    """
    source = str(weather.attrs.get("rain_source", "file"))
    if not int(weather.attrs.get("has_rain", 1)) or source == "none":
        return "no rain in the weather file; the wall is run without driving rain"
    yearly = HOUR * 8760.0 / weather.sizes["time"]
    rain = float(liquid_rain(weather).sum()) * yearly
    snow = float(weather["rain"].sum()) * yearly - rain
    words = {"file": "rain from the weather file", "second file": "rain from a second file"}
    amount = f"{rain:.0f} mm per year" if weather.sizes["time"] >= 8760 else f"at a rate of {rain:.0f} mm per year"
    frozen = f", and {snow:.0f} mm of snow, which does not wet walls" if snow >= 0.5 else ""
    return f"{words.get(source, f'rain {source}')}: {amount}{frozen}"


def free_field_rain(rain: np.ndarray, speed: np.ndarray, angle: np.ndarray) -> np.ndarray:
    """Return the driving rain that a vertical plane would catch in open country, hour by hour (E13).

    Parameters
    ----------
    rain : array, (time,)
        Rain on a horizontal plane. [kg/(m2 s)]
    speed : array, (time,)
        Wind speed at 10 m in open country. [m/s]
    angle : array, (time,)
        Angle between wind and the normal of the plane. [degree]

    Returns
    -------
    array, (time,)
        Driving rain, 0 for wind from behind. [kg/(m2 s)]

    References
    ----------
    ISO 15927-3:2009, airfield index I_A = 2/9 sum(v r^(8/9) cos(D - theta)) / N with r in mm/h, for each hour;
    from memory.
    """
    amount = np.asarray(rain, dtype=float) * HOUR
    facing = np.maximum(np.cos(np.radians(angle)), 0.0)
    return 2.0 / 9.0 * speed * amount ** (8.0 / 9.0) * facing / HOUR


def roughness_factor(terrain: str, height: float) -> float:
    """Return the terrain roughness factor C_R of ISO 15927-3.

    Parameters
    ----------
    terrain : {"city", "suburban", "open", "flat"}
        Terrain class of the site, matched with categories IV, III, II, I.
    height : float
        Height above the ground. [m]

    Returns
    -------
    float
        K_R ln(z / z_0), constant below the least height of the category. [1]

    References
    ----------
    ISO 15927-3:2009, table of terrain categories, from memory.
    """
    if terrain not in CATEGORY:
        raise InputError(
            Fault("site.terrain", "the terrain is not known", str(terrain), " | ".join(CATEGORY), "choose one of them")
        )
    factor, length, least = ROUGHNESS[CATEGORY[terrain]]
    return factor * float(np.log(max(height, least) / length))


def exposure_factor(degree: str, height: float) -> float:
    """Return the rain exposure factor F_E of ASHRAE 160.

    Parameters
    ----------
    degree : {"severe", "medium", "sheltered"}
        Exposure of the building.
    height : float
        Height of the building. [m]

    Returns
    -------
    float
        F_E. [1]

    References
    ----------
    ANSI/ASHRAE Standard 160, table of rain exposure factors, from memory.
    """
    if degree not in _DEGREES:
        expected = " | ".join(_DEGREES)
        raise InputError(
            Fault("site.rain_exposure", "the exposure is not known", str(degree), expected, "choose one of them")
        )
    return next(row[_DEGREES[degree]] for row in _EXPOSURE if height < row[0] or np.isinf(row[0]))


def driving_rain(
    rain: np.ndarray, speed: np.ndarray, angle: np.ndarray, *, tilt: float, site: Any, method: str = ""
) -> np.ndarray:
    """Return the driving rain that reaches a wall (E13 to E15).

    ISO 15927-3: free-field rain times C_R at the building's height, topography C_T, obstruction O and wall factor W.
    ASHRAE 160: F_E F_D F_L U cos(theta) r with F_L = 0.2 kg s/(m3 mm). A wall that leans back also receives falling
    rain by the cosine of its tilt (our own assumption; both standards are for vertical walls only).

    Parameters
    ----------
    rain : array, (time,)
        Rain on a horizontal plane. [kg/(m2 s)]
    speed : array, (time,)
        Wind speed at 10 m in open country. [m/s]
    angle : array, (time,)
        Angle between wind and wall normal. [degree]
    tilt : float, keyword only
        Tilt from horizontal. [degree]
    site : object, keyword only
        Terrain, building height [m] and rain factors.
    method : {"", "ISO 15927-3", "ASHRAE 160"}, keyword only
        Empty: the method of the site.

    Returns
    -------
    array, (time,)
        Driving rain. [kg/(m2 s)]

    Raises
    ------
    InputError
        If method, terrain or exposure is not known.

    References
    ----------
    ISO 15927-3:2009; ANSI/ASHRAE Standard 160; both from memory.
    """
    method = method or site.rain_method
    rain = np.asarray(rain, dtype=float)
    if method == "ISO 15927-3":
        factors = site.rain_topography * site.rain_obstruction * site.rain_wall_factor
        upright = free_field_rain(rain, speed, angle) * roughness_factor(site.terrain, site.building_height) * factors
    elif method == "ASHRAE 160":
        facing = np.maximum(np.cos(np.radians(angle)), 0.0)
        factors = exposure_factor(site.rain_exposure, site.building_height) * site.rain_deposition
        upright = 0.2 * factors * np.asarray(speed, dtype=float) * facing * rain
    else:
        raise InputError(
            Fault("site.rain_method", "the method is not known", str(method), " | ".join(METHODS), "choose one of them")
        )
    lean = np.radians(tilt)
    falling = rain * max(float(np.cos(lean)), 0.0) if tilt < 89.999 else 0.0
    return upright * float(np.sin(lean)) + falling
