"""One line through the wall: residual and exact-by-hand Jacobian of its balances, one Newton update, one implicit step.

The unknowns of each node are temperature and potential. The cavity air is eliminated into the link between the two
surfaces of the cavity, so the system stays block-tridiagonal.

Key: W water stored [kg/m2], E enthalpy stored [J/m2], dt step [s].
"""

from __future__ import annotations

from cavity._jit import jit
from cavity.constants import ICE_POINT, WATER_HEAT
from cavity.kernels import block, boundaries, film, moist_air, wall_flow, wall_storage
from cavity.kernels.boundaries import ENERGY_IN
from cavity.kernels.wall_section import (
    ABOVE,
    BELOW,
    E_T,
    E_U,
    ENERGY_PER_KG,
    ENTHALPY,
    ENTHALPY_T,
    ENTHALPY_U,
    FAR,
    FILM_SCALE,
    FILM_START,
    FLAW,
    FLOW_E,
    FLOW_W,
    LANES,
    MINUS_LOG_RH,
    NEAR,
    NET_FLUX_E,
    NET_FLUX_W,
    OLD_E,
    OLD_W,
    OWN,
    POTENTIAL,
    RIGHT,
    SOURCE_E,
    SOURCE_W,
    SPAN,
    SYSTEM,
    TEMPERATURE,
    W_T,
    W_U,
    WATER,
    WATER_U,
    WORST_E,
    WORST_W,
    locate_in_tables,
    repeat_first_row,
    repeat_last_row,
    rows_of,
    set_potential,
    set_state,
    set_stores,
    surface_of,
    take_slopes,
)

COLDEST, HOTTEST = 180.0, 500.0  # K, limits of the search
LOWEST, HIGHEST = -3.3, 250.0  # the same for u: 1e-12 relative humidity, and a film of 230 kg/m2
BONE_DRY = 6.0  # -ln(relative humidity): 0.25 %
DRY_END = 6.5  # potential from which vapour is as good as saturated
DAMPING, DAMPED_FROM = 0.5, 3.5  # W/m2 per unit of u, and the potential from which ice of -3 degC can draw water
LEAST_ICE, ICE_FROM = 1e-3, 3.0  # kg/m2 and potential from which a node's water can hold up an update at 0 degC


@jit
def evaluate(section, T, u, w):
    """Fill w.cell with the state T [K], u of every node, (n,) each, and its functions."""
    set_state(w, T, u)
    for row in range(1, rows_of(w) + 1):
        wall_storage.eval_row(section, w, row)


@jit
def eval_state(section, P, w):
    """Fill w.cell with all that depends on the state of the line that is there and the pressure P [Pa] alone."""
    wall_flow.set_membranes(section, w)
    last = rows_of(w)
    delta_zero = moist_air.permeability_at_zero(P)
    # a row and at once its links from the row before: what both need is still in the cache
    for row in range(1, last + 2):
        if row <= last:
            wall_storage.eval_row(section, w, row)
        else:
            repeat_first_row(w)
        if row > 1:
            wall_flow.flow_row(w, row - 1, delta_zero)
    repeat_last_row(w)


@jit
def assemble(section, bc, T, u, W_old, E_old, w, flux):
    """Fill residual and Jacobian of one line for one implicit step; return (worst heat row, worst water row) [W/m2].

    W_old, E_old are the stores after the last step by the account of fluxes added up, so that a residual left by the
    last step is carried into this one and no balance error can build up.
    """
    set_state(w, T, u)
    set_stores(w, W_old, E_old)
    eval_state(section, bc.pressure, w)
    return assemble_boundaries(section, bc, w, flux, -1.0, 1.0)


