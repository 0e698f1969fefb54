"""The invented sites of the lesson: drawn from stated ranges, and pairs built to show why.

A longer set begins with the shorter one (Halton 1960, Numer Math 2:84-90, from memory; scrambled, with a
fixed seed). Ranges, built pairs and what was published are in lesson.toml, with their sources.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from scipy.stats import qmc

from stillroot.inputs.case import Case, Numerics

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from stillroot.studies.outcome import Outcome

STATED: Mapping[str, Any] = tomllib.loads(
    (files("stillroot") / "studies" / "lesson.toml").read_text(encoding="utf-8")
)
"""What the lesson states, with its sources."""
LOAD_IN_WORDS: str = STATED["load_in_words"]

LENGTH_MM = 10.0
PITCH_MM = 0.8
CORTICAL_MM = 1.0
CORTICAL_MPA = 13_700.0
SEED = 20
SITES, SMALL_SITES = 128, 8
COMPUTED, GAVE_WAY, NO_ANSWER = "computed", "gives way", "no answer"


@dataclass(frozen=True, kw_only=True)
class Range:
    """What a quantity of the set runs over; `even_in_log` means evenly in its logarithm."""

    key: str
    name: str
    unit: str
    low: float
    high: float
    even_in_log: bool
    digits: int
    source: str

    def at(self, share: float) -> float:
        """Return the value at a share, 0 to 1, of the range, rounded to `digits` decimals."""
        if self.even_in_log:
            return round(self.low * (self.high / self.low) ** share, self.digits)
        return round(self.low + (self.high - self.low) * share, self.digits)


RANGES = tuple(Range(**row) for row in STATED["range"])


@dataclass(frozen=True, kw_only=True)
class SitePoint:
    """One site of the set: a value in each of `RANGES`."""

    index: int
    engaged_threads: float
    trabecular_modulus_mpa: float
    interference_um: float
    diameter_mm: float
    friction: float
    place: float

    @property
    def hold_mm(self) -> tuple[float, float]:
        """(top, bottom) of the hold below the crest."""
        length = PITCH_MM * self.engaged_threads
        top = round(self.place * (LENGTH_MM - length), 2)
        return top, min(round(top + length, 2), LENGTH_MM)

    @property
    def engagement_length_mm(self) -> float:
        """Length of the hold."""
        top, bottom = self.hold_mm
        return bottom - top

    @property
    def cortical_hold_mm(self) -> float:
        """How much of the hold lies in cortical bone."""
        top, bottom = self.hold_mm
        return max(0.0, min(bottom, CORTICAL_MM) - top)

    @property
    def length_times_trabecular_n_mm(self) -> float:
        """Engagement length times trabecular modulus [N/mm]."""
        return self.engagement_length_mm * self.trabecular_modulus_mpa

    @property
    def length_times_modulus_n_mm(self) -> float:
        """The modulus beside the hold summed over its length [N/mm], cortical bone included."""
        rim = self.cortical_hold_mm
        return rim * CORTICAL_MPA + (self.engagement_length_mm - rim) * self.trabecular_modulus_mpa


@dataclass(frozen=True, kw_only=True)
class Grain:
    """How finely a site is solved, and with which law of its bone."""

    element_mm: float
    harmonics: int
    steps: int = Numerics().load_steps
    law: Literal["yields", "linear"] = "yields"


CLOUD, NAMED = Grain(element_mm=0.35, harmonics=6), Grain(element_mm=0.25, harmonics=6)
FINE = Grain(element_mm=0.12, harmonics=9, steps=8)
"""What the set is solved with; what is drawn (the tool's defaults); and what a few sites are solved
again with, to measure the set's error. Threads fix their own edges, so a grain not much finer than the
set's would hardly change the mesh."""
SMALL_CLOUD = SMALL_NAMED = Grain(element_mm=0.6, harmonics=3, law="linear")
SMALL_FINE = Grain(element_mm=0.3, harmonics=4, steps=4, law="linear")
"""The same to try it out, with bone that does not yield."""


@dataclass(frozen=True, kw_only=True)
class SiteAnswer:
    """What came of one site under the common load. Figures are None where there are none."""

    point: SitePoint
    outcome: str
    reason: str = ""
    insertion_torque_ncm: float | None = None
    share_crushed: float | None = None
    peak_micromotion_um: float | None = None
    peak_depth_mm: float | None = None
    mean_micromotion_um: float | None = None
    p95_micromotion_um: float | None = None
    head_movement_um: float | None = None

    @property
    def ranked_um(self) -> float:
        """The peak, for ranks: infinite where the site gives way."""
        return math.inf if self.peak_micromotion_um is None else self.peak_micromotion_um

    @property
    def torque_ncm(self) -> float:
        """The insertion torque; NaN where there is none."""
        return math.nan if self.insertion_torque_ncm is None else self.insertion_torque_ncm


def answer_of(point: SitePoint, outcome: Outcome) -> SiteAnswer:
    """Return what came of a site: no answer without a seat, giving way without equilibrium."""
    (load,) = outcome.loads
    return SiteAnswer(
        point=point,
        outcome=NO_ANSWER if outcome.reason else GAVE_WAY if load.reason else COMPUTED,
        reason=outcome.why_not,
        insertion_torque_ncm=outcome.torque_ncm,
        share_crushed=outcome.share_crushed,
        peak_micromotion_um=load.peak_um,
        peak_depth_mm=None if load.depth_mm is None else round(load.depth_mm, 6) + 0.0,
        mean_micromotion_um=load.mean_um,
        p95_micromotion_um=load.p95_um,
        head_movement_um=load.head_um,
    )


def site_points(count: int) -> tuple[SitePoint, ...]:
    """Return the first `count` sites of the set; a longer set begins with the shorter one."""
    sampler = qmc.Halton(len(RANGES), scramble=True, rng=np.random.default_rng(SEED))
    return tuple(
        SitePoint(
            index=index,
            **{r.key: r.at(share) for r, share in zip(RANGES, map(float, row), strict=True)},
        )
        for index, row in enumerate(sampler.random(count), start=1)
    )


def case_of(point: SitePoint, grain: Grain) -> Case:
    """Return the case of a site."""
    return _case(
        grain,
        what=f"site {point.index} of the lesson",
        diameter_mm=point.diameter_mm,
        trabecular_modulus_mpa=point.trabecular_modulus_mpa,
        hold_mm=point.hold_mm,
        friction=point.friction,
        interference_um=point.interference_um,
    )


def _case(
    grain: Grain,
    *,
    what: str,
    diameter_mm: float,
    trabecular_modulus_mpa: float,
    hold_mm: Sequence[float],
    friction: float,
    interference_um: float,
    cortical_mm: float = CORTICAL_MM,
    gap_fill: str = "empty",
) -> Case:
    """Return a case of the lesson: what is not an argument is fixed, or a default of the tool."""
    thread = {"form": "v", "pitch_mm": PITCH_MM}
    return Case.from_dict(
        {
            "title": f"Invented scenario: {what}",
            "implant": {"diameter_mm": diameter_mm, "length_mm": LENGTH_MM, "thread": thread},
            "bone": {
                "law": grain.law,
                "cortical_thickness_mm": cortical_mm,
                "cortical_modulus_mpa": CORTICAL_MPA,
                "trabecular_modulus_mpa": trabecular_modulus_mpa,
            },
            "socket": {"holds_mm": [list(hold_mm)], "gap_fill": gap_fill},
            "interface": {"friction": friction, "interference_um": interference_um},
            "loads": [STATED["common_load"]],
            "numerics": {
                "element_mm": grain.element_mm,
                "harmonics": grain.harmonics,
                "load_steps": grain.steps,
            },
        }
    )


@dataclass(frozen=True, kw_only=True)
class Built:
    """Two sites that differ in what is named, and why torque and motion come out as they do."""

    key: str
    title: str
    why: str
    names: tuple[str, str]
    cases: tuple[Case, Case]


def built_pairs(grain: Grain, gap_fill: str = "empty") -> tuple[Built, ...]:
    """Return three pairs, one for each of what torque is made of: friction, squeezed cortex, fit."""

    def made(row: dict[str, Any]) -> Built:
        one, other = (_case(grain, gap_fill=gap_fill, **row["shared"], **site) for site in row["sites"])
        words = {name: row[name] for name in ("key", "title", "why")}
        return Built(**words, names=tuple(row["names"]), cases=(one, other))

    return tuple(made(row) for row in STATED["built"])
