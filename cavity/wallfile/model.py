"""The wall as frozen dataclasses in SI, which every later stage reads. No file, no unit text here."""

from __future__ import annotations

import difflib
import functools
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, TypeVar

from cavity.constants import RAIL_FLANGE, TOUCH, UNVENTILATED_LIMIT, WELL_VENTILATED_LIMIT
from cavity.errors import Fault, InputError
from cavity.units import COLDEST, HOTTEST, check_range, slip

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

R = TypeVar("R")
THICKEST = 5.0  # m, of a layer
DEEPEST = 1.0  # m, a deeper space is no cavity of a cladding


@dataclass(frozen=True)
class Material:
    """One row of the materials table.

    `sorption` holds (relative humidity 0-1, water content kg/m3) pairs in the hygroscopic range; `free_saturation`
    is the water content at capillary saturation and `max_saturation` with all pores full [kg/m3].
    `mu_table` holds (relative humidity 0-1, diffusion resistance factor) pairs and overrides `mu_dry` / `mu_wet`
    (dry cup: mean RH 25 %, wet cup: mean RH 75 %). `absorption` is the water absorption coefficient
    [kg/(m2 s0.5)]; 0 means no liquid transport. `diffusivity` holds (water content kg/m3, liquid diffusivity m2/s)
    pairs and overrides the estimate from `absorption`.
    """

    name: str
    title: str
    density: float  # kg/m3, dry
    conductivity: float  # W/(m K), dry
    specific_heat: float  # J/(kg K), dry
    mu_dry: float  # -, may be inf
    mu_wet: float  # -, may be inf
    source: str
    group: str = ""
    sorption: tuple[tuple[float, float], ...] = ()
    free_saturation: float = 0.0  # kg/m3; 0: holds no water (metal, glass, foil)
    max_saturation: float = 0.0  # kg/m3
    absorption: float = 0.0  # kg/(m2 s0.5)
    diffusivity: tuple[tuple[float, float], ...] = ()
    mu_table: tuple[tuple[float, float], ...] = ()
    moisture_conductivity: float = 0.0  # W/(m K) per kg/m3 of water
    emissivity: float = 0.9  # -
    wood: bool = False  # judged by wood moisture content
    metal: bool = False  # judged by time of wetness
    mould_class: str = "sensitive"  # very sensitive | sensitive | medium resistant | resistant; the careful default
    thickness: float = 0.0  # m, usual thickness; 0: none is usual
    sd: float | None = None  # m, of a membrane as sold: for a layer that states no s_d
    sd_table: tuple[tuple[float, float], ...] = ()  # (relative humidity 0-1, s_d m) of a membrane as sold
    basis: tuple[tuple[str, str], ...] = ()  # (value or group of values, its basis): `materials.BASIS_KEYS`


@dataclass(frozen=True)
class Frame:
    """Studs or battens of timber (no metal) that fill part of a layer."""

    fraction: float  # 0-1, of the wall area
    material: Material
    width: float = 0.0  # m, of one stud; 0: only the fraction is known
    spacing: float = 0.0  # m, centre to centre; 0: only the fraction is known


@dataclass(frozen=True)
class Layer:
    """One layer, outside to inside. With `sd` or `sd_table` it is a membrane: a vapour resistance only.

    The hourly wall and `material` describe the layer between studs and rails; `wall.uvalue` adds the heat flow
    through these.
    """

    name: str
    material: Material
    thickness: float  # m
    sd: float | None = None  # m, equivalent air layer thickness of a membrane
    sd_table: tuple[tuple[float, float], ...] = ()  # (relative humidity 0-1, s_d m)
    bridge_conductance: float = 0.0  # W/(m2 K), metal through the layer, averaged over the wall area
    bridge_spacing: float = 0.6  # m, distance between those rails: decides how local the cold spots are
    bridge_flange: float = RAIL_FLANGE  # m, width of a rail's flange
    bridge_loss: float = 0.0  # W/(m2 K), linear transmittance of rails over their spacing
    bracket_loss: float = 0.0  # W/(m2 K), point transmittance of brackets times their number per area
    frame: Frame | None = None  # timber studs in the layer

    @property
    def is_membrane(self) -> bool:
        """True where the layer is only a vapour resistance."""
        return self.sd is not None or bool(self.sd_table)


