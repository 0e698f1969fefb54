"""Static condensation of a body to its interface, one harmonic at a time.

The Schur complement S = K_ΓΓ - K_ΓI K_II⁻¹ K_IΓ is the exact, dense stiffness seen from the interface.
It follows from the factors of

    [ K_II  0 ]   [ L₁₁  0 ] [ U₁₁  0 ]
    [ K_ΓI  I ] = [ L₂₁  I ] [  0   I ]

K is symmetric and the pivots stay on the diagonal, so U₁₁ = D L₁₁ᵀ and

    S = K_ΓΓ - (L₂₁ D^½) (L₂₁ D^½)ᵀ

One sparse factorisation therefore yields S without a solve for each interface column, and the same
factors recover the interior displacement. An unsupported body is no exception: its interior is
constrained by its interface, so D > 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
import scipy.sparse as sp
import scipy.sparse.linalg as spla

from stillroot.mechanics.harmonics import admissible

if TYPE_CHECKING:
    from stillroot.arrays import Bools, Floats, Ints
    from stillroot.mechanics.harmonics import HarmonicStiffness

DENSE_SHARE = 0.12
"""Columns of L₂₁ with a larger share of nonzeros than this are multiplied as dense ones."""


def elimination_order(
    stiffness: HarmonicStiffness,
    interface_nodes: Ints,
    nodes: Ints | None = None,
) -> Ints:
    """Return the nodes (n,): the interior in minimum-degree order, then `interface_nodes`.

    `nodes` restricts the interior to a part of the body (default: all of it). The node graph is the same
    in every harmonic, so one ordering serves all.
    """
    n = len(stiffness.start) - 1
    met = np.full(len(stiffness.other), -1.0)
    graph = sp.csr_array((met, stiffness.other, stiffness.start), shape=(n, n))
    dominant = (graph + sp.diags_array(np.full(n, 2.0 + np.diff(graph.indptr)))).tocsc()
    interior = np.setdiff1d(np.arange(n) if nodes is None else nodes, interface_nodes)
    factors = _factored(dominant[interior][:, interior].tocsc(), "MMD_AT_PLUS_A")
    return np.concatenate([interior[np.argsort(factors.perm_c)], interface_nodes])


@dataclass(frozen=True, kw_only=True)
class Interior:
    """The interior of a body, its interface fixed; the first `size` unknowns of `factors` are K_II's."""

    factors: spla.SuperLU
    size: int

    def solve(self, f: Floats) -> Floats:
        """Return K_II⁻¹ f (k, ...)."""
        with_interface = np.zeros((self.factors.shape[0], *f.shape[1:]))
        with_interface[: self.size] = f
        return self.factors.solve(with_interface)[: self.size]


@dataclass(frozen=True, kw_only=True)
class BodyHarmonic:
    """One body in one harmonic: admissible values, split into interior and interface.

    `to_dofs` (3n, k) maps the k admissible values to all degrees of freedom; the first `interior` of
    them lie inside, the rest on the interface. `stiffness` (k, k) [N/mm] is integrated over θ.
    """

    to_dofs: sp.csc_array
    interior: int
    stiffness: sp.csc_array

    def schur(self) -> Floats:
        """Return the dense Schur complement (i, i) [N/mm] on the interface values."""
        return self.condensed()[0]

    def condensed(self) -> tuple[Floats, Interior]:
        """Return the Schur complement (i, i) [N/mm] and the factorised interior."""
        k, n = self.interior, self.stiffness.shape[0]
        inside, across = self.stiffness[:k, :k], self.stiffness[k:, :k]
        factors = _factored(
            sp.block_array([[inside, None], [across, sp.eye_array(n - k)]], format="csc")
        )
        pivots = factors.U.diagonal()[:k]
        in_place = np.array_equal(factors.perm_c, factors.perm_r)
        if not (in_place and np.array_equal(factors.perm_c[k:], np.arange(k, n)) and np.all(pivots > 0)):
            msg = "the factorisation left the diagonal, moved the interface, or found an inside not held"
            raise AssertionError(msg)
        half = factors.L[k:, :k].tocsc()
        filled = np.diff(half.indptr)
        half.data *= np.repeat(np.sqrt(pivots), filled)
        many = np.flatnonzero(filled > DENSE_SHARE * (n - k))  # few, but most of the work: dense
        few = np.flatnonzero((filled > 0) & (filled <= DENSE_SHARE * (n - k)))
        dense, sparse = half[:, many].toarray(), half[:, few]
        # S = K_ΓΓ - (L₂₁ D^½) (L₂₁ D^½)ᵀ
        s = self.stiffness[k:, k:].toarray() - dense @ dense.T - (sparse @ sparse.T).toarray()
        return 0.5 * (s + s.T), Interior(factors=factors, size=k)

    def interior_solver(self) -> Interior:
        """Return the factorised interior alone, where no Schur complement is needed."""
        k = self.interior
        return Interior(factors=_factored(self.stiffness[:, :k][:k].tocsc()), size=k)

    def condensed_load(self, load: Floats, interior_solver: Interior) -> Floats:
        """Return f_Γ - K_ΓI K_II⁻¹ f_I (i, c) of loads (3n, c)."""
        f, k = self.to_dofs.T @ load, self.interior
        return f[k:] - self.stiffness[k:, :k] @ interior_solver.solve(f[:k])

    def recovered(
        self,
        interface_value: Floats,
        load: Floats,
        interior_solver: Interior,
    ) -> Floats:
        """Return all degrees of freedom (3n, ...) from interface values (i, ...) and loads (3n, ...)."""
        k = self.interior
        f = (self.to_dofs.T @ load)[:k]
        inside = interior_solver.solve(f - self.stiffness[:k, k:] @ interface_value)
        return self.to_dofs @ np.concatenate([inside, interface_value])


def _factored(
    matrix: sp.csc_array, order: Literal["NATURAL", "MMD_AT_PLUS_A"] = "NATURAL"
) -> spla.SuperLU:
    """Factorise a symmetric matrix; pivots stay on the diagonal."""
    return spla.splu(matrix, permc_spec=order, diag_pivot_thresh=0.0, options={"SymmetricMode": True})


def free_rows(expand: sp.csc_array) -> Ints:
    """Return, for each column of an expansion, the row of its independent degree of freedom.

    It is the first row of the column. On the axis v = -u is tied to u: a displacement expands to both
    rows, while a generalised force enters the independent row alone.
    """
    return expand.indices[expand.indptr[:-1]].astype(np.int64)


def body_harmonic(
    stiffness: HarmonicStiffness,
    n: int,
    nodes_mm: Floats,
    order: Ints,
    interface_count: int,
    fixed: Bools,
    angular_weight: float,
) -> BodyHarmonic:
    """Return harmonic n of a body; the last `interface_count` nodes of `order` are its interface."""
    to_dofs, node = admissible(nodes_mm, n, order, fixed)
    at_interface = np.isin(node, order[len(order) - interface_count :])
    k = angular_weight * stiffness.of(n)
    tied = to_dofs.nnz > to_dofs.shape[1]
    k = to_dofs.T @ k @ to_dofs if tied else k[to_dofs.indices][:, to_dofs.indices]
    return BodyHarmonic(to_dofs=to_dofs, interior=int(np.sum(~at_interface)), stiffness=k.tocsc())
