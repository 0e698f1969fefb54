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
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from importlib.metadata import version
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stillroot.answers.answer import versions
from stillroot.answers.summary import CAUTION, CAUTION_LINE, NO_LINE, with_error
from stillroot.errors import OutputError
from stillroot.studies import lesson as lessons
from stillroot.studies.lesson import Lesson, SiteAnswer, SitePoint
from stillroot.studies.store import program

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from stillroot.answers.answer import CheckResult
    from stillroot.pictures.drawing import Picture
    from stillroot.studies.lesson import Grain, Plan

    Progress = Callable[[int, int, str], None]
    """Told what is done, of how much, and what is in work."""

STORE, PAGE, TABLE = "sites.jsonl", "lesson.html", "sites.csv"
ASIDE = ".lesson-"
NAMED_SOLVES = 7
"""Three built pairs and two sites of each of the two drawn ones, solved with their errors."""


@dataclass(frozen=True, kw_only=True)
class Published:
    """A published finding on torque and stability."""

    text: str
    source: str


PUBLISHED = (
    Published(
        text="Torque and resonance-frequency stability correlate moderately: pooled r = 0.55 over 9 "
        "studies.",
        source="Cehreli et al. 2009, Int J Oral Maxillofac Implants 24:1015-1032",
    ),
    Published(
        text="In one large series they hardly correlate: r = 0.22 (n 449).",
        source="Stomatology 2020 40:426",
    ),
    Published(
        text="At 50 N·cm or more against less, the risk ratio of failure was 0.51, with an interval of "
        "0.06 to 4.06 (651 implants): too wide for a conclusion.",
        source="J Prosthet Dent 2021 126:490-496",
    ),
    Published(
        text="Loaded at once, 96 % (91 to 98) survived with torques up to 35 N·cm and 92 % (86 to 96) "
        "above: the lower torques did no worse.",
        source="systematic review 2022, PROSPERO CRD42020189499",
    ),
    Published(
        text="One trial points the other way, in favour of torque: 9 of 10 failures were at 20 N·cm.",
        source="Ottoni et al. 2005, Int J Oral Maxillofac Implants 20:769-776",
    ),
    Published(
        text="Torque was 46.3 (SD 18.5) N·cm in bone of types 1 and 2, and 33.6 (SD 14.7) in types 3 "
        "and 4 (n 80).",
        source="J Oral Implantol 2014 40:259",
    ),
    Published(
        text="Condensing the bone made it denser and added microdamage, and lateral stability did not "
        "improve.",
        source="Bone Joint Res 2020 9:60-70",
    ),
    Published(
        text="Bovine trabecular cores, compressed and held at constant strain, lost up to 53 % of "
        "their stress in the first 10 minutes. No press fit was measured. Torque is measured before "
        "such loss.",
        source="Gersie et al. 2024, J Mech Behav Biomed Mater 152:106434",
    ),
)


def make_lesson(folder: Path, plan: Plan, workers: int, progress: Progress) -> Lesson:
    """Solve what is not yet solved, and write the whole lesson into `folder`.

    Raises
    ------
    OutputError
        The folder cannot be written, or contains something other than a lesson.
    """
    with _said_of(folder):
        store = Store.opened(folder)
    measured = lessons.SMALL_ERROR_SITES if plan.small else lessons.ERROR_SITES
    total = plan.count + measured + NAMED_SOLVES

    answers = _complete(store, plan.points, plan.grain, workers, _counted(progress, 0, total, "sites"))
    again = lessons.points_to_measure(answers, plan.small)
    finer = _counted(progress, plan.count, total, "some sites again, on finer elements")
    fine = _complete(store, again, plan.fine, workers, finer)
    done = plan.count + measured

    def named(title: str) -> None:
        nonlocal done
        progress(done, total, title)
        done += 1

    lesson = lessons.lesson_of(plan, answers, fine, named)
    progress(done, total, "drawing and writing")
    with _said_of(folder):
        _write(lesson, fine, folder)
    progress(total, total, "done")
    return lesson


