"""Clamps, screws and stops in the picture: hatched, with name and height."""

from __future__ import annotations

from math import radians

from cam.geometry.contour import Contour, rectangle
from cam.geometry.transform import move, turn
from cam.report.markup import Markup, element, format_number, join, words
from cam.report.svg import trace_contour
from cam.tables.job import KeepOut

HATCH = "keep-out-hatch"
LETTER = 1.2
"""The size of a label's letters in the picture's units."""
LETTER_WIDTH = 0.62
"""How wide a bold letter is on average, in its size."""


def lay_rectangle(keep_out: KeepOut) -> Contour:
    """Return a keep-out's rectangle on the sheet."""
    width, height = keep_out.size_mm
    box = rectangle((-width / 2.0, -height / 2.0), width_mm=width, height_mm=height)
    return move(turn(box, angle_rad=radians(keep_out.turn_deg)), by_mm=keep_out.at_mm)


def draw_hatch(*, unit_mm: float) -> Markup:
    """Return the definition of the hatch, its lines so far apart that they are told apart at any scale."""
    half, step, more = (format_number(share * unit_mm) for share in (0.5, 1.0, 1.5))
    # the corners' own pieces close the gaps between tiles
    way = f"M0 0L{step} {step}M-{half} {half}L{half} {more}M{half} -{half}L{more} {half}"
    lines = element("path", d=way, class_="hatch", stroke_width=0.25 * unit_mm)
    return element(
        "defs",
        element("pattern", lines, id=HATCH, patternUnits="userSpaceOnUse", width=unit_mm, height=unit_mm),
    )


def draw_keep_outs(keep_outs: tuple[KeepOut, ...]) -> Markup:
    """Return the rectangles, y upwards."""
    drawn = [
        element(
            "g",
            element("title", words(say_keep_out(each))),
            element("path", d=trace_contour(lay_rectangle(each)), class_="keep-out-ground"),
            element("path", d=trace_contour(lay_rectangle(each)), class_="keep-out", fill=f"url(#{HATCH})"),
        )
        for each in keep_outs
    ]
    return element("g", *drawn, id="keep-outs")


def draw_labels(keep_outs: tuple[KeepOut, ...], *, min_x_mm: float, max_x_mm: float, unit_mm: float) -> Markup:
    """Return name and height of each, y downwards and unturned, moved sideways to stay within the picture."""
    labels = []
    for each in keep_outs:
        said = f"{each.name}, {each.height_mm:g} mm high"
        half = LETTER_WIDTH * LETTER * unit_mm * len(said) / 2.0
        x = min(max(each.at_mm[0], min_x_mm + half), max(max_x_mm - half, min_x_mm + half))
        y = 0.4 * unit_mm - each.at_mm[1]
        labels.append(element("text", words(said), x=x, y=y, font_size=LETTER * unit_mm))
    return element("g", *labels, class_="names clamps")


def draw_swatch() -> Markup:
    """Return the look of a keep-out for the legend."""
    box = "M6 2H52V18H6Z"
    lines = join(
        element("path", d=f"M{x} 2L{x + 16} 18", class_="hatch", stroke_width=2.0) for x in (6, 14, 22, 30, 36)
    )
    return join((element("path", d=box, class_="keep-out-ground"), lines, element("path", d=box, class_="keep-out")))


def say_keep_out(keep_out: KeepOut) -> str:
    """Return a keep-out in words."""
    (x, y), (width, height) = keep_out.at_mm, keep_out.size_mm
    turned = f", turned {keep_out.turn_deg:g} degrees" if keep_out.turn_deg else ""
    size = f"{width:g} x {height:g} mm, {keep_out.height_mm:g} mm high above the bed"
    return f"{keep_out.name}: {size}, about ({x:g}, {y:g}){turned}"
