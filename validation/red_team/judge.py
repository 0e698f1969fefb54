"""What a run must be: an answer that is in order, or one clear message with nothing left behind.

Nothing here uses the program to check itself, but for the words and bounds it states: what the answer
says is compared with its published schema (keys, types, signs), with the case file and with itself.
"""

from __future__ import annotations

import json
import math
import re
import tomllib
from bisect import bisect_left
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree as ET

import numpy as np
from jsonschema import Draft202012Validator

from stillroot.answers.answer import REPORTED_VERSIONS
from stillroot.inputs.case import Case
from stillroot.mechanics.loading import BALANCE
from stillroot.mechanics.outline import SNAP_MM
from validation.red_team.strategies import CASE_FILE, DOCS, Mutant

if TYPE_CHECKING:
    from collections.abc import Callable

PASSES = ("answer", "exit 2", "exit 3", "exit 4")
FAILURES = ("hang", "traceback", "memory", "partial files", "bad message", "wrong answer")
OUTCOMES = (*PASSES, *FAILURES)
LONGEST_MESSAGE = 3000
"""Letters: about what a terminal shows on one page."""
SLACK = 1e-6
"""Relative: of sums that are made again here."""
OUT_OF_MEMORY = re.compile(r"MemoryError|bad_alloc|[Uu]nable to allocate|out of memory")
IN_A_SUMMARY = {
    "lateral x": "sideways",
    "axial in": "along its axis",
    "axial out": "along its axis",
    "tilt about x": "in tilt",
    "rotation about the axis": "about its own axis",
}

Files = dict[str, bytes]


@dataclass(frozen=True, kw_only=True)
class Run:
    """What came of running a mutant: `code` is None where a signal ended it.

    `seconds` are of processor time. `before` and `after` are the files in its folder; that of a folder
    ends in "/".
    """

    code: int | None
    signal: str
    out: str
    err: str
    before: Files
    after: Files
    seconds: float
    memory_mb: float
    over_memory: bool


@dataclass(frozen=True)
class Finding:
    """One of `OUTCOMES`, and what is wrong where it is a failure."""

    outcome: str
    detail: str = ""


class _Wrong(Exception):  # noqa: N818
    """Something in an answer is not in order."""


def judge(mutant: Mutant, run: Run) -> Finding:
    """Return what a run came to."""
    if run.signal in ("SIGALRM", "SIGXCPU"):
        return Finding("hang", f"ended after {run.seconds:.0f} s by {run.signal}")
    if run.over_memory or OUT_OF_MEMORY.search(run.err):
        return Finding("memory", f"{run.memory_mb:.0f} MB; {run.err[-300:]}")
    if "Traceback" in run.err or run.code not in (0, 2, 3, 4):
        return Finding("traceback", f"exit {run.code} {run.signal}: {run.err[-600:]}")
    check: Callable[[Mutant, Run], object]
    if run.code == 0:
        check, failure = _answer_in_order, "wrong answer"
    elif run.after == run.before:
        check, failure = _message_in_order, "bad message"
    else:  # only where the folder was written, and its answer could then not be told
        told_too_late = mutant.hurdle == "stdout full" and mutant.out
        check, failure = _files_in_order if told_too_late else _nothing_left, "partial files"
    try:
        check(mutant, run)
    except _Wrong as wrong:
        return Finding(failure, str(wrong))
    except (KeyError, TypeError, IndexError, AttributeError, ValueError) as error:
        return Finding(failure, f"cannot be read: {error!r}")
    return Finding("answer" if run.code == 0 else f"exit {run.code}")


def _nothing_left(_: Mutant, run: Run) -> None:
    names = sorted(run.after.keys() ^ run.before.keys()) or "changed files"
    _need(run.after == run.before, f"exit {run.code}, left {names}")


def _message_in_order(mutant: Mutant, run: Run) -> None:
    err, on_purpose = run.err, mutant.hurdle or any(kind.startswith("writing") for kind in mutant.kinds)
    for fact, text in (
        (run.code != 4 or on_purpose, "exit 4 though nothing was put in the way"),
        (not run.out or mutant.hurdle == "stdout full", f"something on stdout: {run.out[:200]!r}"),
        (err.startswith("stillroot: "), "does not begin with the program's name"),
        (len(re.findall(r"^stillroot: ", err, re.MULTILINE)) == 1, "more than one message"),
        (not re.search(r"[:,(]\s*$", err), "breaks off"),
        (len(err) <= LONGEST_MESSAGE, f"{len(err)} letters long"),
        (not re.search(r"[\x00-\x08\x0b-\x1f\x7f-\x9f]", err), "holds control characters"),
        (err.endswith("\n") and err.count("\n") <= 12 and len(err) >= 30, "is not a few whole lines"),
    ):
        _need(fact, f"{text}; {err[:600]!r}")


