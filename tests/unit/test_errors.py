"""Every error has its exit code, and a solve that fails keeps its history."""

from __future__ import annotations

import pickle

import pytest

from stillroot.errors import (
    CaseError,
    EnvironmentProblem,
    GivesWay,
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


@pytest.mark.parametrize(
    "error",
    [
        CaseError("wrong", file="case.toml", key="bone.law", value="soft"),
        MeshError("no edge"),
        NotConverged("no", stage="seat", residual_history=(1.0, 0.5)),
        GivesWay("no", stage="load", share=0.4),
    ],
    ids=lambda error: type(error).__name__,
)
def test_an_error_is_the_same_in_another_process(error: StillrootError) -> None:
    again = pickle.loads(pickle.dumps(error))  # noqa: S301 - our own
    assert type(again) is type(error)
    assert (str(again), vars(again)) == (str(error), vars(error))


def test_a_solve_that_does_not_converge_keeps_its_history() -> None:
    error = NotConverged("no", stage="seat", residual_history=(1.0, 0.5))
    assert (error.stage, error.residual_history) == ("seat", (1.0, 0.5))
