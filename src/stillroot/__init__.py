"""How far does a freshly placed dental implant move against its bone? A finite-element estimate.

    >>> import stillroot
    >>> case = stillroot.read_case("docs/cases/healed_premolar.toml")
    >>> result = stillroot.check(case)
    >>> result.governing.peak.total_um

Lengths are mm, forces N, moduli MPa, micromotion µm. For research and teaching; not a medical device.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from stillroot.answers.answer import check, directions
    from stillroot.answers.explained import Explained
    from stillroot.answers.result import CheckResult, DirectionsResult, LoadAnswer
    from stillroot.arch.plan import Plan, read_plan
    from stillroot.arch.span import SpanResult, check_span
    from stillroot.errors import (
        CaseError,
        EnvironmentProblem,
        GivesWay,
        MeshError,
        NotConverged,
        OutputError,
        StillrootError,
    )
    from stillroot.inputs.case import Case, read_case
    from stillroot.studies.bounds import Bounds, bounds
    from stillroot.studies.comparison import Comparison, compare
    from stillroot.studies.explaining import explain
    from stillroot.studies.outcome import Outcome
    from stillroot.studies.ranges import with_ranges
    from stillroot.studies.running import Where
    from stillroot.studies.spreads import Spread, spread
    from stillroot.studies.store import Store
    from stillroot.studies.sweeps import Sweep, sweep
    from stillroot.writing.output import Report, write, write_answer, write_span

_HOME = {
    "Case": "inputs.case",
    "CaseError": "errors",
    "CheckResult": "answers.result",
    "Comparison": "studies.comparison",
    "DirectionsResult": "answers.result",
    "EnvironmentProblem": "errors",
    "Explained": "answers.explained",
    "GivesWay": "errors",
    "Bounds": "studies.bounds",
    "LoadAnswer": "answers.result",
    "MeshError": "errors",
    "NotConverged": "errors",
    "Outcome": "studies.outcome",
    "OutputError": "errors",
    "Plan": "arch.plan",
    "Report": "writing.output",
    "SpanResult": "arch.span",
    "Spread": "studies.spreads",
    "StillrootError": "errors",
    "Store": "studies.store",
    "Sweep": "studies.sweeps",
    "Where": "studies.running",
    "check": "answers.answer",
    "check_span": "arch.span",
    "compare": "studies.comparison",
    "directions": "answers.answer",
    "explain": "studies.explaining",
    "bounds": "studies.bounds",
    "read_case": "inputs.case",
    "read_plan": "arch.plan",
    "spread": "studies.spreads",
    "sweep": "studies.sweeps",
    "with_ranges": "studies.ranges",
    "write": "writing.output",
    "write_answer": "writing.output",
    "write_span": "writing.output",
}

__all__ = [
    "Bounds",
    "Case",
    "CaseError",
    "CheckResult",
    "Comparison",
    "DirectionsResult",
    "EnvironmentProblem",
    "Explained",
    "GivesWay",
    "LoadAnswer",
    "MeshError",
    "NotConverged",
    "Outcome",
    "OutputError",
    "Plan",
    "Report",
    "SpanResult",
    "Spread",
    "StillrootError",
    "Store",
    "Sweep",
    "Where",
    "bounds",
    "check",
    "check_span",
    "compare",
    "directions",
    "explain",
    "read_case",
    "read_plan",
    "spread",
    "sweep",
    "with_ranges",
    "write",
    "write_answer",
    "write_span",
]


def __getattr__(name: str) -> Any:
    """Import a public name on first use: the command line starts fast."""
    if name not in _HOME:
        msg = f"module {__name__!r} has no attribute {name!r}"
        raise AttributeError(msg)
    value = getattr(importlib.import_module(f"{__name__}.{_HOME[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
