"""The ladder network: closed forms, an independent solver, and what must hold for any ladder."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from cavity.kernels import network
from cavity.kernels.pressure_drop import channel_loss, restriction_loss

MU = 1.81e-5
NO_PARTS = (np.zeros((0, 6)), np.zeros(0, dtype=np.int64))
NO_FRICTION = [0.03, 0.0, 0.06, 0.0, 1.0]


def solve(openings, links, drive, *, parts=NO_PARTS, link_open=None, rho_out=1.2, rho_link=None, warm=None):
    """Return link flows, opening flows and status."""
    openings = np.ascontiguousarray(openings, dtype=float)
    n = len(openings)
    links = np.ascontiguousarray(np.reshape(links, (-1, 5)), dtype=float)
    flow = np.zeros(max(n - 1, 0)) if warm is None else np.array(warm, dtype=float)
    link_open = np.ones(max(n - 1, 0), dtype=np.int64) if link_open is None else np.array(link_open, dtype=np.int64)
    rho_link = np.full(max(n - 1, 0), 1.2) if rho_link is None else np.array(rho_link, dtype=float)
    work, chain = np.zeros((network.WORK_ROWS, n + 1)), np.zeros((network.CHAIN_ROWS, n + 1), dtype=np.int64)
    status, iterations, residual = network.solve_column(
        openings, links, *parts, link_open, np.array(drive, dtype=float), rho_out, rho_link, MU, flow, work, chain
    )
    q = np.zeros(n)
    network.opening_flows(flow, q)
    return flow, q, (status, iterations, residual)


def quadratic(area, zeta):
    return [area, zeta, zeta, 0.0, 0.0, 0.0]


@settings(max_examples=150, deadline=None)
@given(
    areas=st.tuples(st.floats(1e-6, 0.5), st.floats(1e-6, 0.5)),
    zetas=st.tuples(*[st.floats(0.1, 100.0)] * 4),
    drive=st.floats(1e-8, 1e4),
    rho=st.tuples(st.floats(0.9, 1.6), st.floats(0.9, 1.6)),
    upwards=st.booleans(),
)
def test_two_quadratic_openings_agree_with_the_closed_form_to_1e_9(areas, zetas, drive, rho, upwards):
    openings = np.array([[areas[0], zetas[0], zetas[1], 0, 0, 0], [areas[1], zetas[2], zetas[3], 0, 0, 0]])
    flow, _, (status, *_) = solve(
        openings, NO_FRICTION, [drive if upwards else -drive], rho_out=rho[0], rho_link=[rho[1]]
    )
    entry, leave = (0, 1) if upwards else (1, 0)
    resistance = openings[entry, 1] / (2 * rho[0] * areas[entry] ** 2) + openings[leave, 2] / (
        2 * rho[1] * areas[leave] ** 2
    )
    closed = np.sqrt(drive / resistance) * (1 if upwards else -1)
    assert status == network.SOLVED
    assert flow[0] == pytest.approx(closed, rel=1e-9, abs=0)  # the figure the project is held to


def test_two_openings_and_laminar_slot_agree_with_the_quadratic_formula():
    # a V^2 + b V = dp, the closed form of ISO 15099 for a vented gap: a = rho/2 (z1 + z2), b = 12 mu H / d^2
    area, depth, height, zeta = 0.004, 0.03, 3.0, 2.78
    channel = [depth, height, 2 * depth, 0.0, 1e-12]  # next to no pieces: no entry loss
    flow, _, _ = solve([quadratic(area, zeta)] * 2, channel, [0.4])
    a = 1.2 / 2 * 2 * zeta * (depth / area) ** 2
    b = 12 * MU * height / depth**2
    v = (np.sqrt(b * b + 4 * a * 0.4) - b) / (2 * a)
    assert flow[0] / (1.2 * depth) == pytest.approx(v, rel=1e-9)


@st.composite
def ladders(draw, extreme=True):
    """Random ladders: closed openings and links, meshes, rails, purely quadratic laws, tiny and huge areas."""
    n = draw(st.integers(2, 9))
    m = draw(st.integers(0, 6))
    seed = draw(st.integers(0, 2**32 - 1))
    rng = np.random.default_rng(seed)
    span = (-8.0, 0.5) if extreme else (-4.0, -1.0)
    bare = draw(st.booleans())  # quadratic laws only: no slope at rest
    openings = np.zeros((n, 6))
    openings[:, 0] = 10 ** rng.uniform(*span, n)
    openings[:, 1:3] = rng.uniform(0.3, 20.0, (n, 2))
    links = np.zeros((n - 1, 5))
    depth = 10 ** rng.uniform(-2.6, -0.8, n - 1)
    links[:, 0], links[:, 2], links[:, 4] = depth, 2 * depth, rng.integers(1, 9, n - 1)
    parts = np.zeros((m, 6))
    parts[:, 0] = 10 ** rng.uniform(*span, m)
    parts[:, 1] = parts[:, 2] = rng.uniform(0.0, 4.0, m)
    if not bare:
        links[:, 1] = rng.uniform(0.05, 8.0, n - 1)
        openings[:, 3], parts[:, 3] = rng.uniform(10, 1e5, n), rng.uniform(10, 1e5, m)
        openings[:, 4], openings[:, 5] = rng.choice([0.0, 3.0, 30.0], n), 10 ** rng.uniform(-4, -2.5, n)
    if draw(st.booleans()):
        openings[rng.random(n) < 0.3, 0] = 0.0
    link_open = np.ones(n - 1, dtype=np.int64)
    if draw(st.booleans()):
        link_open[rng.random(n - 1) < 0.3] = 0
    drive = rng.normal(0, 1, n - 1) * 10 ** rng.uniform(-9, 3)
    if draw(st.booleans()):
        drive[rng.random(n - 1) < 0.4] = 0.0
    warm = rng.normal(0, 1, n - 1) * 10 ** rng.uniform(-9, 2) * draw(st.sampled_from([0.0, 1.0]))
    part_link = np.sort(rng.integers(0, n - 1, m)).astype(np.int64)
    return {
        "openings": openings,
        "links": links,
        "drive": drive,
        "parts": (parts, part_link),
        "link_open": link_open,
        "rho_link": rng.uniform(0.9, 1.6, n - 1),
        "warm": warm,
    }


@settings(max_examples=400, deadline=None)
@given(ladders())
def test_every_ladder_is_solved_and_mass_balances(ladder):
    flow, q, (status, _, _) = solve(**ladder)
    assert status == network.SOLVED
    assert np.all(np.isfinite(flow))
    assert abs(q.sum()) <= 1e-9 * max(np.abs(q).max(), 1e-300)  # the figure the project is held to
    assert np.all(flow[ladder["link_open"] == 0] == 0.0)
    # differences of equal link flows: exact
    assert np.all(q[ladder["openings"][:, 0] == 0.0] == 0.0)


@settings(max_examples=100, deadline=None)
@given(ladders(extreme=False))
def test_pressures_close_around_every_loop(ladder):
    ladder["openings"][:, 0] = np.maximum(ladder["openings"][:, 0], 1e-4)
    flow, q, _ = solve(**ladder)
    openings, rho = ladder["openings"], ladder["rho_link"]
    parts, part_link = ladder["parts"]
    n = len(openings)
    inside = [rho[0], *(0.5 * (rho[:-1] + rho[1:])), rho[-1]]
    loss = [restriction_loss(openings, j, q[j], 1.2, inside[j], MU)[0] for j in range(n)]
    for k in range(n - 1):
        if not ladder["link_open"][k]:
            continue
        link = channel_loss(ladder["links"], k, flow[k], rho[k], MU)[0]
        link += sum(restriction_loss(parts, i, flow[k], rho[k], rho[k], MU)[0] for i in np.flatnonzero(part_link == k))
        scale = abs(loss[k]) + abs(link) + abs(loss[k + 1]) + abs(ladder["drive"][k])
        # 1e-8: a nearly balanced opening takes in the small difference of two large flows; 1e-12: a loop without drive
        # may keep a flow whose pressure is 1e-13 of the largest drive
        rounding = 1e-12 * max(1.0, np.abs(ladder["drive"]).max())
        assert loss[k] + link - loss[k + 1] == pytest.approx(ladder["drive"][k], abs=1e-8 * scale + rounding)


@settings(max_examples=100, deadline=None)
@given(ladders(extreme=False))
def test_the_answer_does_not_depend_on_the_warm_start(ladder):
    first, q_first, _ = solve(**ladder)
    ladder["warm"] = np.zeros_like(first)
    _, q_second, _ = solve(**ladder)
    # compared as pressures, since a loop without drive may keep a flow whose pressure is 1e-13 of the largest drive
    losses = [
        [restriction_loss(ladder["openings"], j, q[j], 1.2, 1.2, MU)[0] for j in range(len(q))]
        for q in (q_first, q_second)
        if np.all(ladder["openings"][:, 0] > 0)
    ]
    if losses:
        np.testing.assert_allclose(losses[0], losses[1], rtol=0, atol=1e-8 * np.abs(ladder["drive"]).max() + 1e-12)


@settings(max_examples=100, deadline=None)
@given(ladders(extreme=False))
def test_reversed_drive_reverses_the_flow_when_the_laws_are_odd(ladder):
    ladder["openings"][:, 2] = ladder["openings"][:, 1]
    ladder["rho_link"][:] = 1.2
    up, *_ = solve(**ladder)
    ladder["drive"] = -ladder["drive"]
    ladder["warm"] = -ladder["warm"]
    down, *_ = solve(**ladder)
    np.testing.assert_allclose(down, -up, rtol=1e-12, atol=0)  # the same arithmetic with other signs


@settings(max_examples=100, deadline=None)
@given(ladders(extreme=False), st.integers(0, 8), st.floats(1.01, 10.0))
def test_opening_one_vent_wider_never_lowers_the_driving_work(ladder, which, factor):
    # For fixed drive the sum of drive x flow is the power spent; wider vents can only raise it (the conjugate of the
    # convex energy grows). It is what "a larger vent never lowers the flow" means for many openings.
    ladder["openings"][:, 3:] = (
        0.0  # quadratic laws: power grows with each conductance (Maxwell's rule for such networks)
    )
    ladder["links"][:, 1] = 0.0
    ladder["parts"][0][:, 3:] = 0.0
    ladder["openings"][:, 2] = ladder["openings"][:, 1]
    ladder["rho_link"][:] = 1.2
    before, *_ = solve(**ladder)
    ladder["openings"][which % len(ladder["openings"]), 0] *= factor
    after, *_ = solve(**ladder)
    # an open link does the same work only over open links; closed ones carry nothing
    assert ladder["drive"] @ after >= ladder["drive"] @ before * (1 - 1e-7)  # solver residual 1e-12, root of it in flow


@settings(max_examples=80, deadline=None)
@given(
    area=st.floats(1e-5, 0.05),
    factor=st.floats(1.001, 20.0),
    drive=st.floats(1e-4, 50.0),
    which=st.sampled_from([0, 1]),
    sign=st.sampled_from([1.0, -1.0]),
)
def test_a_larger_vent_never_lowers_the_flow_between_two_openings(area, factor, drive, which, sign):
    rows = np.array([[area, 2.0, 2.4, 2000.0, 3.0, 3e-4], [0.006, 2.0, 2.4, 3000.0, 0.0, 0.0]])
    channel = [0.03, 6.0, 0.06, 0.0, 1.0]
    before, *_ = solve(rows, channel, [sign * drive])
    rows[which, 0] *= factor
    after, *_ = solve(rows, channel, [sign * drive])
    assert sign * after[0] > sign * before[0] > 0.0


def test_three_openings_agree_with_an_independent_node_solution():
    # unknown pressure of each node by nested bisection (scipy brentq) instead of loop flows by Newton
    rows = np.array(
        [[0.01, 2.0, 3.0, 2000.0, 3.0, 3e-4], [0.004, 2.78, 2.78, 5000.0, 0.0, 0.0], [0.006, 2.0, 3.0, 2000.0, 0, 0]]
    )
    links = np.array([[0.03, 2.5, 0.06, 0.0, 1.0], [0.03, 3.5, 0.06, 0.0, 2.0]])
    drive = [0.7, -0.2]
    flow, q, _ = solve(rows, links, drive, rho_link=[1.15, 1.15])

    def inverse(law, dp):
        return brentq(lambda m: law(m) - dp, -10, 10, xtol=1e-16, rtol=1e-14)

    def opening(j):
        return lambda m: restriction_loss(rows, j, m, 1.2, 1.15, MU)[0]

    def link(k):
        return lambda m: channel_loss(links, k, m, 1.15, MU)[0]

    # outdoor pressures along the ladder, inside datum: p0 = drive0 + drive1, p1 = drive1, p2 = 0
    def from_bottom(p_node):
        q0 = inverse(opening(0), sum(drive) - p_node)
        p1 = p_node - link(0)(q0)
        q1 = inverse(opening(1), drive[1] - p1)
        p2 = p1 - link(1)(q0 + q1)
        return q0, q1, inverse(opening(2), -p2)

    p = brentq(lambda p: sum(from_bottom(p)), -5, 5, xtol=1e-15, rtol=1e-14)
    q0, q1, q2 = from_bottom(p)
    np.testing.assert_allclose(q, [q0, q1, q2], rtol=1e-8, atol=0)  # nested bisection: about 1e-10 at each level
    np.testing.assert_allclose(flow, [q0, q0 + q1], rtol=1e-8, atol=0)


def test_no_drive_no_flow_from_any_start():
    for warm in (0.0, 1e-9, 1.0, -100.0):
        flow, q, (status, *_) = solve([quadratic(0.01, 2.0)] * 3, [NO_FRICTION] * 2, [0.0, 0.0], warm=[warm, -warm])
        assert status == network.SOLVED
        assert np.all(flow == 0.0)
        assert np.all(q == 0.0)


def test_shut_vents_and_single_openings_carry_nothing():
    assert solve([quadratic(0.0, 2.0)] * 3, [NO_FRICTION] * 2, [1.0, 1.0])[0].tolist() == [0.0, 0.0]
    assert solve([quadratic(0.01, 2.0), quadratic(0.0, 2.0)], NO_FRICTION, [1.0])[0].tolist() == [0.0]
    flow, q, (status, *_) = solve([quadratic(0.01, 2.0)], np.zeros((0, 5)), [])
    assert status == network.SOLVED
    assert q.tolist() == [0.0]
    assert flow.size == 0


def test_a_closed_link_splits_the_column_into_two():
    rows = [quadratic(0.01, 2.0), quadratic(0.006, 2.0), quadratic(0.004, 2.0), quadratic(0.01, 2.0)]
    whole, *_ = solve(rows, [NO_FRICTION] * 3, [1.0, 5.0, -2.0], link_open=[1, 0, 1])
    low, *_ = solve(rows[:2], NO_FRICTION, [1.0])
    high, *_ = solve(rows[2:], NO_FRICTION, [-2.0])
    np.testing.assert_allclose(whole, [low[0], 0.0, high[0]], rtol=1e-12, atol=0)


def test_a_shut_middle_opening_changes_nothing():
    rows = [quadratic(0.01, 2.0), quadratic(0.0, 2.0), quadratic(0.006, 2.0)]
    flow, *_ = solve(rows, [NO_FRICTION] * 2, [0.3, 0.5])
    plain, *_ = solve([rows[0], rows[2]], NO_FRICTION, [0.8])
    np.testing.assert_allclose(flow, [plain[0]] * 2, rtol=1e-12, atol=0)


def test_entering_air_has_outdoor_density_and_leaving_air_that_of_the_cavity():
    # losses 2 heads on 0.01 each: upward, dp = m^2 / A^2 (1/rho_out + 1/rho_cavity)
    flow, *_ = solve([quadratic(0.01, 2.0)] * 2, NO_FRICTION, [1.0], rho_out=1.3, rho_link=[1.1])
    assert flow[0] == pytest.approx(0.01 / np.sqrt(1 / 1.3 + 1 / 1.1), rel=1e-10)


def test_losses_along_the_path_add_up_to_the_drive():
    rows = np.array([[0.01, 2.0, 3.0, 2000.0, 3.0, 3e-4], [0.006, 2.0, 3.0, 2000.0, 0, 0]])
    links = np.array([[0.03, 6.0, 0.06, 0.0, 3.0]])
    parts = (np.array([quadratic(2e-4, 2.7), quadratic(1e-3, 2.7)]), np.array([0, 0]))
    for drive in (0.5, -0.5):
        flow, _, _ = solve(rows, links, [drive], parts=parts)
        out = np.zeros(5)
        network.path_losses(
            np.array([0, 2, 1, 2, 0]),
            np.array([0, 0, 0, 1, 1]),
            rows,
            links,
            *parts,
            1.2,
            np.array([1.2]),
            MU,
            flow,
            out,
        )
        assert out.sum() == pytest.approx(0.5, rel=1e-10)
        assert out[1] > 0.8 * out.sum()  # the narrow gap takes nearly all: (1e-3 / 2e-4)^2 = 25 times the next


@pytest.mark.parametrize(
    ("flow", "gate", "expected"),
    # openings at the bottom, below and above a barrier, and at the top; what enters column, lower and upper part
    [
        ([0.3, 0.2, 0.4], 1, [0.5, 0.3, 0.4]),  # 0.3 at the base, 0.2 past the barrier and 0.2 beside it
        ([-0.3, -0.2, -0.4], 1, [0.5, 0.3, 0.4]),  # down: 0.4 at the head, 0.2 past the barrier and 0.1 below it
        ([0.3, 0.0, 0.4], -1, [0.7, 0.3, 0.4]),  # closed
    ],
)
def test_air_that_enters_each_side_of_a_barrier_by_hand(flow, gate, expected):
    flow, into, found = np.array(flow), np.zeros(4), np.zeros(3)
    network.opening_flows(flow, into)
    network.air_in(flow, into, np.array([0, 0, 1, 1]), np.array([gate]), found)
    np.testing.assert_allclose(found, expected, atol=1e-15)


def test_compiled_and_interpreted_kernels_agree():
    rows = np.array([[0.01, 2.0, 3.0, 2000.0, 3.0, 3e-4]])
    for m in (1e-6, 1e-3, -0.1):
        compiled = restriction_loss(rows, 0, m, 1.2, 1.1, MU)
        plain = restriction_loss.py_func(rows, 0, m, 1.2, 1.1, MU)
        assert compiled == pytest.approx(plain, rel=1e-13)  # different order of roundings at most
