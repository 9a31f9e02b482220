"""Every page on paper: no text over text, none cut off or outside the margins, none too small, no half-empty sheet."""

from __future__ import annotations

import base64
import itertools
import re
import shutil
import subprocess
import xml.etree.ElementTree as ET
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from report_cases import SETS, make_comparison
from test_access import pages as screen_pages  # noqa: F401 (a fixture)
from test_report_browser import browser, settle, width  # noqa: F401 (browser is a fixture)

from cavity.report import pdf, write_report

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(pdf.find_browser() is None, reason="no browser of the Chromium family"),
    pytest.mark.skipif(shutil.which("chromedriver") is None, reason="no chromedriver"),
    pytest.mark.skipif(shutil.which("pdftotext") is None, reason="no poppler-utils"),
]
KINDS = (
    "report", "letter", "one case", "airflow", "climate", "cold climate", "size", "uncertainty", "lesson", "teacher",
    "verify", "walls",
)  # fmt: skip
MM = 72 / 25.4  # points
XHTML = "{http://www.w3.org/1999/xhtml}"  # of what pdftotext writes
MARGINS = (17 * MM, 16 * MM)  # above and below: as in base.css
SMALL = 6.4  # pt, sources in tables; figures have 7.5 pt
EMPTY = 0.4  # of a sheet that is not the last of its part


# ---- what is really on the sheets ------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Word:
    """A word on a sheet, its box in points from the upper left corner."""

    text: str
    left: float
    top: float
    right: float
    bottom: float

    @property
    def letters(self):
        """Height of the box across the line of writing, upright or turned; about 1.12 times the size of the letters."""
        return min(self.right - self.left, self.bottom - self.top)


@dataclass(frozen=True)
class Sheet:
    """One sheet: its size in points, its words, and the fraction of its body below the last ink."""

    wide: float
    tall: float
    words: list[Word]
    empty: float

    @property
    def head(self):
        """What the upper right corner says: the part of the report."""
        return " ".join(word.text for word in self.words if word.bottom < MARGINS[0] and word.left > self.wide / 3)


def sheets(path):
    text = subprocess.run(["pdftotext", "-bbox", path, "-"], capture_output=True, check=True).stdout.decode()
    tree = ET.fromstring(re.sub(r"<!DOCTYPE[^>]*>|[\x00-\x08\x0b\x0c\x0e-\x1f]", "", text))
    inks = subprocess.run(["pdftoppm", "-r", "36", "-gray", path], capture_output=True, check=True).stdout
    found = []
    for page in tree.iter(f"{XHTML}page"):
        each = [
            Word("".join(word.itertext()), *(float(word.get(key)) for key in ("xMin", "yMin", "xMax", "yMax")))
            for word in page.iter(f"{XHTML}word")
        ]
        head = re.match(rb"P5\s+(\d+)\s+(\d+)\s+255\s", inks)
        across, down = int(head[1]), int(head[2])
        ink = np.frombuffer(inks, np.uint8, across * down, head.end()).reshape(down, across)
        inks = inks[head.end() + across * down :]
        first, last = (round(side / 2.0) for side in (MARGINS[0], down * 2.0 - MARGINS[1]))
        rows = np.flatnonzero((ink[first:last] < 200).any(axis=1))
        empty = 1.0 - (rows[-1] + 1) / (last - first) if rows.size else 1.0
        found.append(Sheet(float(page.get("width")), float(page.get("height")), each, empty))
    return found


def over_one_another(words):
    """Return pairs of words whose boxes cover each other by more than a third of the smaller height.

    A word with a rim is drawn twice in one place, which is no fault; nor is a subscript, which the plotting library
    sets after a space without width.
    """
    found = []
    for one, other in itertools.combinations(sorted(words, key=lambda word: word.left), 2):
        if other.left >= one.right - 1.0:
            continue
        if one.text == other.text and abs(one.left - other.left) + abs(one.right - other.right) < 0.2:
            continue
        if "\u200b" in one.text + other.text:
            continue
        wide = min(one.right, other.right) - max(one.left, other.left)
        tall = min(one.bottom, other.bottom) - max(one.top, other.top)
        if wide > 1.0 and tall > 0.35 * min(one.bottom - one.top, other.bottom - other.top):
            found.append((one.text, other.text))
    return found


def faults_of(printed):
    """Return what is wrong on the sheets: text over text, or too small to be read."""
    found = []
    for number, sheet in enumerate(printed, 1):
        found += [f"sheet {number}: “{one}” over “{other}”" for one, other in over_one_another(sheet.words)]
        for word in sheet.words:
            if word.letters < SMALL and re.search(r"\w{4}", word.text):
                found.append(f"sheet {number}: {word.letters:.1f} pt high: {word.text}")
    return found


