"""Rule check: what published rules ask of a ventilated cavity, and what is drawn.

Rules are compared with the drawing alone, not with the result of the hours, and decide neither pass nor fail: a wall
that meets them all can be wet, and one that misses some can be dry. Local codes decide what is binding. A wall file, or
a file of rules, may add rules of the user's own (`[[rule]]`). All is kept in SI; `cavity.choice_words` says it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

from cavity import choice_words
from cavity.constants import AIR_PERMEABILITY, COMMON_DEPTH, COMMON_VENTS, INSULATION
from cavity.result import wall_of

if TYPE_CHECKING:
    import xarray as xr

    from cavity.wallfile.model import Rule, Wall

READ, SECOND, RECALLED, OWN = "read", "read second-hand", "recalled from memory", "your own rule"
MET, MISSED, OUTSIDE, BY_HAND = "met", "not met", "does not apply", "check by hand"
_EDGE = 1e-9  # m and m2/m: a size that is met exactly must not fail by rounding
# s_d up to which a membrane is class 4 of AS 4200.1 (1.14 ug/(N s), from memory), to the hundredth
_CLASS_4 = round(AIR_PERMEABILITY / 1.14e-9, 2)  # m
_OPEN_FOOT = ("slot", "joint")  # kinds without mesh, grille or blades


@dataclass(frozen=True)
class Drawing:
    """What is drawn of one case: lengths in m, areas in m2 per m of wall."""

    depth: float
    lower: float  # free vent area in the lower half of the strip
    upper: float
    vents: tuple[float, ...]  # free vent area of each open vent
    iso_class: str
    joints: tuple[float, ...]  # clear width of each open joint between panels, base and head omitted
    foot: float | None  # widest opening at the foot without mesh or grille; None where there is none
    membranes: tuple[tuple[str, float], ...]  # name and s_d of each membrane outside the insulation
    gaps: tuple[tuple[str, float], ...]  # name and gap of each rail
    barriers: tuple[tuple[str, float], ...]  # name and free area of each barrier
    blocked: float = 0.0
    materials: str = ""  # names of all materials, for what a rule applies to
    own: tuple[Rule, ...] = field(default=())

    @property
    def clear_section(self) -> float:
        """Section of the cavity that battens and brackets leave. [m2/m]."""
        return self.depth * (1.0 - self.blocked)

    @property
    def vented(self) -> bool:
        """Whether there is free vent area in both halves of the strip."""
        return self.lower > 0.0 and self.upper > 0.0


@dataclass(frozen=True)
class Check:
    """One rule compared with the drawing, in SI; `asks` and `drawn` say it.

    Parameters
    ----------
    key : str
        Which rule, e.g. ``"din depth"``; of a rule of the user's own the quantity that it bounds.
    document, clause, edition : str
        Where the rule is from; edition empty where it is not known.
    known : str
        How it is known: "read", "read second-hand" or "recalled from memory"; "your own rule" for those added.
    bounds : tuple of float or None
        What is asked: lengths [m], areas [m2/m]. Of a rule of the user's own the least and the most, None where open.
    drawing : Drawing
        What is drawn.
    outcome : str
        "met", "not met", "does not apply" or "check by hand".
    value : float or None
        Of a rule of the user's own, the size that it bounds; None where nothing of the kind is drawn.
    """

    key: str
    document: str
    clause: str
    edition: str
    known: str
    bounds: tuple[float | None, ...]
    drawing: Drawing
    outcome: str
    value: float | None = None

    @property
    def applies(self) -> bool:
        """Whether the rule concerns this wall."""
        return self.outcome != OUTSIDE

    @property
    def asks(self) -> str:
        """What is asked, in words."""
        return choice_words.rule_text(self)

    @property
    def drawn(self) -> str:
        """What is drawn, in words."""
        return choice_words.drawn_text(self)


class Shortfall(NamedTuple):
    """A size that is below the common one."""

    size: str  # "depth", "lower" or "upper": the vents in that half of the strip
    value: float  # m, or m2/m
    least: float


def drawing_of(ds: xr.Dataset) -> Drawing:
    """Return what is drawn of a case, from its Dataset and the wall that it carries.

    Parameters
    ----------
    ds : xarray.Dataset
        Result of `simulate`.
    """
    wall = wall_of(ds)
    opening_set = wall.opening_set(str(ds.attrs["opening_set"]))
    bottom, top = float(ds.attrs["column_bottom"]), float(ds.attrs["column_top"])
    middle = 0.5 * (bottom + top)
    column = wall.column(str(ds.attrs["column"]))
    described = {(opening.name, opening.height): opening for opening in opening_set.openings}
    served = [
        (float(height), float(area), described[str(name), float(height)])
        for name, height, area in zip(
            ds["opening"].values, ds["opening_height"].values, ds["opening_area"].values, strict=True
        )
    ]
    foot = [
        opening.clear_height or opening.gross_area
        for height, area, opening in served
        if abs(height - bottom) < 0.05 and area > 0.0 and opening.kind in _OPEN_FOOT
    ]
    joints = tuple(
        opening.clear_height
        for height, area, opening in served
        if opening.kind == "joint" and opening.clear_height and area > 0.0 and bottom + 0.05 < height < top - 0.05
    )
    return Drawing(
        depth=float(ds.attrs["depth"]),
        lower=sum(area for height, area, _ in served if height < middle),
        upper=sum(area for height, area, _ in served if height >= middle),
        vents=tuple(area for _, area, _ in served if area > 0.0),
        iso_class=str(ds.attrs["iso6946_class"]),
        joints=joints,
        foot=max(foot, default=None),
        membranes=_membranes(wall),
        gaps=tuple((rail.name, rail.gap) for rail in wall.rails_of(opening_set) if column.serves(rail.columns)),
        barriers=tuple(
            (barrier.name, barrier.free_area)
            for barrier in wall.barriers
            if column.serves(barrier.columns) and bottom < barrier.height < top
        ),
        blocked=wall.cavity.blocked,
        materials=" ".join(str(name) for name in ds["layer_material"].values).lower(),
        own=wall.rules,
    )


def _membranes(wall: Wall) -> tuple[tuple[str, float], ...]:
    """Return name and s_d [m] of the membranes outside the first insulation; of a table the largest."""
    outside = []
    for layer in wall.backup:
        if layer.material.conductivity < INSULATION and not layer.is_membrane:
            break
        if layer.sd_table:
            outside.append((layer.name, max(sd for _, sd in layer.sd_table)))
        elif layer.sd is not None:
            outside.append((layer.name, layer.sd))
    return tuple(outside)


# ---- rules -----------------------------------------------------------------------------------------------------------
def _says(fine: bool) -> str:
    return MET if fine else MISSED


def _at_least(value: float, least: float) -> str:
    return _says(value >= least - _EDGE)


def _made_of(drawing: Drawing, *words: str) -> bool:
    return any(word in drawing.materials for word in words)


def _depth(drawing: Drawing, least: float) -> str:
    return _at_least(drawing.depth, least)


def _lower(drawing: Drawing, least: float) -> str:
    return _at_least(drawing.lower, least)


def _upper(drawing: Drawing, least: float) -> str:
    return _at_least(drawing.upper, least)


def _grille(drawing: Drawing, most: float) -> str:
    return _says(drawing.foot is None or drawing.foot <= most + _EDGE)


def _brick(drawing: Drawing, depth: float, area: float) -> str:
    if not _made_of(drawing, "brick", "clay"):
        return OUTSIDE
    return _says(min(drawing.lower, drawing.upper) >= area - _EDGE and drawing.depth >= depth - _EDGE)


def _behind_joints(drawing: Drawing, opened: float, baffled: float) -> str:
    return _at_least(drawing.depth, opened if drawing.joints else baffled)


def _joints(drawing: Drawing, least: float) -> str:
    return _at_least(min(drawing.joints), least) if drawing.joints else OUTSIDE


def _vented_depth(drawing: Drawing, least: float) -> str:
    return _says(drawing.depth >= least - _EDGE and drawing.vented)


def _stucco(drawing: Drawing, least: float) -> str:
    return _at_least(drawing.depth, least) if _made_of(drawing, "stucco", "render", "plaster") else OUTSIDE


def _drained_and_open(drawing: Drawing, most: float) -> str:
    if not drawing.vented:
        return MISSED
    return _says(max(sd for _, sd in drawing.membranes) <= most) if drawing.membranes else BY_HAND


def _class(drawing: Drawing) -> str:
    return MET if drawing.iso_class else OUTSIDE


def _never(_drawing: Drawing, _least: float) -> str:
    return OUTSIDE  # walls with ribbed sheets cannot be described


def _by_hand(_drawing: Drawing) -> str:
    return BY_HAND


class _Rule(NamedTuple):
    key: str
    document: str
    clause: str
    edition: str
    known: str
    bounds: tuple[float, ...]
    outcome_of: Callable[..., str]  # of the drawing and the bounds


_DIN = ("DIN 18516-1", "ventilation", "", SECOND)
_NHBC = ("NHBC Standards", "6.9.18", "2021, 2023", READ)
_NZ = ("NZ Building Code E2/AS1", "cavity", "", RECALLED)
RULES: tuple[_Rule, ...] = (
    _Rule("din depth", *_DIN, (COMMON_DEPTH,), _depth),
    _Rule("din lower", *_DIN, (COMMON_VENTS,), _lower),
    _Rule("din upper", *_DIN, (COMMON_VENTS,), _upper),
    _Rule("din grille", *_DIN, (0.020,), _grille),
    _Rule("din ribbed", *_DIN, (0.020,), _never),
    _Rule("brick", "Austrian brick association", "ventilated facing of brick", "", READ, (0.020, 0.015), _brick),
    _Rule("nhbc depth", *_NHBC, (0.050, 0.038), _behind_joints),
    _Rule("nhbc joints", *_NHBC, (0.010,), _joints),
    _Rule("iso class", "ISO 6946", "air layers", "2017", READ, (), _class),
    _Rule("icc vented", "ICC 700", "602.1.9(5)", "2012", READ, (0.00635,), _vented_depth),
    _Rule("ibc stucco", "IBC", "2510.6 exception 2", "2018; 2021: 3/16 in for drainage", READ, (0.00476,), _stucco),
    _Rule("ncc membrane", "NCC", "F8D3, 10.8.1", "2025 draft", READ, (_CLASS_4,), _drained_and_open),
    _Rule("nbc depth", "NBC", "9.27.2.2", "", RECALLED, (0.010,), _depth),
    _Rule("nz depth", *_NZ, (0.020,), _depth),
    _Rule("nz lower", *_NZ, (0.0010,), _lower),
    _Rule("barriers", "Approved Document B, EN 1364-6, BS 9414", "cavity barriers", "", READ, (), _by_hand),
)  # fmt: skip

# quantities that a rule of the user's own may bound: how it is named -> its value on the drawing [m or m2/m]
OWN_QUANTITIES: dict[str, Callable[[Drawing], float | None]] = {
    "cavity depth": lambda drawing: drawing.depth,
    "vents in the lower half": lambda drawing: drawing.lower,
    "vents in the upper half": lambda drawing: drawing.upper,
    "free vent area": lambda drawing: sum(drawing.vents),
    "smallest vent": lambda drawing: min(drawing.vents, default=0.0),
    "joint width": lambda drawing: min(drawing.joints, default=None),
    "open slot at the foot": lambda drawing: drawing.foot,
    "rail gap": lambda drawing: min((gap for _, gap in drawing.gaps), default=None),
    "barrier free area": lambda drawing: min((area for _, area in drawing.barriers), default=None),
    "s_d outside the insulation": lambda drawing: max((sd for _, sd in drawing.membranes), default=None),
}


def _own(rule: Rule, drawing: Drawing) -> Check:
    value = OWN_QUANTITIES[rule.quantity](drawing)
    least, most = rule.at_least, rule.at_most
    outcome = OUTSIDE
    if value is not None:
        outcome = _says((least is None or value >= least - _EDGE) and (most is None or value <= most + _EDGE))
    return Check(
        rule.quantity, rule.document, rule.clause, rule.edition, OWN, (least, most), drawing, outcome, value
    )  # fmt: skip


def checks(ds: xr.Dataset) -> tuple[Check, ...]:
    """Return every rule, compared with what is drawn of a case; the user's own first.

    Parameters
    ----------
    ds : xarray.Dataset
        Result of `simulate`.

    Returns
    -------
    tuple of Check
    """
    drawing = drawing_of(ds)
    return (
        *(_own(rule, drawing) for rule in drawing.own),
        *(Check(*rule[:-1], drawing, rule.outcome_of(drawing, *rule.bounds)) for rule in RULES),
    )


def below_common(depth: float, lower: float, upper: float) -> tuple[Shortfall, ...]:
    """Return which of the common sizes a drawing is below; empty where it meets them.

    Parameters
    ----------
    depth : float
        Cavity depth. [m]
    lower, upper : float
        Free vent area in the lower and in the upper half of a strip. [m2/m]

    References
    ----------
    DIN 18516-1 (20 mm; 50 cm2 per m at the foot and at the roof edge), read second-hand.
    """
    sizes = (
        Shortfall("depth", depth, COMMON_DEPTH),
        Shortfall("lower", lower, COMMON_VENTS),
        Shortfall("upper", upper, COMMON_VENTS),
    )
    return tuple(size for size in sizes if size.value < size.least - _EDGE)
