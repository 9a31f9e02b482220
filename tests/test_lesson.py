"""Lessons: each step changes one thing only, the numbers are those of the Dataset, the page tells them."""

import base64
import shutil
import subprocess
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
from cavity.report import lesson_page, lesson_scene, pdf
from cavity.study import lesson
from cavity.study.wetting import wetting_event
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
        "openings": {".opening_sets.openings.gross_area", ".opening_sets.openings.clear_height"},
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
    gaps = [run.wall.opening_sets[0].rails[0] for run in mine["rails"][:-1]]
    assert mine["rails"][-1].label == "no rails" and mine["rails"][-1].wall.opening_sets[0].rails == ()
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

    def drying(k):
        return lesson.Drying("sheathing", 0.5, tuple(0.5 * 0.5 ** (day * k / 40) for day in range(1, 366)))

    def shape(k):
        return lesson.Shape(0.01 * k, 6.0, 0.008, 0.0 if k == 1 else 0.002 * k, 0.0 if k == 1 else 0.002 * k)

    steps = tuple(
        replace(step(f"{10 * k} mm", k), excess=400.0 / k, inner=0.9 - 0.1 * k, shape=shape(k),
                drying=drying(k) if key == "drying" else None)
        for k in (1, 2, 4)
    )  # fmt: skip
    return lesson.Lesson(key, lesson.QUANTITIES[key], steps)


def test_every_lesson_has_its_text_equation_question_and_figure(tmp_path):
    made = [made_up(key) for key in lesson.QUANTITIES]
    page = lesson_page.write_lesson(
        made, tmp_path / "l.html", wall_name="<Wall>", climate_name="Plain", invented=["wall"]
    )
    text = page.read_text("utf-8")
    assert text.count('<details class="answer') == 12 and text.count('class="plot"') == 12 and "&lt;Wall&gt;" in text
    assert text.count('<figure class="scene') == 3 * 12 and text.count('type="range"') == 12
    assert "has no rain" not in text
    dry = lesson_page.write_lesson(made, tmp_path / "d.html", wall_name="Wall", climate_name="Dry", rain=False)
    assert "The weather file has no rain" in dry.read_text("utf-8")
    assert "can carry fire" in text and "The wall is fictitious." in text
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
    assert figure.layout.annotations[1].text.startswith("Air change rate [per hour]")
    opening, lines = lesson_page.computed(one)
    assert "from 10 mm to 40 mm" in opening and "median air change rate from 40 to 10 per hour" in lines
    assert "back of the cladding below the dew point from 100 to 400 h" in lines


def test_a_maximum_in_between_is_part_of_what_the_numbers_say():
    rates = (40.0, 90.0, 50.0)
    steps = tuple(replace(step, rate=rate) for step, rate in zip(made_up().steps, rates, strict=True))
    _, lines = lesson_page.computed(replace(made_up(), steps=steps))
    assert "median air change rate from 40 to 50 per hour, highest 90 at 20 mm" in lines
    low = tuple(replace(step, rate=100.0 - step.rate) for step in steps)
    assert "from 60 to 50 per hour, lowest 10 at 20 mm" in lesson_page.computed(replace(made_up(), steps=low))[1][1]
    level = tuple(replace(step, rate=7.0) for step in steps)
    assert "7 per hour throughout" in lesson_page.computed(replace(made_up(), steps=level))[1][1]
    kinds = replace(made_up("blind"), steps=steps)
    assert "40 per hour (10 mm), 90 per hour (20 mm), 50 per hour (40 mm)" in lesson_page.computed(kinds)[1][1]


@pytest.mark.parametrize("depth", [0.025, 0.030, 0.2])
def test_the_base_case_is_a_step_of_its_lessons_and_named(wall, weather, depth):
    odd = replace(wall, cavity=replace(wall.cavity, depth=depth), solar_absorptance=0.63)
    runs = lesson.plan(odd, weather, SET)
    for key in ("depth", "openings", "height", "wind", "sun", "colour", "rails", "blind", "night", "drying", "brick"):
        (base,) = [run for run in runs if run.key == key and run.base]
        if key in ("depth", "openings", "wind", "sun", "colour", "rails", "blind"):
            assert base.depth == depth and base.wall == lesson.plain_column(odd, SET)
            assert all(np.array_equal(base.weather[name], weather[name]) for name in weather)
    assert len([run for run in runs if run.key == "depth"]) == 5
    page = lesson_page._table(
        replace(made_up(), steps=tuple(replace(step, base=step.value == 20) for step in made_up().steps))
    )
    assert [row[0] for row in page["rows"]] == ["10 mm", "20 mm (base case)", "40 mm"]


