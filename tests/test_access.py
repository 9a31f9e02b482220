"""Every page in Chromium: accessible by an automated audit, no text over text, none cut off, none too small.

The audit is axe-core (npm package, MPL-2.0); `CAVITY_AXE` names the folder in which it is installed.
"""

from __future__ import annotations

import json
import os
import re
import shutil
from pathlib import Path

import pytest
from report_cases import make_comparison
from test_lesson import made_up
from test_report_browser import browser, settle, width  # noqa: F401 (browser is a fixture)
from test_study_page import sizing
from test_study_uncertainty import made_study, with_pairs

from cavity.report import lesson_page, pdf, study_page, write_report

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(pdf.find_browser() is None, reason="no browser of the Chromium family"),
    pytest.mark.skipif(shutil.which("chromedriver") is None, reason="no chromedriver"),
]
ROOT = Path(__file__).parents[1]
PAGES = ("report", "names", "airflow", "climate", "size", "uncertainty", "lesson", "verify")


@pytest.fixture(scope="module")
def pages(tmp_path_factory, starter_wall, inland):
    """One page of each command, by its name."""
    from cavity.airflow.steady import steady_air
    from cavity.climate.summary import summarise
    from cavity.published import verify
    from cavity.report.airflow_page import write_airflow_page
    from cavity.report.climate_page import write_climate_page
    from cavity.study import lesson

    folder = tmp_path_factory.mktemp("pages")
    made = {name: folder / f"{name}.html" for name in PAGES}
    write_report(make_comparison(climates=("Invented Coast", "Invented Plain")), made["report"])
    write_report(long_names(), made["names"])
    write_airflow_page([steady_air(starter_wall.case(), sun=(0.0, 500.0))], made["airflow"])
    write_climate_page(summarise(inland), made["climate"])
    study_page.write_size_page(sizing(), made["size"])
    study_page.write_uncertainty_page(with_pairs(made_study([0.5, 0.7, 0.65, 1.1])), made["uncertainty"])
    lesson_page.write_lesson(
        [made_up(key) for key in lesson.QUANTITIES], made["lesson"], wall_name="Wall", climate_name="Plain"
    )
    verify.write_verify_page(verify.run(("airflow",)), made["verify"])
    return made


def long_names():
    """Return a comparison whose openings and parts have the names of a wall with windows and storeys."""
    made = make_comparison()
    for case in made.cases:
        ds = case.dataset
        place = ", between windows, storeys 1 and 2"
        known = ds.attrs["wall_json"]
        for label in ds["opening"].values:
            known = known.replace(json.dumps(str(label)), json.dumps(f"{label}{place}"))
        case.dataset = ds.assign_coords(
            {name: [f"{label}{place}" for label in ds[name].values] for name in ("opening", "part")}
        )
        case.dataset.attrs["wall_json"] = known
    return made


def open_page(browser, path, pixels=1366, tall=900):  # noqa: F811
    width(browser, pixels, tall)
    browser.get(path.as_uri())
    settle(browser)
    browser.execute_script(
        "document.documentElement.style.scrollBehavior = 'auto';"
        "document.querySelectorAll('details').forEach((fold) => { fold.open = true; });"
    )
    browser.execute_async_script("requestAnimationFrame(() => setTimeout(arguments[0], 600))")


def axe_source():
    folder = os.environ.get("CAVITY_AXE")
    if not folder:
        pytest.skip("CAVITY_AXE does not name a folder with axe-core: npm install --prefix FOLDER axe-core")
    return (Path(folder) / "node_modules" / "axe-core" / "axe.min.js").read_text("utf-8")


@pytest.mark.parametrize("name", PAGES)
def test_the_audit_finds_nothing_serious(browser, pages, name):  # noqa: F811
    source = axe_source()
    found = []
    for theme, pixels in (("light", 1366), ("dark", 1366), ("light", 390)):
        open_page(browser, pages[name], pixels)
        if theme == "dark":
            browser.execute_script("document.getElementById('theme').click()")
        browser.execute_script(source)
        outcome = browser.execute_async_script(
            "const done = arguments[0]; axe.run(document, {resultTypes: ['violations'], runOnly: ['wcag2a', 'wcag2aa',"
            "'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']}).then((r) => done(r.violations.map((v) => [v.impact,"
            " v.id, v.nodes.length, v.nodes.slice(0, 3).map((n) => n.target.join(' ') + ' ' + n.failureSummary)])))"
        )
        found += [(theme, pixels, *each) for each in outcome if each[0] in ("serious", "critical")]
        browser.execute_script("localStorage.clear()")
    assert not found, "\n".join(map(str, found))


