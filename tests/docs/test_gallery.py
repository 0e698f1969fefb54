"""docs/gallery.md says what the program says, case by case, and its pictures are of these answers."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from docs import make
from docs.make import case_entry, gallery_markdown, plan_entry, report_pictures, save_shown
from stillroot import check
from tests.shown import assert_same, told_by

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
GALLERY = (DOCS / "gallery.md").read_text("utf-8")
FILES = [*sorted((DOCS / "cases").glob("*.toml")), *sorted((DOCS / "plans").glob("*.toml"))]
MOST_BYTES = 1_500_000


def either_side(text: str) -> str:
    """Return a text without left and right: where both sides are alike, rounding picks one."""
    return re.sub(r"\b(left|right) ", "", text)


def part_of(path: Path) -> str:
    """Return the page's part on a shipped file."""
    found = re.search(rf"^### {path.stem}\n.*?(?=^##|\Z)", GALLERY, re.DOTALL | re.MULTILINE)
    assert found, f"docs/gallery.md has nothing on {path.name}"
    return found[0]


def thinned(path):
    """Return a case or plan, marked as slow unless it is one of the two that always run."""
    always = path.stem in ("healed_premolar", "tight_collars")
    return pytest.param(path, id=path.stem, marks=() if always else pytest.mark.slow)


@pytest.fixture(autouse=True, scope="module")
def _each_case_once():
    """Answer a case once for all tests here."""
    known = {}

    def once(case):
        key = case.fingerprint()
        known[key] = known.get(key) or check(case)
        return known[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(make, "check", once)
        yield


@pytest.mark.parametrize("path", [thinned(path) for path in FILES])
def test_the_gallery_says_what_the_program_says(path, tmp_path):
    is_plan = path.parent.name == "plans"
    entry = plan_entry(path) if is_plan else case_entry(path)
    now = gallery_markdown([], [entry]).partition("### ")[2]
    told = part_of(path).partition("### ")[2]
    sides = either_side if is_plan else str
    assert f"\n**{entry.answer.partition(' is ')[0]}" in told
    # The description of a picture is in its file too, and is compared from there.
    shown, made = (sides(re.sub(r"^!\[.*$", "", text, flags=re.MULTILINE)) for text in (told, now))
    assert_same(shown, made)
    for each in entry.shown:
        save_shown(each, tmp_path)
        assert f"](images/{each.file})" in told
        assert_same(told_by(DOCS / "images" / each.file), told_by(tmp_path / each.file))


def test_the_gallery_has_what_is_shipped_and_says_that_it_is_invented():
    assert re.findall(r"^### (.+)$", GALLERY, re.MULTILINE) == [path.stem for path in FILES]
    assert "All are invented" in " ".join(GALLERY.split())
    assert "not a medical device" in GALLERY


def test_the_pictures_of_gallery_and_report_are_there_and_each_is_shown():
    report = (DOCS / "report.md").read_text("utf-8")
    shown = set(re.findall(r"\(images/((?:gallery|report)-[\w-]+\.png)\)", GALLERY + report))
    there = {
        path.name for kind in ("gallery", "report") for path in (DOCS / "images").glob(f"{kind}-*.png")
    }
    assert shown == there
    assert sum((DOCS / "images" / name).stat().st_size for name in there) < MOST_BYTES


def test_the_pictures_of_the_report_page_are_of_its_case():
    for each in report_pictures():
        assert_same(told_by(DOCS / "images" / each.file), each.picture.alt)
