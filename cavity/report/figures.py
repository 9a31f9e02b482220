"""Figures of one case: pure functions, result Dataset in, plotly Figure out; nothing is computed but by `series`.

The page takes what each function describes as plain dicts (`plain_of_case`): plotly checks every property of a Figure
and copies the style into each, which took half of the time a report of many cases needs. The tests draw Figures, so
that each description is checked there.
"""

from __future__ import annotations

import functools
import html
import math
import textwrap
from collections.abc import Callable, Collection
from typing import TYPE_CHECKING, Any

import numpy as np

from cavity.finding_words import surface_in_words
from cavity.report import display, series
from cavity.report.palette import DASHES, LAYERS, LIGHT, scale, style
from cavity.risk import air

if TYPE_CHECKING:
    import plotly.graph_objects as go

_CONFIG_TIME = {"tickformat": "%-d %b", "hoverformat": "%-d %b, %H:00", "title": {"text": "Time of year"}}


def plain(text: object) -> str:
    """Return `text` so that plotly shows it unchanged: its labels read a small markup of their own."""
    return html.escape(str(text), quote=False)


def _clock(ds: Any) -> np.ndarray:
    return ds["time"].values.astype("datetime64[m]")


def _figure(traces: list[dict[str, Any]], layout: dict[str, Any]) -> Any:
    return {"data": traces, "layout": layout}


def _drawn(describe: Callable[..., Any]) -> Any:
    """Turn a function that describes a figure in plain dicts into one that returns it as a plotly Figure."""

    @functools.wraps(describe)
    def draw(*args: Any, **options: Any) -> go.Figure:
        import plotly.graph_objects as go

        return go.Figure(describe(*args, **options))

    return draw


def _line(colour: str, width: float = 1.4, dash: str = "solid") -> dict[str, Any]:
    return {"color": LIGHT[colour], "width": width, "dash": dash}


def _limit(
    value: float, text: str, colour: str = "muted", *, beside: bool = False
) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return the shape and the label of a horizontal limit line; the label on the line or beside the frame."""
    shape = {"type": "line", "xref": "paper", "x0": 0, "x1": 1, "y0": value, "y1": value,
             "line": {"color": LIGHT[colour], "width": 1.2, "dash": "dash"}}  # fmt: skip
    label = {"xref": "paper", "x": 1, "y": value, "text": text, "showarrow": False,
             "xanchor": "left" if beside else "right", "yanchor": "middle" if beside else "bottom",
             "font": {"size": 12, "color": LIGHT[colour]}}  # fmt: skip
    return shape, label


def profile_positions(ds: Any) -> tuple[list[str], np.ndarray]:
    """Return names and positions [mm] of the profile's points: outdoors, surfaces with the cavity air between, room."""
    faces = series.face_names(ds)
    positions = np.asarray(ds["face_position"].values, float) * 1e3
    wall = [str(role) for role in ds["face_role"].values].index("outer face of wall")
    reach = 0.08 * max(positions[-1] - positions[0], 1.0)
    names = ["outdoor air", *faces[:wall], "cavity air", *faces[wall:], "room air"]
    middle = 0.5 * (positions[wall - 1] + positions[wall])
    return names, np.concatenate(
        [[positions[0] - reach], positions[:wall], [middle], positions[wall:], [positions[-1] + reach]]
    )


def profile_values(ds: Any, segment: int) -> dict[str, np.ndarray]:
    """Return temperature, dew point [K] and relative humidity [-] at the points of the profile, (point, time).

    The dew point of the air outdoors, in the cavity and in the room is that of the air beside the nearest surface.
    """
    wall = [str(role) for role in ds["face_role"].values].index("outer face of wall")
    faces = {
        name: np.asarray(ds[name].values[:, segment, :], float).T
        for name in ("temperature", "dew_point", "relative_humidity")
    }
    air = {
        "temperature": ("temperature_outdoor", "cavity_temperature", "temperature_indoor"),
        "relative_humidity": ("relative_humidity_outdoor", "cavity_relative_humidity", "relative_humidity_indoor"),
    }
    profile = {}
    for name, values in faces.items():
        if name == "dew_point":
            outdoor, cavity, room = values[0], values[wall - 1], values[-1]
        else:
            outside, within, inside = air[name]
            outdoor, room = (np.asarray(ds[key].values, float) for key in (outside, inside))
            cavity = np.asarray(ds[within].values[:, segment], float)
        profile[name] = np.vstack([outdoor, values[:wall], cavity, values[wall:], room])
    return profile


