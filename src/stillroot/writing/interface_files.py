"""The interface under a load as a file for viewers, and as a table. Nothing is computed here."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from stillroot.mechanics.wall_surface import (
    OPEN,
    SLIP,
    STICK,
    angles_all_round,
    at_state,
    local_motion_um,
    states,
    wall_surface,
)

if TYPE_CHECKING:
    import meshio
    from numpy.typing import NDArray

    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.seat import Seated

WORDS = {OPEN: "open", STICK: "stick", SLIP: "slip"}
DECIMALS = {"mm": 4, "deg": 2, "mm2": 6, "um": 3, "mpa": 4}
"""Written to the table, by the unit at the end of a column's name."""


def interface_mesh(seated: Seated, loaded: ContactState) -> meshio.Mesh:
    """Return the wall as a surface in space; docs/result.md describes its data."""
    import meshio  # noqa: PLC0415 - slow to import

    it = wall_surface(seated, loaded)
    # Four bytes a number: more would be below the error of any.
    motion = ("micromotion_um", "sliding_um", "opening_um")
    acting = ("pressure_mpa", "pressure_seated_mpa", "traction_mpa", "area_mm2")
    return meshio.Mesh(
        it.points_mm.astype(np.float32),
        [("quad", it.cells.astype(np.int32))],
        point_data={name: getattr(it, name).astype(np.float32) for name in motion},
        cell_data={
            **{name: [getattr(it, name).astype(np.float32)] for name in acting},
            "state": [it.state.astype(np.uint8)],
            "held": [it.held.astype(np.uint8)],
        },
    )


def interface_table(seated: Seated, loaded: ContactState) -> dict[str, NDArray[Any]]:
    """Return columns, a row for each point and angle at which the law acts; docs/result.md has them."""
    layer, fourier, t = seated.layer, loaded.fourier, loaded.tractions
    angles = angles_all_round(fourier)
    index, mirrored = at_state(fourier, angles)
    seat_index, _ = at_state(seated.state.fourier, angles)
    normal, along, theta = local_motion_um(seated, loaded, angles)
    sliding = np.hypot(along, theta)
    shape = normal.shape
    by_point = {
        "depth_mm": -layer.height_mm + 0.0,
        "radius_mm": layer.radius_mm,
        "held": layer.held,
        "area_mm2": layer.weight_mm2 * 2 * np.pi / len(angles),
    }
    columns = {name: np.broadcast_to(values[:, None], shape) for name, values in by_point.items()}
    columns |= {
        "angle_deg": np.broadcast_to(np.degrees(angles), shape),
        "micromotion_um": np.hypot(sliding, normal),
        "sliding_um": sliding,
        "opening_um": -normal,
        "pressure_seated_mpa": seated.state.tractions.traction[0][:, seat_index],
        "pressure_mpa": t.traction[0][:, index],
        "shear_along_mpa": t.traction[1][:, index],
        "shear_round_mpa": t.traction[2][:, index] * np.where(mirrored, -1.0, 1.0),
        "state": np.array([WORDS[code] for code in sorted(WORDS)])[states(t)[:, index]],
    }
    order = ("depth_mm", "radius_mm", "angle_deg", "area_mm2", "held", *list(columns)[5:])
    return {name: _rounded(name, columns[name].ravel()) for name in order}


def _rounded(name: str, values: NDArray[Any]) -> NDArray[Any]:
    decimals = DECIMALS.get(name.rpartition("_")[2])
    return values if decimals is None else np.round(values, decimals) + 0.0
