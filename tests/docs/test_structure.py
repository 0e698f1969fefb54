"""The layout that DEVELOPERS.md draws: where modules stand, and what each may import."""

from __future__ import annotations

import ast
import re
from functools import cache
from itertools import groupby
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "src" / "stillroot"
MOST_LINES = 600
DOOR = ("mechanics.outline",)
"""The one module of the mechanics that takes a case: everything after it takes what it needs."""


@cache
def order() -> tuple[str, ...]:
    """Return the modules as the map lists them, each after those that it may import."""
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    section = page.partition("| folder | modules, in order |")[2].partition("\n\n")[0]
    found = []
    for folder, modules in re.findall(r"^\| (\S+) \| (.*) \|$", section, re.MULTILINE):
        inside = folder.strip("`/")
        prefix = "" if inside == "." else f"{inside}."
        found += [
            f"{prefix}{name}" for name in re.findall(r"`(\w+)`", re.sub(r"\([^|]*?\)", "", modules))
        ]
    return tuple(found)


def modules() -> list[str]:
    return [
        ".".join(path.relative_to(PACKAGE).with_suffix("").parts)
        for path in PACKAGE.rglob("*.py")
        if path.stem != "__init__"
    ]


def source(module: str) -> str:
    return PACKAGE.joinpath(*module.split(".")).with_suffix(".py").read_text(encoding="utf-8")


def imports_of(tree: ast.Module) -> set[str]:
    """Return the package's modules that a module imports, those for type hints too."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("stillroot"):
            inside = (node.module or "").removeprefix("stillroot").removeprefix(".")
            names = {f"{inside}.{alias.name}".removeprefix(".") for alias in node.names}
            found |= names & set(modules()) or {inside}
        elif isinstance(node, ast.Import):
            dotted = (alias.name for alias in node.names if alias.name.startswith("stillroot."))
            found |= {name.partition(".")[2] for name in dotted}
    return found - {""}


def test_the_map_lists_each_module_once():
    assert sorted(order()) == sorted(modules())


def test_the_map_has_each_folder_in_one_piece():
    folders = [module.partition(".")[0] for module in order() if "." in module]
    assert len([name for name, _ in groupby(folders)]) == len(set(folders))


@pytest.mark.parametrize("module", sorted(modules()))
def test_a_module_imports_only_modules_above_it(module):
    """Counting what it imports for type hints alone: a type is a dependency."""
    above = set(order()[: order().index(module)])
    assert imports_of(ast.parse(source(module))) <= above


def test_the_case_stops_at_the_door_of_the_mechanics():
    for module in order():
        if module.startswith("mechanics.") and module not in DOOR:
            inputs = {
                name for name in imports_of(ast.parse(source(module))) if name.startswith("inputs.")
            }
            assert inputs <= {"inputs.materials"}, module


def test_whoever_imports_a_name_imports_it_from_a_module():
    """No folder re-exports names: each is imported from the module that defines it."""
    for path in PACKAGE.glob("*/__init__.py"):
        assert len(ast.parse(path.read_text(encoding="utf-8")).body) == 1


def test_no_file_is_too_long_to_read():
    files = (path for path in PACKAGE.rglob("*") if path.suffix in {".py", ".js"})
    long = {path.name: len(path.read_text(encoding="utf-8").splitlines()) for path in files}
    assert not {name: lines for name, lines in long.items() if lines > MOST_LINES}


def test_each_file_of_unit_tests_is_named_for_a_module():
    for path in (ROOT / "tests" / "unit").rglob("test_*.py"):
        inside = ".".join((*path.relative_to(ROOT / "tests" / "unit").parts[:-1], path.stem[5:]))
        assert inside in modules(), f"{inside} is no module"
