"""The answer to a plan of a full arch as a report."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stillroot.answers.summary import GIVES_WAY, rounded
from stillroot.inputs.case_messages import written
from stillroot.units import NMM_PER_NCM
from stillroot.words.document import (
    RESEARCHER,
    Document,
    Lines,
    Section,
    Shown,
    Table,
    made_by,
)
from stillroot.words.span_report import (
    bridge_in_words,
    component,
    head_text,
    limits,
    load_in_words,
    motion_text,
    place,
    sentence,
    torques_in_words,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from stillroot.arch.span import SpanLoadAnswer, SpanResult

QUESTION = "How far does each implant under this bridge move against its bone?"
AXES = (
    "Forces and moments act on the abutment's top, in the implant's own axes: z along it and out of the "
    "bone (a negative F_z presses in), x and y across it."
)


def span_document(result: SpanResult, shown: Sequence[str]) -> Document:
    """Return the report of a full arch, `shown` being the names of its pictures, one a load."""
    governing = shown[result.loads.index(result.governing)]
    said = Lines(lines=(f"{bridge_in_words(result)}.", f"{torques_in_words(result)}."))
    pictures = tuple(Shown(name=name) for name in shown if name != governing)
    loads = tuple(_load_table(answer) for answer in result.loads)
    plan = (_placed_table(result), _bridge_table(result))
    return Document(
        question=QUESTION,
        subject=result.plan.title,
        answer=sentence(result),
        limits=limits(result),
        first=(Shown(name=governing),),
        sections=(
            Section(title="Implants, bridge and torques", blocks=(said,)),
            Section(title="How far each implant moves", blocks=(_motions_table(result),)),
            Section(
                title="What each implant carries",
                blocks=(*loads, Lines(lines=(AXES,)), *pictures),
                readers=RESEARCHER,
            ),
            Section(
                title="The plan",
                blocks=plan,
                readers=RESEARCHER,
            ),
        ),
        slides=tuple(shown),
        again="stillroot span plan.toml --out DIR",
        case_file="plan.toml",
        made_by=made_by(result.versions, result.plan.fingerprint()),
    )


def _motions_table(result: SpanResult) -> Table:
    names = [load.name for load in result.loads]
    torques = ["glued" if torque is None else f"{torque.insertion_ncm:.0f}" for torque in result.torques]
    rows = tuple(
        (placed.name, torque, *(motion_text(load.implants[k]) for load in result.loads))
        for k, (placed, torque) in enumerate(zip(result.plan.implants, torques, strict=True))
    )
    return Table(
        caption="Peak micromotion [µm] of each implant under each load, beside its torque",
        head=("Implant", "Insertion torque [N·cm]", *names),
        rows=rows,
        numbers=frozenset(range(1, len(names) + 2)),
        note="The ± is numerical error alone.",
    )


def _load_table(answer: SpanLoadAnswer) -> Table:
    forces, moments = ("F_x", "F_y", "F_z"), ("M_x", "M_y", "M_z")
    head = ["Implant", *(f"{name} [N]" for name in forces), *(f"{name} [N·cm]" for name in moments)]
    head += ["Peak micromotion [µm]", "Band", "Head movement [µm]"]
    if answer.alone:
        head.append("On a single crown [µm]")
    return Table(
        caption=(
            f"{answer.name}: {load_in_words(answer)}; the bridge moves up to "
            f"{answer.deflection_um:.0f} µm at {place(answer.deflection_at_mm)}"
        ),
        head=tuple(head),
        rows=tuple(tuple(_load_row(answer, k)) for k in range(len(answer.implants))),
        numbers=frozenset({*range(1, 8), 9, 10}),
    )


def _load_row(answer: SpanLoadAnswer, k: int) -> Iterator[str]:
    implant = answer.implants[k]
    yield implant.name
    yield from (component(part) for part in implant.force[:3])
    yield from (component(part / NMM_PER_NCM) for part in implant.force[3:])
    yield from (motion_text(implant), implant.band, head_text(implant))
    if answer.alone:
        peak = answer.alone[k].peak_um
        yield GIVES_WAY if peak is None else rounded(peak)


def _placed_table(result: SpanResult) -> Table:
    rows = tuple(
        (
            placed.name,
            written([float(x) for x in placed.crest_mm]),
            f"{placed.tilt_deg:g}",
            f"{placed.azimuth_deg:g}",
            result.plan.case_of(placed).title,
        )
        for placed in result.plan.implants
    )
    return Table(
        caption="Where the implants stand",
        head=("Implant", "Crest x, y, z [mm]", "Tilt [°]", "Towards [°]", "Case"),
        rows=rows,
        numbers=frozenset({2, 3}),
    )


def _bridge_table(result: SpanResult) -> Table:
    bridge = result.plan.to_dict()["bridge"]
    rows = tuple((f"bridge.{key}", written(value)) for key, value in bridge.items() if value is not None)
    return Table(
        caption="The bridge as resolved; docs/plan_file.md has the source of each default",
        head=("Key", "Value"),
        rows=rows,
        wide=False,
    )
