"""The page of one climate: months, roses, orientations, undercooling and drying; a climate summary in, one file out."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import numpy as np
import plotly.graph_objects as go

from cavity.finding_words import MONTHS
from cavity.report import display
from cavity.report.figures import plain
from cavity.report.page import write_page
from cavity.report.palette import LIGHT, SCALE, scale, style

CAUTION = (
    "A climate summary ranks months and orientations; it does not say whether a wall stays dry. Compute the wall. "
    "Shelter from neighbouring buildings, overhangs and terrain can affect driving rain more than orientation."
)


def _axis(title: str, **more: Any) -> dict[str, Any]:
    return {"title": {"text": title}, **more}


def _polar(summary: Any, traces: list[dict[str, Any]], unit: str, **layout: Any) -> go.Figure:
    names = [str(name) for name in summary["compass"].values]
    polar = {
        "angularaxis": {
            "direction": "clockwise",
            "rotation": 90,
            "tickmode": "array",
            "tickvals": summary["orientation"].values[::2].tolist(),
            "ticktext": names[::2],
            "gridcolor": LIGHT["grid"],
            "linecolor": LIGHT["muted"],
        },
        "radialaxis": {
            "angle": 45,
            "tickangle": 45,  # level
            "nticks": 4,
            "ticksuffix": f" {unit}",
            "showticksuffix": "last",
            "gridcolor": LIGHT["grid"],
            "tickfont": {"size": 12},
        },
        "bgcolor": "rgba(0,0,0,0)",
    }
    return go.Figure({"data": traces, "layout": style(polar=polar, height=400, legend={"y": 1.1}, **layout)})


def temperature_figure(summary: Any) -> go.Figure:
    """Return monthly mean, lowest and highest temperature, and mean relative humidity on a second axis."""
    months = list(MONTHS)
    low, high = summary["temperature_lowest"].values, summary["temperature_highest"].values
    traces = [
        {"type": "bar", "x": months, "base": low.tolist(), "y": (high - low).tolist(), "name": "lowest to highest",
         "width": 0.35, "marker": {"color": LIGHT["rule"]},
         "customdata": np.stack([low, high], axis=1).tolist(),
         "hovertemplate": "%{x}: %{customdata[0]:.1f} to %{customdata[1]:.1f} °C<extra></extra>"},
        {"type": "scatter", "x": months, "y": summary["temperature_mean"].values.tolist(), "name": "mean temperature",
         "mode": "lines+markers", "line": {"color": LIGHT["temperature"]},
         "hovertemplate": "%{x}: %{y:.1f} °C<extra></extra>"},
        {"type": "scatter", "x": months, "y": summary["humidity"].values.tolist(), "name": "mean relative humidity",
         "mode": "lines+markers", "line": {"color": LIGHT["humidity"], "dash": "dash"}, "yaxis": "y2",
         "marker": {"symbol": "square"}, "hovertemplate": "%{x}: %{y:.0f} %<extra></extra>"},
    ]  # fmt: skip
    layout = style(
        yaxis=_axis("Temperature [°C]"),
        yaxis2=_axis(
            "Relative humidity [%]",
            overlaying="y",
            side="right",
            range=[0, 100],
            showgrid=False,
            tickmode="linear",
            dtick=20,
        ),
        margin={"l": 56, "r": 56, "t": 34, "b": 40},
    )
    return go.Figure({"data": traces, "layout": layout})


def wind_figure(summary: Any) -> go.Figure:
    """Return the wind rose: percentage of hours by sector, stacked by speed class."""
    edges = [float(edge) for edge in summary["speed"].values]
    share = summary["wind_fraction"].values * 100.0
    traces = []
    for i, low in enumerate(edges):
        title = f"{low:g} to {edges[i + 1]:g} m/s" if i + 1 < len(edges) else f"above {low:g} m/s"
        traces.append(
            {"type": "barpolar", "theta": summary["orientation"].values.tolist(), "r": share[i].tolist(),
             "width": [20.0] * 16, "name": title,
             "marker": {"color": SCALE[i], "line": {"color": LIGHT["muted"], "width": 0.5}},
             "hovertemplate": f"{title}: %{{r:.1f}} % of hours<extra></extra>"}
        )  # fmt: skip
    return _polar(summary, traces, "%")


def rain_figure(summary: Any) -> go.Figure:
    """Return the driving-rain rose by both methods: what a wall that faces each way receives in a year."""
    traces = []
    for name, title, colour, dash, symbol in (
        ("driving_rain_free", "free field, ISO", "muted", "dot", "circle-open"),
        ("driving_rain_iso", "wall, ISO", "film", "solid", "circle"),
        ("driving_rain_ashrae", "wall, ASHRAE", "stack", "dash", "square"),
    ):
        amount = summary[name].sum("month").values
        traces.append(
            {"type": "scatterpolar", "theta": [*summary["orientation"].values.tolist(), 0.0],
             "r": [*amount.tolist(), float(amount[0])], "mode": "lines+markers", "name": title,
             "line": {"color": LIGHT[colour], "dash": dash}, "marker": {"symbol": symbol, "size": 6},
             "hovertemplate": title + ": %{r:.0f} L/m² per year<extra></extra>"}
        )  # fmt: skip
    return _polar(summary, traces, "L/m²")


def month_by_orientation(summary: Any, name: str, unit: str) -> go.Figure:
    """Return a map of one quantity by month and orientation."""
    compass = [str(text) for text in summary["compass"].values]
    trace = {
        "type": "heatmap",
        "x": list(MONTHS),
        "y": compass,
        "z": summary[name].values.T.tolist(),
        "colorscale": scale(),
        "colorbar": {"title": {"text": unit, "side": "right"}, "thickness": 12},
        "hovertemplate": f"%{{y}}, %{{x}}: %{{z:.0f}} {unit}<extra></extra>",
    }
    layout = style(
        height=390,
        yaxis={"title": {"text": "Orientation of the wall"}, "autorange": "reversed", "type": "category"},
        margin={"l": 64, "r": 18, "t": 20, "b": 40},
    )
    return go.Figure({"data": [trace], "layout": layout})


def undercooling_figure(summary: Any) -> go.Figure:
    """Return the percentage of hours in which a panel is below the dew point, by month and hour of the day."""
    trace = {
        "type": "heatmap",
        "x": [int(hour) for hour in summary["hour"].values],
        "y": list(MONTHS),
        "z": (summary["undercooling"].values * 100.0).tolist(),
        "colorscale": scale(),
        "colorbar": {"title": {"text": "% of hours", "side": "right"}, "thickness": 12},
        "hovertemplate": "%{y}, %{x}:00: %{z:.0f} % of hours<extra></extra>",
    }
    layout = style(
        xaxis=_axis("Hour of the day, local standard time"),
        yaxis={"autorange": "reversed", "type": "category"},
        margin={"l": 50, "r": 18, "t": 20, "b": 46},
    )
    return go.Figure({"data": [trace], "layout": layout})


_PLACES = {  # of a label: its name for plotly, and the direction in which it lies from its point
    "top center": (0, 1), "bottom center": (0, -1), "middle right": (1, 0), "middle left": (-1, 0),
    "top right": (1, 1), "top left": (-1, 1), "bottom right": (1, -1), "bottom left": (-1, -1),
}  # fmt: skip
_NARROWEST = (253.0, 150.0)  # px, drawing area of the figure on half a sheet of paper; a phone has more


def label_places(x: np.ndarray, y: np.ndarray, labels: list[str]) -> list[str]:
    """Return where each point of a scatter has its label, such that labels keep off each other and off other points.

    Parameters
    ----------
    x, y : array, (n,)
        Points. [any]
    labels : list of str, (n,)
        Their labels.
    """
    spans = [max(float(np.ptp(values)), 1e-9) for values in (x, y)]
    at = np.stack([(values - values.min()) / span * size for values, span, size in zip(
        (x, y), spans, (0.85 * _NARROWEST[0], 0.85 * _NARROWEST[1]), strict=True)], axis=1)  # fmt: skip
    half = np.array([[4.5 * len(label), 7.5] for label in labels])  # px at 12 px type
    places = ["top center"] * len(labels)

    def middle(i: int, place: str) -> np.ndarray:
        beside = np.array(_PLACES[place], float)
        return at[i] + beside * (half[i] + np.where(beside[::-1] == 0.0, 6.0, 3.0))

    def overlap(i: int, place: str) -> float:
        own = middle(i, place)
        cost = 0.1 * list(_PLACES).index(place)  # the first that is free
        for k in range(len(labels)):
            if k == i:
                continue
            for other, size in ((at[k], 5.0), (middle(k, places[k]), half[k])):
                shared = half[i] + size - np.abs(own - other)
                cost += float(shared.prod()) if (shared > 0.0).all() else 0.0
        return cost

    for _ in range(4):  # every label in turn takes its best place, until none moves
        before = list(places)
        for i in range(len(labels)):
            places[i] = min(_PLACES, key=lambda place: overlap(i, place))
        if places == before:
            break
    return places


def balance_figure(summary: Any) -> go.Figure:
    """Return drying potential against driving rain of the sixteen orientations; the one to check is marked."""
    wet = summary["driving_rain_iso"].sum("month").values
    dry = summary["drying_potential"].sum("month").values / 1000.0
    check = int(np.argmin(np.abs(summary["orientation"].values - summary.attrs["to_check"])))
    names = [str(name) for name in summary["compass"].values]
    trace = {
        "type": "scatter",
        "x": dry.tolist(),
        "y": wet.tolist(),
        "mode": "markers+text",
        "text": names,
        "textposition": label_places(dry, wet, names),
        "textfont": {"size": 12},
        "cliponaxis": False,
        "marker": {
            "size": [14 if i == check else 8 for i in range(16)],
            "symbol": ["diamond" if i == check else "circle" for i in range(16)],
            "color": [LIGHT["fail"] if i == check else LIGHT["accent"] for i in range(16)],
        },
        "hovertemplate": "%{text}: %{y:.0f} L/m², %{x:.1f} MPa h<extra></extra>",
    }

    def span(values: np.ndarray) -> list[float]:
        return [float(values.min() - 0.09 * np.ptp(values)), float(values.max() + 0.09 * np.ptp(values))]

    layout = style(
        height=390,
        xaxis=_axis("Drying potential [MPa h per year]", range=span(dry)),
        yaxis=_axis("Driving rain [L/m² per year]", range=span(wet)),
        showlegend=False,
    )
    return go.Figure({"data": [trace], "layout": layout})


def write_climate_page(summary: Any, path: str | os.PathLike[str]) -> Path:
    """Write the page of one climate.

    Parameters
    ----------
    summary : xarray.Dataset, (month, orientation, speed, hour)
        What `cavity.climate.summary.summarise` returns.
    path : path
        The HTML file.

    Returns
    -------
    pathlib.Path
        The file written.

    Raises
    ------
    InputError
        If the file cannot be written.
    """
    attrs = summary.attrs
    rain = bool(attrs["has_rain"])
    location = (
        f"{attrs['name']}, {abs(attrs['latitude']):.1f}° {'N' if attrs['latitude'] >= 0 else 'S'}, "
        f"{abs(attrs['longitude']):.1f}° {'E' if attrs['longitude'] >= 0 else 'W'}, "
        f"{attrs['elevation']:.0f} m above the sea, "
        f"{attrs['years']:.3g} year{'s' if attrs['years'] > 1.5 else ''} of hours from {attrs['source']}."
    )
    invented = ["This climate is fictitious: no such place exists."] if attrs["invented"] else []
    notes = [text[0].upper() + text[1:] + "." for text in json.loads(attrs["warnings"])]

    def item(key: str, title: str, caption: str, figure: go.Figure) -> dict[str, Any]:
        return {"id": f"climate-{key}", "title": title, "caption": caption, "figure": figure}

    site = f"{attrs['terrain']} terrain, building {attrs['building_height']:g} m high"
    parts: list[dict[str, Any]] = [
        {
            "heading": "Months",
            "nav": "Months",
            "figures": [
                item(
                    "temperature",
                    "Temperature and humidity",
                    "Bars span the lowest and highest hour of the month.",
                    temperature_figure(summary),
                ),
                item(
                    "undercooling",
                    "Hours with a panel below the outdoor dew point",
                    "Thin vertical panel facing the night sky, no heat from behind; % of hours by month and hour.",
                    undercooling_figure(summary),
                ),
            ],
            "table": {
                "caption": "Each month, mean of the years",
                "head": month_head(summary),
                "rows": month_rows(summary),
            },
        },
        {
            "heading": "Wind and driving rain",
            "nav": "Rain",
            "text": [attrs["rain_words"]],
            "figures": [
                item(
                    "wind",
                    "Wind rose",
                    f"Direction it comes from, at 10 m; calm in {100 * attrs['calm_fraction']:.0f} % of hours.",
                    wind_figure(summary),
                ),
                *(
                    [
                        item(
                            "rain",
                            "Driving rain by orientation",
                            f"Driving rain on a vertical wall per year, by ISO 15927-3 and ASHRAE 160; {site}.",
                            rain_figure(summary),
                        )
                    ]
                    if rain
                    else []
                ),
            ],
        },
        {
            "heading": "Orientations: wetting against drying" if rain else "Orientations: drying",
            "nav": "Orientations",
            "text": [],
            "figures": [
                item(
                    "sun",
                    "Sun on the wall",
                    "Vertical wall, by month.",
                    month_by_orientation(summary, "sun_on_wall", "kWh/m²"),
                ),
                item(
                    "drying",
                    "Drying potential",
                    "Vapour pressure of saturated air at a sunlit panel minus that outdoors, summed.",
                    month_by_orientation(summary, "drying_potential", "kPa h"),
                ),
                *(
                    [
                        item(
                            "balance",
                            "Wetting against drying",
                            "The diamond is the orientation to check.",
                            balance_figure(summary),
                        ),
                        item(
                            "driving",
                            "Driving rain by month",
                            "On the wall, ISO 15927-3.",
                            month_by_orientation(summary, "driving_rain_iso", "L/m²"),
                        ),
                    ]
                    if rain
                    else []
                ),
            ],
            "table": {
                "caption": "Orientations, most critical first",
                "head": ranking_head(summary),
                "rows": ranking_rows(summary),
            },
        },
        {
            "heading": "How it is computed",
            "nav": "Method",
            "text": [
                f"Time: {attrs['time_policy']}.",
                "Sun on walls: pvlib, anisotropic sky after Perez in the form of Driesse 2024, sun at mid-hour.",
                "Driving rain: ISO 15927-3 (free-field index hour by hour, times roughness, topography, obstruction "
                "and wall factor) and ASHRAE 160, both from memory; terrain words mean categories IV, III, II, I.",
                "Undercooling: steady balance of a panel of emissivity 0.9 between air (h = 4 + 4 v, ISO 6946, from "
                "memory) and sky; no latent heat, so dew is an upper bound. Own assumption, for ranking.",
                "Snow: split from rain by wet-bulb temperature (Wang et al. 2019, from memory), half at 0.8 °C; it "
                "does not wet walls.",
                "Moisture index: sqrt(W² + (1 − D)²) with wetting and drying scaled to 0-1, an index published by "
                "Cornick, Djebbar and Dalgliesh 2003 for years and places (from memory); its use for orientations and "
                "months is our own assumption.",
            ],
        },
    ]
    return write_page(
        path,
        f"Climate of {plain(attrs['name'])}",
        lead=[location, *invented, display.typeset(attrs["sentence"]), *notes],
        caution=[CAUTION],
        parts=parts,
    )


MONTH_HEAD = (
    "Month", "Mean °C", "Low °C", "High °C", "RH %", "Vapour Pa", "Wind m/s", "Sun kWh/m²", "Rain mm",
    "Snow mm", "Hours\nbelow\ndew\npoint", "Dew,\nat most\nkg/m²",
)  # fmt: skip
RANK_HEAD = (
    "Orientation",
    "Moisture index",
    "Driving rain ISO L/m²",
    "Driving rain ASHRAE L/m²",
    "Drying MPa h",
    "Sun kWh/m²",
)
_OF_RAIN = ("Rain mm", "Snow mm", "Moisture index", "Driving rain ISO L/m²", "Driving rain ASHRAE L/m²")


def _with_rain(summary: Any, head: tuple[str, ...], cells: tuple[str, ...]) -> tuple[str, ...]:
    """Return the cells without the columns of rain where the weather has none."""
    rain = bool(summary.attrs["has_rain"])
    return tuple(cell for title, cell in zip(head, cells, strict=True) if rain or title not in _OF_RAIN)


def month_head(summary: Any) -> tuple[str, ...]:
    """Return the titles of `month_rows`."""
    return _with_rain(summary, MONTH_HEAD, MONTH_HEAD)


def ranking_head(summary: Any) -> tuple[str, ...]:
    """Return the titles of `ranking_rows`."""
    return _with_rain(summary, RANK_HEAD, RANK_HEAD)


def month_rows(summary: Any) -> list[tuple[str, ...]]:
    """Return the rows of the table of months as text."""
    columns = (
        ("temperature_mean", 1), ("temperature_lowest", 1), ("temperature_highest", 1), ("humidity", 0),
        ("vapour_pressure", 0), ("wind_speed", 1), ("sun", 0), ("rain", 0), ("snow", 0),
        ("undercooled_hours", 0), ("dew", 2),
    )  # fmt: skip
    rows = []
    for i, month in enumerate(MONTHS):
        cells = [f"{float(summary[name].values[i]):.{digits}f}" for name, digits in columns]
        rows.append(_with_rain(summary, MONTH_HEAD, (month, *cells)))
    return rows


def ranking_rows(summary: Any) -> list[tuple[str, ...]]:
    """Return the rows of the table of orientations, most critical first, as text."""
    order = np.argsort(-summary["orientation_index"].values, kind="stable")
    yearly = {
        name: summary[name].sum("month").values
        for name in ("driving_rain_iso", "driving_rain_ashrae", "drying_potential", "sun_on_wall")
    }
    rows = [
        (
            str(summary["compass"].values[i]),
            f"{float(summary['orientation_index'].values[i]):.2f}",
            f"{yearly['driving_rain_iso'][i]:.0f}",
            f"{yearly['driving_rain_ashrae'][i]:.0f}",
            f"{yearly['drying_potential'][i] / 1000:.1f}",
            f"{yearly['sun_on_wall'][i]:.0f}",
        )
        for i in order
    ]
    return [_with_rain(summary, RANK_HEAD, row) for row in rows]
