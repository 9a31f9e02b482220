"""U-values by hand, air layers against the table of ISO 6946, and the rules for ventilated layers."""

from __future__ import annotations

import dataclasses

import numpy as np
import plane_heat
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cavity.errors import InputError
from cavity.wall import uvalue
from cavity.wallfile import parse_wall, starter
from cavity.wallfile.model import Cavity, Column, Frame, Layer, Material, Opening, OpeningSet, Wall


def layer(name, thickness, conductivity, **more):
    material = Material(name, name, 1000.0, conductivity, 1000.0, 10.0, 10.0, "test")
    return Layer(name, material, thickness, **more)


def wall(area=0.0, **more):
    vents = (Opening("base", 0.0, "slot", area / 2), Opening("head", 6.0, "slot", area / 2))
    values = {
        "name": "test wall",
        "cladding": (layer("panel", 0.010, 0.25),),
        "cavity": Cavity(0.025),
        "backup": (layer("insulation", 0.10, 0.036), layer("concrete", 0.18, 1.95)),
        "columns": (Column("wall", 0.0, 6.0),),
        "opening_sets": (OpeningSet("vents", vents),),
        "depths": (0.025,),
    }
    return Wall(**{**values, **more})


@pytest.mark.parametrize(
    ("direction", "millimetres", "resistance"),
    [  # ISO 6946 table 2, unventilated air layers, emissivity >= 0.8, as quoted by B. Marteinsson, course notes,
        # ch. 2, table 2.4; two digits printed
        ("up", 5, 0.11),
        ("up", 7, 0.13),
        ("up", 10, 0.15),
        ("up", 15, 0.16),
        ("up", 25, 0.16),
        ("up", 300, 0.16),
        ("horizontal", 5, 0.11),
        ("horizontal", 7, 0.13),
        ("horizontal", 10, 0.15),
        ("horizontal", 15, 0.17),
        ("horizontal", 25, 0.18),
        ("horizontal", 300, 0.18),
        ("down", 15, 0.17),
        ("down", 25, 0.19),
        ("down", 50, 0.21),
        ("down", 100, 0.22),
        ("down", 300, 0.23),
    ],
)
def test_air_layers_of_iso_6946(direction, millimetres, resistance):
    found = uvalue.air_layer_resistance(millimetres / 1000, 0.9, 0.9, direction=direction)
    assert found == pytest.approx(resistance, abs=0.0051)  # rounding of the table


def test_low_emissivity_raises_the_air_layer():
    # one face 0.1, by hand: E = 1/(1/0.1 + 1/0.9 - 1) = 0.0989; h = 1.25 + 0.0989 * 5.149 = 1.759; R = 0.5684
    assert uvalue.air_layer_resistance(0.025, 0.1, 0.9) == pytest.approx(0.5684, abs=1e-4)  # hand figure, 4 digits


def test_u_value_of_a_course_example_by_hand():
    # B. Marteinsson, course notes, example 1: mortar 25 mm 1.20, EPS 100 mm 0.036, concrete 180 mm 1.95, mortar
    # 20 mm 1.40 -> R 3.07 to 3.08, U 0.33
    layers = (
        layer("mortar", 0.025, 1.20),
        layer("EPS", 0.1, 0.036),
        layer("concrete", 0.18, 1.95),
        layer("plaster", 0.02, 1.40),
    )
    total = 0.04 + sum(uvalue.layer_resistance(item) for item in layers) + 0.13
    assert total == pytest.approx(3.0752, abs=5e-5)  # re-computed figure, printed digits
    assert round(1 / total, 2) == 0.33


def test_unventilated_wall_by_hand():
    # 0.04 + 0.010/0.25 + 0.1831 + 0.1/0.036 + 0.18/1.95 + 0.13 = 3.26319
    found = uvalue.u_value(wall(400e-6).case())
    assert found.ventilation_class == "unventilated"
    assert found.resistance == pytest.approx(3.2632, abs=1e-4)  # air layer rounded to four digits
    assert found.u_value == pytest.approx(1 / 3.2632, abs=1e-5)
    assert sum(r for _, r in found.parts) + 0.17 == pytest.approx(found.resistance, abs=1e-12)


