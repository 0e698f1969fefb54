"""What can go wrong, and the exit code that each ends with.

- StillrootError
    - CaseError (2): the case file or a value in it is wrong
    - MeshError (2): the geometry could not be meshed
    - OutputError (2): the output folder cannot be written
    - NotConverged (3): the solve did not converge
    - EnvironmentProblem (4): this machine lacks something, such as gmsh's graphics libraries

The text of each is the one message that a user sees: what is wrong, where, and what would be right.
"""

from __future__ import annotations

from typing import Any, ClassVar


class StillrootError(Exception):
    """Base of all errors that are meant for the user."""

    exit_code: ClassVar[int] = 1

    def __reduce__(self) -> tuple[Any, ...]:
        """Return how another process makes the same error, whatever its attributes are called."""
        return _made_again, (type(self), self.args, self.__dict__)


def _made_again(
    kind: type[StillrootError], arguments: tuple[Any, ...], attributes: dict[str, Any]
) -> StillrootError:
    error = kind.__new__(kind, *arguments)
    error.__dict__.update(attributes)
    return error


class CaseError(StillrootError):
    """The case file, or a value in it, is wrong.

    `message` is complete and may hold several lines, one a problem. `file`, `key` (dotted, lists
    counted from 1) and `value` (as it stands in the file) repeat the place of the first problem.
    """

    exit_code = 2

    def __init__(
        self,
        message: str,
        *,
        file: str | None = None,
        key: str | None = None,
        value: str | None = None,
    ) -> None:
        super().__init__(message)
        self.file = file
        self.key = key
        self.value = value


class MeshError(StillrootError):
    """The geometry could not be meshed."""

    exit_code = 2


class OutputError(StillrootError):
    """The output folder cannot be written."""

    exit_code = 2


class NotConverged(StillrootError):  # noqa: N818 - says what happened
    """The solve of a stage did not converge: there is no number to report.

    `residual_history` holds the relative residual after each iteration, oldest first.
    """

    exit_code = 3

    def __init__(self, message: str, *, stage: str, residual_history: tuple[float, ...] = ()) -> None:
        super().__init__(message)
        self.stage = stage
        self.residual_history = residual_history


class GivesWay(NotConverged):
    """The implant gives way under a load: equilibrium exists only up to the share `share` of it."""

    def __init__(
        self, message: str, *, stage: str, share: float, residual_history: tuple[float, ...] = ()
    ) -> None:
        super().__init__(message, stage=stage, residual_history=residual_history)
        self.share = share


class EnvironmentProblem(StillrootError):  # noqa: N818 - says what happened
    """The machine lacks something that the tool needs."""

    exit_code = 4
