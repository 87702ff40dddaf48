"""One block carried out in the order of NISTIR 6556 section 3.8, Table 8."""

from __future__ import annotations

from collections.abc import Callable

from cam.backplot.arc_moves import move_arc
from cam.backplot.blocks import find_block_faults
from cam.backplot.cycles import run_cycle
from cam.backplot.dialect import CYCLES
from cam.backplot.faults import BlockFault
from cam.backplot.moves import feed_limit, move_straight, stand
from cam.backplot.offsets import (
    carry_out_action,
    choose_length_offset,
    choose_work_offset,
    tool_length_mm,
)
from cam.backplot.run import Run, report, warn_once
from cam.backplot.state import change_offsets, settle_shift, work_origin
from cam.backplot.trace import Kind, PathMode
from cam.backplot.words import Block, Word

_PATH_MODES = {610: PathMode.EXACT_PATH, 611: PathMode.EXACT_STOP, 640: PathMode.CONTINUOUS}
_ENDS = frozenset({2, 30})


def execute_block(run: Run, block: Block) -> None:
    """Carry out a block and report what is wrong with it.

    A block with a fault makes no row; its modes and its end point are taken over where they can be
    read. What a block does before the step that fails stands.
    """
    faults = find_block_faults(block, dialect=run.dialect, state=run.state)
    if block.fault is not None:
        faults = [block.fault]
    else:
        run.parameters.update(block.settings)
    for fault in faults:
        report(run, fault, line=block.line)
    run.columns.muted = bool(faults)
    for key, step in _STEPS:
        if key in block.words or key in block.groups:
            try:
                step(run, block)
            except BlockFault as fault:
                report(run, fault, line=block.line)
    run.columns.muted = False


def _set_feed_mode(run: Run, block: Block) -> None:
    run.state.inverse_time = block.groups["feed mode"][0] == 930


def _set_feed(run: Run, block: Block) -> None:
    """F holds until the next, but in inverse time mode it belongs to its own block (section 3.5.19)."""
    if run.state.inverse_time:
        return
    run.state.feed = block.words["F"].value
    if "units" not in block.groups:
        _check_feed(run, block, word=block.words["F"])


def _check_feed(run: Run, block: Block, *, word: Word) -> None:
    feed = run.state.feed * run.state.factor
    if feed > run.dialect.max_feed_mm_per_min and not run.state.inverse_time:
        raise feed_limit(run, block, word=word, feed_mm_per_min=feed)


def _set_speed(run: Run, block: Block) -> None:
    word = block.words["S"]
    run.state.speed_rpm = word.value
    if word.value > run.dialect.max_rpm:
        message = f"above the controller's largest speed, {run.dialect.max_rpm:g} rpm"
        raise block.fault_at(word, "controller-limit", message, remedy="lower the speed")
    if run.state.turning and "spindle" not in block.groups:
        stand(run, line=block.line, kind=Kind.SPINDLE)


def _select_tool(run: Run, block: Block) -> None:
    """T only selects; on a controller without M6 it names the tool that was put in by hand."""
    run.state.selected_tool = round(block.words["T"].value)
    if not run.dialect.tool_change:
        _load_tool(run, block, word=block.words["T"])


def _load_tool(run: Run, block: Block, *, word: Word) -> None:
    state = run.state
    state.tool = state.selected_tool
    named = Word("T", float(state.tool), word.at, word.end)
    try:
        state.spindle_length_mm = tool_length_mm(run, block, word=named)
    finally:
        settle_shift(state)


def _change_tool(run: Run, block: Block) -> None:
    """M6 leaves the spindle stopped (section 3.6.3)."""
    run.state.turning = 0
    try:
        _load_tool(run, block, word=block.groups["tool change"][1])
    finally:
        stand(run, line=block.line, kind=Kind.TOOL_CHANGE)


def _turn_spindle(run: Run, block: Block) -> None:
    run.state.turning = run.dialect.turning[block.groups["spindle"][0]]
    stand(run, line=block.line, kind=Kind.SPINDLE)


def _switch_air(run: Run, block: Block) -> None:
    state, code = run.state, block.groups["coolant"][0]
    if code in run.dialect.air_off:
        state.mist = state.flood = False
    elif code == 8:
        state.flood = True
    else:
        state.mist = True
    stand(run, line=block.line, kind=Kind.AIR)


def _set_overrides(run: Run, block: Block) -> None:
    """M48, M49: the operator's override knobs change nothing in what the program says."""


def _dwell(run: Run, block: Block) -> None:
    code, word = block.groups["action"]
    if code != 40:
        return
    time = block.words.get("P")
    if time is None:
        raise block.fault_at(word, "dwell-time-missing", "a dwell needs P", remedy="give the time with P")
    stand(run, line=block.line, kind=Kind.DWELL, duration_s=time.value * run.dialect.dwell_s)