def test_well_ventilated_wall_drops_panel_and_air_layer_by_hand():
    # 0.13 + 0.1/0.036 + 0.18/1.95 + 0.13 = 3.13009
    found = uvalue.u_value(wall(1500e-6).case())
    assert found.ventilation_class == "well ventilated"
    assert found.resistance == pytest.approx(3.13009, abs=1e-5)
    assert found.outer_surface == 0.13
    assert dict(found.parts)["panel"] == dict(found.parts)["cavity"] == 0.0


def test_slightly_ventilated_near_its_ends_is_near_the_unventilated_or_the_ventilated_wall():
    # ISO 6946:2007, from memory: R = (1500 - A)/1000 R_unventilated + (A - 500)/1000 R_ventilated
    for millimetres2, part in ((600, 0.1), (1250, 0.75)):
        found = uvalue.u_value(wall(millimetres2 * 1e-6).case())
        expected = (1.0 - part) * 3.2632 + part * 3.13009
        assert found.resistance == pytest.approx(expected, abs=1e-4)
        assert found.undisturbed == pytest.approx(1.0 / expected, abs=1e-5)


def test_slightly_ventilated_at_1000_mm2_is_the_mean_of_both():
    # ISO 6946:2007, from memory: linear from 500 to 1500 mm2/m
    found = uvalue.u_value(wall(1000e-6).case())
    assert found.ventilation_class == "slightly ventilated"
    assert found.resistance == pytest.approx((3.2632 + 3.13009) / 2, abs=1e-4)


@pytest.mark.parametrize(
    ("millimetres2", "kind"),
    [
        (0, "unventilated"),
        (500, "unventilated"),
        (501, "slightly ventilated"),
        (1499, "slightly ventilated"),
        (1500, "well ventilated"),
        (20000, "well ventilated"),
    ],
)
def test_classes_by_opening_area(millimetres2, kind):
    # ISO 6946: <= 500, 500 to 1500, >= 1500 mm2 per m
    assert uvalue.u_value(wall(millimetres2 * 1e-6).case()).ventilation_class == kind


@settings(deadline=None)  # shared machines pause
@given(st.floats(0, 4e-3), st.floats(0, 4e-3))
def test_more_opening_never_lowers_the_u_value(first, second):
    low, high = sorted((first, second))
    assert uvalue.u_value(wall(low).case()).u_value <= uvalue.u_value(wall(high).case()).u_value * (1 + 1e-12)


def test_mesh_and_columns_count_as_a_drawing_gives_them():
    vents = (
        Opening("base", 0.0, "mesh", 0.01, porosity=0.5, columns=("left",)),
        Opening("head", 6.0, "slot", 0.002),
        Opening("above", 9.0, "slot", 0.1),
    )
    columns = (Column("left", 0.0, 6.0), Column("right", 0.0, 6.0))
    vented = dataclasses.replace(wall(), opening_sets=(OpeningSet("vents", vents),), columns=columns)
    assert vented.case(column="left").opening_area == pytest.approx(0.007)
    assert vented.case(column="right").opening_area == pytest.approx(0.002)


@pytest.mark.parametrize(("tilt", "direction"), [(90, "horizontal"), (60, "horizontal"), (45, "up"), (135, "down")])
def test_heat_flow_within_30_degrees_of_horizontal_counts_as_horizontal(tilt, direction):
    assert uvalue.heat_flow_direction(tilt) == direction


def test_membranes_have_no_thermal_resistance():
    film = dataclasses.replace(layer("film", 0.001, 0.0001), sd=2.0)
    assert uvalue.layer_resistance(film) == 0.0


@pytest.mark.parametrize(
    ("web", "spacing", "resistance"),
    [  # steel girt 50 W/(m K) through 100 mm of 0.035: 1 / (0.35 + 50 t / (0.1 s)), by hand
        (0.0012, 0.4, 0.541),
        (0.0012, 0.6, 0.741),
        (0.0015, 0.4, 0.450),
    ],
)
def test_rails_as_a_parallel_path(web, spacing, resistance):
    metal = uvalue.rail_conductance(conductivity=50.0, web=web, spacing=spacing, thickness=0.1)
    insulation = layer("insulation", 0.1, 0.035, bridge_conductance=metal, bridge_spacing=spacing)
    found = uvalue.strip_resistance(insulation, spacing)
    assert found == pytest.approx(resistance, abs=6e-4)  # printed digits
    # published: continuous girts leave 20 to 40 % of the nominal insulation; the parallel path is the lower edge
    assert 0.14 < found / (0.1 / 0.035) < 0.40


