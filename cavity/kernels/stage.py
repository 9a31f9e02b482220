"""One implicit stage: the lines of all segments together with the air that passes them.

All is implicit: the air flow is solved again as the surfaces change, the segments are taken in the direction of flow,
and every line takes Newton updates until all residuals are small.
"""

from __future__ import annotations

import numpy as np

from cavity._jit import jit
from cavity.constants import HOUR, LEWIS_VAPOUR
from cavity.kernels import accounts, boundaries, column_air, film, wall
from cavity.kernels.wall_section import DRY_LINK, POTENTIAL, TEMPERATURE, VAPOUR, WATER, set_potential
from cavity.kernels.year_arrays import HEAT_MEAN, VAPOUR_MEAN, line_of, outdoors_of

TOLERANCE = 1e-2  # W/m2 in any row of any line; the rest is carried into the next step
SHORT = 450.0  # s, steps below this may leave as much water and heat as one of this length
MOST = 45  # Newton updates before the step is halved
FREE_FLOW = 8  # updates during which the air flow still follows the surfaces
LEAST_SHIFT = 0.01  # K, change of the cavity surfaces from which the air flow is solved again: 0.5 mPa of stack in 12 m
ROUNDS = 12  # of the agreement of flow and air


@jit
def solve(problem, state, t, dt, stage, k, work):
    """Solve stage k of hour t for all segments with the air, from the old stores in the cells of its lines.

    dt: weight of the stage in the step [s]. Returns (good, Newton updates of all lines, worst residual [W/m2]).
    """
    column, outdoors = problem.column, outdoors_of(problem.forcing, t)
    # residuals are carried on: the shorter the step, the less they weigh. A dry sheet could never make up in a shorter
    # step for the residual of an hour
    tolerance, slack = TOLERANCE * max(1.0, SHORT / dt), HOUR / min(max(dt, SHORT), HOUR)
    _start_films(problem.section, problem.forcing, t, work)
    updates = 0
    worst = 0.0
    for iteration in range(MOST):
        _renew_flow(problem, state, t, outdoors, iteration, work)
        shift = worst = 0.0
        count = column_air.order_of_flow(column, state.flow, work.order)
        for turn in range(count):
            s = work.order[turn]
            w = line_of(work, s)
            column_air.set_inlet(column, state.flow, s, outdoors, work)
            bc = _conditions(column, problem.forcing, t, outdoors, s, dt, work)
            heat_row, water_row = _assemble(
                problem.section, bc, s, w, stage.flux[k, s], tolerance, slack, iteration, work
            )  # fmt: skip
            if not (heat_row < 1e12 and water_row < 1e12):  # not a number, too
                _note_trouble(state, dt, work)
                return False, updates, np.inf
            left = max(heat_row, water_row)
            worst = max(worst, left)
            if left <= tolerance:
                _keep_line(problem, bc, s, w, stage, k)
            else:
                work.evaluated_at[s] = 0.0
                updates += 1
                if wall.update(w, iteration):
                    return False, updates, worst
            shift = max(shift, column_air.read_faces(problem.section, w, s, work))
            column_air.update_air(state, s, outdoors, work)
        work.face_shift[0] += shift
        if worst <= tolerance and work.face_shift[0] < np.inf:
            _keep_air(state, stage, k, work)
            return True, updates, worst
    _note_trouble(state, dt, work)
    return False, updates, worst


@jit
def _start_films(section, forcing, t, work):
    """Start films on dry, not absorbing surfaces that rain wets: Newton does not find them from the dry side."""
    i = forcing.rain_node
    for s in range(work.evaluated_at.size):
        if forcing.rain[t] > 0.0 and section.link[0] == DRY_LINK:
            _wet(work, s, 0, film.START + 0.3)
        if forcing.rain_in[t] > 0.0 and section.thickness[i] == 0.0 and section.link[i] == DRY_LINK:
            _wet(work, s, i, film.START + 0.1)


@jit
def _wet(work, s, i, u):
    """Raise the potential of node i of segment s to u."""
    w = line_of(work, s)
    if w.cell[w.offset[i] + POTENTIAL] < u:
        set_potential(w, i, u)
        work.evaluated_at[s] = 0.0


