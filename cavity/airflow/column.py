"""One column of the cavity as arrays: openings, links, parts of the air path and thermal segments, from a case.

`build_column(case)` makes the arrays of `kernels.network.solve_column`. Everything is ordered low to high, per metre of
wall length.

Link `k` joins openings `k` and `k + 1`; a segment with link -1 is still air (below the lowest opening, above the
highest, or without openings). A closed opening stays in the chain (AREA 0), a closed barrier closes its link.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from cavity.airflow.losses import barrier_row, channel_row, opening_row, rail_row
from cavity.constants import R_AIR, STANDARD_PRESSURE, TOUCH
from cavity.kernels import cavity_air, moist_air, network
from cavity.kernels import pressure_drop as kernel
from cavity.wallfile.model import ventilation_class

if TYPE_CHECKING:
    from cavity.wallfile.model import Case, Opening

STUB = 0.2  # m, a still end shorter than this is mixed by the jet of the next opening (own assumption)
ROUNDED = 0.95  # -, discharge coefficient from which an opening has a rounded mouth; common practice, no source
SHORT = 0.05  # m, a shorter piece at a closed barrier belongs to the adjacent segment


@dataclass(frozen=True)
class ColumnAir:
    """Arrays of one column; n openings, m parts in the links, p parts of the air path, s segments.

    Parameters
    ----------
    name, bottom, top : str, float, float
        Column and its ends above the base of the wall. [m]
    depth, area : float
        Cavity depth; flow area of the channel, net of the blocked fraction. [m], [m2/m]
    openings : tuple of Opening
        Low to high.
    opening_names, opening_height, opening_area, opening_kind : n
        Labels, height [m], free vent area [m2/m].
    opening_law, link_law, part_law, part_link, link_open
        Arguments of the network kernel; see there.
    link_entry : array, (n-1, 2)
        Mixing by the inlet for upward and downward flow, see `cavity_air.forced_nusselt`: at end openings only.
    link_length, link_rise : array, (n-1,)
        From opening k to k+1 along the wall, and by height: shorter where the wall is tilted. [m]
    path_names, path_kinds, path_height, path_area, path_source, path_index : p
        All parts low to high, for `network.path_losses`; height [m], free area [m2/m], 0 where closed.
    segment_names, segment_bottom, segment_top, segment_link : s
        Thermal segments; volume per metre of wall = `area` x height.
    single_area, single_clear : s
        Segments between closed barriers with one open vent only: its free area over the height between the barriers
        [m2/m2], and its clear height [m]; elsewhere 0.
    compartment_edges : array, (c+1,)
        Ends of the compartments: of the column, and every barrier between them. [m]
    opening_compartment, gate_link : n, c-1
        Compartment of each opening; link past the barrier above each compartment, -1 without one.
    """

    name: str
    bottom: float
    top: float
    depth: float
    area: float
    openings: tuple[Opening, ...]
    opening_names: tuple[str, ...]
    opening_height: np.ndarray
    opening_area: np.ndarray
    opening_kind: tuple[str, ...]
    opening_law: np.ndarray
    link_law: np.ndarray
    link_open: np.ndarray
    link_entry: np.ndarray
    link_length: np.ndarray
    link_rise: np.ndarray
    part_law: np.ndarray
    part_link: np.ndarray
    path_names: tuple[str, ...]
    path_kinds: tuple[str, ...]
    path_height: np.ndarray
    path_area: np.ndarray
    path_source: np.ndarray
    path_index: np.ndarray
    segment_names: tuple[str, ...]
    segment_bottom: np.ndarray
    segment_top: np.ndarray
    segment_link: np.ndarray
    single_area: np.ndarray
    single_clear: np.ndarray
    compartment_edges: np.ndarray
    opening_compartment: np.ndarray
    gate_link: np.ndarray

    @property
    def segment_compartment(self) -> np.ndarray:
        """Compartment of each segment, (s,)."""
        return np.searchsorted(self.compartment_edges[1:-1], 0.5 * (self.segment_bottom + self.segment_top))

    @property
    def volume(self) -> np.ndarray:
        """Volume of the column, then of each compartment, per metre of wall, (c+1,) [m3/m]."""
        return self.area * np.array([self.height, *np.diff(self.compartment_edges)])

    @property
    def height(self) -> float:
        """Height of the column [m]."""
        return self.top - self.bottom

    @property
    def iso6946_class(self) -> str:
        """Class of the air layer: unventilated | slightly ventilated | well ventilated."""
        return ventilation_class(float(self.opening_area.sum()))

    def coordinates(self) -> dict[str, Any]:
        """Return the coordinates of a Dataset: segments, compartments, openings and parts of the air path."""
        edges = self.compartment_edges
        count = len(edges) - 1
        return {
            "segment": list(self.segment_names),
            "segment_bottom": ("segment", self.segment_bottom, {"units": "m"}),
            "segment_top": ("segment", self.segment_top, {"units": "m"}),
            "segment_compartment": ("segment", self.segment_compartment),
            "compartment": [f"{a:.2f} to {b:.2f} m" for a, b in pairwise(edges)] if count > 1 else ["whole column"],
            "compartment_bottom": ("compartment", edges[:-1], {"units": "m"}),
            "compartment_top": ("compartment", edges[1:], {"units": "m"}),
            "compartment_volume": ("compartment", self.volume[1:], {"units": "m3/m"}),
            "opening": list(self.opening_names),
            "opening_compartment": ("opening", self.opening_compartment),
            "opening_height": ("opening", self.opening_height, {"units": "m"}),
            "opening_area": ("opening", self.opening_area, {"units": "m2/m"}),
            "opening_kind": ("opening", list(self.opening_kind)),
            "part": list(self.path_names),
            "part_height": ("part", self.path_height, {"units": "m"}),
            "part_kind": ("part", list(self.path_kinds)),
            "part_group": ("part", [group_of(*part) for part in zip(self.path_names, self.path_kinds, strict=True)]),
            "part_area": ("part", self.path_area, {"units": "m2/m"}),
        }

    def scratch(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return flow (n-1,), work and chain arrays for the solver."""
        n = len(self.openings)
        return (
            np.zeros(max(n - 1, 0)),
            np.zeros((network.WORK_ROWS, n + 1)),
            np.zeros((network.CHAIN_ROWS, n + 1), dtype=np.int64),
        )


