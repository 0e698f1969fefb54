"""The one chain: case → mesh → groundwork → site → seat → load, each stage kept for the next case.

Here the case ends: the mechanics takes solids, a law and loads. Where a case differs from the one before
only in loads, friction or interference, its site is reused; where they differ in moduli of the bone, the
mesh and the groundwork are. A stage is taken to depend on every key of the case except those known not
to affect it: a new key then costs time, never a wrong answer.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from stillroot.errors import CaseError, MeshError, NotConverged
from stillroot.inputs.case_messages import at_least, at_most
from stillroot.mechanics.contact import TOLERANCE
from stillroot.mechanics.groundwork import groundwork, split_by_moduli
from stillroot.mechanics.loading import load, loaded
from stillroot.mechanics.motion import Reading, read
from stillroot.mechanics.outline import CORTICAL, GAP, TRABECULAR, outline_of
from stillroot.mechanics.resultant import Resultant
from stillroot.mechanics.seat import seat
from stillroot.mechanics.site import site_on
from stillroot.mechanics.solids import Solids, Strength
from stillroot.mechanics.stored import half_section
from stillroot.mechanics.torque import (
    LARGEST_INTERFERENCE_UM,
    TorqueOutOfReach,
    interference_for_torque_um,
    torque_of,
)
from stillroot.mechanics.wall_law import WallLaw, layer_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from stillroot.inputs.case import Case, Load
    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.groundwork import Each, Groundwork
    from stillroot.mechanics.loading import Loading
    from stillroot.mechanics.mesh import HalfSection
    from stillroot.mechanics.seat import Seated
    from stillroot.mechanics.site import Site
    from stillroot.mechanics.torque import Torque

T = TypeVar("T")

FAILURES = (CaseError, MeshError, NotConverged)
"""Errors that end one case of a study but not the study."""
WORDS = ("title", "threshold", "spread")
"""Sections that do not affect any number."""


def solids_of(case: Case) -> Solids:
    """Return the two bodies of a case."""
    implant, bone = case.implant, case.bone
    radius, depth = case.block_mm
    return Solids(
        implant=implant.elastic,
        implant_radius_mm=implant.diameter_mm / 2,
        implant_length_mm=implant.length_mm,
        top_mm=implant.abutment_height_mm,
        bone_mpa={
            CORTICAL: bone.cortical_modulus_mpa,
            TRABECULAR: bone.trabecular_profile_mpa[0][1],
            GAP: case.socket.gap_stiffness_mpa,
        },
        trabecular_shape=np.array(bone.trabecular_shape),
        poisson=bone.poisson,
        block_radius_mm=radius,
        block_depth_mm=depth,
        held_round=bone.support == "all_round",
        fills_gap=case.socket.gap_filled,
        strength=strength_of(case),
    )


def strength_of(case: Case) -> Strength | None:
    """Return the strength of the bone of a case; None where it is linear."""
    strength = case.bone.strength
    if case.bone.law == "linear":
        return None
    return Strength(
        relative={region: strength.over_modulus(region) for region in (CORTICAL, TRABECULAR)},
        stated_mpa={region: strength.stated_mpa(region) for region in (CORTICAL, TRABECULAR)},
        interaction=strength.interaction,
        hardening=strength.hardening,
    )


def law_of(case: Case) -> WallLaw:
    """Return the law at the wall of a case."""
    face = case.interface
    return WallLaw(
        thickness_mm=face.layer_thickness_mm,
        modulus_ratio=face.layer_modulus_ratio,
        friction=face.friction,
        crush_strain=case.bone.crush_strain,
        retained_pressure=face.retained_pressure,
        glued=face.kind == "bonded",
    )


def resultant_of(item: Load) -> Resultant:
    """Return the load of a case as forces at a height."""
    axial, lateral, torque = item.components
    return Resultant(axial_n=axial, lateral_n=lateral, torque_nmm=torque, height_mm=item.height_mm)


def loads_of(case: Case) -> tuple[tuple[str, Resultant], ...]:
    """Return the loads of a case, each with its name as messages give it."""
    return tuple((f'load "{item.name}"', resultant_of(item)) for item in case.loads)


@dataclass(frozen=True, kw_only=True)
class Placed:
    """A case with its implant seated; `torque` is None where it is glued."""

    case: Case
    seated: Seated
    interference_um: float
    torque: Torque | None

    def of(self, case: Case) -> Placed:
        """Return the same seat for a case that differs in its loads and words alone."""
        return replace(self, case=case)

    def loaded(self, name: str, resultant: Resultant, *, tolerance: float = TOLERANCE) -> ContactState:
        """Apply a load, in the steps of the case.

        Raises
        ------
        NotConverged
            The implant finds no equilibrium.
        """
        steps = self.case.numerics.load_steps
        return load(self.seated, [resultant], steps=steps, name=name, tolerance=tolerance)

    def path(
        self,
        name: str,
        resultants: Sequence[Resultant],
        *,
        tolerance: float = TOLERANCE,
        until: Callable[[ContactState, Resultant], bool] = lambda *_: False,
    ) -> Loading:
        """Apply loads one after another, in the steps of the case; `until` as for `loading.loaded`.

        Raises
        ------
        NotConverged
            The solver fails.
        """
        steps = self.case.numerics.load_steps
        return loaded(self.seated, resultants, steps=steps, name=name, tolerance=tolerance, until=until)

    def read(self, state: ContactState, resultant: Resultant) -> Reading:
        """Return the motions under a load."""
        return read(self.seated, state, resultant)


def meshed(case: Case) -> HalfSection:
    """Mesh a case.

    Raises
    ------
    MeshError
        The outline cannot be meshed.
    EnvironmentProblem
        gmsh cannot be loaded and no stored mesh fits the case.
    """
    return half_section(outline_of(case), case.numerics.element_mm)


def grounded(
    case: Case, section: HalfSection | None = None, *, for_any_moduli: bool = False, each: Each = map
) -> Groundwork:
    """Mesh a case, unless its mesh is given, and condense it, see `groundwork`."""
    return groundwork(
        solids_of(case),
        meshed(case) if section is None else section,
        case.numerics.harmonics,
        for_any_moduli=for_any_moduli,
        each=each,
    )


def site_of(case: Case, section: HalfSection | None = None, *, highest: int | None = None) -> Site:
    """Return the site of a case on its own, in harmonics up to `highest` (default: the case's)."""
    if highest is not None:
        case = case.with_numerics(harmonics=highest)
    return site_on(grounded(case, section), solids_of(case))


def placed_on(site: Site, case: Case, interference_um: float | None = None) -> Placed:
    """Seat a case on its site; the interference is the case's, stated or found, unless it is given.

    Raises
    ------
    CaseError
        No interference gives the torque that the case says was measured.
    NotConverged
        Seating finds no equilibrium.
    """
    law, face, thread = law_of(case), case.interface, case.implant.thread
    if interference_um is None:
        interference_um = interference_of(site, case)
    layer = layer_of(site, law, interference_um)
    seated = seat(site, layer, retained_pressure=law.retained_pressure)
    pitch = None if thread.form == "none" else thread.pitch_mm
    torque = torque_of(seated, cutting_ncm=face.cutting_torque_ncm, pitch_mm=pitch)
    return Placed(case=case, seated=seated, interference_um=interference_um, torque=torque)


def interference_of(site: Site, case: Case) -> float:
    """Return the interference [µm] of a case, computed from the measured torque where that is given.

    Raises
    ------
    CaseError, NotConverged
        As `placed_on` does.
    """
    face = case.interface
    if face.measured_torque_ncm is None:
        return face.interference_um
    try:
        wanted = face.measured_torque_ncm - face.cutting_torque_ncm
        return interference_for_torque_um(site, law_of(case), wanted)
    except TorqueOutOfReach as found:
        low, high = face.cutting_torque_ncm, found.most_ncm + face.cutting_torque_ncm
        text = (
            f"interface.measured_torque_ncm = {face.measured_torque_ncm:g}: no interference gives "
            f"this in the bone and friction stated; 0 to {LARGEST_INTERFERENCE_UM:g} µm give "
            f"{at_least(low)} to {at_most(high)} N·cm, where the bone crushes. Lower it, or look again "
            "at friction, moduli and holds"
        )
        raise CaseError(text, key="interface.measured_torque_ncm") from None


class Chain:
    """The most recent stage of each kind. They take memory, so make one instance for many cases.

    `ground_of` makes the groundwork of a geometry. If that is for the moduli of one case only, which
    costs less, it is split by moduli when they change, harmonic by harmonic with `each`; the last digits
    of an answer then depend on what was solved before.
    """

    def __init__(
        self, ground_of: Callable[[Case], Groundwork] | None = None, *, each: Each = map
    ) -> None:
        self._kept: dict[str, tuple[str, Any]] = {}
        self._ground_of = ground_of or partial(grounded, each=each)
        self._each = each

    @classmethod
    def on(cls, placed: Placed) -> Chain:
        """Return a chain whose site is that of a placed case."""
        chain = cls()
        chain._kept["site"] = (stage_keys(placed.case)[1], placed.seated.site)
        return chain

    def ground(self, case: Case) -> Groundwork:
        """Return a groundwork valid for a case."""
        geometry, site_key, _ = stage_keys(case)

        def made() -> tuple[str, Groundwork]:
            self._kept.pop("split", None)
            return site_key, self._ground_of(case)

        made_for, ground = self._stage("ground", geometry, made)
        if ground.for_any_moduli or made_for == site_key:
            return ground
        return self._stage("split", geometry, lambda: split_by_moduli(ground, self._each))

    def site(self, case: Case) -> Site:
        """Return the site of a case."""
        return self._stage(
            "site", stage_keys(case)[1], lambda: site_on(self.ground(case), solids_of(case))
        )

    def placed(self, case: Case, *, interference_um: float | None = None) -> Placed:
        """Return a case with its implant seated, see `placed_on`."""
        key = f"{stage_keys(case)[2]}{interference_um}"
        made = self._stage("seat", key, lambda: placed_on(self.site(case), case, interference_um))
        return made.of(case)

    def _stage(self, name: str, key: str, make: Callable[[], T]) -> T:
        kept = self._kept.get(name)
        if kept is None or kept[0] != key:
            self._kept.pop(name, None)  # frees the old one before the new is made
            kept = (key, make())
            self._kept[name] = kept
        value: T = kept[1]
        return value


def solved_by(case: Case) -> str:
    """Return as text everything that the numbers of a case depend on."""
    return _without(case, *WORDS)


def stage_keys(case: Case) -> tuple[str, str, str]:
    """Return as text what the groundwork, the site and the seat of a case depend on."""
    seat_key = _without(case, *WORDS, "loads", "numerics.load_steps")
    site_key = _without(case, *WORDS, "loads", "interface", "bone.crush_strain", "numerics.load_steps")
    data = json.loads(site_key)
    bone, socket = data["bone"], data["socket"]
    # Of the bone only the shape of the trabecular modulus with depth matters here.
    moduli = "cortical_modulus_mpa", "trabecular_modulus_mpa", "ct_number", "density", "density_law"
    for key in (*moduli, "law", "strength"):
        bone.pop(key, None)
    bone["shape"] = case.bone.trabecular_shape
    for key in ("gap_modulus_mpa", "gap_fill"):
        socket.pop(key, None)
    socket["filled"] = case.socket.gap_filled
    return json.dumps(data, sort_keys=True), site_key, seat_key


def _without(case: Case, *keys: str) -> str:
    data = case.to_dict()
    for key in keys:
        section, _, name = key.rpartition(".")
        (data[section] if section else data).pop(name, None)
    return json.dumps(data, sort_keys=True)
