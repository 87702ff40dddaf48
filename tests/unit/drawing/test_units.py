"""Units as evidence: what the file states, the sheet, the expected size and plausible sizes, weighed."""

from __future__ import annotations

import ezdxf
import pytest

from cam.drawing.read import read_drawing
from cam.drawing.units import SizeEvidence
from cam.errors import DrawingRefused

SHEET = (2440.0, 1220.0)


@pytest.fixture
def weigh(tmp_path):
    """Return a function that reads a rectangle of a file that states things; the unit or the refusal's finding."""

    def do(width, height, *, stated=None, metric=None, sheet=None, expect=None, units=None):
        document = ezdxf.new("R2010", units=stated or 0)
        document.modelspace().add_lwpolyline([(0, 0), (width, 0), (width, height), (0, height)], close=True)
        path = tmp_path / "a.dxf"
        document.saveas(path)
        lines = path.read_text().splitlines()
        system = lines.index("$MEASUREMENT")
        if metric is None:
            lines = lines[: system - 1] + lines[system + 3 :]
        else:
            lines[system + 2] = str(int(metric))
        path.write_text("\n".join(lines) + "\n")
        try:
            drawing = read_drawing(path, units=units, evidence=SizeEvidence(sheet_mm=sheet, expect_mm=expect))
        except DrawingRefused as refusal:
            (finding,) = refusal.findings
            assert "--units" in finding.remedy
            return finding.code, finding.message
        return drawing.units, [finding.code for finding in drawing.findings]

    return do


MM, INCH, METRE, FOOT, KM = 4, 1, 6, 2, 7


@pytest.mark.parametrize(
    ("what", "unit"),
    [
        ({"width": 600, "height": 400, "stated": MM}, "mm"),
        ({"width": 600, "height": 400, "stated": MM, "metric": True}, "mm"),
        ({"width": 24, "height": 16, "stated": INCH}, "in"),
        ({"width": 24, "height": 16, "stated": INCH, "metric": False, "sheet": SHEET}, "in"),
        ({"width": 0.6, "height": 0.4, "stated": METRE}, "m"),
        # larger than the sheet, but no other unit makes it fit: the layout's business, not the unit's
        ({"width": 2600, "height": 1300, "stated": MM, "sheet": SHEET}, "mm"),
        # the job's word settles what would be doubtful
        ({"width": 86, "height": 146, "stated": INCH, "sheet": (3050, 4000), "expect": (2184.4, 3708.4)}, "in"),
        ({"width": 24, "height": 16, "stated": INCH, "metric": True, "expect": (609.6, 406.4)}, "in"),
        # across the sheet is as good as along it
        ({"width": 40, "height": 90, "stated": INCH, "sheet": SHEET}, "in"),
    ],
)
def test_a_unit_that_nothing_speaks_against(weigh, what, unit):
    assert weigh(**what) == (unit, [])


def test_a_system_that_the_sizes_settle_is_a_note(weigh):
    """600 x 400 inches is no panel: the unit stands, and the contradiction is said."""
    assert weigh(600, 400, stated=MM, metric=False) == ("mm", ["units-contradicted"])
    assert weigh(4, 3, stated=INCH, metric=True, sheet=SHEET)[0] == "units-contradicted"  # 40 x 30 mm in cm
    assert weigh(0.4, 0.3, stated=FOOT, metric=True, sheet=(90, 90))[0] == "units-doubtful"


