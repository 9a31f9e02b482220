"""Findings made by hand, with all that their sentences tell."""

from __future__ import annotations

from typing import Any

from cavity.risk import Finding
from cavity.risk.ranking import Choice, Part
from cavity.study.advice import Advice, Label, compare_choices

FACTS: dict[str, dict[str, Any]] = {
    "mould": {"sensitivity": "sensitive", "rise": 0.0, "years": 3, "whole_year": True, "review": 2.0},
    "frost": {"critical": 0.8, "highest": 0.5},
    "wood_moisture": {"highest": 0.25},
    "film": {
        "any": True, "days": 3, "frost_hours": 0.0, "runs": False, "caught": False, "runoff": 0.0, "lowest": True,
        "height": 0.0,
    },
}  # fmt: skip


def made(key: str, ratio: float, status: str, *, limit: float = 3.0, units: str = "1", **fields: Any) -> Finding:
    """Return a finding of a criterion at a ratio of its limit; at the layer "sheathing" where nothing else is given."""
    if not fields.keys() & {"face", "layer", "spot"}:
        fields["layer"] = "sheathing"
    return Finding(key, limit * ratio, limit, units, status, ratio, "made up", facts=FACTS.get(key, {}), **fields)


def compare_findings(label: Label | str, before: list[Finding], after: list[Finding], *, family: str = "") -> Advice:
    """Return what a change does to one case, from its findings before and after."""
    old, new = (Choice("as described", 0.0, 0.0, (Part("", "", 0.0, tuple(rows)),)) for rows in (before, after))
    return compare_choices(label, old, new, family=family)
