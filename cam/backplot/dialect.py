"""What words a controller takes: the language's tables and the facts of its row."""

from __future__ import annotations

from dataclasses import dataclass

from cam.backplot.trace import PathMode
from cam.tables.rows import ArcForm, CharacterSet, CommentForm, Controller, ToolChange

MOTION, PLANE, DISTANCE, FEED_MODE, UNITS = "motion", "plane", "distance mode", "feed mode", "units"
COMPENSATION, LENGTH, RETRACT, WORK, PATH = "compensation", "length offset", "retract", "work offset", "path mode"
ACTION, STOP, CHANGE, SPINDLE, COOLANT, OVERRIDE = "action", "stop", "tool change", "spindle", "coolant", "override"
VACUUM, EXTRACTION = "vacuum", "extraction"

CYCLES = frozenset(range(810, 900, 10))
PROBE = 382
AXES = "XYZ"

_GROUPS: dict[str, tuple[int, ...]] = {
    MOTION: (0, 10, 20, 30, PROBE, 800, *sorted(CYCLES)),
    PLANE: (170, 180, 190),
    DISTANCE: (900, 910),
    FEED_MODE: (930, 940),
    COMPENSATION: (400, 410, 420),
    LENGTH: (430, 490),
    RETRACT: (980, 990),
    WORK: (540, 550, 560, 570, 580, 590, 591, 592, 593),
    PATH: (610, 611, 640),
    ACTION: (40, 100, 280, 300, 530, 920, 921, 922, 923),
}
"""G codes times ten by modal group (section 3.4, Table 4); ``action`` is group 0. Units are facts."""

_M_GROUPS: dict[str, tuple[int, ...]] = {
    STOP: (0, 1, 2, 30, 60),
    CHANGE: (6,),
    COOLANT: (7, 8, 9),
    OVERRIDE: (48, 49),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Dialect:
    """A controller's row, ready to be asked once a word.

    Attributes
    ----------
    g_groups, m_groups
        Modal group by G code times ten and by M code; every word of the language and of the row.
    refused
        Words of the language that this controller does not take, as the row or the language spells
        them (``G43``, ``M60``, ``B``, ``#``, ``G2 R``).
    inch_code, mm_code
        G codes times ten of the unit words.
    air_on, air_off
        M codes that start and stop the air.
    turning
        Which way the spindle turns by M code: 1 clockwise, -1 counter-clockwise, 0 stopped.
    capitals
        Whether small letters are refused, in comments as well.
    remarks
        Whether a semicolon opens a comment.
    program_letter
        What opens the line of a program's number, empty if there is none.
    path_mode
        The path mode in force at the start.
    """

    name: str
    g_groups: dict[int, str]
    m_groups: dict[int, str]
    refused: frozenset[str]
    inch_code: int
    mm_code: int
    starts_in_inch: bool
    air_on: frozenset[int]
    air_off: frozenset[int]
    turning: dict[int, int]
    capitals: bool
    remarks: bool
    program_letter: str
    path_mode: PathMode
    arcs: ArcForm
    quadrant_arcs: bool
    helical_arcs: bool
    max_arc_radius_mm: float
    arc_tol_mm: float
    max_block_length: int
    dwell_s: float
    tool_change: bool
    max_feed_mm_per_min: float
    max_rpm: float
    max_coordinate_mm: float


def dialect_of(controller: Controller) -> Dialect:
    """Return a controller's row as the interpreter asks it."""
    facts, limits = controller.facts, controller.limits
    inch, mm = _code10(facts.inch_word), _code10(facts.mm_word)
    g_groups = {code: group for group, codes in _GROUPS.items() for code in codes} | {inch: UNITS, mm: UNITS}
    m_groups = {code: group for group, codes in _M_GROUPS.items() for code in codes}
    air_on, air_off = {7, 8}, {9}
    for word, codes in ((facts.air_on_word, air_on), (facts.air_off_word, air_off)):
        if word:
            codes.add(_m_code(word))
            m_groups[_m_code(word)] = COOLANT
    turning = {_m_code(facts.spindle_on_word): 1, 4: -1, _m_code(facts.spindle_off_word): 0}
    m_groups |= dict.fromkeys(turning, SPINDLE)
    for words, group in (
        ((facts.vacuum_on_word, facts.vacuum_off_word), VACUUM),
        ((facts.extraction_on_word, facts.extraction_off_word), EXTRACTION),
    ):
        m_groups |= {_m_code(word): group for word in words if word}
    refused = {word.upper() for word in facts.lacks}
    refused |= {spell_g(code) for code in CYCLES} - set(facts.canned_cycles)
    refused |= {spell_g(code) for code in _GROUPS[PATH]} - set(facts.path_words)
    refused |= {spell_g(code) for code in _GROUPS[WORK]} - set(facts.work_offsets)
    refused |= set() if facts.tool_change is ToolChange.WORD else {"M6"}
    refused |= set() if facts.spindle_speed_word else {"S"}
    refused |= set() if facts.comment_form is CommentForm.PARENTHESES else {"("}
    return Dialect(
        name=controller.name,
        g_groups=g_groups,
        m_groups=m_groups,
        refused=frozenset(refused),
        inch_code=inch,
        mm_code=mm,
        starts_in_inch=facts.units == "inch",
        air_on=frozenset(air_on),
        air_off=frozenset(air_off),
        arcs=facts.arcs,
        quadrant_arcs=facts.quadrant_arcs,
        helical_arcs=facts.helical_arcs,
        max_arc_radius_mm=facts.max_arc_radius_mm,
        arc_tol_mm=facts.arc_tol_mm,
        max_block_length=facts.max_block_length,
        dwell_s=0.001 if facts.dwell_units == "ms" else 1.0,
        turning=turning,
        capitals=facts.character_set is CharacterSet.CAPITALS,
        remarks=facts.comment_form is CommentForm.SEMICOLON,
        program_letter=facts.program_letter,
        path_mode=_PATH_MODES[facts.path_mode],
        tool_change=facts.tool_change is ToolChange.WORD,
        max_feed_mm_per_min=limits.max_feed_mm_per_min,
        max_rpm=limits.max_rpm,
        max_coordinate_mm=limits.max_coordinate_mm,
    )


_PATH_MODES = {"exact": PathMode.EXACT_PATH, "stop": PathMode.EXACT_STOP, "continuous": PathMode.CONTINUOUS}


def _m_code(word: str) -> int:
    return int(word[1:])


def spell_g(code10: int) -> str:
    """Return a G code times ten as a word.

    Examples
    --------
    >>> spell_g(20), spell_g(382)
    ('G2', 'G38.2')
    """
    return f"G{code10 // 10}" + (f".{code10 % 10}" if code10 % 10 else "")


def _code10(word: str) -> int:
    return round(float(word[1:]) * 10.0)
