"""Every error has its exit code, and a solve that fails keeps its history."""

from __future__ import annotations

import pytest

from stillroot.errors import (
    CaseError,
    EnvironmentProblem,
    MeshError,
    NotConverged,
    OutputError,
    StillrootError,
)


@pytest.mark.parametrize(
    ("kind", "exit_code"),
    [(CaseError, 2), (MeshError, 2), (OutputError, 2), (NotConverged, 3), (EnvironmentProblem, 4)],
)
def test_every_error_has_its_exit_code(kind: type[StillrootError], exit_code: int) -> None:
    assert issubclass(kind, StillrootError)
    assert kind.exit_code == exit_code


def test_a_solve_that_does_not_converge_keeps_its_history() -> None:
    error = NotConverged("no", stage="seat", residual_history=(1.0, 0.5))
    assert (error.stage, error.residual_history) == ("seat", (1.0, 0.5))
