"""The drawing's unit: what the file says, what the user says."""

from __future__ import annotations

from cam.errors import DrawingRefused
from cam.findings import Origin, error

# $INSUNITS of the DXF reference; survey units differ from the plain ones by 2 in a million
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


def find_mm_per_unit(units: str, *, file: str) -> float:
    """Return the length of a unit by its name.

    Raises
    ------
    DrawingRefused
        If the name is none of ``MM_PER_UNIT``.
    """
    if units not in MM_PER_UNIT:
        raise DrawingRefused(
            error(
                "unknown-unit",
                f"'{units}' is no unit that a panel is drawn in; known are {', '.join(MM_PER_UNIT)}",
                remedy="name one of these with --units",
                origin=Origin(file=file),
            )
        )
    return MM_PER_UNIT[units]
