"""The interactive report: figures of a result Dataset, and the page that holds them all."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

__all__ = ["write_docx", "write_report", "write_xlsx"]


def write_report(comparison: Any, path: str | os.PathLike[str]) -> Path:
    """Write the interactive report of a comparison as one HTML file; see `cavity.report.page.write_report`."""
    from cavity.report.page import write_report as write  # plotly and jinja2 are imported only when a page is made

    return write(comparison, path)


def write_docx(comparison: Any, path: str | os.PathLike[str], *, page: str | os.PathLike[str] | None = None) -> Path:
    """Write the summary of a comparison as a document; see `cavity.report.document.write_docx`."""
    from cavity.report.document import write_docx as write

    return write(comparison, path, page=page)


def write_xlsx(comparison: Any, path: str | os.PathLike[str]) -> Path:
    """Write a comparison as a spreadsheet; see `cavity.report.workbook.write_xlsx`."""
    from cavity.report.workbook import write_xlsx as write

    return write(comparison, path)
