"""The words of a finding: title, place, time, units as people write them, and the sentence.

A criterion (`cavity.risk`) finds numbers in SI and says where and when; what is said of them is made here, in this one
module, for reports, the terminal, advice, the live page and whoever reads a finding in Python. Nothing is judged here.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple, Protocol

from cavity.constants import ICE_POINT

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


class _Finding(Protocol):
    """What is read of a `cavity.risk.Finding`, which describes each of these."""

    @property
    def key(self) -> str: ...
    @property
    def value(self) -> float: ...
    @property
    def limit(self) -> float: ...
    @property
    def units(self) -> str: ...
    @property
    def status(self) -> str: ...
    @property
    def ratio(self) -> float: ...
    @property
    def rising(self) -> bool: ...
    @property
    def can_fail(self) -> bool: ...
    @property
    def threshold(self) -> str: ...
    @property
    def face(self) -> str: ...
    @property
    def between(self) -> tuple[str, ...]: ...
    @property
    def layer(self) -> str: ...
    @property
    def segment(self) -> str: ...
    @property
    def spot(self) -> str: ...
    @property
    def studs(self) -> bool: ...
    @property
    def months(self) -> tuple[int, ...]: ...
    @property
    def worst_hour(self) -> str: ...
    @property
    def facts(self) -> Mapping[str, Any]: ...


class Shown(NamedTuple):
    """Value and limit of a finding as people write them, with their unit as text."""

    value: float  # in `units`
    limit: float  # in `units`
    units: str


# ---- numbers ---------------------------------------------------------------------------------------------------------
def decimals(value: Any, digits: int = 0) -> str:
    """Return a number with so many decimals for a sentence, without a minus before zero."""
    text = f"{float(value):.{digits}f}"
    return text.lstrip("-") if float(text) == 0.0 else text


def apart(value: float, limit: float, digits: int = 0, write: Callable[[float, int], str] = decimals) -> str:
    """Return a number with the digits that show on which side of its limit it is: 3.004, not 3.0 of 3.

    Parameters
    ----------
    value, limit : float
        In one unit. [as the sentence says]
    digits : int
        Least number of digits, as `write` counts them.
    write : callable
        Makes the text of a number with so many digits.
    """
    for more in range(digits, digits + 3):
        text = write(value, more)
        if value == limit or text != write(limit, more):
            break
    return text


# ---- units -----------------------------------------------------------------------------------------------------------
_UNITS: dict[str, tuple[float, str]] = {  # factor on the SI value, and the unit then
    **dict.fromkeys(("mould", "mould_room", "mould_cladding", "decay", "decay_cladding"), (1.0, "")),
    **dict.fromkeys(("wood_moisture", "wood_moisture_cladding", "condensate_wood"), (100.0, "% by mass")),
    **dict.fromkeys(("wood_pores", "humidity"), (100.0, "%")),
    **dict.fromkeys(("condensate_face", "condensate_inside", "film"), (1e3, "g/m²")),
    **dict.fromkeys(("frost", "frost_cladding"), (1.0, "per year")),
    "residue": (1e3, "g/m² per year"),
    "air_layer": (1e4, "cm²/m"),
}


def scale(key: str, units: str) -> tuple[float, str]:
    """Return how values of a criterion are shown: the factor on the SI value, and the unit as text.

    Parameters
    ----------
    key : str
        The criterion.
    units : str
        Unit of the value, kept where the criterion is not known.
    """
    return _UNITS.get(key, (1.0, "" if units == "1" else units))


def shown(finding: _Finding) -> Shown:
    """Return value and limit as people write them: 18.2 and 20 % by mass, not 0.182 and 0.2 kg/kg."""
    factor, units = scale(finding.key, finding.units)
    return Shown(factor * finding.value, factor * finding.limit, units)


# ---- title, place, time ----------------------------------------------------------------------------------------------
_TITLES = {
    "mould": "Mould index in the wall",
    "mould_room": "Mould index at the interior surface",
    "mould_cladding": "Mould index on the weather side",
    "wood_moisture": "Wood moisture content",
    "wood_moisture_cladding": "Wood moisture content of the cladding",
    "wood_pores": "Humidity in the pores of wood, daily mean",
    "decay": "Decay of wood in the wall",
    "decay_cladding": "Decay of wood cladding",
    "condensate_face": "Condensate on wall surfaces",
    "condensate_inside": "Condensate inside the wall",
    "condensate_wood": "Condensate absorbed by wood",
    "residue": "Annual moisture accumulation",
    "humidity": "Relative humidity, 30-day mean",
    "film": "Film on the back of the cladding",
    "wetness": "Time of wetness of fixings in the cavity",
    "wetness_cladding": "Time of wetness of metal at the cavity",
    "wetness_wall": "Time of wetness of metal in the wall",
    "frost": "Freeze-thaw cycles above critical saturation",
    "frost_cladding": "Freeze-thaw cycles above critical saturation, cladding",
    "air_layer": "Class of the air layer",
    "drying": "Drying after a wetting event",
}


# What the trade calls a surface, by its label in the Dataset.
_SURFACES = {
    "outer face": "exterior surface",
    "back of cladding": "back of the cladding",
    "outer face of wall": "exterior surface of the backup wall",
    "room face": "interior surface",
}


def surface_in_words(label: str) -> str:
    """Return a surface, interface or spot as people write it, by its label in the Dataset; another label as it is.

    Parameters
    ----------
    label : str
        Such as ``"room face"``, ``"sheathing | insulation"`` or ``"rails through insulation, room face"``.
    """
    outer, bar, inner = label.partition(" | ")
    if bar:
        return f"between {outer} and {inner}"
    spot, comma, surface = label.rpartition(", ")
    return f"{spot}{comma}{_SURFACES.get(surface, surface)}"


def at_surface(label: str) -> str:
    """Return a surface, interface or spot within a sentence: "at the interior surface", "between OSB and wool".

    Parameters
    ----------
    label : str
        As for `surface_in_words`.
    """
    text = surface_in_words(label)
    if label in _SURFACES:
        return f"at the {text}"
    return text if " | " in label else f"at {text}"


def title_of(key: str) -> str:
    """Return the title of a criterion by its key; for an unknown one the key in words."""
    return _TITLES.get(key, key.replace("_", " ").capitalize())


def title(finding: _Finding) -> str:
    """Return the title of a criterion at the place of a finding."""
    text = title_of(finding.key)
    if finding.key == "dew_point":
        text = "Hours of dew at the rails" if finding.spot else f"Hours of dew, {surface_in_words(finding.face)}"
        text = "Hours of condensation inside the wall" if finding.between else text
    return f"{text}, at the studs" if finding.studs else text


def lower_title(finding: _Finding) -> str:
    """Return the title of a finding within a sentence."""
    text = title(finding)
    return text[:1].lower() + text[1:] if text[1:2].islower() else text


def where(finding: _Finding) -> str:
    """Return where it is: layer, surface, interface or spot, and the segment where there are several."""
    text = finding.layer or surface_in_words(finding.spot or finding.face)
    text = f"{text}, {finding.segment}" if finding.segment else text
    if finding.key == "drying":
        text = finding.layer or "whole wall"
    elif finding.key == "air_layer":
        text = f"openings of the column {finding.facts['column']}"
    return f"{text}, at the studs" if finding.studs else text


def at(finding: _Finding, note: str = "") -> str:
    """Return where it is, in a sentence: "between OSB and wool (top)"; a note is added in brackets."""
    text = at_surface(finding.face or finding.spot or finding.layer)
    if finding.between:
        text = f"between {finding.between[0]} and {finding.between[1]}"
    return _bracketed(text, finding.segment, note)


def _bracketed(text: str, *notes: str) -> str:
    inside = "; ".join(note for note in notes if note)
    return f"{text} ({inside})" if inside else text


def _layer(finding: _Finding) -> str:
    """Return the layer, spot or surface of a finding in a sentence, its segment in brackets: "sheathing (top)"."""
    return _bracketed(finding.layer or surface_in_words(finding.spot or finding.face), finding.segment)


def plane_in_words(face: str, between: Sequence[str], segment: str) -> str:
    """Return a surface, interface or layer within a sentence: "at the top, between membrane and sheathing"."""
    plane = f"between {between[0]} and {between[1]}" if between else at_surface(face)
    if segment in ("base", "middle", "top"):
        return f"at the {segment}, {plane}"
    return f"{plane}, {segment}" if segment else plane


def place_in_words(finding: _Finding) -> str:
    """Return where it is within a sentence: "at the top, between membrane and sheathing"."""
    if finding.key in ("drying", "air_layer"):
        return f"at {where(finding)}"
    between = () if finding.layer else finding.between
    text = plane_in_words(finding.layer or finding.spot or finding.face, between, finding.segment)
    return f"{text}, at the studs" if finding.studs else text


def stamp(hour: str) -> str:
    """Return date and hour of an ISO time as text, e.g. ``14 Feb 05:00``; the year is omitted: any year is meant."""
    return f"{int(hour[8:10])} {MONTHS[int(hour[5:7]) - 1]} {hour[11:13]}:00"


def month_ranges(months: Sequence[int]) -> str:
    """Return months (1 to 12) as text, as ranges over the turn of the year."""
    present = [month + 1 in months for month in range(12)]
    if not any(present):
        return ""
    if all(present):
        return "all year"
    parts = []
    for begin in (m for m in range(12) if present[m] and not present[m - 1]):
        end = begin
        while present[(end + 1) % 12]:
            end = (end + 1) % 12
        parts.append(MONTHS[begin] if begin == end else f"{MONTHS[begin]} to {MONTHS[end]}")
    return ", ".join(parts)


def when(finding: _Finding) -> str:
    """Return the months in which it happens and the worst hour; empty where it never happens."""
    if finding.key == "residue":
        years = int(finding.facts["years"])
        return f"end of year {years} against {f'year {years - 1}' if years > 1 else 'the start'}"
    if finding.key == "drying":
        return "from the start of the run"
    text = month_ranges(finding.months)
    return f"{text}; worst {stamp(finding.worst_hour)}" if text and finding.worst_hour else text


# ---- sentences -------------------------------------------------------------------------------------------------------
def sentence(finding: _Finding) -> str:
    """Return one plain sentence: what was found, where, and against which limit."""
    make = _SENTENCES.get(finding.key)
    if make is None:
        seen = shown(finding)
        units = f" {seen.units}" if seen.units else ""
        text = f"{title(finding)} {at(finding)}: {seen.value:.3g}{units} ({finding.threshold} {seen.limit:.3g}{units})."
    else:
        text = make(finding)
    return f"At the studs: {text[0].lower()}{text[1:]}" if finding.studs else f"{text[0].upper()}{text[1:]}"


def _years(years: Any) -> str:
    return f"{int(years)} {'year' if int(years) == 1 else 'years'} of this weather"


def _grams(value: float) -> str:
    """Return an amount of water [g/m²] for a sentence."""
    return f"{decimals(value)} g/m²" if value >= 0.5 else "less than 1 g/m²"


def _up_to(value: float) -> str:
    """Return a largest amount of water [g/m²] for a sentence."""
    return f"up to {_grams(value)}" if value >= 0.5 else _grams(value)


def _mould(finding: _Finding) -> str:
    facts = finding.facts
    place = at(finding, f"{facts['sensitivity']} material")
    if finding.value < 0.01:
        return f"No mould grows {place}."
    bound = f"{'limit' if finding.can_fail else 'for comparison:'} {decimals(finding.limit, 1)}"
    bound += ", visible growth" if finding.limit == 3.0 else ""
    bound += f"; review from {decimals(facts['review'], 1)}" if finding.can_fail else ""
    if finding.value < 0.05 and not finding.rising:
        return f"The mould index {place} stays below 0.1 of 6 ({bound})."
    years = int(facts["years"])
    reached = f"settles after {_years(years)}"
    if finding.rising:
        reached = f"is still rising, by {decimals(facts['rise'], 2)} per year, after {_years(years)}"
    elif years == 1:
        reached = (
            "may rise further if the year is repeated" if facts["whole_year"] else "was computed for less than a year"
        )
    return f"The mould index {place} reaches {apart(finding.value, finding.limit, 1)} of 6 and {reached} ({bound})."


def _wood_moisture(finding: _Finding) -> str:
    value, limit, _ = shown(finding)
    return (
        f"The highest 30-day mean moisture content of {_layer(finding)} is {apart(value, limit, 1)} % by mass "
        f"({'limit' if finding.can_fail else 'review from'} {decimals(limit)} %); the highest hour is "
        f"{decimals(100 * finding.facts['highest'], 1)} %."
    )


def _wood_pores(finding: _Finding) -> str:
    value, limit, _ = shown(finding)
    days = int(finding.facts["days_above"])
    text = (
        f"The daily mean in the outer 10 mm of the wood {at(finding)} comes nearest to its curve with "
        f"{decimals(value, 1)} % RH at {decimals(finding.facts['temperature'] - ICE_POINT, 1)} °C (review above "
        f"{decimals(limit, 1)} % at that temperature)"
    )
    return f"{text}; it exceeds the curve on {_days(days)}." if days else f"{text}."


def _days(days: Any) -> str:
    return f"{int(days)} {'day' if int(days) == 1 else 'days'}"


def _decay(finding: _Finding) -> str:
    facts = finding.facts
    if finding.value >= 1.0:
        lost = f"{decimals(100 * facts['loss'], 1)} %"
        if facts["beyond_data"]:
            lost = f"more than {decimals(100 * facts['loss'])} %"
        return (
            f"Rot becomes active {at(finding)} in year {int(facts['years'])} of this weather; the loss is then {lost} "
            "of the mass per year."
        )
    if finding.value > 0.0:
        fraction = f"{decimals(100 * finding.value)} %" if finding.value >= 0.005 else "less than 1 %"
        text = f"The activation of rot {at(finding)} reaches {fraction} of its threshold"
        return f"{text} after {_years(facts['years'])} and is still rising." if finding.rising else f"{text}."
    return "The wood is never wet and warm enough for rot."


def _condensate(finding: _Finding) -> str:
    inside = finding.key == "condensate_inside"
    facts, (value, limit, _) = finding.facts, shown(finding)
    if not facts["any"]:
        return "No condensate forms at interfaces inside the wall." if inside else "No dew forms on the wall surfaces."
    text = f"{_up_to(value)} of {'condensate' if inside else 'dew'} forms {at(finding)} and "
    text += "does not dry completely within the year" if facts["never_dry"] else "dries again"
    text += f" (review from {decimals(1e3 * facts['review'])} g/m², limit {decimals(limit)} g/m²)"
    if facts["runs"]:
        text += f"; {_grams(1e3 * facts['drained'])} per year runs {_ran(finding)}"
        text += ", where it must be able to leave" if inside else ""
    return f"{text}."


def _ran(finding: _Finding) -> str:
    """Return where water runs that drains at a surface."""
    if finding.facts["role"] == "outer face of wall":
        return "down the exterior surface of the wall to the base of the cavity"
    if finding.facts["role"] == "room face":
        return "down the interior surface"
    return f"down inside the wall, between {finding.between[0]} and {finding.between[1]}"


def _condensate_wood(finding: _Finding) -> str:
    value, limit, _ = shown(finding)
    kind = "wood-based board" if finding.facts["board"] else "solid wood"
    if not finding.facts["any"]:
        return f"No condensate enters {_layer(finding)}; limit {decimals(limit)} % of its mass for {kind}."
    return (
        f"The condensate that {_layer(finding)} absorbs {at(finding)} reaches {decimals(value, 1)} % of its mass "
        f"(limit {decimals(limit)} % for {kind})."
    )


def _residue(finding: _Finding) -> str:
    facts = finding.facts
    water = f"water in {_layer(finding)}" if finding.layer else f"water {at(finding)}"
    gain, held = decimals(1e3 * finding.value), decimals(1e3 * facts["held"])
    if facts["outcome"] == "steady":
        change = decimals(1e3 * finding.value, 1)
        return f"No moisture accumulates: the {water} changes by {change} g/m² in the last year."
    if facts["outcome"] == "settles":
        return (
            f"The {water} still rises by {gain} g/m² per year, less than half of the rise of the year before: it "
            f"settles about {decimals(1e3 * facts['still'])} g/m² above the present {held} g/m²."
        )
    if facts["outcome"] == "one year":
        return f"The {water} rises by {gain} g/m² in the only year run; a longer run shows whether that continues."
    return (
        f"Growth: the {water} rises by {gain} g/m² each year and does not settle ({held} g/m² after {facts['years']} "
        "years)."
    )


def _humidity(finding: _Finding) -> str:
    value, limit, _ = shown(finding)
    facts = finding.facts
    return (
        f"The highest 30-day mean above 5 °C {at(finding)} is {decimals(value)} % RH (for comparison: "
        f"{decimals(limit)} %); above 80 % in {facts['hours_80']} h of the year, above 90 % in {facts['hours_90']} h, "
        f"above 95 % in {facts['hours_95']} h."
    )


def _dew_point(finding: _Finding) -> str:
    facts = finding.facts
    margin = decimals(facts["margin"], 1)
    if finding.spot:
        text = f"Dew at the {_layer(finding)}, in {decimals(finding.value)} h of the year"
        if not finding.value:
            text = f"Never below the dew point at the {_layer(finding)}"
        factor = decimals(facts["factor"], 2)
        return (
            f"{text} (lowest margin {margin} K, temperature factor about {factor}: an estimate by the zone method, no "
            "substitute for a two-dimensional calculation)."
        )
    text = f"{'Condensation' if finding.between else 'Dew'} {at(finding)} in {decimals(finding.value)} h of the year"
    if not finding.value:
        text = f"Never below the dew point {at(finding)}"
    judged = {
        "cladding": "dew on the cladding is normal and is not assessed",
        "room": "review from the first hour",
        "wall": f"review from {decimals(finding.limit)} h; amounts are assessed as condensate",
    }[facts["zone"]]
    return f"{text} (lowest margin {margin} K; {judged})."


def _film(finding: _Finding) -> str:
    facts, (value, limit, _) = finding.facts, shown(finding)
    if not facts["any"]:
        return "No water collects on the back of the cladding."
    text = f"The back of the cladding carries {_up_to(value)} of water or frost, on {_days(facts['days'])}"
    text += f", frozen in {decimals(facts['frost_hours'])} h" if facts["frost_hours"] else ""
    if not facts["runs"]:
        return f"{text}; it dries there and nothing runs off (a surface holds {decimals(limit)} g/m²)."
    litres = decimals(facts["runoff"], 2)
    if not facts["caught"]:
        return f"{text}; {litres} L/m run to the base per year, which must drain freely there."
    base = "the base" if facts["lowest"] else f"the barrier at {facts['height']:.2f} m"
    return f"{text}; {litres} L/m run to {base} per year, where no opening drains them."


def _wetness(finding: _Finding) -> str:
    facts = finding.facts
    span = "per year" if facts["days"] >= 365 else f"in {decimals(facts['days'])} days"
    hours = f"{decimals(finding.value)} h {span}"
    outdoors = f"outdoors {decimals(facts['outdoors'])} h"
    if finding.key == "wetness":
        text = (
            f"Metal rails and fasteners in the cavity have a time of wetness of {hours} (class {facts['class']}; "
            f"{outdoors}, class {facts['class_outdoors']})"
        )
        return (
            f"{text}: specify a coating for a harsher exposure than outdoors."
            if finding.status == "review"
            else f"{text}."
        )
    beside = f"review above {decimals(facts['review'])} h" if finding.key == "wetness_wall" else outdoors
    return f"Metal {at(finding)} has a time of wetness of {hours} (class {facts['class']}; {beside})."


def _frost(finding: _Finding) -> str:
    full = f"with more than {decimals(100 * finding.facts['critical'])} % of the pores full"
    if finding.value:
        cycles = "cycle" if finding.value == 1.0 else "cycles"
        return f"{_layer(finding)}: {decimals(finding.value)} freeze-thaw {cycles} per year {full}."
    most = decimals(100 * finding.facts["highest"])
    return f"{_layer(finding)}: no freeze-thaw cycle {full} (at most {most} % full at any time)."


def _air_layer(finding: _Finding) -> str:
    area = decimals(shown(finding).value)
    return f"A free vent area of {area} cm²/m makes the air layer {finding.facts['class']} by ISO 6946."


def _drying(finding: _Finding) -> str:
    facts = finding.facts

    def spell(days: float) -> str:
        return f"{decimals(days)} days" if math.isfinite(days) else f"more than {decimals(facts['followed'])} days"

    return (
        f"Of the {decimals(1e3 * facts['amount'])} g/m² added, 50 % has dried after {spell(facts['half'])} and 90 % "
        f"after {spell(facts['nine_tenths'])} ({spell(facts['closed'])} with the vents closed; review from "
        f"{decimals(finding.limit)} days)."
    )


_SENTENCES: dict[str, Callable[[_Finding], str]] = {
    **dict.fromkeys(("mould", "mould_room", "mould_cladding"), _mould),
    **dict.fromkeys(("wood_moisture", "wood_moisture_cladding"), _wood_moisture),
    **dict.fromkeys(("decay", "decay_cladding"), _decay),
    **dict.fromkeys(("condensate_face", "condensate_inside"), _condensate),
    **dict.fromkeys(("wetness", "wetness_cladding", "wetness_wall"), _wetness),
    **dict.fromkeys(("frost", "frost_cladding"), _frost),
    "wood_pores": _wood_pores,
    "condensate_wood": _condensate_wood,
    "residue": _residue,
    "humidity": _humidity,
    "dew_point": _dew_point,
    "film": _film,
    "air_layer": _air_layer,
    "drying": _drying,
}


# ---- several findings ------------------------------------------------------------------------------------------------
_NEAR = 0.01  # value over limit from which a limit is worth naming as the nearest
_STATE = {
    "review": ("item needs review", "items need review"),
    "fail": ("criterion fails", "criteria fail"),
}  # for one, for several


def verdict(top: _Finding, alike: int) -> str:
    """Return why a wall has its status: what decides, and how many other findings share that status.

    Parameters
    ----------
    top : Finding
        The worst.
    alike : int
        Findings of its status, itself included.
    """
    clause = f"{lower_title(top)}. {sentence(top)}"
    if top.status in ("pass", "information"):
        near = top.can_fail and top.ratio >= _NEAR
        return f"Meets all {alike} criteria; " + (
            f"nearest to its limit: {clause}" if near else "none comes near its limit."
        )
    lead = "Fails" if top.status == "fail" else "No criterion fails; some items need review"
    others = alike - 1
    more = f" {others} more {_STATE[top.status][others != 1]}." if others else ""
    return f"{lead}: {clause}{more}"


def amount(value: float, finding: _Finding) -> str:
    """Return a difference of values of a finding as text; value in its SI unit [finding.units]."""
    factor, units = scale(finding.key, finding.units)
    value = factor * value
    digits = 0 if abs(value) >= 10.0 else 1 if abs(value) >= 0.095 else 2
    return f"{decimals(value, digits)} {units}".strip()


def change(old: _Finding, new: _Finding) -> str:
    """Return how a criterion changes from one case to another: "lowers the mould index in the wall from 2.1 to 1.4"."""
    was, now, units = shown(old).value, shown(new).value, shown(old).units
    digits = 0 if max(abs(was), abs(now)) >= 20.0 else 1
    first, last = decimals(was, digits), decimals(now, digits)
    unit = f" {units}" if units else ""
    if first == last:
        return f"hardly changes the {lower_title(old)} ({first}{unit})"
    verb = "lowers" if now < was else "raises"
    return f"{verb} the {lower_title(old)} from {first} to {last}{unit}"
