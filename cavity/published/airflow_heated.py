"""Heated cavities: a measured one, complete with geometry, drive and flow, and the composites for heated plates."""

from __future__ import annotations

from functools import cache

import numpy as np

from cavity.airflow.heated import HeatedFlow, heated_by, heated_cavity
from cavity.airflow.losses import opening_row
from cavity.constants import DRY_AIR_HEAT, GRAVITY, R_AIR, STANDARD_PRESSURE
from cavity.kernels import moist_air
from cavity.kernels.pressure_drop import ZETA_MINUS, ZETA_PLUS
from cavity.published.case import MEMORY, READ, Case, band_case, value_case
from cavity.wallfile.model import Opening

ROOM = 293.15  # K
BOUCHAIR = (
    "A. Bouchair, thesis, Cardiff 1989, full-scale heated chimney; numbers from the open experimental data base of the "
    "fire research division of a national standards institute"
)
# depth [m]: flow [kg/(s m)] with both surfaces 10, 20, 30 and 40 K above the air; slot 0.4 m high
MEASURED = {
    0.1: (0.049, 0.065, 0.080, 0.087),
    0.2: (0.060, 0.082, 0.099, 0.110),
    0.3: (0.059, 0.080, 0.097, 0.109),
}
EXCESS = (10.0, 20.0, 30.0, 40.0)  # K
COMPOSITE = "Bar-Cohen & Rohsenow 1984, composite fit to Elenbaas 1942"
HEIGHTS, DEPTHS = (1.0, 2.0, 3.0, 6.0, 12.0), (0.010, 0.015, 0.020, 0.030, 0.040, 0.060, 0.100, 0.150, 0.200)
DIFFERENCES = (2.0, 10.0, 20.0, 40.0)  # K
LAMINAR, TURBULENT = 2300.0, 4000.0  # on twice the depth
WIDE = 0.060  # m, narrower turbulent channels have no reference at hand


def cases() -> tuple[Case, ...]:
    """Return the cases of heated cavities."""
    return (*measured(), *composites(), *exponents())


@cache
def chimney(depth: float, excess: float, slot: float = 0.4) -> HeatedFlow:
    """Return our flow through the measured cavity.

    Room of 1.6 x 1.8 x 2.0 m with a window of 0.5 x 0.6 m to outdoors; slot 1.4 m wide at the foot of a cavity 2.0 m
    high and 1.5 m wide, top open. Window and slot are sharp openings in series, the jet of the slot is lost.

    Parameters
    ----------
    depth : float
        Of the cavity. [m]
    excess : float
        Of both surfaces over the air of the room. [K]
    slot : float
        Its height. [m]
    """
    width = 1.5
    area = slot * 1.4 / width
    base = opening_row(Opening("slot", 0.0, "slot", area, clear_height=slot), depth, at_end=False)
    window = opening_row(Opening("window", 0.0, "slot", 0.5 * 0.6 / width, clear_height=0.5), depth, at_end=False)
    for sign in (ZETA_PLUS, ZETA_MINUS):
        base[sign] += window[sign] * (area / window[0]) ** 2
    head = opening_row(Opening("top", 2.0, "slot", depth), depth, at_end=True)
    warm = ROOM + excess
    return heated_cavity(2.0, depth, first=warm, second=warm, inlet=ROOM, base=base, head=head)


def measured() -> tuple[Case, ...]:
    """Return the measured flows."""
    return tuple(
        Case(
            "heated cavity: air flow, measured",
            BOUCHAIR,
            READ,
            f"2 m high, {1e3 * depth:g} mm deep, both surfaces {excess:g} K above the air, slot 0.4 m and window",
            "kg/(s m)",
            0.7 * flow,
            1.1 * flow,
            flow,
            chimney(depth, excess).flow,
            note="accepted from -30 to +10 %: a resolved computation of one case gave -23 %; rig and spread are a part",
        )
        for depth, flows in MEASURED.items()
        for excess, flow in zip(EXCESS, flows, strict=True)
    )


def rayleigh(height: float, depth: float, difference: float) -> float:
    """Return the channel Rayleigh number (Elenbaas number) [1] at the film temperature.

    Parameters
    ----------
    height, depth : float
        Channel. [m]
    difference : float
        Surface above the air that enters at 20 degC. [K]
    """
    T = ROOM + 0.5 * difference
    rho, mu, k = STANDARD_PRESSURE / (R_AIR * T), moist_air.viscosity(T), moist_air.conductivity(T)
    return GRAVITY * rho * rho * DRY_AIR_HEAT * difference * depth**4 / (T * mu * k * height)


