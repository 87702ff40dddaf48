"""Canned cycles G81 to G89 as the moves that they make (NISTIR 6556 section 3.5.16)."""

from __future__ import annotations

from cam.backplot.arcs import OFFSET_LETTERS, PLANE_AXES
from cam.backplot.dialect import AXES
from cam.backplot.faults import BlockFault
from cam.backplot.moves import feed_of, target_of, warn_unknown
from cam.backplot.run import Run, warn_once
from cam.backplot.strokes import STROKES, Cycle, go
from cam.backplot.trace import Kind
from cam.backplot.words import Block, Word

MAX_CYCLE_STROKES = 1000
"""Strokes that one block may ask for: more is a slip."""

MAX_ROWS = 10_000_000
"""Rows beyond which no cycle adds to the trace: it would fill the memory."""

_STICKY = {820: "P", 830: "Q", 860: "P", 870: "IJK", 880: "P", 890: "P"}
"""Words beside R and the depth that a cycle needs; given once, they hold while the cycle is in force."""

_NEEDS_SPINDLE = frozenset({860, 870, 880})


def run_cycle(run: Run, block: Block, *, code: int) -> None:
    """Carry out a block of a canned cycle.

    Notes
    -----
    R, the depth and the cycle's own words hold only while the same cycle stays in force. With G90
    X, Y, Z and R are coordinates; with G91 X, Y and R are steps from the position before the block
    and the depth is a step from R.
    """
    state, word = run.state, block.groups["motion"][1]
    plane = PLANE_AXES[state.plane]
    normal = plane[2]
    _keep_words(run, block, code=code, depth_letter=AXES[normal], word=word)
    target, named = target_of(run, block)
    step = [target[axis] - state.position[axis] if state.incremental else 0.0 for axis in plane[:2]]
    try:
        repeats = _repeats_of(block)
        _check_cycle(run, block, code=code, word=word)
        cycle = _resolve(run, block, code=code, normal=normal, word=word)
        _check_strokes(run, block, cycle, repeats=repeats, word=word)
        _climb_to_r(run, cycle)
        above = state.position[normal]
        for repeat in range(repeats):
            point = list(state.position)
            for axis, by in zip(plane[:2], step, strict=True):
                point[axis] = point[axis] + by if state.incremental else target[axis]
            for height in (above, cycle.r):
                point[normal] = height
                go(run, cycle, point, kind=Kind.RAPID, named=named if repeat == 0 else (True, True, True))
            STROKES[code](run, cycle, point)
            above = cycle.clear
    except BlockFault:
        for axis in plane[:2]:
            state.position[axis] = target[axis]
        raise
    finally:
        state.known = [known or name for known, name in zip(state.known, named, strict=True)]


def _keep_words(run: Run, block: Block, *, code: int, depth_letter: str, word: Word) -> None:
    """Take the cycle's words from the block, or keep those in force if the cycle is."""
    state = run.state
    if state.motion != code:
        state.cycle = {}
    for letter in (depth_letter, "R", *_STICKY.get(code, "")):
        given = block.words.get(letter)
        if given is not None:
            state.cycle["depth" if letter == depth_letter else letter] = given.value
        elif (letter if letter != depth_letter else "depth") not in state.cycle:
            raise block.fault_at(
                word,
                "cycle-word-missing",
                f"the cycle has no {letter}",
                remedy=f"give {letter} in the first block of the cycle; another motion word between loses it",
            )


def _repeats_of(block: Block) -> int:
    count = block.words.get("L")
    if count is None:
        return 1
    if round(count.value) == 0:
        raise block.fault_at(count, "cycle-repeats-zero", "a cycle cannot be done 0 times", remedy="correct L")
    return round(count.value)


