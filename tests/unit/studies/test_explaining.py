"""Other choices: each gives the result of a case with that choice; none is missing or made up."""

from __future__ import annotations

from dataclasses import replace

import pytest

from stillroot import check
from stillroot.answers.changes import alternatives
from stillroot.answers.explained import Choice
from stillroot.pictures.levers_figure import other_choices
from stillroot.studies.explaining import with_choices
from stillroot.writing.output import data_of, document_of
from stillroot.writing.terminal import text_of
from validation.placed import changed_case

CASE = {
    "title": "a small case for checks",
    "implant": {"diameter_mm": 4.1, "length_mm": 6.0},
    "bone": {"cortical_thickness_mm": 1.0, "law": "linear", "trabecular_modulus_mpa": 200.0},
    "interface": {"interference_um": 5.0},
    "loads": [
        {"name": "oblique", "axial_n": 60.0, "lateral_n": 30.0},
        {"name": "lateral", "lateral_n": 10.0},
    ],
    "numerics": {"element_mm": 1.0, "harmonics": 3},
}


def case_of(**sections: dict[str, object]):
    return changed_case(CASE, sections)


@pytest.fixture(scope="module")
def answered():
    return with_choices(check(case_of()))


def found(answered, subject: str, text: str) -> Choice:
    (choice,) = [c for c in answered.choices if c.subject == subject and text in c.text]
    return choice


@pytest.mark.parametrize(
    ("subject", "text", "section", "keys"),
    [
        ("torn layer", "twice as thick", "interface", {"layer_thickness_mm": 0.2}),
        ("friction", "0.3", "interface", {"friction": 0.3}),
        ("interference", "none", "interface", {"interference_um": 0.0}),
        ("support of the bone", "base", "bone", {"support": "base"}),
    ],
)
def test_a_choice_gives_what_a_case_with_it_gives(answered, subject, text, section, keys):
    alone = check(case_of(**{section: keys}))
    peaks = [a.peak.total_um for a in alone.loads]
    assert found(answered, subject, text).peaks_um == pytest.approx(peaks, rel=1e-6)


def test_each_choice_has_a_peak_for_each_load(answered):
    assert len(answered.choices) == len(alternatives(answered.answer.case))
    assert all(len(c.peaks_um) == 2 and not c.reason for c in answered.choices)


def test_bone_that_yields_moves_more_than_linear_bone():
    weak = {"law": "linear", "trabecular_modulus_mpa": 100.0}
    answered = with_choices(check(case_of(bone=weak)))
    yields = found(answered, "bone", "yields").peaks_um[0]
    assert answered.answer.loads[0].bone_strain.past_yield_mm3 > 0
    assert yields > answered.answer.loads[0].peak.total_um


def test_what_a_case_has_no_use_for_is_not_offered():
    bonded = case_of(interface={"kind": "bonded", "interference_um": None})
    assert {a.subject for a in alternatives(bonded)} == {
        "bone",
        "torn layer",
        "support of the bone",
        "rings for a helix",
    }
    smooth = case_of(implant={"thread": {"form": "none"}})
    assert "rings for a helix" not in {a.subject for a in alternatives(smooth)}
    measured = case_of(interface={"interference_um": None, "measured_torque_ncm": 20.0})
    assert "interference" not in {a.subject for a in alternatives(measured)}
    socket = case_of(socket={"holds_mm": [[2.0, 6.0]], "gap_fill": "graft"})
    fills = [a.text for a in alternatives(socket) if a.subject == "fill of the gap"]
    assert fills == ["empty", "clot"]


def test_a_choice_without_an_answer_says_why():
    """A torque out of reach with little friction is reported, and the other choices are still solved."""
    case = case_of(
        interface={"interference_um": None, "measured_torque_ncm": 150.0, "friction": 1.5},
        bone={"law": "linear", "trabecular_modulus_mpa": 100.0},
    )
    result = with_choices(check(case))
    gentle = found(result, "friction", "0.3")
    assert gentle.peaks_um == (None, None)
    assert "no interference gives" in gentle.reason
    assert "no interference gives" in text_of(document_of(result))
    assert any(c.peaks_um[0] is not None for c in result.choices)


def test_report_data_and_picture_tell_every_choice(answered):
    data, text, alt = (
        data_of(answered)["choices"],
        text_of(document_of(answered)),
        other_choices(answered).alt,
    )
    for choice, told in zip(answered.choices, data, strict=True):
        assert told["instead"] == choice.text
        assert told["peak_micromotion_um"] == {
            "oblique": choice.peaks_um[0],
            "lateral": choice.peaks_um[1],
        }
        assert choice.text in text
        assert choice.text in alt


def test_a_choice_that_finds_no_balance_is_told_in_words(answered):
    lost = replace(answered, choices=(Choice(subject="friction", text="0", peaks_um=(None, 3.0)),))
    assert "gives way" in text_of(document_of(lost))
    assert "gives way" in other_choices(lost).alt


def test_without_being_asked_there_are_no_choices():
    result = check(case_of())
    assert data_of(result)["choices"] == []
    assert "other choices" not in text_of(document_of(result))


def test_a_choice_beyond_what_a_case_allows_says_so_and_spares_the_others():
    """Half a pitch deeper, a thread of 2 mm no longer fits an implant of 2.5 mm."""
    thread = {"form": "v", "pitch_mm": 2.0}
    result = with_choices(check(case_of(implant={"length_mm": 2.5, "thread": thread}, socket={})))
    deeper = found(result, "rings for a helix", "half a pitch deeper")
    assert "implant.thread.pitch_mm" in deeper.reason
    assert set(deeper.peaks_um) == {None}
    assert all(choice.reason == "" for choice in result.choices if choice is not deeper)
