"""Rounding of re-entrant corners: where a disc of the rule's radius cannot reach, material stays."""

from cam.geometry.rounding.measure import find_min_reentrant_radius_mm
from cam.geometry.rounding.region import CornerChange, RoundedRegion, round_corners

__all__ = ["CornerChange", "RoundedRegion", "find_min_reentrant_radius_mm", "round_corners"]