@dataclass(frozen=True)
class Cavity:
    """The drained and ventilated space behind the cladding."""

    depth: float  # m
    blocked: float = 0.0  # -, fraction of the cross-section blocked by battens and brackets
    roughness: float = 0.0  # m, equivalent sand roughness of the surfaces
    emissivity_cladding: float | None = None  # -, back of the cladding; None: the layer's material
    emissivity_wall: float | None = None  # -, exterior surface of the backup wall; None: the layer's material
    film_limit: float = 0.1  # kg/m2, water a vertical surface holds before it runs off
    single_vent_exchange: float = 1.0  # -, factor on the estimated exchange through a single vent; 0: none
    gust_exchange: float = 1.0  # -, factor on the estimated exchange by gusts; 0: none


@dataclass(frozen=True)
class Opening:
    """A way between the cavity and outdoors.

    `gross_area` is the clear area of the hole itself per metre of wall length before any mesh; `porosity` is the
    open fraction of a mesh or perforated strip in it. `free_area` is the product, the free area of a drawing.
    `columns` names the columns it serves; empty: every column that reaches its height.
    """

    name: str
    height: float  # m above the base of the wall
    kind: str  # slot | mesh | perforated | louvre | joint
    gross_area: float  # m2 per m of wall length
    clear_height: float = 0.0  # m, the smaller clear dimension of the hole (slot height); 0: from the area
    porosity: float = 1.0  # -
    wire: float = 0.0  # m, wire diameter of a mesh
    hole: float = 0.0  # m, hole diameter of a perforated strip
    blade_angle: float = 0.0  # degrees, louvre
    discharge: float | None = None  # -, discharge coefficient where the user gives one
    bends: int = 0  # 90 degree bends in the air path
    exposure: str = "face"  # face | soffit | roof edge | table
    cp_shift: float | None = None  # -, added to the wall's pressure coefficient; None: by height (site data)
    cp_table: tuple[tuple[float, float], ...] = ()  # (wind angle from the wall normal deg, Cp)
    columns: tuple[str, ...] = ()
    mesh_factor: float = 1.0  # -, on the loss of the mesh (uncertainty study)

    @property
    def has_mesh(self) -> bool:
        """True where a wire mesh closes it."""
        return self.porosity < 1.0 and self.kind != "perforated"

    @property
    def free_area(self) -> float:
        """Free vent area per metre of wall length, net of a mesh [m2/m]."""
        return self.gross_area * self.porosity


@dataclass(frozen=True)
class Rail:
    """Sub-framing across the air path: air passes only in short gaps between rail lengths, gap x depth per bay."""

    name: str
    heights: tuple[float, ...]  # m above the base of the wall
    gap: float  # m, length of the gap between two rail ends
    bay: float  # m, wall length after which the gaps repeat
    discharge: float = 0.6  # -, sharp-edged gap
    columns: tuple[str, ...] = ()
    gap_length_along_flow: float = 0.0  # m, height of the rail's section; 0: an edge without friction
    gaps: int = 1  # in each bay: 2 where every rail has one at each end
    porosity: float = 1.0  # -, open fraction of a mesh or perforation in the gap
    wire: float = 0.0  # m, of that mesh
    hole: float = 0.0  # m, of that perforation
    rounded: bool = False  # edges
    mesh_factor: float = 1.0  # -, on the loss of the mesh (uncertainty study)


@dataclass(frozen=True)
class Barrier:
    """Closes the cavity except for a residual free area, such as fire detailing above a window."""

    name: str
    height: float  # m above the base of the wall
    free_area: float = 0.0  # m2 per m of wall length; 0: closed
    discharge: float = 0.6
    columns: tuple[str, ...] = ()


@dataclass(frozen=True)
class Column:
    """A vertical strip of the cavity with its own bottom and top."""

    name: str
    bottom: float  # m above the base of the wall
    top: float  # m
    fraction: float = 0.0  # -, of the wall length over which it runs; 0: not known

    @property
    def height(self) -> float:
        """Height of the column [m]."""
        return self.top - self.bottom

    def reaches(self, height: float, margin: float = -TOUCH) -> bool:
        """Return whether a height lies between its ends, by at least `margin` [m]."""
        return self.bottom + margin <= height <= self.top - margin

    def serves(self, names: Sequence[str]) -> bool:
        """Return whether a part that names these columns belongs to it; no names: a part of every column."""
        return not names or self.name in names

    def holds(self, part: Opening | Barrier) -> bool:
        """Return whether an opening or a barrier belongs to it: by the columns it names, and by its height."""
        return self.serves(part.columns) and self.reaches(part.height)

    def crossed_by(self, rail: Rail) -> tuple[float, ...]:
        """Return the heights at which a rail crosses it, between its ends [m]."""
        if not self.serves(rail.columns):
            return ()
        return tuple(height for height in rail.heights if self.bottom + TOUCH < height < self.top - TOUCH)

    def vents(self, openings: Sequence[Opening]) -> tuple[Opening, ...]:
        """Return those of the openings that belong to it, low to high."""
        return tuple(sorted(filter(self.holds, openings), key=lambda opening: opening.height))


