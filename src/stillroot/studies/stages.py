"""The chain for many cases: each stage is reused until a case needs another.

Where a case differs from the one before only in loads, friction or interference, its site is reused;
where they differ in moduli of the bone, the mesh and the groundwork are. A stage is taken to depend on
every key of the case except those known not to affect it: a new key then costs time, never a wrong
answer.
"""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypeVar

from stillroot.answers.answer import (
    check,
    prepared_groundwork,
    resultant_of,
    stated_or_found_interference_um,
)
from stillroot.errors import CaseError, MeshError, NotConverged
from stillroot.mechanics.groundwork import split_by_moduli
from stillroot.mechanics.loading import load, seat
from stillroot.mechanics.motion import head_movement, micromotion
from stillroot.mechanics.site import site_on
from stillroot.mechanics.torque import torque_of
from stillroot.studies.outcome import LoadOutcome, Outcome, load_outcome, outcome_of, unsolved

if TYPE_CHECKING:
    from collections.abc import Callable

    from stillroot.inputs.case import Case
    from stillroot.mechanics.groundwork import Each, Groundwork
    from stillroot.mechanics.loading import Seated
    from stillroot.mechanics.site import Site

T = TypeVar("T")

FAILURES = (CaseError, MeshError, NotConverged)
"""Errors that end one case of a study but not the study."""
WORDS = ("title", "threshold", "spread")
"""Sections that do not affect any number."""


def solved_by(case: Case) -> str:
    """Return as text everything that the numbers of a case depend on."""
    return _without(case, *WORDS)


def stage_keys(case: Case) -> tuple[str, str, str]:
    """Return as text what the groundwork, the site and the seat of a case depend on."""
    seat_key = _without(case, *WORDS, "loads")
    site_key = _without(case, *WORDS, "loads", "interface", "bone.crush_strain", "numerics.load_steps")
    data = json.loads(site_key)
    bone, socket = data["bone"], data["socket"]
    del bone["cortical_modulus_mpa"]
    # Of the trabecular bone only the shape of its modulus with depth matters here.
    for key in ("trabecular_modulus_mpa", "ct_number", "density", "density_law"):
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


def _groundwork(case: Case) -> Groundwork:
    return prepared_groundwork(case, for_any_moduli=True)


class Stages:
    """The most recent stage of each kind. They take memory, so make one instance for many cases.

    `groundwork_of` makes the groundwork of a geometry. If that is for the moduli of one case only, which
    costs less, it is split by moduli when they change, harmonic by harmonic with `each`; the last digits
    of an answer then depend on what was solved before.
    """

    def __init__(
        self, groundwork_of: Callable[[Case], Groundwork] = _groundwork, *, each: Each = map
    ) -> None:
        self._kept: dict[str, tuple[str, Any]] = {}
        self._groundwork_of = groundwork_of
        self._each = each

    def outcome(self, case: Case, *, with_error: bool = False) -> Outcome:
        """Solve a case; where it has no answer the outcome says why.

        With the numerical error it is solved as by `stillroot check`, and nothing is reused.

        Raises
        ------
        EnvironmentProblem
            gmsh cannot be loaded and no stored mesh fits the case.
        """
        try:
            if with_error:
                return outcome_of(check(case))
            seated, interference_um, torque_ncm = self.seated(case)
        except FAILURES as error:
            return no_outcome(case, str(error))
        return Outcome(
            loads=tuple(_solved(seated, case, place) for place in range(len(case.loads))),
            engagement_length_mm=case.engagement_length_mm,
            engaged_threads=case.engaged_threads,
            interference_um=interference_um,
            torque_ncm=torque_ncm,
        )

    def ground(self, case: Case) -> Groundwork:
        """Return a groundwork valid for a case."""
        geometry, site_key, _ = stage_keys(case)

        def made() -> tuple[str, Groundwork]:
            self._kept.pop("split", None)
            return site_key, self._groundwork_of(case)

        made_for, ground = self._stage("ground", geometry, made)
        if ground.for_any_moduli or made_for == site_key:
            return ground
        return self._stage("split", geometry, lambda: split_by_moduli(ground, case, self._each))

    def seated(self, case: Case) -> tuple[Seated, float, float | None]:
        """Return a seated case, its interference [µm] and its insertion torque [N·cm], None if glued."""
        _, site_key, seat_key = stage_keys(case)

        def site() -> Site:
            return site_on(self.ground(case), case)

        def seated() -> tuple[Seated, float, float | None]:
            here = replace(self._stage("site", site_key, site), case=case)
            interference_um = stated_or_found_interference_um(here)
            result = seat(here, here.layer(interference_um=interference_um))
            torque = torque_of(result)
            return result, interference_um, None if torque is None else torque.insertion_ncm

        return self._stage("seat", seat_key, seated)

    def _stage(self, name: str, key: str, make: Callable[[], T]) -> T:
        kept = self._kept.get(name)
        if kept is None or kept[0] != key:
            self._kept.pop(name, None)  # frees the old one before the new is made
            kept = (key, make())
            self._kept[name] = kept
        value: T = kept[1]
        return value


def no_outcome(case: Case, reason: str) -> Outcome:
    """Return the outcome of a case that has no answer, for a reason."""
    return Outcome(
        loads=tuple(unsolved(item.name, resultant_of(item), reason) for item in case.loads),
        engagement_length_mm=case.engagement_length_mm,
        engaged_threads=case.engaged_threads,
        reason=reason,
    )


def _solved(seated: Seated, case: Case, place: int) -> LoadOutcome:
    item = case.loads[place]
    resultant = resultant_of(item)
    try:
        state = load(seated, [resultant], name=f'load "{item.name}"')
    except NotConverged as error:
        return unsolved(item.name, resultant, str(error))
    return load_outcome(
        item.name, resultant, micromotion(seated, state), head_movement(seated, state, resultant)
    )
