"""The page's server, without a browser: who is admitted, what is refused, whose numbers it returns."""

import asyncio
import http.client
import json
import multiprocessing
import re
import signal
import stat
import subprocess
import sys
import threading
import time
from pathlib import Path
from urllib.parse import unquote, urlsplit

import numpy as np
import pytest
from matplotlib.collections import LineCollection
from matplotlib.colors import to_hex

from stillroot import Case, check, directions, read_case
from stillroot.commands.explore_command import shipped_case
from stillroot.errors import EnvironmentProblem
from stillroot.explore import server as page_server
from stillroot.explore.desk import BenchHandle, SolveFailed
from stillroot.explore.pairs import EQUAL_MOTION, EQUAL_TORQUE, FOUND_WITH, lecture
from stillroot.explore.told import without_options
from stillroot.explore.workshop import CONTINUES
from stillroot.pictures.figures import pictures
from stillroot.pictures.paper import MOTION
from stillroot.studies import lesson
from tests.web._serving import COARSE, SOFT, serving

SAME = 1e-6
"""Relative tolerance between page and check: the same equations, each solved to far less than this."""


@pytest.fixture(scope="module")
def served():
    with serving() as running:
        yield running


def case_now():
    return page_server.page_case(COARSE)


def test_the_page_is_served_below_the_token_only(served):
    status, headers, content = served.ask("GET", "")
    assert status == 200
    assert b"<main" in content
    assert "default-src 'none'" in headers["content-security-policy"]
    for wrong in ("", "static", served.token[:-1], served.token + "x", "ü".encode().hex()):
        status, _, content = served.ask("GET", "start", token=wrong)
        assert status == 404
        assert b"implant" not in content


def test_another_host_or_origin_is_refused(served):
    here = f"127.0.0.1:{served.port}"
    assert served.ask("GET", "start", Host=f"localhost:{served.port}")[0] == 200
    for host in ("evil.example", "127.0.0.1", f"127.0.0.1.evil.example:{served.port}", ""):
        assert served.ask("GET", "start", Host=host)[0] in (400, 421)
    body = {"case": case_now()}
    assert served.ask("POST", "draw", body, Origin=f"http://{here}")[0] == 200
    for origin in ("http://evil.example", "null", "http://127.0.0.1:1", f"https://{here}"):
        assert served.ask("POST", "draw", body, Origin=origin)[0] == 403
    assert served.ask("POST", "draw", body, Sec_Fetch_Site="cross-site")[0] == 403


def test_the_page_may_be_opened_from_a_file_but_nothing_below_it(served):
    opened = {"Sec_Fetch_Site": "cross-site", "Sec_Fetch_Mode": "navigate", "Sec_Fetch_Dest": "document"}
    assert served.ask("GET", "", **opened)[0] == 200
    assert served.ask("GET", "start", **opened)[0] == 403
    assert served.ask("GET", "", **{**opened, "Sec_Fetch_Dest": "iframe"})[0] == 403
    assert served.ask("GET", "", **{**opened, "Sec_Fetch_Mode": "no-cors"})[0] == 403


def test_browsers_leave_out_the_port_of_http():
    usual = page_server.Guard(None, port=80, token="token")  # noqa: S106 - no secret
    other = page_server.Guard(None, port=81, token="token")  # noqa: S106
    for host in ("127.0.0.1", "localhost", "127.0.0.1:80"):
        assert usual.refusal("/token/", {"host": host, "origin": f"http://{host}"}) is None
        assert other.refusal("/token/", {"host": host}).status_code == 421


def test_the_browser_is_given_no_token_on_its_command_line(monkeypatch):
    address, given = "http://127.0.0.1:1/secret-token/", []
    monkeypatch.setattr(page_server.webbrowser, "open", lambda url: given.append(url) or True)
    with page_server.opened_in_browser(address) as went:
        assert went
        assert "secret-token" not in given[0]
        file = Path(unquote(urlsplit(given[0]).path))
        assert f"url={address}" in file.read_text(encoding="utf-8")
        if sys.platform != "win32":
            assert stat.S_IMODE(file.stat().st_mode) == 0o600
            assert stat.S_IMODE(file.parent.stat().st_mode) == 0o700
    assert not file.parent.exists()


