"""Report: figures show what the Dataset holds, the page is safe, small, complete, and never half written."""

from __future__ import annotations

import base64
import csv
import dataclasses
import io
import itertools
import json
import re
import xml.etree.ElementTree as ET
import zlib
from html.parser import HTMLParser
from types import SimpleNamespace

import numpy as np
import plotly.graph_objects as go
import pytest
from hypothesis import given
from hypothesis import strategies as st
from report_cases import DEPTHS, NASTY, SETS, make_case, make_comparison

from cavity import variables
from cavity.errors import InputError
from cavity.report import (
    display,
    equations,
    figures,
    inputs_and_sources,
    packing,
    page,
    palette,
    pdf,
    series,
    verdict,
    wall_drawing,
    write_report,
)
from cavity.report.tables import write_tables


@pytest.fixture(scope="module")
def case():
    return make_case(hours=24 * 70)


@pytest.fixture(scope="module")
def comparison():
    return make_comparison(climates=("Invented Coast", "Invented Plain"))


@pytest.fixture(scope="module")
def text(comparison):
    return page.render(comparison)


class _Page(HTMLParser):
    """Collects tags, attributes and the text outside scripts and styles."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.words, self.scripts, self._inside = [], [], [], ""
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag in ("script", "style"):
            self._inside = tag

    def handle_endtag(self, tag):
        if tag == self._inside:
            self._inside = ""

    def handle_data(self, data):
        (self.scripts if self._inside == "script" else self.words).append(data)


def index_of(text):
    packed = re.search(r'id="report-index">([^<]+)<', text)[1]
    return json.loads(zlib.decompress(base64.b64decode(packed)))


def blocks_of(text):
    found = re.findall(r'id="block-\d+">([^<]*)<', text)
    return [zlib.decompress(base64.b64decode(item)) for item in found]


# ---- display -------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("name", "si", "shown", "unit"),
    [
        ("temperature", 293.15, 20.0, "°C"),
        ("dew_point_margin", 2.5, 2.5, "K"),  # a difference keeps its zero
        ("relative_humidity", 0.8, 80.0, "%"),
        ("film", 0.1, 100.0, "g/m²"),
        ("driving_rain", 1.0 / 3600.0, 1.0, "mm/h"),  # 1 kg/m2 is 1 mm
        ("condensation", 1.0 / 3.6e6, 1.0, "g/(m² h)"),
        ("water", 1.5, 1.5, "kg/m²"),
        ("air_change_rate", 40.0, 40.0, "per hour"),
    ],
)
def test_values_are_shown_in_the_unit_their_axis_names(name, si, shown, unit):
    # rtol 1e-12: one multiplication
    assert display.show(name, si) == pytest.approx(shown, rel=1e-12)
    assert display.axis_title(name) == f"{variables.TABLE[name].label} [{unit}]"


@pytest.mark.parametrize(
    ("value", "unit", "si", "pounds"),
    [
        (0.0254, "m", "25.4 mm", "1 in"),  # exact by definition
        (293.15, "K", "20 °C", "68 °F"),
        (0.3048, "height", "0.305 m", "1 ft"),
        (1.0, "W/(m K)", "1 W/(m K)", "6.93 Btu in/(h ft² °F)"),  # NIST SP 811, table B.8
        (1000.0, "kg/m3", "1\u202f000 kg/m³", "62.4 lb/ft³"),  # NIST SP 811
        (4186.8, "J/(kg K)", "4\u202f187 J/(kg K)", "1 Btu/(lb °F)"),  # NIST SP 811
        (0.01, "area", "100 cm²/m", "4.72 in²/ft"),  # 100 cm2 = 15.5 in2 over 3.281 ft
        (1.0, "s_d", "1 m", "3.41 US perm"),  # 195.3 ng/(Pa s m2) over 57.2 ng/(Pa s m2) a perm, ASTM E96
    ],
)
def test_inputs_are_told_in_both_systems(value, unit, si, pounds):
    assert display.quantity(value, unit) == (si, pounds)


@pytest.mark.parametrize(
    ("unit", "pounds", "amount"),  # the amount that is 1 in inch-pound
    [
        ("L/m", "gal/ft", 3.785412 / 0.3048),  # NIST SP 811: 1 gal is 3.785412 L
        ("L/(s m)", "cfm/ft", 0.4719474 / 0.3048),  # NIST SP 811: 1 cfm is 0.4719474 L/s
        ("m²", "ft²", 0.09290304),  # exact by definition
    ],
)
def test_units_of_sentences_in_inch_pound(unit, pounds, amount):
    other, scale, shift = display.text_units()[unit]
    assert other == pounds
    assert amount * scale + shift == pytest.approx(1.0, rel=1e-5)


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0, "0"), (25.0, "25"), (0.25, "0.25"), (1234567.0, "1\u202f234\u202f567"), (-2.5, "−2.5"), (float("nan"), "–"),
     (float("inf"), "∞"), (1e-9, "1.00 × 10⁻⁹"), (99.96, "100")],
)  # fmt: skip
def test_numbers_read_plainly(value, text):
    assert display.number(value) == text


def test_every_variable_of_the_table_has_a_display_unit():
    for name in variables.TABLE:
        assert display.axis_title(name).endswith("]")


# ---- series and figures ----------------------------------------------------------------------------------------------
def test_duration_curve_gives_the_share_of_hours_at_or_above(case):
    rate = series.air_changes(case.dataset)
    share, value = series.duration(rate)
    for at in (10, 100, 180):
        # 1 hour of 1680 is 0.06 %: the quantile lies between two hours
        assert 100.0 * (rate >= value[at]).mean() == pytest.approx(share[at], abs=0.1)
    assert (np.diff(value) <= 0).all()


def test_hour_by_day_map_holds_each_hour_in_its_place(case):
    z = figures.rate_map(case.dataset).data[0].z
    rate = series.air_changes(case.dataset)
    assert z.shape == (24, 70)
    for day, hour in ((0, 0), (33, 17), (69, 23)):
        # rtol 1e-12: the same number through log10
        assert z[hour, day] == pytest.approx(np.log10(max(rate[24 * day + hour], 0.1)), rel=1e-12)


def test_wind_rose_counts_every_hour_once_in_its_sector(case):
    ds = case.dataset
    names, hours = series.rose(ds)
    assert hours.sum() == (ds["wind_speed"].values > 0).sum()
    west = np.abs((ds["wind_direction"].values - 270.0 + 180.0) % 360.0 - 180.0) < 11.25
    assert hours[:, names.index("W")].sum() == pytest.approx(west.sum(), abs=1)  # an hour on the edge of a sector
    fast = series.air_changes(ds) >= series.ROSE_CLASSES[-2]
    assert hours[-1].sum() == fast.sum()


def test_running_mean_takes_the_year_as_a_circle():
    values = np.arange(10.0)
    made = series.running_mean(values, 3)
    assert made[5] == pytest.approx(np.mean([3, 4, 5]), rel=1e-12)
    assert made[0] == pytest.approx(np.mean([8, 9, 0]), rel=1e-12)


@pytest.mark.parametrize(
    ("celsius", "humid", "hardy"), [(5.0, 88.01625, 88.01625), (20.0, 80.04, 85.0), (30.0, 80.0, 85.0)]
)
def test_mould_threshold_follows_the_published_polynomial_and_the_class(celsius, humid, hardy):
    # by hand from the polynomial of Hukka and Viitanen 1999 (from memory): 100 - 3.13 T + 0.160 T2 - 0.00267 T3
    assert figures.mould_threshold(np.array([celsius]))[0] == pytest.approx(humid, rel=1e-9)
    # medium resistant and resistant materials: 85 % (Ojanen et al. 2010, from memory)
    assert figures.mould_threshold(np.array([celsius]), 85.0)[0] == pytest.approx(hardy, rel=1e-9)


def test_profile_holds_every_face_with_the_three_airs_between(case):
    ds = case.dataset
    names, at = figures.profile_positions(ds)
    assert names[0] == "outdoor air" and names[-1] == "room air"
    assert names.index("cavity air") == 1 + list(ds["face_role"].values).index("outer face of wall")
    assert (np.diff(at) > 0).all()
    figure = figures.profile(ds, segment=1, hour=100)
    warm = dict(zip(names, figure.data[0].y, strict=True))
    assert warm["interior surface"] == pytest.approx(float(ds["temperature"].values[100, 1, -1]) - 273.15, rel=1e-6)
    assert warm["cavity air"] == pytest.approx(float(ds["cavity_temperature"].values[100, 1]) - 273.15, rel=1e-9)
    assert figure.layout.yaxis.title.text == "Temperature [°C]"
    # the axis spans the year, so that hours can be compared
    assert figure.layout.yaxis.range[0] <= display.show("temperature", ds["dew_point"].values[:, 1].min())


@pytest.mark.parametrize(
    ("name", "traces", "x", "y"),
    [
        ("fig-duration", ["whole column"], "Percentage of the hours of the year [%]", "Air change rate [per hour]"),
        ("fig-map", [None, "the hour shown"], "Day of the year", "Hour of the day [h]"),
        (
            "fig-psychro",
            ["the year", "the day", "the hour", "saturation", "80 %", "60 %", "40 %", "20 %"],
            "Temperature [°C]",
            "Vapour pressure [kPa]",
        ),
        ("fig-critical", ["hourly", "mean of the last 30 days"], "Time of year", "Relative humidity [%]"),
        (
            "fig-rht",
            ["every third hour", "sensitive materials", "resistant materials"],
            "Temperature [°C]",
            "Relative humidity [%]",
        ),
        (
            "fig-film",
            ["back of the cladding", "exterior surface of the backup wall", "run-off, per day"],
            "Time of year",
            "Film [g/m²]",
        ),
        ("fig-mould", ["mould index"], "Time of year", "Mould index, 0 to 6 [–]"),
        ("fig-drive", None, "Wind pressure [Pa]", "Stack pressure [Pa]"),
        ("fig-water", None, "Time of year", "Water in the layer [kg/m²]"),
        ("fig-loss", [None], "Driving pressure lost [%]", None),
        ("fig-years", [None], None, "Water in the wall [kg/m²]"),
        ("fig-balance", [None], "Water per year [kg/m²]", None),
    ],
)
def test_each_figure_names_its_traces_and_axes(case, name, traces, x, y):
    segment, face = series.governing(case.dataset, case.findings)
    figure = go.Figure(figures.plain_of_case(case.dataset, segment=segment, face=face)[name])
    if traces is not None:
        assert [trace.name for trace in figure.data] == traces
    assert figure.layout.xaxis.title.text == x
    assert figure.layout.yaxis.title.text == y


def test_hours_up_and_down_are_told_apart_by_shape_and_word(case):
    up, down = figures.drive(case.dataset).data
    assert up.name.startswith("upward flow (62 %") or up.name.startswith("upward flow (63 %")  # 15 of 24 hours
    assert down.name.startswith("downward flow (38 %") or down.name.startswith("downward flow (37 %")
    assert up.marker.symbol != down.marker.symbol


def test_a_still_cavity_is_drawn_and_said(case):
    ds = case.dataset.copy(deep=True)
    for name in (
        "air_change_rate",
        "compartment_air_change_rate",
        "air_speed",
        "opening_flow",
        "part_pressure",
        "stack_pressure",
        "wind_pressure",
    ):
        ds[name].values[:] = 0.0
    still = SimpleNamespace(**{**vars(case), "dataset": ds.isel(opening=[0])})
    drawn = figures.plain_of_case(still.dataset, segment=0, face=3)
    assert go.Figure(drawn["fig-duration"]).layout.annotations[0].text == "no airflow in any hour"
    assert list(go.Figure(drawn["fig-loss"]).data[0].x) == [0.0] * 3  # base slot, channel, head slot
    assert "no criterion" not in page.render(SimpleNamespace(cases=[still], created=""))
    assert verdict.bottleneck(still) == "No air moves."


def test_losses_are_shares_that_add_up_to_all(case):
    drawn = figures.losses(case.dataset.assign(part_gain=("part", [0.18, 0.25, 0.25, 0.25, 0.07]))).data[0]
    assert sum(drawn.x) == pytest.approx(100.0, rel=1e-9)  # rounding of a sum of five
    assert [text.split("<br>")[1] for text in drawn.text] == [
        "doubled: +18 % air",
        "doubled: +25 % air",
        "doubled: +7 % air",
    ]


def test_rain_and_drying_of_the_outer_face_are_one_term_of_the_balance(case):
    ds = case.dataset.copy(deep=True)
    ds["runoff"].values[10, 1, 0] = 5.0 / 3600.0  # 5 kg/m2 run off the outer face, and are in both terms
    names = [str(name) for name in ds["balance_term"].values]
    for name, value in (("rain on the wall", 9.0), ("vapour from outdoors", -3.5), ("run-off", -5.2)):
        ds["water_balance"].values[names.index(name), 1] = value
    shown = dict(series.balance(ds, 1))
    assert shown["exterior surface: rain absorbed minus evaporation"] == pytest.approx(9.0 - 5.0 - 3.5, rel=1e-9)
    assert shown["run-off in the cavity"] == pytest.approx(-0.2, rel=1e-9)
    stored = float(ds["water_balance"].values[names.index("stored"), 1])
    assert shown["stored"] == pytest.approx(stored, rel=1e-12)


def test_bottleneck_is_the_part_that_takes_most_pressure_beside_what_brings_most_air(case):
    ds = case.dataset.copy().assign(part_gain=("part", [0.18, 0.25, 0.25, 0.25, 0.07]))
    # losses of the factory: 3.0, 0.1, 0.1, 0.1, 2.0 of 5.3: 57 %
    said = verdict.bottleneck(SimpleNamespace(**{**vars(case), "dataset": ds}))
    assert "57 % of the pressure is lost at the base slot at 0.00 m." in said
    assert "by doubling, at the same drive: the cavity depth +25 %, the base slot +18 %, the head slot +7 %." in said


def test_monthly_table_adds_up_to_the_year(case):
    rows = series.monthly(case.dataset, 1)[3]
    assert [row["month"] for row in rows] == ["Jan", "Feb", "Mar", "Year"]
    humid = case.dataset["relative_humidity"].values[:, 1, 3]
    assert sum(row["humid_hours"] for row in rows[:-1]) == rows[-1]["humid_hours"] == (humid > 0.8).sum()
    assert rows[-1]["upward"] == pytest.approx(15 / 24, rel=1e-12)


def test_governing_place_is_where_the_worst_finding_is(case):
    found = dataclasses.replace(
        case.findings[0], key="mould", status="fail", face="OSB | mineral wool", layer="", segment="middle"
    )
    dew = dataclasses.replace(
        found, key="film", face="back of cladding", segment="top"
    )  # the cladding side cannot fail
    segment, face = series.governing(case.dataset, [dew, found])
    assert case.dataset["segment"].values[segment] == "middle"
    assert case.dataset["face"].values[face] == "OSB | mineral wool"


def test_governing_place_of_a_wall_that_passes_is_that_of_the_criterion_nearest_to_its_limit(case):
    ds = case.dataset
    for face in ("OSB | mineral wool", "vapour retarder | gypsum board"):
        near = dataclasses.replace(
            case.findings[0], key="condensate_inside", status="pass", ratio=0.4, face=face, layer="", segment="base"
        )
        far = dataclasses.replace(near, ratio=0.1, face="room face", segment="top")
        segment, place = series.governing(ds, [far, near])
        assert (ds["segment"].values[segment], ds["face"].values[place]) == ("base", face)
    # a layer is shown at the more humid of its surfaces
    wood = dataclasses.replace(near, key="wood_moisture", face="", layer="OSB")
    segment, place = series.governing(ds, [wood])
    humid = ds["relative_humidity"].sel(segment="base").mean("time")
    beside = [name for name in ds["face"].values if "OSB" in name]
    assert len(beside) == 2 and ds["face"].values[place] == max(beside, key=lambda name: float(humid.sel(face=name)))
    # the weather side and what is far from every limit decide nothing
    outside = dataclasses.replace(near, face="back of cladding", ratio=0.9)
    assert series.governing(ds, [outside]) == series.governing(ds)
    assert series.governing(ds, [dataclasses.replace(near, ratio=0.0)]) == series.governing(ds)


def test_drying_times_of_a_wetting_event_are_those_of_its_curve(case):
    times = series.event_times(case.event)
    # falls to a tenth in 20 days, shut in 200: half after log10(2) of that, reported by the hour (and its rounding)
    assert times["half"] == pytest.approx(20.0 * np.log10(2.0), abs=1.001 / 24)
    assert times["nine"] == pytest.approx(20.0, abs=1.001 / 24)
    assert times["half_shut"] == pytest.approx(200.0 * np.log10(2.0), abs=1.001 / 24)
    assert np.isinf(times["nine_shut"]) and times["span"] == 90.0
    assert times["left_shut"] == pytest.approx(10.0**-0.45, rel=1e-9)
    assert inputs_and_sources.event_days(case.event) == ("6.02 (60.2)", "20 (> 90)")


def test_the_wetting_event_is_drawn_with_its_levels(case):
    figure = figures.event(case.event)
    assert [trace.name for trace in figure.data] == ["vents open", "vents closed"]
    assert [shape.y0 for shape in figure.layout.shapes] == [250.0, 50.0]  # half and a tenth of 500 g/m2
    assert figure.data[0].y[1] == pytest.approx(1e3 * case.event.as_drawn[24:48].mean(), rel=1e-12)
    assert figure.data[0].x[1] == 1.5  # a daily mean stands in the middle of its day
    # the time that the finding and the table give is where this curve crosses
    half = series.event_times(case.event)["half"]
    assert np.interp(half, figure.data[0].x, figure.data[0].y) == pytest.approx(250.0, rel=1e-9)


def test_a_report_without_a_wetting_event_says_why(comparison):
    bare = [SimpleNamespace(**{**vars(case), "event": None}) for case in comparison.cases[:2]]
    text = page.render(SimpleNamespace(cases=bare, created="", no_event="no layer of the backup wall holds water"))
    assert "was not computed: no layer of the backup wall holds water." in text
    assert 'id="fig-event"' not in text and "Wetting event: half gone" not in text


def test_names_of_the_user_stay_text_in_plotly(case):
    ds = case.dataset.copy()
    ds = ds.assign_coords(layer=["<b>x</b>", *list(ds["layer"].values[1:])])
    assert figures.water(ds, segment=0).data[0].name == "&lt;b&gt;x&lt;/b&gt;"


# ---- packing -----------------------------------------------------------------------------------------------------
@given(
    st.lists(st.one_of(st.floats(-1e4, 1e4), st.just(float("nan"))), min_size=1, max_size=60),
    st.lists(st.floats(-5.0, 5.0), min_size=60, max_size=60),
)
def test_packed_numbers_come_back_within_half_a_step(values, moves):
    first = np.array(values)
    second = first + np.array(moves[: len(values)])  # stored as its difference from the first where that is shorter
    packer = packing.Packer()
    refs = [packer.add(array, owner, like="x") for owner, array in ((1, first), (2, second))]
    blocks = [zlib.decompress(base64.b64decode(block)) for block in packer.blocks(2)]
    for array, ref in zip((first, second), refs, strict=True):
        made = packing.unpack(ref, blocks)
        assert (np.isnan(made) == np.isnan(array)).all()
        # half a step, and the rounding of the division at large codes
        assert np.nanmax(np.abs(made - array), initial=0.0) <= 0.5 * ref["q"] * (1 + 1e-9)
    finite = first[np.isfinite(first)]
    low, high = (finite.min(), finite.max()) if finite.size else (0.0, 0.0)
    # a thousandth of the range (and the rounding of a decimal step), or as fine as 16 bits allow
    step = refs[0]["q"]
    assert step <= max((high - low) / 1000.0, 1e-15) * (1 + 1e-5) or max(abs(low), abs(high)) / step > 3000


def test_a_case_much_like_the_first_is_told_by_little():
    rng = np.random.default_rng(1)
    first = np.cumsum(rng.normal(size=2000))
    packer = packing.Packer()
    packer.add(first, 1, like="x", step=0.01)
    near = packer.add(first + 0.02 * (np.arange(2000) > 1000), 2, like="x")
    far = packer.add(rng.normal(size=2000), 2, like="x")
    blocks = packer.blocks(2)
    assert near["d"] == 0 and "l" in near and near["l"]["b"] == 0  # what others refer to is shared
    assert "l" not in far
    assert len(blocks[2]) < 1.2 * len(packing.deflate(packing._planes(np.diff(np.rint(rng.normal(size=2000) / 0.01)))))


def test_equal_arrays_are_kept_once_and_shared_ones_move_to_the_common_block():
    packer = packing.Packer()
    mine, other = np.linspace(0, 1, 100), np.linspace(0, 2, 100) ** 2
    first, second = packer.add(mine, 1), packer.add(other, 1)
    again = packer.add(mine.copy(), 2)
    blocks = [zlib.decompress(base64.b64decode(block)) for block in packer.blocks(2)]
    assert first is again and first["b"] == 0 and second["b"] == 1
    assert [len(block) for block in blocks] == [200, 200, 0]
    assert np.abs(packing.unpack(first, blocks) - mine).max() <= 0.5 * first["q"] * (1 + 1e-9)


def test_arrays_of_equal_length_and_step_do_not_share_a_figure():
    packer, shared = packing.Packer(), page._Shared([SimpleNamespace(climate_name="", dataset=make_ds())])
    one, two = packer.add(np.linspace(0, 1, 99), 1), packer.add(np.linspace(1, 0, 99), 1)
    assert shared.number("skeletons", {"y": {"$": one}}) != shared.number("skeletons", {"y": {"$": two}})


def make_ds():
    return SimpleNamespace(attrs={})


def test_json_in_a_script_cannot_end_it():
    made = packing.script_json({"a": "</script><!--\u2028&"})
    assert not set("<>&\u2028") & set(made)
    assert json.loads(made) == {"a": "</script><!--\u2028&"}


def test_page_data_give_back_the_dataset(comparison, text):
    index, blocks = index_of(text), blocks_of(text)
    assert len(index["cases"]) == len(comparison.cases) == 8
    for number in (0, 5):
        item, ds = index["cases"][number], comparison.cases[number].dataset
        rate = packing.unpack(item["series"]["rate"], blocks)
        # packed as square roots of a step of 1/1000 of the range
        assert np.abs(rate - series.air_changes(ds)).max() <= 2e-3 * series.air_changes(ds).max()
        segment, face = series.governing(ds, comparison.cases[number].findings)
        assert item["governs"] == face
        warm = packing.unpack(item["series"]["temperature"][item["points"][face]], blocks)
        wanted = display.show("temperature", ds["temperature"].values[:, segment, face])
        assert np.abs(warm - wanted).max() <= 0.5 * item["series"]["temperature"][item["points"][face]]["q"] + 1e-9
        skeleton = index["skeletons"][item["figures"]["fig-water"]]
        made = packing.unpack(skeleton["data"][1]["y"]["$"], blocks)
        wanted = figures.water(ds, segment=segment).data[1].y
        assert np.abs(made - wanted).max() <= 0.5 * skeleton["data"][1]["y"]["$"]["q"] * (1 + 1e-9)


# ---- answer (its words: test_verdict.py) ---------------------------------------------------------------------------
def test_matrix_cells_tell_what_decides_by_shape_word_and_number(comparison, text):
    seen = verdict.view(comparison)
    made = verdict.matrix(seen)
    cell = made["rows"][0]["cells"][0]
    worst = next(choice for choice in seen.choices if (choice.opening_set, choice.depth) == (SETS[0], DEPTHS[0]))
    assert cell["status"] == worst.status
    assert verdict.cell_text(worst.decides[1]) in cell["text"]
    assert comparison.cases[cell["case"]] is worst.decides[0].case
    assert [each["label"] for each in made["selectors"]] == ["Climate"]
    found = _Page(text)
    buttons = [attrs for tag, attrs in found.tags if tag == "button" and attrs.get("class") == "cell"]
    assert len(buttons) == 4  # one matrix, whatever the number of climates
    assert not any("aria-label" in attrs for attrs in buttons)  # their name is what they show
    assert text.count(f'<span class="visually-hidden">Show {SETS[0]}, ') == len(DEPTHS)
    assert sum(tag == "path" and attrs.get("d") in palette.STATUS_PATH.values() for tag, attrs in found.tags) >= 4
    assert "of a limit" not in "".join(found.words)


def test_cases_left_out_of_the_page_keep_their_cell_and_row(comparison, monkeypatch):
    real = verdict.shown
    monkeypatch.setattr(verdict, "shown", lambda seen: real(seen, most=5))
    made = page.render(comparison)
    index = index_of(made)
    assert len(index["cases"]) == 5 and made.count('id="block-') == 6
    words = "".join(_Page(made).words)
    assert "The hours of 3 cases that do not govern are not on this page" in words
    cells = [cell for rows in index["matrix"]["cells"].values() for row in rows for cell in row]
    assert any(cell["case"] is None for cell in cells)
    assert {cell["case"] for cell in cells} - {None} <= set(range(5))
    assert len(inputs_and_sources.all_cases(comparison.cases)) == 8


# ---- the page ----------------------------------------------------------------------------------------------------
def test_names_given_by_the_user_stay_text(comparison, text):
    found = _Page(text)
    words = "".join(found.words)
    assert NASTY in words and SETS[1] in words and "<i>nothing</i>" in words
    assert not any(tag in ("i", "img") for tag, _ in found.tags)
    assert sum(tag == "script" for tag, _ in found.tags) == 5 + len(comparison.cases)
    assert not any("alert(" in script for script in found.scripts)
    drawing = wall_drawing.draw(comparison.cases[2].dataset)
    assert "<b>" not in drawing and "mesh &quot;fine&quot; &lt;b&gt;" in drawing


def test_page_asks_nothing_of_the_network(text):
    found = _Page(text)
    for _, attrs in found.tags:
        for key in ("src", "href", "action", "data"):
            assert attrs.get(key, "#").startswith("#")
    policy = next(attrs["content"] for tag, attrs in found.tags if attrs.get("http-equiv") == "Content-Security-Policy")
    assert policy.startswith("default-src 'none'")
    assert not re.search(r"url\((?!#)", text) and "@import" not in text


def test_same_comparison_gives_the_same_page_but_for_the_time(comparison, text):
    later = SimpleNamespace(**{**vars(comparison), "created": "2026-03-02 08:30 UTC"})
    rendered = page.render(later).replace("2026-03-02 08:30 UTC", comparison.created)
    assert rendered.replace("2026-03-02", "2026-03-01") == text


def test_every_control_and_place_of_a_figure_is_named_once(text):
    found = _Page(text)
    ids = [attrs["id"] for _, attrs in found.tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    places = {attrs["id"] for _, attrs in found.tags if attrs.get("class") == "plot"}
    assert set(index_of(text)["cases"][0]["figures"]) <= places
    for _, attrs in found.tags:
        if attrs.get("class") == "plot":
            assert attrs["role"] == "group" and attrs["aria-labelledby"] in ids and attrs["aria-describedby"] in ids
        if "for" in attrs:
            assert attrs["for"] in ids


def test_evidence_shows_inputs_layers_openings_warnings_and_hashes(comparison, text):
    words = " ".join("".join(_Page(text).words).split())
    for part in ("fire stop", "at 2.7 m, 20 cm²/m left open", "hat rail", "3 ×, gap 50 mm in each bay of 1 200 mm",
                 "s_d 0.02 m", "s_d 0.3 to 10 m", "ISO 10456:2007 †", "Rain: wall factor", "head slot",
                 "40 cm²/m",
                 "Invented Plain: no rain column", "0" * 64, "Largest balance error: water",
                 "Largest balance error: vapour of the air stream",
                 "can carry fire", "ASHRAE Fundamentals"):  # fmt: skip
        assert part in words, part
    assert "Rain: deposition factor" not in words  # belongs to the other rain method
    assert inputs_and_sources.all_cases(comparison.cases)[0]["status"] == verdict.case_status(comparison.cases[0])


def test_equations_are_well_formed_and_read_aloud():
    found = [equation for note in equations.NOTES for equation in note.equations]
    assert len(found) >= 8
    for equation in found:
        root = ET.fromstring(equation)
        assert root.tag == "math" and len(root.attrib["aria-label"]) > 10


def test_names_in_the_drawing_stay_text(case):
    ds = case.dataset.assign_coords(opening=["<script>", "a & b"])
    root = ET.fromstring(wall_drawing.draw(ds))  # well formed, so nothing of a name became markup
    words = [text.text for text in root.iter("text")]
    assert "<script>" in words and "a & b" in words


def test_section_is_drawn_to_scale(case):
    root = ET.fromstring(wall_drawing.draw(case.dataset))
    boxes = [(float(box.attrib["width"]), box.attrib.get("class")) for box in root.iter("rect")]
    wool = next(width for width, kind in boxes if kind == "layer soft")
    board = next(width for width, kind in boxes if kind == "layer wood")
    assert wool / board == pytest.approx(160.0 / 12.0, rel=0.02)  # px are written to 0.1
    assert len(list(root.iter("g"))) >= 3
    openings = [g.attrib["data-opening"] for g in root.iter("g") if "data-opening" in g.attrib]
    assert openings == ["0", "1"]


def test_labels_of_a_section_of_many_pieces_lie_apart_and_keep_base_and_head(case, monkeypatch):
    """Twelve openings, of which nine are drawn; a long name takes a second line only where there is room for it."""
    long = "slot above the fire barrier of storey"
    for count in (2, 4, 6, 9, 12):
        pieces = [
            wall_drawing._Piece("opening", 3.0 * at / (count - 1), f"{long} {at}", "slot, 100 cm²/m", at % 2)
            for at in range(count)
        ]
        monkeypatch.setattr(wall_drawing, "_pieces", lambda ds, pieces=pieces: pieces)
        root = ET.fromstring(wall_drawing.draw(case.dataset))
        column = [text for text in root.iter("text") if text.attrib.get("text-anchor") == "end"]
        column = [text for text in column if text.attrib["class"].split()[0] in ("label", "small")]
        beside = max(column, key=lambda text: "label" in text.attrib["class"]).attrib["x"]
        heights = sorted(float(text.attrib["y"]) for text in column if text.attrib["x"] == beside)
        assert np.diff(heights).min() >= 15.0  # the type is 15 high
        names = [text.findtext("title") for text in column if text.find("title") is not None]
        assert names[0] == f"{long} 0" and names[-1] == f"{long} {count - 1}"


def test_25_cases_of_a_year_stay_under_8_megabytes():
    one = make_case(hours=8760, damp=0.5)
    rng = np.random.default_rng(3)
    noisy = one.dataset.copy(deep=True)
    # a real year is less regular than sines: half a kelvin of noise that lasts a few hours
    for name in ("temperature", "dew_point", "cavity_temperature"):
        noisy[name].values[:] += np.convolve(rng.normal(size=8760), [0.4, 0.3, 0.2, 0.1], "same").reshape(
            -1, *[1] * (noisy[name].ndim - 1)
        )
    other = SimpleNamespace(**{**vars(one), "dataset": noisy, "depth": 0.04})
    single = len(page.render(SimpleNamespace(cases=[one], created="")))
    double = len(page.render(SimpleNamespace(cases=[one, other], created="")))
    assert single + 24 * (double - single) < 8e6


def test_report_is_written_in_one_move_and_a_good_file_survives(tmp_path, comparison, monkeypatch):
    target = tmp_path / "new folder" / "report.html"
    assert write_report(comparison, target) == target
    good = target.read_text("utf-8")
    assert good.startswith("<!doctype html>") and good.rstrip().endswith("</html>")

    def broken(self, other):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pathlib.Path.replace", broken)
    with pytest.raises(InputError, match="No space left on device"):
        page.write_text(target, "<!doctype html>half")
    assert target.read_text("utf-8") == good
    assert [item.name for item in target.parent.iterdir()] == ["report.html"]


def test_report_onto_a_folder_and_without_cases_say_what_is_wrong(tmp_path):
    with pytest.raises(InputError, match="is a folder"):
        page.write_text(tmp_path, "x")
    with pytest.raises(InputError, match="no case to report"):
        page.render(SimpleNamespace(cases=[], created=""))


def test_tables_hold_the_numbers_of_the_datasets(tmp_path, comparison):
    written = {path.name: path for path in write_tables(comparison, tmp_path / "csv")}
    assert set(written) == {"choices.csv", "schedule.csv", "rules.csv", "cases.csv", "findings.csv", "months.csv"}
    read = {name: list(csv.DictReader(io.StringIO(path.read_text("utf-8")))) for name, path in written.items()}
    assert len(read["cases.csv"]) == len(comparison.cases)
    rate = np.median(series.air_changes(comparison.cases[3].dataset))
    # six digits are written
    assert float(read["cases.csv"][3]["median air change rate [per hour]"]) == pytest.approx(rate, rel=1e-5)
    assert read["cases.csv"][3]["openings"] == SETS[1] and read["cases.csv"][3]["cavity depth [mm]"] == "40.0"
    assert float(read["cases.csv"][0]["50 % drying time of a wetting event [d]"]) == pytest.approx(6.02, abs=0.05)
    assert read["cases.csv"][0]["90 % drying time, vents closed [d]"] == ""  # more than was followed
    assert len(read["findings.csv"]) == sum(len(case.findings) for case in comparison.cases)
    assert read["findings.csv"][0]["sentence"] == series.ranked(comparison.cases[0].findings)[0].sentence
    assert [row["month"] for row in read["months.csv"][:4]] == ["Jan", "Feb", "Mar", "Year"]
    seen = verdict.view(comparison)
    assert [row["openings"] for row in read["choices.csv"]] == [choice.opening_set for choice in seen.choices]
    assert [row["openings"] for row in read["choices.csv"] if row["recommended"] == "recommended"] == [
        seen.best.opening_set
    ]
    assert {row["result"] for row in read["rules.csv"]} <= {"met", "not met", "does not apply", "check by hand"}


def test_pdf_without_a_browser_says_what_to_do(tmp_path, monkeypatch):
    monkeypatch.setattr(pdf, "find_browser", lambda: None)
    with pytest.raises(InputError, match=r"(?s)--pdf: needs a browser.*install Chromium"):
        pdf.write_pdf(tmp_path / "a.html", tmp_path / "a.pdf")
    assert list(tmp_path.iterdir()) == []


def test_a_plain_page_carries_text_tables_figures_and_folded_answers(tmp_path, case):
    parts = [
        {
            "heading": "Depth <1>",
            "nav": "Depth",
            "text": ["Deeper is not always better."],
            "equation": equations.NOTES[1].equations[1],
            "figures": [{"id": "fig-a", "title": "Curve", "caption": "One.", "figure": figures.duration(case.dataset)}],
            "table": {"caption": "Numbers", "head": ["a"], "rows": [["<td>"]]},
            "question": "Why?",
            "answer": ["Friction."],
        }
    ]
    written = page.write_page(tmp_path / "p.html", "A <page>", lead=["Lead."], caution=["Care."], parts=parts)
    found = _Page(written.read_text("utf-8"))
    words = "".join(found.words)
    assert "A <page>" in words and "Depth <1>" in words and "<td>" in words
    packed = next(script for script in found.scripts if '"figures":{"fig-a"' in script)
    assert len(json.loads(packed)["figures"]["fig-a"]["data"][0]["x"]) == 201
    assert any(tag == "details" for tag, _ in found.tags) and any(tag == "math" for tag, _ in found.tags)


# ---- colours -----------------------------------------------------------------------------------------------------
def luminance(colour):
    parts = [int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize("table", [palette.LIGHT, palette.DARK])
def test_text_colours_stand_out_from_their_paper(table):
    # WCAG 2.1: 4.5 for text, 3 for graphics
    for name, least in (("ink", 7.0), ("muted", 4.5), ("pass", 4.5), ("fail", 4.5), ("review", 3.0),
                        ("temperature", 3.0), ("dew_point", 3.0), ("humidity", 3.0), ("air", 3.0), ("film", 3.0),
                        ("mould", 3.0)):  # fmt: skip
        light, dark = sorted((luminance(table[name]), luminance(table["paper"])), reverse=True)
        assert (light + 0.05) / (dark + 0.05) >= least, name


def test_light_colours_can_be_told_apart_as_text_and_the_scale_darkens_evenly():
    assert len(set(palette.LIGHT.values())) == len(palette.LIGHT)
    assert palette.LIGHT.keys() == palette.DARK.keys()
    steps = np.array([luminance(colour) for colour in palette.SCALE])
    assert (np.diff(steps) < -0.02).all()


def colours_of(trace):
    """Return the colours of a line or of marks; a map and a rose have a scale, which darkens evenly."""
    if trace["type"] in ("heatmap", "barpolar"):
        return set()
    found = [(trace.get(part) or {}).get("color") for part in ("line", "marker")]
    return {colour for each in found if each for colour in ([each] if isinstance(each, str) else each)}


def coloured_together(case):
    """Return the pairs of colours that some figure shows side by side in its legend or bars."""
    drawn = figures.plain_of_case(case.dataset, segment=1, face=3)
    drawn["fig-event"] = figures.event.__wrapped__(case.event)
    names = {colour: name for name, colour in palette.LIGHT.items()}
    sets = [palette.LAYERS, ("air", "temperature")]  # of a wall with many layers; of two cases
    for figure in drawn.values():
        shown = [
            trace for trace in figure["data"] if trace.get("showlegend", True)
        ]  # guide lines are named beside them
        sets.append(tuple(sorted({names[colour] for trace in shown for colour in colours_of(trace)})))
    return {tuple(sorted(pair)) for each in sets for pair in itertools.combinations(each, 2)}


# colours of drawings and pages that a reader must tell apart without help of position, besides those of the figures
TOGETHER = (
    ("temperature", "dew_point"), ("temperature", "humidity"), ("humidity", "dew_point"), ("stack", "wind"),
    ("stack", "air"), ("wind", "air"), ("film", "runoff"), ("film", "temperature"), ("humidity", "film"),
    ("mould", "humidity"), ("rain", "runoff"), ("wood", "humidity"), ("wood", "mould"), ("pass", "fail"),
)  # fmt: skip
# linear RGB as seen with one kind of cone missing: Machado, Oliveira, Fernandes 2009, IEEE Trans. Vis. Comput.
# Graph. 15, 1291, severity 1.0 (from memory)
SEEN = {
    "all cones": ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
    "no long": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
    "no medium": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881)),
    "no short": ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602), (0.004733, 0.691367, 0.303900)),
}


def lab(colour, seen):
    """CIE L*a*b* (D65) of a colour, with the cones of `seen`."""
    parts = np.array([int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)])
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    linear = np.clip(np.array(seen) @ linear, 0.0, 1.0)
    to_xyz = np.array(
        [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
    )
    x = to_xyz @ linear / np.array([0.95047, 1.0, 1.08883])
    f = np.where(x > 0.008856, np.cbrt(x), 7.787 * x + 16.0 / 116.0)
    return np.array([116.0 * f[1] - 16.0, 500.0 * (f[0] - f[1]), 200.0 * (f[1] - f[2])])


@pytest.mark.parametrize("seen", SEEN)
@pytest.mark.parametrize("table", [palette.LIGHT, palette.DARK], ids=["light", "dark"])
def test_colours_of_one_figure_stay_apart_with_any_kind_of_cones(case, table, seen):
    pairs = coloured_together(case)
    assert len(pairs) > 30 and ("dew_point", "temperature") in pairs
    for one, other in sorted({*pairs, *TOGETHER}):
        apart = np.linalg.norm(lab(table[one], SEEN[seen]) - lab(table[other], SEEN[seen]))
        assert apart >= 11.0, (one, other)  # 2.3 is just noticeable side by side; thin lines need several times that


def test_a_recalled_source_bears_a_mark_and_the_page_says_once_what_it_means(text):
    from cavity.units import FOOTNOTE

    words = " ".join("".join(_Page(text).words).split())
    assert words.count(FOOTNOTE) == 1 and "ISO 10456:2007 †" in words
    assert words.count("from memory") == 2  # the heading of the one list, and the footnote
    assert "Sources cited from memory, marked †" in words
    listed = re.findall(r"<li>(.*?)</li>", text[text.index('id="recalled"') :].partition("</details>")[0])
    assert listed == sorted(set(listed)) and len(listed) > 3
    assert not [(one, other) for one in listed for other in listed if re.match(rf"{re.escape(one)}[ :,]", other)]


def test_a_page_without_recalled_sources_has_no_footnote(tmp_path):
    from cavity.report.page import write_page

    plain = write_page(tmp_path / "a.html", "A page", lead=["Nothing recalled."]).read_text(encoding="utf-8")
    marked = write_page(tmp_path / "b.html", "A page", lead=["ISO 9223, from memory."]).read_text(encoding="utf-8")
    assert "re-checked" not in plain and marked.count("re-checked against the text") == 1 and "ISO 9223 †" in marked