def layer_bands(ds: Any) -> list[tuple[str, float, float, str]]:
    """Return (name, from mm, to mm, kind) of the layers and the cavity; kind is membrane, cavity or layer."""
    positions = np.asarray(ds["face_position"].values, float) * 1e3
    wall = [str(role) for role in ds["face_role"].values].index("outer face of wall")
    bands, at = [], 0
    for index, name in enumerate(ds["layer"].values):
        if at == wall - 1:
            bands.append(("cavity", positions[at], positions[at + 1], "cavity"))
            at += 1
        kind = "membrane" if int(ds["layer_membrane"].values[index]) else "layer"
        bands.append((str(name), positions[at], positions[at + 1], kind))
        at += 1
    return bands


@_drawn
def profile(ds: Any, *, segment: int, hour: int = 0) -> go.Figure:
    """Temperature, dew point and humidity through the wall in one hour; the axes span the whole year."""
    names, at = profile_positions(ds)
    values = profile_values(ds, segment)
    warm, dew = (display.show(key, values[key]) for key in ("temperature", "dew_point"))
    humid = display.show("relative_humidity", values["relative_humidity"])
    low, high = min(warm.min(), dew.min()), max(warm.max(), dew.max())
    shapes = []
    for name, left, right, kind in layer_bands(ds):
        if kind == "membrane":
            shapes.append({"type": "line", "x0": left, "x1": left, "yref": "paper", "y0": 0, "y1": 1,
                           "layer": "below", "line": _line("muted", 1, "dashdot")})  # fmt: skip
        else:
            colour = LIGHT["sheet"] if kind == "cavity" else LIGHT["zone"]
            shapes.append({"type": "rect", "x0": left, "x1": right, "yref": "paper", "y0": 0, "y1": 1,
                           "layer": "below", "fillcolor": colour, "name": plain(name),
                           "line": {"color": LIGHT["rule"], "width": 0.8}})  # fmt: skip
    labels = [plain(name) for name in names]
    common = {"x": at, "mode": "lines+markers", "customdata": labels, "type": "scatter"}
    hover = "%{customdata}: %{y:.1f}"
    traces = [
        {**common, "y": warm[:, hour], "name": "Temperature", "line": _line("temperature", 2.2),
         "marker": {"size": 6, "symbol": "circle"}, "hovertemplate": hover + " °C<extra>temperature</extra>"},
        {**common, "y": dew[:, hour], "name": "Dew point", "line": _line("dew_point", 2.0, "dash"),
         "marker": {"size": 6, "symbol": "diamond"}, "hovertemplate": hover + " °C<extra>dew point</extra>"},
        {**common, "y": humid[:, hour], "name": "Relative humidity", "yaxis": "y2",
         "line": _line("humidity", 1.8, "dot"),
         "marker": {"size": 6, "symbol": "square"}, "hovertemplate": hover + " %<extra>humidity</extra>"},
    ]  # fmt: skip
    pad = 0.04 * (high - low)
    return _figure(
        traces,
        style(
            height=405,
            shapes=shapes,
            xaxis={"title": {"text": "Distance from the exterior surface [mm]"}, "range": [at[0], at[-1]],
                   "anchor": "y2", "showgrid": False},
            yaxis={"title": {"text": "Temperature [°C]"}, "range": [low - pad, high + pad], "domain": [0.38, 1.0]},
            yaxis2={"title": {"text": display.axis_title("relative_humidity")}, "range": [0, 104],
                    "domain": [0.0, 0.31], "dtick": 20},
        ),
    )  # fmt: skip