def _check_cycle(run: Run, block: Block, *, code: int, word: Word) -> None:
    state = run.state
    if state.inverse_time:
        message = "no canned cycle in inverse time mode"
        raise block.fault_at(word, "cycle-inverse-time", message, remedy="write G94 and F before the cycle")
    if code == 840 and state.turning != 1:
        message = "tapping needs the spindle turning clockwise"
        raise block.fault_at(word, "cycle-spindle-wrong", message, remedy="start it with M3 before the cycle")
    if code in _NEEDS_SPINDLE and not state.turning:
        message = "this cycle stops the spindle and starts it again, and it is not turning"
        raise block.fault_at(word, "cycle-spindle-wrong", message, remedy="start it with M3 or M4 before the cycle")
    if not state.retract_stated:
        warn_once(
            run,
            "retract-not-stated",
            "neither G98 nor G99 was given; retract to R (G99) is taken, the lower of the two",
            remedy="write G98 or G99 before the first cycle",
            block=block,
            word=word,
        )


def _resolve(run: Run, block: Block, *, code: int, normal: int, word: Word) -> Cycle:
    """Return a block's cycle with its heights worked out (sections 3.5.16, 3.5.20)."""
    state, words, factor = run.state, run.state.cycle, run.state.factor
    before = state.position[normal]
    if not all(state.known[axis] or AXES[axis] in block.words for axis in PLANE_AXES[state.plane][:2]) or (
        not state.known[normal]
    ):
        warn_unknown(run, block, word)
    r = words["R"] * factor + (before if state.incremental else 0.0)
    bottom = words["depth"] * factor + (r if state.incremental else 0.0)
    if r < bottom:
        message = f"R ({r:.4f} mm) is below the bottom of the hole ({bottom:.4f} mm)"
        raise block.fault_at(block.words.get("R", word), "cycle-depth-wrong", message, remedy="correct R or the depth")
    if max(abs(r), abs(bottom)) > run.dialect.max_coordinate_mm:
        message = f"R or the depth is beyond {run.dialect.max_coordinate_mm:g} mm, the controller's largest"
        raise block.fault_at(word, "controller-limit", message, remedy="correct R or the depth")
    old = before if state.known[normal] else r
    peck = words.get("Q", 0.0) * factor
    first, second, _ = (OFFSET_LETTERS[axis] for axis in PLANE_AXES[state.plane])
    side = (words.get(first, 0.0) * factor, words.get(second, 0.0) * factor)
    middle = words.get(OFFSET_LETTERS[normal], 0.0) * factor + (bottom if state.incremental else 0.0)
    return Cycle(
        code=code,
        line=block.line,
        normal=normal,
        bottom=bottom,
        r=r,
        clear=r if state.retract_to_r else max(old, r),
        dwell_s=words.get("P", 0.0) * run.dialect.dwell_s,
        peck=peck,
        feed=feed_of(run, block, length_mm=r - bottom, word=word),
        side=side,
        middle=middle,
    )


def _check_strokes(run: Run, block: Block, cycle: Cycle, *, repeats: int, word: Word) -> None:
    """Refuse a block that asks for more strokes than anyone would."""
    strokes = (cycle.r - cycle.bottom) / cycle.peck + 1.0 if cycle.code == 830 else 1.0
    if repeats * strokes > MAX_CYCLE_STROKES or len(run.columns.arrays["kind"]) > MAX_ROWS:
        raise block.fault_at(
            word,
            "cycle-too-long",
            f"this block asks for {repeats * strokes:.6g} strokes; {MAX_CYCLE_STROKES} are the most, in a program "
            f"of up to {MAX_ROWS} moves",
            remedy="correct L or Q",
        )


def _climb_to_r(run: Run, cycle: Cycle) -> None:
    """Go up to R once, at rapid rate, if the tool is below it."""
    state = run.state
    if not state.known[cycle.normal]:
        state.position[cycle.normal] = cycle.r
        state.known[cycle.normal] = True
    if state.position[cycle.normal] < cycle.r:
        point = list(state.position)
        point[cycle.normal] = cycle.r
        named = [axis == cycle.normal for axis in range(3)]
        go(run, cycle, point, kind=Kind.RAPID, named=(named[0], named[1], named[2]))
