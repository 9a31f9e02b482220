"""One line through cladding, cavity and backup wall, cut into nodes, and its state in memory.

Every surface and interface is a node without thickness that may hold a film; a membrane is the link between two such
nodes. Order: exterior surface, cladding cells, back of cladding, exterior surface of the backup wall, backup cells,
interior surface. `WallSection1D` is what does not change. `Work` holds the state of a line and all that is worked out
from it, one record of columns for each node, in the order of `lanes`: eight nodes are worked on at once. The layout of
the columns is known to this file; physics reads a node by `Surface`, `Node` or `Link` and writes it by `put_...`.

Key: T temperature [K], u potential [-], p vapour pressure [Pa], W water [kg/m2], E enthalpy [J/m2] (dry matter and
water at 0 degC are zero).
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from cavity._jit import jit
from cavity.constants import EVAPORATION_HEAT, ICE_POINT
from cavity.kernels import block, lanes, moist_air, potential
from cavity.kernels.lanes import LANES

ENERGY_PER_KG = EVAPORATION_HEAT  # J/kg, scale of the water rows, so that both rows are in W/m2
DRY_LINK, WET_LINK, CAVITY = 0, 1, 2  # kinds of link: vapour only, vapour and liquid, the cavity


class WallSection1D(NamedTuple):
    """A line cut into nodes; shared by all segments. n nodes, n - 1 links."""

    thickness: np.ndarray  # (n,) m; 0: a surface, which can hold a film
    left: np.ndarray  # (n,) row of the tables on the outer side of the node
    right: np.ndarray  # (n,) row of the tables on the inner side; cells have one row for both
    heat_capacity: np.ndarray  # (n,) J/(m2 K), dry
    conductivity: np.ndarray  # (n,) W/(m K), dry, rails included
    moisture_conductivity: np.ndarray  # (n,) W/(m K) per kg/m3
    max_water: np.ndarray  # (n,) kg/m2, all pores full; surfaces: what they hold before water runs off
    film_scale: np.ndarray  # (n,) kg/m2, see film.mass; 0: a cell that draws water, or is tight
    film_start: np.ndarray  # (n,) potential at which the film begins
    sheds_out: np.ndarray  # (n,) surface to which the node's film goes where it is the colder one, -1: the film stays
    sheds_in: np.ndarray  # (n,) the same on the inner side
    link: np.ndarray  # (n-1,) DRY_LINK | WET_LINK | CAVITY
    per_distance: np.ndarray  # (n-1,) 1/m, between the centres of the two nodes where liquid passes, else 0
    membrane_R: np.ndarray  # (n-1,) m2 K/W, thermal resistance of the link's membrane
    membrane_sd: np.ndarray  # (n-1,) m, constant s_d of the link's membrane
    membrane_table: np.ndarray  # (n-1,) row of permeance, or -1
    permeance: (
        np.ndarray
    )  # (k, intervals, 4) 1/m, integral of 1/s_d over relative humidity from 0: cubic on each interval
    tables: np.ndarray  # (materials, U_COUNT, TABLE_COLUMNS), see potential
    cladding_back: int  # node of the back of the cladding, -1: no cavity
    freezing: int  # 1: water in pores freezes by its suction


class Work(NamedTuple):
    """State and scratch of one line, from `work_arrays`."""

    cell: np.ndarray  # (rows + 2) * SPAN, flat
    offset: np.ndarray  # (n,) where the record of each node begins
    left: np.ndarray  # (rows + 2, LANES) left and right of the section in the order of the lanes
    right: np.ndarray
    tabled: np.ndarray  # links with a humidity-dependent membrane


class Surface(NamedTuple):
    """State of a node as its surroundings see it."""

    T: float  # K
    p: float  # Pa
    p_T: float  # slopes of p in T and u
    p_u: float


class Node(NamedTuple):
    """State of a node as its neighbours see it, on one side."""

    T: float  # K
    p: float  # Pa
    p_T: float
    p_u: float
    resistance: float  # m2 K/W, thermal, of half a cell
    resistance_u: float
    air_layer: float  # m, diffusion resistance d mu / 2 of half a cell, as air layer
    air_layer_u: float
    theta: float  # kg/(m s), flux potential of liquid
    theta_T: float
    theta_u: float


class Link(NamedTuple):
    """What lies between a node and the next."""

    is_open: float  # 0: the cavity, or no next node; else 1
    per_distance: float  # 1/m, 0: no liquid passes
    resistance: float  # m2 K/W, of the membrane
    sd: float  # m, of the membrane
    sd_u: float  # slopes in u of the node and of the next
    sd_next_u: float


class Slopes(NamedTuple):
    """How a flux of energy E [W/m2] and water W [kg/(m2 s)] depends on T and u of a node."""

    E_T: float
    E_u: float
    W_T: float
    W_u: float


# columns of Work.cell
(
    # of the section, for the node and for the link to the next node
    THICKNESS, DRY_HEAT, CONDUCTIVITY, BY_WATER, FILM_SCALE, FILM_START,
    OPEN, PER_DISTANCE, MEMBRANE_R, MEMBRANE_SD, MEMBRANE_SD_U, MEMBRANE_SD_NEXT_U,
    TEMPERATURE, POTENTIAL,
    MINUS_LOG_RH,
    KELVIN, KELVIN_FRACTION, INTERVAL, FRACTION,  # where the state is in the tables
    LOADED_KELVIN, LOADED_INTERVAL, CHANGED,  # the intervals whose cubics are loaded; 0 if the state is still in both
    VAPOUR, VAPOUR_T, VAPOUR_U,  # vapour pressure and its slopes in T and u
    WATER, WATER_U,  # W by the storage curve
    ENTHALPY, ENTHALPY_T, ENTHALPY_U,
    RESISTANCE, RESISTANCE_U, AIR_LAYER, AIR_LAYER_U,  # see Node
    LIQUID, LIQUID_T, LIQUID_U,  # flux potential seen from the outer side
    INNER, INNER_T, INNER_U,  # the same seen from the inner side; differs where two materials touch
    FLOW_E, FLOW_W,  # over the link to the next node [W/m2, kg/(m2 s)]
) = range(0, 42 * LANES, LANES)  # fmt: skip
# slopes of a row of the balance, 2 x 2 blocks: heat row and water row, in T and u
E_T, E_U, W_T, W_U = block.A, block.B, block.C, block.D
NEAR = 42 * LANES  # slopes of the link's flow in the state of this node ...
FAR = NEAR + 4 * LANES  # ... and of the next
SYSTEM = FAR + 4 * LANES  # the linear system of `block`
BELOW, OWN, ABOVE, RIGHT = SYSTEM + block.BELOW, SYSTEM + block.OWN, SYSTEM + block.ABOVE, SYSTEM + block.RIGHT
OLD_W = SYSTEM + block.COLUMNS * LANES  # stores the step starts from
OLD_E = OLD_W + LANES
SOURCE_E = OLD_E + LANES  # W/m2 and kg/(m2 s) into the node from the surroundings; 0 but within `assemble_boundaries`
SOURCE_W = SOURCE_E + LANES
NET_FLUX_E = SOURCE_W + LANES  # the same, of its neighbours, too
NET_FLUX_W = NET_FLUX_E + LANES
WORST_E = NET_FLUX_W + LANES  # largest residual of this row of lanes and those before
WORST_W = WORST_E + LANES
FLAW = WORST_W + LANES  # 0, or not a number: this row of an update or one before it is not finite
# cubics of the intervals in which the state is, four coefficients each
WATER_CUBIC = FLAW + LANES
MU_CUBIC = WATER_CUBIC + 4 * LANES
THETA_CUBIC = MU_CUBIC + 4 * LANES  # of the outer side
INNER_CUBIC = THETA_CUBIC + 4 * LANES
SATURATION_CUBIC = INNER_CUBIC + 4 * LANES  # ln(saturation pressure)
# of water that stays liquid beside ice: where its potential is between u and that of ice, its slopes, and its cubics
ICE_EXCESS = SATURATION_CUBIC + 4 * LANES  # (u - potential of ice) by the width of the transition; NO_ICE: none
U_LIQUID, U_LIQUID_T, U_LIQUID_U = ICE_EXCESS + LANES, ICE_EXCESS + 2 * LANES, ICE_EXCESS + 3 * LANES
ICE_INTERVAL, ICE_FRACTION = ICE_EXCESS + 4 * LANES, ICE_EXCESS + 5 * LANES
LOADED_ICE_INTERVAL = ICE_EXCESS + 6 * LANES
ICE_WATER_CUBIC = ICE_EXCESS + 7 * LANES
ICE_THETA_CUBIC = ICE_WATER_CUBIC + 4 * LANES
ICE_INNER_CUBIC = ICE_THETA_CUBIC + 4 * LANES
SPAN = ICE_INNER_CUBIC + 4 * LANES
NO_ICE = -1e3
# what a link reads of the next node, and a node's row of the link before it
_OF_NEXT = (
    TEMPERATURE, VAPOUR, VAPOUR_T, VAPOUR_U, RESISTANCE, RESISTANCE_U, AIR_LAYER, AIR_LAYER_U, LIQUID, LIQUID_T,
    LIQUID_U,
)  # fmt: skip
_OF_LAST = (FLOW_E, FLOW_W, *range(NEAR, SYSTEM, LANES))


def work_arrays(section: WallSection1D, *lines: int) -> Work:
    """Return the scratch arrays of a line of this section, or of several lines, as leading dimension of the cells."""
    nodes = section.thickness.size
    offset = lanes.offsets(nodes, SPAN)
    cell: Any = np.zeros((lanes.rows_of(nodes) + 2, SPAN // LANES, LANES))
    # records without a node store nothing and exchange nothing, but must not divide by zero
    cell[:, TEMPERATURE // LANES] = ICE_POINT + 20.0
    cell[:, POTENTIAL // LANES] = potential.U_LOW
    for column in (CONDUCTIVITY, MEMBRANE_R, MEMBRANE_SD):
        cell[:, column // LANES] = 1.0
    for column in (LOADED_INTERVAL, LOADED_ICE_INTERVAL):
        cell[:, column // LANES] = -1.0  # none yet
    cell = cell.ravel()
    closed = section.link == CAVITY
    for column, values in (
        (THICKNESS, section.thickness), (DRY_HEAT, section.heat_capacity), (CONDUCTIVITY, section.conductivity),
        (BY_WATER, section.moisture_conductivity), (FILM_SCALE, section.film_scale), (FILM_START, section.film_start),
        (OPEN, ~closed), (PER_DISTANCE, section.per_distance), (MEMBRANE_R, section.membrane_R + closed),
        (MEMBRANE_SD, section.membrane_sd + closed),
    ):  # fmt: skip
        cell[offset[: len(values)] + column] = values
    at = lanes.offsets(nodes, LANES)
    sides = np.zeros((2, LANES * (lanes.rows_of(nodes) + 2)), dtype=np.int64)
    sides[0, at], sides[1, at] = section.left, section.right
    left, right = sides.reshape(2, -1, LANES)
    tabled = np.flatnonzero(section.membrane_table >= 0)
    return Work(np.tile(cell, (*lines, 1)) if lines else cell, offset, left, right, tabled)


def read(w: Work, column: int) -> np.ndarray:
    """Return a column of a line's scratch by node, (n,)."""
    return w.cell[w.offset + column]


