"""Gain in air flow if a part of the air path were doubled, at the same drive.

Losses in series add up, so the largest single loss is not always the first to reduce: several equal ones together can
matter more. Equal parts are one group: the gaps of one rail, vents of one name.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from cavity.airflow.column import ColumnAir, build_column, group_of
from cavity.kernels import network

if TYPE_CHECKING:
    from cavity.wallfile.model import Case, Opening

HOURS = 60  # of a year, evenly distributed: enough for the mean


def doubling_gains(
    case: Case,
    air: ColumnAir,
    drive: np.ndarray,
    rho_out: np.ndarray,
    rho_link: np.ndarray,
    viscosity: np.ndarray,
) -> np.ndarray:
    """Return the relative gain in flow if the group of each part were doubled, at the same drive.

    Vents twice as high, rail gaps twice as long (at most the bay), the free area of barriers doubled, the cavity twice
    as deep. The drive stays the same: that more air cools the cavity and lowers the stack pressure is neglected.

    Parameters
    ----------
    case : Case
        Argument of `build_column`.
    air : ColumnAir
        Result of `build_column`.
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
        gain[name] = max(after / before - 1.0, 0.0)  # round-off for a part in still air
    return np.array([gain[name] for name in groups])


def _doubled(case: Case, group: str, kind: str) -> Case:
    """Return the case with one group of parts doubled."""
    if kind == "channel":
        return replace(case, depth=2.0 * case.depth)
    if kind == "barrier":
        barriers = tuple(
            replace(part, free_area=2.0 * part.free_area) if part.name == group else part for part in case.wall.barriers
        )
        return replace(case, wall=replace(case.wall, barriers=barriers))
    if kind == "rail":
        rails = tuple(
            replace(part, gap=min(2.0 * part.gap, part.bay / part.gaps)) if part.name == group else part
            for part in case.rails
        )
        return replace(case, opening_set=replace(case.opening_set, rails=rails))
    openings = tuple(
        _larger(part) if group_of(part.name, part.kind) == group else part for part in case.opening_set.openings
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
