"""Comparison of what a page shows with what the program prints now: same words, matching numbers."""

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
    """Return words, each number replaced by a #; the rules of tables are left out."""
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
    """Return a PNG's own description, numbers included."""
    with Image.open(picture) as image:
        return image.text["Description"]


def assert_shows(shown: str, printed: str) -> None:
    """Assert that the printed text contains what a page shows, its parts (between …) in that order."""
    printed_words, printed_text = _words_and_numbers(printed)
    start = 0
    for part in re.split(r"^…$", shown, flags=re.MULTILINE):
        words, text = _words_and_numbers(part)
        ends = range(start, len(printed_words) - len(words) + 1)
        found = [i for i in ends if printed_words[i : i + len(words)] == words]
        assert words, "a block on a page shows something"
        assert found, f"not printed, or not here: {part}"
        # The same words may be printed again with other numbers, as the rows of a table are.
        fitting = [i for i in found if _numbers_agree(text, printed_text[i : i + len(words)])]
        assert fitting, f"printed with other numbers: {part}"
        start = fitting[0] + len(words)


def _words_and_numbers(text: str) -> tuple[list[str], list[str]]:
    """Return the words of a text without and with their numbers."""
    plain = [word for word in text.split() if set(word) != {"─"}]
    return [NUMBER.sub("#", word) for word in plain], plain


def _numbers_agree(shown: list[str], now: list[str]) -> bool:
    pairs = zip(numbers_of(" ".join(shown)), numbers_of(" ".join(now)), strict=True)
    return all(agree(*pair) for pair in pairs)
