"""From numbers to words: which band, which load governs, what limits confidence.

The bands overlap in the literature (tolerated micromotion is 50 to 150 µm, Szmukler-Moncler et al. 1998,
J Biomed Mater Res 43:192-203; integrated and failed implants overlap widely, Kohli, Stoddart, van Arkel
2021, Sci Rep 11:10797). So a summary places a number among them and never says pass or fail.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

from stillroot.answers.result import Summary, peak_text
from stillroot.answers.wording import band_of, rounded, with_error
from stillroot.mechanics.harmonics import AXIS_MM
from stillroot.mechanics.outline import gaps_between
from stillroot.mechanics.strain import TENSILE_YIELD_STRAIN, VOLUME_MM3

if TYPE_CHECKING:
    from stillroot.answers.result import Cycle, LoadAnswer
    from stillroot.inputs.case import Case
    from stillroot.mechanics.motion import Peak
    from stillroot.mechanics.resultant import Resultant
    from stillroot.mechanics.strain import BoneStrain

OUT_OF_SEAT_UM = 300.0
"""About a thread's depth: beyond it small displacements and ring threads no longer apply. Assumption."""
LEAST_SHARE = 0.01
"""Of the held surface: less at its limit is a corner, and not told."""
LARGE_STRAIN = 0.05
"""Plastic strain beyond which small strains no longer describe bone, and it softens. Assumption."""
GLUED = "The wall is taken as glued, as if healed: it can neither slip nor open. A fresh one moves more."
SIDES_IN_WORDS = {
    "towards": "on the side the load points to",
    "away": "on the side the load comes from",
    "flank": "at the flank of the load",
    "all round": "all round",
    "axis": "on the axis",
}


def summary_of(case: Case, answers: tuple[LoadAnswer, ...]) -> Summary:
    """Return the summary of the load that moves the implant most."""
    worst = max(answers, key=lambda answer: answer.severity)
    sentence = (
        f"Peak interface micromotion is {peak_text(worst)} ({worst.band}) under "
        f'"{worst.name}", the governing load, {place_of(worst)}.'
    )
    if worst.gives_way_at is not None:
        sentence = (
            f'The implant gives way at {worst.gives_way_at:.0%} of "{worst.name}": beyond that it finds '
            f"no equilibrium. There its interface moves {rounded(worst.peak.total_um)} µm, "
            f"{place_of(worst)}."
        )
    return Summary(
        sentence=sentence,
        limits=(
            *_numerical_limits(case, worst),
            *yield_limits(case, worst.bone_strain, worst.share_over_crush, worst.remaining),
            *_model_limits(case),
        ),
    )


class Placed(Protocol):
    """Anything with a peak under a load."""

    @property
    def peak(self) -> Peak:
        """The largest motion and its place."""

    @property
    def resultant(self) -> Resultant:
        """The load."""


def place_of(answer: Placed) -> str:
    """Return where the peak is, in words."""
    peak = answer.peak
    depth = "at the crest" if peak.depth_mm < 0.05 else f"{peak.depth_mm:.1f} mm below the crest"
    return f"{depth}, {SIDES_IN_WORDS[side_of(answer)]}"


def side_of(answer: Placed) -> str:
    """Return the side of the implant on which the peak lies: a key of `SIDES_IN_WORDS`."""
    peak = answer.peak
    if peak.radius_mm < AXIS_MM:
        return "axis"
    if peak.all_round:
        return "all round"
    away = 180 if answer.resultant.lateral_n < 0 else 0
    turned = abs((peak.angle_deg + away + 180) % 360 - 180)
    return "towards" if turned <= 45 else "away" if turned >= 135 else "flank"


