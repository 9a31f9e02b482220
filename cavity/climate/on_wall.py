"""Weather on a wall: sun on its plane, sky, wind at its height, driving rain."""

from __future__ import annotations

import functools
import hashlib
from typing import TYPE_CHECKING, Any

import numpy as np

from cavity.climate.rain import driving_rain, liquid_rain
from cavity.constants import HOUR, STEFAN_BOLTZMANN
from cavity.errors import Fault, InputError
from cavity.kept import recall

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr

# terrain: (exponent, boundary layer thickness m), ASHRAE Fundamentals, airflow around buildings, table 1
TERRAIN = {"city": (0.33, 460.0), "suburban": (0.22, 370.0), "open": (0.14, 270.0), "flat": (0.10, 210.0)}
STATION_HEIGHT = 10.0  # m, height of the wind of a weather station, in open terrain


def sun_position(time: np.ndarray, latitude: float, longitude: float, utc_offset: float) -> pd.DataFrame:
    """Return the sun position in the middle of each hour.

    Parameters
    ----------
    time : array of datetime64, (time,)
        Start of each hour, local standard time.
    latitude, longitude : float
        Place, north and east positive. [degree]
    utc_offset : float
        Local standard time minus universal time. [h]

    Returns
    -------
    pandas.DataFrame, (time,)
        ``zenith`` (true), ``apparent_zenith`` (refracted), ``azimuth`` from north [degree], ``solar_hour`` [h].

    References
    ----------
    pvlib, `solarposition.get_solarposition`: Reda and Andreas 2003, NREL/TP-560-34302.
    """
    middle = time.astype("datetime64[ns]") + np.timedelta64(30, "m") - np.timedelta64(round(utc_offset * HOUR), "s")
    return _sun(middle.tobytes(), float(latitude), float(longitude)).copy()


@functools.lru_cache(maxsize=4)  # one for all cases and planes of a climate; 0.6 MB a year
def _sun(middle: bytes, latitude: float, longitude: float) -> pd.DataFrame:
    import pandas as pd
    import pvlib

    index = pd.DatetimeIndex(np.frombuffer(middle, "datetime64[ns]"), tz="UTC")
    sun = pvlib.solarposition.get_solarposition(index, latitude, longitude)
    universal = (index.hour + index.minute / 60.0 + index.second / HOUR).to_numpy()
    sun["solar_hour"] = (universal + longitude / 15.0 + sun["equation_of_time"].to_numpy() / 60.0) % 24.0
    return sun


def sun_on_plane(weather: xr.Dataset, *, orientation: float, tilt: float, albedo: float) -> np.ndarray:
    """Return the solar irradiance on a plane: beam, anisotropic diffuse sky and ground.

    Sky model: Perez 1990 in the continuous form of Driesse 2024. It has the bright horizon, which matters for vertical
    walls and is missing in the model of Hay and Davies, and no steps between clearness classes. With the sun below the
    horizon in the middle of an hour, the sky is taken as uniform.

    Parameters
    ----------
    weather : xarray.Dataset, (time,)
        Weather as `read_weather` returns it.
    orientation : float, keyword only
        Direction the plane faces, clockwise from north. [degree]
    tilt : float, keyword only
        Tilt from horizontal, 90 for a wall. [degree]
    albedo : float, keyword only
        Reflectance of the ground. [1]

    Returns
    -------
    array, (time,)
        Irradiance, mean over the hour. [W/m2]

    References
    ----------
    pvlib, `irradiance.get_total_irradiance`. Perez et al. 1990, Solar Energy 44, 271-289. Driesse, Jensen and Perez
    2024, Solar Energy 267, 112093.
    """
    import xarray as xr

    time = weather["time"].to_numpy().astype("datetime64[ns]")
    place = [float(weather.attrs[name]) for name in ("latitude", "longitude", "utc_offset")]
    beam, diffuse, ground = (
        np.ascontiguousarray(weather[name].to_numpy(), dtype=float)
        for name in ("direct_normal", "diffuse_horizontal", "global_horizontal")
    )

    def identity() -> str:
        digest = hashlib.sha256(b"".join(values.tobytes() for values in (time, beam, diffuse, ground)))
        return f"sun on a plane {[*place, float(orientation), float(tilt), float(albedo)]} {digest.hexdigest()}"

    def computed() -> xr.Dataset:
        import pvlib

        sun = sun_position(time, *place)
        zenith = sun["apparent_zenith"].to_numpy()
        plane = pvlib.irradiance.get_total_irradiance(
            tilt,
            orientation,
            zenith,
            sun["azimuth"].to_numpy(),
            beam,
            ground,
            diffuse,
            dni_extra=pvlib.irradiance.get_extra_radiation(sun.index.day_of_year.to_numpy()),
            albedo=albedo,
            model="perez-driesse",
        )
        total = np.asarray(plane["poa_global"], dtype=float)
        radians = np.radians(tilt)
        even = diffuse * (1.0 + np.cos(radians)) / 2.0 + ground * albedo * (1.0 - np.cos(radians)) / 2.0
        on_plane = np.maximum(np.where((zenith < 90.0) & np.isfinite(total), total, even), 0.0)
        return xr.Dataset({"sun_on_wall": ("time", on_plane)})

    return recall(identity, computed)["sun_on_wall"].to_numpy()


