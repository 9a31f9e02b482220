"""Heat and vapour between the surfaces of the cavity and the air that flows past them.

Key: T1, T2 surface temperatures (cladding back, wall) [K]; h1, h2 convective coefficients [W/(m2 K)]; C capacity flow
per wall area [W/(m2 K)]; N transfer units; v air speed [m/s]; d depth, H height [m]; P pressure [Pa].

Along the height the air follows T(y) = T_eq + (T_in - T_eq) exp(-N y/H), T_eq = (h1 T1 + h2 T2)/(h1 + h2),
N = (h1 + h2)/C: the form that ISO 15099:2003 gives for heat, used for vapour too. The mean over the height enters the
exchange with the surfaces, so flux to the air equals the gain of the air exactly, for any flow, none included.
"""

from __future__ import annotations

import math

from cavity._jit import jit
from cavity.constants import DRY_AIR_HEAT, GRAVITY, R_AIR
from cavity.kernels import lanes, moist_air
from cavity.kernels.pressure_drop import RE_LAMINAR, RE_TURBULENT

_PRANDTL = 0.71  # air, -20 to 60 degC, within 1 %
_CHURCHILL = 0.387 / (1.0 + (0.492 / _PRANDTL) ** (9.0 / 16.0)) ** (8.0 / 27.0)
ABRUPT = 7.0  # factor of the turbulence behind an inlet round an edge or a bend, see forced_nusselt
GUST_LENGTH = 60.0  # m, length of a gust near the ground (integral length at 10 m, Counihan 1975, from memory, unsure)
LONG = 30.0  # transfer units after which the air has the temperature of the surfaces: exp(-30)
SAME = 0.01  # K, smaller differences count as none: avoids 0 / 0 for two surfaces at air temperature


@jit
def mean_weight(N):
    """Return (1 - exp(-N))/N: the weight of the inlet state in the mean state along the path."""
    if N < 1e-4:
        return 1.0 - 0.5 * N + N * N / 6.0
    if N > 500.0:
        return 1.0 / N
    return -math.expm1(-N) / N


@jit
def inlet_weight(h, C):
    """Return the weight of the inlet state in that of the air: (in the mean along the path, at the outlet) (E31)."""
    if C <= 0.0:
        return 0.0, 0.0
    N = h / C
    mean = mean_weight(N)
    return mean, 1.0 - N * mean


@jit
def inlet_weight_mixing(h, C, c):
    """Return what `inlet_weight` does where air is exchanged with outdoors on the way too, and the outdoor part of it.

    c: capacity flow of that exchange per wall area, which acts as a third surface in the state of outdoors. Returns
    (weight in the mean that is not of the surfaces, outdoor part of that weight, the same two at the outlet); the rest
    of each weight is of the air that entered.
    """
    if c <= 1e-12 * (h + C):  # lost in rounding; the parts below would be 0 / 0
        in_mean, at_outlet = inlet_weight(h, C)
        return in_mean, 0.0, at_outlet, 0.0
    in_mean, at_outlet = inlet_weight(h + c, C)
    a = c / (h + c)
    mean, outlet = in_mean + (1.0 - in_mean) * a, at_outlet + (1.0 - at_outlet) * a
    return mean, (1.0 - in_mean) * a / mean, outlet, (1.0 - at_outlet) * a / outlet


@jit
def single_vent(area, clear, speed, T_air, T_out):
    """Return the air exchanged through one vent, in and out at once [m3/(s m)]: an ESTIMATE made for rooms.

    area [m2/m]; clear: its height [m]; speed: wind on the site [m/s]. The larger of 0.025 A U and
    (Cd A / 3) (g h dT / T)^(1/2): Warren 1977, single-sided ventilation of rooms, from memory. A cavity is narrow: air
    behind the vent mixes less than that of a room.
    """
    buoyant = 0.6 / 3.0 * math.sqrt(GRAVITY * clear * abs(T_air - T_out) / T_out)
    return area * max(0.025 * speed, buoyant)


@jit
def _on_curve(curve, drive):
    """Return the flow at a drive of any sign, by power laws between the points of `curve`, see `gust_exchange`."""
    size = abs(drive)
    if size <= 1e-30:
        return 0.0
    x = math.log(size)
    low, high = 0, curve.shape[1] - 1
    if x <= curve[0, 0]:
        flow = size * math.exp(curve[1, 0] - curve[0, 0])
    else:
        while high - low > 1:
            middle = (low + high) // 2
            if curve[0, middle] < x:
                low = middle
            else:
                high = middle
        w = (x - curve[0, low]) / (curve[0, high] - curve[0, low])
        flow = lanes.exp(curve[1, low] + w * (curve[1, high] - curve[1, low]))
    return flow if drive >= 0.0 else -flow


