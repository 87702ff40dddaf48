"""The drawing's unit, weighed: what the file says, what the user says, what size the panel would have."""

from __future__ import annotations

from ezdxf.document import Drawing as Document

from cam.errors import DrawingRefused
from cam.findings import Finding, Origin, error, note, warning

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
IMPERIAL = ("in", "ft", "yd", "mil", "us-ft", "us-in", "us-yd")
CANDIDATES = ("mm", "cm", "m", "in", "ft")
# the longest side of a panel: cast sheets are sold up to about 3 m, and nothing under 5 mm is cut from them
MIN_PANEL_MM = 5.0
MAX_PANEL_MM = 6000.0


def read_stated_units(document: Document, data: bytes) -> str | None:
    """Return the unit that a file states, None where it states none.

    A file without a header states nothing, although ezdxf gives it one that says metres.
    """
    code = document.header.get("$INSUNITS", 0) if b"$INSUNITS" in data else 0
    return UNIT_BY_CODE.get(code) if isinstance(code, int) else None


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
    document: Document, *, stated: str | None, chosen: str | None, size: tuple[float, float], reach: float, file: str
) -> list[Finding]:
    """Return what is to be said about the drawing's unit.

    Parameters
    ----------
    document
        The document, for its system of measurement.
    stated, chosen
        The unit that the file states and the one that the user names, where they do.
    size
        Width and height of the largest loop, in drawing units.
    reach
        The longer side of everything drawn, in drawing units.
    file
        The drawing's name, for messages.

    Raises
    ------
    DrawingRefused
        If nobody says the unit, or the panel has no plausible size in the stated one but would have
        in another.
    """
    origin = Origin(file=file)
    if chosen is not None:
        if stated in (None, chosen):
            return []
        message = f"the drawing says that its unit is {stated}; it is read in {chosen}, as told"
        return [note("units-overridden", message, origin=origin)]
    sizes = "; ".join(f"{unit}: {_say_size(size, unit)}" for unit in _find_plausible(size))
    if stated is None:
        remedy = "say the unit with --units, such as --units mm, or set the drawing's insertion unit"
        would = f"; the largest loop would have these sizes: {sizes}" if sizes else ""
        message = f"the drawing does not say what unit its numbers are in{would}"
        raise DrawingRefused(error("no-units", message, remedy=remedy, origin=origin))
    too_long = max(size) * MM_PER_UNIT[stated] > MAX_PANEL_MM and stated != "mm"
    too_short = 0.0 < reach * MM_PER_UNIT[stated] < MIN_PANEL_MM
    if sizes and (too_long or too_short):
        message = (
            f"the drawing says that its unit is {stated}, in which the largest loop is"
            f" {_say_size(size, stated)}; plausible are {sizes}"
        )
        remedy = f"say the unit with --units, also if it is {stated}"
        raise DrawingRefused(error("units-doubtful", message, remedy=remedy, origin=origin))
    if stated in IMPERIAL and document.header.get("$MEASUREMENT", 0) == 1:
        message = (
            f"the drawing says that its unit is {stated} but that its system of measurement is metric;"
            f" the largest loop is {_say_size(size, stated)}, in mm it would be {_say_size(size, 'mm')}"
        )
        return [warning("units-contradicted", message, remedy="settle it with --units", origin=origin)]
    return []


def _find_plausible(size: tuple[float, float]) -> list[str]:
    return [unit for unit in CANDIDATES if MIN_PANEL_MM <= max(size) * MM_PER_UNIT[unit] <= MAX_PANEL_MM]


def _say_size(size: tuple[float, float], unit: str) -> str:
    width, height = (side * MM_PER_UNIT[unit] for side in size)
    return f"{width:.6g} x {height:.6g} mm"
