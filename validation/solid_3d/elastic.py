"""Two elastic solids and the jump of displacement across their wall, by NGSolve."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import scipy.sparse as sp
from ngsolve import (
    BND,
    TRIG,
    BilinearForm,
    ElementId,
    Grad,
    GridFunction,
    Id,
    InnerProduct,
    IntegrationRule,
    LinearForm,
    Sym,
    Trace,
    VectorH1,
    ds,
    dx,
    specialcf,
)

from validation.solid_3d import block

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

    from ngsolve import Mesh
    from numpy.typing import NDArray

    from stillroot.inputs.case import Case

    Floats = NDArray[np.float64]

FACE_ORDER = 8
"""Order that the rule on a wall face is exact for: the law has kinks inside faces."""
CORNERS_AND_MIDDLES = [(0, 0), (1, 0), (0, 1), (0.5, 0), (0, 0.5), (0.5, 0.5)]
SAME = 1e-9
"""Largest relative difference of the layer's two assemblies."""


@dataclass(frozen=True, kw_only=True)
class WallPoints:
    """q points of the wall: `jump` (3q, dofs), x y z of each point in turn, is u_implant - u_bone.

    `place_mm`, `normal` (q, 3), out of the implant; `area_mm2` (q,), of the half model;
    `modulus_mpa` (q,) of the bone beside.
    """

    jump: sp.csr_array
    place_mm: Floats
    normal: Floats
    area_mm2: Floats
    modulus_mpa: Floats


