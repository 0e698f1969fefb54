"""Six directions: properties of a stiffness matrix, footings from handbooks, and effects of contact.

A footing here is an implant of modulus 1e6 MPa glued into soft bone, so the whole chain is checked:
case, bodies, wall, layer, matrix. G = 1 MPa; the 2 µm that replace a layer of no thickness are 0.04 % of
the radius. The block is fixed at 20 and at 40 radii, and its far side is removed by extrapolation.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest

from stillroot.errors import NotConverged
from stillroot.inputs.case import Case
from stillroot.mechanics.balance import resultant_of_tractions
from stillroot.mechanics.implant_motion import section_motion
from stillroot.mechanics.loading import load
from stillroot.mechanics.outline import ABUTMENT, IMPLANT, TRABECULAR
from stillroot.mechanics.resultant import Resultant, place_of_unit
from stillroot.mechanics.six_directions import (
    GIVES_WAY,
    LITTLE,
    SixDirections,
    section_flexibility,
    six_directions,
    tangent_matrix,
    transferred,
)
from stillroot.mechanics.torque import torque_of
from validation.benches import everywhere, far_boundary_removed, graded, half_section_of, joined
from validation.doherty_2005.compute import PUBLISHED as DOHERTY_2005
from validation.half_space import FAR, NEAR, buried_stiffness, buried_torsion
from validation.placed import prepared

from ._chain import BONDED, SMOOTH, case_of, loaded, seated

if TYPE_CHECKING:
    from stillroot.mechanics.seat import Seated
    from validation.benches import Floats

LOOSE = {"friction": 0.0, "interference_um": 0.0}
PRESSED = {"friction": 0.4, "interference_um": 3.0}
ROWS = {
    "lateral x": 0,
    "lateral y": 1,
    "axial in": 2,
    "axial out": 2,
    "tilt about x": 3,
    "tilt about y": 4,
    "rotation about the axis": 5,
}
"""The row of the matrix for each direction."""

SEATS = {
    "bonded": {"interface": BONDED},
    "pressed, threaded": {"interface": PRESSED},
    "pressed, smooth": {"implant": SMOOTH, "interface": PRESSED},
    "loose, threaded": {"interface": LOOSE},
}


@cache
def seat_of(kind: str) -> Seated:
    return seated(case_of(**SEATS[kind]))


@cache
def six(kind: str, height_mm: float = 0.0) -> SixDirections:
    return six_directions(seat_of(kind), little_um=50.0, height_mm=height_mm)


def states(kind: str) -> dict[str, str]:
    return {row.name: row.state for row in six(kind).directions}


def motion_at_crest(seat_: Seated, resultant: Resultant) -> Floats:
    """Return the motion (6,) [mm, rad] of the section at the crest, from a solve."""
    found = loaded(seat_, resultant)
    top = seat_.site.solids.top_mm
    change = found.state.w - found.state.fourier.embedded(seat_.state.w)
    return section_motion(seat_.site, change, resultant.on_sections(top))[6:]


# --- What a stiffness matrix must obey ---------------------------------------------------------------


@pytest.mark.parametrize("kind", SEATS)
@pytest.mark.parametrize("height_mm", [0.0, 6.0])
def test_the_matrix_is_symmetric_and_never_gives_energy(kind: str, height_mm: float) -> None:
    k = tangent_matrix(seat_of(kind), height_mm)
    scale = np.sqrt(np.outer(np.diag(k), np.diag(k))) + 1e-9
    np.testing.assert_allclose((k - k.T) / scale, 0.0, atol=1e-6)
    assert np.linalg.eigvalsh(0.5 * (k + k.T)).min() > -1e-9 * np.diag(k).max()


@pytest.mark.parametrize("kind", SEATS)
def test_x_and_y_are_alike_and_the_axis_stands_apart(kind: str) -> None:
    """A quarter turn about z takes (x, y) to (y, -x): only the sign of the coupling changes."""
    k = tangent_matrix(seat_of(kind), 3.0)
    quarter = np.kron(np.eye(2), [[0, 1, 0], [-1, 0, 0], [0, 0, 1]])
    np.testing.assert_allclose(quarter.T @ k @ quarter, k, atol=1e-6 * np.abs(k).max())
    assert not np.any(k[np.ix_([2, 5], [0, 1, 3, 4])])


def test_a_push_tilts_as_much_as_a_moment_shifts() -> None:
    """Reciprocity (Betti), by two solves of the whole chain, both in agreement with the matrix."""
    bonded = seat_of("bonded")
    force_n, moment_nmm = 20.0, 170.0
    tilt = motion_at_crest(bonded, Resultant(lateral_n=force_n, at_crest=True))[4]
    shift = motion_at_crest(bonded, Resultant(moment_nmm=moment_nmm, at_crest=True))[0]
    assert tilt / force_n == pytest.approx(shift / moment_nmm, rel=1e-6)
    assert tilt / force_n == pytest.approx(np.linalg.inv(tangent_matrix(bonded, 0.0))[4, 0], rel=1e-6)


def test_a_push_on_top_shifts_the_crest_as_much_as_one_at_the_crest_shifts_the_top() -> None:
    """Reciprocity between two sections that bend against each other: abutment and crest."""
    bonded = seat_of("bonded")
    top = bonded.site.solids.top_mm
    moved = []
    for on_top, read in ((True, place_of_unit("crest", "F_x")), (False, place_of_unit("top", "F_x"))):
        push = Resultant(lateral_n=20.0, height_mm=top if on_top else 0.0, at_crest=not on_top)
        found = loaded(bonded, push)
        moved.append(section_motion(bonded.site, found.state.w, push.on_sections(top))[read])
    assert moved[0] == pytest.approx(moved[1], rel=1e-6)


@pytest.mark.parametrize("height_mm", [-2.0, 3.0, 9.0])
@pytest.mark.parametrize("kind", ["bonded", "pressed, threaded"])
def test_the_matrix_moved_to_a_height_is_what_loads_at_that_height_find(
    kind: str, height_mm: float
) -> None:
    """Transferred by equation (15), against loads applied there and solved with contact: to 0.1 %."""
    moved = np.linalg.inv(transferred(tangent_matrix(seat_of(kind), 0.0), height_mm))
    for row in six(kind, height_mm).directions:
        i = ROWS[row.name]
        assert row.stiffness == pytest.approx(1 / moved[i, i], rel=1e-3), row.name


def test_there_and_back_leaves_the_matrix_as_it_was() -> None:
    k = tangent_matrix(seat_of("bonded"), 0.0)
    assert np.abs(transferred(transferred(k, 7.0), -7.0) - k).max() < 1e-9 * np.abs(k).max()
    assert transferred(k, 7.0)[4, 4] > 2 * k[4, 4], "a long lever is hard to tilt without shifting"


def test_the_centre_of_rotation_stays_put() -> None:
    """A small push moves the axis there by less than 0.1 % of its motion at the crest."""
    bonded = seat_of("bonded")
    motion = motion_at_crest(bonded, Resultant(lateral_n=1.0, at_crest=True))
    shift, tilt = motion[0], motion[4]
    centre = six("bonded").centre_of_rotation_mm
    assert centre is not None
    assert -bonded.site.solids.implant_length_mm < centre < 0
    assert abs(shift + tilt * centre) < 1e-3 * shift


def test_glued_has_one_stiffness() -> None:
    """Without contact nothing depends on the load: initial, secant and matrix agree, in equals out."""
    compliance = np.linalg.inv(six("bonded").matrix)
    for row in six("bonded").directions:
        assert row.secant_stiffness is not None
        assert row.secant_stiffness == pytest.approx(row.stiffness, rel=1e-5)
        i = ROWS[row.name]
        assert row.stiffness == pytest.approx(1 / compliance[i, i], rel=1e-5)
    assert six("bonded").sliding_lateral_n is None


# --- Rigid footings in an elastic half-space ---------------------------------------------------------

RADIUS = 5.0


def footing(
    depth: float,
    reach: float,
    poisson: float,
    *,
    on_top: bool = False,
    friction: float | None = None,
    first: float = 3e-3,
    growth: float = 2.0,
) -> Seated:
    """Return a seated rigid implant, `depth` radii long, in a block of `reach` radii.

    Buried to its crest, or standing `on_top` of the block on its flat end; glued, or loose with a
    coefficient of friction.
    """
    length, far, foot = depth * RADIUS, reach * RADIUS, depth * RADIUS if on_top else 0.0
    loose = {"interference_um": 0.0, "friction": friction}
    case = Case.from_dict(
        {
            "title": "footing, invented",
            "implant": {
                "diameter_mm": 2 * RADIUS,
                "length_mm": length,
                "abutment_diameter_mm": 2 * RADIUS,
                "abutment_height_mm": 1.0,
                "modulus_mpa": 1e6,
                "poisson": 0.3,
                "thread": {"form": "none"},
            },
            "bone": {
                "cortical_thickness_mm": 0.0,
                "law": "linear",
                "trabecular_modulus_mpa": 2 * (1 + poisson),
                "poisson": poisson,
                "radius_mm": far,
                "depth_mm": far + foot,
            },
            "interface": {
                "layer_thickness_mm": 0.0,
                **({"kind": "bonded"} if friction is None else loose),
            },
            "loads": [{"name": "pressing in", "axial_n": 1.0}],
        }
    )
    step = first * RADIUS
    beside = [graded(0.0, -length / 2, step, growth), graded(-length, -length / 2, step, growth)]
    section = half_section_of(
        joined(graded(RADIUS, 0, step, growth), graded(RADIUS, far, step, growth)),
        joined(graded(-length, -far - foot, step, growth), *beside, np.array([1.0])),
        {
            IMPLANT: lambda r, z: (r < RADIUS) & (z < 0) & (z > -length),
            ABUTMENT: lambda r, z: (r < RADIUS) & (z > 0),
            TRABECULAR: everywhere,
        },
        lambda r, z: ((r < RADIUS) & (z < 1)) | (z < -foot),
    )
    return prepared(case, section, 1).seated()


POWERS = 1 + np.add.outer([0, 0, 0, 1, 1, 1], [0, 0, 0, 1, 1, 1])
"""Rate at which the far side's share of each compliance falls: see `far_boundary_removed`."""


