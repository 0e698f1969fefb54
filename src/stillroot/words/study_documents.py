"""Studies as reports."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stillroot.answers.answer import versions
from stillroot.answers.summary import NO_LINE, rounded
from stillroot.studies.bounds import Bounds
from stillroot.studies.comparison import Comparison
from stillroot.studies.spreads import Spread
from stillroot.studies.sweeps import Sweep
from stillroot.words.check_document import case_keys
from stillroot.words.document import (
    RESEARCHER,
    Document,
    Lines,
    Section,
    Shown,
    made_by,
)
from stillroot.words.study_report import (
    LINEAR,
    MOST_ROWS,
    answer_notes,
    answer_sentence,
    bands_table,
    bounds_premise,
    cases_table,
    differences_tables,
    drivers_table,
    error_line,
    inputs_table,
    nominal_line,
    pair_sentence,
    spread_sentences,
    sweep_table,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stillroot.inputs.case import Case
    from stillroot.studies.trust import Failures
    from stillroot.words.document import Block
    from stillroot.words.study_report import Study


def study_document(found: Study, shown: Sequence[str]) -> Document:
    """Return the report of a study, `shown` being the names of its pictures."""
    match found:
        case Sweep():
            return _of_sweep(found, shown)
        case Spread():
            return _of_spread(found, shown)
        case Bounds():
            return _of_bounds(found, shown)
        case Comparison():
            return _of_comparison(found, shown)


def _of_sweep(sweep: Sweep, shown: Sequence[str]) -> Document:
    known = [outcome.peak_um for outcome in sweep.outcomes if outcome.peak_um is not None]
    keys = " and ".join(sweep.grid)
    answer = "No case of the sweep has an answer."
    if known:
        answer = (
            f"Over {keys} the largest peak micromotion lies between {rounded(min(known))} and "
            f"{rounded(max(known))} µm, in {len(known)} cases."
        )
    more = len(sweep.outcomes) - MOST_ROWS
    rest = (Lines(lines=(f"and {more} more cases, in table.csv.",)),) if more > 0 else ()
    return _document(
        sweep.case,
        shown,
        question=f"How does the peak micromotion change with {keys}?",
        answer=_warned(answer, sweep.failures),
        limits=(error_line(sweep.relative_error), *sweep.failures.sentences, LINEAR),
        parts={"Case by case": (sweep_table(sweep, most=MOST_ROWS), *rest)},
        command="sweep CASE.toml --vary …",
    )


def _of_spread(spread: Spread, shown: Sequence[str]) -> Document:
    drives = {"What drives it": (drivers_table(spread),)} if spread.drivers else {}
    return _document(
        spread.case,
        shown,
        question="How far does the peak spread with inputs that are known only roughly?",
        answer=_warned(" ".join(spread_sentences(spread)), spread.failures),
        limits=(nominal_line(spread), *spread.failures.sentences, LINEAR),
        parts={
            "Where the peak can lie": (bands_table(spread),),
            **drives,
            "What is known only roughly": (inputs_table(spread.inputs),),
        },
        command="spread CASE.toml",
    )


def _of_bounds(bounds: Bounds, shown: Sequence[str]) -> Document:
    found = [
        Lines(lines=(answer_sentence(bounds, answer), *answer_notes(answer), *answer.failures.sentences))
        for answer in bounds.answers
    ]
    inputs = {"What is known only roughly": (inputs_table(bounds.inputs),)} if bounds.inputs else {}
    return _document(
        bounds.case,
        shown,
        question=f"How far may each number go with the peak at or below {bounds.below_um:g} µm?",
        answer=" ".join(answer_sentence(bounds, answer) for answer in bounds.answers),
        limits=(bounds_premise(bounds), LINEAR),
        parts={"Question by question": tuple(found), **inputs},
        command=f"bounds CASE.toml --below {bounds.below_um:g}",
    )


def _of_comparison(comparison: Comparison, shown: Sequence[str]) -> Document:
    told = tuple(pair_sentence(comparison, pair) for pair in comparison.pairs)
    answer = told[0] if len(told) == 1 else _in_order(comparison)
    failures = comparison.failures
    fingerprints = "".join(result.case.fingerprint()[:6] for result in comparison.results)
    return Document(
        question="Which of these cases moves more, and is the difference larger than the errors?",
        subject="; ".join(result.case.title for result in comparison.results),
        answer=_warned(answer, failures) if failures else answer,
        limits=(*(failures.sentences if failures else ()), LINEAR),
        first=_first(shown),
        sections=(
            Section(title="Side by side", blocks=(cases_table(comparison), Lines(lines=told))),
            Section(title="What differs in the cases", blocks=differences_tables(comparison)),
            *_rest(shown),
        ),
        slides=tuple(shown),
        again="stillroot compare A.toml B.toml … --out DIR",
        made_by=made_by(versions(), fingerprints),
    )


def _in_order(comparison: Comparison) -> str:
    """Return which case moves most and which least, and how many differences mean anything."""
    peaks = [result.governing.peak.total_um for result in comparison.results]
    most, least = peaks.index(max(peaks)), peaks.index(min(peaks))
    beyond = sum(pair.beyond_error for pair in comparison.pairs)
    said = (
        f"{comparison.names[most]} moves most, {rounded(peaks[most])} µm; {comparison.names[least]} "
        f"least, {rounded(peaks[least])} µm."
    )
    if not comparison.pairs:
        return said
    return (
        f"{said} Of {len(comparison.pairs)} differences between them {beyond} are larger than the "
        "numerical error."
    )


def _warned(answer: str, failures: Failures) -> str:
    """Return an answer, after the warning that it cannot be trusted where that is so."""
    return f"{failures.sentences[-1]} {answer}" if failures.too_many else answer


def _document(
    case: Case,
    shown: Sequence[str],
    *,
    question: str,
    answer: str,
    limits: tuple[str, ...],
    parts: dict[str, tuple[Block, ...]],
    command: str,
) -> Document:
    """Return the report of a study of one case."""
    return Document(
        question=question,
        subject=case.title,
        answer=answer,
        limits=limits,
        first=_first(shown),
        sections=(
            *(Section(title=title, blocks=blocks) for title, blocks in parts.items()),
            *_rest(shown),
            Section(title="The case as resolved", blocks=(case_keys(case),), readers=RESEARCHER),
        ),
        slides=tuple(shown),
        again=f"stillroot {command} --out DIR",
        made_by=made_by(versions(), case.fingerprint()),
        beside=(NO_LINE,),
    )


def _first(shown: Sequence[str]) -> tuple[Shown, ...]:
    return tuple(Shown(name=name) for name in shown[:1])


def _rest(shown: Sequence[str]) -> tuple[Section, ...]:
    """Return the pictures that are not on the first screen."""
    if len(shown) < 2:
        return ()
    blocks = tuple(Shown(name=name) for name in shown[1:])
    return (Section(title="Pictures", blocks=blocks),)
