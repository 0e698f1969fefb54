"""The balance of forces on the bone, summed from the tractions alone."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from stillroot.arrays import Floats
    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.interface import Layer
    from stillroot.mechanics.resultant import Resultant


def resultant_of_tractions(layer: Layer, state: ContactState) -> Floats:
    """Return the resultant on the bone (6,): F_x, F_y, F_z [N], M_x, M_y, M_z about the crest [N·mm].

    Summed from the tractions of the law, independently of the stiffness that they were solved with.
    """
    fourier = state.fourier
    f_r, f_t, f_z = np.moveaxis(layer.nodal_forces(state.tractions.traction), -1, 0)
    angles, (f_r, f_t, f_z) = _whole_circle(fourier.angles, np.stack([f_r, f_t, f_z]), fourier.twin)
    weight = 2 * np.pi / len(angles)
    r, z = layer.nodes_mm[:, :, None]
    cosine, sine = np.cos(angles), np.sin(angles)
    f_x, f_y = f_r * cosine - f_t * sine, f_r * sine + f_t * cosine
    x, y = r * cosine, r * sine
    parts = (f_x, f_y, f_z, y * f_z - z * f_y, z * f_x - x * f_z, x * f_y - y * f_x)
    return weight * np.array([np.sum(part) for part in parts])


def imbalance(
    layer: Layer, state: ContactState, resultant: Resultant, *, against: Resultant | None = None
) -> float:
    """Return the largest of the six components of (forces on the bone - load), relative to the load.

    Forces are divided by the largest component of the load (or of the load `against`), moments by that
    times the depth of the wall. Where no load acts, 1 N takes its place.
    """
    depth = float(np.max(-layer.nodes_mm[1]))
    scale = np.array([1.0] * 3 + [depth] * 3)
    left = resultant_of_tractions(layer, state) - resultant.six
    largest = float(np.max(np.abs((against or resultant).six) / scale))
    return float(np.max(np.abs(left) / scale)) / (largest or 1.0)


def _whole_circle(angles: Floats, parts: Floats, twin: bool) -> tuple[Floats, Floats]:
    """Return angles (a,) and parts (3, m, a), r θ z, on the whole circle.

    Without the twin family the θ part is odd and the others are even. A single angle represents an
    axisymmetric field and is repeated.
    """
    if len(angles) == 1:
        count = 8
        return np.arange(count) * 2 * np.pi / count, np.repeat(parts, count, axis=2)
    if twin:
        return angles, parts
    mirrored = parts[:, :, ::-1] * np.array([1.0, -1.0, 1.0])[:, None, None]
    return (
        np.concatenate([angles, 2 * np.pi - angles[::-1]]),
        np.concatenate([parts, mirrored], axis=2),
    )
