"""One line through cladding, cavity and backup wall: residual and exact-by-hand Jacobian of heat and water.

Unknowns at each node: temperature T [K] and moisture potential u = -ln(p_suc / SUCTION_SCALE) [-], so that the relative
humidity is exp(-exp(-u) 293.15/T) (Kelvin). Every face and interface is a node without thickness that may hold a film;
a membrane is the link between two such nodes. Order: outer face, cladding cells, back of cladding, outer face of wall,
backup cells, room face; the cavity air is eliminated into the link between the two middle faces, so the system stays
block-tridiagonal. Liquid flow uses the flux potential theta(u) = integral of K dp_suc of the cell's material: exact for
steady flow inside a material, with continuous suction where materials touch.

Key: W water stored [kg/m2], E enthalpy stored [J/m2] (dry matter and water at 0 degC are zero), d cell thickness [m],
p vapour pressure [Pa], g water flux [kg/(m2 s)], q heat flux [W/m2], positive inwards; dt step [s].
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from cavity._jit import jit
from cavity.constants import (
    DRY_AIR_HEAT,
    EVAPORATION_HEAT,
    FUSION_HEAT,
    ICE_HEAT,
    ICE_POINT,
    LEWIS_VAPOUR,
    R_VAPOUR,
    STANDARD_PRESSURE,
    STEFAN_BOLTZMANN,
    SUCTION_SCALE,
    VAPOUR_DIFFUSIVITY,
    VAPOUR_HEAT,
    WATER_DENSITY,
    WATER_HEAT,
    WATER_TO_AIR,
)
from cavity.kernels import block, film, lanes, moist_air
from cavity.kernels.lanes import LANES

# the potential grid of all material tables; each interval holds the four coefficients of a cubic
U_LOW, U_STEP, U_COUNT = -2.5, 0.05, 411  # up to u = 18
COLDEST, HOTTEST = 180.0, 500.0  # K, a search that leaves this range has lost its way
LOWEST, HIGHEST = -3.3, 250.0  # the same for u: 1e-12 relative humidity, and a film of 230 kg/m2
_SATURATED = 36.0  # potential from which vapour is saturated to the last digit
FLOOR = 1e-6  # kg/m3 per unit of u, water capacity of materials that hold none
SKIN = 5e-8  # kg/m2 per unit of u, water that any face adsorbs, a molecule deep: its row is never empty
ICE_BLEND = 0.15  # in u, width over which pore water turns to ice: numerically smooth, 0.3 K at -2 degC
OVERFLOW = 14.0  # potential above which a capillary cell takes water beyond its retention curve, to be drained
BONE_DRY = 6.0  # -ln(relative humidity): 0.25 %
DRY_END = 6.5  # potential from which vapour is as good as saturated
DAMPING, DAMPED_FROM = 0.5, 3.5  # W/m2 per unit of u, and the potential from which ice of -3 degC can draw water
LEAST_ICE, ICE_FROM = 1e-3, 3.0  # kg/m2 and potential from which a node's water can hold up an update at 0 degC
ROW = EVAPORATION_HEAT  # scale of the water rows, so that both rows are in W/m2
WATER, MU, THETA, TABLE_COLUMNS = 0, 4, 8, 12  # first coefficient of each function; that coefficient is its value
_PER_STEP = 1.0 / U_STEP
_LAST = U_COUNT - 1.0
_T, _U = LANES, 2 * LANES  # from a flux potential to its slopes
_PER_ZERO = 1.0 / 273.15
_DELTA_ZERO = VAPOUR_DIFFUSIVITY * STANDARD_PRESSURE / (R_VAPOUR * 273.15)
DRY_LINK, WET_LINK, CAVITY = 0, 1, 2  # kinds of link: vapour only, vapour and liquid, the cavity


class Grid(NamedTuple):
    """A line cut into nodes; shared by all segments. n nodes, n - 1 links."""

    thickness: np.ndarray  # (n,) m; 0: a face, which can hold a film
    left: np.ndarray  # (n,) row of the tables on the outer side of the node
    right: np.ndarray  # (n,) row of the tables on the inner side; cells have one row for both
    heat: np.ndarray  # (n,) J/(m2 K), dry
    conductivity: np.ndarray  # (n,) W/(m K), dry, rails included
    moisture_conductivity: np.ndarray  # (n,) W/(m K) per kg/m3
    capacity: np.ndarray  # (n,) kg/m2, all pores full; faces: what they hold before water runs off
    film_scale: np.ndarray  # (n,) kg/m2, see film.mass; 0: a cell that draws water, or is tight
    film_start: np.ndarray  # (n,) potential at which the film begins
    sheds_out: np.ndarray  # (n,) face to which the node's film goes where that face is the colder one, -1: it stays
    sheds_in: np.ndarray  # (n,) the same on the inner side
    link: np.ndarray  # (n-1,) DRY_LINK | WET_LINK | CAVITY
    per_distance: np.ndarray  # (n-1,) 1/m, between the centres of the two nodes where liquid passes, else 0
    membrane_R: np.ndarray  # (n-1,) m2 K/W, thermal resistance of the link's membrane
    membrane_sd: np.ndarray  # (n-1,) m, constant s_d of the link's membrane
    membrane_table: np.ndarray  # (n-1,) row of permeance, or -1
    permeance: (
        np.ndarray
    )  # (k, intervals, 4) 1/m, integral of 1/s_d over relative humidity from 0: cubic on each interval
    tables: np.ndarray  # (materials, U_COUNT, TABLE_COLUMNS)
    cladding_back: int  # node of the back of the cladding, -1: no cavity
    freezing: int  # 1: water in pores freezes by its suction


class Edge(NamedTuple):
    """What acts on one line during one step."""

    T_out: float  # K
    p_out: float  # Pa
    h_out: float  # W/(m2 K), convection
    beta_out: float  # s/m
    gain: float  # W/m2, absorbed sun and longwave
    emissivity: float  # outer face
    rain: float  # kg/(m2 s)
    T_in: float  # K, room
    p_in: float  # Pa, room
    h_in: float  # W/(m2 K), convection and radiation
    beta_in: float  # s/m
    T_air: float  # K, air entering the segment
    p_air: float  # Pa
    kept_heat: float  # share of the temperature it enters with in its mean, see balance.kept
    kept_vapour: float  # the same of its vapour pressure
    h_cladding: float  # W/(m2 K), cavity side
    h_wall: float
    emissivity_cavity: float  # exchange emissivity of the two faces
    leak: float  # kg/(m2 s), room air reaching leak_node
    leak_node: int
    seep: float  # kg/(m2 s), rain that passes the cladding
    seep_node: int
    pressure: float  # Pa
    dt: float  # s


class Work(NamedTuple):
    """State and scratch of one line, from `work_arrays`: one record of columns a node, ordered as `lanes` tells."""

    cell: np.ndarray  # (rows + 2) * SPAN, flat
    place: np.ndarray  # (n,) where the record of each node begins
    left: np.ndarray  # (rows + 2, LANES) Grid.left and Grid.right in the order of the lanes
    right: np.ndarray
    tabled: np.ndarray  # links with a humidity-dependent membrane


# columns of Work.cell
(
    # of the grid, for the node and for the link to the next node
    THICKNESS, DRY_HEAT, CONDUCTIVITY, BY_WATER, FILM_SCALE, FILM_START,
    OPEN, PER_DISTANCE, MEMBRANE_R, MEMBRANE_SD, MEMBRANE_SD_U, MEMBRANE_SD_UJ,  # OPEN 0: the cavity, or no next node
    TEMPERATURE, POTENTIAL,
    DRYNESS,  # -ln(relative humidity), Kelvin
    KELVIN, KELVIN_SHARE, INTERVAL, SHARE,  # where the node stands in the tables
    FETCHED_KELVIN, FETCHED_INTERVAL, MOVED,  # the intervals whose cubics it has; 0 if it still stands there
    VAPOUR, VAPOUR_T, VAPOUR_U,  # vapour pressure and its slopes in T and u
    HELD, HELD_U,  # W by the storage curve
    HEAT, HEAT_T, HEAT_U,  # E
    RESISTANCE, RESISTANCE_U,  # thermal, of half a cell [m2 K/W]
    AIR_LAYER, AIR_LAYER_U,  # diffusion resistance d mu / 2 of half a cell, as air layer [m]
    LIQUID, LIQUID_T, LIQUID_U,  # flux potential seen from the outer side [kg/(m s)]
    INNER, INNER_T, INNER_U,  # the same seen from the inner side; differs where two materials touch
    FLOW_E, FLOW_W,  # over the link to the next node [W/m2, kg/(m2 s)]
) = range(0, 42 * LANES, LANES)  # fmt: skip
# slopes of a row of the balance, 2 x 2 blocks: heat row and water row, in T and u
E_T, E_U, W_T, W_U = block.A, block.B, block.C, block.D
NEAR = 42 * LANES  # slopes of the link's flow in the state of this node ...
FAR = NEAR + 4 * LANES  # ... and of the next
SYSTEM = FAR + 4 * LANES  # the linear system of `block`
BELOW, OWN, ABOVE, RIGHT = SYSTEM + block.BELOW, SYSTEM + block.OWN, SYSTEM + block.ABOVE, SYSTEM + block.RIGHT
FROM_W = SYSTEM + block.COLUMNS * LANES  # stores the step starts from
FROM_E = FROM_W + LANES
GIVEN_E = FROM_E + LANES  # W/m2 and kg/(m2 s) into the node from the surroundings; 0 but within `surround`
GIVEN_W = GIVEN_E + LANES
NET_E = GIVEN_W + LANES  # the same, of its neighbours, too
NET_W = NET_E + LANES
WORST_E = NET_W + LANES  # largest residual of this row of lanes and those before
WORST_W = WORST_E + LANES
FLAW = WORST_W + LANES  # 0, or not a number: this row of an update or one before it is not finite
# cubics of the intervals in which the node stands, four coefficients each
WATER_CUBIC = FLAW + LANES
MU_CUBIC = WATER_CUBIC + 4 * LANES
THETA_CUBIC = MU_CUBIC + 4 * LANES  # of the outer side
INNER_CUBIC = THETA_CUBIC + 4 * LANES
SATURATION_CUBIC = INNER_CUBIC + 4 * LANES  # ln(saturation pressure)
SPAN = SATURATION_CUBIC + 4 * LANES
# what a link reads of the next node, and a node's row of the link before it
_OF_NEXT = (
    TEMPERATURE, VAPOUR, VAPOUR_T, VAPOUR_U, RESISTANCE, RESISTANCE_U, AIR_LAYER, AIR_LAYER_U, LIQUID, LIQUID_T,
    LIQUID_U,
)  # fmt: skip
_OF_LAST = (FLOW_E, FLOW_W, *range(NEAR, SYSTEM, LANES))


def work_arrays(grid: Grid, *lines: int) -> Work:
    """Return the scratch arrays of a line of this grid, or of several lines, as leading dimension of the cells."""
    nodes = grid.thickness.size
    place = lanes.places(nodes, SPAN)
    cell = np.zeros((lanes.rows_of(nodes) + 2, SPAN // LANES, LANES))
    # places without a node hold nothing and touch nothing, but must not divide by zero
    cell[:, TEMPERATURE // LANES] = ICE_POINT + 20.0
    cell[:, POTENTIAL // LANES] = U_LOW
    for column in (CONDUCTIVITY, MEMBRANE_R, MEMBRANE_SD):
        cell[:, column // LANES] = 1.0
    cell[:, FETCHED_INTERVAL // LANES] = -1.0  # none yet
    cell = cell.ravel()
    closed = grid.link == CAVITY
    for column, values in (
        (THICKNESS, grid.thickness), (DRY_HEAT, grid.heat), (CONDUCTIVITY, grid.conductivity),
        (BY_WATER, grid.moisture_conductivity), (FILM_SCALE, grid.film_scale), (FILM_START, grid.film_start),
        (OPEN, ~closed),
        (PER_DISTANCE, grid.per_distance), (MEMBRANE_R, grid.membrane_R + closed),
        (MEMBRANE_SD, grid.membrane_sd + closed),
    ):  # fmt: skip
        cell[place[: len(values)] + column] = values
    at = lanes.places(nodes, LANES)
    sides = np.zeros((2, LANES * (lanes.rows_of(nodes) + 2)), dtype=np.int64)
    sides[0, at], sides[1, at] = grid.left, grid.right
    left, right = sides.reshape(2, -1, LANES)
    tabled = np.flatnonzero(grid.membrane_table >= 0)
    return Work(np.tile(cell, (*lines, 1)) if lines else cell, place, left, right, tabled)


def read(w: Work, column: int) -> np.ndarray:
    """Return a column of a line's scratch by node, (n,)."""
    return w.cell[w.place + column]


