"""Insertion torque: its sources, the interference from a reading, and what it cannot tell.

Cases are invented. Published figures: validation/lame_torque, insertion_torque_2014 and chapman_1996.
"""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from stillroot.answers.chain import Chain, interference_of
from stillroot.errors import CaseError, NotConverged
from stillroot.mechanics.balance import resultant_of_tractions
from stillroot.mechanics.loading import load
from stillroot.mechanics.resultant import Resultant
from stillroot.mechanics.torque import Torque, friction_torque_ncm, torque_of
from validation.pins import FRICTION, PIN, RIGID_PIN, pin_in_sleeve, uncrushable
from validation.placed import prepared

from ._chain import BONDED, SMOOTH, case_of, loaded, seated

if TYPE_CHECKING:
    from stillroot.mechanics.seat import Seated
    from validation.placed import Prepared

# --- Friction, pressure, radius ----------------------------------------------------------------------


def torque_ncm(seated_: Seated) -> Torque:
    torque = torque_of(seated_)
    assert torque is not None
    return torque


def test_torque_is_friction_times_pressure_times_radius() -> None:
    """µp·2πa²L of a smooth pin that touches nowhere else."""
    pin = pin_in_sleeve(8.0, RIGID_PIN, support="all_round", element=1.0)
    found = torque_ncm(pin.seated(uncrushable(pin.layer())))
    expected = FRICTION * found.mean_pressure_mpa * 2 * np.pi * PIN**2 * 8.0 / 10
    assert found.insertion_ncm == pytest.approx(expected, rel=1e-6)


def test_what_fills_the_gap_has_no_part_in_torque_or_mean_pressure() -> None:
    """T = µ p 2π a² L over the held wall alone, graft above and below it."""
    radius, friction, (top, bottom) = 2.0, 0.4, (2.0, 6.0)
    case = case_of(
        implant={"diameter_mm": 2 * radius, "length_mm": 8.0, **SMOOTH},
        socket={"holds_mm": [[top, bottom]], "gap_fill": "graft"},
        interface={"friction": friction, "interference_um": 5.0},
    )
    torque = torque_ncm(seated(case))
    moment = friction * torque.mean_pressure_mpa * 2 * np.pi * radius**2 * (bottom - top)
    assert torque.friction_ncm == pytest.approx(moment / 10, rel=1e-6)


def test_torque_grows_with_friction_and_interference_alike() -> None:
    """Below crushing the problem is linear: twice either, twice the torque."""
    bed = plain()
    one = torque_ncm(bed.seated(bed.layer(interference_um=2.0))).insertion_ncm
    for twice in ({"interference_um": 4.0}, {"interference_um": 2.0, "friction": 0.8}):
        found = torque_ncm(bed.seated(bed.layer(**twice))).insertion_ncm
        assert found == pytest.approx(2 * one, rel=1e-6)


# --- From torque to interference ---------------------------------------------------------------------


@cache
def plain(**interface: float) -> Prepared:
    return prepared(case_of(interface={"interference_um": None, **interface}))


def found_um(bed: Prepared) -> float:
    return interference_of(bed.site, bed.case)


@pytest.mark.parametrize("interference_um", [0.5, 6.0, 25.0])
def test_a_reading_gives_the_interference_back(interference_um: float) -> None:
    """There and back within 0.1 %; in the last one a third of the bone is crushed."""
    bed = plain()
    torque = torque_ncm(bed.seated(bed.layer(interference_um=interference_um)))
    assert (torque.share_crushed > 0.2) == (interference_um > 20)
    read = plain(measured_torque_ncm=torque.insertion_ncm)
    assert found_um(read) == pytest.approx(interference_um, rel=1e-3)


def test_cutting_is_taken_off_a_reading_first() -> None:
    cut = found_um(plain(measured_torque_ncm=45.0, cutting_torque_ncm=15.0))
    assert cut == pytest.approx(found_um(plain(measured_torque_ncm=30.0)), rel=1e-3)
    both = case_of(interface={"interference_um": cut, "cutting_torque_ncm": 15.0})
    torque = Chain().placed(both).torque
    assert torque is not None
    assert torque.insertion_ncm == pytest.approx(45.0, rel=1e-3)


def test_a_torque_that_no_interference_gives_is_refused_with_the_range() -> None:
    """And the top of the range can be reached."""
    with pytest.raises(CaseError, match="no interference gives") as refusal:
        found_um(plain(measured_torque_ncm=400.0))
    assert refusal.value.key == "interface.measured_torque_ncm"
    range_ = re.search(r"give ([\d.]+) to ([\d.]+) N·cm", str(refusal.value))
    assert range_ is not None
    low, high = map(float, range_.groups())
    assert low == 0
    assert found_um(plain(measured_torque_ncm=0.98 * high)) < 500
    with pytest.raises(CaseError):
        found_um(plain(measured_torque_ncm=1.02 * high))


# --- Relaxation, crushing, removal -------------------------------------------------------------------