# Text of figures and drawings: what overlaps by more than a hair, leaves its figure, or is smaller than 12 px.
_TEXT = """
const small = arguments[0], faults = [];
const hair = 2;
for (const box of document.querySelectorAll('.plot, figure svg.section, #section-drawing, figure.elevation')) {
  const frame = box.getBoundingClientRect();
  if (!frame.width) continue;
  const name = box.id || box.className.baseVal || box.className;
  const texts = [...box.querySelectorAll('text')].filter((t) => t.textContent.trim() && !t.closest('.hoverlayer, defs')
    && getComputedStyle(t).visibility !== 'hidden' && getComputedStyle(t).opacity !== '0').map((t) => {
      const r = t.getBoundingClientRect();
      const turned = Math.abs((t.getScreenCTM() || {b: 0}).b) > 0.01;
      const scale = t.getScreenCTM() ? Math.hypot(t.getScreenCTM().a, t.getScreenCTM().b) : 1;
      return { t, r, turned, size: parseFloat(getComputedStyle(t).fontSize) * scale, words: t.textContent.trim().slice(0, 40) };
    }).filter((one) => one.r.width > 0);
  let scrolls = box;
  while (scrolls && getComputedStyle(scrolls).overflowX !== 'auto') scrolls = scrolls.parentElement;
  for (const one of texts) {
    if (one.size < small - 0.05) faults.push(`${name}: ${one.size.toFixed(1)} px: ${one.words}`);
    if (!scrolls && (one.r.left < frame.left - hair || one.r.right > frame.right + hair || one.r.top < frame.top - hair || one.r.bottom > frame.bottom + hair))
      faults.push(`${name}: cut off: ${one.words}`);
  }
  for (let i = 0; i < texts.length; i++) for (let k = 0; k < i; k++) {
    const a = texts[i].r, b = texts[k].r;
    const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left), tall = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
    if (wide > hair && tall > 0.3 * Math.min(a.height, b.height) && tall > hair) faults.push(`${name}: "${texts[i].words}" over "${texts[k].words}"`);
  }
}
return faults;
"""  # noqa: E501


@pytest.mark.parametrize("name", PAGES)
def test_numbers_and_signs_are_set_as_on_paper(browser, pages, name):  # noqa: F811
    """No number as a machine writes it (8.33333e-06), no underscore for a subscript, no 1/h."""
    open_page(browser, pages[name])
    texts = browser.execute_script(
        "const walk = document.createTreeWalker(document.getElementById('main'), NodeFilter.SHOW_TEXT), seen = [];"
        "while (walk.nextNode()) if (!walk.currentNode.parentElement.closest('pre, code, math, script, style, option'))"
        " seen.push(walk.currentNode.data);"
        "for (const div of document.querySelectorAll('.plot')) for (const t of div.data || []) seen.push("
        "...[t.hovertemplate, t.name, ...[t.text, t.customdata].filter(Array.isArray).flat(2)]"
        ".filter((said) => typeof said === 'string'));"
        "return seen"
    )
    assert len(texts) > 50
    faults = {
        "exponent": r"(?<![0-9a-fA-F])\d(?:\.\d+)?[eE][-+]?\d{1,3}(?![0-9a-fA-F])",
        "digits": r"\d\.0*[1-9]\d{5,}",
        "underscore": r"(?<![A-Za-z0-9_])[A-Za-zμλρθ]_[A-Za-z0-9]{1,3}(?![A-Za-z0-9_])",
        "per hour": r"(?<![\d/])1/h\b",
        "area": r"mm²/m\b",
        "label of the Dataset": r"\b(outer face|room face|back of cladding)\b",
    }
    found = [(what, text) for text in texts for what, fault in faults.items() if re.search(fault, text)]
    assert found == []


@pytest.mark.parametrize("pixels", [1366, 820, 390])
@pytest.mark.parametrize("name", PAGES)
def test_no_text_overlaps_is_cut_off_or_too_small(browser, pages, name, pixels):  # noqa: F811
    open_page(browser, pages[name], pixels)
    found = browser.execute_script(_TEXT, 12)
    assert not found, "\n".join(found)


