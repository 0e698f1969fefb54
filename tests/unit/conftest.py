"""What several unit tests share."""

import pytest

from stillroot.studies.lesson import Plan
from stillroot.writing.lesson_files import make_lesson


@pytest.fixture(scope="session")
def lesson_folder(tmp_path_factory):
    """Make the small lesson once; return its folder and what it shows."""
    folder = tmp_path_factory.mktemp("lesson") / "small"
    return folder, make_lesson(folder, Plan(count=8, small=True), 1, lambda *_: None)
