"""Common parts of the sections of the input files: base class, keys, refusals."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, NoReturn, Self, get_origin

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    SerializerFunctionWrapHandler,
    ValidatorFunctionWrapHandler,
    WrapValidator,
    model_serializer,
    model_validator,
)
from pydantic_core import PydanticCustomError

if TYPE_CHECKING:
    from pydantic.fields import FieldInfo

ASSUMPTION = "assumption"
COMMON_PRACTICE = "common practice, no source"

Listed = Field(strict=False)
"""Of a tuple: takes a list, as TOML and JSON give it."""
Problems = Iterator[tuple[str, str]]
Unused = Mapping[str, str]


def key(default: Any = ..., source: str = "", *, shown: str = "", typical: str = "", **more: Any) -> Any:
    """Describe a key, whose meaning is the docstring below it.

    Parameters
    ----------
    default
        The default, or a function of the keys before it; without one the key is required.
    source, shown, typical
        The source of the default, the default in words, and the usual range.
    **more
        Bounds, as for `pydantic.Field`.
    """
    extra: dict[str, Any] = {"source": source, "default": shown, "typical": typical}
    if callable(default):
        return Field(default_factory=default, json_schema_extra=extra, **more)
    return Field(default, json_schema_extra=extra, **more)


def about(info: FieldInfo | None) -> dict[str, str]:
    """Return what is told of a key: "meaning", "source", "default" in words and "typical"."""
    extra = getattr(info, "json_schema_extra", None) or {}
    meaning = (info and info.description) or ""
    return {"typical": "", "default": "", **extra, "meaning": " ".join(meaning.split())}


def parts_of(annotation: Any) -> Iterator[Any]:
    """Yield all that an annotation is made of: types, choices, and the bounds of fields inside."""
    yield annotation
    for part in (*getattr(annotation, "__args__", ()), *getattr(annotation, "__metadata__", ())):
        yield from getattr(part, "metadata", ())
        yield from parts_of(part)


def refuse(text: str, key: str = "") -> NoReturn:
    """Refuse a value at `key`, relative to the section being validated."""
    context = {"text": text, "key": key}
    raise PydanticCustomError("case", "{text}", context)  # noqa: EM101 - a template


def sound(problem: Callable[[Any], str]) -> AfterValidator:
    """Refuse a value of which `problem` tells what is wrong; "" for nothing."""

    def checked(value: Any) -> Any:
        text = problem(value) if value is not None else ""
        if text:
            refuse(text)
        return value

    return AfterValidator(checked)


def listed(text: str, length: int | None = None) -> BeforeValidator:
    """Turn a list, as TOML and JSON give it, into a tuple; refuse all else, and other lengths."""

    def turned(value: object) -> object:
        if not isinstance(value, list | tuple) or length not in (None, len(value)):
            refuse(text)
        return tuple(value)

    return BeforeValidator(turned)


def tables(kind: str, least: int = 1, too_few: str = "") -> WrapValidator:
    """Refuse what is no list of tables, fewer than `least` of them, and two of one name."""

    def checked(value: object, handler: ValidatorFunctionWrapHandler) -> Any:
        if not isinstance(value, list | tuple):
            refuse(f"must be a list of tables: write [[{kind}s]] above each {kind}")
        found = handler(tuple(value))
        names = [table.name for table in found]
        if len(names) < least:
            refuse(too_few or f"must have at least 1 {kind}: write [[{kind}s]] and its keys below")
        for name in names:
            if names.count(name) > 1:
                refuse(f'have the name "{name}" more than once; each {kind} needs its own')
        return found

    return WrapValidator(checked)


class Section(BaseModel):
    """Base of all sections: frozen, no unknown keys, no numbers from text, no NaN or infinity."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        strict=True,
        allow_inf_nan=False,
        use_attribute_docstrings=True,
    )

    def _problems(self) -> Problems:
        """Yield (key, what is wrong) of values that do not go together, the key relative to here."""
        yield from ()

    def _unused(self) -> Unused:
        """Return the keys without a meaning beside the others, which are refused and never written.

        Each with what to tell where it is given; "" where something else refuses it.
        """
        return {}

    @model_validator(mode="before")
    @classmethod
    def _none_is_not_given(cls, data: object) -> object:
        if isinstance(data, dict):
            return {key: value for key, value in data.items() if value is not None}
        return data

    @model_validator(mode="after")
    def _sound(self) -> Self:
        for key, text in self._problems():
            refuse(text, key)
        for key, text in sorted(self._unused().items()):
            if text and key in self.model_fields_set:
                refuse(text, key)
        return self

    @model_serializer(mode="wrap")
    def _used(self, handler: SerializerFunctionWrapHandler) -> dict[str, Any]:
        unused = self._unused()
        return {key: value for key, value in handler(self).items() if key not in unused}


Sections = Mapping[str, type[Section]]


def sections_of(
    top: type[Section], data: Mapping[str, object] | None = None, name: str = ""
) -> Sections:
    """Return the sections of a file by dotted name, "" for its top.

    Sections that a file names itself, such as [cases.NAME], are those of the raw `data`, and come last.
    """
    found: dict[str, type[Section]] = {name: top}
    named: dict[str, type[Section]] = {}
    for key, info in top.model_fields.items():
        parts = [part for part in parts_of(info.annotation) if isinstance(part, type)]
        for inner in (part for part in parts if issubclass(part, Section)):
            full = f"{name}.{key}".lstrip(".")
            if get_origin(info.annotation) is not dict:
                found.update(sections_of(inner, name=full))
                continue
            tables = (data or {}).get(key)
            for given in tables if isinstance(tables, Mapping) else ():
                named.update(sections_of(inner, name=f"{full}.{given}"))
    return MappingProxyType({**found, **named})
