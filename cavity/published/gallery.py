"""Figures of the loss data: what the airflow uses, against other published laws for the same part."""

from __future__ import annotations

from typing import Any

import numpy as np

from cavity.airflow import losses, pressure
from cavity.kernels import pressure_drop as kernel
from cavity.wallfile.model import Opening, Rail

RHO, MU = 1.2, 1.81e-5


def loss_figures() -> list[dict[str, Any]]:
    """Return the figures with id, title and caption, as `report.page.write_page` takes them."""
    return [friction(), entry(), porosity(), mesh(), vents(), rails(), louvre(), wind()]


def _figure(
    name: str, title: str, caption: str, lines: list[tuple], x: str, y: str, *, log: str = ""
) -> dict[str, Any]:
    import plotly.graph_objects as go

    from cavity.report.palette import LIGHT, style

    colours = ("air", "stack", "temperature", "humidity", "mould", "wind")
    dashes = ("solid", "dash", "dot", "dashdot", "longdash", "solid")
    figure = go.Figure()
    for i, (label, xs, ys) in enumerate(lines):
        points = len(xs) < 12
        figure.add_scatter(
            x=np.asarray(xs, dtype=float).tolist(),
            y=np.asarray(ys, dtype=float).tolist(),
            name=label,
            mode="markers" if points else "lines",
            marker={"size": 9, "symbol": "diamond"},
            line={"color": LIGHT[colours[i % 6]], "dash": dashes[i % 6]},
            marker_color=LIGHT[colours[i % 6]],
        )
    scale = {"type": "log", "dtick": 1, "exponentformat": "power"}
    figure.update_layout(
        **style(
            height=390,
            xaxis={"title": {"text": x}, **(scale if "x" in log else {})},
            yaxis={"title": {"text": y}, **(scale if "y" in log else {})},
        )
    )
    return {"id": f"loss-{name}", "title": title, "caption": caption, "figure": figure}


def friction() -> dict[str, Any]:
    """Return the friction factor between plates."""
    re = np.logspace(2, 5.5, 240)
    dean = re[re > 1.2e4]
    return _figure(
        "friction",
        "Friction between plates",
        "Laminar 96/Re (Shah & London 1978), turbulent Haaland 1983 on 2/3 Re (Jones 1976), joined between Re 2300 "
        "and 4000 by our own smooth blend; Dean 1978 for comparison.",
        [
            ("ours, smooth", re, losses.friction_factor(re)),
            ("ours, roughness 2 % of the hydraulic diameter", re, losses.friction_factor(re, 0.02)),
            ("laminar only", re, 96.0 / re),
            ("Dean 1978", dean, losses.friction_dean_1978(dean)),
        ],
        "Re on the hydraulic diameter",
        "Darcy friction factor [-]",
        log="xy",
    )


def entry() -> dict[str, Any]:
    """Return the entry loss of laminar flow."""
    x = np.logspace(-5, 1, 200)
    return _figure(
        "entry",
        "Entry loss of developing flow",
        "Excess over developed laminar friction in velocity heads, Shah 1978; x = length / (hydraulic diameter × Re). "
        "Every piece between two rails pays it again.",
        [("Shah 1978", x, [kernel.entry_excess_shah_1978(value)[0] for value in x])],
        "x [-]",
        "Loss [velocity heads]",
        log="x",
    )


def porosity() -> dict[str, Any]:
    """Return turbulent loss of plates and meshes by porosity."""
    f = np.linspace(0.15, 0.9, 120)
    return _figure(
        "porosity",
        "Perforated plate and mesh by porosity, fast flow",
        "On the approach speed. Idelchik diagrams 8-1 and 8-6; Bailey 2003 at wire Re 1000; screen of Blevins 1984 "
        "(Re 100).",
        [
            ("perforated plate, Idelchik 8-1", f, losses.plate_loss_idelchik(f)),
            ("mesh, Idelchik 8-6", f, losses.mesh_loss_idelchik(f)),
            ("mesh, Bailey 2003, Re 1000", f, losses.mesh_loss_bailey_2003(f, 1000.0)),
            ("screen, Blevins 1984", [0.5], [2.1]),
        ],
        "Porosity [-]",
        "Loss coefficient [-]",
        log="y",
    )


def mesh() -> dict[str, Any]:
    """Return mesh loss by wire Reynolds number."""
    re = np.logspace(0, 3, 120)
    return _figure(
        "mesh",
        "Mesh at low speed, porosity 0.5",
        "Mesh behind a vent works at wire Re below 30, where its loss is three to ten times the turbulent one. We use "
        "Bailey 2003; Armour & Cannon 1968 for a square weave agrees, Brundrett 1993 gives half; all from memory.",
        [
            ("Bailey 2003 (ours)", re, losses.mesh_loss_bailey_2003(0.5, re)),
            ("Armour & Cannon 1968", re, losses.mesh_loss_armour_1968(0.5, re)),
            ("Brundrett 1993", re, losses.mesh_loss_brundrett_1993(0.5, re)),
            ("Idelchik 8-6, turbulent", re, np.full_like(re, losses.mesh_loss_idelchik(0.5))),
            ("screen, Blevins 1984", [100.0], [2.1]),
        ],
        "Wire Re [-]",
        "Loss coefficient on the approach velocity [-]",
        log="xy",
    )


