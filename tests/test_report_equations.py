"""The equations that the report draws are those of docs/theory.md and of the program: each is computed as drawn."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from typing import Any

import numpy as np
import pytest

from cavity.airflow.losses import channel_row, stack_pressure
from cavity.constants import GRAVITY
from cavity.kernels import cavity_air, pressure_drop
from cavity.report.equations import NOTES
from cavity.wall import storage
from cavity.wallfile.materials import material

DRAWN = {re.search(r'aria-label="([^"]*)"', text)[1]: text for note in NOTES for text in note.equations}
SIGNS = {"−": "-", "·": "*", "+": "+", "/": "/", "(": "(", ")": ")", ",": "_"}


def drawn(words: str) -> str:
    """Return the one equation whose reading begins so."""
    (text,) = [text for label, text in DRAWN.items() if label.startswith(words)]
    return text


def written(node: ET.Element) -> str:
    """Return a MathML element as a Python expression; derivatives become names, ∂/∂x of a bracket a call."""
    kids = [written(each) for each in node]
    if node.tag in ("mi", "mn"):
        return node.text
    if node.tag == "mo":
        return SIGNS.get(node.text, node.text)
    if node.tag == "msub":
        return f"{kids[0]}_{kids[1].replace('*', '')}"
    if node.tag == "msup":
        return f"exp({kids[1]})" if kids[0] == "e" else f"({kids[0]})**({kids[1]})"
    if node.tag == "mfrac":
        if kids[0] == "∂":
            return "divergence"
        if kids[0].startswith("∂"):
            return f"d{kids[0][1:].strip('*')}_d{kids[1][1:].strip('*')}"
        return f"(({kids[0]})/({kids[1]}))"
    text = ""
    for kid in kids:  # side by side means times, but for signs and what is called
        joined = text and text[-1] not in "+-*/(=_∂" and kid[0] not in "+-*/)=_∂"
        called = text.endswith(("divergence", "p_sat")) and kid == "("
        text += ("*" if joined and not called else "") + kid
    return text


def computed(words: str, **values: Any) -> float:
    """Return the right side of an equation with values for its symbols."""
    root = ET.fromstring(drawn(words))
    _, right = written(root[0]).split("=")
    functions = {"exp": math.exp, "divergence": lambda flux: flux}
    return float(eval(right, {"__builtins__": {}}, {**functions, **values}))


def test_every_equation_is_held_by_a_test_of_this_file():
    held = re.findall(r'computed\(\s*"([^"]+)"', open(__file__, encoding="utf-8").read())  # noqa: PTH123, SIM115
    sums = "the sum of flows at each junction is zero"  # a law without numbers: tests/test_network.py
    assert {label for label in DRAWN if not any(label.startswith(words) for words in held)} == {sums}


def test_pressure_at_an_opening_e18_e19():
    found = computed("pressure at opening j", C_p_j=0.6, ρ=1.2, U=5.0, ρ_e=1.25, g=GRAVITY, z_j=3.0)
    assert found == pytest.approx(0.6 * 0.5 * 1.2 * 25.0 - 1.25 * GRAVITY * 3.0, rel=1e-12)
    T, T_out, P = 303.15, 283.15, 101325.0
    dry = P / 287.042 / np.array([T_out, T])
    found = computed("stack pressure", ρ_e=dry[0], ρ_c=dry[1], g=GRAVITY, H=6.0)
    assert found == pytest.approx(float(stack_pressure(6.0, T, T_out, P)), rel=1e-4)


def test_losses_e20_e25():
    assert computed("loss of an opening", ζ=2.5, ρ=1.2, v=0.8) == pytest.approx(2.5 * 0.5 * 1.2 * 0.64, rel=1e-12)
    d, H, v, rho, mu = 0.01, 50.0, 0.05, 1.2, 1.8e-5  # long: the entry is lost in the friction
    row = channel_row(d, H, pieces=1, roughness=0.0)[None]
    program = pressure_drop.channel_loss(row, 0, v * rho * d, rho, mu)[0]
    assert computed("loss of a slot", μ=mu, H=H, v=v, d=d) == pytest.approx(program, rel=0.01)


def test_temperature_along_the_height_e30():
    h1, h2, T1, T2, inlet, capacity, H = 4.0, 6.0, 300.0, 290.0, 280.0, 12.0, 1.0
    T_eq, N = (h1 * T1 + h2 * T2) / (h1 + h2), (h1 + h2) / capacity
    _, outlet = cavity_air.exchange(h1, h2, T1, T2, inlet, capacity)
    assert computed("T of y", T_eq=T_eq, T_in=inlet, N=N, y=H, H=H) == pytest.approx(outlet, rel=1e-9)


def test_water_flows_to_the_drier_side_e42_e46_e47():
    """Both fluxes go to where there is less: against the vapour pressure, along the suction."""
    values = {"δ_0": 2e-10, "μ": 10.0, "dp_v_dx": 300.0, "K": 1e-15, "dp_suc_dx": 5e7}
    g_v, g_l = -2e-10 / 10.0 * 300.0, +1e-15 * 5e7
    assert computed("rate of water content", **values) == pytest.approx(-(g_v + g_l), rel=1e-12)
    heat = computed("rate of enthalpy", λ=0.5, dT_dx=20.0, h_v=2.5e6, h_l=8e4, **values)
    assert heat == pytest.approx(-(-0.5 * 20.0 + g_v * 2.5e6 + g_l * 8e4), rel=1e-12)
    # in the program: the potential of liquid flow rises with the water content, and water flows down it
    table = storage.material_tables(material("softwood"), storage.suction_grid())
    assert (np.diff(table.potential) >= 0.0).all() and table.potential[-1] > 0.0
    assert (np.diff(table.water) > 0.0).all()


def test_condensation_e6():
    found = computed("condensation equals", β=2e-8, p_air=900.0, p_sat=lambda T: 611.0 + T, T_surface=10.0)
    assert found == pytest.approx(2e-8 * (900.0 - 621.0), rel=1e-12)
