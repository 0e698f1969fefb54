"""Stored meshes: read back unchanged, one for each shipped case and level, and none that is stale."""

import numpy as np
import pytest

from stillroot import EnvironmentProblem
from stillroot.answers.levels import at_level
from stillroot.mechanics.accuracy import COARSE
from stillroot.mechanics.mesh import mesh_key, mesh_outline
from stillroot.mechanics.outline import outline_of
from stillroot.mechanics.stored import half_section, mesh_folders, read_section, write_section
from tests.unit.mechanics._implants import case_with


def test_a_stored_mesh_comes_back_unchanged(tmp_path):
    section = mesh_outline(outline_of(case_with()), 0.5)
    write_section(tmp_path / "a.npz", section)
    back = read_section(tmp_path / "a.npz")
    np.testing.assert_array_equal(back.points_mm, section.points_mm)
    np.testing.assert_array_equal(back.triangles, section.triangles)
    assert back.names == section.names


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
