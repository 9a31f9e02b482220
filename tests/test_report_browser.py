"""The report in Chromium: it opens from disk without a complaint, and every control shows what the Dataset holds."""

from __future__ import annotations

import base64
import dataclasses
import itertools
import re
import shutil
import time
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from report_cases import NASTY, SETS, make_comparison

from cavity.report import display, figures, palette, pdf, series, write_report
from cavity.risk.drying import daily

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(pdf.find_browser() is None, reason="no browser of the Chromium family"),
    pytest.mark.skipif(shutil.which("chromedriver") is None, reason="no chromedriver"),
]


@pytest.fixture(scope="module")
def comparison():
    return make_comparison(climates=("Invented Coast", "Invented Plain"))


@pytest.fixture(scope="module")
def report(comparison, tmp_path_factory):
    return write_report(comparison, tmp_path_factory.mktemp("report") / "report.html")


@pytest.fixture(scope="module")
def browser():
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = pdf.find_browser()
    for switch in ("--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-component-update",
                   "--disable-background-networking", "--disable-sync", "--window-size=1366,900"):  # fmt: skip
        options.add_argument(switch)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    made = webdriver.Chrome(options=options, service=Service(shutil.which("chromedriver")))
    yield made
    made.quit()


def settle(browser):
    """Wait until the page says that all is drawn; two minutes, for a machine under load."""
    end = time.monotonic() + 120
    while time.monotonic() < end:
        if browser.execute_script("return document.documentElement.dataset.ready") == "1":
            return
        time.sleep(0.1)
    raise AssertionError(f"the page never settled: {browser.get_log('browser')}")


def width(browser, pixels, tall=900):
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": pixels, "height": tall, "deviceScaleFactor": 1, "mobile": pixels < 600},
    )


@pytest.fixture(scope="module")
def opened(browser, report):
    width(browser, 1366)
    browser.get(report.as_uri())
    settle(browser)
    return browser


@pytest.fixture
def page(opened):
    """The open page, as the test before left it; it must not have complained to the console."""
    browser = opened
    yield browser
    complaints = [entry for entry in browser.get_log("browser") if entry["level"] in ("SEVERE", "WARNING")]
    assert complaints == []


def choose(page, control, value):
    """Set a control the way a user does: value and event."""
    page.execute_script(
        "const c = document.getElementById(arguments[0]); c.value = arguments[1];"
        "c.dispatchEvent(new Event('input', {bubbles: true})); c.dispatchEvent(new Event('change', {bubbles: true}));",
        control,
        value,
    )
    settle(page)


def switch_units(page):
    """Press the switch in the bar, which the choices of Explore cover further down."""
    page.execute_script("window.scrollTo({top: 0, behavior: 'instant'})")
    page.find_element("id", "units").click()


def trace(page, figure, number=0, key="y"):
    """Return numbers that plotly shows in a figure."""
    script = "return Array.from(document.getElementById(arguments[0]).data[arguments[1]][arguments[2]])"
    return np.array(page.execute_script(script, figure, number, key), float)


def shown_case(page, comparison):
    number = int(re.search(r"case=(\d+)", page.execute_script("return location.hash"))[1])
    return comparison.cases[number]


def number_in(text):
    return float(re.search(r"[−-]?[\d.]+", text)[0].replace("−", "-"))


def read(page, key):
    return page.find_element("id", f"read-{key}").text


def test_opens_from_disk_with_the_answer_first(page):
    assert page.find_element("tag name", "h1").text.startswith(NASTY)
    top = page.execute_script("return document.getElementById('verdict').getBoundingClientRect().bottom")
    caution = page.execute_script("return document.querySelector('.caution').getBoundingClientRect().bottom")
    assert top < 400 and caution < 900  # both on the first screen of 1366 x 900
    assert page.execute_script("return performance.getEntriesByType('resource').length") == 0
    drawn = page.execute_script(
        "return [...document.querySelectorAll('.plot')].filter(p => !p.closest('details'))"
        ".map(p => [p.id, p.dataset.drawn])"
    )
    assert len(drawn) == 18 and all(done == "1" for _, done in drawn)


