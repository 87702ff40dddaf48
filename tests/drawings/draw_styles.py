"""Draw the style files again: ``python tests/drawings/draw_styles.py FOLDER`` writes FOLDER/STYLE.dxf.

Every file imitates, in general words, how one kind of source writes its drawings; README.md says
which. The text is laid out here group code by group code (DXF reference), by no DXF library, so that
the reader of castcut and the writer of its tests share nothing. The files in this folder are what
counts; this says how they were made.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Iterable
from math import cos, pi, sin, tan
from pathlib import Path

Point = tuple[float, float]
Tags = list[tuple[int, object]]

QUARTER = tan(pi / 8)  # the bulge of a quarter circle: a tangent of a quarter of its angle (DXF reference)


def main() -> None:
    """Write all drawings that are kept as files into the folder named on the command line."""
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in STYLES.items():
        (folder / f"{name}.dxf").write_text(text())


# group codes ------------------------------------------------------------------------------------


def write(entities: Tags, *, version: str = "AC1009", header: Tags = (), layers: Tags = (), blocks: Tags = ()) -> str:
    """Return the text of a drawing of the given sections."""
    tags: Tags = [(0, "SECTION"), (2, "HEADER"), (9, "$ACADVER"), (1, version), *header, (0, "ENDSEC")]
    if layers:
        tags += [
            (0, "SECTION"),
            (2, "TABLES"),
            (0, "TABLE"),
            (2, "LAYER"),
            (70, 9),
            *layers,
            (0, "ENDTAB"),
            (0, "ENDSEC"),
        ]
    if blocks:
        tags += [(0, "SECTION"), (2, "BLOCKS"), *blocks, (0, "ENDSEC")]
    tags += [(0, "SECTION"), (2, "ENTITIES"), *entities, (0, "ENDSEC"), (0, "EOF")]
    return "".join(f"{code:3d}\n{value}\n" for code, value in tags)


def unit(code: int) -> Tags:
    return [(9, "$INSUNITS"), (70, code)]


def place(point: Point, *, code: int = 10, decimals: int = 6) -> Tags:
    return [(code, f"{point[0]:.{decimals}f}"), (code + 10, f"{point[1]:.{decimals}f}")]


def line(start: Point, end: Point, *, layer: str = "0", decimals: int = 6) -> Tags:
    return [
        (0, "LINE"), (8, layer), *place(start, decimals=decimals), *place(end, code=11, decimals=decimals),
    ]  # fmt: skip


def circle(centre: Point, radius: float, *, layer: str = "0", normal: str | None = None) -> Tags:
    return [(0, "CIRCLE"), (8, layer), *place(centre), (40, f"{radius:.6f}"), *extrude(normal)]


def arc(
    centre: Point, radius: float, start_deg: float, end_deg: float, *, layer: str = "0", normal: str | None = None
) -> Tags:
    return [
        (0, "ARC"), (8, layer), *place(centre), (40, f"{radius:.6f}"), (50, f"{start_deg:.6f}"), (51, f"{end_deg:.6f}"),
        *extrude(normal),
    ]  # fmt: skip


def extrude(normal: str | None) -> Tags:
    return [] if normal is None else list(zip((210, 220, 230), normal.split(), strict=True))


def text(words: str, at: Point, *, height: float = 10.0, layer: str = "0") -> Tags:
    return [(0, "TEXT"), (8, layer), *place(at), (40, height), (1, words)]


def polyline(rows: Iterable[tuple[float, float, float, int]], *, flags: int, layer: str = "0") -> Tags:
    """An R12 polyline; each row is x, y, bulge and the vertex's flags."""
    tags: Tags = [(0, "POLYLINE"), (8, layer), (66, 1), (10, "0.0"), (20, "0.0"), (30, "0.0"), (70, flags)]
    for x, y, bulge, flag in rows:
        tags += [(0, "VERTEX"), (8, layer), *place((x, y)), (30, "0.0"), (42, f"{bulge:.12f}"), (70, flag)]
    return [*tags, (0, "SEQEND"), (8, layer)]


