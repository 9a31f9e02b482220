"""Climates by name: found from any folder, listed, the default that a command states, and what comes with a wheel."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner

import cavity
from cavity.cli import main
from cavity.climate import climate_names, packaged
from cavity.climate.named import DEFAULT, weather_file
from cavity.errors import InputError

ROOT = Path(__file__).parents[1]


def run(*words: str, expect: int = 0):
    result = CliRunner().invoke(main, list(words), env={"COLUMNS": "120", "NO_COLOR": "1"})
    assert result.exit_code == expect, result.output
    assert "Traceback" not in result.output
    return result


@pytest.fixture
def empty(tmp_path, monkeypatch):
    """An empty folder to work in."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_six_climates_come_along():
    assert len(climate_names()) == len(packaged()) == 6
    assert DEFAULT in climate_names()
    assert {path.name for path in packaged().values()} == {path.name for path in (ROOT / "climates").glob("*.epw")}


@pytest.mark.parametrize("word", ["cool marine", "Cool Marine", "cool_marine", "COOL-MARINE", " cool  marine "])
def test_a_name_is_read_without_regard_to_case_and_joints(empty, word):
    assert weather_file(word) == packaged()["cool_marine"]


def test_weather_by_name_is_that_of_its_file(empty):
    named, by_path = cavity.read_weather("hot dry"), cavity.read_weather(packaged()["hot_dry"])
    assert named.identical(by_path) and named.attrs["invented"]


def test_a_file_of_that_name_comes_first(empty):
    (empty / "cool marine").write_bytes(packaged()["hot_dry"].read_bytes())
    assert cavity.read_weather("cool marine").attrs["name"].startswith("Dustgate")


def test_a_wrong_name_is_answered_with_the_names(empty):
    with pytest.raises(
        InputError, match=r"no such file or climate(.|\n)*hot humid(.|\n)*did you mean \"cool marine\"\?"
    ):
        cavity.read_weather("cool marin")
    with pytest.raises(InputError, match="check the path or the name"):
        cavity.read_weather("zzz")


@pytest.mark.parametrize("path", ["nothing.epw", "folder/cool marine", "x" * 3000])
def test_a_wrong_path_is_told_as_a_path(empty, path):
    with pytest.raises(InputError, match="weather file"):
        cavity.read_weather(path)


def test_climate_without_a_file_lists_them(empty):
    shown = run("climate").stdout
    assert all(name in shown for name in climate_names()) and "fictitious" in shown
    yearly = float(cavity.read_weather("hot humid")["rain"].sum()) * 3600.0
    (line,) = [line for line in shown.splitlines() if line.startswith("hot humid")]
    assert f"{yearly:.0f}" in line.split() and "Steamhaven" in line


def test_an_option_without_a_file_is_wrong_use(empty):
    assert "name a FILE" in run("climate", "--out", "page.html", expect=2).stderr
    assert list(empty.iterdir()) == []


def test_a_command_without_climate_states_the_default(empty):
    run("new", "wall.toml")
    without, named = run("monthly", "wall.toml"), run("monthly", "wall.toml", "--climate", DEFAULT)
    assert without.stdout == named.stdout
    assert "no --climate is given" in without.stderr and f'"{DEFAULT}" (Drizzlemere)' in without.stderr
    assert "no --climate" not in named.stderr


@pytest.mark.parametrize("option", [["--rain", "mine.csv"], ["--rain-total", "780 mm"]])
def test_rain_of_a_place_is_not_laid_on_the_default(empty, option):
    run("new", "wall.toml")
    told = run("monthly", "wall.toml", *option, expect=2).stderr
    assert told.startswith(option[0]) and "--climate" in told


def test_every_command_with_weather_has_the_same_option():
    """One text, never required; `live` offers its own choice on the page."""
    options = {
        name: option
        for name, command in main.commands.items()
        for option in command.params
        if "--climate" in option.opts
    }
    assert set(options) == {"compare", "monthly", "size", "uncertainty", "advise", "lesson", "live"}
    assert not any(option.required for option in options.values())
    assert len({option.help for name, option in options.items() if name not in ("compare", "live")}) == 1


def test_a_wheel_holds_them(tmp_path):
    """Built without the network; read from the unpacked wheel, away from the sources."""
    pytest.importorskip("hatchling")
    code = f"from hatchling.build import build_wheel; print(build_wheel({str(tmp_path)!r}))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    wheel = tmp_path / done.stdout.split()[-1]
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(tmp_path / "site")
    code = "import cavity; print(cavity.__file__); print(cavity.read_weather('cool marine').attrs['name'])"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False, cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(tmp_path / "site")},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stdout.split("\n")[0].startswith(str(tmp_path)) and "Drizzlemere" in done.stdout
