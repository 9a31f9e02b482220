"""Document and spreadsheet of a comparison: opened again, they hold what the Datasets hold."""

from __future__ import annotations

import builtins
import importlib.util
import io
import re
import struct
import zipfile
import zlib

import numpy as np
import pytest
from click.testing import CliRunner
from report_cases import SETS, make_comparison

from cavity.cli import main
from cavity.errors import InputError
from cavity.report import brief, document, office, pdf, schedule, series, tables, verdict, workbook
from cavity.units import FOOTNOTE, cite
from cavity.wallfile import starter

CLIMATES = ("Invented Coast", "Invented Plain")
W = "http://schemas.openxmlformats.org/wordprocessingml/2006/main"
WALL = "=1+1 & Söhne \x07"  # text that a spreadsheet takes for a formula, and a sign that XML cannot hold


@pytest.fixture(scope="module")
def comparison():
    return make_comparison(hours=24 * 40, climates=CLIMATES, name=WALL)


@pytest.fixture(scope="module")
def book(comparison, tmp_path_factory):
    from openpyxl import load_workbook

    return load_workbook(workbook.write_xlsx(comparison, tmp_path_factory.mktemp("x") / "wall.xlsx"))


@pytest.fixture(scope="module")
def paper(comparison, tmp_path_factory):
    """The document without pictures, as it is where there is no browser."""
    from docx import Document

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(pdf, "find_browser", lambda: None)
        return Document(document.write_docx(comparison, tmp_path_factory.mktemp("d") / "wall.docx"))


def rows_of(sheet):
    first, *rest = sheet.iter_rows(values_only=True)
    return [dict(zip(first, row, strict=True)) for row in rest]


# ---- spreadsheet -----------------------------------------------------------------------------------------------------
def test_every_sheet_has_a_frozen_head_with_units_and_columns_that_can_be_read(book):
    assert book.sheetnames == [
        "Summary", "Vent schedule", "Choices", "Cases", "Findings", "Months", "Rule check", "Hours"
    ]  # fmt: skip
    for sheet in book:
        assert sheet.freeze_panes == ("B2" if sheet.title == "Hours" else "A2") and all(
            cell.font.bold for cell in sheet[1]
        ), sheet.title
        widths = [sheet.column_dimensions[cell.column_letter].width for cell in sheet[1]]
        assert all(9 <= width <= 60 for width in widths), sheet.title
    heads = [cell.value for cell in book["Hours"][1]]
    assert len(set(heads)) == len(heads)
    assert all(re.search(r" \[[^\]]+\]$", head) for head in heads[1:])
    for sheet in book:
        assert sheet.print_title_rows == "$1:$1" and sheet.page_setup.orientation == "landscape"
        units = [unit for cell in sheet[1] for unit in re.findall(r"\[(.+)\]", cell.value)]
        assert not [unit for unit in units if re.search(r"m[23]|degC|degree|mm²/m$", unit)], sheet.title


def test_numbers_of_a_column_have_the_same_decimals(book):
    """At least three digits of the largest; whole numbers and text stay as they are."""
    assert book["Hours"]["A2"].number_format == "yyyy-mm-dd hh:mm"
    for sheet in book:
        for column in list(sheet.iter_cols(min_row=2))[:20]:
            numbers = [cell for cell in column if isinstance(cell.value, float)]
            assert len({cell.number_format for cell in numbers}) <= 1
            largest = max((abs(cell.value) for cell in column if isinstance(cell.value, (int, float))), default=0.0)
            if largest > 0.01 and any(cell.value != round(cell.value) for cell in numbers[:200]):
                form = numbers[0].number_format
                shown = f"{largest:.{len(form.partition('.')[2])}f}"
                assert re.fullmatch(r"0(\.0+)?", form) and len(shown.replace(".", "").lstrip("0")) >= 3, (
                    sheet.title,
                    form,
                )


