"""The section under the governing load, the displacement of both bodies drawn many times as large."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.collections import LineCollection, PolyCollection

from stillroot.mechanics.outline import IMPLANT_BODY, outline_of
from stillroot.mechanics.stress import IN_PLANE_SIDES
from stillroot.pictures.bodies import (
    REGION_LOOK,
    View,
    draw_force,
    mirrored_corners,
    name_load,
    point_out_gaps,
    view_of,
)
from stillroot.pictures.labels import point_out, write_in
from stillroot.pictures.paper import WIDTH_IN, Picture, Style, blank_sheet
from stillroot.pictures.section_figure import TALL_IN, frame_section
from stillroot.pictures.words import (
    joined,
    peak_words,
    picture_name,
    um_text,
    under_text,
    whole_text,
)
from stillroot.units import UM_PER_MM
from stillroot.words.loads import load_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stillroot.answers.result import CheckResult, LoadAnswer
    from stillroot.arrays import Floats
    from stillroot.mechanics.bodies import Body
    from stillroot.mechanics.fields import Displacement
    from stillroot.mechanics.resultant import Resultant
    from stillroot.pictures.labels import Place


SHARE = 0.08
"""Of the drawing's height: how far the largest displacement is drawn, about."""
SAID = 0.15
"""Of the head movement: the part along the axis that is worth a word."""
SEEN = 0.012
"""Of the drawing's height: how wide a gap between wall and bone is pointed out."""
SIGNS = np.array([1.0, -1.0])
"""Sides of the section, right and left: where x = r and where x = -r."""


def moved(result: CheckResult, field: Displacement) -> Picture | None:
    """Draw both bodies displaced under the governing load; None where no force acts.

    A torque alone turns everything out of the section. `field` is the displacement under that load.
    """
    answer = result.governing
    load = answer.resultant
    if not (load.lateral_n or load.axial_n):
        return None
    pair = result.seated.site.pair
    implant, bone = (in_section_mm(field, u) for u in (field.implant, field.bone))
    view = view_of(result.case, load, aspect=(WIDTH_IN - 1.0) / TALL_IN)
    times = magnification(view, answer, ((pair.implant, implant), (pair.bone, bone)))
    view = view.with_room(times * max(-answer.head.axial_um, 0.0) / UM_PER_MM)
    message = _message(answer, implant[_node_at(pair.implant, 0.0, -np.inf), 0])
    sheet = blank_sheet(message, result.case.title, tall_in=TALL_IN, foot_in=0.75, head_in=1.25)
    ax = sheet.axes(0.78, WIDTH_IN - 1.0)
    ax.set_rasterization_zorder(0)  # thousands of elements would swell a drawing of lines
    _draw_body(ax, pair.bone, times * bone, order=-2.0)
    _draw_body(ax, pair.implant, times * implant, order=-1.0)
    _draw_rest(ax, result)
    _draw_moved_load(ax, view, result, times * implant, times)
    _name_bodies(ax, view, result, times * implant)
    _point_out_opening(ax, view, result, (times * implant, times * bone))
    _write_labels(ax, view, load, times)
    frame_section(ax, view, load)
    opens = np.any(result.seated.layer.one_sided)
    alt = (
        f"{message}. Section in the plane of the load ({load_text(load, lines=1)}), the displacement of "
        f"implant and bone drawn {times:g} times as large, the implant at rest dashed"
        f"{'; where the wall opens, white shows between the two' if opens else ''}. "
        f"The peak micromotion is {peak_words(answer)}."
    )
    return sheet.picture(picture_name(result, answer, "moved"), alt)


def in_section_mm(field: Displacement, u: Floats) -> Floats:
    """Return the displacement x, z (n, 2 sides, 2) [mm] in the section, right side first."""
    values = field.fourier.values(u, np.array(IN_PLANE_SIDES))
    return np.stack([SIGNS * values[..., 0], values[..., 2]], axis=-1)


