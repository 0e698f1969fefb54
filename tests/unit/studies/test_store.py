"""Solved cases in a file: under which key, written by several at once, and cleared."""

import os
import shutil
import sqlite3
import subprocess
import sys
import time
from importlib.resources import files
from pathlib import Path

import pytest

from stillroot import Case, OutputError, Store, Where
from stillroot.inputs.vary import changed
from stillroot.studies.running import run
from stillroot.studies.store import key_of, program, sources_hash

TINY = Case.from_dict(
    {
        "title": "Invented scenario: tiny",
        "implant": {"diameter_mm": 4.0, "length_mm": 4.0, "thread": {"form": "none"}},
        "bone": {"cortical_thickness_mm": 1.0, "law": "linear", "trabecular_modulus_mpa": 300.0},
        "loads": [{"name": "oblique", "axial_n": 20.0, "lateral_n": 5.0}],
        "numerics": {"element_mm": 1.0, "harmonics": 3, "load_steps": 1},
    }
)


def test_a_key_follows_inputs_and_program_not_words(monkeypatch):
    bands = Case.from_dict({**TINY.to_dict(), "threshold": {"bands_um": [10, 20]}})
    key = key_of(TINY, with_error=False)
    assert key_of(bands, with_error=False) == key
    assert key_of(TINY, with_error=True) != key
    assert key_of(changed(TINY, {"load_factor": 0.5}), with_error=False) != key
    monkeypatch.setattr("stillroot.studies.store.program", lambda: "another")
    assert key_of(TINY, with_error=False) != key


def copied_package(folder: Path) -> Path:
    """Return a copy of the package's modules."""
    package = Path(str(files("stillroot")))
    for path in package.rglob("*.py"):
        copy = folder / path.relative_to(package)
        copy.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, copy)
    return folder


def test_the_program_is_told_by_all_of_its_modules(tmp_path):
    copy = copied_package(tmp_path / "copy")
    assert program().endswith(f"+{sources_hash(copy)}")
    seen = {sources_hash(copy)}
    for path in sorted(copy.rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        for comment in ("# changed\n", "# CHANGED\n"):  # longer, then as long
            path.write_text(text + comment, encoding="utf-8")
            now = sources_hash(copy)
            assert now not in seen, path
            seen.add(now)


def test_the_program_is_told_by_the_names_of_its_modules(tmp_path):
    copy = copied_package(tmp_path / "copy")
    for path in sorted(copy.rglob("*.py")):
        before = sources_hash(copy)
        path.rename(path.with_stem(f"{path.stem}_renamed"))
        assert sources_hash(copy) != before, path


WRITER = """
import sys
from pathlib import Path
from stillroot import Outcome, Store
store = Store.opened(Path(sys.argv[1]))
for i in range(100):
    outcome = Outcome(loads=(), engagement_length_mm=i, engaged_threads=None)
    store.add(f"{sys.argv[2]}-{i}", "written", outcome)
"""


def test_several_may_write_at_once(tmp_path):
    path = tmp_path / "solved.sqlite"
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    writers = [
        subprocess.Popen(  # noqa: S603 - our own program
            [sys.executable, "-c", WRITER, str(path), str(name)], env=environment
        )
        for name in range(3)
    ]
    assert [writer.wait(timeout=120) for writer in writers] == [0, 0, 0]
    store = Store.opened(path)
    assert store.kept().present == 300
    assert store.found(["2-7"])["2-7"].engagement_length_mm == 7


def test_clearing_can_spare_what_this_version_solved(tmp_path):
    store = Store.opened(tmp_path / "solved.sqlite")
    run([TINY], Where(workers=1, store=store))
    with sqlite3.connect(store.path) as connection:
        connection.execute(
            "INSERT INTO solved SELECT 'old', 'older', title, solved_at, outcome FROM solved"
        )
    connection.close()
    assert (store.kept().present, store.kept().outdated) == (1, 1)
    assert store.clear(outdated_only=True) == 1
    assert store.kept().present == 1
    assert store.clear() == 1
    assert store.kept().present == 0
    assert program().startswith("0.")


def test_a_file_that_is_no_store_is_one_message(tmp_path):
    path = tmp_path / "letter.txt"
    path.write_text("Dear reader, " * 100, encoding="utf-8")
    with pytest.raises(OutputError, match=r"letter\.txt: solved cases cannot be kept there .*--store"):
        Store.opened(path)
    assert path.read_text("utf-8").startswith("Dear reader")
    with pytest.raises(OutputError, match="cannot be kept there"):
        Store.opened(tmp_path)


def test_one_writer_waits_for_another(tmp_path):
    store = Store.opened(tmp_path / "solved.sqlite")
    other = sqlite3.connect(store.path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    script = (
        "import sys; from pathlib import Path; from stillroot import Outcome, Store;"
        "Store(path=Path(sys.argv[1])).add('k', 't', Outcome(loads=(), engagement_length_mm=1, "
        "engaged_threads=None)); print('added')"
    )
    writer = subprocess.Popen(  # noqa: S603 - our own program
        [sys.executable, "-c", script, str(store.path)], stdout=subprocess.PIPE, text=True
    )
    time.sleep(3)
    assert store.kept().present == 0
    other.execute("COMMIT")
    other.close()
    assert writer.communicate(timeout=60)[0] == "added\n"
    assert store.kept().present == 1
