"""Cases on freshly placed implants, some of their keys changed, seated and loaded."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

from stillroot.answers.chain import law_of, resultant_of, site_of
from stillroot.inputs.case import Case
from stillroot.mechanics.loading import load
from stillroot.mechanics.motion import HeadMovement, Micromotion, head_movement, micromotion
from stillroot.mechanics.seat import seat
from stillroot.mechanics.wall_law import layer_of

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.interface import Layer
    from stillroot.mechanics.mesh import HalfSection
    from stillroot.mechanics.resultant import Resultant
    from stillroot.mechanics.seat import Seated
    from stillroot.mechanics.site import Site

TORN_LAYER = {"layer_thickness_mm": 0.1, "layer_modulus_ratio": 0.1}
"""The default of a case, both an assumption. The papers have hard contact, thickness 0."""


Law = Literal["linear", "yields"]
"""Of the bone: bone.law of a case."""


def case_of(path: Path, law: Law = "yields", **sections: Mapping[str, object]) -> Case:
    """Return the case of a file with bone of a law, some keys of its sections changed."""
    bone = {**sections.get("bone", {}), "law": law}
    return changed_case(tomllib.loads(path.read_text(encoding="utf-8")), {**sections, "bone": bone})


def changed_case(data: Mapping[str, Any], sections: Mapping[str, Mapping[str, object]]) -> Case:
    """Return the case of `data`, some keys of its sections changed."""
    changed = {name: {**data.get(name, {}), **keys} for name, keys in sections.items()}
    return Case.from_dict({**data, **changed})


@dataclass(frozen=True)
class Prepared:
    """A case and its site, to be seated by hand."""

    case: Case
    site: Site

    def layer(self, *, interference_um: float | None = None, friction: float | None = None) -> Layer:
        """Return the law at the wall; both arguments default to the case's."""
        law = law_of(self.case)
        if friction is not None:
            law = replace(law, friction=friction)
        if interference_um is None:
            interference_um = self.case.interface.interference_um
        return layer_of(self.site, law, interference_um)

    def seated(self, layer: Layer | None = None) -> Seated:
        """Return the implant seated, by default with the case's own law."""
        share = self.case.interface.retained_pressure
        return seat(self.site, layer or self.layer(), retained_pressure=share)


def prepared(case: Case, section: HalfSection | None = None, highest: int | None = None) -> Prepared:
    """Return a case with its site, on a mesh of its own or a given one."""
    return Prepared(case, site_of(case, section, highest=highest))


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
    seated = prepared(case).seated()
    chosen = [item for item in case.loads if not names or item.name in names]
    resultants = [resultant_of(item) for item in chosen]
    steps = case.numerics.load_steps
    return [Placed(seated, load(seated, [r], steps=steps), r) for r in resultants]
