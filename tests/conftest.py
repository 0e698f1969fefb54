"""Shared fixtures: the shipped cases, and a machine without gmsh's graphics libraries."""

import sys
from pathlib import Path

import pytest

from stillroot import cli, read_case, read_plan

ROOT = Path(__file__).parents[1]
SHIPPED = sorted((ROOT / "docs" / "cases").glob("*.toml"))
PLANS = sorted((ROOT / "docs" / "plans").glob("*.toml"))


@pytest.fixture
def shipped_cases():
    return [read_case(path) for path in SHIPPED]


@pytest.fixture
def planned_cases():
    return [case for path in PLANS for case in read_plan(path).cases.values()]


@pytest.fixture(params=SHIPPED, ids=lambda path: path.stem)
def shipped_case(request):
    return read_case(request.param)


@pytest.fixture
def without_gmsh(monkeypatch):
    monkeypatch.setitem(sys.modules, "gmsh", None)  # `import gmsh` raises ImportError


@pytest.fixture
def run(capsys):
    def _run(*arguments):
        with pytest.raises(SystemExit) as stop:
            cli.main([str(a) for a in arguments])
        out, err = capsys.readouterr()
        return stop.value.code, out, err

    return _run
