"""What must hold between the values of a row, and between rows."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import pairwise

from cam.findings import Finding, Origin, error
from cam.tables.annotations import suggest
from cam.tables.rows import Controller, Cutter, CutterKind, Drilling, Machine, Material, SheetSize


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedRow:
    """A row and where it stands."""

    row: Cutter | Material | Machine | SheetSize | Controller
    origin: Origin


def find_row_faults(placed: PlacedRow) -> list[Finding]:
    """Return an ``inconsistent-row`` for whatever does not hold between the values of a row."""
    match placed.row:
        case Cutter() as row:
            broken = _check_cutter(row)
        case Material() as row:
            broken = _check_material(row)
        case Machine() as row:
            broken = _check_machine(row)
        case Controller() as row:
            broken = _check_controller(row)
        case SheetSize():
            broken = []
    return [
        error("inconsistent-row", message, remedy="correct the row", origin=_at(placed.origin, key))
        for key, message in broken
    ]


def find_table_faults(rows: tuple[PlacedRow, ...]) -> list[Finding]:
    """Return a ``doubled-tool`` or ``unknown-row`` for whatever does not hold between rows."""
    faults = []
    tools: dict[int, str] = {}
    materials = [placed.row.name for placed in rows if isinstance(placed.row, Material)]
    for placed in rows:
        row = placed.row
        if isinstance(row, Cutter) and (first := tools.setdefault(row.tool, row.name)) != row.name:
            faults.append(
                error(
                    "doubled-tool",
                    f"the cutters {first!r} and {row.name!r} both have the tool number {row.tool}",
                    remedy="give one of them another number; 1 to 20 are left for a shop's own cutters",
                    origin=_at(placed.origin, "tool"),
                )
            )
        if isinstance(row, SheetSize) and row.material not in materials:
            faults.append(
                error(
                    "unknown-row",
                    f"there is no material {row.material!r}",
                    remedy=suggest(row.material, among=materials),
                    origin=_at(placed.origin, "material"),
                )
            )
    return faults


def _at(origin: Origin, key: str) -> Origin:
    return replace(origin, key=f"{origin.key}.{key}" if origin.key and key else origin.key or key)


def _check_cutter(cutter: Cutter) -> Iterable[tuple[str, str]]:
    if cutter.edge_length_mm > cutter.stick_out_mm:
        yield "edge_length_mm", "the cutting edge is longer than the cutter reaches below its collet nut"
    pointed = cutter.kind in (CutterKind.VEE, CutterKind.DRILL)
    if pointed and cutter.point_angle_deg >= 180.0:
        yield "point_angle_deg", f"a {cutter.kind} comes to a point; its angle is below 180 degrees"
    if not pointed and cutter.point_angle_deg != 180.0:
        yield "point_angle_deg", f"a {cutter.kind} cutter comes to no point; its angle is written 180"


def _check_material(material: Material) -> Iterable[tuple[str, str]]:
    if not material.min_rpm <= material.start_rpm <= material.max_rpm:
        yield "start_rpm", "min_rpm, start_rpm and max_rpm must not decrease in this order"
    seen = set()
    for row in material.chip_loads:
        key = (row.flutes, row.diameter_mm)
        if key in seen:
            yield "chip_loads", f"the chip load for {_called(*key)} stands twice"
        seen.add(key)
        if not row.low_mm <= row.start_mm <= row.high_mm:
            yield "chip_loads", f"low, start and high of {_called(*key)} must not decrease in this order"
    for before, after in pairwise(material.depth_factors):
        if after.diameters <= before.diameters or after.factor > before.factor:
            yield "depth_factors", "depths must increase from row to row, and factors must not"
    if material.drilling is not None:
        yield from _check_drilling(material.drilling)
    if not material.depth_factors:
        yield "depth_factors", "at least one depth factor is needed"
    elif material.max_pass_depth_diameters > material.depth_factors[-1].diameters:
        yield "max_pass_depth_diameters", "a pass may not be deeper than the depth factors reach"


def _check_drilling(drilling: Drilling) -> Iterable[tuple[str, str]]:
    speeds = (drilling.min_speed_m_per_min, drilling.start_speed_m_per_min, drilling.max_speed_m_per_min)
    if list(speeds) != sorted(speeds):
        yield "drilling", "the least, the first and the highest surface speed must not decrease in this order"
    seen = set()
    for row in drilling.feeds:
        if row.diameter_mm in seen:
            yield "drilling.feeds", f"the feed for {row.diameter_mm:g} mm stands twice"
        seen.add(row.diameter_mm)
        if not row.low_mm <= row.start_mm <= row.high_mm:
            yield "drilling.feeds", f"low, start and high of {row.diameter_mm:g} mm must not decrease in this order"
    if not drilling.feeds:
        yield "drilling.feeds", "at least one feed is needed"


def _called(flutes: int, diameter_mm: float) -> str:
    return f"{flutes} flute{'s' if flutes > 1 else ''}, {diameter_mm:g} mm"


def _check_machine(machine: Machine) -> Iterable[tuple[str, str]]:
    if machine.min_rpm > machine.max_rpm:
        yield "min_rpm", "min_rpm is above max_rpm"
    curve = machine.power_curve
    if any(after.rpm <= before.rpm for before, after in pairwise(curve)):
        yield "power_curve", "the speeds of the power curve must increase"
    elif not curve or curve[0].rpm > machine.min_rpm or curve[-1].rpm < machine.max_rpm:
        yield "power_curve", "the power curve must reach from min_rpm to max_rpm"


def _check_controller(controller: Controller) -> Iterable[tuple[str, str]]:
    facts = controller.facts
    if not (facts.mm_word if facts.units == "mm" else facts.inch_word):
        yield f"controller.{facts.units}_word", f"programs are in {facts.units}, yet no word selects it"
    if bool(facts.air_on_word) != bool(facts.air_off_word):
        yield "controller.air_off_word", "air that is turned on must be turned off, and the other way round"
    if not facts.work_offsets:
        yield "controller.work_offsets", "at least one work offset is needed"
