"""Every option of a command that can move a result arrives where the result is made, or moves what is printed.

The studies are heavy and tested elsewhere: here they are replaced by a recorder, which shows what they were given. The
light commands run, and a number of what they print moves in the direction of the option. A test holds both tables
complete against the commands.
"""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass
from typing import Any

import click
import pytest
from click.testing import CliRunner
from test_keys import BASE, STRIPS, edited, sky

from cavity.cli import main

VARIANT = {"variant": [{"name": "thick", "replaces": "lining", "material": "softwood", "thickness": "40 mm"}]}
CLOSED = {"openings.1": {"name": "none", "vent": []}}
RULE = '[[rule]]\ndocument = "Own"\nquantity = "cavity depth"\nat_least = "25 mm"\n'


class Given(Exception):
    """Ends a command where its study would begin."""


@pytest.fixture
def wall(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "wall.toml").write_text(edited({**STRIPS, **VARIANT, **CLOSED}))
    (tmp_path / "rules.toml").write_text(RULE)
    return "wall.toml"


@pytest.fixture
def record(monkeypatch):
    """Run a command up to its study, or to its weather; return what that was given, positions by number."""

    def run(module: str, name: str, *arguments: str) -> dict[Any, Any]:
        seen: dict[Any, Any] = {}

        def recorder(*args: Any, **options: Any) -> None:
            seen.update(enumerate(args))
            seen.update(options)
            raise Given

        __import__(module)
        monkeypatch.setattr(sys.modules[module], name, recorder)
        if module != "cavity.climate.estimate":
            __import__("cavity.climate.estimate")
            monkeypatch.setattr(sys.modules["cavity.climate.estimate"], "read_climates", lambda *_: [sky("winter")])
        result = CliRunner().invoke(main, list(arguments))
        assert isinstance(result.exception, Given), result.output
        return seen

    return run


@dataclass(frozen=True)
class Study:
    """A command, and the function that does its work."""

    command: str
    module: str
    function: str


COMPARE, SIZE = Study("compare", "cavity.study", "compare"), Study("size", "cavity.study.size", "size")
UNCERTAINTY = Study("uncertainty", "cavity.study.uncertainty", "uncertainty")
ADVISE, LESSON = Study("advise", "cavity.study.advice", "advise"), Study("lesson", "cavity.study.lesson", "lessons")
# study, option, its value ("": a flag), what the function gets by which name, what it gets without
ARRIVES = [
    (COMPARE, "--column", "b", "columns", ("b",), None),
    (COMPARE, "--facing", "N,SW", "facings", ("N,SW",), ()),
    (COMPARE, "--variant", "thick", "variants", ("thick",), ()),
    (COMPARE, "--confidence", "", "confidence", True, None),
    (SIZE, "--openings", "none", "opening_set", "none", None),
    (SIZE, "--depth", "12 mm", "depths", [0.012], []),
    (SIZE, "--column", "b", "column", "b", None),
    (SIZE, "--scale", "low", "openings", ("low",), ()),
    (SIZE, "--margin", "10 %", "margin", 0.1, 0.0),
    (SIZE, "--strict", "", "accept", "pass", "review"),
    (UNCERTAINTY, "--openings", "none", "opening_set", "none", None),
    (UNCERTAINTY, "--depth", "12 mm", "depth", 0.012, None),
    (UNCERTAINTY, "--column", "b", "column", "b", None),
    (UNCERTAINTY, "--samples", "128", "samples", 128, 64),
    (UNCERTAINTY, "--seed", "7", "seed", 7, 0),
    (UNCERTAINTY, "--quick", "", "influence", False, True),
    (ADVISE, "--openings", "none", "opening_set", "none", None),
    (ADVISE, "--depth", "12 mm", "depth", 0.012, None),
    (ADVISE, "--column", "b", "column", "b", None),
    (LESSON, "--openings", "none", "opening_set", "none", None),
]


def names(rows: list[Any]) -> list[str]:
    return [f"{row[0] if isinstance(row[0], str) else row[0].command} {row[1]}" for row in rows]


@pytest.mark.parametrize(("study", "option", "value", "name", "expected", "default"), ARRIVES, ids=names(ARRIVES))
def test_an_option_of_a_study_arrives(wall, record, study, option, value, name, expected, default):
    without = record(study.module, study.function, study.command, wall)
    given = record(study.module, study.function, study.command, wall, option, *([value] if value else []))
    assert given[name] == (pytest.approx(expected) if isinstance(expected, float) else expected)
    assert without[name] == default


