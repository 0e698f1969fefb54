"""Invented implants in a socket, and their volumes: shared by the tests of mechanics."""

import numpy as np

from stillroot import Case

BASE = {
    "title": "geometry",
    "implant": {"diameter_mm": 4.0, "length_mm": 8.0},
    "bone": {"cortical_thickness_mm": 1.5, "law": "linear", "trabecular_modulus_mpa": 300.0},
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
