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


BEFORE_ULTIMATE = (
    "first yield at 0.7 of what bone bears at most (Schwiedrzik, Wolfram, Zysset 2013); as much above "
    "is an assumption"
)
AFTER_YIELD = (
    "0.5 % to 5 %: from little more than perfectly plastic to what is usual in models of bone tissue "
    "(from memory)"
)
CORTEX_SEEN_MM = 0.3
SEEN = "assumption: ±0.3 mm, about a voxel of a cone-beam CT"
QUANTITY = {
    "trabecular_factor": "modulus",
    "bone.trabecular_modulus_mpa": "modulus",
    "bone.ct_number": "modulus",
    "bone.density": "modulus",
    "interface.interference_um": "fit",
    "interface.measured_torque_ncm": "fit",
    "interface.layer_thickness_mm": "wall",
    "interface.layer_modulus_ratio": "wall",
}
"""What a key stands for, where several keys stand for one quantity."""


IN_PLAIN_WORDS = {
    "trabecular_factor": "how stiff the trabecular bone is",
    "bone.cortical_thickness_mm": "how thick the cortex is",
    "bone.strength.factor": "how strong the bone is",
    "bone.strength.hardening": "what bone bears once it has yielded",
    "interface.friction": "the friction at the wall",
    "interface.interference_um": "the fit in its hole",
    "interface.measured_torque_ncm": "the measured torque",
    "interface.layer_thickness_mm": "the torn layer at the wall",
    "socket.gap_modulus_mpa": "how stiff the fill of the gap is",
}
MEASUREMENTS = {
    "trabecular_factor": "the density of the bone (a calibrated CT)",
    "bone.cortical_thickness_mm": "the thickness of the cortex",
    "interface.interference_um": "the insertion torque",
}
"""How an input could be known in a patient; the others cannot be measured there."""


def in_plain_words(key: str) -> str:
    """Return what a key of an open input stands for."""
    return IN_PLAIN_WORDS.get(key, key)


def measurement_of(key: str) -> str:
    """Return what could be measured to know an input, "" for nothing."""
    return MEASUREMENTS.get(key, "")


def open_of(case: Case) -> tuple[Sourced, ...]:
    """Return what a case leaves open, the loads apart: its own [spread], and the shipped ranges beside.

    A quantity that is in the case's own [spread] is not taken from the shipped ones. Loads are what is
    asked about: a range of theirs belongs in [spread].
    """
    taken = {QUANTITY.get(item.key, item.key) for item in case.spread} | {"load_factor"}
    shipped = (*_of_any(case), *_of_the_strength(case), *_of_the_cortex(case))
    rest = (item for item in shipped if QUANTITY.get(item.input.key, item.input.key) not in taken)
    return (*_stated(case), *rest)


def _stated(case: Case) -> tuple[Sourced, ...]:
    return tuple(Sourced(input=item, source="the case file") for item in case.spread)


def _of_any(case: Case) -> tuple[Sourced, ...]:
    """Return the ranges of a case in bone of no stated type."""
    modulus = _sourced("lognormal", "trabecular_factor", 1.0, 2.0, BETWEEN_SERIES)
    return (modulus, *_of_the_wall(case))


def _of_the_strength(case: Case) -> tuple[Sourced, ...]:
    if case.bone.law == "linear":
        return ()
    return (
        _sourced("range", "bone.strength.factor", 0.7, 1.3, BEFORE_ULTIMATE),
        _sourced("range", "bone.strength.hardening", 0.005, 0.05, AFTER_YIELD),
    )


def _of_the_cortex(case: Case) -> tuple[Sourced, ...]:
    thick, key = case.bone.cortical_thickness_mm, "bone.cortical_thickness_mm"
    if thick <= CORTEX_SEEN_MM:
        return ()
    return (_sourced("range", key, thick - CORTEX_SEEN_MM, thick + CORTEX_SEEN_MM, SEEN),)


