"""The report of an answer: self-contained, and the same numbers for each of its readers."""

import html
import re
import sys
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from stillroot import Case, EnvironmentProblem, Report, check, explain, write_answer
from stillroot.answers.explained import Choice, Lever
from stillroot.answers.wording import CAUTION, rounded, with_error
from stillroot.inputs.section import ASSUMPTION
from stillroot.pictures.figures import pictures
from stillroot.words.check_document import check_document
from stillroot.words.document import AUDIENCES, Table
from stillroot.words.resolved import resolved_keys
from stillroot.writing.data import check_data
from stillroot.writing.html_report import report_html
from stillroot.writing.pdf import assert_pdf_can_be_made
from stillroot.writing.picture_files import drawn as drawn_picture

CASE = {
    "title": "Invented scenario: <b>page</b> & more",
    "implant": {"diameter_mm": 4.0, "length_mm": 4.0, "thread": {"form": "none"}},
    "bone": {"cortical_thickness_mm": 1.0, "law": "linear", "trabecular_modulus_mpa": 300.0},
    "loads": [
        {"name": "oblique", "axial_n": 20.0, "lateral_n": 5.0},
        {"name": "pressed in", "axial_n": 20.0},
    ],
    "numerics": {"element_mm": 1.0, "harmonics": 3},
}
SHIPPED = Path(__file__).parents[3] / "docs" / "cases" / "soft_posterior.toml"
NUMBER = re.compile(r"(?<![\w.\-])\d+(?:\.\d+)?")


