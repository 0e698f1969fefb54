"""The chain of a full arch: plan → seats → heads on a bridge → each load → motion of each implant.

The error of a motion is that of `stillroot.mechanics.accuracy`: the whole arch is solved again on
coarser seats, in fewer harmonics, in more steps and with a farther support. It therefore includes the
error of each implant's share of the load.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from stillroot.answers.answer import versions
from stillroot.answers.chain import stage_keys
from stillroot.answers.levels import LEVELS, OF_THE_ERROR, QUICK, Bench, least_error
from stillroot.answers.wording import band_of
from stillroot.arch.bridge import beam_bridge, rigid_bridge
from stillroot.arch.splint import Attached, imbalance, solve
from stillroot.errors import CaseError, NotConverged
from stillroot.inputs.case import LEAST_LOAD
from stillroot.mechanics.accuracy import COARSE, FAR, FEWER, FINE, STEPPED, ErrorEstimate, errors_of
from stillroot.mechanics.head import head_of
from stillroot.mechanics.loading import BALANCE
from stillroot.mechanics.motion import HeadMovement, Micromotion, Reading, micromotion
from stillroot.mechanics.resultant import resultant_at
from stillroot.mechanics.strain import BoneStrain, bone_strains
from stillroot.mechanics.torque import share_crushed
from stillroot.units import UM_PER_MM

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from stillroot.answers.chain import Placed
    from stillroot.arch.bites import PointLoad
    from stillroot.arch.bridge import Bridge
    from stillroot.arch.plan import BridgeLoad, Plan
    from stillroot.arch.splint import Splinted
    from stillroot.arrays import Floats
    from stillroot.inputs.case import Case
    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.head import Head, Joint
    from stillroot.mechanics.motion import Peak
    from stillroot.mechanics.seat import Seated
    from stillroot.mechanics.torque import Torque

ALL = (FINE, *OF_THE_ERROR)
"""The levels of a full answer; a quick one needs `QUICK` alone."""
NEAR = {FINE: COARSE, FEWER: COARSE, STEPPED: COARSE, FAR: FEWER}
"""The level whose solution each level's iteration starts from; no answer depends on it."""


