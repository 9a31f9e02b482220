"""The teaching page: lessons, each with one variable changed, a figure, an equation, a question, a folded answer."""

from __future__ import annotations

import os
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import plotly.graph_objects as go

from cavity.report import display, figures, lesson_scene, verdict
from cavity.report.equations import below, equation, fraction, power, row
from cavity.report.packing import plain, plain_figure, script_json
from cavity.report.page import base_context, environment, read, with_footnote, write_text
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
        "Air is slowed by friction at both cavity surfaces. At a given air speed, friction in a narrow slot falls with "
        "the square of the depth.",
        equation(
            "air changes per hour equal 3600 times flow over depth times height; friction is twelve mu H v over d "
            "squared",
            "n", "=", fraction(row("3600", "q"), row("d", "H")),
            '<mspace width="2em"/>', below("Δp", "slot"), "=", fraction(row("12", "μ", "H", "v"), power("d", "2")),
        ),
        "n air changes per hour, q air flow per metre of wall [m³/(s m)], d depth and H height of the cavity [m], Δp "
        "the pressure loss by friction [Pa], μ viscosity of the air [Pa s], v its speed [m/s].",
        "A cavity is made twice as deep. Does its air change rate double?",
        "It depends on what limits the flow. Where friction in the slot does, the flow grows with the cube of the "
        "depth and the air change rate with its square: twice the depth, up to four times the rate. Where the openings "
        "do, the flow hardly grows any more while the volume d·H doubles, so the rate halves. In between, the air "
        "change rate has a maximum.",
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
        "From the size at which the openings no longer cause most of the pressure loss. Losses in series add up, and "
        "the largest dominates. Beyond that size only a deeper cavity or a larger driving pressure brings much more "
        "air. More outdoor air also cools a cavity that the sun has warmed, so the hours above 80 % can rise again.",
    ),
    "height": _Text(
        "Height",
        "What the height does to flow and wetness",
        "The stack pressure is the difference in weight of two columns of air, so it grows with the height. The "
        "building stays the same in this lesson, tall enough for the tallest cavity; the wind speed therefore differs "
        "from the other lessons, and so do the results for the same cavity.",
        equation(
            "stack pressure equals rho outdoors minus rho cavity, times g times H",
            below("Δp", "stack"), "=", "(", below("ρ", "e"), "−", below("ρ", "c"), ")", "g", "H",
        ),
        "Δp the stack pressure [Pa], ρ the density of the air outdoors (e) and in the cavity (c) [kg/m³], g gravity "
        "[m/s²], H the height of the cavity [m].",
        "A taller cavity has a larger stack pressure. Is its air change rate also higher?",
        "With the stack alone, and where the openings dominate, the flow grows about with the square root of the "
        "height, but the volume with the height itself: the air change rate falls. The air takes up more heat and "
        "moisture on its longer way; in the sun the heat lowers its relative humidity, at night the moisture brings "
        "dew. Wind acts as well: its pressure at the head depends on the position on the wall and can oppose the "
        "buoyancy, so the computed flow need not grow steadily.",
    ),
    "wind": _Text(
        "Wind",
        "What wind does to flow and wetness",
        "Steady wind drives the cavity only by the pressure difference between its openings, which grows with the "
        "square of its speed. The rain that reaches the wall is held constant, so that only the air is compared.",
        equation(
            "wind pressure equals Cp base minus Cp head, times one half rho U squared",
            below("Δp", "wind"), "=", "(", below("C", "p,base"), "−", below("C", "p,head"), ")", fraction("1", "2"),
            "ρ", power("U", "2"),
        ),
        "Δp the wind pressure that drives the cavity [Pa], C the pressure coefficients at its base and head, ρ density "
        "of the air [kg/m³], U wind at the height of the roof [m/s].",
        "What drives the air when there is no wind at all?",
        "Buoyancy: sun on the cladding and heat that comes through the wall make the cavity air lighter, the cold "
        "night sky makes it heavier. Wind may help or hinder; where it hinders, the two can nearly cancel, and the air "
        "is then almost stagnant. Outside this lesson wind also drives rain onto the wall: more wind then means more "
        "air and more water to remove. More air also cools a cavity that the sun has warmed, so its surfaces can be "
        "humid for more hours.",
    ),
    "sun": _Text(
        "Sun",
        "What sun does to flow and wetness",
        "Sun warms the cladding, and the cladding warms the cavity air, which becomes lighter.",
        equation(
            "relative difference of density equals T cavity minus T outdoors, over T cavity",
            fraction(row(below("ρ", "e"), "−", below("ρ", "c")), below("ρ", "e")), "=",
            fraction(row(below("T", "c"), "−", below("T", "e")), below("T", "c")),
        ),
        "ρ density [kg/m³] and T temperature [K] of the air outdoors (e) and in the cavity (c).",
        "Without sun, which matters more to the wall: the loss of flow, or the loss of heat?",
        "Heat and flow both dry the wall. Heat lowers the relative humidity at once, by 6 to 7 % of its value per "
        "kelvin; the flow removes what evaporates. Where wind drives most of the air, the flow hardly changes without "
        "sun, and the loss of heat matters more. A wall with little sun must rely on wind and on openings.",
    ),
    "colour": _Text(
        "Colour of the cladding",
        "What the colour does to flow and wetness",
        "A dark cladding absorbs more solar radiation. At night its colour hardly matters: ordinary paints of any "
        "colour radiate alike.",
        equation(
            "sol-air temperature equals T outdoors plus alpha I over h",
            below("T", "sa"), "=", below("T", "e"), "+", fraction(row("α", "I"), "h"),
        ),
        "T the temperature of the air outdoors (e), and that which a dry sheet would take in the sun (sa) [K], α solar "
        "absorptance, I sun on the wall [W/m²], h exchange of heat with the surroundings [W/(m² K)].",
        "Does a dark panel keep its back dry at night as well?",
        "Not by its colour as such: dew forms at night, without sun. But a wall that dried out during the day starts "
        "the night drier, and the dew on a dark panel evaporates sooner in the morning.",
    ),
    "mass": _Text(
        "Mass of the cladding",
        "What the mass does to flow and wetness",
        "A thin sheet responds to the sky within minutes; a heavy slab stores the heat of the day for hours.",
        equation(
            "rate of heat stored in the sheet equals sun absorbed, plus exchange with the sky, plus exchange with the "
            "air",
            "ρ", "c", "d", fraction(row("∂", "T"), row("∂", "t")), "=", "α", "I",
            "+", below("q", "sky"), "+", "h", "(", below("T", "e"), "−", "T", ")",
        ),
        "ρ density [kg/m³], c specific heat [J/(kg K)], d thickness [m] and T temperature [K] of the sheet, t time "
        "[s], α solar absorptance, I sun on the wall and q exchange of radiation with the sky [W/m²], h exchange of "
        "heat with the air [W/(m² K)], outdoors at T (e).",
        "Which of these claddings is below the dew point for most hours, and which carries the largest film?",
        "The one that is coldest relative to the dew point of the air that passes it. A metal sheet responds to the "
        "sky at night but also to the sun in the morning. It cannot absorb water: the water stays as a film or runs "
        "off. A porous board absorbs the water, which no film then shows, and stays damp longer. A heavy slab cools "
        "less in a clear night, but can still be cold when warm, humid air arrives, and then collects more at a time. "
        "Weather, openings and finish decide which effect dominates, so rely on the numbers, not on a rule.",
    ),
    "rails": _Text(
        "Rails",
        "What the gap between rails does to flow and wetness",
        "A rail that runs along the wall closes the cavity except for the gap between two rail ends. Here the rails "
        "are 600 mm apart, each with one gap per 600 mm of wall.",
        equation(
            "pressure lost at the rails equals N times rho over two times q over Cd A, squared",
            below("Δp", "rails"), "=", "N", fraction("ρ", "2"),
            power(row("(", fraction("q", row(below("C", "d"), "A")), ")"), "2"),
        ),
        "Δp pressure lost [Pa], N number of rails, ρ density of the air [kg/m³], q air flow per metre of wall "
        "[m³/(s m)], C discharge coefficient of a gap, A its area per metre of wall: gap times depth over bay [m²/m].",
        "The vents are large. Can a rail make them ineffective?",
        "Yes: losses in series add up, and the smallest area dominates. A gap of a few millimetres in each bay passes "
        "far less air than a slot along the whole base. Larger vents do not help then; a wider gap, or rails set "
        "upright, do.",
    ),
    "blind": _Text(
        "Blind compartment above a window",
        "What one closed end does to flow and wetness",
        "Fire detailing above a window closes the cavity there. Without a vent above it, the compartment is open at "
        "its head only.",
        equation(
            "flow in equals flow out",
            below("q", "in"), "=", below("q", "out"),
        ),
        "q steady air flow into and out of the compartment [m³/(s m)]: air that cannot leave does not enter.",
        "One of two vents remains. Does half of the airflow remain as well?",
        "No. A steady flow needs an inlet and an outlet. With one vent only an exchange in and out of that vent "
        "remains, and it reaches the closed end last. The flow shown for one vent is that exchange, which is an "
        "estimate and less certain than a flow from vent to vent. At each fire barrier the compartment above and the "
        "one below each need a vent there; local codes decide what the barrier itself must do.",
    ),
    "night": _Text(
        "Nights behind metal",
        "What the openings do to dew behind a metal panel",
        "On a clear night a metal panel radiates to the sky and cools below the air. The air from the vents removes "
        "moisture from the cavity, but brings its own vapour to the cold sheet. The wall is the starter wall with "
        "metal panels, without rain, so that all water is dew.",
        equation(
            "dew equals beta times vapour pressure of the cavity air minus saturation pressure at the sheet",
            "g", "=", "β", "(", below("p", "c"), "−", below("p", "sat"), "(", below("T", "s"), ")", ")",
        ),
        "g water that condenses [kg/(m² s)], β vapour transfer coefficient [s/m], p vapour pressure of the cavity air "
        "(c) and at saturation [Pa] at the temperature T of the sheet (s).",
        "Do larger openings always mean less dew?",
        "Not on a sheet that is colder than the dew point outdoors: there the outdoor air itself brings the water. "
        "With too little air the vapour of the wall stays in the cavity. A large airflow keeps supplying vapour to "
        "the cold sheet, though it also warms it. The fewest hours of dew and the smallest film can therefore occur at "
        "an opening in between, and not always at the same one.",
    ),
    "drying": _Text(
        "Drying after a leak",
        "Remaining water, vents closed and open",
        "The outermost layer of the backup wall that holds water is wetted when the run begins. Each curve is "
        "the difference between the same wall with and without that water. The cladding is a metal sheet in this "
        "lesson, which lets no vapour through.",
        equation(
            "vapour that leaves equals p wet minus p outdoors, over Z layers plus Z ventilation; Z ventilation equals "
            "R T over V",
            "g", "=", fraction(row(below("p", "w"), "−", below("p", "e")), row(below("Z", "l"), "+", below("Z", "v"))),
            '<mspace width="2em"/>', below("Z", "v"), "=", fraction(row("R", "T"), "V"),
        ),
        "g vapour that leaves outwards [kg/(m² s)], p vapour pressure in the wet layer (w) and outdoors (e) [Pa], Z "
        "vapour resistance [m² s Pa/kg] of the layers outside it (l) and of the ventilation (v), R gas constant of "
        "vapour, 461.5 J/(kg K), T temperature [K], V air flow through the cavity per area of wall [m³/(m² s)].",
        "Do open vents dry the wall faster than closed ones? And do four times larger vents dry it faster again?",
        "Usually yes to the first, and hardly to the second. With closed vents no vapour passes the metal sheet: part "
        "of the water goes into the room, the rest condenses on the cold sheet and runs down. Open vents remove it as "
        "vapour, through two resistances in series: the layers and the ventilation. Once the air removes all vapour "
        "that arrives, the layers outside the wet one are the larger resistance, and more air gains little. Where the "
        "curves nearly coincide, drying is limited by the layers, not the cavity. In a humid climate more air can even "
        "slow it a little: it cools a cavity that the sun has warmed. Drying is fast at first because the layer is "
        "then wettest; later a warm season speeds it up, for the vapour pressure of a damp layer rises by 6 to 7 % per "
        "kelvin.",
    ),
    "brick": _Text(
        "Sun on wet brick",
        "What open perpends do to vapour driven inwards",
        "Brick stores the rain. Sun then warms it, and the vapour pressure in its pores rises above that on both "
        "sides, so vapour moves inwards as well as outwards. The wall is the starter wall with a brick outer leaf, "
        "facing the midday sun; perpends are open at its base and head.",
        equation(
            "vapour pressure of the brick equals its relative humidity times the saturation pressure at its "
            "temperature; vapour that moves inwards equals the difference to the vapour pressure at the retarder over "
            "the vapour resistance between",
            below("p", "b"), "=", "φ", below("p", "sat"), "(", below("T", "b"), ")",
            '<mspace width="2em"/>', "g", "=", fraction(row(below("p", "b"), "−", below("p", "r")), "Z"),
        ),
        "p vapour pressure of the brick (b), at saturation (sat) and at the vapour retarder (r) [Pa], φ relative "
        "humidity of the brick, T its temperature [K], g vapour that moves inwards [kg/(m² s)], Z vapour resistance "
        "between both [m² s Pa/kg].",
        "How can the sun wet a wall from outside, and what do the open perpends do about it?",
        "Wet brick at 40 °C has a vapour pressure of 7.4 kPa; a room at 22 °C and 60 % has 1.6 kPa. Vapour then moves "
        "inwards, until it meets the vapour retarder, which is nearly as cool as the room. Air in the cavity removes "
        "part of it before it enters the wall: the more perpends are open, the closer the vapour pressure in the "
        "cavity is to that outdoors. Other measures are a membrane or sheathing that resists vapour, and a retarder "
        "that opens in summer.",
    ),
}  # fmt: skip