def test_every_choice_shows_its_own_case(page, comparison):
    for control, value, name in (("pick-climate", 1, "climate_name"), ("pick-opening_set", 1, "opening_set")):
        choose(page, control, value)
        case = shown_case(page, comparison)
        assert getattr(case, name) == list(dict.fromkeys(getattr(c, name) for c in comparison.cases))[value]
    depths = page.find_elements("css selector", "input[name=depth]")
    page.execute_script("arguments[0].click()", depths[1])
    settle(page)
    case = shown_case(page, comparison)
    assert (case.climate_name, case.depth) == ("Invented Plain", 0.04)
    assert case is comparison.cases[7]
    share, rate = series.duration(series.air_changes(case.dataset))
    # packed in steps of a thousandth of the range; curve and page share the points
    assert np.abs(trace(page, "fig-duration") - rate).max() <= 1e-3 * rate.max()
    assert np.abs(trace(page, "fig-duration", 0, "x") - share).max() < 0.06
    z = page.execute_script("return document.getElementById('fig-map').data[0].z.map(row => Array.from(row))")
    # the map is drawn from the packed roots: 2/1000 of the largest rate on the rate itself
    wanted = 10.0 ** figures.rate_map(case.dataset).data[0].z
    assert np.abs(10.0 ** np.array(z) - wanted).max() <= 2e-3 * wanted.max()
    pressed = page.find_elements("css selector", ".cell[aria-pressed=true]")
    (cell,) = pressed  # one matrix for all climates: the cell of the openings and the depth shown
    shown = comparison.cases[int(cell.get_attribute("data-case"))]
    assert (shown.opening_set, shown.depth) == (case.opening_set, case.depth)
    worst = series.ranked(case.findings)[0]
    assert worst.title in page.find_element("id", "now").text
    rows = page.find_elements("css selector", "#findings tbody tr")
    assert len(rows) == len(case.findings)
    assert worst.sentence in rows[0].text and worst.source in rows[0].text


def test_a_cell_of_the_matrix_is_chosen_by_keyboard(page, comparison):
    from selenium.webdriver.common.keys import Keys

    cell = page.find_elements("css selector", "#matrix .cell")[2]
    number = int(cell.get_attribute("data-case"))
    cell.send_keys(Keys.ENTER)
    settle(page)
    assert shown_case(page, comparison) is comparison.cases[number]


def test_the_matrix_shows_the_worst_of_all_or_one_climate(page, comparison):
    from cavity.report import verdict

    def cells():
        return [cell.text for cell in page.find_elements("css selector", "#matrix .cell .what")]

    def pick(value):
        page.execute_script(
            "const c = document.querySelector('.pick-part'); c.value = arguments[0]; "
            "c.dispatchEvent(new Event('change'))",
            str(value),
        )

    made = verdict.matrix(verdict.view(comparison))
    for at, name in ((0, "Invented Coast"), (1, "Invented Plain"), (-1, "worst in both climates")):
        pick(at)
        assert cells() == [cell["text"] for row in made["other"][str(at)] for cell in row]
        assert page.find_element("id", "matrix-scope").text == name
    assert len(page.find_elements("css selector", ".cell[aria-pressed=true]")) == 1


def test_the_rule_check_follows_the_case(page, comparison):
    from cavity.report.page import rule_rows

    page.execute_script("document.getElementById('rules').closest('details').open = true")
    rows = [
        [cell.text for cell in line.find_elements("css selector", "th, td")]
        for line in page.find_elements("css selector", "#rules tbody tr")
    ]
    # s_d is set with a subscript, which is no character of its own
    made = rule_rows(shown_case(page, comparison).dataset)
    assert rows == [[text.replace("s_d", "sd") for text in row] for row in made]
    page.execute_script("document.getElementById('rules').closest('details').open = false")


def test_the_hour_drives_section_profile_and_numbers(page, comparison):
    from selenium.webdriver.common.keys import Keys

    case = shown_case(page, comparison)
    ds = case.dataset
    segment, _ = series.governing(ds, case.findings)
    choose(page, "hour", 200)
    page.find_element("id", "hour").send_keys(Keys.ARROW_RIGHT)
    hour = int(page.find_element("id", "hour").get_attribute("value"))
    assert hour == 201 and page.find_element("id", "hour-text").text == "9 Jan, 09:00–10:00"
    for step in (0, 3):  # 09:00 blows up, 06:00 down in these cases
        at = hour - step
        choose(page, "hour", at)
        up = float(ds["air_speed"].values[at, 0]) > 0
        assert up == (step == 0)
        directions = page.execute_script(
            "return [...document.querySelectorAll('#section-drawing .flow')].map(g => g.dataset.dir)"
        )
        assert set(directions) == {"up" if up else "down"}
        vents = page.execute_script(
            "return [...document.querySelectorAll('#section-drawing .vent-flow')].map(g => g.dataset.dir)"
        )
        assert vents == (["in", "out"] if up else ["out", "in"])
        assert number_in(read(page, "rate")) == pytest.approx(series.air_changes(ds)[at], abs=0.6, rel=5e-3)
        assert read(page, "speed").endswith("up" if up else "down")
        # one decimal is shown, of numbers packed in steps of 0.1 K
        assert number_in(read(page, "outdoor")) == pytest.approx(
            ds["temperature_outdoor"].values[at] - 273.15, abs=0.11
        )
        assert number_in(read(page, "cavity")) == pytest.approx(
            ds["cavity_temperature"].values[at, segment] - 273.15, abs=0.11
        )
        names, _ = figures.profile_positions(ds)
        wanted = display.show("temperature", figures.profile_values(ds, segment)["temperature"][:, at])
        assert np.abs(trace(page, "fig-profile") - wanted).max() < 0.06
        assert len(trace(page, "fig-profile", 1)) == len(names)