@jit
def gust_exchange(curve, drive, sigma, speed, content):
    """Return the air exchanged by gusts beyond the mean flow [kg/(s m)]: an ESTIMATE.

    Quasi-steady mean over a normal distribution of the pressure difference with the standard deviation sigma [Pa] about
    `drive` [Pa] (six points of Gauss and Hermite), minus the mean flow; of that the fraction that a gust can exchange
    before it turns: its time GUST_LENGTH / speed over the time in which the air content [kg/m] is renewed.
    curve (2, m): logarithms of drives [Pa], rising, and of flows [kg/(s m)] of the column.
    """
    if sigma <= 0.0 or speed <= 0.0 or curve.shape[1] < 2:
        return 0.0
    both = net = 0.0
    for k in range(3):
        x, weight = 0.6167065901925942, 0.40882846955602925
        if k == 1:
            x, weight = 1.8891758777537107, 0.08861574604191451
        elif k == 2:
            x, weight = 3.324257433552119, 0.00255578440205623
        up, down = _on_curve(curve, drive + x * sigma), _on_curve(curve, drive - x * sigma)
        both += weight * (abs(up) + abs(down))
        net += weight * (up + down)
    extra = max(both - abs(net), 0.0)
    if both <= 0.0:
        return 0.0
    return extra * min(1.0, GUST_LENGTH / speed * both / content)


@jit
def exchange(h1, h2, T1, T2, T_in, C):
    """Return (mean, outlet) of the air between two surfaces (E30); serves vapour too, with its own coefficients."""
    equilibrium = (h1 * T1 + h2 * T2) / (h1 + h2)
    in_mean, at_outlet = inlet_weight(h1 + h2, C)
    return equilibrium + (T_in - equilibrium) * in_mean, equilibrium + (T_in - equilibrium) * at_outlet


@jit
def still_nusselt(rayleigh, aspect):
    """Return the Nusselt number of a closed vertical slot (ISO 15099:2003, 90 degrees, from memory) (E33)."""
    ln = math.log(max(rayleigh, 1e-9))
    if rayleigh > 5e4:
        first = 0.0673838 * lanes.exp(ln / 3.0)
    elif rayleigh > 1e4:
        first = 0.028154 * lanes.exp(0.4134 * ln)
    else:
        first = 1.0 + 1.7596678e-10 * lanes.exp(2.2984755 * max(ln, -15.0))
    return max(first, 0.242 * lanes.exp(0.272 * (ln - math.log(aspect))))


@jit
def h_still(T1, T2, d, H, P):
    """Return the convective coefficient of each surface of a closed vertical slot, to its mean [W/(m2 K)] (E33)."""
    T = 0.5 * (T1 + T2)
    k = moist_air.conductivity(T)
    mu = moist_air.viscosity(T)
    rho = P / (R_AIR * T)
    rayleigh = rho * rho * GRAVITY * DRY_AIR_HEAT * d**3 * abs(T1 - T2) / (T * mu * k)
    return 2.0 * (still_nusselt(rayleigh, H / d) * k / d)


@jit
def turbulent_fraction(re):
    """Return the turbulent fraction of flow: 0 to Re 2300, 1 from 4000, a smooth cubic between (as friction)."""
    if re <= RE_LAMINAR:
        return 0.0
    if re >= RE_TURBULENT:
        return 1.0
    t = (re - RE_LAMINAR) / (RE_TURBULENT - RE_LAMINAR)
    return t * t * (3.0 - 2.0 * t)


@jit
def forced_nusselt(re, length_ratio, common, entry):
    """Return the mean Nusselt number (on the hydraulic diameter) of flow between parallel plates (E34).

    re: on the hydraulic diameter; length_ratio: length / hydraulic diameter; common: fraction of the temperature
    difference to the air that both plates have in common, 1 for plates of equal temperature, 0 where one is as much
    above the air as the other below it; entry: `ABRUPT` for an inlet round an edge or a bend, 0 for a rounded one.

    Laminar: 7.55 developed at equal temperatures, 4 by conduction from plate to plate, in proportion between (the
    problem is linear: the two add up); thermal entry after Stephan. Turbulent: Gnielinski, times
    1 + entry / length_ratio for the turbulence of the inlet (Boelter, Young, Iversen 1948, NACA TN 1451: 7 behind a
    right-angle bend, unsure), to length_ratio 5. All from memory, as VDI and textbooks print them.
    """
    developed = 4.0 + 3.55 * common
    if re <= 1e-9:
        return developed
    x = length_ratio / (min(re, RE_TURBULENT) * _PRANDTL)
    laminar = developed
    if x < 1e3:
        x = max(x, 1e-9)
        power = lanes.exp(-0.64 * math.log(x))  # X^(-0.64)
        laminar += 0.024 * power / math.sqrt(x) / (1.0 + 0.0358 * _PRANDTL**0.17 * power)
    fraction = turbulent_fraction(re)
    if fraction == 0.0:
        return laminar
    bounded = max(re, 3000.0)  # the correlation starts at Re 3000
    f = (0.79 * math.log(bounded) - 1.64) ** -2 / 8.0
    turbulent = f * (bounded - 1000.0) * _PRANDTL / (1.0 + 12.7 * math.sqrt(f) * (_PRANDTL ** (2.0 / 3.0) - 1.0))
    turbulent *= 1.0 + entry / max(length_ratio, 5.0)
    return laminar + fraction * (turbulent - laminar)


