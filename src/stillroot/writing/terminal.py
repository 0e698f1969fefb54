"""A report as text for a terminal. Nothing is computed here."""

from __future__ import annotations

import io
import textwrap
from typing import TYPE_CHECKING

from stillroot.words.document import Table

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table as RichTable

    from stillroot.words.document import Document

WIDTH = 100
"""Columns of a text that goes into a file or a pipe."""
LONGEST_WORD = 14
"""Of a heading: a longer one, such as the name of a file, is broken."""


def show(document: Document, console: Console) -> None:
    """Print a report to a console: its subject, tables and lines, then the answer and its limits."""
    from rich.text import Text  # noqa: PLC0415 - slow to import

    def say(line: str, style: str = "") -> None:
        console.print(Text(line, style=style))  # brackets in a text are no markup

    say(document.subject, "bold")
    for section in document.sections_for("terminal"):
        for block in section.blocks:
            if isinstance(block, str):
                say(block)
            elif isinstance(block, Table):
                say("")
                console.print(_printed(block))
                if block.note:
                    say(block.note, "dim")
    say("")
    say(document.answer, "bold")
    for line in (*document.beside, *document.limits, document.caution):
        say(line)


def text_of(document: Document) -> str:
    """Return what `show` prints, without colours, `WIDTH` columns wide."""
    from rich.console import Console  # noqa: PLC0415 - slow to import

    file = io.StringIO()
    show(document, Console(file=file, width=WIDTH, color_system=None))
    return file.getvalue()


def _printed(table: Table) -> RichTable:
    from rich import box  # noqa: PLC0415 - slow to import
    from rich.table import Table as RichTable  # noqa: PLC0415
    from rich.text import Text  # noqa: PLC0415

    printed = RichTable(
        title=Text(table.caption),
        title_justify="left",
        box=box.SIMPLE_HEAD,
        pad_edge=False,
        collapse_padding=True,
    )
    for place, column in enumerate(table.columns):
        whole = column.number or column.whole
        cells = [row[place] for row in table.rows]
        printed.add_column(
            Text(_folded(column.head, cells) if whole else column.head),
            justify="right" if column.number else "left",
            no_wrap=whole,
            overflow="fold",
        )
    for row in table.rows:
        printed.add_row(*map(Text, row))
    return printed


def _folded(name: str, cells: list[str]) -> str:
    """Break a heading into lines no longer than the cells below it, or a word; none above no text."""
    if not any(cells):
        return name
    longest = max(map(len, name.split()), default=1)
    widest = max(map(len, cells), default=1)
    widest = max(widest, min(longest, LONGEST_WORD))
    return "\n".join(textwrap.fill(line, widest) for line in name.splitlines())
