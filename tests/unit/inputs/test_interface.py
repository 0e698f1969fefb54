"""The socket and the interface: what fills the gap, holds, and keys that exclude one another."""

from __future__ import annotations

from typing import Any

import pytest

from stillroot.inputs.case import Case
from tests.unit.inputs._smallest import assert_refused, smallest


def test_a_bonded_interface_has_neither_friction_nor_interference() -> None:
    face = Case.from_dict(smallest(interface__kind="bonded")).interface
    assert (face.friction, face.interference_um) == (0.0, 0.0)


@pytest.mark.parametrize(
    ("socket", "filled", "modulus_mpa"),
    [
        ({}, True, 1.0),
        ({"gap_fill": "empty"}, False, 0.0),
        ({"gap_fill": "graft"}, True, 10.0),
        ({"gap_modulus_mpa": 3.5}, True, 3.5),
    ],
)
def test_what_fills_the_gap(socket: dict[str, Any], filled: bool, modulus_mpa: float) -> None:
    got = Case.from_dict({**smallest(), "socket": socket}).socket
    assert (got.gap_filled, got.gap_stiffness_mpa) == (filled, modulus_mpa)


@pytest.mark.parametrize(
    ("changes", "place", "said"),
    [
        ({"socket__holds_mm": [0, 10]}, "socket.holds_mm = [0, 10]", "list of pairs"),
        ({"socket__holds_mm": [["0", 10]]}, 'socket.holds_mm[1][1] = "0"', "lists count from 1"),
        ({"interface__friction": 3}, "interface.friction = 3", "at most 2"),
        (
            {"interface__layer_thickness_mm": -0.1},
            "interface.layer_thickness_mm = -0.1",
            "at least 0 mm",
        ),
        (
            {"socket": {"gap_fill": "clot", "gap_modulus_mpa": 2}},
            'socket.gap_fill = "clot"',
            "not used with gap_modulus_mpa",
        ),
        (
            {"interface": {"kind": "bonded", "friction": 0.4}},
            "interface.friction = 0.4",
            'not used with kind = "bonded"',
        ),
        (
            {"interface": {"kind": "bonded", "interference_um": 0}},
            "interface.interference_um = 0",
            'not used with kind = "bonded"',
        ),
        ({"socket__holds_mm": []}, "socket.holds_mm = []", "engagement of zero"),
        ({"socket__holds_mm": [[4, 4]]}, "socket.holds_mm = [[4, 4]]", "0.2 mm long"),
        ({"socket__holds_mm": [[6, 4]]}, "socket.holds_mm = [[6, 4]]", "top first"),
        ({"socket__holds_mm": [[-1, 4]]}, "socket.holds_mm = [[-1, 4]]", "above the crest"),
        ({"socket__holds_mm": [[0, 5], [4, 9]]}, "socket.holds_mm = [[0, 5], [4, 9]]", "overlap"),
        ({"socket__holds_mm": [[5, 9], [0, 4]]}, "socket.holds_mm = [[5, 9], [0, 4]]", "out of order"),
    ],
)
def test_a_wrong_value_is_refused_by_name(changes: dict[str, Any], place: str, said: str) -> None:
    assert_refused(changes, place, said)
