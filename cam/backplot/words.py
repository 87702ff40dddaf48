"""One line of text to a block of words, comments and settings: NISTIR 6556 section 3.3."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from cam.backplot.expressions import WHOLE_TOL, read_parameter_number, read_value
from cam.backplot.faults import BlockFault
from cam.backplot.packed import column_of, pack, unknown_character

LETTERS = frozenset("ABCDFGHIJKLMPQRSTXYZ")
"""The letters that may start a word in a block (section 3.3.2, Table 3); N stands first only."""

MAX_LINE_NUMBER_DIGITS = 5

MAX_VALUE = 999_999_999.0
"""The largest number of a word: far beyond any machine, and safe to compute with."""

MAX_TOOL = 99_999
"""The largest T and H number."""

_WHOLE = frozenset("DHLMT")
_NOT_NEGATIVE = frozenset("DFGHLMPST")
_WORD = re.compile(r"([A-Z])([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+))")
_LINE_NUMBER = re.compile(r"N([0-9]*)")
_SHOWN = re.compile(r"[^(#]{1,12}")


class Word(NamedTuple):
    """A letter and its value; a tuple because a long program has millions of them."""

    letter: str
    value: float
    at: int
    end: int


@dataclass(slots=True)
class Block:
    """What one line holds.

    ``text`` is the line as it stands; ``packed`` the same in capitals, without blanks, each
    comment a single ``(``. ``words`` has every letter but G and M. ``groups`` has what was made of
    ``g`` and ``m``: a code and its word by modal group. ``fault`` is what stopped the reading, if
    anything did; what stood before it is kept.
    """

    text: str
    line: int
    packed: str = ""
    deleted: bool = False
    words: dict[str, Word] = field(default_factory=dict)
    g: list[Word] = field(default_factory=list)
    m: list[Word] = field(default_factory=list)
    settings: dict[int, float] = field(default_factory=dict)
    comments: list[str] = field(default_factory=list)
    groups: dict[str, tuple[int, Word]] = field(default_factory=dict)
    fault: BlockFault | None = None

    def shown(self, word: Word) -> str:
        """Return a word as the program has it, without blanks, in capitals."""
        return self.packed[word.at : word.end]

    def fault_at(self, word: Word, code: str, message: str, *, remedy: str) -> BlockFault:
        """Return a fault of one word, which its message begins with."""
        column = column_of(self.text, index=word.at)
        return BlockFault(code, f"{self.shown(word)}: {message}", remedy=remedy, column=column)


def read_block(text: str, *, line: int, parameters: Mapping[int, float]) -> Block:
    """Read one line.

    Parameters
    ----------
    text
        The line without its end.
    line
        Its number in the file, from 1.
    parameters
        Values by number, as they were before this line.

    Returns
    -------
    Block
        Its words. If the line breaks a rule, ``fault`` says so and the words before it are kept.

    Notes
    -----
    Blanks mean nothing outside comments, not even within a number; capitals and small letters are
    the same (section 3.3). Settings take effect after the line (section 3.3.3).

    Examples
    --------
    >>> block = read_block("g0x +0. 12 34y 7", line=1, parameters={})
    >>> block.words["X"].value, block.words["Y"].value
    (0.1234, 7.0)
    """
    block = Block(text, line)
    try:
        block.packed = pack(text, block.comments)
        _read_items(block, at=_read_start(block), parameters=parameters)
    except BlockFault as fault:
        fault.column = column_of(text, index=fault.column)
        block.fault = fault
    return block


def _read_start(block: Block) -> int:
    """Read the block-delete sign and the line number; return the index after them."""
    packed = block.packed
    at = 0
    if packed.startswith("/"):
        block.deleted = True
        at = 1
    number = _LINE_NUMBER.match(packed, at)
    if number is None:
        return at
    if not 1 <= len(number[1]) <= MAX_LINE_NUMBER_DIGITS or packed[number.end() : number.end() + 1] == ".":
        shown = _SHOWN.match(packed, at)
        raise BlockFault(
            "line-number-malformed",
            f"{shown[0] if shown else 'N'}: a line number has one to five digits and nothing else",
            remedy="use N0 to N99999, or no line numbers",
            column=at,
        )
    return number.end()


def _read_items(block: Block, *, at: int, parameters: Mapping[int, float]) -> None:
    packed = block.packed
    length = len(packed)
    while at < length:
        match = _WORD.match(packed, at)
        if match is not None:
            letter = match[1]
            word = Word(letter, float(match[2]), at, match.end())
            if letter not in LETTERS:
                raise _wrong_character(block, at)
        elif packed[at] == "(":
            at += 1
            continue
        elif packed[at] == "#":
            at = _read_setting(block, at=at, parameters=parameters)
            continue
        elif packed[at] in LETTERS:
            value, end = read_value(packed, at=at + 1, parameters=parameters)
            word = Word(packed[at], value, at, end)
        else:
            raise _wrong_character(block, at)
        at = word.end
        _keep_word(block, word)


def _keep_word(block: Block, word: Word) -> None:
    letter, value = word.letter, word.value
    if value < 0.0 and letter in _NOT_NEGATIVE:
        raise _wrong_word(block, word, "negative-value", f"{letter} cannot be negative", "correct the value")
    if value <= 0.0 and letter == "Q":
        raise _wrong_word(block, word, "negative-value", "Q must be above 0", "correct the value")
    if abs(value) > MAX_VALUE or (letter in "TH" and value > MAX_TOOL):
        raise _wrong_word(block, word, "value-too-large", "no word takes a number so large", "correct the value")
    if letter in _WHOLE and abs(value - round(value)) > WHOLE_TOL:
        raise _wrong_word(block, word, "number-not-whole", f"{letter} takes a whole number", "correct the value")
    if letter == "G":
        block.g.append(word)
    elif letter == "M":
        block.m.append(word)
    elif letter in block.words:
        raise _wrong_word(block, word, "repeated-word", f"a second {letter} word in one block", "leave one of them")
    else:
        block.words[letter] = word


def _wrong_word(block: Block, word: Word, code: str, message: str, remedy: str) -> BlockFault:
    return BlockFault(code, f"{block.shown(word)}: {message}", remedy=remedy, column=word.at)


def _read_setting(block: Block, *, at: int, parameters: Mapping[int, float]) -> int:
    """Read ``#n=value``; return the index after it."""
    packed = block.packed
    number, end = read_parameter_number(packed, at=at + 1, parameters=parameters)
    if packed[end : end + 1] != "=":
        message = f"{packed[at:end]}: a parameter at the start of an item is not followed by ="
        raise BlockFault("expression-malformed", message, remedy="write #n=value", column=at)
    block.settings[number], end = read_value(packed, at=end + 1, parameters=parameters)
    return end


def _wrong_character(block: Block, at: int) -> BlockFault:
    """Say what is wrong with a character that starts neither word, setting nor comment."""
    packed = block.packed
    character = packed[at]
    found = _SHOWN.match(packed, at)
    shown = found[0] if found else character
    after_number = at > 0 and (packed[at - 1].isdigit() or packed[at - 1] == ".")
    if character == "N":
        message = f"{shown}: a line number stands first in its line"
        return BlockFault("line-number-malformed", message, remedy="move or remove it", column=at)
    if after_number and (character in ".+-" or character.isdigit() or (character == "E" and len(shown) > 1)):
        start = at
        while start > 0 and not packed[start - 1].isalpha():
            start -= 1
        message = f"{packed[max(start - 1, 0) : at]}{shown}: a number has digits and at most one point, and no exponent"
        return BlockFault("number-malformed", message, remedy="write the number out", column=max(start - 1, 0))
    if character == "/":
        message = f"{shown}: the block-delete sign stands first in its line, before the line number"
        return BlockFault("block-delete-misplaced", message, remedy="move or remove it", column=at)
    if character == "%":
        message = f"{shown}: a percent sign stands alone in its line"
        return BlockFault("percent-misplaced", message, remedy="give it a line of its own, or remove it", column=at)
    if character.isalpha():
        message = f"{shown}: no word begins with {character}"
        return BlockFault("unknown-word", message, remedy="remove it, or put remarks in ( )", column=at)
    return unknown_character(character, at)
