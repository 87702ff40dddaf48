"""Reading a job file, and the job that stands behind a bare drawing."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from cam.errors import TableRefused
from cam.findings import NOWHERE, Finding, Origin, error
from cam.tables.annotations import find_bound_faults
from cam.tables.decode import decode, find_origin
from cam.tables.job import MIN_CORNER_RADIUS_MM, Grip, HoldKind, Job, LayerMeaning, LayerRule, PanelEntry
from cam.tables.read import find_controller, find_cutter, find_machine, find_material, find_sheet, read_format
from cam.tables.rows import Controller, Cutter, CutterKind, Machine, Material, SheetSize, Tables
from cam.tables.toml_file import TomlFile, parse_toml, read_toml

DEFAULT_SHEET = "cast-4-2440x1220"


@dataclass(frozen=True, slots=True, kw_only=True)
class JobRows:
    """The rows that a job names; ``cutters`` are those that may be used, in the job's order.

    ``vees`` are the vee cutters that may take a chamfer.
    """

    sheet: SheetSize
    material: Material
    machine: Machine
    controller: Controller
    cutters: tuple[Cutter, ...]
    vees: tuple[Cutter, ...]


def read_job(path: Path) -> Job:
    """Return the job of a job file.

    Parameters
    ----------
    path
        The file. Paths in it are relative to its folder; in the job they are resolved.

    Raises
    ------
    FileRefused
        If the file cannot be read.
    TableRefused
        ``broken-toml`` or, with every fault of the file, ``wrong-format``, ``unknown-key``,
        ``missing-key``, ``wrong-type``, ``unknown-choice``, ``out-of-range``, ``doubled-panel``,
        ``no-panel``, ``corner-rule-too-small`` or ``bed-cut-too-deep``.
    """
    file = read_toml(path)
    faults = read_format(file)
    try:
        job = decode(Job, file, other_keys=("format",))
    except TableRefused as refusal:
        raise TableRefused(*faults, *refusal.findings) from None
    faults += _find_rule_faults(job, file=file)
    if faults:
        raise TableRefused(*faults)
    folder = path.parent
    return replace(
        job,
        path=path,
        panels=tuple(replace(panel, drawing=folder / panel.drawing) for panel in job.panels),
        tables=tuple(folder / place for place in job.tables),
    )


def default_job(drawing: Path, **options: Any) -> Job:
    """Return the job of a single drawing, with castcut's defaults.

    Parameters
    ----------
    drawing
        The DXF file.
    **options
        Fields of :class:`Job` that differ from the default. The sheet is otherwise
        ``cast-4-2440x1220``: say which it is, for nobody can see the stock's thickness in a
        drawing.

    Raises
    ------
    TableRefused
        The codes of :func:`check_job`.

    Examples
    --------
    >>> job = default_job(Path("shelf.dxf"), machine="bench")
    >>> job.title, job.sheet, job.machine
    ('shelf', 'cast-4-2440x1220', 'bench')
    """
    given = {"title": drawing.stem, "sheet": DEFAULT_SHEET, "panels": (PanelEntry(drawing=drawing),), **options}
    return check_job(Job(**given))


def check_job(job: Job) -> Job:
    """Return a job that a caller built, once all bounds and rules hold that a job file must keep.

    Raises
    ------
    TableRefused
        ``out-of-range``, ``doubled-panel``, ``no-panel``, ``corner-rule-too-small`` or
        ``bed-cut-too-deep``.
    """
    faults = find_bound_faults(job, origin=Origin(file=str(job.path)) if job.path else NOWHERE)
    faults += _find_rule_faults(job, file=None)
    if faults:
        raise TableRefused(*faults)
    return job


def find_job_origin(job: Job, *, key: str) -> Origin:
    """Return where a job says something: file, line and key, as far as they are known."""
    if job.path is None:
        return Origin(key=key)
    try:
        file = parse_toml(job.path.read_bytes(), name=str(job.path))
    except (OSError, TableRefused):
        # The file has gone or changed since the job was read; its name is still worth saying.
        return Origin(file=str(job.path), key=key)
    return find_origin(file, at=tuple(key.split(".")))


def find_job_rows(job: Job, *, tables: Tables) -> JobRows:
    """Return the rows that a job names; without cutters, all of the table.

    Raises
    ------
    TableRefused
        ``unknown-row``, for every name that the tables lack, with the nearest valid names.
    """
    faults: list[Finding] = []

    def find(finder: Any, name: str, key: str) -> Any:
        try:
            return finder(tables, name=name, origin=find_job_origin(job, key=key))
        except TableRefused as refusal:
            faults.extend(refusal.findings)
            return None

    sheet: SheetSize | None = find(find_sheet, job.sheet, "sheet")
    machine = find(find_machine, job.machine, "machine")
    controller = find(find_controller, job.controller, "controller")
    cutters = tuple(find(find_cutter, name, "cutters") for name in job.cutters) or tables.cutters
    chamferer = job.chamfer.cutter and find(find_cutter, job.chamfer.cutter, "chamfer.cutter")
    if faults or sheet is None:
        raise TableRefused(*faults)
    material = find_material(tables, name=sheet.material)
    vees = tuple(cutter for cutter in cutters if cutter.kind is CutterKind.VEE) or tuple(
        cutter for cutter in tables.cutters if cutter.kind is CutterKind.VEE
    )
    return JobRows(
        sheet=sheet,
        material=material,
        machine=machine,
        controller=controller,
        cutters=cutters,
        vees=(chamferer,) if chamferer else vees,
    )


def _find_rule_faults(job: Job, *, file: TomlFile | None) -> list[Finding]:
    """Return what does not hold between a job's values."""

    def at(*key: str | int) -> Origin:
        return find_origin(file, at=key) if file else Origin(key=".".join(str(step) for step in key))

    faults = []
    if job.corners.radius_mm < MIN_CORNER_RADIUS_MM:
        faults.append(
            error(
                "corner-rule-too-small",
                f"the corner radius is {job.corners.radius_mm:g} mm; it is never below {MIN_CORNER_RADIUS_MM:g} mm",
                remedy=f"give {MIN_CORNER_RADIUS_MM:g} mm or more: a tighter inside corner of acrylic cracks",
                origin=at("corners", "radius_mm"),
            )
        )
    if job.heights.into_bed_mm > job.heights.max_into_bed_mm:
        faults.append(
            error(
                "bed-cut-too-deep",
                f"into_bed_mm is {job.heights.into_bed_mm:g}, more than max_into_bed_mm, "
                f"{job.heights.max_into_bed_mm:g}",
                remedy="lower into_bed_mm, or raise max_into_bed_mm if the bed is scrap",
                origin=at("heights", "into_bed_mm"),
            )
        )
    hold = job.hold
    if hold.skin_last_pass and (hold.by is not HoldKind.SKIN or hold.grip not in (Grip.VACUUM, Grip.TAPE)):
        faults.append(
            error(
                "last-pass-loose",
                f"skin_last_pass cuts parts free, and {hold.grip} hold the sheet alone"
                if hold.grip in (Grip.CLAMPS, Grip.SCREWS)
                else 'skin_last_pass cuts a skin through, and by is not "skin"',
                remedy='hold by a skin on vacuum or tape (by = "skin", grip = "vacuum"), or leave skin_last_pass out',
                origin=at("hold", "skin_last_pass"),
            )
        )
    if not job.panels:
        faults.append(
            error("no-panel", "the job has no panel", remedy="add [[panel]] with drawing = ...", origin=at("panel"))
        )
    for index, rule in enumerate(job.layers):
        faults += [
            error("layer-rule-wrong", message, remedy=remedy, origin=at("layer", index, key))
            for key, message, remedy in _check_layer_rule(rule)
        ]
    seen: dict[str, int] = {}
    for index, panel in enumerate(job.panels):
        if panel.name is not None and seen.setdefault(panel.name, index) != index:
            faults.append(
                error(
                    "doubled-panel",
                    f"two panels are called {panel.name!r}",
                    remedy="give each panel a name of its own",
                    origin=at("panel", index, "name"),
                )
            )
    return faults


