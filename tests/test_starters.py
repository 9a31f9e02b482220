"""The walls to start from: each has a choice that does not fail in the climate of the README's demo."""

import pytest
from conftest import ROOT

import cavity
from cavity.risk import ranking
from cavity.study.engine import Engine, Job
from cavity.wallfile import parse_wall, starter, starters


@pytest.mark.parametrize("name", starters())
def test_the_most_open_choice_does_not_fail(name):
    """The last set of openings at the greatest depth, every strip."""
    wall = parse_wall(starter(name), name)
    weather = cavity.read_weather(ROOT / "climates" / "cool_marine.epw")
    last = {"opening_set": wall.opening_sets[-1].name, "depth": wall.depths[-1]}
    jobs = [Job(wall.case(column=column.name, **last), weather) for column in wall.columns]
    with Engine() as engine:
        results = engine.run(jobs, keep="findings")
    found = {result.job.case.column.name: result.failure or ranking.status(result.findings) for result in results}
    assert set(found) == {column.name for column in wall.columns}
    assert set(found.values()) <= {"pass", "review"}, found
