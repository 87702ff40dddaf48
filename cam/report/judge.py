"""The judge: a program's trace against the panels that it should cut."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

from cam.backplot.clock import Timing
from cam.backplot.trace import Trace
from cam.findings import Finding
from cam.report.judge_bites import find_bites, judge_bites
from cam.report.judge_bridges import judge_bridge_places
from cam.report.judge_case import BOUND_MM, Case, build_case
from cam.report.judge_chamfer import judge_chamfer
from cam.report.judge_chamfer_chips import judge_chamfer_chips
from cam.report.judge_corners import judge_corners
from cam.report.judge_drill import judge_drill
from cam.report.judge_entries import judge_entries
from cam.report.judge_gouges import find_clearances, find_wall_tools, judge_gouges
from cam.report.judge_keep_outs import judge_keep_outs
from cam.report.judge_recess import judge_recess
from cam.report.judge_recess_case import place_recesses
from cam.report.judge_recess_cuts import judge_recess_cuts
from cam.report.judge_release import judge_cut_skins, judge_release
from cam.report.judge_setting import judge_setting
from cam.report.judge_walls import find_removal, find_wall_rests, judge_depth, judge_films, judge_pieces, judge_walls
from cam.report.verdict import Deviation, Verdict
from cam.sheet.layout import Layout
from cam.tables.job import Job
from cam.tables.rows import Controller, Machine, Material, Tables


def judge_program(
    trace: Trace,
    *,
    timing: Timing,
    layout: Layout,
    job: Job,
    tables: Tables,
    machine: Machine,
    material: Material,
    controller: Controller,
    program: str,
) -> Verdict:
    """Return the verdict on a program: what it would cut, against the panels on the sheet.

    Parameters
    ----------
    trace, timing
        What the text says and how long it takes; X and Y zero at the sheet's lower left corner, Z zero
        where the job says.
    tables
        For the cutters by their tool numbers.
    program
        The file's name, for the findings.

    Notes
    -----
    The judge knows the panels, the layout, the tables and the text: nothing of how it was made. A
    gouge is measured as the distance from path to wall less the cutter's radius; material left, as
    the distance from the wall of what an inscribed sweep has not removed.
    """
    case = build_case(
        trace,
        timing=timing,
        layout=layout,
        job=job,
        tables=tables,
        machine=machine,
        material=material,
        controller=controller,
        program=program,
    )
    # the polygon engine lets go of the interpreter: what it does alone is done beside the rest, and findings
    # come in the same order whichever is done first
    with ThreadPoolExecutor(max_workers=2) as beside:
        return _judge_case(case, beside=beside)


def _judge_case(case: Case, *, beside: ThreadPoolExecutor) -> Verdict:
    """Return the verdict on a case."""
    trace = case.trace
    removing = beside.submit(find_removal, case)
    recesses = place_recesses(case)
    recessed = judge_recess_cuts(case, clearances=find_clearances(case), recesses=recesses)
    clearances = recessed.clearances
    recess_uncut, recess_rests = judge_recess(case, recesses=recesses)
    gouge, gouges = judge_gouges(case, clearances=clearances)
    corners, tight = judge_corners(case, clearances=clearances)
    bites = judge_bites(case, bites=find_bites(case))
    removal = removing.result()
    rests = find_wall_rests(case, removal=removal, tools=find_wall_tools(case, clearances=clearances))
    filming = beside.submit(judge_films, case, removal=removal, rests=rests)
    bridges = judge_bridge_places(case, removal=removal, rests=rests)
    uncut, films = filming.result()
    findings: list[Finding] = [
        *trace.findings,
        *gouges,
        *recessed.findings,
        *recess_rests,
        *films,
        *judge_walls(case, rests=rests),
        *bridges,
        *judge_release(case, clearances=clearances, rests=rests),
        *judge_cut_skins(case, removal=removal, rests=rests),
        *judge_pieces(case, removal=removal),
        *tight,
        *judge_depth(case),
        *judge_entries(case),
        *judge_keep_outs(case),
        *judge_drill(case),
        *judge_chamfer(case),
        *judge_chamfer_chips(case),
        *judge_setting(case),
        *bites,
    ]
    return Verdict(
        findings=tuple(findings),
        deviation=Deviation(
            gouge_max_mm=max(gouge, recessed.gouge_max_mm),
            uncut_max_mm=max(uncut, recess_uncut),
            bound_mm=BOUND_MM,
        ),
        corners=corners,
    )
