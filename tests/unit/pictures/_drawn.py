"""Cases, and what is read off their pictures: shared by the tests of pictures."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, TypeVar

import numpy as np
from matplotlib.text import Text

from stillroot import Where, check
from stillroot.inputs.case import Case
from stillroot.mechanics.fields import displacement

if TYPE_CHECKING:
    from stillroot.answers.result import CheckResult
    from stillroot.mechanics.fields import Displacement
    from stillroot.pictures.paper import Picture
    from stillroot.studies.outcome import Outcome
    from stillroot.studies.spreads import Spread
    from stillroot.studies.sweeps import Sweep

PUSH = {"axial_n": 60.0, "lateral_n": 30.0}


BANDS = (50.0, 100.0, 150.0)


def answered(load: dict[str, float], **sections: object) -> CheckResult:
    data = {
        "title": "Invented scenario",
        "implant": {"diameter_mm": 4.1, "length_mm": 8.0},
        "bone": {
            "cortical_thickness_mm": 1.5,
            "law": "linear",
            "trabecular_modulus_mpa": 150.0,
            "radius_mm": 8.0,
        },
        "loads": [{"name": "push", **load}],
        "numerics": {"element_mm": 0.8, "harmonics": 3},
    }
    return check(Case.from_dict({**data, **sections}))


def field_of(result: CheckResult) -> Displacement:
    return displacement(result.seated, result.governing.state, result.governing.resultant)


def words(picture: Picture) -> str:
    shown = (t.get_text() for t in picture.figure.findobj(Text) if t.get_visible())
    return " ".join(shown).replace("\N{NO-BREAK SPACE}", " ").replace("\n", " ")


def present(picture: Picture | None) -> Picture:
    assert picture is not None
    return picture


T = TypeVar("T", "Sweep", "Spread")


HERE = Where(workers=1)


GRID = {"bone.trabecular_modulus_mpa": [50.0, 150.0, 450.0], "engagement_mm": [3.0, 5.0, 8.0]}


def invented(title: str = "Invented scenario", **sections: object) -> Case:
    data = {
        "title": title,
        "implant": {"diameter_mm": 4.1, "length_mm": 8.0},
        "bone": {
            "cortical_thickness_mm": 1.0,
            "law": "linear",
            "trabecular_modulus_mpa": 150.0,
            "radius_mm": 8.0,
        },
        "loads": [{"name": "push", "axial_n": 60.0, "lateral_n": 30.0}],
        "numerics": {"element_mm": 1.0, "harmonics": 3},
    }
    return Case.from_dict({**data, **sections})


SPREAD = {"trabecular_factor": [0.4, 2.5], "interface.friction": [0.3, 0.5], "load_factor": [0.7, 1.3]}


def failed(outcome: Outcome) -> Outcome:
    return replace(outcome, reason="no equilibrium: the load pulls it out")


def without(study: T, *places: int) -> T:
    """Return a study in which some cases have no answer."""
    outcomes = tuple(failed(o) if i in places else o for i, o in enumerate(study.outcomes))
    return replace(study, outcomes=outcomes)


def plain(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ")


def points(picture: Picture, panel: int = 0) -> np.ndarray:
    """Return every point of the lines of a panel, (p, 2)."""
    return np.vstack(
        [np.array(line.get_data(), dtype=float).T for line in picture.figure.axes[panel].lines]
    )


def is_drawn(picture: Picture, place: tuple[float, float], panel: int = 0) -> bool:
    return bool(np.isclose(points(picture, panel), place).all(axis=1).any())
