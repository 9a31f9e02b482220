"""Reading weather: values in the right hour and unit, every repair counted, every fault named."""

from __future__ import annotations

import json

import numpy as np
import pytest
import weather_files as wf

from cavity.climate import humid, read_weather
from cavity.climate.read import sky_irradiance
from cavity.climate.year import one_year
from cavity.errors import InputError
from cavity.variables import TABLE


@pytest.fixture(scope="module")
def temperate():
    return read_weather(wf.CLIMATES / "temperate_inland.epw")


def notes(weather):
    return " | ".join(json.loads(weather.attrs["warnings"]))


def fails(path, **more):
    with pytest.raises(InputError) as caught:
        read_weather(path, **more)
    return str(caught.value)


# ---- measured-type years ---------------------------------------------------------------------------------------------
@pytest.mark.parametrize("name", wf.measured())
def test_every_measured_file_reads_within_physical_bounds(name):
    weather = wf.read_measured(name)
    assert weather.sizes["time"] == 8760
    assert (np.diff(weather["time"].values) == np.timedelta64(1, "h")).all()
    for variable in weather.data_vars:
        values = weather[variable].values
        assert np.isfinite(values).all(), variable
        assert (values >= TABLE[variable].lower).all() and (values <= TABLE[variable].upper).all(), variable
        assert weather[variable].attrs["units"] == TABLE[variable].units
    full = humid.table_saturation_pressure(weather["temperature_outdoor"].values)
    assert (weather["vapour_pressure_outdoor"].values <= full * (1 + 1e-12)).all()  # rounding only


def test_the_measured_files_are_there():
    assert len(wf.measured()) >= 10


def test_a_cool_windy_year_without_rain_is_called_a_missing_column():
    weather = read_weather(wf.one_measured("Aberdeen.Dyce"))
    assert weather.attrs["has_rain"] == 0 and weather.attrs["rain_source"] == "none"
    assert "missing column, not a dry place" in notes(weather)
    assert weather["wind_speed"].mean() > 4.0 and weather["temperature_outdoor"].mean() < 283.0


def test_a_hot_year_with_rain_keeps_its_rain_and_its_half_hour_zone():
    # the header writes the zone with a decimal comma (5,5); 733.3 mm is the sum of the file's depth column
    weather = read_weather(wf.one_measured("Current_Ahmedabad"))
    assert weather.attrs["has_rain"] == 1
    assert weather.attrs["utc_offset"] == 5.5 and weather.attrs["elevation"] == 49.0
    assert "decimal comma" in notes(weather)
    assert float(weather["rain"].sum() * 3600.0) == pytest.approx(733.3, rel=1e-9)  # rounding


def test_a_measured_file_whose_clock_is_an_hour_off_is_noticed():
    # one of the package's files was put together with its sun an hour early; the others are within a tenth of an hour
    off = [name for name in wf.measured() if "solar noon" in notes(wf.read_measured(name))]
    assert len(off) == 1 and "Seville" in off[0]


def test_humidity_over_ice_or_over_water_is_told_apart_by_the_two_columns():
    # mean deviation of the two columns of these files, by hand: ice 0.2 against water 1.0 % RH, and 1.4 against 0.3
    for part, surface in (("London.Gatwick", "ice"), ("Current_Shimla", "water")):
        text = wf.one_measured(part).read_text("latin-1").splitlines()[wf.HEADER :]
        t, dew, rh = np.array([[float(v) for v in line.split(",")[6:9]] for line in text]).T
        assert humid.surface_of_file(t + 273.15, dew + 273.15, rh / 100.0) == surface


def test_humidity_over_water_below_freezing_is_capped_at_ice_saturation_without_a_word():
    t = np.array([263.15, 263.15, 288.15, 288.15])
    vapour, said = humid.vapour_from_file(t, None, np.array([0.80, 0.98, 0.80, 1.05]))
    ice, water = humid.table_saturation_pressure(t), humid.water_pressure(t)
    # at -10 degC ice saturates at 0.907 of the pressure over water (259.9 / 286.6 Pa, ASHRAE eqs. 5 and 6)
    np.testing.assert_allclose(vapour, [0.80 * water[0], ice[1], 0.80 * water[2], ice[3]], rtol=1e-9)
    assert vapour[0] / ice[0] == pytest.approx(0.80 / 0.907, abs=1e-3)
    assert len(said) == 1 and said[0].startswith("1 hours had more vapour")  # only the 105 % above freezing


