"""Arguments of the kernel for one case: forcing, the column of the cavity, the nodes to read, start, record."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from cavity.climate.on_wall import on_wall
from cavity.errors import Fault, InputError
from cavity.hourly.boundary import forcing

if TYPE_CHECKING:
    import xarray as xr
    from numpy.typing import NDArray

    from cavity.airflow.column import ColumnAir
    from cavity.kernels import year_arrays
    from cavity.kernels.wall_section import WallSection1D
    from cavity.wall.grid import Line
    from cavity.wallfile.model import Case, Wall


@dataclass(frozen=True)
class Assembly:
    """Arguments of one run of the kernel, and what describes its result.

    Parameters
    ----------
    case : Case
        The wall with one set of openings, one column and its depth.
    air : ColumnAir
        Column and air path.
    line : Line
        Line through the wall, with its surfaces.
    weather, outside : xarray.Dataset, (time,)
        The simulated hours: weather as read, and its action on the wall.
    room_T, room_phi : array, (time,)
        Room air: temperature and relative humidity. [K], [1]
    forcing, column, readings : Forcing, Column, Readings
        Read by the kernel. [SI]
    state, record : State, Record
        Written by the kernel: the state continues from year to year, the record is that of the last year. [SI]
    order : array, (time,)
        Hours in the order of simulation.
    """

    case: Case
    air: ColumnAir
    line: Line
    weather: xr.Dataset
    outside: xr.Dataset
    room_T: NDArray[np.float64]
    room_phi: NDArray[np.float64]
    forcing: year_arrays.Forcing
    column: year_arrays.Column
    readings: year_arrays.Readings
    state: year_arrays.State
    record: year_arrays.Record
    order: NDArray[np.int64]

    @property
    def water_by_layer(self) -> NDArray[np.float64]:
        """Water in each layer, then in the film of each face and interface [kg/m2], (segment, layer + face)."""
        water, line = self.state.W, self.line
        cell = line.grid.thickness > 0.0
        layers = range(len(self.case.wall.layers))
        inside = [water[:, cell & (line.layer_of_node == k)].sum(axis=1) for k in layers]
        return np.stack([*inside, *(water[:, face.node] for face in line.faces)], axis=1)

    def open_accounts(self) -> None:
        """Set the sums of a year to zero and record water and energy at its start."""
        from cavity.kernels import year_arrays

        record, state = self.record, self.state
        record.drained[:] = 0.0
        record.throughput[:] = 0.0
        record.terms[:] = 0.0
        account = record.balance_account
        account[:] = 0.0
        account[:, year_arrays.WATER_AT_START] = state.W.sum(axis=1)
        account[:, year_arrays.ENERGY_AT_START] = state.E.sum(axis=1)


def assemble(case: Case, weather: xr.Dataset, *, hours: int | None = None, refine: float = 1.0) -> Assembly:
    """Return the arguments of the kernel for one case.

    Parameters
    ----------
    case : Case
        From `Wall.case`.
    weather : xarray.Dataset, (time,)
        Consecutive whole hours, as `read_weather` returns them.
    hours : int, keyword only
        Hours to simulate from the start month on; None, or more than the weather has: all of them.
    refine : float, keyword only
        2 halves every cell. [1]

    Returns
    -------
    Assembly
        With the simulated hours only, in the order of the weather.

    Raises
    ------
    InputError
        If the wall cannot be divided into cells, a wet layer is not known, or the indoor climate does not fit the
        weather.
    """
    from cavity.airflow.column import build_column
    from cavity.wall.grid import build_line
    from cavity.wall.indoor import indoor_climate

    wall = case.wall
    air = build_column(case)
    line = build_line(case, refine=refine)
    room_T, room_phi = indoor_climate(wall.indoor, weather)  # of the whole weather: monthly means, and the day before
    if hours is not None and hours < weather.sizes["time"]:
        run_only = np.sort(hours_in_order(weather["time"].to_numpy(), wall.run.start_month)[:hours])
        weather, room_T, room_phi = weather.isel(time=run_only), room_T[run_only], room_phi[run_only]
    outside = on_wall(weather, orientation=wall.orientation, tilt=wall.tilt, site=wall.site)
    return Assembly(
        case=case,
        air=air,
        line=line,
        weather=weather,
        outside=outside,
        room_T=room_T,
        room_phi=room_phi,
        forcing=forcing(wall, air, line, outside, room_T, room_phi),
        column=cavity_column(case, air),
        readings=readings(line),
        state=start(wall, line, air, outside, room_T),
        record=empty_record(wall, line, air, outside.sizes["time"]),
        order=hours_in_order(outside["time"].to_numpy(), wall.run.start_month),
    )


def cavity_column(case: Case, air: ColumnAir) -> year_arrays.Column:
    """Return the column of the cavity for the kernel.

    Parameters
    ----------
    case : Case
        From `Wall.case`.
    air : ColumnAir
        From `airflow.column.build_column`.

    Returns
    -------
    Column
        Depth [m], exchange emissivity [1] and the arrays of the air path. [SI]
    """
    from cavity.airflow.column import gust_curve
    from cavity.kernels import year_arrays

    wall = case.wall
    return year_arrays.Column(
        opening_law=air.opening_law,
        link_law=air.link_law,
        part_law=air.part_law,
        part_link=air.part_link,
        link_open=air.link_open,
        link_entry=air.link_entry,
        opening_height=air.opening_height,
        link_rise=air.link_rise,
        path_source=air.path_source,
        path_index=air.path_index,
        segment_bottom=air.segment_bottom,
        segment_top=air.segment_top,
        segment_link=air.segment_link,
        opening_compartment=air.opening_compartment,
        gate_link=air.gate_link,
        volume=air.volume,
        segment_compartment=air.segment_compartment,
        single_area=wall.cavity.single_vent_exchange * air.single_area,
        single_clear=air.single_clear,
        gust_curve=gust_curve(air) if wall.cavity.gust_exchange > 0.0 else np.zeros((2, 0)),
        gust_factor=float(wall.cavity.gust_exchange),
        depth=case.depth,
        height=air.height,
        emissivity=case.exchange_emissivity,
    )


def readings(line: Line) -> year_arrays.Readings:
    """Return the nodes that the kernel reads, and the face to which drained water of a node is assigned.

    Parameters
    ----------
    line : Line
        From `wall.grid.build_line`.

    Returns
    -------
    Readings
        Node numbers.
    """
    from cavity.kernels import year_arrays

    back = line.grid.cladding_back
    return year_arrays.Readings(
        node=np.array([face.node for face in line.faces], dtype=np.int64),
        layer=line.layer_of_node,
        film=np.array([0, back, back + 1, line.nodes - 1], dtype=np.int64),
        plane=_nearest_face(line),
    )


def _nearest_face(line: Line) -> NDArray[np.int64]:
    """Return the nearest face of its layer for each node, (nodes,): where a full cell is assumed to drain."""
    node = np.array([face.node for face in line.faces])
    outside = np.searchsorted(node, np.arange(line.nodes), side="right") - 1  # face at or outside each node
    inside = np.minimum(outside + 1, len(node) - 1)
    nearer = line.position - line.position[node[outside]] <= line.position[node[inside]] - line.position
    return np.where((node[outside] == np.arange(line.nodes)) | nearer, outside, inside)


def start(
    wall: Wall, line: Line, air: ColumnAir, outside: xr.Dataset, room_T: NDArray[np.float64]
) -> year_arrays.State:
    """Return the start state: mean temperatures of the first day, linear through the wall, and the start humidity.

    Parameters
    ----------
    wall : Wall
        Its `run` has the humidity, the month, and the layers that start wetter.
    line : Line
        The line through it.
    air : ColumnAir
        Each of its segments has a line.
    outside : xarray.Dataset, (time,)
        From `climate.on_wall`.
    room_T : array, (time,)
        Room air. [K]

    Returns
    -------
    State
        (segment, node). [SI]

    Raises
    ------
    InputError
        If a layer that starts wetter is not known.
    """
    from cavity.kernels import potential, wall_section, year_arrays
    from cavity.kernels import wall as wall_kernel

    order = hours_in_order(outside["time"].to_numpy(), wall.run.start_month)[:24]
    cold = float(outside["temperature_outdoor"].to_numpy()[order].mean())
    warm = float(room_T[order].mean())
    fraction = line.position / max(line.position[-1], 1e-9)
    T = cold + (warm - cold) * fraction
    u = np.array([potential.of_humidity(wall.run.start_humidity, t) for t in T])
    grid = line.grid
    for name, content in wall.run.construction_water:
        index = next((i for i, layer in enumerate(wall.layers) if layer.name == name), None)
        if index is None:
            known = ", ".join(layer.name for layer in wall.layers)
            where = f"{wall.source}, run.construction_water"
            raise InputError(Fault(where, "no such layer", name, known, "use a listed name"))
        _wet(grid, T, u, np.flatnonzero(line.layer_of_node == index), content)
    segments = len(air.segment_bottom)
    w = wall_section.work_arrays(grid)
    wall_kernel.evaluate(grid, T, u, w)
    return year_arrays.State(
        T=np.tile(T, (segments, 1)),
        u=np.tile(u, (segments, 1)),
        W=np.tile(wall_section.read(w, wall_section.WATER), (segments, 1)),
        E=np.tile(wall_section.read(w, wall_section.ENTHALPY), (segments, 1)),
        flow=np.zeros(max(len(air.openings) - 1, 0)),
        air_T=np.full(segments, cold),
        air_p=np.full(segments, float(outside["vapour_pressure_outdoor"].to_numpy()[order].mean())),
    )


def _wet(
    grid: WallSection1D, T: NDArray[np.float64], u: NDArray[np.float64], nodes: NDArray[np.int64], content: float
) -> None:
    """Set the potential of a layer's nodes so that its cells hold a water content [kg/m3], by halving.

    Where the water curve is flat because the material is saturated, it is the driest potential with that content. Water
    beyond saturation is a film in the cells; the surfaces start without a film.
    """
    from cavity.kernels import film, potential, wall_section
    from cavity.kernels import wall as wall_kernel

    cells = nodes[grid.thickness[nodes] > 0.0]
    if not cells.size:
        return
    low = np.full(cells.size, potential.U_LOW)
    high = np.full(cells.size, potential.U_LOW + potential.U_STEP * (potential.U_COUNT - 1))
    work = wall_section.work_arrays(grid)
    for _ in range(60):
        u[cells] = 0.5 * (low + high)
        wall_kernel.evaluate(grid, T, u, work)
        full = wall_section.read(work, wall_section.WATER)[cells] >= content * grid.thickness[cells]
        low, high = np.where(full, low, u[cells]), np.where(full, u[cells], high)
    u[cells] = high
    surfaces = np.setdiff1d(nodes, cells)
    u[surfaces] = min(float(high.mean()), film.START)


def hours_in_order(time: NDArray[np.datetime64], month: int) -> NDArray[np.int64]:
    """Return the indices of the hours from the first hour of the start month on, around the year.

    Parameters
    ----------
    time : array, (time,)
        Starts of the hours.
    month : int
        1 to 12; the first hour where the weather has no such month.

    Returns
    -------
    array, (time,)
    """
    months = time.astype("datetime64[M]").astype(int) % 12 + 1
    starts = np.flatnonzero(months == month)
    return np.roll(np.arange(len(time), dtype=np.int64), -int(starts[0]) if starts.size else 0)


def empty_record(wall: Wall, line: Line, air: ColumnAir, hours: int) -> year_arrays.Record:
    """Return the empty record of a run.

    Parameters
    ----------
    wall : Wall
        Its layers are recorded.
    line : Line
        Its surfaces and interfaces are recorded.
    air : ColumnAir
        Its segments, openings and parts are recorded.
    hours : int
        Simulated hours.

    Returns
    -------
    Record
        Of zeros. [SI]
    """
    from cavity.kernels import stream, year_arrays

    def field(*shape: int) -> NDArray[np.float64]:
        return np.zeros((hours, *shape))

    faces, openings, parts = len(line.faces), len(air.openings), len(air.path_source)
    segments, layers = len(air.segment_bottom), len(wall.layers)
    return year_arrays.Record(
        T=np.zeros((hours, segments, faces), dtype=np.float32),
        p=np.zeros((hours, segments, faces), dtype=np.float32),
        air_T=field(segments),
        air_p=field(segments),
        fog=field(segments),
        change_rate=field(len(air.compartment_edges)),
        speed=field(segments),
        stack=field(),
        wind=field(),
        opening_flow=field(openings),
        part_pressure=field(parts),
        water=field(segments, layers),
        film=np.zeros((hours, segments, faces), dtype=np.float32),
        frost=np.zeros((hours, segments, faces), dtype=np.float32),
        vapour=field(segments, 4),
        wetting=np.zeros((hours, segments, faces, year_arrays.CAUSES), dtype=np.float32),
        drainage=np.zeros((hours, segments, faces), dtype=np.float32),
        heat_in=field(segments),
        stream=field(segments, 2, stream.TERMS),
        water_residual=field(segments),
        energy_residual=field(segments),
        drained=np.zeros(segments),
        throughput=np.zeros((segments, 2)),
        terms=np.zeros((segments, year_arrays.WATER_TERMS)),
        balance_account=np.zeros((segments, 4)),
    )
