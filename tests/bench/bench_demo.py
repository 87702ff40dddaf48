"""Time the demo as a whole process, start-up included, and the start-up alone.

Run from the source tree, with castcut installed: ``python tests/bench/bench_demo.py``. Prints a row a
command with the least, middle and greatest of its runs; RESULTS.md keeps dated copies.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from statistics import median

RUNS = 5
START = "import sys; from cam.cli import main; main(sys.argv[1:], prog_name='castcut')"


def measure_seconds(*arguments: str) -> list[float]:
    """Return the wall time of each run of a castcut command, after one that is not counted."""
    times = []
    for _ in range(RUNS + 1):
        with tempfile.TemporaryDirectory() as folder:
            began = time.perf_counter()
            subprocess.run([sys.executable, "-c", START, *arguments], cwd=folder, check=True, capture_output=True)
            times.append(time.perf_counter() - began)
    return times[1:]


def main() -> None:
    """Print the table."""
    print("| command | least s | middle s | greatest s |")
    print("|---|---|---|---|")
    for arguments in (("--version",), ("demo",)):
        times = measure_seconds(*arguments)
        print(f"| castcut {' '.join(arguments)} | {min(times):.2f} | {median(times):.2f} | {max(times):.2f} |")


if __name__ == "__main__":
    main()
