"""The choice of a year, the warmer year, the summary, page and command of a climate; the fictitious climates."""

from __future__ import annotations

import json
import re
import sys

import numpy as np
import pytest
import weather_files as wf
from click.testing import CliRunner

from cavity.cli import main
from cavity.climate import humid, read_weather, year
from cavity.climate.on_wall import sun_on_plane
from cavity.climate.rain import free_field_rain, liquid_rain
from cavity.climate.summary import BELOW, ORIENTATIONS, SKY_VIEW, drying_potential, summarise, undercooling
from cavity.errors import InputError

NAMES = ("cool_marine", "cold_dry_continental", "cold_humid", "hot_humid", "hot_dry", "temperate_inland")


@pytest.fixture(scope="module")
def climates():
    return {name: read_weather(wf.CLIMATES / f"{name}.epw") for name in NAMES}


@pytest.fixture(scope="module")
def summaries(climates):
    return {name: summarise(weather) for name, weather in climates.items()}


def years(weather, changes):
    """Return several years made from one: each with its own rain factor and temperature shift."""
    import xarray as xr

    parts = []
    for i, (rain, shift) in enumerate(changes):
        part = year.warmer(weather, shift) if shift else weather.copy(deep=True)
        part["rain"].data = part["rain"].values * rain
        stamps = np.datetime64(f"{2001 + i}-01-01") + np.arange(8760) * np.timedelta64(1, "h")
        if stamps[-1].astype("datetime64[D]") != np.datetime64(
            f"{2001 + i}-12-31"
        ):  # a leap year: leave its last day out
            stamps = stamps[stamps < np.datetime64(f"{2001 + i}-02-29")]
            rest = np.arange(np.datetime64(f"{2001 + i}-03-01T00"), np.datetime64(f"{2002 + i}-01-01T00"))
            stamps = np.concatenate([stamps, rest.astype(stamps.dtype)])
        parts.append(part.assign_coords(time=stamps.astype("datetime64[ns]")))
    return xr.concat(parts, "time").assign_attrs(weather.attrs)


# ---- choice of year --------------------------------------------------------------------------------------------------
def test_the_moisture_index_is_that_of_the_paper_by_hand(climates):
    # Cornick, Djebbar, Dalgliesh 2003 (from memory): MI = sqrt(W^2 + (1 - D)^2), both scaled over the years
    # where it never snows: a warmer year would turn snow into rain
    several = years(climates["hot_humid"], [(1.0, 0.0), (2.0, 0.0), (1.5, 2.0)])
    index = year.moisture_index(several, orientation=270.0)
    wet, dry, mark = (np.array([index[y][k] for y in (2001, 2002, 2003)]) for k in range(3))
    # free-field rain goes with r^(8/9)
    np.testing.assert_allclose(wet / wet[0], [1.0, 2.0 ** (8 / 9), 1.5 ** (8 / 9)], rtol=1e-9)
    assert dry[0] == dry[1] < dry[2]  # warmer air at the same relative humidity lacks more vapour
    w = (wet - wet[0]) / (wet[1] - wet[0])
    np.testing.assert_allclose(mark, np.hypot(w, 1.0 - np.array([0.0, 0.0, 1.0])), rtol=1e-9)


def test_the_critical_year_is_at_the_level_of_one_in_ten(climates):
    weather = climates["temperate_inland"]
    assert year.critical_year(weather) is weather  # a single year is returned as it is
    few = years(weather, [(1.0, 0.0), (3.0, 0.0), (2.0, 0.0)])
    assert year.years_of(year.critical_year(few)) == [2002]
    many = years(weather, [(1.0 + 0.1 * ((7 * i) % 20), 0.0) for i in range(20)])
    order = sorted(range(20), key=lambda i: -((7 * i) % 20))
    chosen = year.critical_year(many, orientation=270.0)
    assert year.years_of(chosen) == [2001 + order[1]]  # the second wettest of twenty
    assert "10 % level" in chosen.attrs["warnings"]
    assert f"most severe first: {2001 + order[0]} (" in chosen.attrs["warnings"]