def gust_curve(air: ColumnAir, pressure: float = STANDARD_PRESSURE, temperature: float = 283.15) -> np.ndarray:
    """Return the logarithms of drive [Pa] and flow [kg/(s m)] of a column, (2, m).

    The drive acts on the links in proportion to their length.

    Parameters
    ----------
    air : ColumnAir
        The column; without through-flow the array has no points.
    pressure, temperature : float
        Of the air. [Pa], [K]
    """
    length = air.link_length.sum()
    if not length > 0.0:
        return np.zeros((2, 0))
    rho, mu = pressure / (R_AIR * temperature), moist_air.viscosity(temperature)
    drives = np.logspace(-3.0, 3.0, 31)
    flows = np.zeros_like(drives)
    flow, work, chain = air.scratch()
    inflow = np.zeros(len(air.openings))
    for k, drive in enumerate(drives):
        network.solve_column(
            air.opening_law, air.link_law, air.part_law, air.part_link, air.link_open, drive * air.link_length / length,
            rho, np.full(len(flow), rho), mu, flow, work, chain,
        )  # fmt: skip
        network.opening_flows(flow, inflow)
        flows[k] = inflow[inflow > 0.0].sum()
    return np.log([drives, flows]) if flows.min() > 0.0 else np.zeros((2, 0))


