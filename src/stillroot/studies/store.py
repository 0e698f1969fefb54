"""Solved cases in one SQLite file, under the hash of their inputs and of the software that solved them.

Several processes may write at once: each row is one transaction, and SQLite admits one writer at a time
(sqlite.org, "File Locking And Concurrency In SQLite Version 3"). A row is written whole or not at all.
"""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from importlib.metadata import version
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

from stillroot.answers.answer import versions
from stillroot.answers.chain import solved_by
from stillroot.errors import OutputError
from stillroot.studies.outcome import Outcome

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from stillroot.inputs.case import Case

VARIABLE = "STILLROOT_STORE"
"""Environment variable that names the file, where no option does."""
WAIT_S = 60.0
"""How long a writer waits for others."""
TABLE = """
CREATE TABLE IF NOT EXISTS solved (
    key TEXT PRIMARY KEY,
    program TEXT NOT NULL,
    title TEXT NOT NULL,
    solved_at TEXT NOT NULL,
    outcome TEXT NOT NULL
)"""
TABLES = "SELECT name FROM sqlite_master WHERE type = 'table'"
SMALLEST_B = 512
"""Bytes of the smallest page, and so of the smallest SQLite file that is not empty."""


@cache
def program() -> str:
    """Return version and source hash: a changed program never reuses what an older one solved."""
    return f"{version('stillroot')}+{sources_hash(Path(str(files('stillroot'))))}"


def sources_hash(*folders: Path) -> str:
    """Return one hash of the names and contents of all Python modules below some folders."""
    digest = hashlib.sha256()
    for folder in folders:
        for path in sorted(folder.rglob("*.py")):
            content = path.read_bytes()
            digest.update(f"{path.relative_to(folder).as_posix()} {len(content)} ".encode() + content)
    return digest.hexdigest()[:12]


def default_path() -> Path:
    """Return the path of the store unless another one is named."""
    from platformdirs import user_cache_path  # noqa: PLC0415 - beside its only use

    named = os.environ.get(VARIABLE)
    return Path(named) if named else user_cache_path("stillroot") / "solved.sqlite"


def key_of(case: Case, *, with_error: bool, until_um: float | None = None) -> str:
    """Return the key of a solved case: its inputs, this program, and the libraries it uses."""
    parts = [solved_by(case), with_error, until_um, program(), versions()]
    return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()


@dataclass(frozen=True, kw_only=True)
class Kept:
    """Contents of a store: cases solved by this program, cases solved by others, and its size."""

    present: int
    outdated: int
    size_mb: float
    newest: str


@dataclass(frozen=True, kw_only=True)
class Store:
    """A file of solved cases; open it with `Store.opened`."""

    path: Path

    @classmethod
    def opened(cls, path: Path) -> Store:
        """Open the store; its file is created if it does not exist.

        Raises
        ------
        OutputError
            The file cannot be created or written, or is no store.
        """
        store = cls(path=path)
        with store._connected() as connection:
            tables = [name for (name,) in connection.execute(TABLES)]
            if tables and "solved" not in tables:
                msg = "a database of something else"
                raise sqlite3.DatabaseError(msg)
            connection.execute(TABLE)
        return store

    def found(self, keys: Iterable[str]) -> dict[str, Outcome]:
        """Return the outcomes stored under some keys."""
        query = "SELECT key, outcome FROM solved WHERE key IN (SELECT value FROM json_each(?))"
        with self._connected() as connection:
            rows = connection.execute(query, (json.dumps(list(keys)),)).fetchall()
        found = {}
        for key, text in rows:
            with suppress(ValueError, KeyError, TypeError):  # a damaged row is solved again
                found[key] = Outcome.from_dict(json.loads(text))
        return found

    def add(self, key: str, title: str, outcome: Outcome) -> None:
        """Store a solved case at once."""
        now = f"{datetime.now(UTC):%Y-%m-%d %H:%M:%S}"
        row = (key, program(), title, now, json.dumps(outcome.to_dict()))
        with self._connected() as connection:
            connection.execute("INSERT OR REPLACE INTO solved VALUES (?, ?, ?, ?, ?)", row)

    def kept(self) -> Kept:
        """Return the contents of the store in numbers."""
        with self._connected() as connection:
            query = "SELECT COUNT(*), TOTAL(program = ?), MAX(solved_at) FROM solved"
            count, present, newest = connection.execute(query, (program(),)).fetchone()
        size_mb, outdated = self.path.stat().st_size / 2**20, count - int(present)
        return Kept(present=int(present), outdated=outdated, size_mb=size_mb, newest=newest or "")

    def clear(self, *, outdated_only: bool = False) -> int:
        """Delete all rows, or only those solved by other versions of the program; return how many."""
        kept = program() if outdated_only else ""
        with self._connected() as connection:
            count = connection.execute("DELETE FROM solved WHERE program != ?", (kept,)).rowcount
        with self._connected() as connection:
            connection.execute("VACUUM")
        return count

    @contextmanager
    def _connected(self) -> Iterator[sqlite3.Connection]:
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            if self.path.is_file() and 0 < self.path.stat().st_size < SMALLEST_B:
                msg = "file is not a database"  # SQLite would take it for an empty one
                raise sqlite3.DatabaseError(msg)
            opened = sqlite3.connect(self.path, timeout=WAIT_S, isolation_level=None)
            with closing(opened) as connection:
                yield connection
        except (OSError, sqlite3.Error) as error:
            msg = (
                f"{self.path}: solved cases cannot be kept there ({error}); name another file with "
                f"--store or {VARIABLE}"
            )
            raise OutputError(msg) from None
