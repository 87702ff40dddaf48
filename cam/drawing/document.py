"""A DXF file to ezdxf's document, or a refusal that says why not."""

from __future__ import annotations

import logging
import re
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ezdxf import recover
from ezdxf.document import Drawing as Document
from ezdxf.entities.dxfgfx import DXFGraphic
from ezdxf.filemanagement import readfile
from ezdxf.lldxf.const import DXFError

from cam.errors import DrawingRefused, FileRefused
from cam.findings import Finding, Origin, error, warning

MAX_BYTES = 200_000_000
BINARY_SENTINEL = b"AutoCAD Binary DXF\r\n\x1a\x00"
ASCII_END = re.compile(rb"(?:^|[\r\n])[ \t]*0[ \t]*\r?\n[ \t]*EOF[ \t\r\n\x00\x1a]*\Z")
BINARY_END = re.compile(rb"\x00EOF\x00\s*\Z")

# words of ezdxf's log after which the drawing is no longer the one that was drawn
LOSSES = (
    "recovered invalid floating point",
    "outside a SECTION",
    "ignoring content",
    "Ignoring BLOCK",
    "Ignoring invalid",
)
MAX_WORDS = 1000

# what ezdxf lets out when a file's tags are not what its structure promises: its own errors, and
# those of the plain Python under them. Nothing of castcut runs where these are caught.
LIBRARY_FAULTS = (
    DXFError,
    ValueError,
    TypeError,
    LookupError,
    AttributeError,
    ArithmeticError,
    AssertionError,
    RecursionError,
    StopIteration,
    OSError,
    struct.error,
)


def read_bytes(path: Path) -> bytes:
    """Return the content of a file.

    Raises
    ------
    FileRefused
        If there is no such file, it is a folder, it is empty, too large or may not be read.
    """
    try:
        if not path.exists():
            raise FileRefused(_refuse(path, "no-such-file", "there is no such file", "check the path"))
        if path.is_dir():
            raise FileRefused(_refuse(path, "not-a-file", "this is a folder", "name the DXF file inside it"))
        if path.stat().st_size > MAX_BYTES:
            message = f"the file is larger than {MAX_BYTES} bytes"
            raise FileRefused(_refuse(path, "file-too-large", message, "save the panel alone in a drawing of its own"))
        data = path.read_bytes()
    except (OSError, ValueError) as fault:
        message = f"the file cannot be read: {getattr(fault, 'strerror', None) or fault}"
        raise FileRefused(_refuse(path, "unreadable-file", message, "check its name and who may read it")) from fault
    if not data.strip():
        raise FileRefused(_refuse(path, "empty-file", "the file is empty", "save the drawing again as DXF"))
    return data


def read_document(path: Path, data: bytes) -> tuple[Document, list[Finding]]:
    """Return the document in a DXF file whose content has been read, and what had to be mended in it.

    Raises
    ------
    DrawingRefused
        If it is no DXF file, or ends before its end mark, or its structure is broken.
    """
    is_binary = data.startswith(BINARY_SENTINEL)
    if not is_binary and not _looks_like_text_dxf(data):
        remedy = "save the drawing as DXF from the program that it was drawn with"
        message = "this is not a DXF file, whatever its name says"
        raise DrawingRefused(_refuse(path, "not-a-drawing", message, remedy))
    if not (BINARY_END if is_binary else ASCII_END).search(data[-200:]):
        message = f"the file ends after {len(data)} bytes without the end mark of a DXF file"
        remedy = "copy or export the file again; what is missing cannot be known"
        raise DrawingRefused(_refuse(path, "truncated-drawing", message, remedy))
    try:
        with _listening() as words:
            document = readfile(path)
            document.modelspace()
    except LIBRARY_FAULTS as fault:
        return _recover(path, first_fault=fault)
    return document, _note_words(path, words, why="")


def _recover(path: Path, *, first_fault: Exception) -> tuple[Document, list[Finding]]:
    """Read a file again by ezdxf's recovery, which drops or mends what its strict reader refuses."""
    try:
        with _listening() as words:
            document, auditor = recover.readfile(path)
            document.modelspace()
    except LIBRARY_FAULTS:
        raise DrawingRefused(_damaged(path, str(first_fault))) from first_fault
    if auditor.has_errors:
        raise DrawingRefused(_damaged(path, auditor.errors[0].message)) from first_fault
    for fix in auditor.fixes:
        if isinstance(fix.entity, DXFGraphic) and not fix.entity.is_alive:
            raise DrawingRefused(_damaged(path, fix.message)) from first_fault
    words += [fix.message for fix in auditor.fixes]
    return document, _note_words(path, words or ["nothing is missing"], why=f" ({first_fault})")


def _note_words(path: Path, words: list[str], *, why: str) -> list[Finding]:
    """Return what the library had to say about a file, or refuse if it guessed a number or dropped content."""
    for word in words:
        if any(loss in word for loss in LOSSES):
            raise DrawingRefused(_damaged(path, word))
    if not words:
        return []
    message = f"the file is damaged{why} and was mended while reading, {len(words)} repairs, first: {words[0]}"
    remedy = "compare the picture with the drawing, or export the drawing again"
    return [warning("recovered-drawing", message, remedy=remedy, origin=Origin(file=str(path)))]


@contextmanager
def _listening() -> Iterator[list[str]]:
    """Collect the warnings that ezdxf logs, each once, instead of letting them out to stderr."""
    words: dict[str, None] = {}

    class Listener(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            if len(words) < MAX_WORDS:
                words[record.getMessage()] = None

    logger, listener = logging.getLogger("ezdxf"), Listener(logging.WARNING)
    was_propagating = logger.propagate
    logger.addHandler(listener)
    logger.propagate = False
    said: list[str] = []
    try:
        yield said
    finally:
        logger.removeHandler(listener)
        logger.propagate = was_propagating
        said.extend(words)


def _damaged(path: Path, why: str) -> Finding:
    return _refuse(path, "damaged-drawing", f"the file's structure is damaged: {why}", "export the drawing again")


def _looks_like_text_dxf(data: bytes) -> bool:
    """Return whether a file starts with a group code and holds a section."""
    return b"\x00" not in data[:400] and b"SECTION" in data[:100_000]


def _refuse(path: Path, code: str, message: str, remedy: str) -> Finding:
    return error(code, message, remedy=remedy, origin=Origin(file=str(path)))
