"""Every kind of picture against a stored one, so that no change of its look goes unseen.

A picture is drawn small and compared pixel by pixel with the one in tests/figures. Its meshes are stored
with it: those of another gmsh change numbers in the first decimal, which a picture shows. Where pictures
are meant to change: store them anew, look at each that differs, and commit it.

    STORE_FIGURES=1 .venv/bin/python -m pytest tests/test_stored_figures.py
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from matplotlib.testing.compare import compare_images

from stillroot import Where, bounds, check, check_span, compare, directions, spread, sweep
from stillroot.answers.explained import Choice, Explained
from stillroot.arch.plan import Plan
from stillroot.inputs.case import Case
from stillroot.mechanics import stored
from stillroot.mechanics.mesh import mesh_key, mesh_outline
from stillroot.mechanics.stored import read_section, write_section
from stillroot.pictures.directions_figure import six_arrows
from stillroot.pictures.figures import pictures
from stillroot.pictures.levers_figure import Change, levers_figure
from stillroot.pictures.span_figure import arch_pictures
from stillroot.pictures.study_figures import (
    bounds_pictures,
    compare_pictures,
    spread_pictures,
    sweep_pictures,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from stillroot.mechanics.mesh import HalfSection
    from stillroot.mechanics.outline import Outline
    from stillroot.pictures.paper import Picture

STORING = bool(os.environ.get("STORE_FIGURES"))
STORED = Path(__file__).parent / "figures"
MESHES = STORED / "meshes"
DPI = 60
"""Two fifths of what is written for users: a line still shows, and all take less than 800 kB. Edges of
axes, at twentieths of an inch, are whole pixels; halves would be rounded by the solve's last digit."""
TOLERANCE = 0.5
"""Root mean square over the pixels, of 255. Rounding in the solve moves no line by a pixel: two runs are
0 apart. It may turn the last digit of a printed number, which is some tenths. Lines a third thicker are
1 to 13; another matplotlib that sets letters otherwise may be as much: then store anew."""
NAMES = (
    "summary",
    "section-1-push",
    "unrolled-1-push",
    "curve-1-push",
    "choices",
    "moved-1-push",
    "seat-pressure",
    "gauge-1-push",
    "directions",
    "levers",
    "sweep",
    "spread",
    "spread-drivers",
    "bounds",
    "compare",
    "compare-sections",
    "arch-1-tip",
)
HERE = Where(workers=1)
COARSE = {
    "title": "Invented scenario",
    "implant": {"diameter_mm": 4.1, "length_mm": 8.0},
    "bone": {
        "cortical_thickness_mm": 1.0,
        "law": "linear",
        "trabecular_modulus_mpa": 150.0,
        "radius_mm": 8.0,
    },
    "socket": {"holds_mm": [[0.0, 2.0], [4.0, 8.0]], "gap_fill": "clot"},
    "loads": [
        {"name": "push", "axial_n": 60.0, "lateral_n": 30.0},
        {"name": "pull", "axial_n": -10.0, "lateral_n": 5.0},
    ],
    "spread": {"trabecular_factor": [0.4, 2.5], "interface.friction": [0.3, 0.5]},
    "numerics": {"element_mm": 1.0, "harmonics": 3},
}
YIELDS = COARSE | {"bone": COARSE["bone"] | {"law": "yields", "trabecular_modulus_mpa": 60.0}}
"""What is drawn of one answer: its bone is crushed.."""
CHOSEN = (
    Choice(subject="torn layer", text="none", peaks_um=(21.0, 3.0)),
    Choice(subject="friction", text="half as much", peaks_um=(64.0, None)),
)
"""Invented: the drawing of choices needs no solve."""
BY_PLAN = (Change("implant 2 mm longer", 24.0), Change("load halved", 15.5), Change("no hold", None))
ROUGH = (
    Change("no cortex", 88.0),
    Change("friction 0.1", None, "no interference gives the torque that was read"),
)
PLAN = {
    "title": "Invented scenario",
    "cases": {"one": {key: COARSE[key] for key in ("title", "implant", "bone", "numerics")}},
    "implants": [
        {"name": "right", "case": "one", "at_mm": [-9.0, 0.0, 0.0]},
        {"name": "middle", "case": "one", "at_mm": [0.0, 7.0, 0.0]},
        {
            "name": "left",
            "case": "one",
            "at_mm": [9.0, 0.0, 0.0],
            "tilt_deg": 15.0,
            "azimuth_deg": -90.0,
        },
    ],
    "bridge": {"end_cantilever_mm": 5.0},
    "loads": [{"name": "tip", "bite": "cantilever_tip"}],
}


def every_picture() -> Iterator[Picture]:
    case = Case.from_dict(COARSE)
    shown = pictures(Explained(answer=check(Case.from_dict(YIELDS)), choices=CHOSEN))
    yield from (picture for picture in shown if "-2-" not in picture.name)
    yield six_arrows(directions(case))
    yield levers_figure("push", 34.2, BY_PLAN, ROUGH, (50.0, 100.0, 150.0), title="Invented scenario")
    yield from sweep_pictures(sweep(case, {"bone.trabecular_modulus_mpa": [50.0, 150.0, 450.0]}, HERE))
    yield from spread_pictures(spread(case, HERE, samples=8))
    yield from bounds_pictures(bounds(case, 30.0, HERE, asked=("bone",), with_spread=False))
    firm = {key: value for key, value in COARSE.items() if key != "spread"}
    soft = firm | {"bone": COARSE["bone"] | {"law": "linear", "trabecular_modulus_mpa": 60.0}}
    cases = {"firm": Case.from_dict(firm), "soft": Case.from_dict(soft)}
    yield from compare_pictures(compare(cases, HERE))
    yield from arch_pictures(check_span(Plan.from_dict(PLAN)))


def stored_mesh(outline: Outline, element_mm: float) -> HalfSection:
    """Replace the mesher."""
    path = MESHES / f"{mesh_key(outline, element_mm)}.npz"
    if STORING:
        write_section(path, mesh_outline(outline, element_mm))
    return read_section(path)


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Every picture as drawn now, by name; stored first where requested."""
    if STORING:
        shutil.rmtree(STORED, ignore_errors=True)
        MESHES.mkdir(parents=True)
    folder = tmp_path_factory.mktemp("drawn")
    found = {}
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(stored, "mesh_outline", stored_mesh)
        for picture in every_picture():
            found[picture.name] = folder / f"{picture.name}.png"
            picture.figure.savefig(found[picture.name], dpi=DPI, metadata={"Software": None})
    if STORING:
        for path in found.values():
            shutil.copy(path, STORED)
    return found


def test_every_picture_is_stored_and_nothing_else(drawn: dict[str, Path]) -> None:
    assert tuple(drawn) == NAMES
    assert sorted(drawn) == sorted(path.stem for path in STORED.glob("*.png"))


@pytest.mark.parametrize("name", NAMES)
def test_a_picture_looks_as_it_did(name: str, drawn: dict[str, Path]) -> None:
    # The message gives the paths of the new picture and of the difference beside it.
    assert compare_images(str(STORED / f"{name}.png"), str(drawn[name]), TOLERANCE) is None


def test_stored_pictures_are_small() -> None:
    assert sum(path.stat().st_size for path in STORED.rglob("*.*")) < 800_000
