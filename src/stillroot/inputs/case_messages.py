"""Messages on a wrong case: one line per problem, with key, value and what would be right."""

from __future__ import annotations

import difflib
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Context, Decimal
from types import MappingProxyType
from typing import TYPE_CHECKING, get_origin

from pydantic import BaseModel

from stillroot.errors import CaseError
from stillroot.inputs.section import Sections, about

if TYPE_CHECKING:
    from pydantic import ValidationError
    from pydantic.fields import FieldInfo
    from pydantic_core import ErrorDetails

DIGITS, DECIMALS = 4, 9
"""Digits of a bound in a message, and the decimals that count: rounding errors do not."""
MOST_PROBLEMS_SHOWN = 5
LONGEST_VALUE = 60

UNITS: Mapping[str, str] = MappingProxyType(
    {"mm": "mm", "um": "µm", "n": "N", "ncm": "N·cm", "deg": "degrees", "mpa": "MPa"}
)
"""The units in which keys end, and how they are written."""

TEXTS: Mapping[str, str] = MappingProxyType(
    {
        "missing": "is missing. {meaning}{usual}",
        "greater_than": "must be greater than {gt:.12g}{unit}{usual}",
        "greater_than_equal": "must be at least {ge:.12g}{unit}{usual}",
        "less_than": "must be less than {lt:.12g}{unit}{usual}",
        "less_than_equal": "must be at most {le:.12g}{unit}{usual}",
        "finite_number": "must be a finite number{usual}",
        "float_type": "must be a number, without quotes{usual}",
        "int_type": "must be a whole number, without quotes or decimal point",
        "string_type": "must be text, in quotes",
        "string_too_short": "must not be empty",
        "string_too_long": "must have at most {max_length} letters",
        "too_long": "must have at most {max_length} entries",
        "literal_error": "must be one of {expected}",
        "model_type": "must be a table, {heading}, with its keys below",
        "tuple_type": "must be a list, in square brackets",
    }
)
"""What would be right, by the validator's name of what is wrong."""

_OTHER_UNITS = "cm|m|nm|in|inch|kn|lbf|nmm|rad|gpa|kpa|pa|degree|degrees|micron"
_SUFFIX = re.compile(f"_({'|'.join(UNITS)}|{_OTHER_UNITS})$")
_INDEX = re.compile(r"\[\d+\]")


@dataclass(frozen=True, kw_only=True)
class Problem:
    """One problem: `key`, dotted, lists counted from 1; `value` as written, "" for none."""

    key: str
    value: str
    text: str

    def __str__(self) -> str:
        """Return the line without the name of its file."""
        place = f"{self.key} = {self.value}" if self.value else self.key
        counted = " (lists count from 1)" if "[" in self.key else ""
        return f"{place}: {self.text}{counted}" if place else self.text


def case_error(problems: Sequence[Problem], file: str | None = None) -> CaseError:
    """Return the error that shows the first few problems, each with its file."""
    prefix = f"{file}: " if file else ""
    lines = [f"{prefix}{problem}" for problem in problems[:MOST_PROBLEMS_SHOWN]]
    if len(problems) > len(lines):
        lines.append(f"{prefix}and {len(problems) - len(lines)} more")
    first = problems[0]
    return CaseError("\n".join(lines), file=file, key=first.key, value=first.value or None)


def at_least(bound: float) -> str:
    """Return a lower bound in few digits, rounded up so that the stated value is accepted."""
    return _few_digits(bound, ROUND_CEILING)


def at_most(bound: float) -> str:
    """Return an upper bound in few digits, rounded down so that the stated value is accepted."""
    return _few_digits(bound, ROUND_FLOOR)


def _few_digits(bound: float, rounding: str) -> str:
    exact = Decimal(str(round(bound, DECIMALS)))
    return f"{float(Context(prec=DIGITS, rounding=rounding).create_decimal(exact)):.12g}"


def written(value: object) -> str:
    """Return a value roughly as in a case file, cut to one short line; "" for a table."""
    if isinstance(value, Mapping | BaseModel):
        return ""
    if isinstance(value, bool):
        text = str(value).lower()
    elif isinstance(value, str):
        text = json.dumps(value, ensure_ascii=False)
    elif isinstance(value, list | tuple):
        text = f"[{', '.join(written(item) or '{…}' for item in value[:LONGEST_VALUE])}]"
    else:
        text = _number_written(value)
    return text if len(text) <= LONGEST_VALUE else f"{text[: LONGEST_VALUE - 1]}…"


def _number_written(value: object) -> str:
    try:
        return str(value)
    except ValueError:  # Python refuses text of thousands of digits
        return "a number of thousands of digits"