# ---- time ------------------------------------------------------------------------------------------------------------
def test_a_value_belongs_to_the_hour_that_ends_at_its_stamp(tmp_path):
    # EPW: hour 13 is 12:00 to 13:00; our time is its start
    rows = wf.put(wf.lines(), wf.PRESSURE, 88888, [24 * 3 + 12])
    assert rows[wf.HEADER + 24 * 3 + 12].startswith("2001,1,4,13,")
    weather = read_weather(wf.save(tmp_path, rows))
    assert float(weather["pressure"].sel(time="2001-01-04T12:00")) == 88888.0


def test_a_leap_year_has_its_29_february(tmp_path):
    rows = wf.lines()
    hours = wf.with_year(rows[wf.HEADER :], 2004)
    feb28 = [i for i, row in enumerate(hours) if row.startswith("2004,2,28,")]
    extra = [row.replace("2004,2,28,", "2004,2,29,") for row in (hours[i] for i in feb28)]
    whole = rows[: wf.HEADER] + hours[: feb28[-1] + 1] + extra + hours[feb28[-1] + 1 :]
    weather = read_weather(wf.save(tmp_path, whole))
    assert weather.sizes["time"] == 8784
    assert float(weather["temperature_outdoor"].sel(time="2004-02-29T05:00")) == float(
        weather["temperature_outdoor"].sel(time="2004-02-28T05:00")
    )


def test_a_leap_year_without_its_29_february_is_no_gap(tmp_path):
    rows = wf.lines()
    weather = read_weather(wf.save(tmp_path, rows[: wf.HEADER] + wf.with_year(rows[wf.HEADER :], 2004)))
    assert weather.sizes["time"] == 8760 and "gaps" not in notes(weather)


def test_several_years_in_a_row_stay_several_years(tmp_path):
    rows = wf.lines()
    both = rows + wf.with_year(rows[wf.HEADER :], 2002)
    weather = read_weather(wf.save(tmp_path, both))
    assert weather.sizes["time"] == 2 * 8760
    assert sorted(set(weather["time"].dt.year.values)) == [2001, 2002]
    assert "2 years in a row; choose one" in notes(weather)
    assert "years in a row" not in notes(one_year(weather, 2002))


def test_a_typical_year_of_months_of_many_years_becomes_one_calendar_year():
    weather = read_weather(wf.one_measured("London.Gatwick"))
    assert set(weather["time"].dt.year.values) == {2001}
    assert "1983 to 1997" in weather.attrs["time_policy"]


def test_records_of_half_an_hour_are_averaged(tmp_path):
    rows = wf.lines()
    rows[wf.HEADER - 1] = rows[wf.HEADER - 1].replace("DATA PERIODS,1,1,", "DATA PERIODS,1,2,")
    body = []
    for row in rows[wf.HEADER :]:
        parts = row.split(",")
        for minute, step in (("30", -0.4), ("60", +0.4)):
            parts[4], parts[6] = minute, f"{float(row.split(',')[6]) + step:.1f}"
            body.append(",".join(parts))
    halves = read_weather(wf.save(tmp_path, rows[: wf.HEADER] + body))
    plain = read_weather(wf.CLIMATES / "temperate_inland.epw")
    assert "30 minutes" in notes(halves)
    for name in ("temperature_outdoor", "global_horizontal", "wind_speed"):
        np.testing.assert_allclose(halves[name].values, plain[name].values, rtol=1e-12, atol=1e-9)  # rounding
    # depth per record is mm in half an hour: twice the rate, the same depth in both halves
    np.testing.assert_allclose(halves["rain"].values, 2.0 * plain["rain"].values, rtol=1e-12, atol=0)


def test_universal_time_of_a_half_hour_zone_is_shared_between_local_hours(tmp_path, temperate):
    # stamps of full hours UTC fall on half hours of local time at +5:30: each local hour is the mean of two records
    text = wf.csv_text(temperate).replace("# longitude = 15.0", "# longitude = 82.5")
    text = text.replace("# utc offset = 1.0", "# utc offset = 5.5")
    rows = [row.replace(",", "+05:00,", 1) if row.startswith("2001-") else row for row in text.splitlines()]
    weather = read_weather(wf.save(tmp_path, rows, "half.csv"))
    before = np.roll(temperate["temperature_outdoor"].values, 1)
    expected = 0.5 * (before + temperate["temperature_outdoor"].values)  # 00:30-01:30 and 23:30-00:30
    assert weather.sizes["time"] == 8760
    np.testing.assert_allclose(weather["temperature_outdoor"].values[1:], expected[1:], rtol=1e-9)  # 10 printed digits
    assert float(weather["global_horizontal"].sum()) == pytest.approx(
        float(temperate["global_horizontal"].sum()), rel=1e-9
    )


