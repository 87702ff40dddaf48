"""What a layer's name means: the job's rules first, then castcut's own layer convention.

The convention is made of plain words in any case, joined by a hyphen, an underscore or a space::

    OUTLINE          the outer edge of a panel
    CUTOUT           an opening in a panel; a full circle is bored as a hole
    HOLE             a round hole; what is no full circle is refused
    RECESS-2.5       cut 2.5 mm deep into the upper face; loops inside loops are left standing
    GROOVE-6X2       a centre line, open or closed: 6 mm wide and 2 mm deep, its ends round
    IGNORE           nothing of a panel: a frame, notes, lettering
    SHOWN            edges that will be seen; also HIDDEN, TRIMMED, BUTTED
    OUTLINE-HIDDEN   a class of finish after OUTLINE, CUTOUT or HOLE

Where layer names may hold no full stop, ``2P5`` and ``2,5`` are 2.5. On a layer of any other name a
loop is what its nesting makes of it. A name that begins with one of the words and goes on otherwise
is refused, never guessed.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase

from cam.drawing.layers import LayerUse, UseOf
from cam.panel.panel import Finish
from cam.tables.job import LayerMeaning, LayerRule

MAX_DEPTH_MM = 100.0
MAX_WIDTH_MM = 200.0

_JOIN = r"[-_ ]+"
_NUMBER = r"(\d+(?:[.,P]\d+)?)"
_FINISH = "|".join(finish.name for finish in Finish)
_THROUGH = re.compile(rf"(OUTLINE|CUT-?OUT|HOLE)(?:{_JOIN}({_FINISH}))?")
_RECESS = re.compile(rf"RECESS{_JOIN}{_NUMBER}(?:MM)?")
_GROOVE = re.compile(rf"GROOVE{_JOIN}{_NUMBER}X{_NUMBER}(?:MM)?")
# a recess or an ignored layer taken for a contour is cut through: any name that begins so must be understood
_BEGINS = re.compile(rf"(?:RECESS|GROOVE|IGNORE)|(?:OUTLINE|CUT-?OUT|HOLE|{_FINISH})(?![A-Z])")


@dataclass(frozen=True, slots=True, kw_only=True)
class Meaning:
    """What is drawn on a layer; without ``means`` its nesting decides. ``fault`` says why a name is not understood."""

    means: LayerMeaning | None = None
    depth_mm: float | None = None
    width_mm: float | None = None
    finish: Finish | None = None
    fault: str | None = None
    remedy: str = ""

    @property
    def use(self) -> LayerUse:
        """How what is drawn on the layer is joined and checked."""
        match self.means:
            case LayerMeaning.RECESS:
                return LayerUse.RECESS
            case LayerMeaning.GROOVE:
                return LayerUse.GROOVE
            case LayerMeaning.IGNORE:
                return LayerUse.IGNORE
        return LayerUse.CONTOUR


BY_NESTING = Meaning()

CONVENTION = (
    ("OUTLINE", "the outer edge of a panel"),
    ("CUTOUT", "an opening in a panel; a full circle is bored as a hole"),
    ("HOLE", "a round hole; what is no full circle is refused"),
    ("RECESS-2.5", "cut 2.5 mm deep into the upper face; loops inside loops are left standing"),
    ("GROOVE-6X2", "a centre line, open or closed: 6 mm wide and 2 mm deep, its ends round"),
    ("IGNORE", "nothing of a panel: a frame, notes, lettering"),
    ("SHOWN", "edges that will be seen; also HIDDEN, TRIMMED, BUTTED"),
    ("OUTLINE-HIDDEN", "a class of finish after OUTLINE, CUTOUT or HOLE"),
    ("any other", "what its nesting makes of it: outline, cut-out, hole, panel within a cut-out"),
)
"""castcut's own layer convention: an example of a name and what is drawn on such a layer."""


def write_convention() -> str:
    """Return the layer convention as text: a name of each kind, and what is drawn on such a layer."""
    width = max(len(name) for name, _ in CONVENTION)
    return "\n".join(
        (
            "castcut's own layer convention; names in any case, words joined by a hyphen, an underscore or a space",
            *(f"  {name:<{width}}  {meaning}" for name, meaning in CONVENTION),
            "A job says otherwise with [[layer]]: match, means, depth_mm, width_mm, finish.",
        )
    )