def test_without_a_browser_or_a_place_for_its_file_the_address_stays_printed(monkeypatch):
    monkeypatch.setattr(page_server.webbrowser, "open", lambda _: False)
    with page_server.opened_in_browser("http://127.0.0.1:1/x/") as went:
        assert not went

    def full(**_):
        raise OSError

    monkeypatch.setattr(page_server.tempfile, "TemporaryDirectory", full)
    with page_server.opened_in_browser("http://127.0.0.1:1/x/") as went:
        assert not went


def test_it_listens_on_the_loopback_address_only():
    bound = page_server.bound_socket(0)
    with bound:
        assert bound.getsockname()[0] == "127.0.0.1"
        with pytest.raises(EnvironmentProblem, match="leave it out for a free one"):
            page_server.bound_socket(bound.getsockname()[1])


def test_too_much_is_refused(served):
    too_much = {"case": "x" * page_server.LARGEST_BODY}
    assert served.ask("POST", "draw", too_much)[0] == 413


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"implant": {"diameter_mm": "wide", "length_mm": 8}}, 'implant.diameter_mm = "wide"'),
        ({"socket": {"holds_mm": [[3, 2]]}}, "top first"),
        ({"loads": []}, "at least 1 load"),
        ({"colour": "red"}, "colour"),
    ],
)
def test_nonsense_gives_the_one_message_of_the_case(served, change, told):
    status, _, content = served.ask("POST", "draw", {"case": {**case_now(), **change}})
    assert status == 422
    assert told in json.loads(content)["message"]
    assert b"Traceback" not in content


@pytest.mark.parametrize(
    "body", [None, [], {"case": None}, {"case": [1]}, {}, {"case": {"a": {"b": []}}}]
)
def test_what_is_no_case_gives_a_message(served, body):
    for path in ("draw", "solve", "case"):
        status, _, content = served.ask("POST", path, body)
        assert status == 422
        assert json.loads(content)["message"]


@pytest.mark.parametrize("path", ["draw", "solve", "case", "report"])
def test_half_a_letter_gives_a_message(served, path):
    status, _, content = served.ask("POST", path, {"case": {**case_now(), "title": "\ud800"}})
    assert status == 422
    assert "half a letter" in json.loads(content)["message"]


def test_an_error_of_its_own_is_told_to_the_page_alone(served, monkeypatch, capfd):
    def broken(_):
        raise KeyError

    assert served.ask("GET", "start")[0] == 200  # it draws once as it starts
    monkeypatch.setattr(page_server, "drawing_of", broken)
    status, _, content = served.ask("POST", "draw", {"case": case_now()})
    assert status == 500
    assert "an internal error" in json.loads(content)["message"]
    assert capfd.readouterr().err == ""


def test_answers_come_first_coarse_then_as_check_gives_them(served):
    first, refined, six = served.solve(case_now())
    assert [first["kind"], refined["kind"], six["kind"]] == ["first", "refined", "directions"]
    wanted = check(COARSE)
    assert refined["case_fingerprint"] == COARSE.fingerprint()
    assert refined["insertion_torque_ncm"] == pytest.approx(wanted.torque.insertion_ncm, rel=SAME)
    for told, load in zip(refined["loads"], wanted.loads, strict=True):
        assert told["peak_um"] == pytest.approx(load.peak.total_um, rel=SAME)
        assert told["error_um"] == pytest.approx(load.error.total_um, rel=1e-3)
        assert told["head_um"] == pytest.approx(load.head.total_um, rel=SAME)
        assert told["band"] == load.band
    assert refined["limits"] == [without_options(text) for text in wanted.summary.limits]
    assert refined["governing"] == max(wanted.loads, key=lambda load: load.peak.total_um).name
    (one,) = first["loads"]
    assert one["name"] == COARSE.loads[0].name
    assert abs(one["peak_um"] - wanted.loads[0].peak.total_um) <= one["error_um"]
    directly = {row.name: row for row in directions(COARSE).six.directions}
    for row in six["rows"]:
        assert row["state"] == directly[row["name"]].state
        assert row["peak_um"] == pytest.approx(directly[row["name"]].micromotion.peak.total_um, rel=1e-4)


