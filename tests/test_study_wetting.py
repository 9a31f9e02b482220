"""The wetting event on the model: what is brought in, that it leaves, and that shut vents slow it."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from test_study_size import _WOOL, small_wall

from cavity.errors import InputError
from cavity.study.engine import Engine, Job
from cavity.study.wetting import followed, wettable, wetting_event, wetting_events, without_vents
from cavity.wallfile.model import Layer


def test_the_outermost_layer_that_holds_water_is_wetted():
    wall = small_wall()
    assert wettable(wall).name == "sheathing"
    inverted = dataclasses.replace(wall, backup=(wall.backup[1], wall.backup[0]))
    assert wettable(inverted).name == "sheathing"
    assert wettable(dataclasses.replace(wall, backup=(Layer("wool", _WOOL, 0.1),))) is None


def test_shut_closes_every_opening_of_every_set():
    assert all(each.free_area == 0.0 for chosen in without_vents(small_wall()).opening_sets for each in chosen.openings)


def test_wrong_requests_are_told_together():
    with pytest.raises(InputError) as caught:
        wetting_event(small_wall(backup=(Layer("wool", _WOOL, 0.1),)), None, amount=0.0)
    assert "no layer of the backup wall holds water" in str(caught.value)
    assert "must be above 0" in str(caught.value)


def test_an_event_dries_and_shut_vents_slow_it():
    import cavity

    weather = cavity.read_weather(Path(__file__).parents[1] / "climates" / "cool_marine.epw")
    weather = weather.isel(time=slice(4344, 4344 + 744))  # July
    wall = small_wall(run=dataclasses.replace(small_wall().run, start_month=7, start_humidity=0.6))
    event = wetting_event(wall, weather)
    assert event.layer == "sheathing"
    # the tabulated water curve is met to within one step of its table
    assert event.amount == pytest.approx(0.5, rel=0.05)
    assert len(event.as_drawn) == 744
    for left in (event.as_drawn, event.closed):
        assert left[0] == pytest.approx(event.amount, rel=0.1)  # first hour: little has gone
        assert np.all(left < event.amount * 1.001)
    assert event.as_drawn[-1] < event.closed[-1] < event.amount
    assert event.finding.where == "sheathing"
    assert "with the vents closed" in event.finding.sentence


def test_events_of_a_comparison_share_the_runs_with_vents_shut_and_equal_those_alone():
    import cavity

    weather = cavity.read_weather(Path(__file__).parents[1] / "climates" / "cool_marine.epw")
    wall = small_wall(run=dataclasses.replace(small_wall().run, start_month=12, start_humidity=0.6))
    sets = (wall.opening_sets[0], dataclasses.replace(wall.opening_sets[0], name="as shut"))
    closed = without_vents(dataclasses.replace(wall, opening_sets=sets[1:])).opening_sets
    wall = dataclasses.replace(wall, opening_sets=(sets[0], *closed), depths=(0.03,))
    jobs = [Job(wall.case(opening_set=chosen.name, depth=0.03), weather) for chosen in wall.opening_sets]
    told = []
    with Engine(2) as engine:
        events = wetting_events(engine, jobs, days=40.0, progress=lambda *news: told.append(news))
    assert told[-1] == (6, 6)  # two cases and one with the vents closed, each wetted and not
    assert [len(event.as_drawn) for event in events] == [960, 960]
    assert np.array_equal(events[0].closed, events[1].closed)
    assert np.array_equal(events[1].as_drawn, events[1].closed)  # a case that is shut itself
    assert events[0].as_drawn[-1] < events[0].closed[-1]
    # 1 December to 9 January, over the turn of the year: to the bit the first 40 days of a whole year
    alone = wetting_event(wall, weather, opening_set=wall.opening_sets[0].name, depth=0.03)
    assert alone.amount == events[0].amount
    np.testing.assert_array_equal(events[0].as_drawn, alone.as_drawn[:960])
    np.testing.assert_array_equal(events[0].closed, alone.closed[:960])


def test_what_has_not_dried_when_a_short_run_ends_is_to_review_not_a_failure():
    import cavity

    weather = cavity.read_weather(Path(__file__).parents[1] / "climates" / "cold_humid.epw")
    wall = small_wall(run=dataclasses.replace(small_wall().run, start_month=1, start_humidity=0.8))
    with Engine(2) as engine:
        (event,) = wetting_events(engine, [Job(wall.case(), weather)], days=3.0)
    assert event.finding.status == "review" and "more than 3 days" in event.finding.sentence


def test_a_comparison_follows_an_event_until_the_limit_of_the_wall():
    assert followed(small_wall()) == 90.0
    assert followed(small_wall(limits=(("drying_days", 120.0),))) == 120.0
    assert followed(small_wall(limits=(("drying_days", 20.0),))) == 90.0


def test_a_wall_that_holds_no_water_is_compared_without_an_event():
    import cavity

    weather = cavity.read_weather(Path(__file__).parents[1] / "climates" / "cool_marine.epw").isel(time=slice(0, 72))
    wall = small_wall(backup=(Layer("wool", _WOOL, 0.1),))
    wall = dataclasses.replace(wall, run=dataclasses.replace(wall.run, start_month=1, max_years=1))
    comparison = cavity.compare(wall, weather)
    assert comparison.no_event == "no layer of the backup wall holds water"
    assert all(case.event is None for case in comparison.cases)
