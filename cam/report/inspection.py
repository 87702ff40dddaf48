"""A drawing as it was read: table, document and picture, with every fault at its place."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePath
from typing import Any

import numpy as np

from cam.drawing.drawing import Drawing, Loop
from cam.geometry.contour import find_segments
from cam.geometry.measure import (
    find_bounds_mm,
    find_min_radius_mm,
    find_segment_bounds_mm,
    find_size_mm,
    measure_area_mm2,
)
from cam.report.documents import FORMAT
from cam.report.flags import Flag, draw_flags, find_flags
from cam.report.markup import EMPTY, Markup, element, lay_table, words
from cam.report.page import lay_document
from cam.report.scene import View
from cam.report.svg import trace_contour, trace_vertices
from cam.report.tabulate import lay_findings

_MARGIN_SHARE = 0.06


def lay_inspection_document(drawing: Drawing, *, roles: Sequence[str]) -> dict[str, Any]:
    """Return the document of ``inspect``; ``roles`` has one role a loop, findings have the page's numbers."""
    return {
        "format": FORMAT,
        "units": drawing.units,
        "mm_per_unit": drawing.mm_per_unit,
        "loops": [_lay_loop(loop, role=role) for loop, role in zip(drawing.loops, roles, strict=True)],
        "open_chains": [
            {
                "start_mm": list(chain.start_mm),
                "end_mm": list(chain.end_mm),
                "length_mm": chain.length_mm,
                "gap_mm": chain.gap_mm,
                "layer": chain.layer,
                "handle": chain.handle,
            }
            for chain in drawing.open_chains
        ],
        "findings": [
            {"number": flag.number, **flag.finding.as_document()}
            for flag in find_flags(drawing.findings, view=_find_view(drawing))
        ],
    }


def _lay_loop(loop: Loop, *, role: str) -> dict[str, Any]:
    width_mm, height_mm = find_size_mm(loop.contour)
    return {
        "role": role,
        "area_mm2": abs(measure_area_mm2(loop.contour)),
        "width_mm": width_mm,
        "height_mm": height_mm,
        "min_radius_mm": find_min_radius_mm(loop.contour),
        "layer": loop.layer,
        "handle": loop.handle,
    }


def write_inspection(drawing: Drawing, *, roles: Sequence[str]) -> str:
    """Return the loops of a drawing as a text table, sizes in mm, areas in cm2."""
    lines = [
        f"{PurePath(drawing.path).name}: {len(drawing.loops)} closed loops, {len(drawing.open_chains)} open chains, "
        f"drawn in {drawing.units}",
        f"{'no':>3}  {'role':<8}  {'width':>9}  {'height':>9}  {'area':>9}  {'radius':>8}  layer",
        f"{'':>3}  {'':<8}  {'mm':>9}  {'mm':>9}  {'cm2':>9}  {'mm, min':>8}",
    ]
    for number, (loop, role) in enumerate(zip(drawing.loops, roles, strict=True), start=1):
        lines.append(f"{number:3}  {role:<8}  " + "  ".join(_size_words(loop)) + f"  {loop.layer}")
    for chain in drawing.open_chains:
        lines.append(f"  -  open, {chain.length_mm:.1f} mm long, gap {chain.gap_mm:.3f} mm, layer {chain.layer}")
    return "\n".join(line.rstrip() for line in lines)


def _size_words(loop: Loop) -> tuple[str, str, str, str]:
    width_mm, height_mm = find_size_mm(loop.contour)
    radius_mm = find_min_radius_mm(loop.contour)
    area_cm2 = abs(measure_area_mm2(loop.contour)) / 100.0
    smallest = f"{radius_mm:.3f}" if np.isfinite(radius_mm) else "-"
    return f"{width_mm:9.2f}", f"{height_mm:9.2f}", f"{area_cm2:9.2f}", f"{smallest:>8}"