def test_hours_are_those_of_the_dataset(comparison, book):
    seen = verdict.view(comparison)
    ds = brief.deciding(seen).dataset
    rows = rows_of(book["Hours"])
    assert len(rows) == ds.sizes["time"]
    assert [np.datetime64(row["Time, start of the hour"], "m") for row in rows] == list(
        ds["time"].values.astype("datetime64[m]")
    )

    def column(head):
        return [row[head] for row in rows]

    warm = next(head for head in rows[0] if "outdoor" in head.lower() and "°C" in head)
    assert column(warm) == pytest.approx(ds["temperature_outdoor"].values - 273.15, rel=1e-5, abs=1e-4)
    rate = next(head for head in rows[0] if head.endswith("[per hour]"))
    assert column(rate) == pytest.approx(series.air_changes(ds), rel=1e-5)
    face, segment = series.face_names(ds)[1], str(ds["segment"].values[0])
    humid = next(
        head for head in rows[0] if head.lower().startswith("relative humidity") and f"{face}, {segment}" in head
    )
    assert column(humid) == pytest.approx(100 * ds["relative_humidity"].values[:, 0, 1], rel=1e-5)


def test_findings_months_and_schedule_are_numbers_of_all_cases(comparison, book):
    found = rows_of(book["Findings"])
    expected = [(item.key, item) for case in comparison.cases for item in series.ranked(case.findings)]
    assert [row["Key"] for row in found] == [key for key, _ in expected]
    head, rows = tables.sheets(comparison)["findings"]
    for place in ("value", "limit"):
        want = [row[head.index(place)] for row in rows]
        got = [row[place.capitalize()] for row in found]
        assert [value for value in got if value is not None] == [v for v in want if np.isfinite(v)]
        assert all(isinstance(value, (int, float)) for value in got if value is not None)
    months = rows_of(book["Months"])
    assert {row["Openings"] for row in months} == set(SETS) and {row["Climate"] for row in months} == set(CLIMATES)
    assert all(isinstance(row["Median air change rate [per hour]"], (int, float)) for row in months)
    ds = verdict.drawn_parts(verdict.view(comparison))[0].case.dataset
    plan = rows_of(book["Vent schedule"])
    want = [1e4 * row.free_area for row in schedule.rows(ds)]
    assert [row["Free area [cm²/m]"] for row in plan] == pytest.approx(want, rel=1e-12) and len(want) > 2


def test_text_is_never_a_formula_and_holds_no_control_characters(book):
    cells = [cell for sheet in book for line in sheet.iter_rows() for cell in line]
    assert not [cell.coordinate for cell in cells if cell.data_type == "f"]
    named = {row["What"]: row["Value"] for row in rows_of(book["Summary"])}
    assert named["Wall"] == "=1+1 & Söhne " and named["Note"] == "fictitious example"


def test_spreadsheet_of_a_sizing_holds_every_case_tried(tmp_path):
    from openpyxl import load_workbook
    from test_study_size import at, evaluator, sizing

    from cavity.study.size import search

    rows = search(evaluator(lambda depth, factor: 0.8 * (0.02 / depth) ** 0.5 / factor), at(0.015, 0.03))
    found = sizing(rows)
    made = load_workbook(workbook.write_size_xlsx(found, tmp_path / "size.xlsx"))
    assert made.sheetnames == ["Summary", "Minima", "Cases tried"]
    minima = rows_of(made["Minima"])
    assert [row["Cavity depth [mm]"] for row in minima] == pytest.approx([15.0, 30.0])
    assert [row["Minimum vents, factor on the design"] for row in minima] == pytest.approx([row.least for row in rows])
    tried = rows_of(made["Cases tried"])
    cases = [each for row in rows for each in row.outcomes]
    assert [row["Vents, factor on the design"] for row in tried] == pytest.approx([each.factor for each in cases])
    assert [row["Largest ratio to a limit [%]"] for row in tried] == pytest.approx([100 * c.severity for c in cases])
    assert [row["Passes"] for row in tried] == ["yes" if each.passes else "no" for each in cases]
    assert {"yes", "no"} == {row["Passes"] for row in tried}