def test_answers_agree_with_check_whatever_was_kept(served):
    """Each change allows other stages to be reused; none may keep what the change affected."""
    case = case_now()
    changes = [
        lambda c: c["loads"][1].update(lateral_n=20),
        lambda c: c["interface"].update(friction=0.2),
        lambda c: c["bone"].update(cortical_modulus_mpa=5000),
        lambda c: c.update(socket={"holds_mm": [[2, 8]]}),
        lambda c: (c["interface"].pop("interference_um"), c["interface"].update(measured_torque_ncm=3)),
        lambda c: c["bone"].update(radius_mm=10, depth_mm=15),
    ]
    for change in changes:
        change(case)
        answers = {message["kind"]: message for message in served.solve(case, load=1, until="refined")}
        wanted = check(Case.from_dict(case))
        told = answers["refined"]["loads"]
        for one, load in zip(told, wanted.loads, strict=True):
            assert one["peak_um"] == pytest.approx(load.peak.total_um, rel=SAME)
            assert one["error_um"] == pytest.approx(load.error.total_um, rel=1e-3)
        first = answers["first"]["loads"][0]
        assert first["name"] == wanted.loads[1].name
        assert abs(first["peak_um"] - wanted.loads[1].peak.total_um) <= first["error_um"]


def test_a_load_that_nothing_holds_is_told_and_the_next_case_answered(served):
    case = case_now()
    case["interface"] = {"friction": 0.0, "interference_um": 0}
    case["loads"] = [{"name": "turn", "torque_ncm": 30}]
    case["implant"]["thread"] = {"form": "none"}
    told = served.solve(case)
    refined = next(message for message in told if message["kind"] == "refined")
    assert refined["loads"][0]["shown"] == "gives way at 0% of the load"
    assert served.solve(case_now(), until="refined")[-1]["kind"] == "refined"


def test_a_newer_question_of_a_tab_drops_the_older(served):
    ends = {}

    def ask(name, friction):
        case = case_now()
        case["interface"]["friction"] = friction
        ends[name] = [message["kind"] for message in served.solve(case, tab="dropping")]

    assert served.solve(case_now())[-1]["kind"] == "directions"
    solving = [bench.process_id for bench in (served.desk.first, served.desk.fine, served.desk.coarser)]
    threads = [threading.Thread(target=ask, args=(i, 0.3 + i / 100)) for i in range(8)]
    for thread in threads:
        thread.start()
        time.sleep(0.03)
    for thread in threads:
        thread.join(60)
    still = [bench.process_id for bench in (served.desk.first, served.desk.fine, served.desk.coarser)]
    assert still == solving  # each dropped its job without a restart
    assert ends[7] == ["first", "refined", "directions"]
    assert sum("directions" in kinds for kinds in ends.values()) < 8
    assert max(served.refining) == 1


def test_a_process_that_died_idle_is_replaced_unnoticed(served):
    assert served.solve(case_now())[-1]["kind"] == "directions"
    before = served.desk.fine.process_id
    served.desk.fine._running.process.kill()
    served.desk.fine._running.process.join()
    assert served.solve(case_now(), until="refined")[-1]["kind"] == "refined"
    assert served.desk.fine.process_id != before


