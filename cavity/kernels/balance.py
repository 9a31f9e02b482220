"""Heat and vapour between the faces of the cavity and the air that flows past them.

Key: T1, T2 face temperatures (cladding back, wall) [K]; h1, h2 convective coefficients [W/(m2 K)]; C capacity flow per
wall area [W/(m2 K)]; N transfer units; v air speed [m/s]; d depth, H height [m]; P pressure [Pa].

Along the height the air follows T(y) = T_eq + (T_in - T_eq) exp(-N y/H), T_eq = (h1 T1 + h2 T2)/(h1 + h2),
N = (h1 + h2)/C: the form that ISO 15099:2003 gives for heat, used for vapour too. The mean over the height enters the
exchange with the faces, so flux to the air equals the gain of the air exactly, for any flow, none included.
"""

from __future__ import annotations

import math

from cavity._jit import jit
from cavity.constants import DRY_AIR_HEAT, GRAVITY, R_AIR
from cavity.kernels import lanes, moist_air

_PRANDTL = 0.71  # air, -20 to 60 degC, within 1 %


@jit
def mean_share(N):
    """Return (1 - exp(-N))/N: the share of the inlet state in the mean state along the path."""
    if N < 1e-4:
        return 1.0 - 0.5 * N + N * N / 6.0
    if N > 500.0:
        return 1.0 / N
    return -math.expm1(-N) / N


@jit
def kept(h, C):
    """Return how much of its inlet state the air keeps: (share in the mean along the path, share at the outlet)."""
    if C <= 0.0:
        return 0.0, 0.0
    N = h / C
    share = mean_share(N)
    return share, 1.0 - N * share


@jit
def exchange(h1, h2, T1, T2, T_in, C):
    """Return (mean, outlet) of the air between two faces; serves vapour pressures, too, with their own coefficients."""
    equilibrium = (h1 * T1 + h2 * T2) / (h1 + h2)
    in_mean, at_outlet = kept(h1 + h2, C)
    return equilibrium + (T_in - equilibrium) * in_mean, equilibrium + (T_in - equilibrium) * at_outlet


@jit
def still_nusselt(rayleigh, aspect):
    """Return the Nusselt number of a closed vertical slot (ISO 15099:2003, 90 degrees, from memory)."""
    ln = math.log(max(rayleigh, 1e-9))
    if rayleigh > 5e4:
        first = 0.0673838 * lanes.exp(ln / 3.0)
    elif rayleigh > 1e4:
        first = 0.028154 * lanes.exp(0.4134 * ln)
    else:
        first = 1.0 + 1.7596678e-10 * lanes.exp(2.2984755 * max(ln, -15.0))
    return max(first, 0.242 * lanes.exp(0.272 * (ln - math.log(aspect))))


@jit
def still_coefficient(T1, T2, d, H, P):
    """Return the face-to-face convective coefficient of a closed vertical slot [W/(m2 K)]."""
    T = 0.5 * (T1 + T2)
    k = moist_air.conductivity(T)
    mu = moist_air.viscosity(T)
    rho = P / (R_AIR * T)
    rayleigh = rho * rho * GRAVITY * DRY_AIR_HEAT * d**3 * abs(T1 - T2) / (T * mu * k)
    return still_nusselt(rayleigh, H / d) * k / d


@jit
def forced_nusselt(re, length_ratio):
    """Return the mean Nusselt number (on the hydraulic diameter) of flow between parallel plates of equal temperature.

    Laminar with thermal entry after Stephan, turbulent after Gnielinski (both from memory, as VDI and textbooks print
    them), blended smoothly between Re 2300 and 4000. length_ratio is length / hydraulic diameter.
    """
    if re <= 1e-9:
        return 7.55
    x = length_ratio / (min(re, 4000.0) * _PRANDTL)
    laminar = 7.55
    if x < 1e3:
        ln = math.log(max(x, 1e-9))
        laminar += 0.024 * lanes.exp(-1.14 * ln) / (1.0 + 0.0358 * _PRANDTL**0.17 * lanes.exp(-0.64 * ln))
    if re <= 2300.0:
        return laminar
    bounded = max(re, 3000.0)  # the correlation starts at Re 3000
    f = (0.79 * math.log(bounded) - 1.64) ** -2 / 8.0
    turbulent = f * (bounded - 1000.0) * _PRANDTL / (1.0 + 12.7 * math.sqrt(f) * (_PRANDTL ** (2.0 / 3.0) - 1.0))
    if re >= 4000.0:
        return turbulent
    w = (re - 2300.0) / 1700.0
    w = w * w * (3.0 - 2.0 * w)
    return laminar + w * (turbulent - laminar)


@jit
def face_coefficient(v, T1, T2, d, H, P):
    """Return the convective coefficient between one face and the cavity air [W/(m2 K)].

    Still air: twice the face-to-face value of the closed slot, two faces in series. Moving air: the duct correlation.
    The duct value counts by the share of the path in which the air has not yet reached equilibrium with the faces (our
    own blend): with no flow it vanishes and the closed slot remains.
    """
    return moving_coefficient(2.0 * still_coefficient(T1, T2, d, H, P), v, T1, T2, d, H, P)


@jit
def moving_coefficient(still, v, T1, T2, d, H, P):
    """Return the convective coefficient of one face [W/(m2 K)] from that in still air, see `face_coefficient`."""
    speed = abs(v)
    if speed < 1e-9:
        return still
    T = 0.5 * (T1 + T2)
    rho = P / (R_AIR * T)
    re = rho * speed * 2.0 * d / moist_air.viscosity(T)
    forced = forced_nusselt(re, H / (2.0 * d)) * moist_air.conductivity(T) / (2.0 * d)
    if forced <= still:
        return still
    N = 2.0 * forced * H / (rho * speed * d * DRY_AIR_HEAT)
    return still + mean_share(N) * (forced - still)
