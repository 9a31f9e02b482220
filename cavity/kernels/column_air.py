"""Air that passes the segments of a column: its flow, its state along the way, and the coefficients at the surfaces.

The state of the cavity surfaces is input; what is found here goes into the boundary conditions of the lines.

Key: S segments, K links; flows of links upwards [kg/(s m)].
"""

from __future__ import annotations

from cavity._jit import jit
from cavity.constants import DRY_AIR_HEAT, GRAVITY, LEWIS_VAPOUR, WATER_TO_AIR
from cavity.kernels import cavity_air, moist_air, network, potential
from cavity.kernels.wall_section import POTENTIAL, TEMPERATURE, VAPOUR
from cavity.kernels.year_arrays import HEAT_MEAN, HEAT_OUTLET, VAPOUR_MEAN, VAPOUR_OUTLET

CALM_FLOW = 1e-9  # kg/(s m), counts as no flow: 1e-8 m/s in 50 mm
FLOW_AGREES = 1e-4  # relative, of air flow and air temperature with each other
FLOW_EXACT = 1e-5  # relative residual of the network in one round of that
LEAST_LEFT = 0.3  # fraction of a gap that a round is assumed to leave at least


@jit
def order_of_flow(column, flow, order):
    """Write the segments into order (S,) as the air passes them; return their number."""
    S = column.segment_link.size
    count = 0
    for s in range(S):
        link = column.segment_link[s]
        if link < 0 or flow[link] >= 0.0:
            order[count] = s
            count += 1
    for k in range(flow.size - 1, -1, -1):
        if flow[k] < 0.0:
            for s in range(S - 1, -1, -1):
                if column.segment_link[s] == k:
                    order[count] = s
                    count += 1
    return count


@jit
def set_inlet(column, flow, s, outdoors, work):
    """Set the state of the air entering segment s: from its neighbour, or mixed at the opening."""
    S = column.segment_link.size
    link = column.segment_link[s]
    work.inlet_T[s] = outdoors.T
    work.inlet_p[s] = outdoors.p
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
    work.inlet_T[s] = part * work.outlet_T[neighbour] + (1.0 - part) * outdoors.T
    work.inlet_p[s] = part * work.outlet_p[neighbour] + (1.0 - part) * outdoors.p


@jit
def read_faces(section, w, s, work):
    """Read the cavity surfaces of segment s for the air; return the larger change of their temperatures [K]."""
    shift = 0.0
    for k in range(2):
        at = w.offset[section.cladding_back + k]
        T = w.cell[at + TEMPERATURE]
        shift = max(shift, abs(T - work.face_T[s, k]))
        work.face_T[s, k] = T
        evaluated = work.evaluated_at[s] > 0.0
        work.face_p[s, k] = w.cell[at + VAPOUR] if evaluated else potential.vapour_pressure(w.cell[at + POTENTIAL], T)
    return shift


@jit
def update_air(state, s, outdoors, work):
    """Set mean and outlet air of segment s by its inlet and surfaces (E31, E32); steam beyond the pressure leaves."""
    weight, part = work.inlet_weight, work.outdoor_part
    of_back = work.h[s, 0] / (work.h[s, 0] + work.h[s, 1])
    T = of_back * work.face_T[s, 0] + (1.0 - of_back) * work.face_T[s, 1]
    excess, more = work.inlet_T[s] - T, outdoors.T - work.inlet_T[s]
    state.air_T[s] = T + (excess + more * part[s, HEAT_MEAN]) * weight[s, HEAT_MEAN]
    work.outlet_T[s] = T + (excess + more * part[s, HEAT_OUTLET]) * weight[s, HEAT_OUTLET]
    p, P = of_back * work.face_p[s, 0] + (1.0 - of_back) * work.face_p[s, 1], outdoors.pressure
    excess, more = work.inlet_p[s] - p, outdoors.p - work.inlet_p[s]
    state.air_p[s] = min(p + (excess + more * part[s, VAPOUR_MEAN]) * weight[s, VAPOUR_MEAN], P)
    work.outlet_p[s] = min(p + (excess + more * part[s, VAPOUR_OUTLET]) * weight[s, VAPOUR_OUTLET], P)


@jit
def set_coefficients(column, state, outdoors, work, renew):
    """Set the convective coefficients of the cavity surfaces and the weights of the inlet air by the flow (E6, E36).

    renew: the surfaces have changed since the last call, not the flow alone.
    """
    if column.gust_factor > 0.0 and renew:  # an estimate: its part of the drive may be that of the first round
        drive = 0.0
        for k in range(state.flow.size):
            drive += work.drive[k]
        content = outdoors.density * column.volume[0]
        gusts = cavity_air.gust_exchange(column.gust_curve, drive, outdoors.gust, outdoors.speed, content)
        work.gusts[0] = gusts * column.gust_factor / column.height
    for s in range(column.segment_link.size):
        link, P = column.segment_link[s], outdoors.pressure
        v, length, C, entry = 0.0, column.height, 0.0, 0.0
        if link >= 0 and state.flow.size:
            length = column.opening_height[link + 1] - column.opening_height[link]
            C = abs(state.flow[link]) / length * DRY_AIR_HEAT
            entry = column.link_entry[link, 0 if state.flow[link] >= 0.0 else 1]
            v = state.flow[link] / (moist_air.density(state.air_T[s], state.air_p[s], P) * column.link_law[link, 0])
        T1, T2 = work.face_T[s, 0], work.face_T[s, 1]
        if renew:
            work.h_still[s] = cavity_air.h_still(T1, T2, column.depth, length, P)
        h1, h2 = cavity_air.h_mixed(
            work.h_still[s], v, C, T1, T2, state.air_T[s], column.depth, length, P, entry
        )  # fmt: skip
        work.h[s, 0], work.h[s, 1] = h1, h2
        through, mixing = flow_per_area(column, state.flow, s), _mixing(column, state, s, outdoors, work)
        work.mixing[s] = mixing
        _set_weights(work, s, HEAT_MEAN, HEAT_OUTLET, h1 + h2, through * DRY_AIR_HEAT, mixing * DRY_AIR_HEAT)
        per_area = WATER_TO_AIR / P
        beta = LEWIS_VAPOUR * (h1 + h2)
        _set_weights(work, s, VAPOUR_MEAN, VAPOUR_OUTLET, beta, through * per_area, mixing * per_area)


