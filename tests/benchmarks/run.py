"""How fast, how large, how it grows: prints a table, writes JSON.

    python tests/benchmarks/run.py                 all
    python tests/benchmarks/run.py year solver     only these: year solver floor growth cases memory report start live

Ratios are between things timed one after the other in this run; the seconds alone mean little on another or a busy
computer. Nothing here is a test: no limit is asserted.
"""

from __future__ import annotations

import ctypes
import json
import os
import platform
import re
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import click
import numba
import numpy as np
from numba.extending import get_cython_function_address

import cavity
from cavity._jit import jit
from cavity.constants import STEFAN_BOLTZMANN
from cavity.kernels import block, boundaries, potential
from cavity.kernels import wall as kernel
from cavity.kernels import wall_section as col
from cavity.kernels.lanes import LANES
from cavity.wallfile import parse_wall
from cavity.wallfile.starter import starter

ROOT = Path(__file__).parents[2]
CLIMATE = ROOT / "climates" / "temperate_inland.epw"
PARTS = ("year", "solver", "floor", "growth", "cases", "memory", "report", "start", "live")
GAMMA = 1.0 - 0.5**0.5  # of the two-stage step of kernels.year


def the_wall(segments: int = 3, years: int = 1) -> Any:
    """Return the starter wall with this number of segments."""
    wall = parse_wall(starter(), "starter.toml")
    return replace(wall, run=replace(wall.run, segments=segments, max_years=years))


def best(work: Any, times: int = 3) -> tuple[float, Any]:
    """Return the least time of several [s] and the last result: what else the computer does only adds."""
    found, result = np.inf, None
    for _ in range(times):
        start = time.perf_counter()
        result = work()
        found = min(found, time.perf_counter() - start)
    return found, result


# --------------------------------------------------------------------------- one wall, one year


def year(weather: Any) -> dict[str, float]:
    """Time one wall-year, from wall and weather to the Dataset."""
    out = {}
    for segments in (3, 1):
        seconds, ds = best(lambda segments=segments: cavity.simulate(the_wall(segments), weather))
        out[f"{segments} segments, one year [s]"] = seconds
        out[f"{segments} segments, steps"] = ds.attrs["solver_steps"]
        out[f"{segments} segments, updates of a line in a step"] = ds.attrs["solver_updates"] / ds.attrs["solver_steps"]
    return out


# --------------------------------------------------------------------------- against scipy's BDF

EXTRA_HEAT, EXTRA_WATER = 50.0, 1e-4  # J/(m2 K) and kg/m2 per u on faces that store nothing: an ODE needs a store
#   (0.03 mm of wood); both solvers get it, so the equations are the same


@jit
def _edge(t, hours, dt):
    """Surroundings at time t [s]: linear between the middles of the hours, so that both solvers see the same."""
    x = min(max(t / 3600.0 - 0.5, 0.0), hours.shape[0] - 1.000001)
    k = int(x)
    s = x - k
    T = hours[k, 0] * (1.0 - s) + hours[k + 1, 0] * s
    p = hours[k, 1] * (1.0 - s) + hours[k + 1, 1] * s
    gain = hours[k, 2] * (1.0 - s) + hours[k + 1, 2] * s
    return boundaries.BoundaryConditions(
        T, p, 15.0, 1e-7, gain, 0.9, 0.0, 294.15, 900.0, 7.7, 2.5e-8, T, p, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0, 0.0, 0,
        101325.0, dt,
    )  # fmt: skip


@jit
def _rate(t, T, u, grid, hours, extra, zeros, w, flux, out):
    """Write d(T, u)/dt of every node into out (2 n,): the residual of the kernel, without its time step."""
    kernel.assemble(grid, _edge(t, hours, 1.0), T, u, zeros, zeros, w, flux)
    for i in range(T.size):
        at = w.offset[i]
        W_u = w.cell[at + col.WATER_U] + extra[i] * EXTRA_WATER
        du = w.cell[at + col.NET_FLUX_W] / W_u
        out[2 * i + 1] = du
        out[2 * i] = (w.cell[at + col.NET_FLUX_E] - w.cell[at + col.ENTHALPY_U] * du) / (
            w.cell[at + col.ENTHALPY_T] + extra[i] * EXTRA_HEAT
        )


