"""Does the true error lie within the ± of an answer, and by how much does the ± over-state it?

Ten invented cases, each load once as `stillroot.check` answers it and once finer: far finer where bone
is linear, on half the elements with four times the steps where it yields. What the finer solution still
misses is no part of the comparison.
"""

from __future__ import annotations

import csv
import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stillroot import Case, check, read_case
from stillroot.answers.chain import Chain, loads_of
from stillroot.mechanics.motion import micromotion
from stillroot.studies.store import program
from validation.placed import changed_case
from validation.suite import ROOT

if TYPE_CHECKING:
    from collections.abc import Iterator

RESULTS = Path(__file__).parent / "errors.csv"
FINE = {"element_mm": 0.07, "harmonics": 10, "load_steps": 16, "far_mm": 400.0}
FINER = {"element_mm": 0.125, "harmonics": 8, "load_steps": 8, "far_mm": 200.0}
"""Of bone that yields, which takes many times as long."""
COLUMNS = ("case", "load", "peak_um", "estimate_um", "finer_um", "key")

PLAIN: dict[str, Any] = {
    "implant": {"diameter_mm": 4.1, "length_mm": 8.0, "thread": {"form": "v"}},
    "bone": {"cortical_thickness_mm": 1.0, "law": "linear", "trabecular_modulus_mpa": 300.0},
    "interface": {"interference_um": 8.0},
    "loads": [{"name": "oblique", "force_n": 80.0, "angle_deg": 30.0, "height_mm": 7.0}],
}
OTHERS: dict[str, dict[str, dict[str, Any]]] = {
    "smooth, no cortex": {
        "implant": {"thread": {"form": "none"}},
        "bone": {"cortical_thickness_mm": 0.0},
    },
    "square thread, thick cortex": {
        "implant": {"thread": {"form": "square", "crest_flat_mm": 0.3}},
        "bone": {"cortical_thickness_mm": 3.0},
    },
    "tapered, zirconia": {"implant": {"taper_deg": 4.0, "material": "zirconia"}},
    "two holds, empty gap": {
        "socket": {"holds_mm": [[0.0, 2.0], [5.0, 8.0]], "gap_fill": "empty", "gap_width_mm": 0.6}
    },
    "hard contact": {"interface": {"layer_thickness_mm": 0.0}},
    "loose fit, no friction": {"interface": {"friction": 0.0, "interference_um": 0.0}},
}


def cases() -> Iterator[tuple[str, Case]]:
    """Yield ten cases with their names: the shipped ones, and six made here."""
    for path in sorted((ROOT / "docs" / "cases").glob("*.toml")):
        yield path.stem, read_case(path)
    for name, changes in OTHERS.items():
        yield name, changed_case({"title": f"Invented scenario: {name}", **PLAIN}, changes)


def run(tell: Any = print) -> None:
    """Write errors.csv; what is there and still holds is kept."""
    every = tuple(cases())
    wanted = {(name, item.name) for name, case in every for item in case.loads}
    kept = {place: row for row in read() if (place := (row["case"], row["load"])) in wanted}
    rows: list[dict[str, str]] = []
    for name, case in every:
        key = _key(case)
        known = [kept.get((name, item.name)) for item in case.loads]
        if all(row is not None and row["key"] == key for row in known):
            rows += [row for row in known if row is not None]
        else:
            tell(name)
            rows += solved_again(name, case, key)
        done = {row["case"] for row in rows}
        everything = [*rows, *(row for (other, _), row in kept.items() if other not in done)]
        aside = RESULTS.with_suffix(".part")
        with aside.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
            writer.writeheader()
            writer.writerows(everything)
        aside.replace(RESULTS)


def read() -> list[dict[str, str]]:
    """Return the rows of errors.csv."""
    if not RESULTS.is_file():
        return []
    with RESULTS.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, strict=True))


def solved_again(name: str, case: Case, key: str) -> Iterator[dict[str, str]]:
    """Yield a row of errors.csv for each load of a case: as answered, and far finer."""
    answer = check(case)
    finer = FINER if case.bone.law == "yields" else FINE
    placed = Chain().placed(case.with_numerics(**finer))
    for (name_of_load, resultant), told in zip(loads_of(case), answer.loads, strict=True):
        state = placed.loaded(name_of_load, resultant)
        yield {
            "case": name,
            "load": told.name,
            "peak_um": f"{told.peak.total_um:.5g}",
            "estimate_um": f"{told.error.total_um:.3g}",
            "finer_um": f"{micromotion(placed.seated, state).peak.total_um:.5g}",
            "key": key,
        }


def _key(case: Case) -> str:
    """Return a hash of the case, of the program that solves it, and of this module."""
    parts = (case.fingerprint(), program(), Path(__file__).read_text(encoding="utf-8"))
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:12]


@dataclass(frozen=True, kw_only=True)
class Measured:
    """One load: its peak, the ± beside it, and the far finer peak, as written in errors.csv."""

    case: str
    load: str
    peak_um: str
    estimate_um: str
    finer_um: str

    @property
    def error_um(self) -> float:
        """The true error, as far as the finer solution tells."""
        return float(self.peak_um) - float(self.finer_um)

    @property
    def over(self) -> float:
        """How many times the ± is the true error."""
        return float(self.estimate_um) / max(abs(self.error_um), 1e-9)

    @property
    def within(self) -> bool:
        """Whether the true error lies within the ±."""
        return self.over >= 1


def measured() -> tuple[Measured, ...]:
    """Return what errors.csv holds."""
    return tuple(Measured(**{k: v for k, v in row.items() if k != "key"}) for row in read())
