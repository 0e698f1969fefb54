"""Cases on freshly placed implants, some of their keys changed, seated and loaded."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from stillroot.answers.answer import prepared_site, resultant_of
from stillroot.inputs.case import Case
from stillroot.mechanics.loading import load, seat
from stillroot.mechanics.motion import HeadMovement, Micromotion, head_movement, micromotion

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.loading import Resultant, Seated

TORN_LAYER = {"layer_thickness_mm": 0.1, "layer_modulus_ratio": 0.1}
"""The default of a case, both an assumption. The papers have hard contact, thickness 0."""


def case_of(path: Path, **sections: Mapping[str, object]) -> Case:
    """Return the case of a file, some keys of its sections changed."""
    return changed_case(tomllib.loads(path.read_text(encoding="utf-8")), sections)


def changed_case(data: Mapping[str, Any], sections: Mapping[str, Mapping[str, object]]) -> Case:
    """Return the case of `data`, some keys of its sections changed."""
    changed = {name: {**data.get(name, {}), **keys} for name, keys in sections.items()}
    return Case.from_dict({**data, **changed})


@dataclass(frozen=True)
class Placed:
    """A seated implant under one load."""

    seated: Seated
    state: ContactState
    resultant: Resultant

    @property
    def motion(self) -> Micromotion:
        return micromotion(self.seated, self.state)

    @property
    def peak_um(self) -> float:
        return self.motion.peak.total_um

    @property
    def head(self) -> HeadMovement:
        return head_movement(self.seated, self.state, self.resultant)


def placed(case: Case, *names: str) -> list[Placed]:
    """Return the case under its loads of these names, or under all."""
    site = prepared_site(case)
    seated = seat(site, site.layer())
    chosen = [item for item in case.loads if not names or item.name in names]
    resultants = [resultant_of(item) for item in chosen]
    return [Placed(seated, load(seated, [resultant]), resultant) for resultant in resultants]
