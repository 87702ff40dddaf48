"""A DXF file to ezdxf's document, or a refusal that says why not."""

from __future__ import annotations

import re
import struct
from pathlib import Path

from ezdxf import recover
from ezdxf.document import Drawing as Document
from ezdxf.filemanagement import readfile
from ezdxf.lldxf.const import DXFError

from cam.errors import DrawingRefused, FileRefused
from cam.findings import Finding, Origin, error, warning

MAX_BYTES = 200_000_000
BINARY_SENTINEL = b"AutoCAD Binary DXF\r\n\x1a\x00"
ASCII_END = re.compile(rb"(?:^|[\r\n])[ \t]*0[ \t]*\r?\n[ \t]*EOF[ \t\r\n\x00\x1a]*\Z")
BINARY_END = re.compile(rb"\x00EOF\x00\s*\Z")

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
        return readfile(path), []
    except LIBRARY_FAULTS as fault:
        return _recover(path, first_fault=fault)


def _recover(path: Path, *, first_fault: Exception) -> tuple[Document, list[Finding]]:
    """Read a file again by ezdxf's recovery, which drops or mends what its strict reader refuses."""
    try:
        document, auditor = recover.readfile(path)
    except LIBRARY_FAULTS:
        raise DrawingRefused(_damaged(path, str(first_fault))) from first_fault
    if auditor.has_errors:
        raise DrawingRefused(_damaged(path, auditor.errors[0].message)) from first_fault
    message = f"the file is damaged ({first_fault}) and was mended while reading: {len(auditor.fixes)} repairs"
    if auditor.fixes:
        message += f", first: {auditor.fixes[0].message}"
    remedy = "compare the picture with the drawing, or export the drawing again"
    return document, [warning("recovered-drawing", message, remedy=remedy, origin=Origin(file=str(path)))]


def _damaged(path: Path, why: str) -> Finding:
    return _refuse(path, "damaged-drawing", f"the file's structure is damaged: {why}", "export the drawing again")


def _looks_like_text_dxf(data: bytes) -> bool:
    """Return whether a file starts with a group code and holds a section."""
    return b"\x00" not in data[:400] and b"SECTION" in data[:100_000]


def _refuse(path: Path, code: str, message: str, remedy: str) -> Finding:
    return error(code, message, remedy=remedy, origin=Origin(file=str(path)))
