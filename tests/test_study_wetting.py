"""The wetting event on the model: what is brought in, that it leaves, and that shut vents slow it."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from test_study_size import _WOOL, small_wall

from cavity.errors import InputError
from cavity.study.wetting import shut, wettable, wetting_event
from cavity.wallfile.model import Layer


def test_the_outermost_layer_that_holds_water_is_wetted():
    wall = small_wall()
    assert wettable(wall).name == "sheathing"
    inverted = dataclasses.replace(wall, backup=(wall.backup[1], wall.backup[0]))
    assert wettable(inverted).name == "sheathing"
    assert wettable(dataclasses.replace(wall, backup=(Layer("wool", _WOOL, 0.1),))) is None


def test_shut_closes_every_opening_of_every_set():
    assert all(each.free_area == 0.0 for chosen in shut(small_wall()).opening_sets for each in chosen.openings)


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
    for left in (event.as_drawn, event.shut):
        assert left[0] == pytest.approx(event.amount, rel=0.1)  # first hour: little has gone
        assert np.all(left < event.amount * 1.001)
    assert event.as_drawn[-1] < event.shut[-1] < event.amount
    assert event.finding.where == "sheathing"
    assert "with vents shut" in event.finding.sentence
