"""Mutants: plausible bugs, put into a copy of the package one at a time; the tests named beside each must then fail.

``python tests/benchmarks/mutants.py`` runs all of them, ``... mutants.py climate risk`` those of an area; a word that
is no area is looked for in their words, files and texts. ``--list`` prints them, ``--check`` only looks whether every
old text is still found once. It prints the survivors and ends with 1 where there are any, and with 2 where an old text
is not found or the tests fail without a mutant. Everything happens in a copy in a temporary folder, with a cache of
compiled code of its own, so that a run that is killed leaves no mutant behind. A mutant of a kernel compiles again, or
runs uncompiled where its tests are small. Whoever moves a line that is listed here moves it here too:
`tests/test_mutants.py` holds the texts to the sources.
"""

from __future__ import annotations

import argparse
import importlib
import os
import shlex
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
TIMEOUT = 1200.0  # s, for the tests of one mutant; one that hangs counts as noticed
KEYS = "tests/test_keys.py"
LIBRARIES = (
    "numba", "pandas", "xarray", "scipy.stats", "scipy.interpolate", "scipy.optimize", "pvlib", "pint", "pydantic",
    "tomlkit", "hypothesis", "pytest",
)  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """A bug: text of a file of the package, what stands there instead, and the tests that must notice.

    `tests` are arguments of pytest, in the order in which they are likely to fail; `compiled` False: run without the
    compiler, which suits kernels and small tests.
    """

    area: str
    what: str
    file: str
    old: str
    new: str
    tests: tuple[str, ...]
    compiled: bool = True

    def chosen_by(self, words: list[str]) -> bool:
        """Whether it is of an area among the words, or holds one of the others; no word chooses all."""
        areas = {each.area for each in MUTANTS}
        text = f"{self.what} {self.file} {self.old}"
        return not words or any(word == self.area if word in areas else word in text for word in words)


def _keys(*paths: str) -> str:
    """Return arguments that choose rows of the table of keys by their path."""
    return f"{KEYS} -k '{' or '.join(paths)}'"


def found(mutant: Mutant, package: Path = ROOT / "cavity") -> int:
    """Return how often the old text stands in the file; -1 where there is no file."""
    path = package / mutant.file
    return path.read_text(encoding="utf-8").count(mutant.old) if path.is_file() else -1


class Bench:
    """The copy in which mutants are tried."""

    def __init__(self, folder: Path, *, trust: bool = False) -> None:
        self.folder, self.trust = folder, trust
        keep = shutil.ignore_patterns("__pycache__", "*.pyc", ".venv", ".git", "reports", "*.nc")
        shutil.copytree(ROOT, folder / "copy", ignore=keep)
        self.package = folder / "copy" / "cavity"
        self._plain: dict[tuple[tuple[str, ...], bool], bool] = {}

    def tests(self, arguments: tuple[str, ...], compiled: bool) -> tuple[str, str]:
        """Run tests one after the other until one fails; return "passed", "failed", "hung" or "broken", and the end."""
        env = {
            "PYTHONPATH": str(self.folder / "copy"),
            "XDG_CACHE_HOME": str(self.folder / "cache"),
            "PYTHONDONTWRITEBYTECODE": "1",
        }
        if not compiled:
            env["NUMBA_DISABLE_JIT"] = "1"
        for argument in arguments:
            options = ["-x", "-q", "-p", "no:cacheprovider", *shlex.split(argument)]
            log = self.folder / "log"
            start = self._forked if compiled and hasattr(os, "fork") else self._started
            code = start(options, env, log)
            said = log.read_text(encoding="utf-8", errors="replace")
            if code is None:
                return "hung", argument
            lines = [line for line in said.splitlines() if line.startswith(("FAILED", "ERROR"))]
            if code == 1:
                return "failed", lines[-1] if lines else argument
            if code:
                return "broken", said[-600:]
        return "passed", ""

    def _started(self, options: list[str], env: dict[str, str], log: Path) -> int | None:
        """Run pytest in a process of its own; return its exit code, None where it hangs."""
        plain = {name: value for name, value in os.environ.items() if name != "CAVITY_NEW_DRAWS"}
        with log.open("wb") as out:
            try:
                done = subprocess.run(
                    [sys.executable, "-m", "pytest", *options], env=plain | env, cwd=self.folder / "copy",
                    stdout=out, stderr=out, check=False, timeout=TIMEOUT,
                )  # fmt: skip
            except subprocess.TimeoutExpired:
                return None
        return done.returncode

    def _forked(self, options: list[str], env: dict[str, str], log: Path) -> int | None:
        """The same in a fork of this process, which has loaded the libraries, not the package: half the time."""
        for name in LIBRARIES:
            importlib.import_module(name)
        child = os.fork()
        if not child:
            code = 3
            try:
                with log.open("wb") as out:
                    os.dup2(out.fileno(), 1)
                    os.dup2(out.fileno(), 2)
                os.environ.update(env)
                os.environ.pop("CAVITY_NEW_DRAWS", None)
                os.chdir(self.folder / "copy")
                sys.path.insert(0, str(self.folder / "copy"))
                sys.dont_write_bytecode = True
                code = int(importlib.import_module("pytest").main(options))
                sys.stdout.flush()
            finally:
                os._exit(code)
        until = time.monotonic() + TIMEOUT
        while time.monotonic() < until:
            done, status = os.waitpid(child, os.WNOHANG)
            if done:
                return os.waitstatus_to_exitcode(status)
            time.sleep(0.1)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        return None

    def passes_without(self, mutant: Mutant) -> bool:
        """Whether the tests of a mutant pass in the copy as it is; run once for each set of tests, unless trusted."""
        if self.trust:
            return True
        key = (mutant.tests, mutant.compiled)
        if key not in self._plain:
            self._plain[key] = self.tests(*key)[0] == "passed"
        return self._plain[key]

    def run(self, mutant: Mutant) -> tuple[str, str]:
        """Put the mutant in, run its tests, take it out again; the file keeps its time, so caches stay valid."""
        path = self.package / mutant.file
        before, times = path.read_bytes(), path.stat()
        try:
            path.write_bytes(before.replace(mutant.old.encode(), mutant.new.encode()))
            return self.tests(mutant.tests, mutant.compiled)
        finally:
            path.write_bytes(before)
            os.utime(path, ns=(times.st_atime_ns, times.st_mtime_ns))


