"""Sources, their published figures, and how a computed one is judged against them.

A source is a folder beside this file that holds

- ``README.md``: its heading is the citation, its text what is and is not comparable;
- ``published.csv``: one row a figure, see `Figure`;
- ``compute.py``: ``compute(keys: frozenset[str]) -> dict[str, float]``, and where a curve is compared
  ``curve() -> Curve``; a second argument, ``law``, where the figures depend on the law of the bone;
- cases as TOML where the figure comes from a case.
"""

from __future__ import annotations

import csv
import hashlib
import importlib
import inspect
import json
import math
from dataclasses import asdict, dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from stillroot.studies.store import program

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

HERE = Path(__file__).parent
ROOT = HERE.parent
RESULTS = ROOT / "docs" / "validation.csv"
KEPT = HERE / ".finished"
"""Finished sources are kept here, so that an interrupted run goes on."""
ALIKE = 0.01
"""Two figures that are this near to each other, relative to the published one, count as the same."""
PRESENTATION = ("page.py", "__main__.py", "README.md")
"""Files that no number comes from."""
CONFIDENCE = {
    "R": "read in the source",
    "T": "read in a work that cites it",
    "M": "from memory",
    "S": "follows from statics or an exact solution",
}


@dataclass(frozen=True, kw_only=True)
class Figure:
    """A published figure.

    `published`: a number, ``a to b``, ``<= a`` or ``>= a``. `tolerance`: ``x %`` of it, ``factor x``,
    or ``x`` in its own unit; beyond the ends where `published` is a range. `thin`: part of the slice
    that runs with the tests. `differs`: empty, or why the computed figure is known to lie outside.
    """

    key: str
    topic: str
    quantity: str
    unit: str
    published: str
    tolerance: str
    why: str
    place: str
    confidence: str
    thin: bool
    differs: str

    @property
    def ends(self) -> tuple[float, float]:
        """Lowest and highest published value."""
        text = self.published
        if text.startswith("<="):
            return -math.inf, float(text[2:])
        if text.startswith(">="):
            return float(text[2:]), math.inf
        low, _, high = text.partition(" to ")
        return float(low), float(high or low)

    @property
    def allowed(self) -> tuple[float, float]:
        """Lowest and highest computed value that agrees."""
        low, high = self.ends
        kind = self.tolerance
        if kind.endswith("%"):
            share = float(kind[:-1]) / 100
            return low - abs(low) * share, high + abs(high) * share
        if kind.startswith("factor"):
            factor = float(kind[6:])
            return low / factor, high * factor
        return low - float(kind), high + float(kind)

    def agrees(self, computed: float) -> bool:
        """Return whether a computed value lies within the tolerance."""
        low, high = self.allowed
        return low <= computed <= high

    def miss(self, computed: float) -> float:
        """Return by which factor a value > 0 lies outside the published range, as its logarithm."""
        low, high = self.ends
        nearest = min(max(computed, low), high)
        return abs(math.log(computed / nearest))


@dataclass(frozen=True, kw_only=True)
class Row:
    """A published figure with its computed value; `linear` is that with bone that never yields.

    `linear` is None where the figure does not depend on the law of the bone.
    """

    source: str
    figure: Figure
    computed: float
    linear: float | None = None

    @property
    def agrees(self) -> bool:
        """Whether the computed value lies within the tolerance."""
        return self.figure.agrees(self.computed)

    @property
    def off(self) -> float:
        """Computed over published, less one; from the nearest end of a range, 0 inside it."""
        low, high = self.figure.ends
        nearest = min(max(self.computed, low), high)
        if nearest == self.computed:
            return 0.0
        return self.computed / nearest - 1 if nearest else math.inf

    @property
    def linear_agrees(self) -> bool:
        """Whether the value with linear bone lies within the tolerance."""
        return self.linear is not None and self.figure.agrees(self.linear)

    @property
    def nearer(self) -> str:
        """Which of the two laws of bone is nearer to the published figure, by more than `ALIKE`."""
        assert self.linear is not None
        gained = self.figure.miss(self.linear) - self.figure.miss(self.computed)
        if abs(gained) < ALIKE:
            return "alike"
        return "yields" if gained > 0 else "linear"


@dataclass(frozen=True, kw_only=True)
class Curve:
    """A published curve and the computed one: the figure of a source. Lists of (x, y) points."""

    title: str
    x_label: str
    y_label: str
    published: Sequence[tuple[float, float]]
    computed: Sequence[tuple[float, float]]
    log: bool = False