def read_layer_name(name: str) -> Meaning:
    """Return what castcut's own convention takes a layer's name for.

    Examples
    --------
    >>> read_layer_name("Recess-2.5").depth_mm
    2.5
    >>> read_layer_name("GROOVE 6X2P5").width_mm, read_layer_name("GROOVE 6X2P5").depth_mm
    (6.0, 2.5)
    >>> read_layer_name("hole-hidden").finish
    <Finish.HIDDEN: 'hidden'>
    >>> read_layer_name("A-WALL-FULL") == BY_NESTING
    True
    >>> read_layer_name("RECESS").fault
    'it says no depth'
    """
    word = name.strip().upper()
    if not _BEGINS.match(word):
        return BY_NESTING
    if word == "IGNORE":
        meaning = Meaning(means=LayerMeaning.IGNORE)
    elif word in Finish.__members__:
        meaning = Meaning(finish=Finish[word])
    elif found := _THROUGH.fullmatch(word):
        means = LayerMeaning.CUTOUT if found[1].startswith("CUT") else LayerMeaning(found[1].lower())
        meaning = Meaning(means=means, finish=Finish[found[2]] if found[2] else None)
    elif found := _RECESS.fullmatch(word):
        meaning = _check(Meaning(means=LayerMeaning.RECESS, depth_mm=_read_number(found[1])))
    elif found := _GROOVE.fullmatch(word):
        width, depth = _read_number(found[1]), _read_number(found[2])
        meaning = _check(Meaning(means=LayerMeaning.GROOVE, width_mm=width, depth_mm=depth))
    else:
        meaning = Meaning(fault=_say_fault(word), remedy=_say_remedy(word))
    return meaning


def _read_number(text: str) -> float:
    return float(text.replace(",", ".").replace("P", "."))


def _check(meaning: Meaning) -> Meaning:
    assert meaning.depth_mm is not None
    width = meaning.width_mm
    if not 0.0 < meaning.depth_mm <= MAX_DEPTH_MM:
        fault = f"its depth of {meaning.depth_mm:g} mm is not between 0 and {MAX_DEPTH_MM:g} mm"
        return Meaning(fault=fault, remedy="correct the depth in its name")
    if width is not None and not 0.0 < width <= MAX_WIDTH_MM:
        fault = f"its width of {width:g} mm is not between 0 and {MAX_WIDTH_MM:g} mm"
        return Meaning(fault=fault, remedy="correct the width in its name")
    return meaning


def _say_fault(word: str) -> str:
    if word == "RECESS":
        return "it says no depth"
    if word == "GROOVE":
        return "it says neither width nor depth"
    return "it begins like a name of castcut's layer convention and goes on otherwise"


def _say_remedy(word: str) -> str:
    if word.startswith("RECESS"):
        example = "name it RECESS-2.5 for a depth of 2.5 mm"
    elif word.startswith("GROOVE"):
        example = "name it GROOVE-6X2 for a width of 6 mm and a depth of 2 mm"
    else:
        example = "name it as 'castcut list layers' shows"
    return f"{example}, or say what it means with [[layer]] in the job"


def find_meaning(layer: str, *, rules: tuple[LayerRule, ...]) -> Meaning:
    """Return what a layer means: the first rule that matches it, then the convention for what that leaves open.

    Examples
    --------
    >>> rules = (LayerRule(match="frame*", means=LayerMeaning.IGNORE), LayerRule(match="*", finish="hidden"))
    >>> find_meaning("FRAME-A3", rules=rules).means
    <LayerMeaning.IGNORE: 'ignore'>
    >>> find_meaning("RECESS-3", rules=rules).depth_mm
    3.0
    """
    by_name = read_layer_name(layer)
    number = find_rule(layer, rules=rules)
    if number is None:
        return by_name
    rule = rules[number]
    finish = Finish(rule.finish) if rule.finish else None
    if rule.means is None:
        return replace(by_name, finish=finish or by_name.finish)
    finish = finish or (by_name.finish if by_name.fault is None else None)
    return Meaning(means=rule.means, depth_mm=rule.depth_mm, width_mm=rule.width_mm, finish=finish)


def find_rule(layer: str, *, rules: tuple[LayerRule, ...]) -> int | None:
    """Return the number of the first rule that matches a layer's name, from 0; None where none does."""
    name = layer.strip().upper()
    # brackets are letters of layers' names here, not sets to choose from
    patterns = (rule.match.strip().upper().replace("[", "[[]") for rule in rules)
    return next((i for i, pattern in enumerate(patterns) if fnmatchcase(name, pattern)), None)


def remember_meanings(rules: tuple[LayerRule, ...]) -> Callable[[str], Meaning]:
    """Return :func:`find_meaning` with some rules, each name looked up once."""
    known: dict[str, Meaning] = {}

    def find(layer: str) -> Meaning:
        meaning = known.get(layer)
        if meaning is None:
            meaning = known[layer] = find_meaning(layer, rules=rules)
        return meaning

    return find


def find_uses(rules: tuple[LayerRule, ...]) -> UseOf:
    """Return how what is drawn on each layer is joined and checked."""
    meaning_of = remember_meanings(rules)
    return lambda layer: meaning_of(layer).use
