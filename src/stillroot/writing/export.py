"""The output folder: written aside first, then moved into place, so that it is whole or not there."""

from __future__ import annotations

import csv
import ctypes
import errno
import glob
import json
import os
import shutil
import sys
import tempfile
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import tomli_w

from stillroot.answers.chain import solids_of
from stillroot.answers.explained import as_explained
from stillroot.answers.summary import CAUTION
from stillroot.errors import OutputError
from stillroot.inputs.case import resolved_toml
from stillroot.mechanics.fields import displacement
from stillroot.mechanics.outline import IMPLANT_BODY
from stillroot.mechanics.stress import IN_PLANE_SIDES, seated_displacement, stress_in_plane, von_mises
from stillroot.words.report import data_of, text_of
from stillroot.writing.interface_files import interface_mesh, interface_table

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    import meshio
    from numpy.typing import NDArray

    from stillroot.answers.answer import CheckResult, DirectionsResult
    from stillroot.answers.explained import Explained
    from stillroot.arch.span import SpanResult
    from stillroot.mechanics.bodies import Body
    from stillroot.mechanics.fields import Displacement
    from stillroot.pictures.paper import Picture
    from stillroot.words.document import Audience, Document

MARK, DIRECTIONS_MARK, SPAN_MARK = "result.json", "directions.json", "span.json"
"""The files that tell an earlier answer from somebody's folder."""
CAUTION_LINE = f"# {CAUTION}\n"
"""The first line of every CSV."""
UNFINISHED = ".unfinished"
"""Ends the name of a folder that is being written, or removed, beside the one it is for."""
FIELDS_OF_CELLS = ("body", "region", "modulus_mpa", "stress_mpa", "von_mises_mpa")
ATTEMPTS = 100
"""To make such a folder while other runs sweep."""


@dataclass(frozen=True, kw_only=True)
class Report:
    """Which report goes into a folder: for whom, and whether as PDF beside the page."""

    reader: Audience = "researcher"
    pdf: bool = False

    def write(self, document: Document, pictures: Iterable[Picture], folder: Path) -> None:
        """Write report.html, and report.pdf where that is asked for, into a folder."""
        from stillroot.writing.html_report import report_html  # noqa: PLC0415 - slow to import
        from stillroot.writing.pdf import pdf_of  # noqa: PLC0415

        page = report_html(document, pictures, self.reader)
        (folder / "report.html").write_text(page, encoding="utf-8")
        if self.pdf:
            (folder / "report.pdf").write_bytes(pdf_of(page))


FULL = Report()


def write_answer(answered: CheckResult | Explained, folder: Path, *, report: Report = FULL) -> None:
    """Write all files of an answer into `folder`.

    Raises
    ------
    OutputError
        The folder cannot be written, or contains something other than an earlier answer.
    EnvironmentProblem
        A PDF is asked for and cannot be made here.
    """
    from stillroot.pictures.figures import pictures  # noqa: PLC0415 - matplotlib is slow to import
    from stillroot.words.check_document import check_document  # noqa: PLC0415

    explained = as_explained(answered)
    result = explained.answer
    with whole_folder(folder, MARK) as aside:
        (aside / MARK).write_text(
            json.dumps(data_of(explained), indent=2, ensure_ascii=False) + "\n", encoding="utf-8"
        )
        (aside / "summary.txt").write_text(text_of(explained), encoding="utf-8")
        (aside / "case.toml").write_text(resolved_toml(result.case), encoding="utf-8")
        _write_vtu(_section_mesh(result), aside / "mesh.vtu")
        seat = seated_displacement(result.seated)
        fields = [displacement(result.seated, a.state, a.resultant) for a in result.loads]
        for answer, field, name in zip(result.loads, fields, result.load_slugs, strict=True):
            _write_vtu(_load_fields(result, field, seat), aside / f"fields-{name}.vtu")
            _write_vtu(interface_mesh(result.seated, answer.state), aside / f"interface-{name}.vtu")
            _write_csv(interface_table(result.seated, answer.state), aside / f"interface-{name}.csv")
        shown = pictures(explained, fields[result.loads.index(result.governing)])
        for picture in shown:
            save_picture(picture, aside)
        report.write(check_document(explained), shown, aside)


