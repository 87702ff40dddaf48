"""The first-piece coupon: a small panel cut with the job's own cutter, data and sheet, through the whole pipeline."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from cam.drawing.write import Drawn, write_drawing
from cam.errors import TableRefused
from cam.findings import Origin, error
from cam.geometry.contour import Contour, circle, rectangle
from cam.pipeline import Made, make_job
from cam.report.coupon import (
    BORE_MM,
    MOST_APART_MM,
    MOST_OFF_MM,
    SLOT_LENGTH_MM,
    SLOT_WIDTH_MM,
    SQUARE_MM,
    EffectiveDiameter,
    MeasuredCoupon,
    find_effective_diameter,
)
from cam.tables.job import Job, PanelEntry
from cam.tables.read_job import check_job
from cam.tables.rows import Cutter, Tables

NAME = "coupon"


def draw_coupon(path: Path) -> None:
    """Write the coupon's drawing: a square with a bore and a slot with round ends."""
    half, reach = SLOT_WIDTH_MM / 2.0, (SLOT_LENGTH_MM - SLOT_WIDTH_MM) / 2.0
    x, y = SQUARE_MM / 2.0, SQUARE_MM * 0.25
    corners = ((x - reach, y - half, 0.0), (x + reach, y - half, 1.0), (x + reach, y + half, 0.0))
    slot = Contour(np.array([*corners, (x - reach, y + half, 1.0)]))
    write_drawing(
        [
            Drawn(contour=rectangle((0.0, 0.0), width_mm=SQUARE_MM, height_mm=SQUARE_MM)),
            Drawn(contour=circle((SQUARE_MM / 2.0, SQUARE_MM * 0.66), radius_mm=BORE_MM / 2.0)),
            Drawn(contour=slot),
        ],
        path=path,
    )


def make_coupon(job: Job, *, drawing: Path, cutter: str | None, tables: Tables) -> Made:
    """Return the coupon's program, cut with the job's sheet, machine, controller and one cutter.

    Raises
    ------
    Refusal
        Whatever keeps the coupon from being made, as any panel.
    """
    names = (cutter,) if cutter is not None else job.cutters[:1]
    coupon = replace(
        job,
        title=f"First piece for {job.title}",
        panels=(
            PanelEntry(
                drawing=drawing,
                name=NAME,
                units="mm",
                at_mm=(job.margin_mm, job.margin_mm),
                expect_size_mm=(SQUARE_MM, SQUARE_MM),
                expect_cutouts=2,
            ),
        ),
        cutters=names,
        keep_outs=(),
        layers=(),
        chamfer=replace(job.chamfer, width_mm=0.0),
        path=drawing.with_name(f"{NAME}.toml"),
    )
    return make_job(check_job(coupon), tables=tables)


def find_own_cutter(
    measured: MeasuredCoupon, *, cutter: Cutter, name: str, tool: int
) -> tuple[Cutter, EffectiveDiameter]:
    """Return a row of the shop's own for a cutter, with the diameter that it cuts.

    Raises
    ------
    TableRefused
        ``coupon-doubtful``, if the sizes tell a diameter that no such cutter has, or contradict one another.
    """
    found = find_effective_diameter(measured, nominal_mm=cutter.diameter_mm)
    off = abs(found.diameter_mm - cutter.diameter_mm)
    told = ", ".join(f"{what} {value:.3f} mm" for what, value in found.by_feature)
    if off > MOST_OFF_MM or found.spread_mm > MOST_APART_MM:
        why = (
            f"the sizes tell a cutter of {found.diameter_mm:.3f} mm, {off:.3f} mm from its nominal diameter"
            if off > MOST_OFF_MM
            else f"the features contradict one another by {found.spread_mm:.3f} mm"
        )
        raise TableRefused(
            error(
                "coupon-doubtful",
                f"{why}: {told}",
                remedy="measure again; if it stays, look at the axes' scale and at play, not at the cutter",
                origin=Origin(feature=cutter.name),
                size_mm=max(off, found.spread_mm),
            )
        )
    row = replace(
        cutter,
        name=name,
        title=f"{cutter.title}, as it cuts",
        tool=tool,
        diameter_mm=round(found.diameter_mm, 3),
        source=f"diameter: first-piece coupon, {told}; the rest: {cutter.name}",
    )
    return row, found
