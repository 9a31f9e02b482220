"""A report of a large comparison reads the Dataset of each case from disk two or three times, not once a table."""

from __future__ import annotations

import collections
from types import SimpleNamespace

import pytest
from report_cases import make_comparison

from cavity.report import digest, page, verdict


class OnDisk:
    """A case whose Dataset is counted each time it is read; what has no time is kept, as `JudgedCase.about` is."""

    def __init__(self, case: SimpleNamespace, reads: collections.Counter[int]) -> None:
        self.__dict__.update({name: value for name, value in vars(case).items() if name != "dataset"})
        self._held, self._reads = case.dataset, reads
        self.about = case.dataset.drop_dims("time")

    @property
    def dataset(self):
        self._reads[id(self)] += 1
        return self._held


@pytest.fixture(scope="module")
def comparison():
    return make_comparison(hours=24 * 40, climates=("Coast", "Hill"))


def test_a_case_is_read_once_for_tables_and_once_where_it_is_explored(comparison):
    reads: collections.Counter[int] = collections.Counter()
    cases = [OnDisk(case, reads) for case in comparison.cases]
    text = page.render(SimpleNamespace(**{**vars(comparison), "cases": cases}))
    # one more for the drawing, the schedule and the brief of the recommended and deciding cases
    counts = sorted(reads.values())
    assert len(counts) == len(cases) == 8
    assert counts[:4] == [2, 2, 2, 2] and counts[-1] <= 6
    # and the page is the one made from Datasets in memory
    assert text == page.render(comparison)


def test_what_is_said_of_every_case_needs_no_second_reading(comparison):
    reads: collections.Counter[int] = collections.Counter()
    cases = [OnDisk(case, reads) for case in comparison.cases]
    for _ in range(2):
        seen = verdict.view(SimpleNamespace(cases=cases))
        verdict.matrix(seen)
        assert verdict.headline(seen)
    assert set(reads.values()) == {1}
    replaced = SimpleNamespace(**vars(comparison.cases[0]))
    before = digest.digest(replaced)
    replaced.dataset = replaced.dataset.assign(air_change_rate=2.0 * replaced.dataset["air_change_rate"])
    assert digest.digest(replaced).rate == pytest.approx(2.0 * before.rate)