def _write_csv(columns: dict[str, NDArray[Any]], path: Path) -> None:
    """Write columns of a table below the caution; truth as true and false.

    By the standard library: a data frame's threads do not outlive a fork, and a check should need none.
    """
    shown = [np.where(c, "true", "false") if c.dtype == bool else c for c in columns.values()]
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(CAUTION_LINE)
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(columns)
        writer.writerows(zip(*(column.tolist() for column in shown), strict=True))


def _write_vtu(mesh: meshio.Mesh, path: Path) -> None:
    """Write a mesh for viewers, the caution in it as a comment."""
    mesh.write(path)
    declaration, line, rest = path.read_bytes().partition(b"\n")
    path.write_bytes(declaration + line + f"<!-- {CAUTION} -->\n".encode() + rest)


def write_directions(result: DirectionsResult, folder: Path, *, report: Report = FULL) -> None:
    """Write six directions as data, text, report and picture into `folder`: all of it or nothing.

    Raises
    ------
    OutputError
        The folder cannot be written, or contains something other than earlier directions.
    """
    from stillroot.pictures.directions_figure import six_arrows  # noqa: PLC0415 - matplotlib is slow to import
    from stillroot.words import directions_report as words  # noqa: PLC0415
    from stillroot.words.directions_document import directions_document  # noqa: PLC0415

    with whole_folder(folder, DIRECTIONS_MARK) as aside:
        text = json.dumps(words.data_of(result), indent=2, ensure_ascii=False) + "\n"
        (aside / DIRECTIONS_MARK).write_text(text, encoding="utf-8")
        (aside / "directions.txt").write_text(words.text_of(result), encoding="utf-8")
        picture = six_arrows(result)
        save_picture(picture, aside)
        report.write(directions_document(result), [picture], aside)


def write_span(result: SpanResult, folder: Path, *, report: Report = FULL) -> None:
    """Write a full arch as data, text, plan, report and pictures into `folder`, or nothing.

    Raises
    ------
    OutputError
        The folder cannot be written, or contains something other than an earlier span.
    """
    from stillroot.pictures.span_figure import arch_pictures  # noqa: PLC0415 - matplotlib is slow to import
    from stillroot.words import span_report as words  # noqa: PLC0415
    from stillroot.words.span_document import span_document  # noqa: PLC0415

    with whole_folder(folder, SPAN_MARK) as aside:
        text = json.dumps(words.data_of(result), indent=2, ensure_ascii=False) + "\n"
        (aside / SPAN_MARK).write_text(text, encoding="utf-8")
        (aside / "span.txt").write_text(words.text_of(result), encoding="utf-8")
        (aside / "plan.toml").write_text(tomli_w.dumps(result.plan.to_dict()), encoding="utf-8")
        shown = arch_pictures(result)
        for picture in shown:
            save_picture(picture, aside)
        report.write(span_document(result, [picture.name for picture in shown]), shown, aside)


def save_picture(picture: Picture, folder: Path) -> None:
    """Write a picture into a folder as PNG and SVG, its alt text with it."""
    (folder / f"{picture.name}.png").write_bytes(picture.png())
    (folder / f"{picture.name}.svg").write_bytes(picture.svg())


def assert_writable(folder: Path, mark: str = MARK) -> None:
    """Refuse an output folder that could not be written, before any work is done.

    `mark` is the file by which an earlier answer is known, which may be replaced.

    Raises
    ------
    OutputError
        See `write_answer`.
    """
    with whole_folder(folder, mark, keep=False):
        pass


