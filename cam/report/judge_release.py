"""Panels that come free because the bed holds them: nothing of theirs may be cut afterwards."""

from __future__ import annotations

import numpy as np

from cam.findings import Finding, error
from cam.report.judge_case import Case, locate_move
from cam.report.judge_gouges import CONTACT_MM, Clearances
from cam.report.judge_walls import WallRest, may_come_free


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
