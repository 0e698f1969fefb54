"""What changes the number: rows, message and reasons."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from stillroot.answers.explained import Explained, Lever
from stillroot.pictures.figures import pictures
from stillroot.pictures.levers_figure import Change, levers_figure
from stillroot.words.check_document import GIVES_WAY
from tests.unit.pictures._drawn import BANDS, words

if TYPE_CHECKING:
    from stillroot.answers.result import CheckResult

UNREACHED = (
    "interface.measured_torque_ncm = 150: no interference gives this in the bone and friction stated"
)
PLAN = (Change("longer", 24.0), Change("no hold", None))
ROUGH = (
    Change("no cortex", 88.0),
    Change("far softer", 900.0),
    Change("stiffer", 12.0),
    Change("slippery", None, UNREACHED),
)


def test_levers_name_the_one_that_lowers_most() -> None:
    picture = levers_figure("push", 34.2, (*PLAN, Change("wider", 30.0)), ROUGH, BANDS)
    assert (
        "of what a plan can change, “longer” lowers the peak most, from 34.2"
        in picture.message.replace("\N{NO-BREAK SPACE}", " ")
    )


def test_levers_that_do_not_help_say_so() -> None:
    message = levers_figure("push", 20.0, PLAN, ROUGH, BANDS).message
    assert "no change of the plan lowers the peak" in message


def test_what_has_no_answer_is_not_said_to_be_of_no_help() -> None:
    message = levers_figure("push", 20.0, (*PLAN, Change("thin", None, UNREACHED)), ROUGH, BANDS).message
    assert "no change of the plan that has an answer lowers the peak" in message


def test_levers_stand_below_what_they_are() -> None:
    notes = levers_figure("push", 34.2, PLAN, ROUGH, BANDS).figure.axes[0].texts
    at = {note.get_text(): note.xy[1] for note in notes}
    order = ["base case", "what a plan can change", "longer", "no hold"]
    order += ["what is known only roughly", "no cortex", "far softer", "stiffer", "slippery"]
    assert [at[name] for name in order] == list(range(len(order)))


def test_only_what_finds_no_balance_gives_way() -> None:
    picture = levers_figure("push", 34.2, PLAN, ROUGH, BANDS)
    shown = words(picture)
    assert shown.count(GIVES_WAY) == 1
    assert "interface.measured_torque_ncm = 150: no interference" in shown
    assert f"no hold: {GIVES_WAY}" in picture.alt
    assert "slippery: interface.measured_torque_ncm = 150" in picture.alt
    why = next(t for t in picture.figure.axes[0].texts if t.get_text().startswith("interface"))
    assert why.get_window_extent().x1 < picture.figure.bbox.x1


def test_an_answer_tells_its_levers_in_two_groups(result: CheckResult) -> None:
    levers = (
        Lever(by_plan=False, text="bone stiffer", ratios=(0.5,)),
        Lever(by_plan=True, text="implant wider", ratios=(0.8,)),
        Lever(by_plan=True, text="load heavier", ratios=(None,)),
    )
    drawn = {picture.name: picture for picture in pictures(Explained(answer=result, levers=levers))}
    message = drawn["levers"].message.replace("\N{NO-BREAK SPACE}", " ")
    assert "“implant wider” lowers the peak most" in message
    assert f"to {0.8 * result.governing.peak.total_um:.1f} µm" in message


def test_levers_draw_from_the_answer_to_each_change() -> None:
    picture = levers_figure("push", 34.2, PLAN, ROUGH, BANDS, title="Invented scenario")
    spans = [np.asarray(line.get_xdata(), dtype=float) for line in picture.figure.axes[0].lines]
    for peak in (24.0, 88.0):
        assert any(len(x) == 2 and x == pytest.approx([34.2, peak]) for x in spans)
    right = picture.figure.axes[0].get_xlim()[1]
    assert right < 900
    shown = words(picture)
    assert "900 µm" in shown
    assert "Invented scenario" in shown