def write_inspection_page(drawing: Drawing, *, roles: Sequence[str]) -> str:
    """Return the page of ``inspect``: picture, findings and table of loops."""
    name = PurePath(drawing.path).name
    view = _find_view(drawing)
    flags = find_flags(drawing.findings, view=view)
    said = f"Drawn in {drawing.units}; the page is in mm."
    header = element("header", element("h1", words(f"Drawing {name}")), element("p", words(said), class_="soft"))
    sections = (
        _lay_section("picture", "The drawing", _lay_picture(drawing, roles=roles, flags=flags, view=view)),
        _lay_section("findings", "Findings", lay_findings(flags)),
        _lay_section("loops", "Loops", _lay_loops(drawing, roles=roles)),
    )
    return lay_document(title=f"Drawing {name}", header=header, sections=sections)


def _lay_section(name: str, heading: str, content: Markup) -> Markup:
    title = element("h2", words(heading), id=f"{name}-title")
    return element("section", title, content, id=name, aria_labelledby=f"{name}-title")


def _find_view(drawing: Drawing) -> View:
    boxes = [find_bounds_mm(loop.contour) for loop in drawing.loops]
    boxes += [
        find_segment_bounds_mm(find_segments(chain.vertices, closed=False))
        for chain in drawing.open_chains
        if len(chain.vertices) > 1
    ]
    every = np.array(boxes or [(0.0, 0.0, 100.0, 100.0)])
    (min_x, min_y), (max_x, max_y) = every[:, :2].min(axis=0), every[:, 2:].max(axis=0)
    margin = _MARGIN_SHARE * max(max_x - min_x, max_y - min_y, 1.0)
    return View(
        min_x_mm=float(min_x - margin),
        min_y_mm=float(min_y - margin),
        max_x_mm=float(max_x + margin),
        max_y_mm=float(max_y + margin),
    )


def _lay_picture(drawing: Drawing, *, roles: Sequence[str], flags: tuple[Flag, ...], view: View) -> Markup:
    filled = "".join(trace_contour(loop.contour) for loop in drawing.loops)
    loops = [
        element("path", element("title", words(f"loop {number}: {role}")), d=trace_contour(loop.contour), class_=style)
        for number, (loop, role) in enumerate(zip(drawing.loops, roles, strict=True), start=1)
        for style in (f"loop {role}",)
    ]
    chains = [
        element("path", d=trace_vertices(chain.vertices, closed=False), class_="open-chain")
        for chain in drawing.open_chains
    ]
    described = (
        f"{len(drawing.loops)} closed loops, material filled, and {len(drawing.open_chains)} open chains drawn bold; "
        f"numbered flags stand at the findings of the table below"
    )
    picture = element(
        "svg",
        element("title", words("The drawing as it was read"), id="drawing-title"),
        element("desc", words(described), id="drawing-words"),
        element("g", element("path", d=filled, class_="material"), *loops, *chains, transform="scale(1 -1)"),
        draw_flags(flags, view=view),
        viewBox=view.box,
        role="img",
        aria_labelledby="drawing-title drawing-words",
        xmlns="http://www.w3.org/2000/svg",
    )
    desk = element("div", picture, class_="desk", tabindex="0", role="region", aria_label="Picture")
    bold = "Open chains are drawn bold." if drawing.open_chains else "No chain is open."
    caption = f"Outlines are solid, cut-outs long dashes, holes short dashes; material is filled. {bold}"
    return element("figure", desk, element("figcaption", words(caption), class_="controls"), class_="board")


def _lay_loops(drawing: Drawing, *, roles: Sequence[str]) -> Markup:
    if not drawing.loops:
        return element("p", words("The drawing holds no closed loop.")) if not drawing.open_chains else EMPTY
    rows = [
        (words(str(number)), words(role), *(words(size.strip()) for size in _size_words(loop)), words(loop.layer))
        for number, (loop, role) in enumerate(zip(drawing.loops, roles, strict=True), start=1)
    ]
    return lay_table(
        caption="Closed loops: sizes and smallest radius in mm, area in square centimetres",
        headings=("No.", "Role", "Width", "Height", "Area", "Smallest radius", "Layer"),
        rows=rows,
        numeric=frozenset({2, 3, 4, 5}),
    )
