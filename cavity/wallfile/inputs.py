"""Inputs that [uncertain] may vary, and the wall with another value of one of them."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from cavity.errors import Fault, InputError
from cavity.wallfile.values import nearest

if TYPE_CHECKING:
    from cavity.wallfile.model import Layer, OpeningSet, Rail, Wall

# Title of each input for tables and figures; the names are those of the wall file.
INPUTS: dict[str, str] = {
    "openings.area_factor": "factor on the free area of all vents",
    "openings.mesh_factor": "factor on the loss of all meshes",
    "rail.gap_factor": "factor on the gap of all rails",
    "backup.vapour_factor": "factor on the vapour resistance of all layers of the backup wall",
    "site.cp_difference": "wind pressure coefficient, base minus head (straight line)",
    "site.ground_albedo": "ground albedo",
    "site.rain_obstruction": "rain obstruction factor",
    "site.rain_topography": "rain topography coefficient",
    "site.rain_wall_factor": "rain wall factor",
    "finish.solar_absorptance": "solar absorptance of the cladding",
    "finish.emissivity": "emissivity of the cladding",
    "cavity.blocked": "blocked fraction of the cavity cross-section",
    "cavity.roughness": "roughness of the cavity surfaces [m]",
    "cavity.single_vent_exchange": "factor on the exchange through a single vent (estimate)",
    "cavity.gust_exchange": "factor on the exchange by gusts (estimate)",
    "cavity.film_limit": "water a surface holds [kg/m2]",
    "cavity.emissivity_cladding": "emissivity of the back of the cladding",
    "cavity.emissivity_wall": "emissivity of the exterior surface of the backup wall",
    "indoor.humidity_shift": "shift of the indoor relative humidity",
    "wetting.rain_penetration": "fraction of driving rain that passes the cladding",
    "wetting.leak_flow": "indoor air leaking into the wall [kg/(m2 s)]",
    "wetting.leak_q50": "air permeability q50 of the envelope [m3/(m2 s)]",
    "run.start_humidity": "relative humidity at the start",
}


def changed(wall: Wall, name: str, value: float) -> Wall:
    """Return the wall with another value of one input.

    Parameters
    ----------
    wall : Wall
        The wall as read.
    name : str
        One of `INPUTS`.
    value : float
        In the SI unit of `Wall.uncertain`; a factor where the name ends in factor. [as named]

    Returns
    -------
    Wall

    Raises
    ------
    InputError
        If the name is not known.
    """
    if name not in INPUTS:
        raise InputError(
            Fault(
                "uncertain input", "not an input that can vary", name[:60], "a name of `INPUTS`", nearest(name, INPUTS)
            )
        )
    section, key = name.split(".")
    if name == "openings.area_factor":
        return replace(wall, opening_sets=tuple(_with_area(opening_set, value) for opening_set in wall.opening_sets))
    if name == "openings.mesh_factor":
        rails = tuple(replace(rail, mesh_factor=value) for rail in wall.rails)
        return replace(
            wall, rails=rails, opening_sets=tuple(_with_mesh(opening_set, value) for opening_set in wall.opening_sets)
        )
    if name == "rail.gap_factor":
        sets = tuple(
            replace(opening_set, rails=None if opening_set.rails is None else _with_gap(opening_set.rails, value))
            for opening_set in wall.opening_sets
        )
        return replace(wall, rails=_with_gap(wall.rails, value), opening_sets=sets)
    if name == "backup.vapour_factor":
        return replace(wall, backup=tuple(_with_resistance(layer, value) for layer in wall.backup))
    if section == "finish":
        changed: dict[str, Any] = {key: value}
        return replace(wall, **changed)
    return replace(wall, **{section: replace(getattr(wall, section), **{key: value})})


def _with_area(opening_set: OpeningSet, factor: float) -> OpeningSet:
    """Scale the number of holes, not their size: clear height and loss of a hole stay the same."""
    return replace(
        opening_set, openings=tuple(replace(vent, gross_area=vent.gross_area * factor) for vent in opening_set.openings)
    )


def _with_mesh(opening_set: OpeningSet, factor: float) -> OpeningSet:
    rails = (
        None if opening_set.rails is None else tuple(replace(rail, mesh_factor=factor) for rail in opening_set.rails)
    )
    return replace(
        opening_set, openings=tuple(replace(vent, mesh_factor=factor) for vent in opening_set.openings), rails=rails
    )


def _with_gap(rails: tuple[Rail, ...], factor: float) -> tuple[Rail, ...]:
    return tuple(replace(rail, gap=min(rail.gap * factor, rail.bay / rail.gaps)) for rail in rails)


def _with_resistance(layer: Layer, factor: float) -> Layer:
    """Scale the vapour resistance of a layer; mu stays at least 1, that of still air."""
    material = layer.material
    return replace(
        layer,
        material=replace(
            material,
            mu_dry=max(material.mu_dry * factor, 1.0),
            mu_wet=max(material.mu_wet * factor, 1.0),
            mu_table=tuple((humidity, max(mu * factor, 1.0)) for humidity, mu in material.mu_table),
        ),
        sd=None if layer.sd is None else layer.sd * factor,
        sd_table=tuple((humidity, sd * factor) for humidity, sd in layer.sd_table),
    )
