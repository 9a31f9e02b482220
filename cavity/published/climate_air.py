"""Moist air: the compiled tables against the installed CoolProp, from sea level to a mountain, dry to saturated."""

from __future__ import annotations

from typing import Any

from cavity.constants import ICE_POINT
from cavity.kernels import moist_air
from cavity.published.case import LIBRARY, Case, value_case

_WATER = "IAPWS-95, computed by CoolProp"
_ICE = "IAPWS R14-08 sublimation line, computed by CoolProp"
_HUMID = "humid air as a real gas mixture (Herrmann, Kretzschmar, Gatley 2009, from memory), computed by CoolProp"


def cases() -> tuple[Case, ...]:
    """Return the cases of moist air."""
    return (*saturation(), *density(), *transport(), *latent())


def _case(name: str, source: str, inputs: str, units: str, expected: float, computed: float, **room: Any) -> Case:
    return value_case(
        name, source=source, tag=LIBRARY, inputs=inputs, units=units, expected=expected, computed=computed, **room
    )


def saturation() -> tuple[Case, ...]:
    """Return saturation pressure over ice and water, and the dew point back from it."""
    from CoolProp.CoolProp import PropsSI
    from CoolProp.HumidAirProp import HAProps_Aux

    rows = []
    for celsius in (-30.0, -5.0, 5.0, 20.0, 45.0, 75.0):
        kelvin = celsius + ICE_POINT
        source = _ICE if celsius < 0.0 else _WATER
        expected = HAProps_Aux("p_ws", kelvin, 101325.0, 0.0)[0]
        name = f"saturation pressure over {'ice' if celsius < 0.0 else 'water'}"
        # cubic interpolation over 1 K
        rows.append(
            _case(name, source, f"{celsius:g} degC", "Pa", expected, moist_air.saturation(kelvin)[0], rtol=1e-7)
        )
    for pressure in (800.0, 2000.0, 12000.0):
        expected = PropsSI("T", "P", pressure, "Q", 1, "Water") - ICE_POINT
        computed = moist_air.dew_point(pressure) - ICE_POINT
        # CoolProp's equation of state and its humid-air routine, which the table is from, are 1 mK apart
        rows.append(_case("dew point", _WATER, f"{pressure:g} Pa of vapour", "degC", expected, computed, atol=2e-3))
    return tuple(rows)


def density() -> tuple[Case, ...]:
    """Return the density of moist air: ideal mixture against real gas, at three heights above the sea."""
    from CoolProp.CoolProp import HAPropsSI

    rows = []
    for level, pressure in (("sea level", 101325.0), ("1000 m", 89875.0), ("2500 m", 74683.0)):
        for celsius, humidity in ((-20.0, 0.8), (10.0, 0.0), (35.0, 0.9)):
            kelvin = celsius + ICE_POINT
            vapour = humidity * moist_air.saturation(kelvin)[0]
            ratio = 0.621945 * vapour / (pressure - vapour)  # kg of water to a kg of dry air
            expected = (1.0 + ratio) / HAPropsSI("V", "T", kelvin, "P", pressure, "W", ratio)
            inputs = f"{celsius:g} degC, {100.0 * humidity:g} % RH, {level} ({pressure:g} Pa)"
            computed = moist_air.density(kelvin, vapour, pressure)
            # an ideal mixture is 0.1 % lighter than air at these pressures
            rows.append(_case("density of moist air", _HUMID, inputs, "kg/m3", expected, computed, rtol=1.5e-3))
    return tuple(rows)


def transport() -> tuple[Case, ...]:
    """Return viscosity and conductivity: the table is for half saturation at sea level, here it is asked elsewhere."""
    from CoolProp.CoolProp import HAPropsSI

    rows = []
    for celsius, humidity, level, pressure in (
        (-20.0, 0.9, "sea level", 101325.0),
        (10.0, 0.5, "2500 m", 74683.0),
        (23.5, 0.9, "sea level", 101325.0),
        (40.0, 0.3, "1000 m", 89875.0),
    ):
        kelvin = celsius + ICE_POINT
        state = ("T", kelvin, "P", pressure, "R", humidity)
        inputs = f"{celsius:g} degC, {100.0 * humidity:g} % RH, {level}"
        for name, key, units, function in (
            ("dynamic viscosity of air", "mu", "Pa s", moist_air.viscosity),
            ("thermal conductivity of air", "k", "W/(m K)", moist_air.conductivity),
        ):
            # pressure hardly matters to a gas; vapour changes both by less than 1 % below 30 degC
            rows.append(_case(name, _HUMID, inputs, units, HAPropsSI(key, *state), function(kelvin), rtol=1e-2))
    return tuple(rows)


def latent() -> tuple[Case, ...]:
    """Return the heat of evaporation: a straight line in temperature."""
    from CoolProp.CoolProp import PropsSI

    rows = []
    for celsius in (5.0, 20.0, 60.0):
        kelvin = celsius + ICE_POINT
        expected = PropsSI("H", "T", kelvin, "Q", 1, "Water") - PropsSI("H", "T", kelvin, "Q", 0, "Water")
        computed = moist_air.evaporation_heat(kelvin)
        rows.append(
            _case(
                "heat of evaporation", _WATER, f"{celsius:g} degC", "kJ/kg", expected / 1e3, computed / 1e3, rtol=4e-3
            )
        )
    return tuple(rows)
