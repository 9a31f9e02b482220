"""Changes of a wall file that must not change any number: other units, another origin of the heights."""

import numpy as np
import pytest
from wall_texts import edit

import cavity
from cavity.wallfile import parse_wall


def run(text, weather):
    wall = parse_wall(text)
    return cavity.simulate(wall, weather, opening_set="10 mm slots", hours=weather.sizes["time"])


def same(one, other, names):
    for name in names:
        np.testing.assert_allclose(one[name].values, other[name].values, rtol=1e-5, atol=1e-6, err_msg=name)


NAMES = ("temperature", "relative_humidity", "air_change_rate", "water", "opening_flow", "face_film")


@pytest.fixture(scope="module")
def days(inland):
    return inland.isel(time=slice(0, 120))


def test_inches_and_perms_give_the_numbers_of_millimetres(days):
    metric = edit(('depth = "30 mm"', 'depth = "25.4 mm"'), ('thickness = "12 mm"', 'thickness = "12.7 mm"'))
    inch = edit(
        ('depth = "30 mm"', 'depth = "1 in"'),
        ('thickness = "12 mm"', 'thickness = "1/2 in"'),
        ('building_height = "7 m"', 'building_height = "22.96587927 ft"'),
        ('top = "6 m"', 'top = "19.68503937 ft"'),
    )
    same(run(metric, days), run(inch, days), NAMES)


def test_the_origin_of_the_heights_is_free(days):
    """Everything 2 m higher above the base of the wall, and that base 2 m lower above the ground."""
    low = edit(
        ('base_height = "0.3 m"', 'base_height = "2.3 m"'), ('building_height = "7 m"', 'building_height = "9 m"')
    )
    high = edit(
        ('building_height = "7 m"', 'building_height = "9 m"'),
        ('bottom = "0 m"', 'bottom = "2 m"'),
        ('top = "6 m"', 'top = "8 m"'),
    )
    one, other = run(low, days), run(high, days)
    same(one, other, NAMES)
    np.testing.assert_allclose(other["opening_height"].values, one["opening_height"].values + 2.0, rtol=1e-12)


def test_names_change_nothing_but_names(days):
    renamed = edit(
        ('name = "panel"', 'name = "x"'), ('name = "whole height"', 'name = "y"'), ('name = "lining"', 'name = "z"')
    )
    same(run(edit(), days), run(renamed, days), NAMES)
