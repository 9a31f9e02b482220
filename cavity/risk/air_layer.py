"""Class of the air layer by ISO 6946: free vent area per metre of wall length.

Choices. The class tells which U-value rule applies and whether the layer may be called ventilated; it says nothing of
dryness, so it is information. The class is the one the case carries; the
area shown is that of all openings of the column.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from cavity.risk.finding import Finding, number

if TYPE_CHECKING:
    import xarray as xr

_WELL = 1500.0  # mm2 per m, ISO 6946:2017 6.9.4


def findings(ds: xr.Dataset, limits: Mapping[str, float]) -> list[Finding]:  # noqa: ARG001 - one signature for all criteria
    """Return one finding: the class and the free vent area per metre."""
    area = 1e6 * float(np.sum(ds["opening_area"].values))
    name = str(ds.attrs["iso6946_class"])
    well = name.startswith("well")
    text = f"The openings give {number(area)} mm² per metre of wall: an air layer that ISO 6946 calls {name}."
    return [
        Finding(
            "air_layer", "Class of the air layer", f"openings of the column {ds.attrs['column']}", area, _WELL, "mm²/m",
            "information", "", 0.0, "ISO 6946:2017, 6.9.2-6.9.4 (500 and 1500 mm² per metre)", text,
            min(0.99, _WELL / max(area, 1.0)) if well else 1.0,
        )
    ]  # fmt: skip
