"""The monthly method compared with the hourly run: carried in the result, set in the report, and explained."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

import cavity
from cavity.published.hourly_convergence import fictitious_weather
from cavity.report.digest import hourly_water, season_heat
from cavity.report.monthly_vs_hourly import companion, heat, sentence
from cavity.wall.monthly import monthly
from cavity.wallfile import parse_wall, starter

CLIMATES = Path(__file__).parents[1] / "climates"


@pytest.fixture(scope="module")
def year():
    wall = parse_wall(starter())
    wall = dataclasses.replace(wall, run=dataclasses.replace(wall.run, max_years=1, segments=1))
    weather = cavity.read_weather(CLIMATES / "cold_humid.epw")
    return wall, weather, cavity.simulate(wall, weather, opening_set="10 mm slots")


def test_the_hourly_result_carries_the_monthly_one(year):
    wall, weather, dataset = year
    found = json.loads(dataset.attrs["monthly"])
    direct = monthly(wall.case(opening_set=dataset.attrs["opening_set"], depth=dataset.attrs["depth"]), weather)
    assert found["peak"] == pytest.approx(direct.year.peak, rel=1e-12)
    assert found["u_value"] == pytest.approx(direct.u_value.u_value, rel=1e-12)
    assert found["ventilation_class"] == dataset.attrs["iso6946_class"]  # two ways to the same rule
    assert max(found["held"]) == pytest.approx(found["peak"]) and len(found["held"]) == 12


def test_a_part_of_a_year_has_no_monthly_result():
    wall = parse_wall(starter())
    wall = dataclasses.replace(wall, run=dataclasses.replace(wall.run, max_years=1, segments=1, start_month=2))
    dataset = cavity.simulate(wall, fictitious_weather(2))
    assert dataset.attrs["monthly"] == ""
    assert companion([SimpleNamespace(climate_name="a", opening_set="b", dataset=dataset)]) is None


def test_water_of_the_hourly_run_is_summed_behind_the_cavity(year):
    _wall, _weather, dataset = year
    found = hourly_water(dataset)
    backup = dataset["water"].where(dataset["layer_part"] == "backup", drop=True)
    behind = dataset["face_role"].values.tolist().index("outer face of wall")
    total = (backup.sum("layer") + dataset["face_film"].isel(face=slice(behind, None)).sum("face")).isel(segment=0)
    assert found["swing"] == pytest.approx(float(total.max() - total.min()), rel=1e-6)  # films are float32
    start = dataset["water_at_start"].where(dataset["layer_part"] == "backup", drop=True).sum()
    end = dataset["water_end_of_year"].where(dataset["layer_part"] == "backup", drop=True).isel(year=-1).sum()
    assert found["gain"] == pytest.approx(float(end - start), rel=1e-6)
    assert found["layer"] in backup["layer"].values


def test_the_report_shows_both_once_for_each_set(year):
    _wall, _weather, dataset = year
    case = SimpleNamespace(climate_name="cold", opening_set="joints", dataset=dataset)
    deeper = SimpleNamespace(climate_name="cold", opening_set="joints", dataset=dataset)
    found = companion([case, deeper])
    assert len(found["rows"]) == 1 and len(found["notes"]) >= 4
    row = found["rows"][0]
    assert row["class"] == "well ventilated" and row["u_value"][0].startswith("0.2")
    assert row["sentence"].endswith(".")
    assert "⁻" not in row["gain"][0]  # no power of ten: rounding noise is not printed
    assert np.isfinite(float(row["factor"].split(" / ")[1]))


def test_the_report_page_holds_the_table(year, tmp_path):
    wall, weather, _dataset = year
    alone = dataclasses.replace(wall, opening_sets=wall.opening_sets[:1], depths=wall.depths[:1])
    page = cavity.write_report(cavity.compare(alone, [weather]), tmp_path / "report.html")
    text = Path(page).read_text(encoding="utf-8")
    assert "compared with the hourly run" in text and "Why the monthly and the hourly result differ" in text


@pytest.mark.parametrize(
    ("peak", "hours", "film", "words"),
    [
        (0.05, 0, 0.0, "absorb the same moisture"),
        (0.05, 12, 0.0, "in 12 hours"),
        (0.0, 12, 0.0, "Monthly means stay above"),
        (0.0, 0, 0.0, "Both find no condensation"),
        (0.0, 0, 0.02, "omits cladding and cavity"),
    ],
)
def test_the_difference_is_put_in_words(peak, hours, film, words):
    by_month = {"peak": peak, "plane": "OSB | insulation", "ventilation_class": "well ventilated"}
    hourly = {"wet_hours": hours, "layer": "OSB", "film": film, "swing": 0.1, "gain": 0.0}
    assert words in sentence(by_month, hourly)


def test_heat_by_half_year_of_a_hand_made_year(year):
    """10 W/m2 out of the room in winter days, 4 W/m2 in on summer days: 24 h x days, by hand."""
    _wall, _weather, dataset = year
    ds = dataset.copy(deep=True)
    month = ds["time"].dt.month.values
    summer = np.isin(month, (5, 6, 7, 8, 9, 10))
    ds["temperature_outdoor"].values[:] = np.where(summer, 293.15, 273.15)
    ds["heat_flux_indoor"].values[:] = np.where(summer, 4.0, -10.0)[:, None]
    found = season_heat(ds)
    assert found["winter_loss"] == pytest.approx(10.0 * 3600.0 * np.count_nonzero(~summer), rel=1e-6)
    assert found["summer_gain"] == pytest.approx(4.0 * 3600.0 * np.count_nonzero(summer), rel=1e-6)
    assert found["winter_gain"] == found["summer_loss"] == 0.0


def test_heat_of_a_year_is_its_u_value_times_the_degree_hours(year):
    """Losses over the cold half-year of a cold climate: U (T_room - T_out), the sun and the sky aside."""
    _wall, _weather, ds = year
    found, u = season_heat(ds), json.loads(ds.attrs["monthly"])
    month = ds["time"].dt.month.values
    cold = np.isin(month, (11, 12, 1, 2, 3, 4)) if month.size else None
    degree = float((ds["temperature_indoor"] - ds["temperature_outdoor"]).values[cold].sum())
    # 15 %: sun on the wall lowers it, the night sky raises it, moist insulation conducts a little better
    assert found["winter_loss"] == pytest.approx(3600.0 * u["undisturbed"] * degree, rel=0.15)


def test_the_report_compares_the_heat_of_each_set_with_the_least_open_one(year):
    _wall, _weather, ds = year
    tight = ds.copy(deep=True)
    tight["opening_area"].values[:] = 1e-5
    tight["heat_flux_indoor"].values[:] += 1.0
    cases = [
        SimpleNamespace(climate_name="a", opening_set=name, dataset=one)
        for name, one in (("open", ds), ("tight", tight))
    ]
    found = heat(cases)
    assert found["reference"] == "tight" and [row["opening_set"] for row in found["rows"]] == ["open", "tight"]
    first, last = found["rows"]
    assert last["change"][0][0] == "0 kWh/m²" and first["change"][0][0].startswith("+")
    u = json.loads(ds.attrs["monthly"])
    assert u["undisturbed"] < u["framed"] == u["u_value"]  # the starter has studs
    assert first["winter_loss"] == pytest.approx(u["u_value"] / u["undisturbed"] * season_heat(ds)["winter_loss"])
    assert heat([SimpleNamespace(climate_name="a", opening_set="b", dataset=ds.assign_attrs(monthly=""))]) is None


def test_a_comparison_without_a_closed_set_computes_one_for_the_heat(year):
    wall, weather, _ds = year
    opened = dataclasses.replace(wall, opening_sets=(wall.opening_set("20 mm slots"),), depths=(0.03,))
    found = cavity.compare(opened, weather, confidence=False)
    assert [case.opening_set for case in found.closed] == ["no vents"] and len(found.cases) == 1
    rows = heat(found.cases, found.closed)
    assert rows["reference"] == "no vents" and [row["opening_set"] for row in rows["rows"]] == [
        "no vents",
        "20 mm slots",
    ]
    still, aired = rows["rows"]
    # ISO 6946: 0.13 m2K/W stand for cavity and cladding; hour by hour the aired wall loses a little more in winter, and
    # in summer the sun on the cladding heats it less
    assert still["winter_loss"] < aired["winter_loss"] < 1.15 * still["winter_loss"]
    assert aired["summer_gain"] < still["summer_gain"]
    half = cavity.compare(opened, weather.isel(time=slice(0, 48)), confidence=False)
    assert half.closed == ()
    with_closed = dataclasses.replace(wall, depths=(0.03,), opening_sets=wall.opening_sets[:1])  # nearly closed
    assert cavity.compare(with_closed, weather.isel(time=slice(0, 48)), confidence=False).closed == ()
