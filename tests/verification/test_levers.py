"""Levers against results known beforehand.

A bonded implant is linear in its load; far stiffer than bone of a single modulus, it moves in inverse
proportion to that modulus. A lever's ratio is then known without a solver.
"""

import pytest

from stillroot import Case, check
from stillroot.answers.changes import LIGHTER, STIFFER
from stillroot.answers.changes import levers as changes
from stillroot.studies.explaining import largest_after, with_levers

from ._chain import LINEAR

TWO_LOADS = {
    **LINEAR,
    "loads": [
        {"name": "sideways", "lateral_n": 0.1, "height_mm": 6.0},
        {"name": "pressed in", "axial_n": 0.3},
    ],
}
HELD_LOW = {
    **TWO_LOADS,
    "implant": {"diameter_mm": 4.0, "length_mm": 8.0, "thread": {"form": "none"}},
    "bone": {"cortical_thickness_mm": 1.0, "law": "linear", "trabecular_modulus_mpa": 300.0},
    "socket": {"holds_mm": [[5.0, 8.0]], "gap_fill": "empty"},
    "interface": {"interference_um": 10.0},
    "loads": [{"name": "oblique", "axial_n": 20.0, "lateral_n": 5.0, "height_mm": 6.0}],
}


@pytest.fixture(scope="module")
def ratios():
    """Return the ratio of each change of a linear case, by its text."""
    result = with_levers(check(Case.from_dict(TWO_LOADS)))
    return {lever.text: lever.ratios for lever in result.levers}


def test_a_linear_implant_moves_in_proportion_to_its_load(ratios):
    assert ratios["loads a quarter less"] == pytest.approx((LIGHTER, LIGHTER), rel=1e-6)


def test_half_a_sideways_force_halves_it_and_leaves_the_axial_load_alone(ratios):
    assert ratios["half of each sideways force"] == pytest.approx((0.5, 1.0), rel=1e-6)


def test_a_rigid_implant_moves_in_inverse_proportion_to_the_modulus(ratios):
    # The implant is 1e6 times as stiff as the bone and the layer a tenth of it: what it bends itself
    # is some 1e-6 of the motion.
    assert ratios["trabecular bone 1.5 times as stiff"] == pytest.approx((1 / STIFFER,) * 2, rel=1e-4)
    assert ratios["trabecular bone two thirds as stiff"] == pytest.approx((STIFFER,) * 2, rel=1e-4)


def test_a_lower_load_tilts_less_and_does_not_change_what_presses_in(ratios):
    sideways, pressed = ratios["loads 2 mm lower"]
    assert sideways < 1
    assert pressed == pytest.approx(1.0, rel=1e-6)


def test_what_another_load_keeps_up_is_told_as_the_largest_peak():
    """Half a sideways force leaves the axial load, which then governs with its own peak."""
    loads = [
        {"name": "sideways", "lateral_n": 0.1, "height_mm": 6.0},
        {"name": "pressed in", "axial_n": 1.0},
    ]
    result = check(Case.from_dict({**TWO_LOADS, "loads": loads}))
    axial = result.loads[1].peak.total_um
    share = 0.7 * result.loads[0].peak.total_um / axial
    loads[1]["axial_n"] *= share  # linear: its peak is now 0.7 of the other's, more than half
    levers = {lever.text: lever for lever in with_levers(check(with_loads(loads))).levers}
    halved = levers["half of each sideways force"]
    after, peak = largest_after(check(with_loads(loads)), halved)
    assert after.name == "pressed in"
    assert peak == pytest.approx(share * axial, rel=1e-6)


def with_loads(loads):
    return Case.from_dict({**TWO_LOADS, "loads": loads})


def test_a_case_on_the_coarsest_elements_has_levers_too():
    case = Case.from_dict({**TWO_LOADS, "numerics": {**TWO_LOADS["numerics"], "element_mm": 2.0}})
    assert with_levers(check(case)).levers


def test_a_longer_implant_is_a_lever_only_where_its_tip_is_held():
    hanging = Case.from_dict({**HELD_LOW, "socket": {"holds_mm": [[1.0, 5.0]], "gap_fill": "empty"}})
    assert not any("longer" in change.text for change in changes(hanging))
    low = Case.from_dict(HELD_LOW)
    longer = next(c for c in changes(low) if "longer" in c.text).applied_to(low)
    assert longer.socket.holds_mm[-1][1] == longer.implant.length_mm


def test_a_measured_torque_is_kept_and_one_that_cannot_be_reached_says_so():
    """Softer bone gives less pressure: above some torque no interference gives the measured one."""
    face = {"measured_torque_ncm": 2.9}
    bone = {"cortical_thickness_mm": 0.0, "law": "linear", "trabecular_modulus_mpa": 100.0}
    socket = {"holds_mm": [[2.0, 6.0]], "gap_fill": "empty"}
    implant = {"diameter_mm": 4.0, "length_mm": 10.0, "thread": {"form": "none"}}
    data = {**HELD_LOW, "interface": face, "bone": bone, "socket": socket, "implant": implant}
    loads = [{"name": "pressed in", "axial_n": 5.0}]
    result = with_levers(check(Case.from_dict({**data, "loads": loads})))
    softer = next(x for x in result.levers if x.text == "trabecular bone two thirds as stiff")
    assert softer.ratios == (None,)
    assert "torque" in softer.reason


def test_a_lever_is_what_the_changed_case_is_to_the_case_as_it_is():
    """Within the errors of both meshes, a ratio from coarse elements is that of two whole answers."""
    case = Case.from_dict(HELD_LOW)
    before = check(case)
    levers = {lever.text: lever for lever in with_levers(before).levers}
    for change in changes(case):
        after = check(change.applied_to(case)).governing.peak
        ratio = after.total_um / before.governing.peak.total_um
        assert levers[change.text].ratios[0] == pytest.approx(ratio, rel=0.03), change.text


def test_what_a_case_does_not_have_is_no_lever():
    texts = {change.text for change in changes(Case.from_dict(TWO_LOADS))}
    assert not any("interference" in text or "cortex" in text for text in texts)
    held = {change.text for change in changes(Case.from_dict(HELD_LOW))}
    assert {"held over 1 mm more", "held over 1 mm less", "no interference"} <= held
    assert "held over 1 mm more" not in texts, "all of it is held"
