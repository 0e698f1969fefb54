"""The interface problem: two elastic bodies, coupled by the interface law.

With the bodies condensed to the wall, S_i u_i = f - λ and S_b u_b = λ, their displacements can be
eliminated. One equation in w = u_i - u_b remains, harmonic by harmonic::

    D w + t(w) = λ_0,   D = S_b - S_b (S_i + S_b)⁻¹ S_b,   λ_0 = S_b (S_i + S_b)⁻¹ f        (8)

D is the stiffness of both bodies in series, λ_0 the traction that the load would cause on a bonded wall.
The law t couples the harmonics; D does not. With P = D + T, T the law's tangent averaged round the
circle, (8) becomes the fixed-point equation::

    w = P⁻¹ (λ_0 - t(w) + T w)                                                              (9)

It is solved by semi-smooth Newton, with GMRES for the linear step: P⁻¹ is one dense product per
harmonic.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import scipy.linalg as la
import scipy.sparse.linalg as spla

from stillroot.mechanics.condense import free_rows
from stillroot.mechanics.interface import averaged_stiffness, tangent, tractions

if TYPE_CHECKING:
    from collections.abc import Callable

    import scipy.sparse as sp
    from numpy.typing import NDArray

    from stillroot.arrays import Floats
    from stillroot.mechanics.fourier import Fourier
    from stillroot.mechanics.interface import Layer, Tangent, Tractions
    from stillroot.mechanics.yielding_bone import BoneState, YieldingBone

TOLERANCE = 1e-7
"""Convergence tolerance of the residual of (9), relative to the size of the response."""
NEWTON_LIMIT = 200
PATIENCE = 30
"""Newton iterations allowed without the residual falling to half of its best value so far."""
GMRES_LIMIT = 150
SLOW_GMRES = 25
"""GMRES iterations above which P is rebuilt at the current state."""
OVERSHOOT, LINE_SEARCH_SLACK, LINE_SEARCH_LIMIT = 0.5, 0.2, 10
"""When the line search sets in, when it accepts, and after how many trials it stops."""


@dataclass(frozen=True, kw_only=True)
class SeriesStiffness:
    """D of (8): `free`, h matrices (k, k) on the admissible values; `expand`, h matrices (3m, k).

    With motions of the implant prescribed, D' = D + Λ G Λᵀ takes its place: Λ (c, f, h, m, 3), `lift`,
    is λ_0 of the unit loads along those motions and G (c, c), `hold`, the inverse of their compliance
    with a bonded wall. By reciprocity the motions are G⁻¹ F + Λᵀ w; (8) with F eliminated has D'.
    """

    free: tuple[Floats, ...]
    expand: tuple[sp.csc_array, ...]
    lift: Floats | None = None
    hold: Floats | None = None

    def forces(self, w: Floats) -> Floats:
        """Return D w (f, h, m, 3)."""
        flat = w.reshape(*w.shape[:2], -1)
        forces = np.zeros_like(flat)
        for n in range(w.shape[1]):
            rows = free_rows(self.expand[n])
            forces[:, n, rows] = flat[:, n, rows] @ self.free[n]  # D is symmetric
        whole = forces.reshape(w.shape)
        if self.lift is None or self.hold is None:
            return whole
        lowered = np.tensordot(self.lift, w, axes=w.ndim)
        return np.asarray(whole + np.tensordot(self.hold @ lowered, self.lift, axes=1))

    def first(self, count: int) -> SeriesStiffness:
        """Return D in its first harmonics alone."""
        return replace(self, free=self.free[:count], expand=self.expand[:count])

    def constrained(self, lift: Floats, hold: Floats) -> SeriesStiffness:
        """Return D' = D + Λ G Λᵀ."""
        return replace(self, lift=lift, hold=hold)

    def preconditioner(self, blocks: Floats) -> Preconditioner:
        """Return P⁻¹, with P = D + T, for nodal blocks (m, 3, 3) of T."""
        size = 3 * len(blocks)
        inverse = np.zeros((len(self.free), size, size), dtype=np.float32)
        for n, e in enumerate(self.expand):
            inverse[n] = e @ (e @ _inverse(self.with_layer(n, blocks))).T
        return self.held(Preconditioner(inverse=inverse, blocks=blocks))

    def held(self, free: Preconditioner) -> Preconditioner:
        """Return P⁻¹ with the motions of D' prescribed, from that without (Woodbury)."""
        if self.lift is None or self.hold is None:
            return free
        give = np.stack([free.solve(unit) for unit in self.lift])
        c = len(give)
        least = la.inv(self.hold) + self.lift.reshape(c, -1) @ give.reshape(c, -1).T
        return replace(free, lift=self.lift, give=give, hold=la.inv(least))

    def with_layer(self, n: int, blocks: Floats) -> Floats:
        """Return D + T of harmonic n (k, k) for nodal blocks (m, 3, 3) of an axisymmetric T."""
        place = np.arange(3 * len(blocks)).reshape(-1, 3)
        t = np.zeros((place.size, place.size))
        t[place[:, :, None], place[:, None, :]] = blocks
        e, share = self.expand[n], 1.0 if n == 0 else 0.5  # ∫ cos² nθ: T is given for n = 0
        return self.free[n] + share * (e.T @ (e.T @ t).T)


