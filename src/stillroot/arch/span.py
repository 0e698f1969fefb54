"""The chain of a full arch: plan → seats → heads on a bridge → each load → motion of each implant.

The error of a motion is that of `stillroot.mechanics.accuracy`: the whole arch is solved again on
coarser seats, in fewer harmonics, in more steps and with a farther support. It therefore includes the
error of each implant's share of the load.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from stillroot.answers.answer import (
    coarse_seats,
    prepared_site,
    stated_or_found_interference_um,
    versions,
)
from stillroot.answers.summary import band_of
from stillroot.arch.bridge import beam_bridge, rigid_bridge
from stillroot.arch.splint import Attached, imbalance, solve
from stillroot.errors import CaseError, NotConverged
from stillroot.inputs.case import LEAST_LOAD
from stillroot.mechanics.accuracy import (
    LOOSE,
    MORE_STEPS,
    ErrorEstimate,
    Reading,
    coarse_cases,
    errors_of,
)
from stillroot.mechanics.contact import TOLERANCE
from stillroot.mechanics.head import head_of, resultant_on_head
from stillroot.mechanics.loading import BALANCE, load, seat
from stillroot.mechanics.motion import UM_PER_MM, HeadMovement, Micromotion, head_movement, micromotion
from stillroot.mechanics.strain import BoneStrain, bone_strains
from stillroot.mechanics.torque import Torque, share_over_crush, torque_of
from stillroot.studies.stages import stage_keys

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from numpy.typing import NDArray

    from stillroot.arch.bites import PointLoad
    from stillroot.arch.bridge import Bridge
    from stillroot.arch.plan import BridgeLoad, Plan
    from stillroot.arch.splint import Splinted
    from stillroot.inputs.case import Case
    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.head import Head, Joint
    from stillroot.mechanics.loading import Seated
    from stillroot.mechanics.motion import Peak

FINE, COARSE, FEWER, FAR = "fine", "coarse", "fewer", "far"
"""The seats on which a span is solved; the last three serve the error estimate of the first."""
QUICK = 1e-6
"""Tolerance of a quick answer, tight enough for the force balance that every answer must meet."""
QUICK_STEPS = 1


@dataclass(frozen=True, kw_only=True)
class Seats:
    """One case, seated on each mesh required: see `accuracy.CoarseSeats`."""

    by_level: Mapping[str, Seated]
    interference_um: float
    torque: Torque | None


@dataclass(frozen=True, kw_only=True)
class Ready:
    """Seats and heads, kept for reuse with any number of bridges, loads and plans."""

    seats: dict[str, Seats] = field(default_factory=dict)
    heads: dict[tuple[int, Joint], Head] = field(default_factory=dict)

    def of(self, case: Case, *, quick: bool) -> Seats:
        """Return the seats of a case, made if they do not exist yet; `quick` needs only coarse ones."""
        _, _, key = stage_keys(case)
        if key not in self.seats or not (quick or FINE in self.seats[key].by_level):
            self.seats[key] = _seats(case, quick=quick)
        return self.seats[key]

    def head(self, seated: Seated, joint: Joint) -> Head:
        """Return the head of a kept seat, with a screw joint."""
        key = id(seated), joint
        if key not in self.heads:
            self.heads[key] = head_of(seated, joint)
        return self.heads[key]


@dataclass(frozen=True, kw_only=True)
class ImplantAnswer:
    """The forces on one implant under a load, and its response.

    `force` (6,): F_x, F_y, F_z [N], M_x, M_y, M_z [N·mm] on the abutment's top, in the implant's own
    frame; `plan_force` the same in the plan's axes, at the same point. Errors and the strain of the bone
    are None in a quick answer.
    """

    name: str
    force: NDArray[np.float64]
    plan_force: NDArray[np.float64]
    state: ContactState
    micromotion: Micromotion
    head: HeadMovement
    error: ErrorEstimate | None
    head_error: ErrorEstimate | None
    band: str
    share_over_crush: float
    bone_strain: BoneStrain | None = None

    @property
    def peak(self) -> Peak:
        """The largest micromotion and its place."""
        return self.micromotion.peak

    @property
    def axial_n(self) -> float:
        """Force along the axis, positive pressing in."""
        return -float(self.force[2])


@dataclass(frozen=True, kw_only=True)
class Alone:
    """The same implant under the same load on a single crown; values are None where it gives way."""

    name: str
    force: NDArray[np.float64]
    peak_um: float | None
    head_um: float | None


@dataclass(frozen=True, kw_only=True)
class SpanLoadAnswer:
    """One load on the bridge.

    `moved_um` (p, 3): displacement of the bridge at `line_mm` (p, 3); `balance`: see `splint.imbalance`.
    """

    name: str
    forces: tuple[PointLoad, ...]
    implants: tuple[ImplantAnswer, ...]
    line_mm: NDArray[np.float64]
    moved_um: NDArray[np.float64]
    balance: float
    alone: tuple[Alone, ...] = ()

    @property
    def governing(self) -> ImplantAnswer:
        """The implant that moves most at its interface."""
        return max(self.implants, key=lambda implant: implant.peak.total_um)

    @property
    def deflection_um(self) -> float:
        """The largest movement of the bridge."""
        return float(np.max(np.linalg.norm(self.moved_um, axis=1)))

    @property
    def deflection_at_mm(self) -> NDArray[np.float64]:
        """The point (3,) of that movement."""
        return self.line_mm[int(np.argmax(np.linalg.norm(self.moved_um, axis=1)))]


@dataclass(frozen=True, kw_only=True)
class SpanResult:
    """The answer to a plan. `quick`: solved on coarse seats, without errors."""

    plan: Plan
    quick: bool
    torques: tuple[Torque | None, ...]
    loads: tuple[SpanLoadAnswer, ...]
    versions: dict[str, str]

    @property
    def governing(self) -> SpanLoadAnswer:
        """The load under which an implant moves most."""
        return max(self.loads, key=lambda answer: answer.governing.peak.total_um)

    @property
    def torque_sum_ncm(self) -> float | None:
        """The sum of the insertion torques; None where one has none."""
        torques = [torque.insertion_ncm for torque in self.torques if torque is not None]
        return sum(torques) if len(torques) == len(self.torques) else None


def check_span(
    plan: Plan,
    *,
    ready: Ready | None = None,
    quick: bool = False,
    unsplinted: bool = False,
    progress: Callable[[str], None] = lambda _: None,
) -> SpanResult:
    """Answer a plan: the forces on each implant and its motion under each load.

    `ready` keeps what depends on the cases alone: passed again, only bridge and loads are solved.
    `quick` answers on the coarse seats of the error estimate, in fewer harmonics and in one load step.
    `unsplinted` adds single crowns.

    Raises
    ------
    CaseError
        The forces of a load cancel each other.
    MeshError, EnvironmentProblem, NotConverged
        As `answer.check` does, for an implant or for the whole bridge.
    """
    ready = ready or Ready()
    seats = []
    for implant in plan.implants:
        progress(f'seating "{implant.name}"')
        seats.append(ready.of(plan.case_of(implant), quick=quick))
    bridge = bridge_of(plan)
    levels = (FEWER,) if quick else (COARSE, FINE, FEWER, FAR)
    attached = {level: _attached(plan, bridge, ready, seats, level) for level in levels}
    answers, coarse = [], []
    for item in plan.loads:
        progress(f'load "{item.name}"')
        answer, roughly = _answered(plan, item, bridge, attached)
        coarse.append(roughly)
        if unsplinted:
            progress(f'load "{item.name}" on single crowns')
            answer = replace(answer, alone=_alone(plan, item, attached[FEWER if quick else FINE]))
        answers.append(answer)
    if not quick:
        progress("straining the bone")
        answers = _with_strains(answers, coarse, attached[COARSE])
    return SpanResult(
        plan=plan,
        quick=quick,
        torques=tuple(s.torque for s in seats),
        loads=tuple(answers),
        versions=versions(),
    )


def bridge_of(plan: Plan) -> Bridge:
    """Return the bridge of a plan, with nodes at implants and loads."""
    if plan.bridge.kind == "rigid":
        return rigid_bridge(plan.line)
    points = [plan.head_mm(implant) for implant in plan.implants]
    points += [force.at_mm for item in plan.loads for force in plan.point_loads(item)]
    return beam_bridge(plan.line, plan.bridge.section, plan.bridge.elastic, points)


def applied_load(bridge: Bridge, forces: tuple[PointLoad, ...]) -> NDArray[np.float64]:
    """Return the nodal load (6n,) of forces on a bridge."""
    total = np.zeros(bridge.stiffness.shape[0])
    for force in forces:
        total += bridge.arm(force.at_mm)[:3].T @ force.force_n
    return total


def resultant_of_forces(forces: tuple[PointLoad, ...]) -> NDArray[np.float64]:
    """Return the resultant force and moment (6,) of forces about the plan's origin."""
    return np.sum([np.concatenate([f.force_n, np.cross(f.at_mm, f.force_n)]) for f in forces], axis=0)


