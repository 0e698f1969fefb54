"""The wall as a surface in space: values read in any viewer must be those of the solution."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from stillroot.mechanics.resultant import Resultant
from stillroot.mechanics.wall_surface import OPEN, WallSurface, wall_surface
from stillroot.writing.interface_files import interface_mesh, interface_table

from ._chain import BONDED, Loaded, case_of, loaded, seated

LOADS = {
    "bent": Resultant(lateral_n=20.0, height_mm=6.0),
    "pushed": Resultant(axial_n=80.0),
    "bent, pushed and turned": Resultant(
        lateral_n=15.0, axial_n=60.0, torque_nmm=15.0, height_mm=7.5, across_n=5.0
    ),
}
every_load = pytest.mark.parametrize("name", LOADS)


@cache
def solution(name: str) -> Loaded:
    return loaded(seated(case_of()), LOADS[name])


@cache
def surface(name: str) -> WallSurface:
    it = solution(name)
    return wall_surface(it.seated, it.state)


def area_vectors(it: WallSurface) -> np.ndarray:
    corners = it.points_mm[it.cells]
    return 0.5 * np.cross(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1])


@every_load
def test_the_tractions_on_the_drawn_cells_add_up_to_the_load(name: str) -> None:
    """ΣtA = F and Σx×tA = M (statics), with the areas and centres of the flat cells as a viewer computes
    them: within 1 %, since 20 chords are not a circle. With the areas of the solution F is met to
    1e-5.
    """
    it, six = surface(name), solution(name).resultant.six
    drawn = np.linalg.norm(area_vectors(it), axis=1)
    size = np.abs(six[:3]).max()
    force = it.traction_mpa * drawn[:, None]
    moment = np.cross(it.points_mm[it.cells].mean(axis=1), force).sum(axis=0)
    np.testing.assert_allclose(force.sum(axis=0), six[:3], atol=0.01 * size)
    np.testing.assert_allclose(moment, six[3:], atol=0.01 * size * 6.0)
    np.testing.assert_allclose(
        (it.traction_mpa * it.area_mm2[:, None]).sum(axis=0), six[:3], atol=1e-5 * size
    )


@every_load
def test_the_pressure_is_the_traction_against_the_normal_of_the_drawn_cells(name: str) -> None:
    """So every cell is oriented about the normal out of the implant. Within 3 % of the largest: a cell
    lies up to half a sector of 9° from where the law is evaluated.
    """
    it = surface(name)
    vectors = area_vectors(it)
    size = np.linalg.norm(vectors, axis=1)
    seen = size > 1e-6
    normal = vectors[seen] / size[seen, None]
    pressure = np.sum(it.traction_mpa[seen] * normal, axis=1)
    largest = np.linalg.norm(it.traction_mpa, axis=1).max()
    np.testing.assert_allclose(pressure, it.pressure_mpa[seen], atol=0.2 * largest)
    assert np.average(np.abs(pressure - it.pressure_mpa[seen]), weights=size[seen]) < 0.03 * largest


@every_load
def test_its_largest_motion_on_held_wall_is_the_headline(name: str) -> None:
    """At the same place; between the points of that map no motion is larger by a thousandth."""
    it, peak = surface(name), solution(name).motion.peak
    angle = np.radians(peak.angle_deg)
    place = peak.radius_mm * np.cos(angle), peak.radius_mm * np.sin(angle), -peak.depth_mm
    there = np.linalg.norm(it.points_mm - place, axis=1) < 1e-6
    assert it.micromotion_um[there].max() == pytest.approx(peak.total_um, rel=1e-9)
    assert it.micromotion_um[it.cells[it.held]].max() < 1.001 * peak.total_um
    np.testing.assert_allclose(it.micromotion_um, np.hypot(it.sliding_um, it.opening_um), rtol=1e-12)


@pytest.mark.parametrize("name", ["bent", "bent, pushed and turned"])
def test_what_is_open_bears_nothing(name: str) -> None:
    it = surface(name)
    here = it.state == OPEN
    assert here.any()
    assert not it.traction_mpa[here].any()
    assert np.all(it.pressure_mpa[~here] >= 0)


def test_a_bent_implant_is_seen_the_same_from_both_sides_and_one_pushed_from_all() -> None:
    bent, pushed = surface("bent"), surface("pushed")
    for it, turn in ((bent, [1, -1, 1]), (pushed, [-1, 1, 1])):
        middle = np.round(it.points_mm[it.cells].mean(axis=1), 6) + 0.0
        seen = {tuple(m): p for m, p in zip(middle, it.pressure_mpa, strict=True)}
        other = [seen[tuple(np.round(m * turn, 6) + 0.0)] for m in middle]
        np.testing.assert_allclose(other, it.pressure_mpa, atol=1e-5 * it.pressure_mpa.max())


def test_the_seat_presses_alike_all_round() -> None:
    """And 2πΣpA is that of the axisymmetric seat."""
    it, seat = surface("bent"), solution("bent").seated
    all_round = it.pressure_seated_mpa.reshape(4 * len(seat.layer.node) // 3, -1)
    assert np.ptp(all_round, axis=1).max() == 0
    total = 2 * np.pi * np.sum(seat.layer.weight_mm2 * seat.state.tractions.traction[0, :, 0])
    assert total > 0
    assert np.sum(it.pressure_seated_mpa * it.area_mm2) == pytest.approx(total, rel=1e-9)


@every_load
def test_the_table_holds_the_same_forces_and_motions(name: str) -> None:
    """ΣtA of the rows, turned to x, y, z: within 0.5 %, the rounding of the columns; gap fill, which
    bears too, is among the rows.
    """
    it = solution(name)
    six = it.resultant.six
    table = interface_table(it.seated, it.state)
    area, angle = table["area_mm2"], np.radians(table["angle_deg"])
    normal = np.repeat(it.seated.layer.normal, len(np.unique(angle)), axis=1)
    p, s, round_it = (table[f"{key}_mpa"] for key in ("pressure", "shear_along", "shear_round"))
    radial, up = normal[0] * p - normal[1] * s, normal[1] * p + normal[0] * s
    force = (
        np.sum(area * (radial * np.cos(angle) - round_it * np.sin(angle))),
        np.sum(area * (radial * np.sin(angle) + round_it * np.cos(angle))),
        np.sum(area * up),
    )
    np.testing.assert_allclose(force, six[:3], atol=0.005 * np.abs(six[:3]).max())
    held = table["held"]
    mean = np.average(table["micromotion_um"][held], weights=area[held])
    assert mean == pytest.approx(it.motion.mean_um, rel=0.01)


def test_a_glued_wall_sticks_everywhere() -> None:
    it = loaded(seated(case_of(interface=BONDED)), LOADS["bent"])
    mesh = interface_mesh(it.seated, it.state)
    assert set(mesh.cell_data["state"][0]) == {1}
