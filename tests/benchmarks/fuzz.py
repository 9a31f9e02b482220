"""Damaged files and odd but valid walls by the thousand: a clear error or a whole result, nothing else.

    python tests/benchmarks/fuzz.py                        9 000 damaged walls, 1 000 damaged climates, 500 studies
    python tests/benchmarks/fuzz.py --walls 500 --climates 100 --studies 50 --seed 7
    python tests/benchmarks/fuzz.py --walls 0 --climates 0 --studies 1 --first 123      one study again

Each is made from its number and the seed alone; a failure prints both, the file is left in --out. Some of the damaged
walls that are accepted are compared and reported. A study is a wall file with keys anywhere within their bounds, layers
of all materials, closed sets, cold and hot rooms, through one command and its pages, over weeks of weather (one in
twenty over a year), with rain in frost among it. `walls.py` beside this file drives the solver alone.
"""

from __future__ import annotations

import collections
import json
import random
import re
import sys
import tempfile
import time
import traceback
import warnings
from dataclasses import replace
from pathlib import Path
from typing import Any

import click
from click.testing import CliRunner

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
import test_climate_corruption as corruption
import wall_bounds
import walls
import weather_files as wf
from test_wallfile_errors import LINES, VALUES, valid_or_clear
from wall_texts import FULL

from cavity.errors import CavityError
from cavity.wallfile import parse_wall

# what no hand writes by accident
HOSTILE = [
    "[" * 50_000, "a = " + "[" * 20_000 + "]" * 20_000, "a = " + "{b = " * 5_000 + "1" + "}" * 5_000,
    "a" + ".a" * 20_000 + " = 1", "[" + "a." * 20_000 + "a]", "[[x]]\n" * 60_000, "a = " + "9" * 100_000,
    "a = 1e" + "9" * 5_000, "a = 0x" + "f" * 50_000,
    "a = " + "-" * 1000 + "1", 'a = "' + "\\U0010FFFF" * 5_000 + '"', "a = '''" + "\n" * 500_000, "# " + "é" * 400_000,
    "\ufeff" * 1000, "a = 9999-12-31T23:59:60Z", 'a = "${HOME}"', 'a = "`id`"', "\x00" * 1000, "a = nan", "a = +inf",
]  # fmt: skip
PATHS = [
    "../../etc/passwd",
    "/etc/passwd",
    "/dev/zero",
    "\\\\\\\\host\\\\share",
    "file:///etc/passwd",
    "~/x",
    "a/../../x",
    "\\u0000",
    "CON",
    ".",
]
NUMBERS = [
    "1e400",
    "-1e400",
    "9" * 5000,
    "1e-400",
    "0x" + "f" * 400,
    "1_0.0_1",
    "-0.0",
    "1e308",
    "5e-324",
    "9223372036854775808",
]


def _value(chance: random.Random) -> str:
    kind = chance.randrange(4)
    if kind == 0:
        return chance.choice(VALUES)
    if kind == 1:
        number = chance.choice([*NUMBERS, f"{chance.uniform(-5, 500):.3g}", f"{10 ** chance.uniform(-12, 12):.3g}"])
        unit = chance.choice(
            ["mm", "m", "in", "ft", "g/m2", "%", "K", "degC", "cm2/m", "W/(m K)", "kg/m3", "deg", "h", "furlong", ""]
        )
        return f'"{number} {unit}"'
    if kind == 2:
        return chance.choice(NUMBERS)
    return f'"{chance.choice(PATHS)}"'


def wall_text(number: int, seed: int) -> str:
    """Return the damaged wall file of a number."""
    chance = random.Random(f"{seed} wall {number}")
    kind = number % 6
    lines = list(LINES)
    keyed = [at for at, line in enumerate(lines) if " = " in line]
    if kind in (0, 1):  # plausible values in the places of others; one only, so that some are accepted
        for _ in range(1 if kind == 0 else chance.randint(2, 4)):
            at = chance.choice(keyed)
            lines[at] = lines[at].split(" = ")[0] + " = " + _value(chance)
    elif kind == 2:  # lines lost, doubled, moved
        for _ in range(chance.randint(1, 4)):
            line = lines.pop(chance.randrange(len(lines)))
            for _ in range(chance.randrange(3)):
                lines.insert(chance.randrange(len(lines)), line)
    elif kind == 3:  # characters lost and added
        text = FULL
        for _ in range(chance.randint(1, 3)):
            at = chance.randrange(len(text))
            added = "".join(
                chr(chance.choice([chance.randrange(128), chance.randrange(0xD7FF)]))
                for _ in range(chance.randrange(4))
            )
            text = text[:at] + added + text[at + chance.randrange(6) :]
        return text
    elif kind == 4:  # numbers of the file made larger or smaller
        for _ in range(chance.randint(1, 3)):
            at = chance.choice(keyed)
            digits = [k for k, sign in enumerate(lines[at]) if sign.isdigit()]
            if digits:
                place = chance.choice(digits)
                lines[at] = (
                    lines[at][:place] + chance.choice(["", "0", "9", "-", ".", "e3", "1" * 30]) + lines[at][place + 1 :]
                )
    else:  # hostile text, alone or within a sound file
        bad = chance.choice(HOSTILE)
        if chance.random() < 0.5:
            return bad
        at = chance.randrange(len(lines))
        return "\n".join([*lines[:at], bad, *lines[at:]])
    return "\n".join(lines)


