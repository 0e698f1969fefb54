"""A document as text: what it has for a terminal, whole and in order."""

from __future__ import annotations

from stillroot.answers.wording import CAUTION, NO_LINE
from stillroot.words.document import Column, Document, Keys, Section, Shown, Table
from stillroot.writing.terminal import WIDTH, text_of

TABLE = Table(
    caption="Motions",
    columns=(Column("Load", lambda row: row[0]), Column("Peak [µm]", lambda row: row[1], number=True)),
    items=[("a [b]name[/b]", "12.3 ± 0.4"), ("a load whose name is long, " * 5, "1 ± 1")],
    note="What they mean.",
)
DOCUMENT = Document(
    question="How far?",
    subject="Invented scenario: [title]",
    answer="So far.",
    limits=("It is limited.",),
    sections=(
        Section("First", ("One line.", TABLE, Shown("picture"))),
        Section("More", ("For the page.",), ("researcher",)),
        Section("Keys", (Keys(caption="", keys=(), sources=()),), ("researcher",)),
    ),
)


def test_title_lines_tables_answer_limits_and_caution_come_in_this_order():
    text = " ".join(text_of(DOCUMENT).split())
    parts = ("[title]", "One line.", "Motions", "12.3 ± 0.4", "What they mean.", "So far.")
    places = [text.index(part) for part in (*parts, NO_LINE, "It is limited.", CAUTION)]
    assert places == sorted(places)


def test_what_is_for_pages_stays_there():
    assert "For the page." not in text_of(DOCUMENT)


def test_brackets_are_no_markup_and_numbers_stay_on_one_line_within_the_width():
    lines = text_of(DOCUMENT).splitlines()
    assert any("a [b]name[/b]" in line and "12.3 ± 0.4" in line for line in lines)
    assert max(map(len, lines)) <= WIDTH
