"""The numerical error: what the estimate covers, and that refinement reduces it.

How far it overstates the true error, on ten cases, is in docs/validation.md.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from stillroot import CaseError, NotConverged, check
from stillroot.answers.chain import resultant_of
from stillroot.answers.levels import FARTHEST_MM, FINEST_MM, MOST_HARMONICS, MOST_STEPS, refined
from stillroot.inputs.case import Case, Numerics
from stillroot.mechanics.accuracy import least_mesh_error
from stillroot.mechanics.loading import load
from stillroot.mechanics.motion import micromotion
from stillroot.mechanics.torque import torque_of

from ._chain import SMOOTH, case_of, seated

ENDLESS = {"radius_mm": None, "depth_mm": None}


def peak_um(case: Case) -> float:
    seat_ = seated(case)
    state = load(seat_, [resultant_of(case.loads[0])], steps=case.numerics.load_steps)
    return micromotion(seat_, state).peak.total_um


def test_a_near_support_is_told_by_the_far_part() -> None:
    """The support 8 mm beside the implant reduces the motion by 4 %; the estimate covers that."""
    soft = {"cortical_thickness_mm": 0.5, "law": "linear", "trabecular_modulus_mpa": 100.0, **ENDLESS}
    pressed = {"name": "pressed in", "axial_n": 100.0, "lateral_n": 20.0}
    data = case_of(bone=soft, numerics={"far_mm": 8.0}).to_dict()
    near = Case.from_dict({**data, "loads": [pressed]})
    told = check(near).loads[0]
    true = abs(told.peak.total_um - peak_um(near.with_numerics(far_mm=300.0)))
    assert true > 0.03 * told.peak.total_um
    assert true < told.error.far_um < 4 * true


def test_the_default_support_is_far_enough() -> None:
    case = case_of(bone=ENDLESS)
    assert peak_um(case) == pytest.approx(peak_um(case.with_numerics(far_mm=400.0)), rel=2e-3)


def test_the_error_that_is_told_covers_finer_elements_harmonics_and_steps() -> None:
    case = case_of(numerics={"element_mm": 0.4, "harmonics": 6})
    told = check(case).loads[0]
    finer = case.with_numerics(element_mm=0.2, harmonics=9, load_steps=4)
    assert peak_um(finer) == pytest.approx(told.peak.total_um, abs=told.error.total_um)


def test_a_block_ends_where_it_is_said_to() -> None:
    assert check(case_of()).loads[0].error.far_um == 0


def test_the_least_mesh_error_depends_on_no_unit_of_length() -> None:
    assert least_mesh_error(0.25, 4.1) == pytest.approx(least_mesh_error(0.5, 8.2))
    assert least_mesh_error(0.125, 4.1) < least_mesh_error(0.25, 4.1)


def test_only_what_passes_its_share_is_refined() -> None:
    small = dict.fromkeys(("mesh", "harmonics", "steps", "far"), 1e-6)
    assert refined(Numerics(), small, 0.01) == {}
    assert refined(Numerics(), {**small, "mesh": 0.02}, 0.01) == {"element_mm": 0.125}
    assert refined(Numerics(), {**small, "steps": 0.02, "far": 0.02}, 0.01) == {
        "load_steps": 8,
        "far_mm": 400.0,
    }


def test_nothing_is_refined_for_ever() -> None:
    finest = Numerics().model_copy(
        update={
            "element_mm": FINEST_MM,
            "harmonics": MOST_HARMONICS,
            "load_steps": MOST_STEPS,
            "far_mm": FARTHEST_MM,
        }
    )
    assert refined(finest, dict.fromkeys(("mesh", "harmonics", "steps", "far"), 1.0), 0.01) == {}


def test_a_tolerance_is_met_by_refining() -> None:
    case = case_of(implant={"thread": {"form": "none"}})
    rough = check(case)
    wanted = 0.6 * rough.relative_error
    fine = check(case, tolerance=wanted)
    assert fine.relative_error <= wanted
    assert fine.case.numerics.element_mm < case.numerics.element_mm
    assert fine.loads[0].peak.total_um == pytest.approx(
        rough.loads[0].peak.total_um, abs=rough.loads[0].error.total_um
    )


def test_where_only_the_error_is_not_found_the_message_says_so_and_there_is_no_number() -> None:
    """A torque above the capacity with the support twice as far, and below that of the case itself.

    Farther bone is more compliant, so less pressure seats the implant, and ∫ µ p r dA is smaller.
    """
    short = {"implant": {**SMOOTH, "length_mm": 4.0}, "bone": ENDLESS}

    def held_ncm(**numerics: float) -> float:
        torque = torque_of(seated(case_of(**short, numerics=numerics)))
        assert torque is not None
        return torque.removal_ncm

    near, far = held_ncm(element_mm=0.5, far_mm=5.0), held_ncm(element_mm=1.0, far_mm=10.0)
    assert far < near
    data = case_of(**short, numerics={"element_mm": 0.5, "far_mm": 5.0}).to_dict()
    turning = Case.from_dict({**data, "loads": [{"name": "turn", "torque_ncm": (near + far) / 2}]})
    assert peak_um(turning) > 0
    with pytest.raises(
        NotConverged, match="the answer was found, but not its numerical error"
    ) as raised:
        check(turning)
    assert "farther support" in str(raised.value)
    assert "elements of 1 mm" in str(raised.value)
    assert raised.value.residual_history


def test_a_tolerance_out_of_reach_is_an_error_and_no_number(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("stillroot.answers.levels.FINEST_MM", 0.5)
    with pytest.raises(NotConverged, match="out of reach"):
        check(case_of(), tolerance=0.002)


@pytest.mark.parametrize("tolerance", [0.0, -0.01, 1.0, 1e-5, float("nan")])
def test_a_senseless_tolerance_is_refused(tolerance: float) -> None:
    with pytest.raises(CaseError, match="must be from"):
        check(case_of(), tolerance=tolerance)


def test_the_parts_add_up() -> None:
    error = check(case_of()).loads[0].error
    assert error.total_um == pytest.approx(sum(error.parts_um.values()))
    assert replace(error, far_um=error.far_um + 1).total_um == pytest.approx(error.total_um + 1)