def test_jumps_and_play_move_the_hour(page, comparison):
    case = shown_case(page, comparison)
    rate = series.air_changes(case.dataset)
    options = {o.text: o.get_attribute("value") for o in page.find_elements("css selector", "#jump option")}
    assert rate[int(options["least air change"])] == pytest.approx(rate.min(), abs=0.05 * rate.max())
    choose(page, "jump", options["coldest hour outdoors"])
    before = int(page.find_element("id", "hour").get_attribute("value"))
    assert case.dataset["temperature_outdoor"].values[before] == pytest.approx(
        case.dataset["temperature_outdoor"].values.min(), abs=0.06
    )
    page.find_element("id", "play").click()
    end = time.monotonic() + 20
    while int(page.find_element("id", "hour").get_attribute("value")) == before and time.monotonic() < end:
        time.sleep(0.05)
    page.find_element("id", "play").click()
    assert int(page.find_element("id", "hour").get_attribute("value")) != before
    assert page.find_element("id", "play").text == "Play day"


def test_a_day_goes_round_at_the_chosen_speed(page):
    """The hours of one day, midnight after 23:00; a higher speed shows more of them in the same time."""
    day = 24 * 12
    choose(page, "hour", day + 21)
    counts = {}
    for speed in ("1", "8"):
        choose(page, "speed", speed)
        seen = page.execute_async_script(
            "const done = arguments[0], seen = [], output = document.getElementById('hour-text');"
            "const watch = new MutationObserver(() => seen.push(Number(document.getElementById('hour').value)));"
            "watch.observe(output, {childList: true, characterData: true, subtree: true});"
            "document.getElementById('play').click();"
            "setTimeout(() => { document.getElementById('play').click(); watch.disconnect(); done(seen); }, 2600);"
        )
        assert seen and set(seen) <= set(range(day, day + 24))
        steps = [(b - a) % 24 for a, b in itertools.pairwise(seen)]
        assert set(steps) <= {0, 1}  # no hour of the day is omitted
        counts[speed] = len(set(seen))
    assert counts["8"] > counts["1"] >= 2
    assert f"hour={page.find_element('id', 'hour').get_attribute('value')}&" in page.execute_script(
        "return location.hash"
    )
    choose(page, "speed", "4")


def test_section_profile_chart_and_slider_fit_one_laptop_screen(page):
    """1366 x 768: one bar stays on top, and below it all that follows the hour is seen at once."""
    width(page, 1366, 768)
    try:
        page.execute_script("document.documentElement.style.scrollBehavior = 'auto'; location.hash.length;")
        page.execute_script("document.querySelector('#matrix .cell').click()")
        settle(page)
        time.sleep(1.0)
        boxes = page.execute_script(
            "return ['#explore .controls', '.slider', '#section-drawing', '#fig-profile', '#fig-psychro', '#legend',"
            "'#readout'].map(s => { const r = document.querySelector(s).getBoundingClientRect();"
            "return [s, r.top, r.bottom, r.left, r.right]; })"
        )
        for name, top, bottom, left, right in boxes:
            assert top >= 0 and bottom <= 768 and left >= 0 and right <= 1366, (name, top, bottom)
        assert all(top >= boxes[0][2] - 1 for _, top, *_ in boxes[1:])  # nothing under the bar
        # further down the controls alone stay on top, in the place of the page's bar
        page.execute_script("document.getElementById('fig-map').scrollIntoView({block: 'center'})")
        stuck = page.execute_script(
            "return [...new Set([2, 20, 40, 60, 90, 120].map(y => { const e = document.elementFromPoint(683, y);"
            "return e.closest('.controls') ? 'controls' : e.closest('.bar') ? 'bar' : 'page'; }))]"
        )
        assert stuck == ["controls", "page"]
    finally:
        width(page, 1366)


