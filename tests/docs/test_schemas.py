"""The published schemas of what is written as JSON: every answer fits, one with a key less does not."""

from __future__ import annotations

import copy
import json
from dataclasses import replace
from pathlib import Path

from jsonschema import Draft202012Validator

from stillroot import check, directions, directions_report, report
from stillroot.choices import Choice

FOLDER = Path(__file__).parents[2] / "docs" / "schemas"
COARSE = {"element_mm": 0.8, "harmonics": 3}
"""What is written does not depend on the mesh."""


def schema_of(name: str) -> Draft202012Validator:
    schema = json.loads((FOLDER / f"{name}.schema.json").read_text(encoding="utf-8"))
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


def as_read(data: dict) -> dict:
    """Return data as whoever reads the file has it: NaN, which JSON has not, is refused."""
    return json.loads(json.dumps(data, allow_nan=False))


def places(data: object, at: tuple = ()) -> list[tuple]:
    """Return the place of every key of an answer, of tables those of the first row."""
    found = []
    for key, value in data.items():
        found.append((*at, key))
        if isinstance(value, dict) and key not in {
            "case",
            "versions",
            "share_above",
            "peak_micromotion_um",
        }:
            found += places(value, (*at, key))
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            found += places(value[0], (*at, key, 0))
    return found


def assert_closed(schema: Draft202012Validator, data: dict) -> None:
    """Assert that no key may be missing, turned into a list, or joined by one that is not described."""
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
    peaks = (1.0,) + (None,) * (len(result.loads) - 1)
    asked = replace(result, choices=(Choice(subject="friction", text="0.3", peaks_um=peaks),))
    schema.validate(as_read(report.data_of(result)))
    data = as_read(report.data_of(asked))
    schema.validate(data)
    assert_closed(schema, data)


def test_directions_fit_their_schema_and_nothing_is_left_open(shipped_case):
    schema = schema_of("directions")
    data = as_read(directions_report.data_of(directions(shipped_case.with_numerics(**COARSE))))
    schema.validate(data)
    assert_closed(schema, data)
