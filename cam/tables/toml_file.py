"""TOML files with their places: which line a dotted key stands on."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeAlias

from cam.errors import FileRefused, TableRefused
from cam.findings import Origin, error

KeyPath: TypeAlias = tuple[str | int, ...]

_HEADER = re.compile(r"^\s*(\[\[?)([^\[\]]+)\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""^\s*((?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*'))*)\s*=""")
_PLACE = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")


@dataclass(frozen=True, slots=True, kw_only=True)
class TomlFile:
    """A TOML file as read: its name for messages, its values, and the line of each key."""

    name: str
    document: dict[str, Any]
    lines: dict[KeyPath, int]


def read_toml(path: Path, *, name: str | None = None) -> TomlFile:
    """Return a TOML file's values with the lines of its keys.

    Parameters
    ----------
    path
        The file.
    name
        What messages call it, if not by its path.

    Raises
    ------
    FileRefused
        ``no-such-file``, ``not-a-file`` or ``unreadable-file``.
    TableRefused
        ``broken-toml``, with line and column.
    """
    called = name if name is not None else str(path)
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise FileRefused(
            error("no-such-file", "there is no such file", remedy="check the path", origin=Origin(file=called))
        ) from None
    except IsADirectoryError:
        raise FileRefused(
            error("not-a-file", "this is a folder, not a file", remedy="name a file in it", origin=Origin(file=called))
        ) from None
    except OSError as fault:
        raise FileRefused(
            error(
                "unreadable-file",
                f"the file cannot be read ({fault.strerror})",
                remedy="check who may read it",
                origin=Origin(file=called),
            )
        ) from fault
    return parse_toml(data, name=called)


def parse_toml(data: bytes, *, name: str) -> TomlFile:
    """Return the values of TOML text with the lines of its keys.

    Raises
    ------
    TableRefused
        ``broken-toml``, with line and column.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        before = data[: fault.start]
        raise TableRefused(
            error(
                "broken-toml",
                "this is not UTF-8 text",
                remedy="save the file as UTF-8 text; a job or table is a TOML file",
                origin=Origin(file=name, line=before.count(b"\n") + 1, column=fault.start - before.rfind(b"\n")),
            )
        ) from fault
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        message, line, column = _read_place(str(fault), text=text)
        raise TableRefused(
            error(
                "broken-toml",
                f"this is not TOML: {message[:1].lower()}{message[1:]}",
                remedy="correct the line; a text stands in quotes, a key stands once in its section",
                origin=Origin(file=name, line=line, column=column),
            )
        ) from fault
    return TomlFile(name=name, document=document, lines=find_key_lines(text))


def _read_place(message: str, *, text: str) -> tuple[str, int, int]:
    """Return the parser's message without its place, and the place as line and column."""
    found = _PLACE.search(message)
    if found and found.group(1):
        return message[: found.start()], int(found.group(1)), int(found.group(2))
    # Something was left open: the last line that says anything is nearer to it than the file's end.
    last = text.rstrip().split("\n")
    return _PLACE.sub("", message), len(last), len(last[-1]) + 1


def find_key_lines(text: str) -> dict[KeyPath, int]:
    """Return the line on which each section and key of a TOML text starts.

    Parameters
    ----------
    text
        Valid TOML. Keys within inline tables are not listed: :func:`find_line` gives the line of
        the key that holds them.

    Examples
    --------
    >>> find_key_lines('title = "a"\\n[[panel]]\\nname = "b"\\n')
    {('title',): 1, ('panel', 0): 2, ('panel', 0, 'name'): 3}
    """
    lines: dict[KeyPath, int] = {}
    counts: dict[KeyPath, int] = {}
    section: KeyPath = ()
    quote: str | None = None  # the triple quote that is open, if one is
    for number, line in enumerate(text.split("\n"), start=1):
        inside = quote is not None
        quote = _follow_triple_quotes(line, quote)
        if inside:
            continue
        if header := _HEADER.match(line):
            section = _enter_section(header.group(2), repeated=len(header.group(1)) - 1, counts=counts)
            lines.setdefault(section, number)
        elif key := _KEY.match(line):
            lines.setdefault((*section, *_split_keys(key.group(1))), number)
    return lines


def find_line(lines: dict[KeyPath, int], *, at: KeyPath) -> int | None:
    """Return the line of a key, or of the nearest key or section that holds it."""
    for length in range(len(at), 0, -1):
        if (line := lines.get(at[:length])) is not None:
            return line
    return None


def _split_keys(dotted: str) -> KeyPath:
    return tuple(part.strip().strip("\"'") for part in dotted.split("."))


def _enter_section(dotted: str, *, repeated: int, counts: dict[KeyPath, int]) -> KeyPath:
    """Return the path of a header's section; ``counts`` holds how often each repeated one was entered."""
    path: KeyPath = ()
    keys = _split_keys(dotted)
    for place, key in enumerate(keys):
        path = (*path, key)
        if repeated and place == len(keys) - 1:
            counts[path] = counts.get(path, 0) + 1
        if path in counts:
            path = (*path, counts[path] - 1)
    return path


def _follow_triple_quotes(line: str, quote: str | None) -> str | None:
    """Return the triple quote that is open after a line."""
    rest = line
    while True:
        if quote is not None:
            _, closing, rest = rest.partition(quote)
            if not closing:
                return quote
            quote = None
        else:
            starts = [(rest.find(mark), mark) for mark in ('"""', "'''") if mark in rest]
            if not starts:
                return None
            start, quote = min(starts)
            rest = rest[start + 3 :]
