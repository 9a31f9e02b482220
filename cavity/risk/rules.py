"""Rule check: what published rules ask of a ventilated cavity, and what is drawn.

Rules are compared with the drawing alone, not with the result of the hours, and decide neither pass nor fail: a wall
that meets them all can be wet, and one that misses some can be dry. Local codes decide what is binding. A wall file, or
a file of rules, may add rules of the user's own (`[[rule]]`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from cavity.constants import AIR_PERMEABILITY
from cavity.result import wall_of

if TYPE_CHECKING:
    import xarray as xr

    from cavity.wallfile.model import Barrier, Rail, Rule, Wall

READ, SECOND, RECALLED = "read", "read second-hand", "recalled from memory"
MET, MISSED, OUTSIDE, BY_HAND = "met", "not met", "does not apply", "check by hand"
COMMON_DEPTH = 0.020  # m, DIN 18516-1
COMMON_VENTS = 0.0050  # m2/m at the foot and at the head, DIN 18516-1
_EDGE = 1e-9  # m and m2/m: a size that is met exactly must not fail by rounding
# s_d up to which a membrane is class 4 of AS 4200.1 (1.14 ug/(N s), from memory), to the hundredth
_CLASS_4 = round(AIR_PERMEABILITY / 1.14e-9, 2)  # m
_INSULATION = 0.065  # W/(m K), what conducts less counts as insulation (DIN 4108-4 calls up to 0.1 so; own choice)
_OPEN_FOOT = ("slot", "joint")  # kinds without mesh, grille or blades


@dataclass(frozen=True)
class Check:
    """One rule beside the drawing.

    Parameters
    ----------
    document, clause, edition : str
        Where the rule is from; edition empty where it is not known.
    known : str
        How it is known: "read", "read second-hand" or "recalled from memory"; "your own rule" for those added.
    asks, drawn : str
        What is asked, what is drawn.
    outcome : str
        "met", "not met", "does not apply" or "check by hand".
    """

    document: str
    clause: str
    edition: str
    known: str
    asks: str
    drawn: str
    outcome: str


@dataclass(frozen=True)
class Drawn:
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


def drawn_of(ds: xr.Dataset) -> Drawn:
    """Return what is drawn of a case, from its Dataset and the wall that it carries.

    Parameters
    ----------
    ds : xarray.Dataset
        Result of `simulate`.
    """
    wall = wall_of(ds)
    chosen = wall.opening_set(str(ds.attrs["opening_set"]))
    bottom, top = float(ds.attrs["column_bottom"]), float(ds.attrs["column_top"])
    middle = 0.5 * (bottom + top)
    column = str(ds.attrs["column"])
    described = {(each.name, each.height): each for each in chosen.openings}
    served = [
        (float(height), float(area), described[str(name), float(height)])
        for name, height, area in zip(
            ds["opening"].values, ds["opening_height"].values, ds["opening_area"].values, strict=True
        )
    ]
    foot = [
        each.clear_height or each.gross_area
        for height, area, each in served
        if abs(height - bottom) < 0.05 and area > 0.0 and each.kind in _OPEN_FOOT
    ]
    joints = tuple(
        each.clear_height
        for height, area, each in served
        if each.kind == "joint" and each.clear_height and area > 0.0 and bottom + 0.05 < height < top - 0.05
    )
    rails = chosen.rails if chosen.rails is not None else wall.rails
    return Drawn(
        depth=float(ds.attrs["depth"]),
        lower=sum(area for height, area, _ in served if height < middle),
        upper=sum(area for height, area, _ in served if height >= middle),
        vents=tuple(area for _, area, _ in served if area > 0.0),
        iso_class=str(ds.attrs["iso6946_class"]),
        joints=joints,
        foot=max(foot, default=None),
        membranes=_membranes(wall),
        gaps=tuple((each.name, each.gap) for each in rails if _serves(each, column)),
        barriers=tuple(
            (each.name, each.free_area)
            for each in wall.barriers
            if _serves(each, column) and bottom < each.height < top
        ),
        blocked=wall.cavity.blocked,
        materials=" ".join(str(name) for name in ds["layer_material"].values).lower(),
        own=wall.rules,
    )


def _serves(part: Rail | Barrier, column: str) -> bool:
    return not part.columns or column in part.columns


def _membranes(wall: Wall) -> tuple[tuple[str, float], ...]:
    """Return name and s_d [m] of the membranes outside the first insulation; of a table the largest."""
    outside = []
    for layer in wall.backup:
        if layer.material.conductivity < _INSULATION and not layer.is_membrane:
            break
        if layer.sd_table:
            outside.append((layer.name, max(sd for _, sd in layer.sd_table)))
        elif layer.sd is not None:
            outside.append((layer.name, layer.sd))
    return tuple(outside)


# ---- texts -----------------------------------------------------------------------------------------------------------
def _plain(value: float, digits: int = 3) -> str:
    text = f"{value:.{digits}g}"
    return f"{float(text):g}" if "e" in text else text


def millimetres(value: float) -> str:
    """Return a length [m] as text."""
    return f"{_plain(1e3 * value)} mm"


def per_metre(value: float) -> str:
    """Return an area per metre of wall [m2/m] as text."""
    return f"{_plain(1e4 * value)} cm²/m"


# ---- rules -----------------------------------------------------------------------------------------------------------
_Test = Callable[[Drawn], tuple[str, str]]


def _says(fine: bool) -> str:
    return MET if fine else MISSED


def _deep(least: float) -> _Test:
    return lambda drawn: (millimetres(drawn.depth), _says(drawn.depth >= least - _EDGE))


def _vented(half: str, least: float) -> _Test:
    def test(drawn: Drawn) -> tuple[str, str]:
        area = getattr(drawn, half)
        return per_metre(area), _says(area >= least - _EDGE)

    return test


def _both(least: float) -> _Test:
    def test(drawn: Drawn) -> tuple[str, str]:
        text = f"{per_metre(drawn.lower)} below, {per_metre(drawn.upper)} above"
        return text, _says(min(drawn.lower, drawn.upper) >= least - _EDGE)

    return test


def _grille(drawn: Drawn) -> tuple[str, str]:
    if drawn.foot is None:
        return "no open slot at the foot, or one behind a mesh, strip or louvre", MET
    return f"{millimetres(drawn.foot)} without a grille", _says(drawn.foot <= 0.020 + _EDGE)


def _ribbed(drawn: Drawn) -> tuple[str, str]:
    return f"cavity without ribs: {per_metre(drawn.depth * (1.0 - drawn.blocked))}", OUTSIDE


def _only(word: tuple[str, ...], test: _Test, why: str) -> _Test:
    def tested(drawn: Drawn) -> tuple[str, str]:
        text, outcome = test(drawn)
        return (text, outcome) if any(each in drawn.materials for each in word) else (f"{text} ({why})", OUTSIDE)

    return tested


def _joints_deep(drawn: Drawn) -> tuple[str, str]:
    joints = "open joints" if drawn.joints else "no open joints between base and head"
    return f"{millimetres(drawn.depth)}, {joints}", _says(drawn.depth >= (0.050 if drawn.joints else 0.038) - _EDGE)


def _joints_wide(drawn: Drawn) -> tuple[str, str]:
    if not drawn.joints:
        return "no open joints between base and head", OUTSIDE
    return f"narrowest {millimetres(min(drawn.joints))}", _says(min(drawn.joints) >= 0.010 - _EDGE)


def _class_of(drawn: Drawn) -> tuple[str, str]:
    return f"{drawn.iso_class}: {per_metre(sum(drawn.vents))} in all", OUTSIDE if not drawn.iso_class else MET


def _quarter_inch(drawn: Drawn) -> tuple[str, str]:
    vented = drawn.lower > 0.0 and drawn.upper > 0.0
    where = "vented below and above" if vented else "not vented both below and above"
    return f"{millimetres(drawn.depth)}, {where}", _says(drawn.depth >= 0.00635 - _EDGE and vented)


def _open_membrane(drawn: Drawn) -> tuple[str, str]:
    if not drawn.membranes:
        return "no membrane outside the insulation", BY_HAND
    text = ", ".join(f"{name} s_d {_plain(sd)} m" for name, sd in drawn.membranes)
    return text, _says(max(sd for _, sd in drawn.membranes) <= _CLASS_4)


def _drained_and_open(drawn: Drawn) -> tuple[str, str]:
    text, outcome = _open_membrane(drawn)
    vented = drawn.lower > 0.0 and drawn.upper > 0.0
    where = "vented below and above" if vented else "not vented both below and above"
    return f"{where}; {text}", outcome if vented else MISSED


def _barriers(drawn: Drawn) -> tuple[str, str]:
    if not drawn.barriers:
        return "no barrier drawn in this strip", BY_HAND
    return "; ".join(f"{name}: {per_metre(area)} left open" for name, area in drawn.barriers), BY_HAND


@dataclass(frozen=True)
class _Rule:
    document: str
    clause: str
    edition: str
    known: str
    asks: str
    test: _Test


_DIN = ("DIN 18516-1", "ventilation", "", SECOND)
RULES: tuple[_Rule, ...] = (
    _Rule(*_DIN, "cavity depth at least 20 mm (5 mm in places)", _deep(COMMON_DEPTH)),
    _Rule(*_DIN, "vents at the foot at least 50 cm²/m", _vented("lower", COMMON_VENTS)),
    _Rule(*_DIN, "vents at the roof edge at least 50 cm²/m", _vented("upper", COMMON_VENTS)),
    _Rule(*_DIN, "openings at the foot wider than 20 mm have a grille", _grille),
    _Rule(*_DIN, "behind ribbed sheets: free section at least 200 cm²/m", _ribbed),
    _Rule(
        "Austrian brick association", "ventilated facing of brick", "", READ,
        "depth at least 20 mm; inlet and outlet at least 150 cm²/m each, also at sill and lintel",
        _only(
            ("brick", "clay"),
            lambda drawn: (
                f"{millimetres(drawn.depth)}; {per_metre(drawn.lower)} below, {per_metre(drawn.upper)} above",
                _says(min(drawn.lower, drawn.upper) >= 0.015 - _EDGE and drawn.depth >= 0.020 - _EDGE),
            ),
            "no brick in this wall",
        ),
    ),
    _Rule("NHBC Standards", "6.9.18", "2021, 2023", READ,
          "at least 50 mm clear behind open joints, 38 mm behind baffled joints", _joints_deep),
    _Rule("NHBC Standards", "6.9.18", "2021, 2023", READ, "joints at least 10 mm wide", _joints_wide),
    _Rule("ISO 6946", "air layers", "2017", READ,
          "unventilated below 5, slightly ventilated 5 to 15, well ventilated above 15 cm²/m (a class, not a demand)",
          _class_of),
    _Rule("ICC 700", "602.1.9(5)", "2012", READ,
          "at least 1/4 in (6.4 mm), vented top and bottom (or 75 % drainage by ASTM E2273)", _quarter_inch),
    _Rule("IBC", "2510.6 exception 2", "2018; 2021: 3/16 in for drainage", READ,
          "behind stucco in climate zones 1A to 3A: ventilated space; 3/16 in (4.8 mm) for drainage",
          _only(("stucco", "render", "plaster"), _deep(0.00476), "no stucco in this wall")),
    _Rule("NCC", "F8D3, 10.8.1", "2025 draft", READ,
          "climate zones 6 to 8: drained and vented cavity, membrane outside the insulation vapour-open (class 4, "
          "s_d up to 0.17 m from memory)", _drained_and_open),
    _Rule("NBC", "9.27.2.2", "", RECALLED, "capillary break of 10 mm or more", _deep(0.010)),
    _Rule("NZ Building Code E2/AS1", "cavity", "", RECALLED, "cavity of 20 mm", _deep(0.020)),
    _Rule("NZ Building Code E2/AS1", "cavity", "", RECALLED, "vents at the foot of 10 cm²/m",
          _vented("lower", 0.0010)),
    _Rule("Approved Document B, EN 1364-6, BS 9414", "cavity barriers", "", READ,
          "cavity barriers and open-state barriers by their tests: fire rules decide", _barriers),
)  # fmt: skip

# quantities that a rule of the user's own may bound: how it is named -> value of the drawing, and its text
OWN_QUANTITIES: dict[str, tuple[Callable[[Drawn], float | None], Callable[[float], str]]] = {
    "cavity depth": (lambda drawn: drawn.depth, millimetres),
    "vents in the lower half": (lambda drawn: drawn.lower, per_metre),
    "vents in the upper half": (lambda drawn: drawn.upper, per_metre),
    "free vent area": (lambda drawn: sum(drawn.vents), per_metre),
    "smallest vent": (lambda drawn: min(drawn.vents, default=0.0), per_metre),
    "joint width": (lambda drawn: min(drawn.joints, default=None), millimetres),
    "open slot at the foot": (lambda drawn: drawn.foot, millimetres),
    "rail gap": (lambda drawn: min((gap for _, gap in drawn.gaps), default=None), millimetres),
    "barrier free area": (lambda drawn: min((area for _, area in drawn.barriers), default=None), per_metre),
    "s_d outside the insulation": (
        lambda drawn: max((sd for _, sd in drawn.membranes), default=None), lambda value: f"{_plain(value)} m",
    ),
}  # fmt: skip


def _own(rule: Rule, drawn: Drawn) -> Check:
    value_of, text_of = OWN_QUANTITIES[rule.quantity]
    least, most = rule.at_least, rule.at_most
    given = (("at least", least), ("at most", most))
    bounds = [f"{words} {text_of(bound)}" for words, bound in given if bound is not None]
    value = value_of(drawn)
    if value is None:
        shown, outcome = "not drawn", OUTSIDE
    else:
        fine = (least is None or value >= least - _EDGE) and (most is None or value <= most + _EDGE)
        shown, outcome = text_of(value), _says(fine)
    asks = f"{rule.quantity} {' and '.join(bounds)}"
    return Check(rule.document, rule.clause, rule.edition, "your own rule", asks, shown, outcome)


def checks(ds: xr.Dataset) -> tuple[Check, ...]:
    """Return every rule beside what is drawn of a case; the user's own first.

    Parameters
    ----------
    ds : xarray.Dataset
        Result of `simulate`.

    Returns
    -------
    tuple of Check
    """
    drawn = drawn_of(ds)
    found = [_own(rule, drawn) for rule in drawn.own]
    for rule in RULES:
        text, outcome = rule.test(drawn)
        found.append(Check(rule.document, rule.clause, rule.edition, rule.known, rule.asks, text, outcome))
    return tuple(found)


def below_common(depth: float, lower: float, upper: float) -> tuple[str, ...]:
    """Return which of the common sizes a drawing is below, in words; empty where it meets them.

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
    found = []
    if depth < COMMON_DEPTH - _EDGE:
        found.append(f"depth {millimetres(depth)}, rule {millimetres(COMMON_DEPTH)}")
    if lower < COMMON_VENTS - _EDGE:
        found.append(f"vents in the lower half {per_metre(lower)}, rule {per_metre(COMMON_VENTS)}")
    if upper < COMMON_VENTS - _EDGE:
        found.append(f"vents in the upper half {per_metre(upper)}, rule {per_metre(COMMON_VENTS)}")
    return tuple(found)
