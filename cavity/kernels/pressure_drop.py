"""Pressure loss of one part of the air path as a function of its mass flow, with the exact derivative.

Every law is zero at rest and strictly increasing, so a network of them has one solution. Flow is per metre of wall
length [kg/(s m)]. One part is one row of float64.

Row of a restriction (opening, rail, barrier; `RESTRICTION_COLUMNS` long):

===  ===========  ==========================================================================================
 0   AREA         reference area per metre of wall [m2/m], > 0
 1   ZETA_PLUS    loss coefficient on the speed in AREA, positive flow (opening: into the cavity; part: upwards)
 2   ZETA_MINUS   the same for negative flow
 3   LINEAR       sum of A_i / D_i of the low-Reynolds terms zeta = A / Re_D [1/m]; loss 0.5 mu v LINEAR
 4   MESH         (1 - b^2) / b^2 with b the open fraction of a wire mesh that fills AREA [-]; 0: no mesh
 5   WIRE         wire diameter of the mesh [m]
===  ===========  ==========================================================================================

Row of a channel (`CHANNEL_COLUMNS` long):

===  ===========  ==========================================================================================
 0   AREA         flow area per metre of wall [m2/m] = depth x open fraction
 1   LENGTH       length along the flow [m]
 2   DIAMETER     hydraulic diameter, twice the depth [m]
 3   ROUGH        (roughness / (3.7 diameter))^1.11, the roughness term of Haaland's law [-]
 4   PIECES       number of equal pieces in which the velocity profile develops again (rails between them) [-]
===  ===========  ==========================================================================================
"""

from __future__ import annotations

import math

from cavity._jit import jit

RESTRICTION_COLUMNS = 6
AREA, ZETA_PLUS, ZETA_MINUS, LINEAR, MESH, WIRE = range(RESTRICTION_COLUMNS)
CHANNEL_COLUMNS = 5
CHANNEL_AREA, LENGTH, DIAMETER, ROUGH, PIECES = range(CHANNEL_COLUMNS)

RE_LAMINAR = 2300.0  # end of laminar flow in ducts, textbook (Idelchik)
RE_TURBULENT = 4000.0  # start of developed turbulent flow, textbook
_LN10 = math.log(10.0)


@jit
def mesh_bailey_2003(re):
    """Return zeta / ((1 - b^2) / b^2) x Re^2 of a woven wire mesh and its derivative in Re (E23).

    re: Reynolds number on face speed and wire diameter. Bailey, Montero, Perez-Parra, Robertson, Baeza, Kamaruddin
    2003, Biosystems Engineering 86: 18/Re + 0.75/log10(Re + 1.25) + 0.055 log10 Re (coefficients from memory).
    Times Re^2 because that is finite at rest.
    """
    if re <= 0.0:
        return 0.0, 18.0
    lg = math.log10(re + 1.25)
    lr = math.log10(re)
    value = 18.0 * re + 0.75 * re * re / lg + 0.055 * re * re * lr
    slope = (
        18.0 + 0.75 * (2.0 * re / lg - re * re / (lg * lg * (re + 1.25) * _LN10)) + 0.055 * (2.0 * re * lr + re / _LN10)
    )
    return value, slope


@jit
def restriction_loss(law, i, m, rho_plus, rho_minus, mu):
    """Return pressure loss [Pa] and its derivative [Pa s m/kg] of restriction `i` at mass flow `m` (E20).

    law: rows of restrictions; m: flow [kg/(s m)]; rho_plus, rho_minus: density of the air that passes in positive
    and in negative flow [kg/m3]; mu: viscosity [Pa s].
    """
    if m >= 0.0:
        rho = rho_plus
        zeta = law[i, 1]
    else:
        rho = rho_minus
        zeta = law[i, 2]
    per = 1.0 / (rho * law[i, 0])  # speed per mass flow
    v = abs(m) * per
    linear = 0.5 * mu * law[i, 3]
    dp = 0.5 * rho * zeta * v * v + linear * v
    slope = rho * zeta * v + linear
    if law[i, 4] > 0.0:
        re_per_v = rho * law[i, 5] / mu
        head = law[i, 4] * 0.5 * rho / (re_per_v * re_per_v)
        g, dg = mesh_bailey_2003(v * re_per_v)
        dp += head * g
        slope += head * dg * re_per_v
    if m < 0.0:
        dp = -dp
    return dp, slope * per