@jit
def rows_of(w):
    """Return the number of rows of lanes that hold nodes; they begin at row 1."""
    return w.cell.size // SPAN - 2


@jit
def set_state(w, T, u):
    """Write the state of a line, (n,) each, into its cells."""
    for i in range(T.size):
        w.cell[w.offset[i] + TEMPERATURE] = T[i]
        set_potential(w, i, u[i])


@jit
def set_potential(w, i, u):
    """Write the potential of node i into its cell."""
    w.cell[w.offset[i] + POTENTIAL] = u
    locate_in_tables(w.cell, w.offset[i])


@jit
def set_stores(w, W, E):
    """Write the stores that a step starts from, (n,) each, into the cells."""
    for i in range(W.size):
        w.cell[w.offset[i] + OLD_W] = W[i]
        w.cell[w.offset[i] + OLD_E] = E[i]


@jit
def locate_in_tables(cell, at):
    """Find how dry the state at `at` is, and where it is in the tables. To be called whenever the state changes."""
    T, u = cell[at + TEMPERATURE], cell[at + POTENTIAL]
    cell[at + MINUS_LOG_RH] = potential.minus_log_rh(u, T)
    x, y = moist_air.table_position(T), potential.table_position(u)
    kelvin, interval = moist_air.interval(x), np.floor(y)
    cell[at + KELVIN_FRACTION], cell[at + FRACTION] = x - kelvin, y - interval
    cell[at + KELVIN], cell[at + INTERVAL] = kelvin, interval
    cell[at + CHANGED] = abs(kelvin - cell[at + LOADED_KELVIN]) + abs(interval - cell[at + LOADED_INTERVAL])


