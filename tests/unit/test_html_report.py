"""The page of an answer: the same numbers, self-contained, readable without pictures or scripts."""

import html
import re
from html.parser import HTMLParser

import pytest

from stillroot import Case, check, write_answer
from stillroot.answers.verdict import CAUTION, with_error
from stillroot.writing.html_report import resolved_keys

CASE = {
    "title": "Invented scenario: <b>page</b> & more",
    "implant": {"diameter_mm": 4.0, "length_mm": 4.0, "thread": {"form": "none"}},
    "bone": {"cortical_thickness_mm": 1.0, "trabecular_modulus_mpa": 300.0},
    "loads": [
        {"name": "oblique", "axial_n": 20.0, "lateral_n": 5.0},
        {"name": "pressed in", "axial_n": 20.0},
    ],
    "numerics": {"element_mm": 1.0, "harmonics": 3},
}


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
def answer(tmp_path_factory):
    result = check(Case.from_dict(CASE))
    folder = tmp_path_factory.mktemp("page") / "answer"
    write_answer(result, folder)
    return result, (folder / "report.html").read_text("utf-8")


def words_of(page):
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


def test_the_page_tells_what_the_result_holds(answer):
    result, page = answer
    words = words_of(page)
    assert result.verdict.sentence in words
    assert CAUTION in words
    assert all(line in words for line in result.verdict.limits)
    for load in result.loads:
        assert load.name in words
        assert with_error(load.peak.total_um, load.error.total_um) in words
        assert with_error(load.head.total_um, load.head_error.total_um) in words


def test_the_page_needs_nothing_else(answer):
    _, page = answer
    tags = Tags()
    tags.feed(page)
    assert tags.open == []
    assert not tags.others & {"script", "link", "iframe", "object"}
    assert "http" not in re.sub(r"data:image/png;base64,[A-Za-z0-9+/=]+", "", page)
    assert len(page) < 3_000_000
    assert len(tags.images) == 1 + 2 * 2
    for image in tags.images:
        assert image["src"].startswith("data:image/png;base64,")
        assert len(image["alt"]) > 40


def test_a_title_is_never_read_as_markup(answer):
    _, page = answer
    assert "<b>page</b>" not in page
    assert "Invented scenario: <b>page</b> & more" in html.unescape(page)


def test_every_key_is_shown_with_where_its_value_comes_from():
    keys = {key: (value, source) for key, value, source in resolved_keys(Case.from_dict(CASE))}
    assert keys["implant.length_mm"] == ("4.0", "the case")
    assert keys["loads[1].axial_n"] == ("20.0", "the case")
    assert keys["interface.interference_um"][1].startswith("assumption")
    assert "Grant et al. 2007" in keys["interface.friction"][1]
    assert keys["socket.holds_mm"] == ("[[0.0, 4.0]]", "assumption")