class Solid:
    """Stiffness, loads and wall of the half model; vectors (dofs,) are of both bodies."""

    def __init__(self, case: Case, mesh: Mesh, order: int) -> None:
        self.case, self.mesh = case, mesh
        self._rule = IntegrationRule(TRIG, FACE_ORDER)
        implant = VectorH1(
            mesh,
            order=order,
            definedon=mesh.Materials(block.IMPLANT),
            dirichlety=block.SYMMETRY,
        )
        bone = VectorH1(
            mesh,
            order=order,
            definedon=mesh.Materials(block.BONE),
            dirichlety=block.SYMMETRY,
            dirichlet=block.FAR,
        )
        self.bodies, self.space = (implant, bone), implant * bone
        ratio, poisson = case.interface.layer_modulus_ratio, case.bone.poisson
        layer = ratio / case.interface.layer_thickness_mm  # times the modulus of the bone beside
        self.normal_share = layer * (1 - poisson) / ((1 + poisson) * (1 - 2 * poisson))
        self.shear_share = layer / (2 * (1 + poisson))
        bodies, form = self._bodies(), self._bodies()
        form += self._springs()
        for each in (bodies, form):
            each.Assemble()
        self.stiffness, self._bonded = _scipy(bodies.mat), form.mat
        self._inverse = form.mat.Inverse(self.space.FreeDofs(), inverse="sparsecholesky")
        self._in, self._out = form.mat.CreateColVector(), form.mat.CreateColVector()
        self._check_springs()

    @property
    def unknowns(self) -> int:
        """Free degrees of freedom."""
        return int(self.space.FreeDofs().NumSet())

    def bonded_solve(self, force: Floats) -> Floats:
        """Return the displacement (dofs,) under a force (dofs,) with the layer's springs all glued."""
        self._in.FV().NumPy()[:] = force
        self._out.data = self._inverse * self._in
        return np.array(self._out.FV().NumPy())

    def face_load(self, name: str, direction: int, total_n: float) -> Floats:
        """Return a force on a disc, spread evenly; `total_n` is that on the whole implant."""
        area = np.pi * (self.case.implant.abutment_diameter_mm / 2) ** 2
        (_, _), (test, _) = self.space.TnT()
        form = LinearForm(self.space)
        form += total_n / area * test.Trace()[direction] * ds(name)
        form.Assemble()
        return np.array(form.vec.FV().NumPy())

    def on_axis(self, displacement: Floats, height_mm: float) -> Floats:
        """Return the implant's displacement (3,) on the axis at a height."""
        field = GridFunction(self.space)
        field.vec.FV().NumPy()[:] = displacement
        return np.array(field.components[0](self.mesh(0, 0, height_mm)))

    @cached_property
    def wall(self) -> WallPoints:
        """Points of a quadrature rule."""
        return self._wall([point[:2] for point in self._rule.points], self._rule.weights)

    @cached_property
    def wall_corners(self) -> WallPoints:
        """Corners and middles of sides of all faces, edges of the wall among them; areas are zero."""
        return self._wall(CORNERS_AND_MIDDLES, [0.0] * len(CORNERS_AND_MIDDLES))

    def _bodies(self) -> BilinearForm:
        form = BilinearForm(self.space)
        bone = self.case.bone
        (trabecular,) = bone.trabecular_profile_mpa  # one modulus
        metal = (self.case.implant.elastic.modulus_mpa, self.case.implant.elastic.poisson)
        parts = (
            (0, block.IMPLANT, metal),
            (1, "cortical", (bone.cortical_modulus_mpa, bone.poisson)),
            (1, "trabecular", (trabecular[1], bone.poisson)),
        )
        trial, test = self.space.TnT()
        for body, region, (modulus, poisson) in parts:
            shear = modulus / (2 * (1 + poisson))
            lame = modulus * poisson / ((1 + poisson) * (1 - 2 * poisson))
            strain, virtual = Sym(Grad(trial[body])), Sym(Grad(test[body]))
            stress = 2 * shear * strain + lame * Trace(strain) * Id(3)
            form += InnerProduct(stress, virtual) * dx(definedon=self.mesh.Materials(region))
        return form

    def _springs(self) -> Any:
        trial, test = (pair[0].Trace() - pair[1].Trace() for pair in self.space.TnT())
        normal = specialcf.normal(3)
        k_n, k_t = self.normal_share, self.shear_share
        energy = (k_n - k_t) * (trial * normal) * (test * normal) + k_t * trial * test
        beside = self.mesh.BoundaryCF(self._moduli(), default=0.0)
        return beside * energy * ds(block.WALL, intrules={TRIG: self._rule})

    def _moduli(self) -> dict[str, float]:
        bone = self.case.bone
        return {
            "wall cortical": bone.cortical_modulus_mpa,
            "wall trabecular": bone.trabecular_profile_mpa[0][1],
        }

    def _check_springs(self) -> None:
        """Hold the jump of `wall` against the library's own assembly of the same springs."""
        wall = self.wall
        k_n, k_t = (share * wall.modulus_mpa for share in (self.normal_share, self.shear_share))
        blocks = (k_n - k_t)[:, None, None] * wall.normal[:, :, None] * wall.normal[:, None, :]
        blocks += k_t[:, None, None] * np.eye(3)
        blocks *= wall.area_mm2[:, None, None]
        probe = np.random.default_rng(1).standard_normal(self.space.ndof)
        forces = np.einsum("qij,qj->qi", blocks, (wall.jump @ probe).reshape(-1, 3))
        ours = wall.jump.T @ forces.ravel()
        theirs = _scipy(self._bonded) @ probe - self.stiffness @ probe
        off = np.linalg.norm(ours - theirs) / np.linalg.norm(ours)
        if off > SAME:
            msg = f"the layer's springs differ by {off:.1e}"
            raise AssertionError(msg)

    def _wall(self, points: Sequence[tuple[float, float]], weights: Sequence[float]) -> WallPoints:
        scalars = [space.components[0] for space in self.bodies]
        starts = (0, self.bodies[0].ndof)
        beside = self._moduli()
        entries: list[tuple[Floats, Floats, Floats]] = []
        place, normal, area, modulus = [], [], [], []
        for element in self.mesh.Boundaries(block.WALL).Elements():
            name = ElementId(BND, element.nr)
            trafo = self.mesh.GetTrafo(name)
            for point, weight in zip(points, weights, strict=True):
                at = trafo(*point)
                jacobian = np.array(at.jacobi).reshape(3, 2)
                across = np.cross(jacobian[:, 0], jacobian[:, 1])
                x = np.array(at.point)
                at_tip = abs(across[2]) > 0.99 * np.linalg.norm(across)
                outwards = -across[2] if at_tip else across[:2] @ x[:2]
                row = 3 * len(place)
                place.append(x)
                normal.append(across / np.linalg.norm(across) * np.sign(outwards))
                area.append(weight * np.linalg.norm(across))
                modulus.append(beside[element.mat])
                for scalar, body, start, sign in zip(scalars, self.bodies, starts, (1, -1), strict=True):
                    shape = np.array(scalar.GetFE(name).CalcShape(*point))
                    dofs = np.array(scalar.GetDofNrs(name))
                    for i in range(3):
                        columns = start + body.Range(i).start + dofs
                        entries.append((np.full(len(dofs), row + i), columns, sign * shape))
        rows, columns, values = (np.concatenate(part) for part in zip(*entries, strict=True))
        size = (3 * len(place), self.space.ndof)
        return WallPoints(
            jump=sp.csr_array((values, (rows, columns)), shape=size),
            place_mm=np.array(place),
            normal=np.array(normal),
            area_mm2=np.array(area),
            modulus_mpa=np.array(modulus),
        )


def _scipy(matrix: Any) -> sp.csr_array:
    values, columns, starts = matrix.CSR()
    size = (matrix.height, matrix.width)
    return sp.csr_array((np.array(values), np.array(columns), np.array(starts)), shape=size)
