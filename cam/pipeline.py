"""The only module that knows every stage; it reads like the V of DEVELOPERS.md."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from time import perf_counter

from cam.backplot.clock import Timing, time_program
from cam.backplot.interpret import interpret_program
from cam.backplot.join import join_traces, place_in_files
from cam.backplot.read import read_program
from cam.backplot.trace import Trace
from cam.drawing.drawing import Drawing
from cam.drawing.read import read_drawing, refuse_faults
from cam.drawing.units import SizeEvidence
from cam.errors import PlanRefused
from cam.findings import Finding, Origin, error, note
from cam.motion.lay_moves import StepMoves, lay_moves
from cam.panel.find_panels import find_panels
from cam.panel.layers import find_uses
from cam.panel.meanings import Meant, add_meaning, find_meanings, note_unused_rules
from cam.panel.names import find_names, number_names
from cam.panel.webs import check_webs
from cam.plan.explain import count_passes, say_entry
from cam.plan.hold_feature import say_grip
from cam.plan.means import Means
from cam.plan.plan_panels import plan_panels
from cam.plan.workingstep import Plan
from cam.program.write import Heading, ProgramFile, ProgramLine, emit_files, format_program
from cam.report.judge import judge_program
from cam.report.plan_row import PlanRow
from cam.report.verdict import Verdict
from cam.sheet.lay import Group, lay_panels
from cam.sheet.layout import Layout, Placement
from cam.sheet.recess_depths import check_recess_depths
from cam.tables.job import Face, Job, KeepOut, LayerRule, Suspects, ZeroFace
from cam.tables.read import find_cutter
from cam.tables.read_job import JobRows, find_job_origin, find_job_rows
from cam.tables.rows import SheetSize, Tables

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MadeFile:
    """One file of a program: its text, and its own moves and time. ``name`` is its name once proven."""

    name: str
    text: str
    trace: Trace
    timing: Timing


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MadeProgram:
    """One program for one controller, and what reading it back gave.

    Several files run one after the other; ``trace`` and ``timing`` are of all together, and so is the verdict.
    """

    name: str
    controller: str
    files: tuple[MadeFile, ...]
    trace: Trace
    timing: Timing
    verdict: Verdict

    @property
    def text(self) -> str:
        """The text of all files, one after the other."""
        return "".join(file.text for file in self.files)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Made:
    """A job made: both legs of the V. ``stages`` says how many seconds each stage took."""

    job: Job
    drawings: tuple[Drawing, ...]
    layout: Layout
    programs: tuple[MadeProgram, ...]
    plan_rows: tuple[PlanRow, ...]
    findings: tuple[Finding, ...]
    bed_z_mm: float
    stages: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Proof:
    """A program read back and judged against a job."""

    trace: Trace
    timing: Timing
    layout: Layout
    verdict: Verdict
    findings: tuple[Finding, ...]
    bed_z_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Inspection:
    """A drawing as it was read, faults and all, with what its loops are.

    ``names`` are those of the panels by the numbers of their outlines.
    """

    drawing: Drawing
    meant: Meant
    names: dict[int, str]


@dataclass(slots=True)
class _Stopwatch:
    progress: Progress
    stages: list[tuple[str, float]]
    name: str = ""
    since: float = 0.0

    def start(self, name: str) -> None:
        self.stop()
        self.progress(name)
        self.name, self.since = name, perf_counter()

    def stop(self) -> None:
        if self.name:
            self.stages.append((self.name, perf_counter() - self.since))
        self.name = ""


def _silent(_: str) -> None:
    return None


def make_job(job: Job, *, tables: Tables, progress: Progress = _silent) -> Made:
    """Return the program of a job, proven or not.

    Parameters
    ----------
    progress
        Called with the name of each stage as it begins.

    Raises
    ------
    Refusal
        Whatever keeps a stage from a certain result.
    """
    watch = _Stopwatch(progress, [])
    rows = find_job_rows(job, tables=tables)
    watch.start("reading the drawings")
    drawings, meant = _read_drawings(job, sheet=rows.sheet)
    watch.start("finding and laying the panels")
    layout, said = _lay_layout(job, drawings=drawings, meant=meant, rows=rows)
    bed_z = find_bed_z_mm(job, layout=layout)
    watch.start("planning the workingsteps")
    plan = plan_panels(
        layout,
        means=Means(
            cutters=rows.cutters,
            cutters_named=bool(job.cutters),
            material=rows.material,
            machine=rows.machine,
            hold=job.hold,
            heights=job.heights,
            limits=rows.controller.limits,
            allowances=job.allowances,
            keep_outs=job.keep_outs,
            vees=rows.vees,
        ),
    )
    watch.start("laying the moves")
    steps = lay_moves(plan)
    program, lines = _make_program(
        job, layout=layout, tables=tables, rows=rows, plan=plan, steps=steps, bed_z_mm=bed_z, watch=watch
    )
    watch.stop()
    return Made(
        job=job,
        drawings=drawings,
        layout=layout,
        programs=(program,),
        plan_rows=_list_plan(plan, lines=lines, trace=program.trace, timing=program.timing),
        findings=(*(finding for drawing in drawings for finding in drawing.findings), *said),
        bed_z_mm=bed_z,
        stages=tuple(watch.stages),
    )


def _make_program(
    job: Job,
    *,
    layout: Layout,
    tables: Tables,
    rows: JobRows,
    plan: Plan,
    steps: tuple[StepMoves, ...],
    bed_z_mm: float,
    watch: _Stopwatch,
) -> tuple[MadeProgram, tuple[ProgramLine, ...]]:
    """Return a program and its proof, and the lines of all its files."""
    watch.start("writing the program")
    written = _write_files(job, layout=layout, rows=rows, plan=plan, steps=steps, bed_z_mm=bed_z_mm)
    watch.start("reading the program back")
    controller, stem = rows.controller, find_stem(job)
    name = f"{stem}.{controller.format.extension}"
    files = []
    for file in written:
        own = f"{stem}-{file.part}.{controller.format.extension}" if file.part else name
        text = format_program(file.lines, controller=controller)
        trace = interpret_program(
            text, controller=controller, file=own, tool=file.tool or 0, hand_rpm=file.spindle_rpm or 0.0
        )
        files.append(
            MadeFile(
                name=own,
                text=text,
                trace=trace,
                timing=time_program(trace, machine=rows.machine, controller=rows.controller),
            )
        )
    trace, spans = join_traces([file.trace for file in files], files=[file.name for file in files])
    watch.start("timing it")
    timing = time_program(trace, machine=rows.machine, controller=rows.controller)
    watch.start("judging it")
    verdict = _judge(trace, timing=timing, layout=layout, job=job, tables=tables, rows=rows, program=name)
    verdict = replace(verdict, findings=place_in_files(verdict.findings, program=name, spans=spans))
    program = MadeProgram(
        name=name, controller=controller.name, files=tuple(files), trace=trace, timing=timing, verdict=verdict
    )
    return program, tuple(line for file in written for line in file.lines)


def prove_program(
    *paths: Path,
    job: Job,
    tables: Tables,
    cutters: tuple[str, ...] = (),
    rpm: tuple[float, ...] = (),
    progress: Progress = _silent,
) -> Proof:
    """Return the proof of a program against a job, whoever wrote it.

    Parameters
    ----------
    paths
        The program's file, or its files in the order in which they run.
    cutters, rpm
        For each file the cutter that stands in the spindle, and its speed, where the controller has no
        words for them; none where the text says it.

    Raises
    ------
    Refusal
        If the program or the job cannot be read.
    """
    rows = find_job_rows(job, tables=tables)
    progress("reading the program")
    texts = [read_program(path) for path in paths]
    tools = [find_cutter(tables, name=name).tool for name in cutters]
    progress("reading the drawings")
    drawings, meant = _read_drawings(job, sheet=rows.sheet)
    layout, said = _lay_layout(job, drawings=drawings, meant=meant, rows=rows)
    progress("interpreting the program")
    traces = [
        interpret_program(
            text,
            controller=rows.controller,
            file=path.name,
            tool=tools[i] if i < len(tools) else 0,
            hand_rpm=rpm[i] if i < len(rpm) else 0.0,
        )
        for i, (path, text) in enumerate(zip(paths, texts, strict=True))
    ]
    trace, spans = join_traces(traces, files=[path.name for path in paths])
    timing = time_program(trace, machine=rows.machine, controller=rows.controller)
    progress("judging it")
    name = paths[0].name
    verdict = _judge(trace, timing=timing, layout=layout, job=job, tables=tables, rows=rows, program=name)
    verdict = replace(verdict, findings=place_in_files(verdict.findings, program=name, spans=spans))
    return Proof(
        trace=trace,
        timing=timing,
        layout=layout,
        verdict=verdict,
        findings=(*(finding for drawing in drawings for finding in drawing.findings), *said),
        bed_z_mm=find_bed_z_mm(job, layout=layout),
    )


def inspect_drawing(
    path: Path,
    *,
    units: str | None = None,
    join_tol_mm: float = 0.01,
    fit_tol_mm: float = 0.005,
    fit_arcs_mm: float | None = None,
    hatches: bool = False,
    suspects: Suspects = Suspects.ASK,
    rules: tuple[LayerRule, ...] = (),
) -> Inspection:
    """Return a drawing as it was read, with what its loops are by rules, castcut's layer convention and nesting.

    Raises
    ------
    FileRefused, DrawingRefused
        If it cannot be read at all; faults that can be shown are findings instead.
    """
    drawing = read_drawing(
        path,
        units=units,
        join_tol_mm=join_tol_mm,
        fit_tol_mm=fit_tol_mm,
        fit_arcs_mm=fit_arcs_mm,
        hatches=hatches,
        use_of=find_uses(rules),
    )
    meant = find_meanings(drawing, rules=rules, suspects=suspects)
    names = find_names(drawing, meant=meant, given=None)
    return Inspection(drawing=add_meaning(drawing, meant, names=names.findings), meant=meant, names=names.by_loop)


def lay_job_layout(job: Job, *, tables: Tables) -> Layout:
    """Return the panels of a job where they lie on the sheet.

    Raises
    ------
    Refusal
        Whatever keeps the drawings or the panels from a certain result.
    """
    rows = find_job_rows(job, tables=tables)
    drawings, meant = _read_drawings(job, sheet=rows.sheet)
    layout, _ = _lay_layout(job, drawings=drawings, meant=meant, rows=rows)
    return layout


def find_stem(job: Job) -> str:
    """Return the name that a job's files share: that of its folder's job file, or of its drawing."""
    if job.path is None:
        return job.panels[0].drawing.stem
    return job.path.parent.resolve().name if job.path.stem == "job" else job.path.stem


def find_bed_z_mm(job: Job, *, layout: Layout) -> float:
    """Return the height of the bed in the program's frame.

    Raises
    ------
    PlanRefused
        If Z 0 is to be the sheet's top and nobody measured where that is.
    """
    if job.heights.zero is ZeroFace.BED:
        return 0.0
    if not job.heights.measured_thickness_mm:
        raise PlanRefused(
            error(
                "thickness-not-measured",
                "Z 0 at the sheet's top needs the sheet's measured thickness: a sheet of "
                f"{layout.thickness_mm:g} mm may be {layout.min_top_mm:.1f} to {layout.max_top_mm:.1f} mm thick, and "
                "bridges and the cut into the bed are measured from below",
                remedy='give measured_thickness_mm in [heights], or set zero = "bed"',
                origin=find_job_origin(job, key="heights.zero"),
            )
        )
    return -layout.max_top_mm


def _read_drawings(job: Job, *, sheet: SheetSize) -> tuple[tuple[Drawing, ...], tuple[Meant, ...]]:
    """Return the drawings of a job, their findings those of their meaning included, and what their loops are."""
    drawings, meants = [], []
    for entry in job.panels:
        drawing = read_drawing(
            entry.drawing,
            units=entry.units,
            join_tol_mm=job.tolerances.join_mm,
            fit_tol_mm=job.tolerances.fit_mm,
            fit_arcs_mm=job.tolerances.fit_arcs_mm,
            hatches=entry.hatches,
            use_of=find_uses(job.layers),
            evidence=SizeEvidence(sheet_mm=(sheet.width_mm, sheet.height_mm), expect_mm=entry.expect_size_mm),
        )
        meant = find_meanings(drawing, rules=job.layers, suspects=entry.suspects)
        names = find_names(drawing, meant=meant, given=entry.name)
        drawing = add_meaning(drawing, meant, names=names.findings)
        refuse_faults(drawing)
        drawings.append(drawing)
        meants.append(meant)
    if drawings:
        unused = note_unused_rules(drawings, rules=job.layers, job=str(job.path) if job.path else None)
        drawings[0] = replace(drawings[0], findings=drawings[0].findings + unused)
    return tuple(drawings), tuple(meants)


def _lay_layout(
    job: Job, *, drawings: tuple[Drawing, ...], meant: tuple[Meant, ...], rows: JobRows
) -> tuple[Layout, tuple[Finding, ...]]:
    """Return the layout of a job's panels, and what is to be said of their names."""
    found = tuple(
        find_panels(
            drawing,
            entry=entry,
            thickness_mm=rows.sheet.thickness_mm,
            corner_radius_mm=job.corners.radius_mm,
            rules=job.layers,
            chamfer=job.chamfer,
            meant=known,
        )
        for drawing, known, entry in zip(drawings, meant, job.panels, strict=True)
    )
    least_mm = rows.sheet.thickness_mm if job.corners.min_web_mm is None else job.corners.min_web_mm
    for panel in (panel for panels in found for panel in panels):
        check_webs(panel, min_web_mm=least_mm)
    numbered, said = number_names(found, given=tuple(entry.name is not None for entry in job.panels))
    groups = tuple(
        Group(
            drawing=str(drawing.path),
            panels=panels,
            at_mm=entry.at_mm,
            turn_deg=entry.turn_deg,
            face=entry.face,
        )
        for drawing, panels, entry in zip(drawings, numbered, job.panels, strict=True)
    )
    layout = lay_panels(
        groups,
        sheet=rows.sheet,
        material=rows.material,
        margin_mm=job.margin_mm,
        measured_thickness_mm=job.heights.measured_thickness_mm,
    )
    check_recess_depths(
        layout, is_measured=bool(job.heights.measured_thickness_mm), min_floor_mm=job.recesses.min_floor_mm
    )
    return layout, (*said, *_note_faces(layout))


