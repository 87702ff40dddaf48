"""The error tree: every exception is a refusal, with its exit code and its remedy.

A refusal means that castcut will not go on. Something that a person must look at while the
work goes on is a :class:`cam.findings.Finding`, returned beside the result.

::

    Refusal                 exit code 2
      FileRefused           a file or folder that cannot be read or written
      DrawingRefused        a drawing that gives no certain contours
      TableRefused          an unknown or invalid row, key or value in tooling/, posts/ or a job
      PanelRefused          a panel that breaks its rules
      LayoutRefused         panels that do not fit the sheet
      PlanRefused           a panel that no cutter, machine or holding can cut
      ProgramRefused        moves that the controller cannot express
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

if TYPE_CHECKING:
    from cam.findings import Finding


class Refusal(Exception):  # noqa: N818 - the glossary's word
    """Work that castcut declines, with every reason found so far.

    Parameters
    ----------
    *findings
        At least one finding of severity error; the first is the one shown.
    """

    exit_code: ClassVar[int] = 2

    def __init__(self, *findings: Finding) -> None:
        if not findings:
            raise ValueError("a refusal names at least one finding")
        super().__init__(*findings)
        self.findings = findings

    def __str__(self) -> str:
        return "\n".join(str(finding) for finding in self.findings)


class FileRefused(Refusal):
    """A file or folder that cannot be read or written."""


class DrawingRefused(Refusal):
    """A drawing that gives no certain contours."""


class TableRefused(Refusal):
    """An unknown or invalid row, key or value in tooling/, posts/ or a job."""


class PanelRefused(Refusal):
    """A panel that breaks its rules."""


class LayoutRefused(Refusal):
    """Panels that do not fit the sheet."""


class PlanRefused(Refusal):
    """A panel that no cutter, machine or holding can cut."""


class ProgramRefused(Refusal):
    """Moves that the controller cannot express."""
