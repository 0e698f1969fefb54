"""What a page shows, beside what the program says now: the same words, and numbers that agree."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from PIL import Image

if TYPE_CHECKING:
    from pathlib import Path

SHARE = 0.02
"""Numbers may differ by this share, or by one in the last printed digit: mesher versions differ."""

NUMBER = re.compile(r"[-−]?\d+(?:\.\d+)?")


def words_of(text: str) -> list[str]:
    """Return words, each number replaced by a #; rules of the table are left out."""
    return [NUMBER.sub("#", word) for word in text.split() if set(word) != {"─"}]


def numbers_of(text: str) -> list[str]:
    return [number.replace("−", "-") for number in NUMBER.findall(text)]


def agree(shown: str, now: str) -> bool:
    last_digit = 10.0 ** -len(shown.partition(".")[2])
    allowed = max(SHARE * abs(float(shown)), 1.001 * last_digit)
    return abs(float(shown) - float(now)) <= allowed


def assert_same(shown: str, now: str) -> None:
    """Assert that two texts have the same words, and numbers that agree."""
    assert words_of(shown) == words_of(now)
    off = [pair for pair in zip(numbers_of(shown), numbers_of(now), strict=True) if not agree(*pair)]
    assert not off


def told_by(picture: Path) -> str:
    """Return what a PNG says of itself, numbers included."""
    with Image.open(picture) as image:
        return image.text["Description"]
