"""What roughing leaves on each wall for the finishing pass, by the finish class of its edges."""

from __future__ import annotations

from dataclasses import dataclass

from cam.errors import PlanRefused
from cam.findings import error
from cam.panel.panel import Finish
from cam.plan.choose_cutters import Choice
from cam.plan.placed import PlacedFeature
from cam.tables.job import Allowances
from cam.tables.rows import CutterKind, Material

MAX_ALLOWANCE_SHARE = 0.25
"""More than this share of the cutter's diameter is no finishing cut (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowance:
    """What roughing leaves on a wall, and why so much."""

    mm: float
    reason: str


def find_allowance(finishes: tuple[Finish, ...], *, allowances: Allowances, material: Material) -> Allowance:
    """Return what roughing leaves on a wall: the most that any of its edges' classes asks for.

    Notes
    -----
    One roughing path goes round the whole wall, so one allowance holds for all of it; the largest leaves
    no edge short.
    """
    asked = {finish: getattr(allowances, f"{finish}_mm") for finish in dict.fromkeys(finishes)}
    given = {finish: material.finish_allowance_mm if mm is None else float(mm) for finish, mm in sorted(asked.items())}
    most = max(given.values(), default=material.finish_allowance_mm)
    classes = [finish for finish, mm in given.items() if mm == most]
    whose = f"the job's for {classes[0]} edges" if classes and asked[classes[0]] is not None else f"{material.name}'s"
    rest = "" if len(set(given.values())) < 2 else ", the largest of its classes: one path goes round all of it"
    return Allowance(mm=most, reason=f"finishing: {most:g} mm left for one pass over the full depth ({whose}{rest})")


def find_allowances(
    features: tuple[PlacedFeature, ...], *, choice: Choice, allowances: Allowances, material: Material
) -> dict[int, Allowance]:
    """Return what roughing leaves on the wall of each feature, by its task's key.

    Raises
    ------
    PlanRefused
        If a wall would have nothing left for the finishing pass, or more than it can take.
    """
    found = {}
    findings = []
    for feature in features:
        key = feature.task.key
        allowance = find_allowance(feature.finishes, allowances=allowances, material=material)
        cutter = choice.cutter[key]
        found[key] = allowance
        if allowance.mm <= 0.0:
            findings.append(
                error(
                    "no-finish-allowance",
                    f"material {material.name} leaves nothing for the finishing pass, which would rub on the wall",
                    remedy="give finish_allowance_mm in the material's row, such as 0.3, or [allowances] in the job",
                )
            )
        elif cutter.kind is CutterKind.FLAT and allowance.mm > MAX_ALLOWANCE_SHARE * cutter.diameter_mm:
            findings.append(
                error(
                    "allowance-too-large",
                    f"{allowance.mm:g} mm would be left for the finishing pass of {cutter.name}, more than a quarter "
                    f"of its {cutter.diameter_mm:g} mm",
                    remedy="lower the allowance of this class of edges in [allowances], or choose a larger cutter",
                    origin=feature.task.origin,
                )
            )
    if findings:
        raise PlanRefused(findings[0], *(each for each in findings[1:] if each != findings[0]))
    return found
