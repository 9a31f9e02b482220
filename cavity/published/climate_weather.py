"""Weather on the wall: driving rain of single hours, its factors, the clear sky, the sun at an equinox noon."""

from __future__ import annotations

import math

import numpy as np

from cavity.climate.humid import water_pressure, wet_bulb
from cavity.climate.on_wall import sun_on_plane
from cavity.climate.rain import driving_rain, exposure_factor, free_field_rain, liquid_fraction, roughness_factor
from cavity.climate.read import sky_irradiance
from cavity.constants import ICE_POINT, STEFAN_BOLTZMANN
from cavity.published.case import HAND, MEMORY, READ, Case, band_case, value_case
from cavity.wallfile.model import Site

_ISO = "ISO 15927-3:2009 (from memory)"
_ASHRAE = "ANSI/ASHRAE Standard 160 (from memory)"


def cases() -> tuple[Case, ...]:
    """Return the cases of weather on the wall."""
    return (*rain(), *snow(), *factors(), *sky(), *sun())


def _hour(rain: float, speed: float, angle: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    return np.array([rain / 3600.0]), np.array([speed]), np.array([angle])


def rain() -> tuple[Case, ...]:
    """Return driving rain of single hours by three laws."""
    site = Site(rain_method="ASHRAE 160", rain_exposure="medium", rain_deposition=1.0, building_height=6.0)
    rows = []
    for speed, amount, angle, iso, ashrae in ((5.0, 2.0, 0.0, 2.0575, 2.000), (10.0, 10.0, 30.0, 14.901, 17.321)):
        inputs = f"wind {speed:g} m/s at {angle:g} degrees, rain {amount:g} mm/h"
        hour = _hour(amount, speed, angle)
        free = float(free_field_rain(*hour)[0] * 3600.0)
        rows += [
            value_case(
                "driving rain in the free field",
                source=f"{_ISO}, worked by hand",
                tag=HAND,
                inputs=inputs,
                units="L/(m2 h)",
                expected=iso,
                computed=free,
                atol=6e-4,
            ),
            value_case(
                "driving rain on a wall, all factors 1",
                source=f"{_ASHRAE}, worked by hand",
                tag=HAND,
                inputs=inputs,
                units="L/(m2 h)",
                expected=ashrae,
                computed=float(driving_rain(*hour, tilt=90.0, site=site)[0] * 3600.0),
                atol=6e-4,
            ),
            value_case(
                "the same by the older law 0.222 v r^0.88",
                source="Lacy 1965 (from memory)",
                tag=HAND,
                inputs=inputs,
                units="L/(m2 h)",
                expected=0.222 * speed * amount**0.88 * math.cos(math.radians(angle)),
                computed=free,
                rtol=0.03,
                note="Two fits of the same kind of measurement.",
            ),
        ]
    # rain intensity over which Straube's coefficient runs from average rain to drizzle; ours = free / (v r)
    coefficient = float(free_field_rain(*_hour(2.0, 5.0, 0.0))[0] * 3600.0) / (5.0 * 2.0)
    rows.append(
        band_case(
            "driving-rain coefficient of average rain",
            source="secondary source: Straube, Building Science Digest 148, driving-rain factor",
            tag=READ,
            inputs="rain 2 mm/h",
            units="s/m",
            band=(0.20, 0.25),
            computed=coefficient,
        )
    )
    return tuple(rows)


def snow() -> tuple[Case, ...]:
    """Return the wet bulb, and the air temperature at which half the precipitation is snow."""
    rows = []
    for air, humidity, expected in ((20.0, 50.0, 13.8), (30.0, 50.0, 22.0), (10.0, 80.0, 8.2)):
        t = np.array([air + ICE_POINT])
        bulb = wet_bulb(t, humidity / 100.0 * water_pressure(t), np.array([101325.0]))
        rows.append(
            value_case(
                "wet-bulb temperature",
                source="psychrometric chart at sea level (from memory)",
                tag=MEMORY,
                inputs=f"air {air:g} degC, {humidity:g} % relative humidity",
                units="degC",
                expected=expected,
                computed=float(bulb[0]) - ICE_POINT,
                atol=0.15,
            )
        )
    celsius = np.linspace(-3.0, 7.0, 1001)
    t = celsius + ICE_POINT
    for humidity in (60.0, 80.0, 100.0):
        rain = liquid_fraction(t, humidity / 100.0 * water_pressure(t), np.full(t.size, 101325.0))
        rows.append(
            value_case(
                "air temperature at which half the precipitation is snow",
                source="Jennings et al. 2018, Nature Communications 9, 1148: logistic fit (from memory)",
                tag=MEMORY,
                inputs=f"relative humidity {humidity:g} %",
                units="degC",
                expected=(10.04 - 0.09 * humidity) / 1.41,
                computed=float(np.interp(0.5, rain, celsius)),
                atol=1.0,
                note="Ours splits by wet bulb, theirs by temperature and humidity.",
            )
        )
    return tuple(rows)


def factors() -> tuple[Case, ...]:
    """Return roughness and exposure factors over height."""
    table = {
        "flat": (1.056, 1.174, 1.292),
        "open": (0.875, 1.007, 1.138),
        "suburban": (0.722, 0.771, 0.924),
        "city": (0.665, 0.665, 0.719),
    }
    rows = [
        value_case(
            "roughness factor of driving rain",
            source=f"{_ISO}, table of terrain categories",
            tag=HAND,
            inputs=f"{terrain}, {z:g} m",
            units="1",
            expected=expected,
            computed=roughness_factor(terrain, z),
            atol=6e-4,
        )
        for terrain, row in table.items()
        for z, expected in zip((5.0, 10.0, 20.0), row, strict=True)
    ]
    rows += [
        value_case(
            "exposure factor of driving rain",
            source=f"{_ASHRAE}, table of exposure factors",
            tag=MEMORY,
            inputs=f"{degree}, {z:g} m",
            units="1",
            expected=expected,
            computed=exposure_factor(degree, z),
            atol=1e-9,
        )
        for z, row in ((6.0, (1.3, 1.0, 0.7)), (17.0, (1.4, 1.2, 0.9)), (80.0, (1.5, 1.5, 1.5)))
        for degree, expected in zip(("severe", "medium", "sheltered"), row, strict=True)
    ]
    return tuple(rows)


def sky() -> tuple[Case, ...]:
    """Return the clear-sky temperature; the pressure term of the source is from memory."""
    rows = []
    for air, dew, hour, expected in (
        (15.0, 10.0, 6.0, -2.9),
        (15.0, 10.0, 0.0, -1.7),
        (10.0, 9.0, 6.0, -8.1),
        (0.0, -3.0, 6.0, -23.8),
    ):
        flux = sky_irradiance(
            np.array([air + ICE_POINT]),
            np.array([dew + ICE_POINT]),
            cloud=np.zeros(1),
            hour=np.array([hour]),
            pressure=np.full(1, 1e5),
        )
        rows.append(
            value_case(
                "temperature of the clear sky",
                source="Berdahl & Martin 1984, Solar Energy 32, 663-664, by hand",
                tag=HAND,
                inputs=f"air {air:g} degC, dew point {dew:g} degC, {hour:g} h",
                units="degC",
                expected=expected,
                computed=float((flux[0] / STEFAN_BOLTZMANN) ** 0.25 - ICE_POINT),
                atol=0.06,
            )
        )
    return tuple(rows)


def sun() -> tuple[Case, ...]:
    """Return the beam on a wall that faces the noon sun of an equinox."""
    import xarray as xr

    rows = []
    for latitude, orientation in ((40.0, 180.0), (60.0, 180.0), (-35.0, 0.0)):
        # noon of the sun is in the middle of the hour: equation of time on 20 March is -7.5 minutes
        weather = xr.Dataset(
            {
                name: ("time", [value])
                for name, value in {"direct_normal": 800.0, "diffuse_horizontal": 0.0, "global_horizontal": 0.0}.items()
            },
            coords={"time": np.array(["2021-03-20T11:38"], dtype="datetime64[ns]")},
            attrs={"latitude": latitude, "longitude": 0.0, "utc_offset": 0.0},
        )
        rows.append(
            value_case(
                "beam on a vertical wall at equinox noon",
                source="geometry: sun at 90 degrees minus latitude; common practice",
                tag=HAND,
                inputs=f"latitude {latitude:g}, wall faces {orientation:g}, 800 W/m2 direct, no sky",
                units="W/m2",
                expected=800.0 * math.sin(math.radians(abs(latitude))),
                computed=float(sun_on_plane(weather, orientation=orientation, tilt=90.0, albedo=0.0)[0]),
                rtol=0.01,
                note="The equinox does not fall on noon of that day exactly.",
            )
        )
    return tuple(rows)
