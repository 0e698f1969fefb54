"""Outline and mesh: the half-section is that of the implant described by the case."""

import re
import subprocess
import sys

import numpy as np
import pytest

from stillroot import Case, EnvironmentProblem, MeshError
from stillroot.answers.levels import at_level
from stillroot.mechanics.accuracy import COARSE
from stillroot.mechanics.bodies import take_apart
from stillroot.mechanics.mesh import mesh_key, mesh_outline
from stillroot.mechanics.outline import Outline, Region, gaps_between, implant_wall, outline_of
from stillroot.mechanics.stored import half_section, mesh_folders, read_section, write_section

BASE = {
    "title": "geometry",
    "implant": {"diameter_mm": 4.0, "length_mm": 8.0},
    "bone": {"cortical_thickness_mm": 1.5, "trabecular_modulus_mpa": 300.0},
    "loads": [{"name": "push", "axial_n": 50.0}],
}


def case_with(**sections):
    return Case.from_dict({**BASE, **sections})


def implant(**keys):
    return {"diameter_mm": 4.0, "length_mm": 8.0, **keys}


def revolved_volume(section, name):
    """2π ∫ r dA of a region, exact for straight-sided triangles (Pappus)."""
    triangles = section.triangles[:, section.region == section.names.index(name)]
    r, z = section.points_mm[:, triangles]
    area = 0.5 * ((r[1] - r[0]) * (z[2] - z[0]) - (r[2] - r[0]) * (z[1] - z[0]))
    return 2 * np.pi * np.sum(np.abs(area) * r.mean(axis=0))


def test_a_smooth_implant_displaces_a_cylinder_of_bone():
    case = case_with(implant=implant(thread={"form": "none"}))
    section = mesh_outline(outline_of(case), 0.5)
    assert revolved_volume(section, "implant") == pytest.approx(np.pi * 2.0**2 * 8.0)
    assert revolved_volume(section, "cortical") == pytest.approx(
        np.pi * (case.block_mm[0] ** 2 - 2**2) * 1.5
    )


def test_a_taper_displaces_a_truncated_cone():
    case = case_with(implant=implant(taper_deg=5.0, thread={"form": "none"}))
    tip = 2.0 - 8.0 * np.tan(np.radians(5))
    frustum = np.pi * 8.0 / 3 * (2.0**2 + 2.0 * tip + tip**2)
    assert revolved_volume(mesh_outline(outline_of(case), 0.5), "implant") == pytest.approx(frustum)


@pytest.mark.parametrize("form", ["v", "square", "trapezoid", "buttress"])
def test_every_thread_form_keeps_crest_and_core(form):
    thread = {"form": form, "pitch_mm": 1.0, "depth_mm": 0.4, "crest_flat_mm": 0.2}
    case = case_with(implant=implant(thread=thread))
    wall = implant_wall(case.implant)
    assert wall[0].tolist() == [2.0, 0.0]
    assert wall[-1].tolist() == [0.0, -8.0]
    assert set(np.round(wall[:-1, 0], 9)) == {1.6, 2.0}
    assert np.sum(np.diff(wall[:, 0]) < -0.3) >= 7, "seven full threads fit in 7.8 mm"
    section = mesh_outline(outline_of(case), 0.5)
    core, full = np.pi * 1.6**2 * 8.0, np.pi * 2.0**2 * 8.0
    assert core < revolved_volume(section, "implant") < full


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


def test_gaps_are_what_no_hold_covers():
    assert gaps_between(((0.0, 8.0),), 8.0) == ()
    assert gaps_between(((1.0, 2.0), (4.0, 8.0)), 8.0) == ((0.0, 1.0), (2.0, 4.0))


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


def test_a_hold_that_ends_next_to_a_thread_corner_leaves_no_sliver():
    thread = {"pitch_mm": 0.8, "depth_mm": 0.35}
    for top in np.arange(4.0, 4.9, 0.02):
        case = case_with(
            implant=implant(thread=thread), socket={"holds_mm": [[round(float(top), 3), 8.0]]}
        )
        mesh_outline(outline_of(case), 0.5)  # raises MeshError on a bad triangle