# What is cut off or beyond the margins is not among the words of a PDF: the page is laid out as for paper and asked.
CUT = """
const faults = [];
for (const box of document.querySelectorAll('.plot svg.main-svg, svg[viewBox]')) {
  const frame = box.getBoundingClientRect();
  if (!frame.width || box.closest('defs')) continue;
  for (const text of box.querySelectorAll('text')) {
    const one = text.getBoundingClientRect();
    if (!one.width || !text.textContent.trim() || text.closest('.hoverlayer, defs')) continue;
    const within = text.closest('[clip-path]'), named = within && /#([^"')]+)/.exec(within.getAttribute('clip-path')), clip = named && document.querySelector(`[id="${named[1]}"] rect`);
    if (clip) {
      const at = within.getScreenCTM(), left = at.e + at.a * clip.x.baseVal.value, top = at.f + at.d * clip.y.baseVal.value;
      if (one.left < left - 2 || one.top < top - 2 || one.right > left + at.a * clip.width.baseVal.value + 2 || one.bottom > top + at.d * clip.height.baseVal.value + 2)
        faults.push(`${(box.closest('[id]') || box).id}: cut off by its axes: ${text.textContent.trim()}`);
    }
    if (one.left < frame.left - 2 || one.right > frame.right + 2 || one.top < frame.top - 2 || one.bottom > frame.bottom + 2)
      faults.push(`${(box.closest('[id]') || box).id}: cut off: ${text.textContent.trim()}`);
  }
}
for (const bar of document.querySelectorAll('.legend .scrollbar')) if (bar.getBoundingClientRect().height > 1) faults.push(`${bar.closest('.plot').id}: a legend that scrolls`);
for (const box of document.querySelectorAll('#main *')) {
  if (!box.getClientRects().length || box.closest('svg, .plot, .visually-hidden, math')) continue;
  const style = getComputedStyle(box);
  if (style.overflowX !== 'visible' && box.scrollWidth > box.clientWidth + 2) faults.push(`wider than its box: ${box.textContent.trim().slice(0, 50)}`);
  if (style.display !== 'inline' && (box.getBoundingClientRect().right > document.documentElement.clientWidth + 2 || box.getBoundingClientRect().left < -2)) faults.push(`beyond the margins: <${box.tagName.toLowerCase()}> ${box.textContent.trim().slice(0, 50)}`);
  if (/^(BUTTON|SELECT|INPUT)$/.test(box.tagName) && !box.matches('.cell')) faults.push(`a control on paper: ${box.id || box.textContent.trim()}`);
}
return faults;
"""  # noqa: E501


def cut_off(browser, path, teacher=False):  # noqa: F811
    """Return what is cut off on a page as it is laid out for A4, and what is there only for the mouse."""
    width(browser, round((210 - 2 * 14) / 25.4 * 96), 1000)
    browser.get(path.as_uri())
    settle(browser)
    if teacher:
        browser.find_element("id", "answers").click()
        settle(browser)
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    try:
        browser.execute_script("window.dispatchEvent(new Event('beforeprint'))")
        browser.execute_async_script("requestAnimationFrame(() => setTimeout(arguments[0], 800))")
        return browser.execute_script(CUT)
    finally:
        browser.execute_script("window.dispatchEvent(new Event('afterprint'))")
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})


_ROOM = '<span style="display:inline-block;height:30px"></span>'  # of a fraction


def without_formulas(path):
    """Return a copy of a page with room in place of its formulas: fractions and indices are set close on purpose."""
    copy = path.with_name(f"{path.stem}_plain.html")
    copy.write_text(re.sub(r"(?s)<math.*?</math>", _ROOM, path.read_text("utf-8")), "utf-8")
    return copy


# ---- the pages -------------------------------------------------------------------------------------------------------
@pytest.fixture(scope="module")
def paths(screen_pages, tmp_path_factory):  # noqa: F811
    from cavity.climate import read_weather
    from cavity.climate.summary import summarise
    from cavity.report.climate_page import write_climate_page
    from cavity.report.summary import rows
    from cavity.report.summary_page import write_summary

    folder = tmp_path_factory.mktemp("paper")
    made = dict(screen_pages)
    made["report"] = write_report(
        make_comparison(hours=8760, climates=("Invented Coast", "Invented Plain"), name="Plain wall"),
        folder / "report.html",
    )
    made["letter"] = made["report"]
    one = make_comparison(hours=8760, name="Plain wall")
    one.cases = [case for case in one.cases if (case.opening_set, case.depth) == (SETS[0], 0.02)]
    made["one case"] = write_report(one, folder / "one.html")
    made["teacher"] = made["lesson"]
    walls = [make_comparison(hours=24 * 40, name=f"Wall number {number}") for number in range(9)]
    made["walls"] = write_summary([row for each in walls for row in rows(each)], folder / "walls.html")
    cold = summarise(read_weather(Path(__file__).parents[1] / "climates" / "cold_humid.epw"))
    made["cold climate"] = write_climate_page(cold, folder / "cold.html")
    return made


