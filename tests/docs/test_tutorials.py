"""The tutorials and the page on the report, followed from top to bottom as by a reader.

Commands and snippets run in a folder beside the docs; edits to a case are made as a page shows; the
output that it shows is compared with the one printed; and the files that it names exist.
"""

from __future__ import annotations

import html
import re
import shlex
import shutil
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from stillroot import check, cli, explain, read_case
from stillroot.answers.explained import Choice
from stillroot.inputs.vary import with_keys
from stillroot.pictures.pressure_figure import seat_pressure
from stillroot.words.check_document import check_document
from tests.shown import assert_shows

ROOT = Path(__file__).parents[2]
TUTORIALS = ROOT / "docs" / "tutorials"
PAGES = [TUTORIALS / f"{name}.md" for name in ("clinician", "researcher", "teacher")]
REPORT = ROOT / "docs" / "report.md"
BLOCK = re.compile(r"(?:^<!-- (.+?) -->\n)?^```(\w+)\n(.*?)^```$", re.DOTALL | re.MULTILINE)
NAMED_FILE = re.compile(r"`([\w-]+/[\w.-]+\.\w+)`")


@dataclass(frozen=True, kw_only=True)
class Block:
    """A fenced block: the comment above it, its language, its text."""

    comment: str
    kind: str
    text: str


def blocks(page: Path) -> list[Block]:
    found = BLOCK.findall(page.read_text("utf-8"))
    return [Block(comment=comment, kind=kind, text=text) for comment, kind, text in found]


def without_comment(line: str) -> str:
    return line.partition("#")[0].strip()


def edited(text: str, edit: str) -> str:
    """Return a file with lines removed (−) and added (+), each found below the one before it."""
    lines, place = text.splitlines(), 0
    for line in edit.splitlines():
        sign, told = line[0], line[1:]
        if sign == "+":
            lines.insert(place, told)
            place += 1
            continue
        plain = [without_comment(each) for each in lines]
        assert told.strip() in plain[place:], f"the file has no line {told!r} below line {place}"
        place = plain.index(told.strip(), place)
        if sign == "-":
            del lines[place]
        else:
            place += 1
    return "\n".join(lines) + "\n"


def words_of_page(path: Path) -> str:
    """Return the text of a report, without its pictures and its style."""
    page = re.sub(r"<style>.*?</style>", " ", path.read_text("utf-8"), flags=re.DOTALL)
    return html.unescape(re.sub(r"<[^>]+>", " ", page))


