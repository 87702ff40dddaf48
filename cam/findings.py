"""Findings: the things that a person must look at, each with its place and its remedy."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any


class Severity(StrEnum):
    """How much a finding weighs."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


@dataclass(frozen=True, slots=True, kw_only=True)
class Origin:
    """Where a value came from; every field that is known is said.

    Lengths are mm in the frame of the thing named: the drawing for entities, the sheet for
    moves. ``line`` and ``column`` count from 1. ``key`` is a dotted path in a TOML file.
    """

    file: str | None = None
    line: int | None = None
    column: int | None = None
    key: str | None = None
    layer: str | None = None
    handle: str | None = None
    block_path: str | None = None
    panel: str | None = None
    feature: str | None = None
    x_mm: float | None = None
    y_mm: float | None = None
    z_mm: float | None = None

    def __str__(self) -> str:
        parts = [self.file] if self.file else []
        if self.line is not None:
            parts.append(f"line {self.line}" + (f" column {self.column}" if self.column is not None else ""))
        if self.key:
            parts.append(self.key)
        parts.extend(
            f"{word} {value}"
            for word, value in (
                ("layer", self.layer),
                ("handle", self.handle),
                ("block", self.block_path),
                ("panel", self.panel),
            )
            if value
        )
        if self.feature:
            parts.append(self.feature)
        if self.x_mm is not None and self.y_mm is not None:
            z = f", {self.z_mm:.3f}" if self.z_mm is not None else ""
            parts.append(f"at ({self.x_mm:.3f}, {self.y_mm:.3f}{z}) mm")
        return ": ".join(parts)

    def as_document(self) -> dict[str, Any]:
        """Return the known fields by name, for ``--json``."""
        return {name: getattr(self, name) for name in self.__slots__ if getattr(self, name) is not None}


NOWHERE = Origin()


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that a person must look at.

    ``code`` is two or three plain words joined by hyphens, stable, and documented by the page
    ``cam/explanations/CODE.md`` that ``castcut explain CODE`` prints. ``size_mm`` is the measure
    of the fault where it has one (a gap, a gouge).
    """

    code: str
    severity: Severity
    message: str
    remedy: str
    origin: Origin = NOWHERE
    size_mm: float | None = None

    def __str__(self) -> str:
        place = str(self.origin)
        return f"{place}: {self.message}" if place else self.message

    def as_document(self) -> dict[str, Any]:
        """Return the finding as plain values, for ``--json``."""
        document: dict[str, Any] = {
            "code": self.code,
            "severity": str(self.severity),
            "message": self.message,
            "remedy": self.remedy,
            "origin": self.origin.as_document(),
        }
        if self.size_mm is not None:
            document["size_mm"] = self.size_mm
        return document


def error(code: str, message: str, *, remedy: str, origin: Origin = NOWHERE, size_mm: float | None = None) -> Finding:
    """Return a finding of severity error.

    Examples
    --------
    >>> str(error("no-such-file", "there is no such file", remedy="check the path", origin=Origin(file="a.dxf")))
    'a.dxf: there is no such file'
    """
    return Finding(code=code, severity=Severity.ERROR, message=message, remedy=remedy, origin=origin, size_mm=size_mm)


def warning(code: str, message: str, *, remedy: str, origin: Origin = NOWHERE, size_mm: float | None = None) -> Finding:
    """Return a finding of severity warning."""
    return Finding(code=code, severity=Severity.WARNING, message=message, remedy=remedy, origin=origin, size_mm=size_mm)


def note(
    code: str, message: str, *, remedy: str = "", origin: Origin = NOWHERE, size_mm: float | None = None
) -> Finding:
    """Return a finding of severity note."""
    return Finding(code=code, severity=Severity.NOTE, message=message, remedy=remedy, origin=origin, size_mm=size_mm)


def has_errors(findings: tuple[Finding, ...] | list[Finding]) -> bool:
    """Return whether any finding is of severity error."""
    return any(finding.severity is Severity.ERROR for finding in findings)