@jit
def entry_excess_shah_1978(x):
    """Return the entry loss of laminar flow between plates in velocity heads, and its derivative in x (E27).

    x: length / (hydraulic diameter x Re). Shah 1978, J. Fluids Eng. 100:177 (from memory): apparent f Re minus
    the developed 24, rearranged so that nothing cancels; 0.674 heads for a long channel.
    """
    root = math.sqrt(x)
    top = 0.674 * x * x + 1.16e-4 * (3.44 * root - 24.0 * x)
    bottom = x * x + 2.9e-5
    slope = (1.348 * x + 1.16e-4 * (1.72 / root - 24.0)) / bottom - top / bottom * (2.0 * x / bottom)
    return top / bottom, slope


@jit
def friction_turbulent(re, rough):
    """Return the Darcy friction factor of turbulent flow between plates and its derivative in Re (E25).

    Haaland 1983, J. Fluids Eng. 105:89, on the laminar-equivalent Reynolds number 2/3 Re of parallel plates
    (Jones 1976, J. Fluids Eng. 98:173); both from memory. re: on the hydraulic diameter; rough: see the channel row.
    """
    inside = 10.35 / re + rough  # 6.9 / (2/3 Re)
    g = -1.8 * math.log10(inside)
    dg = 1.8 * 10.35 / (inside * re * re * _LN10)
    f = 1.0 / (g * g)
    return f, -2.0 * f / g * dg


@jit
def friction(re, rough):
    """Return the developed Darcy friction factor and its derivative in Re > 0: 96/Re, blended into turbulent (E26).

    The fraction of turbulent flow rises from 0 at Re 2300 to 1 at 4000 by a cubic with level ends (our own choice of
    blend; the limits are textbook). The turbulent factor is the larger one there, so the loss keeps rising with Re.
    """
    lam = 96.0 / re
    if re <= RE_LAMINAR:
        return lam, -lam / re
    turb, dturb = friction_turbulent(re, rough)
    if re >= RE_TURBULENT:
        return turb, dturb
    t = (re - RE_LAMINAR) / (RE_TURBULENT - RE_LAMINAR)
    fraction = t * t * (3.0 - 2.0 * t)
    dfraction = 6.0 * t * (1.0 - t) / (RE_TURBULENT - RE_LAMINAR)
    return (
        lam + fraction * (turb - lam),
        -(1.0 - fraction) * lam / re + fraction * dturb + dfraction * (turb - lam),
    )


@jit
def channel_loss(law, k, m, rho, mu):
    """Return pressure loss [Pa] and its derivative [Pa s m/kg] of channel `k` at mass flow `m` [kg/(s m)] (E24).

    Laminar 12 mu V L / d^2, turbulent above the blend, plus the developing-flow excess of every piece.
    """
    length = law[k, 1]
    dh = law[k, 2]
    per = 1.0 / (rho * law[k, 0])
    v = abs(m) * per
    re = rho * v * dh / mu
    if re <= RE_LAMINAR:
        slope = 48.0 * mu * length / (dh * dh)
        dp = slope * v
    else:
        f, df = friction(re, law[k, 3])
        head = 0.5 * rho * v * length / dh
        dp = head * v * f
        slope = head * (2.0 * f + re * df)
    if re > 1e-9 and length > 0.0:  # below that the quadratic entry loss is negligible
        x = length / (law[k, 4] * dh * re)
        excess, dexcess = entry_excess_shah_1978(x)
        head = 0.5 * rho * v * law[k, 4]
        dp += head * v * excess
        slope += head * (2.0 * excess - x * dexcess)
    if m < 0.0:
        dp = -dp
    return dp, slope * per
