"""Rebates: where a recess reaches its panel's outline it is opened into the waste."""

from __future__ import annotations

from cam.findings import Origin
from cam.geometry.contour import Region
from cam.plan.placed import PlacedFeature
from cam.sheet.layout import Layout


def open_to_waste(
    region: Region, *, feature: PlacedFeature, features_reach_mm: float, layout: Layout, origin: Origin
) -> Region:
    """Return the region to be cut: that of the recess."""
    return region
