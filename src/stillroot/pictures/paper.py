"""Paper: all pictures have one width, a message on top, a title below it and the caution at the foot.

A picture is drawn once, without its headings; file and page are made of that.
"""

from __future__ import annotations

import io
import re
import textwrap
import warnings
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import colormaps, rc_context
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from numpy.typing import NDArray
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from stillroot.answers.wording import CAUTION

if TYPE_CHECKING:
    from collections.abc import Iterator

    from matplotlib.axes import Axes
    from matplotlib.text import Text

Pixels = NDArray[np.uint8]
Style = dict[str, Any]

DPI = 150
WIDTH_IN = 8.0
"""With `DPI`, a picture is 1200 pixels wide."""
TITLE_PT, TEXT_PT, SMALL_PT = 13.0, 10.0, 8.5
TITLE_LETTERS, NOTE_LETTERS = 66, 114
"""Letters to a line of the title, and of a note."""
CROP_PAD_IN = 0.04
"""White kept above and below a bare picture."""
MOTION = colormaps["cividis"]
WHITE = 85
"""Place of white in the palette."""
COMPRESSION = 6
"""Of a PNG: 9 takes half as long again and saves 8 %."""
PALETTE: Pixels = np.rint(
    255
    * np.vstack(
        [np.linspace(0, 1, WHITE + 1)[:, None].repeat(3, 1), MOTION(np.linspace(0, 1, 170))[:, :3]]
    )
).astype(np.uint8)
"""The colours (256, 3) of a PNG: greys, every third of which a screen has, and those of motion."""


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A picture, and what is said of it.

    `name` is unique in one answer and fit for a file; `alt` tells the picture in words; `message` is the
    one thing that it says. `headings` are what a page that says it itself leaves out.
    """

    name: str
    figure: Figure
    alt: str
    message: str
    headings: tuple[Text, ...]

    def png(self) -> bytes:
        """Return the picture as a PNG, its alt text with it. The bytes repeat."""
        renderer = self._canvas.get_renderer()
        pixels = np.asarray(renderer.buffer_rgba())
        pixels[:] = 255
        with no_word_of_missing_letters():
            for text in self.headings:
                text.draw(renderer)
        headings = np.rint(pixels[..., 0] / 3).astype(np.uint8)  # black on white: greys of the palette
        return _png(np.where(headings < WHITE, headings, self._drawn), self.alt)

    def bare_png(self) -> bytes:
        """Return the same without message, title and caution, for a page that prints these.

        The paper is cropped above and below, never at the sides: on one page the letters of all pictures
        stay alike. The bytes repeat.
        """
        inked = np.flatnonzero(np.any(self._drawn != WHITE, axis=1))
        pad = round(CROP_PAD_IN * DPI)
        return _png(self._drawn[max(inked[0] - pad, 0) : inked[-1] + 1 + pad], self.alt)

    def svg(self) -> bytes:
        """Return the picture as an SVG, its alt text with it. The bytes repeat."""
        drawn = io.BytesIO()
        about = {"Description": self.alt, "Date": None}
        with rc_context({"svg.hashsalt": "stillroot"}), no_word_of_missing_letters():
            self.figure.savefig(drawn, format="svg", dpi=DPI, metadata=about)
        return drawn.getvalue()

    @property
    def _canvas(self) -> Any:
        return FigureCanvasAgg(self.figure)

    @cached_property
    def _drawn(self) -> Pixels:
        """Places (h, w) in `PALETTE` of the pixels, without headings; drawing takes long."""
        canvas = self._canvas
        for text in self.headings:
            text.set_visible(False)
        with no_word_of_missing_letters():
            canvas.draw()
        for text in self.headings:
            text.set_visible(True)
        return _nearest(np.asarray(canvas.buffer_rgba())[..., :3])


def _png(places: Pixels, about: str) -> bytes:
    """Return places in `PALETTE` (h, w) as a PNG: 256 colours make it a third of the size."""
    few, drawn, words = Image.fromarray(places), io.BytesIO(), PngInfo()
    few.putpalette(PALETTE.tobytes())
    words.add_itxt("Description", about)
    few.save(drawn, format="png", compress_level=COMPRESSION, dpi=(DPI, DPI), pnginfo=words)
    return drawn.getvalue()


def _nearest(colours: Pixels) -> Pixels:
    """Return the places (h, w) in `PALETTE` that are nearest to the colours (h, w, 3).

    By Pillow's own search white paper turns grey.
    """
    packed = colours.astype(np.uint32) @ np.array([1 << 16, 1 << 8, 1], dtype=np.uint32)
    inked = packed != 0xFFFFFF
    found, where = np.unique(packed[inked], return_inverse=True)
    split = np.stack([found >> 16, (found >> 8) & 255, found & 255], axis=1).astype(np.float64)
    palette = PALETTE.astype(np.float64)
    away = np.sum(palette**2, axis=1) - 2 * split @ palette.T
    places = np.full(packed.shape, WHITE, dtype=np.uint8)
    places[inked] = np.argmin(away, axis=1)[where]
    return places


@contextmanager
def no_word_of_missing_letters() -> Iterator[None]:
    """Say nothing of letters that the font lacks, while a picture is measured or saved.

    They are drawn as boxes, for all to see; warnings would bury what else is said.
    """
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", r"Glyph \d+ .*missing from ", UserWarning)
        yield


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """A picture in the making; its main axes are `tall_in` high and stand on a foot of `foot_in`."""

    figure: Figure
    message: str
    headings: list[Text]
    foot_in: float
    tall_in: float

    def axes(
        self, left: float, width: float, *, bottom: float | None = None, height: float | None = None
    ) -> Axes:
        """Add axes at a place in inches: main axes where no other bottom and height are given."""
        bottom = self.foot_in if bottom is None else bottom
        height = self.tall_in if height is None else height
        w, h = self.figure.get_size_inches()
        ax = self.figure.add_axes((left / w, bottom / h, width / w, height / h))
        ax.tick_params(labelsize=SMALL_PT + 0.5)
        ax.xaxis.label.set_fontsize(TEXT_PT)
        ax.yaxis.label.set_fontsize(TEXT_PT)
        return ax

    def note(self, *paragraphs: str) -> None:
        """Write a note at the foot, above the caution; each paragraph begins a line."""
        lines = [line for text in paragraphs for line in textwrap.wrap(text, NOTE_LETTERS)]
        self.write((0.3, 0.3), "\n".join(lines), va="bottom", fontsize=SMALL_PT)

    def write(self, at_in: tuple[float, float], text: str, **style: Any) -> Text:
        """Write on the paper, at a place in inches from its lower left corner."""
        x, y = at_in / self.figure.get_size_inches()
        return self.figure.text(x, y, text, parse_math=False, **style)

    def picture(self, name: str, alt: str) -> Picture:
        """Return the finished picture."""
        shared: Style = {"figure": self.figure, "message": self.message}
        return Picture(name=name, alt=alt, headings=tuple(self.headings), **shared)


def blank_sheet(
    message: str, title: str, *, tall_in: float, foot_in: float, head_in: float = 1.0
) -> Sheet:
    """Return paper with message, title and caution on it; its head grows with the message."""
    lines = _title_lines(message)
    below_in = 0.17 + 0.215 * len(lines) + 0.07  # where the title stands, from the top
    height = foot_in + tall_in + max(head_in, below_in + 0.28)
    figure = Figure(figsize=(WIDTH_IN, height), dpi=DPI, facecolor="white")
    sheet = Sheet(figure=figure, message=message, headings=[], foot_in=foot_in, tall_in=tall_in)
    top: Style = {"fontsize": TITLE_PT, "fontweight": "bold", "va": "top"}
    small: Style = {"fontsize": SMALL_PT - 1, "color": "0.4", "va": "bottom"}
    case = textwrap.shorten(title, 100, placeholder=" …")
    sheet.headings.extend(
        (
            sheet.write((0.3, height - 0.17), "\n".join(lines), **top),
            sheet.write((0.3, height - below_in), case, fontsize=TEXT_PT, color="0.3", va="top"),
            sheet.write((0.3, 0.06), CAUTION, **small),
        )
    )
    return sheet


def _title_lines(message: str) -> list[str]:
    """Return the fewest lines that hold a title, as even as they can be."""
    text = re.sub(r"(?<=\d) (?=(mm|µm|N)\b)", "\N{NO-BREAK SPACE}", message)
    fewest = len(textwrap.wrap(text, TITLE_LETTERS))
    widths = range(TITLE_LETTERS // 2, TITLE_LETTERS + 1)
    return next(w for w in (textwrap.wrap(text, width) for width in widths) if len(w) == fewest)
