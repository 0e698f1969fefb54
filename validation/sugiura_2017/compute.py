"""Interface motion at 45° over that under a vertical load in foam: Sugiura et al. 2017."""

from __future__ import annotations

from pathlib import Path

from validation.placed import TORN_LAYER, case_of, placed


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return ratios of 45° to vertical, of the interface's peak."""
    return {key: ratio(torn=key == "interface_torn") for key in keys}


def ratio(*, torn: bool) -> float:
    case = case_of(Path(__file__).parent / "foam.toml", interface=TORN_LAYER if torn else {})
    vertical, oblique = placed(case)
    return oblique.peak_um / vertical.peak_um