def _seats(case: Case, *, quick: bool) -> Seats:
    coarse_case, far_case = coarse_cases(case)
    site = prepared_site(coarse_case if quick else case)
    interference = stated_or_found_interference_um(site)
    seated = seat(site, site.layer(interference_um=interference))
    if quick:
        fewer = seated.with_highest(far_case.numerics.harmonics)
        by_level = {COARSE: seated, FEWER: fewer, FAR: fewer}
    else:
        of_errors = coarse_seats(case, interference)
        by_level = {
            FINE: seated,
            COARSE: of_errors.coarse,
            FEWER: of_errors.fewer,
            FAR: of_errors.far or of_errors.fewer,
        }
    return Seats(by_level=by_level, interference_um=interference, torque=torque_of(seated))


def _attached(
    plan: Plan, bridge: Bridge, ready: Ready, seats: list[Seats], level: str
) -> tuple[Attached, ...]:
    """Return the implants on the bridge; equal ones share a head."""
    return tuple(
        Attached(
            head=ready.head(its.by_level[level], plan.bridge.joint),
            arm=np.kron(np.eye(2), implant.frame.T) @ bridge.arm(plan.head_mm(implant)),
            frame=implant.frame,
            crest_mm=implant.crest_mm,
        )
        for implant, its in zip(plan.implants, seats, strict=True)
    )