@jit
def _set_weights(work, s, mean, outlet, h, C, c):
    """Set the weights of the inlet air of segment s, of heat or vapour (E31, E32); see inlet_weight_mixing."""
    (
        work.inlet_weight[s, mean], work.outdoor_part[s, mean], work.inlet_weight[s, outlet],
        work.outdoor_part[s, outlet],
    ) = cavity_air.inlet_weight_mixing(h, C, c)  # fmt: skip


@jit
def flow_per_area(column, flow, s):
    """Return the mass flow through segment s per area of one surface [kg/(s m2)]; 0 below CALM_FLOW."""
    link = column.segment_link[s]
    if link < 0 or flow.size == 0:
        return 0.0
    per_area = abs(flow[link]) / (column.segment_top[s] - column.segment_bottom[s])
    return per_area if per_area >= CALM_FLOW else 0.0


@jit
def _mixing(column, state, s, outdoors, work):
    """Return the exchange with outdoors in addition to the mean flow [kg/(s m2)]: by gusts, or at a single vent."""
    link = column.segment_link[s]
    if column.single_area[s] > 0.0:
        return outdoors.density * cavity_air.single_vent(
            column.single_area[s], column.single_clear[s], outdoors.speed, state.air_T[s], outdoors.T
        )
    return work.gusts[0] if link >= 0 and state.flow.size > 0 and column.link_open[link] != 0 else 0.0


@jit
def _set_densities(column, state, outdoors, rho_link):
    """Set the air density of each link: mean over its segments, by height."""
    for k in range(rho_link.size):
        total = weight = 0.0
        for s in range(column.segment_link.size):
            if column.segment_link[s] == k:
                size = column.segment_top[s] - column.segment_bottom[s]
                total += size * moist_air.density(state.air_T[s], state.air_p[s], outdoors.pressure)
                weight += size
        rho_link[k] = total / weight if weight > 0.0 else outdoors.density


@jit
def couple_flow(column, wind, state, outdoors, work, rounds):
    """Solve air flow and air temperatures together for the present state of the surfaces (E19, E28).

    More flow cools the air, which slows the flow: plain repetition can oscillate, so each round is relaxed by Aitken's
    rule, from the factor at which the last search ended. It ends when the gap that the next round would leave, by the
    fraction that such rounds leave, is small enough. wind (J,) [Pa]. Returns whether it was.
    """
    agreed = False
    gap = 0.0
    for turn in range(rounds):
        _flow_for_this_air(column, wind, state, outdoors, work)
        before = gap
        gap, largest = _relax_flow(state, before, turn, work)
        set_coefficients(column, state, outdoors, work, turn == 0)
        count = order_of_flow(column, state.flow, work.order)
        for rank in range(count):
            s = work.order[rank]
            set_inlet(column, state.flow, s, outdoors, work)
            update_air(state, s, outdoors, work)
        if gap * work.relaxation[1] <= FLOW_AGREES * largest + CALM_FLOW:
            agreed = True
            break
    return agreed


@jit
def _flow_for_this_air(column, wind, state, outdoors, work):
    """Solve the network for the air as it now is, into work.new_flow."""
    _set_densities(column, state, outdoors, work.rho)
    for k in range(state.flow.size):
        stack = (outdoors.density - work.rho[k]) * GRAVITY * column.link_rise[k]
        work.drive[k] = wind[k] - wind[k + 1] + stack
        work.new_flow[k] = state.flow[k]
    network.solve_column(
        column.opening_law, column.link_law, column.part_law, column.part_link, column.link_open, work.drive,
        outdoors.density, work.rho, outdoors.viscosity, work.new_flow, work.ladder, work.chain, FLOW_EXACT,
    )  # fmt: skip


@jit
def _relax_flow(state, before, turn, work):
    """Change the flow towards work.new_flow by Aitken's rule; return (gap, largest flow); before: the last gap."""
    factor = work.relaxation[0]
    gap = largest = 0.0
    dot = norm = 0.0
    for k in range(state.flow.size):
        r = work.new_flow[k] - state.flow[k]
        gap = max(gap, abs(r))
        largest = max(largest, abs(work.new_flow[k]))
        change = r - work.last_gap[k]
        dot += work.last_gap[k] * change
        norm += change * change
    if turn > 0 and norm > 0.0:
        factor = min(1.0, max(0.05, -factor * dot / norm))
        work.relaxation[0] = factor
        work.relaxation[1] = min(1.0, max(LEAST_LEFT, gap / before))
    for k in range(state.flow.size):
        work.last_gap[k] = work.new_flow[k] - state.flow[k]
        state.flow[k] += factor * work.last_gap[k]
    return gap, largest
