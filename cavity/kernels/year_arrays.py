"""Arrays that the hourly loop reads and fills: the problem, the state, the record, and its scratch.

Key: S segments (lines), n nodes a line, F faces, L layers, J openings, K = J - 1 links, C compartments, H hours; flows
of links upwards [kg/(s m)].
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from cavity._jit import jit
from cavity.kernels import boundaries, moist_air, network, wall_section

OUTER, BACK, FRONT, ROOM = 0, 1, 2, 3  # surfaces between wall and air, see Readings.film
DEW, RAIN, CAPILLARY, CAUSES = 0, 1, 2, 3  # causes of a change of a film: vapour, rain, liquid water of the layers
# columns of Record.terms, the water balance of a year
(
    RAIN_TERM, OUTDOOR_VAPOUR_TERM, ROOM_VAPOUR_TERM, LEAK_TERM, RAIN_BEHIND_TERM, CAVITY_VAPOUR_TERM, RUNOFF_TERM,
    DRAINED_TERM, STORED_TERM, WATER_TERMS,
) = range(10)  # fmt: skip
# columns of Record.balance_account: what came in minus what went out, and what the year began with
WATER_IN, ENERGY_IN, WATER_AT_START, ENERGY_AT_START = range(4)
# columns of Scratch.inlet_weight and Scratch.outdoor_part
HEAT_MEAN, HEAT_OUTLET, VAPOUR_MEAN, VAPOUR_OUTLET = range(4)
# where the solver gave up: segment, node, row (0 heat, 1 water), residual [W/m2], temperature [K] and potential of the
# node, its water [kg/m2], fastest upward flow [kg/(s m)]
TROUBLE = 8


class Column(NamedTuple):
    """One column of the cavity as arrays; see network.solve_column and pressure_drop for the rows."""

    opening_law: np.ndarray  # (J, 6)
    link_law: np.ndarray  # (K, 5)
    part_law: np.ndarray  # (m, 6)
    part_link: np.ndarray  # (m,)
    link_open: np.ndarray  # (K,)
    link_entry: np.ndarray  # (K, 2) stirring by the inlet, upward and downward flow; see cavity_air.forced_nusselt
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
    single_area: np.ndarray  # (S,) m2/m2, area of a single vent per surface area, times its factor; more vents: 0
    single_clear: np.ndarray  # (S,) m, clear height of that vent
    gust_curve: np.ndarray  # (2, m) logarithms of drive [Pa] and flow [kg/(s m)] of the column
    gust_factor: float  # on the exchange by gusts, 0: none
    depth: float  # m
    height: float  # m, of the whole column
    emissivity: float  # exchange emissivity of the two surfaces


class Forcing(NamedTuple):
    """Hourly surroundings, means over each hour."""

    T_out: np.ndarray  # (H,) K
    p_out: np.ndarray  # (H,) Pa
    pressure: np.ndarray  # (H,) Pa
    absorbed_radiation: np.ndarray  # (H,) W/m2, sun and longwave absorbed by the exterior surface
    h_out: np.ndarray  # (H,) W/(m2 K), convection outside
    wind: np.ndarray  # (H, J) Pa, wind pressure at each opening
    speed: np.ndarray  # (H,) m/s, wind on the site
    gust: np.ndarray  # (H,) Pa, standard deviation of the pressure difference between two openings
    rain: np.ndarray  # (H,) kg/(m2 s), on the exterior surface
    rain_in: np.ndarray  # (H,) kg/(m2 s), that passes the cladding
    T_in: np.ndarray  # (H,) K
    p_in: np.ndarray  # (H,) Pa
    leak: np.ndarray  # (H,) kg/(m2 s)
    emissivity: float
    h_in: float  # W/(m2 K)
    beta_in: float  # s/m
    leak_node: int
    rain_node: int


class Readings(NamedTuple):
    """Where surfaces and interfaces are read."""

    node: np.ndarray  # (F,) node of each surface and interface
    layer: np.ndarray  # (n,) layer of each node, -1: one of the four surfaces in `film`
    film: np.ndarray  # (4,) nodes of the surfaces, outside to inside
    plane: np.ndarray  # (n,) surface or interface at which water is counted that leaves this node


class Problem(NamedTuple):
    """What does not change in a run."""

    section: wall_section.WallSection1D
    column: Column
    forcing: Forcing
    readings: Readings


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
    """Hourly results, filled by `year.run`."""

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
    throughput: np.ndarray  # (S, 2) water [kg/m2] and energy [J/m2] that crossed the boundary, by size
    terms: np.ndarray  # (S, WATER_TERMS) water balance of the year [kg/m2]
    balance_account: np.ndarray  # (S, 4) see WATER_IN


class Stage(NamedTuple):
    """What one implicit stage found; leading dimension: the stages of a step."""

    flux: np.ndarray  # (2, S, FLUX_COUNT)
    face_T: np.ndarray  # (2, S, F)
    face_p: np.ndarray  # (2, S, F)
    wetting: np.ndarray  # (2, S, F, 3) kg/(m2 s), change of the film of each surface by cause, see CAUSES
    flow: np.ndarray  # (2, K)
    rho: np.ndarray  # (2, K)
    mixing: np.ndarray  # (2, S) kg/(s m2), exchange with outdoors in addition to the mean flow
    outlet: np.ndarray  # (2, 2, S) K, then Pa: air that leaves each segment


class Scratch(NamedTuple):
    """Arrays of one run that carry nothing from step to step; `workspace` makes them."""

    line: wall_section.Work  # its cells with a leading (S,)
    evaluated_at: np.ndarray  # (S,) Pa, pressure for which the state of a line has been evaluated; 0: it has not
    ladder: np.ndarray
    chain: np.ndarray
    drive: np.ndarray  # (K,) Pa
    new_flow: np.ndarray  # (K,)
    last_gap: np.ndarray  # (K,)
    order: np.ndarray  # (S,) segments in the order the air passes them
    inlet_T: np.ndarray  # (S,)
    inlet_p: np.ndarray
    outlet_T: np.ndarray
    outlet_p: np.ndarray
    h: np.ndarray  # (S, 2) convective coefficient of the cavity surfaces
    h_still: np.ndarray  # (S,) that of both without flow
    inlet_weight: np.ndarray  # (S, 4) weight of what is not of the surfaces, see HEAT_MEAN
    outdoor_part: np.ndarray  # (S, 4) part of that weight that is outdoor air mixed in on the way
    face_T: np.ndarray  # (S, 2) K, state of both cavity surfaces for which the air was last updated
    face_p: np.ndarray  # Pa
    rho: np.ndarray  # (K,) air density of each link
    face_shift: np.ndarray  # (1,) K, change of the cavity surfaces since the air was last solved for them
    relaxation: np.ndarray  # (2,) of that solution at its end: factor, and fraction of a gap that one round left
    gusts: np.ndarray  # (1,) kg/(s m2), exchange by gusts
    old_air_T: np.ndarray  # (S,) at the start of the step
    old_air_p: np.ndarray
    old_flow: np.ndarray  # (K,)
    runoff: np.ndarray  # (n,)
    shed: np.ndarray  # (n,)
    trouble: np.ndarray  # (TROUBLE,) where the solver gave up, see TROUBLE
    losses: np.ndarray  # (parts,)
    opening_flow: np.ndarray  # (J,)
    air_in: np.ndarray  # (C+1,)
    mixing: np.ndarray  # (S,) kg/(s m2), exchange with outdoors in addition to the mean flow
    excess: np.ndarray  # (3, S) and (J,), for the balance of the air stream
    node: np.ndarray


class Outdoors(NamedTuple):
    """Outdoor air of one hour."""

    T: float  # K
    p: float  # Pa, vapour
    pressure: float  # Pa
    density: float  # kg/m3
    viscosity: float  # Pa s
    speed: float  # m/s, wind on the site
    gust: float  # Pa, see Forcing


@jit
def outdoors_of(forcing, t):
    """Return the outdoor air of hour t."""
    T, p, P = forcing.T_out[t], forcing.p_out[t], forcing.pressure[t]
    return Outdoors(T, p, P, moist_air.density(T, p, P), moist_air.viscosity(T), forcing.speed[t], forcing.gust[t])


@jit
def line_of(work, s):
    """Return the cells of segment s."""
    return wall_section.Work(work.line.cell[s], work.line.offset, work.line.left, work.line.right, work.line.tabled)


def workspace(
    section: wall_section.WallSection1D, segments: int, faces: int, openings: int, parts: int, compartments: int = 1
) -> tuple[Stage, Scratch]:
    """Return what `year.run` needs beside its input: the arrays of its stages and its scratch arrays."""
    S, n, J, K = segments, section.thickness.size, openings, max(openings - 1, 0)
    zeros = np.zeros
    stage = Stage(
        flux=zeros((2, S, boundaries.FLUX_COUNT)), face_T=zeros((2, S, faces)),
        face_p=zeros((2, S, faces)), wetting=zeros((2, S, faces, CAUSES)), flow=zeros((2, K)), rho=zeros((2, K)),
        mixing=zeros((2, S)), outlet=zeros((2, 2, S)),
    )  # fmt: skip
    work = Scratch(
        line=wall_section.work_arrays(section, S), evaluated_at=zeros(S),
        ladder=zeros((network.WORK_ROWS, J + 1)), chain=zeros((network.CHAIN_ROWS, J + 1), dtype=np.int64),
        drive=zeros(K), new_flow=zeros(K), last_gap=zeros(K), order=zeros(S, dtype=np.int64),
        inlet_T=zeros(S), inlet_p=zeros(S), outlet_T=zeros(S), outlet_p=zeros(S),
        h=zeros((S, 2)), h_still=zeros(S), inlet_weight=zeros((S, 4)), outdoor_part=zeros((S, 4)),
        face_T=zeros((S, 2)), face_p=zeros((S, 2)), rho=zeros(K),
        face_shift=zeros(1), relaxation=np.ones(2), gusts=zeros(1),
        old_air_T=zeros(S), old_air_p=zeros(S), old_flow=zeros(K),
        runoff=zeros(n), shed=zeros(n), trouble=zeros(TROUBLE),
        losses=zeros(parts), opening_flow=zeros(J), air_in=zeros(compartments + 1), mixing=zeros(S),
        excess=zeros((3, S)), node=zeros(J),
    )  # fmt: skip
    return stage, work
