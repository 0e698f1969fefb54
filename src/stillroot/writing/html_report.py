"""A report as one file: a page to be read on a screen or on paper, or slides; no scripts, no network."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, Any

from stillroot.words.document import Keys, Shown, Table

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from stillroot.words.document import Audience, Block, Document, Section
    from stillroot.writing.picture_files import Drawn

KINDS: Mapping[type, str] = {str: "lines", Table: "tables", Shown: "pictures", Keys: "keys"}


def report_html(document: Document, pictures: Iterable[Drawn], reader: Audience) -> str:
    """Return a report for a reader: slides for a teacher, else a page.

    What the document shows and `pictures` lack is left out: not every answer has every picture.
    """
    images = {picture.name: picture for picture in pictures}
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


def _grouped(section: Section, images: Mapping[str, Drawn]) -> dict[str, Any]:
    """Return a section with its blocks gathered by kind, so that pictures stand side by side."""
    paired: list[tuple[Block, Drawn | None]] = []
    for block in section.blocks:
        if not isinstance(block, Shown):
            paired.append((block, None))
        elif block.name in images:
            paired.append((block, images[block.name]))
    groups = [(KINDS[kind], list(group)) for kind, group in groupby(paired, key=lambda p: type(p[0]))]
    return {"title": section.title, "groups": groups}


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
