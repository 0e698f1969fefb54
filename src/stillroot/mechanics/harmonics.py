"""Axisymmetric elasticity in Fourier harmonics.

::

        z ▲                 u_r = Σ u_n cos nθ      (radial)
          │   · (r, z)      u_θ = Σ v_n sin nθ      (round the axis)
          │                 u_z = Σ w_n cos nθ      (along the axis)
          └────────▶ r
          θ from the direction of the lateral load

Strains of harmonic n, with the sines and cosines taken out (Wilson 1965, AIAA J 3:2269-2274;
Zienkiewicz & Taylor, The Finite Element Method, semi-analytical elements)::

    ε_rr = u,r        ε_θθ = (u + n v)/r            ε_zz = w,z                      (1)
    γ_rz = u,z + w,r  γ_rθ = -n u/r + v,r - v/r     γ_zθ = v,z - n w/r

They are linear in n, ε = (B0 + n B1) d, so the stiffness is K_n = A0 + n A1 + n² A2 with  (2)

    A0 = ∫ B0ᵀ C B0 r dr dz,  A1 = ∫ (B0ᵀ C B1 + B1ᵀ C B0) r dr dz,  A2 = ∫ B1ᵀ C B1 r dr dz

and three assemblies serve every harmonic. The integral over θ, 2π for n = 0 and π otherwise, is
`angular_weight(n)` and is not part of K_n.

The twin family (u sin nθ, -v cos nθ, w sin nθ) is the first turned by 90°/n and has the same K_n;
torsion is its n = 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import scipy.sparse as sp

from stillroot.errors import MeshError

if TYPE_CHECKING:
    from skfem import Basis

    from stillroot.arrays import Bools, Floats, Ints

AXIS_MM = 1e-9
"""A node nearer to the axis than this lies on it."""


def angular_weight(n: int) -> float:
    """Return ∫ cos² nθ dθ over the circle (and 2π for n = 0)."""
    return 2 * np.pi if n == 0 else np.pi


@dataclass(frozen=True, kw_only=True)
class HarmonicStiffness:
    """K_n = A0 + n A1 + n² A2 of equation (2), in N/mm per radian of θ, as blocks of connected nodes.

    `a` (3, b, 3, 3) contains the blocks of A0, A1 and A2, row by row; `other` (b,) is the column node of
    each block and `start` (nodes + 1,) the first block of each row node.
    """

    a: Floats
    other: Ints
    start: Ints

    def of(self, n: int) -> sp.csr_array:
        """Return K_n, sparse (3 nodes, 3 nodes)."""
        a0, a1, a2 = self.a
        size = 3 * (len(self.start) - 1)
        blocks = a0 + n * a1 + n**2 * a2  # (2)
        return sp.bsr_array((blocks, self.other, self.start), shape=(size, size)).tocsr()


def elasticity(poisson: float) -> Floats:
    """Return C (6, 6) for E = 1, strains in the order of equation (1), engineering shears."""
    lame = poisson / ((1 + poisson) * (1 - 2 * poisson))
    shear = 1 / (2 * (1 + poisson))
    c = np.diag([2 * shear] * 3 + [shear] * 3)
    c[:3, :3] += lame
    return c


def strain_matrices(basis: Basis, elements: Ints) -> tuple[Floats, Floats]:
    """Return B0, B1 of equation (1), each (e, q, 6, 18), at the quadrature points of `elements`.

    Columns are u, v, w of the first node of the triangle, of the second, and so on. No quadrature
    point lies on the axis, so 1/r is finite.
    """
    r = np.asarray(basis.global_coordinates())[0][elements]
    b0 = np.zeros((*r.shape, 6, 6, 3))  # element, point, strain, node, component
    b1 = np.zeros_like(b0)
    for node in range(6):
        field = basis.basis[node][0]
        phi = np.broadcast_to(np.asarray(field), (basis.nelems, r.shape[1]))[elements]
        d_r, d_z = np.asarray(field.grad)[:, elements]
        # (1), row by row; what is multiplied by n goes to B1.
        b0[..., 0, node, 0] = d_r  # ε_rr
        b0[..., 1, node, 0] = phi / r  # ε_θθ
        b0[..., 2, node, 2] = d_z  # ε_zz
        b0[..., 3, node, 0], b0[..., 3, node, 2] = d_z, d_r  # γ_rz
        b0[..., 4, node, 1] = d_r - phi / r  # γ_rθ
        b0[..., 5, node, 1] = d_z  # γ_zθ
        b1[..., 1, node, 1] = phi / r
        b1[..., 4, node, 0] = -phi / r
        b1[..., 5, node, 2] = -phi / r
    flat = (*r.shape, 6, 18)
    return b0.reshape(flat), b1.reshape(flat)


def unit_stiffness(
    basis: Basis,
    elements: Ints,
    poisson: float,
    modulus: Floats | float = 1.0,
) -> HarmonicStiffness:
    """Return A0, A1, A2 of the triangles `elements` (indices) of a scalar P2 basis.

    `modulus` [MPa] is one number or a value at each quadrature point (e, q).
    """
    b0, b1 = strain_matrices(basis, elements)
    r = np.asarray(basis.global_coordinates())[0][elements]
    weight = np.asarray(basis.dx)[elements] * r * modulus
    c = elasticity(poisson)

    stacked = len(elements), -1, 18
    s0, s1 = ((np.matmul(c, b) * weight[..., None, None]).reshape(stacked) for b in (b0, b1))
    b0, b1 = (b.reshape(stacked).transpose(0, 2, 1) for b in (b0, b1))
    mixed = np.matmul(b0, s1)
    local = np.stack(
        [np.matmul(b0, s0), mixed + mixed.transpose(0, 2, 1), np.matmul(b1, s1)], axis=1
    )  # (2)
    return _assembled(local, np.asarray(basis.element_dofs)[:, elements].T, basis.N)


def _assembled(local: Floats, nodes: Ints, count: int) -> HarmonicStiffness:
    """Assemble A0, A1, A2 from element matrices (e, 3, 18, 18) over pairs of their `nodes` (e, 6)."""
    blocks = local.reshape(-1, 3, 6, 3, 6, 3).transpose(0, 2, 4, 1, 3, 5).reshape(-1, 27)
    pair = (count * nodes[:, :, None] + nodes[:, None, :]).ravel()
    pairs, place = np.unique(pair, return_inverse=True)
    gather = sp.csc_array((np.ones(len(pair)), place, np.arange(len(pair) + 1)))
    a = np.asarray(gather @ blocks).reshape(-1, 3, 3, 3).transpose(1, 0, 2, 3)
    first, other = np.divmod(pairs, count)
    start = np.searchsorted(first, np.arange(count + 1))
    return HarmonicStiffness(a=np.ascontiguousarray(a), other=other, start=start)


def admissible(
    nodes_mm: Floats,
    n: int,
    order: Ints,
    fixed: Bools,
) -> tuple[sp.csc_array, Ints]:
    """Return T (3n, k), from the independent values of harmonic n to its degrees of freedom.

    On the axis a field must be single-valued (equation (3) in docs/theory.md): n = 0: u = v = 0; n = 1:
    u + v = 0, w = 0; n ≥ 2: u = v = w = 0. Nodes where `fixed` (n,) is True are constrained. Columns
    follow the node sequence `order`; the second value is the node of each column (k,).
    """
    on_axis = (nodes_mm[0] < AXIS_MM)[order]
    free = np.ones((len(order), 3), dtype=bool)
    free[on_axis] = {0: (False, False, True), 1: (True, False, False)}.get(n, (False,) * 3)  # (3)
    free[fixed[order]] = False
    position, component = np.nonzero(free)
    rows = 3 * order[position] + component
    columns = np.arange(len(rows))
    values = np.ones(len(rows))
    if n == 1:  # v = -u on the axis
        tied = on_axis[position]
        rows = np.concatenate([rows, rows[tied] + 1])
        values = np.concatenate([values, -values[tied]])
        columns = np.concatenate([columns, columns[tied]])
    t = sp.csc_array((values, (rows, columns)), shape=(3 * nodes_mm.shape[1], len(position)))
    return t, order[position]


@dataclass(frozen=True, kw_only=True)
class FaceLoads:
    """Unit resultants as tractions on a disc z = const of radius a, per radian of θ.

    Each is a load vector (3n,) in one harmonic and family, see `face_loads`.
    """

    lateral: Floats
    moment: Floats
    axial: Floats
    torque: Floats


def face_loads(basis: Basis, height_mm: float) -> FaceLoads:
    """Return unit loads on the disc z = `height_mm` of a body, its end or a section that edges follow.

    lateral: 1 N along θ = 0, uniform shear (n = 1, first family);
    moment: 1 N·mm that tilts the axis towards θ = 0, σ_zz = -x/I (n = 1, first family);
    axial: 1 N along +z, uniform (n = 0, first family);
    torque: 1 N·mm about +z, τ = r/J (n = 0, twin family).
    Their sum is statically equivalent to the load; the effect of its distribution decays within one
    diameter (Saint-Venant).
    """
    mesh = basis.mesh
    facets = mesh.facets_satisfying(lambda x: np.abs(x[1] - height_mm) < AXIS_MM)
    if len(facets) == 0:
        msg = f"no edges of the mesh follow the section at z = {height_mm:g} mm"
        raise MeshError(msg)
    face = basis.boundary(facets, intorder=6)
    r = np.asarray(face.global_coordinates())[0]
    area = np.asarray(face.dx) * r
    a = float(mesh.p[0, mesh.facets[:, facets]].max())
    j = np.pi * a**4 / 2
    nodes = np.asarray(face.element_dofs)

    def integrated(*traction: Floats | float) -> Floats:
        f = np.zeros(3 * basis.N)
        for component, t in enumerate(traction):
            for node in range(6):
                phi = np.asarray(face.basis[node][0])
                np.add.at(f, 3 * nodes[node] + component, np.sum(phi * t * area, axis=1))
        return f

    uniform = 1 / (np.pi * a**2)
    return FaceLoads(
        lateral=integrated(uniform, -uniform, 0.0),
        moment=integrated(0.0, 0.0, -r / (j / 2)),
        axial=integrated(0.0, 0.0, uniform),
        torque=integrated(0.0, -r / j, 0.0),  # the twin family has u_θ = -v
    )
