"""The tables as a person wants to read them, and as plain documents."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, is_dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any

from cam.tables.rows import Controller, Cutter, Machine, Material, SheetSize, Tables

FORMAT = 1


class RowKind(StrEnum):
    """The kinds of rows, as ``castcut list`` names them."""

    CUTTERS = "cutters"
    MATERIALS = "materials"
    MACHINES = "machines"
    CONTROLLERS = "controllers"
    SHEETS = "sheets"


def list_rows(tables: Tables, *, kind: RowKind) -> dict[str, Any]:
    """Return the rows of one kind as plain values, for ``--json``: keys are the fields of the row."""
    return {"format": FORMAT, "kind": str(kind), "rows": [as_plain(row) for row in getattr(tables, kind)]}


def write_listing(tables: Tables, *, kind: RowKind) -> str:
    """Return the rows of one kind as text: aligned columns, units in the heading's second line."""
    match kind:
        case RowKind.CUTTERS:
            return _list_cutters(tables.cutters)
        case RowKind.MATERIALS:
            return _list_materials(tables.materials)
        case RowKind.MACHINES:
            return _list_machines(tables.machines)
        case RowKind.CONTROLLERS:
            return _list_controllers(tables.controllers)
        case RowKind.SHEETS:
            return _list_sheets(tables.sheets)


def as_plain(value: object) -> Any:
    """Return dataclasses as dicts, tuples as lists, enums and paths as text."""
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: as_plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, tuple):
        return [as_plain(item) for item in value]
    return str(value) if isinstance(value, StrEnum | Path) else value