def light_polyline(
    rows: list[tuple[float, float, float]], handle: str, *, layer: str = "0", normal: str | None = None
) -> Tags:
    tags: Tags = [(0, "LWPOLYLINE"), (5, handle), (100, "AcDbEntity"), (8, layer), (100, "AcDbPolyline")]
    tags += [(90, len(rows)), (70, 1)]
    for x, y, bulge in rows:
        tags += [*place((x, y)), (42, f"{bulge:.12f}")]
    return [*tags, *extrude(normal)]


def marked(kind: str, handle: str, subclass: str, *, layer: str) -> Tags:
    """The head of an entity as it is written since the year 2000, with its subclass markers."""
    return [(0, kind), (5, handle), (100, "AcDbEntity"), (8, layer), (100, subclass)]


def box(corner: Point, width: float, height: float) -> list[Point]:
    x, y = corner
    return [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]


def outline(points: list[Point], *, layer: str = "0") -> Tags:
    return [tag for start, end in ring(points) for tag in line(start, end, layer=layer)]


def ring(points: list[Point]) -> list[tuple[Point, Point]]:
    return list(zip(points, points[1:] + points[:1], strict=True))


def chords(centre: Point, radius: float, count: int) -> list[Point]:
    step = 2 * pi / count
    return [(centre[0] + radius * cos(k * step), centre[1] + radius * sin(k * step)) for k in range(count)]


# styles -----------------------------------------------------------------------------------------


def draw_loose_segments() -> str:
    """A rounded splashback and its opening as loose lines and arcs, any order and sense, four decimals."""
    pieces: list[Tags] = []
    for corner, width, height, radius, layer in (
        ((0, 0), 900, 500, 12.5, "PLATE"),
        ((180, 150), 240, 90, 6.25, "OPENING"),
    ):
        x, y = corner
        sides = (
            ((x + radius, y), (x + width - radius, y)), ((x + width, y + radius), (x + width, y + height - radius)),
            ((x + width - radius, y + height), (x + radius, y + height)), ((x, y + height - radius), (x, y + radius)),
        )  # fmt: skip
        centres = (
            ((x + width - radius, y + radius), 270), ((x + width - radius, y + height - radius), 0),
            ((x + radius, y + height - radius), 90), ((x + radius, y + radius), 180),
        )  # fmt: skip
        pieces += [line(*side[:: 1 - 2 * (k % 2)], layer=layer, decimals=4) for k, side in enumerate(sides)]
        pieces += [arc(centre, radius, start, start + 90, layer=layer) for centre, start in centres]
    # one corner was trimmed by hand: its line stops 0.004 mm short of the arc
    pieces[0] = line((12.504, 0), (887.5, 0), layer="PLATE", decimals=4)
    random.Random(3).shuffle(pieces)
    return write([tag for piece in pieces for tag in piece], header=unit(4))


def draw_metre_units() -> str:
    """A wall panel with a window and a niche, in metres to the tenth of a millimetre, as instruments export it."""
    entities = outline([(0, 0), (2.1, 0), (2.1, 0.8505), (1.4, 0.8505), (1.4, 1.1), (0, 1.1)], layer="WALL")
    entities += outline(box((0.35, 0.3), 0.6, 0.4502), layer="WINDOW")
    entities += [(0, "POINT"), (8, "STATIONS"), *place((0.1, 0.1))]
    return write(entities, header=unit(6))


