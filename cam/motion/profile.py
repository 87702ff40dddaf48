"""Heights along a path: ramps down, and lifts over bridges, as broken lines."""

from __future__ import annotations

from dataclasses import dataclass
from math import floor, tan

import numpy as np

from cam.plan.workingstep import Lift


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """Height over distance, linear between knots, level before the first and after the last."""

    at_mm: tuple[float, ...]
    z_mm: tuple[float, ...]


def find_height(profile: Profile, at_mm: float) -> float:
    """Return the height at a distance."""
    return float(np.interp(at_mm, profile.at_mm, profile.z_mm))


def find_upper(first: Profile, second: Profile) -> Profile:
    """Return the higher of two profiles everywhere, with knots where they cross."""
    knots = np.union1d(first.at_mm, second.at_mm)
    difference = np.interp(knots, first.at_mm, first.z_mm) - np.interp(knots, second.at_mm, second.z_mm)
    i = np.flatnonzero(difference[:-1] * difference[1:] < 0.0)
    share = difference[i] / (difference[i] - difference[i + 1])
    knots = np.union1d(knots, knots[i] + share * (knots[i + 1] - knots[i]))
    z = np.maximum(np.interp(knots, first.at_mm, first.z_mm), np.interp(knots, second.at_mm, second.z_mm))
    return _drop_straight_knots(Profile(at_mm=tuple(knots.tolist()), z_mm=tuple(z.tolist())))


def _drop_straight_knots(profile: Profile) -> Profile:
    """Return the profile without knots in whose place it does not bend."""
    at, z = profile.at_mm, profile.z_mm
    keep = [0]
    for i in range(1, len(at) - 1):
        before = (z[i] - z[keep[-1]]) * (at[i + 1] - at[keep[-1]])
        whole = (z[i + 1] - z[keep[-1]]) * (at[i] - at[keep[-1]])
        if abs(before - whole) > 1e-9 * max(1.0, at[i + 1] - at[keep[-1]]):
            keep.append(i)
    keep.append(len(at) - 1)
    return Profile(at_mm=tuple(at[i] for i in keep), z_mm=tuple(z[i] for i in keep))


def lift_over(
    profile: Profile,
    *,
    bridges_mm: tuple[float, ...],
    half_tops_mm: tuple[float, ...],
    lift: Lift | None,
    lap_mm: float,
    floor_mm: float,
) -> Profile:
    """Return the profile raised over bridges.

    Parameters
    ----------
    bridges_mm
        Distances of the bridges' middles within the first lap.
    half_tops_mm
        Half the way along the top of each.
    lap_mm
        Length of one lap: bridges recur with it.
    floor_mm
        Where flanks start.
    """
    if lift is None or not bridges_mm or floor_mm >= lift.top_mm:
        return profile
    flank = (lift.top_mm - floor_mm) / tan(lift.flank_rad)
    start, end = profile.at_mm[0], profile.at_mm[-1]
    for bridge, half_top in zip(bridges_mm, half_tops_mm, strict=True):
        reach = half_top + flank
        for lap in range(floor((start - reach - bridge) / lap_mm), floor((end + reach - bridge) / lap_mm) + 2):
            middle = bridge + lap * lap_mm
            if middle + reach <= start or middle - reach >= end:
                continue
            over = Profile(
                at_mm=(middle - reach, middle - half_top, middle + half_top, middle + reach),
                z_mm=(floor_mm, lift.top_mm, lift.top_mm, floor_mm),
            )
            profile = _cut_to(find_upper(profile, over), start_mm=start, end_mm=end)
    return profile


def _cut_to(profile: Profile, *, start_mm: float, end_mm: float) -> Profile:
    inner = [(a, z) for a, z in zip(profile.at_mm, profile.z_mm, strict=True) if start_mm < a < end_mm]
    knots = [
        (start_mm, find_height(profile, start_mm)),
        *inner,
        (end_mm, find_height(profile, end_mm)),
    ]
    return Profile(at_mm=tuple(a for a, _ in knots), z_mm=tuple(z for _, z in knots))


def ramp_in_passes(*, air_mm: float, pass_heights_mm: tuple[float, ...], lap_mm: float, ramp_rad: float) -> Profile:
    """Return the heights of a roughing path: a ramp down, then one lap, for each pass."""
    at, z = [0.0], [air_mm]
    for height in pass_heights_mm:
        at.append(at[-1] + (z[-1] - height) / tan(ramp_rad))
        at.append(at[-1] + lap_mm)
        z += [height, height]
    return Profile(at_mm=tuple(at), z_mm=tuple(z))
