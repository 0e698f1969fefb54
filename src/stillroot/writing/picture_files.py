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
from typing import TYPE_CHECKING

from PIL import Image

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from multiprocessing.connection import Connection
    from pathlib import Path

    from stillroot.pictures.paper import Picture


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
    return Drawn(
        name=picture.name,
        alt=picture.alt,
        message=picture.message,
        png=picture.png(),
        svg=picture.svg(),
        bare=picture.bare_png(),
    )


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
