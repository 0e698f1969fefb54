"""The bridge that splints the implants: rigid, or a framework of beams along a line.

A beam has two nodes with three displacements and three rotations each. With Φ = 12 EI/(κGA L²) for each
plane of bending, its stiffness in its own axes (x along it) is that of Przemieniecki, Theory of Matrix
Structural Analysis, 1968, section 5.6 (from memory)::

    axial  EA/L     torsion  GJ/L
    bending  EI/((1 + Φ) L³) [ 12  6L  -12  6L;  6L  (4 + Φ)L²  -6L  (2 - Φ)L²;  … ]          (S1)

κ of a rectangle is 10(1 + ν)/(12 + 11ν) (Cowper 1966, J Appl Mech 33:335-340). Its J, with a the longer
and b the shorter side, is a b³ (1/3 - 0.21 (b/a)(1 - b⁴/(12 a⁴))) (Roark's Formulas for Stress and
Strain, torsion of a solid rectangle; from memory).                                         (S2)

What is fixed to the bridge, an implant's head or the point of a load, is linked to the nearest point
of its line by a rigid arm: u_p = u + φ x (p - x).                                             (S3)
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stillroot.arch.polyline import Polyline
    from stillroot.arrays import Floats
    from stillroot.inputs.materials import Material

LONGEST_BEAM_MM = 4.0
"""Longest beam, so that the deflected line can be drawn; the stiffness is exact at any length."""
SAME_PLACE_MM = 1e-6
STEEP = 0.99
"""A beam steeper than this has no upper side; its width then lies along x."""


@dataclass(frozen=True, kw_only=True)
class CrossSection:
    """A rectangle: `width_mm` is horizontal, across the line; `height_mm` is upright."""

    width_mm: float
    height_mm: float

    @property
    def area_mm2(self) -> float:
        """Area."""
        return self.width_mm * self.height_mm

    @property
    def second_moments_mm4(self) -> tuple[float, float]:
        """(sideways, upright): for bending in the horizontal plane and in the vertical one."""
        w, h = self.width_mm, self.height_mm
        return h * w**3 / 12, w * h**3 / 12

    @property
    def torsion_constant_mm4(self) -> float:
        """J of (S2)."""
        a, b = max(self.width_mm, self.height_mm), min(self.width_mm, self.height_mm)
        return a * b**3 * (1 / 3 - 0.21 * (b / a) * (1 - b**4 / (12 * a**4)))


@dataclass(frozen=True, kw_only=True)
class Bridge:
    """Nodes and stiffness of an unsupported bridge.

    `nodes_mm` (n, 3), a single one where it is rigid; `stiffness` (6n, 6n): u_x, u_y, u_z [mm], φ_x,
    φ_y, φ_z [rad] of each node, N and N·mm. `line` is its axis.
    """

    line: Polyline
    nodes_mm: Floats
    stiffness: Floats

    def arm(self, point: Floats) -> Floats:
        """Return (6, 6n), from nodal motions to that of a body fixed to the bridge at a point: (S3)."""
        place, _ = self.line.nearest(point)
        on_line = self.line.points(np.array([place]))[0]
        node = int(np.argmin(np.linalg.norm(self.nodes_mm - on_line, axis=1)))
        arm = np.zeros((6, self.stiffness.shape[0]))
        arm[:, 6 * node : 6 * node + 6] = rigid_arm(point - self.nodes_mm[node])
        return arm

    def displacement(self, motion: Floats, points: Floats) -> Floats:
        """Return the displacement (k, 3) [mm] of points (k, 3) for the nodes' `motion` (6n,)."""
        return np.stack([(self.arm(point) @ motion)[:3] for point in points])


def rigid_arm(offset: Floats) -> Floats:
    """Return (6, 6): motion at the end of a rigid arm from the motion at its start, by (S3)."""
    x, y, z = offset
    arm = np.eye(6)
    arm[:3, 3:] = [[0.0, z, -y], [-z, 0.0, x], [y, -x, 0.0]]
    return arm