@jit
def load_cubics(section, w, row):
    """Copy the cubics of the intervals in which the nodes of a row now are, unless already loaded."""
    cell = w.cell[row * SPAN : (row + 1) * SPAN]
    for k in range(w.left.shape[1]):  # LANES, but not known to the compiler: it would write this out eight times
        if cell[k + CHANGED] == 0.0:
            continue
        kelvin, interval = cell[k + KELVIN], cell[k + INTERVAL]
        cell[k + LOADED_KELVIN], cell[k + LOADED_INTERVAL], cell[k + CHANGED] = kelvin, interval, 0.0
        outer = section.tables[w.left[row, k], int(interval)]
        inner = section.tables[w.right[row, k], int(interval)]
        saturation = moist_air.LOG_SATURATION_CUBIC[int(kelvin)]
        for j in range(4):
            cell[k + WATER_CUBIC + j * LANES] = outer[potential.WATER_CONTENT + j]
            cell[k + MU_CUBIC + j * LANES] = outer[potential.MU + j]
            cell[k + THETA_CUBIC + j * LANES] = outer[potential.THETA + j]
            cell[k + INNER_CUBIC + j * LANES] = inner[potential.THETA + j]
            cell[k + SATURATION_CUBIC + j * LANES] = saturation[j]


@jit
def load_ice_cubics(section, w, row):
    """Copy the cubics of the intervals in which water beside ice now is, where it has moved to others."""
    cell = w.cell[row * SPAN : (row + 1) * SPAN]
    for k in range(w.left.shape[1]):
        interval = cell[k + ICE_INTERVAL]
        if cell[k + ICE_EXCESS] == NO_ICE or interval == cell[k + LOADED_ICE_INTERVAL]:
            continue
        cell[k + LOADED_ICE_INTERVAL] = interval
        outer = section.tables[w.left[row, k], int(interval)]
        inner = section.tables[w.right[row, k], int(interval)]
        for j in range(4):
            cell[k + ICE_WATER_CUBIC + j * LANES] = outer[potential.WATER_CONTENT + j]
            cell[k + ICE_THETA_CUBIC + j * LANES] = outer[potential.THETA + j]
            cell[k + ICE_INNER_CUBIC + j * LANES] = inner[potential.THETA + j]


