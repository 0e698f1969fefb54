"""The public interface, the cost of importing it, and which module may do what."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import stillroot
from stillroot import errors

PACKAGE = Path(stillroot.__file__).parent
MODULES = sorted(PACKAGE.rglob("*.py"))

HEAVY = (
    "gmsh",
    "matplotlib",
    "meshio",
    "numpy",
    "pebble",
    "polars",
    "pydantic",
    "rich",
    "scipy",
    "skfem",
)

PHYSICS = (
    "mechanics/outline",
    "mechanics/bodies",
    "mechanics/harmonics",
    "mechanics/condense",
    "mechanics/interface",
    "mechanics/fourier",
    "mechanics/contact",
    "mechanics/groundwork",
    "mechanics/site",
    "mechanics/loading",
    "mechanics/head",
    "arch/polyline",
    "arch/bridge",
    "arch/splint",
    "arch/bites",
    "arch/span",
    "mechanics/motion",
    "mechanics/accuracy",
    "mechanics/fields",
    "mechanics/stress",
    "mechanics/wall_surface",
)
PRINTS_DRAWS_READS = {
    "click",
    "gmsh",
    "io",
    "logging",
    "matplotlib",
    "meshio",
    "os",
    "pathlib",
    "rich",
    "shutil",
    "sys",
    "tempfile",
    "warnings",
}
CALLS = {"open", "print", "input", "exec", "eval"}
FILE_METHODS = {"load", "loadtxt", "genfromtxt", "fromfile", "save", "savez", "savetxt", "tofile"}


def test_public_names_are_sorted_and_complete():
    assert stillroot.__all__ == sorted(stillroot.__all__)
    assert set(stillroot.__all__) == set(stillroot._HOME)
    assert dir(stillroot) == stillroot.__all__


@pytest.mark.parametrize("name", stillroot.__all__)
def test_each_public_name_is_there_and_described(name):
    value = getattr(stillroot, name)
    assert value.__module__ == f"stillroot.{stillroot._HOME[name]}"
    assert value.__doc__


def test_every_error_is_public():
    kinds = {
        name
        for name, value in vars(errors).items()
        if isinstance(value, type) and issubclass(value, stillroot.StillrootError)
    }
    assert kinds <= set(stillroot.__all__)


def test_an_unknown_name_is_refused():
    with pytest.raises(AttributeError, match="nonsense"):
        stillroot.nonsense  # noqa: B018


@pytest.mark.parametrize("module", ["stillroot", "stillroot.cli"])
def test_imports_are_light(module):
    code = f"import sys, {module}; print(*sorted({{m.split('.')[0] for m in sys.modules}}))"
    run = subprocess.run(  # noqa: S603 - our own code
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert not set(HEAVY) & set(run.stdout.split())


def roots_imported(tree: ast.AST) -> set[str]:
    """Return the top-level packages that are imported anywhere in a tree."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            found.add((node.module or "").split(".")[0])
    return found


def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def test_only_mesh_talks_to_gmsh():
    assert [path.stem for path in MODULES if "gmsh" in roots_imported(tree_of(path))] == ["mesh"]


@pytest.mark.parametrize("module", PHYSICS)
def test_physics_neither_prints_nor_draws_nor_reads_files(module):
    tree = tree_of(PACKAGE / f"{module}.py")
    assert not roots_imported(tree) & PRINTS_DRAWS_READS
    calls = [node.func for node in ast.walk(tree) if isinstance(node, ast.Call)]
    assert not {call.id for call in calls if isinstance(call, ast.Name)} & CALLS
    methods = {
        call.attr
        for call in calls
        if isinstance(call, ast.Attribute) and ast.unparse(call.value) in {"np", "numpy"}
    }
    assert not methods & FILE_METHODS
