"""The smallest case, and what refuses it once it is changed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from stillroot.errors import CaseError
from stillroot.inputs.case import Case

DOCS = Path(__file__).parents[3] / "docs"
SHIPPED = sorted((DOCS / "cases").glob("*.toml"))


def smallest(**changes: Any) -> dict[str, Any]:
    """Return the smallest case with dotted keys ("bone__poisson") changed or, with None, removed."""
    data: dict[str, Any] = {
        "title": "smallest",
        "implant": {"diameter_mm": 4.0, "length_mm": 10.0},
        "bone": {"cortical_thickness_mm": 1.5, "trabecular_modulus_mpa": 500.0},
        "loads": [{"name": "lateral", "lateral_n": 20.0}],
    }
    for path, value in changes.items():
        *sections, key = path.split("__")
        table = data
        for section in sections:
            table = table.setdefault(section, {})
        table[key] = value
        if value is None:
            del table[key]
    return data


def write(folder: Path, text: str, outline: str | None = None) -> Path:
    path = folder / "case.toml"
    path.write_text(text, encoding="utf-8")
    if outline is not None:
        (folder / "outline.csv").write_text(outline, encoding="utf-8")
    return path


def refusal(data: dict[str, Any]) -> str:
    with pytest.raises(CaseError) as caught:
        Case.from_dict(data)
    return str(caught.value)


def assert_refused(changes: dict[str, Any], place: str, said: str) -> None:
    """Assert that the smallest case with changes is refused in one line: where, and what is wrong."""
    message = refusal(smallest(**changes))
    assert message.startswith(place)
    assert said in message
    assert "\n" not in message, "one problem, one line"
