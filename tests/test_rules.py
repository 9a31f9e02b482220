"""The rule check: what is asked beside what is drawn, by hand-made walls with a known right answer."""

from dataclasses import replace

import pytest
from dataset_factory import make_dataset
from hypothesis import given
from hypothesis import strategies as st
from wall_texts import STARTER, edit

from cavity.errors import InputError
from cavity.risk import rules
from cavity.wallfile import parse_wall, read_rules
from cavity.wallfile.build import leak_plane
from cavity.wallfile.recorded import to_json
from cavity.wallfile.schema import RULE_QUANTITIES

OUTCOMES = {"met", "not met", "does not apply", "check by hand"}


def dataset_of(wall, opening_set, depth, lower=0.02, upper=0.02, column=None):
    """A result with the wall's own description; only what the rule check reads is true to the wall."""
    ds = make_dataset(hours=24, depth=depth, opening_set=opening_set)
    chosen = wall.opening_set(opening_set)
    column = column or wall.columns[0]
    ds = ds.assign_attrs(wall_json=to_json(wall), column=column.name, column_bottom=column.bottom,
                         column_top=column.top)  # fmt: skip
    ends = (chosen.openings[0], chosen.openings[-1])
    return ds.assign_coords(
        opening=[one.name for one in ends], opening_height=("opening", [one.height for one in ends]),
        opening_area=("opening", [lower, upper]),
    )  # fmt: skip


def found(ds, document, word):
    return next(each for each in rules.checks(ds) if each.document == document and word in each.asks)


def test_sizes_are_compared_with_the_drawing():
    wall = parse_wall(STARTER)
    ds = dataset_of(wall, "10 mm slots", 0.015, lower=0.0040, upper=0.0060)
    depth = found(ds, "DIN 18516-1", "depth")
    assert (depth.drawn, depth.outcome, depth.known) == ("15 mm", "not met", "read second-hand")
    assert found(ds, "DIN 18516-1", "foot at least 50").outcome == "not met"
    assert found(ds, "DIN 18516-1", "roof edge").drawn == "60 cm²/m"
    assert found(ds, "DIN 18516-1", "roof edge").outcome == "met"
    assert found(ds, "NHBC Standards", "50 mm clear").outcome == "not met"
    assert found(ds, "ICC 700", "1/4 in").outcome == "met"
    assert found(ds, "NBC", "10 mm").outcome == "met"
    assert found(ds, "NBC", "10 mm").known == "recalled from memory"
    assert found(ds, "IBC", "stucco").outcome == "does not apply"
    assert found(ds, "Austrian brick association", "lintel").outcome == "does not apply"
    assert found(ds, "Approved Document B, EN 1364-6, BS 9414", "fire").outcome == "check by hand"


@pytest.mark.parametrize(("lower", "upper"), [(0.02, 0.0), (0.0, 0.02), (0.0, 0.0)])
def test_vents_in_one_half_do_not_vent_a_strip(lower, upper):
    """ICC 700 and NCC ask for a cavity vented top and bottom: the depth alone does not meet them."""
    ds = dataset_of(parse_wall(STARTER), "10 mm slots", 0.040, lower=lower, upper=upper)
    for check in (found(ds, "ICC 700", "1/4 in"), found(ds, "NCC", "vented cavity")):
        assert check.outcome == "not met" and "not vented both below and above" in check.drawn


def test_sizes_met_exactly_are_met():
    wall = parse_wall(STARTER)
    ds = dataset_of(wall, "10 mm slots", 0.020, lower=0.0050, upper=0.0050)
    assert {each.outcome for each in rules.checks(ds) if each.document == "DIN 18516-1" and "rib" not in each.asks} == {
        "met"
    }
    assert rules.below_common(0.020, 0.0050, 0.0050) == ()


def test_a_wide_open_slot_at_the_foot_asks_for_a_grille():
    wall = parse_wall(edit(('slot = "20 mm"', 'slot = "25 mm"')))
    wide = found(dataset_of(wall, "20 mm slots", 0.04), "DIN 18516-1", "grille")
    assert (wide.drawn, wide.outcome) == ("25 mm without a grille", "not met")
    assert found(dataset_of(wall, "fine mesh", 0.04), "DIN 18516-1", "grille").outcome == "met"


def test_open_joints_ask_for_more_depth_and_a_width():
    """50 mm behind open joints, 38 mm without; a joint at least 10 mm wide."""
    vent = '[[openings.vent]]\nname = "joint"\nheight = "3 m"\nkind = "joint"\nslot = "8 mm"\n'
    jointed = parse_wall(edit(('[[openings]]\nname = "10 mm slots"\n', f'[[openings]]\nname = "10 mm slots"\n{vent}')))
    ds = dataset_of(jointed, "10 mm slots", 0.04)
    one = next(each for each in jointed.opening_set("10 mm slots").openings if each.name == "joint")
    ds = ds.isel(opening=[0, 0, 1]).assign_coords(
        opening=["base slot", "joint", "head slot"], opening_height=("opening", [0.0, one.height, 6.0]),
        opening_area=("opening", [0.01, one.free_area, 0.01]),
    )  # fmt: skip
    assert found(ds, "NHBC Standards", "50 mm clear").outcome == "not met"
    width = found(ds, "NHBC Standards", "joints at least")
    assert (width.drawn, width.outcome) == ("narrowest 8 mm", "not met")
    plain = dataset_of(parse_wall(STARTER), "10 mm slots", 0.04)
    assert found(plain, "NHBC Standards", "50 mm clear").outcome == "met"


