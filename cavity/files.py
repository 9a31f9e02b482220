"""Files written whole or not at all."""

from __future__ import annotations

import contextlib
import os
import uuid
from collections.abc import Callable
from pathlib import Path

from cavity.errors import Fault, InputError


def write_whole(path: str | os.PathLike[str], write: Callable[[Path], object]) -> Path:
    """Let `write` fill a file beside the target, then move it there; what was there stays until then.

    Parameters
    ----------
    path : path
        Target; missing folders are made.
    write : callable
        Is given the path to fill; what it raises passes through but for OSError.

    Returns
    -------
    pathlib.Path
        The file written.

    Raises
    ------
    InputError
        If the target is a folder or cannot be written.
    """
    target = Path(path)
    where = str(target)[:200]
    part = target.with_name(f".{uuid.uuid4().hex}.part")
    try:
        if target.is_dir():
            raise InputError(Fault(where, "is a folder", expected="a file name", fix="name a file in it"))
        target.parent.mkdir(parents=True, exist_ok=True)
        write(part)
        part.replace(target)
    except (OSError, ValueError) as error:  # ValueError: a name with a null character
        said = getattr(error, "strerror", None) or str(error)
        raise InputError(Fault(where, f"cannot be written: {said}", fix="choose another file or folder")) from None
    finally:
        with contextlib.suppress(OSError, ValueError):
            part.unlink(missing_ok=True)
    return target
