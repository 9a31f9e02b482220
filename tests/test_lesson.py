"""Lessons: each step changes one thing only, the numbers are those of the Dataset, the page tells them."""

import xml.etree.ElementTree as ET
from dataclasses import asdict, replace

import numpy as np
import pytest
import xarray as xr
from click.testing import CliRunner
from dataset_factory import make_dataset

import cavity
from cavity.cli import main
from cavity.errors import InputError
from cavity.report import lesson_page
from cavity.study import lesson
from cavity.wallfile import parse_wall, starter

SET = "10 mm slots"


@pytest.fixture(scope="module")
def wall():
    return parse_wall(starter(), "starter")


@pytest.fixture(scope="module")
def weather():
    names = ("wind_speed", "global_horizontal", "direct_normal", "diffuse_horizontal", "temperature_outdoor")
    return xr.Dataset({name: ("time", np.arange(3.0) + 1.0, {"units": "x"}) for name in names})


@pytest.fixture(scope="module")
def runs(wall, weather):
    return lesson.plan(wall, weather, SET)


def changed(one, other, path=""):
    """Return the paths of the fields in which two nested dicts differ."""
    if isinstance(one, dict) and isinstance(other, dict):
        return {p for key in one for p in changed(one[key], other[key], f"{path}.{key}")}
    if isinstance(one, (tuple, list)) and isinstance(other, (tuple, list)) and len(one) == len(other):
        return {p for pair in zip(one, other, strict=True) for p in changed(*pair, path)}
    return set() if one == other else {path}


def test_each_lesson_changes_one_thing_of_the_wall_or_the_weather(runs, wall, weather):
    allowed = {
        "depth": set(),
        "openings": {".opening_sets.openings.free_area", ".opening_sets.openings.clear_height"},
        "height": {".columns.top", ".opening_sets.openings.height"},
        "wind": set(),
        "sun": set(),
        "colour": {".solar_absorptance"},
    }
    for key, fields in allowed.items():
        mine = [run for run in runs if run.key == key]
        assert len(mine) >= 3 and len({run.label for run in mine}) == len(mine)
        for run in mine[1:]:
            assert changed(asdict(mine[0].wall), asdict(run.wall)) <= fields
            moved = {name for name in weather if not np.array_equal(run.weather[name], mine[0].weather[name])}
            assert moved == {
                "wind": {"wind_speed"},
                "sun": {"global_horizontal", "direct_normal", "diffuse_horizontal"},
            }.get(key, set())
            assert (run.depth != mine[0].depth) == (key == "depth")
    heavy = [run.wall for run in runs if run.key == "mass"]
    assert len({each.backup for each in heavy}) == 1 and len({each.opening_sets for each in heavy}) == 1
    mass = [each.cladding[0].thickness * each.cladding[0].material.density for each in heavy]
    assert mass == sorted(mass) and mass[-1] > 10 * mass[0]


@pytest.mark.parametrize(("method", "power"), [("ISO 15927-3", 8 / 9), ("ASHRAE 160", 1.0)])
def test_more_wind_brings_no_more_rain_to_the_wall(weather, method, power):
    rainy = weather.assign(rain=("time", np.array([0.0, 0.5, 4.0])))
    for factor in (0.1, 1.5):
        blown = lesson.windier(rainy, factor, method)
        reached = [each["wind_speed"].values * each["rain"].values ** power for each in (rainy, blown)]
        assert reached[1] == pytest.approx(reached[0], rel=1e-12)
        assert blown["wind_speed"].values == pytest.approx(factor * rainy["wind_speed"].values)