@pytest.mark.parametrize(("label", "minutes"), [("start", 0), ("middle", 30), ("end", 60)])
def test_the_time_label_says_what_a_stamp_marks(tmp_path, temperate, label, minutes):
    late = temperate.assign_coords(time=temperate["time"] + np.timedelta64(minutes, "m"))
    path = tmp_path / "label.csv"
    path.write_text(wf.csv_text(late, head=f"# time label = {label}"))
    weather = read_weather(path)
    np.testing.assert_array_equal(weather["time"].values, temperate["time"].values)
    np.testing.assert_allclose(weather["wind_speed"].values, temperate["wind_speed"].values, rtol=1e-9)  # 10 digits


def test_a_year_from_july_to_june_is_turned_into_calendar_order(tmp_path, temperate):
    july = int(np.argmax(temperate["time"].values == np.datetime64("2001-07-01")))
    shifted = temperate.isel(time=np.roll(np.arange(8760), -july))
    stamps = np.datetime64("2001-07-01T00:00") + np.arange(8760) * np.timedelta64(1, "h")
    path = tmp_path / "july.csv"
    path.write_text(wf.csv_text(shifted.assign_coords(time=stamps)))
    weather = read_weather(path)
    assert "calendar order" in notes(weather)
    np.testing.assert_array_equal(weather["time"].values, temperate["time"].values)
    np.testing.assert_allclose(weather["wind_speed"].values, temperate["wind_speed"].values, rtol=1e-9)


# ---- gaps and codes --------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("field", "code", "name"),
    [
        (wf.PRESSURE, 999999, "pressure"),
        (wf.GLOBAL, 9999, "global_horizontal"),
        (wf.SPEED, 999, "wind_speed"),
        (wf.INFRARED, 9999, "infrared_horizontal"),
        (wf.TEMPERATURE, 99.9, "temperature_outdoor"),
    ],
)
def test_a_short_gap_is_interpolated_and_counted(tmp_path, temperate, field, code, name):
    weather = read_weather(wf.save(tmp_path, wf.put(wf.lines(), field, code, range(1000, 1006))))
    values, before = weather[name].values, temperate[name].values
    expected = np.interp(np.arange(1000, 1006), [999, 1006], before[[999, 1006]])
    np.testing.assert_allclose(values[1000:1006], expected, rtol=1e-12)  # rounding
    assert f"{name.replace('_', ' ')} 6 h" in notes(weather)
    np.testing.assert_array_equal(np.delete(values, range(1000, 1006)), np.delete(before, range(1000, 1006)))


def test_a_long_gap_is_refused_with_its_dates(tmp_path):
    text = fails(wf.save(tmp_path, wf.put(wf.lines(), wf.SPEED, 999, range(1000, 1007))))
    assert "wind_speed" in text and "2001-02-11 16:00 to 2001-02-11 22:00 (7 h)" in text


def test_missing_lines_are_a_gap(tmp_path):
    rows = wf.lines()
    weather = read_weather(wf.save(tmp_path, rows[: wf.HEADER + 500] + rows[wf.HEADER + 503 :]))
    assert weather.sizes["time"] == 8760 and "3 h" in notes(weather)
    text = fails(wf.save(tmp_path, rows[: wf.HEADER + 500] + rows[wf.HEADER + 530 :]))
    assert "2001-01-21 20:00 to 2001-01-23 01:00 (30 h)" in text


def test_a_gap_in_the_rain_is_dry_and_counted(tmp_path, temperate):
    wet = temperate["rain"].values > 0.0
    first = int(np.flatnonzero(wet[:-5] & wet[5:])[0]) + 1  # between two wet hours, where interpolation would rain
    weather = read_weather(wf.save(tmp_path, wf.put(wf.lines(), wf.RAIN, 999, range(first, first + 4))))
    assert (weather["rain"].values[first : first + 4] == 0.0).all() and "rain 4 h" in notes(weather)