def align_columns(headings: Sequence[str], *, units: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Return a table as text: a heading, a line of units, and rows; columns of numbers to the right.

    Examples
    --------
    >>> print(align_columns(("name", "width"), units=("", "mm"), rows=[("a", "8"), ("bc", "12.5")]))
    name  width
             mm
    a         8
    bc     12.5
    """
    lines = [list(headings), list(units), *(list(row) for row in rows)]
    widths = [max(len(line[column]) for line in lines) for column in range(len(headings))]
    right = [all(_is_number(row[column]) for row in rows) and bool(rows) for column in range(len(headings))]
    return "\n".join(
        "  ".join(
            cell.rjust(width) if to_right else cell.ljust(width)
            for cell, width, to_right in zip(line, widths, right, strict=True)
        ).rstrip()
        for line in lines
        if any(line)
    )


def _is_number(text: str) -> bool:
    return text in ("", "-") or text.replace(".", "", 1).replace("-", "", 1).isdigit()


def _list_cutters(cutters: tuple[Cutter, ...]) -> str:
    return align_columns(
        ("tool", "name", "diameter", "flutes", "cuts", "shank", "reach", "ramp", "speed", "what it is"),
        units=("T", "", "mm", "", "mm deep", "mm", "mm", "deg max", "rpm max", ""),
        rows=[
            (
                str(cutter.tool),
                cutter.name,
                f"{cutter.diameter_mm:g}",
                str(cutter.flutes),
                f"{cutter.edge_length_mm:g}",
                f"{cutter.shank_mm:g}",
                f"{cutter.stick_out_mm:g}",
                f"{cutter.max_ramp_deg:g}",
                f"{cutter.max_rpm:.0f}",
                cutter.title,
            )
            for cutter in cutters
        ],
    )


def _list_materials(materials: tuple[Material, ...]) -> str:
    return "\n\n".join(_list_material(material) for material in materials)


def _list_material(material: Material) -> str:
    """Return one material: its rules, its chip loads, its cautions."""
    chip_loads = align_columns(
        ("diameter", "flutes", "lowest", "start", "highest"),
        units=("mm", "", "mm/tooth", "mm/tooth", "mm/tooth"),
        rows=[
            (
                f"{row.diameter_mm:g}",
                str(row.flutes),
                f"{row.low_mm:.3f}",
                f"{row.start_mm:.3f}",
                f"{row.high_mm:.3f}",
            )
            for row in material.chip_loads
        ],
    )
    factors = ", ".join(f"x {row.factor:g} at {row.diameters:g} diameters" for row in material.depth_factors)
    return "\n".join(
        (
            f"{material.name}: {material.title}",
            f"  speed        {material.min_rpm:.0f} to {material.max_rpm:.0f} rpm, starts at {material.start_rpm:.0f}",
            f"  pass depth   at most {material.max_pass_depth_diameters:g} diameters; chip load {factors}",
            f"  stepover     at most {material.max_stepover_diameters:g} diameters",
            f"  roughing     {material.rough_direction}, leaves {material.finish_allowance_mm:g} mm",
            f"  finishing    {material.finish_direction}, chip load raised at most {material.finish_chip_cap:g} times",
            f"  entry        ramp of {material.ramp_deg:g} degrees, straight down at {material.plunge_share:g} x feed",
            f"  thickness    within {material.thickness_tol_mm:g} mm + {material.thickness_tol_share:g} x thickness",
            f"  air blast    {'yes' if material.air_blast else 'no'}",
            *_list_drilling(material),
            *(f"  caution      {caution}" for caution in material.cautions),
            "",
            *("  " + line for line in chip_loads.splitlines()),
            *_list_drill_feeds(material),
        )
    )


def _list_drilling(material: Material) -> tuple[str, ...]:
    drilling = material.drilling
    if drilling is None:
        return ("  drilling     no data",)
    return (
        f"  drilling     rim at {drilling.min_speed_m_per_min:g} to {drilling.max_speed_m_per_min:g} m/min, starts at "
        f"{drilling.start_speed_m_per_min:g}; out after {drilling.peck_diameters:g} diameters; "
        f"{drilling.exit_share:g} x feed at the exit; pilot above {drilling.pilot_above_mm:g} mm",
    )


def _list_drill_feeds(material: Material) -> tuple[str, ...]:
    if material.drilling is None:
        return ()
    feeds = align_columns(
        ("drill", "lowest", "start", "highest"),
        units=("mm", "mm/turn", "mm/turn", "mm/turn"),
        rows=[
            (f"{row.diameter_mm:g}", f"{row.low_mm:.3f}", f"{row.start_mm:.3f}", f"{row.high_mm:.3f}")
            for row in material.drilling.feeds
        ],
    )
    return ("", *("  " + line for line in feeds.splitlines()))


def _list_machines(machines: tuple[Machine, ...]) -> str:
    return align_columns(
        ("name", "travel X Y Z", "rapid X Y Z", "feed", "acceleration", "spindle", "power", "collet", "tool change"),
        units=("", "mm", "mm/min", "mm/min max", "mm/s2", "rpm", "W max", "mm max", "s"),
        rows=[
            (
                machine.name,
                _triple(machine.travel_mm),
                _triple(machine.rapid_mm_per_min),
                f"{machine.max_feed_mm_per_min:.0f}",
                _triple(machine.acceleration_mm_per_s2),
                f"{machine.min_rpm:.0f} to {machine.max_rpm:.0f}",
                f"{max((point.power_w for point in machine.power_curve), default=0.0):.0f}",
                f"{machine.max_collet_mm:g}",
                f"{machine.tool_change_s:g}",
            )
            for machine in machines
        ],
    )


def _triple(values: tuple[float, float, float]) -> str:
    return " ".join(f"{value:.0f}" for value in values)


def _list_controllers(controllers: tuple[Controller, ...]) -> str:
    return align_columns(
        ("name", "units", "decimals", "arcs", "path modes", "change", "air", "end", "what it is"),
        units=("", "", "", "", "", "", "", "", ""),
        rows=[
            (
                controller.name,
                controller.facts.units,
                str(controller.facts.decimals),
                _say_arcs(controller),
                " ".join(controller.facts.path_words) or "-",
                {"word": "T M6", "stop": "stop M0", "file": "own file"}[controller.facts.tool_change],
                f"{controller.facts.air_on_word} {controller.facts.air_off_word}".strip() or "-",
                controller.facts.end_word,
                controller.title,
            )
            for controller in controllers
        ],
    )


def _say_arcs(controller: Controller) -> str:
    facts = controller.facts
    what = [str(facts.arcs)]
    what += ["quadrants"] if facts.quadrant_arcs else []
    what += ["level"] if facts.arcs != "none" and not facts.helical_arcs else []
    return " ".join(what)


def _list_sheets(sheets: tuple[SheetSize, ...]) -> str:
    return align_columns(
        ("name", "material", "width X", "height Y", "thickness"),
        units=("", "", "mm", "mm", "mm"),
        rows=[
            (
                sheet.name,
                sheet.material,
                f"{sheet.width_mm:g}",
                f"{sheet.height_mm:g}",
                f"{sheet.thickness_mm:g}",
            )
            for sheet in sheets
        ],
    )
