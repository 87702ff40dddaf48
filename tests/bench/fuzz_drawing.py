"""Damaged drawings by the thousand: never anything but a drawing or a refusal, never slow, never large.

Run it from the project's root::

    python tests/bench/fuzz_drawing.py --count 5000 --seed 1

Each drawing is one of a few sound ones (text and binary, all entity types, blocks, many layers)
damaged in one of the ways of ``DAMAGES``. The process limits its memory to 1 GB; a drawing that is
not read within 10 s of processor time, raises anything but a refusal, or runs out of memory is kept in
``fuzz_drawing_found/`` and makes the run fail.
"""

from __future__ import annotations

import argparse
import math
import random
import resource
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from pathlib import Path

import ezdxf

from cam.drawing.read import read_drawing
from cam.errors import Refusal

MAX_S = 10.0
MAX_MEMORY_BYTES = 1_000_000_000


def make_sound_drawings() -> list[bytes]:
    """Return the bytes of sound drawings in several versions, text and binary."""
    sound = []
    for version, binary in (("R12", False), ("R2000", False), ("R2010", False), ("R2018", False), ("R2010", True)):
        document = ezdxf.new(version, units=4)
        space = document.modelspace()
        document.layers.add("CUT")
        document.layers.add("OFF").off()
        block = document.blocks.new("B", base_point=(1, 2))
        block.add_circle((5, 5), 3)
        inner = document.blocks.new("C")
        inner.add_blockref("B", (3, 3), dxfattribs={"rotation": 30, "xscale": 2})
        space.add_polyline2d(
            [(0, 0, 0), (600, 0, 0.4), (610, 10, 0), (610, 400, 0), (0, 400, 0)], format="xyb", close=True
        )
        for start, end in (((50, 50), (150, 50)), ((150, 50), (150, 120)), ((150, 120), (50, 50))):
            space.add_line(start, end, dxfattribs={"layer": "CUT"})
        space.add_arc((300, 100), 30, 0, 180)
        space.add_line((330, 100), (270, 100))
        space.add_circle((500, 300), 17.5)
        space.add_text("PANEL", dxfattribs={"insert": (10, 10), "layer": "OFF"})
        space.add_blockref("C", (400, 300)).grid((2, 3), (40, 30))
        space.add_polyline3d([(20, 300, 0), (60, 300, 0), (60, 340, 0)], close=True)
        space.add_point((1, 1))
        if version != "R12":
            space.add_lwpolyline([(200, 200, 0), (260, 200, 1), (260, 240, 0), (200, 240, 1)], format="xyb", close=True)
            space.add_ellipse((400, 150), (40, 10), 0.5)
            space.add_open_spline([(100, 300), (140, 350), (180, 320), (220, 330)])
            space.add_line((220, 330), (100, 300))
            space.add_spline([(100, 200), (130, 230), (170, 190)])
            space.add_line((170, 190), (100, 200))
            space.add_hatch().paths.add_polyline_path([(20, 200), (25, 200), (25, 205)])
            edges = space.add_hatch().paths.add_edge_path()
            edges.add_line((520, 50), (560, 50))
            edges.add_arc((560, 60), 10, 270, 90)
            edges.add_line((560, 70), (520, 70))
            edges.add_ellipse((520, 60), (0, 10), 0.5, 0, 180)
            space.add_lwpolyline(
                [(450 + 15 * math.cos(k / 8), 60 + 15 * math.sin(k / 8)) for k in range(50)], close=True
            )
            space.add_mtext("some\\Ptext")
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "sound.dxf"
            document.saveas(path, fmt="bin" if binary else "asc")
            sound.append(path.read_bytes())
    return sound


def flip_bytes(data: bytes, rng: random.Random) -> bytes:
    """Change one to twenty bytes."""
    changed = bytearray(data)
    for _ in range(rng.randint(1, 20)):
        changed[rng.randrange(len(changed))] = rng.randrange(256)
    return bytes(changed)


def cut_short(data: bytes, rng: random.Random) -> bytes:
    """Drop the end, or a stretch in the middle."""
    at = rng.randrange(len(data))
    return data[:at] if rng.random() < 0.4 else data[:at] + data[at + rng.randint(1, 3000) :]


def split_lines(data: bytes) -> list[bytes]:
    return data.split(b"\n")