@dataclass(frozen=True, kw_only=True)
class Preconditioner:
    """P⁻¹ (h, 3m, 3m) and the nodal blocks (m, 3, 3) of its T.

    Single precision is enough and halves the memory traffic: P⁻¹ only steers the iteration, while the
    forces that it is applied to, and with them the solution, are in double precision. `lift`, Λ, with
    `give`, P⁻¹ Λ, and `hold`, (G⁻¹ + Λᵀ P⁻¹ Λ)⁻¹: of motions that are prescribed.
    """

    inverse: NDArray[np.float32]
    blocks: Floats
    lift: Floats | None = None
    give: Floats | None = None
    hold: Floats | None = None

    def solve(self, forces: Floats) -> Floats:
        """Return P⁻¹ of (f, h, m, 3)."""
        f, h, m, _ = forces.shape
        columns = forces.reshape(f, h, 3 * m).transpose(1, 2, 0)
        size = float(np.max(np.abs(columns), initial=0.0)) or 1.0  # stays in single precision's range
        solved = np.matmul(self.inverse[:h], (columns / size).astype(np.float32))
        free = solved.transpose(2, 0, 1).reshape(forces.shape).astype(np.float64) * size
        if self.lift is None or self.give is None or self.hold is None:
            return free
        lowered = np.tensordot(self.lift, free, axes=forces.ndim)
        return np.asarray(free - np.tensordot(self.hold @ lowered, self.give, axes=1))

    def averaged(self, w: Floats) -> Floats:
        """Return T w (f, h, m, 3)."""
        share = np.full(w.shape[1], 0.5)
        share[0] = 1.0
        return np.einsum("mij,fhmj->fhmi", self.blocks, w) * share[:, None, None]


def _inverse(p: Floats) -> Floats:
    """Return the inverse of a symmetric positive definite matrix, at half the cost of a general one."""
    factor, _ = la.cho_factor(p, lower=True, check_finite=False)
    lower, info = la.lapack.dpotri(factor, lower=1)
    if info != 0:
        msg = f"the preconditioner is singular in row {info}"
        raise AssertionError(msg)
    triangle = np.tril(lower)
    return triangle + np.tril(lower, -1).T


@dataclass(frozen=True, kw_only=True)
class ContactState:
    """A solution of (8), or of (21) where the bone yields.

    `w` (f, h, m, 3) [mm] in the expansion `fourier`; `tractions` at the interface points; `residuals`:
    residual history of the last Newton solve; `steps`: number of load steps that led here; `bone`: the
    displacement and the history of bone that yields.
    """

    w: Floats
    fourier: Fourier
    tractions: Tractions
    residuals: tuple[float, ...]
    steps: int
    bone: BoneState | None = None

    @property
    def elastic_w(self) -> Floats:
        """The sum w + u_0 of (21): w, but for the wall's motion that plastic strain alone causes."""
        return self.w if self.bone is None else self.w + self.bone.u_0

    def scaled(self, factor: float) -> ContactState:
        """Return the state with displacement, slip and traction multiplied by `factor`."""
        t = self.tractions
        scaled = replace(t, traction=factor * t.traction, slip_mm=factor * t.slip_mm)
        bone = None if self.bone is None else self.bone.scaled(factor)
        return replace(self, w=factor * self.w, tractions=scaled, bone=bone)

    def in_expansion(self, fourier: Fourier) -> ContactState:
        """Return an axisymmetric state in a larger expansion."""
        count = len(fourier.angles)
        t = self.tractions
        repeated = replace(
            t,
            traction=np.repeat(t.traction, count, axis=-1),
            slip_mm=np.repeat(t.slip_mm, count, axis=-1),
            closed=np.repeat(t.closed, count, axis=-1),
            sliding=np.repeat(t.sliding, count, axis=-1),
        )
        bone = None if self.bone is None else self.bone.in_expansion(fourier)
        return replace(self, w=fourier.embedded(self.w), fourier=fourier, tractions=repeated, bone=bone)


def state_tangent(layer: Layer, state: ContactState) -> Tangent:
    """Return the law's tangent at a state, with the slip at its end."""
    local_w = layer.local(state.fourier.values(state.w))
    return tangent(layer, local_w, state.tractions.slip_mm)


