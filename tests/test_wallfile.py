"""The wall file: the starter and what every section turns into."""

import pytest
from wall_bounds import changed as put
from wall_bounds import toml
from wall_texts import FULL, STARTER, edit, faults

from cavity.errors import InputError
from cavity.wallfile import material, parse_wall, starter, starters
from cavity.wallfile.faults import _models, dotted, key_lines, leaf_of
from cavity.wallfile.inputs import INPUTS, changed
from cavity.wallfile.model import Wall
from cavity.wallfile.schema import UNCERTAIN, LimitsSection, WallFile


def test_the_starter_is_a_wall_as_it_is():
    wall = parse_wall(STARTER, "wall.toml")
    assert isinstance(wall, Wall)
    assert wall.invented and wall.orientation == 270.0 and wall.tilt == 90.0
    assert [layer.name for layer in wall.layers] == [
        "panel", "breather membrane", "sheathing", "insulation", "vapour retarder", "lining",
    ]  # fmt: skip
    assert len(wall.opening_sets) == 5 and len(wall.depths) == 5
    assert wall.text == STARTER and wall.source == "wall.toml"


def test_the_comments_of_the_starter_are_true_when_uncommented():
    """Every optional section of the starter works once its marks are taken away."""
    wall = parse_wall(FULL, "wall.toml")
    assert [column.name for column in wall.columns] == ["whole height", "below the window", "above the window"]
    assert [chosen.name for chosen in wall.opening_sets] == ["fine mesh", "fine mesh, clogged", "10 mm slots"]
    assert wall.barriers[0].height == 3.0 and wall.barriers[0].free_area == pytest.approx(0.001)
    assert wall.variants[0][:2] == ("gypsum sheathing", "sheathing")
    assert wall.variants[0][2].material.name == "gypsum sheathing"
    assert dict(wall.limits) == {"mould_index": 3.0, "wood_moisture": 0.2}
    assert wall.uncertain == (("site.cp_difference", 0.05, 0.3), ("wetting.rain_penetration", 0.005, 0.02))
    # 0.01 m3/(m2 h) of air of 1.2 kg/m3
    assert wall.wetting.leak_flow == pytest.approx(0.01 * 1.2 / 3600) and wall.wetting.leak_layer == 2
    assert wall.run.construction_water == (("sheathing", 20.0),)


def test_quantities_come_out_in_si():
    wall = parse_wall(STARTER)
    assert wall.cladding[0].thickness == 0.008 and wall.cavity.depth == 0.03 and wall.cavity.blocked == 0.05
    assert wall.cavity.film_limit == pytest.approx(0.1) and wall.site.building_height == 7.0
    assert wall.wetting.rain_penetration == 0.01 and wall.run.start_month == 10 and wall.run.start_humidity == 0.8
    assert wall.rails[0].heights == (1.5, 3.0, 4.5) and wall.rails[0].gap == 0.025


@pytest.mark.parametrize("name", starters())
def test_every_wall_to_start_from_is_read_and_has_a_baseline_and_a_comment_a_section(name):
    text = starter(name)
    wall = parse_wall(text, name)
    assert wall.invented and "FICTITIOUS" in text and wall.description
    assert wall.name == starters()[name]
    assert len(wall.opening_sets) >= 3 and len(wall.depths) >= 2
    # a baseline with little or no air, and every strip of the wall with at least one vent in the most open set
    assert sum(vent.free_area for vent in wall.opening_sets[0].openings) < 1e-3
    for column in wall.columns:
        assert any(not vent.columns or column.name in vent.columns for vent in wall.opening_sets[-1].openings)
    assert text.count("#") >= 12


def test_a_wall_to_start_from_that_is_not_there_is_refused():
    with pytest.raises(InputError, match="brick"):
        starter("bricks")
    for name in ("../materials", "", "a/b"):
        with pytest.raises(InputError):
            starter(name)


def test_vents_keep_gross_area_and_free_area_apart():
    """A slot with a mesh: the hole is 10 mm, free vent area 40 % of it; a drawing's free area is net."""
    sets = {chosen.name: chosen for chosen in parse_wall(STARTER).opening_sets}
    mesh = sets["fine mesh"].openings[0]
    assert mesh.gross_area == pytest.approx(0.010) and mesh.clear_height == pytest.approx(0.010)
    assert mesh.free_area == pytest.approx(0.004)
    drawn = edit(('kind = "mesh"\nslot = "10 mm"\n', 'kind = "mesh"\nfree_area = "75 cm2/m"\nclear_height = "15 mm"\n'))
    strip = parse_wall(drawn).opening_sets[1].openings[0]
    assert strip.free_area == pytest.approx(0.0075) and strip.gross_area == pytest.approx(0.01875)