def test_several_files_are_ranked_and_the_severe_year_saved_with_one_command(tmp_path, climates):
    from cavity.result import save

    several = years(climates["temperate_inland"], [(1.0, 0.0), (3.0, 0.0), (2.0, 0.0)])
    files = []
    for one in (2001, 2002, 2003):
        files.append(str(tmp_path / f"{one}.nc"))
        save(year.one_year(several, one), files[-1])
    shown = CliRunner().invoke(main, ["climate", *files]).output
    assert "most severe first: 2002 (" in shown.replace("\n", " ")
    result = CliRunner().invoke(main, ["climate", *files, "--year", "critical", "--save", str(tmp_path / "severe.nc")])
    assert result.exit_code == 0 and "ritical year of 3: 2002" in result.output.replace("\n", " ")
    assert year.years_of(read_weather(tmp_path / "severe.nc")) == [2002]


def test_the_mean_year_takes_the_usual_month_and_has_no_steps(climates):
    # ISO 15927-4 (from memory): of a cool, a usual and a warm year the usual one is nearest to all of them
    several = years(climates["temperate_inland"], [(1.0, -3.0), (1.0, 0.0), (1.0, 3.0), (1.0, 0.2), (1.0, -0.2)])
    mean = year.mean_year(several)
    assert mean.sizes["time"] == 8760
    said = re.search(r"from ([\d, ]+)", json.loads(mean.attrs["warnings"])[-1])[1].split(", ")
    assert said == ["2002"] * 12
    assert (
        float(abs(mean["temperature_outdoor"].mean() - climates["temperate_inland"]["temperature_outdoor"].mean()))
        < 0.25
    )
    full = humid.table_saturation_pressure(mean["temperature_outdoor"].values)
    assert (mean["vapour_pressure_outdoor"].values <= full * (1 + 1e-12)).all()
    np.testing.assert_allclose(
        mean["relative_humidity_outdoor"].values, mean["vapour_pressure_outdoor"].values / full, rtol=1e-9
    )


def test_the_seam_of_two_months_is_drawn_together_evenly():
    values = np.concatenate([np.zeros(20), np.full(20, 8.0)])
    year._smooth_seam(values, 20)
    np.testing.assert_allclose(
        values[10:30], [0, 0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5, 4, 4, 4.5, 5, 5.5, 6, 6.5, 7, 7.5, 8, 8]
    )


def test_a_warmer_climate_keeps_relative_humidity_and_sky_emissivity(climates):
    weather = climates["cool_marine"]
    warm = year.warmer(weather, [2.0] * 6 + [3.0] * 6)
    shift = warm["temperature_outdoor"].values - weather["temperature_outdoor"].values
    assert set(np.round(shift, 9)) == {2.0, 3.0} and shift[0] == pytest.approx(2.0) and shift[-1] == pytest.approx(3.0)
    full = humid.table_saturation_pressure(warm["temperature_outdoor"].values)
    np.testing.assert_allclose(
        warm["vapour_pressure_outdoor"].values / full, weather["relative_humidity_outdoor"].values, rtol=1e-9
    )
    ratio = warm["infrared_horizontal"].values / weather["infrared_horizontal"].values
    np.testing.assert_allclose(
        ratio, (warm["temperature_outdoor"].values / weather["temperature_outdoor"].values) ** 4, rtol=1e-9
    )
    # Clausius and Clapeyron: 6 to 8 % more vapour per kelvin at these temperatures
    more = float(warm["vapour_pressure_outdoor"].mean() / weather["vapour_pressure_outdoor"].mean()) - 1.0
    assert 0.06 < more / 2.5 < 0.08
    for bad in (300.0, [1.0, 2.0], float("nan")):
        with pytest.raises(InputError):
            year.warmer(weather, bad)


def test_years_of_several_files_are_joined_and_other_places_refused(climates):
    weather = climates["temperate_inland"]
    second = weather.assign_coords(time=weather["time"] + np.timedelta64(365, "D"))
    joined = year.join_years([second, weather])
    assert year.years_of(joined) == [2001, 2002] and joined.sizes["time"] == 17520
    assert (np.diff(joined["time"].values) > np.timedelta64(0)).all()
    with pytest.raises(InputError, match="occurs twice"):
        year.join_years([weather, weather])
    with pytest.raises(InputError, match="another location"):
        year.join_years([weather, climates["cool_marine"]])
    with pytest.raises(InputError, match="not in the file"):
        year.one_year(joined, 1999)


