"""A line without what means nothing: blanks, small letters and the text of comments (NISTIR 6556 section 3.3)."""

from __future__ import annotations

import re

from cam.backplot.faults import BlockFault

_BLANKS = str.maketrans("", "", " \t")
_MESSAGE = re.compile(r"[ \t]*M[ \t]*S[ \t]*G[ \t]*,(.*)", re.IGNORECASE)


def message_of(comment: str) -> str | None:
    """Return the text of an operator message ``(MSG,text)``, or None for a plain comment."""
    match = _MESSAGE.match(comment)
    return match[1] if match else None


def column_of(text: str, *, index: int) -> int:
    """Return the column, from 1, in the line of an index into the packed block."""
    count, at = 0, 0
    while at < len(text):
        if text[at] not in " \t":
            if count == index:
                return at + 1
            count += 1
            if text[at] == "(":
                close = text.find(")", at)
                at = close if close >= 0 else len(text)
        at += 1
    return len(text.rstrip(" \t")) + 1 if text.strip(" \t") else 1


def pack(text: str, comments: list[str]) -> str:
    """Return the block in capitals, without blanks, each comment a single ``(``."""
    pieces: list[str] = []
    at = 0
    while (start := text.find("(", at)) >= 0:
        pieces.append(text[at:start].translate(_BLANKS))
        close, nested = text.find(")", start), text.find("(", start + 1)
        index = sum(map(len, pieces))
        if nested >= 0 and (close < 0 or nested < close):
            raise BlockFault(
                "comment-nested",
                f"{text[start : nested + 1]}: a comment has a second ( in it",
                remedy="leave brackets out of comments",
                column=index,
            )
        if close < 0:
            raise BlockFault(
                "comment-not-closed",
                f"{text[start : start + 20]}: a comment is not closed on its line",
                remedy="end the comment with ) on the same line",
                column=index,
            )
        comments.append(text[start + 1 : close])
        pieces.append("(")
        at = close + 1
    pieces.append(text[at:].translate(_BLANKS))
    packed = "".join(pieces)
    if not packed.isascii():
        index, character = next((i, c) for i, c in enumerate(packed) if not c.isascii())
        raise unknown_character(character, index)
    return packed.upper()


def unknown_character(character: str, index: int) -> BlockFault:
    """Return the fault of a character that the language does not have."""
    shown = character if character.isprintable() else f"character {ord(character):#06x}"
    remedy = (
        "put remarks in ( )" if character == ";" else "remove it; only words, numbers, #, [ ] and ( ) may stand here"
    )
    return BlockFault("unknown-character", f"{shown}: no such character in a block", remedy=remedy, column=index)
