"""Insertion torque in four types of bone, against a clinical series (J Oral Implantol 2014 40:259)."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from stillroot.answers.chain import Chain
from validation.placed import Law, case_of

HERE = Path(__file__).parent


def compute(keys: frozenset[str], law: Law = "yields") -> dict[str, float]:
    """Return mean torques [N·cm] of the pairs of types, and their ratio."""
    return {key: _FIGURES[key](law) for key in keys}


@cache
def insertion_ncm(kind: int, law: Law) -> float:
    torque = Chain().placed(case_of(HERE / f"type_{kind}.toml", law)).torque
    assert torque is not None
    return torque.insertion_ncm


def mean(law: Law, *kinds: int) -> float:
    """Return the mean over types, each as often as the others."""
    return sum(insertion_ncm(kind, law) for kind in kinds) / len(kinds)


_FIGURES = {
    "types_1_2": lambda law: mean(law, 1, 2),
    "types_3_4": lambda law: mean(law, 3, 4),
    "ratio": lambda law: mean(law, 1, 2) / mean(law, 3, 4),
}