def figure(lesson: Any) -> go.Figure:
    """Return the figure of one lesson: curves of drying, vapour behind brick, else flow, air changes and wetness."""
    if lesson.key == "drying":
        return _drying_figure(lesson)
    return _three(lesson, *{"brick": _brick_rows, "night": _night_rows}.get(lesson.key, _air_rows)(lesson))


def marks(lesson: Any) -> dict[str, Any]:
    """Return where a step of the slider is in the figure: its curve, or its place along the axis."""
    if lesson.key == "drying":
        curves = [at for at, step in enumerate(lesson.steps) if step.drying is not None]
        return {"traces": [curves.index(at) if at in curves else -1 for at in range(len(lesson.steps))]}
    if _numbers(lesson):
        return {"x": [step.value for step in lesson.steps]}
    return {"x": list(range(len(lesson.steps)))}  # of an axis of kinds


def _numbers(lesson: Any) -> bool:
    return lesson.key in UNITS and bool(np.isfinite([step.value for step in lesson.steps]).all())


def _drying_figure(lesson: Any) -> go.Figure:
    steps = [step for step in lesson.steps if step.drying is not None]
    colours = ("runoff", "stack", "air", "temperature", "humidity", "mould")
    traces = [
        {"type": "scatter", "mode": "lines", "name": figures.plain(step.label),
         "x": np.arange(len(step.drying.left) + 1), "y": 100.0 * np.array([1.0, *_fractions(step.drying)]),
         "line": {"color": LIGHT[colours[at % len(colours)]], "width": 2, "dash": "dash" if at == 0 else "solid"},
         "hovertemplate": "%{fullData.name}, day %{x}: %{y:.0f} %<extra></extra>"}
        for at, step in enumerate(steps)
    ]  # fmt: skip
    layout = style(
        height=420,
        xaxis={"title": {"text": "Days after the wetting"}},
        yaxis={"title": {"text": "Water of the event left [%]"}, "rangemode": "tozero"},
    )
    return go.Figure({"data": traces, "layout": layout})


