"""What words a controller takes: the language's tables and the facts of its row."""

from __future__ import annotations

from dataclasses import dataclass

from cam.tables.rows import ArcForm, Controller

MOTION, PLANE, DISTANCE, FEED_MODE, UNITS = "motion", "plane", "distance mode", "feed mode", "units"
COMPENSATION, LENGTH, RETRACT, WORK, PATH = "compensation", "length offset", "retract", "work offset", "path mode"
ACTION, STOP, CHANGE, SPINDLE, COOLANT, OVERRIDE = "action", "stop", "tool change", "spindle", "coolant", "override"

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
    SPINDLE: (3, 4, 5),
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
            codes.add(int(word[1:]))
            m_groups[int(word[1:])] = COOLANT
    refused = {word.upper() for word in facts.lacks}
    refused |= {spell_g(code) for code in CYCLES} - set(facts.canned_cycles)
    refused |= {spell_g(code) for code in _GROUPS[PATH]} - set(facts.path_words)
    refused |= {spell_g(code) for code in _GROUPS[WORK]} - set(facts.work_offsets)
    refused |= set() if facts.tool_change else {"M6"}
    refused |= set() if facts.spindle_speed_word else {"S"}
    refused |= set() if facts.comments else {"("}
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
        tool_change=facts.tool_change,
        max_feed_mm_per_min=limits.max_feed_mm_per_min,
        max_rpm=limits.max_rpm,
        max_coordinate_mm=limits.max_coordinate_mm,
    )


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
