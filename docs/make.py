"""Make the pages that are not written by hand, from the program itself.

    python docs/make.py      # (re)writes docs/case_file.md, plan_file.md, gallery.md, and the pictures
                             # of gallery.md and report.md

The gallery answers every shipped case and plan anew, with the stored meshes.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from annotated_types import Ge, Gt, Le, Lt
from jinja2 import Environment, StrictUndefined

from stillroot.answers.answer import check
from stillroot.answers.wording import CAUTION, NO_LINE
from stillroot.arch.plan import PLAN_SECTIONS, read_plan
from stillroot.arch.span import check_span
from stillroot.inputs.case import SECTIONS, read_case
from stillroot.inputs.case_messages import written
from stillroot.inputs.section import about, parts_of
from stillroot.pictures.figures import pictures
from stillroot.pictures.span_figure import arch_pictures
from stillroot.words.check_document import engagement_line
from stillroot.words.span_document import bridge_in_words, limits, sentence, torques_in_words
from stillroot.words.torques import torque_lines

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from pydantic.fields import FieldInfo

    from stillroot.answers.result import CheckResult
    from stillroot.inputs.section import Section
    from stillroot.pictures.paper import Picture

HERE = Path(__file__).parent

CASE_HEAD = """\
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

CASE_TITLES = {"": "Top of the file", "loads": "`[[loads]]`, one per load"}

PLAN_HEAD = """\
# The plan file

A plan is one TOML file with the implants, the bridge that splints them, and the loads on the bridge;
`stillroot span` computes it ([span.md](span.md)). The tables below list each key with its default and
the source of that default, as for [the case file](case_file.md): *assumption* means that there is no
source; *from memory* means that the source is right but the number was not read again in it.

The plan has its own axes: x and y are horizontal, and z is positive out of the bone. Positions are in
mm. A bite presses towards negative z.

For research and teaching; not a medical device. It decides nothing about a patient: licensed practice
and local rules decide.

The shipped plans, all invented, are in [plans](plans).
"""

PLAN_TITLES = {
    "": "Top of the file",
    "implants": "`[[implants]]`, one per implant",
    "loads": "`[[loads]]`, one per load",
    "loads.forces": "`forces` of a load instead of `bite`, one table per force",
}
TABLE_HEAD = [
    "| key | default | allowed | meaning | source of the default |",
    "|---|---|---|---|---|",
]
BOUNDS = {Gt: ("gt", ">"), Ge: ("ge", "≥"), Lt: ("lt", "<"), Le: ("le", "≤")}

OF_A_CASE = ("section", "gauge")
"""The pictures of a case's governing load that the gallery shows."""
REPORT_CASE = "soft_posterior"
OF_THE_REPORT = ("summary", "moved", "unrolled")
"""The pictures of the answer to `REPORT_CASE` that docs/report.md shows."""


# --- References of the files --------------------------------------------------------------------------


def case_reference_markdown() -> str:
    """Return the reference of all keys of a case."""
    return _reference(CASE_HEAD, SECTIONS, CASE_TITLES)


def plan_reference_markdown() -> str:
    """Return the reference of all keys of a plan."""
    return _reference(PLAN_HEAD, PLAN_SECTIONS, PLAN_TITLES)


def _reference(head: str, sections: Mapping[str, type[Section]], titles: Mapping[str, str]) -> str:
    blocks = [head]
    for section in sections:
        title = titles.get(section, f"`[{section}]`")
        rows = "\n".join([*TABLE_HEAD, *_rows(sections, section)])
        blocks.append(f"## {title}\n\n{rows}\n")
    return "\n".join(blocks)


def _rows(sections: Mapping[str, type[Section]], section: str) -> Iterator[str]:
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


# --- The gallery --------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Shown:
    """A picture of the page: its file in docs/images, and the picture."""

    file: str
    picture: Picture


@dataclass(frozen=True, kw_only=True)
class Entry:
    """A shipped file answered: `held` by what, in a sentence, and what `limits` that answer."""

    name: str
    path: str
    title: str
    answer: str
    held: str
    limits: tuple[str, ...]
    shown: tuple[Shown, ...]


def case_entry(path: Path) -> Entry:
    """Return the entry of a case file."""
    result = check(read_case(path))
    torque, *_ = torque_lines(result) or ("",)
    return Entry(
        name=path.stem,
        path=f"cases/{path.name}",
        title=result.case.title,
        answer=result.summary.sentence,
        held=f"{engagement_line(result)}. {torque}".strip(),
        limits=result.summary.limits,
        shown=_governing_pictures(result, OF_A_CASE, f"gallery-{path.stem}"),
    )


def plan_entry(path: Path) -> Entry:
    """Return the entry of a plan file, answered quickly: its picture is that of the governing load."""
    result = check_span(read_plan(path), quick=True)
    picture = arch_pictures(result)[result.loads.index(result.governing)]
    return Entry(
        name=path.stem,
        path=f"plans/{path.name}",
        title=result.plan.title,
        answer=sentence(result),
        held=f"{bridge_in_words(result)}. {torques_in_words(result)}.",
        limits=limits(result),
        shown=(Shown(file=f"gallery-{path.stem}-arch.png", picture=picture),),
    )


def report_pictures() -> tuple[Shown, ...]:
    """Return the pictures that docs/report.md shows."""
    result = check(read_case(HERE / "cases" / f"{REPORT_CASE}.toml"))
    return _governing_pictures(result, OF_THE_REPORT, "report")


def _governing_pictures(result: CheckResult, kinds: tuple[str, ...], name: str) -> tuple[Shown, ...]:
    drawn = {picture.name: picture for picture in pictures(result)}
    slug = result.load_slugs[result.loads.index(result.governing)]
    return tuple(
        Shown(file=f"{name}-{kind}.png", picture=drawn.get(kind) or drawn[f"{kind}-{slug}"])
        for kind in kinds
    )


def gallery_markdown(cases: list[Entry], plans: list[Entry]) -> str:
    """Return the page."""
    text = (HERE / "gallery.md.j2").read_text(encoding="utf-8")
    writing = Environment(  # noqa: S701 - Markdown, of our own files
        undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True, keep_trailing_newline=True
    )
    return writing.from_string(text).render(cases=cases, plans=plans, no_line=NO_LINE, caution=CAUTION)


def save_shown(shown: Shown, images: Path = HERE / "images") -> None:
    """Write a picture as a small PNG that tells itself in words."""
    (images / shown.file).write_bytes(shown.picture.bare_png())


def write_gallery() -> None:
    """Answer every shipped case and plan, and write docs/gallery.md with its pictures."""
    cases = [case_entry(path) for path in sorted((HERE / "cases").glob("*.toml"))]
    plans = [plan_entry(path) for path in sorted((HERE / "plans").glob("*.toml"))]
    shown = [*(s for entry in (*cases, *plans) for s in entry.shown), *report_pictures()]
    for old in [*(HERE / "images").glob("gallery-*.png"), *(HERE / "images").glob("report-*.png")]:
        old.unlink()
    for one in shown:
        save_shown(one)
    (HERE / "gallery.md").write_text(gallery_markdown(cases, plans), encoding="utf-8")


def main() -> None:
    """Write every page that is made."""
    (HERE / "case_file.md").write_text(case_reference_markdown(), encoding="utf-8")
    (HERE / "plan_file.md").write_text(plan_reference_markdown(), encoding="utf-8")
    write_gallery()


if __name__ == "__main__":
    main()
