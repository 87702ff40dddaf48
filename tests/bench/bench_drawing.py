"""Time of reading a large drawing against the time that ezdxf alone needs to load it, in one run.

Run it from the project's root::

    python tests/bench/bench_drawing.py

The drawing is rounded rectangles drawn as loose LINEs and ARCs in shuffled order and direction, 8
entities each. Reading means everything: load, pieces, joining, and the search for crossings, doubled
loops and junctions. Targets: at most twice ezdxf's own time at 100,000 entities, and no growth worse
than n log n.
"""

from __future__ import annotations

import gc
import random
import tempfile
import time
from pathlib import Path

import ezdxf

from cam.drawing.read import read_drawing

COUNTS = (25_000, 100_000)
RUNS = 2


def write_shuffled(path: Path, count: int) -> None:
    """Write a drawing of about ``count`` loose entities."""
    rng = random.Random(1)
    entities: list[tuple] = []
    for k in range(count // 8):
        x, y, w, h, r = k % 120 * 12.0, k // 120 * 12.0, 10.0, 8.0, 1.5
        sides = (((r, 0), (w - r, 0)), ((w, r), (w, h - r)), ((w - r, h), (r, h)), ((0, h - r), (0, r)))
        for (x0, y0), (x1, y1) in sides:
            ends = [(x + x0, y + y0), (x + x1, y + y1)]
            rng.shuffle(ends)
            entities.append(("line", *ends))
        for cx, cy, turn in ((w - r, r, 270), (w - r, h - r, 0), (r, h - r, 90), (r, r, 180)):
            entities.append(("arc", (x + cx, y + cy), r, turn))
    rng.shuffle(entities)
    document = ezdxf.new("R2010", units=4)
    space = document.modelspace()
    for kind, a, b, *turn in entities:
        if kind == "line":
            space.add_line(a, b)
        else:
            space.add_arc(a, b, turn[0], turn[0] + 90)
    document.saveas(path)


def measure(work) -> float:
    """Return the least processor time of a few runs, garbage of the run before cleared away."""
    best = float("inf")
    for _ in range(RUNS):
        gc.collect()
        start = time.process_time()
        work()
        best = min(best, time.process_time() - start)
    return best


def main() -> None:
    print("| entities | ezdxf alone s | read s | ratio |\n|---|---|---|---|")
    with tempfile.TemporaryDirectory() as folder:
        for count in COUNTS:
            path = Path(folder) / f"{count}.dxf"
            write_shuffled(path, count)
            loops = read_drawing(path).loops
            assert len(loops) == count // 8
            alone = measure(lambda path=path: ezdxf.readfile(path))
            read = measure(lambda path=path: read_drawing(path))
            print(f"| {count} | {alone:.2f} | {read:.2f} | {read / alone:.2f} |", flush=True)


if __name__ == "__main__":
    main()
