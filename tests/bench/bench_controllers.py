"""Controllers: every demo and random jobs in every accent, random restarts, random controller files.

python tests/bench/bench_controllers.py accents [JOBS]     every controller x every demo and JOBS random jobs
python tests/bench/bench_controllers.py restarts [COUNT]   COUNT random lines in 20 programs over all controllers
python tests/bench/bench_controllers.py files [COUNT]      COUNT random controller files
"""

from __future__ import annotations

import importlib.util
import sys
import tempfile
from collections import Counter
from dataclasses import replace
from pathlib import Path
from random import Random

import numpy as np

from cam.errors import Refusal
from cam.pipeline import make_job
from cam.restarting import restart_program
from cam.tables.places import find_data_folder
from cam.tables.read import find_controller, find_machine, read_tables
from cam.tables.read_job import default_job, read_job

HERE = Path(__file__).parent
FIRST_SEED = 30_000


def load(path: Path, name: str):
    """Import a file that is no package's."""
    spec = importlib.util.spec_from_file_location(name, path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


def find_jobs(count: int, folder: Path, tables):
    """Return the demos' jobs and so many random ones that are not refused for the reference controller."""
    jobs = [(path.parent.name, read_job(path)) for path in sorted(find_data_folder("parts").glob("*/job.toml"))]
    campaign = load(HERE / "bench_jobs.py", "bench_jobs_for_controllers")
    seed = FIRST_SEED
    while count:
        try:
            job = replace(campaign.write_random_job(seed, folder=folder, tables=tables), controller="ngc")
            make_job(job, tables=tables)
        except Refusal:
            pass
        else:
            jobs.append((f"seed {seed}", job))
            count -= 1
        seed += 1
    return jobs


def run_accents(count: int, names: list[str]) -> None:
    """Print a row for each controller: proven, not proven, refused, bytes and blocks against the reference."""
    tables = read_tables()
    with tempfile.TemporaryDirectory() as folder:
        jobs = find_jobs(count, Path(folder), tables)
        reference: dict[str, tuple[int, int]] = {}
        lines = []
        for controller in sorted(tables.controllers, key=lambda each: each.name != "ngc"):
            if names and controller.name not in ("ngc", *names):
                continue
            outcome, codes, sizes = Counter(), Counter(), []
            for name, job in jobs:
                try:
                    program = make_job(replace(job, controller=controller.name), tables=tables).programs[0]
                except Refusal as refusal:
                    outcome["refused"] += 1
                    codes[f"{refusal.findings[0].code} ({name})"] += 1
                    continue
                outcome["proven" if program.verdict.proven else "not proven"] += 1
                if not program.verdict.proven:
                    codes.update({f"{f.code} ({name})" for f in program.verdict.findings if f.severity == "error"})
                size = (sum(len(file.text) for file in program.files), sum(file.trace.lines for file in program.files))
                reference.setdefault(name, size)
                if name in reference:
                    sizes.append((size[0] / reference[name][0], size[1] / reference[name][1], len(program.files)))
            ratio = np.array(sizes).mean(axis=0)
            lines.append(
                f"| {controller.name} | {outcome['proven']} | {outcome['not proven']} | {outcome['refused']} | "
                f"{ratio[0]:.2f} | {ratio[1]:.2f} | {ratio[2]:.1f} | {', '.join(sorted(codes)) or '-'} |"
            )
            print(lines[-1], flush=True)
        kib, blocks = np.array(list(reference.values())).sum(axis=0)
        print(f"\n{len(jobs)} jobs; the reference's programs together: {kib / 1024:.0f} KiB, {blocks} blocks")
        print("| controller | proven | not proven | refused | bytes | blocks | files | what |")
        print("|---|---|---|---|---|---|---|---|")
        print("\n".join(lines))


def run_restarts(count: int) -> None:
    """Print how many restarts at random lines are proven."""
    tables, random = read_tables(), Random(5)
    with tempfile.TemporaryDirectory() as folder:
        jobs = find_jobs(6, Path(folder), tables)
        programs = []
        for number in range(20):
            controller = tables.controllers[number % len(tables.controllers)]
            job = replace(jobs[number % len(jobs)][1], controller=controller.name)
            program = make_job(job, tables=tables).programs[0]
            programs.append((controller, job, program, random.choice(program.files)))
        outcome, what = Counter(), Counter()
        for number in range(count):
            controller, job, program, file = programs[number % len(programs)]
            facts = controller.facts
            rpm = np.abs(file.trace.spindle_rpm).max()
            moves = np.flatnonzero(np.isfinite(file.trace.end_mm).all(axis=1))
            line = int(file.trace.line[random.choice(moves[2:-4].tolist())])
            try:
                found = restart_program(
                    file.text,
                    line=line,
                    file=file.name,
                    controller=controller,
                    machine=find_machine(tables, name=job.machine),
                    tables=tables,
                    job=job if len(program.files) == 1 else None,
                    tool=int(file.trace.tool[-1]) if facts.tool_change == "file" else 0,
                    hand_rpm=0.0 if facts.spindle_speed_word else float(rpm),
                )
            except Refusal as refusal:
                outcome["refused"] += 1
                what[f"refused {refusal.findings[0].code}: {refusal.findings[0].message[:60]}"] += 1
                continue
            same = max(found.uncut_mm, found.overcut_mm) <= 0.002
            outcome["proven" if found.proven else "cuts the same, not proven" if same else "cuts something else"] += 1
            if not found.proven:
                errors = [f.code for f in (*found.findings, *(found.verdict.findings if found.verdict else ()))]
                what[f"{controller.name}: {', '.join(sorted(set(errors)))}"] += 1
        print(dict(outcome), dict(what), sep="\n")


def run_files(count: int) -> None:
    """Print what becomes of random controller files: refused with a path, or cutting a panel, proven or not."""
    tests = load(HERE.parent / "unit" / "tables" / "test_controller_files.py", "controller_files")
    outcome, odd = Counter(), []
    with tempfile.TemporaryDirectory() as folder:
        import ezdxf  # noqa: PLC0415

        document = ezdxf.new(units=4)
        document.modelspace().add_lwpolyline([(0, 0), (180, 0), (180, 70), (120, 70), (120, 110), (0, 110)], close=True)
        document.modelspace().add_circle((40, 50), radius=11)
        drawing = Path(folder) / "bracket.dxf"
        document.saveas(drawing)
        for seed in range(count):
            path = Path(folder) / "ours.toml"
            path.write_text(tests.dump(tests.break_document(np.random.default_rng(seed))))
            try:
                tables = read_tables(own=(path,))
                find_controller(tables, name="ours")
            except Refusal as refusal:
                placed = all(finding.origin.key or finding.origin.line for finding in refusal.findings)
                outcome["refused with its path" if placed else "refused without a path"] += 1
                continue
            try:
                job = default_job(drawing, cutters=("o1-6-up",), machine="industrial", controller="ours")
                program = make_job(job, tables=tables).programs[0]
            except Refusal as refusal:
                outcome["read; the job is refused: " + refusal.findings[0].code] += 1
                continue
            except Exception as failure:  # the campaign is there to find these
                outcome["traceback"] += 1
                odd.append(f"{seed}: {type(failure).__name__} {failure}")
                continue
            errors = sorted({f.code for f in program.verdict.findings if f.severity == "error"})
            outcome["works: proven" if program.verdict.proven else f"read; not proven: {', '.join(errors)}"] += 1
    for name, number in outcome.most_common():
        print(f"| {name} | {number} |")
    print("\n".join(odd))


def main() -> None:
    """Run one of the campaigns."""
    what, count = sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else None
    {"accents": lambda: run_accents(count if count is not None else 100, sys.argv[3:]),
     "restarts": lambda: run_restarts(count or 200),
     "files": lambda: run_files(count or 1000)}[what]()  # fmt: skip


if __name__ == "__main__":
    main()
