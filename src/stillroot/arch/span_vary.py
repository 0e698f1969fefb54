"""Quick answers to a plan with one thing changed at a time."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from stillroot.arch.plan import LEAST_IMPLANTS, Plan
from stillroot.arch.span import Ready, check_span
from stillroot.errors import CaseError, NotConverged

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from stillroot.arch.span import SpanResult

CANTILEVERS_MM = (2.0, 6.0, 10.0, 14.0, 18.0)
STIFFNESSES = (0.01, 0.1, 1.0, 10.0)
ENGAGEMENT_SHARES = (0.25, 0.5, 0.75, 1.0)
MOST_VALUES = 12
KINDS = "cantilever, implants, stiffness or engagement:NAME"


@dataclass(frozen=True, kw_only=True)
class Variant:
    """A changed plan, with the change in words."""

    label: str
    plan: Plan


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
    for variant in variants:
        progress(variant.label)
        try:
            result = check_span(variant.plan, ready=ready, quick=True)
        except NotConverged:
            result = None
        rows.append(Varied(label=variant.label, result=result))
    return Variation(plan=plan, what=what, rows=tuple(rows))


def variants_of(plan: Plan, asked: str) -> tuple[str, tuple[Variant, ...]]:
    """Return what is varied, in words, and the changed plans."""
    kind, _, text = asked.partition("=")
    kind, _, name = kind.strip().partition(":")
    values = _values(asked, text) if "=" in asked else ()
    if kind == "cantilever" and not name:
        return "Length of the cantilevers", tuple(_cantilevers(plan, values or CANTILEVERS_MM))
    if kind == "implants" and not name:
        counts = values or tuple(float(n) for n in range(len(plan.implants), 1, -1))
        return "Number of implants, spread evenly", tuple(_fewer(plan, asked, counts))
    if kind == "stiffness" and not name:
        return "Modulus of the bridge", tuple(_stiffnesses(plan, values or STIFFNESSES))
    if kind == "engagement" and name:
        what = f'Engagement of "{name}", up from its tip'
        return what, tuple(_engagements(plan, asked, name, values))
    raise _refused(
        asked, f"must be {KINDS}, with values after = where others are wanted, as cantilever=0,5,10"
    )


def _values(asked: str, text: str) -> tuple[float, ...]:
    try:
        values = tuple(float(part) for part in text.split(","))
    except ValueError:
        values = ()
    if not 1 <= len(values) <= MOST_VALUES or not all(math.isfinite(v) and v >= 0 for v in values):
        raise _refused(asked, f"after = must stand 1 to {MOST_VALUES} numbers from 0 up, as 0,5,10")
    return values


def _cantilevers(plan: Plan, lengths: tuple[float, ...]) -> Iterator[Variant]:
    bridge = plan.bridge
    if bridge.path_mm is not None:
        msg = "--vary cantilever: this plan gives the line as bridge.path_mm; give cantilevers instead"
        raise CaseError(msg, key="--vary")
    ends = [k for k in ("start_cantilever_mm", "end_cantilever_mm") if getattr(bridge, k) > 0]
    for length in lengths:
        changes = dict.fromkeys(ends or ["end_cantilever_mm"], length)
        yield Variant(label=f"{length:g} mm", plan=_with_bridge(plan, **changes))


def _fewer(plan: Plan, asked: str, counts: tuple[float, ...]) -> Iterator[Variant]:
    names = [implant.name for implant in plan.implants]
    for count in counts:
        if count != int(count) or not LEAST_IMPLANTS <= count <= len(names):
            raise _refused(asked, f"must be whole numbers from {LEAST_IMPLANTS} to {len(names)}")
        kept = {names[round(k)] for k in np.linspace(0, len(names) - 1, int(count))}
        fewer = plan
        for name in names:
            if name not in kept:
                fewer = fewer.without(name)
        gone = [name for name in names if name not in kept]
        label = f"{count:g}" + (f", without {' and '.join(gone)}" if gone else "")
        yield Variant(label=label, plan=fewer)


def _stiffnesses(plan: Plan, factors: tuple[float, ...]) -> Iterator[Variant]:
    elastic = plan.bridge.elastic
    for factor in factors:
        modulus = factor * elastic.modulus_mpa
        changes = {"material": None, "modulus_mpa": modulus, "poisson": elastic.poisson}
        yield Variant(label=f"{modulus:g} MPa", plan=_with_bridge(plan, kind="beam", **changes))
    yield Variant(label="rigid", plan=_with_bridge(plan, kind="rigid"))


def _engagements(plan: Plan, asked: str, name: str, lengths: tuple[float, ...]) -> Iterator[Variant]:
    placed = next((implant for implant in plan.implants if implant.name == name), None)
    if placed is None:
        known = ", ".join(implant.name for implant in plan.implants)
        raise _refused(asked, f"there is no such implant; must be one of {known}")
    whole = plan.case_of(placed).implant.length_mm
    for length in lengths or tuple(whole * share for share in ENGAGEMENT_SHARES):
        if not 0 < length <= whole:
            raise _refused(asked, f"must be above 0 and at most {whole:g} mm, the length of the implant")
        data = plan.to_dict()
        new = f"{placed.case}, held {length:g} mm"
        case = data["cases"][placed.case]
        case = {**case, "socket": {**case["socket"], "holds_mm": [[whole - length, whole]]}}
        data["cases"][new] = case
        for implant in data["implants"]:
            if implant["name"] == name:
                implant["case"] = new
        yield Variant(label=f"{length:g} mm", plan=Plan.from_dict(data))


def _with_bridge(plan: Plan, **changes: Any) -> Plan:
    data = plan.to_dict()
    bridge = {**data["bridge"], **changes}
    data["bridge"] = {key: value for key, value in bridge.items() if value is not None}
    return Plan.from_dict(data)


def _refused(asked: str, text: str) -> CaseError:
    return CaseError(f"--vary {asked}: {text}", key="--vary")
