"""The half-section as polygons: implant, bone layers and gaps, in the plane r ≥ 0.

::

        z ▲        abutment
          │──────┐
          │      │              z = 0: crest of the bone
          │      └─┬───────────────────────┐
          │  im-   │ gap │  cortical       │
          │  plant >     ├─────────────────┤
          │       <──────┘                 │
          │        >  hold  trabecular     │
          │       <                        │
          └────────┘                       │
          │                                │
          └────────────────────────────────┴──▶ r

Numpy only: no mesh, no file. A thread is a stack of rings of the true thread section; a helix has
no axisymmetric form (docs/theory.md says what that leaves out).
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from stillroot.arrays import Floats
    from stillroot.inputs.case import Case, Implant

IMPLANT, ABUTMENT, CORTICAL, TRABECULAR, GAP = (
    "implant",
    "abutment",
    "cortical",
    "trabecular",
    "gap",
)
"""The names of the regions, in one place."""
IMPLANT_BODY = (IMPLANT, ABUTMENT)
"""Regions of the implant, one body; the others are the bone's."""

SNAP_MM = 0.05
"""The end of a bone layer or hold snaps to a corner, or to another end, nearer than this: no slivers."""
LEAST_EDGE_MM = 0.01
"""Corners of the implant nearer to each other than this are merged: no ledges of micrometres."""
SAME_MM = 1e-9
"""Lengths that differ by less are equal but for rounding."""


@dataclass(frozen=True, kw_only=True)
class Region:
    """A named closed polygon: `corners_mm` (k, 2), columns r and z, in either orientation."""

    name: str
    corners_mm: Floats


@dataclass(frozen=True, kw_only=True)
class Outline:
    """The half-section of one implant in its site.

    `wall_mm` (k, 2) runs along the implant from the crest (z = 0) to the tip on the axis.
    `regions` are closed polygons; where they overlap the earlier one wins, so the implant is cut
    out of the gap and both out of the bone.
    """

    wall_mm: Floats
    regions: tuple[Region, ...]

    def fingerprint(self) -> str:
        """Return the hash of the geometry, to 1 nm, that identifies stored meshes."""
        content = [
            [region.name, (np.round(region.corners_mm, 6) + 0.0).tolist()] for region in self.regions
        ]
        return hashlib.sha256(json.dumps(content).encode()).hexdigest()[:16]


MADE_BY: Mapping[str, str] = MappingProxyType(
    {
        IMPLANT: "implant.outline_mm, or length_mm, taper_deg and the thread",
        ABUTMENT: "implant.abutment_diameter_mm and abutment_height_mm",
        CORTICAL: "bone.cortical_thickness_mm, bone.radius_mm",
        TRABECULAR: "bone.depth_mm, bone.radius_mm",
        GAP: "socket.holds_mm and gap_width_mm",
    }
)
"""The case keys that define the edges of each region."""


def shortest_edge(outline: Outline) -> str:
    """Return the shortest edge of an outline in words: its length, its place and its keys."""
    edges = [
        (float(np.linalg.norm(b - a)), region.name, 0.5 * (a + b))
        for region in outline.regions
        for a, b in zip(region.corners_mm, np.roll(region.corners_mm, -1, axis=0), strict=True)
    ]
    length, name, (r, z) = min(edges, key=lambda edge: edge[0])
    return (
        f"{length:.3g} mm, of the {name}, {r:.3g} mm from the axis and {-z:.3g} mm below the crest "
        f"(from {MADE_BY[name]})"
    )


def outline_of(case: Case) -> Outline:
    """Return the outline of a case."""
    implant, bone, socket = case.implant, case.bone, case.socket
    wall = implant_wall(implant)
    radius, depth = case.block_mm
    top = implant.abutment_height_mm
    abutment = implant.abutment_diameter_mm / 2
    if wall[0, 0] - abutment < LEAST_EDGE_MM:
        abutment = float(wall[0, 0])
    regions = [
        Region(name=IMPLANT, corners_mm=np.vstack([wall, [[0.0, 0.0]]])),
        _rectangle(ABUTMENT, abutment, top, 0.0),
    ]
    levels = [*-wall[:, 1], depth]  # depths that others snap to
    cortical = min(_snapped(bone.cortical_thickness_mm, levels), depth)
    for stretch in gaps_between(socket.holds_mm, implant.length_mm):
        above, below = (_snapped(end, levels) for end in stretch)
        if below <= above:
            continue  # both ends on one corner: nothing is left
        floor = below
        if below >= implant.length_mm:
            beyond = [level for level in levels if level > below]  # at the tip no gap would be left
            floor = _snapped(below + socket.gap_width_mm, beyond)
            levels.append(floor)
        reach = _widest(wall, above, below) + socket.gap_width_mm
        regions.append(_rectangle(GAP, reach, -above, -floor))
    if cortical > 0:
        regions.append(_rectangle(CORTICAL, radius, 0.0, -cortical))
    if cortical < depth:
        regions.append(_rectangle(TRABECULAR, radius, -cortical, -depth))
    return Outline(wall_mm=wall, regions=tuple(regions))