# Lengths that leave a root, a ledge or a flat of micrometres somewhere along the implant.
OF_MICROMETRES = {
    "a root left over at the tip": {"length_mm": 4.0, "thread": {"form": "square", "pitch_mm": 0.649}},
    "a thread that ends just above the tip": {"length_mm": 5.0, "thread": {"pitch_mm": 0.9799}},
    "flanks that all but fill the pitch": {
        "thread": {"form": "buttress", "pitch_mm": 0.6, "depth_mm": 0.386}
    },
    "a flat on the crest of 1 µm": {"thread": {"crest_flat_mm": 0.001}},
    "a neck of 50 nm": {"thread": {"crest_flat_mm": 0.0, "start_mm": 5e-8}},
    "an abutment narrower by 1 µm": {"diameter_mm": 4.002, "abutment_diameter_mm": 4.0},
    "an abutment narrower by 30 µm": {"diameter_mm": 4.06, "abutment_diameter_mm": 4.0},
    "an outline with two points as one": {
        "outline_mm": [[2.0, 0.0], [2.0, -4.0], [1.9999999, -4.0000001], [1.8, -8.0]]
    },
}


@pytest.mark.parametrize("element_mm", [0.25, 1.0])
@pytest.mark.parametrize("keys", OF_MICROMETRES.values(), ids=OF_MICROMETRES)
def test_a_length_of_micrometres_leaves_no_sliver_and_the_implant_as_large_as_it_is(keys, element_mm):
    given = {} if "outline_mm" in keys else {"diameter_mm": 4.0, "length_mm": 8.0}
    case = case_with(implant={**given, **keys})
    section = mesh_outline(outline_of(case), element_mm)  # raises MeshError on a bad triangle
    wall = implant_wall(case.implant)
    assert wall[0].tolist() == [case.implant.platform_diameter_mm / 2, 0.0]
    assert wall[-1].tolist() == [0.0, -case.implant.length_mm]
    # A solid of revolution under a polygon, cone by cone: π/3 Σ Δz (a² + a b + b²).
    a, b = wall[:-1, 0], wall[1:, 0]
    solid = np.pi / 3 * np.sum(-np.diff(wall[:, 1]) * (a**2 + a * b + b**2))
    assert revolved_volume(section, "implant") == pytest.approx(solid, rel=1e-6)


def test_a_sliver_is_told_with_its_place_and_the_shortest_edge_with_its_keys():
    """A line at 4 mm that ends on the foot of a flank leaves a wedge of 0.1 degrees under it."""
    outline = [[2.0, 0.0], [2.0, -3.998], [1.0, -4.0], [1.0, -8.0]]
    case = case_with(
        implant={"outline_mm": outline},
        bone={**BASE["bone"], "cortical_thickness_mm": 4.0},
    )
    with pytest.raises(MeshError) as raised:
        mesh_outline(outline_of(case), 0.5)
    place = re.search(r"in the \w+, ([\d.]+) mm from the axis and ([\d.]+) mm below", str(raised.value))
    assert place is not None
    assert 1.0 < float(place[1]) < 2.01
    assert float(place[2]) == pytest.approx(4.0, abs=0.01)
    assert "flank_angle_deg" in str(raised.value)


def test_what_the_mesher_cannot_take_is_told_with_the_shortest_edge_and_its_keys():
    spike = np.array([[2.0, 0.0], [2.0, -4.0], [2.0, -4.0 - 1e-8], [0.0, -8.0], [0.0, 0.0]])
    bone = np.array([[0.0, -12.0], [8.0, -12.0], [8.0, 0.0], [0.0, 0.0]])
    outline = Outline(
        wall_mm=spike[:-1],
        regions=(
            Region(name="implant", corners_mm=spike),
            Region(name="trabecular", corners_mm=bone),
        ),
    )
    with pytest.raises(
        MeshError, match=r"shortest edge is 1e-08 mm, of the implant, 2 mm from the axis and 4 mm"
    ):
        mesh_outline(outline, 0.5)


def test_an_abutment_as_wide_as_the_implant_can_be_meshed():
    case = case_with(implant=implant(abutment_diameter_mm=4.0))
    assert revolved_volume(mesh_outline(outline_of(case), 0.5), "abutment") == pytest.approx(
        np.pi * 2.0**2 * 6.0
    )


