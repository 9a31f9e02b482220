"""The commented wall file to start from."""

from __future__ import annotations

import os
import tempfile
from importlib import resources
from pathlib import Path

from cavity.errors import Fault, InputError


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
    try:
        if place.is_dir():
            raise InputError(Fault(where, "is a folder", "", "a file name", f"try {place / 'wall.toml'}"))
        if place.exists() and not force:
            raise InputError(Fault(where, "exists already", "", "a new file", "choose another name, or add --force"))
        handle, draft = tempfile.mkstemp(prefix=".", suffix=".toml", dir=place.parent)
        try:
            with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as stream:
                stream.write(starter())
            mask = os.umask(0)
            os.umask(mask)
            Path(draft).chmod(0o666 & ~mask)  # as an ordinary new file; mkstemp is for its owner only
            Path(draft).replace(place)
        except BaseException:
            Path(draft).unlink(missing_ok=True)
            raise
    except (OSError, ValueError) as error:  # ValueError: a name with a null character
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(
            Fault(
                where, f"cannot be written: {reason}", "", "a folder that exists and can be written", "check the path"
            )
        ) from None
    return place
