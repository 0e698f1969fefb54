"""Loads on the implant, and the unit loads that each is a sum of.

A load acts on one of two sections of the implant, the abutment's top or the section at the crest, as
six forces and moments about that section's centre. Each of these acts in one family and one harmonic::

    F_x, M_y    n = 1, first family        F_y, M_x    n = 1, twin
    F_z         n = 0, first family        M_z         n = 0, twin
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from stillroot.arrays import Floats

SECTIONS = ("top", "crest")
COMPONENTS = ("F_x", "F_y", "F_z", "M_x", "M_y", "M_z")
"""Of a load on a section: along x, y, z [N] and about them [N·mm]; x is θ = 0, z out of the bone."""


@dataclass(frozen=True, kw_only=True)
class UnitLoad:
    """1 N or 1 N·mm on a section, as a traction in one family and harmonic.

    `traction` names the field of `harmonics.FaceLoads` that has its coefficients, `sign` times.
    """

    section: str
    component: str
    family: int
    harmonic: int
    traction: Literal["lateral", "moment", "axial", "torque"]
    sign: float = 1.0


def _unit_loads(section: str) -> tuple[UnitLoad, ...]:
    def unit(
        component: str,
        family: int,
        harmonic: int,
        traction: Literal["lateral", "moment", "axial", "torque"],
        sign: float = 1.0,
    ) -> UnitLoad:
        return UnitLoad(
            section=section,
            component=component,
            family=family,
            harmonic=harmonic,
            traction=traction,
            sign=sign,
        )

    return (
        unit("F_x", 0, 1, "lateral"),
        unit("F_y", 1, 1, "lateral"),  # the first family turned by 90° is the twin
        unit("F_z", 0, 0, "axial"),
        unit("M_x", 1, 1, "moment", -1.0),  # M_x tilts towards θ = -90°
        unit("M_y", 0, 1, "moment"),
        unit("M_z", 1, 0, "torque"),
    )


UNIT_LOADS = tuple(unit for section in SECTIONS for unit in _unit_loads(section))
"""The 12 unit loads: `COMPONENTS` on the abutment's top, then at the crest."""
LOADED = ((0, 0), (1, 0), (0, 1), (1, 1))
"""(family, harmonic) in which loads act; all other fields are unloaded."""


def place_of_unit(section: str, component: str) -> int:
    """Return the index of a unit load among the 12."""
    return SECTIONS.index(section) * len(COMPONENTS) + COMPONENTS.index(component)


def acting_in(family: int, n: int) -> Floats:
    """Return which unit loads act in a family and harmonic, as ones and zeros (12,)."""
    return np.array([(unit.family, unit.harmonic) == (family, n) for unit in UNIT_LOADS], dtype=float)


@dataclass(frozen=True, kw_only=True)
class Resultant:
    """A load on the implant: forces at a height above the crest, and torque about the axis.

    `lateral_n` points along θ = 0; `moment_nmm` tilts the axis towards it, in addition to the moment of
    the lateral force at its height; `across_n` and `across_nmm` do the same towards θ = 90°; `axial_n`
    is positive pressing in. The load is applied as its static equivalent on the abutment's top or, with
    `at_crest`, on the section at the crest.
    """

    lateral_n: float = 0.0
    moment_nmm: float = 0.0
    axial_n: float = 0.0
    torque_nmm: float = 0.0
    height_mm: float = 0.0
    at_crest: bool = False
    across_n: float = 0.0
    across_nmm: float = 0.0

    def scaled(self, factor: float) -> Resultant:
        """Return the load multiplied by `factor`."""
        return replace(
            self,
            lateral_n=factor * self.lateral_n,
            moment_nmm=factor * self.moment_nmm,
            axial_n=factor * self.axial_n,
            torque_nmm=factor * self.torque_nmm,
            across_n=factor * self.across_n,
            across_nmm=factor * self.across_nmm,
        )

    def about(self, height_mm: float) -> Floats:
        """Return `COMPONENTS` (6,) about the axis's point at a height above the crest."""
        lever = self.height_mm - height_mm
        m_x = -(self.across_nmm + self.across_n * lever)
        m_y = self.moment_nmm + self.lateral_n * lever
        return np.array([self.lateral_n, self.across_n, -self.axial_n, m_x, m_y, self.torque_nmm])

    @property
    def six(self) -> Floats:
        """`COMPONENTS` (6,) about the crest."""
        return self.about(0.0)

    def on_sections(self, top_mm: float) -> Floats:
        """Return the statically equivalent unit loads (12,), the abutment's top being at `top_mm`."""
        nothing = np.zeros(len(COMPONENTS))
        if self.at_crest:
            return np.concatenate([nothing, self.six])
        return np.concatenate([self.about(top_mm), nothing])


def resultant_at(height_mm: float, force: Floats) -> Resultant:
    """Return `COMPONENTS` (6,) at a height on the axis as a load."""
    f_x, f_y, f_z, m_x, m_y, m_z = (float(part) for part in force)
    return Resultant(
        lateral_n=f_x,
        across_n=f_y,
        axial_n=-f_z,
        across_nmm=-m_x,
        moment_nmm=m_y,
        torque_nmm=m_z,
        height_mm=height_mm,
    )
