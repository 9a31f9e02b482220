"""The commented wall files to start from: fictitious walls that run unchanged."""

from __future__ import annotations

import contextlib
import os
import tomllib
from importlib import resources
from pathlib import Path

from cavity.errors import Fault, InputError
from cavity.files import write_whole

FIRST = "fibre-cement"


def starters() -> dict[str, str]:
    """Return the walls to start from, the usual one first: name as `starter` takes it, and title."""
    folder = resources.files("cavity.wallfile").joinpath("starters")
    names = sorted(path.name.removesuffix(".toml") for path in folder.iterdir() if path.name.endswith(".toml"))
    names.sort(key=lambda name: name != FIRST)
    return {name: str(tomllib.loads(starter(name))["wall"]["name"]) for name in names}


def starter(name: str = FIRST) -> str:
    """Return the text of a wall file to start from.

    Parameters
    ----------
    name : str
        One of `starters`.

    Raises
    ------
    InputError
        If no starter has that name; lists the names.
    """
    from cavity.wallfile.values import nearest

    folder = resources.files("cavity.wallfile").joinpath("starters")
    path = folder.joinpath(f"{name}.toml")
    if not name.replace("-", "").isalnum() or not path.is_file():
        known = [path.name.removesuffix(".toml") for path in folder.iterdir()]
        raise InputError(
            Fault("wall to start from", "no such wall", name[:60], ", ".join(sorted(known)),
                  fix if (fix := nearest(name[:60], known)).startswith("did") else "use a listed name")
        )  # fmt: skip
    return path.read_text(encoding="utf-8")


def write_starter(path: str | os.PathLike[str], *, like: str = FIRST, force: bool = False) -> Path:
    """Write a wall file to start from.

    Parameters
    ----------
    path : str or path
        File to write.
    like : str, keyword only
        One of `starters`.
    force : bool, keyword only
        Replace an existing file.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    InputError
        If the file exists and `force` is not set, or cannot be written; nothing is left half written.
    """
    text = starter(like)
    file = Path(path)
    where = str(path)[:200]
    with contextlib.suppress(OSError, ValueError):  # an impossible name: `write_whole` reports it
        if file.exists() and not file.is_dir() and not force:
            raise InputError(Fault(where, "exists already", "", "a new file", "choose another name, or add --force"))
        if not file.parent.is_dir():
            raise InputError(
                Fault(where, "cannot be written: no such folder", "", "a folder that exists", "create the folder")
            )
    return write_whole(file, text, over=force)
