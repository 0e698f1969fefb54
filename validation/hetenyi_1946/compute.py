"""A long beam on many springs: Hetényi 1946, P·β/(2k) e^(-βx) (cos βx + sin βx), β = (k/(4EI))^(1/4)."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from stillroot.arch.bridge import CrossSection, beam_bridge
from stillroot.arch.polyline import Polyline
from validation.springs import TITANIUM, loaded, on_bridge, springs
from validation.suite import Curve

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

APART_MM, COUNT, EACH_N_PER_MM, PRESSED_N = 4.0, 121, 40.0, 100.0
SECTION = CrossSection(width_mm=3.0, height_mm=3.0)
MIDDLE = COUNT // 2


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return deflections [µm], a length [mm] and a force [N]."""
    return {key: _FIGURES[key]() for key in keys}


def curve() -> Curve:
    """Return how far the beam sinks against the distance from the load."""
    k = EACH_N_PER_MM / APART_MM
    beta = (k / (4 * TITANIUM.modulus_mpa * SECTION.second_moments_mm4[1])) ** 0.25
    x = np.linspace(0, 120, 121)
    sunk_um = 500 * PRESSED_N * beta / k * np.exp(-beta * x) * (np.cos(beta * x) + np.sin(beta * x))
    return Curve(
        title="A long bridge on springs, 100 N in its middle",
        x_label="distance from the load (mm)",
        y_label="how far it sinks (µm)",
        published=list(zip(x, sunk_um, strict=True)),
        computed=[(APART_MM * j, sunk(j)) for j in range(0, 31, 2)],
    )


@cache
def forces() -> Floats:
    """Return the forces (n,) on the springs, positive pressing in."""
    heads = np.array([[APART_MM * (j - MIDDLE), 0.0, 0.0] for j in range(COUNT)])
    bridge = beam_bridge(Polyline(corners_mm=heads[[0, -1]]), SECTION, TITANIUM, list(heads))
    held = on_bridge(bridge, heads, [springs(1e3, 1e3, EACH_N_PER_MM, 1e3, 0, 0)] * COUNT)
    return -loaded(bridge, held, (np.zeros(3), (0, 0, -PRESSED_N))).forces[:, 2]


def sunk(place: int) -> float:
    """Return how far the beam sinks [µm] at a spring, counted from the middle one."""
    return float(1000 * forces()[MIDDLE + place] / EACH_N_PER_MM)


def level_mm() -> float:
    """Return how far from the load the beam first does not sink, between springs on a straight line."""
    beyond = forces()[MIDDLE:]
    j = int(np.argmax(beyond < 0))
    return float(APART_MM * (j - beyond[j] / (beyond[j] - beyond[j - 1])))


_FIGURES = {
    "under_load": lambda: sunk(0),
    "level": level_mm,
    "lifted": lambda: float(forces().min()),
}
