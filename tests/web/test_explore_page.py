"""The page itself, in a headless Chromium: hands, keys, nonsense, tabs, restarts, and every reader."""

import base64
import copy
import json
import os
import re
from pathlib import Path

import numpy as np
import pytest

from stillroot import Case, check, read_case
from stillroot.explore import server as page_server
from stillroot.studies.lesson import spearman
from tests.web._serving import COARSE, serving

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
WAIT_MS = 60_000
playwright.expect.set_options(timeout=WAIT_MS)
MOST_BENCH_MIB = 900
"""Of resident memory of one solving process: a check takes some 400 MB."""
ANSWERED = (
    """() => answer.dataset.kind === "refined" && answer.dataset.of === document.body.dataset.version"""
)


@pytest.fixture(scope="module")
def served():
    with serving() as running:
        yield running


@pytest.fixture
def page(browser, served):
    context = browser.new_context(viewport={"width": 1280, "height": 900}, accept_downloads=True)
    opened = context.new_page()
    stumbles = []
    opened.on("pageerror", lambda error: stumbles.append(str(error)))
    asked = []
    opened.on("request", lambda request: asked.append(request.url))
    opened.goto(served.address)
    settle(opened)
    yield opened
    assert not stumbles
    outside = [url for url in asked if not url.startswith((served.address, "blob:", "data:"))]
    assert not outside, "a request left the page's own address"
    context.close()


def settle(page):
    page.wait_for_function(ANSWERED, timeout=WAIT_MS)


def sentence(page):
    return page.locator("#sentence").inner_text().replace("\N{NO-BREAK SPACE}", " ")


def drag(page, handle, dx, dy, steps=12):
    box = page.locator(f"[data-handle={handle}] .hit").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + dx, y + dy, steps=steps)
    page.mouse.up()


def case_of(page):
    return Case.from_dict(page.evaluate("async () => (await import('./static/state.js')).state.case"))


def type_in(page, label, text):
    entry = page.get_by_label(label, exact=True)
    entry.fill(text)
    entry.press("Enter")


def test_a_dragged_hold_changes_the_answer_to_what_check_says(page):
    before = sentence(page)
    drag(page, "hold-0-0", 0, 80)
    settle(page)
    assert sentence(page) != before
    case = case_of(page)
    ((top, bottom),) = case.socket.holds_mm
    assert top > 1
    assert bottom == 8
    wanted = check(case).loads[0]
    told = sentence(page)
    assert f"{wanted.peak.total_um:.0f}" in told or f"{wanted.peak.total_um:.1f}" in told
    assert wanted.band in told
    assert page.locator("#engagement").inner_text() == f"{bottom - top:g} mm"


def test_every_handle_is_a_slider_for_hands_and_keys(page):
    handles = page.locator("[role=slider][data-handle]")
    assert handles.count() == 5
    for i in range(handles.count()):
        box = handles.nth(i).locator(".hit").bounding_box()
        assert box["width"] >= 44
        assert box["height"] >= 44
        assert handles.nth(i).get_attribute("aria-valuetext")
        assert handles.nth(i).get_attribute("aria-label")
    cortex = page.locator("[data-handle=cortex]")
    cortex.focus()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Shift+ArrowDown")
    playwright.expect(cortex).to_have_attribute("aria-valuetext", "1.1 mm")
    page.keyboard.press("Shift+ArrowDown")
    assert cortex.evaluate("(element) => element === document.activeElement")
    settle(page)
    assert case_of(page).bone.cortical_thickness_mm == pytest.approx(1.2)


def test_holds_are_typed_lengthened_added_and_removed(page):
    type_in(page, "Upper end of hold 1, mm below the crest", "3")
    settle(page)
    assert case_of(page).socket.holds_mm == ((3, 8),)
    page.get_by_role("button", name="Two threads more").click()
    settle(page)
    assert case_of(page).socket.holds_mm == ((1.4, 8),)
    page.get_by_role("button", name="Two threads fewer").click()
    page.get_by_role("button", name="Add a hold").click()
    settle(page)
    assert case_of(page).socket.holds_mm == ((1, 2), (3, 8))
    page.get_by_role("button", name="Remove hold 2").click()
    settle(page)
    assert case_of(page).socket.holds_mm == ((1, 2),)
    type_in(page, "Lower end of hold 1, mm below the crest", "12")
    playwright.expect(page.locator("#message")).to_contain_text("ends outside the implant")


