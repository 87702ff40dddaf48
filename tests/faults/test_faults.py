"""Single faults put into programs that are right: each must be caught, or shown to do no harm.

A fault is *harmless* if the program is proven and what is left of the sheet at the heights that matter
is the same in and around the panels; *caught* if the program is not proven, or is warned of where a
warning is all that is wanted; *for the right reason* if one of the codes that name it was found. A
fault that is neither is *missed*, and fails the test.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from random import Random

import pytest
import shapely

from cam.backplot.portions import find_portions
from cam.backplot.sweep import Side, sweep_portions
from cam.geometry.flatten import flatten
from cam.sheet.layout import place_region
from cam.tables.job import HoldKind

Lines = list[str]
PLACES = 2

GEOMETRY = {
    *("panel-gouged", "neighbour-touched", "material-left", "not-through", "bed-gouged", "corner-too-tight"),
    *(
        "bridge-missing",
        "bridge-thin",
        "bridge-high",
        "bridge-short",
        "bridge-long",
        "part-released",
        "slug-loose",
        "skin-missing",
    ),
    *("sheet-edge-crossed", "outside-travel", "rapid-in-material", "plunge-in-material", "entry-too-steep"),
}
ARCS = {"arc-radius-mismatch", "arc-centre-missing", "arc-radius-zero", "arc-axes-missing", "arc-nearly-whole"}
CHIPS = {"chip-too-thick", "chip-too-thin-as-cut", "pass-too-deep", "power-exceeded", "feed-beyond-machine"}


@dataclass(frozen=True)
class Fault:
    """One kind of fault: where it can be put, what it does to the lines there, and the codes that name it."""

    name: str
    finds: Callable[[Lines], Iterable[int]]
    change: Callable[[Lines, int], Lines]
    codes: set[str]
    warning: bool = False


def strip_comments(line: str) -> str:
    return re.sub(r"\([^)]*\)", "", line)


def lines_with(pattern: str, *, without: str = r"$^") -> Callable[[Lines], list[int]]:
    """Return a finder of lines, comments taken off, that match one pattern and not another."""

    def find(lines: Lines) -> list[int]:
        bare = [strip_comments(line) for line in lines]
        return [i for i, line in enumerate(bare) if re.search(pattern, line) and not re.search(without, line)]

    return find


def motion_before(lines: Lines, i: int) -> str:
    """Return the motion word in force at a line."""
    for line in reversed(lines[: i + 1]):
        found = re.findall(r"G[0-3](?![0-9])", strip_comments(line))
        if found:
            return found[-1]
    return ""


def feeding(pattern: str) -> Callable[[Lines], list[int]]:
    def find(lines: Lines) -> list[int]:
        return [i for i in lines_with(pattern)(lines) if motion_before(lines, i) in ("G1", "G2", "G3")]

    return find


def rapid(pattern: str) -> Callable[[Lines], list[int]]:
    def find(lines: Lines) -> list[int]:
        return [i for i in lines_with(pattern)(lines) if motion_before(lines, i) == "G0"]

    return find


def sub(pattern: str, new: str | Callable[[re.Match], str]) -> Callable[[Lines, int], Lines]:
    """Return a change of the first match in the line."""

    def change(lines: Lines, i: int) -> Lines:
        return [*lines[:i], re.sub(pattern, new, lines[i], count=1), *lines[i + 1 :]]

    return change


def add(letter: str, amount: float) -> Callable[[Lines, int], Lines]:
    return sub(rf"{letter}(-?[\d.]+)", lambda m: f"{letter}{float(m[1]) + amount:.4f}")


def flip(letter: str) -> Callable[[Lines, int], Lines]:
    return sub(rf"{letter}(-?[\d.]+)", lambda m: f"{letter}{-float(m[1]):.4f}")


def remove(lines: Lines, i: int) -> Lines:
    return [*lines[:i], *lines[i + 1 :]]


def double(lines: Lines, i: int) -> Lines:
    return [*lines[: i + 1], *lines[i:]]


def swap(lines: Lines, i: int) -> Lines:
    return [*lines[:i], lines[i + 1], lines[i], *lines[i + 2 :]]


def insert(text: str) -> Callable[[Lines, int], Lines]:
    return lambda lines, i: [*lines[:i], text, *lines[i:]]


def everywhere(pattern: str, new: Callable[[re.Match], str]) -> Callable[[Lines, int], Lines]:
    return lambda lines, _: [re.sub(pattern, new, line) if "(" not in line else line for line in lines]


def swap_letters(a: str, b: str) -> Callable[[Lines, int], Lines]:
    def change(lines: Lines, i: int) -> Lines:
        line = lines[i].replace(a, "\0").replace(b, a).replace("\0", b)
        return [*lines[:i], line, *lines[i + 1 :]]

    return change


def cut_short(lines: Lines, i: int) -> Lines:
    return [*lines[:i], lines[i][: max(1, len(lines[i]) * 2 // 3)], *lines[i + 1 :]]


def flatten_lifts(lines: Lines, _: int) -> Lines:
    """Take every bridge away: what rises to the bridges' height stays down."""
    return [re.sub(r"Z0\.8$", "Z-0.3", line) for line in lines]


