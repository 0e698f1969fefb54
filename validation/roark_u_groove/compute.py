"""A round bar with a circumferential U-groove: K_t on the net section (Roark's Formulas, table 17.1).

A groove round a bar is what a ring of the thread is to the implant. Tension is harmonic 0, bending
harmonic 1, torsion the twin of harmonic 0. The bar is cut at the groove's plane of symmetry; its free
end carries the resultant of `stillroot.mechanics.harmonics.face_loads`.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from skfem import Basis, MeshTri

from stillroot.mechanics.harmonics import face_loads
from validation.benches import Floats, basis_of, graded
from validation.solids import read_at_corners, solved, stress_at
from validation.suite import Curve

POISSON = 0.3
ROOT = 1.0
"""Root radius; all lengths are multiples of it."""
SHARE = 0.3
"""t = 2h/D."""
PER_ARC, FIRST, GROWTH = 24, 0.025, 1.25
"""Edges on the quarter circle; depth of the first layer of elements, and growth from layer to layer."""

STRAIN = {"tension": 2, "bending": 2, "torsion": 5}
"""zz, zz, zθ: the component that is largest at the root."""
HELD = {"tension": "w", "bending": "w", "torsion": "v"}
"""What is zero in the plane of symmetry."""


def bar(depth: float, diameter: float, fineness: float = 1.0) -> MeshTri:
    """Return half a bar with its groove at z = 0: rulings from the profile to the axis, graded.

    The rulings start on arc, flank and skin, and end on the axis at heights that grow with them.
    """
    half, net = diameter / 2, diameter / 2 - depth
    angle = np.linspace(0, np.pi / 2, round(PER_ARC * fineness) + 1)
    step = np.pi / 2 * ROOT / (PER_ARC * fineness)
    arc = np.stack([net + ROOT * (1 - np.cos(angle)), ROOT * np.sin(angle)])
    flank_r = graded(net + ROOT, half, step, 1.15)[1:]
    flank = np.stack([flank_r, np.full_like(flank_r, ROOT)])
    end = ROOT + 2 * diameter
    skin_z = graded(ROOT, end, min(4 * step, half / 8), 1.15)[1:]
    skin = np.stack([np.full_like(skin_z, half), skin_z])
    profile = np.hstack([arc, flank, skin])
    along = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(profile), axis=0))])
    foot = np.stack([np.zeros_like(along), along * end / along[-1]])
    layers = graded(0, 1, FIRST / fineness / net, GROWTH ** (1 / fineness))
    grid = MeshTri.init_tensor(np.arange(len(along), dtype=float), np.arange(len(layers), dtype=float))
    ruling, layer = np.rint(grid.p).astype(int)
    points = profile[:, ruling] + (foot - profile)[:, ruling] * layers[layer]
    return MeshTri(np.ascontiguousarray(points), grid.t)


@cache
def basis(depth: float, share: float, fineness: float = 1.0) -> Basis:
    return basis_of(bar(depth, 2 * depth / share, fineness))


def concentration(depth: float, share: float, load: str, fineness: float = 1.0) -> float:
    """Return the stress at the root over that of beam theory on the net section."""
    body = basis(depth, share, fineness)
    r, z = body.doflocs
    kind = {"tension": "axial", "bending": "moment", "torsion": "torque"}[load]
    n = 1 if load == "bending" else 0
    held = np.zeros((body.N, 3), dtype=bool)
    held[np.abs(z) < 1e-9, "uvw".index(HELD[load])] = True
    if load == "bending":  # and no shift along x
        held[(r < 1e-9) & (np.abs(z) < 1e-9)] = True
    force = getattr(face_loads(body, float(z.max())), kind)
    field = solved(body, n, POISSON, force, held)
    net = depth / share - depth
    nominal = {"tension": np.pi * net**2, "bending": np.pi * net**3 / 4, "torsion": np.pi * net**3 / 2}
    return abs(at_root(body, n, field, net, STRAIN[load])) * nominal[load]


def at_root(body: Basis, n: int, field: Floats, radius: float, component: int) -> float:
    """Return a stress at the corner (radius, 0) of the mesh, the mean of its triangles there."""
    here = read_at_corners(body.mesh)
    r, z = np.asarray(here.global_coordinates())
    element, corner = np.nonzero((np.abs(r - radius) < 1e-9) & (np.abs(z) < 1e-9))
    stress = stress_at(here, element, field, n, POISSON)[np.arange(len(element)), corner]
    return float(stress[:, component].mean())


def compute(keys: frozenset[str]) -> dict[str, float]:
    """A key is ``load_ratio``: tension_2 is h/r = 2 in tension."""
    values = {}
    for key in keys:
        load, ratio = key.rsplit("_", 1)
        values[key] = concentration(float(ratio) * ROOT, SHARE, load)
    return values


def curve() -> Curve:
    """K_t in tension against h/r; published is the handbook's fit."""
    fitted = np.linspace(2, 12, 51)
    return Curve(
        title=f"Groove in a round bar, tension, 2h/D = {SHARE}",
        x_label="depth over root radius, h/r",
        y_label="K_t on the net section",
        published=[(float(ratio), handbook_tension(float(ratio))) for ratio in fitted],
        computed=[
            (q, concentration(q * ROOT, SHARE, "tension")) for q in (2.0, 3.0, 4.0, 6.0, 8.0, 12.0)
        ],
    )


def handbook_tension(ratio: float) -> float:
    """Return K_t of table 17.1, drawn as the published curve."""
    s = np.sqrt(ratio)
    c = (
        0.935 + 1.922 * s + 0.004 * ratio,
        0.537 - 3.708 * s + 0.040 * ratio,
        -2.538 + 3.438 * s - 0.012 * ratio,
        2.066 - 1.652 * s - 0.031 * ratio,
    )
    return float(np.polyval(c[::-1], SHARE))