@dataclass(frozen=True, kw_only=True)
class Ready:
    """Seats and heads, kept for reuse with any number of bridges, loads and plans."""

    placed: dict[tuple[str, str], Placed] = field(default_factory=dict)
    heads: dict[tuple[int, Joint], Head] = field(default_factory=dict)

    def of(self, case: Case, levels: Sequence[str]) -> dict[str, Placed]:
        """Return a case seated on some levels, made where they do not exist yet.

        The interference is found once, on the first of them.
        """
        key = stage_keys(case)[2]
        if not all((key, level) in self.placed for level in levels):
            bench, found = Bench(), None
            for level in levels:
                placed = bench.placed(case, level, found)
                self.placed[key, level] = placed
                found = placed.interference_um
        return {level: self.placed[key, level] for level in levels}

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
    force: Floats
    plan_force: Floats
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
    force: Floats
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
    line_mm: Floats
    moved_um: Floats
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
    def deflection_at_mm(self) -> Floats:
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
    levels = (QUICK,) if quick else ALL
    placed = []
    for implant in plan.implants:
        progress(f'seating "{implant.name}"')
        placed.append(ready.of(plan.case_of(implant), levels))
    bridge = bridge_of(plan)
    on = {level: _attached(plan, bridge, ready, [of[level] for of in placed]) for level in levels}
    answers, coarse = [], []
    for item in plan.loads:
        progress(f'load "{item.name}"')
        solved = _solved(plan, item, bridge, on)
        errors = None if quick else _errors(plan, on, solved)
        answer = _told(plan, item, bridge, on[levels[0]], solved[levels[0]], errors)
        if unsplinted:
            progress(f'load "{item.name}" on single crowns')
            answer = replace(answer, alone=_alone(plan, item, [of[levels[0]] for of in placed]))
        answers.append(answer)
        coarse.append(solved.get(COARSE, solved[levels[0]]))
    if not quick:
        progress("straining the bone")
        answers = _with_strains(plan, answers, coarse, on[COARSE])
    return SpanResult(
        plan=plan,
        quick=quick,
        torques=tuple(of[levels[0]].torque for of in placed),
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


def applied_load(bridge: Bridge, forces: tuple[PointLoad, ...]) -> Floats:
    """Return the nodal load (6n,) of forces on a bridge."""
    total = np.zeros(bridge.stiffness.shape[0])
    for force in forces:
        total += bridge.arm(force.at_mm)[:3].T @ force.force_n
    return total


def resultant_of_forces(forces: tuple[PointLoad, ...]) -> Floats:
    """Return the resultant force and moment (6,) of forces about the plan's origin."""
    return np.sum([np.concatenate([f.force_n, np.cross(f.at_mm, f.force_n)]) for f in forces], axis=0)


def _attached(
    plan: Plan, bridge: Bridge, ready: Ready, placed: Sequence[Placed]
) -> tuple[Attached, ...]:
    """Return the implants on the bridge; equal ones share a head."""
    return tuple(
        Attached(
            head=ready.head(its.seated, plan.bridge.joint),
            arm=np.kron(np.eye(2), implant.frame.T) @ bridge.arm(plan.head_mm(implant)),
            frame=implant.frame,
            crest_mm=implant.crest_mm,
        )
        for implant, its in zip(plan.implants, placed, strict=True)
    )


def _solved(
    plan: Plan, item: BridgeLoad, bridge: Bridge, on: Mapping[str, tuple[Attached, ...]]
) -> dict[str, Splinted]:
    """Return the solution of a load on each level."""
    applied = applied_load(bridge, plan.point_loads(item))
    name = f'load "{item.name}"'
    if np.max(np.abs(applied)) < LEAST_LOAD:
        msg = f"{name}: its forces cancel each other where they act, and leave no load"
        raise CaseError(msg, key="loads")
    numerics = [plan.case_of(implant).numerics for implant in plan.implants]
    solved: dict[str, Splinted] = {}
    for level in sorted(on, key=(COARSE, FINE, FEWER, FAR, STEPPED, QUICK).index):
        words, tolerance = LEVELS[level].words, LEVELS[level].tolerance
        solved[level] = solve(
            on[level],
            bridge.stiffness,
            applied,
            steps=max(int(LEVELS[level].numerics(n)["load_steps"]) for n in numerics),
            name=f"{name} (its error: {words})" if words else name,
            tolerance=tolerance,
            near=solved.get(NEAR.get(level, "")),
        )
    return solved


def _errors(
    plan: Plan, on: Mapping[str, tuple[Attached, ...]], solved: Mapping[str, Splinted]
) -> list[tuple[ErrorEstimate, ErrorEstimate]]:
    """Return the errors of the peak and of the head movement of each implant."""
    readings = {level: _readings(on[level], at) for level, at in solved.items()}
    return [
        errors_of({level: of[k] for level, of in readings.items()}, least_error(plan.case_of(implant)))
        for k, implant in enumerate(plan.implants)
    ]


def _with_strains(
    plan: Plan,
    answers: list[SpanLoadAnswer],
    coarse: list[Splinted],
    attached: tuple[Attached, ...],
) -> list[SpanLoadAnswer]:
    """Return the answers with the strains of the bone on the coarse seats; equal seats at once."""
    strains: dict[tuple[int, int], BoneStrain] = {}
    strain = [plan.case_of(implant).bone.crush_strain for implant in plan.implants]
    for seated in {id(a.head.seated): a.head.seated for a in attached}.values():
        places = [
            (load, k)
            for load in range(len(answers))
            for k, a in enumerate(attached)
            if a.head.seated is seated
        ]
        states = [coarse[load].heads[k].state for load, k in places]
        crush = strain[places[0][1]]
        strains |= dict(zip(places, bone_strains(seated, states, crush), strict=True))
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


def _top_movement(head: Head, motion: Floats, force: Floats) -> HeadMovement:
    """Return the movement of the abutment's top, without the deformation of its screw joint."""
    own = motion - head.joint.compliance @ force
    return HeadMovement(
        height_mm=head.seated.site.solids.top_mm,
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
                share_over_crush=share_crushed(a.head.seated, moved.state),
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


def _alone(plan: Plan, item: BridgeLoad, placed: Sequence[Placed]) -> tuple[Alone, ...]:
    """Return the implants on single crowns, each force on the crown nearest to it along the bridge."""
    line, heads = plan.line, [plan.head_mm(implant) for implant in plan.implants]
    places = np.array([line.nearest(head)[0] for head in heads])
    shares = np.zeros((len(heads), 6))
    for force in plan.point_loads(item):
        k = int(np.argmin(np.abs(places - line.nearest(force.at_mm)[0])))
        shares[k, :3] += force.force_n
        shares[k, 3:] += np.cross(force.at_mm - heads[k], force.force_n)
    told = []
    for implant, its, share in zip(plan.implants, placed, shares, strict=True):
        own = np.kron(np.eye(2), implant.frame.T) @ share
        crown = its.of(plan.case_of(implant))  # in the steps of the case, on whatever level it is seated
        peak, head = _crown(crown, own, item.name) if np.any(own) else (0.0, 0.0)
        told.append(Alone(name=implant.name, force=own, peak_um=peak, head_um=head))
    return tuple(told)


def _crown(placed: Placed, force: Floats, name: str) -> tuple[float | None, float | None]:
    resultant = resultant_at(placed.seated.site.solids.top_mm, force)
    try:
        state = placed.loaded(name, resultant)
    except NotConverged:
        return None, None
    found = placed.read(state, resultant)
    return found.motion.peak.total_um, found.head.total_um
