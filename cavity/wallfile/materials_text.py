"""The table of materials as text for the terminal."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from cavity.errors import Fault, InputError
from cavity.units import FOOTNOTE, cite
from cavity.wallfile.materials import material, materials
from cavity.wallfile.values import nearest

if TYPE_CHECKING:
    from cavity.wallfile.model import Material

_WIDE = 128  # columns of the terminal from which heat capacity, water and mould class are listed too
_SIGN = {"standard": "s", "measured": "m", "recalled": "r", "estimate": "e"}
_MEANING = (
    "s standard or handbook, text read; m measured, publication read; r recalled, not compared with the text again; "
    "e estimate, usual declared value or common practice."
)


def _number(value: float) -> str:
    if math.isinf(value):
        return "inf"
    return f"{value:.0f}" if value >= 100 else f"{value:.3g}"


def _on(row: Material, key: str) -> str:
    """Return the sign for the basis of a value."""
    sign = _SIGN.get(dict(row.basis).get(key, ""), "")
    return f" {sign}" if sign else ""


def _sd(row: Material) -> str:
    if row.sd_table:
        values = [value for _, value in row.sd_table]
        return f"{_number(min(values))}-{_number(max(values))}"
    return _number(row.sd) if row.sd else ""


def materials_table(width: int, group: str | None = None) -> RenderableType:
    """Return the list of materials.

    Parameters
    ----------
    width : int
        Width of the terminal in characters; from 128 on the table has more columns.
    group : str or None
        Only this group.

    Returns
    -------
    rich renderable

    Raises
    ------
    InputError
        If the table has no such group.
    """
    rows = materials()
    groups = list(dict.fromkeys(row.group for row in rows.values()))
    if group is not None and group not in groups:
        raise InputError(Fault("--group", "unknown group", group[:60], ", ".join(groups), nearest(group[:60], groups)))
    wide = width >= _WIDE
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, expand=False)
    table.add_column("material", overflow="fold")
    for title in ("density\nkg/m3", "lambda\nW/(m K)", *(("c_p\nJ/(kg K)",) if wide else ())):
        table.add_column(title, justify="right", no_wrap=True)
    for title in ("mu dry", "mu wet", "sd\nm", *(("w_max\nkg/m3", "A_w, kg/\n(m2 s0.5)") if wide else ())):
        table.add_column(title, justify="right", no_wrap=True)
    if wide:
        table.add_column("mould class", no_wrap=True)
    for heading in groups:
        if group is not None and heading != group:
            continue
        table.add_row(Text(heading.upper(), style="bold"))
        for name, row in rows.items():
            if row.group != heading:
                continue
            vapour = _on(row, "vapour")
            cells = [name, _number(row.density) + _on(row, "density")]
            cells += [_number(row.conductivity) + _on(row, "conductivity")]
            cells += [_number(row.specific_heat) + _on(row, "specific_heat")] if wide else []
            if row.sd or row.sd_table:
                cells += ["", "", _sd(row) + vapour]
            else:
                cells += [_number(row.mu_dry) + vapour, _number(row.mu_wet) + vapour, ""]
            if wide:
                cells += [_number(row.max_saturation) + _on(row, "saturation") if row.max_saturation else ""]
                cells += [f"{row.absorption:g}{_on(row, 'absorption')}" if row.absorption else "", row.mould_class]
            table.add_row(*(Text(cell) for cell in cells))
    note = Text(
        "lambda and c_p of dry material; w_max: all pores full; A_w: water absorption coefficient; sd: membranes. "
    )
    note.append(f"Basis of a number: {_MEANING} ")
    note.append("`cavity materials NAME` prints all values of a material with its curves and source.")
    return Group(table, note)


def material_detail(name: str) -> RenderableType:
    """Return all values of one material with its source.

    Parameters
    ----------
    name : str
        Name in the table.

    Returns
    -------
    rich renderable

    Raises
    ------
    InputError
        If the table has no such name.
    """
    row = material(name)
    table = Table(box=None, show_header=False, pad_edge=False)
    table.add_column(no_wrap=True, style="bold")
    table.add_column(overflow="fold")
    table.add_column(no_wrap=True, style="italic")
    basis = dict(row.basis)

    def add(title: str, text: str, key: str = "") -> None:
        table.add_row(Text(title), Text(text), Text(basis.get(key, "")))

    add("material", f'{row.title}  (material = "{row.name}")')
    add("group", row.group)
    if row.thickness:
        add("usual thickness", f"{1000 * row.thickness:g} mm")
    add("density", f"{row.density:g} kg/m3", "density")
    add("conductivity", f"{row.conductivity:g} W/(m K), dry", "conductivity")
    if row.moisture_conductivity:
        add("", f"+ {row.moisture_conductivity:g} W/(m K) for each kg/m3 of water")
    add("specific heat", f"{row.specific_heat:g} J/(kg K)", "specific_heat")
    if row.sd:
        add("sd", f"{row.sd:g} m", "vapour")
    if row.sd_table:
        add("sd by humidity", "   ".join(f"{100 * h:.3g} %: {value:g} m" for h, value in row.sd_table), "vapour")
    if not row.sd and not row.sd_table:
        add("mu dry / wet", f"{_number(row.mu_dry)} / {_number(row.mu_wet)}", "vapour")
        if row.mu_table:
            add("mu by humidity", "   ".join(f"{100 * h:.3g} %: {_number(value)}" for h, value in row.mu_table))
    if row.sorption:
        add("sorption", "   ".join(f"{100 * h:.3g} %: {water:.3g} kg/m3" for h, water in row.sorption), "sorption")
        add("free saturation w_f", f"{row.free_saturation:.4g} kg/m3", "saturation")
        add("all pores full w_max", f"{row.max_saturation:.4g} kg/m3", "saturation")
        uptake = f"{row.absorption:g} kg/(m2 s0.5)" if row.absorption else "none: no liquid transport"
        add("water absorption A_w", uptake, "absorption")
    else:
        add("water", "holds none")
    if row.diffusivity:
        add(
            "liquid diffusivity", "   ".join(f"{water:.3g} kg/m3: {value:.2g} m2/s" for water, value in row.diffusivity)
        )
    elif row.absorption:
        # Kuenzel 1995, from memory: the estimate that the wall model uses at free saturation
        top = 3.8 * (row.absorption / row.free_saturation) ** 2
        add(
            "liquid diffusivity",
            f"estimated from water absorption: {1000 * top:.2g} m2/s at free saturation, "
            f"{top * 1000**0.5:.2g} m2/s at half of it, {top:.2g} m2/s nearly dry (Kuenzel 1995 †)",
        )
    add("emissivity", f"{100 * row.emissivity:g} %")
    add("mould class", row.mould_class)
    if row.wood or row.metal:
        add("judged as", "wood" if row.wood else "metal")
    add("source", cite(row.source))
    if "from memory" in row.source or row.absorption:
        add("", FOOTNOTE)
    return table