def test_holes_are_counted_by_the_metre():
    """Four holes a metre of 10 mm x 65 mm: 26 cm2/m, smaller dimension 10 mm (by hand)."""
    text = edit(('slot = "0.3 mm"', 'holes = { per_metre = 4, width = "10 mm", height = "65 mm" }'))
    vent = parse_wall(text).opening_sets[0].openings[0]
    assert vent.gross_area == pytest.approx(26e-4) and vent.clear_height == pytest.approx(0.010)


def test_base_and_head_mean_the_ends_of_each_column():
    text = edit(
        ('[[rail]]', '[[column]]\nname = "above the window"\nbottom = "2.4 m"\ntop = "6 m"\n[[rail]]'),
    )  # fmt: skip
    vents = parse_wall(text).opening_sets[3].openings
    assert [(vent.name, vent.height, vent.columns) for vent in vents] == [
        ("base slot, whole height", 0.0, ("whole height",)),
        ("base slot, above the window", 2.4, ("above the window",)),
        ("head slot", 6.0, ("whole height", "above the window")),
    ]


def test_a_vent_by_height_serves_every_column_that_reaches_it():
    text = edit(('height = "head"\nkind = "joint"', 'height = "3 m"\nkind = "joint"'))
    vent = parse_wall(text).opening_sets[0].openings[1]
    assert vent.height == 3.0 and vent.columns == ()


def test_permeance_becomes_the_sd_of_a_membrane():
    """sd = permeability of air at 23 degC (Schirmer, ISO 12572: 1.953e-10 kg/(m s Pa)) / permeance."""
    for written, permeance in (("60 ng/(Pa s m2)", 60e-12), ("1 perm", 5.72135e-11)):
        layer = parse_wall(
            edit(('sd = "5 m"\n', ""), ('name = "vapour retarder"', f'name = "x"\npermeance = "{written}"'))
        ).backup[3]
        assert layer.is_membrane and layer.sd == pytest.approx(1.953e-10 / permeance, rel=3e-4)  # printed digits


def test_a_membrane_takes_its_sd_from_the_table_of_materials():
    wall = parse_wall(edit(('material = "vapour retarder"\nsd = "5 m"', 'material = "smart vapour retarder"')))
    assert wall.backup[3].sd_table == material("smart vapour retarder").sd_table
    assert wall.backup[0].sd == 0.2


def test_metal_rails_become_a_parallel_conductance():
    """Steel 50 W/(m K), 1.5 mm every 600 mm through 160 mm: 50 x 0.0015 / (0.6 x 0.16) = 0.78125 W/(m2 K)."""
    text = edit(('name = "insulation"', 'name = "insulation"\nbridge = { spacing = "600 mm", thickness = "1.5 mm" }'))
    assert parse_wall(text).backup[2].bridge_conductance == pytest.approx(0.78125)
    text = edit(('name = "insulation"', 'name = "insulation"\nbridge = { conductance = "0.3 W/(m2 K)" }'))
    assert parse_wall(text).backup[2].bridge_conductance == 0.3


def test_a_layer_may_override_values_of_its_material():
    text = edit(
        (
            'thickness = "8 mm"',
            'thickness = "8 mm"\nconductivity = "0.4 W/(m K)"\nmu = 80\nsorption = [["50 %", "5 %"]]',
        )
    )
    made = parse_wall(text).cladding[0].material
    assert (made.conductivity, made.mu_dry, made.mu_wet, made.mu_table) == (0.4, 80.0, 80.0, ())
    assert made.sorption == ((0.5, pytest.approx(0.05 * made.density)),)  # % of the dry mass
    assert made.density == material("fibre cement").density


OWN = """
[material."my board"]
density = "1500 kg/m3"
conductivity = "0.4 W/(m K)"
specific_heat = "1000 J/(kg K)"
mu_dry = 100
mu_wet = 50
sorption = [["50 %", "20 kg/m3"], ["90 %", "3 %"]]
free_saturation = "200 kg/m3"
"""


def test_a_material_of_the_users_own_is_read_and_found():
    wall = parse_wall(edit(('material = "fibre cement"', 'material = "My Board"')) + OWN)
    made = wall.cladding[0].material
    assert made.name == "my board" and made.source == "wall file"
    assert made.sorption == ((0.5, 20.0), (0.9, pytest.approx(45.0)))
    assert made.max_saturation > made.free_saturation == 200.0