def test_a_click_in_the_map_of_hours_sets_the_hour(page, comparison):
    case = shown_case(page, comparison)
    page.execute_script("document.getElementById('fig-map').scrollIntoView({block: 'center'})")
    time.sleep(0.3)
    day, hour = 20, 15
    x, y = page.execute_script(
        "const m = document.getElementById('fig-map'), l = m._fullLayout, r = m.getBoundingClientRect();"
        "return [r.left + l.xaxis._offset + l.xaxis.d2p(m.data[0].x[arguments[0]]),"
        "r.top + l.yaxis._offset + l.yaxis.d2p(arguments[1])]",
        day,
        hour,
    )
    for kind in ("mouseMoved", "mousePressed", "mouseReleased"):
        page.execute_cdp_cmd(
            "Input.dispatchMouseEvent",
            {"type": kind, "x": x, "y": y, "clickCount": 0 if kind == "mouseMoved" else 1,
             "button": "none" if kind == "mouseMoved" else "left"},
        )  # fmt: skip
        time.sleep(0.3)
    assert int(page.find_element("id", "hour").get_attribute("value")) == 24 * day + hour
    at = page.execute_script("const t = document.getElementById('fig-map').data[1]; return [t.x[0], t.y[0]]")
    assert at == [str(case.dataset["time"].values[24 * day])[:10], hour]
    rate = float(series.air_changes(case.dataset)[24 * day + hour])
    assert number_in(page.find_element("id", "map-hour").text.split(", ")[-1]) == pytest.approx(rate, rel=0.03, abs=0.6)


def test_the_psychrometric_chart_shows_year_day_and_hour(page, comparison):
    case = shown_case(page, comparison)
    ds = case.dataset
    segment, _ = series.governing(ds, case.findings)
    face = 3
    choose(page, "pick-face", face)
    choose(page, "hour", 24 * 9 + 5)
    warm = display.show("temperature", ds["temperature"].values[:, segment, face])
    vapour = 1e-3 * ds["vapour_pressure"].values[:, segment, face]
    # dew points are packed in steps of 0.1 K, at most 0.9 % of the pressure; the factory's saturation is that of
    # ISO 13788, up to 0.6 % from the model's own
    for number, hours in ((0, slice(None, None, 3)), (1, slice(216, 240)), (2, slice(221, 222))):
        assert np.abs(trace(page, "fig-psychro", number, "x") - warm[hours]).max() < 0.06
        assert trace(page, "fig-psychro", number) == pytest.approx(vapour[hours], rel=0.02)
    saturated = 1e-3 * ds["vapour_pressure"].values / ds["relative_humidity"].values
    line = np.interp(warm, trace(page, "fig-psychro", 3, "x"), trace(page, "fig-psychro", 3))
    # a chord of 3 K lies up to 1 % above the curve
    assert line == pytest.approx(saturated[:, segment, face], rel=0.03)


def test_the_map_of_hours_has_one_scale_in_all_cases(page, comparison):
    ends = "const t = document.getElementById('fig-map').data[0]; return [t.zmin, t.zmax]"
    rates = np.concatenate([series.air_changes(case.dataset) for case in comparison.cases])
    seen = []
    for value in (0, 1):
        choose(page, "pick-opening_set", value)
        seen.append(page.execute_script(ends))
    assert seen[0] == seen[1]
    assert seen[0][0] <= np.log10(np.clip(rates, 0.1, None)).min() and seen[0][1] >= np.log10(rates.max())
    choose(page, "pick-opening_set", 0)


def test_the_link_keeps_case_surface_hour_and_pair(page, comparison, report):
    """Loaded again, the page is as it was left; the back button undoes choices, one by one, but no hour."""
    choose(page, "pick-opening_set", 0)
    start = page.execute_script("return history.length")
    choose(page, "pick-opening_set", 1)
    choose(page, "pick-face", 4)
    choose(page, "hour", 123)
    choose(page, "hour", 124)
    choose(page, "pick-a", 2)
    choose(page, "pick-b", 0)
    assert page.execute_script("return history.length") - start <= 4
    link = page.execute_script("return location.hash")
    case = shown_case(page, comparison)
    kept = (
        "return ['pick-opening_set', 'pick-face', 'hour', 'pick-a', 'pick-b']"
        ".map(i => document.getElementById(i).value)"
    )
    before = page.execute_script(kept)
    assert before[1:] == ["4", "124", "2", "0"]
    page.get("about:blank")
    page.get(report.as_uri() + link)
    settle(page)
    assert page.execute_script(kept) == before and shown_case(page, comparison) is case
    choose(page, "pick-face", 2)
    choose(page, "pick-opening_set", 0)
    page.back()
    settle(page)
    assert page.execute_script(kept)[:2] == ["1", "2"]
    page.back()
    end = time.monotonic() + 20
    while page.execute_script(kept) != before and time.monotonic() < end:
        time.sleep(0.1)
    assert page.execute_script(kept) == before
    # a link within the page scrolls, and leaves the link that is kept
    page.find_element("css selector", ".bar nav a[href='#evidence']").click()
    top = "return document.getElementById('evidence').getBoundingClientRect().top"
    end = time.monotonic() + 20  # it scrolls smoothly
    while abs(page.execute_script(top)) > 200 and time.monotonic() < end:
        time.sleep(0.1)
    assert page.execute_script("return location.hash") == link and abs(page.execute_script(top)) < 200
    page.execute_script("window.scrollTo(0, 0)")


