"""Load: from the seated state along a path of loads, in steps, since friction depends on history."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stillroot.errors import NotConverged
from stillroot.mechanics.balance import imbalance
from stillroot.mechanics.contact import TOLERANCE, ContactState, Problem, follow
from stillroot.mechanics.fourier import Fourier
from stillroot.mechanics.resultant import UNIT_LOADS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stillroot.mechanics.resultant import Resultant
    from stillroot.mechanics.seat import Seated

STEPS = 2
"""Equal steps in which a load is applied."""
BALANCE = 1e-4
"""Largest accepted imbalance of the six components of force on the implant, relative to the load."""
LOOSE_BALANCE = 100.0
"""The same as a multiple of the tolerance, where that is set looser than its default."""


def load(
    seated: Seated,
    resultants: Sequence[Resultant],
    *,
    steps: int = STEPS,
    name: str = "load",
    tolerance: float = TOLERANCE,
) -> ContactState:
    """Load a seated implant along a path of resultants, each reached in equal steps.

    Where no resultant acts, the seated state is returned.

    Raises
    ------
    NotConverged
        The implant finds no equilibrium under the load: it slips out, turns or tips.
    """
    site = seated.site
    on_sections = np.stack([r.on_sections(site.solids.top_mm) for r in resultants])
    acting = [unit for unit, sizes in zip(UNIT_LOADS, on_sections.T, strict=True) if np.any(sizes)]
    around = any(unit.harmonic == 1 for unit in acting)
    fourier = Fourier(seated.highest if around else 0, twin=any(unit.family == 1 for unit in acting))
    start = seated.state.in_expansion(fourier)
    if not acting:
        return start
    path = []
    before = np.zeros((*fourier.shape, seated.layer.nodes_mm.shape[1], 3))
    for k, sizes in enumerate(on_sections):
        after = site.wall_load(fourier, sizes)
        for i in range(1, steps + 1):
            part = before + (after - before) * i / steps
            path.append(((k + i / steps) / len(resultants), part))
        before = after
    problem = Problem(
        series=site.series,
        layer=seated.layer,
        precondition=seated.precondition,
        scale_mm=max(float(np.linalg.norm(seated.precondition.solve(w))) for _, w in path),
        stage=name,
        tolerance=tolerance,
    )
    state = follow(problem, start, path)
    allowed = max(BALANCE, LOOSE_BALANCE * tolerance)
    largest = max(resultants, key=lambda r: float(np.linalg.norm(r.six)))
    left = imbalance(seated.layer, state, resultants[-1], against=largest)
    if left > allowed:
        text = (
            f"{name}: the forces on the implant are out of balance by {left:.0e} of the load (allowed: "
            f"{allowed:.0e}); a smaller element_mm may help"
        )
        raise NotConverged(text, stage=name, residual_history=state.residuals)
    return state
