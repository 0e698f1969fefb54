"""The answer as one page: self-contained, to be read on a screen or on paper, without scripts."""

from __future__ import annotations

import base64
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from stillroot.answers.verdict import CAUTION, NO_LINE, place_of, rounded, with_error
from stillroot.inputs.case import SECTIONS
from stillroot.inputs.case_messages import written
from stillroot.mechanics.accuracy import SHARES
from stillroot.pictures.drawing import load_text
from stillroot.words.report import engagement_line, torque_lines

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

    from stillroot.answers.answer import CheckResult
    from stillroot.inputs.case import Case
    from stillroot.pictures.drawing import Picture

STATED = "the case"


def page(result: CheckResult, shown: Mapping[str, Picture], folder: Path) -> str:
    """Return the page of an answer, the pictures `shown`, saved in `folder`, inside it."""
    from jinja2 import Environment, StrictUndefined  # noqa: PLC0415 - slow to import
    from markupsafe import Markup  # noqa: PLC0415

    template = (files("stillroot") / "templates" / "report.html.j2").read_text(encoding="utf-8")
    writing = Environment(
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    writing.filters.update(
        um=rounded,
        with_error=with_error,
        place=place_of,
        load=lambda resultant: load_text(resultant, lines=1),
    )
    figure = writing.from_string(
        '<figure><img src="data:image/png;base64,{{ data }}" alt="{{ alt }}"></figure>'
    )

    def picture(name: str) -> Markup:
        data = base64.b64encode((folder / f"{name}.png").read_bytes()).decode()
        return Markup(figure.render(data=data, alt=shown[name].alt))  # noqa: S704 - escaped inside

    names = list(shown)
    section = SECTIONS["threshold"].model_fields["bands_um"].json_schema_extra
    return writing.from_string(template).render(
        result=result,
        case=result.case,
        picture=picture,
        governing=result.loads.index(result.governing),
        sections=[name for name in names if name.startswith("section")],
        unrolled=[name for name in names if name.startswith("unrolled")],
        parts=list(SHARES),
        keys=list(resolved_keys(result.case)),
        engagement=engagement_line(result),
        torque=" ".join(torque_lines(result)),
        fingerprint=result.case.fingerprint()[:12],
        bands_source=dict(section)["source"] if isinstance(section, dict) else "",
        no_line=NO_LINE,
        caution=CAUTION,
    )


def resolved_keys(case: Case) -> Iterator[tuple[str, str, str]]:
    """Yield (key, value, where it comes from) of a case with every default."""
    resolved, stated = case.to_dict(), case.stated()
    for name in SECTIONS:
        if name == "loads":
            for place, load in enumerate(resolved["loads"]):
                yield from _section(f"loads[{place + 1}]", name, load, stated["loads"][place])
        elif name:
            yield from _section(name, name, _at(resolved, name), _at(stated, name))


def _section(
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
