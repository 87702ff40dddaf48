"""What may share a block: modal groups and words that nothing uses (NISTIR 6556 sections 3.3.5, 3.4)."""

from __future__ import annotations

from cam.backplot.dialect import ACTION, AXES, CYCLES, MOTION, PROBE, Dialect, spell_g
from cam.backplot.expressions import WHOLE_TOL
from cam.backplot.faults import BlockFault
from cam.backplot.state import State
from cam.backplot.words import Block, Word

MAX_M_WORDS = 4
_ARCS = frozenset({20, 30})
_CENTRE_WORDS = _ARCS | {870}
_AXIS_ACTIONS = frozenset({100, 280, 300, 920})
"""The actions that use axis words themselves: G10, G28, G30, G92 (section 3.4)."""

_USERS: dict[str, tuple[frozenset[int], str]] = {
    "I": (_CENTRE_WORDS, "G2, G3 or G87"),
    "J": (_CENTRE_WORDS, "G2, G3 or G87"),
    "K": (_CENTRE_WORDS, "G2, G3 or G87"),
    "R": (_ARCS | CYCLES, "G2, G3 or a canned cycle"),
    "Q": (frozenset({830}), "G83"),
    "L": (CYCLES | {100}, "G10 or a canned cycle"),
    "P": (frozenset({40, 100, 820, 860, 880, 890}), "G4, G10, G82, G86, G88 or G89"),
    "H": (frozenset({430}), "G43"),
    "D": (frozenset({410, 420}), "G41 or G42"),
}
"""Which codes use a word; on any other block it is an error."""


def find_block_faults(block: Block, *, dialect: Dialect, state: State) -> list[BlockFault]:
    """Sort a block's G and M words into their groups and return what is wrong with the block.

    Faults of single words come alone: what they make of the rest of the block is not reported.
    """
    faults = [*_sort_g(block, dialect), *_sort_m(block, dialect), *_refused_words(block, dialect)]
    if not faults:
        faults = _settle_motion(block, state)
    else:
        _imply_motion(block, state)
    return faults or _unused_words(block)


def _sort_g(block: Block, dialect: Dialect) -> list[BlockFault]:
    faults = []
    for word in block.g:
        code = round(word.value * 10.0)
        group = dialect.g_groups.get(code) if abs(word.value * 10.0 - code) <= 10.0 * WHOLE_TOL else None
        if group is None:
            faults.append(
                block.fault_at(word, "unknown-word", "there is no such G word", remedy="correct or remove it")
            )
        elif code == PROBE:
            message = "probing is not interpreted: where the tool stops depends on the probe"
            faults.append(block.fault_at(word, "probe-refused", message, remedy="take the probing out of the program"))
        elif code in {410, 420}:
            message = "cutter radius compensation by the controller is not interpreted"
            remedy = "write the path of the tool's centre, with G40"
            faults.append(block.fault_at(word, "compensation-refused", message, remedy=remedy))
        elif spell_g(code) in dialect.refused:
            faults.append(lacks(block, word, dialect))
        elif group in block.groups:
            faults.append(_conflict(block, word, block.groups[group][1]))
        else:
            block.groups[group] = (code, word)
    return faults


def _sort_m(block: Block, dialect: Dialect) -> list[BlockFault]:
    faults = []
    for word in block.m:
        code = round(word.value)
        group = dialect.m_groups.get(code)
        if group is None:
            faults.append(
                block.fault_at(word, "unknown-word", "there is no such M word", remedy="correct or remove it")
            )
        elif f"M{code}" in dialect.refused:
            faults.append(lacks(block, word, dialect))
        elif group in block.groups:
            faults.append(_conflict(block, word, block.groups[group][1]))
        else:
            block.groups[group] = (code, word)
    if len(block.m) > MAX_M_WORDS:
        message = f"a block takes {MAX_M_WORDS} M words at most"
        faults.append(
            block.fault_at(block.m[MAX_M_WORDS], "too-many-words", message, remedy="spread them over two blocks")
        )
    return faults


