"""The answer to a plan of a full arch as a report, and a plan with one thing varied."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stillroot.answers.summary import OUT_OF_SEAT_UM, yield_limits
from stillroot.answers.wording import band_of, rounded, with_error
from stillroot.inputs.case_messages import written
from stillroot.mechanics.six_directions import GIVES_WAY
from stillroot.units import NMM_PER_NCM
from stillroot.words.document import Column, Document, Section, Shown, Table, made_by
from stillroot.words.torques import TORQUE_LEAVES_OUT

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from stillroot.arch.span import ImplantAnswer, SpanLoadAnswer, SpanResult
    from stillroot.arch.span_vary import Variation, Varied
    from stillroot.arrays import Floats
    from stillroot.mechanics.accuracy import ErrorEstimate
    from stillroot.mechanics.torque import Torque

QUESTION = "How far does each implant under this bridge move against its bone?"
AXES = (
    "Forces and moments act on the abutment's top, in the implant's own axes: z along it and out of the "
    "bone (a negative F_z presses in), x and y across it."
)
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


def span_document(result: SpanResult, shown: Sequence[str] = ()) -> Document:
    """Return the report of a full arch, `shown` being the names of its pictures, one a load."""
    first = shown[result.loads.index(result.governing)] if shown else ""
    loads = map(_load_table, result.loads)
    pictures = (Shown(name) for name in shown if name != first)
    return Document(
        question=QUESTION,
        subject=result.plan.title,
        answer=sentence(result),
        limits=limits(result),
        first=(Shown(first),),
        sections=(
            Section(
                "Implants, bridge and torques",
                (f"{bridge_in_words(result)}.", f"{torques_in_words(result)}."),
            ),
            Section(
                "How far each implant moves", (_motions_table(result),), ("clinician", "researcher")
            ),
            Section("What each implant carries", (*loads, AXES, *pictures), ("researcher", "terminal")),
            Section("The plan", (_placed_table(result), _bridge_table(result)), ("researcher",)),
        ),
        slides=tuple(shown),
        again="stillroot span plan.toml --out DIR",
        case_file="plan.toml",
        made_by=made_by(result.versions, result.plan.fingerprint()),
    )


def varied_document(variation: Variation, _shown: Sequence[str] = ()) -> Document:
    """Return the report of a plan with one thing varied; it has no pictures."""
    found = [row.result for row in variation.rows if row.result is not None]
    peaks = [result.governing.governing.peak.total_um for result in found]
    answer = "No variant of the plan has an answer."
    if peaks:
        answer = (
            f"Varied so, the peak of the implant that moves most lies between {rounded(min(peaks))} and "
            f"{rounded(max(peaks))} µm."
        )
    table = Table(caption=variation.what, columns=VARIED, items=variation.rows)
    return Document(
        question=QUESTION,
        subject=variation.plan.title,
        answer=answer,
        limits=(QUICK_TELLS,),
        sections=(Section("Variants of the plan", (table,)),),
    )


def sentence(result: SpanResult) -> str:
    """Return which implant moves most, and under which load."""
    load, implant = result.governing, result.governing.governing
    return (
        f"Peak interface micromotion is {motion_text(implant)} µm ({implant.band}) at "
        f'"{implant.name}" under "{load.name}", the governing implant and load.'
    )


def motion_text(implant: ImplantAnswer) -> str:
    """Return the peak [µm], with its error where there is one."""
    return _with_error(implant.peak.total_um, implant.error)


def head_text(implant: ImplantAnswer) -> str:
    """Return the head movement [µm], with its error where there is one."""
    return _with_error(implant.head.total_um, implant.head_error)


def _with_error(value_um: float, error: ErrorEstimate | None) -> str:
    return rounded(value_um) if error is None else with_error(value_um, error.total_um)


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
    torques = zip(result.plan.implants, result.torques, strict=True)
    parts = [f"{placed.name} {_torque(torque)}" for placed, torque in torques]
    total = result.torque_sum_ncm
    end = "" if total is None else f"; sum {total:.0f}"
    return f"Insertion torques [N·cm]: {', '.join(parts)}{end}"


def _torque(torque: Torque | None) -> str:
    return "glued" if torque is None else f"{torque.insertion_ncm:.0f}"


def limits(result: SpanResult) -> tuple[str, ...]:
    """Return what limits the numbers."""
    worst = result.governing.governing
    told = []
    if worst.peak.total_um > OUT_OF_SEAT_UM:
        told.append(
            "A motion this large leaves the seat. The model is valid for small motions only: read this "
            "one as giving way."
        )
    (placed,) = (placed for placed in result.plan.implants if placed.name == worst.name)
    case = result.plan.case_of(placed)
    told += yield_limits(case, worst.bone_strain, worst.share_over_crush)
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
        f'"{load.name}", lies in another band ({band}): it includes the give of bone and '
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


def place(point: Floats) -> str:
    """Return a point as (x, y, z) in whole mm."""
    return "(" + ", ".join(f"{round(x) + 0:d}" for x in point.tolist()) + ")"


def component(value: float) -> str:
    """Return a component of force or moment, sensibly rounded."""
    digits = 1 if abs(value) < ONE_DIGIT_BELOW else 0
    return f"{round(value, digits) + 0.0:.{digits}f}"


# --- Tables -------------------------------------------------------------------------------------------


def _motions_table(result: SpanResult) -> Table:
    def motion(load: SpanLoadAnswer) -> Callable[[int], str]:
        return lambda k: motion_text(load.implants[k])

    return Table(
        caption="Peak micromotion [µm] of each implant under each load, beside its torque",
        columns=(
            Column("Implant", lambda k: result.plan.implants[k].name),
            Column("Insertion torque [N·cm]", lambda k: _torque(result.torques[k]), number=True),
            *(Column(load.name, motion(load), number=True) for load in result.loads),
        ),
        items=range(len(result.plan.implants)),
        note="The ± is numerical error alone.",
    )


def _part(head: str, place: int, unit: float) -> Column:
    return Column(head, lambda row: component(float(row[0].force[place]) / unit), number=True)


CARRIED = (
    Column("Implant", lambda row: row[0].name),
    *(_part(f"F_{axis} [N]", place, 1.0) for place, axis in enumerate("xyz")),
    *(_part(f"M_{axis} [N·cm]", 3 + place, NMM_PER_NCM) for place, axis in enumerate("xyz")),
    Column("Peak micromotion [µm]", lambda row: motion_text(row[0]), number=True),
    Column("Band", lambda row: row[0].band),
    Column("Head movement [µm]", lambda row: head_text(row[0]), number=True),
)
ALONE = Column(
    "On a single crown [µm]",
    lambda row: GIVES_WAY if row[1].peak_um is None else rounded(row[1].peak_um),
    number=True,
)


def _load_table(answer: SpanLoadAnswer) -> Table:
    """Return what each implant carries; a row is an implant, and itself alone where that was asked."""
    alone = answer.alone or (None,) * len(answer.implants)
    return Table(
        caption=(
            f"{answer.name}: {load_in_words(answer)}; the bridge moves up to "
            f"{answer.deflection_um:.0f} µm at {place(answer.deflection_at_mm)}"
        ),
        columns=(*CARRIED, ALONE) if answer.alone else CARRIED,
        items=zip(answer.implants, alone, strict=True),
    )


def _placed_table(result: SpanResult) -> Table:
    return Table(
        caption="Where the implants stand",
        columns=(
            Column("Implant", lambda placed: placed.name),
            Column("Crest x, y, z [mm]", lambda p: written([float(x) for x in p.crest_mm])),
            Column("Tilt [°]", lambda placed: f"{placed.tilt_deg:g}", number=True),
            Column("Towards [°]", lambda placed: f"{placed.azimuth_deg:g}", number=True),
            Column("Case", lambda placed: result.plan.case_of(placed).title),
        ),
        items=result.plan.implants,
    )


def _bridge_table(result: SpanResult) -> Table:
    return Table(
        caption="The bridge as resolved; docs/plan_file.md has the source of each default",
        columns=(
            Column("Key", lambda item: f"bridge.{item[0]}"),
            Column("Value", lambda item: written(item[1])),
        ),
        items=[item for item in result.plan.to_dict()["bridge"].items() if item[1] is not None],
        wide=False,
    )


def _of_governing(
    head: str, tell: Callable[[SpanLoadAnswer], str], *, none: str = "", number: bool = False
) -> Column:
    """Return a column on the governing load of a variant, `none` where it has no answer."""

    def cell(row: Varied) -> str:
        return none if row.result is None else tell(row.result.governing)

    return Column(head, cell, number=number)


VARIED = (
    Column("Varied to", lambda row: row.label),
    _of_governing(
        "Peak micromotion [µm]", lambda load: motion_text(load.governing), none=GIVES_WAY, number=True
    ),
    _of_governing("Implant", lambda load: load.governing.name),
    _of_governing("Load", lambda load: load.name),
    _of_governing("F_z on it [N]", lambda load: component(float(load.governing.force[2])), number=True),
    _of_governing("Bridge moves [µm]", lambda load: f"{load.deflection_um:.0f}", number=True),
)
