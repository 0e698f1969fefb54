"""A report as one file: a page to be read on a screen or on paper, or slides; no scripts, no network."""

from __future__ import annotations

import base64
import struct
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING, Any

from stillroot.words.document import Keys, Lines, Shown, Table

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from stillroot.pictures.paper import Picture
    from stillroot.words.document import Audience, Block, Document, Section

KINDS: Mapping[type, str] = {Lines: "lines", Table: "tables", Shown: "pictures", Keys: "keys"}


@dataclass(frozen=True, kw_only=True)
class Image:
    """A picture as a page holds it: PNG in base64, its size [px], its words."""

    data: str
    width: int
    height: int
    alt: str
    message: str


def report_html(document: Document, pictures: Iterable[Picture], reader: Audience) -> str:
    """Return a report for a reader: slides for a teacher, else a page.

    What the document shows and `pictures` lack is left out: not every answer has every picture.
    """
    drawn = {picture.name: picture for picture in pictures}
    images = {name: _image(drawn[name]) for name in _names(document, reader) if name in drawn}
    if reader == "teacher":
        slides = [images[name] for name in document.slides if name in images]
        return _filled("slides.html.j2", document=document, slides=slides)
    return _filled(
        "report.html.j2",
        document=document,
        reader=reader,
        first=[images[block.name] for block in document.first if block.name in images],
        sections=[_grouped(section, images) for section in document.sections_for(reader)],
    )


def _names(document: Document, reader: Audience) -> list[str]:
    """Return the names of the pictures that a reader gets, each once."""
    if reader == "teacher":
        return list(document.slides)
    blocks = [block for section in document.sections_for(reader) for block in section.blocks]
    return list(
        dict.fromkeys(block.name for block in (*document.first, *blocks) if isinstance(block, Shown))
    )


def _grouped(section: Section, images: Mapping[str, Image]) -> dict[str, Any]:
    """Return a section with its blocks gathered by kind, so that pictures stand side by side."""
    paired: list[tuple[Block, Image | None]] = []
    for block in section.blocks:
        if not isinstance(block, Shown):
            paired.append((block, None))
        elif block.name in images:
            paired.append((block, images[block.name]))
    groups = [(KINDS[kind], list(group)) for kind, group in groupby(paired, key=lambda p: type(p[0]))]
    return {"title": section.title, "groups": groups}


def _image(picture: Picture) -> Image:
    data = picture.bare_png()
    width, height = struct.unpack(">II", data[16:24])
    return Image(
        data=base64.b64encode(data).decode(),
        width=width,
        height=height,
        alt=picture.alt,
        message=picture.message,
    )


def _filled(template: str, **values: Any) -> str:
    from jinja2 import Environment, PackageLoader, StrictUndefined  # noqa: PLC0415 - slow to import
    from markupsafe import Markup  # noqa: PLC0415

    loader = PackageLoader("stillroot")
    writing = Environment(
        loader=loader,
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    style, _, _ = loader.get_source(writing, template.replace(".html.j2", ".css"))
    page = writing.get_template(template)
    return page.render(style=Markup(style), **values)  # noqa: S704 - a style sheet of our own
