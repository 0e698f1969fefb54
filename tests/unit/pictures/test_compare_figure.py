"""The pictures of a comparison agree with it."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from matplotlib.collections import LineCollection

from stillroot.answers.wording import with_error
from stillroot.pictures.study_figures import compare_pictures
from tests.unit.pictures._drawn import is_drawn, plain, words

if TYPE_CHECKING:
    from stillroot.studies.comparison import Comparison


def test_every_case_is_on_one_scale_with_its_peak_error_and_spread(compared: Comparison) -> None:
    drawn = compare_pictures(compared)[0]
    right = drawn.figure.axes[0].get_xlim()[1]
    for row, result in enumerate(compared.results):
        worst, interval = result.governing, compared.interval_um(row)
        assert f"peak {with_error(worst.peak.total_um, worst.error.total_um)} µm" in words(drawn)
        assert is_drawn(drawn, (worst.peak.total_um, row + 0.03))
        assert is_drawn(drawn, (interval[0], row + 0.18))
        assert is_drawn(drawn, (interval[1], row + 0.18))
        assert worst.peak.total_um < interval[1] * 3 < 3 * right
        assert result.governing.name in words(drawn)


def test_all_sections_share_one_scale_of_motion_and_of_length(compared: Comparison) -> None:
    sections = compare_pictures(compared)[1]
    top = max(150.0, *(r.governing.peak.total_um for r in compared.results))
    panels = sections.figure.axes[: len(compared.results)]
    for ax in panels:
        lines = [
            c for c in ax.collections if isinstance(c, LineCollection) and c.get_array() is not None
        ]
        assert lines
        assert {(c.norm.vmin, c.norm.vmax) for c in lines} == {(0, top)}
    assert len({(ax.get_xlim(), ax.get_ylim()) for ax in panels}) == 1
    for ax in panels:
        box = ax.get_window_extent()
        assert box.width / np.ptp(ax.get_xlim()) == pytest.approx(box.height / np.ptp(ax.get_ylim()))


def test_the_title_names_who_moves_most_and_how_sure_that_is(compared: Comparison) -> None:
    peaks = [r.governing.peak.total_um for r in compared.results]
    most, least = int(np.argmax(peaks)), int(np.argmin(peaks))
    shown = words(compare_pictures(compared)[0])
    factor = float(f"{peaks[most] / peaks[least]:.2g}")
    assert f"“{compared.names[most]}” moves most" in shown
    assert f"{factor:g} times “{compared.names[least]}”" in shown
    pairs = tuple(replace(p, error_um=math.inf) for p in compared.pairs)
    blurred = words(compare_pictures(replace(compared, pairs=pairs))[0])
    assert "differ by no more than the numerical error" in blurred
    pairs = tuple(replace(p, first_moves_more=0.5, second_moves_more=0.5) for p in compared.pairs)
    assert "but within the spread" in words(compare_pictures(replace(compared, pairs=pairs))[0])


def test_a_case_that_gives_way_comes_first_and_is_told(compared: Comparison) -> None:
    weak, *others = compared.results
    ended = replace(weak, loads=tuple(replace(load, gives_way_at=0.43) for load in weak.loads))
    peaks, sections = compare_pictures(replace(compared, results=(ended, *others)))
    assert "“sure” gives way at 43 % of the load" in plain(peaks.message)
    assert "“sure” gives way at 43 % of the load" in plain(sections.message)
    every = [replace(r, loads=tuple(replace(x, gives_way_at=0.9) for x in r.loads)) for r in others]
    peaks, _ = compare_pictures(replace(compared, results=(ended, *every)))
    assert "Every case gives way" in plain(peaks.message)
