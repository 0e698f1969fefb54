"""Both bodies moved: the drawing agrees with the displacements."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from matplotlib.collections import PolyCollection

from stillroot.pictures.figures import pictures
from stillroot.pictures.gauge_figure import gauge
from stillroot.pictures.moved_figure import in_section_mm, moved
from stillroot.pictures.section_figure import section
from stillroot.units import UM_PER_MM
from tests.unit.pictures._drawn import answered, field_of, present, words

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stillroot.answers.result import CheckResult
    from stillroot.mechanics.fields import Displacement
    from stillroot.pictures.paper import Picture


def factor(picture: Picture) -> float:
    return float(words(picture).split("drawn ×")[1].split()[0])


def triangles(ax: Axes) -> list[PolyCollection]:
    return [c for c in ax.collections if isinstance(c, PolyCollection)]


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
        "curve-1-push",
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
