"""docs/studies.md is true: its commands are commands, its keys are keys, its file is a case."""

import re
import shlex
import tomllib
from pathlib import Path

import pytest

from stillroot import Case, bounds, cli, read_case, sweep
from stillroot.inputs.case import STUDY_KEYS
from stillroot.inputs.vary import with_keys
from stillroot.studies.running import Where
from stillroot.studies.shipped_spread import spread_of
from stillroot.studies.spreads import assert_within_limits
from stillroot.words.study_documents import answer_sentence

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "studies.md").read_text("utf-8")


def blocks(kind):
    return re.findall(rf"```{kind}\n(.*?)```", PAGE, flags=re.DOTALL)


COMMANDS = [
    line for block in blocks("sh") for line in block.splitlines() if line.startswith("stillroot ")
]


@pytest.mark.parametrize("line", COMMANDS)
def test_each_command_is_one(line, monkeypatch):
    monkeypatch.chdir(ROOT)
    _, name, *arguments = shlex.split(line)
    command = cli.cli.commands[name]
    context = command.make_context(name, arguments)
    files = [context.params.get("case_file"), *context.params.get("case_files", ())]
    assert all(path.is_file() for path in files if path and path.name != "CASE.toml")


def test_the_keys_of_studies_are_those_that_the_page_lists():
    listed = dict(re.findall(r"^\| `([a-z_]+_(?:mm|factor))` \| (.+?) \|$", PAGE, flags=re.MULTILINE))
    assert listed == dict(STUDY_KEYS)


def test_the_spread_that_the_page_shows_is_sound():
    (table,) = blocks("toml")
    soft = read_case(ROOT / "docs" / "cases" / "soft_posterior.toml").to_dict()
    case = Case.from_dict({**soft, **tomllib.loads(table)})
    assert len(case.spread) == 3
    assert_within_limits(case, spread_of(case))


def test_the_pictures_that_the_page_shows_are_there():
    shown = re.findall(r"!\[.+?\]\((.+?)\)", PAGE)
    assert len(shown) == 2
    assert all((ROOT / "docs" / path).is_file() for path in shown)


def test_the_python_of_the_page_runs():
    (code,) = blocks("python")
    assert "stillroot.sweep(case" in code
    case = read_case(ROOT / "docs" / "cases" / "canine_socket.toml")
    coarse = with_keys(case.with_numerics(element_mm=0.8, harmonics=3), {"bone.law": "linear"})
    found = sweep(coarse, {"engagement_mm": [2.5, 10.0]}, Where(workers=1))
    short, long = found.table().filter("governs")["peak_micromotion_um"]
    assert short > long


def test_what_the_page_shows_of_a_search_is_what_comes_of_it():
    """One question of the five, at the default numerics."""
    shown = PAGE.partition("<!-- bounds -->")[2].partition("## Compare")[0]
    case = read_case(ROOT / "docs" / "cases" / "soft_posterior.toml")
    found = bounds(case, 100.0, Where(workers=1), asked=["load"], with_spread=False)
    assert answer_sentence(found, found.answers[0]) in shown
