"""The main job against published finite-element studies, and against common practice.

Two studies of freshly placed implants. What they leave unknown to us is stated, and filled from other
published values before the comparison, never after. So sizes are compared within a factor and
trends as trends.

Sugiura et al. 2016 (PMC4928204): posterior mandible, implant 4.3 × 10 mm, 200 N oblique at the
abutment's top, crestal cortex 0.5 to 2.5 mm: about 100 µm in low-density, under 30 µm in high-density
cancellous bone; the cortex matters only in low density. Not known here: the angle (taken as 45°, the
authors' own rig in J Periodontal Implant Sci 2017 47:251-262), the moduli of their density classes,
friction, abutment height (6 mm, assumption), thread, and the outline and support of the jaw segment,
which a round block stands in for.

BioMed Res Int 2014:983103, table 4, horizontal load on single-lead threads: the load's size, implant,
bone and moduli are not known here, so only ratios are compared. Without interference motion is
proportional to the load, and the size drops out.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from stillroot.answer import resultant_of
from stillroot.case import Case

from ._chain import Loaded, loaded, seated

HIGH_MPA = 1370.0
"""Convention of finite-element studies, doi 10.1186/s13005-017-0139-z."""
MEDIUM_MPA = 511.0
"""Mean of measured cubes, buccolingual: O'Mahony et al. 2000, Clin Oral Implants Res 11:415-421."""
LOW_MPA = 199.5
"""The stiffest of measured cores, 6.9 to 199.5: J Med Eng 2014:470539, doi 10.1155/2014/470539."""

NEAR_HARD = {
    "friction": 0.3,  # smooth surface: Huang et al. 2008, J Dent 36:409-417, from memory
    "interference_um": 0.0,  # assumption: no press fit is mentioned
    "layer_thickness_mm": 0.02,
    "layer_modulus_ratio": 1.0,
}
"""The studies have hard contact. A layer of 20 µm of the bone's own modulus is within 5 % of it."""


def sugiura(modulus_mpa: float, cortex_mm: float, **interface: float) -> Case:
    return Case.from_dict(
        {
            "title": "after Sugiura et al. 2016",
            "implant": {"diameter_mm": 4.3, "length_mm": 10.0},
            "bone": {"cortical_thickness_mm": cortex_mm, "trabecular_modulus_mpa": modulus_mpa},
            "interface": {**NEAR_HARD, **interface},
            "loads": [{"name": "oblique", "force_n": 200.0, "angle_deg": 45.0}],
            "numerics": {"element_mm": 0.4, "harmonics": 6},
        }
    )


def oblique(case: Case) -> Loaded:
    return loaded(seated(case), resultant_of(case.loads[0]))


@cache
def sugiura_peak_um(modulus_mpa: float, cortex_mm: float) -> float:
    return oblique(sugiura(modulus_mpa, cortex_mm)).peak_um


def test_low_density_lies_within_a_factor_of_the_published_size() -> None:
    # Published: about 100 µm. Computed: 53 µm under a cortex of 0.5 mm, about half of it, 41 µm under
    # 1.5 mm; the modulus of their low density, the angle and the abutment's height all move it.
    assert 100.0 / 2.5 < sugiura_peak_um(LOW_MPA, 0.5) < 100.0 * 2.5


@pytest.mark.parametrize("cortex_mm", [0.5, 1.5, 2.5])
def test_high_density_stays_under_the_published_30_um(cortex_mm: float) -> None:
    # Computed: 18, 11 and 9 µm.
    assert sugiura_peak_um(HIGH_MPA, cortex_mm) < 30.0


def test_high_density_is_not_absurdly_still() -> None:
    # The other side of the same figure, within a factor of four of it.
    assert sugiura_peak_um(HIGH_MPA, 0.5) > 30.0 / 4


def test_low_density_moves_several_times_as_much_as_high() -> None:
    # Published: about 100 against less than 30 µm, a ratio of 3.3 or more. Computed: 3.0.
    ratio = sugiura_peak_um(LOW_MPA, 0.5) / sugiura_peak_um(HIGH_MPA, 0.5)
    assert ratio > 100 / 30 / 1.5


def test_the_cortex_matters_more_in_low_density() -> None:
    # Published: only in low density. Computed: 27 µm of difference there, 9 µm in high density.
    gain = {m: sugiura_peak_um(m, 0.5) - sugiura_peak_um(m, 2.5) for m in (LOW_MPA, HIGH_MPA)}
    assert gain[LOW_MPA] > 2 * gain[HIGH_MPA] > 0


@pytest.mark.slow
def test_hard_contact_gives_what_a_thin_layer_gives() -> None:
    hard = oblique(sugiura(HIGH_MPA, 1.5, layer_thickness_mm=0.0)).peak_um
    assert sugiura_peak_um(HIGH_MPA, 1.5) == pytest.approx(hard, rel=0.05)


# -- thread pitch -------------------------------------------------------------------------------

