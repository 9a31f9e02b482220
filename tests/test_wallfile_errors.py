"""Wall files with mistakes: each draws a fault that names key, line and fix; nothing else is ever raised."""

# ruff: noqa: E501  (the table of mistakes reads best with one case a line)
import math
import os
import random
import tomllib
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from wall_texts import FULL, STARTER, edit, faults

import cavity
from cavity.errors import InputError
from cavity.wallfile import parse_wall, read_wall
from cavity.wallfile.schema import WallFile

# Key, change, words in the fault, words in the fix
WRONG = [
    ("cladding[1].thickness", ('"8 mm"', "8"), "bare number", '"8 mm"'),
    ("cladding[1].thickness", ('"8 mm"', '"0 mm"'), "zero", "check"),
    ("cladding[1].thickness", ('"8 mm"', '"-8 mm"'), "negative", '"8 mm"'),
    ("cladding[1].thickness", ('"8 mm"', '"8 kg"'), "not a unit of this kind", "mm"),
    ("cladding[1].thickness", ('"8 mm"', '"8,5 mm"'), "not understood", '"8.5 mm"'),
    ("cladding[1].thickness", ('"8 mm"', '"8 m"'), "too large", "unit"),
    ("cladding[1].thickness", ('thickness = "8 mm"', ""), "missing", "8 mm"),
    ("cladding[1].material", ('"fibre cement"', '"fibre cemnt"'), "unknown material", '"fibre cement"'),
    ("backup[5].material", ('"gypsum board"', '"drywall"'), "unknown material", '"gypsum board"'),
    ("backup[2].name", ('name = "panel"', 'name = "Sheathing"'), "used twice", "change"),
    ("wall.orientation", ('"west"', '"wst"'), "unknown direction", '"west"'),
    ("wall.orientation", ('"west"', '"400 deg"'), "too large", "check"),
    ("wall.invented", ("invented = true", 'invented = "yes"'), "true or false", "true"),
    ("wall.name", ('name = "Fibre cement panels on a timber frame"', 'name = ""'), "empty", "name"),
    ("site.terain", ("terrain", "terain"), "unknown key", '"terrain"'),
    ("wall.film_limit", ("invented = true", 'film_limit = "100 g/m2"'), "unknown key", "belongs in [cavity]"),
    ("site.terrain", ('"suburban"', '"suburbs"'), "unknown word", '"suburban"'),
    ("site.building_height", ('"7 m"', '"5 m"'), "lower than the top", '"6.3 m"'),
    ("finish.solar_absorptance", ("absorptance = 0.6", "absorptance = 60"), "above 1", '"60 %"'),
    ("finish.solar_absorptance", ("absorptance = 0.6", 'absorptance = "0.6"'), "not a perc", "0.6 without quotes"),
    ("finish.solar_absorptance", ("absorptance = 0.6", 'absorptance = "60"'), "not a percentage", '"60 %"'),
    ("finish.emissivity", ("emissivity = 0.9", "emissivity = nan"), "not between", "90 %"),
    ("cavity.depth", ('depth = "30 mm"', 'depth = "0 mm"'), "zero", "check"),
    ("cavity.depth", ('depth = "30 mm"', 'depth = "3 m"'), "too large", "check"),
    ("cavity", ("[cavity]", "[cavty]"), "missing", "[cavity]"),
    ("cavty", ("[cavity]", "[cavty]"), "unknown section", '"cavity"'),
    ("cladding", ("[[cladding]]", "[cladding]"), "not a list", "double brackets"),
    ("column[1].top", ('top = "6 m"', 'top = "0 m"'), "not above", "check"),
    ("rail[1].bay", ('"600 mm"', "600"), "bare number", '"600 mm"'),
    ("rail[1].gap", ('gap = "25 mm"', 'gap = "900 mm"'), "wider than the bay", "check"),
    ("rail[1].heights", ('spacing = "1.5 m"', 'heights = ["7 m"]'), "outside the column", "move"),
    ("rail[1].spacing", ('spacing = "1.5 m"', 'spacing = "9 m"'), "no rail fits", "smaller"),
    ("rail[1]", ('spacing = "1.5 m"', ""), "neither heights nor spacing", "spacing"),
    ("rail[1].columns", ('spacing = "1.5 m"', 'spacing = "1.5 m"\ncolumns = ["hole height"]'), "no column", "whole"),
    ("openings[1].vent[2].height", ('height = "head"', 'height = "7 m"'), "above the top", '"head"'),
    ("openings[1].vent[1].height", ('height = "base"', 'height = "-1 m"'), "below the bottom", '"base"'),
    ("openings[1].vent[1].height", ('height = "base"', ""), "missing", "spacing"),
    ("openings[1].vent[1].height", ('height = "base"', 'height = "base"\nspacing = "1 m"'), "together", "keep one"),
    ("openings[1].vent[1].height", ('height = "base"', 'heights = ["1 m", "9 m"]'), "above the top", '"head"'),
    ("openings[1].vent[1].heights", ('height = "base"', 'heights = ["1 m", "1 m"]'), "twice", "keep one"),
    ("openings[1].vent[1].spacing", ('height = "base"', 'spacing = "8 m"'), "no vent fits", "smaller"),
    ("compare.clogged.mush", ("[compare]", '[compare]\nclogged = { mush = "50 %" }'), "no such kind", "mesh"),
    ("compare.clogged", ("[compare]", '[compare]\nclogged = { louvre = "50 %" }'), "no vent is of such", "check"),
    ("compare.clogged.mesh", ("[compare]", '[compare]\nclogged = { mesh = "150 %" }'), "too large", "check"),
    ("rail[1].gap", ('gap = "25 mm"', 'gap = "400 mm"\ngaps = 2'), "wider than the bay", "gaps"),
    ("rail[1].porosity", ('gap = "25 mm"', 'gap = "25 mm"\nwire = "0.5 mm"'), "missing", "50 %"),
    ("rail[1]", ('gap = "25 mm"', 'gap = "25 mm"\nporosity = "50 %"'), "without wire", "hole"),
    ("rail[1]", ('gap = "25 mm"', 'gap = "25 mm"\nporosity = "50 %"\nwire = "0.5 mm"\nhole = "5 mm"'), "together", "keep"),
    ("openings[1].vent[1].height", ('height = "base"', 'height = "basis"'), "unknown word", '"base"'),
    ("openings[3].vent[1].slot", ('slot = "10 mm"\n[[openings.vent]]\nname = "head slot"',
                                  'slot = "1 km"\n[[openings.vent]]\nname = "head slot"'), "too large", "unit"),
    ("openings[1].vent[1]", ('slot = "0.3 mm"', ""), "no size", "slot"),
    ("openings[1].vent[1]", ('slot = "0.3 mm"', 'slot = "0.3 mm"\nfree_area = "20 cm2/m"'), "together", "keep one"),
    ("openings[1].vent[1].holes", ('slot = "0.3 mm"', 'holes = { per_metre = 40, width = "30 mm", height = "5 mm" }'),
     "wider than the wall", "check"),
    ("openings[1].vent[1].porosity", ('slot = "0.3 mm"', 'slot = "0.3 mm"\nporosity = "50 %"'), "not for kind", "mesh"),
    ("openings[2].vent[1].wire", ('wire = "0.3 mm"\n', ""), "missing", "0.5 mm"),
    ("openings[2].vent[1].kind", ('kind = "mesh"', 'kind = "meshed"'), "unknown word", '"mesh"'),
    ("openings[2].name", ('name = "fine mesh"', 'name = "nearly closed"'), "used twice", "change"),
    ("compare.depths", ('["15 mm"', '[15'), "bare number", '"15 mm"'),
    ("compare.depths", ('["15 mm"', '["20 mm"'), "given twice", "keep"),
    ("compare.openings", ('[compare]', '[compare]\nopenings = ["10 mm slot"]'), "no set of openings", '"10 mm slots"'),
    ("indoor.model", ('"EN 15026"', '"EN 15062"'), "unknown word", '"EN 15026"'),
    ("indoor.temperature", ('model = "EN 15026"', 'temperature = "20 degC"'), "not for model", "constant"),
    ("indoor.temperature", ('model = "EN 15026"', 'model = "constant"\ntemperature = "20 C"'), "kind", '"20 degC"'),
    ("indoor.relative_humidity", ('model = "EN 15026"', 'model = "constant"\nrelative_humidity = 45'), "above 1", "45 %"),
    ("indoor.relative_humidity", ('model = "EN 15026"', 'model = "monthly"\ntemperature = "20 degC"'), "1 values", "twelve"),
    ("indoor.file", ('model = "EN 15026"', 'model = "file"'), "missing", "indoor.csv"),
    ("wetting.rain_penetration_layer", ('rain_penetration_layer = "breather membrane"', 'rain_penetration_layer = "breather"'), "no backup layer", "breather"),
    ("wetting.leak_class", ('leak_flow = "0.01 m3/(m2 h)"', 'leak_class = "B"'), "no longer a key", '"3 m3/(m2 h)" for "B"'),
    ("wetting.leak_q50", ('leak_flow = "0.01 m3/(m2 h)"', "leak_q50 = 3"), "bare number", '"3 m3/(m2 h)"'),
    ("wetting.leak_flow", ('leak_flow = "0.01 m3/(m2 h)"', "# no flow"), "missing", "leak_flow"),
    ("rule[1]", ("[run]", '[[rule]]\ndocument = "d"\nquantity = "rail gap"\n[run]'), "neither", '"25 mm"'),
    ("rule[1].at_least", ("[run]", '[[rule]]\ndocument = "d"\nquantity = "rail gap"\nat_least = "9"\n[run]'), "unit", '"25 mm"'),
    ("rule[1].at_least", ("[run]", '[[rule]]\ndocument = "d"\nquantity = "free vent area"\nat_least = "9 kg"\n[run]'),
     "", '"50 cm2/m"'),
    ("rule[1].quantity", ("[run]", '[[rule]]\ndocument = "d"\nquantity = "gap"\nat_least = "9 mm"\n[run]'), "unknown word", "rail gap"),
    ("rule[1].at_least", ("[run]", '[[rule]]\ndocument = "d"\nquantity = "rail gap"\nat_least = "9 mm"\nat_most = "8 mm"\n[run]'),
     "above at_most", "exchange"),
    ("run.start_humidity", ('"80 %"', "80"), "above 1", '"80 %"'),
    ("run.start_humidity", ('"80 %"', '"180 %"'), "too large", "check"),
    ("run.start_month", ('"October"', '"Oktober"'), "unknown month", "october"),
    ("run.max_years", ("max_years = 5", "max_years = 5.5"), "whole number", "5"),
    ("run.max_years", ("max_years = 5", f"max_years = {10**60}"), "too large", "check"),
    ("run.construction_water.panel", ("max_years = 5", 'construction_water = { panel = "900 kg/m3" }'), "more water", "check"),
    ("run.construction_water.pannel", ("max_years = 5", 'construction_water = { pannel = "9 kg/m3" }'), "no layer", "panel"),
    ("limits.mold_index", ("[run]", "[limits]\nmold_index = 3\n[run]"), "unknown key", '"mould_index"'),
    ("variant[1].replaces", ("[run]", '[[variant]]\nname = "v"\nreplaces = "sheething"\nmaterial = "OSB"\nthickness = "9 mm"\n[run]'),
     "no layer", '"sheathing"'),
    ("uncertain.site.presure_difference", ("[run]", "[uncertain]\nsite.presure_difference = [0.1, 0.2]\n[run]"), "not an input",
     "site.cp_difference"),
    ("uncertain.site.pressure_difference", ("[run]", "[uncertain]\nsite.pressure_difference = [0.1, 0.2]\n[run]"),
     "no longer a key", "write cp_difference"),
    ("uncertain.wetting.rain_share", ("[run]", "[uncertain]\nwetting.rain_share = [0.1, 0.2]\n[run]"),
     "no longer a key", "write rain_penetration"),
    ("limits.mould_index_watch", ("[run]", "[limits]\nmould_index_watch = 2\n[run]"), "no longer a key", "mould_index_review"),
    ("backup[3].frame.share", ('frame = { fraction = "15 %"', 'frame = { share = "15 %"'),
     "no longer a key", "write fraction"),
    ("wetting.rain_share", ('leak_flow = "0.01 m3/(m2 h)"', 'leak_flow = "0.01 m3/(m2 h)"\nrain_share = "1 %"'),
     "no longer a key", "rain_penetration"),
    ("wetting.rain_layer", ('leak_flow = "0.01 m3/(m2 h)"', 'leak_flow = "0.01 m3/(m2 h)"\nrain_layer = "x"'),
     "no longer a key", "rain_penetration_layer"),
    ("site.pressure_difference", ('terrain = "suburban"', 'terrain = "suburban"\npressure_difference = 0.1'), "no longer a key",
     "cp_difference"),
    ("site.pressure_profile", ('terrain = "suburban"', 'terrain = "suburban"\npressure_profile = [[0, 0.1], [1, 0.2]]'),
     "no longer a key", "cp_profile"),
    ("openings[1].vent[1].pressure_shift", ('slot = "0.3 mm"', 'slot = "0.3 mm"\npressure_shift = 0.1'), "no longer a key",
     "cp_shift"),
    ("uncertain.wetting.rain_penetration", ("[run]", '[uncertain]\nwetting.rain_penetration = ["2 %", "1 %"]\n[run]'), "not below", "exchange"),
    ("material.m.mu", ("[run]", '[material.m]\ndensity = "1 kg/m3"\nconductivity = "1 W/(m K)"\nspecific_heat = "1 kJ/(kg K)"\n[run]'),
     "missing", "mu = 50"),
    ("backup[3].thickness", ('thickness = "160 mm"', 'thickness = "160 mm"\nsd = "2 m"'), "too thick for a membrane", "mu = 12.5"),
    ("backup[1].mu_wet", ('name = "breather membrane"', 'mu_dry = 10\nmu_wet = 20'), "above mu_dry", "exchange"),
    ("barrier[1].height", ("[run]", '[[barrier]]\nname = "b"\nheight = "8 m"\n[run]'), "outside the column", "move"),
]  # fmt: skip