@jit
def assemble_boundaries(section, bc, w, flux, tolerance, slack):
    """Join what `eval_state` found with the old stores and the surroundings; return as `assemble` (E42, E43).

    The linear system is made ready only where a residual exceeds the tolerance [W/m2]; residuals of water rows of
    bone-dry nodes count slack times less.
    """
    cell = w.cell
    outer, room = w.offset[0], w.offset[w.offset.size - 1]
    leak, rain = w.offset[bc.leak_node], w.offset[bc.rain_node]
    has_cavity = section.cladding_back >= 0
    back = w.offset[section.cladding_back] if has_cavity else outer
    front = w.offset[section.cladding_back + 1] if has_cavity else outer

    from_outdoors = boundaries.outdoors(bc, surface_of(cell, outer))
    from_room = boundaries.room(bc, surface_of(cell, room))
    by_leak = boundaries.leak(bc, surface_of(cell, leak))
    by_rain = boundaries.rain_behind(bc)
    if has_cavity:
        cavity = boundaries.cavity(bc, surface_of(cell, back), surface_of(cell, front))
    else:
        cavity = boundaries.no_cavity()
    _add_source(cell, outer, from_outdoors)
    _add_source(cell, room, from_room)
    _add_source(cell, leak, by_leak)
    _add_source(cell, rain, by_rain)
    _add_source(cell, back, cavity.back)
    _add_source(cell, front, cavity.front)
    boundaries.record(flux, from_outdoors, from_room, by_leak, by_rain, cavity)

    worst_E, worst_W = _residuals(w, 1.0 / bc.dt, 1.0 / slack)
    for at in (outer, room, leak, rain, back, front):
        cell[at + SOURCE_E] = cell[at + SOURCE_W] = 0.0
    if worst_E <= tolerance and worst_W <= tolerance:
        return worst_E, worst_W

    _jacobian(w, 1.0 / bc.dt)
    take_slopes(cell, outer + OWN, from_outdoors.slopes)
    take_slopes(cell, room + OWN, from_room.slopes)
    take_slopes(cell, leak + OWN, by_leak.slopes)
    take_slopes(cell, back + OWN, cavity.back.slopes)
    take_slopes(cell, back + ABOVE, cavity.back_by_front)
    take_slopes(cell, front + OWN, cavity.front.slopes)
    take_slopes(cell, front + BELOW, cavity.front_by_back)
    return worst_E, worst_W


@jit
def _add_source(cell, at, inflow):
    cell[at + SOURCE_E] += inflow.energy
    cell[at + SOURCE_W] += inflow.vapour + inflow.liquid


@jit
def _residuals(w, per_dt, per_slack):
    """Write net fluxes and right-hand sides of all rows; return (worst heat row, worst water row) (E42, E43)."""
    rows = rows_of(w)
    for row in range(rows):
        cell = w.cell[row * SPAN : (row + 2) * SPAN]
        for i in range(LANES):
            j = i + SPAN
            net_E = cell[i + FLOW_E] - cell[j + FLOW_E] + cell[j + SOURCE_E]
            net_W = cell[i + FLOW_W] - cell[j + FLOW_W] + cell[j + SOURCE_W]
            r = (cell[j + ENTHALPY] - cell[j + OLD_E]) * per_dt - net_E
            s = ((cell[j + WATER] - cell[j + OLD_W]) * per_dt - net_W) * ENERGY_PER_KG
            cell[j + NET_FLUX_E], cell[j + NET_FLUX_W] = net_E, net_W
            cell[j + RIGHT], cell[j + RIGHT + LANES] = -r, -s
            # written so that a value that is not a number becomes the worst and remains it
            r, s = abs(r), abs(s) * (per_slack if cell[j + MINUS_LOG_RH] > BONE_DRY else 1.0)
            cell[j + WORST_E] = r if r > cell[i + WORST_E] or r != r else cell[i + WORST_E]
            cell[j + WORST_W] = s if s > cell[i + WORST_W] or s != s else cell[i + WORST_W]
    worst_E = worst_W = 0.0
    for at in range(rows * SPAN, rows * SPAN + LANES):
        r, s = w.cell[at + WORST_E], w.cell[at + WORST_W]
        worst_E = r if r > worst_E or r != r else worst_E
        worst_W = s if s > worst_W or s != s else worst_W
    return worst_E, worst_W


@jit
def _jacobian(w, per_dt):
    """Write the blocks of all rows, the surroundings apart: stores of this node, flows from and to both neighbours."""
    for row in range(rows_of(w)):
        cell = w.cell[row * SPAN : (row + 2) * SPAN]
        for i in range(LANES):
            j = i + SPAN
            cell[j + BELOW + E_T] = -cell[i + NEAR + E_T]
            cell[j + BELOW + E_U] = -cell[i + NEAR + E_U]
            cell[j + BELOW + W_T] = -cell[i + NEAR + W_T]
            cell[j + BELOW + W_U] = -cell[i + NEAR + W_U]
            cell[j + OWN + E_T] = cell[j + NEAR + E_T] - cell[i + FAR + E_T] + cell[j + ENTHALPY_T] * per_dt
            cell[j + OWN + E_U] = cell[j + NEAR + E_U] - cell[i + FAR + E_U] + cell[j + ENTHALPY_U] * per_dt
            cell[j + OWN + W_T] = cell[j + NEAR + W_T] - cell[i + FAR + W_T]
            cell[j + OWN + W_U] = (
                cell[j + NEAR + W_U] - cell[i + FAR + W_U] + cell[j + WATER_U] * per_dt * ENERGY_PER_KG
            )
            cell[j + ABOVE + E_T] = cell[j + FAR + E_T]
            cell[j + ABOVE + E_U] = cell[j + FAR + E_U]
            cell[j + ABOVE + W_T] = cell[j + FAR + W_T]
            cell[j + ABOVE + W_U] = cell[j + FAR + W_U]