@pytest.mark.parametrize("name", PAGES)
def test_tab_stops_are_those_of_the_page_alone(browser, pages, name):  # noqa: F811
    """Tool buttons of the figures are for the mouse; links, buttons, choices, folds and tables to scroll are stops."""
    open_page(browser, pages[name])
    stops = browser.execute_script(
        "return [...document.querySelectorAll('a, button, input, select, summary, [tabindex]')]"
        ".filter((e) => e.tabIndex >= 0 && e.getClientRects().length).map((e) => [e.tagName, !!e.closest('.plot')])"
    )
    assert [stop for stop in stops if stop[1]] == []
    assert len(stops) < (90 if name in ("report", "names") else 45)


def test_focus_follows_the_chosen_cell(browser, pages):  # noqa: F811
    from selenium.webdriver.common.keys import Keys

    open_page(browser, pages["report"])
    cell = browser.find_elements("css selector", "#matrix .cell")[1]
    cell.send_keys(Keys.ENTER)
    settle(browser)
    assert browser.execute_script("return document.activeElement.id") == "explore-title"
    # and the way back: the chosen cell is named on the page
    assert browser.execute_script("return document.querySelectorAll('.cell[aria-pressed=true]').length") == 1


def test_less_motion_where_it_is_asked_for(browser, pages):  # noqa: F811
    browser.execute_cdp_cmd(
        "Emulation.setEmulatedMedia", {"features": [{"name": "prefers-reduced-motion", "value": "reduce"}]}
    )
    try:
        open_page(browser, pages["report"])
        assert (
            browser.execute_script(
                "return [...document.querySelectorAll('*')].filter((e) => { const s = getComputedStyle(e);"
                "return parseFloat(s.transitionDuration) > 0.01 || parseFloat(s.animationDuration) > 0.01"
                "|| s.scrollBehavior === 'smooth'; }).length"
            )
            == 0
        )
    finally:
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})


def test_the_verify_page_is_folded_by_area(browser, pages):  # noqa: F811
    width(browser, 1366)
    browser.get(pages["verify"].as_uri())
    settle(browser)
    assert browser.execute_script("return document.documentElement.scrollHeight") < 9000


def test_a_lesson_is_presented_one_question_a_screen(browser, pages):  # noqa: F811
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.keys import Keys

    def press(key):
        ActionChains(browser).send_keys(key).perform()

    def seen():
        return browser.execute_script(
            "return [...document.querySelectorAll('section.part')].filter((p) => p.getClientRects().length)"
            ".map((p) => [p.id, !p.querySelector('.reply').hidden])"
        )

    width(browser, 1366, 768)
    browser.get(pages["lesson"].as_uri())
    settle(browser)
    browser.find_element("id", "present").click()
    assert seen() == [["part-1", False]]
    press(Keys.SPACE)
    assert seen() == [["part-1", True]]
    press(Keys.ARROW_RIGHT)
    assert seen() == [["part-2", False]]  # the next question comes without its answer
    assert (
        browser.execute_script("return parseFloat(getComputedStyle(document.querySelector('.on .ask')).fontSize)") >= 20
    )
    press(Keys.ESCAPE)
    assert len(seen()) > 5


def test_a_lesson_prints_without_answers_unless_they_are_shown(browser, pages):  # noqa: F811
    width(browser, 1366)
    browser.get(pages["lesson"].as_uri())
    settle(browser)
    answers = "return [...document.querySelectorAll('details.answer')].map((fold) => fold.open)"
    printing = "window.dispatchEvent(new Event('beforeprint'))"
    browser.execute_script(printing)
    assert not any(browser.execute_script(answers))  # the handout
    browser.execute_script("window.dispatchEvent(new Event('afterprint'))")
    browser.find_element("id", "answers").click()
    browser.execute_script(printing)
    assert all(browser.execute_script(answers))  # the teacher's sheet
    browser.execute_script("window.dispatchEvent(new Event('afterprint'))")


def test_the_data_of_a_lesson_are_those_of_its_table(browser, pages):  # noqa: F811
    import csv

    browser.get(pages["lesson"].as_uri())
    settle(browser)
    text, cells = browser.execute_script(
        "const t = document.querySelector('#part-1 table');"
        "return [Cavity.csv(t), [...t.rows].map((r) => [...r.cells].map((c) => c.textContent.trim()))]"
    )
    assert list(csv.reader(text.splitlines())) == cells and len(cells) == 4