def magnification(view: View, answer: LoadAnswer, bodies: tuple[tuple[Body, Floats], ...]) -> float:
    """Return 1, 2 or 5 times a power of ten: the largest displacement shown is then about `SHARE`."""
    largest = answer.head.total_um / UM_PER_MM
    for body, change in bodies:
        r, z = body.nodes_mm
        shown = (r < view.half_width) & (z > view.low)
        largest = max(largest, float(np.linalg.norm(change[shown], axis=-1).max()))
    wanted = SHARE * view.span / largest
    return min(_round_ones(wanted), key=lambda value: abs(np.log(value / wanted)))


def _round_ones(value: float) -> list[float]:
    """Return 1, 2 and 5 times the power of ten below a value, and the next power."""
    return [float(10.0 ** np.floor(np.log10(value)) * m) for m in (1, 2, 5, 10)]


def _draw_body(ax: Axes, body: Body, change: Floats, order: float) -> None:
    """Draw a body's elements, displaced, in the grey of their region, and its edges."""
    r, z = body.nodes_mm
    mesh = body.basis.mesh
    owner = body.region[mesh.f2t]  # of the elements on either side of an edge; -1 is none
    edges = mesh.facets[:, (mesh.f2t[1] < 0) | (owner[0] != owner[1])]
    corner = body.basis.nodal_dofs[0]
    edges = corner[edges[:, np.any(mesh.p[0, edges] > 1e-9, axis=0)]]  # the axis is no edge of a body
    for side, sign in enumerate(SIGNS):
        place = np.stack([sign * r, z], axis=1) + change[:, side]
        for number, name in enumerate(body.names):
            triangles = body.elements[:3, body.region == number].T
            grey = REGION_LOOK[name]["facecolor"]
            look: Style = {"facecolor": grey, "edgecolor": "0.62", "linewidth": 0.22, "zorder": order}
            ax.add_collection(PolyCollection(list(place[triangles]), **look), autolim=False)
        line: Style = {"colors": "0.1", "linewidths": 1.3, "capstyle": "round"}
        ax.add_collection(LineCollection(place[edges.T], zorder=order + 0.1, **line), autolim=False)


def _draw_rest(ax: Axes, result: CheckResult) -> None:
    """Draw the implant and the crest where they were."""
    look: Style = {"color": "0.35", "linewidth": 0.6, "linestyle": (0, (4, 2.5)), "zorder": 3}
    ax.axhline(0, **look)
    for region in outline_of(result.case).regions:
        if region.name in IMPLANT_BODY:
            corners = mirrored_corners(region.corners_mm)
            ax.plot(*np.vstack([corners, corners[:1]]).T, **look)


def _node_at(body: Body, r: float, z: float) -> int:
    """Return the node nearest to a place; of the axis an end where `z` is infinite."""
    near = np.clip(z, body.nodes_mm[1].min(), body.nodes_mm[1].max())
    return int(np.argmin(np.hypot(body.nodes_mm[0] - r, body.nodes_mm[1] - near)))


def _gone_to(body: Body, node: int, change: Floats) -> Place:
    """Return where a node on the axis has gone."""
    x, z = body.nodes_mm[:, node] + change[node, 0]
    return float(x), float(z)


def _draw_moved_load(
    ax: Axes, view: View, result: CheckResult, moved_implant: Floats, times: float
) -> None:
    """Draw the load where the head has gone, on a rod from the middle of the abutment's top."""
    answer, body = result.governing, result.seated.site.pair.implant
    load, head = answer.resultant, answer.head
    top = _gone_to(body, _node_at(body, 0.0, np.inf), moved_implant)
    x, rise = head.lateral_um / UM_PER_MM, -head.axial_um / UM_PER_MM
    at = (times * x, load.height_mm + times * rise)
    if at[1] > top[1]:
        ax.plot([top[0], at[0]], [top[1], at[1]], color="0.15", linewidth=1.4, zorder=5)
    ax.plot(0, load.height_mm, "o", markersize=4.5, mfc="white", mec="0.35", mew=0.9, zorder=5.5)
    far = draw_force(ax, load, at, view.arrow)
    if far is not None:
        beside = result.case.implant.abutment_diameter_mm / 2 + abs(top[0])
        name_load(ax, view, far, load, beside if far[1] < top[1] else 0.0)


