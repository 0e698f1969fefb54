"""Common parts of the sections of the input files: base class, descriptions of keys, refusals."""

from __future__ import annotations

from typing import Any, NoReturn

from pydantic import BaseModel, ConfigDict, Field, model_validator
from pydantic_core import PydanticCustomError

ASSUMPTION = "assumption"
COMMON_PRACTICE = "common practice, no source"


def about(text: str, *, source: str = "", default: str = "", typical: str = "") -> Any:
    """Describe a key: meaning, source of the default, the default in words, the usual range."""
    extra = {"source": source, "default": default, "typical": typical}
    return Field(description=text, json_schema_extra=dict(extra))


def refuse(text: str, key: str = "") -> NoReturn:
    """Refuse a value at `key`, relative to the section being validated."""
    context = {"text": text, "key": key}
    raise PydanticCustomError("case", "{text}", context)  # noqa: EM101 - a template


def as_tuple(value: object) -> object:
    """Turn a list, as TOML and JSON give it, into a tuple."""
    return tuple(value) if isinstance(value, list) else value


def without_negative_zero(data: Any) -> Any:
    """Replace -0.0 by 0.0, so that equal cases are written alike."""
    if isinstance(data, dict):
        return {key: without_negative_zero(value) for key, value in data.items()}
    if isinstance(data, list):
        return [without_negative_zero(value) for value in data]
    return data + 0.0 if isinstance(data, float) else data


class Section(BaseModel):
    """Base of all sections: frozen, no unknown keys, no numbers from text, no NaN or infinity."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)

    @model_validator(mode="before")
    @classmethod
    def _none_is_not_given(cls, data: object) -> object:
        if isinstance(data, dict):
            return {key: value for key, value in data.items() if value is not None}
        return data


def refuse_two_materials(section: Section, *, named: bool) -> None:
    """Refuse a section whose material is given twice or incompletely.

    `named`: whether its `material` is given, in place of `modulus_mpa` and `poisson`.
    """
    numbers = [key for key in ("modulus_mpa", "poisson") if getattr(section, key) is not None]
    if numbers and named:
        refuse(
            f"is not used with {numbers[0]}: give either material, or modulus_mpa and poisson",
            "material",
        )
    if len(numbers) == 1:
        missing = "poisson" if numbers == ["modulus_mpa"] else "modulus_mpa"
        refuse(f"is missing: {numbers[0]} needs it", missing)
