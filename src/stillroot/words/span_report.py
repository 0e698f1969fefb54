"""The answer to a plan as text and as plain data. Nothing is computed here."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from stillroot.answers.summary import (
    CAUTION,
    GIVES_WAY,
    NO_LINE,
    OUT_OF_SEAT_UM,
    band_of,
    rounded,
    with_error,
)
from stillroot.units import NMM_PER_NCM
from stillroot.words.report import TORQUE_LEAVES_OUT, as_text, empty_table

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from rich.console import Console
    from rich.table import Table

    from stillroot.arch.span import ImplantAnswer, SpanLoadAnswer, SpanResult
    from stillroot.arch.span_vary import Variation

ONE_DIGIT_BELOW = 10.0
"""Components of force and moment below this are shown with one digit."""
LEAST_SHOWN = 0.05
"""A force [N] below this is not shown."""
TORQUE_TELLS = (
    "Insertion torque is friction about one axis while that implant went in. Adding torques up and "
    "comparing the sum with a limit is common practice without a source: the sum ignores where the load "
    "acts, how the bridge shares it and how far any one implant moves."
)
TILT_LEAVES_OUT = (
    "The model takes the crest as level across the axis of a tilted implant. In a flat crest the "
    "implant has more bone on one side of its neck and less on the other."
)
QUICK_TELLS = (
    "Quick: a coarse mesh, few harmonics and one load step, without the numerical error and the strain "
    "of the bone."
)
ALONE_TELLS = (
    "On a single crown: each force acts at its own place, on the crown of the nearest implant along the "
    "bridge."
)


def show(result: SpanResult, console: Console) -> None:
    """Print the answer to a console."""
    from rich.text import Text  # noqa: PLC0415 - slow to import

    console.print(Text(result.plan.title, style="bold"))
    for line in (bridge_in_words(result), torques_in_words(result)):
        console.print(Text(line))
    for answer in result.loads:
        console.print(_table(answer))
    console.print(
        Text(
            "Forces and moments act on the abutment's top, in the implant's own axes: z along it and "
            "out of the bone (a negative F_z presses in), x and y across it.\n",
            style="dim",
        )
    )
    console.print(Text(sentence(result), style="bold"))
    for line in (NO_LINE, *limits(result), CAUTION):
        console.print(Text(line))


def text_of(result: SpanResult) -> str:
    """Return what `show` prints, without colours, `report.WIDTH` columns wide."""
    return as_text(lambda console: show(result, console))


def data_of(result: SpanResult) -> dict[str, Any]:
    """Return the answer as plain data for JSON; docs/span.md describes the keys."""
    load, implant = result.governing, result.governing.governing
    return {
        "title": result.plan.title,
        "summary": " ".join((sentence(result), NO_LINE, *limits(result))),
        "quick": result.quick,
        "governing": {
            "load": load.name,
            "implant": implant.name,
            "peak_micromotion_um": implant.peak.total_um,
            "band": implant.band,
        },
        "insertion_torques_ncm": {
            placed.name: None if torque is None else torque.insertion_ncm
            for placed, torque in zip(result.plan.implants, result.torques, strict=True)
        },
        "torque_sum_ncm": result.torque_sum_ncm,
        "loads": [_load_data(answer) for answer in result.loads],
        "plan": result.plan.to_dict(),
        "plan_fingerprint": result.plan.fingerprint(),
        "versions": result.versions,
        "caution": CAUTION,
    }


def sentence(result: SpanResult) -> str:
    """Return which implant moves most, and under which load."""
    load, implant = result.governing, result.governing.governing
    return (
        f"Peak interface micromotion is {motion_text(implant)} µm ({implant.band}) at "
        f'"{implant.name}" under "{load.name}", the governing implant and load.'
    )


def motion_text(implant: ImplantAnswer) -> str:
    """Return the peak [µm], with its error where there is one."""
    peak = implant.peak.total_um
    return rounded(peak) if implant.error is None else with_error(peak, implant.error.total_um)


def head_text(implant: ImplantAnswer) -> str:
    """Return the head movement [µm], with its error where there is one."""
    head = implant.head.total_um
    if implant.head_error is None:
        return rounded(head)
    return with_error(head, implant.head_error.total_um)


def bridge_in_words(result: SpanResult) -> str:
    """Return what splints the implants."""
    bridge, plan = result.plan.bridge, result.plan
    count = f"{len(plan.implants)} implants under a bridge of {plan.line.length_mm:.0f} mm"
    if bridge.kind == "rigid":
        return f"{count}, rigid"
    made = "E" if bridge.modulus_mpa is not None else str(bridge.material).replace("_", "-") + ","
    joint = ""
    if bridge.joint_shift_um_per_n or bridge.joint_tilt_deg_per_ncm:
        joint = (
            f"; compliance of the screw joints {bridge.joint_shift_um_per_n:g} µm/N and "
            f"{bridge.joint_tilt_deg_per_ncm:g}°/N·cm"
        )
    return (
        f"{count}: {made} {bridge.elastic.modulus_mpa:g} MPa, {bridge.width_mm:g} wide and "
        f"{bridge.height_mm:g} mm high{joint}"
    )


def torques_in_words(result: SpanResult) -> str:
    """Return the single insertion torques and their sum."""
    parts = [
        f"{placed.name} " + ("glued" if torque is None else f"{torque.insertion_ncm:.0f}")
        for placed, torque in zip(result.plan.implants, result.torques, strict=True)
    ]
    total = result.torque_sum_ncm
    end = "" if total is None else f"; sum {total:.0f}"
    return f"Insertion torques [N·cm]: {', '.join(parts)}{end}"


def limits(result: SpanResult) -> tuple[str, ...]:
    """Return what limits the numbers."""
    worst = result.governing.governing
    told = []
    if worst.peak.total_um > OUT_OF_SEAT_UM:
        told.append(
            "A motion this large leaves the seat. The model is valid for small motions only: read this "
            "one as giving way."
        )
    if worst.share_over_crush > 0.01:
        told.append(
            f"Under this load, {worst.share_over_crush:.0%} of its held surface bears more than the "
            "pressure assumed to crush bone; there the bone would give way and the implant move more."
        )
    strain = worst.bone_strain
    if strain is not None and strain.is_past_yield:
        told.append(
            f"Around it, bone is strained past yield in {strain.past_yield_mm3:.0f} mm³. Bone stays "
            "linear in the model, so the true motion is larger."
        )
    told += [*_other_band(result), *_worth(result), _torque_beside(result)]
    if any(placed.tilt_deg for placed in result.plan.implants):
        told.append(TILT_LEAVES_OUT)
    told.append(
        "Each implant has bone of its own: neighbours do not interact through it, and the jaw does not "
        f"bend. {TORQUE_LEAVES_OUT}"
    )
    if result.quick:
        told.append(QUICK_TELLS)
    return tuple(told)


def _other_band(result: SpanResult) -> list[str]:
    """Return the largest head movement where it lies in another band than the largest peak."""
    moved = [(load, implant) for load in result.loads for implant in load.implants]
    load, implant = max(moved, key=lambda pair: pair[1].head.total_um)
    (placed,) = (p for p in result.plan.implants if p.name == implant.name)
    band = band_of(implant.head.total_um, result.plan.case_of(placed).threshold.bands_um)
    if band == result.governing.governing.band:
        return []
    text = (
        f'The largest head movement, {implant.head.total_um:.0f} µm of "{implant.name}" under '
        f'"{load.name}", lies in another band ({band}): it includes the elastic give of bone and '
        "implant, and is what a bench gauge reads."
    )
    return [text]


def _torque_beside(result: SpanResult) -> str:
    """Return what the torques mean, with the torque of the implant that moves most."""
    if result.torque_sum_ncm is None:
        return TORQUE_TELLS
    torques = {
        placed.name: torque.insertion_ncm
        for placed, torque in zip(result.plan.implants, result.torques, strict=True)
        if torque is not None
    }
    worst, strongest = result.governing.governing.name, max(torques, key=torques.__getitem__)
    of_it = f"{torques[worst]:.0f} N·cm of the {result.torque_sum_ncm:.0f}"
    if worst == strongest:
        of_it = f"the highest torque: {of_it}"
    return f'{TORQUE_TELLS} Here the implant that moves most, "{worst}", has {of_it}.'


def _worth(result: SpanResult) -> list[str]:
    """Return the effect of splinting, load by load, where it was asked for."""
    lines = []
    for answer in result.loads:
        if not answer.alone:
            continue
        peaks = [alone.peak_um for alone in answer.alone]
        lost = [alone.name for alone in answer.alone if alone.peak_um is None]
        splinted = rounded(answer.governing.peak.total_um)
        if lost:
            single = f'on single crowns "{lost[0]}" {GIVES_WAY}'
        else:
            single = f"{rounded(max(p for p in peaks if p is not None))} µm on single crowns"
        lines.append(f'Effect of splinting under "{answer.name}": {single}, {splinted} µm splinted.')
    return [*lines, ALONE_TELLS] if lines else []


def _table(answer: SpanLoadAnswer) -> Table:
    from rich.text import Text  # noqa: PLC0415 - slow to import

    table = empty_table("")
    table.title = Text(
        f"\n{answer.name}: {load_in_words(answer)}; bridge moves up to {answer.deflection_um:.0f} µm at "
        f"{place(answer.deflection_at_mm)}"
    )
    table.add_column("Implant")
    table.add_column(_three("F_x", "F_y", "F_z") + "\n[N]", justify="right", no_wrap=True)
    table.add_column(_three("M_x", "M_y", "M_z") + "\n[N·cm]", justify="right", no_wrap=True)
    table.add_column("Peak micro-\nmotion [µm]", justify="right", no_wrap=True)
    table.add_column("Band\n[µm]", no_wrap=True)
    table.add_column("Head move-\nment [µm]", justify="right", no_wrap=True)
    if answer.alone:
        table.add_column("On a single\ncrown [µm]", justify="right", no_wrap=True)
    for k, implant in enumerate(answer.implants):
        row = [
            _three(*(component(part) for part in implant.force[:3])),
            _three(*(component(part / NMM_PER_NCM) for part in implant.force[3:])),
            motion_text(implant),
            implant.band.removesuffix(" µm"),
            head_text(implant),
        ]
        if answer.alone:
            peak = answer.alone[k].peak_um
            row.append(GIVES_WAY if peak is None else rounded(peak))
        style = "bold" if implant is answer.governing else ""
        table.add_row(Text(implant.name, style=style), *row)
    return table


def _three(x: str, y: str, z: str) -> str:
    return f"{x:>5}{y:>5}{z:>5}"


def load_in_words(answer: SpanLoadAnswer) -> str:
    """Return the forces of a load, each by its size down and across."""
    told = []
    for force in answer.forces:
        down, across = -float(force.force_n[2]), float(np.linalg.norm(force.force_n[:2]))
        parts = []
        if abs(down) >= LEAST_SHOWN:
            parts.append(f"{abs(down):g} N {'down' if down > 0 else 'up'}")
        if across >= LEAST_SHOWN:
            parts.append(f"{across:.3g} N sideways")
        told.append(f"{' and '.join(parts)} at {place(force.at_mm)}")
    return ", ".join(told)


def place(point: NDArray[np.float64]) -> str:
    """Return a point as (x, y, z) in whole mm."""
    return "(" + ", ".join(f"{round(x) + 0:d}" for x in point.tolist()) + ")"


def component(value: float) -> str:
    """Return a component of force or moment, sensibly rounded."""
    digits = 1 if abs(value) < ONE_DIGIT_BELOW else 0
    return f"{round(value, digits) + 0.0:.{digits}f}"


def _load_data(answer: SpanLoadAnswer) -> dict[str, Any]:
    return {
        "name": answer.name,
        "forces": [{"at_mm": f.at_mm.tolist(), "force_n": f.force_n.tolist()} for f in answer.forces],
        "governing_implant": answer.governing.name,
        "bridge_deflection_um": answer.deflection_um,
        "bridge_deflection_at_mm": answer.deflection_at_mm.tolist(),
        "bridge_line_mm": answer.line_mm.tolist(),
        "bridge_moved_um": answer.moved_um.tolist(),
        "balance": answer.balance,
        "implants": [_implant_data(answer, k) for k in range(len(answer.implants))],
    }


def _implant_data(answer: SpanLoadAnswer, k: int) -> dict[str, Any]:
    implant = answer.implants[k]
    peak, head = implant.peak, implant.head
    told = {
        "name": implant.name,
        "force_n": implant.force[:3].tolist(),
        "moment_nmm": implant.force[3:].tolist(),
        "plan_force_n": implant.plan_force[:3].tolist(),
        "plan_moment_nmm": implant.plan_force[3:].tolist(),
        "peak_micromotion_um": peak.total_um,
        "peak_error_um": None if implant.error is None else implant.error.total_um,
        "error_parts_um": None if implant.error is None else implant.error.parts_um,
        "band": implant.band,
        "peak_depth_mm": peak.depth_mm,
        "peak_angle_deg": peak.angle_deg,
        "sliding_um": peak.sliding_um,
        "opening_um": peak.opening_um,
        "head_movement_um": head.total_um,
        "head_movement_error_um": None if implant.head_error is None else implant.head_error.total_um,
        "head_lateral_um": [head.lateral_um, head.across_um],
        "head_axial_um": head.axial_um,
        "share_over_crush": implant.share_over_crush,
        "past_yield_mm3": None if implant.bone_strain is None else implant.bone_strain.past_yield_mm3,
    }
    if answer.alone:
        alone = answer.alone[k]
        told["on_single_crown"] = {
            "force_n": alone.force[:3].tolist(),
            "moment_nmm": alone.force[3:].tolist(),
            "peak_micromotion_um": alone.peak_um,
            "head_movement_um": alone.head_um,
        }
    return told


def show_varied(variation: Variation, console: Console) -> None:
    """Print what came of varying one thing to a console."""
    from rich.text import Text  # noqa: PLC0415 - slow to import

    console.print(Text(variation.plan.title, style="bold"))
    table = empty_table("")
    table.title = Text(f"\n{variation.what}")
    table.add_column("Varied to")
    table.add_column("Peak micro-\nmotion [µm]", justify="right", no_wrap=True)
    table.add_column("Implant")
    table.add_column("Load")
    table.add_column("F_z on it\n[N]", justify="right", no_wrap=True)
    table.add_column("Bridge\nmoves [µm]", justify="right", no_wrap=True)
    for row in variation.rows:
        if row.result is None:
            table.add_row(Text(row.label), GIVES_WAY)
            continue
        load = row.result.governing
        implant = load.governing
        table.add_row(
            Text(row.label),
            motion_text(implant),
            Text(implant.name),
            Text(load.name),
            component(float(implant.force[2])),
            f"{load.deflection_um:.0f}",
        )
    console.print(table)
    for line in (QUICK_TELLS, NO_LINE, CAUTION):
        console.print(Text(line))


def varied_data(variation: Variation) -> dict[str, Any]:
    """Return what came of varying one thing as plain data for JSON."""
    return {
        "title": variation.plan.title,
        "varied": variation.what,
        "rows": [
            {"varied_to": row.label, "answer": None if row.result is None else data_of(row.result)}
            for row in variation.rows
        ],
        "caution": CAUTION,
    }
