"""What more air each part of the air path would bring: the flow with that part doubled, at the same drive.

Losses in series add up, so the largest single loss is not always the part to open first: several equal ones together
can matter more. Equal parts count as one group: the gaps of one rail, vents of one name.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from cavity.airflow.column import ColumnAir, build_column, group_of
from cavity.kernels import network

if TYPE_CHECKING:
    from cavity.wallfile.model import Case, Opening

HOURS = 60  # of a year that are enough for the mean: spread evenly


def doubling_gains(
    case: Case,
    air: ColumnAir,
    drive: np.ndarray,
    rho_out: np.ndarray,
    rho_link: np.ndarray,
    viscosity: np.ndarray,
) -> np.ndarray:
    """Return by how much the flow would grow if the group of each part were doubled, at the same drive.

    Vents twice as high, rail gaps twice as long (at most the bay), the free area of barriers doubled, the cavity twice
    as deep. The drive stays: that more air also cools the cavity and lowers the stack pressure is neglected.

    Parameters
    ----------
    case : Case
        As given to `build_column`.
    air : ColumnAir
        What it returned.
    drive, rho_link : array, (hour, link)
        Drive between two openings and density of the cavity air. [Pa], [kg/m3]
    rho_out, viscosity : array, (hour,)
        Outdoor air. [kg/m3], [Pa s]

    Returns
    -------
    array, (part,)
        Relative gain of the air that enters, mean of the hours; 0 where nothing flows. [1]
    """
    groups = [group_of(name, kind) for name, kind in zip(air.path_names, air.path_kinds, strict=True)]
    before = _inflow(air, drive, rho_out, rho_link, viscosity)
    if before <= 0.0:
        return np.zeros(len(groups))
    gain = {}
    for name, kind in dict(zip(groups, air.path_kinds, strict=True)).items():
        after = _inflow(build_column(_doubled(case, name, kind)), drive, rho_out, rho_link, viscosity)
        gain[name] = max(after / before - 1.0, 0.0)  # round-off where the part is in still air
    return np.array([gain[name] for name in groups])


def _doubled(case: Case, group: str, kind: str) -> Case:
    """Return the case with one group of parts doubled."""
    if kind == "channel":
        return replace(case, depth=2.0 * case.depth)
    if kind == "barrier":
        barriers = tuple(
            replace(one, free_area=2.0 * one.free_area) if one.name == group else one for one in case.wall.barriers
        )
        return replace(case, wall=replace(case.wall, barriers=barriers))
    if kind == "rail":
        rails = tuple(
            replace(one, gap=min(2.0 * one.gap, one.bay / one.gaps)) if one.name == group else one for one in case.rails
        )
        return replace(case, opening_set=replace(case.opening_set, rails=rails))
    openings = tuple(
        _larger(one) if group_of(one.name, one.kind) == group else one for one in case.opening_set.openings
    )
    return replace(case, opening_set=replace(case.opening_set, openings=openings))


def _larger(opening: Opening) -> Opening:
    return replace(opening, gross_area=2.0 * opening.gross_area, clear_height=2.0 * opening.clear_height)


def _inflow(
    air: ColumnAir, drive: np.ndarray, rho_out: np.ndarray, rho_link: np.ndarray, viscosity: np.ndarray
) -> float:
    """Return the mean air that enters the column over the hours [kg/(s m)]."""
    flow, work, chain = air.scratch()
    flows = np.zeros(len(air.openings))
    total = 0.0
    for t in range(len(rho_out)):
        network.solve_column(
            air.opening_law, air.link_law, air.part_law, air.part_link, air.link_open, drive[t], float(rho_out[t]),
            rho_link[t], float(viscosity[t]), flow, work, chain,
        )  # fmt: skip
        network.opening_flows(flow, flows)
        total += flows[flows > 0.0].sum()
    return total / max(len(rho_out), 1)