@jit
def put(w, T, u):
    """Write the state of a line, (n,) each, into its cells."""
    for i in range(T.size):
        w.cell[w.place[i] + TEMPERATURE] = T[i]
        put_potential(w, i, u[i])


@jit
def put_potential(w, i, u):
    """Write the potential of node i into its cell."""
    w.cell[w.place[i] + POTENTIAL] = u
    _stand(w.cell, w.place[i])


@jit
def _stand(cell, at):
    """Find how dry the state at `at` is, and where it stands in the tables. To be called whenever the state changes."""
    T, u = cell[at + TEMPERATURE], cell[at + POTENTIAL]
    cell[at + DRYNESS] = lanes.exp(-min(u, _SATURATED)) * 293.15 / T
    x, y = moist_air.table_position(T), _table_position(u)
    kelvin, interval = moist_air.interval(x), np.floor(y)
    cell[at + KELVIN_SHARE], cell[at + SHARE] = x - kelvin, y - interval
    cell[at + KELVIN], cell[at + INTERVAL] = kelvin, interval
    cell[at + MOVED] = abs(kelvin - cell[at + FETCHED_KELVIN]) + abs(interval - cell[at + FETCHED_INTERVAL])


@jit
def put_stores(w, W, E):
    """Write the stores that a step starts from, (n,) each, into the cells."""
    for i in range(W.size):
        w.cell[w.place[i] + FROM_W] = W[i]
        w.cell[w.place[i] + FROM_E] = E[i]


