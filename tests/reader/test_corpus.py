"""Programs with what must come of them beside each: the rules of NISTIR 6556, one file a rule.

A file of ``invalid/`` has a JSON file that names the section of the rule and every error that must be
found: code, line, column and a piece of the message. A file of ``valid/`` has one that names the moves.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from cam.backplot.interpret import interpret_program
from cam.backplot.read import read_program
from cam.backplot.trace import Kind, Trace
from cam.findings import Severity

HERE = Path(__file__).parent
INVALID = sorted(HERE.glob("invalid/*.ngc"))
VALID = sorted(HERE.glob("valid/*.ngc"))
assert INVALID
assert VALID

PAGES = HERE.parents[1] / "cam" / "explanations"


def expectation(program: Path) -> dict:
    return json.loads(program.with_suffix(".json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("program", INVALID, ids=lambda path: path.stem)
def test_every_error_is_found_in_its_place(program, ngc):
    expected = expectation(program)["findings"]
    assert expected
    trace = interpret_program(read_program(program), controller=ngc, file=program.name)
    errors = [finding for finding in trace.findings if finding.severity is Severity.ERROR]
    places = [(finding.code, finding.origin.line, finding.origin.column) for finding in errors]
    assert places == [(one["code"], one["line"], one["column"]) for one in expected]
    for finding, one in zip(errors, expected, strict=True):
        assert one["word"] in finding.message
        assert finding.remedy
        assert finding.origin.file == program.name
        assert (PAGES / f"{finding.code}.md").read_text(encoding="utf-8").startswith(f"# {finding.code}\n")


def interpret_as_expected(program: Path, expected: dict, controller) -> Trace:
    numbered = {
        name: {int(number): value for number, value in expected[name].items()} if name in expected else None
        for name in ("parameters", "lengths")
    }
    return interpret_program(
        read_program(program),
        controller=controller,
        parameters=numbered["parameters"],
        tool_lengths_mm=numbered["lengths"],
        block_delete=expected.get("block_delete", False),
    )


@pytest.mark.parametrize("program", VALID, ids=lambda path: path.stem)
def test_moves_are_those_of_the_document(program, ngc):
    expected = expectation(program)
    trace = interpret_as_expected(program, expected, ngc)
    assert [finding.code for finding in trace.findings] == expected.get("warnings", [])
    rows = expected["rows"]
    assert rows
    assert [[int(line), Kind(kind).name] for line, kind in zip(trace.line, trace.kind, strict=True)] == [
        [row["line"], row["kind"]] for row in rows
    ]
    for index, row in enumerate(rows):
        for name in row.keys() - {"line", "kind"}:
            found = getattr(trace, name)[index]
            assert found == pytest.approx(row[name], rel=1e-12, abs=1e-9), (row["line"], name)
    for name in ("messages", "comments"):
        if name in expected:
            assert [list(pair) for pair in getattr(trace, name)] == expected[name]


@pytest.mark.parametrize("program", VALID, ids=lambda path: path.stem)
def test_moves_hang_together(program, ngc):
    """Each move starts where the last one ended; a change of tool, which moves the tip, apart."""
    trace = interpret_as_expected(program, expectation(program), ngc)
    joined = trace.start_known[:-1] & trace.start_known[1:] & (trace.length_offset[:-1] == trace.length_offset[1:])
    joined &= trace.tool[:-1] == trace.tool[1:]
    assert np.allclose(trace.end_mm[:-1][joined], trace.start_mm[1:][joined], rtol=0.0, atol=1e-9)
    still = np.isin(trace.kind, [Kind.RAPID, Kind.LINE, Kind.ARC], invert=True)
    assert (trace.start_mm[still] == trace.end_mm[still]).all()
