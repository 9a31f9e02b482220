"""Steady air flow through one column without weather: wind and sun (or a cavity temperature) in, flows out.

For a quick look and for teaching; the hourly result is `cavity.simulate`. Dry air, no heat storage, sky as warm as air.
In dry air and steady surroundings the hourly run comes to the same flows and temperatures: a test holds them together.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from cavity import variables
from cavity.airflow.column import ColumnAir, build_column, gust_curve
from cavity.airflow.pressure import gust_pressure, pressure_coefficients, wind_pressure
from cavity.climate.outside import INNER_SURFACE, heat_flow_direction, outside_coefficient
from cavity.constants import CP_DIFFERENCE_BAND, DRY_AIR_HEAT, GRAVITY, HOUR, R_AIR, STANDARD_PRESSURE, STEFAN_BOLTZMANN
from cavity.errors import ConvergenceError, Fault, InputError
from cavity.units import DENSEST, THINNEST, check_range
from cavity.wallfile.model import takes_wall

if TYPE_CHECKING:
    from collections.abc import Sequence

    import xarray as xr

    from cavity.wallfile.model import Case, Layer, Wall

AXES = {
    "irradiance": {"units": "W/m2", "long_name": "sun on the wall"},
    "prescribed_temperature": {"units": "K", "long_name": "temperature that the cavity air is given"},
}
_ROUNDS = 300  # of the repetition between flow and temperature; about 20 are usual
_SETTLED = 1e-6  # K, change of any air temperature at which it stops


@takes_wall
def steady_air(
    case: Case,
    *,
    wind: Sequence[float] = (0.0,),
    angle: float = 0.0,
    outdoor: float = 283.15,
    sun: Sequence[float] | None = None,
    cavity: Sequence[float] | None = None,
    indoor: float = 293.15,
    pressure: float = STANDARD_PRESSURE,
) -> xr.Dataset:
    """Return the steady flow of one column for every wind and every sun (or cavity temperature).

    With `sun`, the heat balance of the cavity is solved: sol-air temperature outside, room inside, radiation and
    convection between the surfaces, air that warms up exponentially along its way (ISO 15099:2003). With `cavity`, the
    cavity air has that temperature.

    Parameters
    ----------
    case : Case or Wall
        From `Wall.case`; of a wall, its keywords choose the case.
    wind : sequence of float, keyword only
        At roof height on the site. [m/s]
    angle : float, keyword only
        Between wind and wall normal. [degree]
    outdoor, indoor : float, keyword only
        Air temperatures. [K]
    sun : sequence of float, keyword only
        Irradiance on the wall; default, also without `cavity`: 0. [W/m2]
    cavity : sequence of float, keyword only
        Temperature of the cavity air. [K]
    pressure : float, keyword only
        Atmospheric pressure. [Pa]

    Returns
    -------
    xarray.Dataset
        Dims (wind, irradiance | prescribed_temperature, segment | opening | part); variables as `simulate` has them.

    Raises
    ------
    InputError
        If both `sun` and `cavity` are given, or a value is out of range.
    ConvergenceError
        If flow and heat balance do not agree after 300 rounds; about 25 are usual.
    """
    import xarray as xr

    from cavity.airflow.gains import doubling_gains
    from cavity.kernels import moist_air
    from cavity.wallfile.recorded import to_json

    if sun is not None and cavity is not None:
        raise InputError(Fault("airflow", "sun and cavity temperature exclude each other", fix="give one of the two"))
    check_range("airflow, wind", wind, "m/s", 0.0, 80.0)
    check_range("airflow, outdoor and indoor temperature", (outdoor, indoor), "K", 203.15, 333.15)
    check_range("airflow, pressure", pressure, "Pa", THINNEST, DENSEST)
    axis = "irradiance" if cavity is None else "prescribed_temperature"
    drivers = np.asarray((0.0,) if sun is None else sun, dtype=float)
    if cavity is not None:
        drivers = np.asarray(cavity, dtype=float)
        check_range("airflow, cavity temperature", drivers, "K", 203.15, 373.15)
    else:
        check_range("airflow, sun", drivers, "W/m2", 0.0, 1500.0)
    wall, air = case.wall, build_column(case)
    winds = np.asarray(wind, dtype=float)
    rho_out = pressure / (R_AIR * outdoor)
    cp = pressure_coefficients(wall.site, air.openings, np.full(winds.size, angle))
    pushed = wind_pressure(cp, np.full(winds.size, rho_out), winds)
    gusts = gust_pressure(wall.site, air.openings, np.full(winds.size, angle), np.full(winds.size, rho_out), winds)

    n, segments, parts = len(air.openings), len(air.segment_link), len(air.path_names)
    shape = (winds.size, drivers.size)
    data = {
        "air_change_rate": np.zeros(shape),
        "compartment_air_change_rate": np.zeros((*shape, len(air.compartment_edges) - 1)),
        "air_speed": np.zeros((*shape, segments)),
        "cavity_temperature": np.zeros((*shape, segments)),
        "opening_flow": np.zeros((*shape, n)),
        "part_pressure": np.zeros((*shape, parts)),
        "stack_pressure": np.zeros(shape),
        "wind_pressure": np.zeros(shape),
    }
    drives, densities = [], []
    for i in range(winds.size):
        for k in range(drivers.size):
            prescribed = None if cavity is None else drivers[k]
            absorbed = wall.solar_absorptance * drivers[k] if cavity is None else 0.0
            state = _Steady(case, air, pushed[i], winds[i], outdoor, indoor, pressure, float(gusts[i]))
            state.iterate(absorbed, prescribed)
            drives.append(state.drive.copy())
            densities.append(state.rho_link.copy())
            for name, values in state.readings().items():
                data[name][i, k] = values
    count = len(drives)
    data["part_gain"] = doubling_gains(
        case, air, np.array(drives), np.full(count, rho_out), np.array(densities),
        np.full(count, moist_air.viscosity(outdoor)),
    )  # fmt: skip

    last = {name: (name,) for name in ("segment", "compartment", "opening", "part")}
    dims: dict[str, Any] = {
        name: ("wind", axis, *(d for kind, held in last.items() if kind in variables.TABLE[name].dims for d in held))
        for name in data
    } | {"part_gain": ("part",)}
    dataset = xr.Dataset(
        {name: (dims[name], values, variables.attributes(name, "airflow.steady_air")) for name, values in data.items()},
        coords={
            "wind": ("wind", winds, {"units": "m/s", "long_name": "wind at roof height on the site"}),
            axis: (axis, drivers, AXES[axis]),
            **air.coordinates(),
        },
    )
    dataset.attrs = {
        "wall_name": wall.name,
        "wall_invented": int(wall.invented),
        "wall_json": to_json(wall),
        "opening_set": case.opening_set.name,
        "depth": air.depth,
        "column": air.name,
        "column_bottom": air.bottom,
        "column_top": air.top,
        "iso6946_class": air.iso6946_class,
        "wind_angle": angle,
        "temperature_outdoor": outdoor,
        "temperature_indoor": indoor,
        "cp_difference": float("nan") if wall.site.cp_difference is None else wall.site.cp_difference,
        "cp_profile": int(bool(wall.site.cp_profile)),
        "building_height": wall.site.building_height,
    }
    return dataset


def steady_columns(
    wall: Wall,
    columns: Sequence[str] = (),
    *,
    opening_set: str | None = None,
    depth: float | None = None,
    **options: Any,
) -> list[xr.Dataset]:
    """Return `steady_air` of several columns.

    Parameters
    ----------
    wall : Wall
        Complete wall.
    columns : sequence of str
        Names; none: all columns of the wall.
    opening_set : str, keyword only
        Name; None: the first.
    depth : float, keyword only
        Cavity depth; None: that of the wall. [m]
    **options
        As for `steady_air`.

    Returns
    -------
    list of xarray.Dataset
        One per column.

    Raises
    ------
    InputError
        If a name is not known or the depth not possible, and as `steady_air`.
    """
    return [
        steady_air(wall.case(opening_set=opening_set, depth=depth, column=name), **options)
        for name in (columns or [column.name for column in wall.columns])
    ]


def difference_sentence(case: Case, *, wind: Sequence[float], **options: Any) -> str:
    """Return what the least certain input does: air changes at low, mid and high difference.

    Parameters
    ----------
    case : Case
        From `Wall.case`.
    wind : sequence of float, keyword only
        The strongest of them is used. [m/s]
    **options
        As for `steady_air`, without sun and cavity.

    Returns
    -------
    str
        One sentence for the report.
    """
    from dataclasses import replace

    speed, wall = max(wind), case.wall
    if wall.site.cp_profile:
        return "Wind drive: the pressure profile of the wall file, an input."
    if wall.site.cp_difference is None:
        wind_drive = "Wind drive: wind-tunnel profile by height and angle"
    else:
        wind_drive = f"Wind drive: pressure coefficient at the base minus that at the head {wall.site.cp_difference:g}"
    if speed <= 0.0:
        return f"{wind_drive}; no wind was given."
    rates = []
    for difference in CP_DIFFERENCE_BAND:
        site = replace(wall.site, cp_difference=difference)
        ds = steady_air(case.on(replace(wall, site=site)), wind=(speed,), **options)
        rates.append(f"{float(ds['air_change_rate'].max()):.1f}")
    low, mid, high = (f"{value:g}" for value in CP_DIFFERENCE_BAND)
    own = f"{float(steady_air(case, wind=(speed,), **options)['air_change_rate'].max()):.1f}"
    return (
        f"{wind_drive}: {own} air changes per hour at {speed:g} m/s without sun. This is the least certain input: a "
        f"straight line from base to head with a difference of {low}, {mid} or {high} gives {rates[0]}, {rates[1]} or "
        f"{rates[2]}."
    )


def numbers(text: str, option: str) -> tuple[float, ...]:
    """Read numbers separated by commas, at most twelve.

    Parameters
    ----------
    text : str
        Such as ``"0, 2, 5"``.
    option : str
        Option it comes from, for the error.

    Returns
    -------
    tuple of float
        In the order given.

    Raises
    ------
    InputError
        If it is anything else.
    """
    try:
        values = tuple(float(part) for part in text.split(","))
    except ValueError:
        values = ()
    if not 0 < len(values) <= 12 or not all(np.isfinite(values)):
        raise InputError(
            Fault(
                option,
                "not a list of numbers",
                repr(text),
                "one to twelve numbers with commas between",
                "such as 0,2,5",
            )
        )
    return values


def _resistance(layers: Sequence[Layer]) -> float:
    """Thermal resistance of layers in series, between studs and rails [m2 K/W]."""
    total = 0.0
    for layer in layers:
        if layer.thickness > 0.0:
            total += layer.thickness / layer.material.conductivity
    return max(total, 1e-6)


def _fourth(T: float, other: float) -> float:
    """(T^4 - other^4)/(T - other) [K3]."""
    return (T + other) * (T * T + other * other)


class _Steady:
    """Flow and temperatures of one column, repeated until they agree."""

    def __init__(
        self, case: Case, air: ColumnAir, wind_pressure: np.ndarray, wind: float, outdoor: float, indoor: float,
        pressure: float, sigma: float = 0.0,
    ) -> None:  # fmt: skip
        from cavity.kernels import moist_air

        self.air, self.wind_pressure, self.pressure = air, wind_pressure, pressure
        self.outdoor, self.indoor = outdoor, indoor
        wall = case.wall
        self.mu = moist_air.viscosity(outdoor)
        self.rho_out = pressure / (R_AIR * outdoor)
        self.convection = float(outside_coefficient(wind))  # W/(m2 K), exterior surface
        self.emitted = wall.emissivity * STEFAN_BOLTZMANN
        self.cladding_resistance = _resistance(wall.cladding)
        self.u_in = 1.0 / (INNER_SURFACE[heat_flow_direction(wall.tilt)] + _resistance(wall.backup))
        self.exchange = STEFAN_BOLTZMANN * case.exchange_emissivity
        n, segments = len(air.openings), len(air.segment_link)
        self.flow, self.work, self.chain = air.scratch()
        self.flows = np.zeros(n)
        self.rho_link = np.full(max(n - 1, 0), self.rho_out)
        self.drive = np.zeros(max(n - 1, 0))
        self.T = np.full(segments, outdoor)  # mean air
        self.outlet = np.full(segments, outdoor)
        self.T0 = np.full(segments, outdoor)  # exterior surface
        self.T1 = np.full(segments, outdoor)
        self.T2 = np.full(segments, outdoor)
        self.rise = air.segment_top - air.segment_bottom
        self.wind, self.sigma = wind, sigma
        self.single, self.gusts = wall.cavity.single_vent_exchange, wall.cavity.gust_exchange
        self.curve = gust_curve(air) if self.gusts > 0.0 else np.zeros((2, 0))
        self.mixing = np.zeros(segments)
        self.weights = [np.where(air.segment_link == k, self.rise, 0.0) for k in range(max(n - 1, 0))]

    def iterate(self, absorbed: float, prescribed: float | None) -> None:
        """Repeat flow and heat balance, half a step at a time: more flow cools the air, which slows the flow."""
        if prescribed is not None:
            self.T[:] = prescribed
            self._solve_flow()
            self.mixing[:] = [self._exchange(s) for s in range(len(self.T))]
            return
        for _ in range(_ROUNDS):
            self._solve_flow()
            before = self.T.copy()
            self._solve_heat(absorbed)
            change = float(np.abs(self.T - before).max(initial=0.0))
            self.T[:] = 0.5 * (self.T + before)
            if change < _SETTLED:
                return
        raise ConvergenceError(
            f"steady air flow: after {_ROUNDS} rounds the air of the cavity still changes by {change:.1e} K (limit "
            f"{_SETTLED:g} K), wind {self.wind:g} m/s, {absorbed:g} W/m2 absorbed. Try another wind or sun."
        )

    def _solve_flow(self) -> None:
        from cavity.kernels import network

        air = self.air
        for k, weight in enumerate(self.weights):
            total = weight.sum()
            mean = float(weight @ (1.0 / self.T)) / total if total > 0.0 else 1.0 / self.outdoor
            self.rho_link[k] = self.pressure / R_AIR * mean
            stack = (self.rho_out - self.rho_link[k]) * GRAVITY * air.link_rise[k]
            self.drive[k] = self.wind_pressure[k] - self.wind_pressure[k + 1] + stack
        network.solve_column(
            air.opening_law, air.link_law, air.part_law, air.part_link, air.link_open, self.drive, self.rho_out,
            self.rho_link, self.mu, self.flow, self.work, self.chain,
        )  # fmt: skip
        network.opening_flows(self.flow, self.flows)

    def _solve_heat(self, absorbed: float) -> None:
        """Air along its way, segment by segment in the direction of flow, with its two surfaces."""
        air = self.air
        for k in self._order():
            members = np.flatnonzero(air.segment_link == k)
            Q = self.flow[k]
            inlet = self._inlet(k)
            for s in members if Q >= 0.0 else members[::-1]:
                self._segment(s, absorbed, inlet, abs(Q))
                inlet = self.outlet[s]
        for s in np.flatnonzero(air.segment_link < 0):
            self._segment(int(s), absorbed, self.outdoor, 0.0)

    def _order(self) -> list[int]:
        """Links so that air always comes from a link that is done: upward ones rising, then downward ones falling."""
        links = range(len(self.flow))
        return [k for k in links if self.flow[k] >= 0.0] + [k for k in reversed(links) if self.flow[k] < 0.0]

    def _inlet(self, k: int) -> float:
        """Temperature of the air that enters link k: mixed at every opening on the way from the last link with air."""
        step = -1 if self.flow[k] >= 0.0 else 1
        fraction = 1.0  # of the air that has already been in the cavity
        while True:
            behind = k + step
            if not 0 <= behind < len(self.flow):
                return self.outdoor
            carried = -step * self.flow[behind]
            leaving = abs(self.flow[k])
            if carried <= 0.0 or leaving <= 0.0:
                return self.outdoor
            fraction *= min(carried / leaving, 1.0)
            members = np.flatnonzero(self.air.segment_link == behind)
            if members.size:
                return fraction * self.outlet[members[-1 if step < 0 else 0]] + (1.0 - fraction) * self.outdoor
            k = behind  # two openings at one height: no air volume between them

    def _exchange(self, s: int) -> float:
        """Exchange with outdoors in addition to the mean flow, estimates [kg/(s m2)]."""
        from cavity.kernels import cavity_air

        air, k = self.air, self.air.segment_link[s]
        if air.single_area[s] > 0.0:
            return self.single * self.rho_out * cavity_air.single_vent(
                air.single_area[s], air.single_clear[s], self.wind, self.T[s], self.outdoor
            )  # fmt: skip
        if k < 0 or not air.link_open[k] or self.gusts <= 0.0:
            return 0.0
        content = self.rho_out * air.volume[0]
        return self.gusts / air.height * cavity_air.gust_exchange(
            self.curve, float(self.drive.sum()), self.sigma, self.wind, content
        )  # fmt: skip

    def _segment(self, s: int, absorbed: float, inlet: float, flow: float) -> None:
        from cavity.kernels import cavity_air

        air = self.air
        k = air.segment_link[s]
        length = air.link_length[k] if k >= 0 and air.link_length[k] > 0.0 else air.height
        speed = flow / (self.pressure / (R_AIR * self.T[s]) * air.area)
        capacity = flow * DRY_AIR_HEAT / self.rise[s]
        entry = air.link_entry[k, 0 if self.flow[k] >= 0.0 else 1] if k >= 0 else 0.0
        for _ in range(2):  # the coefficients depend weakly on the surfaces
            still = cavity_air.h_still(self.T1[s], self.T2[s], air.depth, length, self.pressure)
            h1, h2 = cavity_air.h_mixed(
                still, speed, flow * DRY_AIR_HEAT / length, self.T1[s], self.T2[s], self.T[s], air.depth, length,
                self.pressure, entry,
            )  # fmt: skip
            # (T^4 - T'^4) as a coefficient on T - T', exact where the repetition ends
            outside = self.convection + self.emitted * _fourth(self.T0[s], self.outdoor)
            sol_air = self.outdoor + absorbed / outside
            u_out = 1.0 / (1.0 / outside + self.cladding_resistance)
            hr = self.exchange * _fourth(self.T1[s], self.T2[s])
            self.mixing[s] = self._exchange(s)
            fraction, part, at_outlet, beyond = cavity_air.inlet_weight_mixing(
                h1 + h2, capacity, self.mixing[s] * DRY_AIR_HEAT
            )
            mixed = inlet + part * (self.outdoor - inlet)
            # mean air = fraction x what comes from outside the segment + m1 x one surface + m2 x the other
            m1, m2 = (1.0 - fraction) * h1 / (h1 + h2), (1.0 - fraction) * h2 / (h1 + h2)
            a11 = u_out + hr + h1 * (1.0 - m1)
            a22 = self.u_in + hr + h2 * (1.0 - m2)
            a12 = -hr - h1 * m2
            b1 = u_out * sol_air + h1 * fraction * mixed
            b2 = self.u_in * self.indoor + h2 * fraction * mixed
            det = a11 * a22 - a12 * a12
            self.T1[s] = (b1 * a22 - a12 * b2) / det
            self.T2[s] = (a11 * b2 - a12 * b1) / det
            self.T0[s] = sol_air + (self.T1[s] - sol_air) * u_out / outside
        surfaces = (h1 * self.T1[s] + h2 * self.T2[s]) / (h1 + h2)
        self.T[s] = surfaces + (mixed - surfaces) * fraction
        self.outlet[s] = surfaces + (inlet + beyond * (self.outdoor - inlet) - surfaces) * at_outlet

    def readings(self) -> dict[str, np.ndarray | float]:
        """Return what the result Dataset holds, in its terms."""
        from cavity.kernels import network

        air = self.air
        speed = np.zeros(len(air.segment_link))
        for s, k in enumerate(air.segment_link):
            if k >= 0:
                speed[s] = self.flow[k] / (self.rho_link[k] * air.area)
        into = np.zeros(len(air.compartment_edges))
        network.air_in(self.flow, self.flows, air.opening_compartment, air.gate_link, into)
        more = self.mixing * self.rise
        into += [more.sum(), *np.bincount(air.segment_compartment, more, len(air.compartment_edges) - 1)]
        change = into / (self.rho_out * air.volume) * HOUR
        losses = np.zeros(len(air.path_names))
        network.path_losses(
            air.path_source, air.path_index, air.opening_law, air.link_law, air.part_law, air.part_link, self.rho_out,
            self.rho_link, self.mu, self.flow, losses,
        )  # fmt: skip
        stack = float(((self.rho_out - self.rho_link) * GRAVITY * air.link_rise).sum()) if air.link_rise.size else 0.0
        wind = float(self.wind_pressure[0] - self.wind_pressure[-1]) if len(self.wind_pressure) > 1 else 0.0
        return {
            "air_change_rate": change[0],
            "compartment_air_change_rate": change[1:],
            "air_speed": speed,
            "cavity_temperature": self.T,
            "opening_flow": self.flows,
            "part_pressure": losses,
            "stack_pressure": stack,
            "wind_pressure": wind,
        }
