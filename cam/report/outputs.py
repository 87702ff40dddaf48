"""Writing files: all of a command's files together, none over another without being told to."""

from __future__ import annotations

import os
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from cam.errors import FileRefused
from cam.findings import Finding, Origin, error


@dataclass(frozen=True, slots=True, kw_only=True)
class Output:
    """A file to write, and the files that would tell another story beside it.

    ``belied_by`` names what an earlier run may have left: beside an unproven program, the proven
    one of the same name.
    """

    path: Path
    text: str
    belied_by: tuple[Path, ...] = ()


def check_folder(folder: Path) -> None:
    """Refuse a folder that cannot take files: before the work, not after it.

    Raises
    ------
    FileRefused
        ``out-not-writable``. A folder that does not exist must have a parent that takes it.
    """
    place = folder if folder.exists() else folder.parent
    if not place.exists():
        raise FileRefused(_refuse_folder(folder, f"there is no folder {place} to make it in"))
    if not place.is_dir():
        raise FileRefused(_refuse_folder(folder, f"{place} is a file, not a folder"))
    if not os.access(place, os.W_OK | os.X_OK):
        raise FileRefused(_refuse_folder(folder, f"{place} does not let this user write"))


def check_overwrite(outputs: Sequence[Output]) -> None:
    """Refuse to write over files, or beside files that the new ones belie.

    Raises
    ------
    FileRefused
        ``would-overwrite``, with a finding for each file in the way.
    """
    faults = []
    for output in outputs:
        if output.path.exists():
            faults.append(_refuse_file(output.path, "the file exists already"))
        for other in output.belied_by:
            if other.exists():
                faults.append(
                    _refuse_file(other, f"an earlier run left {other.name}, which {output.path.name} would belie")
                )
    if faults:
        raise FileRefused(*faults)


def write_outputs(outputs: Sequence[Output]) -> tuple[Path, ...]:
    """Write files all together and remove those that they belie; return the removed ones.

    Every text is written whole beside its place before the first file gets its name, so that a
    full disk leaves nothing half-written.

    Raises
    ------
    FileRefused
        ``out-not-writable``.
    """
    pending: list[tuple[Path, Path]] = []
    made: list[Path] = []
    removed: list[Path] = []
    done = False
    try:
        for output in outputs:
            folder = output.path.parent
            for missing in reversed([each for each in (folder, *folder.parents) if not each.exists()]):
                missing.mkdir()
                made.append(missing)
            if output.path.is_dir():
                raise FileRefused(_refuse_folder(output.path, "a folder has this name"))
            part = output.path.with_name(f".{output.path.name}.{os.getpid()}.part")
            pending.append((part, output.path))
            part.write_bytes(output.text.encode("utf-8"))
        for output in outputs:
            for other in output.belied_by:
                if other.exists():
                    other.unlink()
                    removed.append(other)
        while pending:
            part, path = pending[0]
            part.replace(path)
            pending.pop(0)
        done = True
    except OSError as failure:
        where = pending[0][1] if pending else outputs[0].path
        raise FileRefused(_refuse_folder(where, failure.strerror or str(failure))) from failure
    finally:
        if not done:
            _clear(pending, made=made)
    return tuple(removed)


def _clear(pending: list[tuple[Path, Path]], *, made: list[Path]) -> None:
    # what stopped the writing may stop the clearing too; the first failure is the one to report
    for part, _ in pending:
        with suppress(OSError):
            part.unlink(missing_ok=True)
    for folder in reversed(made):
        with suppress(OSError):
            folder.rmdir()


def _refuse_folder(path: Path, reason: str) -> Finding:
    return error(
        "out-not-writable",
        f"nothing can be written here: {reason}",
        remedy="name another folder with --out, or make it writable",
        origin=Origin(file=str(path)),
    )


def _refuse_file(path: Path, reason: str) -> Finding:
    return error(
        "would-overwrite",
        reason,
        remedy="keep it and name another folder with --out, or give --force to replace it",
        origin=Origin(file=str(path)),
    )
