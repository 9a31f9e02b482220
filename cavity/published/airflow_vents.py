"""Vents: perforated plates, meshes, louvres and creeping flow through thin slits and holes."""

from __future__ import annotations

import numpy as np

from cavity.airflow import losses
from cavity.kernels import pressure_drop as kernel
from cavity.published.case import ANALYTICAL, DOUBTFUL, HAND, MEMORY, READ, Case, band_case, not_run, value_case
from cavity.wallfile.model import Opening

RHO, MU = 1.2, 1.81e-5


def cases() -> tuple[Case, ...]:
    """Return the cases of vents."""
    return (*plates_and_meshes(), *mesh_laws(), *measured_screens(), *louvres(), *creeping())


def plates_and_meshes() -> tuple[Case, ...]:
    """Return the handbook coefficients by porosity, worked by hand from the formulas."""
    rows = []
    table = (
        (0.2, 51.3, 17.0),
        (0.3, 18.5, 6.35),
        (0.4, 8.23, 3.03),
        (0.5, 4.00, 1.65),
        (0.6, 1.99, 0.96),
        (0.7, 0.96, 0.57),
    )
    for porosity, plate, mesh in table:
        for name, diagram, expected, law in (
            ("perforated plate", "8-1", plate, losses.plate_loss_idelchik),
            ("round-wire mesh, turbulent", "8-6", mesh, losses.mesh_loss_idelchik),
        ):
            rows.append(
                value_case(
                    f"{name}: loss coefficient",
                    source=f"Idelchik, Handbook of Hydraulic Resistance, diagram {diagram}, memory, worked by hand",
                    tag=HAND,
                    inputs=f"porosity {porosity:g}",
                    units="1",
                    expected=expected,
                    computed=float(law(porosity)),
                    atol=0.005 * expected + 0.005,  # printed digits
                )
            )
    for porosity, row in ((0.5, (31, 13.7, 7.7, 2.7, 2.0)), (0.4, (55, 24, 13.5, 4.7, 3.5))):
        for re, expected in zip((2, 5, 10, 50, 100), row, strict=True):
            rows.append(
                value_case(
                    "woven mesh at low speed: loss coefficient",
                    source="Bailey et al. 2003, Biosystems Eng. 86, memory, worked by hand",
                    tag=HAND,
                    inputs=f"porosity {porosity:g}, wire Re {re}",
                    units="1",
                    expected=expected,
                    computed=float(losses.mesh_loss_bailey_2003(porosity, re)),
                    rtol=0.03,  # two printed digits
                )
            )
    return tuple(rows)


def mesh_laws() -> tuple[Case, ...]:
    """Return the mesh law against two others at the low speeds that vents see."""
    laws = (
        ("Armour & Cannon 1968, AIChE J. 14:415, plain square weave", losses.mesh_loss_armour_1968),
        ("Brundrett 1993, J. Fluids Eng. 115", losses.mesh_loss_brundrett_1993),
    )
    return tuple(
        value_case(
            "woven mesh at low speed, against another law: loss coefficient",
            source=f"{name}, memory",
            tag=MEMORY,
            inputs=f"porosity 0.5, wire Re {re:g}",
            units="1",
            expected=float(law(0.5, re)),
            computed=float(losses.mesh_loss_bailey_2003(0.5, re)),
            rtol=0.25,  # scatter of measured screens
            strict=False,
            note="three remembered laws for one thing; the spread is the doubt of a meshed vent",
        )
        for name, law in laws
        for re in (1.0, 10.0, 100.0)
    )


def measured_screens() -> tuple[Case, ...]:
    """Return measured screens and what other authors found for them."""
    ratio = losses.mesh_loss_bailey_2003(0.41, 20.0) / losses.mesh_loss_bailey_2003(0.50, 20.0)
    bare = vent_flow(Opening("v", 0.0, "louvre", 0.02, blade_angle=30.0), 0.5)
    meshed = vent_flow(Opening("v", 0.0, "louvre", 0.02, blade_angle=30.0, porosity=0.5, wire=0.25e-3), 0.5)
    return (
        value_case(
            "wire screen: loss coefficient",
            source="Blevins 1984, Applied Fluid Dynamics Handbook, table",
            tag=READ,
            inputs="porosity 0.5, wire Re 100",
            units="1",
            expected=2.1,
            computed=float(losses.mesh_loss_bailey_2003(0.5, 100.0)),
            rtol=0.1,  # measured screens scatter by 20 % (J. SASJ 40(3):159, read)
        ),
        value_case(
            "insect nets: loss when the porosity falls by 18 %",
            source="J. SASJ 40(3):159, 11 nets of 0.17-0.29 mm wire",
            tag=READ,
            inputs="porosity 0.50 to 0.41, wire Re 20",
            units="1",
            expected=1.6,
            computed=float(ratio),
            rtol=0.1,
        ),
        band_case(
            "louvre with insect mesh: flow over that without",
            source="Sharples & Chilengwe 2002, Indoor Air 2002, 2:890 (about half at low pressure)",
            tag=READ,
            inputs="0.5 Pa; mesh and blades not given there: 30 degree blades, porosity 0.5, wire 0.25 mm assumed",
            units="1",
            band=(0.4, 0.6),
            computed=meshed / bare,
        ),
        not_run(
            "round-bar net, porosity 0.85 to 1",
            source="Blevins 1984: 0.95 (1 - f) + 0.2 (1 - f)2, Re > 500",
            tag=READ,
            why="nets as open as this are not used in vents; our mesh law was not made for them",
        ),
        not_run(
            "battens across a slot",
            source="Gullbrekken et al. 2018, J. Build. Phys.: rounded battens about 40 % less local loss",
            tag=READ,
            why="the coefficients could not be read; battens enter as blocked fraction and rails",
        ),
    )