@_drawn
def duration(ds: Any) -> go.Figure:
    """Fraction of the year in which the air change rate of the cavity is reached or exceeded."""
    percentage, rate = series.duration(series.air_changes(ds))
    median = float(np.median(series.air_changes(ds)))
    shape, label = _limit(max(median, 1e-3), f"median {display.number(median)} per hour", "air")
    label["y"] = np.log10(max(median, 1e-3))
    if rate.max() < 0.01:
        label = {**label, "text": "no airflow in any hour", "y": -0.5}
    low = min(max(float(rate.min()), 0.1), 10.0)  # still hours are below the frame, not off by decades
    span = [float(np.log10(low)) - 0.1, float(np.log10(max(float(rate.max()), 10.0 * low))) + 0.1]
    traces = [{"type": "scatter", "x": percentage, "y": np.maximum(rate, 1e-2), "mode": "lines", "name": "whole column",
               "line": _line("air", 2.2),
               "hovertemplate": "%{y:.3~g} per hour in %{x:.0f} % of hours<extra></extra>"}]  # fmt: skip
    rates = np.asarray(ds["compartment_air_change_rate"].values, float)
    several = rates.shape[1] > 1
    for index, name in enumerate(ds["compartment"].values if several else []):
        percentage, rate = series.duration(rates[:, index], 101)
        traces.append({"type": "scatter", "x": percentage, "y": np.maximum(rate, 1e-2), "mode": "lines",
                       "name": plain(name), "line": _line("rain", 1.2, DASHES[index % len(DASHES)]),
                       "hovertemplate": "%{y:.3~g} per hour in %{x:.0f} % of hours<extra></extra>"})  # fmt: skip
    return _figure(
        traces,
        style(
            shapes=[shape],
            annotations=[label],
            showlegend=several,
            xaxis={"title": {"text": "Percentage of the hours of the year [%]"}, "range": [0, 100]},
            yaxis={"title": {"text": display.axis_title("air_change_rate")}, "type": "log", "range": span, "dtick": 1,
                   "minor": {"showgrid": False}},
        ),
    )  # fmt: skip


def rate_scale(low: float, high: float) -> dict[str, Any]:
    """Return ends and colour bar of a map of air change rates, from the least and the largest log10 of the rate."""
    low, high = math.floor(low * 2) / 2, math.ceil(high * 2) / 2
    ticks = [0.1, 0.3, 1, 3, 10, 30, 100, 300, 1000, 3000]
    shown = [tick for tick in ticks if low - 0.01 <= math.log10(tick) <= high + 0.01]
    return {
        "zmin": low,
        "zmax": max(high, low + 0.5),
        "colorbar": {"title": {"text": "per hour", "side": "top"}, "thickness": 12, "outlinewidth": 0,
                     "tickvals": [math.log10(tick) for tick in shown], "ticktext": [f"{tick:g}" for tick in shown]},
    }  # fmt: skip


@_drawn
def rate_map(ds: Any) -> go.Figure:
    """Air change rate by day of the year and hour of the day."""
    rate = series.air_changes(ds)
    days = len(rate) // 24
    z = np.log10(np.clip(rate[: days * 24].reshape(days, 24).T, 0.1, None))
    trace = {
        "type": "heatmap", "x": _clock(ds)[: days * 24 : 24], "y": list(range(24)), "z": z, "colorscale": scale(),
        **rate_scale(float(z.min()), float(z.max())),
        "customdata": 10.0**z, "hovertemplate": "%{x|%-d %b}, %{y}:00: %{customdata:.3~g} per hour<extra></extra>",
        "meta": "log_rate",
    }  # fmt: skip
    first, half = _clock(ds)[0], np.timedelta64(12, "h")  # the mark of the hour shown widens no axis
    mark = {"type": "scatter", "mode": "markers", "x": [str(_clock(ds)[0])[:10]], "y": [0], "name": "the hour shown",
            "marker": {"symbol": "square-open", "size": 13, "color": LIGHT["fail"], "line": {"width": 2.5}},
            "hoverinfo": "skip", "showlegend": False, "cliponaxis": False}  # fmt: skip
    return _figure(
        [trace, mark],
        style(
            xaxis={
                "tickformat": "%b",
                "dtick": "M1",
                "title": {"text": "Day of the year"},
                "showgrid": False,
                "range": [f"{first - half}", f"{first + np.timedelta64(days - 1, 'D') + half}"],
            },
            yaxis={"title": {"text": "Hour of the day [h]"}, "dtick": 6, "showgrid": False, "range": [-0.5, 23.5]},
        ),
    )