def sky_temperature(weather: xr.Dataset) -> np.ndarray:
    """Return the temperature [K], (time,), of the black sky that sends the longwave irradiance of the weather."""
    return (weather["infrared_horizontal"].to_numpy() / STEFAN_BOLTZMANN) ** 0.25


def sky_fraction(tilt: float) -> float:
    """Return the fraction of the longwave view that is at sky temperature; the rest is at air temperature (E9).

    View factor to the sky F = (1 + cos tilt)/2, to the ground 1 - F. Near the horizon the sky is as warm as the air, so
    only the part sqrt(F) of F counts as sky. Ground and obstacles are assumed at air temperature.

    Parameters
    ----------
    tilt : float
        Slope from horizontal: 90 for a wall, smaller angles lean back like a roof. [degree]

    Returns
    -------
    float
        F sqrt(F): 1 facing the zenith, 0.354 upright, 0 facing the ground. [1]

    References
    ----------
    G. N. Walton, NBSIR 83-2655, 1983, from memory.

    Examples
    --------
    >>> round(sky_fraction(90.0), 4)
    0.3536
    """
    return float((0.5 * (1.0 + np.cos(np.radians(tilt)))) ** 1.5)


def wind_at_height(speed: np.ndarray, *, height: float, terrain: str) -> np.ndarray:
    """Return the wind speed at a height over the site's terrain, from that of a station at 10 m in open terrain (E11).

    Parameters
    ----------
    speed : array, (time,)
        Wind speed at the station. [m/s]
    height : float, keyword only
        Height above the ground. [m]
    terrain : {"city", "suburban", "open", "flat"}, keyword only
        Terrain class of the site.

    Returns
    -------
    array, (time,)
        Wind speed. [m/s]

    Raises
    ------
    InputError
        If the terrain is not known or the height is not above 0.

    References
    ----------
    ASHRAE Handbook Fundamentals, airflow around buildings, eq. 4 and table 1. Below the mean height of obstacles the
    profile is not reliable.
    """
    exponent, layer = terrain_row(terrain)
    if not height > 0.0:
        raise InputError(
            Fault("site", "the height must be above 0", f"{height:g} m", "above 0 m", "check building_height")
        )
    station_exponent, station_layer = TERRAIN["open"]
    factor = (station_layer / STATION_HEIGHT) ** station_exponent * (min(height, layer) / layer) ** exponent
    return np.asarray(speed, dtype=float) * factor


def terrain_row(terrain: str) -> tuple[float, float]:
    """Return exponent and layer thickness [m] of a terrain; raise InputError that lists the known ones."""
    if terrain not in TERRAIN:
        raise InputError(
            Fault("site.terrain", "the terrain is not known", str(terrain), " | ".join(TERRAIN), "choose one of them")
        )
    return TERRAIN[terrain]


def angle_to_wall(direction: np.ndarray, orientation: float) -> np.ndarray:
    """Return the angle between wind and wall normal, 0 = head on, positive clockwise from above.

    Parameters
    ----------
    direction : array, (time,)
        Direction the wind comes from, clockwise from north. [degree]
    orientation : float
        Direction the wall faces, clockwise from north. [degree]

    Returns
    -------
    array, (time,)
        Signed angle, -180 (excluded) to 180. [degree]
    """
    return 180.0 - (180.0 - (np.asarray(direction, dtype=float) - orientation)) % 360.0


def on_wall(weather: xr.Dataset, *, orientation: float, tilt: float, site: Any) -> xr.Dataset:
    """Return the weather with sun, sky, wind and driving rain on one wall added.

    Parameters
    ----------
    weather : xarray.Dataset, (time,)
        Weather as `read_weather` returns it.
    orientation : float, keyword only
        Direction the wall faces, clockwise from north. [degree]
    tilt : float, keyword only
        Tilt from horizontal, 90 for a wall. [degree]
    site : object, keyword only
        Terrain, building height [m], albedo and rain factors, as the wall file's site has them.

    Returns
    -------
    xarray.Dataset, (time,)
        The weather and sun_on_wall [W/m2], sky_temperature [K], wind_speed_site [m/s] at the building's height,
        wind_angle [degree], driving_rain [kg/(m2 s)] without snow.

    Raises
    ------
    InputError
        If terrain or rain method is not known.
    """
    from cavity.variables import attributes

    speed, angle = weather["wind_speed"].to_numpy(), angle_to_wall(weather["wind_direction"].to_numpy(), orientation)
    added = {
        "sun_on_wall": (
            sun_on_plane(weather, orientation=orientation, tilt=tilt, albedo=site.ground_albedo),
            "pvlib get_total_irradiance, Perez-Driesse",
        ),
        "sky_temperature": (
            sky_temperature(weather),
            "infrared_horizontal, Stefan-Boltzmann law",
        ),
        "wind_speed_site": (
            wind_at_height(speed, height=site.building_height, terrain=site.terrain),
            "ASHRAE Fundamentals, power law",
        ),
        "wind_angle": (angle, "wind_direction minus orientation"),
        "driving_rain": (
            driving_rain(liquid_rain(weather), speed, angle, tilt=tilt, site=site),
            f"{site.rain_method}, without snow, by wet bulb",
        ),
    }
    return weather.assign(
        {name: ("time", values, attributes(name, source)) for name, (values, source) in added.items()}
    )
