"""What is made of a result: a document, data, and an output folder with all of its files.

`KINDS` has a row for each kind of result. What a row names is imported on first use: a check that is
only printed needs no drawing, and no study.
"""

from __future__ import annotations

import importlib
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from stillroot.answers.explained import Explained, as_explained
from stillroot.answers.result import CheckResult
from stillroot.answers.wording import CAUTION, CAUTION_LINE
from stillroot.writing.whole_folder import assert_writable, whole_folder

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from stillroot.words.document import Audience, Document
    from stillroot.writing.picture_files import Drawn


@dataclass(frozen=True, kw_only=True)
class Kind:
    """The functions and files of one kind of result, each function as module.name.

    `data(result)`, in `writing`, and `document(result, names of pictures)`, in `words`, make JSON and
    reports; `pictures(result)`, in `pictures`, are drawn. `mark` is the file with the data, by which an
    earlier answer is known; `text` the file with what a terminal shows.
    """

    data: str
    document: str
    pictures: str = ""
    mark: str = ""
    text: str = ""


STUDY = Kind(
    data="study_data.study_data",
    document="study_documents.study_document",
    pictures="study_figures.study_pictures",
    mark="study.json",
    text="study.txt",
)
KINDS = {
    "Explained": Kind(
        data="data.check_data",
        document="check_document.check_document",
        pictures="figures.pictures",
        mark="result.json",
        text="summary.txt",
    ),
    "DirectionsResult": Kind(
        data="data.directions_data",
        document="directions.directions_document",
        pictures="directions_figure.directions_pictures",
        mark="directions.json",
        text="directions.txt",
    ),
    "SpanResult": Kind(
        data="data.span_data",
        document="span_document.span_document",
        pictures="span_figure.arch_pictures",
        mark="span.json",
        text="span.txt",
    ),
    "Variation": Kind(data="data.varied_data", document="span_document.varied_document"),
    **dict.fromkeys(("Sweep", "Spread", "Bounds", "Comparison"), STUDY),
}


def data_of(result: Any) -> dict[str, Any]:
    """Return a result as plain data for JSON."""
    return _done("writing", "data", result)


def document_of(result: Any, shown: Sequence[str] = ()) -> Document:
    """Return a result as a report, `shown` being the names of its pictures."""
    return _done("words", "document", result, shown)


def json_of(result: Any) -> str:
    """Return a result as JSON."""
    return json.dumps(data_of(result), indent=2, ensure_ascii=False)


def _done(package: str, what: str, result: Any, *more: Any) -> Any:
    """Call the function of a kind that does something with a result."""
    if isinstance(result, CheckResult):
        result = as_explained(result)
    module, _, name = getattr(KINDS[type(result).__name__], what).partition(".")
    return getattr(importlib.import_module(f"stillroot.{package}.{module}"), name)(result, *more)


@dataclass(frozen=True, kw_only=True)
class Report:
    """Which report goes into a folder: for whom, and whether as PDF beside the page."""

    reader: Audience = "researcher"
    pdf: bool = False

    def write(self, document: Document, pictures: Iterable[Drawn], folder: Path) -> None:
        """Write report.html, and report.pdf where that is asked for, into a folder."""
        from stillroot.writing.html_report import report_html  # noqa: PLC0415 - slow to import
        from stillroot.writing.pdf import pdf_of  # noqa: PLC0415

        page = report_html(document, pictures, self.reader)
        (folder / "report.html").write_text(page, encoding="utf-8")
        if self.pdf:
            (folder / "report.pdf").write_bytes(pdf_of(page))


FULL = Report()


def write(result: Any, folder: Path, *, report: Report = FULL) -> None:
    """Write all files of a result into `folder`: all of them or nothing.

    Raises
    ------
    OutputError
        The folder cannot be written, or contains something other than an earlier result of this kind.
    EnvironmentProblem
        A PDF is asked for and cannot be made here.
    """
    from stillroot.writing.picture_files import drawn_beside  # noqa: PLC0415 - matplotlib is slow to import
    from stillroot.writing.terminal import text_of  # noqa: PLC0415

    if isinstance(result, CheckResult):
        result = as_explained(result)
    kind = KINDS[type(result).__name__]
    assert_writable(folder, kind.mark)
    pictures = _done("pictures", "pictures", result)
    document = document_of(result, [picture.name for picture in pictures])
    with drawn_beside(pictures) as wait, whole_folder(folder, kind.mark) as aside:
        (aside / kind.mark).write_text(f"{json_of(result)}\n", encoding="utf-8")
        (aside / kind.text).write_text(text_of(document), encoding="utf-8")
        _write_files(result, aside)
        shown = wait()
        for picture in shown:
            picture.save(aside)
        report.write(document, shown, aside)


write_answer = write_span = write
"""Other names of `write`."""


def _write_files(result: Any, folder: Path) -> None:
    """Write what a result has beside its report: inputs as resolved, fields, tables."""
    if isinstance(result, Explained):
        from stillroot.inputs.case import resolved_toml  # noqa: PLC0415 - beside its only use
        from stillroot.writing.field_files import write_fields  # noqa: PLC0415 - slow to import

        (folder / "case.toml").write_text(resolved_toml(result.answer.case), encoding="utf-8")
        write_fields(result.answer, folder)
    elif hasattr(result, "plan"):
        import tomli_w  # noqa: PLC0415 - beside its only use

        (folder / "plan.toml").write_text(tomli_w.dumps(result.plan.to_dict()), encoding="utf-8")
    elif hasattr(result, "table"):
        table = result.table()
        with (folder / "table.csv").open("w", encoding="utf-8", newline="") as file:
            file.write(CAUTION_LINE)
            table.write_csv(file)
        table.write_parquet(folder / "table.parquet", metadata={"caution": CAUTION})
