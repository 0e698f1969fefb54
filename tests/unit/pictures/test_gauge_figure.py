"""The gauge at the head agrees with the answer."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from stillroot.answers.wording import with_error
from stillroot.mechanics.head_parts import ANGLES, carried, head_parts
from stillroot.pictures.gauge_figure import gauge
from stillroot.units import UM_PER_MM
from tests.unit.pictures._drawn import PUSH, answered, field_of, present, words

if TYPE_CHECKING:
    from stillroot.answers.result import CheckResult


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
        bone={
            "cortical_thickness_mm": 0.0,
            "law": "linear",
            "trabecular_modulus_mpa": 20.0,
            "radius_mm": 8.0,
        },
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
