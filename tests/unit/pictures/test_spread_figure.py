"""The pictures of a spread agree with it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from matplotlib.patches import Rectangle

from stillroot.answers.wording import rounded, with_error
from stillroot.pictures.study_figures import spread_pictures
from tests.unit.pictures._drawn import is_drawn, without, words

if TYPE_CHECKING:
    from stillroot.studies.spreads import Spread


def test_the_distribution_is_that_of_the_samples(sampled: Spread) -> None:
    drawn = spread_pictures(sampled)[0]
    x, y = (np.asarray(values) for values in drawn.figure.axes[0].lines[0].get_data())
    for peak in sampled.peaks_um[::5]:
        assert y[x <= peak].max() == pytest.approx(100 * np.mean(sampled.peaks_um <= peak))
    assert f"between {rounded(sampled.quantile_um(0.05))} and" in words(drawn)


def test_samples_without_an_answer_keep_the_curve_below_all(sampled: Spread) -> None:
    drawn = spread_pictures(without(sampled, 0, 1, 2, 3))[0]
    assert drawn.figure.axes[0].lines[0].get_ydata()[-1] == pytest.approx(100 * 12 / 16)
    assert "4 samples have no answer" in words(drawn)


def test_every_chance_is_written_with_its_interval(sampled: Spread) -> None:
    drawn = spread_pictures(sampled)[0]
    for band in sampled.bands:
        c = band.chance
        told = f"{100 * c.value:.0f} % ({100 * c.low:.0f} to {100 * c.high:.0f})"
        assert told in words(drawn)
        assert f"{band.band}: {told}" in drawn.alt


def test_the_case_as_stated_and_the_median_are_marked(sampled: Spread) -> None:
    drawn = spread_pictures(sampled)[0]
    nominal = sampled.nominal.governing
    assert is_drawn(drawn, (nominal.peak_um, 0.0), panel=1)
    assert is_drawn(drawn, (sampled.median_um.value, 1.0), panel=1)
    assert with_error(nominal.peak_um, nominal.error_um) in words(drawn)


def test_the_strongest_driver_is_on_top_with_both_its_indices(sampled: Spread) -> None:
    drawn = spread_pictures(sampled)[1]
    ax = drawn.figure.axes[0]
    bars = sorted((p for p in ax.patches if isinstance(p, Rectangle)), key=lambda p: p.get_y())
    widths = [bar.get_width() for bar in bars]
    expected = [v for d in sampled.drivers for v in (d.total.value, d.first.value)]
    assert widths == pytest.approx(expected)
    assert ax.yaxis_inverted()
    assert expected[0] == max(d.total.value for d in sampled.drivers)


def test_drivers_that_the_sample_cannot_rank_are_not_ranked(sampled: Spread) -> None:
    first, second, *_ = sampled.drivers
    wide = replace(second, total=replace(second.total, high=first.total.low + 0.01))
    narrow = [
        replace(d, total=replace(d.total, high=first.total.low - 0.01)) for d in sampled.drivers[1:]
    ]
    level = spread_pictures(replace(sampled, drivers=(first, wide)))[1]
    clear = spread_pictures(replace(sampled, drivers=(first, *narrow)))[1]
    assert "cannot rank them" in words(level)
    assert "drives the peak most" in words(clear)


def test_without_drivers_only_the_distribution_is_drawn(sampled: Spread) -> None:
    assert [p.name for p in spread_pictures(replace(sampled, drivers=()))] == ["spread"]
