"""Class of the air layer by ISO 6946: free vent area per metre of wall length.

Choices. The class decides which U-value rule applies and whether the layer may be called ventilated; it says nothing of
dryness, so it is information. The class is the one the case carries; the
area shown is that of all openings of the column.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from cavity.constants import WELL_VENTILATED_LIMIT
from cavity.risk.finding import Finding

if TYPE_CHECKING:
    import xarray as xr


def findings(ds: xr.Dataset, limits: Mapping[str, float]) -> list[Finding]:  # noqa: ARG001 - one signature for all criteria
    """Return one finding: the class and the free vent area per metre."""
    area = float(np.sum(ds["opening_area"].values))
    name = str(ds.attrs["iso6946_class"])
    well = name.startswith("well")
    return [
        Finding(
            "air_layer", area, WELL_VENTILATED_LIMIT, "m2/m", "information",
            min(0.99, WELL_VENTILATED_LIMIT / max(area, 1e-6)) if well else 1.0,
            "ISO 6946:2017, 6.9.2-6.9.4 (5 and 15 cm²/m)",
            facts={"class": name, "column": str(ds.attrs["column"])},
        )
    ]  # fmt: skip
