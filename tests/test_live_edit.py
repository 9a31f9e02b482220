"""Changes to the text of a wall file: what they say, and that comments and order stay."""

import copy
import re
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cavity.errors import InputError
from cavity.live import desk, edit, form
from cavity.wallfile import parse_wall, schema, starter

TEXT = starter()
COMMENTS = re.findall(r"#.*", TEXT)


def plain(text):
    return tomllib.loads(text)


def test_a_changed_value_keeps_its_comment_and_all_other_lines():
    new = edit.set_value(TEXT, ("cavity", "blocked"), "8 %")
    before, after = TEXT.split("\n"), new.split("\n")
    changed = [(a, b) for a, b in zip(before, after, strict=True) if a != b]
    assert len(changed) == 1 and changed[0][1].startswith('blocked = "8 %"')
    assert changed[0][1].split("#")[1] == changed[0][0].split("#")[1]


def test_a_key_taken_out_has_its_default_again():
    new = edit.set_value(TEXT, ("cavity", "film_limit"), None)
    assert "film_limit" not in plain(new)["cavity"]
    assert parse_wall(new).cavity.film_limit == 0.1
    assert edit.set_value(new, ("cavity", "film_limit"), None) == new


def test_a_section_that_is_not_there_is_made():
    new = edit.set_value(TEXT, ("limits", "mould_index"), 2.5)
    assert plain(new)["limits"] == {"mould_index": 2.5}
    assert edit.set_value(TEXT, ("run", "construction_water", "sheathing"), "20 kg/m3")


def test_layers_are_added_moved_and_removed():
    new = edit.insert(TEXT, ("backup",), 2, {"material": "mineral wool", "thickness": "60 mm", "name": "outer wool"})
    names = [layer.get("name") for layer in plain(new)["backup"]]
    assert names == ["breather membrane", "sheathing", "outer wool", "insulation", "vapour retarder", "lining"]
    assert plain(edit.move(new, ("backup", 2), 0))["backup"][0]["name"] == "outer wool"
    assert plain(edit.remove(new, ("backup", 2))) == plain(TEXT)


def test_the_last_entry_of_a_list_takes_the_list_with_it():
    one = edit.insert(TEXT, ("barrier",), 0, {"name": "closer", "height": "3 m"})
    assert plain(one)["barrier"] and plain(edit.remove(one, ("barrier", 0))) == plain(TEXT)


@pytest.mark.parametrize(
    "place", [("backup", 99, "thickness"), ("cavity", "depth", "x"), ("nowhere", 0), ("backup", "name")]
)
def test_a_place_that_is_not_there_is_refused_in_words(place):
    with pytest.raises(InputError, match="cannot be changed here"):
        edit.set_value(TEXT, place, "1 mm")


def test_a_text_that_is_not_toml_is_refused():
    with pytest.raises(InputError, match="not TOML"):
        edit.set_value("x = = 1", ("cavity", "depth"), "1 mm")


leaves = st.sampled_from(
    [
        (("cavity", "depth"), ["15 mm", "40 mm", "1 in"]),
        (("cavity", "roughness"), ["1 mm", "0 mm"]),
        (("finish", "solar_absorptance"), [0.3, "90 %"]),
        (("backup", 1, "thickness"), ["9 mm", "18 mm"]),
        (("backup", 2, "mu"), [1.2, 2.0]),
        (("openings", 1, "vent", 0, "slot"), ["5 mm", "20 mm"]),
        (("openings", 3, "vent", 1, "bends"), [0, 2]),
        (("wall", "orientation"), ["south", "10 deg"]),
        (("compare", "depths"), [["15 mm"], ["20 mm", "30 mm"]]),
        (("indoor", "humidity_class"), [2, 4]),
        (("site", "ground_albedo"), [0.3, "15 %"]),
    ]
)


@given(st.lists(st.tuples(leaves, st.integers(0, 1), st.booleans()), max_size=12))
def test_many_changes_say_what_was_meant_and_lose_no_comment(steps):
    text, meant = TEXT, plain(TEXT)
    for (place, values), choice, out in steps:
        value = (
            None if out and place[-1] not in ("depth", "thickness", "slot") else values[min(choice, len(values) - 1)]
        )
        text = edit.set_value(text, place, value)
        holder = meant
        for part in place[:-1]:
            holder = holder[part] if isinstance(part, int) else holder.setdefault(part, {})
        if value is None:
            holder.pop(place[-1], None)
        else:
            holder[place[-1]] = copy.deepcopy(value)
    assert plain(text) == meant
    # a comment goes only with the key it stands behind
    lost = [comment for comment in COMMENTS if comment not in text]
    assert len(lost) <= sum(1 for (place, _), _, out in steps if out)


# ---- what is typed, and the form ---------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("place", "text", "value"),
    [
        (("cavity", "depth"), "30 mm", "30 mm"),
        (("cavity", "depth"), "30", 30),  # a bare number reaches the reader, which says what unit is meant
        (("cavity", "blocked"), "5 %", "5 %"),
        (("cavity", "blocked"), "0.05", 0.05),
        (("compare", "depths"), "15 mm, 1 in", ["15 mm", "1 in"]),
        (("indoor", "humidity_class"), "3", 3),
        (("indoor", "temperature"), "21 degC", "21 degC"),
        (("wall", "invented"), "true", True),
        (("wall", "name"), "1234", "1234"),
        (("openings", 0, "vent", 0, "height"), "base", "base"),
        (("backup", 0, "sd_table"), "[[0.2, \"10 m\"], [0.9, \"0.3 m\"]]", [[0.2, "10 m"], [0.9, "0.3 m"]]),
        (("material", "my own", "density"), "900 kg/m3", "900 kg/m3"),
        (("run", "construction_water", "sheathing"), "20 kg/m3", "20 kg/m3"),
    ],
)  # fmt: skip
def test_what_is_typed_becomes_the_value_of_its_key(place, text, value):
    found = form.typed(text, place)
    assert found == value and type(found) is type(value)


def test_an_unknown_key_is_refused():
    with pytest.raises(KeyError):
        form.typed("1", ("cavity", "nothing"))
    with pytest.raises(InputError, match="not understood"):
        desk.edited(TEXT, {"do": "set", "place": ["cavity", "nothing"], "typed": "1"})


def fields(parts, place=()):
    for part in parts:
        for field in part["fields"]:
            yield (*place, part["key"], field["key"]), field
        yield from fields(part["parts"], (*place, part["key"]))


def test_every_key_of_the_schema_is_in_the_form_once_with_help_and_bounds():
    found = list(fields(form.sections()))
    assert len({place for place, _ in found}) == len(found)

    def count(model):
        total = 0
        for name, field in model.model_fields.items():
            if name == "uncertain":
                continue
            inner = form._model(field.annotation) if form.leaf_of(field) is None else None
            total += count(inner) if inner else 1
        return total

    assert len(found) == count(schema.WallFile)
    assert all(field["help"] and field["expected"] for _, field in found)


def test_keys_of_the_file_to_start_from_are_not_folded_away():
    often = {place for place, field in fields(form.sections()) if field["often"]}
    assert ("cavity", "depth") in often and ("rail", "gap") in often and ("cavity", "roughness") not in often
