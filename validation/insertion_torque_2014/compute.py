"""Insertion torque in four types of bone, against a clinical series (J Oral Implantol 2014 40:259)."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from stillroot.answers.chain import Chain
from stillroot.inputs.case import read_case

HERE = Path(__file__).parent


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return mean torques [N·cm] of the pairs of types, and their ratio."""
    return {key: _FIGURES[key]() for key in keys}


@cache
def insertion_ncm(kind: int) -> float:
    torque = Chain().placed(read_case(HERE / f"type_{kind}.toml")).torque
    assert torque is not None
    return torque.insertion_ncm


def mean(*kinds: int) -> float:
    """Return the mean over types, each as often as the others."""
    return sum(insertion_ncm(kind) for kind in kinds) / len(kinds)


_FIGURES = {
    "types_1_2": lambda: mean(1, 2),
    "types_3_4": lambda: mean(3, 4),
    "ratio": lambda: mean(1, 2) / mean(3, 4),
}
