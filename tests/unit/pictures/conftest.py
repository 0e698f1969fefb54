"""Answers and studies whose pictures several tests look at, each solved once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from stillroot import bounds, compare, spread, sweep
from stillroot.pictures.study_figures import (
    bounds_pictures,
    compare_pictures,
    spread_pictures,
    sweep_pictures,
)
from tests.unit.pictures._drawn import GRID, HERE, PUSH, SPREAD, answered, field_of, invented, without

if TYPE_CHECKING:
    from stillroot.answers.result import CheckResult
    from stillroot.mechanics.fields import Displacement
    from stillroot.pictures.paper import Picture
    from stillroot.studies.bounds import Bounds
    from stillroot.studies.comparison import Comparison
    from stillroot.studies.spreads import Spread
    from stillroot.studies.sweeps import Sweep


@pytest.fixture(scope="session")
def result() -> CheckResult:
    return answered(PUSH)


@pytest.fixture(scope="session")
def field(result: CheckResult) -> Displacement:
    return field_of(result)


@pytest.fixture(scope="session")
def bonded() -> CheckResult:
    return answered(PUSH, interface={"kind": "bonded"})


@pytest.fixture(scope="session")
def one() -> Sweep:
    return sweep(invented(), {"engagement_mm": [8.0, 3.0, 6.0]}, HERE)


@pytest.fixture(scope="session")
def two() -> Sweep:
    return sweep(invented(), GRID, HERE)


@pytest.fixture(scope="session")
def sampled() -> Spread:
    return spread(invented(spread=SPREAD), HERE, samples=8)


@pytest.fixture(scope="session")
def held() -> Bounds:
    return bounds(invented(), 60.0, HERE, asked=("engagement", "bone"), with_spread=False)


@pytest.fixture(scope="session")
def compared() -> Comparison:
    cases = {
        "sure": invented(spread=SPREAD),
        "$ partly \\frac held": invented(socket={"holds_mm": [[4.0, 8.0]]}, spread=SPREAD),
        "long and dense": invented(
            implant={"diameter_mm": 4.1, "length_mm": 12.0},
            bone={
                "cortical_thickness_mm": 2.0,
                "law": "linear",
                "trabecular_modulus_mpa": 600.0,
                "radius_mm": 8.0,
            },
            loads=[{"name": "pull", "axial_n": -20.0, "torque_ncm": 2.0}],
            spread=SPREAD,
        ),
    }
    return compare(cases, HERE, samples=8)


@pytest.fixture(scope="session")
def every(
    one: Sweep, two: Sweep, sampled: Spread, held: Bounds, compared: Comparison
) -> dict[str, Picture]:
    """Return all pictures, some of them of studies in which cases fail."""
    found = {
        "one": sweep_pictures(one),
        "one, failures": sweep_pictures(without(one, 1)),
        "two": sweep_pictures(two),
        "two, failures": sweep_pictures(without(two, 0, 4, 5)),
        "spread": spread_pictures(sampled),
        "spread, failures": spread_pictures(without(sampled, 0, 1, 2)),
        "bounds": bounds_pictures(held),
        "compare": compare_pictures(compared),
    }
    return {f"{name}: {p.name}": p for name, drawn in found.items() for p in drawn}