@numba.njit(nogil=True, error_model="numpy")
def _ours(T, u, grid, hours, extra, w, flux, steps_per_hour, tolerance, out_T, out_phi):
    """March with the two-stage step of kernels.year; fill the state at the end of every hour; return updates or -1."""
    n = T.size
    E, W, E_from, W_from, zeros = np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n)
    kernel.evaluate(grid, T, u, w)
    for i in range(n):
        at = w.offset[i]
        E[i] = w.cell[at + col.ENTHALPY] + extra[i] * EXTRA_HEAT * T[i]
        W[i] = w.cell[at + col.WATER] + extra[i] * EXTRA_WATER * u[i]
    h = 3600.0 / steps_per_hour
    updates = 0
    for hour in range(out_T.shape[0]):
        for part in range(steps_per_hour):
            now = hour * 3600.0 + part * h
            for stage in range(2):
                dt = GAMMA * h
                edge = _edge(now + (dt if stage == 0 else h), hours, dt)
                if stage == 0:
                    E_from[:], W_from[:] = E, W
                for turn in range(60):
                    kernel.assemble(grid, edge, T, u, zeros, zeros, w, flux)
                    worst = 0.0
                    for i in range(n):
                        at = w.offset[i]
                        e = w.cell[at + col.ENTHALPY] + extra[i] * EXTRA_HEAT * T[i] - E_from[i]
                        m = w.cell[at + col.WATER] + extra[i] * EXTRA_WATER * u[i] - W_from[i]
                        r = e / dt - w.cell[at + col.NET_FLUX_E]
                        s = (m / dt - w.cell[at + col.NET_FLUX_W]) * col.ENERGY_PER_KG
                        w.cell[at + col.RIGHT], w.cell[at + col.RIGHT + LANES] = -r, -s
                        w.cell[at + col.OWN + col.E_T] += extra[i] * EXTRA_HEAT / dt
                        w.cell[at + col.OWN + col.W_U] += extra[i] * EXTRA_WATER / dt * col.ENERGY_PER_KG
                        worst = max(worst, abs(r), abs(s))
                    if worst <= tolerance:
                        break
                    updates += 1
                    if kernel.update(w, 0 if turn < 20 else 14):
                        return -1
                    for i in range(n):
                        at = w.offset[i]
                        T[i] = w.cell[at + col.TEMPERATURE]
                        u[i] = w.cell[at + col.POTENTIAL]
                else:
                    return -1
                share = (1.0 - GAMMA) * h if stage == 0 else GAMMA * h
                for i in range(n):
                    at = w.offset[i]
                    # stage 0 gives the slope for what is left of the step, stage 1 ends it
                    E_from[i] = (E[i] if stage == 0 else E_from[i]) + share * w.cell[at + col.NET_FLUX_E]
                    W_from[i] = (W[i] if stage == 0 else W_from[i]) + share * w.cell[at + col.NET_FLUX_W]
            E[:], W[:] = E_from, W_from
        for i in range(n):
            out_T[hour, i] = T[i]
            out_phi[hour, i] = potential.humidity(u[i], T[i])[0]
    return updates


