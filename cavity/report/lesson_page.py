"""The teaching page: lessons, each one thing changed, a figure, an equation, a question with a folded answer."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import plotly.graph_objects as go

from cavity.report import answer, display, figures
from cavity.report.notes import below, equation, fraction, power, row
from cavity.report.page import write_page
from cavity.report.palette import LIGHT, style
from cavity.study.lesson import UNITS


@dataclass(frozen=True)
class _Text:
    title: str
    does: str  # what the figure shows, as a heading
    lead: str
    equation: str
    symbols: str
    question: str
    why: str


_TEXTS: dict[str, _Text] = {
    "depth": _Text(
        "Depth",
        "What the depth does to flow and wetness",
        "Air rubs along both faces of the cavity. In a narrow slot this friction falls with the square of the depth.",
        equation(
            "air changes per hour equal 3600 times flow over depth times height; friction is twelve mu H v over d "
            "squared",
            "n", "=", fraction(row("3600", "q"), row("d", "H")),
            '<mspace width="2em"/>', below("Δp", "slot"), "=", fraction(row("12", "μ", "H", "v"), power("d", "2")),
        ),
        "n air changes per hour, q air flow per metre of wall [m³/(s m)], d depth and H height of the cavity [m], Δp "
        "the pressure that friction takes [Pa], μ viscosity of the air [Pa s], v its speed [m/s].",
        "Twice the depth lets more air through. Does it also double the air changes?",
        "Not as a rule. The flow q grows with the depth only while friction in the slot is what holds it back. Once "
        "the openings hold it back, q stays as it is while the volume d·H still grows, so the air changes fall.",
    ),
    "openings": _Text(
        "Openings",
        "What the size of the openings does to flow and wetness",
        "Each opening lets air through in proportion to its free area and to the square root of the pressure across "
        "it.",
        equation(
            "flow equals discharge coefficient times area times two delta p over rho to the power one half",
            "q", "=", below("C", "d"), "A", power(row("(", "2", "Δp", "/", "ρ", ")"), "1/2"),
        ),
        "q air flow [m³/s], C the discharge coefficient of the opening, A its free area [m²], Δp the pressure across "
        "it [Pa], ρ density of the air [kg/m³].",
        "From which size on do larger openings hardly help?",
        "Where the openings no longer take most of the pressure. Losses in series add up, and the largest of them "
        "rules: after that, only a deeper cavity or more drive brings more air.",
    ),
    "height": _Text(
        "Height",
        "What the height does to flow and wetness",
        "The stack pressure is the difference in weight of two columns of air, so it grows with the height. The "
        "building stays the same in this lesson, tall enough for the tallest cavity; its wind is another than in the "
        "other lessons, and so are the numbers of the same cavity.",
        equation(
            "stack pressure equals rho outdoors less rho cavity times g times H",
            below("Δp", "stack"), "=", "(", below("ρ", "e"), "−", below("ρ", "c"), ")", "g", "H",
        ),
        "Δp the stack pressure [Pa], ρ the density of the air outdoors (e) and in the cavity (c) [kg/m³], g gravity "
        "[m/s²], H the height of the cavity [m].",
        "A taller cavity draws harder. Is its air also changed more often?",
        "The flow grows at most with the square root of the height where openings rule, but the volume grows with the "
        "height itself. More air passes each metre of wall, and yet it takes longer to change all of it, and the air "
        "arrives at the top warmer and damper.",
    ),
    "wind": _Text(
        "Wind",
        "What wind does to flow and wetness",
        "Wind drives the cavity only by the difference of pressure between its openings, which goes with the square of "
        "its speed. The rain that reaches the wall is held as it is, so that only the air is compared.",
        equation(
            "wind pressure equals Cp base less Cp head times one half rho U squared",
            below("Δp", "wind"), "=", "(", below("C", "p,base"), "−", below("C", "p,head"), ")", fraction("1", "2"),
            "ρ", power("U", "2"),
        ),
        "Δp the wind pressure that drives the cavity [Pa], C the pressure coefficients at its base and head, ρ density "
        "of the air [kg/m³], U wind at the height of the roof [m/s].",
        "What still moves the air when there is no wind at all?",
        "Buoyancy: sun on the cladding and heat that comes through the wall make the cavity air lighter, the cold "
        "night sky makes it heavier. Wind may help or hinder; where it hinders, the two nearly cancel and the air "
        "stands still. Outside this lesson wind also drives rain onto the wall: more wind then means more air and "
        "more water to carry off.",
    ),
    "sun": _Text(
        "Sun",
        "What sun does to flow and wetness",
        "Sun warms the cladding, the cladding warms the cavity air, and warm air is light.",
        equation(
            "relative difference of density equals T cavity less T outdoors over T cavity",
            fraction(row(below("ρ", "e"), "−", below("ρ", "c")), below("ρ", "e")), "=",
            fraction(row(below("T", "c"), "−", below("T", "e")), below("T", "c")),
        ),
        "ρ density [kg/m³] and T temperature [K] of the air outdoors (e) and in the cavity (c).",
        "Take the sun away. Which does the wall miss more: the flow, or the warmth?",
        "Both dry the wall. Warmth lowers the relative humidity at once, by about 6 % of its value for each kelvin; "
        "the flow carries off what evaporates. A wall that sees little sun must rely on wind and on openings.",
    ),
    "colour": _Text(
        "Colour of the cladding",
        "What the colour does to flow and wetness",
        "A dark cladding takes up more of the sun. At night its colour does not matter: all paints radiate alike.",
        equation(
            "sol-air temperature equals T outdoors plus alpha I over h",
            below("T", "sa"), "=", below("T", "e"), "+", fraction(row("α", "I"), "h"),
        ),
        "T the temperature of the air outdoors (e), and that which a dry sheet would take in the sun (sa) [K], α solar "
        "absorptance, I sun on the wall [W/m²], h exchange of heat with the surroundings [W/(m² K)].",
        "Does a dark panel keep its back dry at night as well?",
        "Not by its colour as such: dew falls at night, when the sun is gone. But a panel that was dried out by day "
        "starts the night with a lead, and what dew it has is gone sooner in the morning.",
    ),
    "mass": _Text(
        "Mass of the cladding",
        "What the mass does to flow and wetness",
        "A thin sheet follows the sky within minutes; a heavy slab keeps the warmth of the day for hours.",
        equation(
            "rate of heat stored in the sheet equals sun taken up, plus exchange with the sky, plus exchange with the "
            "air",
            "ρ", "c", "d", fraction(row("∂", "T"), row("∂", "t")), "=", "α", "I",
            "+", below("q", "sky"), "+", "h", "(", below("T", "e"), "−", "T", ")",
        ),
        "ρ density [kg/m³], c specific heat [J/(kg K)], d thickness [m] and T temperature [K] of the sheet, t time "
        "[s], α solar absorptance, I sun on the wall and q exchange of radiation with the sky [W/m²], h exchange of "
        "heat with the air [W/(m² K)], outdoors at T (e).",
        "Which of these claddings is below the dew point for most hours, and which carries the most water?",
        "The one that gets coldest against the dew point of the air that passes it. A sheet of metal follows the sky "
        "at night but also the sun in the morning, and cannot soak up water: it stands as a film or runs off. A porous "
        "board or slab takes the water into its pores, shows less of it and stays damp longer. Weather, openings and "
        "finish decide which effect wins, so trust the table, not the rule.",
    ),
    "rails": _Text(
        "Rails",
        "What the gap between rails does to flow and wetness",
        "A rail that runs along the wall closes the cavity but for the gap between two rail ends. Rails stand every "
        "600 mm here, each with one gap in 600 mm of wall.",
        equation(
            "pressure lost at the rails equals N times rho over two times q over Cd A, squared",
            below("Δp", "rails"), "=", "N", fraction("ρ", "2"),
            power(row("(", fraction("q", row(below("C", "d"), "A")), ")"), "2"),
        ),
        "Δp pressure lost [Pa], N number of rails, ρ density of the air [kg/m³], q air flow per metre of wall "
        "[m³/(s m)], C discharge coefficient of a gap, A its area per metre of wall: gap times depth over bay [m²/m].",
        "The vents are large. Can a rail undo them?",
        "Yes: losses in series add up, and the smallest area rules. A gap of a few millimetres passes less air than "
        "a slot along the whole base. Larger vents do not help then; a wider gap, or rails set upright, do.",
    ),
    "blind": _Text(
        "Blind compartment above a window",
        "What one closed end does to flow and wetness",
        "Fire detailing above a window closes the cavity there. If no vent follows above it, the compartment is open "
        "at its head only.",
        equation(
            "flow in equals flow out",
            below("q", "in"), "=", below("q", "out"),
        ),
        "q steady air flow into and out of the compartment [m³/(s m)]: air that cannot leave does not enter.",
        "One of two vents is left. Is half of the air left as well?",
        "No. A steady flow needs a way in and a way out. With one vent only what gusts push in and out of it is left, "
        "and the closed end is reached last. The figure has that exchange in it; the hours above 80 % tell what it is "
        "worth. Beside each fire barrier stands a vent for the compartment above and one for that below; local codes "
        "decide what the barrier itself must do.",
    ),
    "night": _Text(
        "Nights behind metal",
        "What the openings do to dew behind a metal panel",
        "A metal panel radiates to the sky and cools below the air. The air that the vents let in carries off what is "
        "damp in the cavity, but brings its own vapour to the cold sheet. The wall is the starter wall with metal "
        "panels, and the rain is left out, so that all water is dew.",
        equation(
            "dew equals beta times vapour pressure of the cavity air minus saturation pressure at the sheet",
            "g", "=", "β", "(", below("p", "c"), "−", below("p", "sat"), "(", below("T", "s"), ")", ")",
        ),
        "g water that condenses [kg/(m² s)], β vapour transfer coefficient [s/m], p vapour pressure of the cavity air "
        "(c) and at saturation [Pa] at the temperature T of the sheet (s).",
        "Do larger openings always mean less dew?",
        "Not on a sheet that is colder than the dew point outdoors: there the outdoor air itself brings the water. Too "
        "little air leaves the vapour of the wall in the cavity; much air keeps feeding the cold sheet, though it "
        "also warms it. Look for the smallest film: it can stand at an opening in between, while the hours below the "
        "dew point still fall.",
    ),
}  # fmt: skip


def figure(lesson: Any) -> go.Figure:
    """Return the figure of one lesson: flow, air change rate with its spread, and hours of wetness."""
    labels = [figures.plain(step.label) for step in lesson.steps]
    values = [step.value for step in lesson.steps]
    numbers = lesson.key in UNITS and bool(np.isfinite(values).all())  # then drawn at their true distance
    at, mode = (values, "lines+markers") if numbers else (labels, "markers")
    rate = [step.rate for step in lesson.steps]
    spread = {
        "type": "data",
        "symmetric": False,
        "array": [step.rate_high - step.rate for step in lesson.steps],
        "arrayminus": [step.rate - step.rate_low for step in lesson.steps],
        "color": LIGHT["air"],
        "thickness": 1.4,
    }
    traces = [
        {"type": "scatter", "mode": mode, "x": at, "text": labels, "y": [step.flow for step in lesson.steps],
         "name": "air flow, median hour", "line": {"color": LIGHT["stack"], "width": 2, "dash": "dot"},
         "marker": {"symbol": "diamond", "size": 8}, "hovertemplate": "%{text}: %{y:.3~g} l/(s m)<extra></extra>"},
        {"type": "scatter", "mode": mode, "x": at, "text": labels, "y": rate, "yaxis": "y2", "error_y": spread,
         "name": "air change rate: median, and 10 to 90 % of hours", "line": {"color": LIGHT["air"], "width": 2},
         "marker": {"size": 8}, "hovertemplate": "%{text}: %{y:.3~g} per hour<extra></extra>"},
        {"type": "scatter", "mode": mode, "x": at, "text": labels, "y": [step.dew_hours for step in lesson.steps],
         "yaxis": "y3", "name": "back of the cladding below the dew point",
         "line": {"color": LIGHT["film"], "width": 2}, "marker": {"symbol": "circle", "size": 9},
         "hovertemplate": "%{text}: %{y:.0f} h<extra></extra>"},
        {"type": "scatter", "mode": mode, "x": at, "text": labels, "y": [step.humid_hours for step in lesson.steps],
         "yaxis": "y3", "name": "outer face of the wall above 80 %",
         "line": {"color": LIGHT["humidity"], "width": 2, "dash": "dash"}, "marker": {"symbol": "square", "size": 9},
         "hovertemplate": "%{text}: %{y:.0f} h<extra></extra>"},
    ]  # fmt: skip
    layout = style(
        height=560,
        margin={"t": 64},
        xaxis={
            "title": {"text": f"{lesson.quantity} [{UNITS[lesson.key]}]" if numbers else lesson.quantity},
            "type": "linear" if numbers else "category",
            "anchor": "y3",
            **({"range": [0, 1.06 * max(values)]} if numbers else {}),
        },
        yaxis={"title": {"text": "Air flow [l/(s m)]"}, "rangemode": "tozero", "domain": [0.72, 1.0]},
        yaxis2={"title": {"text": "Air change rate [per hour]"}, "rangemode": "tozero", "domain": [0.37, 0.65]},
        yaxis3={"title": {"text": "Hours a year [h]"}, "rangemode": "tozero", "domain": [0.0, 0.3]},
    )
    return go.Figure({"data": traces, "layout": layout})


def told(lesson: Any) -> str:
    """Return what the computed numbers of a lesson say, in one sentence."""
    first, last = lesson.steps[0], lesson.steps[-1]

    def change(before: float, after: float, unit: str) -> str:
        return f"{display.number(before)} to {display.number(after)} {unit}"

    return (
        f"Computed here, from {first.label} to {last.label}: the median air flow goes from "
        f"{change(first.flow, last.flow, 'l/(s m)')}, the median air change rate from "
        f"{change(first.rate, last.rate, 'per hour')}, "
        f"the hours in which the back of the cladding is below the dew point from "
        f"{change(first.dew_hours, last.dew_hours, 'h')}, and the hours above 80 % at the outer face of the wall from "
        f"{change(first.humid_hours, last.humid_hours, 'h')}."
    )


def _extremes(lesson: Any) -> list[str]:
    """Return which step has most and least hours below the dew point, where the lesson asks for it."""
    if lesson.key not in ("mass", "night"):
        return []
    most, least = (pick(lesson.steps, key=lambda step: step.dew_hours) for pick in (max, min))
    film, dry = (pick(lesson.steps, key=lambda step: step.film) for pick in (max, min))
    return [
        f"Computed here: the back of the cladding is below the dew point for most hours with {most.label} "
        f"({most.dew_hours:.0f} h) and for fewest with {least.label} ({least.dew_hours:.0f} h); the largest film, "
        f"{1e3 * film.film:.1f} g/m², stands with {film.label}, the smallest, {1e3 * dry.film:.1f} g/m², with "
        f"{dry.label}."
    ]


def _missing(lesson: Any) -> list[str]:
    return [f"Not computed: {label} ({reason.rstrip('.')})." for label, reason in lesson.failed]


def _table(lesson: Any) -> dict[str, Any]:
    head = [
        lesson.quantity, "Air flow [l/(s m)]", "Air change rate, median [per hour]", "10 to 90 % of hours [per hour]",
        "Hours upwards [%]",
        "Cavity warmer in the sunniest tenth of hours [K]", "Cladding back below dew point [h]",
        "Outer face of wall above 80 % [h]", "Largest film on the cladding, dew and rain [g/m²]",
    ]  # fmt: skip
    rows = [
        [
            step.label, display.number(step.flow), display.number(step.rate),
            f"{display.number(step.rate_low)} to {display.number(step.rate_high)}", f"{100 * step.upward:.0f}",
            display.number(step.warm, 2), f"{step.dew_hours:.0f}", f"{step.humid_hours:.0f}",
            display.number(round(1e3 * step.film, 1), 2),
        ]
        for step in lesson.steps
    ]  # fmt: skip
    return {"caption": "The same in numbers", "head": head, "rows": rows}


def write_lesson(
    lessons: Sequence[Any],
    path: str | os.PathLike[str],
    *,
    wall_name: str,
    climate_name: str,
    invented: Sequence[str] = (),
    rain: bool = True,
    base: str = "",
) -> Path:
    """Write the teaching page of `cavity.study.lesson.lessons` as one HTML file.

    Parameters
    ----------
    lessons : sequence of Lesson
        What was computed.
    path : path
        The HTML file.
    wall_name, climate_name : str, keyword only
        What it was computed for.
    invented : sequence of str, keyword only
        What of it is invented, "wall" and "climate"; the page says so.
    rain : bool, keyword only
        Whether the weather file has rain; the page says so where it has none.
    base : str, keyword only
        What every lesson starts from, in a sentence of `cavity.study.lesson.base_case`.

    Returns
    -------
    pathlib.Path
        The file written.

    Raises
    ------
    InputError
        If the file cannot be written.
    """
    parts: list[dict[str, Any]] = []
    for lesson in lessons:
        text = _TEXTS[lesson.key]
        if not lesson.steps:
            parts.append({"heading": text.title, "nav": text.title.split()[0], "text": _missing(lesson)})
            continue
        parts.append(
            {
                "heading": text.title,
                "nav": text.title.split()[0],
                "text": [text.lead, *_missing(lesson)],
                "symbols": text.symbols,
                "equation": text.equation,
                "figures": [
                    {
                        "id": f"fig-{lesson.key}",
                        "title": text.does,
                        "caption": "Everything else stays as it is; each value is a simulated year.",
                        "figure": figure(lesson),
                    }
                ],
                "table": _table(lesson),
                "question": text.question,
                "answer": [text.why, *_extremes(lesson), told(lesson)],
            }
        )
    lead = [
        "A few things decide how well the cavity behind a cladding is flushed and how wet it gets. Each is changed "
        "alone below, computed by the same program that judges walls. Try to answer the question before you unfold the "
        "answer.",
        *([base] if base else []),
        f"Wall: {wall_name}, without rails and barriers. Climate: {climate_name}."
        + (f" The {' and the '.join(invented)} {'are' if len(invented) > 1 else 'is'} invented." if invented else "")
        + ("" if rain else " The weather file has no rain: what rain and the wind with it do is not seen here."),
    ]
    return write_page(
        path, "How a ventilated cavity behaves", lead=lead, caution=answer.CAUTIONS, parts=parts, teach=True
    )
