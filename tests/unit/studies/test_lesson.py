"""The lesson: ranks and pairs of sites, and pairs built to show why."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from stillroot.answers import chain
from stillroot.errors import MeshError, NotConverged
from stillroot.pictures.lesson_figures import predictors
from stillroot.studies import lesson as lessons
from stillroot.studies import lesson_sites as sites
from stillroot.studies import outcome
from stillroot.studies.lesson import (
    TORQUE,
    Plan,
    correlations,
    equal,
    equal_motion_pairs,
    equal_torque_pairs,
    group_of,
    ranked,
)
from stillroot.studies.lesson_sites import COMPUTED, GAVE_WAY, NO_ANSWER, SiteAnswer, site_points
from stillroot.studies.running import Where
from stillroot.writing import lesson_files

SMALL = Plan(count=8, small=True)


def made_up(count: int, *, seed: int = 1) -> list[SiteAnswer]:
    """Return answers with random torques and peaks, for tests that only rank and pair."""
    random = np.random.default_rng(seed)
    torque, peak = random.uniform(5, 90, count), random.lognormal(4, 1, count)
    return [
        SiteAnswer(
            point=point,
            outcome=COMPUTED,
            insertion_torque_ncm=float(t),
            peak_micromotion_um=float(p),
            head_movement_um=float(2 * p),
        )
        for point, t, p in zip(site_points(count), torque, peak, strict=True)
    ]


def slipped(answer: SiteAnswer, word: str = GAVE_WAY) -> SiteAnswer:
    return replace(answer, outcome=word, peak_micromotion_um=None, reason="it slipped")


# --- Ranks --------------------------------------------------------------------------------------------


def test_rank_correlation_is_spearmans():
    answers = made_up(40)
    motion = [a.ranked_um for a in answers]
    for c in correlations(answers):
        expected = stats.spearmanr([c.predictor.of(a) for a in answers], motion).statistic
        assert c.rho == pytest.approx(expected, abs=1e-12)
        assert c.low <= c.rho <= c.high


def test_ties_take_their_mean_rank():
    x, y = np.array([1.0, 1.0, 2.0, 3.0, 3.0]), np.array([5.0, 4.0, np.inf, np.inf, 1.0])
    assert lessons.spearman(x, y) == pytest.approx(stats.spearmanr(x, y).statistic, abs=1e-12)


def test_the_interval_is_that_of_a_bootstrap_over_the_sites():
    answers = made_up(40)
    torque = np.array([TORQUE.of(a) for a in answers])
    motion = np.array([a.ranked_um for a in answers])
    other = stats.bootstrap(
        (torque, motion),
        lambda x, y: stats.spearmanr(x, y).statistic,
        paired=True,
        vectorized=False,
        method="percentile",
        n_resamples=1000,
        rng=np.random.default_rng(7),
    ).confidence_interval
    found = correlations(answers)[0]
    assert (found.low, found.high) == pytest.approx((other.low, other.high), abs=0.06)


def test_what_orders_the_sites_exactly_is_clearly_ahead_of_torque():
    answers = [
        replace(a, peak_micromotion_um=1e6 / a.point.length_times_trabecular_n_mm) for a in made_up(40)
    ]
    found = {c.predictor.key: c for c in correlations(answers)}
    assert found["length_trabecular"].rho == pytest.approx(-1)
    assert found["length_trabecular"].ahead[0] > 0
    assert found["torque"].ahead is None


def test_torque_is_said_to_be_ahead_where_it_is():
    answers = [replace(a, peak_micromotion_um=1e4 / a.insertion_torque_ncm) for a in made_up(40)]
    group = group_of("all sites", answers)
    lesson = lessons.Lesson(
        plan=SMALL,
        answers=tuple(answers),
        error=None,
        groups=(group,),
        equal_torque=(),
        equal_motion=(),
        torque_drawn=None,
        motion_drawn=None,
        built=(),
    )
    assert "ahead of the others" in lesson_files.finding(lesson)[0]
    assert predictors(lesson).alt.startswith("Insertion torque follows peak micromotion most closely")


def test_a_site_that_is_not_held_ranks_as_the_largest_motion():
    answers = made_up(20)
    answers[3] = slipped(answers[3])
    motion = np.array([a.ranked_um for a in answers])
    assert np.argmax(stats.rankdata(motion)) == 3
    group = group_of("all", answers)
    assert (group.count, group.gave_way) == (20, 1)
    assert all(np.isfinite([c.rho, c.low, c.high]).all() for c in group.correlations)


def test_a_site_without_an_answer_has_no_rank():
    answers = made_up(20)
    answers[3] = replace(slipped(answers[3], NO_ANSWER), insertion_torque_ncm=None)
    assert len(ranked(answers)) == 19
    assert group_of("all", answers).count == 19


def test_too_few_sites_have_no_correlation():
    assert group_of("few", made_up(lessons.LEAST_RANKED - 1)).correlations == ()


def test_a_failing_load_is_not_held_and_a_failing_seat_or_mesh_is_no_answer(monkeypatch):
    def fails(error):
        def _fails(*_, **__):
            raise error

        return _fails

    point = site_points(1)[0]
    case = sites.case_of(point, sites.SMALL_CLOUD)
    monkeypatch.setattr(chain, "load", fails(NotConverged("slips out", stage="load")))
    answer = sites.answer_of(point, outcome.solved(chain.Chain(), case))
    assert (answer.outcome, answer.reason, answer.peak_micromotion_um) == (GAVE_WAY, "slips out", None)
    assert answer.insertion_torque_ncm > 0
    for error in (NotConverged("backs out", stage="seat"), MeshError("a sliver")):
        monkeypatch.setattr(chain, "seat", fails(error))
        answer = sites.answer_of(point, outcome.solved(chain.Chain(), case))
        assert (answer.outcome, answer.reason) == (NO_ANSWER, str(error))


# --- Pairs --------------------------------------------------------------------------------------------


def test_pairs_keep_their_tolerance_and_are_the_most_different():
    answers = made_up(80)
    low, high = lessons.ORDINARY_NCM
    for found, same, differs in (
        (equal_torque_pairs(answers), TORQUE.of, lambda a: a.ranked_um),
        (equal_motion_pairs(answers), lambda a: a.ranked_um, TORQUE.of),
    ):
        assert len(found) == lessons.PAIRS
        indices = [a.point.index for pair in found for a in (pair.first, pair.second)]
        assert len(set(indices)) == len(indices)
        for pair in found:
            assert equal(same(pair.first), same(pair.second))
            assert pair.factor == differs(pair.second) / differs(pair.first) >= 1
            assert low <= TORQUE.of(pair.first) <= high
            assert low <= TORQUE.of(pair.second) <= high
        ordinary = [a for a in answers if low <= TORQUE.of(a) <= high]
        every = [
            differs(a) / differs(b)
            for a in ordinary
            for b in ordinary
            if a is not b and equal(same(a), same(b))
        ]
        assert found[0].factor == max(every)


def test_equal_is_within_five_per_cent_of_the_larger():
    assert equal(95.0, 100.0)
    assert not equal(94.9, 100.0)


def test_a_site_that_gives_way_makes_no_pair():
    answers = [slipped(a) for a in made_up(30)]
    assert equal_torque_pairs(answers) == equal_motion_pairs(answers) == ()


# --- Pairs built to show why --------------------------------------------------------------------------


def test_two_workers_find_what_one_does():
    points = site_points(3)
    one, two = (lessons.solved(points, sites.SMALL_CLOUD, Where(workers=n)) for n in (1, 2))
    for mine, theirs in zip(one, two, strict=True):
        assert mine.peak_micromotion_um == pytest.approx(theirs.peak_micromotion_um, rel=1e-6)
