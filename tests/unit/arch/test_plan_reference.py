"""The reference of the plan file is made from the sections."""

from pathlib import Path

from stillroot.arch.plan_reference import plan_reference_markdown

ROOT = Path(__file__).parents[3]


def test_the_reference_is_made_of_the_sections():
    page = (ROOT / "docs" / "plan_file.md").read_text(encoding="utf-8")
    assert page == plan_reference_markdown()
