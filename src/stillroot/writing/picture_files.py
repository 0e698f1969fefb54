"""Pictures as bytes: PNG and SVG for a folder, and a small bare PNG for a page.

To draw them takes longest of all that is written, so it may be done in processes beside this one.
"""

from __future__ import annotations

import base64
import io
import multiprocessing
import os
import signal
import sys
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import rc_context
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image, PngImagePlugin

from stillroot.pictures.drawing import DPI, MOTION, no_word_of_missing_letters

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from multiprocessing.connection import Connection
    from pathlib import Path

    from numpy.typing import NDArray

    from stillroot.arrays import Floats
    from stillroot.pictures.drawing import Picture

PALETTE: NDArray[np.uint8] = np.rint(
    255 * np.vstack([np.linspace(0, 1, 86)[:, None].repeat(3, 1), MOTION(np.linspace(0, 1, 170))[:, :3]])
).astype(np.uint8)
"""The colours (256, 3) of a bare PNG: greys, every third of which a screen has, and those of motion."""
CROP_PAD_IN = 0.04
"""White kept above and below it."""


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """A picture drawn: its files, and the `bare` PNG without message, title and caution."""

    name: str
    alt: str
    message: str
    png: bytes
    svg: bytes
    bare: bytes

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height of the bare PNG."""
        with Image.open(io.BytesIO(self.bare)) as image:
            return image.size

    @property
    def base64(self) -> str:
        """The bare PNG as a page holds it."""
        return base64.b64encode(self.bare).decode()

    def save(self, folder: Path) -> None:
        """Write the picture into a folder as PNG and SVG, its alt text with it."""
        (folder / f"{self.name}.png").write_bytes(self.png)
        (folder / f"{self.name}.svg").write_bytes(self.svg)


def drawn(picture: Picture) -> Drawn:
    """Return a picture as files; they repeat byte for byte."""
    whole, bare = _pixels(picture)
    about = PngImagePlugin.PngInfo()
    about.add_itxt("Description", picture.alt)
    png, svg = io.BytesIO(), io.BytesIO()
    Image.fromarray(whole).save(png, format="png", pnginfo=about, dpi=(DPI, DPI))
    # No date, so that files repeat.
    with rc_context({"svg.hashsalt": "stillroot"}), no_word_of_missing_letters():
        told = {"Description": picture.alt, "Date": None}
        picture.figure.savefig(svg, format="svg", dpi=DPI, metadata=told)
    return Drawn(
        name=picture.name,
        alt=picture.alt,
        message=picture.message,
        png=png.getvalue(),
        svg=svg.getvalue(),
        bare=_small_png(bare),
    )


def bare_png(picture: Picture) -> bytes:
    """Return a picture without message, title and caution as a PNG, for a page that prints these.

    The paper is cropped above and below, never at the sides: on one page the letters of all pictures
    stay alike. Its colours are greys and those of `MOTION`, the same 256 in every picture; that makes it
    a third of the size.
    """
    return _small_png(_pixels(picture)[1])


def _pixels(picture: Picture) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """Return the colours (h, w, 3) of a picture, and of its drawing alone, cropped above and below.

    Drawn once: first without its headings, then these on top.
    """
    figure, before = picture.figure, picture.figure.canvas
    canvas: Any = FigureCanvasAgg(figure)
    for text in picture.headings:
        text.set_visible(False)
    with no_word_of_missing_letters():
        try:
            canvas.draw()
            bare = np.asarray(canvas.buffer_rgba())[..., :3].copy()
        finally:
            for text in picture.headings:
                text.set_visible(True)
        for text in picture.headings:
            text.draw(canvas.get_renderer())
    figure.set_canvas(before)
    inked = np.flatnonzero((bare < 255).any(axis=(1, 2)))
    pad = round(CROP_PAD_IN * DPI)
    rows = slice(max(inked[0] - pad, 0), inked[-1] + pad + 1) if inked.size else slice(None)
    return np.asarray(canvas.buffer_rgba())[..., :3].copy(), bare[rows]


def _small_png(colours: NDArray[np.uint8]) -> bytes:
    few = Image.fromarray(_nearest(colours, PALETTE))
    few.putpalette(PALETTE.tobytes())
    small = io.BytesIO()
    few.save(small, format="png")  # at its best, compression takes eight times as long for 8 % less
    return small.getvalue()


def _nearest(colours: NDArray[np.uint8], palette: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return the places (h, w) in a palette (k, 3) that are nearest to the colours (h, w, 3).

    By Pillow's own search white paper turns grey.
    """
    packed = colours.astype(np.uint32) @ np.array([1 << 16, 1 << 8, 1], dtype=np.uint32)
    place = np.zeros(1 << 24, dtype=np.uint8)
    place[packed] = 1
    found = np.flatnonzero(place)
    split: Floats = np.stack([found >> 16, (found >> 8) & 255, found & 255], axis=1).astype(np.float64)
    away = np.sum(palette.astype(np.float64) ** 2, axis=1) - 2 * split @ palette.T.astype(np.float64)
    place[found] = np.argmin(away, axis=1)
    return place[packed]


# --- Beside this process ------------------------------------------------------------------------------


@contextmanager
def drawn_beside(pictures: Sequence[Picture]) -> Iterator[Callable[[], tuple[Drawn, ...]]]:
    """Draw pictures in other processes meanwhile; yield what waits for them.

    The processes are forked, since a figure cannot be sent to one; where that is not to be had, or one
    of them dies, pictures are drawn here. They touch no file: what is written is written here.
    """
    count = min(os.cpu_count() or 1, len(pictures))
    if sys.platform != "linux" or multiprocessing.current_process().daemon:
        count = 1
    started = []
    try:
        for share in [pictures[k::count] for k in range(count)] if count > 1 else []:
            fork = multiprocessing.get_context("fork")
            receiving, sending = fork.Pipe(duplex=False)
            process = fork.Process(target=_draw_share, args=(share, receiving, sending), daemon=True)
            process.start()
            sending.close()
            started.append((process, receiving))

        def wait() -> tuple[Drawn, ...]:
            found: dict[str, Drawn] = {}
            for _, receiving in started:
                with suppress(EOFError):
                    found |= {one.name: one for one in receiving.recv()}
            return tuple(found.get(picture.name) or drawn(picture) for picture in pictures)

        yield wait
    finally:
        for process, receiving in started:
            receiving.close()
            process.terminate()
            process.join()


def _draw_share(share: Sequence[Picture], receiving: Connection, sending: Connection) -> None:
    """Draw a share and send it; what goes wrong here goes wrong again, and is told, in the parent."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    receiving.close()
    with suppress(Exception):
        sending.send([drawn(picture) for picture in share])
