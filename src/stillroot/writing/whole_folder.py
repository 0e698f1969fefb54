"""A folder that is whole or not there: it is written aside first, then moved into place."""

from __future__ import annotations

import ctypes
import errno
import glob
import os
import shutil
import sys
import tempfile
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from stillroot.errors import OutputError

if TYPE_CHECKING:
    from collections.abc import Iterator

UNFINISHED = ".unfinished"
"""Ends the name of a folder that is being written, or removed, beside the one it is for."""
ATTEMPTS = 100
"""To make such a folder while other runs sweep."""


def assert_writable(folder: Path, mark: str) -> None:
    """Refuse an output folder that could not be written, before any work is done.

    `mark` is the file by which an earlier answer is known, which may be replaced.

    Raises
    ------
    OutputError
        As `whole_folder` does.
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
