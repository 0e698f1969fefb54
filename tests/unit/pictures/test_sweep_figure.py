"""The pictures of a sweep agree with it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.contour import QuadContourSet
from matplotlib.patches import Rectangle

from stillroot.answers.wording import band_of, rounded
from stillroot.pictures.study_figures import sweep_pictures
from tests.unit.pictures._drawn import GRID, plain, without, words

if TYPE_CHECKING:
    from stillroot.studies.sweeps import Sweep


def test_a_curve_has_the_peaks_of_the_sweep_in_order_of_the_key(one: Sweep) -> None:
    (drawn,) = sweep_pictures(one)
    x, y = drawn.figure.axes[0].lines[0].get_data()
    assert list(x) == [3.0, 6.0, 8.0]
    assert list(y) == [one.peaks_um[1], one.peaks_um[2], one.peaks_um[0]]
    assert drawn.figure.axes[0].get_xlabel() == "engagement length [mm]"


def test_less_hold_moves_more_and_the_title_says_it(one: Sweep) -> None:
    # Statics: the shorter the hold, the larger the pressures that balance one and the same moment.
    peaks = one.peaks_um
    assert peaks[1] > peaks[2] > peaks[0]
    (drawn,) = sweep_pictures(one)
    falls = f"falls from {rounded(peaks[1])} to {rounded(peaks[0])} µm"
    assert falls in words(drawn)
    assert "rises from 3 mm to 8 mm" in words(drawn)


def test_a_difference_within_the_numerical_error_is_no_trend(one: Sweep) -> None:
    (drawn,) = sweep_pictures(replace(one, relative_error=0.9))
    assert "hardly changes the peak" in words(drawn)


def test_a_trend_that_turns_is_not_told_as_one_way(one: Sweep) -> None:
    turned = replace(one, outcomes=(one.outcomes[1], one.outcomes[0], one.outcomes[2]))
    (drawn,) = sweep_pictures(replace(turned, grid={"engagement_mm": (3.0, 6.0, 8.0)}))
    assert "neither rises nor falls throughout" in words(drawn)


def test_what_has_no_answer_is_marked_and_is_on_no_curve(one: Sweep) -> None:
    lost = without(one, 1)
    (drawn,) = sweep_pictures(lost)
    curve, cross = drawn.figure.axes[0].lines
    assert np.isnan(curve.get_ydata()[0])
    assert (cross.get_marker(), list(cross.get_xdata())) == ("x", [3.0])
    assert "no answer at 1 of 3 values" in words(drawn)
    assert "3 mm: no answer" in plain(drawn.alt)


def test_two_keys_give_a_curve_a_value_and_a_map(two: Sweep) -> None:
    curves, drawn = sweep_pictures(two)
    lines = curves.figure.axes[0].lines
    assert [list(line.get_ydata()) for line in lines] == two.peaks_um.T.tolist()
    looks = {(line.get_linestyle(), line.get_marker()) for line in lines}
    assert len(looks) == len(lines) == 3
    assert all(f"{value:g} mm" in words(curves) for value in GRID["engagement_mm"])
    assert drawn.figure.axes[0].get_xlabel() == "trabecular modulus [MPa]"
    assert drawn.figure.axes[0].get_ylabel() == "engagement length [mm]"


def test_the_title_of_two_keys_gives_the_largest_factor_of_each(two: Sweep) -> None:
    curves, _ = sweep_pictures(two)
    peaks = two.peaks_um
    for axis, words_of_key in ((0, "trabecular modulus"), (1, "engagement length")):
        factor = float((peaks.max(axis=axis) / peaks.min(axis=axis)).max())
        assert f"up to {float(f'{factor:.2g}'):g}-fold with {words_of_key}" in words(curves)


def test_the_map_draws_every_band_that_is_crossed_as_a_named_line(two: Sweep) -> None:
    _, drawn = sweep_pictures(two)
    ax = drawn.figure.axes[0]
    crossed = [b for b in (50.0, 100.0, 150.0) if two.peaks_um.min() < b < two.peaks_um.max()]
    lines = [c for c in ax.collections if isinstance(c, QuadContourSet) and not c.filled]
    assert [list(line.levels) for line in lines] == [crossed]
    assert {t.get_text() for t in lines[0].labelTexts} == {f"{band:g} µm" for band in crossed}


def test_the_map_counts_the_cases_of_a_band(two: Sweep) -> None:
    _, drawn = sweep_pictures(two)
    found = [band_of(peak, (50.0, 100.0, 150.0)) for peak in two.peaks_um.ravel()]
    lowest = band_of(two.peaks_um.min(), (50.0, 100.0, 150.0))
    assert f"Of 9 cases the peak is {lowest} in {found.count(lowest)}" in words(drawn)


def test_the_map_is_hatched_where_there_is_no_answer(two: Sweep) -> None:
    _, drawn = sweep_pictures(without(two, 4))
    ax = drawn.figure.axes[0]
    crosses = [line for line in ax.lines if line.get_marker() == "x"]
    assert [list(line.get_xydata()[0]) for line in crosses] == [[150.0, 5.0]]
    assert [p.get_hatch() for p in ax.patches if isinstance(p, Rectangle) and p.get_hatch()]
    assert "1 of 9 cases have no answer" in drawn.alt


def test_a_key_with_one_value_is_not_varied_and_three_have_no_picture(one: Sweep, two: Sweep) -> None:
    fixed = replace(one, grid={"load_factor": (1.0,), **one.grid})
    assert [p.name for p in sweep_pictures(fixed)] == ["sweep"]
    cube = replace(two, grid={**two.grid, "load_factor": (1.0, 2.0)}, outcomes=two.outcomes * 2)
    assert sweep_pictures(cube) == ()


def test_a_sweep_without_answers_has_no_picture(one: Sweep) -> None:
    assert sweep_pictures(without(one, 0, 1, 2)) == ()
