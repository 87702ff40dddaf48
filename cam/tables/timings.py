"""Measured times of programs, as a shop writes them down: a small CSV."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from io import StringIO
from pathlib import Path

from cam.errors import FileRefused, TableRefused
from cam.findings import Finding, Origin, error

COLUMNS = ("program", "minutes")
MAX_MINUTES = 1440.0


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredTime:
    """One program and the time that it took, s."""

    program: Path
    seconds: float


def read_timings(path: Path) -> tuple[MeasuredTime, ...]:
    """Return the times of a CSV with the columns ``program`` and ``minutes``.

    Parameters
    ----------
    path
        The file; programs in it are relative to its folder. Rows without minutes are not measured yet.

    Raises
    ------
    FileRefused
        If the file cannot be read.
    TableRefused
        ``timings-malformed``, with every faulty line.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as fault:
        what = "it is not UTF-8 text" if isinstance(fault, UnicodeDecodeError) else fault.strerror
        raise FileRefused(
            error(
                "unreadable-file",
                f"the file cannot be read ({what})",
                remedy="give a CSV file with the columns program and minutes",
                origin=Origin(file=str(path)),
            )
        ) from fault
    reader = csv.reader(StringIO(text))
    heading = [cell.strip().lower() for cell in next(reader, [])]
    if [*heading[:2]] != list(COLUMNS):
        raise TableRefused(_refuse(path, 1, f"the first line must be {','.join(COLUMNS)}"))
    times: list[MeasuredTime] = []
    faults: list[Finding] = []
    for row in reader:
        cells = [cell.strip() for cell in row]
        if not any(cells) or (len(cells) > 1 and cells[0] and not cells[1]):
            continue
        why = _find_fault(cells)
        if why is None:
            times.append(MeasuredTime(program=path.parent / cells[0], seconds=60.0 * float(cells[1])))
        else:
            faults.append(_refuse(path, reader.line_num, why))
    if faults:
        raise TableRefused(*faults)
    return tuple(times)


def _find_fault(cells: list[str]) -> str | None:
    if len(cells) < len(COLUMNS) or not cells[0]:
        return "a line holds a program and its minutes"
    try:
        minutes = float(cells[1])
    except ValueError:
        return f"{cells[1]!r} is no number of minutes; write 2.5 for two minutes and a half"
    if not 0.0 < minutes <= MAX_MINUTES:
        return f"{cells[1]} minutes are not between 0 and {MAX_MINUTES:g}"
    return None


def _refuse(path: Path, line: int, why: str) -> Finding:
    return error(
        "timings-malformed",
        why,
        remedy="correct the line: program,minutes",
        origin=Origin(file=str(path), line=line),
    )
