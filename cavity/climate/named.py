"""The fictitious climates that come with the package, by name."""

from __future__ import annotations

import difflib
from pathlib import Path
from typing import TYPE_CHECKING

from cavity.errors import Fault, InputError

if TYPE_CHECKING:
    from os import PathLike

DEFAULT = "cool marine"  # of the commands: much rain and little drying, a demanding climate


def packaged() -> dict[str, Path]:
    """Return the fictitious climates that come with the package, by the stem of their file: file."""
    module_folder = Path(__file__).parent
    # an installed package contains them; a copy of the project has them in its top folder
    folder = (
        module_folder / "packaged" if (module_folder / "packaged").is_dir() else module_folder.parents[1] / "climates"
    )
    return {path.stem: path for path in sorted(folder.glob("*.epw"))}


def climate_names() -> list[str]:
    """Return the names of the climates that come with the package, such as ``cool marine``."""
    return [stem.replace("_", " ") for stem in packaged()]


def weather_file(name: str | PathLike[str]) -> Path:
    """Return the weather file for a path or for the name of a packaged climate.

    An existing file of that name has precedence. Case does not matter; space, hyphen and underscore are the same.

    Parameters
    ----------
    name : path or str
        Path, or name such as ``cool marine``.

    Returns
    -------
    pathlib.Path
        The file; of a path also one that does not exist.

    Raises
    ------
    InputError
        If a word without suffix or folder is neither a file nor a name.
    """
    path = Path(name)
    try:
        if path.exists():
            return path
    except (OSError, ValueError):  # too long, or with a null character: reported when it is opened
        return path
    word = " ".join(str(name).casefold().replace("_", " ").replace("-", " ").split())
    known = {stem.replace("_", " "): file for stem, file in packaged().items()}
    if word in known:
        return known[word]
    if path.suffix or path.name != str(name):
        return path
    near = difflib.get_close_matches(word, known, n=1)
    fix = f'did you mean "{near[0]}"?' if near else "check the path or the name"
    names = "a weather file, or one of the fictitious climates: " + ", ".join(known)
    raise InputError(Fault(str(name)[:80], "cannot be read: no such file or climate", expected=names, fix=fix))
