"""Frictional implants under one bridge: limits, symmetry, balance, and an implant that lifts.

Coarse and short on purpose: the properties checked here do not depend on the mesh.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from stillroot.answers.levels import QUICK
from stillroot.arch.plan import Plan
from stillroot.arch.span import Ready, SpanResult, bridge_of, check_span, resultant_of_forces
from stillroot.mechanics.balance import resultant_of_tractions
from stillroot.mechanics.fields import displacement
from stillroot.mechanics.head import Joint, Moved, head_of
from stillroot.mechanics.motion import micromotion
from stillroot.mechanics.resultant import Resultant
from stillroot.mechanics.six_directions import tangent_matrix

from ._chain import PLAIN, case_of, loaded, seated

if TYPE_CHECKING:
    from numpy.typing import NDArray

READY = Ready()
"""Seats are made once for all tests here."""
PLACES = ((-15.0, -10.0, 0.0), (-6.0, 0.0, 0.0), (6.0, 0.0, 0.0), (15.0, -10.0, 0.0))
TOP_MM = 6.0
SMOOTH_AND_LOOSE = {
    **PLAIN,
    "implant": {**PLAIN["implant"], "thread": {"form": "none"}},
    "interface": {"friction": 0.0, "interference_um": 0.0},
}


def plan_of(
    loads: list[dict[str, Any]],
    bridge: dict[str, Any] | None = None,
    *,
    case: dict[str, Any] = PLAIN,
    places: tuple[tuple[float, float, float], ...] = PLACES,
    tilts: tuple[tuple[float, float], ...] = ((0.0, 0.0),) * 4,
) -> Plan:
    implants = [
        {"name": f"{k}", "case": "one", "at_mm": at, "tilt_deg": tilt, "azimuth_deg": towards}
        for k, (at, (tilt, towards)) in enumerate(zip(places, tilts, strict=False), start=1)
    ]
    return Plan.from_dict(
        {
            "title": "for checks",
            "cases": {"one": case},
            "implants": implants,
            "bridge": bridge or {},
            "loads": loads,
        }
    )


def pressed(at: tuple[float, float, float], *force: float, name: str = "press") -> dict[str, Any]:
    return {"name": name, "forces": [{"at_mm": list(at), "force_n": list(force)}]}


def answered(plan: Plan, **how: bool) -> SpanResult:
    return check_span(plan, ready=READY, quick=True, **how)


def test_a_load_that_is_turned_moves_the_implant_as_much_and_turned() -> None:
    # The site is axisymmetric: only the load defines θ = 0.
    seat_ = seated(case_of())
    straight = loaded(seat_, Resultant(lateral_n=20.0, axial_n=40.0, height_mm=7.0))
    across = loaded(seat_, Resultant(across_n=20.0, axial_n=40.0, height_mm=7.0))
    slanted = Resultant(
        lateral_n=20.0 * np.cos(1.2), across_n=20.0 * np.sin(1.2), axial_n=40.0, height_mm=7.0
    )
    assert across.peak_um == pytest.approx(straight.peak_um, rel=1e-6)
    assert across.head.across_um == pytest.approx(straight.head.lateral_um, rel=1e-6)
    assert abs(across.head.lateral_um) < 1e-6 * across.head.across_um
    turned = loaded(seat_, slanted).head
    way = np.array([np.cos(1.2), np.sin(1.2)])
    moved = np.array([turned.lateral_um, turned.across_um])
    assert moved == pytest.approx(straight.head.lateral_um * way, rel=1e-3)


def test_the_field_of_a_turned_load_is_the_field_turned() -> None:
    # The twin family is the first turned by 90°: the coefficients of n = 1 are the same in it.
    seat_ = seated(case_of(interface={"kind": "bonded", "friction": None, "interference_um": None}))
    straight, across = Resultant(lateral_n=20.0, height_mm=7.0), Resultant(across_n=20.0, height_mm=7.0)
    fields = [
        displacement(seat_, loaded(seat_, resultant).state, resultant)
        for resultant in (straight, across)
    ]
    size = np.abs(fields[0].implant).max()
    assert fields[1].implant[1, 1] == pytest.approx(fields[0].implant[0, 1], abs=1e-6 * size)
    assert fields[1].bone[1, 1] == pytest.approx(fields[0].bone[0, 1], abs=1e-6 * size)
    assert np.abs(fields[1].implant[0]).max() < 1e-6 * size


def test_an_implant_that_is_moved_answers_with_the_load_that_moves_it() -> None:
    # Loaded by `load`, whose head movement is read off the recovered field of displacement; moved by as
    # much, the element must give that load back. The axis and the mean of the section differ a little.
    seat_ = seated(case_of())
    it = loaded(
        seat_, Resultant(lateral_n=24.0, across_n=10.0, axial_n=120.0, height_mm=TOP_MM), steps=1
    )
    head = head_of(seat_)
    flexible = np.linalg.inv(head.first_tangent)
    motion = flexible @ [24.0, 10.0, -120.0, 0.0, 0.0, 0.0]
    moved = head.at_rest
    for _ in range(20):
        moved = head.moved(
            head.at_rest, motion, guess=moved, stage="move", scale_mm=head.response_mm(motion)
        )
        motion = motion + flexible @ ([24.0, 10.0, -120.0, 0.0, 0.0, 0.0] - head.force(moved))
    read = [it.head.lateral_um, it.head.across_um, -it.head.axial_um]
    assert 1000 * motion[:3] == pytest.approx(read, rel=0.01)
    # Friction depends on the step from the seat to here, not on the iterations on the way.
    assert micromotion(seat_, moved.state).peak.total_um == pytest.approx(it.peak_um, rel=1e-4)
    taken = resultant_of_tractions(seat_.layer, moved.state)
    assert taken == pytest.approx([24, 10, -120, -10 * TOP_MM, 24 * TOP_MM, 0], abs=1e-3)


def test_a_head_yields_what_the_crest_yields_and_the_abutment_as_a_beam() -> None:
    # The crest by way of the six directions; the abutment as a cantilever with shear, κ of a circle
    # (Cowper 1966, J Appl Mech 33:335-340). Its root is no section that stays plane under a given
    # traction: 4 % in bending; in torsion it is.
    seat_ = seated(case_of(implant={"abutment_height_mm": 8.0}))
    head = np.linalg.inv(head_of(seat_).first_tangent)
    crest = np.linalg.inv(tangent_matrix(seat_, 8.0))
    metal, radius, h = seat_.site.solids.implant, 2.0, 8.0
    e, g, nu = metal.modulus_mpa, metal.shear_modulus_mpa, metal.poisson
    area, second = np.pi * radius**2, np.pi * radius**4 / 4
    shear = h / (6 * (1 + nu) / (7 + 6 * nu) * g * area)
    beam = np.zeros((6, 6))
    beam[0, 0] = beam[1, 1] = h**3 / (3 * e * second) + shear
    beam[0, 4] = beam[4, 0] = h**2 / (2 * e * second)
    beam[1, 3] = beam[3, 1] = -beam[0, 4]
    beam[3, 3] = beam[4, 4] = h / (e * second)
    beam[2, 2], beam[5, 5] = h / (e * area), h / (g * 2 * second)
    size = np.sqrt(np.outer(*[np.diag(head)] * 2))
    assert np.abs((crest + beam - head) / size).max() < 0.05
    assert (crest + beam)[5, 5] == pytest.approx(head[5, 5], rel=2e-3)


def test_a_screw_joint_adds_what_it_yields_to_what_the_implant_yields() -> None:
    # Two springs in series: their compliances add.
    seat_ = seated(case_of())
    joint = Joint(shift_mm_per_n=2e-4, tilt_per_nmm=3e-6)
    bare, jointed = (np.linalg.inv(head_of(seat_, j).first_tangent) for j in (Joint(), joint))
    assert jointed == pytest.approx(bare + joint.compliance, rel=1e-4, abs=1e-9)


TILTED = ((30.0, 200.0), (0.0, 0.0), (10.0, 45.0), (25.0, -60.0))
ANYWHERE = [
    pressed((15.0, -10.0, 9.0), 12.0, -7.0, -80.0, name="oblique, outside"),
    pressed((0.0, 0.0, 9.0), 0.0, 20.0, -40.0, name="in front"),
    {
        "name": "two at once",
        "forces": [
            {"at_mm": [-12.0, -6.0, 8.0], "force_n": [-5.0, 0.0, -60.0]},
            {"at_mm": [6.0, 0.0, 6.0], "force_n": [0.0, 0.0, 15.0]},
        ],
    },
]


@cache
def tilted(kind: str) -> SpanResult:
    return answered(plan_of(ANYWHERE, {"kind": kind, "end_cantilever_mm": 6.0}, tilts=TILTED))


@pytest.mark.parametrize("kind", ["beam", "rigid"])
def test_the_bone_around_all_implants_takes_the_load_in_all_six_components(kind: str) -> None:
    # Summed from the wall's tractions, turned by the tilts; the solver never looks at them this way.
    result = tilted(kind)
    for answer in result.loads:
        held = np.zeros(6)
        for placed, implant in zip(result.plan.implants, answer.implants, strict=True):
            seat_ = READY.of(result.plan.case_of(placed), (QUICK,))[QUICK].seated
            own = resultant_of_tractions(seat_.layer, implant.state)
            force, moment = placed.frame @ own[:3], placed.frame @ own[3:]
            held += np.concatenate([force, moment + np.cross(placed.at_mm, force)])
        load = resultant_of_forces(answer.forces)
        assert held == pytest.approx(load, abs=1e-4 * np.abs(load[:3]).max() * 20.0)


def test_a_rigid_bridge_keeps_its_heads_as_far_apart_as_they_were() -> None:
    # A rigid body: the distance of two points changes by nothing, however each implant slides.
    result = tilted("rigid")
    heads = np.stack([result.plan.head_mm(i) for i in result.plan.implants])
    for answer in result.loads:
        moved = np.stack(
            [
                i.frame @ [a.head.lateral_um, a.head.across_um, -a.head.axial_um]
                for i, a in zip(result.plan.implants, answer.implants, strict=True)
            ]
        )
        apart = heads - heads[:1]
        stretch = np.sum(apart * (moved - moved[:1]), axis=1)
        assert np.abs(stretch).max() < 1e-6 * np.abs(moved).max() * np.abs(apart).max()


def test_a_symmetric_plan_answers_a_symmetric_load_symmetrically() -> None:
    leaning = ((20.0, 200.0), (5.0, 100.0), (5.0, 80.0), (20.0, -20.0))
    answer = answered(plan_of([pressed((0.0, 0.0, 8.0), 0.0, 10.0, -70.0)], tilts=leaning)).loads[0]
    mirror = np.array([-1.0, 1.0, 1.0, 1.0, -1.0, -1.0])  # of forces and of moments, across x = 0
    forces = np.stack([implant.plan_force for implant in answer.implants])
    peaks = [implant.peak.total_um for implant in answer.implants]
    assert forces[::-1] * mirror == pytest.approx(forces, abs=1e-4 * np.abs(forces).max())
    assert peaks[::-1] == pytest.approx(peaks, rel=1e-4)


ON_ONE = [pressed((6.0, 0.0, TOP_MM + 2.0), 8.0, 6.0, -60.0)]


@cache
def of_stiffness(modulus_mpa: float) -> NDArray[np.float64]:
    """Return the forces of each implant in a bridge of this modulus."""
    bridge = {"modulus_mpa": modulus_mpa, "poisson": 0.3}
    return np.stack([i.force for i in answered(plan_of(ON_ONE, bridge)).loads[0].implants])


def test_a_very_soft_bridge_leaves_each_implant_to_itself() -> None:
    alone = answered(plan_of(ON_ONE), unsplinted=True).loads[0].alone
    single = np.stack([implant.force for implant in alone])
    off = [np.abs(of_stiffness(e) - single).max() for e in (100.0, 1.0)]
    assert off[1] < 1e-3 * np.abs(single).max()
    assert off[1] < 0.05 * off[0]
    soft = answered(plan_of(ON_ONE, {"modulus_mpa": 1.0, "poisson": 0.3})).loads[0]
    assert soft.implants[2].peak.total_um == pytest.approx(alone[2].peak_um, rel=1e-2)


def test_a_very_stiff_bridge_shares_as_a_rigid_one() -> None:
    rigid = np.stack([i.force for i in answered(plan_of(ON_ONE, {"kind": "rigid"})).loads[0].implants])
    off = [np.abs(of_stiffness(e) - rigid).max() for e in (1e7, 1e9)]
    assert off[1] < 1e-3 * np.abs(rigid).max()
    assert off[1] < 0.05 * off[0]


def test_an_implant_that_nothing_grips_lifts_and_takes_no_pull() -> None:
    # Smooth, without friction or interference: only pressure holds it. On springs that pull, the
    # implants away from a load outside of their triangle would hold it down.
    triangle = ((-8.0, 0.0, 0.0), (8.0, 0.0, 0.0), (0.0, 14.0, 0.0))
    load = [pressed((0.0, -6.0, TOP_MM), 0.0, 0.0, -50.0)]
    bridge = {"kind": "rigid", "path_mm": [[-8, 0, 6], [8, 0, 6], [0, 14, 6], [0, -10, 6]]}
    loose, glued = (
        answered(plan_of(load, bridge, case=case, places=triangle)).loads[0].implants
        for case in (SMOOTH_AND_LOOSE, {**SMOOTH_AND_LOOSE, "interface": {"kind": "bonded"}})
    )
    assert min(implant.axial_n for implant in glued) < -2.0
    assert min(implant.axial_n for implant in loose) > -1e-3 * 50.0
    assert loose[2].head.axial_um < 0
    assert loose[2].micromotion.opening_um.max() > 1.0


def test_nodes_lie_where_implants_and_loads_are() -> None:
    plan = plan_of(ANYWHERE, {"end_cantilever_mm": 6.0})
    nodes = bridge_of(plan).nodes_mm
    for implant in plan.implants:
        assert np.linalg.norm(nodes - plan.head_mm(implant), axis=1).min() < 1e-9


@cache
def with_errors() -> SpanResult:
    return check_span(coarse_plan({"element_mm": 0.5, "harmonics": 5}))


def coarse_plan(numerics: dict[str, Any]) -> Plan:
    bridge = {"material": "polymer", "end_cantilever_mm": 6.0}
    return plan_of(ANYWHERE[:1], bridge, case={**PLAIN, "numerics": numerics}, tilts=TILTED)


def test_a_far_finer_arch_lies_within_the_error_that_is_told() -> None:
    told = with_errors().loads[0]
    # A quick answer is solved on elements twice as large: 0.16 mm here.
    true = answered(coarse_plan({"element_mm": 0.08, "harmonics": 10})).loads[0]
    for ours, finer in zip(told.implants, true.implants, strict=True):
        assert ours.error is not None
        assert ours.head_error is not None
        assert abs(ours.peak.total_um - finer.peak.total_um) < ours.error.total_um
        assert abs(ours.head.total_um - finer.head.total_um) < ours.head_error.total_um


def test_a_quick_answer_lies_within_the_error_of_the_full_one() -> None:
    full = with_errors().loads[0]
    quick = answered(coarse_plan({"element_mm": 0.5, "harmonics": 5})).loads[0]
    forces = [np.stack([implant.force for implant in load.implants]) for load in (full, quick)]
    assert forces[1] == pytest.approx(forces[0], abs=0.01 * np.abs(forces[0]).max())
    for whole, roughly in zip(full.implants, quick.implants, strict=True):
        assert whole.error is not None
        assert abs(roughly.peak.total_um - whole.peak.total_um) < whole.error.total_um


def test_glued_implants_under_a_bridge_add_their_loads_up() -> None:
    # Everything is linear then: the whole of two loads is the sum of each alone.
    glued = {**PLAIN, "interface": {"kind": "bonded"}}
    at, other = (15.0, -10.0, 8.0), (-6.0, 0.0, 8.0)
    both = {
        "name": "both",
        "forces": [
            {"at_mm": list(at), "force_n": [10.0, 0.0, -80.0]},
            {"at_mm": list(other), "force_n": [0.0, 15.0, -30.0]},
        ],
    }
    loads = [pressed(at, 10.0, 0.0, -80.0, name="a"), pressed(other, 0.0, 15.0, -30.0, name="b"), both]
    one, two, whole = (
        np.stack([implant.force for implant in load.implants])
        for load in answered(plan_of(loads, case=glued, tilts=TILTED)).loads
    )
    assert one + two == pytest.approx(whole, abs=1e-4 * np.abs(whole).max())


def test_the_tangent_of_a_sliding_implant_is_what_a_small_motion_shows() -> None:
    # By central differences. Friction that slides is not symmetric, and neither is its tangent.
    seat_ = seated(case_of())
    head = head_of(seat_)
    motion = np.linalg.inv(head.first_tangent) @ [60.0, 20.0, -150.0, 0.0, 0.0, 60.0]

    def moved_to(motion: NDArray[np.float64], guess: Moved) -> Moved:
        scale = head.response_mm(motion)
        return head.moved(
            head.at_rest, motion, guess=guess, stage="move", scale_mm=scale, tolerance=1e-10
        )

    at = moved_to(motion, head.at_rest)
    assert np.mean(at.state.tractions.sliding) > 0.1
    small = np.array([1e-6] * 3 + [1e-7] * 3)
    differences = np.stack(
        [
            (head.force(moved_to(motion + e, at)) - head.force(moved_to(motion - e, at))) / (2 * e.sum())
            for e in np.diag(small)
        ],
        axis=1,
    )
    size = np.sqrt(np.outer(*[np.diag(head.first_tangent)] * 2))
    assert np.abs((head.tangent(at) - differences) / size).max() < 1e-3
    assert np.abs((differences - differences.T) / size).max() > 3e-3
