"""A workingstep as the report shows it; filled by the pipeline, so that the report knows no plan."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanRow:
    """One workingstep in words and numbers, with the reason of every number.

    ``feed_mm_per_min`` is that of roughing. ``time_s`` is what the clock gives the step's lines of the
    program, tool change and waiting included; None for what nobody timed.
    """

    number: int
    feature: str
    operation: str
    cutter: str
    rpm: float
    feed_mm_per_min: float
    passes: int
    holding: str
    reasons: tuple[str, ...] = ()
    finish_feed_mm_per_min: float | None = None
    allowance_mm: float | None = None
    entry: str = ""
    time_s: float | None = None