def test_an_own_material_of_a_built_in_name_wins_and_is_warned_of():
    wall = parse_wall(edit() + OWN.replace("my board", "fibre cement"))
    assert wall.cladding[0].material.density == 1500.0
    assert any("fibre cement" in text for text in wall.warnings)


@pytest.mark.parametrize(
    ("given", "degrees"),
    [("north", 0), ("NE", 45), ("east", 90), ("South-West", 225), ("wnw", 292.5), ("270 deg", 270), ("360 deg", 0)],
)
def test_orientation_is_a_compass_word_or_an_angle(given, degrees):
    assert parse_wall(edit(('orientation = "west"', f'orientation = "{given}"'))).orientation == degrees


def test_layers_of_one_material_get_names_of_their_own():
    text = edit(
        ('name = "lining"', ""),
        ("[[column]]", '[[backup]]\nmaterial = "gypsum board"\nthickness = "15 mm"\n[[column]]'),
    )
    assert [layer.name for layer in parse_wall(text).backup][-2:] == ["Gypsum board", "Gypsum board 2"]


def test_depths_left_out_mean_the_depth_of_the_cavity():
    text = edit(('depths = ["15 mm", "20 mm", "30 mm", "40 mm", "60 mm"]', ""))
    assert parse_wall(text).depths == (0.03,)


def test_building_height_left_out_is_the_top_of_the_wall():
    assert parse_wall(edit(('building_height = "7 m"\n', ""))).site.building_height == pytest.approx(6.3)


def test_a_set_may_have_rails_of_its_own_or_none():
    text = edit(('name = "nearly closed"\n', 'name = "joints only"\nrail = []\n'))
    sets = parse_wall(text).opening_sets
    assert sets[0].rails == () and sets[1].rails is None


def test_the_indoor_climate_takes_one_value_or_twelve():
    text = edit(('model = "EN 15026"', 'model = "constant"\ntemperature = "21 degC"\nrelative_humidity = "45 %"'))
    indoor = parse_wall(text).indoor
    assert indoor.temperature == (pytest.approx(294.15),) and indoor.relative_humidity == (0.45,)
    twelve = ", ".join(['"20 degC"'] * 12)
    text = edit(
        ('model = "EN 15026"', f'model = "monthly"\ntemperature = [{twelve}]\nrelative_humidity = {[0.5] * 12}')
    )
    assert len(parse_wall(text).indoor.temperature) == 12


# --------------------------------------------------------------------------- doubts


def test_shallow_cavities_and_small_vents_are_doubted_with_the_rule():
    doubts = "\n".join(parse_wall(STARTER).warnings)
    assert "15 mm is below the 20 mm" in doubts and "20 mm is below" not in doubts
    assert "'fine mesh'" in doubts and "40 cm2/m" in doubts and "'10 mm slots'" not in doubts
    assert "DIN 18516-1, read second-hand" in doubts


def test_a_column_without_a_way_through_is_doubted():
    head = '[[openings.vent]]\nname = "head joint"\nheight = "head"\nkind = "joint"\nslot = "0.3 mm"\n'
    doubts = "\n".join(parse_wall(edit((head, ""))).warnings)
    assert "no opening in the upper half" in doubts
    base = head.replace("head", "base")
    doubts = "\n".join(parse_wall(edit((head, ""), (base, ""))).warnings)
    assert "the cavity is closed" in doubts


# --------------------------------------------------------------------------- inputs that vary


def test_every_uncertain_input_can_be_changed_and_nothing_else_changes():
    wall = parse_wall(STARTER)
    assert set(INPUTS) == set(UNCERTAIN)
    for name in INPUTS:
        other = changed(wall, name, 0.123)
        assert other != wall, name
        assert changed(wall, name, 0.123) == other
        assert other.columns == wall.columns
        assert other.layers == wall.layers or name == "backup.vapour_factor"
    assert changed(wall, "openings.area_factor", 0.5).opening_sets[0].openings[0].free_area == pytest.approx(0.00015)
    assert changed(wall, "rail.gap_factor", 0.5).rails[0].gap == pytest.approx(0.0125)
    wide = changed(wall, "rail.gap_factor", 1e3).rails[0]
    assert wide.gap == pytest.approx(wide.bay / wide.gaps)  # no wider than the bay that it serves
    assert changed(wall, "finish.solar_absorptance", 0.2).solar_absorptance == 0.2
    tighter = changed(wall, "backup.vapour_factor", 2.0)
    assert tighter.cladding == wall.cladding
    for before, after in zip(wall.backup, tighter.backup, strict=True):
        assert after.sd == (None if before.sd is None else 2.0 * before.sd)
        assert after.material.mu_dry == 2.0 * before.material.mu_dry
        assert after.material.conductivity == before.material.conductivity
    with pytest.raises(InputError):
        changed(wall, "site.presure", 1.0)


