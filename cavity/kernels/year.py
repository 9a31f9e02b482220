"""The hourly loop: steps of an hour or less, each of two implicit stages of all lines with the air."""

from __future__ import annotations

import numpy as np

from cavity._jit import jit
from cavity.constants import HOUR
from cavity.kernels import accounts, boundaries, potential, wall, wall_section
from cavity.kernels.stage import solve
from cavity.kernels.year_arrays import line_of

DONE, GAVE_UP, STOPPED = 0, 1, 2  # status of `run`
SMALLEST_SPLIT = 4096  # parts of an hour before the solver gives up
GAMMA = 1.0 - 0.5**0.5  # of SDIRK2: L-stable, second order (Alexander, SIAM J. Numer. Anal. 14, 1977)
CALM_CHANGE = 3.0  # K, change of the sol-air temperature from which an hour is taken in two steps
SETTLING = 3  # first hours of a run, in which the start settles: in two steps
FIRST_DROP, LAST_DROPS = 1e-5, 2e-3  # kg/m2, a film of this size may end within the hour: in two steps
OVERDRAFT = 2e-5  # kg/m2, film that the first stage may take beyond what is there


@jit
def run(problem, state, record, stage, work, order, refine, stop):
    """Run the hours of `order`; return (status, hour index, steps, updates, worst residual).

    refine: 2 halves every step. stop (1,): looked at before each hour; another thread may set it to anything but 0.
    State holds the last good step, record the hours done.
    """
    _begin_from(problem.section, state, work)
    work.relaxation[:] = 1.0
    steps = updates = 0
    worst = 0.0
    for passed in range(order.size):
        t = order[passed]
        if stop[0] != 0:
            return STOPPED, t, steps, updates, worst
        pieces = refine * _pieces(problem, state, t, order[max(passed - 1, 0)], passed)
        good, more_steps, more_updates, left = _hour(problem, state, record, stage, work, t, pieces)
        steps += more_steps
        updates += more_updates
        if not good:
            return GAVE_UP, t, steps, updates, left
        worst = max(worst, left)
        accounts.end_hour(problem, state, record, t)
    return DONE, order[-1], steps, updates, worst


@jit
def _pieces(problem, state, t, previous, passed):
    """Return in how many steps hour t is taken: two where much changes within it."""
    change = abs(_sol_air(problem.forcing, t) - _sol_air(problem.forcing, previous))
    return 1 if change < CALM_CHANGE and passed >= SETTLING and not _drying(state, problem.readings) else 2


@jit
def _sol_air(forcing, t):
    """Return the sol-air temperature of hour t [K]."""
    return boundaries.sol_air_temperature(
        forcing.T_out[t], forcing.h_out[t], forcing.absorbed_radiation[t], forcing.emissivity
    )


@jit
def _drying(state, readings):
    """Return whether any surface holds a film so thin that it may end within the hour."""
    for s in range(state.W.shape[0]):
        for k in range(4):
            if FIRST_DROP < state.W[s, readings.film[k]] < LAST_DROPS:
                return True
    return False


@jit
def _hour(problem, state, record, stage, work, t, pieces):
    """Take the steps of hour t; return (good, steps, updates, worst residual).

    A step that fails is replaced by one of half the size and of first order, down to SMALLEST_SPLIT.
    """
    steps = updates = 0
    worst = 0.0
    work.face_shift[0] = np.inf
    accounts.clear_hour(record, t)
    dt, done = HOUR / pieces, 0.0
    first_order = False
    while done < HOUR - 1e-6:
        dt = min(dt, HOUR - done)
        _keep(state, work)
        good, more_updates, left = _step(problem, state, t, dt, first_order, stage, work)
        updates += more_updates
        if not good:
            _return_to(state, work)
            _begin_from(problem.section, state, work)
            work.face_shift[0] = np.inf
            if dt * 0.5 < HOUR / SMALLEST_SPLIT:
                return False, steps, updates, left
            dt *= 0.5
            first_order = True
            continue
        steps += 1
        worst = max(worst, left)
        last = dt if first_order else GAMMA * dt
        for k in range(1 if first_order else 2):
            weight = last if first_order or k else dt - last
            accounts.book_stage(problem, record, t, weight, stage, k, work)
        accounts.end_step(problem, state, record, t, last, work)
        done += dt
        dt = min(2.0 * dt, HOUR / pieces)
        first_order = False
    return True, steps, updates, worst


@jit
def _step(problem, state, t, dt, first_order, stage, work):
    """Solve the stages of one step (E62); return (good, updates, worst residual).

    Two stages, second order and L-stable (Alexander 1977, SDIRK2), or one of first order. A step in which the first
    stage would overdraw a film is not good.
    """
    inner = dt if first_order else GAMMA * dt
    updates = 0
    worst = 0.0
    for k in range(1 if first_order else 2):
        if k:
            for s in range(state.air_T.size):
                if not wall.advance(line_of(work, s), dt - inner) >= -OVERDRAFT:
                    return False, updates, worst
        good, used, left = solve(problem, state, t, inner, stage, k, work)
        updates += used
        worst = max(worst, left)
        if not good:
            return False, updates, worst
    return True, updates, worst


@jit
def _copy(values, to):
    """Copy values into an array of the same size."""
    for i in range(values.size):
        to[i] = values[i]


@jit
def _keep(state, work):
    """Copy what a step changes in the state before it is done."""
    _copy(state.air_T, work.old_air_T)
    _copy(state.air_p, work.old_air_p)
    _copy(state.flow, work.old_flow)


@jit
def _return_to(state, work):
    """Give the state back what `_keep` copied."""
    _copy(work.old_air_T, state.air_T)
    _copy(work.old_air_p, state.air_p)
    _copy(work.old_flow, state.flow)


@jit
def _begin_from(section, state, work):
    """Put a state into the cells of the lines."""
    for s in range(state.T.shape[0]):
        w = line_of(work, s)
        wall_section.set_state(w, state.T[s], state.u[s])
        wall_section.set_stores(w, state.W[s], state.E[s])
        work.evaluated_at[s] = 0.0
        for k in range(2):
            T, u = state.T[s, section.cladding_back + k], state.u[s, section.cladding_back + k]
            work.face_T[s, k], work.face_p[s, k] = T, potential.vapour_pressure(u, T)
