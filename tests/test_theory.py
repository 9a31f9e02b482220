"""Equations written from docs/theory.md alone, in plain Python, against the program: the page says what is computed."""

import math

import numpy as np
import pytest

from cavity.airflow.losses import channel_row, opening_row
from cavity.climate.rain import driving_rain, liquid_fraction
from cavity.climate.read import sky_irradiance
from cavity.kernels import cavity_air, film, moist_air, pressure_drop, wall_flow
from cavity.wall import storage
from cavity.wallfile.materials import materials
from cavity.wallfile.model import Layer, Opening, Site

S, G, R_A, C_A, P = 1.353e8, 9.80665, 287.05, 1006.0, 101325.0
ROUND = 1e-9  # both sides are the same formula


@pytest.mark.parametrize("v", [0.05, 0.8, 1.0, 1.2, 3.0])
def test_channel_e24_to_e27(v):
    d, length, n, rough, mu, rho = 0.025, 3.0, 2, 1e-4, 1.8e-5, 1.2
    D = 2 * d
    re = rho * v * D / mu
    laminar, turbulent = 96 / re, (1.8 * math.log10(10.35 / re + (rough / (3.7 * D)) ** 1.11)) ** -2
    t = min(max((re - 2300) / 1700, 0.0), 1.0)
    f = laminar + t * t * (3 - 2 * t) * (turbulent - laminar)
    y = length / (n * D * re)
    entry = (0.674 * y * y + 1.16e-4 * (3.44 * math.sqrt(y) - 24 * y)) / (y * y + 2.9e-5)
    expected = (f * length / D + n * entry) * 0.5 * rho * v * v
    row = channel_row(d, length, pieces=n, roughness=rough)[None]
    assert pressure_drop.channel_loss(row, 0, v * rho * d, rho, mu)[0] == pytest.approx(expected, rel=ROUND)


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(("end", "bends"), [(True, 0), (False, 0), (True, 1)])
def test_opening_e20_and_e21(sign, end, bends):
    area, channel, v, mu, rho = 0.01, 0.025, 0.7, 1.8e-5, 1.2
    f = area / channel if end and not bends else 0.0
    before, after = (0.0, f) if sign > 0 else (f, 0.0)
    zeta = (1 + (1 / 0.6 - 1) * math.sqrt(1 - before) - after) ** 2 if f else 1 / 0.6**2
    creeping = (128 / math.pi) / (2 * area) * (1 - f)
    expected = sign * ((zeta + 1.2 * bends) * 0.5 * rho * v * v + 0.5 * mu * v * creeping)
    row = opening_row(Opening("x", 0.0, "slot", area, bends=bends), channel, end)[None]
    assert pressure_drop.restriction_loss(row, 0, sign * v * rho * area, rho, rho, mu)[0] == pytest.approx(
        expected, rel=ROUND
    )


@pytest.mark.parametrize(("T1", "T2", "air", "v"), [(300.0, 292.0, 291.0, 0.35), (280.0, 283.0, 281.0, 0.05)])
def test_convection_e33_to_e36(T1, T2, air, v):
    d, H, pr = 0.03, 6.0, 0.71

    def properties(T):
        return moist_air.viscosity(T), moist_air.conductivity(T), P / (R_A * T)

    T = 0.5 * (T1 + T2)
    mu, k, rho = properties(T)
    ra = rho**2 * G * C_A * d**3 * abs(T1 - T2) / (T * mu * k)
    first = (
        0.0673838 * ra ** (1 / 3)
        if ra > 5e4
        else 0.028154 * ra**0.4134
        if ra > 1e4
        else (1 + 1.7596678e-10 * ra**2.2984755)
    )
    still = 2 * k / d * max(first, 0.242 * (ra * d / H) ** 0.272)
    C = P / (R_A * air) * v * d / H * C_A
    mean = T
    T = 0.5 * (mean + air)
    mu, k, rho = properties(T)
    re = rho * v * 2 * d / mu
    assert re < 2300
    m = 1 / (1 + (7.55 * k / (30 * d * C)) ** 2)
    a = m * (abs(mean - air) + 0.01)
    kappa = a / (a + 0.5 * abs(T1 - T2) + (1 - m) * 0.01)
    x = H / (2 * d) / (re * pr)
    nu = 4 + 3.55 * kappa + 0.024 * x**-1.14 / (1 + 0.0358 * pr**0.17 * x**-0.64)
    flow = []
    for face in (T1, T2):
        plate = 0.59 * (rho**2 * G * C_A * H**3 * abs(face - air) / (T * mu * k)) ** 0.25 * k / H
        flow.append(((nu * k / (2 * d)) ** 3 + plate**3) ** (1 / 3))
    N = sum(flow) / C
    w = 1 - (1 - kappa) * (1 - 1 / (1 + (N / 4) ** 2))
    expected = [still + w * (h - still) for h in flow]
    # the page rounds the gas constant to five digits
    assert cavity_air.face_coefficients(v, T1, T2, air, d, H, P, 7.0) == pytest.approx(expected, rel=1e-4)


