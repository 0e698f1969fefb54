"""The peak under other modelling choices, where no value is agreed on: no one choice is the truth.

Each alternative changes one thing in the case and solves it once more, without an error estimate, from
the first stage of the chain that differs.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from stillroot.answers.chain import FAILURES, Chain, Placed, loads_of
from stillroot.answers.explained import Choice, Explained, as_explained
from stillroot.errors import NotConverged
from stillroot.inputs.case import Case
from stillroot.mechanics.motion import micromotion
from stillroot.mechanics.outline import gaps_between

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from stillroot.answers.answer import CheckResult
    from stillroot.mechanics.resultant import Resultant

NARROW_MM = 8.0
"""Distance beside the implant at which bone may end: about a ridge and its neighbours. Assumption."""
RELAXED = 0.47
"""Share of the stress left after 10 minutes, at the largest loss measured, in bovine trabecular cores
compressed and held at constant strain: Gersie et al. 2024, J Mech Behav Biomed Mater 152:106434. No
press fit was measured; that the seating pressure relaxes alike is an assumption."""


@dataclass(frozen=True, kw_only=True)
class Alternative:
    """One choice that could as well have been made.

    `changes`: new keys by section; `under_load`: bone at the wall crushes under the load as well.
    """

    subject: str
    text: str
    changes: dict[str, dict[str, Any]]
    under_load: bool = False


def with_choices(
    result: CheckResult | Explained, *, progress: Callable[[str], None] = lambda _: None
) -> Explained:
    """Return an answer with the peak of each load under each alternative to what its case assumes."""
    explained = as_explained(result)
    case, found = explained.answer.case, []
    same_site, other = Chain.on(explained.answer.placed), Chain()
    for alternative in alternatives(case):
        progress(f"{alternative.subject}: {alternative.text}")
        chain = same_site if set(alternative.changes) <= {"interface"} else other
        found.append(_solved(chain, case, alternative))
    return replace(explained, choices=tuple(found))


def alternatives(case: Case) -> tuple[Alternative, ...]:
    """Return the alternatives to the choices made in a case."""
    return (
        *_of_the_layer(case),
        *_of_the_wall(case),
        *_of_the_gap(case),
        *_of_the_bone(case),
        *_of_the_thread(case),
    )


def _of_the_layer(case: Case) -> Iterator[Alternative]:
    subject, face = "torn layer", case.interface
    if face.layer_thickness_mm == 0:
        text = "0.1 mm thick, a tenth of the modulus"
        yield _face(subject, text, layer_thickness_mm=0.1, layer_modulus_ratio=0.1)
        return
    thick = face.layer_thickness_mm
    yield _face(subject, "half as thick (or twice as stiff)", layer_thickness_mm=thick / 2)
    yield _face(subject, "twice as thick (or half as stiff)", layer_thickness_mm=min(2 * thick, 1.0))
    yield _face(subject, "none: hard contact", layer_thickness_mm=0.0)


def _face(subject: str, text: str, **keys: float) -> Alternative:
    return Alternative(subject=subject, text=text, changes={"interface": keys})


def _of_the_wall(case: Case) -> Iterator[Alternative]:
    face = case.interface
    if face.kind == "bonded":
        return
    for friction in (0.3, 0.68):
        if friction != face.friction:
            yield _face("friction", f"{friction:g}", friction=friction)
    if face.measured_torque_ncm is None:
        yield _face("interference", "none", interference_um=0.0)
        if face.interference_um:
            twice = min(2 * face.interference_um, 500.0)
            yield _face("interference", f"{twice:g} µm", interference_um=twice)
    if face.retained_pressure > RELAXED:
        yield _face("seating pressure", f"{RELAXED:.0%} left", retained_pressure=RELAXED)
    yield Alternative(
        subject="linear bone",
        text="wall crushes under the load too",
        changes={},
        under_load=True,
    )


def _of_the_gap(case: Case) -> Iterator[Alternative]:
    socket = case.socket
    if not gaps_between(socket.holds_mm, case.implant.length_mm):
        return
    for fill in ("empty", "clot", "graft"):
        if fill != socket.gap_fill:
            keys = {"gap_fill": fill, "gap_modulus_mpa": None}
            yield Alternative(subject="fill of the gap", text=fill, changes={"socket": keys})


def _of_the_bone(case: Case) -> Iterator[Alternative]:
    other = {"all_round": "base", "base": "all_round"}[case.bone.support]
    words = {"all_round": "side and base fixed", "base": "base fixed alone"}[other]
    yield Alternative(subject="support of the bone", text=words, changes={"bone": {"support": other}})
    if case.bone.radius_mm is None:
        radius = case.implant.diameter_mm / 2 + NARROW_MM
        if gaps_between(case.socket.holds_mm, case.implant.length_mm):
            radius += case.socket.gap_width_mm
        yield Alternative(
            subject="support of the bone",
            text=f"fixed {NARROW_MM:g} mm beside the implant",
            changes={"bone": {"radius_mm": radius}},
        )


def _of_the_thread(case: Case) -> Iterator[Alternative]:
    implant = case.implant
    if implant.outline_mm is None and implant.thread.form != "none":
        start = implant.thread.first_mm + implant.thread.pitch_mm / 2
        yield Alternative(
            subject="rings for a helix",
            text="half a pitch deeper",
            changes={"implant": {"thread": {**implant.thread.model_dump(), "start_mm": start}}},
        )


def _changed(case: Case, changes: dict[str, dict[str, Any]]) -> Case:
    data = case.to_dict()
    return Case.from_dict({**data, **{name: {**data[name], **keys} for name, keys in changes.items()}})


def _solved(chain: Chain, case: Case, alternative: Alternative) -> Choice:
    peaks: tuple[float | None, ...] = (None,) * len(case.loads)
    reason = ""
    try:
        placed = chain.placed(_changed(case, alternative.changes))
    except FAILURES as error:
        reason = str(error)
    else:
        if alternative.under_load:  # a wall that crushed during seating is at its limit
            seated = placed.seated
            capped = replace(seated.layer, crush_mpa=seated.inserting.crush_mpa)
            placed = replace(placed, seated=replace(seated, layer=capped))
        peaks = tuple(_peak_um(placed, name, resultant) for name, resultant in loads_of(placed.case))
    return Choice(subject=alternative.subject, text=alternative.text, peaks_um=peaks, reason=reason)


def _peak_um(placed: Placed, name: str, resultant: Resultant) -> float | None:
    try:
        state = placed.loaded(name, resultant)
    except NotConverged:
        return None
    return micromotion(placed.seated, state).peak.total_um
