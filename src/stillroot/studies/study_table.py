"""Outcomes as a table: one row per case and load, units in the column names.

The table is a polars data frame: it writes CSV and Parquet by itself, while pandas needs a second
library for Parquet, and it has no index that could get lost on the way to a file.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import polars as pl

    from stillroot.studies.outcome import Outcome

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
OF_THE_CASE: Mapping[str, str] = {
    "torque_ncm": "insertion_torque_ncm",
    "interference_um": "interference_um",
    "engagement_length_mm": "engagement_length_mm",
    "engaged_threads": "engaged_threads",
}
"""Attributes of a case's outcome and their column names."""


def table_of(named: Mapping[str, Sequence[Any]], outcomes: Sequence[Outcome]) -> pl.DataFrame:
    """Return a row for each load of each outcome; `named` gives further columns, one value per case.

    Where a case or load has no answer its numbers are null, and `reason` says why.
    """
    import polars as pl  # noqa: PLC0415 - slow to import

    rows = [
        {
            **{name: values[place] for name, values in named.items()},
            "load": load.name,
            **{column: getattr(load, name) for name, column in NUMBERS.items()},
            "governs": load is outcome.governing,
            **{column: getattr(outcome, name) for name, column in OF_THE_CASE.items()},
            "reason": outcome.reason or load.reason,
        }
        for place, outcome in enumerate(outcomes)
        for load in outcome.loads
    ]
    numbers = dict.fromkeys((*NUMBERS.values(), *OF_THE_CASE.values()), pl.Float64)
    return pl.DataFrame(rows, schema_overrides=numbers, infer_schema_length=None)
