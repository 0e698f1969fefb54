"""docs/case_file.md and docs/plan_file.md are made of the sections of the files."""

from pathlib import Path

from docs.make import case_reference_markdown, plan_reference_markdown

DOCS = Path(__file__).parents[2] / "docs"


def test_the_reference_of_the_case_file_is_up_to_date():
    assert (DOCS / "case_file.md").read_text("utf-8") == case_reference_markdown()


def test_the_reference_of_the_plan_file_is_up_to_date():
    assert (DOCS / "plan_file.md").read_text("utf-8") == plan_reference_markdown()