@jit
def damping(iteration):
    """Return (fraction of the full region of trust, damping of u [W/m2 per unit]) after this many updates (E63)."""
    fraction = 1.0 if iteration < 10 else 0.85 ** (iteration - 9)
    return fraction, DAMPING * (1.15 ** (iteration - 5) - 1.0) if iteration > 5 else 0.0


@jit
def update(w, iteration):
    """Apply one Newton update within a region of trust; return 0, or 1 when the system is singular or not finite.

    At first 30 K and 1.5 in u are allowed at each node; less in late updates ends the cycles between two sides of a
    phase change. With them u is damped where hardly anything depends on it: at a saturated or frozen surface of a layer
    that draws water, between wet and dry, whose slope may even have the wrong sign, as evaporation cools and ice draws
    water.
    """
    fraction, damped = damping(iteration)
    if damped > 0.0:
        for row in range(1, rows_of(w) + 1):
            cell = w.cell[row * SPAN : (row + 1) * SPAN]
            for k in range(LANES):
                draws = cell[k + FILM_START] > film.START and cell[k + POTENTIAL] > DAMPED_FROM
                cell[k + OWN + W_U] += damped if draws else 0.0
    if block.solve(w.cell, w.offset, SYSTEM):
        return 1
    rows = rows_of(w)
    for row in range(rows):
        cell = w.cell[row * SPAN : (row + 2) * SPAN]
        for i in range(LANES):
            j = i + SPAN
            dT, du = cell[j + RIGHT], cell[j + RIGHT + LANES]
            cell[j + FLAW] = cell[i + FLAW] + (dT - dT) + (du - du)  # not a number if one of them is not finite
            T, u = cell[j + TEMPERATURE], cell[j + POTENTIAL]
            cell[j + TEMPERATURE] = _next_temperature(T, dT, 30.0 * fraction, cell[j + WATER], u)
            cell[j + POTENTIAL] = _next_potential(u, du, 1.5 * fraction, cell[j + FILM_SCALE], cell[j + FILM_START])
            locate_in_tables(cell, j)
    flaw = 0.0
    for at in range(rows * SPAN, rows * SPAN + LANES):
        flaw += w.cell[at + FLAW]
    return 0 if flaw == 0.0 else 1


@jit
def _next_temperature(T, dT, most, W, u):
    """Return T + dT, bounded: outside the range of freezing no slope shows the melting heat, so it stops within."""
    holds = W > LEAST_ICE and u > ICE_FROM
    low = ICE_POINT - 0.1 * film.FREEZING_RANGE if holds and T > ICE_POINT else COLDEST
    high = ICE_POINT - 0.9 * film.FREEZING_RANGE if holds and T < ICE_POINT - film.FREEZING_RANGE else HOTTEST
    return min(high, max(low, T + min(most, max(-most, dT))))


@jit
def _next_potential(u, du, most, film_scale, film_start):
    """Return u + du, bounded; a surface may go from one end of the range where it is saturated to the other at once."""
    starts = film_start if film_scale > 0.0 else LOWEST
    up = max(u + most, starts + 0.1 if u > DRY_END else LOWEST)
    down = min(u - most, DRY_END if u > DRY_END and u < starts + 0.2 else HIGHEST)
    return min(HIGHEST, max(LOWEST, min(up, max(down, u + du))))


@jit
def worst_node(w, dt):
    """Return (node, row: 0 heat, 1 water, residual [W/m2]) of the largest residual, step dt [s]."""
    cell = w.cell
    node, row, worst = 0, 0, -1.0
    for i in range(w.offset.size):
        at = w.offset[i]
        r = abs((cell[at + ENTHALPY] - cell[at + OLD_E]) / dt - cell[at + NET_FLUX_E])
        s = abs((cell[at + WATER] - cell[at + OLD_W]) / dt - cell[at + NET_FLUX_W]) * ENERGY_PER_KG
        for k, value in ((0, r), (1, s)):
            if value > worst or value != value:
                node, row, worst = i, k, value
    return node, row, worst


