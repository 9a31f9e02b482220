"""How well the drained and ventilated cavity behind panel cladding keeps a wall dry.

>>> import cavity
>>> wall = cavity.read_wall("wall.toml")            # doctest: +SKIP
>>> weather = cavity.read_weather("climate.epw")    # doctest: +SKIP
>>> result = cavity.simulate(wall, weather)         # doctest: +SKIP

Public names load on first use, so that importing the package costs nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from cavity.climate import estimate_rain as estimate_rain
    from cavity.climate import read_weather as read_weather
    from cavity.hourly.run import simulate as simulate
    from cavity.report import write_docx as write_docx
    from cavity.report import write_report as write_report
    from cavity.report import write_xlsx as write_xlsx
    from cavity.risk import judge as judge
    from cavity.study.compare import compare as compare
    from cavity.wallfile import material as material
    from cavity.wallfile import read_wall as read_wall

# no module of the package has one of these names, so that each means one thing
_PUBLIC = {
    "read_wall": "cavity.wallfile",
    "material": "cavity.wallfile",
    "read_weather": "cavity.climate",
    "estimate_rain": "cavity.climate",
    "simulate": "cavity.hourly.run",
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