PUBLISHED_UM = {
    0.8: {HIGH_MPA: 27.5, MEDIUM_MPA: 38.2, LOW_MPA: 41.1},
    1.6: {HIGH_MPA: 28.6, MEDIUM_MPA: 48.3, LOW_MPA: 52.4},
    2.4: {HIGH_MPA: 29.3, MEDIUM_MPA: 51.9, LOW_MPA: 56.6},
}
"""Pitch [mm] and density: combined motion, table 4."""


@cache
def pitch_peak_um(pitch_mm: float, modulus_mpa: float) -> float:
    case = Case.from_dict(
        {
            "title": "after BioMed Res Int 2014:983103",
            "implant": {"diameter_mm": 4.1, "length_mm": 10.0, "thread": {"pitch_mm": pitch_mm}},
            "bone": {"cortical_thickness_mm": 1.0, "trabecular_modulus_mpa": modulus_mpa},
            "interface": NEAR_HARD,
            "loads": [{"name": "horizontal", "lateral_n": 100.0}],
            "numerics": {"element_mm": 0.4, "harmonics": 6},
        }
    )
    return loaded(seated(case), resultant_of(case.loads[0])).peak_um


@pytest.mark.parametrize("pitch_mm", PUBLISHED_UM)
def test_the_ratio_of_low_to_high_density_is_that_of_the_table(pitch_mm: float) -> None:
    # Published: 1.5, 1.8, 1.9. Computed: 3.2, 3.1, 3.0 with a sevenfold modulus; theirs is unknown.
    published = PUBLISHED_UM[pitch_mm][LOW_MPA] / PUBLISHED_UM[pitch_mm][HIGH_MPA]
    computed = pitch_peak_um(pitch_mm, LOW_MPA) / pitch_peak_um(pitch_mm, HIGH_MPA)
    assert published / 2.5 < computed < published * 2.5


@pytest.mark.parametrize("pitch_mm", PUBLISHED_UM)
def test_softer_bone_moves_more_at_every_pitch(pitch_mm: float) -> None:
    peaks = [pitch_peak_um(pitch_mm, modulus) for modulus in (HIGH_MPA, MEDIUM_MPA, LOW_MPA)]
    assert np.all(np.diff(peaks) > 0)


@pytest.mark.parametrize("modulus_mpa", [HIGH_MPA, MEDIUM_MPA, LOW_MPA])
def test_the_ratio_of_pitches_is_that_of_the_table(modulus_mpa: float) -> None:
    # Published, 2.4 against 0.8 mm: 1.07 dense, 1.36, 1.38 low. Computed: 1.15, 1.07, 1.08. Both are
    # weak; that the pitch matters more in softer bone is in the table and not in the computation.
    published = PUBLISHED_UM[2.4][modulus_mpa] / PUBLISHED_UM[0.8][modulus_mpa]
    computed = pitch_peak_um(2.4, modulus_mpa) / pitch_peak_um(0.8, modulus_mpa)
    assert published / 1.5 < computed < published * 1.5


@pytest.mark.parametrize("modulus_mpa", [HIGH_MPA, MEDIUM_MPA, LOW_MPA])
def test_a_coarser_pitch_moves_more(modulus_mpa: float) -> None:
    peaks = [pitch_peak_um(pitch, modulus_mpa) for pitch in (0.8, 1.6, 2.4)]
    assert np.all(np.diff(peaks) > 0)


# -- engagement ---------------------------------------------------------------------------------


@cache
def held_by(threads: int) -> Loaded:
    """An implant held at its tip only, in a fresh socket, in bone of ordinary modulus.

    Nothing bears in the gap (assumption). The habitual load is the middle of the ranges that
    Mericske-Stern et al. 1992 measured in chewing, vertical 1.5 to 260 N and horizontal 1.5 to 66 N
    (tabulated in doi 10.1186/s40729-022-00454-y): 130 N and 33 N.
    """
    held_mm = 0.8 * threads
    case = Case.from_dict(
        {
            "title": "held at the tip",
            "implant": {"diameter_mm": 4.1, "length_mm": 10.0},
            "bone": {"cortical_thickness_mm": 1.5, "trabecular_modulus_mpa": MEDIUM_MPA},
            "socket": {"holds_mm": [[10.0 - held_mm, 10.0]], "gap_fill": "empty"},
            "loads": [{"name": "habitual", "axial_n": 130.0, "lateral_n": 33.0}],
            "numerics": {"element_mm": 0.4, "harmonics": 6},
        }
    )
    load = resultant_of(case.loads[0])
    return loaded(seated(case), load)


def test_five_engaged_threads_keep_habitual_motion_below_100_um() -> None:
    # Common practice, no source. Computed: 76 µm.
    assert held_by(5).peak_um < 100.0


def test_two_engaged_threads_may_not() -> None:
    # Common practice, no source. Computed: 163 µm.
    assert held_by(2).peak_um > 100.0


def test_more_engagement_moves_less() -> None:
    # Computed: 163, 120, 76 and 40 µm.
    peaks = [held_by(threads).peak_um for threads in (2, 3, 5, 8)]
    assert np.all(np.diff(peaks) < 0)
