"""The reference of the case file is made from the sections."""

from __future__ import annotations

from stillroot.inputs.case_reference import case_reference_markdown
from tests.unit.inputs._smallest import DOCS


def test_the_reference_of_the_case_file_is_up_to_date() -> None:
    committed = (DOCS / "case_file.md").read_text(encoding="utf-8")
    assert committed == case_reference_markdown()
