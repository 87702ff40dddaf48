"""Numbered flags: each finding at its place in a picture, keyed to the table of findings."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import cos, isfinite, pi, sin
from pathlib import PurePath

from cam.findings import Finding, Origin, Severity
from cam.report.markup import Markup, element, join, words
from cam.report.scene import View, measure_distance_mm

_ORDER = {Severity.ERROR: 0, Severity.WARNING: 1, Severity.NOTE: 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag:
    """A finding with its number, from 1, its place in the picture and where its flag stands.

    ``place_mm`` is None for a finding without a place; for one outside the view it lies on the
    view's edge and ``in_view`` is False.
    """

    number: int
    finding: Finding
    place_mm: tuple[float, float] | None = None
    flag_mm: tuple[float, float] | None = None
    in_view: bool = False


def find_flags(
    findings: tuple[Finding, ...], *, view: View, keep_clear_mm: tuple[tuple[float, float], ...] = ()
) -> tuple[Flag, ...]:
    """Return the findings numbered, errors first, with flags that cover neither each other nor given points.

    A place outside the view is flagged at the view's edge.
    """
    flags: list[Flag] = []
    taken = list(keep_clear_mm)
    for number, finding in enumerate(sorted(findings, key=lambda each: _ORDER[each.severity]), start=1):
        place = _find_place(finding)
        if place is None:
            flags.append(Flag(number=number, finding=finding))
            continue
        inside = view.contains(*place)
        place = (
            min(max(place[0], view.min_x_mm + view.unit_mm), view.max_x_mm - view.unit_mm),
            min(max(place[1], view.min_y_mm + view.unit_mm), view.max_y_mm - view.unit_mm),
        )
        spot = _find_free_spot(place, taken=taken, view=view)
        taken.append(spot)
        flags.append(Flag(number=number, finding=finding, place_mm=place, flag_mm=spot, in_view=inside))
    return tuple(flags)


def _find_place(finding: Finding) -> tuple[float, float] | None:
    x, y = finding.origin.x_mm, finding.origin.y_mm
    if x is None or y is None or not (isfinite(x) and isfinite(y)):
        return None
    return x, y


def _find_free_spot(
    place_mm: tuple[float, float], *, taken: list[tuple[float, float]], view: View
) -> tuple[float, float]:
    unit = view.unit_mm
    first: tuple[float, float] | None = None
    for away in (3.2, 5.5, 8.0, 11.0, 14.0):
        for turn in (1, 3, 5, 7, 0, 2, 4, 6):
            angle = turn * pi / 4.0
            spot = (place_mm[0] + away * unit * cos(angle), place_mm[1] + away * unit * sin(angle))
            if not view.contains(spot[0] - 2.0 * unit, spot[1] - 2.0 * unit):
                continue
            if not view.contains(spot[0] + 2.0 * unit, spot[1] + 2.0 * unit):
                continue
            first = first or spot
            if all(measure_distance_mm(spot, other) > 3.4 * unit for other in taken):
                return spot
    return first or place_mm


def draw_flags(flags: tuple[Flag, ...], *, view: View) -> Markup:
    """Return the flags with their leaders, y downwards; each has the id ``mark-NUMBER``."""
    return element("g", join(_draw_flag(flag, view=view) for flag in flags), class_="flags")


def _draw_flag(flag: Flag, *, view: View) -> Markup:
    if flag.place_mm is None or flag.flag_mm is None:
        return Markup("")
    unit = view.unit_mm
    (x, y), (at_x, at_y) = (flag.place_mm[0], -flag.place_mm[1]), (flag.flag_mm[0], -flag.flag_mm[1])
    return element(
        "g",
        element("title", words(f"finding {flag.number}, {flag.finding.severity}: {flag.finding.message}")),
        element("line", x1=x, y1=y, x2=at_x, y2=at_y, class_="leader"),
        element("circle", cx=x, cy=y, r=0.9 * unit, class_="spot"),
        draw_shape(flag.finding.severity, x=at_x, y=at_y, size=1.5 * unit),
        element("text", words(str(flag.number)), x=at_x, y=at_y + 0.52 * unit, font_size=1.45 * unit),
        id=f"mark-{flag.number}",
        class_=f"flag {flag.finding.severity}",
    )


def draw_shape(severity: Severity, *, x: float, y: float, size: float) -> Markup:
    """Return a severity's shape: a diamond for an error, a square for a warning, a disc for a note."""
    if severity is Severity.NOTE:
        return element("circle", cx=x, cy=y, r=size, class_="shape")
    half = 1.3 * size if severity is Severity.ERROR else 0.95 * size
    turn = f"rotate(45 {x:.3f} {y:.3f})" if severity is Severity.ERROR else None
    side = 2.0 * half if severity is Severity.WARNING else 2.0 * half * 0.88
    return element("rect", x=x - side / 2, y=y - side / 2, width=side, height=side, transform=turn, class_="shape")


def name_place(origin: Origin) -> str:
    """Return where a finding lies, in words, with the file's name but not its folder."""
    return str(replace(origin, file=PurePath(origin.file).name) if origin.file else origin)
