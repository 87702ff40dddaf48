from dataclasses import replace

import numpy as np
import pytest

from cam.backplot import cycles, plain
from cam.backplot.interpret import interpret_program, split_lines
from cam.backplot.trace import Kind
from cam.findings import Severity
from cam.tables.rows import ArcForm, CommentForm, ControllerLimits, ToolChange

HEAD = "G21 G90 G17 G94 F9\nG0 X0 Y0 Z5\n"


def found(text, controller, *, head=HEAD, tail="M2\n", **options):
    trace = interpret_program(head + text + "\n" + tail, controller=controller, **options)
    return [(finding.code, finding.origin.line, finding.origin.column) for finding in trace.findings]


def changed(controller, **facts):
    return replace(controller, facts=replace(controller.facts, **facts))


def test_lines_end_as_the_document_says_and_nowhere_else():
    assert split_lines("a\r\nb\nc\rd") == ["a", "b", "c", "d"]
    assert split_lines("a\u2028b\x0bc\x85d\n") == ["a\u2028b\x0bc\x85d"]
    assert split_lines("") == []
    assert split_lines("\n\n") == ["", ""]


def test_every_line_is_counted(ngc):
    trace = interpret_program("G21 G90\nG0 X0 Y0 Z1\n\nM2\n", controller=ngc)
    assert (trace.lines, trace.lines_read) == (4, 4)
    assert trace.line.tolist() == [2, 4]


def test_arrays_are_write_protected(ngc):
    trace = interpret_program(HEAD + "G1 X1\nM2\n", controller=ngc)
    for name in ("kind", "end_mm", "start_known", "motion", "turning"):
        with pytest.raises(ValueError, match="read-only"):
            getattr(trace, name)[0] = 0


def test_an_empty_text(ngc):
    trace = interpret_program("", controller=ngc)
    assert len(trace) == 0
    assert [finding.code for finding in trace.findings] == ["program-end-missing"]


def test_findings_stop_at_the_largest_number(ngc):
    trace = interpret_program(HEAD + "G5\n" * 150 + "M2\n", controller=ngc)
    errors = [finding for finding in trace.findings if finding.severity is Severity.ERROR]
    assert len(errors) == 100
    assert (trace.findings[-1].code, trace.findings[-1].severity) == ("too-many-findings", Severity.NOTE)
    assert trace.findings[-1].origin.line == 103
    assert "102" not in trace.findings[-1].message
    trace = interpret_program(HEAD + "G5\n" * 100 + "M2\n", controller=ngc)
    assert len(trace.findings) == 100
    assert trace.lines_read == 103
    assert found("G5\n" * 9, ngc, max_findings=2)[-1] == ("too-many-findings", 5, None)


def test_errors_are_in_the_order_of_their_lines(ngc):
    places = found("G5\nG1 X1 X2\nM99\nG0 X(", ngc)
    assert [line for _, line, _ in places] == [3, 4, 5, 6]


def test_a_faulty_block_makes_no_row_and_is_not_reported_twice(ngc):
    text = "G1 X10 Q5\nG2 X20 Y0 I5 J0\nG1 X30 Y1.2.3\nG0 Z9\n"
    trace = interpret_program(HEAD + text + "M2\n", controller=ngc)
    assert [finding.code for finding in trace.findings] == ["word-without-use", "number-malformed"]
    assert trace.line.tolist() == [2, 4, 6, 7]
    assert trace.start_mm[1].tolist() == [10.0, 0.0, 5.0]


# the controller's row


