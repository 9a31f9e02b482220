"""The accounts of a year: what each step adds to the hourly record, to the balances and to the films by cause.

Key: a stage counts for `weight` seconds of its hour, the fraction `part` of it.
"""

from __future__ import annotations

from cavity._jit import jit
from cavity.constants import DRY_AIR_HEAT, GRAVITY, HOUR, R_VAPOUR, WATER_TO_AIR
from cavity.kernels import column_air, film, moist_air, network, stream, wall
from cavity.kernels.boundaries import (
    AIR_P,
    AIR_T,
    BACK_ENERGY,
    BACK_HEAT,
    BACK_VAPOUR,
    FRONT_ENERGY,
    FRONT_HEAT,
    FRONT_VAPOUR,
    LEAK_VAPOUR,
    OUT_HEAT,
    OUT_RAIN,
    OUT_VAPOUR,
    RAIN_BEHIND,
    ROOM_HEAT,
    ROOM_VAPOUR,
)
from cavity.kernels.boundaries import ENERGY_IN as ENERGY_FLUX
from cavity.kernels.wall_section import (
    ENTHALPY,
    INNER,
    LIQUID,
    NET_FLUX_W,
    OLD_W,
    PER_DISTANCE,
    POTENTIAL,
    WATER,
)
from cavity.kernels.year_arrays import (
    BACK,
    CAPILLARY,
    CAUSES,
    CAVITY_VAPOUR_TERM,
    DEW,
    ENERGY_AT_START,
    ENERGY_IN,
    FRONT,
    LEAK_TERM,
    OUTDOOR_VAPOUR_TERM,
    OUTER,
    RAIN,
    RAIN_BEHIND_TERM,
    RAIN_TERM,
    ROOM,
    ROOM_VAPOUR_TERM,
    RUNOFF_TERM,
    WATER_AT_START,
    WATER_IN,
    line_of,
    outdoors_of,
)

WET = 2e-5  # kg/m2, smallest film that counts: more than the residual that a step may leave on a dry surface


@jit
def clear_hour(record, t):
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
def book_stage(problem, record, t, weight, stage, k, work):
    """Add the fluxes of stage k to the balances, and its state to the means of the hour."""
    outdoors = outdoors_of(problem.forcing, t)
    part = weight / HOUR
    for s in range(problem.column.segment_link.size):
        flux = stage.flux[k, s]
        _book_fluxes(record, s, weight, flux)
        _book_lines(problem.readings, record, t, s, part, flux, stage, k)
        _book_segment_air(problem.column, record, t, s, part, flux, outdoors, stage, k)
    _book_stream(problem.column, problem.readings, record, t, part, outdoors, stage, k, work)
    if problem.column.link_rise.size:
        _book_flow(problem.column, problem.forcing.wind[t], record, t, part, outdoors, stage, k, work)


@jit
def _book_fluxes(record, s, weight, f):
    """Add the fluxes f of segment s to its balances."""
    terms, account, throughput = record.terms[s], record.balance_account[s], record.throughput[s]
    to_cavity = f[BACK_VAPOUR] + f[FRONT_VAPOUR]
    account[WATER_IN] += weight * (
        f[OUT_VAPOUR] + f[OUT_RAIN] + f[ROOM_VAPOUR] + f[LEAK_VAPOUR] + f[RAIN_BEHIND] - f[BACK_VAPOUR]
        - f[FRONT_VAPOUR]
    )  # fmt: skip
    account[ENERGY_IN] += weight * f[ENERGY_FLUX]
    throughput[0] += weight * (
        abs(f[OUT_VAPOUR]) + f[OUT_RAIN] + abs(f[ROOM_VAPOUR]) + abs(f[LEAK_VAPOUR]) + f[RAIN_BEHIND]
        + abs(f[BACK_VAPOUR]) + abs(f[FRONT_VAPOUR])
    )  # fmt: skip
    throughput[1] += weight * (abs(f[OUT_HEAT]) + abs(f[ROOM_HEAT]) + abs(f[BACK_HEAT]) + abs(f[FRONT_HEAT]))
    terms[RAIN_TERM] += weight * f[OUT_RAIN]
    terms[OUTDOOR_VAPOUR_TERM] += weight * f[OUT_VAPOUR]
    terms[ROOM_VAPOUR_TERM] += weight * f[ROOM_VAPOUR]
    terms[LEAK_TERM] += weight * f[LEAK_VAPOUR]
    terms[RAIN_BEHIND_TERM] += weight * f[RAIN_BEHIND]
    terms[CAVITY_VAPOUR_TERM] -= weight * to_cavity


