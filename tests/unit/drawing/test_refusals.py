"""What cannot be read at all: one clear message each, with file, place, reason and remedy."""

from __future__ import annotations

import os

import ezdxf
import pytest

from cam.drawing.read import read_drawing
from cam.errors import DrawingRefused, FileRefused, Refusal

SQUARE = [(0, 0), (100, 0), (100, 100), (0, 100)]
PNG_START = b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00\x00\x01\x00\x00\x00\x01\x08\x06\x00\x00\x00\x1f\x15\xc4\x89"


def refuse(path, kind=DrawingRefused, **how):
    with pytest.raises(kind) as refusal:
        read_drawing(path, **how)
    (finding,) = refusal.value.findings
    assert refusal.value.exit_code == 2
    assert finding.origin.file == str(path)
    assert finding.remedy
    assert str(path) in str(refusal.value)
    return finding


@pytest.fixture
def square(tmp_path):
    document = ezdxf.new("R2010", units=4)
    document.modelspace().add_lwpolyline(SQUARE, close=True)
    path = tmp_path / "square.dxf"
    document.saveas(path)
    return path


def test_no_such_file(tmp_path):
    assert refuse(tmp_path / "none.dxf", FileRefused).code == "no-such-file"


def test_a_folder(tmp_path):
    assert refuse(tmp_path, FileRefused).code == "not-a-file"


@pytest.mark.parametrize("content", [b"", b"\n \r\n"])
def test_an_empty_file(tmp_path, content):
    path = tmp_path / "empty.dxf"
    path.write_bytes(content)
    assert refuse(path, FileRefused).code == "empty-file"


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the superuser may read everything")
def test_a_file_that_may_not_be_read(square):
    square.chmod(0)
    assert refuse(square, FileRefused).code == "unreadable-file"


def test_a_name_that_no_file_has(tmp_path):
    assert refuse(tmp_path / ("x" * 300), FileRefused).code in ("no-such-file", "unreadable-file")


@pytest.mark.parametrize(
    "content",
    [PNG_START, b"%PDF-1.7\n1 0 obj\n", b"hello\n" * 20, b"<svg></svg>", b"\x00" * 1000, b"PK\x03\x04" + b"x" * 300],
)
def test_another_kind_of_file(tmp_path, content):
    path = tmp_path / "picture.dxf"
    path.write_bytes(content)
    assert refuse(path).code == "not-a-drawing"


@pytest.mark.parametrize("share", [0.2, 0.5, 0.9, 0.999])
@pytest.mark.parametrize("binary", [False, True])
def test_a_truncated_drawing(square, share, binary):
    if binary:
        ezdxf.readfile(square).saveas(square, fmt="bin")
    data = square.read_bytes()
    square.write_bytes(data[: int(len(data) * share)])
    assert refuse(square).code == "truncated-drawing"


def test_a_drawing_without_units_names_the_candidates(tmp_path):
    document = ezdxf.new("R2010", units=0)
    document.modelspace().add_lwpolyline([(0, 0), (24, 0), (24, 12), (0, 12)], close=True)
    document.saveas(tmp_path / "a.dxf")
    finding = refuse(tmp_path / "a.dxf")
    assert finding.code == "no-units"
    assert "mm: 24 x 12 mm; cm: 240 x 120 mm; in: 609.6 x 304.8 mm" in finding.message
    assert "--units" in finding.remedy


def test_a_header_without_the_unit_is_not_metres(tmp_path):
    path = tmp_path / "a.dxf"
    document = ezdxf.new("R2010", units=6)
    document.modelspace().add_lwpolyline(SQUARE, close=True)
    document.saveas(path)
    lines = path.read_text().splitlines()
    at = lines.index("$INSUNITS")
    path.write_text("\n".join(lines[: at - 1] + lines[at + 3 :]) + "\n")
    assert refuse(path).code == "no-units"


@pytest.mark.parametrize("stated", [6, 1, 2])
def test_a_stated_unit_that_makes_no_panel(tmp_path, stated):
    document = ezdxf.new("R2010", units=stated)
    document.modelspace().add_lwpolyline([(0, 0), (1600, 0), (1600, 400), (0, 400)], close=True)
    document.saveas(tmp_path / "a.dxf")
    finding = refuse(tmp_path / "a.dxf")
    assert finding.code == "units-doubtful"
    assert "mm: 1600 x 400 mm" in finding.message
    assert len(read_drawing(tmp_path / "a.dxf", units="mm").loops) == 1


def test_unknown_units(square):
    finding = refuse(square, units="furlong")
    assert finding.code == "unknown-unit"
    assert "mm, cm" in finding.message