def test_wind_direction_is_interpolated_through_north(tmp_path):
    rows = wf.put(wf.lines(), wf.DIRECTION, 350, [2000])
    rows = wf.put(wf.put(rows, wf.DIRECTION, 999, [2001]), wf.DIRECTION, 10, [2002])
    rows = wf.put(rows, wf.SPEED, 5.0, range(2000, 2003))
    assert read_weather(wf.save(tmp_path, rows))["wind_direction"].values[2001] == pytest.approx(0.0, abs=1e-9)


def test_missing_longwave_comes_from_cloud_cover_and_missing_pressure_from_the_elevation(tmp_path, temperate):
    rows = wf.put(wf.put(wf.lines(), wf.INFRARED, 9999, slice(None)), wf.PRESSURE, 999999, slice(None))
    weather = read_weather(wf.save(tmp_path, rows))
    assert "Berdahl" in notes(weather) and "standard atmosphere" in notes(weather)
    # ISO 2533 at 310 m: 97 657 Pa, computed by hand
    assert float(weather["pressure"].mean()) == pytest.approx(97657.0, abs=2.0)  # printed digits
    # the fictitious file was made by the same model; it differs by the rounding of its dew point to 0.1 K and RH to 1 %
    assert float(abs(weather["infrared_horizontal"] - temperate["infrared_horizontal"]).mean()) < 1.0


def test_the_clear_sky_of_berdahl_and_martin():
    # air 15, dew point 10 degC, 1000 hPa: emissivity 0.7743 without the daily term (cos = 0 at 6 h), 0.7873 at
    # midnight; sky temperature -2.9 and -1.7 degC. Berdahl and Martin 1984,
    # Solar Energy 32, 663-664, worked by hand
    air, dew = np.array([288.15, 288.15]), np.array([283.15, 283.15])
    flux = sky_irradiance(air, dew, cloud=np.zeros(2), hour=np.array([6.0, 0.0]), pressure=np.full(2, 1e5))
    sky = (flux / 5.670374419e-8) ** 0.25 - 273.15
    np.testing.assert_allclose(sky, [-2.9, -1.7], atol=0.05)  # printed digits


def test_missing_direct_and_diffuse_are_split_from_the_global(tmp_path, temperate):
    rows = wf.put(wf.put(wf.lines(), wf.DIRECT, 9999, slice(None)), wf.DIFFUSE, 9999, slice(None))
    weather = read_weather(wf.save(tmp_path, rows))
    assert "Erbs" in notes(weather)
    # the recipe splits by the same law, at whole watts and with a cap by the clear sky
    assert float(abs(weather["direct_normal"] - temperate["direct_normal"]).mean()) < 3.0


# ---- other forms -----------------------------------------------------------------------------------------------------
def test_netcdf_gives_back_what_was_written(tmp_path, temperate):
    temperate.to_netcdf(tmp_path / "w.nc", engine="h5netcdf")
    again = read_weather(tmp_path / "w.nc")
    for name in temperate.data_vars:
        np.testing.assert_allclose(again[name].values, temperate[name].values, rtol=1e-12, atol=1e-12)  # rounding
    for key in ("latitude", "longitude", "utc_offset", "elevation", "has_rain", "invented", "name"):
        assert again.attrs[key] == temperate.attrs[key]


def test_csv_in_units_of_the_trade_gives_the_same_weather(tmp_path, temperate):
    fahrenheit = (temperate["temperature_outdoor"].values - 273.15) * 1.8 + 32.0
    text = wf.csv_text(
        temperate,
        **{
            "temperature_outdoor [degF]": fahrenheit,
            "wind_speed [mph]": temperate["wind_speed"].values / 0.44704,
            "rain [in/h]": temperate["rain"].values * 3600.0 / 25.4,
            "pressure [kPa]": temperate["pressure"].values / 1000.0,
            "relative_humidity_outdoor [1]": temperate["relative_humidity_outdoor"].values,
        },
    )
    (tmp_path / "w.csv").write_text(text)
    weather = read_weather(tmp_path / "w.csv")
    for name in temperate.data_vars:
        np.testing.assert_allclose(
            weather[name].values, temperate[name].values, rtol=2e-8, atol=1e-9
        )  # 10 digits written