def _fractions(drying: Any) -> np.ndarray:
    return np.asarray(drying.left, float) / drying.brought


_ROWS = ((0.766, 1.0), (0.403, 0.637), (0.0, 0.234))  # of the height; above each its heading of one to three lines


def _three(lesson: Any, traces: list[dict[str, Any]], headings: Sequence[Sequence[str]]) -> go.Figure:
    """Return three rows over the axis of a lesson, each below its heading."""
    values = [step.value for step in lesson.steps]
    numbers = _numbers(lesson)
    labels = [figures.plain(step.label) for step in lesson.steps]
    kinds = ["<br>".join(textwrap.wrap(label, 12)) for label in labels]
    for trace in traces:
        trace |= {"type": "scatter", "mode": "lines+markers" if numbers else "markers",
                  "x": values if numbers else kinds, "text": labels}  # fmt: skip
    xaxis: dict[str, Any] = {"title": {"text": lesson.quantity}, "type": "category", "anchor": "y3"}
    if numbers:
        xaxis |= {"title": {"text": f"{lesson.quantity} [{UNITS[lesson.key]}]"}, "type": "linear",
                  "range": [min(0.0, -0.03 * max(values)), 1.06 * max(values)]}  # fmt: skip
    if numbers and lesson.key in _LOGARITHMIC and min(values) > 0.0:  # from millimetres to the width of a bay
        ends = np.log10([0.8 * min(values), 1.25 * max(values)]).tolist()
        short = [label.split(" ")[0] if label[0].isdigit() else label.replace(" ", "<br>") for label in labels]
        xaxis |= {"type": "log", "range": ends, "tickmode": "array", "tickvals": values, "ticktext": short}
    rows = {
        f"yaxis{at if at > 1 else ''}": {"rangemode": "tozero", "domain": list(domain)}
        for at, domain in enumerate(_ROWS, 1)
    }
    notes = [
        {"text": "<br>".join(lines), "x": 0, "xref": "paper", "xanchor": "left", "y": top, "yref": "paper",
         "yanchor": "bottom", "yshift": 3, "showarrow": False, "align": "left"}
        for lines, (_, top) in zip(headings, _ROWS, strict=True)
    ]  # fmt: skip
    layout = style(height=600, margin={"t": 30, "l": 40}, showlegend=False, xaxis=xaxis, annotations=notes, **rows)
    return go.Figure({"data": traces, "layout": layout})


