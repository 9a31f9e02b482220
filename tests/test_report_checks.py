"""The summary of the published cases in the report: it is that of a live run, and it is shown as it stands."""

from __future__ import annotations

import re
from collections import Counter

import pytest
from report_cases import make_comparison

from cavity.published import verify
from cavity.report import evidence, page


def test_the_summary_is_that_of_a_live_run():
    """After a change of cases or of what they compute: `python tests/make_docs.py`."""
    found = verify.run(())
    kept, live = evidence.published(), verify.digest(found)
    assert set(found) <= set(evidence._AREAS)  # a new area needs a name for readers
    assert verify.failed(found) == []  # the page says that none of those outside is a failure
    assert kept["version"] == live["version"]
    numbers = ("computed", "lower", "upper")
    words = [[{k: v for k, v in row.items() if k not in numbers} for row in each["cases"]] for each in (kept, live)]
    assert words[0] == words[1]
    for old, new in zip(kept["cases"], live["cases"], strict=True):
        for key in numbers:
            # the page shows three digits; more is left to the processor's rounding
            assert old.get(key, 0.0) == pytest.approx(new.get(key, 0.0), rel=2e-3), new["name"]


def test_counts_of_the_page_are_those_of_the_cases():
    kept = evidence.published()
    shown = evidence.checks(kept)
    outcomes = Counter(case["outcome"] for case in kept["cases"])
    assert shown["rows"][-1] == ("All", len(kept["cases"]), *(outcomes[k] for k in ("pass", "outside", "not run")))
    assert [sum(row[n] for row in shown["rows"][:-1]) for n in (1, 2, 3, 4)] == list(shown["rows"][-1][1:])
    assert len(shown["open"]) == outcomes["outside"] + outcomes["not run"]
    assert all(why for _, _, _, why in shown["open"])  # each has its reason


def test_the_report_shows_counts_version_and_each_case_not_met(monkeypatch):
    case = {"area": "airflow", "name": "<b>mesh</b>", "inputs": "1 Pa", "outcome": "outside", "note": "assumed drive",
            "computed": 12.345, "lower": 1.0, "upper": 9.0, "units": "1/h"}  # fmt: skip
    told = {"version": "9.9", "cases": [{"area": "wall", "name": "x", "inputs": "", "outcome": "pass"}, case]}
    comparison = make_comparison(hours=24 * 30)
    monkeypatch.setattr(evidence, "published", lambda: told)
    text = page.render(comparison)
    assert "Version 9.9 passes 1 of 2 benchmark and verification cases; 1 fall" in text
    rows = re.search(r'id="checks-open">.*?</table>', text, re.S)[0]
    assert "&lt;b&gt;mesh&lt;/b&gt; (1 Pa)" in rows and "computed 12.3, range 1 to 9 1/h. Assumed drive" in rows
    areas = re.search(r'id="checks-areas">.*?</table>', text, re.S)[0]
    assert re.findall(r'<td class="num">(\d+)</td>', areas) == list("110010102110")  # wall, air flow, all
