"""The torque of an interference fit: T = µp · 2πa²L under a uniform pressure p, p from Lamé's formula.

Friction round the axis is used up while the pin turns in, so insertion torque is read from the seat.
Turned again, the pin holds up to the same torque: found between one that it carries and one that it does
not.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from stillroot.errors import NotConverged
from stillroot.mechanics.loading import load
from stillroot.mechanics.resultant import Resultant
from stillroot.mechanics.torque import torque_of
from validation.pins import RIGID_PIN, pin_in_sleeve, uncrushable
from validation.pulled_pin import seated

SHORT, LONG = 8.0, 12.0
"""Two lengths of hold [mm]: in their difference the ends drop out."""
SOFTER = 1e-3
"""Of the hard layer's stiffness: a layer that takes nearly half of the interference."""
TURNS_NMM = 169.163
"""µp · 2πa²L of the long pin."""


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return torques [N·cm, N·mm]."""
    return {key: _FIGURES[key]() for key in keys}


def torque_of_4_mm(share_of_stiffness: float) -> float:
    """Return the insertion torque [N·cm] that 4 mm of hold add, in a sleeve held all round."""
    return insertion_ncm(LONG, share_of_stiffness) - insertion_ncm(SHORT, share_of_stiffness)


@cache
def insertion_ncm(hold: float, share_of_stiffness: float) -> float:
    pin = pin_in_sleeve(hold, RIGID_PIN, support="all_round", element=1.0)
    layer = uncrushable(pin.layer())
    layer = replace(layer, normal_stiffness=share_of_stiffness * layer.normal_stiffness)
    torque = torque_of(pin.seated(layer))
    assert torque is not None
    return torque.insertion_ncm


def largest_torque_nmm() -> float:
    """Return the torque half-way between one that is held and one that is not, 0.5 % apart."""
    held, lost = 0.9 * TURNS_NMM, 1.1 * TURNS_NMM
    while lost > 1.005 * held:
        middle = (held + lost) / 2
        try:
            load(seated("soft"), [Resultant(torque_nmm=middle)])
            held = middle
        except NotConverged:
            lost = middle
    return (held + lost) / 2


_FIGURES = {
    "hard": lambda: torque_of_4_mm(1.0),
    "soft": lambda: torque_of_4_mm(SOFTER),
    "turns": largest_torque_nmm,
}
