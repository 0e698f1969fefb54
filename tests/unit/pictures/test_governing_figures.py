"""The drawings of the governing load agree with the answer; and the levers."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from matplotlib.collections import PolyCollection
from matplotlib.text import Text

from stillroot import check
from stillroot.answers.summary import with_error
from stillroot.inputs.case import Case
from stillroot.mechanics.fields import displacement
from stillroot.mechanics.head_parts import ANGLES, carried, head_parts
from stillroot.pictures.figures import pictures
from stillroot.pictures.gauge_figure import gauge
from stillroot.pictures.levers_figure import levers_figure
from stillroot.pictures.moved_figure import in_section_mm, moved
from stillroot.pictures.pressure_figure import cortical_share, seat_pressure
from stillroot.pictures.section_figure import section
from stillroot.studies.levers import Lever
from stillroot.units import UM_PER_MM
from stillroot.words.check_document import GIVES_WAY

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stillroot.answers.answer import CheckResult
    from stillroot.mechanics.fields import Displacement
    from stillroot.pictures.paper import Picture

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
    assert f"the head moves {head.lateral_um:.1f} µm sideways" in message
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


def test_a_glued_wall_stretches_and_does_not_open(
    result: CheckResult, field: Displacement, bonded: CheckResult
) -> None:
    glued = present(moved(bonded, field_of(bonded)))
    assert "opens" not in words(glued) + glued.alt
    unglued = present(moved(result, field))
    assert "opens" in words(unglued)
    assert "opens" in unglued.alt


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


def crushed_parts(result: CheckResult) -> list[float]:
    """Return the crushed share above and below 0.6 mm, in per cent of the held wall."""
    layer, p = result.seated.inserting, result.seated.inserted.tractions.traction[0, :, 0]
    area = np.where(layer.held, layer.weight_mm2, 0.0)
    edge_depth = np.repeat(-layer.height_mm.reshape(-1, 3).mean(axis=1), 3)
    crushed = p > 0.999999 * layer.crush_mpa
    above = edge_depth < 0.6
    return [100 * area[crushed & part].sum() / area.sum() for part in (above, ~above)]


def pressed(interference_um: float, **bone: float) -> CheckResult:
    layers = {"cortical_thickness_mm": 0.6, "trabecular_modulus_mpa": 150.0, "radius_mm": 8.0}
    return answered(
        PUSH,
        bone={**layers, **bone},
        interface={"interference_um": interference_um},
        numerics={"element_mm": 1.0, "harmonics": 3},
    )


def test_what_crushes_is_told_layer_by_layer() -> None:
    both = pressed(40.0)
    picture = present(seat_pressure(both))
    cortical, trabecular = crushed_parts(both)
    assert 0.5 < cortical < 10 < trabecular
    told = (
        f"up to 107 MPa; it crushes on {cortical:.0f} % of the held wall in the cortical layer and on "
        f"{trabecular:.0f} % in the trabecular bone"
    )
    assert told in picture.message.replace("\N{NO-BREAK SPACE}", " ")
    assert "bone crushes: 107 MPa in the cortical layer and 1.2 MPa in the trabecular bone" in words(
        picture
    )
    assert both.torque is not None
    assert f"torque of {both.torque.friction_ncm:.0f} N·cm" in picture.alt.replace(
        "\N{NO-BREAK SPACE}", " "
    )


def test_where_only_trabecular_bone_crushes_no_more_is_told() -> None:
    soft = pressed(12.0)
    picture = present(seat_pressure(soft))
    cortical, trabecular = crushed_parts(soft)
    assert cortical == 0 < trabecular
    told = f"crushes on {trabecular:.0f} % of the held wall, all of it in the trabecular bone"
    assert told in picture.message.replace("\N{NO-BREAK SPACE}", " ")


def test_where_one_layer_holds_none_is_named() -> None:
    alone = pressed(40.0, cortical_thickness_mm=0.0)
    message = present(seat_pressure(alone)).message.replace("\N{NO-BREAK SPACE}", " ")
    assert f"crushes on {crushed_parts(alone)[0] + crushed_parts(alone)[1]:.0f} % of the held" in message
    assert "trabecular" not in message


def test_both_crushing_pressures_are_told_where_neither_is_on_the_scale() -> None:
    firm = pressed(0.3, trabecular_modulus_mpa=1500.0)
    layer = firm.seated.inserting
    low, high = (f"{x:.2g} MPa" if x < 100 else f"{x:.0f} MPa" for x in np.unique(layer.crush_mpa))
    told = f"Bone crushes at {high} in the cortical layer and {low} in the trabecular bone, beyond"
    assert told in words(present(seat_pressure(firm)))


def test_torques_of_both_layers_are_the_torque(result: CheckResult) -> None:
    assert result.torque is not None
    layer, p = result.seated.inserting, result.seated.inserted.tractions.traction[0, :, 0]
    moment = 2 * np.pi * layer.friction * p * layer.weight_mm2 * layer.radius_mm / 10
    below = -layer.height_mm > 1.5 + 1e-9
    deep = float(moment[below & layer.held].sum())
    # Points on the border belong to both layers.
    assert (1 - cortical_share(result)) * result.torque.friction_ncm == pytest.approx(deep, rel=0.1)


def test_what_is_glued_has_no_picture_of_pressure(bonded: CheckResult) -> None:
    assert seat_pressure(bonded) is None
    assert "seat-pressure" not in [picture.name for picture in pictures(bonded)]


def test_pressure_that_goes_is_told() -> None:
    eased = answered(PUSH, interface={"retained_pressure": 0.5})
    assert "Grey: the 50% of it that remains." in words(present(seat_pressure(eased)))


# --- The gauge ----------------------------------------------------------------------------------------


def test_the_gauge_reads_the_head_movement(result: CheckResult) -> None:
    picture = present(gauge(result))
    worst = result.governing
    read = f"{with_error(worst.head.total_um, worst.head_error.total_um)} µm"
    assert f"the gauge reads {read}" in words(picture)
    assert f"above the crest reads {read}" in picture.message.replace("\N{NO-BREAK SPACE}", " ")
    assert words(picture).count(read) == 3  # the bars have it too
    assert f"at most {worst.peak.total_um:.1f} ± " in picture.message.replace("\N{NO-BREAK SPACE}", " ")


def test_a_long_title_keeps_clear_of_the_gauge(result: CheckResult) -> None:
    worst = result.governing
    long = replace(worst, name="a load whose name is as long as any that a title can take")
    picture = present(gauge(replace(result, loads=(long,))))
    assert picture.headings[0].get_text().count("\n") == 2
    title = picture.headings[1].get_window_extent()
    assert title.y0 > picture.figure.axes[0].get_window_extent().y1


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
    """Return the head movement left over by bone and wall as rigid motions: bending of the implant."""
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
    """What neither the wall nor the bone explains is the implant's own give, which scales as 1/E."""
    assert bending_um(1e5) == pytest.approx(10 * bending_um(1e6), rel=0.02)