def _flow_curve(row: np.ndarray, dp: np.ndarray) -> list[float]:
    flows, m = [], 1e-9
    for target in dp:
        for _ in range(100):
            loss, slope = kernel.restriction_loss(row[np.newaxis], 0, m, RHO, RHO, MU)
            m = max(m + (target - loss) / slope, 0.1 * m)
        flows.append(1e3 * m / RHO)
    return flows


def vents() -> dict[str, Any]:
    """Return flow by pressure of some vents."""
    dp = np.logspace(-2, 1, 40)
    some = (
        ("10 mm slot", Opening("v", 0.0, "slot", 0.01)),
        ("10 mm slot with mesh, 50 % open, 0.3 mm wire", Opening("v", 0.0, "mesh", 0.01, porosity=0.5, wire=3e-4)),
        ("10 mm strip, 50 % open, 3 mm holes", Opening("v", 0.0, "perforated", 0.01, porosity=0.5, hole=3e-3)),
        ("10 mm louvre, blades at 30°", Opening("v", 0.0, "louvre", 0.01, blade_angle=30.0)),
        ("10 mm slot, two bends", Opening("v", 0.0, "slot", 0.01, bends=2)),
        ("5 mm slot", Opening("v", 0.0, "slot", 0.005)),
    )
    return _figure(
        "vents",
        "Flow through vents",
        "Between two large spaces, per metre of wall; sharp edges with discharge coefficient 0.6, creeping flow "
        "(Hasimoto 1958, Sampson 1891), mesh and plate in series.",
        [(name, dp, _flow_curve(losses.opening_row(vent, 1e9, at_end=False), dp)) for name, vent in some],
        "Pressure [Pa]",
        "Flow [L/(s m)]",
        log="xy",
    )


def rails() -> dict[str, Any]:
    """Return flow by pressure past one rail."""
    dp = np.logspace(-2, 1, 40)
    lines = [
        (f"gap {1e3 * gap:g} mm", dp, _flow_curve(losses.rail_row(Rail("r", (1.0,), gap, 0.6), 0.03, 0.03), dp))
        for gap in (0.003, 0.006, 0.0125, 0.025)
    ]
    long = losses.rail_row(Rail("r", (1.0,), 0.003, 0.6, gap_length_along_flow=0.04), 0.03, 0.03)
    return _figure(
        "rails",
        "Flow past one rail, 30 mm cavity, one gap every 600 mm",
        "Area = gap × depth / bay, sharp edges 0.6. A gap that is 40 mm long along the flow adds laminar friction.",
        [*lines, ("gap 3 mm, 40 mm long", dp, _flow_curve(long, dp))],
        "Pressure [Pa]",
        "Flow [L/(s m)]",
        log="xy",
    )


def louvre() -> dict[str, Any]:
    """Return the discharge coefficient of louvres."""
    angle = np.linspace(0, 60, 61)
    return _figure(
        "louvre",
        "Louvre",
        "Measured at 0, 15 and 30 degrees (Iqbal et al. 2023); beyond 30 degrees extrapolated.",
        [
            ("ours", angle, [losses.louvre_discharge(a) for a in angle]),
            ("measured", *zip(*losses.LOUVRE_DISCHARGE, strict=True)),
        ],
        "Blade angle [°]",
        "Discharge coefficient [-]",
    )


def wind() -> dict[str, Any]:
    """Return the face-mean pressure coefficient."""
    angle = np.linspace(0, 180, 121)
    table = ((0, 0.7), (45, 0.35), (90, -0.5), (135, -0.4), (180, -0.2))
    return _figure(
        "wind",
        "Wind pressure coefficient of a wall",
        "Mean over the wall (Swami & Chandra 1987), by width over depth of the building; AIVC table (Liddament) for "
        "comparison; roof edge from the AIVC flat-roof table †.",
        [
            ("square", angle, pressure.face_pressure_coefficient(angle)),
            ("twice as wide as deep", angle, pressure.face_pressure_coefficient(angle, 2.0)),
            ("half as wide as deep", angle, pressure.face_pressure_coefficient(angle, 0.5)),
            ("AIVC table, square", *zip(*table, strict=True)),
            ("roof edge", angle, np.interp(angle, *np.transpose(pressure.ROOF_EDGE))),
        ],
        "Wind angle from the wall normal [°]",
        "Pressure coefficient [-]",
    )