def solver(weather: Any, days: int = 10) -> dict[str, Any]:
    """Time scipy's BDF and LSODA with banded Jacobian and our step, on the same line, at the same accuracy.

    The line is the backup wall of the starter file; hours of the invented inland climate, linear in between. Accuracy
    is the largest deviation of any node's relative humidity, at any full hour after the first day, from BDF at rtol
    1e-8; each scipy method gets the loosest tolerance that is at least as accurate as our step, or, if none is, the
    tightest tried. The root of the mean square is reported beside it: the largest sits for an hour in insulation, which
    stores little.
    `solve_ivp` takes lband/uband for LSODA only; BDF gets the same band as a sparsity pattern.
    """
    from scipy.integrate import solve_ivp
    from scipy.sparse import diags

    from cavity.wall.grid import build_solid_line

    line = build_solid_line(the_wall().backup)
    grid, n, count = line.grid, line.nodes, 24 * days
    # May: where water freezes the slopes of the stores jump, and BDF gives up at tight tolerances
    part = weather.isel(time=slice(24 * 120, 24 * 120 + count + 1))
    # sun and a sky as warm as the air: films would need the half steps of kernels.year, no part of the equations
    gain = 0.6 * part["global_horizontal"] + 0.9 * STEFAN_BOLTZMANN * part["temperature_outdoor"] ** 4
    hours = np.column_stack([part["temperature_outdoor"], part["vapour_pressure_outdoor"], gain]).astype(float)
    T0 = np.linspace(hours[0, 0], 293.0, n)
    u0 = np.array([potential.of_humidity(0.7, at) for at in T0])
    w, flux, zeros = col.work_arrays(grid), np.zeros(boundaries.FLUX_COUNT), np.zeros(n)
    extra = (np.asarray(grid.thickness) == 0.0).astype(float)
    moments = 3600.0 * np.arange(1, count + 1)

    def ours(steps: int, tolerance: float) -> tuple[Any, int]:
        out = np.empty((count, n)), np.empty((count, n))
        updates = _ours(T0.copy(), u0.copy(), grid, hours, extra, w, flux, steps, tolerance, *out)
        if updates < 0:
            raise RuntimeError("our step did not converge")
        return out[1], updates

    calls = 0
    out = np.empty(2 * n)

    def rate(t: float, y: Any) -> Any:
        nonlocal calls
        calls += 1
        _rate(t, y[::2].copy(), y[1::2].copy(), grid, hours, extra, zeros, w, flux, out)
        return out.copy()

    y0 = np.column_stack([T0, u0]).ravel()
    band = diags([np.ones(2 * n - abs(k)) for k in range(-3, 4)], range(-3, 4))

    def theirs(method: str, rtol: float) -> Any:
        nonlocal calls
        calls = 0
        options = {"jac_sparsity": band} if method == "BDF" else {"lband": 3, "uband": 3}
        got = solve_ivp(
            rate, (0.0, moments[-1]), y0, method=method, t_eval=moments, rtol=rtol,
            atol=np.tile([rtol * 10.0, rtol], n), max_step=3600.0, **options,
        )  # fmt: skip
        if not got.success:
            return None
        return np.exp(-np.exp(-got.y[1::2]) * 293.15 / got.y[::2]).T

    ours(1, 1e-2)  # compiles
    rate(0.0, y0)
    truth = theirs("BDF", 1e-8)
    found: dict[str, Any] = {"nodes": n, "days": days}
    bare = best(lambda: [rate(0.0, y0) for _ in range(1000)])[0] / 1000.0

    def error(got: Any) -> float:
        return float(abs(got - truth)[24:].max())

    tried: dict[tuple[str, float], tuple[float, float, int]] = {}
    for steps in (1, 2):
        seconds, (mine, updates) = best(lambda steps=steps: ours(steps, 1e-2), 5)
        here = f"step of {60 // steps} min"
        found |= {f"{here}: ours [s]": seconds, f"{here}: updates": updates, f"{here}: error [RH]": error(mine)}
        found[f"{here}: mean square error, root [RH]"] = float(np.sqrt(np.mean((mine - truth)[24:] ** 2)))
        for method in ("BDF", "LSODA"):
            for rtol in (1e-2, 1e-3, 1e-4, 1e-5, 1e-6, 1e-7):
                if (method, rtol) not in tried:
                    start = time.perf_counter()
                    got = theirs(method, rtol)
                    spent = time.perf_counter() - start
                    tried[method, rtol] = (spent, np.inf if got is None else error(got), calls)
                if tried[method, rtol][1] <= error(mine):
                    break
            spent, off, asked = tried[method, rtol]
            found |= {
                f"{here}: {method} rtol": rtol, f"{here}: {method} [s]": spent, f"{here}: {method} error [RH]": off,
                f"{here}: {method} residual calls": asked, f"{here}: {method} / ours": spent / seconds,
                f"{here}: {method} without its residual calls / ours": max(spent - asked * bare, 0.0) / seconds,
            }  # fmt: skip
    return found


# --------------------------------------------------------------------------- floor


@jit
def _ours_alone(times, system, copy, place):
    """Eliminate the same system again and again; the copy is part of it, as assembly writes the array too."""
    bad = 0
    for _ in range(times):
        for k in range(system.size):
            copy[k] = system[k]
        bad += block.solve(copy, place, 0)
    return bad


_INT, _FLOAT = ctypes.POINTER(ctypes.c_int), ctypes.POINTER(ctypes.c_double)
_dgbsv = ctypes.CFUNCTYPE(None, _INT, _INT, _INT, _INT, _FLOAT, _INT, _INT, _FLOAT, _INT, _INT)(
    get_cython_function_address("scipy.linalg.cython_lapack", "dgbsv")
)


