"""A machine's row as TOML, for a shop's own tables."""

from __future__ import annotations

import json

from cam.tables.rows import Machine

FORMAT = 1


def write_machine_row(machine: Machine) -> str:
    """Return a file of rows that holds one machine, to be read by ``tables`` of a job.

    Notes
    -----
    TOML's basic strings are JSON's but for a few escapes that JSON never writes, so JSON writes the text.
    """

    def number(value: float) -> str:
        text = f"{float(value):.6g}"
        return text if "." in text or "e" in text else f"{text}.0"

    def numbers(values: tuple[float, ...]) -> str:
        return f"[{', '.join(number(value) for value in values)}]"

    curve = "".join(
        f"  {{ rpm = {number(point.rpm)}, power_w = {number(point.power_w)} }},\n" for point in machine.power_curve
    )
    return (
        f"format = {FORMAT}\n\n[[machine]]\n"
        f"name = {json.dumps(machine.name)}\n"
        f"title = {json.dumps(machine.title, ensure_ascii=False)}\n"
        f"travel_mm = {numbers(machine.travel_mm)}\n"
        f"rapid_mm_per_min = {numbers(machine.rapid_mm_per_min)}\n"
        f"max_feed_mm_per_min = {number(machine.max_feed_mm_per_min)}\n"
        f"acceleration_mm_per_s2 = {numbers(machine.acceleration_mm_per_s2)}\n"
        f"junction_deviation_mm = {number(machine.junction_deviation_mm)}\n"
        f"block_time_s = {number(machine.block_time_s)}\n"
        f"min_rpm = {number(machine.min_rpm)}\n"
        f"max_rpm = {number(machine.max_rpm)}\n"
        f"power_curve = [\n{curve}]\n"
        f"spin_up_s = {number(machine.spin_up_s)}\n"
        f"tool_change_s = {number(machine.tool_change_s)}\n"
        f"max_collet_mm = {number(machine.max_collet_mm)}\n"
        f"source = {json.dumps(machine.source, ensure_ascii=False)}\n"
    )