def _write_labels(ax: Axes, view: View, load: Resultant, times: float) -> None:
    """Write how much larger it is drawn, with a bar of motion, and what the lines are."""
    left, right, step = -0.97 * view.half_width, 0.97 * view.half_width, 0.038 * view.span
    y = view.high - 0.025 * view.span
    write_in(ax, (left, y), f"displacement drawn ×{times:g}", va="top", bold=True)
    longest = 0.18 * view.half_width * UM_PER_MM / times
    bar = max(um for um in _round_ones(longest) if um <= longest * (1 + 1e-9))
    y -= 1.7 * step
    ends = [left, left + times * bar / UM_PER_MM]
    ax.plot(ends, [y, y], color="black", linewidth=2.6, solid_capstyle="butt", zorder=6)
    write_in(ax, (ends[1] + 0.015 * view.span, y), f"{bar:g} µm of motion")
    write_in(ax, (left, y - step), "dashed: at rest")
    if load.torque_nmm:
        told = "The turn about the axis is not visible."
        write_in(ax, (right, view.low + 0.05 * view.span), told, side=-1, fontstyle="italic")


def _name_bodies(ax: Axes, view: View, result: CheckResult, moved_implant: Floats) -> None:
    """Write names where the bodies have gone, the gap's beside a line into it."""
    case = result.case
    body = result.seated.site.pair.implant
    node = _node_at(body, 0.0, -0.5 * case.implant.length_mm)
    write_in(ax, _gone_to(body, node, moved_implant), "implant", side=0)
    point_out_gaps(ax, case, -1.0, -view.edge, outwards=False)


def _point_out_opening(ax: Axes, view: View, result: CheckResult, parts: tuple[Floats, Floats]) -> None:
    """Point at the widest gap that the load opens in the section, where it can be seen.

    What is glued stretches, and does not open.
    """
    pair, layer = result.seated.site.pair, result.seated.layer
    wall = pair.wall
    implant, bone = parts[0][wall.implant_nodes], parts[1][wall.bone_nodes]
    n_r, n_z = layer.normal
    widest, at, sign = 0.0, (0.0, 0.0), 1.0
    for side, s in enumerate(SIGNS):
        apart = (bone - implant)[layer.node, side]
        opened = np.where(layer.one_sided, s * n_r * apart[:, 0] + n_z * apart[:, 1], 0.0)
        point = int(np.argmax(opened))
        if opened[point] > widest:
            node = layer.node[point]
            middle = wall.nodes_mm[:, node] * [s, 1.0] + (implant + bone)[node, side] / 2
            widest, at, sign = float(opened[point]), (float(middle[0]), float(middle[1])), float(s)
    if widest < SEEN * view.span:
        return
    point_out(ax, at, view.beside(at, sign), "opens", side=-sign)


def _message(answer: LoadAnswer, tip: Floats) -> str:
    """Say how far the implant sinks, and how far head and tip go aside."""
    head, load = answer.head, answer.resultant
    aside, low = head.lateral_um, float(tip[0]) * UM_PER_MM
    told = []
    if abs(head.axial_um) > SAID * head.total_um or not load.lateral_n:
        way = "sinks" if head.axial_um > 0 else "rises"
        told.append(f"the implant {way} {_whole_um(head.axial_um)}")
    if load.lateral_n:
        other = "same" if aside * low > 0 else "other"
        told.append(f"the head moves {_whole_um(aside)} sideways")
        told.append(f"the tip {_whole_um(low)} to the {other} side")
    return f"{under_text(answer)} {joined(told)}"


def _whole_um(value_um: float) -> str:
    return whole_text(um_text(abs(value_um)))