@pytest.mark.parametrize(("key", "change", "problem", "fix"), WRONG, ids=[f"{one[0]}: {one[2]}" for one in WRONG])
def test_a_fault_names_its_key_what_is_wrong_and_the_cure(key, change, problem, fix):
    fault = faults(edit(change)).get(key)
    assert fault is not None, faults(edit(change))
    assert problem in fault.problem
    assert fix.casefold() in fault.fix.casefold()


def test_the_line_of_a_fault_is_the_line_of_the_file():
    text = edit(('thickness = "8 mm"', "thickness = 8"))
    number = text.split("\n").index("thickness = 8") + 1
    assert f"(line {number})" in faults(text)["cladding[1].thickness"].where


def test_all_faults_of_a_file_are_told_at_once():
    """Faults of the schema and of the cross checks come together, sections that are sound are still checked."""
    text = edit(('"8 mm"', "8"), ('"gypsum board"', '"drywall"'), ('height = "head"', 'height = "9 m"'),
                ('"suburban"', '"suburb"'))  # fmt: skip
    assert set(faults(text)) == {
        "cladding[1].thickness", "backup[5].material", "openings[1].vent[2].height", "site.terrain",
    }  # fmt: skip


def test_a_wrong_column_does_not_draw_faults_of_every_vent():
    assert set(faults(edit(('top = "6 m"', 'top = "0 m"')))) == {"column[1].top"}
    second = '[[column]]\nname = "b"\nbottom = "2 m"\ntop = "1 m"\n[[rail]]'
    text = edit(("[[rail]]", second), ('height = "base"', 'height = "base"\ncolumns = ["b"]'))
    assert set(faults(text)) == {"column[2].top"}


