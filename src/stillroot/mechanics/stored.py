"""Stored meshes: the shipped cases run without gmsh.

A mesh is stored as `<key>.npz` in the folder `meshes`. The key contains the hash of the outline, the
element size and the meshing recipe, so a changed geometry never gets a stale mesh.
"""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from stillroot.errors import EnvironmentProblem
from stillroot.mechanics.mesh import HalfSection, mesh_key, mesh_outline

if TYPE_CHECKING:
    from stillroot.mechanics.outline import Outline


def half_section(outline: Outline, element_mm: float) -> HalfSection:
    """Mesh an outline, or load its stored mesh where gmsh cannot be loaded.

    Raises
    ------
    MeshError
        The outline cannot be meshed.
    EnvironmentProblem
        gmsh cannot be loaded and no stored mesh has this key.
    """
    try:
        return mesh_outline(outline, element_mm)
    except EnvironmentProblem as problem:
        for folder in mesh_folders():
            path = folder / f"{mesh_key(outline, element_mm)}.npz"
            if path.is_file():
                return read_section(path)
        msg = (
            f"{problem}\nThe shipped cases run without gmsh, from stored meshes; this geometry and "
            "element size have none."
        )
        raise EnvironmentProblem(msg) from problem


def mesh_folders() -> tuple[Path, ...]:
    """Return the folders searched for stored meshes: in the package, then in the checkout."""
    package = Path(str(files("stillroot")))
    return package / "meshes", package.parents[1] / "meshes"


def read_section(path: Path) -> HalfSection:
    """Read a stored mesh."""
    with np.load(path, allow_pickle=False) as data:
        return HalfSection(
            points_mm=data["points_mm"],
            triangles=data["triangles"].astype(np.int64),
            region=data["region"].astype(np.int64),
            names=tuple(str(name) for name in data["names"]),
        )


def write_section(path: Path, section: HalfSection) -> None:
    """Write a mesh in the form that `read_section` reads."""
    np.savez_compressed(
        path,
        points_mm=section.points_mm,
        triangles=section.triangles.astype(np.int32),
        region=section.region.astype(np.int8),
        names=np.array(section.names),
    )