@_drawn
def rose(ds: Any) -> go.Figure:
    """Hours of wind by direction, stacked by the air change rate they drive."""
    names, hours = series.rose(ds)
    traces, low = [], 0.0
    colours = scale()
    for index, upper in enumerate(series.ROSE_CLASSES):
        text = f"over {low:g} per hour" if np.isinf(upper) else f"{low:g} to {upper:g} per hour"
        traces.append({
            "type": "barpolar", "r": hours[index], "theta": np.arange(16) * 22.5, "customdata": names, "name": text,
            "marker": {"color": colours[index][1], "line": {"color": LIGHT["muted"], "width": 0.6}},
            "hovertemplate": f"%{{customdata}}, {text}: %{{r:.0f}} h<extra></extra>",
        })  # fmt: skip
        low = upper
    total = 1.1 * float(hours.sum(axis=0).max())
    facing = float(ds.attrs.get("orientation", 0.0))
    free = hours.sum(axis=0) + total * (np.abs((np.arange(16) * 22.5 - facing + 180.0) % 360.0 - 180.0) < 30.0)
    bare = 90.0 - 22.5 * int(np.argmin(free))  # the scale is on the sector of fewest hours, clear of bars
    traces.append({
        "type": "scatterpolar", "r": [0.0, total], "theta": [facing, facing], "mode": "lines+markers",
        "line": _line("fail", 2.4, "dot"), "marker": {"symbol": "diamond", "size": [0, 10]},
        "name": "orientation of the wall",
        "hoverinfo": "skip",
    })  # fmt: skip
    return _figure(
        traces,
        style(
            height=380,
            margin={"l": 40, "r": 40, "t": 30, "b": 30},
            legend={"orientation": "v", "x": 1.02, "y": 1, "yanchor": "top", "xanchor": "left"},
            polar={
                "bgcolor": "rgba(0,0,0,0)",
                "radialaxis": {"range": [0, total], "angle": bare, "tickangle": bare, "nticks": 5, "ticksuffix": " h",
                               "tickfont": {"size": 12},
                               "gridcolor": LIGHT["grid"], "linecolor": LIGHT["rule"]},
                "angularaxis": {"direction": "clockwise", "rotation": 90, "tickvals": list(np.arange(16) * 22.5),
                                "ticktext": names, "gridcolor": LIGHT["grid"], "linecolor": LIGHT["rule"]},
            },
        ),
    )  # fmt: skip


