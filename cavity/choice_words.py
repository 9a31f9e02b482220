"""The words of choices: sizes, rules compared with a drawing, and why a choice is recommended.

`cavity.risk` ranks choices, compares drawings with published rules and recommends a choice, in SI and without words.
Their words are made here, those of findings in `cavity.finding_words`. Nothing is judged here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any, Protocol

from cavity.constants import UNVENTILATED_LIMIT, WELL_VENTILATED_LIMIT
from cavity.finding_words import amount, change, decimals, lower_title


class _Drawing(Protocol):
    """What is read of a `cavity.risk.rules.Drawing`, which describes each of these."""

    @property
    def depth(self) -> float: ...
    @property
    def lower(self) -> float: ...
    @property
    def upper(self) -> float: ...
    @property
    def vents(self) -> tuple[float, ...]: ...
    @property
    def iso_class(self) -> str: ...
    @property
    def joints(self) -> tuple[float, ...]: ...
    @property
    def foot(self) -> float | None: ...
    @property
    def clear_section(self) -> float: ...
    @property
    def vented(self) -> bool: ...
    @property
    def membranes(self) -> tuple[tuple[str, float], ...]: ...
    @property
    def barriers(self) -> tuple[tuple[str, float], ...]: ...


class _Check(Protocol):
    """What is read of a `cavity.risk.rules.Check`."""

    @property
    def key(self) -> str: ...
    @property
    def bounds(self) -> Sequence[float | None]: ...
    @property
    def value(self) -> float | None: ...
    @property
    def drawing(self) -> _Drawing: ...
    @property
    def applies(self) -> bool: ...


class _Size(Protocol):
    """What is read of a `cavity.risk.ranking.Choice` to compare its sizes with those of another."""

    @property
    def depth(self) -> float: ...
    @property
    def area(self) -> float: ...


class _Shortfall(Protocol):
    """What is read of a `cavity.risk.rules.Shortfall`."""

    @property
    def size(self) -> str: ...
    @property
    def value(self) -> float: ...
    @property
    def least(self) -> float: ...


# ---- sizes -----------------------------------------------------------------------------------------------------------
def _plain(value: float, digits: int = 3) -> str:
    text = f"{value:.{digits}g}"
    return f"{float(text):g}" if "e" in text else text


def metres(value: float) -> str:
    """Return a length [m] as text, in metres."""
    return f"{_plain(value)} m"


def millimetres(value: float) -> str:
    """Return a length [m] as text, in millimetres."""
    return f"{_plain(1e3 * value)} mm"


def per_metre(value: float) -> str:
    """Return an area per metre of wall [m2/m] as text."""
    return f"{_plain(1e4 * value)} cm²/m"


_SIZES: dict[str, tuple[str, Callable[[float], str]]] = {
    "depth": ("depth", millimetres),
    "lower": ("vents in the lower half", per_metre),
    "upper": ("vents in the upper half", per_metre),
}


def below_text(shortfalls: Iterable[_Shortfall]) -> str:
    """Return which of the common sizes a drawing is below, such as "depth 15 mm, rule 20 mm"; empty where none.

    Parameters
    ----------
    shortfalls : iterable of cavity.risk.rules.Shortfall
        From `below_common`.
    """
    parts = []
    for shortfall in shortfalls:
        name, text_of = _SIZES[shortfall.size]
        parts.append(f"{name} {text_of(shortfall.value)}, rule {text_of(shortfall.least)}")
    return "; ".join(parts)


def size_difference(base: _Size, other: _Size) -> str:
    """Return what another choice takes more or less of: "10 mm more depth"; empty where the sizes are the same."""
    parts = []
    if abs(other.depth - base.depth) > 1e-9:
        depth = decimals(1e3 * abs(other.depth - base.depth))
        parts.append(f"{depth} mm {'more' if other.depth > base.depth else 'less'} depth")
    if abs(other.area - base.area) > 1e-9:
        area = decimals(1e4 * abs(other.area - base.area))
        parts.append(f"{area} cm²/m {'more' if other.area > base.area else 'less'} free vent area")
    return " and ".join(parts)


# ---- rules: what each asks -------------------------------------------------------------------------------------------
_CLASSES = (
    f"unventilated below {_plain(1e4 * UNVENTILATED_LIMIT)}, slightly ventilated {_plain(1e4 * UNVENTILATED_LIMIT)} to "
    f"{_plain(1e4 * WELL_VENTILATED_LIMIT)}, well ventilated above {per_metre(WELL_VENTILATED_LIMIT)} "
    "(a class, not a demand)"
)
_ASKS: dict[str, Callable[..., str]] = {  # of the bounds of a rule, by its key
    "din depth": lambda least: f"cavity depth at least {millimetres(least)} (5 mm in places)",
    "din lower": lambda least: f"vents at the foot at least {per_metre(least)}",
    "din upper": lambda least: f"vents at the roof edge at least {per_metre(least)}",
    "din grille": lambda most: f"openings at the foot wider than {millimetres(most)} have a grille",
    "din ribbed": lambda least: f"behind ribbed sheets: free section at least {per_metre(least)}",
    "brick": lambda depth, area: (
        f"depth at least {millimetres(depth)}; inlet and outlet at least {per_metre(area)} each, also at sill and "
        "lintel"
    ),
    "nhbc depth": lambda opened, baffled: (
        f"at least {millimetres(opened)} clear behind open joints, {millimetres(baffled)} behind baffled joints"
    ),
    "nhbc joints": lambda least: f"joints at least {millimetres(least)} wide",
    "iso class": lambda: _CLASSES,
    "icc vented": lambda least: (
        f"at least 1/4 in ({millimetres(least)}), vented top and bottom (or 75 % drainage by ASTM E2273)"
    ),
    "ibc stucco": lambda least: (
        "behind stucco in climate zones 1A to 3A: ventilated space; "
        f"3/16 in ({decimals(1e3 * least, 1)} mm) for drainage"
    ),
    "ncc membrane": lambda most: (
        "climate zones 6 to 8: drained and vented cavity, membrane outside the insulation vapour-open (class 4, "
        f"s_d up to {metres(most)} from memory)"
    ),
    "nbc depth": lambda least: f"capillary break of {millimetres(least)} or more",
    "nz depth": lambda least: f"cavity of {millimetres(least)}",
    "nz lower": lambda least: f"vents at the foot of {per_metre(least)}",
    "barriers": lambda: "cavity barriers and open-state barriers by their tests: fire rules decide",
}


# ---- rules: what is drawn --------------------------------------------------------------------------------------------
def _depth(check: _Check) -> str:
    return millimetres(check.drawing.depth)


def _lower(check: _Check) -> str:
    return per_metre(check.drawing.lower)


def _grille(check: _Check) -> str:
    if check.drawing.foot is None:
        return "no open slot at the foot, or one behind a mesh, strip or louvre"
    return f"{millimetres(check.drawing.foot)} without a grille"


def _brick(check: _Check) -> str:
    drawing = check.drawing
    text = f"{millimetres(drawing.depth)}; {per_metre(drawing.lower)} below, {per_metre(drawing.upper)} above"
    return text if check.applies else f"{text} (no brick in this wall)"


def _stucco(check: _Check) -> str:
    return _depth(check) if check.applies else f"{_depth(check)} (no stucco in this wall)"


_NO_JOINTS = "no open joints between base and head"


def _behind_joints(check: _Check) -> str:
    return f"{_depth(check)}, {'open joints' if check.drawing.joints else _NO_JOINTS}"


def _joints(check: _Check) -> str:
    return f"narrowest {millimetres(min(check.drawing.joints))}" if check.drawing.joints else _NO_JOINTS


def _vented(drawing: _Drawing) -> str:
    return "vented below and above" if drawing.vented else "not vented both below and above"


def _membranes(check: _Check) -> str:
    names = ", ".join(f"{name} s_d {metres(sd)}" for name, sd in check.drawing.membranes)
    return f"{_vented(check.drawing)}; {names or 'no membrane outside the insulation'}"


def _barriers(check: _Check) -> str:
    barriers = "; ".join(f"{name}: {per_metre(area)} left open" for name, area in check.drawing.barriers)
    return barriers or "no barrier drawn in this strip"


_DRAWN: dict[str, Callable[[Any], str]] = {
    **dict.fromkeys(("din depth", "nbc depth", "nz depth"), _depth),
    **dict.fromkeys(("din lower", "nz lower"), _lower),
    "din upper": lambda check: per_metre(check.drawing.upper),
    "din grille": _grille,
    "din ribbed": lambda check: f"cavity without ribs: {per_metre(check.drawing.clear_section)}",
    "brick": _brick,
    "nhbc depth": _behind_joints,
    "nhbc joints": _joints,
    "iso class": lambda check: f"{check.drawing.iso_class}: {per_metre(sum(check.drawing.vents))} in all",
    "icc vented": lambda check: f"{_depth(check)}, {_vented(check.drawing)}",
    "ibc stucco": _stucco,
    "ncc membrane": _membranes,
    "barriers": _barriers,
}

_OWN_SIZES: dict[str, Callable[[float], str]] = {  # quantities that a rule of the user's own may bound
    **dict.fromkeys(("cavity depth", "joint width", "open slot at the foot", "rail gap"), millimetres),
    **dict.fromkeys(
        (
            "vents in the lower half", "vents in the upper half", "free vent area", "smallest vent",
            "barrier free area",
        ),
        per_metre,
    ),
    "s_d outside the insulation": metres,
}  # fmt: skip


def rule_text(check: _Check) -> str:
    """Return what a rule asks, of a `cavity.risk.rules.Check`."""
    if check.key in _OWN_SIZES:
        text_of = _OWN_SIZES[check.key]
        named = zip(("at least", "at most"), check.bounds, strict=True)
        return f"{check.key} {' and '.join(f'{words} {text_of(bound)}' for words, bound in named if bound is not None)}"
    return _ASKS[check.key](*check.bounds)


def drawn_text(check: _Check) -> str:
    """Return what is drawn of what a rule asks, of a `cavity.risk.rules.Check`."""
    if check.key in _OWN_SIZES:
        return "not drawn" if check.value is None else _OWN_SIZES[check.key](check.value)
    return _DRAWN[check.key](check)


# ---- the recommended choice ------------------------------------------------------------------------------------------
_REASONS = {  # when to take the runner-up, by the reason of a recommendation
    "below rules": "only where a size below the common rules is accepted",
    "smaller": "where depth or vents are scarce and the smaller margin is accepted",
    "smaller and safer": "where depth or vents are scarce",
    "safer": "where more margin is wanted: a more humid room, more rain, or less certain workmanship",
    "alike": "where the detail suits the building better",
}


def gain_text(recommendation: Any) -> str:
    """Return what more vent area or depth than a `cavity.risk.Recommendation` still gains; empty where unknown."""
    larger = recommendation.larger
    if larger is None:
        return ""
    if larger.old is None:
        return "more vent area or depth improves no criterion"
    gained = amount(larger.old.value - larger.new.value, larger.old)
    return f"more vent area or depth lowers the {lower_title(larger.old)} by {gained} at most"


def runner_up_text(recommendation: Any) -> str:
    """Return what the runner-up of a `cavity.risk.Recommendation` takes and does, and when to choose it; else empty."""
    other = recommendation.runner_up
    if other is None:
        return ""
    takes = size_difference(recommendation.choice, other) or "the same sizes"
    effect = "changes no criterion by more than 2 % of its limit"
    if recommendation.effect.old is not None:
        effect = change(recommendation.effect.old, recommendation.effect.new)
    reason = _REASONS[recommendation.reason]
    if recommendation.reason == "below rules":
        reason = f"{reason} ({below_text(other.below)})"
    return f"It takes {takes} and {effect}; choose it {reason}."