def test_limits_of_the_wall_file_are_those_of_the_criteria():
    from cavity.risk.limits import LIMITS

    assert set(LimitsSection.model_fields) == set(LIMITS)
    for name, row in LIMITS.items():
        leaf = next(part for part in LimitsSection.model_fields[name].metadata if hasattr(part, "read"))
        assert (leaf.low, leaf.high) == (row.lower, row.upper), name
        unit = getattr(leaf, "unit", "1")
        assert unit == {"kg/kg": "1", "d": "day"}.get(row.units, row.units), name


# --------------------------------------------------------------------------- schema and lines


def test_every_key_of_the_schema_is_described():
    seen = set()

    def walk(model):
        if model in seen:
            return
        seen.add(model)
        assert model.__doc__, model
        for name, field in model.model_fields.items():
            assert field.description and field.description.endswith((".", ".)")), f"{model.__name__}.{name}"
            for inner in _models(field.annotation):
                walk(inner)

    walk(WallFile)
    assert len(seen) == 25  # sections: a new one is added here, so that the walk is known to reach it


def test_every_value_type_says_what_it_expects():
    for model in {
        WallFile,
        *(inner for field in WallFile.model_fields.values() for inner in _models(field.annotation)),
    }:
        for name, field in model.model_fields.items():
            if not list(_models(field.annotation)) and name not in (
                "construction_water",
                "clogged",
                "uncertain",
                "basis",
            ):
                assert len(leaf_of(field).describe()) > 8, name


def test_lines_are_found_through_comments_strings_and_lists():
    text = '''# [fake]
[wall]
name = "a # b [c]"
text = """
[cladding]
x = 1
"""
[[openings]]
name = "1"
[[openings.vent]]
list = [
  ["a", "b"],
  ["c"]
]
size = 1
[[openings]]
[[openings.vent]]
"quoted key" = 1
a.b = 2
'''
    lines = key_lines(text)
    assert lines["wall",] == 2 and lines["wall", "name"] == 3 and lines["wall", "text"] == 4
    assert ("cladding",) not in lines and ("fake",) not in lines
    assert lines["openings", 0, "vent", 0, "size"] == 15
    assert lines["openings", 1, "vent", 0, "quoted key"] == 18 and lines["openings", 1, "vent", 0, "a", "b"] == 19


def test_a_key_is_shown_with_list_positions_from_one():
    assert dotted(("openings", 0, "vent", 1, "height")) == "openings[1].vent[2].height"
    assert dotted(("material", "my board", "mu")) == 'material."my board".mu'


def test_what_many_places_have_in_common_is_said_once():
    """Eight sets of small vents in three columns: one note, with the first places and a count."""
    vents = [{"height": "base", "slot": "1 mm"}, {"height": "head", "slot": "1 mm"}]
    sets = [{"name": f"set {number}", "vent": vents} for number in range(8)]
    columns = [{"name": name, "top": top} for name, top in (("a", "6 m"), ("b", "3 m"), ("c", "2 m"))]
    wall = put((("openings",), sets), (("column",), columns), (("compare", "depths"), ["10 mm", "15 mm", "30 mm"]))
    said = [each for each in parse_wall(toml(wall)).warnings if "common rules" in each]
    assert len(said) == 2, said
    assert "10 mm; 15 mm are below the 20 mm" in said[0]
    assert "'set 0', column 'b' (10 cm2/m)" in said[1] and "and 18 more" in said[1]


def test_a_membrane_of_your_own_needs_no_mu():
    film = {
        "density": "900 kg/m3", "conductivity": "0.3 W/(m K)", "specific_heat": "1500 J/(kg K)",
        "sd_table": [["20 %", "10 m"], ["90 %", "0.3 m"]],
    }  # fmt: skip
    wall = put((("material", "my film"), film), (("backup", 0, "material"), "my film"))
    assert parse_wall(toml(wall)).backup[0].sd_table == ((0.2, 10.0), (0.9, 0.3))


def test_rails_by_spacing_stand_in_the_columns_and_a_mistake_in_many_heights_is_said_once():
    columns = [{"name": "low", "top": "0.9 m"}, {"name": "high", "bottom": "2.1 m", "top": "6 m"}]
    rail = {"name": "r", "gap": "10 mm", "bay": "1 m"}
    wall = put((("column",), columns), (("rail",), [rail | {"spacing": "0.5 m"}]))
    assert parse_wall(toml(wall)).rails[0].heights == (0.5, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 5.5)
    heights = [f"{10 + number} m" for number in range(40)]
    wall = put((("column",), columns), (("rail",), [rail | {"heights": heights}]))
    (fault,) = faults(toml(wall)).values()
    assert "40 heights are outside the column" in fault.problem and "10 m, 11 m" in fault.problem


