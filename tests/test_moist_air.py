"""Moist air against CoolProp, psychrolib and the ASHRAE table."""

from __future__ import annotations

import os
import subprocess
import sys

import numpy as np
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st
from make_moist_air_table import TARGET, text

from cavity.constants import R_VAPOUR
from cavity.kernels import moist_air

psychrolib.SetUnitSystem(psychrolib.SI)

# degC, Pa: ASHRAE Handbook Fundamentals, ch. 1, table 3 (printed to 4 digits at low values)
ASHRAE = [
    (-20, 103.24),
    (-10, 259.87),
    (-5, 401.74),
    (5, 872.6),
    (10, 1228.2),
    (20, 2339.2),
    (30, 4246.7),
    (40, 7384.4),
]


@pytest.mark.parametrize(("celsius", "pascal"), ASHRAE)
def test_saturation_pressure_is_that_of_the_ashrae_table(celsius, pascal):
    # half a unit of the last printed digit, and 1e-4 between the formulations
    assert moist_air.saturation(celsius + 273.15)[0] == pytest.approx(pascal, rel=2e-4)


def test_saturation_pressure_follows_coolprop_from_minus_40_to_80():
    from CoolProp.HumidAirProp import HAProps_Aux

    for celsius in np.linspace(-40.0, 80.0, 481):
        expected = HAProps_Aux("p_ws", celsius + 273.15, 101325.0, 0.0)[0]
        # cubic interpolation over 1 K: error of fourth order, 1e-9 seen
        assert moist_air.saturation(celsius + 273.15)[0] == pytest.approx(expected, rel=1e-7)


def test_saturation_pressure_follows_psychrolib():
    for celsius in np.linspace(-40.0, 80.0, 121):
        if abs(celsius) < 0.02:
            continue  # the two put the triple point on either side
        # ASHRAE (Hyland and Wexler) against IAPWS: 2e-4 apart
        assert moist_air.saturation(celsius + 273.15)[0] == pytest.approx(psychrolib.GetSatVapPres(celsius), rel=4e-4)


@pytest.mark.parametrize("celsius", [-30.0, -5.0, 10.0, 35.0, 60.0])
@pytest.mark.parametrize("humidity", [0.0, 0.5, 1.0])
def test_density_follows_coolprop_and_psychrolib(celsius, humidity):
    from CoolProp.CoolProp import HAPropsSI

    kelvin, pressure = celsius + 273.15, 95000.0
    p = humidity * moist_air.saturation(kelvin)[0]
    density = moist_air.density(kelvin, p, pressure)
    real = (
        1.0
        / HAPropsSI("V", "T", kelvin, "P", pressure, "W", 0.621945 * p / (pressure - p))
        * (1.0 + 0.621945 * p / (pressure - p))
    )
    assert density == pytest.approx(real, rel=1.5e-3)  # ideal gas against real gas
    ratio = psychrolib.GetHumRatioFromVapPres(p, pressure)
    assert density == pytest.approx(psychrolib.GetMoistAirDensity(celsius, ratio, pressure), rel=5e-4)


def test_viscosity_conductivity_and_latent_heat_follow_coolprop():
    from CoolProp.CoolProp import HAPropsSI, PropsSI

    for celsius in (-20.0, 0.5, 23.0, 55.0):
        kelvin = celsius + 273.15
        state = ("T", kelvin, "P", 101325.0, "R", 0.5)
        assert moist_air.viscosity(kelvin) == pytest.approx(HAPropsSI("mu", *state), rel=1e-3)  # linear over 1 K
        assert moist_air.conductivity(kelvin) == pytest.approx(HAPropsSI("k", *state), rel=1e-3)
    for kelvin in (274.0, 293.15, 323.15, 353.15):
        latent = PropsSI("H", "T", kelvin, "Q", 1, "Water") - PropsSI("H", "T", kelvin, "Q", 0, "Water")
        assert moist_air.evaporation_heat(kelvin) == pytest.approx(latent, rel=4e-3)  # straight line in temperature


@given(st.floats(-45.0, 85.0))
def test_dew_point_inverts_saturation(celsius):
    kelvin = celsius + 273.15
    # between the slopes over ice and water the table jumps by 1e-6 at 0 degC
    assert moist_air.dew_point(moist_air.saturation(kelvin)[0]) == pytest.approx(kelvin, abs=2e-5)


@given(st.floats(-59.0, 99.0), st.floats(1e-3, 1.0))
def test_saturation_pressure_rises_with_its_own_slope(celsius, step):
    low, slope = moist_air.saturation(celsius + 273.15)
    high, _ = moist_air.saturation(celsius + 273.15 + step)
    assert high > low
    assert slope > 0.0


def test_clausius_clapeyron_holds_over_ice_and_water():
    """dp/dT = L p / (R_v T2): 2834.4 and 2500.9 kJ/kg at 0 degC (ASHRAE Fundamentals ch. 1, table 3)."""
    for celsius, latent in ((-1.0, 2.8347e6), (1.0, 2.4986e6)):
        kelvin = celsius + 273.15
        p, slope = moist_air.saturation(kelvin)
        assert slope * R_VAPOUR * kelvin**2 / p == pytest.approx(latent, rel=2e-3)  # volume of the condensate omitted


def test_the_committed_table_is_what_the_recipe_writes():
    assert TARGET.read_text(encoding="utf-8") == text()


def test_compiled_code_that_was_cut_short_on_disk_is_compiled_anew(tmp_path):
    code = (
        "import numpy as np; from cavity.kernels import moist_air; out = np.empty(2); "
        "moist_air.saturation_array(np.array([270.0, 290.0]), out); print(out)"
    )

    def run() -> str:
        found = subprocess.run(
            [sys.executable, "-c", code], env=os.environ | {"XDG_CACHE_HOME": str(tmp_path)}, capture_output=True,
            text=True, check=True,
        )  # fmt: skip
        assert found.stderr == ""
        return found.stdout

    first = run()
    for ending in ("nbi", "nbc"):
        files = list(tmp_path.rglob(f"*.{ending}"))
        assert files
        sizes = [path.stat().st_size for path in files]
        for path, size in zip(files, sizes, strict=True):
            os.truncate(path, size // 2)
        assert run() == first
    assert any(path.stat().st_size > size // 2 for path, size in zip(files, sizes, strict=True))  # kept again


def test_what_is_not_a_number_stays_so_and_reads_inside_the_tables():
    assert moist_air.interval(np.nan) == 0.0
    assert np.isnan(moist_air.log_saturation(np.nan)[0])
    assert moist_air.interval(-np.inf) == 0.0
    assert moist_air.interval(np.inf) == moist_air.interval(1e9) == len(moist_air.LOG_SATURATION_CUBIC) - 1
