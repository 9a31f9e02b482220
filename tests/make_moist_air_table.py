"""Recipe of cavity/kernels/moist_air_table.py: run it to write the table again from CoolProp.

Saturation pressure: CoolProp's humid-air routine (IAPWS-95 saturation line over water, IAPWS 2006 sublimation line over
ice). Viscosity and conductivity: CoolProp humid air at 101325 Pa and half saturation.
"""

from __future__ import annotations

import math
from pathlib import Path

TARGET = Path(__file__).parents[1] / "cavity" / "kernels" / "moist_air_table.py"
LOW, HIGH = -60, 100  # degC, whole kelvins; 0 degC is a node because the slope jumps there


def saturation(kelvin: float) -> float:
    from CoolProp.HumidAirProp import HAProps_Aux

    return HAProps_Aux("p_ws", kelvin, 101325.0, 0.0)[0]


def cubic_rows() -> list[tuple[float, float, float, float]]:
    """Cubic in x = 0..1 for ln p on each kelvin, matched at four points of it."""
    import numpy as np

    rows = []
    for celsius in range(LOW, HIGH):
        # water starts at the triple point, 0.01 degC: keep the fit of the first warm kelvin clear of ice
        x = np.array([0.02 if celsius == 0 else 0.0, 1 / 3, 2 / 3, 1.0])
        values = [math.log(saturation(t)) for t in 273.15 + celsius + x]
        rows.append(tuple(float(c) for c in np.linalg.solve(np.vander(x, increasing=True), values)))
    return rows


def text() -> str:
    from CoolProp.CoolProp import HAPropsSI

    lines = [
        '"""Generated from CoolProp by tests/make_moist_air_table.py; do not edit by hand."""',
        "",
        f"FIRST_KELVIN = {273.15 + LOW:.2f}",
        "# ln(saturation pressure / Pa) on each kelvin: c0 + c1 x + c2 x2 + c3 x3, over ice below 0 degC",
        "LOG_SATURATION = (",
    ]
    lines += [f"    ({a:.12g}, {b:.12g}, {c:.12g}, {d:.12g})," for a, b, c, d in cubic_rows()]
    lines += [")", "# viscosity [Pa s] and conductivity [W/(m K)] of moist air at each whole kelvin", "TRANSPORT = ("]
    for celsius in range(LOW, HIGH):
        state = ("T", 273.15 + celsius, "P", 101325.0, "R", 0.5)
        lines.append(f"    ({HAPropsSI('mu', *state):.6g}, {HAPropsSI('k', *state):.6g}),")
    return "\n".join([*lines, ")", ""])


if __name__ == "__main__":
    TARGET.write_text(text(), encoding="utf-8")
