"""What document and spreadsheet share: the libraries, which are an extra, and texts that their formats can hold."""

from __future__ import annotations

import importlib.util
import os
import re
from collections.abc import Sequence
from pathlib import Path

from cavity.errors import Fault, InputError

NO_PICTURES = "The document has no pictures: no browser of the Chromium family was found to draw them."
START = b"PK\x03\x04"  # how both kinds of file begin
_LIBRARY = {"--docx": ("python-docx", "docx", ".docx"), "--xlsx": ("openpyxl", "openpyxl", ".xlsx")}
# XML has no place for control characters but tab and line feeds, nor for halves of surrogate pairs
_NOT_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")


def needed(option: str, path: str | os.PathLike[str]) -> None:
    """Refuse, before the work, what could not be written.

    Parameters
    ----------
    option : {"--docx", "--xlsx"}
        Which kind of file.
    path : path
        Where it is to be written.

    Raises
    ------
    InputError
        If the library for it is not installed, or the file name has another ending.
    """
    package, module, ending = _LIBRARY[option]
    faults = []
    if importlib.util.find_spec(module) is None:
        faults.append(
            Fault(option, f"needs the library {package}, which is not installed", fix='pip install "cavity[office]"')
        )
    if Path(path).suffix.lower() != ending:
        name = str(Path(path).name)[:80]
        faults.append(
            Fault(option, "has another ending", name, f"a file name ending in {ending}",
                  f"{option} {Path(name).stem or 'report'}{ending}")
        )  # fmt: skip
    if faults:
        raise InputError(*faults)


def targets(option: str, given: str | os.PathLike[str] | None, names: Sequence[str] | None) -> list[Path]:
    """Return where files of a kind are to be written, one for each wall; none where not asked for.

    Parameters
    ----------
    option : {"--docx", "--xlsx"}
        Which kind of file.
    given : path or None
        The file; of several walls the folder of all files.
    names : sequence of str or None
        Of several walls their names; None for one wall.

    Raises
    ------
    InputError
        As `needed`, or where one file is given for several walls.
    """
    if given is None:
        return []
    ending = _LIBRARY[option][2]
    if names is None:
        needed(option, given)
        return [Path(given)]
    if Path(given).suffix.lower() == ending:
        raise InputError(
            Fault(option, "is one file, but there are several walls", os.fspath(given)[:200], "a folder for all files",
                  f"{option} {Path(given).with_suffix('')}")
        )  # fmt: skip
    found = [Path(given) / f"{name}{ending}" for name in names]
    needed(option, found[0])
    return found


def no_pictures() -> str:
    """Return why a document will have no pictures; empty where Chromium can draw them."""
    from cavity.report import pdf

    return "" if pdf.find_browser() is not None and os.name == "posix" else NO_PICTURES


def clean(text: str) -> str:
    """Return a text without the characters that XML cannot hold."""
    return _NOT_XML.sub("", text)