def draw_mirrored_blocks() -> str:
    """A plate with an L-shaped opening placed four times from one block, mirrored and turned, and an array of bores."""
    bite = [(0, 0), (60, 0), (60, 20), (20, 20), (20, 50), (0, 50)]
    blocks: Tags = [(0, "BLOCK"), (8, "0"), (2, "BITE"), (70, 0), *place((10, 5)), (30, "0.0"), (3, "BITE")]
    blocks += [*outline(bite), (0, "ENDBLK"), (8, "0")]
    blocks += [(0, "BLOCK"), (8, "0"), (2, "BORE"), (70, 0), *place((0, 0)), (30, "0.0"), (3, "BORE")]
    blocks += [*circle((4, 0), 4), (0, "ENDBLK"), (8, "0")]
    entities = outline(box((0, 0), 800, 400), layer="PLATE")
    for at, x_scale, y_scale, turn in (
        ((100, 100), 1, 1, 0), ((300, 100), -1, 1, 0), ((400, 100), 1, 1, 90), ((700, 100), -1, 1.5, 180),
    ):  # fmt: skip
        entities += [
            (0, "INSERT"),
            (8, "OPENING"),
            (2, "BITE"),
            *place(at),
            (41, x_scale),
            (42, y_scale),
            (43, 1),
            (50, turn),
        ]
    entities += [(0, "INSERT"), (8, "BORES"), (2, "BORE"), *place((400, 300)), (41, -1), (42, 1), (43, 0), (50, 0)]
    entities += [(70, 3), (71, 2), (44, "120.0"), (45, "50.0")]
    return write(entities, blocks=blocks)


def draw_curve_fitting() -> str:
    """Old polylines: one curve-fitted round a circle, one spline-fitted, whose frame is still in the file."""
    eighths = [(400 + 150 * cos(k * pi / 4), 200 + 150 * sin(k * pi / 4)) for k in range(8)]
    # every second vertex was put in by the fitting (flag 1); all lie on the curve
    fitted = [(x, y, tan(pi / 16), k % 2) for k, (x, y) in enumerate(eighths)]
    smooth = [(x, y, 0.0, 8) for x, y in chords((400, 200), 60, 40)]
    frame = [(x, y, 0.0, 16) for x, y in box((320, 120), 160, 160)]
    entities = polyline([(x, y, 0.0, 0) for x, y in box((0, 0), 800, 400)], flags=1, layer="PLATE")
    entities += polyline(fitted, flags=1 | 2, layer="OPENING")
    entities += polyline([*frame, *smooth], flags=1 | 4, layer="ISLAND")
    return write(entities)


def draw_spline_thousands(count: int = 4000) -> str:
    """A wavy outline of one closed cubic spline of thousands of control points; it is too large to keep as a file."""
    ring_points = [
        (500 + (300 + 20 * cos(8 * t)) * cos(t), 400 + (300 + 20 * cos(8 * t)) * sin(t))
        for t in (2 * pi * k / count for k in range(count))
    ]
    control = [*ring_points, *ring_points[:3]]  # a periodic cubic repeats its first three
    tags: Tags = [(0, "SPLINE"), (5, "2F"), (100, "AcDbEntity"), (8, "PLATE"), (100, "AcDbSpline")]
    tags += [
        (210, "0.0"),
        (220, "0.0"),
        (230, "1.0"),
        (70, 11),
        (71, 3),
        (72, len(control) + 4),
        (73, len(control)),
        (74, 0),
    ]
    tags += [(40, f"{float(k):.1f}") for k in range(len(control) + 4)]
    for point in control:
        tags += [*place(point), (30, "0.0")]
    return write(tags, version="AC1015", header=unit(4))


def draw_outlines_twice() -> str:
    """A strip exported with its outline and bores written twice, the copies the other way round."""
    points = [(0, 0), (600, 0), (600, 120), (450, 150), (0, 150)]
    entities = outline(points, layer="STRIP") + circle((60, 75), 6, layer="STRIP") + circle((540, 60), 6, layer="STRIP")
    entities += outline(points[::-1], layer="STRIP") + circle((60, 75), 6, layer="STRIP")
    return write(entities, header=unit(4))