# positions in the flux record of a line
OUT_VAPOUR, OUT_RAIN, BACK_VAPOUR, FACE_VAPOUR, ROOM_VAPOUR, LEAK_WATER, SEEP_WATER = 0, 1, 2, 3, 4, 5, 6
OUT_HEAT, BACK_HEAT, FACE_HEAT, ROOM_HEAT, LEAK_HEAT = 7, 8, 9, 10, 11
AIR_T, AIR_P, ENERGY_IN = 12, 13, 14
BACK_ENERGY, FACE_ENERGY = 15, 16  # given to the cavity air by each face, heat and vapour together
FLUX_COUNT = 17


@jit
def _table_position(u):
    """Return where u stands in the potential grid, in steps; at its ends beyond them."""
    x = (u - U_LOW) * _PER_STEP
    # written so that what is not a number finds the first
    x = x if x > 0.0 else 0.0
    return x if x < _LAST else _LAST


@jit
def table_value(tables, m, u, column):
    """Return (value, slope) of one function of one material at u; flat outside the grid."""
    x = _table_position(u)
    k = int(x)
    x -= k
    cubic = tables[m, k]
    c1, c2, c3 = cubic[column + 1], cubic[column + 2], cubic[column + 3]
    return cubic[column] + x * (c1 + x * (c2 + x * c3)), (c1 + x * (2.0 * c2 + 3.0 * x * c3)) * _PER_STEP


@jit
def humidity(u, T):
    """Return (relative humidity, -ln of it) at potential u and temperature T [K] (E7)."""
    a = math.exp(-u) * 293.15 / T
    return math.exp(-a), a


@jit
def vapour_pressure(u, T):
    """Return the vapour pressure [Pa] at potential u and temperature T [K], as `evaluate` does."""
    return lanes.exp(moist_air.log_saturation(T)[0] - lanes.exp(-min(u, _SATURATED)) * 293.15 / T)


@jit
def potential_of_humidity(phi, T):
    """Return the potential u of relative humidity phi at T [K]."""
    a = -math.log(min(max(phi, 1e-6), 1.0 - 1e-8))
    return -math.log(a * T / 293.15)


@jit
def air_permeability(T, P):
    """Return the vapour permeability of still air [kg/(m s Pa)] (E5).

    Schirmer (from memory): D = 2.306e-5 (T/273.15)^1.81 P0/P, P0 = 101325 Pa.

    The power 0.81 that is left is its binomial series: within 1e-5 from -50 to 80 degC.
    """
    return _DELTA_ZERO / P * _warmer_air(T)[0]


@jit
def _warmer_air(T):
    """Return (permeability of air at T [K] relative to that at 0 degC, its slope [1/K])."""
    x = T * _PER_ZERO - 1.0
    value = 1.0 + x * (0.81 + x * (-0.07695 + x * (0.030523 - x * 0.016711)))
    return value, (0.81 + x * (-0.1539 + x * (0.091569 - x * 0.066844))) * _PER_ZERO


@jit
def membrane_sd(permeance, phi, phi_next):
    """Return (s_d [m], its slopes by the relative humidities of both sides) of a humidity-dependent membrane (E49).

    1/s_d is the mean of the permeance over the humidities between the two sides: steady flow through a film whose
    permeance follows its local humidity. permeance: see Grid, of one membrane.
    """
    value, rate, _ = _permeance(permeance, phi)
    value_next, rate_next, _ = _permeance(permeance, phi_next)
    apart = phi - phi_next
    if abs(apart) > 1e-5:
        mean = (value - value_next) / apart
        slope, slope_next = (rate - mean) / apart, (mean - rate_next) / apart
    else:  # the difference would be round-off; the middle errs by 1e-10 here
        _, mean, bend = _permeance(permeance, 0.5 * (phi + phi_next))
        slope = slope_next = 0.5 * bend
    sd = 1.0 / mean
    return sd, -sd * sd * slope, -sd * sd * slope_next


@jit
def _permeance(permeance, phi):
    """Return (integral of 1/s_d over humidity from 0 to phi [1/m], 1/s_d, its slope)."""
    per_step = float(permeance.shape[0])
    x = phi * per_step
    k = min(max(int(x), 0), permeance.shape[0] - 1)
    x -= k
    c0, c1, c2, c3 = permeance[k, 0], permeance[k, 1], permeance[k, 2], permeance[k, 3]
    rate, bend = c1 + x * (2.0 * c2 + 3.0 * x * c3), 2.0 * c2 + 6.0 * x * c3
    return c0 + x * (c1 + x * (c2 + x * c3)), rate * per_step, bend * per_step * per_step