def test_point_fasteners_by_hand():
    # ISO 6946 annex D, from memory: steel 50 W/(m K), 5 mm, 6 per m2, 100 mm of 0.035, R_T 3.204 -> 0.0375
    found = uvalue.fastener_correction(
        conductivity=50.0,
        count=6.0,
        cross_section=np.pi * 0.0025**2,
        length=0.1,
        insulation_resistance=0.1 / 0.035,
        total_resistance=3.204,
        insulation_thickness=0.1,
    )
    assert found == pytest.approx(0.0375, abs=5e-5)  # printed digits


def test_rail_temperature_by_hand_and_in_the_limits():
    # strip 40 + 2 x 18 = 76 mm; metal 50 * 0.0012 / 0.076 / 0.1 = 7.8947, insulation 0.35 W/(m2 K): R 0.121290
    metal = uvalue.rail_conductance(conductivity=50.0, web=0.0012, spacing=0.6, thickness=0.1)
    insulation = layer("insulation", 0.1, 0.035, bridge_conductance=metal, bridge_spacing=0.6)
    common = {"resistance_outside": 0.13, "resistance_inside": 0.25, "cover": 0.018}
    found = uvalue.rail_temperature_factor(layer=insulation, **common)
    assert found == pytest.approx((0.13 + 0.121290) / (0.13 + 0.121290 + 0.25), abs=1e-5)
    bare = uvalue.rail_temperature_factor(layer=layer("insulation", 0.1, 0.035), **common)
    assert bare == pytest.approx((0.13 + 0.1 / 0.035) / (0.13 + 0.1 / 0.035 + 0.25), abs=1e-12)  # no metal: plain wall
    assert found < bare


def test_rail_spots_of_a_wall_by_hand():
    metal = uvalue.rail_conductance(conductivity=50.0, web=0.0012, spacing=0.6, thickness=0.1)
    backup = (layer("insulation", 0.1, 0.035, bridge_conductance=metal), layer("board", 0.018, 0.13))
    found = uvalue.rail_spots(dataclasses.replace(wall(2000e-6), backup=backup).case())
    inside = 0.018 / 0.13 + 0.13
    assert [(spot.layer, spot.behind) for spot in found] == [("insulation", "board"), ("insulation", "room")]
    total = 0.13 + 0.121290 + inside  # air to air through the strip
    assert found[0].factor == pytest.approx((0.13 + 0.121290) / total, abs=1e-5)
    assert found[1].factor == pytest.approx(1.0 - 0.13 / total, abs=1e-5)  # the board alone covers the rail: same strip
    # between rails: 0.1 / 0.035
    for spot in found:
        assert spot.drop == pytest.approx((0.13 + 2.857143 + inside) / total, abs=1e-4)


def test_the_strip_is_wider_at_the_room_face_of_a_deep_wall():
    metal = uvalue.rail_conductance(conductivity=50.0, web=0.0012, spacing=0.6, thickness=0.1)
    film = dataclasses.replace(layer("film", 0.0002, 0.3), sd=2.0)
    inner = (film, layer("board", 0.018, 0.13), layer("concrete", 0.1, 1.95))
    backup = (layer("insulation", 0.1, 0.035, bridge_conductance=metal), *inner)
    end, room = uvalue.rail_spots(dataclasses.replace(wall(2000e-6), backup=backup).case())
    assert (end.behind, room.behind) == ("board", "room")  # a membrane carries no rail
    # by hand: strip 40 + 2 x 118 = 276 mm, metal 50 x 0.0012 / 0.276 / 0.1 = 2.1739 beside 0.35 W/(m2 K): R 0.396212
    inside = 0.018 / 0.13 + 0.1 / 1.95 + 0.13
    assert room.drop == pytest.approx((0.13 + 2.857143 + inside) / (0.13 + 0.396212 + inside), abs=1e-4)
    assert end.drop > room.drop > 1.0