@pytest.fixture(scope="module")
def printed(paths, browser, tmp_path_factory):  # noqa: F811
    """Print a kind of page once, and return its sheets."""
    folder = tmp_path_factory.mktemp("sheets")
    kept = {}

    def give(kind):
        if kind not in kept:
            path = folder / f"{kind.replace(' ', '_')}.pdf"
            page = without_formulas(paths[kind])
            if kind == "teacher":  # as from the print dialogue, answers shown
                width(browser, 1366)
                browser.get(page.as_uri())
                settle(browser)
                browser.find_element("id", "answers").click()
                settle(browser)
                made = browser.execute_cdp_cmd(
                    "Page.printToPDF",
                    {"printBackground": True, "preferCSSPageSize": True, "paperWidth": 8.27, "paperHeight": 11.69},
                )
                path.write_bytes(base64.b64decode(made["data"]))
            else:
                pdf.write_pdf(page, path, paper="letter" if kind == "letter" else "A4")
            kept[kind] = sheets(path)
        return kept[kind]

    return give


@pytest.mark.parametrize("kind", KINDS)
def test_no_text_is_over_another_or_too_small(printed, kind):
    found = faults_of(printed(kind))
    assert not found, "\n".join(found)


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "letter"])
def test_nothing_is_cut_off_or_beyond_the_margins_and_no_control_is_printed(browser, paths, kind):  # noqa: F811
    found = cut_off(browser, paths[kind], kind == "teacher")
    assert not found, "\n".join(found)


@pytest.mark.parametrize("kind", KINDS)
def test_only_the_last_sheet_of_a_part_is_half_empty(printed, kind):
    """Each part has a head of its own, so a new one begins on a new sheet; so does each lesson, to be handed out."""
    found = printed(kind)
    for number, (sheet, after) in enumerate(itertools.pairwise(found), 1):
        same = sheet.head == after.head and kind not in ("lesson", "teacher")
        assert not (same and sheet.empty > EMPTY), f"sheet {number} of {len(found)} is {sheet.empty:.0%} empty"


def test_each_lesson_is_one_sheet_with_and_without_its_answer(printed):
    from cavity.study import lesson

    handout, teacher = printed("lesson"), printed("teacher")
    assert len(handout) == len(teacher) == 1 + len(lesson.QUANTITIES)
    for blank, answered in zip(handout[1:], teacher[1:], strict=True):
        assert len(answered.words) > len(blank.words) + 20


@pytest.mark.parametrize(("facings", "paper"), [(2, "letter"), (12, "letter"), (12, "A4")])
def test_the_summary_takes_two_sheets(facings, paper, tmp_path):
    """With two rows of verdicts in usual type, with twelve in small type; the signature is on the second sheet."""
    made = make_comparison(hours=24 * 40, name="Plain wall")
    cases = []
    for number in range(facings):
        for case in make_comparison(hours=24 * 40, name="Plain wall").cases:
            case.dataset.attrs["orientation"] = 30.0 * number
            cases.append(case)
    made.cases = cases
    page = write_report(made, tmp_path / "report.html")
    found = sheets(pdf.write_pdf(page, tmp_path / "report.pdf", paper=paper))
    assert [any(word.text == "Signature" for word in sheet.words) for sheet in found[:3]] == [False, True, False]
    assert found[1].head != found[2].head and all(sheet.empty < EMPTY for sheet in found[:2])
    wrong = faults_of(found[:2])
    assert not wrong, "\n".join(wrong)


PLANTED = """
<p>Words lie below</p><p style="margin-top:-1.5em">Planted above them</p>
<p style="font-size:4pt">Tinyprint</p>
<p style="margin-left:-40px">Outermost</p>
<p><button>Pressable</button></p>
<p style="overflow:hidden;width:60px;white-space:nowrap">Shortened beyond its box</p>
<svg viewBox="0 0 100 20" width="100"><text x="80" y="15">Clipped</text></svg>
<p style="break-before:page">Lonely</p><p style="break-before:page">Last</p>
"""


def test_planted_faults_are_found(paths, browser):  # noqa: F811
    page = paths["climate"].with_name("planted.html")
    page.write_text(paths["climate"].read_text("utf-8").replace("</main>", PLANTED + "</main>"), "utf-8")
    found = sheets(pdf.write_pdf(page, page.with_suffix(".pdf")))
    said = "\n".join(faults_of(found))
    for each in ("“Words” over “Planted”", "high: Tinyprint"):
        assert each in said, each
    assert found[-2].empty > 0.9 and found[-2].head == found[-1].head
    said = "\n".join(cut_off(browser, page))
    for each in (
        "a control on paper: Pressable",
        "wider than its box: Shortened",
        "margins: <p> Outermost",
        "cut off: Clipped",
    ):
        assert each in said, each
