"""Motion with bone that yields over that with linear bone: Berahmani et al. 2017, on another device."""

from __future__ import annotations

from functools import cache

import numpy as np

from validation.placed import Law, case_of, placed
from validation.suite import ROOT

HARD = {"layer_thickness_mm": 0.0}
COARSE = {"element_mm": 0.8, "harmonics": 4}
LOAD = "habitual chewing"


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return ratios of motion at the interface: ``mean`` over the wall, ``peak``."""
    return {key: motion_um("yields")[key] / motion_um("linear")[key] for key in keys}


@cache
def motion_um(law: Law) -> dict[str, float]:
    """Return the mean over the wall and the peak [µm]."""
    path = ROOT / "docs" / "cases" / "soft_posterior.toml"
    case = case_of(path, law, interface=HARD, numerics=COARSE)
    motion = placed(case, LOAD)[0].motion
    by_angle = motion.total_um[motion.held].mean(axis=1)
    mean = np.average(by_angle, weights=motion.weight_mm2[motion.held])
    return {"mean": float(mean), "peak": motion.peak.total_um}
