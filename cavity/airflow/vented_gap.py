"""The vented gap of ISO 15099:2003, clause 7.4.4: laminar friction only. A reference for comparison, not our model.

All formulas from memory.
"""

from __future__ import annotations

import math

import numpy as np

from cavity.constants import DRY_AIR_HEAT, GRAVITY, R_AIR, STANDARD_PRESSURE


def driving_pressure(
    height: float, temperature_gap: float, temperature_outside: float, pressure: float = STANDARD_PRESSURE
) -> float:
    """Return the driving pressure of a vertical gap, rho0 T0 g H abs(T1 - T2) / (T1 T2) [Pa].

    Parameters
    ----------
    height : float
        Of the gap. [m]
    temperature_gap, temperature_outside : float
        Mean air temperatures. [K]
    pressure : float
        Atmospheric pressure. [Pa]
    """
    rho_t = pressure / R_AIR  # rho0 T0 of an ideal gas
    return (
        rho_t * GRAVITY * height * abs(temperature_gap - temperature_outside) / (temperature_gap * temperature_outside)
    )


def opening_loss(gap_area: float, opening_area: float) -> float:
    """Return Z = (A_s / (0.6 A_eq) - 1)^2 on the speed in the gap [-].

    Parameters
    ----------
    gap_area, opening_area : float
        Section of the gap and equivalent opening. [m2/m]
    """
    return (gap_area / (0.6 * opening_area) - 1.0) ** 2


def gap_speed(
    drive: float, depth: float, height: float, inlet_loss: float, outlet_loss: float, density: float, viscosity: float
) -> float:
    """Return the mean speed in a gap vented to outdoors at both ends [m/s]: root of A V^2 + B V = drive.

    Parameters
    ----------
    drive : float
        Driving pressure. [Pa]
    depth, height : float
        Of the gap. [m]
    inlet_loss, outlet_loss : float
        Z of both ends. [1]
    density : float
        Air in the gap. [kg/m3]
    viscosity : float
        Air in the gap. [Pa s]
    """
    a = 0.5 * density * (1.0 + inlet_loss + outlet_loss)
    b = 12.0 * viscosity * height / depth**2
    return (math.sqrt(b * b + 4.0 * a * drive) - b) / (2.0 * a)


def temperature_profile(
    height: float | np.ndarray,
    inlet: float,
    surfaces: float,
    speed: float,
    depth: float,
    density: float,
    coefficient: float,
) -> np.ndarray:
    """Return the air temperature along the gap, T_av - (T_av - T_in) exp(-h / H0) [K].

    Parameters
    ----------
    height : float or array
        From the inlet. [m]
    inlet, surfaces : float
        Temperature of the entering air, mean of the two surfaces. [K]
    speed : float
        Mean speed. [m/s]
    depth : float
        Of the gap. [m]
    density : float
        Air in the gap. [kg/m3]
    coefficient : float
        Convective coefficient of each surface, h_cv / 2 in the standard. [W/(m2 K)]
    """
    h0 = density * DRY_AIR_HEAT * depth * speed / (2.0 * coefficient)
    return surfaces - (surfaces - inlet) * np.exp(-np.asarray(height) / h0)