@jit
def _book_lines(readings, record, t, s, part, flux, stage, k):
    """Add surfaces and surface fluxes of segment s to the means of the hour."""
    record.vapour[t, s, OUTER] += flux[OUT_VAPOUR] * part
    record.vapour[t, s, BACK] -= flux[BACK_VAPOUR] * part
    record.vapour[t, s, FRONT] -= flux[FRONT_VAPOUR] * part
    record.vapour[t, s, ROOM] += flux[ROOM_VAPOUR] * part
    record.heat_in[t, s] += flux[ROOM_HEAT] * part
    for f in range(readings.node.size):
        record.T[t, s, f] += stage.face_T[k, s, f] * part
        record.p[t, s, f] += stage.face_p[k, s, f] * part
        for c in range(CAUSES):
            record.wetting[t, s, f, c] += stage.wetting[k, s, f, c] * part


@jit
def _book_segment_air(column, record, t, s, part, flux, outdoors, stage, k):
    """Add the air of segment s to the means of the hour, and what it exchanges with outdoors on the way."""
    record.air_T[t, s] += flux[AIR_T] * part
    # water beyond saturation is fog: droplets that the air carries along and loses to the surfaces as vapour
    fog = max(flux[AIR_P] - moist_air.saturation(flux[AIR_T])[0], 0.0)
    record.air_p[t, s] += (flux[AIR_P] - fog) * part
    record.fog[t, s] += fog / (R_VAPOUR * flux[AIR_T]) * part
    link = column.segment_link[s]
    if link >= 0 and column.link_rise.size:
        record.speed[t, s] += stage.flow[k, link] / (stage.rho[k, link] * column.link_law[link, 0]) * part
    if stage.mixing[k, s] > 0.0:
        size = column.segment_top[s] - column.segment_bottom[s]
        into = stage.mixing[k, s] * size / outdoors.density * HOUR * part
        c = 1 + column.segment_compartment[s]
        record.change_rate[t, 0] += into / column.volume[0]
        record.change_rate[t, c] += into / column.volume[c]


@jit
def _book_flow(column, wind, record, t, part, outdoors, stage, k, work):
    """Add the flow through the column, its losses and its drives to the means of the hour (E29); wind (J,) [Pa]."""
    flow, rho, opening_flow, losses = stage.flow[k], stage.rho[k], work.opening_flow, work.losses
    network.opening_flows(flow, opening_flow)
    network.path_losses(
        column.path_source, column.path_index, column.opening_law, column.link_law, column.part_law,
        column.part_link, outdoors.density, rho, outdoors.viscosity, flow, losses,
    )  # fmt: skip
    network.air_in(flow, opening_flow, column.opening_compartment, column.gate_link, work.air_in)
    for c in range(column.volume.size):
        record.change_rate[t, c] += work.air_in[c] / (outdoors.density * column.volume[c]) * HOUR * part
    for j in range(opening_flow.size):
        record.opening_flow[t, j] += opening_flow[j] * part
    for i in range(losses.size):
        record.part_pressure[t, i] += losses[i] * part
    for i in range(flow.size):
        record.stack[t] += (outdoors.density - rho[i]) * GRAVITY * column.link_rise[i] * part
    record.wind[t] += (wind[0] - wind[wind.size - 1]) * part


@jit
def _book_stream(column, readings, record, t, part, outdoors, stage, k, work):
    """Add one stage to the balance of the air stream of hour t (E73); its gain from what the wall lost."""
    excess, into, out = work.excess[0], work.excess[1], work.excess[2]
    back = front = 0
    while readings.node[back] != readings.film[BACK]:
        back += 1
    while readings.node[front] != readings.film[FRONT]:
        front += 1
    for kind in range(2):
        outside = outdoors.p if kind else outdoors.T
        per_kg = WATER_TO_AIR / outdoors.pressure if kind else DRY_AIR_HEAT
        for s in range(excess.size):
            excess[s] = stage.outlet[k, kind, s] - outside
        stream.carried(column.segment_link, stage.flow[k], excess, work.node, into, out)
        for s in range(excess.size):
            f, terms = stage.flux[k, s], record.stream[t, s, kind]
            if column_air.flow_per_area(column, stage.flow[k], s) > 0.0:
                per_area = per_kg * part / (column.segment_top[s] - column.segment_bottom[s])
                terms[stream.CARRIED_IN] += into[s] * per_area
                terms[stream.CARRIED_OUT] -= out[s] * per_area
            mean = f[AIR_P] if kind else f[AIR_T]
            terms[stream.EXCHANGED] += stage.mixing[k, s] * (outside - mean) * per_kg * part
            from_cladding, from_wall = f[BACK_VAPOUR], f[FRONT_VAPOUR]
            if kind == 0:  # the heat of the vapour goes with the vapour
                T1 = stage.face_T[k, s, back] if from_cladding > 0.0 else mean
                T2 = stage.face_T[k, s, front] if from_wall > 0.0 else mean
                from_cladding = f[BACK_ENERGY] - from_cladding * moist_air.vapour_enthalpy(T1)
                from_wall = f[FRONT_ENERGY] - from_wall * moist_air.vapour_enthalpy(T2)
            terms[stream.FROM_CLADDING] += from_cladding * part
            terms[stream.FROM_WALL] += from_wall * part


