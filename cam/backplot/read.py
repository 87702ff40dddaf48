"""Program files to text."""

from __future__ import annotations

from pathlib import Path

from cam.errors import FileRefused
from cam.findings import Origin, error

MAX_PROGRAM_BYTES = 200_000_000
"""About five million blocks; more does not fit the memory of a small machine."""

_TEXT_CONTROLS = frozenset(b"\t\n\r\f\v")


def read_program(path: Path) -> str:
    """Return the text of a program file.

    Parameters
    ----------
    path
        A text file in ASCII or UTF-8; comments in another encoding are taken as Latin-1, since
        outside comments the language has no other characters anyway.

    Raises
    ------
    FileRefused
        If there is no such file, it is a folder, empty, too large, not text, or cannot be read.
    """
    try:
        size = path.stat().st_size
        if path.is_dir():
            raise _refused("not-a-file", "this is a folder, not a file", path, "name the program file in it")
        if size > MAX_PROGRAM_BYTES:
            message = f"the file has {size} bytes; {MAX_PROGRAM_BYTES} are the most"
            raise _refused("file-too-large", message, path, "split the program, or check that it is one")
        data = path.read_bytes()
    except FileNotFoundError as missing:
        raise _refused("no-such-file", "there is no such file", path, "check the name and the folder") from missing
    except OSError as failure:
        message = f"the file cannot be read: {failure.strerror or failure}"
        raise _refused("unreadable-file", message, path, "check its permissions and the disk") from failure
    if not data.strip():
        raise _refused("empty-file", "the file is empty", path, "write the program again")
    _refuse_binary(data, path)
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def _refused(code: str, message: str, path: Path, remedy: str, *, line: int | None = None) -> FileRefused:
    return FileRefused(error(code, message, remedy=remedy, origin=Origin(file=str(path), line=line)))


def _refuse_binary(data: bytes, path: Path) -> None:
    """Refuse a file with characters that no text has, naming the first."""
    controls = bytes(value for value in range(32) if value not in _TEXT_CONTROLS)
    if len(data.translate(None, controls)) == len(data):
        return
    at = next(index for index, value in enumerate(data) if value in controls)
    line = data.count(b"\n", 0, at) + 1
    message = f"this is no text: byte {at + 1} has the value {data[at]}"
    raise _refused("not-a-program", message, path, "name an RS-274 program saved as plain text", line=line)