_LOGARITHMIC = ("rails", "night")


def _sign(colour: str, shape: str, words: str) -> str:
    """Return a line of a heading that names a curve by its colour and the shape of its points."""
    return f'<span style="color:{LIGHT[colour]}">{shape}</span> {words}'


_RATE = ("Air change rate, median [per hour]",)


def _rates(lesson: Any) -> dict[str, Any]:
    """Return the curve of the air change rate, the first of the three above each other."""
    return {"y": [step.rate for step in lesson.steps], "name": "air change rate, median",
            "line": {"color": LIGHT["air"], "width": 2}, "marker": {"size": 8},
            "hovertemplate": "%{text}: %{y:.3~g} per hour<extra></extra>"}  # fmt: skip


def _night_rows(lesson: Any) -> tuple[list[dict[str, Any]], Sequence[Sequence[str]]]:
    """Return air change rate, hours of dew and the largest film: each with an axis of its own, for both may turn."""
    traces = [
        _rates(lesson),
        {"y": [step.dew_hours for step in lesson.steps], "yaxis": "y2",
         "name": "back of the cladding below the dew point",
         "line": {"color": LIGHT["film"], "width": 2}, "marker": {"symbol": "circle", "size": 9},
         "hovertemplate": "%{text}: %{y:.0f} h<extra></extra>"},
        {"y": [1e3 * step.film for step in lesson.steps], "yaxis": "y3", "name": "largest film of dew",
         "line": {"color": LIGHT["wind"], "width": 2, "dash": "dash"}, "marker": {"symbol": "square", "size": 9},
         "hovertemplate": "%{text}: %{y:.2f} g/m²<extra></extra>"},
    ]  # fmt: skip
    return traces, (_RATE, ("Back of the cladding below the dew point", "[hours a year]"), ("Largest film [g/m²]",))


