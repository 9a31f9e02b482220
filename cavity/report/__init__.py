"""The interactive report: figures of a result Dataset, and the page that holds them all."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

__all__ = ["write_report"]


def write_report(comparison: Any, path: str | os.PathLike[str]) -> Path:
    """Write the interactive report of a comparison as one HTML file; see `cavity.report.page.write_report`."""
    from cavity.report.page import write_report as write  # plotly and jinja2 are imported only when a page is made

    return write(comparison, path)
