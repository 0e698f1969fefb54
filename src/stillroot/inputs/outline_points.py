"""The points of an outline: read from a file, and validated.

Points are (r_mm, z_mm), from the crest (z = 0) down to the end (z negative).
"""

from __future__ import annotations

import csv
import math
from itertools import pairwise
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

Point = tuple[float, float]

ON_A_LINE_MM2 = 1e-12
"""Three points count as collinear if twice the area of their triangle is below this."""


def read_outline(path: Path) -> tuple[tuple[Point, ...], str]:
    """Return the points in an outline file, and what is wrong with them or ""."""
    try:
        points, text = _points_of(path.read_text(encoding="utf-8-sig"))
    except UnicodeDecodeError:
        return (), "must be a file of UTF-8 text"
    except OSError as error:
        return (), f"must be a file of r_mm,z_mm points; it cannot be read: {error.strerror or error}"
    return points, text or outline_problem(points)


def _points_of(text: str) -> tuple[tuple[Point, ...], str]:
    """Return the points in a text of `r_mm,z_mm` lines, and what is wrong with it or ""."""
    try:
        rows = [[cell.strip() for cell in row] for row in csv.reader(text.splitlines())]
    except csv.Error as error:
        return (), f"must be r_mm,z_mm points, one a line; {error}"
    numbered = [(line, row) for line, row in enumerate(rows, 1) if any(row)]
    if not numbered or numbered[0][1] != ["r_mm", "z_mm"]:
        return (), "must be a file whose first line is r_mm,z_mm"
    points = []
    for line, row in numbered[1:]:
        numbers = [number for cell in row if (number := _number(cell)) is not None]
        if len(row) != 2 or len(numbers) != 2:
            return (), f'must be two numbers a line, r_mm,z_mm; line {line} is "{",".join(row)}"'
        points.append((numbers[0], numbers[1]))
    return tuple(points), ""


def outline_problem(points: Sequence[Point]) -> str:
    """Return what is wrong with an outline, or "". Points count from 1."""
    if len(points) < 2:
        return "must have at least 2 points, from the crest down to the end"
    if points[0][1] != 0 or points[0][0] <= 0:
        return "must begin at the crest, with z_mm = 0 and r_mm greater than 0"
    for i, (r, z) in enumerate(points[1:], 2):
        if r < 0 or (r == 0 and i < len(points)):
            reason = "only the last point may lie on it"
            return f"crosses or touches the axis at point {i} (r_mm = {r:g}); {reason}"
        if z >= 0:
            return f"must stay below the crest, z_mm negative; point {i} has z_mm = {z:g}"
        if (r, z) == tuple(points[i - 2]):
            return f"must not repeat a point; points {i - 1} and {i} are the same"
    if points[-1][1] > min(z for _, z in points):
        return "must end at its deepest point"
    tip = (0.0, points[-1][1])
    crossing = _crossing([*points, tip] if points[-1] != tip else points)
    if crossing:
        first, second = crossing
        return (
            "crosses or touches itself: the line that begins at point "
            f"{first + 1} meets the one that begins at point {second + 1}"
        )
    return ""


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _crossing(chain: Sequence[Point]) -> tuple[int, int] | None:
    """Return the indices of two segments of a chain that intersect other than as neighbours, or None.

    A sweep over depth compares only segments whose depths overlap.
    """
    spans = sorted((min(a[1], b[1]), max(a[1], b[1]), i) for i, (a, b) in enumerate(pairwise(chain)))
    for k, (_, high, i) in enumerate(spans):
        for low, _, j in spans[k + 1 :]:
            if low > high:
                break
            first, second = sorted((i, j))
            if _meet(chain, first, second):
                return first, second
    return None


def _meet(chain: Sequence[Point], first: int, second: int) -> bool:
    """Return whether two segments intersect; neighbours do only where one folds back over the other."""
    a, b, c, d = chain[first], chain[first + 1], chain[second], chain[second + 1]
    if second == first + 1:
        forward = (b[0] - a[0]) * (d[0] - c[0]) + (b[1] - a[1]) * (d[1] - c[1]) > 0
        return _turn(a, b, d) == 0 and not forward
    corners = ((a, b, c), (a, b, d), (c, d, a), (c, d, b))
    turns = [_turn(*corner) for corner in corners]
    if turns[0] * turns[1] < 0 and turns[2] * turns[3] < 0:
        return True
    return any(turn == 0 and _in_box(*corner) for turn, corner in zip(turns, corners, strict=True))


def _turn(a: Point, b: Point, c: Point) -> int:
    """Return the sign of the turn from a over b to c; 0 where the three are collinear."""
    cross = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    return 0 if abs(cross) < ON_A_LINE_MM2 else int(math.copysign(1, cross))


def _in_box(a: Point, b: Point, c: Point) -> bool:
    """Return whether c lies in the box spanned by a and b."""
    return all(min(a[k], b[k]) <= c[k] <= max(a[k], b[k]) for k in (0, 1))
