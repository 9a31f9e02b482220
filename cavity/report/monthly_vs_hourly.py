"""The monthly method next to the hourly run: condensate, U-values with studs and rails, heat by season."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import numpy as np

from cavity.finding_words import at_surface
from cavity.report import display
from cavity.report.digest import about, digest

_KWH = 3.6e6  # J
_FILM = 1e-4  # kg/m2, a film that can be seen: a tenth of a gram


def companion(cases: Sequence[Any]) -> dict[str, Any] | None:
    """Return the comparison of both methods, one row for each climate and set of openings at its first depth.

    Parameters
    ----------
    cases : sequence of JudgedCase
        Cases of one comparison.

    Returns
    -------
    dict or None
        rows (climate, openings, class, U-value, temperature factor, monthly and hourly figures, sentence), notes
        (differences of principle); None where no case ran a whole year.
    """
    rows, notes, seen = [], [], set()
    for case in cases:
        text = about(case).attrs.get("monthly") or ""
        key = (_named(case, cases), case.opening_set)
        if not text or key in seen:
            continue
        seen.add(key)
        monthly = json.loads(text)
        notes = monthly["differences"]
        hourly = digest(case).water
        needed = monthly["temperature_factor_needed"]
        rows.append(
            {
                "climate": key[0],
                "opening_set": case.opening_set,
                "class": monthly["ventilation_class"],
                "u_value": display.quantity(monthly["u_value"], "W/(m2 K)"),
                "factor": f"{monthly['temperature_factor']:.2f}" + (f" / {needed:.2f}" if needed is not None else ""),
                "peak": _water(monthly["peak"]),
                "residue": _water(monthly["residue"]),
                "swing": _water(hourly["swing"]),
                "gain": _water(hourly["gain"]),
                "sentence": sentence(monthly, hourly),
            }
        )
    return {"rows": rows, "notes": notes} if rows else None


def _named(case: Any, cases: Sequence[Any]) -> str:
    """Return the climate of a case, and its variant and facing where there are several."""
    from cavity.report import verdict

    return verdict.place_text(case, cases, strip=False)


def heat(cases: Sequence[Any], closed: Sequence[Any] = ()) -> dict[str, Any] | None:
    """Return U-values and the heat that passes the interior surface by season, one row for each set of openings.

    Parameters
    ----------
    cases : sequence of JudgedCase
        Cases of one comparison; each climate, set, orientation and column is shown at its first depth.
    closed : sequence of JudgedCase
        The wall without vents, for comparison; where there is none the least open set is the reference.

    Returns
    -------
    dict or None
        rows (climate, openings, u: undisturbed, with studs, with rails and brackets; winter and summer loss and gain;
        change: winter loss minus that of the least open set, summer gain likewise), reference (name of that set),
        factor (U-value of the whole wall over that between studs and rails); None where no case ran a whole year.

    Notes
    -----
    Winter is the half-year of the six consecutive calendar months that are coldest outdoors. Loss is the sum of the
    hours in which heat flows out of the room, gain of those in which it flows in; segments count by their height. The
    flows are those of the hourly wall times the factor: what studs and rails carry follows the same differences of
    temperature, without their storage.
    """
    rows, seen = [], set()
    for case in (*closed, *cases):
        ds = about(case)
        strip = (_named(case, cases), str(ds.attrs.get("column", "")))
        if not ds.attrs.get("monthly") or (*strip, case.opening_set) in seen:
            continue
        seen.add((*strip, case.opening_set))
        u = json.loads(ds.attrs["monthly"])
        sums = digest(case).heat
        factor = u["u_value"] / u["undisturbed"]
        rows.append(
            {
                "place": strip,
                "climate": strip[0],
                "opening_set": case.opening_set,
                "area": float(np.nansum(np.asarray(ds["opening_area"].values, float))),
                "u": [display.quantity(u[key], "W/(m2 K)") for key in ("undisturbed", "framed", "u_value")],
                "factor": factor,
                **{name: factor * value for name, value in sums.items()},
            }
        )
    if not rows:
        return None
    for row in rows:
        least = min((other for other in rows if other["place"] == row["place"]), key=lambda other: other["area"])
        row["reference"] = least["opening_set"]
        row["change"] = [_heat(row[name] - least[name], signed=True) for name in ("winter_loss", "summer_gain")]
        row["shown"] = [_heat(row[name]) for name in ("winter_loss", "winter_gain", "summer_loss", "summer_gain")]
    return {
        "rows": rows,
        "reference": ", ".join(dict.fromkeys(row["reference"] for row in rows)),
        "factor": display.number(max(row["factor"] for row in rows), 3),
    }


def _heat(value: float, signed: bool = False) -> tuple[str, str]:
    """Return an amount of heat in kWh/m2 and kBtu/ft2, to a tenth."""
    si = round(value / _KWH, 1) + 0.0
    sign = "+" if signed and si > 0 else ""
    return f"{sign}{display.number(si)} kWh/m²", f"{sign}{display.number(round(0.316998 * si, 2))} kBtu/ft²"


def _water(value: float) -> tuple[str, str]:
    """Return an amount in both unit systems, to a tenth of a gram: neither method resolves less."""
    return display.quantity(round(value, 4) + 0.0, "kg/m2")


def sentence(monthly: dict[str, Any], hourly: dict[str, Any]) -> str:
    """Return where the two methods differ for one case, and why, in plain words."""
    parts = []
    layer, hours, plane = hourly["layer"], hourly["wet_hours"], at_surface(str(monthly["plane"]))
    if monthly["peak"] > 0.0 and not hours:
        parts.append(
            f"The monthly method collects condensate {plane}; hour by hour the layers absorb the same "
            f"moisture as they get more humid ({layer} most), and no surface inside reaches its dew point."
        )
    elif monthly["peak"] > 0.0:
        parts.append(
            f"Both find moisture inside the wall: by month {plane}, by the hour in {hours} hours, with "
            f"{layer} gaining most."
        )
    elif hours:
        parts.append(
            f"Monthly means stay above the dew point; hour by hour a surface inside is at or below it in {hours} "
            "hours. Monthly means do not show cold nights, air leakage or moisture driven inwards by the sun."
        )
    else:
        parts.append("Both find no condensation inside the backup wall.")
    if hourly["film"] > _FILM:
        why = (
            "the monthly method omits cladding and cavity"
            if monthly["ventilation_class"] == "well ventilated"
            else "a monthly mean does not show single nights"
        )
        parts.append(f"The hourly run also shows water on cavity surfaces; {why}.")
    return " ".join(parts)
