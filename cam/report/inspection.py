"""A drawing as it was read: table, document and picture, with every fault at its place."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import PurePath
from typing import Any

import numpy as np

from cam.drawing.drawing import Drawing, Loop, OpenChain
from cam.geometry.contour import find_segments
from cam.geometry.measure import (
    find_bounds_mm,
    find_min_radius_mm,
    find_segment_bounds_mm,
    find_size_mm,
    measure_area_mm2,
)
from cam.panel.finishes import RANK
from cam.panel.layers import Meaning
from cam.panel.meanings import LoopMeaning, Meant
from cam.panel.panel import Finish, Role
from cam.report.documents import FORMAT
from cam.report.flags import Flag, draw_flags, find_flags
from cam.report.markup import EMPTY, Markup, element, lay_table, words
from cam.report.page import lay_document
from cam.report.scene import View
from cam.report.svg import trace_contour, trace_vertices
from cam.report.tabulate import lay_findings

_MARGIN_SHARE = 0.06


def lay_inspection_document(drawing: Drawing, *, meant: Meant, names: Mapping[int, str]) -> dict[str, Any]:
    """Return the document of ``inspect``; findings have the page's numbers.

    Parameters
    ----------
    drawing
        The drawing.
    meant
        What its loops are.
    names
        Names of panels by the number of the outline's loop, from 0.
    """
    return {
        "format": FORMAT,
        "units": drawing.units,
        "mm_per_unit": drawing.mm_per_unit,
        "loops": [
            _lay_loop(loop, meaning, suspect=suspect, name=names.get(i))
            for i, (loop, meaning, suspect) in enumerate(
                zip(drawing.loops, meant.loops, _list_suspects(meant), strict=True)
            )
        ],
        "centre_lines": [
            {
                "role": str(Role.GROOVE),
                "depth_mm": meaning.depth_mm,
                "groove_width_mm": meaning.width_mm,
                **_lay_chain(chain),
            }
            for chain, meaning in zip(drawing.centre_lines, meant.centre_lines, strict=True)
        ],
        "open_chains": [{**_lay_chain(chain), "gap_mm": chain.gap_mm} for chain in drawing.open_chains],
        "findings": [
            {"number": flag.number, **flag.finding.as_document()}
            for flag in find_flags(drawing.findings, view=_find_view(drawing))
        ],
    }


def _lay_chain(chain: OpenChain) -> dict[str, Any]:
    return {
        "start_mm": list(chain.start_mm),
        "end_mm": list(chain.end_mm),
        "length_mm": chain.length_mm,
        "layer": chain.layer,
        "handle": chain.handle,
    }


def _lay_loop(loop: Loop, meaning: LoopMeaning, *, suspect: str | None, name: str | None) -> dict[str, Any]:
    width_mm, height_mm = find_size_mm(loop.contour)
    return {
        "role": str(meaning.role),
        "panel": name,
        "suspect": suspect,
        "area_mm2": abs(measure_area_mm2(loop.contour)),
        "width_mm": width_mm,
        "height_mm": height_mm,
        "min_radius_mm": find_min_radius_mm(loop.contour),
        "depth_mm": meaning.depth_mm,
        "groove_width_mm": meaning.width_mm,
        "island": meaning.is_island,
        "finishes": [str(finish) for finish in _list_finishes(meaning)],
        "layer": loop.layer,
        "layers": list(dict.fromkeys(loop.layers or (loop.layer,))),
        "handle": loop.handle,
    }


def _list_suspects(meant: Meant) -> list[str | None]:
    """Return what each loop is suspected to be, where that is asked about."""
    kinds = {i: str(suspect.kind) for suspect in meant.suspects if suspect.is_asked for i in suspect.loops}
    return [kinds.get(i) for i in range(len(meant.loops))]


def _list_finishes(meaning: LoopMeaning) -> list[Finish]:
    """Return the classes of a loop's edges, each once, the one that asks for the most first."""
    return sorted(set(meaning.finishes), key=lambda finish: RANK[finish])


def _say_role(meaning: LoopMeaning, suspect: str | None) -> str:
    if suspect is not None:
        return f"{suspect}?"
    if meaning.is_island:
        return "island"
    if meaning.role is Role.GROOVE:
        return f"groove {meaning.width_mm:g} x {meaning.depth_mm:g}"
    return f"recess {meaning.depth_mm:g}" if meaning.role is Role.RECESS else str(meaning.role)


