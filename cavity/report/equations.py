"""Model notes in plain words with their equations (MathML, drawn by the browser itself), and the assumptions."""

from __future__ import annotations

from dataclasses import dataclass


def _part(item: str) -> str:
    """Return a MathML leaf for a bare word, number or sign; markup passes through."""
    if item.startswith("<"):
        return item
    if item.replace(".", "", 1).isdigit():
        return f"<mn>{item}</mn>"
    if item[0].isalpha() or item[0] in "′°":
        return f"<mi>{item}</mi>"
    return f"<mo>{item}</mo>"


def row(*items: str) -> str:
    """Return the items side by side."""
    return "<mrow>" + "".join(_part(item) for item in items) + "</mrow>"


def fraction(top: str, under: str) -> str:
    """Return a fraction."""
    return f"<mfrac>{_part(top)}{_part(under)}</mfrac>"


def below(base: str, index: str) -> str:
    """Return a symbol with an index."""
    return f"<msub>{_part(base)}{_part(index)}</msub>"


def power(base: str, exponent: str) -> str:
    """Return a power."""
    return f"<msup>{_part(base)}{_part(exponent)}</msup>"


def equation(text: str, *items: str) -> str:
    """Return one displayed equation, with its reading for those who cannot see it."""
    return f'<math displaystyle="true" aria-label="{text}">{row(*items)}</math>'


@dataclass(frozen=True)
class Note:
    """One step of the computation: what it does, its equations, where it is from."""

    title: str
    text: tuple[str, ...]
    equations: tuple[str, ...] = ()
    source: str = ""


