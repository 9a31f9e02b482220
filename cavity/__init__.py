"""How well the drained and ventilated cavity behind panel cladding keeps a wall dry.

>>> import cavity
>>> wall = cavity.read_wall("wall.toml")            # doctest: +SKIP
>>> weather = cavity.read_weather("climate.epw")    # doctest: +SKIP
>>> result = cavity.simulate(wall, weather)         # doctest: +SKIP

Public names load on first use, so that importing the package costs nothing.
"""

from __future__ import annotations

import importlib
import sys
from types import ModuleType
from typing import Any

_PUBLIC = {
    "read_wall": "cavity.wallfile",
    "material": "cavity.wallfile",
    "read_weather": "cavity.climate",
    "estimate_rain": "cavity.climate",
    "simulate": "cavity.simulate",
    "judge": "cavity.risk",
    "compare": "cavity.study",
    "write_report": "cavity.report",
    "write_docx": "cavity.report",
    "write_xlsx": "cavity.report",
}

__all__ = ["__version__", *_PUBLIC]


def __getattr__(name: str) -> Any:
    if name == "__version__":
        from importlib.metadata import PackageNotFoundError, version

        try:
            return version("cavity")
        except PackageNotFoundError:  # run from a source tree that is not installed
            return "0+unknown"
    if name in _PUBLIC:
        return getattr(importlib.import_module(_PUBLIC[name]), name)
    raise AttributeError(f"module 'cavity' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})


class _Package(ModuleType):
    """The package as an object: `cavity.simulate` is the function, although a module has the same name.

    Importing `cavity.simulate` sets the module as an attribute of the package; that one assignment is ignored.
    """

    def __setattr__(self, name: str, value: Any) -> None:
        if name in _PUBLIC and isinstance(value, ModuleType):
            return
        super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package