@jit
def _fetch(tables, m, inner, cell, k):
    """Copy the cubics that the node in lane k needs, of the intervals in which it stands."""
    cell[k + FETCHED_KELVIN], cell[k + FETCHED_INTERVAL], cell[k + MOVED] = cell[k + KELVIN], cell[k + INTERVAL], 0.0
    here, at = tables[m, int(cell[k + INTERVAL])], tables[inner, int(cell[k + INTERVAL])]
    kelvin = int(cell[k + KELVIN])
    for j in range(4):
        cell[k + WATER_CUBIC + j * LANES] = here[WATER + j]
        cell[k + MU_CUBIC + j * LANES] = here[MU + j]
        cell[k + THETA_CUBIC + j * LANES] = here[THETA + j]
        cell[k + INNER_CUBIC + j * LANES] = at[THETA + j]
        cell[k + SATURATION_CUBIC + j * LANES] = moist_air.LOG_SATURATION_CUBIC[kelvin, j]


@jit
def _value(cell, at, x):
    """Return (value, slope in x) of the cubic whose coefficients begin at `at`."""
    c1, c2, c3 = cell[at + LANES], cell[at + 2 * LANES], cell[at + 3 * LANES]
    return cell[at] + x * (c1 + x * (c2 + x * c3)), c1 + x * (2.0 * c2 + 3.0 * x * c3)