def test_an_upper_bound_of_an_own_rule_is_kept():
    own = '[[rule]]\ndocument = "Ours"\nquantity = "cavity depth"\nat_least = "20 mm"\nat_most = "40 mm"\n'
    wall = parse_wall(edit(("[run]", own + "[run]")))
    outcomes = [rules.checks(dataset_of(wall, "10 mm slots", depth))[0].outcome for depth in (0.015, 0.02, 0.04, 0.05)]
    assert outcomes == ["not met", "met", "met", "not met"]


def test_the_membrane_outside_the_insulation_is_judged_not_the_retarder():
    wall = parse_wall(STARTER)
    ncc = found(dataset_of(wall, "10 mm slots", 0.03), "NCC", "vapour-open")
    assert "breather membrane" in ncc.drawn and "retarder" not in ncc.drawn
    open_one = replace(wall, backup=(replace(wall.backup[0], sd=0.1), *wall.backup[1:]))
    assert found(dataset_of(open_one, "10 mm slots", 0.03), "NCC", "vapour-open").outcome == "met"


def test_every_built_in_rule_names_document_clause_and_how_it_is_known():
    wall = parse_wall(STARTER)
    for each in rules.checks(dataset_of(wall, "10 mm slots", 0.03)):
        assert each.document and each.clause and each.asks and each.drawn
        assert each.known in {rules.READ, rules.SECOND, rules.RECALLED}
        assert each.outcome in OUTCOMES


def test_rules_of_the_users_own_come_first_and_from_both_places(tmp_path):
    own = '[[rule]]\ndocument = "Our details"\nclause = "4.2"\nquantity = "rail gap"\nat_least = "250 mm"\n'
    path = tmp_path / "rules.toml"
    path.write_text(own + '[[rule]]\ndocument = "Ours"\nquantity = "free vent area"\nat_most = "500 cm2/m"\n', "utf-8")
    beside = read_rules(path)
    wall = parse_wall(edit(("[run]", own + "[run]")))
    assert wall.rules == beside[:1]
    check = rules.checks(dataset_of(wall, "10 mm slots", 0.03))[0]
    assert (check.document, check.clause, check.known) == ("Our details", "4.2", "your own rule")
    assert (check.asks, check.drawn, check.outcome) == ("rail gap at least 250 mm", "25 mm", "not met")
    assert beside[1].at_most == pytest.approx(0.05) and beside[1].at_least is None


def test_rules_do_not_move_the_numbers_of_a_case(inland):
    from cavity.study.cases import Job, key_of

    plain = parse_wall(STARTER)
    ruled = parse_wall(
        edit(("[run]", '[[rule]]\ndocument = "d"\nquantity = "cavity depth"\nat_least = "50 mm"\n[run]'))
    )
    assert key_of(Job(plain.case(), inland)) == key_of(Job(ruled.case(), inland))


@pytest.mark.parametrize(
    ("text", "problem"),
    [("", "missing"), ("[[rule]]\nquantity = 'rail gap'", "missing"), ("[[rule]]\ndocumnt = 'x'", "unknown key"),
     ("[wall]\nname = 'x'", "unknown section"), ("rule = 3", "")],
)  # fmt: skip
def test_a_wrong_file_of_rules_is_one_clear_error(tmp_path, text, problem):
    path = tmp_path / "rules.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(InputError) as raised:
        read_rules(path)
    assert any(problem in fault.problem for fault in raised.value.faults)
    assert all("rules.toml" in fault.where for fault in raised.value.faults)


def test_every_quantity_of_the_schema_is_measured():
    assert set(RULE_QUANTITIES) == set(rules.OWN_QUANTITIES)


@given(st.floats(0.0, 0.1), st.floats(0.0, 0.05), st.floats(0.0, 0.05))
def test_below_common_names_just_what_is_below(depth, lower, upper):
    said = rules.below_common(depth, lower, upper)
    assert len(said) == (depth < 0.02 - 1e-9) + (lower < 0.005 - 1e-9) + (upper < 0.005 - 1e-9)


# ---- the default plane of a leak -----------------------------------------------------------------------------------
def test_a_leak_without_a_layer_reaches_the_coldest_plane_inside_the_sheathing():
    """Membrane, sheathing, insulation, retarder, lining: the inner surface of the sheathing, and the wall says so."""
    wall = parse_wall(edit(('leak_layer = "insulation"', "# no layer")))
    assert wall.backup[wall.wetting.leak_layer].name == "insulation"
    (said,) = [each for each in wall.warnings if "leak_layer" in each]
    assert "inner surface of 'sheathing'" in said and "coldest plane inside the sheathing" in said
    assert parse_wall(STARTER).wetting.leak_layer == wall.wetting.leak_layer
    assert not [each for each in parse_wall(STARTER).warnings if "leak_layer" in each]


def test_the_sheathing_is_the_outermost_board_with_insulation_behind_it():
    backup = parse_wall(STARTER).backup
    membrane, board, wool, retarder, lining = backup
    assert leak_plane([membrane, wool, board, wool, retarder, lining])[0] == 3  # exterior insulation, then sheathing
    index, why = leak_plane([membrane, wool, lining])  # a slab behind exterior insulation, nothing inside it
    assert index == 2 and "exterior surface" in why
    assert leak_plane([board, lining])[0] == 1  # never the exterior surface of the whole wall
    assert leak_plane([board])[0] == 0


def test_leak_flow_of_nothing_is_no_fault():
    wall = parse_wall(edit(('leak_flow = "0.01 m3/(m2 h)"', 'leak_flow = "0 m3/(m2 h)"')))
    assert wall.wetting.leak_flow == 0.0