def _note_faces(layout: Layout) -> tuple[Finding, ...]:
    """Return a note for each panel that lies face down: it is cut mirrored."""
    return tuple(
        note(
            "cut-face-down",
            f"panel {placement.panel.name} lies face down: it is cut mirrored, seen from its back",
            remedy="lay the sheet with its shown face on the bed",
            origin=Origin(file=placement.panel.drawing, panel=placement.panel.name),
        )
        for placement in layout.placements
        if placement.face is Face.DOWN
    )


def _write_files(
    job: Job, *, layout: Layout, rows: JobRows, plan: Plan, steps: tuple[StepMoves, ...], bed_z_mm: float
) -> tuple[ProgramFile, ...]:
    on_bed = job.heights.zero is ZeroFace.BED
    measured = bool(job.heights.measured_thickness_mm)
    heading = Heading(
        title=job.title,
        panels=tuple(_say_panel(placement) for placement in layout.placements),
        sheet=f"{layout.sheet}, {layout.width_mm:g} x {layout.height_mm:g} mm",
        thickness=f"{layout.thickness_mm:g} mm, {'measured' if measured else 'allowed'} {layout.min_top_mm:.2f} to "
        f"{layout.max_top_mm:.2f} mm",
        zero="on the bed" if on_bed else f"on the top of the sheet, {layout.max_top_mm:.2f} mm above the bed",
        zero_mm=-bed_z_mm,
        rapid_mm=plan.rapid_mm,
        work_offset=job.work_offset,
        air=rows.material.air_blast,
        spin_up_s=rows.machine.spin_up_s,
        notes=(
            say_grip(job.hold, into_bed_mm=job.heights.into_bed_mm),
            *(_say_keep_out(keep_out) for keep_out in job.keep_outs),
        ),
    )
    return emit_files(steps, heading=heading, controller=rows.controller)