def test_a_file_of_rules_is_added_to_the_wall(wall, record):
    found = record(COMPARE.module, COMPARE.function, "compare", wall, "--rules", "rules.toml")[0]
    assert [(rule.document, rule.at_least) for rule in found.rules] == [("Own", 0.025)]
    assert record(COMPARE.module, COMPARE.function, "compare", wall)[0].rules == ()


WITH_WEATHER = ("compare", "size", "uncertainty", "advise", "lesson", "monthly")


@pytest.mark.parametrize("command", WITH_WEATHER)
def test_climate_and_rain_arrive_where_weather_is_read(wall, record, command):
    arguments = [command, wall, "--climate", "a.epw", "--rain", "b.epw", "--rain-total", "700 mm"]
    found = record("cavity.climate.estimate", "read_climates", *arguments)
    assert [list(found[k]) for k in range(3)] == [["a.epw"], ["b.epw"], ["700 mm"]]
    assert [list(found[k])[1:] for k in range(3)] == [[], [], []]
    plain = record("cavity.climate.estimate", "read_climates", command, wall, "--climate", "c.epw")
    assert [list(plain[k]) for k in range(3)] == [["c.epw"], [], []]


def test_the_options_of_the_climate_command_arrive(wall, record):
    arguments = ["--rain", "b.epw", "--rain-total", "700 mm", "--year", "critical", "--warmer", "2.5"]
    found = record("cavity.climate.climate_text", "prepare", "climate", "a.epw", "a2.epw", *arguments)
    assert found == {0: ("a.epw", "a2.epw"), "rain": "b.epw", "rain_total": "700 mm", "year": "critical", "warmer": 2.5}
    plain = record("cavity.climate.climate_text", "prepare", "climate", "a.epw")
    assert plain == {0: ("a.epw",), "rain": None, "rain_total": None, "year": None, "warmer": None}


# ------------------------------------------------------------------------------- commands that run


def printed(*arguments: str) -> str:
    result = CliRunner().invoke(main, list(arguments), env={"COLUMNS": "200", "NO_COLOR": "1"})
    assert result.exit_code == 0, result.output
    return " ".join(result.output.split())


def air_changes(text: str) -> float:
    """The rate in the one row of the first table: wind, sun or cavity, stack, wind, rate."""
    row = re.search(r"°C\]? (\S+) (\S+) \S+ \S+ ([\d.]+) ", text)
    assert row, text
    return float(row[3])


def last_rate(text: str) -> float:
    return float(re.findall(r" [+-][\d.]+ [+-][\d.]+ ([\d.]+) [\d.]+ [↑↓]", text)[-1])


def u_value_of(text: str) -> float:
    return float(re.search(r"U-value ([\d.]+) W", text)[1])


AIRFLOW = ("airflow", "wall.toml", "--column", "b", "--wind", "4", "--sun", "0")
MONTHLY = ("monthly", "wall.toml", "--openings", "none")
# command, option, two values, number printed, by how much the second moves it at least
PRINTED = [
    (AIRFLOW, "--openings", "none", "vents", air_changes, 100.0),
    (AIRFLOW, "--depth", "60 mm", "20 mm", air_changes, 100.0),  # the same vents, a third of the volume
    (AIRFLOW, "--column", "a", "b", lambda text: float(re.search(r"to ([\d.]+) m", text)[1]), 2.9),
    (AIRFLOW, "--wind", "1", "8", air_changes, 100.0),
    (AIRFLOW, "--angle", "180", "0", air_changes, 20.0),  # from behind, the profile over the height is flat
    (AIRFLOW, "--outdoor", "15", "-10", lambda text: float(re.search(r"°C\]? \S+ \S+ ([+-][\d.]+) ", text)[1]), 0.1),
    (AIRFLOW, "--indoor", "15", "35", lambda text: float(re.search(r"°C\]? \S+ \S+ ([+-][\d.]+) ", text)[1]), 0.05),
    (AIRFLOW, "--sun", "0", "700", air_changes, 10.0),
    (AIRFLOW[:-2], "--cavity", "10", "40", last_rate, 20.0),
    (MONTHLY, "--openings", "none", "vents", u_value_of, 0.005),  # outdoor air in the cavity: the cladding is lost
    (MONTHLY, "--depth", "30 mm", "2 mm", u_value_of, 0.005),  # a thin still layer insulates less
    (MONTHLY[:2], "--column", "c", "b", u_value_of, 0.005),  # c has no vents
]