def test_the_face_drives_humidity_mould_and_months(page, comparison):
    case = shown_case(page, comparison)
    segment, _ = series.governing(case.dataset, case.findings)
    face = 4
    choose(page, "pick-face", face)
    humid = display.show("relative_humidity", case.dataset["relative_humidity"].values[:, segment, face])
    warm = display.show("temperature", case.dataset["temperature"].values[:, segment, face])
    assert np.abs(trace(page, "fig-critical") - humid).max() < 0.11  # steps of 1/500 of the range at most
    assert np.abs(trace(page, "fig-critical", 1) - series.running_mean(humid, 720)[::24]).max() < 0.11
    assert np.abs(trace(page, "fig-rht", 0, "x") - warm[::3]).max() < 0.06
    index = series.mould(case.dataset, segment)[:, face]
    assert np.abs(trace(page, "fig-mould") - index).max() < 0.0026  # packed in steps of 0.005
    page.execute_script("document.getElementById('monthly').closest('details').open = true")
    year = page.find_elements("css selector", "#monthly tbody tr")[-1].text.split()
    page.execute_script("document.getElementById('monthly').closest('details').open = false")
    assert year[0] == "Year" and int(year[6]) == int((humid > 80.0).sum())


def test_a_fold_draws_its_figures_when_it_opens(page):
    def wide():
        return page.execute_script(
            "return (document.querySelector('#fig-years .main-svg') || {clientWidth: 0}).clientWidth"
        )

    fold = "document.getElementById('fig-years').closest('details').open = "
    assert wide() == 0
    page.execute_script(fold + "true")
    end = time.monotonic() + 20
    while time.monotonic() < end and not wide():
        time.sleep(0.1)
    column = page.execute_script("return document.getElementById('fig-years').clientWidth")
    assert 0 < wide() <= column
    page.execute_script(fold + "false")


def test_the_drying_of_the_wetting_event_follows_the_choice(page, comparison):
    told = set()
    for value in (0, 1):
        choose(page, "pick-opening_set", value)
        event = shown_case(page, comparison).event
        for number, left in enumerate((event.as_drawn, event.closed)):
            # the daily means judged, packed in steps of a thousandth of the range: half a step
            days, means = daily(left)
            shown = trace(page, "fig-event", number)
            assert np.abs(shown - 1e3 * means).max() <= 0.5e-3 * 1e3 * np.ptp(means) + 1e-9
        assert np.abs(trace(page, "fig-event", 0, "x") - days).max() <= 0.05  # steps of a thousandth of 90 days
        assert page.find_element("id", "event-text").text == f"Wetted: OSB. {event.finding.sentence}"
        told.add(event.finding.sentence)
    assert len(told) == 2
    choose(page, "pick-opening_set", 0)


def test_units_switch_turns_numbers_and_axes(page, comparison):
    choose(page, "hour", 300)
    celsius = number_in(read(page, "outdoor"))
    before = trace(page, "fig-profile")
    switch_units(page)
    settle(page)
    assert "°F" in read(page, "outdoor")
    assert number_in(read(page, "outdoor")) == pytest.approx(1.8 * celsius + 32.0, abs=0.15)  # shown to 0.1
    assert np.abs(trace(page, "fig-profile") - (1.8 * before + 32.0)).max() < 1e-9
    title = page.execute_script("return document.getElementById('fig-profile').layout.yaxis.title.text")
    assert title == "Temperature [°F]"
    assert page.find_element("css selector", ".matrix thead").text.count(" in") == 2
    switch_units(page)
    assert "°C" in read(page, "outdoor")


