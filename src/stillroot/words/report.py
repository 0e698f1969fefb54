"""The answer as text and as plain data. Nothing is computed here."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

from stillroot.answers.explained import as_explained
from stillroot.answers.summary import CAUTION, GIVES_WAY, NO_LINE, rounded, side_of, with_error
from stillroot.words.directions import direction_data, in_words

if TYPE_CHECKING:
    from collections.abc import Callable

    from rich.console import Console
    from rich.table import Table

    from stillroot.answers.answer import CheckResult, LoadAnswer
    from stillroot.answers.explained import Choice, Explained
    from stillroot.inputs.case import Case
    from stillroot.mechanics.torque import Torque

WIDTH = 100
NO_ANSWER = "no answer"
"""Stands for what could not be solved; the reason stands beside it."""
TORQUE_LEAVES_OUT = (
    "The torque is friction on compressed bone; it leaves out thread cutting (unless stated) and speed."
)


def show(answered: CheckResult | Explained, console: Console) -> None:
    """Print the answer to a console."""
    from rich.text import Text  # noqa: PLC0415 - slow to import

    explained = as_explained(answered)
    result = explained.answer

    bands = " / ".join(f"{band:g}" for band in result.case.threshold.bands_um)
    console.print(Text(result.case.title, style="bold"))
    console.print(Text(engagement_line(result)))
    for line in torque_lines(result):
        console.print(Text(line))
    table = empty_table(f"Motion from seated to loaded [µm]; bands {bands} µm")
    table.add_column("Load")
    table.add_column("Peak\nmicromotion", justify="right", no_wrap=True)
    table.add_column("Band", no_wrap=True)
    table.add_column(Text("Depth\n[mm]"), justify="right")  # as markup, [mm] would go
    table.add_column("Side", no_wrap=True)
    table.add_column("Sliding", justify="right")
    table.add_column("Opening", justify="right")
    table.add_column("Head\nmovement", justify="right")
    for a in result.loads:
        table.add_row(
            Text(a.name),
            with_error(a.peak.total_um, a.error.total_um),
            a.band,
            f"{a.peak.depth_mm + 0.0:.1f}",
            side_of(a),
            rounded(a.peak.sliding_um),
            rounded(a.peak.opening_um),
            with_error(a.head.total_um, a.head_error.total_um),
        )
    console.print(table)
    console.print(
        Text(
            "Side: towards or away from where the lateral load points, flank, all round, or axis (the "
            "tip).\nOpening: negative where the gap closes. Head movement includes the elastic give "
            "of bone and implant.\n",
            style="dim",
        )
    )
    console.print(Text(result.summary.sentence, style="bold"))
    for line in (NO_LINE, *result.summary.limits, CAUTION):
        console.print(Text(line))
    if explained.choices:
        console.print(_choices_table(explained))
        for line in choices_without_answer(explained):
            console.print(Text(line))


def _choices_table(explained: Explained) -> Table:
    from rich.text import Text  # noqa: PLC0415 - slow to import

    table = empty_table("\nPeak micromotion [µm] under other choices, where there is no agreed value")
    table.add_column("Choice")
    table.add_column("Instead", no_wrap=True)
    result = explained.answer
    for answer in result.loads:
        table.add_column(Text(answer.name), justify="right")
    table.add_row("", "base case", *(rounded(a.peak.total_um) for a in result.loads))
    for choice in explained.choices:
        table.add_row(choice.subject, Text(choice.text), *choice_cells(choice))
    return table


def choice_cells(choice: Choice) -> tuple[str, ...]:
    """Return the peak of each load under a choice."""
    none = NO_ANSWER if choice.reason else GIVES_WAY
    return tuple(none if peak is None else rounded(peak) for peak in choice.peaks_um)


def choices_without_answer(explained: Explained) -> tuple[str, ...]:
    """Return why a choice has no answer at all."""
    lost = (choice for choice in explained.choices if choice.reason)
    return tuple(f"No answer with {item.subject}, {item.text}: {item.reason}" for item in lost)


def empty_table(title: str) -> Table:
    """Return a table without columns, in the one style of all reports."""
    from rich import box  # noqa: PLC0415 - slow to import
    from rich.table import Table  # noqa: PLC0415 - slow to import

    return Table(title=title, title_justify="left", box=box.SIMPLE_HEAD, pad_edge=False)


def text_of(result: CheckResult | Explained) -> str:
    """Return what `show` prints, without colours, `WIDTH` columns wide."""
    return as_text(lambda console: show(result, console))


def as_text(print_on: Callable[[Console], None]) -> str:
    """Return what `print_on` prints to a console, without colours, `WIDTH` columns wide."""
    from rich.console import Console  # noqa: PLC0415 - slow to import

    file = io.StringIO()
    print_on(Console(file=file, width=WIDTH, color_system=None))
    return file.getvalue()


def data_of(answered: CheckResult | Explained) -> dict[str, Any]:
    """Return the answer as plain data for JSON; docs/result.md describes the keys."""
    explained = as_explained(answered)
    result, six = explained.answer, explained.six
    torque = result.torque
    return {
        "title": result.case.title,
        "engagement_length_mm": result.engagement_length_mm,
        "engaged_threads": result.engaged_threads,
        "insertion_torque_ncm": None if torque is None else torque.insertion_ncm,
        "torque": None if torque is None else _torque_data(result, torque),
        "summary": result.summary.text,
        "bands_um": list(result.case.threshold.bands_um),
        "loads": [_load_data(answer, result.case.threshold.bands_um) for answer in result.loads],
        "choices": [
            {
                "subject": choice.subject,
                "instead": choice.text,
                "peak_micromotion_um": {
                    a.name: peak for a, peak in zip(result.loads, choice.peaks_um, strict=True)
                },
                "no_answer_because": choice.reason,
            }
            for choice in explained.choices
        ],
        "six_directions": None
        if six is None
        else {
            "summary": in_words(six),
            "reference_height_mm": six.height_mm,
            "directions": [direction_data(row) for row in six.directions],
        },
        "levers": [
            {
                "change": lever.text,
                "by_plan": lever.by_plan,
                "peak_ratio": {
                    a.name: ratio for a, ratio in zip(result.loads, lever.ratios, strict=True)
                },
                "no_answer_because": lever.reason,
            }
            for lever in explained.levers
        ],
        "case": result.case.to_dict(),
        "case_fingerprint": result.case.fingerprint(),
        "versions": result.versions,
        "caution": CAUTION,
    }


def engagement_line(result: CheckResult) -> str:
    """Return the engagement in words, without a full stop."""
    holds = ", ".join(f"{top:g} to {bottom:g}" for top, bottom in result.case.socket.holds_mm)
    threads = result.engaged_threads
    engaged = "" if threads is None else f", {threads:.1f} engaged threads"
    return (
        f"Engagement length {result.engagement_length_mm:g} mm{engaged} "
        f"(held {holds} mm below the crest)"
    )


def torque_lines(result: CheckResult) -> tuple[str, ...]:
    """Return what is to be said of the torque; nothing where there is none."""
    torque, face = result.torque, result.case.interface
    if torque is None:
        return ()
    parts = [f"Insertion torque {torque_text(torque, case=result.case)} N·cm"]
    if torque.cutting_ncm:
        parts.append(f"of which cutting {torque.cutting_ncm:g} (stated)")
    if face.measured_torque_ncm is not None:
        parts.append(f"as measured, from an interference of {result.interference_um:.1f} µm (found)")
    else:
        parts.append(f"from an interference of {result.interference_um:g} µm")
    if torque.share_crushed > 0:
        parts.append(f"bone crushed on {torque.share_crushed:.0%} of the held surface")
    if face.retained_pressure < 1:
        parts.append(
            f"{face.retained_pressure:.0%} of the pressure retained, "
            f"removal torque {torque.removal_ncm:.0f} N·cm"
        )
    return (", ".join(parts) + ".", TORQUE_LEAVES_OUT)


def torque_text(torque: Torque, *, case: Case) -> str:
    """Return an insertion torque [N·cm] as it was measured, or else in whole numbers."""
    measured = case.interface.measured_torque_ncm
    return f"{torque.insertion_ncm:.0f}" if measured is None else f"{measured:g}"


def _torque_data(result: CheckResult, torque: Torque) -> dict[str, Any]:
    return {
        "friction_ncm": torque.friction_ncm,
        "cutting_ncm": torque.cutting_ncm,
        "removal_ncm": torque.removal_ncm,
        "interference_um": result.interference_um,
        "interference_found_from_torque": result.case.interface.measured_torque_ncm is not None,
        "share_crushed": torque.share_crushed,
        "mean_pressure_mpa": torque.mean_pressure_mpa,
        "lead_angle_deg": torque.lead_angle_deg,
        "left_out": TORQUE_LEAVES_OUT,
    }


def _load_data(answer: LoadAnswer, bands_um: tuple[float, ...]) -> dict[str, Any]:
    peak, motion, head, error = answer.peak, answer.micromotion, answer.head, answer.error
    load = answer.resultant
    return {
        "name": answer.name,
        "axial_n": load.axial_n,
        "lateral_n": load.lateral_n,
        "torque_ncm": load.torque_nmm / 10,
        "height_mm": load.height_mm,
        "peak_micromotion_um": peak.total_um,
        "sliding_um": peak.sliding_um,
        "opening_um": peak.opening_um,
        "mean_micromotion_um": motion.mean_um,
        "p95_micromotion_um": motion.percentile_um(95),
        "share_above": {f"{band:g}": motion.share_above(band) for band in bands_um},
        "peak_at": {
            "depth_mm": peak.depth_mm + 0.0,
            "radius_mm": peak.radius_mm,
            "angle_deg": peak.angle_deg,
            "all_round": peak.all_round,
        },
        "head_movement_um": {
            "lateral": head.lateral_um,
            "across": head.across_um,
            "axial": head.axial_um,
            "total": head.total_um,
        },
        "head_rotation_deg": head.rotation_deg,
        "band": answer.band,
        "error_um": error.total_um,
        "error_parts_um": error.parts_um,
        "head_error_um": answer.head_error.total_um,
        "head_error_parts_um": answer.head_error.parts_um,
        "share_over_crush": answer.share_over_crush,
        "bone_strain": {
            "compressive": answer.bone_strain.compressive,
            "tensile": answer.bone_strain.tensile,
            "past_yield_mm3": answer.bone_strain.past_yield_mm3,
        },
        "equilibrium_residual": answer.balance,
        "load_steps": answer.steps,
    }