@pytest.mark.parametrize(
    ("text", "where", "fix"),
    [
        ('[wall]\nname = "x"\nthickness = 8 mm\n', "line 3", 'thickness = "8 mm"'),
        ('[wall]\nname = "x\n', "line 2", "quotes"),
        ("[wall]\nname =\n", "line 2", "value"),
        ('[wall]\nname = "a"\nname = "b"\n', "line 3", ""),
        ("[wall", "line 1", ""),
        ('a = "\x00"', "line 1", ""),
    ],
)
def test_broken_toml_is_told_with_its_line(text, where, fix):
    with pytest.raises(InputError) as caught:
        parse_wall(text, "wall.toml")
    assert where in caught.value.faults[0].where and fix in caught.value.faults[0].fix


@pytest.mark.parametrize(
    "text",
    ["", "x = 1", "[" * 5000, "a = " + "[" * 3000, "a = " + "9" * 6000, "a = " + "{b=" * 500, "[wall]\n" * 2, "\ufeff", "a." * 2000 + "b = 1",
     "[[openings]]\n" + "a." * 20_000 + "b = 1", "[" + "a." * 20_000 + "b]", "x = {" + '"a" . ' * 20_000 + "b = 1}"],
)  # fmt: skip
def test_hostile_text_is_refused_not_crashed_on(text):
    with pytest.raises(InputError):
        parse_wall(text, "wall.toml")


