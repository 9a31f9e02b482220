"""Air flow through one column of the cavity: a ladder of openings and the links between them.

Openings 0..n-1 are numbered from low to high; link k joins openings k and k+1 and is a channel with restrictions
(rails, barriers) in series. Unknown is the upward mass flow Q_k of each link; opening j takes in q_j = Q_j - Q_(j-1):
mass balance holds by construction. Around the loop outdoors - opening k - link k - opening k+1 - outdoors:

    L_k(q_k) + M_k(Q_k) - L_(k+1)(q_(k+1)) = drive_k

with L, M the increasing losses of `pressure_drop.py` and

    drive_k = wind_k - wind_(k+1) + (rho_out - rho_link_k) g (z_(k+1) - z_k)

[Pa], positive when it drives air upwards. This is the gradient of a strictly convex function of Q: the Jacobian is
symmetric, tridiagonal and positive definite, and Newton with a line search along the convex function cannot fail.

Closed openings (AREA <= 0) and closed links are allowed anywhere: a closed opening puts its two links in series, a
closed link carries nothing and splits the column.

How to call it once an hour, nothing allocated::

    n = len(opening_law)
    flow = zeros(max(n - 1, 0))           # warm start, overwritten by the solution
    work = zeros((WORK_ROWS, n + 1)); chain = zeros((CHAIN_ROWS, n + 1), int64)
    status, iterations, residual = solve_column(opening_law, link_law, part_law, part_link, link_open,
                                                drive, rho_out, rho_link, mu, flow, work, chain)
    opening_flows(flow, q)                # q (n,): into the cavity positive
    path_losses(source, index, ...)       # Pa lost at every part, low to high, never negative
"""

from __future__ import annotations

from cavity._jit import jit
from cavity.kernels.pressure_drop import channel_loss, restriction_loss

WORK_ROWS = 9
CHAIN_ROWS = 3
EXACT = 1e-12  # of the pressures: round-off
SOLVED = 0  # residual within 1e-12 of the pressures, or the step is round-off
STALLED = 1  # iterations ran out: never seen in the property tests; the flow is the best found
MAX_ITERATIONS = 200
REST = 1e-13  # Pa; drives all smaller than this are no drive (a flow of nm/s)
FROM_OPENING, FROM_CHANNEL, FROM_RESTRICTION = 0, 1, 2  # codes of `source` in path_losses


@jit
def _cavity_density(j, n, rho_out, rho_link):
    """Return the density of the air that leaves through opening j: mean of the links on both sides."""
    if n < 2:
        return rho_out
    if j == 0:
        return rho_link[0]
    if j == n - 1:
        return rho_link[n - 2]
    return 0.5 * (rho_link[j - 1] + rho_link[j])


@jit
def _chain(opening_law, link_open, chain):
    """Number the unknown flows; return how many.

    chain[0, k]: unknown of link k or -1; chain[1, j] / chain[2, j]: unknown above / below opening j or -1.
    """
    n = opening_law.shape[0]
    for j in range(n):
        chain[1, j] = -1
        chain[2, j] = -1
    for k in range(n - 1):
        chain[0, k] = -1
    count = 0
    last = -1  # last active opening that is still connected
    for j in range(n):
        if j > 0 and link_open[j - 1] == 0:
            last = -1
        if opening_law[j, 0] > 0.0:
            if last >= 0:
                for k in range(last, j):
                    chain[0, k] = count
                chain[1, last] = count
                chain[2, j] = count
                count += 1
            last = j
    return count


@jit
def _evaluate(opening_law, link_law, part_law, part_link, drive, rho_out, rho_link, mu, chain, count, row, work):
    """Fill residual (1), diagonal (2), coupling to the next unknown (3) and pressure scale (4) at flows work[row]."""
    n = opening_law.shape[0]
    for u in range(count):
        work[1, u] = 0.0
        work[2, u] = 0.0
        work[3, u] = 0.0
        work[4, u] = 0.0
    for k in range(n - 1):
        u = chain[0, k]
        if u >= 0:
            dp, slope = channel_loss(link_law, k, work[row, u], rho_link[k], mu)
            work[1, u] += dp - drive[k]
            work[2, u] += slope
            work[4, u] += abs(dp) + abs(drive[k])
    for i in range(part_law.shape[0]):
        k = part_link[i]
        u = chain[0, k]
        if u >= 0:
            dp, slope = restriction_loss(part_law, i, work[row, u], rho_link[k], rho_link[k], mu)
            work[1, u] += dp
            work[2, u] += slope
            work[4, u] += abs(dp)
    for j in range(n):
        above = chain[1, j]
        below = chain[2, j]
        if above < 0 and below < 0:
            continue
        q = 0.0
        passing = 0.0
        if above >= 0:
            q += work[row, above]
            passing += abs(work[row, above])
        if below >= 0:
            q -= work[row, below]
            passing += abs(work[row, below])
        dp, slope = restriction_loss(opening_law, j, q, rho_out, _cavity_density(j, n, rho_out, rho_link), mu)
        size = abs(dp) + 1e-3 * slope * passing  # x 1e-12: round-off of q, the difference of two large flows
        if above >= 0:
            work[1, above] += dp
            work[2, above] += slope
            work[4, above] += size
        if below >= 0:
            work[1, below] -= dp
            work[2, below] += slope
            work[4, below] += size
            if above >= 0:
                work[3, below] = -slope


