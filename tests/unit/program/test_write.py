"""The program as a whole: what frames the cuts, and in which order the machine is told."""

import re
from dataclasses import replace

import pytest

from cam.errors import ProgramRefused
from cam.geometry.contour import circle
from cam.motion.lay_moves import lay_moves
from cam.plan.workingstep import Operation, Plan
from cam.program.write import Heading, emit_files, format_program

HEADING = Heading(
    title="Shelf (left)",
    panels=("shelf, face up",),
    sheet="cast-4, 600 x 400 mm",
    thickness="4 mm",
    zero="on the bed",
    zero_mm=0.0,
    rapid_mm=14.8,
    work_offset="G55",
    air=True,
    spin_up_s=5.0,
)


@pytest.fixture
def write(make_step, find_row):
    def do(*cutters, heading=HEADING, controller=None, rpm=None):
        steps = []
        for number, cutter in enumerate(cutters, start=1):
            wall = circle((50.0 * number, 40.0), radius_mm=12.0)
            step = make_step(wall, Operation.BORE, cutter=cutter, number=number)
            if rpm:
                step = replace(step, rough=replace(step.rough, spindle_rpm=rpm[number - 1]))
            steps.append(step)
        plan = Plan(workingsteps=tuple(steps), rapid_mm=14.8, air_mm=5.3, top_mm=4.8)
        controller = controller or find_row("ngc")
        (file,) = emit_files(lay_moves(plan), heading=heading, controller=controller)
        return format_program(file.lines, controller=controller).splitlines()

    return do


def find(lines, pattern):
    return [i for i, line in enumerate(lines) if re.fullmatch(pattern, line)]


def test_the_order_of_one_cutter(write):
    lines = write("o1-6-up")
    (units,), (offset,) = find(lines, "G21 G90 G17 G40 G49 G80.*"), find(lines, "G55")
    (change,), (start,) = find(lines, "T26 M6"), find(lines, "S18000 M3")
    (dwell,), (air,) = find(lines, "G4 P5"), find(lines, "M7")
    (air_off,), (stop,), (end,) = find(lines, "M9"), find(lines, "M5"), find(lines, "M2")
    assert units < offset < change < start
    assert (dwell, air) == (start + 1, start + 2)
    assert (air_off, stop, end) == (len(lines) - 3, len(lines) - 2, len(lines) - 1)
    motion = [line for line in lines if re.match(r"G[0-3] |[XYZ]", line)]
    assert motion[0] == "G0 Z14.8", "nothing is known of where the cutter stands: up before across"
    assert re.fullmatch(r"G0 X\S+ Y\S+", motion[1])
    # at the height of travel before air and spindle stop
    assert motion[-1] == "G0 Z14.8"


def test_stops_stand_alone(write):
    # M words act before the motion of their line (NISTIR 6556, section 3.8)
    for line in write("o1-6-up", "o1-4-up"):
        assert not (re.search(r"\bM[0-9]+", line) and re.search(r"[XYZ]-?[0-9]", line)), line


def test_a_second_cutter_is_changed_at_the_height_of_travel_with_the_spindle_stopped(write):
    lines = write("o1-6-up", "o1-4-up")
    (change,) = find(lines, "T24 M6")
    before, after = lines[:change], lines[change:]
    assert [line for line in before if not line.startswith("(")][-2:] == ["M9", "M5"]
    assert [line for line in before if re.match(r"(G0 )?Z", line)][-1] == "G0 Z14.8"
    motion = [line for line in after if re.match(r"G[0-3] |[XYZ]", line)]
    assert motion[0] == "G0 Z14.8" and motion[1].startswith("G0 X")
    (start,) = find(after, "S18000 M3")
    assert after[start + 1] == "G4 P5"


def test_one_cutter_is_changed_once(write):
    lines = write("o1-6-up", "o1-6-up")
    assert len(find(lines, "T26 M6")) == len(find(lines, "S18000 M3")) == 1


def test_another_speed_of_the_same_cutter_is_said(write):
    # at the height of travel, and the spindle is given its time
    lines = write("o1-6-up", "o1-6-up", rpm=(18000.0, 15000.0))
    (said,) = find(lines, "S15000( M3)?")
    assert lines[said + 1] == "G4 P5"
    heights = [line for line in lines[:said] if re.match(r"(G0 )?Z", line)]
    assert heights[-1] == "G0 Z14.8"
    motion = [line for line in lines[said + 1 :] if re.match(r"G[0-3] |[XYZ]", line)]
    assert motion[0].startswith(("G0 X", "X", "G0 Z14.8"))


def test_lines_fit_and_hold_nothing_a_controller_could_mistake(write):
    heading = replace(HEADING, title="W(a)nd; \u00fc " + "x" * 400)
    lines = write("o1-6-up", heading=heading)
    assert max(map(len, lines)) <= 256
    for line in lines:
        assert line.isascii() and line.isprintable()
        if line.startswith("("):
            assert line.endswith(")") and not set("()") & set(line[1:-1])
            continue
        for number in re.findall(r"[A-Z]([^A-Z ]+)", line):
            assert re.fullmatch(r"-?[0-9]+(\.[0-9]{1,4})?", number), line
            assert number != "-0" and not number.startswith("-0.0000")
        if re.search(r"[IJ]", line):
            assert re.search(r"X\S+ Y\S+", line), "arcs name both X and Y"


def test_the_heading_says_what_the_machinist_must_know(write):
    text = "\n".join(write("o1-6-up", "o1-4-up"))
    for words in ("Shelf [left]", "shelf, face up", "cast-4", "T26 o1-6-up, 6 mm", "T24 o1-4-up", "Z0 on the bed"):
        assert words in text


def test_zero_on_the_top_moves_every_height(write):
    bed, top = write("o1-6-up"), write("o1-6-up", heading=replace(HEADING, zero_mm=4.8))

    def heights(lines):
        return [float(z) for line in lines if not line.startswith("(") for z in re.findall(r"Z(\S+)", line)]

    assert heights(top) == pytest.approx([z - 4.8 for z in heights(bed)], abs=1.01e-4)


def test_air_only_where_asked(write):
    lines = write("o1-6-up", heading=replace(HEADING, air=False))
    assert not find(lines, "M7") and not find(lines, "M9")


def test_a_header_longer_than_the_controller_takes_is_refused(write, find_row):
    ngc = find_row("ngc")
    long = replace(ngc, format=replace(ngc.format, header=("G21 " * 100,)))
    with pytest.raises(ProgramRefused) as caught:
        write("o1-6-up", controller=long)
    assert caught.value.findings[0].code == "block-too-long"


def test_numbered_blocks_and_percent_signs(write, find_row):
    ngc = find_row("ngc")
    style = replace(ngc, format=replace(ngc.format, block_numbers=True, percent_signs=True))
    lines = write("o1-6-up", controller=style)
    assert lines[0] == lines[-1] == "%"
    assert [line.split(" ")[0] for line in lines[1:4]] == ["N10", "N20", "N30"]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"dwell_units": "ms"}, "G4 P5000"),
        ({"work_offsets": ("G54",)}, None),
    ],
)
def test_a_controller_that_lacks_something_is_obeyed_or_refused(write, find_row, changes, words):
    ngc = find_row("ngc")
    other = replace(ngc, facts=replace(ngc.facts, **changes))
    if words:
        assert words in write("o1-6-up", "o1-4-up", controller=other)
        return
    with pytest.raises(ProgramRefused) as caught:
        write("o1-6-up", "o1-4-up", controller=other)
    assert caught.value.findings[0].code == "controller-lacks"