@contextmanager
def whole_folder(folder: Path, mark: str, *, keep: bool = True) -> Iterator[Path]:
    """Yield a folder beside `folder`, and put it in its place when all went well.

    An earlier answer there, known by the file `mark`, is replaced: whenever this process is killed, the
    one or the other is there and whole (but see `_put_in_two_moves`). What killed runs left beside it is
    swept afterwards. With `keep` False nothing is put in place: a trial.

    Raises
    ------
    OutputError
        The folder cannot be written, or contains something other than an earlier answer.
    """
    target = Path(os.path.realpath(folder))  # a link stays, and what it leads to is written
    with _said_of(folder):
        _assert_replaceable(folder, mark)
        _assert_movable(folder, target)
        made = [p for p in (target.parent, *target.parent.parents) if not p.exists()]
        aside, hold = _held_aside(target)
    try:
        with _said_of(folder):
            yield aside
            if keep:
                aside.chmod(0o755)
                _put_in_place(aside, target)
                _sweep(target)
    finally:
        shutil.rmtree(aside, ignore_errors=True)  # unfinished, or by now the earlier answer
        if hold is not None:
            os.close(hold)
        for parent in made:
            with suppress(OSError):  # not empty: it holds the answer
                parent.rmdir()


@contextmanager
def _said_of(folder: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        msg = f"--out {folder}: cannot be written ({error.strerror or error}); name a folder that can"
        raise OutputError(msg) from None


def _assert_replaceable(folder: Path, mark: str) -> None:
    if folder.is_dir():
        if any(folder.iterdir()) and not (folder / mark).is_file():
            msg = (
                f"--out {folder}: this folder contains other files; name a new or an empty one, or "
                "one with an earlier answer"
            )
            raise OutputError(msg)
    elif folder.exists():
        msg = f"--out {folder}: this is a file; name a folder"
        raise OutputError(msg)


def _assert_movable(folder: Path, target: Path) -> None:
    """Refuse a mount point: it can be written into, but nothing can be moved into its place."""
    if os.path.ismount(target):
        msg = f"--out {folder}: this is a mount point, which cannot be replaced; name a folder in it"
        raise OutputError(msg)


def _held_aside(target: Path) -> tuple[Path, int | None]:
    """Return a new folder beside `target`, and the descriptor that keeps others from sweeping it.

    The descriptor is None where folders cannot be locked; nothing is swept there.
    """
    for _ in range(ATTEMPTS):
        target.parent.mkdir(parents=True, exist_ok=True)
        with suppress(FileNotFoundError):  # another run removes a parent that it made and left empty
            aside = _new_beside(target)
            try:
                hold = _lock(aside)
            except (BlockingIOError, FileNotFoundError):
                continue  # another run sweeps it, or has done so
            except OSError:
                return aside, None
            if aside.exists():
                return aside, hold
            os.close(hold)
    raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT))


def _new_beside(target: Path) -> Path:
    return Path(tempfile.mkdtemp(prefix=f".{target.name}-", suffix=UNFINISHED, dir=target.parent))


def _lock(folder: Path) -> int:
    """Lock a folder; return the descriptor that holds it until it is closed or this process ends.

    Raises
    ------
    OSError
        It is gone (FileNotFoundError), another holds it (BlockingIOError), or it cannot be locked.
    """
    descriptor = os.open(folder, os.O_RDONLY)  # Windows opens no folder: an OSError
    try:
        import fcntl  # noqa: PLC0415 - Windows has none

        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        os.close(descriptor)
        raise
    return descriptor


def _sweep(target: Path) -> None:
    """Remove what runs into `target` left beside it, unless a living process still holds it."""
    for left in target.parent.glob(f".{glob.escape(target.name)}-{8 * '?'}{UNFINISHED}"):
        with suppress(OSError):
            hold = _lock(left)
            shutil.rmtree(left, ignore_errors=True)
            os.close(hold)


def _put_in_place(aside: Path, target: Path) -> None:
    """Move `aside` to `target`; what was there is at `aside` afterwards, or gone."""
    try:
        aside.rename(target)
    except OSError:  # an earlier answer is there
        if not _exchanged(aside, target):
            _put_in_two_moves(aside, target)