def test_dew_point_alone_gives_the_vapour_pressure(tmp_path, temperate):
    import psychrolib

    psychrolib.SetUnitSystem(psychrolib.SI)
    vapour = temperate["vapour_pressure_outdoor"].values
    dew = humid.table_dew_point(vapour)
    for i in range(0, 8760, 1751):
        t = temperate["temperature_outdoor"].values[i] - 273.15
        # ASHRAE formulae of psychrolib against tables from CoolProp: 0.02 K
        assert dew[i] - 273.15 == pytest.approx(psychrolib.GetTDewPointFromVapPres(t, vapour[i]), abs=0.02)
    text = wf.csv_text(temperate, **{"dew_point [K]": dew})
    lines = text.splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith("time,"))
    drop = lines[start].split(",").index("relative_humidity_outdoor [%]")
    lines[start:] = [",".join(part for i, part in enumerate(line.split(",")) if i != drop) for line in lines[start:]]
    weather = read_weather(wf.save(tmp_path, lines, "dew.csv"))
    np.testing.assert_allclose(weather["vapour_pressure_outdoor"].values, vapour, rtol=1e-6)  # inverse of the dew point


def test_the_dew_point_over_water_is_the_inverse_of_its_pressure():
    t = np.linspace(215.0, 320.0, 211)
    np.testing.assert_allclose(humid.dew_point_over_water(humid.water_pressure(t)), t, atol=1e-6)
    # 100 Pa: frost point -20.3 degC, dew point over supercooled water 2.3 K lower (WMO-No. 8, from memory: a tenth of
    # the temperature below zero)
    below = humid.table_dew_point(np.array([100.0]))[0] - humid.dew_point_over_water(np.array([100.0]))[0]
    assert below == pytest.approx(2.3, abs=0.2)


def test_supercooled_water_agrees_with_a_second_formula():
    # Murphy and Koop 2005, Q. J. R. Meteorol. Soc. 131, eq. 10, from memory
    t = np.linspace(243.15, 303.15, 25)
    second = np.exp(
        54.842763 - 6763.22 / t - 4.21 * np.log(t) + 0.000367 * t
        + np.tanh(0.0415 * (t - 218.8)) * (53.878 - 1331.22 / t - 9.44523 * np.log(t) + 0.014025 * t)
    )  # fmt: skip
    np.testing.assert_allclose(humid.water_pressure(t), second, rtol=3e-3)  # the spread of published formulae
    assert (humid.water_pressure(t[t < 273.0]) > humid.table_saturation_pressure(t[t < 273.0])).all()  # water above ice


def test_rain_of_a_second_file_replaces_the_first_hour_by_hour(tmp_path, temperate):
    other = temperate["rain"].values[::-1] * 3600.0
    rows = ["time,rain [mm]"] + [
        f"{str(stamp)[:16]},{value:.4f}" for stamp, value in zip(temperate["time"].values, other, strict=True)
    ]
    weather = read_weather(wf.CLIMATES / "temperate_inland.epw", rain_file=wf.save(tmp_path, rows, "rain.csv"))
    assert weather.attrs["rain_source"] == "second file"
    np.testing.assert_allclose(weather["rain"].values * 3600.0, other, atol=1e-4)  # four digits written


def test_rain_of_another_year_is_laid_on_the_calendar_and_said_so():
    weather = read_weather(wf.one_measured("Aberdeen.Dyce"), rain_file=wf.one_measured("Current_Ahmedabad"))
    assert weather.attrs["has_rain"] == 1 and "another year than the wind" in notes(weather)
    assert float(weather["rain"].sum() * 3600.0) == pytest.approx(733.3, rel=1e-9)  # the rain file's own sum


def test_a_rain_file_that_is_dry_or_short_is_refused(tmp_path, temperate):
    stamps = [str(stamp)[:16] for stamp in temperate["time"].values]
    dry = wf.save(tmp_path, ["time,rain [mm]"] + [f"{stamp},0" for stamp in stamps], "dry.csv")
    assert "has no rain" in fails(wf.CLIMATES / "hot_dry.epw", rain_file=dry)
    short = wf.save(tmp_path, ["time,rain [mm]"] + [f"{stamp},1" for stamp in stamps[:4000]], "short.csv")
    assert "does not cover the year" in fails(wf.CLIMATES / "hot_dry.epw", rain_file=short)


