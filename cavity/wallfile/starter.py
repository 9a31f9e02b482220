"""The commented wall file to start from."""

from __future__ import annotations

import contextlib
import os
from importlib import resources
from pathlib import Path

from cavity.errors import Fault, InputError
from cavity.files import write_whole


def starter() -> str:
    """Return the text of the starter: an invented wall that runs as it is."""
    return resources.files("cavity.wallfile").joinpath("starter.toml").read_text(encoding="utf-8")


def write_starter(path: str | os.PathLike[str], *, force: bool = False) -> Path:
    """Write the starter to a file.

    Parameters
    ----------
    path : str or path
        File to write.
    force : bool, keyword only
        Replace a file that is there.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    InputError
        If the file exists and `force` is not set, or cannot be written; nothing is left half written.
    """
    place = Path(path)
    where = str(path)[:200]
    with contextlib.suppress(OSError, ValueError):  # a name that cannot be: told by what writes it
        if place.exists() and not place.is_dir() and not force:
            raise InputError(Fault(where, "exists already", "", "a new file", "choose another name, or add --force"))
        if not place.parent.is_dir():
            raise InputError(Fault(where, "cannot be written: no such folder", "", "a folder that exists", "make it"))
    return write_whole(place, starter(), over=force)
