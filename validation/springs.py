"""Springs in place of implants under a bridge, so that its arms, beams and search stand alone."""

from __future__ import annotations

from dataclasses import dataclass
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from stillroot.arch.splint import Attached, Splinted, solve
from stillroot.inputs.materials import Material

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    from stillroot.arch.bridge import Bridge

    Floats = NDArray[np.float64]

TITANIUM = Material(modulus_mpa=110_000.0, poisson=0.33)


@dataclass(frozen=True)
class Spring:
    """A head on a linear spring (6, 6), in place of an implant."""

    stiffness: Floats
    yields: ClassVar[bool] = False

    @property
    def first_tangent(self) -> Floats:
        return self.stiffness

    @property
    def at_rest(self) -> Any:
        return SimpleNamespace(motion=np.zeros(6))

    def response_mm(self, motion: Floats) -> float:
        return float(np.linalg.norm(motion))

    def moved(self, _start: Any, motion: Floats, **_: Any) -> Any:
        return SimpleNamespace(motion=motion)

    def force(self, moved: Any) -> Floats:
        return self.stiffness @ moved.motion

    def tangent(self, _moved: Any) -> Floats:
        return self.stiffness


def springs(*stiffness: float) -> Spring:
    """Return a spring of given stiffnesses along x, y, z [N/mm] and about them [N·mm]."""
    return Spring(np.diag(stiffness).astype(float))


def on_bridge(bridge: Bridge, points_mm: Floats, kinds: Sequence[Spring]) -> list[Attached]:
    """Return springs on a bridge, at points (k, 3)."""
    return [
        Attached(head=kind, arm=bridge.arm(p), frame=np.eye(3), crest_mm=p)  # type: ignore[arg-type]
        for kind, p in zip(kinds, points_mm, strict=True)
    ]


def loaded(bridge: Bridge, attached: list[Attached], *forces: tuple[ArrayLike, ArrayLike]) -> Splinted:
    """Return the bridge in equilibrium under forces, each a place [mm] and a force [N] (3,)."""
    load = sum(bridge.arm(np.array(at, float))[:3].T @ np.array(f, float) for at, f in forces)
    return solve(attached, bridge.stiffness, np.asarray(load), steps=1, name="load")
