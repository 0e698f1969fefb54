"""A line of straight pieces in space, such as the axis of a bridge."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from stillroot.arrays import Floats


@dataclass(frozen=True, kw_only=True)
class Polyline:
    """A line through `corners_mm` (c, 3); a place on it is its arc length [mm] from the start."""

    corners_mm: Floats

    @cached_property
    def corners_at(self) -> Floats:
        """Place (c,) of each corner."""
        pieces = np.linalg.norm(np.diff(self.corners_mm, axis=0), axis=1)
        return np.concatenate([[0.0], np.cumsum(pieces)])

    @property
    def length_mm(self) -> float:
        """Length of the whole line."""
        return float(self.corners_at[-1])

    def points(self, places: Floats) -> Floats:
        """Return the points (k, 3) at places (k,)."""
        return np.stack([np.interp(places, self.corners_at, x) for x in self.corners_mm.T], axis=-1)

    def nearest(self, point: Floats, *, dimensions: int = 3) -> tuple[float, float]:
        """Return the place nearest to a point (3,) and its distance [mm]; with 2, in plan view."""
        start, end = self.corners_mm[:-1, :dimensions], self.corners_mm[1:, :dimensions]
        along, to = end - start, point[:dimensions] - start
        square = np.maximum(np.sum(along**2, axis=1), np.finfo(float).tiny)
        share = np.clip(np.sum(to * along, axis=1) / square, 0.0, 1.0)
        distance = np.linalg.norm(to - share[:, None] * along, axis=1)
        k = int(np.argmin(distance))
        at = self.corners_at[k] + share[k] * (self.corners_at[k + 1] - self.corners_at[k])
        return float(at), float(distance[k])

    def direction(self, place: float) -> Floats:
        """Return the unit vector (3,) along the line at a place; at a corner, that of the next piece."""
        last = len(self.corners_mm) - 2
        k = min(int(np.searchsorted(self.corners_at, place + 1e-9, side="right")) - 1, last)
        along = self.corners_mm[k + 1] - self.corners_mm[k]
        return np.asarray(along / np.linalg.norm(along))
