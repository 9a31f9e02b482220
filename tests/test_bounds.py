"""Every documented bound of every key runs through a comparison with its report; closed cavities run everywhere."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from click.testing import CliRunner
from wall_bounds import PLAIN, bounds, changed, toml

import cavity
from cavity.cli import main
from cavity.errors import InputError
from cavity.report.comparison_text import comparison_lines, comparison_tables
from cavity.report.page import render
from cavity.report.tables import tables
from cavity.wallfile import parse_wall

BOUNDS = list(bounds())
# what a bound cannot be alone: it stands in the way of another key, and the fault says so
CROSS = {
    'backup.4.free_saturation = "0 kg/m3"': "zero together with sorption",
    'column.0.bottom = "500 m"': "not above the bottom",
    'column.0.top = "-50 m"': "not above the bottom",
    'rail.0.heights = ["-50 m"]': "at its end",
    'rail.0.heights = ["500 m"]': "at its end",
    'rail.0.spacing = "50 mm"': "1099 rails",
    'openings.0.vent.0.spacing = "50 mm"': "1199 vents",
    "openings.0.vent.0.holes.per_metre = 1000.0": "wider than the wall",
    'openings.0.vent.0.holes.width = "5000 mm"': "wider than the wall",
    'indoor.model = "file"': "is missing",
    'window.0.left = ["1000 m"]': "beyond the wall",
    'window.0.sill = "100 m"': "not between its sill",
    "window.0.storeys = [1000]": "storeys 1 to 1",
}


@pytest.fixture(autouse=True)
def _own_store(monkeypatch, tmp_path):
    monkeypatch.setenv("CAVITY_CASES", str(tmp_path / "cases"))


@pytest.fixture(scope="module")
def days(inland):
    """Two January days."""
    return inland.isel(time=slice(0, 48))


def reported(comparison) -> str:
    """Every output of a comparison; the page."""
    assert not comparison.failed, comparison.failed
    comparison_lines(comparison)
    comparison_tables(comparison)
    tables(comparison)
    return render(comparison)


def test_the_bounds_cover_the_schema():
    """A key added to the schema is tested; free text and names have no bounds."""
    from cavity.wallfile import schema
    from cavity.wallfile.faults import leaf_of

    sections = {
        name: each for name, each in vars(schema).items()
        if isinstance(each, type) and issubclass(each, schema.Section) and each.model_fields
    }  # fmt: skip
    tested = {place[-1] for _, place, _, _ in BOUNDS}
    free = {"Text", "Many"}
    for name, section in sections.items():
        for key, field in section.model_fields.items():
            leaf = leaf_of(field)
            if leaf is None or type(leaf).__name__ == "Text":
                continue
            assert key in tested or type(leaf).__name__ in free, f"{name}.{key}: give it a place in wall_bounds.py"
    assert len(BOUNDS) > 300


@pytest.mark.parametrize(("name", "place", "value", "wall"), BOUNDS, ids=[each[0] for each in BOUNDS])
def test_every_documented_bound_is_taken_and_reported(name, place, value, wall, days, inland):
    try:
        made = parse_wall(toml(wall))
    except InputError as error:
        assert name in CROSS, str(error)
        assert CROSS[name] in str(error)
        assert "too small" not in str(error) and "too large" not in str(error)
        return
    assert name not in CROSS
    weather = inland if made.indoor.model == "ISO 13788" else days  # the classes go by the months of a year
    page = reported(cavity.compare(made, weather))
    assert page.rstrip().endswith("</html>")


def test_just_beyond_a_bound_is_refused():
    for text, said in (("-40.1 degC", "too small"), ("70.1 degC", "too large")):
        wall = changed((("indoor", "model"), "constant"), (("indoor", "temperature"), text))
        with pytest.raises(InputError, match=said):
            parse_wall(toml(wall))


# --------------------------------------------------------------------------- what the reader refused for no reason


def test_a_leak_of_nothing_is_a_leak_of_nothing():
    wall = parse_wall(
        toml(changed((("wetting", "leak_flow"), "0 m3/(m2 h)"), (("wetting", "leak_layer"), "sheathing")))
    )
    assert wall.wetting.leak_flow == 0.0


# --------------------------------------------------------------------------- closed cavities

CLOSED = {
    "beside others": [{"name": "closed"}, PLAIN["openings"][0]],
    "alone": [{"name": "closed"}],
    "with rails": [{"name": "closed", "rail": [{"name": "r", "heights": ["1 m"], "gap": "10 mm", "bay": "1 m"}]}],
    "one column served": [{"name": "lower", "vent": [{"height": "base", "slot": "10 mm", "columns": ["strip"]}]}],
}
COMMANDS = (
    ("compare", "{w} --climate {c} --out {f}/r.html --csv {f}/t --save {f}/n"),
    ("monthly", "{w} --climate {c}"),
    ("airflow", "{w} --out {f}/a.html"),
    ("size", "{w} --climate {c} --out {f}/s.html"),
    ("advise", "{w} --climate {c}"),
    ("uncertainty", "{w} --climate {c} --samples 8 --out {f}/u.html --save {f}/u.nc"),
    ("lesson", "{w} --climate {c} --out {f}/l.html"),
)


@pytest.mark.parametrize("sets", CLOSED, ids=list(CLOSED))
def test_closed_sets_run_in_every_command(sets, tmp_path, monkeypatch, days, inland):
    wall = changed((("openings",), CLOSED[sets]), (("column", 1), {"name": "other", "bottom": "3 m", "top": "6 m"}))
    path = tmp_path / "w.toml"
    path.write_text(toml(wall))
    monkeypatch.setattr("cavity.climate.estimate.read_climates", lambda *_, **__: [days])
    for command, arguments in COMMANDS:
        if command == "monthly":
            monkeypatch.setattr("cavity.climate.estimate.read_climates", lambda *_, **__: [inland])
        shown = [part.format(w=path, c="c.epw", f=tmp_path) for part in arguments.split()]
        result = CliRunner().invoke(main, [command, *shown], env={"COLUMNS": "160"})
        monkeypatch.setattr("cavity.climate.estimate.read_climates", lambda *_, **__: [days])
        assert not result.exception or isinstance(result.exception, SystemExit), (command, result.output)
        if command == "lesson" and sets != "beside others":
            # no vent is at both ends: said with what to choose
            assert result.exit_code == 2 and "choose" in result.output, (command, result.output)
            continue
        assert result.exit_code == 0, (command, result.output)
        assert not re.search(r"\bnan\b|\binf\b", result.output), (command, result.output)


def test_a_comparison_of_nothing_but_closed_sets_with_bounds_of_the_film(days):
    wall = changed((("openings",), CLOSED["alone"]), (("cavity", "film_limit"), "0 g/m2"))
    made = parse_wall(toml(wall))
    made = replace(made, run=replace(made.run, segments=2))
    assert "closed" in reported(cavity.compare(made, days))