def _numerical_limits(case: Case, worst: LoadAnswer) -> tuple[str, ...]:
    bands, peak, error = case.threshold.bands_um, worst.peak.total_um, worst.error.total_um
    limits: list[str] = []
    if worst.gives_way_at is not None:
        return ()
    low, high = band_of(max(peak - error, 0), bands), band_of(peak + error, bands)
    if low != high:
        limits.append(f'The numerical error alone spans more than one band, from "{low}" to "{high}".')
    if peak > OUT_OF_SEAT_UM:
        limits.append(
            "A motion this large leaves the seat. The model is valid for small motions only: read this "
            "one as giving way."
        )
    head = band_of(worst.head.total_um, bands)
    if head != worst.band:
        limits.append(
            f"Head movement, {with_error(worst.head.total_um, worst.head_error.total_um)} µm, lies in "
            f"another band ({head}): it includes the give of bone and implant, and is what a bench "
            "gauge reads."
        )
    return tuple(limits)


def yield_limits(
    case: Case, strain: BoneStrain | None, share: float, remaining: Cycle | None = None
) -> tuple[str, ...]:
    """Return what yields under a load, or what would if the bone were not linear.

    `strain` is that of the bone, None where it was not computed; `share` that of the held surface at its
    limit.
    """
    if case.bone.law == "linear":
        return _if_it_yielded(case, strain, share)
    limits = []
    if strain is not None and strain.yielded_mm3 > VOLUME_MM3:
        left = ""
        if remaining is not None:
            um = rounded(remaining.remaining_peak_um)
            left = f"; {um} µm of the motion remain when the load is taken off"
        limits.append(
            f"Bone is crushed for good in {strain.yielded_mm3:.0f} mm³, beside {share:.0%} of the held "
            f"surface{left}. How much bone bears once it has yielded is known only roughly: --choices "
            "shows what that does."
        )
    if strain is not None and strain.plastic > LARGE_STRAIN:
        limits.append(
            f"1 mm³ of bone is deformed for good by more than {strain.plastic:.0%}, where small strains "
            "no longer describe it: read the motion as at least this large."
        )
    return tuple(limits)


def _if_it_yielded(case: Case, strain: BoneStrain | None, share: float) -> tuple[str, ...]:
    limits = []
    if share > LEAST_SHARE:
        limits.append(
            f"Under this load, {share:.0%} of the held surface bears more than the pressure assumed to "
            "crush bone; there the bone would give way and the implant move more."
        )
    if strain is not None and strain.is_past_yield:
        limits.append(
            f"Bone is strained past yield in {strain.past_yield_mm3:.0f} mm³ (1 mm³ is compressed by "
            f"more than {strain.compressive:.1%} and stretched by more than {strain.tensile:.1%}; bone "
            f"yields at about {case.bone.crush_strain:.2%} and {TENSILE_YIELD_STRAIN:.2%}). Bone is "
            'linear in this case, so the true motion is larger: bone.law = "yields" lets it yield.'
        )
    return tuple(limits)


def _bears_in_gap(case: Case) -> bool:
    gaps = gaps_between(case.socket.holds_mm, case.implant.length_mm)
    return bool(gaps) and case.socket.gap_filled


def _model_limits(case: Case) -> tuple[str, ...]:
    """Return whether the wall is glued, and the unmeasured inputs that the peak depends on most."""
    face = case.interface
    glued = (GLUED,) if face.kind == "bonded" else ()
    assumed = []
    if face.layer_thickness_mm > 0:
        assumed.append(
            "the torn layer of bone at the wall (no agreed value; it can change the peak severalfold)"
        )
    if face.kind == "frictional" and face.measured_torque_ncm is None:
        assumed.append("the interference")
    if _bears_in_gap(case):
        assumed.append("the fill of the gap, glued and elastic at any strain")
    if case.bone.ct_number is not None:
        assumed.append("the modulus, read from a CT number (a factor of two either way)")
    elif case.bone.density is not None:
        assumed.append("the modulus, read from density")
    if not assumed:
        return glued
    return (*glued, f"It rests on assumed values: {'; '.join(assumed)}.")
