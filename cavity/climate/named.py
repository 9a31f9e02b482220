"""The fictitious climates that come with the package, by name."""

from __future__ import annotations

import difflib
from pathlib import Path
from typing import TYPE_CHECKING

from cavity.errors import Fault, InputError

if TYPE_CHECKING:
    from os import PathLike

DEFAULT = "cool marine"  # of the commands: much rain and little drying, so that a wall that copes is not flattered


def packaged() -> dict[str, Path]:
    """Return the fictitious climates that come with the package, by the stem of their file: file."""
    here = Path(__file__).parent
    # an installed package carries them; a copy of the project has them at its top
    folder = here / "packaged" if (here / "packaged").is_dir() else here.parents[1] / "climates"
    return {path.stem: path for path in sorted(folder.glob("*.epw"))}


def climate_names() -> list[str]:
    """Return the names of the climates that come with the package, such as ``cool marine``."""
    return [stem.replace("_", " ") for stem in packaged()]


def weather_file(given: str | PathLike[str]) -> Path:
    """Return the weather file that is meant by a path or by the name of a packaged climate.

    A file of that name comes first. Names are read without regard to case; space, hyphen and underscore are the same.

    Parameters
    ----------
    given : path or str
        Path, or name such as ``cool marine``.

    Returns
    -------
    pathlib.Path
        The file; one that does not exist if it was given as a path.

    Raises
    ------
    InputError
        If a word without suffix or folder is neither a file nor a name.
    """
    path = Path(given)
    try:
        if path.exists():
            return path
    except (OSError, ValueError):  # too long, or with a null character: said by whoever opens it
        return path
    word = " ".join(str(given).casefold().replace("_", " ").replace("-", " ").split())
    known = {stem.replace("_", " "): file for stem, file in packaged().items()}
    if word in known:
        return known[word]
    if path.suffix or path.name != str(given):
        return path
    near = difflib.get_close_matches(word, known, n=1)
    fix = f'did you mean "{near[0]}"?' if near else "check the path or the name"
    names = "a weather file, or one of the fictitious climates: " + ", ".join(known)
    raise InputError(Fault(str(given)[:80], "cannot be read: no such file or climate", expected=names, fix=fix))