def _say_centre_line(chain: OpenChain, meaning: Meaning) -> str:
    return f"groove {meaning.width_mm:g} x {meaning.depth_mm:g}, open, {chain.length_mm:.1f} mm long"


def _say_finishes(meaning: LoopMeaning, suspect: str | None) -> str:
    return "-" if suspect else "+".join(_list_finishes(meaning)) or "-"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """One loop in words."""

    role: str
    size: tuple[str, str, str, str]
    finish: str
    layer: str
    panel: str


def _list_rows(drawing: Drawing, meant: Meant, names: Mapping[int, str]) -> list[_Row]:
    return [
        _Row(
            role=_say_role(meaning, suspect),
            size=_size_words(loop),
            finish=_say_finishes(meaning, suspect),
            layer=", ".join(dict.fromkeys(loop.layers or (loop.layer,))),
            panel=names.get(i, ""),
        )
        for i, (loop, meaning, suspect) in enumerate(
            zip(drawing.loops, meant.loops, _list_suspects(meant), strict=True)
        )
    ]


def write_inspection(drawing: Drawing, *, meant: Meant, names: Mapping[int, str]) -> str:
    """Return the loops of a drawing as a text table, sizes and depths in mm, areas in cm2."""
    rows = _list_rows(drawing, meant, names)
    role = max((len(row.role) for row in rows), default=8)
    finish = max((len(row.finish) for row in rows), default=6)
    layer = max((len(row.layer) for row in rows), default=5)
    role, finish, layer = max(role, 8), max(finish, 6), max(layer, 5)
    lines = [
        f"{PurePath(drawing.path).name}: {len(drawing.loops)} closed loops, {len(drawing.open_chains)} open chains, "
        f"drawn in {drawing.units}",
        f"{'no':>3}  {'role':<{role}}  {'width':>9}  {'height':>9}  {'area':>9}  {'radius':>8}  "
        f"{'finish':<{finish}}  {'layer':<{layer}}  panel",
        f"{'':>3}  {'':<{role}}  {'mm':>9}  {'mm':>9}  {'cm2':>9}  {'mm, min':>8}",
    ]
    for number, row in enumerate(rows, start=1):
        lines.append(
            f"{number:3}  {row.role:<{role}}  {'  '.join(row.size)}  {row.finish:<{finish}}  {row.layer:<{layer}}  "
            f"{row.panel}"
        )
    for chain, meaning in zip(drawing.centre_lines, meant.centre_lines, strict=True):
        lines.append(f"  -  {_say_centre_line(chain, meaning)}, layer {chain.layer}")
    for chain in drawing.open_chains:
        lines.append(f"  -  open, {chain.length_mm:.1f} mm long, gap {chain.gap_mm:.3f} mm, layer {chain.layer}")
    return "\n".join(line.rstrip() for line in lines)


def _size_words(loop: Loop) -> tuple[str, str, str, str]:
    width_mm, height_mm = find_size_mm(loop.contour)
    radius_mm = find_min_radius_mm(loop.contour)
    area_cm2 = abs(measure_area_mm2(loop.contour)) / 100.0
    smallest = f"{radius_mm:.3f}" if np.isfinite(radius_mm) else "-"
    return f"{width_mm:9.2f}", f"{height_mm:9.2f}", f"{area_cm2:9.2f}", f"{smallest:>8}"


def write_inspection_page(drawing: Drawing, *, meant: Meant, names: Mapping[int, str]) -> str:
    """Return the page of ``inspect``: picture, findings and table of loops."""
    name = PurePath(drawing.path).name
    view = _find_view(drawing)
    flags = find_flags(drawing.findings, view=view)
    rows = _list_rows(drawing, meant, names)
    said = f"Drawn in {drawing.units}; the page is in mm."
    header = element("header", element("h1", words(f"Drawing {name}")), element("p", words(said), class_="soft"))
    picture = _lay_picture(drawing, meant=meant, rows=rows, flags=flags, view=view)
    sections = (
        _lay_section("picture", "The drawing", picture),
        _lay_section("findings", "Findings", lay_findings(flags)),
        _lay_section("loops", "Loops", _lay_loops(drawing, meant=meant, rows=rows)),
    )
    return lay_document(title=f"Drawing {name}", header=header, sections=sections)


def _lay_section(name: str, heading: str, content: Markup) -> Markup:
    title = element("h2", words(heading), id=f"{name}-title")
    return element("section", title, content, id=name, aria_labelledby=f"{name}-title")