@settings(deadline=None)  # shared machines pause
@given(st.floats(0.0, 20.0), st.floats(1.01, 5.0), st.floats(0.1, 1.2))
def test_more_metal_makes_every_spot_colder_and_none_makes_no_spot(metal, more, spacing):
    def spots(conductance):
        insulation = layer("insulation", 0.1, 0.035, bridge_conductance=conductance, bridge_spacing=spacing)
        board = layer("board", 0.018, 0.13)
        return uvalue.rail_spots(dataclasses.replace(wall(2000e-6), backup=(insulation, board)).case())

    assert bool(spots(metal)) == (metal > 0.0)
    for less, colder in zip(spots(metal), spots(metal * more), strict=True):
        assert colder.factor <= less.factor + 1e-12
        assert less.drop >= 1.0 - 1e-12
    # hardly any metal: the plain wall
    for spot in spots(1e-9):
        assert spot.drop == pytest.approx(1.0, abs=1e-6)


@settings(deadline=None)  # shared machines pause
@given(st.floats(0.0, 20.0), st.floats(0.1, 1.2), st.floats(0.0, 0.3))
def test_a_rail_never_warms_its_inner_end(metal, spacing, cover):
    insulation = layer("insulation", 0.1, 0.035, bridge_conductance=metal, bridge_spacing=spacing)
    common = {"resistance_outside": 0.13, "resistance_inside": 0.25, "cover": cover}
    found = uvalue.rail_temperature_factor(layer=insulation, **common)
    mean = (0.13 + uvalue.layer_resistance(insulation)) / (0.13 + uvalue.layer_resistance(insulation) + 0.25)
    assert 0.13 / 0.38 <= found <= mean + 1e-12


def test_rails_and_deep_layers_are_said_in_the_notes():
    bridged = dataclasses.replace(wall(), backup=(layer("insulation", 0.1, 0.036, bridge_conductance=0.5),))
    assert any("ISO 10211" in note for note in uvalue.u_value(bridged.case()).notes)
    assert "0.3 m" in uvalue.u_value(wall().case(depth=0.4)).notes[0]


def test_unknown_names_list_the_known_ones():
    with pytest.raises(InputError, match="vents"):
        uvalue.u_value(wall().case(opening_set="ventz"))
    with pytest.raises(InputError, match="column"):
        uvalue.u_value(wall().case(column="left"))


def test_the_wall_file_hands_on_the_spacing_of_rails():
    text = starter().replace(
        'name = "insulation"\n', 'name = "insulation"\nbridge = { spacing = "400 mm", thickness = "1.2 mm" }\n', 1
    )
    insulation = next(item for item in parse_wall(text).backup if item.name == "insulation")
    assert insulation.bridge_spacing == pytest.approx(0.4)
    assert insulation.bridge_conductance == pytest.approx(
        uvalue.rail_conductance(conductivity=50.0, web=0.0012, spacing=0.4, thickness=insulation.thickness)
    )


# --------------------------------------------------------------------------- studs: combined method of ISO 6946

WOOD = Material("softwood", "softwood", 500.0, 0.13, 1600.0, 50.0, 20.0, "test")
BOARDS = (layer("board", 0.012, 0.13), layer("lining", 0.0125, 0.25))


def framed(fraction=0.15, **more):
    insulation = dataclasses.replace(
        layer("insulation", 0.16, 0.035), frame=Frame(fraction, WOOD) if fraction else None
    )
    return dataclasses.replace(wall(2000e-6), backup=(BOARDS[0], insulation, BOARDS[1]), **more)


def test_a_timber_frame_by_hand():
    """ISO 6946: upper 1 / (0.85 / 4.9737 + 0.15 / 1.6331), lower 0.4023 + 1 / (0.85 / 4.5714 + 0.15 / 1.2308)."""
    found = uvalue.u_value(framed().case())
    around = 0.13 + 0.012 / 0.13 + 0.0125 / 0.25 + 0.13
    assert 1.0 / found.undisturbed == pytest.approx(around + 0.16 / 0.035, rel=1e-12)
    upper, lower = 1.0 / (0.85 / 4.9737 + 0.15 / 1.6331), 0.4023 + 1.0 / (0.85 / 4.5714 + 0.15 / 1.2308)
    assert (found.upper, found.lower) == pytest.approx((upper, lower), abs=5e-4)  # hand figures to four decimals
    assert found.framed == found.u_value == pytest.approx(2.0 / (upper + lower), abs=1e-4)
    assert "15 %" in found.notes[0] and found.rails == found.brackets == 0.0
    assert uvalue.u_value(framed(0.0).case()).notes == ()


