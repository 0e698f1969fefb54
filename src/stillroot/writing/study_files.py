"""The output folder of a study: its text, data, table and pictures, whole or not there."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from stillroot.words.report import as_text
from stillroot.writing.export import save_picture, whole_folder

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from pathlib import Path

    import polars as pl
    from rich.console import Console

    from stillroot.pictures.drawing import Picture

MARK = "study.json"
"""The file that tells an earlier study from somebody's folder."""


def write_study(
    folder: Path,
    data: dict[str, Any],
    show: Callable[[Console], None],
    table: pl.DataFrame,
    pictures: Iterable[Picture],
) -> None:
    """Write a study into `folder`: study.json, study.txt, table.csv, table.parquet and its pictures.

    Raises
    ------
    OutputError
        The folder cannot be written, or holds something other than an earlier study.
    """
    with whole_folder(folder, MARK) as aside:
        text = json.dumps(data, indent=2, ensure_ascii=False) + "\n"
        (aside / MARK).write_text(text, encoding="utf-8")
        (aside / "study.txt").write_text(as_text(show), encoding="utf-8")
        table.write_csv(aside / "table.csv")
        table.write_parquet(aside / "table.parquet")
        for picture in pictures:
            save_picture(picture, aside)
