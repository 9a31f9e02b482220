"""From the wall to the ladder: openings, rails, barriers, segments; and what they do to the flow."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from cavity.airflow.column import build_column
from cavity.airflow.losses import mesh_loss_bailey_2003, opening_row
from cavity.errors import InputError
from cavity.kernels import network
from cavity.kernels.pressure_drop import PIECES, restriction_loss
from cavity.wallfile.model import (
    Barrier,
    Cavity,
    Column,
    Layer,
    Material,
    Opening,
    OpeningSet,
    Rail,
    Run,
    Wall,
    ventilation_class,
)

MU = 1.81e-5
_BOARD = Layer("board", Material("board", "board", 1400, 0.3, 900, 50, 30, "invented"), 0.008)
_INSULATION = Layer("wool", Material("wool", "wool", 40, 0.035, 900, 1, 1, "invented"), 0.16)


def make_wall(*, rails=(), barriers=(), openings=None, columns=None, segments=3, blocked=0.0):
    """Two storeys, base and head slots of 10 mm, unless given otherwise; invented."""
    openings = openings or (Opening("base", 0.0, "slot", 0.01), Opening("head", 6.0, "slot", 0.01))
    return Wall(
        name="invented wall",
        cladding=(_BOARD,),
        cavity=Cavity(0.03, blocked=blocked),
        backup=(_INSULATION,),
        columns=columns or (Column("plain", 0.0, 6.0),),
        opening_sets=(OpeningSet("set", tuple(openings)),),
        depths=(0.03,),
        rails=tuple(rails),
        barriers=tuple(barriers),
        run=Run(segments=segments),
    )


def flows(column, drive, rho_link=1.2):
    """Return link flows, opening flows, part losses at a drive per link."""
    n = len(column.openings)
    flow, work, chain = column.scratch()
    rho = np.full(max(n - 1, 0), rho_link)
    status, *_ = network.solve_column(
        column.opening_law, column.link_law, column.part_law, column.part_link, column.link_open,
        np.broadcast_to(np.asarray(drive, dtype=float), (max(n - 1, 0),)).copy(), 1.2, rho, MU, flow, work, chain,
    )  # fmt: skip
    assert status == network.SOLVED
    q, losses = np.zeros(n), np.zeros(len(column.path_names))
    network.opening_flows(flow, q)
    network.path_losses(
        column.path_source, column.path_index, column.opening_law, column.link_law, column.part_law, column.part_link,
        1.2, rho, MU, flow, losses,
    )  # fmt: skip
    return flow, q, losses


def column_of(wall, name="", depth=0.03):
    return build_column(wall.case(depth=depth, column=name))


def test_plain_column_has_two_openings_one_link_and_the_wanted_segments():
    column = column_of(make_wall(segments=3))
    assert column.opening_names == ("base", "head")
    assert column.link_law.shape == (1, 5)
    assert column.segment_names == ("base", "middle", "top")
    np.testing.assert_allclose(column.segment_bottom, [0, 2, 4])
    np.testing.assert_allclose(column.segment_top, [2, 4, 6])
    assert column.segment_link.tolist() == [0, 0, 0]
    assert column.opening_area.sum() == pytest.approx(0.02)
    assert column.iso6946_class == "well ventilated"


@settings(max_examples=100, deadline=None)
@example(heights=[0.0, 5e-324], closed=[], segments=1)
@given(
    st.lists(st.floats(0.0, 6.0), max_size=6),
    st.lists(st.floats(0.0, 6.0), max_size=3),
    st.integers(1, 12),
)
def test_segments_cover_the_column_without_gaps_whatever_the_openings(heights, closed, segments):
    openings = [Opening(f"o{i}", z, "slot", 0.01) for i, z in enumerate(heights)]
    wall = make_wall(
        openings=[Opening("x", 99.0, "slot", 0.01), *openings],
        barriers=[Barrier("b", z) for z in closed],
        segments=segments,
    )
    column = column_of(wall)
    assert column.segment_bottom[0] == 0.0
    assert column.segment_top[-1] == 6.0
    np.testing.assert_array_equal(column.segment_bottom[1:], column.segment_top[:-1])
    sizes = column.segment_top - column.segment_bottom
    assert np.all(sizes > 0.0)
    assert np.all(sizes[column.segment_link < 0] >= 0.05 / 12)  # still pieces: 50 mm, cut into 12 at most
    assert len(column.segment_names) == len(set(column.segment_names)) >= segments
    assert np.all(column.segment_link < max(len(heights) - 1, 0))
    assert len(column.path_names) == len(set(column.path_names))
    assert np.all(np.diff(column.path_height) >= 0)
    _, q, losses = flows(column, 1.0)
    assert np.all(np.isfinite(losses))
    assert abs(q.sum()) <= 1e-9 * max(np.abs(q).max(initial=0.0), 1e-300)


def test_column_takes_only_its_own_openings_rails_and_barriers():
    wall = make_wall(
        columns=(Column("below window", 0.0, 0.9), Column("above window", 2.4, 6.0)),
        openings=(
            Opening("base", 0.0, "slot", 0.01),
            Opening("sill", 0.9, "slot", 0.01, columns=("below window",)),
            Opening("lintel", 2.4, "slot", 0.01, columns=("above window",)),
            Opening("head", 6.0, "slot", 0.01),
        ),
        rails=(
            Rail("rail", (0.4, 2.4, 2.8, 3.2), 0.01, 0.6),
            Rail("other", (4.0,), 0.01, 0.6, columns=("below window",)),
        ),
        barriers=(Barrier("fire", 3.0, 0.001, columns=("above window",)),),
    )
    low, high = column_of(wall, "below window"), column_of(wall, "above window")
    assert low.opening_names == ("base", "sill")
    assert high.opening_names == ("lintel", "head")
    assert [n for n, k in zip(low.path_names, low.path_kinds, strict=True) if k == "rail"] == ["rail at 0.40 m"]
    assert [n for n, k in zip(high.path_names, high.path_kinds, strict=True) if k == "rail"] == [
        "rail at 2.80 m",
        "rail at 3.20 m",
    ]
    assert "fire at 3.00 m" in high.path_names
    assert high.bottom == 2.4


def test_rails_of_the_opening_set_win_over_those_of_the_wall():
    wall = make_wall(rails=[Rail("rail", (1.0, 2.0), 0.01, 0.6)])
    case = wall.case(depth=0.03)
    own = replace(case, opening_set=OpeningSet("none", wall.opening_sets[0].openings, rails=()))
    assert "rail" in build_column(case).path_kinds
    assert "rail" not in build_column(own).path_kinds


def test_the_smallest_rail_gap_governs_the_flow_and_takes_the_loss():
    # rails each 400 mm with gaps of 3 to 25 mm in bays of 600 mm: flow falls with the gap, the loss moves to the rails
    heights = tuple(round(0.4 * i, 1) for i in range(1, 15))
    flow_of, share_of = [], []
    for gap in (0.025, 0.012, 0.006, 0.003):
        column = column_of(make_wall(rails=[Rail("rail", heights, gap, 0.6)]))
        flow, _, losses = flows(column, 1.0)
        kinds = np.array(column.path_kinds)
        flow_of.append(flow[0])
        share_of.append(losses[kinds == "rail"].sum() / losses.sum())
    assert np.all(np.diff(flow_of) < 0)
    assert np.all(np.diff(share_of) > 0)
    assert share_of[-1] > 0.99
    # sharp gaps alone in series: Q = rho Cd A sqrt(2 dp / (n rho)); creeping flow makes it less, by 20 % at most here
    plain = 1.2 * 0.6 * (0.003 * 0.03 / 0.6) * np.sqrt(2 * 1.0 / (14 * 1.2))
    assert 0.7 * plain < flow_of[-1] < plain

    mixed = column_of(
        make_wall(rails=[Rail("wide", heights[:-1], 0.025, 0.6), Rail("tight", heights[-1:], 0.003, 0.6)])
    )
    _, _, losses = flows(mixed, 1.0)
    worst = mixed.path_names[int(np.argmax(losses))]
    assert worst == "tight at 5.60 m"
    assert losses.max() / losses.sum() > 0.8


def test_a_closed_barrier_leaves_still_air_on_both_sides_unless_there_is_another_vent():
    barrier = [Barrier("fire stop", 2.7)]
    column = column_of(make_wall(barriers=barrier))
    flow, q, losses = flows(column, 5.0)
    assert flow.tolist() == [0.0]
    assert q.tolist() == [0.0, 0.0]
    assert losses.tolist() == [0.0] * len(losses)
    assert 2.7 in column.segment_top  # the closed barrier bounds a segment
    more = (
        Opening("base", 0.0, "slot", 0.01),
        Opening("joint", 2.6, "joint", 0.01),
        Opening("joint above", 2.8, "joint", 0.01),
        Opening("head", 6.0, "slot", 0.01),
    )
    flow, q, _ = flows(column_of(make_wall(barriers=barrier, openings=more)), [1.0, 1.0, -1.0])
    assert flow[0] > 0.0
    assert flow[1] == 0.0
    assert flow[2] < 0.0


def test_a_barrier_with_a_residual_area_passes_what_its_area_lets():
    tight, wider = (flows(column_of(make_wall(barriers=[Barrier("s", 2.7, a)])), 10.0)[0][0] for a in (1e-3, 2e-3))
    # Q = rho Cd A sqrt(2 dp / rho) of the strip alone; creeping flow (Re 500) and the vents take some per cent
    assert tight == pytest.approx(1.2 * 0.6 * 1e-3 * np.sqrt(2 * 10 / 1.2), rel=0.1)
    assert tight < wider < 2.2 * tight


def test_blocked_share_and_depth_change_the_channel():
    narrow = column_of(make_wall(blocked=0.2))
    assert narrow.area == pytest.approx(0.024)
    deep, shallow = (flows(column_of(make_wall(), depth=d), 0.05)[0][0] for d in (0.03, 0.008))
    assert deep > 2 * shallow


def test_a_shut_vent_stays_in_the_list_and_carries_nothing():
    openings = (
        Opening("base", 0.0, "slot", 0.01),
        Opening("shut", 3.0, "slot", 0.0),
        Opening("head", 6.0, "slot", 0.01),
    )
    column = column_of(make_wall(openings=openings))
    _, q, _ = flows(column, 0.5)
    assert column.opening_names == ("base", "shut", "head")
    assert q[1] == 0.0
    assert q[0] == -q[2] > 0.0


@settings(max_examples=50, deadline=None)
@given(st.floats(0.001, 0.02), st.floats(0.01, 10.0))
def test_a_symmetric_column_flows_down_as_it_flows_up(slot, drive):
    openings = (Opening("base", 0.0, "slot", slot), Opening("head", 6.0, "slot", slot))
    column = column_of(make_wall(openings=openings))
    up, down = flows(column, drive)[0][0], flows(column, -drive)[0][0]
    assert down == pytest.approx(-up, rel=1e-9)  # entry and exit losses change places


def test_no_openings_at_all_is_still_air():
    column = column_of(make_wall(openings=[Opening("elsewhere", 50.0, "slot", 0.01)]))
    assert column.opening_names == ()
    assert column.segment_link.tolist() == [-1, -1, -1]
    assert column.iso6946_class == "unventilated"


@pytest.mark.parametrize(
    ("area", "name"),  # ISO 6946:2017, 6.9.2-6.9.4
    [
        (0.0, "unventilated"),
        (500e-6, "unventilated"),
        (0.3e-3 + 0.2e-3, "unventilated"),
        (501e-6, "slightly ventilated"),
        (1499e-6, "slightly ventilated"),
        (1500e-6, "well ventilated"),
    ],
)
def test_class_of_the_air_layer_follows_iso_6946(area, name):
    assert ventilation_class(area) == name


def test_unknown_column_and_impossible_depth_are_told_with_the_known_names():
    wall = make_wall()
    with pytest.raises(InputError, match="plain"):
        column_of(wall, "nowhere")
    with pytest.raises(InputError, match="above 0"):
        column_of(wall, depth=0.0)


def test_mesh_in_a_vent_adds_the_published_loss_at_its_wire_reynolds_number():
    plain = opening_row(Opening("v", 0.0, "slot", 0.01), 10.0, at_end=False)[np.newaxis]
    mesh = opening_row(Opening("v", 0.0, "mesh", 0.01, porosity=0.5, wire=3e-4), 10.0, at_end=False)[np.newaxis]
    v, rho = 0.5, 1.2
    extra = [restriction_loss(row, 0, v * rho * 0.01, rho, rho, MU)[0] for row in (plain, mesh)]
    # Bailey 2003 on the face speed, as the published table of losses.mesh_loss_bailey_2003
    expected = mesh_loss_bailey_2003(0.5, rho * v * 3e-4 / MU) * 0.5 * rho * v**2
    assert extra[1] - extra[0] == pytest.approx(float(expected), rel=1e-12)


def test_every_piece_between_rails_pays_its_entry_anew():
    rails = [Rail("open rail", (1.0, 2.0, 3.0), 0.6, 0.6)]  # as open as the channel: no loss of its own
    column = column_of(make_wall(rails=rails))
    assert column.link_law[0, PIECES] == 4
    plain, railed = (flows(column_of(make_wall(rails=r)), 0.05)[0][0] for r in ((), rails))
    assert railed < plain


def bridge_loss(rail, speed=0.3, depth=0.03):
    from cavity.airflow.losses import rail_row

    row = rail_row(rail, depth, depth)[np.newaxis]
    return restriction_loss(row, 0, 1.2 * depth * speed, 1.2, 1.2, MU)[0]


def test_two_gaps_of_a_bay_pass_what_one_of_twice_the_length_passes_but_for_the_creeping_part():
    one, two = Rail("r", (1.0,), 0.05, 0.6), Rail("r", (1.0,), 0.025, 0.6, gaps=2)
    assert bridge_loss(two) == pytest.approx(bridge_loss(one), rel=0.02)
    assert bridge_loss(two) > bridge_loss(one)  # smaller hydraulic diameter
    assert bridge_loss(Rail("r", (1.0,), 0.05, 0.6, gaps=2)) < 0.3 * bridge_loss(one)  # twice the area: a quarter


def test_rounded_edges_lose_forty_per_cent_less():
    """Gullbrekken et al. 2018 (abstract read); at a speed at which the creeping part is small."""
    sharp, rounded = Rail("r", (1.0,), 0.05, 0.6), Rail("r", (1.0,), 0.05, 0.6, rounded=True)
    assert bridge_loss(rounded, 2.0) == pytest.approx(0.6 * bridge_loss(sharp, 2.0), rel=0.01)


def test_mesh_in_the_gaps_adds_the_loss_of_the_mesh_at_the_speed_in_the_gap():
    bare = Rail("r", (1.0,), 0.05, 0.6)
    meshed = Rail("r", (1.0,), 0.05, 0.6, porosity=0.5, wire=5e-4)
    speed = 0.3 * 0.6 / 0.05
    zeta = float(mesh_loss_bailey_2003(0.5, 1.2 * speed * 5e-4 / MU))
    assert bridge_loss(meshed) - bridge_loss(bare) == pytest.approx(0.6 * speed**2 * zeta, rel=1e-9)
    perforated = Rail("r", (1.0,), 0.05, 0.6, porosity=0.5, hole=5e-3)
    assert bridge_loss(perforated) > bridge_loss(bare)
    column = column_of(make_wall(rails=[meshed]))
    area = dict(zip(column.path_names, column.path_area, strict=True))
    assert area["r at 1.00 m"] == pytest.approx(0.5 * 0.05 * 0.03 / 0.6)


def test_a_segment_lies_in_the_compartment_that_holds_its_middle():
    vents = [Opening(f"o{z}", z, "slot", 0.01) for z in (0.0, 1.5, 2.5, 6.0)]
    column = column_of(make_wall(openings=vents, barriers=[Barrier("low", 2.0), Barrier("high", 4.5)], segments=7))
    middle = 0.5 * (column.segment_bottom + column.segment_top)
    expected = (middle > 2.0).astype(int) + (middle > 4.5).astype(int)
    np.testing.assert_array_equal(column.segment_compartment, expected)
    assert set(expected) == {0, 1, 2}
    for bottom, top in zip(column.segment_bottom, column.segment_top, strict=True):  # none crosses a barrier
        assert not (bottom < 2.0 - 1e-9 and top > 2.0 + 1e-9) and not (bottom < 4.5 - 1e-9 and top > 4.5 + 1e-9)


def test_the_terminal_prints_the_unit_of_every_column(tmp_path):
    from click.testing import CliRunner

    from cavity.cli import main

    wall = tmp_path / "wall.toml"
    assert CliRunner().invoke(main, ["new", str(wall)]).exit_code == 0
    result = CliRunner().invoke(main, ["airflow", str(wall), "--wind", "2", "--sun", "0"])
    assert result.exit_code == 0
    for unit in ("[m/s]", "[W/m²]", "[Pa]", "[per hour]", "[°C]", "[m]", "[cm²/m]", "[%]"):
        assert unit in result.output, unit
    assert "…" not in result.output