def test_depth_gathered_over_six_hours_is_spread_over_them(tmp_path):
    rows = wf.put(wf.lines(), wf.RAIN, 0, slice(None))
    rows = wf.put(wf.put(rows, wf.RAIN, 12.0, [3005]), wf.RAIN_HOURS, 6, [3005])
    rain = read_weather(wf.save(tmp_path, rows))["rain"].values * 3600.0
    np.testing.assert_allclose(rain[3000:3006], 2.0, rtol=1e-12)
    assert rain.sum() == pytest.approx(12.0, rel=1e-12)


# ---- refused ---------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("field", "change", "words"),
    [
        (wf.TEMPERATURE, lambda v: f"{float(v) + 273.15:.2f}", "look like kelvin"),
        (wf.HUMIDITY, lambda v: f"{float(v) / 100:.2f}", "look like fractions"),
        (wf.PRESSURE, lambda v: f"{float(v) / 100:.1f}", "not hPa or kPa"),
    ],
)
def test_a_column_in_the_wrong_unit_is_refused_with_the_likely_cause(tmp_path, field, change, words):
    rows = wf.lines()
    for i in range(wf.HEADER, len(rows)):
        parts = rows[i].split(",")
        parts[field] = change(parts[field])
        rows[i] = ",".join(parts)
    assert words in fails(wf.save(tmp_path, rows))


def test_sun_at_night_is_refused_and_an_hour_off_is_warned_of(tmp_path):
    rows = wf.lines()
    head = rows[0].split(",")
    head[8] = "-9"
    assert "shines at night" in fails(wf.save(tmp_path, [",".join(head), *rows[1:]]))
    head[8] = "2"
    assert "-1.0 h from solar noon" in notes(read_weather(wf.save(tmp_path, [",".join(head), *rows[1:]])))


def scaled(rows, factor, *fields):
    """Return the lines with fields multiplied."""
    made = rows[: wf.HEADER]
    for row in rows[wf.HEADER :]:
        parts = row.split(",")
        for field in fields:
            parts[field] = f"{float(parts[field]) * factor:.2f}"
        made.append(",".join(parts))
    return made


def exchanged(rows, one, other):
    """Return the lines with two fields exchanged."""
    made = rows[: wf.HEADER]
    for row in rows[wf.HEADER :]:
        parts = row.split(",")
        parts[one], parts[other] = parts[other], parts[one]
        made.append(",".join(parts))
    return made


def elsewhere(rows, field, value):
    """Return the lines with one field of LOCATION replaced: 6 latitude, 7 longitude, 8 zone, 9 elevation."""
    head = rows[0].split(",")
    head[field] = str(value)
    return [",".join(head), *rows[1:]]