def scale(match: re.Match) -> str:
    return f"{match[1]}{float(match[2]) / 25.4:.4f}"


def mirror_x(match: re.Match) -> str:
    return f"X{300.0 - float(match[1]):.4f}"


CUT = r"^(?:G[123] ?)?[XYZ]"
FAULTS = [
    Fault("X off by 1 mm", feeding(r"X"), add("X", 1.0), GEOMETRY | ARCS),
    Fault("Y off by 1 mm", feeding(r"Y"), add("Y", -1.0), GEOMETRY | ARCS),
    Fault("X off by 0.02 mm", feeding(r"X"), add("X", 0.02), GEOMETRY | ARCS),
    Fault("Z up by 0.1 mm", feeding(r"Z"), add("Z", 0.1), GEOMETRY),
    Fault("Z down by 0.1 mm", feeding(r"Z"), add("Z", -0.1), GEOMETRY),
    Fault("Z down by 1 mm", feeding(r"Z"), add("Z", -1.0), GEOMETRY | CHIPS),
    Fault("Z sign flipped", lines_with(r"Z-?[\d.]+"), flip("Z"), GEOMETRY | CHIPS | {"no-return-to-safety"}),
    Fault("X sign flipped", feeding(r"X"), flip("X"), GEOMETRY | ARCS | CHIPS),
    Fault("X word dropped", feeding(r"X.*[YZ]"), sub(r"X-?[\d.]+ ?", ""), GEOMETRY | ARCS | CHIPS),
    Fault("Y word dropped", feeding(r"X.*Y"), sub(r" ?Y-?[\d.]+", ""), GEOMETRY | ARCS | CHIPS),
    Fault("Z word dropped", feeding(r"X.*Z"), sub(r" ?Z-?[\d.]+", ""), GEOMETRY | CHIPS),
    Fault("G2 and G3 swapped", lines_with(r"G[23] "), sub(r"G([23])", lambda m: f"G{5 - int(m[1])}"), GEOMETRY | CHIPS),
    Fault("G3 becomes G1", lines_with(r"G[23] "), sub(r"G[23]", "G1"), GEOMETRY | {"word-without-use"}),
    Fault("I and J swapped", lines_with(r"I.*J"), swap_letters("I", "J"), GEOMETRY | ARCS | CHIPS),
    Fault("I sign flipped", lines_with(r"I-?[1-9]"), flip("I"), GEOMETRY | ARCS | CHIPS),
    Fault("J sign flipped", lines_with(r"J-?[1-9]"), flip("J"), GEOMETRY | ARCS | CHIPS),
    Fault("I word dropped", lines_with(r"I-?[1-9]"), sub(r" I-?[\d.]+", ""), GEOMETRY | ARCS | CHIPS),
    Fault("J word dropped", lines_with(r"J-?[1-9]"), sub(r" J-?[\d.]+", ""), GEOMETRY | ARCS | CHIPS),
    Fault("radius form, long way", lines_with(r"I-?[1-9].*J0"), sub(r"I-?([\d.]+) J0", r"R-\1"), GEOMETRY | ARCS | CHIPS
          | {"arc-closed-radius", "arc-radius-small"}),
    Fault("block removed", feeding(CUT), remove, GEOMETRY | ARCS | CHIPS | {"no-feed"}),
    Fault("block doubled", feeding(CUT), double, GEOMETRY | ARCS | CHIPS),
    Fault("blocks exchanged", feeding(CUT), swap, GEOMETRY | ARCS | CHIPS | {"no-feed", "no-return-to-safety"}),
    Fault("block cut short", feeding(CUT), cut_short, GEOMETRY | ARCS | CHIPS
          | {"number-malformed", "word-without-use", "unknown-word", "motion-without-axes"}),
    Fault("decimal point lost", feeding(r"[XY]\d+\.\d"), sub(r"\.", ""), GEOMETRY | ARCS | {"value-too-large",
          "controller-limit"}),
    Fault("digit dropped", feeding(r"X\d{2,}"), sub(r"X(\d+)\d", r"X\1"), GEOMETRY | ARCS | CHIPS),
    Fault("wrong cutter, larger", lines_with(r"T26"), sub("T26", "T28"), {"panel-gouged"}),
    Fault("wrong cutter, smaller", lines_with(r"T26"), sub("T26", "T25"), {"material-left"}),
    Fault("unknown cutter", lines_with(r"T26"), sub("T26", "T9"), {"unknown-cutter"}),
    Fault("tool change missing", lines_with(r"M6"), remove, {"unknown-cutter"}),
    Fault("spindle missing", lines_with(r"M3"), remove, {"spindle-stopped"}),
    Fault("spindle reversed", lines_with(r"M3"), sub("M3", "M4"), {"spindle-reversed"}),
    Fault("spindle a tenth", lines_with(r"S\d+"), sub(r"S(\d+)\d", r"S\1"), {"speed-outside-window"} | CHIPS),
    Fault("spindle too fast", lines_with(r"S\d+"), sub(r"S\d+", "S24000"), {"chip-too-thin-as-cut"}),
    Fault("spindle stops too soon", feeding(CUT), insert("M5"), {"spindle-stopped"}),
    Fault("dwell missing", lines_with(r"G4 P"), remove, {"no-spin-up"}),
    Fault("dwell a tenth", lines_with(r"G4 P"), sub(r"P([\d.]+)", lambda m: f"P{float(m[1]) / 10:g}"), {"no-spin-up"}),
    Fault("air missing", lines_with(r"M7"), remove, {"air-off"}, warning=True),
    Fault("feed a tenth", lines_with(r"F\d+"), sub(r"F(\d+)\d", r"F\1"), {"chip-too-thin-as-cut"}),
    Fault("feed tenfold", lines_with(r"F\d+"), sub(r"F(\d+)", r"F\g<1>0"), {"chip-too-thick", "feed-beyond-machine",
          "power-exceeded"}),
    Fault("first feed missing", lambda lines: lines_with(r"F\d+")(lines)[:1], sub(r" F\d+", ""), {"no-feed"}),
    Fault("retract missing", rapid(r"^(?:G0 )?Z(?:1\d)"), remove, GEOMETRY | CHIPS | {"no-return-to-safety",
          "unknown-position", "axis-words-without-motion"} | ARCS),
    Fault("retract too low", rapid(r"^(?:G0 )?Z(?:1\d)"), sub(r"Z[\d.]+", "Z3"), GEOMETRY | {"no-return-to-safety"}),
    Fault("approach missing", rapid(r"^(?:G0 )?Z[45]"), remove, GEOMETRY | CHIPS),
    Fault("rapid approach into the sheet", rapid(r"^(?:G0 )?Z[45]"), sub(r"Z[\d.]+", "Z1"), {"rapid-in-material",
          "bridge-thin"}),
    Fault("rapid for a feed", lines_with(r"^G1 "), sub("G1", "G0"), {"rapid-in-material"}),
    Fault("units changed", lines_with("G21"), sub("G21", "G20"), {"nothing-cut", "outside-travel", "value-too-large",
          "controller-limit"} | GEOMETRY),
    Fault("lengths in inches", lines_with("G21"), everywhere(r"([XYZIJ])(-?[\d.]+)", scale), GEOMETRY | CHIPS),
    Fault("increments for places", lines_with("G90"), sub("G90", "G91"), GEOMETRY | {"nothing-cut"}),
    Fault("other work offset", lines_with("G54"), sub("G54", "G55"), {"work-offset-differs"}),
    Fault("other plane", lines_with("G17"), sub("G17", "G18"), GEOMETRY | ARCS | {"arc-offset-wrong"}),
    Fault("cutter compensation", feeding(CUT), insert("G41 D1"), {"compensation-refused"}),
    Fault("origin renamed", feeding(CUT), insert("G92 X0"), GEOMETRY | ARCS | CHIPS | {"unknown-position"}),
    Fault("zero off by 1 mm", lines_with("G21"), everywhere(r"X(-?[\d.]+)", lambda m: f"X{float(m[1]) + 1:.4f}"),
          {"panel-gouged"}),
    Fault("zero on the top", lines_with("G21"), everywhere(r"Z(-?[\d.]+)", lambda m: f"Z{float(m[1]) - 4:.4f}"),
          {"bed-gouged"}),
    Fault("mirrored", lines_with("G21"), everywhere(r"X(-?[\d.]+)", mirror_x), GEOMETRY | ARCS),
    Fault("bridges removed", lines_with("G21"), flatten_lifts, {"part-released", "bridge-missing"}),
    Fault("end missing", lines_with("M2"), remove, {"program-end-missing"}),
    Fault("file cut off", feeding(CUT), lambda lines, i: lines[:i], {"program-end-missing"}),
    Fault("strange letter", feeding(r"X\d"), sub("X", "x O"), {"unknown-character", "number-malformed"}),
    Fault("bracket dropped", lambda lines: [i for i, line in enumerate(lines) if line.endswith(")")],
          lambda lines, i: [*lines[:i], lines[i][:-1], *lines[i + 1 :]], {"comment-not-closed"}),
]  # fmt: skip


