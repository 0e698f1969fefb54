"""The pressure of the bone on the seated implant, along its wall: what insertion torque comes from."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stillroot.mechanics.torque import AT_LIMIT, crushed
from stillroot.pictures.labels import write_in
from stillroot.pictures.paper import WIDTH_IN, Picture, Style, blank_sheet
from stillroot.pictures.wall import DASHES, UnrolledWall, draw_profile, frame_panel, unrolled_wall
from stillroot.pictures.words import percent, whole_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stillroot.answers.result import CheckResult
    from stillroot.arrays import Bools, Floats
    from stillroot.mechanics.torque import Torque


NO_PRESSURE_MPA = 1e-3
"""Below this the implant is taken to be seated without pressure."""
FAR = 2.5
"""A crushing pressure up to so many times the largest pressure is drawn; beyond, it is told."""


def seat_pressure(result: CheckResult) -> Picture | None:
    """Draw the pressure on the held wall as the implant went in, and what is left of it.

    None where the wall is glued, or nothing presses. Without a stated loss of pressure one curve is
    drawn: what the implant does when the driver lets go is small.
    """
    seated, torque = result.seated, result.torque
    going_in = _going_in(result)
    if torque is None or going_in.max() < NO_PRESSURE_MPA:
        return None
    loses = result.case.interface.retained_pressure < 1
    left = seated.state.tractions.traction[0, :, 0] if loses else going_in
    wall = unrolled_wall(result)
    message = _message(result, torque, going_in)
    sheet = blank_sheet(message, result.case.title, tall_in=4.95, foot_in=1.1, head_in=1.4)
    draw_profile(sheet.axes(0.72, 0.9), result.case, wall)
    ax = sheet.axes(1.75, WIDTH_IN - 2.05)
    crush = seated.inserting.crush_mpa
    near = crush[seated.layer.held & (crush <= FAR * going_in.max())]
    right = 1.2 * max(float(going_in.max()), float(near.max(initial=0.0)))
    _draw_curves(ax, wall, going_in, left, crush, right)
    if result.seated.site.bone is not None:
        _mark_crushed(ax, wall, _crushed(result))
    told = [_crushing_text(result, right)]
    if loses:
        told.append(f"Grey: the {result.case.interface.retained_pressure:.0%} of it that remains.")
    sheet.note(" ".join(told))
    if len(_held_layers(result)) > 1:
        _name_layers(ax, result, wall, going_in, right)
    elif going_in.max() < crush[int(np.argmax(going_in))] * (1 - 1e-9):  # one place is the largest
        _mark_largest(ax, wall, going_in, right)
    frame_panel(ax, result.case, wall, (0, right))
    ax.set_xlabel("pressure of the bone on the wall during insertion [MPa]")
    alt = f"{message}. {_alt(result, torque, going_in, left)}"
    if (of_torque := _torque_text(result, torque)) not in message:
        alt += f" {of_torque[0].upper()}{of_torque[1:]}."
    return sheet.picture("seat-pressure", alt)


def _draw_curves(
    ax: Axes, wall: UnrolledWall, going_in: Floats, left: Floats, crush: Floats, right: float
) -> None:
    """Draw the pressure during insertion, what is left of it, and where bone crushes if it is shown."""
    for points in (run.ravel() for run in wall.runs):
        at = wall.at[points]
        ax.fill_betweenx(at, left[points], 0.0, facecolor="0.66", edgecolor="none", zorder=2)
        ax.plot(going_in[points], at, color="black", linewidth=1.3, zorder=3)
        if crush[wall.edges].min() <= right:
            ax.plot(crush[points], at, color="black", linewidth=1.1, linestyle=DASHES, zorder=4)


def _mark_crushed(ax: Axes, wall: UnrolledWall, at_limit: Bools) -> None:
    """Draw a bar left of the axes along each edge of the wall beside which the bone yields."""
    for edge in wall.edges[at_limit[wall.edges].all(axis=1)]:
        ends, across = wall.at[edge[[0, 2]]], ax.get_yaxis_transform()
        look: Style = {"color": "black", "linewidth": 4.0, "solid_capstyle": "butt", "clip_on": False}
        ax.plot([-0.011, -0.011], ends, transform=across, **look)


def _crushing_text(result: CheckResult, right: float) -> str:
    """Return where bone crushes, layer by layer, on a scale that ends at `right`."""
    if result.seated.site.bone is not None:
        if not np.any(_crushed(result)):
            return "While the implant is turned in, no bone beside the wall yields."
        return "Bars on the left: there the bone is crushed while the implant is turned in."
    crush, layers = result.seated.inserting.crush_mpa, _held_layers(result)
    at = " and ".join(
        _range_mpa(crush[inside]) + f" in the {name}" * (len(layers) > 1)
        for name, inside in layers.items()
    )
    if crush[result.seated.layer.held].min() > right:
        return f"Bone crushes at {at}, beyond the scale."
    return f"Dashed: upper limit, where bone crushes: {at}."


def _mark_largest(ax: Axes, wall: UnrolledWall, pressure: Floats, right: float) -> None:
    most = int(np.argmax(pressure))
    x, y = float(pressure[most]), float(wall.at[most])
    ax.plot(x, y, "o", markersize=6, color="black", clip_on=False, zorder=6)
    low = y > 0.8 * wall.length
    place = (x - 0.02 * right, y + (-0.025 if low else 0.025) * wall.length)
    told = f"largest {_mpa(x)}"
    write_in(ax, place, told, side=-1, va="bottom" if low else "top", bold=True)


def _name_layers(
    ax: Axes, result: CheckResult, wall: UnrolledWall, pressure: Floats, right: float
) -> None:
    """Write the largest pressure of either layer of bone, above and below their border."""
    border = float(wall.at_depth(np.array([result.case.bone.cortical_thickness_mm]))[0])
    ax.axhline(border, color="0.45", linewidth=0.9, zorder=1.5)
    places = ((-0.008 * wall.length, "bottom"), (border + 0.015 * wall.length, "top"))
    for (name, inside), (y, va) in zip(_held_layers(result).items(), places, strict=True):
        told = f"{name.split()[0]} bone: up to {_mpa(float(pressure[inside].max()))}"
        write_in(ax, (0.985 * right, y), told, side=-1, va=va, bold=True)


def _going_in(result: CheckResult) -> Floats:
    """Return the pressure (p,) [MPa] on the held wall during insertion."""
    pressure = result.seated.inserted.tractions.traction[0, :, 0]
    return np.where(result.seated.layer.held, pressure, 0.0)


def _held_layers(result: CheckResult) -> dict[str, Bools]:
    """Return for each layer of bone with holds, by name, whether a held point (p,) is in it."""
    layer = result.seated.layer
    depth = -layer.height_mm[1::3]  # of an edge's middle: its ends may be on the border
    above = np.repeat(depth < result.case.bone.cortical_thickness_mm, 3)
    both = {"cortical layer": layer.held & above, "trabecular bone": layer.held & ~above}
    return {name: inside for name, inside in both.items() if np.any(inside)}


def cortical_share(result: CheckResult) -> float:
    """Return the share of the friction torque that the pressure in the cortical layer gives."""
    layer = result.seated.inserting
    moment = _going_in(result) * layer.weight_mm2 * layer.radius_mm
    inside = _held_layers(result).get("cortical layer")
    return 0.0 if inside is None else float(np.sum(moment[inside]) / np.sum(moment))


def _crushed(result: CheckResult) -> Bools:
    """Return at which points (p,) the bone beside yields as the implant goes in, or bears its limit."""
    return crushed(result.seated, result.seated.inserted, slack=AT_LIMIT)[:, 0]


def crushed_shares(result: CheckResult) -> dict[str, float]:
    """Return what is crushed in each layer of bone with holds, as shares of the whole held wall."""
    layer = result.seated.inserting
    area = np.where(layer.held, layer.weight_mm2, 0.0)
    at_limit = _crushed(result)
    return {
        name: float(np.sum(area[inside & at_limit]) / np.sum(area))
        for name, inside in _held_layers(result).items()
    }


def _message(result: CheckResult, torque: Torque, pressure: Floats) -> str:
    """Say how hard the bone presses, where or how much of it crushes, and what of the torque that is."""
    told = f"During insertion the bone presses with up to {whole_text(_mpa(float(pressure.max())))}"
    shares = crushed_shares(result)
    if len(shares) > 1 and any(shares.values()):  # of the torque the text beside the picture tells
        return f"{told}; it crushes {_crushed_text(shares)}"
    if any(shares.values()):
        return f"{told} and crushes {_crushed_text(shares)}; {_torque_text(result, torque)}"
    depth = -float(result.seated.layer.height_mm[int(np.argmax(pressure))])
    where = "at the crest" if depth < 0.05 else whole_text(f"{depth:.1f} mm below the crest")
    return f"{told}, {where}; {_torque_text(result, torque)}"


def _crushed_text(shares: dict[str, float]) -> str:
    """Return on how much of the held wall bone crushes, by layer where more than one has holds.

    Shares are of the whole held wall, so that they add up.
    """
    first, *others = [(name, _percent(share)) for name, share in shares.items() if share]
    told = f"on {first[1]} of the held wall"
    if len(shares) > 1:
        told += f"{'' if others else ', all of it'} in the {first[0]}"
    return told + "".join(f" and on {percent} in the {name}" for name, percent in others)


def _torque_text(result: CheckResult, torque: Torque) -> str:
    """Return how the pressure makes the torque."""
    friction = whole_text(f"{torque.friction_ncm:.0f} N·cm")
    share = cortical_share(result)
    if 0 < share < 1:
        return f"{_percent(share)} of the torque of {friction} comes from the cortical layer"
    return f"its friction gives the torque of {friction}"


def _percent(share: float) -> str:
    """Return a share in per cent, as a sentence has it."""
    return whole_text(percent(share).replace("<", "less than "))


def _range_mpa(pressure: Floats) -> str:
    """Return the lowest and highest of pressures, one figure where they are alike."""
    low, high = _mpa(float(pressure.min())), _mpa(float(pressure.max()))
    return low if low == high else f"{low.removesuffix(' MPa')} to {high}"


def _mpa(pressure: float) -> str:
    """Return a pressure with its unit."""
    return f"{float(f'{pressure:.2g}'):g} MPa" if pressure < 100 else f"{pressure:.0f} MPa"


def _alt(result: CheckResult, torque: Torque, going_in: Floats, left: Floats) -> str:
    held = result.seated.layer.held
    told = (
        "Pressure along the wall of the seated implant, from the crest downwards, flanks and end face "
        f"included; it is {_mpa(torque.mean_pressure_mpa)} on average."
    )
    if torque.share_crushed:
        told += f" On {_percent(torque.share_crushed)} of the held wall it crushes the bone."
    if left is not going_in:
        told += f" At most {_mpa(float(left[held].max()))} of it remains."
    return told
