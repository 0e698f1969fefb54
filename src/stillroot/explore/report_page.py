"""The report of a state of the page: what `stillroot check --out` writes, its page alone."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from stillroot.answers.answer import check
from stillroot.writing.export import write_answer

if TYPE_CHECKING:
    from collections.abc import Callable

    from stillroot.inputs.case import Case


def report_page(case: Case, progress: Callable[[str], None] = lambda _: None) -> str:
    """Return report.html of a case."""
    result = check(case, progress=progress)
    progress("writing")
    with tempfile.TemporaryDirectory(prefix="stillroot-") as folder:
        out = Path(folder) / "answer"
        write_answer(result, out)
        return (out / "report.html").read_text(encoding="utf-8")