def test_in_inch_pound_no_si_unit_is_left_but_in_names(page, comparison):
    """Sentences, drawings, tables, axes and hover: only what the user named, sources and the wall file keep theirs."""
    page.execute_script("document.querySelectorAll('details').forEach(d => { d.open = true; })")
    settle(page)
    gather = (
        "const skip = '.sources, pre, math, script, style, .si, option, select';"
        "const walk = document.createTreeWalker(document.getElementById('main'), NodeFilter.SHOW_TEXT), seen = [];"
        "while (walk.nextNode()) { const n = walk.currentNode; if (n.data.trim() && !n.parentElement.closest(skip)"
        " && !(n.previousSibling && n.previousSibling.tagName === 'SUB')"  # s_d stays in metres
        " && !n.parentElement.closest('.hoverlayer')) seen.push(n.data); }"
        "for (const div of document.querySelectorAll('.plot')) for (const t of div.data || [])"
        " seen.push(String(t.hovertemplate || ''), String(t.name || ''));"
        "return seen"
    )
    before = page.execute_script(gather)
    switch_units(page)
    settle(page)
    unit = r"(?:°C|mm|m|cm²/m|mm²/m|Pa|kPa|m/s|g/m²|kg/m²|W/m²|W/\(m K\)|W/\(m² K\)|kg/m³|g/\(m s\)|L/\(s m\)|m²)"
    si = re.compile(rf"(?:(?<![\w.,])\d[\d.,]*|\}})\s{unit}(?![\w²³/(])|\[{unit}\]")
    shown = page.execute_script(gather)
    names = {*SETS, NASTY}
    left = [text for text in shown if si.search(text) and not any(name in text for name in names) and "s_d" not in text]
    assert sum(bool(si.search(text)) for text in before) > 100  # the search finds what it looks for
    assert left == []
    # drawings: the cavity of the case in the section, the vents in the vent table
    case = shown_case(page, comparison)
    drawn = page.find_element("css selector", "#section-drawing svg").text
    assert f"{case.depth / 0.0254:.3g} in" in drawn and "in²/ft" in drawn
    area = page.execute_script(
        "const t = document.getElementById('vents'), i = [...t.tHead.rows[0].cells].findIndex(c => c.textContent"
        ".includes('in²/ft')); return [...t.tBodies[0].rows].map(r => Number(r.cells[i].textContent))"
    )
    assert area == pytest.approx([472.44 * float(v) for v in case.dataset["opening_area"].values[::-1]], rel=5e-3)
    # a case chosen meanwhile comes in the same units
    other = 1 - int(page.find_element("id", "pick-opening_set").get_attribute("value"))
    choose(page, "pick-opening_set", other)
    assert "in²/ft" in page.find_element("css selector", "#section-drawing svg").text
    choose(page, "pick-opening_set", 1 - other)
    switch_units(page)
    settle(page)
    assert page.execute_script(gather) == before
    page.execute_script("document.querySelectorAll('details').forEach(d => { d.open = false; })")


def saved(page, folder, click, pattern):
    """Click, and return the file that the page saves."""
    page.execute_cdp_cmd("Browser.setDownloadBehavior", {"behavior": "allow", "downloadPath": str(folder)})
    page.execute_script(click)
    end = time.monotonic() + 30
    while time.monotonic() < end:
        found = [path for path in folder.glob(pattern) if not path.name.endswith(".crdownload")]
        if found:
            return found[0]
        time.sleep(0.1)
    raise AssertionError(f"nothing was saved: {list(folder.iterdir())}")


def test_hour_data_are_saved_from_the_page(page, comparison, tmp_path):
    import csv

    case = shown_case(page, comparison)
    ds = case.dataset
    segment, _ = series.governing(ds, case.findings)
    path = saved(page, tmp_path, "document.getElementById('hours-csv').click()", "*hours.csv")
    lines = path.read_text("utf-8").splitlines()
    notes = [line for line in lines if line.startswith("#")]
    assert any(case.opening_set in line for line in notes) and any("<script>" in line for line in notes)
    assert any(case.climate_name in line for line in notes) and any("weather:" in line for line in notes)
    head, *rows = csv.reader(line for line in lines if not line.startswith("#"))
    assert len(rows) == ds.sizes["time"] and all(re.search(r"\[.+\]$", title) for title in head[1:])
    column = {title: np.array([float(row[i]) for row in rows]) for i, title in enumerate(head) if i}
    assert rows[5][0] == str(ds["time"].values[5])[:16]
    warm = display.show("temperature", ds["temperature"].values[:, segment, 4])
    name = series.face_names(ds)[4]
    assert np.abs(column[f"temperature, {name} [°C]"] - warm).max() <= 0.051  # rounded to 0.1
    humid = display.show("relative_humidity", ds["relative_humidity"].values[:, segment, 4])
    assert np.abs(column[f"relative humidity, {name} [%]"] - humid).max() <= 0.151  # packed in 0.2, shown to 0.1
    rate = series.air_changes(ds)
    assert np.abs(column["air change rate [per hour]"] - rate).max() <= 2e-3 * rate.max() + 0.006
    flows = [values for title, values in column.items() if title.startswith("flow in")]
    assert len(flows) == 2 and np.abs(flows[0] + flows[1]).max() < 2e-3
    switch_units(page)
    settle(page)
    path.unlink()
    path = saved(page, tmp_path, "document.getElementById('hours-csv').click()", "*hours.csv")
    switch_units(page)
    settle(page)
    head, *rows = csv.reader(line for line in path.read_text("utf-8").splitlines() if not line.startswith("#"))
    values = np.array([float(row[head.index(f"temperature, {name} [°F]")]) for row in rows])
    assert np.abs(values - (1.8 * warm + 32.0)).max() <= 0.15