def _brick_rows(lesson: Any) -> tuple[list[dict[str, Any]], Sequence[Sequence[str]]]:
    traces = [
        _rates(lesson),
        {"y": [step.excess for step in lesson.steps], "yaxis": "y2",
         "name": "cavity above outdoors, sunniest tenth of hours",
         "line": {"color": LIGHT["humidity"], "width": 2}, "marker": {"symbol": "square", "size": 9},
         "hovertemplate": "%{text}: %{y:.0f} Pa<extra></extra>"},
        {"y": [100.0 * step.inner for step in lesson.steps], "yaxis": "y3",
         "name": "outside the vapour retarder, highest 30 days",
         "line": {"color": LIGHT["dew_point"], "width": 2, "dash": "dash"}, "marker": {"symbol": "circle", "size": 9},
         "hovertemplate": "%{text}: %{y:.1f} %<extra></extra>"},
    ]  # fmt: skip
    return traces, (
        _RATE,
        ("Vapour pressure, cavity minus outdoors [Pa]", "mean of the sunniest tenth of hours"),
        ("Relative humidity outside the retarder [%]", "highest 30-day mean"),
    )


def _air_rows(lesson: Any) -> tuple[list[dict[str, Any]], Sequence[Sequence[str]]]:
    """Return flow, air change rate with its spread, and hours of wetness."""
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
        {"y": [step.flow for step in lesson.steps],
         "name": "air flow, median hour", "line": {"color": LIGHT["stack"], "width": 2, "dash": "dot"},
         "marker": {"symbol": "diamond", "size": 8}, "hovertemplate": "%{text}: %{y:.3~g} L/(s m)<extra></extra>"},
        {"y": rate, "yaxis": "y2", "error_y": spread,
         "name": "air change rate: median, and 10 to 90 % of hours", "line": {"color": LIGHT["air"], "width": 2},
         "marker": {"size": 8}, "hovertemplate": "%{text}: %{y:.3~g} per hour<extra></extra>"},
        {"y": [step.dew_hours for step in lesson.steps],
         "yaxis": "y3", "name": "back of the cladding below the dew point",
         "line": {"color": LIGHT["film"], "width": 2}, "marker": {"symbol": "circle", "size": 9},
         "hovertemplate": "%{text}: %{y:.0f} h<extra></extra>"},
        {"y": [step.humid_hours for step in lesson.steps],
         "yaxis": "y3", "name": "exterior surface of the wall above 80 %",
         "line": {"color": LIGHT["humidity"], "width": 2, "dash": "dash"}, "marker": {"symbol": "square", "size": 9},
         "hovertemplate": "%{text}: %{y:.0f} h<extra></extra>"},
    ]  # fmt: skip
    return traces, (
        ("Air flow, median [L/(s m)]",),
        ("Air change rate [per hour]", "median; bars: 10 to 90 % of hours"),
        ("Hours a year [h]", _sign("film", "●", "back of the cladding below the dew point"),
         _sign("humidity", "■", "exterior surface of the wall above 80 %")),
    )  # fmt: skip