def weather_bytes(number: int, seed: int) -> tuple[str, bytes]:
    """Return name and content of the damaged weather file of a number."""
    chance = random.Random(f"{seed} weather {number}")
    form = ("epw", "epw", "csv", "nc", "epw", "any")[number % 6]
    if form == "any":
        return chance.choice(["w.epw", "w.csv", "w.nc", "w.txt"]), chance.randbytes(chance.randrange(4000))
    data = corruption.original(form)
    if form == "nc" or number % 6 == 4:  # bytes replaced, inserted, cut out
        for _ in range(chance.randint(1, 6)):
            at = chance.choice([chance.randrange(3000), chance.randrange(len(data))])
            some = chance.randbytes(chance.randrange(7))
            data = data[:at] + some + data[at + (len(some) if form == "nc" else chance.randrange(300)) :]
        return f"w.{form}", data[: chance.randrange(len(data))] if chance.random() < 0.1 else data
    lines = data.decode().split("\n")
    for _ in range(chance.randint(1, 4)):
        at = chance.choice([chance.randrange(12), chance.randrange(len(lines))])
        if number % 2:  # lines taken out or doubled
            count = chance.randrange(40)
            lines = [*lines[:at], *lines[at + count :]] if count % 2 else [*lines, *lines[at : at + count]]
        else:
            parts = lines[at].split(",")
            parts[chance.randrange(len(parts))] = chance.choice([*corruption.WORDS, f"{chance.uniform(-1e3, 1e4):.4g}"])
            lines[at] = ",".join(parts)
    return f"w.{form}", "\n".join(lines).encode()


def _runs(text: str, weather: object) -> str:
    """Compare and report an accepted wall over a few days: valid, or said why not."""
    import cavity
    from cavity.report.page import render
    from cavity.report.tables import tables

    wall = parse_wall(text, "wall.toml")
    run = replace(wall.run, max_years=1, segments=min(wall.run.segments, 3))
    wall = replace(wall, run=run, opening_sets=wall.opening_sets[:2], depths=wall.depths[:2])
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", RuntimeWarning)
            comparison = cavity.compare(wall, weather, columns=[wall.columns[0].name], fresh=True)
            page = render(comparison)
            tables(comparison)
    except CavityError as error:
        assert 20 < len(str(error)) < 5000
        assert "internal error" not in str(error), str(error)
        return "compared: clear error"
    assert page.rstrip().endswith("</html>")
    for case in comparison.cases:
        _sound(case.dataset)
    for failed in comparison.failed:
        assert "internal error" not in failed.reason, failed.reason
    return "compared: some cases not computed" if comparison.failed else "compared: valid"


def _sound(result: Any) -> None:
    for name, values in result.data_vars.items():
        assert np.isfinite(values.values).all(), f"{name} is not finite"
    # 1e-6 of a year's throughput; the residual left by the last step is the same after days, when less has passed
    assert abs(result.attrs["water_balance_error"]) < 365e-6


# --------------------------------------------------------------------------- studies

KEYS = list(wall_bounds.keys())
COMMANDS = (
    ("compare", "{w} --climate {c} --out {f}/r.html --csv {f}/t --save {f}/n"),
    ("compare", "{w} --climate {c} --out {f}/r.html"),
    ("compare", "{w} --climate {c} --out {f}/r.html"),
    ("monthly", "{w} --climate {c}"),
    ("airflow", "{w} --out {f}/a.html"),
    ("size", "{w} --climate {c} --out {f}/s.html"),
    ("advise", "{w} --climate {c}"),
    ("uncertainty", "{w} --climate {c} --samples 8 --out {f}/u.html --save {f}/u.nc"),
    ("lesson", "{w} --climate {c} --out {f}/l.html"),
    ("climate", "{c} --wall {w} --out {f}/c.html --save {f}/c.nc"),
)
_ROOMS = (
    "-30 degC",
    "-25 degC",
    "-18 degC",
    "-10 degC",
    "0 degC",
    "5 degC",
    "12 degC",
    "21 degC",
    "30 degC",
    "45 degC",
)


