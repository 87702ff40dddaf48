"""Rows as TOML, for a shop's own tables."""

from __future__ import annotations

import json

from cam.tables.rows import Cutter, Machine

FORMAT = 1


def write_machine_row(machine: Machine) -> str:
    """Return a file of rows that holds one machine, to be read by ``tables`` of a job.

    Notes
    -----
    TOML's basic strings are JSON's but for a few escapes that JSON never writes, so JSON writes the text.
    """

    curve = "".join(
        f"  {{ rpm = {_number(point.rpm)}, power_w = {_number(point.power_w)} }},\n" for point in machine.power_curve
    )
    return (
        f"format = {FORMAT}\n\n[[machine]]\n"
        f"name = {json.dumps(machine.name, ensure_ascii=False)}\n"
        f"title = {json.dumps(machine.title, ensure_ascii=False)}\n"
        f"travel_mm = {_numbers(machine.travel_mm)}\n"
        f"rapid_mm_per_min = {_numbers(machine.rapid_mm_per_min)}\n"
        f"max_feed_mm_per_min = {_number(machine.max_feed_mm_per_min)}\n"
        f"acceleration_mm_per_s2 = {_numbers(machine.acceleration_mm_per_s2)}\n"
        f"junction_deviation_mm = {_number(machine.junction_deviation_mm)}\n"
        f"block_time_s = {_number(machine.block_time_s)}\n"
        f"min_rpm = {_number(machine.min_rpm)}\n"
        f"max_rpm = {_number(machine.max_rpm)}\n"
        f"power_curve = [\n{curve}]\n"
        f"spin_up_s = {_number(machine.spin_up_s)}\n"
        f"tool_change_s = {_number(machine.tool_change_s)}\n"
        f"max_collet_mm = {_number(machine.max_collet_mm)}\n"
        f"source = {json.dumps(machine.source, ensure_ascii=False)}\n"
    )


def write_cutter_row(cutter: Cutter) -> str:
    """Return a file of rows that holds one cutter, to be read by ``tables`` of a job."""
    return (
        f"format = {FORMAT}\n\n[[cutter]]\n"
        f"name = {json.dumps(cutter.name, ensure_ascii=False)}\n"
        f"title = {json.dumps(cutter.title, ensure_ascii=False)}\n"
        f"tool = {cutter.tool}\n"
        f"kind = {json.dumps(str(cutter.kind))}\n"
        f"flutes = {cutter.flutes}\n"
        f"form = {json.dumps(cutter.form, ensure_ascii=False)}\n"
        f"diameter_mm = {_number(cutter.diameter_mm)}\n"
        f"edge_length_mm = {_number(cutter.edge_length_mm)}\n"
        f"shank_mm = {_number(cutter.shank_mm)}\n"
        f"stick_out_mm = {_number(cutter.stick_out_mm)}\n"
        f"centre_cutting = {json.dumps(cutter.centre_cutting)}\n"
        f"max_ramp_deg = {_number(cutter.max_ramp_deg)}\n"
        f"max_rpm = {_number(cutter.max_rpm)}\n"
        f"point_angle_deg = {_number(cutter.point_angle_deg)}\n"
        f"source = {json.dumps(cutter.source, ensure_ascii=False)}\n"
    )


def _number(value: float) -> str:
    text = f"{float(value):.6g}"
    return text if "." in text or "e" in text else f"{text}.0"


def _numbers(values: tuple[float, ...]) -> str:
    return f"[{', '.join(_number(value) for value in values)}]"
