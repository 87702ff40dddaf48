"""How long ``castcut compare`` takes for 12 combinations of the demo part, as a whole process.

python tests/bench/bench_compare.py
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

JOB = Path(__file__).parents[2] / "parts" / "canteen-wall" / "job.toml"
COMMAND = [
    sys.executable, "-c", "from cam.cli import main; main()", "compare", str(JOB),
    "--cutter", "o1-6-up", "--cutter", "o1-8-up", "--machine", "workshop-gantry", "--machine", "industrial",
    "--controller", "ngc", "--controller", "radius-arcs", "--controller", "iso-numbered", "--quiet",
]  # fmt: skip


def main() -> None:
    """Print the wall time of three runs and what was compared."""
    times = []
    for _ in range(3):
        began = time.perf_counter()
        done = subprocess.run(COMMAND, capture_output=True, text=True, check=False)
        times.append(time.perf_counter() - began)
    rows = [line for line in done.stdout.splitlines() if line[:4].strip().isdigit()]
    print(f"12 combinations: {min(times):.1f}, {sorted(times)[1]:.1f}, {max(times):.1f} s (least, middle, greatest)")
    print("\n".join(rows))
    print(done.stdout.splitlines()[-1])


if __name__ == "__main__":
    main()
