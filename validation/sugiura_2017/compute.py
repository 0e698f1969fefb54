"""Motion at 45° over motion under a vertical load in foam: Sugiura et al. 2017."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from validation.placed import TORN_LAYER, case_of, placed

if TYPE_CHECKING:
    from validation.placed import Placed


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return ratios of 45° to vertical: of the interface's peak, at the crest, and of the head."""
    return {key: _FIGURES[key]() for key in keys}


@cache
def both(*, torn: bool = False) -> tuple[Placed, Placed]:
    """Return the implant under the vertical and under the oblique load."""
    case = case_of(Path(__file__).parent / "foam.toml", interface=TORN_LAYER if torn else {})
    vertical, oblique = placed(case)
    return vertical, oblique


def interface_ratio(*, torn: bool = False) -> float:
    vertical, oblique = both(torn=torn)
    return oblique.peak_um / vertical.peak_um


def crest_ratio() -> float:
    vertical, oblique = both()
    return oblique.crest_um / vertical.crest_um


def head_ratio() -> float:
    vertical, oblique = both()
    return oblique.head.total_um / vertical.head.total_um


_FIGURES = {
    "interface": interface_ratio,
    "interface_torn": lambda: interface_ratio(torn=True),
    "crest": crest_ratio,
    "head": head_ratio,
}
