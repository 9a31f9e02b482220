"""A comparison runs every strip of the wall, and a set passes only if all of them pass: real runs of a few days."""

from dataclasses import replace

import pytest
from test_study_size import small_wall

import cavity
from cavity.report import verdict
from cavity.risk.ranking import gather
from cavity.wallfile.model import Column


@pytest.fixture(scope="module")
def days(inland):
    return inland.isel(time=slice(0, 72))


@pytest.fixture(scope="module")
def two_strips():
    wall = small_wall()
    top = wall.columns[0].top
    columns = (replace(wall.columns[0], fraction=0.75), Column("short", wall.columns[0].bottom, top, 0.25))
    return replace(wall, columns=columns, opening_sets=wall.opening_sets[:1], depths=(0.02, 0.04))


def test_every_strip_is_run_unless_some_are_chosen(two_strips, days):
    found = cavity.compare(two_strips, days)
    names = [each.name for each in two_strips.columns]
    assert [(case.column, case.depth) for case in found.cases] == [
        (name, depth) for name in names for depth in (0.02, 0.04)
    ]
    choices = gather(found.cases)
    assert {len(choice.parts) for choice in choices} == {2}
    seen = verdict.view(found)
    assert "on both strips" in verdict.headline(seen)
    assert verdict.start(seen) in range(4)
    one = cavity.compare(two_strips, days, columns=["short"])
    assert {case.column for case in one.cases} == {"short"}


def test_numbers_of_a_strip_do_not_depend_on_the_others(two_strips, days):
    both, one = cavity.compare(two_strips, days), cavity.compare(two_strips, days, columns=["short"])
    alone = [case.findings for case in both.cases if case.column == "short"]
    assert alone == [case.findings for case in one.cases]
