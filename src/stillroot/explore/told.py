"""What the page is told: answers as plain data, in the reports' words. Nothing is computed here."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from stillroot.answers.summary import place_of, summary_of
from stillroot.answers.wording import band_of, with_error
from stillroot.explore.site_drawing import peak_places, wall_lines
from stillroot.words.directions import IN_PLAIN_WORDS, in_words, load_in_words

if TYPE_CHECKING:
    from stillroot.answers.chain import Placed
    from stillroot.answers.levels import Solved
    from stillroot.answers.result import LoadAnswer
    from stillroot.explore.first import FirstAnswer
    from stillroot.inputs.case import Case
    from stillroot.mechanics.motion import Reading
    from stillroot.mechanics.six_directions import SixDirections


OPTION = re.compile(r"[:;,] [^:;,.]*--[a-z][^.;]*")
"""A clause of a sentence that names an option of the command line."""


def first_told(case: Case, answer: FirstAnswer) -> dict[str, Any]:
    """Return a first answer as plain data."""
    placed = answer.placed
    told = _load_told(case, answer, placed, answer.reading, answer.error_um, answer.head_error_um)
    return {
        "kind": "first",
        "loads": [told],
        **_seat_told(placed),
    }


def refined_told(case: Case, fine: Solved, answers: tuple[LoadAnswer, ...]) -> dict[str, Any]:
    """Return a refined answer as plain data."""
    summary = summary_of(case, answers)
    return {
        "kind": "refined",
        "loads": [
            _load_told(case, a, fine.placed, reading, a.error.total_um, a.head_error.total_um)
            for a, reading in zip(answers, fine.readings, strict=True)
        ],
        **_seat_told(fine.placed),
        "governing": max(answers, key=lambda a: a.peak.total_um).name,
        "limits": [without_options(text) for text in summary.limits],
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
    case: Case,
    answer: FirstAnswer | LoadAnswer,
    placed: Placed,
    reading: Reading,
    error_um: float,
    head_error_um: float,
) -> dict[str, Any]:
    peak, head = answer.peak, reading.head
    band = band_of(peak.total_um, case.threshold.bands_um)
    shown, place = with_error(peak.total_um, error_um), place_of(answer)
    return {
        "name": answer.name,
        "peak_um": peak.total_um,
        "error_um": error_um,
        "shown": shown,
        "band": band,
        "place": place,
        "sentence": f"Peak micromotion {shown} µm ({band}), {place}.",
        "ring_mm": peak_places(peak),
        "head_um": head.total_um,
        "head_shown": with_error(head.total_um, head_error_um),
        "head_rotation_deg": head.rotation_deg,
        "lines": wall_lines(placed.seated.layer, reading.motion),
    }
