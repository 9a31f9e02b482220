"""The summary of the benchmark cases in the report: it is that of a live run, and it is shown as it stands."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

from report_cases import make_comparison

from cavity.published import verify
from cavity.published.case import DOUBTFUL, LIBRARY, MEMORY, OWN, READ, TAGS
from cavity.report import inputs_and_sources, page


def test_the_summary_is_that_of_a_live_run():
    """After a change of cases or of what they compute: `python tests/make_docs.py`."""
    found = verify.run(())
    kept, live = inputs_and_sources.published(), verify.digest(found)
    assert set(found) <= set(inputs_and_sources._AREAS)  # a new area needs a name for readers
    assert verify.failed(found) == []  # the page says that none of those outside is a failure
    assert kept["version"] == live["version"]
    assert kept["provenance"] == live["provenance"]
    # what is expected, from where, and how it came out; the digits of our own are no evidence and are not pinned
    digits = ("computed", "lower", "upper")
    words = [[{k: v for k, v in row.items() if k not in digits} for row in each["cases"]] for each in (kept, live)]
    assert words[0] == words[1]
    for old, new in zip(kept["cases"], live["cases"], strict=True):
        assert all((key in old) == (key in new) for key in digits)
        if "computed" in old:
            assert not old["lower"] <= old["computed"] <= old["upper"], old["name"]  # as its outcome says


def test_every_case_says_how_its_expected_value_is_known_and_the_counts_add_up():
    kept = inputs_and_sources.published()
    counts = Counter(case["tag"] for case in kept["cases"])
    assert set(counts) <= set(TAGS) and sum(counts.values()) == len(kept["cases"])
    for tag, meaning in TAGS.items():
        assert (f"{counts[tag]} {tag} ({meaning})" in kept["provenance"]) == bool(counts[tag])
    assert kept["provenance"] in inputs_and_sources.checks(kept)["sentence"]
    readme = " ".join((Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8").split())
    assert f"`cavity verify` runs {len(kept['cases'])} cases. {kept['provenance']}" in readme


def test_what_is_computed_by_the_test_itself_is_not_called_published():
    """Words of a source that say so go with the tag that says so, and the other way round."""
    ours = r"by hand|worked (by|from|month)|own (convergence|check)|conservation of|computed (by|from)|exact"
    for case in inputs_and_sources.published()["cases"]:
        source, tag = case["source"].lower(), case["tag"]
        if re.search(ours, source):
            assert tag not in (READ, MEMORY, DOUBTFUL), case
        if tag == OWN:
            assert re.search(r"own convergence|conservation of", source), case
        if tag == LIBRARY:
            assert "coolprop" in source, case


def test_counts_of_the_page_are_those_of_the_cases():
    kept = inputs_and_sources.published()
    shown = inputs_and_sources.checks(kept)
    outcomes = Counter(case["outcome"] for case in kept["cases"])
    assert shown["rows"][-1] == ("All", len(kept["cases"]), *(outcomes[k] for k in ("pass", "outside", "not run")))
    assert [sum(row[n] for row in shown["rows"][:-1]) for n in (1, 2, 3, 4)] == list(shown["rows"][-1][1:])
    assert len(shown["open"]) == outcomes["outside"] + outcomes["not run"]
    assert all(why for _, _, _, why in shown["open"])  # each has its reason
    assert not [row for row in shown["open"] for text in row if re.search(r"`|\bdegC\b|m[23]\b", text)]


def test_the_report_shows_counts_version_and_each_case_not_met(monkeypatch):
    case = {"area": "airflow", "name": "<b>mesh</b>", "inputs": "1 Pa", "outcome": "outside", "note": "assumed drive",
            "computed": 12.345, "lower": 1.0, "upper": 9.0, "units": "1/h"}  # fmt: skip
    told = {"version": "9.9", "cases": [{"area": "wall", "name": "x", "inputs": "", "outcome": "pass"}, case]}
    comparison = make_comparison(hours=24 * 30)
    monkeypatch.setattr(inputs_and_sources, "published", lambda: told)
    text = page.render(comparison)
    assert "Version 9.9 passes 1 of 2 benchmark and verification cases; 1 fall" in text
    rows = re.search(r'id="checks-open">.*?</table>', text, re.S)[0]
    assert "&lt;b&gt;mesh&lt;/b&gt; (1 Pa)" in rows and "computed 12.3, range 1 to 9 1/h. Assumed drive" in rows
    areas = re.search(r'id="checks-areas">.*?</table>', text, re.S)[0]
    assert re.findall(r'<td class="num">(\d+)</td>', areas) == list("110010102110")  # wall, air flow, all