CLIMATE = ("tests/test_climate_wall.py", "tests/test_climate_year.py")
SIMULATE, ASSEMBLY = "tests/test_simulate.py", "tests/test_assembly.py"

# fmt: off
MUTANTS: tuple[Mutant, ...] = (
    # ---- joints: what the wall file and the case hand to the kernels
    Mutant("joint", "depth does not reach the air flow", "airflow/column.py",
           "    area = depth * (1.0 - wall.cavity.blocked)",
           "    area = wall.cavity.depth * (1.0 - wall.cavity.blocked)",
           (ASSEMBLY, f"{KEYS} -k option_of_simulate")),
    Mutant("joint", "depth does not reach the channel", "airflow/column.py",
           "channel_row(\n            depth,", "channel_row(\n            wall.cavity.depth,",
           (ASSEMBLY, f"{KEYS} -k option_of_simulate")),
    Mutant("joint", "depth does not reach the convection", "hourly/assembly.py",
           "depth=case.depth,", "depth=wall.cavity.depth,", (ASSEMBLY, f"{KEYS} -k option_of_simulate")),
    Mutant("joint", "exchange emissivity without its -1", "wallfile/model.py",
           "1.0 / emissivity_2 - 1.0)", "1.0 / emissivity_2)", (ASSEMBLY, SIMULATE)),
    Mutant("joint", "film surfaces of cladding and wall swapped", "hourly/assembly.py",
           "[0, back, back + 1, line.nodes - 1]", "[0, back + 1, back, line.nodes - 1]",
           (ASSEMBLY, _keys("backup.0.sd"), SIMULATE)),
    Mutant("joint", "station wind instead of site wind", "hourly/boundary.py",
           'column("wind_speed_site")', 'column("wind_speed")', (ASSEMBLY, _keys("site.terrain"),)),
    Mutant("joint", "building height missing from the wind on site", "climate/on_wall.py",
           "height=site.building_height, terrain", "height=STATION_HEIGHT, terrain",
           (ASSEMBLY, _keys("site.building_height"),)),
    Mutant("joint", "rain share counted twice", "hourly/boundary.py",
           "rain=rain - rain_in", "rain=rain - 2.0 * rain_in", (ASSEMBLY, _keys("wetting.rain_penetration"), SIMULATE)),
    Mutant("joint", "rain behind the cladding is not taken off", "hourly/boundary.py",
           "rain=rain - rain_in", "rain=rain", (ASSEMBLY, _keys("wetting.rain_penetration"),)),
    Mutant("joint", "leak at the first layer whatever leak_layer says", "hourly/boundary.py",
           "wall.wetting.leak_layer or 0)", "0)", (ASSEMBLY, _keys("wetting.leak_layer"),)),
    Mutant("joint", "one year never repeated", "hourly/run.py",
           "1 if short else wall.run.max_years", "1", (ASSEMBLY, _keys("run.max_years"),)),
    Mutant("joint", "film limit ignored", "wall/grid.py",
           "max(ENCLOSED, film_limit), film_limit)", "max(ENCLOSED, film_limit), 0.1)",
           (ASSEMBLY, _keys("cavity.film_limit"),)),
    Mutant("joint", "freezing never on", "wall/grid.py",
           "freezing=int(freezing)", "freezing=0", (ASSEMBLY, _keys("run.freezing"), "tests/test_water_and_ice.py")),
    Mutant("joint", "redistribution never used", "wall/grid.py",
           "_tables_of(layer.material, not exposed)", "_tables_of(layer.material, False)",
           (ASSEMBLY,)),
    Mutant("joint", "start month ignored", "hourly/assembly.py",
           "wall.run.start_month)[:hours]", "1)[:hours]", (ASSEMBLY, _keys("run.start_month"), SIMULATE)),
    Mutant("joint", "room vapour resistance of another slope", "hourly/boundary.py",
           "ROOM_VAPOUR_LAYER[direction]", 'ROOM_VAPOUR_LAYER["horizontal"]', (ASSEMBLY, f"{SIMULATE} -k slope",)),
    Mutant("joint", "room surface resistance of another slope", "hourly/boundary.py",
           "1.0 / INNER_SURFACE[direction]", '1.0 / INNER_SURFACE["horizontal"]', (ASSEMBLY, f"{SIMULATE} -k slope",)),
    Mutant("joint", "the sky of an upright wall on every slope", "hourly/boundary.py",
           "sky = sky_fraction(wall.tilt)", "sky = sky_fraction(90.0)", (ASSEMBLY, _keys("wall.tilt"),)),
    Mutant("joint", "sky and ground exchanged", "hourly/boundary.py",
           "(1.0 - sky) * T_out**4", "sky * T_out**4",
           (ASSEMBLY, _keys("finish.emissivity", "building_height"), SIMULATE)),
    Mutant("joint", "absorptance on the rest of the sun", "hourly/boundary.py",
           "wall.solar_absorptance * column", "(1.0 - wall.solar_absorptance) * column",
           (ASSEMBLY, _keys("solar_absorptance"),)),
    Mutant("joint", "gusts counted by the exchange through one vent", "hourly/assembly.py",
           "float(wall.cavity.gust_exchange)", "float(wall.cavity.single_vent_exchange)",
           (ASSEMBLY, _keys("cavity.gust_exchange"), "tests/test_air_stream.py")),
    Mutant("joint", "leak by the whole stack, not half", "hourly/boundary.py",
           "GRAVITY * 0.5 * height", "GRAVITY * height", (ASSEMBLY, f"{SIMULATE} -k leak",)),
    Mutant("joint", "leaks also where warm air outside is lighter", "hourly/boundary.py",
           "np.maximum(stack, 0.0)", "np.abs(stack)", (ASSEMBLY, f"{SIMULATE} -k leak",)),
    Mutant("joint", "only the first floor of the start is wetted", "hourly/assembly.py",
           "line.layer_of_node == index)", "line.layer_of_node == 0)", (ASSEMBLY, _keys("construction_water"),)),
    # ---- climate
    Mutant("climate", "sun of the start of the hour", "climate/on_wall.py",
           'np.timedelta64(30, "m")', 'np.timedelta64(0, "m")', CLIMATE),
    Mutant("climate", "longitude with the wrong sign in the solar hour", "climate/on_wall.py",
           "universal + longitude / 15.0", "universal - longitude / 15.0", (*CLIMATE, "tests/test_climate_read.py",
           "tests/test_climate_corruption.py")),
    Mutant("climate", "offset of the clock with the wrong sign", "climate/on_wall.py",
           "- np.timedelta64(round(utc_offset", "+ np.timedelta64(round(utc_offset", CLIMATE),
    Mutant("climate", "albedo forgotten", "climate/on_wall.py",
           "albedo=albedo,\n", "albedo=0.2,\n", (_keys("ground_albedo"),)),
    Mutant("climate", "wind angle turned the wrong way", "climate/on_wall.py",
           "dtype=float) - orientation)) % 360.0", "dtype=float) + orientation)) % 360.0", CLIMATE),
    Mutant("climate", "wind rises with the square root of the height", "climate/on_wall.py",
           "/ layer) ** exponent", "/ layer) ** 0.5", CLIMATE),
    Mutant("climate", "sky temperature by the third root", "climate/on_wall.py",
           "/ STEFAN_BOLTZMANN) ** 0.25", "/ STEFAN_BOLTZMANN) ** (1.0 / 3.0)",
           (*CLIMATE, "tests/test_climate_read.py")),
    Mutant("climate", "sky view without its square root", "climate/on_wall.py",
           "** 1.5)", "** 1.0)", (f"{SIMULATE} -k sky",)),
    Mutant("climate", "rain from behind wets the wall", "climate/rain.py",
           "facing = np.maximum(np.cos(np.radians(angle)), 0.0)\n    return",
           "facing = np.abs(np.cos(np.radians(angle)))\n    return", CLIMATE),
    Mutant("climate", "rain to the power of one", "climate/rain.py", "amount ** (8.0 / 9.0)", "amount", CLIMATE),
    Mutant("climate", "obstruction forgotten", "climate/rain.py",
           "site.rain_topography * site.rain_obstruction *", "site.rain_topography *", (_keys("rain_obstruction"),)),
    Mutant("climate", "roughness by another terrain", "climate/rain.py",
           "ROUGHNESS[CATEGORY[terrain]]", 'ROUGHNESS[CATEGORY["open"]]', CLIMATE),
    Mutant("climate", "ASHRAE exposure of a higher building", "climate/rain.py",
           "if height < row[0] or", "if height < 0.5 * row[0] or", CLIMATE),
    Mutant("climate", "snow wets the wall", "climate/on_wall.py",
           "driving_rain(liquid_rain(weather),", 'driving_rain(weather["rain"].to_numpy(),', CLIMATE),
    Mutant("climate", "wet bulb without the psychrometer", "climate/humid.py",
           "6.53e-4 * (1.0", "6.53e-5 * (1.0", CLIMATE),
    Mutant("climate", "hours of the file one late", "climate/epw.py",
           "end - 60 // per_hour", "end", ("tests/test_climate_read.py",)),
    Mutant("climate", "moisture index that likes drying", "climate/year.py",
           "1.0 - scaled(drying)", "scaled(drying)", CLIMATE),
    Mutant("climate", "critical year is the mildest", "climate/year.py",
           "by_severity = sorted(ranking, key=lambda year: ranking[year][2], reverse=True)",
           "by_severity = sorted(ranking, key=lambda year: ranking[year][2])", CLIMATE),
    Mutant("climate", "rain of twelve totals made too small", "climate/estimate.py",
           "amount = months * years  # mm", "amount = months  # mm", ("tests/test_climate_estimate.py",)),
    Mutant("climate", "dry weather is likelier to rain", "climate/estimate.py",
           "chance = HUMIDITY * weather", "chance = -HUMIDITY * weather", ("tests/test_climate_estimate.py",)),
    Mutant("climate", "wetting and drying of a year exchanged", "climate/year.py",
           "scaled_index(wetting, drying)", "scaled_index(drying, wetting)", CLIMATE),
    # ---- wall file
    Mutant("wallfile", "US perm of another air", "wallfile/layers.py",
           "sd = AIR_PERMEABILITY / entry.permeance", "sd = AIR_PERMEABILITY * entry.permeance",
           (_keys("backup.0.permeance"),)),
    Mutant("wallfile", "free area taken before the mesh", "wallfile/vents.py",
           "area = entry.free_area / (entry.porosity or 1.0)", "area = entry.free_area", ("tests/test_wallfile.py",)),
    Mutant("wallfile", "holes counted once", "wallfile/vents.py",
           "return holes.per_metre * holes.width * holes.height", "return holes.width * holes.height",
           (_keys("holes"),)),
    Mutant("wallfile", "exposure of a vent dropped", "wallfile/vents.py",
           "exposure=entry.exposure,", 'exposure="face",', (_keys("exposure", "cp_table"),)),
    Mutant("wallfile", "bends dropped", "wallfile/vents.py", "bends=entry.bends,", "bends=0,", (_keys("bends"),)),
    Mutant("wallfile", "rails of a set dropped", "wallfile/vents.py",
           "None if entry.rail is None else read_rails", "None if not entry.rail else read_rails",
           ("tests/test_wallfile.py", "tests/test_airflow.py", KEYS)),
    Mutant("wallfile", "edges of a rail always sharp", "wallfile/vents.py",
           'entry.edges == "rounded"', 'entry.edges == "round"', (_keys("rail.0.edges"),)),
    Mutant("wallfile", "spaced rails begin at the bottom", "wallfile/vents.py",
           "round(low + entry.spacing * number, 6) for number in range(1, count + 1))\n            heights",
           "round(low + entry.spacing * number, 6) for number in range(count))\n            heights",
           ("tests/test_wallfile.py",)),
    Mutant("wallfile", "dirt opens vents", "wallfile/build.py",
           "porosity=vent.porosity * (1.0 - entry.clogged[vent.kind]))",
           "porosity=vent.porosity * entry.clogged[vent.kind])",
           (_keys("clogged"),)),
    Mutant("wallfile", "share of studs by the gap between them", "wallfile/layers.py",
           "Frame(entry.width / entry.spacing,", "Frame(entry.width / (entry.spacing + entry.width),",
           ("tests/test_wallfile.py", "tests/test_uvalue.py")),
    Mutant("wallfile", "metal counted over its own width", "wallfile/layers.py",
           "entry.thickness / (entry.spacing * thickness)", "entry.thickness / (entry.thickness * thickness)",
           (_keys("bridge"),)),
    Mutant("wallfile", "brackets per bracket", "wallfile/layers.py",
           "entry.brackets.chi * entry.brackets.per_m2", "entry.brackets.chi", (_keys("brackets.per_m2"),)),
    Mutant("wallfile", "leak by volume taken as mass", "wallfile/build.py",
           "entry.leak_flow * AIR_DENSITY / HOUR", "entry.leak_flow / HOUR", ("tests/test_wallfile.py",)),
    Mutant("wallfile", "leak meets the outside of the sheathing", "wallfile/build.py",
           "return index + 1, (", "return index, (", ("tests/test_rules.py",)),
    Mutant("wallfile", "uncertain resistance divides", "wallfile/inputs.py",
           "layer.sd * factor", "layer.sd / factor",
           ("tests/test_wallfile.py",)),
    Mutant("wallfile", "uncertain gap wider than its bay", "wallfile/inputs.py",
           "min(rail.gap * factor, rail.bay / rail.gaps)", "rail.gap * factor", ("tests/test_wallfile.py",)),
    Mutant("wallfile", "windows fill the length once", "wallfile/elevation.py",
           "sum(right - left for left, right in strip.spans)", "max(right - left for left, right in strip.spans)",
           ("tests/test_elevation.py",)),
    # ---- air path
    Mutant("airflow", "wind pressure with the sign turned", "airflow/pressure.py",
           "return np.asarray(coefficient) * np.atleast_1d", "return -np.asarray(coefficient) * np.atleast_1d",
           ("tests/test_pressure.py", _keys("cp_shift"))),
    Mutant("airflow", "dynamic pressure without its half", "airflow/pressure.py",
           "head = 0.5 * np.asarray(density", "head = np.asarray(density",
           ("tests/test_pressure.py", "tests/test_steady_air.py")),
    Mutant("airflow", "difference turned about", "airflow/pressure.py",
           "site.cp_difference * (0.5 - fraction)", "site.cp_difference * (fraction - 0.5)",
           ("tests/test_pressure.py",)),
    Mutant("airflow", "base height forgotten in the profile", "airflow/pressure.py",
           "(site.base_height + height) / site.building_height", "height / site.building_height",
           ("tests/test_pressure.py", _keys("base_height"))),
    Mutant("airflow", "sides of the building exchanged", "airflow/pressure.py",
           "site.wall_width / site.side_width", "site.side_width / site.wall_width", (_keys("side_width"),)),
    Mutant("airflow", "gusts of the two ends always together", "airflow/pressure.py",
           "correlation = np.exp(-abs(ends[1] - ends[0]))", "correlation = 1.0", ("tests/test_pressure.py",)),
    Mutant("airflow", "loss of an orifice by Cd once", "airflow/losses.py",
           "return 1.0 / discharge**2", "return 1.0 / discharge", ("tests/test_losses.py",)),
    Mutant("airflow", "mesh without its factor", "airflow/losses.py",
           "factor * (1.0 / porosity**2 - 1.0)", "(1.0 / porosity**2 - 1.0)", (f"{KEYS} -k uncertain_factor",)),
    Mutant("airflow", "gap of a rail by the bay once", "airflow/losses.py",
           "* depth / rail.bay", "* depth", ("tests/test_losses.py", _keys("rail"))),
    Mutant("airflow", "blocked channel twice as deep", "airflow/losses.py",
           "row[kernel.DIAMETER] = 2.0 * depth", "row[kernel.DIAMETER] = depth", ("tests/test_losses.py",)),
    Mutant("airflow", "barrier lets all through", "airflow/losses.py",
           "min(barrier.free_area, channel_area)", "channel_area", ("tests/test_airflow.py", "tests/test_losses.py")),
    Mutant("airflow", "louvre closes the wrong way", "airflow/losses.py",
           "logs[-1] + fall * (angle", "logs[-1] - fall * (angle", ("tests/test_losses.py", _keys("blade_angle"))),
    Mutant("airflow", "tilt forgotten in the stack", "airflow/column.py",
           "math.sin(math.radians(wall.tilt))", "1.0", (_keys("wall.tilt"), "tests/test_airflow.py")),
    Mutant("airflow", "volume without what is blocked", "airflow/column.py",
           "return self.area * np.array([self.height", "return self.depth * np.array([self.height",
           ("tests/test_airflow.py", "tests/test_steady_air.py", SIMULATE, KEYS)),
    Mutant("airflow", "segment of the wrong compartment", "airflow/column.py",
           "self.compartment_edges[1:-1], 0.5 * (self.segment_bottom + self.segment_top)",
           "self.compartment_edges[1:-1], self.segment_bottom - 1e-3", ("tests/test_airflow.py",)),
    # ---- wall
    Mutant("wall", "vapour of cups exchanged", "wall/storage.py",
           "(1.0 / dry, 1.0 / wet)", "(1.0 / wet, 1.0 / dry)", ("tests/test_storage.py",)),
    Mutant("wall", "estimate of D_w without its square", "wall/storage.py",
           "(material.absorption / full) ** 2", "(material.absorption / full)", ("tests/test_storage.py",)),
    Mutant("wall", "redistribution as fast as suction", "wall/storage.py",
           "1.0 if not redistribution else _REDISTRIBUTION", "1.0", ("tests/test_storage.py",)),
    Mutant("wall", "moisture does not conduct", "wall/grid.py",
           "moisture_conductivity=extra[left]", "moisture_conductivity=0.0 * extra[left]",
           (_keys("moisture_conductivity"),)),
    Mutant("wall", "membrane without its resistance", "wall/grid.py",
           "float(layer.sd or 0.0)", "0.0", (_keys("backup.0.sd"),)),
    Mutant("wall", "room humidity of high load", "wall/indoor.py",
           "base, base + 0.3", "base, base + 0.4", ("tests/test_indoor.py",)),
    Mutant("wall", "humidity classes one off", "wall/indoor.py",
           "_CLASS_EXCESS[humidity_class - 1]", "_CLASS_EXCESS[max(humidity_class - 2, 0)]", ("tests/test_indoor.py",)),
    Mutant("wall", "moisture of the home over its whole volume", "wall/indoor.py",
           "(air_changes * volume / HOUR)", "(volume / HOUR)",
           ("tests/test_indoor.py", _keys("indoor.air_changes"))),
    Mutant("wall", "months from the start of each", "wall/indoor.py",
           "np.arange(12) + 0.5, monthly", "np.arange(12), monthly", ("tests/test_indoor.py",)),
    Mutant("wall", "upper and lower limit exchanged for one", "wall/uvalue.py",
           "return CombinedResistance(upper, surfaces",
           "return CombinedResistance(surfaces + float(planes.sum()), surfaces",
           ("tests/test_uvalue.py",)),
    Mutant("wall", "strip of a rail with half the cover", "wall/uvalue.py",
           "min(flange + 2.0 * cover, spacing)", "min(flange + cover, spacing)", ("tests/test_uvalue.py",)),
    Mutant("wall", "slightly ventilated turned about", "wall/uvalue.py",
           "field = (1.0 - weight) * closed[0] + weight * ventilated[0]",
           "field = weight * closed[0] + (1.0 - weight) * ventilated[0]", ("tests/test_uvalue.py",)),
    Mutant("wall", "rails are no loss", "wall/uvalue.py",
           "framed.u_value + rails + brackets", "framed.u_value + brackets", ("tests/test_uvalue.py",)),
    Mutant("wall", "months of thirty days", "wall/monthly.py",
           "DAYS[month] * 24.0 * HOUR", "30.0 * 24.0 * HOUR", ("tests/test_monthly.py",)),
    Mutant("wall", "condensate dries twice as fast", "wall/monthly.py",
           "np.maximum(condensate + rate * span, 0.0)",
           "np.maximum(condensate + np.where(rate < 0.0, 2.0, 1.0) * rate * span, 0.0)",
           ("tests/test_monthly.py",)),
    Mutant("wall", "surfaces left out of the temperature", "wall/monthly.py",
           "total = thermal[-1] + inner_surface", "total = thermal[-1]", ("tests/test_monthly.py",)),
    # ---- result
    Mutant("result", "dew point of the room beside the cladding", "result.py",
           '"back of cladding": cavity,', '"back of cladding": room,', ("tests/test_assembly.py",)),
    Mutant("result", "balance error of the best segment", "result.py",
           "np.abs(record.water_residual).max(axis=0) / throughput[:, 0]).max()",
           "np.abs(record.water_residual).min(axis=0) / throughput[:, 0]).min()",
           ("tests/test_assembly.py",)),
    Mutant("result", "rail spot on the warm side", "result.py",
           "room - spot.drop * (room - face_T)", "room + spot.drop * (room - face_T)", (f"{SIMULATE} -k rail",)),
    Mutant("result", "mould class of the best neighbour", "result.py",
           "[min((x.material.mould_class", "[max((x.material.mould_class", (SIMULATE, "tests/test_risk.py", KEYS)),
    Mutant("result", "frozen share of another surface", "result.py",
           'add("frost_share", record.frost[:, :, surfaces])', 'add("frost_share", record.film[:, :, surfaces])',
           (SIMULATE, "tests/test_water_and_ice.py")),
    # ---- risk
    Mutant("risk", "mould_decline never passed on", "risk/mould.py",
           'decline=limits["mould_decline"],', "decline=0.1,", (f"{KEYS} -k threshold",)),
    Mutant("risk", "mould years never passed on", "risk/mould.py",
           "most=repeats(ds, limits),", "most=1,", (f"{KEYS} -k threshold",)),
    Mutant("risk", "mould at the limit already fails", "risk/mould.py",
           "elif value > limit:", "elif value > 0.9 * limit:", ("tests/test_risk.py", "tests/test_risk_mould.py")),
    Mutant("risk", "condensate warned of by the limit", "risk/condensate.py",
           'return "review" if value > warn else "pass"', 'return "review" if value > limit else "pass"',
           ("tests/test_risk.py",)),
    Mutant("risk", "interfaces that absorb judged as smooth", "risk/condensate.py",
           "if holds.all() and absorbs.any() else", "if not holds.all() and absorbs.any() else",
           ("tests/test_risk.py",)),
    Mutant("risk", "condensate with the rain", "risk/condensate.py",
           "drained[:, :, face] - came", "drained[:, :, face]", ("tests/test_risk.py",)),
    Mutant("risk", "running mean of the wrong length", "risk/finding.py",
           "total[:-span]) / span", "total[:-span]) / (span + 1)", ("tests/test_risk.py",)),
    Mutant("risk", "a wet hour below zero counts", "risk/wetness.py",
           "(np.asarray(temperature) > ICE_POINT)", "(np.asarray(temperature) > 0.0)", ("tests/test_risk.py",)),
    Mutant("risk", "rot recovers as fast as it starts", "risk/decay.py",
           "-1.0 / _RECOVERY", "-10.0 / _RECOVERY", ("tests/test_risk.py",)),
    Mutant("risk", "freezing at 0 degC whatever the threshold", "risk/frost.py",
           'limits["freeze_temperature"]', "273.15", (f"{KEYS} -k threshold", "tests/test_risk.py")),
    Mutant("risk", "wood judged by an hour, not 30 days", "risk/wood_moisture.py",
           "mean = year_mean(content, MONTH)", "mean = content", ("tests/test_risk.py",)),
    Mutant("risk", "drying time at half", "risk/drying.py",
           "days_until(as_drawn, 0.1, amount), days_until(closed",
           "days_until(as_drawn, 0.5, amount), days_until(closed",
           ("tests/test_risk.py", f"{KEYS} -k drying")),
    Mutant("risk", "dew hours of the driest segment", "risk/dew_point.py",
           "np.lexsort((lowest, -hours[:, face]))", "np.lexsort((lowest, hours[:, face]))", ("tests/test_risk.py",)),
    Mutant("risk", "safest by the criterion that matters least", "risk/ranking.py",
           "tuple(sorted(ratios(held).values(), reverse=True))", "tuple(sorted(ratios(held).values()))",
           ("tests/test_ranking.py",)),
    Mutant("risk", "a strip that fails does not fail the choice", "risk/ranking.py",
           "for part in self.parts for finding in part.findings)\n\n    @functools.cached_property\n    def ratios",
           "for part in self.parts[:1] for finding in part.findings)\n\n    @functools.cached_property\n    def ratios",
           ("tests/test_ranking.py", "tests/test_recommend.py")),
    Mutant("risk", "lower half counted as the upper", "risk/ranking.py",
           "sums[int(height >= middle)]", "sums[int(height < middle)]",
           ("tests/test_ranking.py", "tests/test_recommend.py",
           "tests/test_compare_strips.py")),
    Mutant("risk", "rules met at the wrong side", "risk/rules.py",
           "_says(value >= least - _EDGE)", "_says(value <= least + _EDGE)", ("tests/test_rules.py",)),
    # ---- study
    Mutant("study", "wetting event dries with vents open in both", "study/wetting.py",
           "replace(opening, gross_area=0.0)", "replace(opening, gross_area=opening.gross_area)",
           ("tests/test_study_wetting.py",)),
    Mutant("study", "drying with vents and without exchanged", "study/wetting.py",
           "curves = left[pair[0]][0], left[pair[1]][0]", "curves = left[pair[1]][0], left[pair[0]][0]",
           ("tests/test_study_wetting.py",)),
    Mutant("study", "margin on the wrong side", "study/size.py",
           "near = choice.severity > 1.0 - margin", "near = choice.severity > 1.0 + margin",
           ("tests/test_study_size.py",)),
    Mutant("study", "strict forgotten", "study/size.py",
           "not near and level(choice.status) <= level(accept)", "not near and level(choice.status) <= level('review')",
           ("tests/test_study_size.py",)),
    Mutant("study", "samples of one half only", "study/uncertainty.py",
           "exchanged[column, :, column] = second[:, column]", "exchanged[column, :, column] = first[:, column]",
           ("tests/test_study_uncertainty.py",)),
    Mutant("study", "interval of a probability too narrow", "study/uncertainty.py",
           "z = 1.959964", "z = 1.0", ("tests/test_study_uncertainty.py",)),
    Mutant("study", "thresholds of the file reach no study", "study/engine.py",
           "judge(dataset, dict(", "judge(dataset, {} and dict(", (f"{KEYS} -k 'thresholds_of_the_file'",)),
    Mutant("study", "kept cases without the wall file", "kept.py",
           '_SHOWS = ("report",', '_SHOWS = ("wallfile", "report",', ("tests/test_engine.py -k any_source",)),
    Mutant("study", "kept cases of another depth", "study/cases.py",
           'plain["cavity"]["depth"] = case.depth', 'plain["cavity"]["depth"] = 0.0', ("tests/test_engine.py",)),
    Mutant("study", "scaled vents grow with the square", "study/changes.py",
           "gross_area=opening.gross_area * factor", "gross_area=opening.gross_area * factor * factor",
           ("tests/test_study_size.py",
           "tests/test_study_advice.py")),
    # ---- numbers of the report
    Mutant("report", "kelvin shown as degrees", "report/display.py",
           "(np.asarray(values, dtype=float) - self.offset) * self.scale",
           "np.asarray(values, dtype=float) * self.scale",
           ("tests/test_report.py", "tests/test_report_checks.py")),
    Mutant("report", "films in kg said to be g", "report/display.py",
           '"film": Display("g/m²", scale=1e3,', '"film": Display("g/m²", scale=1.0,', ("tests/test_report.py",
           "tests/test_report_checks.py")),
    Mutant("report", "inputs of the drawing in the wrong unit", "report/display.py",
           '"area": ("cm²/m", 1e4,', '"area": ("cm²/m", 1e3,', ("tests/test_report.py", "tests/test_schedule.py")),
    Mutant("report", "inches of 25 mm", "report/display.py",
           "1 / 0.0254, 0.0),", "1 / 0.025, 0.0),", ("tests/test_schedule.py", "tests/test_report.py")),
    Mutant("report", "duration curve from the lowest", "report/series.py",
           "1.0 - percentage / 100.0", "percentage / 100.0", ("tests/test_report.py", "tests/test_report_checks.py")),
    Mutant("report", "wind rose one sector off", "report/series.py",
           "/ 22.5).astype(int) % len(COMPASS)", "/ 22.5).astype(int) % len(COMPASS) - 1",
           ("tests/test_report.py", "tests/test_report_checks.py")),
    Mutant("report", "humid hours above 90 %", "report/series.py",
           "(humid[pick] > 0.8)", "(humid[pick] > 0.9)", ("tests/test_report.py", "tests/test_report_checks.py")),
    Mutant("report", "rain that runs off counted twice", "report/series.py",
           "rain - off + vapour", "rain + vapour", ("tests/test_report.py", "tests/test_report_checks.py")),
    Mutant("report", "days until nine tenths are those until half", "report/series.py",
           "days_until(left, 0.1, event.amount)", "days_until(left, 0.5, event.amount)", ("tests/test_report.py",
           "tests/test_verdict.py")),
    Mutant("report", "schedule with the gross area", "report/schedule.py",
           "gross * porosity", "gross", ("tests/test_schedule.py",)),
    Mutant("report", "gaps of a rail line by half the bay", "report/schedule.py",
           "pick(lengths) / bay - 1e-9", "2.0 * pick(lengths) / bay - 1e-9", ("tests/test_schedule.py",)),
    Mutant("report", "least air is the most", "report/digest.py",
           "least = int(np.argmin(medians))", "least = int(np.argmax(medians))", ("tests/test_verdict.py",
           "tests/test_report.py", "tests/test_report_checks.py")),
    Mutant("report", "tenth and ninth decile of the table exchanged", "report/tables.py",
           "np.quantile(rate, (0.1, 0.9))", "np.quantile(rate, (0.9, 0.1))", ("tests/test_report.py",
           "tests/test_report_checks.py", "tests/test_monthly_vs_hourly.py")),
    Mutant("report", "temperatures of the table in kelvin", "report/tables.py",
           'row["temperature"] - ICE_POINT,', 'row["temperature"],', ("tests/test_report.py",
           "tests/test_report_checks.py", "tests/test_monthly_vs_hourly.py")),
    # ---- kernels
    Mutant("kernel", "frozen films run off as water does", "kernels/film.py",
           "(ICE_POINT - T) / FREEZING_RANGE)", "(T - ICE_POINT) / FREEZING_RANGE)",
           ("tests/test_cavity_air.py", "tests/test_water_and_ice.py")),
    Mutant("kernel", "frost without its heat of fusion", "kernels/film.py",
           "(ICE_HEAT * x - FUSION_HEAT)", "ICE_HEAT * x",
           ("tests/test_cavity_air.py", "tests/test_water_and_ice.py"), False),
    Mutant("kernel", "mould grows from 0 degC less", "kernels/mould.py",
           "- 3.13) * celsius", "- 2.13) * celsius", ("tests/test_risk_mould.py",), False),
    Mutant("kernel", "mould grows twice as fast", "kernels/mould.py",
           "1.0 / (168.0 * weeks", "1.0 / (84.0 * weeks", ("tests/test_risk_mould.py",), False),
    Mutant("kernel", "mould recovers without end of drought", "kernels/mould.py",
           "elif dry > 24:", "elif dry > 6:", ("tests/test_risk_mould.py",), False),
    Mutant("kernel", "laminar friction of a round duct", "kernels/pressure_drop.py",
           "48.0 * mu * length", "32.0 * mu * length", ("tests/test_losses.py",), False),
    Mutant("kernel", "loss the same in both directions", "kernels/pressure_drop.py",
           "        zeta = law[i, 2]", "        zeta = law[i, 1]",
           ("tests/test_losses.py", "tests/test_network.py"), False),
    Mutant("kernel", "turbulent blend from the start", "kernels/pressure_drop.py",
           "fraction = t * t * (3.0 - 2.0 * t)", "fraction = t", ("tests/test_losses.py",), False),
    Mutant("kernel", "entry loss once for all pieces", "kernels/pressure_drop.py",
           "head = 0.5 * rho * v * law[k, 4]", "head = 0.5 * rho * v", ("tests/test_losses.py", "tests/test_network.py",
           "tests/test_airflow.py"), False),
    Mutant("kernel", "air leaves where it enters", "kernels/network.py",
           "            q -= flow[j - 1]\n        out[j] = q", "            q += flow[j - 1]\n        out[j] = q",
           ("tests/test_network.py",), False),
    Mutant("kernel", "parts in a link lose nothing", "kernels/network.py",
           "            work[1, u] += dp\n            work[2, u] += slope", "            work[2, u] += slope",
           ("tests/test_network.py",), False),
    Mutant("kernel", "air past a barrier enters the wrong side", "kernels/network.py",
           "out[2 + b] += passing", "out[1 + b] += passing", ("tests/test_network.py", "tests/test_airflow.py"), False),
    Mutant("kernel", "moist air as heavy as dry air", "kernels/moist_air.py",
           "(P - p) / (R_AIR * T) + p / (R_VAPOUR * T)", "P / (R_AIR * T)", ("tests/test_moist_air.py",)),
    Mutant("kernel", "vapour without its own heat capacity", "kernels/moist_air.py",
           "return EVAPORATION_HEAT + VAPOUR_HEAT * (T - ICE_POINT)", "return EVAPORATION_HEAT + 0.0 * (T - ICE_POINT)",
           ("tests/test_moist_air.py", "tests/test_wall_kernel.py")),
    Mutant("kernel", "air enters a segment from the downstream neighbour", "kernels/column_air.py",
           "neighbour = s - 1 if up else s + 1", "neighbour = s + 1 if up else s - 1",
           ("tests/test_column_air.py",), False),
    Mutant("kernel", "mixing at a vent half way up inverted", "kernels/column_air.py",
           "part * work.outlet_T[neighbour] + (1.0 - part) * outdoors.T",
           "(1.0 - part) * work.outlet_T[neighbour] + part * outdoors.T", ("tests/test_column_air.py",), False),
    Mutant("kernel", "vapour at a vent half way up not mixed", "kernels/column_air.py",
           "part * work.outlet_p[neighbour] + (1.0 - part) * outdoors.p", "work.outlet_p[neighbour]",
           ("tests/test_column_air.py",), False),
    Mutant("kernel", "segments in the wrong order for downward flow", "kernels/column_air.py",
           "for s in range(S - 1, -1, -1):", "for s in range(S):", ("tests/test_column_air.py",), False),
    Mutant("kernel", "still-air coefficient of one surface not doubled", "kernels/cavity_air.py",
           "return 2.0 * (still_nusselt(rayleigh, H / d) * k / d)", "return still_nusselt(rayleigh, H / d) * k / d",
           ("tests/test_column_air.py", "tests/test_cavity_air.py"), False),
    Mutant("kernel", "second surface keeps the coefficient of the slot", "kernels/cavity_air.py",
           "return still + w * (h1 - still), still + w * (h2 - still)", "return still + w * (h1 - still), still",
           ("tests/test_cavity_air.py",), False),
    Mutant("kernel", "outlet is the mean", "kernels/cavity_air.py",
           "return mean, 1.0 - N * mean", "return mean, mean", ("tests/test_cavity_air.py",), False),
    Mutant("kernel", "equilibrium by the other surface", "kernels/cavity_air.py",
           "equilibrium = (h1 * T1 + h2 * T2) / (h1 + h2)", "equilibrium = (h2 * T1 + h1 * T2) / (h1 + h2)",
           ("tests/test_cavity_air.py",), False),
    Mutant("kernel", "exchange through one vent of its circumference", "kernels/cavity_air.py",
           "return area * max(0.025 * speed, buoyant)", "return clear * max(0.025 * speed, buoyant)",
           ("tests/test_cavity_air.py",), False),
    Mutant("kernel", "gusts count the mean flow too", "kernels/cavity_air.py",
           "max(both - abs(net), 0.0)", "both", ("tests/test_cavity_air.py",), False),
    Mutant("kernel", "exchange on the height of the column, not the length of the link", "kernels/column_air.py",
           "C = abs(state.flow[link]) / length * DRY_AIR_HEAT",
           "C = abs(state.flow[link]) / column.height * DRY_AIR_HEAT",
           ("tests/test_air_stream.py", "tests/test_assembly.py", SIMULATE)),
    Mutant("kernel", "frozen films run off", "kernels/wall.py",
           "(1.0 - film.frozen_fraction(T[i])) * W[i])", "W[i])", ("tests/test_water_and_ice.py -k frost", SIMULATE)),
    Mutant("kernel", "rain brings no heat", "kernels/boundaries.py",
           "return WATER_HEAT * max(bc.T_out - ICE_POINT, 0.0)", "return 0.0",
           ("tests/test_boundaries.py",)),
    Mutant("kernel", "latent heat left out at the wall", "kernels/boundaries.py",
           "-(q2 - radiation + g2 * H2)", "-(q2 - radiation)", ("tests/test_air_stream.py",)),
)
# fmt: on


