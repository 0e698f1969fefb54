"""A rigid caisson in an elastic half-space: Doherty, Houlsby, Deeks 2005, stiffness about the head.

A lid on the ground with a thin skirt below its rim, both rigid and bonded, and ground inside the skirt.
K_H and K_M, over GR and GR³, are the diagonal of the 2 × 2 stiffness (lateral, tilt).
"""

from __future__ import annotations

import csv
from pathlib import Path

from validation.half_space import buried_stiffness
from validation.suite import Curve

SLENDERNESS = {"05": 0.5, "10": 1.0, "20": 2.0}
"""Length over diameter, by the end of a key."""


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return the figures; keys are ``lateral_`` or ``tilt_`` and ten times length over diameter."""
    values = {}
    for key in keys:
        mode, _, length = key.partition("_")
        place = ("lateral", "tilt").index(mode)
        values[key] = float(buried_stiffness("caisson", 2 * SLENDERNESS[length])[place, place])
    return values


def _published() -> dict[float, tuple[float, float]]:
    with (Path(__file__).parent / "published.csv").open(encoding="utf-8", newline="") as file:
        value = {row["key"]: float(row["published"]) for row in csv.DictReader(file)}
    return {
        length: (value[f"lateral_{end}"], value[f"tilt_{end}"]) for end, length in SLENDERNESS.items()
    }


PUBLISHED = _published()
"""K_H/(GR) and K_M/(GR³) by length over diameter."""


def curve() -> Curve:
    """Return the stiffness in tilt against length over diameter."""
    lengths = (0.25, 0.5, 0.75, 1.0, 1.5, 2.0)
    return Curve(
        title="Rigid caisson in a half-space, tilted",
        x_label="length / diameter",
        y_label="K_M / (G R³)",
        published=[(length, tilt) for length, (_, tilt) in PUBLISHED.items()],
        computed=[(length, float(buried_stiffness("caisson", 2 * length)[1, 1])) for length in lengths],
        log=True,
    )
