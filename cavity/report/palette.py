"""Colours, line styles and the drawing style of all figures: one colour a physical quantity, fixed here.

Temperature is ochre, humidity and dew point plum, water slate; colours that share a figure stay apart for readers who
lack any one kind of cone (a test holds that). Every light colour is a different hex text, so that the page can turn
a figure dark by replacing text for text.
The status colours differ in lightness as well as in hue, and are never shown without a shape and a word.
"""

from __future__ import annotations

from typing import Any

LIGHT: dict[str, str] = {
    "paper": "#fbfaf6",
    "sheet": "#fffefb",
    "ink": "#1c2430",
    "muted": "#5a6472",
    "rule": "#c4c8cc",
    "grid": "#e6e6e1",
    "temperature": "#a85f00",
    "dew_point": "#4b2a73",
    "humidity": "#a64489",
    "air": "#124a5c",
    "stack": "#6d6b12",
    "wind": "#2f8ca6",
    "film": "#22384b",
    "runoff": "#7d91a3",
    "mould": "#3c5a1c",
    "rain": "#5f6c84",
    "wood": "#8f6a48",
    "accent": "#27425f",
    "pass": "#13707d",
    "review": "#9a5f00",
    "fail": "#a01d4b",
    "information": "#4f6b85",
    "zone": "#f1efe7",
}

DARK: dict[str, str] = {
    "paper": "#13171c",
    "sheet": "#191f26",
    "ink": "#e7e5dd",
    "muted": "#a3acb7",
    "rule": "#3c4550",
    "grid": "#28303a",
    "temperature": "#f0b34c",
    "dew_point": "#b9a2f5",
    "humidity": "#dc7bbd",
    "air": "#97dcea",
    "stack": "#c9c65a",
    "wind": "#3f9fb8",
    "film": "#cfdcea",
    "runoff": "#7a90a6",
    "mould": "#6faa4a",
    "rain": "#9fb0cc",
    "wood": "#dcb08c",
    "accent": "#b9cbe0",
    "pass": "#4cc4d0",
    "review": "#f2b53a",
    "fail": "#f4789f",
    "information": "#9db6cf",
    "zone": "#20272f",
}

# Lightness falls evenly from sand to night blue, so the order survives a grey print and any colour vision.
SCALE: tuple[str, ...] = ("#f4ecd8", "#cfd9cc", "#93bcbf", "#5690a9", "#34618d", "#1e2f5c")

# One dash a position along the height, lowest first.
DASHES: tuple[str, ...] = ("dot", "solid", "dash", "dashdot", "longdash")

# Colours of layers in a line chart, distinguished by dash as well: seven that stay apart from one another.
LAYERS: tuple[str, ...] = ("wood", "air", "stack", "wind", "ink", "mould", "dew_point")

FONT = '"Avenir Next", "Segoe UI", "Helvetica Neue", Helvetica, "Liberation Sans", Arial, sans-serif'

STATUS_WORD = {"information": "information", "pass": "meets", "review": "review", "fail": "fails"}

# Closed paths in a 16 x 16 box: dot and stem, ring with a tick, triangle, square with a cross. Shape says what colour
# says.
STATUS_PATH = {
    "information": "M6.9 1.6h2.2v2.6H6.9ZM5 6h4.2v6.4H11v1.8H5v-1.8h1.9V7.8H5Z",
    "pass": "M8 1a7 7 0 1 0 0 14A7 7 0 0 0 8 1Zm0 1.8a5.2 5.2 0 1 1 0 10.4A5.2 5.2 0 0 1 8 2.8Z"
    "M4.6 8.3l1.2-1.2 1.5 1.5 3.1-3.4 1.3 1.2-4.4 4.8Z",
    "review": "M8 1.2 15.4 14.6H.6ZM7.1 6v4.4h1.8V6Zm0 5.4v1.7h1.8v-1.7Z",
    "fail": "M1 1h14v14H1ZM4.2 5.6 6.6 8l-2.4 2.4 1.4 1.4L8 9.4l2.4 2.4 1.4-1.4L9.4 8l2.4-2.4-1.4-1.4L8 6.6 5.6 4.2Z",
}


def scale() -> list[list[Any]]:
    """Return the sequential colour scale as plotly stops."""
    last = len(SCALE) - 1
    return [[index / last, colour] for index, colour in enumerate(SCALE)]


def style(**layout: Any) -> dict[str, Any]:
    """Return a plotly layout in the style of the project with `layout` laid over it; no global state is touched."""
    axis = {
        "gridcolor": LIGHT["grid"],
        "linecolor": LIGHT["muted"],
        "linewidth": 1,
        "showline": True,
        "ticks": "outside",
        "ticklen": 4,
        "tickcolor": LIGHT["muted"],
        "zeroline": False,
        "automargin": True,
        "title": {"standoff": 8},
        "tickfont": {"size": 12},
    }
    template = {
        "layout": {
            "font": {"family": FONT, "size": 12, "color": LIGHT["ink"]},
            "paper_bgcolor": "rgba(0,0,0,0)",
            "plot_bgcolor": "rgba(0,0,0,0)",
            "xaxis": axis,
            "yaxis": axis,
            "margin": {"l": 56, "r": 18, "t": 34, "b": 46},
            "hoverlabel": {"bgcolor": LIGHT["sheet"], "bordercolor": LIGHT["rule"], "font": {"color": LIGHT["ink"]}},
            "legend": {
                "orientation": "h",
                "x": 0,
                "xanchor": "left",
                "y": 1.0,
                "yanchor": "bottom",
                "font": {"size": 12},
                "bgcolor": "rgba(0,0,0,0)",
            },
            "barmode": "relative",
            "modebar": {"bgcolor": "rgba(0,0,0,0)", "color": LIGHT["rule"], "activecolor": LIGHT["ink"]},
        }
    }
    return {"template": template, "height": 330, "autosize": True, **layout}
