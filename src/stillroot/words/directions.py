"""The six directions of a seated implant: in words, as a short table, and as a report."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stillroot.answers.wording import NO_LINE, rounded
from stillroot.mechanics.six_directions import GIVES_WAY, LITTLE, MUCH, SMALL
from stillroot.units import NMM_PER_NCM, UM_PER_MM
from stillroot.words.document import Column, Document, Section, Shown, Table, made_by
from stillroot.words.resolved import case_section
from stillroot.words.torques import TORQUE_IS_ONE, torque_lines

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stillroot.answers.result import DirectionsResult
    from stillroot.mechanics.six_directions import Direction, SixDirections

DEGREES_OF_FREEDOM = {
    "sideways": ("lateral x", "lateral y"),
    "along its axis": ("axial in", "axial out"),
    "in tilt": ("tilt about x", "tilt about y"),
    "about its own axis": ("rotation about the axis",),
}
"""The rows that make up each way to move. Sideways and tilting are two of the six each."""
IN_PLAIN_WORDS = {
    "lateral x": "Sideways (x)",
    "lateral y": "Sideways (y)",
    "axial in": "Pressed in",
    "axial out": "Pulled out",
    "tilt about x": "Tilted about x",
    "tilt about y": "Tilted about y",
    "rotation about the axis": "Turned about its axis",
}
STATES = (LITTLE, MUCH, GIVES_WAY)
"""From least to most motion."""


def in_words(six: SixDirections) -> str:
    """Return in which of the six directions it gives way, moves much or little, in one sentence."""
    by_name = {row.name: row for row in six.directions}
    states = {
        way: max((by_name[name].state for name in names), key=STATES.index)
        for way, names in DEGREES_OF_FREEDOM.items()
    }
    ways = {state: [way for way, is_in in states.items() if is_in == state] for state in STATES}
    if len(ways[LITTLE]) == len(states):
        return "Moves little in all six directions."
    count = sum(2 if way in ("sideways", "in tilt") else 1 for way in ways[LITTLE])
    little = f"{LITTLE} in no direction"
    if count == 1:
        little = f"{LITTLE} only {ways[LITTLE][0]}"
    elif count:
        little = f"{LITTLE} in the other {('two', 'three', 'four', 'five')[count - 2]}"
    parts = [f"{state} {_joined(ways[state])}" for state in (GIVES_WAY, MUCH) if ways[state]]
    sentence = "; ".join((*parts, little)) + "."
    return sentence[0].upper() + sentence[1:]


def load_in_words(row: Direction) -> str:
    """Return the reference load of a direction: N, or N·cm."""
    return f"{row.load:g} N" if row.load_unit == "N" else f"{row.load / NMM_PER_NCM:g} N·cm"


def place_in_words(height_mm: float) -> str:
    """Return a height on the axis in words."""
    if height_mm == 0:
        return "the crest"
    return f"{abs(height_mm):g} mm {'above' if height_mm > 0 else 'below'} the crest"


def _motion_text(row: Direction) -> str:
    return GIVES_WAY if row.micromotion is None else rounded(row.micromotion.peak.total_um)


WAY = Column("Direction", lambda row: IN_PLAIN_WORDS[row.name], whole=True)
LOAD = Column("Load", load_in_words, number=True)
PEAK = Column("Peak micromotion [µm]", _motion_text, number=True)
HOW = Column("How it moves", lambda row: row.state)


def six_table(six: SixDirections, *, caption: str, note: str) -> Table:
    """Return how an implant moves in each direction, in short."""
    return Table(
        caption=caption, columns=(WAY, LOAD, PEAK, HOW), items=six.directions, note=note, wide=False
    )


def _joined(items: list[str]) -> str:
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}"


# --- The report ----------------------------------------------------------------------------------------

QUESTION = "How far does this implant move in each of its six directions?"
LIMITS = (
    (
        "The reference loads compare directions and do not represent chewing: 50 N and 10 N·cm of "
        "torque are assumptions; 17 N·cm of tilt is a mean of the largest bending moments in chewing "
        "(Richter 1998, Int J Oral Maxillofac Implants 13:232-244)."
    ),
    (
        "Threads are rings here, so turning screws the implant neither in nor out. The numerical error "
        "is not estimated here; the check command estimates it for each load."
    ),
)
SMALL_LOAD = f"{SMALL:.0%} of the load"
THE_COLUMNS_ARE = (
    f"Initial stiffness: at {SMALL_LOAD}; secant: at the load; both from the movement of the reference "
    "point against the far bone. The 6 x 6 matrix in --json is the tangent: a vanishing load, with "
    "every closed point sticking."
)


def directions_document(answer: DirectionsResult, shown: Sequence[str] = ()) -> Document:
    """Return the report of the six directions, `shown` being the names of its pictures."""
    title = "Direction by direction"
    caption = f"The seated implant under a load at {place_in_words(answer.six.height_mm)}"
    states = what_the_states_mean(answer)
    short = six_table(answer.six, caption=caption, note=states)
    whole = Table(
        caption=caption, columns=WHOLE, items=answer.six.directions, note=f"{states} {THE_COLUMNS_ARE}"
    )
    return Document(
        question=QUESTION,
        subject=answer.case.title,
        answer=f"{in_words(answer.six)} {TORQUE_IS_ONE}",
        beside=(),
        limits=LIMITS,
        first=tuple(map(Shown, shown)),
        sections=(
            Section("Insertion torque", torque_lines(answer)),
            Section(title, (short,), ("clinician",)),
            Section(title, (whole, *what_follows(answer)), ("researcher", "terminal")),
            case_section(answer.case),
        ),
        slides=tuple(shown),
        again="stillroot directions CASE.toml --out DIR",
        made_by=made_by(answer.versions, answer.case.fingerprint()),
    )


def _stiffness(row: Direction, value: float | None) -> str:
    """Return a stiffness in N/µm, or N·cm for a degree."""
    if not value:
        return "none"
    if row.load_unit == "N":
        return f"{value / UM_PER_MM:.3g} N/µm"
    return f"{value / NMM_PER_NCM * math.pi / 180:.3g} N·cm/°"


def _head(row: Direction) -> str:
    if row.head is None:
        return "–"
    if row.name == "rotation about the axis":
        return f"{abs(row.head.rotation_deg):.2g}°"
    return f"{rounded(row.head.total_um)} µm"


WHOLE = (
    WAY,
    LOAD,
    Column("Initial stiffness", lambda row: _stiffness(row, row.stiffness), number=True),
    Column("Secant stiffness", lambda row: _stiffness(row, row.secant_stiffness), number=True),
    PEAK,
    Column("Head movement", _head, number=True),
    Column("How far it moves", lambda row: row.state.removeprefix("moves "), whole=True),
)


def what_the_states_mean(answer: DirectionsResult) -> str:
    """Return what the words for a direction mean."""
    first_band = answer.case.threshold.bands_um[0]
    return (
        f"Moves little: less than {first_band:g} µm at the bone under the load; moves much: more. Gives "
        f"way: no equilibrium under the load, or more than that motion at {SMALL_LOAD}. {NO_LINE}"
    )


def what_follows(answer: DirectionsResult) -> tuple[str, ...]:
    """Return where it turns, and where it begins to slip."""
    six = answer.six
    centre = six.centre_of_rotation_mm
    turning = (
        "Under a small lateral load the implant shifts without tilting."
        if centre is None
        else f"Centre of rotation under a small lateral load: {place_in_words(round(centre, 1))}."
    )
    if answer.torque is None:
        return (turning,)
    loads = {row.name: row.load for row in six.directions}
    sideways = _sliding(six.sliding_lateral_n, loads["lateral x"])
    inwards = _sliding(six.sliding_axial_n, loads["axial in"])
    return turning, f"A third of the held surface slips: sideways {sideways}; pressing in {inwards}."


def _sliding(load_n: float | None, reference_n: float) -> str:
    if load_n is None:
        return f"not up to {10 * reference_n:g} N"
    if load_n == 0:
        return f"already below {SMALL * reference_n:.1g} N"
    return f"at {load_n:.3g} N"
