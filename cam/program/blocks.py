"""Moves to blocks: rounded, checked, modal words left out where they are in force."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import asin, atan2, cos, hypot, pi

from cam.errors import ProgramRefused
from cam.findings import Origin, error
from cam.motion.moves import Move, MoveKind
from cam.program.adapt import adapt_move
from cam.program.numbers import format_number, round_to
from cam.program.style import INCH_MM, join_words
from cam.tables.rows import ArcForm, Controller

FEED_DECIMALS = 0
INCH_FEED_DECIMALS = 2
SLOW_FEED_MM_PER_MIN = 10.0
SLOW_FEED_DECIMALS = 3
"""Feeds below ten are written finer: only arcs of a few last digits ask for one."""
SWEEP_TOL_RAD = 0.25
"""How far the sweep that a controller finds in rounded numbers may differ from the arc's."""


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """What is in force at the controller: position as written (rounded), motion word, feed, and G91.

    In incremental mode the position is the sum of all steps, each a whole number of last digits: what the
    controller has is known without an error that grows.
    """

    at: tuple[float, float, float] | None = None
    motion: str = ""
    feed: str = ""
    incremental: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """How the sheet's mm become a program's numbers: height of Z 0 above the bed, and mm per unit."""

    zero_mm: float
    mm_per_unit: float

    def units(self, point_mm: tuple[float, float, float], *, decimals: int) -> tuple[float, float, float]:
        """Return a point as the program states it, rounded."""
        x, y, z = point_mm
        return (
            round_to(x / self.mm_per_unit, decimals=decimals),
            round_to(y / self.mm_per_unit, decimals=decimals),
            round_to((z - self.zero_mm) / self.mm_per_unit, decimals=decimals),
        )


def emit_move(
    move: Move, *, from_mm: tuple[float, float, float] | None, state: State, frame: Frame, controller: Controller
) -> tuple[list[str], State]:
    """Return the blocks of one move and what is in force after them.

    Parameters
    ----------
    from_mm
        Where the move starts, unrounded; None before the first move, which must be a rapid.

    Raises
    ------
    ProgramRefused
        If a coordinate or feed is beyond the controller's largest number, or an arc cannot be written.

    Notes
    -----
    What the controller does not take is first made into what it does: see :func:`cam.program.adapt.adapt_move`.
    An arc's I and J are taken from its rounded start, and the radii at its rounded ends compared as
    NISTIR 6556 section 3.5.3.2 does; an arc whose rounded ends coincide is dropped if it is that short.
    """
    blocks: list[str] = []
    for part in (move,) if from_mm is None else adapt_move(move, from_mm=from_mm, facts=controller.facts):
        more, state = _emit_part(part, state=state, frame=frame, controller=controller)
        blocks += more
    return blocks, state


def _emit_part(move: Move, *, state: State, frame: Frame, controller: Controller) -> tuple[list[str], State]:
    target = frame.units(move.to_mm, decimals=controller.facts.decimals)
    _check_range(move, target=target, frame=frame, controller=controller)
    if state.at is not None and target == state.at:
        return [], state
    if move.kind is MoveKind.ARC:
        return _emit_arc(move, target=target, state=state, frame=frame, controller=controller)
    return _emit_straight(move, target=target, state=state, frame=frame, controller=controller)


def _emit_straight(
    move: Move, *, target: tuple[float, float, float], state: State, frame: Frame, controller: Controller
) -> tuple[list[str], State]:
    motion = "G0" if move.kind is MoveKind.RAPID else "G1"
    words = [motion] if motion != state.motion or controller.format.repeat_modal_words else []
    words += _axis_words(target, state=state, controller=controller)
    feed = state.feed
    if motion == "G1":
        words, feed = _add_feed(words, move, state=state, frame=frame, controller=controller)
    return [join_words(words, controller=controller)], replace(state, at=target, motion=motion, feed=feed)