def _within(leaf: Any, chance: random.Random) -> Any:
    """Return a value of a key anywhere within its bounds: at an end, between, or near the example."""
    options = wall_bounds.ends(leaf)
    if len(options) != 2 or chance.random() < 0.3:
        return chance.choice(options) if options else None
    low, high = options
    if isinstance(low, str) and low[:1] in "-0123456789" and " " in low:
        (first, unit), second = low.split(" ", 1), high.split(" ", 1)[0]
        small, large = float(first), float(second)
    elif isinstance(low, float):
        small, large, unit = low, high, ""
    else:
        return chance.choice(options)
    if small > 0.0 and large > 50.0 * small and np.isfinite(large):
        found = small * (large / small) ** chance.random()
    else:
        found = chance.uniform(small, min(large, small + 1e6))
    return f"{found:.6g} {unit}" if unit else found


def study_text(number: int, seed: int) -> tuple[str, str, str]:
    """Return the wall file of a study, its command and arguments."""
    chance = random.Random(f"{seed} study {number}")
    steps: list[Any] = []
    for key in chance.sample(KEYS, chance.choice((0, 1, 1, 2, 3, 5))):
        value = _within(key.leaf, chance)
        if value is not None:
            steps += key.steps(value)
    wall = wall_bounds.changed(*steps)
    if chance.random() < 0.8:  # layers of all materials
        names = [chance.choice([*walls.SOLIDS, *walls.MEMBRANES]) for _ in range(chance.randint(1, 5))]
        wall["backup"] = [_layer(name, chance) for name in names] + [_layer(chance.choice(walls.SHEATHING), chance)]
        wall["cladding"] = [_layer(chance.choice(walls.CLADDINGS), chance)]
        for section in ("wetting", "run"):  # names of layers that are gone
            for word in ("rain_penetration_layer", "leak_layer", "construction_water"):
                wall.get(section, {}).pop(word, None)
        if wall.get("wetting", {}).get("leak_flow") or wall.get("wetting", {}).get("leak_q50"):
            wall["wetting"]["leak_layer"] = wall["backup"][-1].setdefault("name", "last")
    if chance.random() < 0.4:
        room = {"model": "constant", "temperature": chance.choice(_ROOMS)}
        wall["indoor"] = room | {"relative_humidity": f"{chance.choice((3, 20, 50, 80, 97))} %"}
    if chance.random() < 0.3:
        wall["openings"] = [{"name": "closed"}, *wall["openings"]][: chance.choice((1, 2, 9))]
    if chance.random() < 0.3 and "column" in wall:
        wall["column"] = [*wall["column"], {"name": "other", "top": wall["column"][0]["top"]}]
    if chance.random() < 0.3:
        wall["wetting"] = wall["wetting"] | {"rain_penetration": chance.choice(("0 %", "10 %", "100 %"))}
    wall["run"] = {"segments": chance.choice((1, 2, 3)), "max_years": 1} | wall["run"]
    command, arguments = COMMANDS[number % len(COMMANDS)]
    return wall_bounds.toml(wall), command, arguments


def _layer(name: str, chance: random.Random) -> dict[str, Any]:
    if name in walls.MEMBRANES:
        return {"material": name}
    thin = name.startswith(walls.THIN)
    return {"material": name, "thickness": "0.8 mm" if thin else f"{1e3 * 10 ** chance.uniform(-2.3, -0.7):.3g} mm"}


def study(number: int, seed: int, folder: Path) -> str:
    """Run the command of a study; return its outcome in words, raise where it is none that it may have."""
    import cavity.climate.climate_text
    import cavity.climate.estimate
    from cavity.cli import main as program

    text, command, arguments = study_text(number, seed)
    rng = np.random.default_rng([seed, number])
    kind = ("any", "brick in frost")[number % 2]
    if number % 20 == 0 or command in ("monthly", "climate"):
        weather, what = walls.climate(str(rng.choice(walls.CLIMATES))), "a year"
    else:
        weather, what = walls.weather(rng, int(rng.integers(14 * 24, 60 * 24)), kind)
    path = folder / "wall.toml"
    path.write_text(text, "utf-8")
    shown = [part.format(w=path, c="climate.epw", f=folder) for part in arguments.split()]
    reader, preparer = cavity.climate.estimate.read_climates, cavity.climate.climate_text.prepare
    cavity.climate.estimate.read_climates = lambda *_, **__: [weather]
    cavity.climate.climate_text.prepare = lambda *_, **__: weather
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", RuntimeWarning)
            result = CliRunner().invoke(program, [command, *shown, *["--fresh"] * _has_fresh(command)])
    finally:
        cavity.climate.estimate.read_climates, cavity.climate.climate_text.prepare = reader, preparer
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    said = result.output
    assert "Traceback" not in said and "internal error" not in said, said[-3000:]
    if result.exit_code == 2:
        assert 20 < len(said) < 8000, said
        return f"{command}: clear error"
    assert result.exit_code in (0, 1), said[-2000:]
    assert not re.search(r"(?<![\w-])(nan|inf)(?![\w-])", said), said[-3000:]
    pages = list(folder.glob("*.html"))
    assert bool(pages) == (" --out " in arguments) or "none of" in said or "could not be computed" in said, said[-2000:]
    for page in pages:
        assert page.read_text("utf-8").rstrip().endswith("</html>"), page
    if result.exit_code == 1:
        words = ("computed", "no convergence", "could not be solved")
        assert any(word in said for word in words), said[-2000:]
        return f"{command}: cases not computed ({what.split(',')[1].strip() if ',' in what else what})"
    return f"{command}: valid"