def half_space_matrix(depth: float, poisson: float, *, on_top: bool = False) -> Floats:
    """Return the 6 × 6 stiffness over G R, G R² and G R³, at the ground."""
    grid = {"first": 1e-3, "growth": 1.6} if on_top else {}
    ground = -depth * RADIUS if on_top else 0.0
    near, far = (
        np.linalg.inv(tangent_matrix(footing(depth, reach, poisson, on_top=on_top, **grid), ground))
        for reach in (NEAR, FAR)
    )
    compliance = np.vectorize(far_boundary_removed)(near, far, FAR / NEAR, POWERS)
    return np.linalg.inv(compliance) / RADIUS**POWERS


@pytest.mark.parametrize("poisson", [0.0, 0.3])
def test_a_glued_disc(poisson: float) -> None:
    """Torsion 16/3 (Reissner and Sagoci) and axial 4 ln(3-4ν)/(1-2ν) (from memory): within 0.4 %.

    Lateral lies between 8/(2-ν), exact without pressure, and the handbooks' variant 32(1-ν)/(7-8ν).
    Rocking is stiffer than 8/(3(1-ν)), which is without shear, by less than 20 %: a bound of ours.
    """
    k = half_space_matrix(0.2, poisson, on_top=True)
    assert k[5, 5] == pytest.approx(16 / 3, rel=4e-3)
    assert k[2, 2] == pytest.approx(4 * np.log(3 - 4 * poisson) / (1 - 2 * poisson), rel=4e-3)
    assert k[0, 0] * (2 - poisson) / 8 > 1.0025
    assert k[0, 0] < 32 * (1 - poisson) / (7 - 8 * poisson)
    assert 1.0025 < k[4, 4] * 3 * (1 - poisson) / 8 < 1.2