@jit
def _newton_step(count, work):
    """Put the Newton step into work[5]; Thomas elimination of the symmetric tridiagonal system (row 6, 7 scratch)."""
    largest = 0.0
    for u in range(count):
        largest = max(largest, work[2, u])
    floor = 1e-14 * largest + 1e-300  # purely quadratic laws have no slope at rest
    pivot = max(work[2, 0], floor)
    work[6, 0] = work[3, 0] / pivot
    work[7, 0] = -work[1, 0] / pivot
    for u in range(1, count):
        pivot = max(work[2, u] - work[3, u - 1] * work[6, u - 1], floor)
        work[6, u] = work[3, u] / pivot
        work[7, u] = (-work[1, u] - work[3, u - 1] * work[7, u - 1]) / pivot
    work[5, count - 1] = work[7, count - 1]
    for u in range(count - 2, -1, -1):
        work[5, u] = work[7, u] - work[6, u] * work[5, u + 1]


@jit
def _descent(count, work):
    """Return the slope of the convex function along the step: residual times step."""
    total = 0.0
    for u in range(count):
        total += work[1, u] * work[5, u]
    return total


@jit
def _first_guess(opening_law, link_law, part_law, part_link, drive, rho_out, mu, chain, count, work):
    """Give every unknown at rest the flow of its own two openings in series, as if all losses were quadratic."""
    n = opening_law.shape[0]
    at_rest = False
    for u in range(count):
        at_rest = at_rest or work[0, u] == 0.0
    if not at_rest:
        return
    for u in range(count):
        work[6, u] = 0.0  # drive of the unknown
        work[7, u] = 0.0  # quadratic resistance: loss = resistance x flow^2
        work[5, u] = 0.0  # linear resistance: loss = resistance x flow
    for k in range(n - 1):
        u = chain[0, k]
        if u >= 0:
            area = link_law[k, 0]
            work[6, u] += drive[k]
            work[7, u] += 0.5 / (rho_out * area * area)
            work[5, u] += 48.0 * mu * link_law[k, 1] / (link_law[k, 2] ** 2 * rho_out * area)
    for i in range(part_law.shape[0]):
        u = chain[0, part_link[i]]
        if u >= 0:
            area = part_law[i, 0]
            work[7, u] += 0.5 * (part_law[i, 1] + part_law[i, 4]) / (rho_out * area * area)
            work[5, u] += 0.5 * mu * part_law[i, 3] / (rho_out * area)
    for j in range(n):
        for side in range(1, 3):
            u = chain[side, j]
            if u >= 0:
                area = opening_law[j, 0]
                work[7, u] += 0.5 * (opening_law[j, 1] + opening_law[j, 4]) / (rho_out * area * area)
                work[5, u] += 0.5 * mu * opening_law[j, 3] / (rho_out * area)
    for u in range(count):
        d = abs(work[6, u])
        if work[0, u] == 0.0 and d > 0.0:
            b = work[5, u]
            guess = 2.0 * d / (b + (b * b + 4.0 * work[7, u] * d) ** 0.5 + 1e-300)
            work[0, u] = guess if work[6, u] > 0.0 else -guess


