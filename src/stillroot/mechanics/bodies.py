"""Two bodies and the interface between them: quadratic triangles on the half-section.

The half-section is meshed as a whole, so both sides of the interface have the same nodes; here it is
split into implant and bone, which then share nothing but the pairing of those nodes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from skfem import Basis, ElementTriP2, MeshTri

from stillroot.errors import MeshError
from stillroot.mechanics.outline import GAP, IMPLANT_BODY

if TYPE_CHECKING:
    from stillroot.arrays import Bools, Floats, Ints
    from stillroot.mechanics.mesh import HalfSection

QUADRATURE_ORDER = 6
"""More than exact for P2 strains times r; the 1/r terms near the axis need the rest (docs/theory.md)."""


@dataclass(frozen=True, kw_only=True)
class Body:
    """One axisymmetric body.

    `basis` is scalar P2 on the half-section: node k of the basis carries u_r, u_θ, u_z as degrees of
    freedom 3k, 3k + 1, 3k + 2. `region` (e,) indexes `names`.
    """

    basis: Basis
    region: Ints
    names: tuple[str, ...]

    @property
    def nodes_mm(self) -> Floats:
        """Node coordinates (2, n): r, z."""
        nodes: Floats = self.basis.doflocs
        return nodes

    @property
    def elements(self) -> Ints:
        """Nodes of each triangle (6, e): corners, then mid-sides 01, 12, 02."""
        elements: Ints = self.basis.element_dofs
        return elements


@dataclass(frozen=True, kw_only=True)
class Wall:
    """The interface: edges of the implant's wall that touch bone or gap fill.

    `nodes_mm` (2, m); `implant_nodes`, `bone_nodes` (m,): the same points on either body; `edges` (3,
    k): first end, middle, second end as indices into the m nodes; `normal` (2, k): unit, out of the
    implant into the bone; `bone_elements` (k,): the triangle of the bone on each edge; `fill` (k,): True
    where that is gap fill and not native bone.
    """

    nodes_mm: Floats
    implant_nodes: Ints
    bone_nodes: Ints
    edges: Ints
    normal: Floats
    bone_elements: Ints
    fill: Bools


@dataclass(frozen=True, kw_only=True)
class BodyPair:
    """Implant, bone (with any gap fill) and the wall between them."""

    implant: Body
    bone: Body
    wall: Wall


def take_apart(section: HalfSection, *, keep_gap: bool) -> BodyPair:
    """Split a half-section into implant and bone; an empty gap (`keep_gap` False) is left out."""
    is_implant = np.isin(section.region, [section.names.index(name) for name in IMPLANT_BODY])
    is_bone = ~is_implant
    if GAP in section.names and not keep_gap:
        is_bone &= section.region != section.names.index(GAP)
    implant, bone = _body(section, is_implant), _body(section, is_bone)
    return BodyPair(implant=implant, bone=bone, wall=_wall(implant, bone))


def _body(section: HalfSection, keep: Bools) -> Body:
    used, triangles = np.unique(section.triangles[:, keep], return_inverse=True)
    points = np.ascontiguousarray(section.points_mm[:, used])
    mesh = MeshTri(points, triangles.reshape(3, -1))
    basis = Basis(mesh, ElementTriP2(), intorder=QUADRATURE_ORDER)
    # scikit-fem may reorder the corners of a triangle, never the triangles.
    return Body(basis=basis, region=section.region[keep], names=section.names)


def _wall(implant: Body, bone: Body) -> Wall:
    first, second = implant.basis.mesh, bone.basis.mesh
    sides = []
    for mesh in (first, second):
        facets = mesh.boundary_facets()
        middle = mesh.p[:, mesh.facets[:, facets]].mean(axis=1)
        order = np.lexsort(np.round(middle, 8))
        sides.append((facets[order], np.round(middle[:, order], 8)))
    lookup = {tuple(place): k for k, place in enumerate(sides[0][1].T)}
    pairs = [
        (lookup[tuple(place)], k) for k, place in enumerate(sides[1][1].T) if tuple(place) in lookup
    ]
    if not pairs:
        msg = "the implant and the bone share no edge"
        raise MeshError(msg)
    i_facets = sides[0][0][[i for i, _ in pairs]]
    b_facets = sides[1][0][[k for _, k in pairs]]
    i_edges, b_edges = _edge_nodes(implant, i_facets), _edge_nodes(bone, b_facets)
    flip = np.linalg.norm(implant.nodes_mm[:, i_edges[0]] - bone.nodes_mm[:, b_edges[0]], axis=0)
    b_edges[:, flip > 1e-9] = b_edges[::-1, flip > 1e-9]
    mismatch = np.abs(implant.nodes_mm[:, i_edges] - bone.nodes_mm[:, b_edges]).max()
    if mismatch > 1e-9:
        msg = f"interface nodes of implant and bone differ by {mismatch:.1e} mm"
        raise MeshError(msg)
    implant_nodes, position = np.unique(i_edges, return_inverse=True)
    edges = position.reshape(i_edges.shape)
    bone_nodes = np.empty_like(implant_nodes)
    bone_nodes[edges] = b_edges
    elements = second.f2t[0, b_facets]
    nodes = implant.nodes_mm[:, implant_nodes]
    return Wall(
        nodes_mm=nodes,
        implant_nodes=implant_nodes,
        bone_nodes=bone_nodes,
        edges=edges,
        normal=_normals(nodes, edges, second.p[:, second.t[:, elements]].mean(axis=1)),
        bone_elements=elements,
        fill=np.array([bone.names[r] == GAP for r in bone.region[elements]]),
    )


def _edge_nodes(body: Body, facets: Ints) -> Ints:
    ends = body.basis.mesh.facets[:, facets]
    corner, middle = body.basis.nodal_dofs[0], body.basis.facet_dofs[0]
    return np.stack([corner[ends[0]], middle[facets], corner[ends[1]]])


def _normals(nodes: Floats, edges: Ints, beyond: Floats) -> Floats:
    """Return unit normals (2, k) of the edges, directed towards the points `beyond` (2, k)."""
    along = nodes[:, edges[2]] - nodes[:, edges[0]]
    normal = np.stack([along[1], -along[0]]) / np.linalg.norm(along, axis=0)
    side = np.sum(normal * (beyond - nodes[:, edges[1]]), axis=0)
    return normal * np.sign(side)
