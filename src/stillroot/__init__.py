"""Will a freshly placed dental implant stay still enough to heal? A finite-element estimate.

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
    from stillroot.answer import CheckResult, DirectionsResult, LoadAnswer, check, directions
    from stillroot.case import Case, read_case
    from stillroot.comparison import Comparison, compare
    from stillroot.errors import (
        CaseError,
        EnvironmentProblem,
        MeshError,
        NotConverged,
        OutputError,
        StillrootError,
    )
    from stillroot.export import write_answer, write_span
    from stillroot.holding import Hold, hold
    from stillroot.outcome import Outcome
    from stillroot.plan import Plan, read_plan
    from stillroot.running import Where
    from stillroot.span import SpanResult, check_span
    from stillroot.spreads import Spread, spread
    from stillroot.store import Store
    from stillroot.sweeps import Sweep, sweep

_HOME = {
    "Case": "case",
    "CaseError": "errors",
    "CheckResult": "answer",
    "Comparison": "comparison",
    "DirectionsResult": "answer",
    "EnvironmentProblem": "errors",
    "Hold": "holding",
    "LoadAnswer": "answer",
    "MeshError": "errors",
    "NotConverged": "errors",
    "Outcome": "outcome",
    "OutputError": "errors",
    "Plan": "plan",
    "SpanResult": "span",
    "Spread": "spreads",
    "StillrootError": "errors",
    "Store": "store",
    "Sweep": "sweeps",
    "Where": "running",
    "check": "answer",
    "check_span": "span",
    "compare": "comparison",
    "directions": "answer",
    "hold": "holding",
    "read_case": "case",
    "read_plan": "plan",
    "spread": "spreads",
    "sweep": "sweeps",
    "write_answer": "export",
    "write_span": "export",
}

__all__ = [
    "Case",
    "CaseError",
    "CheckResult",
    "Comparison",
    "DirectionsResult",
    "EnvironmentProblem",
    "Hold",
    "LoadAnswer",
    "MeshError",
    "NotConverged",
    "Outcome",
    "OutputError",
    "Plan",
    "SpanResult",
    "Spread",
    "StillrootError",
    "Store",
    "Sweep",
    "Where",
    "check",
    "check_span",
    "compare",
    "directions",
    "hold",
    "read_case",
    "read_plan",
    "spread",
    "sweep",
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
