"""An output folder is whole or absent, whenever the run that writes it is killed.

Most kills hit children of a small server, which is this file run as a program: it has everything
imported and computed, and forks a child for each write. A child kills itself before its n-th operation
on the file system, for every n, or is killed after a random time.
"""

from __future__ import annotations

import gc
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
import tomllib
import xml.etree.ElementTree as ET
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import meshio
import pytest
from matplotlib.figure import Figure

from stillroot import Case, OutputError
from stillroot.answers import answer
from stillroot.answers.explained import Explained
from stillroot.pictures import directions_figure as arrows
from stillroot.pictures import figures
from stillroot.writing import field_files, whole_folder
from stillroot.writing.output import write as write_result

pytestmark = pytest.mark.skipif(
    sys.platform != "linux", reason="forks, and wants folders that change places in one instant"
)

PNG_END = b"IEND\xaeB`\x82"
CASE = {
    "title": "Invented scenario: killed",
    "implant": {"diameter_mm": 4.0, "length_mm": 4.0, "thread": {"form": "none"}},
    "bone": {
        "cortical_thickness_mm": 1.0,
        "law": "linear",
        "trabecular_modulus_mpa": 300.0,
        "radius_mm": 5.0,
        "depth_mm": 6.0,
    },
    "loads": [{"name": "earlier", "axial_n": 20.0, "lateral_n": 5.0}],
    "numerics": {"element_mm": 1.0, "harmonics": 3},
}
TOUCHES = frozenset(
    {
        "ctypes.dlsym",  # the last event before folders are exchanged
        "fcntl.flock",
        "open",
        "os.chmod",
        "os.mkdir",
        "os.remove",
        "os.rename",
        "os.rmdir",
        "os.scandir",
        "shutil.rmtree",
    }
)
"""Audit events of the interpreter that precede operations on the file system."""
KILLED_COMMAND = """
import os, signal, sys
from pathlib import Path
from stillroot.cli import main

parent, files = Path(sys.argv.pop(1)), int(sys.argv.pop(1))

def touched(event, arguments):
    if event == "open" and len(list(parent.glob(".answer-*/*"))) >= files:
        os.kill(os.getpid(), signal.SIGKILL)

sys.addaudithook(touched)
main()
"""
"""The command line, killed before it opens one more file once there are so many beside the folder."""


# --- The server ---------------------------------------------------------------------------------------


def serve() -> None:
    """Answer each line on stdin, a write, with how its child ended: "killed" or "finished"."""
    writes = _writes()
    gc.freeze()  # a child that collects garbage would copy all of the server's memory
    for line in sys.stdin:
        order = json.loads(line)
        child = os.fork()
        if child == 0:
            try:
                _write(writes[order["what"]], order)
                os._exit(0)
            finally:
                os._exit(1)
        if order["after_s"] is not None:
            time.sleep(order["after_s"])
            os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        code = os.waitstatus_to_exitcode(status)
        print({0: "finished", -signal.SIGKILL: "killed"}.get(code, f"failed: {code}"), flush=True)


def _writes() -> dict[str, Any]:
    """Return what can be written: an earlier answer and a later one, of a check and of directions."""
    case = Case.from_dict(CASE)
    later = case.model_copy(update={"title": "Invented scenario: killed later"})
    checked, held = answer.check(case), answer.directions(case)
    again = replace(checked, case=later, loads=(replace(checked.loads[0], name="later"),))
    # Fields computed once, two pictures of the real names but small: a write takes 0.05 s, not seconds.
    fields = _fields_of(checked)
    field_files.load_fields = lambda *_: fields
    surface = field_files.interface_mesh(checked.seated, checked.loads[0].state)
    columns = field_files.interface_table(checked.seated, checked.loads[0].state)
    table = {name: column[:100] for name, column in columns.items()}
    field_files.interface_mesh, field_files.interface_table = lambda *_: surface, lambda *_: table
    os.cpu_count = lambda: 1  # to fork once more, for each picture, takes longer than to draw it
    small = {
        result.case.title: tuple(small_picture(p) for p in _two(result)) for result in (checked, again)
    }
    small_arrows = small_picture(arrows.six_arrows(held))
    figures.pictures = lambda it: small[it.answer.case.title]
    arrows.six_arrows = lambda _: small_arrows
    return {
        "check earlier": lambda folder: write_result(checked, folder),
        "check later": lambda folder: write_result(again, folder),
        "directions earlier": lambda folder: write_result(held, folder),
        "directions later": lambda folder: write_result(replace(held, case=later), folder),
    }