@dataclass(frozen=True)
class Window:
    """A window of the elevation, with its ends along the wall and its heights."""

    name: str
    left: float  # m from the left end of the wall, seen from outside
    right: float  # m
    bottom: float  # m above the base of the wall: its sill
    top: float  # m: its head


@dataclass(frozen=True)
class Strip:
    """Where one column of the cavity runs along the wall."""

    name: str
    bottom: float  # m above the base of the wall
    top: float  # m
    spans: tuple[tuple[float, float], ...]  # m, left and right ends


@dataclass(frozen=True)
class Elevation:
    """The wall seen from outside: storeys, windows, and the strips of cavity around the windows."""

    width: float  # m
    floors: tuple[float, ...]  # m above the base of the wall, the top of the wall last
    windows: tuple[Window, ...]
    strips: tuple[Strip, ...]


@dataclass(frozen=True)
class OpeningSet:
    """One choice of openings to compare."""

    name: str
    openings: tuple[Opening, ...]
    rails: tuple[Rail, ...] | None = None  # None: the wall's own rails


@dataclass(frozen=True)
class Site:
    """Site of the wall, for wind and rain."""

    terrain: str = "suburban"  # city | suburban | open | flat (ASHRAE Fundamentals, airflow around buildings)
    building_height: float = 6.0  # m, reference height of the pressure coefficients
    base_height: float = 0.0  # m, base of the wall above the ground
    wall_width: float = 10.0  # m
    side_width: float = 10.0  # m, width of the adjacent wall
    # -, Cp(base) - Cp(head) on the windward wall over its height; None: wind-tunnel profile by height and angle
    cp_difference: float | None = None
    cp_profile: tuple[tuple[float, float], ...] = ()  # (fraction of the height 0-1, Cp shift), overrides the difference
    ground_albedo: float = 0.2  # -
    rain_method: str = "ISO 15927-3"  # or "ASHRAE 160"
    rain_topography: float = 1.0  # -, C_T
    rain_obstruction: float = 1.0  # -, O
    rain_wall_factor: float = 0.4  # -, W
    rain_exposure: str = "medium"  # ASHRAE 160: severe | medium | sheltered
    rain_deposition: float = 0.35  # -, ASHRAE 160 F_D


@dataclass(frozen=True)
class Indoor:
    """Indoor climate model: EN 15026 | ISO 13788 | ASHRAE 160 | constant | monthly | file."""

    model: str = "EN 15026"
    load: str = "normal"  # EN 15026: normal | high
    humidity_class: int = 3  # ISO 13788: 1 to 5
    bedrooms: int = 3  # ASHRAE 160 intermediate method
    air_changes: float = 0.2  # 1/h, ASHRAE 160 intermediate method
    volume: float = 500.0  # m3, ASHRAE 160 intermediate method
    temperature: tuple[float, ...] = (293.15,)  # K, one value or twelve
    relative_humidity: tuple[float, ...] = (0.5,)  # 0-1, one value or twelve
    file: str = ""  # hourly csv, absolute path
    humidity_shift: float = 0.0  # -, added to the relative humidity of any model (uncertainty study)


@dataclass(frozen=True)
class Wetting:
    """Moisture sources other than vapour diffusion from both sides."""

    rain_penetration: float = 0.01  # -, fraction of driving rain that passes the cladding (ASHRAE 160)
    rain_penetration_layer: int = 0  # index of the backup layer whose exterior surface receives it
    leak_flow: float = 0.0  # kg/(m2 s), indoor air that reaches a chosen layer
    leak_layer: int | None = None  # index of the backup layer whose exterior surface it reaches
    leak_q50: float = 0.0  # m3/(m2 s) at 50 Pa, instead of leak_flow: the leak follows the pressure of each hour
    leak_height: float = 0.0  # m, height of the air space indoors that is connected; 0: the building height


@dataclass(frozen=True)
class Run:
    """How the year is computed."""

    segments: int = 3  # vertical pieces of a column
    start_humidity: float = 0.8  # 0-1, equilibrium humidity of all layers at the start
    start_month: int = 10  # October: the first winter finds the wall as built
    construction_water: tuple[tuple[str, float], ...] = ()  # (layer name, water content kg/m3)
    max_years: int = 5
    freezing: bool = True
    stud_line: bool = False  # a second line through the studs, for dew point and mould


@dataclass(frozen=True)
class Rule:
    """A rule of the user for the rule check, in SI: m, or m2 per m of wall for areas; None: no bound."""

    document: str
    quantity: str
    at_least: float | None = None
    at_most: float | None = None
    clause: str = ""
    edition: str = ""


