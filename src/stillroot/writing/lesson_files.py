"""The lesson's folder: what is solved is kept at once, what is shown appears when it is whole.

`sites.jsonl` takes one line a finished site, so a run that was stopped goes on where it was. The rest is
made aside and put in place, the page last: where it is, all is.
"""

from __future__ import annotations

import base64
import csv
import json
import os
import shutil
import tempfile
from collections import Counter
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from importlib.metadata import version
from importlib.resources import files
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

from stillroot.answers.answer import versions
from stillroot.answers.wording import CAUTION, CAUTION_LINE, NO_LINE, with_error
from stillroot.errors import OutputError
from stillroot.studies import lesson as lessons
from stillroot.studies.lesson import Lesson, rho_in_words
from stillroot.studies.lesson_sites import SEED, STATED, site_points
from stillroot.studies.outcome import Outcome
from stillroot.studies.running import Where
from stillroot.studies.store import program

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from stillroot.pictures.paper import Picture
    from stillroot.studies.lesson import Plan
    from stillroot.studies.lesson_sites import Grain, SiteAnswer
    from stillroot.studies.running import Progress

STORE, PAGE, TABLE = "sites.jsonl", "lesson.html", "sites.csv"
ASIDE = ".lesson-"
NAMED_SOLVES = 7
"""Three built pairs and two sites of each of the two drawn ones, solved with their errors."""


def make_lesson(folder: Path, plan: Plan, workers: int, progress: Progress) -> Lesson:
    """Solve what is not yet solved, and write the whole lesson into `folder`.

    Raises
    ------
    OutputError
        The folder cannot be written, or contains something other than a lesson.
    """
    before = plan.count + plan.error_sites
    total, named = before + NAMED_SOLVES, count(before)
    with _said_of(folder):
        where = Where(workers=workers, store=SiteFile.opened(folder))
        answers = lessons.solved(
            site_points(plan.count), plan.grain, where, lambda done, *_: progress(done, total, "sites")
        )
        fine = lessons.solved(
            lessons.points_to_measure(answers, plan.error_sites),
            plan.fine,
            where,
            lambda done, *_: progress(plan.count + done, total, "some sites again, more finely"),
        )
        lesson = lessons.lesson_of(
            plan, answers, fine, where, lambda what: progress(next(named), total, what)
        )
        progress(next(named), total, "drawing and writing")
        _write(lesson, fine, folder)
    progress(total, total, "done")
    return lesson


# --- What is solved -----------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class SiteFile:
    """The finished sites of a folder, one line each, kept for `studies.running` as its store does."""

    path: Path

    @classmethod
    def opened(cls, folder: Path) -> SiteFile:
        """Open the file of a folder, and make both where they are not there.

        A last line that a killed run left unfinished is cut off, and so is what it left aside.
        """
        path = folder / STORE
        if folder.exists() and not folder.is_dir():
            msg = f"{folder}: this is a file; name a folder"
            raise OutputError(msg)
        if folder.is_dir() and any(folder.iterdir()) and not path.is_file():
            msg = (
                f"{folder}: this folder contains other files; name a new or an empty one, or one "
                "with a lesson"
            )
            raise OutputError(msg)
        folder.mkdir(parents=True, exist_ok=True)
        for left in folder.glob(f"{ASIDE}*"):
            shutil.rmtree(left)
        with path.open("a+b") as file:
            file.seek(0)
            whole = file.read().rfind(b"\n") + 1
            file.truncate(whole)
        return cls(path=path)

    def found(self, keys: Iterable[str]) -> dict[str, Outcome]:
        """Return the outcomes kept under some keys; a line of an older version has none of them."""
        lines = map(json.loads, self.path.read_text(encoding="utf-8").splitlines())
        kept = {line["key"]: line["outcome"] for line in lines if "key" in line}
        return {key: Outcome.from_dict(kept[key]) for key in keys if key in kept}

    def add(self, key: str, title: str, outcome: Outcome) -> None:
        """Keep a finished site, before anything else is done."""
        line = {"key": key, "program": program(), "title": title, "outcome": outcome.to_dict()}
        with self.path.open("a", encoding="utf-8") as file:
            file.write(json.dumps(line, ensure_ascii=False) + "\n")
            file.flush()
            os.fsync(file.fileno())