def _emit_arc(
    move: Move, *, target: tuple[float, float, float], state: State, frame: Frame, controller: Controller
) -> tuple[list[str], State]:
    assert move.centre_mm is not None and state.at is not None
    decimals = controller.facts.decimals
    x, y, _ = state.at
    i = round_to(move.centre_mm[0] / frame.mm_per_unit - x, decimals=decimals)
    j = round_to(move.centre_mm[1] / frame.mm_per_unit - y, decimals=decimals)
    if target[:2] == state.at[:2]:
        # the arc is shorter than the last digit: only its change of height is left
        chord = replace(move, kind=MoveKind.LINE)
        return _emit_straight(chord, target=target, state=state, frame=frame, controller=controller)
    read = _read_sweep_rad(i, j, dx=target[0] - x, dy=target[1] - y, clockwise=move.sweep_rad < 0.0)
    bow_mm = _radius_mm(move) * (1.0 - cos(move.sweep_rad / 2.0))
    if abs(read - abs(move.sweep_rad)) > SWEEP_TOL_RAD and bow_mm <= 2.0 * frame.mm_per_unit / 10.0**decimals:
        # rounding has turned the end past the start, which would be nearly a whole circle: the chord
        # is as near to so short an arc as its rounded ends are
        chord = replace(move, kind=MoveKind.LINE)
        return _emit_straight(chord, target=target, state=state, frame=frame, controller=controller)
    motion = "G3" if move.sweep_rad > 0.0 else "G2"
    words = [motion] if motion != state.motion or controller.format.repeat_modal_words else []
    # X and Y are both written: a missing one would be read as unchanged, which for an arc may be a full circle
    words += [_axis_word(axis, target=target, state=state, controller=controller) for axis in range(2)]
    if target[2] != state.at[2]:
        words.append(_axis_word(2, target=target, state=state, controller=controller))
    if controller.facts.arcs is ArcForm.RADIUS:
        words.append(_radius_word(move, target=target, state=state, frame=frame, controller=controller))
    else:
        _check_centre(move, i, j, read_rad=read, target=target, state=state, frame=frame, controller=controller)
        words += [f"I{format_number(i, decimals=decimals)}", f"J{format_number(j, decimals=decimals)}"]
    words, feed = _add_feed(words, move, state=state, frame=frame, controller=controller)
    return [join_words(words, controller=controller)], replace(state, at=target, motion=motion, feed=feed)


def _check_centre(
    move: Move,
    i: float,
    j: float,
    *,
    read_rad: float,
    target: tuple[float, float, float],
    state: State,
    frame: Frame,
    controller: Controller,
) -> None:
    """Refuse an arc whose rounded words the controller would not take, or would take for another."""
    assert state.at is not None
    decimals = controller.facts.decimals
    spread = abs(hypot(i, j) - hypot(target[0] - state.at[0] - i, target[1] - state.at[1] - j)) * frame.mm_per_unit
    if spread > controller.facts.arc_tol_mm or hypot(i, j) == 0.0:
        raise ProgramRefused(
            error(
                "arc-not-writable",
                f"an arc's radii differ by {spread:.5f} mm after rounding to {decimals} decimals; controller "
                f"{controller.name} accepts {controller.facts.arc_tol_mm:g} mm",
                remedy="choose a controller with more decimals",
                origin=Origin(x_mm=move.to_mm[0], y_mm=move.to_mm[1]),
                size_mm=spread,
            )
        )
    if abs(read_rad - abs(move.sweep_rad)) > SWEEP_TOL_RAD:
        raise ProgramRefused(
            error(
                "arc-not-writable",
                f"an arc of {abs(move.sweep_rad):.4f} rad would be read as {read_rad:.4f} rad after rounding to "
                f"{decimals} decimals",
                remedy="choose a controller with more decimals",
                origin=Origin(x_mm=move.to_mm[0], y_mm=move.to_mm[1]),
            )
        )


