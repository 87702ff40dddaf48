"""Technology (ISO 14649-10): the numbers of a cut, why they are what they are, and what bounds them."""

from __future__ import annotations

from dataclasses import dataclass

from cam.findings import Origin
from cam.tables.chip_load import find_chip_thinning
from cam.tables.feed_limits import find_reached_feed
from cam.tables.rows import ControllerLimits, Cutter, Machine, Material


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """Why a number of the cutting data is what it is: ``rule`` names the limit or rule that bound it."""

    quantity: str
    rule: str
    text: str
    source: str | None = None

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True, slots=True, kw_only=True)
class CuttingData:
    """How one cutter cuts one material on one machine, at one depth and width of bite.

    ``max_feed_mm_per_min`` is what the centre may be fed at round the outside of a curve: up to the
    table's highest chip load and the machine's own. ``chip_load_mm`` is the feed per tooth that the
    feed gives; ``chip_thickness_mm`` the thickest chip that a tooth then takes, thinner in a narrow
    bite. ``chip_low_mm`` and ``chip_high_mm`` bound the chip load at this depth. ``power_w`` is what
    the cut takes, ``power_available_w`` what the spindle gives at this speed. ``radial_mm`` is None
    for a slot.
    """

    cutter: str
    material: str
    machine: str
    spindle_rpm: float
    feed_mm_per_min: float
    max_feed_mm_per_min: float
    plunge_mm_per_min: float
    ramp_feed_mm_per_min: float
    ramp_deg: float
    chip_load_mm: float
    chip_thickness_mm: float
    chip_low_mm: float
    chip_high_mm: float
    depth_mm: float
    pass_depth_mm: float
    passes: int
    radial_mm: float | None
    power_w: float
    power_available_w: float
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CutSetup:
    """A cutter in a material on a machine, with the tightest limits of all that have one.

    ``feed_bound``, ``min_bound`` and ``max_bound`` name the row whose limit it is.
    """

    cutter: Cutter
    material: Material
    machine: Machine
    radial_mm: float | None
    max_feed_mm_per_min: float
    min_rpm: float
    max_rpm: float
    feed_bound: str
    min_bound: str
    max_bound: str

    @property
    def origin(self) -> Origin:
        """What is being cut by what, for messages."""
        return Origin(feature=f"{self.cutter.name} in {self.material.name} on {self.machine.name}")

    @property
    def thinning(self) -> float:
        """The thickest chip as a share of the feed per tooth; 1 in a slot."""
        if self.radial_mm is None:
            return 1.0
        return find_chip_thinning(radial_mm=self.radial_mm, diameter_mm=self.cutter.diameter_mm)


def find_cut_setup(
    *,
    cutter: Cutter,
    material: Material,
    machine: Machine,
    radial_mm: float | None,
    limits: ControllerLimits | None,
    rough_rpm: float | None = None,
    run_mm: float | None = None,
) -> CutSetup:
    """Return the setup of a cut: of each limit the tightest, and whose it is.

    ``rough_rpm`` is the speed of the roughing pass that a finishing pass follows without a change.
    ``run_mm`` is the longest way that the cutter has between two stops.
    """
    feeds = [(machine.max_feed_mm_per_min, f"machine {machine.name}")]
    if run_mm is not None:
        feeds.append((find_reached_feed(machine, run_mm=run_mm), f"a run of {run_mm:g} mm on machine {machine.name}"))
    slowest = [(material.min_rpm, f"material {material.name}"), (machine.min_rpm, f"machine {machine.name}")]
    fastest = [
        (material.max_rpm, f"material {material.name}"),
        (cutter.max_rpm, f"cutter {cutter.name}"),
        (machine.max_rpm, f"machine {machine.name}"),
    ]
    if limits is not None:
        feeds.append((limits.max_feed_mm_per_min, "the controller"))
        fastest.append((limits.max_rpm, "the controller"))
    if rough_rpm is not None:
        fastest.append((rough_rpm, "the roughing pass"))
    max_feed, feed_bound = min(feeds)
    min_rpm, min_bound = max(slowest)
    max_rpm, max_bound = min(fastest)
    return CutSetup(
        cutter=cutter,
        material=material,
        machine=machine,
        radial_mm=radial_mm,
        max_feed_mm_per_min=max_feed,
        min_rpm=min_rpm,
        max_rpm=max_rpm,
        feed_bound=feed_bound,
        min_bound=min_bound,
        max_bound=max_bound,
    )