def test_brick_faces_the_midday_sun_on_either_side_of_the_equator(wall, weather):
    for latitude, orientation in ((45.0, 180.0), (-35.0, 0.0)):
        runs = lesson.plan(wall, weather.assign_attrs(latitude=latitude), SET)
        assert {run.wall.orientation for run in runs if run.key == "brick"} == {orientation}


def test_what_is_asked_of_the_drying_water_is_all_of_it(wall, winter):
    """What went with the air, ran off the cladding and went into the room is what is no longer there."""
    from cavity.study.engine import Engine, Job
    from cavity.study.wetting import wetting_events

    runs = [run for run in lesson.plan(wall, winter, SET) if run.key == "drying"]
    jobs = [Job(run.wall.case(depth=run.depth), run.weather) for run in (runs[0], runs[-1])]
    with Engine(2) as engine:
        closed, open_ = wetting_events(engine, jobs)
    for event in (closed, open_):
        gone = event.amount - event.as_drawn[-1]
        # of the mean of the last hour and the end of the run there is half an hour of drying
        assert sum(lesson._ways(event)) == pytest.approx(gone, abs=2e-3)
    vented, condensed, _ = lesson._ways(closed)
    assert vented == pytest.approx(0.0, abs=1e-6) and condensed > 0.0
    assert lesson._ways(open_)[0] > 5 * vented + 0.01 and lesson._ways(open_)[1] < condensed


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
    wetted = [run for run in runs if run.key == "drying"]
    every = len(runs) + 4 * len(wetted)  # each wetted and dry, as drawn and closed
    assert [count for count, _, _ in told] == list(range(1, every + 1)) and {whole for _, whole, _ in told} == {every}
    assert {name for _, _, name in told} == {f"{lesson.QUANTITIES[run.key]}: {run.label}" for run in runs} | {"Drying"}
    for run, step in list(zip(runs, steps, strict=True))[::5]:
        ds = cavity.simulate(run.wall, run.weather, depth=run.depth)
        assert replace(step, drying=None, base=False) == lesson.readings(run.label, ds, run.value)
    assert len({step.rate for step in steps}) > len(runs) // 2  # the runs differ
    # the curve of an opening is that of a wetting event of the same wall
    last = next(one for one in done if one.key == "drying").steps[-1]
    event = wetting_event(wetted[-1].wall, winter, depth=wetted[-1].depth)
    assert last.drying.left == pytest.approx(event.as_drawn[23::24], rel=1e-12)
    assert (last.drying.layer, last.drying.brought) == (event.layer, event.amount)
    assert all((step.drying is None) == (run.key != "drying") for run, step in zip(runs, steps, strict=True))


def test_the_night_lesson_names_the_opening_with_the_smallest_film():
    steps = [replace(step, film=film) for step, film in zip(made_up("night").steps, (8e-3, 4e-3, 7e-3), strict=True)]
    (said,) = lesson_page._extremes(replace(made_up("night"), steps=tuple(steps)))
    assert "8.0 g/m², occurs with 10 mm" in said and "the smallest, 4.0 g/m², with 20 mm" in said
    assert "fewest with 10 mm (100 h)" in said and lesson_page._extremes(made_up("depth")) == []
    dry = tuple(replace(step, dew_hours=0.0, film=0.0) for step in steps)
    (said,) = lesson_page._extremes(replace(made_up("night"), steps=dry))
    assert "never below the dew point" in said and "most" not in said
    hours = tuple(replace(step, film=0.0) for step in steps)
    assert "no film" in lesson_page._extremes(replace(made_up("mass"), steps=hours))[0]
    assert "lowers the median flow by 50 %" in lesson_page._extremes(replace(
        made_up("openings"), steps=tuple(replace(step, flow=flow) for step, flow in zip(steps, (1, 4, 2), strict=True))
    ))[0]  # fmt: skip


def test_steps_are_drawn_at_their_true_distance_and_kinds_are_not_joined():
    assert list(lesson_page.figure(made_up("depth")).data[0].x) == [10.0, 20.0, 40.0]
    kinds = lesson_page.figure(made_up("blind"))
    assert list(kinds.data[0].x) == ["10 mm", "20 mm", "40 mm"] and kinds.data[0].mode == "markers"