@pytest.mark.parametrize(
    ("facts", "line", "code", "column"),
    [
        ({"canned_cycles": ("G81",)}, "G99 G83 X1 Z-1 R1 Q1", "controller-lacks", 5),
        ({"canned_cycles": ()}, "G99 G81 X1 Z-1 R1", "controller-lacks", 5),
        ({"path_words": ("G64",)}, "G61.1", "controller-lacks", 1),
        ({"work_offsets": ("G54", "G55")}, "G0 X1 G59.1", "controller-lacks", 7),
        ({"lacks": ("G92",)}, "G92 X1", "controller-lacks", 1),
        ({"lacks": ("M60",)}, "M60", "controller-lacks", 1),
        ({"lacks": ("H",)}, "G43 H1", "controller-lacks", 5),
        ({"lacks": ("#",)}, "G0 X#1", "controller-lacks", 5),
        ({"lacks": ("[",)}, "G0 X[1+2]", "controller-lacks", 5),
        ({"lacks": ("/",)}, "/G0 X1", "controller-lacks", 1),
        ({"comment_form": CommentForm.NONE}, "G0 X1 (right)", "controller-lacks", 7),
        ({"comment_form": CommentForm.NONE}, "(only words)", "controller-lacks", 1),
        ({"tool_change": ToolChange.FILE}, "T1 M6", "controller-lacks", 4),
        ({"spindle_speed_word": False}, "M3 S1000", "controller-lacks", 4),
        ({"arcs": ArcForm.NONE}, "G2 X10 I5", "arc-form-refused", 8),
        ({"arcs": ArcForm.RADIUS}, "G2 X10 I5", "arc-form-refused", 8),
        ({"lacks": ("G2 R",)}, "G2 X10 R5", "arc-form-refused", 8),
        ({"helical_arcs": False}, "G2 X10 Z4 I5", "helix-refused", 8),
        ({"quadrant_arcs": True}, "G2 X10 I5", "quadrant-crossed", 8),
        ({"max_arc_radius_mm": 4.0}, "G2 X10 I5", "arc-too-large", 8),
        ({"arc_tol_mm": 0.001}, "G2 X10.0015 I5", "arc-radius-mismatch", 13),
        ({"max_block_length": 20}, "G0 X1.0000 Y1.0000 Z5", "block-too-long", 21),
        ({"max_block_length": 21}, "G0 X1.0000 Y1.0000 Z5 ", "block-too-long", 22),
    ],
)
def test_what_the_controller_lacks_is_an_error(ngc, facts, line, code, column):
    assert found(line, ngc) == []
    assert found(line, changed(ngc, **facts)) == [(code, 3, column)]


def test_percent_signs_that_the_controller_lacks(ngc):
    assert found("G0 X1\n%", ngc, head="%\n" + HEAD, tail="") == []
    assert found("G0 X1\n%", changed(ngc, lacks=("%",)), head="%\n" + HEAD, tail="") == [("controller-lacks", 1, 1)]


def test_a_unit_word_of_another_language(ngc):
    other = changed(ngc, inch_word="G70", mm_word="G71")
    assert found("G20", other, head="G71 G90\nG0 X0 Y0 Z1\n") == [("unknown-word", 3, 1)]


def test_what_the_controller_has_is_no_error(ngc):
    assert found("G2 X10 R5", changed(ngc, arcs=ArcForm.RADIUS)) == []
    assert found("G2 X5 Y5 I5", changed(ngc, quadrant_arcs=True)) == []
    assert found("G71 G1 X1 G70", changed(ngc, inch_word="G70", mm_word="G71"), head="G71 G90 F9\nG0 X0 Y0 Z1\n") == [
        ("modal-conflict", 3, 11)
    ]


def test_other_unit_words(ngc):
    other = changed(ngc, inch_word="G70", mm_word="G71", units="inch")
    trace = interpret_program("G90 G70\nG0 X1 Y1 Z1\nG71 X1\nM2\n", controller=other)
    assert trace.findings == ()
    assert trace.end_mm[:2, 0].tolist() == [25.4, 1.0]
    assert trace.units[:2].tolist() == [20, 21]


def test_units_that_are_not_stated_are_those_of_the_row(ngc):
    trace = interpret_program("G90\nG0 X1 Y1 Z1\nM2\n", controller=changed(ngc, units="inch"))
    assert [finding.code for finding in trace.findings] == ["units-not-stated"]
    assert trace.end_mm[0].tolist() == [25.4, 25.4, 25.4]


def test_dwell_in_milliseconds(ngc):
    trace = interpret_program(
        HEAD + "G4 P1500\nG99 G82 X1 Z-1 R1 P250\nM2\n", controller=changed(ngc, dwell_units="ms")
    )
    assert trace.duration_s[trace.kind == Kind.DWELL].tolist() == [1.5, 0.25]


def test_air_words_of_its_own(ngc):
    other = changed(ngc, air_on_word="M62", air_off_word="M63")
    trace = interpret_program(HEAD + "M62\nM63\nM2\n", controller=other)
    assert trace.findings == ()
    assert trace.air[trace.kind == Kind.AIR].tolist() == [True, False]
    assert found("M62", ngc) == [("unknown-word", 3, 1)]