def draw_outline_traced() -> str:
    """A strip whose outline was traced again by eye on another layer, a few hundredths off."""
    points = [(0, 0), (600, 0), (600, 150), (0, 150)]
    near = [(0.03, 0), (600, 0.02), (599.97, 150), (0, 149.98)]
    return write(outline(points, layer="STRIP") + outline(near, layer="TRACED"), header=unit(4))


def draw_dimensioned_sheet() -> str:
    """A part in its sheet: frame, title block of crossing lines, texts, dimensions, centre marks, shading of lines."""
    sheet = "SHEET"
    entities = outline(box((-60, -90), 420, 297), layer=sheet) + outline(box((-50, -80), 400, 277), layer=sheet)
    for y in (-80, -60, -40):
        entities += line((170, y), (350, y), layer=sheet)
    for x in (170, 230, 290):
        entities += line((x, -80), (x, -40), layer=sheet)
    entities += text("SIDE PANEL, CANTEEN", (175, -55), height=5, layer=sheet)
    entities += text("scale 1 : 1", (235, -75), height=3.5, layer=sheet)
    entities += outline(box((0, 0), 280, 160), layer="PART") + circle((70, 80), 20, layer="PART")
    for start, end in (((45, 80), (95, 80)), ((70, 55), (70, 105))):
        entities += line(start, end, layer="CENTRES")
    for k in range(8):
        entities += line((150 + 10 * k, 40), (180 + 10 * k, 70), layer="SHADING")
    blocks: Tags = [(0, "BLOCK"), (8, "0"), (2, "*D1"), (70, 1), *place((0, 0)), (30, "0.0"), (3, "*D1")]
    blocks += line((0, 0), (0, 190)) + line((280, 0), (280, 190)) + line((0, 185), (280, 185))
    blocks += [*text("280", (135, 186), height=3.5), (0, "ENDBLK"), (8, "0")]
    entities += [(0, "DIMENSION"), (8, "SIZES"), (2, "*D1"), *place((0, 185)), *place((140, 186), code=11), (70, 0)]
    entities += [*place((0, 0), code=13), *place((280, 0), code=14)]
    return write(entities, header=unit(4), blocks=blocks)


def draw_text_on_cut_layer() -> str:
    """A label plate whose lettering stands, as text, on the layer that is cut."""
    entities = outline([(0, 0), (240, 0), (240, 80), (20, 80), (0, 60)], layer="CUT")
    entities += circle((20, 20), 3, layer="CUT") + circle((220, 20), 3, layer="CUT")
    entities += text("PUMP ROOM", (50, 30), height=25, layer="CUT")
    entities += text("CUT", (50, 30.5), height=25, layer="CUT")
    return write(entities, header=unit(4))


def draw_inches_without_units() -> str:
    """A shelf in inches, to a sixteenth, in a file that says nothing of its units."""
    entities = outline([(0, 0), (35.5, 0), (35.5, 11.25), (24.0625, 11.25), (24.0625, 8.125), (0, 8.125)])
    entities += circle((3.0625, 4), 0.1875) + circle((32.4375, 4), 0.1875)
    return write(entities)


def draw_far_away() -> str:
    """A part in a site's own grid, a kilometre and more from the origin, to the nanometre."""
    return draw_part(by=(1_000_000.0, 2_345_678.0))


def draw_part(by: Point) -> str:
    """The part of ``draw_far_away``, at any place."""
    x, y = by
    rows = [(0, 0, 0), (512, 0, QUARTER), (544, 32, 0), (544, 256, -0.25), (272, 256, 0), (0, 288, 0)]
    entities = light_polyline([(x + p, y + q, bulge) for p, q, bulge in rows], "2F", layer="PART")
    entities += marked("CIRCLE", "30", "AcDbCircle", layer="PART")
    entities += [*place((x + 100.125, y + 100.5)), (40, "17.25")]
    for k, (start, end) in enumerate(ring([(x + 300, y + 64), (x + 400, y + 64), (x + 350, y + 150.123456)])):
        entities += marked("LINE", f"3{k + 1}", "AcDbLine", layer="PART")
        entities += [*place(start), *place(end, code=11)]
    return write(entities, version="AC1015", header=unit(4))


