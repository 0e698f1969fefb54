"""The cases of a lecture."""

from stillroot import Case
from stillroot.explore.pairs import lecture


def test_a_lecture_is_of_cases():
    for screen in lecture():
        assert screen["title"]
        assert screen["message"]
        for case in screen["cases"]:
            assert Case.from_dict(case).numerics.element_mm == 0.25
