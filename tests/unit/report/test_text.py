"""Words for the terminal."""

from cam.report.documents import ProgramEntry, lay_proof_document, name_cutters
from cam.report.text import write_findings, write_plan, write_verdict
from cam.report.verdict import CornersAsCut, Deviation, Verdict


def test_the_verdict_is_said_with_deviation_bound_and_time(faulty, timing):
    lines = write_verdict(faulty, program="a.ngc", timing=timing).splitlines()
    assert lines[0] == "a.ngc: NOT PROVEN"
    assert lines[1] == ("  deviation  deepest gouge 0.120 mm, most material left 0.005 mm, known to within 0.003 mm")
    assert lines[2].endswith("14 re-entrant corners, 4 opened to the rule's radius, the smallest cut at 4.800 mm")
    assert len(lines) == 5


def test_findings_come_errors_first_each_with_code_place_and_remedy(findings):
    text = write_findings(findings)
    order = [text.index(code) for code in ("gouge-found", "rapid-in-material", "tight-corner", "air-off")]
    assert order == sorted(order)
    assert "line 231: at (610.000, 24.000) mm: the cut goes 0.120 mm into the panel" in text
    assert "do: check the cutter's diameter" in text
    assert text.count("do: ") == 4  # the note has no remedy


def test_plan_rows_say_why(plan_rows):
    text = write_plan(plan_rows)
    assert "  1  hole 1: bore, cutter one-flute-6, 18000 rpm, 2052 mm/min (finishing 2700), 2 passes, 7.2 s" in text
    assert "     allowance: 0.3 mm\n     entry: helix of at most 3 degrees\n     held by: slug cleared" in text
    assert "  2  outline: rough and finish, cutter one-flute-6, 18000 rpm, 3420 mm/min, 4 passes\n" in text
    assert "     because: chip load 0.19 mm: materials row" in text


def test_a_document_of_several_programs_takes_the_worst_of_each(proven, faulty, trace, timing, cutter):
    entries = [
        ProgramEntry(
            path=name, controller="ngc", cutters=name_cutters(trace, cutters=(cutter,)), blocks=trace.lines,
            timing=timing, verdict=verdict,
        )
        for name, verdict in (("a", proven), ("b", faulty))
    ]  # fmt: skip
    document = lay_proof_document(entries, page=None)
    assert document["verdict"] == "not proven"
    assert [program["cutters"] for program in document["programs"]] == [["one-flute-6"]] * 2
    assert document["deviation_mm"]["gouge_max"] == 0.12
    assert document["corners"]["min_radius_mm"] == 4.8
    assert len(document["findings"]) == len(faulty.findings)


def test_nothing_made_is_nothing_proven():
    assert lay_proof_document([], page=None)["verdict"] == "not proven"


def test_a_verdict_without_corners_names_no_radius(timing):
    verdict = Verdict(
        findings=(),
        deviation=Deviation(gouge_max_mm=0.0, uncut_max_mm=0.0, bound_mm=0.003),
        corners=CornersAsCut(count=0, rounded=0, min_radius_mm=float("inf")),
    )
    assert "inf" not in write_verdict(verdict, program="a.ngc", timing=timing)


def test_cutters_without_a_row_keep_their_number(trace):
    assert name_cutters(trace, cutters=()) == ("T1",)
