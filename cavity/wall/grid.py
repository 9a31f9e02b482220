"""A wall divided into finite volumes: nodes, links, membranes, and the surfaces and interfaces with results."""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from cavity.constants import HOUR, ISO_AIR_PERMEABILITY
from cavity.errors import Fault, InputError
from cavity.kept import recall
from cavity.kernels import film, potential, wall_section
from cavity.wall import storage

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from cavity.wallfile.model import Case, Layer, Material

EDGE_SMALLEST, EDGE_LARGEST = 2e-4, 5e-3  # m, bounds of the cell at a layer's edge
EDGE_FRACTION = 0.35  # of the depth that moisture reaches in an hour: our own choice, see the convergence study
GROWTH = 1.8  # ratio of neighbouring cells away from the edges
TIGHT = 1e7  # largest diffusion resistance factor, in place of an infinite one
THIN_R = 1e-4  # m2 K/W, least thermal resistance of a membrane: its two sides differ by 1 mK at 10 W/m2
WATERLESS = 1e3  # kg/m2, capacity of a cell that holds no water: never reached
ENCLOSED = 1.0  # kg/m2, water or ice between two capillary layers in contact, a joint of 1 mm: our own assumption


@dataclass(frozen=True)
class FaceReading:
    """A surface or interface: a node of the line."""

    label: str
    kind: str  # surface | interface
    role: str
    position: float  # m from the exterior surface, cavity included
    outer: str
    inner: str
    node: int


@dataclass(frozen=True)
class Line:
    """A line through the wall for the kernels: grid, surfaces and interfaces, and the layer of each node.

    `layer_of_node` is -1 at the four surfaces; an interface belongs to the layer outside it, or inside it where that is
    a membrane. Its film is not water of the layer.
    """

    grid: wall_section.WallSection1D
    faces: tuple[FaceReading, ...]
    layer_of_node: NDArray[np.int64]
    position: NDArray[np.float64]  # m, node centres from the exterior surface, cavity included

    @property
    def nodes(self) -> int:
        """Number of nodes."""
        return len(self.layer_of_node)


def edge_cell(tables: storage.MaterialTables) -> float:
    """Return the cell size at the edges of a material [m], a fraction of the depth moisture reaches in an hour (E61).

    Diffusivity at 80 % relative humidity and 15 degC: vapour permeability x saturation pressure over the slope of the
    isotherm, plus the liquid diffusivity.
    """
    u = storage.suction_grid()
    k = int(np.searchsorted(u, storage.from_humidity(0.8)))
    if tables.water_slope[k] <= 0.0:
        return EDGE_LARGEST
    humidity_slope = 0.8 * -np.log(0.8)  # d(RH)/du
    vapour = ISO_AIR_PERMEABILITY / min(tables.mu[k], TIGHT) * 1705.0 * humidity_slope
    diffusivity = (vapour + tables.potential_slope[k]) / tables.water_slope[k]
    return float(np.clip(EDGE_FRACTION * np.sqrt(diffusivity * HOUR), EDGE_SMALLEST, EDGE_LARGEST))


def cells(thickness: float, edge: float, refine: float = 1.0) -> NDArray[np.float64]:
    """Return the cell sizes of a layer: fine at both edges, larger inside; their sum is its thickness.

    Parameters
    ----------
    thickness : float
        Layer thickness. [m]
    edge : float
        Size of the cells at the edges. [m]
    refine : float
        2 halves every cell. [1]

    Returns
    -------
    array, (cells,)
        Cell sizes, symmetric. [m]
    """
    edge /= refine
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