@pytest.mark.parametrize(
    ("what", "code", "said"),
    [
        ({"stated": None}, "no-units", ["mm: 24 x 16 mm", "cm: 240 x 160 mm", "in: 609.6 x 406.4 mm"]),
        ({"stated": None, "metric": True}, "no-units", ["only that they are metric"]),
        ({"stated": None, "sheet": (600, 400)}, "no-units", ["in: 609.6 x 406.4 mm (larger than the sheet)"]),
        ({"stated": None, "expect": (609.6, 406.4)}, "no-units", ["in: 609.6 x 406.4 mm (as the job expects)"]),
        ({"stated": MM, "expect": (240, 160)}, "units-doubtful", ["240 x 160 mm, which it is in cm"]),
        ({"stated": MM, "expect": (609.6, 406.4)}, "units-doubtful", ["which it is in in", "mm: 24 x 16 mm"]),
        ({"stated": INCH, "sheet": (600, 400)}, "units-doubtful", ["larger than the sheet", "cm: 240 x 160 mm"]),
        ({"stated": METRE}, "units-doubtful", ["24000 x 16000 mm", "in: 609.6 x 406.4 mm"]),
        ({"stated": KM}, "units-doubtful", ["km, in which no panel is drawn", "mm: 24 x 16 mm"]),
        ({"stated": INCH, "metric": True}, "units-contradicted", ["metric", "609.6 x 406.4 mm", "mm: 24 x 16 mm"]),
        ({"stated": MM, "metric": False}, "units-contradicted", ["imperial", "in: 609.6 x 406.4 mm"]),
    ],
)  # fmt: skip
def test_what_speaks_against_it_is_refused_with_the_candidates(weigh, what, code, said):
    refused, message = weigh(24, 16, **what)
    assert refused == code
    for words in said:
        assert words in message


def test_millimetres_in_a_drawing_that_says_inches(weigh):
    """86 x 146 inches would still be shorter than some sheets are long; the largest sheet takes no such panel."""
    assert weigh(86, 146, stated=INCH)[0] == "units-doubtful"
    assert weigh(1600, 400, stated=INCH)[0] == "units-doubtful"


@pytest.mark.parametrize(
    "what", [{"stated": None}, {"stated": METRE}, {"stated": INCH, "metric": True}, {"stated": KM}]
)
def test_the_user_settles_it(weigh, what):
    unit, codes = weigh(24, 16, units="in", **what)
    assert unit == "in"
    assert codes == ([] if what["stated"] in (None, INCH) else ["units-overridden"])


def test_the_job_speaks_too(tmp_path):
    """Through the pipeline: the sheet of the job and the size that it expects reach the reader."""
    from cam import pipeline  # noqa: PLC0415
    from cam.tables.job import PanelEntry  # noqa: PLC0415
    from cam.tables.read import read_tables  # noqa: PLC0415
    from cam.tables.read_job import default_job  # noqa: PLC0415

    document = ezdxf.new("R2010", units=INCH)
    document.header["$MEASUREMENT"] = 0
    document.modelspace().add_lwpolyline([(0, 0), (60, 0), (60, 50), (0, 50)], close=True)
    path = tmp_path / "a.dxf"
    document.saveas(path)
    for changes, code in (({}, "units-doubtful"), ({"expect_size_mm": (60, 50)}, "units-doubtful")):
        job = default_job(path, panels=(PanelEntry(drawing=path, **changes),), sheet="cast-4-2440x1220")
        with pytest.raises(DrawingRefused) as refusal:
            pipeline.make_job(job, tables=read_tables())
        assert refusal.value.findings[0].code == code
        assert "mm: 60 x 50 mm" in refusal.value.findings[0].message


def test_metres_that_put_the_part_beyond_any_drawing(tmp_path):
    """A site's grid in millimetres, in a file that says metres: the message names the unit as the likely cause."""
    document = ezdxf.new("R2010", units=METRE)
    document.modelspace().add_lwpolyline([(1e6, 0), (1e6 + 600, 0), (1e6 + 600, 400)], close=True)
    path = tmp_path / "a.dxf"
    document.saveas(path)
    with pytest.raises(DrawingRefused) as refusal:
        read_drawing(path)
    (finding,) = refusal.value.findings
    assert finding.code == "coordinates-too-large"
    assert "--units, if it is not m, as the file says" in finding.remedy
    assert len(read_drawing(path, units="mm").loops) == 1