@jit
def cubic_of(cell, at, x):
    """Return (value, slope in x) of the cubic whose coefficients begin at `at`."""
    return lanes.cubic(cell[at], cell[at + LANES], cell[at + 2 * LANES], cell[at + 3 * LANES], x)


@jit
def surface_of(cell, at):
    """Return the state at `at` as its surroundings see it."""
    return Surface(cell[at + TEMPERATURE], cell[at + VAPOUR], cell[at + VAPOUR_T], cell[at + VAPOUR_U])


@jit
def node_of(cell, at, liquid):
    """Return the node at `at` as a neighbour sees it; liquid: LIQUID for the one before, INNER for the next."""
    return Node(
        cell[at + TEMPERATURE], cell[at + VAPOUR], cell[at + VAPOUR_T], cell[at + VAPOUR_U], cell[at + RESISTANCE],
        cell[at + RESISTANCE_U], cell[at + AIR_LAYER], cell[at + AIR_LAYER_U], cell[at + liquid],
        cell[at + liquid + LANES], cell[at + liquid + 2 * LANES],
    )  # fmt: skip


@jit
def link_of(cell, at):
    """Return what lies between the node at `at` and the next."""
    return Link(
        cell[at + OPEN], cell[at + PER_DISTANCE], cell[at + MEMBRANE_R], cell[at + MEMBRANE_SD],
        cell[at + MEMBRANE_SD_U], cell[at + MEMBRANE_SD_NEXT_U],
    )  # fmt: skip


@jit
def put_slopes(cell, at, slopes):
    """Write slopes into the block at `at`, both rows in W/m2."""
    cell[at + E_T] = slopes.E_T
    cell[at + E_U] = slopes.E_u
    cell[at + W_T] = slopes.W_T * ENERGY_PER_KG
    cell[at + W_U] = slopes.W_u * ENERGY_PER_KG


@jit
def take_slopes(cell, at, slopes):
    """Subtract slopes from the block at `at`, both rows in W/m2."""
    cell[at + E_T] -= slopes.E_T
    cell[at + E_U] -= slopes.E_u
    cell[at + W_T] -= slopes.W_T * ENERGY_PER_KG
    cell[at + W_U] -= slopes.W_u * ENERGY_PER_KG


@jit
def repeat_first_row(w):
    """Repeat the first row after the last, one lane back: the next nodes of those in the last row."""
    last = rows_of(w) + 1
    for column in _OF_NEXT:
        for k in range(LANES - 1):
            w.cell[last * SPAN + column + k] = w.cell[SPAN + column + k + 1]


@jit
def repeat_last_row(w):
    """Repeat the links of the last row before the first, one lane on: those before the nodes in the first row."""
    last = rows_of(w)
    for column in _OF_LAST:
        for k in range(LANES - 1):
            w.cell[column + k + 1] = w.cell[last * SPAN + column + k]