def test_meshing_twice_gives_the_same_mesh():
    first, second = (mesh_outline(outline_of(case_with()), 0.4) for _ in range(2))
    np.testing.assert_array_equal(first.points_mm, second.points_mm)
    np.testing.assert_array_equal(first.triangles, second.triangles)


def test_a_stored_mesh_comes_back_unchanged(tmp_path):
    section = mesh_outline(outline_of(case_with()), 0.5)
    write_section(tmp_path / "a.npz", section)
    back = read_section(tmp_path / "a.npz")
    np.testing.assert_array_equal(back.points_mm, section.points_mm)
    np.testing.assert_array_equal(back.triangles, section.triangles)
    assert back.names == section.names


def test_any_change_of_geometry_changes_the_key():
    keys = {
        mesh_key(outline_of(case), element)
        for case in (
            case_with(),
            case_with(implant=implant(taper_deg=0.1)),
            case_with(implant=implant(abutment_height_mm=6.1)),
            case_with(implant=implant(thread={"crest_flat_mm": 0.11})),
            case_with(socket={"holds_mm": [[0.0, 7.0]]}),
            case_with(bone={**BASE["bone"], "cortical_thickness_mm": 1.4}),
            case_with(bone={**BASE["bone"], "radius_mm": 11.0}),
        )
        for element in (0.25, 0.5)
    }
    assert len(keys) == 14


def test_a_modulus_does_not_change_the_key():
    stiffer = case_with(bone={**BASE["bone"], "trabecular_modulus_mpa": 900.0})
    assert mesh_key(outline_of(case_with()), 0.25) == mesh_key(outline_of(stiffer), 0.25)


@pytest.mark.usefixtures("without_gmsh")
def test_without_gmsh_a_foreign_geometry_is_one_clear_message():
    with pytest.raises(EnvironmentProblem, match="apt-get install") as caught:
        half_section(outline_of(case_with()), 0.25)
    assert "stored meshes; this geometry and element size have none" in str(caught.value)


@pytest.mark.usefixtures("without_gmsh")
def test_without_gmsh_every_shipped_case_finds_its_meshes(shipped_case):
    for case in (shipped_case, at_level(shipped_case, COARSE)):
        assert half_section(outline_of(case), case.numerics.element_mm).triangles.shape[0] == 3


@pytest.mark.usefixtures("without_gmsh")
def test_without_gmsh_every_case_of_a_shipped_plan_finds_its_meshes(planned_cases):
    for shipped in planned_cases:
        for case in (shipped, at_level(shipped, COARSE)):
            assert half_section(outline_of(case), case.numerics.element_mm).triangles.shape[0] == 3


def test_no_stored_mesh_is_stale(shipped_cases, planned_cases):
    wanted = {
        f"{mesh_key(outline_of(case), case.numerics.element_mm)}.npz"
        for shipped in (*shipped_cases, *planned_cases)
        for case in (shipped, at_level(shipped, COARSE))
    }
    folder = next(folder for folder in mesh_folders() if folder.is_dir())
    assert {path.name for path in folder.glob("*.npz")} == wanted


@pytest.mark.parametrize("holds", [[[0.03, 8.0]], [[0.0, 7.97]], [[0.0, 4.0], [4.02, 8.0]]])
def test_a_gap_thinner_than_the_snap_is_no_gap(holds):
    pair = take_apart(
        mesh_outline(outline_of(case_with(socket={"holds_mm": holds})), 0.5), keep_gap=True
    )
    assert pair.wall.edges.shape[1] > 0


def test_a_broken_pipe_is_an_error_after_meshing_too():
    """Gmsh's library alone would let it end the process silently."""
    code = (
        "import os\n"
        "from stillroot.mechanics.mesh import _gmsh_session\n"
        "with _gmsh_session(): pass\n"
        "read, write = os.pipe(); os.close(read)\n"
        "try: os.write(write, b'x')\n"
        "except BrokenPipeError: print('raised')\n"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)  # noqa: S603
    assert (run.returncode, run.stdout) == (0, "raised\n")