NOTES: tuple[Note, ...] = (
    Note(
        "What drives the air",
        (
            "The pressure at each opening is the wind pressure at its position plus the weight of the outdoor air "
            "above it. Inside the cavity the weight of the cavity air acts. Air lighter than outdoors rises and "
            "heavier air sinks; wind may act in either direction. Both are added with their sign, so the flow may be "
            "upwards in one hour and downwards in the next. Positive is upwards.",
            "The difference between the pressure coefficients at base and head is the least certain input of all. A "
            "surface average would give no wind drive at all.",
        ),
        (
            equation(
                "pressure at opening j equals Cp j times one half rho U squared minus rho e g z j",
                below("p", "j"),
                "=",
                below("C", row("p", ",", "j")),
                "·",
                fraction("1", "2"),
                "ρ",
                power("U", "2"),
                "−",
                below("ρ", "e"),
                "g",
                below("z", "j"),
            ),
            equation(
                "stack pressure equals rho outdoors minus rho cavity, times g times height",
                below("Δp", "stack"),
                "=",
                "(",
                below("ρ", "e"),
                "−",
                below("ρ", "c"),
                ")",
                "g",
                "H",
            ),
        ),
        "Stack and wind: ASHRAE Fundamentals, airflow around buildings; mean coefficients: Swami and Chandra 1987.",
    ),
    Note(
        "What restricts the air",
        (
            "Entry, mesh or perforated strip, bends, rail gaps, friction along the cavity and exit act in series. "
            "Each causes a pressure loss. In a narrow slot friction is laminar and grows with the speed and with the "
            "inverse square of the depth; the loss of openings grows with the square of the speed. Between Reynolds "
            "numbers 2300 and 4000 the laws are blended.",
            "A mesh behind a vent works at very low Reynolds numbers, where its loss is several times that suggested "
            "by its open area alone.",
        ),
        (
            equation(
                "loss of an opening equals zeta over two rho v squared",
                "Δp",
                "=",
                "ζ",
                fraction("1", "2"),
                "ρ",
                power("v", "2"),
            ),
            equation(
                "loss of a slot equals twelve mu H v over d squared",
                "Δp",
                "=",
                fraction(row("12", "μ", "H", "v"), power("d", "2")),
            ),
        ),
        "Slot: Shah and London 1978; openings and perforated strips: Idelchik; mesh: Bailey et al. 2003 (from memory).",
    ),
    Note(
        "Balance of the air path",
        (
            "The column is a chain of openings and the sections between them. The flow in every section follows from "
            "the balance of mass at each junction. The losses always grow with the flow, so there is one solution, "
            "found by Newton steps with a line search; closed vents and no wind at all are ordinary cases.",
        ),
        (
            equation(
                "the sum of flows at each junction is zero",
                "<munder><mo>∑</mo><mi>j</mi></munder>",
                below("q", "j"),
                "=",
                "0",
            ),
        ),
    ),
    Note(
        "Heat and vapour along the height",
        (
            "Temperature and vapour pressure of the incoming air approach those of the cavity surfaces exponentially. "
            "This is solved exactly in each vertical segment and passed on in the direction of flow. Without flow the "
            "same equations give a still air layer. The surfaces also exchange heat by radiation with each other.",
        ),
        (
            equation(
                "T of y equals T eq plus T in less T eq times exp of minus N y over H",
                "T",
                "(",
                "y",
                ")",
                "=",
                below("T", "eq"),
                "+",
                "(",
                below("T", "in"),
                "−",
                below("T", "eq"),
                ")",
                power("e", row("−", "N", "y", "/", "H")),
            ),
        ),
        "Form of ISO 15099:2003 for heat, used for vapour as well.",
    ),
    Note(
        "Sun, sky, wind and rain on the wall",
        (
            "Solar radiation on the wall has beam, anisotropic diffuse and ground-reflected parts, at the middle of "
            "each hour. Longwave exchange with the cold night sky cools the cladding below the air temperature: a "
            "thin sheet may then collect dew on its back, more so when humid outdoor air passes it. Ventilation can "
            "wet a cladding as well as dry the wall behind; both are shown. Wind is converted to the height and "
            "terrain of the building by a power law, and driving rain by the method named among the inputs.",
        ),
        (),
        "Plane-of-array irradiance by pvlib; rain: ISO 15927-3 or ASHRAE 160; wind: ASHRAE Fundamentals.",
    ),
    Note(
        "Heat and moisture through the layers",
        (
            "Each layer is divided into thin cells. Heat is conducted and carried by vapour and water. Vapour is "
            "driven by vapour pressure and liquid water by suction. Each material stores water by its sorption curve "
            "up to saturation. All cells of a line are solved together, implicitly, hour by hour with adaptive time "
            "steps.",
            "Water and heat that enter, leave and are stored are added up as a check; the errors are listed under "
            "provenance.",
        ),
        (
            equation(
                "rate of water content equals divergence of delta over mu grad p less liquid conductivity grad suction",
                fraction(row("∂", "w"), row("∂", "t")),
                "=",
                fraction("∂", row("∂", "x")),
                "(",
                fraction(below("δ", "0"), "μ"),
                fraction(row("∂", below("p", "v")), row("∂", "x")),
                "−",
                "K",
                fraction(row("∂", below("p", "suc")), row("∂", "x")),
                ")",
            ),
            equation(
                "rate of enthalpy equals divergence of lambda grad T plus h v times vapour flux less h l times water",
                fraction(row("∂", "h"), row("∂", "t")),
                "=",
                fraction("∂", row("∂", "x")),
                "(",
                "λ",
                fraction(row("∂", "T"), row("∂", "x")),
                "+",
                below("h", "v"),
                fraction(below("δ", "0"), "μ"),
                fraction(row("∂", below("p", "v")), row("∂", "x")),
                "−",
                below("h", "l"),
                "K",
                fraction(row("∂", below("p", "suc")), row("∂", "x")),
                ")",
            ),
        ),
        "EN 15026; Kelvin equation for humidity and suction; material data as listed above.",
    ),
    Note(
        "Condensation, film, run-off and frost",
        (
            "Water condenses on a surface colder than the dew point of the adjacent air and releases its latent heat. "
            "A vertical surface holds a limited film; the rest runs to the base and leaves. Below 0 °C the film is "
            "frost. It evaporates when the dew point falls.",
        ),
        (
            equation(
                "condensation equals beta times vapour pressure of the air minus saturation pressure at the surface",
                "g",
                "=",
                "β",
                "(",
                below("p", "air"),
                "−",
                below("p", "sat"),
                "(",
                below("T", "surface"),
                ")",
                ")",
            ),
        ),
    ),
    Note(
        "Criteria",
        (
            "The wall side (exterior surface of the backup wall and everything inside it) and the cladding side are "
            "judged separately. The wall side can fail. The cladding side is at most an item to review, because a "
            "cladding is exposed to the weather and the cavity is built for that. Each finding names its limit and "
            "the source of the limit. “Review” means that something must be checked or decided; “information” does "
            "not affect the verdict.",
        ),
    ),
)

ASSUMPTIONS: tuple[str, ...] = (
    "One dimension through the wall, segments along the height; no studs, corners, edges or workmanship faults unless "
    "given as an input.",
    "The air exchange by gusts, and through the vent of a cavity with one vent only, are estimates (no published "
    "formula for narrow cavities); each can be turned off.",
    "The wind pressure over the height of the wall is a profile from one building in a wind tunnel, or an input (low, "
    "middle and high values 0.05, 0.1 and 0.3 of the dynamic pressure); its uncertainty outweighs most others.",
    "The same year is repeated until the yearly cycle of water closes, or the number of years allowed is used up.",
    "Rain that penetrates the cladding is a fixed fraction of the driving rain on the wall, applied to one plane.",
    "Materials have the values listed; they do not age.",
)
