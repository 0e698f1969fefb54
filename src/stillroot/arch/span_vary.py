"""Quick answers to a plan with one thing changed at a time."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import reduce
from typing import TYPE_CHECKING, Any

import numpy as np

from stillroot.arch.plan import LEAST_IMPLANTS, Plan
from stillroot.arch.span import Ready, check_span
from stillroot.errors import CaseError, NotConverged
from stillroot.inputs.vary import with_keys

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from stillroot.arch.span import SpanResult

ENGAGEMENT_SHARES = (0.25, 0.5, 0.75, 1.0)
MOST_VALUES = 12
KINDS = "cantilever, implants, stiffness or engagement:NAME"
Numbers = tuple[float, ...]
Variant = tuple[str, Plan]
"""The change in words, and the changed plan."""


@dataclass(frozen=True, kw_only=True)
class Varied:
    """The result of a variant; None where the bridge finds no equilibrium."""

    label: str
    result: SpanResult | None


@dataclass(frozen=True, kw_only=True)
class Variation:
    """A plan with one thing varied; `what` names it."""

    plan: Plan
    what: str
    rows: tuple[Varied, ...]


def vary(plan: Plan, asked: str, *, progress: Callable[[str], None] = lambda _: None) -> Variation:
    """Answer a plan quickly with one thing varied, given as KIND or KIND=VALUE,VALUE.

    Raises
    ------
    CaseError
        No such thing can be varied, or one of its values makes no valid plan.
    """
    what, variants = variants_of(plan, asked)
    ready, rows = Ready(), []
    for label, changed in variants:
        progress(label)
        try:
            result = check_span(changed, ready=ready, quick=True)
        except NotConverged:
            result = None
        rows.append(Varied(label=label, result=result))
    return Variation(plan=plan, what=what, rows=tuple(rows))


def variants_of(plan: Plan, asked: str) -> tuple[str, tuple[Variant, ...]]:
    """Return what is varied, in words, and the changed plans."""
    kind, _, text = asked.partition("=")
    kind, _, name = kind.strip().partition(":")
    values = _values(asked, text) if "=" in asked else ()
    if kind == "engagement" and name:
        what = f'Engagement of "{name}", up from its tip'
        return what, tuple(_engagements(plan, asked, name, values))
    if kind not in OF_THE_BRIDGE or name:
        text = f"must be {KINDS}, with values after = where others are wanted, as cantilever=0,5,10"
        raise _refused(asked, text)
    what, defaults, variants = OF_THE_BRIDGE[kind]
    return what, tuple(variants(plan, asked, values or defaults))


def _values(asked: str, text: str) -> Numbers:
    try:
        values = tuple(float(part) for part in text.split(","))
    except ValueError:
        values = ()
    if not 1 <= len(values) <= MOST_VALUES or not all(math.isfinite(v) and v >= 0 for v in values):
        raise _refused(asked, f"after = must stand 1 to {MOST_VALUES} numbers from 0 up, as 0,5,10")
    return values


def _cantilevers(plan: Plan, _: str, lengths: Numbers) -> Iterator[Variant]:
    bridge = plan.bridge
    if bridge.path_mm is not None:
        msg = "--vary cantilever: this plan gives the line as bridge.path_mm; give cantilevers instead"
        raise CaseError(msg, key="--vary")
    ends = [k for k in ("start_cantilever_mm", "end_cantilever_mm") if getattr(bridge, k) > 0]
    for length in lengths:
        changes = dict.fromkeys(ends or ["end_cantilever_mm"], length)
        yield f"{length:g} mm", _with_bridge(plan, **changes)


def _fewer(plan: Plan, asked: str, counts: Numbers) -> Iterator[Variant]:
    names = [implant.name for implant in plan.implants]
    for count in counts or range(len(names), LEAST_IMPLANTS - 1, -1):
        if count != int(count) or not LEAST_IMPLANTS <= count <= len(names):
            raise _refused(asked, f"must be whole numbers from {LEAST_IMPLANTS} to {len(names)}")
        kept = {names[round(k)] for k in np.linspace(0, len(names) - 1, int(count))}
        gone = [name for name in names if name not in kept]
        label = f"{count:g}" + (f", without {' and '.join(gone)}" if gone else "")
        yield label, reduce(Plan.without, gone, plan)


def _stiffnesses(plan: Plan, _: str, factors: Numbers) -> Iterator[Variant]:
    elastic = plan.bridge.elastic
    for factor in factors:
        modulus = factor * elastic.modulus_mpa
        changes = {"material": None, "modulus_mpa": modulus, "poisson": elastic.poisson}
        yield f"{modulus:g} MPa", _with_bridge(plan, kind="beam", **changes)
    yield "rigid", _with_bridge(plan, kind="rigid")


OF_THE_BRIDGE: Mapping[str, tuple[str, Numbers, Callable[[Plan, str, Numbers], Iterator[Variant]]]] = {
    "cantilever": ("Length of the cantilevers", (2.0, 6.0, 10.0, 14.0, 18.0), _cantilevers),
    "implants": ("Number of implants, spread evenly", (), _fewer),
    "stiffness": ("Modulus of the bridge", (0.01, 0.1, 1.0, 10.0), _stiffnesses),
}
"""Kinds of variation: what is varied, its values unless others are given, and the changed plans."""


def _engagements(plan: Plan, asked: str, name: str, lengths: Numbers) -> Iterator[Variant]:
    placed = next((implant for implant in plan.implants if implant.name == name), None)
    if placed is None:
        known = ", ".join(implant.name for implant in plan.implants)
        raise _refused(asked, f"there is no such implant; must be one of {known}")
    whole = plan.case_of(placed).implant.length_mm
    for length in lengths or tuple(whole * share for share in ENGAGEMENT_SHARES):
        if not 0 < length <= whole:
            raise _refused(asked, f"must be above 0 and at most {whole:g} mm, the length of the implant")
        case = with_keys(plan.case_of(placed), {"socket.holds_mm": [[whole - length, whole]]})
        data, new = plan.to_dict(), f"{placed.case}, held {length:g} mm"
        data["cases"][new] = case.to_dict()
        data["implants"][plan.implants.index(placed)]["case"] = new
        yield f"{length:g} mm", Plan.from_dict(data)


def _with_bridge(plan: Plan, **changes: Any) -> Plan:
    data = plan.to_dict()
    bridge = {**data["bridge"], **changes}
    data["bridge"] = {key: value for key, value in bridge.items() if value is not None}
    return Plan.from_dict(data)


def _refused(asked: str, text: str) -> CaseError:
    return CaseError(f"--vary {asked}: {text}", key="--vary")
