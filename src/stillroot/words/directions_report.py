"""How an implant moves in its six directions, as text and as plain data. Nothing is computed here."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from stillroot.answers.summary import CAUTION, NO_LINE, rounded
from stillroot.mechanics.six_directions import SMALL
from stillroot.words.directions import IN_PLAIN_WORDS, direction_data, in_words, load_in_words
from stillroot.words.report import TORQUE_LEAVES_OUT, as_text, empty_table, torque_text

if TYPE_CHECKING:
    from rich.console import Console

    from stillroot.answers.answer import DirectionsResult
    from stillroot.mechanics.six_directions import Direction

HEADINGS = (
    "Load",
    "Initial\nstiffness",
    "Secant\nstiffness",
    "Peak micro-\nmotion [µm]",
    "Head\nmovement",
    "How far\nit moves",
)

TORQUE_TELLS = "Torque is friction about one of the six directions; it does not measure the other five."
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


def show(answer: DirectionsResult, console: Console) -> None:
    """Print the answer to a console."""
    from rich.text import Text  # noqa: PLC0415 - slow to import

    console.print(Text(answer.case.title, style="bold"))
    for line in torque_lines(answer):
        console.print(Text(line))
    table = empty_table(
        f"Six directions of the seated implant, at {place_in_words(answer.six.height_mm)}"
    )
    table.add_column("Direction", no_wrap=True)
    for heading in HEADINGS[:-1]:
        table.add_column(Text(heading), justify="right", no_wrap=True)
    table.add_column(HEADINGS[-1], no_wrap=True)
    for row in answer.six.directions:
        table.add_row(*cells(row))
    console.print(table)
    console.print(Text(what_the_columns_are(answer), style="dim"))
    console.print()
    for line in what_follows(answer):
        console.print(Text(line))
    console.print()
    console.print(Text(f"{in_words(answer.six)} {TORQUE_TELLS}", style="bold"))
    for line in (*LIMITS, CAUTION):
        console.print(Text(line))


def text_of(answer: DirectionsResult) -> str:
    """Return what `show` prints, without colours, `WIDTH` columns wide."""
    return as_text(lambda console: show(answer, console))


def data_of(answer: DirectionsResult) -> dict[str, Any]:
    """Return the answer as plain data for JSON; stiffnesses and reference loads in N, mm, rad."""
    six, torque = answer.six, answer.torque
    return {
        "title": answer.case.title,
        "summary": in_words(six),
        "reference_height_mm": six.height_mm,
        "directions": [direction_data(row) for row in six.directions],
        "stiffness_matrix": (six.matrix + 0.0).tolist(),
        "centre_of_rotation_mm": six.centre_of_rotation_mm,
        "sliding_lateral_n": six.sliding_lateral_n,
        "sliding_axial_n": six.sliding_axial_n,
        "insertion_torque_ncm": None if torque is None else torque.insertion_ncm,
        "removal_torque_ncm": None if torque is None else torque.removal_ncm,
        "interference_um": answer.interference_um,
        "case": answer.case.to_dict(),
        "case_fingerprint": answer.case.fingerprint(),
        "versions": answer.versions,
        "caution": " ".join((TORQUE_TELLS, *LIMITS, CAUTION)),
    }


def torque_lines(answer: DirectionsResult) -> tuple[str, ...]:
    """Return the torque in words."""
    torque = answer.torque
    if torque is None:
        return ("Bonded: there is no insertion torque.",)
    found = " (found from the measured torque)" if answer.case.interface.measured_torque_ncm else ""
    told = (
        f"Insertion torque {torque_text(torque, case=answer.case)} N·cm, removal torque "
        f"{torque.removal_ncm:.0f} N·cm, from an interference of {answer.interference_um:.3g} µm{found}."
    )
    return told, TORQUE_LEAVES_OUT


def place_in_words(height_mm: float) -> str:
    """Return a height on the axis in words."""
    if height_mm == 0:
        return "the crest"
    return f"{abs(height_mm):g} mm {'above' if height_mm > 0 else 'below'} the crest"


def cells(row: Direction) -> tuple[str, ...]:
    """Return a row of the table."""
    motion = "gives way" if row.micromotion is None else rounded(row.micromotion.peak.total_um)
    return (
        IN_PLAIN_WORDS[row.name],
        load_in_words(row),
        _stiffness(row, row.stiffness),
        "none" if row.secant_stiffness is None else _stiffness(row, row.secant_stiffness),
        motion,
        _head(row),
        row.state.removeprefix("moves "),
    )


def _stiffness(row: Direction, value: float) -> str:
    """Return a stiffness in N/µm, or N·cm for a degree."""
    if value == 0:
        return "none"
    if row.load_unit == "N":
        return f"{value / 1000:.3g} N/µm"
    return f"{value / 10 * math.pi / 180:.3g} N·cm/°"


def _head(row: Direction) -> str:
    if row.head is None:
        return "–"
    if row.name == "rotation about the axis":
        return f"{abs(row.head.rotation_deg):.2g}°"
    return f"{rounded(row.head.total_um)} µm"


def what_the_columns_are(answer: DirectionsResult) -> str:
    """Return what the words and numbers of the table mean."""
    return (
        f"{what_the_states_mean(answer)}\nInitial stiffness: at {_small()}; secant: at the load; both "
        "from the movement of the reference\npoint against the far bone. The 6 x 6 matrix in --json is "
        "the tangent: a vanishing load,\nwith every closed point sticking."
    )


def what_the_states_mean(answer: DirectionsResult) -> str:
    """Return what the words for a direction mean."""
    first_band = answer.case.threshold.bands_um[0]
    return (
        f"Moves little: less than {first_band:g} µm at the bone under the load; moves much: more. Gives "
        f"way: no\nequilibrium under the load, or more than that motion at {_small()}.\n{NO_LINE}"
    )


def _small() -> str:
    return f"{SMALL:.0%} of the load"


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
