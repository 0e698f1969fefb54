"""The pictures agree with the answer."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np
import pytest
from matplotlib.collections import LineCollection, QuadMesh

from stillroot import check
from stillroot.inputs.case import Case
from stillroot.mechanics.wall_surface import OPEN, SLIP, STICK
from stillroot.pictures.figures import pictures, summary
from stillroot.pictures.levers_figure import Change, levers_figure
from stillroot.pictures.paper import MOTION
from stillroot.pictures.scales import scale_um
from stillroot.pictures.section_figure import section
from stillroot.pictures.unrolled_figure import state_shares, unrolled
from stillroot.words.loads import load_text
from tests.unit.pictures._drawn import BANDS, words

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stillroot.answers.result import CheckResult, LoadAnswer
    from stillroot.pictures.paper import Picture

LOADS = {
    "axial": {"axial_n": 150.0},
    "lateral": {"lateral_n": 25.0},
    "pulling out": {"axial_n": -15.0, "lateral_n": 5.0},
    "torque": {"torque_ncm": 3.0},
    "all at once": {"axial_n": 60.0, "lateral_n": 15.0, "torque_ncm": -3.0, "height_mm": 8.0},
}
SITES = {
    "held all along": {},
    "two holds, empty gaps": {"socket": {"holds_mm": [[0.5, 3.0], [5.0, 7.5]], "gap_fill": "empty"}},
    "held near the tip, clot": {"socket": {"holds_mm": [[5.0, 8.0]], "gap_fill": "clot"}},
    "bonded": {"interface": {"kind": "bonded"}},
    "one layer of bone": {
        "bone": {"cortical_thickness_mm": 0.0, "law": "linear", "trabecular_modulus_mpa": 120.0}
    },
    "square thread": {"implant": {"diameter_mm": 4.1, "length_mm": 8.0, "thread": {"form": "square"}}},
    "outline": {"implant": {"outline_mm": [[2.0, 0.0], [2.0, -5.0], [1.2, -7.5], [0.0, -8.0]]}},
}


def answered(loads: dict[str, dict[str, float]], **sections: object) -> CheckResult:
    data = {
        "title": "Invented scenario",
        "implant": {"diameter_mm": 4.1, "length_mm": 8.0},
        "bone": {
            "cortical_thickness_mm": 1.5,
            "law": "linear",
            "trabecular_modulus_mpa": 150.0,
            "radius_mm": 8.0,
        },
        "loads": [{"name": name, **load} for name, load in loads.items()],
        "numerics": {"element_mm": 0.6, "harmonics": 3},
    }
    return check(Case.from_dict({**data, **sections}))


@pytest.fixture(scope="module")
def all_loads() -> CheckResult:
    return answered(LOADS)


@pytest.fixture(scope="module", params=SITES.values(), ids=SITES)
def site_result(request: pytest.FixtureRequest) -> CheckResult:
    return answered({"push": {"axial_n": 40.0, "lateral_n": 20.0}}, **request.param)


def peak_words(answer: LoadAnswer) -> str:
    digits = 1 if answer.peak.total_um < 100 else 0
    return f"{answer.peak.total_um:.{digits}f} ± "


def farthest_from(places: NDArray[np.float64], values: NDArray[np.float64]) -> float:
    """Return the largest distance from one of the values to the nearest of the places."""
    places = np.sort(places)
    above = np.clip(np.searchsorted(places, values), 1, len(places) - 1)
    nearest = np.minimum(np.abs(values - places[above - 1]), np.abs(values - places[above]))
    return float(nearest.max())


def wall_lines(picture: Picture) -> list[LineCollection]:
    """Return the lines of the wall that show motion, right side first."""
    found = picture.figure.axes[0].collections
    return [c for c in found if isinstance(c, LineCollection) and c.get_array() is not None]


def test_a_summary_and_three_pictures_a_load_then_three_of_the_governing_one(
    all_loads: CheckResult,
) -> None:
    names = [picture.name for picture in pictures(all_loads)]
    worst = all_loads.load_slugs[all_loads.loads.index(all_loads.governing)]
    assert names[:4] == ["summary", "section-1-axial", "unrolled-1-axial", "curve-1-axial"]
    assert names[1 + 3 * len(LOADS) :] == [f"moved-{worst}", "seat-pressure", f"gauge-{worst}"]
    assert len(names) == len(set(names))


def test_each_load_picture_holds_its_peak_and_head_movement(all_loads: CheckResult) -> None:
    for answer in all_loads.loads:
        drawn = section(all_loads, answer)
        assert peak_words(answer) in words(drawn)
        assert peak_words(answer) in words(unrolled(all_loads, answer))
        assert f"head movement {answer.head.total_um:.1f} µm" in words(drawn)


def test_the_summary_holds_every_load(all_loads: CheckResult) -> None:
    shown = words(summary(all_loads))
    for answer in all_loads.loads:
        assert answer.name in shown
        assert peak_words(answer) in shown


def test_a_long_name_is_cut_to_the_frame_and_keeps_its_load() -> None:
    names = ("the quick one", "W" * 60, "a load whose name is as long as any that a title can take")
    whole = answered(dict.fromkeys(names, LOADS["all at once"]))
    ax = summary(whole).figure.axes[0]
    shown = [
        text for text in ax.texts if load_text(whole.loads[0].resultant, lines=1) in text.get_text()
    ]
    assert len(shown) == len(names)
    assert shown[0].get_text().startswith("the quick one: ")
    assert shown[1].get_text().startswith("WWW")
    for text in shown:
        assert text.get_window_extent().x1 < ax.get_window_extent().x1


def test_every_alternative_text_gives_the_peak(all_loads: CheckResult) -> None:
    assert all(peak_words(answer) in summary(all_loads).alt for answer in all_loads.loads)
    for answer in all_loads.loads:
        for picture in (section(all_loads, answer), unrolled(all_loads, answer)):
            assert peak_words(answer) in picture.alt
            assert answer.name in picture.alt


def test_all_loads_share_one_scale(all_loads: CheckResult) -> None:
    top = scale_um(all_loads)
    assert top == max(150.0, *(answer.peak.total_um for answer in all_loads.loads))
    for answer in all_loads.loads:
        for lines in wall_lines(section(all_loads, answer)):
            assert (lines.norm.vmin, lines.norm.vmax, lines.cmap) == (0, top, MOTION)
        for field in unrolled(all_loads, answer).figure.axes[1].findobj(QuadMesh):
            assert field.get_clim() == (0, top)


def test_a_peak_above_the_bands_widens_the_scale() -> None:
    low = answered({"push": {"axial_n": 40.0, "lateral_n": 20.0}}, threshold={"bands_um": [0.5, 1.0]})
    assert scale_um(low) == low.loads[0].peak.total_um > 1.0
    assert "above 1 µm" in words(section(low, low.loads[0]))


def test_colour_and_thickness_of_the_wall_are_the_motion_at_0_and_180_degrees(
    all_loads: CheckResult,
) -> None:
    answer = all_loads.loads[1]
    motion = answer.micromotion
    both = wall_lines(section(all_loads, answer))
    for lines, degrees in zip(both, (0.0, 180.0), strict=True):
        column = int(np.flatnonzero(np.isclose(np.degrees(motion.angles), degrees))[0])
        on_wall = motion.total_um[motion.held, column]
        values = np.asarray(lines.get_array())
        assert on_wall.min() <= values.min() <= values.max() <= on_wall.max()
        order = np.argsort(values)
        assert np.all(np.diff(np.asarray(lines.get_linewidths())[order]) >= 0)
    right, left = (np.concatenate(lines.get_segments())[:, 0] for lines in both)
    assert right.min() >= 0
    assert left.max() <= 0


def test_the_unrolled_map_shows_every_held_value_and_nothing_of_a_gap(site_result: CheckResult) -> None:
    answer = site_result.loads[0]
    motion = answer.micromotion
    fields = unrolled(site_result, answer).figure.axes[1].findobj(QuadMesh)
    drawn = np.concatenate([np.ravel(np.asarray(field.get_array())) for field in fields])
    held = np.ravel(motion.total_um[motion.held])
    assert farthest_from(drawn, held) < 1e-9
    assert farthest_from(held, drawn) < 1e-9
    assert len(fields) == len(site_result.case.socket.holds_mm)


def test_a_gap_is_named(site_result: CheckResult) -> None:
    socket, length = site_result.case.socket, site_result.case.implant.length_mm
    shown = words(unrolled(site_result, site_result.loads[0]))
    assert (f"gap ({socket.gap_fill})" in shown) == (socket.holds_mm != ((0.0, length),))


def test_the_peak_is_marked_where_it_is(site_result: CheckResult) -> None:
    answer = site_result.loads[0]
    marks = [np.array(line.get_data()).T for line in section(site_result, answer).figure.axes[0].lines]
    side = np.sign(np.cos(np.radians(answer.peak.angle_deg)) + 1e-9)
    place = [side * answer.peak.radius_mm, -answer.peak.depth_mm]
    assert any(len(mark) == 1 and np.allclose(mark[0], place) for mark in marks)


def test_the_states_fill_the_held_surface(site_result: CheckResult) -> None:
    shares = state_shares(site_result, site_result.loads[0])
    assert sum(shares.values()) == pytest.approx(1.0)
    if site_result.case.interface.kind == "bonded":
        assert shares["stick"] == 1.0


def test_on_a_straight_wall_the_drawn_areas_are_the_shares() -> None:
    smooth = {"diameter_mm": 4.0, "length_mm": 8.0, "thread": {"form": "none"}}
    straight = answered({"push": {"lateral_n": 20.0}}, implant=smooth, socket={"holds_mm": [[0.0, 6.0]]})
    answer = straight.loads[0]
    field = unrolled(straight, answer).figure.axes[2].findobj(QuadMesh)[0]
    height = np.diff(np.asarray(field.get_coordinates())[:, 0, 1])
    shares = state_shares(straight, answer)
    assert height.sum() == pytest.approx(6.0)
    for code, word in ((OPEN, "open"), (STICK, "stick"), (SLIP, "slip")):
        drawn = np.mean(np.asarray(field.get_array()) == code, axis=1)
        assert height @ drawn / 6.0 == pytest.approx(shares[word])
    assert min(shares.values()) > 0


def test_without_torque_the_map_of_states_is_symmetric_about_the_load(all_loads: CheckResult) -> None:
    field = unrolled(all_loads, all_loads.loads[1]).figure.axes[2].findobj(QuadMesh)[0]
    codes = np.asarray(field.get_array())
    assert np.array_equal(codes, codes[:, ::-1])


def test_a_name_is_never_read_as_mathematics() -> None:
    odd = answered({"$\\frac{ $ _ 100 %": {"axial_n": 40.0}})
    for picture in pictures(odd):
        picture.figure.savefig(io.BytesIO(), format="svg")
        # The seating pressure belongs to no load.
        assert "$\\frac{ $" in words(picture) or picture.name == "seat-pressure"
        assert picture.name.replace("-", "").isalnum()


@pytest.mark.parametrize("form", ["png", "svg"])
def test_pictures_can_be_saved(all_loads: CheckResult, form: str) -> None:
    for picture in (
        summary(all_loads),
        section(all_loads, all_loads.loads[4]),
        unrolled(all_loads, all_loads.loads[4]),
    ):
        file = io.BytesIO()
        picture.figure.savefig(file, format=form)
        assert file.tell() > 10_000


def test_a_png_is_1200_pixels_wide(all_loads: CheckResult) -> None:
    for picture in pictures(all_loads):
        assert picture.figure.get_figwidth() * picture.figure.dpi == 1200


def test_each_picture_has_its_message_on_top(all_loads: CheckResult) -> None:
    for picture in (
        *pictures(all_loads),
        levers_figure("push", 34.2, (Change("longer", 24.0),), (), BANDS),
    ):
        top = picture.headings[0].get_text().replace("\n", " ")
        assert top.replace("\N{NO-BREAK SPACE}", " ") == picture.message.replace(
            "\N{NO-BREAK SPACE}", " "
        )


def test_pictures_of_the_governing_load_come_last(result: CheckResult) -> None:
    names = [picture.name for picture in pictures(result)]
    assert names == [
        "summary",
        "section-1-push",
        "unrolled-1-push",
        "curve-1-push",
        "moved-1-push",
        "seat-pressure",
        "gauge-1-push",
    ]
