"""The published schemas of the JSON output: every answer fits, one with a key less does not."""

from __future__ import annotations

import copy
import json
from dataclasses import replace
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from stillroot import (
    Case,
    Where,
    bounds,
    check,
    check_span,
    compare,
    directions,
    explain,
    spread,
    sweep,
    with_ranges,
)
from stillroot.answers.explained import Choice, as_explained
from stillroot.arch.plan import Plan, read_plan
from stillroot.arch.span_vary import Variation, Varied
from stillroot.writing.output import data_of

ROOT = Path(__file__).parents[2]
FOLDER = ROOT / "docs" / "schemas"
PLANS = sorted((ROOT / "docs" / "plans").glob("*.toml"))
COARSE = {"element_mm": 0.8, "harmonics": 3}
"""The layout of the output does not depend on the mesh."""
NOT_TAKEN_APART = {
    "case",
    "plan",
    "versions",
    "share_above",
    "peak_micromotion_um",
    "peak_ratio",
    "insertion_torques_ncm",
}
"""Inputs, versions, and tables keyed by names or bands of the input."""
HERE = Where(workers=1)


def schema_of(name: str) -> Draft202012Validator:
    schema = json.loads((FOLDER / f"{name}.schema.json").read_text(encoding="utf-8"))
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


def as_read(data: dict) -> dict:
    """Return data as a reader of the file gets it; NaN, which JSON does not have, is refused."""
    return json.loads(json.dumps(data, allow_nan=False))


def places(data: dict, at: tuple = ()) -> list[tuple]:
    """Return the path of every key of an answer, in tables those of the first row."""
    found = []
    for key, value in data.items():
        found.append((*at, key))
        if isinstance(value, dict) and key not in NOT_TAKEN_APART:
            found += places(value, (*at, key))
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            found += places(value[0], (*at, key, 0))
    return found


def assert_closed(schema: Draft202012Validator, data: dict) -> None:
    """Assert that no key may be missing, turned into a list, or joined by an undescribed one."""
    for *above, key in places(data):
        for change in ("gone", "a list of lists", "one more"):
            broken = copy.deepcopy(data)
            holder = broken
            for step in above:
                holder = holder[step]
            match change:
                case "gone":
                    del holder[key]
                case "a list of lists":
                    holder[key] = [[]]
                case _:
                    holder["not_described"] = 1.0
            assert not schema.is_valid(broken), (above, key, change)


def test_an_answer_fits_its_schema_and_nothing_is_left_open(shipped_case):
    schema = schema_of("result")
    result = check(shipped_case.with_numerics(**COARSE))
    if shipped_case.bone.strength.material == "foam":  # the quickest; the keys are the same
        result = explain(with_ranges(result))
    result = as_explained(result)
    schema.validate(as_read(data_of(replace(result, six=None, levers=()))))
    peaks = (1.0,) + (None,) * (len(result.answer.loads) - 1)
    asked = replace(result, choices=(Choice(subject="friction", text="0.3", peaks_um=peaks),))
    schema.validate(as_read(data_of(result)))
    data = as_read(data_of(asked))
    schema.validate(data)
    assert_closed(schema, data)


def test_directions_fit_their_schema_and_nothing_is_left_open(shipped_case):
    schema = schema_of("directions")
    data = as_read(data_of(directions(shipped_case.with_numerics(**COARSE))))
    schema.validate(data)
    assert_closed(schema, data)


SMALL = Case.from_dict(
    {
        "title": "Invented scenario: written as JSON",
        "implant": {"diameter_mm": 4.0, "length_mm": 4.0, "thread": {"form": "none"}},
        "bone": {"cortical_thickness_mm": 1.0, "law": "linear", "trabecular_modulus_mpa": 300.0},
        "loads": [{"name": "oblique", "axial_n": 20.0, "lateral_n": 5.0}],
        "numerics": {"element_mm": 1.0, "harmonics": 3, "load_steps": 1},
        "spread": {"trabecular_factor": {"median": 1, "factor": 2}, "load_factor": [0.7, 1.3]},
    }
)
STUDIES = {
    "sweep": lambda: data_of(sweep(SMALL, {"load_factor": [0.5, 500.0]}, HERE)),
    "spread": lambda: data_of(spread(SMALL, HERE, samples=8)),
    "bounds": lambda: data_of(bounds(SMALL, 20.0, HERE, asked=["load", "bone"], samples=8)),
    "compare": lambda: data_of(
        compare({"one": SMALL, "coarser": SMALL.with_numerics(element_mm=0.8)}, HERE, samples=8)
    ),
}


@pytest.mark.parametrize("name", STUDIES)
def test_a_study_fits_the_schema_of_studies(name):
    schema = schema_of("study")
    data = as_read(STUDIES[name]())
    schema.validate(data)
    assert data["study"] == name
    assert not schema.is_valid({**data, "study": "another"})
    for key in data.keys() - {"failed", "failed_share", "can_be_trusted", "reasons"}:
        assert not schema.is_valid({k: v for k, v in data.items() if k != key}), key
        assert not schema.is_valid({**data, key: [[]]}), key


@pytest.mark.parametrize("path", PLANS, ids=lambda path: path.stem)
def test_a_full_arch_fits_its_schema_and_nothing_is_left_open(path):
    schema = schema_of("span")
    plan = read_plan(path).to_dict()
    for case in plan["cases"].values():
        case["numerics"] = COARSE
        if path.stem != "six_upright":  # the keys are the same
            case["bone"]["law"] = "linear"
    result = check_span(Plan.from_dict(plan), quick=True)
    data = as_read(data_of(result))
    schema.validate(data)
    assert_closed(schema, data)
    rows = (Varied(label="as it is", result=result), Varied(label="without", result=None))
    varied = Variation(plan=result.plan, what="an implant left out", rows=rows)
    schema.validate(as_read(data_of(varied)))
