"""A comparison as a document (DOCX) for a consultant to go on with: the summary of the report with its pictures."""

from __future__ import annotations

import contextlib
import datetime as dt
import io
import os
import re
import struct
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from cavity.files import write_whole
from cavity.report import brief, office, pdf, verdict
from cavity.report.page import write_report
from cavity.units import FOOTNOTE, cite

# name, part of the report's page, title, width on the sheet [mm], caption
_PICTURES = (
    ("elevation", "#elevation svg", "The wall from outside", 80.0,
     "Strips of the recommended case with their result and the direction of the air."),
    ("section", "#section-drawing svg.section", "Section", 150.0,
     "Layers to scale of thickness, openings with their free vent area, and the air path of one hour."),
    ("duration", "#fig-duration", "Air change rate: duration curve", 110.0,
     "Percentage of the hours of the year in which the air change rate is reached or exceeded."),
    ("humidity", "#fig-critical", "Relative humidity at the governing surface", 165.0,
     "Hourly, and as the mean of the last 30 days, with the usual limits."),
    ("drying", "#fig-event", "Drying after a wetting event", 165.0,
     "Remaining water of that added, with the vents open and closed."),
    ("balance", "#fig-balance", "Annual water balance", 165.0,
     "One square metre of wall in the last simulated year; bars to the right wet it, bars to the left dry it."),
)  # fmt: skip
_WIDE = 182.0  # mm, text width on A4
_SUBSCRIPT = re.compile(r"(?:(?<=\b[A-Za-z]))_([A-Za-z0-9]{1,3})\b")  # of s_d, C_p; two letters before it are a name


def write_docx(comparison: Any, path: str | os.PathLike[str], *, page: str | os.PathLike[str] | None = None) -> Path:
    """Write the summary of a comparison as a document with tables and pictures (DOCX).

    The pictures are taken from the report's page in Chromium; without Chromium the document is written without them,
    and says so.

    Parameters
    ----------
    comparison : Comparison
        As for `write_report`.
    path : path
        The file, its name ending in ``.docx``; an existing one is replaced only by a complete one.
    page : path, keyword only
        Its report, where it is written already; else one is written for the pictures and removed.

    Returns
    -------
    pathlib.Path
        The file written.

    Raises
    ------
    InputError
        If python-docx is not installed, the name has another ending, or the file cannot be written.
    """
    office.needed("--docx", path)
    seen = verdict.view(comparison)
    pictures: dict[str, bytes] = {}
    if not office.no_pictures():
        wanted = {name: selector for name, selector, *_ in _PICTURES}
        if page is not None:
            pictures = pdf.take_pictures(page, wanted)
        else:
            with tempfile.TemporaryDirectory() as folder:
                pictures = pdf.take_pictures(write_report(comparison, Path(folder) / "report.html"), wanted)
    return write_whole(path, _document(brief.brief(comparison, seen), pictures))