def test_rails_blind_ends_and_nights_change_what_they_say(runs, wall):
    mine = {key: [run for run in runs if run.key == key] for key in ("rails", "blind", "night")}
    gaps = [run.wall.opening_sets[0].rails[0] for run in mine["rails"]]
    assert [rail.gap for rail in gaps] == sorted(rail.gap for rail in gaps)
    assert gaps[0].heights == pytest.approx([0.6 * k for k in range(1, 10)])
    heights = {run.label: [each.height for each in run.wall.opening_sets[0].openings] for run in mine["blind"]}
    assert heights == {"base and head": [0.0, 6.0], "base only": [0.0], "head only": [6.0], "none": []}
    assert all(run.wall.cladding[0].material.metal for run in mine["night"])
    assert [run.value for run in mine["night"]] == sorted(run.value for run in mine["night"])
    base = lesson.base_case(wall, SET)
    assert f"“{SET}”" in base and f"{1e3 * wall.cavity.depth:g} mm" in base


def test_weather_keeps_its_units_when_scaled(weather):
    half = lesson.scaled_weather(weather, ("wind_speed",), 0.5)
    assert half["wind_speed"].attrs == {"units": "x"}
    assert half["wind_speed"].values == pytest.approx(0.5 * weather["wind_speed"].values, rel=1e-15)


def test_head_opening_goes_up_with_the_column_and_the_building_does_not(runs):
    mine = [run.wall for run in runs if run.key == "height"]
    assert [each.columns[0].height for each in mine] == [3.0, 6.0, 12.0, 20.0]
    for each in mine:
        assert max(opening.height for opening in each.opening_sets[0].openings) == each.columns[0].top
    assert len({each.site for each in mine}) == 1


def test_rails_barriers_and_openings_part_way_up_are_left_out(wall):
    first = wall.opening_set(SET).openings[0]
    joint = replace(first, name="joint", height=3.0)
    more = replace(wall.opening_set(SET), openings=(*wall.opening_set(SET).openings, joint))
    plain = lesson.plain_column(replace(wall, opening_sets=(more,)), SET)
    assert plain.rails == plain.barriers == () and plain.opening_sets[0].rails == ()
    assert [opening.height for opening in plain.opening_sets[0].openings] == [0.0, 6.0]
    assert plain.run.max_years == 1


def test_a_set_without_head_vent_is_refused(wall):
    base = replace(wall.opening_set(SET), openings=wall.opening_set(SET).openings[:1])
    with pytest.raises(InputError, match="does not open both base and head"):
        lesson.plain_column(replace(wall, opening_sets=(base,)), SET)


def test_readings_are_those_of_the_dataset():
    ds = make_dataset(hours=240, depth=0.03, metal=True)
    ds["air_change_rate"][:] = 12.0
    sun = ds["sun_on_wall"].values
    ds["cavity_temperature"][:] = ds["temperature_outdoor"] + 5.0 * (sun >= np.quantile(sun, 0.9))
    step = lesson.readings("x", ds)
    assert step.warm == pytest.approx(5.0, rel=1e-9)  # in the sunniest tenth only
    assert (step.rate, step.rate_low, step.rate_high) == (12.0, 12.0, 12.0)
    # 12 changes an hour of 0.03 m x 3 m: 1.08 m3/(h m) = 0.3 l/(s m)
    assert step.flow == pytest.approx(0.3, rel=1e-12)
    back = list(ds["face_role"].values).index("back of cladding")
    assert step.dew_hours == (ds["dew_point_margin"].values[:, :, back] < 0).any(axis=1).sum() > 0
    # an hour in which rain wets the face is not dew
    hour = int(np.argmax((ds["dew_point_margin"].values[:, :, back] < 0).any(axis=1)))
    ds["film_by_rain"].values[hour, :, back] = 1e-5
    assert lesson.readings("x", ds).dew_hours == step.dew_hours - 1
    assert step.film == ds.sel(film_face="back of cladding")["film"].values.max()


def made_up(key="depth"):
    def step(label, k):
        return lesson.Step(
            label, 0.5 * k, 40.0 / k, 10.0 / k, 90.0 / k, 0.7, 100.0 * k, 2000.0 / k, 0.02 * k, 3.0, 10.0 * k
        )

    return lesson.Lesson(key, lesson.QUANTITIES[key], tuple(step(f"{10 * k} mm", k) for k in (1, 2, 4)))