@dataclass(frozen=True)
class Wall:
    """One complete wall: all that `simulate` needs apart from the weather."""

    name: str
    cladding: tuple[Layer, ...]  # outside to inside
    cavity: Cavity
    backup: tuple[Layer, ...]  # outside to inside
    columns: tuple[Column, ...]
    opening_sets: tuple[OpeningSet, ...]
    depths: tuple[float, ...]  # m, cavity depths to compare
    orientation: float = 180.0  # degrees clockwise from north, direction the wall faces
    tilt: float = 90.0  # degrees from horizontal
    rails: tuple[Rail, ...] = ()
    barriers: tuple[Barrier, ...] = ()
    site: Site = field(default_factory=Site)
    indoor: Indoor = field(default_factory=Indoor)
    wetting: Wetting = field(default_factory=Wetting)
    run: Run = field(default_factory=Run)
    solar_absorptance: float = 0.6  # -, exterior surface of the cladding
    emissivity: float = 0.9  # -, exterior surface of the cladding, longwave
    limits: tuple[tuple[str, float], ...] = ()  # thresholds of criteria set by the user
    variants: tuple[tuple[str, str, Layer], ...] = ()  # (variant name, replaced layer name, layer)
    uncertain: tuple[tuple[str, float, float], ...] = ()  # (input name, low, high)
    rules: tuple[Rule, ...] = ()  # of the user, for the rule check
    elevation: Elevation | None = None  # None: the columns are listed one by one
    description: str = ""
    invented: bool = False
    source: str = ""  # path of the wall file
    text: str = ""  # the wall file as read, for the report
    warnings: tuple[str, ...] = ()

    @property
    def layers(self) -> tuple[Layer, ...]:
        """Cladding and backup layers, outside to inside."""
        return self.cladding + self.backup

    def opening_set(self, name: str) -> OpeningSet:
        """Return the opening set called `name`; InputError lists the known ones."""
        return _named(self.opening_sets, name, f"{self.source or self.name}, opening set", "no such set of openings")

    def column(self, name: str) -> Column:
        """Return the column called `name`; InputError lists the known ones."""
        return _named(self.columns, name, f"{self.source or self.name}, column", "no such column")

    def rails_of(self, opening_set: OpeningSet) -> tuple[Rail, ...]:
        """Return the rails of an opening set, else those of the wall; of all columns."""
        return self.rails if opening_set.rails is None else opening_set.rails

    def case(self, *, opening_set: str | None = None, depth: float | None = None, column: str | None = None) -> Case:
        """Return the wall with one set of openings, one column and one depth: the input of every computation.

        Parameters
        ----------
        opening_set, column : str, keyword only
            Names; None or empty: the first.
        depth : float, keyword only
            Cavity depth, above 0 and at most 1 m; None: that of the wall. [m]

        Returns
        -------
        Case

        Raises
        ------
        InputError
            If a name is not known or the depth is not possible.
        """
        faults: list[Fault] = []
        vent_set, strip = self.opening_sets[0], self.columns[0]
        try:
            vent_set = self.opening_set(opening_set) if opening_set else vent_set
        except InputError as error:
            faults.extend(error.faults)
        try:
            strip = self.column(column) if column else strip
        except InputError as error:
            faults.extend(error.faults)
        metres = self.cavity.depth if depth is None else float(depth)
        if not 0.0 < metres <= DEEPEST:
            fix = slip(metres, "m", 1e-3, DEEPEST)
            faults.append(
                Fault(
                    f"{self.source or self.name}, cavity depth",
                    "the cavity depth is not possible",
                    f"{metres:g} m",
                    f"above 0, at most {DEEPEST:g} m",
                    fix,
                )
            )
        for where, value, unit, low, high in self._plain_numbers():
            try:
                check_range(f"{self.source or self.name}, {where}", value, unit, low, high)
            except InputError as error:
                faults.extend(error.faults)
        if faults:
            raise InputError(*faults)
        return Case(self, vent_set, strip, metres)

    def _plain_numbers(self) -> Iterator[tuple[str, float, str, float, float]]:
        """Return numbers that a wall built in Python may have in a wrong unit: name, value, unit, range."""
        for layer in self.layers:
            yield f"layer {layer.name!r}, thickness", layer.thickness, "m", 0.0, THICKEST
        for name, value in (
            ("solar_absorptance", self.solar_absorptance),
            ("emissivity", self.emissivity),
            ("cavity.blocked", self.cavity.blocked),
            ("wetting.rain_penetration", self.wetting.rain_penetration),
            ("run.start_humidity", self.run.start_humidity),
            *(("indoor.relative_humidity", value) for value in self.indoor.relative_humidity),
        ):
            yield name, value, "1", 0.0, 1.0
        for value in self.indoor.temperature:
            yield "indoor.temperature", value, "K", COLDEST, HOTTEST