def composite(height: float, depth: float, difference: float, *, both: bool, turbulent: bool = False) -> float:
    """Return the heat that heated plates give to the air between them [W/m].

    Parameters
    ----------
    height, depth : float
        Channel. [m]
    difference : float
        Surface above the air that enters. [K]
    both : bool, keyword only
        Both plates warm; False: one is insulated.
    turbulent : bool, keyword only
        True: the wide limit is the turbulent plate, 1.31 dT^(1/3) (ASHRAE, from memory), where that is larger; our own
        extension of the composite, which holds for laminar flow.
    """
    el = rayleigh(height, depth, difference)
    k = moist_air.conductivity(ROOM + 0.5 * difference)
    plate = el**0.25 / 2.873**0.5
    if turbulent:
        plate = max(plate, 1.31 * difference ** (1.0 / 3.0) * depth / k)
    nusselt = ((576.0 if both else 144.0) / el**2 + plate**-2) ** -0.5
    return nusselt * k / depth * difference * height * (2.0 if both else 1.0)


@cache
def channel(height: float, depth: float, difference: float, both: bool) -> HeatedFlow:
    """Return our flow between smooth plates open at both ends: rounded mouth below, jet lost above.

    Parameters
    ----------
    height, depth : float
        Channel. [m]
    difference : float
        Surface above the air that enters. [K]
    both : bool
        Both plates warm; False: one is insulated.
    """
    end = opening_row(Opening("end", 0.0, "slot", depth, discharge=1.0), depth, at_end=True)
    warm = ROOM + difference
    return heated_cavity(
        height, depth, first=warm, second=warm if both else None, inlet=ROOM, base=end, head=end, entry=0.0
    )


def composites() -> tuple[Case, ...]:
    """Return, for every depth, the case that is farthest from the composite, laminar and turbulent apart."""
    rows = []
    for both in (True, False):
        plates = "both plates warm" if both else "one plate warm, the other insulated"
        for depth in DEPTHS:
            room = 0.1005 if depth <= 0.060 else 0.2  # 10 % (to the digits printed), 20 % in wide gaps: our goal
            ratios: dict[str, list[float]] = {"laminar": [], "turbulent": []}
            for height in HEIGHTS:
                for difference in DIFFERENCES:
                    ours = channel(height, depth, difference, both)
                    if ours.reynolds < LAMINAR:
                        ratios["laminar"].append(ours.heat / composite(height, depth, difference, both=both))
                    elif ours.reynolds > TURBULENT and depth >= WIDE:
                        expected = composite(height, depth, difference, both=both, turbulent=True)
                        ratios["turbulent"].append(ours.heat / expected)
            for kind, values in ratios.items():
                if not values:
                    continue
                rows.append(
                    value_case(
                        f"heated channel, {plates}: heat over that of the composite, {kind}",
                        source=COMPOSITE + ("" if kind == "laminar" else "; wide limit 1.31 dT^(1/3), ASHRAE (ours)"),
                        tag=MEMORY,
                        inputs=f"{1e3 * depth:g} mm; the farthest of {len(values)} cases from 1 to 12 m, 2 to 40 K",
                        units="1",
                        expected=1.0,
                        computed=max(values, key=lambda ratio: abs(ratio - 1.0)),
                        rtol=room if kind == "laminar" else 0.2,
                        strict=kind == "laminar",
                        note="" if kind == "laminar" else "the composite itself holds for laminar flow only",
                    )
                )
    return tuple(rows)


def exponents() -> tuple[Case, ...]:
    """Return how the flow grows with power and depth."""

    def flow(power: float, depth: float) -> float:
        end = opening_row(Opening("end", 0.0, "slot", depth), depth, at_end=True)
        return heated_by(power, 1.0, depth, inlet=ROOM, base=end, head=end).flow

    powers, depths = np.array([200.0, 400.0, 600.0, 800.0, 1000.0]), np.array([0.02, 0.05, 0.08, 0.11])
    by_power = np.mean([_slope(powers, [flow(p, d) for p in powers]) for d in depths])
    by_depth = np.mean([_slope(depths, [flow(p, d) for d in depths]) for p in (200.0, 600.0, 1000.0)])
    source = "Burek & Habeb 2007, Energy Build. 39:128 (abstract)"
    inputs = "upright, 1 x 1 m, one surface heated by 200 to 1000 W, 20 to 110 mm deep, open ends (ours: sharp)"
    return tuple(
        band_case(
            f"heated channel: exponent of the flow in the {name}",
            source=source,
            tag=READ,
            inputs=inputs,
            units="1",
            band=(expected - 0.1, expected + 0.1),
            computed=float(ours),
            note=f"measured {expected:g}; reported, not held: radiation to the other surface is not in our case",
        )
        for name, expected, ours in (("power", 0.572, by_power), ("depth", 0.712, by_depth))
    )


def _slope(x: np.ndarray, y: list[float]) -> float:
    return float(np.polyfit(np.log(x), np.log(y), 1)[0])