@jit
def advance(w, span):
    """Let the last fluxes act on the old stores for span [s]; return the least water of any surface [kg/m2]."""
    least = 0.0
    for row in range(1, rows_of(w) + 1):
        cell = w.cell[row * SPAN : (row + 1) * SPAN]
        for k in range(LANES):
            cell[k + OLD_W] += span * cell[k + NET_FLUX_W]
            cell[k + OLD_E] += span * cell[k + NET_FLUX_E]
        for k in range(LANES):
            if cell[k + FILM_SCALE] > 0.0:
                least = min(least, cell[k + OLD_W])
    return least


@jit
def commit(section, w, T, u, W, E, runoff, shed):
    """Read state and stores of a line, (n,) each, out of its cells at the end of a step (E41).

    Water above what a node can hold drains, into runoff (n,) [kg/m2], as far as it is liquid. Water that condensed
    inside a layer that does not draw it goes to the colder surface of that layer, into its shed (n,) [kg/m2].
    Returns the enthalpy that drains away [J/m2].
    """
    cell = w.cell
    for i in range(T.size):
        at = w.offset[i]
        T[i], u[i], W[i], E[i] = cell[at + TEMPERATURE], cell[at + POTENTIAL], cell[at + OLD_W], cell[at + OLD_E]
        runoff[i] = shed[i] = 0.0
    _shed(section, T, u, W, E, shed)
    drained_heat = _drain(section, w, T, u, W, E, runoff)
    for i in range(T.size):
        cell[w.offset[i] + OLD_W], cell[w.offset[i] + OLD_E] = W[i], E[i]
    return drained_heat


@jit
def _shed(section, T, u, W, E, shed):
    """Transfer what condensed inside layers that do not draw water to their colder surface."""
    for i in range(T.size):
        if section.sheds_out[i] < 0 or u[i] <= section.film_start[i]:
            continue
        out, inner = section.sheds_out[i], section.sheds_in[i]
        to = out if T[out] <= T[inner] else inner
        m = film.mass(u[i], section.film_scale[i], section.film_start[i])[0]
        if section.film_start[to] > film.START and u[to] < section.film_start[to] and film.frozen_fraction(T[to]) < 1.0:
            # a layer that draws water takes up at once what finds room in its first cell
            beyond = to + 1 if to > i else to - 1
            most = section.max_water[beyond]
            if W[beyond] + m < 0.8 * most and m < 0.1 * most:  # more than a little: a film first
                to = beyond
        h = film.enthalpy(T[i])[0]
        W[i] -= m
        E[i] -= m * h
        W[to] += m
        E[to] += m * h
        shed[to] += m


@jit
def _drain(section, w, T, u, W, E, runoff):
    """Let water drain that nodes cannot hold; return its enthalpy [J/m2]: liquid at the temperature of what stays."""
    drained_heat = 0.0
    for i in range(T.size):
        excess = min(W[i] - section.max_water[i], (1.0 - film.frozen_fraction(T[i])) * W[i])
        if excess > 0.0 and u[i] > section.film_start[i]:
            h = WATER_HEAT * (T[i] - ICE_POINT)
            W[i] -= excess
            E[i] -= excess * h
            runoff[i] = excess
            drained_heat += excess * h
            if section.thickness[i] == 0.0:
                u[i] = film.potential(W[i], section.film_start[i])
                set_potential(w, i, u[i])
    return drained_heat


@jit
def step(section, bc, T, u, W, E, w, flux, runoff, shed, tolerance, most):
    """Take one implicit step of a line whose surroundings are given; return (status, iterations, worst residual).

    For walls without a cavity and for published cases; the hourly loop couples several lines with the air instead.
    Status 0: done and committed; 1: no convergence, T, u and stores untouched.
    """
    worst = 0.0
    set_state(w, T, u)
    set_stores(w, W, E)
    for iteration in range(most):
        eval_state(section, bc.pressure, w)
        a, b = assemble_boundaries(section, bc, w, flux, tolerance, 1.0)
        worst = max(a, b)
        if worst <= tolerance:
            advance(w, bc.dt)
            flux[ENERGY_IN] -= commit(section, w, T, u, W, E, runoff, shed) / bc.dt
            return 0, iteration, worst
        if update(w, iteration):
            return 1, iteration, worst
    return 1, most, worst
