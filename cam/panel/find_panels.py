"""Loops of a drawing to finished panels, the corner rule kept."""

from __future__ import annotations

from dataclasses import replace

from cam.drawing.drawing import Drawing, Loop
from cam.errors import PanelRefused
from cam.findings import Origin, error
from cam.geometry.contour import Contour, Region
from cam.geometry.measure import find_size_mm, is_counter_clockwise
from cam.geometry.rounding import round_corners
from cam.geometry.transform import reverse
from cam.panel.nesting import Nest, find_nesting
from cam.panel.panel import Feature, Finish, Panel, Role, RoundedCorner
from cam.tables.job import PanelEntry

EXPECT_TOL_MM = 0.5
"""How far a panel may differ from the size that the job expects."""


def find_panels(
    drawing: Drawing, *, entry: PanelEntry, thickness_mm: float, corner_radius_mm: float
) -> tuple[Panel, ...]:
    """Return the panels of a drawing in its own frame, largest first.

    Parameters
    ----------
    drawing
        A drawing without faults; see :func:`cam.drawing.read.refuse_faults`.
    entry
        The job's entry for the drawing: its name and what the job expects of it.
    thickness_mm
        Nominal thickness of the sheet.
    corner_radius_mm
        The corner rule's radius.

    Raises
    ------
    PanelRefused
        If the job expects another size or number of cut-outs, or a corner cannot take the rule.
    """
    nests = find_nesting(tuple(loop.contour for loop in drawing.loops))
    outlines = [i for i, nest in enumerate(nests) if nest.role is Role.OUTLINE]
    outlines.sort(key=lambda i: (nests[i].depth, -_box_area_mm2(drawing.loops[i].contour)))
    base = entry.name or drawing.path.stem
    panels = []
    for number, i in enumerate(outlines, start=1):
        name = base if len(outlines) == 1 else f"{base}-{number}"
        inside = [j for j, nest in enumerate(nests) if nest.parent == i and nest.role is not Role.OUTLINE]
        raw = _build_panel(
            drawing.loops,
            nests,
            name=name,
            outline=i,
            inside=inside,
            thickness_mm=thickness_mm,
            drawing=str(drawing.path),
        )
        panels.append(_keep_corner_rule(raw, file=str(drawing.path), radius_mm=corner_radius_mm))
    _check_expectations(panels, drawing=drawing, entry=entry)
    return tuple(panels)


def _box_area_mm2(contour: Contour) -> float:
    width, height = find_size_mm(contour)
    return width * height


def _build_panel(
    loops: tuple[Loop, ...],
    nests: tuple[Nest, ...],
    *,
    name: str,
    outline: int,
    inside: list[int],
    thickness_mm: float,
    drawing: str,
) -> Panel:
    # from left to right, then upwards, so that numbers follow the eye
    inside.sort(key=lambda j: tuple(loops[j].contour.points_mm.mean(axis=0).tolist()))
    counts = {Role.CUTOUT: 0, Role.HOLE: 0}
    features = [
        Feature(
            index=0,
            role=Role.OUTLINE,
            label="outline",
            finish=Finish.SHOWN,
            layer=loops[outline].layer,
            handle=loops[outline].handle,
        )
    ]
    holes = []
    for index, j in enumerate(inside, start=1):
        role = nests[j].role
        counts[role] += 1
        holes.append(_wind(loops[j].contour, counter_clockwise=False))
        features.append(
            Feature(
                index=index,
                role=role,
                label=f"{role} {counts[role]}",
                finish=Finish.HIDDEN,
                layer=loops[j].layer,
                handle=loops[j].handle,
                diameter_mm=nests[j].diameter_mm,
            )
        )
    return Panel(
        name=name,
        thickness_mm=thickness_mm,
        region=Region(outer=_wind(loops[outline].contour, counter_clockwise=True), holes=tuple(holes)),
        features=tuple(features),
        drawing=drawing,
    )


def _wind(contour: Contour, *, counter_clockwise: bool) -> Contour:
    return contour if is_counter_clockwise(contour) == counter_clockwise else reverse(contour)


def _keep_corner_rule(panel: Panel, *, file: str, radius_mm: float) -> Panel:
    """Return the panel with its re-entrant corners rounded; refusals gain the panel and its feature."""
    by_index = {feature.index: feature for feature in panel.features}
    # a full circle has no corner: a hole below the rule's radius is a hole, not a tight corner
    ruled = [f.index for f in panel.features if f.role is not Role.HOLE]
    contours = panel.region.contours
    ruled_region = Region(outer=contours[0], holes=tuple(contours[i] for i in ruled if i))
    try:
        rounded = round_corners(ruled_region, radius_mm=radius_mm)
    except PanelRefused as refusal:
        raise PanelRefused(
            *(
                replace(finding, origin=replace(finding.origin, file=file, panel=panel.name))
                for finding in refusal.findings
            )
        ) from refusal
    contour_of = dict(zip(ruled, rounded.region.contours, strict=True))
    return replace(
        panel,
        region=Region(
            outer=contour_of[0], holes=tuple(contour_of.get(i, contours[i]) for i in range(1, len(contours)))
        ),
        rounded=tuple(
            RoundedCorner(
                feature=by_index[ruled[change.contour]].label,
                x_mm=change.x_mm,
                y_mm=change.y_mm,
                radius_before_mm=change.radius_before_mm,
                radius_mm=change.radius_mm,
            )
            for change in rounded.corners
        ),
    )


def _check_expectations(panels: list[Panel], *, drawing: Drawing, entry: PanelEntry) -> None:
    if entry.expect_size_mm is not None:
        width, height = find_size_mm(panels[0].region.outer)
        want_width, want_height = entry.expect_size_mm
        if abs(width - want_width) > EXPECT_TOL_MM or abs(height - want_height) > EXPECT_TOL_MM:
            raise PanelRefused(
                error(
                    "unexpected-size",
                    f"the panel measures {width:.2f} x {height:.2f} mm, but the job expects "
                    f"{want_width:g} x {want_height:g} mm",
                    remedy=f"check the drawing's units (read as {drawing.units}) and expect_size_mm in the job",
                    origin=Origin(file=str(drawing.path), panel=panels[0].name),
                )
            )
    if entry.expect_cutouts is not None:
        count = sum(len(panel.features) - 1 for panel in panels)
        if count != entry.expect_cutouts:
            raise PanelRefused(
                error(
                    "unexpected-cutouts",
                    f"the drawing has {count} cut-outs and holes, but the job expects {entry.expect_cutouts}",
                    remedy="check the drawing for lost or doubled loops, and expect_cutouts in the job",
                    origin=Origin(file=str(drawing.path), panel=panels[0].name),
                )
            )