def test_without_tool_change_t_names_the_tool(ngc):
    trace = interpret_program(HEAD + "T7\nG0 X1\nM2\n", controller=changed(ngc, tool_change=ToolChange.STOP))
    assert trace.findings == ()
    assert trace.tool.tolist() == [0, 7, 7]


def test_without_speed_word_the_spindle_still_turns(ngc):
    trace = interpret_program(HEAD + "M3\nG1 X1\nM5\nM2\n", controller=changed(ngc, spindle_speed_word=False))
    assert trace.findings == ()
    assert trace.turning.tolist() == [0, 1, 1, 0, 0]
    assert not trace.spindle_rpm.any()


LIMITS = ControllerLimits(max_feed_mm_per_min=1000.0, max_rpm=20000.0, max_coordinate_mm=500.0)


@pytest.mark.parametrize(
    ("line", "column"),
    [
        ("G0 X500.1", 4),
        ("G91 G0 Y-501", 8),
        ("G1 X1 F1001", 7),
        ("S20001", 1),
        ("G20 G1 X1 F40", 11),
        ("G93 G1 X10 F101", 12),
        ("G20 F10 G0 X20", 12),
        ("G99 G81 X1 Z-1 R501", 5),
    ],
)
def test_the_largest_numbers(ngc, line, column):
    assert found(line, replace(ngc, limits=LIMITS)) == [("controller-limit", 3, column)]


def test_the_largest_numbers_themselves_are_taken(ngc):
    assert found("G0 X500 Y-500\nG1 X0 F1000 S20000\nG93 X10 F100", replace(ngc, limits=LIMITS)) == []


def test_a_feed_becomes_too_large_by_a_unit_word(ngc):
    assert found("G1 X1 F900\nG20", replace(ngc, limits=LIMITS)) == [("controller-limit", 4, 1)]


def test_cycles_stop_before_they_fill_the_memory(ngc, monkeypatch):
    monkeypatch.setattr(cycles, "MAX_ROWS", 10)
    assert found("G99 G81 X1 Z-1 R1\nX2\nX3\nX4\nX5", ngc) == [("cycle-too-long", 6, 1), ("cycle-too-long", 7, 1)]


# runs of plain lines


def run_both(text, controller, monkeypatch):
    whole = interpret_program(text, controller=controller)
    monkeypatch.setattr(plain, "SHORTEST_RUN", 10**9)
    return whole, interpret_program(text, controller=controller)


@pytest.mark.parametrize(
    "bad", ["X1.2.3", "G2 X1", "G1 X1 I5", "G5 X1", "X1e5", "G1 X99999", "F0 X3\nX4", "G2 X1 R0.1", ""]
)
@pytest.mark.parametrize("place", [0, 1, 13, 59])
def test_a_fault_among_plain_lines(ngc, monkeypatch, bad, place):
    lines = [f"G1 X{number}.5 Y{number % 7}" for number in range(60)]
    lines.insert(place, bad)
    text = HEAD + "\n".join(lines) + "\nM2\n"
    together, by_line = run_both(text, ngc, monkeypatch)
    assert together.findings == by_line.findings
    assert (bad == "") == (not together.findings)
    for name in ("line", "kind", "start_mm", "end_mm", "feed_mm_per_min", "motion"):
        assert getattr(together, name).tobytes() == getattr(by_line, name).tobytes()


def test_plain_lines_keep_their_comments_and_numbers(ngc):
    text = HEAD + "".join(f"N{n} G1 X{n} (at {n})\n(MSG,{n})\n\n" for n in range(40)) + "M2\n"
    trace = interpret_program(text, controller=ngc)
    assert trace.comments[:2] == ((3, "at 0"), (4, "MSG,0"))
    assert len(trace.comments) == 80
    assert trace.messages == tuple((4 + 3 * n, str(n)) for n in range(40))
    assert np.array_equal(trace.line[1:-1], 3 + 3 * np.arange(40))


def test_many_lines_that_stop_runs_take_no_longer_than_lines(ngc):
    """Tiny half circles are decided one by one only where something is to be said of them."""
    lines = [f"G3 X{0.001 if n % 2 == 0 else 0} Y0 I{0.0005 if n % 2 == 0 else -0.0005}" for n in range(5000)]
    trace = interpret_program(HEAD + "\n".join(lines) + "\nM2\n", controller=ngc)
    assert trace.findings == ()
    assert len(trace) == 5002