def test_pictures_say_what_they_show_and_where_it_is_from(page, comparison, tmp_path):
    case = shown_case(page, comparison)
    for number, (click, title) in enumerate(
        (
            ("document.querySelector('#fig-duration .modebar-btn[data-title^=Save]').click()", "duration curve"),
            ("document.querySelector('#section .save').click()", "Section of the wall"),
        )
    ):
        folder = tmp_path / str(number)
        folder.mkdir()
        path = saved(page, folder, click, "*.svg")
        words = " ".join("".join(ET.fromstring(path.read_text("utf-8")).itertext()).split())
        for part in (case.opening_set, case.climate_name, title, "Source: cavity", NASTY):
            assert part in words, part
        for part in (title, case.opening_set):
            assert re.sub(r"\W+", "-", part.lower()).strip("-") in path.name
    # the drawing holds its colours itself: no style of the page is needed
    drawing = ET.fromstring(path.read_text("utf-8"))
    layers = [e for e in drawing.iter() if str(e.get("class", "")).startswith("layer")]
    assert layers and all("fill:" in e.get("style") and "var(" not in e.get("style") for e in layers)


def test_theme_is_kept_and_redraws_figures(page):
    light = page.execute_script("return getComputedStyle(document.body).backgroundColor")
    page.find_element("id", "theme").click()
    settle(page)
    dark = page.execute_script("return getComputedStyle(document.body).backgroundColor")
    line = page.execute_script("return document.getElementById('fig-duration').data[0].line.color")
    assert light != dark and line == palette.DARK["air"]
    page.find_element("id", "theme").click()
    settle(page)
    assert (
        page.execute_script("return document.getElementById('fig-duration').data[0].line.color") == palette.LIGHT["air"]
    )


def test_two_cases_differ_in_one_thing_and_never_in_three(page, comparison, report):
    def things(a, b):
        names = ("climate_name", "opening_set", "depth")
        return [name for name in names if getattr(comparison.cases[a], name) != getattr(comparison.cases[b], name)]

    page.get("about:blank")
    page.get(report.as_uri())
    settle(page)
    pair = [int(page.find_element("id", name).get_attribute("value")) for name in ("pick-a", "pick-b")]
    recommended = page.find_element("css selector", "#pick .choice b").text
    assert comparison.cases[pair[0]].opening_set == recommended and len(things(*pair)) == 1
    for a in range(len(comparison.cases)):
        choose(page, "pick-a", a)
        groups = page.execute_script(
            "return [...document.querySelectorAll('#pick-b optgroup')].map(g => [g.label,"
            "[...g.children].map(o => Number(o.value))])"
        )
        others = {label: set(numbers) for label, numbers in groups}
        for count, label in ((1, "One difference"), (2, "Two differences")):
            assert others.get(label, set()) == {b for b in range(8) if len(things(a, b)) == count}
        b = int(page.find_element("id", "pick-b").get_attribute("value"))
        assert 1 <= len(things(a, b)) <= 2
        said = page.find_element("id", "pair-differs").text
        for name, label in (("climate_name", "Climate"), ("opening_set", "Openings"), ("depth", "Cavity depth")):
            assert (label in said) is (name in things(a, b))


def test_two_cases_stand_side_by_side(page, comparison):
    choose(page, "pick-a", 0)
    choose(page, "pick-b", 3)
    settle(page)
    end = time.monotonic() + 30  # drawing of the pair goes on after the choice
    wanted = [series.duration(series.air_changes(comparison.cases[n].dataset))[1] for n in (0, 3)]
    while time.monotonic() < end and np.abs(trace(page, "fig-pair-duration", 1) - wanted[1]).max() > 1.0:
        time.sleep(0.1)
    for number in (0, 1):
        assert np.abs(trace(page, "fig-pair-duration", number) - wanted[number]).max() <= 1e-3 * wanted[number].max()
    assert len(page.find_elements("css selector", "#section-a svg, #section-b svg")) == 2
    table = page.find_element("id", "pair-table").text
    assert "Median air change rate" in table and "Free vent area of all openings" in table
    script = (
        "return [...document.querySelectorAll('#pair-table tbody tr')].map(r => [...r.cells].map(c => c.innerText))"
    )
    rows = {cells[0]: cells[1:] for cells in page.execute_script(script)}
    times = [series.event_times(comparison.cases[n].event) for n in (0, 3)]
    assert [number_in(text) for text in rows["Wetting event: 50 % drying time"]] == pytest.approx(
        [each["half"] for each in times], rel=5e-3
    )  # shown to three digits
    for number, n in enumerate((0, 3)):
        wanted = 1e3 * daily(comparison.cases[n].event.as_drawn)[1]
        assert np.abs(trace(page, "fig-pair-event", number) - wanted).max() <= 0.5e-3 * np.ptp(wanted)


@pytest.mark.parametrize("pixels", [390, 800, 1920])
def test_nothing_sticks_out_at_any_width(page, pixels):
    width(page, pixels)
    time.sleep(0.5)
    wide = page.execute_script("return [document.documentElement.scrollWidth, window.innerWidth]")
    assert wide[0] <= wide[1]
    script = (
        "return [...document.querySelectorAll('.plot .main-svg')].filter(s => !s.closest('details:not([open])'))"
        ".map(s => s.getBoundingClientRect().right)"
    )
    figures_wide = max(page.execute_script(script))
    assert figures_wide <= pixels + 1
    width(page, 1366)