def rigid_bridge(line: Polyline) -> Bridge:
    """Return a rigid bridge."""
    centre = line.points(np.linspace(0.0, line.length_mm, 65)).mean(axis=0, keepdims=True)
    return Bridge(line=line, nodes_mm=centre, stiffness=np.zeros((6, 6)))


def beam_bridge(
    line: Polyline,
    section: CrossSection,
    material: Material,
    fixed_points: Sequence[Floats],
) -> Bridge:
    """Return a framework of beams, with a node on the line nearest to each of `fixed_points` (3,)."""
    places = [*line.corners_at, *(line.nearest(point)[0] for point in fixed_points)]
    nodes_at = _with_gaps_filled(np.unique(np.round(places, 9)))
    nodes = line.points(nodes_at)
    stiffness = np.zeros((6 * len(nodes), 6 * len(nodes)))
    for k in range(len(nodes) - 1):
        here = slice(6 * k, 6 * k + 12)
        stiffness[here, here] += beam_stiffness(nodes[k], nodes[k + 1], section, material)
    return Bridge(line=line, nodes_mm=nodes, stiffness=stiffness)


def beam_stiffness(start: Floats, end: Floats, section: CrossSection, material: Material) -> Floats:
    """Return (S1) of one beam (12, 12) in the plan's axes: six motions of its start, then of its end."""
    length = float(np.linalg.norm(end - start))
    along = (end - start) / length
    up = np.array([0.0, 0.0, 1.0]) if abs(along[2]) < STEEP else np.array([0.0, 1.0, 0.0])
    side = np.cross(up, along)
    side /= np.linalg.norm(side)
    axes = np.stack([along, side, np.cross(along, side)])
    e, g, nu = material.modulus_mpa, material.shear_modulus_mpa, material.poisson
    shear = g * section.area_mm2 * 10 * (1 + nu) / (12 + 11 * nu)
    sideways, upright = section.second_moments_mm4
    k = np.zeros((12, 12))
    _add_rod(k, (0, 6), e * section.area_mm2 / length)
    _add_rod(k, (3, 9), g * section.torsion_constant_mm4 / length)
    _add_bending(k, (1, 5, 7, 11), e * sideways, shear, length, turn=1.0)
    _add_bending(k, (2, 4, 8, 10), e * upright, shear, length, turn=-1.0)
    turned = np.kron(np.eye(4), axes)
    return np.asarray(turned.T @ k @ turned)


def _add_rod(k: Floats, at: tuple[int, int], stiffness: float) -> None:
    k[np.ix_(at, at)] += stiffness * np.array([[1.0, -1.0], [-1.0, 1.0]])


def _add_bending(
    k: Floats,
    at: tuple[int, int, int, int],
    bending: float,
    shear: float,
    length: float,
    *,
    turn: float,
) -> None:
    """Add bending in one plane; `turn` is -1 where a positive rotation lowers the part ahead."""
    phi, h = 12 * bending / (shear * length**2), turn * length
    a, b = (4 + phi) * length**2, (2 - phi) * length**2
    block = np.array(
        [
            [12.0, 6 * h, -12.0, 6 * h],
            [6 * h, a, -6 * h, b],
            [-12.0, -6 * h, 12.0, -6 * h],
            [6 * h, b, -6 * h, a],
        ]
    )
    k[np.ix_(at, at)] += bending / ((1 + phi) * length**3) * block


def _with_gaps_filled(places: Floats) -> Floats:
    """Return places without coincident ones, with more added where they lie far apart."""
    kept = places[np.concatenate([[True], np.diff(places) > SAME_PLACE_MM])]
    counts = np.ceil(np.diff(kept) / LONGEST_BEAM_MM).astype(int)
    pieces = [
        np.linspace(a, b, n, endpoint=False) for a, b, n in zip(kept[:-1], kept[1:], counts, strict=True)
    ]
    return np.concatenate([*pieces, kept[-1:]])
