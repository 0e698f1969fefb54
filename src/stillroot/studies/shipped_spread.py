"""Ranges of inputs where a case gives none: from published scatter, or assumptions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from stillroot.errors import CaseError
from stillroot.inputs.materials import DENSITY_LAWS, density_from_ct
from stillroot.inputs.uncertain import Uncertain
from stillroot.mechanics.outline import gaps_between

if TYPE_CHECKING:
    from stillroot.inputs.case import Case

BONE_TYPES = (1, 2, 3, 4)
"""Lekholm & Zarb 1985."""
CT_RANGE = {1: (850.0, 1250.0), 2: (500.0, 850.0), 3: (500.0, 850.0), 4: (200.0, 500.0)}
"""CT numbers [HU] by type: limits at 850 and 500 of Norton & Gamble; the outer ends are assumptions."""
CORTEX_MM = {1: (2.0, 3.7), 2: (1.4, 3.7), 3: (0.5, 1.4), 4: (0.5, 1.0)}
"""Thickness of the crestal cortex by type, assumptions within published ranges: 1.4 to 3.7 mm in
mandibles (Schwartz-Dabney & Dechow 2003, Am J Phys Anthropol 120:252-277), 0.5 to 2.5 mm at the
crest (Sugiura et al. 2016)."""
LAW = "carter_hayes_1977"


@dataclass(frozen=True, kw_only=True)
class Sourced:
    """An uncertain input and the source of its distribution."""

    input: Uncertain
    source: str


def spread_of(case: Case, bone_type: int | None = None) -> tuple[Sourced, ...]:
    """Return the uncertain inputs of a case: its own [spread], or the shipped one.

    With a bone type (of `BONE_TYPES`) the trabecular modulus and the cortex are those of that type.

    Raises
    ------
    CaseError
        The bone type is none of them, or the case has a spread of its own as well.
    """
    if bone_type is None:
        if case.spread:
            return tuple(Sourced(input=item, source="the case file") for item in case.spread)
        return (_factor("trabecular_factor", 2.0, BETWEEN_SERIES), *_of_the_wall(case))
    if bone_type not in BONE_TYPES:
        msg = f"bone type {bone_type}: must be 1, 2, 3 or 4 (Lekholm & Zarb)"
        raise CaseError(msg)
    if case.spread:
        msg = "the case has a [spread] of its own, and a bone type was given; leave out one of the two"
        raise CaseError(msg, key="spread")
    return (*_of_type(bone_type), *_of_the_wall(case))


BETWEEN_SERIES = (
    "regional means of CT numbers differ by a factor of two between series (anterior mandible 383 to "
    "970 HU); that it is the spread of the modulus is an assumption"
)


def _of_type(bone_type: int) -> tuple[Sourced, ...]:
    ct_low, ct_high = CT_RANGE[bone_type]
    low, high = (DENSITY_LAWS[LAW](density_from_ct(number)) for number in (ct_low, ct_high))
    return (
        _range(
            "bone.trabecular_modulus_mpa",
            float(f"{low:.3g}"),
            float(f"{high:.3g}"),
            f"type {bone_type}: CT numbers {ct_low:g} to {ct_high:g} HU (cuts of Norton & Gamble; outer "
            "ends assumed), density after Rho et al. 1995 (from memory), modulus after Carter & Hayes "
            "1977",
        ),
        _range(
            "bone.cortical_thickness_mm",
            *CORTEX_MM[bone_type],
            f"type {bone_type}: assumption, inside published thicknesses (Schwartz-Dabney & Dechow "
            "2003; Sugiura et al. 2016)",
        ),
    )


def _of_the_wall(case: Case) -> tuple[Sourced, ...]:
    face, found = case.interface, []
    if face.kind == "frictional":
        friction = "human cancellous bone on four titanium textures, Abedi et al. 2025, PMC12644719"
        found.append(_range("interface.friction", 0.37, 0.95, friction))
        if face.measured_torque_ncm is not None:
            value = face.measured_torque_ncm
            found.append(
                _range("interface.measured_torque_ncm", 0.8 * value, 1.2 * value, "assumption: ±20 %")
            )
        elif face.interference_um > 0:
            value = face.interference_um
            found.append(
                _range("interface.interference_um", 0.5 * value, 1.5 * value, "assumption: ±50 %")
            )
    if face.layer_thickness_mm > 0:
        thick = min(face.layer_thickness_mm, 0.25)
        found.append(
            _factor("interface.layer_thickness_mm", 2.0, "assumption: no agreed value", median=thick)
        )
    if gaps_between(case.socket.holds_mm, case.implant.length_mm) and case.socket.gap_filled:
        found.append(_of_the_fill(case))
    found.append(_range("load_factor", 0.7, 1.3, "assumption: ±30 %"))
    return tuple(found)


def _of_the_fill(case: Case) -> Sourced:
    key = "socket.gap_modulus_mpa"
    if case.socket.gap_fill == "clot":
        source = (
            "0.2 of older models (Lacroix & Prendergast 2002, from memory) to 6.56 measured on day 2 "
            "(Wazen et al. 2013, Acta Biomater 9:6663-6674)"
        )
        return _range(key, 0.2, 6.56, source)
    return _factor(key, 2.0, "assumption", median=case.socket.gap_stiffness_mpa)


def _range(key: str, low: float, high: float, source: str) -> Sourced:
    return Sourced(input=Uncertain(key=key, kind="range", first=low, second=high), source=source)


def _factor(key: str, factor: float, source: str, *, median: float = 1.0) -> Sourced:
    made = Uncertain(key=key, kind="lognormal", first=median, second=factor)
    return Sourced(input=made, source=source)
