"""The pictures of studies agree with the studies."""

from __future__ import annotations

import io
import math
from dataclasses import replace
from typing import TYPE_CHECKING, TypeVar

import numpy as np
import pytest
from matplotlib.collections import LineCollection
from matplotlib.contour import QuadContourSet
from matplotlib.patches import Rectangle
from matplotlib.text import Text

from stillroot import Where, bounds, compare, spread, sweep
from stillroot.answers.summary import band_of, rounded, with_error
from stillroot.inputs.case import Case
from stillroot.pictures.scales import by_factors
from stillroot.pictures.study_figures import (
    bounds_pictures,
    compare_pictures,
    spread_pictures,
    sweep_pictures,
)
from stillroot.pictures.words import key_label, value_text
from stillroot.studies.bounds import OUT_OF_BALANCE_UM

if TYPE_CHECKING:
    from stillroot.pictures.paper import Picture
    from stillroot.studies.bounds import Bounds
    from stillroot.studies.comparison import Comparison
    from stillroot.studies.outcome import Outcome
    from stillroot.studies.spreads import Spread
    from stillroot.studies.sweeps import Sweep

T = TypeVar("T", "Sweep", "Spread")

HERE = Where(workers=1)
GRID = {"bone.trabecular_modulus_mpa": [50.0, 150.0, 450.0], "engagement_mm": [3.0, 5.0, 8.0]}


def invented(title: str = "Invented scenario", **sections: object) -> Case:
    data = {
        "title": title,
        "implant": {"diameter_mm": 4.1, "length_mm": 8.0},
        "bone": {"cortical_thickness_mm": 1.0, "trabecular_modulus_mpa": 150.0, "radius_mm": 8.0},
        "loads": [{"name": "push", "axial_n": 60.0, "lateral_n": 30.0}],
        "numerics": {"element_mm": 1.0, "harmonics": 3},
    }
    return Case.from_dict({**data, **sections})


SPREAD = {"trabecular_factor": [0.4, 2.5], "interface.friction": [0.3, 0.5], "load_factor": [0.7, 1.3]}


@pytest.fixture(scope="module")
def one() -> Sweep:
    return sweep(invented(), {"engagement_mm": [8.0, 3.0, 6.0]}, HERE)


@pytest.fixture(scope="module")
def two() -> Sweep:
    return sweep(invented(), GRID, HERE)


@pytest.fixture(scope="module")
def sampled() -> Spread:
    return spread(invented(spread=SPREAD), HERE, samples=8)


@pytest.fixture(scope="module")
def held() -> Bounds:
    return bounds(invented(), 60.0, HERE, asked=("engagement", "bone"), with_spread=False)


@pytest.fixture(scope="module")
def compared() -> Comparison:
    cases = {
        "sure": invented(spread=SPREAD),
        "$ partly \\frac held": invented(socket={"holds_mm": [[4.0, 8.0]]}, spread=SPREAD),
        "long and dense": invented(
            implant={"diameter_mm": 4.1, "length_mm": 12.0},
            bone={"cortical_thickness_mm": 2.0, "trabecular_modulus_mpa": 600.0, "radius_mm": 8.0},
            loads=[{"name": "pull", "axial_n": -20.0, "torque_ncm": 2.0}],
            spread=SPREAD,
        ),
    }
    return compare(cases, HERE, samples=8)


@pytest.fixture(scope="module")
def every(
    one: Sweep, two: Sweep, sampled: Spread, held: Bounds, compared: Comparison
) -> dict[str, Picture]:
    """Return all pictures, some of them of studies in which cases fail."""
    found = {
        "one": sweep_pictures(one),
        "one, failures": sweep_pictures(without(one, 1)),
        "two": sweep_pictures(two),
        "two, failures": sweep_pictures(without(two, 0, 4, 5)),
        "spread": spread_pictures(sampled),
        "spread, failures": spread_pictures(without(sampled, 0, 1, 2)),
        "bounds": bounds_pictures(held),
        "compare": compare_pictures(compared),
    }
    return {f"{name}: {p.name}": p for name, drawn in found.items() for p in drawn}


def failed(outcome: Outcome) -> Outcome:
    return replace(outcome, reason="no equilibrium: the load pulls it out")


def without(study: T, *places: int) -> T:
    """Return a study in which some cases have no answer."""
    outcomes = tuple(failed(o) if i in places else o for i, o in enumerate(study.outcomes))
    return replace(study, outcomes=outcomes)


def words(picture: Picture) -> str:
    shown = (t.get_text() for t in picture.figure.findobj(Text) if t.get_visible())
    return " ".join(shown).replace("\N{NO-BREAK SPACE}", " ").replace("\n", " ")


def plain(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ")


def points(picture: Picture, panel: int = 0) -> np.ndarray:
    """Return every point of the lines of a panel, (p, 2)."""
    return np.vstack(
        [np.array(line.get_data(), dtype=float).T for line in picture.figure.axes[panel].lines]
    )


def is_drawn(picture: Picture, place: tuple[float, float], panel: int = 0) -> bool:
    return bool(np.isclose(points(picture, panel), place).all(axis=1).any())


# --- All ----------------------------------------------------------------------------------------------


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


# --- Keys in words ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "label"),
    [
        ("bone.trabecular_modulus_mpa", "trabecular modulus [MPa]"),
        ("engagement_mm", "engagement length [mm]"),
        ("load_factor", "factor on the loads"),
        ("loads.height_mm", "height of the load [mm]"),
        ("loads[2].axial_n", "axial force of load 2 [N]"),
        ("implant.diameter_mm", "implant diameter [mm]"),
        ("implant.thread.pitch_mm", "thread pitch [mm]"),
        ("interface.friction", "friction"),
        ("interface.measured_torque_ncm", "measured torque [N·cm]"),
        ("bone.ct_number", "CT number [HU]"),
        ("socket.holds_mm[1][2]", "holds (1, 2) [mm]"),
    ],
)
def test_a_key_is_told_in_words_with_its_unit(key: str, label: str) -> None:
    assert key_label(key) == label


def test_values_carry_their_unit() -> None:
    assert plain(value_text("bone.trabecular_modulus_mpa", 1370.0)) == "1370 MPa"
    assert plain(value_text("load_factor", 0.5)) == "× 0.5"


def test_an_axis_goes_by_factors_where_its_values_do() -> None:
    assert by_factors(np.geomspace(10, 1000, 5))
    assert by_factors([30, 100, 300, 1000])
    assert not by_factors(np.linspace(10, 1000, 5))
    assert not by_factors([0, 1, 10])
    assert not by_factors([1, 2, 4, 6, 8])


# --- Sweep --------------------------------------------------------------------------------------------


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


# --- Spread -------------------------------------------------------------------------------------------


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


# --- Bounds -------------------------------------------------------------------------------------------


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


# --- Compare ------------------------------------------------------------------------------------------


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
