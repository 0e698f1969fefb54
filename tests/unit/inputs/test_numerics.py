"""Bands of micromotion rise, and numerics stay in their ranges."""

from __future__ import annotations

from typing import Any

import pytest

from tests.unit.inputs._smallest import assert_refused


@pytest.mark.parametrize(
    ("changes", "place", "said"),
    [
        ({"threshold__bands_um": [100, 50]}, "threshold.bands_um = [100, 50]", "must rise"),
        ({"threshold__bands_um": []}, "threshold.bands_um = []", "at least 1"),
        ({"threshold__bands_um": [0, 50]}, "threshold.bands_um[1] = 0", "greater than 0 µm"),
        ({"numerics__harmonics": 33}, "numerics.harmonics = 33", "at most 32"),
        ({"numerics__element_mm": 0.0}, "numerics.element_mm = 0.0", "at least 0.02 mm"),
        ({"threshold": {"bands_um": list(range(1, 99))}}, "threshold.bands_um", "at most 12"),
    ],
)
def test_a_wrong_value_is_refused_by_name(changes: dict[str, Any], place: str, said: str) -> None:
    assert_refused(changes, place, said)