@dataclass(frozen=True, kw_only=True)
class Problem:
    """(8) on a wall, and how it is solved.

    `scale_mm` is the size of the response to which the residual is relative, `tolerance` the value that
    it must fall below, `patience` the number of Newton iterations allowed without progress; `stage` says
    in messages what is solved. With a `bone` that yields the problem is (21), solved to
    `yield_tolerance`, or as `tolerance` asks for.
    """

    series: SeriesStiffness
    layer: Layer
    precondition: Preconditioner
    scale_mm: float
    stage: str
    tolerance: float = TOLERANCE
    patience: int = PATIENCE
    bone: YieldingBone | None = None
    yield_tolerance: float | None = None


class Stalled(Exception):  # noqa: N818
    """A solve did not converge; `path.follow` catches it and tries another way."""

    def __init__(self, history: tuple[float, ...]) -> None:
        super().__init__(history)
        self.history = history


def equilibrium(problem: Problem, start: ContactState, guess: Floats, load: Floats) -> ContactState:
    """Solve (9) from `guess` by semi-smooth Newton with a line search; `start` has the slip so far."""
    layer, series, p = problem.layer, problem.series, problem.precondition
    fourier, slip = start.fourier, start.tractions.slip_mm

    def unbalanced(w: Floats) -> tuple[Floats, Floats]:
        """Return λ_0 - t(w) - D w, and the local w."""
        local_w = layer.local(fourier.values(w))
        t = fourier.moments(layer.nodal_forces(tractions(layer, local_w, slip).traction))
        return load - t - series.forces(w), local_w  # (8)

    w = guess
    force, local_w = unbalanced(w)
    history: list[float] = []
    for _ in range(NEWTON_LIMIT):
        r = p.solve(force)  # the residual of (9)
        history.append(float(np.linalg.norm(r)) / problem.scale_mm)
        if history[-1] < problem.tolerance:
            return ContactState(
                w=w,
                fourier=fourier,
                tractions=tractions(layer, local_w, slip),
                residuals=tuple(history),
                steps=start.steps + 1,
            )
        late = history[-problem.patience :]
        if not np.isfinite(history[-1]) or (
            len(history) > problem.patience and min(late) > 0.5 * min(history[: -problem.patience])
        ):
            break
        at = tangent(layer, local_w, slip)
        dw, iterations = newton_direction(layer, fourier, p, at, r, tight=history[-1] < 1e-2)
        w, force, local_w = _line_search(unbalanced, w, dw, force)
        if iterations > SLOW_GMRES:
            p = series.preconditioner(averaged_stiffness(layer, at))
    raise Stalled(tuple(history))


def _line_search(
    unbalanced: Callable[[Floats], tuple[Floats, Floats]],
    w: Floats,
    dw: Floats,
    force: Floats,
) -> tuple[Floats, Floats, Floats]:
    """Return w + α dw with its unbalanced force and local w; α = 1 unless that overshoots.

    g(α) = dw · (unbalanced force) falls from g(0) > 0 and is zero at the best α (the line search of
    Crisfield, Non-linear Finite Element Analysis of Solids and Structures 1, 1991, section 9.2). The
    root is sought by regula falsi (Illinois), and only where the full step overshoots it by far.
    """
    start = float(np.sum(dw * force))
    trial, local_w = unbalanced(w + dw)
    end = float(np.sum(dw * trial))
    if start <= 0 or end > -OVERSHOOT * start:
        return w + dw, trial, local_w
    low, high, g_low, g_high = 0.0, 1.0, start, end
    alpha = 1.0
    for _ in range(LINE_SEARCH_LIMIT):
        alpha = low + (high - low) * g_low / (g_low - g_high)
        trial, local_w = unbalanced(w + alpha * dw)
        g = float(np.sum(dw * trial))
        if abs(g) < LINE_SEARCH_SLACK * start:
            break
        if g > 0:
            low, g_low, g_high = alpha, g, g_high / 2
        else:
            high, g_high, g_low = alpha, g, g_low / 2
    return w + alpha * dw, trial, local_w


def newton_direction(
    layer: Layer,
    fourier: Fourier,
    p: Preconditioner,
    at: Tangent,
    r: Floats,
    *,
    tight: bool,
) -> tuple[Floats, int]:
    """Solve (I - P⁻¹ (T - t')) dw = r by GMRES; return dw and the number of iterations."""

    def product(flat: Floats) -> Floats:
        x = flat.reshape(r.shape)
        change = layer.local(fourier.values(x))
        dt = fourier.moments(layer.nodal_forces(at.times(change)))
        return (x - p.solve(p.averaged(x) - dt)).ravel()  # (9), linearised

    count = 0

    def counted(_: float) -> None:
        nonlocal count
        count += 1

    operator = spla.LinearOperator((r.size, r.size), matvec=product, dtype=np.float64)
    dw, _ = spla.gmres(
        operator,
        r.ravel(),
        rtol=1e-3 if tight else 1e-2,
        restart=GMRES_LIMIT,
        maxiter=1,
        callback=counted,
        callback_type="pr_norm",
    )
    return dw.reshape(r.shape), count
