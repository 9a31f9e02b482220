"""Moisture criteria: a result Dataset in, findings out, and the verdict over them.

`judge` runs every criterion; each is a file of this folder with a function ``findings(ds, limits)`` and its choices in
the docstring. `cavity.risk.finding` says how the two zones of a clad wall are judged separately.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from cavity import finding_words
from cavity.risk.finding import CAN_FAIL, STATUSES, Finding
from cavity.risk.ranking import worst_first

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["CAN_FAIL", "STATUSES", "Finding", "judge", "verdict", "worst", "worst_first"]


def judge(ds: xr.Dataset, limits: Mapping[str, float] | None = None) -> tuple[Finding, ...]:
    """Run all criteria on one case.

    Parameters
    ----------
    ds : xarray.Dataset
        Result of `cavity.simulate`.
    limits : mapping of str to float, optional
        Thresholds by the names of `cavity.risk.limits.LIMITS`, in the units listed there; others keep their default.

    Returns
    -------
    tuple of Finding
        Worst first.

    Raises
    ------
    InputError
        If a threshold has an unknown name or is out of range.
    """
    from cavity.risk import (
        air_layer,
        condensate,
        decay,
        dew_point,
        film,
        frost,
        humidity,
        mould,
        residue,
        studs,
        wetness,
        wood_moisture,
    )
    from cavity.risk.limits import resolve

    thresholds = resolve(limits, float(ds.attrs["film_limit"]))
    criteria = (
        mould, wood_moisture, decay, condensate, residue, humidity, dew_point, film, wetness, frost, air_layer, studs,
    )  # fmt: skip
    wet = condensate.condensate(ds)  # half of all the work, wanted by two
    known = {condensate: (wet,), dew_point: (wet,)}
    return worst_first(
        finding for criterion in criteria for finding in criterion.findings(ds, thresholds, *known.get(criterion, ()))
    )


def worst(findings: Iterable[Finding]) -> Finding:
    """Return the worst finding; ValueError if there is none."""
    ranked = worst_first(findings)
    if not ranked:
        raise ValueError("there is no finding to rank")
    return ranked[0]


def verdict(findings: Iterable[Finding]) -> tuple[str, str]:
    """Return the status of a wall and one sentence that says why.

    Parameters
    ----------
    findings : iterable of Finding
        Of one case.

    Returns
    -------
    status : str
        The worst status among the findings; ``"information"`` never decides.
    sentence : str
        What decides, and how many other findings share that status.
    """
    ranked = worst_first(findings)
    top = worst(ranked)
    alike = len([finding for finding in ranked if finding.status == top.status])
    return "pass" if top.status == "information" else top.status, finding_words.verdict(top, alike)
