"""Dew point and mould along the studs of a framed wall, where a second line was computed.

Choices. The criteria of mould and dew point are run on the surfaces of that line as on those between the studs; the
cladding side is left to the line between them. The second line takes the whole wall for stud: the cavity air next
to it is a little warmer than next to a stud in an insulated wall.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from cavity.risk import dew_point, mould
from cavity.risk.finding import Finding, first_wall_face

if TYPE_CHECKING:
    import xarray as xr


def findings(ds: xr.Dataset, limits: Mapping[str, float]) -> list[Finding]:
    """Return the findings of mould and dew point at the studs; none where the line through them was not computed."""
    if "stud_temperature" not in ds:
        return []
    names = ("temperature", "relative_humidity", "dew_point_margin")
    rails = [name for name in ("rail_dew_point_margin",) if name in ds]
    view = ds.drop_vars(rails).assign({name: ds[f"stud_{name}"] for name in names})
    view = view.assign_coords(face_mould_class=ds["stud_mould_class"])
    judged = [finding for finding in mould.findings(view, limits) if finding.key != "mould_cladding"]
    judged += dew_point.findings(view, limits)[first_wall_face(ds) :]
    return [replace(finding, studs=True) for finding in judged]
