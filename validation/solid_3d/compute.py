"""stillroot's answers for the two cases that the solid model solves, with its default numerics."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from stillroot.answers.chain import Chain, loads_of, site_of
from stillroot.mechanics.motion import MAP_ANGLES
from validation.solid_3d.solid import (
    BODIES,
    CASES,
    DIRECTIONS,
    NEAR_MM,
    PROFILE,
    PROFILE_OF,
    Stopwatch,
    case_of,
    solved,
)
from validation.suite import Curve

if TYPE_CHECKING:
    from stillroot.inputs.case import Case
    from stillroot.mechanics.motion import Micromotion
    from stillroot.mechanics.site import Site

RERUN = "rerun_"


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return µm, torque in N·cm; keys that begin with `rerun_` solve the solid's coarse mesh again."""
    values: dict[str, float] = {}
    for kind in CASES:
        if any(key.startswith(kind) for key in keys):
            values |= _answers(kind)[0]
    for body, kinds in BODIES.items():
        if any(key.startswith(f"{RERUN}{kind}_") for key in keys for kind in kinds):
            figures, _, _ = solved(body, "coarse")
            values |= {RERUN + key: value for key, value in figures.items()}
    return {key: values[key] for key in keys}


def curve() -> Curve:
    """Return interface motion along the wall, on the side that the lateral load points to."""
    kind, _, load_name = PROFILE_OF.partition("_")
    motion = _answers(kind)[1][load_name]
    side = motion.radius_mm > motion.radius_mm.max() - 1e-9
    depth, total = motion.depth_mm[side], motion.total_um[side, np.argmin(np.abs(MAP_ANGLES))]
    solid = np.loadtxt(PROFILE, delimiter=",", skiprows=1)
    return Curve(
        title="Smooth cylinder, lateral load: motion along the side it points to",
        x_label="depth below the crest [mm]",
        y_label="interface motion [µm]",
        published=[tuple(pair) for pair in solid],
        computed=sorted(zip(depth.tolist(), total.tolist(), strict=True)),
    )


def timed(body: str) -> tuple[dict[str, float], dict[str, float]]:
    """Return all figures of a body, and what they cost."""
    watch = Stopwatch()
    figures: dict[str, float] = {}
    for kind in BODIES[body]:
        figures |= _answers(kind)[0]
    cost = watch.cost()
    unknowns = _unknowns(site_of(case_of(BODIES[body][0])))
    return figures, {"unknowns": unknowns, **cost}


def _rim_um(case: Case, motion: Micromotion) -> float:
    """Return the largest motion at the tip's edge."""
    implant = case.implant
    off = np.hypot(motion.radius_mm - implant.diameter_mm / 2, motion.depth_mm - implant.length_mm)
    return float(np.max(motion.total_um[off < NEAR_MM]))


def _unknowns(site: Site) -> int:
    nodes = sum(body.nodes_mm.shape[1] for body in (site.pair.implant, site.pair.bone))
    return 3 * nodes * (site.highest + 1)


@cache
def _answers(kind: str) -> tuple[dict[str, float], dict[str, Micromotion]]:
    case = case_of(kind)
    placed = Chain().placed(case)
    figures: dict[str, float] = {}
    motions = {}
    torque = placed.torque
    if torque:
        figures[f"{kind}_seat_torque"] = torque.insertion_ncm
    for item, (name, resultant) in zip(case.loads, loads_of(case), strict=True):
        found = placed.read(placed.loaded(name, resultant), resultant)
        motion, head = found.motion, found.head
        moved = {0: head.lateral_um, 2: head.axial_um}
        figures |= {f"{kind}_{item.name}_{key}": moved[k] for key, k in DIRECTIONS[item.name].items()}
        if case.bone.law == "yields":
            figures[f"{kind}_{item.name}_rim"] = _rim_um(case, motion)
        figures |= {
            f"{kind}_{item.name}_peak": motion.peak.total_um,
            f"{kind}_{item.name}_mean": motion.mean_um,
            f"{kind}_{item.name}_p95": motion.percentile_um(95),
        }
        motions[item.name] = motion
    return figures, motions