def draw_chord_circles() -> str:
    """Bores and a rounded opening broken into loose chords, 64 to the turn, shuffled, in either sense."""
    rng = random.Random(5)
    rings = [chords((60, 60), 17.5, 64), chords((240, 60), 17.5, 64), chords((150, 170), 40, 64)]
    sides = [rng.sample(side, 2) for points in rings for side in ring(points)]
    rng.shuffle(sides)
    entities = outline(box((0, 0), 300, 240), layer="PLATE")
    for start, end in sides:
        entities += line(tuple(start), tuple(end), layer="BORES")
    return write(entities, header=unit(4))


def draw_mirrored_by_extrusion() -> str:
    """A plate mirrored by its program: arcs, circles and polylines with a normal of 0, 0, -1, or only nearly so."""
    down, nearly = "0.0 0.0 -1.0", "1.2E-16 -3.0E-09 -1.0"
    rows = [(0, 0, 0), (380, 0, QUARTER), (400, 20, 0), (400, 200, 0), (0, 200, 0)]
    entities = light_polyline(rows, "2F", layer="PLATE", normal=down)
    entities += marked("CIRCLE", "30", "AcDbCircle", layer="PLATE")
    entities += [*place((60, 50)), (40, "8.0"), *extrude(nearly)]
    # a slot of two lines, which have no plane of their own, and two arcs, which have
    for handle, y in (("31", 110), ("32", 150)):
        entities += marked("LINE", handle, "AcDbLine", layer="SLOT")
        entities += [*place((-200, y)), *place((-300, y), code=11)]
    for handle, x, start, end in (("33", 200, 90, 270), ("34", 300, 270, 90)):
        entities += [*marked("ARC", handle, "AcDbCircle", layer="SLOT"), *place((x, 130)), (40, "20.0"), *extrude(down)]
        entities += [(100, "AcDbArc"), (50, float(start)), (51, float(end))]
    return write(entities, version="AC1015", header=unit(4))


def draw_hidden_layers() -> str:
    """A plate of which two sides lie on a layer that is off, and a bore on one that is frozen."""
    layers: Tags = []
    for name, flags, colour in (("PLATE", 0, 7), ("PLATE-OLD", 0, -3), ("BORES", 1, 2)):
        layers += [(0, "LAYER"), (2, name), (70, flags), (62, colour), (6, "CONTINUOUS")]
    points = [(0, 0), (500, 0), (500, 300), (0, 300)]
    entities: Tags = []
    for (start, end), layer in zip(ring(points), ("PLATE", "PLATE-OLD", "PLATE-OLD", "PLATE"), strict=True):
        entities += line(start, end, layer=layer)
    entities += circle((100, 100), 10, layer="BORES") + circle((400, 200), 10, layer="PLATE")
    return write(entities, header=unit(4), layers=layers)


STYLES = {
    "loose-segments": draw_loose_segments,
    "metre-units": draw_metre_units,
    "mirrored-blocks": draw_mirrored_blocks,
    "curve-fitting": draw_curve_fitting,
    "outlines-twice": draw_outlines_twice,
    "outline-traced": draw_outline_traced,
    "dimensioned-sheet": draw_dimensioned_sheet,
    "text-on-cut-layer": draw_text_on_cut_layer,
    "inches-without-units": draw_inches_without_units,
    "far-away": draw_far_away,
    "chord-circles": draw_chord_circles,
    "mirrored-by-extrusion": draw_mirrored_by_extrusion,
    "hidden-layers": draw_hidden_layers,
}

if __name__ == "__main__":
    main()
