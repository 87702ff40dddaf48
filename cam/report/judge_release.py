"""Panels that come free because the bed holds them: nothing of theirs may be cut afterwards."""

from __future__ import annotations

import numpy as np
import shapely

from cam.findings import Finding, Origin, error
from cam.report.judge_case import Case, locate_move
from cam.report.judge_gouges import CONTACT_MM, Clearances
from cam.report.judge_walls import FILM_START_MM, Removal, WallRest, find_farthest, may_come_free
from cam.tables.job import HoldKind


def judge_cut_skins(case: Case, *, removal: Removal, rests: tuple[WallRest, ...]) -> list[Finding]:
    """Return a finding for each place where a last pass through a skin left material on an outline, at the bed."""
    if case.job.hold.by is not HoldKind.SKIN:
        return []
    findings = []
    for wall, rest in zip(case.walls, rests, strict=True):
        if rest.bed or not may_come_free(case, wall):
            continue
        face = shapely.Polygon(wall.ring_mm)
        band = face.buffer(rest.radius_mm).difference(face.buffer(FILM_START_MM)).intersection(case.sheet)
        for part in shapely.get_parts(band.difference(removal.bed)):
            if part.geom_type != "Polygon" or part.is_empty:
                continue
            size, (x, y) = find_farthest(case.segments, part)
            if size > case.job.tolerances.finish_uncut_mm:
                findings.append(
                    error(
                        "material-left",
                        f"{size:.3f} mm of the skin is left on {wall.label}; "
                        f"{case.job.tolerances.finish_uncut_mm:g} mm is allowed",
                        remedy="let the last pass run where the finishing pass went",
                        origin=Origin(
                            file=case.program, panel=wall.panel, feature=wall.feature.label, x_mm=x, y_mm=y, z_mm=0.0
                        ),
                        size_mm=size,
                    )
                )
    return findings


def judge_release(case: Case, *, clearances: Clearances, rests: tuple[WallRest, ...]) -> list[Finding]:
    """Return a finding for each panel that is cut free before all inside it is cut.

    Notes
    -----
    A panel is free when its outline is cut through; from the first move along the outline at the bed on it is
    taken to be. Only panels that vacuum or tape may hold by themselves come free at all.
    """
    findings = []
    touching = np.abs(clearances.clearance_mm) <= CONTACT_MM
    tip = np.minimum(clearances.start_mm[:, 2], clearances.end_mm[:, 2])
    move = case.below.move[clearances.portion]
    first = 0
    for panel in case.panels:
        outline, inner = first, range(first + 1, first + len(panel.walls))
        first += len(panel.walls)
        if not may_come_free(case, panel.walls[0]) or rests[outline].holding:
            continue
        freeing = move[touching & (clearances.wall == outline) & (tip <= 0.0)]
        inside = move[touching & np.isin(clearances.wall, list(inner))]
        late = inside[inside > freeing.min()] if len(freeing) else inside[:0]
        if len(late):
            findings.append(
                error(
                    "cut-after-release",
                    f"{panel.name} is cut free before all inside it is cut: it may move under the cutter",
                    remedy="cut the outline of a panel that only vacuum or tape hold after all inside it",
                    origin=locate_move(case, int(late.min()), panel=panel.name),
                )
            )
    return findings
