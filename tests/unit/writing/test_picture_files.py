"""Pictures as files, drawn here or in other processes."""

from __future__ import annotations

import os
import signal
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from stillroot.pictures.paper import Picture, blank_sheet
from stillroot.writing import picture_files
from stillroot.writing.picture_files import drawn, drawn_beside

if TYPE_CHECKING:
    from stillroot.writing.picture_files import Drawn


@pytest.fixture
def picture() -> Picture:
    sheet = blank_sheet("It rises", "Invented scenario", tall_in=1.5, foot_in=1.0)
    sheet.axes(2.0, 4.0).plot([0, 1], [0, 1], color="0.4")
    return sheet.picture("line", "A line.")


def test_other_processes_draw_the_same(picture: Picture, monkeypatch: pytest.MonkeyPatch) -> None:
    pictures = [picture, replace(picture, name="again")]
    monkeypatch.setattr("os.cpu_count", lambda: 2)
    with drawn_beside(pictures) as wait:
        assert wait() == tuple(map(drawn, pictures))


def test_where_another_process_dies_its_share_is_drawn_here(
    picture: Picture, monkeypatch: pytest.MonkeyPatch
) -> None:
    here, draw = os.getpid(), picture_files.drawn

    def dies(picture: Picture) -> Drawn:
        if os.getpid() != here:
            os.kill(os.getpid(), signal.SIGKILL)
        return draw(picture)

    monkeypatch.setattr(picture_files, "drawn", dies)
    monkeypatch.setattr("os.cpu_count", lambda: 2)
    with drawn_beside([picture, picture]) as wait:
        assert wait() == (draw(picture), draw(picture))
