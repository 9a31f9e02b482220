"""The wall that a result carries is read back whole, or not at all."""

from __future__ import annotations

import json
from dataclasses import asdict, fields, is_dataclass

import pytest

from cavity.errors import InputError
from cavity.wallfile import parse_wall, starters
from cavity.wallfile.model import Wall
from cavity.wallfile.recorded import from_json, to_json
from cavity.wallfile.starter import starter


@pytest.mark.parametrize("name", list(starters()))
def test_a_wall_survives_the_way_through_json(name):
    wall = parse_wall(starter(name))
    assert from_json(to_json(wall)) == wall
    assert from_json(to_json(wall)) is from_json(to_json(wall))  # built once for equal walls


def _tables(plain, place=()):
    yield place
    for key, value in plain.items():
        if isinstance(value, dict):
            yield from _tables(value, (*place, key))
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            yield from _tables(value[0], (*place, key, 0))


def test_a_renamed_key_is_an_error_wherever_it_stands():
    wall = parse_wall(starter())
    text = to_json(wall)
    tried = 0
    for place in _tables(json.loads(text)):
        held = json.loads(text)
        for key in place:
            held = held[key]
        for name in list(held):
            renamed = json.loads(text)
            table = renamed
            for key in place:
                table = table[key]
            table[f"{name}_renamed"] = table.pop(name)
            with pytest.raises(InputError) as caught:
                from_json(json.dumps(renamed))
            wheres = [fault.where for fault in caught.value.faults]
            assert any(where.endswith(f".{name}") for where in wheres), (place, name)
            assert any(where.endswith(f".{name}_renamed") for where in wheres), (place, name)
            tried += 1
    assert tried > len(fields(Wall)) + 50  # the tables below the wall were reached


@pytest.mark.parametrize("text", ["", "{}", "[]", "null", '{"name": 3}'])
def test_a_result_without_its_wall_says_so(text):
    with pytest.raises(InputError, match="does not fit this version"):
        from_json(text)


def test_a_value_of_another_kind_is_an_error():
    plain = asdict(parse_wall(starter()))
    plain["cavity"]["depth"] = "30 mm"
    with pytest.raises(InputError, match=r"wall\.cavity\.depth"):
        from_json(json.dumps(plain))
    assert is_dataclass(Wall)
