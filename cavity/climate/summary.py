"""Summary of a climate: months, orientations, roses, undercooling in clear nights, drying, and the wall to check."""

from __future__ import annotations

import calendar
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np

from cavity.climate.humid import table_dew_point, table_saturation_pressure
from cavity.climate.on_wall import angle_to_wall, sky_fraction, sky_temperature, sun_on_plane, wind_at_height
from cavity.climate.outside import outside_coefficient
from cavity.climate.rain import describe_rain, driving_rain, free_field_rain, liquid_rain
from cavity.climate.series import month_of
from cavity.climate.year import scaled_index
from cavity.constants import HOUR, ICE_POINT, LEWIS_VAPOUR, STEFAN_BOLTZMANN

if TYPE_CHECKING:
    import xarray as xr

ORIENTATIONS = np.arange(16) * 22.5  # degrees clockwise from north
COMPASS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")
SPEED_EDGES = (0.5, 2.0, 4.0, 6.0, 8.0, 11.0)  # m/s, lower edges of the classes of the wind rose; below 0.5 calm
BELOW = -0.01  # K, margin from which a panel counts as below the dew point: excludes round-off in fog
NIGHT = 1.0  # W/m2, below this global irradiance it is night
# A thin, well-insulated cladding panel has the strongest undercooling (our own assumption)
PANEL_EMISSIVITY = 0.9
PANEL_ABSORPTANCE = 0.6
SKY_VIEW = sky_fraction(90.0)
STANDARD_SITE = SimpleNamespace(
    terrain="suburban",
    building_height=6.0,
    ground_albedo=0.2,
    rain_method="ISO 15927-3",
    rain_topography=1.0,
    rain_obstruction=1.0,
    rain_wall_factor=0.4,
    rain_exposure="medium",
    rain_deposition=0.35,
)


def undercooling(weather: xr.Dataset, *, site: Any = STANDARD_SITE) -> tuple[np.ndarray, np.ndarray]:
    """Return the margin of a vertical panel to the dew point of the outdoor air at night, and the rate of dew.

    Steady balance of a surface without heat from behind: convection to the air, radiation to a sky colder than the air;
    h_c = 4 + 4 v with the wind at the building height, radiation linearised at the mean of air and sky. Dew by h_c and
    the Lewis relation; its latent heat is neglected, so the amount is an upper bound.

    Parameters
    ----------
    weather : xarray.Dataset, (time,)
        Weather as `read_weather` returns it.
    site : object, keyword only
        Terrain and building height [m].

    Returns
    -------
    margin : array, (time,)
        Panel temperature minus dew point, below zero dew forms on the panel; NaN by day. [K]
    dew : array, (time,)
        Rate of dew. [kg/(m2 s)]

    References
    ----------
    ISO 6946, annex on surface resistances: h_c = 4 + 4 v; from memory. Lewis relation: EN 15026, from memory. The
    balance: our own assumption.
    """
    air, vapour = weather["temperature_outdoor"].to_numpy(), weather["vapour_pressure_outdoor"].to_numpy()
    sky = sky_temperature(weather)
    convection, panel = _panel(weather, air, sky, site)
    margin = np.where(weather["global_horizontal"].to_numpy() < NIGHT, panel - table_dew_point(vapour), np.nan)
    dew = np.where(margin < 0.0, LEWIS_VAPOUR * convection * (vapour - table_saturation_pressure(panel)), 0.0)
    return margin, np.maximum(dew, 0.0)


def _panel(
    weather: xr.Dataset, air: np.ndarray, sky: np.ndarray, site: Any, sun: np.ndarray | float = 0.0
) -> tuple[np.ndarray, np.ndarray]:
    """Return the convective coefficient [W/(m2 K)] and the steady temperature of a thin panel [K]."""
    speed = wind_at_height(weather["wind_speed"].to_numpy(), height=site.building_height, terrain=site.terrain)
    convection = outside_coefficient(speed)
    surroundings = SKY_VIEW * sky + (1.0 - SKY_VIEW) * air  # linear mean: within 0.3 K of the fourth-power mean
    radiation = 4.0 * PANEL_EMISSIVITY * STEFAN_BOLTZMANN * (0.5 * (air + surroundings)) ** 3
    panel = (convection * air + radiation * surroundings + PANEL_ABSORPTANCE * sun) / (convection + radiation)
    return np.asarray(convection), panel


