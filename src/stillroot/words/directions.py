"""Directions of a seated implant in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stillroot.answers.wording import rounded
from stillroot.mechanics.six_directions import GIVES_WAY, LITTLE, MUCH
from stillroot.units import NMM_PER_NCM
from stillroot.words.document import Column, Table

if TYPE_CHECKING:
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
