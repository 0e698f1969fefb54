"""Trends of micromotion in fresh implants, the main purpose, and common practice.

Published sizes and ratios are compared in `validation`: sugiura_2016, sugiura_2017, biomed_2014_983103,
winter_klein_karl_2013, karl_graef_winter, goellner_2011. The trends here have no published figure.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from stillroot.answers.chain import resultant_of
from stillroot.inputs.case import Case

from ._chain import Loaded, loaded, seated

HIGH_MPA = 1370.0
"""Convention of finite-element studies, doi 10.1186/s13005-017-0139-z."""
MEDIUM_MPA = 511.0
"""Seven cubes of one edentulous mandible, buccolingual mean (SD 565): O'Mahony et al. 2000, Clin Oral
Implants Res 11:415-421."""
LOW_MPA = 199.5
"""The stiffest of measured cores, 6.9 to 199.5: J Med Eng 2014:470539, doi 10.1155/2014/470539."""

NEAR_HARD = {
    "friction": 0.3,  # smooth surface: Huang et al. 2008, J Dent 36:409-417, from memory
    "interference_um": 0.0,  # assumption: no press fit
    "layer_thickness_mm": 0.02,
    "layer_modulus_ratio": 1.0,
}
"""A layer of 20 µm of the bone's own modulus: within 5 % of hard contact."""


def peak_um(
    modulus_mpa: float, load: dict[str, float], *, pitch_mm: float = 0.8, **interface: float
) -> float:
    case = Case.from_dict(
        {
            "title": "a fresh implant in hard contact, invented",
            "implant": {"diameter_mm": 4.1, "length_mm": 10.0, "thread": {"pitch_mm": pitch_mm}},
            "bone": {
                "cortical_thickness_mm": 1.0,
                "law": "linear",
                "trabecular_modulus_mpa": modulus_mpa,
                "radius_mm": 10.0,
                "depth_mm": 15.0,
            },
            "interface": {**NEAR_HARD, **interface},
            "loads": [{"name": "load", **load}],
            "numerics": {"element_mm": 0.4, "harmonics": 6},
        }
    )
    return loaded(seated(case), resultant_of(case.loads[0])).peak_um


@pytest.mark.slow
def test_hard_contact_gives_what_a_thin_layer_gives() -> None:
    oblique = {"force_n": 200.0, "angle_deg": 45.0}
    hard = peak_um(HIGH_MPA, oblique, layer_thickness_mm=0.0)
    assert peak_um(HIGH_MPA, oblique) == pytest.approx(hard, rel=0.05)


@cache
def pitch_peak_um(pitch_mm: float, modulus_mpa: float) -> float:
    return peak_um(modulus_mpa, {"lateral_n": 100.0}, pitch_mm=pitch_mm)


@pytest.mark.parametrize("pitch_mm", [0.8, 2.4])
def test_softer_bone_moves_more(pitch_mm: float) -> None:
    peaks = [pitch_peak_um(pitch_mm, modulus) for modulus in (HIGH_MPA, MEDIUM_MPA, LOW_MPA)]
    assert np.all(np.diff(peaks) > 0)


@pytest.mark.parametrize("modulus_mpa", [HIGH_MPA, MEDIUM_MPA, LOW_MPA])
def test_a_coarser_pitch_moves_more(modulus_mpa: float) -> None:
    assert pitch_peak_um(2.4, modulus_mpa) > pitch_peak_um(0.8, modulus_mpa)


# -- engagement ---------------------------------------------------------------------------------


@cache
def held_by(threads: int) -> Loaded:
    """Return an implant held at its tip only, in a fresh socket, in bone of ordinary modulus.

    Nothing bears in the gap (assumption). The habitual load is the middle of the ranges that
    Mericske-Stern et al. 1992 measured in chewing, vertical 1.5 to 260 N and horizontal 1.5 to 66 N
    (tabulated in doi 10.1186/s40729-022-00454-y): 130 N and 33 N.
    """
    held_mm = 0.8 * threads
    case = Case.from_dict(
        {
            "title": "held at the tip",
            "implant": {"diameter_mm": 4.1, "length_mm": 10.0},
            "bone": {
                "cortical_thickness_mm": 1.5,
                "law": "linear",
                "trabecular_modulus_mpa": MEDIUM_MPA,
            },
            "socket": {"holds_mm": [[10.0 - held_mm, 10.0]], "gap_fill": "empty"},
            "loads": [{"name": "habitual", "axial_n": 130.0, "lateral_n": 33.0}],
            "numerics": {"element_mm": 0.4, "harmonics": 6},
        }
    )
    load = resultant_of(case.loads[0])
    return loaded(seated(case), load)


def test_five_engaged_threads_keep_habitual_motion_below_100_um() -> None:
    # Common practice, no source. Computed: 77 µm.
    assert held_by(5).peak_um < 100.0


def test_two_engaged_threads_may_not() -> None:
    # Common practice, no source. Computed: 164 µm.
    assert held_by(2).peak_um > 100.0


def test_more_engagement_moves_less() -> None:
    # Computed: 164, 121, 77 and 41 µm.
    peaks = [held_by(threads).peak_um for threads in (2, 3, 5, 8)]
    assert np.all(np.diff(peaks) < 0)