def drying_potential(weather: xr.Dataset, sun: np.ndarray, *, site: Any = STANDARD_SITE) -> np.ndarray:
    """Return the hourly vapour pressure difference that can dry a wall in the sun.

    It is the saturation pressure at the temperature of a panel, warmed by the sun and cooled by the sky, minus the
    outdoor vapour pressure; negative values count as 0. Evaporative cooling of the surface is neglected: an upper bound
    that ranks orientations and months (our own assumption).

    Parameters
    ----------
    weather : xarray.Dataset, (time,)
        Weather as `read_weather` returns it.
    sun : array, (time,)
        Sun on the wall, as `on_wall.sun_on_plane` returns it. [W/m2]
    site : object, keyword only
        Terrain and building height [m].

    Returns
    -------
    array, (time,)
        Vapour pressure difference. [Pa]
    """
    air, vapour = weather["temperature_outdoor"].to_numpy(), weather["vapour_pressure_outdoor"].to_numpy()
    sky = sky_temperature(weather)
    _, panel = _panel(weather, air, sky, site, sun)
    return np.maximum(table_saturation_pressure(panel) - vapour, 0.0)


def summarise(weather: xr.Dataset, *, site: Any = STANDARD_SITE) -> xr.Dataset:
    """Return the summary of a climate.

    Parameters
    ----------
    weather : xarray.Dataset, (time,)
        Weather of one or more years; amounts are means of one year.
    site : object, keyword only
        Terrain, building height [m], albedo and rain factors; the default is a two-storey house in a suburb.

    Returns
    -------
    xarray.Dataset, (month, orientation, speed, hour)
        Monthly and orientation figures with units and long names. Attributes: those of the weather, wettest,
        driest_out, to_check [degree], critical_months (text), sentence.

    References
    ----------
    Index of wetting and drying: Cornick, Djebbar and Dalgliesh 2003, Building and Environment 38, 1367-1379, made for
    years and places; its use for orientations and months is our own. Driving rain: ISO 15927-3 and ASHRAE 160.
    """
    import xarray as xr

    time = weather["time"].to_numpy()
    years = time.size / 8760.0
    month = month_of(time)
    hour = weather["time"].dt.hour.to_numpy()
    values = {str(name): weather[name].to_numpy() for name in weather.data_vars}
    margin, dew = undercooling(weather, site=site)

    def by_month(series: np.ndarray, how: str = "mean") -> np.ndarray:
        parts = [series[month == number] for number in range(1, 13)]
        return np.array([getattr(np, how)(part) / (years if how == "sum" else 1.0) for part in parts])

    celsius = values["temperature_outdoor"] - ICE_POINT
    liquid = liquid_rain(weather)
    rain = liquid * HOUR
    monthly = {
        "temperature_mean": (by_month(celsius), "degC", "mean temperature"),
        "temperature_lowest": (by_month(celsius, "min"), "degC", "lowest temperature"),
        "temperature_highest": (by_month(celsius, "max"), "degC", "highest temperature"),
        "humidity": (by_month(values["relative_humidity_outdoor"]) * 100.0, "%", "mean relative humidity"),
        "vapour_pressure": (by_month(values["vapour_pressure_outdoor"]), "Pa", "mean vapour pressure"),
        "wind_speed": (by_month(values["wind_speed"]), "m/s", "mean wind speed"),
        "sun": (by_month(values["global_horizontal"], "sum") / 1000.0, "kWh/m2", "sun on a horizontal plane"),
        "rain": (by_month(rain, "sum"), "mm", "rain"),
        "snow": (by_month(values["rain"] * HOUR - rain, "sum"), "mm", "snow, melted"),
        "wet_hours": (by_month((rain > 0.0).astype(float), "sum"), "h", "hours with rain"),
        "undercooled_hours": (
            by_month((margin < BELOW).astype(float), "sum"),
            "h",
            "hours of a panel below the outdoor dew point",
        ),
        "dew": (by_month(dew * HOUR, "sum"), "kg/m2", "potential dew on a panel, upper bound"),
    }
    sun, driven, driven_160, free, dry = (np.zeros((12, 16)) for _ in range(5))
    for i, facing in enumerate(ORIENTATIONS):
        angle = angle_to_wall(values["wind_direction"], facing)
        plane = sun_on_plane(weather, orientation=float(facing), tilt=90.0, albedo=site.ground_albedo)
        sun[:, i] = by_month(plane, "sum") / 1000.0
        amount = (liquid, values["wind_speed"], angle)
        free[:, i] = by_month(free_field_rain(*amount) * HOUR, "sum")
        driven[:, i] = by_month(driving_rain(*amount, tilt=90.0, site=site, method="ISO 15927-3") * HOUR, "sum")
        driven_160[:, i] = by_month(driving_rain(*amount, tilt=90.0, site=site, method="ASHRAE 160") * HOUR, "sum")
        # kPa h: sum over the hours
        dry[:, i] = by_month(drying_potential(weather, plane, site=site), "sum") / 1000.0
    by_orientation = {
        "sun_on_wall": (sun, "kWh/m2", "sun on a vertical wall"),
        "driving_rain_free": (free, "L/m2", "driving rain in the free field, ISO 15927-3"),
        "driving_rain_iso": (driven, "L/m2", "driving rain on the wall, ISO 15927-3"),
        "driving_rain_ashrae": (driven_160, "L/m2", "driving rain on the wall, ASHRAE 160"),
        "drying_potential": (dry, "kPa h", "drying potential"),
    }
    has_rain = bool(weather.attrs["has_rain"])
    index = scaled_index(driven.sum(axis=0), dry.sum(axis=0))
    check = int(np.argmax(index))
    # months are ranked for the wall to check
    month_index = scaled_index(driven[:, check] + monthly["dew"][0], dry[:, check])
    summary = xr.Dataset(
        {name: ("month", data, {"units": unit, "long_name": title}) for name, (data, unit, title) in monthly.items()}
        | {
            name: (("month", "orientation"), data, {"units": unit, "long_name": title})
            for name, (data, unit, title) in by_orientation.items()
        }
        | {
            "orientation_index": ("orientation", index, {"units": "1", "long_name": "moisture index"}),
            "month_index": ("month", month_index, {"units": "1", "long_name": "moisture index"}),
            "wind_fraction": (("speed", "orientation"), *_rose(values)),
            "day_temperature": (
                ("month", "hour"),
                _by_hour(celsius, month, hour),
                {"units": "degC", "long_name": "mean temperature"},
            ),
            "undercooling": (
                ("month", "hour"),
                _by_hour(margin < BELOW, month, hour),
                {"units": "1", "long_name": "fraction of hours below the dew point"},
            ),
        },
        coords={
            "month": np.arange(1, 13),
            "orientation": ("orientation", ORIENTATIONS, {"units": "degree"}),
            "compass": ("orientation", list(COMPASS)),
            "speed": ("speed", list(SPEED_EDGES), {"units": "m/s", "long_name": "lower edge of the speed class"}),
            "hour": np.arange(24),
        },
        attrs=dict(weather.attrs),
    )
    worst = np.sort(np.argsort(-month_index, kind="stable")[:3])
    calm = float((values["wind_speed"] < SPEED_EDGES[0]).mean())
    summary.attrs.update(
        calm_fraction=calm,
        rain_words=f"{(words := describe_rain(weather))[0].upper()}{words[1:]}.",
        years=years,
        terrain=site.terrain,
        building_height=float(site.building_height),
        wettest=float(ORIENTATIONS[int(np.argmax(driven.sum(axis=0)))]) if has_rain else -1.0,
        slowest_to_dry=float(ORIENTATIONS[int(np.argmin(dry.sum(axis=0)))]),
        to_check=float(ORIENTATIONS[check]),
        critical_months=", ".join(_MONTHS[i] for i in worst),
    )
    summary.attrs["sentence"] = _sentence(summary)
    return summary


