"""The pages are true: printed output, links, snippets, keys, files, the module table."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import meshio
import pytest

from stillroot import check, directions, read_case
from stillroot.answers.explained import Choice, Explained
from stillroot.answers.wording import CAUTION
from stillroot.mechanics.mesh import APT_LINE
from stillroot.pictures.directions_figure import six_arrows
from stillroot.writing.output import data_of
from tests.shown import assert_same, assert_shows, told_by

ROOT = Path(__file__).parents[2]
PAGES = [
    ROOT / "README.md",
    ROOT / "DEVELOPERS.md",
    ROOT / "CHANGELOG.md",
    *sorted((ROOT / "docs").glob("*.md")),
]
SOFT = read_case(ROOT / "docs" / "cases" / "soft_posterior.toml")
README = (ROOT / "README.md").read_text(encoding="utf-8")


def block_after(comment: str, page: str = README) -> str:
    """Return the fenced block that follows a comment."""
    found = re.search(rf"<!-- {comment} -->\n```\w+\n(.*?)^```$", page, re.DOTALL | re.MULTILINE)
    assert found, f"README.md has no block after <!-- {comment} -->"
    return found[1]


@pytest.fixture(scope="module")
def answer(tmp_path_factory):
    """Run the README's first command in an empty folder; return what it printed and wrote."""
    folder = tmp_path_factory.mktemp("clone")
    (folder / "docs").symlink_to(ROOT / "docs")
    arguments = block_after("run command").split("/stillroot ")[1].split()
    entry = "import sys; from stillroot.cli import main; main(sys.argv[1:])"
    run = subprocess.run(  # noqa: S603 - the README's own command
        [sys.executable, "-c", entry, *arguments],
        cwd=folder,
        capture_output=True,
        encoding="utf-8",
        check=False,
    )
    assert run.returncode == 0, run.stderr
    out = folder / arguments[arguments.index("--out") + 1]
    return run.stdout, out


def test_the_readme_shows_what_the_program_prints(answer):
    assert_shows(block_after("printed"), answer[0])


def test_the_readme_shows_the_section_of_this_answer(answer):
    (now,) = answer[1].glob("section-1-*.png")
    assert_same(told_by(ROOT / "docs" / "images" / "soft_posterior-section.png"), told_by(now))


@pytest.fixture(scope="module")
def six():
    return directions(read_case(ROOT / "docs" / "cases" / "canine_socket.toml"))


def test_the_report_page_shows_the_arrows_of_this_answer(six):
    shown = told_by(ROOT / "docs" / "images" / "canine_socket-directions.png")
    assert_same(shown, six_arrows(six).alt)


def listed_keys(file: str) -> set[str]:
    page = (ROOT / "docs" / "result.md").read_text(encoding="utf-8")
    section = page.partition(f"## Keys of `{file}`")[2].partition("\n## ")[0]
    return set(re.findall(r"^\| `([^`]+)` \|", section, re.MULTILINE))


def all_keys(data: dict) -> set[str]:
    return set(keys_of(data)) | {f"{key}[]" for key, value in data.items() if is_table(value)}


AS_BELOW = "six_directions.directions[]"
"""Rows that the page describes once, with the keys of directions.json."""


def test_the_result_page_lists_every_key(answer):
    data = json.loads((answer[1] / "result.json").read_text(encoding="utf-8"))
    choice = Choice(subject="friction", text="0.3", peaks_um=(1.0, None))
    coarse = SOFT.with_numerics(element_mm=1.0, harmonics=3)
    data["choices"] = data_of(Explained(answer=check(coarse), choices=(choice,)))["choices"]
    keys = all_keys(data)
    rows = {key for key in keys if key.startswith(f"{AS_BELOW}.")}
    assert listed_keys("result.json") == keys - rows | {AS_BELOW, "six_directions"}
    below = {key for key in listed_keys("directions.json") if key.startswith("directions[].")}
    assert {f"six_directions.{key}" for key in below} == rows


def test_the_result_page_lists_every_key_of_the_directions(six):
    assert listed_keys("directions.json") == all_keys(data_of(six))


NOT_TAKEN_APART = {
    "case",
    "versions",
    "share_above",
    "range_in_bands",
    "peak_micromotion_um",
    "peak_ratio",
}