@pytest.mark.parametrize(("command", "option", "low", "high", "number", "least"), PRINTED,
                         ids=[f"{row[0][0]} {row[1]}" for row in PRINTED])  # fmt: skip
def test_an_option_moves_what_is_printed(wall, tmp_path, command, option, low, high, number, least):
    strips = [*STRIPS["column"], {"name": "c", "bottom": "3.5 m", "top": "5.5 m"}]
    vents = [{**vent, "columns": ["a", "b"]} for vent in BASE["openings"][0]["vent"]]  # c has none
    (tmp_path / wall).write_text(edited({"column": strips, "openings.0.vent": vents, **CLOSED}))
    found = []
    for value in (low, high):
        arguments = list(command)
        if option in arguments:
            arguments[arguments.index(option) + 1] = value
        else:
            arguments += [option, value]
        found.append(number(printed(*arguments)))
    assert found[1] - found[0] >= least, found


def test_the_site_of_a_wall_counts_in_the_summary_of_a_climate(wall, tmp_path):
    """Twice the wall factor, twice the driving rain."""
    rain = []
    for factor in (0.2, 0.4):
        (tmp_path / wall).write_text(edited({"site.rain_wall_factor": factor}))
        text = printed("climate", "cool marine", "--wall", wall)
        rain.append(float(re.search(r"\(([\d ]+) L/m2 of driving rain", text)[1].replace(" ", "")))
    assert rain[1] == pytest.approx(2.0 * rain[0], rel=0.01)


def test_new_begins_from_the_wall_that_is_named(tmp_path):
    for name, word in (("brick", "perpends"), ("metal-panels", "etal")):
        printed("new", str(tmp_path / f"{name}.toml"), "--like", name)
        assert word in (tmp_path / f"{name}.toml").read_text()
    assert (tmp_path / "brick.toml").read_text() != (tmp_path / "metal-panels.toml").read_text()


def test_the_live_page_begins_with_the_wall_and_the_climate_that_are_named(wall, record):
    found = record("cavity.live.server", "serve", "live", wall, "--climate", "hot dry")
    assert found["first"]["climate"].replace("_", " ") == "hot dry" and 'name = "keys"' in found["first"]["text"]
    assert record("cavity.live.server", "serve", "live")["first"] == {"text": "", "climate": ""}


def test_areas_choose_the_cases_that_verify_runs(monkeypatch):
    from cavity.published import verify

    asked = []

    def run(areas):
        asked.append(tuple(areas))
        raise Given

    monkeypatch.setattr(verify, "run", run)
    for arguments in ([], ["risk", "climate"]):
        CliRunner().invoke(main, ["verify", *arguments])
    assert asked == [(), ("risk", "climate")]


# ------------------------------------------------------------------------------- complete

# parameters that choose where a result is written, how much of it is shown, or where it is computed
NOTHING = {
    "out", "save", "csv", "pdf", "docx", "xlsx", "report", "short", "force", "listed", "scheduler", "fresh", "port",
    "no_open", "group",
}  # fmt: skip
FILES = {"file", "files", "wallfile", "wallfiles", "name"}  # what a command is about
HELD = {
    ("new", "like"), ("verify", "areas"), ("climate", "wall"), ("climate", "rain"), ("climate", "rain_total"),
    ("climate", "year"), ("climate", "warmer"), ("compare", "rules"),
    ("live", "climate"),
}  # fmt: skip


def test_every_option_that_can_move_a_result_is_tried():
    tried = set(HELD)
    options = [(study.command, option) for study, option, *_ in ARRIVES]
    options += [(command[0], option) for command, option, *_ in PRINTED]
    options += [(command, option) for command in WITH_WEATHER for option in ("--climate", "--rain", "--rain-total")]
    wanted = set()
    for command, one in main.commands.items():
        for parameter in one.params:
            if parameter.name not in NOTHING | FILES:
                wanted.add((command, parameter.name))
            if isinstance(parameter, click.Option):
                tried |= {(command, parameter.name) for name in parameter.opts if (command, name) in options}
    assert sorted(wanted - tried) == []
    assert sorted(tried - wanted) == []
