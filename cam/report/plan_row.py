"""A workingstep as the report shows it; filled by the pipeline, so that the report knows no plan."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanRow:
    """One workingstep in words and numbers, with the reason of every number."""

    number: int
    feature: str
    operation: str
    cutter: str
    rpm: float
    feed_mm_per_min: float
    passes: int
    holding: str
    reasons: tuple[str, ...] = ()