def _document(said: brief.Brief, pictures: dict[str, bytes]) -> bytes:
    from docx import Document
    from docx.shared import Mm, Pt, RGBColor

    made = Document()
    sheet = made.sections[0]
    sheet.page_width, sheet.page_height = Mm(210), Mm(297)
    sheet.left_margin = sheet.right_margin = Mm(14)
    sheet.top_margin, sheet.bottom_margin = Mm(20), Mm(18)
    plain = made.styles["Normal"]
    plain.font.name, plain.font.size = "Arial", Pt(9.5)
    plain.paragraph_format.space_after = Pt(3)
    for name, size, before in (("Title", 20, 0), ("Heading 1", 13, 10), ("Caption", 8.5, 0)):
        style = made.styles[name]
        style.font.size, style.font.color.rgb = Pt(size), RGBColor(0x16, 0x22, 0x2B)
        style.paragraph_format.space_before = Pt(before)
        fonts = style.element.get_or_add_rPr().get_or_add_rFonts()
        for key in list(fonts.attrib):  # a font of the theme would win over one that is named
            del fonts.attrib[key]
        style.font.name = "Arial"
    core = made.core_properties
    core.title, core.author = office.clean(f"{said.wall}: ventilated cavity"), f"Cavity {said.version}"
    core.comments = "Advisory results, not an approval."
    with contextlib.suppress(ValueError):
        core.created = dt.datetime.fromisoformat(said.day)
    _heads(made, sheet, said)

    made.add_heading(_text(said.wall), 0)
    if said.description:
        _write(made.add_paragraph(), said.description)
    rows = [("Climate", said.climate), ("Facing", said.facing), ("Date", said.day),
            ("Computed with", f"Cavity {said.version}")]  # fmt: skip
    if said.invented:
        rows.append(("Note", "fictitious example"))
    _table(made, (), rows, (35, 147))
    made.add_heading("Verdict", 1)
    _write(made.add_paragraph(), said.verdict, bold=True)
    _write(made.add_paragraph(), f"{said.heading}: {said.choice}, {said.depth[0]} cavity: {said.word}.")
    _list(made, said.reasons)
    _picture(made, "elevation", pictures)
    made.add_heading("Rain", 1)
    _list(made, said.rain)
    made.add_heading("Verdict of each strip", 1)
    _table(made, brief.STRIP_HEAD, [row.texts for row in said.strips], (28, 28, 26, 68, 32))
    made.add_heading("Criteria: the worst of each", 1)
    _table(made, brief.CRITERIA_HEAD, [row.texts for row in said.criteria], (36, 46, 22, 24, 20, 34))
    if said.schedule:
        made.add_heading(_text(f"Vent schedule of {said.choice}, {said.depth[0]}"), 1)
        _table(made, brief.SCHEDULE_HEAD, said.schedule, (20, 18, 20, 34, 16, 16, 20, 38))
    _picture(made, "section", pictures)
    made.add_heading("Assumptions", 1)
    _write(made.add_paragraph(), f"Outside to inside: {said.layers}.")
    _table(made, ("Input", "Value"), [(label, pair[0]) for label, pair in said.assumptions], (110, 72))
    named = [name for name, *_ in _PICTURES[2:] if name in pictures]
    if named or not pictures:
        made.add_heading("Figures", 1)
        made.add_paragraph(_text(f"Of the case {said.case}.") if named else office.NO_PICTURES)
    for name in named:
        _picture(made, name, pictures)
    made.add_heading("Rule check", 1)
    made.add_paragraph(
        "Requirements of published rules, compared with the design. Rules decide neither pass nor fail here; local "
        "codes decide what is binding. Those that do not apply to what is drawn are not listed."
    )
    _table(made, brief.RULE_HEAD, said.rules, (42, 58, 42, 18, 22))
    if "from memory" in repr(said):
        made.add_paragraph(FOOTNOTE)
    made.add_heading("Limits of the model", 1)
    _list(made, said.limits)
    made.add_heading("Cautions", 1)
    for line in said.cautions:
        _write(made.add_paragraph(), line)
    made.add_paragraph()
    _table(made, brief.SIGNED, [[""] * len(brief.SIGNED)], (72, 72, 38), tall=14.0)
    whole = io.BytesIO()
    made.save(whole)
    return whole.getvalue()


def _heads(made: Any, sheet: Any, said: brief.Brief) -> None:
    """Write wall, case and climate at the head of every page, and the page number at its foot."""
    from docx.enum.text import WD_TAB_ALIGNMENT
    from docx.shared import Mm, Pt

    for part, left, right in (
        (sheet.header, said.wall, said.head),
        (sheet.footer, f"Cavity {said.version}: advisory results, not an approval", ""),
    ):
        line = part.paragraphs[0]
        line.style = made.styles["Normal"]  # those of head and foot bring tab stops for another width
        line.paragraph_format.tab_stops.add_tab_stop(Mm(_WIDE), WD_TAB_ALIGNMENT.RIGHT)
        run = line.add_run(_text(f"{left}\t{right}"))
        run.font.size = Pt(8)
    for text, field in (("Page ", "PAGE"), (" of ", "NUMPAGES")):
        line.add_run(text).font.size = Pt(8)
        _field(line, field).font.size = Pt(8)


