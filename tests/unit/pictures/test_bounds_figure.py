"""The picture of bounds agrees with them."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from stillroot.pictures.study_figures import bounds_pictures
from stillroot.pictures.words import value_text
from stillroot.studies.bounds import OUT_OF_BALANCE_UM
from tests.unit.pictures._drawn import is_drawn, plain, words

if TYPE_CHECKING:
    from stillroot.studies.bounds import Bounds


def test_a_panel_has_what_was_tried_the_limit_and_what_was_found(held: Bounds) -> None:
    (drawn,) = bounds_pictures(held)
    for panel, answer in enumerate(held.answers):
        assert all(is_drawn(drawn, point, panel) for point in answer.tried)
        assert any(list(line.get_ydata()) == [60.0, 60.0] for line in drawn.figure.axes[panel].lines)
        if answer.value is not None:
            assert is_drawn(drawn, (answer.value, answer.peak_um), panel)
            assert plain(value_text(answer.question.key, answer.value)) in words(drawn)
    assert any(answer.value is not None for answer in held.answers)


def test_all_or_nothing_is_told_in_words(held: Bounds) -> None:
    first, second, *_ = held.answers
    none = replace(first, value=None, peak_um=None, below_everywhere=False)
    whole = replace(second, value=None, peak_um=None, below_everywhere=True)
    (drawn,) = bounds_pictures(replace(held, answers=(none, whole)))
    shown = words(drawn)
    assert f"no {first.question.name} in range; any {second.question.name} in range" in shown
    assert f"{first.question.name}: always above" in shown
    assert f"{second.question.name}: always below" in shown
    assert "below only in part" in words(
        bounds_pictures(replace(held, answers=(replace(none, below_in_part=True),)))[0]
    )


def test_a_sample_without_equilibrium_is_at_the_upper_edge(held: Bounds) -> None:
    first = held.answers[0]
    x = first.tried[0][0]
    lost = replace(first, tried=((x, OUT_OF_BALANCE_UM), *first.tried[1:]))
    (drawn,) = bounds_pictures(replace(held, answers=(lost,)))
    top = drawn.figure.axes[0].get_ylim()[1]
    assert top < 1000
    assert is_drawn(drawn, (x, top))
    assert "no answer, counted as the largest motion" in words(drawn)