# ---- summary ---------------------------------------------------------------------------------------------------------
def test_a_panel_under_a_clear_sky_has_the_balance_by_hand(climates):
    weather = climates["temperate_inland"].isel(time=slice(0, 1)).copy(deep=True)
    for name, value in {
        "temperature_outdoor": 283.15, "infrared_horizontal": 5.670374419e-8 * 263.15**4, "wind_speed": 0.0,
        "global_horizontal": 0.0, "vapour_pressure_outdoor": 1150.0,
    }.items():  # fmt: skip
        weather[name].data[:] = value
    margin, dew = undercooling(weather)
    # surroundings 283.15 - 0.3536 * 20 = 276.08 K, mean 279.61: h_r = 0.9 * 4 sigma T^3 = 4.463; h_c = 4;
    # panel = (4 * 283.15 + 4.463 * 276.08) / 8.463 = 279.42 K; dew point of 1150 Pa is 9.03 degC = 282.18 K
    assert pytest.approx(0.35355, abs=1e-5) == SKY_VIEW
    assert margin[0] == pytest.approx(279.42 - 282.18, abs=0.02)  # printed digits
    # beta = 7e-9 * 4, saturation at 279.42 K (6.27 degC): 952 Pa
    assert dew[0] == pytest.approx(7e-9 * 4 * (1150.0 - 952.0), rel=0.02)
    # 2 m/s at the station is 0.641 of it at 6 m in a suburb (ASHRAE): h_c = 4 + 4 * 1.282 = 9.13, panel 280.83 K
    weather["wind_speed"].data[:] = 2.0
    assert undercooling(weather)[0][0] == pytest.approx(280.83 - 282.18, abs=0.02)


def test_wind_cloud_and_dry_air_end_undercooling(climates):
    weather = climates["temperate_inland"]
    base = np.nansum(undercooling(weather)[0] < 0.0)
    windy, cloudy, dry = (weather.copy(deep=True) for _ in range(3))
    windy["wind_speed"].data = weather["wind_speed"].values + 8.0
    cloudy["infrared_horizontal"].data = 5.670374419e-8 * weather["temperature_outdoor"].values ** 4
    dry["vapour_pressure_outdoor"].data = 0.7 * weather["vapour_pressure_outdoor"].values
    assert base > 300
    assert np.nansum(undercooling(windy)[0] < 0.0) < 0.5 * base
    assert np.nansum(undercooling(cloudy)[0] < BELOW) == 0
    assert np.nansum(undercooling(dry)[0] < 0.0) < 0.5 * base


def test_drying_potential_without_sun_and_sky_is_the_lack_of_saturation(climates):
    weather = climates["temperate_inland"].copy(deep=True)
    weather["infrared_horizontal"].data = 5.670374419e-8 * weather["temperature_outdoor"].values ** 4
    lack = (
        humid.table_saturation_pressure(weather["temperature_outdoor"].values)
        - weather["vapour_pressure_outdoor"].values
    )
    shade = drying_potential(weather, np.zeros(8760))
    np.testing.assert_allclose(shade, np.maximum(lack, 0.0), atol=0.1)  # ice and water tables meet at 0 degC
    assert (drying_potential(weather, np.full(8760, 100.0)) > shade).all()


def test_the_summary_adds_up_to_the_hours(climates, summaries):
    weather, summary = climates["cool_marine"], summaries["cool_marine"]
    month = weather["time"].dt.month.values
    liquid = liquid_rain(weather)  # without snow, which drives no rain
    rain = liquid * 3600.0
    assert float(summary["rain"].sel(month=11)) == pytest.approx(rain[month == 11].sum(), rel=1e-12)
    assert float(summary["wind_fraction"].sum()) + summary.attrs["calm_fraction"] == pytest.approx(1.0, abs=1e-12)
    plane = sun_on_plane(weather, orientation=90.0, tilt=90.0, albedo=0.2)
    assert float(summary["sun_on_wall"].sel(orientation=90.0).sum()) == pytest.approx(plane.sum() / 1000.0, rel=1e-12)
    west = free_field_rain(liquid, weather["wind_speed"].values, weather["wind_direction"].values - 270.0)
    assert float(summary["driving_rain_free"].sel(orientation=270.0).sum()) == pytest.approx(
        west.sum() * 3600.0, rel=1e-12
    )
    # two-storey house in a suburb: C_R at 8 m 0.7224 times W 0.4; ASHRAE 160: F_E 1.0 times F_D 0.35
    ratio = summary["driving_rain_iso"].sum() / summary["driving_rain_free"].sum()
    assert float(ratio) == pytest.approx(0.7224 * 0.4, abs=1e-4)
    night = weather["global_horizontal"].values < 1.0
    assert float(summary["undercooled_hours"].sum()) <= night.sum()


