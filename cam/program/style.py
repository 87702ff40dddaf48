"""The controller's habits: comments, spaces, spindle and change words, line numbers."""

from __future__ import annotations

from collections.abc import Iterable

from cam.program.numbers import clean_comment, format_number
from cam.tables.rows import CharacterSet, CommentForm, Controller

INCH_MM = 25.4
NUMBER_ROOM = 8
"""Characters kept free in a comment for a line number before it."""


def find_mm_per_unit(controller: Controller) -> float:
    """Return the length of the unit that programs for a controller are in."""
    return INCH_MM if controller.facts.units == "inch" else 1.0


def join_words(words: Iterable[str], *, controller: Controller) -> str:
    """Return words as one block."""
    return (" " if controller.format.spaces else "").join(words)


def write_comment(text: str, *, controller: Controller) -> str:
    """Return a comment as the controller takes it, cut to its block length; nothing where it takes none."""
    facts = controller.facts
    if facts.comment_form is CommentForm.NONE:
        return ""
    clean = clean_comment(text)
    if facts.character_set is CharacterSet.CAPITALS:
        clean = clean.upper()
    room = facts.max_block_length - NUMBER_ROOM - 2
    if facts.comment_form is CommentForm.SEMICOLON:
        return f"; {clean.replace(';', ',')[:room]}"
    return f"({clean[:room]})"


def start_spindle(spindle_rpm: float, *, spin_up_s: float, controller: Controller) -> list[str]:
    """Return the blocks that bring the spindle to a speed and wait for it."""
    facts = controller.facts
    words = [facts.spindle_on_word]
    if facts.spindle_speed_word:
        words.insert(0, f"S{format_number(spindle_rpm, decimals=0)}")
    dwell = spin_up_s * (1000.0 if facts.dwell_units == "ms" else 1.0)
    wait = ["G4", f"P{format_number(dwell, decimals=0 if facts.dwell_units == 'ms' else 2)}"]
    return [join_words(words, controller=controller), join_words(wait, controller=controller)]


def start_services(*, air: bool, controller: Controller) -> list[str]:
    """Return the words that turn vacuum, extraction and air on, where the controller has them."""
    facts = controller.facts
    return [word for word in (facts.vacuum_on_word, facts.extraction_on_word, facts.air_on_word if air else "") if word]


def stop_spindle(*, air: bool, controller: Controller) -> list[str]:
    """Return the words that turn air and spindle off; vacuum stays on until the end."""
    facts = controller.facts
    return [word for word in (facts.air_off_word if air else "", facts.spindle_off_word) if word]


def stop_services(*, controller: Controller) -> list[str]:
    """Return the words that turn extraction and vacuum off."""
    facts = controller.facts
    return [word for word in (facts.extraction_off_word, facts.vacuum_off_word) if word]
