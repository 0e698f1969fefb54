"""The notebooks run, assert what they claim, and show what they find."""

from __future__ import annotations

import re
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

NOTEBOOKS = sorted((Path(__file__).parents[2] / "docs" / "notebooks").glob("*.ipynb"))
NUMBER = re.compile(r"\d+(?:\.\d+)?")
SHARE = 0.03
"""Tolerance on the numbers shown: another release of the mesher changes them a little."""


def printed(notebook: nbformat.NotebookNode) -> list[str]:
    """Return what the cells print, in order."""
    outputs = [o for cell in notebook.cells for o in cell.get("outputs", [])]
    return [o["text"] for o in outputs if o["output_type"] == "stream"]


@pytest.fixture(scope="module", params=NOTEBOOKS, ids=lambda path: path.stem)
def shown_and_run(request):
    """The notebook as stored, and run again; a cell whose assertion fails raises."""
    shown, again = (nbformat.read(request.param, as_version=4) for _ in range(2))
    for cell in again.cells:
        if cell.cell_type == "code":
            cell.outputs = []
    folder = {"metadata": {"path": str(request.param.parent)}}
    NotebookClient(again, timeout=600, kernel_name="python3", resources=folder).execute()
    return shown, again


def test_there_is_a_notebook():
    assert "density_and_engagement" in [path.stem for path in NOTEBOOKS]


@pytest.mark.slow
def test_a_notebook_shows_what_it_prints(shown_and_run):
    shown, again = (printed(notebook) for notebook in shown_and_run)
    assert len(shown) == len(again) > 0
    for text, now in zip(shown, again, strict=True):
        assert re.sub(r"[\s─═]+", " ", NUMBER.sub("#", text)) == re.sub(
            r"[\s─═]+", " ", NUMBER.sub("#", now)
        )
        for a, b in zip(NUMBER.findall(text), NUMBER.findall(now), strict=True):
            last_digit = 10.0 ** -len(a.partition(".")[2])
            assert float(b) == pytest.approx(float(a), rel=SHARE, abs=1.01 * last_digit)
