"""The hourly loop: air flow, cavity air and the lines of all segments, coupled in every step.

Key: S segments (lines), n nodes a line, F faces, L layers, J openings, K = J - 1 links, H hours; Q upward air flow of a
link [kg/(s m)]. Within a step all is implicit: the air flow is solved again as the faces change, the air marches
through the segments in its own direction, and every line takes Newton updates until all residuals are small.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from cavity._jit import jit
from cavity.constants import DRY_AIR_HEAT, GRAVITY, LEWIS_VAPOUR, WATER_TO_AIR
from cavity.kernels import balance, film, moist_air, network, wall

HOUR = 3600.0
CALM_FLOW = 1e-9  # kg/(s m), a flow without effect: 1e-8 m/s in 50 mm
TOLERANCE = 3e-3  # W/m2 in any row of any line; what is left is carried to the next step
MOST = 30  # Newton updates before the step is halved
FREE_FLOW = 8  # updates during which the air flow still follows the faces
SMALLEST_SPLIT = 4096  # parts of an hour before the solver gives up
OUTER, BACK, WALL, ROOM = 0, 1, 2, 3  # faces that can hold a film


class Column(NamedTuple):
    """One column of the cavity as arrays; see network.solve_column and losses for the rows."""

    opening_law: np.ndarray  # (J, 6)
    link_law: np.ndarray  # (K, 5)
    part_law: np.ndarray  # (m, 6)
    part_link: np.ndarray  # (m,)
    link_open: np.ndarray  # (K,)
    opening_height: np.ndarray  # (J,) m
    path_source: np.ndarray  # (parts,)
    path_index: np.ndarray  # (parts,)
    segment_bottom: np.ndarray  # (S,) m
    segment_top: np.ndarray  # (S,) m
    segment_link: np.ndarray  # (S,) link that flows through it, -1: still
    depth: float  # m
    height: float  # m, of the whole column
    emissivity: float  # exchange emissivity of the two faces


class Forcing(NamedTuple):
    """Hourly surroundings, means over each hour."""

    T_out: np.ndarray  # (H,) K
    p_out: np.ndarray  # (H,) Pa
    pressure: np.ndarray  # (H,) Pa
    gain: np.ndarray  # (H,) W/m2, sun and longwave absorbed by the outer face
    h_out: np.ndarray  # (H,) W/(m2 K), convection outside
    wind: np.ndarray  # (H, J) Pa, wind pressure at each opening
    rain: np.ndarray  # (H,) kg/(m2 s)
    seep: np.ndarray  # (H,) kg/(m2 s)
    T_in: np.ndarray  # (H,) K
    p_in: np.ndarray  # (H,) Pa
    leak: np.ndarray  # (H,) kg/(m2 s)
    emissivity: float
    h_in: float  # W/(m2 K)
    beta_in: float  # s/m
    leak_node: int
    seep_node: int


class Readings(NamedTuple):
    """Where faces are read."""

    node: np.ndarray  # (F,) face node or -1
    link: np.ndarray  # (F,)
    before: np.ndarray  # (F,)
    layer: np.ndarray  # (n,) layer of each node, -1: a face
    film: np.ndarray  # (4,) face nodes outside to inside


class State(NamedTuple):
    """What a line carries from step to step; (S, n) each."""

    T: np.ndarray
    u: np.ndarray
    W: np.ndarray
    E: np.ndarray
    flow: np.ndarray  # (K,) upward flow
    air_T: np.ndarray  # (S,) mean air temperature of each segment
    air_p: np.ndarray  # (S,)


class Record(NamedTuple):
    """Hourly results, filled by `run`."""

    T: np.ndarray  # (H, S, F)
    p: np.ndarray  # (H, S, F)
    air_T: np.ndarray  # (H, S)
    air_p: np.ndarray  # (H, S)
    change_rate: np.ndarray  # (H, S) 1/h
    speed: np.ndarray  # (H, S) m/s
    stack: np.ndarray  # (H,)
    wind: np.ndarray  # (H,)
    opening_flow: np.ndarray  # (H, J)
    part_pressure: np.ndarray  # (H, parts)
    water: np.ndarray  # (H, S, L)
    film: np.ndarray  # (H, S, 4)
    frost: np.ndarray  # (H, S, 4)
    vapour: np.ndarray  # (H, S, 4)
    condensation: np.ndarray  # (H, S, 4)
    runoff: np.ndarray  # (H, S, 4)
    heat_in: np.ndarray  # (H, S)
    water_residual: np.ndarray  # (H, S)
    energy_residual: np.ndarray  # (H, S)
    drained: np.ndarray  # (S,) kg/m2, water that left full layers
    through: np.ndarray  # (S, 2) water [kg/m2] and energy [J/m2] that crossed the boundary, by size
    terms: np.ndarray  # (S, 9) water balance of the year by term, see simulate.BALANCE_TERMS [kg/m2]
    books: np.ndarray  # (S, 4) water in less out, energy in less out, water and energy at the start


@jit
def run(grid, column, forcing, readings, state, record, order, refine):
    """Run the hours of `order`; return (status, hour index, steps, iterations, worst residual).

    Status 0: all done; 1: the solver gave up in that hour. State holds the last good step, record the hours done.
    """
    S, n = state.T.shape
    J = column.opening_law.shape[0]
    K = max(J - 1, 0)
    F = readings.node.size
    parts = column.path_source.size
    w = wall.Work(
        np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n),
        np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n),
        np.zeros((n, 4)), np.zeros((n, 4)), np.zeros((n, 4)), np.zeros((n, 2)),
    )  # fmt: skip
    ladder = np.zeros((network.WORK_ROWS, J + 1))
    chain = np.zeros((network.CHAIN_ROWS, J + 1), dtype=np.int64)
    T_old, u_old = np.empty((S, n)), np.empty((S, n))
    air_T_old, air_p_old, flow_old = np.empty(S), np.empty(S), np.empty(K)
    net_E, net_W = np.empty((S, n)), np.empty((S, n))
    flux = np.zeros((S, wall.FLUX_COUNT))
    face_T, face_p = np.empty((S, F)), np.empty((S, F))
    inlet_T, inlet_p = np.zeros(S), np.zeros(S)
    outlet_T, outlet_p = np.zeros(S), np.zeros(S)
    capacity = np.zeros(S)
    h1, h2 = np.zeros(S), np.zeros(S)
    rho_link, new_flow, last_gap = np.zeros(K), np.zeros(K), np.zeros(K)
    drive = np.zeros(K)
    losses = np.zeros(parts)
    opening_flow = np.zeros(J)
    runoff = np.zeros(n)
    held_W, held_E = np.zeros(S), np.zeros(S)
    march = np.zeros(S, dtype=np.int64)
    steps = iterations = 0
    worst_seen = 0.0

    previous = order[0]
    for t in order:
        jump = abs(forcing.T_out[t] - forcing.T_out[previous])
        jump += abs(forcing.gain[t] - forcing.gain[previous]) / 20.0  # 20 W/(m2 K) moves a light panel by 1 K
        if forcing.rain[t] > 0.0:
            jump += 2.0
        pieces = refine * (1 if jump < 0.7 else 2 if jump < 3.0 else 4)
        previous = t
        dt = HOUR / pieces
        done = 0.0
        for s in range(S):
            for f in range(F):
                record.T[t, s, f] = 0.0
                record.p[t, s, f] = 0.0
            record.air_T[t, s] = record.air_p[t, s] = record.change_rate[t, s] = record.speed[t, s] = 0.0
            record.heat_in[t, s] = 0.0
            for k in range(4):
                record.vapour[t, s, k] = record.condensation[t, s, k] = record.runoff[t, s, k] = 0.0
        record.stack[t] = record.wind[t] = 0.0
        for j in range(J):
            record.opening_flow[t, j] = 0.0
        for k in range(parts):
            record.part_pressure[t, k] = 0.0

        P, T_out, p_out = forcing.pressure[t], forcing.T_out[t], forcing.p_out[t]
        rho_out = moist_air.density(T_out, p_out, P)
        mu = moist_air.viscosity(T_out)
        while done < HOUR - 1e-6:
            dt = min(dt, HOUR - done)
            T_old[:] = state.T
            u_old[:] = state.u
            air_T_old[:] = state.air_T
            air_p_old[:] = state.air_p
            flow_old[:] = state.flow
            good = False
            for iteration in range(MOST):
                iterations += 1
                settled = True
                if K and iteration < FREE_FLOW:
                    settled = _follow(
                        grid, column, forcing, state, t, rho_out, mu, rho_link, drive, new_flow, last_gap, ladder,
                        chain, march, inlet_T, inlet_p, outlet_T, outlet_p, capacity, h1, h2,
                    )  # fmt: skip
                elif iteration == 0:
                    _coefficients(grid, column, state, P, h1, h2)
                count = _order(column, state.flow, march)
                worst = 0.0
                for place in range(count):
                    s = march[place]
                    link = column.segment_link[s]
                    Q = state.flow[link] if link >= 0 else 0.0
                    _inlet(column, state.flow, s, T_out, p_out, outlet_T, outlet_p, inlet_T, inlet_p)
                    share = abs(Q) / (column.segment_top[s] - column.segment_bottom[s])
                    if share < CALM_FLOW:
                        share = 0.0
                    edge = wall.Edge(
                        T_out, p_out, forcing.h_out[t], LEWIS_VAPOUR * forcing.h_out[t], forcing.gain[t],
                        forcing.emissivity, forcing.rain[t], forcing.T_in[t], forcing.p_in[t], forcing.h_in,
                        forcing.beta_in, inlet_T[s], inlet_p[s], share * DRY_AIR_HEAT, share * WATER_TO_AIR / P,
                        h1[s], h2[s], column.emissivity, forcing.leak[t], forcing.leak_node, forcing.seep[t],
                        forcing.seep_node, P, dt,
                    )  # fmt: skip
                    a, b = wall.assemble(
                        grid, edge, state.T[s], state.u[s], state.W[s], state.E[s], w, flux[s]
                    )
                    worst = max(worst, a, b)
                    held_W[s] = 0.0
                    held_E[s] = 0.0
                    for i in range(n):
                        net_E[s, i] = w.net_E[i]
                        net_W[s, i] = w.net_W[i]
                        held_W[s] += w.W[i]
                        held_E[s] += w.E[i]
                    if max(a, b) <= TOLERANCE:
                        for f in range(F):
                            face_T[s, f], face_p[s, f] = wall.read_face(
                                grid, state.T[s], state.u[s], w, readings.node[f], readings.link[f], readings.before[f]
                            )
                    elif wall.update(state.T[s], state.u[s], w, 1.0 if iteration < MOST // 2 else 0.4):
                        worst = np.inf
                        break
                    _pass_on(grid, column, state, s, share, P, h1, h2, inlet_T, inlet_p, outlet_T, outlet_p)
                if worst <= TOLERANCE and settled:
                    good = True
                    break
                if not worst < 1e12:
                    break
            worst_seen = max(worst_seen, worst if good else 0.0)
            if not good:
                state.T[:] = T_old
                state.u[:] = u_old
                state.air_T[:] = air_T_old
                state.air_p[:] = air_p_old
                state.flow[:] = flow_old
                dt *= 0.5
                if dt < HOUR / SMALLEST_SPLIT:
                    return 1, t, steps, iterations, worst
                continue

            # the step stands: books, and means over the hour
            steps += 1
            share_of_hour = dt / HOUR
            for s in range(S):
                f = flux[s]
                water_in = (
                    f[wall.OUT_VAPOUR] + f[wall.OUT_RAIN] + f[wall.ROOM_VAPOUR] + f[wall.LEAK_WATER]
                    + f[wall.SEEP_WATER] - f[wall.BACK_VAPOUR] - f[wall.FACE_VAPOUR]
                )  # fmt: skip
                record.through[s, 0] += dt * (
                    abs(f[wall.OUT_VAPOUR]) + f[wall.OUT_RAIN] + abs(f[wall.ROOM_VAPOUR]) + abs(f[wall.LEAK_WATER])
                    + f[wall.SEEP_WATER] + abs(f[wall.BACK_VAPOUR]) + abs(f[wall.FACE_VAPOUR])
                )  # fmt: skip
                record.through[s, 1] += dt * (
                    abs(f[wall.OUT_HEAT]) + abs(f[wall.ROOM_HEAT]) + abs(f[wall.BACK_HEAT]) + abs(f[wall.FACE_HEAT])
                )
                record.books[s, 0] += dt * water_in
                record.terms[s, 0] += dt * f[wall.OUT_RAIN]
                record.terms[s, 1] += dt * f[wall.OUT_VAPOUR]
                record.terms[s, 2] += dt * f[wall.ROOM_VAPOUR]
                record.terms[s, 3] += dt * f[wall.LEAK_WATER]
                record.terms[s, 4] += dt * f[wall.SEEP_WATER]
                record.terms[s, 5] -= dt * (f[wall.BACK_VAPOUR] + f[wall.FACE_VAPOUR])
                record.books[s, 1] += dt * f[wall.ENERGY_IN]
                record.water_residual[t, s] = record.books[s, 0] - (held_W[s] - record.books[s, 2])
                record.energy_residual[t, s] = record.books[s, 1] - (held_E[s] - record.books[s, 3])
                runoff[:] = 0.0
                heat = wall.commit(
                    grid, dt, state.T[s], state.u[s], state.W[s], state.E[s], net_E[s], net_W[s], runoff
                )
                record.books[s, 1] -= heat
                for i in range(n):
                    record.books[s, 0] -= runoff[i]
                    if readings.layer[i] >= 0:
                        record.drained[s] += runoff[i]
                for k in range(4):
                    i = readings.film[k]
                    record.runoff[t, s, k] += runoff[i] / HOUR
                    record.terms[s, 6] -= runoff[i]
                    if k == OUTER:
                        g = f[wall.OUT_VAPOUR]
                    elif k == BACK:
                        g = -f[wall.BACK_VAPOUR]
                    elif k == WALL:
                        g = -f[wall.FACE_VAPOUR]
                    else:
                        g = f[wall.ROOM_VAPOUR]
                    record.vapour[t, s, k] += g * share_of_hour
                    if state.W[s, i] > 1e-6 or runoff[i] > 0.0:
                        record.condensation[t, s, k] += g * share_of_hour
                for k in range(F):
                    record.T[t, s, k] += face_T[s, k] * share_of_hour
                    record.p[t, s, k] += face_p[s, k] * share_of_hour
                state.air_T[s] = f[wall.AIR_T]
                state.air_p[s] = f[wall.AIR_P]
                record.air_T[t, s] += f[wall.AIR_T] * share_of_hour
                record.air_p[t, s] += f[wall.AIR_P] * share_of_hour
                record.heat_in[t, s] += f[wall.ROOM_HEAT] * share_of_hour
                link = column.segment_link[s]
                if link >= 0 and K:
                    Q = state.flow[link]
                    area = column.link_law[link, 0]
                    speed = Q / (rho_link[link] * area)
                    length = column.opening_height[link + 1] - column.opening_height[link]
                    record.speed[t, s] += speed * share_of_hour
                    record.change_rate[t, s] += abs(speed) / length * HOUR * share_of_hour
            if K:
                network.opening_flows(state.flow, opening_flow)
                network.path_losses(
                    column.path_source, column.path_index, column.opening_law, column.link_law, column.part_law,
                    column.part_link, rho_out, rho_link, mu, state.flow, losses,
                )  # fmt: skip
                for j in range(J):
                    record.opening_flow[t, j] += opening_flow[j] * share_of_hour
                for k in range(parts):
                    record.part_pressure[t, k] += losses[k] * share_of_hour
                for k in range(K):
                    rise = column.opening_height[k + 1] - column.opening_height[k]
                    record.stack[t] += (rho_out - rho_link[k]) * GRAVITY * rise * share_of_hour
                record.wind[t] += (forcing.wind[t, 0] - forcing.wind[t, J - 1]) * share_of_hour
            done += dt
            if iteration < MOST // 3:
                dt = min(2.0 * dt, HOUR / pieces)

        for s in range(S):
            for k in range(record.water.shape[2]):
                record.water[t, s, k] = 0.0
            for i in range(n):
                if readings.layer[i] >= 0:
                    record.water[t, s, readings.layer[i]] += state.W[s, i]
            for k in range(4):
                i = readings.film[k]
                record.film[t, s, k] = max(state.W[s, i], 0.0)
                record.frost[t, s, k] = film.frozen_share(state.T[s, i]) if state.W[s, i] > 1e-6 else 0.0
    return 0, order[-1], steps, iterations, worst_seen


@jit
def _order(column, flow, march):
    """Write the segments into march in the order the air passes them; return their number."""
    S = column.segment_link.size
    K = flow.size
    count = 0
    for s in range(S):
        link = column.segment_link[s]
        if link < 0 or flow[link] >= 0.0:
            march[count] = s
            count += 1
    for k in range(K - 1, -1, -1):
        if flow[k] < 0.0:
            for s in range(S - 1, -1, -1):
                if column.segment_link[s] == k:
                    march[count] = s
                    count += 1
    return count


@jit
def _inlet(column, flow, s, T_out, p_out, outlet_T, outlet_p, inlet_T, inlet_p):
    """Set the state of the air entering segment s: from its neighbour, or mixed at the opening."""
    S = column.segment_link.size
    link = column.segment_link[s]
    inlet_T[s] = T_out
    inlet_p[s] = p_out
    if link < 0 or flow.size == 0:
        return
    up = flow[link] >= 0.0
    neighbour = s - 1 if up else s + 1
    if 0 <= neighbour < S and column.segment_link[neighbour] == link:
        inlet_T[s] = outlet_T[neighbour]
        inlet_p[s] = outlet_p[neighbour]
        return
    # at the opening: what came through the link behind, and outdoor air for the rest
    behind = link - 1 if up else link + 1
    if not 0 <= behind < flow.size or not 0 <= neighbour < S or column.segment_link[neighbour] != behind:
        return
    carried = flow[behind] if up else -flow[behind]
    leaving = abs(flow[link])
    if carried <= 0.0 or leaving <= 0.0:
        return
    part = min(carried / leaving, 1.0)
    inlet_T[s] = part * outlet_T[neighbour] + (1.0 - part) * T_out
    inlet_p[s] = part * outlet_p[neighbour] + (1.0 - part) * p_out


@jit
def _pass_on(grid, column, state, s, share, P, h1, h2, inlet_T, inlet_p, outlet_T, outlet_p):
    """Renew mean and outlet air of segment s from its faces as they now are."""
    i = grid.cladding_back
    T1, T2 = state.T[s, i], state.T[s, i + 1]
    state.air_T[s], outlet_T[s] = balance.exchange(h1[s], h2[s], T1, T2, inlet_T[s], share * DRY_AIR_HEAT)
    p1 = wall.humidity(state.u[s, i], T1)[0] * moist_air.saturation(T1)[0]
    p2 = wall.humidity(state.u[s, i + 1], T2)[0] * moist_air.saturation(T2)[0]
    state.air_p[s], outlet_p[s] = balance.exchange(
        LEWIS_VAPOUR * h1[s], LEWIS_VAPOUR * h2[s], p1, p2, inlet_p[s], share * WATER_TO_AIR / P
    )


@jit
def _coefficients(grid, column, state, P, h1, h2):
    """Set the convective coefficients of the cavity faces from the present flow."""
    i = grid.cladding_back
    for s in range(column.segment_link.size):
        link = column.segment_link[s]
        v, length = 0.0, column.height
        if link >= 0 and state.flow.size:
            length = column.opening_height[link + 1] - column.opening_height[link]
            v = state.flow[link] / (moist_air.density(state.air_T[s], state.air_p[s], P) * column.link_law[link, 0])
        h = balance.face_coefficient(v, state.T[s, i], state.T[s, i + 1], column.depth, length, P)
        h1[s] = h
        h2[s] = h


@jit
def _densities(column, state, P, rho_out, rho_link):
    """Set the air density of each link: mean over its segments, by height."""
    for k in range(rho_link.size):
        total = weight = 0.0
        for s in range(column.segment_link.size):
            if column.segment_link[s] == k:
                size = column.segment_top[s] - column.segment_bottom[s]
                total += size * moist_air.density(state.air_T[s], state.air_p[s], P)
                weight += size
        rho_link[k] = total / weight if weight > 0.0 else rho_out


@jit
def _follow(
    grid, column, forcing, state, t, rho_out, mu, rho_link, drive, new_flow, last_gap, ladder, chain, march, inlet_T,
    inlet_p, outlet_T, outlet_p, capacity, h1, h2,
):  # fmt: skip
    """Bring air flow and air temperatures into agreement with the faces as they now are; True when flow moved little.

    More flow cools the air and slows the flow: a plain repetition can swing, so each round is relaxed by Aitken's rule.
    """
    K = state.flow.size
    P, T_out, p_out = forcing.pressure[t], forcing.T_out[t], forcing.p_out[t]
    before = 0.0
    moved = 0.0
    factor = 1.0
    for round_ in range(12):
        _densities(column, state, P, rho_out, rho_link)
        for k in range(K):
            rise = column.opening_height[k + 1] - column.opening_height[k]
            drive[k] = forcing.wind[t, k] - forcing.wind[t, k + 1] + (rho_out - rho_link[k]) * GRAVITY * rise
            new_flow[k] = state.flow[k]
        network.solve_column(
            column.opening_law, column.link_law, column.part_law, column.part_link, column.link_open, drive, rho_out,
            rho_link, mu, new_flow, ladder, chain,
        )  # fmt: skip
        gap = 0.0
        largest = 0.0
        dot = norm = 0.0
        for k in range(K):
            r = new_flow[k] - state.flow[k]
            gap = max(gap, abs(r))
            largest = max(largest, abs(new_flow[k]))
            change = r - last_gap[k]
            dot += last_gap[k] * change
            norm += change * change
        if round_ > 0 and norm > 0.0:
            factor = min(1.0, max(0.05, -factor * dot / norm))
        before = max(before, gap)
        for k in range(K):
            last_gap[k] = new_flow[k] - state.flow[k]
            state.flow[k] += factor * last_gap[k]
        moved = max(moved, factor * gap)
        _coefficients(grid, column, state, P, h1, h2)
        count = _order(column, state.flow, march)
        for place in range(count):
            s = march[place]
            link = column.segment_link[s]
            share = abs(state.flow[link]) / (column.segment_top[s] - column.segment_bottom[s]) if link >= 0 else 0.0
            if share < CALM_FLOW:
                share = 0.0
            capacity[s] = share
            _inlet(column, state.flow, s, T_out, p_out, outlet_T, outlet_p, inlet_T, inlet_p)
            _pass_on(grid, column, state, s, share, P, h1, h2, inlet_T, inlet_p, outlet_T, outlet_p)
        if gap <= 1e-4 * largest + CALM_FLOW:
            return before <= 2e-3 * largest + 10.0 * CALM_FLOW
    return False
