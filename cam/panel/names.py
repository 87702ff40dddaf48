"""What panels are called: by the job, by a text drawn on them, or by the name of their drawing."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace

import numpy as np

from cam.drawing.drawing import Drawing, Text
from cam.findings import Finding, Origin, note
from cam.geometry.measure import contains_point
from cam.panel.meanings import Meant
from cam.panel.nesting import find_boxes_mm
from cam.panel.panel import Panel

MAX_NAME = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Names:
    """The name of each panel of a drawing by the number of its outline's loop, and what is to be said of them."""

    by_loop: dict[int, str]
    findings: tuple[Finding, ...] = ()


def find_names(drawing: Drawing, *, meant: Meant, given: str | None) -> Names:
    """Return the names of a drawing's panels.

    Parameters
    ----------
    drawing
        The drawing.
    meant
        What its loops are.
    given
        The job's name for the drawing, which goes before texts.

    Notes
    -----
    A text names the panel that it starts on, the innermost where one lies in a cut-out of another.
    Of several the tallest does; of those equally tall the topmost, and of those the leftmost. A panel
    without a text is called after the drawing, numbered where that has several panels.
    """
    base = given or drawing.path.stem
    outlines = meant.outlines
    plain = {i: base if len(outlines) == 1 else f"{base}-{number}" for number, i in enumerate(outlines, start=1)}
    if given is not None:
        return Names(by_loop=plain)
    findings = []
    names = dict(plain)
    for i, texts in _sort_texts(drawing, meant).items():
        texts.sort(key=lambda text: (-round(text.height_mm, 3), -round(text.y_mm, 3), text.x_mm))
        chosen = texts[0]
        names[i] = _make_name(chosen.text)
        others = f", rather than by {len(texts) - 1} more on it" if len(texts) > 1 else ""
        findings.append(
            note(
                "named-by-text",
                f"the panel is called {names[i]!r} by this text{others}",
                remedy='give it another name with name = "..." in [[panel]]',
                origin=Origin(
                    file=str(drawing.path), layer=chosen.layer, panel=names[i], x_mm=chosen.x_mm, y_mm=chosen.y_mm
                ),
            )
        )
    return Names(by_loop=names, findings=tuple(findings))


def _sort_texts(drawing: Drawing, meant: Meant) -> dict[int, list[Text]]:
    """Return the texts on each outline that has any: those that start on it and on no panel within it."""
    on: dict[int, list[Text]] = {}
    inwards = sorted(meant.outlines, key=lambda i: -meant.loops[i].depth)
    boxes = find_boxes_mm(tuple(drawing.loops[i].contour for i in inwards))
    for text in drawing.texts:
        if not _make_name(text.text):
            continue
        at = (text.x_mm, text.y_mm)
        near = np.all((boxes[:, :2] <= at) & (boxes[:, 2:] >= at), axis=1).tolist()
        home = next(
            (i for i, may in zip(inwards, near, strict=True) if may and contains_point(drawing.loops[i].contour, at)),
            None,
        )
        if home is not None:
            on.setdefault(home, []).append(text)
    return on


def _make_name(text: str) -> str:
    """Return a text as a name: one line, single blanks, no longer than a line of a program's heading takes.

    Examples
    --------
    >>> _make_name("  Splashback\\n  left ")
    'Splashback left'
    """
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())[:MAX_NAME].strip()


def number_names(
    panels: tuple[tuple[Panel, ...], ...], *, given: tuple[bool, ...]
) -> tuple[tuple[tuple[Panel, ...], ...], tuple[Finding, ...]]:
    """Return the panels of all drawings of a job with names of their own, and a note of each name that was numbered.

    Parameters
    ----------
    panels
        The panels, drawing by drawing.
    given
        Whether the job names each drawing; a name that it gives stays.
    """
    counts = Counter(panel.name for group in panels for panel in group)
    taken = {name for name, count in counts.items() if count == 1}
    taken.update(panel.name for group, named in zip(panels, given, strict=True) if named for panel in group)
    numbers: Counter[str] = Counter()
    findings: list[Finding] = []
    numbered = []
    for group, named in zip(panels, given, strict=True):
        renamed = []
        for panel in group:
            name = panel.name
            if counts[name] > 1 and not named:
                while True:
                    numbers[panel.name] += 1
                    name = f"{panel.name}-{numbers[panel.name]}"
                    if name not in taken:
                        break
                taken.add(name)
            renamed.append(replace(panel, name=name))
        numbered.append(tuple(renamed))
    for name, count in counts.items():
        if count > 1:
            own = [
                new.name
                for group, after in zip(panels, numbered, strict=True)
                for old, new in zip(group, after, strict=True)
                if old.name == name
            ]
            findings.append(
                note(
                    "panels-numbered",
                    f"{count} panels are called {name!r}; they are told apart as {', '.join(own)}",
                    remedy='give each drawing a name of its own with name = "..." in [[panel]]',
                )
            )
    return tuple(numbered), tuple(findings)
