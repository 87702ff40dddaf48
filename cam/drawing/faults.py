"""Faults of chains: loops that cross, touch, run along each other or stand doubled, and open chains."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import shapely

from cam.drawing.capped import cap_findings
from cam.drawing.chain import TooManyEnds, find_close_pairs
from cam.drawing.clean import SAME_MM
from cam.drawing.contact import Contacts
from cam.drawing.crossing import (
    Net,
    TooTangled,
    find_all_contacts,
    find_overlaps,
    find_segments_near,
    lay_net,
)
from cam.drawing.joined import Joined
from cam.drawing.loops import NearestEnds
from cam.drawing.open_ends import find_junctions, find_shorts, say_junctions, say_open_chains
from cam.drawing.pieces import Source
from cam.drawing.sizes import measure_apart_mm, measure_cut_off_mm, measure_depth_mm, measure_overlap_mm
from cam.findings import Finding, Origin, error
from cam.geometry.contour import BoolArray, FloatArray, IntArray

DOUBLED_MM = 0.1
MAX_MEASURED = 150


def find_faults(
    joined: Joined, nearest: NearestEnds, *, join_tol_mm: float, hidden: dict[int, Source] | None = None
) -> list[Finding]:
    """Return what keeps chains from being certain contours, each with its place and size.

    ``hidden`` has, by free end, what goes on from there on a hidden layer.
    """
    if not len(joined.chains):
        return []
    net = lay_net(joined.chains, margin_mm=SAME_MM)
    junctions = find_junctions(joined, net, join_tol_mm)
    findings = [
        *cap_findings(
            say_open_chains(
                joined,
                nearest,
                junctions,
                join_tol_mm,
                hidden=hidden or {},
                shorts=find_shorts(joined, net, nearest, join_tol_mm=join_tol_mm),
            )
        ),
        *cap_findings(say_junctions(joined, net, junctions)),
    ]
    try:
        doubled = _find_doubled(joined, net)
        contacts = find_all_contacts(net, touch_tol_mm=SAME_MM)
    except (TooTangled, TooManyEnds) as fault:
        remedy = "delete what is no part of a panel"
        return [*findings, error("too-tangled", str(fault), remedy=remedy, origin=Origin(file=joined.file))]
    findings += cap_findings(_say_doubled(joined, doubled))
    findings += cap_findings(_say_contacts(joined, net, contacts, doubled, join_tol_mm))
    findings += cap_findings(_say_slivers(joined, tangled=net.chain[contacts.one][_meets_itself(net, contacts)]))
    return findings


def _find_doubled(joined: Joined, net: Net) -> IntArray:
    """Return pairs of loops, (k, 2), of which each lies within ``DOUBLED_MM`` of the other."""
    chains = joined.chains
    starts = np.searchsorted(net.chain, np.arange(len(chains)))
    low = np.minimum.reduceat(net.boxes_mm[:, :2], starts, axis=0)
    high = np.maximum.reduceat(net.boxes_mm[:, 2:], starts, axis=0)
    closed = np.flatnonzero(chains.closed)
    one, other, _ = find_close_pairs(low, closed, within_mm=DOUBLED_MM)
    near = (np.abs(high[one] - high[other]) <= DOUBLED_MM).all(axis=1)
    pairs = [
        (i, j)
        for i, j in zip(one[near].tolist(), other[near].tolist(), strict=True)
        if _lies_along(chains.vertices[chains.first[i] : chains.first[i + 1], :2], net, j)
        and _lies_along(chains.vertices[chains.first[j] : chains.first[j + 1], :2], net, i)
    ]
    return np.array(pairs, dtype=np.int64).reshape(-1, 2)


def _lies_along(points: FloatArray, net: Net, chain: int) -> bool:
    """Return whether all points lie within ``DOUBLED_MM`` of a chain."""
    point, segment = find_segments_near(net, points, within_mm=DOUBLED_MM)
    return len(np.unique(point[net.chain[segment] == chain])) == len(points)


def _say_doubled(joined: Joined, doubled: IntArray) -> Iterable[Finding]:
    chains = joined.chains
    for i, j in doubled.tolist():
        first, second = joined.find_source(int(chains.first[i])), joined.find_source(int(chains.first[j]))
        at = chains.vertices[chains.first[j], :2]
        size = measure_apart_mm(chains, one=i, other=j)
        message = f"the loop is drawn twice: it lies within {DOUBLED_MM:g} mm of that of {first}"
        remedy = "delete one of the two"
        if "HATCH" in (first.kind, second.kind):
            remedy = "delete the hatch, or read the drawing without --hatch"
        yield error("doubled-loop", message, remedy=remedy, origin=second.find_origin(joined.file, at), size_mm=size)


def _say_contacts(
    joined: Joined, net: Net, contacts: Contacts, doubled: IntArray, join_tol_mm: float
) -> Iterable[Finding]:
    """Say each pair of chains that meet once, at its first place, with the number of places."""
    overlaps = find_overlaps(net, contacts, touch_tol_mm=SAME_MM)
    one, other = net.chain[contacts.one], net.chain[contacts.other]
    low, high = np.minimum(one, other), np.maximum(one, other)
    count = len(joined.chains)
    keep = ~_is_near_free_end(joined, contacts.at_mm, join_tol_mm) | overlaps
    if len(doubled):
        keep &= ~np.isin(low * count + high, np.sort(doubled, axis=1) @ np.array([count, 1]))
    pair = (low * count + high) * 2 + ~overlaps
    _, first, places = np.unique(pair[keep], return_index=True, return_counts=True)
    meetings = sorted(zip(np.flatnonzero(keep)[first].tolist(), places.tolist(), strict=True))
    for number, (k, times) in enumerate(meetings):
        source = joined.find_source(int(net.row[contacts.one[k]]))
        mate = joined.find_source(int(net.row[contacts.other[k]]))
        places_said = "" if times == 1 else f", here and at {times - 1} other place{'s' if times > 2 else ''}"
        at = contacts.at_mm[k]
        origin = source.find_origin(joined.file, at)
        if overlaps[k]:
            message, code = f"the piece runs along {mate}{places_said}", "overlapping-pieces"
            remedy = "delete the shorter of the two, or draw the line once"
        elif one[k] == other[k]:
            message, code = f"the contour crosses or touches itself, at {mate}{places_said}", "self-crossing"
            remedy = "redraw the contour there so that it passes each point once"
        else:
            message, code = f"the contour crosses or touches that of {mate}{places_said}", "crossing-loops"
            remedy = "move them apart, or join them into one contour"
        size, said = _measure_contact(joined, net, contacts, k, code) if number < MAX_MEASURED else (None, "")
        yield error(code, message + said, remedy=remedy, origin=origin, size_mm=size)


def _measure_contact(joined: Joined, net: Net, contacts: Contacts, k: int, code: str) -> tuple[float | None, str]:
    """Return the size of a contact, and how it is said."""
    a, b = int(contacts.one[k]), int(contacts.other[k])
    if code == "overlapping-pieces":
        size = measure_overlap_mm(net, one=a, other=b, touch_tol_mm=SAME_MM)
        return size, f"; they share {size:.4g} mm"
    if code == "self-crossing":
        size = measure_cut_off_mm(joined.chains, net, one=a, other=b)
        return size, f"; {size:.4g} mm of it or more lie between the two passes"
    depth = measure_depth_mm(joined.chains, one=int(net.chain[a]), other=int(net.chain[b]))
    if depth is None:
        return None, ""

    return depth, f"; they reach {depth:.4g} mm over each other" if depth > SAME_MM else "; they only touch"


def _is_near_free_end(joined: Joined, points: FloatArray, join_tol_mm: float) -> BoolArray:
    """Return which points lie at a free end: what meets there is said as a junction."""
    near = np.zeros(len(points), dtype=np.bool_)
    if len(joined.free) and len(points):
        tree = shapely.STRtree(np.asarray(shapely.points(joined.ends.points_mm[joined.free])))
        found = tree.query(np.asarray(shapely.points(points)), predicate="dwithin", distance=join_tol_mm + SAME_MM)
        near[found[0]] = True
    return near


def _meets_itself(net: Net, contacts: Contacts) -> BoolArray:
    return np.asarray(net.chain[contacts.one] == net.chain[contacts.other])


def _say_slivers(joined: Joined, *, tangled: IntArray) -> Iterable[Finding]:
    """Say the loops that are thinner on average than loops drawn twice are apart.

    The two sides of a figure of eight take each other's area away, so that ``tangled`` loops say nothing.
    """
    area, length = _measure_chains(joined)
    thin = joined.chains.closed & (2.0 * np.abs(area) < DOUBLED_MM * length)
    thin[tangled] = False
    for i in np.flatnonzero(thin).tolist():
        row = int(joined.chains.first[i])
        width = 2.0 * abs(float(area[i])) / float(length[i])
        origin = joined.find_source(row).find_origin(joined.file, joined.chains.vertices[row, :2])
        message = f"the loop is a sliver: {length[i] / 2.0:.3g} mm long and {width:.2g} mm wide on average"
        remedy = "delete it, or draw what is meant"
        yield error("sliver-loop", message, remedy=remedy, origin=origin, size_mm=width)


def _measure_chains(joined: Joined) -> tuple[FloatArray, FloatArray]:
    """Return the area that each chain encloses and its length; the area of an open one means nothing."""
    chains = joined.chains
    first = chains.first[:-1]
    origin = np.repeat(chains.vertices[first, :2], np.diff(chains.first), axis=0)
    start, bulge = chains.vertices[:, :2] - origin, chains.vertices[:, 2]
    end = np.roll(start, -1, axis=0)
    end[chains.first[1:] - 1] = 0.0
    chord = np.hypot(*(end - start).T)
    sweep = 4.0 * np.arctan(bulge)
    safe = np.where(bulge == 0.0, 1.0, bulge)
    radius = chord * (1.0 + bulge * bulge) / (4.0 * np.abs(safe))
    cap = np.where(bulge == 0.0, 0.0, radius**2 * (sweep - np.sin(sweep)))
    shoelace = start[:, 0] * end[:, 1] - start[:, 1] * end[:, 0]
    length = np.where(bulge == 0.0, chord, radius * np.abs(sweep))
    return np.add.reduceat(shoelace + cap, first) / 2.0, np.add.reduceat(length, first)
