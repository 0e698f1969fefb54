"""A pin that friction holds, pulled out: Kelly & Tyson 1965, constant friction where it has slipped.

Friction τ = µp per area of the slipped length l carries the tension σ: l = σ d/(4τ), from one end. Below
it the pin sticks. Bone is as good as rigid and the pin has no lateral contraction, so that µp stays what
it was.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from scipy.integrate import simpson

from stillroot.errors import NotConverged
from stillroot.mechanics.implant_motion import section_motion
from stillroot.mechanics.loading import load
from stillroot.mechanics.resultant import Resultant, place_of_unit
from validation.pulled_pin import ABUTMENT_MM, LENGTH, cuts, on_side, seated, tension
from validation.suite import Curve

if TYPE_CHECKING:
    from stillroot.mechanics.contact import ContactState

SOFT_CAPACITY_N = 169.163
"""f L with f = 2πa µp, p = δ/(t/E_layer + a/E) = 3.846 MPa."""
HARD_PER_MM_N = 31.4159
"""f with p = 10 MPa."""
RISE_ON_TOP = place_of_unit("top", "F_z")


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return lengths [mm], forces [N], movement [µm], work [N·mm]."""
    return {key: _FIGURES[key]() for key in keys}


def curve() -> Curve:
    """Return the tension in the pin of the hard layer against depth, pulled by f times 10 mm."""
    wall, state = seated("hard").layer, pulled("hard", 10 * HARD_PER_MM_N)
    return Curve(
        title="A pin held by friction, pulled so that 10 mm slip",
        x_label="depth (mm)",
        y_label="tension in the pin (N)",
        published=[(0.0, 10 * HARD_PER_MM_N), (10.0, 0.0), (LENGTH, 0.0)],
        computed=[(z, tension(wall, state, z)) for z in cuts(wall)[:-1:4]],
    )


@cache
def pulled(layer: str, *pulls_n: float) -> ContactState:
    """Return the state after a path of pulls."""
    path = [Resultant(axial_n=-pull, height_mm=ABUTMENT_MM) for pull in pulls_n]
    return load(seated(layer), path, steps=1)


def slipped_mm(layer: str, pull_n: float) -> float:
    """Return the length that slips, from its share of the side's area."""
    wall, state = seated(layer).layer, pulled(layer, pull_n)
    side = on_side(wall)
    return float(LENGTH * np.average(state.tractions.sliding[side, 0], weights=wall.weight_mm2[side]))


def rise_mm(layer: str, *pulls_n: float) -> float:
    """Return how far the top of the abutment has come out after a path of pulls."""
    it = seated(layer)
    change = pulled(layer, *pulls_n).w - it.state.w
    on_top = Resultant(axial_n=-pulls_n[-1], height_mm=ABUTMENT_MM).on_sections(ABUTMENT_MM)
    return float(section_motion(it.site, change, on_top)[RISE_ON_TOP])


def largest_pull_n() -> float:
    """Return the pull half-way between one that is held and one that is not, 0.5 % apart."""
    held, lost = 0.9 * SOFT_CAPACITY_N, 1.1 * SOFT_CAPACITY_N
    while lost > 1.005 * held:
        middle = (held + lost) / 2
        try:
            pulled("soft", middle)
            held = middle
        except NotConverged:
            lost = middle
    return (held + lost) / 2


def work_of_cycle(largest_n: float) -> float:
    """Return the work lost in a cycle of pull and push between ± a force, in 4 steps a way."""
    way = largest_n * np.linspace(1, -1, 5)
    path = (largest_n, *(float(pull) for pull in (*way[1:], *-way[1:])))
    place = np.array([rise_mm("hard", *path[: i + 1]) for i in range(len(path))])
    pull = np.array(path)
    return float(-simpson(place[:5], x=pull[:5]) - simpson(place[4:], x=pull[4:]))


def exponent() -> float:
    """Return the power of the force with which the work goes."""
    return float(np.log2(work_of_cycle(10 * HARD_PER_MM_N) / work_of_cycle(5 * HARD_PER_MM_N)))


_FIGURES = {
    "slip_growth": lambda: (
        slipped_mm("hard", 10 * HARD_PER_MM_N) - slipped_mm("hard", 5 * HARD_PER_MM_N)
    ),
    "slip_60": lambda: slipped_mm("soft", 0.6 * SOFT_CAPACITY_N),
    "slip_80": lambda: slipped_mm("soft", 0.8 * SOFT_CAPACITY_N),
    "slip_95": lambda: slipped_mm("soft", 0.95 * SOFT_CAPACITY_N),
    "rise_80": lambda: 1000 * rise_mm("soft", 0.8 * SOFT_CAPACITY_N),
    "pull_out": largest_pull_n,
    "work": lambda: work_of_cycle(10 * HARD_PER_MM_N),
    "exponent": exponent,
}
