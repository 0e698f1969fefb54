"""Keys and values in words."""

from __future__ import annotations

import pytest

from stillroot.pictures.words import key_label, value_text
from tests.unit.pictures._drawn import plain


@pytest.mark.parametrize(
    ("key", "label"),
    [
        ("bone.trabecular_modulus_mpa", "trabecular modulus [MPa]"),
        ("engagement_mm", "engagement length [mm]"),
        ("load_factor", "factor on the loads"),
        ("loads.height_mm", "height of the load [mm]"),
        ("loads[2].axial_n", "axial force of load 2 [N]"),
        ("implant.diameter_mm", "implant diameter [mm]"),
        ("implant.thread.pitch_mm", "thread pitch [mm]"),
        ("interface.friction", "friction"),
        ("interface.measured_torque_ncm", "measured torque [N·cm]"),
        ("bone.ct_number", "CT number [HU]"),
        ("socket.holds_mm[1][2]", "holds (1, 2) [mm]"),
    ],
)
def test_a_key_is_told_in_words_with_its_unit(key: str, label: str) -> None:
    assert key_label(key) == label


def test_values_carry_their_unit() -> None:
    assert plain(value_text("bone.trabecular_modulus_mpa", 1370.0)) == "1370 MPa"
    assert plain(value_text("load_factor", 0.5)) == "× 0.5"
