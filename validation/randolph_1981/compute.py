"""Torsion of a rigid cylinder bonded into an elastic half-space: Randolph 1981.

The n = 0 twin family alone. Per length 4πGR² far from the ends; in all at least 16/3 GR³ + 4πGR²L, the
disc's and the wall's stiffness added.
"""

from __future__ import annotations

from validation.half_space import buried_torsion


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return the stiffness over GR² per length or over GR³ in all, at the keys' lengths in radii."""
    values = {}
    for key in keys:
        if key == "per_length":
            values[key] = (buried_torsion(6.0) - buried_torsion(4.0)) / 2
        else:
            values[key] = buried_torsion(float(key.removeprefix("total_")))
    return values