def gaps_between(
    holds_mm: tuple[tuple[float, float], ...], length_mm: float
) -> tuple[tuple[float, float], ...]:
    """Return the stretches (top, bottom) [mm below the crest] of [0, length] that no hold covers."""
    ends = [0.0, *(depth for hold in holds_mm for depth in hold), length_mm]
    return tuple(
        (above, below)
        for above, below in zip(ends[::2], ends[1::2], strict=True)
        if below - above > SAME_MM
    )


def implant_wall(implant: Implant) -> Floats:
    """Return the wall (k, 2) [mm] from the crest to the tip on the axis."""
    if implant.outline_mm is not None:
        wall = np.asarray(implant.outline_mm, dtype=float)
    else:
        wall = _threaded_wall(implant)
    wall = _without_short_edges(wall)
    if wall[-1, 0] > 0:
        wall = np.vstack([wall, [0.0, wall[-1, 1]]])
    return wall


def _threaded_wall(implant: Implant) -> Floats:
    """Return the wall: neck at full diameter; flank, root, flank, crest flat of each ring; flat end.

    Radii decrease with depth by the tangent of the taper angle.
    """
    thread, length = implant.thread, implant.length_mm
    crest = implant.diameter_mm / 2
    points = [(crest, 0.0)]
    if thread.form != "none":
        pitch, cut = thread.pitch_mm, thread.depth_mm
        start = thread.first_mm
        apical, coronal = (cut * np.tan(np.radians(a)) for a in thread.flank_angles_deg)
        root = pitch - apical - coronal - thread.crest_flat_mm
        for top in start + pitch * np.arange(int((length - start) / pitch + 1e-9)):
            points += [
                (crest, top),
                (crest - cut, top + apical),
                (crest - cut, top + apical + root),
                (crest, top + pitch - thread.crest_flat_mm),
            ]
        last = points[-1][1] + thread.crest_flat_mm
        points.append((crest, last))
        if length - last > apical:
            points.append((crest - cut, last + apical))
    points.append((points[-1][0], length))
    wall = np.array(points)
    wall[:, 0] -= np.tan(np.radians(implant.taper_deg)) * wall[:, 1]
    wall[:, 1] *= -1.0
    return wall


def _snapped(depth_mm: float, levels: list[float]) -> float:
    """Return a depth, snapped to a level nearer than `SNAP_MM`, and add it to the levels."""
    nearest = min(levels, key=lambda level: abs(level - depth_mm))
    snapped = float(nearest) if abs(nearest - depth_mm) < SNAP_MM else depth_mm
    levels.append(snapped)
    return snapped


def _rectangle(name: str, radius: float, above: float, below: float) -> Region:
    corners = [(0.0, below), (radius, below), (radius, above), (0.0, above)]
    return Region(name=name, corners_mm=np.array(corners))


def _widest(wall: Floats, above: float, below: float) -> float:
    """Return the largest wall radius between two depths, the ends interpolated."""
    depth = -wall[:, 1]
    inside = (depth >= above) & (depth <= below)
    keep = np.concatenate([[True], np.diff(depth) > 0])  # np.interp needs increasing abscissae
    ends = np.interp([above, below], depth[keep], wall[keep, 0])
    return float(np.max(np.concatenate([wall[inside, 0], ends])))


def _without_short_edges(points: Floats) -> Floats:
    """Return the corners (k, 2) without those nearer than `LEAST_EDGE_MM` to the one before.

    Both ends stay, so the implant keeps its stated length.
    """
    kept = [0]
    for i in range(1, len(points)):
        if _distance(points[i], points[kept[-1]]) >= LEAST_EDGE_MM:
            kept.append(i)
    if _distance(points[-1], points[kept[-1]]) > SAME_MM:
        kept[max(len(kept) - 1, 1) :] = [len(points) - 1]
    return points[kept]


def _distance(a: Floats, b: Floats) -> float:
    return float(np.linalg.norm(a - b))
