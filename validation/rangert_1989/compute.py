"""Two implants and a cantilever: Rangert et al. 1989, P(1 + b/a) on the near, -P·b/a on the far one."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from stillroot.arch.bridge import CrossSection, beam_bridge, rigid_bridge
from stillroot.arch.plan import Plan, read_plan
from stillroot.arch.polyline import Polyline
from stillroot.arch.span import Ready, check_span
from validation.springs import TITANIUM, loaded, on_bridge, springs
from validation.suite import Curve

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

APART_MM, BEYOND_MM = 14.0, 9.0
PRESSED_N, BITTEN_N = 100.0, 50.0
"""On springs, on implants."""
FAR, NEAR = 0, 1
HINGE_DEG_PER_NCM = 10.0
"""A screw joint that yields so much takes no moment."""
TWO = read_plan(Path(__file__).parent / "two.toml")
READY = Ready()
"""Seats are made once."""


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return forces [N], positive pressing in."""
    return {key: _FIGURES[key]() for key in keys}


def curve() -> Curve:
    """Return what the near implant takes as the load moves out, joints rigid."""
    beyond = (0.0, 2.0, 4.0, 6.0, 8.0, 10.0, 12.0)
    taken = [float(on_seats(b, 0.0)[NEAR]) / BITTEN_N for b in beyond]
    return Curve(
        title="Two implants 14 mm apart, rigidly joined to a rigid bridge",
        x_label="length of the cantilever to the load (mm)",
        y_label="force on the near implant, over the load",
        published=[(b, 1 + b / APART_MM) for b in beyond],
        computed=list(zip(beyond, taken, strict=True)),
    )


@cache
def on_springs(kind: str) -> Floats:
    """Return the forces (2,) on springs of 800 and 1500 N/mm under a bridge, rigid or of beams."""
    heads = np.array([[0.0, 0, 0], [APART_MM, 0, 0]])
    tip = np.array([APART_MM + BEYOND_MM, 0, 0])
    line = Polyline(corners_mm=np.vstack([heads, tip]))
    section = CrossSection(width_mm=4.0, height_mm=4.0)
    if kind == "rigid":
        bridge = rigid_bridge(line)
    else:
        bridge = beam_bridge(line, section, TITANIUM, [*heads, tip])
    # Of the moments only that about the line is held: nothing else keeps the bridge from rolling.
    kinds = [springs(500.0, 500.0, k, 1e4, 0, 0) for k in (800.0, 1500.0)]
    return -loaded(bridge, on_bridge(bridge, heads, kinds), (tip, (0, 0, -PRESSED_N))).forces[:, 2]


@cache
def on_seats(beyond_mm: float, joint_deg_per_ncm: float) -> Floats:
    """Return the axial forces (2,) on implants with friction."""
    plan = TWO.to_dict()
    plan["bridge"]["joint_tilt_deg_per_ncm"] = joint_deg_per_ncm
    plan["loads"][0]["forces"][0]["at_mm"][0] = APART_MM + beyond_mm
    answer = check_span(Plan.from_dict(plan), ready=READY, quick=True)
    return np.array([implant.axial_n for implant in answer.loads[0].implants])


_FIGURES = {
    "rigid_near": lambda: float(on_springs("rigid")[NEAR]),
    "rigid_far": lambda: float(on_springs("rigid")[FAR]),
    "beam_near": lambda: float(on_springs("beam")[NEAR]),
    "beam_far": lambda: float(on_springs("beam")[FAR]),
    "seat_near_hinged": lambda: float(on_seats(BEYOND_MM, HINGE_DEG_PER_NCM)[NEAR]),
    "seat_far_hinged": lambda: float(on_seats(BEYOND_MM, HINGE_DEG_PER_NCM)[FAR]),
    "seat_near_joined": lambda: float(on_seats(BEYOND_MM, 0.0)[NEAR]),
}