def shown(text):
    """Return a text as the document has it: recalled sources marked, subscripts in type of their own."""
    return re.sub(r"\b([A-Za-z])_([A-Za-z0-9]{1,3})\b", r"\1\2", cite(office.clean(text)))


# ---- document --------------------------------------------------------------------------------------------------------
def cells(table):
    return [[cell.text for cell in line.cells] for line in table.rows]


def test_document_holds_the_summary(comparison, paper):
    said = brief.brief(comparison)
    text = "\n".join(each.text for each in paper.paragraphs)
    for line in (said.verdict, *said.reasons, *said.rain, *said.limits, *said.cautions, said.layers):
        assert shown(line) in text
    assert text.count("from memory") == text.count(FOOTNOTE) == 1
    by_head = {tuple(cells(table)[0]): cells(table)[1:] for table in paper.tables}
    for head, rows in (
        (brief.SCHEDULE_HEAD, said.schedule), (brief.RULE_HEAD, said.rules),
        (brief.STRIP_HEAD, [row.texts for row in said.strips]),
        (brief.CRITERIA_HEAD, [row.texts for row in said.criteria]),
    ):  # fmt: skip
        assert by_head[head] == [[shown(text) for text in row] for row in rows]
    assert brief.SIGNED in by_head
    areas = [float(row[4]) for row in by_head[brief.SCHEDULE_HEAD]]
    want = [1e4 * row.free_area for row in schedule.rows(brief.deciding(verdict.view(comparison)).dataset)]
    assert areas == pytest.approx(want, rel=5e-3)


def test_every_page_of_the_document_is_named_and_numbered(paper, comparison):
    (sheet,) = paper.sections
    assert office.clean(brief.brief(comparison).head) in sheet.header.paragraphs[0].text
    foot = sheet.footer.paragraphs[0]
    assert [part.text for part in foot._p.iter() if part.tag.endswith("instrText")] == ["PAGE", "NUMPAGES"]
    for table in paper.tables:
        assert sum(cell.width for cell in table.rows[0].cells) <= sheet.page_width - sheet.left_margin
    for (
        table
    ) in paper.tables:  # a head is repeated, and is not alone at the foot of a page; nor is the last row at a head
        first, *rows = table.rows
        if len(table.columns) > 2:
            assert first._tr.trPr.find(f"{{{W}}}tblHeader") is not None
        assert all(row._tr.trPr.find(f"{{{W}}}cantSplit") is not None for row in table.rows)
        assert all(cell.paragraphs[0].paragraph_format.keep_with_next for cell in first.cells)
        if len(rows) > 1:
            assert all(cell.paragraphs[0].paragraph_format.keep_with_next for cell in rows[-2].cells)


def test_headings_have_the_font_they_name_and_subscripts_are_set(paper):
    for name in ("Title", "Heading 1", "Caption"):
        fonts = paper.styles[name].element.rPr.rFonts
        assert paper.styles[name].font.name == "Arial" and not [key for key in fonts.attrib if key.endswith("Theme")]
    runs = [
        run for table in paper.tables for row in table.rows for cell in row.cells for run in cell.paragraphs[0].runs
    ]
    assert {"d", "p"} <= {run.text for run in runs if run.font.subscript}
    assert not [run.text for run in runs if re.search(r"\b[A-Za-z]_", run.text)]


def test_without_a_browser_it_says_that_pictures_are_missing(paper):
    assert not paper.inline_shapes and office.NO_PICTURES in [each.text for each in paper.paragraphs]


def _idat(png):
    """Return the packed points of a PNG."""
    found, at = b"", 8
    while at < len(png):
        size = struct.unpack(">I", png[at : at + 4])[0]
        if png[at + 4 : at + 8] == b"IDAT":
            found += png[at + 8 : at + 8 + size]
        at += 12 + size
    return found