# --- What is solved -----------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Store:
    """The finished sites of a folder, by the fingerprint of their case and of this program."""

    path: Path

    @classmethod
    def opened(cls, folder: Path) -> Store:
        """Open the store of a folder, and make both where they are not there.

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

    def read(self) -> dict[str, SiteAnswer]:
        """Return the finished sites by key."""
        lines = self.path.read_text(encoding="utf-8").splitlines()
        kept = (json.loads(line) for line in lines)
        return {
            f"{item['case']} {item['program']}": _answer(item["answer"])
            for item in kept
            if "program" in item
        }

    def add(self, answer: SiteAnswer, grain: Grain) -> None:
        """Keep a finished site, before anything else is done."""
        case, solved_by = _key(answer.point, grain).split()
        line = {"case": case, "program": solved_by, "answer": asdict(answer)}
        with self.path.open("a", encoding="utf-8") as file:
            file.write(json.dumps(line, ensure_ascii=False) + "\n")
            file.flush()
            os.fsync(file.fileno())


def _key(point: SitePoint, grain: Grain) -> str:
    return f"{lessons.case_of(point, grain).fingerprint()} {program()}"


def _answer(data: dict[str, Any]) -> SiteAnswer:
    return SiteAnswer(**{**data, "point": SitePoint(**data["point"])})


def _complete(
    store: Store,
    points: Sequence[SitePoint],
    grain: Grain,
    workers: int,
    progress: Callable[[int], None],
) -> list[SiteAnswer]:
    """Return the answers to all points: kept ones from the store, the others solved and kept."""
    kept = store.read()
    keys = {point: _key(point, grain) for point in points}
    answers = [kept[key] for key in keys.values() if key in kept]
    missing = [point for point, key in keys.items() if key not in kept]
    progress(len(answers))
    if missing:
        with _said_of(store.path.parent):
            for answer in lessons.solved(missing, grain, workers):
                store.add(answer, grain)
                answers.append(answer)
                progress(len(answers))
    return answers


def _counted(progress: Progress, before: int, total: int, what: str) -> Callable[[int], None]:
    return lambda done: progress(before + done, total, what)


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
            _write_table(lesson, fine, csv.writer(file))
        (aside / PAGE).write_text(page(lesson, shown, aside), encoding="utf-8")
        (folder / PAGE).unlink(missing_ok=True)
        for name in NAMES:
            for kind in ("png", "svg"):
                (folder / f"{name}.{kind}").unlink(missing_ok=True)
        for path in sorted(aside.iterdir(), key=lambda path: path.name == PAGE):
            path.replace(folder / path.name)
    finally:
        shutil.rmtree(aside, ignore_errors=True)


COLUMNS: tuple[tuple[str, Callable[[SiteAnswer], object]], ...] = (
    ("site", lambda a: a.point.index),
    ("engaged_threads", lambda a: a.point.engaged_threads),
    ("trabecular_modulus_mpa", lambda a: a.point.trabecular_modulus_mpa),
    ("interference_um", lambda a: a.point.interference_um),
    ("diameter_mm", lambda a: a.point.diameter_mm),
    ("friction", lambda a: a.point.friction),
    ("hold_place_0_crest_1_tip", lambda a: a.point.place),
    ("hold_top_mm", lambda a: a.point.hold_mm[0]),
    ("hold_bottom_mm", lambda a: a.point.hold_mm[1]),
    ("engagement_length_mm", lambda a: round(a.point.engagement_length_mm, 6)),
    ("cortical_hold_mm", lambda a: round(a.point.cortical_hold_mm, 6)),
    ("length_times_trabecular_n_mm", lambda a: round(a.point.length_times_trabecular_n_mm, 6)),
    ("length_times_modulus_n_mm", lambda a: round(a.point.length_times_modulus_n_mm, 6)),
    ("outcome", lambda a: a.outcome),
    ("insertion_torque_ncm", lambda a: a.insertion_torque_ncm),
    ("share_crushed", lambda a: a.share_crushed),
    ("peak_micromotion_um", lambda a: a.peak_micromotion_um),
    ("peak_depth_mm", lambda a: a.peak_depth_mm),
    ("mean_micromotion_um", lambda a: a.mean_micromotion_um),
    ("p95_micromotion_um", lambda a: a.p95_micromotion_um),
    ("head_movement_um", lambda a: a.head_movement_um),
    ("reason", lambda a: a.reason),
)
"""Columns of a site in the table."""
SHARED_COLUMNS = (
    "finer_insertion_torque_ncm",
    "finer_peak_micromotion_um",
    "load_axial_n",
    "load_lateral_n",
    "load_height_mm",
    "element_mm",
    "harmonics",
    "stillroot_version",
)


def _write_table(lesson: Lesson, fine: Sequence[SiteAnswer], table: Any) -> None:
    """Write a row a site; the finer figures stand where a site was solved again."""
    again = {a.point.index: a for a in fine}
    load, grain = lessons.COMMON_LOAD, lesson.plan.grain
    shared = [load["axial_n"], load["lateral_n"], load["height_mm"]]
    shared += [grain.element_mm, grain.harmonics, version("stillroot")]
    table.writerow([*(name for name, _ in COLUMNS), *SHARED_COLUMNS])
    for answer in lesson.answers:
        finer = again.get(answer.point.index)
        more = [finer and finer.insertion_torque_ncm, finer and finer.peak_micromotion_um]
        table.writerow([*(value(answer) for _, value in COLUMNS), *more, *shared])


def page(lesson: Lesson, shown: Sequence[Picture], folder: Path) -> str:
    """Return the page: self-contained, the pictures of `folder` inside it."""
    from jinja2 import Environment, StrictUndefined  # noqa: PLC0415 - slow to import

    template = (files("stillroot") / "templates" / "lesson.html.j2").read_text(encoding="utf-8")
    writing = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    writing.filters.update(um=_um, ncm=_ncm, rho=_rho, percent=_percent, number=_number)
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
        ranges=lessons.RANGES,
        fixed=lessons.FIXED,
        load=lessons.LOAD_IN_WORDS,
        load_source=lessons.LOAD_SOURCE,
        ordinary=lessons.ORDINARY_NCM,
        tolerance=lessons.PAIR_TOLERANCE,
        seed=lessons.SEED,
        resamples=lessons.RESAMPLES,
        outcomes={name: _count(lesson, name) for name in _OUTCOMES},
        finding=finding(lesson),
        built=[
            (a.pair, list(zip(a.pair.names, map(_told, a.results), a.clot_um, strict=True)))
            for a in lesson.built
        ],
        published=PUBLISHED,
        bands=NO_LINE,
        caution=CAUTION,
        versions=versions(),
    )


_OUTCOMES = (lessons.COMPUTED, lessons.GAVE_WAY, lessons.NO_ANSWER)


def _count(lesson: Lesson, outcome: str) -> int:
    return sum(answer.outcome == outcome for answer in lesson.answers)


def finding(lesson: Lesson) -> tuple[str, ...]:
    """Return what came out, one sentence each, whichever way it came out."""
    said = []
    for group in lesson.groups:
        if not group.correlations:
            said.append(f"{group.name}: {group.count} sites are too few for a correlation.")
            continue
        torque = next(c for c in group.correlations if c.predictor is lessons.TORQUE)
        best = max(group.correlations, key=lambda c: abs(c.rho))
        told = f"{group.name} ({group.count}): insertion torque {_interval(torque)}"
        if best is torque or best.ahead is None:
            said.append(f"{told}, which is ahead of the others here.")
            continue
        low, high = best.ahead
        clear = "clearly ahead of torque" if low > 0 else "not clearly ahead of torque"
        said.append(
            f"{told}; {best.predictor.name} {_interval(best)}, {clear} "
            f"(|ρ| larger by {_rho(low)} to {_rho(high)})."
        )
    return tuple(said)


def _told(result: CheckResult | None) -> dict[str, str] | None:
    """Return the figures of a built site in words; None where it gives way."""
    if result is None:
        return None
    answer = result.governing
    return {
        "torque": _ncm(0.0 if result.torque is None else result.torque.insertion_ncm),
        "peak": with_error(answer.peak.total_um, answer.error.total_um),
        "band": answer.band,
        "head": f"{answer.head.total_um:.0f}",
        "hold": f"{result.engagement_length_mm:g}",
    }


def _interval(c: lessons.Correlation) -> str:
    return f"ρ = {_rho(c.rho)} ({_rho(c.low)} to {_rho(c.high)})"


def _rho(value: float) -> str:
    return f"{value:.2f}".replace("-", "−")


def _um(value: float) -> str:
    return f"{value:.0f}" if value >= 100 else f"{value:.1f}"


def _ncm(value: float) -> str:
    return f"{value:.0f}" if value >= 10 else f"{value:.1f}"


def _percent(share: float) -> str:
    return f"{100 * share:.2g} %"


def _number(value: float) -> str:
    return f"{value:g}"