def test_the_seat_is_known_by_interference_or_by_torque(page):
    page.get_by_label("Seat given by").select_option("torque")
    type_in(page, "Measured torque, N·cm", "30")
    settle(page)
    assert case_of(page).interface.measured_torque_ncm == 30
    playwright.expect(page.locator("#torque")).to_contain_text("30 N·cm, from")
    page.get_by_label("Seat given by").select_option("interference")
    settle(page)
    assert 5 < case_of(page).interface.interference_um < 15


def test_the_load_is_turned_and_raised_by_its_arrow(page):
    drag(page, "tail", -40, 20)
    settle(page)
    axial, lateral, _ = case_of(page).loads[0].components
    assert lateral > 35
    assert axial > 0
    drag(page, "foot", 0, -60)
    settle(page)
    assert case_of(page).loads[0].height_mm > 8.5


def test_nonsense_is_one_message_and_undo_takes_it_back(page):
    before = sentence(page)
    type_in(page, "Diameter, mm", "wide")
    message = page.locator("#message")
    playwright.expect(message).to_contain_text('implant.diameter_mm = "wide"')
    assert page.get_by_label("Diameter, mm", exact=True).get_attribute("aria-invalid") == "true"
    assert page.locator("#answer").get_attribute("data-kind") == "none"
    type_in(page, "Diameter, mm", "0.2")
    playwright.expect(message).not_to_contain_text("wide")
    playwright.expect(message).not_to_be_empty()
    page.locator("#undo").click()
    page.locator("#undo").click()
    playwright.expect(message).to_be_empty()
    settle(page)
    assert sentence(page) == before
    assert case_of(page) == COARSE


def test_a_hundred_quick_changes_leave_one_solve_and_the_last_answer(page, served):
    page.evaluate(
        """async () => {
          const slider = document.querySelector('[data-key="load.axial_n"] input[type=range]');
          for (let i = 0; i < 100; i += 1) {
            slider.value = String(495 - 5 * i);
            slider.dispatchEvent(new Event("input", { bubbles: true }));
            await new Promise((done) => setTimeout(done, 10));
          }
        }"""
    )
    settle(page)
    assert max(served.refining) == 1
    assert len(served.desk.questions.open) <= 1
    wanted = check(case_of(page)).loads[0].peak.total_um
    assert re.search(rf"\b{wanted:.1f}\b", sentence(page))
    for bench in served.desk.benches[:3]:
        assert resident_mib(bench.process_id) < MOST_BENCH_MIB
    assert page.evaluate("async () => (await import('./static/state.js')).state.undo.length") < 100


def resident_mib(process):
    status = Path(f"/proc/{process}/status")
    if not status.exists():
        pytest.skip("this machine does not tell how much memory a process takes")
    return int(re.search(r"VmRSS:\s+(\d+) kB", status.read_text(encoding="utf-8"))[1]) / 1024


def test_two_tabs_at_once_have_each_their_own_answer(page, served):
    other = page.context.new_page()
    other.goto(served.address)
    type_in(page, "Friction", "0.2")
    type_in(other, "Friction", "0.6")
    settle(page)
    settle(other)
    for tab, friction in ((page, 0.2), (other, 0.6)):
        case = case_of(tab)
        assert case.interface.friction == friction
        wanted = check(case).loads[0].peak.total_um
        assert re.search(rf"\b{wanted:.1f}\b", sentence(tab))
    assert max(served.refining) == 1
    other.close()


