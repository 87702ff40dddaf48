"""Recesses, rebates and grooves: areas of the upper face, each on the panel whose material it lies in."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import shapely

from cam.drawing.drawing import Drawing, Loop, OpenChain
from cam.errors import PanelRefused
from cam.findings import Finding, error
from cam.geometry.contour import Contour, Region
from cam.geometry.flatten import flatten
from cam.geometry.measure import is_counter_clockwise
from cam.geometry.offset.widen import widen_loop, widen_path
from cam.geometry.transform import reverse
from cam.panel.meanings import Meant, find_origin
from cam.panel.panel import Panel, Recess, Role

CHORD_TOL_MM = 0.005
MIN_SHARED_MM2 = 0.01
"""A recess that shares less than this with a panel only touches it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlacedRecess:
    """A recess with the panel that it lies on, by number."""

    panel: int
    recess: Recess


def find_recesses(drawing: Drawing, meant: Meant, *, panels: tuple[Panel, ...]) -> tuple[PlacedRecess, ...]:
    """Return the recesses and grooves of a drawing as they are drawn, each with its panel.

    Parameters
    ----------
    panels
        The panels of the drawing.

    Raises
    ------
    PanelRefused
        ``recess-off-panel``, for each that lies on no panel or on several.
    """
    drawn: list[tuple[Loop | OpenChain, Recess]] = [*_find_areas(drawing, meant)]
    drawn += _find_centre_lines(drawing, meant)
    if not drawn:
        return ()
    materials = np.array([build_polygon(panel.region) for panel in panels])
    placed: list[PlacedRecess] = []
    findings: list[Finding] = []
    for source, recess in drawn:
        shared = shapely.area(shapely.intersection(materials, build_polygon(recess.region)))
        on = np.flatnonzero(shared > MIN_SHARED_MM2).tolist()
        if len(on) == 1:
            placed.append(PlacedRecess(panel=on[0], recess=recess))
        else:
            names = " and ".join(panels[i].name for i in on)
            message = f"the {recess.role} lies on {'the panels ' + names if on else 'the material of no panel'}"
            remedy = "draw one on each panel" if on else "draw it on the panel, or put it on a layer that is ignored"
            origin = find_origin(source, file=str(drawing.path))
            findings.append(error("recess-off-panel", message, remedy=remedy, origin=origin))
    if findings:
        raise PanelRefused(*findings)
    return _label(placed)


def build_polygon(region: Region) -> shapely.Polygon:
    """Return a region as a polygon of chords."""
    outer, *holes = (flatten(contour, chord_tol_mm=CHORD_TOL_MM) for contour in region.contours)
    return shapely.Polygon(outer, holes)


def _find_areas(drawing: Drawing, meant: Meant) -> Iterable[tuple[Loop, Recess]]:
    """Return the loops of recesses with the islands in them, and the rings of closed centre lines."""
    islands: dict[int, list[Contour]] = {}
    for i, meaning in enumerate(meant.loops):
        if meaning.is_island and meaning.parent is not None:
            islands.setdefault(meaning.parent, []).append(_wind(drawing.loops[i].contour, counter_clockwise=False))
    for i, (loop, meaning) in enumerate(zip(drawing.loops, meant.loops, strict=True)):
        if meaning.role not in (Role.RECESS, Role.GROOVE) or meaning.is_island:
            continue
        assert meaning.depth_mm is not None
        plain = Recess(
            label="",
            role=meaning.role,
            region=Region(outer=_wind(loop.contour, counter_clockwise=True), holes=tuple(islands.get(i, ()))),
            depth_mm=meaning.depth_mm,
            layer=loop.layer,
            handle=loop.handle,
        )
        if meaning.role is Role.RECESS:
            yield loop, plain
        else:
            assert meaning.width_mm is not None
            first = loop.contour.vertices[:1] * np.array([1.0, 1.0, 0.0])
            yield (
                loop,
                replace(
                    plain,
                    region=widen_loop(loop.contour, width_mm=meaning.width_mm),
                    centre_line=np.concatenate((loop.contour.vertices, first)),
                    width_mm=meaning.width_mm,
                ),
            )


def _find_centre_lines(drawing: Drawing, meant: Meant) -> Iterable[tuple[OpenChain, Recess]]:
    for chain, meaning in zip(drawing.centre_lines, meant.centre_lines, strict=True):
        assert meaning.depth_mm is not None and meaning.width_mm is not None
        yield (
            chain,
            Recess(
                label="",
                role=Role.GROOVE,
                region=widen_path(chain.vertices, width_mm=meaning.width_mm),
                depth_mm=meaning.depth_mm,
                layer=chain.layer,
                handle=chain.handle,
                centre_line=chain.vertices,
                width_mm=meaning.width_mm,
            ),
        )


def _wind(contour: Contour, *, counter_clockwise: bool) -> Contour:
    return contour if is_counter_clockwise(contour) == counter_clockwise else reverse(contour)


def _label(placed: list[PlacedRecess]) -> tuple[PlacedRecess, ...]:
    """Return the recesses numbered panel by panel, from left to right, then upwards, as the eye goes."""
    placed = sorted(placed, key=lambda each: (each.panel, *each.recess.region.outer.points_mm.mean(axis=0).tolist()))
    counts: dict[tuple[int, Role], int] = {}
    labelled = []
    for each in placed:
        key = each.panel, each.recess.role
        counts[key] = counts.get(key, 0) + 1
        recess = replace(each.recess, label=f"{each.recess.role} {counts[key]}")
        labelled.append(replace(each, recess=recess))
    return tuple(labelled)