# Answers -----------------------------------------------------------------------------------------


def _answer_in_order(mutant: Mutant, run: Run) -> None:
    _need(not run.err, f"something on stderr: {run.err[:300]!r}")
    texts = []
    if "--json" in mutant.arguments:
        texts.append(run.out)
    else:
        _need("not a medical device" in run.out, "the table lacks its caution")
    if mutant.out:
        texts.append(_files_in_order(mutant, run))
    else:
        _need(run.after == run.before, "files changed without --out")
    data, *others = [_read(text) for text in texts]
    _need(all(other == data for other in others), "the file and stdout differ")
    for error in _schema(mutant.answer_name).iter_errors(data):
        _need(False, f"{error.json_path} {error.message[:200]}")
    text = mutant.files[CASE_FILE].decode("utf-8-sig")
    given = tomllib.loads(text.replace("\r\n", "\n").replace("\r", "\n"))
    _common_in_order(data, given)
    if mutant.answer_name == "directions":
        _directions_in_order(data, given)
        return
    _check_in_order(data, given)
    if "--tolerance" in mutant.arguments:
        told = mutant.arguments[mutant.arguments.index("--tolerance") + 1]
        share = float(told.rstrip("%")) / (100 if told.endswith("%") else 1)
        for load in (load for load in data["loads"] if load["gives_way_at"] is None):
            reached = load["error_um"] <= share * load["peak_micromotion_um"] * (1 + SLACK)
            _need(reached, f"error of {load['error_um']:.3g} µm for a tolerance of {told}")
    if "--choices" in mutant.arguments:
        _need(bool(data["choices"]), "no choices")


@cache
def _schema(name: str) -> Draft202012Validator:
    path = DOCS / "schemas" / f"{name}.schema.json"
    return Draft202012Validator(json.loads(path.read_text(encoding="utf-8")))


def _files_in_order(mutant: Mutant, run: Run) -> str:
    """Return the answer in the folder."""
    inside, name = f"{mutant.out}/", mutant.answer_name
    new = {k: v for k, v in run.after.items() if k not in run.before and not k.endswith("/")}
    _need(all(path.startswith(inside) for path in new), f"files beside the folder: {sorted(new)}")
    same = {k: v for k, v in run.after.items() if k in run.before}
    _need(same == run.before, "files of the user's were changed")
    pictures = "summary" if name == "result" else name
    wanted = {
        inside + x for x in (f"{name}.json", *(f"{pictures}.{end}" for end in ("txt", "png", "svg")))
    }
    _need(wanted <= new.keys(), f"files are missing: {sorted(wanted - new.keys())}")
    _need(all(new.values()), "a file is empty")
    for path, content in new.items():
        if path.endswith((".svg", ".vtu")):
            try:
                ET.fromstring(content)  # noqa: S314 - written by the program itself
            except ET.ParseError as error:
                _need(False, f"{path} is not XML: {error}")
    return new[f"{inside}{name}.json"].decode()


def _read(text: str) -> Any:
    """Return JSON whose numbers are all finite."""

    def number(written: str) -> float:
        _need(math.isfinite(float(written)), f"a number is {written}")
        return float(written)

    return json.loads(text, parse_constant=number, parse_float=number)


def _common_in_order(data: Any, given: Any) -> None:
    _need(data["title"] == given["title"], "another title")
    for name in ("python", *REPORTED_VERSIONS):
        _need(bool(data["versions"][name]), f"no version of {name}")
    _need(Case.from_dict(data["case"]).fingerprint() == data["case_fingerprint"], "not its own case")
    _need("licensed practice" in data["caution"], "no caution")
    bonded = given.get("interface", {}).get("kind") == "bonded"
    _need((data["insertion_torque_ncm"] is None) == bonded, "torque of a glued implant, or none")


def _check_in_order(data: Any, given: Any) -> None:
    length = sum(bottom - top for top, bottom in data["case"]["socket"]["holds_mm"])
    _need(_near(data["engagement_length_mm"], length), "engagement length")
    _torque_in_order(data, given)
    loads = data["loads"]
    _need([x["name"] for x in loads] == [x["name"] for x in given["loads"]], "other loads")
    bands = data["bands_um"]
    for answer, load in zip(loads, given["loads"], strict=True):
        if answer["gives_way_at"] is None:
            _load_in_order(answer, load, bands, data["case"])
        else:
            _gives_way_in_order(answer)
    _ranges_in_order(loads)
    begins = tuple(f"Under “{load['name']}” the implant " for load in loads)
    begins += ("Peak interface micromotion is ", "The implant gives way at ")
    _need(data["summary"].startswith(begins), f"the summary begins otherwise: {data['summary'][:80]!r}")
    if given_way := [x["gives_way_at"] for x in loads if x["gives_way_at"] is not None]:
        told = f"he implant gives way at {min(given_way):.0%} of"
        _need(told in data["summary"], f"the summary does not say {told!r}")
    else:
        worst = max(loads, key=lambda x: x["peak_micromotion_um"])
        _peak_in_summary(data["summary"], worst)


