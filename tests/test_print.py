"""The report on paper: a summary for an authority first, every page numbered and named, and a small file."""

from __future__ import annotations

import base64
import re
import shutil
import subprocess

import pytest
from report_cases import SETS, make_comparison

from cavity.report import brief, pdf, schedule, verdict, write_report
from cavity.risk.rules import OUTSIDE, checks

WALL = "Plain wall"
CLIMATES = ("Invented Coast", "Invented Plain")

needs_browser = [
    pytest.mark.browser,
    pytest.mark.skipif(pdf.find_browser() is None, reason="no browser of the Chromium family"),
    pytest.mark.skipif(shutil.which("pdftotext") is None, reason="no poppler-utils"),
]


@pytest.fixture(scope="module")
def comparison():
    return make_comparison(hours=8760, climates=CLIMATES, name=WALL)


@pytest.fixture(scope="module")
def told(comparison):
    return brief.brief(comparison)


@pytest.fixture(scope="module")
def page(comparison, tmp_path_factory):
    return write_report(comparison, tmp_path_factory.mktemp("print") / "report.html")


@pytest.fixture(scope="module")
def printed(page):
    return pdf.write_pdf(page, page.with_suffix(".pdf"))


def pages(path):
    text = subprocess.run(["pdftotext", "-layout", path, "-"], capture_output=True, check=True).stdout.decode()
    return [" ".join(each.split()) for each in text.split("\f")[:-1]]


# ---- its content, without a browser ----------------------------------------------------------------------------------
def test_summary_tells_what_the_comparison_found(comparison, told):
    seen = verdict.view(comparison)
    assert told.verdict == verdict.headline(seen) and told.choice == seen.best.opening_set
    assert told.status == seen.best.status
    assert len(told.strips) == len(seen.strips) * len(seen.facings)
    ds = brief.deciding(seen).dataset
    assert [row[0] for row in told.schedule] == [row.name for row in schedule.rows(ds)]
    areas = [row.free_area for row in schedule.rows(ds)]
    assert [float(row[4]) for row in told.schedule] == pytest.approx([1e4 * area for area in areas], rel=5e-3)
    assert [row[1] for row in told.rules] == [each.asks for each in checks(ds) if each.outcome != OUTSIDE]
    assert told.cautions == verdict.CAUTIONS


def test_summary_names_the_climate_without_rain(told):
    with_rain, without = told.rain
    assert with_rain.startswith("Invented Coast:") and "no rain" not in with_rain
    assert without.startswith("Invented Plain: no rain in the weather file") and "needs a file with rain" in without


def test_criteria_are_the_worst_of_all_parts(comparison, told):
    best = verdict.view(comparison).best
    assert len(told.criteria) == len(best.ratios) > 3
    for row in told.criteria:
        title, _, value, limit, _, _ = row.texts
        same = [found for found in best.findings if found.title == title]
        worst = max(same, key=lambda found: found.ratio)
        assert (value, limit.split(" ", 1)[-1]) == (
            verdict.value_text(worst),
            verdict.value_text(worst, limit=True).split(" ", 1)[-1],
        )


def test_the_head_of_a_page_cannot_break_out_of_its_style(tmp_path):
    made = make_comparison(hours=24 * 40, name='"}</style><script>alert(1)</script>')
    text = write_report(made, tmp_path / "r.html").read_text("utf-8")
    assert "<script>alert(1)" not in text and text.count("</style>") == 1


# ---- on paper --------------------------------------------------------------------------------------------------------
class TestOnPaper:
    pytestmark = needs_browser

    def test_every_page_has_number_wall_case_and_climate(self, printed, told):
        found = pages(printed)
        for number, text in enumerate(found, 1):
            assert text.endswith(f"Page {number} of {len(found)}")
            assert text.startswith(f"{WALL}: cavity report") and "advisory results, not an approval" in text
            assert "Invented Coast" in text[:260], text[:260]
        assert told.head in found[0] and told.head in found[1]
        shown = [text for text in found if re.match(r".{0,40}(slots 10 mm|mesh .fine. <b>), \d\d mm, south-west", text)]
        assert len(shown) >= 4  # the pages of the case explored
        assert any(text[:200].count(" mm, Invented") == 2 and "A: " in text and "B: " in text for text in found)

    def test_two_pages_of_summary_come_first(self, printed, told):
        found = pages(printed)
        both = f"{found[0]} {found[1]}"
        for part in ("SUMMARY:", told.verdict, "Rain", "Verdict of each strip", "Assumptions", "Outside to inside:",
                     "Vent schedule of", "Criteria: the worst of each", "Rule check", "Limits of the model", "Cautions",
                     "can carry fire", *brief.SIGNED):  # fmt: skip
            assert part in both, part
        assert "Signature" in found[1] and "Signature" not in found[0] and "All combinations" in found[2]
        for row in told.schedule:
            assert row[0].split()[0] in both
        for row in told.rules:
            assert row[0].split(",")[0] in both

    def test_it_is_small_and_no_page_is_nearly_empty(self, printed):
        assert printed.stat().st_size < 2.5e6  # the aim is 5 MB; hatches as pictures and 3000 groups made it 8
        found = pages(printed)
        assert len(found) <= 20 and min(map(len, found)) > 500

    def test_print_of_the_browser_is_as_good(self, page, tmp_path):
        """What the print dialogue makes: no margins, heads or numbers from outside."""
        from selenium import webdriver
        from selenium.webdriver.chrome.service import Service

        if shutil.which("chromedriver") is None:
            pytest.skip("no chromedriver")
        options = webdriver.ChromeOptions()
        options.binary_location = pdf.find_browser()
        for switch in ("--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run"):
            options.add_argument(switch)
        browser = webdriver.Chrome(options=options, service=Service(shutil.which("chromedriver")))
        try:
            browser.set_script_timeout(120)
            browser.get(page.as_uri())
            browser.execute_async_script(
                "const done = arguments[0]; const wait = () => document.documentElement.dataset.ready === '1' ? done()"
                " : setTimeout(wait, 100); wait()"
            )
            made = browser.execute_cdp_cmd("Page.printToPDF", {"printBackground": True})
            assert not browser.find_element("id", "brief").is_displayed()
        finally:
            browser.quit()
        path = tmp_path / "print.pdf"
        path.write_bytes(base64.b64decode(made["data"]))
        found = pages(path)
        assert all(text.endswith(f"Page {n} of {len(found)}") for n, text in enumerate(found, 1))
        assert all(text.startswith(f"{WALL}: cavity report") for text in found) and "Signature" in found[1]

    def test_a_browser_without_margin_boxes_still_numbers_the_pages(self, page, tmp_path, monkeypatch):
        monkeypatch.setattr(pdf, "_BOXES_SINCE", 10_000)
        found = pages(pdf.write_pdf(page, tmp_path / "old.pdf"))
        for number, text in enumerate(found, 1):
            assert f"Page {number} of {len(found)}" in text and f"{WALL}: cavity report" in text
        assert SETS[0] in " ".join(found)