def test_pins_scatter_and_state_outlive_a_reload(page):
    page.locator("#pin").click()
    for friction in ("0.2", "0.3", "0.5", "0.6", "0.7"):
        type_in(page, "Friction", friction)
        settle(page)
    playwright.expect(page.locator("#rank")).to_contain_text("over 6 states")
    points = page.evaluate("async () => (await import('./static/state.js')).state.tried")
    torques, peaks = ([p[name] for p in points] for name in ("torque", "peak"))
    shown_peaks = [round(peak, 1 if peak < 100 else 0) for peak in peaks]
    rho = spearman(np.array([np.round(torques)]), np.array([shown_peaks]))
    shown = page.locator("#rank").inner_text().replace("\N{MINUS SIGN}", "-")
    assert float(re.search(r"motion: (-?[\d.]+)", shown)[1]) == pytest.approx(rho[0], abs=0.005)
    page.locator("#pin").click()
    before = sentence(page)
    page.reload()
    settle(page)
    assert sentence(page) == before
    assert page.locator(".pin").count() == 2
    assert page.locator("#scatter circle").count() == 6
    page.locator("[data-take='0']").click()
    settle(page)
    assert case_of(page) == COARSE
    page.keyboard.press("Control+z")
    settle(page)
    assert sentence(page) == before


def test_ties_rank_as_the_lesson_ranks_them(page):
    rng = np.random.default_rng(3)
    x, y = rng.integers(0, 6, 30).tolist(), rng.integers(0, 9, 30).tolist()
    ranked = "async ([x, y]) => (await import('./static/rank.js')).spearman(x, y)"
    found = page.evaluate(ranked, [x, y])
    assert page.evaluate(ranked, [[3, 3, 3], [1, 2, 3]]) is None
    assert page.evaluate(ranked, [[1, 2, 3], [3, 3, 3]]) is None
    assert found == pytest.approx(float(spearman(np.array([x]), np.array([y]))[0]))


@pytest.mark.parametrize(
    ("torques", "said"),
    [
        ([20 + 1e-5 * (-1) ** i for i in range(6)], "The torque is the same in all of these 6 states"),
        ([20, 20, 20, 30, 30, 30], "The torque takes only two values in these 6 states"),
        ([20, 21, 22, 23, 24, 25], "Rank correlation of torque with motion: 1 over 6 states"),
        ([20, 21, 22, 23, 24], "5 of 6 states"),
    ],
)
def test_torques_that_are_shown_alike_are_not_ranked(page, torques, said):
    tried = [
        {"print": str(i), "torque": torque, "peak": 50 + i, "load": "a"}
        for i, torque in enumerate(torques)
    ]
    text = page.evaluate(
        """async (tried) => (await import('./static/keep.js')).drawScatter(
             document.getElementById('scatter'), tried, { print: '0', load: 'a', pins: [] })""",
        tried,
    )
    assert text.startswith(said)


def test_at_most_four_are_pinned(page):
    for _ in range(4):
        page.locator("#pin").click()
    assert page.locator(".pin").count() == 4
    assert page.locator("#pin").is_disabled()


def test_the_case_and_the_report_are_saved(page, tmp_path):
    with page.expect_download() as waited:
        page.locator("#save").click()
    waited.value.save_as(tmp_path / "case.toml")
    assert read_case(tmp_path / "case.toml") == COARSE
    with page.expect_download(timeout=WAIT_MS) as waited:
        page.locator("#report").click()
    waited.value.save_as(tmp_path / "report.html")
    assert COARSE.title in (tmp_path / "report.html").read_text(encoding="utf-8")


def test_a_link_restores_the_state(page):
    type_in(page, "Friction", "0.25")
    settle(page)
    link, before = page.url, sentence(page)
    other = page.context.new_page()
    other.goto(link)
    settle(other)
    assert sentence(other) == before
    other.close()


def test_a_server_killed_and_started_again(browser):
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    with serving() as first:
        page.goto(first.address)
        settle(page)
        page.locator("#pin").click()
        port = first.port
    type_in(page, "Friction", "0.3")
    playwright.expect(page.locator("#message")).to_contain_text("Start “stillroot explore” again")
    state = page.url.partition("#")[2]
    with serving(port=port) as second:
        page.goto(f"{second.address}#{state}")
        settle(page)
        assert case_of(page).interface.friction == 0.3
        assert page.locator(".pin").count() == 1
        playwright.expect(page.locator("#message")).to_be_empty()
    context.close()


