"""Equal implants under a rigid bridge: Skalak 1983, F_i = P/n + P·y·y_i/Σy² + P·x·x_i/Σx²."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from stillroot.answers.levels import QUICK
from stillroot.arch.bridge import rigid_bridge
from stillroot.arch.plan import Plan, read_plan
from stillroot.arch.polyline import Polyline
from stillroot.arch.span import Ready, check_span
from stillroot.mechanics.head import RIGID_JOINT
from validation.springs import loaded, on_bridge, springs
from validation.suite import Curve

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

ARCH_MM = np.array([[-20.0, -15, 0], [-12, 3, 0], [-4, 9, 0], [4, 9, 0], [12, 3, 0], [20, -15, 0]])
PRESSED_N = 120.0
LEFT_REAR = 3
HINGE_DEG_PER_NCM = 10.0
"""A screw joint that yields so much takes no moment."""
FOUR = read_plan(Path(__file__).parent / "four.toml")
READY = Ready()
"""Seats are made once."""


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return forces [N] and a ratio."""
    return {key: _FIGURES[key]() for key in keys}


def curve() -> Curve:
    """Return what the left rear implant takes of a load that moves along the bridge."""
    places = [FOUR.line.points(np.array([at]))[0] for at in np.linspace(0, FOUR.line.length_mm, 9)]
    plan = FOUR.to_dict()
    plan["loads"] = [
        {"name": f"{k}", "forces": [{"at_mm": list(at), "force_n": [0, 0, -PRESSED_N]}]}
        for k, at in enumerate(places)
    ]
    answer = check_span(Plan.from_dict(plan), ready=READY, quick=True)
    x = [float(at[0]) for at in places]
    taken = [load.implants[LEFT_REAR].axial_n for load in answer.loads]
    line = [float(rule(at)[LEFT_REAR]) for at in places]
    return Curve(
        title="Four implants, rigidly joined to a rigid bridge, 120 N",
        x_label="place of the load, from right to left (mm)",
        y_label="force on the left rear implant (N)",
        published=list(zip(x, line, strict=True)),
        computed=list(zip(x, taken, strict=True)),
    )


def rule(at_mm: Floats, tilting_mm2: float = 0.0) -> Floats:
    """Return Skalak's shares (4,) of the load on the four, each held against tilting by so much."""
    places = np.array([implant.at_mm for implant in FOUR.implants], dtype=float)
    offset, at = (places - places.mean(axis=0))[:, :2], (at_mm - places.mean(axis=0))[:2]
    held = np.sum(offset**2, axis=0) + len(places) * tilting_mm2
    return np.asarray(PRESSED_N * (1 / len(places) + (offset / held) @ at))


@cache
def on_springs(at_mm: tuple[float, ...], force_n: tuple[float, ...]) -> Floats:
    """Return the forces (6, 3) on six equal springs under a rigid bridge."""
    bridge = rigid_bridge(Polyline(corners_mm=ARCH_MM))
    attached = on_bridge(bridge, ARCH_MM, [springs(700.0, 700.0, 900.0, 0, 0, 0)] * len(ARCH_MM))
    return loaded(bridge, attached, (at_mm, force_n)).forces[:, :3]


@cache
def on_seats(load: str, joint_deg_per_ncm: float) -> Floats:
    """Return the axial forces (4,) on implants with friction."""
    plan = FOUR.to_dict()
    plan["bridge"]["joint_tilt_deg_per_ncm"] = joint_deg_per_ncm
    answer = check_span(Plan.from_dict(plan), ready=READY, quick=True)
    implants = next(each.implants for each in answer.loads if each.name == load)
    return np.array([implant.axial_n for implant in implants])


def against_the_rule_with_tilting() -> float:
    """Return the force on the left rear implant over the rule's, the seats' own hold added."""
    taken = on_seats("left rear", 0.0)[LEFT_REAR]
    case = FOUR.case_of(FOUR.implants[LEFT_REAR])
    head = READY.head(READY.of(case, (QUICK,))[QUICK].seated, RIGID_JOINT)
    yields = np.linalg.inv(head.first_tangent)
    tilting_mm2 = yields[2, 2] / yields[4, 4]
    return float(taken / rule(np.array(FOUR.implants[LEFT_REAR].at_mm), tilting_mm2)[LEFT_REAR])


PRESS = (17.0, -11.0, 0.0), (0.0, 0.0, -PRESSED_N)
PUSH = (20.0, -15.0, 0.0), (30.0, 50.0, 0.0)
_FIGURES = {
    "spring_pressed": lambda: -float(on_springs(*PRESS)[5, 2]),
    "spring_lifted": lambda: -float(on_springs(*PRESS)[1, 2]),
    "spring_pushed": lambda: float(np.linalg.norm(on_springs(*PUSH)[5])),
    "seat_centroid": lambda: float(on_seats("centroid", 0.0)[LEFT_REAR]),
    "seat_hinged": lambda: float(on_seats("left rear", HINGE_DEG_PER_NCM)[LEFT_REAR]),
    "seat_joined": lambda: float(on_seats("left rear", 0.0)[LEFT_REAR]),
    "seat_tilting": against_the_rule_with_tilting,
}