def _fields_of(result: Any) -> Any:
    first = result.loads[0]
    field = field_files.displacement(result.seated, first.state, first.resultant)
    seat = field_files.seated_displacement(result.seated)
    return field_files.load_fields(result, first.state, field, seat)


def small_picture(picture: Any) -> Any:
    figure = Figure((0.5, 0.5))
    figure.text(0.5, 0.5, "x")
    return replace(picture, figure=figure, headings=())


def _two(result: Any) -> tuple[Any, ...]:
    return figures.pictures(Explained(answer=result))[:2]


def _write(write: Any, order: dict[str, Any]) -> None:
    if order["in_two_moves"]:
        whole_folder._exchanged = lambda *_: False
    count = 0

    def touched(event: str, _: object) -> None:
        nonlocal count
        if event in TOUCHES:
            count += 1
            if count == order["at_touch"]:
                os.kill(os.getpid(), signal.SIGKILL)

    if order["at_touch"] is not None:
        sys.addaudithook(touched)
    write(Path(order["folder"]))


# --- The tests ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Server:
    process: subprocess.Popen[str]
    whole: dict[str, dict[str, bytes]]

    def write(
        self,
        what: str,
        folder: Path,
        *,
        at_touch: int | None = None,
        after_s: float | None = None,
        in_two_moves: bool = False,
    ) -> str:
        order = {
            "what": what,
            "folder": str(folder),
            "at_touch": at_touch,
            "after_s": after_s,
            "in_two_moves": in_two_moves,
        }
        self.process.stdin.write(json.dumps(order) + "\n")
        self.process.stdin.flush()
        return self.process.stdout.readline().strip()

    def found(self, folder: Path) -> str:
        """Return which whole answer is in a folder, "nothing" where there is none; refuse a torn one."""
        if not folder.exists():
            return "nothing"
        content = content_of(folder)
        for name, whole in self.whole.items():
            if content == whole:
                return name
        pytest.fail(f"torn: { ({name: len(data) for name, data in content.items()}) }")