def go_to(page, served, change, load=0):
    """Open the link of a state, and return the state."""
    case = copy.deepcopy(page_server.page_case(COARSE))
    change(case)
    text = json.dumps({"case": case, "load": load}).encode()
    link = base64.urlsafe_b64encode(text).decode().rstrip("=")
    page.goto(f"{served.address}#{link}")
    return case


def drawn(page, case):
    """Wait until the state of the page is a case, and is shown."""
    page.wait_for_function(
        """async (title) => (await import('./static/state.js')).state.case.title === title
            && document.getElementById("title").textContent === title""",
        arg=case["title"],
    )


def test_one_press_of_a_key_moves_every_slider(page):
    sliders = page.locator("#controls input[type=range]:visible")
    assert sliders.count() >= 12
    now = "async () => JSON.stringify((await import('./static/state.js')).state.case)"
    version = "() => Number(document.body.dataset.version)"
    for i in range(sliders.count()):
        slider = sliders.nth(i)
        before, count = page.evaluate(now), page.evaluate(version)
        slider.focus()
        slider.press(
            "ArrowRight" if slider.evaluate("(s) => Number(s.value) < Number(s.max)") else "ArrowLeft"
        )
        name = slider.get_attribute("aria-label")
        assert page.evaluate(now) != before, name
        assert page.evaluate(version) == count + 1, name
        slider.dispatch_event("input")
        assert page.evaluate(version) == count + 1, f"{name}: the same number again"
    settle(page)


def test_the_number_beside_a_slider_moves_with_it(page):
    slider = page.get_by_label("Axial force, N, slider", exact=True)
    told = slider.evaluate(
        """(s) => [200, 205, 210, 215].map((to) => {
            s.value = String(to);
            s.dispatchEvent(new Event("input", { bubbles: true }));
            const beside = document.querySelector("input[aria-label='Axial force, N']");
            return [beside.value, s.getAttribute("aria-valuetext")];
        })"""
    )
    assert told == [[f"{force}", f"{force} N"] for force in (200, 205, 210, 215)]
    settle(page)


def test_both_ends_of_a_hold_can_be_typed_one_after_the_other(page):
    type_in(page, "Lower end of hold 1, mm below the crest", "3")
    settle(page)
    type_in(page, "Upper end of hold 1, mm below the crest", "5")
    page.wait_for_function("() => message.innerText !== ''")
    type_in(page, "Lower end of hold 1, mm below the crest", "8")
    settle(page)
    assert case_of(page).socket.holds_mm == ((5.0, 8.0),)
    type_in(page, "Lower end of hold 1, mm below the crest", "-3")
    page.wait_for_function("() => message.innerText !== ''")
    type_in(page, "Lower end of hold 1, mm below the crest", "8")
    settle(page)
    assert page.locator("#message").inner_text() == ""
    assert case_of(page).socket.holds_mm == ((5.0, 8.0),)


def test_a_comma_before_three_digits_is_not_guessed_at(page):
    type_in(page, "Cortical modulus, MPa", "13,700")
    page.wait_for_function("() => message.innerText !== ''")
    assert "a decimal point, no comma, no unit" in page.locator("#message").inner_text()
    type_in(page, "Friction", "0,35")
    type_in(page, "Cortical modulus, MPa", "13700")
    settle(page)
    assert case_of(page).interface.friction == 0.35


def test_an_answer_to_an_older_state_moves_no_slider_back(page):
    page.evaluate("() => performance.clearMeasures()")
    type_in(page, "Friction", "0.3")
    slow = """() => {
        const quick = window.fetch;
        window.fetch = async (to, ...rest) => {
            if (String(to).endsWith("draw")) await new Promise((done) => setTimeout(done, 8000));
            return quick(to, ...rest);
        };
    }"""
    page.wait_for_function("() => performance.getEntriesByName('first').length > 0")  # drawn
    page.evaluate(slow)
    slider = page.get_by_label("Axial force, N, slider", exact=True)
    before = float(slider.input_value())
    slider.focus()
    slider.press("ArrowRight")
    page.wait_for_function("() => performance.getEntriesByName('refined').length > 0")  # of before this
    slider.press("ArrowRight")
    settle(page)
    assert float(slider.input_value()) == before + 10


