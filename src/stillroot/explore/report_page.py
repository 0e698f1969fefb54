"""The report of a state of the page: what `stillroot check --out` writes, its page alone."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stillroot.answers.answer import check
from stillroot.pictures.figures import pictures
from stillroot.studies.levers import explain
from stillroot.words.check_document import check_document
from stillroot.writing.html_report import report_html
from stillroot.writing.picture_files import drawn

if TYPE_CHECKING:
    from collections.abc import Callable

    from stillroot.inputs.case import Case


def report_page(case: Case, progress: Callable[[str], None] = lambda _: None) -> str:
    """Return report.html of a case."""
    result = explain(check(case, progress=progress), progress=progress)
    progress("drawing")
    return report_html(check_document(result), map(drawn, pictures(result)), "researcher")
