"""The reference of the case file, generated from the models: docs/case_file.md."""

from __future__ import annotations

from typing import TYPE_CHECKING

from annotated_types import Ge, Gt, Le, Lt

from stillroot.inputs.case import SECTIONS
from stillroot.inputs.case_messages import written
from stillroot.inputs.section import about, parts_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from pydantic.fields import FieldInfo

    from stillroot.inputs.section import Sections

HEAD = """\
# The case file

A case is one TOML file. The tables below list each key with its default and the source of that
default. *Assumption* means that there is no source; *from memory* means that the source is right but
the number was not read again in it. An unknown key is refused, and the message names the nearest
known one.

z runs along the implant's axis, positive out of the bone, with z = 0 at the crest of the bone;
depths are below the crest and positive. The key's name ends with its unit: mm, N, MPa, um
(micrometre), ncm (N·cm), deg (degree). Write numbers without quotes. A usual range without a source
is common practice. You may leave out a section if none of its keys is required.

For research and teaching; not a medical device. It decides nothing about a patient: licensed
practice and local rules decide.

The shipped cases, all invented, are in [cases](cases).
"""

TITLES = {"": "Top of the file", "loads": "`[[loads]]`, one per load"}
TABLE_HEAD = [
    "| key | default | allowed | meaning | source of the default |",
    "|---|---|---|---|---|",
]
BOUNDS = {Gt: ("gt", ">"), Ge: ("ge", "≥"), Lt: ("lt", "<"), Le: ("le", "≤")}


def case_reference_markdown() -> str:
    """Return the reference of all keys of a case as Markdown."""
    return reference_markdown(HEAD, SECTIONS, TITLES)


def reference_markdown(head: str, sections: Sections, titles: Mapping[str, str]) -> str:
    """Return the reference of all keys of a file's sections as Markdown, `head` first."""
    blocks = [head]
    for section in sections:
        title = titles.get(section, f"`[{section}]`")
        rows = "\n".join([*TABLE_HEAD, *_rows(sections, section)])
        blocks.append(f"## {title}\n\n{rows}\n")
    return "\n".join(blocks)


def _rows(sections: Sections, section: str) -> Iterator[str]:
    for key, info in sections[section].model_fields.items():
        if f"{section}.{key}".lstrip(".") not in sections:
            yield _row(key, info)


def _row(key: str, info: FieldInfo) -> str:
    told = about(info)
    usual = f" Usual: {told['typical']}." if told["typical"] else ""
    meaning = f"{told['meaning']}{usual}"
    cells = (f"`{key}`", told["default"] or _default(info), _allowed(info), meaning, told["source"])
    return f"| {' | '.join(cells)} |"


def _default(info: FieldInfo) -> str:
    """Return the default of a key as a file has it."""
    if info.is_required():
        return "**required**"
    return "none" if info.default is None else written(info.default)


def _allowed(info: FieldInfo) -> str:
    """Return the bounds or the choices of a key."""
    parts = (*info.metadata, *parts_of(info.annotation))
    choices = [f'"{part}"' for part in parts if isinstance(part, str)]
    bounds = {  # of a [depth, modulus] pair the last, the modulus, is shown
        name: f"{sign} {getattr(part, name):.12g}"
        for part in parts
        for kind, (name, sign) in BOUNDS.items()
        if isinstance(part, kind)
    }
    return ", ".join(choices or bounds.values()) or (
        "text" if info.annotation in (str, str | None) else ""
    )