def test_the_force_is_turned_by_keys_one_way_throughout(page):
    type_in(page, "Axial force, N", "15")
    tail = page.locator("[data-handle=tail]")
    playwright.expect(tail).to_have_attribute("aria-valuetext", re.compile("^15 N"))
    tail.focus()
    axial = "async () => (await import('./static/state.js')).state.case.loads[0].axial_n"
    found = []
    for key in ("ArrowDown",) * 5 + ("ArrowUp", "Shift+ArrowUp", "PageUp", "PageDown"):
        page.keyboard.press(key)
        found.append(page.evaluate(axial))
    assert found == [10, 5, 0, -5, -10, -5, -4, 16, -4]
    cortex = page.locator("[data-handle=cortex]")
    cortex.focus()
    page.keyboard.press("End")
    playwright.expect(cortex).to_have_attribute("aria-valuetext", "6 mm")
    page.keyboard.press("Home")
    playwright.expect(cortex).to_have_attribute("aria-valuetext", "0 mm")
    page.keyboard.press("PageDown")
    playwright.expect(cortex).to_have_attribute("aria-valuetext", "2 mm")


def test_the_message_is_in_view_wherever_one_types(page):
    page.set_viewport_size({"width": 1280, "height": 600})
    entry = page.get_by_label("Height above the crest, mm", exact=True)
    entry.scroll_into_view_if_needed()
    entry.fill("0x10")
    entry.press("Enter")
    message = page.locator("#message")
    playwright.expect(message).to_contain_text('"0x10"')
    assert page.evaluate("() => scrollY") > 300
    box = message.bounding_box()
    assert 0 <= box["y"] < box["y"] + box["height"] <= 600


def test_a_bad_address_is_told_and_another_state_shown(browser, served):
    fresh = browser.new_page()
    go_to(fresh, served, lambda case: case["implant"].update(diameter_mm=-1), load=7)
    message = fresh.locator("#message")
    playwright.expect(message).to_contain_text("The state in the address is not valid")
    playwright.expect(message).to_contain_text("diameter_mm")
    settle(fresh)
    assert case_of(fresh) == COARSE
    playwright.expect(message).to_contain_text("The state in the address is not valid")
    case = go_to(fresh, served, lambda case: case.update(title="Invented, by link"), load=7)
    drawn(fresh, case)
    playwright.expect(message).to_be_empty()
    loads = len(COARSE.loads)
    assert fresh.evaluate("async () => (await import('./static/state.js')).state.load") == loads - 1
    fresh.close()


def test_what_cannot_be_changed_says_why(page, served):
    def bonded(case):
        case.update(title="Invented, glued", interface={"kind": "bonded"})
        case["implant"]["thread"] = {"form": "none"}

    drawn(page, go_to(page, served, bonded))
    playwright.expect(page.locator(".group-seat .why")).to_contain_text("are glued")
    playwright.expect(page.locator(".group-implant .why")).to_contain_text("no thread")
    page.keyboard.press("Alt+l")
    playwright.expect(page.locator("#lecture-room")).to_be_visible()
    before = page.evaluate("() => document.body.dataset.version")
    page.keyboard.press("+")
    playwright.expect(page.locator("#message")).to_contain_text("no thread of known pitch")
    assert page.evaluate("() => document.body.dataset.version") == before
    page.keyboard.press("Escape")

    def out_of_reach(case):
        case.update(title="Invented, a torque out of reach", interface={"measured_torque_ncm": 900})

    drawn(page, go_to(page, served, out_of_reach))
    playwright.expect(page.locator("#stage")).to_have_text("no answer")
    page.keyboard.press("Alt+l")
    playwright.expect(page.locator("#lecture-title")).to_contain_text("This state has no answer")
    page.route("**/solve", lambda route: route.abort())
    page.keyboard.press("2")
    playwright.expect(page.locator("#lecture-message")).to_contain_text(
        "This state has no answer: The solver"
    )
    page.unroute("**/solve")
    page.keyboard.press("Escape")

    def outline(case):
        case["title"] = "Invented, an outline"
        for key in ("diameter_mm", "length_mm", "thread"):
            case["implant"].pop(key, None)
        case["implant"]["outline_mm"] = [[2, 0], [2, -7], [1, -8], [0, -8]]
        case.pop("socket", None)

    drawn(page, go_to(page, served, outline))
    playwright.expect(page.locator(".group-implant .why")).to_contain_text("outline")
    assert page.locator(".group-seat .why").is_hidden()


