"""The scripts of the explore page: a linter, a check of types, and unit tests under Node."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

HERE = Path(__file__).parent
OLDEST_NODE = (20, 19)
"""The oldest Node that reads scripts without a package of their own as modules."""


@pytest.fixture(scope="module")
def npm():
    """Return what runs a script of package.json; skip, with the reason, where it cannot."""
    node, npm = shutil.which("node"), shutil.which("npm")
    if node is None or npm is None:
        pytest.skip("no Node and npm on this machine: the page's scripts are not checked")
    asked = [node, "--version"]
    version = subprocess.run(asked, capture_output=True, text=True, check=True).stdout  # noqa: S603 - Node itself
    if tuple(map(int, re.findall(r"\d+", version)[:2])) < OLDEST_NODE:
        pytest.skip(f"Node {version.strip()} is older than 20.19: the page's scripts are not checked")
    if not (HERE / "node_modules").is_dir():
        pytest.skip("the linter is not installed (npm ci --prefix tests/web)")

    def run(script):
        return subprocess.run(  # noqa: S603 - a script of ours
            [npm, "--prefix", str(HERE), "run", "--silent", script],
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )

    return run


@pytest.mark.parametrize("script", ["lint", "types", "units"])
def test_the_scripts_pass(npm, script):
    done = npm(script)
    assert done.returncode == 0, done.stdout + done.stderr


def test_the_lock_names_no_place_to_load_from():
    assert "resolved" not in (HERE / "package-lock.json").read_text(encoding="utf-8")
