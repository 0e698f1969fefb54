"""Outcomes as a table: one row per case and load, units in the column names.

The table is a polars data frame: it writes CSV and Parquet by itself, while pandas needs a second
library for Parquet, and it has no index that could get lost on the way to a file.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import polars as pl

    from stillroot.studies.outcome import LoadOutcome, Outcome

NUMBERS: Mapping[str, str] = {
    "axial_n": "axial_n",
    "lateral_n": "lateral_n",
    "torque_ncm": "torque_ncm",
    "height_mm": "height_mm",
    "peak_um": "peak_micromotion_um",
    "error_um": "numerical_error_um",
    "sliding_um": "sliding_um",
    "opening_um": "opening_um",
    "depth_mm": "peak_depth_mm",
    "mean_um": "mean_micromotion_um",
    "p95_um": "p95_micromotion_um",
    "head_um": "head_movement_um",
    "head_error_um": "head_error_um",
}
"""Attributes of a load's outcome and their column names."""
GOVERNING = "governs"


def table_of(named: Mapping[str, Sequence[Any]], outcomes: Sequence[Outcome]) -> pl.DataFrame:
    """Return a row for each load of each outcome; `named` gives further columns, one value per case.

    Where a case or load has no answer its numbers are null, and `reason` says why.
    """
    import polars as pl  # noqa: PLC0415 - slow to import

    columns: dict[str, list[Any]] = {name: [] for name in named}
    rows: list[dict[str, Any]] = []
    for place, outcome in enumerate(outcomes):
        governing = outcome.governing
        for load in outcome.loads:
            for name, values in named.items():
                columns[name].append(values[place])
            rows.append(_row(outcome, load, governs=load is governing))
    schema = {
        "load": pl.String,
        **dict.fromkeys(NUMBERS.values(), pl.Float64),
        GOVERNING: pl.Boolean,
        "insertion_torque_ncm": pl.Float64,
        "interference_um": pl.Float64,
        "engagement_length_mm": pl.Float64,
        "engaged_threads": pl.Float64,
        "reason": pl.String,
    }
    solved = pl.DataFrame(rows, schema=schema)
    return pl.concat([pl.DataFrame(columns), solved], how="horizontal") if columns else solved


def _row(outcome: Outcome, load: LoadOutcome, *, governs: bool) -> dict[str, Any]:
    return {
        "load": load.name,
        **{column: getattr(load, name) for name, column in NUMBERS.items()},
        GOVERNING: governs,
        "insertion_torque_ncm": outcome.torque_ncm,
        "interference_um": outcome.interference_um,
        "engagement_length_mm": outcome.engagement_length_mm,
        "engaged_threads": outcome.engaged_threads,
        "reason": outcome.reason or load.reason,
    }