def test_deep_nesting_is_named_as_such():
    with pytest.raises(InputError, match="nested too deep"):
        parse_wall("a = " + "[" * 60 + "]" * 60, "wall.toml")


def test_a_key_of_many_parts_is_refused_before_the_parser_spends_gigabytes_on_it():
    for text in ("[[openings]]\n" + "a." * 20_000 + "b = 1", "\n[" + '"a" . ' * 61 + "b]"):
        with pytest.raises(InputError, match="line 2: too many dots"):
            parse_wall(text, "wall.toml")
    assert parse_wall(STARTER + "\n# " + "1.5, 2.5 " * 200, "wall.toml")  # dots of numbers do not count together


def test_numbers_out_of_this_world_are_refused():
    for value in ("inf", "-inf", "nan", "1e308", "-1", f"{10**4000}"):
        assert "finish.solar_absorptance" in faults(edit(("solar_absorptance = 0.6", f"solar_absorptance = {value}")))
    for value in ("1e300 m", "-1e300 m", "1e-300 m", "9" * 70 + " m"):
        assert "cladding[1].thickness" in faults(edit(('"8 mm"', f'"{value}"')))


def test_a_number_of_a_thousand_digits_does_not_fill_the_screen():
    with pytest.raises(InputError) as caught:
        parse_wall(edit(("solar_absorptance = 0.6", f'solar_absorptance = "{"9" * 5000}"')), "wall.toml")
    assert "not a percentage" in str(caught.value)
    assert all(len(line) < 400 for line in str(caught.value).split("\n"))


