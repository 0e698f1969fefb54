"""Studies against results known beforehand.

A bonded interface is linear, so the peak is proportional to the load. With an implant far stiffer than
the bone and no cortex it is also inversely proportional to the bone's modulus. Then ln(peak) is a sum,
and the distribution, the Sobol' indices and the limits of a study have closed forms.
"""

import math

import numpy as np
import pytest
from scipy.stats import norm

from stillroot import Case, Where, bounds, compare, spread, sweep
from stillroot.answers.chain import Chain, stage_keys
from stillroot.inputs.uncertain import CUT_SD
from stillroot.inputs.vary import changed
from stillroot.studies.outcome import for_any_moduli, solved

from ._chain import LINEAR

HERE = Where(workers=1)
FRICTIONAL = {
    **LINEAR,
    "title": "Invented scenario: frictional",
    "implant": {"diameter_mm": 4.0, "length_mm": 6.0, "thread": {"pitch_mm": 1.2}},
    "bone": {
        "cortical_thickness_mm": 1.0,
        "law": "linear",
        "trabecular_modulus_mpa": [[0, 300], [6, 150]],
    },
    "socket": {"holds_mm": [[1.0, 6.0]], "gap_fill": "graft"},
    "interface": {"friction": 0.4, "interference_um": 5.0},
    "loads": [{"name": "oblique", "axial_n": 60.0, "lateral_n": 15.0}],
}


def linear(**spread_table):
    return Case.from_dict({**LINEAR, **({"spread": spread_table} if spread_table else {})})


def peak_of(case):
    return solved(for_any_moduli(), case).peak_um


@pytest.mark.parametrize(
    "values",
    [
        {"load_factor": 0.7},
        {"interface.friction": 0.6},
        {"interface.interference_um": 9.0},
        {"trabecular_factor": 1.7},
        {"bone.cortical_modulus_mpa": 9000.0},
        {"socket.gap_modulus_mpa": 3.0},
        {"bone.crush_strain": 0.007},
        {"interface.measured_torque_ncm": 12.0},
        {"engagement_mm": 3.0},
        {"implant.length_mm": 7.0},
        {"bone.poisson": 0.25},
        {"numerics.load_steps": 2.0},
    ],
)
def test_what_is_taken_up_from_another_case_changes_no_digit(values):
    case = Case.from_dict(FRICTIONAL)
    one = changed(case, values)
    chain = for_any_moduli()
    solved(chain, case)
    assert solved(chain, one) == solved(for_any_moduli(), one)
    assert solved(chain, case) == solved(for_any_moduli(), case)


@pytest.mark.parametrize("values", [{"trabecular_factor": 1.7}, {"socket.gap_modulus_mpa": 3.0}])
def test_a_bone_of_one_piece_is_split_once_its_moduli_change(values):
    case = Case.from_dict(FRICTIONAL)
    chain = Chain()
    assert not chain.ground(case).for_any_moduli
    assert solved(chain, case).peak_um == pytest.approx(peak_of(case), rel=1e-6)
    one = changed(case, values)
    assert solved(chain, one).peak_um == pytest.approx(peak_of(one), rel=1e-6)
    assert chain.ground(one).for_any_moduli
    assert not chain.ground(case).for_any_moduli  # the first is still there


@pytest.mark.parametrize(
    ("values", "kept"),
    [
        ({"load_factor": 0.7}, (True, True, True)),
        ({"interface.friction": 0.6}, (True, True, False)),
        ({"bone.crush_strain": 0.007}, (True, True, False)),
        ({"trabecular_factor": 1.7}, (True, False, False)),
        ({"socket.gap_modulus_mpa": 3.0}, (True, False, False)),
        ({"engagement_mm": 3.0}, (False, False, False)),
        ({"numerics.far_mm": 50.0}, (False, False, False)),
    ],
)
def test_a_change_spares_the_stages_that_it_does_not_touch(values, kept):
    case = Case.from_dict(FRICTIONAL)
    pairs = zip(stage_keys(case), stage_keys(changed(case, values)), strict=True)
    assert tuple(a == b for a, b in pairs) == kept


