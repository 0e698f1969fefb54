"""A case with some of its keys changed.

A key is named as in the case file; lists count from 1, and "loads.height_mm" is that of every load.
Further numbers that can vary are in `STUDY_KEYS`. Defaults that the case leaves open follow the changes.
"""

from __future__ import annotations

import re
from functools import partial
from itertools import combinations
from typing import TYPE_CHECKING, Any

from stillroot.errors import CaseError
from stillroot.inputs.case import STUDY_KEYS, Case, key_problem

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

STEP = re.compile(r"[a-z_]+|\d+")
INDEX = re.compile(r"\[\d+\]")
SCALED = ("force_n", "axial_n", "lateral_n", "torque_ncm")
"""Keys of a load that its factor scales."""
WHOLE = ("numerics.harmonics", "numerics.load_steps")
"""Keys whose values are whole numbers."""
TRABECULAR = frozenset({"trabecular_modulus_mpa", "ct_number", "density"})
INSTEAD = (
    TRABECULAR,
    frozenset({"interference_um", "measured_torque_ncm"}),
    frozenset({"gap_modulus_mpa", "gap_fill"}),
)
"""Keys of a section that exclude one another: setting one removes the others."""


def assert_varies(key: str, told_as: str = "") -> None:
    """Refuse a key that is not a number of the case file or of `STUDY_KEYS`.

    Raises
    ------
    CaseError
        Its message follows `told_as`, which names the place where the key was given.
    """
    problem = key_problem(key)
    if problem:
        msg = f"{told_as}{key}: {problem}"
        raise CaseError(msg, key=key)


def assert_apart(keys: Iterable[str]) -> None:
    """Refuse keys of which one would silently replace another.

    Raises
    ------
    CaseError
        Names the two.
    """
    for one, other in combinations(keys, 2):
        if _clash(one, other):
            msg = f"{one} and {other}: one takes the place of the other; vary one of the two"
            raise CaseError(msg, key=other)


def _clash(one: str, other: str) -> bool:
    """Return whether two keys set the same thing: a list and its part, or two ways of stating it."""
    if {one, other} == {"engagement_mm", "engagement_from_crest_mm"}:
        return True
    (section, _, name), (section_2, _, name_2) = (
        INDEX.sub("", key).rpartition(".") for key in (one, other)
    )
    if section != section_2:
        return False
    if name == name_2:
        return len(INDEX.findall(one)) != len(INDEX.findall(other))
    return any({name, name_2} <= keys for keys in INSTEAD)


def changed(case: Case, values: Mapping[str, float]) -> Case:
    """Return the case with other numbers at some keys, validated as a case file is.

    Raises
    ------
    CaseError
        A key is not one of the case's numbers, or the values make no valid case.
    """
    try:
        for key in values:
            assert_varies(key)
        return with_keys(case, values)
    except CaseError as error:
        told = ", ".join(f"{key} = {value:.6g}" for key, value in values.items())
        plain = str(error).startswith((*(f"{key}:" for key in values), told))
        msg = str(error) if plain else f"with {told}: {error}"
        raise CaseError(msg, key=error.key, value=error.value) from None


def with_keys(case: Case, values: Mapping[str, Any]) -> Case:
    """Return the case with other values at some keys, which need not be numbers.

    Factors are applied last, in whatever order they are given.

    Raises
    ------
    CaseError
        The values make no valid case, or a key names a place that the case does not have.
    """
    data = case.stated()
    for key, value in sorted(values.items(), key=lambda item: item[0] in STUDY_KEYS):
        if key in STUDY_KEYS:
            _STUDY[key](case, data, value)
        elif key.startswith("loads."):
            for place in range(1, len(data["loads"]) + 1):
                _set(case, data, key.replace("loads", f"loads[{place}]", 1), value)
        else:
            _set(case, data, key, value)
    return Case.from_dict(data)


def stated_value(case: Case, key: str) -> float | None:
    """Return the number at a key of a case; 1 for a factor, None where there is no number."""
    if key.endswith("_factor"):
        return 1.0
    found: Any = case.to_dict()
    for step in STEP.findall(key):
        try:
            found = found[int(step) - 1 if step.isdigit() else step]
        except (KeyError, IndexError, TypeError, ValueError):
            return None
    return float(found) if isinstance(found, int | float) and not isinstance(found, bool) else None


def _set(case: Case, data: dict[str, Any], key: str, value: Any) -> None:
    """Set a key in the dictionaries of what a case states."""
    path = [int(step) - 1 if step.isdigit() else step for step in STEP.findall(key)]
    if len(path) == 2:
        _clear(data, str(path[0]), str(path[1]))
    reached: Any = data
    whole: Any = case.to_dict()  # includes lists that the case leaves open
    for step, following in zip(path, [*path[1:], None], strict=True):
        if isinstance(step, int) != isinstance(reached, list) or (
            isinstance(step, int) and step >= len(reached)
        ):
            _refuse_place(key, reached)
        if following is None:
            reached[step] = int(value) if key in WHOLE and float(value).is_integer() else value
            return
        if isinstance(step, str):
            whole = whole.get(step, {}) if isinstance(whole, dict) else {}
            reached.setdefault(step, whole if isinstance(following, int) else {})
        reached = reached[step]


def _refuse_place(key: str, found: object) -> None:
    holds = f"the list there has {len(found)}" if isinstance(found, list) else "there is no list there"
    msg = f"{key}: names a place that the case does not have; {holds} (lists count from 1)"
    raise CaseError(msg, key=key)


def _clear(data: dict[str, Any], section: str, name: str) -> None:
    """Remove from a section the keys that another key replaces."""
    others = next((keys for keys in INSTEAD if name in keys), frozenset())
    for other in others - {name}:
        data.get(section, {}).pop(other, None)
    if name == "trabecular_modulus_mpa":
        data["bone"].pop("density_law", None)


def _scale_loads(_: Case, data: dict[str, Any], factor: float) -> None:
    for load in data["loads"]:
        load |= {key: factor * load[key] for key in SCALED if key in load}


def _scale_trabecular(_: Case, data: dict[str, Any], factor: float) -> None:
    profile = Case.from_dict(data).bone.trabecular_profile_mpa
    _clear(data, "bone", "trabecular_modulus_mpa")
    data["bone"]["trabecular_modulus_mpa"] = [[depth, factor * modulus] for depth, modulus in profile]


def _hold(case: Case, data: dict[str, Any], length_mm: float, *, from_crest: bool) -> None:
    """State one hold of a length: from where the first one begins, or up from where the last one ends.

    An end that only rounding parts from the crest or the tip lies there.
    """
    whole = data["implant"].get("length_mm", case.implant.length_mm)
    holds = data["socket"].get("holds_mm", [[0.0, whole]])
    top, bottom = holds[0][0], holds[-1][1]
    top, bottom = (top, top + length_mm) if from_crest else (bottom - length_mm, bottom)
    top = 0.0 if abs(top) < 1e-9 else top
    bottom = whole if abs(bottom - whole) < 1e-9 else bottom
    data["socket"]["holds_mm"] = [[top, bottom]]


_STUDY: Mapping[str, Callable[[Case, dict[str, Any], float], None]] = {
    "engagement_mm": partial(_hold, from_crest=False),
    "engagement_from_crest_mm": partial(_hold, from_crest=True),
    "load_factor": _scale_loads,
    "trabecular_factor": _scale_trabecular,
}
