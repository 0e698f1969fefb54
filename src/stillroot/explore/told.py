"""What the page is told: a case drawn and answered, as plain data. Nothing is computed here.

The section's shapes are to scale, in mm: x to the right is θ = 0, where a positive lateral load points;
z up is out of the bone. They are the outline's that is meshed, in the order in which the report draws
them; only paper and pen differ. Answers are in the reports' words.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np

from stillroot.answers.chain import resultant_of
from stillroot.answers.result import LoadAnswer, peak_text
from stillroot.answers.summary import place_of, summary_of
from stillroot.answers.wording import band_of, with_error
from stillroot.mechanics.outline import gaps_between, outline_of
from stillroot.words.directions import IN_PLAIN_WORDS, in_words, load_in_words
from stillroot.words.loads import load_text

if TYPE_CHECKING:
    from stillroot.answers.chain import Placed
    from stillroot.answers.levels import Solved
    from stillroot.arrays import Floats
    from stillroot.explore.first import FirstAnswer
    from stillroot.inputs.case import Case
    from stillroot.mechanics.interface import Layer
    from stillroot.mechanics.motion import Micromotion, Peak
    from stillroot.mechanics.six_directions import SixDirections

DIGITS = 4
"""Of a millimetre: a tenth of a micrometre is far below a pixel."""
OPTION = re.compile(r"[:;,] [^:;,.]*--[a-z][^.;]*")
"""A clause of a sentence that names an option of the command line."""


def drawing_of(case: Case) -> dict[str, Any]:
    """Return the shapes of a case, the lower one first, and the words written into them."""
    from stillroot.pictures.bodies import mirrored_corners  # noqa: PLC0415 - matplotlib is slow to import
    from stillroot.pictures.words import gap_text  # noqa: PLC0415 - beside it

    implant, socket = case.implant, case.socket
    radius, depth = case.block_mm
    gaps = gaps_between(socket.holds_mm, implant.length_mm)
    return {
        "regions": [
            {"name": region.name, "corners": _plain(mirrored_corners(region.corners_mm))}
            for region in reversed(outline_of(case).regions)
        ],
        "length_mm": implant.length_mm,
        "radius_mm": implant.diameter_mm / 2,
        "abutment_mm": [implant.abutment_diameter_mm / 2, implant.abutment_height_mm],
        "cortical_mm": min(case.bone.cortical_thickness_mm, depth),
        "block_mm": [radius, depth],
        "holds_mm": [list(hold) for hold in socket.holds_mm],
        "gaps_mm": [list(gap) for gap in gaps],
        "gap_width_mm": socket.gap_width_mm if gaps else 0.0,
        "gap_text": gap_text(case) if gaps else "",
        "loads": [
            {
                "name": item.name,
                "text": load_text(resultant_of(item), lines=1),
                "axial_n": item.components[0],
                "lateral_n": item.components[1],
                "torque_ncm": item.torque_ncm,
                "height_mm": item.height_mm,
            }
            for item in case.loads
        ],
        "engagement_length_mm": case.engagement_length_mm,
        "engaged_threads": case.engaged_threads,
        "bands_um": list(case.threshold.bands_um),
    }


def wall_lines(layer: Layer, motion: Micromotion) -> list[list[float]]:
    """Return the motion along the held wall: rows r, z, r, z [mm], motion at 0° and at 180° [µm].

    Each held edge of the wall is two lines, each with the mean motion of its two ends, as the report
    draws them.
    """
    edges = np.arange(len(motion.depth_mm)).reshape(-1, 3)[layer.held[1::3]]
    halves = np.concatenate([edges[:, :2], edges[:, 1:]])
    place = np.stack([motion.radius_mm, -motion.depth_mm], axis=1)
    columns = [int(np.argmin(np.abs(np.degrees(motion.angles) - angle))) for angle in (0.0, 180.0)]
    values = motion.total_um[halves][:, :, columns].mean(axis=1)
    return _plain(np.hstack([place[halves].reshape(-1, 4), values]))


def peak_places(peak: Peak) -> list[list[float]]:
    """Return where the ring about a peak is drawn: x, z [mm], on both sides where it is all round."""
    side = 1.0 if np.cos(np.radians(peak.angle_deg)) > -1e-9 else -1.0
    here = [side * peak.radius_mm, -peak.depth_mm]
    return [here, [-here[0], here[1]]] if peak.all_round else [here]


def _plain(values: Floats) -> list[list[float]]:
    rounded: list[list[float]] = (np.round(values, DIGITS) + 0.0).tolist()
    return rounded


def first_told(case: Case, answer: FirstAnswer) -> dict[str, Any]:
    """Return a first answer as plain data."""
    told = _load_told(case, answer, answer.placed, answer.error_um, answer.head_error_um)
    return {"kind": "first", "loads": [told], **_seat_told(answer.placed)}


def refined_told(case: Case, fine: Solved, answers: tuple[LoadAnswer, ...]) -> dict[str, Any]:
    """Return a refined answer as plain data."""
    return {
        "kind": "refined",
        "loads": [
            _load_told(case, answer, fine.placed, answer.error.total_um, answer.head_error.total_um)
            for answer in answers
        ],
        **_seat_told(fine.placed),
        "governing": max(answers, key=lambda a: a.severity).name,
        "limits": [without_options(text) for text in summary_of(case, answers).limits],
        "case_fingerprint": case.fingerprint(),
    }


def without_options(text: str) -> str:
    """Return a report's sentence without the clause that names an option: a page has none.

    >>> without_options("So the motion is larger: --choices shows one way.")
    'So the motion is larger.'
    """
    return OPTION.sub("", text)


def directions_told(six: SixDirections) -> dict[str, Any]:
    """Return the six directions as plain data."""
    return {
        "kind": "directions",
        "summary": in_words(six),
        "rows": [
            {
                "name": row.name,
                "words": IN_PLAIN_WORDS[row.name],
                "load": load_in_words(row),
                "peak_um": None if row.micromotion is None else row.micromotion.peak.total_um,
                "state": row.state,
            }
            for row in six.directions
        ],
    }


def _seat_told(placed: Placed) -> dict[str, Any]:
    torque = placed.torque
    return {
        "insertion_torque_ncm": None if torque is None else torque.insertion_ncm,
        "interference_um": placed.interference_um,
    }


def _load_told(
    case: Case, answer: FirstAnswer | LoadAnswer, placed: Placed, error_um: float, head_error_um: float
) -> dict[str, Any]:
    peak, head = answer.peak, answer.head
    band = band_of(peak.total_um, case.threshold.bands_um)
    shown, place = f"{with_error(peak.total_um, error_um)} µm", place_of(answer)
    sentence = f"Peak micromotion {shown} ({band}), {place}."
    gives_way = isinstance(answer, LoadAnswer) and answer.gives_way_at is not None
    if isinstance(answer, LoadAnswer) and gives_way:
        shown, band = peak_text(answer), answer.band
        sentence = f"The implant {shown}; what is drawn is its motion there."
    return {
        "name": answer.name,
        "peak_um": peak.total_um,
        "error_um": error_um,
        "shown": shown,
        "gives_way": gives_way,
        "band": band,
        "place": place,
        "sentence": sentence,
        "ring_mm": peak_places(peak),
        "head_um": head.total_um,
        "head_shown": with_error(head.total_um, head_error_um),
        "head_rotation_deg": head.rotation_deg,
        "lines": wall_lines(placed.seated.layer, answer.micromotion),
    }