def _answered(
    plan: Plan, item: BridgeLoad, bridge: Bridge, attached: Mapping[str, tuple[Attached, ...]]
) -> tuple[SpanLoadAnswer, Splinted]:
    """Return the answer to a load, and the solution on the coarsest seats that were used."""
    forces = plan.point_loads(item)
    applied = applied_load(bridge, forces)
    steps = max(plan.case_of(implant).numerics.load_steps for implant in plan.implants)
    name = f'load "{item.name}"'
    if np.max(np.abs(applied)) < LEAST_LOAD:
        msg = f"{name}: its forces cancel each other where they act, and leave no load"
        raise CaseError(msg, key="loads")

    def solved(
        level: str, steps: int, near: Splinted | None, what: str = "", tolerance: float = LOOSE
    ) -> Splinted:
        return solve(
            attached[level],
            bridge.stiffness,
            applied,
            steps=steps,
            name=f"{name} (its error: {what})" if what else name,
            tolerance=tolerance,
            near=near,
        )

    if FINE not in attached:
        quick = solved(FEWER, QUICK_STEPS, None, tolerance=QUICK)
        return _told(plan, item, bridge, attached[FEWER], quick, None), quick
    coarse = solved(COARSE, steps, None)
    fine = solved(FINE, steps, coarse, tolerance=TOLERANCE)
    fewer = solved(FEWER, steps, coarse, "fewer harmonics")
    far = solved(FAR, steps, fewer, "farther support")
    stepped = solved(FEWER, MORE_STEPS * steps, fewer, "more load steps")
    others = {COARSE: coarse, FEWER: fewer, "stepped": stepped, FAR: far}
    readings = {
        level: _readings(attached[FEWER if level == "stepped" else level], splinted)
        for level, splinted in others.items()
    }
    errors = [
        errors_of(a.head.seated.site.case, *five)
        for a, *five in zip(
            attached[COARSE],
            _readings(attached[FINE], fine),
            readings[COARSE],
            readings[FEWER],
            readings["stepped"],
            readings[FAR],
            strict=True,
        )
    ]
    return _told(plan, item, bridge, attached[FINE], fine, errors), coarse


def _with_strains(
    answers: list[SpanLoadAnswer], coarse: list[Splinted], attached: tuple[Attached, ...]
) -> list[SpanLoadAnswer]:
    """Return the answers with the strains of the bone on the coarse seats; equal seats at once."""
    strains: dict[tuple[int, int], BoneStrain] = {}
    for seated in {id(a.head.seated): a.head.seated for a in attached}.values():
        places = [
            (load, k)
            for load in range(len(answers))
            for k, a in enumerate(attached)
            if a.head.seated is seated
        ]
        states = [coarse[load].heads[k].state for load, k in places]
        strains |= dict(zip(places, bone_strains(seated, states), strict=True))
    return [
        replace(
            answer,
            implants=tuple(
                replace(implant, bone_strain=strains[load, k])
                for k, implant in enumerate(answer.implants)
            ),
        )
        for load, answer in enumerate(answers)
    ]


