"""Plain data by tables of rules."""

from __future__ import annotations

import json
from dataclasses import dataclass

import numpy as np

from stillroot.writing.data import each, plain, same, where_there_is


@dataclass(frozen=True)
class Part:
    name: str
    at: object


ITEM = Part(name="whole", at=Part(name="part", at=None))


def test_a_rule_is_a_path_a_function_or_a_table():
    rules = {
        "title": "name",
        "inner": "at.name",
        "loud": lambda it: it.name.upper(),
        "nested": {**same("name"), **same("name", of="at")},
    }
    told = plain(ITEM, rules)
    assert told == {"title": "whole", "inner": "part", "loud": "WHOLE", "nested": {"name": "part"}}
    assert list(told) == list(rules)


def test_behind_none_all_is_none():
    assert plain(ITEM, {"deep": "at.at.name"}) == {"deep": None}
    assert plain(ITEM, {"part": where_there_is("at.at", same("name"))}) == {"part": None}
    assert plain(ITEM, {"part": where_there_is("at", same("name"))}) == {"part": {"name": "whole"}}


def test_arrays_and_tuples_are_lists():
    held = Part(name="rows", at=(ITEM, Part(name="other", at=np.array([1.0, 2.0]))))
    told = plain(held, {"rows": each("at", {"name": "name"}), "second": lambda it: it.at[1].at})
    assert told == {"rows": [{"name": "whole"}, {"name": "other"}], "second": [1.0, 2.0]}
    assert json.loads(json.dumps(told)) == told
