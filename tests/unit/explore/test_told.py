"""The page's plain data: the drawing to scale, and sentences without the command line's options."""

import numpy as np
import pytest

from stillroot.explore.told import drawing_of, peak_places, without_options
from stillroot.mechanics.motion import Peak
from stillroot.mechanics.outline import outline_of


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
