"""docs/validation.md says what the suite finds: its thin slice is computed again here, and one error."""

from __future__ import annotations

import math

import pytest

from validation import error_estimate
from validation.page import PAGE, page
from validation.suite import CONFIDENCE, Figure, Row, read_results, sources

SOURCES = sources()
RESULTS = tuple(read_results())
CHEAPEST = "smooth, no cortex"
"""Of the cases set against far finer ones, the one that takes least."""


def names(them):
    return [source.name for source in them]


def test_the_page_is_made_of_the_results():
    assert PAGE.read_text(encoding="utf-8") == page(RESULTS)


def test_every_published_figure_is_on_the_page_as_it_is_published():
    told = [(row.source, row.figure) for row in RESULTS]
    assert told == [(source.name, figure) for source in SOURCES for figure in source.figures]


def test_there_is_enough_to_compare_with():
    assert len(RESULTS) >= 30
    assert len({row.source for row in RESULTS}) >= 15


@pytest.mark.parametrize("row", RESULTS, ids=lambda row: f"{row.source}-{row.figure.key}")
def test_a_row_agrees_unless_it_is_known_to_differ(row):
    assert row.agrees == (not row.figure.differs)
    assert row.figure.confidence in CONFIDENCE
    assert row.figure.why
    assert row.figure.place


@pytest.mark.parametrize("source", SOURCES, ids=names(SOURCES))
def test_every_source_has_a_thin_slice(source):
    assert source.thin_keys


@pytest.mark.parametrize("source", SOURCES, ids=names(SOURCES))
def test_the_thin_slice_gives_what_the_page_says(source):
    told = {row.figure.key: row for row in RESULTS if row.source == source.name}
    for row in source.compute(source.thin_keys):
        assert row.computed == pytest.approx(told[row.figure.key].computed, rel=1e-3, abs=1e-9)
        linear = told[row.figure.key].linear
        assert (row.linear is None) == (linear is None)
        if linear is not None:
            assert row.linear == pytest.approx(linear, rel=1e-3, abs=1e-9)
        assert row.agrees == (not row.figure.differs)


@pytest.mark.parametrize("told", error_estimate.measured(), ids=lambda e: f"{e.case}-{e.load}")
def test_the_true_error_lies_within_what_is_told(told):
    assert told.within


def test_the_cheapest_case_solved_again_is_what_is_told():
    """The file's ± has three digits: 2 %."""
    told = [e for e in error_estimate.measured() if e.case == CHEAPEST]
    (case,) = [case for name, case in error_estimate.cases() if name == CHEAPEST]
    again = list(error_estimate.solved_again(CHEAPEST, case, key=""))
    assert [row["load"] for row in again] == [e.load for e in told]
    for row, e in zip(again, told, strict=True):
        assert float(row["peak_um"]) == pytest.approx(float(e.peak_um), rel=1e-3)
        assert float(row["estimate_um"]) == pytest.approx(float(e.estimate_um), rel=2e-2)
        assert float(row["finer_um"]) == pytest.approx(float(e.finer_um), rel=1e-3)


def test_ten_cases_are_set_against_far_finer_ones_and_no_case_that_is_gone():
    wanted = [(name, item.name) for name, case in error_estimate.cases() for item in case.loads]
    assert [(told.case, told.load) for told in error_estimate.measured()] == wanted
    assert len({name for name, _ in wanted}) == 10


def figure(published: str, tolerance: str) -> Figure:
    return Figure(
        key="k",
        topic="",
        quantity="",
        unit="",
        published=published,
        tolerance=tolerance,
        why="",
        place="",
        confidence="S",
        thin=False,
        differs="",
    )


@pytest.mark.parametrize(
    ("published", "linear", "yields", "nearer"),
    [
        ("100", 55.0, 165.0, "yields"),
        ("100", 165.0, 55.0, "linear"),
        ("2.8 to 4.1", 30.0, 61.0, "linear"),
        (">= 2", 3.0, 9.0, "alike"),
        ("100", 50.0, 50.2, "alike"),
    ],
)
def test_the_nearer_law_of_bone_is_off_by_the_smaller_factor(published, linear, yields, nearer):
    row = Row(source="", figure=figure(published, "1 %"), computed=yields, linear=linear)
    assert row.nearer == nearer


@pytest.mark.parametrize(
    ("published", "tolerance", "inside", "outside"),
    [
        ("2", "5 %", [1.91, 2.09], [1.89, 2.11]),
        ("-2", "5 %", [-2.09, -1.91], [-2.11, -1.89]),
        ("0", "0.1", [-0.09, 0.09], [-0.11, 0.11]),
        ("2 to 4", "10 %", [1.81, 3, 4.39], [1.79, 4.41]),
        ("100", "factor 2", [51, 199], [49, 201]),
        ("<= 30", "0", [-5, 30], [30.1]),
        (">= 30", "10 %", [27.1, 1e9], [26.9]),
    ],
)
def test_a_tolerance_means_what_it_says(published, tolerance, inside, outside):
    def agrees(value):
        return Row(source="", figure=figure(published, tolerance), computed=value).agrees

    assert all(agrees(value) for value in inside)
    assert not any(agrees(value) for value in outside)
    assert not agrees(math.nan)
