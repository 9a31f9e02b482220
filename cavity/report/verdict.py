"""The first screen in words and cells: headline, recommended case, decision matrix, what to change first, cautions.

All of it is read from one `View`, which ranks the choices of a comparison once, by `cavity.risk.ranking`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from cavity.choice_words import below_text, size_difference
from cavity.finding_words import apart, lower_title
from cavity.report import air_words, display, elevation, series
from cavity.report.digest import about, digest
from cavity.result import wall_of
from cavity.risk.ranking import Choice, Part, gather, level, order, status, worst_by_criterion, worst_first
from cavity.risk.recommend import Recommendation, clogged, designs, least_bad, recommend

CAUTIONS = (
    "These results are advisory; they are not an approval. A cavity that is open over several storeys can carry fire: "
    "barriers and closures follow the local building code and a licensed designer, whatever they cost in ventilation.",
    "Structure, fixings, mould and health, and electrical work in a damp wall must each be checked by a qualified "
    "person. One year of weather is not a worst case, and workmanship matters as much as design.",
)

_WORD = {"pass": "passes", "review": "review", "fail": "fails", "none": "not computed"}
_STATE = {"pass": "passes", "review": "needs review", "fail": "fails", "none": "was not computed whole"}
# criteria in a word or two, for the cells of the matrix; their full titles are printed once below it
SHORT = {
    "mould": "mould", "mould_room": "mould, room side", "wood_moisture": "wood", "decay": "rot",
    "condensate_face": "condensate", "condensate_inside": "condensate inside", "condensate_wood": "condensate in wood",
    "residue": "yearly gain", "wood_pores": "pore humidity",
    "frost": "frost", "wetness_wall": "metal wet", "drying": "drying", "humidity": "humidity", "dew_point": "dew",
    "film": "film", "wetness": "metal in cavity", "wetness_cladding": "metal, cladding",
    "frost_cladding": "frost, cladding", "mould_cladding": "mould, cladding", "air_layer": "air layer",
}  # fmt: skip
_LIMIT = "limit"


# ---- one case --------------------------------------------------------------------------------------------------------
def worst(findings: Iterable[Any]) -> Any | None:
    """Return the finding that decides: the worst, or the nearest to its limit; None where there is none."""
    return next((finding for finding in worst_first(findings) if finding.status != "information"), None)


def case_status(case: Any) -> str:
    """Return pass, review or fail: the worst status among the findings of a case; review where none was judged."""
    return status(case.findings) if case.findings else "review"


def has_rain(case: Any) -> bool:
    """Return whether the weather of a case holds rain."""
    return bool(about(case).attrs.get("has_rain", 1))


def word(state: str, rain: bool = True) -> str:
    """Return the word for a status; where the weather has no rain, it says so."""
    return _WORD[state] if rain or state not in ("pass", "review") else f"{_WORD[state]} (no rain)"


def value_text(finding: Any, *, limit: bool = False) -> str:
    """Return the value of a finding, or its limit, with its unit."""
    value, bound, units = finding.shown
    if np.isnan(bound if limit else value):
        return "–"
    text = display.number(bound) if limit else apart(value, bound, 3, display.number)
    return f"{text} {units}".strip()


def found_text(finding: Any) -> str:
    """Return a finding in a few words: criterion, value, and its limit or what else is shown with the value."""
    if finding.threshold == _LIMIT and not finding.ratio > 0.0 and finding.status == "pass":
        return "no criterion comes near its limit"
    return f"{lower_title(finding)} {value_text(finding)} ({finding.threshold} {value_text(finding, limit=True)})"


def what(case: Any) -> str:
    """Return what decides a case in a few words with its number."""
    finding = worst(case.findings)
    if finding is None:
        return "No criterion was judged"
    text = found_text(finding)
    return text[:1].upper() + text[1:]


def opening_area(case: Any) -> float:
    """Return the total free vent area of the column [m2 per m of wall]."""
    return float(np.nansum(np.asarray(about(case)["opening_area"].values, float)))


def orientation(case: Any) -> float:
    """Return the orientation of a case [degrees clockwise from north]."""
    known = getattr(case, "orientation", None)  # a case of an engine knows it without its Dataset
    return float(about(case).attrs.get("orientation", 180.0) if known is None else known)


def variant(case: Any) -> str:
    """Return the variant of the layers of a case; empty: the wall as drawn."""
    return str(getattr(case, "variant", ""))


def climate_text(name: str) -> str:
    """Return the name of a climate within a report, whose head and provenance say that it is fictitious."""
    return str(name).removesuffix(" (fictitious)")


def variant_text(name: str) -> str:
    """Return a variant in words."""
    return name or "as drawn"


def place_text(case: Any, cases: Sequence[Any], *, strip: bool = True) -> str:
    """Return the climate of a case, and variant, facing and (with `strip`) strip as far as the cases differ in them."""
    parts = [climate_text(case.climate_name)]
    if len({variant(other) for other in cases}) > 1:
        parts.append(variant_text(variant(case)))
    if len({orientation(other) for other in cases}) > 1:
        parts.append(facing_text(orientation(case)))
    if strip and len({column(other) for other in cases}) > 1:
        parts.append(column(case))
    return ", ".join(parts)


def column(case: Any) -> str:
    """Return the column of a case."""
    known = getattr(case, "column", None)
    return str(about(case).attrs.get("column", "") if known is None else known)


def depth_text(depth: float) -> str:
    """Return a cavity depth [m] in words."""
    return f"{display.number(1e3 * depth)} mm"


def rising(finding: Any) -> bool:
    """Return whether a finding had not settled when the run ended."""
    return bool(finding.rising)


# ---- the comparison as a whole ---------------------------------------------------------------------------------------
def failed_of(comparison: Any) -> Sequence[Any]:
    """Return the cases that could not be computed."""
    return getattr(comparison, "failed", None) or ()


def compared_depths(comparison: Any) -> list[float]:
    """Return the cavity depths compared, those of cases not computed among them. [m]."""
    return sorted({float(case.depth) for case in (*comparison.cases, *failed_of(comparison))})


@dataclass(frozen=True)
class View:
    """A comparison, ranked once.

    Parameters
    ----------
    cases, failed : tuple
        Cases computed and not computed.
    choices : tuple of Choice
        Openings and depths, from the safest to the least safe.
    recommendation : Recommendation or None
        What to build; None where everything fails.
    number : dict
        Position of a case among those of the page, by its id.
    air : dict
        By the id of a case: median air change rate [1/h] of its least ventilated compartment, and the name of that
        compartment where there are several.
    dry : tuple of str
        Climates whose weather holds no rain.
    advice : tuple of str
        Sentences on what other openings and depths do.
    confidence : object or None
        What `cavity.study.uncertainty.confidence` found.
    """

    cases: tuple[Any, ...]
    failed: tuple[Any, ...]
    choices: tuple[Choice, ...]
    recommendation: Recommendation | None
    number: dict[int, int]
    air: dict[int, tuple[float, str]]
    dry: tuple[str, ...]
    rain_notes: tuple[str, ...] = ()
    advice: tuple[str, ...] = ()
    confidence: Any = None
    fractions: dict[str, float] = field(default_factory=dict)

    @property
    def best(self) -> Choice:
        """The recommended choice, else the one of least risk."""
        return self.recommendation.choice if self.recommendation else least_bad(self.choices)

    @property
    def climates(self) -> list[str]:
        """Climates in the order given."""
        return list(dict.fromkeys(case.climate_name for case in (*self.cases, *self.failed)))

    @property
    def strips(self) -> list[str]:
        """Strips of the wall in the order given."""
        return list(dict.fromkeys([*map(column, self.cases), *(str(case.column) for case in self.failed)]))

    @property
    def facings(self) -> list[float]:
        """Orientations. [degree]."""
        return sorted({*map(orientation, self.cases), *(float(case.orientation) for case in self.failed)})

    @property
    def variants(self) -> list[str]:
        """Variants of the layers, the wall as drawn first."""
        return list(dict.fromkeys(map(variant, (*self.cases, *self.failed))))

    def strip_text(self, name: str) -> str:
        """Return a strip in quotes, with its fraction of the wall length where that is known."""
        part = self.fractions.get(name, 0.0)
        return f"“{name}”" + (f" ({100 * part:.0f} % of the wall length)" if part else "")


def view(comparison: Any) -> View:
    """Rank a comparison.

    Parameters
    ----------
    comparison : Comparison
        `cases`, and if it has them `failed`, `advice` and `confidence`.

    Returns
    -------
    View
    """
    cases, failed = tuple(comparison.cases), tuple(failed_of(comparison))
    air: dict[int, tuple[float, str]] = {}
    dry: dict[str, None] = {}
    notes: dict[str, None] = {}
    fractions: dict[str, float] = {}
    for case in cases:
        ds = about(case)
        air[id(case)] = digest(case).least_air
        if not ds.attrs.get("has_rain", 1):
            dry[case.climate_name] = None
        if estimate := re.search(r"estimated \w+ weather codes", str(ds.attrs.get("climate_rain", ""))):
            notes[f"with rain {estimate[0]}"] = None
        if not fractions:
            fractions = {each.name: each.fraction for each in wall_of(ds).columns}
    choices = gather(cases, failed)
    advice = getattr(comparison, "advice", None) or ()
    return View(
        cases, failed, choices, recommend(choices), {id(case): number for number, case in enumerate(cases)}, air,
        tuple(dry), tuple(notes), tuple(str(getattr(item, "sentence", item)) for item in advice),
        getattr(comparison, "confidence", None), fractions,
    )  # fmt: skip


def shown(seen: View, most: int = 40) -> View:
    """Return the view with the cases whose hours a page can carry: all, or those that matter where they are too many.

    First all parts of the recommended choice and of the runner-up, then the part that decides each choice, then the
    others in their order. An omitted case keeps its place in tables and matrix; its hours come with `--column` or
    with fewer climates.

    Parameters
    ----------
    seen : View
    most : int
        Cases in a page; 25 of a year fill about 8 MB. [1]
    """
    if len(seen.cases) <= most:
        return seen
    second = seen.recommendation.runner_up if seen.recommendation else None
    first = [seen.best, second] if second else [seen.best]
    by_weight = {id(part.case): None for choice in first for part in choice.parts if part.computed}
    by_weight |= {id(choice.decides[0].case): None for choice in seen.choices if choice.decides}
    by_weight |= {id(case): None for case in seen.cases}
    kept = set(list(by_weight)[:most])
    order_of = [id(case) for case in seen.cases if id(case) in kept]
    return replace(seen, number={key: number for number, key in enumerate(order_of)})


def start(seen: View) -> int:
    """Return the number of the case to show first: the part that decides the recommended choice."""
    decides = seen.best.decides
    part = decides[0] if decides else next(part for part in seen.best.parts if part.computed)
    return seen.number[id(part.case)]


def name_of(choice: Choice) -> str:
    """Return a choice in words."""
    name = f", variant “{choice.variant}”" if choice.variant else ""
    return f"“{choice.opening_set}” with a {depth_text(choice.depth)} cavity{name}"


# ---- headline --------------------------------------------------------------------------------------------------------
def where(seen: View) -> str:
    """Return for which strips, orientations and climates the verdict holds."""
    parts = []
    if len(seen.strips) > 1:
        parts.append("on both strips" if len(seen.strips) == 2 else f"on all {len(seen.strips)} strips")
    if len(seen.facings) > 1:
        parts.append("facing both ways" if len(seen.facings) == 2 else f"facing all {len(seen.facings)} ways")
    count = len(seen.climates)
    parts.append(
        f"in {seen.climates[0]}" if count == 1 else "in both climates" if count == 2 else f"in all {count} climates"
    )
    return " ".join(parts)


def conditions(seen: View) -> list[str]:
    """Return what limits the verdict: no rain, cases not computed, what had not settled."""
    limits = []
    if seen.dry:
        places = "" if len(seen.dry) == len(seen.climates) else f" in {', '.join(seen.dry)}"
        limits.append(f"without rain{places} (none in the weather file)")
    limits += seen.rain_notes
    if seen.failed:
        limits.append(f"with {len(seen.cases)} of {len(seen.cases) + len(seen.failed)} cases computed")
    return limits


def still_rising(choice: Choice) -> list[str]:
    """Return the criteria of a choice that can fail and had not settled."""
    return list(
        dict.fromkeys(lower_title(finding) for finding in choice.findings if finding.can_fail and rising(finding))
    )


def headline(seen: View) -> str:
    """Return the answer in one or two sentences, its conditions first."""
    lead = conditions(seen)
    text = _headline(seen)
    if lead:
        opening = ", ".join(lead)
        text = f"{opening[:1].upper()}{opening[1:]}: {_lower(text)}"
    unsettled = still_rising(seen.best)
    if unsettled:
        text += f" Still rising when the run ended: {', '.join(unsettled)}."
    return text


def _headline(seen: View) -> str:
    counted = designs(seen.choices)
    likely = percent(seen, seen.best)
    sure = f", with a probability of {likely} that every criterion is met" if likely else ""
    scope, best, total = where(seen), seen.best, len(counted)
    passing = sum(choice.status == "pass" for choice in counted)
    decides = best.decides
    text = found_text(decides[1]) if decides else "no criterion was judged"
    at = _at(seen, decides[0]) if decides else ""
    if seen.recommendation is None:
        if best.status != "fail":
            return f"No combination could be computed and judged completely {scope}."
        if total == 1:
            return f"{name_of(best)} fails {scope}: {text}{at}."
        return f"Every combination fails {scope}; the lowest risk is {name_of(best)}, which fails on {text}{at}."
    if total == 1:
        if best.status == "pass":
            return f"{name_of(best)} passes {scope}{sure}."
        return f"{name_of(best)} does not fail {scope}, but there are items to review: {text}{at}."
    kept = passing or sum(choice.status == "review" for choice in counted)
    count = f"All {total} combinations" if kept == total else f"{kept} of {total} combinations"
    count += f" pass {scope}" if passing else f" do not fail {scope}, but need review"
    if seen.recommendation.comfortable:
        return f"{count}; the smallest adequate is {name_of(best)}{sure}."
    return f"{count}, none with an adequate margin; the best of these is {name_of(best)}: {text}{at}."


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:] if text[1:2].islower() else text


def _at(seen: View, part: Part) -> str:
    """Return where a part is, where there are several: strip, orientation, climate."""
    text = ""
    if len(seen.strips) > 1:
        text += f" on strip {seen.strip_text(part.column)}"
    if len(seen.facings) > 1:
        text += f" facing {facing_text(part.orientation)}"
    if len(seen.climates) > 1:
        text += f" in {climate_text(part.climate)}"
    return text


def concerned(seen: View) -> list[str]:
    """Return how much of the wall passes, needs review and fails with the recommended choice, in m2 and metres."""
    parts = [part for part in seen.best.parts if part.computed]
    if not parts:
        return []
    worst_of = {
        name: status(finding for part in parts if part.column == name for finding in part.findings)
        for name in {part.column for part in parts}
    }
    rows = [row for row in elevation.strips_of(wall_of(about(parts[0].case))) if row["name"] in worst_of]
    if len(rows) < 2 or not all(row["length"] > 0.0 for row in rows):  # also where the wall file does not say
        return []
    area = {row["name"]: row["length"] * (row["top"] - row["bottom"]) for row in rows}
    total = display.number(sum(area.values()), 3)
    sizes = []
    for state, verb in (("fail", "fail"), ("review", "need review"), ("pass", "pass")):
        alike = [row for row in rows if worst_of[row["name"]] == state]
        if alike:
            size = display.number(sum(area[row["name"]] for row in alike), 3)
            length = display.number(sum(row["length"] for row in alike), 3)
            names = f"strip “{alike[0]['name']}”" if len(alike) == 1 else f"{len(alike)} strips"
            sizes.append(f"{size} of {total} m² {verb} ({names}, {length} m of strips)")
    return [f"Wall concerned: {'; '.join(sizes)}."]


def lost_strips(seen: View) -> list[str]:
    """Return a sentence for each strip that fails with every combination, and else which strip decides."""
    if len(seen.strips) < 2:
        return []
    sentences = []
    for strip in seen.strips:
        parts = [[part for part in choice.parts if part.column == strip and part.computed] for choice in seen.choices]
        parts = [rows for rows in parts if rows]
        if parts and all(any(status(part.findings) == "fail" for part in rows) for rows in parts):
            best = min(parts, key=lambda rows: order(finding for part in rows for finding in part.findings))
            finding = worst(finding for part in best for finding in part.findings)
            sentences.append(
                f"Strip {seen.strip_text(strip)} fails with every combination; at best {found_text(finding)}. "
                "The wall passes only if every strip passes."
            )
    if sentences:
        return sentences
    counts: dict[str, int] = {}
    for choice in seen.choices:
        if choice.decides:
            counts[choice.decides[0].column] = counts.get(choice.decides[0].column, 0) + 1
    if not counts:
        return []
    most = max(counts, key=lambda name: (counts[name], name))
    total = sum(counts.values())
    often = "all combinations" if counts[most] == total else f"{counts[most]} of {total} combinations"
    return [f"Strip {seen.strip_text(most)} governs in {often}."]


# ---- recommended case ------------------------------------------------------------------------------------------------
def sureness(seen: View, choice: Choice) -> str:
    """Return the probability that a choice meets every criterion that can fail, in a sentence; empty where unknown."""
    confidence = seen.confidence
    if confidence is None or confidence.reason:
        return ""
    for sampled in confidence.choices:
        if _is_sampled(seen, sampled, choice):
            text = str(sampled.sentence)
            if len(seen.facings) > 1 and seen.best.decides:  # sampled where the recommended choice is decided
                text += f" This applies to {facing_text(seen.best.decides[0].orientation)}, the governing orientation."
            return text
    return ""


def _is_sampled(seen: View, sampled: Any, choice: Choice) -> bool:
    """Whether a probability is that of a choice; all are of the variant of the recommended one."""
    same = sampled.opening_set == choice.opening_set and abs(sampled.depth - choice.depth) < 1e-9
    return same and choice.variant == seen.best.variant


def percent(seen: View, choice: Choice) -> str:
    """Return that probability as text, such as "88 %"; empty where unknown."""
    confidence = seen.confidence
    for sampled in getattr(confidence, "choices", ()) or ():
        if _is_sampled(seen, sampled, choice):
            return f"{100 * float(sampled.probability):.0f} %"
    return ""


def by_variant(seen: View) -> list[str]:
    """Return a sentence for each variant of the layers: what is recommended with it; empty where there is one alone."""
    if len(seen.variants) < 2:
        return []
    recommended = (seen.recommendation, *seen.recommendation.others) if seen.recommendation else ()
    best_of = {each.choice.variant: each.choice for each in recommended}
    sentences = []
    for name in seen.variants:
        choices = [choice for choice in seen.choices if choice.variant == name]
        choice = best_of.get(name) or least_bad(choices)
        lead = f"Variant “{name}”" if name else "The wall as drawn"
        if choice.decides is None:
            sentences.append(f"{lead}: not computed.")
            continue
        part, decides = choice.decides
        text = f"“{choice.opening_set}” with a {depth_text(choice.depth)} cavity {_STATE[choice.status]}"
        if name not in best_of and all(rival.status == "fail" for rival in choices):
            text = f"fails with every combination; lowest risk {text}"
        best = ", best of all" if seen.recommendation and choice is seen.recommendation.choice else ""
        sentences.append(f"{lead}{best}: {text}, {found_text(decides)}{_at(seen, part)}.")
    return sentences


def _card(seen: View, choice: Choice) -> dict[str, Any]:
    decides = choice.decides
    rain = not seen.dry
    return {
        "name": choice.opening_set,
        "depth": display.quantity(choice.depth, "m"),
        "variant": choice.variant,
        "status": choice.status,
        "word": word(choice.status, rain),
        "percent": percent(seen, choice),
        "sure": sureness(seen, choice),
        "case": seen.number.get(id(decides[0].case)) if decides else None,
    }


def recommended(seen: View) -> dict[str, Any]:
    """Return the recommended choice for the first screen: name, status, reasons in sentences, runner-up."""
    choice, recommendation = seen.best, seen.recommendation
    decides = choice.decides
    lines = []
    if decides:
        text = found_text(decides[1])
        lead = "Fails on" if choice.status == "fail" else "To review" if choice.status == "review" else "Nearest limit"
        if text.startswith("no criterion"):
            lines.append(f"{text[:1].upper()}{text[1:]}.")
        else:
            note = ", still rising" if rising(decides[1]) else ""
            lines.append(f"{lead}: {text}{note}{_at(seen, decides[0])}.")
        also = [
            found_text(finding)
            for key, finding in worst_by_criterion(choice.findings).items()
            if finding.status == "fail" and key != decides[1].key
        ]
        if also:
            lines.append(f"Also fails on {'; '.join(also)}.")
    state = clogged(choice, seen.choices)
    if state is not None and state.decides:
        lines.append(f"With its meshes clogged it {_STATE[state.status]}: {found_text(state.decides[1])}.")
    confidence = seen.confidence
    if sure := sureness(seen, choice):
        lines.append(sure)
    elif confidence is not None and confidence.reason:
        lines.append(f"Probability not computed: {confidence.reason}.")
    runner = None
    if recommendation:
        if recommendation.more:
            lines.append(f"{recommendation.more[:1].upper()}{recommendation.more[1:]}.")
        if recommendation.choice.below:
            lines.append(
                f"Below the common rules (DIN 18516-1, read second-hand): {below_text(recommendation.choice.below)}."
            )
        if recommendation.smaller:
            takes = size_difference(choice, recommendation.smaller)
            lines.append(
                f"{name_of(recommendation.smaller)} does not fail either, with {takes}, but is below the common rules: "
                f"{below_text(recommendation.smaller.below)}."
            )
        if recommendation.runner_up:
            runner = _card(seen, recommendation.runner_up) | {"tips": recommendation.tips}
    heading = (
        "Recommended" if recommendation and recommendation.comfortable else "Lowest risk of these, margin not adequate"
    )
    heading = heading if recommendation else "Lowest risk, but it fails"
    if len(seen.choices) == 1:
        heading = "The case"
    lines += concerned(seen) + lost_strips(seen) + by_variant(seen)
    return {**_card(seen, choice), "heading": heading, "lines": lines, "runner_up": runner}


def changes(seen: View) -> list[str]:
    """Return what to change first: the sentences of the comparison, else what the worst findings say."""
    if seen.advice:
        return list(seen.advice)
    first = seen.cases[start(seen)]
    failing = [finding for finding in worst_first(first.findings) if level(finding.status) > 0][:3]
    if failing:
        return [
            *(finding.sentence for finding in failing),
            bottleneck(first),
        ]
    lines = [f"Nothing need change for {first.opening_set} with {depth_text(first.depth)}."]
    near = worst(first.findings)
    if near is not None:
        lines.append(f"Nearest limit: {_lower(what(first))}. {near.sentence}")
    return lines


def bottleneck(case: Any) -> str:
    """Return where most of the driving pressure is lost and what doubling each group of equal parts would bring."""
    sentence = air_words.restriction_sentence(case.dataset)
    where = f"With {case.opening_set} and {depth_text(case.depth)}"
    return f"{where}: {sentence}" if sentence else "No air moves."


def drawn_parts(seen: View) -> list[Part]:
    """Return the parts of the recommended choice for one drawing: those of its deciding climate and facing."""
    parts = [part for part in seen.best.parts if part.computed]
    decides = seen.best.decides
    first = decides[0] if decides else parts[0] if parts else None
    if first is None:
        return []
    return [part for part in parts if (part.climate, part.orientation) == (first.climate, first.orientation)]


# ---- compartments and strips -----------------------------------------------------------------------------------------
def compartments(seen: View) -> list[dict[str, Any]]:
    """Return strips and compartments of the recommended choice, each judged by itself, worst climate of each.

    A compartment is what lies between two barriers or closed ends of a strip. Empty where the wall is one piece.
    """
    rows: dict[tuple[str, str], dict[str, Any]] = {}
    for part in seen.best.parts:
        if not part.computed:
            continue
        for at, (name, findings, rate) in enumerate(_pieces(part.case)):
            finding = worst(findings)
            low, median, high = (display.number(value, 2) for value in rate)
            row = {
                "strip": seen.strip_text(part.column), "column": part.column, "at": at, "piece": name, "mark": "",
                "direction": "", "area": "", "status": status(findings),
                "word": word(status(findings), has_rain(part.case)),
                "rate": f"{median} ({low} to {high})" if rate[2] else "0, no air passes",
                "text": _lower(found_text(finding)) if finding else "",
                "climate": part.climate, "order": order(findings),
            }  # fmt: skip
            key = (part.column, name)
            if key not in rows or row["order"] > rows[key]["order"]:
                rows[key] = row
    finding = sorted(rows.values(), key=lambda row: (seen.strips.index(row["column"]), row["at"]))
    return finding if len(finding) > 1 else []


def _pieces(case: Any) -> list[tuple[str, Any, tuple[float, float, float]]]:
    """Return name, findings and air change rate (5 %, 50 %, 95 % of the hours) of each compartment of a case. [1/h]."""
    from cavity.risk import judge

    ds = case.dataset
    if "segment_compartment" not in ds.coords or ds.sizes["compartment"] < 2:
        low, median, high = np.percentile(series.air_changes(ds), [5, 50, 95])
        return [("whole strip", case.findings, (low, median, high))]
    limits = dict(wall_of(ds).limits)
    pieces: list[tuple[str, Any, Any]] = []
    for c, name in enumerate(ds["compartment"].values):
        inside = np.flatnonzero(ds["segment_compartment"].values == c)
        rates = np.percentile(np.asarray(ds["compartment_air_change_rate"].values[:, c], float), [5, 50, 95])
        findings = judge(ds.isel(segment=inside), limits) if inside.size else ()
        pieces.append((str(name), findings, tuple(float(rate) for rate in rates)))
    return pieces


def still_pieces(seen: View) -> list[str]:
    """Return a sentence for each strip of the recommended choice with compartments through which no air passes."""
    stagnant: dict[str, dict[str, None]] = {}
    for part in seen.best.parts:
        if part.computed and about(part.case).sizes.get("compartment", 1) > 1:
            ds = part.case.dataset
            highest = np.asarray(ds["compartment_air_change_rate"].values, float).max(axis=0)
            for c in np.flatnonzero(highest == 0.0):
                stagnant.setdefault(part.column, {})[str(ds["compartment"].values[c])] = None
    return [
        f"No air passes strip {seen.strip_text(strip)} from {' and from '.join(pieces)}: dead between closed ends, it "
        "dries by diffusion alone."
        for strip, pieces in stagnant.items()
    ]


# ---- matrix ----------------------------------------------------------------------------------------------------------
def cell_text(finding: Any) -> str:
    """Return criterion, value and limit for a cell, such as "mould 1.3 of 3"."""
    name = SHORT.get(finding.key, lower_title(finding))
    value, limit, _ = finding.shown
    number, bound = apart(value, limit, 3, display.number), value_text(finding, limit=True)
    if finding.threshold == _LIMIT:
        return f"{name} {number} of {bound}"
    return f"{name} {number}, {finding.threshold} {bound}"


def _cell(seen: View, choice: Choice) -> dict[str, Any]:
    """Return one cell: what decides the worst part of a choice."""
    depth = display.quantity(choice.depth, "m")
    lost = [part for part in choice.parts if not part.computed]
    if choice.status == "none":
        return {"status": "none", "word": "not computed", "reason": lost[0].case.reason, "depth": depth}
    part, finding = choice.decides or (choice.parts[0], None)
    rain = all(has_rain(other.case) for other in choice.parts if other.computed)
    rate = min(seen.air[id(other.case)][0] for other in choice.parts if other.computed)
    text = cell_text(finding) if finding is not None else "nothing judged"
    if finding is not None and found_text(finding).startswith("no criterion"):
        text = "far from every limit"
    return {
        "case": seen.number.get(id(part.case)),
        "status": choice.status,
        "word": word(choice.status, rain),
        "text": text + (" ↗" if finding is not None and rising(finding) else ""),
        "key": finding.key if finding is not None else "",
        "near": round(min(choice.severity, 2.0), 3),
        "what": (found_text(finding) if finding is not None else "no criterion was judged") + _at(seen, part),
        "rate": f"{display.number(rate, 2)} per hour" if rate else "a part without air",
        "depth": depth,
    }


def _only(choice: Choice, selection: dict[str, Any]) -> Choice | None:
    parts = tuple(
        part for part in choice.parts if all(getattr(part, key) == value for key, value in selection.items())
    )  # fmt: skip
    return replace(choice, parts=parts) if parts else None


def grid(seen: View, **selection: Any) -> list[list[dict[str, Any] | None]]:
    """Return the cells, rows of opening sets by depths: the worst of all parts, or of those with a climate, strip ...

    Parameters
    ----------
    seen : View
    selection : climate, column, orientation, variant
        Only parts with this value; of several variants one is shown, default: that of the recommended choice.
    """
    shown = selection.pop("variant", seen.best.variant)
    sets = list(dict.fromkeys(case.opening_set for case in (*seen.cases, *seen.failed)))
    depths = sorted({choice.depth for choice in seen.choices})
    choices = {
        (choice.opening_set, choice.depth): _only(choice, selection)
        for choice in seen.choices
        if choice.variant == shown
    }
    rows = []
    for name in sets:
        row = [choices.get((name, depth)) for depth in depths]
        rows.append([_cell(seen, choice) if choice else None for choice in row])
    return rows


def matrix(seen: View) -> dict[str, Any]:
    """Return the one decision matrix: worst over climates, strips and orientations, and its selectors.

    Returns
    -------
    dict
        `rows` (name, cells), `selectors` (key, label, values, start: the position shown first), `other` (cells by
        selection: positions of the selectors' values with commas, -1 for the worst of all; a variant is another wall,
        so of variants there is no worst of all), `legend` (criteria that occur in any cell).
    """
    sets = list(dict.fromkeys(case.opening_set for case in (*seen.cases, *seen.failed)))
    worst_cells = grid(seen)
    selectors: list[tuple[str, str, Any, Any]] = [
        (key, label, values, texts)
        for key, label, values, texts in (
            ("variant", "Variant", seen.variants, [variant_text(name) for name in seen.variants]),
            ("climate", "Climate", seen.climates, [climate_text(name) for name in seen.climates]),
            ("column", "Strip", seen.strips, seen.strips),
            ("orientation", "Facing", seen.facings, [facing_text(value) for value in seen.facings]),
        )
        if len(values) > 1
    ]
    other: dict[str, Any] = {}
    if selectors:
        for positions in np.ndindex(*(len(values) + 1 for _, _, values, _ in selectors)):
            selection = {
                key: values[at - 1] for (key, _, values, _), at in zip(selectors, positions, strict=True) if at > 0
            }  # fmt: skip
            if len(selection) and ("variant" in selection or len(seen.variants) < 2):
                cells = grid(seen, **selection)
                other[",".join(str(at - 1) for at in positions)] = [[_bare(cell) for cell in row] for row in cells]
        if len(seen.variants) < 2:
            other[",".join(["-1"] * len(selectors))] = [[_bare(cell) for cell in row] for row in worst_cells]
    keys = {cell["key"]: None for row in worst_cells for cell in row if cell and cell.get("key")}
    for rows in other.values():
        keys |= {cell["key"]: None for row in rows for cell in row if cell and cell.get("key")}
    return {
        "rows": [{"name": name, "cells": cells} for name, cells in zip(sets, worst_cells, strict=True)],
        "selectors": [
            {
                "key": key,
                "label": label,
                "values": texts,
                "start": values.index(seen.best.variant) if key == "variant" else -1,
            }
            for key, label, values, texts in selectors
        ],
        "other": other,
        "legend": _legend(seen, keys),
    }


def _bare(cell: dict[str, Any] | None) -> dict[str, Any] | None:
    return None if cell is None else {key: value for key, value in cell.items() if key != "depth"}


def _legend(seen: View, keys: Iterable[str]) -> list[str]:
    """Return each criterion that occurs in a cell once: its short and full name, limit and source."""
    entries = []
    for key in keys:
        finding = next(finding for choice in seen.choices for finding in choice.findings if finding.key == key)
        bound = f"{finding.threshold} {value_text(finding, limit=True)}"
        name, origin = lower_title(finding), finding.source.split(";")[0]
        entries.append(f"{SHORT.get(key, name)}: {name}, {bound} ({origin})")
    return entries


def facing_text(degrees: float) -> str:
    """Return a direction as compass name and degrees."""
    names = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
    return f"{names[round(degrees / 45.0) % 8]} ({degrees:g}°)"
