"""Mesh and fields of an answer as files for viewers. Nothing is computed here but stress."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING, Any

import numpy as np

from stillroot.answers.chain import solids_of
from stillroot.answers.wording import CAUTION, CAUTION_LINE
from stillroot.mechanics.fields import displacement
from stillroot.mechanics.outline import IMPLANT_BODY
from stillroot.mechanics.stress import (
    IN_PLANE_SIDES,
    seated_displacement,
    stress_in_plane,
    taken_in_plane,
    von_mises,
)
from stillroot.units import UM_PER_MM
from stillroot.writing.interface_files import interface_mesh, interface_table

if TYPE_CHECKING:
    from pathlib import Path

    import meshio
    from numpy.typing import NDArray

    from stillroot.answers.result import CheckResult
    from stillroot.arrays import Floats
    from stillroot.mechanics.bodies import Body
    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.fields import Displacement

FIELDS_OF_CELLS = ("body", "region", "modulus_mpa", "stress_mpa", "von_mises_mpa")


def write_fields(result: CheckResult, folder: Path) -> None:
    """Write the mesh, and of each load the fields in both bodies and the interface."""
    write_vtu(section_mesh(result), folder / "mesh.vtu")
    seat = seated_displacement(result.seated)
    for answer, name in zip(result.loads, result.load_slugs, strict=True):
        field = result.field
        if answer is not result.governing:
            field = displacement(result.seated, answer.state, answer.reached)
        write_vtu(load_fields(result, answer.state, field, seat), folder / f"fields-{name}.vtu")
        write_vtu(interface_mesh(result.seated, answer.state), folder / f"interface-{name}.vtu")
        write_csv(interface_table(result.seated, answer.state), folder / f"interface-{name}.csv")


def write_csv(columns: dict[str, NDArray[Any]], path: Path) -> None:
    """Write columns of a table below the caution; truth as true and false.

    By the standard library: a data frame's threads do not outlive a fork, and a check should need none.
    """
    shown = [np.where(c, "true", "false") if c.dtype == bool else c for c in columns.values()]
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(CAUTION_LINE)
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(columns)
        writer.writerows(zip(*(column.tolist() for column in shown), strict=True))


def write_vtu(mesh: meshio.Mesh, path: Path) -> None:
    """Write a mesh for viewers, the caution in it as a comment."""
    mesh.write(path)
    declaration, line, rest = path.read_bytes().partition(b"\n")
    path.write_bytes(declaration + line + f"<!-- {CAUTION} -->\n".encode() + rest)


def section_mesh(result: CheckResult) -> meshio.Mesh:
    """Return the mesh of the half-section with its regions."""
    import meshio  # noqa: PLC0415 - slow to import

    section = result.section
    flat = section.points_mm
    points = np.column_stack([flat[0], np.zeros(flat.shape[1]), flat[1]])
    return meshio.Mesh(
        points, [("triangle", section.triangles.T)], cell_data={"region": [section.region]}
    )


def load_fields(
    result: CheckResult, state: ContactState, field: Displacement, seat: Displacement
) -> meshio.Mesh:
    """Return both bodies in the plane of the load, x > 0 where it points.

    Displacement [µm], `field`, is from seated; stress [MPa], of `state`, is all of it, `seat` (that of
    seating) and load.
    """
    import meshio  # noqa: PLC0415 - slow to import

    seated, case = result.seated, result.case
    pair = seated.site.pair
    bodies = (
        (pair.implant, seat.implant, field.implant, case.implant.elastic.poisson, 0.0),
        (pair.bone, seat.bone, field.bone, case.bone.poisson, taken_in_plane(seated, state)),
    )
    points, cells, moved = [], [], []
    of_cells: dict[str, list[NDArray[Any]]] = {name: [] for name in FIELDS_OF_CELLS}
    count = 0
    for index, (body, u_seat, u, poisson, taken) in enumerate(bodies):
        r, z = body.nodes_mm
        values = field.fourier.values(u, np.array(IN_PLANE_SIDES))
        modulus = _modulus(result, body)
        total = u + field.fourier.embedded(u_seat)
        stress = stress_in_plane(body.basis, total, modulus, poisson, taken)
        for side, sign in enumerate((1.0, -1.0)):
            points.append(np.column_stack([sign * r, np.zeros_like(r), z]))
            cells.append(body.elements.T + count)
            count += len(r)
            moved.append(values[:, side] * [sign, sign, 1.0])
            here = (
                np.full(len(body.region), index),
                body.region,
                modulus,
                stress[side].astype(np.float32),
                von_mises(stress[side]).astype(np.float32),
            )
            for name, data in zip(FIELDS_OF_CELLS, here, strict=True):
                of_cells[name].append(data)
    return meshio.Mesh(
        np.vstack(points),
        # scikit-fem and VTK both list the mid-sides 01, 12, 02.
        [("triangle6", np.vstack(cells))],
        point_data={"displacement_um": UM_PER_MM * np.vstack(moved)},
        cell_data={name: [np.concatenate(data)] for name, data in of_cells.items()},
    )


def _modulus(result: CheckResult, body: Body) -> Floats:
    depth = -body.nodes_mm[1, body.elements[:3]].mean(axis=0)
    modulus = np.empty(len(depth))
    for index, name in enumerate(body.names):
        here = body.region == index
        if name in IMPLANT_BODY:
            modulus[here] = result.case.implant.elastic.modulus_mpa
        elif np.any(here):
            modulus[here] = solids_of(result.case).modulus_mpa(name, depth[here])
    return modulus