def test_a_sweep_of_a_linear_case_is_in_proportion_to_load_and_to_softness():
    found = sweep(linear(), {"load_factor": [0.5, 1.0, 3.0], "trabecular_factor": [0.5, 2.0]}, HERE)
    expected = peak_of(linear()) * np.outer([0.5, 1.0, 3.0], [2.0, 0.5])
    np.testing.assert_allclose(found.peaks_um, expected, rtol=1e-4)
    table = found.table()
    assert table["load_factor"].to_list() == [0.5, 0.5, 1.0, 1.0, 3.0, 3.0]
    np.testing.assert_allclose(table["peak_micromotion_um"], expected.ravel(), rtol=1e-4)


@pytest.mark.slow
def test_sobol_indices_of_a_sum_are_its_shares_of_variance():
    """ln(peak) = ln(load) - ln(modulus): each index is σ²/Σσ², alone and with the other.

    Additive models: Saltelli et al. 2008, Global Sensitivity Analysis: The Primer, section 1.2, from
    memory.
    """
    case = linear(
        load_factor={"median": 1.0, "factor": 1.5}, trabecular_factor={"median": 1.0, "factor": 1.2}
    )
    found = spread(case, HERE, samples=256)
    variance = {"load_factor": math.log(1.5) ** 2, "trabecular_factor": math.log(1.2) ** 2}
    assert [driver.key for driver in found.drivers] == ["load_factor", "trabecular_factor"]
    for driver in found.drivers:
        share = variance[driver.key] / sum(variance.values())
        for index in (driver.first, driver.total):
            assert index.value == pytest.approx(share, abs=0.05)
            assert index.low <= share <= index.high


def test_a_spread_repeats_bounds_of_its_drivers_included():
    case = linear(
        load_factor={"median": 1.0, "factor": 1.5}, trabecular_factor={"median": 1.0, "factor": 1.2}
    )
    first, again = (spread(case, HERE, samples=8) for _ in range(2))
    assert first.drivers == again.drivers
    assert all(driver.total.low < driver.total.high for driver in first.drivers)


def test_sobol_indices_are_those_of_jansen_and_pass_no_bound():
    """Jansen 1999, Comput Phys Commun 117:35-43, from memory: mean squares of differences over 2V."""
    case = linear(
        load_factor={"median": 1.0, "factor": 1.5}, trabecular_factor={"median": 1.0, "factor": 1.2}
    )
    found = spread(case, HERE, samples=8)
    f = {name: [] for name in found.part}
    for name, outcome in zip(found.part, found.outcomes, strict=True):
        f[name].append(math.log(outcome.peak_um))
    variance = np.var(f["A"] + f["B"])
    for driver in found.drivers:
        swapped = np.array(f[driver.key])
        first = 1 - np.mean((f["B"] - swapped) ** 2) / (2 * variance)
        total = np.mean((f["A"] - swapped) ** 2) / (2 * variance)
        assert driver.first.value == pytest.approx(first, abs=1e-9)
        assert driver.total.value == pytest.approx(total, abs=1e-9)
        assert driver.first.value <= 1
        assert driver.total.value >= 0


def test_the_peak_of_a_linear_case_is_spread_as_its_load_is():
    """Quantiles of a log-normal load, truncated at 3 sd, times the peak."""
    case = linear(load_factor={"median": 1.0, "factor": 2.0})
    found = spread(case, HERE, samples=256, drivers=False)
    sigma = math.log(2.0) / norm.ppf(0.95)
    for share in (0.05, 0.5, 0.95):
        inside = norm.cdf(-CUT_SD) + share * (1 - 2 * norm.cdf(-CUT_SD))
        expected = peak_of(linear()) * math.exp(sigma * norm.ppf(inside))
        assert found.quantile_um(share) == pytest.approx(expected, rel=0.03)
    assert found.median_um.low < peak_of(linear()) < found.median_um.high
    assert sum(band.chance.value for band in found.bands) == pytest.approx(1.0)