def lacks(block: Block, word: Word, dialect: Dialect) -> BlockFault:
    """Return the fault of a word that the language has and the controller has not."""
    return block.fault_at(
        word,
        "controller-lacks",
        f"controller {dialect.name} does not take this word",
        remedy="leave it out, or choose the controller that the program was written for",
    )


def _conflict(block: Block, word: Word, other: Word) -> BlockFault:
    return block.fault_at(
        word,
        "modal-conflict",
        f"{block.shown(other)} of the same modal group is in this block",
        remedy="leave one of them, or write two blocks",
    )


def _refused_words(block: Block, dialect: Dialect) -> list[BlockFault]:
    faults = []
    for letter in block.words.keys() & (dialect.refused | {"A", "B", "C"}):
        word = block.words[letter]
        if letter in "ABC":
            message = "this is a rotary axis; programs for three axes only are interpreted"
            faults.append(block.fault_at(word, "rotary-word", message, remedy="remove the word"))
        else:
            faults.append(lacks(block, word, dialect))
    for sign, present in (("#", "#" in block.packed), ("[", "[" in block.packed), ("/", block.deleted)):
        if present and sign in dialect.refused:
            at = block.packed.index(sign)
            faults.append(lacks(block, Word(sign, 0.0, at, at + 1), dialect))
    if block.comments and "(" in dialect.refused:
        at = block.packed.index("(")
        faults.append(lacks(block, Word("(", 0.0, at, at + 1), dialect))
    return faults


def _first_axis(block: Block) -> Word | None:
    named = [block.words[letter] for letter in AXES if letter in block.words]
    return min(named, key=lambda word: word.at) if named else None


def _imply_motion(block: Block, state: State) -> None:
    """Let the motion in force use axis words that nothing else in the block uses."""
    axis = _first_axis(block)
    action = block.groups.get(ACTION, (0,))[0]
    if axis is not None and MOTION not in block.groups and action not in _AXIS_ACTIONS and state.motion != 800:
        block.groups[MOTION] = (state.motion, axis)


def _settle_motion(block: Block, state: State) -> list[BlockFault]:
    """Find which code uses the axis words (section 3.4)."""
    axis = _first_axis(block)
    action, action_word = block.groups.get(ACTION, (None, None))
    taken = action in _AXIS_ACTIONS
    if MOTION not in block.groups:
        if axis is not None and not taken:
            if state.motion == 800:
                message = "no motion is in force that could use this word"
                remedy = "write G0, G1, G2 or G3 in this block"
                return [block.fault_at(axis, "axis-words-without-motion", message, remedy=remedy)]
            block.groups[MOTION] = (state.motion, axis)
        return []
    code, word = block.groups[MOTION]
    if code == 800:
        if axis is not None and not taken:
            message = "G80 ends motion and uses no axis words"
            return [block.fault_at(axis, "axis-words-with-g80", message, remedy="remove them, or write G0 or G1")]
    elif taken and action_word is not None:
        message = f"{block.shown(action_word)} in this block uses the axis words too"
        return [block.fault_at(word, "axis-words-contested", message, remedy="write two blocks")]
    elif axis is None:
        message = "this motion has no X, Y or Z"
        return [
            block.fault_at(word, "motion-without-axes", message, remedy="name at least one axis, or remove the word")
        ]
    return []


def _unused_words(block: Block) -> list[BlockFault]:
    if not block.words.keys() & _USERS.keys():
        return []
    codes = {code for group, (code, _) in block.groups.items() if group in _G_USERS}
    return [
        block.fault_at(block.words[letter], "word-without-use", f"only {names} can use this word", remedy="remove it")
        for letter, (users, names) in _USERS.items()
        if letter in block.words and not users & codes
    ]


_G_USERS = frozenset({MOTION, ACTION, "length offset", "compensation"})