def test_a_process_that_dies_at_work_is_told_and_replaced(served):
    told = []
    default = page_server.page_case(SOFT)
    thread = threading.Thread(target=lambda: told.extend(served.solve(default, tab="dying")))
    asked = served.desk.coarser._number
    thread.start()
    while served.desk.coarser._number == asked:  # its job takes a second or more
        time.sleep(0.01)
    served.desk.coarser._running.process.kill()
    thread.join(60)
    assert told[-1]["kind"] == "no-answer"
    assert "ended without an answer" in told[-1]["message"]
    assert served.solve(case_now(), until="refined")[-1]["kind"] == "refined"


@pytest.mark.parametrize("kind", sorted(CONTINUES))
def test_a_job_that_goes_on_from_another_needs_the_same_process(kind):
    with pytest.raises(SolveFailed, match="ended without an answer"):
        asyncio.run(BenchHandle("none", multiprocessing.get_context()).ask(kind, COARSE))


def test_the_saved_case_is_the_case(served, tmp_path):
    status, _, content = served.ask("POST", "case", {"case": case_now()})
    assert status == 200
    (tmp_path / "case.toml").write_bytes(content)
    assert read_case(tmp_path / "case.toml") == Case.from_dict(case_now())


def test_the_report_is_that_of_a_check(served):
    status, headers, content = served.ask("POST", "report", {"case": case_now()})
    assert status == 200
    assert headers["content-type"].startswith("text/plain")
    assert COARSE.title in content.decode()
    assert served.desk.reporting.process_id is None


def test_reports_that_nobody_waits_for_are_dropped(served):
    body = json.dumps({"case": page_server.page_case(SOFT), "tab": "left"})
    left = http.client.HTTPConnection("127.0.0.1", served.port, timeout=60)
    left.request("POST", f"/{served.token}/report", body)
    until(lambda: served.desk.reports.open)
    left.close()
    until(lambda: not served.desk.reports.open)
    until(lambda: served.desk.reporting.process_id is None)


def test_one_report_is_made_and_one_may_wait(served):
    soft, ends = page_server.page_case(SOFT), {}

    def ask(name, tab):
        status, _, content = served.ask("POST", "report", {"case": soft, "tab": tab})
        ends[name] = status, content.decode()

    threads = []
    for name, tab, open_now in (("older", "a", 1), ("waits", "b", 2), ("newer", "a", 2)):
        threads.append(threading.Thread(target=ask, args=(name, tab)))
        threads[-1].start()
        until(lambda n=open_now: len(served.desk.reports.open) == n)
        if name == "newer":
            until(lambda: "older" in ends)
    ask("third", "c")
    assert ends["third"][0] == 422
    assert "another waits" in ends["third"][1]
    assert ends["older"][0] == 422
    assert "was cancelled" in ends["older"][1]
    ask_again = {"case": {**soft, "loads": []}, "tab": "b"}
    assert served.ask("POST", "report", ask_again)[0] == 422
    assert len(served.desk.reports.open) == 2, "a state that is none drops nothing"
    for tab in ("a", "b"):
        served.desk.reports.open[tab].get_loop().call_soon_threadsafe(
            served.desk.reports.open[tab].cancel
        )
    for thread in threads:
        thread.join(20)
    assert not served.desk.reports.open


def until(holds, seconds=20):
    """Wait until something holds."""
    end = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < end, "it never came to hold"
        time.sleep(0.01)