def find_tag(lines: list[bytes], rng: random.Random) -> int:
    """Return the line of a random group code; most of them inside ENTITIES or BLOCKS, where geometry is."""
    start = 0
    if rng.random() < 0.8:
        marks = [i for i, line in enumerate(lines) if line.strip() in (b"ENTITIES", b"BLOCKS")]
        start = rng.choice(marks) + 1 if marks else 0
    return min(start + 2 * rng.randrange(max(1, min(600, (len(lines) - start) // 2))), max(len(lines) - 2, 0)) & ~1


def swap_codes(data: bytes, rng: random.Random) -> bytes:
    """Exchange the group codes, or the values, of pairs of tags."""
    lines = split_lines(data)
    side = rng.randrange(2)
    for _ in range(rng.randint(1, 6)):
        i, j = find_tag(lines, rng) + side, find_tag(lines, rng) + side
        if max(i, j) < len(lines):
            lines[i], lines[j] = lines[j], lines[i]
    return b"\n".join(lines)


HUGE = [
    b"1e12",
    b"-1e300",
    b"nan",
    b"inf",
    b"1e-300",
    b"999999999999",
    b"-1",
    b"0",
    b"",
    b"1e6",
    b"4294967296",
    b"abc",
    b"0.0",
]


def change_values(data: bytes, rng: random.Random) -> bytes:
    """Put impossible or extreme numbers in place of values."""
    lines = split_lines(data)
    for _ in range(rng.randint(1, 6)):
        at = find_tag(lines, rng) + 1
        if at < len(lines):
            lines[at] = rng.choice(HUGE)
    return b"\n".join(lines)


def change_codes(data: bytes, rng: random.Random) -> bytes:
    """Put other group codes in place of those that stand there."""
    lines = split_lines(data)
    for _ in range(rng.randint(1, 4)):
        lines[find_tag(lines, rng)] = str(
            rng.choice([0, 2, 5, 10, 20, 40, 42, 70, 71, 72, 100, 210, 330, 999, 1001, -5])
        ).encode()
    return b"\n".join(lines)


def repeat_tags(data: bytes, rng: random.Random) -> bytes:
    """Repeat a stretch of tags, once or a hundred times."""
    lines = split_lines(data)
    at = find_tag(lines, rng)
    run = lines[at : at + 2 * rng.randint(1, 30)]
    return b"\n".join(lines[:at] + run * rng.choice([2, 3, 100]) + lines[at:])


def drop_tags(data: bytes, rng: random.Random) -> bytes:
    """Drop some tags."""
    lines = split_lines(data)
    for _ in range(rng.randint(1, 5)):
        at = find_tag(lines, rng)
        del lines[at : at + 2]
    return b"\n".join(lines)


DAMAGES = (flip_bytes, cut_short, swap_codes, change_values, change_codes, repeat_tags, drop_tags)


def damage(sound: list[bytes], rng: random.Random) -> tuple[str, bytes]:
    """Return the name of a damage and a drawing damaged by it."""
    change = rng.choice(DAMAGES)
    return change.__name__, change(rng.choice(sound), rng)


def find_peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def choose_options(rng: random.Random) -> dict:
    """Return how a drawing is read: half of them with their hatches, half with their chords fitted."""
    return {
        "units": rng.choice([None, "mm"]),
        "hatches": rng.random() < 0.5,
        "fit_arcs_mm": rng.choice([None, 0.05]),
    }


def run(count: int, seed: int) -> int:
    """Read damaged drawings; return how many ended in anything but a drawing or a refusal."""
    sound = make_sound_drawings()
    resource.setrlimit(resource.RLIMIT_AS, (MAX_MEMORY_BYTES, MAX_MEMORY_BYTES))
    found = Path(__file__).parent / "fuzz_drawing_found"
    outcomes: Counter[str] = Counter()
    slowest_s, faults = 0.0, 0
    peak_mb, peak_at = find_peak_mb(), "before any"

    def stop(*_: object) -> None:
        raise TimeoutError(f"not read within {MAX_S} s")

    signal.signal(signal.SIGPROF, stop)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "damaged.dxf"
        for k in range(count):
            name, data = damage(sound, random.Random(f"{seed}-{k}"))
            path.write_bytes(data)
            start = time.process_time()
            signal.setitimer(signal.ITIMER_PROF, MAX_S)
            try:
                drawing = read_drawing(path, **choose_options(random.Random(k)))
                outcomes[
                    "read, no error"
                    if not any(f.severity == "error" for f in drawing.findings)
                    else "read, with errors"
                ] += 1
            except Refusal as refusal:
                outcomes[f"refused: {refusal.findings[0].code}"] += 1
            except BaseException as fault:
                if isinstance(fault, KeyboardInterrupt):
                    raise
                faults += 1
                outcomes[f"FAULT {type(fault).__name__}"] += 1
                found.mkdir(exist_ok=True)
                (found / f"{seed}-{k}-{name}.dxf").write_bytes(data)
                traceback.print_exc(limit=-4)
            finally:
                signal.setitimer(signal.ITIMER_PROF, 0)
            slowest_s = max(slowest_s, time.process_time() - start)
            if find_peak_mb() > peak_mb:
                peak_mb, peak_at = find_peak_mb(), f"at {seed}-{k}-{name}"
    print(f"{count} damaged drawings, seed {seed}: {faults} faults; slowest {slowest_s:.2f} s;", end=" ")
    print(f"peak memory {peak_mb:.0f} MB, {peak_at}")
    for outcome, times in outcomes.most_common():
        print(f"{times:6d}  {outcome}")
    return faults


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=5000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    sys.exit(1 if run(options.count, options.seed) else 0)