def choose_places(found: Iterable[int], *, name: str, count: int = PLACES) -> list[int]:
    """Return a few places, always the same ones for a name."""
    places = list(found)
    return sorted(Random(name).sample(places, min(count, len(places))))


def find_solid(bench, trace):
    """What is left of the sheet at the bed, and just below and above the bridges' top."""
    cutters = {cutter.tool: cutter for cutter in reversed(bench.tables.cutters)}
    portions = find_portions(trace, zero_height_mm=0.0, chord_tol_mm=0.001)
    sheet = shapely.box(0.0, 0.0, bench.layout.width_mm, bench.layout.height_mm)
    hold = bench.job.hold.bridge_height_mm
    return [
        sheet.difference(
            sweep_portions(portions, cutters=cutters, height_mm=height, side=Side.WITHIN, chord_tol_mm=0.001)
        )
        for height in (0.0, hold - 0.03, hold + 0.03)
    ]


def is_harmless(bench, trace, right):
    """Return whether the panels and what they hang on are left as by the right program.

    A bridge may be 0.05 mm shorter or 0.5 mm longer, and its flanks may lie elsewhere below its top.
    """
    left = find_solid(bench, trace)
    kerf = right[0].union(right[1]).difference(right[2])
    necks = right[1].intersection(kerf).buffer(bench.job.hold.bridge_length_mm + 3.0)
    panels = shapely.union_all(
        [shapely.Polygon(flatten(place_region(p).outer, chord_tol_mm=0.001)) for p in bench.layout.placements]
    )
    for height, (now, wanted) in enumerate(zip(left, right, strict=True)):
        changed = now.symmetric_difference(wanted)
        away = changed.difference(necks).buffer(-0.002)
        if away.intersects(panels.buffer(0.5)):
            return False
        if height == 1 and not (
            wanted.difference(now).intersection(necks).buffer(-0.03).is_empty
            and now.difference(wanted).intersection(necks).buffer(-0.25).is_empty
        ):
            return False
        counts = [sum(part.area > 0.5 for part in shapely.get_parts(solid)) for solid in (now, wanted)]
        if counts[0] != counts[1]:
            return False
    return True


