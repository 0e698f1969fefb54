"""The section as plain data for the page: the shapes of the report's section, to scale, in mm.

x to the right is θ = 0, where a positive lateral load points; z up is out of the bone. The shapes are
the outline's that is meshed, in the order in which the report draws them; only paper and pen differ.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from stillroot.answers.chain import resultant_of
from stillroot.mechanics.outline import gaps_between, outline_of

if TYPE_CHECKING:
    from stillroot.inputs.case import Case
    from stillroot.mechanics.interface import Layer
    from stillroot.mechanics.motion import Micromotion, Peak

DIGITS = 4
"""Of a millimetre: a tenth of a micrometre is far below a pixel."""


def drawing_of(case: Case) -> dict[str, Any]:
    """Return the shapes of a case, the lower one first, and the words written into them."""
    from stillroot.pictures.bodies import mirrored_corners  # noqa: PLC0415 - matplotlib is slow to import
    from stillroot.pictures.words import gap_text  # noqa: PLC0415 - beside it
    from stillroot.words.loads import load_text  # noqa: PLC0415 - beside them

    implant, socket = case.implant, case.socket
    radius, depth = case.block_mm
    gaps = gaps_between(socket.holds_mm, implant.length_mm)
    return {
        "regions": [
            {"name": region.name, "corners": _plain(mirrored_corners(region.corners_mm))}
            for region in reversed(outline_of(case).regions)
        ],
        "length_mm": implant.length_mm,
        "radius_mm": implant.diameter_mm / 2,
        "abutment_mm": [implant.abutment_diameter_mm / 2, implant.abutment_height_mm],
        "cortical_mm": min(case.bone.cortical_thickness_mm, depth),
        "block_mm": [radius, depth],
        "holds_mm": [list(hold) for hold in socket.holds_mm],
        "gaps_mm": [list(gap) for gap in gaps],
        "gap_width_mm": socket.gap_width_mm if gaps else 0.0,
        "gap_text": gap_text(case) if gaps else "",
        "loads": [
            {
                "name": item.name,
                "text": load_text(resultant_of(item), lines=1),
                "axial_n": item.components[0],
                "lateral_n": item.components[1],
                "torque_ncm": item.torque_ncm,
                "height_mm": item.height_mm,
            }
            for item in case.loads
        ],
        "engagement_length_mm": case.engagement_length_mm,
        "engaged_threads": case.engaged_threads,
        "bands_um": list(case.threshold.bands_um),
    }


def wall_lines(layer: Layer, motion: Micromotion) -> list[list[float]]:
    """Return the motion along the held wall: rows r, z, r, z [mm], motion at 0° and at 180° [µm].

    Each held edge of the wall is two lines, each with the mean motion of its two ends, as the report
    draws them.
    """
    edges = np.arange(len(motion.depth_mm)).reshape(-1, 3)[layer.held[1::3]]
    halves = np.concatenate([edges[:, :2], edges[:, 1:]])
    place = np.stack([motion.radius_mm, -motion.depth_mm], axis=1)
    columns = [int(np.argmin(np.abs(np.degrees(motion.angles) - angle))) for angle in (0.0, 180.0)]
    values = motion.total_um[halves][:, :, columns].mean(axis=1)
    return _plain(np.hstack([place[halves].reshape(-1, 4), values]))


def peak_places(peak: Peak) -> list[list[float]]:
    """Return where the ring about a peak is drawn: x, z [mm], on both sides where it is all round."""
    side = 1.0 if np.cos(np.radians(peak.angle_deg)) > -1e-9 else -1.0
    here = [side * peak.radius_mm, -peak.depth_mm]
    return [here, [-here[0], here[1]]] if peak.all_round else [here]


def _plain(values: np.ndarray[Any, np.dtype[np.float64]]) -> list[list[float]]:
    rounded: list[list[float]] = (np.round(values, DIGITS) + 0.0).tolist()
    return rounded
