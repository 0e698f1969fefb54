"""The parts common to all pictures, and saving them without headings."""

from __future__ import annotations

import io
import warnings
from typing import TYPE_CHECKING

import numpy as np
import pytest
from PIL import Image

from stillroot.answers.wording import CAUTION
from stillroot.pictures.paper import (
    CROP_PAD_IN,
    DPI,
    MOTION,
    Picture,
    blank_sheet,
    no_word_of_missing_letters,
)
from stillroot.writing.picture_files import drawn

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray


@pytest.fixture
def picture() -> Picture:
    sheet = blank_sheet("It rises", "Invented scenario", tall_in=1.5, foot_in=1.0, head_in=1.5)
    ax = sheet.axes(2.0, 4.0)
    ax.plot([0, 1], [0, 1], color="0.4")
    ax.set(xticks=[], yticks=[])
    return sheet.picture("line", "A line.")


def pixels(png: bytes) -> NDArray[np.int64]:
    with Image.open(io.BytesIO(png)) as image:
        return np.asarray(image.convert("RGB"), dtype=np.int64)


def test_headings_are_message_title_and_caution(picture: Picture) -> None:
    assert [text.get_text() for text in picture.headings] == ["It rises", "Invented scenario", CAUTION]


def test_a_bare_png_is_the_drawing_alone_at_full_width(picture: Picture) -> None:
    bare = pixels(picture.bare_png())
    assert bare.shape[1] == 8 * DPI
    assert bare.shape[0] == pytest.approx((1.5 + 2 * CROP_PAD_IN) * DPI, abs=4)
    inked = np.flatnonzero((bare < 250).any(axis=(0, 2)))
    assert inked[0] == pytest.approx(2.0 * DPI, abs=3)
    assert inked[-1] == pytest.approx(6.0 * DPI, abs=3)


def test_headings_are_back_afterwards(picture: Picture) -> None:
    before, after = io.BytesIO(), io.BytesIO()
    picture.figure.savefig(before)
    picture.bare_png()
    picture.figure.savefig(after)
    assert before.getvalue() == after.getvalue()


def test_few_colours_keep_the_scale_of_motion(picture: Picture) -> None:
    ax = picture.figure.axes[0]
    ax.clear()
    ax.imshow(np.linspace(0, 1, 512)[None], cmap=MOTION, aspect="auto", extent=(0, 1, 0, 1))
    ax.axis("off")
    bare = pixels(picture.bare_png())
    row = bare[bare.shape[0] // 2, 2 * DPI + 2 : 6 * DPI - 2]
    wanted = 255 * MOTION(np.linspace(0, 1, len(row)))[:, :3]
    # Neighbours of the palette are up to 3 apart, those of the map itself 2.
    assert np.abs(row - wanted).max() < 5


def test_a_title_that_the_font_lacks_is_saved_without_a_word(picture: Picture, tmp_path: Path) -> None:
    picture.headings[1].set_text("测试")
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        drawn(picture).save(tmp_path)
        picture.bare_png()
        with no_word_of_missing_letters():
            warnings.warn("of another kind", UserWarning, stacklevel=1)
    assert [str(each.message) for each in said] == ["of another kind"]
    # The font lacks them.
    with pytest.warns(UserWarning, match="missing from"):
        picture.figure.savefig(io.BytesIO())


def test_white_paper_stays_white(picture: Picture) -> None:
    bare = pixels(picture.bare_png())
    assert np.all(bare[:, :DPI] == 255)
    assert bare.min() < 120


def test_a_bare_png_repeats_byte_for_byte(picture: Picture) -> None:
    assert picture.bare_png() == picture.bare_png()