def computed(lesson: Any) -> tuple[str, list[str]]:
    """Return what the computed numbers of a lesson say: an opening, and a line for each quantity."""
    if lesson.key == "drying":
        return _computed_drying(lesson)
    steps = lesson.steps
    lines = [f"median air change rate {_course(lesson, [step.rate for step in steps], 'per hour')}"]
    if lesson.key == "brick":
        lines += [
            "vapour pressure of the cavity above that outdoors, sunniest tenth of hours, "
            + _course(lesson, [step.excess for step in steps], "Pa"),
            "highest 30-day mean of relative humidity outside the vapour retarder "
            + _course(lesson, [100.0 * step.inner for step in steps], "%"),
        ]
    else:
        lines.insert(0, f"median air flow {_course(lesson, [step.flow for step in steps], 'L/(s m)')}")
        lines += [
            f"back of the cladding below the dew point {_course(lesson, [step.dew_hours for step in steps], 'h')}",
            "exterior surface of the wall above 80 % "
            + _course(lesson, [step.humid_hours for step in steps], "h"),
        ]  # fmt: skip
    ends = f", from {steps[0].label} to {steps[-1].label}" if _numbers(lesson) else ""
    return f"Computed here{ends}:", lines


def _course(lesson: Any, values: Sequence[float], unit: str) -> str:
    """Return how a quantity runs over the steps: its ends, and a maximum or minimum in between; all of it for kinds."""
    shown = [_shown(value, unit) for value in values]
    if not _numbers(lesson):
        return ", ".join(f"{text} {unit} ({step.label})" for text, step in zip(shown, lesson.steps, strict=True))
    if len(set(shown)) == 1:
        return f"{shown[0]} {unit} throughout"
    course = f"from {shown[0]} to {shown[-1]} {unit}"
    high, low = int(np.argmax(values)), int(np.argmin(values))
    for at, name, differs in (
        (high, "highest", values[high] > 1.02 * max(values[0], values[-1])),
        (low, "lowest", values[low] < 0.98 * min(values[0], values[-1])),
    ):
        if differs and shown[at] not in (shown[0], shown[-1]):
            course += f", {name} {shown[at]} at {lesson.steps[at].label}"
    return course


def _shown(value: float, unit: str) -> str:
    return display.number(round(value), 4) if unit in ("h", "Pa") else display.number(value)


def _computed_drying(lesson: Any) -> tuple[str, list[str]]:
    steps = [step for step in lesson.steps if step.drying is not None]
    if not steps:
        return "No wetting event could be computed.", []
    first = steps[0].drying
    lines = []
    for step in steps:
        drying = step.drying
        ways = [
            f"{1e3 * amount:.0f} g/m² {words}"
            for amount, words in (
                (drying.vented, "with the cavity air"),
                (drying.condensed, "condensed on the cladding"),
                (drying.indoors, "into the room"),
            )
            if amount >= 0.5e-3  # kg/m2, shown as 1 g/m2
        ]
        lines.append(f"{step.label}: " + "; ".join([
            f"50 % after {_days(drying, 0.5)}, 90 % after {_days(drying, 0.9)}", *([", ".join(ways)] if ways else [])
        ]))  # fmt: skip
    return (
        f"Computed here: when 50 and 90 % of the {1e3 * first.brought:.0f} g/m² added to the {first.layer} have dried, "
        "and where the water went:",
        lines,
    )