def build_column(case: Case) -> ColumnAir:
    """Build the chain of openings and links, and the segments, of one column.

    Parameters
    ----------
    case : Case
        From `Wall.case`.

    Returns
    -------
    ColumnAir
        Frozen arrays, low to high.
    """
    wall, column, depth, openings = case.wall, case.column, case.depth, case.openings
    area = depth * (1.0 - wall.cavity.blocked)
    n = len(openings)
    heights = np.round([o.height for o in openings], 9).astype(float)  # vents within 1 nm are at one height
    rails = [(z, rail) for rail in case.rails for z in column.crossed_by(rail)]
    barriers = [(barrier.height, barrier) for barrier in case.barriers]

    names: list[str] = []
    kinds: list[str] = []
    part_heights: list[float] = []
    areas: list[float] = []
    sources: list[int] = []
    indices: list[int] = []

    def add_part(name: str, kind: str, z: float, free: float, source: int, index: int) -> None:
        names.append(_unique(name, names))
        kinds.append(kind)
        part_heights.append(z)
        areas.append(free)
        sources.append(source)
        indices.append(index)

    opening_law = np.zeros((n, kernel.RESTRICTION_COLUMNS))
    for j, o in enumerate(openings):
        at_end = j in (0, n - 1) and (o.height - column.bottom <= STUB or column.top - o.height <= STUB)
        opening_law[j] = opening_row(o, area, at_end)
        add_part(o.name, o.kind, o.height, o.free_area, network.FROM_OPENING, j)

    links = max(n - 1, 0)
    link_law = np.zeros((links, kernel.CHANNEL_COLUMNS))
    link_open = np.ones(links, dtype=np.int64)
    link_entry = np.zeros((links, 2))
    if links:
        link_entry[0, 0], link_entry[-1, 1] = _stirring(openings[0]), _stirring(openings[-1])
    part_rows: list[np.ndarray] = []
    part_links: list[int] = []
    cuts: list[float] = []  # heights of closed barriers
    across: list[tuple[float, Any]] = sorted([*rails, *barriers], key=lambda pair: pair[0])
    for z, part in across:
        is_rail = hasattr(part, "gap")
        row = rail_row(part, depth, area) if is_rail else barrier_row(part, area)
        if row[kernel.AREA] <= 0.0:
            cuts.append(z)
        k = _link_at(z, heights)
        if k < 0:
            continue  # in still air: without flow
        free = row[kernel.AREA] * (part.porosity if is_rail else 1.0)
        if free <= 0.0:
            link_open[k] = 0
            row[kernel.AREA] = 1.0  # never evaluated, its link is closed
        kind = "rail" if is_rail else "barrier"
        add_part(f"{part.name} at {z:.2f} m", kind, z, free, network.FROM_RESTRICTION, len(part_rows))
        part_rows.append(row)
        part_links.append(k)
    for k in range(links):
        length = heights[k + 1] - heights[k]
        link_law[k] = channel_row(
            depth,
            length,
            blocked=wall.cavity.blocked,
            roughness=wall.cavity.roughness,
            pieces=1 + part_links.count(k),
        )
        middle = 0.5 * (heights[k] + heights[k + 1])
        name = f"cavity {heights[k]:.2f} to {heights[k + 1]:.2f} m"
        add_part(name, "channel", middle, area, network.FROM_CHANNEL, k)

    order = sorted(range(len(names)), key=lambda i: (part_heights[i], i))
    bottoms, tops, segment_link = _segments(column.bottom, column.top, heights, cuts, wall.run.segments)
    lengths = np.diff(heights) if n else np.zeros(0)
    single_area, single_clear = _single_vents(column.bottom, column.top, openings, opening_law, cuts, bottoms, tops)
    edges, gates, opening_compartment = _compartments(column.bottom, column.top, heights, [z for z, _ in barriers])
    return ColumnAir(
        name=column.name,
        bottom=column.bottom,
        top=column.top,
        depth=depth,
        area=area,
        openings=openings,
        opening_names=_labels([o.name for o in openings]),
        opening_height=heights,
        opening_area=np.array([o.free_area for o in openings], dtype=float),
        opening_kind=tuple(o.kind for o in openings),
        opening_law=opening_law,
        link_law=link_law,
        link_open=link_open,
        link_entry=link_entry,
        link_length=lengths,
        link_rise=lengths * math.sin(math.radians(wall.tilt)),
        part_law=np.array(part_rows, dtype=float).reshape(-1, kernel.RESTRICTION_COLUMNS),
        part_link=np.array(part_links, dtype=np.int64),
        path_names=tuple(names[i] for i in order),
        path_kinds=tuple(kinds[i] for i in order),
        path_height=np.array([part_heights[i] for i in order], dtype=float),
        path_area=np.array([areas[i] for i in order], dtype=float),
        path_source=np.array([sources[i] for i in order], dtype=np.int64),
        path_index=np.array([indices[i] for i in order], dtype=np.int64),
        segment_names=_segment_names(bottoms, tops),
        segment_bottom=bottoms,
        segment_top=tops,
        segment_link=segment_link,
        single_area=single_area,
        single_clear=single_clear,
        compartment_edges=edges,
        opening_compartment=opening_compartment,
        gate_link=gates,
    )


def _stirring(opening: Opening) -> float:
    """Return the mixing by an opening of the air that enters through it: 0 for a plain rounded one only."""
    rounded = (opening.discharge or 0.0) >= ROUNDED and opening.bends == 0 and opening.porosity >= 1.0
    return 0.0 if rounded else cavity_air.ABRUPT


def group_of(name: str, kind: str) -> str:
    """Return the group of a part of the air path: its name without the height; one group for all channel pieces.

    Parameters
    ----------
    name, kind : str
        As in `ColumnAir.path_names` and `path_kinds`.
    """
    return "cavity depth" if kind == "channel" else re.sub(r"( at -?\d+(\.\d+)? m)?( \(\d+\))?$", "", name)


def _unique(name: str, taken: list[str]) -> str:
    """Return `name`, with a number where it exists already."""
    if name not in taken:
        return name
    number = 2
    while f"{name} ({number})" in taken:
        number += 1
    return f"{name} ({number})"


