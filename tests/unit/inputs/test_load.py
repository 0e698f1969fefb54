"""A load: its components, and what is no load."""

from __future__ import annotations

import math
from typing import Any

import pytest

from stillroot.inputs.case import Case
from tests.unit.inputs._smallest import assert_refused, smallest


def test_a_force_at_an_angle_is_its_components() -> None:
    load = {"name": "oblique", "force_n": 200.0, "angle_deg": 30.0, "torque_ncm": 2.0}
    axial, lateral, torque = Case.from_dict(smallest(loads=[load])).loads[0].components
    assert axial == pytest.approx(100 * math.sqrt(3))
    assert lateral == pytest.approx(100)
    assert torque == pytest.approx(20)


@pytest.mark.parametrize(
    ("changes", "place", "said"),
    [
        (
            {
                "loads": [
                    {"name": "a", "axial_n": 1},
                    {"name": "b", "axial_n": 1, "force_n": 2, "angle_deg": 0},
                ]
            },
            "loads[2].force_n = 2",
            "not used with axial_n",
        ),
        ({"loads": [{"name": "a", "force_n": 50}]}, "loads[1].angle_deg", "force_n needs it"),
        ({"loads": [{"name": "a", "angle_deg": 50}]}, "loads[1].force_n", "angle_deg needs it"),
        (
            {"loads": [{"name": "a", "force_n": -5, "angle_deg": 0}]},
            "loads[1].force_n = -5",
            "than 0 N",
        ),
        ({"loads": [{"name": "a"}]}, "loads[1]", "is no load"),
        ({"loads": [{"name": "a", "axial_n": 0, "lateral_n": 0.0}]}, "loads[1]", "is no load"),
        (
            {"loads": [{"name": "a", "axial_n": 1, "height_mm": -2}]},
            "loads[1].height_mm = -2",
            "at least 0 mm",
        ),
    ],
)
def test_a_wrong_value_is_refused_by_name(changes: dict[str, Any], place: str, said: str) -> None:
    assert_refused(changes, place, said)