def test_a_disc_without_friction() -> None:
    """Axial 4/(1-ν) (Boussinesq), rocking 8/(3(1-ν)): within 0.25 %; free to slide and to turn."""
    poisson = 0.3
    (near, free), (far, _) = (
        section_flexibility(
            footing(0.2, reach, poisson, on_top=True, friction=0.0, first=1e-3, growth=1.6)
        )
        for reach in (NEAR, FAR)
    )
    tilt, axial = (
        far_boundary_removed(near[i, i], far[i, i], FAR / NEAR, p) for i, p in ((4, 3), (2, 1))
    )
    assert 1 / axial / RADIUS == pytest.approx(4 / (1 - poisson), rel=2.5e-3)
    assert 1 / tilt / RADIUS**3 == pytest.approx(8 / (3 * (1 - poisson)), rel=2.5e-3)
    assert free.tolist() == [True, True, False, False, False, True]


@pytest.mark.parametrize("slenderness", [1.0, 2.0])
def test_a_buried_cylinder(slenderness: float) -> None:
    """All terms, coupling included, within 0.2 % of a rigid cylinder cut from the bone alone; and within
    6 % above K_H and K_M of Doherty et al. 2005, whose skirt has a compliant plug.

    Coupling is negative: a push at the ground with tilt prevented needs a moment that holds the top
    back, since the cylinder would tip towards the push.
    """
    depth = 2 * slenderness
    k = half_space_matrix(depth, 0.2)
    np.testing.assert_allclose(k[np.ix_([0, 4], [0, 4])], buried_stiffness("cylinder", depth), rtol=2e-3)
    assert k[5, 5] == pytest.approx(buried_torsion(depth), rel=2e-3)
    assert k[0, 4] < 0
    lateral, tilt = DOHERTY_2005[slenderness]
    assert 1.0 < k[0, 0] / lateral < 1.06
    assert 1.0 < k[4, 4] / tilt < 1.06


