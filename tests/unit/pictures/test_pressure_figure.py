"""The pressure on the seated wall, and what is said of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from stillroot.pictures.figures import pictures
from stillroot.pictures.pressure_figure import cortical_share, seat_pressure
from tests.unit.pictures._drawn import PUSH, answered, present, words

if TYPE_CHECKING:
    from stillroot.answers.result import CheckResult


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
    layers = {
        "cortical_thickness_mm": 0.6,
        "law": "linear",
        "trabecular_modulus_mpa": 150.0,
        "radius_mm": 8.0,
    }
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