def _exchanged(one: Path, other: Path) -> bool:
    """Let two folders change places in one instant; return False where that is not to be had.

    Linux alone has it, and not on every file system.
    """
    if sys.platform != "linux":
        return False
    call = getattr(ctypes.CDLL(None), "renameat2", None)
    if call is None:
        return False
    here, exchange = -100, 2  # AT_FDCWD and RENAME_EXCHANGE of linux/fcntl.h and linux/fs.h
    return bool(call(here, os.fsencode(one), here, os.fsencode(other), exchange) == 0)


def _put_in_two_moves(aside: Path, target: Path) -> None:
    """Replace `target` where folders cannot be exchanged.

    Killed between the two moves, nothing is at `target`, and both answers lie whole beside it until the
    next run into it has ended well.
    """
    beside = _new_beside(target)
    old = beside / target.name
    target.rename(old)
    try:
        aside.rename(target)
    except OSError:
        old.rename(target)
        raise
    shutil.rmtree(beside, ignore_errors=True)


def _section_mesh(result: CheckResult) -> meshio.Mesh:
    import meshio  # noqa: PLC0415 - slow to import

    section = result.section
    flat = section.points_mm
    points = np.column_stack([flat[0], np.zeros(flat.shape[1]), flat[1]])
    return meshio.Mesh(
        points, [("triangle", section.triangles.T)], cell_data={"region": [section.region]}
    )


def _load_fields(result: CheckResult, field: Displacement, seat: Displacement) -> meshio.Mesh:
    """Both bodies in the plane of the load, x > 0 where it points.

    Displacement [µm], `field`, is from seated; stress [MPa] is all of it, `seat` (that of seating) and
    load.
    """
    import meshio  # noqa: PLC0415 - slow to import

    seated, case = result.seated, result.case
    pair = seated.site.pair
    bodies = (
        (pair.implant, seat.implant, field.implant, case.implant.elastic.poisson),
        (pair.bone, seat.bone, field.bone, case.bone.poisson),
    )
    points, cells, moved = [], [], []
    of_cells: dict[str, list[NDArray[Any]]] = {name: [] for name in FIELDS_OF_CELLS}
    count = 0
    for index, (body, u_seat, u, poisson) in enumerate(bodies):
        r, z = body.nodes_mm
        values = field.fourier.values(u, np.array(IN_PLANE_SIDES))
        modulus = _modulus(result, body)
        total = u + field.fourier.embedded(u_seat)
        stress = stress_in_plane(body.basis, total, modulus, poisson)
        for side, sign in enumerate((1.0, -1.0)):
            points.append(np.column_stack([sign * r, np.zeros_like(r), z]))
            cells.append(body.elements.T + count)
            count += len(r)
            moved.append(values[:, side] * [sign, sign, 1.0])
            here = (
                np.full(len(body.region), index),
                body.region,
                modulus,
                stress[side].astype(np.float32),
                von_mises(stress[side]).astype(np.float32),
            )
            for name, data in zip(FIELDS_OF_CELLS, here, strict=True):
                of_cells[name].append(data)
    return meshio.Mesh(
        np.vstack(points),
        # scikit-fem and VTK both list the mid-sides 01, 12, 02.
        [("triangle6", np.vstack(cells))],
        point_data={"displacement_um": 1000 * np.vstack(moved)},
        cell_data={name: [np.concatenate(data)] for name, data in of_cells.items()},
    )


def _modulus(result: CheckResult, body: Body) -> NDArray[np.float64]:
    depth = -body.nodes_mm[1, body.elements[:3]].mean(axis=0)
    modulus = np.empty(len(depth))
    for index, name in enumerate(body.names):
        here = body.region == index
        if name in IMPLANT_BODY:
            modulus[here] = result.case.implant.elastic.modulus_mpa
        elif np.any(here):
            modulus[here] = solids_of(result.case).modulus_mpa(name, depth[here])
    return modulus
