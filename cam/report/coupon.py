"""The first-piece coupon: its sizes, the card to write them on, and the cutter's diameter that they tell."""

from __future__ import annotations

from dataclasses import dataclass

from cam.report.markup import element, lay_table, words
from cam.report.page import lay_document
from cam.tables.rows import Cutter

SQUARE_MM, BORE_MM, SLOT_WIDTH_MM, SLOT_LENGTH_MM = 70.0, 22.0, 14.0, 40.0
MOST_OFF_MM = 0.5
"""A cutter further from its nominal diameter is another cutter, or the sizes were misread."""
MOST_APART_MM = 0.1
"""What the features tell may differ by so much: beyond it the machine's axes, not the cutter, are off (shop rule)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredCoupon:
    """Sizes read off a coupon, mm."""

    square_x_mm: float
    square_y_mm: float
    bore_mm: float
    slot_width_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class EffectiveDiameter:
    """The diameter that a cutter really cuts, from each feature and from all."""

    diameter_mm: float
    by_feature: tuple[tuple[str, float], ...]

    @property
    def spread_mm(self) -> float:
        """How far apart the features' answers are."""
        values = [value for _, value in self.by_feature]
        return max(values) - min(values)


def find_effective_diameter(measured: MeasuredCoupon, *, nominal_mm: float) -> EffectiveDiameter:
    """Return the diameter with which the coupon's sizes agree.

    Notes
    -----
    The path lies half the nominal diameter off every wall. A cutter that cuts D instead of D0 leaves an outside size
    larger by D0 - D and an inside size smaller by as much (geometry). The square counts once, by the mean of its two
    sides; the answer is the mean over the three features. An error of scale in the axes moves outside and inside sizes
    apart: the features then tell different diameters.

    Examples
    --------
    >>> cut = MeasuredCoupon(square_x_mm=70.06, square_y_mm=70.04, bore_mm=21.95, slot_width_mm=13.95)
    >>> round(find_effective_diameter(cut, nominal_mm=6.0).diameter_mm, 3)
    5.95
    """
    outside = (measured.square_x_mm + measured.square_y_mm) / 2.0 - SQUARE_MM
    found = (
        ("square", nominal_mm - outside),
        ("bore", nominal_mm + (measured.bore_mm - BORE_MM)),
        ("slot", nominal_mm + (measured.slot_width_mm - SLOT_WIDTH_MM)),
    )
    return EffectiveDiameter(diameter_mm=sum(value for _, value in found) / len(found), by_feature=found)


def write_coupon_card(*, cutter: Cutter, program: str, sheet: str, machine: str) -> str:
    """Return the card as one HTML file, to print and to fill in beside the machine."""
    blank = words("")
    rows = [
        (words("Square, along X"), words(f"{SQUARE_MM:.2f}"), blank, words("D = D0 - (measured - nominal)")),
        (words("Square, along Y"), words(f"{SQUARE_MM:.2f}"), blank, words("D = D0 - (measured - nominal)")),
        (words("Bore, diameter"), words(f"{BORE_MM:.2f}"), blank, words("D = D0 + (measured - nominal)")),
        (words("Slot, width"), words(f"{SLOT_WIDTH_MM:.2f}"), blank, words("D = D0 + (measured - nominal)")),
    ]
    header = element(
        "header",
        element("h1", words("First piece: what does the cutter really cut?")),
        element(
            "p", words(f"Program {program}, cutter {cutter.name} ({cutter.diameter_mm:g} mm), {sheet}, {machine}.")
        ),
    )
    steps = (
        "Clamp a piece of the job's own sheet, clear of its lower left corner: the job's own clamps are not looked at.",
        "Zero X and Y at that corner, Z as the program's header says.",
        "Run the program with a hand on the stop. Break the bridges and take the burr off, not the edge.",
        "Let the piece come to room temperature. Measure each size at mid height, twice, and write the mean.",
        "castcut coupon JOB --measured X Y BORE SLOT then writes the cutter's row with the diameter that it cuts.",
    )
    sections = (
        element("section", element("h2", words("Do this")), element("ol", *(element("li", words(s)) for s in steps))),
        element(
            "section",
            element("h2", words("Sizes, mm")),
            lay_table(
                caption=f"D0 is the nominal diameter, {cutter.diameter_mm:g} mm; D what the cutter cuts",
                headings=("Feature", "Nominal", "Measured", "Tells"),
                rows=rows,
                numeric=frozenset({1}),
            ),
            id="findings",
        ),
    )
    return lay_document(title="First piece", header=header, sections=sections)
