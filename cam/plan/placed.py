"""The features of all panels where they lie on the sheet."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from cam.geometry.contour import Contour
from cam.geometry.measure import contains_point
from cam.geometry.transform import reverse
from cam.panel.panel import Finish, Role
from cam.plan.choose_cutters import Task, find_min_corner_mm
from cam.sheet.layout import Layout, place_contour, place_finishes


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlacedFeature:
    """A feature where it lies on the sheet; ``level`` counts the panels round its own, numbered ``placement``.

    ``finishes`` has the class of each segment of the wall.
    """

    task: Task
    placement: int
    level: int
    contour: Contour
    finishes: tuple[Finish, ...]

    @property
    def wall(self) -> Contour:
        """The contour, counter-clockwise."""
        return self.contour if self.task.feature.role is Role.OUTLINE else reverse(self.contour)


def place_features(layout: Layout) -> tuple[PlacedFeature, ...]:
    """Return all features of all panels on the sheet, with what limits their cutters."""
    outlines = [place_contour(p, p.panel.region.outer) for p in layout.placements]
    features: list[PlacedFeature] = []
    for i, placement in enumerate(layout.placements):
        x, y = (float(v) for v in outlines[i].points_mm[0])
        level = sum(j != i and contains_point(other, (x, y)) for j, other in enumerate(outlines))
        for feature in placement.panel.features:
            contour = place_contour(placement, placement.panel.region.contours[feature.index])
            # a full circle has one radius all round and is limited by its diameter instead
            corner = inf if feature.diameter_mm is not None else find_min_corner_mm(contour)
            task = Task(
                key=len(features),
                panel=placement.panel.name,
                feature=feature,
                min_corner_mm=corner,
                drawing=placement.panel.drawing,
            )
            finishes = place_finishes(placement, feature)
            # a wall made of a contour run the other way round has its segments in reverse order
            if feature.role is not Role.OUTLINE:
                finishes = finishes[::-1]
            features.append(PlacedFeature(task=task, placement=i, level=level, contour=contour, finishes=finishes))
    return tuple(features)
