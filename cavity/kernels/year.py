"""The hourly loop: air flow, cavity air and the lines of all segments, coupled in every step.

Key: S segments (lines), n nodes a line, F faces, L layers, J openings, K = J - 1 links, H hours; Q upward air flow of a
link [kg/(s m)]. Within a step all is implicit: the air flow is solved again as the faces change, the air marches
through the segments in its own direction, and every line takes Newton updates until all residuals are small.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from cavity._jit import jit
from cavity.constants import DRY_AIR_HEAT, GRAVITY, LEWIS_VAPOUR, R_VAPOUR, WATER_TO_AIR
from cavity.kernels import balance, film, moist_air, network, stream, wall

HOUR = 3600.0
CALM_FLOW = 1e-9  # kg/(s m), a flow without effect: 1e-8 m/s in 50 mm
TOLERANCE = 1e-2  # W/m2 in any row of any line; what is left is carried to the next step
SHORT = 450.0  # s, steps below this may leave as much water and heat as one of this length
MOST = 45  # Newton updates before the step is halved
FREE_FLOW = 8  # updates during which the air flow still follows the faces
SMALLEST_SPLIT = 4096  # parts of an hour before the solver gives up
FLOW_AGREES = 1e-4  # relative, inner agreement of air flow and air temperature
FLOW_EXACT = 1e-5  # relative residual of the network in one round of that
FACES_MOVED = 0.01  # K, change of the cavity faces that the air flow does not feel: 0.5 mPa of stack in 12 m
ROUNDS = 12  # of the inner agreement
LEAST_LEFT = 0.3  # share of a gap that a round is trusted to leave at best
GAMMA = 1.0 - 0.5**0.5  # of SDIRK2: L-stable, second order (Alexander, SIAM J. Numer. Anal. 14, 1977)
CALM_JUMP = 3.0  # K, change of the outdoor-side equilibrium over which an hour is taken in two steps
SETTLING = 3  # first hours of a run, in which the start settles: in two steps
FIRST_DROP, LAST_DROPS = 1e-5, 2e-3  # kg/m2, a film of this size may end within the hour: in two steps
OVERDRAFT = 2e-5  # kg/m2, film that the first stage may owe
WET = 2e-5  # kg/m2, least film that counts: what a step may leave in the books of a dry face is less
OUTER, BACK, WALL, ROOM = 0, 1, 2, 3  # surfaces between wall and air
DEW, RAIN, CAPILLARY, CAUSES = 0, 1, 2, 3  # what changes a film: vapour, rain, liquid water of the layers beside it


# where the solver gave up: segment, node, row (0 heat, 1 water), residual [W/m2], temperature [K] and potential of the
# node, its water [kg/m2], fastest upward flow [kg/(s m)]
TROUBLE = 8


class Column(NamedTuple):
    """One column of the cavity as arrays; see network.solve_column and losses for the rows."""

    opening_law: np.ndarray  # (J, 6)
    link_law: np.ndarray  # (K, 5)
    part_law: np.ndarray  # (m, 6)
    part_link: np.ndarray  # (m,)
    link_open: np.ndarray  # (K,)
    link_entry: np.ndarray  # (K, 2) stirring by the inlet, upward and downward flow; see balance.forced_nusselt
    opening_height: np.ndarray  # (J,) m, along the wall
    link_rise: np.ndarray  # (K,) m, by height
    path_source: np.ndarray  # (parts,)
    path_index: np.ndarray  # (parts,)
    segment_bottom: np.ndarray  # (S,) m
    segment_top: np.ndarray  # (S,) m
    segment_link: np.ndarray  # (S,) link that flows through it, -1: still
    opening_compartment: np.ndarray  # (J,) compartment of each opening
    gate_link: np.ndarray  # (C-1,) link through the barrier above each compartment, -1: none
    volume: np.ndarray  # (C+1,) m3 per m of wall: the column, then each compartment
    segment_compartment: np.ndarray  # (S,) compartment of each segment
    single_area: np.ndarray  # (S,) m2/m2, vent area per face area where one vent is all, times its factor; else 0
    single_clear: np.ndarray  # (S,) m, clear height of that vent
    gust_curve: np.ndarray  # (2, m) drive [Pa] and flow [kg/(s m)] of the column
    gust_factor: float  # on the exchange by gusts, 0: none
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
    speed: np.ndarray  # (H,) m/s, wind on the site
    gust: np.ndarray  # (H,) Pa, standard deviation of the pressure difference between two openings
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

    node: np.ndarray  # (F,) node of each face and interface
    layer: np.ndarray  # (n,) layer of each node, -1: one of the four surfaces in `film`
    film: np.ndarray  # (4,) nodes of the surfaces, outside to inside
    plane: np.ndarray  # (n,) face or interface at which water is counted that leaves this node


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
    air_p: np.ndarray  # (H, S) vapour, at most saturated
    fog: np.ndarray  # (H, S) kg/m3, water in the air beyond that
    change_rate: np.ndarray  # (H, C+1) 1/h, the column, then each compartment
    speed: np.ndarray  # (H, S) m/s
    stack: np.ndarray  # (H,)
    wind: np.ndarray  # (H,)
    opening_flow: np.ndarray  # (H, J)
    part_pressure: np.ndarray  # (H, parts)
    water: np.ndarray  # (H, S, L)
    film: np.ndarray  # (H, S, F)
    frost: np.ndarray  # (H, S, F)
    vapour: np.ndarray  # (H, S, 4)
    wetting: np.ndarray  # (H, S, F, 3) change of the film by cause, see CAUSES
    drainage: np.ndarray  # (H, S, F)
    heat_in: np.ndarray  # (H, S)
    stream: np.ndarray  # (H, S, 2, TERMS) balance of the air [W/m2, then kg/(s m2)]; see stream
    water_residual: np.ndarray  # (H, S)
    energy_residual: np.ndarray  # (H, S)
    drained: np.ndarray  # (S,) kg/m2, water that left full layers
    through: np.ndarray  # (S, 2) water [kg/m2] and energy [J/m2] that crossed the boundary, by size
    terms: np.ndarray  # (S, 9) water balance of the year by term, see simulate.BALANCE_TERMS [kg/m2]
    books: np.ndarray  # (S, 4) water in less out, energy in less out, water and energy at the start


class Stage(NamedTuple):
    """What one implicit stage found; leading dimension: the stages of a step."""

    flux: np.ndarray  # (2, S, FLUX_COUNT)
    face_T: np.ndarray  # (2, S, F)
    face_p: np.ndarray  # (2, S, F)
    wetting: np.ndarray  # (2, S, F, 3) kg/(m2 s), change of the film of each face by cause, see CAUSES
    flow: np.ndarray  # (2, K)
    rho: np.ndarray  # (2, K)
    mixing: np.ndarray  # (2, S) kg/(s m2), exchange with outdoors beside the mean flow
    outlet: np.ndarray  # (2, 2, S) K, then Pa: air that leaves each segment


class Scratch(NamedTuple):
    """Arrays of one run that carry nothing from step to step; `workspace` makes them."""

    line: wall.Work  # its cells with a leading (S,)
    known: np.ndarray  # (S,) Pa, pressure for which the line's inside holds in its present state; 0: it does not
    ladder: np.ndarray
    chain: np.ndarray
    drive: np.ndarray  # (K,)
    new_flow: np.ndarray  # (K,)
    last_gap: np.ndarray  # (K,)
    march: np.ndarray  # (S,)
    inlet_T: np.ndarray  # (S,)
    inlet_p: np.ndarray
    outlet_T: np.ndarray
    outlet_p: np.ndarray
    h: np.ndarray  # (S, 2) convective coefficient of the cavity faces
    still: np.ndarray  # (S,) that of both without flow
    kept: np.ndarray  # (S, 4) share of its inlet state in the mean and at the outlet: heat, then vapour
    face_T: np.ndarray  # (S, 2) K, state of both cavity faces when the air was last told
    face_p: np.ndarray  # Pa
    rho: np.ndarray  # (K,) air density of each link
    moved: np.ndarray  # (1,) K, of the cavity faces since the air was last brought into agreement with them
    pace: np.ndarray  # (2,) of that search when it last ended: its factor, and what was left of a gap by one round
    old_air_T: np.ndarray  # (S,) at the start of the step
    old_air_p: np.ndarray
    old_flow: np.ndarray  # (K,)
    runoff: np.ndarray  # (n,)
    shed: np.ndarray  # (n,)
    trouble: np.ndarray  # (TROUBLE,) what the solver saw where it gave up, see there
    losses: np.ndarray  # (parts,)
    opening_flow: np.ndarray  # (J,)
    air_in: np.ndarray  # (C+1,)
    mixing: np.ndarray  # (S,) kg/(s m2), exchange with outdoors beside the mean flow
    outdoor: np.ndarray  # (S, 4) outdoor part of `kept`, in its order
    excess: np.ndarray  # (3, S) and (J,), for the balance of the air stream
    node: np.ndarray
    hour: np.ndarray  # (6,) outdoor air [K], its density [kg/m3], wind [m/s], gusts [Pa], drive [Pa], exchange by gusts


def workspace(
    grid: wall.Grid, segments: int, faces: int, openings: int, parts: int, compartments: int = 1
) -> tuple[Stage, Scratch]:
    """Return what `run` needs beside its input: the arrays of its stages and its scratch arrays."""
    S, n, J, K = segments, grid.thickness.size, openings, max(openings - 1, 0)
    zeros = np.zeros
    stage = Stage(
        flux=zeros((2, S, wall.FLUX_COUNT)), face_T=zeros((2, S, faces)),
        face_p=zeros((2, S, faces)), wetting=zeros((2, S, faces, CAUSES)), flow=zeros((2, K)), rho=zeros((2, K)),
        mixing=zeros((2, S)), outlet=zeros((2, 2, S)),
    )  # fmt: skip
    work = Scratch(
        line=wall.work_arrays(grid, S), known=zeros(S), ladder=zeros((network.WORK_ROWS, J + 1)),
        chain=zeros((network.CHAIN_ROWS, J + 1), dtype=np.int64), drive=zeros(K), new_flow=zeros(K), last_gap=zeros(K),
        march=zeros(S, dtype=np.int64), inlet_T=zeros(S), inlet_p=zeros(S), outlet_T=zeros(S), outlet_p=zeros(S),
        h=zeros((S, 2)), still=zeros(S), kept=zeros((S, 4)), face_T=zeros((S, 2)), face_p=zeros((S, 2)), rho=zeros(K),
        moved=zeros(1), pace=np.ones(2), old_air_T=zeros(S), old_air_p=zeros(S), old_flow=zeros(K), runoff=zeros(n),
        shed=zeros(n), trouble=zeros(TROUBLE), losses=zeros(parts), opening_flow=zeros(J),
        air_in=zeros(compartments + 1),
        mixing=zeros(S), outdoor=zeros((S, 4)), excess=zeros((3, S)), node=zeros(J), hour=zeros(6),
    )  # fmt: skip
    return stage, work


@jit
def run(grid, column, forcing, readings, state, record, stage, work, order, refine):
    """Run the hours of `order`; return (status, hour index, steps, updates, worst residual) (E62).

    Steps are two-stage, second-order and L-stable (Alexander 1977, SDIRK2); where a film would be overdrawn by the
    first stage, a first-order implicit step of half the size takes its place. Status 0: all done; 1: the solver gave up
    in that hour. State holds the last good step, record the hours done.
    """
    S, n = state.T.shape
    runoff = work.runoff
    _begin_from(grid, state, work)
    work.pace[:] = 1.0
    steps = updates = 0
    worst_seen = 0.0

    previous = order[0]
    passed = 0
    for t in order:
        jump = abs(forcing.T_out[t] - forcing.T_out[previous])
        jump += abs(forcing.gain[t] - forcing.gain[previous]) / 20.0  # 20 W/(m2 K) moves a light panel by 1 K
        calm = jump < CALM_JUMP and passed >= SETTLING and not _drying(state, readings)
        pieces = refine * (1 if calm else 2)
        passed += 1
        previous = t
        work.moved[0] = np.inf
        dt = HOUR / pieces
        done = 0.0
        first_order = False
        _clear(record, t)
        while done < HOUR - 1e-6:
            dt = min(dt, HOUR - done)
            _keep(state, work)
            inner = dt if first_order else GAMMA * dt
            stages = 1 if first_order else 2
            good = True
            worst = 0.0
            for k in range(stages):
                if k:
                    for s in range(S):
                        good = good and wall.advance(_line(work, s), dt - inner) >= -OVERDRAFT
                if good:
                    good, used, left = _solve(grid, column, forcing, readings, state, t, inner, stage, k, work)
                    updates += used
                    worst = max(worst, left)
                if not good:
                    break
            if not good:
                _return_to(state, work)
                _begin_from(grid, state, work)
                work.moved[0] = np.inf
                if dt * 0.5 < HOUR / SMALLEST_SPLIT:
                    return 1, t, steps, updates, worst
                dt *= 0.5
                first_order = True
                continue
            worst_seen = max(worst_seen, worst)

            steps += 1
            for k in range(stages):
                weight = dt if first_order else inner if k else dt - inner
                _account(column, forcing, readings, state, record, t, weight, stage, k, work)
            for s in range(S):
                w = _line(work, s)
                held_W = held_E = 0.0
                for i in range(n):
                    held_W += w.cell[w.place[i] + wall.HELD]
                    held_E += w.cell[w.place[i] + wall.HEAT]
                record.water_residual[t, s] = record.books[s, 0] - (held_W - record.books[s, 2])
                record.energy_residual[t, s] = record.books[s, 1] - (held_E - record.books[s, 3])
                wall.advance(w, inner)
                record.books[s, 1] -= wall.commit(
                    grid, w, state.T[s], state.u[s], state.W[s], state.E[s], runoff, work.shed
                )
                for i in range(n):
                    if runoff[i] > 0.0:
                        record.books[s, 0] -= runoff[i]
                        work.known[s] = 0.0
                        record.drainage[t, s, readings.plane[i]] += runoff[i] / HOUR
                        if readings.layer[i] >= 0:
                            record.drained[s] += runoff[i]
                        else:
                            record.terms[s, 6] -= runoff[i]
                    if work.shed[i] > 0.0 and grid.thickness[i] == 0.0:
                        record.wetting[t, s, readings.plane[i], DEW] += work.shed[i] / HOUR
            done += dt
            dt = min(2.0 * dt, HOUR / pieces)
            first_order = False

        for s in range(S):
            for k in range(record.water.shape[2]):
                record.water[t, s, k] = 0.0
            for i in range(n):
                if readings.layer[i] >= 0 and grid.thickness[i] > 0.0:
                    # the books of a material without water may owe what the last step left: a microgram
                    record.water[t, s, readings.layer[i]] += max(state.W[s, i], 0.0)
            for k in range(readings.node.size):
                i = readings.node[k]
                record.film[t, s, k] = max(state.W[s, i], 0.0)
                record.frost[t, s, k] = film.frozen_share(state.T[s, i]) if state.W[s, i] > WET else 0.0
    return 0, order[-1], steps, updates, worst_seen


@jit
def _drying(state, readings):
    """Return whether any face holds a film so thin that it may end within the hour."""
    for s in range(state.W.shape[0]):
        for k in range(4):
            if FIRST_DROP < state.W[s, readings.film[k]] < LAST_DROPS:
                return True
    return False


@jit
def _keep(state, work):
    """Copy what a step changes in the state before it is done."""
    for s in range(state.air_T.size):
        work.old_air_T[s] = state.air_T[s]
        work.old_air_p[s] = state.air_p[s]
    for k in range(state.flow.size):
        work.old_flow[k] = state.flow[k]


@jit
def _return_to(state, work):
    """Give the state back what `_keep` copied."""
    for s in range(state.air_T.size):
        state.air_T[s] = work.old_air_T[s]
        state.air_p[s] = work.old_air_p[s]
    for k in range(state.flow.size):
        state.flow[k] = work.old_flow[k]


@jit
def _begin_from(grid, state, work):
    """Put a state into the cells of the lines."""
    for s in range(state.T.shape[0]):
        w = _line(work, s)
        wall.put(w, state.T[s], state.u[s])
        wall.put_stores(w, state.W[s], state.E[s])
        work.known[s] = 0.0
        for k in range(2):
            T, u = state.T[s, grid.cladding_back + k], state.u[s, grid.cladding_back + k]
            work.face_T[s, k], work.face_p[s, k] = T, wall.vapour_pressure(u, T)


@jit
def _line(work, s):
    """Return the cells of segment s."""
    return wall.Work(work.line.cell[s], work.line.place, work.line.left, work.line.right, work.line.tabled)


@jit
def _clear(record, t):
    """Empty the means of one hour."""
    record.T[t] = 0.0
    record.p[t] = 0.0
    record.air_T[t] = 0.0
    record.air_p[t] = 0.0
    record.fog[t] = 0.0
    record.change_rate[t] = 0.0
    record.speed[t] = 0.0
    record.stack[t] = 0.0
    record.wind[t] = 0.0
    record.opening_flow[t] = 0.0
    record.part_pressure[t] = 0.0
    record.vapour[t] = 0.0
    record.wetting[t] = 0.0
    record.drainage[t] = 0.0
    record.heat_in[t] = 0.0
    record.stream[t] = 0.0


@jit
def _solve(grid, column, forcing, readings, state, t, dt, stage, place, work):
    """Solve one implicit stage of all segments with the air, from the stores in its lines' FROM_W and FROM_E.

    Returns (good, Newton updates of all lines, worst residual).
    """
    S, K = state.air_T.size, state.flow.size
    F = readings.node.size
    P, T_out, p_out = forcing.pressure[t], forcing.T_out[t], forcing.p_out[t]
    rho_out = moist_air.density(T_out, p_out, P)
    mu = moist_air.viscosity(T_out)
    work.hour[0], work.hour[1], work.hour[2], work.hour[3] = T_out, rho_out, forcing.speed[t], forcing.gust[t]
    # what is left is carried on: the shorter the step, the less it weighs. A dry sheet could never pay back water that
    # it owes from an hour within a shorter step
    tolerance, slack = TOLERANCE * max(1.0, SHORT / dt), HOUR / min(max(dt, SHORT), HOUR)
    worst = 0.0
    # rain on a dry face that cannot absorb it forms a film: start there, Newton does not find it from the dry side
    for s in range(S):
        if forcing.rain[t] > 0.0 and grid.link[0] == wall.DRY_LINK:
            _wet(work, s, 0, film.START + 0.3)
        k = forcing.seep_node
        if forcing.seep[t] > 0.0 and grid.thickness[k] == 0.0 and grid.link[k] == wall.DRY_LINK:
            _wet(work, s, k, film.START + 0.1)
    updates = 0
    for iteration in range(MOST):
        if K and iteration < FREE_FLOW and work.moved[0] > FACES_MOVED:
            # a rough flow will do before the first update moves the faces; no stage ends with it
            agreed = _follow(column, forcing, state, t, rho_out, mu, work, ROUNDS if iteration else 1)
            work.moved[0] = 0.0 if agreed or iteration else np.inf
        elif K == 0 and iteration == 0:
            _coefficients(column, state, P, work, True)
            work.moved[0] = 0.0
        shift = 0.0
        count = _order(column, state.flow, work.march)
        worst = 0.0
        for turn in range(count):
            s = work.march[turn]
            _inlet(column, state.flow, s, T_out, p_out, work)
            h1, h2 = work.h[s, 0], work.h[s, 1]
            w = _line(work, s)
            edge = wall.Edge(
                T_out, p_out, forcing.h_out[t], LEWIS_VAPOUR * forcing.h_out[t], forcing.gain[t],
                forcing.emissivity, forcing.rain[t], forcing.T_in[t], forcing.p_in[t], forcing.h_in,
                forcing.beta_in, work.inlet_T[s] + work.outdoor[s, 0] * (T_out - work.inlet_T[s]),
                work.inlet_p[s] + work.outdoor[s, 2] * (p_out - work.inlet_p[s]), work.kept[s, 0], work.kept[s, 2],
                h1, h2, column.emissivity, forcing.leak[t], forcing.leak_node, forcing.seep[t],
                forcing.seep_node, P, dt,
            )  # fmt: skip
            # the first update of a stage may do with what the last one knew of the line, whatever the air pressure
            look = work.known[s] == 0.0 or (iteration > 0 and work.known[s] != P)
            while True:
                if look:
                    wall.look_inside(grid, P, w)
                    work.known[s] = P
                heat_row, water_row = wall.surround(grid, edge, w, stage.flux[place, s], tolerance, slack)
                look = work.known[s] != P and max(heat_row, water_row) <= tolerance  # not accepted unseen
                if not look:
                    break
            if not (heat_row < 1e12 and water_row < 1e12):  # not a number, too
                _note(state, dt, work)
                return False, updates, np.inf
            worst = max(worst, heat_row, water_row)
            if max(heat_row, water_row) <= tolerance:
                for f in range(F):
                    stage.face_T[place, s, f] = w.cell[w.place[readings.node[f]] + wall.TEMPERATURE]
                    stage.face_p[place, s, f] = w.cell[w.place[readings.node[f]] + wall.VAPOUR]
                    _wetting(grid, w, edge, readings.node[f], stage.wetting[place, s, f])
            else:
                work.known[s] = 0.0
                updates += 1
                if wall.update(w, iteration):
                    return False, updates, worst
            shift = max(shift, _look_at_faces(grid, w, s, work))
            _pass_on(state, s, P, T_out, p_out, work)
        work.moved[0] += shift
        if worst <= tolerance and work.moved[0] < np.inf:
            for k in range(K):
                stage.flow[place, k] = state.flow[k]
                stage.rho[place, k] = work.rho[k]
            for s in range(S):
                stage.mixing[place, s] = work.mixing[s]
                stage.outlet[place, 0, s], stage.outlet[place, 1, s] = work.outlet_T[s], work.outlet_p[s]
            return True, updates, worst
    _note(state, dt, work)
    return False, updates, worst


@jit
def _note(state, dt, work):
    """Write down the worst row of all segments, for the message in case the solver gives up."""
    trouble = work.trouble
    trouble[3], trouble[7] = -1.0, 0.0
    for s in range(state.air_T.size):
        w = _line(work, s)
        i, row, residual = wall.worst_node(w, dt)
        if residual > trouble[3] or residual != residual:
            at = w.place[i]
            trouble[0], trouble[1], trouble[2], trouble[3] = s, i, row, residual
            trouble[4], trouble[5] = w.cell[at + wall.TEMPERATURE], w.cell[at + wall.POTENTIAL]
            trouble[6] = w.cell[at + wall.HELD]
    for k in range(state.flow.size):
        if abs(state.flow[k]) > abs(trouble[7]):
            trouble[7] = state.flow[k]


@jit
def _wetting(grid, w, edge, i, found):
    """Write the rate at which the film of face i changes, (CAUSES,) [kg/(m2 s)], by what changes it.

    A film that grows owes it to what brings water, each in proportion to what it brings; a film that shrinks, to what
    takes water. The causes add up to the change, what drains afterwards included.
    """
    cell, at = w.cell, w.place[i]
    # at its end or at its start: what takes the last of a film counts as well
    held = cell[at + wall.POTENTIAL] > grid.film_start[i] or cell[at + wall.FROM_W] > WET
    if not held or grid.sheds_out[i] >= 0:
        found[:] = 0.0
        return
    net = cell[at + wall.NET_W]
    liquid = 0.0
    if i > 0:
        before = w.place[i - 1]
        liquid += (cell[before + wall.INNER] - cell[at + wall.LIQUID]) * cell[before + wall.PER_DISTANCE]
    if i < w.place.size - 1:
        liquid -= (cell[at + wall.INNER] - cell[w.place[i + 1] + wall.LIQUID]) * cell[at + wall.PER_DISTANCE]
    rain = (edge.rain if i == 0 else 0.0) + (edge.seep if i == edge.seep_node else 0.0)
    found[DEW], found[RAIN], found[CAPILLARY] = net - liquid - rain, rain, liquid
    sign = 1.0 if net > 0.0 else -1.0
    total = 0.0
    for c in range(CAUSES):
        found[c] = max(sign * found[c], 0.0)
        total += found[c]
    for c in range(CAUSES):
        found[c] *= net / total if total > 0.0 else 0.0


@jit
def _account(column, forcing, readings, state, record, t, weight, stage, place, work):
    """Book the fluxes of one stage that stands for `weight` seconds, and add it to the means of the hour."""
    S = state.T.shape[0]
    K = state.flow.size
    losses, opening_flow = work.losses, work.opening_flow
    J = opening_flow.size
    P, T_out, p_out = forcing.pressure[t], forcing.T_out[t], forcing.p_out[t]
    part = weight / HOUR
    for s in range(S):
        f = stage.flux[place, s]
        water_in = (
            f[wall.OUT_VAPOUR] + f[wall.OUT_RAIN] + f[wall.ROOM_VAPOUR] + f[wall.LEAK_WATER] + f[wall.SEEP_WATER]
            - f[wall.BACK_VAPOUR] - f[wall.FACE_VAPOUR]
        )  # fmt: skip
        record.through[s, 0] += weight * (
            abs(f[wall.OUT_VAPOUR]) + f[wall.OUT_RAIN] + abs(f[wall.ROOM_VAPOUR]) + abs(f[wall.LEAK_WATER])
            + f[wall.SEEP_WATER] + abs(f[wall.BACK_VAPOUR]) + abs(f[wall.FACE_VAPOUR])
        )  # fmt: skip
        record.through[s, 1] += weight * (
            abs(f[wall.OUT_HEAT]) + abs(f[wall.ROOM_HEAT]) + abs(f[wall.BACK_HEAT]) + abs(f[wall.FACE_HEAT])
        )
        record.books[s, 0] += weight * water_in
        record.books[s, 1] += weight * f[wall.ENERGY_IN]
        record.terms[s, 0] += weight * f[wall.OUT_RAIN]
        record.terms[s, 1] += weight * f[wall.OUT_VAPOUR]
        record.terms[s, 2] += weight * f[wall.ROOM_VAPOUR]
        record.terms[s, 3] += weight * f[wall.LEAK_WATER]
        record.terms[s, 4] += weight * f[wall.SEEP_WATER]
        record.terms[s, 5] -= weight * (f[wall.BACK_VAPOUR] + f[wall.FACE_VAPOUR])
        for k in range(4):
            if k == OUTER:
                g = f[wall.OUT_VAPOUR]
            elif k == BACK:
                g = -f[wall.BACK_VAPOUR]
            elif k == WALL:
                g = -f[wall.FACE_VAPOUR]
            else:
                g = f[wall.ROOM_VAPOUR]
            record.vapour[t, s, k] += g * part
        for k in range(readings.node.size):
            record.T[t, s, k] += stage.face_T[place, s, k] * part
            record.p[t, s, k] += stage.face_p[place, s, k] * part
            for c in range(CAUSES):
                record.wetting[t, s, k, c] += stage.wetting[place, s, k, c] * part
        record.air_T[t, s] += f[wall.AIR_T] * part
        # what the air carries beyond saturation is fog: droplets that it takes along and loses to the faces as vapour
        fog = max(f[wall.AIR_P] - moist_air.saturation(f[wall.AIR_T])[0], 0.0)
        record.air_p[t, s] += (f[wall.AIR_P] - fog) * part
        record.fog[t, s] += fog / (R_VAPOUR * f[wall.AIR_T]) * part
        record.heat_in[t, s] += f[wall.ROOM_HEAT] * part
        link = column.segment_link[s]
        if link >= 0 and K:
            speed = stage.flow[place, link] / (stage.rho[place, link] * column.link_law[link, 0])
            record.speed[t, s] += speed * part
        if stage.mixing[place, s] > 0.0:
            size = column.segment_top[s] - column.segment_bottom[s]
            into = stage.mixing[place, s] * size / moist_air.density(T_out, p_out, P) * HOUR * part
            c = 1 + column.segment_compartment[s]
            record.change_rate[t, 0] += into / column.volume[0]
            record.change_rate[t, c] += into / column.volume[c]
    _balance_stream(column, forcing, readings, record, t, part, stage, place, work)
    if K:
        rho_out = moist_air.density(T_out, p_out, P)
        mu = moist_air.viscosity(T_out)
        network.opening_flows(stage.flow[place], opening_flow)
        network.path_losses(
            column.path_source, column.path_index, column.opening_law, column.link_law, column.part_law,
            column.part_link, rho_out, stage.rho[place], mu, stage.flow[place], losses,
        )  # fmt: skip
        network.air_in(stage.flow[place], opening_flow, column.opening_compartment, column.gate_link, work.air_in)
        for c in range(column.volume.size):
            record.change_rate[t, c] += work.air_in[c] / (rho_out * column.volume[c]) * HOUR * part
        for j in range(J):
            record.opening_flow[t, j] += opening_flow[j] * part
        for k in range(losses.size):
            record.part_pressure[t, k] += losses[k] * part
        for k in range(K):
            record.stack[t] += (rho_out - stage.rho[place, k]) * GRAVITY * column.link_rise[k] * part
        record.wind[t] += (forcing.wind[t, 0] - forcing.wind[t, J - 1]) * part


@jit
def _balance_stream(column, forcing, readings, record, t, part, stage, place, work):
    """Add one stage to the balance of the air stream of hour t (E73); what is given, from what the wall lost."""
    P = forcing.pressure[t]
    excess, into, out = work.excess[0], work.excess[1], work.excess[2]
    for kind in range(2):
        outdoors = forcing.p_out[t] if kind else forcing.T_out[t]
        per_kg = WATER_TO_AIR / P if kind else DRY_AIR_HEAT
        for s in range(excess.size):
            excess[s] = stage.outlet[place, kind, s] - outdoors
        stream.carried(column.segment_link, stage.flow[place], excess, work.node, into, out)
        for s in range(excess.size):
            f, terms = stage.flux[place, s], record.stream[t, s, kind]
            size = column.segment_top[s] - column.segment_bottom[s]
            if _share(column, stage.flow[place], s) > 0.0:
                terms[stream.CARRIED_IN] += into[s] / size * per_kg * part
                terms[stream.CARRIED_OUT] -= out[s] / size * per_kg * part
            mean = f[wall.AIR_P] if kind else f[wall.AIR_T]
            terms[stream.EXCHANGED] += stage.mixing[place, s] * (outdoors - mean) * per_kg * part
            for k in range(2):
                g = f[wall.FACE_VAPOUR] if k else f[wall.BACK_VAPOUR]
                given = g
                if kind == 0:  # the heat of the vapour goes with the vapour
                    face = 0
                    while readings.node[face] != readings.film[WALL if k else BACK]:
                        face += 1
                    T = stage.face_T[place, s, face] if g > 0.0 else f[wall.AIR_T]
                    given = (f[wall.FACE_ENERGY] if k else f[wall.BACK_ENERGY]) - g * moist_air.vapour_enthalpy(T)
                terms[stream.FROM_WALL if k else stream.FROM_CLADDING] += given * part


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
def _share(column, flow, s):
    """Return the mass flow through segment s per area of its faces [kg/(s m2)]; without effect it counts as none."""
    link = column.segment_link[s]
    if link < 0 or flow.size == 0:
        return 0.0
    share = abs(flow[link]) / (column.segment_top[s] - column.segment_bottom[s])
    return share if share >= CALM_FLOW else 0.0


@jit
def _inlet(column, flow, s, T_out, p_out, work):
    """Set the state of the air entering segment s: from its neighbour, or mixed at the opening."""
    S = column.segment_link.size
    link = column.segment_link[s]
    work.inlet_T[s] = T_out
    work.inlet_p[s] = p_out
    if link < 0 or flow.size == 0:
        return
    up = flow[link] >= 0.0
    neighbour = s - 1 if up else s + 1
    if 0 <= neighbour < S and column.segment_link[neighbour] == link:
        work.inlet_T[s] = work.outlet_T[neighbour]
        work.inlet_p[s] = work.outlet_p[neighbour]
        return
    # at the opening: what came through the link behind, and outdoor air for the rest; a link without height (two
    # openings side by side) holds no segment and hands on what it gets
    step = -1 if up else 1
    part = 1.0
    while True:
        behind = link + step
        if not 0 <= behind < flow.size:
            return
        carried = flow[behind] if up else -flow[behind]
        leaving = abs(flow[link])
        if carried <= 0.0 or leaving <= 0.0:
            return
        part *= min(carried / leaving, 1.0)
        if 0 <= neighbour < S and column.segment_link[neighbour] == behind:
            break
        link = behind
    work.inlet_T[s] = part * work.outlet_T[neighbour] + (1.0 - part) * T_out
    work.inlet_p[s] = part * work.outlet_p[neighbour] + (1.0 - part) * p_out


@jit
def _look_at_faces(grid, w, s, work):
    """Tell the air how the cavity faces of segment s stand; return how far the farther one has moved [K]."""
    shift = 0.0
    for k in range(2):
        at = w.place[grid.cladding_back + k]
        T = w.cell[at + wall.TEMPERATURE]
        shift = max(shift, abs(T - work.face_T[s, k]))
        work.face_T[s, k] = T
        known = work.known[s] > 0.0
        work.face_p[s, k] = w.cell[at + wall.VAPOUR] if known else wall.vapour_pressure(w.cell[at + wall.POTENTIAL], T)
    return shift


@jit
def _wet(work, s, i, u):
    """Raise the potential of node i of segment s to u."""
    w = _line(work, s)
    if w.cell[w.place[i] + wall.POTENTIAL] < u:
        wall.put_potential(w, i, u)
        work.known[s] = 0.0


@jit
def _pass_on(state, s, P, T_out, p_out, work):
    """Renew mean and outlet air of segment s (E31, E32); steam beyond the air pressure has left."""
    part = work.h[s, 0] / (work.h[s, 0] + work.h[s, 1])
    T = part * work.face_T[s, 0] + (1.0 - part) * work.face_T[s, 1]
    excess, more = work.inlet_T[s] - T, T_out - work.inlet_T[s]
    state.air_T[s] = T + (excess + more * work.outdoor[s, 0]) * work.kept[s, 0]
    work.outlet_T[s] = T + (excess + more * work.outdoor[s, 1]) * work.kept[s, 1]
    p = part * work.face_p[s, 0] + (1.0 - part) * work.face_p[s, 1]
    excess, more = work.inlet_p[s] - p, p_out - work.inlet_p[s]
    state.air_p[s] = min(p + (excess + more * work.outdoor[s, 2]) * work.kept[s, 2], P)
    work.outlet_p[s] = min(p + (excess + more * work.outdoor[s, 3]) * work.kept[s, 3], P)


@jit
def _coefficients(column, state, P, work, renew):
    """Set the convective coefficient of the cavity faces, and what the air keeps, from the present flow (E6, E36).

    renew: the faces have changed since the last call, not the flow alone.
    """
    gusts = 0.0
    if column.gust_factor > 0.0 and renew:  # an estimate: its part of the drive may be that of the first round
        content = work.hour[1] * column.volume[0]
        gusts = balance.gust_exchange(column.gust_curve, work.hour[4], work.hour[3], work.hour[2], content)
        work.hour[5] = gusts * column.gust_factor / column.height
    gusts = work.hour[5]
    for s in range(column.segment_link.size):
        link = column.segment_link[s]
        v, length, C, entry = 0.0, column.height, 0.0, 0.0
        if link >= 0 and state.flow.size:
            length = column.opening_height[link + 1] - column.opening_height[link]
            C = abs(state.flow[link]) / length * DRY_AIR_HEAT
            entry = column.link_entry[link, 0 if state.flow[link] >= 0.0 else 1]
            v = state.flow[link] / (moist_air.density(state.air_T[s], state.air_p[s], P) * column.link_law[link, 0])
        T1, T2 = work.face_T[s, 0], work.face_T[s, 1]
        if renew:
            work.still[s] = 2.0 * balance.still_coefficient(T1, T2, column.depth, length, P)
        h1, h2 = balance.flow_coefficients(
            work.still[s], v, C, T1, T2, state.air_T[s], column.depth, length, P, entry
        )  # fmt: skip
        share = _share(column, state.flow, s)
        work.h[s, 0], work.h[s, 1] = h1, h2
        mixing = gusts if link >= 0 and state.flow.size > 0 and column.link_open[link] != 0 else 0.0
        if column.single_area[s] > 0.0:
            mixing = work.hour[1] * balance.single_vent(
                column.single_area[s], column.single_clear[s], work.hour[2], state.air_T[s], work.hour[0]
            )
        work.mixing[s] = mixing
        kept, outdoor, at_outlet, beyond = balance.kept_mixing(h1 + h2, share * DRY_AIR_HEAT, mixing * DRY_AIR_HEAT)
        work.kept[s, 0], work.outdoor[s, 0], work.kept[s, 1], work.outdoor[s, 1] = kept, outdoor, at_outlet, beyond
        kept, outdoor, at_outlet, beyond = balance.kept_mixing(
            LEWIS_VAPOUR * (h1 + h2), share * WATER_TO_AIR / P, mixing * WATER_TO_AIR / P
        )
        work.kept[s, 2], work.outdoor[s, 2], work.kept[s, 3], work.outdoor[s, 3] = kept, outdoor, at_outlet, beyond


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
def _follow(column, forcing, state, t, rho_out, mu, work, rounds):
    """Bring air flow and air temperatures into agreement with the faces as they now are (E19, E28).

    More flow cools the air and slows the flow: a plain repetition can swing, so each round is relaxed by Aitken's rule,
    from the factor at which the last search ended. A round is the last when the gap it leaves will do, by the share
    that such rounds leave. Returns whether it came to that.
    """
    K = state.flow.size
    P, T_out, p_out = forcing.pressure[t], forcing.T_out[t], forcing.p_out[t]
    factor, left = work.pace[0], work.pace[1]
    agreed = False
    gap = before = 0.0
    for turn in range(rounds):
        _densities(column, state, P, rho_out, work.rho)
        for k in range(K):
            stack = (rho_out - work.rho[k]) * GRAVITY * column.link_rise[k]
            work.drive[k] = forcing.wind[t, k] - forcing.wind[t, k + 1] + stack
            work.new_flow[k] = state.flow[k]
        work.hour[4] = 0.0
        for k in range(K):
            work.hour[4] += work.drive[k]
        network.solve_column(
            column.opening_law, column.link_law, column.part_law, column.part_link, column.link_open, work.drive,
            rho_out, work.rho, mu, work.new_flow, work.ladder, work.chain,
            FLOW_EXACT,
        )  # fmt: skip
        before = gap
        gap = largest = 0.0
        dot = norm = 0.0
        for k in range(K):
            r = work.new_flow[k] - state.flow[k]
            gap = max(gap, abs(r))
            largest = max(largest, abs(work.new_flow[k]))
            change = r - work.last_gap[k]
            dot += work.last_gap[k] * change
            norm += change * change
        if turn > 0 and norm > 0.0:
            factor = min(1.0, max(0.05, -factor * dot / norm))
            left = min(1.0, max(LEAST_LEFT, gap / before))
        for k in range(K):
            work.last_gap[k] = work.new_flow[k] - state.flow[k]
            state.flow[k] += factor * work.last_gap[k]
        _coefficients(column, state, P, work, turn == 0)
        count = _order(column, state.flow, work.march)
        for place in range(count):
            s = work.march[place]
            _inlet(column, state.flow, s, T_out, p_out, work)
            _pass_on(state, s, P, T_out, p_out, work)
        if gap * left <= FLOW_AGREES * largest + CALM_FLOW:
            agreed = True
            break
    work.pace[0], work.pace[1] = factor, left
    return agreed
