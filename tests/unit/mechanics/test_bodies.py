"""The two bodies of a half-section: one wall, its normals, and what of it is held."""

import numpy as np
import pytest

from stillroot.mechanics.bodies import take_apart
from stillroot.mechanics.mesh import mesh_outline
from stillroot.mechanics.outline import outline_of
from tests.unit.mechanics._implants import case_with


def test_both_sides_of_the_wall_have_the_same_nodes():
    section = mesh_outline(outline_of(case_with()), 0.5)
    pair = take_apart(section, keep_gap=True)
    wall = pair.wall
    np.testing.assert_array_equal(
        pair.implant.nodes_mm[:, wall.implant_nodes], pair.bone.nodes_mm[:, wall.bone_nodes]
    )
    straight = 0.5 * (wall.nodes_mm[:, wall.edges[0]] + wall.nodes_mm[:, wall.edges[2]])
    np.testing.assert_allclose(wall.nodes_mm[:, wall.edges[1]], straight, atol=1e-9)


def test_normals_of_the_wall_close_up():
    """Gauss: ∮ n_z r ds over the wall and the disc that closes it at the crest is zero."""
    pair = take_apart(mesh_outline(outline_of(case_with()), 0.5), keep_gap=True)
    wall = pair.wall
    ends = wall.nodes_mm[:, wall.edges[[0, 2]]]
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=0)
    flux = np.sum(wall.normal[1] * ends[0].mean(axis=0) * length)
    assert flux == pytest.approx(-0.5 * 2.0**2), "out of the bone and into the disc r < 2"


@pytest.mark.parametrize("fill", ["clot", "empty"])
def test_only_the_hold_touches_native_bone(fill):
    case = case_with(socket={"holds_mm": [[4.0, 8.0]], "gap_fill": fill})
    pair = take_apart(mesh_outline(outline_of(case), 0.5), keep_gap=case.socket.gap_filled)
    wall = pair.wall
    middle = -wall.nodes_mm[1, wall.edges[1]]
    assert np.all(middle[~wall.fill] > 4.0 - 0.05)
    assert np.any(wall.fill) == (fill == "clot")
    if fill == "empty":
        assert middle.min() > 4.0 - 0.05


@pytest.mark.parametrize("holds", [[[0.03, 8.0]], [[0.0, 7.97]], [[0.0, 4.0], [4.02, 8.0]]])
def test_a_gap_thinner_than_the_snap_is_no_gap(holds):
    pair = take_apart(
        mesh_outline(outline_of(case_with(socket={"holds_mm": holds})), 0.5), keep_gap=True
    )
    assert pair.wall.edges.shape[1] > 0
