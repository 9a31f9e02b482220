"""The wall file as the user writes it: every section and key, its meaning, unit and bounds.

The descriptions are the documentation of the keys. `reader` checks a file against `WallFile`, and `build` makes the
`model.Wall` from it.
"""

from __future__ import annotations

from typing import Annotated, Any, cast

from pydantic import BaseModel, ConfigDict, Field

from cavity.constants import ICE_POINT, MOULD_CLASSES, RAIL_FLANGE
from cavity.wallfile.faults import leaf_of
from cavity.wallfile.inputs import INPUTS
from cavity.wallfile.values import (
    Flag,
    Fraction,
    Height,
    Leaf,
    Many,
    Month,
    Number,
    Orientation,
    Quantity,
    Table,
    Text,
    Water,
    Word,
)

KINDS = ("slot", "mesh", "perforated", "louvre", "joint")
UNNAMED = Text(60)

Name = Annotated[str, UNNAMED]
Elevation = Annotated[float, Quantity("m", "3.0 m", -50.0, 500.0)]
Thickness = Annotated[float | None, Quantity("m", "12.5 mm", 1e-5, 2.0)]
Discharge = Annotated[float, Number(0.1, 1.0, "0.6")]
Sd = Quantity("m", "2 m", 0.001, 10000.0)
Mu = Number(0.1, 1e6, "50", infinite=True)
VentArea = Quantity("m2/m", "50 cm2/m", 1e-6, 2.0)
Columns = Annotated[tuple[str, ...], Many(UNNAMED)]


def described(text: str, default: object = ...) -> Any:
    """Return the Field of a key: its description, and its default where the key may be omitted."""
    return Field(default, description=text)


