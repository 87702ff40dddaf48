"""The drawing's unit, weighed: what the file, the user and the job say, and what size the panel would have."""

from __future__ import annotations

from dataclasses import dataclass

from ezdxf.document import Drawing as Document

from cam.errors import DrawingRefused
from cam.findings import Finding, Origin, error, note

# $INSUNITS of the DXF reference
UNIT_BY_CODE = {
    1: "in",
    2: "ft",
    3: "mi",
    4: "mm",
    5: "cm",
    6: "m",
    7: "km",
    8: "microinch",
    9: "mil",
    10: "yd",
    11: "angstrom",
    12: "nm",
    13: "um",
    14: "dm",
    15: "dam",
    16: "hm",
    17: "Gm",
    18: "au",
    19: "ly",
    20: "pc",
    21: "us-ft",
    22: "us-in",
    23: "us-yd",
    24: "us-mi",
}
MM_PER_UNIT = {
    "mm": 1.0,
    "cm": 10.0,
    "dm": 100.0,
    "m": 1000.0,
    "in": 25.4,
    "ft": 304.8,
    "yd": 914.4,
    "mil": 0.0254,
    "um": 0.001,
    "us-ft": 1200000.0 / 3937.0,
    "us-in": 100000.0 / 3937.0,
    "us-yd": 3600000.0 / 3937.0,
}
IMPERIAL = ("in", "ft", "yd", "mi", "mil", "microinch", "us-ft", "us-in", "us-yd", "us-mi")
CANDIDATES = ("mm", "cm", "m", "in", "ft")
MIN_PANEL_MM = 5.0
"""Nothing shorter is cut from sheet."""
MAX_PANEL_MM = 6000.0
"""Nothing longer is offered as a candidate."""
LARGEST_SHEET_MM = (3100.0, 2100.0)
"""Cast sheets are sold up to 3050 x 2050 mm; a larger panel is doubted where another unit makes one that fits."""
EXPECT_TOL_MM = 0.5
METRIC_BY_CODE = {0: False, 1: True}  # $MEASUREMENT of the DXF reference


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """What a file states: its unit, and whether its system of measurement is metric; None where it does not say."""

    unit: str | None = None
    is_metric: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeEvidence:
    """What a job knows: the sheet that the panels are cut from, and the size that the largest is to have, in mm."""

    sheet_mm: tuple[float, float] | None = None
    expect_mm: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Extent:
    """Width and height of the largest loop and the longer side of everything drawn, in drawing units."""

    size: tuple[float, float]
    reach: float


NOTHING_KNOWN = SizeEvidence()


def read_stated_units(document: Document, data: bytes) -> Stated:
    """Return what a file states of its units.

    A file without a header states nothing, although ezdxf gives it one that says metres.
    """
    code = document.header.get("$INSUNITS", 0) if b"$INSUNITS" in data else None
    system = document.header.get("$MEASUREMENT") if b"$MEASUREMENT" in data else None
    return Stated(
        unit=UNIT_BY_CODE.get(code) if isinstance(code, int) else None,
        is_metric=METRIC_BY_CODE.get(system) if isinstance(system, int) else None,
    )


def find_mm_per_unit(units: str, *, file: str) -> float:
    """Return the length of a unit by its name.

    Raises
    ------
    DrawingRefused
        If the name is none of ``MM_PER_UNIT``.
    """
    if units not in MM_PER_UNIT:
        message = f"'{units}' is no unit that a panel is drawn in; known are {', '.join(MM_PER_UNIT)}"
        remedy = "name the unit with --units, such as --units mm"
        raise DrawingRefused(error("unknown-unit", message, remedy=remedy, origin=Origin(file=file)))
    return MM_PER_UNIT[units]


def weigh_units(
    stated: Stated, *, chosen: str | None, extent: Extent, evidence: SizeEvidence, file: str
) -> list[Finding]:
    """Return what is to be said about the drawing's unit.

    Parameters
    ----------
    stated
        What the file states.
    chosen
        The unit that the user names, which settles it.
    extent
        How large the drawing is in its own unit.
    evidence
        What the job knows of the panel's size.
    file
        The drawing's name, for messages.

    Raises
    ------
    DrawingRefused
        If nobody says the unit; if the unit stated and the system of measurement, the sheet, the
        size that the job expects or any plausible size disagree and another unit agrees.
    """
    origin = Origin(file=file)
    if chosen is not None:
        if stated.unit in (None, chosen):
            return []
        message = f"the drawing says that its unit is {stated.unit}; it is read in {chosen}, as told"
        return [note("units-overridden", message, origin=origin)]
    candidates = _say_candidates(extent, evidence)
    if stated.unit is None:
        remedy = "say the unit with --units, such as --units mm, or set the drawing's insertion unit"
        system = "" if stated.is_metric is None else f", only that they are {_say_system(stated)}"
        would = f"; the largest loop would have these sizes: {candidates}" if candidates else ""
        message = f"the drawing does not say what unit its numbers are in{system}{would}"
        raise DrawingRefused(error("no-units", message, remedy=remedy, origin=origin))
    if _is_expected(extent, stated.unit, evidence):
        return []
    doubt = _find_doubt(stated.unit, extent, evidence)
    if doubt:
        message = f"the drawing says that its unit is {stated.unit}, {doubt}; candidates are {candidates}"
        remedy = f"say the unit with --units, also if it is {stated.unit}"
        raise DrawingRefused(error("units-doubtful", message, remedy=remedy, origin=origin))
    return _weigh_system(stated, extent, evidence, origin)


