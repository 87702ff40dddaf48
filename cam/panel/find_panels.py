"""Loops of a drawing to finished panels, the corner rule kept."""

from __future__ import annotations

from dataclasses import replace

from cam.drawing.drawing import Drawing
from cam.errors import PanelRefused
from cam.findings import Origin, Severity, error, has_errors
from cam.geometry.contour import Contour, Region
from cam.geometry.measure import find_size_mm, is_counter_clockwise
from cam.geometry.rounding import round_corners
from cam.geometry.transform import reverse
from cam.panel.finishes import carry_finishes, find_chief_finish, wind_finishes
from cam.panel.meanings import Meant, find_meanings
from cam.panel.names import find_names
from cam.panel.nesting import make_round
from cam.panel.panel import Feature, Finish, Panel, Role, RoundedCorner
from cam.panel.recess_corners import keep_recess_corners
from cam.panel.recesses import find_recesses
from cam.tables.job import Chamfer, LayerRule, PanelEntry

EXPECT_TOL_MM = 0.5
"""How far a panel may differ from the size that the job expects."""


def find_panels(
    drawing: Drawing,
    *,
    entry: PanelEntry,
    thickness_mm: float,
    corner_radius_mm: float,
    rules: tuple[LayerRule, ...] = (),
    chamfer: Chamfer | None = None,
    meant: Meant | None = None,
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
    rules
        The job's rules for layers, with which the drawing was read.
    chamfer
        The arris that the job wants; None for none.
    meant
        What the loops are, where that is known already.

    Raises
    ------
    PanelRefused
        If the job expects another size or number of cut-outs, or a corner cannot take the rule.
    """
    meant = meant or find_meanings(drawing, rules=rules)
    if has_errors(meant.findings):
        raise PanelRefused(*(finding for finding in meant.findings if finding.severity is Severity.ERROR))
    names = find_names(drawing, meant=meant, given=entry.name).by_loop
    panels = []
    for i in meant.outlines:
        raw = _build_panel(drawing, meant, name=names[i], outline=i, thickness_mm=thickness_mm)
        panels.append(_keep_corner_rule(raw, file=str(drawing.path), radius_mm=corner_radius_mm))
    _check_expectations(panels, drawing=drawing, entry=entry)
    panels = [
        keep_recess_corners(panel, radius_mm=corner_radius_mm)
        for panel in _add_recesses(panels, drawing=drawing, meant=meant)
    ]
    if chamfer is not None and chamfer.width_mm > 0.0:
        classes = tuple(Finish(name) for name in chamfer.on)
        panels = [replace(panel, chamfer_mm=chamfer.width_mm, chamfer_on=classes) for panel in panels]
    return tuple(panels)


def _build_panel(drawing: Drawing, meant: Meant, *, name: str, outline: int, thickness_mm: float) -> Panel:
    inside = [j for j, loop in enumerate(meant.loops) if loop.parent == outline and loop.role in _THROUGH]
    # from left to right, then upwards, so that numbers follow the eye
    inside.sort(key=lambda j: tuple(drawing.loops[j].contour.points_mm.mean(axis=0).tolist()))
    counts = {Role.CUTOUT: 0, Role.HOLE: 0}
    contours, features = [], []
    for index, j in enumerate((outline, *inside)):
        loop, meaning = drawing.loops[j], meant.loops[j]
        if index:
            counts[meaning.role] += 1
        drawn = make_round(loop.contour) if meaning.role is Role.HOLE else loop.contour
        contour = _wind(drawn, counter_clockwise=index == 0)
        turned = is_counter_clockwise(loop.contour) != (index == 0)
        as_drawn = loop.contour if not turned else reverse(loop.contour)
        finishes = wind_finishes(meaning.finishes, turned=turned)
        contours.append(contour)
        features.append(
            Feature(
                index=index,
                role=meaning.role,
                label=f"{meaning.role} {counts[meaning.role]}" if index else "outline",
                finish=find_chief_finish(finishes),
                layer=loop.layer,
                handle=loop.handle,
                diameter_mm=meaning.diameter_mm if index else None,
                finishes=carry_finishes(contour, drawn=as_drawn, finishes=finishes),
            )
        )
    return Panel(
        name=name,
        thickness_mm=thickness_mm,
        region=Region(outer=contours[0], holes=tuple(contours[1:])),
        features=tuple(features),
        drawing=str(drawing.path),
    )


_THROUGH = (Role.CUTOUT, Role.HOLE)


def _add_recesses(panels: list[Panel], *, drawing: Drawing, meant: Meant) -> list[Panel]:
    placed = find_recesses(drawing, meant, panels=tuple(panels))
    return [
        replace(panel, recesses=tuple(each.recess for each in placed if each.panel == number))
        for number, panel in enumerate(panels)
    ]


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
        features=tuple(
            replace(
                feature,
                finishes=carry_finishes(
                    contour_of[feature.index], drawn=contours[feature.index], finishes=feature.finishes
                ),
            )
            if feature.index in contour_of
            else feature
            for feature in panel.features
        ),
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
