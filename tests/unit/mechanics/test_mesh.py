"""Mesh: the half-section is that of the implant described by the case."""

import re
import subprocess
import sys

import numpy as np
import pytest

from stillroot import MeshError
from stillroot.mechanics.mesh import mesh_key, mesh_outline
from stillroot.mechanics.outline import Outline, Region, implant_wall, outline_of
from tests.unit.mechanics._implants import BASE, case_with, implant, revolved_volume


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


def solid_of(wall):
    """The solid of revolution under a wall, cone by cone: π/3 Σ Δz (a² + a b + b²)."""
    a, b = wall[:-1, 0], wall[1:, 0]
    return np.pi / 3 * np.sum(-np.diff(wall[:, 1]) * (a**2 + a * b + b**2))


def thinnest(section):
    """The least 4 √3 area / Σ side² of a triangle: 1 if equilateral, 0 if flat."""
    corners = section.points_mm[:, section.triangles]
    sides = np.roll(corners, -1, axis=1) - corners
    area = 0.5 * np.abs(sides[0, 0] * sides[1, 1] - sides[1, 0] * sides[0, 1])
    return np.min(4 * np.sqrt(3) * area / np.sum(sides**2, axis=(0, 1)))


def test_a_hold_that_ends_next_to_a_thread_corner_leaves_no_sliver():
    """And implant, gap and bone keep their volumes, whether or not the hold snaps to the corner."""
    thread = {"pitch_mm": 0.8, "depth_mm": 0.35}
    for top in np.arange(4.0, 4.9, 0.02):
        case = case_with(
            implant=implant(thread=thread), socket={"holds_mm": [[round(float(top), 3), 8.0]]}
        )
        section = mesh_outline(outline_of(case), 0.5)
        assert thinnest(section) > 0.05, top
        radius, depth = case.block_mm
        below = [revolved_volume(section, name) for name in section.names if name != "abutment"]
        assert sum(below) == pytest.approx(np.pi * radius**2 * depth, rel=1e-9), top
        solid = solid_of(implant_wall(case.implant))
        assert revolved_volume(section, "implant") == pytest.approx(solid, rel=1e-9), top
        assert revolved_volume(section, "gap") > 0, top


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
    assert revolved_volume(section, "implant") == pytest.approx(solid_of(wall), rel=1e-6)


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
