"""docs/gallery.md, made from the shipped cases and plans; and the pictures of docs/report.md.

    python -m stillroot.writing.gallery docs

answers them all anew, and writes the page and its pictures. Nothing in the page is written by hand.
"""

from __future__ import annotations

import io
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from stillroot.answers.answer import check
from stillroot.answers.summary import CAUTION, NO_LINE
from stillroot.arch.plan import read_plan
from stillroot.arch.span import check_span
from stillroot.inputs.case import read_case
from stillroot.words.check_document import engagement_line
from stillroot.words.span_document import bridge_in_words, limits, sentence, torques_in_words
from stillroot.words.torques import torque_lines

if TYPE_CHECKING:
    from collections.abc import Iterator

    from stillroot.answers.answer import CheckResult
    from stillroot.pictures.drawing import Picture

OF_A_CASE = ("section", "gauge")
"""The pictures of a case's governing load that the gallery shows."""
REPORT_CASE = "soft_posterior"
OF_THE_REPORT = ("summary", "moved", "unrolled")
"""The pictures of the answer to `REPORT_CASE` that docs/report.md shows."""
HEAD = f"""\
# Gallery

Every case and plan that comes with stillroot, with its answer and pictures. All are invented
scenarios; none is a patient. Below each answer stands what limits it: read the two together.
[How to read a report](report.md) explains the words and the pictures.

{NO_LINE} The ± is numerical error alone.

{CAUTION}
"""
CASES = """\
## Single implants

`stillroot check docs/cases/NAME.toml --out DIR` writes the whole answer.
"""
PLANS = """\
## Several implants under one bridge

Quick answers, on a coarse mesh and without a ±: `stillroot span docs/plans/NAME.toml --quick`. Leave
`--quick` out for the errors and the strain of the bone. [span.md](span.md) has the rest.
"""


@dataclass(frozen=True, kw_only=True)
class Shown:
    """A picture of the page: its file in docs/images, and the picture."""

    file: str
    picture: Picture


@dataclass(frozen=True, kw_only=True)
class Entry:
    """A shipped file answered: `held` by what, in a sentence, and what `limits` that answer."""

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
        path=f"cases/{path.name}",
        title=result.case.title,
        answer=result.summary.sentence,
        held=f"{engagement_line(result)}. {torque}".strip(),
        limits=result.summary.limits,
        shown=tuple(
            Shown(file=f"gallery-{path.stem}-{kind}.png", picture=picture)
            for kind, picture in _governing_pictures(result, OF_A_CASE)
        ),
    )


def plan_entry(path: Path) -> Entry:
    """Return the entry of a plan file, answered quickly: its picture is that of the governing load."""
    from stillroot.pictures.span_figure import arch_pictures  # noqa: PLC0415 - matplotlib is slow to import

    result = check_span(read_plan(path), quick=True)
    picture = arch_pictures(result)[result.loads.index(result.governing)]
    return Entry(
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
    return tuple(
        Shown(file=f"report-{kind}.png", picture=picture)
        for kind, picture in _governing_pictures(result, OF_THE_REPORT)
    )


def _governing_pictures(result: CheckResult, kinds: tuple[str, ...]) -> Iterator[tuple[str, Picture]]:
    from stillroot.pictures.figures import pictures  # noqa: PLC0415 - matplotlib is slow to import

    drawn = {picture.name: picture for picture in pictures(result)}
    slug = result.load_slugs[result.loads.index(result.governing)]
    for kind in kinds:
        yield kind, drawn.get(kind) or drawn[f"{kind}-{slug}"]


def gallery_markdown(cases: list[Entry], plans: list[Entry]) -> str:
    """Return the page."""
    parts = [HEAD, CASES, *map(_entry_markdown, cases), PLANS, *map(_entry_markdown, plans)]
    return "\n".join(parts)


def _entry_markdown(entry: Entry) -> str:
    pictures = [
        f"![{shown.picture.alt}](images/{shown.file})\n\n*{shown.picture.message.rstrip('.')}.*"
        for shown in entry.shown
    ]
    limits = "\n".join(f"- {line}" for line in entry.limits)
    name = Path(entry.path).stem
    parts = [
        f"### {name}",
        f"{entry.title} ([{Path(entry.path).name}]({entry.path})). {entry.held}",
        f"**{entry.answer}**",
        limits,
        *pictures,
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def save_shown(shown: Shown, images: Path) -> None:
    """Write a picture as a small PNG that tells itself in words."""
    from PIL import Image, PngImagePlugin  # noqa: PLC0415 - slow to import

    from stillroot.writing.picture_files import bare_png  # noqa: PLC0415

    about = PngImagePlugin.PngInfo()
    about.add_itxt("Description", shown.picture.alt)
    with Image.open(io.BytesIO(bare_png(shown.picture))) as image:
        image.save(images / shown.file, format="png", optimize=True, pnginfo=about)


def write_gallery(docs: Path) -> None:
    """Answer every shipped case and plan, and write docs/gallery.md with its pictures."""
    cases = [case_entry(path) for path in sorted((docs / "cases").glob("*.toml"))]
    plans = [plan_entry(path) for path in sorted((docs / "plans").glob("*.toml"))]
    shown = [*(s for entry in (*cases, *plans) for s in entry.shown), *report_pictures(docs)]
    for one in shown:
        save_shown(one, docs / "images")
    kept = {one.file for one in shown}
    for old in [*(docs / "images").glob("gallery-*.png"), *(docs / "images").glob("report-*.png")]:
        if old.name not in kept:
            old.unlink()
    (docs / "gallery.md").write_text(gallery_markdown(cases, plans), encoding="utf-8")


if __name__ == "__main__":
    write_gallery(Path(sys.argv[1]))
