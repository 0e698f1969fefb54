"""How the motion grows with the load, and what pictures show of bone that yields or gives way."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from matplotlib.patches import PathPatch

from stillroot.answers.explained import Explained, Lever
from stillroot.answers.result import Curve
from stillroot.pictures.curve_figure import curve
from stillroot.pictures.figures import pictures, summary
from stillroot.pictures.levers_figure import levers
from stillroot.pictures.pressure_figure import crushed_shares, seat_pressure
from stillroot.pictures.scales import scale_um
from stillroot.pictures.section_figure import section
from stillroot.pictures.unrolled_figure import unrolled
from tests.unit.pictures._drawn import PUSH, answered, is_drawn, plain, present, words

if TYPE_CHECKING:
    from stillroot.answers.result import CheckResult
    from stillroot.pictures.paper import Picture

SOFT = {"cortical_thickness_mm": 0.5, "trabecular_modulus_mpa": 60.0, "radius_mm": 8.0}
SHARE = 0.43


@pytest.fixture(scope="module")
def crushed() -> CheckResult:
    return answered(PUSH, bone=SOFT, numerics={"element_mm": 1.0, "harmonics": 3})


@pytest.fixture(scope="module")
def given_way(crushed: CheckResult) -> CheckResult:
    """Return the same answer as if the implant gave way where it is: drawing needs no other solve."""
    load = crushed.loads[0]
    yields, linear = load.curves
    short = Curve(shares=SHARE * yields.shares, peak_um=yields.peak_um, head_um=yields.head_um)
    ended = replace(load, gives_way_at=SHARE, cycles=(), band="gives way", curves=(short, linear))
    return replace(crushed, loads=(ended,))


def drawn_curve(result: CheckResult) -> Picture:
    return present(curve(result, result.loads[0]))


def hatched(picture: Picture, panel: int) -> list[PathPatch]:
    return [p for p in picture.figure.axes[panel].findobj(PathPatch) if p.get_hatch() == "xxx"]


def test_both_curves_the_peak_and_what_remains_are_drawn(crushed: CheckResult) -> None:
    load, picture = crushed.loads[0], drawn_curve(crushed)
    for line in load.curves:
        for share, peak in zip(line.shares, line.peak_um, strict=True):
            assert is_drawn(picture, (share, peak))
    assert is_drawn(picture, (1.0, load.peak.total_um))
    assert is_drawn(picture, (0.0, load.cycles[-1].remaining_peak_um))
    assert "peak micromotion [µm]" in words(picture)
    assert "force [N]" in words(picture)


def test_the_heading_compares_bone_that_yields_with_bone_that_does_not(crushed: CheckResult) -> None:
    load = crushed.loads[0]
    yields, linear = (line.peak_um[-1] for line in load.curves)
    told = plain(drawn_curve(crushed).message)
    assert yields > 1.5 * linear
    assert f"{yields / linear:.1f} times as far as in bone that never yields" in told
    assert f"{load.cycles[-1].remaining_peak_um:.1f} µm remain" in told


def test_linear_bone_has_one_curve_and_is_compared_with_nothing(result: CheckResult) -> None:
    assert len(result.loads[0].curves) == 1
    assert "never yields" not in words(drawn_curve(result))
    assert "never yields" not in drawn_curve(result).message


def test_without_a_load_there_is_no_curve(crushed: CheckResult) -> None:
    assert curve(crushed, replace(crushed.loads[0], curves=())) is None


def test_a_load_that_gives_way_is_told_by_every_picture(given_way: CheckResult) -> None:
    load = given_way.loads[0]
    for picture in pictures(given_way):
        if picture.name != "seat-pressure":  # no load acts there yet
            assert "43 %" in plain(picture.message), picture.name
            assert "±" not in words(picture), picture.name
            assert "43 %" in plain(picture.alt), picture.name
    assert is_drawn(drawn_curve(given_way), (SHARE, load.curves[0].peak_um[-1]))
    assert "gives way at 43 % of the load" in words(summary(given_way))


def test_a_motion_without_end_does_not_widen_the_scale(given_way: CheckResult) -> None:
    assert scale_um(given_way) == max(given_way.case.threshold.bands_um)


def test_levers_tell_what_prevents_giving_way(given_way: CheckResult) -> None:
    longer = Lever(by_plan=True, text="longer", ratios=(None,), peaks_um=(88.0,))
    wider = Lever(by_plan=True, text="wider", ratios=(None,), peaks_um=(None,))
    both = levers(Explained(answer=given_way, levers=(longer, wider)))
    assert "“longer” prevents it with the lowest peak, 88.0 µm" in plain(both.message)
    none = levers(Explained(answer=given_way, levers=(wider,)))
    assert "no change of the plan that was tried prevents it" in plain(none.message)


def test_crushed_bone_is_hatched_in_the_section_where_half_a_triangle_has_yielded(
    crushed: CheckResult,
) -> None:
    load, bone = crushed.loads[0], crushed.seated.site.bone
    picture = section(crushed, load)
    assert "crushed bone" in words(picture)
    (patch,) = hatched(picture, 0)
    assert bone is not None
    assert load.state.bone is not None
    yielded = bone.yielded(load.state.bone).mean(axis=1) >= 0.5
    corners = np.asarray(patch.get_path().vertices)
    middles = corners[: len(corners) // 3 * 3, 0].reshape(-1, 3).mean(axis=1)
    right, left = np.count_nonzero(yielded[:, [0, -1]], axis=0)  # the angles nearest to 0 and 180°
    assert (np.count_nonzero(middles > 0), np.count_nonzero(middles < 0)) == (right, left)
    assert 0 < right != left > 0  # so that sides taken for each other would be seen


def test_the_wall_beside_crushed_bone_is_hatched(crushed: CheckResult) -> None:
    load = crushed.loads[0]
    picture = unrolled(crushed, load)
    assert hatched(picture, 2)
    assert f"beside crushed bone, {100 * load.share_over_crush:.0f} % of the wall" in words(picture)


def test_nothing_is_hatched_where_nothing_yields(result: CheckResult) -> None:
    load = result.loads[0]
    for picture, panel in ((section(result, load), 0), (unrolled(result, load), 2)):
        assert not hatched(picture, panel)
        assert "crushed" not in words(picture)


def test_the_pressure_is_marked_where_bone_yields_while_the_implant_is_turned_in() -> None:
    tight = answered(PUSH, bone=SOFT, interface={"interference_um": 40.0})
    picture = present(seat_pressure(tight))
    assert tight.torque is not None
    assert sum(crushed_shares(tight).values()) == pytest.approx(tight.torque.share_crushed) != 0
    assert "Bars on the left: there the bone is crushed" in words(picture)
    assert "inf" not in words(picture)