SUNS = (wf.GLOBAL, wf.DIRECT, wf.DIFFUSE)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda rows: scaled(rows, 0.1, wf.GLOBAL), "global looks 10 times too small"),
        (lambda rows: scaled(rows, 1.5, wf.GLOBAL), "global looks 1.5 times too large"),
        (lambda rows: scaled(rows, 3.6, wf.GLOBAL), "it looks like kJ/m2"),
        (lambda rows: scaled(rows, 8.0, wf.SPEED), "it looks like km/h"),
        (lambda rows: scaled(rows, 0.1, wf.DIRECT), "direct looks 10 times too small"),
        (lambda rows: exchanged(rows, wf.GLOBAL, wf.DIFFUSE), "global and diffuse look exchanged"),
        (lambda rows: scaled(rows, 0.1, *SUNS), "ten times too small"),
        (lambda rows: scaled(rows, 1.0 / 3.6, *SUNS), "3.6 times too small"),
        (lambda rows: elsewhere(rows, 6, 0), "the sun fits a latitude near 50"),
        (lambda rows: elsewhere(rows, 6, -49), "the sun fits a latitude of 49: north is positive"),
        (lambda rows: elsewhere(rows, 7, -15), "the sun fits a longitude of 15: east is positive"),
        (lambda rows: elsewhere(elsewhere(rows, 6, 15), 7, 49), "exchanged"),
        (lambda rows: elsewhere(rows, 8, 3), "the sun fits a time zone of +1 h"),
        (lambda rows: scaled(rows, 100.0, wf.RAIN), "rain"),
        (lambda rows: wf.put(rows, wf.TEMPERATURE, -89.5, [500]), "colder than ever measured"),
        (lambda rows: elsewhere(rows, 6, "33.95 S"), "write -33.95: north is positive"),
        (lambda rows: elsewhere(rows, 7, "15 W"), "write -15: east is positive"),
        (lambda rows: elsewhere(rows, 9, "310 ft"), "the elevation is in metres: write 94"),
        (lambda rows: elsewhere(rows, 9, "310 x"), "write the number alone: 310"),
    ],
)
def test_weather_that_cannot_be_is_refused_with_the_probable_cause(tmp_path, make, words):
    assert words in fails(wf.save(tmp_path, make(wf.lines())))


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda rows: scaled(rows, 3.6, wf.SPEED), "wind looks like km/h (then the mean is 3.2 m/s)"),
        (lambda rows: scaled(rows, 0.1, wf.SPEED), "hardly any wind"),
        (lambda rows: scaled(rows, 10.0, wf.RAIN), "tenths of a millimetre"),
        (lambda rows: scaled(rows, 1.0 / 25.4, wf.RAIN), "inches"),
        (lambda rows: elsewhere(rows, 9, 1017), "the elevation looks like feet"),
        (lambda rows: scaled(rows, 1.038, wf.PRESSURE), "reduced to sea level"),
        (lambda rows: scaled(rows, 0.4, wf.INFRARED), "net longwave"),
        (lambda rows: wf.put(rows, wf.DIRECTION, 200, slice(None)), "wind direction never changes"),
    ],
)
def test_odd_weather_is_read_and_said_with_the_probable_cause(tmp_path, make, words):
    said = json.loads(read_weather(wf.save(tmp_path, make(wf.lines()))).attrs["warnings"])
    assert len(said) == 1 and words in said[0]


def test_a_place_with_its_unit_is_read(tmp_path):
    rows = elsewhere(elsewhere(wf.lines(), 9, "310 m"), 6, "49 degrees")
    weather = read_weather(wf.save(tmp_path, rows))
    assert weather.attrs["elevation"] == 310.0 and weather.attrs["latitude"] == 49.0


@pytest.mark.parametrize("name", wf.measured())
def test_no_measured_file_is_flooded_with_doubts(name):
    usual = ("has no rain", "decimal comma", "solar noon", "short gaps", "more vapour", "dew point and relative")
    for text in json.loads(wf.read_measured(name).attrs["warnings"]):
        assert any(words in text for words in usual), text


def test_global_sun_alone_is_never_refused_for_a_low_sun(tmp_path):
    # real half-clear mornings: the hour's energy meets a sun that stands lower in its middle
    for part in ("Shimla", "Aberdeen.Dyce", "Sydney"):
        rows = wf.one_measured(part).read_text("latin-1").splitlines()
        for field in (wf.DIRECT, wf.DIFFUSE):
            rows = wf.put(rows, field, 9999, slice(None))
        path = tmp_path / f"{part}.epw"
        path.write_text("\n".join(rows), "latin-1")
        weather, whole = read_weather(path), read_weather(wf.one_measured(part))
        assert float(weather["direct_normal"].max()) < 1200.0
        # Erbs' law against the file's own parts: published scatter is 10 to 20 % of an hour, a few percent of a year
        assert float(weather["direct_normal"].mean()) == pytest.approx(float(whole["direct_normal"].mean()), rel=0.06)
        closed = weather["diffuse_horizontal"] <= weather["global_horizontal"] + 1e-9
        assert closed.all()