def test_days_until_a_fraction_has_dried_for_good():
    left = (0.4, 0.24, 0.3, 0.2, 0.06, 0.04)  # at the end of each day; it rises once more above the half
    drying = lesson.Drying("board", 0.5, left)
    assert drying.days(0.5) == 4 and drying.days(0.9) == 6 and np.isnan(drying.days(0.95))
    assert lesson.Drying("board", 0.5, (0.1, 0.0)).days(0.5) == 1


def test_drying_and_brick_begin_closed_and_change_the_vents_alone(runs):
    for key, count in (("drying", 6), ("brick", 5)):
        mine = [run for run in runs if run.key == key]
        assert mine[0].label == "closed" and mine[0].wall.opening_sets[0].openings == () and len(mine) == count
        areas = [sum(each.free_area for each in run.wall.opening_sets[0].openings) for run in mine]
        assert areas == sorted(areas) and areas[0] == 0.0
        for run in mine[2:]:
            fields = changed(asdict(mine[1].wall), asdict(run.wall))
            assert fields <= {".opening_sets.openings.gross_area", ".opening_sets.openings.clear_height"}
            assert run.weather is mine[0].weather
    tight = next(run.wall for run in runs if run.key == "drying")
    assert all(layer.material.metal for layer in tight.cladding)  # closed, it leaves no way outwards
    brick = next(run.wall for run in runs if run.key == "brick")
    assert brick.orientation == 180.0 and "brick" in brick.cladding[0].material.name
    assert any(layer.name == "vapour retarder" for layer in brick.backup)


def test_readings_behind_brick_are_those_of_the_dataset():
    ds = make_dataset(hours=24 * 40)
    step = lesson.readings("x", ds)
    bright = ds["sun_on_wall"].values >= np.quantile(ds["sun_on_wall"].values, 0.9)
    excess = ds["cavity_vapour_pressure"].values.mean(axis=1) - ds["vapour_pressure_outdoor"].values
    assert step.excess == pytest.approx(excess[bright].mean(), rel=1e-12)
    face = [str(name) for name in ds["face"].values].index("mineral wool | vapour retarder")
    humid = ds["relative_humidity"].values[:, :, face].astype(float)
    means = [humid[start : start + 720].mean(axis=0).max() for start in range(len(humid) - 719)]
    assert step.inner == pytest.approx(max(means), rel=1e-9)
    assert step.shape.depth == ds.attrs["depth"] and step.shape.height == 3.0
    assert step.shape.base + step.shape.head == pytest.approx(float(ds["opening_area"].sum()))


def test_figures_of_drying_and_brick_hold_the_computed_numbers():
    made = made_up("drying")
    figure = lesson_page.figure(made)
    assert [trace.name for trace in figure.data] == ["10 mm", "20 mm", "40 mm"]
    assert figure.data[1].y[0] == 100.0 and figure.data[1].y[20] == pytest.approx(50.0)
    assert lesson_page.marks(made) == {"traces": [0, 1, 2]} and lesson_page.marks(made_up("depth"))["x"] == [10, 20, 40]
    assert lesson_page.marks(made_up("blind"))["x"] == [0, 1, 2]
    table = lesson_page._table(made)
    assert table["rows"][4] == [20, "70.7", "50.0", "25.0"]
    assert "20 mm: 50 % after 20 d, 90 % after 67 d" in lesson_page.computed(made)[1]
    ways = replace(made.steps[0], drying=replace(made.steps[0].drying, vented=0.3, condensed=2e-4, indoors=0.12))
    assert lesson_page.computed(replace(made, steps=(ways,)))[1] == [
        "10 mm: 50 % after 40 d, 90 % after 133 d; 300 g/m² with the cavity air, 120 g/m² into the room"
    ]
    brick = lesson_page.figure(made_up("brick"))
    assert list(brick.data[1].y) == [400.0, 200.0, 100.0] and list(brick.data[2].y) == pytest.approx([80, 70, 50])
    assert "from 400 to 100 Pa" in lesson_page.computed(made_up("brick"))[1][1]
    night = lesson_page.figure(made_up("night"))
    assert list(night.data[1].y) == [100.0, 200.0, 400.0] and list(night.data[2].y) == pytest.approx([20, 40, 80])