def test_stud_size_and_spacing_or_a_share_in_the_wall_file():
    def insulation(text):
        return next(one for one in parse_wall(bare(text)).backup if one.name == "insulation")

    by_size = insulation('frame = { width = "45 mm", spacing = "600 mm" }')
    assert by_size.frame.fraction == pytest.approx(0.075) and by_size.frame.material.name == "softwood"
    by_fraction = insulation('frame = { fraction = "15 %", material = "spruce" }')
    assert by_fraction.frame.fraction == 0.15 and by_fraction.frame.material.conductivity == 0.11
    brackets = insulation('brackets = { chi = "0.02 W/K", per_m2 = 2.5 }')
    assert brackets.bracket_loss == pytest.approx(0.05)
    line = insulation('bridge = { psi = "0.06 W/(m K)", spacing = "600 mm" }')
    assert line.bridge_loss == pytest.approx(0.1) and line.bridge_conductance == 0.0


def bare(line):
    """The starter with this line instead of the studs of its insulation."""
    text = starter().split("\n")
    at = text.index('name = "insulation"')
    text = [one for one in text if not one.startswith("frame = ")]
    return "\n".join([*text[: at + 1], line, *text[at + 1 :]])


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ('frame = { material = "softwood" }', "incomplete"),
        ('frame = { fraction = "15 %", width = "45 mm" }', "fraction together with width"),
        ('frame = { width = "600 mm", spacing = "600 mm" }', "not smaller"),
        ('frame = { fraction = "1 %", material = "steel" }', "bridge = "),
        ('frame = { fraction = "15 %", material = "sofftwood" }', "unknown material"),
        ('bridge = { psi = "0.06 W/(m K)" }', "needed with psi"),
        ("brackets = { per_m2 = 2 }", "is missing"),
    ],
)
def test_a_frame_that_is_not_one_is_refused(line, words):
    with pytest.raises(InputError) as caught:
        parse_wall(bare(line))
    assert words in str(caught.value)


@settings(deadline=None)
@given(st.floats(0.01, 0.6), st.floats(0.02, 2.0), st.floats(0.02, 0.3))
def test_studs_lie_between_both_limits_and_those_between_wood_and_insulation(share, conductivity, thickness):
    found = uvalue.combined_method([1.0 - share, share], [[0.1, thickness / 0.035], [0.1, thickness / conductivity]])
    assert found.lower <= found.resistance <= found.upper
    ends = sorted(0.27 + thickness / one for one in (0.035, conductivity))
    assert ends[0] - 1e-12 <= found.lower and found.upper <= ends[1] + 1e-12
    same = uvalue.combined_method([1.0 - share, share], [[0.1, 1.0], [0.1, 1.0]])
    assert same.upper == pytest.approx(same.lower, rel=1e-12) and same.error == pytest.approx(0.0, abs=1e-12)


def test_a_stud_through_two_layers_is_one_and_battens_that_cross_are_not():
    halves = [dataclasses.replace(layer(name, 0.08, 0.035), frame=Frame(0.15, WOOD)) for name in ("a", "b")]
    film = dataclasses.replace(layer("film", 0.0002, 0.3), sd=2.0)
    whole = uvalue.u_value(framed().case())
    split = uvalue.u_value(
        dataclasses.replace(framed(), backup=(BOARDS[0], halves[0], film, halves[1], BOARDS[1])).case()
    )
    assert split.framed == pytest.approx(whole.framed, rel=1e-12)
    battens = dataclasses.replace(layer("service", 0.05, 0.035), frame=Frame(0.10, WOOD))
    fractions, each = uvalue.frame_sections([halves[0], battens])
    assert sorted(fractions) == pytest.approx(sorted([0.85 * 0.9, 0.15 * 0.9, 0.85 * 0.1, 0.15 * 0.1]))
    assert each.shape == (4, 2)