def test_an_input_that_nothing_depends_on_drives_nothing():
    case = linear(load_factor=[0.5, 1.5], bone={"cortical_modulus_mpa": [5e3, 2e4]})
    found = {driver.key: driver for driver in spread(case, HERE, samples=32).drivers}
    assert found["bone.cortical_modulus_mpa"].total.value == pytest.approx(0.0, abs=1e-6)


def test_the_largest_load_of_a_linear_case_is_the_limit_over_the_peak():
    case, peak = linear(), peak_of(linear())
    found = bounds(case, 1.5 * peak, HERE, asked=["load", "bone"], with_spread=False)
    load, bone = (answer.value for answer in found.answers)
    assert load == pytest.approx(1.5, rel=0.05)
    assert bone == pytest.approx(1 / 1.5, rel=0.05)
    for answer in found.answers:
        assert answer.monotone
        assert answer.peak_um <= 1.5 * peak


def test_what_stays_below_in_nine_of_ten_samples_takes_the_quantile_of_the_spread():
    """A load factor uniform from 0.5 to 1.5: its 90 % quantile is 1.4."""
    case, peak = linear(load_factor=[0.5, 1.5]), peak_of(linear())
    (answer,) = bounds(case, 2 * peak, HERE, asked=["bone"], samples=64).answers
    assert answer.value == pytest.approx(1.4 / 2, rel=0.05)
    (answer,) = bounds(case, 2.8 * peak, HERE, asked=["load"], samples=64).answers
    assert answer.value == pytest.approx(2.0, rel=0.05)


def test_what_is_asked_for_acts_on_what_is_uncertain_and_is_not_undone_by_it():
    """A modulus that hardly varies and a factor on it: the peak is inversely proportional to both."""
    peak = peak_of(linear())
    case = linear(bone={"trabecular_modulus_mpa": [1.0, 1.001]})
    (answer,) = bounds(case, 1.5 * peak, HERE, asked=["bone"], samples=8).answers
    assert answer.value == pytest.approx(1 / 1.5, rel=0.05)
    # A height that is sought replaces an uncertain one: of all loads, or of one.
    limit = 1.5 * peak
    (plain,) = bounds(linear(), limit, HERE, asked=["lever"], with_spread=False).answers
    for key in ("loads.height_mm", "loads[1].height_mm"):
        (answer,) = bounds(linear(**{key: [5.0, 9.0]}), limit, HERE, asked=["lever"], samples=8).answers
        assert answer.value == plain.value is not None


def test_none_in_range_and_all_of_it_are_answers():
    none = bounds(linear(), 1e-6, HERE, asked=["engagement"], with_spread=False).answers[0]
    everything = bounds(linear(), 1e5, HERE, asked=["lever"], with_spread=False).answers[0]
    assert (none.value, none.below_everywhere) == (None, False)
    assert (everything.value, everything.below_everywhere) == (None, True)


def test_more_engagement_moves_less_and_the_least_is_found_on_the_side_below_the_limit():
    case = Case.from_dict(FRICTIONAL)
    limit = 1.5 * peak_of(case)
    (answer,) = bounds(case, limit, HERE, asked=["engagement"], with_spread=False).answers
    assert 0.2 < answer.value < 5.0
    assert peak_of(changed(case, {"engagement_mm": float(f"{answer.value:.3g}")})) <= limit, "as told"
    assert answer.engaged_threads == pytest.approx(answer.value / 1.2)


def test_a_case_beside_itself_differs_by_nothing_and_beside_a_softer_one_by_more_than_all_errors():
    case = linear(load_factor=[0.5, 1.5])
    softer = changed(case, {"trabecular_factor": 0.3}).model_copy(update={"spread": case.spread})
    found = compare({"one": case, "same": case, "softer": softer}, HERE, samples=16)
    same, worse, _ = found.pairs
    assert same.difference_um == 0
    assert not same.beyond_error
    assert not same.beyond_spread, "in no sample does one move more than the other"
    assert worse.difference_um > 0
    assert worse.beyond_error
    assert worse.second_moves_more == 1.0, "sampled with the same loads"
    low, high = found.interval_um(0)
    assert low < found.results[0].governing.peak.total_um < high
    assert [item.key for item in found.inputs] == ["bone.trabecular_modulus_mpa"]
