"""All pictures of studies.

Everything here is drawing. Each picture says one thing, in its title, computed from the study; it reads
without colour.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stillroot.pictures.bounds_figure import bounds_pictures
from stillroot.pictures.compare_figure import compare_pictures
from stillroot.pictures.spread_figure import spread_pictures
from stillroot.pictures.sweep_figure import sweep_pictures
from stillroot.studies.bounds import Bounds
from stillroot.studies.comparison import Comparison
from stillroot.studies.spreads import Spread
from stillroot.studies.sweeps import Sweep

if TYPE_CHECKING:
    from stillroot.pictures.paper import Picture
    from stillroot.words.study_documents import Study


def study_pictures(found: Study) -> tuple[Picture, ...]:
    """Return the pictures of a study, the one that tells most first."""
    match found:
        case Sweep():
            return sweep_pictures(found)
        case Spread():
            return spread_pictures(found)
        case Bounds():
            return bounds_pictures(found)
        case Comparison():
            return compare_pictures(found)
