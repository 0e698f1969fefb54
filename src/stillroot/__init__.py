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
    from stillroot.errors import (
        CaseError,
        EnvironmentProblem,
        MeshError,
        NotConverged,
        OutputError,
        StillrootError,
    )
    from stillroot.export import write_answer, write_span
    from stillroot.plan import Plan, read_plan
    from stillroot.span import SpanResult, check_span

_HOME = {
    "Case": "case",
    "CaseError": "errors",
    "CheckResult": "answer",
    "DirectionsResult": "answer",
    "EnvironmentProblem": "errors",
    "LoadAnswer": "answer",
    "MeshError": "errors",
    "NotConverged": "errors",
    "OutputError": "errors",
    "Plan": "plan",
    "SpanResult": "span",
    "StillrootError": "errors",
    "check": "answer",
    "check_span": "span",
    "directions": "answer",
    "read_case": "case",
    "read_plan": "plan",
    "write_answer": "export",
    "write_span": "export",
}

__all__ = [
    "Case",
    "CaseError",
    "CheckResult",
    "DirectionsResult",
    "EnvironmentProblem",
    "LoadAnswer",
    "MeshError",
    "NotConverged",
    "OutputError",
    "Plan",
    "SpanResult",
    "StillrootError",
    "check",
    "check_span",
    "directions",
    "read_case",
    "read_plan",
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