@jit
def solve_column(
    opening_law,
    link_law,
    part_law,
    part_link,
    link_open,
    drive,
    rho_out,
    rho_link,
    mu,
    flow,
    work,
    chain,
    goal=EXACT,
):
    """Solve one column; return (status, iterations, largest relative residual) (E28).

    opening_law (n, 6), part_law (m, 6): restriction rows; link_law (n-1, 5): channel rows; part_link (m,) int: link of
    each part; link_open (n-1,) int: 0 where the link is closed; drive (n-1,) [Pa]; rho_out [kg/m3]; rho_link (n-1,)
    [kg/m3]; mu [Pa s]; flow (n-1,) [kg/(s m)] in: warm start, out: upward flow of each link; work (9, >= n) float and
    chain (3, >= n) int: scratch; goal: residual at which it stops. Residual: Pa left over, relative to the
    sum of the pressures of its loop.
    """
    n = opening_law.shape[0]
    count = _chain(opening_law, link_open, chain)
    strongest = 0.0
    for k in range(n - 1):
        strongest = max(strongest, abs(drive[k]))
        if chain[0, k] >= 0:
            work[0, chain[0, k]] = flow[k]
    if count == 0 or strongest < REST:
        for k in range(n - 1):
            flow[k] = 0.0
        return SOLVED, 0, 0.0

    _first_guess(opening_law, link_law, part_law, part_link, drive, rho_out, mu, chain, count, work)
    _evaluate(opening_law, link_law, part_law, part_link, drive, rho_out, rho_link, mu, chain, count, 0, work)
    status = STALLED
    iteration = 0
    worst = 0.0
    for iteration in range(MAX_ITERATIONS):  # noqa: B007 - returned
        worst = 0.0
        for u in range(count):
            worst = max(worst, abs(work[1, u]) / (work[4, u] + 0.1 * strongest))  # idle loops: 1e-13 of the drive
        if worst <= goal:
            status = SOLVED
            break
        _newton_step(count, work)
        before = _descent(count, work)
        if before >= 0.0:  # only round-off is left
            status = SOLVED
            break
        low = 0.0
        high = -1.0  # not yet bracketed
        t = 1.0
        slope_low = before
        slope_high = 0.0
        for _ in range(100):
            for u in range(count):
                work[8, u] = work[0, u] + t * work[5, u]
            _evaluate(opening_law, link_law, part_law, part_link, drive, rho_out, rho_link, mu, chain, count, 8, work)
            slope = _descent(count, work)
            if slope <= 0.5 * abs(before):  # the convex function still falls here, or has barely turned
                break
            high = t
            slope_high = slope
            fraction = -slope_low / (slope_high - slope_low)
            t = low + (high - low) * min(max(fraction, 0.1), 0.7)
        change = 0.0
        largest = 0.0
        for u in range(count):
            change = max(change, abs(work[8, u] - work[0, u]))
            largest = max(largest, abs(work[8, u]))
            work[0, u] = work[8, u]
        if change <= 2e-16 * largest:
            status = SOLVED
            break
    for k in range(n - 1):
        u = chain[0, k]
        flow[k] = work[0, u] if u >= 0 else 0.0
    return status, iteration, worst


@jit
def opening_flows(flow, out):
    """Write the flow of every opening into `out` (n,) [kg/(s m)], positive into the cavity; `flow` (n-1,) is upward."""
    n = out.shape[0]
    for j in range(n):
        q = 0.0
        if j < n - 1:
            q += flow[j]
        if j > 0:
            q -= flow[j - 1]
        out[j] = q


@jit
def air_in(flow, opening_flow, opening_compartment, gate_link, out):
    """Write the air that enters the column from outdoors, then each compartment, into `out` (c+1,) (E29).

    All in kg/(s m). opening_flow (n,): from `opening_flows`; opening_compartment (n,) int: compartment of each opening;
    gate_link (c-1,) int: link that passes the barrier above each compartment, -1 where none does. What passes a barrier
    that leaves a free area enters the compartment beyond it, but not the column.
    """
    for c in range(out.shape[0]):
        out[c] = 0.0
    for j in range(opening_flow.shape[0]):
        if opening_flow[j] > 0.0:
            out[0] += opening_flow[j]
            out[1 + opening_compartment[j]] += opening_flow[j]
    for b in range(gate_link.shape[0]):
        if gate_link[b] >= 0:
            passing = flow[gate_link[b]]
            if passing > 0.0:
                out[2 + b] += passing
            else:
                out[1 + b] -= passing


@jit
def path_losses(source, index, opening_law, link_law, part_law, part_link, rho_out, rho_link, mu, flow, out):
    """Write the pressure lost at every part of the air path into `out` (p,) [Pa], by size.

    source (p,) int: FROM_OPENING, FROM_CHANNEL or FROM_RESTRICTION; index (p,) int: row in that law; others as in
    `solve_column`. A part without flow loses nothing, closed ones too.
    """
    n = opening_law.shape[0]
    for p in range(source.shape[0]):
        i = index[p]
        dp = 0.0
        if source[p] == FROM_OPENING:
            if opening_law[i, 0] > 0.0:
                q = 0.0
                if i < n - 1:
                    q += flow[i]
                if i > 0:
                    q -= flow[i - 1]
                dp, _ = restriction_loss(opening_law, i, q, rho_out, _cavity_density(i, n, rho_out, rho_link), mu)
        elif source[p] == FROM_CHANNEL:
            dp, _ = channel_loss(link_law, i, flow[i], rho_link[i], mu)
        else:
            k = part_link[i]
            if flow[k] != 0.0:
                dp, _ = restriction_loss(part_law, i, flow[k], rho_link[k], rho_link[k], mu)
        out[p] = abs(dp)
