"""A load beyond what is borne: its motion prescribed, the force follows and stands still.

A rigid pile pushed sideways through ground that yields, under load control and under motion control.
"""

from __future__ import annotations

import itertools
from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest

from stillroot.mechanics.contact import Problem, SeriesStiffness
from stillroot.mechanics.limit import FLAT, Line, beyond
from validation.randolph_houlsby_1984.compute import THICK, K, pile

if TYPE_CHECKING:
    from validation.yielding_ground import Ground


@cache
def bed() -> Ground:
    return pile(2, 0.15, 1.8, smooth=False)


@cache
def pulled(force: float) -> tuple[Problem, Line]:
    """Return the pile free to move, and the line of loads up to a force [s_u D per length].

    Of a rigid implant, with m its motion: c = 1/(m : S_b m), λ_0 = c S_b m, D = S_b - λ_0 λ_0ᵀ/c.
    """
    held, motion = bed().problem, bed().rigid("lateral")
    pull = held.series.forces(motion)
    compliance = 1 / float(np.sum(pull * motion))
    unit, rows = compliance * pull[0, 1].ravel(), held.series.expand[1]
    lower = rows.T @ unit
    free = list(held.series.free)
    free[1] = free[1] - np.outer(lower, lower) / compliance
    series = SeriesStiffness(free=tuple(free), expand=held.series.expand)
    newtons = force * K * 2 * THICK
    problem = replace(
        held,
        series=series,
        precondition=series.preconditioner(held.precondition.blocks),
        scale_mm=K,
        stage="pull",
    )
    line = Line(
        first=bed().rest(),
        start=np.zeros_like(motion),
        load=newtons * compliance * pull,
        compliance=newtons**2 * compliance,
    )
    return problem, line


def test_the_force_is_that_of_the_same_motions_prescribed_one_after_the_other() -> None:
    problem, line = pulled(20.0)
    curve, _ = beyond(problem, line, line.first, 0.0)
    unit = float(np.sqrt(line.compliance * bed_compliance()))
    forces, _ = bed().pushed("lateral", [way.motion * unit for way in curve[1:]])
    assert [way.share * 20 * K * 2 * THICK for way in curve[1:]] == pytest.approx(list(forces), rel=1e-3)


def bed_compliance() -> float:
    motion = bed().rigid("lateral")
    return 1 / float(np.sum(bed().problem.series.forces(motion) * motion))


def test_a_force_beyond_the_limit_makes_it_give_way_where_the_force_stands_still() -> None:
    problem, line = pulled(20.0)
    curve, gives_way = beyond(problem, line, line.first, 0.0)
    assert gives_way
    before, last = curve[-2:]
    assert last.share - before.share < FLAT * (last.motion - before.motion)
    assert 0.5 < last.share < 0.7  # coarse: 12 to 14 of the 20 s_u D
    assert all(a.share < b.share for a, b in itertools.pairwise(curve))


def test_a_force_that_is_borne_is_met() -> None:
    problem, line = pulled(8.0)
    curve, gives_way = beyond(problem, line, line.first, 0.0)
    assert not gives_way
    assert curve[-1].share == pytest.approx(1.0, abs=1e-5)
    net = float(np.sum(bed().forces(curve[-1].state) * bed().rigid("lateral")))
    assert net == pytest.approx(8 * K * 2 * THICK, rel=1e-3)
