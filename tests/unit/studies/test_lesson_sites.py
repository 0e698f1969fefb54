"""The invented sites of the lesson: their ranges, their holds, and the load that all of them bear."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stillroot.studies import lesson_sites as sites
from stillroot.studies.lesson_sites import RANGES, site_points


def test_sites_lie_in_the_stated_ranges_and_fill_them():
    points = site_points(64)
    for r in RANGES:
        values = np.array([getattr(point, r.key) for point in points])
        assert r.low <= values.min()
        assert values.max() <= r.high
        position = np.log(values / r.low) / np.log(r.high / r.low) if r.even_in_log else None
        share = (values - r.low) / (r.high - r.low) if position is None else position
        quarters = np.histogram(share, bins=4, range=(0, 1))[0]
        assert quarters.min() >= 12, f"{r.key}: about 16 of 64 in each quarter"


def test_a_longer_set_begins_with_the_shorter_one():
    assert site_points(32)[:8] == site_points(8)


def test_a_hold_is_as_long_as_its_threads_and_stays_on_the_implant():
    for point in site_points(128):
        top, bottom = point.hold_mm
        assert 0 <= top < bottom <= sites.LENGTH_MM
        assert bottom - top == pytest.approx(sites.PITCH_MM * point.engaged_threads, abs=0.011)


def test_length_times_modulus_counts_the_rim_with_its_own_modulus():
    point = replace(site_points(1)[0], engaged_threads=5.0, place=0.0, trabecular_modulus_mpa=100.0)
    assert point.length_times_trabecular_n_mm == pytest.approx(4.0 * 100)
    assert point.length_times_modulus_n_mm == pytest.approx(1.0 * 13_700 + 3.0 * 100)


def test_every_site_bears_the_common_load():
    cases = {sites.case_of(p, sites.SMALL_CLOUD).loads for p in site_points(4)}
    cases |= {case.loads for pair in sites.built_pairs(sites.SMALL_CLOUD) for case in pair.cases}
    assert len(cases) == 1
    assert cases.pop()[0].components == (100.0, 30.0, 0.0)


def test_a_range_or_a_finding_has_its_source_beside_it():
    assert all(r.source for r in RANGES)
    assert all(item["source"] for item in sites.STATED["published"])
    assert all(item["source"] for item in sites.STATED["fixed"])