def _readings(attached: tuple[Attached, ...], splinted: Splinted) -> list[Reading]:
    return [
        Reading(
            motion=micromotion(a.head.seated, moved.state),
            head=_top_movement(a.head, moved.motion, q),
        )
        for a, moved, q in zip(attached, splinted.heads, splinted.forces, strict=True)
    ]


def _top_movement(head: Head, motion: NDArray[np.float64], force: NDArray[np.float64]) -> HeadMovement:
    """Return the movement of the abutment's top, without the deformation of its screw joint."""
    own = motion - head.joint.compliance @ force
    return HeadMovement(
        height_mm=head.seated.site.case.implant.abutment_height_mm,
        lateral_um=float(own[0]) * UM_PER_MM,
        across_um=float(own[1]) * UM_PER_MM,
        axial_um=-float(own[2]) * UM_PER_MM,
        rotation_deg=float(np.degrees(own[5])),
    )


def _told(
    plan: Plan,
    item: BridgeLoad,
    bridge: Bridge,
    attached: tuple[Attached, ...],
    splinted: Splinted,
    errors: list[tuple[ErrorEstimate, ErrorEstimate]] | None,
) -> SpanLoadAnswer:
    forces = plan.point_loads(item)
    size = sum(float(np.linalg.norm(force.force_n)) for force in forces)
    balance = imbalance(attached, splinted, resultant_of_forces(forces), size)
    if balance > BALANCE:
        text = (
            f'load "{item.name}": the forces on the implants are out of balance by {balance:.0e} of the '
            f"load (allowed: {BALANCE:.0e}); a smaller element_mm may help"
        )
        raise NotConverged(text, stage=item.name)
    implants = []
    for k, (placed, a, moved, reading) in enumerate(
        zip(plan.implants, attached, splinted.heads, _readings(attached, splinted), strict=True)
    ):
        force = splinted.forces[k]
        bands = plan.case_of(placed).threshold.bands_um
        implants.append(
            ImplantAnswer(
                name=placed.name,
                force=force,
                plan_force=np.kron(np.eye(2), placed.frame) @ force,
                state=moved.state,
                micromotion=reading.motion,
                head=reading.head,
                error=None if errors is None else errors[k][0],
                head_error=None if errors is None else errors[k][1],
                band=band_of(reading.motion.peak.total_um, bands),
                share_over_crush=share_over_crush(a.head.seated, moved.state),
            )
        )
    line = plan.line.corners_mm if plan.bridge.kind == "rigid" else bridge.nodes_mm
    return SpanLoadAnswer(
        name=item.name,
        forces=forces,
        implants=tuple(implants),
        line_mm=line,
        moved_um=bridge.displacement(splinted.motion, line) * UM_PER_MM,
        balance=balance,
    )


def _alone(plan: Plan, item: BridgeLoad, attached: tuple[Attached, ...]) -> tuple[Alone, ...]:
    """Return the implants on single crowns, each force on the crown nearest to it along the bridge."""
    line, heads = plan.line, [plan.head_mm(implant) for implant in plan.implants]
    places = np.array([line.nearest(head)[0] for head in heads])
    shares = np.zeros((len(heads), 6))
    for force in plan.point_loads(item):
        k = int(np.argmin(np.abs(places - line.nearest(force.at_mm)[0])))
        shares[k, :3] += force.force_n
        shares[k, 3:] += np.cross(force.at_mm - heads[k], force.force_n)
    told = []
    for placed, a, share in zip(plan.implants, attached, shares, strict=True):
        own = np.kron(np.eye(2), placed.frame.T) @ share
        peak, head = _crown(a.head.seated, own, item.name) if np.any(own) else (0.0, 0.0)
        told.append(Alone(name=placed.name, force=own, peak_um=peak, head_um=head))
    return tuple(told)


def _crown(seated: Seated, force: NDArray[np.float64], name: str) -> tuple[float | None, float | None]:
    resultant = resultant_on_head(force, seated.site.case.implant.abutment_height_mm)
    try:
        state = load(seated, [resultant], name=name)
    except NotConverged:
        return None, None
    peak = micromotion(seated, state).peak.total_um
    return peak, head_movement(seated, state, resultant).total_um
