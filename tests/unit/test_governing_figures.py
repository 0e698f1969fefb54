"""What the drawings of the governing load say is what the answer holds; and what helps."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from matplotlib.collections import PolyCollection
from matplotlib.text import Text

from stillroot import check
from stillroot.inputs.case import Case
from stillroot.mechanics.fields import displacement
from stillroot.mechanics.head_parts import ANGLES, carried, head_parts
from stillroot.mechanics.motion import UM_PER_MM
from stillroot.pictures.figure_section import section
from stillroot.pictures.figures import pictures
from stillroot.pictures.gauge_figure import gauge
from stillroot.pictures.levers_figure import levers_figure
from stillroot.pictures.moved_figure import in_section_mm, moved
from stillroot.pictures.pressure_figure import cortical_share, seat_pressure

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stillroot.answers.answer import CheckResult
    from stillroot.mechanics.fields import Displacement
    from stillroot.pictures.drawing import Picture

PUSH = {"axial_n": 60.0, "lateral_n": 30.0}
BANDS = (50.0, 100.0, 150.0)


def answered(load: dict[str, float], **sections: object) -> CheckResult:
    data = {
        "title": "Invented scenario",
        "implant": {"diameter_mm": 4.1, "length_mm": 8.0},
        "bone": {"cortical_thickness_mm": 1.5, "trabecular_modulus_mpa": 150.0, "radius_mm": 8.0},
        "loads": [{"name": "push", **load}],
        "numerics": {"element_mm": 0.8, "harmonics": 3},
    }
    return check(Case.from_dict({**data, **sections}))


@pytest.fixture(scope="module")
def result() -> CheckResult:
    return answered(PUSH)


@pytest.fixture(scope="module")
def field(result: CheckResult) -> Displacement:
    return field_of(result)


@pytest.fixture(scope="module")
def bonded() -> CheckResult:
    return answered(PUSH, interface={"kind": "bonded"})


def field_of(result: CheckResult) -> Displacement:
    return displacement(result.seated, result.governing.state, result.governing.resultant)


def words(picture: Picture) -> str:
    shown = (t.get_text() for t in picture.figure.findobj(Text))
    return " ".join(shown).replace("\N{NO-BREAK SPACE}", " ").replace("\n", " ")


def present(picture: Picture | None) -> Picture:
    assert picture is not None
    return picture


def factor(picture: Picture) -> float:
    return float(words(picture).split("drawn ×")[1].split()[0])


def triangles(ax: Axes) -> list[PolyCollection]:
    return [c for c in ax.collections if isinstance(c, PolyCollection)]


# --- Moved --------------------------------------------------------------------------------------------


def test_the_magnification_is_round_and_shows(result: CheckResult, field: Displacement) -> None:
    picture = present(moved(result, field))
    times = factor(picture)
    assert f"{times:.0e}"[0] in "125"
    low, high = picture.figure.axes[0].get_ylim()
    assert 0.04 < times * result.governing.head.total_um / UM_PER_MM / (high - low) < 0.16


def test_bodies_are_drawn_where_they_have_gone(result: CheckResult, field: Displacement) -> None:
    picture = present(moved(result, field))
    times, pair = factor(picture), result.seated.site.pair
    drawn = np.concatenate(
        [path.vertices for c in triangles(picture.figure.axes[0]) for path in c.get_paths()]
    )
    for body, u in ((pair.implant, field.implant), (pair.bone, field.bone)):
        corners = np.unique(body.elements[:3])
        change = in_section_mm(field, u)[corners]
        r, z = body.nodes_mm[:, corners]
        for side, sign in enumerate((1.0, -1.0)):
            wanted = np.stack([sign * r, z], axis=1) + times * change[:, side]
            for place in wanted[:: len(wanted) // 20]:
                assert np.linalg.norm(drawn - place, axis=1).min() < 1e-9


def test_the_wall_opens_between_bodies_by_the_opening(result: CheckResult, field: Displacement) -> None:
    wall, layer = result.seated.site.pair.wall, result.seated.layer
    both = [in_section_mm(field, u) for u in (field.implant, field.bone)]
    apart = (both[1][wall.bone_nodes] - both[0][wall.implant_nodes])[layer.node, 0]
    opened = np.sum(layer.normal.T * apart, axis=1) * UM_PER_MM
    motion = result.governing.micromotion
    assert opened == pytest.approx(motion.opening_um[:, 0], abs=1e-6)


def test_moved_says_how_far_the_head_goes(result: CheckResult, field: Displacement) -> None:
    head = result.governing.head
    message = present(moved(result, field)).message.replace("\N{NO-BREAK SPACE}", " ")
    assert f"sinks {head.axial_um:.1f} µm" in message
    assert f"the head goes {head.lateral_um:.1f} µm aside" in message
    assert "to the other side" in message


def test_the_drawing_has_the_scale_of_the_section(result: CheckResult, field: Displacement) -> None:
    first = section(result, result.governing).figure.axes[0]
    second = present(moved(result, field)).figure.axes[0]
    assert first.get_xlim() == pytest.approx(second.get_xlim())
    assert first.get_window_extent().width == pytest.approx(second.get_window_extent().width)


def test_a_torque_alone_moves_nothing_in_the_section() -> None:
    turned = answered({"torque_ncm": 3.0})
    assert moved(turned, field_of(turned)) is None
    assert gauge(turned) is None
    assert [p.name for p in pictures(turned)] == [
        "summary",
        "section-1-push",
        "unrolled-1-push",
        "seat-pressure",
    ]


# --- Pressure of the seat -----------------------------------------------------------------------------


def test_the_pressure_drawn_is_that_of_going_in(result: CheckResult) -> None:
    held = result.seated.layer.held
    pressure = result.seated.inserted.tractions.traction[0, held, 0]
    lines = present(seat_pressure(result)).figure.axes[1].lines
    drawn = np.sort(np.asarray(lines[0].get_xdata()))
    assert drawn == pytest.approx(np.sort(pressure))


def test_the_message_gives_the_torque_and_what_the_cortex_has_of_it(result: CheckResult) -> None:
    picture = present(seat_pressure(result))
    assert result.torque is not None
    text = picture.message.replace("\N{NO-BREAK SPACE}", " ")
    share = cortical_share(result)
    assert 0 < share < 1
    assert f"{100 * share:.0f} % of the torque of {result.torque.friction_ncm:.0f} N·cm" in text


def test_torques_of_both_layers_are_the_torque(result: CheckResult) -> None:
    assert result.torque is not None
    layer, p = result.seated.inserting, result.seated.inserted.tractions.traction[0, :, 0]
    moment = 2 * np.pi * layer.friction * p * layer.weight_mm2 * layer.radius_mm / 10
    below = -layer.height_mm > 1.5 + 1e-9
    deep = float(moment[below & layer.held].sum())
    # Points on the border belong to either layer.
    assert (1 - cortical_share(result)) * result.torque.friction_ncm == pytest.approx(deep, rel=0.1)


def test_what_is_glued_has_no_picture_of_pressure(bonded: CheckResult) -> None:
    assert seat_pressure(bonded) is None
    assert "seat-pressure" not in [picture.name for picture in pictures(bonded)]


def test_pressure_that_goes_is_told() -> None:
    eased = answered(PUSH, interface={"retained_pressure": 0.5})
    assert "Grey: the 50% of it that is left." in words(present(seat_pressure(eased)))


# --- The gauge ----------------------------------------------------------------------------------------


def test_the_gauge_reads_the_head_movement(result: CheckResult) -> None:
    picture = present(gauge(result))
    worst = result.governing
    assert f"the gauge reads {worst.head.total_um:.1f} µm" in words(picture)
    assert f"at most {worst.peak.total_um:.1f} ± " in picture.message.replace("\N{NO-BREAK SPACE}", " ")


def test_the_two_bars_end_where_the_arrow_does(result: CheckResult) -> None:
    bars = present(gauge(result)).figure.axes[1].patches
    wall, give = (bar for bar in bars[:2])
    assert wall.get_x() == pytest.approx(0)
    assert give.get_x() == pytest.approx(wall.get_width())
    assert give.get_x() + give.get_width() == pytest.approx(result.governing.head.total_um)


def test_a_stiff_motion_of_the_wall_is_carried_up_as_it_is(result: CheckResult) -> None:
    layer = result.seated.layer
    move, turn = np.array([0.3, -0.2, 0.1]), np.array([0.02, -0.05, 0.04])
    r, z = layer.nodes_mm
    at = np.stack(
        [np.outer(r, np.cos(ANGLES)), np.outer(r, np.sin(ANGLES)), np.outer(z, np.ones_like(ANGLES))],
        axis=-1,
    )
    x, y, up = np.moveaxis(move + np.cross(turn, at), -1, 0)
    cosine, sine = np.cos(ANGLES), np.sin(ANGLES)
    motion = np.stack([x * cosine + y * sine, y * cosine - x * sine, up], axis=-1)
    wanted = move + np.cross(turn, [0.0, 0.0, 7.0])
    assert carried(layer, motion, 7.0) == pytest.approx(wanted, abs=1e-12)


def bending_um(modulus_mpa: float) -> float:
    """What bone and wall, as stiff motions, leave over of the head movement."""
    found = answered(
        {"axial_n": 3.0, "lateral_n": 1.0},
        implant={"modulus_mpa": modulus_mpa, "poisson": 0.3, "diameter_mm": 4.1, "length_mm": 8.0},
        bone={"cortical_thickness_mm": 0.0, "trabecular_modulus_mpa": 20.0, "radius_mm": 8.0},
    )
    worst, pair, d = found.governing, found.seated.site.pair, field_of(found)
    bone = d.fourier.values(d.bone[:, :, pair.wall.bone_nodes], ANGLES)
    lateral, _, up = carried(found.seated.layer, bone, worst.head.height_mm) * UM_PER_MM
    along = (lateral * worst.head.lateral_um - up * worst.head.axial_um) / worst.head.total_um
    return head_parts(found.seated, worst.state, worst.head).give_um - float(along)


def test_wall_bone_and_bending_are_the_whole_movement() -> None:
    """What neither the wall nor the bone does is the implant's own give, and that goes as 1/E."""
    assert bending_um(1e5) == pytest.approx(10 * bending_um(1e6), rel=0.02)


