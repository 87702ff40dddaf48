"""Arcs: from a block's words to a row of the trace (NISTIR 6556 section 3.5.3)."""

from __future__ import annotations

import math

from cam.backplot.arcs import (
    INCH_TOL_RATIO,
    OFFSET_LETTERS,
    PLANE_AXES,
    SAME_POINT_MM,
    ArcFault,
    PlaneArc,
    crosses_quadrant,
    find_centre_arc,
    find_distance,
    find_radius_arc,
)
from cam.backplot.dialect import AXES, spell_g
from cam.backplot.moves import arrive, feed_of, move, target_of, warn_unknown
from cam.backplot.run import Run, warn
from cam.backplot.trace import Kind
from cam.backplot.words import Block, Word
from cam.tables.rows import ArcForm


def move_arc(run: Run, block: Block, *, clockwise: bool) -> None:
    """Carry out G2 or G3."""
    state = run.state
    word = block.groups["motion"][1]
    target, named = target_of(run, block)
    try:
        arc = _find_arc(run, block, target=target, clockwise=clockwise, word=word)
        _check_arc(run, block, arc, target=target, word=word)
        if not all(state.known):
            warn_unknown(run, block, word)
        along = target[PLANE_AXES[state.plane][2]] - state.position[PLANE_AXES[state.plane][2]]
        length = math.hypot(arc.radius * arc.sweep_rad, along)
        feed = feed_of(run, block, length_mm=length, word=word)
        move(
            run,
            line=block.line,
            kind=Kind.ARC,
            target=target,
            # An arc needs its start: an axis that is not known counts as 0.
            named=(False, False, False),
            feed_mm_per_min=feed,
            motion=20 if clockwise else 30,
            arc=arc,
        )
    finally:
        arrive(state, target, named)


def _find_arc(run: Run, block: Block, *, target: list[float], clockwise: bool, word: Word) -> PlaneArc:
    """Return the arc that a block's words give, in either form."""
    state, words = run.state, block.words
    first, second, _ = PLANE_AXES[state.plane]
    offsets = [letter for letter in OFFSET_LETTERS if letter in words]
    start, end = (state.position[first], state.position[second]), (target[first], target[second])
    _check_arc_words(run, block, offsets=offsets, word=word)
    try:
        if "R" in words:
            word = words["R"]
            return find_radius_arc(start, end=end, radius=word.value * state.factor, clockwise=clockwise)
        word = words[offsets[0]]
        offset = [
            words[OFFSET_LETTERS[axis]].value * state.factor if OFFSET_LETTERS[axis] in words else 0.0
            for axis in (first, second)
        ]
        tol = run.dialect.arc_tol_mm * (INCH_TOL_RATIO if state.inch else 1.0)
        return find_centre_arc(start, end=end, offset=(offset[0], offset[1]), clockwise=clockwise, arc_tol=tol)
    except ArcFault as fault:
        raise block.fault_at(word, fault.code, fault.message, remedy=fault.remedy) from fault


def _check_arc_words(run: Run, block: Block, *, offsets: list[str], word: Word) -> None:
    """Refuse an arc with too few words, too many, or of a form that the controller does not take."""
    state, words = run.state, block.words
    first, second, normal = PLANE_AXES[state.plane]
    plane, forms = spell_g(state.plane), run.dialect.arcs
    if AXES[first] not in words and AXES[second] not in words:
        raise block.fault_at(
            word,
            "arc-axes-missing",
            f"an arc in {plane} needs {AXES[min(first, second)]} or {AXES[max(first, second)]}",
            remedy="give the end point in the plane of the arc; a whole circle repeats the start point",
        )
    if not offsets and "R" not in words:
        letters = sorted((OFFSET_LETTERS[first], OFFSET_LETTERS[second]))
        raise block.fault_at(
            word,
            "arc-centre-missing",
            f"an arc in {plane} needs {letters[0]} or {letters[1]}, or R",
            remedy="give the centre, measured from the start of the arc",
        )
    if offsets and "R" in words:
        raise block.fault_at(
            words["R"], "arc-forms-mixed", f"an arc has R or {offsets[0]}, not both", remedy="leave one of them"
        )
    if OFFSET_LETTERS[normal] in offsets:
        raise block.fault_at(
            words[OFFSET_LETTERS[normal]],
            "arc-offset-wrong",
            f"an arc in {plane} has no {OFFSET_LETTERS[normal]}",
            remedy="remove it, or choose the plane with G17, G18 or G19",
        )
    form = "R" if "R" in words else offsets[0]
    refused = "G2 R" in run.dialect.refused or forms is ArcForm.CENTRE if form == "R" else forms is ArcForm.RADIUS
    if refused or forms is ArcForm.NONE:
        raise block.fault_at(
            words[form],
            "arc-form-refused",
            f"controller {run.dialect.name} takes no arcs {'at all' if forms is ArcForm.NONE else 'of this form'}",
            remedy="write the arc in the form that the controller takes, or as lines",
        )


def _check_arc(run: Run, block: Block, arc: PlaneArc, *, target: list[float], word: Word) -> None:
    """Refuse what the controller cannot run, and point at an arc that a last digit turns into a circle."""
    state, dialect = run.state, run.dialect
    first, second, normal = PLANE_AXES[state.plane]
    start, end = (state.position[first], state.position[second]), (target[first], target[second])
    form = next(block.words[letter] for letter in ("R", *OFFSET_LETTERS) if letter in block.words)
    if arc.radius > dialect.max_arc_radius_mm:
        message = f"radius {arc.radius:.4f} mm is above the controller's largest, {dialect.max_arc_radius_mm:g} mm"
        raise block.fault_at(form, "arc-too-large", message, remedy="write the arc as lines")
    if not dialect.helical_arcs and target[normal] != state.position[normal]:
        message = f"controller {dialect.name} moves {AXES[normal]} in no arc"
        raise block.fault_at(
            block.words.get(AXES[normal], word), "helix-refused", message, remedy="ramp along lines instead"
        )
    if dialect.quadrant_arcs and crosses_quadrant(arc, start=start, arc_tol=dialect.arc_tol_mm):
        message = f"the arc passes from one quadrant to another, which controller {dialect.name} refuses"
        raise block.fault_at(form, "quadrant-crossed", message, remedy="split the arc where it crosses an axis")
    apart = find_distance(start, end)
    if SAME_POINT_MM < apart <= dialect.arc_tol_mm and abs(arc.sweep_rad) > math.pi:
        warn(
            run,
            "arc-nearly-whole",
            f"the arc's ends are {apart:.6f} mm apart, and it turns {abs(math.degrees(arc.sweep_rad)):.4f} degrees; "
            "a last digit decides between nearly nothing and a whole circle",
            remedy="give a whole circle the same end point as its start",
            block=block,
            word=word,
        )
