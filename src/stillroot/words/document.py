"""A report before it has a form: what it asks, answers and shows, and who reads each part.

One document serves all readers: the same result, the same numbers, more or less of it. A terminal's
text, a page or a set of slides is made of it in `stillroot.writing`. Nothing is computed here.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal

from stillroot.answers.wording import CAUTION, NO_LINE

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

Audience = Literal["clinician", "researcher", "teacher"]
"""Who a report in a folder is for: a short page, all of it, or slides."""
AUDIENCES: tuple[Audience, ...] = ("clinician", "researcher", "teacher")
Reader = Audience | Literal["terminal"]


@dataclass(frozen=True)
class Column:
    """A column of a table: its heading, and what it tells of the item of a row.

    `number`: set to the right. `whole`: its cells stay on one line.
    """

    head: str
    cell: Callable[[Any], str]
    number: bool = False
    whole: bool = False


@dataclass(frozen=True, kw_only=True)
class Table:
    """A table with a row for each item.

    `note` says below it what the columns mean; `wide` where it needs the whole width of a page.
    """

    caption: str
    columns: tuple[Column, ...]
    items: Iterable[Any]
    note: str = ""
    wide: bool = True

    @cached_property
    def rows(self) -> list[tuple[str, ...]]:
        """Its cells, row by row."""
        return [tuple(column.cell(item) for column in self.columns) for item in self.items]


@dataclass(frozen=True)
class Shown:
    """A picture by its name; `on_paper` where it is worth its place among few."""

    name: str
    on_paper: bool = True


@dataclass(frozen=True, kw_only=True)
class Keys:
    """A file as resolved, every default with it: (key, value, mark) of each.

    A mark tells where a value comes from, empty where the file states it; `sources` are what the marks
    stand for, in order.
    """

    caption: str
    keys: tuple[tuple[str, str, str], ...]
    sources: tuple[tuple[str, str], ...]


Block = str | Table | Shown | Keys
"""A text is a paragraph."""


@dataclass(frozen=True)
class Section:
    """A part of a report under its own heading, and who reads it."""

    title: str
    blocks: tuple[Block, ...]
    readers: tuple[Reader, ...] = ("clinician", "researcher", "terminal")


@dataclass(frozen=True, kw_only=True)
class Document:
    """A report.

    `question`, then the `answer` in one sentence, `beside` it what keeps it from being read as more, and
    the `limits` of this one; `first` are the pictures of the first screen: a strip of the bands, then a
    drawing. `slides` are the pictures that a teacher shows, in order. `again` is the command that makes
    it anew, from the resolved inputs in `case_file` where it has one; `made_by` what made it.
    """

    question: str
    answer: str
    sections: tuple[Section, ...]
    subject: str = ""
    limits: tuple[str, ...] = ()
    first: tuple[Shown, ...] = ()
    slides: tuple[str, ...] = ()
    again: str = ""
    made_by: str = ""
    case_file: str = ""
    beside: tuple[str, ...] = (NO_LINE,)
    caution: str = CAUTION

    def sections_for(self, reader: Reader) -> list[Section]:
        """Return the parts that a reader gets."""
        return [section for section in self.sections if reader in section.readers]


def made_by(versions: dict[str, str], fingerprint: str) -> str:
    """Return what a report was made by, as one line."""
    programs = ", ".join(f"{name} {number}" for name, number in versions.items())
    return f"{programs}; inputs {fingerprint[:12]}"
