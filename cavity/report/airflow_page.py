"""Quick look at the airflow: rows for the terminal, and a small page; in: Datasets of `steady_air`, one per column."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from cavity.constants import ICE_POINT
from cavity.finding_words import decimals
from cavity.report.air_words import LITRE_AIR, VENT_HEAD, sentences, vent_rows
from cavity.report.page import write_page
from cavity.risk import air

if TYPE_CHECKING:
    import os
    from pathlib import Path

    import xarray as xr

CAUTIONS = (
    "Steady state of a column for given wind and sun: no weather, no heat storage. Results are estimates; the exchange "
    "by gusts and that through a single vent are not validated against measurements in cavities.",
    "An open cavity can spread fire and smoke. Barriers, their gaps and the size of vents are decided by local codes "
    "and licensed practice; do not open or omit a barrier because of this page.",
)
STEADY_VENT_HEAD = tuple(head.replace("of hours", "of cases") for head in VENT_HEAD)
LOSS_HEAD = (
    "part",
    "kind",
    "height [m]",
    "free area [cm²/m]",
    "part of the loss [%]",
    "largest single loss [%]",
    "flow if doubled [%]",
)


def heating(ds: xr.Dataset) -> tuple[str, str, list[str]]:
    """Return what heats the air: the dimension, its name with unit, and its values, as shown."""
    if "irradiance" in ds.dims:
        return "irradiance", "sun W/m²", [f"{value:g}" for value in ds["irradiance"].values]
    values = [f"{value - ICE_POINT:g}" for value in ds["prescribed_temperature"].values]
    return "prescribed_temperature", "cavity °C", values


def flow_head(ds: xr.Dataset) -> tuple[str, ...]:
    """Return the titles of `flow_rows`."""
    rates = [f"air changes [per hour]{where}" for where, _ in _rates(ds)]
    what, unit = heating(ds)[1].split()
    return (
        "wind [m/s]", f"{what} [{unit}]", "stack [Pa]", "wind [Pa]", *rates, "peak air speed [m/s]",
        "inflow [L/(s m)]", "air at the top [°C]",
    )  # fmt: skip


def _rates(ds: xr.Dataset) -> list[tuple[str, Any]]:
    """Return the air change rate of the column, and of every compartment where there are several, each with its name.

    Name: "" for the column; rate: (wind, irradiance or temperature).
    """
    rates = [("", ds["air_change_rate"].values)]
    if ds.sizes["compartment"] > 1:
        parts = ds["compartment_air_change_rate"].values
        rates += [(f", {name}", parts[:, :, c]) for c, name in enumerate(ds["compartment"].values)]
    return rates


def flow_rows(ds: xr.Dataset) -> list[tuple[str, ...]]:
    """Return one row for every wind and sun: drives, air change rates, speed, inflow, temperature at the top."""
    rows = []
    rates = _rates(ds)
    dim, _, values = heating(ds)
    for i, wind in enumerate(ds["wind"].values):
        for k, value in enumerate(values):
            at = ds.isel({"wind": i, dim: k})
            speed = at["air_speed"].values
            fastest = speed[abs(speed).argmax()]
            flow = at["opening_flow"].values
            inflow = float(flow[flow > 0.0].sum()) / LITRE_AIR
            rows.append(
                (
                    f"{wind:g}",
                    value,
                    f"{float(at['stack_pressure']):+.2f}",
                    f"{float(at['wind_pressure']):+.2f}",
                    *(f"{float(rate[i, k]):.1f}" for _, rate in rates),
                    _directed(fastest),
                    f"{inflow:.2f}",
                    f"{float(at['cavity_temperature'].values[-1]) - ICE_POINT:.1f}",
                )
            )
    return rows


def _directed(speed: float) -> str:
    return "still" if speed == 0.0 else f"{abs(speed):.2g} {'↑' if speed > 0.0 else '↓'}"


def loss_rows(ds: xr.Dataset) -> list[tuple[str, ...]]:
    """Return one row for every group of equal parts, high to low as on a drawing, with its gain in flow if doubled."""
    area = dict(zip(ds["part"].values, ds["part_area"].values, strict=True))
    rows: list[tuple[str, ...]] = []
    for group in reversed(air.loss_groups(ds)):
        span = (
            f"{group.bottom:.2f}" if group.count == 1 else f"{group.bottom:.2f}-{group.top:.2f}, {group.count} pieces"
        )
        rows.append(
            (
                group.name,
                group.kind,
                span,
                decimals(1e4 * float(area[group.worst.name])),
                f"{100 * group.share:.1f}",
                f"{100 * group.worst.share:.1f}",
                f"{100 * group.gain:+.0f}",
            )
        )
    return rows


def terminal_tables(ds: xr.Dataset) -> list[tuple[str, tuple[str, ...], list[tuple[str, ...]]]]:
    """Return (title, head, rows) of the tables of one column."""
    name = f"“{ds.attrs['column']}”, {ds.attrs['column_bottom']:.2f} to {ds.attrs['column_top']:.2f} m"
    return [
        (f"Column {name}", flow_head(ds), flow_rows(ds)),
        ("Where the pressure is lost", LOSS_HEAD, loss_rows(ds)),
        ("Vent schedule", STEADY_VENT_HEAD, vent_rows(ds)),
    ]


def rate_figure(ds: xr.Dataset) -> Any:
    """Return air change rates against wind, one line for every sun; a panel for the column, and for compartments."""
    from plotly.subplots import make_subplots

    from cavity.report.palette import LIGHT, style

    parts = _rates(ds)
    titles = [name.removeprefix(", ") or "whole column" for name, _ in parts]
    figure = make_subplots(
        rows=1, cols=len(parts), shared_yaxes=True, subplot_titles=titles if len(parts) > 1 else None
    )
    colours = (LIGHT["air"], LIGHT["stack"], LIGHT["temperature"], LIGHT["humidity"], LIGHT["accent"])
    dashes = ("solid", "dash", "dot", "dashdot", "longdash")
    _, shown, values = heating(ds)
    what, unit = shown.split()
    for column, (_, rate) in enumerate(parts, start=1):
        for k, value in enumerate(values):
            name = f"{what} {value} {unit}"
            figure.add_scatter(
                x=ds["wind"].values.tolist(),
                y=rate[:, k].tolist(),
                mode="lines+markers",
                name=name,
                legendgroup=name,
                showlegend=column == 1,
                line={"color": colours[k % 5], "dash": dashes[k % 5]},
                hovertemplate="%{x:g} m/s: %{y:.1f} per hour<extra>" + name + "</extra>",
                row=1,
                col=column,
            )
        figure.update_xaxes(title_text="Wind at the roof [m/s]", row=1, col=column)
    figure.update_yaxes(title_text="Air change rate [per hour]", rangemode="tozero", row=1, col=1)
    figure.update_layout(**style())
    return figure


def loss_figure(ds: xr.Dataset) -> Any:
    """Return the fraction of the pressure lost at every part, drawn at its height."""
    import plotly.graph_objects as go

    from cavity.report.figures import plain
    from cavity.report.palette import LIGHT, style

    colour = {"rail": LIGHT["stack"], "barrier": LIGHT["fail"], "channel": LIGHT["muted"]}
    parts = air.losses(ds)
    figure = go.Figure()
    names = {"rail": "rail gap", "barrier": "barrier", "channel": "friction in the cavity"}
    for kind in dict.fromkeys(part.kind if part.kind in names else "vent" for part in parts):
        of_kind = [part for part in parts if (part.kind if part.kind in names else "vent") == kind]
        figure.add_bar(
            y=[part.height for part in of_kind],
            x=[100 * part.share for part in of_kind],
            width=0.015 * max(ds.attrs["column_top"] - ds.attrs["column_bottom"], 0.5),
            orientation="h",
            name=names.get(kind, "vent"),
            marker={"color": colour.get(kind, LIGHT["air"])},
            customdata=[[plain(part.name), part.mean] for part in of_kind],
            hovertemplate="%{customdata[0]}: %{x:.1f} %, mean %{customdata[1]:.3f} Pa<extra></extra>",
        )
    span = ds.attrs["column_top"] - ds.attrs["column_bottom"]
    figure.update_layout(
        **style(
            height=420,
            barmode="overlay",
            xaxis={"title": {"text": "Percentage of the pressure lost [%]"}, "rangemode": "tozero"},
            yaxis={
                "title": {"text": "Height above the base of the wall [m]"},
                "range": [ds.attrs["column_bottom"] - 0.04 * span, ds.attrs["column_top"] + 0.04 * span],
            },
        )
    )
    return figure


def write_airflow_page(
    columns: Sequence[xr.Dataset], path: str | os.PathLike[str], *, notes: Sequence[str] = ()
) -> Path:
    """Write the page of a quick look.

    Parameters
    ----------
    columns : sequence of xarray.Dataset
        Of `airflow.steady_air`, one per column, for one wall, set of openings and depth.
    path : path
        The HTML file.
    notes : sequence of str
        Further assumptions to state, such as the band of the wind difference.

    Returns
    -------
    pathlib.Path
        The file written.

    Raises
    ------
    InputError
        If the file cannot be written.
    """
    first = columns[0]
    lead = [
        f"{first.attrs['wall_name']}{' (fictitious)' if first.attrs['wall_invented'] else ''}; "
        f"openings “{first.attrs['opening_set']}”; cavity {1e3 * first.attrs['depth']:g} mm deep; outdoors "
        f"{first.attrs['temperature_outdoor'] - ICE_POINT:g} °C, room "
        f"{first.attrs['temperature_indoor'] - ICE_POINT:g} °C, wind {first.attrs['wind_angle']:g}° off the normal."
    ]
    parts: list[dict[str, Any]] = []
    for number, ds in enumerate(columns):
        tables = terminal_tables(ds)
        other = "sun" if "irradiance" in ds.dims else "temperature"
        parts.append(
            {
                "nav": str(ds.attrs["column"]),
                "heading": tables[0][0],
                "text": sentences(ds),
                "figures": [
                    {
                        "id": f"rate-{number}",
                        "title": f"Air change rate by wind and {other}",
                        "caption": "Steady flow. Air change rate: outdoor air per hour over the volume of the column.",
                        "figure": rate_figure(ds),
                    },
                    {
                        "id": f"loss-{number}",
                        "title": "Where the pressure is lost",
                        "caption": "Each part at its height, summed over all cases shown. Parts in series add up: "
                        "several smaller ones together can matter more than the longest bar. The table says what "
                        "doubling each group brings.",
                        "figure": loss_figure(ds),
                    },
                ],
                "table": {"caption": f"All wind and {other} cases", "head": tables[0][1], "rows": tables[0][2]},
            }
        )
        parts.append(
            {
                "heading": f"Vents and parts: {ds.attrs['column']}",
                "table": {"caption": "Vent schedule", "head": STEADY_VENT_HEAD, "rows": vent_rows(ds)},
                "question": "Pressure lost at each part",
                "answer": [
                    f"{part.name} ({part.kind}, {part.height:.2f} m): {100 * part.share:.1f} %, mean {part.mean:.3f} Pa"
                    for part in reversed(air.losses(ds))
                ],
            }
        )
    if notes:
        parts.append({"heading": "Basis", "text": [*notes]})
    return write_page(path, f"Airflow: {first.attrs['wall_name']}", lead=lead, caution=CAUTIONS, parts=parts)
