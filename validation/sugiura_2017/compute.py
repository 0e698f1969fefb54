"""Interface motion at 45° over that under a vertical load in foam: Sugiura et al. 2017."""

from __future__ import annotations

from pathlib import Path

from validation.placed import TORN_LAYER, Law, case_of, placed


def compute(keys: frozenset[str], law: Law = "yields") -> dict[str, float]:
    """Return ratios of 45° to vertical, of the interface's peak."""
    return {key: ratio(law, torn=key == "interface_torn") for key in keys}


def ratio(law: Law, *, torn: bool) -> float:
    case = case_of(Path(__file__).parent / "foam.toml", law, interface=TORN_LAYER if torn else {})
    vertical, oblique = placed(case)
    return oblique.peak_um / vertical.peak_um