class Tags(HTMLParser):
    """The tags of a page; an end tag must close what was opened last."""

    def __init__(self):
        super().__init__()
        self.open, self.images, self.others = [], [], set()

    def handle_starttag(self, tag, attributes):
        if tag == "img":
            self.images.append(dict(attributes))
        self.others.add(tag)
        if tag not in ("img", "meta"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


@pytest.fixture(scope="module")
def result():
    return explain(check(Case.from_dict(CASE)))


@pytest.fixture(scope="module")
def drawn(result):
    return [drawn_picture(picture) for picture in pictures(result)]


@pytest.fixture(scope="module", params=AUDIENCES)
def written(request, result, drawn):
    """Return the reader, the page, and the data that is written as JSON beside it."""
    page = report_html(check_document(result), drawn, request.param)
    return request.param, page, check_data(result)


def words_of(page):
    body = page.partition("<body")[2]
    alts = re.findall(r'alt="([^"]*)"', body)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", body) + " ".join(alts)).split())


def test_every_reader_gets_answer_limits_and_caution(written, result):
    _, page, _ = written
    words = words_of(page)
    assert result.answer.summary.sentence in words
    assert all(line in words for line in result.answer.summary.limits)
    assert CAUTION in words


def test_every_reader_gets_the_same_numbers_from_the_same_result(written):
    reader, page, data = written
    words = words_of(page)
    for load in data["loads"]:
        assert load["name"] in words
        assert with_error(load["peak_micromotion_um"], load["error_um"]) in words
    if reader == "teacher":
        return
    worst = max(data["loads"], key=lambda load: load["peak_micromotion_um"])
    for load in data["loads"]:
        assert with_error(load["head_movement_um"]["total"], load["head_error_um"]) in words
    for row in data["six_directions"]["directions"]:
        assert rounded(row["micromotion_um"]) in words
    helps = [lever for lever in data["levers"] if lever["by_plan"]]
    told = [lever for lever in helps if lever["change"] in words]
    assert told
    for lever in told:
        ratio = lever["peak_ratio"][worst["name"]]
        assert rounded(ratio * worst["peak_micromotion_um"]) in words


def test_what_a_clinician_reads_is_in_the_whole_report(result):
    """No number is made for one reader only: the short page is a part of the whole one."""
    document = check_document(result)
    whole = " ".join(texts(document, "researcher"))
    for text in texts(document, "clinician"):
        for number in NUMBER.findall(text):
            assert number in NUMBER.findall(whole), (number, text)


def texts(document, reader):
    for section in document.sections_for(reader):
        for block in section.blocks:
            if isinstance(block, str):
                yield block
            elif isinstance(block, Table):
                yield from (cell for row in block.rows for cell in row)


def test_a_clinician_reads_no_word_of_the_method(result):
    words = " ".join(texts(check_document(result), "clinician")).lower()
    for word in ("mesh", "harmonic", "element", "fourier", "newton", "residual", "modulus_", "_mm"):
        assert word not in words


def test_a_page_needs_nothing_else(written):
    reader, page, _ = written
    tags = Tags()
    tags.feed(page)
    assert tags.open == []
    assert not tags.others & {"script", "link", "iframe", "object"}
    assert "http" not in re.sub(r"data:image/png;base64,[A-Za-z0-9+/=]+", "", page)
    assert len(page) < 3_000_000
    assert len(tags.images) >= (2 if reader == "clinician" else 6)
    for image in tags.images:
        assert image["src"].startswith("data:image/png;base64,")
        assert len(image["alt"]) > 40


def test_a_title_is_never_read_as_markup(written):
    _, page, _ = written
    assert "<b>page</b>" not in page
    assert "Invented scenario: <b>page</b> & more" in html.unescape(page)


def test_every_key_is_shown_with_where_its_value_comes_from():
    keys = {key: (value, source) for key, value, source in resolved_keys(Case.from_dict(CASE))}
    assert keys["implant.length_mm"] == ("4.0", "the case")
    assert keys["loads[1].axial_n"] == ("20.0", "the case")
    assert keys["interface.interference_um"][1].startswith(ASSUMPTION)
    assert "Grant et al. 2007" in keys["interface.friction"][1]
    assert keys["socket.holds_mm"] == ("[[0.0, 4.0]]", ASSUMPTION)


def test_what_was_not_worked_out_is_said_and_not_left_open(tmp_path):
    write_answer(check(Case.from_dict(CASE)), tmp_path / "answer")
    words = words_of((tmp_path / "answer" / "report.html").read_text("utf-8"))
    assert "What changes the number: not computed for this answer" in words


@pytest.mark.parametrize("option", [["--for", "clinician"], ["--pdf"]])
def test_a_report_without_a_place_is_refused(run, option):
    code, _, error = run("check", SHIPPED, *option)
    assert code == 2
    assert " ".join(option) in error
    assert "--out DIR" in error


def test_an_unknown_reader_is_refused(run, tmp_path):
    code, _, error = run("check", SHIPPED, "--out", tmp_path / "a", "--for", "nobody")
    assert code == 2
    assert "clinician" in error
    assert not (tmp_path / "a").exists()


def test_without_a_pdf_library_the_message_says_what_to_install(run, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    code, _, error = run("check", SHIPPED, "--out", tmp_path / "a", "--pdf")
    assert code == 4
    assert "stillroot[pdf]" in error
    assert not (tmp_path / "a").exists()


def test_a_pdf_is_written_beside_the_page(result, drawn, tmp_path):
    try:
        assert_pdf_can_be_made()
    except EnvironmentProblem as problem:
        pytest.skip(str(problem))
    Report(reader="clinician", pdf=True).write(check_document(result), drawn, tmp_path)
    assert (tmp_path / "report.pdf").read_bytes().startswith(b"%PDF-")
    assert (tmp_path / "report.html").exists()


def test_a_glued_implant_is_said_to_be_glued():
    bonded = check(Case.from_dict({**CASE, "interface": {"kind": "bonded"}}))
    document = check_document(explain(bonded))
    assert any("taken as glued" in line for line in document.limits)
    assert "Torque is friction" not in " ".join(texts(document, "clinician"))
    notes = [b.note for s in document.sections for b in s.blocks if isinstance(b, Table)]
    assert not any("Torque is friction" in note for note in notes)


def test_a_clinician_reads_how_far_other_choices_reach(result):
    worst = result.answer.governing.peak.total_um
    peaks = [tuple(f * a.peak.total_um for a in result.answer.loads) for f in (0.5, 3.0)]
    asked = replace(result, choices=tuple(Choice(subject="s", text="t", peaks_um=p) for p in peaks))
    told = " ".join(texts(check_document(asked), "clinician"))
    assert f"between {rounded(0.5 * worst)} and {rounded(3.0 * worst)} µm" in told
    assert "--choices" in check_document(asked).again


def test_a_change_that_could_not_be_solved_gives_its_reason_and_one_that_gives_way_says_so(result):
    lost = Lever(by_plan=False, text="softer", ratios=(None, None), reason="no such torque")
    loose = Lever(by_plan=False, text="shorter", ratios=(None, 1.0))
    told = replace(result, levers=(*result.levers, lost, loose))
    tables = [b for s in check_document(told).sections for b in s.blocks if isinstance(b, Table)]
    rows = [row for table in tables for row in table.rows]
    assert ("softer: no such torque", "no answer", "") in rows
    assert ("shorter", "gives way", "") in rows


def test_a_change_after_which_another_load_governs_names_it(result):
    first, second = result.answer.loads
    swap = Lever(
        by_plan=True, text="swapped", ratios=(0.1, 0.9 * first.peak.total_um / second.peak.total_um)
    )
    tables = [
        b
        for s in check_document(replace(result, levers=(swap,))).sections
        for b in s.blocks
        if isinstance(b, Table)
    ]
    row = next(row for table in tables for row in table.rows if row[0].startswith("swapped"))
    assert row == (f"swapped; then “{second.name}” governs", rounded(0.9 * first.peak.total_um), "−10 %")