def _check_layer_rule(rule: LayerRule) -> Iterable[tuple[str, str, str]]:
    """Return key, message and remedy of whatever does not hold between the values of a layer rule."""
    on_face = rule.means in (LayerMeaning.RECESS, LayerMeaning.GROOVE)
    said = f"means = {str(rule.means)!r}" if rule.means else "no meaning"
    if rule.means is None and rule.finish is None:
        yield "match", "the rule says neither what the layers mean nor a finish", "add means = ... or finish = ..."
    if on_face and rule.depth_mm is None:
        yield "depth_mm", f"a rule with {said} needs the depth", "add depth_mm = ..."
    if rule.means is LayerMeaning.GROOVE and rule.width_mm is None:
        yield "width_mm", f"a rule with {said} needs the width", "add width_mm = ..."
    if not on_face and rule.depth_mm is not None:
        yield "depth_mm", f"a rule with {said} takes no depth", 'remove it, or write means = "recess" or "groove"'
    if rule.means is not LayerMeaning.GROOVE and rule.width_mm is not None:
        yield "width_mm", f"a rule with {said} takes no width", 'remove it, or write means = "groove"'
    if rule.finish is not None and (on_face or rule.means is LayerMeaning.IGNORE):
        yield "finish", f"a rule with {said} takes no finish: only edges cut through have one", "remove it"
