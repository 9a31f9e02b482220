"""Damaged wall files and weather files by the thousand: a clear error or a valid result, nothing else.

    python tests/benchmarks/fuzz.py                        10 000 files: 9 000 walls, 1 000 climates
    python tests/benchmarks/fuzz.py --walls 500 --climates 100 --seed 7

Each file is made from its number and the seed alone; a failure prints both and the file is left in --out. Some of the
walls that are accepted are also simulated over a day, for a wall that is read must run or say why not.
"""

from __future__ import annotations

import collections
import json
import random
import sys
import time
import traceback
import warnings
from dataclasses import replace
from pathlib import Path

import click

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
import test_climate_corruption as corruption
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
    """Simulate an accepted wall over a day: valid, or told why not."""
    import cavity

    wall = parse_wall(text, "wall.toml")
    wall = replace(wall, run=replace(wall.run, max_years=1))
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", RuntimeWarning)
            result = cavity.simulate(wall, weather)
    except CavityError as error:
        assert 20 < len(str(error)) < 5000
        return "simulated: clear error"
    for name, values in result.data_vars.items():
        assert np.isfinite(values.values).all(), f"{name} is not finite"
    # 1e-6 of a year's throughput; the residual left by the last step is the same after a day, when 1/365 has passed
    assert abs(result.attrs["water_balance_error"]) < 365e-6
    return "simulated: valid"


@click.command()
@click.option("--walls", default=9000, show_default=True)
@click.option("--climates", default=1000, show_default=True, help="The slower part: a year of hours each.")
@click.option("--seed", default=1, show_default=True)
@click.option("--every", default=10, show_default=True, help="Simulate one in so many accepted walls.")
@click.option("--out", default="fuzz", show_default=True, help="Folder for files that failed, and fuzz.json.")
def main(walls: int, climates: int, seed: int, every: int, out: str) -> None:
    """Make damaged files and see what becomes of them; exit code 1 if anything else than a clear error or a result."""
    from cavity.climate import read_weather

    folder = Path(out)
    folder.mkdir(parents=True, exist_ok=True)
    count: collections.Counter[str] = collections.Counter()
    failures = []
    slowest = (0.0, "")
    day = read_weather(wf.CLIMATES / "temperate_inland.epw").isel(time=slice(0, 24))
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
    record = write()
    click.echo(json.dumps({key: value for key, value in record.items() if key != "failures"}, indent=1))
    for failure in failures[:5]:
        click.echo(f"{failure['file']}\n{failure['error']}")
    sys.exit(1 if failures else 0)


if __name__ == "__main__":
    main()