@pytest.mark.browser
@pytest.mark.skipif(pdf.find_browser() is None, reason="no browser of the Chromium family")
def test_pictures_are_in_the_document_with_words_for_who_cannot_see_them(comparison, tmp_path):
    from docx import Document

    path = document.write_docx(comparison, tmp_path / "wall.docx")
    made = Document(path)
    assert len(made.inline_shapes) == len(document._PICTURES)
    with zipfile.ZipFile(path) as whole:
        pictures = [whole.read(name) for name in whole.namelist() if name.startswith("word/media/")]
    sizes = [struct.unpack(">II", data[16:24]) for data in pictures]
    assert all(wide >= 450 and tall >= 200 for wide, tall in sizes)
    for data in pictures:  # something is drawn on it
        assert len(set(zlib.decompress(_idat(data)))) > 60
    for shape in made.inline_shapes:
        assert shape._inline.docPr.get("descr") and shape.width < made.sections[0].page_width * 0.87
    assert office.NO_PICTURES not in [each.text for each in made.paragraphs]
    captions = [each.text for each in made.paragraphs if each.style.name == "Caption"]
    assert [re.match(r"Figure (\d+)\. \w", text)[1] for text in captions] == [
        str(number + 1) for number in range(len(document._PICTURES))
    ]
    assert [item.name for item in tmp_path.iterdir()] == ["wall.docx"]


# ---- what goes wrong -------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("option", "package"), [("--docx", "python-docx"), ("--xlsx", "openpyxl")])
def test_without_the_library_the_error_names_the_fix(option, package, tmp_path, monkeypatch):
    real = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name, *more: None if name in ("docx", "openpyxl") else real(name, *more)
    )
    path = tmp_path / f"wall.{option[2:]}"
    with pytest.raises(InputError, match=rf"(?s){option}: needs the library {package}.*cavity\[office\]"):
        office.needed(option, path)
    wall = tmp_path / "wall.toml"
    wall.write_text(starter())
    result = CliRunner().invoke(main, ["compare", str(wall), option, str(path), "--out", str(tmp_path / "r.html")])
    assert result.exit_code == 2 and package in result.output
    assert [item.name for item in tmp_path.iterdir()] == ["wall.toml"]


def test_library_is_not_loaded_with_the_modules(monkeypatch):
    real = builtins.__import__

    def refuse(name, *more):
        assert name.split(".")[0] not in ("docx", "openpyxl"), name
        return real(name, *more)

    monkeypatch.setattr(builtins, "__import__", refuse)
    for module in (office, document, workbook):
        importlib.reload(module)


@pytest.mark.parametrize("option", ["--docx", "--xlsx"])
def test_outputs_are_checked_before_the_wall_is_read(option, tmp_path):
    ending = option[2:]
    there = tmp_path / f"notes.{ending}"
    there.write_text("my notes")
    wall = tmp_path / "wall.toml"
    wall.write_text("no wall at all")
    for given, said in (
        (there, "exists already and is not an office file"),
        (tmp_path / "wall.txt", f"a file name ending in .{ending}"),
        (tmp_path, f"a file name ending in .{ending}"),
        (tmp_path / "wall.toml" / f"x.{ending}", "is a file, not a folder"),
    ):
        result = CliRunner().invoke(main, ["compare", str(wall), option, str(given), "--out", str(tmp_path / "r.html")])
        assert result.exit_code == 2 and said in " ".join(result.output.split()), result.output
        assert "no wall at all" not in result.output
    assert there.read_text() == "my notes" and {each.name for each in tmp_path.iterdir()} == {there.name, "wall.toml"}


def test_a_disk_that_fails_leaves_no_part_of_a_file(comparison, tmp_path, monkeypatch):
    target = tmp_path / "wall.xlsx"
    target.write_bytes(office.START + b"old")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(InputError, match="No space left"):
        workbook.write_xlsx(comparison, target)
    assert target.read_bytes() == office.START + b"old" and len(list(tmp_path.iterdir())) == 1


def test_both_are_names_of_the_package(comparison, tmp_path):
    import cavity

    path = cavity.write_xlsx(comparison, tmp_path / "a.xlsx")
    assert zipfile.is_zipfile(io.BytesIO(path.read_bytes())) and "write_docx" in dir(cavity)
