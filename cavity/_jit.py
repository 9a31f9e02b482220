"""The one compile decorator of the project, with a cache that cannot go stale.

numba keys a cached function by its own file only: an edited kernel imported from another file would leave
its callers with old machine code. The cache folder is therefore named by a hash of every kernel source.
"""

from __future__ import annotations

import hashlib
import os
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numba

if TYPE_CHECKING:
    from collections.abc import Callable

_HERE = Path(__file__).parent
_KEPT_CACHES = 4  # older compiled versions kept for people who switch branches


def _cache_folder() -> Path:
    digest = hashlib.sha256(numba.__version__.encode())
    for source in [
        *sorted((_HERE / "kernels").glob("*.py")),
        _HERE / "constants.py",
        Path(__file__),
    ]:
        digest.update(source.name.encode() + source.read_bytes())
    home = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    return home / "cavity" / "compiled" / digest.hexdigest()[:16]


def _prune(folder: Path) -> None:
    siblings = sorted(folder.parent.glob("*"), key=lambda path: path.stat().st_mtime, reverse=True)
    for old in siblings[_KEPT_CACHES:]:
        if old != folder:
            shutil.rmtree(old, ignore_errors=True)


def _prepared_folder() -> str | None:
    folder = _cache_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _prune(folder)
    except OSError:  # read-only home: compile anew in every process rather than fail
        return None
    return str(folder)


_FOLDER = _prepared_folder()


def _uncounted() -> dict[str, Any]:
    """Return the option that leaves out reference counts. Numba does not promise it; without it kernels are slower."""
    try:
        from numba.core.options import DefaultOptions
    except ImportError:
        return {}
    return {"_nrt": False} if hasattr(DefaultOptions, "_nrt") else {}


_UNCOUNTED = _uncounted()


def _forgive(dispatcher: Any) -> Any:
    """Let a function whose cached code was cut short, by a full disk or a crash, be compiled anew."""
    cache = getattr(dispatcher, "_cache", None)
    if not hasattr(cache, "load_overload"):
        return dispatcher
    load = cache.load_overload

    def load_or_compile(*args: Any) -> Any:
        try:
            return load(*args)
        except Exception:  # unpickling raises many kinds
            cache.flush()
            return None

    cache.load_overload = load_or_compile
    return dispatcher


def jit(function: Callable[..., Any]) -> Callable[..., Any]:
    """Compile a kernel: cached, GIL released, numpy division rule, NaN stays NaN, a x b + c rounded once.

    Kernels allocate nothing, so numba's counting of array references is left out; it takes a third of the time. Each is
    built into its callers: called, it would get its records of arrays as hundreds of single numbers.
    """
    before = numba.config.CACHE_DIR
    if _FOLDER:
        numba.config.CACHE_DIR = _FOLDER
    try:
        compiled = numba.njit(
            cache=_FOLDER is not None, nogil=True, error_model="numpy", fastmath={"contract"}, forceinline=True,
            **_UNCOUNTED,
        )(function)  # fmt: skip
        return _forgive(compiled)
    finally:
        numba.config.CACHE_DIR = before