# ---- the drawing -----------------------------------------------------------------------------------------------------
def drawn(key, at, **changes):
    made = made_up(key)
    steps = tuple(replace(step, **changes) if n == at else step for n, step in enumerate(made.steps))
    made = replace(made, steps=steps)
    return ET.fromstring(lesson_scene.scene(made, steps[at]))


def by_class(svg, name):
    return [node for node in svg.iter() if name in node.attrib.get("class", "").split()]


def test_the_drawing_follows_depth_flow_and_water():
    walls = [float(by_class(drawn("depth", at), "wall")[0].attrib["x"]) for at in range(3)]
    assert walls[2] - walls[1] == pytest.approx(2 * (walls[1] - walls[0]), rel=0.01)  # 10, 20 and 40 mm
    widths = [float(by_class(drawn("depth", at), "air")[0].attrib["stroke-width"]) for at in (1, 2)]
    assert widths[1] > widths[0]
    assert [len(by_class(drawn("depth", at), "drop")) for at in range(3)] == [3, 5, 10]
    assert not by_class(drawn("depth", 1, film=0.0), "drop")


def test_the_arrow_turns_with_the_air_and_is_gone_where_there_is_no_way_through():
    up, down = (
        by_class(drawn("openings", 1, upward=share), "air")[0].attrib["d"].removeprefix("M").split("L")
        for share in (0.9, 0.1)
    )
    assert up == down[::-1] and float(up[0].split()[1]) > float(up[-1].split()[1])  # from below upwards
    assert not by_class(drawn("drying", 0), "air") and not by_class(drawn("drying", 0), "vent")
    one = drawn("blind", 1, shape=lesson.Shape(0.03, 6.0, 0.008, 0.02, 0.0))
    assert len(by_class(one, "vent")) == 1 and len(by_class(one, "head")) == 2  # in and out of the one vent
    assert "no way through" in drawn("drying", 0).attrib["aria-label"]


def test_no_part_of_a_low_cavity_with_large_vents_is_drawn_upside_down():
    low = lesson.Shape(0.03, 0.9, 0.008, 0.2, 0.2)
    for node in drawn("height", 1, shape=low).iter():
        assert float(node.attrib.get("height", 1)) >= 0.0, node.attrib


def test_vapour_is_driven_inwards_as_the_cavity_is_damper():
    def widths(**changes):
        return [float(node.attrib["stroke-width"]) for node in by_class(drawn("brick", 1, **changes), "vapour")]

    assert widths()[0] > widths(excess=50.0)[0] > 0 and widths(excess=-5.0) == []
    assert by_class(drawn("brick", 1), "brick") and by_class(drawn("night", 1), "moon")


def test_the_gap_between_rail_ends_is_drawn_to_scale_and_no_rails_are_not_drawn():
    bars = [float(node.attrib["width"]) for node in by_class(drawn("rails", 1), "rail")]
    assert sum(bars[:2]) / 112.0 == pytest.approx((600.0 - 20.0) / 600.0, abs=1e-4)  # 20 mm of a bay of 600 mm
    assert by_class(drawn("rails", 1), "crossed") and not by_class(drawn("rails", 1, value=600.0), "crossed")
    assert by_class(drawn("blind", 1), "glass") and not by_class(drawn("depth", 1), "glass")


# ---- in the browser --------------------------------------------------------------------------------------------------
@pytest.fixture(scope="module")
def page(tmp_path_factory):
    made = [made_up(key) for key in lesson.QUANTITIES]
    base = lesson.base_case(parse_wall(starter(), "starter"), SET)
    return lesson_page.write_lesson(
        made, tmp_path_factory.mktemp("l") / "l.html", wall_name="Wall", climate_name="Plain", base=base
    )


@pytest.fixture(scope="module")
def browser():
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = pdf.find_browser()
    for switch in ("--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run"):
        options.add_argument(switch)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    made = webdriver.Chrome(options=options, service=Service(shutil.which("chromedriver")))
    made.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride", {"width": 1366, "height": 768, "deviceScaleFactor": 1, "mobile": False}
    )
    yield made
    made.quit()


def opened(browser, page):
    browser.get(page.as_uri())
    browser.set_script_timeout(120)
    browser.execute_async_script(
        "const done = arguments[0]; const wait = () => document.documentElement.dataset.ready === '1' ? done()"
        " : setTimeout(wait, 100); wait()"
    )


