"""Axes whose values are factors."""

from __future__ import annotations

import numpy as np

from stillroot.pictures.scales import by_factors


def test_an_axis_goes_by_factors_where_its_values_do() -> None:
    assert by_factors(np.geomspace(10, 1000, 5))
    assert by_factors([30, 100, 300, 1000])
    assert not by_factors(np.linspace(10, 1000, 5))
    assert not by_factors([0, 1, 10])
    assert not by_factors([1, 2, 4, 6, 8])