def keys_of(data: dict, above: str = "") -> list[str]:
    """Return dotted names; inputs, versions and tables keyed by bands or loads are not expanded."""
    keys = []
    for key, value in data.items():
        name = f"{above}{key}"
        if is_table(value):
            keys += keys_of(value[0], f"{name}[].")
        elif isinstance(value, dict) and key not in NOT_TAKEN_APART:
            keys += keys_of(value, f"{name}.")
        else:
            keys.append(name)
    return keys


def is_table(value: object) -> bool:
    return isinstance(value, list) and bool(value) and isinstance(value[0], dict)


def test_the_result_page_lists_every_file(answer):
    page = (ROOT / "docs" / "result.md").read_text(encoding="utf-8")
    section = page.partition("## Files in")[2].partition("\n## ")[0]
    listed = set()
    for row, about in re.findall(r"^\| (`.+?) \| (.+?) \|$", section, re.MULTILINE):
        if about.startswith(("with `--choices`", "with `--pdf`")):
            continue  # this answer was computed without them
        first, *endings = re.findall(r"`([^`]+)`", row)
        listed |= {first} | {first.rpartition(".")[0] + ending for ending in endings}
    patterns = [
        re.compile(re.escape(name).replace("N\\-NAME", r"\d+-[a-z0-9-]+")) for name in sorted(listed)
    ]
    written = {path.name for path in answer[1].iterdir()}
    assert all(any(pattern.fullmatch(name) for pattern in patterns) for name in written)
    assert all(any(pattern.fullmatch(name) for name in written) for pattern in patterns)


def test_the_result_page_lists_all_data_of_fields_and_interface(answer):
    page = (ROOT / "docs" / "result.md").read_text(encoding="utf-8")
    section = page.partition("## Fields and interface")[2].partition("\n## ")[0]
    for kind, mark in (("fields", ".vtu"), ("interface", ".vtu"), ("interface", ".csv")):
        rows = section.partition(f"`{kind}-N-NAME{mark}`")[2].partition("\n\n")[0]
        listed = [
            name for row in re.findall(r"^\| (`.+?) \|", rows, re.MULTILINE) for name in row.split(", ")
        ]
        (path,) = answer[1].glob(f"{kind}-1-*{mark}")
        if mark == ".csv":
            caution, names, *_ = path.read_text(encoding="utf-8").splitlines()
            assert caution == f"# {CAUTION}"
            written = names.split(",")
        else:
            assert f"<!-- {CAUTION} -->".encode() in path.read_bytes()
            mesh = meshio.read(path)
            written = [*mesh.point_data, *mesh.cell_data]
        assert sorted(name.strip("`") for name in listed) == sorted(written)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_somewhere(page):
    text = re.sub(r"^```.*?^```$", "", page.read_text(encoding="utf-8"), flags=re.DOTALL | re.MULTILINE)
    for link in re.findall(r"\]\(([^)\s]+)\)", text):
        if "://" in link:
            continue
        name, _, anchor = link.partition("#")
        target = (page.parent / name).resolve() if name else page
        assert target.exists(), f"{page.name}: {link}"
        if anchor:
            assert anchor in anchors_of(target), f"{page.name}: {link}"


def anchors_of(page: Path) -> set[str]:
    titles = re.findall(r"^#+ (.+)$", page.read_text(encoding="utf-8"), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", title.lower()).replace(" ", "-") for title in titles}


def snippets() -> list[Any]:
    found = []
    for page in PAGES:
        blocks = re.findall(r"^```python\n(.*?)^```$", page.read_text("utf-8"), re.DOTALL | re.MULTILINE)
        # A whole study takes half a minute; test_studies_page tests it coarsely.
        marks = pytest.mark.slow if page.name == "studies.md" else ()
        found += [
            pytest.param(block, id=f"{page.name}-{i}", marks=marks) for i, block in enumerate(blocks, 1)
        ]
    return found


@pytest.mark.parametrize("code", snippets())
def test_snippets_run(code, monkeypatch, capsys):
    monkeypatch.chdir(ROOT)
    exec(compile(code, "snippet", "exec"), {"__name__": "snippet"})  # noqa: S102 - our own pages
    assert capsys.readouterr().out, "a snippet shows something"


def test_the_apt_line_is_that_of_the_message():
    assert APT_LINE in README
