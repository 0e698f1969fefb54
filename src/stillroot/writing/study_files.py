"""The output folder of a study: its text, data, table, report and pictures, whole or not there."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from stillroot.answers.summary import CAUTION
from stillroot.words.report import as_text
from stillroot.words.study_report import data_of, show
from stillroot.writing.export import CAUTION_LINE, FULL, save_picture, whole_folder

if TYPE_CHECKING:
    from pathlib import Path

    from stillroot.words.study_report import Study
    from stillroot.writing.export import Report

MARK = "study.json"
"""The file that tells an earlier study from somebody's folder."""


def write_study(found: Study, folder: Path, *, report: Report = FULL) -> None:
    """Write a study into `folder`: study.json, study.txt, table.csv, table.parquet, report, pictures.

    Raises
    ------
    OutputError
        The folder cannot be written, or contains something other than an earlier study.
    EnvironmentProblem
        A PDF is asked for and cannot be made here.
    """
    from stillroot.pictures.study_figures import study_pictures  # noqa: PLC0415 - slow to import
    from stillroot.words.study_documents import study_document  # noqa: PLC0415

    with whole_folder(folder, MARK) as aside:
        text = json.dumps(data_of(found), indent=2, ensure_ascii=False) + "\n"
        (aside / MARK).write_text(text, encoding="utf-8")
        (aside / "study.txt").write_text(as_text(lambda c: show(found, c)), encoding="utf-8")
        table = found.table()
        with (aside / "table.csv").open("w", encoding="utf-8", newline="") as file:
            file.write(CAUTION_LINE)
            table.write_csv(file)
        table.write_parquet(aside / "table.parquet", metadata={"caution": CAUTION})
        pictures = study_pictures(found)
        for picture in pictures:
            save_picture(picture, aside)
        report.write(study_document(found, [p.name for p in pictures]), pictures, aside)