def test_every_control_has_a_name_for_screen_readers(page):
    tree = page.execute_cdp_cmd("Accessibility.getFullAXTree", {})["nodes"]
    controls = [node for node in tree if node.get("role", {}).get("value") in ("button", "combobox", "slider", "radio")]
    assert len(controls) >= 20
    assert [node for node in controls if not node.get("name", {}).get("value")] == []


def test_prints_all_parts(page):
    made = page.execute_cdp_cmd("Page.printToPDF", {"printBackground": True, "preferCSSPageSize": True})
    data = base64.b64decode(made["data"])
    assert data.startswith(b"%PDF-")
    assert 8 <= len(re.findall(rb"/Type\s*/Page\b", data)) <= 30
    # screen size comes back after printing
    assert page.execute_script("return document.getElementById('fig-map').layout.width || 0") == 0


def test_pdf_is_written_by_the_browser_itself(report, tmp_path):
    written = pdf.write_pdf(report, tmp_path / "report.pdf", paper="letter")
    data = written.read_bytes()
    assert data.startswith(b"%PDF-") and len(re.findall(rb"/Type\s*/Page\b", data)) >= 8
    assert re.search(rb"/MediaBox\s*\[\s*0 0 612 792", data)  # letter: 8.5 x 11 in of 72 points
    assert [item.name for item in tmp_path.iterdir()] == ["report.pdf"]


# last: it leaves the shared browser on a page of its own
def test_findings_that_decide_stand_open_and_the_others_unfold(page, comparison):
    choose(page, "pick-opening_set", 0)
    case = shown_case(page, comparison)
    body, button = page.find_element("css selector", "#findings tbody"), page.find_element("id", "findings-all")

    def seen():
        return [row.is_displayed() for row in body.find_elements("tag name", "tr")]

    bad = sum(found.status in ("fail", "review") for found in case.findings)
    assert seen() == [True] * (bad + 3) + [False] * (len(case.findings) - bad - 3)
    button.send_keys(" ")
    assert all(seen()) and button.get_attribute("aria-expanded") == "true"
    button.send_keys(" ")
    assert sum(seen()) == bad + 3


def test_one_case_alone_is_not_set_beside_itself(browser, tmp_path):
    made = make_comparison(hours=24 * 40)
    made.cases = made.cases[:1]
    width(browser, 1366)
    browser.get(write_report(made, tmp_path / "one.html").as_uri())
    settle(browser)
    assert not browser.find_element("id", "compare").is_displayed()
    assert not browser.find_elements("css selector", "nav a[href='#compare']")
    assert browser.find_element("id", "read-rate").text
    assert not [entry for entry in browser.get_log("browser") if entry["level"] == "SEVERE"]


def test_the_matrix_selects_facing_and_variant(browser, tmp_path):
    """A variant is another wall: one is always chosen; of the facings the worst of all comes first."""
    from cavity.report import verdict

    made = make_comparison(hours=24 * 40)
    cases = []
    for number, (variant, facing) in enumerate((v, f) for v in ("", "thick board") for f in (0.0, 270.0)):
        for case in make_comparison(hours=24 * 40).cases:
            case.variant = variant
            case.dataset.attrs["orientation"] = facing
            found = case.findings[0]
            case.findings = (dataclasses.replace(found, value=found.value * (1 + number), ratio=0.1 * (1 + number)),)
            cases.append(case)
    made.cases = cases
    seen = verdict.view(made)
    matrix = verdict.matrix(seen)
    width(browser, 1366)
    browser.get(write_report(made, tmp_path / "axes.html").as_uri())
    settle(browser)
    picks = browser.find_elements("css selector", ".pick-part")
    texts = [[option.text for option in pick.find_elements("tag name", "option")] for pick in picks]
    assert texts == [["as drawn", "thick board"], ["worst of all", "north (0°)", "west (270°)"]]
    for variant in (0, 1):
        for facing in (0, 1, -1):
            for pick, value in zip(picks, (variant, facing), strict=True):
                browser.execute_script(
                    "arguments[0].value = arguments[1]; arguments[0].dispatchEvent(new Event('change'))", pick,
                    str(value),
                )  # fmt: skip
            shown = [cell.text for cell in browser.find_elements("css selector", "#matrix .cell .what")]
            assert shown == [cell["text"] for row in matrix["other"][f"{variant},{facing}"] for cell in row]
            scope = browser.find_element("id", "matrix-scope").text
            assert ("worst" in scope) is (facing == -1)
    assert not [entry for entry in browser.get_log("browser") if entry["level"] == "SEVERE"]