@pytest.mark.skipif(sys.platform == "win32", reason="no Ctrl-C can be sent to one process there")
def test_ctrl_c_during_answer_and_report_says_nothing():
    command = [sys.executable, "-c", "from stillroot.cli import main; main()", "explore", "--no-browser"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as server:  # noqa: S603
        address = urlsplit(server.stdout.readline().strip())
        body = json.dumps({"case": page_server.page_case(SOFT), "tab": "stops"})
        asked = []
        for path in ("report", "solve"):
            asked.append(http.client.HTTPConnection("127.0.0.1", address.port, timeout=60))
            asked[-1].request("POST", f"{address.path}{path}", body)
        answer = asked[1].getresponse()
        assert json.loads(answer.readline())["kind"] == "first"
        server.send_signal(signal.SIGINT)
        _, errors = server.communicate(timeout=20)
        assert errors == ""
        assert server.returncode == 0
        assert answer.read() == b""
        status = asked[0].getresponse().status
        assert status == 422
        for connection in asked:
            connection.close()


OUTSIDE = re.compile(r"\bwss?:|\bhttps?:|\bftp:|[\"'`(=]\s*//[\w.-]|@import|@font-face")
"""Patterns that would load something from elsewhere; // alone is a comment."""


def test_nothing_the_page_loads_comes_from_elsewhere():
    for wrong in (
        '"//x.example/a.js"',
        "url( //x.example)",
        "`http:" + "//x`",
        "'https:'",
        '@import "x"',
    ):
        assert OUTSIDE.search(wrong)
    for path in page_server.STATIC.iterdir():
        text = path.read_text(encoding="utf-8").replace('"http://www.w3.org/2000/svg"', "")
        assert not (found := OUTSIDE.search(text)), f"{path.name}: {found}"


def test_the_colours_are_those_of_the_pictures():
    text = (page_server.STATIC / "cividis.js").read_text(encoding="utf-8")
    table = "".join(part for part in text.split('"')[1::2] if set(part) <= set("0123456789abcdef"))
    assert table == "".join(to_hex(MOTION(i))[1:] for i in range(256))


def test_the_lecture_shows_pairs_of_the_lesson():
    screens = lecture()
    assert [len(screen["cases"]) for screen in screens] == [2] * 9
    for screen in screens:
        for case in screen["cases"]:
            assert "invented" in Case.from_dict(case).title.lower()


@pytest.mark.slow
def test_the_pairs_are_those_that_the_lesson_finds():
    grain, count = FOUND_WITH
    answers = [lesson.solve_site(point, grain) for point in lesson.site_points(count)]
    for pairs, find in (
        (EQUAL_TORQUE, lesson.equal_torque_pairs),
        (EQUAL_MOTION, lesson.equal_motion_pairs),
    ):
        found = tuple((p.first.point.index, p.second.point.index) for p in find(answers))
        assert found == pairs


def test_without_the_extra_the_message_says_what_to_install(monkeypatch, run):
    monkeypatch.setitem(sys.modules, "uvicorn", None)
    monkeypatch.delitem(sys.modules, "stillroot.explore.server")
    monkeypatch.delattr("stillroot.explore.server")
    code, out, err = run("explore", "--no-browser")
    assert code == 4
    assert "pip install 'stillroot[explore]'" in err
    assert not out


def test_a_wrong_case_file_is_one_message(run):
    code, _, err = run("explore", "no-such.toml", "--no-browser")
    assert code == 2
    assert "there is no such file" in err


def test_the_first_case_is_a_shipped_one():
    assert Path(shipped_case()).is_file()
    assert SOFT.title.startswith("Invented")


def test_the_drawing_is_the_reports(served):
    """The wall's lines, their ends and their motion are those of the report's section."""
    result = check(COARSE)
    figure = next(p for p in pictures(result) if p.name.startswith("section-1")).figure
    drawn = [
        item
        for item in figure.axes[0].collections
        if isinstance(item, LineCollection) and item.get_array() is not None
    ]
    refined = served.solve(case_now(), tab="drawing", until="refined")[-1]
    lines = np.array(refined["loads"][0]["lines"])
    for side, collection, column in ((1, drawn[0], 4), (-1, drawn[1], 5)):
        wanted = np.array(
            [
                [*segment.ravel(), value]
                for segment, value in zip(collection.get_segments(), collection.get_array(), strict=True)
            ]
        )
        told = lines[:, [0, 1, 2, 3, column]] * [side, 1, side, 1, 1]
        turned = told[:, [2, 3, 0, 1, 4]]
        for line in wanted:  # an edge may be given from either end
            off = np.minimum(np.abs(told - line).max(axis=1), np.abs(turned - line).max(axis=1))
            assert off.min() < 2e-3