def test_the_orientation_to_check_is_the_wet_one_where_it_rains_and_the_shady_one_where_no_rain_is_known(summaries):
    assert summaries["cool_marine"].attrs["to_check"] in (202.5, 225.0, 247.5)  # made with rain from 230 degrees
    assert summaries["cold_humid"].attrs["to_check"] in (90.0, 112.5, 135.0)  # made with rain from 110 degrees
    dry = summarise(read_weather(wf.one_measured("Aberdeen.Dyce")))
    assert dry.attrs["to_check"] in (337.5, 0.0, 22.5) and "has no rain" in dry.attrs["sentence"]
    south = summarise(read_weather(wf.one_measured("Sydney")))
    assert south.attrs["to_check"] in (157.5, 180.0, 202.5)  # the shady side of the southern hemisphere
    assert set(ORIENTATIONS) == set(summaries["hot_dry"]["orientation"].values)


# ---- page and command ------------------------------------------------------------------------------------------------
def test_the_command_prints_tables_and_writes_a_page_that_stands_alone(tmp_path):
    out = tmp_path / "page.html"
    result = CliRunner().invoke(main, ["climate", str(wf.CLIMATES / "hot_humid.epw"), "--out", str(out)])
    assert result.exit_code == 0, result.output
    for words in ("Steamhaven", "Jul", "Check the ", "Critical months", "fictitious"):
        assert words in result.output
    page = out.read_text("utf-8")
    assert page.count('id="plotly-packed"') == 1 and "http://" not in page.split("<style>")[0]
    for part in ("climate-wind", "climate-rain", "climate-undercooling", "climate-balance"):
        assert f'id="{part}"' in page
    assert "fictitious: no such place" in page
    again = tmp_path / "again.html"
    CliRunner().invoke(main, ["climate", str(wf.CLIMATES / "hot_humid.epw"), "--out", str(again)])
    assert again.read_text("utf-8") == page  # fixed names of figures: the same page every time


def test_a_shifted_climate_is_saved_and_read_again(tmp_path, climates):
    saved = tmp_path / "warm.nc"
    source = str(wf.CLIMATES / "cool_marine.epw")
    result = CliRunner().invoke(main, ["climate", source, "--warmer", "2", "--year", "critical", "--save", str(saved)])
    assert result.exit_code == 0, result.output
    again = read_weather(saved)
    shift = again["temperature_outdoor"].values - climates["cool_marine"]["temperature_outdoor"].values
    np.testing.assert_allclose(shift, 2.0, atol=1e-9)
    assert again.attrs["name"].endswith("+2.0 K") and again.attrs["invented"] == 1


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["none.epw"], "cannot be read"),
        ([str(wf.CLIMATES / "make_climates.py")], "neither an EPW file nor a weather CSV"),
        ([str(wf.CLIMATES / "hot_dry.epw"), "--year", "1990"], "not in the file"),
        ([str(wf.CLIMATES / "hot_dry.epw"), "--year", "worst"], "critical, mean"),
        ([str(wf.CLIMATES / "hot_dry.epw"), "--warmer", "290"], "the shift is not possible"),
        ([str(wf.CLIMATES / "hot_dry.epw"), str(wf.CLIMATES / "hot_humid.epw")], "another location"),
    ],
)
def test_wrong_input_ends_with_code_two_and_no_traceback(tmp_path, arguments, words):
    out = tmp_path / "page.html"
    out.write_text("<!doctype html>good")
    result = CliRunner().invoke(main, ["climate", *arguments, "--out", str(out)])
    assert result.exit_code == 2 and words in result.output and "Traceback" not in result.output
    assert out.read_text() == "<!doctype html>good"