def try_fault(bench, fault: Fault, *, place: int, right) -> str:
    lines = bench.text.splitlines()
    damaged = fault.change(lines, place)
    if damaged == lines:
        return "same text"
    trace = bench.read("\n".join(damaged) + "\n")
    verdict = bench.judge(trace=trace)
    codes = {finding.code for finding in verdict.findings}
    if not verdict.proven or (fault.warning and codes):
        return "right reason" if codes & fault.codes else f"wrong reason: {sorted(codes)}"
    return "harmless" if is_harmless(bench, trace, right) else "missed"


@pytest.fixture(scope="module")
def right(plate):
    return find_solid(plate, plate.read(plate.text))


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
def test_fault_in_the_plate(plate, right, fault):
    places = choose_places(fault.finds(plate.text.splitlines()), name=fault.name)
    assert places, "the fault finds no place"
    outcomes = {place + 1: try_fault(plate, fault, place=place, right=right) for place in places}
    print(fault.name, outcomes)
    assert not [line for line, outcome in outcomes.items() if outcome in ("missed", "same text")], outcomes
    assert not [line for line, outcome in outcomes.items() if outcome.startswith("wrong")], outcomes


def change_cutter(bench, **changes):
    cutters = tuple(replace(c, **changes) if c.tool == 26 else c for c in bench.tables.cutters)
    return replace(bench, tables=replace(bench.tables, cutters=cutters))


