"""Levers and alternatives of the shipped cases: each changes what it names, and nothing else."""

from stillroot import Case
from stillroot.answers.changes import LIGHTER, alternatives, levers
from stillroot.studies.comparison import input_differences


def keys_that_differ(case, change):
    return {item.key for item in input_differences([case, change.applied_to(case)])}


def test_an_alternative_changes_the_keys_that_it_names(shipped_case):
    for change in alternatives(shipped_case):
        named = set(change.keys)
        differ = keys_that_differ(shipped_case, change)
        assert named <= differ, change.text
        assert differ <= named | {"socket.gap_modulus_mpa"}, "a fill has a modulus of its own"
        assert named


def test_a_lever_changes_something_within_the_limits_of_a_case(shipped_case):
    found = levers(shipped_case)
    assert all(keys_that_differ(shipped_case, change) for change in found)
    assert all(change.text for change in found)
    lighter = found[0].applied_to(shipped_case)
    for load, whole in zip(lighter.loads, shipped_case.loads, strict=True):
        scaled = [LIGHTER * part for part in whole.components]
        assert all(abs(a - b) < 1e-9 for a, b in zip(load.components, scaled, strict=True))


def test_a_lever_beyond_the_limits_is_left_out():
    """A hold of 0.5 mm cannot be 1 mm shorter, and one over the whole implant not longer."""
    data = {
        "title": "Invented scenario: a short hold",
        "implant": {"diameter_mm": 4.0, "length_mm": 6.0},
        "bone": {"cortical_thickness_mm": 0.0, "law": "linear", "trabecular_modulus_mpa": 200.0},
        "loads": [{"name": "push", "axial_n": 10.0}],
    }
    short = {**data, "socket": {"holds_mm": [[5.5, 6.0]]}}
    assert "held over 1 mm less" not in {c.text for c in levers(Case.from_dict(short))}
    assert "held over 1 mm more" not in {c.text for c in levers(Case.from_dict(data))}
    assert "half of each sideways force" not in {c.text for c in levers(Case.from_dict(data))}