def test_sky_e8_and_rain_e13_e16():
    dew, air, cloud, hour, pressure = 278.0, 283.0, 0.5, 3.5, 95000.0
    t, n = (dew - 273.15) / 100, 10 * cloud
    clear = 0.711 + 0.56 * t + 0.73 * t * t + 0.013 * math.cos(2 * math.pi * hour / 24) + 1.2e-6 * (pressure - 1e5)
    expected = min(clear * (1 + 0.0224 * n - 0.0035 * n**2 + 0.00028 * n**3), 1.0) * 5.670374419e-8 * air**4
    found = sky_irradiance(
        np.array([air]), np.array([dew]), cloud=np.array([cloud]), hour=np.array([hour]), pressure=np.array([pressure])
    )
    assert found[0] == pytest.approx(expected, rel=ROUND)

    site = Site(terrain="suburban", building_height=12.0, rain_obstruction=0.6, rain_wall_factor=0.4)
    v, r, theta = 6.0, 2.5, 30.0
    expected = 2 / 9 * v * r ** (8 / 9) * math.cos(math.radians(theta)) * 0.22 * math.log(12.0 / 0.3) * 0.6 * 0.4
    found = driving_rain(np.array([r / 3600]), np.array([v]), np.array([theta]), tilt=90.0, site=site)
    assert 3600 * found[0] == pytest.approx(expected * site.rain_topography, rel=ROUND)

    # saturated air of 0.8 degC: the wet bulb is the air; "half is snow"
    p = moist_air.saturation(273.95)[0]
    assert liquid_fraction(np.array([273.95]), np.array([p]), np.array([P]))[0] == pytest.approx(0.5, abs=0.02)


def test_water_e38_e48_to_e51():
    assert film.mass(12.0, 0.004, 7.0)[0] == pytest.approx(0.1)  # 100 g/m2 five above the start
    board = materials()["OSB"]
    grid = storage.suction_grid()
    tables = storage.material_tables(board, grid)
    humidity, water = max(board.sorption)
    u_last = -math.log(-math.log(humidity))
    # E48 through both points: its two constants from them, read anywhere between
    n_of = [
        n for n in np.linspace(1.05, 8.0, 60000)
        if abs(_alpha(n, u_last, water / board.free_saturation) - _alpha(n, 12.0, 0.999)) < 2e-4 * n
    ]  # fmt: skip
    n = float(np.mean(n_of))
    alpha = _alpha(n, 12.0, 0.999)
    for u in (6.0, 8.0, 10.0):
        expected = board.free_saturation * (1 + math.exp(n * (alpha - u))) ** (1 / n - 1)
        assert np.interp(u, grid, tables.water) == pytest.approx(expected, rel=2e-3)  # the constants are scanned
    # E50 near free saturation
    at = int(np.argmin(abs(grid - 9.0)))
    expected = 3.8 * (board.absorption / board.free_saturation) ** 2
    expected *= 1000 ** (tables.water[at] / board.free_saturation - 1)
    assert tables.potential_slope[at] / tables.water_slope[at] == pytest.approx(expected, rel=1e-3)  # spline slopes

    # E49: the mean of the permeance, by a sum
    layer = Layer("film", board, 0.0002, sd_table=((0.0, 5.0), (0.5, 2.0), (1.0, 0.1)))
    phi = np.linspace(0.3, 0.9, 200001)
    ln_sd = np.interp(phi, (0.0, 0.5, 1.0), np.log((5.0, 2.0, 0.1)))
    expected = 0.6 / np.trapezoid(np.exp(-ln_sd), phi)
    assert wall_flow.membrane_sd(storage.membrane_permeance(layer), 0.9, 0.3)[0] == pytest.approx(expected, rel=1e-6)

    # E51: suction of ice at -10 degC, 1000 x 3.334e5 x ln(273.15/263.15) = 12.4 MPa
    u_ice = -math.log(1000 * 3.334e5 * math.log(273.15 / 263.15) / S)
    assert S * math.exp(-u_ice) == pytest.approx(12.4e6, rel=0.01)


def _alpha(n, u, fraction):
    """The constant ln(alpha S) of E48 that gives this fraction at u."""
    return u + math.log(fraction ** (n / (1 - n)) - 1) / n