def content_of(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    folder = tmp_path_factory.mktemp("whole")
    process = subprocess.Popen(  # noqa: S603 - this file
        [sys.executable, __file__],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"},
    )
    whole: dict[str, dict[str, bytes]] = {}
    it = Server(process, whole)
    for kind in ("check", "directions"):
        for when in ("earlier", "later"):
            what = f"{kind} {when}"
            assert it.write(what, folder / what) == "finished"
            whole[what] = content_of(folder / what)
    yield it
    process.stdin.close()
    process.wait(timeout=60)
    process.stdout.close()


def test_what_is_called_whole_can_be_read_to_its_end(server, tmp_path):
    for what, content in server.whole.items():
        kinds = {name.rsplit(".", 1)[1] for name in content}
        assert kinds >= ({"json", "txt", "png", "svg"})
        for name, data in content.items():
            path = tmp_path / name
            path.write_bytes(data)
            match path.suffix:
                case ".json":
                    assert json.loads(data)
                case ".toml":
                    assert tomllib.loads(data.decode())
                case ".svg":
                    ET.fromstring(data)  # noqa: S314 - our own file
                case ".png":
                    assert data.startswith(b"\x89PNG")
                    assert data.endswith(PNG_END)
                case ".vtu":
                    assert len(meshio.read(path).points) > 100
                case _:
                    assert data.endswith(b"\n"), what
    assert len({json.dumps(sorted(whole)) for whole in server.whole.values()}) == 3, "names differ too"


BOTH = [pytest.param("directions"), pytest.param("check", marks=pytest.mark.slow)]
"""An answer to a case has many more files than one on directions, written by the same code."""


@pytest.mark.parametrize("kind", BOTH)
def test_killed_before_any_touch_of_the_file_system_a_folder_is_whole_or_absent(server, tmp_path, kind):
    what, seen, n = f"{kind} later", [], 0
    ended = "killed"
    while ended == "killed":
        n += 1
        shutil.rmtree(tmp_path / "answer", ignore_errors=True)
        ended = server.write(what, tmp_path / "answer", at_touch=n)
        seen.append(server.found(tmp_path / "answer"))
    assert ended == "finished"
    assert n > 20
    assert set(seen) == {"nothing", what}
    assert seen == sorted(seen, key=["nothing", what].index), "there, it stays"
    assert os.listdir(tmp_path) == ["answer"], "what the killed runs left is swept"


@pytest.mark.parametrize("kind", BOTH)
def test_killed_before_any_touch_an_earlier_answer_or_the_new_one_is_there(server, tmp_path, kind):
    old, new, folder = f"{kind} earlier", f"{kind} later", tmp_path / "answer"
    seen, n, ended = [], 0, "killed"
    while ended == "killed":
        n += 1
        if n == 1 or seen[-1] != old:
            shutil.rmtree(folder, ignore_errors=True)
            put(server.whole[old], folder)
        ended = server.write(new, folder, at_touch=n)
        seen.append(server.found(folder))
    assert ended == "finished"
    assert set(seen) == {old, new}
    assert seen == sorted(seen, key=[old, new].index)
    assert os.listdir(tmp_path) == ["answer"]


def test_where_folders_cannot_change_places_both_answers_lie_beside_for_one_instant(server, tmp_path):
    old, new, folder = "directions earlier", "directions later", tmp_path / "answer"
    seen, n, ended = [], 0, "killed"
    while ended == "killed":
        n += 1
        for left in tmp_path.iterdir():
            shutil.rmtree(left)
        put(server.whole[old], folder)
        ended = server.write(new, folder, at_touch=n, in_two_moves=True)
        seen.append(server.found(folder))
        if seen[-1] == "nothing":
            (moved,) = tmp_path.glob(".answer-*/answer")
            (ready,) = (path.parent for path in tmp_path.glob(".answer-*/directions.json"))
            assert (server.found(moved), server.found(ready)) == (old, new)
            assert server.write(new, folder) == "finished"
            assert os.listdir(tmp_path) == ["answer"], "the next run sweeps both"
    assert ended == "finished"
    assert seen.count("nothing") == 1
    assert seen == sorted(seen, key=[old, "nothing", new].index)


def test_killed_after_any_time_a_folder_is_whole(server, tmp_path):
    chance, folder = random.Random(0), tmp_path / "answer"  # noqa: S311 - no secret
    began = time.perf_counter()
    server.write("check earlier", folder)
    full_s = time.perf_counter() - began
    there, killed = "check earlier", 0
    for _ in range(60):
        new = "check later" if there == "check earlier" else "check earlier"
        ended = server.write(new, folder, after_s=chance.uniform(0, 1.1 * full_s))
        found = server.found(folder)
        assert found in {there, new}
        assert ended == "killed" or found == new
        killed += ended == "killed"
        there = found
    assert killed > 20
    server.write("check later", folder)
    assert os.listdir(tmp_path) == ["answer"]


def put(content: dict[str, bytes], folder: Path) -> None:
    folder.mkdir()
    for name, data in content.items():
        (folder / name).write_bytes(data)


HOLDING = """
import sys
from pathlib import Path
from stillroot.writing.whole_folder import whole_folder
with whole_folder(Path(sys.argv[1]), "result.json") as aside:
    (aside / "result.json").write_text("{}")
    print(aside, flush=True)
    sys.stdin.readline()
"""


def holding(folder: Path) -> tuple[subprocess.Popen[str], Path]:
    """Start a process that is about to put a folder in place; return it and the path it writes to."""
    process = subprocess.Popen(  # noqa: S603 - our own program
        [sys.executable, "-c", HOLDING, str(folder)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    return process, Path(process.stdout.readline().strip())


def write(folder: Path, text: str) -> None:
    with whole_folder.whole_folder(folder, "result.json") as aside:
        (aside / "result.json").write_text(text, encoding="utf-8")


def test_runs_at_once_sweep_only_after_the_dead(tmp_path):
    folders = [tmp_path / name for name in ("answer", "answer-2", "answer")]
    alive = [holding(folder) for folder in folders]
    dead, left = holding(tmp_path / "answer")
    dead.kill()
    dead.wait(timeout=60)
    foreign = tmp_path / ".answer-mine"
    foreign.mkdir()
    assert left.is_dir()
    write(tmp_path / "answer", "3")
    assert not left.exists()
    assert all(aside.is_dir() for _, aside in alive)
    for process, _ in alive:
        process.communicate("go on\n", timeout=60)
        assert process.returncode == 0
    dead.communicate()
    assert sorted(os.listdir(tmp_path)) == [".answer-mine", "answer", "answer-2"]


def test_where_folders_cannot_be_locked_nothing_is_swept(tmp_path, monkeypatch):
    def refuses(_):
        raise OSError(38, "Function not implemented")

    left = tmp_path / f".answer-12345678{whole_folder.UNFINISHED}"
    left.mkdir()
    monkeypatch.setattr(whole_folder, "_lock", refuses)
    write(tmp_path / "answer", "1")
    write(tmp_path / "answer", "2")
    assert sorted(os.listdir(tmp_path)) == [left.name, "answer"]
    assert (tmp_path / "answer" / "result.json").read_text() == "2"


def test_a_folder_that_is_swept_before_it_is_held_is_made_again(tmp_path, monkeypatch):
    lock, swept = whole_folder._lock, []

    def late(folder):
        if not swept:
            swept.append(folder)
            folder.rmdir()
        return lock(folder)

    monkeypatch.setattr(whole_folder, "_lock", late)
    write(tmp_path / "answer", "1")
    assert len(swept) == 1
    assert os.listdir(tmp_path) == ["answer"]


def test_a_link_is_followed_and_stays(tmp_path):
    (tmp_path / "disk").mkdir()
    (tmp_path / "answer").symlink_to(tmp_path / "disk" / "there")
    for text in ("1", "2"):
        write(tmp_path / "answer", text)
        assert (tmp_path / "disk" / "there" / "result.json").read_text() == text
    assert (tmp_path / "answer").is_symlink()
    assert os.listdir(tmp_path / "disk") == ["there"]


def test_somebodys_folder_is_never_replaced(tmp_path):
    (tmp_path / "letter.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="contains other files"):
        write(tmp_path, "1")
    assert (tmp_path / "letter.txt").read_text("utf-8") == "mine"


@pytest.mark.parametrize(
    ("command", "files"),
    [("check", 1), ("check", 6), ("directions", 2)],
)
def test_the_command_itself_killed_while_it_writes_leaves_the_earlier_answer(
    tmp_path, server, command, files
):
    folder, case_file = tmp_path / "answer", tmp_path / "case.toml"
    case_file.write_bytes(server.whole["check earlier"]["case.toml"])
    old = server.whole[f"{command} earlier"]
    put(old, folder)
    program = [sys.executable, "-c", KILLED_COMMAND, str(tmp_path), str(files)]
    ended = subprocess.run(  # noqa: S603 - our own program
        [*program, command, str(case_file), "--out", str(folder)],
        stdout=subprocess.DEVNULL,
        timeout=300,
        check=False,
    )
    assert ended.returncode == -signal.SIGKILL
    assert content_of(folder) == old
    assert len(list(tmp_path.glob(".answer-*/*"))) == files


if __name__ == "__main__":
    serve()
