"""How an implant moves in its six directions, from one seated state.

The implant's motion is the mean motion of its section at the crest, transferred to the reference point
as that of a rigid body; loads are transferred the other way. The two are conjugate, so the 6 x 6 matrix
is symmetric and transforms from one reference point to another by

    K' = Hᵀ K H,   H the rigid-body transfer                                              (15)

*Tangent*: the seated implant under a vanishing load, with every closed point sticking; the matrix is
this one, and it takes a gap of zero as closed whichever way the load acts. *Initial* and *secant*
stiffness of a single direction come from the full contact solve, at 1 % of the reference load and at the
reference load. They include gaps that open and points that slip, so pressing in differs from pulling
out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import scipy.linalg as la
from scipy.optimize import brentq

from stillroot.errors import NotConverged
from stillroot.mechanics.implant_motion import section_motion
from stillroot.mechanics.interface import Tangent, averaged_stiffness
from stillroot.mechanics.loading import STEPS, load, loaded
from stillroot.mechanics.motion import HeadMovement, Micromotion, head_movement, micromotion
from stillroot.mechanics.resultant import COMPONENTS, UNIT_LOADS, Resultant, place_of_unit

if TYPE_CHECKING:
    from collections.abc import Callable

    from stillroot.arrays import Bools, Floats
    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.seat import Seated

SMALL = 0.01
"""Share of the reference load at which the initial stiffness is read."""
ON_THE_WAY = (SMALL, 0.1, 0.2, 0.35, 0.5, 0.7, 1.0, 1.4, 1.9, 2.6, 3.5, 4.8, 6.5, 8.0, 10.0)
"""Shares of the reference load at which a path stops to see how much of the surface slides."""
ROUGH = 1e-6
"""Tolerance on that path."""
FREE_SHARE = 1e-6
"""A tangent stiffness below this share of the glued implant's counts as zero; a far smaller one is
kept in the solve, so that it stays regular."""
LITTLE, MUCH, GIVES_WAY = "moves little", "moves much", "gives way"
TOUCHING_MM = 1e-9
"""An overlap no further than this below zero is closed."""


@dataclass(frozen=True, kw_only=True)
class ReferenceLoads:
    """Loads at which the six directions are compared.

    50 N, and 10 N·cm about the axis: assumptions. 170 N·mm of tilt: mean of the largest bending
    moments in chewing (Richter 1998, Int J Oral Maxillofac Implants 13:232-244).
    """

    force_n: float = 50.0
    tilt_nmm: float = 170.0
    torque_nmm: float = 100.0


@dataclass(frozen=True, kw_only=True)
class Direction:
    """How the implant moves in one direction.

    Stiffnesses in `unit` (N/mm or N·mm/rad): `stiffness` at 1 % of the reference load, 0 where there is
    none; `secant_stiffness` at the reference load, None where the implant gives way before it. `state`:
    `LITTLE` where peak micromotion at the reference load lies below the first band, `MUCH` above it,
    `GIVES_WAY` where there is no equilibrium, or where the peak is above that band at 1 % of the load
    already.
    """

    name: str
    load: float
    load_unit: str
    unit: str
    stiffness: float
    secant_stiffness: float | None
    micromotion: Micromotion | None
    head: HeadMovement | None
    state: str


@dataclass(frozen=True, kw_only=True)
class SixDirections:
    """The seated implant as a body with six degrees of freedom.

    `matrix` (6, 6): tangent stiffness F_x, F_y, F_z, M_x, M_y, M_z against u_x, u_y, u_z, φ_x, φ_y, φ_z
    at `height_mm` above the crest on the axis, N, mm, rad. `centre_of_rotation_mm`: the z at which the
    axis does not move under a small lateral load at the reference point, None where it only shifts.
    `sliding_lateral_n`, `sliding_axial_n`: the load at which a third of the held surface slides, None
    where no load up to ten times the reference makes it slide.
    """

    height_mm: float
    matrix: Floats
    directions: tuple[Direction, ...]
    centre_of_rotation_mm: float | None
    sliding_lateral_n: float | None
    sliding_axial_n: float | None


REFERENCE = ReferenceLoads()


def six_directions(
    seated: Seated,
    *,
    little_um: float,
    steps: int = STEPS,
    height_mm: float = 0.0,
    reference: ReferenceLoads = REFERENCE,
    progress: Callable[[str], None] = lambda _: None,
) -> SixDirections:
    """Return how a seated implant moves in all six directions.

    Up to `little_um` at the reference load it moves `LITTLE`; loads are applied in `steps`.
    """
    force, tilt, turn = reference.force_n, reference.tilt_nmm, reference.torque_nmm
    lateral = Resultant(lateral_n=force, height_mm=height_mm, at_crest=True)
    rows = {
        "lateral x": (lateral, force),
        "lateral y": (lateral, force),
        "axial in": (Resultant(axial_n=force, height_mm=height_mm, at_crest=True), force),
        "axial out": (Resultant(axial_n=-force, height_mm=height_mm, at_crest=True), force),
        "tilt about x": (Resultant(moment_nmm=tilt, height_mm=height_mm, at_crest=True), tilt),
        "tilt about y": (Resultant(moment_nmm=tilt, height_mm=height_mm, at_crest=True), tilt),
        "rotation about the axis": (
            Resultant(torque_nmm=turn, height_mm=height_mm, at_crest=True),
            turn,
        ),
    }
    directions: list[Direction] = []
    done: dict[Resultant, Direction] = {}
    for name, (resultant, size) in rows.items():
        progress(name)
        if resultant not in done:  # in an axisymmetric site x and y are alike
            done[resultant] = _direction(seated, name, resultant, size, little_um, steps)
        directions.append(replace(done[resultant], name=name))
    matrix = tangent_matrix(seated, height_mm)
    progress("where a third of the surface slides")
    return SixDirections(
        height_mm=height_mm,
        matrix=matrix,
        directions=tuple(directions),
        centre_of_rotation_mm=centre_of_rotation_mm(matrix, height_mm),
        sliding_lateral_n=load_that_slides(seated, lateral),
        sliding_axial_n=load_that_slides(seated, rows["axial in"][0]),
    )


def tangent_matrix(seated: Seated, height_mm: float) -> Floats:
    """Return the tangent stiffness (6, 6) of the seated implant at a height above the crest.

    The order is F_x, F_y, F_z, M_x, M_y, M_z [N, N·mm] against displacements [mm] and rotations [rad].
    Directions without any resistance have zero rows and columns.
    """
    flexibility, free = section_flexibility(seated)
    k = la.inv(flexibility)
    k[free] = k[:, free] = 0.0
    return transferred(k, height_mm)


def transferred(matrix: Floats, rise_mm: float) -> Floats:
    """Return a 6 x 6 stiffness at a reference point `rise_mm` higher: equation (15).

    A rotation φ_y at the new point moves the old one, which lies lower, by -φ_y · rise along x.
    """
    h = np.eye(6)
    h[0, 4], h[1, 3] = -rise_mm, rise_mm
    return h.T @ matrix @ h  # (15)


def centre_of_rotation_mm(matrix: Floats, height_mm: float) -> float | None:
    """Return the z at which the axis does not move under a lateral load at the reference point."""
    bend = matrix[np.ix_([0, 4], [0, 4])]
    if not np.all(np.diag(bend)):
        return None
    u, tilt = la.solve(bend, np.array([1.0, 0.0]))
    if abs(tilt) < 1e-12 * abs(u):
        return None
    return float(height_mm - u / tilt)


def load_that_slides(seated: Seated, resultant: Resultant) -> float | None:
    """Return the load [N] along `resultant` at which a third of the held surface slides.

    A point counts as sliding once it has reached the limit of friction or opened. 0 where a third does
    so at 1 % of the given load already, None where no load up to ten times the given one makes it; the
    load at which the implant gives way, where that comes first.
    """
    size = max(abs(resultant.lateral_n), abs(resultant.axial_n))
    if not np.any(seated.layer.one_sided):
        return None
    if seated.site.bone is not None:
        return _slides_on_the_way(seated, resultant, size)

    def excess(factor: float) -> float:
        try:
            state = load(seated, [resultant.scaled(factor)], steps=1)
        except NotConverged:
            return 2 / 3
        return _sliding_share(seated, state) - 1 / 3

    low, high = SMALL, 10.0
    if excess(low) >= 0:
        return 0.0
    if excess(high) < 0:
        return None
    return float(
        size * np.exp(brentq(lambda x: excess(np.exp(x)), np.log(low), np.log(high), xtol=0.02))
    )


def _slides_on_the_way(seated: Seated, resultant: Resultant, size: float) -> float | None:
    """Return `load_that_slides` in bone that yields, read off one path: each load costs more there.

    Between the last two loads of the path the share grows linearly with the logarithm of the load.
    """

    def slides(state: ContactState, _: Resultant) -> bool:
        return _sliding_share(seated, state) >= 1 / 3

    path = [resultant.scaled(factor) for factor in ON_THE_WAY]
    loading = loaded(seated, path, steps=1, tolerance=ROUGH, until=slides)
    _, *after = loading.along(ON_THE_WAY)
    factors = [factor for factor, _ in after]
    shares = [_sliding_share(seated, state) for _, state in after]
    if shares[0] >= 1 / 3:
        return 0.0
    if shares[-1] < 1 / 3:
        return None if loading.gives_way_at is None else float(size * factors[-1])
    return float(size * np.exp(np.interp(1 / 3, shares[-2:], np.log(factors[-2:]))))


def _sliding_share(seated: Seated, state: ContactState) -> float:
    layer = seated.layer
    area = np.where(layer.held, layer.weight_mm2, 0.0)
    loose = state.tractions.sliding | ~state.tractions.closed
    return float(np.sum(area * loose.mean(axis=1)) / np.sum(area))


def _direction(
    seated: Seated, name: str, resultant: Resultant, size: float, little_um: float, steps: int
) -> Direction:
    turning = bool(resultant.moment_nmm or resultant.torque_nmm)
    initial = _loaded(seated, resultant.scaled(SMALL), name, steps)
    full = None if initial is None else _loaded(seated, resultant, name, steps)
    stiffness = secant = None
    if initial is not None:
        stiffness = SMALL * size / _along(seated, initial, resultant.scaled(SMALL))
    if full is not None:
        secant = size / _along(seated, full, resultant)
    motion = None if full is None else micromotion(seated, full)
    if initial is None or motion is None or micromotion(seated, initial).peak.total_um > little_um:
        state = GIVES_WAY
    else:
        state = MUCH if motion.peak.total_um > little_um else LITTLE
    return Direction(
        name=name,
        load=size,
        load_unit="N·mm" if turning else "N",
        unit="N·mm/rad" if turning else "N/mm",
        stiffness=stiffness or 0.0,
        secant_stiffness=secant,
        micromotion=motion,
        head=None if full is None else head_movement(seated, full, resultant),
        state=state,
    )


def _loaded(seated: Seated, resultant: Resultant, name: str, steps: int) -> ContactState | None:
    try:
        return load(seated, [resultant], name=name, steps=steps)
    except NotConverged:
        return None


def _along(seated: Seated, loaded: ContactState, resultant: Resultant) -> float:
    """Return the motion [mm or rad] of the reference point along a load of one component."""
    on_sections = resultant.on_sections(seated.site.solids.top_mm)
    change = loaded.elastic_w - loaded.fourier.embedded(seated.state.elastic_w)
    work = float(on_sections @ section_motion(seated.site, change, on_sections))
    return work / _size(resultant)


def _size(resultant: Resultant) -> float:
    r = resultant
    return max(abs(r.lateral_n), abs(r.moment_nmm), abs(r.axial_n), abs(r.torque_nmm))


def section_flexibility(seated: Seated) -> tuple[Floats, Bools]:
    """Return motion per load at the crest (6, 6), `COMPONENTS` of each; and which are free.

    The seated state is axisymmetric, so harmonics do not couple.
    """
    layer = seated.layer
    k_n, k_t = layer.normal_stiffness, layer.shear_stiffness
    overlap = layer.local(seated.state.fourier.values(seated.state.w))[0, :, 0] + layer.interference_mm
    closed = (overlap >= -TOUCHING_MM) | ~layer.one_sided
    # A point that touches without pressure has no friction.
    sticks = ((overlap > TOUCHING_MM) & (layer.friction > 0)) | ~layer.one_sided
    held = _flexibility_with(seated, np.where(closed, k_n, 0.0), np.where(sticks, k_t, 0.0))
    glued = _flexibility_with(seated, k_n, k_t)
    return held, np.diag(glued) < FREE_SHARE * np.diag(held)


def _flexibility_with(seated: Seated, normal: Floats, shear: Floats) -> Floats:
    """Return the linear flexibility (6, 6) for point stiffnesses (p,) [N/mm³] of the layer."""
    site, layer = seated.site, seated.layer
    nothing = np.zeros_like(shear)
    tangent = Tangent(
        normal=normal[:, None],
        coupling=np.zeros((2, len(normal), 1)),
        shear=np.array([[shear, nothing], [nothing, shear]])[..., None],
    )
    blocks = averaged_stiffness(layer, tangent, least=1e-5 * FREE_SHARE)
    factors = [la.cho_factor(site.series.with_layer(n, blocks)) for n in (0, 1)]
    at_crest = [place_of_unit("crest", component) for component in COMPONENTS]
    columns = []
    for k in at_crest:
        family, n = UNIT_LOADS[k].family, UNIT_LOADS[k].harmonic
        e = site.series.expand[n]
        change = np.zeros((2, 2, *site.wall_loads.shape[1:]))
        w = e @ la.cho_solve(factors[n], e.T @ site.wall_loads[k].ravel())
        change[family, n] = w.reshape(-1, 3)
        columns.append(section_motion(site, change, np.eye(len(UNIT_LOADS))[k])[at_crest])
    return np.stack(columns, axis=1)
