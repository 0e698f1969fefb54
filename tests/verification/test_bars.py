"""Round bars clamped at one end, where the elements contain the exact field.

The theories of Saint-Venant and of Timoshenko, with Cowper's shear coefficient, are compared in
validation/saint_venant and validation/cowper_1966.
"""

from __future__ import annotations

import numpy as np
import pytest

from validation.bars import LENGTH, MODULUS, RADIUS, conjugate, under

AREA, INERTIA = np.pi * RADIUS**2, np.pi * RADIUS**4 / 4


def test_pulled_bar_without_poisson() -> None:
    """PL/(EA), exact to rounding, since without Poisson effect the clamp restrains no contraction."""
    rise = conjugate("axial", under("axial", 0.0))
    assert rise == pytest.approx(LENGTH / (MODULUS * AREA), rel=1e-9)


def test_bent_bar_without_poisson() -> None:
    """ML/(EI), the mean rotation of the end; the field is quadratic and so exact."""
    turn = conjugate("moment", under("moment", 0.0))
    assert turn == pytest.approx(LENGTH / (MODULUS * INERTIA), rel=1e-9)
