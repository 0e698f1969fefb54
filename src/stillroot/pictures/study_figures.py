"""All pictures of studies.

Everything here is drawing. Each picture says one thing, in its title, computed from the study; it reads
without colour.
"""

from __future__ import annotations

from stillroot.pictures.compare_figure import compare_pictures
from stillroot.pictures.hold_figure import hold_pictures
from stillroot.pictures.spread_figure import spread_pictures
from stillroot.pictures.sweep_figure import sweep_pictures

__all__ = ["compare_pictures", "hold_pictures", "spread_pictures", "sweep_pictures"]