def test_lost_pressure_lowers_removal_torque_alike_and_lets_the_implant_move() -> None:
    """The torque was measured before the loss, so insertion torque keeps its value.

    47 % is the stress left at worst after ten minutes in bovine trabecular cores, compressed and held at
    constant strain (no press fit): Gersie et al. 2024, J Mech Behav Biomed Mater 152:106434.
    """
    push = Resultant(lateral_n=30.0, axial_n=60.0, height_mm=6.0)
    seats = [seated(case_of(interface={"retained_pressure": share})) for share in (1.0, 0.47)]
    fresh, relaxed = map(torque_ncm, seats)
    assert relaxed.insertion_ncm == fresh.insertion_ncm
    assert relaxed.removal_ncm == pytest.approx(0.47 * fresh.removal_ncm, rel=1e-6)
    before, after = (loaded(s, push).peak_um for s in seats)
    assert after > 1.05 * before


def test_torque_levels_off_where_the_bone_crushes() -> None:
    """It rises with interference until all squeezed bone is crushed; so does the crushed share."""
    bed = plain()
    found = [
        torque_ncm(bed.seated(bed.layer(interference_um=um))) for um in (5.0, 20.0, 50.0, 200.0, 400.0)
    ]
    torque, crushed = (
        [getattr(one, key) for one in found] for key in ("insertion_ncm", "share_crushed")
    )
    assert np.all(np.diff(torque[:4]) > 0)
    assert np.all(np.diff(crushed[:4]) > 0)
    assert crushed[0] == 0
    assert torque[1] < 4 * torque[0]
    assert torque[4] == pytest.approx(torque[3], rel=1e-3)


def test_torque_levels_off_at_what_crushing_allows() -> None:
    """µ p_c r over all that the interference squeezes: threads and wall. The flat end has no
    interference and adds next to nothing.
    """
    bed = plain()
    layer = bed.layer(interference_um=400.0)
    most = np.sum((layer.crush_mpa * layer.weight_mm2 * layer.radius_mm)[layer.interference_mm > 0])
    found = torque_ncm(bed.seated(layer)).insertion_ncm
    assert found == pytest.approx(2 * np.pi * layer.friction * most / 10, rel=1e-3)


@pytest.mark.parametrize("kind", ["threaded", "smooth"])
def test_removal_torque_is_what_turns_it(kind: str) -> None:
    """A torque 1 % below is carried in balance; at 1 % above, the implant turns."""
    implant: dict[str, Any] = SMOOTH if kind == "smooth" else {}
    seat_ = seated(case_of(implant=implant, interface={"retained_pressure": 0.7}))
    removal_nmm = 10 * torque_ncm(seat_).removal_ncm
    held = load(seat_, [Resultant(torque_nmm=0.99 * removal_nmm)])
    assert resultant_of_tractions(seat_.layer, held)[5] == pytest.approx(0.99 * removal_nmm, rel=1e-4)
    with pytest.raises(NotConverged):
        load(seat_, [Resultant(torque_nmm=1.01 * removal_nmm)])


def test_a_glued_implant_has_no_torque() -> None:
    assert torque_of(seated(case_of(interface=BONDED))) is None


# --- Ordinary implants, ordinary bone ----------------------------------------------------------------

TYPES = {1: (3.0, 1200.0), 2: (2.0, 800.0), 3: (1.0, 400.0), 4: (0.8, 150.0)}
"""Cortex [mm] and trabecular modulus [MPa] assumed for the four Lekholm and Zarb types: within the
usual 0.5 to 3 mm and the 7 to 900 MPa measured in jaws, except for the modulus of type 1, which is
nearly all cortex."""


@cache
def placed(kind: int, interference_um: float) -> float:
    """Return the insertion torque of a 4.1 × 10 mm implant in a type of bone."""
    cortex, modulus = TYPES[kind]
    return torque_ncm(
        seated(
            case_of(
                implant={"length_mm": 10.0},
                bone={
                    "cortical_thickness_mm": cortex,
                    "law": "linear",
                    "trabecular_modulus_mpa": modulus,
                    "radius_mm": 10.0,
                    "depth_mm": 15.0,
                },
                interface={"interference_um": interference_um},
            )
        )
    ).insertion_ncm


@pytest.mark.parametrize("kind", [2, 3, 4])
def test_ordinary_torques(kind: int) -> None:
    """At the default interference, 10 to 80 N·cm (common practice, no source)."""
    assert 10 < placed(kind, 5.0) < 80


def test_the_densest_bone_reads_more_than_is_ordinary() -> None:
    """Type 1 at the same interference: 85 N·cm. It comes down to 80 at 4.7 µm."""
    assert 80 < placed(1, 5.0) < 90
    assert placed(1, 4.7) < 80


def test_torque_falls_with_density() -> None:
    """At the same undersizing, from type to type."""
    assert placed(1, 5.0) > placed(2, 5.0) > placed(3, 5.0) > placed(4, 5.0)