@jit
def end_step(problem, state, record, t, span, work):
    """Close the balances of a step, let the fluxes of its last stage act for span [s], and take over its state."""
    for s in range(state.T.shape[0]):
        w = line_of(work, s)
        account = record.balance_account[s]
        water = energy = 0.0
        for i in range(state.T.shape[1]):
            water += w.cell[w.offset[i] + WATER]
            energy += w.cell[w.offset[i] + ENTHALPY]
        record.water_residual[t, s] = account[WATER_IN] - (water - account[WATER_AT_START])
        record.energy_residual[t, s] = account[ENERGY_IN] - (energy - account[ENERGY_AT_START])
        wall.advance(w, span)
        account[ENERGY_IN] -= wall.commit(
            problem.section, w, state.T[s], state.u[s], state.W[s], state.E[s], work.runoff, work.shed
        )
        _book_runoff(problem, record, t, s, work)


@jit
def _book_runoff(problem, record, t, s, work):
    """Book the water that left segment s at the end of a step or was passed on within it."""
    readings = problem.readings
    for i in range(work.runoff.size):
        runoff = work.runoff[i]
        if runoff > 0.0:
            record.balance_account[s, WATER_IN] -= runoff
            work.evaluated_at[s] = 0.0
            record.drainage[t, s, readings.plane[i]] += runoff / HOUR
            if readings.layer[i] >= 0:
                record.drained[s] += runoff
            else:
                record.terms[s, RUNOFF_TERM] -= runoff
        if work.shed[i] > 0.0 and problem.section.thickness[i] == 0.0:
            record.wetting[t, s, readings.plane[i], DEW] += work.shed[i] / HOUR


@jit
def end_hour(problem, state, record, t):
    """Record the water of layers and films at the end of an hour."""
    readings = problem.readings
    for s in range(state.W.shape[0]):
        record.water[t, s] = 0.0
        for i in range(state.W.shape[1]):
            if readings.layer[i] >= 0 and problem.section.thickness[i] > 0.0:
                # without water in the material the account may be negative by the last residual: a microgram
                record.water[t, s, readings.layer[i]] += max(state.W[s, i], 0.0)
        for f in range(readings.node.size):
            i = readings.node[f]
            record.film[t, s, f] = max(state.W[s, i], 0.0)
            record.frost[t, s, f] = film.frozen_fraction(state.T[s, i]) if state.W[s, i] > WET else 0.0


@jit
def wetting(section, w, bc, i, by_cause):
    """Write the rate at which the film of surface i changes, (CAUSES,) [kg/(m2 s)], by what changes it.

    The growth of a film is attributed to the causes that bring water, each in proportion to what it brings; a loss, to
    those that take water. The causes add up to the change, drainage afterwards included.
    """
    cell, at = w.cell, w.offset[i]
    # at its end or at its start: what takes the last of a film counts as well
    holds = cell[at + POTENTIAL] > section.film_start[i] or cell[at + OLD_W] > WET
    if not holds or section.sheds_out[i] >= 0:
        by_cause[:] = 0.0
        return
    net = cell[at + NET_FLUX_W]
    liquid = 0.0
    if i > 0:
        before = w.offset[i - 1]
        liquid += (cell[before + INNER] - cell[at + LIQUID]) * cell[before + PER_DISTANCE]
    if i < w.offset.size - 1:
        liquid -= (cell[at + INNER] - cell[w.offset[i + 1] + LIQUID]) * cell[at + PER_DISTANCE]
    rain = (bc.rain if i == 0 else 0.0) + (bc.rain_in if i == bc.rain_node else 0.0)
    by_cause[DEW], by_cause[RAIN], by_cause[CAPILLARY] = net - liquid - rain, rain, liquid
    sign = 1.0 if net > 0.0 else -1.0
    total = 0.0
    for c in range(CAUSES):
        by_cause[c] = max(sign * by_cause[c], 0.0)
        total += by_cause[c]
    for c in range(CAUSES):
        by_cause[c] *= net / total if total > 0.0 else 0.0