def main() -> int:
    """Run the mutants that the command line chooses; return the exit code."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("words", nargs="*", help="areas, or words that a mutant's words, file or text hold")
    parser.add_argument("--list", action="store_true", help="print them and end")
    parser.add_argument("--trust", action="store_true", help="do not run the tests without a mutant first")
    parser.add_argument("--check", action="store_true", help="only look whether every old text is found once")
    given = parser.parse_args()
    chosen = [each for each in MUTANTS if each.chosen_by(given.words)]
    if given.list:
        for number, each in enumerate(chosen, 1):
            print(f"{number:3d} {each.area:9s} {each.file:24s} {each.what}")
        return 0
    lost = [each for each in chosen if found(each) != 1 or each.old == each.new]
    for each in lost:
        print(f"NOT FOUND ONCE ({found(each)}) {each.file}: {each.what}: {each.old!r}")
    if given.check:
        return 2 if lost else 0
    survivors, broken, began = [], [], time.monotonic()
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        bench = Bench(Path(folder), trust=given.trust)
        rest = [each for each in chosen if each not in lost]
        for number, each in enumerate(rest, 1):
            if not bench.passes_without(each):
                broken.append(each)
                print(f"{number:3d}/{len(rest)} FAILS WITHOUT  {each.file}: {each.what}: {each.tests}", flush=True)
                continue
            outcome, end = bench.run(each)
            if outcome == "passed":
                survivors.append(each)
            if outcome == "broken":
                broken.append(each)
            word = {"passed": "SURVIVES", "broken": "BROKEN"}.get(outcome, outcome)
            print(f"{number:3d}/{len(rest)} {word:9s} {each.file}: {each.what}  {end}", flush=True)
    noticed = len(chosen) - len(lost) - len(survivors) - len(broken)
    rest = f"{len(survivors)} survive, {len(lost)} not found, {len(broken)} broken"
    print(f"\n{noticed} of {len(chosen)} noticed, {rest}; {time.monotonic() - began:.0f} s")
    for each in survivors:
        print(f"survives: {each.file}: {each.what}")
    return 2 if lost or broken else 1 if survivors else 0


if __name__ == "__main__":
    sys.exit(main())