@pytest.mark.parametrize("width", [0.045, 0.06, 0.09])
def test_the_combined_method_agrees_with_a_two_dimensional_calculation(width):
    """ISO 10211 by finite volumes: between the limits, and within 2 % of their mean."""
    layers = [(0.012, 0.13), (0.16, 0.035), (0.0125, 0.25)]
    plane, *_ = plane_heat.u_value(
        0.3, layers, [(0.0, width / 2, 0.012, 0.172, 0.13)], outside=0.13, inside=0.13, smallest=0.001
    )
    found = uvalue.u_value(framed(width / 0.6).case())
    assert found.lower < 1.0 / plane < found.upper
    assert found.u_value == pytest.approx(plane, rel=0.02)


def test_the_two_dimensional_calculation_is_exact_without_studs_and_settled_with_them():
    layers = [(0.012, 0.13), (0.16, 0.035), (0.0125, 0.25)]
    plain, *_ = plane_heat.u_value(0.3, layers, [], outside=0.13, inside=0.13)
    assert plain == pytest.approx(1.0 / (0.26 + 0.012 / 0.13 + 0.16 / 0.035 + 0.05), rel=1e-10)
    rail = [(0.0, 0.0006, 0.012, 0.172, 50.0), (0.0, 0.02, 0.012, 0.0132, 50.0), (0.0, 0.02, 0.1708, 0.172, 50.0)]
    coarse, fine = (
        plane_heat.u_value(0.3, layers, rail, outside=0.13, inside=0.13, smallest=one)[0] for one in (4e-4, 2e-4)
    )
    assert coarse == pytest.approx(fine, rel=0.01)


# --------------------------------------------------------------------------- metal: zone method

# metal thickness, conductivity, distance, layers outside to inside, bridged layer, flange, outside, inside
METAL = {
    "steel studs": (0.0008, 50.0, 0.4, [(0.0127, 0.16), (0.09, 0.0464), (0.0127, 0.16)], 1, 0.041, 0.03, 0.12),
    "thick steel studs": (0.0012, 50.0, 0.6, [(0.0127, 0.16), (0.15, 0.0464), (0.0127, 0.16)], 1, 0.041, 0.04, 0.13),
    "aluminium rails": (0.002, 160.0, 0.6, [(0.012, 0.13), (0.16, 0.035), (0.0125, 0.25)], 1, 0.04, 0.13, 0.13),
    "girts on a light wall": (0.0012, 50.0, 0.6, [(0.1, 0.035), (0.0125, 0.2), (0.14, 0.04), (0.0125, 0.25)], 0, 0.04,
                              0.13, 0.13),
    "girts on a board": (0.0012, 50.0, 0.6, [(0.1, 0.035), (0.0125, 0.2)], 0, 0.04, 0.13, 0.13),
    "girts on concrete": (0.0012, 50.0, 0.6, [(0.1, 0.035), (0.18, 2.3)], 0, 0.04, 0.13, 0.13),
    "aluminium on concrete": (0.002, 160.0, 0.6, [(0.1, 0.035), (0.18, 2.3)], 0, 0.04, 0.13, 0.13),
    "stainless rails": (0.0015, 17.0, 0.6, [(0.1, 0.035), (0.18, 2.3)], 0, 0.04, 0.13, 0.13),
}  # fmt: skip


@pytest.mark.parametrize("name", METAL)
def test_the_zone_method_stays_near_a_two_dimensional_calculation(name):
    """ISO 10211 by finite volumes, rails with two flanges: from 6 % below to 20 % above; parallel paths are far off."""
    web, metal, spacing, layers, bridged, flange, outside, inside = METAL[name]
    top = sum(d for d, _ in layers[:bridged])
    end = top + layers[bridged][0]
    blocks = [
        (0.0, web / 2, top, end, metal),
        (0.0, flange / 2, top, top + web, metal),
        (0.0, flange / 2, end - web, end, metal),
    ]
    plane, *_ = plane_heat.u_value(spacing / 2, layers, blocks, outside=outside, inside=inside, smallest=web / 4)
    found = uvalue.zone_method(
        resistance_outside=outside + sum(d / k for d, k in layers[:bridged]),
        resistance_inside=inside + sum(d / k for d, k in layers[bridged + 1 :]),
        thickness=layers[bridged][0], conductivity=layers[bridged][1], web=web, spacing=spacing,
        metal_conductivity=metal, flange=flange, cover_outside=top,
        cover_inside=sum(d for d, _ in layers[bridged + 1 :]),
    )  # fmt: skip
    assert 0.94 * plane <= found.u_value <= 1.20 * plane
    total = outside + inside + sum(d / k for d, k in layers)
    assert found.undisturbed == pytest.approx(1.0 / total, rel=1e-12)