# --- Yielding flanks ---------------------------------------------------------------------------------


def test_flanks_that_yield_carry_the_crushing_pressure_over_the_area_seen_along_the_axis() -> None:
    """Plus what friction adds on flanks of 30°. A loose implant, three threads in cortical bone."""
    depth, pitch, hold, friction = 0.35, 0.8, 2.4, 0.4
    seat_ = seated(
        case_of(
            implant={"length_mm": 8.0, "thread": {"form": "v", "pitch_mm": pitch, "depth_mm": depth}},
            bone={"cortical_thickness_mm": 5.0, "depth_mm": 12.0},
            socket={"holds_mm": [[0.0, hold]], "gap_fill": "empty"},
            interface={"friction": friction, "interference_um": 0.0},
        )
    )
    crush = seat_.inserting.crush_mpa
    yielding = replace(seat_, layer=replace(seat_.layer, crush_mpa=crush))
    outer = seat_.site.solids.implant_radius_mm * 2
    seen = np.pi / 4 * (outer**2 - (outer - 2 * depth) ** 2) * hold / pitch
    most = crush[seat_.layer.held].max() * seen * (1 + friction * np.tan(np.radians(30.0)))
    assert load(yielding, [Resultant(axial_n=-0.95 * most)], steps=4).tractions.closed.any()
    with pytest.raises(NotConverged):
        load(yielding, [Resultant(axial_n=-1.05 * most)], steps=4)


# --- What torque does not tell -----------------------------------------------------------------------


@cache
def placed_at(
    diameter_mm: float, hold: tuple[float, float], torque: float, bone: tuple[float, float]
) -> Seated:
    """Return an implant held in an empty socket, at the interference that gives a torque."""
    return seated_at_torque(
        implant={"diameter_mm": diameter_mm, "length_mm": 10.0},
        bone={
            "cortical_thickness_mm": bone[0],
            "law": "linear",
            "trabecular_modulus_mpa": bone[1],
            "radius_mm": 10.0,
            "depth_mm": 15.0,
        },
        socket={"holds_mm": [list(hold)], "gap_fill": "empty"},
        interface={"interference_um": None, "measured_torque_ncm": torque},
    )


def seated_at_torque(**sections: Any) -> Seated:
    case = case_of(**sections)
    seat_ = Chain().placed(case).seated
    wanted = case.interface.measured_torque_ncm
    assert friction_torque_ncm(seat_.inserting, seat_.inserted) == pytest.approx(wanted, rel=1e-3)
    return seat_


PUSH = Resultant(lateral_n=20.0, axial_n=100.0, height_mm=6.0)
TWO, FIVE = (0.0, 1.6), (0.0, 4.0)
"""Holds of two and of five threads, 0.8 mm apart."""
DENSE = (0.5, 900.0)
"""Cortex [mm] and trabecular modulus [MPa]: the densest measured in jaws, under a thin cortex."""


def test_a_short_hold_at_high_torque_moves_more_than_a_longer_one_at_half_of_it() -> None:
    """A wide implant by two threads in dense bone, 70 N·cm; an ordinary one by five, 35 N·cm: the
    same bone, the same load, across or oblique. Common practice, no source."""
    for push in (PUSH, Resultant(lateral_n=50.0, height_mm=6.0)):
        two = loaded(placed_at(5.5, TWO, 70.0, DENSE), push).peak_um
        five = loaded(placed_at(4.1, FIVE, 35.0, DENSE), push).peak_um
        assert two > 1.1 * five


def test_thread_count_alone_does_not_tell_either() -> None:
    """In a thick cortex two threads of a wide implant hold better than five of an ordinary one that
    reach below it: what counts is engagement times stiffness, and the lever.
    """
    thick = (2.0, 500.0)
    two = loaded(placed_at(5.5, TWO, 35.0, thick), PUSH).peak_um
    five = loaded(placed_at(4.1, FIVE, 35.0, thick), PUSH).peak_um
    assert two < five


def test_a_sum_of_torques_tells_nothing_about_any_one() -> None:
    """Two pairs, each 70 N·cm in all, each implant alone under the same load: in one pair the
    largest motion is more than 3 times that in the other; and a pair of half the sum can hold better."""
    tip = (8.0, 9.6)
    even = [placed_at(4.1, FIVE, 35.0, DENSE)] * 2
    uneven = [placed_at(4.1, FIVE, 65.0, DENSE), placed_at(4.1, tip, 5.0, DENSE)]
    half = [placed_at(4.1, (0.0, 10.0), 17.5, DENSE)] * 2
    sums, largest = [], []
    for pair in (even, uneven, half):
        sums.append(sum(torque_ncm(one).insertion_ncm for one in pair))
        largest.append(max(loaded(one, PUSH).peak_um for one in pair))
    assert sums == pytest.approx([70.0, 70.0, 35.0], rel=1e-3)
    assert largest[1] > 3 * largest[0]
    assert largest[2] < largest[1]