def test_text_with_control_characters_is_refused():
    assert "wall.name" in faults(edit(('"Fibre cement panels on a timber frame"', '"a\\u0000b"')))
    assert "wall.name" in faults(edit(('"Fibre cement panels on a timber frame"', '"a\\u001b[31mb"')))
    shown = faults(edit(('material = "fibre cement"', 'material = "fibre\\tcement \\u001b[2J"')))
    assert all(sign.isprintable() or sign == "\n" for fault in shown.values() for sign in str(fault))


# --------------------------------------------------------------------------- files


def test_a_file_is_read_with_its_name_and_text(tmp_path):
    place = tmp_path / "wall.toml"
    place.write_bytes(b"\xef\xbb\xbf" + STARTER.replace("\n", "\r\n").encode())  # as a Windows editor saves it
    wall = cavity.read_wall(place)
    assert wall.source == "wall.toml"
    assert wall == replace(parse_wall(STARTER, "wall.toml"), text=wall.text)


def test_files_that_are_no_wall_file_are_told_apart(tmp_path):
    def refusal(place):
        with pytest.raises(InputError) as caught:
            read_wall(place)
        return str(caught.value)

    (tmp_path / "wall.toml").write_text(STARTER)
    assert "no such file" in refusal(tmp_path / "wal.toml") and '"wall.toml"' in refusal(tmp_path / "wal.toml")
    assert "is a folder" in refusal(tmp_path)
    (tmp_path / "latin.toml").write_bytes(b'[wall]\nname = "caf\xe9"\n')
    assert "not UTF-8" in refusal(tmp_path / "latin.toml") and "line 2" in refusal(tmp_path / "latin.toml")
    (tmp_path / "big.toml").write_bytes(b"#" * (1024 * 1024 + 1))
    assert "1 MiB" in refusal(tmp_path / "big.toml")
    assert "cannot be read" in refusal("a\0b") or "no such file" in refusal("a\0b")
    assert "not a regular file" in refusal("/dev/null")
    assert "no such file" in refusal(tmp_path / "no" / "folder.toml")
    if os.geteuid() != 0:  # root reads everything
        (tmp_path / "wall.toml").chmod(0)
        assert "cannot be read" in refusal(tmp_path / "wall.toml")