def build_line(case: Case, *, refine: float = 1.0) -> Line:
    """Divide the cladding and the backup wall into nodes, with the cavity between them.

    Parameters
    ----------
    case : Case
        From `Wall.case`.
    refine : float
        2 halves every cell, for convergence studies. [1]

    Returns
    -------
    Line

    Raises
    ------
    InputError
        If the cladding or the backup wall has no layer with a thickness.
    """
    wall = case.wall
    return _build(
        [(wall.cladding, "outer face", "back of cladding"), (wall.backup, "outer face of wall", "room face")],
        case.depth,
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
    """Divide a wall without a cavity into nodes, for published cases and single walls.

    Parameters
    ----------
    layers : tuple of Layer
        Outside to inside.
    tables : tuple of MaterialTables, optional
        One per layer, instead of those of its material.
    sizes : tuple of array, optional
        Cell sizes of each layer. [m]
    freezing : bool, keyword only
        Whether pore water freezes.
    refine : float
        2 halves every cell. [1]
    film_limit : float
        Water that a surface can hold. [kg/m2]

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
    rows: list[tuple[float, int, int, int]] = []  # thickness, table row outside, inside, layer
    centre: list[float] = []
    membranes: dict[int, Layer] = {}  # by link
    faces: list[FaceReading] = []
    used: list[Layer] = []
    used_tables: list[storage.MaterialTables] = []
    used_cubics: list[NDArray[np.float64]] = []
    reached = 0.0
    cladding_back = -1
    index = 0

    def add(size: float, left: int, right: int, layer: int) -> None:
        rows.append((size, left, right, layer))
        centre.append(reached + 0.5 * size)

    for part, (layers, first_role, last_role) in enumerate(parts):
        if all(layer.is_membrane for layer in layers):
            raise InputError(
                Fault(
                    "cladding" if part < len(parts) - 1 else "backup",
                    "there is no layer with a thickness, only membranes",
                    ", ".join(layer.name for layer in layers) or "nothing",
                    "at least one board, panel, insulation or masonry layer",
                    "add the layer to which the membrane is fixed",
                )
            )
        table_row = {}  # of each solid layer of this part, by position
        for number, layer in enumerate(layers):
            if not layer.is_membrane:
                table_row[number] = len(used)
                used.append(layer)
                # rain wets the cladding, and a backup wall without a membrane in front; elsewhere water redistributes.
                # Adjacent layers of one material are treated alike
                exposed = part == 0 or all(other.material == layer.material for other in layers[:number])
                if tables:
                    of_layer, cubics = tables[index + number], _cubics_of(tables[index + number])
                else:
                    of_layer, cubics = _tables_of(layer.material, not exposed)
                used_tables.append(of_layer)
                used_cubics.append(cubics)
        for number, layer in enumerate(layers):
            # surface outside this layer: liquid properties of the nearest solid layers
            before = [table_row[k] for k in range(number) if k in table_row]
            behind = [table_row[k] for k in range(number, len(layers)) if k in table_row]
            left = before[-1] if before else behind[0]
            right = behind[0] if behind else before[-1]
            outer = layers[number - 1] if number else None
            owner = -1 if outer is None else index + number - (1 if not outer.is_membrane else 0)
            node = len(rows)
            add(0.0, left, right, owner)
            if outer is None:
                label, role, name = first_role, first_role, "outdoors" if part == 0 else "cavity"
            else:
                label, role, name = f"{outer.name} | {layer.name}", "interface", outer.name
            kind = "surface" if outer is None else "interface"
            faces.append(FaceReading(label, kind, role, reached, name, layer.name, node))
            if layer.is_membrane:
                membranes[node] = layer
                reached += layer.thickness
                continue
            cell_sizes = (
                sizes[index + number]
                if sizes
                else cells(layer.thickness, edge_cell(used_tables[table_row[number]]), refine)
            )
            for size in cell_sizes:
                add(float(size), table_row[number], table_row[number], index + number)
                reached += float(size)
        last = max(table_row.values())
        add(0.0, last, last, -1)
        inside = "room" if part == len(parts) - 1 else "cavity"
        faces.append(FaceReading(last_role, "surface", last_role, reached, layers[-1].name, inside, len(rows) - 1))
        if part < len(parts) - 1:
            cladding_back = len(rows) - 1
            reached += depth
        index += len(layers)
    return Line(
        _grid(rows, membranes, used, used_tables, np.array(used_cubics), cladding_back, film_limit, freezing),
        tuple(_unique(faces)),
        np.array([row[3] for row in rows], dtype=np.int64),
        np.array(centre),
    )


@lru_cache(maxsize=256)
def _tables_of(material: Material, redistribution: bool) -> tuple[storage.MaterialTables, NDArray[np.float64]]:
    """Return the tables of a material and their cubics, made once for all cases; scipy loads for new ones only."""
    import xarray as xr

    def made() -> xr.Dataset:
        tables = storage.material_tables(material, storage.suction_grid(), redistribution=redistribution)
        columns = {field.name: ("grid", getattr(tables, field.name)) for field in fields(tables)}
        return xr.Dataset(columns | {"cubics": (("grid", "coefficient"), _cubics_of(tables))})

    kept = recall(lambda: f"tables of {material} {redistribution}", made)
    tables = storage.MaterialTables(*(kept[field.name].to_numpy() for field in fields(storage.MaterialTables)))
    return tables, kept["cubics"].to_numpy()


def _cubics_of(tables: storage.MaterialTables) -> NDArray[np.float64]:
    """Return the table of a layer as the kernel reads it, (grid, TABLE_COLUMNS)."""
    u = storage.suction_grid()
    mu = np.minimum(tables.mu, TIGHT)
    cubics = np.zeros((len(u), potential.TABLE_COLUMNS))
    for column, values, slopes in (
        (potential.WATER_CONTENT, tables.water, tables.water_slope),
        (potential.MU, mu, storage.monotone_slopes(u, mu)),
        (potential.THETA, tables.potential, tables.potential_slope),
    ):
        cubics[:, column : column + 4] = _cubics(values, slopes * potential.U_STEP)
    return cubics


def _unique(faces: list[FaceReading]) -> list[FaceReading]:
    """Number repeated labels, such as those of two equal interfaces."""
    from dataclasses import replace

    seen: dict[str, int] = {}
    result = []
    for face in faces:
        seen[face.label] = seen.get(face.label, 0) + 1
        count = seen[face.label]
        result.append(face if count == 1 else replace(face, label=f"{face.label} ({count})"))
    return result


def _grid(
    rows: list[tuple[float, int, int, int]],
    membranes: dict[int, Layer],
    used: list[Layer],
    used_tables: list[storage.MaterialTables],
    tables: NDArray[np.float64],
    cladding_back: int,
    film_limit: float,
    freezing: bool,
) -> wall_section.WallSection1D:
    d = np.array([row[0] for row in rows])
    left = np.array([row[1] for row in rows], dtype=np.int64)
    right = np.array([row[2] for row in rows], dtype=np.int64)
    n = len(d)
    capillary = tables[:, -1, potential.THETA] > 0.0
    face = d == 0.0
    link = np.full(n - 1, wall_section.DRY_LINK, dtype=np.int64)
    membrane_R, membrane_sd = np.zeros(n - 1), np.zeros(n - 1)
    membrane_table = np.full(n - 1, -1, dtype=np.int64)
    permeance: list[Any] = []
    for i in range(n - 1):
        if i == cladding_back:
            link[i] = wall_section.CAVITY
        elif i in membranes:
            layer = membranes[i]
            membrane_R[i] = max(layer.thickness / layer.material.conductivity, THIN_R)
            membrane_sd[i] = float(layer.sd or 0.0)  # a table takes precedence, see set_membranes
            if layer.sd_table:
                membrane_table[i] = len(permeance)
                permeance.append(storage.membrane_permeance(layer))
        else:
            cell = left[i] if not face[i] else left[i + 1] if not face[i + 1] else right[i]
            link[i] = wall_section.WET_LINK if capillary[cell] else wall_section.DRY_LINK
    # water or ice between two capillary layers in contact does not run off as on an open surface
    enclosed = face & capillary[left] & capillary[right]
    enclosed[0] = enclosed[-1] = False
    for i in range(1, n - 1):
        if face[i] and (i in membranes or i - 1 in membranes or cladding_back in (i, i - 1)):
            enclosed[i] = False
    absorbs = face & (np.append(link, wall_section.DRY_LINK) == wall_section.WET_LINK) | face & (
        np.insert(link, 0, wall_section.DRY_LINK) == wall_section.WET_LINK
    )
    sheds_out, sheds_in = _shedding(face, left, right, used, capillary, tables, link, membranes)
    sheds = sheds_out >= 0
    dry = np.array([layer.material.density * layer.material.specific_heat for layer in used])
    lam = np.array([layer.material.conductivity for layer in used])  # between studs and rails
    extra = np.array([layer.material.moisture_conductivity for layer in used])
    capacity = np.array([_capacity(layer, of_layer) for layer, of_layer in zip(used, used_tables, strict=True)])
    return wall_section.WallSection1D(
        thickness=d,
        left=left,
        right=right,
        heat_capacity=dry[left] * d,
        conductivity=lam[left],
        moisture_conductivity=extra[left],
        max_water=np.where(
            face,
            np.where(sheds, WATERLESS, np.where(enclosed, max(ENCLOSED, film_limit), film_limit)),
            capacity[left] * d,
        ),
        film_scale=np.where(face | sheds, film.SCALE, 0.0),
        film_start=np.where(absorbs, film.FULL, film.START),
        sheds_out=sheds_out,
        sheds_in=sheds_in,
        link=link,
        per_distance=np.where(link == wall_section.WET_LINK, 2.0 / np.maximum(d[:-1] + d[1:], 1e-12), 0.0),
        membrane_R=membrane_R,
        membrane_sd=membrane_sd,
        membrane_table=membrane_table,
        permeance=np.array(permeance).reshape(len(permeance), -1, 4) if permeance else np.zeros((0, 1, 4)),
        tables=tables,
        cladding_back=cladding_back,
        freezing=int(freezing),
    )


def _shedding(
    face: NDArray[np.bool_],
    left: NDArray[np.int64],
    right: NDArray[np.int64],
    used: list[Layer],
    capillary: NDArray[np.bool_],
    tables: NDArray[np.float64],
    link: NDArray[np.int64],
    membranes: dict[int, Layer],
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the outer and inner surface to which each node passes its film, (nodes,) each; -1: the node keeps it.

    Water that condenses inside a layer without capillary suction goes to the colder surface of the adjacent layers of
    that material. Vapour-tight layers have no such water.
    """
    n = len(face)
    tight = tables[:, :, potential.MU].min(axis=1) >= TIGHT

    def inside(i: int) -> bool:
        """Whether the node belongs to such a layer, or lies between two layers of one material."""
        if capillary[left[i]] or tight[left[i]]:
            return False
        if not face[i]:
            return True
        separated = (
            i in (0, n - 1) or i in membranes or i - 1 in membranes or wall_section.CAVITY in (link[i - 1], link[i])
        )
        return not separated and used[left[i]].material == used[right[i]].material

    out, inner = np.full(n, -1, dtype=np.int64), np.full(n, -1, dtype=np.int64)
    within = [inside(i) for i in range(n)]
    for i in range(n):
        if within[i]:
            out[i] = out[i - 1] if within[i - 1] else i - 1
    for i in range(n - 1, -1, -1):
        if within[i]:
            inner[i] = inner[i + 1] if within[i + 1] else i + 1
    return out, inner


def _cubics(values: NDArray[np.float64], rises: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the cubics of the intervals, (points, 4), from values and slopes times the interval; last one constant."""
    out = np.zeros((len(values), 4))
    out[:, 0] = values
    step = np.diff(values)
    out[:-1, 1] = rises[:-1]
    out[:-1, 2] = 3.0 * step - 2.0 * rises[:-1] - rises[1:]
    out[:-1, 3] = rises[:-1] + rises[1:] - 2.0 * step
    return out


def _capacity(layer: Layer, tables: storage.MaterialTables) -> float:
    """Water content at which a cell drains [kg/m3]."""
    most = max(layer.material.max_saturation, layer.material.free_saturation, float(tables.water[-1]) * 1.001)
    return most if most > 0.0 else WATERLESS / max(layer.thickness, 1e-6)
