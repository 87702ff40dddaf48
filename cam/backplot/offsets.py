"""Work offsets, G92, tool length and home: everything that renames a point (sections 3.2, 3.5)."""

from __future__ import annotations

from cam.backplot.dialect import AXES
from cam.backplot.moves import move, target_of, warn_unknown
from cam.backplot.run import Run
from cam.backplot.state import (
    G92_PARAMETERS,
    HOME_PARAMETERS,
    WORK_PARAMETERS,
    WORK_PARAMETERS_STEP,
    WORK_SYSTEM_PARAMETER,
    change_offsets,
    work_origin,
)
from cam.backplot.trace import Kind
from cam.backplot.words import Block, Word

WORK_CODES = (540, 550, 560, 570, 580, 590, 591, 592, 593)
_WORK_DATA = 2


def choose_work_offset(run: Run, block: Block) -> None:
    """Carry out G54 to G59.3; the one in force is left as it is (section 3.5.13)."""
    state = run.state
    system = WORK_CODES.index(block.groups["work offset"][0]) + 1
    if system != state.work_system:
        state.work_system = system
        run.parameters[WORK_SYSTEM_PARAMETER] = float(system)
        change_offsets(state, work=work_origin(run.parameters, system=system, factor=state.factor))


def choose_length_offset(run: Run, block: Block) -> None:
    """Carry out G43 or G49 (section 3.5.11)."""
    state = run.state
    code, word = block.groups["length offset"]
    if code == 490:
        state.length_slot = 0
        change_offsets(state, length_mm=0.0)
        return
    slot = block.words.get("H")
    if slot is None:
        raise block.fault_at(word, "length-offset-missing", "G43 has no H", remedy="give the tool's number with H")
    state.length_slot = round(slot.value)
    change_offsets(state, length_mm=tool_length_mm(run, block, word=slot))


def tool_length_mm(run: Run, block: Block, *, word: Word) -> float:
    """Return the length of the tool that an H or T word names; 0 for number 0, or if no lengths were given."""
    number = round(word.value)
    lengths = run.tool_lengths_mm
    if number == 0 or lengths is None:
        return 0.0
    if number not in lengths:
        raise block.fault_at(
            word, "tool-length-unknown", f"there is no length of tool {number}", remedy="add it to the tool lengths"
        )
    return lengths[number]


def carry_out_action(run: Run, block: Block) -> None:
    """Carry out G10, G28, G30 or one of the G92 family; G4 and G53 belong to other steps."""
    code, word = block.groups["action"]
    if code == 100:
        _set_work_offset(run, block, word=word)
    elif code in HOME_PARAMETERS:
        _go_home(run, block, code=code)
    elif code == 920:
        _name_position(run, block, word=word)
    elif code in {921, 922}:
        change_offsets(run.state, g92=[0.0, 0.0, 0.0])
        if code == 921:
            for axis in range(3):
                run.parameters[G92_PARAMETERS + axis] = 0.0
    elif code == 923:
        factor = run.state.factor
        change_offsets(run.state, g92=[run.parameters.get(G92_PARAMETERS + axis, 0.0) * factor for axis in range(3)])


def _set_work_offset(run: Run, block: Block, *, word: Word) -> None:
    """G10 L2 Pn: set the origin of a work offset, in force or not (section 3.5.5)."""
    state, words = run.state, block.words
    kind, system = words.get("L"), words.get("P")
    if kind is None or round(kind.value) != _WORK_DATA:
        raise block.fault_at(kind or word, "offset-data-wrong", "G10 takes L2 only", remedy="write G10 L2 P1 X0 Y0 Z0")
    number = round(system.value) if system is not None else 0
    if system is None or abs(system.value - number) > 1e-4 or not 1 <= number <= len(WORK_CODES):
        raise block.fault_at(
            system or word, "offset-data-wrong", "G10 L2 needs P from 1 to 9, for G54 to G59.3", remedy="correct P"
        )
    first = WORK_PARAMETERS + WORK_PARAMETERS_STEP * (number - 1)
    for axis, letter in enumerate(AXES):
        if letter in words:
            run.parameters[first + axis] = words[letter].value
    if number == state.work_system:
        work = list(state.work)
        for axis, letter in enumerate(AXES):
            if letter in words:
                work[axis] = words[letter].value * state.factor
        change_offsets(state, work=work)


def _go_home(run: Run, block: Block, *, code: int) -> None:
    """G28, G30: by way of the point given, if any, to the home point in machine coordinates (section 3.5.8)."""
    state = run.state
    if any(letter in block.words for letter in AXES):
        target, named = target_of(run, block)
        move(run, line=block.line, kind=Kind.RAPID, target=target, named=named, motion=code)
    home = [
        run.parameters.get(HOME_PARAMETERS[code] + axis, 0.0) * state.factor
        - (state.work[axis] + state.g92[axis] + (state.length_mm if axis == 2 else 0.0))
        for axis in range(3)
    ]
    move(run, line=block.line, kind=Kind.RAPID, target=home, motion=code)


def _name_position(run: Run, block: Block, *, word: Word) -> None:
    """G92: give the point where the machine stands other coordinates (section 3.5.18)."""
    state, words = run.state, block.words
    if not any(letter in words for letter in AXES):
        raise block.fault_at(word, "offset-axes-missing", "G92 has no X, Y or Z", remedy="name at least one axis")
    g92 = list(state.g92)
    for axis, letter in enumerate(AXES):
        if letter in words:
            if not state.known[axis]:
                warn_unknown(run, block, words[letter])
            wanted = words[letter].value * state.factor
            g92[axis] += state.position[axis] - wanted
    change_offsets(state, g92=g92)
    for axis, letter in enumerate(AXES):
        if letter in words:
            state.position[axis] = words[letter].value * state.factor
        run.parameters[G92_PARAMETERS + axis] = g92[axis] / state.factor