@jit
def _renew_flow(problem, state, t, outdoors, iteration, work):
    """Bring air flow and coefficients up to date where the surfaces have moved, in the first updates."""
    if state.flow.size and iteration < FREE_FLOW and work.face_shift[0] > LEAST_SHIFT:
        # before the first update a rough flow is enough: no stage ends with it
        rounds = ROUNDS if iteration else 1
        agreed = column_air.couple_flow(problem.column, problem.forcing.wind[t], state, outdoors, work, rounds)
        work.face_shift[0] = 0.0 if agreed or iteration else np.inf
    elif state.flow.size == 0 and iteration == 0:
        column_air.set_coefficients(problem.column, state, outdoors, work, True)
        work.face_shift[0] = 0.0


@jit
def _conditions(column, forcing, t, outdoors, s, dt, work):
    """Return what acts on segment s in a step of dt [s]; the inlet air is mixed with outdoor air met on the way."""
    T_air = work.inlet_T[s] + work.outdoor_part[s, HEAT_MEAN] * (outdoors.T - work.inlet_T[s])
    p_air = work.inlet_p[s] + work.outdoor_part[s, VAPOUR_MEAN] * (outdoors.p - work.inlet_p[s])
    return boundaries.BoundaryConditions(
        outdoors.T, outdoors.p, forcing.h_out[t], LEWIS_VAPOUR * forcing.h_out[t], forcing.absorbed_radiation[t],
        forcing.emissivity, forcing.rain[t], forcing.T_in[t], forcing.p_in[t], forcing.h_in, forcing.beta_in,
        T_air, p_air, work.inlet_weight[s, HEAT_MEAN], work.inlet_weight[s, VAPOUR_MEAN],
        work.h[s, 0], work.h[s, 1], column.emissivity, forcing.leak[t], forcing.leak_node, forcing.rain_in[t],
        forcing.rain_node, outdoors.pressure, dt,
    )  # fmt: skip


@jit
def _assemble(section, bc, s, w, flux, tolerance, slack, iteration, work):
    """Evaluate the state of segment s where that has not been done and assemble its balances; return the worst rows."""
    P = bc.pressure
    # the first update of a stage may use the last evaluation of the line, whatever the air pressure
    evaluate = work.evaluated_at[s] == 0.0 or (iteration > 0 and work.evaluated_at[s] != P)
    while True:
        if evaluate:
            wall.eval_state(section, P, w)
            work.evaluated_at[s] = P
        heat_row, water_row = wall.assemble_boundaries(section, bc, w, flux, tolerance, slack)
        evaluate = work.evaluated_at[s] != P and max(heat_row, water_row) <= tolerance  # not accepted without
        if not evaluate:
            return heat_row, water_row


@jit
def _keep_line(problem, bc, s, w, stage, k):
    """Keep what stage k found at the surfaces of segment s."""
    for f in range(problem.readings.node.size):
        i = problem.readings.node[f]
        stage.face_T[k, s, f] = w.cell[w.offset[i] + TEMPERATURE]
        stage.face_p[k, s, f] = w.cell[w.offset[i] + VAPOUR]
        accounts.wetting(problem.section, w, bc, i, stage.wetting[k, s, f])


@jit
def _keep_air(state, stage, k, work):
    """Keep what stage k found in the air."""
    for link in range(state.flow.size):
        stage.flow[k, link] = state.flow[link]
        stage.rho[k, link] = work.rho[link]
    for s in range(state.air_T.size):
        stage.mixing[k, s] = work.mixing[s]
        stage.outlet[k, 0, s], stage.outlet[k, 1, s] = work.outlet_T[s], work.outlet_p[s]


@jit
def _note_trouble(state, dt, work):
    """Write down the worst row of all segments, for the message in case the solver gives up."""
    trouble = work.trouble
    trouble[3], trouble[7] = -1.0, 0.0
    for s in range(state.air_T.size):
        w = line_of(work, s)
        i, row, residual = wall.worst_node(w, dt)
        if residual > trouble[3] or residual != residual:
            at = w.offset[i]
            trouble[0], trouble[1], trouble[2], trouble[3] = s, i, row, residual
            trouble[4], trouble[5] = w.cell[at + TEMPERATURE], w.cell[at + POTENTIAL]
            trouble[6] = w.cell[at + WATER]
    for k in range(state.flow.size):
        if abs(state.flow[k]) > abs(trouble[7]):
            trouble[7] = state.flow[k]
