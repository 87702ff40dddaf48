"""Marks and letters on the picture: bridges, changed corners, names of panels, ruler, work zero.

They stay upright and keep their size against the view: y runs downwards here, unlike in the scene.
"""

from __future__ import annotations

import numpy as np

from cam.geometry.contour import Region, find_segments
from cam.geometry.measure import contains_point, find_bounds_mm, find_distances_mm
from cam.report.clamps import draw_labels
from cam.report.markup import Markup, element, format_number, join, words
from cam.report.scene import PlacedCorner, Scene, View, name_panel
from cam.report.strokes import Bridge
from cam.sheet.layout import Layout


def draw_marks(scene: Scene, *, view: View) -> Markup:
    """Return bridges, changed corners, names of panels and the ruler, y downwards and unturned."""
    unit = view.unit_mm
    bridges = [_draw_bridge(bridge, unit_mm=unit) for bridge in scene.bridges]
    corners = [
        element("g", _draw_corner(corner, unit_mm=unit), id=f"corner-{corner.number}") for corner in scene.corners
    ]
    names = []
    for placement, region in zip(scene.layout.placements, scene.regions, strict=True):
        x, y = find_label_point(region)
        names.append(element("text", words(name_panel(placement)), x=x, y=-y, class_="name", font_size=1.7 * unit))
    return join(
        (
            _draw_ruler(scene.layout, unit_mm=unit),
            element("g", *names, class_="names"),
            *([_draw_clamps(scene, view=view)] if scene.keep_outs else []),
            element("g", *bridges, class_="bridges"),
            element("g", *corners, class_="corners"),
        )
    )


def _draw_clamps(scene: Scene, *, view: View) -> Markup:
    return draw_labels(scene.keep_outs, min_x_mm=view.min_x_mm, max_x_mm=view.max_x_mm, unit_mm=view.unit_mm)


def draw_window_marks(scene: Scene, *, view: View) -> Markup:
    """Return the bridges and changed corners of a part of the sheet; they have no ids here."""
    unit = view.unit_mm
    bridges = [_draw_bridge(each, unit_mm=unit) for each in scene.bridges if view.contains(each.x_mm, each.y_mm)]
    corners = [_draw_corner(each, unit_mm=unit) for each in scene.corners if view.contains(each.x_mm, each.y_mm)]
    return join((element("g", *bridges, class_="bridges"), element("g", *corners, class_="corners")))


def _draw_bridge(bridge: Bridge, *, unit_mm: float) -> Markup:
    x, y, half = bridge.x_mm, -bridge.y_mm, 0.55 * unit_mm
    bow = f"M{_xy(x - half, y - half)}V{format_number(y + half)}L{_xy(x + half, y - half)}V{format_number(y + half)}Z"
    said = f"bridge kept, {bridge.height_mm:.2f} mm high above the bed"
    return element("path", element("title", words(said)), d=bow, class_="bridge")


def _draw_corner(placed: PlacedCorner, *, unit_mm: float) -> Markup:
    x, y = placed.x_mm, -placed.y_mm
    said = (
        f"changed corner C{placed.number}: {placed.corner.feature}, radius {placed.corner.radius_before_mm:.2f} mm "
        f"drawn, {placed.corner.radius_mm:.2f} mm now"
    )
    return element(
        "g",
        element("title", words(said)),
        element("circle", cx=x, cy=y, r=0.65 * unit_mm, class_="corner"),
        element("text", words(f"C{placed.number}"), x=x + 0.8 * unit_mm, y=y - 0.7 * unit_mm, font_size=1.2 * unit_mm),
    )


def _draw_ruler(layout: Layout, *, unit_mm: float) -> Markup:
    """Return ticks with figures along the sheet's lower and left edges, and the work zero."""
    step = next(step for step in (10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 1e9) if step >= 7.0 * unit_mm)
    ticks, figures = "", []
    for at in np.arange(0.0, layout.width_mm + 1e-6, step).tolist():
        ticks += f"M{_xy(at, 0.6 * unit_mm)}v{format_number(unit_mm)}"
        figures.append(_figure(at, x=at, y=2.9 * unit_mm, anchor="middle", unit_mm=unit_mm))
    for at in np.arange(0.0, layout.height_mm + 1e-6, step).tolist():
        ticks += f"M{_xy(-0.6 * unit_mm, -at)}h{format_number(-unit_mm)}"
        figures.append(_figure(at, x=-1.9 * unit_mm, y=0.4 * unit_mm - at, anchor="end", unit_mm=unit_mm))
    long = format_number(4.0 * unit_mm)
    return element(
        "g",
        element("path", d=ticks, class_="tick"),
        *figures,
        element("path", d=f"M0 -{long}V0H{long}", class_="zero"),
        element("circle", cx=0.0, cy=0.0, r=0.5 * unit_mm, class_="zero-point"),
        class_="ruler",
    )


def _figure(value: float, *, x: float, y: float, anchor: str, unit_mm: float) -> Markup:
    return element("text", words(format_number(value)), x=x, y=y, text_anchor=anchor, font_size=1.2 * unit_mm)


def _xy(x: float, y: float) -> str:
    return f"{format_number(x)} {format_number(y)}"


def find_label_point(region: Region) -> tuple[float, float]:
    """Return a point of a region's material, far from its edges as a coarse scan finds."""
    min_x, min_y, max_x, max_y = find_bounds_mm(region.outer)
    segments = [find_segments(contour.vertices) for contour in region.contours]
    best, depth = ((min_x + max_x) / 2.0, (min_y + max_y) / 2.0), -1.0
    for i in range(1, 12):
        for j in range(1, 12):
            point = (min_x + (max_x - min_x) * i / 12.0, min_y + (max_y - min_y) * j / 12.0)
            if not contains_point(region.outer, point) or any(contains_point(hole, point) for hole in region.holes):
                continue
            distance = min(float(find_distances_mm(each, point).min()) for each in segments)
            if distance > depth + 1e-9:
                best, depth = point, distance
    return best
