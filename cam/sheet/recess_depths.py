"""Depths of recesses against the sheet as it was measured."""

from __future__ import annotations

from cam.errors import PanelRefused
from cam.findings import Finding, Origin, error
from cam.sheet.layout import Layout


def check_recess_depths(layout: Layout, *, is_measured: bool, min_floor_mm: float) -> None:
    """Refuse recesses and grooves that leave too little of the sheet, or whose depth nobody can vouch for.

    Parameters
    ----------
    layout
        Its heights of the sheet's upper face are the measured ones, if it was measured.
    is_measured
        Whether the sheet was measured.
    min_floor_mm
        What must stay under every recess.

    Raises
    ------
    PanelRefused
        ``thickness-not-measured``, once, or ``recess-too-deep`` for each.

    Notes
    -----
    A depth is counted from the upper face, and a cutter knows only its height above the bed: across
    the sheet's thickness tolerance a recess would come out up to twice the tolerance too deep.
    """
    findings: list[Finding] = []
    for placement in layout.placements:
        for recess in placement.panel.recesses:
            x, y = recess.region.outer.points_mm[0].tolist()
            origin = Origin(
                file=placement.panel.drawing,
                layer=recess.layer,
                handle=recess.handle,
                panel=placement.panel.name,
                feature=recess.label,
                x_mm=x,
                y_mm=y,
            )
            if not is_measured:
                raise PanelRefused(
                    error(
                        "thickness-not-measured",
                        f"a {recess.role} {recess.depth_mm:g} mm deep needs the sheet's measured thickness: a sheet of "
                        f"{layout.thickness_mm:g} mm may be {layout.min_top_mm:.1f} to {layout.max_top_mm:.1f} mm "
                        "thick, and the depth is counted from its upper face",
                        remedy="measure the sheet where it is cut and give measured_thickness_mm in [heights]",
                        origin=origin,
                    )
                )
            floor_mm = layout.min_top_mm - recess.depth_mm
            if floor_mm < min_floor_mm - 1e-9:
                findings.append(
                    error(
                        "recess-too-deep",
                        f"{recess.depth_mm:g} mm deep, it leaves {max(floor_mm, 0.0):.2f} mm of the sheet where that "
                        f"is thinnest, {layout.min_top_mm:.2f} mm; at least {min_floor_mm:g} mm must stay",
                        remedy=f"make it at most {max(layout.min_top_mm - min_floor_mm, 0.0):.2f} mm deep, take a "
                        "thicker sheet, or lower min_floor_mm in [recesses]",
                        origin=origin,
                        size_mm=min_floor_mm - floor_mm,
                    )
                )
    if findings:
        raise PanelRefused(*findings)
