"""docs/gallery.md, made from the shipped cases and plans; and the pictures of docs/report.md.

    python -m stillroot.writing.gallery docs

answers them all anew, and writes the page and its pictures. Nothing in the page is written by hand.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

from stillroot.answers.answer import check
from stillroot.answers.wording import CAUTION, NO_LINE
from stillroot.arch.plan import read_plan
from stillroot.arch.span import check_span
from stillroot.inputs.case import read_case
from stillroot.words.check_document import engagement_line
from stillroot.words.span_document import bridge_in_words, limits, sentence, torques_in_words
from stillroot.words.torques import torque_lines

if TYPE_CHECKING:
    from stillroot.answers.result import CheckResult
    from stillroot.pictures.paper import Picture

OF_A_CASE = ("section", "gauge")
"""The pictures of a case's governing load that the gallery shows."""
REPORT_CASE = "soft_posterior"
OF_THE_REPORT = ("summary", "moved", "unrolled")
"""The pictures of the answer to `REPORT_CASE` that docs/report.md shows."""


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
    from stillroot.pictures.span_figure import arch_pictures  # noqa: PLC0415 - matplotlib is slow to import

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


def report_pictures(docs: Path) -> tuple[Shown, ...]:
    """Return the pictures that docs/report.md shows."""
    result = check(read_case(docs / "cases" / f"{REPORT_CASE}.toml"))
    return _governing_pictures(result, OF_THE_REPORT, "report")


def _governing_pictures(result: CheckResult, kinds: tuple[str, ...], name: str) -> tuple[Shown, ...]:
    from stillroot.pictures.figures import pictures  # noqa: PLC0415 - matplotlib is slow to import

    drawn = {picture.name: picture for picture in pictures(result)}
    slug = result.load_slugs[result.loads.index(result.governing)]
    return tuple(
        Shown(file=f"{name}-{kind}.png", picture=drawn.get(kind) or drawn[f"{kind}-{slug}"])
        for kind in kinds
    )


def gallery_markdown(cases: list[Entry], plans: list[Entry]) -> str:
    """Return the page."""
    from jinja2 import Environment, StrictUndefined  # noqa: PLC0415 - slow to import

    text = (files("stillroot") / "templates" / "gallery.md.j2").read_text(encoding="utf-8")
    writing = Environment(  # noqa: S701 - Markdown, of our own files
        undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True, keep_trailing_newline=True
    )
    return writing.from_string(text).render(cases=cases, plans=plans, no_line=NO_LINE, caution=CAUTION)


def save_shown(shown: Shown, images: Path) -> None:
    """Write a picture as a small PNG that tells itself in words."""
    (images / shown.file).write_bytes(shown.picture.bare_png())


def write_gallery(docs: Path) -> None:
    """Answer every shipped case and plan, and write docs/gallery.md with its pictures."""
    cases = [case_entry(path) for path in sorted((docs / "cases").glob("*.toml"))]
    plans = [plan_entry(path) for path in sorted((docs / "plans").glob("*.toml"))]
    shown = [*(s for entry in (*cases, *plans) for s in entry.shown), *report_pictures(docs)]
    for one in shown:
        save_shown(one, docs / "images")
    kept = {one.file for one in shown}
    for kind in ("gallery", "report"):
        for old in (docs / "images").glob(f"{kind}-*.png"):
            if old.name not in kept:
                old.unlink()
    (docs / "gallery.md").write_text(gallery_markdown(cases, plans), encoding="utf-8")


if __name__ == "__main__":
    write_gallery(Path(sys.argv[1]))