def _ranges_in_order(loads: Any) -> None:
    """Each range rises, and its shares are all of it."""
    for load in loads:
        if load["range_um"] is None:
            continue
        shares = [band["share"] for band in load["range_in_bands"]]
        whole = sum(shares) + load["gives_way_in"]
        _need(whole == 0 or math.isclose(whole, 1, abs_tol=1e-9), f"shares of a range add up to {whole}")
        for ends in filter(None, load["range_um"].values()):
            _need(ends[1] is None or ends[0] <= ends[1], f"a range falls: {ends}")


def _gives_way_in_order(answer: Any) -> None:
    _need(0 <= answer["gives_way_at"] < 1, "gives way at no share of the load")
    numbers = answer["peak_micromotion_um"], answer["error_um"], answer["remaining_um"]["peak"]
    _need(numbers == (None, None, None), "a number of a load that nothing bears")


def _torque_in_order(data: Any, given: Any) -> None:
    torque, face = data["torque"], given.get("interface", {})
    if torque is None:
        _need(data["insertion_torque_ncm"] is None, "torque in one place only")
        return
    total = torque["friction_ncm"] + torque["cutting_ncm"]
    _need(_near(data["insertion_torque_ncm"], total), "torque is not its parts")
    measured = face.get("measured_torque_ncm")
    _need(torque["interference_found_from_torque"] == (measured is not None), "found or stated")
    if measured is not None:
        reached = math.isclose(total, measured, rel_tol=0.01, abs_tol=0.01)
        _need(reached, f"torque {total:.4g} for a measured {measured:.4g}")
    elif "interference_um" in face:
        _need(torque["interference_um"] == face["interference_um"], "another interference")


def _load_in_order(answer: Any, load: Any, bands: list[float], case: Any) -> None:
    peak, mean, p95 = (answer[f"{x}_micromotion_um"] for x in ("peak", "mean", "p95"))
    _need(mean <= peak * (1 + SLACK), f"mean {mean:.3g} beside peak {peak:.3g}")
    _need(p95 <= peak * (1 + SLACK), f"p95 {p95:.3g} beside peak {peak:.3g}")
    parts = math.hypot(answer["sliding_um"], answer["opening_um"])
    _need(_near(parts, peak), f"sliding and opening make {parts:.6g}, the peak is {peak:.6g}")
    _need(answer["equilibrium_residual"] <= BALANCE, f"balance {answer['equilibrium_residual']}")
    error, of_error = answer["error_um"], answer["error_parts_um"].values()
    _need(error > 0, f"error {error}")
    most = sum(of_error) * (1 + SLACK)
    _need(max(of_error) * (1 - SLACK) <= error <= most, "error is not its parts")
    _shares_in_order(answer["share_above"], bands, peak)
    between = (f"{low:g} to {high:g} µm" for low, high in pairwise(bands))
    words = [f"below {bands[0]:g} µm", *between, f"above {bands[-1]:g} µm"]
    _need(answer["band"] == words[bisect_left(bands, peak)], f"band {answer['band']} of {peak:.6g}")
    head = answer["head_movement_um"]
    parts = math.hypot(head["lateral"], head["across"], head["axial"])
    _need(_near(head["total"], parts), "head movement")
    _place_in_order(answer["peak_at"], case)
    _same_load(answer, load)


def _shares_in_order(shares: dict[str, float], bands: list[float], peak: float) -> None:
    _need(set(shares) == {f"{band:g}" for band in bands}, "shares of other bands")
    values = list(shares.values())
    _need(all(0 <= x <= 1 + SLACK for x in values), "a share is none")
    _need(all(b <= a + SLACK for a, b in pairwise(values)), "shares do not fall")
    for band, share in zip(bands, values, strict=False):
        _need((share > 0) <= (peak > band * (1 - 1e-5)), "a share above a band above the peak")


def _place_in_order(place: Any, case: Any) -> None:
    holds, depth = case["socket"]["holds_mm"], place["depth_mm"]
    off = 2 * SNAP_MM + 1e-9
    inside = any(top - off <= depth <= bottom + off for top, bottom in holds)
    _need(inside, f"the peak at {depth:.6g} lies in no hold of {holds}")
    implant = case["implant"]
    outline = implant.get("outline_mm")
    widest = max(r for r, _ in outline) if outline else implant["diameter_mm"] / 2
    _need(place["radius_mm"] <= widest + 1e-6, f"the peak at radius {place['radius_mm']:.6g}")