def _find_view(drawing: Drawing) -> View:
    boxes = [find_bounds_mm(loop.contour) for loop in drawing.loops]
    boxes += [
        find_segment_bounds_mm(find_segments(chain.vertices, closed=False))
        for chain in (*drawing.open_chains, *drawing.centre_lines)
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


def _lay_picture(drawing: Drawing, *, meant: Meant, rows: list[_Row], flags: tuple[Flag, ...], view: View) -> Markup:
    suspects = _list_suspects(meant)
    styles = [
        "suspect" if suspect else "island" if meaning.is_island else str(meaning.role)
        for meaning, suspect in zip(meant.loops, suspects, strict=True)
    ]
    # even and odd make the material of what goes through; recesses lie on it, suspects in neither
    through = "".join(
        trace_contour(loop.contour) for loop, style in zip(drawing.loops, styles, strict=True) if style in _THROUGH
    )
    sunk = "".join(
        trace_contour(loop.contour)
        for loop, style in zip(drawing.loops, styles, strict=True)
        if style in (str(Role.RECESS), "island")
    )
    loops = [
        element(
            "path",
            element("title", words(f"loop {number}: {row.role}{f', {row.panel}' if row.panel else ''}")),
            d=trace_contour(loop.contour),
            class_=f"loop {style}",
        )
        for number, (loop, row, style) in enumerate(zip(drawing.loops, rows, styles, strict=True), start=1)
    ]
    grooves = [
        element("path", d=trace_vertices(chain.vertices, closed=False), class_="loop groove")
        for chain in drawing.centre_lines
    ]
    chains = [
        element("path", d=trace_vertices(chain.vertices, closed=False), class_="open-chain")
        for chain in drawing.open_chains
    ]
    described = (
        f"{len(drawing.loops)} closed loops, material filled, and {len(drawing.open_chains)} open chains drawn bold; "
        f"numbered flags stand at the findings of the table below"
    )
    filled = [element("path", d=through, class_="material")]
    filled += [element("path", d=sunk, class_="sunk")] if sunk else []
    picture = element(
        "svg",
        element("title", words("The drawing as it was read"), id="drawing-title"),
        element("desc", words(described), id="drawing-words"),
        element("g", *filled, *loops, *grooves, *chains, transform="scale(1 -1)"),
        draw_flags(flags, view=view),
        viewBox=view.box,
        role="img",
        aria_labelledby="drawing-title drawing-words",
        xmlns="http://www.w3.org/2000/svg",
    )
    desk = element("div", picture, class_="desk", tabindex="0", role="region", aria_label="Picture")
    return element(
        "figure", desk, element("figcaption", words(_caption(drawing, styles)), class_="controls"), class_="board"
    )


_THROUGH = (str(Role.OUTLINE), str(Role.CUTOUT), str(Role.HOLE))


def _caption(drawing: Drawing, styles: list[str]) -> str:
    said = ["Outlines are solid, cut-outs long dashes, holes short dashes; material is filled."]
    if drawing.centre_lines or str(Role.RECESS) in styles or str(Role.GROOVE) in styles:
        said.append("Recesses are shaded, the centre lines of grooves dash and dot.")
    if "suspect" in styles:
        said.append("What is asked about is dotted.")
    said.append("Open chains are drawn bold." if drawing.open_chains else "No chain is open.")
    return " ".join(said)


def _lay_loops(drawing: Drawing, *, meant: Meant, rows: list[_Row]) -> Markup:
    if not drawing.loops and not drawing.centre_lines:
        return element("p", words("The drawing holds no closed loop.")) if not drawing.open_chains else EMPTY
    cells = [
        tuple(
            words(text)
            for text in (str(number), row.role, *(size.strip() for size in row.size), row.finish, row.layer, row.panel)
        )
        for number, row in enumerate(rows, start=1)
    ]
    cells += [
        tuple(words(text) for text in ("-", _say_centre_line(chain, meaning), "", "", "", "", "-", chain.layer, ""))
        for chain, meaning in zip(drawing.centre_lines, meant.centre_lines, strict=True)
    ]
    return lay_table(
        caption="Closed loops and centre lines: sizes, depths and smallest radius in mm, area in square centimetres",
        headings=("No.", "Role", "Width", "Height", "Area", "Smallest radius", "Finish", "Layer", "Panel"),
        rows=cells,
        numeric=frozenset({2, 3, 4, 5}),
    )
