"""A wall cut into finite volumes: nodes, links, membranes, and the faces where results are read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from cavity.errors import Fault, InputError
from cavity.kernels import wall as kernel
from cavity.wall import storage

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from cavity.wallfile.model import Layer, Wall

EDGE_CELL = 0.001  # m, cell at a layer's edges: resolves a wetting front (EN 15026 benchmark asks for <= 1 mm)
GROWTH = 1.6  # ratio of neighbouring cells away from the edges
TIGHT = 1e7  # stands for an infinite diffusion resistance factor
WATERLESS = 1e3  # kg/m2, capacity of a cell that holds no water: never reached


@dataclass(frozen=True)
class FaceReading:
    """Where a face or interface is read: at a face node, or on a link between two cells.

    `node` >= 0: a face node. Otherwise `link` with `before`, the number of the link's membranes outside the place.
    """

    label: str
    kind: str  # surface | interface
    role: str
    position: float  # m from the outer face, cavity included
    outer: str
    inner: str
    node: int
    link: int
    before: int


@dataclass(frozen=True)
class Line:
    """A wall ready for the kernels: the grid, the faces, and the layer each node belongs to (-1: a face)."""

    grid: kernel.Grid
    faces: tuple[FaceReading, ...]
    layer_of_node: NDArray[np.int64]
    position: NDArray[np.float64]  # m, node centres from the outer face, cavity included

    @property
    def nodes(self) -> int:
        """Number of nodes."""
        return len(self.layer_of_node)


def cells(thickness: float, refine: float = 1.0) -> NDArray[np.float64]:
    """Return the cell sizes of a layer: fine at both edges, growing inwards, summing to its thickness.

    Parameters
    ----------
    thickness : float
        Layer thickness. [m]
    refine : float
        2 halves every cell.

    Returns
    -------
    array, (cells,)
        Cell sizes, symmetric. [m]
    """
    edge = EDGE_CELL / refine
    growth = GROWTH ** (1.0 / refine)
    if thickness <= 2.0 * edge:
        return np.full(max(1, round(refine)), thickness / max(1, round(refine)))
    half: list[float] = []
    size = edge
    while sum(half) < 0.5 * thickness:
        half.append(size)
        size *= growth
    sizes = np.array(half + half[::-1])
    return sizes * (thickness / sizes.sum())


def build_line(wall: Wall, *, depth: float, refine: float = 1.0) -> Line:
    """Cut the cladding and the backup wall into nodes with a cavity of this depth between them.

    Parameters
    ----------
    wall : Wall
        The wall as described.
    depth : float
        Cavity depth. [m]
    refine : float
        2 halves every cell, for convergence studies.

    Returns
    -------
    Line

    Raises
    ------
    InputError
        If the cladding or the backup wall has no layer with a thickness.
    """
    return _build(
        [(wall.cladding, "outer face", "back of cladding"), (wall.backup, "outer face of wall", "room face")],
        depth,
        wall.cavity.film_limit,
        bool(wall.run.freezing),
        refine,
    )


def build_solid_line(
    layers: tuple[Layer, ...],
    tables: tuple[storage.MaterialTables, ...] | None = None,
    sizes: tuple[NDArray[np.float64], ...] | None = None,
    *,
    freezing: bool = False,
    refine: float = 1.0,
    film_limit: float = 0.1,
) -> Line:
    """Cut a wall without a cavity, for published cases and for checking single walls.

    Parameters
    ----------
    layers : tuple of Layer
        Outside to inside.
    tables : tuple of MaterialTables, optional
        One per layer, instead of those made from its material row.
    sizes : tuple of array, optional
        Cell sizes of each layer. [m]
    freezing : bool, keyword only
        Whether pore water freezes.
    refine : float
        2 halves every cell.
    film_limit : float
        Water a face holds. [kg/m2]

    Returns
    -------
    Line
    """
    return _build([(layers, "outer face", "room face")], 0.0, film_limit, freezing, refine, tables, sizes)


def _build(
    parts: list[tuple[tuple[Layer, ...], str, str]],
    depth: float,
    film_limit: float,
    freezing: bool,
    refine: float,
    tables: tuple[storage.MaterialTables, ...] | None = None,
    sizes: tuple[NDArray[np.float64], ...] | None = None,
) -> Line:
    u = storage.suction_grid()
    thickness: list[float] = []
    material: list[int] = []
    layer_of: list[int] = []
    centre: list[float] = []
    membranes: dict[int, list[Layer]] = {}
    faces: list[FaceReading] = []
    used: list[Layer] = []
    used_tables: list[storage.MaterialTables] = []
    depth_done = 0.0
    cladding_back = -1
    layer_index = 0
    for part_index, (layers, first_role, last_role) in enumerate(parts):
        solid = [layer for layer in layers if not layer.is_membrane]
        if not solid:
            raise InputError(
                Fault(
                    f"layers between {first_role} and {last_role}",
                    "there is no layer with a thickness, only membranes",
                    ", ".join(layer.name for layer in layers) or "nothing",
                    "at least one board, panel, insulation or masonry layer",
                    "add the layer the membrane is fixed to",
                )
            )
        outside = "outdoors" if part_index == 0 else "cavity"
        inside = "room" if part_index == len(parts) - 1 else "cavity"
        first_row = len(used)
        thickness.append(0.0)
        material.append(first_row)
        layer_of.append(-1)
        centre.append(depth_done)
        faces.append(
            FaceReading(
                first_role, "surface", first_role, depth_done, outside, layers[0].name, len(thickness) - 1, -1, 0
            )
        )
        previous = layers[0].name
        for number, layer in enumerate(layers):
            link = len(thickness) - 1  # link from the last node so far to the next one
            if number:
                faces.append(
                    FaceReading(
                        f"{previous} | {layer.name}", "interface", "interface", depth_done, previous, layer.name,
                        -1, link, len(membranes.get(link, [])),
                    )
                )  # fmt: skip
            previous = layer.name
            if layer.is_membrane:
                membranes.setdefault(link, []).append(layer)
                depth_done += layer.thickness
                layer_index += 1
                continue
            row = len(used)
            used.append(layer)
            used_tables.append(tables[layer_index] if tables else storage.material_tables(layer.material, u))
            cut = sizes[layer_index] if sizes else cells(layer.thickness, refine)
            for size in cut:
                thickness.append(float(size))
                material.append(row)
                layer_of.append(layer_index)
                centre.append(depth_done + 0.5 * float(size))
                depth_done += float(size)
            layer_index += 1
        thickness.append(0.0)
        material.append(len(used) - 1)
        layer_of.append(-1)
        centre.append(depth_done)
        faces.append(
            FaceReading(last_role, "surface", last_role, depth_done, previous, inside, len(thickness) - 1, -1, 0)
        )
        if part_index < len(parts) - 1:
            cladding_back = len(thickness) - 1
            depth_done += depth
    return Line(
        _grid(thickness, material, membranes, used, used_tables, cladding_back, film_limit, freezing),
        tuple(_unique(faces)),
        np.array(layer_of, dtype=np.int64),
        np.array(centre),
    )


def _unique(faces: list[FaceReading]) -> list[FaceReading]:
    """Number labels that repeat, such as two equal interfaces."""
    from dataclasses import replace

    seen: dict[str, int] = {}
    result = []
    for face in faces:
        seen[face.label] = seen.get(face.label, 0) + 1
        count = seen[face.label]
        result.append(face if count == 1 else replace(face, label=f"{face.label} ({count})"))
    return result


def _grid(
    thickness: list[float],
    material: list[int],
    membranes: dict[int, list[Layer]],
    used: list[Layer],
    used_tables: list[storage.MaterialTables],
    cladding_back: int,
    film_limit: float,
    freezing: bool,
) -> kernel.Grid:
    u = storage.suction_grid()
    d = np.array(thickness)
    row = np.array(material, dtype=np.int64)
    n = len(d)
    tables = np.zeros((len(used), len(u), 6))
    for k, found in enumerate(used_tables):
        tables[k, :, kernel.WATER] = found.water
        tables[k, :, kernel.WATER_SLOPE] = found.water_slope
        mu = np.minimum(found.mu, TIGHT)
        tables[k, :, kernel.MU] = mu
        tables[k, :, kernel.MU_SLOPE] = storage.monotone_slopes(u, mu)
        tables[k, :, kernel.THETA] = found.potential
        tables[k, :, kernel.THETA_SLOPE] = found.potential_slope
    holds_liquid = tables[:, -1, kernel.THETA] > 0.0
    link = np.zeros(n - 1, dtype=np.int64)
    for i in range(n - 1):
        if i == cladding_back:
            link[i] = kernel.CAVITY
        elif i in membranes or not (holds_liquid[row[i]] and holds_liquid[row[i + 1]]):
            link[i] = kernel.NO_LIQUID
        else:
            link[i] = kernel.SAME_MATERIAL if row[i] == row[i + 1] else kernel.OTHER_MATERIAL
    flat = [layer for i in range(n - 1) for layer in membranes.get(i, [])]
    first = np.zeros(n, dtype=np.int64)
    first[1:] = np.cumsum([len(membranes.get(i, [])) for i in range(n - 1)])
    variable = [layer for layer in flat if layer.sd_table]
    sd_tables = np.array([storage.membrane_sd(layer, u) for layer in variable]).reshape(len(variable), len(u))
    dry = np.array([layer.material.density * layer.material.specific_heat for layer in used])
    lam = np.array([layer.material.conductivity + layer.rail_conductance * layer.thickness for layer in used])
    extra = np.array([layer.material.moisture_conductivity for layer in used])
    capacity = np.array([_capacity(layer, found) for layer, found in zip(used, used_tables, strict=True)])
    return kernel.Grid(
        thickness=d,
        material=row,
        heat=dry[row] * d,
        conductivity=lam[row],
        moisture_conductivity=extra[row],
        capacity=np.where(d > 0.0, capacity[row] * d, film_limit),
        link=link,
        membrane_first=first,
        membrane_sd=np.array([-1.0 if layer.sd_table else float(layer.sd or 0.0) for layer in flat]),
        membrane_table=np.array([variable.index(layer) if layer.sd_table else -1 for layer in flat], dtype=np.int64),
        sd_tables=sd_tables,
        tables=tables,
        cladding_back=cladding_back,
        freezing=int(freezing),
    )


def _capacity(layer: Layer, found: storage.MaterialTables) -> float:
    """Water content at which a cell drains [kg/m3]."""
    most = max(layer.material.max_saturation, layer.material.free_saturation, float(found.water[-1]) * 1.001)
    return most if most > 0.0 else WATERLESS / max(layer.thickness, 1e-6)