def _radius_word(
    move: Move, *, target: tuple[float, float, float], state: State, frame: Frame, controller: Controller
) -> str:
    """Return R such that the controller's arc through the rounded ends bows as the arc itself does.

    Notes
    -----
    Of a chord c and a radius R the bow is R - sqrt(R^2 - c^2 / 4); R is the arc's own, rounded, and never less than
    half the chord.
    """
    assert state.at is not None
    decimals = controller.facts.decimals
    chord = hypot(target[0] - state.at[0], target[1] - state.at[1])
    radius = round_to(_radius_mm(move) / frame.mm_per_unit, decimals=decimals)
    read = 2.0 * asin(min(1.0, chord / (2.0 * radius))) if radius > 0.0 else pi
    if 2.0 * radius < chord or abs(read - abs(move.sweep_rad)) > SWEEP_TOL_RAD:
        raise ProgramRefused(
            error(
                "arc-not-writable",
                f"an arc of radius {_radius_mm(move):.4f} mm cannot be given by its radius in {decimals} decimals",
                remedy="choose a controller with more decimals, or one that takes arcs by their centre",
                origin=Origin(x_mm=move.to_mm[0], y_mm=move.to_mm[1]),
            )
        )
    return f"R{format_number(radius, decimals=decimals)}"


def _read_sweep_rad(i: float, j: float, *, dx: float, dy: float, clockwise: bool) -> float:
    """Return the sweep that a controller finds in an arc's words, from 0 (not reached) to a whole turn."""
    turn = atan2(dy - j, dx - i) - atan2(-j, -i)
    return ((-turn if clockwise else turn) % (2.0 * pi)) or 2.0 * pi


def _axis_word(axis: int, *, target: tuple[float, float, float], state: State, controller: Controller) -> str:
    value, decimals = target[axis], controller.facts.decimals
    if state.incremental and state.at is not None:
        value -= state.at[axis]
    return f"{'XYZ'[axis]}{format_number(value, decimals=decimals)}"


def _axis_words(target: tuple[float, float, float], *, state: State, controller: Controller) -> list[str]:
    return [
        _axis_word(axis, target=target, state=state, controller=controller)
        for axis in range(3)
        if state.at is None or target[axis] != state.at[axis]
    ]


def _add_feed(
    words: list[str], move: Move, *, state: State, frame: Frame, controller: Controller
) -> tuple[list[str], str]:
    value = move.feed_mm_per_min / frame.mm_per_unit
    slow = value < SLOW_FEED_MM_PER_MIN
    usual = INCH_FEED_DECIMALS if frame.mm_per_unit == INCH_MM else FEED_DECIMALS
    feed = f"F{format_number(value, decimals=min(SLOW_FEED_DECIMALS if slow else usual, controller.facts.decimals))}"
    if feed == "F0":
        raise ProgramRefused(
            error(
                "arc-not-writable",
                f"an arc of this size asks for a feed of {move.feed_mm_per_min:.2g} mm/min, which is written as none",
                remedy="redraw the contour there without the tiny arc",
                origin=Origin(x_mm=move.to_mm[0], y_mm=move.to_mm[1]),
            )
        )
    return (words, feed) if feed == state.feed else ([*words, feed], feed)


def _radius_mm(move: Move) -> float:
    assert move.centre_mm is not None
    return hypot(move.to_mm[0] - move.centre_mm[0], move.to_mm[1] - move.centre_mm[1])


def _check_range(move: Move, *, target: tuple[float, float, float], frame: Frame, controller: Controller) -> None:
    limits = controller.limits
    largest = max(abs(value) for value in target) * frame.mm_per_unit
    if largest > limits.max_coordinate_mm or move.feed_mm_per_min > limits.max_feed_mm_per_min:
        raise ProgramRefused(
            error(
                "number-too-large",
                f"controller {controller.name} takes coordinates up to {limits.max_coordinate_mm:g} mm and feeds up to "
                f"{limits.max_feed_mm_per_min:g} mm/min; the program needs {largest:.1f} mm and "
                f"{move.feed_mm_per_min:.0f} mm/min",
                remedy="choose another controller, or move the panel nearer to the zero",
                origin=Origin(x_mm=move.to_mm[0], y_mm=move.to_mm[1]),
            )
        )
