"""Exact offsets of regions: lines stay lines, arcs stay arcs."""

from cam.geometry.offset.region import offset_region

__all__ = ["offset_region"]
