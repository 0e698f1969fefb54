"""The first answer: how far it may be from the refined one, and how coarse it is."""

from stillroot.answers.levels import FIRST, LEVELS, Bench, at_level
from stillroot.explore.first import first_answer
from stillroot.mechanics.accuracy import FINE


def test_the_refined_answer_lies_within_the_first(shipped_case):
    refined, bench = Bench().solved(shipped_case, FINE), Bench()
    for place, wanted in enumerate(refined.readings):
        first = first_answer(bench, shipped_case, place)
        assert abs(first.peak.total_um - wanted.motion.peak.total_um) < first.error_um
        assert abs(first.head.total_um - wanted.head.total_um) < first.head_error_um
        assert first.error_um < 0.1 * first.peak.total_um


def test_a_first_answer_is_never_finer_than_the_case(shipped_case):
    coarse = shipped_case.with_numerics(element_mm=1.5, harmonics=3)
    assert at_level(coarse, FIRST).numerics == coarse.numerics
    assert at_level(shipped_case, FIRST).numerics.element_mm == LEVELS[FIRST].least_mm
    assert at_level(shipped_case, FIRST).loads == shipped_case.loads