def _set_plane(run: Run, block: Block) -> None:
    run.state.plane = block.groups["plane"][0]


def _set_units(run: Run, block: Block) -> None:
    """Offsets in force keep their length; F keeps its number (sections 4.3.3.2, 4.3.3.3)."""
    code, word = block.groups["units"]
    run.state.inch = code == run.dialect.inch_code
    run.state.units_stated = True
    _check_feed(run, block, word=block.words.get("F", word))


def _accept(run: Run, block: Block) -> None:
    """G40: compensation is never on."""


def _set_path_mode(run: Run, block: Block) -> None:
    run.state.path_mode = _PATH_MODES[block.groups["path mode"][0]]


def _set_distance_mode(run: Run, block: Block) -> None:
    run.state.incremental = block.groups["distance mode"][0] == 910


def _set_retract(run: Run, block: Block) -> None:
    run.state.retract_to_r = block.groups["retract"][0] == 990
    run.state.retract_stated = True


def _act(run: Run, block: Block) -> None:
    code, word = block.groups["action"]
    if code in {280, 300}:
        _ask_units(run, block)
    if code == 530 and "motion" not in block.groups:
        message = "machine coordinates, but no G0 or G1 with X, Y or Z in this block"
        remedy = "write G53 G0 Z0, or remove it"
        raise block.fault_at(word, "machine-coordinates-misused", message, remedy=remedy)
    carry_out_action(run, block)


def _ask_units(run: Run, block: Block) -> None:
    if not run.state.units_stated and not run.columns.muted:
        run.state.units_stated = True
        unit = "inch" if run.state.inch else "mm"
        warn_once(
            run,
            "units-not-stated",
            f"the first motion comes before any unit word; {unit} is taken",
            remedy="write the unit word before the first motion",
            block=block,
            word=next(iter(block.words.values()), block.groups.get("action", (0, Word("G", 0.0, 0, 1)))[1]),
        )


def _perform_motion(run: Run, block: Block) -> None:
    state = run.state
    code = block.groups["motion"][0]
    machine = block.groups.get("action", (0,))[0] == 530
    try:
        if code != 800:
            _ask_units(run, block)
        if machine:
            _check_machine_move(run, block, code=code)
        if code in {0, 10}:
            move_straight(run, block, rapid=code == 0, machine=machine)
        elif code in {20, 30}:
            move_arc(run, block, clockwise=code == 20)
        elif code in CYCLES:
            run_cycle(run, block, code=code)
    finally:
        state.motion = code
        if code not in CYCLES:
            state.cycle = {}


def _check_machine_move(run: Run, block: Block, *, code: int) -> None:
    word = block.groups["action"][1]
    if code not in {0, 10}:
        message, remedy = "machine coordinates go with G0 or G1 only", "write G53 G0 or G53 G1"
    elif run.state.incremental:
        message, remedy = "machine coordinates need absolute distance mode", "write G90 before"
    else:
        return
    raise block.fault_at(word, "machine-coordinates-misused", message, remedy=remedy)


def _stop(run: Run, block: Block) -> None:
    """M0, M1, M60 stop; M2, M30 end the program and reset (section 3.6.1)."""
    code = block.groups["stop"][0]
    if code not in _ENDS:
        stand(run, line=block.line, kind=Kind.STOP, stop=code)
        return
    state = run.state
    change_offsets(state, g92=[0.0, 0.0, 0.0])
    if state.work_system != 1:
        state.work_system = 1
        change_offsets(state, work=work_origin(run.parameters, system=1, factor=state.factor))
    state.plane, state.incremental, state.inverse_time = 170, False, False
    state.turning, state.motion = 0, 10
    state.mist = state.flood = False
    state.ended = True
    stand(run, line=block.line, kind=Kind.END, stop=code)


_STEPS: tuple[tuple[str, Callable[[Run, Block], None]], ...] = (
    ("feed mode", _set_feed_mode),
    ("F", _set_feed),
    ("S", _set_speed),
    ("T", _select_tool),
    ("tool change", _change_tool),
    ("spindle", _turn_spindle),
    ("coolant", _switch_air),
    ("override", _set_overrides),
    ("action", _dwell),
    ("plane", _set_plane),
    ("units", _set_units),
    ("compensation", _accept),
    ("length offset", choose_length_offset),
    ("work offset", choose_work_offset),
    ("path mode", _set_path_mode),
    ("distance mode", _set_distance_mode),
    ("retract", _set_retract),
    ("action", _act),
    ("motion", _perform_motion),
    ("stop", _stop),
)
"""Table 8: what a block does, first to last, whatever the order of its words."""
