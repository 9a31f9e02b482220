"""The one compile decorator of the project, with a cache that cannot go stale.

numba keys a cached function by its own file only: an edited kernel imported from another file would leave
its callers with old machine code. The cache folder is therefore named by a hash of every kernel source.
"""

from __future__ import annotations

import contextlib
import functools
import gc
import hashlib
import io
import re
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numba
from numba.core import event

from cavity import _parts, terminal
from cavity.files import cache_folder

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

_HERE = Path(__file__).parent
_KEPT_CACHES = 4  # older compiled versions kept for people who switch branches
_SEAL = 32  # bytes of the digest at the end of a file of compiled code


_SOURCES = {
    source.name: source.read_bytes()
    for source in (
        *sorted((_HERE / "kernels").glob("*.py")),
        _HERE / "constants.py",
        _HERE / "_parts.py",
        Path(__file__),
    )
}
KERNELS = sum(len(re.findall(rb"(?m)^@jit\b", text)) for text in _SOURCES.values())  # a first run compiles nearly all


def _cache_folder() -> Path | None:
    digest = hashlib.sha256(numba.__version__.encode())
    for name, text in _SOURCES.items():
        digest.update(name.encode() + text)
    home = cache_folder()
    return home / "cavity" / "compiled" / digest.hexdigest()[:16] if home else None


def _prune(folder: Path) -> None:
    siblings = sorted(folder.parent.glob("*"), key=lambda path: path.stat().st_mtime, reverse=True)
    for old in siblings[_KEPT_CACHES:]:
        if old != folder:
            shutil.rmtree(old, ignore_errors=True)


def _prepared_folder() -> str | None:
    folder = _cache_folder()
    if folder is not None:
        with contextlib.suppress(OSError):  # read only or full: what is there is used, nothing is added
            folder.mkdir(parents=True, exist_ok=True)
            _prune(folder)
    return str(folder) if folder else None


_FOLDER = _prepared_folder()


def _uncounted() -> dict[str, Any]:
    """Return the option that leaves out reference counts. Numba does not promise it; without it kernels are slower."""
    try:
        from numba.core.options import DefaultOptions
    except ImportError:
        return {}
    return {"_nrt": False} if hasattr(DefaultOptions, "_nrt") else {}


_UNCOUNTED = _uncounted()


def _sealed_cache() -> Any:
    """Return numba's cache with a digest at the end of each file, checked before use; None if numba has changed.

    A file that was cut short or in which a bit flipped would end the process; it is compiled again. A folder that is
    full or cannot be written costs only the keeping.
    """
    try:
        from numba.core.caching import (
            CompileResultCacheImpl,
            FunctionCache,
            IndexDataCacheFile,
            UserProvidedCacheLocator,
        )
    except ImportError:
        return None

    class Place(UserProvidedCacheLocator):
        def ensure_cache_path(self) -> None:
            with contextlib.suppress(OSError):
                Path(self.get_cache_path()).mkdir(parents=True, exist_ok=True)

    class Kind(CompileResultCacheImpl):
        _locator_classes = [Place]  # noqa: RUF012  as numba has it

    class Files(IndexDataCacheFile):
        def _load_index(self) -> Any:
            return super()._load_index() if _whole(self._index_path) else {}

        def _load_data(self, name: str) -> Any:
            if not _whole(self._data_path(name)):
                raise OSError("damaged")  # numba then compiles
            return super()._load_data(name)

        @contextlib.contextmanager
        def _open_for_write(self, filepath: str) -> Iterator[Any]:
            held = io.BytesIO()
            yield held
            data = held.getvalue()
            with super()._open_for_write(filepath) as file:
                file.write(data + hashlib.sha256(data).digest())

    class Sealed(FunctionCache):
        _impl_class = Kind

        def __init__(self, function: Any, kind: str) -> None:
            super().__init__(function)
            plain = self._cache_file
            self._cache_file = Files(plain._cache_path, f"{self._impl.filename_base}.{kind}", plain._source_stamp)

        def load_overload(self, sig: Any, target_context: Any) -> Any:
            # numba's own first loads all that it can compile, scipy's linear algebra among it: more than half a second
            # that machine code, once made, does not need; whoever compiles after all loads it then
            load = getattr(self, "_load_overload", super().load_overload)
            try:
                return load(sig, target_context)
            except Exception:  # unpickling raises many kinds
                return None

        def save_overload(self, sig: Any, data: Any) -> None:
            with contextlib.suppress(OSError):
                super().save_overload(sig, data)

    return Sealed


def _whole(path: str) -> bool:
    """Whether a file of compiled code is there as it was written."""
    try:
        data = Path(path).read_bytes()
    except OSError:
        return False
    return hashlib.sha256(data[:-_SEAL]).digest() == data[-_SEAL:]


_CACHE = _sealed_cache()
_PIPELINE = _parts.pipeline()
_PART = {"pipeline_class": _PIPELINE} if _PIPELINE else {}


def jit(function: Callable[..., Any]) -> Callable[..., Any]:
    """Compile a kernel: cached, GIL released, numpy division rule, NaN stays NaN, a x b + c rounded once.

    Kernels allocate nothing, so numba's counting of array references is left out; it takes a third of the time. Each is
    built into its callers: called, it would get its records of arrays as hundreds of single numbers. See _parts.
    """
    compiled = _made(function, "python")
    if hasattr(compiled, "get_call_template") and hasattr(compiled, "get_overload"):
        # Other kernels get a twin without the code that unpacks Python objects, which takes longer to compile than the
        # kernel itself. Python never gets the twin: calling it would end the process. It is made when the first kernel
        # asks for it: never, where all compiled code is kept.
        twin = functools.cache(lambda: _made(function, "kernel", no_cpython_wrapper=True, **_PART))
        compiled.get_call_template = lambda args, kws: twin().get_call_template(args, kws)
        compiled.get_overload = lambda sig: twin().get_overload(sig)
    return compiled


def _made(function: Callable[..., Any], kind: str, **options: Any) -> Any:
    njit: Any = numba.njit
    config: Any = numba.config
    made = njit(
        nogil=True, error_model="numpy", fastmath={"contract"}, forceinline=True, no_cfunc_wrapper=True, **options,
        **_UNCOUNTED,
    )(function)  # fmt: skip
    # not where compilation is switched off; a part has no code of its own to keep
    if _FOLDER and _CACHE and hasattr(made, "_cache") and "pipeline_class" not in options:
        before, config.CACHE_DIR = config.CACHE_DIR, _FOLDER
        try:
            made._cache = _CACHE(function, kind)
        finally:
            config.CACHE_DIR = before
    return made


class _Compilations(event.Listener):
    """Tells the command line of kernels being compiled, and keeps the collector of cyclic garbage out of it."""

    def __init__(self) -> None:
        self._depth = 0  # numba compiles in one thread at a time
        self._begun: set[Any] = set()
        self._collects = False

    def on_start(self, event: Any) -> None:
        """Count a kernel, once for all its signatures; those that it calls are compiled within."""
        if self._depth == 0:
            self._collects = gc.isenabled()
            gc.disable()  # it would walk through millions of live objects over and over: an eighth of the time
        self._depth += 1
        function = event.data["dispatcher"].py_func
        if function.__module__.startswith("cavity."):
            self._begun.add(function)
        terminal.compiling(min(100 * len(self._begun) // KERNELS, 99))

    def on_end(self, event: Any) -> None:  # noqa: ARG002
        """Leave a kernel."""
        self._depth -= 1
        if self._depth == 0 and self._collects:
            gc.enable()


event.register("numba:compile", _Compilations())
