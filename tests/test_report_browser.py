"""The report in Chromium: it opens from disk without a complaint, and every control shows what the Dataset holds."""

from __future__ import annotations

import base64
import dataclasses
import re
import shutil
import time

import numpy as np
import pytest
from report_cases import NASTY, make_comparison

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
    assert len(drawn) == 17 and all(done == "1" for _, done in drawn)


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
    from cavity.report import answer

    def cells():
        return [cell.text for cell in page.find_elements("css selector", "#matrix .cell .what")]

    def pick(value):
        page.execute_script(
            "const c = document.querySelector('.pick-part'); c.value = arguments[0]; "
            "c.dispatchEvent(new Event('change'))",
            str(value),
        )

    made = answer.matrix(answer.view(comparison))
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
    assert rows == [list(row) for row in rule_rows(shown_case(page, comparison).dataset)]
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
    while int(page.find_element("id", "hour").get_attribute("value")) < before + 2 and time.monotonic() < end:
        time.sleep(0.1)
    page.find_element("id", "play").click()
    assert int(page.find_element("id", "hour").get_attribute("value")) >= before + 2
    assert page.find_element("id", "play").text == "Play"


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
        for number, left in enumerate((event.as_drawn, event.shut)):
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
    page.find_element("id", "units").click()
    settle(page)
    assert "°F" in read(page, "outdoor")
    assert number_in(read(page, "outdoor")) == pytest.approx(1.8 * celsius + 32.0, abs=0.15)  # shown to 0.1
    assert np.abs(trace(page, "fig-profile") - (1.8 * before + 32.0)).max() < 1e-9
    title = page.execute_script("return document.getElementById('fig-profile').layout.yaxis.title.text")
    assert title == "Temperature [°F]"
    assert page.find_element("css selector", ".matrix thead").text.count(" in") == 2
    page.find_element("id", "units").click()
    assert "°C" in read(page, "outdoor")


def test_theme_is_kept_and_redraws_figures(page):
    light = page.execute_script("return getComputedStyle(document.body).backgroundColor")
    page.find_element("id", "theme").click()
    dark = page.execute_script("return getComputedStyle(document.body).backgroundColor")
    line = page.execute_script("return document.getElementById('fig-duration').data[0].line.color")
    assert light != dark and line == palette.DARK["air"]
    page.find_element("id", "theme").click()
    assert (
        page.execute_script("return document.getElementById('fig-duration').data[0].line.color") == palette.LIGHT["air"]
    )


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
    assert [number_in(text) for text in rows["50 % drying time of a wetting event"]] == pytest.approx(
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
def test_the_matrix_selects_facing_and_variant(browser, tmp_path):
    """A variant is another wall: one is always chosen; of the facings the worst of all comes first."""
    from cavity.report import answer

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
    seen = answer.view(made)
    matrix = answer.matrix(seen)
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
