"""Findings of one kind, cut short where a drawing has thousands."""

from __future__ import annotations

from collections.abc import Iterable

from cam.findings import Finding, Origin

MAX_SHOWN = 50


def cap_findings(findings: Iterable[Finding]) -> list[Finding]:
    """Return the first ``MAX_SHOWN`` findings of one kind, and one that counts the rest."""
    every = list(findings)
    rest = every[MAX_SHOWN:]
    if not rest:
        return every
    last = rest[0]
    more = Finding(
        code=last.code,
        severity=last.severity,
        message=f"and {len(rest)} more of the kind '{last.code}'",
        remedy=last.remedy,
        origin=Origin(file=last.origin.file),
    )
    return [*every[:MAX_SHOWN], more]