@dataclass(frozen=True)
class Case:
    """One wall with one set of openings, one column and its depth, from `Wall.case`: the input of every computation."""

    wall: Wall
    opening_set: OpeningSet
    column: Column
    depth: float  # m

    def on(self, wall: Wall) -> Case:
        """Return the case with the same names and depth of another wall, such as a changed copy of this one."""
        return wall.case(opening_set=self.opening_set.name, depth=self.depth, column=self.column.name)

    @property
    def openings(self) -> tuple[Opening, ...]:
        """Openings of the column, low to high."""
        return self.column.vents(self.opening_set.openings)

    @property
    def opening_area(self) -> float:
        """Free vent area of the column per metre of wall length, net of meshes [m2/m]."""
        return sum(opening.free_area for opening in self.openings)

    @property
    def rails(self) -> tuple[Rail, ...]:
        """Rails of the set, else those of the wall; of all columns."""
        return self.wall.rails_of(self.opening_set)

    @property
    def barriers(self) -> tuple[Barrier, ...]:
        """Barriers of the column."""
        return tuple(filter(self.column.holds, self.wall.barriers))

    @property
    def emissivities(self) -> tuple[float, float]:
        """Longwave emissivity of the back of the cladding and of the exterior surface of the backup wall [1]."""
        wall = self.wall
        back, front = wall.cavity.emissivity_cladding, wall.cavity.emissivity_wall
        return (
            wall.cladding[-1].material.emissivity if back is None else back,
            wall.backup[0].material.emissivity if front is None else front,
        )

    @property
    def exchange_emissivity(self) -> float:
        """Emissivity of the longwave exchange between the two surfaces of the cavity [1]."""
        return exchange_emissivity(*self.emissivities)

    def __str__(self) -> str:
        return f"wall {self.wall.name!r}, openings {self.opening_set.name!r}, depth {self.depth * 1e3:g} mm"


_Part = TypeVar("_Part", OpeningSet, Column)


def _named(parts: Sequence[_Part], name: str, where: str, problem: str) -> _Part:
    """Return the part of this name; the error lists the known names and suggests the nearest."""
    for part in parts:
        if part.name == name:
            return part
    known = [part.name for part in parts]
    near = difflib.get_close_matches(name, known, 1)
    fix = f"did you mean {near[0]!r}?" if near else "use a listed name"
    raise InputError(Fault(where, problem, name[:80], ", ".join(known), fix))


def exchange_emissivity(emissivity_1: float, emissivity_2: float) -> float:
    """Return the emissivity of the longwave exchange between two parallel surfaces, 1 / (1/e1 + 1/e2 - 1) [1]."""
    return 1.0 / (1.0 / emissivity_1 + 1.0 / emissivity_2 - 1.0)


def ventilation_class(opening_area: float) -> str:
    """Return the class of a vertical air layer by the area of its openings to outdoors.

    Parameters
    ----------
    opening_area : float
        Free area of all openings per metre of wall length. [m2/m]

    Returns
    -------
    str
        "unventilated" up to 500 mm2/m, "well ventilated" from 1500 mm2/m, "slightly ventilated" between.

    References
    ----------
    ISO 6946:1996 clause 5.3, read in a secondary text; ISO 6946:2017, 6.9.2 to 6.9.4 (clauses read, detail memory).
    """
    if opening_area <= UNVENTILATED_LIMIT * (1.0 + 1e-9):  # rounding does not put a vent of exactly 500 mm2 above it
        return "unventilated"
    if opening_area >= WELL_VENTILATED_LIMIT * (1.0 - 1e-9):
        return "well ventilated"
    return "slightly ventilated"


def takes_wall(function: Callable[..., R]) -> Callable[..., R]:
    """Let a function of a case accept a wall as well, with the keywords of `Wall.case`."""

    @functools.wraps(function)
    def called(
        case: Case | Wall,
        *more: Any,
        opening_set: str | None = None,
        depth: float | None = None,
        column: str | None = None,
        **keywords: Any,
    ) -> R:
        if isinstance(case, Wall):
            case = case.case(opening_set=opening_set, depth=depth, column=column)
        elif (opening_set, depth, column) != (None, None, None):
            raise TypeError("opening_set, depth and column are for a wall; a case has them already")
        return function(case, *more, **keywords)

    return called