def _labels(names: list[str]) -> tuple[str, ...]:
    labels: list[str] = []
    for name in names:
        labels.append(_unique(name, labels))
    return tuple(labels)


def _link_at(z: float, heights: np.ndarray) -> int:
    """Return the link at height `z`, or -1 outside the openings; at an opening: the link above it."""
    k = int(np.searchsorted(heights, z + TOUCH)) - 1
    if k == heights.size - 1 and k > 0 and z <= heights[-1] + TOUCH:
        k -= 1  # at the head opening: just below it
    return k if 0 <= k < heights.size - 1 else -1


def _segments(
    bottom: float, top: float, heights: np.ndarray, cuts: list[float], least: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Divide the column at openings and closed barriers, join short ends, then divide the longest pieces further."""
    edges = [bottom, top]
    for z in (*heights.tolist(), *cuts):
        if all(abs(z - edge) > TOUCH for edge in edges) and bottom < z < top:
            edges.append(z)
    edges.sort()
    link = [_link_at(0.5 * (a + b), heights) for a, b in pairwise(edges)]
    if len(link) > 1 and link[0] < 0 <= link[1] and edges[1] - edges[0] < STUB:
        del link[0], edges[1]
    if len(link) > 1 and link[-1] < 0 <= link[-2] and edges[-1] - edges[-2] < STUB:
        del link[-1], edges[-2]
    closed = {_link_at(z, heights) for z in cuts} | {-1}
    while len(link) > 1:
        sizes = np.diff(edges)
        i = int(np.argmin([size if k in closed else np.inf for size, k in zip(sizes, link, strict=True)]))
        if sizes[i] >= SHORT or link[i] not in closed:
            break
        into_next = i == 0 or (i + 1 < len(link) and sizes[i + 1] >= sizes[i - 1])
        del link[i], edges[i + 1 if into_next else i]
    lengths = np.diff(edges)
    counts = np.ones(len(lengths), dtype=int)
    while counts.sum() < least:
        counts[np.argmax(lengths / counts)] += 1
    bottoms: list[float] = []
    tops: list[float] = []
    links: list[int] = []
    for (a, b), k, count in zip(pairwise(edges), link, counts, strict=True):
        cut = np.linspace(a, b, count + 1)
        bottoms.extend(cut[:-1])
        tops.extend(cut[1:])
        links.extend([k] * count)
    return np.array(bottoms), np.array(tops), np.array(links, dtype=np.int64)


def _compartments(
    bottom: float, top: float, heights: np.ndarray, barriers: list[float]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the ends of the compartments, the link past each barrier between them, the compartment of each opening.

    A barrier within `SHORT` of an end or of another barrier makes no compartment.
    """
    edges = [bottom]
    for z in sorted(barriers):
        if z - edges[-1] >= SHORT and top - z >= SHORT:
            edges.append(z)
    inner = edges[1:]
    gates = [_link_at(z, heights) for z in inner]
    opening_compartment = [
        sum(j > k if k >= 0 else height > z for z, k in zip(inner, gates, strict=True))
        for j, height in enumerate(heights)
    ]
    return np.array([*edges, top]), np.array(gates, dtype=np.int64), np.array(opening_compartment, dtype=np.int64)


def _single_vents(
    bottom: float,
    top: float,
    openings: tuple[Opening, ...],
    opening_law: np.ndarray,
    cuts: list[float],
    bottoms: np.ndarray,
    tops: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """Return, by segment, area over height [1] and clear height [m] of the only open vent between closed barriers.

    0 where there is none, or several.
    """
    heights = np.array([opening.height for opening in openings])
    edges, _, compartment_of = _compartments(bottom, top, heights, cuts)
    area, clear = np.zeros(len(bottoms)), np.zeros(len(bottoms))
    at = np.searchsorted(edges[1:-1], 0.5 * (bottoms + tops))
    for c in range(len(edges) - 1):
        active = [j for j in range(len(openings)) if compartment_of[j] == c and opening_law[j, kernel.AREA] > 0.0]
        if len(active) == 1:
            vent = openings[active[0]]
            area[at == c] = vent.free_area / (edges[c + 1] - edges[c])
            clear[at == c] = vent.clear_height or vent.gross_area
    return area, clear


def _segment_names(bottoms: np.ndarray, tops: np.ndarray) -> tuple[str, ...]:
    known = {1: ("whole height",), 2: ("base", "top"), 3: ("base", "middle", "top")}
    if len(bottoms) in known:
        return known[len(bottoms)]
    return _labels([f"{a:.2f} to {b:.2f} m" for a, b in zip(bottoms, tops, strict=True)])
