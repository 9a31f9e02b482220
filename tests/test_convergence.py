"""Orders of convergence: the exact solutions by themselves, and the program's errors with finer cells and steps."""

from __future__ import annotations

import numpy as np
import pytest

from cavity.constants import EVAPORATION_HEAT, ICE_POINT, R_VAPOUR, VAPOUR_HEAT, WATER_HEAT
from cavity.kernels import moist_air
from cavity.published import hourly_convergence, hourly_order


def test_errors_fall_as_they_should_and_are_small_with_usual_steps():
    cases = hourly_order.cases()
    assert len(cases) == 10
    assert [f"{case.name}: {case.computed}, {case.note}" for case in cases if case.outcome != "pass"] == []


def test_the_exact_solution_obeys_the_coupled_equations():
    """By differences of the closed form: heat and water of a slice against their fluxes, written out from theory.md."""
    h, dt = 1e-4, 2.0
    T, phi, rho_c, lam, mu, slope = 293.15, 0.5, 300.0 * 1500.0, 0.08, 6.0, 50.0
    delta = 2.306e-5 * (T / 273.15) ** 1.81 / (R_VAPOUR * T) / mu
    ps, ps_T = moist_air.saturation(T)

    def state(x, t):
        theta, over = hourly_order.exact(np.array([x]), t)[:, 0]
        # pressure to first order: u is the state, its humidity at T is a little more than at 20 degC
        return theta, over, ps * over + (phi * ps_T + phi * ps * np.log(1.0 / phi) / T) * theta

    for x, t in ((0.004, 1000.0), (0.02, 9000.0), (0.037, 17000.0)):
        (T1, _, p1), (T2, _, p2), (T3, _, p3) = (state(at, t) for at in (x - h, x, x + h))
        before, after = state(x, t - dt), state(x, t + dt)
        vapour = delta * (p1 - 2.0 * p2 + p3) / h**2
        stored = slope * (after[1] - before[1]) / (2.0 * dt)
        assert stored == pytest.approx(vapour, rel=2e-3)  # differences of the fourth order in h, of the third in dt
        heat = lam * (T1 - 2.0 * T2 + T3) / h**2 + vapour * (EVAPORATION_HEAT + VAPOUR_HEAT * (T - ICE_POINT))
        kept = (rho_c + slope * phi * WATER_HEAT) * (after[0] - before[0]) / (2.0 * dt)
        kept += stored * WATER_HEAT * (T - ICE_POINT)
        assert kept == pytest.approx(heat, rel=2e-3)
        assert abs(vapour * EVAPORATION_HEAT) > 0.05 * abs(heat)  # the two are coupled


def test_the_order_of_a_known_error():
    assert hourly_order.order([3e-2, 7.5e-3, 1.875e-3], (1, 2, 4)) == pytest.approx(2.0, rel=1e-9)


def test_the_film_that_the_order_is_found_from_grows_and_dries():
    film = hourly_order.films_by_hand()
    assert film[5].max() < 1e-6
    assert film.max(axis=0).min() > 1e-4  # kg/m2, both faces
    assert film[-1].max() < 1e-5


def test_usual_cells_and_steps_are_near_eight_times_finer_ones():
    base = hourly_convergence.changes()["as it is"]
    found = hourly_convergence.apart(base, hourly_convergence.finer())
    for name, limit in hourly_convergence._FINER_LIMITS.items():
        assert abs(found[name][0]) < limit, name
    assert found["relative humidity, root mean square"][0] > 1e-6  # another run