@pytest.mark.parametrize("number", ["1e12", "nan", "inf", "-1e308", "1e400"])
@pytest.mark.parametrize("kind", ["LINE", "CIRCLE", "ARC", "LWPOLYLINE", "ELLIPSE", "SPLINE", "INSERT", "POLYLINE"])
def test_numbers_that_no_drawing_holds(tmp_path, number, kind):
    """The number replaces 77.25 in the file's text, whatever the entity uses it for."""
    document = ezdxf.new("R2010", units=4)
    space = document.modelspace()
    space.add_lwpolyline(SQUARE, close=True)
    block = document.blocks.new("B")
    block.add_circle((0, 0), 3)
    draw = {
        "LINE": lambda: space.add_line((77.25, 0), (5, 5)),
        "CIRCLE": lambda: space.add_circle((5, 5), 77.25),
        "ARC": lambda: space.add_arc((5, 77.25), 10, 0, 90),
        "LWPOLYLINE": lambda: space.add_lwpolyline([(0, 0), (77.25, 0), (5, 5)]),
        "ELLIPSE": lambda: space.add_ellipse((0, 0), (77.25, 0), 0.5),
        "SPLINE": lambda: space.add_open_spline([(0, 0), (77.25, 5), (9, 9), (20, 0)]),
        "INSERT": lambda: space.add_blockref("B", (0, 77.25)),
        "POLYLINE": lambda: space.add_polyline2d([(0, 0), (77.25, 0), (5, 5)]),
    }
    entity = draw[kind]()
    path = tmp_path / "a.dxf"
    document.saveas(path)
    text = path.read_text()
    assert "77.25" in text
    path.write_text(text.replace("77.25", number))
    finding = refuse(path)
    assert finding.code == "coordinates-too-large"
    assert finding.origin.handle == entity.dxf.handle


def test_a_drawing_of_nothing(tmp_path):
    document = ezdxf.new("R2010", units=4)
    document.saveas(tmp_path / "a.dxf")
    assert refuse(tmp_path / "a.dxf").code == "nothing-drawn"
    document.modelspace().add_text("nothing to cut")
    document.layers.add("OFF").off()
    document.modelspace().add_circle((0, 0), 5, dxfattribs={"layer": "OFF"})
    document.saveas(tmp_path / "a.dxf")
    finding = refuse(tmp_path / "a.dxf")
    assert finding.code == "nothing-drawn"
    assert "1 CIRCLE, 1 TEXT" in finding.message


def test_ends_that_crowd(tmp_path):
    document = ezdxf.new("R2010", units=4)
    for k in range(3000):
        document.modelspace().add_line((0, 0), (100 + k, k % 7))
    document.saveas(tmp_path / "a.dxf")
    finding = refuse(tmp_path / "a.dxf")
    assert finding.code == "too-tangled"
    assert (finding.origin.x_mm, finding.origin.y_mm) == pytest.approx((0, 0), abs=0.01)


def test_blocks_that_multiply(tmp_path):
    """Ten blocks, each of ten references to the next: ten thousand million circles."""
    document = ezdxf.new("R2010", units=4)
    document.blocks.new("B10").add_circle((0, 0), 1)
    for level in range(9, -1, -1):
        block = document.blocks.new(f"B{level}")
        for k in range(10):
            block.add_blockref(f"B{level + 1}", (k * 3.0, level * 50.0))
    document.modelspace().add_blockref("B0", (0, 0))
    document.saveas(tmp_path / "a.dxf")
    with pytest.raises(Refusal) as refusal:
        read_drawing(tmp_path / "a.dxf")
    assert refusal.value.findings[0].code == "too-many-entities"


def test_an_array_of_a_thousand_million(tmp_path):
    document = ezdxf.new("R2010", units=4)
    document.blocks.new("B").add_circle((0, 0), 1)
    document.modelspace().add_blockref("B", (0, 0)).grid((32000, 32000), (5, 5))
    document.saveas(tmp_path / "a.dxf")
    assert refuse(tmp_path / "a.dxf").code == "too-many-entities"


def test_a_file_that_only_recovery_reads(square):
    """A group code that is no number stops the strict reader; the recovery drops the line and says so."""
    text = square.read_text()
    square.write_text(text.replace("100\nAcDbPolyline\n", "100\nAcDbPolyline\nXYZ\n1\n", 1))
    try:
        drawing = read_drawing(square)
    except DrawingRefused as refusal:
        assert refusal.findings[0].code == "damaged-drawing"
    else:
        assert drawing.findings[0].code == "recovered-drawing"
        assert len(drawing.loops) == 1