class Reader:
    """A reader who follows pages; `printed` is the output of the last block."""

    def __init__(self, capsys: pytest.CaptureFixture[str]) -> None:
        self.capsys = capsys
        self.printed = ""

    def read(self, page: Path, most: int | None = None, *, briefly: bool = False) -> None:
        """Follow a page, or its first blocks; `briefly` without the reports of its commands."""
        names: dict[str, object] = {"__name__": "snippet"}  # one session of Python a page
        for block in blocks(page)[:most]:
            if block.kind == "text":
                self._compare(block)
            elif block.kind == "diff":
                file = Path(block.comment.removeprefix("edit "))
                file.write_text(edited(file.read_text("utf-8"), block.text), encoding="utf-8")
            elif block.kind == "python":
                exec(compile(block.text, page.name, "exec"), names)  # noqa: S102 - our own pages
                self.printed = self.capsys.readouterr().out
            else:
                assert block.kind == "sh", f"{page.name}: nobody runs a block of {block.kind}"
                lines = block.text.splitlines()
                if briefly:
                    lines = [line.partition(" --for ")[0] for line in lines]
                self.printed = "".join(map(self._run, lines))

    def _run(self, line: str) -> str:
        program, *arguments = shlex.split(line)
        if program == "cp":
            shutil.copyfile(*arguments)
            return ""
        assert program == "stillroot", f"nobody runs {line}"
        with pytest.raises(SystemExit) as stop:
            cli.main(arguments)
        out, err = self.capsys.readouterr()
        assert stop.value.code == 0, f"{line}: {err}"
        return out

    def _compare(self, block: Block) -> None:
        told = self.printed
        if block.comment:
            told = words_of_page(Path(block.comment.removeprefix("in ")))
        assert_shows(block.text, told)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Return a folder with the docs, and with all that has been made in it so far."""
    made = tmp_path_factory.mktemp("reader")
    (made / "docs").symlink_to(ROOT / "docs")
    return made


@pytest.fixture
def reader(folder, monkeypatch, capsys):
    monkeypatch.chdir(folder)
    monkeypatch.setenv("STILLROOT_STORE", str(folder / "store.sqlite"))
    # So few cases are solved faster in this process than in new ones.
    monkeypatch.setattr("os.cpu_count", lambda: 1)
    return Reader(capsys)


def assert_named_files_are_there(page: Path) -> None:
    named = NAMED_FILE.findall(page.read_text("utf-8"))
    assert named, f"{page.name} names no file"
    for name in named:
        assert Path(name).is_file(), f"{page.name}: {name}"


def test_the_first_answer_of_the_clinicians_page_is_what_the_program_says(reader):
    """The thin slice of the tutorials: copy, edit, check, and the text of the answer."""
    page = TUTORIALS / "clinician.md"
    kinds = [block.kind for block in blocks(page)]
    reader.read(page, kinds.index("text") + 1, briefly=True)
    assert "the implant moves about" in " ".join(reader.printed.split())


@pytest.mark.slow
@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_a_tutorial_does_what_it_says(page, reader):
    reader.read(page)
    assert_named_files_are_there(page)
    assert "report.html" in page.read_text("utf-8")


def test_the_command_of_the_page_on_the_report_is_that_of_the_readme():
    """test_readme.py runs it."""
    (command,) = [block.text.strip() for block in blocks(REPORT)]
    readme = (ROOT / "README.md").read_text("utf-8")
    assert f"bin/{command}\n" in readme.partition("<!-- run command -->")[2].partition("## ")[0]
    assert "`answer/report.html`" in REPORT.read_text("utf-8")


def test_the_page_on_the_report_goes_through_all_of_its_parts():
    """Each heading of the longest possible report is one of the page, in the same order."""
    coarse = read_case(ROOT / "docs" / "cases" / "soft_posterior.toml")
    coarse = with_keys(coarse.with_numerics(element_mm=1.0, harmonics=3), {"bone.law": "linear"})
    result = explain(check(coarse))
    choice = Choice(subject="friction", text="0.3", peaks_um=(1.0, None))
    document = check_document(replace(result, choices=(choice,)))
    assert document.limits
    parts = [section.title for section in document.sections_for("researcher")]
    of_page = re.findall(r"^## (.+)$", REPORT.read_text("utf-8"), re.MULTILINE)
    assert of_page == ["The first screen", "What limits this answer", *parts, "Other reports"]


@pytest.mark.parametrize("page", [*PAGES, REPORT], ids=lambda page: page.stem)
def test_a_page_says_that_it_is_no_medical_device_and_its_cases_invented(page):
    text = " ".join(page.read_text("utf-8").split())
    assert "not a medical device" in text
    assert "invented" in text


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_links_and_pictures_lead_somewhere(page):
    for link in re.findall(r"\]\(([^)\s]+)\)", page.read_text("utf-8")):
        name, _, anchor = link.partition("#")
        target = (page.parent / name).resolve() if name else page
        assert target.is_file(), f"{page.name}: {link}"
        if anchor:
            titles = re.findall(r"^#+ (.+)$", target.read_text("utf-8"), re.MULTILINE)
            anchors = {re.sub(r"[^\w\- ]", "", title.lower()).replace(" ", "-") for title in titles}
            assert anchor in anchors, f"{page.name}: {link}"


def test_every_tutorial_is_read_here():
    assert sorted(TUTORIALS.glob("*.md")) == sorted(PAGES)


def test_nine_tenths_of_the_torque_come_from_the_cortex():
    """The tutorial for teachers on the soft ridge."""
    page = " ".join((TUTORIALS / "teacher.md").read_text("utf-8").split())
    assert "some nine tenths of the torque" in page
    soft = read_case(ROOT / "docs" / "cases" / "soft_posterior.toml")
    picture = seat_pressure(check(soft.with_numerics(element_mm=0.5, harmonics=3)))
    assert picture is not None
    found = re.search(r"(\d+)\s%\sof the torque of \d+\sN·cm comes from the cortical", picture.alt)
    assert found
    assert float(found[1]) == pytest.approx(90, abs=3)


def test_an_edit_is_made_where_the_page_says():
    file = "[a]\nx = 1  # one\n[b]\nx = 1\ny = 2\n"
    assert edited(file, " [b]\n-x = 1\n+x = 3\n") == "[a]\nx = 1  # one\n[b]\nx = 3\ny = 2\n"
    with pytest.raises(AssertionError, match="no line"):
        edited(file, " [b]\n-z = 1\n")
