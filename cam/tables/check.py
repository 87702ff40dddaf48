"""What must hold between the values of a row, and between rows."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import pairwise

from cam.findings import Finding, Origin, error
from cam.tables.annotations import suggest
from cam.tables.job import WORK_OFFSETS
from cam.tables.rows import ArcForm, Controller, Cutter, CutterKind, Drilling, Machine, Material, SheetSize


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
    if origin.key == "name":
        # a controller is its whole file, which its name stands for
        return replace(origin, key=key)
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
    for name in ("air", "vacuum", "extraction"):
        if bool(getattr(facts, f"{name}_on_word")) != bool(getattr(facts, f"{name}_off_word")):
            yield f"controller.{name}_off_word", f"{name} that is turned on must be turned off, and the other way round"
    yield from _check_words(controller)
    yield from _check_arcs(controller)
    yield from _check_habits(controller)
    yield from _check_header(controller)
    if not facts.work_offsets:
        yield "controller.work_offsets", "at least one work offset is needed"
    if facts.blend_tol_mm > 0.0 and "G64" not in facts.path_words and facts.path_mode != "continuous":
        yield "controller.blend_tol_mm", "a controller that never works in continuous mode blends nothing"


def _check_words(controller: Controller) -> Iterable[tuple[str, str]]:
    """Check that words are words, that none means two things, and that none that is needed is lacking."""
    facts = controller.facts
    called: dict[str, str] = {}
    for name, letter in _WORD_KEYS:
        word = getattr(facts, name)
        if not word:
            continue
        if re.fullmatch(rf"{letter}[0-9]{{1,4}}(\.[0-9])?", word) is None:
            yield f"controller.{name}", f"{word!r} is no {letter} word, such as {letter}21"
        elif called.setdefault(word, name) != name:
            yield f"controller.{name}", f"{word} is {called[word]} already"
        elif word in facts.lacks:
            yield f"controller.{name}", f"{word} is among the words that the controller lacks"
    for index, word in enumerate(facts.path_words):
        if word not in ("G61", "G61.1", "G64"):
            yield f"controller.path_words[{index + 1}]", f"{word!r} is no path word; there are G61, G61.1 and G64"
    for index, word in enumerate(facts.canned_cycles):
        if re.fullmatch("G8[1-9]", word) is None:
            yield f"controller.canned_cycles[{index + 1}]", f"{word!r} is no canned cycle; there are G81 to G89"
    for index, word in enumerate(facts.work_offsets):
        if word not in WORK_OFFSETS:
            yield f"controller.work_offsets[{index + 1}]", f"{word!r} is no work offset; there are G54 to G59.3"


def _check_arcs(controller: Controller) -> Iterable[tuple[str, str]]:
    facts = controller.facts
    if facts.arcs is ArcForm.NONE and facts.helical_arcs:
        yield "controller.helical_arcs", "a controller without arcs has no helical ones"
    if facts.arcs is ArcForm.NONE and facts.quadrant_arcs:
        yield "controller.quadrant_arcs", "a controller without arcs has none within quadrants"
    if facts.arcs is not ArcForm.NONE and {"G2", "G3"} & set(facts.lacks):
        yield "controller.lacks", 'a controller that lacks G2 or G3 takes no arcs: arcs = "none"'
    # I and J are rounded apart from the end, each by half a last digit across and along
    digit_mm = (25.4 if facts.units == "inch" else 1.0) / 10.0**facts.decimals
    allowed_mm = facts.arc_tol_mm * (2.54 if facts.units == "inch" else 1.0)
    if facts.arcs in (ArcForm.CENTRE, ArcForm.BOTH) and allowed_mm < 1.42 * digit_mm:
        yield (
            "controller.arc_tol_mm",
            f"{facts.decimals} decimals move the radii of an arc apart by up to {1.42 * digit_mm:.4g} mm, which the "
            "controller would refuse",
        )


def _check_habits(controller: Controller) -> Iterable[tuple[str, str]]:
    facts, style = controller.facts, controller.format
    if style.drill_cycles and not {"G81", "G83"} <= set(facts.canned_cycles):
        yield "format.drill_cycles", "drilled holes as cycles need G81 and G83 among canned_cycles"
    if style.drill_cycles and style.incremental:
        yield "format.drill_cycles", "cycles are written for places, not for steps: leave incremental or this"
    if style.percent_signs and "%" in facts.lacks:
        yield "format.percent_signs", "the controller lacks percent signs"
    if style.incremental and "G91" in facts.lacks:
        yield "format.incremental", "the controller lacks G91"
    if not re.fullmatch("[A-Za-z0-9]{1,8}", style.extension):
        yield "format.extension", f"{style.extension!r} is no extension of letters and digits, such as ngc"
    for section, lines in (("header", style.header), ("footer", style.footer)):
        for index, line in enumerate(lines):
            if len(line) + 7 * style.block_numbers > facts.max_block_length:
                yield f"format.{section}[{index + 1}]", f"the line is longer than {facts.max_block_length} characters"


def _check_header(controller: Controller) -> Iterable[tuple[str, str]]:
    """Check that the header leaves nothing to what ran before: unit, places instead of steps, and the plane."""
    facts = controller.facts
    own, other = (facts.mm_word, facts.inch_word) if facts.units == "mm" else (facts.inch_word, facts.mm_word)
    said: set[str] = set()
    for index, line in enumerate(controller.format.header):
        packed = "".join(re.sub(r"\([^()]*\)|;.*", "", line).split()).upper()
        words = [f"{letter}{code}" for letter, code in re.findall(r"([GM])0*([0-9]+(?:\.[0-9]+)?)", packed)]
        said.update(words)
        for word in words:
            if word in facts.lacks:
                yield f"format.header[{index + 1}]", f"{word} is among the words that the controller lacks"
            elif word == other:
                yield f"format.header[{index + 1}]", f"{word} is not the word for {facts.units}, which programs are in"
    for word in (own, "G90", "G17"):
        if word and word not in said and word not in facts.lacks:
            yield "format.header", f"the header does not say {word}: what ran before would decide"


_WORD_KEYS = (
    ("inch_word", "G"),
    ("mm_word", "G"),
    ("spindle_on_word", "M"),
    ("spindle_off_word", "M"),
    ("air_on_word", "M"),
    ("air_off_word", "M"),
    ("vacuum_on_word", "M"),
    ("vacuum_off_word", "M"),
    ("extraction_on_word", "M"),
    ("extraction_off_word", "M"),
    ("end_word", "M"),
)