def _has_fresh(command: str) -> bool:
    from cavity.cli import main as program

    return any("--fresh" in option.opts for option in program.commands[command].params)


@click.command()
@click.option("--walls", default=9000, show_default=True)
@click.option("--climates", default=1000, show_default=True, help="The slower part: a year of hours each.")
@click.option("--studies", default=500, show_default=True, help="Odd but valid walls through every command.")
@click.option("--first", default=0, show_default=True, help="Number of the first study.")
@click.option("--seed", default=1, show_default=True)
@click.option("--every", default=10, show_default=True, help="Compare and report one in so many accepted walls.")
@click.option("--out", default="fuzz", show_default=True, help="Folder for files that failed, and fuzz.json.")
def main(walls: int, climates: int, studies: int, first: int, seed: int, every: int, out: str) -> None:
    """Make damaged files and see what becomes of them; exit code 1 if anything else than a clear error or a result."""
    from cavity.climate import read_weather

    folder = Path(out)
    folder.mkdir(parents=True, exist_ok=True)
    count: collections.Counter[str] = collections.Counter()
    failures = []
    slowest = (0.0, "")
    day = read_weather(wf.CLIMATES / "temperate_inland.epw").isel(time=slice(0, 48))
    began = time.perf_counter()

    def attempt(name: str, content: bytes, work: object) -> str:
        nonlocal slowest
        start = time.process_time()
        try:
            outcome = work()
        except Exception:
            outcome = f"FAILED {name.split('.')[-1]}"
            failures.append({"file": name, "error": traceback.format_exc(limit=-3)})
            (folder / name).write_bytes(content)
        slowest = max(slowest, (time.process_time() - start, name))
        count[outcome] += 1
        if sum(count.values()) % 100 == 0:  # what is known so far, should the run be stopped
            write()
        return outcome

    def write() -> dict[str, object]:
        record = {
            "seed": seed, "files": sum(count.values()), "seconds": round(time.perf_counter() - began, 1),
            "outcomes": dict(sorted(count.items())), "slowest_cpu_s": slowest, "failures": failures,
        }  # fmt: skip
        (folder / "fuzz.json").write_text(json.dumps(record, indent=1), "utf-8")
        return record

    def read_wall_text(text: str) -> str:
        valid_or_clear(text)
        try:
            parse_wall(text, "wall.toml")
        except CavityError:
            return "wall: clear error"
        return "wall: valid"

    for number in range(walls):
        text = wall_text(number, seed)
        content = text.encode("utf-8", "surrogatepass")
        outcome = attempt(f"{seed}-{number}.toml", content, lambda text=text: read_wall_text(text))
        if outcome == "wall: valid" and count[outcome] % every == 0:
            attempt(f"{seed}-{number}-run.toml", content, lambda text=text: _runs(text, day))
    refused: list[bool] = []

    def noted(path: Path) -> object:
        try:
            return read_weather(path)
        except CavityError:
            refused.append(True)
            raise

    corruption.read_weather = noted  # one reading both judges and tells the outcome
    for number in range(climates):
        name, content = weather_bytes(number, seed)
        path = folder / f"weather-{name}"
        path.write_bytes(content)

        def read(path: Path = path) -> str:
            refused.clear()
            corruption.judge(path)
            return "weather: clear error" if refused else "weather: valid"

        attempt(f"{seed}-{number}-{name}", content, read)
        path.unlink()
    for number in range(first, first + studies):
        with tempfile.TemporaryDirectory() as desk:
            text = study_text(number, seed)[0].encode()
            attempt(
                f"{seed}-{number}-study.toml", text, lambda number=number, desk=desk: study(number, seed, Path(desk))
            )
    record = write()
    click.echo(json.dumps({key: value for key, value in record.items() if key != "failures"}, indent=1))
    tried = sum(count.values())
    lost = sum(number for name, number in count.items() if "not computed" in name)
    click.echo(f"tried {tried}, failed {len(failures)}, with cases not computed {lost}")
    for failure in failures[:5]:
        click.echo(f"{failure['file']}\n{failure['error']}")
    sys.exit(1 if failures else 0)


if __name__ == "__main__":
    main()
