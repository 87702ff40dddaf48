import pytest

from cam.backplot.interpret import interpret_program


def test_a_trace_made_by_hand_has_plain_modes(write_trace):
    trace = write_trace(rpm=-900.0).line(x=1.0).spindle(0.0).rapid(z=3.0).trace()
    assert trace.turning.tolist() == [-1, 0, 0]
    assert trace.units.tolist() == [21, 21, 21]
    assert trace.distance_mode.tolist() == [90, 90, 90]
    assert trace.stop.tolist() == [-1, -1, -1]
    assert trace.start_known.all()
    with pytest.raises(ValueError, match="read-only"):
        trace.units[0] = 20


def test_an_empty_trace(write_trace):
    trace = write_trace().trace()
    assert len(trace) == len(trace.units) == len(trace.turning) == 0


def test_a_trace_read_from_text_has_the_types_of_the_columns(ngc):
    trace = interpret_program("G21 G90\nG0 X0 Y0 Z1\nM2\n", controller=ngc)
    empty = interpret_program("", controller=ngc)
    for name, kind in {
        "kind": "int8",
        "line": "int64",
        "end_mm": "float64",
        "plane": "int8",
        "tool": "int64",
        "air": "bool",
        "motion": "int16",
        "length_offset": "int32",
        "start_known": "bool",
    }.items():
        assert getattr(trace, name).dtype == getattr(empty, name).dtype == kind, name
    assert trace.end_mm.shape == (2, 3)
    assert empty.end_mm.shape == (0, 3)