@numba.njit
def _lapack_alone(times, band, rhs, band_copy, rhs_copy, sizes, pivots):
    """Solve the same banded system again and again by LAPACK, called from compiled code as ours is."""
    bad = 0
    for _ in range(times):
        band_copy[:] = band
        rhs_copy[:] = rhs
        _dgbsv(
            sizes[0:].ctypes, sizes[1:].ctypes, sizes[1:].ctypes, sizes[2:].ctypes, band_copy.ctypes, sizes[3:].ctypes,
            pivots.ctypes, rhs_copy.ctypes, sizes[0:].ctypes, sizes[4:].ctypes,
        )  # fmt: skip
        bad += sizes[4]
    return bad


def floor(weather: Any) -> dict[str, float]:
    """Compare a wall-year with nothing but the eliminations it needs, by our routine and by LAPACK's for bands.

    In turns, least time of each: a neighbour on the same core slows the wall-year, which fills the caches, more than
    the eliminations, which do not.
    """
    sys.path.insert(0, str(ROOT / "tests"))
    from test_cavity_air import in_lanes

    from cavity.wall.grid import build_line

    wall = the_wall(3)
    ds = cavity.simulate(wall, weather)
    n = build_line(wall.case()).nodes
    solves = int(ds.attrs["solver_updates"])
    rng = np.random.default_rng(1)
    system = rng.uniform(-1.0, 0.0, (n, block.COLUMNS))
    system[:, 4:8] = rng.uniform(0.0, 1.0, (n, 4)) + np.array([8.0, 0.0, 0.0, 8.0])

    cell, place = in_lanes(system)
    copy = cell.copy()

    # LAPACK's band storage, column by column: element (i, j) of the matrix in row 6 + i - j; 3 rows are for pivoting
    band = np.zeros((2 * n, 10))
    for i in range(2 * n):
        for k in range(6):
            j = 2 * (i // 2) - 2 + k
            if 0 <= j < 2 * n:
                band[j, 6 + i - j] = system[i // 2, 4 * (k // 2) + 2 * (i % 2) + k % 2]
    rhs = system[:, 12:].ravel().copy()
    sizes, pivots = np.array([2 * n, 3, 1, 10, 0], dtype=np.int32), np.zeros(2 * n, dtype=np.int32)
    rhs_copy = rhs.copy()

    _ours_alone(1, cell, copy, place)
    _lapack_alone(1, band, rhs, band.copy(), rhs_copy, sizes, pivots)
    found = np.column_stack([copy[place + block.RIGHT + k * LANES] for k in (0, 1)]).ravel()
    np.testing.assert_allclose(found, rhs_copy, rtol=1e-9)
    three = (
        lambda: cavity.simulate(wall, weather),
        lambda: _ours_alone(solves, cell, copy, place),
        lambda: _lapack_alone(solves, band, rhs, band.copy(), rhs_copy, sizes, pivots),
    )
    turns = [[best(work, 1)[0] for work in three] for _ in range(12)]
    seconds, ours, lapack = np.min(turns, axis=0).tolist()
    return {
        "nodes a line": n, "eliminations": solves, "whole wall-year [s]": seconds,
        "eliminations alone, ours [s]": ours, "whole / eliminations, ours": seconds / ours,
        "eliminations alone, LAPACK [s]": lapack, "whole / eliminations, LAPACK": seconds / lapack,
    }  # fmt: skip


# --------------------------------------------------------------------------- growth


def growth(weather: Any) -> dict[str, float]:
    """Time against cells and hours; exponent 1 is linear."""
    from cavity.wall.grid import build_line

    wall = the_wall(3)
    out: dict[str, float] = {}
    some = weather.isel(time=slice(0, 2160))

    def exponent(sizes: list[float], seconds: list[float]) -> float:
        return float(np.polyfit(np.log(sizes), np.log(seconds), 1)[0])

    nodes, spent = [], []
    for refine in (1.0, 2.0, 4.0):
        nodes.append(float(build_line(wall.case(), refine=refine).nodes))
        spent.append(best(lambda refine=refine: cavity.simulate(wall, some, refine_cells=refine), 2)[0])
        out[f"90 days, {nodes[-1]:g} nodes a line [s]"] = spent[-1]
    out["exponent in cells"] = exponent(nodes, spent)
    hours, spent = [2160.0, 4380.0, 8760.0], []
    for count in hours:
        spent.append(best(lambda count=count: cavity.simulate(wall, weather.isel(time=slice(0, int(count)))), 2)[0])
        out[f"{count:g} hours [s]"] = spent[-1]
    out["exponent in hours"] = exponent(hours, spent)
    return out


def cases(weather: Any) -> dict[str, float]:
    """Time many wall-years through the engine: growth with their number, threads, and the cost of finding them kept."""
    from cavity.study.cases import Job, Store
    from cavity.study.engine import Engine, cores

    wall = the_wall(3)
    out: dict[str, float] = {"cores": cores()}

    def run(count: int, threads: int, keep: str, folder: str, fresh: bool = True) -> float:
        jobs = [Job(wall.case(depth=0.02 + 1e-4 * k), weather) for k in range(count)]
        start = time.perf_counter()
        with Engine(threads, fresh=fresh, store=Store(folder)) as engine:
            engine.run(jobs, keep=keep)
        return time.perf_counter() - start

    with tempfile.TemporaryDirectory() as folder:
        for count in (2, 4, 8):
            out[f"{count} wall-years, all cores, findings only [s]"] = run(count, cores(), "findings", folder)
        out["8 wall-years, one thread, findings only [s]"] = run(8, 1, "findings", folder)
        out["8 wall-years, all cores, Datasets kept [s]"] = run(8, cores(), "all", folder)
        out["8 wall-years found kept [s]"] = run(8, cores(), "all", folder, fresh=False)
    eight = out["8 wall-years, all cores, findings only [s]"]
    out["one thread / all cores"] = out["8 wall-years, one thread, findings only [s]"] / eight
    out["1000 wall-years, by extension [min]"] = eight / 8 * 1000 / 60
    return out


# --------------------------------------------------------------------------- memory, report, start

_MEMORY = """
import sys
sys.path.insert(0, {here!r})
from run import the_wall, CLIMATE, peak
import cavity
from dataclasses import replace
wall = the_wall(3)
wall = replace(wall, opening_sets=wall.opening_sets[:1], depths=tuple(0.02 + 1e-4 * k for k in range({count})))
cavity.compare(wall, cavity.read_weather(CLIMATE), fresh=True, confidence=False)
print(peak())
"""


def peak() -> float:
    """Return the most memory this process has held [MB]."""
    status = Path("/proc/self/status")
    if status.exists():  # Linux: the figure below would count what the parent held when it started this process
        return float(re.search(r"VmHWM:\s+(\d+) kB", status.read_text())[1]) * 1.024e-3
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1e-6 * (1 if platform.system() == "Darwin" else 1024)


def _fresh_python(code: str, **environment: str) -> tuple[float, str]:
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        done = subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT,
            env=os.environ | {"CAVITY_CASES": folder} | environment,
        )  # fmt: skip
        return time.perf_counter() - start, done.stdout


def memory(_weather: Any) -> dict[str, float]:
    """Peak memory of comparisons of few and many cases, each in a process of its own."""
    out = {}
    for count in (1, 40, 80):
        text = _fresh_python(_MEMORY.format(here=str(Path(__file__).parent), count=count))[1]
        out[f"peak, {count} wall-years [MB]"] = float(text.split()[-1])
    out["peak of this benchmark [MB]"] = peak()
    return out


def report(weather: Any) -> dict[str, float]:
    """Size of a report of 25 cases."""
    wall = the_wall(3)
    wall = replace(wall, opening_sets=wall.opening_sets[:5], depths=(0.02, 0.025, 0.03, 0.04, 0.05))
    with tempfile.TemporaryDirectory() as folder:
        comparison = cavity.compare(wall, weather, confidence=False)
        start = time.perf_counter()
        path = cavity.write_report(comparison, Path(folder) / "report.html")
        return {
            "cases": len(comparison.cases), "report [MB]": Path(path).stat().st_size / 1e6,
            "writing it [s]": time.perf_counter() - start,
        }  # fmt: skip


_LIBRARIES = "import numpy, pandas, xarray, numba"  # what every first result needs
_FIRST = """
import os, sys
import cavity
wall, weather = cavity.read_wall({wall!r}), cavity.read_weather({climate!r})
result = cavity.simulate(wall, weather.isel(time=slice(0, 48)))
print(float(result["air_change_rate"].mean()), flush=True)
os._exit(0)
"""
_COMMAND = "import sys; sys.argv = {words!r}; from cavity.cli import main; main()"


def _effort(code: str, **environment: str) -> float:
    """Return the time that the processor spends on a fresh interpreter [s]; waiting for others is not part of it."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    _fresh_python(code, **environment)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime


def start(_weather: Any) -> dict[str, float]:
    """Processor time of starts, in turns with the libraries alone; compiled kernels are those of earlier parts.

    The first result is 48 hours of the starter wall, wall and weather read from their files.
    """
    out = {}
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "wall.toml"
        path.write_text(starter(), "utf-8")
        kept = {"CAVITY_CASES": str(Path(folder) / "kept")}
        first = _FIRST.format(wall=str(path), climate=str(CLIMATE))
        words = ["cavity", "compare", str(path), "--climate", str(CLIMATE), "--out", str(Path(folder) / "report.html")]
        codes = {
            "bare interpreter": ("pass", {}),
            "libraries alone": (_LIBRARIES, {}),
            "import cavity": ("import cavity", {}),
            "cavity --help": (_COMMAND.format(words=["cavity", "--help"]), {}),
            "first result": (first, kept),
            "first result in a new climate": (first, {}),
            "cavity compare, all cases kept": (_COMMAND.format(words=words), kept),
        }
        for code, environment in codes.values():
            _fresh_python(code, **environment)  # fills what is kept
        turns = [[_effort(code, **environment) for code, environment in codes.values()] for _ in range(5)]
        least = dict(zip(codes, np.min(turns, axis=0).tolist(), strict=True))
        for name, seconds in least.items():
            out[f"{name} [s]"] = seconds
            out[f"{name} / libraries alone"] = seconds / least["libraries alone"]
        out["first start ever, which compiles, to the first result [s]"] = _effort(first, XDG_CACHE_HOME=folder)
    return out


def live(weather: Any, changes: int = 30) -> dict[str, float]:
    """Time what the live page waits for, from request to answer, for changes of the depth of the starter wall."""
    from starlette.testclient import TestClient

    from cavity.live import desk, server, studies
    from cavity.study.engine import Engine

    host, times = "127.0.0.1:8123", {"drawings and numbers at once": [], "hourly year": [], "hourly year again": []}
    sizes = []
    with tempfile.TemporaryDirectory() as folder:
        os.environ["CAVITY_CASES"] = folder
        with Engine() as engine:
            work = desk.Desk(engine, {})
            work.add("inland", weather)
            app = server.application(
                work, studies.Studies(), token="t", secret="s", port=8123, first={"text": "", "climate": ""}
            )
            with TestClient(app, base_url=f"http://{host}", headers={"origin": f"http://{host}"}) as client:
                client.cookies.set(server.cookie_name(8123), "s")
                text, number = starter(), 0

                def ask(path: str, kind: str, **body: Any) -> Any:
                    begun = time.perf_counter()
                    answered = client.post(path, json=body)
                    if number > 2:  # the first ones warm up
                        times[kind].append(time.perf_counter() - begun)
                    return answered

                for number in range(changes + 3):
                    change = {"do": "set", "place": ["cavity", "depth"], "typed": f"{20 + number} mm"}
                    text = ask("/wall", "drawings and numbers at once", text=text, change=change).json()["text"]
                    for kind in ("hourly year", "hourly year again"):
                        answered = ask("/year", kind, tab="t", number=number, text=text, climate="inland")
                    sizes.append(len(answered.content))
        del os.environ["CAVITY_CASES"]
    out = {}
    for kind, found in times.items():
        for name, share in (("least", 0.0), ("median", 0.5), ("95 %", 0.95), ("largest", 1.0)):
            out[f"{kind}, {name} [s]"] = float(np.quantile(found, share))
    out["answer with the year [kB]"] = float(np.median(sizes)) / 1e3
    return out


@click.command()
@click.argument("parts", nargs=-1, type=click.Choice(PARTS))
@click.option(
    "--out", default="benchmarks.json", show_default=True, type=click.Path(), help="JSON file; parts not run stay."
)
def main(parts: tuple[str, ...], out: str) -> None:
    """Run PARTS of the benchmark, or all."""
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    weather = cavity.read_weather(CLIMATE)
    cavity.simulate(the_wall(), weather.isel(time=slice(0, 24)))  # compiles
    path = Path(out)
    record = json.loads(path.read_text("utf-8")) if path.exists() else {}
    record["computer"] = f"{platform.machine()}, Python {platform.python_version()}, load {os.getloadavg()[0]:.1f}"
    console = Console(highlight=False)
    for name in parts or PARTS:
        found = globals()[name](weather)
        record[name] = found
        table = Table("what", "value", title=name)
        for what, value in found.items():
            table.add_row(escape(what), f"{value:.4g}" if isinstance(value, float) else str(value))
        console.print(table)
        path.write_text(json.dumps(record, indent=1, default=float), "utf-8")
    click.echo(f"{record['computer']}; written to {path}")


if __name__ == "__main__":
    main()