@jit
def plate_nusselt(rayleigh, turbulent):
    """Return the mean Nusselt number of an upright plate in free air, on its height (E35).

    Laminar 0.59 Ra^(1/4): the wide limit of the channel of Bar-Cohen & Rohsenow 1984. Turbulent: Churchill & Chu 1975,
    Int. J. Heat Mass Transfer 18:1323, where it is the larger. Both from memory. turbulent: its
    fraction, of the flow in the channel: surfaces nearer than their boundary layers keep a laminar flow laminar.
    """
    if rayleigh <= 1.0:
        return 0.59 * max(rayleigh, 0.0)
    laminar = 0.59 * math.sqrt(math.sqrt(rayleigh))
    if turbulent == 0.0:
        return laminar
    root = 0.825 + _CHURCHILL * lanes.exp(math.log(rayleigh) / 6.0)
    return laminar + turbulent * max(root * root - laminar, 0.0)


@jit
def joined_by_cubes(a, b):
    """Return (a^3 + b^3)^(1/3) of two numbers that are not negative."""
    most = max(a, b)
    if not most > 0.0:
        return most
    ratio = min(a, b) / most
    x = ratio * ratio * ratio
    # the root of 1 + x within 0.4 %, then twice Halley's rule, whose error is a cube: round-off
    y = 1.0 + x * (1.0 / 3.0 - 0.0733 * x)
    for _ in range(2):
        cube = y * y * y
        y *= (cube + 2.0 * (1.0 + x)) / (2.0 * cube + 1.0 + x)
    return most * y


@jit
def h_mixed(still, v, C, T1, T2, T_air, d, H, P, entry):
    """Return the convective coefficients (h1, h2) of both cavity surfaces, on T_face - T_air [W/(m2 K)] (E36).

    still: coefficient of both in still air, see `h_still`; v: speed, of any sign; C: capacity flow per area
    of one surface [W/(m2 K)]; H: length of the path of the air [m]; entry: see `forced_nusselt`.

    At each surface the plate law, on its own difference to the air, and the channel law, on the speed, are joined by
    their cubes (assisting flow, textbook: Churchill): h_flow. The coefficient goes from `still` to h_flow:

        h = still + w (h_flow - still),   1 - w = (1 - common) (1 - 1 / (1 + (N / 4)^2)),

    with N = (h1 + h2) / C the transfer units. Without flow N has no bound and `common` is 0: h is that of the closed
    slot. In fast air, or between two surfaces equally above the air, no circulation of the closed slot is left: w is 1.
    The blend is our own.
    """
    if C <= 1e-12:
        return still, still
    mean = 0.5 * (T1 + T2)
    T = 0.5 * (mean + T_air)
    k = moist_air.conductivity(T)
    mu = moist_air.viscosity(T)
    rho = P / (R_AIR * T)
    re = rho * abs(v) * 2.0 * d / mu
    # without flow the air is at the mean of the surfaces: no common difference but round-off
    long = 7.55 * k / (d * C) / LONG
    flowing = 1.0 / (1.0 + long * long)  # 0: no flow, to 1
    excess = flowing * (abs(mean - T_air) + SAME)
    common = excess / (excess + 0.5 * abs(T1 - T2) + (1.0 - flowing) * SAME)
    forced = forced_nusselt(re, H / (2.0 * d), common, entry) * k / (2.0 * d)
    turbulent = turbulent_fraction(re)
    per_kelvin = rho * rho * GRAVITY * DRY_AIR_HEAT * H * H * H / (T * mu * k)
    p1 = plate_nusselt(per_kelvin * abs(T1 - T_air), turbulent) * k / H
    p2 = plate_nusselt(per_kelvin * abs(T2 - T_air), turbulent) * k / H
    h1, h2 = joined_by_cubes(forced, p1), joined_by_cubes(forced, p2)
    N = 0.25 * (h1 + h2) / C
    w = 1.0 - (1.0 - common) * (1.0 - 1.0 / (1.0 + N * N))
    return still + w * (h1 - still), still + w * (h2 - still)


@jit
def face_coefficients(v, T1, T2, T_air, d, H, P, entry):
    """Return the convective coefficients of both surfaces of an open cavity, see `h_mixed` [W/(m2 K)]."""
    still = h_still(T1, T2, d, H, P)
    C = P / (R_AIR * T_air) * abs(v) * d / H * DRY_AIR_HEAT
    return h_mixed(still, v, C, T1, T2, T_air, d, H, P, entry)