def _same_load(answer: Any, load: Any) -> None:
    axial, lateral = load.get("axial_n", 0.0), load.get("lateral_n", 0.0)
    if "force_n" in load:
        angle = math.radians(load["angle_deg"])
        axial, lateral = load["force_n"] * math.cos(angle), load["force_n"] * math.sin(angle)
    stated = {"torque_ncm": 0.0, "height_mm": answer["height_mm"]} | load
    for key, value in (stated | {"axial_n": axial, "lateral_n": lateral}).items():
        same = (
            key not in answer
            or key == "name"
            or math.isclose(answer[key], value, rel_tol=1e-9, abs_tol=1e-9)
        )
        _need(same, f"{key} is {answer.get(key)}, stated {value}")


def _peak_in_summary(summary: str, worst: Any) -> None:
    found = re.search(r"[Pp]eak interface micromotion is ([\d.]+) ± ([\d.]+) µm \(", summary)
    if found is None:
        raise _Wrong(f"the summary lacks its number: {summary[:80]!r}")  # noqa: EM102
    digits = len(found[1].partition(".")[2])
    peak, off = float(found[1]), 0.5 * 10.0**-digits * (1 + 1e-6)
    said = worst["peak_micromotion_um"]
    _need(abs(peak - said) <= off + 1e-12 * said, f"the summary says {peak}, the load {said}")
    _need(float(found[2]) >= worst["error_um"] * (1 - 1e-9), "the summary's ± is too small")
    _need(f"({worst['band']})" in summary, "the summary has another band")
    _need(f'"{worst["name"]}"' in summary, "the summary has another load")
    _need("no pass or fail" in summary, "the summary draws a line")


# Six directions ----------------------------------------------------------------------------------


def _directions_in_order(data: Any, given: Any) -> None:
    rows = {row["name"]: row for row in data["directions"]}
    of_a_row = _schema("directions").schema["properties"]["directions"]["items"]["properties"]
    _need(list(rows) == of_a_row["name"]["enum"], f"other directions: {list(rows)}")
    first = data["case"]["threshold"]["bands_um"][0]
    for row in rows.values():
        _direction_in_order(row, first)
    for x, y in (("lateral x", "lateral y"), ("tilt about x", "tilt about y")):
        _need({**rows[x], "name": ""} == {**rows[y], "name": ""}, f"{x} and {y} differ")
    _summary_in_order(data["summary"], rows)
    _matrix_in_order(data["stiffness_matrix"])
    bonded = given.get("interface", {}).get("kind") == "bonded"
    if bonded:
        _need(all(row["state"] != "gives way" for row in rows.values()), "glued, and gives way")


def _direction_in_order(row: Any, first_band: float) -> None:
    name, state, motion = row["name"], row["state"], row["micromotion_um"]
    if motion is None or row["stiffness"] == 0:
        expected = "gives way"
    elif state == "gives way":  # past the first band at 1 % of the load, of which no figure is told
        expected = state if motion > 50 * first_band else "moves much"
    else:
        expected = "moves little" if motion < first_band else "moves much"
    _need(state == expected, f"{name}: {state}, though {expected} by its numbers")
    together = (motion is None, row["secant_stiffness"] is None, row["head_movement_um"] is None)
    _need(len(set(together)) == 1, f"{name}: {together} are missing")


def _summary_in_order(summary: str, rows: Any) -> None:
    order = ("moves little", "moves much", "gives way")
    worst: dict[str, str] = {}
    for name, way in IN_A_SUMMARY.items():
        worst[way] = max((worst.get(way, order[0]), rows[name]["state"]), key=order.index)
    if set(worst.values()) == {order[0]}:
        _need(summary == "Moves little in all six directions.", f"none moves much, but {summary!r}")
        return
    parts = re.split("; ", summary.rstrip(".").lower())
    told = {
        way: state for part in parts for state in order if state in part for way in worst if way in part
    }
    for way, state in worst.items():
        unsaid = state if state == order[0] else None
        _need(told.get(way, unsaid) == state, f"{way} {state}, but {summary!r}")


def _matrix_in_order(matrix: list[list[float]]) -> None:
    stiffness = np.array(matrix)
    size = np.sqrt(np.maximum(stiffness.diagonal(), 0.0))
    here = np.maximum(np.outer(size, size), 1e-12)
    _need((stiffness.diagonal() >= 0).all(), "the matrix has a negative stiffness")
    _need((abs(stiffness - stiffness.T) <= 1e-4 * here).all(), "the matrix is not symmetric")
    _need((abs(stiffness) <= here * (1 + 1e-6)).all(), "the matrix is not positive")


def _near(a: float, b: float) -> bool:
    return math.isclose(a, b, rel_tol=SLACK, abs_tol=1e-12)


def _need(fact: object, text: str) -> None:
    if not fact:
        raise _Wrong(text)
