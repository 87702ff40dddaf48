"""Moves to blocks: rounded, checked, modal words left out where they are in force."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import atan2, cos, hypot, inf, pi, sin

from cam.errors import ProgramRefused
from cam.findings import Origin, error
from cam.motion.moves import Move, MoveKind
from cam.program.numbers import format_number, round_to
from cam.tables.rows import ArcForm, Controller

MAX_ARC_RAD = 1.5 * pi
"""Longer arcs are written in two, so that a controller's rounding cannot turn one into a full circle."""
FEED_DECIMALS = 0
SLOW_FEED_MM_PER_MIN = 10.0
SLOW_FEED_DECIMALS = 3
"""Feeds below ten are written finer: only arcs of a few last digits ask for one."""
SWEEP_TOL_RAD = 0.25
"""How far the sweep that a controller finds in rounded numbers may differ from the arc's."""


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """What is in force at the controller: position as written (rounded), motion word and feed."""

    at: tuple[float, float, float] | None = None
    motion: str = ""
    feed: str = ""


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
    An arc's I and J are taken from its rounded start, and the radii at its rounded ends compared as
    NISTIR 6556 section 3.5.3.2 does; an arc whose rounded ends coincide is dropped if it is that
    short, and one of more than `MAX_ARC_RAD` is written in two.
    """
    facts = controller.facts
    if move.kind is MoveKind.ARC and (facts.arcs is not ArcForm.CENTRE or not _is_acceptable(move, controller)):
        raise ProgramRefused(
            error(
                "arc-not-writable",
                f"controller {controller.name} cannot take an arc of radius {_radius_mm(move):.3f} mm",
                remedy="choose a controller that takes arcs by their centre",
                origin=Origin(x_mm=move.to_mm[0], y_mm=move.to_mm[1]),
            )
        )
    if move.kind is MoveKind.ARC and from_mm is not None and abs(move.sweep_rad) > MAX_ARC_RAD:
        first, second = split_arc(move, from_mm=from_mm)
        blocks, state = emit_move(first, from_mm=from_mm, state=state, frame=frame, controller=controller)
        more, state = emit_move(second, from_mm=first.to_mm, state=state, frame=frame, controller=controller)
        return blocks + more, state
    target = frame.units(move.to_mm, decimals=facts.decimals)
    _check_range(move, target=target, frame=frame, controller=controller)
    if state.at is not None and target == state.at:
        return [], state
    if move.kind is MoveKind.ARC:
        return _emit_arc(move, target=target, state=state, frame=frame, controller=controller)
    return _emit_straight(move, target=target, state=state, controller=controller)


def split_arc(move: Move, *, from_mm: tuple[float, float, float]) -> tuple[Move, Move]:
    """Return two arcs of half the sweep each."""
    assert move.centre_mm is not None
    cx, cy = move.centre_mm
    half = move.sweep_rad / 2.0
    dx, dy = from_mm[0] - cx, from_mm[1] - cy
    middle = (
        cx + dx * cos(half) - dy * sin(half),
        cy + dx * sin(half) + dy * cos(half),
        (from_mm[2] + move.to_mm[2]) / 2.0,
    )
    return replace(move, to_mm=middle, sweep_rad=half), replace(move, sweep_rad=half)


def _emit_straight(
    move: Move, *, target: tuple[float, float, float], state: State, controller: Controller
) -> tuple[list[str], State]:
    motion = "G0" if move.kind is MoveKind.RAPID else "G1"
    words = [motion] if motion != state.motion or controller.format.repeat_modal_words else []
    words += _axis_words(target, state=state, controller=controller)
    feed = state.feed
    if motion == "G1":
        words, feed = _add_feed(words, move, state=state)
    return [_join(words, controller)], State(at=target, motion=motion, feed=feed)


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
        return _emit_straight(replace(move, kind=MoveKind.LINE), target=target, state=state, controller=controller)
    read = _read_sweep_rad(i, j, dx=target[0] - x, dy=target[1] - y, clockwise=move.sweep_rad < 0.0)
    bow_mm = _radius_mm(move) * (1.0 - cos(move.sweep_rad / 2.0))
    if abs(read - abs(move.sweep_rad)) > SWEEP_TOL_RAD and bow_mm <= 2.0 * frame.mm_per_unit / 10.0**decimals:
        # rounding has turned the end past the start, which would be nearly a whole circle: the chord
        # is as near to so short an arc as its rounded ends are
        return _emit_straight(replace(move, kind=MoveKind.LINE), target=target, state=state, controller=controller)
    spread = abs(hypot(i, j) - hypot(target[0] - x - i, target[1] - y - j)) * frame.mm_per_unit
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
    if abs(read - abs(move.sweep_rad)) > SWEEP_TOL_RAD:
        raise ProgramRefused(
            error(
                "arc-not-writable",
                f"an arc of {abs(move.sweep_rad):.4f} rad would be read as {read:.4f} rad after rounding to {decimals} "
                "decimals",
                remedy="choose a controller with more decimals",
                origin=Origin(x_mm=move.to_mm[0], y_mm=move.to_mm[1]),
            )
        )
    motion = "G3" if move.sweep_rad > 0.0 else "G2"
    words = [motion] if motion != state.motion or controller.format.repeat_modal_words else []
    # X and Y are both written: a missing one would be read as unchanged, which for an arc may be a full circle
    words += [
        f"X{format_number(target[0], decimals=decimals)}",
        f"Y{format_number(target[1], decimals=decimals)}",
    ]
    if target[2] != state.at[2]:
        words.append(f"Z{format_number(target[2], decimals=decimals)}")
    words += [f"I{format_number(i, decimals=decimals)}", f"J{format_number(j, decimals=decimals)}"]
    words, feed = _add_feed(words, move, state=state)
    return [_join(words, controller)], State(at=target, motion=motion, feed=feed)


def _read_sweep_rad(i: float, j: float, *, dx: float, dy: float, clockwise: bool) -> float:
    """Return the sweep that a controller finds in an arc's words, from 0 (not reached) to a whole turn."""
    turn = atan2(dy - j, dx - i) - atan2(-j, -i)
    return ((-turn if clockwise else turn) % (2.0 * pi)) or 2.0 * pi


def _axis_words(target: tuple[float, float, float], *, state: State, controller: Controller) -> list[str]:
    decimals = controller.facts.decimals
    before = state.at or (inf, inf, inf)
    return [
        f"{letter}{format_number(value, decimals=decimals)}"
        for letter, value, old in zip("XYZ", target, before, strict=True)
        if value != old
    ]


def _add_feed(words: list[str], move: Move, *, state: State) -> tuple[list[str], str]:
    slow = move.feed_mm_per_min < SLOW_FEED_MM_PER_MIN
    feed = f"F{format_number(move.feed_mm_per_min, decimals=SLOW_FEED_DECIMALS if slow else FEED_DECIMALS)}"
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


def _join(words: list[str], controller: Controller) -> str:
    return (" " if controller.format.spaces else "").join(words)


def _radius_mm(move: Move) -> float:
    assert move.centre_mm is not None
    return hypot(move.to_mm[0] - move.centre_mm[0], move.to_mm[1] - move.centre_mm[1])


def _is_acceptable(move: Move, controller: Controller) -> bool:
    return _radius_mm(move) <= controller.facts.max_arc_radius_mm


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
