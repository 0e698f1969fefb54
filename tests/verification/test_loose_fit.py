"""A loose fit, without friction or interference: it bears where it rests, and nowhere else.

Statics: a frictionless wall along the axis cannot take an axial force. A smooth implant then stands
on its end; a threaded one on the end and on the flanks that face the load.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest

from stillroot.errors import NotConverged
from stillroot.mechanics.resultant import Resultant

from ._chain import SMOOTH, Loaded, case_of, loaded, seated

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stillroot.mechanics.interface import Layer

LOOSE = {"friction": 0.0, "interference_um": 0.0}
PUSH_N = 100.0


def axial_share(it: Loaded, part: NDArray[np.bool_]) -> float:
    """Return the axial force on some points of the wall, as a share of the push."""
    layer = it.seated.layer
    along = layer.nodal_forces(it.state.tractions.traction * part[:, None])[..., 2]
    circle = 2 * np.pi / along.shape[1]
    return -float(circle * np.sum(along)) / PUSH_N


def end(layer: Layer) -> NDArray[np.bool_]:
    """Return the flat end; no other face of the plain case points straight down."""
    return layer.normal[1] < -1 + 1e-6


def apical_flanks(layer: Layer) -> NDArray[np.bool_]:
    """Return the flanks that face down: a push bears on them."""
    return (layer.normal[1] < -1e-6) & ~end(layer)


def coronal_flanks(layer: Layer) -> NDArray[np.bool_]:
    return layer.normal[1] > 1e-6


def straight(layer: Layer) -> NDArray[np.bool_]:
    return np.abs(layer.normal[1]) < 1e-6


@cache
def pushed(kind: str) -> Loaded:
    implant = SMOOTH if kind == "smooth" else {}
    # The end stands in a cavity where only the thread is to bear.
    socket = {"holds_mm": [[0.0, 4.8]], "gap_fill": "empty"} if kind == "no end" else {}
    case = case_of(implant=implant, socket=socket, interface=LOOSE)
    return loaded(seated(case), Resultant(axial_n=PUSH_N))


def test_a_smooth_implant_stands_on_its_end_alone() -> None:
    it = pushed("smooth")
    layer = it.seated.layer
    assert axial_share(it, end(layer)) == pytest.approx(1.0, abs=1e-5)
    assert axial_share(it, straight(layer)) == pytest.approx(0.0, abs=1e-12)
    # The side is not idle: the pushed implant bulges against it, and still carries nothing.
    assert np.max(it.state.tractions.traction[0, straight(layer)]) > 0


def test_friction_lets_the_side_of_a_smooth_implant_carry_its_part() -> None:
    # The same check with friction: otherwise it could not fail.
    rough = {"friction": 0.4, "interference_um": 10.0}
    it = loaded(seated(case_of(implant=SMOOTH, interface=rough)), Resultant(axial_n=PUSH_N))
    assert axial_share(it, straight(it.seated.layer)) > 0.1


def test_a_threaded_implant_stands_on_its_end_and_its_apical_flanks() -> None:
    it = pushed("threaded")
    layer = it.seated.layer
    parts = (apical_flanks, coronal_flanks, end)
    apical, coronal, bottom = (axial_share(it, part(layer)) for part in parts)
    assert apical + coronal + bottom == pytest.approx(1.0, abs=1e-5)
    assert apical > 0.2
    assert bottom > 0.02
    # The first ring of cortical bone is squeezed against the root of the thread and a little of the
    # flank below it, which pushes down: never up, and never much.
    assert -0.05 < coronal <= 0.0
    assert axial_share(it, straight(layer)) == pytest.approx(0.0, abs=1e-12)


def test_with_its_end_in_a_cavity_the_thread_carries_all() -> None:
    it = pushed("no end")
    layer = it.seated.layer
    assert not np.any(end(layer))
    flanks = apical_flanks(layer) | coronal_flanks(layer)
    assert axial_share(it, flanks) == pytest.approx(1.0, abs=1e-5)


def test_the_stiff_cortical_layer_takes_most_of_what_the_thread_carries() -> None:
    it = pushed("threaded")
    layer = it.seated.layer
    flanks = apical_flanks(layer)
    cortical = axial_share(it, flanks & (layer.height_mm > -1.5))
    assert cortical > 0.5 * axial_share(it, flanks)


def test_a_loose_smooth_implant_comes_straight_out() -> None:
    with pytest.raises(NotConverged):
        loaded(pushed("smooth").seated, Resultant(axial_n=-1.0))


def test_a_loose_threaded_implant_is_held_by_its_coronal_flanks() -> None:
    it = loaded(pushed("threaded").seated, Resultant(axial_n=-PUSH_N))
    assert axial_share(it, coronal_flanks(it.seated.layer)) == pytest.approx(-1.0, abs=1e-5)


def test_a_loose_fit_turns_freely() -> None:
    with pytest.raises(NotConverged):
        loaded(pushed("threaded").seated, Resultant(torque_nmm=1.0))


def test_a_loose_implant_pushed_sideways_bears_on_one_side_and_gapes_on_the_other() -> None:
    it = loaded(pushed("threaded").seated, Resultant(lateral_n=20.0, height_mm=6.0))
    layer, angles = it.seated.layer, it.state.fourier.angles
    crest = straight(layer) & (layer.height_mm > -0.8)
    pressure = it.state.tractions.traction[0, crest]
    ahead, behind = pressure[:, angles < 1.0], pressure[:, angles > np.pi - 1.0]
    assert ahead.max() > 1.0
    assert behind.max() == 0.0