def test_a_wall_with_aluminium_rails_is_no_longer_a_parallel_path():
    """2 mm aluminium through 160 mm of wool: 1.36 W/(m2 K) as parallel paths, by hand with a 66 mm strip 0.46."""
    metal = uvalue.rail_conductance(conductivity=160.0, web=0.002, spacing=0.6, thickness=0.16)
    insulation = layer("insulation", 0.16, 0.035, bridge_conductance=metal)
    found = uvalue.u_value(dataclasses.replace(framed(), backup=(BOARDS[0], insulation, BOARDS[1])).case())
    around = 0.26 + 0.012 / 0.13 + 0.05
    strip = around + 1.0 / (0.035 / 0.16 + 160.0 * 0.002 / (0.066 * 0.16))
    field = around + 0.16 / 0.035
    assert found.u_value == pytest.approx(0.11 / strip + 0.89 / field, rel=1e-9)
    assert found.rails == pytest.approx(found.u_value - 1.0 / field, rel=1e-9)
    assert 0.4 < found.u_value < 0.5 < 1.0 / (around + uvalue.strip_resistance(insulation, 0.6))


def test_brackets_and_known_transmittances_add_up():
    plain = uvalue.u_value(framed().case())
    insulation = dataclasses.replace(framed().backup[1], bracket_loss=0.05, bridge_loss=0.1)
    found = uvalue.u_value(dataclasses.replace(framed(), backup=(BOARDS[0], insulation, BOARDS[1])).case())
    assert found.u_value == pytest.approx(plain.u_value + 0.15, rel=1e-12)
    assert (found.brackets, found.rails) == (0.05, 0.1)
    assert (
        "brackets add 0.050" in uvalue.contributions_text(found)
        and uvalue.contributions_text(uvalue.u_value(framed(0.0).case())) == ""
    )


def test_the_line_through_the_studs_has_their_material():
    studs = uvalue.at_studs(framed())
    assert studs.backup[1].material == WOOD and studs.backup[1].name == "insulation" and studs.backup[1].frame is None
    assert uvalue.at_studs(framed(0.0)) == framed(0.0)


def test_a_line_through_studs_needs_studs():
    text = bare("# none").replace("max_years = 5", "max_years = 5\nstud_line = true")
    with pytest.raises(InputError, match="no layer has studs"):
        parse_wall(text)
    assert parse_wall(starter().replace("max_years = 5", "max_years = 5\nstud_line = true")).run.stud_line


@settings(deadline=None)
@given(st.floats(0.0002, 0.004), st.floats(10.0, 200.0), st.floats(0.2, 1.5), st.floats(0.04, 0.3), st.floats(0.0, 0.3))
def test_metal_only_adds_and_never_more_than_as_a_parallel_path(web, metal, spacing, thickness, cover):
    common = {
        "resistance_outside": 0.13, "resistance_inside": 0.25, "thickness": thickness, "conductivity": 0.035,
        "spacing": spacing, "metal_conductivity": metal, "cover_inside": cover,
    }  # fmt: skip
    found = uvalue.zone_method(web=web, **common)
    parallel = 1.0 / (0.38 + 1.0 / (0.035 / thickness + metal * web / (spacing * thickness)))
    assert found.undisturbed < found.u_value <= parallel * (1 + 1e-12)
    assert uvalue.zone_method(web=1.1 * web, **common).u_value > found.u_value
    assert found.undisturbed == pytest.approx(1.0 / (0.38 + thickness / 0.035), rel=1e-12)
    assert found.width <= spacing and found.width <= 0.04 + 2 * 0.05 + 1e-12