def test_the_page_of_a_climate_without_rain_says_so(tmp_path):
    from cavity.report.climate_page import (
        MONTH_HEAD,
        month_head,
        month_rows,
        ranking_head,
        ranking_rows,
        write_climate_page,
    )

    summary = summarise(read_weather(wf.one_measured("Aberdeen.Dyce")))
    page = write_climate_page(summary, tmp_path / "page.html").read_text("utf-8")
    assert "missing column, not a dry place" in page and 'id="climate-rain"' not in page
    assert "no data" not in page and 'id="climate-balance"' not in page
    for head, rows in ((month_head(summary), month_rows(summary)), (ranking_head(summary), ranking_rows(summary))):
        assert not [title for title in head if "ain" in title or "now" in title or "index" in title]
        assert {len(row) for row in rows} == {len(head)}
    months = month_rows(summary)
    kept = MONTH_HEAD.index("Sun kWh/m²")
    assert [row[kept] for row in months] == [f"{float(value):.0f}" for value in summary["sun"].values]
    assert [row[kept + 1] for row in months] == [f"{float(value):.0f}" for value in summary["undercooled_hours"].values]


def test_labels_keep_off_each_other_and_off_other_points():
    from cavity.report.climate_page import label_places

    # three points on top of each other, as the walls facing north in a climate whose rain comes from the south-west
    x = np.array([2.10, 2.22, 2.25, 4.9, 5.1])
    y = np.array([5.0, 0.0, 38.0, 626.0, 546.0])
    labels = ["N", "NNE", "NNW", "SW", "SSW"]
    places = label_places(x, y, labels)
    assert len(set(places[:3])) == 3  # not all above
    far = label_places(np.arange(5.0), np.arange(5.0), labels)
    assert far == ["top center"] * 5
    same = label_places(np.zeros(2), np.zeros(2), ["A", "B"])
    assert same[0] != same[1]


# ---- fictitious climates ---------------------------------------------------------------------------------------------
@pytest.fixture(scope="module")
def recipe():
    sys.path.insert(0, str(wf.CLIMATES))
    try:
        import make_climates
    finally:
        sys.path.pop(0)
    return make_climates


@pytest.mark.parametrize("name", ["cool_marine", "hot_humid"])
def test_the_recipe_makes_the_same_bytes(recipe, name):
    climate = next(one for one in recipe.CLIMATES if one.file == name)
    assert recipe.make(climate).encode("ascii") == (wf.CLIMATES / f"{name}.epw").read_bytes()


@pytest.mark.parametrize("name", NAMES)
def test_a_fictitious_climate_is_labelled_and_has_its_monthly_figures(recipe, climates, name):
    climate = next(one for one in recipe.CLIMATES if one.file == name)
    weather = climates[name]
    text = (wf.CLIMATES / f"{name}.epw").read_text("ascii")
    assert "fictitious" in text.splitlines()[0] and "FICTITIOUS climate: no such place" in text.splitlines()[5]
    assert weather.attrs["invented"] == 1 and "fictitious" in weather.attrs["name"] and weather.attrs["has_rain"] == 1
    assert json.loads(weather.attrs["warnings"]) == []
    assert len(text) < 900_000
    month = weather["time"].dt.month.values
    celsius = weather["temperature_outdoor"].values - 273.15
    rain = weather["rain"].values * 3600.0
    for i in range(12):
        here = month == i + 1
        # what is left of a month's weather after the recipe has taken 70 % of its anomaly away: up to half a deviation
        allowed = 0.4 + 0.5 * max(climate.anomaly)
        assert abs(celsius[here].mean() - climate.temperature[i]) < allowed
        # the depth column holds all precipitation, snow melted; amounts are rounded to 0.1 mm
        assert rain[here].sum() == pytest.approx(climate.rain[i], abs=0.05 * (rain[here] > 0).sum() + 0.05)
        assert abs(weather["wind_speed"].values[here].mean() - climate.wind[i]) < 0.35 * climate.wind[i]


