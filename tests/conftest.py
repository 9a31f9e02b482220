"""Fixtures shared by all tests."""

from __future__ import annotations

import importlib.util
import os
import tempfile
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import settings

# the first example of a test may compile a kernel; the same examples come each time, so that no run fails by luck; new
# ones are drawn on request: CAVITY_NEW_DRAWS=1 pytest
settings.register_profile("project", deadline=None, derandomize=not os.environ.get("CAVITY_NEW_DRAWS"))
settings.load_profile("project")

ROOT = Path(__file__).parents[1]


@pytest.fixture(autouse=True, scope="session")
def _own_cases():
    """Keep finished cases of the tests apart from those of the user, so that every run computes what it tests."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ["CAVITY_CASES"] = folder
        yield
        del os.environ["CAVITY_CASES"]


@pytest.fixture(scope="session")
def starter_wall():
    """The fictitious wall of the starter file."""
    from cavity.wallfile import parse_wall
    from cavity.wallfile.starter import starter

    return parse_wall(starter(), "starter.toml")


@pytest.fixture(scope="session")
def one_year(starter_wall):
    """The starter wall, one year only, from equilibrium at 70 %."""
    return replace(starter_wall, run=replace(starter_wall.run, max_years=1, start_humidity=0.7, start_month=1))


@pytest.fixture(scope="session")
def inland():
    """The invented inland climate."""
    from cavity.climate import read_weather

    return read_weather(ROOT / "climates" / "temperate_inland.epw")


@pytest.fixture(scope="session")
def winter(inland):
    """Ten January days of it."""
    return inland.isel(time=slice(0, 240))


def open_weather(name: str) -> Path:
    """An EPW file of the open data package accim-samples, found where it is installed."""
    spec = importlib.util.find_spec("accim")
    if spec is None or not spec.submodule_search_locations:
        pytest.skip("open weather data is not installed: pip install --no-deps accim-samples==0.8.2")
    found = sorted(Path(next(iter(spec.submodule_search_locations))).rglob(name))
    assert found, f"accim-samples has no {name}"
    return found[0]