def _field(line: Any, name: str, shown: str = "1") -> Any:
    """Add a field that the word processor fills in, such as the page number; `shown` until it does."""
    from docx.oxml import OxmlElement
    from docx.oxml.ns import qn

    run = line.add_run()
    for kind in ("begin", "instrText", "separate", "t", "end"):
        part = OxmlElement(f"w:{kind if kind in ('instrText', 't') else 'fldChar'}")
        if kind in ("instrText", "t"):
            part.text = shown if kind == "t" else name
        else:
            part.set(qn("w:fldCharType"), kind)
        run._r.append(part)
    return run


def _text(text: Any) -> str:
    """Return a text as the document shows it, recalled sources with the mark that its note explains."""
    return cite(office.clean(str(text)))


def _write(paragraph: Any, text: Any, *, bold: bool = False, size: float = 0.0) -> Any:
    """Add a text to a paragraph with subscripts set, s_d and C_p; return the paragraph."""
    from docx.shared import Pt

    for number, part in enumerate(_SUBSCRIPT.split(_text(text))):  # every other part is a subscript
        if part:
            run = paragraph.add_run(part)
            run.bold, run.font.subscript = bold or None, bool(number % 2) or None
            run.font.size = Pt(size) if size else None
    return paragraph


def _list(made: Any, lines: Sequence[str]) -> None:
    for line in lines:
        _write(made.add_paragraph(style="List Bullet"), line)


def _table(
    made: Any, head: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[float], tall: float = 0.0
) -> None:
    """Add a table with columns of `widths` [mm]; its head is repeated on every page, a row is not broken."""
    from docx.oxml import OxmlElement
    from docx.shared import Mm, Pt

    table = made.add_table(rows=0, cols=len(widths), style="Table Grid")
    table.autofit = False
    for column, wide in zip(table.columns, widths, strict=True):
        column.width = Mm(wide)
    last = len(rows) if head else len(rows) - 1
    for number, texts in enumerate([head, *rows] if head else rows):
        line = table.add_row()
        properties = line._tr.get_or_add_trPr()
        properties.append(OxmlElement("w:cantSplit"))
        if head and number == 0:
            properties.append(OxmlElement("w:tblHeader"))
        elif tall:
            line.height = Mm(tall)
        for at, (cell, text) in enumerate(zip(line.cells, texts, strict=True)):
            cell.width = Mm(widths[at])
            paragraph = cell.paragraphs[0]
            paragraph.paragraph_format.space_after = Pt(0)
            paragraph.paragraph_format.keep_with_next = number == 0 or number == last - 1 or None
            _write(paragraph, text, bold=number == 0 if head else at == 0, size=8)
    gap = made.add_paragraph().paragraph_format
    gap.space_after, gap.line_spacing = Pt(0), Pt(6)


def _picture(made: Any, name: str, pictures: dict[str, bytes]) -> None:
    from docx.shared import Mm

    if name not in pictures:
        return
    _, _, title, wide, caption = next(row for row in _PICTURES if row[0] == name)
    across, down = struct.unpack(">II", pictures[name][16:24])  # of the PNG
    wide = min(wide, 95.0 * across / max(down, 1))  # not taller than a third of the page
    line = made.add_paragraph()
    line.paragraph_format.keep_with_next = True
    shape = line.add_run().add_picture(io.BytesIO(pictures[name]), width=Mm(wide))
    shape._inline.docPr.set("descr", f"{title}. {caption}")
    shape._inline.docPr.set("title", title)
    line = made.add_paragraph(style="Caption")
    line.add_run("Figure ")
    _field(line, "SEQ Figure \\* ARABIC", str(len(made.inline_shapes)))
    line.add_run(f". {title}. ")
    line.add_run(caption).bold = False