def test_the_cold_climates_have_snow_and_the_warm_ones_none(climates, summaries):
    # what falls below -3 degC of wet bulb is snow; the cold climates have hundreds of hours of it, so that tests see it
    frost = {
        name: int(((w["rain"].values > 0.0) & (w["temperature_outdoor"].values < 270.15)).sum())
        for name, w in climates.items()
    }
    assert frost["cold_humid"] > 250 and frost["cold_dry_continental"] > 150 and frost["temperate_inland"] > 10
    assert frost["hot_humid"] == frost["hot_dry"] == 0
    snow = {name: float(summary["snow"].sum()) for name, summary in summaries.items()}
    assert snow["cold_humid"] > 350.0 and snow["hot_humid"] == 0.0
    for name, summary in summaries.items():
        falls = float(climates[name]["rain"].sum() * 3600.0)
        assert snow[name] + float(summary["rain"].sum()) == pytest.approx(falls, rel=1e-9)  # rounding
        assert ("Snow (" in summary.attrs["sentence"]) == (snow[name] >= 0.5)


@pytest.mark.parametrize("name", NAMES)
def test_a_fictitious_climate_hangs_together(climates, name):
    import pvlib

    from cavity.climate.on_wall import sun_position

    weather = climates[name]
    values = {key: weather[key].values for key in weather.data_vars}
    celsius, rain = values["temperature_outdoor"] - 273.15, values["rain"] * 3600.0
    assert (humid.table_dew_point(values["vapour_pressure_outdoor"]) <= values["temperature_outdoor"] + 1e-6).all()
    # persistence: the temperature of the next hour and of the next day is mostly that of this one
    anomaly = celsius - celsius.reshape(-1, 24).mean(axis=0)[np.arange(8760) % 24]
    for lag, least in ((1, 0.95), (24, 0.6)):
        assert np.corrcoef(anomaly[lag:], anomaly[:-lag])[0, 1] > least
    # day cycle: highest in the afternoon, lowest around dawn
    july = celsius[weather["time"].dt.month.values == 7].reshape(-1, 24).mean(axis=0)
    assert 12 <= int(july.argmax()) <= 17 and 2 <= int(july.argmin()) <= 7
    # sun: the three irradiances agree, and the clear sky is not passed
    sun = sun_position(weather["time"].values, *(weather.attrs[k] for k in ("latitude", "longitude", "utc_offset")))
    cosine = np.maximum(np.cos(np.radians(sun["zenith"].values)), 0.0)
    closed = values["diffuse_horizontal"] + values["direct_normal"] * cosine
    assert np.abs(closed - values["global_horizontal"]).max() <= 0.51  # whole watts
    clear = pvlib.clearsky.haurwitz(sun["apparent_zenith"])["ghi"].to_numpy()
    assert (values["global_horizontal"] <= 1.15 * clear + 15.0).all()
    assert 0.25 < values["global_horizontal"].sum() / clear.sum() < 1.0
    # rain comes under cloud: little direct sun in wet hours of the day
    day_and_wet = (rain > 0.5) & (clear > 300.0)
    if day_and_wet.sum() > 20:
        assert values["direct_normal"][day_and_wet].mean() < 0.3 * values["direct_normal"][clear > 300.0].mean()
    # rain events last: an hour after a wet hour is much likelier to be wet than any hour
    wet = rain > 0.0
    assert (wet[1:] & wet[:-1]).sum() / wet.sum() > 4.0 * wet.mean()
    # the sky is colder than the air, and coldest when it is clear
    sky = (values["infrared_horizontal"] / 5.670374419e-8) ** 0.25 - 273.15
    assert (celsius - sky).min() > -0.5 and 1.5 < (celsius - sky).mean() < 30.0


@pytest.mark.parametrize(
    ("name", "sector"), [("cool_marine", 230), ("cold_humid", 110), ("hot_humid", 225), ("temperate_inland", 270)]
)
def test_rain_comes_with_the_wind_of_its_sector(climates, name, sector):
    weather = climates[name]
    rain, way = weather["rain"].values, np.radians(weather["wind_direction"].values)
    driven = np.degrees(np.arctan2((rain * np.sin(way)).sum(), (rain * np.cos(way)).sum())) % 360.0
    turn = abs(driven - sector)
    assert min(turn, 360.0 - turn) < 25.0