def test_with_a_wall_that_hardly_gives_nearly_all_is_give(bonded: CheckResult) -> None:
    stiff = answered(PUSH, interface={"kind": "bonded", "layer_thickness_mm": 0.0})
    worst = stiff.governing
    parts = head_parts(stiff.seated, worst.state, worst.head)
    assert abs(parts.interface_um) < 0.02 * worst.head.total_um
    soft = head_parts(bonded.seated, bonded.governing.state, bonded.governing.head)
    assert soft.interface_um > 5 * abs(parts.interface_um)


# --- What helps ---------------------------------------------------------------------------------------

ROWS = (("longer", 24.0), ("no cortex", 88.0), ("no hold", None), ("far softer", 900.0))


def test_levers_name_the_one_that_lowers_most() -> None:
    picture = levers_figure("push", 34.2, (*ROWS, ("wider", 30.0)), BANDS)
    assert "“longer” lowers the peak most, from 34.2" in picture.message.replace(
        "\N{NO-BREAK SPACE}", " "
    )


def test_levers_that_do_not_help_say_so() -> None:
    assert "none of these changes lowers the peak" in levers_figure("push", 20.0, ROWS, BANDS).message


def test_levers_draw_from_the_answer_to_each_change() -> None:
    picture = levers_figure("push", 34.2, ROWS, BANDS, title="Invented scenario")
    spans = [np.asarray(line.get_xdata(), dtype=float) for line in picture.figure.axes[0].lines]
    for peak in (24.0, 88.0):
        assert any(len(x) == 2 and x == pytest.approx([34.2, peak]) for x in spans)
    right = picture.figure.axes[0].get_xlim()[1]
    assert right < 900
    shown = words(picture)
    assert "no balance" in shown
    assert "900 µm" in shown
    assert "Invented scenario" in shown


# --- All of them --------------------------------------------------------------------------------------


def test_each_picture_has_its_message_on_top(result: CheckResult) -> None:
    for picture in (*pictures(result), levers_figure("push", 34.2, ROWS, BANDS)):
        top = picture.headings[0].get_text().replace("\n", " ")
        assert top.replace("\N{NO-BREAK SPACE}", " ") == picture.message.replace(
            "\N{NO-BREAK SPACE}", " "
        )


def test_pictures_of_the_governing_load_come_last(result: CheckResult) -> None:
    names = [picture.name for picture in pictures(replace(result, choices=()))]
    assert names == [
        "summary",
        "section-1-push",
        "unrolled-1-push",
        "moved-1-push",
        "seat-pressure",
        "gauge-1-push",
    ]