@dataclass(frozen=True)
class Source:
    """A folder of this suite."""

    folder: Path

    @property
    def name(self) -> str:
        """The folder's name."""
        return self.folder.name

    @cached_property
    def citation(self) -> str:
        """The heading of its page."""
        first = (self.folder / "README.md").read_text(encoding="utf-8").splitlines()[0]
        return first.removeprefix("# ").strip()

    @cached_property
    def figures(self) -> tuple[Figure, ...]:
        """Its published figures."""
        with (self.folder / "published.csv").open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file, strict=True))
        return tuple(Figure(**{**row, "thin": row["thin"] == "yes"}) for row in rows)  # type: ignore[arg-type]

    def compute(self, keys: frozenset[str]) -> tuple[Row, ...]:
        """Return a row for each of the keys, in the order of the file."""
        module = importlib.import_module(f"validation.{self.name}.compute")
        values = module.compute(keys)
        takes_law = "law" in inspect.signature(module.compute).parameters
        linear = module.compute(keys, "linear") if takes_law else dict.fromkeys(keys)
        if not keys == values.keys() == linear.keys():
            msg = f"{self.name}: asked for {sorted(keys)}, got {sorted(values)}"
            raise ValueError(msg)
        return tuple(
            Row(source=self.name, figure=figure, computed=float(values[key]), linear=linear[key])
            for figure in self.figures
            if (key := figure.key) in keys
        )

    @property
    def thin_keys(self) -> frozenset[str]:
        """The keys of its thin slice."""
        return frozenset(figure.key for figure in self.figures if figure.thin)

    @property
    def all_keys(self) -> frozenset[str]:
        """All of its keys."""
        return frozenset(figure.key for figure in self.figures)

    @cached_property
    def has_curve(self) -> bool:
        """Whether it compares a curve."""
        return "\ndef curve(" in (self.folder / "compute.py").read_text(encoding="utf-8")

    def curve(self) -> Curve:
        """Return its curve."""
        module = importlib.import_module(f"validation.{self.name}.compute")
        curve: Curve = module.curve()
        return curve


def sources() -> tuple[Source, ...]:
    """Return all sources, by name."""
    return tuple(Source(path.parent) for path in sorted(HERE.glob("*/published.csv")))


def fingerprint(source: Source) -> str:
    """Return a hash of all that a source's numbers come from: the program and the suite's files."""
    digest = hashlib.sha256(program().encode())
    for path in (*sorted(HERE.glob("*.py")), *sorted(source.folder.glob("*"))):
        if path.is_file() and path.name not in PRESENTATION:
            digest.update(path.name.encode() + path.read_bytes())
    return digest.hexdigest()[:16]


def kept_rows(source: Source) -> tuple[Row, ...] | None:
    """Return the rows of a source that an earlier run finished, if nothing has changed since."""
    path = KEPT / f"{source.name}-{fingerprint(source)}.json"
    if not path.is_file():
        return None
    values = json.loads(path.read_text(encoding="utf-8"))
    return tuple(
        Row(source=source.name, figure=figure, **values[figure.key]) for figure in source.figures
    )


def keep(source: Source, rows: Sequence[Row]) -> None:
    """Keep the rows of a finished source."""
    KEPT.mkdir(exist_ok=True)
    path = KEPT / f"{source.name}-{fingerprint(source)}.json"
    aside = path.with_suffix(".part")
    values = {row.figure.key: {"computed": row.computed, "linear": row.linear} for row in rows}
    aside.write_text(json.dumps(values), encoding="utf-8")
    aside.replace(path)


def write_results(rows: Sequence[Row], path: Path = RESULTS) -> None:
    """Write all rows as CSV."""
    aside = path.with_suffix(".part")
    with aside.open("w", encoding="utf-8", newline="") as file:
        fields = ["source", *Figure.__dataclass_fields__, "computed", "linear"]
        writer = csv.DictWriter(file, fields, lineterminator="\n")
        writer.writeheader()
        for row in rows:
            record = {"source": row.source, **asdict(row.figure), "computed": f"{row.computed:.6g}"}
            record["linear"] = "" if row.linear is None else f"{row.linear:.6g}"
            writer.writerow({**record, "thin": "yes" if row.figure.thin else "no"})
    aside.replace(path)


def read_results(path: Path = RESULTS) -> Iterator[Row]:
    """Yield the rows of a CSV that `write_results` wrote."""
    with path.open(encoding="utf-8", newline="") as file:
        for record in csv.DictReader(file, strict=True):
            source, computed = record.pop("source"), float(record.pop("computed"))
            linear = float(record["linear"]) if record["linear"] else None
            del record["linear"]
            figure = Figure(**{**record, "thin": record["thin"] == "yes"})  # type: ignore[arg-type]
            yield Row(source=source, figure=figure, computed=computed, linear=linear)