def _say_keep_out(keep_out: KeepOut) -> str:
    (x, y), (width, height) = keep_out.at_mm, keep_out.size_mm
    turned = f", turned {keep_out.turn_deg:g} degrees" if keep_out.turn_deg else ""
    size = f"{width:g} x {height:g} mm, {keep_out.height_mm:g} mm high"
    return f"keep out of {keep_out.name}: {size}, about X{x:g} Y{y:g}{turned}"


def _say_panel(placement: Placement) -> str:
    mirrored = ", face down: cut mirrored" if placement.face is Face.DOWN else ", face up"
    return f"{placement.panel.name}{mirrored}"


def _judge(
    trace: Trace, *, timing: Timing, layout: Layout, job: Job, tables: Tables, rows: JobRows, program: str
) -> Verdict:
    return judge_program(
        trace,
        timing=timing,
        layout=layout,
        job=job,
        tables=tables,
        machine=rows.machine,
        material=rows.material,
        controller=rows.controller,
        program=program,
    )


def _list_plan(plan: Plan, *, lines: tuple[ProgramLine, ...], trace: Trace, timing: Timing) -> tuple[PlanRow, ...]:
    """Return the plan in rows, each with the time of its lines of the program."""
    times = dict.fromkeys((step.number for step in plan.workingsteps), 0.0)
    for line, seconds in zip(trace.line.tolist(), timing.duration_s.tolist(), strict=True):
        number = lines[line - 1].step
        if number is not None:
            times[number] += seconds
    return tuple(
        PlanRow(
            number=step.number,
            feature=f"{step.panel}: {step.feature}",
            operation=str(step.operation),
            cutter=step.cutter.name,
            rpm=step.rough.spindle_rpm,
            feed_mm_per_min=step.rough.feed_mm_per_min,
            finish_feed_mm_per_min=step.finish.feed_mm_per_min,
            passes=count_passes(step),
            allowance_mm=step.allowance_mm,
            entry=say_entry(step),
            holding=step.holding,
            time_s=times[step.number],
            reasons=step.reasons,
        )
        for step in plan.workingsteps
    )