@pytest.mark.browser
@pytest.mark.skipif(pdf.find_browser() is None or shutil.which("chromedriver") is None, reason="no Chromium")
class TestInTheBrowser:
    def test_slider_moves_drawing_readings_and_mark(self, browser, page):
        opened(browser, page)
        for key, part in (("depth", 1), ("drying", 11)):
            move = (
                "const s = document.getElementById(arguments[0]); s.value = arguments[1];"
                "s.dispatchEvent(new Event('input'))"
            )
            browser.execute_script(move, f"step-{key}", "2")
            shown = browser.find_elements("css selector", f"#part-{part} .scene")
            assert [each.is_displayed() for each in shown] == [False, False, True]
            assert browser.find_element("css selector", f"#part-{part} output").text == "40 mm"
            assert browser.find_element("id", f"step-{key}").get_attribute("aria-valuetext") == "40 mm"
        browser.execute_async_script("requestAnimationFrame(() => setTimeout(arguments[0], 100))")
        mark = browser.execute_script("return document.getElementById('fig-depth').layout.shapes.at(-1)")
        assert (mark["x0"], mark["x1"], mark["yref"]) == (40, 40, "y3 domain")
        wide = browser.execute_script("return document.getElementById('fig-drying').data.map(t => t.line.width)")
        assert wide[2] > 2 * wide[0] == 2 * wide[1]

    def test_presentation_fits_the_screen_with_question_and_answer(self, browser, page):
        from selenium.webdriver.common.keys import Keys

        opened(browser, page)
        browser.find_element("id", "present").click()
        body = browser.find_element("tag name", "body")
        for number, key in enumerate(lesson.QUANTITIES, 1):
            on = browser.find_element("css selector", "section.on")
            assert on.get_attribute("id") == f"part-{number}"
            assert on.find_element("class name", "ask").text == lesson_page._TEXTS[key].question
            assert not on.find_element("class name", "reply").is_displayed()
            body.send_keys("+")
            assert on.find_element("tag name", "output").text == "20 mm"
            for answered in (False, True):
                if answered:
                    body.send_keys(" ")
                    reply = on.find_element("class name", "reply")
                    assert lesson_page._TEXTS[key].why in reply.text
                    size = float(reply.value_of_css_property("font-size").removesuffix("px"))
                    assert size >= 18, (key, size)
                    ends = browser.execute_script(
                        "const r = arguments[0]; return r.getBoundingClientRect().top + r.scrollHeight", reply
                    )
                    assert ends <= 768, (key, ends)
                lowest = browser.execute_script(
                    "return Math.max(...[...document.querySelectorAll('section.on, section.on *')]"
                    ".filter((e) => e.getClientRects().length && !e.closest('.plot'))"
                    ".map((e) => e.getBoundingClientRect().bottom))"
                )
                assert lowest <= 768, (key, answered, lowest)
                assert browser.execute_script("return document.documentElement.scrollWidth") <= 1366
            body.send_keys(Keys.ARROW_RIGHT)
        body.send_keys(Keys.ESCAPE)
        assert (
            len([each for each in browser.find_elements("css selector", "section.lesson") if each.is_displayed()]) == 12
        )
        assert not [entry for entry in browser.get_log("browser") if entry["level"] in ("SEVERE", "WARNING")]

    @pytest.mark.skipif(shutil.which("pdftotext") is None, reason="no poppler-utils")
    def test_handout_has_no_answers_and_the_sheet_of_the_teacher_has_them(self, browser, page, tmp_path):
        opened(browser, page)
        texts = []
        for name in ("handout", "teacher"):
            made = browser.execute_cdp_cmd("Page.printToPDF", {"printBackground": True})
            path = tmp_path / f"{name}.pdf"
            path.write_bytes(base64.b64decode(made["data"]))
            text = subprocess.run(["pdftotext", "-layout", path, "-"], capture_output=True, check=True).stdout.decode()
            texts.append(" ".join(text.split()))
            browser.find_element("id", "answers").click()
        for each in lesson_page._TEXTS.values():
            assert each.question in texts[0] and each.question in texts[1]
            start = " ".join(each.why.split()[:8])
            assert start not in texts[0] and start in texts[1], start
        assert "Computed here" not in texts[0] and texts[1].count("Computed here") >= 12
        assert "Page 1 of" in texts[0] and "Data of this figure" not in texts[0]