@contextmanager
def _said_of(folder: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        msg = f"{folder}: cannot be written ({error.strerror}); name a folder that can"
        raise OutputError(msg) from None


# --- What is shown ------------------------------------------------------------------------------------


def _write(lesson: Lesson, fine: Sequence[SiteAnswer], folder: Path) -> None:
    from stillroot.pictures.lesson_figures import NAMES, pictures  # noqa: PLC0415
    from stillroot.writing.picture_files import drawn  # noqa: PLC0415 - slow to import

    aside = Path(tempfile.mkdtemp(prefix=ASIDE, dir=folder))
    try:
        shown = pictures(lesson)
        for picture in shown:
            drawn(picture).save(aside)
        with (aside / TABLE).open("w", encoding="utf-8", newline="") as file:
            file.write(CAUTION_LINE)
            again = {answer.point.index: answer for answer in fine}
            rows = [table_row(a, again.get(a.point.index), lesson.plan.grain) for a in lesson.answers]
            table = csv.DictWriter(file, list(rows[0]))
            table.writeheader()
            table.writerows(rows)
        (aside / PAGE).write_text(page(lesson, shown, aside), encoding="utf-8")
        (folder / PAGE).unlink(missing_ok=True)
        for name in NAMES:
            for kind in ("png", "svg"):
                (folder / f"{name}.{kind}").unlink(missing_ok=True)
        for path in sorted(aside.iterdir(), key=lambda path: path.name == PAGE):
            path.replace(folder / path.name)
    finally:
        shutil.rmtree(aside, ignore_errors=True)


DERIVED = (
    "engagement_length_mm",
    "cortical_hold_mm",
    "length_times_trabecular_n_mm",
    "length_times_modulus_n_mm",
)
"""What follows from the inputs of a site."""


def table_row(answer: SiteAnswer, finer: SiteAnswer | None, grain: Grain) -> dict[str, object]:
    """Return the row of a site; the finer figures stand where it was solved again."""
    point, load = asdict(answer.point), STATED["common_load"]
    figures = asdict(answer)
    del figures["point"]
    index, place, reason = point.pop("index"), point.pop("place"), figures.pop("reason")
    top, bottom = answer.point.hold_mm
    return {
        "site": index,
        **point,
        "hold_place_0_crest_1_tip": place,
        "hold_top_mm": top,
        "hold_bottom_mm": bottom,
        **{name: round(getattr(answer.point, name), 6) for name in DERIVED},
        **figures,
        "reason": reason,
        "finer_insertion_torque_ncm": finer and finer.insertion_torque_ncm,
        "finer_peak_micromotion_um": finer and finer.peak_micromotion_um,
        **{f"load_{name}": load[name] for name in ("axial_n", "lateral_n", "height_mm")},
        "element_mm": grain.element_mm,
        "harmonics": grain.harmonics,
        "stillroot_version": version("stillroot"),
    }


def page(lesson: Lesson, shown: Sequence[Picture], folder: Path) -> str:
    """Return the page: self-contained, the pictures of `folder` inside it."""
    from jinja2 import Environment, StrictUndefined  # noqa: PLC0415 - slow to import

    template = (files("stillroot") / "templates" / "lesson.html.j2").read_text(encoding="utf-8")
    writing = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    images = {
        picture.name: {
            "alt": picture.alt,
            "data": base64.b64encode((folder / f"{picture.name}.png").read_bytes()).decode(),
        }
        for picture in shown
    }
    return writing.from_string(template).render(
        lesson=lesson,
        images=images,
        stated=STATED,
        ordinary=lessons.ORDINARY_NCM,
        tolerance=lessons.PAIR_TOLERANCE,
        seed=SEED,
        resamples=lessons.RESAMPLES,
        outcomes=Counter(answer.outcome for answer in lesson.answers),
        finding=finding(lesson),
        with_error=with_error,
        bands=NO_LINE,
        caution=CAUTION,
        versions=versions(),
    )


def finding(lesson: Lesson) -> tuple[str, ...]:
    """Return what came out, one sentence each, whichever way it came out."""
    said = []
    for group in lesson.groups:
        if group.torque is None:
            said.append(f"{group.name}: {group.count} sites are too few for a correlation.")
            continue
        best = max(group.correlations, key=lambda c: abs(c.rho))
        told = f"{group.name} ({group.count}): insertion torque ρ = {group.torque.in_words}"
        if best.ahead is None:
            said.append(f"{told}, which is ahead of the others here.")
            continue
        low, high = best.ahead
        clear = "clearly ahead of torque" if low > 0 else "not clearly ahead of torque"
        said.append(
            f"{told}; {best.predictor.name} ρ = {best.in_words}, {clear} "
            f"(|ρ| larger by {rho_in_words(low)} to {rho_in_words(high)})."
        )
    return tuple(said)