_MONTHS = tuple(calendar.month_name)[1:]


def _rose(values: dict[str, np.ndarray]) -> tuple[np.ndarray, dict[str, str]]:
    """Return the fraction of all hours by class of speed and sector of direction."""
    sector = np.round(values["wind_direction"] / 22.5).astype(int) % 16
    level = np.digitize(values["wind_speed"], SPEED_EDGES) - 1  # -1: calm
    fraction = np.zeros((len(SPEED_EDGES), 16))
    moving = level >= 0
    np.add.at(fraction, (level[moving], sector[moving]), 1.0)
    return fraction / sector.size, {"units": "1", "long_name": "fraction of hours"}


def _by_hour(series: np.ndarray, month: np.ndarray, hour: np.ndarray) -> np.ndarray:
    total, count = np.zeros((12, 24)), np.zeros((12, 24))
    np.add.at(total, (month - 1, hour), series)
    np.add.at(count, (month - 1, hour), 1.0)
    return total / np.maximum(count, 1.0)


def name_of(orientation: float) -> str:
    """Return the compass name of one of the sixteen orientations [degree]."""
    return COMPASS[round(orientation / 22.5) % 16]


def _sentence(summary: xr.Dataset) -> str:
    attrs = summary.attrs
    months = attrs["critical_months"]
    hours = float(summary["undercooled_hours"].sum())
    check = name_of(attrs["to_check"])
    if attrs["has_rain"]:
        amount = float(summary["driving_rain_iso"].sel(orientation=attrs["to_check"]).sum())
        first = (
            f"Check the {check} wall: of all orientations it has the worst balance of wetting "
            f"({amount:.0f} L/m2 of driving rain per year) and drying. The {name_of(attrs['wettest'])} wall receives "
            f"most rain; the {name_of(attrs['slowest_to_dry'])} wall dries most slowly."
        )
        snow = float(summary["snow"].sum())
        if snow >= 0.5:
            first += f" Snow ({snow:.0f} mm of water per year) does not wet walls and is not counted as driving rain."
    else:
        first = (
            f"Check the {check} wall: it dries most slowly. The file has no rain, so wetting by rain "
            "could not be ranked; give a rain series."
        )
    return (
        f"{first} Critical months: {months}. A thin panel under the night sky is below the dew point of the outdoor "
        f"air in {hours:.0f} hours per year."
    )