def test_every_lesson_has_its_text_equation_question_and_figure(tmp_path):
    made = [made_up(key) for key in lesson.QUANTITIES]
    page = lesson_page.write_lesson(
        made, tmp_path / "l.html", wall_name="<Wall>", climate_name="Plain", invented=["wall"]
    )
    text = page.read_text("utf-8")
    assert text.count('<details class="answer">') == 10 and text.count('class="plot"') == 10 and "&lt;Wall&gt;" in text
    assert "has no rain" not in text
    dry = lesson_page.write_lesson(made, tmp_path / "d.html", wall_name="Wall", climate_name="Dry", rain=False)
    assert "The weather file has no rain" in dry.read_text("utf-8")
    assert "can carry fire" in text and "The wall is invented." in text
    for key in lesson.QUANTITIES:
        root = ET.fromstring(lesson_page._TEXTS[key].equation)
        assert root.tag == "math" and root.attrib["aria-label"]
        assert lesson_page._TEXTS[key].question.endswith("?")
        for letter in {node.text for node in root.iter("mi")} - {None, "∂"}:
            assert letter.strip("Δ")[0] in lesson_page._TEXTS[key].symbols, letter


def test_figure_and_words_tell_the_computed_numbers():
    one = made_up()
    figure = lesson_page.figure(one)
    assert list(figure.data[1].y) == [40.0, 20.0, 10.0]
    assert list(figure.data[1].error_y.array) == [50.0, 25.0, 12.5]
    assert list(figure.data[2].y) == [100.0, 200.0, 400.0]
    assert figure.layout.yaxis2.title.text == "Air change rate [per hour]"
    said = lesson_page.told(one)
    assert "from 10 mm to 40 mm" in said and "from 40 to 10 per hour" in said and "100 to 400 h" in said


def test_command_names_the_known_sets(tmp_path):
    out = tmp_path / "l.html"
    result = CliRunner().invoke(main, ["lesson", "--climate", "x.epw", "--openings", "wide", "--out", str(out)])
    assert result.exit_code == 2 and "no such set" in result.output and SET in result.output
    assert not out.exists()


def test_lessons_read_the_simulated_year_of_each_run_and_tell_of_each(wall, winter):
    plain = replace(wall, run=replace(wall.run, segments=1))
    told = []
    done = lesson.lessons(plain, winter, opening_set=SET, progress=lambda *news: told.append(news), workers=2)
    runs = lesson.plan(plain, winter, SET)
    steps = [step for one in done for step in one.steps]
    assert [step.label for step in steps] == [run.label for run in runs]
    assert [count for count, _, _ in told] == list(range(1, len(runs) + 1))
    assert {name for _, _, name in told} == {f"{lesson.QUANTITIES[run.key]}: {run.label}" for run in runs}
    for run, step in list(zip(runs, steps, strict=True))[::5]:
        assert step == lesson.readings(run.label, cavity.simulate(run.wall, run.weather, depth=run.depth), run.value)
    assert len({step.rate for step in steps}) > len(runs) // 2  # the runs differ


def test_the_night_lesson_names_the_opening_with_the_smallest_film():
    steps = [replace(step, film=film) for step, film in zip(made_up("night").steps, (8e-3, 4e-3, 7e-3), strict=True)]
    (said,) = lesson_page._extremes(replace(made_up("night"), steps=tuple(steps)))
    assert "8.0 g/m², stands with 10 mm" in said and "the smallest, 4.0 g/m², with 20 mm" in said
    assert "fewest with 10 mm (100 h)" in said and lesson_page._extremes(made_up("depth")) == []


def test_steps_are_drawn_at_their_true_distance_and_kinds_are_not_joined():
    assert list(lesson_page.figure(made_up("depth")).data[0].x) == [10.0, 20.0, 40.0]
    kinds = lesson_page.figure(made_up("blind"))
    assert list(kinds.data[0].x) == ["10 mm", "20 mm", "40 mm"] and kinds.data[0].mode == "markers"
