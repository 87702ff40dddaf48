"""A DXF file to ezdxf's document, or a refusal that says why not."""

from __future__ import annotations

import re
import struct
from pathlib import Path

from ezdxf.document import Drawing as Document
from ezdxf.filemanagement import readfile
from ezdxf.lldxf.const import DXFError

from cam.errors import DrawingRefused, FileRefused
from cam.findings import Finding, Origin, error

BINARY_SENTINEL = b"AutoCAD Binary DXF\r\n\x1a\x00"
ASCII_END = re.compile(rb"(?:^|[\r\n])[ \t]*0[ \t]*\r?\n[ \t]*EOF[ \t\r\n\x00\x1a]*\Z")
BINARY_END = re.compile(rb"\x00EOF\x00\s*\Z")


def read_bytes(path: Path) -> bytes:
    """Return the content of a file.

    Raises
    ------
    FileRefused
        If there is no such file, it is a folder, it is empty or it may not be read.
    """
    if not path.exists():
        raise FileRefused(_refuse(path, "no-such-file", "there is no such file", "check the path"))
    if not path.is_file():
        raise FileRefused(_refuse(path, "not-a-file", "this is a folder, not a file", "name the DXF file inside it"))
    try:
        data = path.read_bytes()
    except OSError as fault:
        why = fault.strerror or "unknown fault"
        raise FileRefused(
            _refuse(path, "unreadable-file", f"the file cannot be read: {why}", "check its permissions")
        ) from fault
    if not data.strip():
        raise FileRefused(_refuse(path, "empty-file", "the file is empty", "save the drawing again as DXF"))
    return data


def read_document(path: Path, data: bytes) -> Document:
    """Return the document in a DXF file whose content has been read.

    Raises
    ------
    DrawingRefused
        If it is no DXF file, or ends before its end mark, or its structure is broken.
    """
    if not data.startswith(BINARY_SENTINEL) and not _looks_like_text_dxf(data):
        raise DrawingRefused(
            _refuse(
                path,
                "not-a-drawing",
                "this is not a DXF file, whatever its name says",
                "save the drawing as DXF from the program that it was drawn with",
            )
        )
    end = BINARY_END if data.startswith(BINARY_SENTINEL) else ASCII_END
    if not end.search(data[-200:]):
        raise DrawingRefused(
            _refuse(
                path,
                "truncated-drawing",
                f"the file ends after {len(data)} bytes without the end mark of a DXF file",
                "copy or export the file again; the part of the drawing that is missing cannot be known",
            )
        )
    try:
        return readfile(path)
    except (DXFError, OSError, ValueError, struct.error) as fault:
        raise DrawingRefused(
            _refuse(
                path, "damaged-drawing", f"the file's structure is damaged: {fault}", "export the drawing again as DXF"
            )
        ) from fault


def _looks_like_text_dxf(data: bytes) -> bool:
    """Return whether a file starts with a group code and holds a section."""
    return b"\x00" not in data[:400] and b"SECTION" in data[:100000]


def _refuse(path: Path, code: str, message: str, remedy: str) -> Finding:
    return error(code, message, remedy=remedy, origin=Origin(file=str(path)))