def test_torsion_of_a_buried_cylinder() -> None:
    """16/3 + 4π L/R, the sum of end and wall without interaction, is a rough figure: at L/R 4 it lies 2
    to 6 % below.
    """
    rough = 16 / 3 + 4 * np.pi * 4
    assert 1.02 < half_space_matrix(4.0, 0.2)[5, 5] / rough < 1.06


# --- What contact adds -------------------------------------------------------------------------------


def test_a_loose_thread_without_friction_turns_freely_and_moves_little_otherwise() -> None:
    """Common practice, no source: an implant that turns in its hole can still be well supported."""
    found = states("loose, threaded")
    assert found.pop("rotation about the axis") == GIVES_WAY
    assert set(found.values()) == {LITTLE}
    turn = six("loose, threaded").directions[-1]
    assert turn.stiffness == 0.0
    assert turn.secant_stiffness is None
    assert not np.any(six("loose, threaded").matrix[5])


def test_friction_without_pressure_does_not_hold_against_turning() -> None:
    """µ alone gives no resistance: without pressure there is no friction against turning."""
    rubbing = seated(case_of(interface={**LOOSE, "friction": 0.4}))
    with pytest.raises(NotConverged):
        load(rubbing, [Resultant(torque_nmm=1.0)])


def test_loose_differs_in_and_out() -> None:
    """Pressed in, it rests on its end and its apical flanks; pulled out, on its coronal flanks alone."""
    rows = {row.name: row for row in six("loose, threaded").directions}
    inwards, outwards = rows["axial in"], rows["axial out"]
    assert inwards.stiffness > 1.1 * outwards.stiffness
    assert inwards.secant_stiffness is not None
    assert outwards.secant_stiffness is not None
    assert inwards.secant_stiffness > 1.1 * outwards.secant_stiffness


def test_a_loose_fit_is_softer_than_its_tangent() -> None:
    """A gap of zero opens on one side: under a lateral push only half the wall bears."""
    found = six("loose, threaded")
    tangent = 1 / np.linalg.inv(found.matrix[:5, :5])[0, 0]
    assert found.directions[0].stiffness < 0.8 * tangent


def test_pressed_in_smooth_is_held_in_all_six() -> None:
    assert set(states("pressed, smooth").values()) == {LITTLE}


def test_pressed_in_smooth_holds_by_friction_alone() -> None:
    """Pull-out µp·2πaL and rotation µp·2πa²L from the same pressure, so their ratio is the radius.

    Rotation within 1 %. Pull-out within 5 %: pulling lowers the pressure or, with Poisson's contraction
    of the bone above, raises it.
    """
    pressed = seat_of("pressed, smooth")
    radius, length = pressed.site.solids.implant_radius_mm, pressed.site.solids.implant_length_mm
    layer = pressed.layer
    side = layer.normal[0] > 0.5
    pressure = np.average(pressed.state.tractions.traction[0, side, 0], weights=layer.weight_mm2[side])
    pull = layer.friction * pressure * 2 * np.pi * radius * length
    torque = torque_of(pressed)
    assert torque is not None
    assert torque.removal_ncm * 10 == pytest.approx(pull * radius, rel=0.01)
    for held, lost in (
        (Resultant(axial_n=-0.95 * pull), Resultant(axial_n=-1.05 * pull)),
        (Resultant(torque_nmm=0.99 * pull * radius), Resultant(torque_nmm=1.01 * pull * radius)),
    ):
        taken = resultant_of_tractions(layer, load(pressed, [held], steps=4))
        np.testing.assert_allclose(taken, held.six, atol=1e-4 * np.abs(held.six).max())
        with pytest.raises(NotConverged):
            load(pressed, [lost], steps=4)


def test_without_friction_a_smooth_implant_is_free_to_turn_and_to_come_out() -> None:
    """Pressure resists lateral motion and nothing else."""
    slippery = seated(case_of(implant=SMOOTH, interface={"friction": 0.0, "interference_um": 3.0}))
    found = {row.name: row.state for row in six_directions(slippery, little_um=50.0).directions}
    assert found["rotation about the axis"] == GIVES_WAY
    assert found["axial out"] == GIVES_WAY
    assert found["lateral x"] == found["axial in"] == LITTLE


def test_the_load_that_slides_a_third_grows_with_pressure() -> None:
    found = [
        six_directions(seated(case_of(interface={**PRESSED, "interference_um": um})), little_um=50.0)
        for um in (1.0, 4.0)
    ]
    for name in ("sliding_lateral_n", "sliding_axial_n"):
        less, more = (getattr(one, name) for one in found)
        assert less is not None
        assert more is None or more > 1.5 * less