def problems_of(error: ValidationError, data: Mapping[str, object], sections: Sections) -> list[Problem]:
    """Turn pydantic's errors about raw data into ours, without those that follow from another."""
    problems, explained, missing = [], set(), set()
    for detail in error.errors():
        kind = detail["type"]
        if kind == "default_factory_not_called":  # an earlier key is wrong, and is reported
            continue
        key, section, value = _place(detail, data, sections)
        if kind == "extra_forbidden":
            text, meant = _unknown(section, key, sections)
            explained.add(meant)
        else:
            text = _what_is_right(detail, section, key, sections)
        if kind == "missing":
            missing.add(key)
        problems.append(Problem(key=key, value=value, text=text))
    return [p for p in problems if not (p.key in missing and p.key in explained)]


def _place(detail: ErrorDetails, data: Mapping[str, object], sections: Sections) -> tuple[str, str, str]:
    """Return the key as a user counts, the section that contains it, and the value as written.

    The path ends early where the file has one value and the validated case a list.
    """
    inner = str(detail.get("ctx", {}).get("key", ""))
    key, section, value = "", "", ""
    reached: object = data
    for step in (*detail["loc"], *inner.split(".")) if inner else detail["loc"]:
        if isinstance(step, int):
            if not isinstance(reached, list | tuple) or step >= len(reached):
                break
            key, reached = f"{key}[{step + 1}]", reached[step]
        else:
            path = _INDEX.sub("", key)
            section = path if path in sections else section
            key = f"{key}.{step}" if key else step
            reached = reached.get(step) if isinstance(reached, Mapping) else None
        value = "" if reached is None else written(reached)
    return key, section, value


def _what_is_right(detail: ErrorDetails, section: str, key: str, sections: Sections) -> str:
    kind, plain = detail["type"], _INDEX.sub("", key)
    name = plain.rpartition(".")[2]
    info = sections[section].model_fields.get(name)
    if kind == "missing" and key in sections:
        return _section_missing(key, info, sections)
    if kind not in TEXTS:
        return detail["msg"]
    told, context = about(info), dict(detail.get("ctx", {}))
    if "expected" in context:
        context["expected"] = str(context["expected"]).replace("'", '"')
    return TEXTS[kind].format(
        **context,
        meaning=told["meaning"],
        usual=told["typical"] and f" (usual: {told['typical']})",
        unit=_unit(name),
        heading=f"[[{plain}]]" if key.endswith("]") else f"[{plain}]",
    )


def _section_missing(key: str, info: FieldInfo | None, sections: Sections) -> str:
    """Return the message on a missing section."""
    many = info is not None and get_origin(info.annotation) is tuple
    fields = sections[key].model_fields.items()
    needed = [name for name, its in fields if its.is_required() and not about(its)["default"]]
    heading = f"[[{key}]]" if many else f"[{key}]"
    return f"is missing: write {heading} and its keys below it, {', '.join(needed)} first"


def _unit(key: str) -> str:
    found = _SUFFIX.search(key)
    return f" {UNITS[found[1]]}" if found and found[1] in UNITS else ""


def _unknown(section: str, key: str, sections: Sections) -> tuple[str, str]:
    """Return the message on an unknown key, and the full name of the key that was likely meant."""
    prefix, _, name = key.rpartition(".")
    here = {known: f"{prefix}.{known}" if prefix else known for known in sections[section].model_fields}
    for known, full in here.items():
        if _SUFFIX.sub("", known) == _SUFFIX.sub("", name.lower()):
            unit = _unit(known)
            note = f" Its value is in{unit}." if unit else ""
            return f"is an unknown key; did you mean {full}?{note}", full
    elsewhere = [
        f"{other}.{name}".lstrip(".")
        for other, kind in sections.items()
        if other != section and name in kind.model_fields
    ]
    near = [here[known] for known in difflib.get_close_matches(name.lower(), here, n=1)]
    meant = elsewhere or near
    if meant:
        return f"is an unknown key; did you mean {' or '.join(meant)}?", meant[0]
    return f"is an unknown key; known here: {', '.join(here)}", ""


def unknown_key(section: str, key: str, sections: Sections, more: Mapping[str, str]) -> str:
    """Return the message on an unknown key of a study, which has `more` keys with their meanings."""
    own = [f"{section}.{name}" for name in sections[section].model_fields] if section else []
    near = difflib.get_close_matches(key.lower(), [*more, *own], n=1)
    if near and near[0] in more:
        return f"is an unknown key; did you mean {near[0]}?"
    text, _ = _unknown(section, key, sections)
    return text if section or "known here" not in text else f"{text}, {', '.join(more)}"
