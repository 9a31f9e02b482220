"""Pages of the sizing and the uncertainty study: frontier, severity by area, probabilities, bands, ranked drivers."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from cavity.constants import COMMON_DEPTH, COMMON_VENTS
from cavity.report.figures import plain
from cavity.report.palette import DASHES, LIGHT, style
from cavity.study.changes import gap_text
from cavity.study.study_text import input_head, input_rows, shown_title, size_head, size_parts, size_rows

if TYPE_CHECKING:
    import os
    from pathlib import Path

    import xarray as xr

    from cavity.study.size import Row, Sizing

_TALL = 460  # px, from which on the page keeps a figure tall in print too: room for the names of the inputs
_COLOURS = ("air", "stack", "temperature", "humidity", "accent")
CAUTIONS = (
    "Results are estimates for comparison. Fire spread in open cavities, structure, mould and health are decided by "
    "local codes and licensed practice, not by this program; do not open a fire barrier because of this page.",
)


def severity_figure(sizing: Sizing, rows: Sequence[Row]) -> Any:
    """Return the largest ratio to a limit against what is searched, one line a row, with the level that passes."""
    import plotly.graph_objects as go

    gaps = rows[0].variable == "gap"
    scale = 1e3 if gaps else 1.0
    figure = go.Figure()
    for index, row in enumerate(rows):
        name = f"{1e3 * row.depth:.0f} mm" if row.line.gap is None else f"gap {gap_text(row.line.gap)}"
        figure.add_scatter(
            x=[scale * row.value(outcome) for outcome in row.outcomes],
            y=[outcome.severity for outcome in row.outcomes],
            mode="lines+markers",
            name=name,
            line={"color": LIGHT[_COLOURS[index % len(_COLOURS)]], "dash": DASHES[index % len(DASHES)]},
            hovertemplate=("%{x:.1f} mm" if gaps else "%{x:.2f} ×") + ": %{y:.2f}<extra>" + name + "</extra>",
        )
    tried = [scale * row.value(outcome) for row in rows for outcome in row.outcomes]
    ticks = _ticks(tried)
    figure.add_hline(y=1.0 - sizing.margin, line={"color": LIGHT["fail"], "dash": "dash", "width": 1})
    figure.update_layout(
        **style(
            xaxis={
                "title": {"text": "Gap at the rail ends [mm]" if gaps else "Free vent area, × the design area"},
                "type": "log",
                "tickvals": ticks,
                "ticktext": [f"{tick:.3g}" for tick in ticks],
            },
            yaxis={"title": {"text": "Largest ratio to a limit"}, "range": _around_limit(rows)},
        )
    )
    return figure


def _around_limit(rows: Sequence[Row]) -> list[float]:
    """Return the range of an axis of ratios to a limit: all of them, and some space around the limit."""
    ratios = [outcome.severity for row in rows for outcome in row.outcomes]
    low, high = min([0.85, *ratios]), max([1.15, *ratios])
    space = 0.06 * (high - low)
    return [max(0.0, low - space), high + space]


def _ticks(values: Sequence[float]) -> list[float]:
    """Return ticks of a logarithmic axis at powers of two, every other one where there are many."""
    if not values:
        return []
    ticks = [2.0**power for power in range(-10, 11) if 0.99 * min(values) <= 2.0**power <= 1.01 * max(values)]
    return ticks[:: 2 if len(ticks) > 6 else 1] or sorted(set(values))


def frontier_figure(sizing: Sizing) -> Any:
    """Return the least vents that pass against depth, with the common sizes; depths where none passes are marked."""
    import plotly.graph_objects as go

    passing = [row for row in sizing.rows if row.least is not None]
    failing = [row for row in sizing.rows if row.least is None and row.outcomes]
    top = max([row.value(row.outcomes[-1]) for row in sizing.rows if row.outcomes], default=1.0)
    figure = go.Figure()
    figure.add_scatter(
        x=[1e3 * row.depth for row in passing],
        y=[1e4 * min(sizing.halves_at(row.least)) for row in passing if row.least is not None],
        mode="lines+markers",
        name="minimum that passes",
        line={"color": LIGHT["air"]},
        marker={"symbol": ["triangle-down" if row.at_floor else "circle" for row in passing], "size": 8},
        text=["the smallest tried" if row.at_floor else "" for row in passing],
        hovertemplate="%{x:.0f} mm: %{y:.3g} cm²/m %{text}<extra></extra>",
    )
    if failing:
        figure.add_scatter(
            x=[1e3 * row.depth for row in failing],
            y=[1e4 * min(sizing.halves_at(top))] * len(failing),
            mode="markers",
            name="none tried passes",
            marker={"symbol": "x", "size": 11, "color": LIGHT["fail"]},
            hovertemplate="%{x:.0f} mm: none up to %{y:.3g} cm²/m<extra></extra>",
        )
    figure.add_hline(y=1e4 * COMMON_VENTS, line={"color": LIGHT["muted"], "dash": "dash", "width": 1.2})
    figure.add_vline(x=1e3 * COMMON_DEPTH, line={"color": LIGHT["muted"], "dash": "dash", "width": 1.2})
    deepest = max(1e3 * row.depth for row in sizing.rows)
    # traces of their own, so that the legend names the lines at any width of the screen
    figure.add_scatter(
        x=[deepest], y=[1e4 * COMMON_VENTS], mode="lines", name="common sizes (DIN 18516-1): 20 mm; 50 cm²/m",
        line={"color": LIGHT["muted"], "dash": "dash", "width": 1.2}, hoverinfo="skip",
    )  # fmt: skip
    figure.update_layout(
        **style(
            xaxis={"title": {"text": "Cavity depth [mm]"}, "rangemode": "tozero"},
            yaxis={"title": {"text": "Smaller half [cm²/m]"}, "rangemode": "tozero"},
            legend={"orientation": "h", "y": -0.28, "yanchor": "top"},
            margin={"b": 110},
        )
    )
    return figure


def gap_figure(sizing: Sizing) -> Any:
    """Return the least rail gap that passes against depth; depths where none passes are marked."""
    import plotly.graph_objects as go

    passing = [row for row in sizing.gaps if row.least is not None]
    failing = [row for row in sizing.gaps if row.least is None and row.outcomes]
    figure = go.Figure()
    figure.add_scatter(
        x=[1e3 * row.depth for row in passing],
        y=[1e3 * row.least for row in passing if row.least is not None],
        mode="lines+markers",
        name="minimum that passes",
        line={"color": LIGHT["air"]},
        marker={"symbol": ["triangle-down" if row.at_floor else "circle" for row in passing], "size": 8},
        text=["the smallest tried" if row.at_floor else "" for row in passing],
        hovertemplate="%{x:.0f} mm deep: gap %{y:.1f} mm %{text}<extra></extra>",
    )
    if failing:
        figure.add_scatter(
            x=[1e3 * row.depth for row in failing],
            y=[1e3 * row.value(row.outcomes[-1]) for row in failing],
            mode="markers",
            name="none tried passes",
            marker={"symbol": "x", "size": 11, "color": LIGHT["fail"]},
            hovertemplate="%{x:.0f} mm deep: none up to %{y:.0f} mm<extra></extra>",
        )
    figure.update_layout(
        **style(
            xaxis={"title": {"text": "Cavity depth [mm]"}, "rangemode": "tozero"},
            yaxis={"title": {"text": "Gap at the rail ends [mm]"}, "rangemode": "tozero"},
        )
    )
    return figure


def not_computed(count: str, failed: Sequence[tuple[str, str]]) -> list[dict[str, Any]]:
    """Return the part of a page that lists cases not computed, and why; nothing where all were."""
    if not failed:
        return []
    return [
        {
            "nav": "Not computed",
            "heading": "Not computed",
            "text": [f"{count}. The others are excluded from every figure, ranking and count on this page."],
            "table": {"caption": "Cases not computed", "head": ("case", "reason"), "rows": list(failed)},
        }
    ]


def write_size_page(sizing: Sizing, path: str | os.PathLike[str]) -> Path:
    """Write the page of a sizing; see `cavity.report.page.write_page`.

    Parameters
    ----------
    sizing : Sizing
        From `cavity.study.size.size`.
    path : path
        The HTML file.

    Returns
    -------
    pathlib.Path
        The file written.
    """
    from cavity.report.page import write_page

    passes = f"below {1.0 - sizing.margin:.2g}" if sizing.margin else "below 1"
    figures = {
        "factor": [
            {
                "id": "frontier",
                "title": "Minimum free vent area by depth",
                "caption": "Below the line a criterion is not met; accuracy 5 %. A triangle is the smallest tried, not "
                "a minimum. Smaller half: lower or upper half of the strip with the smallest vents. Common sizes are "
                "advisory.",
                "figure": frontier_figure(sizing),
            },
            {
                "id": "severity",
                "title": "Largest ratio to a limit by free vent area",
                "caption": f"Of all criteria that can fail and all strips; {passes} (dashed) the wall passes.",
                "figure": severity_figure(sizing, sizing.rows),
            },
        ]
    }
    if sizing.gaps:
        figures["gap"] = [
            {
                "id": "gaps",
                "title": "Minimum gap at the rail ends by depth",
                "caption": "Vents as drawn. A triangle is the smallest tried, not a minimum.",
                "figure": gap_figure(sizing),
            },
            {
                "id": "gap-severity",
                "title": "Largest ratio to a limit by rail gap",
                "caption": f"Vents as drawn; {passes} (dashed) the wall passes.",
                "figure": severity_figure(sizing, sizing.gaps),
            },
        ]
    if sizing.together:
        figures["together"] = [
            {
                "id": "together",
                "title": f"Vents for each rail gap, {1e3 * sizing.together[0].depth:.0f} mm cavity",
                "caption": f"One line a rail gap; {passes} (dashed) the wall passes.",
                "figure": severity_figure(sizing, sizing.together),
            }
        ]
    parts: list[dict[str, Any]] = [{"nav": "Answer", "heading": "What is needed", "text": sizing.sentences}]
    for (title, rows), (key, drawn) in zip(size_parts(sizing), figures.items(), strict=True):
        parts.append(
            {
                "nav": {"factor": "Vents", "gap": "Rail gaps", "together": "Together"}[key],
                "heading": title,
                "figures": drawn,
                "table": {"caption": title, "head": size_head(rows), "rows": size_rows(sizing, rows)},
            }
        )
    if sizing.variants:
        parts.append(
            {
                "nav": "Also tried",
                "heading": "What else was tried",
                "table": {
                    "caption": "Changes tried because no vents and no rail gaps pass",
                    "head": ("change", *size_head([row for _, row in sizing.variants])),
                    "rows": [(name, *size_rows(sizing, [row])[0]) for name, row in sizing.variants],
                },
            }
        )
    parts += not_computed(sizing.count_text, sizing.failed)
    lead = [
        f"{sizing.wall_name}, openings “{sizing.opening_set}”, {sizing.column}, in {sizing.climate_name}; required "
        f"margin {100 * sizing.margin:.0f} %; worst status that passes: {sizing.accept}."
    ]
    return write_page(path, f"Minimum openings: {sizing.wall_name}", lead=lead, caution=CAUTIONS, parts=parts)


def driver_figure(study: xr.Dataset, criterion: str = "overall") -> Any:
    """Return the inputs by rank correlation with the severity of a criterion, the most influential on top."""
    import plotly.graph_objects as go

    strength = study["influence"].sel(criterion=criterion)
    order = sorted(range(study.sizes["input"]), key=lambda index: abs(float(strength[index])))
    figure = go.Figure()
    figure.add_bar(
        x=[float(strength[index]) for index in order],
        y=[_folded(shown_title(study["input_title"].values[index])) for index in order],
        orientation="h",
        marker={"color": [LIGHT["fail"] if float(strength[index]) > 0.0 else LIGHT["pass"] for index in order]},
        hovertemplate="%{y}: %{x:.2f}<extra></extra>",
    )
    figure.update_layout(
        **style(
            height=max(_TALL, 120 + 44 * len(order)),
            xaxis={"title": {"text": "Rank correlation"}, "range": [-1, 1]},
            yaxis={"automargin": True},
        )
    )
    return figure


def index_figure(study: xr.Dataset, criterion: str = "overall") -> Any:
    """Return the inputs by first- and total-order index for a criterion, the largest total on top."""
    import plotly.graph_objects as go

    row = study.sel(criterion=criterion)
    order = sorted(range(study.sizes["input"]), key=lambda index: float(row["total_order"][index]))
    names = [_folded(shown_title(study["input_title"].values[index])) for index in order]
    total = [float(row["total_order"][index]) for index in order]
    figure = go.Figure()
    figure.add_bar(
        x=[max(0.0, float(row["first_order"][index])) for index in order], y=names, orientation="h",
        name="alone (first order)", marker={"color": LIGHT["stack"]},
        hovertemplate="%{y}, alone: %{x:.2f}<extra></extra>",
    )  # fmt: skip
    figure.add_bar(
        x=total, y=names, orientation="h", name="with interactions (total order)", marker={"color": LIGHT["air"]},
        error_x={
            "type": "data", "symmetric": False, "thickness": 1.2, "color": LIGHT["muted"],
            "array": [max(0.0, float(row["total_high"][i]) - mid) for i, mid in zip(order, total, strict=True)],
            "arrayminus": [max(0.0, mid - float(row["total_low"][i])) for i, mid in zip(order, total, strict=True)],
        },
        hovertemplate="%{y}, with interactions: %{x:.2f}<extra></extra>",
    )  # fmt: skip
    figure.update_layout(
        **style(
            height=max(_TALL, 120 + 44 * len(order)),
            barmode="group",
            xaxis={"title": {"text": "Fraction of the variance"}, "rangemode": "tozero"},
            yaxis={"automargin": True},
        )
    )
    return figure


def _folded(title: object) -> str:
    """Return a label in lines of some 24 characters, so that it leaves room for the bars on a phone."""
    import textwrap

    return "<br>".join(plain(line) for line in textwrap.wrap(str(title), 26))


def band_figure(study: xr.Dataset) -> Any:
    """Return the bands of daily mean relative humidity at the critical face over the year: median, 50 and 90 %."""
    import plotly.graph_objects as go

    band = 100.0 * study["humidity_band"]
    days = [int(day) + 1 for day in study["day"].values]
    figure = go.Figure()
    for low, high, name, opacity in ((0.05, 0.95, "90 % of samples", 0.2), (0.25, 0.75, "half of the samples", 0.4)):
        upper, lower = band.sel(quantile=high).values.tolist(), band.sel(quantile=low).values.tolist()
        figure.add_scatter(
            x=days + days[::-1], y=upper + lower[::-1], fill="toself", name=name, opacity=opacity, mode="lines",
            line={"width": 0, "color": LIGHT["humidity"]}, fillcolor=LIGHT["humidity"], hoverinfo="skip",
        )  # fmt: skip
    figure.add_scatter(
        x=days, y=band.sel(quantile=0.5).values.tolist(), name="median", mode="lines",
        line={"color": LIGHT["humidity"]}, hovertemplate="day %{x}: %{y:.0f} %<extra></extra>",
    )  # fmt: skip
    figure.update_layout(
        **style(
            xaxis={"title": {"text": "Day of the year"}},
            yaxis={"title": {"text": "Daily mean relative humidity [%]"}, "range": [0, 100]},
        )
    )
    return figure


def write_uncertainty_page(study: xr.Dataset, path: str | os.PathLike[str]) -> Path:
    """Write the page of an uncertainty study; see `cavity.report.page.write_page`.

    Parameters
    ----------
    study : xarray.Dataset
        From `cavity.study.uncertainty.uncertainty`.
    path : path
        The HTML file.

    Returns
    -------
    pathlib.Path
        The file written.
    """
    from cavity.report.page import write_page

    criteria = []
    for key in study["criterion"].values[study["criterion_can_fail"].values == 1]:
        row = study.sel(criterion=key)
        factor = float(row["criterion_factor"])  # to what people write
        low, middle, high = (factor * float(row["value_band"].sel(quantile=q)) for q in (0.05, 0.5, 0.95))
        criteria.append(
            (
                str(row["criterion_title"].values),
                f"{100 * float(row['probability_met']):.0f}",
                f"{100 * float(row['probability_low']):.0f} to {100 * float(row['probability_high']):.0f}",
                f"{low:.2f} / {middle:.2f} / {high:.2f}",
                f"{factor * float(row['criterion_limit']):.2f} {row['criterion_shown'].values}",
            )
        )
    name = f"{study.attrs.get('wall_name', '')}, openings “{study.attrs.get('opening_set', '')}”"
    name += f", {1e3 * float(study.attrs.get('depth', 0.0)):.0f} mm, {study.attrs.get('column', '')}"
    figures = [
        {
            "id": "drivers",
            "title": "Rank correlation of each input with the largest ratio to a limit",
            "caption": "How closely the highest ratio to a limit follows each input; right: a higher value is worse.",
            "figure": driver_figure(study),
        },
        {
            "id": "band",
            "title": f"Relative humidity {study.attrs['critical_place']}",
            "caption": "Daily means over the samples, at the most humid surface of the case in the wall file.",
            "figure": band_figure(study),
        },
    ]
    if "total_order" in study:
        figures.insert(
            0,
            {
                "id": "indices",
                "title": "Fraction of the variance caused by each input",
                "caption": "Alone, and with all its interactions; the thin line is the 95 % interval of the latter.",
                "figure": index_figure(study),
            },
        )
    runs = int(study.attrs.get("runs", study.attrs["samples"]))
    parts: list[dict[str, Any]] = [
        {
            "nav": "How sure",
            "heading": "Probability that each criterion is met",
            "text": [str(study.attrs.get("sentence", ""))],
            "figures": figures,
            "table": {
                "caption": "Criteria that can fail",
                "head": (
                    "criterion", "probability of no failure [%]", "95 % interval [%]",
                    "value at 5 / 50 / 95 % of samples", "limit",
                ),
                "rows": criteria,
            },
        },
        {
            "nav": "Ranges",
            "heading": "Uncertain inputs",
            "text": [
                f"{study.attrs['samples']} samples of a scrambled Sobol sequence, {runs} runs; inputs independent of "
                "each other, evenly over each range, or evenly over its logarithm where it spans a factor of two or "
                "more. Indices: Saltelli et al. 2010.",
            ],
            "table": {"caption": "Inputs", "head": input_head(study), "rows": input_rows(study)},
        },
    ]  # fmt: skip
    reasons = json.loads(study.attrs.get("not_computed", "[]"))
    count = f"{study.attrs['samples']} of {study.attrs.get('samples_asked', study.attrs['samples'])} samples computed"
    parts += not_computed(count, [(f"{number}", reason) for number, reason in enumerate(reasons, 1)])
    lead = [f"{name}, in {study.attrs.get('climate_name', '')}."]
    return write_page(
        path, f"Uncertainty: {study.attrs.get('wall_name', '')}", lead=lead, caution=CAUTIONS, parts=parts
    )