@jit
def evaluate(grid, T, u, w):
    """Fill w.cell with the state T [K], u of every node, (n,) each, and its functions."""
    put(w, T, u)
    for row in range(1, w.cell.size // SPAN - 1):
        _evaluate_row(grid, w, row)


@jit
def _evaluate_row(grid, w, row):
    """Fill a row of w.cell with the functions of the states that stand there (E44)."""
    cell = w.cell[row * SPAN : (row + 1) * SPAN]
    count = w.left.shape[1]  # LANES, but not known to the compiler: it would write these loops out eight times
    for k in range(count):
        if cell[k + MOVED] != 0.0:
            _fetch(grid.tables, w.left[row, k], w.right[row, k], cell, k)
    for k in range(LANES):
        Ti, ui, a, d = cell[k + TEMPERATURE], cell[k + POTENTIAL], cell[k + DRYNESS], cell[k + THICKNESS]
        x = Ti - ICE_POINT
        per_T = 1.0 / Ti
        saturation, saturation_T = _value(cell, k + SATURATION_CUBIC, cell[k + KELVIN_SHARE])
        p = lanes.exp(saturation - a)
        cell[k + VAPOUR] = p
        cell[k + VAPOUR_T] = p * (saturation_T + a * per_T)
        cell[k + VAPOUR_U] = p * a
        # metals and foils hold no water, yet their row must not be empty
        over = max(ui - OVERFLOW, 0.0)
        share = cell[k + SHARE]
        W, W_u = _value(cell, k + WATER_CUBIC, share)
        W, W_u = W + FLOOR * (ui - U_LOW) + over * over, W_u * _PER_STEP + FLOOR + 2.0 * over
        # faces have no thickness; cells that do not draw water pass their film on at the end of the step
        m, m_u = film.mass(ui, cell[k + FILM_SCALE], cell[k + FILM_START])
        m, m_u = m + SKIN * (ui - U_LOW), m_u + SKIN
        h, h_T = film.enthalpy(Ti)
        moist_heat = cell[k + DRY_HEAT] + d * W * WATER_HEAT
        cell[k + HELD] = d * W + m
        cell[k + HELD_U] = d * W_u + m_u
        cell[k + HEAT] = moist_heat * x + m * h
        cell[k + HEAT_T] = moist_heat + m * h_T
        cell[k + HEAT_U] = d * W_u * WATER_HEAT * x + m_u * h
        by_water = cell[k + BY_WATER]
        per_conductivity = 1.0 / (cell[k + CONDUCTIVITY] + by_water * W)
        resistance = 0.5 * d * per_conductivity
        cell[k + RESISTANCE] = resistance
        cell[k + RESISTANCE_U] = -resistance * per_conductivity * by_water * W_u
        mu, mu_u = _value(cell, k + MU_CUBIC, share)
        cell[k + AIR_LAYER], cell[k + AIR_LAYER_U] = 0.5 * d * mu, 0.5 * d * mu_u * _PER_STEP
        theta, theta_u = _value(cell, k + THETA_CUBIC, share)
        cell[k + LIQUID], cell[k + LIQUID_T], cell[k + LIQUID_U] = theta, 0.0, theta_u * _PER_STEP
        theta, theta_u = _value(cell, k + INNER_CUBIC, share)
        cell[k + INNER], cell[k + INNER_T], cell[k + INNER_U] = theta, 0.0, theta_u * _PER_STEP
    if grid.freezing:
        for k in range(count):
            if cell[k + TEMPERATURE] < ICE_POINT - 1e-6:
                _freeze(grid.tables, w.left[row, k], w.right[row, k], cell, k)


@jit
def _freeze(tables, m, inner, cell, k):
    """Let the pore water of the node in lane k freeze, below the freezing point (E51, E52).

    Water held with less suction than ice exerts at this temperature is frozen (Clausius-Clapeyron).
    """
    T, u, d = cell[k + TEMPERATURE], cell[k + POTENTIAL], cell[k + THICKNESS]
    porous = cell[k + LIQUID] != 0.0 or cell[k + INNER] != 0.0
    if d == 0.0 and not porous:
        return
    x = T - ICE_POINT
    # ln(ICE_POINT / T) by its series, within 1e-8 down to 180 K
    y = -x / (ICE_POINT + T)
    log_ratio = 2.0 * y * (1.0 + y * y * (1.0 / 3.0 + y * y * (0.2 + y * y * (1.0 / 7.0 + y * y * (1.0 / 9.0)))))
    z = (u + math.log(WATER_DENSITY * FUSION_HEAT / SUCTION_SCALE * log_ratio)) / ICE_BLEND
    if z <= -30.0:
        return
    # smooth lesser of u and the potential of ice; the ice it leaves forms over half a kelvin, as in films: Newton would
    # cycle at a kink, and has no slope at a jump
    rest = lanes.exp(-min(abs(z), 40.0))
    part = (1.0 if z > 0.0 else rest) / (1.0 + rest)
    u_liquid = u - ICE_BLEND * (max(z, 0.0) + math.log(1.0 + rest))
    by_u = 1.0 - part
    by_T = part / (T * log_ratio)
    share = film.frozen_share(T)
    share_T = -1.0 / film.FREEZING_RANGE if share < 1.0 else 0.0
    if porous:
        low, low_u = table_value(tables, m, u_liquid, THETA)
        for side in (LIQUID, INNER):
            if side == INNER and inner != m:
                low, low_u = table_value(tables, inner, u_liquid, THETA)
            full, full_u = cell[k + side], cell[k + side + _U]
            cell[k + side] = full + share * (low - full)
            cell[k + side + _T] = share_T * (low - full) + share * low_u * by_T
            cell[k + side + _U] = full_u + share * (low_u * by_u - full_u)
    if d > 0.0:
        liquid, liquid_u = table_value(tables, m, u_liquid, WATER)
        liquid_u += FLOOR
        m, m_u = film.mass(u, cell[k + FILM_SCALE], cell[k + FILM_START])  # its ice is counted with it
        m, m_u = m + SKIN * (u - U_LOW), m_u + SKIN
        free = max(cell[k + HELD] - m - d * (liquid + FLOOR * (u_liquid - U_LOW)), 0.0)
        h_ice = (ICE_HEAT - WATER_HEAT) * x - FUSION_HEAT
        cell[k + HEAT] += share * free * h_ice
        cell[k + HEAT_T] += (share_T * free - d * share * liquid_u * by_T) * h_ice
        cell[k + HEAT_T] += share * free * (ICE_HEAT - WATER_HEAT)
        cell[k + HEAT_U] += share * (cell[k + HELD_U] - m_u - d * liquid_u * by_u) * h_ice


@jit
def look_inside(grid, P, w):
    """Fill w.cell with all that depends on the state of the line that stands there and the pressure P [Pa] alone."""
    cell = w.cell
    for i in w.tabled:
        at, a, b = w.place[i], cell[w.place[i] + DRYNESS], cell[w.place[i + 1] + DRYNESS]
        phi, phi_next = math.exp(-a), math.exp(-b)
        sd, slope, slope_next = membrane_sd(grid.permeance[grid.membrane_table[i]], phi, phi_next)
        cell[at + MEMBRANE_SD] = sd
        cell[at + MEMBRANE_SD_U], cell[at + MEMBRANE_SD_UJ] = slope * phi * a, slope_next * phi_next * b
    last = cell.size // SPAN - 1
    # a row and at once its links from the row before: what they share is still at hand
    for row in range(1, last + 1):
        if row < last:
            _evaluate_row(grid, w, row)
        else:
            for column in _OF_NEXT:
                for k in range(LANES - 1):
                    cell[last * SPAN + column + k] = cell[SPAN + column + k + 1]
        if row > 1:
            _link_row(w, row - 1, _DELTA_ZERO / P)
    for column in _OF_LAST:
        for k in range(LANES - 1):
            cell[column + k + 1] = cell[(last - 1) * SPAN + column + k]


@jit
def _link_row(w, row, delta_zero):
    """Fill a row of w.cell with the flows over the links to the next and their slopes (E45 to E47)."""
    cell = w.cell[row * SPAN : (row + 2) * SPAN]
    for i in range(LANES):
        j = i + SPAN
        Ti, Tj = cell[i + TEMPERATURE], cell[j + TEMPERATURE]
        conductance = cell[i + OPEN] / (cell[i + RESISTANCE] + cell[j + RESISTANCE] + cell[i + MEMBRANE_R])
        q = conductance * (Ti - Tj)
        # vapour
        warmer, slope = _warmer_air(0.5 * (Ti + Tj))
        per_sd = 1.0 / (cell[i + AIR_LAYER] + cell[j + AIR_LAYER] + cell[i + MEMBRANE_SD])
        G = cell[i + OPEN] * delta_zero * warmer * per_sd
        g = G * (cell[i + VAPOUR] - cell[j + VAPOUR])
        lean = 0.5 * slope / warmer * g
        g_Ti = G * cell[i + VAPOUR_T] + lean - g * per_sd * cell[i + MEMBRANE_SD_U] / Ti  # humidity goes with u + ln T
        g_Tj = -G * cell[j + VAPOUR_T] + lean - g * per_sd * cell[i + MEMBRANE_SD_UJ] / Tj
        thicker_i, thicker_j = g * per_sd * cell[i + MEMBRANE_SD_U], g * per_sd * cell[i + MEMBRANE_SD_UJ]
        g_ui = G * cell[i + VAPOUR_U] - g * per_sd * cell[i + AIR_LAYER_U] - thicker_i
        g_uj = -G * cell[j + VAPOUR_U] - g * per_sd * cell[j + AIR_LAYER_U] - thicker_j
        h = moist_air.vapour_enthalpy(Ti if g > 0.0 else Tj)
        # liquid; none where the distance counts as infinite
        per_D = cell[i + PER_DISTANCE]
        f = (cell[i + INNER] - cell[j + LIQUID]) * per_D
        f_Ti, f_Tj = cell[i + INNER_T] * per_D, -cell[j + LIQUID_T] * per_D
        f_ui, f_uj = cell[i + INNER_U] * per_D, -cell[j + LIQUID_U] * per_D
        hl = WATER_HEAT * ((Ti if f > 0.0 else Tj) - ICE_POINT)
        cell[i + FLOW_E] = q + g * h + f * hl
        cell[i + FLOW_W] = g + f
        carried_i = max(g, 0.0) * VAPOUR_HEAT + max(f, 0.0) * WATER_HEAT
        carried_j = min(g, 0.0) * VAPOUR_HEAT + min(f, 0.0) * WATER_HEAT
        cell[i + NEAR + E_T] = conductance + g_Ti * h + f_Ti * hl + carried_i
        cell[i + NEAR + E_U] = g_ui * h + f_ui * hl - q * conductance * cell[i + RESISTANCE_U]
        cell[i + NEAR + W_T] = (g_Ti + f_Ti) * ROW
        cell[i + NEAR + W_U] = (g_ui + f_ui) * ROW
        cell[i + FAR + E_T] = -conductance + g_Tj * h + f_Tj * hl + carried_j
        cell[i + FAR + E_U] = g_uj * h + f_uj * hl - q * conductance * cell[j + RESISTANCE_U]
        cell[i + FAR + W_T] = (g_Tj + f_Tj) * ROW
        cell[i + FAR + W_U] = (g_uj + f_uj) * ROW


@jit
def assemble(grid, edge, T, u, W_old, E_old, w, flux):
    """Fill residual and Jacobian of one line for one implicit step; return (worst heat row, worst water row) [W/m2].

    W_old, E_old are the stores after the last step by the books (fluxes added up), so that a residual left by the last
    step is carried into this one and no balance error can build up.
    """
    put(w, T, u)
    put_stores(w, W_old, E_old)
    look_inside(grid, edge.pressure, w)
    return surround(grid, edge, w, flux, -1.0, 1.0)


@jit
def surround(grid, edge, w, flux, tolerance, slack):
    """Join what `look_inside` found with the stores FROM_W and FROM_E and the surroundings; return as `assemble`.

    Exchange with the surroundings: E37, E53 to E55; residual of the balances E42 and E43.

    The linear system is made ready only where a residual exceeds the tolerance [W/m2]; residuals of water rows of
    bone-dry nodes count slack times less.
    """
    cell, place = w.cell, w.place
    n = place.size
    rows = cell.size // SPAN - 2
    per_dt, per_slack = 1.0 / edge.dt, 1.0 / slack
    P = edge.pressure

    # outdoors
    outer = place[0]
    T = cell[outer + TEMPERATURE]
    g = edge.beta_out * (edge.p_out - cell[outer + VAPOUR])
    h_outer = moist_air.vapour_enthalpy(edge.T_out if g > 0.0 else T)
    by_T = edge.emissivity * STEFAN_BOLTZMANN * T**3
    radiated = by_T * T
    by_T_outer = edge.h_out + 4.0 * by_T
    h_rain = WATER_HEAT * max(edge.T_out - ICE_POINT, 0.0)
    q = edge.h_out * (edge.T_out - T) + edge.gain - radiated + g * h_outer + edge.rain * h_rain
    cell[outer + GIVEN_E] += q
    cell[outer + GIVEN_W] += g + edge.rain
    flux[OUT_VAPOUR] = g
    flux[OUT_RAIN] = edge.rain
    flux[OUT_HEAT] = q
    energy = q

    # the room
    room = place[n - 1]
    T = cell[room + TEMPERATURE]
    g = edge.beta_in * (edge.p_in - cell[room + VAPOUR])
    h_room = moist_air.vapour_enthalpy(edge.T_in if g > 0.0 else T)
    q = edge.h_in * (edge.T_in - T)
    cell[room + GIVEN_E] += q + g * h_room
    cell[room + GIVEN_W] += g
    flux[ROOM_VAPOUR] = g
    flux[ROOM_HEAT] = q
    energy += q + g * h_room

    # room air that leaks to a plane, and rain that passes the cladding
    leak, G_leak, h_leak = place[edge.leak_node], edge.leak * WATER_TO_AIR / P, 0.0
    flux[LEAK_WATER] = flux[LEAK_HEAT] = 0.0
    if edge.leak > 0.0:
        T = cell[leak + TEMPERATURE]
        g = G_leak * (edge.p_in - cell[leak + VAPOUR])
        h_leak = moist_air.vapour_enthalpy(edge.T_in if g > 0.0 else T)
        q = edge.leak * DRY_AIR_HEAT * (edge.T_in - T)
        cell[leak + GIVEN_E] += q + g * h_leak
        cell[leak + GIVEN_W] += g
        flux[LEAK_WATER] = g
        flux[LEAK_HEAT] = q
        energy += q + g * h_leak
    seep = place[edge.seep_node]
    cell[seep + GIVEN_E] += edge.seep * h_rain
    cell[seep + GIVEN_W] += edge.seep
    flux[SEEP_WATER] = edge.seep
    energy += edge.seep * h_rain

    # the cavity between the two middle faces
    open_wall = grid.cladding_back >= 0
    back = front = outer
    h1 = h2 = m1 = m2 = b1 = b2 = v1 = v2 = r1 = r2 = H1 = H2 = 0.0
    if open_wall:
        back, front = place[grid.cladding_back], place[grid.cladding_back + 1]
        T1, T2 = cell[back + TEMPERATURE], cell[front + TEMPERATURE]
        h1, h2 = edge.h_cladding, edge.h_wall
        # shares of the two faces in the mean state of the air; in its vapour, by the same coefficients
        part = h1 / (h1 + h2)
        m1, m2 = (1.0 - edge.kept_heat) * part, (1.0 - edge.kept_heat) * (1.0 - part)
        mean = m1 * T1 + m2 * T2 + edge.kept_heat * edge.T_air
        eps = edge.emissivity_cavity * STEFAN_BOLTZMANN
        radiation = eps * (T1**4 - T2**4)
        r1, r2 = 4.0 * eps * T1**3, 4.0 * eps * T2**3
        q1 = h1 * (T1 - mean)
        q2 = h2 * (T2 - mean)
        b1, b2 = LEWIS_VAPOUR * h1, LEWIS_VAPOUR * h2
        p1, p2 = cell[back + VAPOUR], cell[front + VAPOUR]
        v1, v2 = (1.0 - edge.kept_vapour) * part, (1.0 - edge.kept_vapour) * (1.0 - part)
        p_mean = v1 * p1 + v2 * p2 + edge.kept_vapour * edge.p_air
        if p_mean > P:  # air cannot hold more than nothing but steam: what is more drives itself out of the cavity
            p_mean, v1, v2 = P, 0.0, 0.0
        g1 = b1 * (p1 - p_mean)
        g2 = b2 * (p2 - p_mean)
        H1 = moist_air.vapour_enthalpy(T1 if g1 > 0.0 else mean)
        H2 = moist_air.vapour_enthalpy(T2 if g2 > 0.0 else mean)
        before1, before2 = cell[back + GIVEN_E], cell[front + GIVEN_E]
        cell[back + GIVEN_E] -= q1 + radiation + g1 * H1
        cell[front + GIVEN_E] -= q2 - radiation + g2 * H2
        cell[back + GIVEN_W] -= g1
        cell[front + GIVEN_W] -= g2
        flux[BACK_VAPOUR] = g1
        flux[FACE_VAPOUR] = g2
        flux[BACK_HEAT] = q1
        flux[FACE_HEAT] = q2
        flux[AIR_T] = mean
        flux[AIR_P] = p_mean
        # for the balance of the air: what the wall lost, not what was meant
        flux[BACK_ENERGY] = before1 - cell[back + GIVEN_E] - radiation
        flux[FACE_ENERGY] = before2 - cell[front + GIVEN_E] + radiation
        energy -= q1 + q2 + g1 * H1 + g2 * H2
    flux[ENERGY_IN] = energy

    for row in range(rows):
        cell = w.cell[row * SPAN : (row + 2) * SPAN]
        for i in range(LANES):
            j = i + SPAN
            net_E = cell[i + FLOW_E] - cell[j + FLOW_E] + cell[j + GIVEN_E]
            net_W = cell[i + FLOW_W] - cell[j + FLOW_W] + cell[j + GIVEN_W]
            r = (cell[j + HEAT] - cell[j + FROM_E]) * per_dt - net_E
            s = ((cell[j + HELD] - cell[j + FROM_W]) * per_dt - net_W) * ROW
            cell[j + NET_E], cell[j + NET_W] = net_E, net_W
            cell[j + RIGHT], cell[j + RIGHT + LANES] = -r, -s
            # written so that a value that is not a number becomes the worst and stays it
            r, s = abs(r), abs(s) * (per_slack if cell[j + DRYNESS] > BONE_DRY else 1.0)
            cell[j + WORST_E] = r if r > cell[i + WORST_E] or r != r else cell[i + WORST_E]
            cell[j + WORST_W] = s if s > cell[i + WORST_W] or s != s else cell[i + WORST_W]
    cell = w.cell
    for at in (outer, room, leak, seep, back, front):
        cell[at + GIVEN_E] = cell[at + GIVEN_W] = 0.0
    worst_E = worst_W = 0.0
    for at in range(rows * SPAN, rows * SPAN + LANES):
        r, s = cell[at + WORST_E], cell[at + WORST_W]
        worst_E = r if r > worst_E or r != r else worst_E
        worst_W = s if s > worst_W or s != s else worst_W
    if worst_E <= tolerance and worst_W <= tolerance:
        return worst_E, worst_W

    for row in range(rows):
        cell = w.cell[row * SPAN : (row + 2) * SPAN]
        for i in range(LANES):
            j = i + SPAN
            cell[j + BELOW + E_T] = -cell[i + NEAR + E_T]
            cell[j + BELOW + E_U] = -cell[i + NEAR + E_U]
            cell[j + BELOW + W_T] = -cell[i + NEAR + W_T]
            cell[j + BELOW + W_U] = -cell[i + NEAR + W_U]
            cell[j + OWN + E_T] = cell[j + NEAR + E_T] - cell[i + FAR + E_T] + cell[j + HEAT_T] * per_dt
            cell[j + OWN + E_U] = cell[j + NEAR + E_U] - cell[i + FAR + E_U] + cell[j + HEAT_U] * per_dt
            cell[j + OWN + W_T] = cell[j + NEAR + W_T] - cell[i + FAR + W_T]
            cell[j + OWN + W_U] = cell[j + NEAR + W_U] - cell[i + FAR + W_U] + cell[j + HELD_U] * per_dt * ROW
            cell[j + ABOVE + E_T] = cell[j + FAR + E_T]
            cell[j + ABOVE + E_U] = cell[j + FAR + E_U]
            cell[j + ABOVE + W_T] = cell[j + FAR + W_T]
            cell[j + ABOVE + W_U] = cell[j + FAR + W_U]
    cell = w.cell
    cell[outer + OWN + E_T] += by_T_outer
    _add_vapour(cell, outer + OWN, edge.beta_out, outer, h_outer)
    cell[room + OWN + E_T] += edge.h_in
    _add_vapour(cell, room + OWN, edge.beta_in, room, h_room)
    if edge.leak > 0.0:
        cell[leak + OWN + E_T] += edge.leak * DRY_AIR_HEAT
        _add_vapour(cell, leak + OWN, G_leak, leak, h_leak)
    if open_wall:
        cell[back + OWN + E_T] += h1 * (1.0 - m1) + r1
        _add_vapour(cell, back + OWN, b1 * (1.0 - v1), back, H1)
        cell[back + ABOVE + E_T] -= h1 * m2 + r2
        _add_vapour(cell, back + ABOVE, -b1 * v2, front, H1)
        cell[front + OWN + E_T] += h2 * (1.0 - m2) + r2
        _add_vapour(cell, front + OWN, b2 * (1.0 - v2), front, H2)
        cell[front + BELOW + E_T] -= h2 * m1 + r1
        _add_vapour(cell, front + BELOW, -b2 * v1, back, H2)
    return worst_E, worst_W


@jit
def _add_vapour(cell, at, conductance, face, h):
    """Add the slopes of a vapour flow [kg/(s m2 Pa) times pressure] that carries h [J/kg] to the block at `at`."""
    by_T, by_u = conductance * cell[face + VAPOUR_T], conductance * cell[face + VAPOUR_U]
    cell[at + E_T] += by_T * h
    cell[at + E_U] += by_u * h
    cell[at + W_T] += by_T * ROW
    cell[at + W_U] += by_u * ROW


@jit
def trust_at(iteration):
    """Return the share of the full region of trust after this many updates: whole for ten, then shrinking (E63)."""
    return 1.0 if iteration < 10 else 0.85 ** (iteration - 9)


@jit
def damping_at(iteration):
    """Return the damping of u after this many updates [W/m2 per unit]: none for six, then growing (E63)."""
    return DAMPING * (1.15 ** (iteration - 5) - 1.0) if iteration > 5 else 0.0


@jit
def update(w, iteration):
    """Apply one Newton update within a region of trust; return 0, or 1 when the system is singular or not finite.

    At first 30 K and 1.5 in u are allowed at each node; less in late updates ends the cycles between two sides of a
    phase change. With it goes a damping of u where hardly anything depends on it: a saturated or frozen face of a layer
    that draws water, between wet and dry, whose slope may even have the wrong sign, for evaporation cools and ice draws
    water. Such a face may go from one end of that range to the other at once.
    """
    trust, damping = trust_at(iteration), damping_at(iteration)
    if damping > 0.0:
        for row in range(1, w.cell.size // SPAN - 1):
            cell = w.cell[row * SPAN : (row + 1) * SPAN]
            for k in range(LANES):
                draws = cell[k + FILM_START] > film.START and cell[k + POTENTIAL] > DAMPED_FROM
                cell[k + OWN + W_U] += damping if draws else 0.0
    if block.solve(w.cell, w.place, SYSTEM):
        return 1
    most_T, most_u = 30.0 * trust, 1.5 * trust
    rows = w.cell.size // SPAN - 2
    for row in range(rows):
        cell = w.cell[row * SPAN : (row + 2) * SPAN]
        for i in range(LANES):
            j = i + SPAN
            dT, du = cell[j + RIGHT], cell[j + RIGHT + LANES]
            cell[j + FLAW] = cell[i + FLAW] + (dT - dT) + (du - du)  # not a number if one of them is not finite
            T = cell[j + TEMPERATURE]
            # outside the range of freezing no slope tells of the melting heat: an update across it stops in it
            holds = cell[j + HELD] > LEAST_ICE and cell[j + POTENTIAL] > ICE_FROM
            low = ICE_POINT - 0.1 * film.FREEZING_RANGE if holds and T > ICE_POINT else COLDEST
            high = ICE_POINT - 0.9 * film.FREEZING_RANGE if holds and T < ICE_POINT - film.FREEZING_RANGE else HOTTEST
            cell[j + TEMPERATURE] = min(high, max(low, T + min(most_T, max(-most_T, dT))))
            u = cell[j + POTENTIAL]
            starts = cell[j + FILM_START] if cell[j + FILM_SCALE] > 0.0 else LOWEST
            up = max(u + most_u, starts + 0.1 if u > DRY_END else LOWEST)
            down = min(u - most_u, DRY_END if u > DRY_END and u < starts + 0.2 else HIGHEST)
            cell[j + POTENTIAL] = min(HIGHEST, max(LOWEST, min(up, max(down, u + du))))
            _stand(cell, j)
    flaw = 0.0
    for at in range(rows * SPAN, rows * SPAN + LANES):
        flaw += w.cell[at + FLAW]
    return 0 if flaw == 0.0 else 1


@jit
def worst_node(w, dt):
    """Return (node, row: 0 heat, 1 water, residual [W/m2]) of the largest residual after `surround`, step dt [s]."""
    cell = w.cell
    node, row, worst = 0, 0, -1.0
    for i in range(w.place.size):
        at = w.place[i]
        r = abs((cell[at + HEAT] - cell[at + FROM_E]) / dt - cell[at + NET_E])
        s = abs((cell[at + HELD] - cell[at + FROM_W]) / dt - cell[at + NET_W]) * ROW
        for k, value in ((0, r), (1, s)):
            if value > worst or value != value:
                node, row, worst = i, k, value
    return node, row, worst


@jit
def advance(w, span):
    """Let the fluxes found last act on FROM_W and FROM_E for span [s]; return the least water of any face [kg/m2]."""
    least = 0.0
    for row in range(1, w.cell.size // SPAN - 1):
        cell = w.cell[row * SPAN : (row + 1) * SPAN]
        for k in range(LANES):
            cell[k + FROM_W] += span * cell[k + NET_W]
            cell[k + FROM_E] += span * cell[k + NET_E]
        for k in range(LANES):
            if cell[k + FILM_SCALE] > 0.0:
                least = min(least, cell[k + FROM_W])
    return least


@jit
def commit(grid, w, T, u, W, E, runoff, shed):
    """Read state and stores of a line, (n,) each, out of its cells at the end of a step (E41).

    Water above a node's capacity drains, into runoff (n,) [kg/m2], as far as it is liquid. Water that condensed inside
    a layer that does not draw it goes to the colder face of that layer, into shed (n,) of that face [kg/m2]. Returns
    the enthalpy that drains away [J/m2].
    """
    cell = w.cell
    drained_heat = 0.0
    for i in range(T.size):
        at = w.place[i]
        T[i], u[i], W[i], E[i] = cell[at + TEMPERATURE], cell[at + POTENTIAL], cell[at + FROM_W], cell[at + FROM_E]
        runoff[i] = shed[i] = 0.0
    for i in range(T.size):
        if grid.sheds_out[i] >= 0 and u[i] > grid.film_start[i]:
            to = grid.sheds_out[i] if T[grid.sheds_out[i]] <= T[grid.sheds_in[i]] else grid.sheds_in[i]
            m = film.mass(u[i], grid.film_scale[i], grid.film_start[i])[0]
            if grid.film_start[to] > film.START and u[to] < grid.film_start[to] and film.frozen_share(T[to]) < 1.0:
                # a layer that draws water takes up at once what finds room in its first cell
                beyond = to + 1 if to > i else to - 1
                if W[beyond] + m < 0.8 * grid.capacity[beyond]:
                    to = beyond
            h = film.enthalpy(T[i])[0]
            W[i] -= m
            E[i] -= m * h
            W[to] += m
            E[to] += m * h
            shed[to] += m
    for i in range(T.size):
        excess = min(W[i] - grid.capacity[i], (1.0 - film.frozen_share(T[i])) * W[i])
        if excess > 0.0 and u[i] > grid.film_start[i]:
            # what leaves is liquid at the temperature of what stays
            h = WATER_HEAT * (T[i] - ICE_POINT)
            W[i] -= excess
            E[i] -= excess * h
            runoff[i] = excess
            drained_heat += excess * h
            if grid.thickness[i] == 0.0:
                u[i] = film.potential(W[i], grid.film_start[i])
                put_potential(w, i, u[i])
    for i in range(T.size):
        cell[w.place[i] + FROM_W], cell[w.place[i] + FROM_E] = W[i], E[i]
    return drained_heat


@jit
def step(grid, edge, T, u, W, E, w, flux, runoff, shed, tolerance, most):
    """Take one implicit step of a line whose surroundings are given; return (status, iterations, worst residual).

    For walls without a cavity and for published cases; the hourly loop couples several lines with the air instead.
    Status 0: done and committed; 1: no convergence, T, u and stores untouched.
    """
    worst = 0.0
    put(w, T, u)
    put_stores(w, W, E)
    for iteration in range(most):
        look_inside(grid, edge.pressure, w)
        a, b = surround(grid, edge, w, flux, tolerance, 1.0)
        worst = max(a, b)
        if worst <= tolerance:
            advance(w, edge.dt)
            flux[ENERGY_IN] -= commit(grid, w, T, u, W, E, runoff, shed) / edge.dt
            return 0, iteration, worst
        if update(w, iteration):
            return 1, iteration, worst
    return 1, most, worst
