"""The verdict: what the judge found, in numbers and findings."""

from __future__ import annotations

from dataclasses import dataclass

from cam.findings import Finding, has_errors


@dataclass(frozen=True, slots=True, kw_only=True)
class Deviation:
    """Panel against sweep: the deepest gouge, the most material left on a finished wall, the error bound."""

    gouge_max_mm: float
    uncut_max_mm: float
    bound_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CornersAsCut:
    """Re-entrant corners: how many, how many the corner rule changed, the smallest radius as cut (inf if none)."""

    count: int
    rounded: int
    min_radius_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What the judge says of one program."""

    findings: tuple[Finding, ...]
    deviation: Deviation
    corners: CornersAsCut

    @property
    def proven(self) -> bool:
        """Whether nothing of severity error was found."""
        return not has_errors(self.findings)

    def __str__(self) -> str:
        return "proven" if self.proven else "not proven"
