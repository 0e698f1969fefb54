"""The solid: half of implant and block, y > 0, as tetrahedra with curved sides (netgen).

Both bodies are revolved from polygons in the plane of the load, which is the plane of symmetry.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from netgen.occ import Axes, Axis, Glue, OCCGeometry, WorkPlane, X, Y, Z
from ngsolve import Mesh

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

    from stillroot.inputs.case import Case

IMPLANT, BONE = "fixture|abutment", "cortical|trabecular"
SYMMETRY, FAR, TOP, CREST_SECTION, WALL = "symmetry", "far", "top", "crest section", "wall.*"
NEAR_MM = 1e-5


@dataclass(frozen=True, kw_only=True)
class Sizes:
    """Tetrahedra: on the wall, on its edges, at most [mm]; their growth; order of the polynomials.

    `tip_mm`: those on the tip's edge, if they differ from those on other edges.
    """

    wall_mm: float
    edge_mm: float
    largest_mm: float
    growth: float
    order: int = 3
    tip_mm: float | None = None

    def on_edge(self, at_tip: bool) -> float:
        """Return the size on an edge of the wall."""
        return self.tip_mm if at_tip and self.tip_mm is not None else self.edge_mm


def wall_of(case: Case) -> list[tuple[float, float]]:
    """Return the wall [mm] from the crest to the tip's corner: a straight cylinder, or an outline."""
    implant = case.implant
    if implant.outline_mm:
        return list(implant.outline_mm)
    if implant.thread.form != "none" or implant.taper_deg:
        msg = "a thread or taper is modelled only from an outline"
        raise ValueError(msg)
    return [(implant.diameter_mm / 2, 0.0), (implant.diameter_mm / 2, -implant.length_mm)]


def meshed(case: Case, sizes: Sizes) -> Mesh:
    """Return the mesh; regions are named by what they are, wall faces by the bone beside them."""
    wall = wall_of(case)
    tip, layer = wall[-1][1], -case.bone.cortical_thickness_mm
    radius, floor = case.bone.radius_mm, -case.bone.depth_mm
    abutment, top = case.implant.abutment_diameter_mm / 2, case.implant.abutment_height_mm
    above, below = _cut(wall, layer)
    solids = {
        "fixture": _revolved([(0.0, 0.0), (0.0, tip), *reversed(wall)]),
        "abutment": _revolved([(0.0, 0.0), (abutment, 0.0), (abutment, top), (0.0, top)]),
        "cortical": _revolved([*above, (radius, layer), (radius, 0.0)]),
        "trabecular": _revolved([*below, (0.0, tip), (0.0, floor), (radius, floor), (radius, layer)]),
    }
    for name, solid in solids.items():
        solid.mat(name)
    whole = Glue(list(solids.values()))
    for solid in whole.solids:
        for face in solid.faces:
            _name(solid.name, face, radius=radius, floor=floor, top=top, layer=layer)
    for solid in whole.solids:
        if solid.name == "fixture":
            _refine(solid, sizes)
    mesh = Mesh(OCCGeometry(whole).GenerateMesh(maxh=sizes.largest_mm, grading=sizes.growth))
    mesh.Curve(sizes.order)
    return mesh


def _cut(
    wall: list[tuple[float, float]], level: float
) -> tuple[list[tuple[float, float]], list[tuple[float, float]]]:
    """Return the wall above and below a level between its ends."""
    radii, heights = zip(*reversed(wall), strict=True)
    middle = (float(np.interp(level, heights, radii)), level)
    return [*(p for p in wall if p[1] > level), middle], [middle, *(p for p in wall if p[1] < level)]


def _revolved(corners: Sequence[tuple[float, float]]) -> Any:
    """Turn a polygon of (r, z), counter-clockwise, by half a turn about z."""
    plane = WorkPlane(Axes((0, 0, 0), n=-Y, h=X)).MoveTo(*corners[0])
    for corner in corners[1:]:
        plane.LineTo(*corner)
    return plane.Close().Face().Revolve(Axis((0, 0, 0), Z), 180)


def _name(solid: str, face: Any, *, radius: float, floor: float, top: float, layer: float) -> None:
    low, high = face.bounding_box
    flat = high.z - low.z < NEAR_MM
    if high.y < NEAR_MM:
        face.name = SYMMETRY
    elif solid == "abutment" and flat:
        face.name = TOP if low.z > top - NEAR_MM else CREST_SECTION
    elif solid == "fixture" and not (flat and abs(low.z) < NEAR_MM):
        face.name = "wall cortical" if (low.z + high.z) / 2 > layer else "wall trabecular"
    elif (low.z < floor + NEAR_MM) if flat else (high.y > radius - NEAR_MM):
        face.name = FAR


def _refine(fixture: Any, sizes: Sizes) -> None:
    lowest = fixture.bounding_box[0].z
    for face in fixture.faces:
        if face.name and face.name.startswith("wall"):
            face.maxh = sizes.wall_mm
            for edge in face.edges:
                if edge.center.y > NEAR_MM:  # an arc, not a line in the plane of symmetry
                    edge.maxh = sizes.on_edge(edge.center.z < lowest + NEAR_MM)
