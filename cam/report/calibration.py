"""A calibration in words and as a document."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from cam.backplot.calibrate import Calibration
from cam.tables.timings import MeasuredTime

FORMAT = 1


def write_calibration(found: Calibration, *, times: Sequence[MeasuredTime]) -> str:
    """Return the settings found, how well each is known, and each time beside what the row now says."""
    lines = [f"Machine {found.machine.name}, from {len(times)} times, errors {found.spread:.1%}:"]
    lines += [
        f"  {each.name:<20} {each.value:10.4g} {each.unit:<6} (was {each.before:.4g}): {each.said}"
        for each in found.settings
    ]
    lines.append("  measured and predicted, min:")
    for time, predicted in zip(times, found.predicted_s.tolist(), strict=True):
        off = predicted / time.seconds - 1.0
        lines.append(f"    {time.program.name:<24} {time.seconds / 60.0:8.3f} {predicted / 60.0:8.3f} {off:+7.1%}")
    return "\n".join(lines)


def lay_calibration_document(found: Calibration, *, times: Sequence[MeasuredTime], row: str) -> dict[str, Any]:
    """Return the document of ``calibrate``; ``row`` is the path of the file written."""
    return {
        "format": FORMAT,
        "machine": found.machine.name,
        "row": row,
        "settings": [
            {
                "name": each.name,
                "unit": each.unit,
                "before": each.before,
                "value": each.value,
                "doubt_share": each.share,
                "said": each.said,
            }
            for each in found.settings
        ],
        "times": [
            {"program": time.program.name, "measured_s": time.seconds, "predicted_s": predicted}
            for time, predicted in zip(times, found.predicted_s.tolist(), strict=True)
        ],
        "spread": found.spread,
    }
