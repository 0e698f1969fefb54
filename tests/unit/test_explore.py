"""The page's numbers without its server: the first answer's ±, reuse of stages, the drawing."""

import os
from pathlib import Path

import numpy as np
import pytest
from stillroot.studies.stages import Stages

from stillroot import Case
from stillroot.answers.answer import prepared_groundwork
from stillroot.answers.chain import resultant_of
from stillroot.explore.first import FIRST_MM, first_answer, first_case
from stillroot.explore.pairs import lecture
from stillroot.explore.site_drawing import drawing_of, peak_places
from stillroot.explore.told import without_options
from stillroot.explore.workshop import Bench, Job, on_both_cores
from stillroot.mechanics.groundwork import WHOLE
from stillroot.mechanics.loading import load
from stillroot.mechanics.motion import Peak, read
from stillroot.mechanics.outline import outline_of


def test_the_refined_answer_lies_within_the_first(shipped_case):
    refined, coarse = Stages().seated(shipped_case)[0], Stages()
    for place, item in enumerate(shipped_case.loads):
        first = first_answer(coarse, shipped_case, place)
        resultant = resultant_of(item)
        wanted = read(refined, load(refined, [resultant]), resultant)
        assert abs(first.peak.total_um - wanted.motion.peak.total_um) < first.error_um
        assert abs(first.reading.head.total_um - wanted.head.total_um) < first.head_error_um
        assert first.error_um < 0.1 * first.peak.total_um


def test_a_first_answer_is_never_finer_than_the_case(shipped_case):
    coarse = shipped_case.with_numerics(element_mm=1.5, harmonics=3)
    assert first_case(coarse).numerics == coarse.numerics
    assert first_case(shipped_case).numerics.element_mm == FIRST_MM
    assert first_case(shipped_case).loads == shipped_case.loads


def test_the_drawing_has_the_outline_of_the_mesh(shipped_case):
    drawing = drawing_of(shipped_case)
    outline = outline_of(shipped_case)
    assert [r["name"] for r in drawing["regions"]] == [r.name for r in reversed(outline.regions)]
    for drawn, region in zip(drawing["regions"], reversed(outline.regions), strict=True):
        corners = np.array(drawn["corners"])
        assert corners[:, 0].max() == pytest.approx(region.corners_mm[:, 0].max())
        assert corners[:, 0].min() == pytest.approx(-region.corners_mm[:, 0].max())
        right = corners[corners[:, 0] > 0]
        wanted = region.corners_mm[region.corners_mm[:, 0] > 0]
        assert np.allclose(sorted(map(tuple, right)), sorted(map(tuple, np.round(wanted, 4))))


def test_a_ring_is_on_the_side_of_the_peak():
    peak = {"total_um": 1.0, "sliding_um": 1.0, "opening_um": 0.0, "depth_mm": 3.0, "radius_mm": 2.0}
    assert peak_places(Peak(**peak, angle_deg=0.0, all_round=False)) == [[2.0, -3.0]]
    assert peak_places(Peak(**peak, angle_deg=180.0, all_round=False)) == [[-2.0, -3.0]]
    assert peak_places(Peak(**peak, angle_deg=0.0, all_round=True)) == [[2.0, -3.0], [-2.0, -3.0]]


def test_a_bench_keeps_no_more_for_more_cases(shipped_cases):
    case = shipped_cases[3].with_numerics(element_mm=1.0, harmonics=3)
    bench = Bench(lambda _: None)
    first = {"ground", "site", "seat"}
    for number, (section, key, value, kept) in enumerate(
        (
            ("interface", "friction", 0.2, first),
            ("interface", "friction", 0.3, first),
            ("bone", "cortical_modulus_mpa", 9000.0, first | {"split"}),
            ("bone", "cortical_modulus_mpa", 8000.0, first | {"split"}),
            ("bone", "cortical_thickness_mm", 1.3, first),
            ("bone", "cortical_thickness_mm", 1.4, first),
        ),
        start=1,
    ):
        data = case.to_dict()
        data[section][key] = value
        bench.done(Job(number=number, kind="first", case=data, more=0))
        assert set(bench._first_stages._kept) == kept


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="memory is not told here")
def test_a_bench_takes_no_more_memory_for_more_geometries(shipped_cases):
    case = shipped_cases[3]
    bench = Bench(lambda _: None)
    taken = []
    for number, thickness in enumerate(np.linspace(0.8, 1.6, 24), start=1):
        data = case.to_dict()
        data["bone"]["cortical_thickness_mm"] = float(thickness)
        bench.done(Job(number=number, kind="first", case=data, more=0))
        pages = int(Path("/proc/self/statm").read_text().split()[1])
        taken.append(pages * os.sysconf("SC_PAGE_SIZE") / 2**20)
    # [MiB]; where factors are made in one thread and dropped in another, 25 a change are left
    assert taken[-1] - taken[11] < 150


def test_threads_change_no_digit(shipped_case):
    case = first_case(shipped_case)
    alone, together = (prepared_groundwork(case, each=each) for each in (map, on_both_cores))
    for a, b in zip(together.implant_schur, alone.implant_schur, strict=True):
        np.testing.assert_array_equal(a, b)
    for a, b in zip(together.loaded, alone.loaded, strict=True):
        np.testing.assert_array_equal(a.condensed, b.condensed)
    for a, b in zip(together.bone, alone.bone, strict=True):
        np.testing.assert_array_equal(a.rims[WHOLE][0], b.rims[WHOLE][0])


def test_a_lecture_is_of_cases():
    for screen in lecture():
        assert screen["title"]
        assert screen["message"]
        for case in screen["cases"]:
            assert Case.from_dict(case).numerics.element_mm == 0.25


@pytest.mark.parametrize(
    ("told", "left"),
    [
        ("The motion is larger: --choices shows one way.", "The motion is larger."),
        ("It yields at 0.8 %; see --choices for more. It leans.", "It yields at 0.8 %. It leans."),
        (
            "It gives way, so read it as giving way: no value.",
            "It gives way, so read it as giving way: no value.",
        ),
        ("Depth 0.5-1.2 mm, well -- a dash - stays.", "Depth 0.5-1.2 mm, well -- a dash - stays."),
    ],
)
def test_a_page_is_told_no_option_of_the_command_line(told, left):
    assert without_options(told) == left