def test_the_limits_name_their_load_and_no_option(page):
    type_in(page, "Lateral force, N", "100")
    settle(page)
    page.locator("#limits-box summary").click()
    governing = max(check(case_of(page)).loads, key=lambda load: load.peak.total_um).name
    playwright.expect(page.locator("#limits-of")).to_have_text(f"Of the governing load, “{governing}”:")
    limits = page.locator("#limits").inner_text()
    assert "strained past yield" in limits
    assert "--" not in limits


def test_a_file_opens_the_page(browser, served, monkeypatch):
    given = []
    monkeypatch.setattr(page_server.webbrowser, "open", lambda url: given.append(url) or True)
    fresh = browser.new_page()
    with page_server.opened_in_browser(served.address):
        fresh.goto(given[0])
        fresh.wait_for_url(f"{served.address}*")
        playwright.expect(fresh.locator("#title")).to_have_text(COARSE.title)
    fresh.close()


def test_a_lecture_is_held_by_keys(page):
    page.keyboard.press("Alt+l")
    title = page.locator("#lecture-title")
    playwright.expect(title).to_contain_text("Peak micromotion")
    playwright.expect(page.locator("#caution")).to_be_visible()
    page.locator("#caution").click()
    threads = page.locator("#threads").text_content()
    page.keyboard.press("-")
    page.wait_for_function("(before) => threads.textContent !== before", arg=threads)
    page.keyboard.press("1")
    playwright.expect(title).to_have_text("The same torque. The same motion?")
    message = page.locator("#lecture-message")
    playwright.expect(message).to_contain_text("Insertion torque:", timeout=WAIT_MS)
    page.keyboard.press("ArrowRight")
    playwright.expect(message).to_contain_text("Peak micromotion:")
    assert page.locator("#lecture-views svg").count() == 2
    sites = page.locator("#lecture-views small").all_inner_texts()
    assert len(set(sites)) == 2
    for site in sites:
        for word in ("trabecular", "MPa", "friction", "interference", "threads engaged"):
            assert word in site
    page.keyboard.press("b")
    playwright.expect(title).to_contain_text("Peak micromotion", timeout=WAIT_MS)
    page.keyboard.press("Escape")
    playwright.expect(page.locator("#section")).to_be_visible()
    assert "of the lesson" in page.locator("#title").inner_text()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [768, 1280, 1920])
def test_it_reads_well_at_every_width_and_for_every_reader(browser, served, width, scheme):
    """Axe finds nothing, nothing runs out of the window, and the pictures are there to be looked at."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed")
    context = browser.new_context(viewport={"width": width, "height": 1000}, color_scheme=scheme)
    page = context.new_page()
    go_to(
        page, served, lambda case: case["loads"][0].update(name="a load of a long name " * 9 + "x" * 120)
    )
    settle(page)
    page.locator("#pin").click()
    assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth")
    found = axe.Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    folder = os.environ.get("STILLROOT_SCREENSHOTS")
    if folder:
        page.screenshot(path=Path(folder) / f"explore-{width}-{scheme}.png", full_page=True)
    if width == 1280:
        page.locator("#lecture").click()
        playwright.expect(page.locator("#lecture-title")).to_contain_text("Peak")
        found = axe.Axe().run(page)
        assert found.violations_count == 0, found.generate_report()
    context.close()