def _find_doubt(unit: str, extent: Extent, evidence: SizeEvidence) -> str | None:
    """Return why a stated unit is doubtful, where another one is not."""
    expected = [other for other in CANDIDATES if _is_expected(extent, other, evidence)]
    if expected and evidence.expect_mm is not None:
        width, height = evidence.expect_mm
        return f"but the job expects a panel of {width:g} x {height:g} mm, which it is in {expected[0]}"
    if unit not in MM_PER_UNIT:
        return "in which no panel is drawn"
    if not [other for other in CANDIDATES if _is_plausible(extent, other, evidence)]:
        return None
    said = f"in which the largest loop is {_say_size(extent, unit)}"
    if 0.0 < extent.reach * MM_PER_UNIT[unit] < MIN_PANEL_MM:
        return said
    if not _fits(extent, unit, evidence):
        return said if evidence.sheet_mm is None else f"{said}, larger than the sheet"
    return None


def _weigh_system(stated: Stated, extent: Extent, evidence: SizeEvidence, origin: Origin) -> list[Finding]:
    """Return or raise that the unit is not one of the system of measurement that the file states."""
    if stated.unit is None or stated.is_metric in (None, stated.unit not in IMPERIAL):
        return []
    others = [unit for unit in CANDIDATES if (unit in IMPERIAL) != stated.is_metric]
    rivals = [unit for unit in others if _is_plausible(extent, unit, evidence)]
    said = (
        f"the drawing says that its unit is {stated.unit} but that its system of measurement is"
        f" {_say_system(stated)}; the largest loop is {_say_size(extent, stated.unit)}"
    )
    if not rivals:
        message = f"{said}, and no {_say_system(stated)} unit makes it a panel"
        return [note("units-contradicted", message, origin=origin)]
    message = f"{said}; candidates are {_say_candidates(extent, evidence)}"
    remedy = f"settle it with --units, also if it is {stated.unit}"
    raise DrawingRefused(error("units-contradicted", message, remedy=remedy, origin=origin))


def _is_plausible(extent: Extent, unit: str, evidence: SizeEvidence) -> bool:
    return max(extent.size) * MM_PER_UNIT[unit] >= MIN_PANEL_MM and _fits(extent, unit, evidence)


def _fits(extent: Extent, unit: str, evidence: SizeEvidence) -> bool:
    """Return whether the largest loop fits on the sheet, lengthways or across."""
    short, long = sorted(side * MM_PER_UNIT[unit] for side in extent.size)
    sheet_short, sheet_long = sorted(evidence.sheet_mm or LARGEST_SHEET_MM)
    return short <= sheet_short and long <= sheet_long


def _is_expected(extent: Extent, unit: str, evidence: SizeEvidence) -> bool:
    """Return whether the largest loop has the size that the job expects."""
    if evidence.expect_mm is None or unit not in MM_PER_UNIT:
        return False
    sides = zip(extent.size, evidence.expect_mm, strict=True)
    return all(abs(side * MM_PER_UNIT[unit] - wanted) <= EXPECT_TOL_MM for side, wanted in sides)


def _say_candidates(extent: Extent, evidence: SizeEvidence) -> str:
    said = []
    for unit in CANDIDATES:
        if MIN_PANEL_MM <= max(extent.size) * MM_PER_UNIT[unit] <= MAX_PANEL_MM:
            is_too_large = evidence.sheet_mm is not None and not _fits(extent, unit, evidence)
            remark = " (larger than the sheet)" if is_too_large else ""
            remark = " (as the job expects)" if _is_expected(extent, unit, evidence) else remark
            said.append(f"{unit}: {_say_size(extent, unit)}{remark}")
    return "; ".join(said)


def _say_system(stated: Stated) -> str:
    return "metric" if stated.is_metric else "imperial"


def _say_size(extent: Extent, unit: str) -> str:
    width, height = (side * MM_PER_UNIT[unit] for side in extent.size)
    return f"{width:.6g} x {height:.6g} mm"