def spread_of(case: Case, bone_type: int | None = None) -> tuple[Sourced, ...]:
    """Return the uncertain inputs of a case: its own [spread], or the shipped one.

    With a bone type (of `BONE_TYPES`) the trabecular modulus and the cortex are those of that type.

    Raises
    ------
    CaseError
        The bone type is none of them, or the case has a spread of its own as well.
    """
    if bone_type is None:
        return _stated(case) or _of_any(case)
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
FRICTIONS = (0.37, 0.95)
OTHER_FRICTION = "stated outside the 0.37 to 0.95 of Abedi et al. 2025; as wide as that range"
FRICTION = "human cancellous bone on four titanium textures, Abedi et al. 2025, PMC12644719"
CLOT = (
    "0.2 of older models (Lacroix & Prendergast 2002, from memory) to 6.56 measured on day 2 (Wazen et "
    "al. 2013, Acta Biomater 9:6663-6674)"
)
CT_SOURCE = (
    "type {type}: CT numbers {low:g} to {high:g} HU (cuts of Norton & Gamble; outer ends assumed), "
    "density after Rho et al. 1995 (from memory), modulus after Carter & Hayes 1977"
)
CORTEX_SOURCE = (
    "type {type}: assumption, inside published thicknesses (Schwartz-Dabney & Dechow 2003; Sugiura et "
    "al. 2016)"
)


def _of_type(bone_type: int) -> tuple[Sourced, ...]:
    low, high = CT_RANGE[bone_type]
    moduli = [float(f"{DENSITY_LAWS[LAW](density_from_ct(ct)):.3g}") for ct in (low, high)]
    source = CT_SOURCE.format(type=bone_type, low=low, high=high)
    cortex = CORTEX_SOURCE.format(type=bone_type)
    return (
        _sourced("range", "bone.trabecular_modulus_mpa", moduli[0], moduli[1], source),
        _sourced("range", "bone.cortical_thickness_mm", *CORTEX_MM[bone_type], cortex),
    )


def _of_the_wall(case: Case) -> tuple[Sourced, ...]:
    face, socket = case.interface, case.socket
    rubs, read, fit = face.kind == "frictional", face.measured_torque_ncm, face.interference_um
    has_fill = bool(gaps_between(socket.holds_mm, case.implant.length_mm)) and socket.gap_filled
    clot, fill = socket.gap_fill == "clot", "socket.gap_modulus_mpa"
    mu, key = face.friction, "interface.friction"
    measured = FRICTIONS[0] <= mu <= FRICTIONS[1]
    stiff, thick = socket.gap_stiffness_mpa, min(face.layer_thickness_mm, 0.25)
    within, between = "lognormal", "range"
    torque, gap = "interface.measured_torque_ncm", "interface.interference_um"
    layer, no_value = "interface.layer_thickness_mm", "assumption: no agreed value"
    rows: tuple[tuple[object, str, str, float, float, str], ...] = (
        (rubs and measured, between, key, *FRICTIONS, FRICTION),
        (rubs and not measured and mu, within, key, mu, 1.6, OTHER_FRICTION),
        (rubs and read, between, torque, 0.8 * (read or 0), 1.2 * (read or 0), "assumption: ±20 %"),
        (rubs and not read and fit, between, gap, 0.5 * fit, 1.5 * fit, "assumption: ±50 %"),
        (thick, within, layer, thick, 2.0, no_value),
        (has_fill and clot, between, fill, 0.2, 6.56, CLOT),
        (has_fill and not clot, within, fill, stiff, 2.0, "assumption"),
        (True, between, "load_factor", 0.7, 1.3, "assumption: ±30 %"),
    )
    return tuple(
        _sourced(kind, key, first, second, source)
        for applies, kind, key, first, second, source in rows
        if applies
    )


def _sourced(kind: str, key: str, first: float, second: float, source: str) -> Sourced:
    made = Uncertain(key=key, kind=kind, first=first, second=second)
    return Sourced(input=made, source=source)
