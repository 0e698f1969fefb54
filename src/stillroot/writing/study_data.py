"""Studies as plain data for JSON, by tables of keys as in `stillroot.writing.data`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from stillroot.answers.answer import versions
from stillroot.answers.wording import CAUTION
from stillroot.studies.bounds import Bounds, motion
from stillroot.studies.comparison import Comparison
from stillroot.studies.outcome import outcome_of
from stillroot.studies.spreads import Spread
from stillroot.studies.store import program
from stillroot.studies.sweeps import Sweep
from stillroot.words.study_documents import answer_sentence, pair_sentence, spread_sentences
from stillroot.writing.data import each, plain, same

if TYPE_CHECKING:
    from stillroot.words.study_documents import Study
    from stillroot.writing.data import Rule, Rules

INTERVAL: Rules = same("value", "low", "high")
MADE_BY: Rules = {
    "program": lambda _: program(),
    "versions": lambda _: versions(),
    "caution": lambda _: CAUTION,
}
PROVENANCE: Rules = {"case": lambda it: it.case.to_dict(), **MADE_BY}
FAILED: Rules = {
    "failed": "failures.failed",
    "failed_share": "failures.share",
    "can_be_trusted": lambda it: not it.failures.too_many,
    "reasons": lambda it: [{"reason": reason, "count": count} for reason, count in it.failures.reasons],
}
INPUTS: Rule = each(
    "inputs",
    {"key": "input.key", "kind": "input.kind", "is": "input.written", "source": "source"},
)


def study_data(found: Study) -> dict[str, Any]:
    """Return a study as plain data."""
    match found:
        case Sweep():
            return plain(found, SWEEP)
        case Spread():
            return plain(found, SPREAD)
        case Bounds():
            return plain(found, _bounds(found))
        case Comparison():
            return plain(found, _comparison(found))


def _case_by_case(sweep: Sweep) -> list[dict[str, Any]]:
    return [
        {"values": dict(zip(sweep.grid, point, strict=True)), **outcome.to_dict()}
        for point, outcome in zip(sweep.points, sweep.outcomes, strict=True)
    ]


SWEEP: Rules = {
    "study": lambda _: "sweep",
    "grid": lambda it: {key: list(values) for key, values in it.grid.items()},
    "relative_error": "relative_error",
    "cases": _case_by_case,
    **FAILED,
    **PROVENANCE,
}


def _quantile(share: float) -> Rule:
    return lambda it: it.quantile_um(share) if it.peaks_um.size else None


def _samples(it: Spread) -> list[dict[str, Any]]:
    return [
        {"part": part, "values": dict(zip(it.keys, row, strict=True)), "peak_um": outcome.peak_um}
        for part, row, outcome in zip(it.part, it.values.tolist(), it.outcomes, strict=True)
    ]


SPREAD: Rules = {
    "study": lambda _: "spread",
    "sentences": spread_sentences,
    "inputs": INPUTS,
    "median_um": lambda it: plain(it.median_um, INTERVAL) if it.peaks_um.size else None,
    "p05_um": _quantile(0.05),
    "p95_um": _quantile(0.95),
    "bands": each("bands", {"band": "band", **{name: f"chance.{name}" for name in INTERVAL}}),
    **same("without_answer", "likely_bands"),
    "drivers": each(
        "drivers",
        {
            "key": "key",
            "first_order": lambda it: plain(it.first, INTERVAL),
            "total_order": lambda it: plain(it.total, INTERVAL),
        },
    ),
    "rows_for_drivers": "rows_for_drivers",
    "nominal": lambda it: it.nominal.to_dict(),
    "samples": _samples,
    **FAILED,
    **PROVENANCE,
}


def _bounds(bounds: Bounds) -> Rules:
    answer: Rules = {
        "question": "question.name",
        "key": "question.key",
        "range": lambda it: (it.question.low, it.question.high),
        "sentence": lambda it: answer_sentence(bounds, it),
        **same(
            *("value", "below_everywhere", "peak_um", "engaged_threads", "relative_error"),
            *("monotone", "below_in_part"),
        ),
        "tried": lambda it: [{"value": x, "peak_um": motion(peak)} for x, peak in it.tried],
        **FAILED,
    }
    return {
        "study": lambda _: "bounds",
        **same("below_um", "confidence", "samples"),
        "inputs": INPUTS,
        "answers": each("answers", answer),
        **PROVENANCE,
    }


def _cases(it: Comparison) -> list[dict[str, Any]]:
    return [
        {
            "name": name,
            "interval_um": it.interval_um(place),
            **outcome_of(result).to_dict(),
            "case": result.case.to_dict(),
        }
        for place, (name, result) in enumerate(zip(it.names, it.results, strict=True))
    ]


def _comparison(comparison: Comparison) -> Rules:
    pair: Rules = {
        "first": lambda it: comparison.names[it.first],
        "second": lambda it: comparison.names[it.second],
        **same(
            *("difference_um", "error_um", "first_moves_more", "second_moves_more"),
            *("beyond_error", "beyond_spread"),
        ),
        "sentence": lambda it: pair_sentence(comparison, it),
    }
    return {
        "study": lambda _: "compare",
        "cases": _cases,
        "inputs": each("inputs", same("key", "values")),
        "pairs": each("pairs", pair),
        **(FAILED if comparison.failures else {}),
        **MADE_BY,
    }