def test_limited_hours_are_counted_and_many_tell_of_a_wrong_place(tmp_path):
    rows = wf.put(wf.put(wf.lines(), wf.DIRECT, 9999, slice(None)), wf.DIFFUSE, 9999, slice(None))
    rows = wf.put(rows, wf.GLOBAL, 700, [8])  # more than a clear sky gives on a January morning
    said = notes(read_weather(wf.save(tmp_path, rows)))
    assert "in 1 hours the direct part was limited" in said and "may be wrong" not in said
    said = notes(read_weather(wf.save(tmp_path, elsewhere(rows, 6, 0))))
    assert "may be wrong" in said


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda rows: rows[: wf.HEADER + 5000], "5000 hours"),
        (lambda rows: rows[: wf.HEADER], "no hours"),
        (lambda rows: rows[:3], "no DATA PERIODS"),
        (lambda rows: ["<html>", "<body>"], "not an EPW file"),
        (lambda rows: [""], "not an EPW file"),
        (lambda rows: [rows[0].replace(",49,", ",149,"), *rows[1:]], "latitude is not possible"),
        (lambda rows: [*rows[:100], "2001,1,4", *rows[101:]], "line 101: the line is too short"),
        (lambda rows: [*rows[:100], rows[100].replace("2001,1,", "2001,13,"), *rows[101:]], "line 101: the date"),
        (lambda rows: wf.put(rows, wf.SPEED, "fast", [92]), "line 101, wind speed [m/s]: is not a number"),
        (lambda rows: wf.put(rows, wf.SPEED, -3, [92]), "line 101, wind speed [m/s]: the value is not possible"),
        (lambda rows: wf.put(rows, wf.SPEED, 999, slice(None)), "missing codes only"),
        (lambda rows: [*rows, *rows[wf.HEADER :]], "out of order"),
    ],
)
def test_a_damaged_epw_is_refused_with_line_and_cause(tmp_path, make, words):
    assert words in fails(wf.save(tmp_path, make(wf.lines())))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("# latitude = 49.0\n", "", "latitude is missing"),
        ("[degC]", "", "the unit cannot be used"),
        ("[degC]", "[K]", "the unit may be [degC]"),
        ("[degC]", "[hPa]", "not a unit of this kind"),
        ("wind_speed", "wind_sped", "column is not known"),
        ("2001-01-01T03:00", "yesterday", "line 11, time: is not a date"),
        ("2001-01-01T03:00", "2001-01-01T02:00", "the same time"),
        ("2001-01-01T03:00", "2001-01-01T03:10", "not evenly spaced"),
        ("# humidity below freezing = ice", "# humidity below freezing = snow", "water | ice"),
        ("# latitude = 49.0", "# latitude = 49.0 S", "write -49: north is positive"),
        ("# longitude = 15.0", "# longitude = 15 W", "write -15: east is positive"),
        ("# elevation = 310.0", "# elevation = 310 ft", "the elevation is in metres: write 94"),
        ("# elevation = 310.0", "# elevation = 310 or so", "write the number alone: 310"),
        ("# latitude = 49.0", "# latitude = 49.0\n# latitude = 10", "line 3: latitude is given twice"),
        ("# utc offset", "# utc_offset = 2\n# utc offset", "utc offset is given twice"),
        ("wind_direction [degree]", "wind_speed [m/s]", "the column wind_speed occurs twice"),
    ],
)
def test_a_damaged_csv_is_refused_with_line_and_cause(tmp_path, temperate, old, new, words):
    text = wf.csv_text(temperate)
    assert old in text
    (tmp_path / "w.csv").write_text(text.replace(old, new, 1))
    assert words in fails(tmp_path / "w.csv")


def test_daylight_saving_time_is_recognised(tmp_path, temperate):
    stamps = temperate["time"].values.copy()
    summer = (stamps >= np.datetime64("2001-03-25T02")) & (stamps < np.datetime64("2001-10-28T02"))
    stamps = stamps + np.where(summer, np.timedelta64(1, "h"), np.timedelta64(0, "h"))
    (tmp_path / "w.csv").write_text(wf.csv_text(temperate.assign_coords(time=stamps)))
    assert "daylight saving" in fails(tmp_path / "w.csv")


def test_a_missing_file_a_folder_and_a_binary_file_are_refused(tmp_path):
    assert "cannot be read" in fails(tmp_path / "none.epw")
    assert "cannot be read" in fails(tmp_path)
    for name, data in (
        ("w.epw", bytes(range(256)) * 40),
        ("w.nc", b"\x89HDF\r\n\x1a\n" + bytes(500)),
        ("w.csv", b"PK\x03\x04"),
    ):
        (tmp_path / name).write_bytes(data)
        assert name in fails(tmp_path / name)


def test_the_southern_sun_stands_in_the_north():
    from cavity.climate.on_wall import sun_on_plane

    for part, sunny, shady in (("Sydney", 0.0, 180.0), ("Aberdeen.Dyce", 180.0, 0.0)):
        weather = read_weather(wf.one_measured(part))
        facing = {side: sun_on_plane(weather, orientation=side, tilt=90.0, albedo=0.2).sum() for side in (sunny, shady)}
        assert facing[sunny] > 1.5 * facing[shady]