def test_an_indoor_file_must_lie_beside_the_wall_file(tmp_path):
    folder = tmp_path / "walls"
    (folder / "data").mkdir(parents=True)
    (folder / "data" / "indoor.csv").write_text("x")
    (tmp_path / "secret.csv").write_text("x")
    (folder / "link.csv").symlink_to(tmp_path / "secret.csv")

    def text(name):
        return edit(('model = "EN 15026"', f"model = \"file\"\nfile = '{name}'"))

    assert parse_wall(text("data/indoor.csv"), folder=folder).indoor.file == str(folder / "data" / "indoor.csv")
    for name in (
        "../secret.csv",
        str(tmp_path / "secret.csv"),
        "/etc/passwd",
        "link.csv",
        "data/../../secret.csv",
        "..\\x.csv",
    ):
        assert "outside the folder" in faults(text(name), folder=folder)["indoor.file"].problem, name
    assert "no such file" in faults(text("missing.csv"), folder=folder)["indoor.file"].problem
    assert "folder" in faults(text("data/indoor.csv"))["indoor.file"].problem


# --------------------------------------------------------------------------- whatever a hand can do


def valid_or_clear(text: str) -> None:
    """A text gives a whole wall or clear faults, never another exception."""
    try:
        wall = parse_wall(text, "wall.toml")
    except InputError as error:
        assert error.faults
        for fault in error.faults:
            assert fault.where.startswith("wall.toml") and fault.problem
            assert all(len(line) < 400 for line in str(fault).split("\n"))
        return
    assert all(layer.thickness > 0 for layer in wall.layers) and wall.depths and wall.opening_sets
    assert all(math.isfinite(opening.free_area) for chosen in wall.opening_sets for opening in chosen.openings)


VALUES = [
    "0", "-1", "1e99", "inf", "nan", "true", '""', '"x"', "[]", "{}", "[[]]", '"0 mm"', '"-5 mm"', '"1e9 m"', '"5 kg"', "1979-05-27",
    '"45"', "45", '"45 %"', '["a", "b"]', "{ a = 1 }", '"base"', '"steel"', "[1, 2]", '[["50 %", 1]]', '"whole height"', '"\\u0000"', "10:00:00",
]  # fmt: skip
LINES = [line for line in FULL.split("\n") if line.strip()]


@given(st.data())
@settings(max_examples=100, deadline=None)
def test_any_value_at_any_key_gives_a_wall_or_clear_faults(data):
    lines = list(LINES)
    for _ in range(data.draw(st.integers(1, 3))):
        index = data.draw(st.sampled_from([at for at, line in enumerate(lines) if " = " in line]))
        lines[index] = lines[index].split(" = ")[0] + " = " + data.draw(st.sampled_from(VALUES))
    valid_or_clear("\n".join(lines))


@given(st.randoms(use_true_random=False))
@settings(max_examples=100, deadline=None)
def test_lines_lost_doubled_or_moved_give_a_wall_or_clear_faults(chance: random.Random):
    lines = list(LINES)
    for _ in range(chance.randint(1, 4)):
        index = chance.randrange(len(lines))
        action = chance.randrange(3)
        line = lines.pop(index)
        if action:
            lines.insert(chance.randrange(len(lines)), line)
        if action == 2:
            lines.insert(index, line)
    valid_or_clear("\n".join(lines))


@given(st.integers(0, len(FULL) - 1), st.integers(0, 6), st.text(max_size=4))
@settings(max_examples=100, deadline=None)
def test_characters_lost_or_added_give_a_wall_or_clear_faults(place, lost, added):
    valid_or_clear(FULL[:place] + added + FULL[place + lost :])


@given(
    st.sampled_from(sorted(WallFile.model_fields)),
    st.recursive(
        st.one_of(st.integers(), st.floats(), st.booleans(), st.text(max_size=8)),
        lambda inner: st.one_of(
            st.lists(inner, max_size=3),
            st.dictionaries(
                st.sampled_from(["name", "height", "vent", "material", "depth", "mu", "x"]), inner, max_size=3
            ),
        ),
        max_leaves=6,
    ),
)
@settings(max_examples=100, deadline=None)
def test_any_toml_value_as_a_section_gives_a_wall_or_clear_faults(section, value):
    tomli_w = pytest.importorskip("tomli_w")
    raw = tomllib.loads(FULL)
    raw[section] = value
    try:
        text = tomli_w.dumps(raw)
    except (UnicodeEncodeError, ValueError):
        return
    valid_or_clear(text)