@_drawn
def drive(ds: Any, count: int = 1460) -> go.Figure:
    """Stack pressure against wind pressure, hours of upward and of downward flow apart."""
    stack = display.show("stack_pressure", ds["stack_pressure"].values)
    wind = display.show("wind_pressure", ds["wind_pressure"].values)
    up = series.upward(ds) >= 0.0
    step = max(1, len(stack) // count)
    pick = np.arange(0, len(stack), step)
    span = max(float(np.quantile(np.abs(np.concatenate([stack, wind])), 0.999)), 0.05) * 1.08
    traces = []
    for mask, name, symbol, colour in (
        (up, "upward flow", "triangle-up-open", "stack"),
        (~up, "downward flow", "triangle-down", "wind"),
    ):
        hours = pick[mask[pick]]
        percentage = 100.0 * mask.mean()
        traces.append({"type": "scatter", "mode": "markers", "x": wind[hours], "y": stack[hours],
                       "name": f"{name} ({percentage:.0f} % of hours)",
                       "marker": {"symbol": symbol, "size": 5, "opacity": 0.6, "color": LIGHT[colour]},
                       "hovertemplate": "wind %{x:.2f} Pa, stack %{y:.2f} Pa<extra></extra>"})  # fmt: skip
    cancel = {"type": "line", "x0": -span, "y0": span, "x1": span, "y1": -span,
              "line": {"color": LIGHT["muted"], "width": 1.2, "dash": "dash"}}  # fmt: skip
    label = {"x": 0.78 * span, "y": -0.97 * span, "text": "they cancel", "showarrow": False, "xanchor": "right",
             "yanchor": "bottom", "font": {"size": 12, "color": LIGHT["muted"]}}  # fmt: skip
    return _figure(
        traces,
        style(
            height=380,
            shapes=[cancel],
            annotations=[label],
            xaxis={"title": {"text": display.axis_title("wind_pressure")}, "range": [-span, span]},
            yaxis={"title": {"text": display.axis_title("stack_pressure")}, "range": [-span, span]},
        ),
    )


@_drawn
def critical(ds: Any, *, segment: int, face: int) -> go.Figure:
    """Relative humidity at one place over the year, hourly and as a 30-day running mean, with the usual limits."""
    humid = display.show("relative_humidity", ds["relative_humidity"].values[:, segment, face])
    time = _clock(ds)
    shapes, labels = zip(*(_limit(value, f" {value} %", beside=True) for value in (80, 90, 95)), strict=True)
    hover = "%{x|%-d %b, %H:00}: %{y:.1f} %<extra></extra>"
    traces: list[dict[str, Any]] = [
        {"type": "scatter", "x": time, "y": humid, "mode": "lines", "name": "hourly",
         "line": _line("humidity", 0.7), "opacity": 0.6, "hovertemplate": hover, "meta": "relative_humidity"},
        {"type": "scatter", "x": time[::24], "y": series.running_mean(humid, 720)[::24], "mode": "lines",
         "name": "mean of the last 30 days", "line": _line("ink", 2.0), "hovertemplate": hover,
         "meta": "relative_humidity_30"},
    ]  # fmt: skip
    return _figure(
        traces,
        style(
            shapes=list(shapes),
            annotations=list(labels),
            margin={"r": 46},
            xaxis=_CONFIG_TIME,
            yaxis={
                "title": {"text": display.axis_title("relative_humidity")},
                "range": [min(35, humid.min() - 2), 103],
            },
        ),
    )


def mould_threshold(celsius: np.ndarray, least: float = 80.0) -> np.ndarray:
    """Return the relative humidity [%] below which mould does not start to grow.

    RH_crit = max(least, -0.00267 T^3 + 0.160 T^2 - 3.13 T + 100), 0 < T <= 20 degC; `least` above: 80 % on very
    sensitive and sensitive materials, 85 % on others.
    Source: Hukka and Viitanen, Wood Science and Technology 33 (1999), eq. (1); 85 %: Ojanen et al. 2010; from memory.
    """
    polynomial = -0.00267 * celsius**3 + 0.160 * celsius**2 - 3.13 * celsius + 100.0
    return np.where(celsius > 20.0, least, np.maximum(polynomial, least))


@_drawn
def humid_warm(ds: Any, *, segment: int, face: int) -> go.Figure:
    """Relative humidity against temperature at one place, every third hour, with the mould thresholds."""
    humid = display.show("relative_humidity", ds["relative_humidity"].values[::3, segment, face])
    warm = display.show("temperature", ds["temperature"].values[::3, segment, face])
    line = np.linspace(0.0, 45.0, 46)
    traces = [
        {"type": "scatter", "mode": "markers", "x": warm, "y": humid, "name": "every third hour", "meta": "rh_t",
         "marker": {"size": 3.2, "opacity": 0.35, "color": LIGHT["humidity"]},
         "hovertemplate": "%{x:.1f} °C, %{y:.1f} %<extra></extra>"},
        {"type": "scatter", "mode": "lines", "x": line, "y": mould_threshold(line),
         "name": "sensitive materials", "line": _line("mould", 2.4), "hoverinfo": "skip"},
        {"type": "scatter", "mode": "lines", "x": line, "y": mould_threshold(line, 85.0),
         "name": "resistant materials", "line": _line("mould", 1.6, "dash"), "hoverinfo": "skip"},
    ]  # fmt: skip
    return _figure(
        traces,
        style(
            height=380,
            xaxis={"title": {"text": display.axis_title("temperature")}},
            yaxis={
                "title": {"text": display.axis_title("relative_humidity")},
                "range": [min(30, humid.min() - 2), 103],
            },
        ),
    )


RH_LINES = (100, 80, 60, 40, 20)  # % of the psychrometric chart


@_drawn
def psychrometric(ds: Any, *, segment: int, face: int, hour: int = 0) -> go.Figure:
    """Vapour pressure against temperature at one place: every third hour, the day of `hour`, lines of humidity."""
    warm = display.show("temperature", ds["temperature"].values[:, segment, face])
    vapour = series.vapour_kpa(display.show("dew_point", ds["dew_point"].values[:, segment, face]))
    day = slice(hour - hour % 24, hour - hour % 24 + 24)
    line = np.arange(-40.0, 91.0, 3.0)
    hover = "%{x:.1f} °C, %{y:.3~g} kPa<extra></extra>"
    traces: list[dict[str, Any]] = [
        {"type": "scatter", "mode": "markers", "x": warm[::3], "y": vapour[::3], "name": "the year",
         "meta": "psy_year", "marker": {"size": 3.2, "opacity": 0.3, "color": LIGHT["humidity"]},
         "hovertemplate": hover},
        {"type": "scatter", "mode": "lines+markers", "x": warm[day], "y": vapour[day], "name": "the day",
         "meta": "psy_day", "line": _line("temperature", 2.0), "marker": {"size": 4}, "hovertemplate": hover},
        {"type": "scatter", "mode": "markers", "x": warm[hour : hour + 1], "y": vapour[hour : hour + 1],
         "name": "the hour", "meta": "psy_hour",
         "marker": {"symbol": "diamond", "size": 12, "color": LIGHT["ink"]}, "hovertemplate": hover},
        *({"type": "scatter", "mode": "lines", "x": line, "y": 0.01 * percent * series.vapour_kpa(line),
           "name": "saturation" if percent == 100 else f"{percent} %", "showlegend": percent == 100,
           "hoverinfo": "skip",
           "line": {**(_line("dew_point", 2.2) if percent == 100 else _line("muted", 0.8, "dot")), "shape": "spline"}}
          for percent in RH_LINES),
    ]  # fmt: skip
    return _figure(
        traces,
        style(
            height=405,
            showlegend=True,
            legend={"entrywidth": 110},  # two in a row, beside the buttons of the figure
            xaxis={"title": {"text": display.axis_title("temperature")}},
            yaxis={"title": {"text": "Vapour pressure [kPa]"}, "rangemode": "tozero"},
        ),
    )


@_drawn
def film(ds: Any, *, segment: int) -> go.Figure:
    """Water film on the cavity surfaces, the capacity of a surface, and daily run-off."""
    films = display.show("film", ds["film"].values[:, segment, :])
    time = _clock(ds)
    days = len(time) // 24
    run = np.asarray(ds["runoff"].values, float)[: days * 24, segment, 1:3].sum(axis=1).reshape(days, 24).sum(axis=1)
    run = run * series.HOUR * 1e3
    faces = [str(name) for name in ds["film_face"].values]
    traces: list[dict[str, Any]] = []
    for name, colour, dash in (("back of cladding", "film", "solid"), ("outer face of wall", "stack", "dot")):
        if name in faces:
            traces.append({"type": "scatter", "mode": "lines", "x": time, "y": films[:, faces.index(name)],
                           "name": surface_in_words(name), "line": _line(colour, 1.4, dash),
                           "hovertemplate": "%{x|%-d %b, %H:00}: %{y:.1f} g/m²<extra></extra>"})  # fmt: skip
    traces.append({"type": "bar", "x": time[: days * 24 : 24], "y": run, "name": "run-off, per day",
                   "marker": {"color": LIGHT["runoff"]}, "yaxis": "y2", "width": 86400000 * 0.9,
                   "hovertemplate": "%{x|%-d %b}: %{y:.1f} g/(m² d)<extra>run-off</extra>"})  # fmt: skip
    shape, label = _limit(1e3 * float(ds.attrs.get("film_limit", 0.1)), "capacity of the surface: the rest runs off")
    return _figure(
        traces,
        style(
            height=380,
            shapes=[shape],
            annotations=[label],
            xaxis={**_CONFIG_TIME, "anchor": "y2"},
            yaxis={"title": {"text": display.axis_title("film", "Film")}, "rangemode": "tozero", "domain": [0.36, 1]},
            yaxis2={"title": {"text": "Run-off [g/(m² d)]"}, "rangemode": "tozero", "domain": [0, 0.26]},
        ),
    )


@_drawn
def water(ds: Any, *, segment: int) -> go.Figure:
    """Water content of each layer over the last year, at the end of each day."""
    values = np.asarray(ds["water"].values, float)[23::24, segment, :]
    time = _clock(ds)[23::24]
    traces: list[dict[str, Any]] = []
    for index, name in enumerate(ds["layer"].values):
        if values[:, index].max() <= 0.0:
            continue
        drawn = len(traces)
        traces.append({"type": "scatter", "mode": "lines", "x": time, "y": values[:, index], "name": plain(name),
                       "line": _line(LAYERS[drawn % len(LAYERS)], 1.8, DASHES[(drawn + 1) % len(DASHES)]),
                       "hovertemplate": "%{x|%-d %b}: %{y:.3g} kg/m²<extra></extra>"})  # fmt: skip
    return _figure(
        traces,
        style(
            xaxis=_CONFIG_TIME,
            yaxis={"title": {"text": display.axis_title("water")}, "rangemode": "tozero"},
            showlegend=True,
        ),
    )


@_drawn
def years(ds: Any, *, segment: int) -> go.Figure:
    """Water in the wall at the end of each simulated year: repeats, dries or grows."""
    values = np.asarray(ds["water_end_of_year"].values, float)[:, segment, :].sum(axis=1)
    trace = {"type": "bar", "x": [f"year {int(year)}" for year in ds["year"].values], "y": values,
             "marker": {"color": LIGHT["film"]}, "width": 0.5, "text": [display.number(v) for v in values],
             "textposition": "outside", "cliponaxis": False,
             "hovertemplate": "%{x}: %{y:.3f} kg/m²<extra></extra>"}  # fmt: skip
    return _figure(
        [trace],
        style(
            yaxis={"title": {"text": "Water in the wall [kg/m²]"}, "rangemode": "tozero"}, xaxis={"type": "category"}
        ),
    )


@_drawn
def drying(ds: Any, *, segment: int) -> go.Figure:
    """Water above the level before the week of the largest rise, over the 60 days after its wettest moment."""
    curve = series.drying(ds, segment)
    traces, notes, since = [], [], "the wettest moment"
    if curve is None:
        notes = [{"xref": "paper", "yref": "paper", "x": 0.5, "y": 0.5, "showarrow": False,
                  "text": "the wall never gains more than 1 g/m² within a week"}]  # fmt: skip
    else:
        days, above, moment = curve
        traces = [{"type": "scatter", "mode": "lines", "x": days, "y": above * 1e3,
                   "name": "water above the level before", "line": _line("film", 2),
                   "hovertemplate": "day %{x:.1f}: %{y:.0f} g/m²<extra></extra>"}]  # fmt: skip
        when = moment.astype("datetime64[h]").item()
        since = f"{when.day} {series.MONTHS[when.month - 1]}"
    return _figure(
        traces,
        style(
            annotations=notes,
            xaxis={"title": {"text": f"Days after {since}"}, "range": [0, 60]},
            yaxis={"title": {"text": "Water above the level before [g/m²]"}, "rangemode": "tozero"},
        ),
    )


@_drawn
def event(wetting: Any) -> go.Figure:
    """Water of a wetting event still in the wall, with the vents open and closed: the daily means judged."""
    from cavity.risk.drying import daily

    traces = []
    for name, left, colour, dash in (
        ("vents open", wetting.as_drawn, "film", "solid"),
        ("vents closed", wetting.closed, "muted", "dash"),
    ):
        days, means = daily(left)
        values = 1e3 * means
        traces.append({"type": "scatter", "mode": "lines", "x": days, "y": values, "name": name,
                       "line": _line(colour, 2.2, dash),
                       "hovertemplate": "day %{x:.1f}: %{y:.0f} g/m²<extra>" + name + "</extra>"})  # fmt: skip
    amount = 1e3 * wetting.amount
    shapes, labels = zip(_limit(0.5 * amount, "50 % has dried"), _limit(0.1 * amount, "90 % has dried"), strict=True)
    return _figure(
        traces,
        style(
            shapes=list(shapes),
            annotations=list(labels),
            xaxis={"title": {"text": "Days after the wetting"}, "range": [0, len(wetting.as_drawn) / 24.0]},
            yaxis={"title": {"text": "Water of the event left [g/m²]"}, "rangemode": "tozero"},
        ),
    )


@_drawn
def balance(ds: Any, *, segment: int) -> go.Figure:
    """Water balance of the last year: what wets to the right, what dries to the left."""
    rows = series.balance(ds, segment)
    values = [row[1] for row in rows]
    colours = [LIGHT["muted" if name == "stored" else "film" if value >= 0 else "stack"] for name, value in rows]
    names = ["<br>".join(textwrap.wrap(name, 24)) for name, _ in rows]  # a phone has room for half of the length
    trace = {"type": "bar", "orientation": "h", "x": values, "y": names, "width": 0.62,
             "marker": {"color": colours},
             "text": [display.number(round(value, 4) + 0.0) for value in values],  # to a tenth of a gram
             "textposition": "outside", "cliponaxis": False,
             "hovertemplate": "%{y}: %{x:.3f} kg/m²<extra></extra>"}  # fmt: skip
    span = 1.45 * max(1e-6, *(abs(value) for value in values))
    return _figure(
        [trace],
        style(
            xaxis={"title": {"text": "Water per year [kg/m²]"}, "range": [-span, span], "zeroline": True,
                   "zerolinecolor": LIGHT["ink"], "zerolinewidth": 1.2},
            yaxis={"autorange": "reversed", "showgrid": False, "ticks": ""},
        ),
    )  # fmt: skip


@_drawn
def losses(ds: Any) -> go.Figure:
    """Percentage of the driving pressure lost at each group of equal parts, and the air gained if it were doubled."""
    groups = air.loss_groups(ds)
    percentages = 100.0 * np.array([group.share for group in groups])
    names = [
        group.name if group.kind == "channel"
        else f"{group.name} ({group.bottom:.2g} m)" if group.count == 1
        else f"{group.name} ({group.count}, {group.bottom:.2g} to {group.top:.2g} m)"
        for group in groups
    ]  # fmt: skip
    names = ["<br>".join(plain(line) for line in textwrap.wrap(name, 20)) for name in names]  # for a phone
    colours = [LIGHT["air" if group.kind != "channel" else "rain"] for group in groups]
    gains = [f"<br>doubled: {100 * group.gain:+.0f} % air" if group.gain >= 0.0 else "" for group in groups]
    trace = {"type": "bar", "orientation": "h", "x": percentages, "y": names,
             "marker": {"color": colours}, "width": 0.62,
             "text": [f"{value:.0f} %{gain}" for value, gain in zip(percentages, gains, strict=True)],
             "textposition": "outside", "cliponaxis": False,
             "hovertemplate": "%{text} of the pressure<extra>%{y}</extra>"}  # fmt: skip
    return _figure(
        [trace],
        style(
            height=max(240, 90 + 40 * len(names)),
            xaxis={
                "title": {"text": "Driving pressure lost [%]"},
                "range": [0, max(10.0, 1.9 * percentages.max(initial=0.0))],
            },
            yaxis={"showgrid": False, "ticks": ""},
        ),
    )


@_drawn
def mould(ds: Any, *, segment: int, face: int) -> go.Figure:
    """Mould index at one place over the last repeated year, at the end of each day, with the limit of ASHRAE 160."""
    index = series.mould(ds, segment)[:, face]
    shape, label = _limit(3.0, "3: seen by the naked eye", "fail")
    trace = {"type": "scatter", "mode": "lines", "x": _clock(ds)[23::24], "y": index, "name": "mould index",
             "line": _line("mould", 2.2), "meta": "mould",
             "hovertemplate": "%{x|%-d %b}: %{y:.2f}<extra></extra>"}  # fmt: skip
    return _figure(
        [trace],
        style(
            height=380,
            shapes=[shape],
            annotations=[label],
            xaxis=_CONFIG_TIME,
            yaxis={"title": {"text": "Mould index, 0 to 6 [–]"}, "range": [0, 6.1], "dtick": 1},
        ),
    )


def plain_of_case(
    ds: Any, *, segment: int, face: int, only: Collection[str] | None = None
) -> dict[str, dict[str, Any]]:
    """Return every figure of one case by the id of its place in the page, each as {"data": ..., "layout": ...}.

    With `only`, those of these ids.
    """
    at, spot = {"segment": segment}, {"segment": segment, "face": face}
    describers: dict[str, tuple[Any, dict[str, int]]] = {
        "fig-profile": (profile, at),
        "fig-psychro": (psychrometric, spot),
        "fig-duration": (duration, {}),
        "fig-drive": (drive, {}),
        "fig-map": (rate_map, {}),
        "fig-rose": (rose, {}),
        "fig-loss": (losses, {}),
        "fig-critical": (critical, spot),
        "fig-rht": (humid_warm, spot),
        "fig-mould": (mould, spot),
        "fig-film": (film, at),
        "fig-water": (water, at),
        "fig-drying": (drying, at),
        "fig-years": (years, at),
    }
    if series.balance(ds, segment):
        describers["fig-balance"] = (balance, at)
    wanted = describers if only is None else only
    return {name: draw.__wrapped__(ds, **options) for name, (draw, options) in describers.items() if name in wanted}
