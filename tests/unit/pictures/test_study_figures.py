"""What holds for every picture of a study."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from matplotlib.text import Text

from tests.unit.pictures._drawn import plain

if TYPE_CHECKING:
    from stillroot.pictures.paper import Picture


def test_no_letter_leaves_a_picture(every: dict[str, Picture]) -> None:
    for name, picture in every.items():
        picture.figure.savefig(io.BytesIO(), format="png")
        whole = picture.figure.bbox
        for text in picture.figure.findobj(Text):
            if not (text.get_visible() and text.get_text()) or _is_unseen_tick(text):
                continue
            box = text.get_window_extent()
            inside = (
                whole.x0 <= box.x0 and box.x1 <= whole.x1 and whole.y0 <= box.y0 and box.y1 <= whole.y1
            )
            assert inside, f"{name}: {text.get_text()!r}"


def _is_unseen_tick(text: Text) -> bool:
    """Return whether a label belongs to a tick beyond the limits of its axis, which is never drawn."""
    if text.axes is None:
        return False
    for axis, index in ((text.axes.xaxis, 0), (text.axes.yaxis, 1)):
        low, high = sorted(axis.get_view_interval())
        for tick in axis.get_major_ticks():
            if text in (tick.label1, tick.label2):
                return not low <= text.get_position()[index] <= high
    return False


def test_every_title_is_in_the_alternative_text(every: dict[str, Picture]) -> None:
    for picture in every.values():
        title = picture.figure.texts
        bold = next(t for t in title if t.get_fontweight() == "bold" and t.get_fontsize() > 12)
        assert picture.alt.replace("\N{NO-BREAK SPACE}", " ").startswith(
            plain(bold.get_text()).replace("\n", " ")
        )


def test_names_are_unique_in_a_study_and_fit_for_a_file(every: dict[str, Picture]) -> None:
    for picture in every.values():
        assert picture.name.replace("-", "").isalnum()
    assert len({name for name in every if name.startswith("compare")}) == 2