def test_with_a_wall_that_hardly_gives_nearly_all_is_give(bonded: CheckResult) -> None:
    stiff = answered(PUSH, interface={"kind": "bonded", "layer_thickness_mm": 0.0})
    worst = stiff.governing
    parts = head_parts(stiff.seated, worst.state, worst.head)
    assert abs(parts.interface_um) < 0.02 * worst.head.total_um
    soft = head_parts(bonded.seated, bonded.governing.state, bonded.governing.head)
    assert soft.interface_um > 5 * abs(parts.interface_um)


# --- What helps ---------------------------------------------------------------------------------------

UNREACHED = (
    "interface.measured_torque_ncm = 150: no interference gives this in the bone and friction stated"
)
PLAN = (("longer", 24.0), ("no hold", None))
ROUGH = (("no cortex", 88.0), ("far softer", 900.0), ("stiffer", 12.0), ("slippery", None, UNREACHED))


def test_levers_name_the_one_that_lowers_most() -> None:
    picture = levers_figure("push", 34.2, (*PLAN, ("wider", 30.0)), ROUGH, BANDS)
    assert (
        "of what a plan can change, “longer” lowers the peak most, from 34.2"
        in picture.message.replace("\N{NO-BREAK SPACE}", " ")
    )


def test_levers_that_do_not_help_say_so() -> None:
    message = levers_figure("push", 20.0, PLAN, ROUGH, BANDS).message
    assert "no change of the plan lowers the peak" in message


def test_what_has_no_answer_is_not_said_to_be_of_no_help() -> None:
    message = levers_figure("push", 20.0, (*PLAN, ("thin", None, UNREACHED)), ROUGH, BANDS).message
    assert "no change of the plan that has an answer lowers the peak" in message


def test_levers_stand_below_what_they_are() -> None:
    notes = levers_figure("push", 34.2, PLAN, ROUGH, BANDS).figure.axes[0].texts
    at = {note.get_text(): note.xy[1] for note in notes}
    order = ["base case", "what a plan can change", "longer", "no hold"]
    order += ["what is known only roughly", "no cortex", "far softer", "stiffer", "slippery"]
    assert [at[name] for name in order] == list(range(len(order)))


def test_only_what_finds_no_balance_gives_way() -> None:
    picture = levers_figure("push", 34.2, PLAN, ROUGH, BANDS)
    shown = words(picture)
    assert shown.count(GIVES_WAY) == 1
    assert "interface.measured_torque_ncm = 150: no interference" in shown
    assert f"no hold: {GIVES_WAY}" in picture.alt
    assert "slippery: interface.measured_torque_ncm = 150" in picture.alt
    why = next(t for t in picture.figure.axes[0].texts if t.get_text().startswith("interface"))
    assert why.get_window_extent().x1 < picture.figure.bbox.x1


def test_an_answer_tells_its_levers_in_two_groups(result: CheckResult) -> None:
    levers = (
        Lever(by_plan=False, text="bone stiffer", ratios=(0.5,)),
        Lever(by_plan=True, text="implant wider", ratios=(0.8,)),
        Lever(by_plan=True, text="load heavier", ratios=(None,)),
    )
    drawn = {picture.name: picture for picture in pictures(replace(result, levers=levers))}
    message = drawn["levers"].message.replace("\N{NO-BREAK SPACE}", " ")
    assert "“implant wider” lowers the peak most" in message
    assert f"to {0.8 * result.governing.peak.total_um:.1f} µm" in message


def test_levers_draw_from_the_answer_to_each_change() -> None:
    picture = levers_figure("push", 34.2, PLAN, ROUGH, BANDS, title="Invented scenario")
    spans = [np.asarray(line.get_xdata(), dtype=float) for line in picture.figure.axes[0].lines]
    for peak in (24.0, 88.0):
        assert any(len(x) == 2 and x == pytest.approx([34.2, peak]) for x in spans)
    right = picture.figure.axes[0].get_xlim()[1]
    assert right < 900
    shown = words(picture)
    assert "900 µm" in shown
    assert "Invented scenario" in shown


# --- All of them --------------------------------------------------------------------------------------


def test_each_picture_has_its_message_on_top(result: CheckResult) -> None:
    for picture in (*pictures(result), levers_figure("push", 34.2, PLAN, ROUGH, BANDS)):
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
