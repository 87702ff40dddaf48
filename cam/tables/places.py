"""Where the tables, posts and demo parts lie: inside the wheel, or beside the source tree's ``cam``."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from cam.errors import FileRefused
from cam.findings import Origin, error


def find_data_folder(kind: Literal["tooling", "posts", "parts"]) -> Path:
    """Return the folder of castcut's own tables, posts or demo parts.

    The wheel carries them as ``cam/data/KIND``; a source tree, and an editable installation of
    it, has them beside ``cam``. The working folder plays no part.

    Raises
    ------
    FileRefused
        ``no-data-folder``, if the installation is not whole.
    """
    package = Path(__file__).resolve().parent.parent
    return pick_data_folder(package, kind=kind)


def pick_data_folder(package: Path, *, kind: str) -> Path:
    """Return the data folder that belongs to a copy of the package ``cam``.

    Raises
    ------
    FileRefused
        ``no-data-folder``.
    """
    for folder in (package / "data" / kind, package.parent / kind):
        if folder.is_dir():
            return folder
    raise FileRefused(
        error(
            "no-data-folder",
            f"castcut's own folder {kind} is missing from this installation",
            remedy="install castcut again",
            origin=Origin(file=str(package / "data" / kind)),
        )
    )