def _days(drying: Any, fraction: float) -> str:
    days = drying.days(fraction)
    return f"{days:.0f} d" if np.isfinite(days) else f"over {len(drying.left)} d"


def _left(drying: Any, days: int) -> float:
    return max(0.0, float(_fractions(drying)[min(days, len(drying.left)) - 1]))


def _extremes(lesson: Any) -> list[str]:
    """Return what the numbers answer where a lesson asks for a size or for a most and least."""
    if lesson.key == "openings" and len(lesson.steps) > 1 and lesson.steps[-2].flow > 0.0:
        before, last = lesson.steps[-2:]
        change = 100.0 * (last.flow / before.flow - 1.0)
        return [
            f"Here the last step, from {before.label} to {last.label}, {'raises' if change >= 0.0 else 'lowers'} the "
            f"median flow by {abs(change):.0f} %."
        ]
    if lesson.key not in ("mass", "night"):
        return []
    most, least = (pick(lesson.steps, key=lambda step: step.dew_hours) for pick in (max, min))
    film, dry = (pick(lesson.steps, key=lambda step: step.film) for pick in (max, min))
    if not most.dew_hours:
        return ["In this climate the back of the cladding is never below the dew point at any of these steps."]
    sentence = (
        f"Here the back of the cladding is below the dew point for most hours with {most.label} "
        f"({_shown(most.dew_hours, 'h')} h) and for fewest with {least.label} ({_shown(least.dew_hours, 'h')} h)"
    )
    if film.film < _NO_FILM:
        return [f"{sentence}; no film lasts an hour."]
    smallest = f"{1e3 * dry.film:.1f} g/m²" if dry.film >= _NO_FILM else "none"
    return [
        f"{sentence}; the largest film, {1e3 * film.film:.1f} g/m², occurs with {film.label}, the smallest, "
        f"{smallest}, with {dry.label}."
    ]


_NO_FILM = 5e-5  # kg/m2: shown as 0.0 g/m2


def _label(step: Any) -> str:
    return f"{step.label} (base case)" if step.base else step.label


def _missing(lesson: Any) -> list[str]:
    return [f"Not computed: {label} ({reason.rstrip('.')})." for label, reason in lesson.failed]


def _table(lesson: Any) -> dict[str, Any]:
    if lesson.key == "drying":
        steps = [step for step in lesson.steps if step.drying is not None]
        days = range(0, max((len(step.drying.left) for step in steps), default=0) + 1, 5)
        return {
            "head": ["Day", *(f"{_label(step)}: left [%]" for step in steps)],
            "rows": [
                [day, *(f"{100 * (_left(step.drying, day) if day else 1.0):.1f}" for step in steps)] for day in days
            ],
        }
    if lesson.key == "brick":
        return {
            "head": [
                lesson.quantity, "Air flow [L/(s m)]", "Air change rate, median [per hour]",
                "Cavity vapour pressure above outdoors, sunniest tenth of hours [Pa]",
                "Highest 30-day relative humidity outside the vapour retarder [%]",
                "Exterior surface of wall above 80 % [h]",
            ],
            "rows": [
                [_label(step), display.number(step.flow), display.number(step.rate), f"{step.excess:.0f}",
                 f"{100 * step.inner:.1f}", f"{step.humid_hours:.0f}"]
                for step in lesson.steps
            ],
        }  # fmt: skip
    head = [
        lesson.quantity, "Air flow [L/(s m)]", "Air change rate, median [per hour]", "10 to 90 % of hours [per hour]",
        "Hours upwards [%]",
        "Cavity warmer in the sunniest tenth of hours [K]", "Cladding back below dew point [h]",
        "Exterior surface of wall above 80 % [h]",
        f"Largest film on the cladding{'' if lesson.key == 'night' else ', dew and rain'} [g/m²]",
    ]  # fmt: skip
    rows = [
        [
            _label(step), display.number(step.flow), display.number(step.rate),
            f"{display.number(step.rate_low)} to {display.number(step.rate_high)}",
            f"{100 * step.upward:.0f}" if np.isfinite(step.upward) else "–",
            display.number(step.warm, 2), f"{step.dew_hours:.0f}", f"{step.humid_hours:.0f}",
            display.number(round(1e3 * step.film, 1), 2),
        ]
        for step in lesson.steps
    ]  # fmt: skip
    return {"head": head, "rows": rows}