def weaken_spindle(bench):
    weak = tuple(
        replace(m, power_curve=tuple(replace(point, power_w=100.0) for point in m.power_curve))
        for m in bench.tables.machines
    )
    return replace(bench, tables=replace(bench.tables, machines=weak))


def change_hold(bench, **changes):
    return replace(bench, job=replace(bench.job, hold=replace(bench.job.hold, **changes)))


SETUPS = [
    ("cutter 0.05 mm larger", lambda b: change_cutter(b, diameter_mm=6.05), "panel-gouged"),
    ("cutter 0.05 mm smaller", lambda b: change_cutter(b, diameter_mm=5.95), "material-left"),
    ("flutes too short", lambda b: change_cutter(b, edge_length_mm=4.0), "edge-too-short"),
    ("collet too low", lambda b: change_cutter(b, stick_out_mm=4.0), "collet-in-stock"),
    ("four flutes", lambda b: change_cutter(b, flutes=4), "no-chip-load"),
    ("thicker sheet", lambda b: replace(b, layout=replace(b.layout, max_top_mm=5.0)), "rapid-in-material"),
    ("smaller sheet", lambda b: replace(b, layout=replace(b.layout, width_mm=230.0)), "sheet-edge-crossed"),
    ("corner rule of 6 mm", lambda b: replace(b, job=replace(b.job, corners=replace(b.job.corners, radius_mm=6.0))),
     "corner-too-tight"),
    ("taller bridges", lambda b: change_hold(b, bridge_height_mm=1.0), "bridge-thin"),
    ("more bridges", lambda b: change_hold(b, min_bridges=5), "bridge-missing"),
    ("longer bridges", lambda b: change_hold(b, bridge_length_mm=9.0), "bridge-short"),
    ("held by a skin", lambda b: change_hold(b, by=HoldKind.SKIN), "skin-missing"),
    ("bed not to be touched", lambda b: replace(
        b, job=replace(b.job, heights=replace(b.job.heights, into_bed_mm=0.0, max_into_bed_mm=0.2))), "bed-gouged"),
    ("weak spindle", weaken_spindle, "power-exceeded"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "change", "code"), SETUPS, ids=[name for name, _, _ in SETUPS])
def test_fault_in_the_set_up(plate, name, change, code):
    verdict = change(plate).judge()
    assert not verdict.proven
    assert code in {finding.code for finding in verdict.findings}