class Section(BaseModel):
    """Base of all sections: unknown keys are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class WallSection(Section):
    """[wall]: name and orientation of the wall."""

    name: Annotated[str, Text(80)] = described("Name of the wall, shown in tables and reports.")
    description: Annotated[str, Text(2000, lines=True)] = described("A few sentences about the wall.", "")
    invented: Annotated[bool, Flag()] = described("true for a fictitious building; reports then say so.", False)
    orientation: Annotated[float, Orientation()] = described("Direction the wall faces.", 180.0)
    tilt: Annotated[float, Quantity("deg", "90 deg", 45.0, 135.0)] = described(
        "Slope from horizontal; a wall is 90. Heights on a sloping wall count along its slope.", 90.0
    )


class SiteSection(Section):
    """[site]: wind, rain and ground around the wall."""

    terrain: Annotated[str, Word(("city", "suburban", "open", "flat"))] = described(
        "Surroundings for the wind profile (ASHRAE Fundamentals, airflow around buildings): city centre, suburban or "
        "wooded, open country, flat or by the sea.",
        "suburban",
    )
    building_height: Annotated[float, Quantity("m", "6 m", 2.0, 500.0)] = described(
        "Height of the building: reference height of the wind pressure and of its profile over the wall.",
        6.0,
    )
    base_height: Annotated[float, Quantity("m", "0.3 m", 0.0, 490.0)] = described(
        "Base of the wall above the ground.", 0.0
    )
    wall_width: Annotated[float, Quantity("m", "10 m", 0.5, 1000.0)] = described("Width of this wall.", 10.0)
    side_width: Annotated[float, Quantity("m", "10 m", 0.5, 1000.0)] = described("Width of the adjacent wall.", 10.0)
    cp_difference: Annotated[float | None, Number(-2.0, 2.0, "0.1")] = described(
        "Instead of the wind-tunnel profile by height and angle: wind pressure coefficient at the base of the wall "
        "minus that at its head, windward, in a straight line between. 0.05, 0.1, 0.3: the band of `uncertainty`.",
        None,
    )
    cp_profile: Annotated[tuple[tuple[float, float], ...], Table(Fraction(), Number(-2.0, 2.0, "-0.05"), rows=2)] = (
        described(
            "Instead of both: [fraction of the wall height, shift of the pressure coefficient from the wall's mean].",
            (),
        )
    )
    ground_albedo: Annotated[float, Fraction()] = described("Fraction of the sun that the ground reflects.", 0.2)
    rain_method: Annotated[str, Word(("ISO 15927-3", "ASHRAE 160"))] = described("Driving rain method.", "ISO 15927-3")
    rain_topography: Annotated[float, Number(0.5, 2.0, "1.0")] = described("ISO 15927-3 topography coefficient.", 1.0)
    rain_obstruction: Annotated[float, Number(0.2, 1.0, "1.0")] = described(
        "ISO 15927-3 obstruction factor: 0.2 close behind others, 1.0 nothing in front.", 1.0
    )
    rain_wall_factor: Annotated[float, Number(0.2, 1.0, "0.4")] = described(
        "ISO 15927-3 wall factor, 0.2 to 0.5 in its table: two storeys with eaves 0.3, three storeys or a gable 0.4.",
        0.4,
    )
    rain_exposure: Annotated[str, Word(("severe", "medium", "sheltered"))] = described("ASHRAE 160 exposure.", "medium")
    rain_deposition: Annotated[float, Number(0.05, 1.0, "0.35")] = described(
        "ASHRAE 160 rain deposition factor: 0.35 below a steep roof, 0.5 below a low slope, 1.0 with run-off.", 0.35
    )


class FinishSection(Section):
    """[finish]: the exterior surface of the cladding."""

    solar_absorptance: Annotated[float, Fraction()] = described(
        "Fraction of the sun the surface absorbs: white 0.3, grey 0.6, dark 0.9.", 0.6
    )
    emissivity: Annotated[float, Fraction(0.01, 1.0, "90 %")] = described("Longwave emissivity of the surface.", 0.9)


class MaterialValues(Section):
    """Values of a material that a layer may override."""

    density: Annotated[float | None, Quantity("kg/m3", "1400 kg/m3", 1.0, 20000.0)] = described("Dry density.", None)
    conductivity: Annotated[float | None, Quantity("W/(m K)", "0.25 W/(m K)", 0.005, 500.0)] = described(
        "Thermal conductivity, dry.", None
    )
    specific_heat: Annotated[float | None, Quantity("J/(kg K)", "1000 J/(kg K)", 100.0, 5000.0)] = described(
        "Specific heat capacity, dry.", None
    )
    mu: Annotated[float | None, Mu] = described("Vapour diffusion resistance factor, dry and wet alike.", None)
    mu_dry: Annotated[float | None, Mu] = described("Vapour diffusion resistance factor, dry cup.", None)
    mu_wet: Annotated[float | None, Mu] = described("Vapour diffusion resistance factor, wet cup.", None)
    mu_table: Annotated[tuple[tuple[float, float], ...], Table(Fraction(), Mu, rows=2)] = described(
        "[relative humidity, mu] pairs; override mu_dry and mu_wet.", ()
    )
    sorption: Annotated[tuple[tuple[float, float], ...], Table(Fraction(), Water())] = described(
        "Sorption isotherm: [relative humidity, water content] pairs, in kg/m3 or % of the dry mass.", ()
    )
    free_saturation: Annotated[float | None, Water()] = described(
        "Water content after capillary uptake; without this and sorption the material holds no water.", None
    )
    max_saturation: Annotated[float | None, Water()] = described("Water content with all pores full.", None)
    absorption: Annotated[float | None, Quantity("kg/(m2 s0.5)", "0.02 kg/(m2 s0.5)", 0.0, 5.0)] = described(
        "Water absorption coefficient; 0: no liquid transport.", None
    )
    diffusivity: Annotated[
        tuple[tuple[float, float], ...], Table(Water(), Quantity("m2/s", "1e-9 m2/s", 0.0, 1e-3))
    ] = described("[water content, liquid diffusivity] pairs; override the estimate from absorption.", ())
    moisture_conductivity: Annotated[float | None, Quantity("W/(m K)/(kg/m3)", "0.002 W/(m K)/(kg/m3)", 0.0, 0.1)] = (
        described("Growth of the conductivity with water.", None)
    )
    emissivity: Annotated[float | None, Fraction(0.01, 1.0, "90 %")] = described(
        "Longwave emissivity of a bare surface.", None
    )
    mould_class: Annotated[str | None, Word(MOULD_CLASSES)] = described(
        "Class of the mould index; default for a material of your own: that of its kind, else sensitive.", None
    )


class MaterialEntry(MaterialValues):
    """[material.NAME]: a material of your own, or a row of the built-in table."""

    title: Annotated[str, UNNAMED] = described("Name shown in reports; default: NAME.", "")
    group: Annotated[str, UNNAMED] = described("Heading in the table of materials.", "")
    also: Annotated[tuple[str, ...], Many(UNNAMED)] = described("Other words for it, used in suggestions.", ())
    wood: Annotated[bool, Flag()] = described("Judged by wood moisture content.", False)
    metal: Annotated[bool, Flag()] = described("Judged by time of wetness.", False)
    thickness: Thickness = described("Usual thickness, named where a layer lacks one.", None)
    sd: Annotated[float | None, Sd] = described("Vapour resistance of a membrane.", None)
    sd_table: Annotated[tuple[tuple[float, float], ...], Table(Fraction(), Sd, rows=2)] = described(
        "[relative humidity, sd] pairs of a membrane that changes with humidity.", ()
    )
    basis: dict[str, Annotated[str, Word(("standard", "measured", "recalled", "estimate"))]] = described(
        "Basis of the values, by density, conductivity, specific_heat, vapour, sorption, saturation, absorption.", {}
    )
    source: Annotated[str, Text(600)] = described("Where the values come from.", "wall file")


class FrameEntry(Section):
    """Timber studs, plates or battens in this layer; give fraction, or width and spacing. Metal studs: bridge."""

    fraction: Annotated[float | None, Fraction(0.001, 0.9, "15 %")] = described(
        "Fraction of the wall area that is timber: studs, plates and lintels.", None
    )
    width: Annotated[float | None, Quantity("m", "45 mm", 0.005, 1.0)] = described("Width of one stud.", None)
    spacing: Annotated[float | None, Quantity("m", "600 mm", 0.05, 10.0)] = described(
        "Distance between studs, centre to centre; it does not include plates and lintels: prefer fraction.", None
    )
    material: Annotated[str, UNNAMED] = described("Material of the studs.", "softwood")


class BridgeEntry(Section):
    """Metal studs, rails or girts through this layer: their loss by the zone method, or by a known transmittance."""

    spacing: Annotated[float | None, Quantity("m", "600 mm", 0.05, 10.0)] = described("Distance between rails.", None)
    thickness: Annotated[float | None, Quantity("m", "1.5 mm", 0.0001, 0.05)] = described("Metal thickness.", None)
    flange: Annotated[float, Quantity("m", "40 mm", 0.005, 0.5)] = described("Width of the flange.", RAIL_FLANGE)
    material: Annotated[str, UNNAMED] = described("Material of the rails.", "steel")
    conductance: Annotated[float | None, Quantity("W/(m2 K)", "0.4 W/(m2 K)", 0.0, 50.0)] = described(
        "Instead of thickness: conductance of all metal through the layer, averaged over the wall area.", None
    )
    psi: Annotated[float | None, Quantity("W/(m K)", "0.03 W/(m K)", 0.0, 5.0)] = described(
        "Linear thermal transmittance of one rail, where known (ISO 10211): used instead of the zone method.", None
    )


class BracketsEntry(Section):
    """Point brackets or fasteners through this layer: chi times their number."""

    chi: Annotated[float, Quantity("W/K", "0.02 W/K", 0.0, 5.0)] = described(
        "Point thermal transmittance of one bracket (ISO 10211, or the maker's certificate)."
    )
    per_m2: Annotated[float, Number(0.01, 100.0, "2.5")] = described("Brackets per m2 of wall.")


class LayerEntry(MaterialValues):
    """[[cladding]] and [[backup]]: one layer each, listed from outside to inside."""

    material: Annotated[str, UNNAMED] = described(
        "Name in the built-in table (`cavity materials`) or in [material.NAME]."
    )
    thickness: Thickness = described("Thickness; optional for a membrane.", None)
    name: Annotated[str, UNNAMED] = described("Name of the layer; default: that of the material.", "")
    sd: Annotated[float | None, Sd] = described("A membrane: equivalent air layer thickness.", None)
    permeance: Annotated[float | None, Quantity("kg/(Pa s m2)", "60 ng/(Pa s m2)", 1e-15, 1e-6)] = described(
        "A membrane: vapour permeance, instead of sd; US perms are read too.", None
    )
    sd_table: Annotated[tuple[tuple[float, float], ...], Table(Fraction(), Sd, rows=2)] = described(
        "A membrane that changes with humidity: [relative humidity, sd] pairs.", ()
    )
    frame: FrameEntry | None = described("Timber studs in this layer.", None)
    bridge: BridgeEntry | None = described("Metal studs or rails through this layer.", None)
    brackets: BracketsEntry | None = described("Point brackets through this layer.", None)


class CavitySection(Section):
    """[cavity]: the drained and ventilated space."""

    depth: Annotated[float, Quantity("m", "30 mm", 0.001, 0.5)] = described("Depth from panel to wall.")
    blocked: Annotated[float, Fraction(0.0, 0.9, "5 %")] = described(
        "Fraction of the cavity cross-section blocked by battens and brackets.", 0.0
    )
    roughness: Annotated[float, Quantity("m", "1 mm", 0.0, 0.02)] = described(
        "Sand roughness of the cavity surfaces.", 0.0
    )
    emissivity_cladding: Annotated[float | None, Fraction(0.01, 1.0, "90 %")] = described(
        "Emissivity of the back of the cladding; default: of its material.", None
    )
    emissivity_wall: Annotated[float | None, Fraction(0.01, 1.0, "90 %")] = described(
        "Emissivity of the exterior surface of the backup wall; default: of its material.", None
    )
    film_limit: Annotated[float, Quantity("kg/m2", "100 g/m2", 0.0, 2.0)] = described(
        "Water a vertical surface holds before it runs off.", 0.1
    )
    single_vent_exchange: Annotated[float, Number(0.0, 10.0, "1")] = described(
        "Factor on the ESTIMATE of the air exchanged through the only open vent of a cavity (Warren 1977, made for "
        "rooms); 0: none.",
        1.0,
    )
    gust_exchange: Annotated[float, Number(0.0, 10.0, "1")] = described(
        "Factor on the ESTIMATE of the air exchanged by gusts in addition to the hourly mean flow; 0: none.", 1.0
    )


class ColumnEntry(Section):
    """[[column]]: an upright strip of the cavity with its own bottom and top."""

    name: Name = described("Name of the column.")
    bottom: Elevation = described("Bottom, above the base of the wall.", 0.0)
    top: Elevation = described("Top, above the base of the wall.")
    fraction: Annotated[float | None, Fraction(0.001, 1.0, "40 %")] = described(
        "Fraction of the wall length over which it runs; reports then state how much of the wall it is.", None
    )


class StoreyEntry(Section):
    """[[storey]]: storeys from the base of the wall upwards; with [[window]] they replace [[column]]."""

    height: Annotated[float, Quantity("m", "3 m", 0.5, 100.0)] = described("Height from floor to floor.")
    repeat: Annotated[int, Number(1, 100, "2", whole=True)] = described(
        "Number of such storeys, one above the other.", 1
    )


class WindowEntry(Section):
    """[[window]]: a window or a row of equal windows; the strips of cavity below, between and above them follow."""

    name: Annotated[str, UNNAMED] = described("Name of the window.", "window")
    left: Annotated[tuple[float, ...], Many(Quantity("m", "1.5 m", 0.0, 1000.0), single=True)] = described(
        "Left edge, from the left end of the wall seen from outside; several for a row of equal windows.", ()
    )
    width: Annotated[float | None, Quantity("m", "1.2 m", 0.1, 1000.0)] = described("Width of one window.", None)
    fraction: Annotated[float | None, Fraction(0.001, 0.999, "30 %")] = described(
        "Instead of left and width: fraction of the wall length taken by such windows.", None
    )
    sill: Annotated[float, Quantity("m", "0.9 m", 0.0, 100.0)] = described("Sill, above the floor of its storey.")
    head: Annotated[float, Quantity("m", "2.4 m", 0.1, 100.0)] = described("Head, above the floor of its storey.")
    storeys: Annotated[tuple[int, ...], Many(Number(1, 1000, "1", whole=True), single=True)] = described(
        "Storeys in which it is, counted from 1 at the base; default all.", ()
    )


class RailEntry(Section):
    """[[rail]]: horizontal sub-framing; air passes only in the gaps between rail lengths."""

    name: Name = described("Name of the rail.")
    heights: Annotated[tuple[float, ...], Many(Quantity("m", "1.2 m", -50.0, 500.0))] = described(
        "Heights of the rails.", ()
    )
    spacing: Annotated[float | None, Quantity("m", "600 mm", 0.05, 50.0)] = described(
        "Instead of heights: distance from rail to rail, counted from the lowest column's bottom.", None
    )
    gap: Annotated[float, Quantity("m", "10 mm", 0.0005, 10.0)] = described("Length of one gap.")
    bay: Annotated[float, Quantity("m", "3 m", 0.01, 50.0)] = described("Length of wall after which the gaps repeat.")
    gaps: Annotated[int, Number(1, 20, "2", whole=True)] = described(
        "Gaps in each bay: 1 between two rail ends, 2 where every rail has a gap at each end.", 1
    )
    porosity: Annotated[float | None, Fraction(0.01, 1.0, "50 %")] = described(
        "Open fraction of a mesh or perforation that closes the gaps; with wire or hole.", None
    )
    wire: Annotated[float | None, Quantity("m", "0.5 mm", 1e-5, 0.01)] = described("Wire diameter of that mesh.", None)
    hole: Annotated[float | None, Quantity("m", "5 mm", 1e-4, 0.1)] = described(
        "Hole diameter of that perforation.", None
    )
    edges: Annotated[str, Word(("sharp", "rounded"))] = described(
        "Edges of the rail at its gaps; rounded edges reduce the loss by 40 % (Gullbrekken et al. 2018).", "sharp"
    )
    gap_length_along_flow: Annotated[float, Quantity("m", "40 mm", 0.0, 0.5)] = described(
        "Length of the gap along the air path, the height of the rail's section: friction in narrow gaps; 0: an edge.",
        0.0,
    )
    discharge: Discharge = described("Discharge coefficient of the gap.", 0.6)
    columns: Columns = described("Columns it crosses; default: all it reaches.", ())


class BarrierEntry(Section):
    """[[barrier]]: closes the cavity except for a residual free area, such as fire detailing above a window."""

    name: Name = described("Name of the barrier.")
    height: Annotated[float | None, Quantity("m", "3.0 m", -50.0, 500.0)] = described(
        "Height above the base of the wall; or give at.", None
    )
    at: Annotated[str | None, Word(("storeys", "window heads"))] = described(
        "Instead of height: at every floor, or above every window of the elevation.", None
    )
    above: Annotated[float, Quantity("m", "50 mm", -1.0, 2.0)] = described(
        "Distance above that place; only with at.", 0.05
    )
    free_area: Annotated[float, Quantity("m2/m", "10 cm2/m", 0.0, 1.0)] = described(
        "Residual free area; 0: closed.", 0.0
    )
    discharge: Discharge = described("Discharge coefficient of the residual area.", 0.6)
    columns: Columns = described("Columns it closes; default: all it reaches.", ())


class HolesEntry(Section):
    """Separate holes: number per metre, each width x height."""

    per_metre: Annotated[float, Number(0.01, 1000.0, "4")] = described("Holes per metre of wall length.")
    width: Annotated[float, Quantity("m", "10 mm", 0.0005, 5.0)] = described("Width of one hole.")
    height: Annotated[float, Quantity("m", "65 mm", 0.0005, 5.0)] = described("Height of one hole.")


class VentEntry(Section):
    """[[openings.vent]]: a way between cavity and outdoors; give one of slot, holes and free_area."""

    name: Annotated[str, UNNAMED] = described("Name of the vent; default: from its height and kind.", "")
    height: Annotated[float | str | None, Height()] = described(
        '"base" or "head": bottom or top of each strip it serves; "wall base", "wall top", "window sill", '
        '"window head", "above barriers", "below barriers": there alone; or a height above the base of the wall.',
        None,
    )
    heights: Annotated[tuple[float, ...], Many(Quantity("m", "1.2 m", -50.0, 500.0))] = described(
        "Instead of height: one such vent at each of these heights, as in open-jointed cladding.", ()
    )
    spacing: Annotated[float | None, Quantity("m", "600 mm", 0.05, 50.0)] = described(
        "Instead of height: distance from vent to vent, counted from the bottom of the lowest column it serves.", None
    )
    kind: Annotated[str, Word(KINDS)] = described(
        "slot, mesh, perforated strip, louvre, or joint between panels.", "slot"
    )
    slot: Annotated[float | None, Quantity("m", "10 mm", 1e-4, 2.0)] = described(
        "Clear height of a continuous slot, before any mesh in it.", None
    )
    holes: HolesEntry | None = described("Separate holes, before any mesh in them.", None)
    free_area: Annotated[float | None, VentArea] = described(
        "Free area per metre of wall as given on a drawing, net of mesh or perforation.", None
    )
    clear_height: Annotated[float | None, Quantity("m", "10 mm", 0.0005, 2.0)] = described(
        "Smaller clear dimension of the hole; only with free_area. Default: 10 mm (joint: 8 mm), with a warning.",
        None,
    )
    porosity: Annotated[float | None, Fraction(0.01, 1.0, "50 %")] = described(
        "Open fraction of mesh or perforation.", None
    )
    wire: Annotated[float | None, Quantity("m", "0.5 mm", 1e-5, 0.01)] = described("Wire diameter of a mesh.", None)
    hole: Annotated[float | None, Quantity("m", "5 mm", 1e-4, 0.1)] = described("Hole diameter of a perforation.", None)
    blade_angle: Annotated[float | None, Quantity("deg", "30 deg", 0.0, 75.0)] = described(
        "Slope of louvre blades.", None
    )
    discharge: Annotated[float | None, Number(0.05, 1.0, "0.6")] = described(
        "Discharge coefficient, where known.", None
    )
    bends: Annotated[int, Number(0, 10, "1", whole=True)] = described("Right-angle bends in the air path.", 0)
    exposure: Annotated[str, Word(("face", "soffit", "roof edge", "table"))] = described(
        "Position for the wind: on the wall surface (face), under a soffit, at the roof edge, or by cp_table.", "face"
    )
    cp_shift: Annotated[float | None, Number(-3.0, 3.0, "-0.2")] = described(
        "Added to the wall's wind pressure coefficient; default: by height.", None
    )
    cp_table: Annotated[
        tuple[tuple[float, float], ...], Table(Quantity("deg", "45 deg", -180.0, 180.0), Number(-5, 5, "0.3"), rows=2)
    ] = described('[wind angle from the wall normal, pressure coefficient] pairs, with exposure = "table".', ())
    columns: Columns = described("Columns it serves; default: all that reach its height.", ())


class OpeningsEntry(Section):
    """[[openings]]: one choice of vents to compare."""

    name: Name = described("Name of the set.")
    vent: list[VentEntry] = described("Its vents; none: closed.", [])
    rail: list[RailEntry] | None = described("Rails of this set, instead of the wall's; [] for none.", None)


class CompareSection(Section):
    """[compare]: what is computed, every depth with every set of openings."""

    depths: Annotated[tuple[float, ...], Many(Quantity("m", "30 mm", 0.001, 0.5))] = described(
        "Cavity depths; default: the one in [cavity].", ()
    )
    openings: Columns = described("Sets of openings by name, in this order; default: all.", ())
    clogged: dict[str, Annotated[float, Fraction(0.01, 0.99, "50 %")]] = described(
        "Kind of vent = fraction of its area closed by dirt: sets with such vents are computed a second time, clogged.",
        {},
    )


class IndoorSection(Section):
    """[indoor]: the climate of the room."""

    model: Annotated[
        str, Word(("EN 15026", "ISO 13788", "ASHRAE 160", "ASHRAE 160 intermediate", "constant", "monthly", "file"))
    ] = described(
        "By outdoor temperature (EN 15026 Annex C, ISO 13788 classes, ASHRAE 160 simplified), by moisture produced and "
        "air exchanged (ASHRAE 160 intermediate), constant, monthly, or a file.",
        "EN 15026",
    )
    load: Annotated[str, Word(("normal", "high"))] = described("EN 15026 moisture load.", "normal")
    humidity_class: Annotated[int, Number(1, 5, "3", whole=True)] = described("ISO 13788 humidity class.", 3)
    bedrooms: Annotated[int, Number(1, 20, "3", whole=True)] = described("ASHRAE 160 intermediate: bedrooms.", 3)
    air_changes: Annotated[float, Quantity("1/h", "0.2 1/h", 0.01, 50.0)] = described(
        "ASHRAE 160 intermediate: air changes.", 0.2
    )
    volume: Annotated[float, Quantity("m3", "500 m3", 1.0, 1e6)] = described(
        "ASHRAE 160 intermediate: volume of the home.", 500.0
    )
    temperature: Annotated[tuple[float, ...], Many(Quantity("K", "20 degC", 233.15, 343.15), (1, 12), single=True)] = (
        described("One temperature, or twelve from January.", (293.15,))
    )
    relative_humidity: Annotated[tuple[float, ...], Many(Fraction(0.01, 1.0, "50 %"), (1, 12), single=True)] = (
        described("One relative humidity, or twelve from January.", (0.5,))
    )
    file: Annotated[str, Text(200)] = described(
        "csv with columns temperature_degC and relative_humidity_percent, a row for each hour of the weather; in the "
        "folder of the wall file or below it.",
        "",
    )
    humidity_shift: Annotated[float, Number(-0.5, 0.5, "0.05")] = described(
        "Added to the relative humidity of any model.", 0.0
    )


class WettingSection(Section):
    """[wetting]: moisture sources other than vapour diffusion."""

    rain_penetration: Annotated[float, Fraction(0.0, 1.0, "1 %")] = described(
        "Fraction of the driving rain that passes the cladding (ASHRAE 160: 1 %).", 0.01
    )
    rain_penetration_layer: Annotated[str, UNNAMED] = described(
        "Backup layer whose exterior surface receives it; default: the first.", ""
    )
    leak_flow: Annotated[float, Quantity("m3/(m2 h)", "0.05 m3/(m2 h)", 0.0, 20.0)] = described(
        "Indoor air that leaks into the wall, per wall area.", 0.0
    )
    leak_layer: Annotated[str, UNNAMED] = described(
        "Backup layer whose exterior surface it reaches; default: the layer inside the sheathing, as the inner surface "
        "of the sheathing is the coldest plane that room air meets.",
        "",
    )
    leak_q50: Annotated[float | None, Quantity("m3/(m2 h)", "3 m3/(m2 h)", 0.05, 50.0)] = described(
        "Instead of leak_flow: air permeability of the envelope, flow at 50 Pa per area; the leak follows the stack "
        "pressure of each hour. How much of it wets the wall is uncertain: try half and double.",
        None,
    )
    leak_height: Annotated[float, Quantity("m", "6 m", 0.0, 200.0)] = described(
        "With leak_q50: stack height, the height of the indoor air that drives the leak; 0 m: the building height.", 0.0
    )


class RunSection(Section):
    """[run]: how the year is computed."""

    segments: Annotated[int, Number(1, 20, "3", whole=True)] = described(
        "Number of pieces along the height of a column.", 3
    )
    start_humidity: Annotated[float, Fraction(0.05, 0.99, "80 %")] = described(
        "Humidity of all layers at the start; default: new materials kept dry (ASHRAE 160, from memory).", 0.8
    )
    start_month: Annotated[int, Month()] = described(
        "Month of the start; default: the first winter finds the wall as built (own choice).", 10
    )
    construction_water: dict[str, Annotated[float, Water()]] = described(
        "Layer name = water content at the start, for layers built in wet.", {}
    )
    max_years: Annotated[int, Number(1, 30, "5", whole=True)] = described(
        "Largest number of years simulated until they repeat.", 5
    )
    freezing: Annotated[bool, Flag()] = described("Pore water freezes.", True)
    stud_line: Annotated[bool, Flag()] = described(
        "Compute a second line through the studs of layers with a frame, for dew point and mould there; takes twice as "
        "long.",
        False,
    )


HOURS = Quantity("h", "876 h", 1.0, 8784.0)
CONDENSATE = Quantity("kg/m2", "200 g/m2", 0.001, 5.0)


class LimitsSection(Section):
    """[limits]: thresholds of the criteria that replace the defaults."""

    mould_index: Annotated[float | None, Number(0.1, 6.0, "3")] = described("Largest mould index.", None)
    mould_index_review: Annotated[float | None, Number(0.1, 6.0, "2")] = described(
        "Mould index inside the wall above which to review.", None
    )
    mould_room_review: Annotated[float | None, Number(0.1, 6.0, "1")] = described(
        "Mould index at the interior surface above which to review.", None
    )
    mould_decline: Annotated[float | None, Number(0.0, 1.0, "0.1")] = described("Relative decline of mould.", None)
    mould_years: Annotated[float | None, Number(1, 100, "30")] = described(
        "Most times the last year is repeated for mould and decay, until the yearly peak settles.", None
    )
    humidity_mean: Annotated[float | None, Fraction(0.3, 1.0, "80 %")] = described(
        "30-day mean relative humidity.", None
    )
    wood_moisture: Annotated[float | None, Fraction(0.05, 1.0, "20 %")] = described(
        "30-day mean moisture content of wood.", None
    )
    wood_moisture_review: Annotated[float | None, Fraction(0.05, 1.0, "18 %")] = described(
        "Moisture content of wood above which to review.", None
    )
    decay_activation: Annotated[float | None, Number(0.05, 1.0, "1.0")] = described(
        "Activation at which rot begins.", None
    )
    condensate_runoff: Annotated[float | None, CONDENSATE] = described("Condensate that may run off.", None)
    condensate_smooth: Annotated[float | None, CONDENSATE] = described(
        "Condensate at a layer that does not absorb.", None
    )
    condensate_absorbent: Annotated[float | None, CONDENSATE] = described(
        "Condensate between layers that absorb.", None
    )
    condensate_wood: Annotated[float | None, Fraction(0.005, 0.5, "5 %")] = described(
        "Condensate taken up by solid wood, by its dry mass.", None
    )
    condensate_wood_board: Annotated[float | None, Fraction(0.005, 0.5, "3 %")] = described(
        "Condensate taken up by wood-based boards, by dry mass.", None
    )
    dew_hours: Annotated[float | None, HOURS] = described(
        "Hours per year below the dew point above which to review.", None
    )
    film: Annotated[float | None, CONDENSATE] = described("Film that the back of the cladding can hold.", None)
    residue: Annotated[float | None, Quantity("kg/m2", "20 g/m2", 1e-6, 5.0)] = described("Annual accumulation.", None)
    wetness_cavity: Annotated[float | None, Quantity("h", "5500 h", 10.0, 8784.0)] = described(
        "Time of wetness of metal in the cavity.", None
    )
    wetness_wall: Annotated[float | None, Quantity("h", "2500 h", 10.0, 8784.0)] = described(
        "Time of wetness of metal in the wall.", None
    )
    freeze_saturation: Annotated[float | None, Fraction(0.1, 1.0, "80 %")] = described("Critical saturation.", None)
    freeze_temperature: Annotated[float | None, Quantity("K", "-2 degC", 240.0, ICE_POINT)] = described(
        "Temperature at which pore water freezes.", None
    )
    freeze_cycles: Annotated[float | None, Number(1, 1000, "1")] = described("Freeze-thaw cycles per year.", None)
    drying_days: Annotated[float | None, Quantity("day", "90 day", 1.0, 730.0)] = described("90 % drying time.", None)


class VariantEntry(LayerEntry):
    """[[variant]]: a layer replaced by another; two of one name are replaced together."""

    name: Name = described("Name of the variant.")
    replaces: Name = described("Name of the layer that is replaced.")


LENGTH, AREA = Quantity("m", "25 mm", 0.0, 10.0), Quantity("m2/m", "50 cm2/m", 0.0, 2.0)
# what a rule of the user may bound; `risk.rules` measures it on the drawing
RULE_QUANTITIES: dict[str, Quantity] = {
    "cavity depth": LENGTH,
    "vents in the lower half": AREA,
    "vents in the upper half": AREA,
    "free vent area": AREA,
    "smallest vent": AREA,
    "joint width": LENGTH,
    "open slot at the foot": LENGTH,
    "rail gap": LENGTH,
    "barrier free area": AREA,
    "s_d outside the insulation": Quantity("m", "0.3 m", 0.0, 10000.0),
}


class RuleEntry(Section):
    """[[rule]]: a rule of your own for the rule check; it decides neither pass nor fail."""

    document: Name = described("Where the rule is from.")
    quantity: Annotated[str, Word(tuple(RULE_QUANTITIES))] = described(
        "Quantity that it bounds, for each case and strip."
    )
    at_least: Annotated[str, Text(40)] = described('Minimum, such as "25 mm" or "50 cm2/m".', "")
    at_most: Annotated[str, Text(40)] = described('Maximum, such as "50 mm".', "")
    clause: Annotated[str, Text(60)] = described("Clause.", "")
    edition: Annotated[str, Text(40)] = described("Edition or year.", "")


class RulesFile(Section):
    """A file of rules."""

    rule: list[RuleEntry] = Field(description="Rules of your own.", min_length=1, max_length=100)


class WallFile(Section):
    """A whole wall file."""

    wall: WallSection = described("Name and orientation.")
    site: SiteSection = described("Surroundings.", SiteSection())
    finish: FinishSection = described("Exterior surface.", FinishSection())
    material: dict[str, MaterialEntry] = described("Materials of your own.", {})
    cladding: list[LayerEntry] = Field(
        description="Layers of the cladding, outside to inside.", min_length=1, max_length=10
    )
    cavity: CavitySection = described("The cavity.")
    backup: list[LayerEntry] = Field(
        description="Layers of the backup wall, outside to inside.", min_length=1, max_length=30
    )
    column: list[ColumnEntry] = Field([], description="Strips of the cavity, one by one.", max_length=60)
    storey: list[StoreyEntry] = Field([], description="Storeys, instead of columns.", max_length=50)
    window: list[WindowEntry] = Field([], description="Windows in the storeys.", max_length=50)
    rail: list[RailEntry] = described("Horizontal rails.", [])
    barrier: list[BarrierEntry] = described("Closures of the cavity.", [])
    openings: list[OpeningsEntry] = Field(description="Sets of openings.", min_length=1, max_length=50)
    compare: CompareSection = described("What is compared.", CompareSection())
    indoor: IndoorSection = described("The room.", IndoorSection())
    wetting: WettingSection = described("Wetting.", WettingSection())
    run: RunSection = described("The run.", RunSection())
    limits: LimitsSection = described("Thresholds of criteria.", LimitsSection())
    variant: list[VariantEntry] = described("Exchanged layers.", [])
    rule: list[RuleEntry] = Field([], description="Rules of your own for the rule check.", max_length=100)
    uncertain: dict[str, Any] = described("Ranges of uncertain inputs: section.key = [low, high].", {})


_FACTORS = {
    "openings.area_factor": Number(0.1, 10.0, "0.8"),
    "openings.mesh_factor": Number(0.1, 10.0, "0.8"),
    "rail.gap_factor": Number(0.1, 10.0, "0.8"),
    "backup.vapour_factor": Number(0.1, 10.0, "0.7"),
}


def _leaf_of_input(name: str) -> Leaf:
    """Return the value type of an input that may vary: a factor, or the key of that name."""
    section, key = name.split(".")
    if name in _FACTORS:
        return _FACTORS[name]
    fields = cast(Any, WallFile.model_fields[section].annotation).model_fields
    return cast(Leaf, leaf_of(fields[key]))


# Inputs that [uncertain] may vary, with their value types
UNCERTAIN: dict[str, Leaf] = {name: _leaf_of_input(name) for name in INPUTS}