def test_vents_repeat_at_heights_or_by_spacing():
    """Open-jointed cladding in one entry: joints at the heights given, or every so often above the bottom."""
    text = edit(('height = "base"\nkind = "joint"', 'heights = ["1.2 m", "0.4 m"]\nkind = "joint"'))
    openings = parse_wall(text).opening_sets[0].openings
    assert [(one.name, one.height) for one in openings[:2]] == [
        ("base joint at 0.40 m", 0.4), ("base joint at 1.20 m", 1.2),
    ]  # fmt: skip
    spaced = parse_wall(edit(('height = "base"\nkind = "joint"', 'spacing = "1.2 m"\nkind = "joint"')))
    # 6 m high: none at the head itself, as with rails
    assert [one.height for one in spaced.opening_sets[0].openings] == pytest.approx([1.2, 2.4, 3.6, 4.8, 6.0])
    assert spaced.opening_sets[0].openings[-1].name == "head joint"


def test_a_free_area_alone_takes_the_usual_height_of_an_opening_and_says_so():
    """5 cm2/m is not a slit of 0.5 mm; 75 cm2/m with 10 mm would be wider than the wall and stays a slot all along."""
    wall = parse_wall(edit(('slot = "0.3 mm"', 'free_area = "5 cm2/m"')))
    base = wall.opening_sets[0].openings[0]
    assert (base.gross_area, base.clear_height) == pytest.approx((5e-4, 8e-3))
    assert any("'base joint'" in text and "8 mm" in text for text in wall.warnings)
    large = parse_wall(edit(('slot = "0.3 mm"', 'free_area = "150 cm2/m"')))
    assert large.opening_sets[0].openings[0].clear_height == pytest.approx(0.015)
    assert not any("clear_height" in text for text in large.warnings)
    own = parse_wall(edit(('slot = "0.3 mm"', 'free_area = "5 cm2/m"\nclear_height = "3 mm"')))
    assert own.opening_sets[0].openings[0].clear_height == pytest.approx(3e-3)


def test_rails_take_gaps_at_both_ends_mesh_and_rounded_edges_and_sets_bring_their_own():
    wall = parse_wall(
        edit(('gap = "25 mm"', 'gap = "1/8 in"\ngaps = 2\nporosity = "50 %"\nwire = "0.5 mm"\nedges = "rounded"'))
    )
    rail = wall.rails[0]
    assert (rail.gap, rail.gaps, rail.porosity, rail.wire, rail.rounded) == pytest.approx(
        (0.003175, 2, 0.5, 5e-4, True)
    )
    own = '[[openings.rail]]\nname = "short rail"\nheights = ["3 m"]\ngap = "1 in"\nbay = "600 mm"\n[compare]'
    sets = parse_wall(edit(("rail = []", ""), ("[compare]", own))).opening_sets
    assert sets[-1].rails[0].name == "short rail"
    assert sets[0].rails is None


def test_clogged_vents_are_a_set_of_their_own_beside_the_clean_one():
    """Half of a mesh closed: half its open fraction; a slot loses area. Sets without such vents are not repeated."""
    wall = parse_wall(edit(("[compare]", '[compare]\nclogged = { mesh = "50 %", joint = "20 %" }')))
    names = [one.name for one in wall.opening_sets]
    assert names[:4] == ["nearly closed", "nearly closed, clogged", "fine mesh", "fine mesh, clogged"]
    assert names.count("10 mm slots, clogged") == 0
    clean, dirty = wall.opening_set("fine mesh").openings[0], wall.opening_set("fine mesh, clogged").openings[0]
    assert (dirty.porosity, dirty.gross_area) == pytest.approx((0.5 * clean.porosity, clean.gross_area))
    joint = wall.opening_set("nearly closed, clogged").openings[0]
    assert joint.free_area == pytest.approx(0.8 * 0.3e-3)


def test_the_loss_of_a_mesh_can_vary_by_itself():
    from cavity.airflow.losses import opening_row

    wall = parse_wall(STARTER)
    row = {f: opening_row(changed(wall, "openings.mesh_factor", f).opening_set("fine mesh").openings[0], 0.03, True)
           for f in (1.0, 1.2)}  # fmt: skip
    assert row[1.2][4] == pytest.approx(1.2 * row[1.0][4], rel=1e-12)
    assert row[1.2][:4] == pytest.approx(row[1.0][:4], rel=1e-12)
