"""The six directions of a seated implant as a report."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stillroot.words.check_document import case_keys, six_table
from stillroot.words.directions import in_words
from stillroot.words.directions_report import (
    HEADINGS,
    LIMITS,
    TORQUE_TELLS,
    cells,
    place_in_words,
    torque_lines,
    what_follows,
    what_the_columns_are,
    what_the_states_mean,
)
from stillroot.words.document import (
    CLINICIAN,
    RESEARCHER,
    Document,
    Lines,
    Section,
    Shown,
    Table,
    made_by,
)

if TYPE_CHECKING:
    from stillroot.answers.answer import DirectionsResult

QUESTION = "How far does this implant move in each of its six directions?"


def directions_document(answer: DirectionsResult) -> Document:
    """Return the report of the six directions."""
    beside = Lines(lines=torque_lines(answer))
    short = six_table(
        answer.six, caption=_caption(answer), note=what_the_states_mean(answer).replace("\n", " ")
    )
    return Document(
        question=QUESTION,
        subject=answer.case.title,
        answer=f"{in_words(answer.six)} {TORQUE_TELLS}",
        beside=(),
        limits=LIMITS,
        first=(Shown(name="directions"),),
        sections=(
            Section(title="Insertion torque", blocks=(beside,)),
            Section(title="Direction by direction", blocks=(short,), readers=CLINICIAN),
            Section(
                title="Direction by direction",
                blocks=(_whole(answer), Lines(lines=what_follows(answer))),
                readers=RESEARCHER,
            ),
            Section(title="The case as resolved", blocks=(case_keys(answer.case),), readers=RESEARCHER),
        ),
        slides=("directions",),
        again="stillroot directions CASE.toml --out DIR",
        made_by=made_by(answer.versions, answer.case.fingerprint()),
    )


def _whole(answer: DirectionsResult) -> Table:
    return Table(
        caption=_caption(answer),
        head=("Direction", *HEADINGS),
        rows=tuple(cells(row) for row in answer.six.directions),
        numbers=frozenset(range(1, 6)),
        note=what_the_columns_are(answer).replace("\n", " "),
    )


def _caption(answer: DirectionsResult) -> str:
    return f"The seated implant under a load at {place_in_words(answer.six.height_mm)}"
