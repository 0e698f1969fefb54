"""A case as resolved: every key, its value, and where that comes from."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from stillroot.inputs.case import SECTIONS
from stillroot.inputs.case_messages import written
from stillroot.inputs.section import ASSUMPTION
from stillroot.words.document import Keys, Section

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from stillroot.inputs.case import Case
    from stillroot.words.document import Block

STATED = "the case"


def case_section(case: Case, *beside: Block) -> Section:
    """Return the part of a report with every key of its case, and what stands beside it.

    The same source has the same number.
    """
    marks = {STATED: "", ASSUMPTION: "a"}
    keys = Keys(
        caption="Every key of the case; the case file states those without a mark",
        keys=tuple(
            (key, value, marks.setdefault(source, str(len(marks) - 1)))
            for key, value, source in resolved_keys(case)
        ),
        sources=tuple(
            (mark, "assumption: no source" if source == ASSUMPTION else source)
            for source, mark in marks.items()
            if mark
        ),
    )
    return Section("The case as resolved", (keys, *beside), ("researcher",))


def resolved_keys(case: Case) -> Iterator[tuple[str, str, str]]:
    """Yield (key, value, where it comes from) of a case with every default."""
    resolved, stated = case.to_dict(), case.stated()
    for name in SECTIONS:
        if name == "loads":
            for place, load in enumerate(resolved["loads"]):
                yield from _of_section(f"loads[{place + 1}]", name, load, stated["loads"][place])
        elif name:
            yield from _of_section(name, name, _at(resolved, name), _at(stated, name))


def _of_section(
    shown: str, name: str, resolved: Mapping[str, Any], stated: Mapping[str, Any]
) -> Iterator[tuple[str, str, str]]:
    fields = SECTIONS[name].model_fields
    for key, value in resolved.items():
        if isinstance(value, dict):
            continue
        extra = fields[key].json_schema_extra
        source = dict(extra).get("source") if isinstance(extra, dict) else ""
        yield f"{shown}.{key}", written(value), STATED if key in stated else f"{source or 'the implant'}"


def _at(data: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    for step in name.split("."):
        data = data.get(step, {})
    return data
