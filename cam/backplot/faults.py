"""Faults: what one block has wrong, before it becomes a finding with its place."""

from __future__ import annotations

from cam.findings import Finding, Origin, error


class BlockFault(Exception):  # noqa: N818 - the trade's word; it never leaves the backplot
    """One thing wrong in one block.

    It is raised where the fault is seen and caught by the interpreter, which turns it into a
    finding and goes on; it is no refusal and never leaves this package.

    Parameters
    ----------
    code
        The finding's code.
    message, remedy
        Plain words; the message names the offending word.
    column
        From 1, in the line as it stands in the file.
    """

    def __init__(self, code: str, message: str, *, remedy: str, column: int) -> None:
        super().__init__(code, message)
        self.code = code
        self.message = message
        self.remedy = remedy
        self.column = column

    def as_finding(self, *, file: str | None, line: int) -> Finding:
        """Return the fault as a finding of severity error."""
        origin = Origin(file=file, line=line, column=self.column)
        return error(self.code, self.message, remedy=self.remedy, origin=origin)