def _readings(lesson: Any, step: Any) -> list[tuple[str, str]]:
    """Return what is shown below the drawing of a step: four numbers at most."""
    rate = ("Air change rate, median", f"{display.number(step.rate)} per hour")
    if lesson.key == "drying":
        if step.drying is None:
            return [rate]
        return [rate, ("50 % dried after", _days(step.drying, 0.5)), ("90 % dried after", _days(step.drying, 0.9)),
                ("Left after 90 days", f"{100 * _left(step.drying, 90):.0f} %")]  # fmt: skip
    if lesson.key == "brick":
        return [rate, ("Cavity above outdoors in the sun", f"{step.excess:.0f} Pa"),
                ("Humidity outside the retarder, 30 days", f"{100 * step.inner:.1f} %")]  # fmt: skip
    last = ("Exterior surface of the wall above 80 %", f"{_shown(step.humid_hours, 'h')} h")
    if lesson.key == "night":
        last = ("Largest film of dew", f"{1e3 * step.film:.1f} g/m²")
    return [("Air flow, median", f"{display.number(step.flow)} L/(s m)"), rate,
            ("Cladding back below the dew point", f"{_shown(step.dew_hours, 'h')} h"), last]  # fmt: skip


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
        What is fictitious, "wall" and "climate"; the page says so.
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
    from markupsafe import Markup

    parts: list[dict[str, Any]] = []
    drawn: dict[str, Any] = {}
    for lesson in lessons:
        text = _TEXTS[lesson.key]
        part = dict.fromkeys(("equation", "symbols", "figure", "question", "steps", "table", "base"))
        part |= {
            "key": lesson.key,
            "heading": text.title,
            "text": _missing(lesson),
        }
        if lesson.steps and (lesson.key != "drying" or any(step.drying for step in lesson.steps)):
            drawn[lesson.key] = {"figure": plain_figure(figure(lesson)), "marks": marks(lesson)}
            opening, lines = computed(lesson)
            part |= {
                "text": [text.lead, *_missing(lesson)],
                "base": lesson.base,
                "start": next((at for at, step in enumerate(lesson.steps) if step.base), 0),
                "symbols": text.symbols,
                "equation": Markup(text.equation),
                "quantity": lesson.quantity,
                "does": text.does,
                "caption": "All other inputs are those of the base case; each value is a simulated year.",
                "figure": True,
                "steps": [
                    {"label": _label(step), "scene": Markup(lesson_scene.scene(lesson, step)),
                     "readings": _readings(lesson, step)}
                    for step in lesson.steps
                ],
                "table": _table(lesson),
                "question": text.question,
                "answer": [text.why, *_extremes(lesson), opening],
                "computed": lines,
            }  # fmt: skip
        parts.append(part)
    lead = [
        f"{len(lessons)} lessons on how well the cavity behind a cladding is ventilated, how wet it becomes and how "
        "it dries. In each, one variable is changed alone, with the same model; the slider starts at the base case, "
        "where it is one of the steps. Move it, and try to answer the question before you open the answer.",
        *([base] if base else []),
        f"Wall: {wall_name}, without rails and barriers. Climate: {climate_name}."
        + (f" The {' and the '.join(invented)} {'are' if len(invented) > 1 else 'is'} fictitious." if invented else "")
        + ("" if rain else " The weather file has no rain: what rain and the wind with it do is not seen here."),
    ]
    title = "How a ventilated cavity behaves"
    figures_json = {"figures": drawn, "template": plain(style()["template"]), "ink": LIGHT["ink"]}
    context = base_context(title) | {
        "lesson_css": Markup(read("lesson.css") + lesson_scene.STYLE),
        "lesson_js": Markup(read("lesson.js")),
        "lead": lead,
        "caution": verdict.CAUTIONS,
        "parts": parts,
        "figures_json": Markup(script_json(figures_json)),
    }
    return write_text(path, with_footnote(environment().get_template("lesson.html.j2").render(context)))