def louvres() -> tuple[Case, ...]:
    """Return the measured louvre: flow through our opening at high Re against its discharge coefficient."""
    rows = []
    for angle, expected in losses.LOUVRE_DISCHARGE:
        dp = 20.0
        flow = vent_flow(Opening("v", 0.0, "louvre", 0.05, blade_angle=angle), dp)
        rows.append(
            value_case(
                "louvre: discharge coefficient",
                source="Iqbal, Ozaki, Choi, Arima, Hamashima 2023, E3S Web Conf. 396:02030",
                tag=READ,
                inputs=f"blades at {angle:g} degrees; ours at 20 Pa through 0.05 m2/m",
                units="1",
                expected=expected,
                computed=flow / (0.05 * np.sqrt(2 * RHO * dp)),
                atol=0.005,  # printed digits
            )
        )
    return tuple(rows)


def creeping() -> tuple[Case, ...]:
    """Return the exact creeping flow through a thin slit and thin round holes."""
    w, d, porosity, dp = 0.002, 0.003, 0.3, 1e-9
    slit = vent_flow(Opening("v", 0.0, "slot", w), dp)
    strip = vent_flow(Opening("v", 0.0, "perforated", 0.02, porosity=porosity, hole=d), dp)
    number = porosity * 0.02 / (np.pi * d**2 / 4)
    return (
        value_case(
            "creeping flow through a thin slit",
            source="Hasimoto 1958 (memory), re-derived: Q = pi w2 dp / (32 mu)",
            tag=ANALYTICAL,
            inputs="2 mm slit, 1 nPa",
            units="kg/(s m)",
            expected=RHO * np.pi * w**2 * dp / (32 * MU),
            computed=slit,
            rtol=1e-5,  # inertia at Re 1e-8
        ),
        value_case(
            "creeping flow through a perforated strip",
            source="Sampson 1891 (memory): Q = dp d3 / (24 mu) per hole, its slit in series",
            tag=ANALYTICAL,
            inputs="3 mm holes, 30 % open, 20 mm strip, 1 nPa",
            units="kg/(s m)",
            expected=RHO * dp / (24 * MU / (number * d**3) + 32 * MU / (np.pi * 0.02**2)),
            computed=strip,
            rtol=1e-5,
        ),
        band_case(
            "low-speed constant A in zeta = A / Re of openings",
            source="Idelchik: A of order 30 to 100",
            tag=DOUBTFUL,
            inputs="slit and round hole, from the exact creeping solutions",
            units="1",
            band=(30.0, 100.0),
            computed=losses.SLIT_LOW_RE,
        ),
        value_case(
            "flush sharp inlet of a channel: loss coefficient",
            source="Idelchik, Handbook of Hydraulic Resistance",
            tag=MEMORY,
            inputs="opening as wide as the channel, discharge 1/1.707",
            units="1",
            expected=0.5,
            computed=losses.orifice_loss(1 / 1.707, 0.0, 1.0),
            rtol=0.001,
        ),
    )


def vent_flow(opening: Opening, dp: float) -> float:
    """Return the flow of one vent between two large spaces at `dp` [Pa], by Newton on our law [kg/(s m)]."""
    row = losses.opening_row(opening, 1e9, at_end=False)[np.newaxis]
    m = 1e-12
    for _ in range(200):
        loss, slope = kernel.restriction_loss(row, 0, m, RHO, RHO, MU)
        step = (dp - loss) / slope
        m = max(m + step, 0.1 * m)
        if abs(step) < 1e-14 * m:
            break
    return float(m)
