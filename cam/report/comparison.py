"""Cycle times side by side: words, CSV, document and page."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from io import StringIO
from typing import Any

from cam.report.markup import Markup, element, format_number, join, lay_table, words
from cam.report.page import lay_document
from cam.report.quantities import say_time
from cam.report.time_split import TimeSplit

FORMAT = 1
PARTS = (
    ("cutting", "cutting_s"),
    ("entry", "entry_s"),
    ("corners", "corners_s"),
    ("rapid", "rapid_s"),
    ("spindle", "spindle_s"),
    ("tool change", "tool_change_s"),
    ("dwell", "dwell_s"),
)
DIMENSIONS = ("cutter", "machine", "controller", "hold", "program")


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparisonRow:
    """One combination: what was compared, and its time; ``refused`` says why none came of it.

    A dimension that was not varied and is not known is None. ``by_panel`` holds the cutting time of each
    panel, s. ``hand_changes`` counts the cutters changed by hand, whose time nobody knows and no part holds.
    """

    cutter: str | None
    machine: str | None
    controller: str | None
    hold: str | None
    program: str | None
    verdict: str
    split: TimeSplit | None
    by_panel: tuple[tuple[str, float], ...] = ()
    refused: str | None = None
    hand_changes: int = 0

    @property
    def label(self) -> str:
        """The combination in words."""
        return ", ".join(value for name in DIMENSIONS if (value := getattr(self, name)) is not None)


def find_lever(rows: Sequence[ComparisonRow]) -> str:
    """Return a sentence that names what shortens the cycle most.

    Notes
    -----
    Of all pairs of usable rows that differ in one thing alone, the pair that differs most in time; not of those with
    other numbers of cutters changed by hand, which take time as well. Where there is no such pair, the largest part
    of the first row's time.
    """
    usable = [row for row in rows if row.split is not None and row.verdict in ("proven", "not judged")]
    best: tuple[float, str, ComparisonRow, ComparisonRow] | None = None
    for slow in usable:
        for fast in usable:
            differing = [name for name in DIMENSIONS if getattr(slow, name) != getattr(fast, name)]
            if slow.hand_changes != fast.hand_changes:
                continue
            if len(differing) != 1 or slow.split is None or fast.split is None:
                continue
            saved = slow.split.cycle_s - fast.split.cycle_s
            if saved > 0.0 and (best is None or saved > best[0] + 1e-9):
                best = (saved, differing[0], slow, fast)
    if best is not None:
        saved, name, slow, fast = best
        assert slow.split is not None
        share = saved / slow.split.cycle_s
        return (
            f"The largest lever is the {name}: {getattr(fast, name)} instead of {getattr(slow, name)} saves "
            f"{say_time(saved)} of {say_time(slow.split.cycle_s)} ({share:.0%}), all else the same."
        )
    if not usable:
        return "No combination gave a proven program."
    split = usable[0].split
    assert split is not None
    name, key = max(PARTS, key=lambda part: getattr(split, part[1]))
    return f"The largest part of the time is {name}: {say_time(getattr(split, key))} of {say_time(split.cycle_s)}."


def write_comparison(rows: Sequence[ComparisonRow]) -> str:
    """Return the comparison as a table of minutes, differences against the first row, and the lever."""
    first = next((row.split.cycle_s for row in rows if row.split is not None), None)
    lines = []
    for number, row in enumerate(rows, start=1):
        lines.append(f"{number:3}  {row.label}: {row.verdict}")
        if row.split is None:
            lines.append(f"     {row.refused}")
            continue
        against = "" if first is None or number == 1 else f" ({_say_difference(row.split.cycle_s - first)})"
        lines.append(
            f"     {row.split.cycle_s / 60.0:7.2f} min{against}, at least {row.split.lower_bound_s / 60.0:.2f} min "
            f"without acceleration, {row.split.machine_bound_s / 60.0:.2f} min at the machine's greatest feed"
        )
        parts = [f"{name} {getattr(row.split, key) / 60.0:.2f}" for name, key in PARTS]
        lines.append(f"     min: {', '.join(parts)}")
        if row.hand_changes:
            lines.append(f"     not counted: cutters changed by hand, {row.hand_changes}")
        if row.refused is not None:
            lines.append(f"     {row.refused}")
        if len(row.by_panel) > 1:
            lines.append("     by panel: " + ", ".join(f"{name} {s / 60.0:.2f}" for name, s in row.by_panel))
    lines.append(find_lever(rows))
    return "\n".join(lines)


def _say_difference(seconds: float) -> str:
    return f"{'+' if seconds >= 0.0 else '-'}{abs(seconds) / 60.0:.2f} min against the first"


def write_comparison_csv(rows: Sequence[ComparisonRow]) -> str:
    """Return the comparison as CSV, times in seconds."""
    out = StringIO()
    writer = csv.writer(out, lineterminator="\n")
    keys = ["cycle_s", *(key for _, key in PARTS), "lower_bound_s", "machine_bound_s"]
    writer.writerow([*DIMENSIONS, "verdict", *keys, "refused"])
    for row in rows:
        times = ["" if row.split is None else f"{getattr(row.split, key):.3f}" for key in keys]
        writer.writerow([*(getattr(row, name) or "" for name in DIMENSIONS), row.verdict, *times, row.refused or ""])
    return out.getvalue()


def lay_comparison_document(rows: Sequence[ComparisonRow], *, page: str | None, csv_path: str | None) -> dict[str, Any]:
    """Return the document of ``compare``."""
    return {
        "format": FORMAT,
        "rows": [_lay_row(row) for row in rows],
        "lever": find_lever(rows),
        "page": page,
        "csv": csv_path,
    }


def _lay_row(row: ComparisonRow) -> dict[str, Any]:
    keys = (*(key for _, key in PARTS), "cycle_s", "other_s", "lower_bound_s", "machine_bound_s")
    return {
        **{name: getattr(row, name) for name in DIMENSIONS},
        "verdict": row.verdict,
        **{key: None if row.split is None else getattr(row.split, key) for key in keys},
        "panels": [{"panel": name, "cutting_s": seconds} for name, seconds in row.by_panel],
        "hand_changes": row.hand_changes,
        "refused": row.refused,
    }


def write_comparison_page(rows: Sequence[ComparisonRow], *, title: str) -> str:
    """Return the comparison as one HTML file with bars."""
    header = element("header", element("h1", words(title)), element("p", words(find_lever(rows)), class_="soft"))
    sections = (
        element("section", element("h2", words("Time of each combination")), _lay_bars(rows), id="bars"),
        element("section", element("h2", words("In numbers")), _lay_table(rows), id="findings"),
    )
    return lay_document(title=title, header=header, sections=sections)


# fills that differ in lightness and in pattern, so that no part is told by colour alone
_PATTERNS = {
    "cutting_s": ("#2f6f8f", ""),
    "entry_s": ("#7fb2c9", "M0 6L6 0"),
    "corners_s": ("#c9793a", "M0 0L6 6"),
    "rapid_s": ("#d9d2bd", "M3 0V6"),
    "spindle_s": ("#8a8f5c", "M0 3H6"),
    "tool_change_s": ("#5d4a66", "M0 0L6 6M0 6L6 0"),
    "dwell_s": ("#b7a3bd", "M1 1H2V2H1Z"),
}
_WIDTH, _BAR, _ROW, _LEFT = 1000.0, 26.0, 58.0, 10.0


def _lay_bars(rows: Sequence[ComparisonRow]) -> Markup:
    longest = max((row.split.cycle_s for row in rows if row.split is not None), default=1.0)
    scale = (_WIDTH - 2.0 * _LEFT - 90.0) / longest
    parts = [_lay_patterns()]
    for number, row in enumerate(rows):
        y = 8.0 + number * _ROW
        parts.append(element("text", words(f"{number + 1}. {row.label}"), x=_LEFT, y=y + 14.0))
        if row.split is None:
            parts.append(element("text", words(f"{row.verdict}"), x=_LEFT, y=y + 38.0))
            continue
        x = _LEFT
        for name, key in PARTS:
            width = getattr(row.split, key) * scale
            said = element("title", words(f"{name}: {say_time(getattr(row.split, key))}"))
            box = {"x": x, "y": y + 20.0, "width": width, "height": _BAR}
            if width > 0.0:
                parts.append(element("g", said, element("rect", **box, fill=_PATTERNS[key][0]),
                                     element("rect", **box, fill=f"url(#part-{key})")))  # fmt: skip
            x += width
        bound = _LEFT + row.split.lower_bound_s * scale
        parts.append(element("path", d=f"M{format_number(bound)} {format_number(y + 16.0)}V{format_number(y + 50.0)}",
                             stroke="currentColor", stroke_width=2.0))  # fmt: skip
        parts.append(element("text", words(f"{row.split.cycle_s / 60.0:.2f} min"), x=x + 6.0, y=y + 38.0))
    height = 16.0 + len(rows) * _ROW
    legend_y = height + 8.0
    x = _LEFT
    for name, key in PARTS:
        parts.append(element("rect", x=x, y=legend_y, width=18.0, height=18.0, fill=_PATTERNS[key][0]))
        parts.append(element("rect", x=x, y=legend_y, width=18.0, height=18.0, fill=f"url(#part-{key})"))
        parts.append(element("text", words(name), x=x + 24.0, y=legend_y + 14.0))
        x += 40.0 + 9.0 * len(name)
    parts.append(element("path", d=f"M{format_number(x)} {legend_y}v18", stroke="currentColor", stroke_width=2.0))
    parts.append(element("text", words("least without acceleration"), x=x + 8.0, y=legend_y + 14.0))
    described = "Bars of the cycle time of each combination, divided by what the time goes into"
    return element(
        "svg",
        element("title", words(described)),
        join(parts),
        viewBox=f"0 0 {format_number(_WIDTH)} {format_number(legend_y + 30.0)}",
        role="img",
        fill="currentColor",
        font_size=14.0,
        xmlns="http://www.w3.org/2000/svg",
    )


def _lay_patterns() -> Markup:
    return element(
        "defs",
        *(
            element(
                "pattern",
                element("path", d=d, stroke="#fff", stroke_width=1.0, fill="none") if d else Markup(""),
                id=f"part-{key}",
                width=6.0,
                height=6.0,
                patternUnits="userSpaceOnUse",
            )
            for key, (_, d) in _PATTERNS.items()
        ),
    )


def _lay_table(rows: Sequence[ComparisonRow]) -> Markup:
    first = next((row.split.cycle_s for row in rows if row.split is not None), 0.0)
    cells = []
    for number, row in enumerate(rows, start=1):
        if row.split is None:
            blank = (words("-"),) * (len(PARTS) + 3)
            cells.append((words(f"{number}. {row.label}"), words(f"{row.verdict}: {row.refused}"), *blank))
            continue
        split = row.split
        numbers = [
            split.cycle_s,
            split.cycle_s - first,
            *(getattr(split, key) for _, key in PARTS),
            split.lower_bound_s,
        ]
        cells.append(
            (
                words(f"{number}. {row.label}"),
                words(row.verdict if row.refused is None else f"{row.verdict}: {row.refused}"),
                *(words(f"{n / 60.0:.2f}") for n in numbers),
            )
        )
    return lay_table(
        caption="Minutes; the difference is against the first; the least is without acceleration",
        headings=("Combination", "Verdict", "Cycle", "Difference", *(name for name, _ in PARTS), "Least"),
        rows=cells,
        numeric=frozenset(range(2, 5 + len(PARTS))),
    )
