"""The monthly method beside the hourly run: carried in the result, set in the report, and explained."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

import cavity
from cavity.published.hourly_convergence import made_up_weather
from cavity.report.companion import companion, hourly_water, sentence
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
    direct = monthly(wall, weather, opening_set=dataset.attrs["opening_set"], depth=dataset.attrs["depth"])
    assert found["peak"] == pytest.approx(direct.year.peak, rel=1e-12)
    assert found["u_value"] == pytest.approx(direct.u_value.u_value, rel=1e-12)
    assert found["ventilation_class"] == dataset.attrs["iso6946_class"]  # two ways to the same rule
    assert max(found["held"]) == pytest.approx(found["peak"]) and len(found["held"]) == 12


def test_a_part_of_a_year_has_no_monthly_result():
    wall = parse_wall(starter())
    wall = dataclasses.replace(wall, run=dataclasses.replace(wall.run, max_years=1, segments=1, start_month=2))
    dataset = cavity.simulate(wall, made_up_weather(2))
    assert dataset.attrs["monthly"] == ""
    assert companion([SimpleNamespace(climate_name="a", opening_set="b", dataset=dataset)]) is None


def test_water_of_the_hourly_run_is_summed_behind_the_cavity(year):
    _wall, _weather, dataset = year
    found = hourly_water(dataset)
    backup = dataset["water"].where(dataset["layer_part"] == "backup", drop=True)
    total = backup.sum("layer").isel(segment=0)
    assert found["swing"] == pytest.approx(float(total.max() - total.min()), rel=1e-9)
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
    assert "beside the hourly run" in text and "Why the monthly and the hourly result differ" in text


@pytest.mark.parametrize(
    ("peak", "hours", "film", "words"),
    [
        (0.05, 0, 0.0, "take the same moisture up"),
        (0.05, 12, 0.0, "in 12 hours"),
        (0.0, 12, 0.0, "Monthly means stay above"),
        (0.0, 0, 0.0, "Both find no condensation"),
        (0.0, 0, 0.02, "leaves cladding and cavity out"),
    ],
)
def test_the_difference_is_put_in_words(peak, hours, film, words):
    by_month = {"peak": peak, "plane": "OSB | insulation", "ventilation_class": "well ventilated"}
    hourly = {"wet_hours": hours, "layer": "OSB", "film": film, "swing": 0.1, "gain": 0.0}
    assert words in sentence(by_month, hourly)
