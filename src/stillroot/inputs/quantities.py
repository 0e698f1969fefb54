"""Ranges of the numbers in the input files, and their types."""

from __future__ import annotations

from typing import Annotated

from pydantic import BeforeValidator, Field

from stillroot.inputs.section import refuse

LEAST_LENGTH_MM = 0.05
"""Smallest abutment, gap or thread depth: what a mesh of the default size can resolve."""
LARGEST_LENGTH_MM = 500.0
LEAST_MODULUS_MPA, LARGEST_MODULUS_MPA = 0.01, 1e6
LEAST_LOAD, LARGEST_LOAD = 1e-3, 1e4
"""Bounds of a force [N] or torque [N·cm]: below, rounding dominates; above, no jaw bites."""
MOST_PAIRS, MOST_LOADS = 1000, 100
"""Longest lists accepted: far beyond any use, and short enough to be solved."""


def _as_pairs(value: object) -> object:
    """Turn [[a, b], …] into tuples; the numbers themselves are validated afterwards."""
    if not isinstance(value, list | tuple) or not all(
        isinstance(pair, list | tuple) and len(pair) == 2 for pair in value
    ):
        text = "must be a list of pairs of numbers, such as [[0.0, 4.0], [6.0, 10.0]]"
        refuse(text)
    return tuple(tuple(pair) for pair in value)


def _as_profile(value: object) -> object:
    """Turn a single modulus into a profile of one depth; validate a list as pairs."""
    return _as_pairs(value) if isinstance(value, list | tuple) else ((0.0, value),)


Pair = tuple[float, float]
Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
LeastLength = Annotated[float, Field(ge=LEAST_LENGTH_MM)]
Length = Annotated[float, Field(gt=0, le=LARGEST_LENGTH_MM)]
Modulus = Annotated[float, Field(ge=LEAST_MODULUS_MPA, le=LARGEST_MODULUS_MPA)]
Poisson = Annotated[float, Field(ge=0, le=0.495)]
Pairs = Annotated[tuple[Pair, ...], Field(max_length=MOST_PAIRS), BeforeValidator(_as_pairs)]
Profile = Annotated[
    tuple[tuple[NotNegative, Modulus], ...],
    Field(max_length=MOST_PAIRS),
    BeforeValidator(_as_profile),
]
